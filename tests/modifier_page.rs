//! A modifier's data page: its light against closed forms, its drawing to scale and safe to open.
//!
//! Sources stand beside the checks. Nothing here is left to chance: faces are summed over rasters, so
//! tolerances are those of the rasters, and each is shown to be so by halving the step.

use glam::DVec3;
use serde_json::Value;
use std::f64::consts::PI;
use swatchlight::measure::modifier_page::{modifier_page, setting, spreads};
use swatchlight::optics::prescribe::prescribe;
use swatchlight::optics::shadow::{Shadow, disk_edge_m, shadow};
use swatchlight::optics::shine::Shine;
use swatchlight::optics::table::{Emission, Face};
use swatchlight::optics::trace::{Quality, trace};
use swatchlight::optics::view::View;
use swatchlight::photometry::colour::chromaticity::Chromaticity;
use swatchlight::photometry::colour::difference::lab_from_xyz;
use swatchlight::photometry::colour::matrix::apply;
use swatchlight::photometry::colour::rgb::RgbSpace;
use swatchlight::photometry::colour::transfer::srgb_decode;
use swatchlight::report::drawing::ramp::Ramp;
use swatchlight::report::drawing::{
    Drawing, Paint, Raster, Scale, Shape, Text, fitted, png, svg, text_width_mm,
};
use swatchlight::report::modifier_page::draw;
use swatchlight::setup::{Modifier, parse_modifier};

fn modifier(text: &str) -> Modifier {
    parse_modifier(text, "test.toml", "test").unwrap_or_else(|p| panic!("{}", p.render(false)))
}

fn disk() -> Modifier {
    modifier("kind = \"disk\"\ndiameter = \"1.2 m\"\n")
}

/// A plain modifier's light, and the luminance that one lumen makes of its area.
fn plain(modifier: &Modifier) -> Shine {
    Shine::at_once(modifier).expect("a plain kind")
}

/// On the axis, facing the light.
fn on_axis(view: &View<'_>, distance_m: f64) -> f64 {
    view.illuminance_lx(DVec3::Z * distance_m, DVec3::NEG_Z)
}

fn near(found: f64, wanted: f64, relative: f64, what: &str) {
    assert!(
        (found / wanted - 1.0).abs() <= relative,
        "{what}: {found} is not {wanted}"
    );
}

// --- Light against closed forms ------------------------------------------------------------------

/// E = π L R²/(R² + d²) on the axis of a disk (Howell's catalogue, from memory).
#[test]
fn a_disk_on_its_axis() {
    let m = disk();
    let shine = plain(&m);
    let view = View::new(&shine, &m);
    let luminance = 1.0 / (PI * PI * 0.36);
    for (d, wanted) in [(1.0, 0.8316), (2.0, 0.2594), (3.0, 0.1208), (6.0, 0.03110)] {
        near(
            on_axis(&view, d),
            wanted * luminance,
            6e-4,
            &format!("at {d} m"),
        );
        let half_as_fine = on_axis(&view.coarser(), d);
        near(half_as_fine, on_axis(&view, d), 6e-4, "at half the steps");
    }
    near(
        view.intensity_cd(DVec3::Z),
        luminance * PI * 0.36,
        5e-4,
        "far",
    );
    near(
        view.intensity_cd(DVec3::new(0.6, 0.0, 0.8)),
        0.8 * luminance * PI * 0.36,
        5e-4,
        "Lambert's cosine",
    );
    near(view.flux_lm(), 1.0, 0.01, "all light");
}

/// The rectangle's configuration factors times π (Howell's catalogue, Hamilton and Morgan; the
/// values are those of the modifier study).
#[test]
fn rectangles_on_their_axis() {
    for (w, h, d, factor) in [
        (1.0, 1.0, 1.0, 0.2395),
        (0.6, 0.9, 1.0, 0.1442),
        (0.6, 0.9, 2.0, 0.04098),
        (1.0, 1.0, 5.0, 0.01257),
    ] {
        let m = modifier(&format!("kind = \"panel\"\nsize = \"{w} x {h} m\"\n"));
        let shine = plain(&m);
        let luminance = 1.0 / (PI * w * h);
        near(
            on_axis(&View::new(&shine, &m), d),
            PI * factor * luminance,
            5e-4,
            &format!("{w} x {h} at {d}"),
        );
    }
}

