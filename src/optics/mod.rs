//! Lamp and modifier to emission table: how luminance leaves a light's face, by place and
//! direction, for one lumen (or lumen-second) into it.

pub mod drum;
pub mod far_field;
pub mod grid;
pub mod measured;
pub mod plain;
pub mod prescribe;
pub mod prescription;
pub mod shadow;
pub mod shine;
pub mod table;
pub mod trace;
pub mod view;
