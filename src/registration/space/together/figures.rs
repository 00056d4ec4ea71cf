//! From one adjustment of several photos to figures of parts and cameras, with what cannot be told.
use super::{
    edge_marks::EdgesOfPart,
    marks::Cleaned,
    normal::Own,
    part::{NINE, OFFSET, SIZE, TURN, box_of},
    starting::{Started, TogetherPhoto},
    subject::Subject,
    would::{Would, would_tell},
};
use crate::{
    frame::Point,
    registration::{
        checks::settings::CHECKS,
        space::{
            error::Error,
            figures::{Attitude, Basis},
            looked::Looked,
            photo::SpaceMark,
            resection::{MarkFinding, MarkFit},
            settings::SPACE,
            solving,
        },
    },
    statistics::Measured,
};
use nalgebra::{Cholesky, DMatrix, Vector2};

/// What several photos tell together.
#[derive(Clone, Debug)]
pub struct Together {
    /// Each photo, in the order given.
    pub photos: Vec<Result<PhotoFound, Error>>,
    /// Each part, in the order given; `None` where no photo that was solved marks it.
    pub parts: Vec<Option<PartErrors>>,
    /// By how much what is expected of sizes, turns and offsets was widened, because the parts are off by more.
    pub widened: [f64; 3],
    /// Datum parts one of which contradicts the others, where it cannot be told which.
    pub rivals: Vec<usize>,
    /// By how much the model's datum is larger than its scale makes the subject, per cent; `None` where no known length tells it.
    pub larger_percent: Option<Measured>,
    /// What each known length comes to, in the order given; none where no photo was solved.
    pub lengths: Vec<LengthFound>,
}

/// What a known length comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LengthFound {
    /// Whether it contradicts all else and is left out.
    pub is_wrong: bool,
    /// Whether nothing else checks it.
    pub is_uncontrolled: bool,
    /// What all else asks for where it is left out, else what comes of all, model millimetres.
    pub asked_mm: f64,
}

/// One photo among several.
#[derive(Clone, Debug)]
pub struct PhotoFound {
    /// Its camera, by all photos.
    pub camera: Attitude,
    /// Middle of its datum marks, model millimetres.
    pub middle_mm: [f64; 3],
    /// Width and height of its picture, pixels.
    pub picture: [f64; 2],
    /// Root mean square of the residuals that are left, x and y together, pixels.
    pub rms_px: f64,
    /// Standard deviation of a mark, as stated or as estimated, pixels.
    pub mark_sigma_px: f64,
    /// What became of each mark.
    pub marks: Vec<MarkFit>,
    /// Places on edges of the mesh that count in it.
    pub edge_points: usize,
    /// Whether the edges of the datum contradict its marks here and were not used.
    pub is_datum_strained: bool,
}

/// The nine errors of a part, model minus subject: width (x), depth (y) and height (z) in per cent, turns about x, y and z in
/// degrees, offsets along x, y and z in model millimetres; along the axes of the model, or of the part where it has its own.
#[derive(Clone, Debug)]
pub struct PartErrors {
    /// Where offsets and turns are stated: the middle of the box of its landmarks, model millimetres.
    pub anchor_mm: [f64; 3],
    /// How far its landmarks reach along each axis, model millimetres.
    pub extent_mm: [f64; 3],
    /// Marks that count.
    pub marks: usize,
    /// Photos that they are in.
    pub photos: Vec<usize>,
    /// The errors.
    pub errors: [PartError; NINE],
    /// Errors that are not told apart, each a list of two or more numbers.
    pub only_together: Vec<Vec<usize>>,
    /// A further photo that would tell more.
    pub would: Option<Would>,
    /// Whether it was to be datum, and its marks contradict those of the other datum parts.
    pub is_altered_datum: bool,
    /// What became of its edges.
    pub edges: EdgesOfPart,
}

/// One error of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PartError {
    /// It, drawn towards zero by what is expected where the marks tell little.
    pub figure: Measured,
    /// Its standard deviation before anything was measured.
    pub expected: f64,
    /// Its standard deviation now.
    pub deviation: f64,
    /// Whether the marks tell it, and not what is expected.
    pub is_told: bool,
}

