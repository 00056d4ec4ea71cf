//! What each setting of the methods does to errors and intervals, halved and doubled: a table in Markdown.
use super::{
    lengths, marks, of_cases,
    outcome::{OFFSETS, Outcome, SIZES, percent, root_mean_square},
    photos, pictures,
};
use tickstrip::settings::Setting;

/// A kind of cases: its name, one of them by its seed, and how many are drawn for each of the pictures' cases.
struct Kind {
    name: &'static str,
    case: fn(u64) -> Outcome,
    times: u64,
}

const KINDS: [Kind; 4] = [
    Kind {
        name: "pictures",
        case: pictures::one,
        times: 1,
    },
    Kind {
        name: "photos",
        case: photos::one,
        times: 1,
    },
    Kind {
        name: "marks",
        case: marks::one,
        times: 3,
    },
    Kind {
        name: "lengths",
        case: lengths::one,
        times: 3,
    },
];

/// The place in [`KINDS`] of the cases that settings of this method can act on.
fn kind_of(method: &str) -> usize {
    match method {
        "rectification" | "bezel" => 1,
        "adjustment" | "checks" => 2,
        "lengths" => 3,
        _ => 0,
    }
}

/// Prints a row for each setting of these methods (all where none is named): the program's own value first.
pub fn print(methods: &[String], cases: u64, seed: u64) {
    let of = |kind: &Kind| in_words(&of_cases(kind.case, cases * kind.times, seed));
    println!(
        "Each cell: intervals that hold (sizes / offsets, %), error rms (sizes % / offsets px), parts with an"
    );
    println!(
        "answer %, wrong marks found / good ones accused %. \"same\": not one figure differs.\n"
    );
    println!("| setting | value | unit | source | cases | halved | doubled |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    let own: Vec<String> = KINDS.iter().map(of).collect();
    for (kind, words) in KINDS.iter().zip(&own) {
        println!("| all as they are | | | | {} | {words} | |", kind.name);
    }
    for setting in tickstrip::all_settings() {
        let method = setting.name().split('.').next().unwrap_or_default();
        if !methods.is_empty() && !methods.iter().any(|m| m == method) {
            continue;
        }
        let (kind, as_it_is) = (&KINDS[kind_of(method)], &own[kind_of(method)]);
        let [halved, doubled] = [0.5, 2.0].map(|factor| {
            setting.vary(factor);
            let words = of(kind);
            setting.vary(1.0);
            if words == *as_it_is {
                "same".to_owned()
            } else {
                words
            }
        });
        println!("{} {} | {halved} | {doubled} |", row(setting), kind.name);
    }
}

/// The cells that are the setting's own.
fn row(setting: &Setting) -> String {
    format!(
        "| {} | {} | {} | {} |",
        setting.name(),
        (setting.value() * 1e4).round() / 1e4,
        setting.unit(),
        setting.source()
    )
}

fn in_words(all: &Outcome) -> String {
    let held = |k: usize| percent(all.held[k], all.given[k]);
    // Where there are no offsets, as of known lengths, their figures are those of nothing.
    format!(
        "{:.1} / {:.1}; {:.2} / {:.2}; {:.0}; {:.0} / {:.1}",
        held(SIZES),
        held(OFFSETS),
        root_mean_square(&all.size_percent),
        root_mean_square(&all.offset_px).abs(),
        percent(all.answered, all.parts),
        percent(all.found, all.wrong),
        percent(all.accused, all.good)
    )
}
