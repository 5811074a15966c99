//! Lamp and modifier to emission table: how luminance leaves a light's face, by place and
//! direction, for one lumen (or lumen-second) into it.

pub mod grid;
pub mod plain;
pub mod table;
