//! `fabric import`: a woven fabric from a loom's draft, or from a grid of crossings.

use super::written::{System, Woven, woven};
use super::{LONGEST_TEXT, commit, unusable};
use crate::cli::exit::{Exit, Failure};
use crate::cli::resolved::ImportRun;
use crate::cli::voice::Voice;
use std::fs;
use std::path::{Path, PathBuf};
use swatchlight::fabric::draft::{Draft, Drawdown, Problem, read_wif};
use swatchlight::fabric::{Fabric, Structure};
use swatchlight::report::WholeFile;

/// Reflectance of a yarn that nobody has said the colour of: unbleached.
const UNDYED: [f64; 3] = [0.6, 0.55, 0.46];
/// Notes about a WIF that are said.
const MOST_NOTES: usize = 5;

/// What was read.
enum Read {
    Wif(Box<Draft>),
    Grid(Drawdown),
}

/// Makes the fabric file and, of a WIF, a copy of it beside.
///
/// # Errors
/// A file that is neither, numbers and counts that no cloth has, files that are there already.
pub fn import(run: &ImportRun, voice: &Voice) -> Result<Exit, Failure> {
    let shown = run.draft.display().to_string();
    let bytes = read_bytes(&run.draft)?;
    let read = read(&run.draft, &bytes, voice)?;
    let out = WholeFile::open(&run.out, run.overwrite)?;
    let stem = file_stem(&run.out);
    let draft = match &read {
        Read::Wif(draft) => Some(&**draft),
        Read::Grid(_) => None,
    };
    let copy = run.out.with_file_name(format!("{stem}.wif"));
    let copied = match draft {
        Some(_) if !same_file(&run.draft, &copy) => Some(WholeFile::open(&copy, run.overwrite)?),
        _ => None,
    };

    let title = run.title.clone().unwrap_or_else(|| {
        let own = draft.map_or("", |d| d.title.trim());
        if own.is_empty() {
            titled(&stem)
        } else {
            own.to_owned()
        }
    });
    let [ends, picks] = setts(run, draft, &shown)?;
    let weave = match &read {
        Read::Wif(_) => format!("{stem}.wif"),
        Read::Grid(drawdown) => drawdown.to_string(),
    };
    let [warp_colours, weft_colours] = colours(draft);
    let system = |k: usize, per_cm: f64, colours: &Option<[f64; 3]>| System {
        count: &run.counts[k],
        fibre: &run.fibres[k],
        per_cm,
        colour: colours.unwrap_or(UNDYED),
        drafted: colours.is_some(),
    };
    let text = woven(&Woven {
        title: &title,
        from: &shown,
        weave: &weave,
        systems: [
            system(0, ends, &warp_colours),
            system(1, picks, &weft_colours),
        ],
    });
    let fabric = Fabric::parse(&text, &|_| Ok(bytes.clone())).map_err(|e| unusable(&shown, &e))?;
    let warnings = warnings(&fabric);

    if let Some(file) = copied {
        commit(file, &bytes)?;
    }
    commit(out, text.as_bytes())?;
    for warning in &warnings {
        voice.note(&format!("warning: {warning}"));
    }
    if voice.json() {
        voice.print_json(&serde_json::json!({
            "fabric": run.out.display().to_string(),
            "wif": draft.map(|_| copy.display().to_string()),
            "warnings": warnings,
        }))?;
    } else {
        voice.print(&format!("{}\n", run.out.display()))?;
        voice.note(&format!(
            "swatchlight fabric {} shows it",
            run.out.display()
        ));
    }
    Ok(Exit::Done)
}

fn read_bytes(path: &Path) -> Result<Vec<u8>, Failure> {
    /// Drafts may be larger than other text.
    const LONGEST: u64 = 16 * LONGEST_TEXT;
    let wanted = "give a WIF file, or a text file with a line of X and . for each pick";
    let refuse = |why: String| Failure::wrong(format!("{}: {why}", path.display()), wanted);
    let found = fs::metadata(path).map_err(|e| refuse(e.to_string()))?;
    if found.is_dir() || found.len() > LONGEST {
        return Err(refuse("this is no draft".to_owned()));
    }
    fs::read(path).map_err(|e| refuse(e.to_string()))
}

