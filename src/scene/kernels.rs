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

/// WGSL's value conversions, inlined: towards zero, and for whole numbers without sign nothing is below 0. What an `i32` cannot
/// hold becomes another number than WGSL's, whose own way takes five instructions for one.
trait Cast {
    fn cast_f32(self) -> ::naga_rust_rt::Scalar<f32>;
    fn cast_u32(self) -> ::naga_rust_rt::Scalar<u32>;
    fn cast_i32(self) -> ::naga_rust_rt::Scalar<i32>;
}

macro_rules! cast {
    ($($from:ident: $count:expr, $whole:expr;)*) => {$(
        impl Cast for ::naga_rust_rt::Scalar<$from> {
            #[inline(always)]
            fn cast_f32(self) -> ::naga_rust_rt::Scalar<f32> {
                ::naga_rust_rt::Scalar(self.0 as f32)
            }
            #[inline(always)]
            fn cast_u32(self) -> ::naga_rust_rt::Scalar<u32> {
                ::naga_rust_rt::Scalar($count(self.0))
            }
            #[inline(always)]
            fn cast_i32(self) -> ::naga_rust_rt::Scalar<i32> {
                ::naga_rust_rt::Scalar($whole(self.0))
            }
        }
    )*};
}
cast!(
    f32: |x| whole(if x > 0.0 { x } else { 0.0 }) as u32, whole;
    u32: |n| n, |n| n as i32;
    i32: |n| n as u32, |n| n;
);

#[inline(always)]
fn whole(x: f32) -> i32 {
    wide::f32x4::from([x, 0.0, 0.0, 0.0])
        .fast_trunc_int()
        .to_array()[0]
}

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

macro_rules! plain_vector {
    ($($vector:ident ($($part:ident)*))*) => {$(
        impl Plain for ::naga_rust_rt::$vector<f32> {
            #[inline(always)]
            fn plain_min(self, other: Self) -> Self {
                Self {$(
                    $part: if self.$part < other.$part { self.$part } else { other.$part },
                )*}
            }
            #[inline(always)]
            fn plain_max(self, other: Self) -> Self {
                Self {$(
                    $part: if self.$part > other.$part { self.$part } else { other.$part },
                )*}
            }
        }
    )*};
}
plain_vector!(Vec2(x y) Vec3(x y z));

include!(concat!(env!("OUT_DIR"), "/kernels.rs"));
