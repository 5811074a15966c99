//! Swatches from photographs, and fabrics from maps: against Woodham's values, rendered swatches of
//! known normals, balls of known lights, and closed-form surfaces.
//!
//! The swatches are rendered here, by Lambert's law with attached and cast shadows over a height
//! field of sines whose slopes are known exactly.

use std::f64::consts::TAU;

use proptest::prelude::*;
use swatchlight::fabric::maps::{
    Edges, Encoding, Green, Maps, MapsError, Picture, Pictures, heights_mm,
};
use swatchlight::fabric::stereo::{
    Ball, Options, Shot, StereoError, Swatch, Trend, albedo_normal, recover,
};

const SIZE: usize = 128;

/// Pixels of the swatches' waves.
const WAVE_PX: f64 = 32.0;

type Vector = [f64; 3];

fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(v: Vector) -> Vector {
    let length = dot(v, v).sqrt();
    v.map(|c| c / length)
}

fn angle_deg(a: Vector, b: Vector) -> f64 {
    let sum = [0, 1, 2].map(|c| a[c] + b[c]);
    let difference = [0, 1, 2].map(|c| a[c] - b[c]);
    2.0 * dot(difference, difference)
        .sqrt()
        .atan2(dot(sum, sum).sqrt())
        .to_degrees()
}

fn light(azimuth_deg: f64, slant_deg: f64) -> Vector {
    let ((sa, ca), (ss, cs)) = (
        azimuth_deg.to_radians().sin_cos(),
        slant_deg.to_radians().sin_cos(),
    );
    [ss * ca, ss * sa, cs]
}

/// Lights round about, every other one at another slant.
fn ring(count: usize, slants_deg: [f64; 2]) -> Vec<Vector> {
    (0..count)
        .map(|k| light(360.0 * k as f64 / count as f64, slants_deg[k % 2]))
        .collect()
}

/// Even numbers from 0 to 1, by pixel and shot (a splitmix64 hash).
fn even(seed: u64) -> f64 {
    let mut z = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
}

/// A cloth of sines: height in pixels and slopes (right, up) at a place in pixels, y up.
#[derive(Clone, Copy)]
struct Cloth {
    amplitude_px: f64,
    /// Shine over diffuse light; its half widths are a satin's: 13° along the fibres, which run to
    /// the right, and 45° across (common practice).
    shine: f64,
    noise: f64,
}

impl Cloth {
    fn height(&self, x: f64, y: f64) -> f64 {
        let k = TAU / WAVE_PX;
        self.amplitude_px * ((k * x).sin() * (k * y).cos() + 0.3 * (2.0 * k * x + k * y).sin())
    }

    fn slopes(&self, x: f64, y: f64) -> [f64; 2] {
        let k = TAU / WAVE_PX;
        let ((sx, cx), (sy, cy)) = ((k * x).sin_cos(), (k * y).sin_cos());
        let slant = 0.3 * (2.0 * k * x + k * y).cos();
        [cx * cy + 2.0 * slant, -sx * sy + slant].map(|s| self.amplitude_px * k * s)
    }

    fn normal(&self, x: f64, y: f64) -> Vector {
        let [p, q] = self.slopes(x, y);
        unit([-p, -q, 1.0])
    }

    fn is_shadowed(&self, x: f64, y: f64, light: Vector) -> bool {
        let base = self.height(x, y);
        let top = 1.3 * self.amplitude_px;
        let across = light[0].hypot(light[1]);
        let step = 0.5;
        (1..)
            .map(|n| f64::from(n) * step)
            .map(|t| (t, base + t * light[2] / across))
            .take_while(|&(_, z)| z < top)
            .any(|(t, z)| {
                self.height(x + t * light[0] / across, y + t * light[1] / across) > z + 0.02
            })
    }

    /// Reflectance by channel: broad stripes of two dyes.
    fn albedo(x: f64) -> Vector {
        if ((x / 40.0) as usize).is_multiple_of(2) {
            [0.5, 0.3, 0.2]
        } else {
            [0.15, 0.25, 0.45]
        }
    }

