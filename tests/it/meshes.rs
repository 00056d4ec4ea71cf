//! Mesh files as the program and the library meet them: every format as an independent writer wrote it, hostile files.
use serde_json::Value;
use std::{fs, io::Write, path::Path};
use tickstrip::{
    meshes::{self, Limits, Model, Part},
    units::Unit,
};
use zip::write::SimpleFileOptions;

/// Written by trimesh (scripts/make_meshes.py).
fn fixture(name: &str) -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/meshes")
        .join(name)
}

fn area(model: &Model, part: &Part) -> f64 {
    let facets = model.facets()[part.facets.clone()].iter();
    let of_facet = |corners: &[u32; 3]| {
        let [a, b, c] = corners.map(|i| model.vertices()[i as usize]);
        let [u, v] = [b, c].map(|p| [p[0] - a[0], p[1] - a[1], p[2] - a[2]]);
        let n = [
            u[1] * v[2] - u[2] * v[1],
            u[2] * v[0] - u[0] * v[2],
            u[0] * v[1] - u[1] * v[0],
        ];
        n.iter().map(|x| x * x).sum::<f64>().sqrt() / 2.0
    };
    facets.map(of_facet).sum()
}

fn numbers(value: &Value) -> Vec<f64> {
    value
        .as_array()
        .into_iter()
        .flatten()
        .map(|v| v.as_f64().expect("a number"))
        .collect()
}

#[test]
fn every_format_is_read_as_an_independent_writer_wrote_it() {
    let text = fs::read_to_string(fixture("expected.json")).expect("there");
    let expected: Value = serde_json::from_str(&text).expect("JSON");
    for (name, scale) in [
        ("groups.obj", 1.0),
        ("one-file.glb", 1000.0),
        ("beside.gltf", 1000.0),
        ("package.3mf", 1.0),
    ] {
        let unit = name.ends_with("obj").then_some(Unit::Millimetre);
        let model = meshes::read(&fixture(name), unit, Limits::default())
            .expect(name)
            .model;
        let names: Vec<&str> = model.parts().iter().map(|p| p.name.as_str()).collect();
        assert_eq!(names, ["tank", "vessel"], "{name}");
        for part in model.parts() {
            let expected = &expected["parts"][&part.name];
            assert_eq!(
                part.facets.len() as u64,
                expected["facets"].as_u64().expect("a count"),
                "{name}"
            );
            let stated = expected["area"].as_f64().expect("an area") * scale * scale;
            // Texts have eight decimals, numbers 24 bits.
            assert!((area(&model, part) / stated - 1.0).abs() < 1e-6, "{name}");
            for (found, stated) in model
                .part_box(part)
                .iter()
                .zip(expected["box"].as_array().expect("a box"))
            {
                let close = |(f, s): (&f64, f64)| (f - s * scale).abs() < 1e-5 * scale;
                assert!(
                    found.iter().zip(numbers(stated)).all(close),
                    "{name} {found:?}"
                );
            }
        }
    }
    // Without parts: all of it, welded to the same vertices.
    let whole: f64 = ["tank", "vessel"]
        .iter()
        .map(|n| expected["parts"][n]["area"].as_f64().expect("an area"))
        .sum();
    for name in ["binary.stl", "text.stl", "binary.ply", "text.ply"] {
        let model = meshes::read(&fixture(name), Some(Unit::Inch), Limits::default())
            .expect(name)
            .model;
        let [part] = model.parts() else {
            panic!("{name}")
        };
        assert_eq!(part.name, name.split('.').next().expect("a stem"));
        assert!(
            (area(&model, part) / (whole * 25.4 * 25.4) - 1.0).abs() < 1e-6,
            "{name}"
        );
        assert_eq!(
            (model.facets().len(), model.vertices().len()),
            (76, 42),
            "{name}"
        );
    }
}

#[test]
fn a_format_without_a_unit_asks_for_it() {
    for name in ["binary.stl", "text.ply", "groups.obj"] {
        let error = meshes::read(&fixture(name), None, Limits::default()).expect_err(name);
        assert_eq!(error.code(), "mesh-unit-missing");
        assert!(
            error.to_string().ends_with(
                "state the unit that the model was exported in: mm, cm, m, in or ft (--unit, or \"unit\" in the job's \"model\")"
            ),
            "{error}"
        );
        let article = if name == "text.ply" { " a PLY" } else { " an " };
        assert!(error.to_string().contains(article), "{error}");
    }
    // A stated unit is believed over that of the format.
    let model = meshes::read(
        &fixture("one-file.glb"),
        Some(Unit::Millimetre),
        Limits::default(),
    )
    .expect("read")
    .model;
    assert!((model.part_box(&model.parts()[0])[1][0] - 10.0).abs() < 1e-5);
}

