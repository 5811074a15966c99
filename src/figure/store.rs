//! A model as bytes, small: what is built once is kept, and some of it ships with the program.
//!
//! Every array is quantised to whole numbers, each told as its distance from what those before it
//! foretell, in as few bytes as that takes, and the whole deflated (RFC 1951). Positions keep 10 µm, cloth
//! coordinates 1 µm, normals 0.01 degrees, paint 8 bits of its square root. Reading checks everything:
//! bytes from outside may hold anything.

use super::{Capsule, Model, Part, Role};
use glam::{Vec2, Vec3};
use miniz_oxide::deflate::compress_to_vec;
use rayon::prelude::*;
use zune_inflate::{DeflateDecoder, DeflateOptions};

const MAGIC: &[u8; 8] = b"swmodel1";
/// More than any figure unpacks to.
const MOST_BYTES: usize = 256 << 20;
const POSITION_M: f32 = 1e-5;
const CLOTH_CM: f32 = 1e-4;
const NORMAL: f32 = 1.0 / 8191.0;
const ROLES: [Role; 8] = [
    Role::Skin,
    Role::Cloth,
    Role::Eye,
    Role::Hair,
    Role::Shoe,
    Role::Stand,
    Role::Trim,
    Role::Other,
];

/// The model's bytes.
pub fn pack(model: &Model) -> Vec<u8> {
    let mut out = Vec::new();
    text(&mut out, &model.title);
    count(&mut out, model.points.0.len());
    for (name, p) in &model.points.0 {
        text(&mut out, name);
        reals(&mut out, &p.to_array());
    }
    count(&mut out, model.blocking.len());
    for c in &model.blocking {
        reals(&mut out, &c.a_m.to_array());
        reals(&mut out, &c.b_m.to_array());
        reals(&mut out, &[c.radius_m]);
    }
    count(&mut out, model.parts.len());
    for part in &model.parts {
        text(&mut out, &part.name);
        let role = ROLES.iter().position(|r| *r == part.role).unwrap_or(0);
        count(&mut out, role);
        count(&mut out, part.positions_m.len());
        let whole = |v: f32, step: f32| (v / step).round() as i32;
        let columns = |n: usize, of: &dyn Fn(usize, usize) -> i32, out: &mut Vec<u8>| {
            for c in 0..n {
                let column: Vec<i32> = (0..part.positions_m.len()).map(|i| of(i, c)).collect();
                foretold(out, &column);
            }
        };
        columns(
            3,
            &|i, c| whole(part.positions_m[i][c], POSITION_M),
            &mut out,
        );
        let folded: Vec<[f32; 2]> = part.normals.iter().map(|n| fold(*n)).collect();
        columns(2, &|i, c| whole(folded[i][c], NORMAL), &mut out);
        columns(2, &|i, c| whole(part.uvs_cm[i][c], CLOTH_CM), &mut out);
        count(&mut out, usize::from(!part.paint.is_empty()));
        if !part.paint.is_empty() {
            columns(
                4,
                &|i, c| whole(part.paint[i][c].clamp(0.0, 1.0).sqrt(), 1.0 / 255.0),
                &mut out,
            );
        }
        count(&mut out, part.triangles.len());
        for c in 0..3 {
            // Second and third corners lie near the first.
            let near: Vec<i32> = part
                .triangles
                .iter()
                .map(|t| {
                    if c == 0 {
                        t[0] as i32
                    } else {
                        t[c] as i32 - t[0] as i32
                    }
                })
                .collect();
            foretold(&mut out, &near);
        }
    }
    let mut file = MAGIC.to_vec();
    file.extend(compress_to_vec(&out, 8));
    file
}

