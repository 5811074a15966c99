//! Knits, net and lace: their kernels against constructions, closed forms and themselves.

#[path = "common/texels.rs"]
mod texels;

use naga_rust_rt::{Scalar, Vec2};
use swatchlight::fabric::structure::{
    Form,
    knit::{Jersey, Rib},
    lace::Lace,
    net::Net,
};
use swatchlight::scene::{
    kernels::{Kernels, Thread},
    records::*,
};
use texels::Texels as Cloth;

#[derive(Clone, Copy, Debug)]
enum Kind {
    Knit,
    Net,
    Lace,
}

/// Leaves no single fibres, but plies whose slopes still count in full.
const FOOTPRINT_MM: f32 = 0.16;

struct Packed {
    kind: Kind,
    cloth: Cloth,
    form: Form,
}

impl Packed {
    fn height(&self, x: f32, y: f32) -> f32 {
        self.height_over(x, y, UNDER_ALL_MM.0)
    }

    fn height_over(&self, x: f32, y: f32, over_mm: f32) -> f32 {
        let (form, at, over) = (Scalar(self.form.first), Vec2 { x, y }, Scalar(over_mm));
        match self.kind {
            Kind::Knit => self.cloth.knit_height(form, at, over).0,
            Kind::Net => self.cloth.net_height(form, at, over).0,
            Kind::Lace => self.cloth.lace_height(form, at, over).0,
        }
    }

    fn thread(&self, x: f32, y: f32, footprint_mm: f32) -> Thread {
        let (form, at, w) = (Scalar(self.form.first), Vec2 { x, y }, Scalar(footprint_mm));
        match self.kind {
            Kind::Knit => self.cloth.knit_thread(form, at, w),
            Kind::Net => self.cloth.net_thread(form, at, w),
            Kind::Lace => self.cloth.lace_thread(form, at, w),
        }
    }

    fn is_gap(&self, x: f32, y: f32) -> bool {
        self.thread(x, y, 5.0).part == PART_GAP.0
    }
}

/// Even numbers in 0..1 (SplitMix64, Steele et al. 2014).
fn even(count: u64) -> impl Iterator<Item = f32> {
    (0..count).map(|i| {
        let mut z = i
            .wrapping_mul(0x9e37_79b9_7f4a_7c15)
            .wrapping_add(0x1234_5678);
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 40) as f32 / (1u64 << 24) as f32
    })
}

fn places(count: u64, from_mm: f32, size_mm: f32) -> Vec<(f32, f32)> {
    let numbers: Vec<f32> = even(2 * count).collect();
    numbers
        .chunks_exact(2)
        .map(|pair| (from_mm + size_mm * pair[0], from_mm + size_mm * pair[1]))
        .collect()
}

const JERSEY: &str = "loop_length_mm = 2.8\nyarn = { count = \"Ne 30\", width_factor = 1.48, \
                      height_factor = 1.3, colour = [0.4, 0.4, 0.4] }";
const RIB: &str = "wales_per_cm = 8\ncourses_per_cm = 10.9\nyarn = { count = \"Nm 2/20\", \
                   fibre = \"wool\", packing = 0.5, width_factor = 1.0, height_factor = 0.9, \
                   colour = [0.4, 0.1, 0.05] }";
const NET: &str = "hole_mm = 1.55\ncount = \"50 denier\"\ncolour = [0.6, 0.6, 0.6]";
const LACE: &str = "colour = [0.6, 0.6, 0.6]\nnet = { hole_mm = 1.05, count = \"34 denier\", \
                    colour = [0.6, 0.6, 0.6] }";

fn jersey() -> Jersey {
    toml::from_str(JERSEY).expect("a jersey")
}

fn net() -> Net {
    toml::from_str(NET).expect("a net")
}

fn packed(kind: Kind, pack: impl FnOnce(&mut Vec<[f32; 4]>) -> Form) -> Packed {
    // Something before it, so that offsets are seen to be offsets.
    let mut texels = vec![[f32::NAN; 4]; 5];
    let form = pack(&mut texels);
    assert!(form.first >= 5);
    Packed {
        kind,
        cloth: Cloth(texels),
        form,
    }
}

fn all() -> Vec<Packed> {
    let rib: Rib = toml::from_str(RIB).expect("a rib");
    let lace: Lace = toml::from_str(LACE).expect("lace");
    vec![
        packed(Kind::Knit, |t| jersey().pack(3, t).expect("packs")),
        packed(Kind::Knit, |t| rib.pack(4, t).expect("packs")),
        packed(Kind::Net, |t| net().pack(5, t).expect("packs")),
        packed(Kind::Lace, |t| lace.pack(6, t).expect("packs")),
    ]
}

