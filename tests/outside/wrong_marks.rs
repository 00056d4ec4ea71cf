//! Real marks of real image pairs with one, two, three and half of them wrong: the wrong ones are found, no good one is
//! accused, and the map is as good as that of a consensus fit. Marks: tentative matches of the "homogr" set (Lebeda, Matas,
//! Chum 2012: citation from memory), reference/landmarks-planar; those within 2 px of the map of all good ones are good.
//!
//! `TICKSTRIP_DRAWS=1000 cargo test --test outside wrong_marks:: -- --nocapture` draws as often of each kind and prints
//! what was found.
use crate::{golden, reference, support::random::Random, views};
use nalgebra::{DMatrix, DVector, Matrix3, Point2};
use tickstrip::{
    frame::Point,
    job::RegistrationKind,
    registration::{Finding, register},
};

/// Marks of a draw; many enough that half of them determine a projective map with marks to spare.
const MARKS: usize = 14;
/// Matches that lie nearer to the map of all good ones than this are good, pixels.
const GOOD_PX: f64 = 2.0;
/// Least and largest error of a wrong mark, pixels of the render. The real marks scatter by up to 2 px, about 1 rms: what
/// is nearer than ten times that may pass for one of them.
const WRONG_PX: [f64; 2] = [12.0, 150.0];

/// Real marks in a reference and in a render, and how far the second lie from the published map.
struct Pair {
    name: &'static str,
    reference: Vec<[f64; 2]>,
    residuals: Vec<[f64; 2]>,
    published: Matrix3<f64>,
}

fn mapped(map: &Matrix3<f64>, [x, y]: [f64; 2]) -> [f64; 2] {
    map.transform_point(&Point2::new(x, y)).into()
}

fn pairs() -> Option<Vec<Pair>> {
    let folder = reference::folder("wrong marks", "landmarks-planar")?;
    let pair = |name: &'static str| {
        let json = golden::json(&folder, &format!("{name}.json"));
        let h = &json["H_A_to_B"];
        let published = Matrix3::from_fn(|r, c| h[r][c].as_f64().expect("a number"));
        let [a, b] = ["A", "B"].map(|s| golden::points(&json[format!("tentative_matches_{s}")]));
        // The published map is that of the hand-marked points, which lie a pixel or two off the matches as a whole (the
        // folder's README): what scatters is told against the matches' own map.
        let mut good = Draw {
            reference: a,
            render: b,
            is_wrong: Vec::new(),
        };
        let mut map = published;
        for limit in [3.0, 3.0, GOOD_PX, GOOD_PX] {
            let near: Vec<usize> = (0..good.reference.len())
                .filter(|&k| distance(mapped(&map, good.reference[k]), good.render[k]) < limit)
                .collect();
            map = least_squares(RegistrationKind::Projective, &good, &near).expect("many marks");
        }
        let (reference, residuals) = (good.reference.drain(..).zip(good.render.drain(..)))
            .map(|(a, [x, y])| {
                let [u, v] = mapped(&map, a);
                (a, [x - u, y - v])
            })
            .filter(|(_, [x, y])| x.hypot(*y) < GOOD_PX)
            .unzip();
        Pair {
            name,
            reference,
            residuals,
            published,
        }
    };
    // "city" has fewer than fourteen good matches apart from each other.
    Some(["WhiteBoard", "adam", "LePoint1"].map(pair).into())
}

/// Marks with the scatter of the real ones about a map of this kind.
struct Draw {
    reference: Vec<[f64; 2]>,
    render: Vec<[f64; 2]>,
    is_wrong: Vec<bool>,
}

