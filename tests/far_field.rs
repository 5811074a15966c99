//! Far fields: intensities of lights against closed forms and sums over their faces, their files, and
//! lights made from such files.

#[path = "common/library.rs"]
mod library;

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use glam::DVec3;
use library::{Fake, models};
use proptest::prelude::*;
use swatchlight::optics::far_field::{Description, FarField, photometry_of};
use swatchlight::optics::plain::{GridCells, lambertian, spot};
use swatchlight::optics::prescribe::prescribe;
use swatchlight::optics::prescription::Facing;
use swatchlight::optics::shine::Shine;
use swatchlight::optics::table::{Face, Pattern};
use swatchlight::optics::trace::{Quality, trace};
use swatchlight::photometry::lm63::{
    self, Goniometry, Keyword, Opening, Photometry, Rule, Shape, Table,
};
use swatchlight::scene::models::Models;
use swatchlight::setup::{
    Library, Modifier, ModifierKind, PhotometricFile, Problems, Severity, UnknownName, parse,
    parse_modifier, parse_modifier_with, to_toml,
};

const LUMENS: f64 = 1000.0;

#[track_caller]
fn near(a: f64, b: f64, tolerance: f64) {
    assert!(
        (a - b).abs() <= tolerance,
        "{a} is not {b} within {tolerance}"
    );
}

fn plain(face: Face) -> Shine {
    Shine::of(lambertian(face, None))
}

fn export(shine: &Shine) -> Photometry {
    let description = Description {
        luminaire: "Test light",
        setting: "spread 0.5",
    };
    photometry_of(shine, LUMENS, description).expect("a far field")
}

/// A shipped modifier's light at a spread; traced coarsely where it is traced.
fn shipped(name: &str, spread: f64) -> Shine {
    let path = models().join("modifiers").join(format!("{name}.toml"));
    let text = std::fs::read_to_string(path).expect("a modifier");
    let (modifier, _) = parse_modifier_with(&text, name, name, &Fake).expect("sound");
    light_of(&modifier, spread)
}

fn light_of(modifier: &Modifier, spread: f64) -> Shine {
    Shine::at_once(modifier).unwrap_or_else(|| {
        let quality = Quality {
            rays: 400_000,
            ..Quality::default()
        };
        let prescription = prescribe(modifier, spread).expect("a traced kind");
        Shine::from_trace(modifier, trace(&prescription, quality))
    })
}

// ---- closed forms

/// A flat Lambertian face: I = I₀ cos θ and Φ = π I₀ (Lambert's law, any text on photometry).
#[test]
fn flat_matt_faces_shine_by_lamberts_law() {
    let faces = [
        Face::Disk { radius_m: 0.35 },
        Face::Rect {
            half_x_m: 0.15,
            half_y_m: 0.7,
        },
        Face::Polygon {
            radius_m: 0.6,
            sides: 8,
        },
    ];
    for face in faces {
        let photometry = export(&plain(face));
        assert_eq!(photometry.table().horizontal_deg(), [0.0], "round");
        let axis_cd = photometry.intensity_cd(0.0, 0.0);
        near(axis_cd / (LUMENS / PI), 1.0, 1e-4);
        for degrees in [10.0, 37.3, 60.0, 81.0, 89.0_f64] {
            let theta = degrees.to_radians();
            let cd = photometry.intensity_cd(theta, 1.0);
            near(cd / axis_cd, theta.cos(), 0.0015);
        }
        assert_eq!(photometry.intensity_cd(FRAC_PI_2 + 0.01, 0.0), 0.0);
        near(photometry.lumens(Rule::Linear) / LUMENS, 1.0, 0.002);
        near(photometry.lumens(Rule::Lambertian) / LUMENS, 1.0, 1e-4);
    }
}

/// A ball: I = Φ / 4π all round. A cylinder without its ends: I = I₀ sin of the angle to its axis,
/// Φ = π² I₀ (handbooks of lighting, from memory; both follow from L times the area seen).
#[test]
fn balls_and_tubes_shine_all_round() {
    let ball = export(&plain(Face::Globe { radius_m: 0.1 }));
    for theta in [0.0, 1.0, 2.0, 3.0] {
        near(
            ball.intensity_cd(theta, 0.0) / (LUMENS / (4.0 * PI)),
            1.0,
            0.002,
        );
    }
    near(ball.lumens(Rule::Linear) / LUMENS, 1.0, 0.002);
    assert_eq!(ball.opening.shape, Shape::Ball);
    let tube = export(&plain(Face::Tube {
        half_length_m: 0.6,
        radius_m: 0.02,
    }));
    for (theta, phi) in [(0.0, 0.0), (1.0, 0.0), (1.0, FRAC_PI_2), (2.5, 0.4)] {
        let along_axis: f64 = f64::sin(theta) * f64::cos(phi);
        let expected = LUMENS / (PI * PI) * (1.0 - along_axis * along_axis).sqrt();
        near(tube.intensity_cd(theta, phi) / expected, 1.0, 0.005);
    }
    near(tube.lumens(Rule::Linear) / LUMENS, 1.0, 0.005);
    // It lies along x, in the plane of 0.
    assert_eq!(tube.opening.shape, Shape::CylinderAlongLength);
    near(tube.opening.length_m, 1.2, 1e-9);
}

