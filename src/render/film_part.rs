//! Parts of a film: samples of one picture traced on several machines, put together to the bit.
//!
//! Sampling is stateless in (seed, pixel, number), so any range of samples can be traced anywhere. Sums
//! of f32 depend on their order, though. So a part keeps the sum of each [`Step`] of the schedule apart,
//! and [`merge`] adds them in the order in which a single run adds them: the film is the same, bit for
//! bit, on one kind of executor. What a part takes is pixels × steps × (12 × layers + 40) bytes.
//!
//! A part is one file: `swatchlight film`, a version, a header as JSON, then for each step the light,
//! what was seen and the spread as little-endian f32, the refused contributions, and the SHA-256 of all
//! that comes before it.

use super::driver::pass_size;
use super::executor::{Executor, ExecutorError, Passes};
use super::film::{Film, MAX_LAYERS, Seen, Spread};
use crate::scene::Scene;
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::sync::atomic::{AtomicBool, Ordering};

const MAGIC: &[u8; 16] = b"swatchlight film";
/// Raised when files of before cannot be read any more.
const VERSION: u32 = 2;
/// Longer than any header.
const LONGEST_HEADER: u32 = 64 << 20;
/// Samples of a step at the most: what an executor would rather do at once is cut, so that a picture
/// can be shared out.
const MOST_STEP_SAMPLES: u32 = 64;
/// Read and hashed at a time.
const CHUNK: usize = 1 << 20;

/// Passes that are added to the film as one sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Number of its first sample.
    pub first: u32,
    /// Samples in each of its passes.
    pub each: u32,
    /// Its passes.
    pub passes: u32,
}

impl Step {
    /// Samples in all.
    pub fn samples(&self) -> u32 {
        self.each * self.passes
    }

    /// One after its last sample.
    pub fn end(&self) -> u32 {
        self.first + self.samples()
    }

    fn as_passes(self) -> Passes {
        Passes {
            first: self.first,
            each: self.each,
            number: self.passes,
        }
    }
}

/// The steps of a picture of so many samples to a pixel, on this executor. On the processor each is one
/// pass, just as [`super::driver::render`] adds them.
pub fn steps(executor: &dyn Executor, samples: u32) -> Vec<Step> {
    let mut steps = Vec::new();
    let mut first = 0;
    while first < samples {
        let each = pass_size(first, samples);
        let most = (samples - first).min(MOST_STEP_SAMPLES) / each;
        let passes = executor.appetite(first, each).min(most).max(1);
        let step = Step {
            first,
            each,
            passes,
        };
        first = step.end();
        steps.push(step);
    }
    steps
}

/// Adds steps to a film, telling how many are done. When `stop` is set it ends early: then the film is
/// of no use to [`merge`].
///
/// # Errors
/// The executor's.
pub fn render_steps(
    executor: &mut dyn Executor,
    scene: &Scene,
    film: &mut Film,
    steps: &[Step],
    stop: &AtomicBool,
    mut told: impl FnMut(usize),
) -> Result<(), ExecutorError> {
    for (done, step) in steps.iter().enumerate() {
        executor.render(scene, film, step.as_passes(), stop)?;
        if stop.load(Ordering::Relaxed) {
            return Ok(());
        }
        told(done + 1);
    }
    Ok(())
}

/// What a part says of itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct About {
    /// Hash of all that the picture depends on.
    pub identity: String,
    /// What the picture is called, for messages.
    pub picture: String,
    /// Which kind of executor traced it.
    pub executor: String,
    /// Pixels in a row.
    pub width: u32,
    /// Rows.
    pub height: u32,
    /// Layers.
    pub layers: u32,
    /// The whole picture's schedule.
    pub steps: Vec<Step>,
    /// Which of its steps are here: first, and one after the last.
    pub held: [usize; 2],
    /// What finishing the picture needs, in the words of whoever does that; parts must agree on it.
    pub card: String,
}

impl About {
    /// Samples of the whole picture.
    pub fn samples(&self) -> u32 {
        self.steps.last().map_or(0, Step::end)
    }

    /// The range of samples here, the last one included.
    pub fn range(&self) -> [u32; 2] {
        let held = self.steps.get(self.held[0]..self.held[1]).unwrap_or(&[]);
        [
            held.first().map_or(0, |s| s.first),
            held.last().map_or(0, |s| s.end().saturating_sub(1)),
        ]
    }

