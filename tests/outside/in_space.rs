//! Photos and marks in space, built from bare numbers.
use serde_json::Value;
use tickstrip::{
    frame::{ModelPoint, Point},
    registration::space::{
        KnownFocal, KnownLens, KnownPoint, MarkFinding, Photo, Resection, SpaceMark, Told,
    },
    statistics::Measured,
};

/// A photo of which nothing is known but its size and how well it was marked.
pub fn photo(size: (u32, u32), mark_sigma_px: Option<f64>) -> Photo {
    Photo {
        size,
        mark_sigma_px,
        focal: KnownFocal::Unknown,
        principal_point: KnownPoint::Middle { deviation: 0.02 },
        lens: KnownLens::NONE,
        screen: None,
    }
}

/// A principal point that is published: pixels with the top left corner of the picture at (0, 0).
pub fn principal(x: f64, y: f64, deviation_px: f64) -> KnownPoint {
    KnownPoint::At {
        point: Point::new(x, y),
        deviation_px,
    }
}

/// A focal length that is all but exact.
pub fn focal(px: f64, deviation: f64) -> KnownFocal {
    KnownFocal::Length { px, deviation }
}

/// Datum marks; the places times `millimetres`, the marks plus `shift` to our corner of the first pixel.
pub fn marks(
    places: &[[f64; 3]],
    millimetres: f64,
    seen: &[[f64; 2]],
    shift: f64,
) -> Vec<SpaceMark> {
    assert_eq!(places.len(), seen.len());
    let each = places.iter().zip(seen).enumerate();
    each.map(|(k, (place, mark))| SpaceMark {
        name: format!("point {k}"),
        place: ModelPoint(place.map(|v| v * millimetres)),
        place_sigma_mm: 0.0,
        mark: Point::new(mark[0] + shift, mark[1] + shift),
        is_datum: true,
    })
    .collect()
}

/// Numbers of a JSON list.
pub fn numbers<const N: usize>(value: &Value) -> [f64; N] {
    std::array::from_fn(|k| value[k].as_f64().expect("a number"))
}

/// Lists of numbers of a JSON list.
pub fn rows<const N: usize>(value: &Value) -> Vec<[f64; N]> {
    let list = value.as_array().expect("a list");
    list.iter().map(numbers).collect()
}

/// A figure that has to be told.
pub fn told(figure: Told) -> Measured {
    figure
        .figure()
        .unwrap_or_else(|| panic!("it can be told, found {figure:?}"))
}

/// The camera's place.
pub fn centre(found: &Resection) -> [f64; 3] {
    found.first.centre_mm.map(|c| told(c).value())
}

/// Marks that were left out.
pub fn wrong(found: &Resection) -> Vec<usize> {
    let marks = found.marks.iter().enumerate();
    marks
        .filter(|(_, m)| m.finding == MarkFinding::Wrong)
        .map(|(k, _)| k)
        .collect()
}

/// The place of the camera with this turn (rows) and shift: minus R' t.
pub fn centre_of(turn: &[[f64; 3]], shift: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| -(0..3).map(|row| turn[row][k] * shift[row]).sum::<f64>())
}

/// The distance of two places.
pub fn apart(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
}
