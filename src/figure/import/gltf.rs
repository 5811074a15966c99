//! glTF 2.0 in (Khronos Group, "glTF 2.0 Specification"): triangles of its default scene, in metres as the standard says.

use super::{FigureError, LoadOptions, RawPart, too_many};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use glam::{Mat4, Vec2, Vec3};
use gltf::accessor::{DataType, Dimensions};
use gltf::buffer::Source;
use gltf::mesh::{Mode, Semantic};

/// Nodes inside nodes, at most.
const DEEPEST: usize = 64;
/// Gloss of painted parts that say nothing of it.
const GLOSS: f32 = 0.25;

pub fn read(
    bytes: &[u8],
    beside: &dyn Fn(&str) -> Result<Vec<u8>, String>,
    options: &LoadOptions,
) -> Result<Vec<RawPart>, FigureError> {
    let refused = |e: gltf::Error| FigureError::Gltf(e.to_string());
    let unchecked = gltf::Gltf::from_slice_without_validation(bytes).map_err(refused)?;
    // The crate's own validation takes these numbers to be good.
    let json = unchecked.document.as_json();
    let mut primitives = json.meshes.iter().flat_map(|m| &m.primitives);
    let known = |index: usize| index < json.accessors.len();
    if !primitives.all(|p| p.attributes.values().all(|a| known(a.value()))) {
        return Err(FigureError::Gltf(
            "a mesh names an accessor that is not there".into(),
        ));
    }
    let file = gltf::Gltf::from_slice(bytes).map_err(refused)?;
    let buffers = file
        .document
        .buffers()
        .map(|b| buffer(&b, file.blob.as_deref(), beside))
        .collect::<Result<Vec<_>, _>>()
        .map_err(FigureError::Gltf)?;
    let mut reader = Reader {
        buffers: &buffers,
        parts: Vec::new(),
        triangles: 0,
        limit: options.max_triangles,
    };
    let scene = file.default_scene().or_else(|| file.scenes().next());
    let scene = scene.ok_or_else(|| FigureError::Gltf("it holds no scene".into()))?;
    for node in scene.nodes() {
        reader.node(&node, Mat4::IDENTITY, 0)?;
    }
    Ok(reader.parts)
}

/// The bytes of a buffer, at least as many as it says it has.
fn buffer(
    b: &gltf::Buffer<'_>,
    blob: Option<&[u8]>,
    beside: &dyn Fn(&str) -> Result<Vec<u8>, String>,
) -> Result<Vec<u8>, String> {
    let bytes = match b.source() {
        Source::Bin => blob
            .map(<[u8]>::to_vec)
            .ok_or("its binary chunk is missing")?,
        Source::Uri(uri) => match uri.strip_prefix("data:") {
            Some(data) => {
                let (_, coded) = data
                    .split_once(";base64,")
                    .ok_or("a buffer within it is not in base64")?;
                STANDARD
                    .decode(coded)
                    .map_err(|e| format!("a buffer within it: {e}"))?
            }
            None => beside(uri)?,
        },
    };
    if bytes.len() < b.length() {
        return Err(format!(
            "a buffer has {} bytes where it should have {}",
            bytes.len(),
            b.length()
        ));
    }
    Ok(bytes)
}

/// Whether what is read of a primitive is of the types the standard allows (glTF 2.0, 3.7.2.1).
fn well_typed(primitive: &gltf::Primitive<'_>) -> bool {
    const FLOAT: &[DataType] = &[DataType::F32];
    const SCALED: &[DataType] = &[DataType::F32, DataType::U8, DataType::U16];
    const INDEX: &[DataType] = &[DataType::U8, DataType::U16, DataType::U32];
    let fits = |accessor: &gltf::Accessor<'_>, sizes: &[Dimensions], types: &[DataType]| {
        sizes.contains(&accessor.dimensions()) && types.contains(&accessor.data_type())
    };
    let indices = primitive.indices();
    indices.is_none_or(|a| fits(&a, &[Dimensions::Scalar], INDEX))
        && primitive.attributes().all(|(meaning, a)| match meaning {
            Semantic::Positions | Semantic::Normals => fits(&a, &[Dimensions::Vec3], FLOAT),
            Semantic::TexCoords(0) => fits(&a, &[Dimensions::Vec2], SCALED),
            Semantic::Colors(0) => fits(&a, &[Dimensions::Vec3, Dimensions::Vec4], SCALED),
            _ => true,
        })
}

struct Reader<'a> {
    buffers: &'a [Vec<u8>],
    parts: Vec<RawPart>,
    triangles: u64,
    limit: u64,
}

impl Reader<'_> {
    fn node(
        &mut self,
        node: &gltf::Node<'_>,
        above: Mat4,
        depth: usize,
    ) -> Result<(), FigureError> {
        if depth > DEEPEST {
            return Err(FigureError::Gltf(format!(
                "nodes lie more than {DEEPEST} deep"
            )));
        }
        let placed = above * Mat4::from_cols_array_2d(&node.transform().matrix());
        if let Some(mesh) = node.mesh() {
            let name = node.name().or_else(|| mesh.name()).unwrap_or("part");
            for primitive in mesh.primitives() {
                self.primitive(&primitive, name, placed)?;
            }
        }
        for child in node.children() {
            self.node(&child, placed, depth + 1)?;
        }
        Ok(())
    }

    fn primitive(
        &mut self,
        primitive: &gltf::Primitive<'_>,
        name: &str,
        placed: Mat4,
    ) -> Result<(), FigureError> {
        if primitive.mode() != Mode::Triangles {
            // Points, lines and strips: exporters write figures as triangles.
            return Ok(());
        }
        if !well_typed(primitive) {
            return Err(FigureError::Gltf(format!(
                "\"{name}\" names an accessor of another type than its use asks for"
            )));
        }
        let reader = primitive.reader(|b| self.buffers.get(b.index()).map(Vec::as_slice));
        let Some(positions) = reader.read_positions() else {
            return Ok(());
        };
        let positions: Vec<Vec3> = positions
            .map(|p| placed.transform_point3(Vec3::from(p)))
            .collect();
        let indices: Vec<u32> = match reader.read_indices() {
            Some(indices) => indices.into_u32().collect(),
            None => (0..positions.len() as u32).collect(),
        };
        let mut triangles = indices.as_chunks::<3>().0.to_vec();
        self.triangles += triangles.len() as u64;
        too_many(self.triangles, self.limit)?;
        if placed.determinant() < 0.0 {
            // Mirrored: the other way round is outside (glTF 2.0, 3.7.4).
            for t in &mut triangles {
                t.swap(1, 2);
            }
        }
        let turn = placed.inverse().transpose();
        let normals = reader
            .read_normals()
            .map(|all| all.map(|n| turn.transform_vector3(Vec3::from(n))).collect());
        // v runs down in glTF, up along the warp here.
        let uvs = reader
            .read_tex_coords(0)
            .map(|all| all.into_f32().map(|[u, v]| Vec2::new(u, -v)).collect());
        let paint = reader.read_colors(0).map_or_else(Vec::new, |all| {
            all.into_rgb_f32()
                .map(|[r, g, b]| [r, g, b, GLOSS])
                .collect()
        });
        self.parts.push(RawPart {
            name: name.to_owned(),
            positions,
            normals,
            uvs,
            paint,
            triangles,
        });
        Ok(())
    }
}
