//! `[camera]`: where the lens is, how it frames, what it is set to.

use glam::DVec3;

use super::keys;
use super::model::{Aim, Aperture, Camera, Figure, Focus, Framing, Place, PointSpec, WhiteBalance};
use super::place::Points;
use super::problem::Kind;
use super::quantity::{
    BEARING, DISTANCE, F_NUMBER, FOCAL_LENGTH, FOCUS_DISTANCE, HEIGHT, KELVIN, SENSOR_SIDE,
    SHUTTER, metres, millimetres, pixels, size_2d,
};
use super::reader::{Fault, Log, Table, Value, clip, type_name};
use super::values::{coordinates, flag, number_in, quantity, refuse, text, word, written};

pub(super) const FRAMINGS: [(&str, Framing); 5] = [
    ("full-length", Framing::FullLength),
    ("three-quarter", Framing::ThreeQuarter),
    ("half", Framing::Half),
    ("beauty", Framing::Beauty),
    ("swatch", Framing::Swatch),
];

const USUAL_FOCAL_M: f64 = 0.085;
const USUAL_SENSOR_M: [f64; 2] = [0.036, 0.024];
const USUAL_LONG_SIDE_PX: f64 = 1200.0;
/// Of a sensor: 24 megapixels on 36 x 24 mm (common practice).
const USUAL_PITCH_M: f64 = 6e-6;

/// The subject as the camera needs it.
pub(super) struct Subject<'s> {
    pub points: &'s Points,
    pub figure: Option<&'s Figure>,
    /// Middle, size and, unless it faces the camera, normal of the swatch.
    pub swatch: Option<(DVec3, [f64; 2], Option<DVec3>)>,
}

/// What a framing wants in the picture.
struct Field {
    middle_m: DVec3,
    /// Least width and height that must be seen, metres.
    size_m: [f64; 2],
}

pub(super) fn read_camera(
    log: &Log,
    file: &str,
    value: Value<'_>,
    subject: &Subject<'_>,
    pixels_override: Option<[u32; 2]>,
) -> Option<Camera> {
    let t = Table::open(log, file, value, &keys::CAMERA, "the camera")?;
    // Read everything first, so that every fault is reported.
    let (sensor_m, pixels, picture_m) = read_sensor(log, &t, pixels_override);
    let sensor_pixels = read_sensor_pixels(log, &t, sensor_m);
    let low_pass = t.read(log, "low_pass", flag).unwrap_or(false);
    let framing = t.read(log, "framing", word(&FRAMINGS));
    let focal = t.read(log, "focal_length", quantity(&FOCAL_LENGTH));
    let upright = t.read(log, "upright", flag).unwrap_or(false);
    let f_number = t
        .read(log, "f_number", read_aperture)
        .unwrap_or(Aperture::AsMetered);
    let shutter_s = t
        .read(log, "shutter", quantity(&SHUTTER))
        .unwrap_or(1.0 / 125.0);
    let iso = t.read(log, "iso", number_in(1.0, 1e6)).unwrap_or(100.0);
    let white_balance = t
        .read(log, "white_balance", read_white_balance)
        .unwrap_or(WhiteBalance::GreyCard);
    let focus = read_focus(log, &t, subject);
    let stands = Stands {
        distance_m: t.read(log, "distance", quantity(&DISTANCE)),
        bearing_rad: t.read(log, "bearing", quantity(&BEARING)),
        height_m: t.read(log, "height", quantity(&HEIGHT)),
        at_m: t.read(log, "at", coordinates),
    };
    let aim = t.read(log, "aim", |v| subject.points.read(v));
    if framing.is_none() && (t.has("framing") || t.slipped(&["framing"])) {
        return None;
    }
    let field = match framing {
        Some(framing) => Some(field_of(log, &t, framing, subject)?),
        None => None,
    };
    let (aim, aim_m) = settle_aim(log, &t, aim, subject, field.as_ref())?;
    let focus = focus.unwrap_or_else(|| usual_focus(subject, aim_m));

    let mut camera = Camera {
        position_m: DVec3::ZERO,
        direction: DVec3::NEG_Z,
        right: DVec3::X,
        up: DVec3::Y,
        aim_point_m: aim_m,
        upright,
        shift_tan: [0.0; 2],
        picture_m,
        sensor_m,
        sensor_pixels,
        low_pass,
        pixels,
        focal_length_m: focal.unwrap_or(USUAL_FOCAL_M),
        focus_m: 1.0,
        focus: focus.clone(),
        f_number,
        shutter_s,
        iso,
        white_balance,
        framing,
        place: Place::At(DVec3::ZERO),
        aim,
    };
    let focus_point_m = match &focus {
        Focus::Point(name) => Some(subject.points.find(name).unwrap_or(aim_m)),
        Focus::At(p) => Some(*p),
        Focus::Distance(_) => None,
    };
    let aimed = Aimed {
        log,
        t: &t,
        stands,
        focus_point_m,
        focus_distance_m: match focus {
            Focus::Distance(d) => Some(d),
            _ => None,
        },
    };
    match (&field, t.has("distance") || t.has("at")) {
        (Some(field), false) => aimed.step_back(&mut camera, field, subject)?,
        (Some(field), true) => {
            if focal.is_some() {
                t.conflict(
                    log,
                    "focal_length",
                    "framing, distance and focal_length cannot all be given",
                    "remove one: the other two work it out",
                );
                return None;
            }
            aimed.stand(&mut camera)?;
            aimed.choose_lens(&mut camera, field)?;
        }
        (None, _) => aimed.stand(&mut camera)?,
    }
    Some(camera)
}