/// A Lambertian sphere gives π L (a/d)² at any distance; a tube far away 2 a l L across.
#[test]
fn globes_and_tubes() {
    let m = modifier("kind = \"globe\"\ndiameter = \"50 cm\"\n");
    let shine = plain(&m);
    let view = View::new(&shine, &m);
    let luminance = 1.0 / (PI * 4.0 * PI * 0.0625);
    for at in [DVec3::Z, DVec3::new(0.0, -0.6, -1.3), DVec3::X * 4.0] {
        let d2 = at.length_squared();
        let lux = view.illuminance_lx(at, -at.normalize());
        near(lux, PI * luminance * 0.0625 / d2, 2e-3, &format!("at {at}"));
    }
    let m = modifier("kind = \"tube\"\nlength = \"1 m\"\ndiameter = \"4 cm\"\n");
    let shine = plain(&m);
    let luminance = 1.0 / (PI * PI * 0.04);
    near(
        View::new(&shine, &m).intensity_cd(DVec3::Z),
        luminance * 0.04,
        1e-3,
        "tube",
    );
}

/// Far away, intensity is L times the area; close by, a polygon of many sides is a disk. Area of a
/// regular polygon: n R² sin(2π/n)/2.
#[test]
fn polygons_have_their_area() {
    let view_of = |sides| {
        Shine::of(Emission::lambertian(Face::Polygon {
            radius_m: 0.6,
            sides,
        }))
    };
    let m = disk();
    for sides in [3, 6, 8] {
        let shine = view_of(sides);
        near(
            View::new(&shine, &m).intensity_cd(DVec3::Z),
            1.0 / PI,
            1e-3,
            &format!("{sides} sides"),
        );
    }
    let (many, round) = (view_of(32), plain(&m));
    near(
        on_axis(&View::new(&many, &m), 1.0),
        on_axis(&View::new(&round, &m), 1.0),
        3e-3,
        "32 sides",
    );
}

/// A front-facing hemisphere of a cap looks like the whole sphere from on its axis far away.
#[test]
fn caps_are_parts_of_spheres() {
    let cap = Emission::lambertian(Face::Cap {
        radius_m: 0.5,
        chord_m: 0.5_f64.sqrt(),
    });
    let shine = Shine::of(cap);
    // L = 1/(π 2π R²), seen as a disk of radius R.
    near(
        View::new(&shine, &disk()).intensity_cd(DVec3::Z),
        1.0 / (2.0 * PI),
        1e-3,
        "hemisphere",
    );
}

// --- Black cloth and skirts ----------------------------------------------------------------------

/// A covered panel is the panel that is left: half of its area far away, and close by a rectangle
/// of the other side's width, off its axis, which mirror symmetry halves exactly.
#[test]
fn covers_cut_exactly() {
    let whole = modifier("kind = \"panel\"\nsize = \"60 x 90 cm\"\n");
    let shine = plain(&whole);
    let full = on_axis(&View::new(&shine, &whole), 1.0);
    for side in ["left", "right", "top", "bottom"] {
        let m = modifier(&format!(
            "kind = \"panel\"\nsize = \"60 x 90 cm\"\ncover = {{ side = \"{side}\", share = 0.5 }}\n"
        ));
        near(on_axis(&View::new(&shine, &m), 1.0), 0.5 * full, 1e-4, side);
    }
    let quarter = modifier(
        "kind = \"panel\"\nsize = \"60 x 90 cm\"\ncover = { side = \"left\", share = 0.25 }\n",
    );
    let view = View::new(&shine, &quarter);
    near(
        view.intensity_cd(DVec3::Z),
        0.75 / PI,
        1e-6,
        "three quarters",
    );
    // What is left lies to the right: seen from there, more light arrives than from the left.
    let from = |x: f64| view.illuminance_lx(DVec3::new(x, 0.0, 0.5), DVec3::NEG_Z);
    assert!(from(0.3) > 1.1 * from(-0.3));
}

