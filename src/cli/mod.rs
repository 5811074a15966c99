//! The command line: arguments as typed ([`typed`]) become what is to be done ([`resolved`]); each
//! command has a module. Results go to stdout, all else to stderr; every failure comes back here
//! and is said once.

mod balance;
mod batch;
mod batch_args;
mod cache;
mod check;
mod close_up;
mod compare;
mod compare_args;
pub mod crash;
mod crop;
mod dark_points;
mod day;
mod day_args;
mod day_page;
pub mod exit;
mod fabric;
mod figure;
mod interrupt;
mod json;
mod lessons;
mod lessons_page;
mod merge;
mod merge_args;
mod modifier;
mod moire;
mod new;
mod open;
mod open_args;
mod read;
mod readings;
mod resolved;
mod sheet;
mod sheet_args;
mod source;
mod still;
mod swatch_args;
mod swatch_still;
mod sweep;
mod sweep_args;
mod system;
mod table;
mod take;
mod typed;
mod typed_values;
mod vary_json;
mod voice;
mod words;

use clap::{CommandFactory, Parser};
use exit::{Exit, Failure};
use resolved::Run;
use std::sync::Arc;
use typed::Typed;
use voice::Voice;

/// Runs the program on the process's arguments.
pub fn run() -> Exit {
    let typed = match Typed::try_parse() {
        Ok(typed) => typed,
        Err(asked) => return say_usage(&asked),
    };
    let voice = Arc::new(Voice::new(typed.quiet(), typed.json()));
    match resolved::resolve(typed).and_then(|run| act(run, &voice)) {
        Ok(exit) => exit,
        Err(failure) => voice.fail(failure),
    }
}

fn act(run: Run, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    match run {
        Run::Orient => voice.print(&orientation()).map(|()| Exit::Done),
        Run::Still(still) => match &still.swatch {
            Some(view) => swatch_still::swatch_still(&still, view, voice),
            None => still::still(&still, voice),
        },
        Run::Sheet(run) => sheet::sheet(&run, voice),
        Run::Read(read) => read::read(&read, voice),
        Run::Balance(balance) => balance::balance(&balance, voice),
        Run::Check(check) => check::check(&check, voice),
        Run::Day(run) => day::day(&run, voice),
        Run::New(new) => new::new(&new, voice),
        Run::Modifier(run) => modifier::modifier(&run, voice),
        Run::Fabric(run) => fabric::fabric(&run, voice),
        Run::Import(run) => fabric::import(&run, voice),
        Run::Photograph(run) => fabric::photograph(&run, voice),
        Run::Sweep(run) => sweep::sweep(&run, voice),
        Run::Compare(run) => compare::compare(&run, voice),
        Run::System(system) => system::system(&system, voice),
        Run::Completions(shell) => {
            let mut script = Vec::new();
            clap_complete::generate(shell, &mut Typed::command(), "swatchlight", &mut script);
            voice
                .print(&String::from_utf8_lossy(&script))
                .map(|()| Exit::Done)
        }
        Run::Open(run) => open::open(&run, voice),
        Run::Figure(run) => figure::figure(&run, voice),
        Run::Lessons(run) => lessons::lessons(&run, voice),
        Run::MakeReady { models, missing } => figure::make_ready(&models, missing, voice),
        Run::Batch(run) => batch::batch(&run, voice),
        Run::Merge(run) => merge::merge(&run, voice),
    }
}

/// Help, version, or what is wrong with the arguments, in clap's words.
fn say_usage(asked: &clap::Error) -> Exit {
    let wrong = asked.use_stderr();
    match asked.print() {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Exit::Failed,
        _ if wrong => Exit::Wrong,
        _ => Exit::Done,
    }
}

fn orientation() -> String {
    "\
Swatchlight traces the light a studio really makes, onto a figure and its cloth.
A setup file goes in; meter readings and pictures come out.

  swatchlight new my-setup           write a setup to start from, with comments
  swatchlight check my-setup.toml    look for mistakes in it
  swatchlight read my-setup.toml     what a meter reads, each light alone and together
  swatchlight balance my-setup.toml  what to set each light to
  swatchlight still my-setup.toml    render the picture: my-setup.png
  swatchlight sweep my-setup.toml --over key.spread=0..1:6    one key in six states
  swatchlight compare a.toml b.toml  two setups, and what differs
  swatchlight day my-setup.toml      what a real meter said, beside all that
  swatchlight sheet my-setup.toml    the sheet for the shoot: my-setup-sheet.pdf
  swatchlight batch my-list.toml     render a day's shoot list, look by look
  swatchlight modifier               the modifiers there are, and what each does
  swatchlight figure                 the figures, poses and garments there are
  swatchlight open my-setup.toml     the window: all of it, live
  swatchlight fabric                 the fabrics there are, and what light makes of each

swatchlight help lists all commands; swatchlight help still explains one.
"
    .to_owned()
}
