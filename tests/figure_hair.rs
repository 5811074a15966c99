//! Hair: grown on the figure, checked against what hair is.

use glam::{DVec3, Vec2, Vec3, dvec3};
use std::collections::hash_map::DefaultHasher;
use std::hash::{Hash, Hasher};
use std::sync::OnceLock;
use swatchlight::figure::hair::{BodyScalp, HairColour, Hairdo, Scalp, Style, grow};
use swatchlight::figure::{Body, Build, Field, Part, Person, Pose};

const STYLES: [Style; 5] = [
    Style::TiedBack,
    Style::Bun,
    Style::Loose,
    Style::Curled,
    Style::Short,
];

fn figure() -> Body {
    let pose = Pose::named("front").expect("a shipped pose");
    Body::new(&Person::new(Build::Woman), &pose)
}

/// Every style at its usual length, grown once for all tests.
fn usual() -> &'static [(Style, Vec<Part>)] {
    static ALL: OnceLock<Vec<(Style, Vec<Part>)>> = OnceLock::new();
    ALL.get_or_init(|| {
        let body = figure();
        let scalp = BodyScalp::new(&body);
        let grown = |style| grow(&Hairdo::new(style, HairColour::Brown), &scalp, &body);
        STYLES.map(|style| (style, grown(style))).into()
    })
}

fn hair(hairdo: &Hairdo, body: &Body) -> Part {
    grow(hairdo, &BodyScalp::new(body), body).swap_remove(0)
}

/// Middle line and (u, v) of every strand, in metres and centimetres.
fn strands(part: &Part) -> Vec<Vec<(DVec3, f64)>> {
    let mut all: Vec<Vec<(DVec3, f64)>> = Vec::new();
    for pair in 0..part.positions_m.len() / 2 {
        let [a, b] = [2 * pair, 2 * pair + 1];
        let middle = 0.5 * (part.positions_m[a].as_dvec3() + part.positions_m[b].as_dvec3());
        let u = f64::from(part.uvs_cm[a].x);
        if u == 0.0 {
            all.push(Vec::new());
        }
        all.last_mut()
            .expect("a part starts at a root")
            .push((middle, u));
    }
    all
}

#[test]
fn every_style_keeps_its_budget_and_ribbons_are_well_formed() {
    for (style, parts) in usual() {
        let names: Vec<&str> = parts.iter().map(|p| p.name.as_str()).collect();
        assert_eq!(names, ["hair", "brows", "lashes"]);
        let limit = match style {
            Style::Loose | Style::Curled => 500_000,
            Style::TiedBack => 330_000,
            Style::Bun | Style::Short => 300_000,
        };
        let count = parts[0].triangles.len();
        assert!(
            (limit / 2..=limit).contains(&count),
            "{style:?}: {count} triangles"
        );
        for part in parts {
            well_formed(part, *style);
        }
    }
}

fn well_formed(part: &Part, style: Style) {
    let n = part.positions_m.len();
    assert!(n > 0 && n.is_multiple_of(2));
    assert_eq!(
        [part.normals.len(), part.uvs_cm.len(), part.paint.len()],
        [n; 3]
    );
    assert!(part.positions_m.iter().all(|p| p.is_finite()));
    for normal in &part.normals {
        assert!((normal.length() - 1.0).abs() < 1e-4, "{style:?}: {normal}");
    }
    for paint in &part.paint {
        assert!(paint[..3].iter().all(|c| (0.0..1.0).contains(c)));
    }
    assert!(part.triangles.iter().flatten().all(|&v| (v as usize) < n));
    for pair in part.uvs_cm.chunks(2) {
        assert_eq!([pair[0].y, pair[1].y], [0.0, 1.0]);
        assert_eq!(pair[0].x, pair[1].x);
    }
    // Scalp hair is 0.06 to 0.08 mm thick (dermatology handbooks, from memory);
    // a ribbon stands for a few hairs, not for a strip of cloth.
    for pair in part.positions_m.chunks(2) {
        let breadth_mm = 1e3 * pair[0].distance(pair[1]);
        assert!(breadth_mm < 0.5, "{style:?}: {breadth_mm} mm");
    }
    // u is the length of hair from the root: exact on the middle line to 1 %.
    for strand in strands(part) {
        assert!(strand.len() >= 4);
        for w in strand.windows(2) {
            let ((p, u), (q, v)) = (w[0], w[1]);
            let step_cm = p.distance(q) * 100.0;
            // 1 % of the step, and what single precision rounds off at head height.
            assert!(
                (v - u - step_cm).abs() < 0.01 * step_cm + 5e-5,
                "{style:?} {}: {u} to {v} over {step_cm} cm",
                part.name
            );
        }
    }
}

