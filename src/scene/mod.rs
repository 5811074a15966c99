//! Setup to flat arrays: triangles, acceleration structure, materials, emitters.
pub mod records;
