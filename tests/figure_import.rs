//! Figures and garments from outside: OBJ and glTF 2.0, whole and broken, and the data files beside them.
//!
//! glTF: Khronos Group, "glTF 2.0 Specification" (ISO/IEC 12113:2022).

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use glam::{Vec2, Vec3};
use proptest::prelude::*;
use swatchlight::figure::{
    FigureError, FigureFile, Garment, LoadOptions, Model, Pose, Role, Scale, import_gltf,
    import_obj, load_obj,
};

fn read(text: &str) -> Result<Model, FigureError> {
    load_obj(text.as_bytes(), &LoadOptions::default())
}

#[test]
fn loader_reads_what_people_export() {
    let cube_side =
        "o dress\nv 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nvt 0 0\nvt 100 0\nvt 100 100\nvt 0 100\n";
    let model = read(&format!(
        "mtllib nowhere.mtl\n{cube_side}usemtl x\nf 1/1 2/2 3/3 4/4\n"
    ))
    .expect("quad");
    assert_eq!(model.parts[0].triangles, [[0, 1, 2], [0, 2, 3]]);
    assert_eq!(model.parts[0].role, Role::Cloth);
    assert_eq!(model.parts[0].uvs_cm[2], Vec2::new(100.0, 100.0));
    assert!(
        model.parts[0]
            .normals
            .iter()
            .all(|n| n.distance(Vec3::Z) < 1e-6)
    );
    // Without UVs: flat, at true scale. In centimetres: scaled.
    let bare = "v 0 0 0\nv 100 0 0\nv 0 100 0\nf 1 2 3\n";
    let options = LoadOptions {
        scale: Scale::MetresPerUnit(0.01),
        ..LoadOptions::default()
    };
    let model = load_obj(bare.as_bytes(), &options).expect("centimetres");
    assert_eq!(model.parts[0].positions_m[1], Vec3::X);
    assert_eq!(model.parts[0].uvs_cm[1], Vec2::new(100.0, 0.0));
}

#[test]
fn loader_refuses_what_is_no_figure() {
    assert!(matches!(read(""), Err(FigureError::Empty)));
    assert!(matches!(
        read("v 0 0 0\nv 1 0 0\n"),
        Err(FigureError::Empty)
    ));
    let huge = read("v 0 0 0\nv 1e9 0 0\nv 0 1 0\nf 1 2 3\n");
    assert!(matches!(huge, Err(FigureError::Size { .. })), "{huge:?}");
    let tiny = read("v 0 0 0\nv 1e-6 0 0\nv 0 1e-6 0\nf 1 2 3\n");
    assert!(matches!(tiny, Err(FigureError::Size { .. })), "{tiny:?}");
    let nan = read("v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n");
    assert!(matches!(nan, Err(FigureError::NotFinite { .. })), "{nan:?}");
    assert!(read("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n").is_err());
    assert!(read("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 -9\n").is_err());
    let options = LoadOptions {
        max_triangles: 1,
        ..LoadOptions::default()
    };
    let two = "v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1 2 3\n";
    assert!(matches!(
        load_obj(two.as_bytes(), &options),
        Err(FigureError::TooLarge { .. })
    ));
    let options = LoadOptions {
        max_bytes: 10,
        ..LoadOptions::default()
    };
    assert!(matches!(
        load_obj(two.as_bytes(), &options),
        Err(FigureError::TooLarge { .. })
    ));
}

/// A closed box as OBJ faces, corners `lo` to `hi`.
fn boxed(name: &str, lo: [f32; 3], hi: [f32; 3], inward: bool) -> String {
    let mut text = format!("o {name}\n");
    for i in 0..8 {
        let pick = |c: usize| if i >> c & 1 == 1 { hi[c] } else { lo[c] };
        text += &format!("v {} {} {}\n", pick(0), pick(1), pick(2));
    }
    for quad in [
        [1, 3, 4, 2],
        [5, 6, 8, 7],
        [1, 2, 6, 5],
        [3, 7, 8, 4],
        [1, 5, 7, 3],
        [2, 4, 8, 6],
    ] {
        let mut q = quad;
        if inward {
            q.reverse();
        }
        text += &format!("f {} {} {} {}\n", q[0], q[1], q[2], q[3]);
    }
    text
}

