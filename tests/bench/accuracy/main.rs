//! How near to the truth the figures come, on pictures that it draws: `cargo bench --bench accuracy [-- CASES SEED]`.
//!
//! Each case has a trusted body with datum marks and three parts, altered at random, with none, two and four marks of
//! their own; the reference has other light, noise and clutter, and one mark in twenty is set wrong by 10 to 60 px.
//!
//! `cargo bench --bench accuracy -- --sensitivity [METHODS] [CASES SEED]` tells instead what each setting of the methods does to
//! that, halved and doubled ([`sensitivity`]).
#![allow(clippy::print_stdout, reason = "it is a program")]
mod lengths;
mod marks;
mod outcome;
mod photos;
mod pictures;
mod sensitivity;
#[path = "../../it/support/mod.rs"]
#[allow(dead_code, reason = "shared with the tests")]
mod support;

use outcome::{OFFSETS, Outcome, SIZES, median, percent, root_mean_square};
use rayon::prelude::*;

/// What the cases of a kind give together.
fn of_cases(case: impl Fn(u64) -> Outcome + Sync, cases: u64, seed: u64) -> Outcome {
    let outcomes: Vec<Outcome> = (0..cases)
        .into_par_iter()
        .map(|k| case(seed * 100_000 + k + 1))
        .collect();
    Outcome::joined(outcomes)
}

fn main() {
    let numbers: Vec<u64> = std::env::args().filter_map(|a| a.parse().ok()).collect();
    let (cases, seed) = (
        *numbers.first().unwrap_or(&60),
        *numbers.get(1).unwrap_or(&1),
    );
    if std::env::args().any(|a| a == "--sensitivity") {
        let methods: Vec<String> = std::env::args()
            .skip(1)
            .filter(|a| !a.starts_with("--") && a.parse::<u64>().is_err())
            .collect();
        return sensitivity::print(&methods, cases, seed);
    }
    let all = of_cases(pictures::one, cases, seed);
    println!("{cases} cases, seed {seed}");
    println!(
        "parts with an answer        {:5.1} %",
        percent(all.answered, all.parts)
    );
    for (name, errors, unit) in [
        ("size", &all.size_percent, "%"),
        ("offset", &all.offset_px, "px"),
    ] {
        println!(
            "{:<28}{:5.2}, {:.2} {unit}",
            format!("{name} error rms, median"),
            root_mean_square(errors),
            median(errors)
        );
    }
    println!(
        "intervals hold size, offset {:5.1}, {:.1} %",
        percent(all.held[SIZES], all.given[SIZES]),
        percent(all.held[OFFSETS], all.given[OFFSETS])
    );
    println!(
        "wrong found, good accused   {:5.1}, {:.1} %",
        percent(all.found, all.wrong),
        percent(all.accused, all.good)
    );
    println!("off told from right (AUC)   {:5.2}", all.ranking());
}
