//! The colours of every picture, from the colour-blind safe palette of Okabe and Ito, and the ramp of the heat picture.
//!
//! No colour carries a meaning alone: each is doubled by a line style, a sign or a figure.
//!
//! # Source
//! M. Okabe, K. Ito, "Color Universal Design", 2008 (palette). B. Ottosson, "A perceptual color space for image
//! processing", 2020 (the OKLab matrices of the ramp).
use std::sync::LazyLock;

/// A colour in sRGB.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Rgb(pub u8, pub u8, pub u8);

/// The render: vermilion.
pub(crate) const RENDER: Rgb = Rgb(213, 94, 0);
/// The reference: blue.
pub(crate) const REFERENCE: Rgb = Rgb(0, 114, 178);
/// The lighter part of a line of the reference that alternates: sky blue.
pub(crate) const REFERENCE_LIGHT: Rgb = Rgb(86, 180, 233);
/// Where both coincide.
pub(crate) const BOTH: Rgb = Rgb(20, 20, 20);
/// Marks that cannot be right: orange, always with a dashed ring.
pub(crate) const WRONG: Rgb = Rgb(230, 159, 0);
/// Where the ramp of the heat picture begins.
const RAMP_BEGIN: Rgb = Rgb(205, 205, 205);
/// Within tolerance: bluish green.
pub(crate) const WITHIN: Rgb = Rgb(0, 158, 115);
/// Out of tolerance: reddish purple.
pub(crate) const OUT: Rgb = Rgb(204, 121, 167);
/// The picture cannot tell: yellow.
pub(crate) const UNDECIDED: Rgb = Rgb(240, 228, 66);
/// Text and rules.
pub(crate) const INK: Rgb = Rgb(26, 26, 26);
/// Text of less weight, and thin rules.
pub(crate) const GREY: Rgb = Rgb(105, 105, 105);
/// Paper, label boxes, halos.
pub(crate) const PAPER: Rgb = Rgb(255, 255, 255);
/// Ground of pictures without a background.
pub(crate) const GROUND: Rgb = Rgb(240, 240, 240);

impl Rgb {
    /// The colour as SVG writes it.
    pub(crate) fn hex(self) -> String {
        format!("#{:02x}{:02x}{:02x}", self.0, self.1, self.2)
    }

    /// The three channels.
    pub(crate) fn channels(self) -> [u8; 3] {
        [self.0, self.1, self.2]
    }

    /// A darker shade, for outlines and text on paper: every channel times `share` (0 to 1).
    pub(crate) fn darker(self, share: f64) -> Self {
        let dim = |channel: u8| (f64::from(channel) * share).round() as u8;
        Self(dim(self.0), dim(self.1), dim(self.2))
    }
}

/// The colour of the heat picture at `share` (0: none, 1: the end of the bar): light grey to black, for every colour of the palette
/// means something else.
///
/// The lightness falls steadily, so that a grey print keeps the order.
pub(crate) fn ramp(share: f64) -> Rgb {
    static TABLE: LazyLock<Vec<Rgb>> =
        LazyLock::new(|| (0..256).map(|i| ramp_at(f64::from(i) / 255.0)).collect());
    let index = if share.is_nan() {
        255
    } else {
        (share.clamp(0.0, 1.0) * 255.0).round() as usize
    };
    TABLE[index]
}

fn ramp_at(share: f64) -> Rgb {
    const STOPS: [Rgb; 3] = [RAMP_BEGIN, Rgb(118, 118, 118), INK];
    let position = share * 2.0;
    let left = (position as usize).min(1);
    let t = position - left as f64;
    let (a, b) = (oklab(STOPS[left]), oklab(STOPS[left + 1]));
    from_oklab(std::array::from_fn(|i| a[i] + t * (b[i] - a[i])))
}

fn oklab(colour: Rgb) -> [f64; 3] {
    let [r, g, b] = colour.channels().map(|c| linear(f64::from(c) / 255.0));
    let l = (0.4122214708 * r + 0.5363325363 * g + 0.0514459929 * b).cbrt();
    let m = (0.2119034982 * r + 0.6806995451 * g + 0.1073969566 * b).cbrt();
    let s = (0.0883024619 * r + 0.2817188376 * g + 0.6299787005 * b).cbrt();
    [
        0.2104542553 * l + 0.7936177850 * m - 0.0040720468 * s,
        1.9779984951 * l - 2.4285922050 * m + 0.4505937099 * s,
        0.0259040371 * l + 0.7827717662 * m - 0.8086757660 * s,
    ]
}

fn from_oklab([lightness, a, b]: [f64; 3]) -> Rgb {
    let l = (lightness + 0.3963377774 * a + 0.2158037573 * b).powi(3);
    let m = (lightness - 0.1055613458 * a - 0.0638541728 * b).powi(3);
    let s = (lightness - 0.0894841775 * a - 1.2914855480 * b).powi(3);
    let channel = |v: f64| (gamma(v.clamp(0.0, 1.0)) * 255.0).round() as u8;
    Rgb(
        channel(4.0767416621 * l - 3.3077115913 * m + 0.2309699292 * s),
        channel(-1.2684380046 * l + 2.6097574011 * m - 0.3413193965 * s),
        channel(-0.0041960863 * l - 0.7034186147 * m + 1.7076147010 * s),
    )
}

/// IEC 61966-2-1, decoding.
fn linear(v: f64) -> f64 {
    if v <= 0.04045 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

/// IEC 61966-2-1, encoding.
fn gamma(v: f64) -> f64 {
    if v <= 0.0031308 {
        v * 12.92
    } else {
        1.055 * v.powf(1.0 / 2.4) - 0.055
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ramp_grows_darker_all_the_way() {
        let lightness: Vec<f64> = (0..=64)
            .map(|i| oklab(ramp(f64::from(i) / 64.0))[0])
            .collect();
        // A step of 1/64 is 0.010 in lightness; rounding to 8 bits moves it by less than 0.004.
        assert!(lightness.windows(2).all(|w| w[1] < w[0] - 0.003));
    }

    #[test]
    fn the_ramp_starts_and_ends_at_its_stops() {
        assert_eq!(ramp(0.0), RAMP_BEGIN);
        assert_eq!(ramp(7.0), INK);
        assert_eq!(ramp(f64::NAN), ramp(1.0));
    }

    #[test]
    fn a_colour_survives_the_way_to_oklab_and_back() {
        for colour in [RENDER, REFERENCE, OUT, WITHIN, PAPER, INK] {
            assert_eq!(from_oklab(oklab(colour)), colour);
        }
    }
}