/// The angles that a spot was made for are those of half and a tenth of the peak (IES).
#[test]
fn a_spots_file_has_its_beam_and_field() {
    for (beam_deg, field_deg) in [(2.0, 5.0), (15.0, 24.0), (60.0, 100.0_f64)] {
        let light = Shine::of(spot(
            0.05,
            f64::to_radians(beam_deg),
            field_deg.to_radians(),
            None,
        ));
        let photometry = export(&light);
        for (share, degrees) in [(0.5, beam_deg), (0.1, field_deg)] {
            for angle in photometry.beam_rad(share) {
                let angle = angle.expect("a beam").to_degrees();
                near(angle / degrees, 1.0, 0.01);
            }
        }
        near(photometry.lumens(Rule::Linear) / LUMENS, 1.0, 0.005);
    }
}

/// Nothing passes a grid beyond atan(cell / depth) off the axis, measured across its cells; along
/// the diagonal of square ones √2 times the tangent (geometry).
#[test]
fn a_gridded_panel_ends_at_its_cells() {
    let cells = GridCells {
        cell: swatchlight::optics::grid::Cell::Square,
        cell_m: 0.05,
        depth_m: 0.1,
        open_fraction: 0.95,
    };
    let face = Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.45,
    };
    let light = Shine::of(lambertian(face, Some(cells)));
    let photometry = export(&light);
    let table = photometry.table();
    assert_eq!(table.horizontal_deg().last(), Some(&90.0), "a quarter");
    let peak = photometry.peak_cd();
    for (phi_deg, tangent) in [(0.0, 0.5), (90.0, 0.5), (45.0, 0.5_f64.hypot(0.5))] {
        let cutoff: f64 = f64::atan(tangent);
        let at =
            |share: f64| photometry.intensity_cd(share * cutoff, f64::to_radians(phi_deg)) / peak;
        assert!(at(0.5) > 0.1, "{phi_deg}: {}", at(0.5));
        assert!(at(0.9) > 1e-3, "{phi_deg}: {}", at(0.9));
        assert!(at(1.06) < 1e-3, "{phi_deg}: {}", at(1.06));
    }
    // On the axis all but the walls is open.
    let axis_cd = 0.95 * LUMENS / PI;
    near(photometry.intensity_cd(0.0, 0.0) / axis_cd, 1.0, 0.01);
    near(
        photometry.lumens(Rule::Linear) / (LUMENS * light.efficiency()),
        1.0,
        0.005,
    );
}

// ---- any light

const ALL: [(&str, f64); 16] = [
    ("flat-panel-120x180", 0.0),
    ("hard-spot-15", 0.0),
    ("globe-20", 0.0),
    ("tube-120", 0.0),
    ("strip-30x140-grid", 0.0),
    ("paraboloid-120", 0.0),
    ("paraboloid-120", 1.0),
    ("softbox-60x90", 0.0),
    ("softbox-30x120-egg-crate", 0.0),
    ("octabox-140", 0.0),
    ("umbrella-100-white", 0.0),
    ("shoot-through-100", 0.0),
    ("dish-70-silver", 0.0),
    ("lens-spot-20", 0.0),
    ("fresnel-20", 0.0),
    ("bare-lamp-10", 0.0),
];

/// The light in the file is the light that leaves (conservation).
#[test]
fn a_files_lumens_are_what_leaves() {
    for (name, spread) in ALL {
        let light = shipped(name, spread);
        let photometry = export(&light);
        let lumens = photometry.lumens(Rule::Linear);
        let ratio = lumens / (LUMENS * light.efficiency());
        let angles = photometry.table().vertical_deg().len();
        let planes = photometry.table().horizontal_deg().len();
        println!("{name} {spread}: {ratio:.5}, {angles} x {planes}");
        assert!((ratio - 1.0).abs() < 0.005, "{name} {spread}: {ratio}");
        assert!(angles <= 400, "{name}");
    }
}

