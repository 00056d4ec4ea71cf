//! Units, scales and aspect ratios as standards and tables have them.
//!
//! The tables lie in `tables/` of the reference data; its README says which values were verified. drawing_scales.json: ISO
//! 5455, from memory. model_scales.json: the ratios of NMRA S-1.2 as the conversion table "scale to scale" at rvv.com prints
//! them (the sheet itself was not seen). aspect_ratios.json: DCI sizes as the README of paulyc/provideotoolbox and a
//! storyboard cheat sheet have them; film ratios from memory (SMPTE 195 was not seen).
use crate::reference;
use serde_json::Value;
use std::fs;
use tickstrip::{
    job::{self, KnownPlane},
    units::{CommonScale, FullSizeMm, ScaleRatio, ScaleUse, common_scales, parse_length},
};

fn table(test: &str, name: &str) -> Option<Value> {
    let path = reference::folder(test, "tables")?.join(name);
    let text = fs::read_to_string(&path).expect("the table is in the folder");
    Some(serde_json::from_str(&text).expect("the table is JSON"))
}

fn list<'a>(table: &'a Value, pointer: &str) -> &'a Vec<Value> {
    let list = table.pointer(pointer).and_then(Value::as_array);
    list.expect("the table has this list")
}

fn number(value: &Value) -> f64 {
    value.as_f64().expect("a number")
}

/// Both sides are decimal numbers with a few roundings of f64 each.
fn assert_close(found: f64, expected: f64, what: &str) {
    assert!(
        (found - expected).abs() <= 1e-12 * expected.abs(),
        "{what}: {found}, not {expected}"
    );
}

#[test]
fn an_inch_is_25_4_millimetres() {
    // International yard and pound agreement of 1959; also `inch_mm` of paper_sizes.json.
    assert_eq!(parse_length("1 in"), Ok(25.4));
    assert_eq!(parse_length("1 ft"), Ok(304.8));
    if let Some(table) = table("an_inch_is_25_4_millimetres", "paper_sizes.json") {
        assert_eq!(parse_length("1\""), Ok(number(&table["inch_mm"])));
    }
}

#[test]
fn a_foot_on_a_rail_model_has_the_length_of_the_table() {
    // model_scales.json, rail: ratios of NMRA S-1.2 as the table "scale to scale" at rvv.com prints them.
    let test = "a_foot_on_a_rail_model_has_the_length_of_the_table";
    let Some(table) = table(test, "model_scales.json") else {
        return;
    };
    let foot = FullSizeMm(parse_length("1 ft").expect("a length"));
    for row in list(&table, "/rail_NMRA_S_1_2") {
        let scale = ScaleRatio::from_number(number(&row["ratio"])).expect("a scale");
        let expected = number(&row["mm_per_prototype_foot"]);
        assert_close(foot.at(scale).0, expected, &row.to_string());
    }
}

#[test]
fn an_inch_of_model_has_the_full_size_of_the_table() {
    // model_scales.json, modelling.
    let test = "an_inch_of_model_has_the_full_size_of_the_table";
    let Some(table) = table(test, "model_scales.json") else {
        return;
    };
    let rows = list(&table, "/modelling");
    assert!(rows.len() > 10);
    for row in rows {
        let scale = ScaleRatio::parse(&format!("1:{}", row["ratio"])).expect("a scale");
        let full = number(&row["one_inch_on_model_is_prototype_mm"]);
        assert_close(FullSizeMm(full).at(scale).0, 25.4, &row.to_string());
        let metre = FullSizeMm(1000.0).at(scale).0;
        let expected = number(&row["mm_on_model_per_prototype_m"]);
        assert_close(metre, expected, &row.to_string());
    }
}

#[test]
fn the_scales_of_technical_drawings_are_read() {
    // drawing_scales.json, ISO 5455: from memory, not verified there.
    let test = "the_scales_of_technical_drawings_are_read";
    let Some(table) = table(test, "drawing_scales.json") else {
        return;
    };
    let read = |text: &Value| {
        let text = text.as_str().expect("a text");
        ScaleRatio::parse(text).expect(text).denominator()
    };
    assert_eq!(read(&table["ISO_5455"]["full"]), 1.0);
    let enlarged = list(&table, "/ISO_5455/enlargement").iter().map(read);
    assert_eq!(enlarged.collect::<Vec<_>>(), [0.02, 0.05, 0.1, 0.2, 0.5]);
    let reduced: Vec<f64> = list(&table, "/ISO_5455/reduction")
        .iter()
        .map(read)
        .collect();
    assert_eq!(
        reduced,
        [2., 5., 10., 20., 50., 100., 200., 500., 1e3, 2e3, 5e3, 1e4]
    );
}

