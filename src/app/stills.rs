//! Stills from the window: made by the program itself as `still` makes them, so that samples for
//! samples they are the same pixels; beside the window, which goes on.

use super::desk::Desk;
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::sync::{Arc, Mutex, PoisonError};

/// A still being made.
pub struct Making {
    out: PathBuf,
    running: Arc<Mutex<Running>>,
    /// What was wrong, if anything, once it has ended.
    answer: Receiver<Result<(), String>>,
}

/// The program at work.
#[derive(Default)]
struct Running {
    child: Option<Child>,
    /// Whether nobody wants it any more.
    given_up: bool,
}

impl Desk {
    /// Starts a still of the setup as it stands.
    pub fn make_still(&mut self, out: &Path, samples: u32, force: bool) {
        let (Some(document), Some(program)) = (&self.document, self.program()) else {
            return self.say("There is nothing to make a still with.");
        };
        let full = std::path::absolute(out).unwrap_or_else(|_| out.to_path_buf());
        let mut command = Command::new(program);
        command
            .args(["still", "-", "--quiet", "--samples"])
            .arg(samples.to_string())
            .arg("--out")
            .arg(&full)
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::piped());
        if force {
            command.arg("--force");
        }
        let text = document.text().to_owned();
        let folder = document.path.as_deref().and_then(Path::parent);
        let folder = folder.map(Path::to_path_buf);
        let running = Arc::<Mutex<Running>>::default();
        let (its, wake) = (Arc::clone(&running), Arc::clone(&self.wake));
        let (tell, answer) = channel();
        std::thread::spawn(move || {
            // Paths and models in the setup start from its own folder.
            if let Some(folder) = folder.filter(|f| f.is_dir()) {
                command.current_dir(folder);
            }
            // Nobody may be waiting any more.
            let _ = tell.send(run(&mut command, &text, &its));
            wake();
        });
        self.making = Some(Making {
            out: full,
            running,
            answer,
        });
        self.say("The still is being made; work can go on.");
    }

    /// Looks whether the still is there.
    pub(super) fn poll_still(&mut self) {
        let Some(making) = &self.making else {
            return;
        };
        let ended = match making.answer.try_recv() {
            Err(TryRecvError::Empty) => return,
            Ok(ended) => ended,
            Err(TryRecvError::Disconnected) => Err("it ended early".into()),
        };
        let out = making.out.display().to_string();
        self.making = None;
        match ended {
            Ok(()) => self.say(format!("The still is made: {out}")),
            Err(wrong) => self.say(format!("No still was made: {wrong}")),
        }
    }
}

/// Runs the program to its end.
fn run(command: &mut Command, setup: &str, running: &Mutex<Running>) -> Result<(), String> {
    let unable = |e: io::Error| e.to_string();
    let (stdin, stderr) = {
        let mut running = lock(running);
        if running.given_up {
            return Ok(());
        }
        let mut child = command.spawn().map_err(unable)?;
        let pipes = (child.stdin.take(), child.stderr.take());
        running.child = Some(child);
        pipes
    };
    if let Some(mut stdin) = stdin {
        // A program that ended already says why itself.
        let _ = stdin.write_all(setup.as_bytes());
    }
    let mut wrong = String::new();
    if let Some(mut stderr) = stderr {
        // What cannot be read is not told; how it ended is.
        let _ = stderr.read_to_string(&mut wrong);
    }
    // It has closed what it writes to, so this takes no time.
    let ended = lock(running).child.as_mut().map(Child::wait).transpose();
    match ended.map_err(unable)? {
        Some(ended) if ended.success() => Ok(()),
        _ => Err(wrong.lines().next().unwrap_or("it ended early").to_owned()),
    }
}

/// A panic elsewhere leaves a whole value behind.
fn lock(running: &Mutex<Running>) -> std::sync::MutexGuard<'_, Running> {
    running.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Drop for Making {
    fn drop(&mut self) {
        // A window that closes takes its unfinished still along; a finished one is not touched.
        let mut running = lock(&self.running);
        running.given_up = true;
        if let Some(child) = &mut running.child {
            let _ = child.kill();
            let _ = child.wait();
        }
    }
}
