//! `modifier`: the modifiers there are, and what one does at each of its settings.

use super::cache;
use super::exit::{Exit, Failure};
use super::resolved::{ModifierRun, SettingTyped};
use super::table::{Table, WIDEST};
use super::voice::Voice;
use super::words::{count, percent, significant, spread_and_mark};
use serde::Serialize;
use std::io::Write;
use std::path::Path;
use swatchlight::measure::modifier_page::{
    AXIS_M, Beam, EDGES_M, ModifierPage, Setting, modifier_page, spreads,
};
use swatchlight::optics::far_field::{Description, photometry_of};
use swatchlight::optics::shine::Shine;
use swatchlight::photometry::lm63;
use swatchlight::report::drawing::write_drawing;
use swatchlight::report::{WholeFile, modifier_page as page_drawing};
use swatchlight::scene::models::Models;
use swatchlight::scene::tables::Tables;
use swatchlight::setup::{Library, Modifier, Problems, UnknownName, parse_modifier_with};

/// All modifiers.
#[derive(Debug, Serialize)]
struct Listing {
    modifiers: Vec<Listed>,
}

#[derive(Debug, Serialize)]
struct Listed {
    name: String,
    title: Option<String>,
    kind: Option<&'static str>,
    face_m: Option<[f64; 2]>,
    travels: bool,
    scale: Option<String>,
    /// Why it cannot be used.
    error: Option<String>,
}

/// Lists the modifiers, or works out one's data page and reports it.
///
/// # Errors
/// An unknown name, a faulty file, a mark that is not on its scale, a picture that cannot be written.
pub fn modifier(run: &ModifierRun, voice: &Voice) -> Result<Exit, Failure> {
    // Paths as typed start from the working folder.
    let models = Models::for_setup(Path::new("modifier.toml"));
    match &run.name {
        None => list(&models, voice),
        Some(name) => show(run, name, &models, voice),
    }
}

fn show(run: &ModifierRun, name: &str, models: &Models, voice: &Voice) -> Result<Exit, Failure> {
    let (modifier, notes) = find(models, name)?;
    voice.notes(&notes);
    let wanted = match run.setting {
        None => None,
        Some(setting) => Some(spread_of(&modifier, setting)?),
    };
    // What would keep files from being written is said before the light is traced; they are opened
    // anew after that, so that an interruption leaves nothing.
    let paths = run.out.iter().map(|(path, _)| path).chain(&run.ies);
    for path in paths {
        drop(WholeFile::open(path, run.overwrite)?);
    }
    let far_field = match &run.ies {
        Some(path) => Some((path, one_setting(&modifier, wanted)?)),
        None => None,
    };
    if run.executing.threads > 0 {
        // It fails only where a pool is there already, which is as good.
        let _ = rayon::ThreadPoolBuilder::new()
            .num_threads(run.executing.threads)
            .build_global();
    }
    let tables = Tables::new(cache::folder(&run.executing));
    let spreads = spreads(&modifier, wanted);
    let settings = count(spreads.len() as u32, "setting");
    voice.note(&format!("working out {} at {settings}", modifier.name));
    let page = modifier_page(
        &modifier,
        &spreads,
        &|modifier, spread| tables.shine(modifier, spread),
        &mut |done| {
            let share = done as f64 / spreads.len() as f64;
            voice.stage(share, &format!("{done} of {settings}"));
        },
    );
    voice.end_progress();
    if let Some((path, format)) = &run.out {
        let file = WholeFile::open(path, run.overwrite)?;
        let path = file.path().display().to_string();
        write_drawing(file, *format, &page_drawing::draw(&modifier, &page))?;
        voice.note(&format!("drawn into {path}"));
    }
    if let Some((path, spread)) = far_field {
        let file = WholeFile::open(path, run.overwrite)?;
        let path = file.path().display().to_string();
        write_far_field(file, &modifier, spread, &tables.shine(&modifier, spread))?;
        voice.note(&format!("far field written to {path}"));
    }
    if voice.json() {
        voice.print_json(&page)?;
    } else {
        voice.print(&text(&page))?;
    }
    Ok(Exit::Done)
}

/// The one setting that a far field is of.
fn one_setting(modifier: &Modifier, wanted: Option<f64>) -> Result<f64, Failure> {
    match (wanted, modifier.travel) {
        (Some(spread), _) => Ok(spread),
        (None, None) => Ok(0.0),
        (None, Some(_)) => Err(Failure::wrong(
            format!(
                "the lamp of {} travels: its far field is another at each setting",
                modifier.name
            ),
            "say which with --spread or --mark",
        )),
    }
}

