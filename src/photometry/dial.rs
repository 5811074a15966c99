//! An f-number in the words of a meter's dial: one way to say it, on every page and in every table.

use super::fnumber::{FNumber, Mark};

/// "f/8", or "f/8 +.3" for three tenths of a stop more: [`FNumber::mark`] in short.
pub fn on_dial(n: FNumber) -> String {
    let Mark { mark, tenths } = n.mark();
    match tenths {
        0 => mark,
        tenths => format!("{mark} +.{tenths}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A mark that is printed is never told as tenths over the one below it.
    #[test]
    fn a_printed_mark_is_told_as_that() {
        for text in [
            "2.8", "3.5", "5.6", "7.1", "8", "10", "13", "14", "22", "29",
        ] {
            let n = FNumber::exact(text.parse().expect("a number")).expect("an f-number");
            assert_eq!(on_dial(n), format!("f/{text}"));
        }
        let between = FNumber::from_stops(6.2).expect("an f-number");
        assert_eq!(on_dial(between), "f/8 +.2");
    }
}
