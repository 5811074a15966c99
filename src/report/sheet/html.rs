use super::content::Sheet;
use super::paper::Paper;
use crate::report::error::StillError;
pub fn html(_sheet: &Sheet, _paper: Paper) -> Result<String, StillError> { Ok(String::new()) }
