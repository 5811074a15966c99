//! Pile, leather and sequins: their kernels against counts, closed forms and statistics.

#[path = "common/texels.rs"]
mod texels;

use naga_rust_rt::{Scalar, Vec2, Vec3 as KernelVec3};
use swatchlight::fabric::FabricError;
use swatchlight::fabric::structure::Form;
use swatchlight::fabric::structure::corduroy::Corduroy;
use swatchlight::fabric::structure::leather::Leather;
use swatchlight::fabric::structure::sequins::Sequins;
use swatchlight::fabric::structure::velvet::Velvet;
use swatchlight::scene::kernels::{Kernels, Thread};
use swatchlight::scene::records::*;
use texels::Texels as Cloth;

const WARP: u32 = 1;
const WEFT: u32 = 2;
const PILE: u32 = 3;
const SOLID: u32 = 5;
/// Fine enough that every detail is drawn, and so coarse that none finer than the structure is.
const CLOSE_MM: f32 = 1e-4;
const FAR_MM: f32 = 10.0;

fn velvet(strokes: f64) -> Velvet {
    toml::from_str(&format!(
        "colour = [0.1, 0.01, 0.1]\nstrokes_per_sqm = {strokes}"
    ))
    .unwrap()
}
fn corduroy() -> Corduroy {
    toml::from_str("colour = [0.21, 0.1, 0.04]\nground_colour = [0.03, 0.015, 0.006]").unwrap()
}
fn leather() -> Leather {
    toml::from_str("colour = [0.15, 0.05, 0.02]").unwrap()
}
fn sequins(more: &str) -> Sequins {
    let colours = "colour = [0.36, 0.17, 0.08]\nground_colour = [0.02, 0.01, 0.01]\n\
                   thread_colour = [0.1, 0.05, 0.03]\n";
    toml::from_str(&format!("{colours}{more}")).unwrap()
}

type Height = fn(&Cloth, Vec2<f32>) -> f32;
type Point = fn(&Cloth, Vec2<f32>, f32) -> Thread;

/// One structure, ready to be asked.
struct Made {
    name: &'static str,
    cloth: Cloth,
    form: Form,
    height: Height,
    thread: Point,
}

impl Made {
    fn height(&self, x: f64, y: f64) -> f64 {
        let at = Vec2 {
            x: x as f32,
            y: y as f32,
        };
        f64::from((self.height)(&self.cloth, at))
    }
    fn thread(&self, x: f64, y: f64, footprint_mm: f32) -> Thread {
        let at = Vec2 {
            x: x as f32,
            y: y as f32,
        };
        (self.thread)(&self.cloth, at, footprint_mm)
    }
}

macro_rules! made {
    ($name:literal, $spec:expr, $height:ident, $thread:ident $(, $over:expr)?) => {{
        let spec = $spec;
        spec.check().unwrap();
        let mut texels = Vec::new();
        let form = spec.pack(11, &mut texels);
        Made {
            name: $name,
            cloth: Cloth(texels),
            form,
            height: |cloth, at| cloth.$height(Scalar(0), at $(, $over)?).0,
            thread: |cloth, at, footprint| cloth.$thread(Scalar(0), at, Scalar(footprint)),
        }
    }};
}

fn made_velvet() -> Made {
    made!("velvet", velvet(0.0), velvet_height, velvet_thread)
}
fn made_corduroy() -> Made {
    made!("corduroy", corduroy(), corduroy_height, corduroy_thread)
}
fn made_leather() -> Made {
    made!(
        "leather",
        leather(),
        leather_height,
        leather_thread,
        UNDER_ALL_MM
    )
}
fn made_sequins() -> Made {
    made!(
        "sequins",
        sequins("thread_mm = 0.0"),
        sequins_height,
        sequins_thread
    )
}
fn all() -> [Made; 4] {
    [
        made_velvet(),
        made_corduroy(),
        made_leather(),
        made_sequins(),
    ]
}

/// Places over a square of the cloth, without a lattice of their own (the golden ratio's sequence in
/// two dimensions, Roberts 2018: its ratio solves x^3 = x + 1).
fn places(count: u32, side_mm: f64) -> impl Iterator<Item = (f64, f64)> {
    let plastic: f64 = 1.324_717_957_244_746;
    (0..count).map(move |i| {
        let i = f64::from(i) + 0.5;
        let u = (i / plastic).fract() - 0.5;
        let v = (i / (plastic * plastic)).fract() - 0.5;
        (u * side_mm, v * side_mm)
    })
}

