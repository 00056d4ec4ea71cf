//! Paper sizes against the standard.
use crate::reference;
use tickstrip::drawing::Paper;

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
    }
}

/// Common practice, no source: letter paper is 8 1/2 x 11 in.
#[test]
fn letter_paper_is_eleven_by_eight_and_a_half_inches() {
    let [width, height] = Paper::LETTER.size_mm();
    assert!((width / 25.4 - 11.0).abs() < 1e-12);
    assert!((height / 25.4 - 8.5).abs() < 1e-12);
}