fn draw(pair: &Pair, kind: RegistrationKind, wrong: usize, random: &mut Random) -> Option<Draw> {
    let mut below = |n: usize| (((random.uniform() + 1.0) / 2.0 * n as f64) as usize).min(n - 1);
    let mut left: Vec<usize> = (0..pair.reference.len()).collect();
    let mut chosen: Vec<usize> = Vec::new();
    while chosen.len() < MARKS {
        if left.is_empty() {
            return None;
        }
        let next = left.swap_remove(below(left.len()));
        // Nobody marks two points beside each other.
        let [x, y] = pair.reference[next];
        let apart = |&k: &usize| (pair.reference[k][0] - x).hypot(pair.reference[k][1] - y) > 10.0;
        if chosen.iter().all(apart) {
            chosen.push(next);
        }
    }
    let map = match kind {
        RegistrationKind::Projective => pair.published,
        RegistrationKind::Affine => Matrix3::new(1.1, 0.2, 10.0, -0.1, 0.9, 20.0, 0.0, 0.0, 1.0),
        RegistrationKind::Similarity => {
            Matrix3::new(0.95, 0.25, 10.0, -0.25, 0.95, 90.0, 0.0, 0.0, 1.0)
        }
    };
    let reference: Vec<[f64; 2]> = chosen.iter().map(|&k| pair.reference[k]).collect();
    let mut is_wrong = vec![false; MARKS];
    let mut render: Vec<[f64; 2]> = chosen
        .iter()
        .map(|&k| {
            let [x, y] = mapped(&map, pair.reference[k]);
            [x + pair.residuals[k][0], y + pair.residuals[k][1]]
        })
        .collect();
    for k in 0..wrong {
        let (length, angle) = (
            WRONG_PX[0] + (WRONG_PX[1] - WRONG_PX[0]) * (random.uniform() + 1.0) / 2.0,
            std::f64::consts::PI * random.uniform(),
        );
        render[k][0] += length * angle.cos();
        render[k][1] += length * angle.sin();
        is_wrong[k] = true;
    }
    Some(Draw {
        reference,
        render,
        is_wrong,
    })
}

