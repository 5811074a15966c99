//! Moiré, said as warnings of a setup.

use super::take::Taken;
use super::voice::Voice;
use super::words;
use swatchlight::measure::cloth_moire::{SetupMoire, moire_of_setup};
use swatchlight::measure::moire::{PatternSeen, Verdict};
use swatchlight::scene::models::Models;
use swatchlight::setup::{Aperture, Kind, Problems, Setup};

/// Adds a warning for each cloth whose threads may beat with the sensor's pixels. `metered`: the f-number, where
/// it is known.
pub fn add_moire(notes: &mut Problems, setup: &Setup, models: &Models, metered: Option<f64>) {
    // Broken fabrics are told elsewhere.
    let found = moire_of_setup(setup, models, metered).unwrap_or_default();
    for cloth in &found {
        if let Some(worst) = cloth.worst().filter(|w| w.verdict != Verdict::Clear) {
            let guessed = metered.is_none() && setup.camera.f_number == Aperture::AsMetered;
            notes.warn(
                Kind::Moire,
                "camera",
                message(cloth, worst, guessed),
                hint(setup, cloth),
            );
        }
    }
}

/// Says a taken setup's moiré, and keeps it with its notes.
pub fn note_moire(taken: &mut Taken, voice: &Voice) {
    let mut notes = taken.notes.cleared();
    add_moire(
        &mut notes,
        &taken.take.setup,
        &taken.source.models,
        Some(taken.take.f_number),
    );
    voice.notes(&notes);
    taken.notes.join(notes);
}

fn message(cloth: &SetupMoire, worst: &PatternSeen, guessed: bool) -> String {
    let verb = match worst.verdict {
        Verdict::WillShow => "will show",
        _ => "may show",
    };
    let [x, y] = worst.cycles_per_px;
    let threads = format!(
        "its {} lie {} pixels of the sensor apart",
        worst.pattern.thread,
        words::significant(x.hypot(y).recip(), 3)
    );
    let bands = match (worst.is_folded(), worst.alias_period_px) {
        (true, period) if period.is_finite() => {
            format!(
                " and beat in bands {} pixels apart",
                words::significant(period, 3)
            )
        }
        (true, _) => " and vanish into an even tone or stripes".into(),
        (false, _) => ", near the limit of two, and swell and fade".into(),
    };
    let aperture = if guessed {
        format!(
            " (at f/{}, until it is metered)",
            words::significant(cloth.f_number, 2)
        )
    } else {
        String::new()
    };
    format!(
        "the {}'s {} {verb} moiré {} m from the lens: {threads}{bands}, with {} contrast{aperture}",
        cloth.of,
        cloth.fabric,
        words::significant(cloth.distance_m, 3),
        words::percent(worst.contrast_shown)
    )
}

fn hint(setup: &Setup, cloth: &SetupMoire) -> String {
    let Some(moves) = &cloth.moire.moves else {
        return String::new();
    };
    let m = |v: f64| format!("{} m", words::significant(v, 3));
    let mm = |v: f64| format!("{} mm", words::significant(1e3 * v, 3));
    let distances: Vec<String> = [
        moves
            .nearer_m
            .map(|d| format!("{} or a little nearer", m(d))),
        moves
            .farther_m
            .map(|d| format!("{} or a little farther", m(d))),
    ]
    .into_iter()
    .flatten()
    .collect();
    let lenses: Vec<String> = [
        moves
            .longer_focal_m
            .map(|f| format!("{} or a little longer", mm(f))),
        moves
            .shorter_focal_m
            .map(|f| format!("{} or a little shorter", mm(f))),
    ]
    .into_iter()
    .flatten()
    .collect();
    let mut ways = Vec::new();
    if !distances.is_empty() {
        ways.push(format!("put the camera at {}", distances.join(", or at ")));
    }
    if !lenses.is_empty() {
        ways.push(format!("use a lens of {}", lenses.join(", or of ")));
    }
    if !setup.camera.low_pass {
        ways.push("a sensor with a low-pass helps (low_pass = true)".into());
    }
    format!(
        "{}; see it with: swatchlight still SETUP --crop 800x800@{}",
        ways.join("; or "),
        if cloth.of == "swatch" {
            "swatch"
        } else {
            "chest"
        }
    )
}
