//! What to mind with this setup, on the day.

use super::build_order::{SAIL_M2, TALL_M, loads};
use crate::report::labels::caution;
use crate::setup::{Kind, Light, Problems, Setup, Severity, Stand};
use glam::DVec3;

/// Within this distance of the mark along the floor people stand (a step and an arm).
const NEAR_PEOPLE_M: f64 = 1.2;
/// Above this something hangs over a head rather than stands beside it.
const OVERHEAD_M: f64 = 1.8;

/// The setup's own warnings, then what its equipment asks for, then the standing rule.
pub(super) fn cautions(setup: &Setup, notes: &Problems) -> Vec<String> {
    let mut found: Vec<String> = notes
        .list()
        .iter()
        .filter(|p| p.severity != Severity::Error)
        .map(|p| match p.kind {
            // What to do about it; of others the hint says what to type.
            Kind::Safety if !p.hint.is_empty() => sentence(&format!("{}: {}", p.message, p.hint)),
            _ => sentence(&p.message),
        })
        .collect();
    let names = |keep: &dyn Fn(DVec3, f64, Stand) -> bool| {
        let kept = loads(setup).filter(|(_, at, area, stand)| keep(*at, *area, *stand));
        let names: Vec<&str> = kept.map(|(name, ..)| name).collect();
        (!names.is_empty()).then(|| names.join(", "))
    };
    let overhead = |at: DVec3, stand: Stand| {
        stand == Stand::Boom
            || (stand == Stand::None && at.y > OVERHEAD_M && at.x.hypot(at.z) < NEAR_PEOPLE_M)
    };
    found.extend(names(&|at, _, stand| overhead(at, stand)).map(|n| caution::overhead(&n)));
    found.extend(
        names(&|at, _, stand| stand == Stand::Upright && at.y >= TALL_M).map(|n| caution::tall(&n)),
    );
    found.extend(names(&|_, area, _| area >= SAIL_M2).map(|n| caution::sails(&n)));
    let burns = |l: &Light| l.output.continuous;
    if setup.lights.iter().any(|l| !burns(l)) {
        found.push(caution::CAPACITORS.into());
        found.push(caution::FLASHING.into());
    }
    if setup.lights.iter().any(burns) {
        found.push(caution::HOT.into());
    }
    if !setup.lights.is_empty() {
        found.push(caution::MAINS.into());
    }
    found.push(caution::CODES.into());
    found
}

/// Begun with a capital, ended with a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let mut out: String = letters
        .next()
        .map_or(String::new(), |c| c.to_uppercase().chain(letters).collect());
    if !out.ends_with(['.', '!', '?']) {
        out.push('.');
    }
    out
}