fn read(path: &Path, bytes: &[u8], voice: &Voice) -> Result<Read, Failure> {
    let shown = path.display();
    let all = |problems: &[Problem]| {
        let lines: Vec<String> = problems
            .iter()
            .map(|p| format!("{shown}:{}:{}: {}; {}", p.line, p.column, p.message, p.hint))
            .collect();
        lines.join("\n")
    };
    let named = path
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("wif"));
    let first = bytes.iter().find(|b| !b.is_ascii_whitespace());
    if named || first == Some(&b'[') {
        let reading = read_wif(bytes)
            .map_err(|e| Failure::wrong(all(&e.0), "mend the file, or export it anew"))?;
        for note in reading.notes.iter().take(MOST_NOTES) {
            voice.note(&format!("{shown}:{}: {}", note.line, note.message));
        }
        return Ok(Read::Wif(Box::new(reading.draft)));
    }
    let text = String::from_utf8_lossy(bytes);
    Drawdown::from_grid(&text).map(Read::Grid).map_err(|e| {
        Failure::wrong(
            all(&e.0),
            "write X where the warp is on top and . where the weft is; the lowest line is the first pick",
        )
    })
}

/// Ends and picks to a centimetre: as typed, or as the draft spaces its threads.
fn setts(run: &ImportRun, draft: Option<&Draft>, shown: &str) -> Result<[f64; 2], Failure> {
    let known = |k: usize| match (run.per_cm[k], draft) {
        (Some(typed), _) => Some(typed),
        (None, Some(d)) => [&d.warp, &d.weft][k].per_cm(),
        (None, None) => None,
    };
    let need = |k: usize, what: &str| {
        known(k).ok_or_else(|| {
            Failure::wrong(
                format!("{shown} does not say how close its {what} stand"),
                format!("add --{what}-per-cm 24, say"),
            )
        })
    };
    Ok([need(0, "ends")?, need(1, "picks")?])
}

/// Mean colours of warp and weft, where the draft has one for every thread.
fn colours(draft: Option<&Draft>) -> [Option<[f64; 3]>; 2] {
    let Some(draft) = draft else {
        return [None, None];
    };
    let mean = |all: Option<Vec<[f64; 3]>>| {
        let all = all.filter(|a| !a.is_empty())?;
        let n = all.len() as f64;
        Some(std::array::from_fn(|i| {
            all.iter().map(|c| c[i]).sum::<f64>() / n
        }))
    };
    [
        mean(
            (0..draft.ends())
                .map(|k| draft.warp_reflectance(k))
                .collect(),
        ),
        mean(
            (0..draft.picks())
                .map(|k| draft.weft_reflectance(k))
                .collect(),
        ),
    ]
}

/// Why the cloth could not be woven.
fn warnings(fabric: &Fabric) -> Vec<String> {
    let Structure::Woven(cloth) = &fabric.structure else {
        return Vec::new();
    };
    let construction = cloth.spec.construction();
    let faults = construction
        .ok()
        .and_then(|c| c.faults(&cloth.drafted.drawdown).ok());
    faults
        .unwrap_or_default()
        .iter()
        .map(ToString::to_string)
        .collect()
}

/// What stands before the ending.
pub fn file_stem(path: &Path) -> String {
    path.file_stem()
        .map_or("fabric".into(), |n| n.to_string_lossy().into_owned())
}

/// "my-twill" as "My twill".
pub fn titled(stem: &str) -> String {
    let spaced = stem.replace(['-', '_'], " ");
    let mut letters = spaced.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

fn same_file(a: &Path, b: &Path) -> bool {
    let full = |p: &Path| fs::canonicalize(p).unwrap_or_else(|_| PathBuf::from(p));
    full(a) == full(b)
}
