//! The stand-in as a setup asks for it: what ships is ready, words that are unknown are named with their place, and
//! meshes of the user's own stand where their height says.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, Mutex};
use swatchlight::scene::cloth::{Dye, Shelf};
use swatchlight::scene::models::Models;
use swatchlight::scene::stock::Stock;
use swatchlight::scene::studio::Studio;
use swatchlight::scene::tables::Tables;
use swatchlight::setup::{Options, parse, parse_with};

fn models_folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("models")
}

/// Models that may not build anything.
fn only_what_is_ready(setup: &Path) -> Models {
    let stop = Arc::new(AtomicBool::new(true));
    Models::for_setup(setup).with_stock(Stock::new(None).stopped_by(stop))
}

/// Every demo's figure and garments lie ready in `models/made`, none over 4 MB and all together under 40.
#[test]
fn what_the_demos_wear_ships_ready_made() {
    let mut seen = 0;
    let folder = |name: &str| fs::read_dir(models_folder().join(name)).unwrap();
    for entry in folder("setups").chain(folder("setups/lessons")) {
        let path = entry.unwrap().path();
        // Nor what a script has put there in passing.
        if path.is_dir() || path.extension().is_none_or(|e| e != "toml") {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let models = only_what_is_ready(&path);
        let name = path.display().to_string();
        let checked = parse_with(&text, &name, &models, Options::default())
            .unwrap_or_else(|p| panic!("{name}: {}", p.render(false)));
        seen += usize::from(checked.setup.figure.is_some());
    }
    assert!(seen >= 8, "{seen} demos with a figure");
    let sizes: Vec<u64> = fs::read_dir(models_folder().join("made"))
        .unwrap()
        .map(|e| e.unwrap().metadata().unwrap().len())
        .collect();
    assert!(sizes.iter().all(|s| *s < 4_000_000), "{sizes:?}");
    assert!(sizes.iter().sum::<u64>() < 36_000_000, "{sizes:?}");
}

/// So do the tables of every fabric, and the light of the modifiers in the demos; nothing else does.
#[test]
fn tables_of_cloths_and_lights_ship_ready_made() {
    let made = models_folder().join("made");
    let shipped = |ending: &str| {
        let files = fs::read_dir(&made).unwrap().map(|e| e.unwrap().path());
        files
            .filter(|p| p.extension().is_some_and(|e| e == ending))
            .count()
    };
    let models = only_what_is_ready(Path::new("any.toml"));
    let shelf = Shelf::new(None).looking_into(std::slice::from_ref(&made));
    let fabrics = models.list("fabrics");
    for name in &fabrics {
        let fabric = models.fabric(name).unwrap();
        let known = shelf.knows(&fabric, Dye::Own).unwrap();
        assert!(known, "{name}: run `swatchlight make-ready --missing`");
    }
    assert_eq!(
        shipped("cloth"),
        fabrics.len(),
        "some are of no use any more"
    );

    let traced: Arc<Mutex<Vec<String>>> = Arc::default();
    let told = Arc::clone(&traced);
    let tell = move |name: &str| told.lock().unwrap().push(name.to_owned());
    let tables = Tables::new(None).telling(Box::new(tell));
    tables.look_into(std::slice::from_ref(&made));
    for entry in fs::read_dir(models_folder().join("setups")).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        let name = path.display().to_string();
        let checked = parse_with(&text, &name, &only_what_is_ready(&path), Options::default());
        for light in &checked.unwrap().setup.lights {
            tables.shine(&light.modifier, light.spread.unwrap_or_default());
        }
    }
    assert_eq!(
        *traced.lock().unwrap(),
        [""; 0],
        "run `swatchlight make-ready --missing`"
    );
}