    fn shine(&self, normal: Vector, light: Vector) -> f64 {
        let half = unit([light[0], light[1], light[2] + 1.0]);
        // Along the cloth to the right, and across.
        let along = unit([normal[2], 0.0, -normal[0]]);
        let across = [
            normal[1] * along[2] - normal[2] * along[1],
            normal[2] * along[0] - normal[0] * along[2],
            normal[0] * along[1] - normal[1] * along[0],
        ];
        let n = dot(half, normal).max(1e-6);
        // A half width of the light is twice that of the half vector.
        let part = |t: Vector, width_deg: f64| {
            (dot(half, t) / n / (0.5 * width_deg).to_radians().tan()).powi(2)
        };
        self.shine * 0.5_f64.powf(part(along, 13.0) + part(across, 45.0))
    }

    fn picture(&self, light: Vector, shot: usize) -> Vec<[f32; 3]> {
        (0..SIZE * SIZE)
            .map(|at| {
                let (x, y) = place(at);
                let normal = self.normal(x, y);
                let lit = match dot(normal, light) {
                    cosine if cosine > 0.0 && !self.is_shadowed(x, y, light) => cosine,
                    _ => 0.0,
                };
                let shine = self.shine(normal, light) * lit;
                let mut channel = 0;
                Self::albedo(x).map(|albedo| {
                    channel += 1;
                    let seed = (at * 36 + shot * 3 + channel) as u64;
                    let noise = (0..4).map(|n| even(seed * 4 + n) - 0.5).sum::<f64>() * 3f64.sqrt();
                    // A trace of stray light fills the shadows.
                    (albedo * (lit + 0.01) + shine + self.noise * noise) as f32
                })
            })
            .collect()
    }
}

/// Middle of a pixel, y up.
fn place(at: usize) -> (f64, f64) {
    (
        (at % SIZE) as f64 + 0.5,
        SIZE as f64 - 0.5 - (at / SIZE) as f64,
    )
}

fn picture(rgb: &[[f32; 3]]) -> Picture<'_> {
    Picture {
        width: SIZE,
        height: rgb.len() / SIZE,
        rgb,
    }
}

fn shots<'a>(lights: &[Vector], pictures: &'a [Vec<[f32; 3]>]) -> Vec<Shot<'a>> {
    lights
        .iter()
        .zip(pictures)
        .map(|(&direction, rgb)| Shot {
            picture: picture(rgb),
            direction,
            strength: 1.0,
            card: None,
        })
        .collect()
}

fn render(cloth: Cloth, lights: &[Vector]) -> Vec<Vec<[f32; 3]>> {
    lights
        .iter()
        .enumerate()
        .map(|(k, &light)| cloth.picture(light, k))
        .collect()
}

/// Nothing taken out of the slopes and no clip point, since the swatch is exact.
const EXACT: Options = Options {
    clip: f32::INFINITY,
    card_reflectance: 0.18,
    trend: Trend::Keep,
};

/// Mean angle between found and true normals.
fn mean_error_deg(swatch: &Swatch, cloth: Cloth) -> f64 {
    let sum: f64 = swatch
        .normals
        .iter()
        .enumerate()
        .map(|(at, n)| {
            let (x, y) = place(at);
            angle_deg(n.map(f64::from), cloth.normal(x, y))
        })
        .sum();
    sum / swatch.normals.len() as f64
}

const COTTON: Cloth = Cloth {
    amplitude_px: 3.0,
    shine: 0.0,
    noise: 0.003,
};

// --- Published values ----------------------------------------------------------------------------

/// S6.ps.intensity: `I = ρ L n` (Woodham 1980), three lights at 30° slant.
#[test]
fn intensities_of_a_known_surface() {
    let n = unit([0.2, -0.1, 0.97]);
    for (azimuth, wanted) in [(0.0, 0.56661076), (120.0, 0.45009865), (240.0, 0.50229823)] {
        let intensity = 0.6 * dot(light(azimuth, 30.0), n);
        assert!((intensity / wanted - 1.0).abs() < 1e-6, "{intensity}");
    }
}

/// S6.ps.solve: `g = L⁻¹ I` (Woodham 1980).
#[test]
fn woodhams_solution() {
    let lights = [0.0, 120.0, 240.0].map(|azimuth| light(azimuth, 30.0));
    let intensities = [0.5666107559103588, 0.45009865215994116, 0.5022982272571028];
    let g = albedo_normal(&lights, &intensities).unwrap();
    for (found, wanted) in g.into_iter().zip([0.12054975, -0.060274877, 0.58466631]) {
        assert!((found / wanted - 1.0).abs() < 1e-6, "{g:?}");
    }
    assert!((dot(g, g).sqrt() - 0.6).abs() < 1e-6);
}

