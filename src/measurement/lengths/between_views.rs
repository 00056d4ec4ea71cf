//! Whether the known lengths of several views can all be meant: the views show one model at one scale.
use super::{
    plausible::PLAUSIBLE,
    scales::{KnownMarks, study},
};
use crate::{
    job::{Job, View},
    registration::Adjustment,
    units::unit_between,
};
use serde::{Deserialize, Serialize};
use std::{collections::HashMap, path::Path};

/// Of renders that differ, both the pixel and what is marked may differ so much on the model before it is asked about (a
/// judgement): a view from in front shows less than one from the side, and a detail is drawn larger.
const SEVERAL: f64 = 6.0;

/// How large the known lengths of a view make the model.
#[derive(Clone, Copy, Debug)]
pub struct ViewScale<'a> {
    /// The view's name.
    pub view: &'a str,
    /// Its render's file; `None` where that is drawn.
    pub image: Option<&'a Path>,
    /// What the known lengths say.
    pub marked: MarkedScale,
}

/// How large the known lengths of a view make what is marked in its render.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct MarkedScale {
    /// Millimetres on the model that a pixel of the render has.
    pub model_mm_per_px: f64,
    /// The length of what is marked, on the model, millimetres: from end to end of the box around all landmarks.
    pub marked_mm: f64,
}

impl MarkedScale {
    /// Of a view, by the length of a pixel of its render on the model, millimetres.
    pub fn new(view: &View, model_mm_per_px: f64) -> Self {
        let side = |k: usize| {
            let marks = view.landmarks.iter().map(|l| l.render.xy()[k]);
            let range = marks.fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], v| {
                [low.min(v), high.max(v)]
            });
            (range[1] - range[0]).max(0.0)
        };
        Self {
            model_mm_per_px,
            marked_mm: side(0).hypot(side(1)) * model_mm_per_px,
        }
    }
}

impl<'a> ViewScale<'a> {
    /// By the marks of a view whose reference is registered; `None` where nothing tells a scale.
    pub fn of(job: &Job, view: &'a View, adjustment: &Adjustment) -> Option<Self> {
        let marks = KnownMarks::new(view, adjustment);
        let figures = study(job, view, &marks).figures;
        let model_mm_per_px = figures.model_mm_per_render_px(job.scale)?.value();
        Some(Self {
            view: &view.name,
            image: view.render.image.file(),
            marked: MarkedScale::new(view, model_mm_per_px),
        })
    }
}

/// Two views that disagree.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ViewsDisagree<'a> {
    /// The view that is held against another.
    pub view: &'a str,
    /// What was found, what to do: a sentence without its full stop.
    pub text: String,
}

/// The views whose known lengths make the model several times as large as those of another view, at most one for each: each is
/// held against an earlier one of the same render, whose pixels are as long, and against the middle one of all.
pub fn views_that_disagree<'a>(scales: &[ViewScale<'a>]) -> Vec<ViewsDisagree<'a>> {
    // Each drawn render is one of its own.
    let mut first_of: HashMap<(Option<&Path>, Option<&str>), &ViewScale<'a>> = HashMap::new();
    let middle = middle(scales);
    let mut found = Vec::new();
    for scale in scales {
        let own_name = scale.image.is_none().then_some(scale.view);
        let first = *first_of.entry((scale.image, own_name)).or_insert(scale);
        let text = of_one_render(scale, first)
            .or_else(|| middle.and_then(|middle| of_two_renders(scale, middle)));
        found.extend(text.map(|text| ViewsDisagree {
            view: scale.view,
            text,
        }));
    }
    found
}

/// The view of middle size, the earlier one where there are two.
fn middle<'a, 's>(scales: &'s [ViewScale<'a>]) -> Option<&'s ViewScale<'a>> {
    let mut by_size: Vec<&ViewScale<'a>> = scales.iter().collect();
    if let [first, _] = scales {
        return Some(first);
    }
    by_size.sort_by(|a, b| a.marked.marked_mm.total_cmp(&b.marked.marked_mm));
    by_size.get(by_size.len().saturating_sub(1) / 2).copied()
}

fn of_one_render(scale: &ViewScale<'_>, other: &ViewScale<'_>) -> Option<String> {
    let ratio = scale.marked.model_mm_per_px / other.marked.model_mm_per_px;
    (times(ratio) >= PLAUSIBLE && ratio.is_finite()).then(|| {
        format!(
            "the views \"{}\" and \"{}\" have one render, and by the known lengths its pixel is {} mm long on the model in one and \
             {} mm in the other: {}",
            scale.view,
            other.view,
            digits(scale.marked.model_mm_per_px),
            digits(other.marked.model_mm_per_px),
            advice(ratio, ratio)
        )
    })
}