/// Σ L cos θ dA over places of a face, read as the renderer reads it.
fn summed(light: &Shine, theta: f64, phi: f64) -> f64 {
    const N: usize = 160;
    let direction = [
        theta.sin() * phi.cos(),
        -theta.sin() * phi.sin(),
        theta.cos(),
    ];
    light
        .placed
        .iter()
        .map(|p| {
            let [x, y, z] = match p.facing {
                Facing::Front => direction,
                Facing::Back => [-direction[0], direction[1], -direction[2]],
            };
            let e = &p.emission;
            let mut sum = 0.0;
            let mut count = 0.0;
            for i in 0..N {
                for j in 0..N {
                    let (u, v) = ((i as f64 + 0.5) / N as f64, (j as f64 + 0.5) / N as f64);
                    // Even over the square, over the disk, over the polygon, over the cap.
                    let place = [2.0 * u - 1.0, 2.0 * v - 1.0];
                    let mut weight = 1.0;
                    let (place, axes) = match e.face {
                        Face::Rect { .. } => (place, None),
                        Face::Disk { .. } | Face::Polygon { .. } => {
                            let sides = match e.face {
                                Face::Polygon { sides, .. } => f64::from(sides),
                                _ => 1e6,
                            };
                            let half = PI / sides;
                            let within = place[1].atan2(place[0]).rem_euclid(2.0 * half) - half;
                            if place[0].hypot(place[1]) > half.cos() / within.cos() {
                                continue;
                            }
                            (place, None)
                        }
                        Face::Cap { radius_m, chord_m } => {
                            weight = 2.0 * u;
                            let rho = u;
                            let lean = 2.0 * (rho * chord_m / (2.0 * radius_m)).asin();
                            let (s, c) = (TAU * v).sin_cos();
                            let out = [lean.cos() * c, lean.cos() * s, -lean.sin()];
                            let normal = [lean.sin() * c, lean.sin() * s, lean.cos()];
                            ([rho * c, rho * s], Some([out, [-s, c, 0.0], normal]))
                        }
                        _ => panic!("no such face here"),
                    };
                    count += weight;
                    let along = |a: [f64; 3]| a[0] * x + a[1] * y + a[2] * z;
                    let [u, v, cosine] = axes.map_or([x, y, z], |axes| axes.map(along));
                    let hidden = light.head.is_some_and(|head| {
                        let (Face::Disk { radius_m } | Face::Polygon { radius_m, .. }) = e.face
                        else {
                            return false;
                        };
                        let at = DVec3::new(place[0] * radius_m, place[1] * radius_m, 0.0);
                        let head = head.before(p.facing, p.offset_z_m);
                        head.hides(at, DVec3::new(x, y, z), f64::INFINITY)
                    });
                    if cosine > 0.0 && !hidden {
                        sum += weight * cosine * e.luminance(place, [u, v]);
                    }
                }
            }
            sum / count * e.face.area_m2()
        })
        .sum()
}

#[test]
fn intensities_are_sums_over_the_face() {
    for (name, spread) in ALL {
        if ["globe-20", "tube-120"].contains(&name) {
            continue;
        }
        let light = shipped(name, spread);
        let far = FarField::of(&light);
        let peak = far.intensity(0.0, 0.0);
        for (theta_deg, phi_deg) in [
            (0.0, 0.0),
            (3.0, 20.0),
            (12.0, 100.0),
            (33.0, 215.0),
            (66.0, 300.0),
            (130.0, 10.0_f64),
        ] {
            let (theta, phi) = (f64::to_radians(theta_deg), phi_deg.to_radians());
            let (cd, sum) = (far.intensity(theta, phi), summed(&light, theta, phi));
            assert!(
                (cd - sum).abs() <= 0.004 * sum + 0.0005 * peak,
                "{name} {spread} at {theta_deg}, {phi_deg}: {cd}, {sum}, peak {peak}"
            );
        }
    }
}

#[test]
fn a_file_says_what_it_is() {
    let panel = plain(Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.45,
    });
    let photometry = export(&panel);
    assert_eq!(photometry.keyword("LUMINAIRE"), Some("Test light"));
    assert_eq!(photometry.keyword("TEST"), Some("computed, not measured"));
    let others: Vec<&str> = photometry
        .keywords
        .iter()
        .filter(|k| k.name == "OTHER")
        .map(|k| k.value.as_str())
        .collect();
    assert!(others.contains(&"spread 0.5"), "{others:?}");
    assert!(
        others
            .iter()
            .any(|o| o.contains("linear between the angles"))
    );
    // Width lies across the plane of 0, length in it (LM-63-2002); the panel is 60 cm along x.
    let opening = photometry.opening;
    assert_eq!(
        (opening.shape, opening.length_m, opening.width_m),
        (Shape::Rectangle, 0.6, 0.9)
    );
    assert_eq!((photometry.multiplier, photometry.input_w), (1.0, 0.0));
    let text = lm63::write(&photometry);
    let read = lm63::read(text.as_bytes()).expect("a file");
    assert!(read.notes.is_empty(), "{:?}", read.notes);
    assert_eq!(read.photometry.table(), photometry.table());
    // A light without faces is dark, and no table of numbers is endless.
    let mut none = panel.clone();
    none.placed.clear();
    assert_eq!(export(&none).lumens(Rule::Linear), 0.0);
    let mut broken = panel.clone();
    broken.placed[0].emission.pattern = Pattern::Uniform(f64::NAN);
    assert!(photometry_of(&broken, LUMENS, Description::default()).is_err());
    for bad in [f64::NAN, -1.0, f64::INFINITY] {
        assert!(photometry_of(&panel, bad, Description::default()).is_err());
    }
}

