//! A revision as a table for spreadsheets.
use super::{
    entry::RevisionEntry,
    words::{measure_word, part_word},
};
use crate::report::{
    csv::{cell, number},
    json::Figure,
};

const HEAD: &str = "view,kind,name,measure,unit,before,before low,before high,after,after low,after high,\
                    difference,difference low,difference high,less off,less off low,less off high,tolerance,change";

/// What became of each figure, one a row, in the form of [`to_csv`](crate::report::to_csv).
pub fn revision_to_csv(revision: &RevisionEntry) -> String {
    let mut rows = format!("{HEAD}\r\n");
    for view in &revision.views {
        for m in &view.measures {
            let (kind, measure) = (part_word(m.of), measure_word(m.measure));
            let texts = [&view.name, kind, &m.name, measure, &m.unit].map(cell);
            let figures = [m.before, m.after, m.difference, m.less_off];
            let numbers = figures.iter().flat_map(ends).chain([m.tolerance]);
            let numbers: Vec<_> = numbers.map(|n| n.map_or(String::new(), number)).collect();
            let (texts, numbers) = (texts.join(","), numbers.join(","));
            rows.push_str(&format!("{texts},{numbers},{}\r\n", m.change.word()));
        }
    }
    rows
}

fn ends(figure: &Option<Figure>) -> [Option<f64>; 3] {
    figure.map_or([None; 3], |f| [f.value, f.low, f.high].map(Some))
}
