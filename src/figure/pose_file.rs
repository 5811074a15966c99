//! Poses as text: a small strict reader, and a writer it reads back exactly.

use super::person::{Build, Person};
use super::pose::{ArmAngles, ArmPose, LegPose, MeasuredFrom, Movement, Pose, Reach, WristTarget};
use super::skeleton::Skeleton;
use std::fmt::Write as _;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Why a pose file cannot be used: where, what is wrong, what to type.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("line {line}, column {column}: {reason}")]
pub struct PoseError {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
    /// What is wrong and what to type instead.
    pub reason: String,
}

type Entry<'a> = Spanned<DeValue<'a>>;

/// Range of a number, and what sets it.
#[derive(Clone, Copy)]
struct Range(f64, f64, &'static str);

const ANY_TURN: Range = Range(-360.0, 360.0, "a full turn");
const DIRECTION: Range = Range(-10.0, 10.0, "a direction's part");
// Ranges of motion, a little beyond the means of Boone and Azen (1979) and of the
// American Academy of Orthopaedic Surgeons' tables (both from memory), since a pose
// adds the shoulder blade's and the spine's part to the joint's own.
const PELVIS: [Range; 3] = [
    Range(-30.0, 60.0, "how far a standing pelvis tips"),
    ANY_TURN,
    Range(-20.0, 20.0, "how far one hip rises over the other"),
];
const RIBS: [Range; 3] = [
    Range(-30.0, 60.0, "how far the spine bows"),
    Range(-45.0, 45.0, "how far the spine turns"),
    Range(-35.0, 35.0, "how far the spine bends sideways"),
];
const HEAD: [Range; 3] = [
    Range(-60.0, 50.0, "how far the neck bows"),
    Range(-80.0, 80.0, "how far the neck turns"),
    Range(-45.0, 45.0, "how far the neck bends sideways"),
];
const ABDUCT: Range = Range(-30.0, 180.0, "how far an arm swings out");
const FLEX: Range = Range(-60.0, 180.0, "how far an arm swings forward");
const TWIST: Range = Range(-90.0, 90.0, "how far an upper arm turns");
const ELBOW: Range = Range(0.0, 150.0, "how far an elbow bends");
const PRONATE: Range = Range(-90.0, 90.0, "how far a forearm turns");
const WRIST_FLEX: Range = Range(-75.0, 80.0, "how far a wrist bends");
const WRIST_SIDE: Range = Range(-36.0, 22.0, "how far a wrist bends sideways");
const CURL: Range = Range(-0.3, 2.8, "flat to a loose fist");
const FOOT_YAW: Range = Range(-75.0, 75.0, "how far a leg turns");
const HEEL_LIFT: Range = Range(0.0, 50.0, "how far toes bend");
const PLACE: Range = Range(-200.0, 200.0, "an arm's reach");
const STEP: Range = Range(-80.0, 80.0, "a leg's reach");
const SEAT: Range = Range(20.0, 80.0, "what a figure can sit on");
const ACCELERATION: Range = Range(-30.0, 30.0, "what a person can do");
const YAW_RATE: Range = Range(-720.0, 720.0, "two turns a second");

impl Pose {
    /// Reads a pose file.
    ///
    /// # Errors
    /// [`PoseError`] names the line and column of an unknown key, a wrong value,
    /// or a joint that would be bent beyond what a body does.
    pub fn from_toml(text: &str) -> Result<Self, PoseError> {
        let root = DeTable::parse(text).map_err(|e| {
            let at = e.span().map_or(0, |s| s.start);
            error(text, at, e.message().replace(['\n', '\r'], " "))
        })?;
        let mut root = Reader::new(text, "", 0, root.get_ref());
        let title = root.title()?;
        let turn_deg = root.number("turn_deg", ANY_TURN)?;
        let seat_cm = root.optional("seat_cm", SEAT)?;
        let mut pelvis = root.table("pelvis")?;
        let pelvis_shift_cm = pelvis.numbers("shift_cm", STEP)?.unwrap_or_default();
        let pelvis_deg = pelvis.angles(PELVIS)?;
        pelvis.finish()?;
        let mut ribs = root.table("ribs")?;
        let thorax_deg = ribs.angles(RIBS)?;
        ribs.finish()?;
        let mut head = root.table("head")?;
        let head_deg = head.angles(HEAD)?;
        head.finish()?;
        let arms = [arm(&mut root, "left_arm")?, arm(&mut root, "right_arm")?];
        let legs = [leg(&mut root, "left_leg")?, leg(&mut root, "right_leg")?];
        let mut moving = root.table("movement")?;
        let movement = Movement {
            acceleration_m_s2: moving
                .numbers("acceleration_m_s2", ACCELERATION)?
                .unwrap_or_default(),
            yaw_rate_deg_s: moving.number("yaw_rate_deg_s", YAW_RATE)?,
        };
        moving.finish()?;
        root.finish()?;
        let pose = Self {
            title,
            turn_deg,
            seat_cm,
            pelvis_shift_cm,
            pelvis_deg,
            thorax_deg,
            head_deg,
            arms,
            legs,
            movement,
        };
        // What only shows once the bones are in place.
        let skeleton = Skeleton::new(&Person::new(Build::Woman), &pose, 0.0);
        if let Some((table, reason)) = skeleton.beyond_limits(&pose) {
            let at = root.place_of(table);
            return Err(error(text, at, format!("{table}: {reason}")));
        }
        Ok(pose)
    }

    /// Writes the pose so that [`Pose::from_toml`] reads it back exactly.
    pub fn to_toml(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(
            out,
            "# Degrees from the anatomical position, centimetres on the base figure.\n\
             # Left and right are the figure's own.\n\
             title = {}\nturn_deg = {:?}",
            toml::Value::String(self.title.clone()),
            self.turn_deg
        )?;
        if let Some(seat) = self.seat_cm {
            writeln!(out, "seat_cm = {seat:?}")?;
        }
        let angles = |[pitch, yaw, roll]: [f64; 3]| {
            format!("pitch_deg = {pitch:?}\nyaw_deg = {yaw:?}\nroll_deg = {roll:?}")
        };
        writeln!(
            out,
            "\n[pelvis]\nshift_cm = {:?}\n{}",
            self.pelvis_shift_cm,
            angles(self.pelvis_deg)
        )?;
        writeln!(out, "\n[ribs]\n{}", angles(self.thorax_deg))?;
        writeln!(out, "\n[head]\n{}", angles(self.head_deg))?;
        for (name, arm) in ["left_arm", "right_arm"].into_iter().zip(&self.arms) {
            writeln!(out, "\n[{name}]")?;
            match &arm.reach {
                Reach::Angles(a) => {
                    for (key, value) in ANGLE_KEYS.iter().zip(a.values()) {
                        writeln!(out, "{} = {value:?}", key.0)?;
                    }
                }
                Reach::Wrist(w) => {
                    writeln!(
                        out,
                        "wrist_cm = {:?}\nmeasured_from = \"{}\"\nelbow_towards = {:?}\n\
                         fingers_towards = {:?}\npalm_towards = {:?}\nrests = {}",
                        w.wrist_cm,
                        w.measured_from.word(),
                        w.elbow_towards,
                        w.fingers_towards,
                        w.palm_towards,
                        w.rests
                    )?;
                }
            }
            writeln!(out, "curl = {:?}", arm.curl)?;
        }
        for (name, leg) in ["left_leg", "right_leg"].into_iter().zip(&self.legs) {
            writeln!(
                out,
                "\n[{name}]\nankle_cm = {:?}\nrise_cm = {:?}\nknee_towards = {:?}\n\
                 foot_yaw_deg = {:?}\nheel_lift_deg = {:?}",
                leg.ankle_cm, leg.rise_cm, leg.knee_towards, leg.foot_yaw_deg, leg.heel_lift_deg
            )?;
        }
        writeln!(
            out,
            "\n[movement]\nacceleration_m_s2 = {:?}\nyaw_rate_deg_s = {:?}",
            self.movement.acceleration_m_s2, self.movement.yaw_rate_deg_s
        )
    }
}

const ANGLE_KEYS: [(&str, Range); 7] = [
    ("abduct_deg", ABDUCT),
    ("flex_deg", FLEX),
    ("twist_deg", TWIST),
    ("elbow_deg", ELBOW),
    ("pronate_deg", PRONATE),
    ("wrist_flex_deg", WRIST_FLEX),
    ("wrist_side_deg", WRIST_SIDE),
];

impl ArmAngles {
    fn values(&self) -> [f64; 7] {
        [
            self.abduct_deg,
            self.flex_deg,
            self.twist_deg,
            self.elbow_deg,
            self.pronate_deg,
            self.wrist_flex_deg,
            self.wrist_side_deg,
        ]
    }
}

fn arm(root: &mut Reader, name: &'static str) -> Result<ArmPose, PoseError> {
    let mut t = root.table(name)?;
    let reach = if let Some(wrist_cm) = t.numbers("wrist_cm", PLACE)? {
        Reach::Wrist(WristTarget {
            wrist_cm,
            measured_from: t.measured_from()?,
            elbow_towards: t.direction("elbow_towards")?,
            fingers_towards: t.direction("fingers_towards")?,
            palm_towards: t.direction("palm_towards")?,
            rests: t.flag("rests")?,
        })
    } else {
        let mut v = [0.0; 7];
        for (value, (key, range)) in v.iter_mut().zip(ANGLE_KEYS) {
            *value = t.number(key, range)?;
        }
        Reach::Angles(ArmAngles {
            abduct_deg: v[0],
            flex_deg: v[1],
            twist_deg: v[2],
            elbow_deg: v[3],
            pronate_deg: v[4],
            wrist_flex_deg: v[5],
            wrist_side_deg: v[6],
        })
    };
    let curl = t.optional("curl", CURL)?.unwrap_or(1.0);
    t.finish()?;
    Ok(ArmPose { reach, curl })
}

fn leg(root: &mut Reader, name: &'static str) -> Result<LegPose, PoseError> {
    let mut t = root.table(name)?;
    let leg = LegPose {
        ankle_cm: t.required("ankle_cm", STEP)?,
        rise_cm: t
            .optional("rise_cm", Range(0.0, 80.0, "a raised foot"))?
            .unwrap_or(0.0),
        knee_towards: t.direction("knee_towards")?,
        foot_yaw_deg: t.number("foot_yaw_deg", FOOT_YAW)?,
        heel_lift_deg: t.number("heel_lift_deg", HEEL_LIFT)?,
    };
    t.finish()?;
    Ok(leg)
}

fn error(text: &str, at: usize, reason: String) -> PoseError {
    let before = text.get(..at).unwrap_or(text);
    PoseError {
        line: before.matches('\n').count() + 1,
        column: before.rsplit('\n').next().unwrap_or("").chars().count() + 1,
        reason,
    }
}

/// One table, remembering which of its keys were asked for.
struct Reader<'t> {
    text: &'t str,
    name: &'static str,
    at: usize,
    table: Option<&'t DeTable<'t>>,
    asked: Vec<&'static str>,
}