/// Lumens that a far field is given for.
const FAR_FIELD_LM: f64 = 1000.0;

fn write_far_field(
    file: WholeFile,
    modifier: &Modifier,
    spread: f64,
    shine: &Shine,
) -> Result<(), Failure> {
    let luminaire = match modifier.title.as_str() {
        "" => &modifier.name,
        title => title,
    };
    let setting = match modifier.travel {
        Some(_) => spread_and_mark(modifier, spread),
        None => String::new(),
    };
    let about = Description {
        luminaire,
        setting: &setting,
    };
    let photometry = photometry_of(shine, FAR_FIELD_LM, about)
        .map_err(|e| Failure::working(format!("{} has no far field: {e}", modifier.name)))?;
    file.writer()
        .write_all(lm63::write(&photometry).as_bytes())
        .map_err(|e| Failure::working(format!("cannot write {}: {e}", file.path().display())))?;
    file.commit()?;
    Ok(())
}

fn find(models: &Models, name: &str) -> Result<(Modifier, Problems), Failure> {
    let found = models.modifier(name).map_err(|e| unknown(&e))?;
    parse_modifier_with(&found.text, &found.display_path, name, models).map_err(Failure::Problems)
}

fn unknown(e: &UnknownName) -> Failure {
    let what = match e.detail.as_str() {
        "" => format!("there is no {} \"{}\"", e.what, e.name),
        why if e.what == "file" => format!("{}: {why}", e.name),
        why => why.to_owned(),
    };
    let like = |known: &&String| {
        !e.name.is_empty() && (known.contains(&e.name) || e.name.contains(known.as_str()))
    };
    let near: Vec<&str> = e.known.iter().filter(like).map(String::as_str).collect();
    let hint = if near.is_empty() {
        "swatchlight modifier lists all there are".to_owned()
    } else {
        format!("did you mean {}?", near.join(" or "))
    };
    Failure::wrong(what, hint)
}

fn spread_of(modifier: &Modifier, setting: SettingTyped) -> Result<f64, Failure> {
    if modifier.travel.is_none() {
        return Err(Failure::wrong(
            format!(
                "the lamp of {} does not travel: it has one setting",
                modifier.name
            ),
            "leave out --spread and --mark",
        ));
    }
    let mark = match setting {
        SettingTyped::Spread(spread) => return Ok(spread),
        SettingTyped::Mark(mark) => mark,
    };
    let Some(scale) = &modifier.scale else {
        return Err(Failure::wrong(
            format!("{} has no scale of its own", modifier.name),
            "give --spread 0 (tight) to 1 (wide)",
        ));
    };
    modifier.spread_of_mark(mark).ok_or_else(|| {
        Failure::wrong(
            format!("{mark} is not on the scale of {}", modifier.name),
            format!(
                "it goes from {} (tight) to {} (wide)",
                significant(scale.mark_of_spread(0.0), 3),
                significant(scale.mark_of_spread(1.0), 3)
            ),
        )
    })
}

fn list(models: &Models, voice: &Voice) -> Result<Exit, Failure> {
    let listed: Vec<Listed> = models
        .list("modifiers")
        .into_iter()
        .map(|name| match find(models, &name) {
            Ok((m, _)) => Listed {
                name,
                title: Some(m.title.clone()).filter(|t| !t.is_empty()),
                kind: Some(m.kind.word()),
                face_m: Some(m.kind.face_m()),
                travels: m.travel.is_some(),
                scale: m.scale.map(|s| s.name),
                error: None,
            },
            Err(failure) => Listed {
                name,
                title: None,
                kind: None,
                face_m: None,
                travels: false,
                scale: None,
                error: Some(match failure {
                    Failure::Problems(p) => p
                        .list()
                        .first()
                        .map_or_else(String::new, |p| p.message.clone()),
                    Failure::Message { what, .. } => what,
                    Failure::ReaderGone => String::new(),
                }),
            },
        })
        .collect();
    if voice.json() {
        voice.print_json(&Listing { modifiers: listed })?;
        return Ok(Exit::Done);
    }
    let mut table = Table::new(["modifier", "kind", "face", "lamp travels", "what it is"]);
    for m in &listed {
        let face = m.face_m.map_or_else(String::new, |[w, h]| {
            let [w, h] = [w, h].map(|side| significant(100.0 * side, 3));
            if w == h {
                format!("{w} cm")
            } else {
                format!("{w} x {h} cm")
            }
        });
        let travels = match (m.travels, &m.scale) {
            (true, Some(scale)) => format!("yes, {}", super::table::name(scale)),
            (true, None) => "yes".into(),
            (false, _) => "no".into(),
        };
        let what = match (&m.error, &m.title) {
            (Some(error), _) => format!("cannot be used: {error}"),
            (None, title) => title.clone().unwrap_or_default(),
        };
        let kind = m.kind.unwrap_or("?");
        table.row([m.name.as_str(), kind, &face, &travels, &what]);
    }
    voice.print(&table.render(120))?;
    voice.note("swatchlight modifier NAME shows what one does");
    Ok(Exit::Done)
}

