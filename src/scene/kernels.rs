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

/// WGSL's value conversions, inlined: towards zero. What no whole number can hold becomes another one than
/// WGSL's, since its own way takes five instructions for one; the kernels ask for none.
trait Cast {
    type F32;
    type U32;
    type I32;
    fn cast_f32(self) -> Self::F32;
    fn cast_u32(self) -> Self::U32;
    fn cast_i32(self) -> Self::I32;
}

macro_rules! cast {
    ($($from:ident $count:ident $whole:ident $four:ident,)*) => {$(
        impl Cast for ::naga_rust_rt::Scalar<$from> {
            type F32 = ::naga_rust_rt::Scalar<f32>;
            type U32 = ::naga_rust_rt::Scalar<u32>;
            type I32 = ::naga_rust_rt::Scalar<i32>;
            #[inline(always)]
            fn cast_f32(self) -> Self::F32 {
                ::naga_rust_rt::Scalar(self.0 as f32)
            }
            #[inline(always)]
            fn cast_u32(self) -> Self::U32 {
                ::naga_rust_rt::Scalar($count(self.0))
            }
            #[inline(always)]
            fn cast_i32(self) -> Self::I32 {
                ::naga_rust_rt::Scalar($whole(self.0))
            }
        }
        impl Cast for ::naga_rust_rt::Vec4<$from> {
            type F32 = ::naga_rust_rt::Vec4<f32>;
            type U32 = ::naga_rust_rt::Vec4<u32>;
            type I32 = ::naga_rust_rt::Vec4<i32>;
            #[inline(always)]
            fn cast_f32(self) -> Self::F32 {
                self.map(|c| c as f32)
            }
            #[inline(always)]
            fn cast_u32(self) -> Self::U32 {
                self.map(|c| c as u32)
            }
            #[inline(always)]
            fn cast_i32(self) -> Self::I32 {
                $four(self)
            }
        }
    )*};
}
cast!(f32 count whole four_whole, u32 same_count same four_same, i32 same_count same four_same,);

#[inline(always)]
fn same<T: Copy>(n: T) -> i32
where
    i64: From<T>,
{
    i64::from(n) as i32
}

#[inline(always)]
fn four_same<T: Copy>(v: ::naga_rust_rt::Vec4<T>) -> ::naga_rust_rt::Vec4<i32>
where
    i64: From<T>,
{
    v.map(|c| i64::from(c) as i32)
}

#[inline(always)]
fn same_count<T>(n: T) -> u32
where
    i64: From<T>,
{
    i64::from(n) as u32
}

#[inline(always)]
fn count(x: f32) -> u32 {
    whole(if x > 0.0 { x } else { 0.0 }) as u32
}

#[inline(always)]
fn whole(x: f32) -> i32 {
    wide::f32x4::from([x, 0.0, 0.0, 0.0])
        .fast_trunc_int()
        .to_array()[0]
}

#[inline(always)]
fn four_whole(v: ::naga_rust_rt::Vec4<f32>) -> ::naga_rust_rt::Vec4<i32> {
    let [x, y, z, w] = wide::f32x4::from([v.x, v.y, v.z, v.w])
        .fast_trunc_int()
        .to_array();
    ::naga_rust_rt::Vec4 { x, y, z, w }
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
plain_vector!(Vec2(x y) Vec3(x y z) Vec4(x y z w));

include!(concat!(env!("OUT_DIR"), "/kernels.rs"));
