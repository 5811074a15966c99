//! An open device whose faults become errors: nothing it does panics or waits for ever.

use crate::render::executor::ExecutorError;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// The device, its queue, and the first fault that either reported.
#[derive(Debug, Clone)]
pub struct Device {
    pub(super) device: wgpu::Device,
    pub(super) queue: wgpu::Queue,
    fault: Fault,
    patience: Duration,
}

/// Shared with the callbacks.
#[derive(Debug, Clone, Default)]
struct Fault(Arc<Mutex<Option<String>>>);

impl Fault {
    /// The first fault is the cause; what follows is its consequence.
    fn set(&self, what: String) {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .get_or_insert(what);
    }

    fn get(&self) -> Option<String> {
        self.0
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }
}

impl Device {
    /// Opens a device with all that the adapter allows.
    pub fn open(adapter: &wgpu::Adapter, software: bool) -> Result<Self, ExecutorError> {
        let descriptor = wgpu::DeviceDescriptor {
            required_limits: adapter.limits(),
            ..Default::default()
        };
        let (device, queue) =
            pollster::block_on(adapter.request_device(&descriptor)).map_err(|e| ExecutorError {
                what: format!("{}: no device: {e}", adapter.get_info().name),
            })?;
        let fault = Fault::default();
        let lost = fault.clone();
        device.set_device_lost_callback(move |_, message| {
            lost.set(format!("the graphics device was lost ({message})"))
        });
        let refused = fault.clone();
        device.on_uncaptured_error(Arc::new(move |e| {
            refused.set(format!("the graphics device refused: {e}"))
        }));
        // A real device answers a slice in well under a second; a stand-in may share a busy processor.
        let patience = Duration::from_secs(if software { 600 } else { 30 });
        Ok(Self {
            device,
            queue,
            fault,
            patience,
        })
    }

    /// The first fault so far, as an error.
    pub fn check(&self) -> Result<(), ExecutorError> {
        match self.fault.get() {
            None => Ok(()),
            Some(what) => Err(ExecutorError { what }),
        }
    }

    /// Largest buffer that a kernel may see, bytes.
    pub fn largest_binding(&self) -> u64 {
        let limits = self.device.limits();
        limits
            .max_storage_buffer_binding_size
            .min(limits.max_buffer_size)
    }

    /// A buffer of at least `bytes`; never empty, since an empty one cannot be bound.
    pub fn buffer(&self, label: &str, bytes: u64, usage: wgpu::BufferUsages) -> wgpu::Buffer {
        self.device.create_buffer(&wgpu::BufferDescriptor {
            label: Some(label),
            size: bytes.max(256).next_multiple_of(16),
            usage,
            mapped_at_creation: false,
        })
    }

    /// Whether all that was submitted is done.
    pub fn is_idle(&self) -> bool {
        self.device
            .poll(wgpu::PollType::Poll)
            .is_ok_and(|status| status.is_queue_empty())
    }

    /// Waits for a submission, with limited patience.
    pub fn wait(&self, submission: wgpu::SubmissionIndex) -> Result<(), ExecutorError> {
        let wait = wgpu::PollType::Wait {
            submission_index: Some(submission),
            timeout: Some(self.patience),
        };
        if let Err(e) = self.device.poll(wait) {
            self.fault.set(match e {
                wgpu::PollError::Timeout => format!(
                    "the graphics device did not answer for {} s",
                    self.patience.as_secs()
                ),
                other => format!("the graphics device is in disorder: {other}"),
            });
        }
        self.check()
    }

    /// The words of a buffer whose mapping was asked for before the last wait.
    pub fn mapped<T>(
        &self,
        buffer: &wgpu::Buffer,
        bytes: u64,
        use_words: impl FnOnce(&[u32]) -> T,
    ) -> Result<T, ExecutorError> {
        self.check()?;
        let failed = |e: String| ExecutorError {
            what: format!("the graphics device's answer cannot be read: {e}"),
        };
        let view = buffer
            .get_mapped_range(..bytes)
            .map_err(|e| failed(e.to_string()))?;
        let result = bytemuck::try_cast_slice(&view)
            .map(use_words)
            .map_err(|e| failed(e.to_string()));
        drop(view);
        buffer.unmap();
        result
    }
}

#[cfg(test)]
impl Device {
    /// Takes the device away, as a driver's reset would.
    pub fn lose(&self) {
        self.device.destroy();
    }
}