fn of_two_renders(scale: &ViewScale<'_>, other: &ViewScale<'_>) -> Option<String> {
    let pixel = scale.marked.model_mm_per_px / other.marked.model_mm_per_px;
    let marked = scale.marked.marked_mm / other.marked.marked_mm;
    let is_alike = (pixel > 1.0) == (marked > 1.0);
    let is_far = times(pixel) >= SEVERAL && times(marked) >= SEVERAL;
    (is_alike && is_far && marked.is_finite()).then(|| {
        format!(
            "by the known lengths what is marked in the view \"{}\" is {} on the model, and in \"{}\" {}: {}",
            scale.view,
            millimetres(scale.marked.marked_mm),
            other.view,
            millimetres(other.marked.marked_mm),
            advice(pixel, marked)
        )
    })
}

/// How many times, whichever is the larger one.
fn times(ratio: f64) -> f64 {
    ratio.max(1.0 / ratio)
}

fn millimetres(length: f64) -> String {
    let digits = if length < 10.0 { 2 } else { 0 };
    format!("{length:.digits$} mm long")
}

/// Four decimals, or as many digits where the length is shorter.
fn digits(length: f64) -> String {
    match length {
        0.001.. => format!("{length:.4}"),
        _ => format!("{length:.3e}"),
    }
}

/// The likely unit, by the ratio of the pixels or else of what is marked.
fn advice(pixel: f64, marked: f64) -> String {
    let (pixel, marked) = (times(pixel), times(marked));
    match unit_between(pixel).or_else(|| unit_between(marked)) {
        Some((factor, units)) => format!(
            "about {factor} times as much, as between {units}; see whether a known length of one of the two has another unit"
        ),
        None => format!(
            "{marked:.1} times as much; see whether a known length of one of the two has another unit, or is marked at the wrong ends"
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::job;

    /// Views whose render has this name and whose landmarks reach over so many pixels.
    fn job(views: &[(&str, f64)]) -> Job {
        let view = |(i, (render, px)): (usize, &(&str, f64))| {
            format!(
                r#"{{"name":"v{i}","render":{{"image":"{render}"}},"reference":{{"image":"p.png"}},"landmarks":[
                {{"name":"a","render":[0,0],"reference":[0,0]}},{{"name":"b","render":[{px},0],"reference":[9,0]}}]}}"#
            )
        };
        let views: Vec<String> = views.iter().enumerate().map(view).collect();
        let text = format!(
            r#"{{"title":"t","scale":"1:24","views":[{}]}}"#,
            views.join(",")
        );
        job::parse(text.as_bytes(), Path::new("t.json")).expect("sound")
    }

    /// What is found where a pixel of each view has this length on the model.
    fn found(views: &[(&str, f64)], model_mm_per_px: &[f64]) -> Vec<(String, String)> {
        let job = job(views);
        let scales = job.views.iter().zip(model_mm_per_px);
        let scales = scales.map(|(view, &model_mm_per_px)| ViewScale {
            view: &view.name,
            image: view.render.image.file(),
            marked: MarkedScale::new(view, model_mm_per_px),
        });
        let scales: Vec<_> = scales.collect();
        let found = views_that_disagree(&scales).into_iter();
        found.map(|f| (f.view.to_owned(), f.text)).collect()
    }

    #[test]
    fn views_of_about_one_size_and_details_drawn_larger_are_not_asked_about() {
        // A front less wide than a side, each filling its picture.
        assert!(found(&[("a.png", 900.0), ("b.png", 900.0)], &[0.1, 0.03]).is_empty());
        // A detail at the same zoom.
        assert!(found(&[("a.png", 900.0), ("b.png", 60.0)], &[0.1, 0.1]).is_empty());
        assert!(views_that_disagree(&[]).is_empty() && found(&[("a.png", 9.0)], &[0.1]).is_empty());
        assert!(found(&[("a.png", 900.0), ("a.png", 900.0)], &[0.1, 0.13]).is_empty());
    }

    #[test]
    fn a_view_in_another_unit_is_held_against_the_middle_one_of_all() {
        let views = [("a.png", 900.0), ("b.png", 400.0), ("c.png", 900.0)];
        let found = found(&views, &[0.1, 2.54, 0.09]);
        assert_eq!(found.len(), 1, "{found:?}");
        let words = "what is marked in the view \"v1\" is 1016 mm long on the model, and in \"v0\" 90 mm long: about 25.4 times as much, as between millimetres and inches";
        assert!(
            found[0].0 == "v1" && found[0].1.contains(words),
            "{found:?}"
        );
    }

    #[test]
    fn of_one_render_smaller_factors_are_seen() {
        let found = found(&[("a.png", 900.0), ("a.png", 900.0)], &[0.1, 0.254]);
        assert_eq!(found.len(), 1, "{found:?}");
        let words = "the views \"v1\" and \"v0\" have one render, and by the known lengths its pixel is 0.2540 mm long on the model in one and 0.1000 mm in the other: about 2.54 times as much, as between centimetres and inches";
        assert!(found[0].1.contains(words), "{found:?}");
    }
}
