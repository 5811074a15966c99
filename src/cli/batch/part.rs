//! Parts of a list's work: which of how many, and what each takes.

use super::super::exit::Failure;
use std::env;
use std::ops::Range;

/// More parts than this are a slip.
const MOST_PARTS: u32 = 1_000_000;

/// Which part of the work, as typed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// The number, from 1, and how many there are.
    Of(u32, u32),
    /// From the engine's variables; with how many, where that is typed.
    Env(Option<u32>),
}

/// What is shared out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Split {
    /// Whole pictures.
    Pictures,
    /// Samples too.
    Samples,
}

impl Part {
    /// "2/5", "env" or "env/5".
    ///
    /// # Errors
    /// What to type.
    pub fn typed(text: &str) -> Result<Self, String> {
        let hint = "give the part and how many there are, such as 2/5, or env, or env/5";
        let whole = |t: &str| t.trim().parse::<u32>().map_err(|_| hint.to_owned());
        let (number, of) = match text.split_once('/') {
            None if text.trim() == "env" => return Ok(Self::Env(None)),
            None => return Err(hint.to_owned()),
            Some((number, of)) => (number.trim(), whole(of)?),
        };
        if of == 0 || of > MOST_PARTS {
            return Err(format!("there can be 1 to {MOST_PARTS} parts"));
        }
        if number == "env" {
            return Ok(Self::Env(Some(of)));
        }
        match whole(number)? {
            n if (1..=of).contains(&n) => Ok(Self::Of(n, of)),
            n => Err(format!(
                "there is no part {n} of {of}: they count from 1 to {of}"
            )),
        }
    }

    /// The number, from 1, and how many there are.
    ///
    /// # Errors
    /// When no engine has set its variables, or they make no sense.
    pub fn found(self) -> Result<(u32, u32), Failure> {
        match self {
            Self::Of(number, of) => Ok((number, of)),
            Self::Env(of) => from_engine(of, |name| env::var(name).ok()),
        }
    }
}

/// Of a job array of Slurm, whose indices may begin anywhere and go in steps; or of an indexed job of
/// Kubernetes, which counts from 0 and does not say how many there are.
fn from_engine(
    typed: Option<u32>,
    variable: impl Fn(&str) -> Option<String>,
) -> Result<(u32, u32), Failure> {
    let number = |name: &str| -> Result<Option<u32>, Failure> {
        let Some(text) = variable(name) else {
            return Ok(None);
        };
        let wrong = || {
            Failure::wrong(
                format!(
                    "{name} is \"{}\", which is no whole number",
                    text.escape_debug()
                ),
                "the engine sets it; or type the part, such as --part 2/5",
            )
        };
        text.trim().parse().map(Some).map_err(|_| wrong())
    };
    let (index, of) = if let Some(id) = number("SLURM_ARRAY_TASK_ID")? {
        let least = number("SLURM_ARRAY_TASK_MIN")?.unwrap_or(1);
        let step = number("SLURM_ARRAY_TASK_STEP")?.unwrap_or(1).max(1);
        let index = id.checked_sub(least).map(|d| d / step);
        (index, typed.or(number("SLURM_ARRAY_TASK_COUNT")?))
    } else if let Some(index) = number("JOB_COMPLETION_INDEX")? {
        (Some(index), typed)
    } else {
        return Err(Failure::wrong(
            "--part env finds neither SLURM_ARRAY_TASK_ID nor JOB_COMPLETION_INDEX",
            "start it as an array job or an indexed job, or type the part, such as --part 2/5",
        ));
    };
    let of = of.filter(|n| (1..=MOST_PARTS).contains(n)).ok_or_else(|| {
        Failure::wrong(
            "the engine does not say how many parts there are",
            "type it: --part env/5",
        )
    })?;
    match index {
        Some(index) if index < of => Ok((index + 1, of)),
        _ => Err(Failure::wrong(
            format!("the engine asks for a part that is not one of {of}"),
            "make as many tasks as there are parts",
        )),
    }
}

