//! A fabric's data page: its figures against handbook values, its draft and its drawing.
//!
//! Sources stand beside the checks; "common practice" marks what the trade takes for granted.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use swatchlight::fabric::draft::{Draft, Yarn, read_wif, write_wif};
use swatchlight::fabric::structure::WovenCloth;
use swatchlight::fabric::{Fabric, Structure};
use swatchlight::measure::fabric_page::{
    FabricPage, Looking, Pictured, broad_lay, close_mm, draft_of, drawn_draft, fabric_page,
};
use swatchlight::measure::swatch_view::{Reference, SwatchShot};
use swatchlight::render::cpu::Cpu;
use swatchlight::report::drawing::{Anchor, Drawing, Shape, png, svg, text_width_mm};
use swatchlight::report::fabric_page::maps_png::{MapKind, map_png};
use swatchlight::report::fabric_page::{blocks, draw, moire_words};
use swatchlight::scene::cloth::Shelf;
use swatchlight::scene::models::Models;
use swatchlight::setup::Lay;

fn shipped(name: &str) -> Fabric {
    let models = Models::for_setup(Path::new("any.toml"));
    models.fabric(name).unwrap_or_else(|e| panic!("{e}"))
}

fn read(text: &str) -> Fabric {
    Fabric::parse(text, &|name| Err(format!("no {name} here"))).unwrap_or_else(|e| panic!("{e}"))
}

/// A plain cloth of Ne 30 cotton, v = 1.1 cm³/g, 30 ends and picks to the centimetre.
fn plain() -> Fabric {
    read(
        "title = \"Plain\"\n[behind]\ncolour = [0.5, 0.5, 0.5]\n[woven]\nweave = \"plain\"\nends_per_cm = 30\npicks_per_cm = 30\nstray = 0.0\n\
         reed_marks = 0.0\npinch = 0.0\n\
         [woven.warp]\ncount = \"Ne 30\"\npacking = 0.59809\nwidth_factor = 1\nheight_factor = 1\n\
         unevenness = 0.0\ncolour = [0.5, 0.5, 0.5]\n\
         [woven.weft]\ncount = \"Ne 30\"\npacking = 0.59809\nwidth_factor = 1\nheight_factor = 1\n\
         unevenness = 0.0\ncolour = [0.5, 0.5, 0.5]\n",
    )
}

/// At four samples a pixel: what is checked here does not hang on noise.
fn page_of(name: &str, fabric: &Fabric) -> FabricPage {
    let mut executor = Cpu::new(2).expect("threads");
    let stop = AtomicBool::new(false);
    let mut looking = Looking {
        executor: &mut executor,
        shelf: &Shelf::default(),
        samples: 4,
        stop: &stop,
        told: &mut |_, _| (),
    };
    fabric_page(name, fabric, &mut looking).unwrap_or_else(|e| panic!("{e}"))
}

#[track_caller]
fn near(found: f64, wanted: f64, relative: f64) {
    assert!(
        (found / wanted - 1.0).abs() <= relative,
        "{found} is not {wanted}"
    );
}

// --- Figures -------------------------------------------------------------------------------------

