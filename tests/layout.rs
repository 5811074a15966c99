//! Records that the host fills in and a GPU reads: names, offsets and sizes of the Rust side
//! against those that naga gives the WGSL side (WGSL specification, "Memory Layout").

use naga::proc::Layouter;
use naga::valid::{Capabilities, ValidationFlags, Validator};
use naga::{Module, TypeInner};
use std::mem::{offset_of, size_of};
use swatchlight::render::gpu::{Job, source};
use swatchlight::scene::accel::{Facet, NodePair};
use swatchlight::scene::records::{Emitter, Hit, Material, Params, Receptor, Triangle, Vertex};

/// Name, offset and size of each member, and the whole's size.
struct Layout {
    name: &'static str,
    members: Vec<(&'static str, usize)>,
    size: usize,
}

macro_rules! layout {
    ($record:ident { $($member:ident),* $(,)? }) => {{
        Layout {
            name: stringify!($record),
            members: vec![$((stringify!($member), offset_of!($record, $member))),*],
            size: size_of::<$record>(),
        }
    }};
}

fn host_side() -> Vec<Layout> {
    vec![
        layout!(Params {
            lens_centre,
            lens_radius_m,
            right,
            focus_distance_m,
            up,
            image_distance_m,
            forward,
            sensor_width_m,
            shift_x_m,
            shift_y_m,
            sensor_height_m,
            bounces_before_roulette,
            width,
            height,
            first_row,
            layer_count,
            emitter_count,
            point_count,
            seed,
            bare,
            surround,
            surround_layer,
            bounce_limit,
            first_sample,
            sample_count,
            node_count,
            branches,
            pixel_rad,
            low_pass_px,
            branches_before,
        }),
        layout!(Vertex {
            position,
            weft_cm,
            normal,
            warp_cm
        }),
        layout!(Triangle { a, b, c, material }),
        layout!(Material {
            base,
            top,
            specular,
            alpha,
            through,
            straight,
            eta,
            couple_gain,
            couple_feedback,
            albedo_table,
            relief,
            relief_width,
            relief_height,
            relief_texel_cm,
            bounce,
            bounce_columns,
            bounce_rows,
            bounce_cell_cm,
            bounce_weft_cm,
            bounce_warp_cm,
            cloth,
            paint,
        }),
        layout!(Emitter {
            centre,
            shape,
            axis_x,
            half_x_m,
            axis_y,
            half_y_m,
            normal,
            area_sqm,
            table_kind,
            table,
            cells_place,
            cells_theta,
            cells_phi,
            cells_place_y,
            layer,
            candidates,
            luminance_per_lm,
            weight,
            sine_limit,
            sides,
            screen,
            screen_theta,
            screen_phi,
            gate_distance_m,
            gate_radius_m,
            gate_soft_m,
            spare_a,
            spare_b
        }),
        layout!(Receptor {
            position,
            kind,
            facing,
            spare
        }),
        layout!(Hit { t, triangle, u, v }),
        layout!(NodePair {
            left_low,
            left_first,
            left_high,
            left_count,
            right_low,
            right_first,
            right_high,
            right_count,
        }),
        layout!(Facet {
            corner,
            triangle,
            edge_b,
            passing,
            edge_c,
            spare
        }),
        layout!(Job {
            width,
            rows,
            first_row,
            first_sample,
            sample_count,

            first_receptor,
            first_block,
            block_count,
            layer_count,
            block_samples,
            lanes,
            pass_samples,
            done,
            pixels,
            block_columns,
            spare,
            mix,
            chosen
        }),
    ]
}

fn parse(text: &str) -> Module {
    naga::front::wgsl::parse_str(text).unwrap_or_else(|e| panic!("{}", e.emit_to_string(text)))
}

#[test]
fn members_lie_where_the_kernels_read_them() {
    let module = parse(&source(4, 32));
    let mut layouter = Layouter::default();
    layouter.update(module.to_ctx()).unwrap();
    for host in host_side() {
        let (handle, ty) = module
            .types
            .iter()
            .find(|(_, ty)| ty.name.as_deref() == Some(host.name))
            .unwrap_or_else(|| panic!("no struct {} in the kernels", host.name));
        let TypeInner::Struct { members, span } = &ty.inner else {
            panic!("{} is no struct", host.name)
        };
        let kernel: Vec<(&str, usize)> = members
            .iter()
            .map(|m| (m.name.as_deref().unwrap(), m.offset as usize))
            .collect();
        // The translation sets an underscore after names that end in a digit or are Rust's.
        let host_members: Vec<(&str, usize)> = host
            .members
            .iter()
            .map(|(name, offset)| (name.trim_end_matches('_'), *offset))
            .collect();
        assert_eq!(kernel, host_members, "members of {}", host.name);
        assert_eq!(*span as usize, host.size, "size of {}", host.name);
        // As elements of an array, which the tables are.
        assert_eq!(
            layouter[handle].to_stride() as usize,
            host.size,
            "stride of {}",
            host.name
        );
    }
}

/// Each record may stand in a uniform buffer and in a storage buffer, alone and in an array: the
/// uniform address space asks for 16-byte strides and alignments.
#[test]
fn records_fit_both_address_spaces() {
    let mut text = source(4, 32);
    for (i, record) in host_side().into_iter().enumerate() {
        let (name, a, b) = (record.name, 2 * i, 2 * i + 1);
        text += &format!(
            "@group(3) @binding({a}) var<storage, read> in_storage_{name}: array<{name}>;\n\
             @group(3) @binding({b}) var<uniform> in_uniform_{name}: array<{name}, 2>;\n"
        );
    }
    let module = parse(&text);
    let mut validator = Validator::new(ValidationFlags::all(), Capabilities::empty());
    if let Err(e) = validator.validate(&module) {
        panic!("{}", e.emit_to_string(&text));
    }
}

/// Every record that both sides share is in the test above: structs of types.wgsl, and those that
/// the GPU's buffers hold.
#[test]
fn no_shared_record_is_left_out() {
    let known: Vec<&str> = host_side().iter().map(|l| l.name).collect();
    let types = parse(include_str!("../shaders/core/types.wgsl"));
    let whole = parse(&source(4, 32));
    let bound = whole
        .global_variables
        .iter()
        .filter(|(_, v)| v.binding.is_some())
        .map(|(_, v)| match whole.types[v.ty].inner {
            TypeInner::Array { base, .. } => base,
            _ => v.ty,
        });
    let names = types
        .types
        .iter()
        .filter_map(|(_, ty)| {
            matches!(ty.inner, TypeInner::Struct { .. })
                .then(|| ty.name.clone())
                .flatten()
        })
        .chain(bound.filter_map(|ty| whole.types[ty].name.clone()));
    let mut count = 0;
    for name in names {
        assert!(known.contains(&name.as_str()), "{name} has no layout test");
        count += 1;
    }
    assert!(count >= known.len());
}