impl<'t> Reader<'t> {
    fn new(text: &'t str, name: &'static str, at: usize, table: &'t DeTable<'t>) -> Self {
        Self {
            text,
            name,
            at,
            table: Some(table),
            asked: Vec::new(),
        }
    }

    fn get(&mut self, key: &'static str) -> Option<&'t Entry<'t>> {
        self.asked.push(key);
        self.table?
            .iter()
            .find(|(k, _)| k.get_ref() == key)
            .map(|(_, v)| v)
    }

    fn place_of(&self, key: &str) -> usize {
        self.table
            .and_then(|t| t.iter().find(|(k, _)| k.get_ref() == key))
            .map_or(0, |(k, _)| k.span().start)
    }

    fn err<T>(&self, at: usize, reason: String) -> Result<T, PoseError> {
        let place = if self.name.is_empty() {
            String::new()
        } else {
            format!("{}: ", self.name)
        };
        Err(error(self.text, at, place + &reason))
    }

    /// The table of that name; an absent one reads as empty.
    fn table(&mut self, name: &'static str) -> Result<Reader<'t>, PoseError> {
        match self.get(name) {
            None => Ok(Reader {
                text: self.text,
                name,
                at: 0,
                table: None,
                asked: Vec::new(),
            }),
            Some(entry) => match entry.get_ref() {
                DeValue::Table(t) => Ok(Reader::new(self.text, name, entry.span().start, t)),
                _ => self.err(
                    entry.span().start,
                    format!("{name} is a table; start it with a line [{name}]"),
                ),
            },
        }
    }

    fn value(&self, key: &str, entry: &Entry, range: Range) -> Result<f64, PoseError> {
        let at = entry.span().start;
        let number = match entry.get_ref() {
            DeValue::Integer(i) => i64::from_str_radix(i.as_str(), i.radix())
                .ok()
                .map(|v| v as f64),
            DeValue::Float(f) => f.as_str().parse::<f64>().ok(),
            _ => None,
        };
        let Range(lo, hi, why) = range;
        match number {
            Some(v) if (lo..=hi).contains(&v) => Ok(v),
            Some(v) => self.err(
                at,
                format!("{key} = {v} is beyond {why}; give a value from {lo} to {hi}"),
            ),
            None => self.err(at, format!("{key} wants a number from {lo} to {hi}")),
        }
    }

    fn optional(&mut self, key: &'static str, range: Range) -> Result<Option<f64>, PoseError> {
        let entry = self.get(key);
        entry.map(|e| self.value(key, e, range)).transpose()
    }

    fn number(&mut self, key: &'static str, range: Range) -> Result<f64, PoseError> {
        Ok(self.optional(key, range)?.unwrap_or(0.0))
    }

    fn numbers<const N: usize>(
        &mut self,
        key: &'static str,
        range: Range,
    ) -> Result<Option<[f64; N]>, PoseError> {
        let Some(entry) = self.get(key) else {
            return Ok(None);
        };
        let list = match entry.get_ref() {
            DeValue::Array(list) if list.len() == N => list,
            _ => {
                return self.err(
                    entry.span().start,
                    format!("{key} wants {N} numbers: [{}]", ["0.0"; 8][..N].join(", ")),
                );
            }
        };
        let mut out = [0.0; N];
        for (slot, item) in out.iter_mut().zip(list.iter()) {
            *slot = self.value(key, item, range)?;
        }
        Ok(Some(out))
    }

    fn required<const N: usize>(
        &mut self,
        key: &'static str,
        range: Range,
    ) -> Result<[f64; N], PoseError> {
        match self.numbers(key, range)? {
            Some(v) => Ok(v),
            None => self.err(
                self.at,
                format!(
                    "{key} is missing; add {key} = [{}]",
                    ["0.0"; 8][..N].join(", ")
                ),
            ),
        }
    }

    fn direction(&mut self, key: &'static str) -> Result<[f64; 3], PoseError> {
        let v: [f64; 3] = self.required(key, DIRECTION)?;
        if v.iter().map(|x| x * x).sum::<f64>() < 1e-6 {
            let at = self.get(key).map_or(self.at, |e| e.span().start);
            return self.err(
                at,
                format!("{key} points nowhere; give a direction such as [0, 0, 1]"),
            );
        }
        Ok(v)
    }

    fn angles(&mut self, range: [Range; 3]) -> Result<[f64; 3], PoseError> {
        Ok([
            self.number("pitch_deg", range[0])?,
            self.number("yaw_deg", range[1])?,
            self.number("roll_deg", range[2])?,
        ])
    }

    fn flag(&mut self, key: &'static str) -> Result<bool, PoseError> {
        match self.get(key).map(|e| (e.span().start, e.get_ref())) {
            None => Ok(false),
            Some((_, DeValue::Boolean(b))) => Ok(*b),
            Some((at, _)) => self.err(at, format!("{key} is true or false")),
        }
    }

    fn text_at(&mut self, key: &'static str) -> Result<Option<(usize, String)>, PoseError> {
        match self.get(key).map(|e| (e.span().start, e.get_ref())) {
            None => Ok(None),
            Some((at, DeValue::String(s))) => Ok(Some((at, s.to_string()))),
            Some((at, _)) => self.err(at, format!("{key} wants text in quotes")),
        }
    }

    fn title(&mut self) -> Result<String, PoseError> {
        match self.text_at("title")? {
            Some((_, t)) if !t.trim().is_empty() => Ok(t),
            _ => self.err(0, "title is missing; add title = \"My pose\"".into()),
        }
    }

    fn measured_from(&mut self) -> Result<MeasuredFrom, PoseError> {
        let all = [
            MeasuredFrom::Ribs,
            MeasuredFrom::Pelvis,
            MeasuredFrom::Floor,
        ];
        let Some((at, word)) = self.text_at("measured_from")? else {
            return self.err(
                self.at,
                "measured_from is missing; add measured_from = \"ribs\", \"pelvis\" or \"floor\""
                    .into(),
            );
        };
        match all.into_iter().find(|m| m.word() == word) {
            Some(m) => Ok(m),
            None => self.err(
                at,
                format!(
                    "measured_from = {word:?} is unknown; type \"ribs\", \"pelvis\" or \"floor\""
                ),
            ),
        }
    }

    /// Any key that nobody asked for is a mistake.
    fn finish(&self) -> Result<(), PoseError> {
        let Some(table) = self.table else {
            return Ok(());
        };
        let stray = table
            .iter()
            .map(|(k, _)| k)
            .find(|k| !self.asked.contains(&k.get_ref().as_ref()));
        match stray {
            None => Ok(()),
            Some(key) => self.err(
                key.span().start,
                format!(
                    "there is no key {:?} here; this table takes {}",
                    key.get_ref(),
                    self.asked.join(", ")
                ),
            ),
        }
    }
}