/// Round cotton yarn: 1/(28 √Ne) inch (Peirce 1937); cover factor n/√Ne; tex = 590.54/Ne; a balanced
/// plain cloth shows as much warp as weft.
#[test]
fn a_plain_cloth_by_the_handbook() {
    let page = page_of("plain", &plain());
    let w = page.woven.as_ref().expect("woven");
    for s in [&w.warp, &w.weft] {
        near(s.diameter_mm, 25.4 / (28.0 * 30f64.sqrt()), 5e-3);
        near(s.cotton_cover_factor, 30.0 * 2.54 / 30f64.sqrt(), 1e-9);
        near(s.count_tex, 590.54 / 30.0, 1e-5);
        near(s.tex_cover_factor, 3.0 * (590.54f64 / 30.0).sqrt(), 1e-5);
        assert_eq!((s.longest_float_on_face, s.longest_float_on_back), (1, 1));
    }
    assert_eq!((w.weave.as_str(), w.repeat), ("plain", [2, 2]));
    // 0.1 n tex (1 + c) of each system.
    near(
        w.weight_g_m2,
        2.0 * 3.0 * 590.54 / 30.0 * (1.0 + w.warp.crimp),
        1e-5,
    );
    // C₁ + C₂ - C₁C₂ of d/p each.
    let alone = w.warp.diameter_mm * 3.0;
    near(w.cover, 2.0 * alone - alone * alone, 1e-6);
    // Looked at in 8192 places, spread far more evenly than by chance: three standard errors of chance.
    let error = 3.0 * (0.25_f64 / 8192.0).sqrt();
    let (warp, weft) = (page.face.warp_share.unwrap(), page.face.weft_share.unwrap());
    assert!((warp - 0.5).abs() < error, "{warp}");
    assert!(
        (warp + weft - 1.0).abs() < 1e-9,
        "no loose fibres: {warp} {weft}"
    );
    assert!(
        (page.face.cover - w.cover).abs() < 2.0 * error,
        "{}",
        page.face.cover
    );
    assert!((page.face.reflectance - 0.5).abs() < 0.02);
    // One reflectance or its own, all threads alike: the same but for the level.
    let raking = &page.light[0];
    near(raking.as_dyed.rms, raking.relief.rms, 0.15);
    // Common practice: raking light brings out a weave, light about the lens flattens it.
    assert!(raking.relief.rms > 1.5 * page.light[1].relief.rms);
    assert!(page.warnings.is_empty(), "{:?}", page.warnings);

    // A thin lens: a pixel of 36/6000 mm times (d - f)/f; 3 ends to the mm fold about whole cycles.
    let m = page.moire.as_ref().expect("threads");
    near(m.pixel_on_cloth_mm, 0.006 * (3000.0 - 85.0) / 85.0, 1e-9);
    let cycles = 3.0 * m.pixel_on_cloth_mm;
    let worst = m
        .worst
        .as_ref()
        .expect("0.62 cycles a pixel cannot be held");
    if worst.pattern == "ends" || worst.pattern == "picks" {
        near(worst.alias_period_px, 1.0 / (1.0 - cycles), 1e-6);
    }
    assert!(moire_words(m).contains("from 3 m"));
}

/// Too many threads for their room are said so, and the page is made all the same.
#[test]
fn what_could_not_be_woven_is_said() {
    let Structure::Woven(mut cloth) = plain().structure else {
        panic!("woven")
    };
    // Round yarns jam at p = d √3 in plain cloth (Peirce 1937): 34.9 threads a cm here.
    for (sett, faulty) in [(34.0, false), (36.0, true)] {
        cloth.spec.ends_per_cm = sett;
        cloth.spec.picks_per_cm = sett;
        let construction = cloth.spec.construction().unwrap();
        let faults = construction.faults(&cloth.drafted.drawdown).unwrap();
        assert_eq!(!faults.is_empty(), faulty, "{sett}: {faults:?}");
    }
    let fabric = Fabric {
        structure: Structure::Woven(cloth),
        ..plain()
    };
    let page = page_of("dense", &fabric);
    assert!(
        page.warnings[0].contains("too dense"),
        "{:?}",
        page.warnings
    );
    let drawing = draw(&fabric, &page, &fakes(&fabric)).unwrap();
    assert!(svg(&drawing).contains("Warning: too dense"));
}

/// Denim of 68 × 42 Ne 7 weighs 11 to 14.5 ounces a square yard, its face is mostly warp, and shirt
/// jersey weighs 120 to 170 g/m² (common practice).
#[test]
fn shipped_cloths_are_what_the_trade_knows() {
    let denim = page_of("denim", &shipped("denim"));
    let ounces = denim.woven.as_ref().unwrap().weight_g_m2 / 33.906;
    assert!((11.0..14.5).contains(&ounces), "{ounces}");
    assert!(denim.face.warp_share.unwrap() > 0.7);
    let jersey = page_of("single-jersey", &shipped("single-jersey"));
    let knit = jersey.knit.as_ref().unwrap();
    assert!(
        (110.0..175.0).contains(&knit.weight_g_m2),
        "{}",
        knit.weight_g_m2
    );
    assert!(jersey.woven.is_none() && jersey.face.warp_share.is_none());
    let text = serde_json::to_value(&denim).unwrap();
    for key in [
        "fabric",
        "title",
        "structure",
        "woven",
        "face",
        "light",
        "moire",
        "warnings",
    ] {
        assert!(!text[key].is_null(), "{key}");
    }
}

/// Satins and piles lie in folds; coarse cloths are looked at from farther off.
#[test]
fn views_fit_the_cloth() {
    for (name, lay, mm) in [
        ("denim", Lay::Flat, 10.0),
        ("silk-satin", Lay::Draped, 10.0),
        ("cotton-sateen", Lay::Draped, 10.0),
        ("velvet", Lay::Draped, 10.0),
        ("wool-suiting", Lay::Flat, 10.0),
        ("sequins", Lay::Flat, 40.0),
    ] {
        let fabric = shipped(name);
        assert_eq!(broad_lay(&fabric), lay, "{name}");
        assert_eq!(close_mm(&fabric).unwrap(), mm, "{name}");
    }
}

