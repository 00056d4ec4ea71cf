//! What a print can show and an eye can see: the smallest error that is worth a change.
use crate::units::ModelMm;

/// Holds where a job says nothing.
pub const DEFAULT_SMALLEST_VISIBLE: ModelMm = ModelMm(0.05);

/// Angle that an eye resolves, radians: one minute of arc.
///
/// # Source
/// Common practice (visual acuity 1.0 is one arc minute by definition; ISO 8596 builds its test sign on it, from memory).
const EYE: f64 = std::f64::consts::PI / 180.0 / 60.0;

/// How the model is made and looked at.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Print {
    /// Pixel or dot of the printer, millimetres.
    pub pixel_mm: Option<f64>,
    /// Height of a layer, millimetres.
    pub layer_mm: Option<f64>,
    /// How far the eye is from the model, millimetres.
    pub viewing_distance_mm: Option<f64>,
}

impl Print {
    /// The smallest error that can be both printed and seen; `None` where nothing is stated.
    ///
    /// A print shows no step below its pixel along a layer and none below the layer across it. How a part will lie in
    /// the printer is not known here, so the finer of the two counts: what is smaller cannot be shown either way. Of
    /// that and what the eye resolves, the coarser one decides.
    pub fn smallest_visible(self) -> Option<ModelMm> {
        let limits = [self.printed(), self.seen()];
        limits.into_iter().flatten().reduce(f64::max).map(ModelMm)
    }

    /// The smallest step that the printer makes.
    fn printed(self) -> Option<f64> {
        [self.pixel_mm, self.layer_mm]
            .into_iter()
            .flatten()
            .reduce(f64::min)
    }

    /// What the eye resolves at its distance.
    fn seen(self) -> Option<f64> {
        self.viewing_distance_mm
            .map(|distance| distance * EYE.tan())
    }

    /// Such as "pixel 0.05 mm, layer 0.03 mm, eye at 300 mm resolves 0.087 mm".
    pub fn in_words(self) -> String {
        let mut words = Vec::new();
        words.extend(self.pixel_mm.map(|mm| format!("pixel {mm} mm")));
        words.extend(self.layer_mm.map(|mm| format!("layer {mm} mm")));
        let eye = self.viewing_distance_mm.zip(self.seen());
        words.extend(eye.map(|(at, mm)| format!("eye at {at} mm resolves {mm:.3} mm")));
        words.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limit(pixel_mm: Option<f64>, layer_mm: Option<f64>, distance: Option<f64>) -> Option<f64> {
        let print = Print {
            pixel_mm,
            layer_mm,
            viewing_distance_mm: distance,
        };
        print.smallest_visible().map(|mm| mm.0)
    }

    #[test]
    fn an_eye_at_arm_s_length_resolves_a_fifth_of_a_millimetre() {
        // 687.55 mm is the distance at which a fifth of a millimetre subtends one minute of arc: 0.2 / tan(1').
        let seen = limit(None, None, Some(687.549)).expect("stated");
        assert!((seen - 0.2).abs() < 1e-6, "{seen}");
    }

    #[test]
    fn the_finer_step_of_the_printer_and_the_coarser_of_print_and_eye_count() {
        assert_eq!(limit(Some(0.05), Some(0.03), None), Some(0.03));
        assert_eq!(limit(Some(0.2), None, Some(300.0)), Some(0.2));
        let seen = limit(Some(0.05), Some(0.03), Some(300.0)).expect("stated");
        assert!((seen - 0.08727).abs() < 1e-5, "{seen}");
        assert_eq!(limit(None, None, None), None);
    }

    #[test]
    fn the_reason_names_all_that_is_stated() {
        let print = Print {
            pixel_mm: Some(0.05),
            layer_mm: None,
            viewing_distance_mm: Some(300.0),
        };
        assert_eq!(
            print.in_words(),
            "pixel 0.05 mm, eye at 300 mm resolves 0.087 mm"
        );
    }
}
