//! The woven cloth's kernels against drafts, Peirce's diameters and their own geometry.

#[path = "common/texels.rs"]
mod texels;

use naga_rust_rt::{Scalar, Vec2};
use swatchlight::fabric::draft::{Drawdown, StandardWeave};
use swatchlight::fabric::structure::Form;
use swatchlight::fabric::structure::hairs::Hairs;
use swatchlight::fabric::structure::woven::{Drafted, Woven};
use swatchlight::scene::{kernels::*, records::*};
use texels::Texels;

const NO_RELIEF: &str = "skin = { fibre_relief_mm = 0.0 }";
const LENGTH_MM: f32 = 2000.0;

/// A cloth of text, with what is to be said of the whole and of each system.
fn woven(weave: &str, setts: [f64; 2], whole: &str, threads: &str) -> Woven {
    let text = format!(
        "weave = '''{weave}'''\nends_per_cm = {}\npicks_per_cm = {}\n{whole}\n\
         [warp]\ncount = \"20 tex\"\n{threads}\n[weft]\ncount = \"20 tex\"\n{threads}\n",
        setts[0], setts[1]
    );
    let woven: Woven = toml::from_str(&text).unwrap_or_else(|e| panic!("{e}\n{text}"));
    woven.check().unwrap();
    woven
}

fn packed(woven: &Woven, drafted: &Drafted, seed: u32) -> (Texels, Form) {
    let mut texels = vec![[0.0; 4]; 3];
    let form = woven.pack(drafted, seed, &mut texels).unwrap();
    (Texels(texels), form)
}

fn at(x: f32, y: f32) -> Vec2<f32> {
    Vec2 { x, y }
}

/// Even in 0..1, without a pattern that a weave has (R2 sequence of M. Roberts, from memory).
fn spread(i: usize) -> [f32; 2] {
    let part = |a: f64| ((i as f64 + 0.5) * a).fract() as f32;
    [part(0.754_877_666_246_693), part(0.569_840_290_998_053_2)]
}

/// Cloths unlike each other in every way that the geometry knows.
fn cloths() -> Vec<(&'static str, Woven)> {
    let grey = format!("colour = [0.3, 0.3, 0.3]\n{NO_RELIEF}");
    let slubs = "slubs = { swell = 0.8, spacing_mm = 40, share = 0.5 }\nunevenness = 0.2";
    vec![
        ("plain", woven("plain", [24.0, 22.0], "", &grey)),
        (
            "slubs",
            woven(
                "plain",
                [20.0, 20.0],
                "stray = 0.12",
                &format!("{slubs}\n{grey}"),
            ),
        ),
        (
            "twill",
            woven(
                "twill-3-1-right",
                [30.0, 20.0],
                "float_arch = 0.3\npinch = 0.2",
                &grey,
            ),
        ),
        (
            "satin",
            woven(
                "satin-8",
                [60.0, 30.0],
                "float_arch = 0.35\nfloat_press = 0.9\nflatness = 0.45\nwarp_crimp_share = 0.8",
                &grey,
            ),
        ),
        ("crepe", woven("plain", [18.0, 16.0], "crepe = 0.3", &grey)),
        (
            "milled",
            woven("twill-2-2-left", [18.0, 16.0], "milling = 0.8", &grey),
        ),
    ]
}

#[test]
fn the_yarn_on_top_of_every_crossing_is_the_drafts() {
    let check = |woven: &Woven, drafted: &Drafted, name: &str| {
        let (texels, form) = packed(woven, drafted, 5);
        let draft = &drafted.drawdown;
        let pitches = texels.0[form.first as usize];
        // At the origin, to its left and below, and two metres off.
        for (k0, j0) in [(0_i64, 0_i64), (-40, -37), (6001, -5003)] {
            for k in k0..k0 + draft.ends().min(140) as i64 {
                for j in j0..j0 + draft.picks().min(80) as i64 {
                    let place = at((k as f32 + 0.5) * pitches[0], (j as f32 + 0.5) * pitches[1]);
                    let thread = texels.weave_thread(Scalar(form.first), place, Scalar(0.01));
                    let part = match draft.warp_on_top(k, j) {
                        true => PART_WARP,
                        false => PART_WEFT,
                    };
                    assert_eq!(thread.part, part.0, "{name}: end {k}, pick {j}");
                }
            }
        }
    };
    for (name, _) in StandardWeave::NAMED {
        for whole in ["stray = 0.1", "float_arch = 0.4\nfloat_press = 1.0"] {
            let woven = woven(name, [30.0, 30.0], whole, "colour = [0.5, 0.5, 0.5]");
            check(&woven, &woven.drafted().unwrap(), name);
        }
    }
    // Wider than a texel of the draft, and no multiple of its words.
    let large = Drawdown::from_fn(131, 71, |k, j| (k * k + 3 * j + k * j) % 7 < 3).unwrap();
    let drafted = Drafted {
        drawdown: large,
        warp: Vec::new(),
        weft: Vec::new(),
    };
    let woven = woven("plain", [30.0, 30.0], "", "colour = [0.5, 0.5, 0.5]");
    check(&woven, &drafted, "large");
}

