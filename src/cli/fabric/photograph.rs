//! `fabric photograph`: a fabric from pictures of a real swatch under several lights.

use super::import::{file_stem, titled};
use super::written::{Maps, maps};
use super::{commit, read_text, unusable};
use crate::cli::exit::{Exit, Failure};
use crate::cli::resolved::PhotographRun;
use crate::cli::table::{Table, WIDEST};
use crate::cli::voice::Voice;
use crate::cli::words::{percent, significant};
use serde::{Deserialize, Serialize};
use std::fs;
use std::path::Path;
use swatchlight::fabric::Fabric;
use swatchlight::fabric::maps::{Encoding, Green, MOST_TEXELS, Picture};
use swatchlight::fabric::stereo::{Ball, Options, Shot, Swatch, Trend, recover};
use swatchlight::photometry::colour::srgb_decode;
use swatchlight::photometry::colour::transfer::srgb_encode;
use swatchlight::report::WholeFile;
use swatchlight::report::fabric_page::maps_png::{MapKind, map_png};
use swatchlight::setup::toml_reason;

/// The list of shots as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Shots {
    /// Shown to people.
    title: Option<String>,
    /// Real width of what the pictures show, within `crop_px` where that is given.
    width_mm: f64,
    #[serde(default)]
    encoding: Encoding,
    /// Value at which the pictures are burnt out.
    #[serde(default = "one")]
    clip: f64,
    #[serde(default = "grey")]
    card_reflectance: f64,
    /// Mean reflectance of the swatch, where there are no cards.
    mean_reflectance: Option<f64>,
    #[serde(default)]
    take_out: TakeOut,
    /// Left, top, width and height of the swatch in the frame.
    crop_px: Option<[u32; 4]>,
    /// The ball, where it lies still.
    ball: Option<BallAt>,
    shot: Vec<ShotAt>,
}

/// What is taken out of the slopes.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "lowercase")]
enum TakeOut {
    Nothing,
    Tilt,
    #[default]
    Bowl,
}

