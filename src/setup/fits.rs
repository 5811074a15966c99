//! Whether a lamp and what goes with it fit into a modifier.

use super::model::{Cylinder, Lamp};
use super::quantity::metres;
use super::reader::{Fault, Log, Table, Value};
use super::values::number_in;

/// A flash tube and its head, from memory.
pub(super) const USUAL_LAMP: Cylinder = Cylinder {
    diameter_m: 0.05,
    length_m: 0.08,
};
pub(super) const USUAL_HOUSING: Cylinder = Cylinder {
    diameter_m: 0.12,
    length_m: 0.15,
};
/// A lamp at the back stands this far clear of it.
const CLEAR_M: f64 = 0.02;
/// Lengths that were written to the nanometre may miss by that.
pub(super) const SLACK_M: f64 = 1e-6;
/// The mouth of a head's own reflector has no length; it stands at least so far from the bottom.
const LEAST_ALONG_M: f64 = 0.005;

/// A table with what can go wrong in it.
pub(super) struct At<'l, 't, 'k> {
    pub log: &'l Log,
    pub t: &'k Table<'t>,
}

impl<'t> At<'_, 't, '_> {
    pub fn read(
        &self,
        key: &str,
        usual: f64,
        how: impl Fn(Value<'t>) -> Result<f64, Fault>,
    ) -> f64 {
        self.t.read(self.log, key, how).unwrap_or(usual)
    }

    pub fn need(&self, key: &str, how: impl Fn(Value<'t>) -> Result<f64, Fault>) -> Option<f64> {
        self.t.require(self.log, key, how)
    }

    pub fn sides(&self, usual: Option<u32>) -> Option<u32> {
        let whole = |v: Value<'t>| {
            let n = number_in(3.0, 32.0)(v)?;
            if n.fract() == 0.0 {
                return Ok(n as u32);
            }
            Err(super::values::out_of_range(&n.to_string(), "3", "32").at(v))
        };
        self.t.read(self.log, "sides", whole).or(usual)
    }

    /// Says what cannot be built, at a key.
    pub fn refuse(&self, key: &str, message: String, hint: String) {
        self.t.conflict(self.log, key, message, hint);
    }

    /// Refuses a rim that no ball has.
    pub fn check_ball(&self, diameter_m: f64, depth_m: f64) {
        if depth_m > 0.5 * diameter_m + SLACK_M {
            self.refuse(
                "depth",
                format!(
                    "{} deep and {} across is more than half a ball",
                    metres(depth_m),
                    metres(diameter_m)
                ),
                format!("it can be up to {} deep", metres(0.5 * diameter_m)),
            );
        }
    }

    /// The lit part must keep clear of the bottom, and of what is in front of it.
    pub fn check_along(
        &self,
        key: &str,
        lamp: Cylinder,
        at_m: f64,
        bottom: &str,
        front: (f64, &str),
    ) {
        let half_m = 0.5 * lamp.length_m;
        let least_m = half_m.max(LEAST_ALONG_M);
        if at_m < least_m - SLACK_M {
            self.refuse(
                key,
                format!(
                    "the lamp goes through the {bottom}: its middle is {} from it, and the lit part is {} long",
                    metres(at_m),
                    metres(lamp.length_m)
                ),
                format!("put its middle {} or more from the {bottom}", metres(least_m)),
            );
        }
        let (front_m, front) = front;
        if at_m + half_m > front_m + SLACK_M {
            self.refuse(
                key,
                format!(
                    "the lamp goes through the {front}: its lit end is {} from the {bottom}, the {front} {}",
                    metres(at_m + half_m),
                    metres(front_m)
                ),
                format!(
                    "put its middle {} or less from the {bottom}",
                    metres((front_m - half_m).max(0.0))
                ),
            );
        }
    }

    /// A round body along the axis must fit between the walls, both by their radius at a share of
    /// the body's length.
    pub fn check_across(
        &self,
        key: &str,
        what: &str,
        body_m: impl Fn(f64) -> f64,
        walls_m: impl Fn(f64) -> f64,
    ) {
        const STEPS: usize = 32;
        let tight = (0..=STEPS)
            .map(|k| k as f64 / STEPS as f64)
            .find(|share| body_m(*share) > walls_m(*share) + SLACK_M);
        if let Some(share) = tight {
            self.refuse(
                key,
                format!(
                    "the {what} does not fit: there the inside is only {} wide",
                    metres(2.0 * walls_m(share))
                ),
                format!("measure the {what} and where it stands once more"),
            );
        }
    }

    /// The lit part between walls.
    pub fn check_lamp_fits(
        &self,
        key: &str,
        lamp: Cylinder,
        at_m: f64,
        walls: impl Fn(f64) -> f64,
    ) {
        let (radius, length) = (0.5 * lamp.diameter_m, lamp.length_m);
        let profile = |along: f64| {
            let into_end = (radius - along.min(length - along)).max(0.0);
            (radius * radius - into_end * into_end).max(0.0).sqrt()
        };
        let from_m = at_m - 0.5 * length;
        if from_m < -SLACK_M {
            // It goes through the bottom, which has been said.
            return;
        }
        self.check_across(
            key,
            "lamp",
            |share| profile(share * length),
            |share| walls((from_m + share * length).max(0.0)),
        );
    }
}

/// The usual place of a lamp at the back.
pub(super) fn usual_at_m(lamp: Cylinder) -> f64 {
    0.5 * lamp.length_m + CLEAR_M
}

pub(super) fn lamp_of(lit: Cylinder, at_m: f64, housing: Option<Cylinder>) -> Lamp {
    Lamp {
        diameter_m: lit.diameter_m,
        length_m: lit.length_m,
        at_m,
        housing,
    }
}
