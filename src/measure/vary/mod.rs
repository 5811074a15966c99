//! One setup in several states: keys swept over values, each state metered, balanced, exposed and, if
//! wanted, pictured.
//!
//! A [`Plan`] is made of a setup's text and of axes ([`Axis::typed`]); the ordinary parser judges each
//! state. [`run()`] takes them: states that differ in nothing but what their lights give share one scene,
//! one gathering of light and one film, and are mixed from its layers.

mod axis;
mod plan;
mod range;
mod run;

pub use axis::{Axis, AxisError, MOST_ON_AN_AXIS, Spacing};
pub use plan::{MOST_STATES, Plan, PlanError, State};
pub use run::{Exposing, Goals, Linear, Made, Stage, Step, VaryError, run};