/// Where the camera stands, as far as it is written and can be read.
struct Stands {
    distance_m: Option<f64>,
    bearing_rad: Option<f64>,
    height_m: Option<f64>,
    at_m: Option<DVec3>,
}

/// Puts the camera somewhere, pointed at its aim.
struct Aimed<'a, 't> {
    log: &'a Log,
    t: &'a Table<'t>,
    stands: Stands,
    focus_point_m: Option<DVec3>,
    focus_distance_m: Option<f64>,
}

impl Aimed<'_, '_> {
    /// Points the camera from the place as written.
    fn stand(&self, camera: &mut Camera) -> Option<()> {
        let (log, t) = (self.log, self.t);
        let place = if t.has("at") {
            for key in ["distance", "bearing", "height"] {
                if t.has(key) {
                    t.conflict(
                        log,
                        "at",
                        format!("`at` and `{key}` both say where it stands"),
                        "keep distance, bearing and height, or keep at",
                    );
                }
            }
            Place::At(self.stands.at_m?)
        } else {
            if !t.has("distance") {
                t.missing(
                    log,
                    &["distance"],
                    "`distance`",
                    "add distance = \"4 m\", or framing = \"full-length\"",
                );
                return None;
            }
            Place::Taped {
                distance_m: self.stands.distance_m?,
                bearing_rad: self.bearing()?,
                height_m: self.height()?.unwrap_or(camera.aim_point_m.y),
            }
        };
        self.point(camera, place)
    }

    /// The bearing written, or none; `None` when it is faulty.
    fn bearing(&self) -> Option<f64> {
        if self.t.has("bearing") {
            self.stands.bearing_rad
        } else {
            Some(0.0)
        }
    }

    /// The height written, if any; `None` when it is faulty.
    fn height(&self) -> Option<Option<f64>> {
        let faulty = self.t.has("height") && self.stands.height_m.is_none();
        (!faulty).then_some(self.stands.height_m)
    }

    /// Points a camera at its aim from a place, and focuses it.
    fn point(&self, camera: &mut Camera, place: Place) -> Option<()> {
        let position_m = place.point_m();
        let mut toward = camera.aim_point_m - position_m;
        if camera.upright {
            toward.y = 0.0;
        }
        if toward.length() < 0.02 {
            self.log.error(
                Kind::Conflict,
                &self.t.place_of("aim"),
                if camera.upright {
                    "an upright camera cannot aim straight up or down"
                } else {
                    "the camera stands at the point it aims at"
                },
                "move the camera, or aim it elsewhere",
            );
            return None;
        }
        camera.position_m = position_m;
        camera.place = place;
        camera.direction = toward.normalize();
        let level = camera.direction.cross(DVec3::Y);
        camera.right = if level.length() > 1e-9 {
            level.normalize()
        } else {
            DVec3::X
        };
        camera.up = camera.right.cross(camera.direction);
        let to_aim = camera.aim_point_m - position_m;
        let depth = to_aim.dot(camera.direction);
        camera.shift_tan = if camera.upright {
            [0.0, to_aim.dot(camera.up) / depth]
        } else {
            [0.0; 2]
        };
        camera.focus_m = match (self.focus_point_m, self.focus_distance_m) {
            (Some(p), _) => (p - position_m).dot(camera.direction),
            (None, Some(d)) => d,
            (None, None) => depth,
        };
        self.check_focus(camera)
    }