// --- Rendered swatches ---------------------------------------------------------------------------

/// Known normals come back within 2° on the mean, albedo within 3 %, from 4 to 12 lights.
#[test]
fn a_rendered_diffuse_swatch_comes_back() {
    for (count, slants) in [(4, [50.0, 50.0]), (8, [40.0, 60.0]), (12, [35.0, 65.0])] {
        let lights = ring(count, slants);
        let pictures = render(COTTON, &lights);
        let swatch = recover(&shots(&lights, &pictures), &EXACT).unwrap();
        let error = mean_error_deg(&swatch, COTTON);
        let report = &swatch.report;
        let shadow: f64 = report.shots.iter().map(|s| s.shadow_share).sum::<f64>() / count as f64;
        println!(
            "{count} lights: {error:.2}°, residual {:.4}, misfit {:.4}, {:.1} used, {shadow:.2} in \
             shadow",
            report.residual_rms, report.misfit_rms, report.mean_used
        );
        assert!(error < 2.0, "{count} lights: {error}°");
        // Four high lights reach every place.
        assert!(count == 4 || shadow > 0.01, "the swatch must have shadows");
        let albedo: f64 = swatch
            .albedo
            .iter()
            .enumerate()
            .map(|(at, found)| {
                let wanted = Cloth::albedo(place(at).0);
                (f64::from(found[0]) / wanted[0] - 1.0).abs()
            })
            .sum::<f64>()
            / swatch.albedo.len() as f64;
        assert!(albedo < 0.03, "{count} lights: albedo off by {albedo}");
    }
}

/// One shot with a hard highlight over a third of the pixels, burnt out or not.
#[test]
fn a_hard_highlight_in_one_shot_does_no_harm() {
    let lights = ring(6, [45.0, 45.0]);
    let mut pictures = render(COTTON, &lights);
    for (at, pixel) in pictures[2].iter_mut().enumerate() {
        if at % SIZE < SIZE / 3 {
            pixel.iter_mut().for_each(|v| *v += 0.9);
        }
    }
    for clip in [f32::INFINITY, 0.9] {
        let options = Options { clip, ..EXACT };
        let swatch = recover(&shots(&lights, &pictures), &options).unwrap();
        let error = mean_error_deg(&swatch, COTTON);
        println!("highlight, clip {clip}: {error:.2}°");
        assert!(error < 2.0, "{error}°");
        let share = swatch.report.shots[2].highlight_share;
        assert!((0.3..0.45).contains(&share), "{share}");
    }
}

/// On satin the error is what it is: reported, and larger than on cotton.
#[test]
fn satin_is_reported() {
    for shine in [0.2, 0.5] {
        let satin = Cloth { shine, ..COTTON };
        for count in [8, 12] {
            let lights = ring(count, [40.0, 60.0]);
            let pictures = render(satin, &lights);
            let swatch = recover(&shots(&lights, &pictures), &EXACT).unwrap();
            let error = mean_error_deg(&swatch, satin);
            let report = &swatch.report;
            println!(
                "satin, shine {shine}, {count} lights: {error:.2}°, residual {:.4}, misfit {:.4}",
                report.residual_rms, report.misfit_rms
            );
            assert!(error > 0.2 && error < 12.0, "{error}°");
            assert!(report.misfit_rms > 0.05, "shine must show in the misfit");
        }
    }
}

