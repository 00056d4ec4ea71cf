//! Drawn pictures whose change is known.
use super::*;
use image::Rgb;

/// A pattern of boxes and rounds of many greys, at a place of the subject.
fn grey_at(x: f64, y: f64) -> f64 {
    let cell = [(x / 37.0).floor(), (y / 29.0).floor()];
    let mixed = (cell[0] * 12.989 + cell[1] * 78.233).sin() * 43_758.545;
    let tone = 60.0 + 140.0 * (mixed - mixed.floor());
    let [u, v] = [x - 37.0 * cell[0] - 18.0, y - 29.0 * cell[1] - 14.0];
    let round = (9.0 - u.hypot(v)).clamp(0.0, 1.0);
    tone + round * (128.0 - tone) * 0.8
}

/// The picture that shows the subject's place `subject(p)` at `p`, in another light.
fn picture(size: [u32; 2], light: f64, subject: impl Fn([f64; 2]) -> [f64; 2]) -> RgbImage {
    RgbImage::from_fn(size[0], size[1], |x, y| {
        let mut sum = 0.0;
        for (i, j) in (0..9).map(|k| (k % 3, k / 3)) {
            let at = |v: u32, k: i32| f64::from(v) + (f64::from(k) + 0.5) / 3.0;
            let [u, v] = subject([at(x, i), at(y, j)]);
            sum += grey_at(u, v);
        }
        Rgb([(light * sum / 9.0).clamp(0.0, 255.0) as u8; 3])
    })
}

const SIZE: [u32; 2] = [640, 480];

fn marks() -> impl Iterator<Item = [f64; 2]> {
    // Corners of the cells.
    (3..14).flat_map(|i| (3..13).map(move |j| [37.0 * f64::from(i), 29.0 * f64::from(j)]))
}

/// How many marks were carried, and the root mean square and largest of how far they are from where they should be.
fn carried(change: &Change, truth: impl Fn([f64; 2]) -> [f64; 2]) -> (usize, f64, f64) {
    let off: Vec<f64> = marks()
        .filter_map(|mark| {
            let found = change.carry(mark, false).ok()?.place;
            let [x, y] = truth(mark);
            Some((found[0] - x).hypot(found[1] - y))
        })
        .collect();
    let square = off.iter().map(|v| v * v).sum::<f64>() / off.len() as f64;
    (
        off.len(),
        square.sqrt(),
        off.iter().copied().fold(0.0, f64::max),
    )
}

#[test]
fn a_moved_cropped_and_darker_picture_is_followed() {
    let old = picture(SIZE, 1.0, |p| p);
    // 61.3 px to the left, 22.6 up, cropped, and a third darker.
    let new = picture([560, 430], 0.66, |[x, y]| [x + 61.3, y + 22.6]);
    let change = Change::between(&old, &new);
    assert!(change.is_told);
    let (count, rms, most) = carried(&change, |[x, y]| [x - 61.3, y - 22.6]);
    assert!(
        count >= 95 && rms < 0.15 && most < 0.5,
        "{count} {rms} {most}"
    );
}

#[test]
fn a_larger_and_turned_picture_is_followed() {
    let old = picture(SIZE, 1.0, |p| p);
    let (s, c) = 3_f64.to_radians().sin_cos();
    let scale = 1.25;
    let to_new = move |[x, y]: [f64; 2]| {
        [
            scale * (c * x - s * y) + 20.0,
            scale * (s * x + c * y) - 5.0,
        ]
    };
    let back = move |[x, y]: [f64; 2]| {
        let [u, v] = [(x - 20.0) / scale, (y + 5.0) / scale];
        [c * u + s * v, c * v - s * u]
    };
    let new = picture([800, 600], 1.0, back);
    let change = Change::between(&old, &new);
    assert!(change.is_told);
    let (count, rms, most) = carried(&change, to_new);
    assert!(
        count >= 100 && rms < 0.15 && most < 0.6,
        "{count} {rms} {most}"
    );
}

#[test]
fn a_changed_part_is_followed_by_its_own_marks() {
    let old = picture(SIZE, 1.0, |p| p);
    // What lies in a box was moved by 9 px to the right and 6 down.
    let inside = |[x, y]: [f64; 2]| (190.0..420.0).contains(&x) && (150.0..320.0).contains(&y);
    let new = picture(SIZE, 1.0, |[x, y]| {
        if inside([x, y]) {
            [x - 9.0, y - 6.0]
        } else {
            [x, y]
        }
    });
    let change = Change::between(&old, &new);
    let middle = [37.0 * 8.0, 29.0 * 8.0];
    let found = change.carry(middle, false).expect("followed").place;
    assert!(
        (found[0] - middle[0] - 9.0).hypot(found[1] - middle[1] - 6.0) < 0.2,
        "{found:?}"
    );
    let outside = [37.0 * 13.0, 29.0 * 12.0];
    let found = change.carry(outside, false).expect("there").place;
    assert!(
        (found[0] - outside[0]).hypot(found[1] - outside[1]) < 0.1,
        "{found:?}"
    );
}

#[test]
fn what_is_not_there_is_said() {
    let old = picture(SIZE, 1.0, |p| p);
    let other = picture(SIZE, 1.0, |[x, y]| [y * 1.7 + 5000.0, x * 1.3 + 9000.0]);
    let change = Change::between(&old, &other);
    assert!(!change.is_told, "another picture");
    let lost = marks().filter(|m| change.carry(*m, false).is_err()).count();
    assert!(lost >= 105, "{lost} of 110");
    let plain = RgbImage::from_pixel(SIZE[0], SIZE[1], Rgb([90; 3]));
    assert_eq!(
        Change::between(&plain, &old).carry([300.0, 200.0], false),
        Err(Lost::Flat)
    );
    let same = Change::between(&old, &old);
    for beyond in [[2.0, 200.0], [-50.0, 9.0], [f64::NAN, 1.0], [1e12, 1e12]] {
        assert_eq!(same.carry(beyond, false), Err(Lost::AtBorder), "{beyond:?}");
    }
    let tiny = RgbImage::new(3, 2);
    assert!(
        Change::between(&tiny, &old)
            .carry([1.0, 1.0], false)
            .is_err()
    );
    assert!(
        Change::between(&old, &tiny)
            .carry([300.0, 200.0], false)
            .is_err()
    );
}

#[test]
fn an_edge_tells_only_across() {
    let edge = RgbImage::from_fn(200, 200, |x, _| Rgb([if x < 100 { 40 } else { 200 }; 3]));
    let same = Change::between(&edge, &edge);
    let on_edge = [100.0, 90.0];
    assert!(same.carry(on_edge, false).is_err(), "it slides");
}