impl PartError {
    /// The figure, where the marks tell it.
    pub fn told(&self) -> Option<Measured> {
        self.is_told.then_some(self.figure)
    }
}

/// From radians and parts of 1 to degrees and per cent.
fn unit(k: usize) -> f64 {
    match k {
        SIZE..TURN => 100.0,
        TURN..OFFSET => 1.0_f64.to_degrees(),
        _ => 1.0,
    }
}

/// Collects what was found; `looked` are all photos.
pub(super) fn together(
    photos: &[TogetherPhoto],
    looked: Vec<Result<Looked, Error>>,
    found: Option<(Cleaned, Started)>,
    subject: &Subject,
) -> Together {
    let Some((cleaned, started)) = found else {
        let failed = looked
            .into_iter()
            .map(|l| Err(l.err().unwrap_or(Error::NotTogether)));
        return Together {
            photos: failed.collect(),
            parts: vec![None; subject.parts],
            widened: [1.0; 3],
            rivals: Vec::new(),
            larger_percent: None,
            lengths: Vec::new(),
        };
    };
    let all = Found {
        photos,
        cleaned: &cleaned,
        solved: &started.solved,
    };
    let each = looked.iter().enumerate().map(|(k, look)| match look {
        Err(error) => Err(error.clone()),
        Ok(look) => all.photo(k, look).ok_or(Error::NotTogether),
    });
    Together {
        photos: each.collect(),
        parts: all.parts(),
        widened: cleaned.widened,
        rivals: cleaned.rivals.clone(),
        larger_percent: larger_percent(&cleaned),
        lengths: lengths(&cleaned),
    }
}

struct Found<'a> {
    photos: &'a [TogetherPhoto],
    cleaned: &'a Cleaned,
    /// Which of the photos take part.
    solved: &'a [usize],
}