#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
struct BallAt {
    /// From the frame's top left.
    centre_px: [f64; 2],
    radius_px: f64,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct ShotAt {
    picture: String,
    /// Between the light and the swatch's normal.
    from_normal_deg: Option<f64>,
    /// From the right, anticlockwise.
    around_deg: Option<f64>,
    #[serde(default = "one")]
    strength: f64,
    card: Option<String>,
    ball: Option<BallAt>,
}

fn one() -> f64 {
    1.0
}

fn grey() -> f64 {
    0.18
}

/// What came of it.
#[derive(Debug, Serialize)]
struct Outcome {
    fabric: String,
    normal: String,
    height: String,
    albedo: String,
    pixels: [usize; 2],
    residual_rms: f64,
    misfit_rms: f64,
    mean_shots_used: f64,
    unsolved_share: f64,
    condition: f64,
    albedo_is_reflectance: bool,
    height_full_mm: f64,
    shots: Vec<ShotOutcome>,
}

#[derive(Debug, Serialize)]
struct ShotOutcome {
    picture: String,
    from_normal_deg: f64,
    around_deg: f64,
    shadow_share: f64,
    highlight_share: f64,
}

/// Makes maps and fabric file, and says how well the shots agree.
///
/// # Errors
/// A faulty list, pictures that cannot be read or used, files that are there already.
pub fn photograph(run: &PhotographRun, voice: &Voice) -> Result<Exit, Failure> {
    let list = run.shots.display().to_string();
    let text = read_text(&run.shots, "a list of shots, as docs/fabrics.md shows")?;
    let shots: Shots = toml::from_str(&text).map_err(|e| {
        Failure::wrong(
            format!("{list}: {}", toml_reason(&text, &e)),
            "docs/fabrics.md shows a list of shots",
        )
    })?;
    check(&shots, &list)?;
    let stem = file_stem(&run.out);
    let names = ["normal", "height", "albedo"].map(|map| format!("{stem}-{map}.png"));
    let open = |name: &String| WholeFile::open(&run.out.with_file_name(name), run.overwrite);
    let fabric_file = WholeFile::open(&run.out, run.overwrite)?;
    let [normal_file, height_file, albedo_file] =
        [open(&names[0])?, open(&names[1])?, open(&names[2])?];

    let frames = frames(&shots, &run.shots, voice)?;
    let taken: Vec<Shot<'_>> = frames.iter().map(Frame::shot).collect();
    let wrong = |e: &dyn std::fmt::Display| {
        Failure::wrong(
            format!("{list}: {e}"),
            "docs/fabrics.md tells how to take the shots",
        )
    };
    let options = Options {
        clip: shots.clip as f32,
        card_reflectance: shots.card_reflectance,
        trend: match shots.take_out {
            TakeOut::Nothing => Trend::Keep,
            TakeOut::Tilt => Trend::Tilt,
            TakeOut::Bowl => Trend::Bowl,
        },
    };
    voice.note(&format!("fitting {} shots", taken.len()));
    let swatch = recover(&taken, &options).map_err(|e| wrong(&e))?;
    let heights = swatch.heights_mm(shots.width_mm).map_err(|e| wrong(&e))?;

    let (low, high) =
        (heights.iter()).fold((f32::MAX, f32::MIN), |(l, h), v| (l.min(*v), h.max(*v)));
    // A flat swatch has a height map all the same.
    let full_mm = (high - low).max(0.001);
    let grey: Vec<[f32; 3]> = heights.iter().map(|h| [(h - low) / full_mm; 3]).collect();
    let albedo = albedo(&swatch, &shots, voice);
    let size = (swatch.width, swatch.height);
    let maps_written = [
        map_png(
            size.0,
            size.1,
            MapKind::Vectors,
            &swatch.normal_map(Green::Up),
        )?,
        map_png(size.0, size.1, MapKind::Grey, &grey)?,
        map_png(size.0, size.1, MapKind::Colour, &albedo)?,
    ];
    let title = shots.title.clone().unwrap_or_else(|| titled(&stem));
    let from = format!("{} photographs listed in {list}", taken.len());
    let text = maps(&Maps {
        title: &title,
        from: &from,
        width_mm: shots.width_mm,
        normal: &names[0],
        height: &names[1],
        albedo: &names[2],
        height_full_mm: f64::from(full_mm),
    });
    let written = |name: &str| {
        let at = names.iter().position(|n| n == name);
        at.map(|k| maps_written[k].clone())
            .ok_or_else(|| format!("{name} is no map of this"))
    };
    Fabric::parse(&text, &written).map_err(|e| unusable(&list, &e))?;
    for (file, bytes) in [normal_file, height_file, albedo_file]
        .into_iter()
        .zip(&maps_written)
    {
        commit(file, bytes)?;
    }
    commit(fabric_file, text.as_bytes())?;

    let beside = |name: &String| run.out.with_file_name(name).display().to_string();
    let outcome = Outcome {
        fabric: run.out.display().to_string(),
        normal: beside(&names[0]),
        height: beside(&names[1]),
        albedo: beside(&names[2]),
        pixels: [size.0, size.1],
        residual_rms: swatch.report.residual_rms,
        misfit_rms: swatch.report.misfit_rms,
        mean_shots_used: swatch.report.mean_used,
        unsolved_share: swatch.report.unsolved as f64 / (size.0 * size.1).max(1) as f64,
        condition: swatch.report.condition,
        albedo_is_reflectance: swatch.report.albedo_is_reflectance
            || shots.mean_reflectance.is_some(),
        height_full_mm: f64::from(full_mm),
        shots: outcomes(&shots, &swatch),
    };
    if voice.json() {
        voice.print_json(&outcome)?;
    } else {
        voice.print(&words(&outcome))?;
    }
    Ok(Exit::Done)
}

fn check(shots: &Shots, list: &str) -> Result<(), Failure> {
    let range = |key: &str, value: f64, low: f64, high: f64| match (low..=high).contains(&value) {
        true => Ok(()),
        false => Err(Failure::wrong(
            format!("{list}: {key} = {value}"),
            format!("write a number from {low} to {high}"),
        )),
    };
    range("width_mm", shots.width_mm, 0.1, 10_000.0)?;
    if let Some(mean) = shots.mean_reflectance {
        range("mean_reflectance", mean, 0.001, 1.0)?;
    }
    for (k, shot) in shots.shot.iter().enumerate() {
        let place = format!("{list}: shot {}, {}", k + 1, shot.picture);
        match (shot.from_normal_deg, shot.around_deg) {
            (Some(from), Some(around)) => {
                range("from_normal_deg", from, 0.0, 89.0)?;
                range("around_deg", around, -360.0, 360.0)?;
                if shot.ball.is_some() {
                    return Err(Failure::wrong(
                        format!("{place}: its light is given in degrees and by a ball"),
                        "keep one of them",
                    ));
                }
            }
            (None, None) if shot.ball.or(shots.ball).is_some() => {}
            _ => {
                return Err(Failure::wrong(
                    format!("{place}: where its light comes from is not said"),
                    "write from_normal_deg = 60 and around_deg = 0, or ball = { centre_px = [x, y], radius_px = r }",
                ));
            }
        }
    }
    Ok(())
}

/// A shot's pictures, cut to the swatch, and its light.
struct Frame {
    picture: Pixels,
    card: Option<Pixels>,
    direction: [f64; 3],
    strength: f64,
}

struct Pixels {
    width: usize,
    height: usize,
    rgb: Vec<[f32; 3]>,
}

impl Pixels {
    fn picture(&self) -> Picture<'_> {
        Picture {
            width: self.width,
            height: self.height,
            rgb: &self.rgb,
        }
    }
}

