//! Ctrl-C: the first asks for an end with what there is, the second ends at once.

use super::exit::{Exit, Failure};
use super::voice::Voice;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use swatchlight::report::discard_unfinished;

/// Whether an end was asked for.
#[derive(Debug, Clone, Default)]
pub struct Interrupt(Arc<AtomicBool>);

impl Interrupt {
    /// Listens from now on; `first` is said at the first Ctrl-C.
    ///
    /// # Errors
    /// When the system lets nobody listen.
    pub fn listen(voice: &Arc<Voice>, first: &'static str) -> Result<Self, Failure> {
        let interrupt = Self::default();
        let (asked, voice) = (interrupt.clone(), Arc::clone(voice));
        ctrlc::set_handler(move || {
            if asked.0.swap(true, Ordering::SeqCst) {
                discard_unfinished();
                std::process::exit(Exit::Interrupted.code().into());
            }
            voice.note(first);
        })
        .map_err(|e| Failure::working(format!("cannot listen for Ctrl-C: {e}")))?;
        Ok(interrupt)
    }

    /// For the library to look at.
    pub fn flag(&self) -> &AtomicBool {
        &self.0
    }

    /// The same, to be kept.
    pub fn shared(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.0)
    }

    /// Whether Ctrl-C was pressed.
    pub fn asked(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}