    fn step_bytes(&self) -> u64 {
        let pixel = 12 * u64::from(self.layers) + (size_of::<Seen>() + size_of::<Spread>()) as u64;
        u64::from(self.width)
            .saturating_mul(u64::from(self.height))
            .saturating_mul(pixel)
    }

    /// Bytes that the part's sums take.
    pub fn bytes(&self) -> u64 {
        self.step_bytes()
            .saturating_mul(self.held[1].saturating_sub(self.held[0]) as u64)
    }

    fn is_sound(&self) -> bool {
        let follows = self.steps.windows(2).all(|w| w[0].end() == w[1].first);
        let sane = |s: &Step| {
            let samples = u64::from(s.each) * u64::from(s.passes);
            samples > 0 && u64::from(s.first) + samples <= u64::from(u32::MAX)
        };
        self.width > 0
            && self.height > 0
            && self.layers as usize <= MAX_LAYERS
            && self.steps.iter().all(sane)
            && follows
            && self.steps.first().is_some_and(|s| s.first == 0)
            && self.held[0] < self.held[1]
            && self.held[1] <= self.steps.len()
    }
}

/// Why parts give no film.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // the messages say it
pub enum PartError {
    #[error("{file} is no film part")]
    NotAPart { file: String },
    #[error("{file} is a film part of version {found}; this program reads version {VERSION}")]
    Version { file: String, found: u32 },
    #[error("{file} is damaged: {why}")]
    Damaged { file: String, why: &'static str },
    #[error("{file} and {other} do not belong together: {why}")]
    Foreign {
        file: String,
        other: String,
        why: String,
    },
    #[error("{file} and {other} both hold samples {first} to {last} of \"{picture}\"")]
    Twice {
        file: String,
        other: String,
        picture: String,
        first: u32,
        last: u32,
    },
    #[error("\"{picture}\" lacks samples {}", ranges(.missing))]
    Missing {
        picture: String,
        /// First and last of each gap.
        missing: Vec<[u32; 2]>,
    },
    #[error("there are no parts to merge")]
    None,
    #[error("cannot read {file}: {source}")]
    Io { file: String, source: io::Error },
}

fn ranges(missing: &[[u32; 2]]) -> String {
    let one = |[a, b]: &[u32; 2]| format!("{a} to {b}");
    missing.iter().map(one).collect::<Vec<_>>().join(", ")
}

/// A part on its way into a file.
#[derive(Debug)]
pub struct PartWriter<W> {
    out: W,
    hash: Sha256,
    refused: u64,
    left: usize,
}

impl<W: Write> PartWriter<W> {
    /// Begins with the header.
    ///
    /// # Errors
    /// What the system says.
    pub fn new(out: W, about: &About) -> io::Result<Self> {
        let mut part = Self {
            out,
            hash: Sha256::new(),
            refused: 0,
            left: about.held[1].saturating_sub(about.held[0]),
        };
        let header = serde_json::to_vec(about).map_err(io::Error::other)?;
        let length = u32::try_from(header.len()).map_err(io::Error::other)?;
        part.put(MAGIC)?;
        part.put(&VERSION.to_le_bytes())?;
        part.put(&length.to_le_bytes())?;
        part.put(&header)?;
        Ok(part)
    }

    /// Adds the sums of the next step: a film that holds nothing else.
    ///
    /// # Errors
    /// What the system says.
    pub fn step(&mut self, film: &Film) -> io::Result<()> {
        if self.left == 0 {
            return Err(io::Error::other("more steps than the header holds"));
        }
        self.left -= 1;
        self.floats(bytemuck::cast_slice(&film.light))?;
        self.floats(bytemuck::cast_slice(&film.seen))?;
        self.floats(bytemuck::cast_slice(&film.spread))?;
        self.refused += film.refused;
        Ok(())
    }

    /// Ends with the checksum, and gives back what was written to.
    ///
    /// # Errors
    /// What the system says.
    pub fn finish(mut self) -> io::Result<W> {
        if self.left > 0 {
            return Err(io::Error::other("fewer steps than the header holds"));
        }
        let refused = self.refused.to_le_bytes();
        self.put(&refused)?;
        let print = self.hash.finalize();
        self.out.write_all(&print)?;
        Ok(self.out)
    }

