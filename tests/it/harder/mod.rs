//! Cases that are harder than sharp-edged parts with good marks, each with known truth: rounded parts, a datum part that
//! is altered, places on the model with errors. What counts is that no figure is wrong in silence, and that figures are
//! given: a program that always says "cannot tell" fails.
mod altered_datum;
mod lit;
mod places;
mod rounded;
mod tally;
mod textured;
