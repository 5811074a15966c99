//! The body against published anthropometry, its poses, and its pose files.

use glam::{DVec3, dvec3};
use proptest::prelude::*;
use swatchlight::figure::{
    ArmAngles, Block, Body, Build, Field, Measures, Person, Pose, Reach, Region, Shod,
};

const BUILDS: [Build; 2] = [Build::Woman, Build::Man];

fn person(build: Build, size: &str) -> Person {
    Person::new(build).sized(size).unwrap()
}

fn near(what: &str, got: f64, want: f64, part: f64) {
    let off = got / want - 1.0;
    assert!(
        off.abs() <= part,
        "{what}: {got:.2}, published {want:.2}, off by {:.1} %",
        100.0 * off
    );
}

/// Gordon et al. 2014, 2012 Anthropometric Survey of U.S. Army Personnel
/// (NATICK/TR-15/007): means in centimetres, women then men.
#[test]
fn the_survey_figures_meet_the_survey() {
    for (i, build) in BUILDS.into_iter().enumerate() {
        let m = Measures::of(&person(build, "survey mean"));
        let rows: [(&str, f64, [f64; 2], f64); 20] = [
            ("stature", m.stature, [162.85, 175.62], 0.002),
            ("cervicale height", m.nape_height, [139.57, 151.73], 0.02),
            ("acromial height", m.shoulder_height, [133.51, 144.07], 0.02),
            (
                "crotch height (fractions .480 and .482)",
                m.inside_leg,
                [78.17, 84.65],
                0.02,
            ),
            (
                "knee height, midpatella",
                m.knee_height,
                [44.90, 48.84],
                0.02,
            ),
            ("chest", m.chest, [94.69, 105.87], 0.02),
            ("waist at the navel", m.navel, [86.09, 94.06], 0.02),
            ("buttock", m.hip, [102.12, 101.95], 0.02),
            ("neck", m.neck, [32.98, 39.76], 0.02),
            ("head", m.head, [56.11, 57.44], 0.02),
            ("biceps", m.upper_arm, [30.56, 35.81], 0.02),
            ("forearm", m.forearm, [26.41, 31.01], 0.02),
            ("thigh", m.thigh, [61.61, 62.51], 0.02),
            ("calf", m.calf, [37.33, 39.23], 0.02),
            (
                "biacromial breadth",
                m.shoulder_breadth,
                [36.53, 41.57],
                0.02,
            ),
            ("bideltoid breadth", m.across_arms, [45.03, 51.04], 0.02),
            ("chest depth", m.chest_depth, [24.74, 25.38], 0.02),
            (
                "shoulder-elbow length",
                m.shoulder_elbow,
                [33.43, 36.37],
                0.02,
            ),
            (
                "radiale-stylion length",
                m.forearm_length,
                [24.13, 26.79],
                0.02,
            ),
            // One trunk table a build gives all sizes their shape; the hips are the price.
            ("hip breadth", m.hip_breadth, [35.38, 34.57], 0.045),
        ];
        for (what, got, want, part) in rows {
            near(&format!("{} {what}", build.word()), got, want[i], part);
        }
    }
}

/// Drillis and Contini 1966 (fractions of stature, from memory).
#[test]
fn hands_feet_and_heads_are_in_proportion() {
    for build in BUILDS {
        let m = Measures::of(&person(build, "M"));
        near("hand length", m.hand_length / m.stature, 0.108, 0.02);
        near("foot length", m.foot_length / m.stature, 0.152, 0.03);
        // A shop figure is cut a little over the common 7.7 heads.
        let heads = m.stature / m.head_height;
        assert!((7.6..8.3).contains(&heads), "{heads:.2} heads");
    }
}

