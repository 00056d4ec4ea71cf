//! Cases that are harder than sharp-edged parts with good marks, each with known truth: rounded parts, a datum part that
//! is altered, places on the model with errors. What counts is that no figure is wrong in silence.
#[path = "../drawn/mod.rs"]
#[allow(dead_code, reason = "shared with other tests")]
mod drawn;
#[path = "../outside/views.rs"]
#[allow(dead_code, reason = "shared with the outside checks")]
mod views;

mod altered_datum;
mod places;
mod rounded;
mod tally;