// ---- lights from files

/// One file beside the modifier.
struct One(Vec<u8>);

impl Library for One {
    fn figure(
        &self,
        spec: &swatchlight::setup::FigureSpec,
    ) -> Result<swatchlight::setup::FigureFacts, UnknownName> {
        Fake.figure(spec)
    }

    fn fabric(&self, name: &str) -> Result<(), UnknownName> {
        Fake.fabric(name)
    }

    fn modifier(&self, name: &str) -> Result<swatchlight::setup::ModifierText, UnknownName> {
        Fake.modifier(name)
    }

    fn far_field(&self, file: &str, _: Option<&str>) -> Result<PhotometricFile, UnknownName> {
        Ok(PhotometricFile {
            bytes: self.0.clone(),
            display_path: format!("lights/{file}"),
        })
    }
}

fn from_text(ies: &str, more: &str) -> Result<(Modifier, Problems), Problems> {
    let text = format!("kind = \"measured\"\nfile = \"lamp.ies\"\n{more}");
    parse_modifier_with(&text, "m.toml", "m", &One(ies.as_bytes().to_vec()))
}

fn from_photometry(photometry: &Photometry, more: &str) -> Modifier {
    let read = from_text(&lm63::write(photometry), more);
    read.unwrap_or_else(|p| panic!("{}", p.render(false))).0
}

fn relit(photometry: &Photometry, more: &str) -> Shine {
    Shine::at_once(&from_photometry(photometry, more)).expect("at once")
}

/// Illuminance, lx per lm, on a receptor that faces the light: Σ L cos θ dA / d² over the face.
fn lux(light: &Shine, distance_m: f64, theta: f64, phi: f64) -> f64 {
    const N: usize = 64;
    let at = [
        distance_m * theta.sin() * phi.cos(),
        -distance_m * theta.sin() * phi.sin(),
        distance_m * theta.cos(),
    ];
    let e = &light.placed[0].emission;
    let mut sum = 0.0;
    for i in 0..N {
        for j in 0..N {
            let (u, v) = ((i as f64 + 0.5) / N as f64, (j as f64 + 0.5) / N as f64);
            let (place, half_m) = match e.face {
                Face::Rect { half_x_m, half_y_m } => {
                    ([2.0 * u - 1.0, 2.0 * v - 1.0], [half_x_m, half_y_m])
                }
                Face::Disk { radius_m } => {
                    let (s, c) = (TAU * v).sin_cos();
                    ([u.sqrt() * c, u.sqrt() * s], [radius_m; 2])
                }
                _ => panic!("no such face here"),
            };
            let to = [
                at[0] - place[0] * half_m[0],
                at[1] - place[1] * half_m[1],
                at[2],
            ];
            let far = (to[0] * to[0] + to[1] * to[1] + to[2] * to[2]).sqrt();
            let facing = (to[0] * at[0] + to[1] * at[1] + to[2] * at[2]) / (far * distance_m);
            let cosine = to[2] / far;
            sum += e.luminance(place, [to[0] / far, to[1] / far]) * cosine * facing / (far * far);
        }
    }
    sum * e.face.area_m2() / (N * N) as f64
}

/// A light that leaves its face evenly comes back from its own file: the far field and the
/// face are all there is to know of it.
#[test]
fn lights_come_back_from_their_files() {
    let degrees = f64::to_radians;
    let panel = Face::Rect {
        half_x_m: 0.3,
        half_y_m: 0.2,
    };
    let grid = GridCells {
        cell: swatchlight::optics::grid::Cell::Hex,
        cell_m: 0.02,
        depth_m: 0.03,
        open_fraction: 0.9,
    };
    let lights: [(&str, Shine, &[f64]); 5] = [
        (
            "tight",
            Shine::of(spot(0.08, degrees(6.0), degrees(11.0), None)),
            &[0.0, 2.0, 4.0],
        ),
        (
            "spot",
            Shine::of(spot(0.05, degrees(15.0), degrees(24.0), None)),
            &[0.0, 4.0, 9.0],
        ),
        (
            "flood",
            Shine::of(spot(0.15, degrees(60.0), degrees(100.0), None)),
            &[0.0, 20.0, 45.0],
        ),
        ("panel", plain(panel), &[0.0, 30.0, 60.0, 75.0]),
        (
            "gridded",
            Shine::of(lambertian(panel, Some(grid))),
            &[0.0, 10.0, 25.0],
        ),
    ];
    for (name, light, angles) in lights {
        let photometry = export(&light);
        let back = relit(&photometry, "");
        near(back.efficiency() / light.efficiency(), 1.0, 0.003);
        for distance_m in [5.0, 10.0] {
            for theta_deg in angles {
                for phi_deg in [0.0, 50.0, 250.0] {
                    let (theta, phi) = (degrees(*theta_deg), degrees(phi_deg));
                    let (one, other) = (
                        lux(&light, distance_m, theta, phi),
                        lux(&back, distance_m, theta, phi),
                    );
                    let ratio = other / one;
                    assert!(
                        (ratio - 1.0).abs() < 0.01,
                        "{name} at {distance_m} m, {theta_deg} deg: {ratio}"
                    );
                }
            }
        }
    }
}