    fn floats(&mut self, values: &[f32]) -> io::Result<()> {
        for chunk in values.chunks(CHUNK / 4) {
            let bytes: Vec<u8> = chunk.iter().flat_map(|v| v.to_le_bytes()).collect();
            self.put(&bytes)?;
        }
        Ok(())
    }

    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.hash.update(bytes);
        self.out.write_all(bytes)
    }
}

/// A part in a file that has been looked through: what it holds is what was written.
#[derive(Debug)]
pub struct PartReader<R> {
    from: R,
    file: String,
    about: About,
    start: u64,
    refused: u64,
}

impl<R: Read + Seek> PartReader<R> {
    /// Reads the header and looks the whole file through; `file` is how messages call it.
    ///
    /// # Errors
    /// For a file that is none, of another version, or not as it was written.
    pub fn open(mut from: R, file: &str) -> Result<Self, PartError> {
        let io = |source| PartError::Io {
            file: file.to_owned(),
            source,
        };
        let damaged = |why| PartError::Damaged {
            file: file.to_owned(),
            why,
        };
        let length = from.seek(SeekFrom::End(0)).map_err(io)?;
        from.seek(SeekFrom::Start(0)).map_err(io)?;
        let mut head = [0; 24];
        if length < head.len() as u64 {
            let mut short = Vec::new();
            from.read_to_end(&mut short).map_err(io)?;
            return Err(match short.starts_with(MAGIC) {
                true => damaged("it ends in its header"),
                false => PartError::NotAPart {
                    file: file.to_owned(),
                },
            });
        }
        from.read_exact(&mut head).map_err(io)?;
        if head[..16] != *MAGIC {
            return Err(PartError::NotAPart {
                file: file.to_owned(),
            });
        }
        let word =
            |at: usize| u32::from_le_bytes([head[at], head[at + 1], head[at + 2], head[at + 3]]);
        let (found, header) = (word(16), word(20));
        if found != VERSION {
            return Err(PartError::Version {
                file: file.to_owned(),
                found,
            });
        }
        let start = head.len() as u64 + u64::from(header);
        if header > LONGEST_HEADER || start > length {
            return Err(damaged("it ends in its header"));
        }
        let mut bytes = vec![0; header as usize];
        from.read_exact(&mut bytes).map_err(io)?;
        let about: About =
            serde_json::from_slice(&bytes).map_err(|_| damaged("its header cannot be read"))?;
        if !about.is_sound() {
            return Err(damaged("its header contradicts itself"));
        }
        if start.saturating_add(about.bytes()).saturating_add(8 + 32) != length {
            return Err(damaged("it is not as long as its header says"));
        }
        let mut hash = Sha256::new();
        hash.update(head);
        hash.update(&bytes);
        let mut left = about.bytes() + 8;
        let mut chunk = vec![0; CHUNK];
        let mut tail = [0; 8];
        while left > 0 {
            // The last eight bytes come by themselves.
            let take = if left > 8 {
                (left - 8).min(CHUNK as u64) as usize
            } else {
                8
            };
            from.read_exact(&mut chunk[..take]).map_err(io)?;
            hash.update(&chunk[..take]);
            if left == 8 {
                tail.copy_from_slice(&chunk[..8]);
            }
            left -= take as u64;
        }
        let mut print = [0; 32];
        from.read_exact(&mut print).map_err(io)?;
        if hash.finalize()[..] != print {
            return Err(damaged("its checksum is wrong"));
        }
        Ok(Self {
            from,
            file: file.to_owned(),
            about,
            start,
            refused: u64::from_le_bytes(tail),
        })
    }

    /// What it says of itself.
    pub fn about(&self) -> &About {
        &self.about
    }

    /// How messages call it.
    pub fn file(&self) -> &str {
        &self.file
    }

