//! `figure`: what there is to stand in and to wear, and one figure from all round.

use super::cache;
use super::exit::{Exit, Failure};
use super::interrupt::Interrupt;
use super::resolved::FigureRun;
use super::table::{Table, WIDEST};
use super::take::open;
use super::voice::Voice;
use serde::Serialize;
use std::fs;
use std::path::Path;
use std::sync::Arc;
use swatchlight::figure::{Build, FigureFile, Measures, Person};
use swatchlight::measure::turntable::{TURNS_DEG, TurnError, TurnView, turntable};
use swatchlight::photometry::exposure::Development;
use swatchlight::render::driver::Goal;
use swatchlight::render::executor::Executor;
use swatchlight::report::swatch_page::{Panel, ScaleBar, side_by_side};
use swatchlight::report::{Metadata, Rendering, WholeFile, write_still};
use swatchlight::scene::cloth::{Dye, Shelf};
use swatchlight::scene::models::{ModelError, Models};
use swatchlight::scene::stock::Stock;
use swatchlight::scene::tables::Tables;
use swatchlight::scene::wardrobe::Dressed;
use swatchlight::setup::{Options, parse_bytes};

/// Width and height of one view.
const VIEW: [u32; 2] = [260, 520];

#[derive(Debug, Serialize)]
struct Listing {
    figures: Vec<Listed>,
    poses: Vec<Listed>,
    garments: Vec<Listed>,
}

#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    title: Option<String>,
    /// Why it cannot be used.
    error: Option<String>,
}

/// What `figure NAME --json` prints.
#[derive(Debug, Serialize)]
struct Report {
    figure: String,
    title: String,
    build: Option<&'static str>,
    size: Option<String>,
    sizes: Vec<SizeRow>,
    height_m: f32,
    parts: Vec<PartRow>,
    points_m: Vec<(String, [f32; 3])>,
    notes: Vec<String>,
    picture: Option<String>,
}

#[derive(Debug, Serialize)]
struct SizeRow {
    size: String,
    stature_cm: f64,
    chest_cm: f64,
    waist_cm: f64,
    hip_cm: f64,
    inside_leg_cm: f64,
    shoulder_breadth_cm: f64,
    upper_arm_cm: f64,
    neck_cm: f64,
}

#[derive(Debug, Serialize)]
struct PartRow {
    part: String,
    made_of: String,
    triangles: usize,
}

/// Lists figures, poses and garments, or shows one figure.
///
/// # Errors
/// An unknown name, a faulty file, a picture that cannot be made or written.
pub fn figure(run: &FigureRun, voice: &Arc<Voice>) -> Result<Exit, Failure> {
    let models = Models::for_setup(Path::new("figure.toml"));
    let Some(name) = &run.name else {
        return list(&models, voice);
    };
    let interrupt = Interrupt::listen(voice, "Stopping.")?;
    let folder = cache::folder(&run.executing);
    let models = models
        .with_tables(cache::tables(&run.executing, voice))
        .with_stock(cache::stock(folder, voice, interrupt.shared()));
    if let Some(path) = &run.out {
        drop(WholeFile::open(path, run.options.overwrite)?);
    }
    let dressed = models.dressed(&run.spec).map_err(|e| match e {
        ModelError::Stopped(_) => Failure::interrupted(e.to_string()),
        other => Failure::wrong(other.to_string(), "swatchlight figure lists what there is"),
    })?;
    voice.end_progress();
    let file = models
        .figure_file(name)
        .map_err(|e| Failure::wrong(e.to_string(), "swatchlight figure lists what there is"))?;
    let mut report = describe(name, &file, run, &dressed);
    if let Some(path) = &run.out {
        let mut executor = open(&run.executing, voice)?;
        let goal = Goal {
            samples: run.samples,
            relative_error: None,
        };
        let views = turntable(
            &run.spec,
            VIEW,
            &models,
            goal,
            &mut executor,
            interrupt.flag(),
            |i, now| {
                let share = (i as f64 + now.done) / TURNS_DEG.len() as f64;
                voice.stage(share, &format!("view {} of {}", i + 1, TURNS_DEG.len()));
            },
        )
        .map_err(|e| match e {
            TurnError::Executor(e) => e.into(),
            other => Failure::wrong(other.to_string(), "swatchlight figure lists what there is"),
        })?;
        voice.end_progress();
        if interrupt.asked() {
            return Ok(super::still::nothing_yet(voice));
        }
        draw(run, path, &report, &dressed, &views, executor.name())?;
        report.picture = Some(path.display().to_string());
        voice.note(&format!("drawn into {}", path.display()));
    }
    if voice.json() {
        voice.print_json(&report)?;
    } else {
        voice.print(&text(&report))?;
    }
    Ok(Exit::Done)
}

