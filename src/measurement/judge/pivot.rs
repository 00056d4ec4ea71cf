//! About which point a part is turned and scaled, so that it need not be moved as well.
//!
//! A part that was turned about its pin lies off at its middle, by the turn times the distance: told at the middle, that is a turn
//! and a move; told at the pin, it is the turn alone. Of the part's landmarks, each is asked how far the part is off there.
//!
//! # Source
//! The offset at another point by the five numbers, to first order with their covariance: JCGM 100:2008 (GUM), 5.2.2, equation
//! (13). That the point which leaves no move is the likely pivot is our own judgement.
use super::{
    correction::{calls_for_change, is_visible},
    ranking, verdict,
};
use crate::{
    frame::{Point, RenderPx},
    job::{Job, Region, View},
    measurement::{MeasureKind, PartChange, Pivot},
    registration::RegionFit,
    statistics::Measured,
};
use nalgebra::{SMatrix, Vector2};

/// Where a part of the model lies minus where it should lie, at one of its points: x right, y down, render pixels.
fn offset_at(
    fit: &RegionFit,
    anchor: Point<RenderPx>,
    point: Point<RenderPx>,
) -> [Option<Measured>; 2] {
    let from_anchor = Vector2::new(point.x - anchor.x, point.y - anchor.y);
    let errors = fit.errors;
    // The model's point, less the subject's that it shows.
    let subject = errors
        .linear()
        .try_inverse()
        .map(|inverse| inverse * from_anchor - Vector2::from(errors.offset));
    let Some(subject) = subject else {
        return [None; 2];
    };
    let off = from_anchor - subject;
    let (x, y) = (from_anchor.x, from_anchor.y);
    let by_errors = SMatrix::<f64, 2, 5>::new(x, 0.0, -y, 1.0, 0.0, 0.0, y, x, 0.0, 1.0);
    let covariance = by_errors * fit.covariance * by_errors.transpose();
    [0, 1].map(|axis| {
        let deviation = covariance[(axis, axis)].max(0.0).sqrt();
        Measured::from_deviation(off[axis], deviation, fit.freedom)
    })
}

/// The landmark about which a part is turned and scaled where that saves moving it: of those at which no move is called for, the
/// one where it is off by the least. `None` where nothing is turned or scaled, nothing is moved, or there is no such landmark.
pub(crate) fn of_region(
    job: &Job,
    (view, region): (&View, &Region),
    (fit, mm_per_px): (&RegionFit, f64),
    changes: &[PartChange],
) -> Option<Pivot> {
    let is_moved = changes.iter().any(|c| is_move(c.measure));
    let is_shaped = changes.iter().any(|c| !is_move(c.measure));
    if !(is_moved && is_shaped) {
        return None;
    }
    let limit = region.tolerance.offset.0;
    let found = region.landmarks.iter().filter_map(|&i| {
        let landmark = &view.landmarks[i];
        let [x, y] = offset_at(fit, region.anchor, landmark.render);
        let offset_model_mm = [x?.times(mm_per_px), y?.times(mm_per_px)];
        let is_still = offset_model_mm.iter().all(|off| {
            let calls = calls_for_change(*off, verdict::judge(*off, limit));
            !(calls && is_visible(job, Some(off.value())))
        });
        let off = offset_model_mm.map(|off| ranking::times_tolerance(Some(off), limit));
        let pivot = Pivot {
            landmark: landmark.name.clone(),
            offset_model_mm,
        };
        is_still.then_some((off[0].hypot(off[1]), pivot))
    });
    let least = found.min_by(|(a, _), (b, _)| a.total_cmp(b));
    least.map(|(_, pivot)| pivot)
}

/// Whether the measure is an offset.
pub(crate) fn is_move(measure: MeasureKind) -> bool {
    matches!(measure, MeasureKind::OffsetX | MeasureKind::OffsetY)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::truth::Errors,
        measurement::{RegionMeasure, by_marks, coverage},
        statistics::trials::Noise,
    };

    /// What is measured of the part, and of the angle on it, where the part has these errors about this point.
    fn measured_about(
        size: [f64; 2],
        rotation: f64,
        pin: [f64; 2],
    ) -> crate::measurement::ViewMeasurement {
        let mut noise = Noise(5);
        let first = by_marks::first_job(&mut noise);
        let mut errors = Errors {
            size,
            rotation,
            offset: [0.0; 2],
        };
        // Where the pin would go, undone before the part is stretched and turned.
        let anchor = coverage::ANCHOR;
        let shown = errors.shown(anchor, pin);
        let moved = Vector2::new(pin[0] - shown[0], pin[1] - shown[1]);
        let (s, c) = rotation.sin_cos();
        errors.offset = [
            (c * moved.x + s * moved.y) / (1.0 + size[0]),
            (-s * moved.x + c * moved.y) / (1.0 + size[1]),
        ];
        let job = by_marks::next_job(&first, errors, &mut noise);
        by_marks::measured(&job)
    }

    fn asked(part: &RegionMeasure) -> Vec<MeasureKind> {
        part.changes.iter().map(|c| c.measure).collect()
    }

    #[test]
    fn a_part_turned_about_its_pin_is_turned_back_about_it_and_not_moved() {
        let found = measured_about([0.0; 2], 0.08, coverage::PART[3]);
        let part = &found.regions[0];
        // The noise of the marks may ask for a size as well.
        assert!(asked(part).contains(&MeasureKind::Rotation));
        assert!(!asked(part).into_iter().any(is_move));
        let pivot = part.pivot.as_ref().expect("a pivot");
        assert_eq!(pivot.landmark, "part 3");
        let text = part.correction.as_deref().expect("turned by 4.6 degrees");
        assert!(
            text.contains("anticlockwise, about its \"part 3\""),
            "{text}"
        );
        assert!(!text.contains("move"), "{text}");
        // The angle on the part goes with it.
        assert_eq!(found.angles[0].goes_with, ["part"]);
    }

    #[test]
    fn a_part_that_is_off_everywhere_has_no_pivot() {
        let found = measured_about([0.0; 2], 0.08, [900.0, 900.0]);
        let part = &found.regions[0];
        assert!(part.pivot.is_none());
        for measure in &MeasureKind::OF_REGION[2..] {
            assert!(asked(part).contains(measure), "{measure:?}");
        }
    }

    #[test]
    fn a_part_scaled_about_a_corner_is_scaled_back_about_it() {
        let found = measured_about([0.12, 0.1], 0.0, coverage::PART[0]);
        let part = &found.regions[0];
        assert_eq!(asked(part), [MeasureKind::Width, MeasureKind::Height]);
        assert_eq!(part.pivot.as_ref().expect("a pivot").landmark, "part 0");
    }

    /// At the anchor the offset is the region's own, with its own deviation.
    #[test]
    fn at_the_anchor_the_offset_is_that_of_the_region() {
        let fit = RegionFit {
            errors: crate::registration::RegionErrors::from_array([0.05, 0.0, 0.02, 3.0, -2.0]),
            covariance: nalgebra::Matrix5::identity() * 0.04,
            freedom: 20.0,
            expected: [1.0; 5],
            landmarks: 6,
            is_datum: false,
            by_reference: Default::default(),
        };
        let anchor = Point::new(470.0, 190.0);
        let [x, y] = offset_at(&fit, anchor, anchor).map(|m| m.expect("finite"));
        assert!((x.value() - 3.0).abs() < 1e-9 && (y.value() + 2.0).abs() < 1e-9);
        // 2.086 is Student's t for 20 degrees of freedom (95 %, two sides).
        assert!((x.half_width() - 2.086 * 0.2).abs() < 1e-3);
    }
}
