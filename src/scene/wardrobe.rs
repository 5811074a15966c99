//! The dressed stand-in of a setup: found or built piece by piece, each kept by all that it depends on.

use super::models::{ModelError, Models, read_text, unreadable};
use crate::fabric::Structure;
use crate::figure::cloth::Mechanics;
use crate::figure::eye::EyeFrame;
use crate::figure::hair::{HairColour, Hairdo};
use crate::figure::tailor::{Layer, hide_under};
use crate::figure::{
    Body, BodyPoints, Capsule, FIGURE_VERSION, Field, FigureFile, Garment, Iris, MeshFile, Model,
    Part, Pose, Role, Scale, StandIn, Wearing, body_capsules, body_points, front_of, import_gltf,
    import_obj,
};
use crate::setup::{FigureSpec, Looks, Worn};
use glam::{DVec3, Vec3};
use std::cell::OnceCell;
use std::fs;
use std::io::BufReader;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Of cloth that does not say (common practice: between shirting and suiting).
const A_USUAL_WEIGHT_G_M2: f64 = 180.0;

/// A figure as it stands on the mark.
#[derive(Debug, Clone)]
pub struct Dressed {
    /// What it is made of.
    pub pieces: Vec<Piece>,
    /// Named places on it, metres in its own frame.
    pub points: BodyPoints,
    /// Capsules that stand for it.
    pub blocking: Vec<Capsule>,
    /// Crown over the floor, as posed.
    pub height_m: f32,
    /// Its eyes, the camera's left and right; none on a mesh of the user's own.
    pub eyes: Vec<EyeFrame>,
    /// Colour of its eyes.
    pub iris: Iris,
    /// Colour of its hair.
    pub hair: HairColour,
    /// What had to be made up of a mesh from outside.
    pub notes: Vec<String>,
}

/// Some of its parts.
#[derive(Debug, Clone)]
pub struct Piece {
    /// The parts.
    pub model: Arc<Model>,
    /// The cloth of those that are cloth.
    pub fabric: String,
}

/// A figure in its pose; its body is worked out where something has to be built on it.
struct Posed<'a> {
    who: &'a StandIn,
    pose: &'a Pose,
    body: OnceCell<Body>,
}

impl Posed<'_> {
    fn body(&self) -> &Body {
        self.body
            .get_or_init(|| Body::new(&self.who.person, self.pose))
    }
}

/// A garment that is to be worn.
struct Described {
    garment: Garment,
    path: PathBuf,
    mechanics: Mechanics,
    /// For people.
    what: String,
    /// All that its mesh depends on; nothing is kept of a mesh from outside.
    of: String,
    /// What a top is tucked into.
    tucked_in: Option<Garment>,
}

impl Models {
    /// The dressed figure, in its own frame. Built where it was not before: seconds for a figure, tens of seconds
    /// for a garment.
    ///
    /// # Errors
    /// [`ModelError`] when something is unknown, broken, or was stopped.
    pub fn dressed(&self, spec: &FigureSpec) -> Result<Arc<Dressed>, ModelError> {
        let name = format!("{spec:?}");
        if let Some(known) = self.figures().get(&name) {
            return Ok(Arc::clone(known));
        }
        let path = self.find("figure", "figures", &spec.model, "toml")?;
        let file = FigureFile::parse(&read_text(&path)?).map_err(|e| unreadable(&path, e))?;
        let dressed = match file {
            FigureFile::Made(made) => self.made(*made, spec)?,
            FigureFile::Mesh(mesh) => self.loaded(&mesh, &path, spec)?,
        };
        let dressed = Arc::new(dressed);
        self.figures().insert(name, Arc::clone(&dressed));
        Ok(dressed)
    }

    /// A pose by name.
    ///
    /// # Errors
    /// [`ModelError`] when it is unknown or broken.
    pub fn pose(&self, name: &str) -> Result<Pose, ModelError> {
        let path = self.find("pose", "poses", name, "toml")?;
        Pose::from_toml(&read_text(&path)?).map_err(|e| unreadable(&path, e))
    }

