//! Traced light against closed forms.
mod common;

use common::tracing::*;
use glam::DVec3;
use swatchlight::optics::table::{Emission, Face};
use swatchlight::scene::materials::Surface;

/// A disk, R = .5, on axis at 1 m: F = .2 (S2.disk.axis).
#[test]
fn disk_on_axis() {
    let mut b = builder();
    let layer = b.layer("key");
    b.emitter(&Emission::lambertian(Face::Disk { radius_m: 0.5 }), facing(DVec3::new(0.0, 0.0, 1.0), DVec3::NEG_Z), layer);
    b.receptor(DVec3::ZERO, DVec3::Z, false);
    let e = read(b.build(), 8);
    println!("{e:?}");
    // E = pi L F, L = 1/(pi A)
    e[0][0].is(0.2 / (std::f64::consts::PI * 0.25), 0.0005);
}

#[test]
fn sphere_of_walls() {
    // indirect in closed white box: conservation
    let mut b = builder();
    let layer = b.layer("key");
    b.emitter(&Emission::lambertian(Face::Globe { radius_m: 0.02 }), facing(DVec3::ZERO, DVec3::Z), layer);
    let white = b.surface(Surface::Diffuse([0.8; 3]));
    b.mesh(&sphere(0.5, 96), white);
    b.receptor(DVec3::new(0.0, 0.0, 0.4999), DVec3::NEG_Z, false);
    let e = read(b.build(), 32);
    println!("{e:?}");
    e[0][0].is(1.0 / (std::f64::consts::PI * 0.2), 0.003);
}