#[test]
fn nothing_lies_inside_the_body_and_hair_starts_on_the_scalp() {
    let body = figure();
    let scalp = BodyScalp::new(&body);
    for (style, parts) in usual() {
        let part = &parts[0];
        let mut deepest_mm: f64 = 0.0;
        for p in part.positions_m.iter().step_by(3) {
            let p_cm = p.as_dvec3() * 100.0;
            deepest_mm = deepest_mm.max(-10.0 * body.distance(p_cm));
        }
        assert!(deepest_mm < 1.0, "{style:?}: {deepest_mm} mm inside");
        let all = strands(part);
        let on_scalp = |s: &Vec<(DVec3, f64)>| {
            let root = scalp.to_head_mm(s[0].0 * 100.0);
            scalp.distance_mm(root).abs() < 0.2 && scalp.behind_hairline_mm(root) > -4.0
        };
        let rooted = all.iter().filter(|s| on_scalp(s)).count() as f64 / all.len() as f64;
        match style {
            // Tail and coil go on from the tie.
            Style::TiedBack | Style::Bun => assert!(rooted > 0.7, "{style:?}: {rooted}"),
            _ => assert_eq!(rooted, 1.0, "{style:?}"),
        }
    }
}

#[test]
fn loose_hair_lies_outside_a_turned_body_too() {
    let body = Body::new(
        &Person::new(Build::Man),
        &Pose::named("turning").expect("a shipped pose"),
    );
    let mut hairdo = Hairdo::new(Style::Loose, HairColour::Grey);
    hairdo.density = 0.3;
    let part = hair(&hairdo, &body);
    let deepest_mm = part
        .positions_m
        .iter()
        .map(|p| -10.0 * body.distance(p.as_dvec3() * 100.0))
        .fold(0.0, f64::max);
    assert!(deepest_mm < 1.0, "{deepest_mm} mm inside");
}

#[test]
fn strands_are_as_long_as_described() {
    let body = figure();
    let longest = |hairdo: &Hairdo| {
        let mut lengths: Vec<f64> = strands(&hair(hairdo, &body))
            .iter()
            .map(|s| s[s.len() - 1].1)
            .collect();
        lengths.sort_by(f64::total_cmp);
        // One in a hundred may stray.
        lengths[lengths.len() * 99 / 100]
    };
    for (style, length_cm) in [
        (Style::Loose, 26.0),
        (Style::Loose, 45.0),
        (Style::TiedBack, 30.0),
        (Style::Curled, 36.0),
        (Style::Short, 4.0),
        (Style::Short, 8.0),
    ] {
        let mut hairdo = Hairdo::new(style, HairColour::Blond);
        hairdo.length_cm = length_cm;
        hairdo.density = 0.4;
        let measured = longest(&hairdo);
        // Common practice: a cut is graded, so that ends come 10 to 15 % apart.
        assert!(
            (0.85..1.12).contains(&(measured / length_cm)),
            "{style:?}: {measured} cm instead of {length_cm}"
        );
    }
}

#[test]
fn wind_carries_the_ends_along_and_more_wind_further() {
    let body = figure();
    let toward = [0.8, 0.0, -0.6];
    for style in [Style::Loose, Style::TiedBack] {
        let downwind_cm = |strength: f64| {
            let mut hairdo = Hairdo::new(style, HairColour::Brown).in_wind(toward, strength);
            hairdo.density = 0.3;
            let tips: Vec<f64> = strands(&hair(&hairdo, &body))
                .iter()
                .filter(|s| s[s.len() - 1].1 > 12.0)
                .map(|s| (s[s.len() - 1].0 * 100.0).dot(DVec3::from(toward)))
                .collect();
            tips.iter().sum::<f64>() / tips.len() as f64
        };
        let carried = [0.0, 0.3, 0.6, 1.0].map(downwind_cm);
        for pair in carried.windows(2) {
            assert!(pair[1] > pair[0] + 0.5, "{style:?}: {carried:?}");
        }
    }
}