/// Peirce 1937: d = sqrt(4 tex v / 1000 pi); yarns that cross touch, so the crests of both systems
/// together stand as high as both yarns are thick.
#[test]
fn crests_stand_where_yarns_that_touch_put_them() {
    for (share, tex) in [(0.5, 20.0_f64), (0.75, 20.0)] {
        let even = "unevenness = 0.0\npacking = 0.6\nheight_factor = 0.8\ncolour = [0.5, 0.5, 0.5]";
        let woven = woven(
            "plain",
            [24.0, 24.0],
            &format!("stray = 0.0\nreed_marks = 0.0\nwarp_crimp_share = {share}"),
            &format!("{even}\n{NO_RELIEF}"),
        );
        let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 1);
        let pitches = texels.0[form.first as usize];
        let crest = |k: f32| {
            let place = at((k + 0.5) * pitches[0], 0.5 * pitches[1]);
            f64::from(
                texels
                    .weave_height(Scalar(form.first), place, UNDER_ALL_MM)
                    .0,
            )
        };
        // Cotton of 1.52 g/cm3 (Morton and Hearle, from memory) at a packing of 0.6.
        let volume = 1.0 / (1.52 * 0.6);
        let thick = 0.8 * (4.0 * tex * volume / (1000.0 * std::f64::consts::PI)).sqrt();
        assert!(
            (crest(0.0) + crest(1.0) - 2.0 * thick).abs() < 1e-5,
            "{} {}",
            crest(0.0),
            crest(1.0)
        );
        // Half a yarn's thickness above its middle, which swings by its share of the sum.
        assert!((crest(0.0) - (0.5 + share) * thick).abs() < 1e-5);
    }
}

#[test]
fn slopes_are_those_of_the_height() {
    const STEP_MM: f32 = 2e-3;
    for (name, woven) in cloths() {
        let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 3);
        let first = Scalar(form.first);
        let mut met = 0;
        for i in 0..6000 {
            let [u, v] = spread(i);
            let (x, y) = (30.0 * u - 15.0, 30.0 * v - 15.0);
            let thread = texels.weave_thread(first, at(x, y), Scalar(0.01));
            let around = [
                (STEP_MM, 0.0),
                (-STEP_MM, 0.0),
                (0.0, STEP_MM),
                (0.0, -STEP_MM),
            ]
            .map(|(a, b)| (x + a, y + b));
            let same = around.iter().all(|(a, b)| {
                let other = texels.weave_thread(first, at(*a, *b), Scalar(0.01));
                other.part == thread.part && (other.across - thread.across).abs() < 0.2
            });
            let steep = thread.slope.x.abs().max(thread.slope.y.abs());
            if !same || thread.part == PART_GAP.0 || thread.across.abs() > 0.9 || steep > 2.5 {
                continue;
            }
            met += 1;
            let height = around.map(|(a, b)| texels.weave_height(first, at(a, b), UNDER_ALL_MM).0);
            let by_x = (height[0] - height[1]) / (around[0].0 - around[1].0);
            let by_y = (height[2] - height[3]) / (around[2].1 - around[3].1);
            let off = (by_x - thread.slope.x)
                .abs()
                .max((by_y - thread.slope.y).abs());
            assert!(
                off < 0.01 + 0.02 * steep,
                "{name} at {x}, {y}: {by_x}, {by_y} against {:?}",
                thread.slope
            );
        }
        assert!(met > 2000, "{name}: {met}");
    }
}

