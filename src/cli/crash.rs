//! What is said when the program itself is broken.

use std::io::Write;
use std::panic::PanicHookInfo;
use std::sync::Once;

/// Makes panics say sorry, once, and what to report.
pub fn install_apology() {
    static ONCE: Once = Once::new();
    std::panic::set_hook(Box::new(|info| {
        ONCE.call_once(|| {
            // Nobody is left to tell when stderr is closed.
            let _ = std::io::stderr().write_all(apology(info).as_bytes());
        });
    }));
}

fn apology(info: &PanicHookInfo) -> String {
    let place = info.location().map_or_else(
        || "an unknown place".into(),
        |l| format!("{}:{}", l.file(), l.line()),
    );
    let said = info.payload_as_str().unwrap_or("no message");
    format!(
        "error: swatchlight made a mistake of its own and cannot go on; nothing unfinished was left behind. Sorry.\n\
         hint: please report this, with your setup file and these words: \
         swatchlight {}, {} {}, {place}: {said}\n",
        env!("CARGO_PKG_VERSION"),
        std::env::consts::OS,
        std::env::consts::ARCH,
    )
}
