//! What is kept of a set between changes gives the same picture, to the bit, as building it anew.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use swatchlight::render::cpu::Cpu;
use swatchlight::render::executor::{Executor, Passes};
use swatchlight::render::film::Film;
use swatchlight::scene::models::Models;
use swatchlight::scene::studio::Studio;
use swatchlight::setup::written::Written;
use swatchlight::setup::{Options, Setup, parse_with};

const SETUP: &str = include_str!("../models/setups/side-key-linen.toml");

fn models() -> Models {
    Models::for_setup(Path::new("models/setups/side-key-linen.toml"))
}

/// The demo with one key changed.
fn changed(models: &Models, path: &str, typed: &str) -> Setup {
    let mut written = Written::parse(SETUP, "test").expect("the demo is TOML");
    let path = written.path(path).expect("a key");
    written.set(&path, typed).expect("it can be set");
    let small = Options {
        pixels: Some([24, 36]),
    };
    match parse_with(&written.text(), "test", models, small) {
        Ok(checked) => checked.setup,
        Err(problems) => panic!("{problems:?}"),
    }
}

fn film(setup: &Setup, models: &Models) -> Film {
    let studio = Studio::build(setup, models).expect("the demo builds");
    let scene = &studio.scene;
    let mut film = Film::new(24, 0, 36, scene.layers.len() as u32);
    let go = AtomicBool::new(false);
    Cpu::new(2)
        .and_then(|mut cpu| cpu.render(scene, &mut film, Passes::one(0, 4), &go))
        .expect("the processor renders");
    film
}

#[test]
fn a_kept_ground_shows_the_same_light() {
    let (fresh, kept) = (models(), models().keeping_grounds());
    for (path, typed) in [
        ("key.height", "1.9 m"),
        ("key.height", "2.4 m"),
        ("bounce.finish", "black"),
        ("figure.turn", "25 deg left"),
        ("figure.fabric", "silk-satin"),
        ("key.height", "1.9 m"),
    ] {
        let setup = changed(&fresh, path, typed);
        let (a, b) = (film(&setup, &fresh), film(&setup, &kept));
        assert!(a.light.iter().any(|l| l[1] > 0.0));
        assert_eq!(a.light, b.light, "{path} = {typed}");
        assert_eq!(a.seen, b.seen, "{path} = {typed}");
    }
}

#[test]
fn a_change_of_lights_builds_no_ground_anew() {
    let models = models().keeping_grounds();
    let trees = |typed: &str| {
        let setup = changed(&models, "key.height", typed);
        let scene = Studio::build(&setup, &models).expect("it builds").scene;
        scene.accel.trees
    };
    let (first, second) = (trees("1.9 m"), trees("2.4 m"));
    // Two trees: the ground's, which is the same, and that of what moves.
    assert_eq!([first.len(), second.len()], [2, 2]);
    assert!(Arc::ptr_eq(&first[0].grown, &second[0].grown));
    assert!(!Arc::ptr_eq(&first[1].grown, &second[1].grown));
}
