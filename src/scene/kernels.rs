//! The light-transport kernels, translated from shaders/core by the build.
#![allow(
    missing_docs,
    unused_parens,
    unused_mut,
    unused_variables,
    unused_assignments,
    unreachable_code,
    unused_labels,
    dead_code,
    clippy::all,
    clippy::pedantic
)]

use super::records::*;

/// WGSL's value conversions, inlined: towards zero and saturating, as WGSL and Rust both have it.
trait Cast {
    fn cast_f32(self) -> ::naga_rust_rt::Scalar<f32>;
    fn cast_u32(self) -> ::naga_rust_rt::Scalar<u32>;
    fn cast_i32(self) -> ::naga_rust_rt::Scalar<i32>;
}

macro_rules! cast {
    ($($from:ty)*) => {$(
        impl Cast for ::naga_rust_rt::Scalar<$from> {
            #[inline(always)]
            fn cast_f32(self) -> ::naga_rust_rt::Scalar<f32> {
                ::naga_rust_rt::Scalar(self.0 as f32)
            }
            #[inline(always)]
            fn cast_u32(self) -> ::naga_rust_rt::Scalar<u32> {
                ::naga_rust_rt::Scalar(self.0 as u32)
            }
            #[inline(always)]
            fn cast_i32(self) -> ::naga_rust_rt::Scalar<i32> {
                ::naga_rust_rt::Scalar(self.0 as i32)
            }
        }
    )*};
}
cast!(f32 u32 i32);

/// WGSL's min, max and clamp, by one comparison each.
trait Plain: Sized {
    fn plain_min(self, other: Self) -> Self;
    fn plain_max(self, other: Self) -> Self;
    #[inline(always)]
    fn plain_clamp(self, low: Self, high: Self) -> Self {
        self.plain_max(low).plain_min(high)
    }
}

macro_rules! plain {
    ($($of:ty)*) => {$(
        impl Plain for ::naga_rust_rt::Scalar<$of> {
            #[inline(always)]
            fn plain_min(self, other: Self) -> Self {
                if self.0 < other.0 { self } else { other }
            }
            #[inline(always)]
            fn plain_max(self, other: Self) -> Self {
                if self.0 > other.0 { self } else { other }
            }
        }
    )*};
}
plain!(f32 u32 i32);

impl Plain for ::naga_rust_rt::Vec2<f32> {
    #[inline(always)]
    fn plain_min(self, other: Self) -> Self {
        Self {
            x: if self.x < other.x { self.x } else { other.x },
            y: if self.y < other.y { self.y } else { other.y },
        }
    }
    #[inline(always)]
    fn plain_max(self, other: Self) -> Self {
        Self {
            x: if self.x > other.x { self.x } else { other.x },
            y: if self.y > other.y { self.y } else { other.y },
        }
    }
}

impl Plain for ::naga_rust_rt::Vec3<f32> {
    #[inline(always)]
    fn plain_min(self, other: Self) -> Self {
        Self {
            x: if self.x < other.x { self.x } else { other.x },
            y: if self.y < other.y { self.y } else { other.y },
            z: if self.z < other.z { self.z } else { other.z },
        }
    }
    #[inline(always)]
    fn plain_max(self, other: Self) -> Self {
        Self {
            x: if self.x > other.x { self.x } else { other.x },
            y: if self.y > other.y { self.y } else { other.y },
            z: if self.z > other.z { self.z } else { other.z },
        }
    }
}

include!(concat!(env!("OUT_DIR"), "/kernels.rs"));