    /// A figure's data file, with what a setup changes of it.
    ///
    /// # Errors
    /// [`ModelError`] when it is unknown, broken, or does not know a word.
    pub fn figure_file(&self, name: &str) -> Result<FigureFile, ModelError> {
        let path = self.find("figure", "figures", name, "toml")?;
        FigureFile::parse(&read_text(&path)?).map_err(|e| unreadable(&path, e))
    }

    /// A garment's data file.
    ///
    /// # Errors
    /// [`ModelError`] when it is unknown or broken.
    pub fn garment_file(&self, name: &str) -> Result<Garment, ModelError> {
        let path = self.find("garment", "garments", name, "toml")?;
        Garment::parse(&read_text(&path)?).map_err(|e| unreadable(&path, e))
    }

    fn made(&self, mut who: StandIn, spec: &FigureSpec) -> Result<Dressed, ModelError> {
        put_on_looks(&mut who, &spec.looks)?;
        let pose = self.pose(&spec.pose)?;
        let person = format!("{FIGURE_VERSION} {:?} {pose:?}", who.person);
        // The scalp is tinted as the hair is.
        let looks = format!("{:?} {:?}", who.complexion, who.hairdo);
        let bare_of = format!("bare {person} {looks}");
        let mut names = bare_of.clone();
        let mut garments = Vec::new();
        let read: Vec<Garment> = (spec.garments.iter())
            .map(|worn| self.garment_file(&worn.garment))
            .collect::<Result<_, _>>()?;
        for (k, worn) in spec.garments.iter().enumerate() {
            let over = read[k + 1..].iter().find(|g| g.begins_at_the_waist());
            garments.push(self.described(worn, &who, &pose, over, &mut names)?);
        }
        // Only hair that hangs down to the shoulders meets cloth.
        let hangs = who.hairdo.as_ref().is_some_and(Hairdo::hangs);
        // From +0, or the text would say -0.00.
        let thickness_cm = garments
            .iter()
            .filter(|_| hangs)
            .fold(0.0, |sum, g| sum + 0.3 + 0.1 * g.mechanics.thickness_mm);
        let hair_of = format!("hair {person} {:?} {thickness_cm:.2}", who.hairdo);
        let points_of = format!("points {names}");
        let all = [&bare_of, &hair_of, &points_of].into_iter();
        self.stock().fetch(
            &all.chain(garments.iter().map(|g| &g.of))
                .collect::<Vec<_>>(),
        );

        let posed = Posed {
            who: &who,
            pose: &pose,
            body: OnceCell::new(),
        };
        let bare = self
            .stock()
            .get(&bare_of, "the figure", |_, _| Some(who.bare(posed.body())))?;
        let mut pieces = vec![Piece {
            model: Arc::clone(&bare),
            fabric: spec.fabric.clone(),
        }];
        for (worn, garment) in spec.garments.iter().zip(&garments) {
            let model = self.worn(garment, &posed, &pieces[1..])?;
            pieces.push(Piece {
                model,
                fabric: worn.fabric.clone(),
            });
        }
        self.hide_what_is_covered(&names, &posed, &garments, &mut pieces)?;
        let hair = self.stock().get(&hair_of, "the hair", |_, _| {
            let body = posed.body();
            let padded = Padded {
                body,
                below_cm: body.joints().neck.y + 1.0,
                by_cm: thickness_cm,
            };
            Some(who.hair(body, &padded))
        })?;
        pieces.push(Piece {
            model: hair,
            fabric: spec.fabric.clone(),
        });
        let points = self.stock().get(&points_of, "the body's points", |_, _| {
            let mut whole = Model::default();
            for piece in &pieces {
                let shown = piece.model.parts.iter().filter(|p| p.role != Role::Hair);
                whole.parts.extend(shown.cloned());
            }
            Some(Model {
                points: body_points(&whole, posed.body()),
                blocking: body_capsules(posed.body()),
                ..Model::default()
            })
        })?;
        Ok(Dressed {
            height_m: crown_m(&bare),
            eyes: eyes_of(&bare),
            pieces,
            points: points.points.clone(),
            blocking: points.blocking.clone(),
            iris: who.iris,
            hair: who.hair_colour(),
            notes: Vec::new(),
        })
    }

