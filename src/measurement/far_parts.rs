//! Parts so far from the datum marks that the registration is the most that is unsure there, and where a further datum mark
//! would help.
use super::settings::REGIONS;
use crate::{
    frame::{Point, RenderPx},
    job::{LandmarkUse, Region, View},
    printable::shortened,
    registration::{Adjustment, SingleMark},
    statistics::t_quantile,
};
use nalgebra::Vector2;

/// The part where the registration is known worst.
#[derive(Clone, Copy, Debug, PartialEq)]
struct FarPart {
    /// Index of its region.
    region: usize,
    /// Half of a 95 % interval of the registration at its anchor, the larger of x and y, render px.
    within_px: f64,
    /// The same at the datum marks, in the median.
    among_datum_px: f64,
}

/// The worst of the parts that are none of the datum, where that is much worse than between the datum marks; `None` where a
/// further datum mark would help little.
fn worst(view: &View, adjustment: &Adjustment) -> Option<FarPart> {
    let mut with_marks = adjustment.clone();
    let mut at = |place: Point<RenderPx>| within(&mut with_marks, place);
    let mut among: Vec<f64> = view
        .landmarks
        .iter()
        .filter(|l| l.usage == LandmarkUse::Datum)
        .filter_map(|l| at(l.render))
        .collect();
    among.sort_by(f64::total_cmp);
    let among_datum_px = *among.get(among.len() / 2)?;
    let is_datum = |r: &Region| {
        let mut marks = r.landmarks.iter();
        marks.any(|&i| view.landmarks[i].usage == LandmarkUse::Datum)
    };
    let parts = view.regions.iter().enumerate();
    let (region, within_px) = parts
        .filter(|(_, r)| !is_datum(r))
        .filter_map(|(j, r)| Some((j, at(r.anchor)?)))
        .max_by(|a, b| a.1.total_cmp(&b.1))?;
    let is_far = within_px > REGIONS.far_from_datum.get() * among_datum_px
        && within_px > REGIONS.far_within.get();
    is_far.then_some(FarPart {
        region,
        within_px,
        among_datum_px,
    })
}

/// Half of a 95 % interval of where the registration takes what lies at `place`, noise of marks left out.
fn within(adjustment: &mut Adjustment, place: Point<RenderPx>) -> Option<f64> {
    let i = adjustment.add_single(SingleMark::Render(place));
    let variance = [Vector2::x(), Vector2::y()].map(|direction| {
        let mut gradient = adjustment.no_gradient();
        adjustment.add_registered(&mut gradient, i, direction);
        // The mark itself is where the registration puts it.
        gradient.reference.clear();
        adjustment.variance(&gradient)
    });
    let deviation = variance[0].max(variance[1]).sqrt();
    let half = t_quantile(0.975, adjustment.noise_freedom()) * deviation;
    half.is_finite().then_some(half)
}

/// Where a further datum mark would help, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FarFromDatum {
    /// Index of the region.
    pub region: usize,
    /// A sentence without its full stop.
    pub text: String,
}

/// Where a further datum mark would help a view that is registered; `None` where it would help little.
pub fn far_from_datum(view: &View, adjustment: &Adjustment) -> Option<FarFromDatum> {
    let far = worst(view, adjustment)?;
    let text = format!(
        "the registration is good to ±{:.1} px among the datum marks and to ±{:.1} px at \"{}\": a datum mark there, or on a \
         right part beyond it, would help most",
        far.among_datum_px,
        far.within_px,
        shortened(&view.regions[far.region].name)
    );
    Some(FarFromDatum {
        region: far.region,
        text,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measurement::coverage::job;
    use crate::{job::RegistrationKind, registration::register, statistics::trials::Noise};

    /// A part at `anchor`, with datum marks on the corners of a square of 200 px at (300, 300).
    fn seen_at(anchor: [f64; 2]) -> Option<FarPart> {
        let job = job(RegistrationKind::Projective, true, &mut Noise(3));
        let mut view = job.views[0].clone();
        let mut kept = 0;
        for landmark in &mut view.landmarks {
            landmark.usage = LandmarkUse::Check;
            let corner = [
                [200.0, 200.0],
                [400.0, 200.0],
                [400.0, 400.0],
                [200.0, 400.0],
                [300.0, 200.0],
                [300.0, 400.0],
            ];
            if let Some([x, y]) = corner.get(kept) {
                landmark.usage = LandmarkUse::Datum;
                landmark.render = Point::new(*x, *y);
                landmark.reference = Point::new(*x, *y);
                kept += 1;
            }
        }
        view.landmarks.truncate(kept);
        view.regions.truncate(1);
        view.regions[0].landmarks.clear();
        view.regions[0].anchor = Point::new(anchor[0], anchor[1]);
        let registered = register(&view, job.expected, (1000, 1000), None).expect("six marks");
        worst(&view, &registered.adjustment)
    }

    #[test]
    fn a_part_far_beyond_the_datum_marks_is_named_and_one_between_them_is_not() {
        assert_eq!(seen_at([310.0, 290.0]), None);
        let far = seen_at([900.0, 900.0]).expect("far off");
        assert!(far.within_px > 3.0 * far.among_datum_px, "{far:?}");
        let farther = seen_at([990.0, 990.0]).expect("farther off");
        assert!(farther.within_px > far.within_px);
    }
}