/// Writes a file and says why it cannot be read.
fn refusal(folder: &Path, name: &str, bytes: &[u8]) -> String {
    let path = folder.join(name);
    fs::write(&path, bytes).expect("written");
    let limits = Limits {
        bytes: 3_000_000,
        facets: 1000,
        parts: 10,
    };
    let error = meshes::read(&path, Some(Unit::Millimetre), limits).expect_err(name);
    let text = error.to_string();
    assert!(text.starts_with(&path.display().to_string()), "{text}");
    text
}

const TETRAHEDRON: &str = "<mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/><vertex x=\"1\" y=\"0\" z=\"0\"/><vertex x=\"0\" y=\"1\" z=\"0\"/>\
     <vertex x=\"0\" y=\"0\" z=\"1\"/></vertices><triangles><triangle v1=\"0\" v2=\"2\" v3=\"1\"/><triangle v1=\"0\" v2=\"1\" v3=\"3\"/>\
     <triangle v1=\"1\" v2=\"2\" v3=\"3\"/><triangle v1=\"0\" v2=\"3\" v3=\"2\"/></triangles></mesh>";

/// A package of entries.
fn package(entries: &[(&str, &str)]) -> Vec<u8> {
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in entries {
        writer
            .start_file(*name, SimpleFileOptions::default())
            .expect("begun");
        writer.write_all(text.as_bytes()).expect("written");
    }
    writer.finish().expect("finished").into_inner()
}

fn model_document(unit: &str, objects: &str, items: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><model unit=\"{unit}\" xmlns:p=\"production\"><resources>{objects}</resources><build>{items}</build></model>"
    )
}

#[test]
fn components_of_a_package_stand_where_their_transforms_put_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("a.3mf");
    let beside = model_document(
        "inch",
        &format!("<object id=\"7\" name=\"post\">{TETRAHEDRON}</object>"),
        "",
    );
    let objects = "<object id=\"1\" name=\"both\"><components>\
         <component p:path=\"/3D/Objects/beside.model\" objectid=\"7\" transform=\"1 0 0 0 1 0 0 0 1 10 0 0\"/>\
         <component p:path=\"/3D/Objects/beside.model\" objectid=\"7\" transform=\"0 1 0 -1 0 0 0 0 1 0 0 0\"/></components></object>\
         <object id=\"2\" type=\"support\">MESH</object>"
        .replace("MESH", TETRAHEDRON);
    let items =
        "<item objectid=\"1\" transform=\"2 0 0 0 2 0 0 0 2 0 0 5\"/><item objectid=\"2\"/>";
    let root = model_document("inch", &objects, items);
    fs::write(
        &path,
        package(&[
            ("3D/3dmodel.model", &root),
            ("3D/Objects/beside.model", &beside),
        ]),
    )
    .expect("written");
    let model = meshes::read(&path, None, Limits::default())
        .expect("sound")
        .model;
    let names: Vec<&str> = model.parts().iter().map(|p| p.name.as_str()).collect();
    assert_eq!(names, ["post", "post 2"]);
    let box_of = |part: usize| {
        model
            .part_box(&model.parts()[part])
            .map(|p| p.map(|v| v / 25.4))
    };
    // Moved by 10, then twice as large, then 5 up; the other is turned a quarter about z.
    assert_eq!(
        box_of(0).map(|p| p.map(f64::round)),
        [[20.0, 0.0, 5.0], [22.0, 2.0, 7.0]]
    );
    assert_eq!(
        box_of(1).map(|p| p.map(f64::round)),
        [[-2.0, 0.0, 5.0], [0.0, 2.0, 7.0]]
    );
    let other = package(&[
        ("3D/3dmodel.model", &root),
        ("3D/Objects/beside.model", &beside.replace("inch", "meter")),
    ]);
    assert!(
        refusal(folder.path(), "b.3mf", &other)
            .contains("another unit in \"3D/Objects/beside.model\"")
    );
}

