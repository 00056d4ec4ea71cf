//! How much noise one shot has and how much their mean, by what shots show at the same places.

/// Fewest places that tell the noise.
const FEWEST: usize = 200;
/// Values as dark or as bright as this may be cut off, and have no noise of their own.
const DARKEST: f32 = 3.0;
const BRIGHTEST: f32 = 252.0;
/// A normal distribution's deviation is so many times the median of absolute values.
const BY_MEDIAN: f64 = 1.4826;

/// Noise, grey levels (standard deviation of the luma of a pixel), moire that moves from shot to shot included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Noise {
    /// Of the first shot.
    pub one: f64,
    /// Of the mean of all.
    pub all: f64,
}

impl Noise {
    /// From the lumas of each shot at the same places, the first shot first; not a number where a shot shows nothing. `None` where too
    /// few places are shown by all.
    ///
    /// Half of the shots are held against the other half: so the noise of the mean is seen and not reckoned. The others are
    /// resampled, the first is not, so it may have more noise than they.
    pub(super) fn of(shots: &[Vec<f32>]) -> Option<Self> {
        let n = shots.len();
        if n < 2 {
            return None;
        }
        let (mut halves, mut first) = (Vec::new(), Vec::new());
        let count = shots[0].len();
        let mean = |values: &mut dyn Iterator<Item = f32>| {
            let (mut sum, mut of) = (0.0, 0.0);
            for value in values {
                sum += f64::from(value);
                of += 1.0;
            }
            sum / of
        };
        for at in 0..count {
            let values = || shots.iter().map(move |shot| shot[at]);
            if !values().all(|value| value > DARKEST && value < BRIGHTEST) {
                continue;
            }
            let even = mean(&mut values().step_by(2));
            let odd = mean(&mut values().skip(1).step_by(2));
            halves.push((even - odd).abs());
            let others = mean(&mut values().skip(1));
            first.push((f64::from(values().next()?) - others).abs());
        }
        if halves.len() < FEWEST {
            return None;
        }
        let deviation = |all: Vec<f64>| BY_MEDIAN * middle(all);
        let (halves, first) = (deviation(halves), deviation(first));
        let [even, odd, n] = [n.div_ceil(2), n / 2, n].map(|count| count as f64);
        let all = halves * (even * odd).sqrt() / n;
        // What the mean of the others has of it is taken off.
        let others = all * all * n / (n - 1.0);
        Some(Self {
            one: (first * first - others).max(0.0).sqrt().max(all),
            all,
        })
    }
}

fn middle(mut all: Vec<f64>) -> f64 {
    all.sort_by(f64::total_cmp);
    all[all.len() / 2]
}
