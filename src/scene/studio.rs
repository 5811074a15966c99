//! A checked setup becomes a scene: the room, the stand-in, the lights with their bodies, the
//! boards, and a meter wherever one is read.

use super::Scene;
use super::builder::{Lens, SceneBuilder};
use super::cloth::Dye;
use super::finish::{Eye, Hair, Painted, Skin};
use super::lights::add_light;
use super::materials::Surface;
use super::models::{ModelError, Models};
use super::patch::{LaidPatch, Patch};
use super::shapes;
use super::wardrobe::Dressed;
use crate::figure::{Role, swatch};
use crate::photometry::colour::light::{LightKind, TemperatureError, linear_srgb_through_gel};
use crate::photometry::exposure::Receptor;
use crate::setup::{
    Backdrop, Board, BoardKind, Finish, Frame, Light, MeterPoint, PointSpec, Room, Setting, Setup,
};
use glam::DVec3;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A hand-held meter's receptor stands this far off the cloth or skin at a named body point.
pub const METER_STANDOFF_M: f64 = 0.05;

/// Paper lies this far over the floor.
const PAPER_LIFT_M: f64 = 0.0004;

/// Cells of the room's flats, and of boards, which stand nearer to what they light.
const ROOM_CELL_M: f64 = 0.14;
const BOARD_CELL_M: f64 = 0.07;

/// Side of the floor of an open room.
const OPEN_FLOOR_M: f64 = 40.0;

/// A setup's scene with what is needed to read it.
#[derive(Debug)]
pub struct Studio {
    /// For the executors. Layers and lights correspond one to one.
    pub scene: Scene,
    /// Colour of each light, linear sRGB with luminance 1 before filters.
    pub light_rgb: Vec<[f64; 3]>,
    /// What leaves each light's face, of what its table is given.
    pub efficiency: Vec<f64>,
    /// The meter of each receptor in the scene, in order.
    pub meters: Vec<MeterPoint>,
    /// The patch laid into it, if any.
    pub patch: Option<LaidPatch>,
}

/// Why a setup cannot become a scene.
#[derive(Debug, thiserror::Error)]
pub enum StudioError {
    /// A model is missing or broken.
    #[error(transparent)]
    Model(#[from] ModelError),
    /// A fabric cannot be woven as its file says.
    #[error(transparent)]
    Fabric(#[from] crate::fabric::FabricError),
    /// A light's colour is out of reach.
    #[error("light \"{light}\": {reason}")]
    Colour {
        /// The light's name.
        light: String,
        /// What is wrong.
        reason: TemperatureError,
    },
    /// More lights than film layers.
    #[error(
        "{lights} lights are more than the {most} that a film keeps apart; leave some out, or join those that always go together"
    )]
    TooManyLights {
        /// In the setup.
        lights: usize,
        /// Allowed.
        most: usize,
    },
}

/// Most lights in a scene.
pub const MOST_LIGHTS: usize = 16;

impl Studio {
    /// Builds the scene of a setup. The lens is a pinhole until [`Studio::set_aperture`].
    ///
    /// # Errors
    /// [`StudioError`] for missing models, impossible colours and too many lights.
    pub fn build(setup: &Setup, models: &Models) -> Result<Self, StudioError> {
        Self::build_with(setup, models, None)
    }