impl Found<'_> {
    fn photo(&self, photo: usize, look: &Looked) -> Option<PhotoFound> {
        let number = self.solved.iter().position(|&k| k == photo)?;
        let cleaned = self.cleaned;
        let own = &cleaned.joint.photos[number];
        let block = cleaned
            .solved
            .spread
            .cameras
            .view((own.first, own.first), (own.count, own.count));
        let camera = cleaned.solved.state.cameras[number];
        let basis = Basis {
            photo: &self.photos[photo].view.photo,
            units: &own.units,
            is_flat: look.is_flat,
            freedom: cleaned.freedom,
        };
        let alone = solving::Solved {
            camera,
            rows: Vec::new(),
            cost: cleaned.solved.cost,
            root: root(&block.into_owned())?,
        };
        let marks = cleaned
            .joint
            .marks
            .iter()
            .zip(&cleaned.solved.rows)
            .zip(&cleaned.kept);
        let left: Vec<f64> = marks
            .filter(|((mark, _), kept)| mark.photo == number && **kept)
            .map(|((_, row), _)| row.residual.norm_squared())
            .collect();
        let rms = (left.iter().sum::<f64>() / left.len().max(1) as f64).sqrt();
        Some(PhotoFound {
            camera: basis.attitude(&alone)?,
            middle_mm: own.units.middle.into(),
            picture: (own.units.picture_middle * 2.0).into(),
            rms_px: rms * own.units.photo_radius,
            mark_sigma_px: own.problem.sigma * cleaned.factors[number] * own.units.photo_radius,
            marks: self.marks(photo, number, look),
            edge_points: edge_points(cleaned, number),
            is_datum_strained: cleaned.strained.contains(&number),
        })
    }

    /// What became of the marks of a photo.
    fn marks(&self, photo: usize, number: usize, look: &Looked) -> Vec<MarkFit> {
        let cleaned = self.cleaned;
        let tests = cleaned.tests();
        let units = &cleaned.joint.photos[number].units;
        let all = &self.photos[photo].view.marks;
        let in_joint = |own: usize| {
            let mut marks = cleaned.joint.marks.iter();
            marks.position(|mark| mark.photo == number && mark.own == own)
        };
        let fit = |(own, mark): (usize, &SpaceMark)| {
            let Some(k) = in_joint(own) else {
                let point = units.point(mark.place);
                let camera = &cleaned.solved.state.cameras[number];
                let half = cleaned.joint.photos[number].problem.half;
                let seen = solving::predicted(camera, half, &point);
                let place = seen.map(|seen| units.photo_px(seen.place));
                return MarkFit {
                    predicted: place.map(|p| Point::new(p.x, p.y)),
                    residual_px: place.map(|p| (Vector2::from(mark.mark.xy()) - p).into()),
                    redundancy: None,
                    finding: MarkFinding::Predicted,
                };
            };
            let taken = &cleaned.joint.marks[k];
            let place = units.photo_px(taken.mark - cleaned.solved.rows[k].residual);
            let finding = if !cleaned.kept[k] {
                MarkFinding::Wrong
            } else if let Some(other) = self.partner(k, look) {
                MarkFinding::ExchangedWith(other)
            } else if tests[k].redundancy < CHECKS.uncontrolled.get() {
                MarkFinding::Uncontrolled
            } else {
                MarkFinding::Good
            };
            MarkFit {
                predicted: Some(Point::new(place.x, place.y)),
                residual_px: Some((Vector2::from(mark.mark.xy()) - place).into()),
                redundancy: Some(tests[k].redundancy),
                finding,
            }
        };
        all.iter().enumerate().map(fit).collect()
    }

    /// The mark of its photo that a mark was exchanged with, before or here.
    fn partner(&self, mark: usize, look: &Looked) -> Option<usize> {
        let marks = &self.cleaned.joint.marks;
        let own = marks[mark].own;
        let other = |[a, b]: [usize; 2], this: usize| match this {
            this if this == a => Some(b),
            this if this == b => Some(a),
            _ => None,
        };
        let mut before = look.cleaned.exchanged.iter();
        let before = before.find_map(|pair| other(pair.map(|d| look.datum[d]), own));
        let mut here = self.cleaned.exchanged.iter();
        before.or_else(|| {
            here.find_map(|pair| other(*pair, mark))
                .map(|k| marks[k].own)
        })
    }

    fn parts(&self) -> Vec<Option<PartErrors>> {
        let count = self.cleaned.joint.parts.len();
        let mut parts: Vec<Option<PartErrors>> = (0..count).map(|k| self.part(k)).collect();
        let needs: Vec<Vec<usize>> = parts
            .iter()
            .map(|part| part.as_ref().map_or_else(Vec::new, untold))
            .collect();
        for (part, would) in parts.iter_mut().zip(would_tell(self.cleaned, &needs)) {
            if let (Some(part), Some(mut would)) = (part.as_mut(), would) {
                would.photo = self.solved[would.photo];
                part.would = Some(would);
            }
        }
        parts
    }

    fn part(&self, part: usize) -> Option<PartErrors> {
        let cleaned = self.cleaned;
        let marks = cleaned.joint.marks.iter().zip(&cleaned.kept);
        let own: Vec<_> = marks
            .filter(|(mark, kept)| mark.part == Some(part) && **kept)
            .map(|(mark, _)| mark)
            .collect();
        if own.is_empty() {
            return None;
        }
        let mut photos: Vec<usize> = own.iter().map(|mark| self.solved[mark.photo]).collect();
        photos.sort_unstable();
        photos.dedup();
        let joint = &cleaned.joint.parts[part];
        let axes = joint.frame.axes;
        let (low, high) = box_of(own.iter().map(|mark| axes.tr_mul(&mark.place)));
        let spread = &cleaned.solved.spread.parts[part];
        let mut errors = Vec::with_capacity(NINE);
        for k in 0..NINE {
            let share = spread[(k, k)].max(0.0).sqrt();
            let expected = joint.expected[k] * unit(k);
            let value = cleaned.solved.state.errors[part][k] * unit(k);
            errors.push(PartError {
                figure: Measured::from_deviation(value, share * expected, cleaned.freedom)?,
                expected,
                deviation: share * expected,
                is_told: share < SPACE.told_share.get(),
            });
        }
        let errors: [PartError; NINE] = errors.try_into().ok()?;
        Some(PartErrors {
            anchor_mm: joint.frame.anchor.into(),
            extent_mm: (high - low).into(),
            marks: own.len(),
            photos,
            only_together: only_together(spread, &errors),
            errors,
            would: None,
            is_altered_datum: cleaned.altered.contains(&part),
            edges: self.edges(part),
        })
    }

    fn edges(&self, part: usize) -> EdgesOfPart {
        let mut edges = self.cleaned.edges.get(part).cloned().unwrap_or_default();
        if let EdgesOfPart::Used(photos) = &mut edges {
            for (photo, _) in photos {
                *photo = self.solved[*photo];
            }
        }
        edges
    }
}

