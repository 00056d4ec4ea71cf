//! The truth of synthetic cases: where a model with known errors shows the points of its subject.
//!
//! Written apart from the program's own formula, so that a slip in that one is not repeated here: a chain of elementary
//! maps, each a homogeneous 3 x 3 matrix, that are multiplied. `src/frame/truth.rs` is the same for unit tests, which
//! cannot reach this crate.
use nalgebra::{Matrix3, Point2, Vector2};

/// What a part of the model has against the subject.
#[derive(Clone, Copy, Debug, Default)]
pub struct Errors {
    /// Width and height: factors minus 1.
    pub size: [f64; 2],
    /// Radians, clockwise on the screen.
    pub rotation: f64,
    /// How far the subject is moved before the part is stretched and turned about its anchor, render pixels.
    pub offset: [f64; 2],
}

impl Errors {
    pub fn new(size: [f64; 2], offset: [f64; 2]) -> Self {
        Self {
            size,
            rotation: 0.0,
            offset,
        }
    }

    /// The model made from the subject, read from right to left.
    fn map(&self, anchor: [f64; 2]) -> Matrix3<f64> {
        let anchor = Vector2::from(anchor);
        Matrix3::new_translation(&anchor)
            * Matrix3::new_rotation(self.rotation)
            * Matrix3::new_nonuniform_scaling(&Vector2::from(self.size.map(|s| 1.0 + s)))
            * Matrix3::new_translation(&Vector2::from(self.offset))
            * Matrix3::new_translation(&-anchor)
    }

    /// Where the model shows the subject's point.
    pub fn shown(&self, anchor: [f64; 2], [x, y]: [f64; 2]) -> [f64; 2] {
        self.map(anchor).transform_point(&Point2::new(x, y)).into()
    }

    /// Where an unturned model shows a box of the subject: left, top, right, bottom.
    pub fn shown_box(&self, anchor: [f64; 2], [l, t, r, b]: [f64; 4]) -> [f64; 4] {
        assert_eq!(
            self.rotation, 0.0,
            "a turned box has no sides along the picture"
        );
        let [[l, t], [r, b]] = [[l, t], [r, b]].map(|corner| self.shown(anchor, corner));
        [l, t, r, b]
    }
}

/// By hand: a subject 10 px left of the anchor, moved by 2 px, is stretched to 1.5 times 8 px and turned by a quarter,
/// clockwise on the screen, so that left becomes up.
#[test]
fn a_point_worked_out_by_hand_is_where_the_truth_has_it() {
    let errors = Errors {
        size: [0.5, 0.0],
        rotation: std::f64::consts::FRAC_PI_2,
        offset: [2.0, 0.0],
    };
    let [x, y] = errors.shown([100.0, 50.0], [90.0, 50.0]);
    // Rounding of numbers about 100.
    assert!(
        (x - 100.0).abs() < 1e-12 && (y - 38.0).abs() < 1e-12,
        "{x} {y}"
    );
}