    /// Builds the scene of a setup with a patch of cloth laid into it, and the lens before that.
    ///
    /// # Errors
    /// As [`Studio::build`].
    pub fn build_with(
        setup: &Setup,
        models: &Models,
        patch: Option<&Patch<'_>>,
    ) -> Result<Self, StudioError> {
        if setup.lights.len() > MOST_LIGHTS {
            return Err(StudioError::TooManyLights {
                lights: setup.lights.len(),
                most: MOST_LIGHTS,
            });
        }
        let without_swatch = patch.is_some_and(|p| p.is_the_swatch);
        let ground = ground(setup, models, without_swatch)?;
        let mut b = match Arc::try_unwrap(ground) {
            Ok(only) => only,
            Err(kept) => kept.with_room(),
        };
        let cloths = models.grounds().map(|g| &g.cloths);
        let patch = patch.map(|p| p.add(&mut b, cloths)).transpose()?;
        let mut colours = Vec::new();
        let mut efficiency = Vec::new();
        for light in &setup.lights {
            colours.push(light_rgb(light)?);
            efficiency.push(add_light(&mut b, light, models.tables()));
        }
        for board in &setup.boards {
            add_board(&mut b, board);
        }
        let meters = meters_of(setup);
        for m in &meters {
            let off = if matches!(m.at, PointSpec::Named(_)) {
                METER_STANDOFF_M
            } else {
                0.0
            };
            b.receptor(
                m.position_m + m.direction * off,
                m.direction,
                m.receptor == Receptor::Dome,
            );
        }
        let mut studio = Self {
            scene: b.build(),
            light_rgb: colours,
            efficiency,
            meters,
            patch,
        };
        studio.point_lens(setup, 0.0);
        Ok(studio)
    }

    /// Builds ahead, where grounds are kept, what a setup's scene rests on.
    ///
    /// # Errors
    /// As [`Studio::build`].
    pub fn prepare(setup: &Setup, models: &Models) -> Result<(), StudioError> {
        if models.grounds().is_some() {
            let shine = |l: &Light| {
                models
                    .tables()
                    .shine(&l.modifier, l.spread.unwrap_or_default())
            };
            let shines = || setup.lights.iter().for_each(|l| drop(shine(l)));
            rayon::join(|| ground(setup, models, false), shines).0?;
        }
        Ok(())
    }

    /// Opens the lens to an f-number.
    pub fn set_aperture(&mut self, setup: &Setup, f_number: f64) {
        self.point_lens(setup, setup.camera.focal_length_m / (2.0 * f_number));
    }

    fn point_lens(&mut self, setup: &Setup, radius_m: f64) {
        self.scene.set_lens(&lens_of(setup, radius_m));
        if setup.camera.has_sensor_pixels() {
            self.scene.sample_as_sensor(setup.camera.low_pass);
        }
    }

    /// The receptor that reads a meter point.
    pub fn meter(&self, point: &MeterPoint) -> Option<usize> {
        self.meters.iter().position(|m| m == point)
    }
}

/// The set before lights, boards and meters come into it.
fn ground(
    setup: &Setup,
    models: &Models,
    without_swatch: bool,
) -> Result<Arc<SceneBuilder>, StudioError> {
    let build = || {
        let mut b = SceneBuilder::new().with_shelf(models.shelf());
        add_room(&mut b, &setup.room);
        add_backdrop(&mut b, &setup.backdrop);
        let mut cloths = Cloths::default();
        add_figure(&mut b, setup, models, &mut cloths)?;
        if !without_swatch {
            add_swatch(&mut b, setup, models, &mut cloths)?;
        }
        b.settle();
        Ok(b)
    };
    let Some(kept) = models.grounds() else {
        return build().map(Arc::new);
    };
    let figure = setup.figure.as_ref().map(|f| (&f.spec, f.turn_rad));
    let swatch = setup.swatch.as_ref().filter(|s| s.shown && !without_swatch);
    let description = format!("{:?}", (&setup.room, &setup.backdrop, figure, swatch));
    kept.get(&description, build)
}

/// Every meter the setup asks for, each once: its points, where it exposes, and where lights are set.
fn meters_of(setup: &Setup) -> Vec<MeterPoint> {
    let targets = setup.lights.iter().filter_map(|l| match &l.output.setting {
        Setting::Meters { at, .. } => Some(at),
        Setting::Power(_) => None,
    });
    let mut meters: Vec<MeterPoint> = Vec::new();
    for m in setup
        .meter
        .points
        .iter()
        .chain([&setup.meter.expose_at])
        .chain(targets)
    {
        if !meters.contains(m) {
            meters.push(m.clone());
        }
    }
    meters
}