/// The page, in blocks of a table and what its columns mean.
fn text(page: &ModifierPage) -> String {
    let title = if page.title.is_empty() {
        &page.modifier
    } else {
        &page.title
    };
    let [w, h] = page.face_m.map(|side| significant(100.0 * side, 3));
    let face = if w == h {
        format!("{w} cm")
    } else {
        format!("{w} x {h} cm")
    };
    let mut out = format!("{title} ({}, {}, face {face})\n", page.modifier, page.kind);
    let g = page.geometry;
    let blocks = [
        block(
            page,
            "Light on the axis",
            ["lets out".to_owned()]
                .into_iter()
                .chain(AXIS_M.map(|d| format!("{d} m")))
                .chain(["2 to 4 m".to_owned(), "like 1/d² from".to_owned()]),
            &|s| {
                let light = s.axis.iter().map(|a| significant(a.exposure_lx_s, 3));
                [percent(s.efficiency)]
                    .into_iter()
                    .chain(light)
                    .chain([
                        s.fall_2_to_4_m_stops
                            .map_or("-".into(), |stops| format!("{stops:.2} stops")),
                        s.inverse_square_from_m
                            .map_or("over 200 m".into(), |d| format!("{} m", significant(d, 2))),
                    ])
                    .collect()
            },
            &[
                "lets out: of the lamp's light, how much leaves past cloth, grid, skirt and cover."
                    .into(),
                format!(
                    "1 to 5 m: lux-seconds that {} lm s in the lamp give on the axis.",
                    g.exposure_for_lm_s
                ),
                "2 to 4 m: stops lost from twice the distance; 2 for a small source.".into(),
                "like 1/d² from: beyond this, light falls by the inverse square to 5 %.".into(),
            ],
        ),
        block(
            page,
            "Meter readings",
            AXIS_M
                .map(|d| format!("{d} m"))
                .into_iter()
                .chain(["evenness".to_owned()]),
            &|s| {
                let stops = |n: f64| format!("f/{}", significant(n, 3));
                let readings = s.axis.iter().map(|a| a.f_number.map_or("-".into(), stops));
                let even = s
                    .evenness_stops
                    .map_or("dark".into(), |e| format!("{e:.2} stops"));
                readings.chain([even]).collect()
            },
            &[
                format!(
                    "1 to 5 m: f-number that a flat meter reads for {} lm s in the lamp, ISO {}, C = {}.",
                    g.f_number_for_lm_s, g.iso, g.flat_constant
                ),
                format!(
                    "evenness: greatest to least reading from hem ({} m) to face ({} m), aimed level at the\n  chest ({} m) from {} m, the meter facing the light.",
                    g.hem_chest_face_m[0],
                    g.hem_chest_face_m[2],
                    g.hem_chest_face_m[1],
                    g.figure_at_m
                ),
            ],
        ),
        block(
            page,
            "Beam, far away",
            beam_header(page).into_iter(),
            &beam_cells,
            &["beam: full angle to half of the intensity on the axis; field: to a tenth.".into()],
        ),
        block(
            page,
            "Softness on the axis",
            EDGES_M
                .map(|d| format!("source {d} m"))
                .into_iter()
                .chain(EDGES_M.map(|d| format!("edge {d} m"))),
            &softness,
            &[
                "source: diameter of the even disk that would make the same shadow edge, metres."
                    .into(),
                format!(
                    "edge: 10-90 % width in mm of the shadow of a straight edge {} mm before the receiver;\n  two figures where its orientation matters: least and greatest.",
                    significant(1000.0 * g.edge_before_receiver_m, 3)
                ),
            ],
        ),
        account(page),
    ];
    for block in blocks.iter().filter(|b| !b.is_empty()) {
        out.push('\n');
        out += block;
    }
    out
}