/// Places on edges that count in a photo.
fn edge_points(cleaned: &Cleaned, photo: usize) -> usize {
    let groups = cleaned.joint.edges.iter();
    groups
        .filter(|group| group.photo == photo)
        .map(|group| group.edges.len())
        .sum()
}

/// The model is larger where the subject is smaller than its scale makes it.
fn larger_percent(cleaned: &Cleaned) -> Option<Measured> {
    let at = cleaned.joint.scale_at?;
    let deviation = cleaned.solved.spread.cameras[(at, at)].max(0.0).sqrt();
    let factor = (-cleaned.solved.state.log_scale).exp();
    Measured::from_deviation(
        100.0 * (factor - 1.0),
        100.0 * factor * deviation,
        cleaned.freedom,
    )
}

fn lengths(cleaned: &Cleaned) -> Vec<LengthFound> {
    let tests = cleaned.joint.length_tests(&cleaned.solved);
    let each = cleaned.joint.lengths.iter().zip(tests);
    let found = each.map(|(length, test)| LengthFound {
        is_wrong: !length.is_kept,
        is_uncontrolled: test.is_some_and(|t| t.redundancy < CHECKS.uncontrolled.get()),
        asked_mm: test.map_or(length.log.exp(), |t| t.asked_mm),
    });
    found.collect()
}

/// The numbers of a part that are not told.
fn untold(part: &PartErrors) -> Vec<usize> {
    (0..NINE).filter(|&k| !part.errors[k].is_told).collect()
}

/// Directions of the errors that are not told, where they are not one error alone that is named already.
fn only_together(spread: &Own, errors: &[PartError; NINE]) -> Vec<Vec<usize>> {
    let eigen = spread.symmetric_eigen();
    let mut order: Vec<usize> = (0..NINE).collect();
    order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]));
    let mut lists: Vec<Vec<usize>> = Vec::new();
    for k in order {
        if eigen.eigenvalues[k] <= SPACE.told_share.get().powi(2) {
            break;
        }
        let direction = eigen.eigenvectors.column(k);
        let is_large = |&i: &usize| direction[i].powi(2) > SPACE.told_component.get();
        let numbers: Vec<usize> = (0..NINE).filter(is_large).collect();
        let is_new = numbers.iter().any(|&i| errors[i].is_told) && !lists.contains(&numbers);
        if numbers.len() > 1 && is_new {
            lists.push(numbers);
        }
    }
    lists
}

/// `root * root'` is the covariance; columns are scaled to length 1 meanwhile.
fn root(covariance: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = covariance.nrows();
    let lengths: Vec<f64> = (0..n)
        .map(|k| covariance[(k, k)].max(1e-300).sqrt())
        .collect();
    let scaled = DMatrix::from_fn(n, n, |i, j| {
        let entry = covariance[(i, j)] / (lengths[i] * lengths[j]);
        if i == j { entry + 1e-12 } else { entry }
    });
    let mut root = Cholesky::new(scaled)?.unpack();
    for (k, mut row) in root.row_iter_mut().enumerate() {
        row *= lengths[k];
    }
    Some(root)
}