    /// Adds one of its steps to a film of its shape, as an executor would.
    fn add(&mut self, step: usize, film: &mut Film) -> Result<(), PartError> {
        let file = self.file.clone();
        let io = |source| PartError::Io { file, source };
        let mut add = || -> io::Result<()> {
            let place = (step - self.about.held[0]) as u64 * self.about.step_bytes();
            self.from.seek(SeekFrom::Start(self.start + place))?;
            add_floats(&mut self.from, bytemuck::cast_slice_mut(&mut film.light))?;
            add_floats(&mut self.from, bytemuck::cast_slice_mut(&mut film.seen))?;
            add_floats(&mut self.from, bytemuck::cast_slice_mut(&mut film.spread))
        };
        add().map_err(io)?;
        let step = self.about.steps[step];
        for row in 0..film.rows as usize {
            film.row_samples[row] += step.samples();
            film.row_passes[row] += step.passes;
        }
        Ok(())
    }
}

fn add_floats(from: &mut impl Read, into: &mut [f32]) -> io::Result<()> {
    let mut bytes = vec![0; CHUNK];
    for chunk in into.chunks_mut(CHUNK / 4) {
        let bytes = &mut bytes[..4 * chunk.len()];
        from.read_exact(bytes)?;
        for (sum, b) in chunk.iter_mut().zip(bytes.chunks_exact(4)) {
            *sum += f32::from_le_bytes([b[0], b[1], b[2], b[3]]);
        }
    }
    Ok(())
}

/// The film of a picture from its parts, in any order: as a single run gives it, to the bit.
///
/// # Errors
/// As [`check`], and when a part cannot be read any more.
pub fn merge<R: Read + Seek>(mut parts: Vec<PartReader<R>>) -> Result<Film, PartError> {
    check(&mut parts)?;
    let about = parts.first().ok_or(PartError::None)?.about.clone();
    let mut film = Film::new(about.width, 0, about.height, about.layers);
    for part in &mut parts {
        for step in part.about.held[0]..part.about.held[1] {
            part.add(step, &mut film)?;
        }
        film.refused += part.refused;
    }
    Ok(film)
}

/// Puts parts in the order of their samples, and looks whether they make a whole picture.
///
/// # Errors
/// When parts do not belong together, are there twice, or some are missing.
pub fn check<R>(parts: &mut [PartReader<R>]) -> Result<(), PartError> {
    parts.sort_by_key(|p| p.about.held);
    let about = &parts.first().ok_or(PartError::None)?.about;
    for part in &parts[1..] {
        belong_together(&parts[0], part)?;
    }
    let mut missing = Vec::new();
    let mut next = 0;
    let gap = |from: usize, to: usize| [about.steps[from].first, about.steps[to - 1].end() - 1];
    for (i, part) in parts.iter().enumerate() {
        let [from, to] = part.about.held;
        if from < next {
            let [first, last] = gap(from, to.min(next));
            return Err(PartError::Twice {
                file: part.file.clone(),
                other: parts[i - 1].file.clone(),
                picture: about.picture.clone(),
                first,
                last,
            });
        }
        if from > next {
            missing.push(gap(next, from));
        }
        next = to;
    }
    if next < about.steps.len() {
        missing.push(gap(next, about.steps.len()));
    }
    if missing.is_empty() {
        return Ok(());
    }
    Err(PartError::Missing {
        picture: about.picture.clone(),
        missing,
    })
}

fn belong_together<R>(a: &PartReader<R>, b: &PartReader<R>) -> Result<(), PartError> {
    let (x, y) = (&a.about, &b.about);
    let why = if x.picture != y.picture {
        format!("they are of \"{}\" and of \"{}\"", x.picture, y.picture)
    } else if x.samples() != y.samples() {
        format!(
            "one is of {} samples a pixel, the other of {}",
            x.samples(),
            y.samples()
        )
    } else if (x.width, x.height) != (y.width, y.height) {
        format!(
            "one is {} x {} pixels, the other {} x {}",
            x.width, x.height, y.width, y.height
        )
    } else if x.executor != y.executor {
        format!(
            "one was traced by {}, the other by {}",
            x.executor, y.executor
        )
    } else if x.identity != y.identity {
        "the setup, a model in it, an option or the program changed between them".to_owned()
    } else if (x.layers, &x.steps, &x.card) != (y.layers, &y.steps, &y.card) {
        "their lights or readings are not the same".to_owned()
    } else {
        return Ok(());
    };
    Err(PartError::Foreign {
        file: b.file.clone(),
        other: a.file.clone(),
        why,
    })
}
