//! The program killed at random moments: results are old or new as a whole, no mark and no job that was acknowledged is
//! lost, files of the user stay, and the next run leaves nothing over.
//!
//! `TICKSTRIP_KILLS` is the number of moments for each command, a few where it is not set.
mod comparing;
mod marking;
mod moments;
mod serving;
