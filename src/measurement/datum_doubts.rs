//! What the datum landmarks as a whole say against the registration that they carry, in words.
use super::Warning;
use super::settings::REGIONS;
use crate::{
    job::{LandmarkUse, View},
    printable::listed,
    registration::{
        Adjustment, AlteredDatum, Finding, Registered, Registration,
        checks::places::{Places, is_slight},
    },
    statistics::t_quantile,
    warning::Code,
};

/// Fewer wrong ones than this are slips of the hand, whatever their share.
const AT_LEAST: usize = 2;

/// All of it. `reference_size` is the width and height of the reference in pixels.
pub(crate) fn all(
    view: &View,
    registered: &Registered,
    reference_size: (u32, u32),
) -> Vec<Warning> {
    let Registered {
        registration,
        adjustment,
        ..
    } = registered;
    let found = [
        many_wrong(view, registration),
        scatter(registration, adjustment),
        bent(view, registration, adjustment, reference_size),
        unbent(view, registration),
        far_camera(adjustment),
        camera_misses(view),
    ];
    let altered = registered.altered_datum.iter();
    let warnings = altered
        .map(|found| altered_datum(view, found))
        .chain(missed_places(view))
        .chain(found.into_iter().flatten());
    warnings
        .map(|(code, text)| Warning { code, text })
        .collect()
}

type Found = Option<(Code, String)>;

fn altered_datum(view: &View, found: &AlteredDatum) -> (Code, String) {
    let part = &view.regions[found.region].name;
    let marks = found.landmarks.iter();
    let marks = listed(marks.map(|&i| view.landmarks[i].name.as_str()));
    let test = format!(
        "(test {:.1}, limit {:.1})",
        found.test_statistic, found.critical_value
    );
    if found.rivals.is_empty() {
        let text = format!(
            "The datum landmarks of \"{part}\" ({marks}) agree with each other but not with the other datum landmarks \
             {test}: this part is altered or stands elsewhere. They were taken as \"check\" and the part was measured like \
             any other. Mark them as \"check\" in the job; if you trust this part, look at the others."
        );
        return (Code::AlteredDatum, text);
    }
    let rivals = found.rivals.iter();
    let rivals = listed(rivals.map(|&j| view.regions[j].name.as_str()));
    let text = format!(
        "The datum landmarks of \"{part}\" ({marks}) and those of {rivals} contradict each other {test}, and nothing tells \
         which part is altered: the registration lies between them, and every figure of this view is in doubt. Mark the \
         landmarks of the part that you trust less as \"check\", or mark datum landmarks on a third one."
    );
    (Code::DatumPartsDisagree, text)
}

/// What is told of a landmark whose place on the model cannot be right.
fn missed_places(view: &View) -> impl Iterator<Item = (Code, String)> + '_ {
    let missed = match Places::of(view) {
        Places::Missed(missed) => missed,
        Places::Fit | Places::CameraMisses { .. } => Vec::new(),
    };
    let what_is_done = |px: f64| match (view.same_camera, is_slight(px)) {
        (true, _) => "its place is not used",
        (false, true) => "its marks count for less, because the reference was taken from elsewhere",
        (false, false) => {
            "neither its place nor its marks are used, because the reference was taken from elsewhere"
        }
    };
    missed.into_iter().map(move |(i, px)| {
        let by = if px.is_finite() {
            format!("{px:.1} px beside its mark")
        } else {
            "nowhere in the picture".to_owned()
        };
        let text = format!(
            "The render's camera sees the place of \"{}\" on the model (model_mm) {by}: {}. See whether \
             coordinates are exchanged, a sign is wrong, or the mark is.",
            view.landmarks[i].name,
            what_is_done(px),
        );
        (Code::WrongPlace, text)
    })
}

fn camera_misses(view: &View) -> Found {
    let Places::CameraMisses { median_px } = Places::of(view) else {
        return None;
    };
    let by = if median_px.is_finite() {
        format!("{median_px:.1} px beside (median)")
    } else {
        "most of them nowhere in the picture".to_owned()
    };
    let text = format!(
        "The render's camera does not see the places on the model (model_mm) where they are marked, but {by}: neither \
         was used, and depth shows up as offset. The matrix has to take millimetres of the model \
         to pixels of this very render, (0, 0) being its top left corner."
    );
    Some((Code::CameraMisses, text))
}

