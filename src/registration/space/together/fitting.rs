//! An adjustment while the photos are searched for the edges of the parts.
use super::{
    edge_marks::{EdgesOfPart, JointEdge, JointEdges},
    joint::Plan,
    marks::{Cleaned, STEPS},
    normal::Own,
    part::{NINE, Nine, Placing},
    starting::TogetherPhoto,
};
use crate::{
    frame::{IntoReference, Point, RectifiedPx},
    registration::{
        checks::settings::CHECKS,
        space::{camera::PLAIN, figures::Basis, photo::Photo, settings::SPACE, solving::Weighing},
    },
    statistics::chi_square_quantile,
};
use nalgebra::{Vector2, Vector3};

/// Steps where edges are looked for again afterwards.
const FEW_STEPS: usize = 4;

/// How far a solution with edges is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Until {
    /// They are looked for again: a few steps do.
    LookedAgain,
    /// They are not: until it rests.
    AtRest,
}

/// A place on an edge of the model, and where a photo has that edge.
#[derive(Clone, Copy, Debug)]
pub(crate) struct EdgeMark {
    /// On the model, millimetres.
    pub(crate) place: Vector3<f64>,
    /// In the photo as it is on disk, pixels.
    pub(crate) found: Vector2<f64>,
    /// Unit normal of the edge there.
    pub(crate) normal: Vector2<f64>,
    /// One over the variance of the distance along the normal, 1 / pixels squared, so shared out that all of a line have together no more
    /// than it.
    pub(crate) weight: f64,
    /// Which of the lines of its part in its photo it lies on.
    pub(crate) line: usize,
}

/// What was found of the edges of one part in one photo.
#[derive(Clone, Debug)]
pub(crate) struct EdgesSeen {
    /// Number of the photo among those that take part.
    pub(crate) photo: usize,
    /// The part whose errors move them; `None`: they lie on the datum.
    pub(crate) part: Option<usize>,
    /// Places that lie off by this many pixels weigh a quarter.
    pub(crate) reach_px: f64,
    pub(crate) marks: Vec<EdgeMark>,
}

/// What is known of the errors of a part.
#[derive(Clone, Debug)]
pub(crate) struct Known {
    pub(crate) mean: Nine,
    pub(crate) covariance: Own,
}

/// How a camera shows places.
#[derive(Clone, Debug)]
pub(crate) struct Sight {
    /// Takes model millimetres to homogeneous pixels of the picture.
    pub(crate) rows: [[f64; 4]; 3],
    /// Width and height of the picture, pixels.
    pub(crate) picture: [f64; 2],
    /// From the picture to the photo, where that is not the same.
    into_photo: Option<IntoReference<RectifiedPx>>,
}

impl Sight {
    /// Where the photo shows a place of the subject, pixels as it is on disk; `None` behind the camera.
    pub(crate) fn place(&self, subject: &Vector3<f64>) -> Option<Vector2<f64>> {
        let [x, y, w] = self
            .rows
            .map(|[a, b, c, d]| a * subject.x + b * subject.y + c * subject.z + d);
        if w.is_nan() || w <= 0.0 {
            return None;
        }
        let picture = Vector2::new(x / w, y / w);
        Some(match &self.into_photo {
            None => picture,
            Some(into) => Vector2::from(into.apply(Point::new(picture.x, picture.y)).xy()),
        })
    }
}

/// An adjustment while edges are looked for.
#[derive(Clone, Debug)]
pub(crate) struct Fitting {
    photos: Vec<Photo>,
    numbers: Vec<usize>,
    cleaned: Cleaned,
    /// Factor on the deviation of the edges of each photo.
    factors: Vec<f64>,
}

impl Fitting {
    pub(super) fn new(photos: &[TogetherPhoto], cleaned: &Cleaned, solved: &[usize]) -> Self {
        Self {
            photos: solved.iter().map(|&k| photos[k].view.photo).collect(),
            numbers: solved.to_vec(),
            cleaned: cleaned.clone(),
            factors: vec![1.0; solved.len()],
        }
    }