fn lens_of(setup: &Setup, radius_m: f64) -> Lens {
    let c = &setup.camera;
    let image_distance_m = c.image_distance_m();
    Lens {
        centre_m: c.position_m,
        right: c.right,
        up: c.up,
        forward: c.direction,
        image_distance_m,
        focus_distance_m: c.focus_m,
        radius_m,
        picture_m: c.picture_m,
        shift_m: c.shift_tan.map(|t| t * image_distance_m),
        pixels: c.pixels,
    }
}

fn rgb(c: [f64; 3]) -> [f32; 3] {
    c.map(|v| v as f32)
}

fn add_room(b: &mut SceneBuilder, room: &Room) {
    let Some(shell) = &room.shell else {
        // The floor of an open room is known near the set and plain beyond.
        let floor = b.surface(Surface::Diffuse(rgb(room.floor_reflectance)));
        let near = OPEN_FLOOR_M / 5.0;
        for (x, z, w, d) in [
            (0.0, 0.6, 1.0, 0.4),
            (0.0, -0.6, 1.0, 0.4),
            (0.6, 0.0, 0.4, 0.2),
            (-0.6, 0.0, 0.4, 0.2),
        ] {
            let at = DVec3::new(x, 0.0, z) * (0.5 * OPEN_FLOOR_M);
            b.mesh(
                &shapes::rectangle(&upward(at), [w * OPEN_FLOOR_M, d * OPEN_FLOOR_M]),
                floor,
            );
        }
        add_flat(
            b,
            &upward(DVec3::ZERO),
            [near; 2],
            rgb(room.floor_reflectance),
            ROOM_CELL_M,
        );
        return;
    };
    let [x0, x1] = shell.x_m;
    let [z0, z1] = shell.z_m;
    let h = shell.height_m;
    let middle = DVec3::new(0.5 * (x0 + x1), 0.0, 0.5 * (z0 + z1));
    let (width, depth) = (x1 - x0, z1 - z0);
    add_flat(
        b,
        &upward(middle),
        [width, depth],
        rgb(room.floor_reflectance),
        ROOM_CELL_M,
    );
    let down = Frame {
        origin_m: middle + DVec3::Y * h,
        x: DVec3::X,
        y: DVec3::Z,
        z: DVec3::NEG_Y,
    };
    add_flat(
        b,
        &down,
        [width, depth],
        rgb(shell.ceiling_reflectance),
        ROOM_CELL_M,
    );
    let (walls, back) = (
        rgb(shell.walls_reflectance),
        rgb(shell.back_wall_reflectance),
    );
    let wall = |at: DVec3, z: DVec3| Frame {
        origin_m: at + DVec3::Y * (0.5 * h),
        x: DVec3::Y.cross(z),
        y: DVec3::Y,
        z,
    };
    add_flat(
        b,
        &wall(DVec3::new(middle.x, 0.0, z0), DVec3::Z),
        [width, h],
        back,
        ROOM_CELL_M,
    );
    add_flat(
        b,
        &wall(DVec3::new(middle.x, 0.0, z1), DVec3::NEG_Z),
        [width, h],
        walls,
        ROOM_CELL_M,
    );
    add_flat(
        b,
        &wall(DVec3::new(x0, 0.0, middle.z), DVec3::X),
        [depth, h],
        walls,
        ROOM_CELL_M,
    );
    add_flat(
        b,
        &wall(DVec3::new(x1, 0.0, middle.z), DVec3::NEG_X),
        [depth, h],
        walls,
        ROOM_CELL_M,
    );
}

/// A matt rectangle whose bounced light is found beforehand.
fn add_flat(
    b: &mut SceneBuilder,
    frame: &Frame,
    size_m: [f64; 2],
    reflectance: [f32; 3],
    cell_m: f64,
) {
    let f = *frame;
    b.flat(
        &shapes::rectangle(frame, size_m),
        reflectance,
        cell_m,
        |uv_cm| {
            let at = f.origin_m + 0.01 * (f.x * f64::from(uv_cm.x) + f.y * f64::from(uv_cm.y));
            (at.as_vec3(), f.z.as_vec3())
        },
    );
}

