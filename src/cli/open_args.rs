//! Arguments of `open`.

use super::resolved::{Executing, executing};
use super::typed::ExecutingArgs;
use clap::Args;
use std::path::PathBuf;

/// What may be typed after `open`.
#[derive(Debug, Args)]
pub struct OpenArgs {
    /// Setup file, or a still that carries one; without, a new one from a few kinds
    #[arg(value_name = "SETUP")]
    pub setup: Option<PathBuf>,
    /// Size of the window
    #[arg(long, value_name = "WxH", value_parser = super::typed::size, default_value = "1280x800")]
    pub size: [u32; 2],
    /// How large all is drawn, such as 2 for twice; Ctrl and + or - change it later
    #[arg(long, value_name = "TIMES", value_parser = scale, default_value = "1")]
    pub scale: f32,
    /// Begin darkened
    #[arg(long)]
    pub darkened: bool,
    #[command(flatten)]
    pub executing: ExecutingArgs,
}

fn scale(typed: &str) -> Result<f32, String> {
    match typed.parse::<f32>() {
        Ok(times) if (0.5..=4.0).contains(&times) => Ok(times),
        _ => Err("write a number from 0.5 to 4, such as 2".into()),
    }
}

/// A window to open.
#[derive(Debug)]
pub struct OpenRun {
    pub setup: Option<PathBuf>,
    pub size: [u32; 2],
    pub scale: f32,
    pub darkened: bool,
    pub executing: Executing,
}

impl OpenArgs {
    /// With every default filled in.
    pub fn resolved(self) -> OpenRun {
        OpenRun {
            executing: executing(&self.executing),
            setup: self.setup,
            size: self.size,
            scale: self.scale,
            darkened: self.darkened,
        }
    }
}
