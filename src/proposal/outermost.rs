//! The outermost points of a part's smooth outlines: its top, its bottom, its left and its right, where the outline is round there.
use super::settings::PROPOSAL;
use crate::{edges, job::Region};
use image::RgbImage;
use nalgebra::{Matrix3, Vector2, Vector3};

/// Of more edge points than this every n-th is kept.
const MOST_POINTS: usize = 400_000;
/// Points are in the order of their rows to within this, px: what settling them on a reduced picture moves them by.
const ROW: f64 = 12.0;
/// Places that are tried in one direction.
const MOST_TRIED: usize = 40;

/// The points of all edges of a picture, by rows, with their normals.
#[derive(Clone, Debug)]
pub(super) struct EdgePoints {
    points: Vec<EdgePoint>,
}

#[derive(Clone, Copy, Debug)]
struct EdgePoint {
    place: [f32; 2],
    normal: [f32; 2],
}

/// One way out of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    Left,
    Right,
    Top,
    Bottom,
}

impl Way {
    const ALL: [Self; 4] = [Self::Top, Self::Bottom, Self::Left, Self::Right];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
            Self::Top => "top",
            Self::Bottom => "bottom",
        }
    }

    fn out(self) -> Vector2<f64> {
        match self {
            Self::Left => -Vector2::x(),
            Self::Right => Vector2::x(),
            Self::Top => -Vector2::y(),
            Self::Bottom => Vector2::y(),
        }
    }
}

/// The outermost point of a smooth outline.
#[derive(Clone, Copy, Debug)]
pub(super) struct Outermost {
    pub(super) at: [f64; 2],
    pub(super) way: Way,
    /// Unit direction of the outline.
    pub(super) tangent: [f64; 2],
}

impl EdgePoints {
    /// Those of a picture; its pixels times `by` are those of the render.
    pub(super) fn of(image: &RgbImage, by: [f64; 2]) -> Self {
        let all = edges::in_picture(image);
        let step = all.len().div_ceil(MOST_POINTS).max(1);
        let points = all.iter().step_by(step).map(|p| EdgePoint {
            place: [(p.place.x * by[0]) as f32, (p.place.y * by[1]) as f32],
            normal: [p.normal.x as f32, p.normal.y as f32],
        });
        Self {
            points: points.collect(),
        }
    }

    /// The points that lie on a part and on none of the `smaller` ones within it.
    fn on(&self, region: &Region, smaller: &[&Region]) -> Vec<(Vector2<f64>, Vector2<f64>)> {
        let rows = region.outline.iter().map(|p| p.y);
        let (top, bottom) = rows.fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), y| {
            (a.min(y), b.max(y))
        });
        let after = |y: f64| self.points.partition_point(|p| f64::from(p.place[1]) < y);
        let within = &self.points[after(top - ROW)..after(bottom + ROW)];
        let places = within.iter().map(|p| {
            (
                Vector2::from(p.place.map(f64::from)),
                Vector2::from(p.normal.map(f64::from)),
            )
        });
        places
            .filter(|(place, _)| {
                edges::holds(region, *place) && !smaller.iter().any(|r| edges::holds(r, *place))
            })
            .collect()
    }

    /// Where the part's outlines turn back smoothly at its four ends.
    pub(super) fn outermost(&self, region: &Region, smaller: &[&Region]) -> Vec<Outermost> {
        let points = self.on(region, smaller);
        Way::ALL
            .iter()
            .filter_map(|way| turn_of(&points, *way))
            .collect()
    }
}

/// The place where the outermost outline of these points, going one way, turns back smoothly.
fn turn_of(points: &[(Vector2<f64>, Vector2<f64>)], way: Way) -> Option<Outermost> {
    let out = way.out();
    let along = Vector2::new(-out.y, out.x);
    let facing = |least: f64| {
        let points = points.iter();
        points
            .filter(move |(_, normal)| normal.dot(&out).abs() > least)
            .map(|(place, _)| *place)
    };
    // What turns away by more than 60 degrees is no longer the same side of the part.
    let around: Vec<Vector2<f64>> = facing(0.5).collect();
    let farthest = points
        .iter()
        .map(|(place, _)| place.dot(&out))
        .fold(f64::NEG_INFINITY, f64::max);
    let depth = PROPOSAL.outline_depth.get();
    let mut tried: Vec<Vector2<f64>> = facing(0.95)
        .filter(|p| p.dot(&out) > farthest - depth)
        .collect();
    tried.sort_by(|a, b| b.dot(&out).total_cmp(&a.dot(&out)));
    tried.truncate(MOST_TRIED);
    let at = tried
        .into_iter()
        .find_map(|from| turn_near(&around, from, out, along))?;
    Some(Outermost {
        at: at.into(),
        way,
        tangent: along.into(),
    })
}

/// The top of a parabola through the outline around a point; `None` where it is straight, ragged, a corner, or turns the other way.
fn turn_near(
    points: &[Vector2<f64>],
    from: Vector2<f64>,
    out: Vector2<f64>,
    along: Vector2<f64>,
) -> Option<Vector2<f64>> {
    let reach = PROPOSAL.outline_reach.get();
    let near: Vec<(f64, f64)> = points
        .iter()
        .map(|p| ((p - from).dot(&along), (p - from).dot(&out)))
        .filter(|(t, h)| t.abs() <= reach && h.abs() <= reach / 3.0)
        .collect();
    let (low, high) = near.iter().fold((0.0, 0.0), |(a, b): (f64, f64), (t, _)| {
        (a.min(*t), b.max(*t))
    });
    if near.len() < (reach as usize) || low > -reach / 2.0 || high < reach / 2.0 {
        return None;
    }
    let (mut normal, mut right) = (Matrix3::zeros(), Vector3::zeros());
    for (t, h) in &near {
        let row = Vector3::new(1.0, *t, t * t);
        normal += row * row.transpose();
        right += row * *h;
    }
    let fit = normal.try_inverse()? * right;
    let off = |(t, h): &(f64, f64)| (fit[0] + fit[1] * t + fit[2] * t * t - h).powi(2);
    let rms = (near.iter().map(off).sum::<f64>() / near.len() as f64).sqrt();
    // One over the radius at the top.
    let bend = -2.0 * fit[2];
    let (flattest, sharpest) = (1.0 / PROPOSAL.flattest.get(), 1.0 / PROPOSAL.sharpest.get());
    let is_round = rms < PROPOSAL.ragged.get() && (flattest..sharpest).contains(&bend);
    let top = fit[1] / bend;
    (is_round && top.abs() < reach / 2.0)
        .then(|| from + along * top + out * (fit[0] + fit[1] * top / 2.0))
}