/// Chest intervals of the letter codes of EN 13402-3 (from memory), in centimetres.
#[test]
fn letter_codes_mean_what_they_say() {
    let ranges = [
        [(82.0, 90.0), (90.0, 98.0), (98.0, 106.0), (107.0, 119.0)],
        [(86.0, 94.0), (94.0, 102.0), (102.0, 110.0), (110.0, 118.0)],
    ];
    for (build, ranges) in BUILDS.into_iter().zip(ranges) {
        let mut last: Option<Measures> = None;
        for (size, (lo, hi)) in Person::sizes(build).iter().zip(ranges) {
            let m = Measures::of(&person(build, &size.name));
            let name = format!("{} {}", build.word(), size.name);
            assert!((lo..=hi).contains(&m.chest), "{name}: chest {:.1}", m.chest);
            assert!(
                (m.stature - 100.0 * size.stature_m).abs() < 0.2,
                "{name}: {:.1}",
                m.stature
            );
            // Common practice: a tailor's drop of 14 to 18 for men, a dress form's of 22 to 26.
            let drop = m.chest - m.waist;
            let usual = if build == Build::Man {
                14.0..18.0
            } else {
                21.0..26.0
            };
            assert!(usual.contains(&drop), "{name}: drop {drop:.1}");
            if let Some(l) = last {
                assert!(
                    m.waist > l.waist && m.hip > l.hip && m.stature > l.stature,
                    "{name}"
                );
            }
            last = Some(m);
        }
    }
}

/// First height at which `solid` is met going up from under the floor, over a patch.
fn lowest(solid: &dyn Fn(DVec3) -> f64, middle: DVec3, reach: f64) -> f64 {
    let mut best = f64::INFINITY;
    let n = 24;
    for i in -n..=n {
        for k in -n..=n {
            let step = reach / f64::from(n);
            let mut p = dvec3(
                middle.x + f64::from(i) * step,
                -3.0,
                middle.z + f64::from(k) * step,
            );
            for _ in 0..60 {
                let d = solid(p);
                if d < 1e-3 {
                    best = best.min(p.y);
                    break;
                }
                p.y += 0.7 * d;
                if p.y > 4.0 {
                    break;
                }
            }
        }
    }
    best
}

#[test]
fn feet_stand_on_the_floor() {
    let wear = [Shod::Bare, Shod::Pumps, Shod::Flats, Shod::Welted];
    for name in Pose::names() {
        for (build, shod) in BUILDS.into_iter().cycle().zip(wear) {
            let body = Body::new(&person(build, "M").shod(shod), &Pose::named(name).unwrap());
            let shoes = body.shoes();
            assert_eq!(shoes.is_some(), shod != Shod::Bare);
            let solid = |p: DVec3| {
                let skin = body.leg(0, p).min(body.leg(1, p));
                shoes.as_ref().map_or(skin, |s| skin.min(s.distance(p)))
            };
            for side in 0..2 {
                let j = body.joints();
                let middle = j.ankle[side].lerp(j.toe[side], 0.6);
                let y = lowest(&solid, middle, 14.0);
                assert!(
                    y.abs() < 0.12,
                    "{name} {shod:?} side {side}: lowest at {y:.2} cm"
                );
            }
        }
    }
}

/// Skin must not show through a shoe below its rim.
#[test]
fn feet_stay_inside_their_shoes() {
    for (build, shod) in [
        (Build::Woman, Shod::Pumps),
        (Build::Woman, Shod::Flats),
        (Build::Man, Shod::Welted),
    ] {
        let body = Body::new(&person(build, "M").shod(shod), &Pose::upright());
        let shoes = body.shoes().unwrap();
        let j = body.joints();
        // Along rays from the ball of the foot outward, the shoe ends after the foot.
        let ball = j.ankle[0].lerp(j.toe[0], 0.75).with_y(2.6);
        for step in 0..48 {
            let angle = f64::from(step) * std::f64::consts::TAU / 48.0;
            let way = dvec3(angle.cos(), 0.0, angle.sin());
            if way.x < -0.3 {
                // The other foot stands there.
                continue;
            }
            let out = |solid: &dyn Fn(DVec3) -> f64| {
                let mut r = 26.0;
                while r > 0.0 && solid(ball + way * r) > 1e-3 {
                    r -= 0.02;
                }
                r
            };
            let foot = out(&|p| body.leg(0, p));
            let shoe = out(&|p| shoes.distance(p));
            assert!(
                foot < shoe,
                "{shod:?} at {angle:.2}: foot {foot:.2}, shoe {shoe:.2}"
            );
        }
    }
}

