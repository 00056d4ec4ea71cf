//! Drawn shots whose camera, noise and moire are known.
use super::{
    Average, Unaligned,
    align::{Places, align},
};
use crate::statistics::trials;
use image::{Rgb, RgbImage};
use nalgebra::{Matrix3, Vector3};

const WIDTH: u32 = 480;
const HEIGHT: u32 = 360;
const NOISE: f64 = 6.0;

/// What a shot has beside the scene.
#[derive(Clone, Copy)]
struct Taken {
    noise: f64,
    moire: f64,
    gain: f64,
    offset: f64,
    /// Standard deviation of a blur, px.
    blur: f64,
}

const PLAIN: Taken = Taken {
    noise: NOISE,
    moire: 0.0,
    gain: 1.0,
    offset: 0.0,
    blur: 0.5,
};

/// Boxes and rounds of many greys, at a place of the scene; at the left a straight edge, nearly upright.
fn grey_at(x: f64, y: f64) -> f64 {
    if x < 130.0 {
        return if x < edge_at(y) { 70.0 } else { 170.0 };
    }
    let cell = [(x / 37.0).floor(), (y / 29.0).floor()];
    let mixed = (cell[0] * 12.989 + cell[1] * 78.233).sin() * 43_758.545;
    let tone = 50.0 + 150.0 * (mixed - mixed.floor());
    let [u, v] = [x - 37.0 * cell[0] - 18.0, y - 29.0 * cell[1] - 14.0];
    let round = (9.0 - u.hypot(v)).clamp(0.0, 1.0);
    tone + round * (128.0 - tone) * 0.8
}

fn edge_at(y: f64) -> f64 {
    60.0 + 0.05 * y
}

/// Small turns, shifts, zooms and keystones, as a hand makes them; the first is none. Takes pixels of the first shot to those of
/// the shot.
fn hand(k: usize) -> Matrix3<f64> {
    if k == 0 {
        return Matrix3::identity();
    }
    let mut random = trials::Noise(1000 + k as u64);
    let mut about = |size: f64| size * (2.0 * random.uniform() - 1.0);
    let (turn, zoom) = (about(0.012), 1.0 + about(0.012));
    let (sin, cos) = turn.sin_cos();
    let shift = [about(7.0), about(7.0)];
    let keystone = [about(2e-5), about(2e-5)];
    Matrix3::new(
        zoom * cos,
        -zoom * sin,
        shift[0], //
        zoom * sin,
        zoom * cos,
        shift[1], //
        keystone[0],
        keystone[1],
        1.0,
    )
}

fn mapped(map: &Matrix3<f64>, x: f64, y: f64) -> [f64; 2] {
    let p = map * Vector3::new(x, y, 1.0);
    [p.x / p.z, p.y / p.z]
}

/// The shot that shows at `map(p)` what the first one shows at `p`; without noise where `seed` is 0.
fn shot(map: &Matrix3<f64>, taken: Taken, seed: u64) -> RgbImage {
    scene(map, taken, seed, grey_at)
}

fn scene(
    map: &Matrix3<f64>,
    taken: Taken,
    seed: u64,
    grey_at: impl Fn(f64, f64) -> f64,
) -> RgbImage {
    scene_of((WIDTH, HEIGHT), 4, map, taken, seed, grey_at)
}

/// The same, this wide and high, of so many samples along each side of a pixel.
fn scene_of(
    (width, height): (u32, u32),
    side: i32,
    map: &Matrix3<f64>,
    taken: Taken,
    seed: u64,
    grey_at: impl Fn(f64, f64) -> f64,
) -> RgbImage {
    let back = map.try_inverse().expect("a map");
    let mut random = trials::Noise(seed);
    let phase = std::f64::consts::TAU * trials::Noise(77 + 13 * seed).uniform();
    RgbImage::from_fn(width, height, |x, y| {
        let mut sum = 0.0;
        for k in 0..side * side {
            let at = |v: u32, k: i32| {
                let within = (f64::from(k) + 0.5) / f64::from(side) - 0.5;
                f64::from(v) + 0.5 + within * taken.blur * 12_f64.sqrt()
            };
            let [u, v] = mapped(&back, at(x, k % side), at(y, k / side));
            sum += grey_at(u, v);
        }
        let wave = 0.31 * f64::from(x) + 0.17 * f64::from(y) + phase;
        let level =
            taken.gain * sum / f64::from(side * side) + taken.offset + taken.moire * wave.sin();
        let noise = if seed == 0 { 0.0 } else { taken.noise };
        Rgb([(); 3].map(|()| (level + noise * random.normal()).round().clamp(0.0, 255.0) as u8))
    })
}

