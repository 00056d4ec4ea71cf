//! What a further landmark would tell: where its mark in the reference is to be expected, and how much surer figures would
//! be with it. No mark of the reference is needed for either: the covariance of a least-squares solution does not depend on
//! what is observed, only on where.
//!
//! # Source
//! JCGM 100:2008 (GUM), eq. 13; the covariance with one observation more by M. Woodbury (1950).
use super::{
    adjusted::Adjustment,
    model::{Pair, Predictor},
    noise::AlongOutline,
    normal::{Covariance, Normal, Vector5},
    solving::{Row, Weighing, add_row},
};
use crate::frame::{Point, ReferencePx, RenderPx};
use nalgebra::{DMatrix, Matrix2, Matrix2xX, Matrix5, Vector2};

/// Which of a part's five numbers the figures of a part are: width, height, offset x, offset y.
const FIGURES: [usize; 4] = [0, 1, 3, 4];

/// Square of the deviations at which a find counts half.
const TRUSTED: f64 = 4.0;
/// Square of the deviations beyond which a find disagrees: of two normal quantities, one of a hundred lies beyond.
const AGREEING: f64 = 9.21;

/// A landmark that might be marked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Candidate {
    /// Its mark in the render.
    pub(crate) render: Point<RenderPx>,
    /// The region that it lies on.
    pub(crate) part: Option<usize>,
    /// Whether it would carry the registration: then the part's errors do not move it.
    pub(crate) is_datum: bool,
    /// Where it is the outermost point of a smooth outline.
    pub(crate) along: Option<AlongOutline>,
}

/// A candidate as the adjustment sees it.
#[derive(Clone, Debug)]
pub(crate) struct Expected {
    /// Where its mark in the reference is to be expected.
    pub(crate) reference: Point<ReferencePx>,
    /// Covariance of that mark, what is not known of the part's errors and the noise of both marks included, reference px.
    pub(crate) covariance: Matrix2<f64>,
    /// What of it is the noise of both marks.
    pub(crate) mark: Matrix2<f64>,
    /// Takes a small move in the reference to the render, part's errors included.
    pub(crate) render_by_reference: Matrix2<f64>,
    pair: Pair,
    row: Row,
}

/// An adjustment to which landmarks are added in thought.
pub(crate) struct Further<'a> {
    adjustment: &'a Adjustment,
    predictor: Predictor<'a>,
    /// Of the marks that there are.
    marked: Normal,
    /// With those that were added.
    normal: Normal,
    covariance: Covariance,
    /// Mean of the squares of how registered places move with the unknowns.
    places: DMatrix<f64>,
}

impl<'a> Further<'a> {
    /// `places` are those of the render for which the registration is wanted. `None` where the adjustment's matrix cannot be
    /// inverted.
    pub(crate) fn new(adjustment: &'a Adjustment, places: &[Point<RenderPx>]) -> Option<Self> {
        let problem = &adjustment.problem;
        let solved = &adjustment.solved;
        let normal = problem.normal(
            &solved.state,
            &solved.rows,
            &adjustment.active,
            Weighing::LeastSquares,
            adjustment.noise,
        );
        let covariance = normal.covariance()?;
        let size = problem.layout.global_unknowns();
        let mut further = Self {
            adjustment,
            predictor: Predictor::new(&problem.layout, &solved.state),
            marked: normal.clone(),
            normal,
            covariance,
            places: DMatrix::zeros(size, size),
        };
        let mut sum = DMatrix::zeros(size, size);
        for place in places {
            let candidate = Candidate {
                render: *place,
                part: None,
                is_datum: true,
                along: None,
            };
            if let Some(expected) = further.expected(&candidate) {
                let by_global: &Matrix2xX<f64> = &expected.row.prediction.by_global;
                sum += by_global.tr_mul(by_global) / places.len() as f64;
            }
        }
        further.places = sum;
        Some(further)
    }