/// Share of the scalp seen along `view` that hair covers, and the share in the
/// barest patch of 1 cm².
fn covered(part: &Part, scalp: &dyn Scalp, view: DVec3) -> (f64, f64) {
    const PIXEL_MM: f64 = 0.25;
    const HALF: usize = 460;
    let up = if view.y.abs() > 0.9 {
        DVec3::Z
    } else {
        DVec3::Y
    };
    let right = up.cross(view).normalize();
    let up = view.cross(right);
    let middle = dvec3(0.0, 25.0, -5.0);
    let onto = |p: DVec3| {
        let q = p - middle;
        dvec3(
            q.dot(right) / PIXEL_MM + HALF as f64,
            q.dot(up) / PIXEL_MM + HALF as f64,
            q.dot(view),
        )
    };
    let mut nearest = vec![f64::NEG_INFINITY; 4 * HALF * HALF];
    let corners: Vec<DVec3> = part
        .positions_m
        .iter()
        .map(|p| onto(scalp.to_head_mm(p.as_dvec3() * 100.0)))
        .collect();
    for t in &part.triangles {
        fill(&mut nearest, 2 * HALF, t.map(|v| corners[v as usize]));
    }
    let (mut seen, mut hidden) = (0, 0);
    let mut patches = std::collections::BTreeMap::new();
    for j in (4..2 * HALF).step_by(5) {
        for i in (4..2 * HALF).step_by(5) {
            let at = middle
                + right * ((i as f64 + 0.5 - HALF as f64) * PIXEL_MM)
                + up * ((j as f64 + 0.5 - HALF as f64) * PIXEL_MM);
            let mut p = at + view * 140.0;
            let mut d = f64::INFINITY;
            for _ in 0..60 {
                d = scalp.distance_mm(p);
                p -= view * (0.9 * d);
                if d.abs() < 0.05 || (p - at).dot(view) < -60.0 {
                    break;
                }
            }
            // Behind the thinning edge only.
            if d.abs() > 0.1 || scalp.behind_hairline_mm(p) < 14.0 {
                continue;
            }
            let hit = nearest[j * 2 * HALF + i] > (p - middle).dot(view) - 0.05;
            seen += 1;
            hidden += i32::from(hit);
            let patch: &mut (i32, i32) = patches.entry((i / 40, j / 40)).or_default();
            patch.0 += 1;
            patch.1 += i32::from(hit);
        }
    }
    let barest = patches
        .values()
        .filter(|p| p.0 >= 30)
        .map(|p| f64::from(p.1) / f64::from(p.0))
        .fold(1.0, f64::min);
    assert!(seen > 2000, "{seen} places seen");
    (f64::from(hidden) / f64::from(seen), barest)
}

fn fill(nearest: &mut [f64], wide: usize, [a, b, c]: [DVec3; 3]) {
    let area = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
    let (low, high) = (a.min(b).min(c), a.max(b).max(c));
    let edge = wide as f64 - 1.0;
    if area.abs() < 1e-12 || high.x < 0.0 || high.y < 0.0 || low.x > edge || low.y > edge {
        return;
    }
    for y in low.y.max(0.0) as usize..=high.y.min(edge) as usize {
        for x in low.x.max(0.0) as usize..=high.x.min(edge) as usize {
            let (px, py) = (x as f64 + 0.5, y as f64 + 0.5);
            let v = ((px - a.x) * (c.y - a.y) - (c.x - a.x) * (py - a.y)) / area;
            let w = ((b.x - a.x) * (py - a.y) - (px - a.x) * (b.y - a.y)) / area;
            if v >= 0.0 && w >= 0.0 && v + w <= 1.0 {
                let at = &mut nearest[y * wide + x];
                *at = at.max(a.z + v * (b.z - a.z) + w * (c.z - a.z));
            }
        }
    }
}