/// Walls of depth h before a disk: far away, at the angle θ, two disks h tan θ apart overlap by
/// R² (2 acos(q) − 2 q √(1 − q²)), q = h tan θ/2R; a rectangle loses h tan θ of its width.
#[test]
fn skirts_cut_exactly() {
    let round = modifier("kind = \"disk\"\ndiameter = \"1.2 m\"\nskirt = \"30 cm\"\n");
    let shine = plain(&round);
    let view = View::new(&shine, &round);
    let luminance = 1.0 / (PI * PI * 0.36);
    for deg in [0.0_f64, 20.0, 45.0, 60.0, 74.0] {
        let (s, c) = deg.to_radians().sin_cos();
        let q = 0.3 * s / c / 1.2;
        let overlap = 0.36 * 2.0 * (q.acos() - q * (1.0 - q * q).sqrt());
        near(
            view.intensity_cd(DVec3::new(s * 0.6, s * 0.8, c)),
            luminance * overlap * c,
            4e-3,
            &format!("{deg}°"),
        );
    }
    let beyond = (4.1_f64).atan();
    assert_eq!(
        view.intensity_cd(DVec3::new(beyond.sin(), 0.0, beyond.cos())),
        0.0
    );
    let boxed = modifier("kind = \"panel\"\nsize = \"60 x 90 cm\"\nskirt = \"30 cm\"\n");
    let shine = plain(&boxed);
    let far = View::new(&shine, &boxed).intensity_cd(DVec3::new(0.6, 0.0, 0.8));
    near(far, (0.6 - 0.225) * 0.9 * 0.8 / (PI * 0.54), 1e-6, "panel");
    // From 1 m away and 1 m to the right, sights from right of the middle meet the right wall: at the
    // rim, 30 % of the way, q .7 + 1 m .3 <= .3 m. So it is as if the right half were covered.
    let covered = modifier(
        "kind = \"panel\"\nsize = \"60 x 90 cm\"\ncover = { side = \"right\", share = 0.5 }\n",
    );
    let aside =
        |m: &Modifier| View::new(&shine, m).illuminance_lx(DVec3::new(1.0, 0.0, 1.0), DVec3::NEG_Z);
    near(aside(&boxed), aside(&covered), 1e-9, "from the right");
    // On the axis nothing is hidden.
    let bare = modifier("kind = \"panel\"\nsize = \"60 x 90 cm\"\n");
    near(
        on_axis(&View::new(&shine, &boxed), 1.0),
        on_axis(&View::new(&shine, &bare), 1.0),
        1e-9,
        "axis",
    );
}

// --- Shadows -------------------------------------------------------------------------------------

/// 42.72 and 28.23 mm at 2 and 3 m, R = .6 m, the edge .1 m before the receiver; 90 % encircled
/// 1.1333 and 1.1361 m (modifier study).
#[test]
fn a_disks_shadow() {
    let m = disk();
    let shine = plain(&m);
    let view = View::new(&shine, &m);
    for (d, edge_mm, encircled_m) in [(2.0, 42.72, 1.1333), (3.0, 28.23, 1.1361)] {
        let s = shadow(&view, DVec3::Z * d, 0.1).expect("light");
        for found in [s.least_mm, s.greatest_mm, 1000.0 * disk_edge_m(1.2, d, 0.1)] {
            near(found, edge_mm, 2e-3, &format!("edge at {d} m"));
        }
        for found in [s.least_source_m, s.greatest_source_m] {
            near(found.expect("a disk"), 1.2, 3e-3, "the disk itself");
        }
        near(s.encircled_m, encircled_m, 2.5e-3, "encircled");
    }
    // Far away: 1.3741 R wide, projected by h/(d - h) (modifier study).
    near(
        disk_edge_m(1.2, 100.0, 0.1),
        1.3741 * 0.6 * 0.1 / 99.9,
        1e-3,
        "far",
    );
}