    /// Estimates the deviation of the edges of each photo by what is left of each line, with what is believed beforehand.
    pub(crate) fn estimate_noise(&mut self) {
        let believed = SPACE.believed_lines.get();
        for photo in 0..self.numbers.len() {
            let (square, redundancy) = self
                .cleaned
                .joint
                .left_of_lines(&self.cleaned.solved, photo);
            let unscaled = square * self.factors[photo].powi(2);
            let factor = ((unscaled + believed) / (redundancy.max(0.0) + believed)).sqrt();
            let most = SPACE.most_edge_noise.get();
            self.factors[photo] = factor.clamp(1.0 / most, most);
        }
    }

    pub(super) fn into_cleaned(self) -> Cleaned {
        self.cleaned
    }

    /// Which of the photos take part.
    pub(crate) fn photos(&self) -> &[usize] {
        &self.numbers
    }

    /// How many parts there are.
    pub(crate) fn parts(&self) -> usize {
        self.cleaned.joint.parts.len()
    }

    /// Whether a mark that counts lies on a part.
    pub(crate) fn is_marked(&self, part: usize) -> bool {
        let marks = self.cleaned.joint.marks.iter().zip(&self.cleaned.kept);
        marks
            .into_iter()
            .any(|(mark, kept)| *kept && mark.part == Some(part))
    }

    /// How many marks that count lie on a part.
    pub(crate) fn marks_on(&self, part: usize) -> usize {
        let marks = self.cleaned.joint.marks.iter().zip(&self.cleaned.kept);
        let own = marks.filter(|(mark, kept)| **kept && mark.part == Some(part));
        own.count()
    }

    /// What is expected of the errors of a part, standard deviations.
    pub(crate) fn expected(&self, part: usize) -> Nine {
        self.cleaned.joint.parts[part].expected
    }

    /// Degrees of freedom of the noise of the marks; infinite where it is stated.
    pub(crate) fn freedom(&self) -> f64 {
        self.cleaned.freedom
    }

    /// What became of the edges of a part.
    pub(crate) fn edges_of(&self, part: usize) -> EdgesOfPart {
        let said = self.cleaned.edges.get(part);
        said.cloned().unwrap_or_default()
    }

    /// Whether marks of the datum lie on a part.
    pub(crate) fn carries_datum(&self, part: usize) -> bool {
        let mut marks = self.cleaned.joint.marks.iter();
        marks.any(|mark| mark.part.is_none() && mark.datum_part == Some(part))
    }

    /// How the camera of a photo, by its number among those that take part, shows places.
    pub(crate) fn sight(&self, photo: usize) -> Option<Sight> {
        let own = &self.cleaned.joint.photos[photo];
        let camera = &self.cleaned.solved.state.cameras[photo];
        let basis = Basis {
            photo: &self.photos[photo],
            units: &own.units,
            is_flat: false,
            freedom: f64::INFINITY,
        };
        let is_plain = camera.corners.is_none() && camera.lens == 0.0;
        Some(Sight {
            rows: basis.matrix(camera)?.rows(),
            picture: (own.units.picture_middle * 2.0).into(),
            into_photo: match is_plain {
                true => None,
                false => Some(basis.reference_from_picture(camera)?),
            },
        })
    }

    /// How a part is placed.
    pub(crate) fn placing(&self, part: usize) -> Placing {
        self.cleaned.joint.placing(part, &self.cleaned.solved.state)
    }

    /// How a part would be placed with these errors.
    pub(crate) fn placing_with(&self, part: usize, errors: &Nine) -> Placing {
        Placing::new(&self.cleaned.joint.parts[part].frame, errors)
    }

    /// What is known of a part.
    pub(crate) fn known(&self, part: usize) -> Known {
        let expected = Own::from_diagonal(&self.cleaned.joint.parts[part].expected);
        Known {
            mean: self.cleaned.solved.state.errors[part],
            covariance: expected * self.cleaned.solved.spread.parts[part] * expected,
        }
    }

    /// Starts from other errors of a part.
    pub(crate) fn put(&mut self, part: usize, errors: Nine) {
        self.cleaned.solved.state.errors[part] = errors;
    }

