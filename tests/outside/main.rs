//! Checks against data, standards and libraries from outside the project, one file a source.
mod reference;

mod bezels;
mod colour;
mod common_practice;
mod compared;
mod exif_orientation;
mod golden_kernels;
mod golden_measures;
mod golden_transforms;
mod kernel_peers;
mod known_lengths;
mod photo_and_cad;
mod planar_marks;
mod published_homographies;
mod quantiles;
mod rectification;
mod standards;
mod views;
mod worked_examples;