// --- Drafts --------------------------------------------------------------------------------------

fn cloth(fabric: &Fabric) -> &WovenCloth {
    match &fabric.structure {
        Structure::Woven(cloth) => cloth,
        other => panic!("{other:?}"),
    }
}

fn same_weave(draft: &Draft, cloth: &WovenCloth) {
    let made = draft.drawdown().unwrap();
    for end in 0..made.ends() as i64 {
        for pick in 0..made.picks() as i64 {
            assert_eq!(
                made.warp_on_top(end, pick),
                cloth.drafted.drawdown.warp_on_top(end, pick)
            );
        }
    }
}

/// Every shipped woven goes out as WIF 1.1 and comes back with its weave, its colours and its setts.
#[test]
fn weaves_go_out_and_come_back() {
    let models = Models::for_setup(Path::new("any.toml"));
    let mut seen = 0;
    for name in models.list("fabrics") {
        let fabric = shipped(&name);
        let Structure::Woven(cloth) = &fabric.structure else {
            continue;
        };
        seen += 1;
        let draft = draft_of(&fabric.title, cloth).unwrap();
        same_weave(&draft, cloth);
        let back = read_wif(write_wif(&draft).as_bytes()).unwrap().draft;
        same_weave(&back, cloth);
        assert_eq!(back.title, fabric.title);
        let per_cm = back.warp.per_cm().unwrap();
        near(per_cm, cloth.spec.ends_per_cm, 1e-4);
        for end in 0..back.ends() {
            let (a, b) = (draft.warp_reflectance(end), back.warp_reflectance(end));
            let (a, b) = (a.expect("a colour"), b.expect("a colour"));
            // Sixteen bits of an sRGB code.
            assert!(
                (0..3).all(|i| (a[i] - b[i]).abs() < 1e-4),
                "{name}, end {end}"
            );
        }
        same_weave(&drawn_draft(cloth).unwrap(), cloth);
    }
    assert!(seen >= 10, "{seen}");
}

/// A gingham's colours change within the weave's own repeat many times over: 2 ends, yet as many
/// as its bands.
#[test]
fn bands_of_colour_are_whole() {
    let fabric = shipped("gingham");
    let cloth = cloth(&fabric);
    let draft = draft_of("g", cloth).unwrap();
    let bands: u32 = cloth.spec.warp.order.iter().map(|(n, _)| n).sum();
    assert_eq!(draft.ends() % bands as usize, 0);
    assert_eq!(draft.ends() % 2, 0);
    let mut colours = BTreeSet::new();
    for end in 0..draft.ends() {
        let at = end % bands as usize;
        let mut before = 0;
        let (_, name) = cloth
            .spec
            .warp
            .order
            .iter()
            .find(|(n, _)| {
                before += *n as usize;
                at < before
            })
            .unwrap();
        let found = draft.warp_reflectance(end).unwrap();
        let wanted = cloth.spec.colours[name];
        assert!((0..3).all(|i| (found[i] - wanted[i]).abs() < 1e-5));
        colours.insert(draft.warp.colours[end]);
    }
    assert!(colours.len() > 1);
    assert_eq!(cloth.drafted.drawdown.floats(Yarn::Warp).longest_on_face, 1);
}

// --- Drawing -------------------------------------------------------------------------------------

/// Pictures that were not traced.
fn fakes(fabric: &Fabric) -> Vec<Pictured> {
    const SIDE: usize = 8;
    let broad = broad_lay(fabric);
    let close = close_mm(fabric).unwrap();
    [(close, Lay::Flat), (100.0, broad)]
        .into_iter()
        .flat_map(|(width_mm, lay)| Reference::NAMED.map(|(_, light)| (width_mm, lay, light)))
        .map(|(width_mm, lay, light)| Pictured {
            light,
            lay,
            width_mm,
            shot: SwatchShot {
                width: SIDE,
                height: SIDE,
                mm_per_px: width_mm / SIDE as f64,
                rgb: vec![[0.18; 3]; SIDE * SIDE],
                luminance: vec![0.18; SIDE * SIDE],
                errors: vec![0.0; SIDE * SIDE],
                samples: 4,
            },
        })
        .collect()
}

