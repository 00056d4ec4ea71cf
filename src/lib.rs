//! Measures a scale model's render against a picture of the full-size object.
//!
//! Data flows one way: job file, images, rectification, registration, measurement, drawing, report. The figures of a job
//! without its pictures:
//!
//! ```
//! use tickstrip::{contour, images::{self, Limits}, job, measurement, registration};
//!
//! let job = job::read("fixtures/demo/pump.json".as_ref())?;
//! for view in &job.views {
//!     let images = images::read_view(view, &Limits::default())?;
//!     let sizes = [&images.render, &images.reference].map(|image| image.rgb.dimensions());
//!     let view = &contour::seen(view, &images.render.rgb);
//!     let laid_over = registration::lay_over(view, job.expected, sizes, None)?;
//!     let measured = measurement::measure(&job, view, images, laid_over.registered);
//!     for region in &measured.measurement.regions {
//!         let Some(width) = region.width_percent else { continue };
//!         println!("{}: {:+.2} % ({:+.2} to {:+.2})", region.name, width.value(), width.low(), width.high());
//!     }
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! `pipeline::compare` does all of it and writes the folder of results. A job is made in code by
//! [`Job::builder`](job::Job::builder); `tests/examples/` has two whole programs.
//!
//! # Features
//!
//! All are on by default; without any, the crate gives figures and reports as data, JSON, CSV and HTML.
//!
//! - `draw`: the modules `drawing` and `pipeline`: pictures, sheets, the folder of results.
//! - `service`: the module `service`: the marking page and the comparison over HTTP. Brings `draw`.
//! - `cli`: the modules `cli` and `plan`, and the program. Brings `service`.
pub mod carry;
#[cfg(feature = "cli")]
pub mod cli;
pub mod contour;
#[cfg(feature = "draw")]
pub mod drawing;
pub mod drawn;
mod edges;
pub mod frame;
pub mod images;
pub mod job;
pub mod kernels;
pub mod measurement;
pub mod meshes;
#[cfg(feature = "draw")]
pub mod pipeline;
#[cfg(feature = "cli")]
pub mod plan;
pub mod printable;
pub mod proposal;
pub mod rectification;
pub mod registration;
pub mod report;
#[cfg(feature = "service")]
pub mod service;
pub mod settings;
pub mod shots;
pub mod statistics;
pub mod stop;
pub mod units;
pub mod warning;

/// What the methods go by: every number that somebody chose, with its meaning, unit and source.
pub fn all_settings() -> Vec<&'static settings::Setting> {
    [
        carry::settings::CARRY.all(),
        contour::settings::CONTOUR.all(),
        rectification::settings::all(),
        registration::adjustment::settings::ADJUSTMENT.all(),
        registration::checks::settings::CHECKS.all(),
        registration::space::settings::SPACE.all(),
        drawn::settings::DRAWN.all(),
        edges::settings::EDGES.all(),
        measurement::settings::all(),
        #[cfg(feature = "cli")]
        plan::settings::PLAN.all(),
        proposal::settings::PROPOSAL.all(),
        report::revision::settings::REVISION.all(),
        shots::settings::SHOTS.all(),
    ]
    .concat()
}