fn upward(origin_m: DVec3) -> Frame {
    Frame {
        origin_m,
        x: DVec3::X,
        y: DVec3::NEG_Z,
        z: DVec3::Y,
    }
}

fn add_backdrop(b: &mut SceneBuilder, backdrop: &Backdrop) {
    let Backdrop::Seamless(p) = backdrop else {
        return;
    };
    let paper = shapes::Seamless {
        width_m: p.width_m,
        height_m: p.height_m,
        behind_m: p.behind_m,
        curve_m: p.curve_m,
        forward_m: p.forward_m,
        lift_m: PAPER_LIFT_M,
    };
    b.flat(&paper.mesh(), rgb(p.reflectance), ROOM_CELL_M, |uv_cm| {
        let (at, normal) = paper.at(0.01 * f64::from(uv_cm.x), 0.01 * f64::from(uv_cm.y));
        (at.as_vec3(), normal.as_vec3())
    });
}

/// Surfaces of the cloths of a set as they are dyed, by the fabric's name.
#[derive(Default)]
struct Cloths(BTreeMap<String, u32>);

impl Cloths {
    fn surface(
        &mut self,
        b: &mut SceneBuilder,
        models: &Models,
        fabric: &str,
    ) -> Result<u32, StudioError> {
        if let Some(known) = self.0.get(fabric) {
            return Ok(*known);
        }
        let surface = b.cloth(&models.fabric(fabric)?, Dye::Own)?;
        self.0.insert(fabric.to_owned(), surface);
        Ok(surface)
    }
}

fn add_figure(
    b: &mut SceneBuilder,
    setup: &Setup,
    models: &Models,
    cloths: &mut Cloths,
) -> Result<(), StudioError> {
    let Some(figure) = &setup.figure else {
        return Ok(());
    };
    let dressed = models.dressed(&figure.spec)?;
    let turn = |v: DVec3| figure.room_from_figure(v);
    let parts = || dressed.pieces.iter().flat_map(|p| &p.model.parts);
    b.reserve(
        parts().map(|p| p.positions_m.len()).sum(),
        parts().map(|p| p.triangles.len()).sum(),
    );
    for piece in &dressed.pieces {
        for part in &piece.model.parts {
            let surface = match part.role {
                Role::Cloth => cloths.surface(b, models, &piece.fabric)?,
                role => b.surface(surface_of(role, &part.name, &dressed, &turn)),
            };
            let mesh = shapes::placed(
                &part.positions_m,
                &part.normals,
                &part.uvs_cm,
                &part.triangles,
                turn,
                turn,
            );
            if part.paint.is_empty() || part.role == Role::Cloth {
                b.mesh(&mesh, surface);
            } else {
                b.mesh_painted(&mesh, surface, &part.paint);
            }
        }
    }
    Ok(())
}

/// What a part of the figure is made of.
fn surface_of(role: Role, name: &str, dressed: &Dressed, turn: &dyn Fn(DVec3) -> DVec3) -> Surface {
    let side = usize::from(name.ends_with(".right"));
    match role {
        Role::Skin => Surface::Skin(Skin::default()),
        Role::Eye => match dressed.eyes.get(side).filter(|_| name.starts_with("eye")) {
            Some(eye) => {
                let iris = dressed.iris.rgb();
                Surface::Eye(Eye {
                    centre_m: turn(eye.centre_m.as_dvec3()).as_vec3().to_array(),
                    gaze: turn(eye.gaze.as_dvec3()).as_vec3().to_array(),
                    up: turn(eye.up.as_dvec3()).as_vec3().to_array(),
                    scale: eye.metres_per_mm * 1e3,
                    iris,
                    // Lighter and warmer about the pupil.
                    iris_inner: [iris[0] * 1.5, iris[1] * 1.35, iris[2] * 1.1],
                    pattern: 17 + 31 * side as u32,
                    ..Eye::default()
                })
            }
            // The wet line along the lid, and eyes of a mesh from outside.
            None => Surface::Painted(Painted {
                base: [0.42, 0.34, 0.31],
                gloss: 1.0,
                glossy_alpha: 0.04,
                eta: 1.336,
                ..Painted::default()
            }),
        },
        Role::Hair => Surface::Hair(Hair {
            colour: dressed.hair.strand_rgb().map(|c| c as f32),
            ..Hair::default()
        }),
        Role::Shoe => Surface::Painted(Painted::default()),
        Role::Trim => Surface::Painted(Painted {
            base: [0.12; 3],
            gloss: 0.5,
            ..Painted::default()
        }),
        Role::Stand => Surface::Coated {
            base: [0.08; 3],
            alpha: 0.3,
            eta: 1.5,
        },
        Role::Cloth | Role::Other => Surface::Painted(Painted {
            base: [0.3; 3],
            gloss: 0.2,
            ..Painted::default()
        }),
    }
}

