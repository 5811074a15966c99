//! An executor that does not give up: when a graphics device is lost or refuses, the processor
//! carries on from the film.

use super::choose::Chosen;
use super::cpu::Cpu;
use super::executor::{Block, Executor, ExecutorError, GetReady, Passes};
use super::film::Film;
use crate::scene::Scene;
use std::ops::Range;
use std::sync::atomic::AtomicBool;

/// Runs on the chosen executor, and on the processor from its first failure on.
pub struct Steady {
    executor: Box<dyn Executor>,
    on_cpu: bool,
    threads: usize,
    /// What ran before, with its rays.
    before: Option<(String, u64)>,
    tell: Box<dyn FnMut(&str) + Send>,
}

impl Steady {
    /// `threads` is for the processor, 0 for all it has; `tell` is told when the executor changes,
    /// and why.
    pub fn new(chosen: Chosen, threads: usize, tell: impl FnMut(&str) + Send + 'static) -> Self {
        Self {
            executor: chosen.executor,
            on_cpu: chosen.on_cpu,
            threads,
            before: None,
            tell: Box::new(tell),
        }
    }

    /// Changes to the processor after a failure; gives the failure back where it failed itself.
    fn change(&mut self, failure: ExecutorError) -> Result<(), ExecutorError> {
        if self.on_cpu {
            return Err(failure);
        }
        let cpu = Cpu::new(self.threads)?;
        let failed = std::mem::replace(&mut self.executor, Box::new(cpu));
        (self.tell)(&format!(
            "{} failed ({failure}); going on on the {}",
            failed.name(),
            self.executor.name()
        ));
        self.before = Some((failed.name(), failed.rays().unwrap_or(0)));
        self.on_cpu = true;
        Ok(())
    }
}

impl Executor for Steady {
    /// What runs; where it has changed, "A, then B".
    fn name(&self) -> String {
        match &self.before {
            None => self.executor.name(),
            Some((before, _)) => format!("{before}, then {}", self.executor.name()),
        }
    }

    fn appetite(&self, samples: u32, each: u32) -> u32 {
        self.executor.appetite(samples, each)
    }

    fn render(
        &mut self,
        scene: &Scene,
        film: &mut Film,
        passes: Passes,
        stop: &AtomicBool,
    ) -> Result<(), ExecutorError> {
        let before = film.row_samples.clone();
        let Err(failure) = self.executor.render(scene, film, passes, stop) else {
            return Ok(());
        };
        self.change(failure)?;
        // Rows that got the pass before the failure keep it.
        for rows in runs(film.rows, |row| film.row_samples[row] == before[row]) {
            let mut part = cut(film, rows.clone());
            self.executor.render(scene, &mut part, passes, stop)?;
            paste(film, rows, part);
        }
        Ok(())
    }

    fn read(
        &mut self,
        scene: &Scene,
        block_samples: u32,
        first_block: u32,
        blocks: u32,
    ) -> Result<Vec<Vec<Block>>, ExecutorError> {
        match self
            .executor
            .read(scene, block_samples, first_block, blocks)
        {
            Ok(read) => Ok(read),
            Err(failure) => {
                self.change(failure)?;
                self.executor
                    .read(scene, block_samples, first_block, blocks)
            }
        }
    }

    fn rays(&self) -> Option<u64> {
        Some(self.executor.rays()? + self.before.as_ref().map_or(0, |(_, rays)| *rays))
    }

    fn unready(&self, scene: &Scene) -> Option<GetReady> {
        self.executor.unready(scene)
    }

    fn hurry(&mut self) {
        self.executor.hurry();
    }
}

/// Gives one sample to the rows that have none, so that an interrupted picture has no holes.
///
/// # Errors
/// The executor's.
pub fn fill_empty_rows(
    executor: &mut dyn Executor,
    scene: &Scene,
    film: &mut Film,
) -> Result<(), ExecutorError> {
    for rows in runs(film.rows, |row| film.row_samples[row] == 0) {
        let mut part = cut(film, rows.clone());
        executor.render(scene, &mut part, Passes::one(0, 1), &AtomicBool::new(false))?;
        paste(film, rows, part);
    }
    Ok(())
}