/// Kw 4.2 and Kc 5.5 at loops of 0.5 cm: 8.4 wales, 11.0 courses, 92.4 loops a square centimetre
/// (Munden's constants; GATE 2015, Textile Engineering, question 54, worked answer 92).
#[test]
fn loops_a_square_centimetre_are_mundens() {
    let mut jersey = jersey();
    jersey.loop_length_mm = 5.0;
    jersey.yarn.count = "40 tex".to_owned();
    let geometry = jersey.geometry().expect("a jersey");
    assert!((geometry.wales_per_cm - 8.4).abs() < 1e-3);
    assert!((geometry.courses_per_cm - 11.0).abs() < 1e-3);
    let loops = geometry.wales_per_cm * geometry.courses_per_cm;
    assert!((loops / 92.4 - 1.0).abs() < 1e-3, "{loops}");
}

/// The same counted on the kernel's own surface: rows through legs rise once for each leg, two a
/// wale; columns rise once a course.
#[test]
fn the_kernel_knits_as_many_loops_as_it_is_told() {
    let mut jersey = jersey();
    jersey.stray = 0.0;
    jersey.yarn.unevenness = 0.0;
    let cloth = packed(Kind::Knit, |t| jersey.pack(3, t).expect("packs"));
    let geometry = jersey.geometry().expect("a jersey");
    let (wale, course) = (10.0 / geometry.wales_per_cm, 10.0 / geometry.courses_per_cm);
    // Autocorrelation: the surface comes back after a wale, after a course, and not after half.
    let differ = |dx: f64, dy: f64| {
        let sum: f32 = places(4000, 20.0, 30.0)
            .iter()
            .map(|&(x, y)| (cloth.height(x, y) - cloth.height(x + dx as f32, y + dy as f32)).abs())
            .sum();
        sum / 4000.0
    };
    assert!(differ(wale, 0.0) < 0.002, "{}", differ(wale, 0.0));
    assert!(differ(0.0, course) < 0.002, "{}", differ(0.0, course));
    assert!(differ(0.5 * wale, 0.0) > 0.02);
    assert!(differ(0.0, 0.5 * course) > 0.02);
}

#[test]
fn heights_keep_within_the_form_and_agree() {
    for cloth in all() {
        for (x, y) in places(40_000, -300.0, 600.0) {
            let height = cloth.height(x, y);
            let form = &cloth.form;
            // Asked for over some height, it is the same where it is over that, else at most that.
            let share = (x * 7.3 + y * 3.1).rem_euclid(1.0);
            let over = form.low_mm + (form.high_mm - form.low_mm) * share;
            let asked = cloth.height_over(x, y, over);
            let right = match height > over {
                true => asked == height,
                false => asked <= over,
            };
            assert!(right, "{:?}: {asked} for {height} over {over}", cloth.kind);
            assert!(
                (form.low_mm - 1e-5..=form.high_mm + 1e-5).contains(&height),
                "{:?} {height} {form:?} at {x} {y}",
                cloth.kind
            );
            let thread = cloth.thread(x, y, 0.001);
            // Fibres may stand out by a hundredth.
            assert!(
                (thread.height_mm - height).abs() < 0.0101,
                "{:?}",
                cloth.kind
            );
            let length = thread.fibre.x.hypot(thread.fibre.y);
            assert!((length - 1.0).abs() < 1e-3, "{:?} {length}", cloth.kind);
            assert!((-1.0..=1.0).contains(&thread.across));
        }
    }
}

/// Slopes against differences inside one surface: where the fibre's direction and the place across
/// change little over the step, no edge lies between.
#[test]
fn slopes_are_the_heights_own() {
    for cloth in all() {
        // f32 places tens of millimetres out are good to some nanometres: a step of 4 µm is safe.
        let (step, mut checked, mut wrong) = (0.004, 0, 0);
        for (x, y) in places(20_000, 3.0, 20.0) {
            let here = cloth.thread(x, y, FOOTPRINT_MM);
            if here.part == PART_GAP.0 || here.across.abs() > 0.85 {
                continue;
            }
            let differs = |dx: f32, dy: f32| {
                let (a, b) = (
                    cloth.thread(x - dx, y - dy, FOOTPRINT_MM),
                    cloth.thread(x + dx, y + dy, FOOTPRINT_MM),
                );
                let near = |t: &Thread| {
                    t.part == here.part
                        && (t.across - here.across).abs() < 0.2
                        && t.fibre.x * here.fibre.x + t.fibre.y * here.fibre.y > 0.97
                        && (t.height_mm - here.height_mm).abs() < 0.03
                };
                (near(&a) && near(&b)).then(|| (b.height_mm - a.height_mm) / (2.0 * step))
            };
            let (Some(dx), Some(dy)) = (differs(step, 0.0), differs(0.0, step)) else {
                continue;
            };
            if dx.abs().max(dy.abs()) > 2.5 {
                continue;
            }
            checked += 1;
            let off = (here.slope.x - dx).hypot(here.slope.y - dy);
            if off > 0.1 + 0.12 * dx.hypot(dy) {
                wrong += 1;
            }
        }
        assert!(checked > 500, "{:?} {checked}", cloth.kind);
        // Kinks inside a yarn (where arc meets leg, where lace's cords meet or turn) may catch a few.
        assert!(
            wrong * 12 < checked,
            "{:?} {wrong} of {checked}",
            cloth.kind
        );
    }
}

