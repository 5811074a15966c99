//! `open`: the window.

use super::cache;
use super::exit::{Exit, Failure};
use super::open_args::OpenRun;
use super::voice::Voice;
use std::env;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use swatchlight::app::desk::{Desk, Surroundings};
use swatchlight::app::engine::{Opener, Tell};
use swatchlight::app::shell::{self, ShellError, Wake};
use swatchlight::render::choose::{Wish, choose};
use swatchlight::render::executor::Executor;
use swatchlight::render::relay::Relay;
use swatchlight::render::steady::Steady;
use swatchlight::scene::models::Models;

/// Opens the window and stays until it is closed.
///
/// # Errors
/// Where there is no screen, or nothing to draw a window with.
pub fn open(run: &OpenRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let (wish, threads) = (run.executing.wish, run.executing.threads);
    let making = Arc::new(AtomicBool::new(false));
    let its_making = Arc::clone(&making);
    let opener: Opener = Box::new(move |tell: Tell| {
        if wish == Wish::Auto {
            let reason = "a graphics adapter takes over if there is one".into();
            return Ok((
                Box::new(Relay::to_graphics(threads, its_making, tell)?),
                reason,
            ));
        }
        let chosen = choose(wish, threads)?;
        let reason = chosen.reason.clone();
        let executor: Box<dyn Executor> = Box::new(Steady::new(chosen, threads, tell));
        Ok((executor, reason))
    });
    let tables = cache::tables(&run.executing, voice);
    let (kept, says) = (cache::folder(&run.executing), Arc::clone(voice));
    let folder = kept.clone();
    let models = move |setup: &Path| {
        let stop = Arc::new(AtomicBool::new(false));
        Models::for_setup(setup)
            .with_tables(Arc::clone(&tables))
            .with_stock(cache::stock(kept.clone(), &says, stop))
            .keeping_grounds()
    };
    let around = Surroundings {
        journal: folder.map(|f| f.join("unsaved")),
        models: Arc::new(models),
        program: env::current_exe().ok(),
    };
    let make = |proxy: shell::Waker| {
        let wake = move || {
            // A window that has closed needs no waking.
            let _ = proxy.send_event(Wake::Look);
        };
        let mut desk = Desk::new(around, opener, wake);
        desk.dark = run.darkened;
        if let Some(setup) = &run.setup {
            desk.open(setup);
        }
        desk
    };
    shell::run(make, run.size.map(f64::from), run.scale).map_err(refused)?;
    if making.load(Ordering::Relaxed) {
        // A driver that is still compiling kernels cannot be stopped, and crashes where the program is taken down
        // around it. All that is to be kept has been written by now.
        signal_hook::low_level::exit(i32::from(Exit::Done.code()));
    }
    Ok(Exit::Done)
}

fn refused(error: ShellError) -> Failure {
    let hint = match error {
        ShellError::NoScreen(_) if cfg!(all(unix, not(target_os = "macos"))) => {
            "start it from a desktop, or with DISPLAY or WAYLAND_DISPLAY set to one; from afar, ssh -X brings \
             the window to your own screen; where there is no screen at all, xvfb-run (Debian package xvfb) \
             stands in for one. The command line works without a window: swatchlight still, read and sheet make the \
             picture, the readings and the sheet"
        }
        ShellError::NoScreen(_) => {
            "start it from a desktop session. The command line works without a window: swatchlight still, read and \
             sheet make the picture, the readings and the sheet"
        }
        ShellError::NoAdapter(_) => {
            "install a graphics driver with Vulkan, Metal or DirectX 12 (on Debian, the package mesa-vulkan-drivers \
             holds one that needs no graphics card). The command line works without a window: swatchlight still, \
             read and sheet make the picture, the readings and the sheet"
        }
    };
    Failure::Message {
        exit: Exit::Failed,
        what: error.to_string(),
        hint: Some(hint.into()),
    }
}
