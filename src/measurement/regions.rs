//! The proportion errors of one region, as far as the picture can tell them.
use super::settings::REGIONS;
use super::{
    Correction, EdgeOverlap, MeasureKind, Method, RegionMeasure, Verdict,
    by_camera::PartByCamera,
    contradiction,
    judge::{correction, pivot, ranking, verdict},
    lengths::{RegionNumber, absolute, scales::ScaleStudy},
    symmetry::Mirrored,
};
use crate::{
    edges::{EdgeFit, OnEdges},
    frame::{Point, RenderPx},
    job::{Job, Region, View},
    registration::{
        Adjustment, ByReference, RegionErrors, RegionFit, space::together::EdgesOfPart,
    },
    statistics::{Measured, t_quantile},
};

/// What a region's figures rest on.
pub(crate) struct Evidence {
    fit: Option<RegionFit>,
    /// For each of the fit's five numbers: it is told, not only expected.
    is_told: [bool; 5],
    method: Method,
    /// What the edges had to say, where there were enough.
    edges: EdgesSay,
    /// Why an offset cannot be told from depth, where it cannot.
    no_depth: Option<&'static str>,
    /// Told by the camera that took the reference, and not by the map that lays it over the render.
    is_by_camera: bool,
    /// Width and height of the part, render pixels: what its millimetres refer to.
    size_px: [f64; 2],
}

/// What the edges had to say.
#[derive(Clone, Copy, Debug, PartialEq)]
enum EdgesSay {
    /// Too few of them, or none were looked for.
    Nothing,
    /// They fit no better than chance.
    NoBetterThanChance,
    /// They fit at more than one place.
    Ambiguous,
    /// They agree.
    Agree,
    /// They lead farther away from where the marks have the part than these allow, and are not used.
    LeadAway,
    /// They lead away from where the marks have the part, by so many render px at its anchor.
    ContradictMarks(f64),
}

impl Evidence {
    /// Weighs what landmarks and edges know of region `j`.
    pub(crate) fn of(
        j: usize,
        region: &Region,
        landmarks: Option<&RegionFit>,
        edges: Option<&EdgeFit>,
    ) -> Self {
        let extent_px = extent(region);
        let by_landmarks = |edges| Self {
            fit: landmarks.cloned(),
            is_told: landmarks.map_or([false; 5], |l| is_told(&l.covariance, &l.expected)),
            method: Method::Landmarks,
            edges,
            no_depth: None,
            is_by_camera: false,
            size_px: extent_px,
        };
        let Some((fit, evidence)) = edges.and_then(|e| Some((e, e.regions.get(j)?.as_ref()?)))
        else {
            return by_landmarks(EdgesSay::Nothing);
        };
        if evidence.beyond_chance < REGIONS.least_beyond_chance.get() {
            return by_landmarks(EdgesSay::NoBetterThanChance);
        }
        let errors = fit.adjustment.region(j);
        let off = nalgebra::SVector::<f64, 5>::from(errors.to_array()) - evidence.spread.mean;
        // The fit is one optimum: the spread over all others, and how far it lies from their mean, belong to it.
        let mut elsewhere = off * off.transpose() + depth_noise(fit, region, extent_px);
        let contradiction = contradiction::between(landmarks, &errors);
        if let Some(contradiction) = &contradiction {
            elsewhere += contradiction.covariance;
        }
        let by_fit = fit.adjustment.region_covariance(j);
        let over_places = evidence.spread.covariance + elsewhere;
        let covariance = by_fit
            + evidence.spread.covariance * search_share(evidence.beyond_chance).powi(2)
            + elsewhere;
        let expected = *fit.adjustment.expected();
        let told = [&over_places, &covariance].map(|c| is_told(c, &expected));
        let is_told: [bool; 5] = std::array::from_fn(|k| told[0][k] && told[1][k]);
        if !is_told.contains(&true) {
            return by_landmarks(EdgesSay::Ambiguous);
        }
        let count = landmarks.map_or(0, |l| l.landmarks);
        Self {
            fit: Some(RegionFit {
                errors,
                covariance,
                freedom: REGIONS.edge_freedom.get(),
                expected,
                landmarks: count,
                is_datum: false,
                by_reference: fit.adjustment.region_by_reference(j),
            }),
            is_told,
            method: if count > 0 {
                Method::LandmarksAndEdges
            } else {
                Method::Edges
            },
            edges: match contradiction {
                Some(c) if c.is_plain => EdgesSay::ContradictMarks(c.apart_px),
                _ => EdgesSay::Agree,
            },
            no_depth: None,
            is_by_camera: false,
            size_px: extent_px,
        }
    }

