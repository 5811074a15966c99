//! Which executor runs the kernels, and why.

use super::cpu::Cpu;
use super::executor::{Executor, ExecutorError};
use super::gpu::{Choice, Gpu};

/// What is asked for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Wish {
    /// A graphics adapter where there is a real one, else the processor.
    #[default]
    Auto,
    /// The processor.
    Cpu,
    /// A graphics adapter, a software stand-in if there is no other.
    Gpu,
}

/// An executor, ready to run.
pub struct Chosen {
    /// It.
    pub executor: Box<dyn Executor>,
    /// Why this one, for people.
    pub reason: String,
    /// Whether it is the processor.
    pub on_cpu: bool,
}

/// Opens the executor that is wished for; `threads` is for the processor, 0 for all it has.
///
/// # Errors
/// When a graphics adapter is asked for and there is none that opens, or the system gives no
/// threads. [`Wish::Auto`] falls back on the processor and says why.
pub fn choose(wish: Wish, threads: usize) -> Result<Chosen, ExecutorError> {
    match wish {
        Wish::Cpu => on_cpu(threads, "as asked for".into()),
        Wish::Gpu => Ok(on_gpu(Gpu::open(Choice::Any)?, "as asked for".into())),
        Wish::Auto => {
            let adapters = Gpu::adapters();
            let Some(best) = adapters.iter().find(|a| !a.software) else {
                let reason = match adapters.first() {
                    None => "no graphics adapter was found".into(),
                    Some(only) => format!(
                        "the only graphics adapter, {}, is a stand-in on the processor and slower",
                        only.name
                    ),
                };
                return on_cpu(threads, reason);
            };
            match Gpu::open(Choice::Real) {
                Ok(gpu) => Ok(on_gpu(gpu, "a graphics adapter was found".into())),
                Err(e) => on_cpu(threads, format!("{} could not be opened: {e}", best.name)),
            }
        }
    }
}

fn on_cpu(threads: usize, reason: String) -> Result<Chosen, ExecutorError> {
    Ok(Chosen {
        executor: Box::new(Cpu::new(threads)?),
        reason,
        on_cpu: true,
    })
}

fn on_gpu(gpu: Gpu, reason: String) -> Chosen {
    Chosen {
        executor: Box::new(gpu),
        reason,
        on_cpu: false,
    }
}