    fn check_focus(&self, camera: &Camera) -> Option<()> {
        // No lens focuses much nearer than twice its focal length, where it shows things
        // at their size; 1.2 allows for macro work.
        if camera.focus_m > 1.2 * camera.focal_length_m {
            return Some(());
        }
        self.log.error(
            Kind::OutOfRange,
            &self.t.place_of("focus"),
            format!(
                "the camera: the focus lies {} in front of the lens, too near for a focal length of {}",
                metres(camera.focus_m),
                millimetres(camera.focal_length_m)
            ),
            "focus on a point in front of the camera, or move the camera back",
        );
        None
    }

    /// Works out the distance at which the field fills the picture.
    fn step_back(&self, camera: &mut Camera, field: &Field, subject: &Subject<'_>) -> Option<()> {
        let bearing = self.bearing()?;
        let height = self.height()?;
        let focal = camera.focal_length_m;
        let along_normal = match (camera.framing, subject.swatch) {
            (Some(Framing::Swatch), Some((_, _, normal)))
                if !self.t.has("bearing") && height.is_none() =>
            {
                normal
            }
            _ => None,
        };
        let ratio =
            (field.size_m[0] / camera.picture_m[0]).max(field.size_m[1] / camera.picture_m[1]);
        // Focused on the field itself, s = f (1 + field/sensor). The focus may lie a little
        // before or behind it, which moves the sensor; a few rounds settle that.
        let mut axis_m = focal * (1.0 + ratio);
        for _ in 0..12 {
            let place = match along_normal {
                Some(normal) => Place::At(camera.aim_point_m + normal * axis_m),
                None => self.taped_at(camera, axis_m, bearing, height)?,
            };
            self.point(camera, place)?;
            axis_m = camera.image_distance_m() * ratio;
        }
        Some(())
    }

    /// The place on a bearing from which the aim is `axis_m` away along the lens axis.
    fn taped_at(
        &self,
        camera: &Camera,
        axis_m: f64,
        bearing_rad: f64,
        height: Option<f64>,
    ) -> Option<Place> {
        let aim = camera.aim_point_m;
        let height_m = height.unwrap_or(aim.y);
        let rise = if camera.upright {
            0.0
        } else {
            height_m - aim.y
        };
        let level_squared = axis_m * axis_m - rise * rise;
        let along = DVec3::new(bearing_rad.sin(), 0.0, bearing_rad.cos());
        let flat = DVec3::new(aim.x, 0.0, aim.z);
        let dot = along.dot(flat);
        // |D·along − flat| = level, solved for D.
        let under = level_squared - flat.length_squared() + dot * dot;
        if under <= 0.0 || level_squared <= 0.0 {
            self.log.error(
                Kind::Conflict,
                &self.t.place_of("height"),
                format!(
                    "the camera: this framing wants the lens {} from its aim, which is not possible from a height of {}",
                    metres(axis_m),
                    metres(height_m)
                ),
                "choose a height nearer to the subject's, or a longer focal length",
            );
            return None;
        }
        Some(Place::Taped {
            distance_m: dot + under.sqrt(),
            bearing_rad,
            height_m,
        })
    }

    /// Works out the focal length with which the field fills the picture from here.
    fn choose_lens(&self, camera: &mut Camera, field: &Field) -> Option<()> {
        let ratio =
            (field.size_m[0] / camera.picture_m[0]).max(field.size_m[1] / camera.picture_m[1]);
        let depth = (camera.aim_point_m - camera.position_m).dot(camera.direction);
        // Similar triangles give the sensor's distance v, the lens equation the focal length.
        let v = depth / ratio;
        let focal = 1.0 / (1.0 / v + 1.0 / camera.focus_m);
        camera.focal_length_m = focal;
        if let Err(bad) = FOCAL_LENGTH.check(focal) {
            self.log.error(
                Kind::OutOfRange,
                &self.t.place_of("distance"),
                format!(
                    "the camera: from here the framing wants a focal length of {}",
                    millimetres(focal)
                ),
                bad.hint,
            );
            return None;
        }
        self.check_focus(camera)
    }
}

