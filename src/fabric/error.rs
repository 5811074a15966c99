//! Why a fabric file cannot be used.

/// Why a fabric file cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FabricError {
    /// Not the TOML that is expected, with place and reason.
    #[error("{0}")]
    Text(String),
    /// A number out of its range.
    #[error("{key} = {value}: must lie between {low} and {high}")]
    Range {
        /// Which key.
        key: &'static str,
        /// What it says.
        value: f64,
        /// Least.
        low: f64,
        /// Greatest.
        high: f64,
    },
}

impl FabricError {
    /// Nothing, or that `value` is out of its range.
    ///
    /// # Errors
    /// [`FabricError::Range`] outside `low..=high`, and for what is no number.
    pub fn range(key: &'static str, value: f64, low: f64, high: f64) -> Result<(), Self> {
        if (low..=high).contains(&value) {
            Ok(())
        } else {
            Err(Self::Range {
                key,
                value,
                low,
                high,
            })
        }
    }
}