/// Nothing lies outside the paper, no text runs over its edge or over another one.
fn stays_on_its_paper(drawing: &Drawing, what: &str) {
    let [w, h] = drawing.size_mm;
    let on_paper = |[x, y]: [f64; 2]| (0.0..=w).contains(&x) && (0.0..=h).contains(&y);
    let mut boxes: Vec<([f64; 4], &str)> = Vec::new();
    for shape in &drawing.shapes {
        match shape {
            Shape::Path { points_mm, .. } => {
                assert!(points_mm.iter().all(|p| on_paper(*p)), "{what}");
            }
            Shape::Circle { centre_mm, .. } => assert!(on_paper(*centre_mm), "{what}"),
            Shape::Rect {
                corner_mm, size_mm, ..
            }
            | Shape::Raster {
                corner_mm, size_mm, ..
            } => assert!(
                on_paper([corner_mm[0] + size_mm[0], corner_mm[1] + size_mm[1]]),
                "{what}"
            ),
            Shape::Text(t) => {
                let width = text_width_mm(&t.words, t.size_mm);
                let left = match t.anchor {
                    Anchor::Start => t.at_mm[0],
                    Anchor::Middle => t.at_mm[0] - 0.5 * width,
                    Anchor::End => t.at_mm[0] - width,
                };
                let y = t.at_mm[1];
                assert!(
                    on_paper([left, y]) && on_paper([left + width, y]),
                    "{what}: {} at {:?}",
                    t.words,
                    t.at_mm
                );
                let own = [left, left + width, y - 0.5 * t.size_mm, y];
                for (other, words) in &boxes {
                    let apart = own[0] > other[1]
                        || other[0] > own[1]
                        || own[2] > other[3]
                        || other[2] > own[3];
                    assert!(apart, "{what}: \"{}\" over \"{words}\"", t.words);
                }
                boxes.push((own, &t.words));
            }
        }
    }
}

/// A page that needs no light: figures of one that was traced, put to every shipped cloth's own.
#[test]
fn pages_stay_on_their_paper() {
    let mut page = page_of("leather", &shipped("leather"));
    let leather = shipped("leather");
    let drawing = draw(&leather, &page, &fakes(&leather)).unwrap();
    stays_on_its_paper(&drawing, "leather");
    assert!(png(&drawing, 2.0).is_ok());
    // 18 % is sRGB 118 by the tool's convention, and nothing here is dark enough to be opened.
    let raster = drawing.shapes.iter().find_map(|s| match s {
        Shape::Raster { raster, .. } => Some(raster),
        _ => None,
    });
    assert_eq!(raster.unwrap().pixels[0], [118; 3]);
    assert!(!blocks(&page).is_empty());

    let tartan = shipped("tartan");
    let mut own = page_of("tartan", &tartan);
    own.title = "A very long title that goes on ".repeat(6);
    own.fabric = "a-long-name-".repeat(9);
    own.warnings = vec!["a warning that goes on for a while, as warnings do; mend it".into()];
    page.title.clone_from(&own.title);
    stays_on_its_paper(&draw(&tartan, &own, &fakes(&tartan)).unwrap(), "tartan");
    page.title.clear();
    stays_on_its_paper(
        &draw(&leather, &page, &fakes(&leather)).unwrap(),
        "no title",
    );
}

/// Sixteen bits come back exactly (PNG, ISO/IEC 15948: big-endian, row by row from the top).
#[test]
fn maps_come_back_as_written() {
    let pixels: Vec<[f32; 3]> = (0..6_u16)
        .map(|k| [k, 7 * k + 1, 65535 - k].map(|v| (f64::from(v) / 65535.0) as f32))
        .collect();
    for kind in [MapKind::Colour, MapKind::Vectors] {
        let bytes = map_png(3, 2, kind, &pixels).unwrap();
        let read = image::load_from_memory(&bytes).unwrap().into_rgb16();
        assert_eq!((read.width(), read.height()), (3, 2));
        for (k, p) in read.pixels().enumerate() {
            let k = k as u16;
            assert_eq!(p.0, [k, 7 * k + 1, 65535 - k]);
        }
    }
    let bytes = map_png(3, 2, MapKind::Grey, &pixels).unwrap();
    let read = image::load_from_memory(&bytes).unwrap();
    assert_eq!(read.color(), image::ColorType::L16);
    assert_eq!(read.into_luma16().get_pixel(2, 1).0, [5]);
    assert!(map_png(3, 3, MapKind::Grey, &pixels).is_err());
}