/// Regular hexagons of width `a`: `2 / (√3 a²)` of them on a unit area. Counted as separate holes of
/// a window with a raster of 25 a millimetre; holes cut by its edge count half (by symmetry).
#[test]
fn net_has_as_many_holes_as_hexagons_have_room() {
    let net = net();
    let cloth = packed(Kind::Net, |t| net.pack(5, t).expect("packs"));
    let (per_mm, size) = (25usize, 500usize);
    let mut open: Vec<bool> = (0..size * size)
        .map(|i| {
            let at = |n: usize| 40.0 + n as f32 / per_mm as f32;
            cloth.is_gap(at(i % size), at(i / size))
        })
        .collect();
    let mut holes = 0.0;
    for start in 0..open.len() {
        if !open[start] {
            continue;
        }
        let (mut pile, mut edge, mut area) = (vec![start], false, 0);
        open[start] = false;
        while let Some(at) = pile.pop() {
            area += 1;
            let (x, y) = (at % size, at / size);
            edge |= x == 0 || y == 0 || x == size - 1 || y == size - 1;
            let beside = [
                (x > 0).then(|| at - 1),
                (x + 1 < size).then(|| at + 1),
                (y > 0).then(|| at - size),
                (y + 1 < size).then(|| at + size),
            ];
            for next in beside.into_iter().flatten() {
                if open[next] {
                    open[next] = false;
                    pile.push(next);
                }
            }
        }
        if area > 40 {
            holes += if edge { 0.5 } else { 1.0 };
        }
    }
    let side_cm = size as f64 / per_mm as f64 / 10.0;
    let wanted = net.holes_per_sqcm() * side_cm * side_cm;
    // Corners and edges: a few holes of some 190.
    assert!((holes / wanted - 1.0).abs() < 0.05, "{holes} of {wanted}");
}

/// Cover counted on the kernel against the closed form of the sides' strips.
#[test]
fn net_hides_what_its_sides_hide() {
    let net = net();
    let cloth = packed(Kind::Net, |t| net.pack(5, t).expect("packs"));
    let count = 60_000;
    let hidden = places(count, 10.0, 150.0)
        .iter()
        .filter(|&&(x, y)| !cloth.is_gap(x, y))
        .count();
    let measured = hidden as f64 / count as f64;
    let closed = net.cover().expect("a net");
    // Three standard errors are 0.004; the closed form leaves out bows and strays.
    assert!((measured - closed).abs() < 0.008, "{measured} {closed}");
}

/// No shift by a whole pattern brings the same cloth back: jersey by its wales and courses, net by
/// its holes, lace by its motifs' lattice.
#[test]
fn nothing_repeats() {
    for (cloth, step_x, step_y) in all()
        .into_iter()
        .zip([0.667, 3.55, 1.55, 18.0])
        .map(|(c, p)| {
            let y = match c.kind {
                Kind::Knit if p < 1.0 => 0.509_09,
                Kind::Knit => 0.917_43,
                Kind::Net => 1.55 * 0.866_03 * 2.0,
                Kind::Lace => 18.0 * 0.87 * 2.0,
            };
            (c, p, y)
        })
    {
        let marks = |dx: f32, dy: f32| -> Vec<f32> {
            places(400, 5.0, 60.0)
                .iter()
                .map(|&(x, y)| cloth.height(x + dx, y + dy))
                .collect()
        };
        let here = marks(0.0, 0.0);
        for k in 1..40 {
            let (dx, dy) = match k % 3 {
                0 => (k as f32 * step_x, 0.0),
                1 => (0.0, k as f32 * step_y),
                _ => (k as f32 * step_x, k as f32 * step_y),
            };
            let there = marks(dx, dy);
            let same = here
                .iter()
                .zip(&there)
                .filter(|(a, b)| (*a - *b).abs() < 1e-4 && (**a - cloth.form.low_mm).abs() > 1e-4);
            let same = same.count();
            assert!(same < 60, "{:?} {same} of 400 at {dx} {dy}", cloth.kind);
        }
    }
}

#[test]
fn numbers_out_of_range_are_named() {
    let mut jersey = jersey();
    jersey.loop_length_mm = f64::NAN;
    assert!(
        jersey
            .check()
            .unwrap_err()
            .to_string()
            .contains("loop_length_mm")
    );
    let mut net = net();
    net.count = "50".to_owned();
    assert!(net.check().unwrap_err().to_string().contains("count"));
    net.count = "50 denier".to_owned();
    net.hole_mm = 0.31;
    net.count = "500 denier".to_owned();
    assert!(net.check().is_err());
    let unknown = toml::from_str::<Lace>("colour = [1, 1, 1]\nholes = 3");
    assert!(unknown.is_err());
}
