//! One wish served: metered, shown coarse, then fine, then measured, until it has settled or a newer
//! wish comes.

use super::{Basis, ClothWish, Glimpse, Layers, Shared, Weave, Wish};
use crate::measure::cloth_at::{ClothAt, WeaveSeen};
use crate::measure::garment::GarmentView;
use crate::measure::gather::{GatherGoal, Gathered};
use crate::measure::take::{self, Expose, Mix, Take};
use crate::optics::table::Face;
use crate::optics::trace::Placed;
use crate::optics::view::View;
use crate::render::bounce;
use crate::render::executor::{Executor, Passes};
use crate::render::film::Film;
use crate::report::plan::beam_angles;
use crate::scene::patch::{PATCH_LENS_M, Patch, frame_at, lens_before};
use crate::scene::studio::Studio;
use crate::scene::{FlatRadiance, Scene};
use crate::setup::{Lay, Setup};
use anyhow::Result;
use std::sync::Arc;
use std::time::Instant;

/// Readings of a first look: near enough to expose by.
const FIRST_READINGS: GatherGoal = GatherGoal {
    relative_error: 0.02,
    most_blocks: 16,
};
/// Readings before the first look: a tenth of a stop of the exposure is seen by nobody in so few pixels.
const ROUGH_READINGS: GatherGoal = GatherGoal {
    relative_error: 0.07,
    most_blocks: 4,
};
/// A first look has this part of the pixels each way.
const COARSE: u32 = 3;
/// Samples of a first look.
const COARSE_SAMPLES: u32 = 2;
/// Noise at which a picture has settled.
const SETTLED: f64 = 0.004;
/// Samples at the most.
const MOST_SAMPLES: u32 = 2048;
/// Samples after which readings and weave are made exact.
const FINE_AFTER: u32 = 8;
/// Cloth beyond the picture's edge, which still shades it.
const MARGIN_M: f64 = 0.02;
/// Pixels of a glimpse each way.
const GLIMPSE_PX: usize = 40;

/// Serves a wish until it has settled or a newer one comes.
pub(super) fn serve(shared: &Shared, wish: Wish, executor: &mut dyn Executor) -> Result<()> {
    if wish.picture_px.contains(&0) {
        // Nobody knows yet how large the picture is to be: the set can be built in the meantime.
        shared.stage("building the set");
        Studio::prepare(&wish.setup, &wish.models)?;
        return Ok(());
    }
    let mut setup = (*wish.setup).clone();
    setup.camera.pixels = wish.picture_px.map(|p| p.max(1));
    shared.stage("building the set");
    let mut studio = Studio::build(&setup, &wish.models)?;
    let mut metered =
        |studio: &mut Studio, goal| take::gather(&[&setup], studio, executor, goal, &shared.stop);
    let mut rough = metered(&mut studio, ROUGH_READINGS)?;
    if Mix::new(&setup, &studio, &rough, Expose::Own).is_err() {
        // Little light is not none.
        rough = metered(&mut studio, FIRST_READINGS)?;
    }
    let mut take = Take::without_edges(setup, studio, &rough, Expose::Own)?;
    if shared.stopped() {
        return Ok(());
    }
    let mut at = Serving {
        shared,
        wish: &wish,
        version: 0,
        edges_known: false,
    };
    at.show_basis(&take, false);
    at.first_look(&mut take, executor)?;
    if shared.stopped() {
        return Ok(());
    }
    at.first_readings(&mut take, executor)?;
    if shared.stopped() {
        return Ok(());
    }
    at.show_glimpses(&take);
    at.glance(&take, executor)?;
    let laid = match &wish.cloth {
        Some(cloth) => Some(lay(&take, cloth, &wish)?),
        None => None,
    };
    if shared.stopped() {
        return Ok(());
    }
    let Some(flats) = at.bounce(&mut take, executor)? else {
        return Ok(());
    };
    at.settle(&mut take, laid, &flats, executor)
}

