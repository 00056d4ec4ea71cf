//! The landmarks' places on the model against their marks in the render: the render's own camera must see them there.
//!
//! An error along the ray of sight does not show here; only the reference's camera, from elsewhere, can contradict it.
use super::mark_test::critical_square;
use super::settings::CHECKS;
use crate::{job::View, registration::adjustment::ADJUSTMENT};
use nalgebra::Vector2;

/// How the places on the model fit the render.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Places {
    /// Nothing to check, or all fit.
    Fit,
    /// These landmarks (indices) miss their marks by so many render pixels; the others fit.
    Missed(Vec<(usize, f64)>),
    /// More miss than fit: the camera is at fault, or the unit of all places.
    CameraMisses {
        /// Median distance, render pixels; infinite where they lie beside the camera.
        median_px: f64,
    },
}

impl Places {
    /// Compares the places of a view's landmarks with their marks in the render.
    ///
    /// A place misses where the distance is beyond what noise exceeds in one of a thousand marks. Where the deviation of
    /// the marks is not stated it comes from the median of the distances.
    pub(crate) fn of(view: &View) -> Self {
        let Some(camera) = &view.render.camera else {
            return Self::Fit;
        };
        let misses: Vec<(usize, f64)> = (0..view.landmarks.len())
            .filter_map(|i| {
                let landmark = &view.landmarks[i];
                let mark = Vector2::from(landmark.render.xy());
                let seen = seen_at(camera, landmark.model_mm?);
                Some((i, seen.map_or(f64::INFINITY, |s| (s - mark).norm())))
            })
            .collect();
        let mut lengths: Vec<f64> = misses.iter().map(|m| m.1).collect();
        lengths.sort_by(f64::total_cmp);
        let Some(&median_px) = lengths.get(lengths.len() / 2) else {
            return Self::Fit;
        };
        // 2 ln 2 is the median of chi-square with two degrees of freedom.
        let by_median = median_px / (2.0 * std::f64::consts::LN_2).sqrt();
        let sigma = match view.render.mark_sigma_px {
            Some(stated) => stated.max(CHECKS.least_place_deviation.get()),
            None => by_median.clamp(
                ADJUSTMENT.render_mark_deviation.get(),
                CHECKS.largest_place_deviation.get(),
            ),
        };
        let limit = sigma * critical_square().sqrt();
        let missed: Vec<(usize, f64)> = misses.into_iter().filter(|m| m.1 > limit).collect();
        match missed.len() {
            0 => Self::Fit,
            n if 2 * n > lengths.len() => Self::CameraMisses { median_px },
            _ => Self::Missed(missed),
        }
    }

    /// Whether the depth of the place of landmark `i` may be used: it holds, or is so little off that its depth cannot be off by much.
    pub(crate) fn serves(&self, i: usize) -> bool {
        self.holds(i) || self.slight_miss(i).is_some()
    }

    /// What is not known of the mark of landmark `i` because its place lies slightly beside it, as a standard deviation in render pixels:
    /// most often the place is off, at times the mark. 0 where the place holds.
    pub(crate) fn doubt(&self, i: usize) -> f64 {
        CHECKS.doubt_of_miss.get() * self.slight_miss(i).unwrap_or(0.0)
    }

    /// By how many render pixels the place of landmark `i` misses its mark, where that is slight.
    fn slight_miss(&self, i: usize) -> Option<f64> {
        let Self::Missed(missed) = self else {
            return None;
        };
        let (_, px) = missed.iter().find(|(k, _)| *k == i)?;
        is_slight(*px).then_some(*px)
    }

    /// Whether the place of landmark `i` holds.
    pub(crate) fn holds(&self, i: usize) -> bool {
        match self {
            Self::Fit => true,
            Self::Missed(missed) => missed.iter().all(|(k, _)| *k != i),
            Self::CameraMisses { .. } => false,
        }
    }
}

/// Whether a place that misses its mark by so many render pixels is off by little in depth too.
pub(crate) fn is_slight(px: f64) -> bool {
    px <= CHECKS.slight_miss.get()
}

/// Where the camera sees a place, render pixels; `None` beside it.
fn seen_at(camera: &[[f64; 4]; 3], [x, y, z]: [f64; 3]) -> Option<Vector2<f64>> {
    let row = |r: usize| camera[r][0] * x + camera[r][1] * y + camera[r][2] * z + camera[r][3];
    let place = Vector2::new(row(0), row(1)) / row(2);
    place.iter().all(|v| v.is_finite()).then_some(place)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{job, job::View};

    /// Six landmarks at depths of their own, seen from above by 10 px a millimetre; `place` alters those on the model.
    fn view(place: impl Fn(usize, [f64; 3]) -> [f64; 3]) -> View {
        let marks: Vec<String> = (0..6)
            .map(|i| {
                let p = [
                    3.0 * f64::from(i),
                    40.0 - 5.0 * f64::from(i * i % 4),
                    2.0 * f64::from(i),
                ];
                let [x, y] = [100.0 + 10.0 * p[0], 500.0 - 10.0 * p[1]];
                format!(
                    r#"{{"name":"m{i}","render":[{x},{y}],"reference":[{x},{y}],"model_mm":{:?}}}"#,
                    place(i as usize, p)
                )
            })
            .collect();
        let text = format!(
            r#"{{"title":"t","scale":"1:32","views":[{{"name":"a","render":{{"image":"a.png",
            "camera":{{"matrix":[[10,0,0,100],[0,-10,0,500],[0,0,0,1]]}}}},
            "reference":{{"image":"b.png","kind":"photo"}},"landmarks":[{}]}}]}}"#,
            marks.join(",")
        );
        let job = job::parse(text.as_bytes(), std::path::Path::new("t.json")).expect("sound");
        job.views[0].clone()
    }

    #[test]
    fn places_that_fit_are_not_accused() {
        assert_eq!(Places::of(&view(|_, p| p)), Places::Fit);
    }

    #[test]
    fn a_place_with_a_wrong_sign_is_named_with_its_distance() {
        let found = Places::of(&view(
            |i, [x, y, z]| if i == 2 { [x, -y, z] } else { [x, y, z] },
        ));
        let Places::Missed(missed) = &found else {
            panic!("{found:?}");
        };
        // y is 40 mm there: 80 mm to the other side.
        assert!(missed.len() == 1 && missed[0].0 == 2 && (missed[0].1 - 800.0).abs() < 1e-6);
        assert!(!found.holds(2) && found.holds(3));
    }

    #[test]
    fn a_small_error_shows_beyond_the_noise_of_clicks() {
        // 0.2 mm are 2 px, below 3.7 deviations of 0.75 px; 0.4 mm are 4 px.
        let moved =
            |by: f64| view(move |i, [x, y, z]| if i == 4 { [x + by, y, z] } else { [x, y, z] });
        assert_eq!(Places::of(&moved(0.2)), Places::Fit);
        assert!(!Places::of(&moved(0.4)).holds(4));
    }

    #[test]
    fn places_in_another_unit_accuse_the_camera() {
        let found = Places::of(&view(|_, p| p.map(|v| v / 25.4)));
        assert!(
            matches!(found, Places::CameraMisses { median_px } if median_px > 100.0),
            "{found:?}"
        );
    }

    #[test]
    fn an_error_along_the_ray_does_not_show() {
        assert_eq!(Places::of(&view(|_, [x, y, z]| [x, y, -z])), Places::Fit);
    }
}
