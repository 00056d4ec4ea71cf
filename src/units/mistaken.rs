//! Units that are mistaken for each other.

/// How far a factor may lie from that of two units, either way (a judgement): a model may be some per cent off besides.
const NEAR: f64 = 1.15;
/// Factors between units that are mistaken for each other.
const UNITS: [(f64, &str); 8] = [
    (2.54, "centimetres and inches"),
    (10.0, "millimetres and centimetres"),
    (12.0, "inches and feet"),
    (25.4, "millimetres and inches"),
    (30.48, "centimetres and feet"),
    (100.0, "centimetres and metres"),
    (304.8, "millimetres and feet"),
    (1000.0, "millimetres and metres"),
];

/// Two units, one so many times the other, that are mistaken for each other.
pub fn unit_between(times: f64) -> Option<(f64, &'static str)> {
    let off = |unit: f64| (times / unit).ln().abs();
    let nearest = UNITS.iter().min_by(|a, b| off(a.0).total_cmp(&off(b.0)));
    nearest.filter(|unit| off(unit.0) < NEAR.ln()).copied()
}