/// Of a traced light, whose face is not evenly bright, the far field comes back.
#[test]
fn traced_lights_keep_their_far_field() {
    for (name, spread) in [
        ("paraboloid-120", 0.0),
        ("paraboloid-120", 1.0),
        ("softbox-60x90", 0.0),
        ("octabox-140", 0.0),
    ] {
        let light = shipped(name, spread);
        let photometry = export(&light);
        let back = FarField::of(&relit(&photometry, ""));
        let peak = photometry.peak_cd() / LUMENS;
        for theta_deg in [0.0, 2.0, 5.0, 10.0, 20.0, 40.0, 60.0] {
            for phi_deg in [0.0, 45.0, 90.0_f64] {
                let (theta, phi) = (f64::to_radians(theta_deg), phi_deg.to_radians());
                let here = photometry.intensity_cd(theta, phi) / LUMENS;
                near(back.intensity(theta, phi), here, 0.01 * here + 0.001 * peak);
            }
        }
    }
}

/// 1000 cd within 40 degrees of the aim, in the planes asked for and in no other.
fn one_sided(lit: impl Fn(f64) -> bool) -> Photometry {
    let vertical: Vec<f64> = (0..=18).map(|k| 5.0 * f64::from(k)).collect();
    let horizontal: Vec<f64> = (0..=36).map(|k| 10.0 * f64::from(k)).collect();
    let candela = horizontal
        .iter()
        .flat_map(|phi| {
            let lit = lit(*phi);
            vertical
                .iter()
                .map(move |theta| if lit && *theta <= 40.0 { 1000.0 } else { 0.0 })
        })
        .collect();
    let table = Table::new(Goniometry::C, vertical, horizontal, candela).expect("a table");
    let mut photometry = Photometry::new(table);
    photometry.opening = Opening {
        shape: Shape::Disc,
        width_m: 0.1,
        length_m: 0.1,
        height_m: 0.0,
    };
    photometry.keywords = ["TESTLAB", "ISSUEDATE", "MANUFAC", "TEST"]
        .map(|k| Keyword::new(k, "invented"))
        .to_vec();
    photometry
}

/// LM-63-2002: planes turn counterclockwise about the vertical as seen from above, the light aiming
/// down. Seen from the front, which is from below, they turn clockwise: with plane 0 to the right, 90
/// is at the bottom.
#[test]
fn one_sided_lights_shine_to_the_right_side() {
    let around = |phi: f64, middle: f64| ((phi - middle + 540.0) % 360.0 - 180.0).abs() <= 40.0;
    for (middle, toward) in [
        (0.0, [0.4, 0.0]),
        (90.0, [0.0, -0.4]),
        (180.0, [-0.4, 0.0]),
        (270.0, [0.0, 0.4]),
    ] {
        let photometry = one_sided(|phi| around(phi, middle));
        let light = relit(&photometry, "");
        let emission = &light.placed[0].emission;
        let lit = emission.luminance([0.0; 2], toward);
        assert!(lit > 0.0, "{middle}");
        for other in [
            [-toward[0], -toward[1]],
            [toward[1], toward[0]],
            [-toward[1], -toward[0]],
        ] {
            assert_eq!(emission.luminance([0.0; 2], other), 0.0, "{middle}");
        }
        // And so again into a file.
        let again = export(&light);
        for plane in [0.0, 90.0, 180.0, 270.0_f64] {
            let cd = again.intensity_cd(0.4, plane.to_radians());
            assert_eq!(cd > 0.0, plane == middle, "{middle}: {plane}");
        }
        near(
            again.intensity_cd(0.4, f64::to_radians(middle))
                / (1000.0 * LUMENS / photometry.lumens(Rule::Linear)),
            1.0,
            0.01,
        );
    }
}

