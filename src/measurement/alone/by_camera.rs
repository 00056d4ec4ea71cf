//! A photo whose camera is solved: each landmark where its sight meets the plane at the depth of its place on the model.
use super::basis::{Basis, Untold};
use crate::{
    job::{ModelDirection, View, ViewAxes},
    registration::space::{self, MeasuredPlaces, NotPlaced, SpaceMark},
};
use nalgebra::{Matrix2, Vector2};

/// A view's reference by its camera; lengths are millimetres of the model.
pub(super) struct ByCamera {
    places: MeasuredPlaces,
    marks: Vec<SpaceMark>,
    /// For each landmark, its number among the marks.
    numbers: Vec<Option<usize>>,
    axes: ViewAxes,
    /// The axis along which depths are known.
    across: usize,
    /// From places along the two other axes, in their order, to the right and down.
    turned: Matrix2<f64>,
}

impl ByCamera {
    pub(super) fn new(view: &View, size: (u32, u32)) -> Result<Self, space::Error> {
        let photo = space::of_view(view, size)?;
        let mut axes = view.axes;
        let places = MeasuredPlaces::new(&photo.photo, &photo.marks, |shown| {
            across(*axes.get_or_insert_with(|| nearest_axes(shown)))
        })?;
        let axes = axes.expect("they were stated, or set where the camera was solved");
        let (right, down) = (axes.right(), axes.down());
        let across = across(axes);
        let others: Vec<usize> = (0..3).filter(|axis| *axis != across).collect();
        let sign = |direction: ModelDirection| if direction.is_against { -1.0 } else { 1.0 };
        let row = |direction: ModelDirection| {
            [0, 1].map(|k| {
                if others[k] == direction.axis {
                    sign(direction)
                } else {
                    0.0
                }
            })
        };
        let (to_right, to_down) = (row(right), row(down));
        let mut number = 0..;
        let numbers = (view.landmarks.iter())
            .map(|l| l.model_mm.and_then(|_| number.next()))
            .collect();
        Ok(Self {
            places,
            marks: photo.marks,
            numbers,
            axes,
            across,
            turned: Matrix2::new(to_right[0], to_right[1], to_down[0], to_down[1]),
        })
    }

    pub(super) fn axes(&self) -> ViewAxes {
        self.axes
    }

    pub(super) fn across(&self) -> usize {
        self.across
    }

    pub(super) fn mark_sigma_px(&self) -> f64 {
        self.places.mark_sigma_px()
    }

    fn number(&self, landmark: usize) -> Result<usize, Untold> {
        self.numbers[landmark].ok_or(Untold::NoDepth)
    }
}

/// The axis that is neither of them.
fn across(axes: ViewAxes) -> usize {
    3 - axes.right().axis - axes.down().axis
}

/// The axes that run to the right and down most nearly; `shown` is how far a step along each moves to the right and down.
fn nearest_axes(shown: [[f64; 2]; 3]) -> ViewAxes {
    let length = |axis: &usize| shown[*axis][0].hypot(shown[*axis][1]);
    let across = (0..3).min_by(|a, b| length(a).total_cmp(&length(b)));
    let across = across.unwrap_or(1);
    let mut others = (0..3).filter(|axis| *axis != across);
    let (a, b) = (others.next().unwrap_or(0), others.next().unwrap_or(2));
    let (right, down) = if shown[a][0].abs() >= shown[b][0].abs() {
        (a, b)
    } else {
        (b, a)
    };
    let direction = |axis: usize, k: usize| ModelDirection {
        axis,
        is_against: shown[axis][k] < 0.0,
    };
    ViewAxes::new(direction(right, 0), direction(down, 1)).expect("these are different axes")
}

impl Basis for ByCamera {
    fn place(&self, landmark: usize) -> Result<Vector2<f64>, Untold> {
        let number = self.number(landmark)?;
        if self.places.has_second() {
            return Err(Untold::TwoCameras);
        }
        let place = self.places.place(number).map_err(|why| match why {
            NotPlaced::InDoubt => Untold::MarkInDoubt,
            NotPlaced::EdgeOn => Untold::SeenEdgeOn,
            NotPlaced::NotShown => Untold::NotShown,
        })?;
        Ok(self.turned * place)
    }

    fn depth_between(&self, landmarks: [usize; 2]) -> (f64, f64) {
        let marks = landmarks.map(|i| self.numbers[i].map(|number| &self.marks[number]));
        let [Some(from), Some(to)] = marks else {
            return (0.0, 0.0);
        };
        (
            to.place.0[self.across] - from.place.0[self.across],
            from.place_sigma_mm.hypot(to.place_sigma_mm),
        )
    }

    fn half_width(&self, by: &[(usize, Vector2<f64>)]) -> f64 {
        let by: Vec<(usize, Vector2<f64>)> = (by.iter())
            .filter_map(|(landmark, d)| Some((self.numbers[*landmark]?, self.turned.tr_mul(d))))
            .collect();
        self.places.half_width(&by)
    }

    fn freedom(&self) -> f64 {
        self.places.freedom()
    }

    fn has_scale(&self) -> bool {
        true
    }
}
