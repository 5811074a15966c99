//! What the program says: results on stdout, everything else on stderr.

use super::exit::{Exit, Failure};
use super::words;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;
use std::io::{self, IsTerminal, Write};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use swatchlight::render::driver::Progress;
use swatchlight::setup::Problems;

/// Between progress lines where there is no terminal to draw a bar on.
const BETWEEN_LINES: Duration = Duration::from_secs(10);

/// Parts of the bar.
const BAR_LENGTH: u64 = 1000;

/// Says things. Only errors are said when it is quiet.
#[derive(Debug)]
pub struct Voice {
    quiet: bool,
    json: bool,
    bar: Mutex<Option<ProgressBar>>,
    last_line: Mutex<Instant>,
}

impl Voice {
    /// `json`: stdout takes one document, so text results are held back by the commands.
    pub fn new(quiet: bool, json: bool) -> Self {
        Self {
            quiet,
            json,
            bar: Mutex::default(),
            last_line: Mutex::new(Instant::now()),
        }
    }

    /// Whether the result is to be JSON.
    pub fn json(&self) -> bool {
        self.json
    }

    /// Writes a result to stdout.
    ///
    /// # Errors
    /// [`Failure::ReaderGone`] for a closed pipe, a message for anything else.
    pub fn print(&self, text: &str) -> Result<(), Failure> {
        let mut out = io::stdout().lock();
        out.write_all(text.as_bytes())
            .and_then(|()| out.flush())
            .map_err(|e| match e.kind() {
                io::ErrorKind::BrokenPipe => Failure::ReaderGone,
                _ => Failure::working(format!("cannot write the result to stdout: {e}")),
            })
    }

    /// Writes a JSON document to stdout.
    ///
    /// # Errors
    /// As [`Voice::print`].
    pub fn print_json(&self, document: &impl Serialize) -> Result<(), Failure> {
        let mut text = serde_json::to_string_pretty(document)
            .map_err(|e| Failure::working(format!("cannot write JSON: {e}")))?;
        text.push('\n');
        self.print(&text)
    }

    /// Says something on stderr, unless quiet.
    pub fn note(&self, text: &str) {
        if !self.quiet {
            self.err(&format!("{text}\n"));
        }
    }

    /// Says what is to be minded about a setup that can be used, unless quiet.
    pub fn notes(&self, problems: &Problems) {
        if !self.quiet && !problems.is_empty() {
            self.err(&problems.render(colour(&io::stderr())));
        }
    }

    /// Says a failure and gives its exit code.
    pub fn fail(&self, failure: Failure) -> Exit {
        self.end_progress();
        match failure {
            Failure::ReaderGone => Exit::Done,
            Failure::Problems(problems) => {
                self.err(&problems.render(colour(&io::stderr())));
                Exit::Wrong
            }
            Failure::Message { exit, what, hint } => {
                let hint = hint.map_or_else(String::new, |h| format!("hint: {h}\n"));
                self.err(&format!("error: {what}\n{hint}"));
                exit
            }
        }
    }

    /// Shows how far a picture is. `share` is that of the whole picture, and `left` the time for
    /// the rest of it.
    pub fn progress(&self, share: f64, now: &Progress, left: Option<Duration>) {
        self.stage(share, &progress_line(now, left));
    }

    /// Shows how far something is: a bar on a terminal, else a line now and then.
    pub fn stage(&self, share: f64, state: &str) {
        if self.quiet {
            return;
        }
        let share = share.clamp(0.0, 1.0);
        if io::stderr().is_terminal() {
            let mut bar = lock(&self.bar);
            let bar = bar.get_or_insert_with(new_bar);
            bar.set_position((share * BAR_LENGTH as f64) as u64);
            bar.set_message(state.to_owned());
        } else {
            let mut last = lock(&self.last_line);
            if last.elapsed() >= BETWEEN_LINES {
                *last = Instant::now();
                drop(last);
                self.err(&format!("{:3.0} %, {state}\n", 100.0 * share));
            }
        }
    }

    /// Takes the bar away.
    pub fn end_progress(&self) {
        if let Some(bar) = lock(&self.bar).take() {
            bar.finish_and_clear();
        }
    }

    fn err(&self, text: &str) {
        // Nobody is left to tell when stderr is closed.
        let write = || drop(io::stderr().write_all(text.as_bytes()));
        match lock(&self.bar).as_ref() {
            Some(bar) => bar.suspend(write),
            None => write(),
        }
    }
}

/// Whether a stream takes colour: a terminal, and nobody has said NO_COLOR.
pub fn colour(stream: &impl IsTerminal) -> bool {
    stream.is_terminal() && std::env::var_os("NO_COLOR").is_none_or(|v| v.is_empty())
}

fn new_bar() -> ProgressBar {
    let bar =
        ProgressBar::with_draw_target(Some(BAR_LENGTH), ProgressDrawTarget::stderr_with_hz(5));
    if let Ok(style) = ProgressStyle::with_template("{bar:24} {percent} %, {msg}") {
        bar.set_style(style);
    }
    bar
}

fn progress_line(now: &Progress, left: Option<Duration>) -> String {
    let mut line = words::count(now.samples, "sample");
    if let Some(error) = now.relative_error {
        line += &format!(", noise {}", words::percent(error));
    }
    if let Some(left) = left {
        line += &format!(", {} left", words::time(left));
    }
    line
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}