/// Geometry: what the interface promises of every point, out to two metres.
#[test]
fn points_keep_their_bounds_and_height_agrees_with_thread() {
    for made in all() {
        for (x, y) in places(40_000, 4000.0) {
            let height = made.height(x, y);
            let name = made.name;
            assert!(
                height >= f64::from(made.form.low_mm) - 1e-4
                    && height <= f64::from(made.form.high_mm) + 1e-4,
                "{name} at {x}, {y}: {height}"
            );
            for footprint in [CLOSE_MM, 0.05, FAR_MM] {
                let thread = made.thread(x, y, footprint);
                // The shading may add .01 mm of the fibres' own relief.
                let off = (f64::from(thread.height_mm) - height).abs();
                assert!(off <= 0.0101, "{name} at {x}, {y}: {off}");
                let f = thread.fibre;
                let length = (f.x * f.x + f.y * f.y + f.z * f.z).sqrt();
                assert!(
                    (length - 1.0).abs() < 1e-5,
                    "{name}: a fibre's length is {length}"
                );
                assert!(
                    thread.slope.x.abs() <= 3.0 && thread.slope.y.abs() <= 3.0,
                    "{name}"
                );
                for value in [
                    thread.colour.x,
                    thread.colour.y,
                    thread.colour.z,
                    thread.blur,
                ] {
                    assert!(
                        value.is_finite() && (0.0..=1.0).contains(&value),
                        "{name}: {value}"
                    );
                }
                if thread.part == PILE {
                    assert!(f.z > 0.0, "{name}: pile stands up");
                } else {
                    assert_eq!(f.z, 0.0, "{name}: yarns lie in the plane");
                }
            }
        }
    }
}

/// Calculus: slopes are what differences of the height come to. The reach of a difference sets the
/// tolerance: half the step times the greatest bend, and an f32's rounding over the step.
#[test]
fn slopes_are_those_of_the_height() {
    // Wide detail only, so that the shading's own relief is out of it.
    for (made, bound) in [
        (made_velvet(), 0.01),
        (made_corduroy(), 0.03),
        (made_leather(), 0.06),
        (made_sequins(), 0.02),
    ] {
        let step = 0.004;
        let (mut seen, mut wrong) = (0, 0);
        for (x, y) in places(20_000, 120.0) {
            let here = made.thread(x, y, FAR_MM);
            let steep = here.slope.x.abs().max(here.slope.y.abs());
            if here.part != PILE && here.part != SOLID || steep > 1.2 {
                continue;
            }
            let sides = [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)];
            let heights = sides.map(|(dx, dy)| made.height(x + dx, y + dy));
            let middle = made.height(x, y);
            // An edge or a crease between: both sides' slopes must be alike.
            let bend_x = (heights[0] + heights[1] - 2.0 * middle).abs() / step;
            let bend_y = (heights[2] + heights[3] - 2.0 * middle).abs() / step;
            if bend_x > 0.05 || bend_y > 0.05 {
                continue;
            }
            seen += 1;
            let by_x = (heights[0] - heights[1]) / (2.0 * step);
            let by_y = (heights[2] - heights[3]) / (2.0 * step);
            let off = (by_x - f64::from(here.slope.x))
                .abs()
                .max((by_y - f64::from(here.slope.y)).abs());
            if off > bound {
                wrong += 1;
            }
        }
        let name = made.name;
        assert!(seen > 8000, "{name}: {seen} places looked at");
        // A disc's dents (.017 at most) are the shading's alone; a rim across an edge: one in a hundred.
        assert!(
            wrong * 100 <= seen,
            "{name}: {wrong} of {seen} slopes are off"
        );
    }
}

/// Trade (common practice): corduroy is counted in wales to an inch. An inch is 25.4 mm.
#[test]
fn corduroy_has_its_wales() {
    for wales in [6.0, 11.0, 21.0] {
        let spec = Corduroy {
            wales_per_inch: wales,
            ..corduroy()
        };
        let made = made!("corduroy", spec, corduroy_height, corduroy_thread);
        let inches = 40.0;
        let mut grooves = 0;
        let mut in_groove = false;
        let mut groove_share = 0.0;
        let steps = 400_000;
        for i in 0..steps {
            let x = 25.4 * inches * f64::from(i) / f64::from(steps) - 500.0;
            let groove = made.thread(x, 13.7, CLOSE_MM).part == WEFT;
            if groove {
                groove_share += 1.0 / f64::from(steps);
            }
            if groove && !in_groove {
                grooves += 1;
            }
            in_groove = groove;
        }
        // Counting whole grooves over a length is right to one, and wales wander by a few hundredths.
        let want: f64 = wales * inches;
        assert!(
            (f64::from(grooves) - want).abs() <= 1.5,
            "{grooves} wales, {want} wanted"
        );
        // The groove has what the cord leaves: 14 %.
        assert!((groove_share - 0.14).abs() < 0.005, "{groove_share}");
    }
}

