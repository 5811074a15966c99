//! Adapters: what the system offers, and which to take.

use crate::render::executor::ExecutorError;

/// What is known of one adapter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AdapterFacts {
    /// Its name, as the driver gives it.
    pub name: String,
    /// The interface it is reached by: `vulkan`, `metal`, `dx12`.
    pub backend: String,
    /// `discrete`, `integrated`, `virtual`, `processor` or `other`.
    pub device_type: String,
    /// The driver and its version, where told.
    pub driver: String,
    /// A stand-in that runs on the processor. The CPU executor is faster there.
    pub software: bool,
}

/// Which adapter to open.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Choice<'a> {
    /// The best that is no software stand-in; for `auto`.
    Real,
    /// The best there is, a stand-in if need be.
    Any,
    /// The first whose name contains this, in any case of letters.
    Named(&'a str),
}

/// All adapters, best first.
pub fn all() -> Vec<(AdapterFacts, wgpu::Adapter)> {
    let instance = wgpu::Instance::new(wgpu::InstanceDescriptor::new_without_display_handle());
    let mut found: Vec<_> =
        pollster::block_on(instance.enumerate_adapters(wgpu::Backends::PRIMARY))
            .into_iter()
            .map(|adapter| (adapter.get_info(), adapter))
            .collect();
    found.sort_by_key(|(info, _)| rank(info));
    found
        .into_iter()
        .map(|(info, adapter)| (facts(info), adapter))
        .collect()
}

/// The adapter that fits a choice.
pub fn choose(choice: Choice) -> Result<(AdapterFacts, wgpu::Adapter), ExecutorError> {
    let all = all();
    let names: Vec<String> = all.iter().map(|(facts, _)| facts.name.clone()).collect();
    let fits = |facts: &AdapterFacts| match choice {
        Choice::Real => !facts.software,
        Choice::Any => true,
        Choice::Named(part) => facts.name.to_lowercase().contains(&part.to_lowercase()),
    };
    all.into_iter()
        .find(|(facts, _)| fits(facts))
        .ok_or_else(|| {
            let what = match choice {
                _ if names.is_empty() => {
                    "no graphics adapter was found; use --executor cpu".to_string()
                }
                Choice::Real | Choice::Any => {
                    format!(
                        "only a software adapter was found ({}); use --executor cpu",
                        names.join(", ")
                    )
                }
                Choice::Named(part) => format!(
                    "no graphics adapter is called \"{part}\"; there is: {}",
                    names.join(", ")
                ),
            };
            ExecutorError { what }
        })
}

/// Real and strong first; of two ways to one device, the one whose shader compiler copes better
/// with large kernels.
fn rank(info: &wgpu::AdapterInfo) -> (u8, u8) {
    let device = match info.device_type {
        wgpu::DeviceType::DiscreteGpu => 0,
        wgpu::DeviceType::IntegratedGpu => 1,
        wgpu::DeviceType::VirtualGpu => 2,
        wgpu::DeviceType::Other => 3,
        wgpu::DeviceType::Cpu => 4,
    };
    let backend = match info.backend {
        wgpu::Backend::Metal | wgpu::Backend::Vulkan => 0,
        _ => 1,
    };
    (device, backend)
}

fn facts(info: wgpu::AdapterInfo) -> AdapterFacts {
    let device_type = match info.device_type {
        wgpu::DeviceType::DiscreteGpu => "discrete",
        wgpu::DeviceType::IntegratedGpu => "integrated",
        wgpu::DeviceType::VirtualGpu => "virtual",
        wgpu::DeviceType::Cpu => "processor",
        wgpu::DeviceType::Other => "other",
    };
    AdapterFacts {
        name: info.name,
        backend: info.backend.to_str().to_string(),
        device_type: device_type.to_string(),
        driver: format!("{} {}", info.driver, info.driver_info)
            .trim()
            .to_string(),
        software: info.device_type == wgpu::DeviceType::Cpu,
    }
}
