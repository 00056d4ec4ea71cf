//! Landmarks that are proposed on the marking page: over HTTP, and taken one after another on the demo.
mod page;
mod taken;
mod truth;
