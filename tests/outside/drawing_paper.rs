//! Paper sizes and drawing scales against their standards.
use crate::reference;
use std::collections::BTreeSet;
use tickstrip::drawing::{DrawingScale, Paper};

/// Source: ISO 216, as tabled in the reference data (width, height of the upright sheet, millimetres).
#[test]
fn paper_sizes_are_those_of_iso_216() {
    let Some(folder) = reference::folder("paper_sizes_are_those_of_iso_216", "tables") else {
        return;
    };
    let text = std::fs::read_to_string(folder.join("paper_sizes.json")).expect("readable");
    let table: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    for (paper, name) in [(Paper::A4, "A4"), (Paper::A3, "A3")] {
        let upright: [f64; 2] =
            serde_json::from_value(table["ISO_216_mm"][name].clone()).expect("two numbers");
        assert_eq!(paper.size_mm(), [upright[1], upright[0]], "{name}");
        assert_eq!(paper.portrait().size_mm(), upright, "{name}");
        assert_eq!(paper.name(), name);
    }
}

/// Common practice, no source: letter paper is 8 1/2 x 11 in.
#[test]
fn letter_paper_is_eleven_by_eight_and_a_half_inches() {
    let [width, height] = Paper::LETTER.size_mm();
    assert!((width / 25.4 - 11.0).abs() < 1e-12);
    assert!((height / 25.4 - 8.5).abs() < 1e-12);
}

/// Source: ISO 5455, as tabled in the reference data (from memory there).
#[test]
fn drawing_scales_are_those_of_iso_5455() {
    let Some(folder) = reference::folder("drawing_scales_are_those_of_iso_5455", "tables") else {
        return;
    };
    let text = std::fs::read_to_string(folder.join("drawing_scales.json")).expect("readable");
    let table: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let table = &table["ISO_5455"];
    let lists = ["enlargement", "reduction"].map(|key| table[key].as_array().expect("a list"));
    let listed = lists.into_iter().flatten().chain([&table["full"]]);
    let listed: BTreeSet<String> = listed
        .map(|scale| scale.as_str().expect("a scale").to_owned())
        .collect();
    let ours = DrawingScale::ALL.iter().map(ToString::to_string);
    assert_eq!(ours.collect::<BTreeSet<_>>(), listed);
    for scale in DrawingScale::ALL {
        let text = scale.to_string();
        let (paper, model) = text.split_once(':').expect("a ratio");
        let [paper, model] = [paper, model].map(|n| n.parse::<f64>().expect("a number"));
        assert_eq!(scale.ratio(), paper / model, "{scale}");
    }
}