/// What part `number` (from 1) of `of` takes of the frames, each with how many steps are its own:
/// (frame, steps). `steps` is how many each frame has; none of them is cut where pictures are shared out
/// whole.
pub fn share(steps: &[Vec<u64>], number: u32, of: u32, split: Split) -> Vec<(usize, Range<usize>)> {
    let (number, of) = (u128::from(number), u128::from(of));
    if split == Split::Pictures {
        let frames = steps.len() as u128;
        let from = ((number - 1) * frames / of) as usize;
        let to = (number * frames / of) as usize;
        return (from..to).map(|f| (f, 0..steps[f].len())).collect();
    }
    // All steps of all frames in one row; each belongs to the part in whose share its middle lies.
    let total: u128 = steps.iter().flatten().map(|w| u128::from(*w)).sum();
    let mut found: Vec<(usize, Range<usize>)> = Vec::new();
    let mut before = 0_u128;
    for (frame, steps) in steps.iter().enumerate() {
        for (step, weight) in steps.iter().enumerate() {
            let middle = 2 * before + u128::from(*weight);
            before += u128::from(*weight);
            let owner = (middle * of / (2 * total).max(1)).min(of - 1) + 1;
            if owner != number {
                continue;
            }
            match found.last_mut() {
                Some((last, range)) if *last == frame => range.end = step + 1,
                _ => found.push((frame, step..step + 1)),
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_read_as_typed() {
        assert_eq!(Part::typed("2/5"), Ok(Part::Of(2, 5)));
        assert_eq!(Part::typed(" 5 / 5 "), Ok(Part::Of(5, 5)));
        assert_eq!(Part::typed("env"), Ok(Part::Env(None)));
        assert_eq!(Part::typed("env/7"), Ok(Part::Env(Some(7))));
        for text in [
            "",
            "2",
            "0/5",
            "6/5",
            "1/0",
            "-1/3",
            "a/b",
            "1/2/3",
            "1/99999999999",
        ] {
            assert!(Part::typed(text).is_err(), "{text}");
        }
    }

    /// The variables are those of Slurm's sbatch manual (OUTPUT ENVIRONMENT VARIABLES) and of Kubernetes'
    /// documentation of indexed jobs; from memory.
    #[test]
    fn engines_say_which_part() {
        let with = |set: &[(&str, &str)], typed| {
            let set: Vec<(String, String)> = set
                .iter()
                .map(|(a, b)| ((*a).to_owned(), (*b).to_owned()))
                .collect();
            from_engine(typed, move |name| {
                Some(set.iter().find(|(n, _)| n == name)?.1.clone())
            })
            .ok()
        };
        let slurm = |id: &'static str, min: &'static str, step: &'static str| {
            [
                ("SLURM_ARRAY_TASK_ID", id),
                ("SLURM_ARRAY_TASK_MIN", min),
                ("SLURM_ARRAY_TASK_STEP", step),
                ("SLURM_ARRAY_TASK_COUNT", "4"),
            ]
        };
        assert_eq!(with(&slurm("1", "1", "1"), None), Some((1, 4)));
        assert_eq!(with(&slurm("4", "1", "1"), None), Some((4, 4)));
        assert_eq!(with(&slurm("0", "0", "1"), None), Some((1, 4)));
        assert_eq!(with(&slurm("16", "10", "2"), None), Some((4, 4)));
        assert_eq!(with(&slurm("18", "10", "2"), None), None);
        assert_eq!(with(&slurm("0", "1", "1"), None), None);
        assert_eq!(with(&slurm("x", "1", "1"), None), None);
        assert_eq!(
            with(&[("JOB_COMPLETION_INDEX", "0")], Some(3)),
            Some((1, 3))
        );
        assert_eq!(
            with(&[("JOB_COMPLETION_INDEX", "2")], Some(3)),
            Some((3, 3))
        );
        assert_eq!(with(&[("JOB_COMPLETION_INDEX", "3")], Some(3)), None);
        assert_eq!(with(&[("JOB_COMPLETION_INDEX", "0")], None), None);
        assert_eq!(with(&[], Some(3)), None);
    }

    /// However the work is cut, each step of each frame is done once, and in runs.
    #[test]
    fn shares_make_the_whole() {
        let steps: Vec<Vec<u64>> = vec![vec![4; 5], vec![16], vec![8; 3], vec![1; 9]];
        for split in [Split::Pictures, Split::Samples] {
            for of in 1..30 {
                let mut done: Vec<Vec<u32>> = steps.iter().map(|s| vec![0; s.len()]).collect();
                for number in 1..=of {
                    for (frame, range) in share(&steps, number, of, split) {
                        for step in range {
                            done[frame][step] += 1;
                        }
                    }
                }
                assert!(
                    done.iter().flatten().all(|n| *n == 1),
                    "{of} parts: {done:?}"
                );
            }
        }
        let cut = share(&steps, 1, 2, Split::Samples);
        let work: u64 = cut.iter().flat_map(|(f, r)| &steps[*f][r.clone()]).sum();
        assert!((work as i64 - 34).abs() <= 8, "{work} of 69");
    }
}