/// A light that falls off over the frame: a grey card (18 %, its own light known by `I = ρ E cos`)
/// puts it right and makes albedo reflectance; without one, taking the bowl out helps.
#[test]
fn uneven_lights_are_put_right() {
    let lights = ring(6, [45.0, 45.0]);
    let mut pictures = render(COTTON, &lights);
    let mut cards = Vec::new();
    for (k, rgb) in pictures.iter_mut().enumerate() {
        let mut card = Vec::new();
        for (at, pixel) in rgb.iter_mut().enumerate() {
            let (x, y) = place(at);
            let off = (lights[k][0] * x + lights[k][1] * y) / SIZE as f64;
            let lamp = 1.6 * (1.0 + 0.25 * off) * if k == 3 { 1.3 } else { 1.0 };
            // The lamps are warm.
            let colour = [1.1, 1.0, 0.8].map(|c| c * lamp);
            (0..3).for_each(|c| pixel[c] *= colour[c] as f32);
            card.push(colour.map(|e| (0.18 * e * lights[k][2]) as f32));
        }
        cards.push(card);
    }
    let mut taken = shots(&lights, &pictures);
    let without = recover(&taken, &EXACT).unwrap();
    let bowl = Options {
        trend: Trend::Bowl,
        ..EXACT
    };
    let flattened = recover(&taken, &bowl).unwrap();
    for (shot, card) in taken.iter_mut().zip(&cards) {
        shot.card = Some(picture(card));
    }
    let with = recover(&taken, &EXACT).unwrap();
    let errors = [&without, &flattened, &with].map(|s| mean_error_deg(s, COTTON));
    println!("uneven light: raw, flattened, with cards {errors:.2?}°");
    assert!(errors[2] < 2.0 && errors[1] < errors[0] && errors[0] > 2.0 * errors[2]);
    assert!(with.report.albedo_is_reflectance && !without.report.albedo_is_reflectance);
    // The shot that was given a wrong strength sticks out.
    assert!(without.report.shots[3].highlight_share > 0.5);
    let middle: Vec<f64> = (0..3)
        .map(|c| {
            let red = (0..SIZE * SIZE).filter(|&at| place(at).0 < 40.0);
            let (mut sum, mut count) = (0.0, 0.0);
            for at in red {
                sum += f64::from(with.albedo[at][c]);
                count += 1.0;
            }
            sum / count
        })
        .collect();
    for (found, wanted) in middle.into_iter().zip([0.5, 0.3, 0.2]) {
        assert!((found / wanted - 1.0).abs() < 0.03, "{found} for {wanted}");
    }
}

/// From pictures to heights: the cloth's own, within a tenth of its rms.
#[test]
fn heights_come_back_from_pictures() {
    let lights = ring(8, [40.0, 60.0]);
    let pictures = render(COTTON, &lights);
    let swatch = recover(&shots(&lights, &pictures), &EXACT).unwrap();
    // A pixel a millimetre.
    let found = swatch.heights_mm(SIZE as f64).unwrap();
    let wanted: Vec<f64> = (0..SIZE * SIZE)
        .map(|at| COTTON.height(place(at).0, place(at).1))
        .collect();
    let mean = wanted.iter().sum::<f64>() / wanted.len() as f64;
    let rms = |values: &mut dyn Iterator<Item = f64>| {
        (values.map(|v| v * v).sum::<f64>() / wanted.len() as f64).sqrt()
    };
    let whole = rms(&mut wanted.iter().map(|h| h - mean));
    let off = rms(&mut found
        .iter()
        .zip(&wanted)
        .map(|(&h, w)| f64::from(h) - (w - mean)));
    println!("heights: off by {off:.4} of {whole:.4}");
    assert!(off < 0.1 * whole, "{off} of {whole}");
}

// --- Balls ---------------------------------------------------------------------------------------

/// A polished ball of 40 pixels on a dim table, lit by a disk of `half_deg` half angle: by the law
/// of reflection its highlight is where the mirrored view meets the disk.
fn ball_picture(ball: Ball, lights: &[Vector], half_deg: f64) -> Vec<[f32; 3]> {
    (0..SIZE * SIZE)
        .map(|at| {
            let sub = 4;
            let mut sum = 0.0;
            for s in 0..sub * sub {
                let i = (at % SIZE) as f64 + (f64::from(s % sub) + 0.5) / f64::from(sub);
                let j = (at / SIZE) as f64 + (f64::from(s / sub) + 0.5) / f64::from(sub);
                let x = (i - ball.centre_px[0]) / ball.radius_px;
                let y = (ball.centre_px[1] - j) / ball.radius_px;
                let out2 = x * x + y * y;
                if out2 >= 1.0 {
                    sum += 0.6;
                    continue;
                }
                let z = (1.0 - out2).sqrt();
                let mirrored = [2.0 * z * x, 2.0 * z * y, 2.0 * z * z - 1.0];
                let hit = lights.iter().any(|&l| angle_deg(l, mirrored) < half_deg);
                sum += if hit { 1.0 } else { 0.03 };
            }
            [(sum / f64::from(sub * sub)) as f32; 3]
        })
        .collect()
}

const BALL: Ball = Ball {
    centre_px: [61.3, 70.8],
    radius_px: 40.0,
};

