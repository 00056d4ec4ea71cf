use super::*;
use crate::job::PlanePoint;
use crate::statistics::trials::Noise;
use crate::units::FullSizeMm;
use nalgebra::{Complex, Rotation3, Vector3};

const PICTURE: (u32, u32) = (1920, 1080);

/// A camera with square pixels before a plane whose unit square it has in front of it.
#[derive(Clone, Copy)]
pub(super) struct Camera {
    turned: [f64; 3],
    focal: f64,
    axis: [f64; 2],
    lens: f64,
}

impl Camera {
    pub(super) fn turned(turned: [f64; 3]) -> Self {
        Self {
            turned,
            focal: 2000.0,
            axis: [960.0, 540.0],
            lens: 0.0,
        }
    }

    /// Where the picture shows a point of the plane.
    pub(super) fn shows(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let [a, b, c] = self.turned;
        let p = Rotation3::from_euler_angles(a, b, c) * Vector3::new(x, y, 0.0)
            + Vector3::new(0.05, -0.08, 3.0);
        let seen = Point::new(
            self.focal * p.x / p.z + self.axis[0],
            self.focal * p.y / p.z + self.axis[1],
        );
        let lens = Lens::of_picture(self.lens, PICTURE).expect("within the limits");
        lens.distort(seen).xy()
    }

    /// Corners of a rectangle of height 1.
    pub(super) fn rectangle(&self, aspect: f64) -> [[f64; 2]; 4] {
        let half = aspect / 2.0;
        [[-half, -0.5], [half, -0.5], [half, 0.5], [-half, 0.5]].map(|p| self.shows(p))
    }

    fn line(&self, from: [f64; 2], to: [f64; 2], n: usize) -> Vec<[f64; 2]> {
        (0..n)
            .map(|k| {
                let t = k as f64 / (n - 1) as f64;
                self.shows([
                    from[0] + t * (to[0] - from[0]),
                    from[1] + t * (to[1] - from[1]),
                ])
            })
            .collect()
    }
}

fn point([x, y]: [f64; 2]) -> Point<ReferencePx> {
    Point::new(x, y)
}

fn by_corners(corners: [[f64; 2]; 4], aspect: Option<f64>) -> Rectify {
    Rectify {
        plane: KnownPlane::Rectangle(Rectangle {
            corners: corners.map(point),
            aspect,
            find_bezel: false,
        }),
        straight_lines: Vec::new(),
    }
}

/// How far the rectified plane is from the true one after the best similarity, in parts of its size.
fn misfit(map: &FromReference<RectifiedPx>, camera: &Camera) -> f64 {
    let truth: Vec<[f64; 2]> = (0..25)
        .map(|k| {
            [
                f64::from(k % 5) / 4.0 * 1.4 - 0.7,
                f64::from(k / 5) / 4.0 - 0.5,
            ]
        })
        .collect();
    let found: Vec<[f64; 2]> = truth
        .iter()
        .map(|p| map.apply(point(camera.shows(*p))).xy())
        .collect();
    // As complex numbers a similarity is `a z + b`.
    let [truth, found] = [truth, found].map(centred);
    let square: f64 = found.iter().map(Complex::norm_sqr).sum();
    let products = found.iter().zip(&truth).map(|(f, t)| f.conj() * t);
    let factor = products.sum::<Complex<f64>>() / square;
    let left = truth
        .iter()
        .zip(&found)
        .map(|(t, f)| (f * factor - t).norm());
    left.fold(0.0, f64::max)
}

fn centred(places: Vec<[f64; 2]>) -> Vec<Complex<f64>> {
    let places: Vec<_> = places.iter().map(|&[x, y]| Complex::new(x, y)).collect();
    let middle = places.iter().sum::<Complex<f64>>() / places.len() as f64;
    places.iter().map(|place| place - middle).collect()
}

const TURNED: [f64; 3] = [0.5, -0.6, 0.1];

fn straight_lines(camera: &Camera) -> Vec<Vec<Point<ReferencePx>>> {
    [
        ([-0.8, -0.5], [0.8, -0.5]),
        ([-0.8, 0.5], [0.8, 0.5]),
        ([0.8, -0.5], [0.8, 0.5]),
    ]
    .map(|(a, b)| camera.line(a, b, 9).into_iter().map(point).collect())
    .to_vec()
}

