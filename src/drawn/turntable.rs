//! The model on a turntable: seen in parallel from a direction that somebody chooses, whole, upright.
use crate::meshes::{Model, Projection, ProjectionError};

/// Which axis of the model points up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Up {
    /// As glTF has it.
    Y,
    /// As CAD has it.
    Z,
}

/// Where the model is looked at from, seen from its middle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turntable {
    /// Which axis points up.
    pub up: Up,
    /// From x towards y (where y is up: from z towards x), degrees.
    pub azimuth_deg: f64,
    /// Above the plane that lies level, degrees.
    pub elevation_deg: f64,
}

impl Turntable {
    /// Three rows of four numbers that take model millimetres to pixels of a picture of this size (width, height), in which the
    /// whole model has room however it is turned: its middle is the picture's.
    pub fn matrix(&self, model: &Model, [width, height]: [f64; 2]) -> [[f64; 4]; 3] {
        let [least, greatest] = model.model_box();
        let middle: [f64; 3] = std::array::from_fn(|k| (least[k] + greatest[k]) / 2.0);
        let side = |k: usize| greatest[k] - least[k];
        let size = side(0).hypot(side(1)).hypot(side(2));
        let scale = width.min(height) / size;
        let (azimuth, elevation) = (
            self.azimuth_deg.to_radians(),
            self.elevation_deg.to_radians(),
        );
        let (sin, cos) = (libm::sin(azimuth), libm::cos(azimuth));
        let (rise, level) = (libm::sin(elevation), libm::cos(elevation));
        let right = self.own_axes([-sin, cos, 0.0]);
        let up = self.own_axes([-rise * cos, -rise * sin, level]);
        let row = |axis: [f64; 3], at: f64| {
            let [x, y, z] = axis.map(|v| v * scale);
            let of_middle = x * middle[0] + y * middle[1] + z * middle[2];
            [x, y, z, at - of_middle]
        };
        [
            row(right, width / 2.0),
            row(up.map(|v| -v), height / 2.0),
            [0.0, 0.0, 0.0, 1.0],
        ]
    }

    /// The camera of that picture.
    ///
    /// # Errors
    /// Those of [`Projection::new`], for a model without an extent.
    pub fn projection(&self, model: &Model, size: [f64; 2]) -> Result<Projection, ProjectionError> {
        Projection::new(self.matrix(model, size), model)
    }

    /// A direction whose third number is up, along the model's axes.
    fn own_axes(&self, [a, b, c]: [f64; 3]) -> [f64; 3] {
        match self.up {
            Up::Z => [a, b, c],
            Up::Y => [b, c, a],
        }
    }
}