/// Types A and B: vertical angles rise upward, horizontal ones to the right as seen from behind (LM-63
/// definitions; LM-75, from memory), which is to the left as seen from in front.
#[test]
fn floodlights_stand_as_they_were_measured() {
    let angles: Vec<f64> = (-9..=9).map(|k| 10.0 * f64::from(k)).collect();
    for (kind, upward) in [
        (Goniometry::A, true),
        (Goniometry::B, true),
        (Goniometry::A, false),
        (Goniometry::B, false),
    ] {
        // Lit from 10 to 40 degrees up, or to the right from behind.
        let candela = angles
            .iter()
            .flat_map(|h| angles.iter().map(move |v| [*h, *v]))
            .map(|[h, v]| {
                let (along, across) = if upward { (v, h) } else { (h, v) };
                let is_lit = (10.0..=40.0).contains(&along) && across.abs() <= 10.0;
                if is_lit { 1000.0 } else { 0.0 }
            })
            .collect();
        let table = Table::new(kind, angles.clone(), angles.clone(), candela).expect("a table");
        let mut photometry = Photometry::new(table);
        photometry.opening = Opening {
            shape: Shape::Rectangle,
            width_m: 0.5,
            length_m: 0.2,
            height_m: 0.0,
        };
        let light = relit(&photometry, "");
        let emission = &light.placed[0].emission;
        let lit = |x: f64, y: f64| emission.luminance([0.0; 2], [x, y]) > 0.0;
        let found = [lit(0.4, 0.0), lit(0.0, 0.4), lit(-0.4, 0.0), lit(0.0, -0.4)];
        assert_eq!(found, [false, upward, !upward, false], "{kind:?}");
        // Its length is in the upright plane of 0.
        let (half_x_m, half_y_m) = (0.25, 0.1);
        assert_eq!(emission.face, Face::Rect { half_x_m, half_y_m });
    }
}

// ---- how much light

/// Absolute photometry (lumens of -1) gives all of its flux for one lumen of output; a rated lamp's
/// is per lumen of the lamp.
#[test]
fn output_is_the_lamps_or_the_files() {
    let mut photometry = one_sided(|_| true);
    assert_eq!(photometry.lumens_per_lamp, None);
    near(relit(&photometry, "").efficiency(), 1.0, 1e-6);
    let lumens = photometry.lumens(Rule::Linear);
    photometry.lamps = 2;
    photometry.lumens_per_lamp = Some(lumens);
    near(relit(&photometry, "").efficiency(), 0.5, 1e-6);
    photometry.multiplier = 1.5;
    near(relit(&photometry, "").efficiency(), 0.75, 1e-6);
    // The light on the axis is I / r², whatever the face.
    for more in ["", "diameter = \"30 cm\"", "size = \"20 x 40 cm\""] {
        let axis = lux(&relit(&photometry, more), 10.0, 0.0, 0.0);
        near(axis * 100.0 / (1500.0 / (2.0 * lumens)), 1.0, 0.002);
    }
}

/// An even ball of light: half of it goes back (closed form).
#[test]
fn light_to_the_back_is_left_out_and_said() {
    let ball = export(&plain(Face::Globe { radius_m: 0.1 }));
    let (modifier, notes) = from_text(&lm63::write(&ball), "").expect("sound");
    let said: Vec<String> = notes.list().iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "m.toml:2:8: warning: modifier \"m\": 50.0 % of the light of lamp.ies goes more than 90 degrees off the axis, and is left out"
        ]
    );
    let light = Shine::at_once(&modifier).expect("at once");
    near(light.efficiency(), 0.5, 1e-3);
    assert_eq!(
        modifier.kind,
        ModifierKind::Measured {
            w_m: 0.2,
            h_m: 0.2,
            is_round: true
        }
    );
    let far = FarField::of(&light);
    // I is even up to where it grazes the face.
    for theta_deg in [0.0, 30.0, 60.0, 75.0_f64] {
        near(
            far.intensity(theta_deg.to_radians(), 0.0) * 4.0 * PI,
            1.0,
            0.01,
        );
    }
    assert_eq!(far.intensity(FRAC_PI_2 + 0.01, 0.0), 0.0);
}

// ---- what goes wrong

#[track_caller]
fn refused(ies: &str, more: &str) -> Vec<String> {
    let problems = from_text(ies, more).expect_err("refused");
    // Every place can be shown.
    assert!(!problems.render(true).is_empty());
    let errors = problems.of(Severity::Error);
    errors.map(|p| format!("{p} | {}", p.hint)).collect()
}