struct Serving<'a> {
    shared: &'a Shared,
    wish: &'a Wish,
    version: u64,
    /// Whether the shadow edges have been found.
    edges_known: bool,
}

impl Serving<'_> {
    fn show_basis(&self, take: &Take, exact: bool) {
        let edges = if self.edges_known {
            take.edges.clone()
        } else {
            // Those of the light before stay in sight until then.
            let before = self.shared.basis();
            before.map_or_else(Vec::new, |b| b.edges.clone())
        };
        let basis = Arc::new(Basis {
            number: self.wish.number,
            setup: Arc::clone(&self.wish.setup),
            studio: Studio {
                scene: Scene::default(),
                light_rgb: take.studio.light_rgb.clone(),
                efficiency: take.studio.efficiency.clone(),
                meters: take.studio.meters.clone(),
                patch: None,
            },
            gathered: take.gathered.clone(),
            mix: take.mix(),
            edges,
            edges_known: self.edges_known,
            exact,
        });
        self.shared.show(|s| {
            s.basis = Some(basis);
            s.trouble = None;
        });
    }

    /// Something to look at as soon as can be: few pixels, full paths, then all pixels once.
    fn first_look(&mut self, take: &mut Take, executor: &mut dyn Executor) -> Result<()> {
        self.shared.stage("a first look");
        let full = take.setup.camera.pixels;
        let mut small: Setup = take.setup.clone();
        small.camera.pixels = full.map(|p| p.div_ceil(COARSE));
        take.studio.set_aperture(&small, take.f_number);
        let mut film = film_of(&take.studio.scene);
        for _ in 0..COARSE_SAMPLES {
            self.pass(&take.studio.scene, &mut film, 1, executor)?;
            if self.shared.stopped() {
                return Ok(());
            }
            self.show_picture(&film, true);
        }
        take.studio.set_aperture(&take.setup, take.f_number);
        Ok(())
    }

    /// Readings near enough to expose by, and the shadows' edges.
    fn first_readings(&mut self, take: &mut Take, executor: &mut dyn Executor) -> Result<()> {
        self.shared.stage("metering");
        let gathered = self.gather(take, FIRST_READINGS, executor)?;
        if self.shared.stopped() {
            return Ok(());
        }
        take.remix(gathered)?;
        take.find_edges();
        self.edges_known = true;
        self.show_basis(take, false);
        Ok(())
    }

    fn gather(
        &self,
        take: &Take,
        goal: GatherGoal,
        executor: &mut dyn Executor,
    ) -> Result<Gathered> {
        let weights = |_: &Gathered| take.weights.clone();
        let scene = &take.studio.scene;
        Ok(Gathered::gather(
            executor,
            scene,
            goal,
            weights,
            &self.shared.stop,
        )?)
    }

    /// The lights' faces from where the exposure is read.
    fn show_glimpses(&self, take: &Take) {
        let point_m = take.setup.meter.expose_at.position_m;
        let mut glimpses = Vec::new();
        for light in &take.setup.lights {
            if self.shared.stopped() {
                return;
            }
            let spread = light.spread.unwrap_or_default();
            let shine = self.wish.models.tables().shine(&light.modifier, spread);
            let view = View::new(&shine, &light.modifier).coarser();
            let from = light.frame.point_in_frame(point_m);
            let half_m = 0.55 * face_m(&shine.placed).max(0.02);
            let mut luminance = view.luminance_toward(from, half_m, GLIMPSE_PX);
            let most = luminance.iter().copied().fold(0.0, f32::max);
            luminance
                .iter_mut()
                .for_each(|l| *l /= most.max(f32::MIN_POSITIVE));
            glimpses.push(Glimpse {
                light: light.name.clone(),
                side: GLIMPSE_PX,
                luminance,
                beam: beam_angles(light, &shine),
            });
        }
        let number = self.wish.number;
        self.shared
            .show(|s| s.glimpses = Some((number, Arc::new(glimpses))));
    }

    /// Light that the set's flats give; `None` when a newer wish came.
    fn bounce(
        &self,
        take: &mut Take,
        executor: &mut dyn Executor,
    ) -> Result<Option<Vec<FlatRadiance>>> {
        let stage = |share: f64| {
            let percent = (100.0 * share).round();
            self.shared.stage(&format!(
                "finding the light that the set bounces, {percent} %"
            ));
        };
        stage(0.0);
        let scene = &mut take.studio.scene;
        let flats = bounce::find(executor, scene, &self.shared.stop, stage)?;
        if let Some(flats) = &flats {
            scene.set_bounce(flats);
        }
        Ok(flats)
    }

    /// Pass after pass, picture and cloth in turn.
    fn settle(
        &mut self,
        take: &mut Take,
        laid: Option<Scene>,
        flats: &[FlatRadiance],
        executor: &mut dyn Executor,
    ) -> Result<()> {
        self.shared.stage("settling");
        let mut picture = film_of(&take.studio.scene);
        let mut cloth = laid.map(|mut scene| {
            if !flats.is_empty() {
                scene.set_bounce(flats);
            }
            let film = film_of(&scene);
            (scene, film)
        });
        let mut measured = false;
        loop {
            let picture_done = done(&picture);
            if !picture_done {
                let each = each_of(&picture);
                self.pass(&take.studio.scene, &mut picture, each, executor)?;
                if self.shared.stopped() {
                    return Ok(());
                }
                self.show_picture(&picture, false);
            }
            let mut cloth_done = true;
            if let Some((scene, film)) = &mut cloth {
                cloth_done = done(film);
                if !cloth_done {
                    let each = each_of(film);
                    self.pass(scene, film, each, executor)?;
                    if self.shared.stopped() {
                        return Ok(());
                    }
                    self.version += 1;
                    let layers = Layers::of(film, self.wish.number, self.version, false);
                    self.shared.show(|s| s.cloth = Some(Arc::new(layers)));
                }
            }
            if !measured && (picture.samples() >= FINE_AFTER || picture_done) {
                measured = true;
                self.measure(take, flats, executor)?;
                self.shared.stage("settling");
            }
            if self.shared.stopped() || picture_done && cloth_done {
                return Ok(());
            }
        }
    }

    /// Readings as exact as `read` gives them, and the weave.
    fn measure(
        &self,
        take: &mut Take,
        flats: &[FlatRadiance],
        executor: &mut dyn Executor,
    ) -> Result<()> {
        self.shared.stage("metering");
        // Readings follow full paths.
        take.studio.scene.clear_bounce();
        let gathered = self.gather(take, GatherGoal::default(), executor)?;
        take.studio.scene.set_bounce(flats);
        if self.shared.stopped() {
            return Ok(());
        }
        take.remix(gathered)?;
        self.show_basis(take, true);
        self.shared.stage("reading the weave");
        self.weave(take, flats, false, executor)
    }

    /// Something of the weave and of where the garment is seen, before the light has settled.
    fn glance(&self, take: &Take, executor: &mut dyn Executor) -> Result<()> {
        if self.shared.stopped() {
            return Ok(());
        }
        self.shared.stage("a glance at the weave");
        self.weave(take, &[], true, executor)?;
        let point_m = take.setup.meter.expose_at.position_m;
        let view = GarmentView::of(&take.setup, &take.studio.scene, point_m);
        let number = self.wish.number;
        self.shared
            .show(|s| s.garment = view.map(|v| (number, Arc::new(v))));
        Ok(())
    }

    fn weave(
        &self,
        take: &Take,
        flats: &[FlatRadiance],
        at_a_glance: bool,
        executor: &mut dyn Executor,
    ) -> Result<()> {
        let Some(cloth) = &self.wish.cloth else {
            return Ok(());
        };
        let fabric = self.wish.models.fabric(&cloth.fabric)?;
        let at = ClothAt {
            take,
            models: &self.wish.models,
            fabric: &fabric,
            point: &cloth.point,
            flats,
        };
        let seen = if at_a_glance {
            at.weave_at_a_glance(executor, &self.shared.stop)
        } else {
            at.weave(executor, &self.shared.stop, |_| ())
        };
        // In the dark, or where cut short, there is no weave to read; that is no failure.
        let (
            false,
            Ok(WeaveSeen {
                relief, as_dyed, ..
            }),
        ) = (self.shared.stopped(), seen)
        else {
            return Ok(());
        };
        let weave = Arc::new(Weave {
            number: self.wish.number,
            relief,
            as_dyed,
            at_a_glance,
        });
        self.shared.show(|s| s.weave = Some(weave));
        Ok(())
    }

    fn pass(
        &self,
        scene: &Scene,
        film: &mut Film,
        each: u32,
        executor: &mut dyn Executor,
    ) -> Result<()> {
        let started = Instant::now();
        let first = film.samples();
        executor.render(scene, film, Passes::one(first, each), &self.shared.stop)?;
        let made = f64::from(film.width * film.rows * each);
        let rate = made / started.elapsed().as_secs_f64().max(1e-9);
        let name = executor.name();
        self.shared.show(|s| {
            s.at_work.samples_a_second = rate;
            s.at_work.executor = name;
        });
        Ok(())
    }

    fn show_picture(&mut self, film: &Film, coarse: bool) {
        self.version += 1;
        let layers = Layers::of(film, self.wish.number, self.version, coarse);
        self.shared.show(|s| s.picture = Some(Arc::new(layers)));
    }
}

