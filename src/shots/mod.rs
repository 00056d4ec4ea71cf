//! Several shots of one scene, such as a screen, made one picture with less noise and moire: each is laid over the first one by what it
//! shows, and the mean is taken pixel by pixel without what stands apart.
//!
//! Shots come one after the other and none is kept: memory does not grow with their number.
#![doc = include_str!("METHOD.md")]
mod align;
mod average;
mod noise;
pub(crate) mod settings;
#[cfg(test)]
mod tests;

pub use align::Unaligned;
pub use average::{Average, BYTES_A_PIXEL, BYTES_TO_ALIGN};
pub use noise::Noise;