/// Builds what the setups in `models/setups` need into `models/made`, where every run looks first: what they
/// wear, the light of their modifiers, and the tables of all fabrics. Empties it first, unless only what is
/// `missing` is to be built.
///
/// # Errors
/// A setup that is wrong, or a folder that cannot be written.
pub fn make_ready(
    models_folder: &Path,
    missing: bool,
    voice: &Arc<Voice>,
) -> Result<Exit, Failure> {
    let interrupt = Interrupt::listen(voice, "Stopping.")?;
    let made = models_folder.join("made");
    let failed = |e: std::io::Error| Failure::working(format!("{}: {e}", made.display()));
    let folder = models_folder.join("setups");
    // Before anything is emptied: `made` beside no setups is somebody else's.
    let mut setups: Vec<_> = fs::read_dir(&folder)
        .map_err(|e| {
            Failure::wrong(
                format!("{}: {e}", folder.display()),
                "name the folder that holds setups, figures and fabrics: swatchlight make-ready models",
            )
        })?
        .flatten()
        .map(|e| e.path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    setups.sort();
    if made.is_dir() && !missing {
        fs::remove_dir_all(&made).map_err(failed)?;
    }
    let tables = Arc::new(Tables::new(Some(made.clone())));
    for path in setups {
        let stock = cache::stock(Some(made.clone()), voice, interrupt.shared());
        let models = Models::for_setup(&path)
            .with_stock(stock)
            .with_tables(Arc::clone(&tables));
        let bytes = fs::read(&path).map_err(failed)?;
        let shown = path.display().to_string();
        let parsed = parse_bytes(&bytes, &shown, &models, Options::default());
        voice.end_progress();
        if interrupt.asked() {
            return Err(Failure::interrupted("stopped before all was made"));
        }
        let setup = parsed.map_err(Failure::Problems)?.setup;
        for light in &setup.lights {
            tables.shine(&light.modifier, light.spread.unwrap_or_default());
        }
    }
    let models = Models::for_setup(&models_folder.join("setups/any.toml"));
    let shelf = Shelf::new(Some(made.clone()));
    for name in models.list("fabrics") {
        let fabric = models
            .fabric(&name)
            .map_err(|e| Failure::working(e.to_string()))?;
        shelf
            .add(&fabric, Dye::Own, &mut Vec::new())
            .map_err(|e| Failure::working(e.to_string()))?;
    }
    let kept = [
        Stock::new(Some(made.clone())).kept(),
        tables.kept(),
        shelf.kept(),
    ];
    let files: usize = kept.iter().map(|(files, _)| files).sum();
    let bytes: u64 = kept.iter().map(|(_, bytes)| bytes).sum();
    voice.print(&format!("{files} files, {:.1} MB\n", bytes as f64 / 1e6))?;
    Ok(Exit::Done)
}

fn list(models: &Models, voice: &Voice) -> Result<Exit, Failure> {
    let each = |folder: &str, read: &dyn Fn(&str) -> Result<String, ModelError>| {
        let names = models.list(folder).into_iter();
        names
            .map(|name| {
                let read = read(&name);
                Listed {
                    error: read.as_ref().err().map(ToString::to_string),
                    title: read.ok(),
                    name,
                }
            })
            .collect::<Vec<_>>()
    };
    let listing = Listing {
        figures: each("figures", &|n| {
            Ok(models.figure_file(n)?.title().to_owned())
        }),
        poses: each("poses", &|n| Ok(models.pose(n)?.title)),
        garments: each("garments", &|n| {
            Ok(models.garment_file(n)?.title().to_owned())
        }),
    };
    if voice.json() {
        voice.print_json(&listing)?;
        return Ok(Exit::Done);
    }
    let mut page = String::new();
    for (what, all) in [
        ("figure", &listing.figures),
        ("pose", &listing.poses),
        ("garment", &listing.garments),
    ] {
        let mut table = Table::new([what, ""]);
        for one in all {
            let said = one.title.clone().or_else(|| one.error.clone());
            table.row([one.name.clone(), said.unwrap_or_default()]);
        }
        page += &table.render(WIDEST);
        page.push('\n');
    }
    page += "swatchlight figure NAME --pose POSE --garment GARMENT --fabric FABRIC --out look.png shows one from all round.\n";
    voice.print(&page)?;
    Ok(Exit::Done)
}

fn describe(name: &str, file: &FigureFile, run: &FigureRun, dressed: &Dressed) -> Report {
    let person = match file {
        FigureFile::Made(made) => Some(&made.person),
        FigureFile::Mesh(_) => None,
    };
    let build = person.map(|p| p.build);
    let size = run.spec.looks.size.clone();
    Report {
        figure: name.to_owned(),
        title: file.title().to_owned(),
        build: build.map(Build::word),
        size: size.or_else(|| person.map(|p| p.size.name.clone())),
        sizes: build.map(sizes).unwrap_or_default(),
        height_m: dressed.height_m,
        parts: dressed
            .pieces
            .iter()
            .flat_map(|piece| piece.model.parts.iter().map(move |p| (piece, p)))
            .map(|(piece, p)| PartRow {
                part: p.name.clone(),
                made_of: if p.role == swatchlight::figure::Role::Cloth {
                    piece.fabric.clone()
                } else {
                    format!("{:?}", p.role).to_lowercase()
                },
                triangles: p.triangles.len(),
            })
            .collect(),
        points_m: dressed
            .points
            .names()
            .filter_map(|n| Some((n.to_owned(), dressed.points.get(n)?.to_array())))
            .collect(),
        notes: dressed.notes.clone(),
        picture: None,
    }
}

fn sizes(build: Build) -> Vec<SizeRow> {
    Person::sizes(build)
        .into_iter()
        .map(|size| {
            let person = Person {
                size,
                ..Person::new(build)
            };
            let m = Measures::of(&person);
            let tenth = |v: f64| (v * 10.0).round() / 10.0;
            SizeRow {
                size: person.size.name,
                stature_cm: tenth(m.stature),
                chest_cm: tenth(m.chest),
                waist_cm: tenth(m.waist),
                hip_cm: tenth(m.hip),
                inside_leg_cm: tenth(m.inside_leg),
                shoulder_breadth_cm: tenth(m.shoulder_breadth),
                upper_arm_cm: tenth(m.upper_arm),
                neck_cm: tenth(m.neck),
            }
        })
        .collect()
}

fn text(report: &Report) -> String {
    let mut page = format!("{} ({})\n\n", report.title, report.figure);
    if !report.sizes.is_empty() {
        let mut table = Table::new([
            "size",
            "stature",
            "chest",
            "waist",
            "hip",
            "inside leg",
            "shoulders",
            "upper arm",
            "neck",
        ]);
        for s in &report.sizes {
            let mark = if Some(&s.size) == report.size.as_ref() {
                " <"
            } else {
                ""
            };
            let girths = [
                s.stature_cm,
                s.chest_cm,
                s.waist_cm,
                s.hip_cm,
                s.inside_leg_cm,
                s.shoulder_breadth_cm,
                s.upper_arm_cm,
                s.neck_cm,
            ];
            let cells = girths.map(|v| format!("{v:.1}"));
            table.row([format!("{}{mark}", s.size)].into_iter().chain(cells));
        }
        page += &format!("cm, upright and barefoot\n{}\n", table.render(WIDEST));
    }
    let mut table = Table::new(["part", "of", "triangles"]);
    for p in &report.parts {
        table.row([p.part.clone(), p.made_of.clone(), p.triangles.to_string()]);
    }
    page += &format!("{}\n", table.render(WIDEST));
    let mut table = Table::new(["body point", "right", "up", "forward"]);
    for (name, p) in &report.points_m {
        let cells = p.map(|v| format!("{:.0} cm", v * 100.0));
        table.row([name.clone()].into_iter().chain(cells));
    }
    page += &table.render(WIDEST);
    for note in &report.notes {
        page += &format!("note: {note}\n");
    }
    page
}

fn draw(
    run: &FigureRun,
    path: &Path,
    report: &Report,
    dressed: &Dressed,
    views: &[TurnView],
    executor: String,
) -> Result<(), Failure> {
    let panels: Vec<Panel<'_>> = views
        .iter()
        .map(|v| Panel {
            rgb: &v.rgb,
            title: format!("{} deg", v.turn_deg),
            lines: Vec::new(),
        })
        .collect();
    // Full length has an eighth of the picture around the figure.
    let cm_per_px = 100.0 * f64::from(dressed.height_m) / (0.88 * f64::from(VIEW[1]));
    let picture = side_by_side(
        &panels,
        VIEW,
        &ScaleBar {
            length_px: 50.0 / cm_per_px,
            words: "50 cm".into(),
        },
    )?;
    let metadata = Metadata {
        title: report.title.clone(),
        description: format!("{} from all round, in pose {}", report.title, run.spec.pose),
        ..Metadata::default()
    };
    write_still(
        path,
        &picture,
        &Development { gain: [1.0; 3] },
        &metadata,
        &Rendering {
            samples_per_pixel: views.iter().map(|v| v.samples).min().unwrap_or(0),
            relative_error: None,
            executor,
        },
        run.options,
    )?;
    Ok(())
}