    /// What the camera that took the reference tells of a region; `None` where that is nothing.
    pub(crate) fn by_camera(region: &Region, part: &PartByCamera) -> Option<Self> {
        let mut fit = part.fit.clone();
        for k in 0..2 {
            let wider = REGIONS.sizes_by_camera.get();
            fit.covariance.row_mut(k).scale_mut(wider);
            fit.covariance.column_mut(k).scale_mut(wider);
        }
        let is_told = is_told(&fit.covariance, &fit.expected);
        let by_edges = matches!(part.edges, EdgesOfPart::Used(_));
        is_told.contains(&true).then(|| Self {
            is_told,
            method: match (by_edges, fit.landmarks) {
                (false, _) => Method::Landmarks,
                (true, 0) => Method::Edges,
                (true, _) => Method::LandmarksAndEdges,
            },
            edges: match part.edges {
                EdgesOfPart::NotLookedFor | EdgesOfPart::TooFew => EdgesSay::Nothing,
                EdgesOfPart::NoBetterThanChance => EdgesSay::NoBetterThanChance,
                EdgesOfPart::AgainstMarks => EdgesSay::LeadAway,
                EdgesOfPart::Used(_) => EdgesSay::Agree,
            },
            no_depth: None,
            is_by_camera: true,
            size_px: extent(region),
            fit: Some(fit),
        })
    }

    /// Whether this says of a size or an offset what the interval of `other` excludes.
    pub(crate) fn is_beyond(&self, other: &Self) -> bool {
        let (Some(apart), Some(fit)) = (self.apart_from(other), &other.fit) else {
            return false;
        };
        let quantile = t_quantile(0.975, fit.freedom);
        [0, 1, 3, 4].into_iter().any(|k| {
            let half_width = quantile * fit.covariance[(k, k)].max(0.0).sqrt();
            apart[k].abs() > half_width
        })
    }

    /// The errors that this says less those that `other` says; 0 where not both tell a number.
    fn apart_from(&self, other: &Self) -> Option<nalgebra::Vector5<f64>> {
        let [ours, theirs] = [&self.fit, &other.fit];
        let [ours, theirs] = [ours.as_ref()?, theirs.as_ref()?].map(|fit| fit.errors.to_array());
        let are_told = |k: usize| self.is_told[k] && other.is_told[k];
        let apart = |k: usize| ours[k] - theirs[k];
        Some(nalgebra::Vector5::from_fn(|k, _| {
            if are_told(k) { apart(k) } else { 0.0 }
        }))
    }

    /// The same with half widths that reach as far as to what `other` says where both tell a number: two ways to one figure that differ
    /// show what neither has in its interval.
    pub(crate) fn widened_by(mut self, other: &Self) -> Self {
        let apart = self.apart_from(other);
        if let (Some(own), Some(apart)) = (&mut self.fit, apart) {
            let apart = apart / t_quantile(0.975, own.freedom);
            own.covariance += apart * apart.transpose();
            self.is_told = is_told(&own.covariance, &own.expected);
        }
        self
    }

    /// The same for a part of this size.
    pub(crate) fn with_size(mut self, size_px: [f64; 2]) -> Self {
        self.size_px = size_px;
        self
    }

    /// The part's errors as far as they are clearly told, the others 0; `None` where none is told, or the part is a datum part.
    pub(crate) fn errors(&self) -> Option<RegionErrors> {
        let fit = self.fit.as_ref()?;
        let clearly = told_within(&fit.covariance, &fit.expected, REGIONS.clearly_told.get());
        let mut errors = fit.errors.to_array();
        for ((error, is_told), is_clear) in errors.iter_mut().zip(self.is_told).zip(clearly) {
            if !(is_told && is_clear) {
                *error = 0.0;
            }
        }
        let is_any = !fit.is_datum && self.is_told.contains(&true);
        is_any.then(|| RegionErrors::from_array(errors))
    }