#[test]
fn what_is_made_up_is_told() {
    let options = LoadOptions::default();
    let skin = boxed("skin", [-0.2, 0.0, -0.1], [0.2, 1.7, 0.1], true);
    let found = import_obj(skin.as_bytes(), &options).expect("a closed box");
    let told = found.notes.join("\n");
    assert!(
        told.contains("look inward") && told.contains("no normals"),
        "{told}"
    );
    // Turned round, its faces look out.
    let part = &found.model.parts[0];
    for t in &part.triangles {
        let [a, b, c] = t.map(|v| part.positions_m[v as usize]);
        let middle = (a + b + c) / 3.0 - Vec3::new(0.0, 0.85, 0.0);
        assert!((b - a).cross(c - a).dot(middle) > 0.0);
    }
    let dress = "o dress\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvn 0 0 -1\nf 1//1 2//1 3//1\n";
    let found = import_obj(dress.as_bytes(), &options).expect("a triangle");
    let told = found.notes.join("\n");
    assert!(
        told.contains("cloth coordinates") && told.contains("turned round"),
        "{told}"
    );
    assert!(
        found.model.parts[0]
            .normals
            .iter()
            .all(|n| n.distance(Vec3::Z) < 1e-6)
    );
}

#[test]
fn holes_in_skin_are_refused_with_their_place() {
    let whole = boxed("skin", [-0.2, 0.0, -0.1], [0.2, 1.7, 0.1], false);
    let holed: String = whole
        .lines()
        .take(whole.lines().count() - 1)
        .map(|l| format!("{l}\n"))
        .collect();
    let options = LoadOptions::default();
    let error = import_obj(holed.as_bytes(), &options).expect_err("a side is missing");
    assert!(
        matches!(error, FigureError::Holes { edges: 4, .. }),
        "{error:?}"
    );
    assert!(error.to_string().contains("open = true"), "{error}");
    let open = LoadOptions {
        open_skin: true,
        ..options
    };
    assert!(import_obj(holed.as_bytes(), &open).is_ok());
}

#[test]
fn a_stated_height_scales() {
    let figure = boxed("skin", [-20.0, 0.0, -10.0], [20.0, 170.0, 10.0], false);
    let options = LoadOptions {
        scale: Scale::HeightM(1.76),
        ..LoadOptions::default()
    };
    let found = import_obj(figure.as_bytes(), &options).expect("scaled");
    let top = found.model.parts[0]
        .positions_m
        .iter()
        .map(|p| p.y)
        .fold(0.0, f32::max);
    assert!((top - 1.76).abs() < 1e-5, "{top}");
}

/// A square of a metre, two triangles, in text glTF with its buffer inside; `node` goes into its node.
fn square(mirrored: bool, node: &str) -> String {
    let mut bytes = Vec::new();
    for p in [
        [0.0f32, 0.0, 0.0],
        [1.0, 0.0, 0.0],
        [1.0, 1.0, 0.0],
        [0.0, 1.0, 0.0],
    ] {
        bytes.extend(p.iter().flat_map(|v| v.to_le_bytes()));
    }
    for t in [[0.0f32, 100.0], [100.0, 100.0], [100.0, 0.0], [0.0, 0.0]] {
        bytes.extend(t.iter().flat_map(|v| v.to_le_bytes()));
    }
    for i in [0u16, 1, 2, 0, 2, 3] {
        bytes.extend(i.to_le_bytes());
    }
    let scale = if mirrored { r#""scale":[-1,1,1],"# } else { "" };
    format!(
        r#"{{"asset":{{"version":"2.0"}},"scene":0,"scenes":[{{"nodes":[0]}}],
"nodes":[{{"name":"dress",{scale}{node}"mesh":0}}],
"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0,"TEXCOORD_0":1}},"indices":2}}]}}],
"accessors":[{{"bufferView":0,"componentType":5126,"count":4,"type":"VEC3","min":[0,0,0],"max":[1,1,0]}},
{{"bufferView":1,"componentType":5126,"count":4,"type":"VEC2"}},
{{"bufferView":2,"componentType":5123,"count":6,"type":"SCALAR"}}],
"bufferViews":[{{"buffer":0,"byteOffset":0,"byteLength":48}},{{"buffer":0,"byteOffset":48,"byteLength":32}},
{{"buffer":0,"byteOffset":80,"byteLength":12}}],
"buffers":[{{"byteLength":92,"uri":"data:application/octet-stream;base64,{}"}}]}}"#,
        STANDARD.encode(bytes)
    )
}