/// Definition: the nap key is where the fibres point, the lean key how far; the means over the cloth
/// are those (their spread is even about them). The tolerance is over three standard errors: patches of
/// some 25 mm over 2 m are 6400 draws of a spread below .3, .004 an error.
#[test]
fn velvet_lies_as_its_keys_say() {
    for (nap_deg, lean_deg) in [(270.0_f64, 23.0_f64), (30.0, 35.0)] {
        let spec = Velvet {
            nap_deg,
            lean_deg,
            wander_deg: 0.0,
            crush: 0.0,
            ..velvet(0.0)
        };
        let made = made!("velvet", spec, velvet_height, velvet_thread);
        let (mut x_sum, mut y_sum) = (0.0, 0.0);
        let count = 60_000;
        for (x, y) in places(count, 2000.0) {
            let f = made.thread(x, y, CLOSE_MM).fibre;
            x_sum += f64::from(f.x / f.z) / f64::from(count);
            y_sum += f64::from(f.y / f.z) / f64::from(count);
        }
        let want = lean_deg.to_radians().tan();
        let nap = nap_deg.to_radians();
        assert!((x_sum - want * nap.cos()).abs() < 0.012, "{x_sum}");
        assert!((y_sum - want * nap.sin()).abs() < 0.012, "{y_sum}");
    }
}

/// A stroke turns the nap where it runs and leaves all else alone; as many as are asked for.
#[test]
fn strokes_turn_the_nap_here_and_there() {
    let plain = made!("velvet", velvet(0.0), velvet_height, velvet_thread);
    let stroked = made!("velvet", velvet(25.0), velvet_height, velvet_thread);
    let (mut turned, mut shrunk) = (0.0, 0.0_f64);
    let count = 60_000;
    for (x, y) in places(count, 3000.0) {
        let lean = |f: KernelVec3<f32>| (f64::from(f.x / f.z), f64::from(f.y / f.z));
        // Without its single fibres' own lean.
        let (ax, ay) = lean(plain.thread(x, y, FAR_MM).fibre);
        let (bx, by) = lean(stroked.thread(x, y, FAR_MM).fibre);
        let angle = (ax * by - ay * bx).atan2(ax * bx + ay * by).abs();
        if angle > 0.5 {
            turned += 1.0 / f64::from(count);
        }
        shrunk = shrunk.max(ax.hypot(ay) - bx.hypot(by));
    }
    // 25 strokes a square metre, each at most 150 x 30.6 mm where it turns by over half a radian (of two,
    // by exp(-(d/13)^2)): at most 11.5 % of the cloth; and something of it.
    assert!((0.005..=0.115).contains(&turned), "{turned}");
    // Turned, never shrunk: a lean through upright would draw an outline on flat cloth.
    assert!(shrunk < 1e-3, "{shrunk}");
}

/// Geometry: one disc to spacing x row. Discs are counted by their holes.
#[test]
fn sequins_are_as_many_as_their_grid() {
    let spec =
        sequins("thread_mm = 0.0\nhole_mm = 0.6\nmisplaced_mm = 0.0\nspacing_mm = 8\nrow_mm = 6");
    let made = made!("sequins", spec, sequins_height, sequins_thread);
    let (mut disc, mut ground) = (0.0, 0.0);
    let count = 200_000;
    for (x, y) in places(count, 480.0) {
        match made.thread(x, y, CLOSE_MM).part {
            SOLID => disc += 1.0 / f64::from(count),
            WARP => ground += 1.0 / f64::from(count),
            part => panic!("part {part}"),
        }
    }
    // Discs of 5 mm with holes of .6 mm, none over another, one to 48 square millimetres.
    let want = std::f64::consts::PI * (2.5_f64.powi(2) - 0.3_f64.powi(2)) / 48.0;
    // Three standard errors of even draws; the sequence used errs far less.
    assert!(
        (disc - want).abs() < 3.0 * (0.25 / f64::from(count)).sqrt(),
        "{disc}, {want}"
    );
    assert!((disc + ground - 1.0).abs() < 1e-9);
}