#[test]
fn a_point_needs_a_size() {
    let mut photometry = one_sided(|_| true);
    photometry.opening = Opening::POINT;
    let text = lm63::write(&photometry);
    let said = refused(&text, "");
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(
        said[0].starts_with(
            "m.toml:2:8: error: modifier \"m\": its file has no opening with an area, only a point or a line"
        ),
        "{said:?}"
    );
    assert!(said[0].contains("add size = "), "{said:?}");
    let (modifier, _) = from_text(&text, "size = \"60 x 40 cm\"\ndepth = \"5 cm\"").expect("sound");
    assert_eq!(modifier.kind.face_m(), [0.6, 0.4]);
    near(modifier.body_depth_m, 0.05, 1e-12);
    let both = refused(&text, "size = \"60 x 40 cm\"\ndiameter = \"5 cm\"");
    assert!(both[0].contains("not both"), "{both:?}");
}

#[test]
fn faults_of_the_file_are_told_by_its_own_places() {
    let good = lm63::write(&one_sided(|_| true));
    for ends in ["\r\n", "\n", "\r"] {
        let bad = good.replace("\r\n", ends).replacen("1000", "bright", 1);
        let said = refused(&bad, "");
        let line = 1 + good[..good.find("1000").expect("there")]
            .matches("\r\n")
            .count();
        assert!(
            said.iter()
                .any(|s| s.starts_with(&format!("lights/lamp.ies:{line}:1: error: "))),
            "{said:?}"
        );
        assert!(
            said.iter().any(
                |s| s.starts_with("m.toml:2:8: error: the photometric file lamp.ies")
                    && s.ends_with("mend lights/lamp.ies as said there")
            ),
            "{said:?}"
        );
    }
    let empty = refused("", "");
    assert!(empty.iter().any(|s| s.contains("TILT=")), "{empty:?}");
}

#[test]
fn a_light_that_goes_up_gives_nothing_in_front() {
    let vertical = vec![90.0, 120.0, 180.0];
    let up = Table::new(Goniometry::C, vertical, vec![0.0], vec![0.0, 5.0, 9.0]).expect("a table");
    let said = refused(&lm63::write(&Photometry::new(up)), "diameter = \"20 cm\"");
    assert!(said[0].contains("gives no light in front"), "{said:?}");
    let dark =
        Table::new(Goniometry::C, vec![0.0, 90.0], vec![0.0], vec![0.0; 2]).expect("a table");
    let said = refused(&lm63::write(&Photometry::new(dark)), "diameter = \"20 cm\"");
    assert!(said[0].contains("gives no light in front"), "{said:?}");
}

#[test]
fn measured_lights_take_a_grid_and_no_cloth() {
    let text = lm63::write(&one_sided(|_| true));
    let cloth = refused(&text, "cloth = \"half\"");
    assert!(cloth[0].contains("takes no cloth"), "{cloth:?}");
    let (bare, _) = from_text(&text, "").expect("sound");
    let (gridded, _) = from_text(
        &text,
        "grid = { cell = \"1 cm\", depth = \"4 cm\", open = 0.9 }",
    )
    .expect("sound");
    let [bare, gridded] =
        [bare, gridded].map(|m| FarField::of(&Shine::at_once(&m).expect("at once")));
    near(
        gridded.intensity(0.0, 0.0) / bare.intensity(0.0, 0.0),
        0.9,
        0.005,
    );
    // Beyond atan(1 / 4), over the corners of the cells.
    assert_eq!(gridded.intensity(0.4, 1.0), 0.0);
    // Without a library there is no file.
    let alone = parse_modifier("kind = \"measured\"\nfile = \"a.ies\"", "m.toml", "m");
    let said = alone.expect_err("no library").list()[0].to_string();
    assert_eq!(
        said,
        "m.toml:2:8: error: there is no photometric file \"a.ies\""
    );
}

// ---- the shipped file, setups, and the disk

#[test]
fn the_shipped_file_is_made_from_a_spot() {
    let made = photometry_of(
        &Shine::of(spot(
            0.15,
            f64::to_radians(60.0),
            f64::to_radians(100.0),
            None,
        )),
        LUMENS,
        Description {
            luminaire: "Invented: flood of 60 degrees, worked out from a plain spot",
            setting: "",
        },
    )
    .expect("a far field");
    let path = models().join("modifiers/measured-flood.ies");
    let read = lm63::read(&std::fs::read(path).expect("shipped")).expect("sound");
    assert!(read.notes.is_empty(), "{:?}", read.notes);
    assert_eq!(read.photometry.table(), made.table());
    assert_eq!(read.photometry.opening, made.opening);
    let named = read.photometry.keyword("LUMINAIRE").expect("named");
    assert!(named.starts_with("Invented"));
    let light = shipped("measured-flood", 0.0);
    near(light.efficiency(), 1.0, 0.002);
    assert_eq!(light.placed[0].emission.face, Face::Disk { radius_m: 0.15 });
}

fn setup_with(modifier: &str) -> String {
    format!(
        "title = \"Invented\"\n[room]\nwalls = \"open\"\n[swatch]\nfabric = \"cotton-plain\"\n\
         distance = \"0 m\"\nheight = \"1.2 m\"\n[camera]\nframing = \"swatch\"\n\
         [[light]]\nname = \"key\"\nmodifier = {modifier}\ndistance = \"3 m\"\nheight = \"1.8 m\"\n\
         output = \"400 J\"\n"
    )
}