#[test]
fn a_known_homography_and_lens_are_recovered_by_every_means() {
    for lens in [0.0, -0.12, 0.03] {
        let camera = Camera {
            lens,
            ..Camera::turned(TURNED)
        };
        let straight_lines = if lens == 0.0 {
            Vec::new()
        } else {
            straight_lines(&camera)
        };
        let grid = (0..12).map(|k| [f64::from(k % 4) * 0.4 - 0.6, f64::from(k / 4) * 0.5 - 0.5]);
        let figure = grid.map(|p| PlanePoint {
            reference: point(camera.shows(p)),
            at: p.map(FullSizeMm),
        });
        let line = |a, b| [a, b].map(|p| point(camera.shows(p)));
        let lines = PlaneLines {
            horizontal: vec![
                line([-0.7, -0.5], [0.7, -0.5]),
                line([-0.6, 0.4], [0.7, 0.4]),
            ],
            vertical: vec![
                line([-0.7, -0.5], [-0.7, 0.5]),
                line([0.0, -0.5], [0.0, 0.5]),
                line([0.7, -0.5], [0.7, 0.5]),
            ],
        };
        let corners = camera.rectangle(1.4);
        for plane in [
            by_corners(corners, Some(1.4)).plane,
            by_corners(corners, None).plane,
            KnownPlane::Figure(figure.collect()),
            KnownPlane::Lines(lines),
        ] {
            let words = format!("{plane:?}, lens {lens}");
            let rectify = Rectify {
                plane,
                straight_lines: straight_lines.clone(),
            };
            let found = Rectification::new(&rectify, PICTURE, Some(0.1), None).expect(&words);
            let map = found.rectified_from_reference();
            // What the difference quotients of the fits leave, far below a pixel.
            assert!(
                misfit(&map, &camera) < 2e-6,
                "{words}: {}",
                misfit(&map, &camera)
            );
            assert!((map.lens().coefficient() - lens).abs() < 1e-6, "{words}");
        }
    }
}

#[test]
fn straight_lines_alone_correct_the_lens_and_nothing_else() {
    let camera = Camera {
        lens: -0.1,
        ..Camera::turned([0.0; 3])
    };
    let rectify = Rectify {
        plane: KnownPlane::Unknown,
        straight_lines: straight_lines(&camera),
    };
    let found = Rectification::new(&rectify, PICTURE, Some(0.5), None).expect("long lines");
    let lens = found.figures().lens.expect("asked for");
    assert!(
        lens.holds(-0.1) && lens.high() - lens.low() < 0.05,
        "{lens:?}"
    );
    assert_eq!(found.figures().aspect, None);
    assert_eq!(
        found.rectified_from_reference().projective().rows(),
        Projective::<RectifiedPx, UndistortedPx>::identity().rows()
    );
}

#[test]
fn the_scale_of_the_picture_does_not_matter() {
    let camera = Camera::turned(TURNED);
    let of = |factor: u32| {
        let corners = camera
            .rectangle(1.4)
            .map(|p| p.map(|v| v * f64::from(factor)));
        let picture = (PICTURE.0 * factor, PICTURE.1 * factor);
        let found = Rectification::new(
            &by_corners(corners, None),
            picture,
            Some(f64::from(factor)),
            None,
        );
        found.expect("turned").figures().aspect.expect("asked for")
    };
    let (small, large) = (of(1), of(7));
    // Rounding.
    assert!((small.value() - large.value()).abs() < 1e-9);
    assert!((small.low() - large.low()).abs() < 1e-6);
}

#[test]
fn frontal_views_are_refused_in_plain_words() {
    for turned in [
        [0.0; 3],
        [0.02, -0.01, 0.3],
        [0.0, 0.6, 0.0],
        [0.5, 0.0, 0.0],
    ] {
        let corners = Camera::turned(turned).rectangle(1.5);
        let error = Rectification::new(&by_corners(corners, None), PICTURE, Some(1.0), None)
            .expect_err("turned about one axis at most");
        assert_eq!(error.code(), "too-frontal", "{turned:?}");
        assert!(
            error.to_string().contains("state the \"aspect\""),
            "{error}"
        );
        let stated = Rectification::new(&by_corners(corners, Some(1.5)), PICTURE, Some(1.0), None);
        assert!(stated.is_ok(), "a stated aspect needs no turn");
    }
}