    /// Takes away what garments cover of those below them, so that nothing of it pokes through. Skin stays.
    fn hide_what_is_covered(
        &self,
        names: &str,
        posed: &Posed<'_>,
        garments: &[Described],
        pieces: &mut [Piece],
    ) -> Result<(), ModelError> {
        // The first is the figure itself.
        for i in 1..pieces.len() {
            let mut outer: Vec<(&Garment, Arc<Model>)> = Vec::new();
            for (piece, worn) in pieces[i + 1..].iter().zip(&garments[i..]) {
                if !self.fabric(&piece.fabric)?.behind.sheer {
                    outer.push((&worn.garment, Arc::clone(&piece.model)));
                }
            }
            if outer.is_empty() {
                continue;
            }
            let inner = Arc::clone(&pieces[i].model);
            let of = format!("shown {i} {names}");
            pieces[i].model = self.stock().get(&of, "what layers cover", |_, _| {
                Some(Model {
                    title: inner.title.clone(),
                    parts: inner
                        .parts
                        .iter()
                        .map(|part| {
                            let over = outer.iter().filter(|(g, _)| g.hides(part, &inner));
                            let over: Vec<Part> =
                                over.flat_map(|(_, m)| m.parts.iter().cloned()).collect();
                            hide_under(part, &over, posed.body())
                        })
                        .filter(|part| !part.triangles.is_empty())
                        .collect(),
                    ..Model::default()
                })
            })?;
        }
        Ok(())
    }

    /// What a garment on a made figure depends on, added to the names of all that is worn.
    fn described(
        &self,
        worn: &Worn,
        who: &StandIn,
        pose: &Pose,
        tucked_in: Option<&Garment>,
        names: &mut String,
    ) -> Result<Described, ModelError> {
        let path = self.find("garment", "garments", &worn.garment, "toml")?;
        let garment = Garment::parse(&read_text(&path)?).map_err(|e| unreadable(&path, e))?;
        let mechanics = self.mechanics(&worn.fabric)?;
        let what = format!("{} of {}", garment.title().to_lowercase(), worn.fabric);
        // What is worn below decides where it lies, and is in the names so far.
        let of = format!(
            "garment {garment:?} {mechanics:?} on {FIGURE_VERSION} {:?} {pose:?} over {}",
            who.person,
            names.split_once(" over ").map_or("", |(_, below)| below)
        ) + &tucked_in.map_or(String::new(), |outer| format!(" tucked in {outer:?}"));
        names.push_str(&match &garment {
            Garment::Mesh(mesh) => format!(" over {mesh:?}"),
            _ => format!(" over {garment:?} {mechanics:?}"),
        });
        Ok(Described {
            garment,
            path,
            mechanics,
            what,
            of,
            tucked_in: tucked_in.cloned(),
        })
    }

    /// One garment on a made figure, over what is worn below.
    fn worn(
        &self,
        described: &Described,
        posed: &Posed<'_>,
        below: &[Piece],
    ) -> Result<Arc<Model>, ModelError> {
        let Described {
            garment, mechanics, ..
        } = described;
        if let Garment::Mesh(mesh) = garment {
            return Ok(Arc::new(load(mesh, &described.path)?.0));
        }
        let (of, what) = (&described.of, &described.what);
        let model = self.stock().get(of, what, |progress, cancel| {
            let body = posed.body();
            let layer = below.iter().fold(None, |layer, piece| {
                Layer::over(layer, garment.lies_on(&piece.model), body)
            });
            let on = Wearing {
                person: &posed.who.person,
                pose: posed.pose,
                body,
                under: layer.as_ref().map(|l| l as &dyn Field),
                tucked_in: described.tucked_in.as_ref(),
            };
            garment.make(&on, mechanics, progress, cancel)
        })?;
        Ok(model)
    }