/// The model of some bytes; `None` where they are not whole or not a model's.
pub fn unpack(bytes: &[u8]) -> Option<Model> {
    let options = DeflateOptions::default().set_limit(MOST_BYTES);
    let mut inflate = DeflateDecoder::new_with_options(bytes.strip_prefix(MAGIC)?, options);
    let body = inflate.decode_deflate().ok()?;
    let mut from = Bytes(&body);
    let mut model = Model {
        title: from.text()?,
        ..Model::default()
    };
    for _ in 0..from.count(1)? {
        let name = from.text()?;
        model.points.0.insert(name, from.vector()?);
    }
    for _ in 0..from.count(28)? {
        model.blocking.push(Capsule {
            a_m: from.vector()?,
            b_m: from.vector()?,
            radius_m: from.real()?,
        });
    }
    for _ in 0..from.count(4)? {
        model.parts.push(part(&mut from)?);
    }
    from.0.is_empty().then_some(model)
}

fn part(from: &mut Bytes<'_>) -> Option<Part> {
    let name = from.text()?;
    let role = *ROLES.get(from.count(0)?)?;
    let n = from.count(7)?;
    let geometry: Vec<_> = (0..7).map(|_| from.column(n)).collect::<Option<_>>()?;
    let painted = from.count(0)? == 1;
    let shades = if painted { 4 } else { 0 };
    let shades: Vec<_> = (0..shades).map(|_| from.column(n)).collect::<Option<_>>()?;
    let m = from.count(3)?;
    let corners: Vec<_> = (0..3).map(|_| from.column(m)).collect::<Option<_>>()?;
    let columns = geometry.into_par_iter().chain(shades).chain(corners);
    let columns: Vec<Option<Vec<i32>>> = columns.map(Column::values).collect();
    let columns: Vec<Vec<i32>> = columns.into_iter().collect::<Option<_>>()?;
    let (of_corners, of_triangles) = columns.split_at(columns.len() - 3);
    let (geometry, shades) = of_corners.split_at(7);

    let real = |c: usize, i: usize, step: f32| geometry[c][i] as f32 * step;
    let corners = (0..n).into_par_iter();
    let positions_m = corners.clone().map(|i| {
        Vec3::new(
            real(0, i, POSITION_M),
            real(1, i, POSITION_M),
            real(2, i, POSITION_M),
        )
    });
    let normals = corners.clone();
    let normals = normals.map(|i| unfold([real(3, i, NORMAL), real(4, i, NORMAL)]));
    let uvs_cm = corners.clone();
    let uvs_cm = uvs_cm.map(|i| Vec2::new(real(5, i, CLOTH_CM), real(6, i, CLOTH_CM)));
    let shade = |c: usize, i: usize| (shades[c][i] as f32 / 255.0).powi(2);
    let paint = if painted {
        corners
            .map(|i| std::array::from_fn(|c| shade(c, i)))
            .collect()
    } else {
        Vec::new()
    };
    let [first, second, third] = [0, 1, 2].map(|c| &of_triangles[c]);
    let triangles = (0..m).into_par_iter().map(|i| {
        [
            first[i],
            first[i].wrapping_add(second[i]),
            first[i].wrapping_add(third[i]),
        ]
    });
    if !triangles
        .clone()
        .flatten_iter()
        .all(|v| v >= 0 && (v as usize) < n)
    {
        return None;
    }
    Some(Part {
        name,
        role,
        positions_m: positions_m.collect(),
        normals: normals.collect(),
        uvs_cm: uvs_cm.collect(),
        triangles: triangles.map(|t| t.map(|v| v as u32)).collect(),
        paint,
    })
}

/// What foretells a number from those before it: the last, the last but one (ribbons go two by two), or the
/// straight line through two of either.
const FORETELLERS: [(usize, bool); 4] = [(1, false), (1, true), (2, false), (2, true)];

fn foretell((back, line): (usize, bool), before: &[i32]) -> i32 {
    let at = |k: usize| before.len().checked_sub(k).map_or(0, |i| before[i]);
    let last = at(back);
    if line {
        last.wrapping_add(last.wrapping_sub(at(2 * back)))
    } else {
        last
    }
}

fn foretold(out: &mut Vec<u8>, values: &[i32]) {
    let told = |by: (usize, bool)| {
        let mut bytes = Vec::with_capacity(values.len());
        for (i, &v) in values.iter().enumerate() {
            let off = v.wrapping_sub(foretell(by, &values[..i]));
            // Signs last, so that small numbers of either are short.
            varied(&mut bytes, ((off << 1) ^ (off >> 31)) as u32);
        }
        bytes
    };
    let best = (0..FORETELLERS.len())
        .map(|k| (k, told(FORETELLERS[k])))
        .min_by_key(|(k, bytes)| (bytes.len(), *k));
    if let Some((k, bytes)) = best {
        out.push(k as u8);
        out.extend(bytes);
    }
}

