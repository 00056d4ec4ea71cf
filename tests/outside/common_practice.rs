//! What every modeller and draughtsman does, without a source to name.
use tickstrip::units::{FullSizeMm, ScaleRatio, parse_length};

/// Products and quotients of a few short decimals: some roundings of 1e-16 each.
fn assert_close(found: f64, expected: f64) {
    assert!(
        (found - expected).abs() <= 1e-12 * expected,
        "{found}, not {expected}"
    );
}

#[test]
fn a_wall_is_scaled_from_a_door_of_known_height() {
    // Common practice, no source: a door known as 80 in measures 0.25 in a picture and the wall 7/8; the wall is then
    // 280 in, and at 1:160 it is 1 3/4 in.
    let length = |text| parse_length(text).expect(text);
    let full_per_picture = length("80 in") / length("0.25 in");
    let wall = FullSizeMm(length("7/8 in") * full_per_picture);
    assert_close(wall.0, length("280 in"));
    assert_eq!(wall.feet_and_inches(), "23' 4\"");
    let on_the_model = wall.at(ScaleRatio::parse("1:160").expect("a scale"));
    assert_close(on_the_model.0, length("1 3/4 in"));
    assert_eq!(on_the_model.feet_and_inches(), "1 3/4\"");
}

#[test]
fn a_scale_in_inches_to_the_foot_is_a_ratio() {
    // Common practice, no source: "3/8 inch to the foot" is 1:32, "1/4 inch to the foot" 1:48.
    let foot = FullSizeMm(parse_length("1'").expect("a length"));
    for (scale, inches) in [("1:32", "3/8 in"), ("1:48", "1/4 in"), ("1:24", "1/2 in")] {
        let scale = ScaleRatio::parse(scale).expect(scale);
        assert_close(foot.at(scale).0, parse_length(inches).expect(inches));
    }
}

#[test]
fn feet_and_inches_are_the_same_length_as_inches() {
    // Common practice, no source: 12 inches to the foot, sixteenths as fractions.
    for (a, b) in [
        ("3' 10 1/2\"", "46.5 in"),
        ("6'-8\"", "80 in"),
        ("1/16 in", "0.0625 in"),
    ] {
        assert_close(parse_length(a).expect(a), parse_length(b).expect(b));
    }
}
