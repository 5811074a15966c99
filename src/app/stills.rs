//! Stills from the window: made by the program itself as `still` makes them, so that samples for
//! samples they are the same pixels; beside the window, which goes on.

use super::desk::Desk;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

/// A still being made.
pub struct Making {
    child: Child,
    out: PathBuf,
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
        // Paths and models in the setup start from its own folder.
        if let Some(folder) = document.path.as_deref().and_then(Path::parent)
            && folder.is_dir()
        {
            command.current_dir(folder);
        }
        let text = document.text().to_owned();
        match command.spawn() {
            Ok(mut child) => {
                if let Some(mut stdin) = child.stdin.take() {
                    // A program that ended already says why itself.
                    let _ = stdin.write_all(text.as_bytes());
                }
                self.making = Some(Making { child, out: full });
                self.say("The still is being made; work can go on.");
            }
            Err(e) => self.say(format!("The still cannot be made: {e}")),
        }
    }

    /// Looks whether the still is there.
    pub(super) fn poll_still(&mut self) {
        let Some(making) = &mut self.making else {
            return;
        };
        let Ok(Some(ended)) = making.child.try_wait() else {
            return;
        };
        let mut wrong = String::new();
        if let Some(mut stderr) = making.child.stderr.take() {
            use std::io::Read;
            let _ = stderr.read_to_string(&mut wrong);
        }
        let out = making.out.display().to_string();
        self.making = None;
        if ended.success() {
            self.say(format!("The still is made: {out}"));
        } else {
            let first = wrong.lines().next().unwrap_or("it ended early").to_owned();
            self.say(format!("No still was made: {first}"));
        }
    }
}

impl Drop for Making {
    fn drop(&mut self) {
        // A window that closes takes its unfinished still along; a finished one is not touched.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