/// Root mean square over the picture of how far a found map is from the true one, px.
fn error(found: &Matrix3<f64>, truth: &Matrix3<f64>) -> f64 {
    error_over((WIDTH, HEIGHT), found, truth)
}

fn error_over((width, height): (u32, u32), found: &Matrix3<f64>, truth: &Matrix3<f64>) -> f64 {
    let places = (0..=10).flat_map(|i| (0..=10).map(move |j| [i, j]));
    let squares = places.map(|[i, j]| {
        let (x, y) = (f64::from(width * i) / 10.0, f64::from(height * j) / 10.0);
        let (a, b) = (mapped(found, x, y), mapped(truth, x, y));
        (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2)
    });
    (squares.sum::<f64>() / 121.0).sqrt()
}

fn mean_of(count: usize, taken: Taken) -> (RgbImage, super::Noise) {
    let mut average = Average::new(shot(&hand(0), taken, 1));
    for k in 1..count {
        let shot = shot(&hand(k), taken, 1 + k as u64);
        average.add(shot).expect("it goes with the first");
    }
    assert_eq!(average.shots(), count);
    let (picture, noise) = average.finish();
    (picture, noise.expect("enough pixels"))
}

/// Standard deviation of the greys beside those of a picture without noise, where both show the scene well inside.
fn deviation(picture: &RgbImage, truth: &RgbImage) -> f64 {
    let inside = (20..HEIGHT - 20).flat_map(|y| (20..WIDTH - 20).map(move |x| (x, y)));
    let off: Vec<f64> = inside
        // Away from edges: what resampling does to them is no noise.
        .filter(|&(x, y)| {
            let near = |dx: u32, dy: u32| truth[(x + dx - 3, y + dy - 3)].0[0];
            let all = [near(0, 3), near(6, 3), near(3, 0), near(3, 6), near(3, 3)];
            all.iter().all(|v| *v == all[0])
        })
        .flat_map(|at| (0..3).map(move |c| (at, c)))
        .map(|(at, c)| f64::from(picture[at].0[c]) - f64::from(truth[at].0[c]))
        .collect();
    assert!(off.len() > 10_000);
    (off.iter().map(|v| v * v).sum::<f64>() / off.len() as f64).sqrt()
}

#[test]
fn a_shot_from_a_hand_is_laid_over_the_first_to_less_than_a_tenth_of_a_pixel() {
    // Whole-picture limits: a quarter of the picture at the left has no clear place.
    for (moire, most) in [(0.0, 0.05), (5.0, 0.1), (10.0, 0.25)] {
        let taken = Taken { moire, ..PLAIN };
        let first = shot(&hand(0), taken, 1);
        let places = Places::of(&first);
        let mut squares = 0.0;
        for k in 1..8 {
            let found = align(&first, &places, &shot(&hand(k), taken, 1 + k as u64));
            let error = error(&found.expect("aligned").map, &hand(k));
            assert!(
                error < 2.0 * most,
                "moire {moire}: shot {k} is {error:.3} px off"
            );
            squares += error * error;
        }
        let all = (squares / 7.0_f64).sqrt();
        assert!(all < most, "moire {moire}: {all:.3} px");
    }
}

#[test]
fn a_picture_of_two_megapixels_is_laid_over_to_less_than_a_tenth_of_a_pixel_also_through_strong_moire()
 {
    const SIZE: (u32, u32) = (1600, 1200);
    let taken = Taken {
        moire: 10.0,
        ..PLAIN
    };
    let shot = |k: usize| scene_of(SIZE, 2, &hand(k), taken, 1 + k as u64, grey_at);
    let first = shot(0);
    let places = Places::of(&first);
    let mut squares = 0.0;
    // Two of them: four have 0.054 px, and take as long again.
    for k in 1..3 {
        let found = align(&first, &places, &shot(k)).expect("aligned");
        let error = error_over(SIZE, &found.map, &hand(k));
        squares += error * error;
    }
    let all = (squares / 2.0_f64).sqrt();
    assert!(all < 0.1, "{all:.3} px");
}