    /// The candidate's mark in the reference; `None` where the map takes it nowhere.
    pub(crate) fn expected(&self, candidate: &Candidate) -> Option<Expected> {
        let problem = &self.adjustment.problem;
        let state = &self.adjustment.solved.state;
        let region = candidate.part.filter(|_| !candidate.is_datum);
        let shown = Vector2::from(candidate.render.xy());
        let subject = match region {
            None => shown,
            Some(j) => {
                let (errors, anchor) = (state.regions[j], problem.layout.anchors[j]);
                let back = errors.linear().try_inverse()?;
                back * (shown - anchor) + anchor - Vector2::from(errors.offset)
            }
        };
        let reference = state
            .render_from_reference()
            .inverse()
            .apply(Point::new(subject.x, subject.y));
        if !reference.x.is_finite() || !reference.y.is_finite() || !state.is_before(reference) {
            return None;
        }
        let [render_noise, reference_noise] = problem.unstated_noise;
        let pair = Pair {
            render: candidate.render,
            reference,
            render_noise,
            reference_noise,
            along: candidate.along,
            space: None,
            region,
            part: candidate.part,
        };
        let prediction = self.predictor.predict(&pair);
        let render_by_reference = prediction.by_reference;
        let noise = self.adjustment.noise;
        let covariance = pair.render_covariance(noise)
            + render_by_reference
                * render_by_reference.transpose()
                * pair.reference_variance(noise);
        let row = Row {
            residual: Vector2::zeros(),
            covariance,
            prediction,
        };
        let back = render_by_reference.try_inverse()?;
        let whole = covariance + self.spread(&pair, &row) + self.of_datum_parts(&pair, &row);
        let mark = back * covariance * back.transpose();
        let covariance = back * whole * back.transpose();
        covariance
            .iter()
            .all(|v| v.is_finite())
            .then_some(Expected {
                reference,
                covariance,
                mark,
                render_by_reference,
                pair,
                row,
            })
    }

    /// Covariance of the predicted place in the render from the unknowns.
    fn spread(&self, pair: &Pair, row: &Row) -> Matrix2<f64> {
        let a = &row.prediction.by_global;
        let mut spread: Matrix2<f64> = a * &self.covariance.global * a.transpose();
        if let (Some(j), Some(b)) = (pair.region, &row.prediction.by_region) {
            let cross: Matrix2<f64> = b * (&self.covariance.region_with_global[j] * a.transpose());
            spread += b * self.covariance.regions[j] * b.transpose() + cross + cross.transpose();
        }
        spread
    }

    /// What the errors that datum parts may have add to it.
    fn of_datum_parts(&self, pair: &Pair, row: &Row) -> Matrix2<f64> {
        let covariance = &self.adjustment.solved.covariance;
        let mut root = &row.prediction.by_global * &covariance.datum_root;
        if let (Some(j), Some(b)) = (pair.region, &row.prediction.by_region) {
            root += b * covariance.region_root(j);
        }
        &root * root.transpose()
    }

    /// By what share the intervals of its part's figures would shrink with this landmark (of width, height and offset the
    /// geometric mean), or where it is a datum those of the registration at the wanted places: 0 to 1.
    pub(crate) fn gain(&self, expected: &Expected) -> f64 {
        let (pair, row) = (&expected.pair, &expected.row);
        let innovation = (row.covariance + self.spread(pair, row)).try_inverse();
        let Some(innovation) = innovation else {
            return 0.0;
        };
        let a = &row.prediction.by_global;
        match (pair.region, &row.prediction.by_region) {
            (Some(j), Some(b)) => {
                let before: &Matrix5<f64> = &self.covariance.regions[j];
                let with_place =
                    &self.covariance.region_with_global[j] * a.transpose() + before * b.transpose();
                let after = before - with_place * innovation * with_place.transpose();
                let logarithms = FIGURES.map(|k| (after[(k, k)] / before[(k, k)]).ln());
                let mean = logarithms.iter().sum::<f64>() / FIGURES.len() as f64;
                share(1.0 - (mean / 2.0).exp())
            }
            _ => {
                let with_place = &self.covariance.global * a.transpose();
                let before = self.places.dot(&self.covariance.global);
                let less = &with_place * innovation * with_place.transpose();
                let after = before - self.places.dot(&less);
                share(1.0 - (after / before).max(0.0).sqrt())
            }
        }
    }