/// Far away a rectangle's edge is 0.8 of its side, projected: an even ramp from 10 to 90 %.
#[test]
fn a_rectangles_shadow_has_two_widths() {
    let m = modifier("kind = \"panel\"\nsize = \"30 x 120 cm\"\n");
    let shine = plain(&m);
    let Shadow {
        least_mm,
        greatest_mm,
        ..
    } = shadow(&View::new(&shine, &m), DVec3::Z * 20.0, 0.1).expect("light");
    near(least_mm, 800.0 * 0.3 * 0.1 / 19.9, 2e-3, "across");
    near(greatest_mm, 800.0 * 1.2 * 0.1 / 19.9, 4e-3, "up");
}

/// Common practice: nearer softens; a larger source softens.
#[test]
fn nearer_and_larger_soften() {
    let edge = |diameter: f64, d: f64| disk_edge_m(diameter, d, 0.1);
    assert!(edge(1.2, 1.5) > edge(1.2, 2.0) && edge(1.2, 2.0) > edge(0.6, 2.0));
}

/// Common practice: a grid narrows the beam without hardening its core. From 2 m each cell of a face of
/// 28 cm is looked through at 4 degrees at most, far from the cut-off at 20: the edge stays within a tenth,
/// while light at 25 degrees, nine tenths of the axis's before, is gone.
#[test]
fn a_grid_narrows_without_hardening_the_core() {
    let bare = modifier("kind = \"disk\"\ndiameter = \"28 cm\"\n");
    let gridded = modifier("kind = \"disk\"\ndiameter = \"28 cm\"\ngrid = \"40 deg\"\n");
    let (sine, cosine) = 25.0_f64.to_radians().sin_cos();
    let [(edge, aside), (grid_edge, grid_aside)] = [&bare, &gridded].map(|m| {
        let shine = plain(m);
        let view = View::new(&shine, m);
        let edge = shadow(&view, DVec3::Z * 2.0, 0.1).expect("light");
        let aside = view.intensity_cd(DVec3::new(sine, 0.0, cosine));
        (edge.greatest_mm, aside / view.intensity_cd(DVec3::Z))
    });
    near(aside, cosine, 1e-3, "Lambert's law");
    assert_eq!(grid_aside, 0.0);
    let kept = grid_edge / edge;
    assert!((0.9..1.0).contains(&kept), "{kept}");
}

// --- Looks ---------------------------------------------------------------------------------------

/// A disk fills π/4 of its square, evenly; a cover on the left leaves the left dark. A sphere is a
/// disk from everywhere, R d/√(d² − R²) large on the plane through its middle.
#[test]
fn faces_look_as_they_are() {
    let half = modifier(
        "kind = \"disk\"\ndiameter = \"1.2 m\"\ncover = { side = \"left\", share = 0.5 }\n",
    );
    let globe = modifier("kind = \"globe\"\ndiameter = \"1 m\"\n");
    let pixels = 100;
    // Of the square, what is as bright as the face, left and right of the middle.
    let lit = |m: &Modifier, luminance: f64, eye: DVec3| {
        let shine = plain(m);
        let raster = View::new(&shine, m).luminance_toward(eye, 0.6, pixels);
        assert_eq!(raster.len(), pixels * pixels);
        let sum = |keep: &dyn Fn(usize) -> bool| {
            let kept = raster.iter().enumerate().filter(|(k, _)| keep(k % pixels));
            kept.map(|(_, l)| f64::from(*l)).sum::<f64>() / (pixels * pixels) as f64 / luminance
        };
        (sum(&|x| x < pixels / 2), sum(&|x| x >= pixels / 2))
    };
    let luminance = 1.0 / (PI * PI * 0.36);
    let (left, right) = lit(&disk(), luminance, DVec3::Z * 2.0);
    near(left + right, PI / 4.0, 2e-3, "all");
    let (left, right) = lit(&half, luminance, DVec3::new(0.0, 0.0, 1.5));
    assert_eq!(left, 0.0);
    near(right, PI / 8.0, 2e-3, "the right half");
    for eye in [DVec3::new(0.0, 0.0, 2.0), DVec3::new(1.2, -0.8, -1.3856)] {
        let (left, right) = lit(&globe, 1.0 / (PI * PI), eye);
        let radius2 = 0.25 * 4.0 / (4.0 - 0.25);
        near(left + right, PI * radius2 / 1.44, 3e-3, "globe");
    }
}