/// Directions within half a degree, for lights up to 80° from the camera.
#[test]
fn light_directions_off_a_ball() {
    for slant in [0.0, 20.0, 45.0, 65.0, 80.0] {
        for azimuth in [10.0, 130.0, 250.0] {
            let wanted = light(azimuth, slant);
            let rgb = ball_picture(BALL, &[wanted], 6.0);
            let found = BALL.light_direction(&picture(&rgb)).unwrap();
            let off = angle_deg(found, wanted);
            assert!(off < 0.5, "slant {slant}, azimuth {azimuth}: off by {off}°");
        }
    }
}

#[test]
fn balls_that_say_nothing_are_refused() {
    let dull = vec![[0.3f32; 3]; SIZE * SIZE];
    let error = |rgb: &[[f32; 3]], ball: Ball| ball.light_direction(&picture(rgb)).unwrap_err();
    assert!(matches!(
        error(&dull, BALL),
        StereoError::NoHighlight { .. }
    ));
    let two = ball_picture(BALL, &[light(0.0, 40.0), light(90.0, 40.0)], 6.0);
    assert!(matches!(
        error(&two, BALL),
        StereoError::TwoHighlights { .. }
    ));
    let behind = ball_picture(BALL, &[light(0.0, 120.0)], 6.0);
    assert!(matches!(error(&behind, BALL), StereoError::Rim { .. }));
    for (centre_px, radius_px) in [
        ([5.0, 5.0], 40.0),
        ([f64::NAN, 60.0], 20.0),
        ([60.0, 60.0], f64::INFINITY),
        ([60.0, 60.0], 0.0),
    ] {
        let ball = Ball {
            centre_px,
            radius_px,
        };
        assert!(matches!(
            error(&dull, ball),
            StereoError::BallOutside { .. }
        ));
    }
    let nothing = vec![[f32::NAN; 3]; SIZE * SIZE];
    assert!(BALL.light_direction(&picture(&nothing)).is_err());
}

// --- What is refused -----------------------------------------------------------------------------

#[test]
fn shots_that_do_not_suffice_are_refused_with_what_to_do() {
    let lights = ring(6, [45.0, 45.0]);
    let mut pictures = vec![vec![[0.5f32; 3]; SIZE * SIZE]; 6];
    let says = |shots: &[Shot], part: &str| {
        let error = recover(shots, &EXACT).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    };
    let all = shots(&lights, &pictures);
    says(&all[..3], "3 shots: a swatch takes 4 to 12");
    says(&[], "0 shots");
    says(&[all[0]; 13], "leave some out");

    // Lights in a row, and all from one place.
    let row = [-60.0, -30.0, 30.0, 60.0].map(|slant| light(0.0, slant));
    says(&shots(&row, &pictures), "from about 90° or 270°");
    says(
        &shots(&[light(0.0, 40.0); 4], &pictures),
        "almost in one plane",
    );

    for (direction, part) in [
        ([0.0; 3], "shot 2"),
        ([0.0, 0.0, -1.0], "toward the camera"),
        ([f64::NAN, 0.0, 1.0], "shot 2"),
    ] {
        let mut bad = all.clone();
        bad[1].direction = direction;
        says(&bad, part);
    }
    for strength in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let mut bad = all.clone();
        bad[4].strength = strength;
        says(&bad, "the strength of shot 5");
    }
    let mut bad = all.clone();
    bad[3].picture.height /= 2;
    says(&bad, "shot 4 has");
    bad[3].picture.rgb = &all[0].picture.rgb[..SIZE * SIZE / 2];
    says(&bad, "crop all to the same frame");
    let mut bad = all.clone();
    bad[2].card = Some(all[0].picture);
    says(&bad, "shots 1, 2, 4, 5, 6 have no grey card");

    pictures[5][SIZE + 2][1] = f32::NAN;
    says(
        &shots(&lights, &pictures),
        "shot 6 holds NaN at column 3, row 2",
    );
    pictures[5][SIZE + 2][1] = 1e30;
    says(&shots(&lights, &pictures), "shot 6 holds 1000000000");
}