    /// Which of these finds agree with each other and with what is expected: candidates of one part, each with the place in the
    /// reference that was found for it and its covariance beside the noise of marks. A find that disagrees with most is wrong.
    pub(crate) fn agreeing(
        &self,
        finds: &[(&Expected, Point<ReferencePx>, Matrix2<f64>)],
    ) -> Vec<bool> {
        let rows: Vec<Row> = (finds.iter())
            .map(|(expected, found, covariance)| expected.moved_to(*found, *covariance))
            .collect();
        let mut left: Vec<Vector2<f64>> = rows.iter().map(|row| row.residual).collect();
        // From a scale at which all count to that of the noise, as a graduated fit does.
        for scale in [16.0, 8.0, 4.0, 2.0, 1.0, 1.0, 1.0, 1.0] {
            let mut normal = self.marked.clone();
            for ((row, left), (expected, ..)) in rows.iter().zip(&left).zip(finds) {
                let square = standardised(row, *left) / (scale * scale * TRUSTED);
                add_row(&mut normal, row, expected.pair.region, 1.0 / (1.0 + square));
            }
            let Some((global, regions)) = normal.solve(0.0) else {
                return vec![false; finds.len()];
            };
            for ((row, left), (expected, ..)) in rows.iter().zip(&mut left).zip(finds) {
                *left = row.residual - &row.prediction.by_global * &global;
                if let (Some(j), Some(b)) = (expected.pair.region, &row.prediction.by_region) {
                    *left -= b * Vector5::from(regions[j]);
                }
            }
        }
        let fits = rows.iter().zip(&left);
        fits.map(|(row, left)| standardised(row, *left) < AGREEING)
            .collect()
    }

    /// Adds it: what is asked from now on is asked beside it.
    pub(crate) fn add(&mut self, expected: &Expected) {
        let (row, region) = (&expected.row, expected.pair.region);
        add_row(&mut self.normal, row, region, 1.0);
        if let Some(covariance) = self.normal.covariance() {
            self.covariance = covariance;
        }
    }
}

impl Expected {
    /// The row of its pair with the mark in the reference where it was found.
    fn moved_to(&self, found: Point<ReferencePx>, covariance: Matrix2<f64>) -> Row {
        let j = self.render_by_reference;
        let off = Vector2::new(found.x - self.reference.x, found.y - self.reference.y);
        Row {
            residual: -j * off,
            covariance: self.row.covariance + j * covariance * j.transpose(),
            prediction: self.row.prediction.clone(),
        }
    }
}

/// The square of a residual in the deviations of its row.
fn standardised(row: &Row, residual: Vector2<f64>) -> f64 {
    let inverse = row.covariance.try_inverse();
    inverse.map_or(f64::INFINITY, |inverse| residual.dot(&(inverse * residual)))
}