    /// What it rests on where an offset is told, and the part is no datum part: that is to be right.
    pub(crate) fn with_offset(&self) -> Option<&RegionFit> {
        let is_told = self.is_told[3] || self.is_told[4];
        self.fit.as_ref().filter(|fit| is_told && !fit.is_datum)
    }

    /// The same with that changed, where there is something to change; the same numbers are told.
    pub(crate) fn with_fit(mut self, change: impl Fn(&RegionFit) -> Option<RegionFit>) -> Self {
        if let Some(fit) = self.with_offset().and_then(change) {
            self.fit = Some(fit);
        }
        self
    }

    /// What the noise of the reference does to each figure that is told, as half a 95 % interval.
    pub(crate) fn by_reference(&self) -> impl Iterator<Item = (MeasureKind, ByReference)> {
        let units = [100.0, 100.0, 180.0 / std::f64::consts::PI, 1.0, 1.0];
        self.fit.iter().flat_map(move |fit| {
            let quantile = t_quantile(0.975, fit.freedom);
            let told = (0..5).filter(|k| self.is_told[*k]);
            told.map(move |k| {
                let moved = fit.by_reference[k].clone();
                (MeasureKind::OF_REGION[k], moved.times(quantile * units[k]))
            })
        })
    }

    /// The same where depth looks like an offset, for this reason: then no offset is told. `None` where it does not.
    pub(crate) fn without_depth(mut self, why: Option<&'static str>) -> Self {
        if why.is_some() {
            self.is_told[3] = false;
            self.is_told[4] = false;
        }
        self.no_depth = why;
        self
    }
}

/// `REGIONS.clear_share`, growing to 1 where edges only just count.
fn search_share(beyond_chance: f64) -> f64 {
    let clear = (beyond_chance - REGIONS.least_beyond_chance.get())
        / (REGIONS.clearly_beyond_chance.get() - REGIONS.least_beyond_chance.get());
    1.0 - (1.0 - REGIONS.clear_share.get()) * clear.clamp(0.0, 1.0)
}

/// For each of five numbers: what is known of it is much narrower than what was expected.
fn is_told(covariance: &nalgebra::Matrix5<f64>, expected: &[f64; 5]) -> [bool; 5] {
    told_within(covariance, expected, REGIONS.informative.get())
}

/// The same for a deviation below `share` of what was expected.
fn told_within(covariance: &nalgebra::Matrix5<f64>, expected: &[f64; 5], share: f64) -> [bool; 5] {
    std::array::from_fn(|k| covariance[(k, k)].max(0.0).sqrt() < share * expected[k])
}

impl Evidence {
    /// The same with the reference's marks mirrored, where they help; each of `mirrored` is of the adjustment beside it: that
    /// of the landmarks, and the one with edges.
    pub(crate) fn with_symmetry(
        mut self,
        j: usize,
        mirrored: [(Option<&Mirrored>, &Adjustment); 2],
    ) -> Self {
        let ((mirrored, adjustment), method) = match self.method {
            Method::Landmarks => (mirrored[0], Method::LandmarksAndSymmetry),
            Method::LandmarksAndEdges => (mirrored[1], Method::LandmarksEdgesAndSymmetry),
            _ => return self,
        };
        let fit = self.fit.as_ref().zip(mirrored);
        if let Some(fit) = fit.and_then(|(fit, m)| m.improve(adjustment, j, fit)) {
            if self.method == Method::Landmarks {
                self.is_told = is_told(&fit.covariance, &fit.expected);
            }
            self.fit = Some(fit);
            self.method = method;
        }
        self
    }
}