proptest! {
    /// Whatever the numbers, an answer is finite and its normals are unit, or it is an error.
    #[test]
    fn nothing_panics(
        values in proptest::collection::vec(
            prop_oneof![6 => 0f32..1.0, 2 => -1e9f32..1e9, 1 => Just(0.0), 1 => Just(1e-38)],
            5 * 12,
        ),
        directions in proptest::collection::vec(prop::array::uniform3(-2.0f64..2.0), 5),
    ) {
        let pictures: Vec<Vec<[f32; 3]>> = values
            .chunks(12)
            .map(|c| c.chunks(3).map(|p| [p[0], p[1], p[2]]).collect())
            .collect();
        let shots: Vec<Shot> = pictures
            .iter()
            .zip(directions)
            .map(|(rgb, d)| Shot {
                picture: Picture { width: 2, height: 2, rgb },
                direction: [d[0], d[1], d[2].abs()],
                strength: 1e-6,
                card: None,
            })
            .collect();
        if let Ok(swatch) = recover(&shots, &EXACT) {
            prop_assert!(swatch.albedo.iter().flatten().all(|v| v.is_finite()));
            prop_assert!(swatch.residual.iter().all(|v| v.is_finite()));
            for n in swatch.normals {
                let length = dot(n.map(f64::from), n.map(f64::from));
                prop_assert!((length - 1.0).abs() < 1e-4, "{n:?}");
            }
        }
    }
}

// --- Heights and maps ----------------------------------------------------------------------------

/// A paraboloid, `h = a x² + b y²`, with free edges: a closed form with a bowl over the whole frame.
#[test]
fn a_paraboloid_comes_back_from_its_slopes() {
    let (width, height, pitch) = (201, 77, 0.1);
    let (a, b) = (0.02, -0.05);
    let at = |k: usize| {
        let x = pitch * ((k % width) as f64 - 100.0);
        let y = pitch * (38.0 - (k / width) as f64);
        (x, y)
    };
    let slopes: Vec<[f32; 2]> = (0..width * height)
        .map(|k| [(2.0 * a * at(k).0) as f32, (2.0 * b * at(k).1) as f32])
        .collect();
    let found = heights_mm(&slopes, width, height, pitch, Edges::Free).unwrap();
    let surface = |k: usize| a * at(k).0.powi(2) + b * at(k).1.powi(2);
    let base = f64::from(found[0]) - surface(0);
    for (k, &h) in found.iter().enumerate() {
        let off = f64::from(h) - surface(k) - base;
        assert!(off.abs() < 1e-3, "{off} at {k}");
    }
}

/// A normal map written with either green reads back the same; with the wrong one its vertical
/// slopes turn round.
#[test]
fn green_conventions() {
    let n = unit([0.3, -0.4, 0.8]).map(|v| v as f32);
    for green in [Green::Up, Green::Down] {
        let back = green.decode(green.encode(n));
        assert!(n.iter().zip(back).all(|(a, b)| (a - b).abs() < 1e-6));
    }
    let flipped = Green::Down.decode(Green::Up.encode(n));
    assert!((flipped[1] + n[1]).abs() < 1e-6 && (flipped[0] - n[0]).abs() < 1e-6);
}

const KEYS: &str = "
width_mm = 12.8
normal = \"n.png\"
green = \"up\"
height = \"h.png\"
height_full_mm = 0.5
albedo = \"a.png\"
opacity = \"o.png\"
";

#[test]
fn keys_are_read_and_checked() {
    let maps: Maps = toml::from_str(KEYS).unwrap();
    assert_eq!(maps.check(), Ok(()));
    assert_eq!(maps.albedo_encoding.unwrap_or_default(), Encoding::Srgb);
    assert_eq!(
        toml::from_str::<Maps>(&toml::to_string(&maps).unwrap()).unwrap(),
        maps
    );
    for (old, new, part) in [
        ("width_mm = 12.8", "width_mm = nan", "maps.width_mm = NaN"),
        ("green = \"up\"", "", "green = \"up\" (or \"down\")"),
        ("height_full_mm = 0.5", "", "height_full_mm = 0.4"),
        ("normal = \"n.png\"", "", "maps.green says nothing"),
        (
            "albedo = \"a.png\"",
            "albedo_encoding = \"linear\"",
            "maps.albedo_encoding says nothing",
        ),
        (
            "height_full_mm = 0.5",
            "height_full_mm = -1",
            "maps.height_full_mm = -1",
        ),
        ("\"a.png\"", "\" \"", "maps.albedo is empty"),
    ] {
        assert!(KEYS.contains(old));
        let maps: Maps = toml::from_str(&KEYS.replace(old, new)).unwrap();
        let error = maps.check().unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    }
    for (old, new) in [("\"up\"", "\"left\""), ("albedo", "albdo")] {
        assert!(toml::from_str::<Maps>(&KEYS.replace(old, new)).is_err());
    }
    let none: Maps = toml::from_str("width_mm = 1.0").unwrap();
    assert_eq!(none.check(), Err(MapsError::Nothing));
}