#[test]
fn setups_with_measured_lights_are_written_and_read_back() {
    for modifier in [
        "\"measured-flood\"",
        "{ kind = \"measured\", file = \"measured-flood.ies\" }",
        "{ kind = \"measured\", file = \"measured-flood.ies\", size = \"50 x 30 cm\", depth = \"20 cm\", grid = { cell = \"1 cm\", depth = \"3 cm\" } }",
    ] {
        let checked = parse(&setup_with(modifier), "s.toml", &Fake)
            .unwrap_or_else(|p| panic!("{}", p.render(false)));
        let again = parse(&to_toml(&checked.setup), "s.toml", &Fake)
            .unwrap_or_else(|p| panic!("{}", p.render(false)));
        assert_eq!(again.setup.lights, checked.setup.lights, "{modifier}");
    }
}

#[test]
fn files_are_found_beside_what_names_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let at = |name: &str| folder.path().join(name);
    std::fs::create_dir(at("mine")).expect("a folder");
    let flood = std::fs::read(models().join("modifiers/measured-flood.ies")).expect("shipped");
    std::fs::write(at("here.ies"), &flood).expect("written");
    std::fs::write(at("mine/there.ies"), &flood).expect("written");
    std::fs::write(
        at("mine/own.toml"),
        "kind = \"measured\"\nfile = \"there.ies\"\n",
    )
    .expect("written");
    let setup = at("s.toml");
    let library = Models::for_setup(&setup);
    let read = |modifier: &str| parse(&setup_with(modifier), "s.toml", &library);
    assert!(read("{ kind = \"measured\", file = \"here.ies\" }").is_ok());
    assert!(read("{ kind = \"measured\", file = \"mine/there.ies\" }").is_ok());
    assert!(read("\"mine/own.toml\"").is_ok());
    assert!(read("\"measured-flood\"").is_ok());
    let lost = read("{ kind = \"measured\", file = \"there.ies\" }").expect_err("not there");
    let said = lost.render(false);
    assert!(
        said.contains("there is no photometric file \"there.ies\""),
        "{said}"
    );
    assert!(
        said.contains("stills name such a file, but do not hold it"),
        "{said}"
    );
    let folder_named = read("{ kind = \"measured\", file = \"mine\" }").expect_err("a folder");
    assert!(folder_named.render(false).contains("no photometric file"));
    // 4 MB and a byte.
    std::fs::write(at("big.ies"), vec![b' '; (4 << 20) + 1]).expect("written");
    let big = read("{ kind = \"measured\", file = \"big.ies\" }").expect_err("too big");
    assert!(
        big.render(false).contains("more than 4 MB"),
        "{}",
        big.render(false)
    );
}

// ---- hostile files

/// Words of a file, put anywhere.
const WORDS: [&str; 22] = [
    "-1",
    "0",
    "1",
    "2",
    "3",
    "-5",
    "90",
    "180",
    "360",
    "1e15",
    "1e-300",
    "nan",
    "-0.3",
    "0.2",
    "45",
    "TILT=NONE",
    "TILT=INCLUDE",
    "\r\n",
    "\n",
    ",",
    "IESNA91",
    "é\u{0}",
];

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 96,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        let text = "kind = \"measured\"\nfile = \"lamp.ies\"\ndiameter = \"20 cm\"";
        if let Err(problems) = parse_modifier_with(text, "m.toml", "m", &One(bytes)) {
            prop_assert!(!problems.render(true).is_empty());
        }
    }

    #[test]
    fn spoilt_files_never_panic(changes in prop::collection::vec((0..200_usize, 0..WORDS.len()), 0..6),
                                open: bool, sized: bool) {
        let mut photometry = one_sided(|phi| open || phi < 60.0);
        if !sized {
            photometry.opening = Opening::POINT;
        }
        let good = lm63::write(&photometry);
        let mut words: Vec<&str> = good.split_inclusive([' ', '\n']).collect();
        for (at, word) in &changes {
            let at = at % words.len();
            words[at] = WORDS[*word];
        }
        let text = words.join(" ");
        match from_text(&text, if sized { "" } else { "size = \"1 m x 1 mm\"" }) {
            Ok((modifier, _)) => {
                let light = Shine::at_once(&modifier).expect("at once");
                prop_assert!(light.efficiency().is_finite());
                let at = FarField::of(&light).intensity(0.3, 0.3);
                prop_assert!(at.is_finite() && at >= 0.0);
            }
            Err(problems) => prop_assert!(problems.has_errors() && !problems.render(true).is_empty()),
        }
    }
}
