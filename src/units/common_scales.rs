//! Scales that drawings and models are made to.
use super::ScaleRatio;

/// Where a scale is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScaleUse {
    /// ISO 5455, technical drawings (values from memory).
    Drawing,
    /// Static models: common practice, no source.
    Modelling,
    /// Model railways: 3.5 mm, 4 mm and such to the foot; common practice, no source.
    Railway,
}

impl ScaleUse {
    /// The use in words.
    pub fn words(self) -> &'static str {
        match self {
            Self::Drawing => "drawings (ISO 5455)",
            Self::Modelling => "models (common practice, no source)",
            Self::Railway => "railways (common practice, no source)",
        }
    }
}

/// A scale in use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CommonScale {
    /// The scale.
    pub scale: ScaleRatio,
    /// Where it is used; at least one.
    pub uses: [Option<ScaleUse>; 3],
}

/// N of 1:N by ISO 5455, reductions, full size and enlargements.
const DRAWING: [f64; 18] = [
    0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0,
    2000.0, 5000.0, 10000.0,
];
/// N of 1:N of static models.
const MODELLING: [f64; 26] = [
    6.0, 8.0, 12.0, 16.0, 18.0, 24.0, 25.0, 32.0, 35.0, 43.0, 48.0, 50.0, 64.0, 72.0, 76.0, 87.0,
    96.0, 100.0, 128.0, 144.0, 160.0, 200.0, 220.0, 350.0, 700.0, 720.0,
];
/// Millimetres of model to the foot of model railways whose scale is said in that way, or N of 1:N.
const RAILWAY: [f64; 10] = [
    304.8 / 15.0,
    24.0,
    32.0,
    48.0,
    64.0,
    304.8 / 4.0,
    304.8 / 3.5,
    120.0,
    160.0,
    220.0,
];

/// All scales in use, the largest model first.
pub fn common_scales() -> Vec<CommonScale> {
    let lists = [
        (ScaleUse::Drawing, &DRAWING[..]),
        (ScaleUse::Modelling, &MODELLING),
        (ScaleUse::Railway, &RAILWAY),
    ];
    let mut all: Vec<CommonScale> = Vec::new();
    for (place, (of, denominators)) in lists.into_iter().enumerate() {
        for n in denominators {
            let scale = ScaleRatio::one_to(*n).expect("the lists hold numbers above 0");
            match all.iter_mut().find(|known| known.scale == scale) {
                Some(known) => known.uses[place] = Some(of),
                None => {
                    let mut uses = [None; 3];
                    uses[place] = Some(of);
                    all.push(CommonScale { scale, uses });
                }
            }
        }
    }
    all.sort_by(|a, b| a.scale.denominator().total_cmp(&b.scale.denominator()));
    all
}

/// The `count` scales nearest to 1:`denominator` by ratio, the nearest first.
pub fn nearest_scales(denominator: f64, count: usize) -> Vec<CommonScale> {
    let away = |s: &CommonScale| (s.scale.denominator() / denominator).ln().abs();
    let mut all = common_scales();
    all.sort_by(|a, b| away(a).total_cmp(&away(b)));
    all.truncate(count);
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_scale_of_two_uses_is_listed_once() {
        let all = common_scales();
        let halves: Vec<_> = all
            .iter()
            .filter(|s| s.scale.denominator() == 50.0)
            .collect();
        assert_eq!(halves.len(), 1);
        assert_eq!(
            halves[0].uses,
            [Some(ScaleUse::Drawing), Some(ScaleUse::Modelling), None]
        );
    }

    #[test]
    fn nearness_is_by_ratio() {
        let found: Vec<f64> = nearest_scales(40.0, 3)
            .iter()
            .map(|s| s.scale.denominator())
            .collect();
        // ln(43 / 40) is 0.072, ln(40 / 35) 0.134, ln(48 / 40) 0.182.
        assert_eq!(found, [43.0, 35.0, 48.0]);
    }
}