impl Frame {
    fn shot(&self) -> Shot<'_> {
        Shot {
            picture: self.picture.picture(),
            direction: self.direction,
            strength: self.strength,
            card: self.card.as_ref().map(Pixels::picture),
        }
    }
}

/// Reads all pictures, one at a time, so that only what is cut out of them is held.
fn frames(shots: &Shots, list: &Path, voice: &Voice) -> Result<Vec<Frame>, Failure> {
    let count = shots.shot.len();
    let mut frames = Vec::new();
    for (k, shot) in shots.shot.iter().enumerate() {
        voice.stage(
            k as f64 / count.max(1) as f64,
            &format!("reading {}", shot.picture),
        );
        let whole = read_picture(list, &shot.picture, shots.encoding)?;
        let direction = match (shot.from_normal_deg, shot.around_deg) {
            (Some(from), Some(around)) => {
                let (s, c) = from.to_radians().sin_cos();
                let (sa, ca) = around.to_radians().sin_cos();
                [s * ca, s * sa, c]
            }
            _ => by_ball(shot.ball.or(shots.ball), &whole, shot, list)?,
        };
        let card = match &shot.card {
            Some(name) => Some(cut(
                read_picture(list, name, shots.encoding)?,
                shots.crop_px,
                name,
            )?),
            None => None,
        };
        frames.push(Frame {
            picture: cut(whole, shots.crop_px, &shot.picture)?,
            card,
            direction,
            strength: shot.strength,
        });
    }
    voice.end_progress();
    Ok(frames)
}

fn by_ball(
    ball: Option<BallAt>,
    whole: &Pixels,
    shot: &ShotAt,
    list: &Path,
) -> Result<[f64; 3], Failure> {
    let Some(BallAt {
        centre_px,
        radius_px,
    }) = ball
    else {
        return Ok([0.0, 0.0, 1.0]);
    };
    let ball = Ball {
        centre_px,
        radius_px,
    };
    ball.light_direction(&whole.picture()).map_err(|e| {
        Failure::wrong(
            format!("{}: {}: {e}", list.display(), shot.picture),
            "or give this shot's light in degrees",
        )
    })
}

fn read_picture(list: &Path, name: &str, encoding: Encoding) -> Result<Pixels, Failure> {
    let path = list.with_file_name(name);
    let refuse = |why: String| {
        Failure::wrong(
            format!("{}: {why}", path.display()),
            "give a PNG, TIFF or JPEG beside the list, best with 16 bits",
        )
    };
    let bytes = fs::read(&path).map_err(|e| refuse(e.to_string()))?;
    let read = image::load_from_memory(&bytes)
        .map_err(|e| refuse(e.to_string()))?
        .into_rgb32f();
    let linear = |v: f32| match encoding {
        Encoding::Srgb => srgb_decode(f64::from(v)) as f32,
        Encoding::Linear => v,
    };
    Ok(Pixels {
        width: read.width() as usize,
        height: read.height() as usize,
        rgb: read.pixels().map(|p| p.0.map(linear)).collect(),
    })
}