#[test]
fn the_scales_that_are_proposed_are_those_of_the_tables() {
    // drawing_scales.json (ISO 5455, from memory) and model_scales.json (rail: the table at rvv.com; the modelling ones are
    // common practice, no source).
    let test = "the_scales_that_are_proposed_are_those_of_the_tables";
    let (Some(drawing), Some(model)) = (
        table(test, "drawing_scales.json"),
        table(test, "model_scales.json"),
    ) else {
        return;
    };
    let of_use = |wanted: ScaleUse| -> Vec<f64> {
        let uses = |s: &CommonScale| s.uses.contains(&Some(wanted));
        let found = common_scales().into_iter().filter(uses);
        found.map(|s| s.scale.denominator()).collect()
    };
    let same = |found: Vec<f64>, mut expected: Vec<f64>| {
        expected.sort_by(f64::total_cmp);
        assert_eq!(found.len(), expected.len());
        for (f, e) in found.iter().zip(&expected) {
            assert_close(*f, *e, "a scale");
        }
    };
    let parts = ["/ISO_5455/enlargement", "/ISO_5455/reduction"];
    let texts = parts.iter().flat_map(|part| list(&drawing, part));
    let read = |text: &Value| ScaleRatio::parse(text.as_str().expect("a text")).expect("a scale");
    let mut iso: Vec<f64> = texts.map(|t| read(t).denominator()).collect();
    iso.push(1.0);
    same(of_use(ScaleUse::Drawing), iso);
    let ratios = |part: &str| {
        let rows = list(&model, part).iter();
        rows.map(|row| number(&row["ratio"])).collect::<Vec<_>>()
    };
    same(of_use(ScaleUse::Modelling), ratios("/modelling"));
    same(of_use(ScaleUse::Railway), ratios("/rail_NMRA_S_1_2"));
}

/// The aspect that a job with this one is resolved to.
fn aspect(text: &str) -> f64 {
    let mut file: Value =
        serde_json::from_str(include_str!("../../fixtures/jobs/example.json")).expect("JSON");
    file["views"][0]["reference"]["rectify"]["aspect"] = text.into();
    let job = job::parse(file.to_string().as_bytes(), "pump.json".as_ref()).expect("sound");
    let rectify = job.views[0].reference.rectify.as_ref();
    match &rectify.expect("stated").plane {
        KnownPlane::Rectangle(rectangle) => rectangle.aspect.expect("stated"),
        other => panic!("corners were stated: {other:?}"),
    }
}

#[test]
fn aspect_ratios_of_film_and_television_are_read() {
    // aspect_ratios.json: DCI sizes from the two documents named above; HD, UHD and film ratios from memory.
    let test = "aspect_ratios_of_film_and_television_are_read";
    let Some(table) = table(test, "aspect_ratios.json") else {
        return;
    };
    for row in list(&table, "/ratios") {
        let value = number(&row["value"]);
        assert_close(aspect(&format!("{value}:1")), value, &row.to_string());
    }
    assert_close(aspect("16:9"), number(&table["ratios"][3]["value"]), "16:9");
    for (kind, printed) in [
        ("full", "256:135"),
        ("flat", "37:20"),
        ("scope", "1024:429"),
    ] {
        let stated = table["DCI_exact"][kind].as_str().expect("a text");
        assert!(stated.starts_with(printed), "{stated}");
        for size in [format!("/DCI/4K {kind}"), format!("/DCI/2K {kind}")] {
            let pixels = list(&table, &size);
            let of_pixels = aspect(&format!("{} x {}", pixels[0], pixels[1]));
            assert_close(of_pixels, aspect(printed), &size);
        }
    }
    for name in ["HD", "UHD"] {
        let pixels = list(&table, &format!("/TV/{name}"));
        assert_close(
            number(&pixels[0]) / number(&pixels[1]),
            aspect("16:9"),
            name,
        );
    }
}

#[test]
fn paper_has_the_aspect_of_its_sides() {
    // ISO 216: A4 is 210 mm x 297 mm, verified in the table's README against the square root of 2 (below 1 mm a side).
    let a4 = aspect("297 mm x 210 mm");
    assert!((a4 - 2.0_f64.sqrt()).abs() < 1.0 / 210.0, "{a4}");
}
