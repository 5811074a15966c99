//! `new`: writes a setup to start from.

use super::exit::{Exit, Failure};
use super::resolved::NewRun;
use super::voice::Voice;
use std::io::Write;
use swatchlight::report::write_whole;

/// Writes the file and says what to do next.
///
/// # Errors
/// What keeps the file from being written.
pub fn new(run: &NewRun, voice: &Voice) -> Result<Exit, Failure> {
    let text = run.template.text(&run.title);
    write_whole(&run.out, run.overwrite, |file| {
        file.write_all(text.as_bytes())
    })?;
    let path = run.out.display();
    voice.print(&format!("{path}\n"))?;
    voice.note(&format!(
        "{}: {}.\nNext: swatchlight still {path}",
        run.template.kind, run.template.about
    ));
    Ok(Exit::Done)
}