// --- The page ------------------------------------------------------------------------------------

const RODDED: &str = "title = \"Bowl <b>&\\\" ]]> --> bowl\"\nkind = \"paraboloid\"\ndiameter = \"1.2 m\"\n\
                      depth = \"50 cm\"\nscale = { tight = 10, wide = 0, name = \"rod\" }\n";

fn coarse(modifier: &Modifier, spread: f64) -> Shine {
    let cells = swatchlight::optics::trace::Cells {
        places: 16,
        thetas: 24,
        phis: 12,
    };
    let quality = Quality {
        rays: 200_000,
        sharp: cells,
        ..Quality::default()
    };
    Shine::at_once(modifier).unwrap_or_else(|| {
        Shine::from_trace(
            modifier,
            trace(&prescribe(modifier, spread).unwrap(), quality),
        )
    })
}

fn keys(object: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = object
        .as_object()
        .unwrap()
        .keys()
        .map(String::as_str)
        .collect();
    keys.sort_unstable();
    keys
}

#[test]
fn the_pages_document() {
    let m = modifier(RODDED);
    assert_eq!(spreads(&m, None).len(), 11);
    assert_eq!(spreads(&m, Some(0.3)), [0.3]);
    assert_eq!(spreads(&disk(), None).len(), 1);
    let mut told = Vec::new();
    let page = modifier_page(&m, &[0.0, 1.0], &coarse, &mut |done| told.push(done));
    assert_eq!(told, [1, 2]);
    let json = serde_json::to_value(&page).unwrap();
    assert_eq!(
        keys(&json),
        [
            "face_m", "geometry", "kind", "modifier", "scale", "settings", "title", "travels"
        ]
    );
    let tight = &json["settings"][0];
    assert_eq!(
        keys(tight),
        [
            "account",
            "axis",
            "beams",
            "edges",
            "efficiency",
            "evenness_stops",
            "fall_2_to_4_m_stops",
            "inverse_square_from_m",
            "mark",
            "spread",
            "summing_error_rel",
            "table_error_rel"
        ]
    );
    assert_eq!(tight["mark"], 10.0);
    let sum: f64 = page.settings[0].account.iter().map(|a| a.share).sum();
    near(sum, 1.0, 1e-3, "the account");
    // Common practice: spread softens, widens and dims.
    let [tight, wide] = &page.settings[..] else {
        panic!("two settings")
    };
    assert!(wide.edges[1].edge_least_mm > 1.5 * tight.edges[1].edge_greatest_mm);
    assert!(wide.beams[0].beam_deg > tight.beams[0].beam_deg);
    assert!(wide.axis[2].exposure_lx_s < tight.axis[2].exposure_lx_s);
}

/// A Lambertian disk: I ∝ cos θ, so 120° to a half and 2 acos(.1) = 168.52° to a tenth; on the axis
/// E d²/I = d²/(R² + d²), within 5 % of one from R √19 = 2.615 m on.
#[test]
fn a_disks_page() {
    let m = disk();
    let s = setting(&m, 0.0, plain(&m));
    near(s.beams[0].beam_deg.unwrap(), 120.0, 3e-3, "beam");
    near(s.beams[0].field_deg.unwrap(), 168.52, 3e-3, "field");
    near(
        s.inverse_square_from_m.unwrap(),
        2.615,
        0.03,
        "inverse square",
    );
    near(s.efficiency, 1.0, 1e-9, "efficiency");
    near(
        s.axis[1].of_inverse_square.unwrap(),
        1.0 / 1.09,
        1e-3,
        "deficit at 2 m",
    );
    // ISO 2720: N² = H S/C.
    let lux_s = s.axis[1].exposure_lx_s * 10.0;
    near(
        s.axis[1].f_number.unwrap(),
        (lux_s * 100.0 / 250.0).sqrt(),
        1e-9,
        "f-number",
    );
    assert!(s.summing_error_rel < 1e-3);
    assert_eq!((s.spread, s.mark), (None, None));
}