    /// Solves with these edges beside the marks; whether that could be done.
    pub(crate) fn observe(&mut self, seen: &[EdgesSeen], until: Until) -> bool {
        let edges = seen.iter().map(|seen| self.joint_edges(seen));
        self.cleaned.joint.edges = edges.collect();
        let plan = Plan {
            kept: &self.cleaned.kept,
            weighing: Weighing::LeastSquares,
            factors: &self.cleaned.factors,
            steps: match until {
                Until::LookedAgain => FEW_STEPS,
                Until::AtRest => STEPS,
            },
        };
        let start = &self.cleaned.solved.state;
        let Some(solved) = self.cleaned.joint.solve(start, &plan) else {
            return false;
        };
        self.cleaned.solved = solved;
        true
    }

    fn joint_edges(&self, seen: &EdgesSeen) -> JointEdges {
        let units = &self.cleaned.joint.photos[seen.photo].units;
        let edge = |mark: &EdgeMark| JointEdge {
            place: mark.place,
            normal: mark.normal,
            along: mark.normal.dot(&units.mark_at(mark.found)),
            weight: mark.weight * (units.photo_radius / self.factors[seen.photo]).powi(2),
            line: mark.line,
        };
        JointEdges {
            photo: seen.photo,
            part: seen.part,
            reach: seen.reach_px / units.photo_radius,
            edges: seen.marks.iter().map(edge).collect(),
        }
    }

    /// Photos whose marks lie farther off here than they did in `before`, by more than their cameras may have moved.
    pub(crate) fn strained(&self, before: &Self) -> Vec<usize> {
        let most = chi_square_quantile(1.0 - CHECKS.mark_level.get(), PLAIN as f64);
        let photos = 0..self.numbers.len();
        let is_strained =
            |photo: &usize| self.square_of_marks(*photo) - before.square_of_marks(*photo) > most;
        photos.filter(is_strained).collect()
    }

    fn square_of_marks(&self, photo: usize) -> f64 {
        let cleaned = &self.cleaned;
        let marks = cleaned.joint.marks.iter().zip(&cleaned.solved.rows);
        let counted = marks
            .zip(&cleaned.kept)
            .filter(|((mark, _), kept)| **kept && mark.photo == photo);
        counted
            .filter_map(|((_, row), _)| {
                let inverse = row.covariance.try_inverse()?;
                Some((row.residual.transpose() * inverse * row.residual).x)
            })
            .sum()
    }

    /// Whether a part lies farther from where `before` has it than that allows.
    pub(crate) fn contradicts(&self, before: &Self, part: usize) -> bool {
        let known = before.known(part);
        let by = self.cleaned.solved.state.errors[part] - known.mean;
        let Some(triangle) = known.covariance.cholesky() else {
            return true;
        };
        let most = chi_square_quantile(1.0 - CHECKS.mark_level.get(), NINE as f64);
        by.dot(&triangle.solve(&by)) > most
    }

    /// Adds to the covariance of a part what a search of other places found, as far as that leaves it below what `before` knew.
    pub(crate) fn widen(&mut self, before: &Self, part: usize, by: &Own) {
        let own = &self.cleaned.joint.parts[part].expected;
        let inverse = Own::from_diagonal(&own.map(|v| 1.0 / v));
        let known = before.cleaned.solved.spread.parts[part];
        let spread = &mut self.cleaned.solved.spread.parts[part];
        let wide = *spread + inverse * by * inverse;
        let cut = Nine::from_fn(|k, _| (known[(k, k)] / wide[(k, k)]).min(1.0).sqrt());
        let cut = Own::from_diagonal(&cut);
        *spread = cut * wide * cut;
    }

    /// Says what became of the edges of a part.
    pub(crate) fn say(&mut self, part: usize, edges: EdgesOfPart) {
        let said = &mut self.cleaned.edges;
        if said.len() <= part {
            said.resize(part + 1, EdgesOfPart::NotLookedFor);
        }
        said[part] = edges;
    }

    /// Says whether the datum's edges of a photo contradict its marks.
    pub(crate) fn say_strained(&mut self, photo: usize) {
        self.cleaned.strained.push(photo);
    }
}