#[test]
fn heights_keep_their_bounds_and_agree() {
    let plied = "colour = [0.3, 0.3, 0.3]\n\
                 skin = { plies = 2, ply_depth = 0.3, fibre_relief_mm = 0.0 }";
    let plied = woven(
        "twill-2-2-right",
        [24.0, 22.0],
        "warp_crimp_share = 1.0",
        plied,
    );
    for (name, woven) in cloths().into_iter().chain([("plied", plied)]) {
        let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 9);
        let first = Scalar(form.first);
        let mut highest = f32::MIN;
        for i in 0..60_000 {
            let [u, v] = spread(i);
            let place = at(LENGTH_MM * (2.0 * u - 1.0), LENGTH_MM * (2.0 * v - 1.0));
            let height = texels.weave_height(first, place, UNDER_ALL_MM).0;
            assert!(
                height >= form.low_mm - 1e-6 && height <= form.high_mm + 1e-6,
                "{name}: {height}"
            );
            // Asked for over some height, it is the same where it is over that, else at most that.
            let over = form.low_mm + (form.high_mm - form.low_mm) * (0.7 * u + 0.3 * v);
            let asked = texels.weave_height(first, place, Scalar(over)).0;
            let right = match height > over {
                true => asked == height,
                false => asked <= over,
            };
            assert!(right, "{name}: {asked} for {height} over {over}");
            let thread = texels.weave_thread(first, place, Scalar(0.01));
            assert!((thread.height_mm - height).abs() < 1e-5, "{name}");
            let run = thread.fibre;
            assert!((run.x * run.x + run.y * run.y - 1.0).abs() < 1e-4 && run.z == 0.0);
            highest = highest.max(height);
        }
        // The bound is near enough that shadow rays do not march through air.
        assert!(
            highest > 0.4 * form.high_mm,
            "{name}: {highest} of {}",
            form.high_mm
        );
    }
}

/// Two metres from the origin a coordinate of f32 stands in steps of 0.12 um: the yarns are as
/// smooth there as here.
#[test]
fn cloth_is_as_smooth_two_metres_off() {
    const STEP_MM: f32 = 0.01;
    for (name, woven) in cloths() {
        let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 4);
        let first = Scalar(form.first);
        let rough = |origin: f32| {
            let (mut sum, mut count) = (0.0_f64, 0);
            for i in 0..20_000 {
                let [u, v] = spread(i);
                let (x, y) = (origin + 20.0 * u, origin + 20.0 * v);
                let [a, b, c] = [-STEP_MM, 0.0, STEP_MM]
                    .map(|d| texels.weave_thread(first, at(x + d, y), Scalar(0.005)));
                if a.part == b.part && b.part == c.part && b.across.abs() < 0.7 {
                    sum += f64::from(a.height_mm - 2.0 * b.height_mm + c.height_mm)
                        .abs()
                        .min(0.01);
                    count += 1;
                }
            }
            sum / f64::from(count)
        };
        let (here, there) = (rough(0.0), rough(LENGTH_MM));
        assert!(
            there < 1.3 * here + 2e-5,
            "{name}: {here} here, {there} two metres off"
        );
    }
}

/// Chi-square of 64 equal bins: 63 expected, standard deviation sqrt(126); the bound is four of
/// them off.
#[test]
fn hashed_numbers_are_even() {
    let texels = Texels(Vec::new());
    for label in [31_u32, 0x00ff_ee11] {
        const COUNT: i32 = 90_000;
        let mut bins = [0_u32; 64];
        for i in 0..COUNT {
            // Yarns and places of a cloth on both sides of its origin.
            let value = texels
                .lattice(Scalar(i % 300 - 150), Scalar(i / 300 - 150), Scalar(label))
                .0;
            bins[((0.5 + 0.5 * value) * 64.0).clamp(0.0, 63.0) as usize] += 1;
        }
        let wanted = f64::from(COUNT) / 64.0;
        let chi: f64 = bins
            .iter()
            .map(|n| (f64::from(*n) - wanted).powi(2) / wanted)
            .sum();
        assert!((chi - 63.0).abs() < 4.0 * 126.0_f64.sqrt(), "{chi}");
    }
}