#[test]
fn noise_falls_as_the_root_of_the_number_of_shots_and_is_told_as_it_is() {
    let truth = shot(&hand(0), PLAIN, 0);
    let one = deviation(&shot(&hand(0), PLAIN, 1), &truth);
    assert!((one - NOISE).abs() < 0.1, "{one}");
    for count in [2, 4, 8] {
        let (picture, noise) = mean_of(count, PLAIN);
        let left = deviation(&picture, &truth);
        let by_root = NOISE / (count as f64).sqrt();
        // Resampling takes noise off the others as well: at most the half of it, where a shot lies between the pixels.
        assert!(
            left < 1.05 * by_root && left > 0.5 * by_root,
            "{count}: {left}"
        );
        // Of luma, whose noise is that of its three channels by their weights: 0.668 of one.
        let of_luma = 0.668 * left;
        assert!(
            (noise.all / of_luma - 1.0).abs() < 0.15,
            "{count}: {noise:?} {of_luma}"
        );
        let one = 0.668 * NOISE;
        let tolerance = if count == 2 { 0.35 } else { 0.15 };
        assert!(
            (noise.one / one - 1.0).abs() < tolerance,
            "{count}: {noise:?} {one}"
        );
    }
}

#[test]
fn moire_that_moves_from_shot_to_shot_falls() {
    let taken = Taken {
        noise: 0.0,
        moire: 10.0,
        ..PLAIN
    };
    let truth = shot(&hand(0), PLAIN, 0);
    let one = deviation(&shot(&hand(0), taken, 1), &truth);
    let eight = deviation(&mean_of(8, taken).0, &truth);
    assert!((one - 10.0 / 2_f64.sqrt()).abs() < 0.5, "{one}");
    // Eight phases by chance leave 1 in 2.8 of it as a rule.
    assert!(eight < 0.55 * one, "{eight:.2} of {one:.2}");
}

/// Standard deviation of where rows cross the straight edge, px.
fn edge_deviation(picture: &RgbImage) -> f64 {
    let off: Vec<f64> = (20..HEIGHT - 20)
        .map(|y| {
            let middle = edge_at(f64::from(y) + 0.5);
            // The mean of the slope's places, by parts: the greys on both sides are known.
            let (left, right) = (middle as u32 - 5, middle as u32 + 6);
            let dark: f64 = (left..right)
                .map(|x| (170.0 - f64::from(picture[(x, y)].0[1])) / 100.0)
                .sum();
            f64::from(left) + dark - middle
        })
        .collect();
    let mean = off.iter().sum::<f64>() / off.len() as f64;
    assert!(
        mean.abs() < 0.06,
        "the edge lies where it did: {mean:.3} px"
    );
    (off.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / off.len() as f64).sqrt()
}

#[test]
fn points_of_an_edge_scatter_less_and_the_edge_stays_where_it_is() {
    let one = edge_deviation(&shot(&hand(0), PLAIN, 1));
    let eight = edge_deviation(&mean_of(8, PLAIN).0);
    assert!(eight < 0.5 * one, "{eight:.3} px, one shot {one:.3} px");
}

#[test]
fn a_light_in_one_shot_leaves_no_trace() {
    let truth = shot(&hand(0), PLAIN, 0);
    let with_light = |k: usize| {
        let mut shot = shot(&hand(k), PLAIN, 1 + k as u64);
        if k == 2 {
            for (x, y) in (100..180).flat_map(|x| (80..150).map(move |y| (x, y))) {
                shot.put_pixel(x, y, Rgb([250; 3]));
            }
        }
        shot
    };
    let mut average = Average::new(with_light(0));
    for k in 1..5 {
        average.add(with_light(k)).expect("it goes with the first");
    }
    let (picture, _) = average.finish();
    let mean = |picture: &RgbImage| {
        let places = (110..170).flat_map(|x| (90..140).map(move |y| (x, y)));
        places.map(|at| f64::from(picture[at].0[0])).sum::<f64>() / 3000.0
    };
    let off = mean(&picture) - mean(&truth);
    assert!(
        off.abs() < 1.0,
        "{off:.2} grey levels; unnoticed it would be 20"
    );
}

