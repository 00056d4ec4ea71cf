//! What proposals are made from, and what is told of a place in the reference.
use super::seen::Seen;
use crate::{
    job::View,
    registration::{Prediction, Registered},
};

/// What proposals are made from.
pub struct Asked<'a> {
    /// The view with its marks so far.
    pub view: &'a View,
    /// Width and height of the render.
    pub render_size: (u32, u32),
    /// What its render shows well.
    pub seen: &'a Seen,
    /// The registration of its marks, where they carry one.
    pub registered: Option<&'a Registered>,
    /// Names that are taken beside those of the view's landmarks.
    pub names: Vec<String>,
    /// Places of the render at which nothing is to be proposed, beside those of the view's landmarks.
    pub passed_over: Vec<[f64; 2]>,
}

/// A place in the reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ExpectedPlace {
    /// The place with its 95 % ellipse, reference px.
    pub prediction: Prediction,
    /// Whether the reference showed it there; else it is where the other marks say.
    pub is_refined: bool,
}