/// Deepest overlap of two solids within a box, in centimetres; negative is a gap.
fn overlap(a: &dyn Fn(DVec3) -> f64, b: &dyn Fn(DVec3) -> f64, middle: DVec3, half: f64) -> f64 {
    let mut worst = f64::NEG_INFINITY;
    let n = (half / 0.4) as i32;
    for i in -n..=n {
        for j in -n..=n {
            for k in -n..=n {
                let p = middle + dvec3(f64::from(i), f64::from(j), f64::from(k)) * 0.4;
                let d = a(p);
                if d < 0.6 {
                    worst = worst.max(-d.max(b(p)));
                }
            }
        }
    }
    worst
}

#[test]
fn a_hand_on_the_hip_touches_and_does_not_sink() {
    for build in BUILDS {
        for size in Person::sizes(build) {
            let pose = Pose::named("hand-on-hip").unwrap();
            let body = Body::new(&person(build, &size.name), &pose);
            let j = body.joints();
            let middle = j.wrist[0].lerp(j.fingertip[0], 0.5);
            let hand = |p: DVec3| body.hand(0, p);
            let trunk = |p: DVec3| body.trunk_and_legs(p);
            let deep = overlap(&hand, &trunk, middle, 12.0);
            let name = format!("{} {}", build.word(), size.name);
            assert!(deep < 0.12, "{name}: sinks {deep:.2} cm");
            assert!(deep > -0.25, "{name}: {:.2} cm off the hip", -deep);
        }
    }
}

#[test]
fn crossed_arms_rest_without_passing_through_each_other() {
    for build in BUILDS {
        for size in Person::sizes(build) {
            let pose = Pose::named("arms-crossed").unwrap();
            let body = Body::new(&person(build, &size.name), &pose);
            let j = body.joints();
            let middle = 0.25 * (j.wrist[0] + j.wrist[1] + j.elbow[0] + j.elbow[1]);
            let name = format!("{} {}", build.word(), size.name);
            let deep = overlap(&|p| body.arm(0, p), &|p| body.arm(1, p), middle, 26.0);
            assert!(deep < 0.1, "{name}: arms cut {deep:.2} cm into each other");
            // The right arm lies on the left one, or on the chest where that is fuller.
            let under = |p: DVec3| body.arm(0, p).min(body.trunk_and_legs(p));
            let gap = -overlap(&|p| body.forearm(1, p), &under, middle, 26.0);
            let gap = gap.min(-deep);
            // Half a centimetre of a sleeveless arm is a shadow, not a gap.
            assert!(gap < 0.5, "{name}: the right arm hovers {gap:.2} cm off");
            for side in 0..2 {
                let hand = overlap(
                    &|p| body.hand(side, p),
                    &|p| body.trunk_and_legs(p),
                    j.wrist[side].lerp(j.fingertip[side], 0.5),
                    12.0,
                );
                assert!(hand < 0.1, "{name}: hand {side} sinks {hand:.2} cm");
            }
        }
    }
}

#[test]
fn hanging_arms_clear_the_body_in_every_size() {
    for build in BUILDS {
        for size in Person::sizes(build) {
            for name in ["front", "square", "walking"] {
                let body = Body::new(&person(build, &size.name), &Pose::named(name).unwrap());
                let j = body.joints();
                for side in 0..2 {
                    let deep = overlap(
                        &|p| body.hand(side, p),
                        &|p| body.trunk_and_legs(p),
                        j.wrist[side].lerp(j.fingertip[side], 0.5),
                        12.0,
                    );
                    assert!(
                        deep < 0.0,
                        "{} {} {name}: {deep:.2} cm",
                        build.word(),
                        size.name
                    );
                }
            }
        }
    }
}