/// What is not known of a part's depth where the reference's camera stands elsewhere: its edges lie before or behind the
/// plane through its landmarks by a part of its size, and the camera's shift turns that into offset and stretch.
fn depth_noise(fit: &EdgeFit, region: &Region, extent_px: [f64; 2]) -> nalgebra::Matrix5<f64> {
    let shift = fit.adjustment.state().shift;
    let shift = shift.iter().map(|s| s * s).sum::<f64>().sqrt();
    let stretch = REGIONS.depth_per_size.get() * shift;
    let offset = stretch * extent_px[0].max(extent_px[1]);
    let [x, y] = fit
        .adjustment
        .unknown_depth(&region.landmarks)
        .map(|d| REGIONS.out_of_neighbours.get() * d);
    let variances = [stretch, stretch, 0.0, offset.hypot(x), offset.hypot(y)].map(|d| d * d);
    nalgebra::Matrix5::from_diagonal(&nalgebra::SVector::from(variances))
}

/// Turns evidence into figures, a verdict and the change that they ask for.
pub(crate) fn measure(
    job: &Job,
    (view, j): (&View, usize),
    evidence: &Evidence,
    (scales, adjustment): (&ScaleStudy, &Adjustment),
    edge_overlap: Option<EdgeOverlap>,
) -> (RegionMeasure, Option<Correction>) {
    let region = &view.regions[j];
    let fit = evidence.fit.as_ref();
    let figure = |k: usize, unit: f64| -> Option<Measured> {
        let fit = fit.filter(|_| evidence.is_told[k])?;
        let deviation = fit.covariance[(k, k)].max(0.0).sqrt();
        Measured::from_deviation(fit.errors.to_array()[k], deviation, fit.freedom)
            .map(|m| m.times(unit))
    };
    let size_px = evidence.size_px;
    let offset_px = [figure(3, 1.0), figure(4, 1.0)];
    let told = |number: usize| {
        let fit = fit.filter(|_| evidence.is_told[number])?;
        Some(RegionNumber {
            region: j,
            number,
            fit,
        })
    };
    let model = scales.model.as_ref();
    let offset_model_mm = [3, 4].map(|k| model?.of_region(adjustment, told(k)?));
    let n = job.scale.denominator();
    let absolute =
        [0, 1].map(|axis| absolute::size(adjustment, scales, n, told(axis)?, size_px[axis]));
    let mut measure = RegionMeasure {
        name: region.name.clone(),
        method: Method::None,
        width_percent: figure(0, 100.0),
        height_percent: figure(1, 100.0),
        rotation_deg: figure(2, 180.0 / std::f64::consts::PI),
        offset_px,
        offset_model_mm,
        offset_full_size_mm: offset_model_mm.map(|m| m.map(|m| m.times(n))),
        absolute_percent: absolute.map(|a| a.map(|[percent, _]| percent)),
        absolute_model_mm: absolute.map(|a| a.map(|[_, mm]| mm)),
        size_px,
        size_model_mm: model.map(|model| size_px.map(|s| s * model.mm_per_px)),
        edge_overlap,
        verdict: Verdict::Undecided,
        times_tolerance: 0.0,
        sureness: String::new(),
        changes: Vec::new(),
        pivot: None,
        correction: None,
        note: region.note.clone(),
    };
    if figures(&measure).next().is_some() {
        measure.method = evidence.method;
    }
    measure.verdict = judge(region, &measure, model.is_some());
    measure.times_tolerance = ranking::of_region(&measure, &region.tolerance);
    measure.sureness = sureness(&measure, evidence);
    measure.changes = correction::changes_of_region(job, &region.tolerance, &measure);
    let pivot = fit.zip(model).and_then(|(fit, model)| {
        pivot::of_region(
            job,
            (view, region),
            (fit, model.mm_per_px),
            &measure.changes,
        )
    });
    if pivot.is_some() {
        measure.changes.retain(|c| !pivot::is_move(c.measure));
    }
    measure.pivot = pivot;
    let correction = correction::of_region(region, &measure);
    measure.correction = correction.as_ref().map(|c| c.text.clone());
    (measure, correction)
}

/// Width and height of the outline's box.
fn extent(region: &Region) -> [f64; 2] {
    range_of(region.outline.iter().copied())
}