    /// How a fabric falls: as measured for its kind, or by its weight.
    fn mechanics(&self, fabric: &str) -> Result<Mechanics, ModelError> {
        if let Some(known) = Mechanics::of_fabric(fabric) {
            return Ok(known);
        }
        let weight_g_m2 = match &self.fabric(fabric)?.structure {
            Structure::Woven(cloth) => {
                let construction = cloth.spec.construction();
                let geometry = construction
                    .ok()
                    .and_then(|c| c.geometry(&cloth.drafted.drawdown).ok());
                geometry.map_or(A_USUAL_WEIGHT_G_M2, |g| g.weight_g_m2)
            }
            _ => A_USUAL_WEIGHT_G_M2,
        };
        Ok(Mechanics::of_weight(weight_g_m2))
    }

    fn loaded(
        &self,
        mesh: &MeshFile,
        path: &Path,
        spec: &FigureSpec,
    ) -> Result<Dressed, ModelError> {
        if spec.looks != Looks::default() {
            return Err(unreadable(
                path,
                "a mesh brings its own looks: size, shoes, skin, lips, cheeks, eyes, hair and wind are for figures that are made",
            ));
        }
        let (mut body, mut notes) = load(mesh, path)?;
        if matches!(mesh.options.scale, Scale::HeightM(_)) {
            stand_on_the_floor(&mut body);
        }
        let height_m = crown_m(&body);
        let mut blocking = mesh.blocking.clone();
        if blocking.is_empty() {
            blocking.push(Capsule {
                a_m: Vec3::new(0.0, 0.2, 0.0),
                b_m: Vec3::new(0.0, (height_m - 0.15).max(0.3), 0.0),
                radius_m: 0.18,
            });
        }
        let mut pieces = vec![Piece {
            model: Arc::new(body),
            fabric: spec.fabric.clone(),
        }];
        for worn in &spec.garments {
            let path = self.find("garment", "garments", &worn.garment, "toml")?;
            let Garment::Mesh(garment) =
                Garment::parse(&read_text(&path)?).map_err(|e| unreadable(&path, e))?
            else {
                return Err(unreadable(
                    &path,
                    "this garment is cut for figures that are made; on a mesh of your own, wear a mesh = \"FILE\" that fits it",
                ));
            };
            let (model, more) = load(&garment, &path)?;
            notes.extend(more);
            pieces.push(Piece {
                model: Arc::new(model),
                fabric: worn.fabric.clone(),
            });
        }
        let mut points = standing_points(&pieces, height_m);
        points.take_over(&mesh.points);
        Ok(Dressed {
            pieces,
            points,
            blocking,
            height_m,
            eyes: Vec::new(),
            iris: Iris::Brown,
            hair: HairColour::DarkBrown,
            notes,
        })
    }
}

/// Heights of body points over the floor as shares of the stature, and how far they lie to the camera's right:
/// Drillis and Contini 1966 (from memory) for eyes, chin, hip and knee; bust .72, natural waist .62 and hem above the
/// knee are common practice.
const STANDING: [(&str, f32, f32); 10] = [
    ("eyes", 0.936, 0.0),
    ("face", 0.905, 0.0),
    ("left-cheek", 0.918, -0.024),
    ("right-cheek", 0.918, 0.024),
    ("chin", 0.872, 0.0),
    ("chest", 0.72, 0.0),
    ("waist", 0.62, 0.0),
    ("hip", 0.52, 0.0),
    ("knee", 0.285, 0.055),
    ("hem", 0.33, 0.0),
];

