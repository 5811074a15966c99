//! The published and computed values that tests hold the work against, by id.
//!
//! `tests/data/checks.json` has one record a line: what is asked, the inputs, the expected value,
//! its tolerance, and where it comes from.

// Each test file takes this module whole and uses its own part of it.
#![allow(dead_code)]

use std::collections::BTreeMap;
use std::sync::OnceLock;

use serde_json::Value;

/// One record.
#[derive(Debug, Clone)]
pub struct Check {
    pub id: String,
    pub quantity: String,
    pub source: String,
    pub provenance: String,
    /// Whether the record is one that must be tested.
    pub strong: bool,
    inputs: Value,
    expected: Value,
    tolerance: BTreeMap<String, f64>,
}

/// The record of an id. Panics where there is none.
pub fn check(id: &str) -> Check {
    all()
        .iter()
        .find(|c| c.id == id)
        .cloned()
        .unwrap_or_else(|| panic!("no check has the id {id}"))
}

/// All records whose id begins so, at least one.
pub fn checks_beginning(prefix: &str) -> Vec<Check> {
    let found: Vec<Check> = all()
        .iter()
        .filter(|c| c.id.starts_with(prefix))
        .cloned()
        .collect();
    assert!(!found.is_empty(), "no check's id begins with {prefix}");
    found
}

/// Every record.
pub fn all() -> &'static [Check] {
    static CHECKS: OnceLock<Vec<Check>> = OnceLock::new();
    CHECKS.get_or_init(|| {
        let records: Vec<Value> =
            serde_json::from_str(include_str!("../data/checks.json")).expect("checks.json is JSON");
        records.iter().map(read).collect()
    })
}

fn read(record: &Value) -> Check {
    let text = |key: &str| record[key].as_str().unwrap_or_default().to_owned();
    let tolerance = record["tolerance"]
        .as_object()
        .expect("a check has a tolerance");
    Check {
        id: text("id"),
        quantity: text("quantity"),
        source: text("source"),
        provenance: text("provenance"),
        strong: record["strong"] == true,
        inputs: record["inputs"].clone(),
        expected: record["expected"].clone(),
        tolerance: tolerance
            .iter()
            .map(|(kind, size)| {
                (
                    kind.clone(),
                    size.as_f64().expect("a tolerance is a number"),
                )
            })
            .collect(),
    }
}

impl Check {
    /// The expected value, where it is one number.
    pub fn expected(&self) -> f64 {
        self.number(&self.expected)
    }

    /// The expected values in reading order: a vector, or a matrix by rows.
    pub fn expected_all(&self) -> Vec<f64> {
        let mut flat = Vec::new();
        self.flatten(&self.expected, &mut flat);
        flat
    }

    /// A named expected value.
    pub fn expected_field(&self, field: &str) -> f64 {
        self.number(&self.expected[field])
    }

    /// A named expected vector.
    pub fn expected_field_all(&self, field: &str) -> Vec<f64> {
        let mut flat = Vec::new();
        self.flatten(&self.expected[field], &mut flat);
        flat
    }

    /// An input, where it is one number.
    pub fn input(&self, key: &str) -> f64 {
        self.number(&self.inputs[key])
    }

    /// The numbers of an input in reading order.
    pub fn input_all(&self, key: &str) -> Vec<f64> {
        let mut flat = Vec::new();
        self.flatten(&self.inputs[key], &mut flat);
        flat
    }

    /// An input that is a list of points.
    pub fn input_points(&self, key: &str) -> Vec<[f64; 3]> {
        self.input_all(key)
            .chunks(3)
            .map(|p| [p[0], p[1], p[2]])
            .collect()
    }

    /// The tolerance of the kind ("rel", "abs", "CCT_abs" …).
    pub fn tolerance(&self, kind: &str) -> f64 {
        *self
            .tolerance
            .get(kind)
            .unwrap_or_else(|| panic!("{}: no {kind} tolerance", self.id))
    }

    /// Every tolerance with its kind.
    pub fn tolerances(&self) -> impl Iterator<Item = (&str, f64)> {
        self.tolerance
            .iter()
            .map(|(kind, size)| (kind.as_str(), *size))
    }

    /// Asserts that a value is the expected one.
    #[track_caller]
    pub fn assert_close(&self, value: f64) {
        self.assert_one("", value, self.expected());
    }

    /// Asserts that values in reading order are the expected ones.
    #[track_caller]
    pub fn assert_close_all(&self, values: &[f64]) {
        let expected = self.expected_all();
        assert_eq!(
            values.len(),
            expected.len(),
            "{}: wrong number of values",
            self.id
        );
        for (i, (value, expected)) in values.iter().zip(expected).enumerate() {
            self.assert_one(&format!("[{i}]"), *value, expected);
        }
    }

    /// Asserts a named value, by its own tolerance ("CCT_abs") where it has one.
    #[track_caller]
    pub fn assert_field(&self, field: &str, value: f64) {
        self.assert_one(field, value, self.expected_field(field));
    }

    #[track_caller]
    fn assert_one(&self, part: &str, value: f64, expected: f64) {
        let own = self.tolerance.get(&format!("{part}_abs"));
        let bound = match (
            own.or_else(|| self.tolerance.get("abs")),
            self.tolerance.get("rel"),
        ) {
            (Some(abs), _) => *abs,
            (None, Some(rel)) => rel * expected.abs(),
            (None, None) => panic!("{}: no tolerance for {part}", self.id),
        };
        // Records print eight significant digits, so no value can be held closer than half the
        // eighth.
        let eighth_digit = match expected {
            0.0 => 0.0,
            _ => 10.0_f64.powf(expected.abs().log10().floor() - 7.0),
        };
        let bound = bound.max(0.5 * eighth_digit);
        assert!(
            (value - expected).abs() <= bound,
            "{}{part}: {} should be {expected} within {bound:.3e}, and is {value} ({:+.3e})\n  source: {}\n  provenance: {}",
            self.id,
            self.quantity,
            value - expected,
            self.source,
            self.provenance,
        );
    }

    fn number(&self, value: &Value) -> f64 {
        value
            .as_f64()
            .unwrap_or_else(|| panic!("{}: {value} is not a number", self.id))
    }

    fn flatten(&self, value: &Value, into: &mut Vec<f64>) {
        match value {
            Value::Array(items) => items.iter().for_each(|item| self.flatten(item, into)),
            other => into.push(self.number(other)),
        }
    }
}