/// Width and height of a part, render pixels: of its marks along an axis where they span enough of its outline, else of its edge
/// points where there are some, else of the outline, which may be drawn generously.
pub(crate) fn part_size(view: &View, region: &Region, edges: Option<&OnEdges>) -> [f64; 2] {
    let outline = extent(region);
    let marks = region.landmarks.iter().map(|&i| view.landmarks[i].render);
    let marks = range_of(marks);
    let edges = edges.and_then(OnEdges::extent);
    [0, 1].map(|axis| {
        let of_edges = edges.map(|[low, high]| (high[axis] - low[axis]).min(outline[axis]));
        if marks[axis] >= REGIONS.spanned_by_marks.get() * outline[axis] {
            marks[axis]
        } else {
            of_edges
                .filter(|e| *e > marks[axis])
                .unwrap_or(outline[axis])
        }
    })
}

/// Width and height of the box around points; not above 0 of none.
fn range_of(points: impl Iterator<Item = Point<RenderPx>> + Clone) -> [f64; 2] {
    let range = |of: fn(&Point<RenderPx>) -> f64| {
        let values = points.clone().map(|p| of(&p));
        let low = values.clone().fold(f64::INFINITY, f64::min);
        values.fold(f64::NEG_INFINITY, f64::max) - low
    };
    [range(|p| p.x), range(|p| p.y)]
}

fn figures(measure: &RegionMeasure) -> impl Iterator<Item = Measured> + '_ {
    [
        measure.width_percent,
        measure.height_percent,
        measure.rotation_deg,
    ]
    .into_iter()
    .chain(measure.offset_px)
    .flatten()
}

/// The worst verdict of all figures; a figure that cannot be told leaves the region undecided.
fn judge(region: &Region, measure: &RegionMeasure, has_scale: bool) -> Verdict {
    let tolerance = &region.tolerance;
    let of = |error: Option<Measured>, limit: f64| {
        error.map_or(Verdict::Undecided, |e| verdict::judge(e, limit))
    };
    let mut all = vec![
        of(measure.width_percent, tolerance.proportion_percent),
        of(measure.height_percent, tolerance.proportion_percent),
        of(measure.rotation_deg, tolerance.angle_deg),
    ];
    if has_scale {
        all.extend(
            measure
                .offset_model_mm
                .map(|error| of(error, tolerance.offset.0)),
        );
    }
    verdict::worst(all).unwrap_or(Verdict::Undecided)
}