/// Statistics: tilts have a heavy tail, fourth moment over squared second above a normal one's 3
/// (Pearson 1905), and stay under what their keys add up to. Read off discs that none covers.
#[test]
fn few_sequins_stand_far_off() {
    let spec = sequins(
        "thread_mm = 0.0\nhole_mm = 0.0\nmisplaced_mm = 0.0\nspacing_mm = 8\nrow_mm = 6\ncup_deg = 0\nhang_deg = 0\ntilt_deg = 4.5\nstray_deg = 19",
    );
    let made = made!("sequins", spec, sequins_height, sequins_thread);
    let (mut second, mut fourth, mut count) = (0.0, 0.0, 0.0);
    let most = 4.5_f64.to_radians().tan() + 19.0_f64.to_radians().tan();
    for row in -60_i32..60 {
        for column in -60_i32..60 {
            let x = 8.0 * (f64::from(column) + 0.5 + 0.5 * f64::from(row & 1));
            let y = 6.0 * (f64::from(row) + 0.5);
            // Differences of the height over a millimetre each way: free of a disc's dents.
            let by_x = 0.5 * (made.height(x + 1.0, y) - made.height(x - 1.0, y));
            let by_y = 0.5 * (made.height(x, y + 1.0) - made.height(x, y - 1.0));
            for tilt in [by_x, by_y] {
                assert!(tilt.abs() <= most + 1e-3, "{tilt}");
                second += tilt * tilt;
                fourth += tilt.powi(4);
                count += 1.0;
            }
        }
    }
    let kurtosis = (fourth / count) / (second / count).powi(2);
    // a h + b h^7 with h even in -1..1 has 5.4 (a closed form of its moments); the standard error over
    // 28,800 draws is below .1.
    assert!((5.0..=5.9).contains(&kurtosis), "{kurtosis}");
}

/// Statistics: nothing repeats. Correlation of a cloth's height with itself moved by up to 30 cm, over
/// 900 places a shift: three standard errors of independent draws are .1; slow noise leaves fewer.
#[test]
fn nothing_repeats_within_thirty_centimetres() {
    for made in [made_velvet(), made_leather()] {
        let signal: Vec<(f64, f64, f64)> = places(2500, 700.0)
            .map(|(x, y)| (x, y, made.height(x, y)))
            .collect();
        let mean = signal.iter().map(|s| s.2).sum::<f64>() / signal.len() as f64;
        let variance =
            signal.iter().map(|s| (s.2 - mean).powi(2)).sum::<f64>() / signal.len() as f64;
        assert!(variance > 0.0);
        for n in 0..600 {
            // Shifts from 5 mm on, where the largest cells have died out, both ways.
            let far = 5.0 + 295.0 * f64::from(n / 2) / 299.0;
            let (dx, dy) = if n % 2 == 0 { (far, 0.0) } else { (0.0, far) };
            let sum: f64 = signal
                .iter()
                .map(|s| (s.2 - mean) * (made.height(s.0 + dx, s.1 + dy) - mean))
                .sum();
            let r = sum / signal.len() as f64 / variance;
            // Three standard errors are .06; of 600 shifts the largest by chance is at four, .08; the
            // hide's slow rise adds .1 at short ones. A tile would give 1.
            assert!(r.abs() < 0.2, "{}: {r} at {dx}, {dy}", made.name);
        }
    }
}

/// Numbers out of range are refused with their key.
#[test]
fn wrong_numbers_are_refused() {
    fn key(result: Result<(), FabricError>) -> &'static str {
        match result {
            Err(FabricError::Range { key, .. }) => key,
            other => panic!("{other:?}"),
        }
    }
    assert_eq!(
        key(Velvet {
            lean_deg: 89.0,
            ..velvet(0.0)
        }
        .check()),
        "lean_deg"
    );
    // So many strokes of this length would lie over one another.
    assert_eq!(key(velvet(3000.0).check()), "strokes_per_sqm");
    assert_eq!(
        key(Corduroy {
            wales_per_inch: 0.0,
            ..corduroy()
        }
        .check()),
        "wales_per_inch"
    );
    assert_eq!(
        key(Corduroy {
            pile_mm: f64::NAN,
            ..corduroy()
        }
        .check()),
        "pile_mm"
    );
    assert_eq!(
        key(Leather {
            grain_mm: 1.0,
            ..leather()
        }
        .check()),
        "grain_mm"
    );
    // Rows so close that a point would lie under three of them.
    assert_eq!(key(sequins("row_mm = 2.0").check()), "row_mm");
}