#[test]
fn shots_in_another_light_are_brought_to_that_of_the_first() {
    let truth = shot(&hand(0), PLAIN, 0);
    let mut average = Average::new(shot(&hand(0), PLAIN, 1));
    for (k, (gain, offset)) in [(0.8, 10.0), (1.2, -14.0), (0.9, -5.0)]
        .into_iter()
        .enumerate()
    {
        let taken = Taken {
            gain,
            offset,
            ..PLAIN
        };
        let added = average.add(shot(&hand(k + 1), taken, 2 + k as u64));
        added.expect("it goes with the first");
    }
    let left = deviation(&average.finish().0, &truth);
    assert!(left < 1.1 * NOISE / 2.0, "{left:.2}");
}

#[test]
fn what_does_not_go_with_the_first_is_told_and_left_out() {
    let first = shot(&hand(0), PLAIN, 1);
    let mut average = Average::new(first.clone());
    let mut refused = |shot: RgbImage| average.add(shot).expect_err("left out");
    let other = scene(&hand(1), PLAIN, 5, |x, y| {
        // Another arrangement of the same things.
        grey_at(910.0 - x * 1.3, 430.0 - y * 0.9)
    });
    let why = refused(other);
    assert!(
        matches!(
            why,
            Unaligned::NotFound
                | Unaligned::FewPlaces { .. }
                | Unaligned::OtherSize { .. }
                | Unaligned::Apart { .. }
        ),
        "{why}"
    );
    assert!(matches!(
        refused(RgbImage::from_pixel(WIDTH, HEIGHT, Rgb([90; 3]))),
        Unaligned::NotFound
    ));
    let why = refused(RgbImage::new(1, 1));
    assert!(matches!(why, Unaligned::NotFound), "{why}");
    let shaken = Taken { blur: 2.2, ..PLAIN };
    let why = refused(shot(&hand(1), shaken, 7));
    assert!(
        matches!(
            why,
            Unaligned::Blurred | Unaligned::NotFound | Unaligned::Apart { .. }
        ),
        "{why}"
    );
    let why = refused(first);
    assert_eq!(why, Unaligned::Same);
    let dark = Taken {
        gain: 0.45,
        ..PLAIN
    };
    let why = refused(shot(&hand(1), dark, 8));
    assert!(
        matches!(why, Unaligned::OtherLight { gain } if gain > 1.6),
        "{why}"
    );
    let aside = Matrix3::new_translation(&[300.0, 0.0].into());
    let why = refused(shot(&aside, PLAIN, 9));
    assert!(
        matches!(
            why,
            Unaligned::CoversLittle { .. } | Unaligned::FewPlaces { .. } | Unaligned::NotFound
        ),
        "{why}"
    );
    // Not from the same place: depth moves things by up to 3 px.
    let bent = scene(&hand(0), PLAIN, 10, |x, y| {
        grey_at(x + 3.0 * (x / 60.0).sin(), y + 3.0 * (y / 45.0).cos())
    });
    let why = refused(bent);
    assert!(
        matches!(why, Unaligned::Apart { .. } | Unaligned::FewPlaces { .. }),
        "{why}"
    );
    assert_eq!(average.shots(), 1);
}

#[test]
fn a_larger_shot_is_refused_by_its_size_and_a_closer_one_used() {
    let zoomed = |by: f64| {
        let middle = Matrix3::new_translation(&[240.0, 180.0].into());
        let back = Matrix3::new_translation(&[-240.0, -180.0].into());
        middle * Matrix3::new_scaling(by) * back
    };
    let mut average = Average::new(shot(&hand(0), PLAIN, 1));
    let why = average
        .add(shot(&zoomed(0.4), PLAIN, 2))
        .expect_err("small");
    assert!(
        matches!(why, Unaligned::OtherSize { .. } | Unaligned::NotFound),
        "{why}"
    );
    average.add(shot(&zoomed(1.1), PLAIN, 3)).expect("closer");
    average.add(shot(&zoomed(0.92), PLAIN, 4)).expect("farther");
    assert_eq!(average.shots(), 3);
}

#[test]
fn the_mean_is_the_same_whatever_the_number_of_threads() {
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.expect("threads").install(|| mean_of(3, PLAIN))
    };
    let ((one, noise), (many, same)) = (on(1), on(3));
    assert!(one == many && noise == same);
}

#[test]
fn pictures_without_a_pixel_to_spare_pass() {
    for size in [(0, 0), (1, 1), (1, 40), (40, 1), (30, 30)] {
        let picture = RgbImage::new(size.0, size.1);
        let mut average = Average::new(picture.clone());
        assert!(average.add(picture.clone()).is_err());
        assert_eq!(average.finish().0, picture);
    }
}
