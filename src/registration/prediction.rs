//! Where the partner of a mark is to be expected in the other image, and how surely.
use super::{Error, adjustment::SingleMark, registered::register};
use crate::{
    job::{Expected, Landmark, LandmarkUse, View},
    rectification::Rectification,
    statistics::{chi_square_quantile, f_quantile},
};
use nalgebra::{Matrix2, Vector2};

/// The place of a partner, in the pixels of its own image.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Prediction {
    /// x and y.
    pub place: [f64; 2],
    /// Half axes of the 95 % ellipse, the longer one first, pixels.
    pub half_axes: [f64; 2],
    /// Direction of the longer axis from x, degrees, clockwise on the screen.
    pub turned_deg: f64,
}

/// Where the partner of a mark lies by the registration of the view's other marks.
///
/// The ellipse holds the partner in 95 of 100 cases: noise of both marks and of the registration. It leaves out that
/// the model may be off there.
///
/// # Errors
/// Those of [`register`]; [`Error::NoMap`] where the place lies beyond the horizon of the map.
///
/// # Source
/// JCGM 102:2011 (GUM supplement 2), section 7.7.2: the ellipse of two quantities, with F in place of chi-square
/// where the noise is estimated.
pub fn predict(
    view: &View,
    expected: Expected,
    render_size: (u32, u32),
    rectification: Option<&Rectification>,
    mark: SingleMark,
) -> Result<Prediction, Error> {
    let map = register(view, expected, render_size, rectification)?
        .registration
        .render_from_reference;
    let (render, reference) = match mark {
        SingleMark::Render(point) => (point, map.inverse().apply(point)),
        SingleMark::Reference(point) => (map.apply(point), point),
    };
    let beyond = || Error::NoMap {
        kind: view.registration,
        names: super::problem::datum_names(view),
    };
    let is_finite = |[x, y]: [f64; 2]| x.is_finite() && y.is_finite();
    if !is_finite(render.xy()) || !is_finite(reference.xy()) {
        return Err(beyond());
    }
    // A check mark on no region is measured by the adjustment and changes nothing in it.
    let mut with_mark = view.clone();
    with_mark.landmarks.push(Landmark {
        name: String::new(),
        render,
        reference,
        usage: LandmarkUse::Check,
        model_mm: None,
        part: None,
        on: None,
        sigma_px: [None; 2],
        model_sigma_mm: None,
    });
    let adjustment = register(&with_mark, expected, render_size, rectification)?.adjustment;
    let index = view.landmarks.len();
    let variance = |direction: Vector2<f64>| {
        let mut gradient = adjustment.no_gradient();
        gradient.add_render(index, direction);
        adjustment.add_registered(&mut gradient, index, -direction);
        adjustment.variance(&gradient)
    };
    let (x, y) = (
        variance(Vector2::new(1.0, 0.0)),
        variance(Vector2::new(0.0, 1.0)),
    );
    // var(x + y) = var(x) + var(y) + 2 cov(x, y)
    let both = (variance(Vector2::new(1.0, 1.0)) - x - y) / 2.0;
    let in_render = Matrix2::new(x, both, both, y);
    let (place, covariance) = match mark {
        SingleMark::Reference(_) => (render.xy(), in_render),
        SingleMark::Render(_) => {
            let back = map.jacobian(reference).try_inverse().ok_or_else(beyond)?;
            (reference.xy(), back * in_render * back.transpose())
        }
    };
    Prediction::of(place, covariance, adjustment.noise_freedom).ok_or_else(beyond)
}

impl Prediction {
    /// The 95 % ellipse of a place with this covariance, known to `freedom`; `None` where it is not finite.
    pub(crate) fn of(place: [f64; 2], covariance: Matrix2<f64>, freedom: f64) -> Option<Self> {
        let square = if freedom.is_finite() {
            2.0 * f_quantile(0.95, 2.0, freedom)
        } else {
            chi_square_quantile(0.95, 2.0)
        };
        ellipse(place, covariance * square)
    }
}