fn gltf(text: &str) -> Result<Model, FigureError> {
    let none = |name: &str| Err(format!("there is no {name}"));
    import_gltf(text.as_bytes(), &none, &LoadOptions::default()).map(|i| i.model)
}

#[test]
fn gltf_is_read_as_its_scene_places_it() {
    let model = gltf(&square(false, r#""translation":[0,0.5,0],"#)).expect("a square");
    let part = &model.parts[0];
    assert_eq!((part.name.as_str(), part.role), ("dress", Role::Cloth));
    assert_eq!(part.positions_m[0], Vec3::new(0.0, 0.5, 0.0));
    assert_eq!(part.triangles, [[0, 1, 2], [0, 2, 3]]);
    // Its v runs down; the warp runs up.
    let (low, high) = (part.uvs_cm[0], part.uvs_cm[3]);
    assert_eq!(high - low, Vec2::new(0.0, 100.0));
    // A mirroring node turns faces round, so that outside stays outside.
    let mirrored = gltf(&square(true, "")).expect("a mirrored square");
    assert!(
        mirrored.parts[0]
            .normals
            .iter()
            .all(|n| n.distance(Vec3::Z) < 1e-6)
    );
}

#[test]
fn broken_gltf_is_refused() {
    let good = square(false, "");
    for (from, to, says) in [
        (
            r#""byteLength":92"#,
            r#""byteLength":9200"#,
            "bytes where it should have",
        ),
        (
            "data:application/octet-stream;base64,",
            "nowhere.bin?",
            "nowhere.bin",
        ),
        (
            r#""count":4,"type":"VEC3""#,
            r#""count":4000,"type":"VEC3""#,
            "",
        ),
        (r#""version":"2.0""#, r#""version":"9.0""#, ""),
        (r#""accessors""#, r#""accessorz""#, "accessor"),
        (r#""POSITION":0"#, r#""POSITION":7"#, "accessor"),
        (r#""indices":2"#, r#""indices":0"#, "another type"),
        (
            r#"5126,"count":4,"type":"VEC2""#,
            r#"5125,"count":4,"type":"VEC2""#,
            "another type",
        ),
    ] {
        assert!(good.contains(from), "{from}");
        match gltf(&good.replace(from, to)) {
            Ok(model) => assert!(says.is_empty() && model.parts.len() <= 1),
            Err(error) => assert!(error.to_string().contains(says), "{error}"),
        }
    }
    let few = LoadOptions {
        max_triangles: 1,
        ..LoadOptions::default()
    };
    let none = |name: &str| Err(name.to_owned());
    let error = import_gltf(good.as_bytes(), &none, &few).expect_err("two triangles");
    assert!(matches!(error, FigureError::TooLarge { .. }));
}

#[test]
fn data_files_say_what_is_wrong() {
    let made = "title = \"x\"\nbuild = \"woman\"\n";
    let mesh = "title = \"x\"\nmesh = \"a.obj\"\n";
    assert!(matches!(FigureFile::parse(made), Ok(FigureFile::Made(_))));
    assert!(matches!(FigureFile::parse(mesh), Ok(FigureFile::Mesh(_))));
    for (bad, place, says) in [
        (String::new(), "", "title"),
        ("title = 3".into(), "line 1", "string"),
        ("title = \"x\"".into(), "", "build ="),
        (format!("{made}stature = 1.7"), "line 3", "unknown field"),
        (format!("{made}size = \"XXS\""), "line 3, column 8", "M"),
        (
            format!("{made}skin = \"purple\""),
            "line 3, column 8",
            "light",
        ),
        (
            format!("{made}hair = \"helmet\""),
            "line 3, column 8",
            "bun",
        ),
        (format!("{made}hair_length_cm = 400"), "line 3", "8 to 60"),
        (format!("{made}height_m = 1.7"), "line 3", "mesh"),
        (
            format!("{mesh}skin = \"light\""),
            "line 3",
            "brings its own",
        ),
        (
            format!("{mesh}height_m = 1.7\nunit_m = 1"),
            "line 3",
            "not both",
        ),
        (
            format!("{mesh}unit_m = 0"),
            "line 3",
            "0.01 for centimetres",
        ),
        (
            "title = \"x\"\nmesh = \"../a.obj\"".into(),
            "line 2",
            "beside",
        ),
        (format!("{mesh}[points_m]\nface = [0, nan, 0]"), "", "face"),
        (
            format!("{mesh}[[blocking]]\na_m = [0,0,0]\nb_m = [0,1,0]\nradius_m = -1"),
            "",
            "radius_m",
        ),
    ] {
        let error = FigureFile::parse(&bad).expect_err(&bad).to_string();
        assert!(
            error.contains(place) && error.contains(says),
            "{bad}: {error}"
        );
    }
    let error = Garment::parse("title = \"x\"\ncut = \"toga\"\n").expect_err("no such cut");
    assert!(error.to_string().contains("trousers"), "{error}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn random_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = load_obj(bytes.as_slice(), &LoadOptions::default());
    }

    #[test]
    fn broken_obj_never_panics(
        lines in proptest::collection::vec(
            prop_oneof![
                "v -?[0-9.e+-]{0,6} -?[0-9]{1,2} -?[0-9.]{1,3}",
                "vt [0-9.-]{0,5} [0-9.]{0,5}",
                "vn [0-9.-]{0,5} [0-9.]{0,5} [0-9]",
                "f( -?[0-9]{0,2}(/-?[0-9]{0,2}){0,2}){0,6}",
                "[ogsl] [a-z0-9 ]{0,8}",
                "(usemtl|mtllib)( [a-z.]{0,5})?",
                "[ -~]{0,12}",
            ],
            0..40,
        ),
        cut in 0usize..400,
    ) {
        let text = lines.join("\n");
        let bytes = &text.as_bytes()[..cut.min(text.len())];
        for model in [load_obj(bytes, &LoadOptions::default()),
                      load_obj(text.as_bytes(), &LoadOptions::default())].into_iter().flatten() {
            for part in &model.parts {
                prop_assert!(part.positions_m.iter().all(|p| p.is_finite()));
                prop_assert!(part.normals.iter().all(|n| n.is_finite()));
                let n = part.positions_m.len();
                prop_assert!(part.triangles.iter().flatten().all(|&v| (v as usize) < n));
                prop_assert!(part.uvs_cm.len() == n && part.normals.len() == n);
            }
        }
    }

    #[test]
    fn random_gltf_never_panics(
        bytes in proptest::collection::vec(any::<u8>(), 0..300),
        at in 0usize..900,
        byte in any::<u8>(),
    ) {
        let none = |name: &str| Err(name.to_owned());
        let _ = import_gltf(bytes.as_slice(), &none, &LoadOptions::default());
        let mut text = square(false, "").into_bytes();
        let n = text.len();
        text[at % n] = byte;
        if let Ok(found) = import_gltf(text.as_slice(), &none, &LoadOptions::default()) {
            for part in &found.model.parts {
                let n = part.positions_m.len();
                prop_assert!(part.triangles.iter().flatten().all(|&v| (v as usize) < n));
                prop_assert!(part.positions_m.iter().all(|p| p.is_finite()));
            }
        }
    }

    #[test]
    fn random_data_files_never_panic(text in "[ -~\n]{0,200}") {
        let _ = FigureFile::parse(&text);
        let _ = Garment::parse(&text);
        let _ = Pose::from_toml(&text);
    }
}