/// The setup with a patch of the cloth laid at its point, and a lens before it.
fn lay(take: &Take, cloth: &ClothWish, wish: &Wish) -> Result<Scene> {
    let fabric = wish.models.fabric(&cloth.fabric)?;
    let px = cloth.px.map(|p| p.max(1));
    let height_m = cloth.width_m * f64::from(px[1]) / f64::from(px[0]);
    let size_m = [cloth.width_m, height_m].map(|s| s + 2.0 * MARGIN_M);
    let frame = frame_at(&take.setup, &wish.models, &cloth.point, size_m)?;
    let patch = Patch {
        fabric: &fabric,
        frame,
        size_m,
        lay: Lay::Flat,
        is_the_swatch: cloth.point == "swatch",
    };
    let mut scene = Studio::build_with(&take.setup, &wish.models, Some(&patch))?.scene;
    scene.set_mix(&take.weights);
    scene.set_lens(&lens_before(&frame, PATCH_LENS_M, cloth.width_m, px));
    Ok(scene)
}

/// Greatest width of the lit faces, metres.
fn face_m(placed: &[Placed]) -> f64 {
    let width = |p: &Placed| match p.emission.face {
        Face::Disk { radius_m }
        | Face::Polygon { radius_m, .. }
        | Face::Cap { radius_m, .. }
        | Face::Globe { radius_m } => 2.0 * radius_m,
        Face::Rect { half_x_m, half_y_m } => 2.0 * half_x_m.max(half_y_m),
        Face::Tube { half_length_m, .. } => 2.0 * half_length_m,
    };
    placed.iter().map(width).fold(0.0, f64::max)
}

fn film_of(scene: &Scene) -> Film {
    let p = &scene.params;
    Film::new(p.width, 0, p.height, scene.layers.len() as u32)
}

/// One sample at a time while every one shows, then blocks of the net.
fn each_of(film: &Film) -> u32 {
    match film.samples() {
        0..4 => 1,
        4..32 => 4,
        _ => 16,
    }
}

fn done(film: &Film) -> bool {
    film.samples() >= MOST_SAMPLES || film.median_relative_error().is_some_and(|e| e <= SETTLED)
}
