//! What calliper readings say of a print: as it is written, and in words.
use super::{
    finite::{figure, finite},
    json::*,
    wording::{Sign, decimals, plus_minus},
};
use crate::{
    job::View,
    measurement::{self, AXES},
};

/// What was found, as it is written.
pub(super) fn entry(view: &View, found: &measurement::PrintSize) -> PrintEntry {
    let axes = found.larger_percent.iter().enumerate();
    let axes = axes.filter_map(|(k, larger)| {
        let larger = (*larger)?;
        Some(PrintAxisEntry {
            axis: match found.is_of_model {
                true => AXES[k].to_owned(),
                false => ["width", "height"].get(k)?.to_string(),
            },
            larger_percent: Some(figure(larger)),
            scale_by: measurement::measured_factor_of(larger).map(figure),
            extent_mm: finite(found.extent_mm[k]),
        })
    });
    let readings = view.measured.iter().zip(&found.readings);
    let name = |i: usize| view.landmarks.get(i).map(|l| l.name.clone());
    let readings = readings.map(|(reading, fit)| CalliperEntry {
        from: name(reading.from).unwrap_or_default(),
        to: name(reading.to).unwrap_or_default(),
        read_mm: finite(reading.length.0),
        designed_mm: fit.designed_mm.and_then(finite),
        residual_mm: fit.residual_mm.and_then(finite),
        wrong: fit.is_wrong,
    });
    PrintEntry {
        axes: axes.collect(),
        readings: readings.collect(),
    }
}

/// A sentence for each axis, and for each reading that was left out.
pub(super) fn sentences(view: &ViewEntry) -> Vec<String> {
    let Some(print) = &view.print else {
        return Vec::new();
    };
    let axis = |axis: &PrintAxisEntry| {
        let larger = axis.larger_percent?;
        let word = if larger.value > 0.0 { "large" } else { "small" };
        let amount = Figure {
            value: larger.value.abs(),
            low: larger.value.abs() - (larger.high - larger.value),
            high: larger.value.abs() + (larger.high - larger.value),
        };
        let along = match AXES.contains(&axis.axis.as_str()) {
            true => format!("along {}", axis.axis),
            false => format!("in its {}", axis.axis),
        };
        Some(format!(
            "by the calliper the print came out {} % too {word} {along}: scale it by {} in the slicer",
            plus_minus(&amount, Sign::Minus),
            plus_minus(&axis.scale_by?, Sign::Minus)
        ))
    };
    let wrong = print.readings.iter().filter(|r| r.wrong).map(|r| {
        let mm = |x: Option<f64>| x.map_or("?".to_owned(), |x| decimals(x, 2));
        format!(
            "the reading from \"{}\" to \"{}\", {} mm where {} mm are designed, contradicts the other readings: it was left out; \
             read it again",
            r.from,
            r.to,
            mm(r.read_mm),
            mm(r.designed_mm)
        )
    });
    let nothing = print.axes.is_empty().then(|| {
        "the calliper's readings tell no axis of the print: read along each axis, two lengths or more".to_owned()
    });
    print
        .axes
        .iter()
        .filter_map(axis)
        .chain(wrong)
        .chain(nothing)
        .collect()
}