// --- The drawing ---------------------------------------------------------------------------------

#[test]
fn a_metre_at_one_to_twenty_is_fifty_millimetres() {
    let scale = Scale {
        origin_mm: [10.0, 100.0],
        one_to: 20.0,
    };
    assert_eq!(scale.mm(1.0), 50.0);
    assert_eq!(scale.at([1.0, 1.0]), [60.0, 50.0]);
    assert_eq!(Scale::fitting([1.2, 1.2], [76.0, 60.0]), 20.0);
    assert_eq!(Scale::fitting([1.2, 1.2], [76.0, 59.9]), 25.0);

    // And in the section of a page: a disk 1.2 m across at 1:20 stands 60 mm high.
    let m = modifier("kind = \"bowl\"\ndiameter = \"1 m\"\ndepth = \"40 cm\"\n");
    let mut page = Drawing::new([200.0, 200.0], "section");
    let one_to =
        swatchlight::report::drawing::section::section(&mut page, &m, [0.0; 2], [90.0, 72.0]);
    assert_eq!(one_to, 20.0);
    let high = page.shapes.iter().filter_map(|s| match s {
        Shape::Path { points_mm, .. } => {
            let ys = points_mm.iter().map(|p| p[1]);
            Some(ys.clone().fold(f64::MIN, f64::max) - ys.fold(f64::MAX, f64::min))
        }
        _ => None,
    });
    near(high.fold(0.0, f64::max), 50.0, 1e-9, "a metre");
}

/// XML 1.0, 2.2 and 2.4: what a name holds stays text, and what XML does not allow goes.
#[test]
fn hostile_names_stay_text() {
    let m = modifier(RODDED);
    let page = modifier_page(&m, &[0.5], &coarse, &mut |_| ());
    let text = svg(&draw(&m, &page));
    assert!(
        text.contains("Bowl &lt;b&gt;&amp;&quot; ]]&gt; --&gt; bowl"),
        "escaped"
    );
    assert!(!text.contains("<b>"));

    let nasty = "</text><script>alert('x')</script>\u{0}\u{1b}[2J&#0;\u{ffff}\n";
    let mut drawing = Drawing::new([50.0, 20.0], nasty);
    drawing.text(Text::new([1.0, 5.0], nasty, 3.0, [0; 3]));
    let text = svg(&drawing);
    assert!(!text.contains("<script") && text.contains("&lt;script&gt;"));
    let allowed = |c: char| c == '\n' || (c >= ' ' && c != '\u{ffff}');
    assert!(text.chars().all(allowed), "{text:?}");
    assert_eq!(text.matches("<text").count(), 1);
}

/// The PNG is as large as its paper at its resolution, white where nothing is, and painted where
/// something is; numbers that are none harm nothing.
#[test]
fn drawings_become_pixels() {
    let mut drawing = Drawing::new([20.0, 10.0], "test");
    drawing.rect([2.0, 2.0], [4.0, 4.0], Paint::fill([255, 0, 0]));
    drawing.shapes.push(Shape::Raster {
        corner_mm: [10.0, 2.0],
        size_mm: [4.0, 4.0],
        raster: Raster {
            columns: 1,
            pixels: vec![[0, 0, 255]; 2],
        },
    });
    drawing.circle([f64::NAN, 1.0], 3.0, Paint::fill([0; 3]));
    drawing.line([[0.0, f64::INFINITY], [1.0, 1.0]], Paint::line([0; 3], 1.0));
    let bytes = png(&drawing, 10.0).unwrap();
    let picture = image::load_from_memory(&bytes).unwrap().into_rgb8();
    assert_eq!(picture.dimensions(), (200, 100));
    assert_eq!(picture.get_pixel(40, 40).0, [255, 0, 0]);
    assert_eq!(picture.get_pixel(120, 40).0, [0, 0, 255]);
    assert_eq!(picture.get_pixel(180, 80).0, [255; 3]);
    assert!(!svg(&drawing).contains("NaN") && !svg(&drawing).contains("inf"));
}