#[test]
fn lines_without_a_bend_to_tell_are_refused() {
    let camera = Camera::turned(TURNED);
    let short = camera.line([0.0, 0.0], [0.05, 0.0], 5);
    let rectify = Rectify {
        straight_lines: vec![short.into_iter().map(point).collect()],
        ..by_corners(camera.rectangle(1.4), Some(1.4))
    };
    let error = Rectification::new(&rectify, PICTURE, Some(1.0), None).expect_err("too short");
    assert_eq!(error.code(), "lens-unclear");
}

#[test]
fn points_that_are_mixed_up_are_no_view_of_a_plane() {
    let camera = Camera::turned(TURNED);
    let at = [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]];
    let mixed = [1, 3, 0, 2];
    let points = at.iter().zip(mixed).map(|(p, k)| PlanePoint {
        reference: point(camera.shows(at[k])),
        at: p.map(FullSizeMm),
    });
    let rectify = Rectify {
        plane: KnownPlane::Figure(points.collect()),
        straight_lines: Vec::new(),
    };
    let error = Rectification::new(&rectify, PICTURE, Some(1.0), None).expect_err("mixed up");
    assert_eq!(error.code(), "not-a-plane");
}

/// The point with noise of `sigma` in each coordinate.
fn near(noise: &mut Noise, p: [f64; 2], sigma: f64) -> Point<ReferencePx> {
    Point::new(p[0] + sigma * noise.normal(), p[1] + sigma * noise.normal())
}

/// JCGM 101:2008: the 95 % interval must hold the truth in 95 % of the trials; with 600 trials the binomial standard
/// deviation is 0.9 %, and the bound is three of them.
const TRIALS: usize = 600;
const BOUND: (f64, f64) = (0.95 - 0.027, 0.95 + 0.027);

#[test]
fn intervals_of_aspect_and_lens_hold_the_truth_as_often_as_they_say() {
    let mut noise = Noise(5);
    let (mut aspects, mut lenses) = (0, 0);
    let diagonal = f64::from(PICTURE.0).hypot(f64::from(PICTURE.1));
    for _ in 0..TRIALS {
        // Cameras whose axis misses the middle by what is allowed for.
        let off = [0, 1].map(|_| RECTIFICATION.axis_deviation.get() * diagonal * noise.normal());
        let camera = Camera {
            axis: [960.0 + off[0], 540.0 + off[1]],
            lens: -0.08,
            ..Camera::turned(TURNED)
        };
        let sigma = 1.0;
        let corners = camera
            .rectangle(1.4)
            .map(|p| near(&mut noise, p, sigma).xy());
        let lines = straight_lines(&camera);
        let rectify = Rectify {
            straight_lines: lines
                .iter()
                .map(|l| l.iter().map(|p| near(&mut noise, p.xy(), sigma)).collect())
                .collect(),
            ..by_corners(corners, None)
        };
        let found = Rectification::new(&rectify, PICTURE, Some(sigma), None).expect("well turned");
        aspects += usize::from(found.figures().aspect.expect("asked for").holds(1.4));
        lenses += usize::from(found.figures().lens.expect("asked for").holds(-0.08));
    }
    let share = |count: usize| count as f64 / TRIALS as f64;
    assert!(
        share(aspects) > BOUND.0 && share(aspects) < BOUND.1,
        "aspect: {}",
        share(aspects)
    );
    // The lens' interval is widened where the lines happen to scatter more than stated, never narrowed: it may hold more.
    assert!(share(lenses) > BOUND.0, "lens: {}", share(lenses));
}

fn by_points(points: &[([f64; 2], [f64; 2])]) -> Result<Rectification, Error> {
    let points = points.iter().map(|(shown, at)| PlanePoint {
        reference: point(*shown),
        at: at.map(FullSizeMm),
    });
    let rectify = Rectify {
        plane: KnownPlane::Figure(points.collect()),
        straight_lines: Vec::new(),
    };
    Rectification::new(&rectify, PICTURE, Some(1.0), None)
}

fn seen(places: &[[f64; 2]]) -> Vec<([f64; 2], [f64; 2])> {
    let camera = Camera::turned(TURNED);
    places.iter().map(|p| (camera.shows(*p), *p)).collect()
}

const FOUR: [[f64; 2]; 4] = [[-0.6, -0.5], [0.7, -0.4], [0.6, 0.5], [-0.5, 0.4]];