/// Sensor (longer side first), pixels, and the part of the sensor in use.
fn read_sensor(
    log: &Log,
    t: &Table<'_>,
    pixels_override: Option<[u32; 2]>,
) -> ([f64; 2], [u32; 2], [f64; 2]) {
    let [a, b] = t
        .read(
            log,
            "sensor",
            written("a sensor size", "36 x 24 mm", |s| size_2d(s, &SENSOR_SIDE)),
        )
        .unwrap_or(USUAL_SENSOR_M);
    let sensor = [a.max(b), a.min(b)];
    let given = t.read(
        log,
        "pixels",
        written("a picture size", "800 x 1200", pixels),
    );
    let landscape = t.read(
        log,
        "orientation",
        word(&[("portrait", false), ("landscape", true)]),
    );
    if let (Some([w, h]), Some(landscape)) = (given, landscape)
        && w != h
        && (w > h) != landscape
    {
        t.conflict(
            log,
            "orientation",
            format!(
                "{w} x {h} pixels are not {}",
                if landscape { "landscape" } else { "portrait" }
            ),
            "remove orientation, or swap the pixels",
        );
    }
    let chosen = pixels_override.or(given);
    let landscape = match chosen {
        Some([w, h]) if w != h => w > h,
        _ => landscape.unwrap_or(false),
    };
    let held = if landscape {
        sensor
    } else {
        [sensor[1], sensor[0]]
    };
    let chosen = chosen.unwrap_or_else(|| {
        let scale = USUAL_LONG_SIDE_PX / sensor[0];
        held.map(|side| (side * scale).round().max(16.0) as u32)
    });
    // The largest part of the sensor with the picture's shape.
    let shape = f64::from(chosen[0]) / f64::from(chosen[1]);
    let picture = if held[0] / held[1] > shape {
        [held[1] * shape, held[1]]
    } else {
        [held[0], held[0] / shape]
    };
    (sensor, chosen, picture)
}

/// What the whole sensor records, longer side first.
fn read_sensor_pixels(log: &Log, t: &Table<'_>, sensor_m: [f64; 2]) -> [u32; 2] {
    let usual = sensor_m.map(|side| (side / USUAL_PITCH_M).round().max(16.0) as u32);
    let Some([a, b]) = t.read(
        log,
        "sensor_pixels",
        written("the pixels of a sensor", "6000 x 4000", pixels),
    ) else {
        return usual;
    };
    let found = [a.max(b), a.min(b)];
    let squareness = sensor_m[0] * f64::from(found[1]) / (sensor_m[1] * f64::from(found[0]));
    // Sensors' sides are given rounded.
    if (squareness - 1.0).abs() > 0.03 {
        let fitting = (f64::from(found[0]) * sensor_m[1] / sensor_m[0]).round();
        t.conflict(
            log,
            "sensor_pixels",
            format!(
                "{} x {} pixels are not square on a sensor of {} x {}",
                found[0],
                found[1],
                millimetres(sensor_m[0]),
                millimetres(sensor_m[1])
            ),
            format!(
                "write sensor_pixels = \"{} x {fitting}\", or correct the sensor's size",
                found[0]
            ),
        );
        return usual;
    }
    found
}

/// The part of the subject that a framing shows. Cuts by common practice: three-quarter
/// above the knee, half at the hip, beauty head and shoulders.
fn field_of(log: &Log, t: &Table<'_>, framing: Framing, subject: &Subject<'_>) -> Option<Field> {
    if framing == Framing::Swatch {
        let Some((middle_m, size, _)) = subject.swatch else {
            if !subject.points.lenient {
                log.error(
                    Kind::Conflict,
                    &t.place_of("framing"),
                    "the camera frames the swatch, but there is none",
                    "add [swatch], or choose another framing",
                );
            }
            return None;
        };
        return Some(Field {
            middle_m,
            size_m: size.map(|side| side * 1.12),
        });
    }
    let Some(figure) = subject.figure else {
        if !subject.points.lenient {
            log.error(
                Kind::Conflict,
                &t.place_of("framing"),
                "the camera frames the figure, but there is none",
                "add [figure], or write framing = \"swatch\"",
            );
        }
        return None;
    };
    let tall = figure.height_m;
    // Landmarks as fractions of stature where the figure names no point (Drillis and
    // Contini 1966, from memory).
    let level = |point: &str, fraction: f64| {
        figure
            .body_points_m
            .get(point)
            .map_or(fraction * tall, |p| p.y)
    };
    let (knee, hip, face) = (
        level("knee", 0.285),
        level("hip", 0.53),
        level("face", 0.936),
    );
    let (bottom, top) = match framing {
        Framing::FullLength => (-0.05 * tall, 1.06 * tall),
        Framing::ThreeQuarter => (knee + 0.3 * (hip - knee), 1.06 * tall),
        Framing::Half => (hip, 1.05 * tall),
        Framing::Beauty | Framing::Swatch => (face - 0.155 * tall, 1.035 * tall),
    };
    // Frames that hold the head alone follow it; wider ones stay on the mark.
    let beside = match (framing, figure.body_points_m.get("face")) {
        (Framing::Beauty, Some(face)) => *face,
        _ => DVec3::ZERO,
    };
    Some(Field {
        middle_m: DVec3::new(beside.x, (bottom + top) / 2.0, beside.z),
        size_m: [0.0, top - bottom],
    })
}