/// Runs of neighbouring rows for which `wanted` holds.
fn runs(rows: u32, wanted: impl Fn(usize) -> bool) -> Vec<Range<u32>> {
    let mut runs: Vec<Range<u32>> = Vec::new();
    for row in (0..rows).filter(|r| wanted(*r as usize)) {
        match runs.last_mut() {
            Some(last) if last.end == row => last.end = row + 1,
            _ => runs.push(row..row + 1),
        }
    }
    runs
}

/// Those rows of a film, with what they hold.
fn cut(film: &Film, rows: Range<u32>) -> Film {
    let pixels = places(film, &rows, 1);
    let lights = places(film, &rows, film.layers as usize);
    let rows_held = rows.start as usize..rows.end as usize;
    Film {
        first_row: film.first_row + rows.start,
        rows: rows.end - rows.start,
        light: film.light[lights].to_vec(),
        seen: film.seen[pixels.clone()].to_vec(),
        spread: film.spread[pixels].to_vec(),
        row_samples: film.row_samples[rows_held.clone()].to_vec(),
        row_passes: film.row_passes[rows_held].to_vec(),
        only: film.only.clone(),
        refused: 0,
        ..*film
    }
}

/// Puts rows back where they were cut.
fn paste(film: &mut Film, rows: Range<u32>, part: Film) {
    let pixels = places(film, &rows, 1);
    let lights = places(film, &rows, film.layers as usize);
    let rows_held = rows.start as usize..rows.end as usize;
    film.light[lights].copy_from_slice(&part.light);
    film.seen[pixels.clone()].copy_from_slice(&part.seen);
    film.spread[pixels].copy_from_slice(&part.spread);
    film.row_samples[rows_held.clone()].copy_from_slice(&part.row_samples);
    film.row_passes[rows_held].copy_from_slice(&part.row_passes);
    film.refused += part.refused;
}