#[test]
fn four_points_are_met_and_leave_nothing_to_judge_them_by() {
    let found = by_points(&seen(&FOUR)).expect("no three on a line");
    let map = found.rectified_from_reference();
    assert!(misfit(&map, &Camera::turned(TURNED)) < 2e-6);
    assert_eq!(found.figures().rms_px, None);
}

/// Three points, four of which three lie on a line, and four of which two are one.
#[test]
fn points_that_determine_no_plane_are_refused_in_words() {
    let line = [[-0.6, -0.5], [0.0, 0.0], [0.6, 0.5], [-0.5, 0.4]];
    let level = [[-0.6, 0.1], [0.0, 0.1], [0.3, 0.1], [0.6, 0.1]];
    let same = [FOUR[0], FOUR[1], FOUR[2], FOUR[2]];
    for places in [&FOUR[..3], &line, &level, &same] {
        let error = by_points(&seen(places)).expect_err("no plane");
        assert_eq!(
            error.to_string(),
            "rectify: what is marked is not the view of a plane from its front; see whether marks are mixed up",
            "{places:?}"
        );
    }
}

/// Twelve points with noise of a pixel: what they leave is a pixel in each coordinate, and the map is off by little more.
#[test]
fn noisy_points_leave_as_much_as_their_deviation() {
    const TRIALS: usize = 60;
    let mut noise = Noise(109);
    let grid: Vec<[f64; 2]> = (0..12)
        .map(|k| [f64::from(k % 4) * 0.4 - 0.6, f64::from(k / 4) * 0.5 - 0.5])
        .collect();
    let mut square = 0.0;
    for _ in 0..TRIALS {
        let mut points = seen(&grid);
        for (shown, _) in &mut points {
            *shown = near(&mut noise, *shown, 1.0).xy();
        }
        let found = by_points(&points).expect("a grid");
        square += found.figures().rms_px.expect("more than four").powi(2) / TRIALS as f64;
        // The plane is some 800 px wide in the picture.
        let misfit = misfit(&found.rectified_from_reference(), &Camera::turned(TURNED));
        assert!(misfit < 0.01, "{misfit}");
    }
    // Sixteen degrees of freedom in each of 60 trials: three deviations of their mean, root of 2 / 960.
    assert!((square - 1.0).abs() < 0.14, "{square}");
}

#[test]
fn the_way_back_from_the_rectified_picture_ends_at_the_mark() {
    let camera = Camera {
        lens: -0.08,
        ..Camera::turned(TURNED)
    };
    let rectify = Rectify {
        straight_lines: straight_lines(&camera),
        ..by_corners(camera.rectangle(1.4), Some(1.4))
    };
    let found = Rectification::new(&rectify, PICTURE, Some(1.0), None).expect("well turned");
    let map = found.rectified_from_reference();
    let back = map.inverse();
    for corner in camera.rectangle(1.2).map(point) {
        // What the inverse of the lens is iterated to.
        assert!(
            back.apply(map.apply(corner)).distance(corner) < 1e-6,
            "{corner:?}"
        );
    }
}

#[test]
fn careful_marks_along_lines_tell_their_own_noise() {
    let camera = Camera {
        lens: -0.1,
        ..Camera::turned([0.0; 3])
    };
    let mut noise = Noise(11);
    // A third of a pixel of noise, where one and a half are believed beforehand.
    let mut lines = straight_lines(&camera);
    for mark in lines.iter_mut().flatten() {
        *mark = Point::new(mark.x + 0.3 * noise.normal(), mark.y + 0.3 * noise.normal());
    }
    let rectify = Rectify {
        plane: KnownPlane::Unknown,
        straight_lines: lines,
    };
    let of = |sigma| Rectification::new(&rectify, PICTURE, sigma, None);
    let half_width = |made: Rectification| made.figures().lens.expect("lines").half_width();
    let unstated = half_width(of(None).expect("told by the lines"));
    let rightly = half_width(of(Some(0.3)).expect("stated"));
    let default = of(Some(mark_sigma_px())).map(half_width);
    // Ten observations to spare and three of what is believed: between both, nearer to the marks' own.
    assert!(
        unstated > rightly && unstated < 3.0 * rightly,
        "{unstated} {rightly}"
    );
    assert!(default.is_err() || default.is_ok_and(|default| default > 1.5 * unstated));
}