fn add_swatch(
    b: &mut SceneBuilder,
    setup: &Setup,
    models: &Models,
    cloths: &mut Cloths,
) -> Result<(), StudioError> {
    let Some(s) = setup.swatch.as_ref().filter(|s| s.shown) else {
        return Ok(());
    };
    let surface = cloths.surface(b, models, &s.fabric)?;
    let frame = s.frame;
    let turn = |v: DVec3| frame.x * v.x + frame.y * v.y + frame.z * v.z;
    for part in &swatch::patch(s.size_m[0] as f32, s.size_m[1] as f32, s.lay).parts {
        let place = |v: DVec3| frame.origin_m + turn(v);
        b.mesh(
            &shapes::placed(
                &part.positions_m,
                &part.normals,
                &part.uvs_cm,
                &part.triangles,
                place,
                turn,
            ),
            surface,
        );
    }
    // The card that it is mounted on shows as a narrow border.
    let card = b.surface(Surface::Diffuse([0.18; 3]));
    let (front, rest) = shapes::slab(&frame, s.size_m.map(|v| v + 0.012), -0.0006, 0.003);
    b.mesh(&front, card);
    b.mesh(&rest, card);
    Ok(())
}

/// A light's colour, linear sRGB with luminance 1 before filters.
///
/// # Errors
/// [`StudioError::Colour`] for one out of reach.
pub fn light_rgb(light: &Light) -> Result<[f64; 3], StudioError> {
    let c = &light.colour;
    let tint =
        linear_srgb_through_gel(c.kelvin, LightKind::Auto, c.gel_mired).map_err(|reason| {
            StudioError::Colour {
                light: light.name.clone(),
                reason,
            }
        })?;
    Ok(std::array::from_fn(|i| tint[i] * c.filter[i]))
}

fn finish_surface(finish: &Finish) -> Surface {
    match finish {
        // Crinkled: a wide lobe, little of it diffuse.
        Finish::Silver => Surface::Metal {
            facing: rgb(finish.reflectance()),
            alpha: 0.35,
        },
        _ => Surface::Diffuse(rgb(finish.reflectance())),
    }
}

fn add_board(b: &mut SceneBuilder, board: &Board) {
    match &board.kind {
        BoardKind::Board { front, back } | BoardKind::Flag { front, back } => {
            let (face, rest) = shapes::slab(
                &board.frame,
                board.size_m,
                0.0,
                board.thickness_m.max(0.001),
            );
            match finish_surface(front) {
                Surface::Diffuse(reflectance) => {
                    add_flat(b, &board.frame, board.size_m, reflectance, BOARD_CELL_M)
                }
                other => {
                    let front = b.surface(other);
                    b.mesh(&face, front);
                }
            }
            let back = b.surface(finish_surface(back));
            b.mesh(&rest, back);
        }
        BoardKind::Scrim(cloth) => {
            let sheet = b.surface(Surface::Sheet {
                back: [cloth.reflected as f32; 3],
                through: [cloth.scattered as f32; 3],
                straight: cloth.straight as f32,
            });
            b.mesh(&shapes::rectangle(&board.frame, board.size_m), sheet);
        }
    }
}
