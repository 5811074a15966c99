//! Files with bytes changed, put in, taken out or said twice.

use proptest::prelude::*;
use proptest::sample::Index;

/// Where, which of the four, a byte, and over what length.
pub type Change = (Index, u8, u8, usize);

pub fn any_change() -> impl Strategy<Value = Change> {
    (any::<Index>(), 0..4_u8, any::<u8>(), 1..40_usize)
}

/// Makes the changes one after the other, until nothing is left; what is put in comes from `alphabet`.
pub fn mutate(bytes: &mut Vec<u8>, changes: Vec<Change>, alphabet: &[u8; 16]) {
    for (at, change, byte, length) in changes {
        if bytes.is_empty() {
            return;
        }
        let at = at.index(bytes.len());
        let end = (at + length).min(bytes.len());
        match change {
            0 => bytes[at] = byte,
            1 => bytes.insert(at, alphabet[usize::from(byte % 16)]),
            2 => drop(bytes.drain(at..end)),
            _ => {
                let twice = bytes[at..end].to_vec();
                bytes.splice(at..at, twice).for_each(drop);
            }
        }
    }
}