#[test]
fn texts_are_cut_to_their_room() {
    let long = "W".repeat(300);
    let cut = fitted(&long, 3.0, 40.0);
    assert!(cut.ends_with('…') && text_width_mm(&cut, 3.0) <= 40.0);
    assert!(text_width_mm(&cut, 3.0) > 30.0);
    assert_eq!(fitted("short", 3.0, 40.0), "short");
}

/// Lightness rises all the way, and equal steps are equally different in CIELAB (ISO/CIE 11664-4),
/// but for rounding to 8 bits.
#[test]
fn the_ramp_is_even() {
    let ramp = Ramp::new();
    let lab = |k: usize| {
        let rgb = ramp
            .at(k as f64 / 16.0)
            .map(|c| srgb_decode(f64::from(c) / 255.0));
        lab_from_xyz(
            apply(&RgbSpace::SRGB.xyz_from_rgb(), rgb),
            Chromaticity::D65,
        )
    };
    let steps: Vec<f64> = (0..16)
        .map(|k| {
            let (a, b) = (lab(k), lab(k + 1));
            assert!(b[0] > a[0] + 3.0, "lightness at {k}");
            (0..3).map(|i| (b[i] - a[i]).powi(2)).sum::<f64>().sqrt()
        })
        .collect();
    let mean = steps.iter().sum::<f64>() / 16.0;
    for (k, step) in steps.iter().enumerate() {
        near(*step, mean, 0.15, &format!("step {k}"));
    }
    assert_eq!(ramp.at(f64::NAN), ramp.at(0.0));
    assert_eq!(ramp.at(7.0), ramp.at(1.0));
}

/// Nothing on a page lies outside the paper, and no text runs over its edge.
#[test]
fn pages_stay_on_their_paper() {
    for text in [
        RODDED.to_owned(),
        format!(
            "title = \"{}\"\nkind = \"disk\"\ndiameter = \"1.2 m\"\n",
            "Long ".repeat(12)
        ),
        "kind = \"globe\"\ndiameter = \"20 cm\"\n".to_owned(),
        "kind = \"tube\"\nlength = \"1.2 m\"\ndiameter = \"4 cm\"\n".to_owned(),
        "kind = \"lens-spot\"\ndiameter = \"10 cm\"\ngate = \"40 mm\"\nbeam = \"20 deg\"\n"
            .to_owned(),
    ] {
        let m = modifier(&text);
        let page = modifier_page(&m, &spreads(&m, Some(0.5)), &coarse, &mut |_| ());
        let drawing = draw(&m, &page);
        let [w, h] = drawing.size_mm;
        let on_paper = |[x, y]: [f64; 2]| (0.0..=w).contains(&x) && (0.0..=h).contains(&y);
        for shape in &drawing.shapes {
            match shape {
                Shape::Path { points_mm, .. } => assert!(points_mm.iter().all(|p| on_paper(*p))),
                Shape::Circle { centre_mm, .. } => assert!(on_paper(*centre_mm)),
                Shape::Rect {
                    corner_mm, size_mm, ..
                }
                | Shape::Raster {
                    corner_mm, size_mm, ..
                } => assert!(on_paper([
                    corner_mm[0] + size_mm[0],
                    corner_mm[1] + size_mm[1]
                ])),
                Shape::Text(t) => {
                    let width = text_width_mm(&t.words, t.size_mm);
                    let span = match t.anchor {
                        _ if t.upward => [0.0, 0.0],
                        swatchlight::report::drawing::Anchor::Start => [0.0, width],
                        swatchlight::report::drawing::Anchor::Middle => [-0.5 * width, 0.5 * width],
                        swatchlight::report::drawing::Anchor::End => [-width, 0.0],
                    };
                    let inside = span.iter().all(|x| on_paper([t.at_mm[0] + x, t.at_mm[1]]));
                    assert!(inside, "{} at {:?}", t.words, t.at_mm);
                }
            }
        }
    }
}

