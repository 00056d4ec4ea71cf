//! What cases give: errors, intervals that hold, marks accused.
use super::support::truth::Errors;
use tickstrip::{
    measurement::RegionMeasure,
    registration::{Finding, Registration},
    statistics::Measured,
};

/// What one case gave, or several.
#[derive(Default)]
pub struct Outcome {
    pub parts: usize,
    pub answered: usize,
    pub size_percent: Vec<f64>,
    pub offset_px: Vec<f64>,
    pub held: [usize; 2],
    pub given: [usize; 2],
    pub wrong: usize,
    pub found: usize,
    pub accused: usize,
    pub good: usize,
    /// Edge overlap above chance and whether the part is off by more than 5 px.
    pub overlaps: Vec<(f64, bool)>,
}

/// Sizes and offsets, as places in `given` and `held`.
pub const SIZES: usize = 0;
pub const OFFSETS: usize = 1;

impl Outcome {
    /// Which marks were accused, and which are wrong.
    pub fn of_marks(registration: &Registration, is_wrong: &[bool]) -> Self {
        let mut outcome = Self::default();
        for (landmark, wrong) in registration.landmarks.iter().zip(is_wrong) {
            let accused = matches!(
                landmark.finding,
                Some(Finding::Wrong | Finding::SwappedWith(_))
            );
            outcome.take_suspect(*wrong, accused);
        }
        outcome
    }

    pub fn take_suspect(&mut self, wrong: bool, accused: bool) {
        self.wrong += usize::from(wrong);
        self.good += usize::from(!wrong);
        self.found += usize::from(wrong && accused);
        self.accused += usize::from(!wrong && accused);
    }

    /// A figure beside its truth, of this `kind`: [`SIZES`] or [`OFFSETS`].
    pub fn take(&mut self, kind: usize, figure: Option<Measured>, truth: f64) {
        self.take_in(kind, figure, truth, 1.0);
    }

    /// The same, with the error in parts of `unit`.
    pub fn take_in(&mut self, kind: usize, figure: Option<Measured>, truth: f64, unit: f64) {
        let Some(figure) = figure else { return };
        self.given[kind] += 1;
        self.held[kind] += usize::from(figure.holds(truth));
        let errors = match kind {
            SIZES => &mut self.size_percent,
            _ => &mut self.offset_px,
        };
        errors.push(((figure.value() - truth) / unit).abs());
    }

    pub fn take_part(&mut self, part: &RegionMeasure, truth: &Errors) {
        self.parts += 1;
        let sizes = [part.width_percent, part.height_percent];
        let figures = sizes.iter().chain(&part.offset_px);
        self.answered += usize::from(figures.into_iter().any(Option::is_some));
        for (k, (size, offset)) in sizes.into_iter().zip(part.offset_px).enumerate() {
            self.take(SIZES, size, 100.0 * truth.size[k]);
            self.take(OFFSETS, offset, truth.offset[k]);
        }
        if let Some(overlap) = &part.edge_overlap {
            let off = truth.offset[0].hypot(truth.offset[1]) > 5.0;
            self.overlaps.push((overlap.above_chance, off));
        }
    }

    /// All cases as one, in their order.
    pub fn joined(outcomes: impl IntoIterator<Item = Self>) -> Self {
        let mut all = Self::default();
        for o in outcomes {
            all.parts += o.parts;
            all.answered += o.answered;
            all.size_percent.extend(o.size_percent);
            all.offset_px.extend(o.offset_px);
            for k in [SIZES, OFFSETS] {
                all.held[k] += o.held[k];
                all.given[k] += o.given[k];
            }
            all.wrong += o.wrong;
            all.found += o.found;
            all.accused += o.accused;
            all.good += o.good;
            all.overlaps.extend(o.overlaps);
        }
        all
    }

    /// Chance that a part that is off overlaps less than one that is right.
    pub fn ranking(&self) -> f64 {
        let of = |is_off: bool| {
            self.overlaps
                .iter()
                .filter(move |o| o.1 == is_off)
                .map(|o| o.0)
        };
        let pairs: Vec<f64> = of(false)
            .flat_map(|right| {
                of(true).map(move |off| {
                    if right > off {
                        1.0
                    } else {
                        f64::from(u8::from(right == off)) / 2.0
                    }
                })
            })
            .collect();
        pairs.iter().sum::<f64>() / pairs.len().max(1) as f64
    }
}

pub fn percent(a: usize, b: usize) -> f64 {
    100.0 * a as f64 / b.max(1) as f64
}

pub fn root_mean_square(v: &[f64]) -> f64 {
    (v.iter().map(|e| e * e).sum::<f64>() / v.len().max(1) as f64).sqrt()
}

pub fn median(v: &[f64]) -> f64 {
    let mut v = v.to_vec();
    v.sort_by(f64::total_cmp);
    v.get(v.len() / 2).copied().unwrap_or(f64::NAN)
}