#[test]
fn maps_are_put_together_at_the_finest_size() {
    let maps: Maps = toml::from_str(KEYS).unwrap();
    let normal = vec![[0.5f32, 0.5, 1.0]; 64 * 32];
    let grey = vec![[0.5f32; 3]; 32 * 16];
    // IEC 61966-2-1: code 118 of 255 is 18.1 % linear.
    let albedo = vec![[118.0 / 255.0f32; 3]; 128 * 64];
    let small = Picture {
        width: 32,
        height: 16,
        rgb: &grey,
    };
    let pictures = Pictures {
        normal: Some(Picture {
            width: 64,
            height: 32,
            rgb: &normal,
        }),
        height: Some(small),
        albedo: Some(Picture {
            width: 128,
            height: 64,
            rgb: &albedo,
        }),
        opacity: Some(small),
    };
    let set = maps.assemble(&pictures).unwrap();
    assert_eq!((set.width, set.height), (128, 64));
    assert!((set.pitch_mm() - 0.1).abs() < 1e-12 && (set.height_mm() - 6.4).abs() < 1e-12);
    assert!((set.albedo.unwrap()[77][1] - 0.181).abs() < 1e-3);
    assert!((set.opacity.unwrap()[77] - 0.5).abs() < 1e-6);
    let relief = set.relief.unwrap();
    assert_eq!(relief.notes.flattened, 0);
    assert!(relief.slopes.iter().flatten().all(|s| s.abs() < 1e-6));

    // What does not go together.
    let says = |pictures: &Pictures, part: &str| {
        let error = maps.assemble(pictures).unwrap_err().to_string();
        assert!(error.contains(part), "{error}");
    };
    let with_height = |width, height, rgb| Pictures {
        height: Some(Picture { width, height, rgb }),
        ..pictures
    };
    says(
        &with_height(16, 32, &grey),
        "must show the same piece of cloth",
    );
    says(&with_height(1, 512, &grey), "2 to 16384 pixels a side");
    says(&with_height(32, 17, &grey), "512 values for 32 × 17");
    says(&with_height(0, 0, &[]), "0 × 0");
    says(&with_height(usize::MAX, usize::MAX, &[]), "pixels a side");
    says(
        &Pictures {
            opacity: None,
            ..pictures
        },
        "the opacity map is named but has no picture",
    );
    let with = |value: f32| {
        let mut bad = grey.clone();
        bad[33] = [value; 3];
        bad
    };
    let (nan, high) = (with(f32::NAN), with(1.5));
    says(&with_height(32, 16, &nan), "NaN at column 2, row 2");
    says(&with_height(32, 16, &high), "1.5 at column 2, row 2");
    let coloured = vec![[0.2f32, 0.5, 0.9]; 32 * 16];
    says(
        &with_height(32, 16, &coloured),
        "the height map is coloured",
    );
}

/// A swatch's normal map goes out and comes in again as the same slopes.
#[test]
fn a_swatch_is_saved_as_maps() {
    let lights = ring(8, [40.0, 60.0]);
    let pictures = render(COTTON, &lights);
    let swatch = recover(&shots(&lights, &pictures), &EXACT).unwrap();
    let rgb = swatch.normal_map(Green::Down);
    let maps: Maps = toml::from_str("width_mm = 10\nnormal = \"n.png\"\ngreen = \"down\"").unwrap();
    let set = maps
        .assemble(&Pictures {
            normal: Some(picture(&rgb)),
            ..Pictures::default()
        })
        .unwrap();
    let relief = set.relief.unwrap();
    assert!(!relief.notes.green_doubtful);
    let tilt = relief.notes.tilt;
    for (a, b) in relief.slopes.iter().zip(swatch.slopes()) {
        for c in 0..2 {
            assert!((a[c] + tilt[c] - b[c]).abs() < 1e-3, "{a:?} {b:?}");
        }
    }
}