// --- The command ---------------------------------------------------------------------------------

/// A folder to run the program in, with models of its own.
fn run(folder: &std::path::Path, arguments: &[&str]) -> assert_cmd::assert::Assert {
    assert_cmd::Command::new(env!("CARGO_BIN_EXE_swatchlight"))
        .current_dir(folder)
        .args(["modifier"])
        .args(arguments)
        .args(["--cache", "cache", "--threads", "2"])
        .assert()
}

fn out(assert: &assert_cmd::assert::Assert) -> String {
    String::from_utf8(assert.get_output().stdout.clone()).unwrap()
}

fn err(assert: &assert_cmd::assert::Assert) -> String {
    String::from_utf8(assert.get_output().stderr.clone()).unwrap()
}

#[test]
fn the_command_lists_and_shows() {
    let desk = tempfile::TempDir::new().unwrap();
    let desk = desk.path();
    let list = out(&run(desk, &[]).code(0));
    for name in [
        "paraboloid-120",
        "softbox-60x90",
        "lens-spot-20",
        "globe-20",
    ] {
        assert!(list.contains(name), "{list}");
    }
    let listed: Value = serde_json::from_str(&out(&run(desk, &["--json"]).code(0))).unwrap();
    assert!(listed["modifiers"].as_array().unwrap().len() > 12);

    std::fs::write(
        desk.join("own.toml"),
        "kind = \"disk\"\ndiameter = \"1.2 m\"\n",
    )
    .unwrap();
    let page = out(&run(desk, &["own.toml", "--quiet"]).code(0));
    assert!(page.lines().all(|l| l.chars().count() <= 100), "{page}");
    assert!(page.contains("120°"), "{page}");
    let shown = run(desk, &["./own.toml", "--json", "--out", "own.svg"]).code(0);
    let document: Value = serde_json::from_str(&out(&shown)).unwrap();
    assert_eq!(document["kind"], "disk");
    let svg = std::fs::read_to_string(desk.join("own.svg")).unwrap();
    assert!(svg.starts_with("<?xml") && svg.trim_end().ends_with("</svg>"));
}

#[test]
fn the_command_says_what_is_wrong() {
    let desk = tempfile::TempDir::new().unwrap();
    let desk = desk.path();
    std::fs::write(desk.join("old.png"), "mine").unwrap();
    std::fs::write(
        desk.join("bad.toml"),
        "kind = \"disk\"\ndiameter = \"-1 m\"\n",
    )
    .unwrap();
    for (arguments, said) in [
        (&["softbox"][..], "did you mean softbox-30x120-egg-crate or"),
        (&["nothing-like-it"], "lists all there are"),
        (&["./none.toml"], "there is no file"),
        (&["bad.toml"], "bad.toml:2"),
        (&["globe-20", "--out", "old.png"], "--force"),
        (&["globe-20", "--out", "old.pdf"], ".png or .svg"),
        (&["globe-20", "--spread", "0.5"], "does not travel"),
        (&["fresnel-20", "--mark", "3"], "--spread"),
        (
            &["paraboloid-120", "--mark", "30"],
            "from 10 (tight) to 0 (wide)",
        ),
        (
            &["paraboloid-120", "--spread", "1.5"],
            "0 (tight) to 1 (wide)",
        ),
        (&["--out", "page.png"], "NAME"),
    ] {
        let failed = run(desk, arguments).code(2);
        assert!(
            err(&failed).contains(said),
            "{arguments:?}: {}",
            err(&failed)
        );
        assert_eq!(out(&failed), "");
    }
    assert_eq!(
        std::fs::read_to_string(desk.join("old.png")).unwrap(),
        "mine"
    );
    let mut left: Vec<_> = std::fs::read_dir(desk)
        .unwrap()
        .map(|e| e.unwrap().file_name())
        .collect();
    left.sort();
    assert_eq!(left, ["bad.toml", "old.png"], "nothing else is left");
}