fn ellipse(place: [f64; 2], square: Matrix2<f64>) -> Option<Prediction> {
    let eigen = square.symmetric_eigen();
    let (long, short) = if eigen.eigenvalues[0] >= eigen.eigenvalues[1] {
        (0, 1)
    } else {
        (1, 0)
    };
    let half = |k: usize| eigen.eigenvalues[k].max(0.0).sqrt();
    let axis = eigen.eigenvectors.column(long);
    let prediction = Prediction {
        place,
        half_axes: [half(long), half(short)],
        turned_deg: axis[1].atan2(axis[0]).to_degrees(),
    };
    prediction.half_axes[0].is_finite().then_some(prediction)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Point;
    use crate::job;

    const EXPECTED: Expected = Expected {
        size_percent: 4.0,
        rotation_deg: 1.5,
        offset_percent: 0.8,
        keystone_percent: 0.3,
    };

    /// Four datum marks around (400, 400); the reference is half as large and moved by (10, 20).
    fn view(spread: f64) -> View {
        let marks: Vec<String> = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)]
            .iter()
            .enumerate()
            .map(|(i, (x, y))| {
                let (x, y) = (400.0 + spread * x, 400.0 + spread * y);
                format!(
                    r#"{{"name":"m{i}","render":[{x},{y}],"reference":[{},{}]}}"#,
                    x / 2.0 + 10.0,
                    y / 2.0 + 20.0
                )
            })
            .collect();
        let text = format!(
            r#"{{"title":"t","scale":"1:32","views":[{{"name":"a","render":{{"image":"a.png","mark_sigma_px":1}},
            "reference":{{"image":"b.png","kind":"plan","mark_sigma_px":0.5}},"landmarks":[{}]}}]}}"#,
            marks.join(",")
        );
        let job = job::parse(text.as_bytes(), std::path::Path::new("t.json")).expect("sound");
        job.views[0].clone()
    }

    fn at(spread: f64, x: f64) -> Prediction {
        let mark = SingleMark::Render(Point::new(x, 400.0));
        predict(&view(spread), EXPECTED, (800, 800), None, mark)
            .expect("four marks carry a similarity")
    }

    #[test]
    fn the_partner_lies_where_the_map_takes_the_mark() {
        let there = at(300.0, 500.0);
        // Exact marks; f64 rounding over some hundred pixels.
        assert!((there.place[0] - 260.0).abs() < 1e-6 && (there.place[1] - 220.0).abs() < 1e-6);
        let mark = SingleMark::Reference(Point::new(260.0, 220.0));
        let back = predict(&view(300.0), EXPECTED, (800, 800), None, mark).expect("the way back");
        assert!((back.place[0] - 500.0).abs() < 1e-6 && (back.place[1] - 400.0).abs() < 1e-6);
    }

    #[test]
    fn at_the_centre_the_ellipse_is_that_of_independent_marks() {
        // Noise of a pair in the reference: 0.5 px from each mark, together 0.5 * sqrt(2); the mean of four such
        // pairs carries the centre: times sqrt(1 + 1/4). 95 % of two quantities: sqrt(5.991) (chi-square table).
        let expected = 0.5 * 2f64.sqrt() * 1.25f64.sqrt() * 5.991f64.sqrt();
        let there = at(300.0, 400.0);
        for half in there.half_axes {
            assert!((half / expected - 1.0).abs() < 1e-3, "{half} {expected}");
        }
    }

    #[test]
    fn far_from_the_marks_it_grows() {
        assert!(at(50.0, 780.0).half_axes[0] > 2.0 * at(50.0, 400.0).half_axes[0]);
    }

    #[test]
    fn too_few_marks_are_an_error() {
        let mut view = view(300.0);
        view.landmarks.truncate(1);
        let mark = SingleMark::Render(Point::new(0.0, 0.0));
        let error = predict(&view, EXPECTED, (800, 800), None, mark).expect_err("one mark");
        assert_eq!(error.code(), "too-few-landmarks");
    }
}