#[test]
fn hostile_packages_are_refused_in_words() {
    let folder = tempfile::tempdir().expect("a folder");
    let refused = |root: &str| {
        refusal(
            folder.path(),
            "a.3mf",
            &package(&[("3D/3dmodel.model", root)]),
        )
    };
    let circle = "<object id=\"1\"><components><component objectid=\"1\"/></components></object>";
    let item = "<item objectid=\"1\"/>";
    let doubled: String = (1..40)
        .map(|i| format!("<object id=\"{i}\"><components><component objectid=\"{0}\"/><component objectid=\"{0}\"/></components></object>", i + 1))
        .collect();
    let many: String = "<item objectid=\"1\"/>".repeat(300);
    let mesh = format!("<object id=\"1\">{TETRAHEDRON}</object>");
    for (root, expected) in [
        (
            model_document("millimeter", circle, item),
            "components within components more than 64 deep, or in a circle",
        ),
        (
            model_document("millimeter", &format!("{doubled}<object id=\"40\"/>"), item),
            "at least 100001 components",
        ),
        (
            model_document("millimeter", &mesh, &many),
            "at least 11 parts",
        ),
        (
            model_document("millimeter", "", item),
            "object 1: it is not there",
        ),
        (
            model_document("cubit", "", item),
            "the unit \"cubit\", which 3MF does not have",
        ),
        (
            format!(
                "<!DOCTYPE m [<!ENTITY a \"b\">]>{}",
                model_document("inch", "", "")
            ),
            "a document type, which 3MF forbids",
        ),
        ("<a>".repeat(100), "more than 64 deep"),
        ("<model>".to_owned(), "it ends within an element"),
        (
            model_document("inch", &mesh.replace("v3=\"2\"", "v3=\"4\""), item),
            "corner 4; 4 vertices stand above",
        ),
        (
            model_document("inch", &mesh.replace("x=\"1\"", "x=\"1e99\""), item),
            "the coordinate 1e99",
        ),
        (
            model_document("inch", &mesh.replace("x=\"1\"", "x=\"one\""), item),
            "\"vertex\" without a number \"x\"",
        ),
        (
            model_document("inch", "<vertex x=\"0\" y=\"0\" z=\"0\"/>", item),
            "a vertex outside of an object",
        ),
        (
            model_document("inch", &mesh, "<item objectid=\"1\" transform=\"1 0 0\"/>"),
            "it has 12 numbers",
        ),
        // Bombs: 40 MB of blanks between tags, and of comments, in some kilobytes.
        (
            model_document("inch", &" ".repeat(40_000_000), item),
            "longer than 1 MB",
        ),
        (
            model_document(
                "inch",
                &"<!-- nothing of any use to anybody -->".repeat(1_000_000),
                item,
            ),
            "bytes once it is unpacked; at most 3000000",
        ),
    ] {
        let text = refused(&root);
        assert!(text.contains(expected), "{text}");
    }
    let nothing = refusal(folder.path(), "c.3mf", &package(&[("a.txt", "a")]));
    assert!(
        nothing.contains("no model \"3D/3dmodel.model\""),
        "{nothing}"
    );
    let whole = package(&[("3D/3dmodel.model", &model_document("inch", &mesh, item))]);
    for length in [4, 30, whole.len() / 2, whole.len() - 1] {
        assert!(refusal(folder.path(), "d.3mf", &whole[..length]).contains("3MF"));
    }
}

/// A document whose one buffer has a triangle; `uri` is written as it is.
fn gltf(uri: &str, nodes: &str) -> String {
    format!(
        "{{\"asset\": {{\"version\": \"2.0\"}}, \"scenes\": [{{\"nodes\": [0]}}], \"nodes\": {nodes}, \
         \"meshes\": [{{\"primitives\": [{{\"attributes\": {{\"POSITION\": 0}}}}]}}], \
         \"accessors\": [{{\"bufferView\": 0, \"componentType\": 5126, \"count\": 3, \"type\": \"VEC3\"}}], \
         \"bufferViews\": [{{\"buffer\": 0, \"byteLength\": 36}}], \"buffers\": [{{\"byteLength\": 36, \"uri\": \"{uri}\"}}]}}"
    )
}

fn triangle() -> Vec<u8> {
    let corners: [f32; 9] = [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0];
    corners.iter().flat_map(|v| v.to_le_bytes()).collect()
}