/// Why the figures are sure or not.
fn sureness(measure: &RegionMeasure, evidence: &Evidence) -> String {
    let edges = match evidence.edges {
        EdgesSay::Nothing => "too few edges".to_owned(),
        EdgesSay::NoBetterThanChance => {
            "its edges fit the reference no better than displaced ones".to_owned()
        }
        EdgesSay::Ambiguous => "its edges fit at several places".to_owned(),
        EdgesSay::Agree => "edges used".to_owned(),
        EdgesSay::LeadAway => {
            "its edges lead away from its marks and are not used: look at both".to_owned()
        }
        EdgesSay::ContradictMarks(px) => {
            format!("edges used, which contradict its marks by {px:.1} px: look at both")
        }
    };
    let Some(fit) = &evidence.fit else {
        return format!(
            "cannot tell: no landmarks of its own, {edges}; mark three or more on it, far apart"
        );
    };
    let marks = match fit.landmarks {
        0 => "no landmarks".to_owned(),
        1 => "1 landmark".to_owned(),
        n => format!("{n} landmarks"),
    };
    let marks = match measure.method {
        Method::LandmarksAndSymmetry | Method::LandmarksEdgesAndSymmetry => {
            format!("{marks}, and mirrored ones")
        }
        _ => marks,
    };
    let basis = if fit.is_datum {
        "datum part, judged by the other datum landmarks".to_owned()
    } else if evidence.is_by_camera {
        format!("{edges}; by the camera that took the photo")
    } else {
        edges.clone()
    };
    let offset = match measure.offset_px.map(|offset| offset.is_none()) {
        [true, true] => "offset",
        [true, false] => "offset x",
        [false, true] => "offset y",
        [false, false] => "",
    };
    let missing: Vec<&str> = [
        (measure.width_percent.is_none(), "width"),
        (measure.height_percent.is_none(), "height"),
        (measure.rotation_deg.is_none(), "rotation"),
        (!offset.is_empty() && evidence.no_depth.is_none(), offset),
    ]
    .into_iter()
    .filter_map(|(is_missing, name)| is_missing.then_some(name))
    .collect();
    let depth = evidence.no_depth.map_or_else(String::new, |why| {
        format!("; cannot tell offset from depth: {why}")
    });
    if figures(measure).next().is_none() {
        return format!(
            "cannot tell: {marks}, too few or too uncertain; {basis}; mark more, far apart{depth}"
        );
    }
    match missing.is_empty() {
        true => format!("{marks}; {basis}{depth}"),
        false => format!(
            "{marks}; {basis}; cannot tell {}: mark more, far apart{depth}",
            missing.join(", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn millimetres_refer_to_the_marks_however_generous_the_outline() {
        let size = |outline: &str| {
            let text = format!(
                r#"{{"title": "t", "scale": "1:32", "views": [{{"name": "a",
                "render": {{"image": "a.png"}}, "reference": {{"image": "b.png", "kind": "plan"}},
                "landmarks": [{{"name": "a", "render": [100, 100], "reference": [0, 0]}},
                    {{"name": "b", "render": [180, 110], "reference": [80, 10]}}],
                "regions": [{{"name": "part", "landmarks": ["a", "b"], "outline": {outline}}}]}}]}}"#
            );
            let job = crate::job::parse(text.as_bytes(), std::path::Path::new("t.json"));
            let view = job.expect("sound").views.remove(0);
            part_size(&view, &view.regions[0], None)
        };
        // Along y the marks say nothing of how high the part is.
        assert_eq!(
            size("[[95, 60], [185, 60], [185, 160], [95, 160]]"),
            [80.0, 100.0]
        );
        assert_eq!(
            size("[[70, 60], [210, 60], [210, 160], [70, 160]]"),
            [80.0, 100.0]
        );
        assert_eq!(
            size("[[10, 60], [210, 60], [210, 160], [10, 160]]"),
            [200.0, 100.0]
        );
    }

    /// What is known of a part, with a standard deviation of 0.01 or 1 px in each number; the rotation is not told.
    fn evidence(errors: [f64; 5]) -> Evidence {
        let deviations = nalgebra::Vector5::from([0.01, 0.01, 0.01, 1.0, 1.0]);
        Evidence {
            fit: Some(RegionFit {
                errors: RegionErrors::from_array(errors),
                covariance: nalgebra::Matrix5::from_diagonal(&deviations.map(|d| d * d)),
                freedom: f64::INFINITY,
                expected: [0.05, 0.05, 0.011, 10.0, 10.0],
                landmarks: 4,
                is_datum: false,
                by_reference: Default::default(),
            }),
            is_told: [true, true, false, true, true],
            method: Method::Landmarks,
            edges: EdgesSay::Nothing,
            no_depth: None,
            is_by_camera: true,
            size_px: [100.0, 100.0],
        }
    }

    #[test]
    fn where_two_ways_differ_the_interval_reaches_from_one_to_the_other() {
        let half_widths = |of: &Evidence| {
            let covariance = of.fit.as_ref().expect("told").covariance;
            [0, 1, 2, 3, 4].map(|k| 1.96 * covariance[(k, k)].sqrt())
        };
        let [own, other] = [[0.0; 5], [0.0, 0.03, 1.0, 2.0, 0.0]].map(evidence);
        let before = half_widths(&own);
        let after = half_widths(&own.widened_by(&other));
        for (k, apart) in [0.0, 0.03, 0.0, 2.0, 0.0].into_iter().enumerate() {
            assert!(
                (after[k] - before[k].hypot(apart)).abs() < 1e-3 * after[k],
                "{k}: {after:?}"
            );
        }
        // So wide that it says little beyond what was expected, a number is not told any more.
        let far = evidence([0.0, 0.0, 0.0, 40.0, 0.0]);
        let own = evidence([0.0; 5]).widened_by(&far);
        assert_eq!(own.is_told, [true, true, false, false, true]);
    }

    #[test]
    fn edges_that_barely_beat_chance_keep_the_whole_spread() {
        for (beyond_chance, share) in [(1.5, 1.0), (2.75, 0.8), (4.0, 0.6), (7.0, 0.6)] {
            assert!((search_share(beyond_chance) - share).abs() < 1e-12);
        }
    }
}
