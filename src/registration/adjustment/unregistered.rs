//! The adjustment of a reference that nothing is registered to: its rectified picture stands in the place of the render.
use super::{
    adjusted::Adjustment,
    model::{Layout, Pair, Predictor, State},
    noise::{MarkNoise, Noise},
    normal::Covariance,
    solving::{Convergence, Problem, Row, Solved},
};
use crate::{
    frame::{FromReference, Projective},
    job::RegistrationKind,
    rectification::Rectification,
};
use nalgebra::{DMatrix, Matrix2, Vector2};

impl Adjustment {
    /// Takes the rectified reference for the render, without error and without a mark in it: the unknowns of the registration are
    /// known, the numbers of the rectification as they were observed. `noise` comes with its degrees of freedom.
    pub(in crate::registration) fn unregistered(
        pairs: Vec<Pair>,
        rectification: Option<&Rectification>,
        (noise, noise_freedom): (Noise, f64),
        unstated_noise: [MarkNoise; 2],
    ) -> Self {
        let layout = Layout {
            kind: RegistrationKind::Similarity,
            centre: Vector2::zeros(),
            size: 1.0,
            rectification: rectification.cloned(),
            is_rectification_free: true,
            parallax: None,
            anchors: Vec::new(),
        };
        let state = State {
            render_from_rectified: Projective::identity(),
            rectified_from_reference: rectification.map_or_else(
                FromReference::identity,
                Rectification::rectified_from_reference,
            ),
            numbers: rectification.map_or_else(Vec::new, Rectification::values),
            shift: [0.0; 3],
            regions: Vec::new(),
        };
        let unknowns = layout.global_unknowns();
        let mut global = DMatrix::zeros(unknowns, unknowns);
        let observed = rectification.map_or(&[][..], Rectification::observed);
        for (k, observed) in observed.iter().enumerate() {
            let at = layout.first_rectification_unknown() + k;
            global[(at, at)] = noise.of(observed).powi(2);
        }
        let predictor = Predictor::new(&layout, &state);
        let rows = pairs.iter().map(|pair| Row {
            residual: Vector2::zeros(),
            // None takes part, so nothing is weighed by it.
            covariance: Matrix2::identity(),
            prediction: predictor.predict(pair),
        });
        let rows = rows.collect();
        let count = pairs.len();
        Self {
            solved: Solved {
                state,
                rows,
                covariance: Covariance {
                    datum_root: DMatrix::zeros(unknowns, 0),
                    global,
                    regions: Vec::new(),
                    region_with_global: Vec::new(),
                },
                convergence: Convergence {
                    is_reached: true,
                    steps: 0,
                    last_step_px: 0.0,
                },
            },
            problem: Problem {
                layout,
                pairs,
                unstated_noise,
                expected: [1.0; 5],
                shape: None,
                suspected: DMatrix::zeros(unknowns, 0),
            },
            active: vec![false; count],
            takes_part: vec![false; count],
            noise,
            noise_freedom,
        }
    }
}