fn places(film: &Film, rows: &Range<u32>, per_pixel: usize) -> Range<usize> {
    let row = film.width as usize * per_pixel;
    rows.start as usize * row..rows.end as usize * row
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::table::{Emission, Face};
    use crate::scene::builder::{Axes, Lens, SceneBuilder};
    use crate::scene::materials::Surface;
    use crate::scene::shapes;
    use glam::DVec3;
    use std::sync::{Arc, Mutex};

    /// Does some rows of each pass, then fails, as a device that is lost does.
    struct Failing {
        cpu: Cpu,
        good_calls: u32,
    }

    impl Executor for Failing {
        fn name(&self) -> String {
            "failing".into()
        }
        fn appetite(&self, _: u32, _: u32) -> u32 {
            1
        }
        fn render(
            &mut self,
            scene: &Scene,
            film: &mut Film,
            passes: Passes,
            stop: &AtomicBool,
        ) -> Result<(), ExecutorError> {
            if self.good_calls > 0 {
                self.good_calls -= 1;
                return self.cpu.render(scene, film, passes, stop);
            }
            for rows in [0..2, 5..6] {
                let mut part = cut(film, rows.clone());
                self.cpu.render(scene, &mut part, passes, stop)?;
                paste(film, rows, part);
            }
            Err(ExecutorError {
                what: "device lost".into(),
            })
        }
        fn read(
            &mut self,
            _: &Scene,
            _: u32,
            _: u32,
            _: u32,
        ) -> Result<Vec<Vec<Block>>, ExecutorError> {
            Err(ExecutorError {
                what: "device lost".into(),
            })
        }
        fn rays(&self) -> Option<u64> {
            self.cpu.rays()
        }
    }

    fn cpu() -> Cpu {
        Cpu::new(2).expect("threads")
    }

    /// A floor under a panel, seen from above, and one meter.
    fn scene() -> Scene {
        let mut b = SceneBuilder::new();
        let floor = b.surface(Surface::Diffuse([0.5; 3]));
        let up = Axes {
            origin_m: DVec3::ZERO,
            x: DVec3::X,
            y: DVec3::NEG_Z,
            z: DVec3::Y,
        };
        b.mesh(&shapes::rectangle(&up, [4.0; 2]), floor);
        let layer = b.layer("panel");
        let down = Axes {
            origin_m: DVec3::Y * 2.0,
            x: DVec3::X,
            y: DVec3::Z,
            z: DVec3::NEG_Y,
        };
        b.emitter(
            &Emission::lambertian(Face::Rect {
                half_x_m: 0.5,
                half_y_m: 0.5,
            }),
            down,
            layer,
        );
        b.receptor(DVec3::Y * 0.1, DVec3::Y, false);
        b.lens(&Lens {
            centre_m: DVec3::new(0.0, 1.0, 2.0),
            right: DVec3::X,
            up: DVec3::new(0.0, 2.0, -1.0).normalize(),
            forward: DVec3::new(0.0, -1.0, -2.0).normalize(),
            image_distance_m: 0.05,
            focus_distance_m: 2.0,
            radius_m: 0.0,
            picture_m: [0.024, 0.036],
            shift_m: [0.0; 2],
            pixels: [6, 9],
        });
        b.build()
    }

    fn steady(good_calls: u32, told: &Arc<Mutex<Vec<String>>>) -> Steady {
        let failing = Failing {
            cpu: cpu(),
            good_calls,
        };
        let chosen = Chosen {
            executor: Box::new(failing),
            reason: String::new(),
            on_cpu: false,
        };
        let told = Arc::clone(told);
        Steady::new(chosen, 2, move |text| {
            told.lock().expect("one thread").push(text.to_owned())
        })
    }

    #[test]
    fn the_processor_carries_on_from_the_film() {
        let scene = scene();
        let go = AtomicBool::new(false);
        let render = |executor: &mut dyn Executor| {
            let mut film = Film::new(6, 0, 9, 1);
            for first in [0, 4, 8] {
                executor
                    .render(&scene, &mut film, Passes::one(first, 4), &go)
                    .expect("some executor goes on");
            }
            film
        };
        let whole = render(&mut cpu());
        assert!(whole.light.iter().any(|l| l[0] > 0.0));
        let told = Arc::default();
        let mut executor = steady(1, &told);
        let carried = render(&mut executor);
        assert_eq!(whole.light, carried.light);
        assert_eq!(whole.row_samples, carried.row_samples);
        assert_eq!(whole.row_passes, carried.row_passes);
        let told = told.lock().expect("one thread");
        assert_eq!(told.len(), 1);
        assert!(told[0].contains("device lost"), "{}", told[0]);
        assert_eq!(executor.name(), "failing, then processor, 2 threads");
    }

    #[test]
    fn readings_carry_on_too() {
        let scene = scene();
        let mut executor = steady(0, &Arc::default());
        let read = executor
            .read(&scene, 64, 3, 2)
            .expect("the processor goes on");
        assert_eq!(
            read,
            cpu().read(&scene, 64, 3, 2).expect("the processor reads")
        );
        assert!(read[0][0][0][1] > 0.0);
    }

    #[test]
    fn empty_rows_get_one_sample_and_others_keep_theirs() {
        let scene = scene();
        let mut film = Film::new(6, 0, 9, 1);
        let mut part = cut(&film, 3..5);
        cpu()
            .render(
                &scene,
                &mut part,
                Passes::one(0, 4),
                &AtomicBool::new(false),
            )
            .expect("the processor renders");
        paste(&mut film, 3..5, part);
        let kept = film.light[18..30].to_vec();
        fill_empty_rows(&mut cpu(), &scene, &mut film).expect("the processor renders");
        assert_eq!(film.row_samples, [1, 1, 1, 4, 4, 1, 1, 1, 1]);
        assert_eq!(film.light[18..30], kept);
        assert!(film.light[48][0] > 0.0);
    }
}