#[test]
fn no_bald_patch_shows_from_the_crown_or_the_back() {
    let body = figure();
    let scalp = BodyScalp::new(&body);
    for (style, parts) in usual() {
        let part = &parts[0];
        for (view, name) in [(DVec3::Y, "crown"), (DVec3::NEG_Z, "back")] {
            let (share, barest) = covered(part, &scalp, view);
            assert!(share >= 0.97, "{style:?} from the {name}: {share}");
            // At a parting or a whorl some skin shows on anyone.
            assert!(barest >= 0.45, "{style:?} from the {name}: {barest}");
        }
    }
}

#[test]
fn the_same_hair_grows_whatever_the_number_of_threads() {
    let body = figure();
    let mut hairdo = Hairdo::new(Style::Curled, HairColour::Grey).in_wind([1.0, 0.0, 0.0], 0.3);
    hairdo.density = 0.3;
    let on = |threads| {
        rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a thread pool")
            .install(|| grow(&hairdo, &BodyScalp::new(&body), &body))
    };
    assert_eq!(on(1), on(3));
    let another = Hairdo {
        seed: 2,
        ..hairdo.clone()
    };
    assert_ne!(
        hair(&another, &body).positions_m,
        hair(&hairdo, &body).positions_m
    );
}

#[test]
fn a_hairdo_hashes_by_value_and_numbers_out_of_span_do_no_harm() {
    let hash = |h: &Hairdo| {
        let mut state = DefaultHasher::new();
        h.hash(&mut state);
        state.finish()
    };
    let plain = Hairdo::new(Style::Bun, HairColour::Auburn);
    assert_eq!(hash(&plain), hash(&plain.clone()));
    let zero = plain.clone().in_wind([0.0, 0.0, 1.0], 0.5);
    let minus = plain.clone().in_wind([-0.0, 0.0, 1.0], 0.5);
    assert_eq!((&zero, hash(&zero)), (&minus, hash(&minus)));
    assert_ne!(hash(&plain), hash(&zero));
    let body = figure();
    for (length_cm, density, strength) in [(f64::NAN, 0.2, 9.0), (1e9, -3.0, f64::NAN)] {
        let odd = Hairdo {
            length_cm,
            density,
            ..Hairdo::new(Style::Loose, HairColour::Brown)
        }
        .in_wind([0.0; 3], strength);
        let part = hair(&odd, &body);
        assert!(part.positions_m.iter().all(|p| p.is_finite()));
        assert!(part.normals.iter().all(|n: &Vec3| n.is_finite()));
        assert!(part.uvs_cm.iter().all(|u: &Vec2| u.x <= 75.0));
    }
}

#[test]
fn brows_and_lashes_sit_on_the_face() {
    for build in [Build::Woman, Build::Man] {
        let body = Body::new(
            &Person::new(build),
            &Pose::named("front").expect("a shipped pose"),
        );
        let scalp = BodyScalp::new(&body);
        let parts = grow(&Hairdo::new(Style::Short, HairColour::Brown), &scalp, &body);
        for strand in strands(&parts[1]) {
            for (p, _) in strand {
                let mm = scalp.to_head_mm(p * 100.0);
                assert!(scalp.distance_mm(mm).abs() < 1.5, "brow at {mm}");
                assert!((5.0..36.0).contains(&mm.y) && (6.0..58.0).contains(&mm.x.abs()));
            }
        }
        // Upper lashes are 8 to 12 mm long (ophthalmology handbooks, from memory):
        // they stand out in front of the lid and turn up.
        for strand in strands(&parts[2]) {
            let mm = |k: usize| scalp.to_head_mm(strand[k].0 * 100.0);
            let (root, tip) = (mm(0), mm(strand.len() - 1));
            assert!(scalp.distance_mm(root).abs() < 1.2, "lash at {root}");
            assert!(scalp.distance_mm(tip) > 0.5, "lash into the lid at {root}");
            assert!(strand[strand.len() - 1].1 < 1.2);
        }
    }
}
