//! What is wrong with a file: where, what, and what to write instead.

use std::fmt;

/// One thing to say about one place in a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// From 1.
    pub line: usize,
    /// From 1, in characters.
    pub column: usize,
    /// What is wrong.
    pub message: String,
    /// What to write.
    pub hint: String,
}

/// Why a file cannot be used: at least one problem, by place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problems(pub Vec<Problem>);

impl fmt::Display for Problem {
    /// `line:column: message` and the hint.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            line,
            column,
            message,
            hint,
        } = self;
        write!(f, "{line}:{column}: {message}; {hint}")
    }
}

impl fmt::Display for Problems {
    /// A line for each.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            if i > 0 {
                f.write_str("\n")?;
            }
            problem.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for Problems {}