#[test]
fn a_seated_figure_bears_on_its_block() {
    for build in BUILDS {
        let pose = Pose::named("seated").unwrap();
        let body = Body::new(&person(build, "L"), &pose);
        let block: Block = body.seat().unwrap();
        let middle = dvec3(block.centre_cm.x, block.top_cm, block.centre_cm.y);
        let want = pose.seat_cm.unwrap() * body.scale();
        assert!((block.top_cm - want).abs() < 1e-9);
        let mut bearing = 0;
        for i in -14..=14 {
            for k in -14..=14 {
                let at = middle + dvec3(f64::from(i), 0.0, f64::from(k));
                // Nothing of the body inside the block, and plenty just over it.
                let inside = at - DVec3::Y * 0.5;
                if block.distance(inside) < -0.4 {
                    assert!(body.distance(inside) > 0.0, "body in the block at {inside}");
                }
                if body.distance(at + DVec3::Y * 0.3) < 0.0 {
                    bearing += 1;
                }
            }
        }
        assert!(
            bearing > 250,
            "{} bears on {bearing} cm² only",
            build.word()
        );
    }
    assert!(
        Body::new(&person(Build::Man, "M"), &Pose::named("front").unwrap())
            .seat()
            .is_none()
    );
}

#[test]
fn a_turned_figure_is_the_same_figure() {
    let mut pose = Pose::named("front").unwrap();
    let person = person(Build::Woman, "M");
    let front = Body::new(&person, &pose);
    pose.turn_deg = 180.0;
    let back = Body::new(&person, &pose);
    for i in 0..200 {
        let t = f64::from(i);
        let p = dvec3(30.0 * (t * 0.7).sin(), 0.85 * t, 20.0 * (t * 1.3).cos());
        let q = dvec3(-p.x, p.y, -p.z);
        let (a, b) = (front.distance(p), back.distance(q));
        assert!((a - b).abs() < 1e-6, "{a} {b} at {p}");
    }
}

#[test]
fn the_field_is_close_to_a_distance_at_the_skin() {
    let body = Body::new(&person(Build::Woman, "M"), &Pose::named("front").unwrap());
    let (mut tried, mut steep) = (0, 0);
    for i in 0..4000 {
        let t = f64::from(i);
        let from = dvec3(
            60.0 * (t * 0.37).sin(),
            165.0 * (t * 0.618).fract(),
            60.0 * (t * 0.37).cos(),
        );
        let aim = dvec3(2.0, from.y, 0.0);
        let way = (aim - from).normalize();
        let mut p = from;
        for _ in 0..200 {
            p += way * 0.6 * body.distance(p);
        }
        if body.distance(p).abs() < 1e-3 {
            tried += 1;
            let slope = body.gradient(p, 0.05).length();
            steep += u32::from(!(0.55..1.25).contains(&slope));
        }
    }
    assert!(tried > 2500, "{tried}");
    assert!(steep * 200 < tried, "{steep} of {tried}");
}

#[test]
fn regions_are_where_they_should_be() {
    let body = Body::new(&person(Build::Man, "L"), &Pose::upright());
    let j = body.joints();
    for side in 0..2 {
        for (region, at) in [
            (Region::Leg(side), j.knee[side]),
            (
                Region::UpperArm(side),
                j.shoulder[side].lerp(j.elbow[side], 0.6),
            ),
            (
                Region::Forearm(side),
                j.elbow[side].lerp(j.wrist[side], 0.6),
            ),
            (Region::Forearm(side), j.fingertip[side]),
        ] {
            assert_eq!(body.region(at), region);
        }
    }
    assert_eq!(body.region(j.pupils), Region::Head);
    assert_eq!(
        body.region(body.on_thorax(dvec3(0.0, 120.0, 5.0))),
        Region::Torso
    );
}

#[test]
fn shipped_poses_read_and_write_back() {
    assert!(Pose::names().count() >= 9);
    for name in Pose::names() {
        let pose =
            Pose::from_toml(Pose::file(name).unwrap()).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(
            Pose::from_toml(&pose.to_toml()).as_ref(),
            Ok(&pose),
            "{name}"
        );
    }
    let moving = |name: &str| Pose::named(name).unwrap().movement;
    assert!(moving("walking").acceleration_m_s2[2] != 0.0);
    assert!(moving("turning").yaw_rate_deg_s != 0.0);
    assert_eq!(Pose::named("no such pose"), None);
}