fn many_wrong(view: &View, registration: &Registration) -> Found {
    let datum = || {
        let marks = view.landmarks.iter().zip(&registration.landmarks);
        marks.filter(|(l, _)| l.usage == LandmarkUse::Datum)
    };
    let wrong = datum().filter(|(_, fit)| fit.finding == Some(Finding::Wrong));
    let (wrong, of) = (wrong.count(), datum().count());
    (wrong >= AT_LEAST && wrong as f64 > REGIONS.many_wrong.get() * of as f64).then(|| {
        let text = format!(
            "{wrong} of {of} datum landmarks fit the others so badly that they were left out. So many are seldom slips \
             of the hand, and it may be the others that are wrong: every figure of this view is in doubt. See whether \
             two sizes of the model are exchanged, whether the pictures show the same variant from the same side, and \
             whether points at other depths were taken from another place; mark parts that you do not trust as \"check\"."
        );
        (Code::ManyWrongMarks, text)
    })
}

/// Noise at the end of what is taken for the noise of marks: the residuals are larger still.
fn scatter(registration: &Registration, adjustment: &Adjustment) -> Found {
    let sigma0 = registration.sigma0?;
    (adjustment.has_most_noise() && sigma0 > 1.0).then(|| {
        let text = format!(
            "The datum landmarks scatter by {:.1} px in the reference, {sigma0:.1} times the most that is taken for noise \
             of marks ({:.1} px): the intervals are too narrow. Look at the marks; state mark_sigma_px if they are no \
             better; or the model differs where you trust it.",
            sigma0 * registration.reference_mark_sigma_px,
            registration.reference_mark_sigma_px
        );
        (Code::MarksScatter, text)
    })
}

fn bent(
    view: &View,
    registration: &Registration,
    adjustment: &Adjustment,
    reference_size: (u32, u32),
) -> Found {
    let known = registration.rectification.as_ref();
    if known.is_some_and(|found| found.lens.is_some())
        || registration
            .sigma0
            .is_none_or(|s| s > REGIONS.beyond_a_bend.get())
    {
        return None;
    }
    let datum = view.landmarks.iter().map(|l| l.usage == LandmarkUse::Datum);
    let statistic = adjustment.bend_statistic(&datum.collect::<Vec<_>>(), reference_size)?;
    let limit = t_quantile(
        1.0 - REGIONS.doubt_level.get() / 2.0,
        adjustment.noise_freedom(),
    );
    (statistic.abs() > limit).then(|| {
        let text = format!(
            "The datum landmarks lie as if a lens had bent the reference (test {:.1}, limit {limit:.1}): lengths far \
             from each other in the picture are compared wrongly, beyond their intervals. Mark points along lines that \
             are straight in reality, under \"straight_lines\" of \"rectify\".",
            statistic.abs()
        );
        (Code::BentPicture, text)
    })
}

/// A lens that nothing in the job tells was taken off.
fn unbent(view: &View, registration: &Registration) -> Found {
    let rectify = view.reference.rectify.as_ref();
    let is_stated = rectify.is_some_and(|s| !s.straight_lines.is_empty());
    let lens = registration.rectification.as_ref()?.lens?;
    (!is_stated).then(|| {
        let text = format!(
            "The landmarks lie as if a lens had bent the reference by {:.1} ±{:.1} % at its corners: that bend was taken off, \
             and the figures hold if it was a lens. Mark points along lines that are straight in reality, under \
             \"straight_lines\" of \"rectify\", to know it better.",
            100.0 * lens.value().abs(),
            100.0 * lens.half_width()
        );
        (Code::LensByMarks, text)
    })
}

fn far_camera(adjustment: &Adjustment) -> Found {
    let times = adjustment.camera_shift_over_expected()?;
    (times > REGIONS.far_camera.get()).then(|| {
        let text = format!(
            "To fit the marks, the reference's camera would have to stand elsewhere by {times:.1} times what is \
             expected. Sizes of the model that are wrong or exchanged, or wrong places on it (model_mm), look like that: \
             check them before you trust a figure of this view."
        );
        (Code::FarCamera, text)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;

    #[test]
    fn a_camera_beside_all_places_is_told_without_a_number_that_is_none() {
        // The camera looks along x from the plane in which all places lie: their rays never meet the picture.
        let mark = |n: u32| {
            format!(
                r#"{{"name":"m{n}","render":[{n},5],"reference":[{n},5],"model_mm":[0,{n},{}]}}"#,
                n * n
            )
        };
        let marks: Vec<String> = (0..6).map(mark).collect();
        let text = format!(
            r#"{{"title":"t","scale":"1:24","views":[{{"name":"a","render":{{"image":"a.png",
            "camera":{{"matrix":[[0,10,0,100],[0,0,10,500],[1,0,0,0]]}}}},
            "reference":{{"image":"b.png"}},"landmarks":[{}]}}]}}"#,
            marks.join(",")
        );
        let job = job::parse(text.as_bytes(), std::path::Path::new("t.json")).expect("sound");
        let (code, text) = camera_misses(&job.views[0]).expect("it sees none of them");
        assert_eq!(code, "camera-misses");
        assert!(
            text.contains("but most of them nowhere in the picture: neither"),
            "{text}"
        );
        assert!(!text.contains("inf"), "{text}");
    }
}