/// Crests of a plain cloth's yarns over 30 cm: no lag brings them back to themselves. Unrelated
/// numbers have a correlation of 1/sqrt(n) for the standard deviation; the bound is 5 of them, as
/// some hundred lags are looked at.
#[test]
fn nothing_repeats_over_thirty_centimetres() {
    let uneven = "unevenness = 0.15\nslubs = { swell = 0.4, spacing_mm = 30, share = 0.3 }";
    let woven = woven(
        "plain",
        [26.8, 26.8],
        "",
        &format!("{uneven}\ncolour = [0.5, 0.5, 0.5]\n{NO_RELIEF}"),
    );
    let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 2);
    let pitches = texels.0[form.first as usize];
    let crest = |k: usize, j: usize| {
        let place = at((k as f32 + 0.5) * pitches[0], (j as f32 + 0.5) * pitches[1]);
        f64::from(
            texels
                .weave_height(Scalar(form.first), place, UNDER_ALL_MM)
                .0,
        )
    };
    // Even ends are up at even picks, even picks' neighbours at odd ones.
    let (count, rows) = (402, 12);
    let across: Vec<Vec<f64>> = (0..rows)
        .map(|row| (0..count).map(|i| crest(2 * i, 34 * row)).collect())
        .collect();
    let down: Vec<Vec<f64>> = (0..rows)
        .map(|row| (0..count).map(|i| crest(34 * row + 1, 2 * i)).collect())
        .collect();
    for (name, lines) in [("across the ends", &across), ("along the ends", &down)] {
        // Along a yarn its own slow unevenness reaches over some centimetres.
        let from = if name.starts_with("across") { 1 } else { 60 };
        for lag in from..count / 2 {
            let (mut both, mut own, mut pairs) = (0.0, 0.0, 0);
            for line in lines.iter() {
                let mean = line.iter().sum::<f64>() / count as f64;
                own += line.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / count as f64;
                for i in 0..count - lag {
                    both += (line[i] - mean) * (line[i + lag] - mean);
                    pairs += 1;
                }
            }
            let r = both / f64::from(pairs) / (own / rows as f64);
            // Rows across cross the same ends, which keep their thickness: they count as one. Along
            // a yarn some sixteen crests are alike.
            let own = if from == 1 {
                f64::from(pairs) / 12.0
            } else {
                f64::from(pairs) / 16.0
            };
            assert!(
                r.abs() < 5.0 / own.sqrt(),
                "{name}, {lag} crests on: {r:.3}"
            );
        }
    }
}

/// What the far view takes for the warp's share of the face is the near view's, counted.
#[test]
fn far_shares_are_the_near_views() {
    let grey = "colour = [0.5, 0.5, 0.5]";
    for (weave, setts, whole) in [
        ("plain", [24.0, 24.0], ""),
        ("plain", [40.0, 22.0], "warp_crimp_share = 0.72"),
        ("twill-3-1-right", [30.0, 22.0], ""),
        ("sateen-5", [30.0, 30.0], ""),
    ] {
        let woven = woven(weave, setts, whole, grey);
        let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 8);
        let first = Scalar(form.first);
        let (mut warp, mut weft, mut far) = (0_u32, 0_u32, 0.0_f64);
        const COUNT: usize = 40_000;
        for i in 0..COUNT {
            let [u, v] = spread(i);
            let place = at(200.0 * u, 200.0 * v);
            let part = texels.weave_thread(first, place, Scalar(1.0)).part;
            warp += u32::from(part == PART_WARP.0);
            weft += u32::from(part == PART_WEFT.0);
            far += f64::from(texels.weave_far(first, place, Scalar(0.1)).warp_share);
        }
        let near = f64::from(warp) / f64::from(warp + weft);
        let far = far / COUNT as f64;
        assert!(
            (near - far).abs() < 0.03,
            "{weave}: {near:.3} near, {far:.3} far"
        );
    }
}

#[test]
fn a_stripe_is_as_wide_as_its_order() {
    let order = "order = [[3, \"white\"], [2, \"black\"]]\nskin = { yarn_contrast = 0.0, \
                 along_contrast = 0.0, fibre_contrast = 0.0 }";
    let colours = "colours = { white = [1.0, 1.0, 1.0], black = [0.0, 0.0, 0.0] }";
    let woven = woven("plain", [20.0, 20.0], colours, order);
    let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 8);
    for k in -5003_i32..-4900 {
        let place = at((k as f32 + 0.5) * 0.5, 0.2);
        let far = texels.weave_far(Scalar(form.first), place, Scalar(0.1));
        let white = k.rem_euclid(5) < 3;
        assert_eq!(far.warp.x > 0.5, white, "end {k}");
    }
    // Far enough off, three white ends of five make 0.6.
    let place = at(1.0, 1.0);
    let far = texels.weave_far(Scalar(form.first), place, Scalar(40.0));
    assert!((far.warp.x - 0.6).abs() < 1e-3 && (far.weft.x - 0.6).abs() < 1e-3);
}

