//! Checks against data, standards and libraries from outside the project, one file a source.
//!
//! A crate of its own, so that it is run, and seen to be skipped, by itself; it builds its views with what the crate `it`
//! has for that.
#[path = "../it/support/mod.rs"]
#[allow(dead_code, reason = "shared with the crate `it`")]
mod support;

use support::{compared, pdf, reference, views};

mod archives;
mod bezels;
mod carried_marks;
mod colour;
mod common_practice;
mod drawing_paper;
mod exif_orientation;
mod golden;
mod golden_kernels;
mod golden_measures;
mod golden_transforms;
mod in_space;
mod kernel_peers;
mod known_lengths;
mod photo_and_cad;
mod plan_pages;
mod planar_marks;
mod published_homographies;
mod quantiles;
mod rectification;
mod sheets;
mod space_chessboards;
mod space_dbat;
mod space_dragon_cube;
mod space_duarte;
mod space_fountain;
mod space_golden;
mod space_lab_targets;
mod space_mikhail;
mod space_networks;
mod space_rubik;
mod space_teabox;
mod space_visp_cube;
mod standards;
mod worked_examples;
mod wrong_marks;