/// Body points of a mesh that says none: where someone of its height has them, on its front.
fn standing_points(pieces: &[Piece], height_m: f32) -> BodyPoints {
    let parts = || pieces.iter().flat_map(|p| &p.model.parts);
    let front = |x: f32, y: f32| parts().filter_map(|p| front_of(p, x, y)).reduce(f32::max);
    // Arms and stands apart, the body's middle is where it is at the waist.
    let middle = |y: f32| {
        let near = parts()
            .flat_map(|p| &p.positions_m)
            .filter(|p| (p.y - y).abs() < 0.03);
        let (sum, n) = near.fold((0.0, 0), |(s, n), p| (s + p.x, n + 1));
        if n == 0 { 0.0 } else { sum / n as f32 }
    };
    let mut points: BodyPoints = STANDING
        .iter()
        .map(|&(name, share, aside)| {
            let y = share * height_m;
            let x = middle(y) + aside * height_m;
            let z = front(x, y).unwrap_or(0.1);
            (name.to_owned(), Vec3::new(x, y, z))
        })
        .collect();
    points.put("floor", Vec3::new(0.0, 0.0, 0.1));
    points
}

fn put_on_looks(who: &mut StandIn, looks: &Looks) -> Result<(), ModelError> {
    for (key, word) in looks.words() {
        if let Some(word) = word {
            who.set(key, word).map_err(|unknown| ModelError::Unknown {
                what: unknown.key,
                name: word.clone(),
                known: unknown.known,
            })?;
        }
    }
    if let Some(wind) = looks.wind {
        let (s, c) = wind.toward_rad.sin_cos();
        who.blow([s, 0.0, c], wind.strength);
    }
    Ok(())
}

/// The body with so much cloth on it below the neck.
struct Padded<'a> {
    body: &'a Body,
    below_cm: f64,
    by_cm: f64,
}

impl Field for Padded<'_> {
    fn distance(&self, p: DVec3) -> f64 {
        let d = self.body.distance(p);
        if p.y < self.below_cm {
            d - self.by_cm
        } else {
            d
        }
    }
}

fn load(mesh: &MeshFile, beside: &Path) -> Result<(Model, Vec<String>), ModelError> {
    let path = beside.with_file_name(&mesh.file);
    let file = fs::File::open(&path).map_err(|e| unreadable(&path, e))?;
    let read = BufReader::new(file);
    let is_obj = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("obj"));
    let imported = if is_obj {
        import_obj(read, &mesh.options)
    } else {
        let buffers = |name: &str| {
            if name.contains("..") || name.starts_with(['/', '\\']) {
                return Err(format!("the buffer {name} lies outside its folder"));
            }
            let file = path.with_file_name(name);
            fs::read(&file).map_err(|e| format!("cannot read {}: {e}", file.display()))
        };
        import_gltf(read, &buffers, &mesh.options)
    };
    let imported = imported.map_err(|e| unreadable(&path, e))?;
    Ok((imported.model, imported.notes))
}

/// A figure of a stated height is taken to stand, wherever its file has the floor.
fn stand_on_the_floor(model: &mut Model) {
    let places = || model.parts.iter().flat_map(|p| &p.positions_m);
    let lowest = places().map(|p| p.y).fold(f32::INFINITY, f32::min);
    for p in model.parts.iter_mut().flat_map(|p| &mut p.positions_m) {
        p.y -= lowest;
    }
}

fn crown_m(model: &Model) -> f32 {
    let places = model.parts.iter().flat_map(|p| &p.positions_m);
    places.map(|p| p.y).fold(0.0, f32::max)
}

fn eyes_of(bare: &Model) -> Vec<EyeFrame> {
    ["left", "right"]
        .iter()
        .filter_map(|side| {
            let of = |what: &str| bare.points.get(&format!(".eye.{side}.{what}"));
            Some(EyeFrame {
                centre_m: of("centre")?,
                gaze: of("gaze")?,
                up: of("up")?,
                metres_per_mm: of("size")?.x,
            })
        })
        .collect()
}