/// The part of a frame that shows the swatch.
fn cut(whole: Pixels, crop_px: Option<[u32; 4]>, name: &str) -> Result<Pixels, Failure> {
    let [left, top, width, height] = match crop_px {
        Some(crop) => crop.map(|v| v as usize),
        None => [0, 0, whole.width, whole.height],
    };
    let inside = |from: usize, size: usize, all: usize| {
        size > 0 && from.checked_add(size).is_some_and(|end| end <= all)
    };
    if !inside(left, width, whole.width) || !inside(top, height, whole.height) {
        return Err(Failure::wrong(
            format!(
                "crop_px = [{left}, {top}, {width}, {height}] does not lie within {name}, which has {} × {} pixels",
                whole.width, whole.height
            ),
            "give left, top, width and height of the swatch in pixels",
        ));
    }
    if width.saturating_mul(height) > MOST_TEXELS {
        return Err(Failure::wrong(
            format!("{name}: {width} × {height} pixels are more than maps may have"),
            format!(
                "cut out less with crop_px, or make the pictures smaller: {} million pixels at most",
                MOST_TEXELS >> 20
            ),
        ));
    }
    if crop_px.is_none() {
        return Ok(whole);
    }
    let rgb = (top..top + height)
        .flat_map(|row| {
            let start = row * whole.width + left;
            whole.rgb[start..start + width].iter().copied()
        })
        .collect();
    Ok(Pixels { width, height, rgb })
}

/// Reflectances through the sRGB curve; scaled where there were no cards to tell them by.
fn albedo(swatch: &Swatch, shots: &Shots, voice: &Voice) -> Vec<[f32; 3]> {
    let luminance = |c: &[f32; 3]| f64::from(0.2126 * c[0] + 0.7152 * c[1] + 0.0722 * c[2]);
    let count = swatch.albedo.len().max(1) as f64;
    let mean = swatch.albedo.iter().map(luminance).sum::<f64>() / count;
    let mut peaks: Vec<f32> = (swatch.albedo.iter())
        .map(|c| c.iter().copied().fold(0.0, f32::max))
        .collect();
    peaks.sort_by(f32::total_cmp);
    let peak = f64::from(peaks[(0.999 * (peaks.len() - 1) as f64) as usize]);
    let gain = match shots.mean_reflectance {
        Some(wanted) if mean > 0.0 => wanted / mean,
        _ if peak > 1.0 => {
            voice.note(
                "the cloth comes out lighter than white: colours were scaled down; photograph a grey \
                 card under each light, or write mean_reflectance",
            );
            1.0 / peak
        }
        _ => 1.0,
    };
    let coded = |v: f32| srgb_encode((gain * f64::from(v)).clamp(0.0, 1.0)) as f32;
    swatch.albedo.iter().map(|c| c.map(coded)).collect()
}

fn outcomes(shots: &Shots, swatch: &Swatch) -> Vec<ShotOutcome> {
    let each = shots.shot.iter().zip(&swatch.report.shots);
    each.map(|(shot, report)| {
        let [x, y, z] = report.direction;
        ShotOutcome {
            picture: shot.picture.clone(),
            from_normal_deg: z.clamp(-1.0, 1.0).acos().to_degrees(),
            around_deg: y.atan2(x).to_degrees(),
            shadow_share: report.shadow_share,
            highlight_share: report.highlight_share,
        }
    })
    .collect()
}

fn words(o: &Outcome) -> String {
    let mut table = Table::new(["shot", "from normal", "around", "shadow", "highlight"]);
    for s in &o.shots {
        table.row([
            crate::cli::table::name(&s.picture),
            format!("{}°", significant(s.from_normal_deg, 3)),
            format!("{}°", significant(s.around_deg, 3)),
            percent(s.shadow_share),
            percent(s.highlight_share),
        ]);
    }
    let scale = if o.albedo_is_reflectance {
        "reflectance"
    } else {
        "in the pictures' own scale: there were no grey cards"
    };
    format!(
        "{}\n  maps of {} × {} pixels, {} mm from lowest to highest; albedo {scale}\n  \
         residual {} of albedo (rms of the samples kept); misfit {} with shadows and highlights\n  \
         {} shots kept at a pixel on the mean, {} of the pixels taken as flat\n\n{}",
        o.fabric,
        o.pixels[0],
        o.pixels[1],
        significant(o.height_full_mm, 3),
        percent(o.residual_rms),
        percent(o.misfit_rms),
        significant(o.mean_shots_used, 3),
        percent(o.unsolved_share),
        table.render(WIDEST)
    )
}
