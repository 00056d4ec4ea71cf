//! A job of one view, measured as `compare` measures it, without drawing.
use serde_json::Value;
use std::path::Path;
use tickstrip::{
    images::{Limits, read_view},
    job::{self, Job},
    measurement::{MeasuredView, Warning, measure},
    rectification::look_for_bezel,
    registration::lay_over,
};

/// The job and what is measured in its first view. Image paths of the job are absolute.
pub fn compare(job: &Value) -> (Job, MeasuredView) {
    let job = job::parse(job.to_string().as_bytes(), Path::new("/job.json"));
    let job = job.expect("a sound job");
    let view = &job.views[0];
    let images = read_view(
        view,
        &Limits {
            max_pixels: 10_000_000,
        },
    )
    .expect("both images can be read");
    let sizes = [&images.render.rgb, &images.reference.rgb].map(|picture| picture.dimensions());
    let rectify = view.reference.rectify.as_ref();
    let bezel = rectify.and_then(|s| look_for_bezel(s, &images.reference.rgb));
    let laid_over = lay_over(view, job.expected, sizes, bezel.as_ref())
        .expect("a plane and marks that carry a registration");
    let measured = measure(&job, view, images, laid_over.registered);
    (job, measured)
}

/// The warnings with this code.
pub fn warned<'a>(measured: &'a MeasuredView, code: &'a str) -> impl Iterator<Item = &'a Warning> {
    let all = measured.measurement.warnings.iter();
    all.filter(move |w| w.code == code)
}
