//! A setup that traces fast, and what a run makes of its states.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use std::path::Path;
use std::sync::atomic::AtomicBool;
use swatchlight::measure::gather::GatherGoal;
use swatchlight::measure::vary::{Axis, Exposing, Goals, Linear, Made, Plan, run};
use swatchlight::render::cpu::Cpu;
use swatchlight::render::driver::Goal;
use swatchlight::scene::models::Models;
use swatchlight::setup::Options;
use swatchlight::setup::Setup;
use swatchlight::setup::written::Written;

/// An invented set: a grey card that fills the picture, in a dark hall, under a disk straight before it.
pub const CARD: &str = r#"title = "Card"
[room]
walls = "open"
reflectance = { floor = 0 }
[swatch]
fabric = "cotton-plain"
at = [0, 0.3, -3]
show = false
[camera]
at = [0, 1, 3]
aim = [0, 1, 0]
focal_length = "200 mm"
pixels = "16 x 24"
f_number = "as metered"
[[light]]
name = "key"
modifier = { kind = "disk", diameter = "20 cm" }
distance = "4 m"
bearing = "40 deg left"
height = "1 m"
aim = [0, 1, 0]
output = "9000 lm s"
[[board]]
name = "card"
finish = "grey"
size = "80 x 80 cm"
at = [0, 1, 0]
aim = [0, 1, 2]
stand = "none"
[meter]
expose_at = { name = "card", at = [0, 1, 0.01] }
points = [{ name = "card", at = [0, 1, 0.01] }, { name = "to key", at = [0, 1, 0.01], facing = "light key" }]
"#;

pub fn models() -> Models {
    Models::for_setup(Path::new("card.toml"))
}

pub fn written(text: &str) -> Written {
    Written::parse(text, "card.toml").expect("a setup")
}

/// The states of a setup over these axes.
pub fn plan(text: &str, over: &[&str]) -> Plan {
    let written = written(text);
    let axes = over
        .iter()
        .map(|o| Axis::typed(o, &written).expect("an axis"))
        .collect();
    Plan::new(&written, "card.toml", axes, &models(), Options::default()).expect("good states")
}

pub fn goals(pictures: Option<u32>, exposing: Exposing) -> Goals {
    Goals {
        readings: GatherGoal {
            relative_error: 0.004,
            most_blocks: 256,
        },
        pictures: pictures.map(|samples| Goal {
            samples,
            relative_error: None,
        }),
        exact: true,
        exposing,
    }
}

/// Takes setups on two threads of the processor.
pub fn take(setups: &[&Setup], goals: Goals) -> Vec<Made> {
    let (models, go) = (models(), AtomicBool::new(false));
    let mut cpu = Cpu::new(2).expect("threads");
    let models = vec![&models; setups.len()];
    run(setups, &models, &mut cpu, goals, &go, &mut |_| {})
        .expect("it can be taken")
        .expect("nobody stopped it")
}

pub fn take_plan(plan: &Plan, goals: Goals) -> Vec<Made> {
    let setups: Vec<&Setup> = plan.states.iter().map(|s| &s.setup).collect();
    take(&setups, goals)
}

/// Mean luminance of a picture.
pub fn mean(picture: &Linear) -> f64 {
    let all = 0..picture.rgb.len();
    all.map(|k| picture.luminance(k)).sum::<f64>() / picture.rgb.len() as f64
}
