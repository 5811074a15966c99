//! The states of a sweep: every combination of the axes' values, typed into the setup and judged by the
//! ordinary parser.

use super::axis::{Axis, AxisError, Spacing};
use crate::setup::written::{EditError, Owner, Written};
use crate::setup::{Checked, Library, Options, Problems, Setup, parse_with};

/// States in all, at the most.
pub const MOST_STATES: usize = 36;

/// Values in a label are cut to so many letters.
const LONGEST_IN_NAME: usize = 60;

/// What a sweep goes through.
#[derive(Debug, Clone)]
pub struct Plan {
    /// One or two. The first runs along a page, the second down.
    pub axes: Vec<Axis>,
    /// Row by row: all values of the first axis for the first of the second, and so on.
    pub states: Vec<State>,
}

/// One combination of values.
#[derive(Debug, Clone)]
pub struct State {
    /// Index of the value on each axis.
    pub at: Vec<usize>,
    /// "key.spread 0.4, bounce.finish white".
    pub name: String,
    /// The setup's text in this state.
    pub text: String,
    /// The setup.
    pub setup: Setup,
    /// Warnings and cautions of this state.
    pub notes: Problems,
}

/// Why there is no plan.
#[derive(Debug)]
pub enum PlanError {
    /// The axes do not go together, or a key cannot be changed.
    Axes(AxisError),
    /// States that are no good setups: the name of each, and what is wrong with it.
    States(Vec<(String, Problems)>),
}

impl From<EditError> for PlanError {
    fn from(error: EditError) -> Self {
        Self::Axes(error.into())
    }
}

impl Plan {
    /// Works out the states of a setup; `shown` is how messages call its file.
    ///
    /// # Errors
    /// [`PlanError`].
    pub fn new(
        setup: &Written,
        shown: &str,
        axes: Vec<Axis>,
        library: &dyn Library,
        laid_over: Options,
    ) -> Result<Self, PlanError> {
        check(&axes)?;
        let columns = axes[0].values.len();
        let rows = axes.get(1).map_or(1, |a| a.values.len());
        let mut states = Vec::new();
        let mut bad = Vec::new();
        for k in 0..columns * rows {
            let at: Vec<usize> = [k % columns, k / columns][..axes.len()].to_vec();
            let name = name(&axes, &at);
            let text = text(setup, &axes, &at)?;
            // The file's name in messages tells the state.
            let file = format!("{shown} with {name}");
            match parse_with(&text, &file, library, laid_over) {
                Ok(Checked { setup, notes }) => states.push(State {
                    at,
                    name,
                    text,
                    setup,
                    notes,
                }),
                Err(problems) => bad.push((name, problems)),
            }
        }
        match bad.is_empty() {
            true => Ok(Self { axes, states }),
            false => Err(PlanError::States(bad)),
        }
    }

    /// Values of the first axis.
    pub fn columns(&self) -> usize {
        self.axes[0].values.len()
    }

    /// Values of the second axis, or 1.
    pub fn rows(&self) -> usize {
        self.states.len() / self.columns()
    }

    /// What a state's picture is called: its values, without the keys.
    pub fn label(&self, state: &State) -> String {
        let each = self.axes.iter().zip(&state.at);
        let each = each.map(|(axis, k)| axis.label(*k));
        let all: Vec<String> = each.chain(self.rod(state)).collect();
        all.join(", ")
    }

    /// Where spread is swept and the modifier has a scale of its own: "rod 6", as it is read on the day.
    fn rod(&self, state: &State) -> Option<String> {
        let of_spread = |a: &&Axis| a.path.key() == "spread" && a.path.shown().ends_with("spread");
        let axis = self.axes.iter().find(of_spread)?;
        let Owner::Thing { name, .. } = axis.path.owner() else {
            return None;
        };
        let light = state.setup.lights.iter().find(|l| l.name == *name)?;
        let mark = (light.mark()? * 100.0).round() / 100.0 + 0.0;
        Some(format!("{} {mark}", light.modifier.scale.as_ref()?.name))
    }

    /// Whether values of the first axis are numbers in one unit.
    pub fn is_measured(&self) -> bool {
        matches!(self.axes[0].spacing, Spacing::Numbers { .. })
    }

    /// The light whose key is swept, by its place in the setup; of two, the first.
    pub fn swept_light(&self) -> Option<usize> {
        self.axes.iter().find_map(|axis| match axis.path.owner() {
            Owner::Thing {
                kind: "light",
                name,
            } => {
                let lights = &self.states[0].setup.lights;
                lights.iter().position(|l| l.name == *name)
            }
            _ => None,
        })
    }
}

fn check(axes: &[Axis]) -> Result<(), PlanError> {
    let wrong = |what: String, hint: &str| {
        Err(PlanError::Axes(AxisError {
            what,
            hint: hint.into(),
        }))
    };
    match axes {
        [] => wrong(
            "nothing is swept".into(),
            "say what: --over key.spread=0..1:6",
        ),
        [_] => Ok(()),
        [a, b] if a.path == b.path => wrong(
            format!("{} is swept twice", a.path.shown()),
            "give each --over a key of its own, or join the values in one list",
        ),
        [a, b] if a.values.len() * b.values.len() > MOST_STATES => wrong(
            format!(
                "{} times {} are {} states, more than the {MOST_STATES} that a page takes",
                a.values.len(),
                b.values.len(),
                a.values.len() * b.values.len()
            ),
            "give fewer values, such as KEY=FROM..TO:6",
        ),
        [_, _] => Ok(()),
        _ => wrong(
            format!("{} keys are too many to sweep at once", axes.len()),
            "give --over once or twice",
        ),
    }
}

fn name(axes: &[Axis], at: &[usize]) -> String {
    let one = |(axis, k): (&Axis, &usize)| {
        let value: String = axis.label(*k).chars().take(LONGEST_IN_NAME).collect();
        format!("{} {value}", axis.path.shown())
    };
    axes.iter().zip(at).map(one).collect::<Vec<_>>().join(", ")
}

fn text(setup: &Written, axes: &[Axis], at: &[usize]) -> Result<String, PlanError> {
    let mut changed = setup.clone();
    let mut order: Vec<(&Axis, usize)> = axes.iter().zip(at.iter().copied()).collect();
    // A new modifier takes the old one's spread away, so it comes first.
    order.sort_by_key(|(axis, _)| axis.path.key() != "modifier");
    for (axis, k) in &order {
        changed.set(&axis.path, &axis.values[*k])?;
    }
    for (axis, _) in &order {
        if changed.value(&axis.path).is_none() && !holds_table(&axis.values[0]) {
            let other = order.iter().find(|(a, _)| a.path != axis.path);
            let other = other.map_or(String::new(), |(a, _)| a.path.shown());
            return Err(PlanError::Axes(AxisError {
                what: format!(
                    "{} and {other} cannot stand side by side",
                    axis.path.shown()
                ),
                hint: "sweep one of them at a time".into(),
            }));
        }
    }
    Ok(changed.text())
}

/// A value that [`Written::value`] cannot tell as one text.
fn holds_table(typed: &str) -> bool {
    typed.trim_start().starts_with('{')
}