#[test]
fn buffers_are_in_the_document_or_in_its_own_folder_and_nodes_have_their_places() {
    use base64::{Engine, engine::general_purpose::STANDARD};
    let folder = tempfile::tempdir().expect("a folder");
    let inner = folder.path().join("model");
    fs::create_dir(&inner).expect("made");
    fs::write(inner.join("a b.bin"), triangle()).expect("written");
    fs::write(folder.path().join("outside.bin"), triangle()).expect("written");
    let data = format!(
        "data:application/octet-stream;base64,{}",
        STANDARD.encode(triangle())
    );
    // A quarter turn about z above, a step along x below.
    let nodes = "[{\"children\": [1], \"rotation\": [0, 0, 0.7071067811865476, 0.7071067811865476]}, \
         {\"mesh\": 0, \"name\": \"plate\", \"translation\": [5, 0, 0], \"scale\": [2, 2, 2]}]";
    let path = inner.join("a.gltf");
    for uri in [data.as_str(), "a%20b.bin"] {
        fs::write(&path, gltf(uri, nodes)).expect("written");
        let model = meshes::read(&path, Some(Unit::Millimetre), Limits::default())
            .expect(uri)
            .model;
        assert_eq!(model.parts()[0].name, "plate");
        let found = model
            .model_box()
            .map(|p| p.map(|v| (v * 1e6).round() / 1e6 + 0.0));
        assert_eq!(found, [[-2.0, 5.0, 0.0], [0.0, 7.0, 0.0]]);
    }
    for uri in [
        "../outside.bin",
        "%2e%2e/outside.bin",
        "/etc/passwd",
        "file:///etc/passwd",
        "http://localhost/a.bin",
        "..\\\\outside.bin",
    ] {
        let text = refusal(&inner, "b.gltf", gltf(uri, nodes).as_bytes());
        assert!(
            text.contains("does not lie in the mesh's own folder"),
            "{text}"
        );
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink("../outside.bin", inner.join("link.bin")).expect("a link");
        let text = refusal(&inner, "b.gltf", gltf("link.bin", nodes).as_bytes());
        assert!(
            text.contains("does not lie in the mesh's own folder"),
            "{text}"
        );
    }
    let text = refusal(&inner, "b.gltf", gltf("c.bin", nodes).as_bytes());
    assert!(
        text.contains("its file \"c.bin\" there is no such file"),
        "{text}"
    );
}

#[test]
fn hostile_documents_are_refused_in_words() {
    use base64::{Engine, engine::general_purpose::STANDARD};
    let folder = tempfile::tempdir().expect("a folder");
    let data = format!("data:;base64,{}", STANDARD.encode(triangle()));
    let sound = gltf(&data, "[{\"mesh\": 0}]");
    let doubled: Vec<String> = (1..40)
        .map(|i| format!("{{\"children\": [{i}, {i}]}}"))
        .collect();
    let doubled = format!("[{}, {{\"mesh\": 0}}]", doubled.join(","));
    for (document, expected) in [
        (
            gltf(&data, "[{\"children\": [0]}]"),
            "more than 64 deep, or in a circle",
        ),
        (gltf(&data, &doubled), "at least 11 parts"),
        (gltf(&data, "[{\"mesh\": 4}]"), "meshes/4: it is not there"),
        (gltf("data:;base64,!", "[]"), "buffers/0/uri"),
        (gltf("data:text/plain,abc", "[]"), "it is not in base64"),
        (
            sound.replace("\"count\": 3", "\"count\": 4"),
            "4 groups go beyond its bufferView",
        ),
        (
            sound.replace("\"count\": 3", "\"count\": 18446744073709551615"),
            "go beyond its bufferView",
        ),
        (
            sound.replace("\"byteLength\": 36}]", "\"byteLength\": 37}]"),
            "it goes beyond its buffer",
        ),
        (
            sound.replace("{\"byteLength\": 36,", "{\"byteLength\": 99,"),
            "99 bytes stated, 36 are there",
        ),
        (
            sound.replace("VEC3", "VEC2"),
            "type \"VEC2\"; it must be VEC3",
        ),
        (sound.replace("5126", "5130"), "component type 5130"),
        (
            sound.replace(
                "{\"asset\"",
                "{\"extensionsRequired\": [\"KHR_draco_mesh_compression\"], \"asset\"",
            ),
            "export it without compression",
        ),
        (
            sound.replace(
                "\"nodes\": [0]",
                &format!("\"nodes\": [{}0]", "0,".repeat(200_000)),
            ),
            "at most 100000 entries",
        ),
        ("{".to_owned(), "line 1, column 1"),
    ] {
        let text = refusal(folder.path(), "a.gltf", document.as_bytes());
        assert!(text.contains(expected), "{text}");
    }
    let whole = fs::read(fixture("one-file.glb")).expect("there");
    for length in [4, 12, 20, 200, whole.len() - 1] {
        assert!(
            refusal(folder.path(), "b.glb", &whole[..length]).contains("GLB"),
            "{length}"
        );
    }
}