fn block(
    page: &ModifierPage,
    heading: &str,
    header: impl Iterator<Item = String>,
    cells: &dyn Fn(&Setting) -> Vec<String>,
    words: &[String],
) -> String {
    let first = match (&page.scale, page.travels) {
        (Some(scale), true) => Some(format!("spread ({})", super::table::name(scale))),
        (None, true) => Some("spread".to_owned()),
        (_, false) => None,
    };
    let mut table = Table::new(first.clone().into_iter().chain(header));
    for s in &page.settings {
        let spread = s.spread.map(|spread| {
            let spread = significant(spread, 2);
            s.mark
                .map_or(spread.clone(), |mark| format!("{spread} ({})", tidy(mark)))
        });
        table.row(spread.into_iter().chain(cells(s)));
    }
    let words: String = words.iter().map(|w| format!("  {w}\n")).collect();
    format!("{heading}\n{}{words}", table.render(WIDEST))
}

/// A mark; zero but for rounding is zero.
fn tidy(mark: f64) -> String {
    significant(if mark.abs() < 1e-6 { 0.0 } else { mark }, 3)
}

fn beam_header(page: &ModifierPage) -> Vec<String> {
    let beams = page.settings.first().map_or(&[][..], |s| &s.beams);
    let named = |what: &str, b: &Beam| match b.plane {
        "all" => what.to_owned(),
        plane => format!("{what} {plane}"),
    };
    ["beam", "field"]
        .iter()
        .flat_map(|what| beams.iter().map(move |b| named(what, b)))
        .chain(["on the axis".to_owned()])
        .collect()
}

fn beam_cells(s: &Setting) -> Vec<String> {
    let angle =
        |deg: Option<f64>| deg.map_or("not reached".into(), |d| format!("{}°", significant(d, 3)));
    let beams = s.beams.iter().map(|b| angle(b.beam_deg));
    let fields = s.beams.iter().map(|b| angle(b.field_deg));
    let axis = s.beams.first().and_then(|b| b.profile.first());
    beams
        .chain(fields)
        .chain([axis.map_or("-".into(), |p| format!("{} cd/lm", significant(p[1], 3)))])
        .collect()
}

fn softness(s: &Setting) -> Vec<String> {
    // Closer together than this, they differ by the raster only.
    const ALIKE: f64 = 0.02;
    let range = |least: Option<f64>, greatest: Option<f64>, show: &dyn Fn(f64) -> String| {
        let shown = |value: Option<f64>| value.map_or("any".into(), show);
        match (least, greatest) {
            (Some(a), Some(b)) if b <= (1.0 + ALIKE) * a => show(b),
            _ => format!("{}-{}", shown(least), shown(greatest)),
        }
    };
    let at = |d: f64| s.edges.iter().find(|e| e.distance_m == d);
    let source = EDGES_M.map(|d| {
        at(d).map_or("-".into(), |e| {
            range(e.source_least_m, e.source_greatest_m, &|m| {
                format!("{m:.2}")
            })
        })
    });
    let edge = EDGES_M.map(|d| {
        at(d).map_or("-".into(), |e| {
            let [least, greatest] = [e.edge_least_mm, e.edge_greatest_mm].map(Some);
            range(least, greatest, &|mm| significant(mm, 3))
        })
    });
    source.into_iter().chain(edge).collect()
}

/// Where the lamp's light goes, for what was traced.
fn account(page: &ModifierPage) -> String {
    let mut places: Vec<&'static str> = Vec::new();
    for share in page.settings.iter().flat_map(|s| &s.account) {
        if !places.contains(&share.to) {
            places.push(share.to);
        }
    }
    if places.is_empty() {
        return String::new();
    }
    let header = places
        .iter()
        .map(|p| (*p).to_owned())
        .chain(["table noise".to_owned()]);
    block(
        page,
        "Where the lamp's light goes",
        header,
        &|s| {
            let share = |to: &&str| {
                let found = s.account.iter().find(|a| a.to == *to);
                found.map_or("-".into(), |a| percent(a.share))
            };
            let noise = s.table_error_rel.map_or("-".into(), percent);
            places.iter().map(share).chain([noise]).collect()
        },
        &["Shares of all the lamp's light; together 100 %. table noise: standard error of a cell that matters.".into()],
    )
}