fn share(gain: f64) -> f64 {
    if gain.is_finite() {
        gain.clamp(0.0, 1.0)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::{Landmark, LandmarkUse, RegistrationKind, View},
        registration::{
            invented::{DATUM, EXPECTED, PART, registered, right, view},
            prediction::predict,
        },
    };

    /// Six datum marks, and the first two places of the part.
    fn sample() -> View {
        let [datum, part] = [right(&DATUM[..6]), right(&PART[..2])];
        view(RegistrationKind::Similarity, &datum, &part, 1.0)
    }

    fn candidate([x, y]: [f64; 2], is_datum: bool) -> Candidate {
        Candidate {
            render: Point::new(x, y),
            part: (!is_datum).then_some(0),
            is_datum,
            along: None,
        }
    }

    fn places() -> Vec<Point<RenderPx>> {
        DATUM.iter().map(|[x, y]| Point::new(*x, *y)).collect()
    }

    /// The view with the candidate marked where it is expected.
    fn marked(view: &View, candidate: &Candidate, expected: &Expected) -> View {
        let mut with_mark = view.clone();
        with_mark.landmarks.push(Landmark {
            name: "further".to_owned(),
            render: candidate.render,
            reference: expected.reference,
            usage: match candidate.is_datum {
                true => LandmarkUse::Datum,
                false => LandmarkUse::Check,
            },
            model_mm: None,
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        });
        if !candidate.is_datum {
            with_mark.regions[0].landmarks.push(view.landmarks.len());
        }
        with_mark
    }

    /// Variances of a part's figures, and of the registration at the places.
    fn variances(view: &View) -> ([f64; 4], f64) {
        let adjustment = registered(view).adjustment;
        let own = &adjustment.solved.covariance.regions[0];
        let further = Further::new(&adjustment, &places()).expect("regular");
        let of_places = further.places.dot(&further.covariance.global);
        (FIGURES.map(|k| own[(k, k)]), of_places)
    }

    /// By what share a mark shrank the deviations, by registering anew.
    fn shrunk(view: &View, with_mark: &View, is_datum: bool) -> f64 {
        let (before, after) = (variances(view), variances(with_mark));
        if is_datum {
            return 1.0 - (after.1 / before.1).sqrt();
        }
        let ratios = after.0.iter().zip(&before.0).map(|(a, b)| a / b);
        1.0 - ratios.product::<f64>().powf(1.0 / 8.0)
    }

    #[test]
    fn a_gain_is_what_registering_with_the_mark_gives_and_orders_places_alike() {
        let view = sample();
        let adjustment = registered(&view).adjustment;
        let further = Further::new(&adjustment, &places()).expect("regular");
        for is_datum in [true, false] {
            let tried = match is_datum {
                true => [DATUM[6], DATUM[7], [990.0, 30.0], [455.0, 610.0]],
                false => [PART[2], PART[3], PART[4], [470.0, 190.0]],
            };
            let both = tried.map(|at| {
                let candidate = candidate(at, is_datum);
                let expected = further.expected(&candidate).expect("on the map");
                let with_mark = marked(&view, &candidate, &expected);
                (further.gain(&expected), shrunk(&view, &with_mark, is_datum))
            });
            for (gain, shrunk) in both {
                // The map is the same to rounding and the end of the iteration.
                assert!((gain - shrunk).abs() < 1e-4, "{gain} {shrunk}");
                assert!(gain > 0.0);
            }
            let best = |of: fn(&(f64, f64)) -> f64| {
                let by = |a: &usize, b: &usize| of(&both[*a]).total_cmp(&of(&both[*b]));
                (0..4).max_by(by).expect("four")
            };
            assert_eq!(best(|b| b.0), best(|b| b.1));
        }
    }

    #[test]
    fn a_second_mark_at_the_same_place_tells_less_than_the_first() {
        let adjustment = registered(&sample()).adjustment;
        let mut further = Further::new(&adjustment, &places()).expect("regular");
        let expected = further.expected(&candidate(PART[2], false)).expect("there");
        let first = further.gain(&expected);
        further.add(&expected);
        let second = further.gain(&expected);
        assert!(second < 0.6 * first, "{first} {second}");
    }

    #[test]
    fn a_place_on_no_part_is_expected_where_a_single_mark_is_predicted() {
        let view = sample();
        let adjustment = registered(&view).adjustment;
        let further = Further::new(&adjustment, &places()).expect("regular");
        let at = Point::new(610.0, 480.0);
        let lone = Candidate {
            part: None,
            ..candidate(at.xy(), true)
        };
        let expected = further.expected(&lone).expect("on the map");
        let size = (1000, 1000);
        let mark = crate::registration::SingleMark::Render(at);
        let predicted = predict(&view, EXPECTED, size, None, mark).expect("registers");
        let [x, y] = predicted.place;
        assert!(expected.reference.distance(Point::new(x, y)) < 1e-6);
        // 95 % of two normal quantities.
        let long = (5.991 * expected.covariance.symmetric_eigenvalues().max()).sqrt();
        let ratio = long / predicted.half_axes[0];
        assert!((ratio - 1.0).abs() < 1e-3, "{ratio}");
    }

    #[test]
    fn a_find_that_disagrees_with_the_others_of_its_part_is_dropped() {
        let datum = right(&DATUM);
        let view = view(RegistrationKind::Similarity, &datum, &[], 1.0);
        let adjustment = registered(&view).adjustment;
        let further = Further::new(&adjustment, &places()).expect("regular");
        let expected: Vec<Expected> = PART
            .iter()
            .filter_map(|at| further.expected(&candidate(*at, false)))
            .collect();
        let noise = Matrix2::identity() * 0.01;
        let moved = |k: usize, wrong: usize| {
            let [x, y] = if k == wrong { [-9.0, 7.0] } else { [5.0, -3.0] };
            let from = expected[k].reference;
            Point::new(from.x + x, from.y + y)
        };
        for wrong in 0..expected.len() {
            let finds: Vec<_> = (expected.iter().enumerate())
                .map(|(k, e)| (e, moved(k, wrong), noise))
                .collect();
            let agree = further.agreeing(&finds);
            for (k, agrees) in agree.iter().enumerate() {
                assert_eq!(*agrees, k != wrong, "{wrong}: {agree:?}");
            }
        }
    }
}
