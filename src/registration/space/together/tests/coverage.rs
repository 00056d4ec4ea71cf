//! How often the intervals of all nine numbers hold the truth, over invented objects.
use super::*;

/// What was counted over draws.
#[derive(Default)]
struct Counts {
    /// Of sizes, turns and offsets: how many intervals hold the truth, and how many there are.
    held: [[usize; 2]; 3],
    /// Deviation and whether it is told, each of the nine numbers.
    deviations: [Vec<f64>; NINE],
    told: [usize; NINE],
    /// Focal lengths that hold the truth, and how many there are.
    focal: [usize; 2],
    /// Wrong marks that are named, of how many; others that are accused, of how many.
    wrong: [usize; 4],
}

fn counted(draws: u64, draw: &Draw) -> Counts {
    let mut counts = Counts::default();
    for seed in 0..draws {
        let (object, mut photos, truths) = drawn(seed, draw);
        let spoilt = spoil(&mut photos, &mut Noise(seed + 17), draw.gross);
        let found = adjust(&photos, &object.as_asked());
        for (k, part) in found.parts.iter().enumerate() {
            let Some(part) = part else { continue };
            let truth = in_units(&object.errors_about(k, part.anchor_mm));
            for (n, (error, truth)) in part.errors.iter().zip(truth).enumerate() {
                counts.held[n / 3][0] += usize::from(error.figure.holds(truth));
                counts.held[n / 3][1] += 1;
                counts.deviations[n].push(error.deviation);
                counts.told[n] += usize::from(error.is_told);
            }
        }
        for (k, (photo, truth)) in found.photos.iter().zip(&truths).enumerate() {
            let Ok(photo) = photo else { continue };
            if let Some(focal) = photo.camera.focal_px.figure() {
                counts.focal[0] += usize::from(focal.holds(truth.focal));
                counts.focal[1] += 1;
            }
            for (own, mark) in photo.marks.iter().enumerate() {
                let is_named = mark.finding == MarkFinding::Wrong;
                let is_wrong = spoilt.contains(&(k, own));
                counts.wrong[if is_wrong { 0 } else { 2 }] += usize::from(is_named);
                counts.wrong[if is_wrong { 1 } else { 3 }] += 1;
            }
        }
    }
    counts
}

fn share([held, all]: [usize; 2]) -> f64 {
    100.0 * held as f64 / all.max(1) as f64
}

#[test]
fn intervals_of_all_nine_numbers_hold_the_truth_as_often_as_they_say() {
    for draw in [
        Draw {
            photos: 1,
            spread: 0.0,
            ..DRAW
        },
        Draw {
            photos: 3,
            sigma: 1.5,
            is_stated: false,
            ..DRAW
        },
        // Parts that are off by far more than is expected.
        Draw { times: 3.0, ..DRAW },
        Draw {
            has_own_axes: true,
            ..DRAW
        },
    ] {
        let counts = counted(12, &draw);
        for held in counts.held {
            // 95 of 100, less three standard deviations of a count of 288 that goes by parts.
            assert!(
                share(held) > 91.0 && held[1] > 200,
                "{draw:?}: {:?}",
                counts.held
            );
        }
    }
}

#[test]
fn wrong_marks_of_several_photos_are_named_and_good_ones_are_not() {
    let counts = counted(
        8,
        &Draw {
            gross: 3,
            is_stated: false,
            sigma: 1.5,
            ..DRAW
        },
    );
    let [named, wrong, accused, good] = counts.wrong;
    assert!(
        named * 10 >= wrong * 9 && accused * 100 <= good,
        "{:?}",
        counts.wrong
    );
}

/// The table of METHOD.md: `cargo test --lib together::tests::coverage::table -- --ignored --nocapture`; the variables OBJECTS (how many a
/// row) and ROWS (numbers of rows, such as 0,3) choose others.
#[test]
#[ignore = "a measurement: a minute or so"]
#[expect(clippy::print_stdout, reason = "the measurement is what is printed")]
fn table_of_photos() {
    let median = |values: &[f64]| {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        sorted[sorted.len() / 2]
    };
    let row = |photos, spread, sigma| Draw {
        photos,
        spread,
        sigma,
        ..DRAW
    };
    let mut rows: Vec<Draw> = Vec::new();
    for sigma in [1.0, 2.0] {
        for (photos, spread) in [
            (1, 0.0),
            (2, 5.0),
            (2, 10.0),
            (2, 25.0),
            (3, 10.0),
            (3, 25.0),
            (5, 10.0),
            (5, 25.0),
        ] {
            rows.push(row(photos, spread, sigma));
        }
    }
    rows.push(Draw {
        sigma: 1.5,
        is_stated: false,
        ..DRAW
    });
    rows.push(Draw {
        sigma: 1.5,
        is_stated: false,
        gross: 3,
        ..DRAW
    });
    rows.push(Draw { times: 2.0, ..DRAW });
    rows.push(Draw { times: 3.0, ..DRAW });
    rows.push(Draw {
        has_own_axes: true,
        ..DRAW
    });
    let objects = std::env::var("OBJECTS").ok().and_then(|n| n.parse().ok());
    let objects: u64 = objects.unwrap_or(60);
    let asked = std::env::var("ROWS").ok();
    let is_asked = |row: usize| {
        let mut all = asked.iter().flat_map(|rows| rows.split(','));
        asked.is_none() || all.any(|number| number.parse() == Ok(row))
    };
    let rows = rows.into_iter().enumerate();
    for (_, draw) in rows.filter(|(row, _)| is_asked(*row)) {
        let begun = std::time::Instant::now();
        let counts = counted(objects, &draw);
        let cells: Vec<String> = (0..NINE)
            .map(|n| {
                let all = counts.deviations[n].len();
                format!(
                    "{:.2} ({:.0})",
                    median(&counts.deviations[n]),
                    share([counts.told[n], all])
                )
            })
            .collect();
        println!(
            "{} photos, {}°, sigma {}{}{}{}: {} | holds {} | focal {:.1} | wrong {:?} | {:.0} ms",
            draw.photos,
            draw.spread,
            draw.sigma,
            if draw.is_stated { "" } else { " estimated" },
            if draw.times > 1.0 {
                format!(", {} x expected", draw.times)
            } else {
                String::new()
            },
            if draw.has_own_axes { ", own axes" } else { "" },
            cells.join(", "),
            counts
                .held
                .map(|held| format!("{:.1}", share(held)))
                .join(", "),
            share(counts.focal),
            counts.wrong,
            begun.elapsed().as_secs_f64() * 1000.0 / objects as f64
        );
    }
}