#[test]
fn unknown_words_are_told_with_their_line() {
    let models = only_what_is_ready(Path::new("any.toml"));
    let head = "[camera]\nframing = \"full-length\"\n[figure]\nmodel = \"woman\"\n";
    for (key, word, known) in [
        ("skin", "purple", "light"),
        ("size", "XXS", "XL"),
        ("hair", "helmet", "bun"),
        ("hair_colour", "green", "auburn"),
        ("shoes", "skates", "pumps"),
        ("lip_finish", "wet", "gloss"),
        ("pose", "floating", "walking"),
        ("garment", "toga", "shift"),
    ] {
        let text = format!("{head}{key} = \"{word}\"\n");
        let problems = parse(&text, "any.toml", &models).expect_err(key);
        let all = problems.render(false);
        assert!(all.contains("any.toml:5:"), "{key}: {all}");
        assert!(all.contains(word) && all.contains(known), "{key}: {all}");
    }
    let two = format!(
        "{head}garment = [\"t-shirt\", \"wool-jacket\"]\nfabric = [\"poplin\", \"denim\", \"denim\"]\n"
    );
    let all = parse(&two, "any.toml", &models)
        .expect_err("three cloths")
        .render(false);
    assert!(all.contains("3 cloths are named for 2 garments"), "{all}");
    let wind = format!("{head}wind_strength = 0.5\n");
    let all = parse(&wind, "any.toml", &models)
        .expect_err("no direction")
        .render(false);
    assert!(all.contains("wind ="), "{all}");
}

/// A closed box from the floor up, in centimetres and floating, as a figure of a stated height.
#[test]
fn a_mesh_of_ones_own_stands_and_is_metered() {
    let folder = tempfile::tempdir().unwrap();
    let figures = folder.path().join("models/figures");
    fs::create_dir_all(&figures).unwrap();
    let mut mesh = String::from("o skin\n");
    for i in 0..8 {
        let pick = |bit: u32, lo: f32, hi: f32| if i >> bit & 1 == 1 { hi } else { lo };
        mesh += &format!(
            "v {} {} {}\n",
            pick(0, -20.0, 20.0),
            pick(1, 50.0, 220.0),
            pick(2, -10.0, 10.0)
        );
    }
    for f in [
        "1 3 4 2", "5 6 8 7", "1 2 6 5", "3 7 8 4", "1 5 7 3", "2 4 8 6",
    ] {
        mesh += &format!("f {f}\n");
    }
    fs::write(figures.join("mine.obj"), mesh).unwrap();
    fs::write(
        figures.join("mine.toml"),
        "title = \"Mine\"\nmesh = \"mine.obj\"\nheight_m = 1.70\n[points_m]\nhem = [0, 0.5, 0.1]\n",
    )
    .unwrap();
    let setup = folder.path().join("setup.toml");
    let models = Models::for_setup(&setup);
    let text = "[figure]\nmodel = \"mine\"\n[camera]\nframing = \"full-length\"\n[[light]]\nname = \"key\"\n\
        modifier = \"round-panel-120\"\ndistance = \"2 m\"\nbearing = \"30 deg left\"\nheight = \"2 m\"\n\
        aim = \"chest\"\noutput = \"3000 lm s\"\n";
    let checked =
        parse(text, "setup.toml", &models).unwrap_or_else(|p| panic!("{}", p.render(false)));
    let figure = checked.setup.figure.as_ref().expect("a figure");
    assert!((figure.height_m - 1.7).abs() < 1e-5, "{}", figure.height_m);
    let at = |name: &str| figure.body_points_m[name];
    // Drillis and Contini 1966, from memory: eyes .936 and chin .870 of the stature.
    assert!((at("eyes").y - 0.936 * 1.7).abs() < 0.01);
    assert!((at("chin").y - 0.870 * 1.7).abs() < 0.01);
    assert!(
        (at("chest").z - 0.1).abs() < 1e-4,
        "on its front: {}",
        at("chest")
    );
    assert!((at("hem").y - 0.5).abs() < 1e-6, "as its file says");
    let studio = Studio::build(&checked.setup, &models).expect("a scene");
    assert!(!studio.scene.triangles.is_empty());
    let looks = text.replace("[camera]", "skin = \"light\"\n[camera]");
    let refused = parse(&looks, "setup.toml", &models).expect_err("a mesh has its own");
    assert!(refused.render(false).contains("brings its own looks"));
}