#[test]
fn mistakes_are_named_with_their_place() {
    let front = Pose::file("front").unwrap();
    let hip = Pose::file("hand-on-hip").unwrap();
    let line_of =
        |text: &str, needle: &str| text[..text.find(needle).unwrap()].matches('\n').count() + 1;
    // (file, what is there, what is typed instead, what the message must say)
    let cases = [
        (front, "elbow_deg = 17.0", "elbow_deg = 170.0", "0 to 150"),
        (front, "elbow_deg = 17.0", "elbow_deg = -3", "elbow"),
        (
            front,
            "elbow_deg = 17.0",
            "elbow_deg = \"bent\"",
            "wants a number",
        ),
        (
            front,
            "elbow_deg = 17.0",
            "elbow = 17.0",
            "no key \"elbow\"",
        ),
        (front, "yaw_deg = 4.0", "yaw_deg = 120.0", "neck turns"),
        (front, "yaw_deg = 4.0", "yaw_deg = nan", "-80 to 80"),
        (
            front,
            "ankle_cm = [4.6, -3.0]",
            "ankle_cm = [4.6]",
            "2 numbers",
        ),
        (
            front,
            "ankle_cm = [4.6, -3.0]",
            "ankle_cm = [-50.0, -3.0]",
            "swing inward",
        ),
        (
            front,
            "knee_towards = [0.08, 0.0, 1.0]",
            "knee_towards = [0, 0, 0]",
            "points nowhere",
        ),
        (
            hip,
            "measured_from = \"pelvis\"",
            "measured_from = \"hip\"",
            "\"pelvis\"",
        ),
        (
            hip,
            "wrist_cm = [21.0, 104.5, -1.5]",
            "wrist_cm = [75.0, 104.5, -1.5]",
            "out of reach",
        ),
        (hip, "rests = true", "rests = 1", "true or false"),
    ];
    for (file, there, typed, says) in cases {
        let text = file.replacen(there, typed, 1);
        let error = Pose::from_toml(&text).expect_err(typed);
        assert!(error.reason.contains(says), "{typed}: {error}");
        let line = line_of(&text, typed);
        // Reach is only known for the whole limb: the message points at its table.
        let whole_limb = says == "out of reach" || says == "swing inward";
        if whole_limb {
            assert!(error.line < line && error.column == 2, "{typed}: {error}");
        } else {
            assert_eq!(error.line, line, "{typed}: {error}");
            assert!(error.column >= 1, "{error}");
        }
    }
    let stray = format!("{front}\n[tail]\nwag_deg = 3.0\n");
    assert!(Pose::from_toml(&stray).unwrap_err().reason.contains("tail"));
}

fn edited(name: usize, at: usize, with: &str) -> String {
    let file = Pose::file(Pose::names().nth(name % Pose::names().count()).unwrap()).unwrap();
    let mut text: Vec<char> = file.chars().collect();
    let at = at % text.len();
    text.splice(at..at + 1, with.chars());
    text.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn hostile_pose_files_never_panic(name in 0..20_usize, at in 0..4000_usize, with in "\\PC{0,12}") {
        if let Ok(pose) = Pose::from_toml(&edited(name, at, &with)) {
            let body = Body::new(&Person::new(Build::Woman), &pose);
            prop_assert!(body.distance(dvec3(3.0, 120.0, 9.0)).is_finite());
        }
        let _ = Pose::from_toml(&with);
    }

    #[test]
    fn any_arm_within_limits_stays_whole(
        abduct in -30.0..180.0_f64, flex in -60.0..180.0_f64, twist in -90.0..90.0_f64,
        elbow in 0.0..150.0_f64, curl in -0.3..2.8_f64,
    ) {
        let mut pose = Pose::upright();
        pose.arms[0].reach = Reach::Angles(ArmAngles {
            abduct_deg: abduct, flex_deg: flex, twist_deg: twist, elbow_deg: elbow,
            ..ArmAngles::default()
        });
        pose.arms[0].curl = curl;
        let again = Pose::from_toml(&pose.to_toml());
        prop_assert_eq!(again.as_ref(), Ok(&pose));
        let body = Body::new(&Person::new(Build::Man), &pose);
        let j = body.joints();
        for p in [j.elbow[0], j.wrist[0], j.shoulder[0]] {
            let d = body.distance(p);
            prop_assert!(d.is_finite() && d < 0.0, "{} at {}", d, p);
        }
    }
}