/// The map of these marks by linear least squares on coordinates of about 1 (singular values by nalgebra); a projective one
/// by the direct linear transformation with the last element 1.
fn least_squares(kind: RegistrationKind, draw: &Draw, of: &[usize]) -> Option<Matrix3<f64>> {
    const SCALE: f64 = 400.0;
    let mut rows: Vec<[f64; 8]> = Vec::new();
    let mut right = Vec::new();
    for &i in of {
        let [x, y] = draw.reference[i].map(|v| v / SCALE);
        let [u, v] = draw.render[i].map(|v| v / SCALE);
        rows.extend(match kind {
            RegistrationKind::Similarity => [
                [x, -y, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
                [y, x, 0.0, 1.0, 0.0, 0.0, 0.0, 0.0],
            ],
            _ => [
                [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y],
                [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y],
            ],
        });
        right.extend([u, v]);
    }
    let unknowns = match kind {
        RegistrationKind::Similarity => 4,
        RegistrationKind::Affine => 6,
        RegistrationKind::Projective => 8,
    };
    let matrix = DMatrix::from_fn(rows.len(), unknowns, |r, c| rows[r][c]);
    let found = matrix
        .svd(true, true)
        .solve(&DVector::from_vec(right), 1e-12)
        .ok()?;
    let h = |k: usize| if k < unknowns { found[k] } else { 0.0 };
    let map = match kind {
        RegistrationKind::Similarity => {
            Matrix3::new(h(0), -h(1), h(2), h(1), h(0), h(3), 0.0, 0.0, 1.0)
        }
        _ => Matrix3::new(h(0), h(1), h(2), h(3), h(4), h(5), h(6), h(7), 1.0),
    };
    let scaled = Matrix3::new_scaling(1.0 / SCALE);
    Some(Matrix3::new_scaling(SCALE) * map * scaled)
}

/// A plain consensus fit: of 500 random samples the map that most marks lie within 5 px of, fitted to all of those.
fn consensus(kind: RegistrationKind, draw: &Draw, random: &mut Random) -> Option<Matrix3<f64>> {
    let size = match kind {
        RegistrationKind::Similarity => 2,
        RegistrationKind::Affine => 3,
        RegistrationKind::Projective => 4,
    };
    let of = |indices: &[usize]| least_squares(kind, draw, indices);
    let near = |map: &Matrix3<f64>| -> Vec<usize> {
        let off = |i: usize| distance(mapped(map, draw.reference[i]), draw.render[i]);
        (0..MARKS).filter(|&i| off(i) < 5.0).collect()
    };
    let mut best = Vec::new();
    for _ in 0..500 {
        let mut all: Vec<usize> = (0..MARKS).collect();
        let sample: Vec<usize> = (0..size)
            .map(|_| {
                let at = (random.uniform() + 1.0) / 2.0 * all.len() as f64;
                all.swap_remove((at as usize).min(all.len() - 1))
            })
            .collect();
        let found = of(&sample).map(|map| near(&map)).unwrap_or_default();
        if found.len() > best.len() {
            best = found;
        }
    }
    of(&best)
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Root mean square distance of the good marks from a map.
fn off_at_good_marks(draw: &Draw, map: impl Fn([f64; 2]) -> [f64; 2]) -> f64 {
    let good: Vec<usize> = (0..MARKS).filter(|&i| !draw.is_wrong[i]).collect();
    let square = |i: &usize| distance(map(draw.reference[*i]), draw.render[*i]).powi(2);
    (good.iter().map(square).sum::<f64>() / good.len() as f64).sqrt()
}

#[derive(Default)]
struct Count {
    draws: usize,
    refused: usize,
    wrong: usize,
    found: usize,
    good: usize,
    accused: usize,
    /// Maps that are worse than the consensus fit by more than a pixel at the good marks, and such that are better.
    worse: usize,
    better: usize,
}

impl Count {
    fn take(&mut self, kind: RegistrationKind, draw: &Draw, random: &mut Random) {
        let Some(consensus) = consensus(kind, draw, random) else {
            return;
        };
        self.draws += 1;
        let view = views::view(kind, &draw.reference, &draw.render, [None, None]);
        let Ok(registered) = register(&view, views::EXPECTED, (800, 600), None) else {
            self.refused += 1;
            return;
        };
        let registration = registered.registration;
        for (landmark, wrong) in registration.landmarks.iter().zip(&draw.is_wrong) {
            let accused = matches!(
                landmark.finding,
                Some(Finding::Wrong | Finding::SwappedWith(_))
            );
            self.wrong += usize::from(*wrong);
            self.found += usize::from(*wrong && accused);
            self.good += usize::from(!wrong);
            self.accused += usize::from(!wrong && accused);
        }
        let ours = off_at_good_marks(draw, |[x, y]| {
            registration
                .render_from_reference
                .apply(Point::new(x, y))
                .xy()
        });
        let theirs = off_at_good_marks(draw, |p| mapped(&consensus, p));
        self.worse += usize::from(ours > theirs + 1.0);
        self.better += usize::from(theirs > ours + 1.0);
    }
}

#[test]
#[allow(clippy::print_stdout, reason = "the long run is read")]
fn wrong_marks_are_found_and_the_map_is_that_of_the_others() {
    let Some(pairs) = pairs() else { return };
    let draws = std::env::var("TICKSTRIP_DRAWS")
        .ok()
        .and_then(|n| n.parse().ok());
    let draws: usize = draws.unwrap_or(40);
    let mut faults = Vec::new();
    for kind in [
        RegistrationKind::Similarity,
        RegistrationKind::Affine,
        RegistrationKind::Projective,
    ] {
        for wrong in [1, 2, 3, MARKS / 2] {
            let mut count = Count::default();
            let mut random = Random::new(wrong as u64);
            for k in 0..draws {
                let pair = &pairs[k % pairs.len()];
                let drawn = draw(pair, kind, wrong, &mut random);
                let drawn = drawn.unwrap_or_else(|| panic!("{} has too few marks", pair.name));
                count.take(kind, &drawn, &mut random);
            }
            let share = |a: usize, b: usize| 100.0 * a as f64 / b as f64;
            let (found, accused) = (
                share(count.found, count.wrong),
                share(count.accused, count.good),
            );
            let line = format!(
                "{} {wrong} of {MARKS} wrong: found {found:.1} %, good accused {accused:.2} %, refused {}, worse {}, better {} of {}",
                kind.name(),
                count.refused,
                count.worse,
                count.better,
                count.draws
            );
            println!("{line}");
            // Where half of fourteen marks are wrong, seven determine a projective map hardly better than seven wrong ones that
            // happen to lie near another, and both ways err: of a thousand draws ours is worse in 42 and better in 77.
            let is_hardest = kind == RegistrationKind::Projective && wrong == MARKS / 2;
            let may_be_worse = if is_hardest { draws / 10 } else { draws / 500 };
            if found < 97.0 || accused > 0.5 || count.worse > may_be_worse || count.refused > 0 {
                faults.push(line);
            }
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}
