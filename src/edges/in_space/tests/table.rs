//! How often the intervals hold the truth with edges, and how near the errors come.
use super::*;

/// What was counted over objects.
#[derive(Default)]
struct Counts {
    /// Of sizes, turns and offsets: how many intervals hold the truth, and how many there are.
    held: [[usize; 2]; 3],
    /// Absolute errors, deviations and whether they are told, each of the nine numbers.
    off: [Vec<f64>; 9],
    deviations: [Vec<f64>; 9],
    told: [usize; 9],
    focal: [usize; 2],
    focal_off: Vec<f64>,
    /// Parts by what became of their edges: used, by chance, against the marks, too few.
    edges: [usize; 4],
    strained: usize,
    seconds: f64,
}

impl Counts {
    fn add(&mut self, scene: &Scene, found: &Together) {
        for (k, part) in found.parts.iter().enumerate() {
            let Some(part) = part else { continue };
            let truth = scene.truth(k, part.anchor_mm);
            for (n, (error, truth)) in part.errors.iter().zip(truth).enumerate() {
                self.held[n / 3][0] += usize::from(error.figure.holds(truth));
                self.held[n / 3][1] += 1;
                self.off[n].push((error.figure.value() - truth).abs());
                self.deviations[n].push(error.deviation);
                self.told[n] += usize::from(error.is_told);
            }
            match &part.edges {
                EdgesOfPart::Used(_) => self.edges[0] += 1,
                EdgesOfPart::NoBetterThanChance => self.edges[1] += 1,
                EdgesOfPart::AgainstMarks => self.edges[2] += 1,
                EdgesOfPart::TooFew => self.edges[3] += 1,
                EdgesOfPart::NotLookedFor => {}
            }
        }
        for (photo, shot) in found.photos.iter().zip(&scene.shots) {
            let Ok(photo) = photo else { continue };
            self.strained += usize::from(photo.is_datum_strained);
            if let Some(focal) = photo.camera.focal_px.figure() {
                self.focal[0] += usize::from(focal.holds(shot.focal));
                self.focal[1] += 1;
                self.focal_off
                    .push(100.0 * (focal.value() / shot.focal - 1.0).abs());
            }
        }
    }

    fn words(&self) -> String {
        let cells: Vec<String> = (0..9)
            .map(|n| {
                format!(
                    "{:.2}/{:.2} ({:.0})",
                    median(&self.off[n]),
                    median(&self.deviations[n]),
                    share([self.told[n], self.off[n].len()])
                )
            })
            .collect();
        format!(
            "{} | holds {} | focal {:.1} off {:.2} % | edges {:?} strained {} | {:.2} s",
            cells.join(", "),
            self.held
                .map(|held| format!("{:.1}", share(held)))
                .join(", "),
            share(self.focal),
            median(&self.focal_off),
            self.edges,
            self.strained,
            self.seconds
        )
    }
}

fn share([held, all]: [usize; 2]) -> f64 {
    100.0 * held as f64 / all.max(1) as f64
}

/// By marks, and with edges.
fn counted(objects: std::ops::Range<usize>, draw: &Draw) -> [Counts; 2] {
    let mut counts = [Counts::default(), Counts::default()];
    for seed in objects.clone() {
        let scene = scene(seed, draw);
        let begun = std::time::Instant::now();
        let marks = by_marks(&scene);
        counts[0].seconds += begun.elapsed().as_secs_f64() / objects.len() as f64;
        let begun = std::time::Instant::now();
        let edges = with_edges(&scene, &scene.photos_of_edges(), &scene.mesh());
        counts[1].seconds += begun.elapsed().as_secs_f64() / objects.len() as f64;
        let found = [marks, edges];
        for (counts, found) in counts.iter_mut().zip(&found) {
            counts.add(&scene, found);
        }
    }
    counts
}

#[test]
fn intervals_with_edges_hold_the_truth_and_errors_are_small() {
    let draw = Draw {
        size: (800, 600),
        ..DRAW
    };
    let [marks, edges] = counted(0..2, &draw);
    for (k, held) in edges.held.into_iter().enumerate() {
        // 95 of 100, less three standard deviations of a count of 48 that goes by parts.
        assert!(share(held) > 85.0 && held[1] == 48, "{k}: {held:?}");
    }
    assert_eq!(edges.edges[0], 16, "{:?}", edges.edges);
    // At half of the resolution of the table.
    for (k, most) in [0.5, 0.6, 0.5].into_iter().enumerate() {
        let (before, after) = (median(&marks.off[k]), median(&edges.off[k]));
        assert!(after < most && after < before, "{k}: {before} {after}");
    }
}

/// The table of METHOD.md: `cargo test --lib edges::in_space::tests::table::table_of_edges -- --ignored --nocapture`; the variables
/// OBJECTS (how many), PARTS, PHOTOS and FIRST (the first one's number) choose others.
#[test]
#[ignore = "a measurement: minutes"]
#[expect(clippy::print_stdout, reason = "the measurement is what is printed")]
fn table_of_edges() {
    let number = |name: &str, otherwise: usize| {
        let stated = std::env::var(name).ok().and_then(|text| text.parse().ok());
        stated.unwrap_or(otherwise)
    };
    let first = number("FIRST", 0);
    let objects = first..first + number("OBJECTS", 20);
    for (photos, spread) in [(1, 0.0), (2, 5.0), (2, 20.0), (3, 25.0), (5, 25.0)] {
        if number("PHOTOS", photos) != photos {
            continue;
        }
        let draw = Draw {
            photos,
            spread,
            parts: number("PARTS", DRAW.parts),
            ..DRAW
        };
        let counts = counted(objects.clone(), &draw);
        for (name, counts) in ["marks", "edges"].iter().zip(&counts) {
            println!("{photos} photos, {spread}°, {name}: {}", counts.words());
        }
    }
}