/// Blended fibres: as many as the file says, near and faded.
#[test]
fn a_blend_keeps_its_share_at_every_distance() {
    let blend = "colour = [0.0, 0.0, 0.0]\nskin = { melange = 0.2, melange_colour = [1.0, 1.0, 1.0], \
                 fibre_contrast = 0.0 }";
    let woven = woven("plain", [24.0, 24.0], "", blend);
    let (texels, form) = packed(&woven, &woven.drafted().unwrap(), 8);
    for footprint in [0.001, 0.06, 1.0] {
        let (mut sum, mut count) = (0.0_f64, 0);
        for i in 0..40_000 {
            let [u, v] = spread(i);
            let place = at(300.0 * u, 300.0 * v);
            let thread = texels.weave_thread(Scalar(form.first), place, Scalar(footprint));
            if thread.part != PART_GAP.0 {
                sum += f64::from(thread.colour.x);
                count += 1;
            }
        }
        // A fibre hides 0.65 of what is under it. Clumps vary by a third over some 5 mm, so a
        // sixtieth over the sample; the count of hits varies less.
        let mean = sum / f64::from(count);
        assert!(
            (mean - 0.2 * 0.65).abs() < 0.05 * 0.2 * 0.65 + 0.002,
            "{footprint}: {mean}"
        );
    }
}

/// Lines laid by chance hide 1 - exp(-n l w) (Poisson).
#[test]
fn loose_fibres_hide_what_lines_laid_by_chance_hide() {
    for (count, curl, spread_rad) in [(4.0, 0.0, 1.6), (20.0, 1.5, 1.6), (80.0, 2.0, 0.6)] {
        let hairs: Hairs = toml::from_str(&format!(
            "per_sqmm = {count}\nlength_mm = [0.5, 1.5]\ncurl = {curl}\n\
             spread_rad = {spread_rad}\ncolour = [1.0, 1.0, 1.0]"
        ))
        .unwrap();
        hairs.check().unwrap();
        let mut data = Vec::new();
        let form = hairs.pack(3, &mut data);
        let texels = Texels(data);
        let bare = texels.gap(Scalar(0.0));
        const COUNT: usize = 60_000;
        let mut hit = 0;
        for i in 0..COUNT {
            let [u, v] = spread(i);
            let place = at(300.0 * u - 150.0, 300.0 * v - 150.0);
            let over = texels.hair_over(Scalar(form), place, Scalar(1e-4), bare);
            if over.loose.share > 0.0 {
                assert!(over.loose.share > 0.999);
                hit += 1;
                let f = over.loose.fibre;
                assert!((f.x * f.x + f.y * f.y + f.z * f.z - 1.0).abs() < 1e-4);
            }
        }
        let cover = f64::from(hit) / COUNT as f64;
        let wanted = 1.0 - (-count * 1.0 * 0.022_f64).exp();
        assert!(
            (cover - wanted).abs() < 0.06 * wanted,
            "{count}: {cover:.3}, not {wanted:.3}"
        );
        assert!((f64::from(texels.hair_cover(Scalar(form)).0) - wanted).abs() < 1e-6);
    }
}

#[test]
fn faulty_cloth_is_refused_by_what_is_wrong() {
    let text = "weave = \"plain\"\nends_per_cm = 20\npicks_per_cm = 20\n\
                [warp]\ncount = \"20 tex\"\ncolour = [0.5, 0.5, 0.5]\n\
                [weft]\ncount = \"20 tex\"\ncolour = [0.5, 0.5, 0.5]\n";
    let error = |from: &str, to: &str| {
        let woven: Woven = toml::from_str(&text.replacen(from, to, 1)).unwrap();
        woven.check().unwrap_err().to_string()
    };
    assert!(error("\"plain\"", "\"plane\"").contains("weave `plane` is not known"));
    assert!(error("\"20 tex\"", "\"20\"").starts_with("warp: count"));
    assert!(error("colour = [0.5, 0.5, 0.5]", "").starts_with("warp: type either colour"));
    assert!(error("colour = [0.5, 0.5, 0.5]", "order = [[3, \"red\"]]").contains("`red`"));
    assert!(error("ends_per_cm = 20", "ends_per_cm = nan").starts_with("ends_per_cm"));
    assert!(error("\"20 tex\"", "\"20 tex\"\nfibre = \"glass\"").contains("fibre `glass`"));
    let file: Woven = toml::from_str(&text.replacen("plain", "blanket.wif", 1)).unwrap();
    assert_eq!(file.wif_file(), Some("blanket.wif"));
    assert!(file.check().is_ok() && file.drafted().is_err());
}
