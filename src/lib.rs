//! Measures a scale model's render against a picture of the full-size object.
//!
//! Data flows one way: job file, images, rectification, registration, measurement, drawing, report.
pub mod cli;
pub mod drawing;
mod edges;
pub mod frame;
pub mod images;
pub mod job;
pub mod kernels;
pub mod measurement;
pub mod pipeline;
pub mod printable;
pub mod rectification;
pub mod registration;
pub mod report;
pub mod service;
pub mod statistics;
pub mod stop;
pub mod units;
pub mod warning;
