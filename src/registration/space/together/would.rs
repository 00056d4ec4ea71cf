//! Which further photo would tell more of a part: predicted from the covariance alone, which needs no marks.
use super::{
    joint::{JointMark, Plan, State},
    marks::Cleaned,
    normal::Spread,
};
use crate::{
    registration::space::{camera::turn, settings::SPACE, solving::Weighing},
    stop,
};
use nalgebra::Vector3;

/// A further photo that would tell more.
#[derive(Clone, Debug, PartialEq)]
pub struct Would {
    /// The photo that it is thought of beside, with the same marks.
    pub photo: usize,
    /// To which side.
    pub aside: Aside,
    /// How far, degrees about the middle of the datum marks.
    pub degrees: f64,
    /// The errors that it would tell and that are not told now.
    pub tells: Vec<usize>,
}

/// To which side of a photo, as seen from its camera.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Aside {
    /// To the right.
    Right,
    /// To the left.
    Left,
    /// Above.
    Above,
    /// Below.
    Below,
}

impl Aside {
    const ALL: [Self; 4] = [Self::Right, Self::Left, Self::Above, Self::Below];

    /// The turn of the camera's axes that takes it there about the subject.
    fn turn(self, degrees: f64) -> Vector3<f64> {
        let angle = degrees.to_radians();
        match self {
            Self::Right => Vector3::y() * angle,
            Self::Left => Vector3::y() * -angle,
            Self::Above => Vector3::x() * angle,
            Self::Below => Vector3::x() * -angle,
        }
    }
}

/// For each part the nearest photo that would tell all of what is `untold`, else the one that would tell most of it; `photo`
/// is a number among those that take part.
pub(super) fn would_tell(cleaned: &Cleaned, untold: &[Vec<usize>]) -> Vec<Option<Would>> {
    let beside: Vec<Option<usize>> = (0..untold.len())
        .map(|part| {
            if untold[part].is_empty() {
                None
            } else {
                most_marks(cleaned, part)
            }
        })
        .collect();
    let mut found: Vec<Option<Would>> = vec![None; untold.len()];
    for photo in 0..cleaned.joint.photos.len() {
        let parts: Vec<usize> = (0..untold.len())
            .filter(|&k| beside[k] == Some(photo))
            .collect();
        if parts.is_empty() || stop::is_asked() {
            continue;
        }
        for degrees in [SPACE.aside_deg.get(), SPACE.far_aside_deg.get()] {
            for aside in Aside::ALL {
                let Some(spread) = with_one_more(cleaned, photo, aside.turn(degrees)) else {
                    continue;
                };
                for &part in &parts {
                    let is_told =
                        |&&k: &&usize| spread.parts[part][(k, k)] < SPACE.told_share.get().powi(2);
                    let tells: Vec<usize> = untold[part].iter().filter(is_told).copied().collect();
                    let before = found[part].as_ref().map_or(0, |would| would.tells.len());
                    if tells.len() > before {
                        found[part] = Some(Would {
                            photo,
                            aside,
                            degrees,
                            tells,
                        });
                    }
                }
            }
        }
    }
    found
}

/// The photo with the most marks of a part, the first of several.
fn most_marks(cleaned: &Cleaned, part: usize) -> Option<usize> {
    let count = |photo: usize| {
        let marks = cleaned.joint.marks.iter().zip(&cleaned.kept);
        marks
            .filter(|(m, kept)| **kept && m.photo == photo && m.part == Some(part))
            .count()
    };
    let counts = (0..cleaned.joint.photos.len()).map(|photo| (count(photo), photo));
    let most = counts.max_by(|a, b| a.0.cmp(&b.0).then(b.1.cmp(&a.1)))?;
    (most.0 > 0).then_some(most.1)
}

/// The covariance with the marks of a photo seen once more, from elsewhere.
fn with_one_more(cleaned: &Cleaned, photo: usize, by: Vector3<f64>) -> Option<Spread> {
    let mut joint = cleaned.joint.clone();
    let own = joint.photos[photo].clone();
    let number = joint.photos.len();
    joint.photos.push(own);
    let tied: Vec<[usize; 2]> = joint
        .ties
        .iter()
        .filter(|tie| tie[1] == photo)
        .copied()
        .collect();
    joint.ties.extend(tied.iter().map(|tie| [tie[0], number]));
    let seen_again = |(mark, kept): (&JointMark, &bool)| {
        let is_again = *kept && mark.photo == photo;
        is_again.then(|| JointMark {
            photo: number,
            ..mark.clone()
        })
    };
    let again: Vec<JointMark> = joint
        .marks
        .iter()
        .zip(&cleaned.kept)
        .filter_map(seen_again)
        .collect();
    let mut kept = cleaned.kept.clone();
    kept.extend(again.iter().map(|_| true));
    joint.marks.extend(again);
    let mut camera = cleaned.solved.state.cameras[photo];
    camera.rotation = turn(by) * camera.rotation;
    let mut state: State = cleaned.solved.state.clone();
    state.cameras.push(camera);
    let mut factors = cleaned.factors.clone();
    factors.push(factors[photo]);
    let plan = Plan {
        kept: &kept,
        weighing: Weighing::LeastSquares,
        factors: &factors,
        steps: 0,
    };
    joint.lay_out();
    joint.spread(&joint.linear(&state, &plan)?.0)
}
