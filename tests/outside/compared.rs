//! A job of one view, measured as `compare` measures it, without drawing.
use serde_json::Value;
use std::path::Path;
use tickstrip::{
    images::{Limits, read_view},
    job::{self, Job},
    measurement::{MeasuredView, Warning, look_for_frame, measure},
    registration::{register, straightening},
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
    let (size, reference_size) = (
        images.render.rgb.dimensions(),
        images.reference.rgb.dimensions(),
    );
    let straighten = view.reference.straighten.as_ref();
    let frame = straighten.and_then(|s| look_for_frame(s, &images.reference.rgb));
    let straightening = straightening(view, reference_size, frame.as_ref())
        .expect("a plane and lines that tell it");
    let registered = register(view, job.expected, size, straightening.as_ref())
        .expect("the marks carry a registration");
    let measured = measure(&job, view, images, registered);
    (job, measured)
}

/// The warnings with this code.
pub fn warned<'a>(measured: &'a MeasuredView, code: &'a str) -> impl Iterator<Item = &'a Warning> {
    let all = measured.measurement.warnings.iter();
    all.filter(move |w| w.code == code)
}