/// The aim as read, else the middle of the field, else the chest or the swatch.
fn settle_aim(
    log: &Log,
    t: &Table<'_>,
    read: Option<(PointSpec, DVec3)>,
    subject: &Subject<'_>,
    field: Option<&Field>,
) -> Option<(Aim, DVec3)> {
    let (at, aim_m) = match (t.has("aim"), field) {
        (true, _) => read?,
        (false, Some(field)) => (PointSpec::At(field.middle_m), field.middle_m),
        (false, None) => {
            let Some((name, p)) = subject.points.first_of(&["chest", "swatch"]) else {
                if !subject.points.lenient {
                    t.missing(log, &["aim"], "`aim`", "add aim = [x, y, z]");
                }
                return None;
            };
            (PointSpec::Named(name.to_owned()), p)
        }
    };
    let aim = Aim {
        at,
        feather: Vec::new(),
    };
    Some((aim, aim_m))
}

fn usual_focus(subject: &Subject<'_>, aim_m: DVec3) -> Focus {
    match subject.points.first_of(&["face", "swatch"]) {
        Some((name, _)) => Focus::Point(name.to_owned()),
        None => Focus::At(aim_m),
    }
}

/// A point, coordinates or a distance.
fn read_focus(log: &Log, t: &Table<'_>, subject: &Subject<'_>) -> Option<Focus> {
    t.read(log, "focus", |v| {
        let Some(written) = v.get_ref().as_str() else {
            return match subject.points.read(v)? {
                (PointSpec::At(p), _) => Ok(Focus::At(p)),
                (PointSpec::Named(name), _) => Ok(Focus::Point(name)),
            };
        };
        if subject.points.named_m.contains_key(written) {
            return Ok(Focus::Point(written.to_owned()));
        }
        if written
            .trim_start()
            .starts_with(|c: char| c.is_ascii_digit() || c == '.' || c == '-')
        {
            return quantity(&FOCUS_DISTANCE)(v).map(Focus::Distance);
        }
        subject.points.find(written).map_err(|fault| fault.at(v))?;
        Ok(Focus::Point(written.to_owned()))
    })
}

fn read_aperture(value: Value<'_>) -> Result<Aperture, Fault> {
    if let Some(written) = value.get_ref().as_str() {
        let words: Vec<String> = written.split_whitespace().map(str::to_lowercase).collect();
        if words == ["as", "metered"] || words == ["metered"] {
            return Ok(Aperture::AsMetered);
        }
    }
    quantity(&F_NUMBER)(value)
        .map(Aperture::Set)
        .map_err(|fault| Fault {
            hint: if fault.kind == Kind::OutOfRange {
                fault.hint
            } else {
                "write \"f/8\" or \"as metered\"".to_owned()
            },
            ..fault
        })
}

fn read_white_balance(value: Value<'_>) -> Result<WhiteBalance, Fault> {
    let hint = "it can be \"grey card\", \"none\" or a colour temperature such as \"5600 K\"";
    let written = text(value).map_err(|_| {
        Fault::new(
            Kind::WrongType,
            format!("must be text, not {}", type_name(value)),
            hint,
        )
        .at(value)
    })?;
    match written
        .trim()
        .to_lowercase()
        .replace(['-', '_'], " ")
        .as_str()
    {
        "grey card" | "gray card" => Ok(WhiteBalance::GreyCard),
        "none" => Ok(WhiteBalance::None),
        other if other.starts_with(|c: char| c.is_ascii_digit()) => (KELVIN.parse)(written)
            .and_then(|k| KELVIN.check(k))
            .map(WhiteBalance::Kelvin)
            .map_err(|bad| refuse(bad, value)),
        _ => Err(Fault::new(
            Kind::UnknownWord,
            format!("\"{}\" is not known", clip(written)),
            hint,
        )
        .at(value)),
    }
}