/// Seven bits a byte, the lowest first.
fn varied(out: &mut Vec<u8>, mut v: u32) {
    while v >= 0x80 {
        out.push(v as u8 | 0x80);
        v >>= 7;
    }
    out.push(v as u8);
}

fn count(out: &mut Vec<u8>, n: usize) {
    varied(out, n as u32);
}

fn text(out: &mut Vec<u8>, s: &str) {
    count(out, s.len());
    out.extend(s.as_bytes());
}

fn reals(out: &mut Vec<u8>, all: &[f32]) {
    for v in all {
        out.extend(v.to_le_bytes());
    }
}

/// A unit vector on the square: Meyer et al., "On Floating-Point Normal Vectors", EGSR 2010.
fn fold(n: Vec3) -> [f32; 2] {
    let [x, y, z] = (n / (n.x.abs() + n.y.abs() + n.z.abs()).max(1e-12)).to_array();
    if z >= 0.0 {
        [x, y]
    } else {
        [(1.0 - y.abs()).copysign(x), (1.0 - x.abs()).copysign(y)]
    }
}

fn unfold([x, y]: [f32; 2]) -> Vec3 {
    let z = 1.0 - x.abs() - y.abs();
    let n = if z >= 0.0 {
        Vec3::new(x, y, z)
    } else {
        Vec3::new((1.0 - y.abs()).copysign(x), (1.0 - x.abs()).copysign(y), z)
    };
    n.try_normalize().unwrap_or(Vec3::Y)
}

/// What is left to be read.
struct Bytes<'a>(&'a [u8]);

impl<'a> Bytes<'a> {
    fn byte(&mut self) -> Option<u8> {
        let (first, rest) = self.0.split_first()?;
        self.0 = rest;
        Some(*first)
    }

    fn varied(&mut self) -> Option<u32> {
        let mut v = 0_u32;
        for shift in (0..32).step_by(7) {
            let byte = self.byte()?;
            v |= u32::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Some(v);
            }
        }
        None
    }

    /// A number of things of at least so many bytes each, so that no more is set aside than is there.
    fn count(&mut self, each: usize) -> Option<usize> {
        let n = self.varied()? as usize;
        (n.checked_mul(each)? <= self.0.len()).then_some(n)
    }

    fn text(&mut self) -> Option<String> {
        let n = self.count(1)?;
        let (head, rest) = self.0.split_at(n);
        self.0 = rest;
        Some(std::str::from_utf8(head).ok()?.to_owned())
    }

    fn real(&mut self) -> Option<f32> {
        let (head, rest) = self.0.split_first_chunk::<4>()?;
        self.0 = rest;
        let v = f32::from_le_bytes(*head);
        v.is_finite().then_some(v)
    }

    fn vector(&mut self) -> Option<Vec3> {
        Some(Vec3::new(self.real()?, self.real()?, self.real()?))
    }

    /// The bytes of `n` foretold numbers, not yet read.
    fn column(&mut self, n: usize) -> Option<Column<'a>> {
        let by = *FORETELLERS.get(usize::from(self.byte()?))?;
        let (mut left, mut end) = (n, 0);
        // The last byte of each number has no high bit.
        while left > 0 {
            let some = &self.0.get(end..)?[..left.min(self.0.len() - end)];
            if some.is_empty() {
                return None;
            }
            left -= some.iter().filter(|b| **b < 0x80).count();
            end += some.len();
        }
        let (numbers, rest) = self.0.split_at(end);
        self.0 = rest;
        Some(Column { by, n, numbers })
    }
}

/// Foretold numbers in bytes of their own.
struct Column<'a> {
    by: (usize, bool),
    n: usize,
    numbers: &'a [u8],
}

impl Column<'_> {
    fn values(self) -> Option<Vec<i32>> {
        // A loop of its own for each way to foretell.
        match self.by {
            (1, false) => self.read(|[a, ..]| a),
            (1, true) => self.read(|[a, b, ..]| a.wrapping_add(a.wrapping_sub(b))),
            (_, false) => self.read(|[_, b, ..]| b),
            (_, true) => self.read(|[_, b, _, d]| b.wrapping_add(b.wrapping_sub(d))),
        }
    }

    /// `foretell` is given the last four, the latest first.
    fn read(self, foretell: impl Fn([i32; 4]) -> i32) -> Option<Vec<i32>> {
        let mut from = Bytes(self.numbers);
        let mut values = Vec::with_capacity(self.n);
        let mut last = [0; 4];
        for _ in 0..self.n {
            let v = from.varied()?;
            let off = (v >> 1) as i32 ^ -((v & 1) as i32);
            let value = foretell(last).wrapping_add(off);
            values.push(value);
            last = [value, last[0], last[1], last[2]];
        }
        Some(values)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Model {
        let n = 200_usize;
        let turn = |i: usize| {
            let a = i as f32 * 0.37;
            Vec3::new(a.cos(), (0.3 * a).sin(), a.sin())
        };
        let mut model = Model {
            title: "A \"model\"".into(),
            ..Model::default()
        };
        model
            .points
            .0
            .insert("chest".into(), Vec3::new(0.1, 1.3, 0.12));
        model.blocking.push(Capsule {
            a_m: Vec3::ZERO,
            b_m: Vec3::Y,
            radius_m: 0.1,
        });
        model.parts.push(Part {
            name: "skin".into(),
            role: Role::Skin,
            positions_m: (0..n).map(|i| turn(i) * 0.9).collect(),
            normals: (0..n).map(|i| turn(i + 3).normalize()).collect(),
            uvs_cm: (0..n).map(|i| turn(i).truncate() * 130.0).collect(),
            triangles: (0..n as u32 - 2).map(|i| [i, i + 1, i + 2]).collect(),
            paint: (0..n)
                .map(|i| [0.5, 0.3, (i as f32 / n as f32), 1.0])
                .collect(),
        });
        model
    }

    #[test]
    fn what_is_packed_comes_back() {
        let model = sample();
        let back = unpack(&pack(&model)).expect("its own bytes");
        assert_eq!(back.title, model.title);
        assert_eq!(back.points, model.points);
        assert_eq!(back.blocking, model.blocking);
        let (a, b) = (&model.parts[0], &back.parts[0]);
        assert_eq!(
            (&a.name, a.role, &a.triangles),
            (&b.name, b.role, &b.triangles)
        );
        for i in 0..a.positions_m.len() {
            assert!(a.positions_m[i].distance(b.positions_m[i]) < 1e-5);
            assert!(a.normals[i].cross(b.normals[i]).length() < 3e-4, "{i}");
            assert!(a.uvs_cm[i].distance(b.uvs_cm[i]) < 1.1e-4);
            for c in 0..4 {
                assert!((a.paint[i][c] - b.paint[i][c]).abs() < 0.0045);
            }
        }
    }

    /// Cut short, or with any byte changed, there is a model of sound indices or none; never a panic.
    #[test]
    fn broken_bytes_are_refused() {
        let bytes = pack(&sample());
        for end in 0..bytes.len() {
            assert!(unpack(&bytes[..end]).is_none(), "cut at {end}");
        }
        for at in 0..bytes.len() {
            for flip in [1, 0x80, 0xff] {
                let mut bad = bytes.clone();
                bad[at] ^= flip;
                if let Some(model) = unpack(&bad) {
                    for p in &model.parts {
                        let n = p.positions_m.len();
                        assert!(p.triangles.iter().flatten().all(|&v| (v as usize) < n));
                    }
                }
            }
        }
        // A count far beyond what is there.
        let mut huge = MAGIC.to_vec();
        huge.extend(compress_to_vec(&[0, 0, 0, 0xff, 0xff, 0xff, 0xff, 0x0f], 6));
        assert!(unpack(&huge).is_none());
    }
}
