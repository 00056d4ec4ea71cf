//! Rounded parts of metal and hose: soft shading, a highlight that moves with the part, an outline where the surface turns
//! away from the eye; and the ground behind them, with soft shadows and cloth.
use super::drawn::SIZE;
use image::{Rgb, RgbImage};

/// What a rounded part is, seen from in front.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A vessel or a coil of hose: its outline is a superellipse of exponent 3.
    Vessel,
    /// A ball, or an egg.
    Ball,
    /// It stands upright: smooth outlines at its sides, edges above and below.
    Cylinder,
    /// The same, by a fifth narrower above and below.
    Barrel,
}

impl Form {
    /// The square of the height over the depth at a place, in halves of the outline from the middle, and its derivatives;
    /// not above 0 beside the part.
    fn square(self, [u, v]: [f64; 2]) -> (f64, [f64; 2]) {
        match self {
            Self::Vessel => (
                1.0 - u.abs().powi(3) - v.abs().powi(3),
                [u, v].map(|u| -3.0 * u * u.abs()),
            ),
            Self::Ball => (1.0 - u * u - v * v, [-2.0 * u, -2.0 * v]),
            _ if v.abs() >= 1.0 => (0.0, [0.0; 2]),
            Self::Cylinder => (1.0 - u * u, [-2.0 * u, 0.0]),
            Self::Barrel => {
                let radius = 1.0 - 0.2 * v * v;
                (radius * radius - u * u, [-2.0 * u, -0.8 * v * radius])
            }
        }
    }
}

/// A rounded part seen from in front.
#[derive(Clone, Copy, Debug)]
pub struct Vessel {
    pub form: Form,
    pub centre: [f64; 2],
    pub half: [f64; 2],
    /// How far it stands out, pixels.
    pub depth: f64,
    /// Share of the light that it throws back, 0 to 1.
    pub albedo: f64,
}

/// Where the light comes from (towards it, x right, y down, z to the eye), how much comes from everywhere, and how
/// strongly the surface shines.
#[derive(Clone, Copy, Debug)]
pub struct Light {
    pub towards: [f64; 3],
    pub ambient: f64,
    pub gloss: f64,
}

/// Points of a pixel that are looked at along each axis.
const SAMPLES: u32 = 3;

impl Vessel {
    /// Brightness at a point, 0 to 255; `None` beside the vessel.
    fn brightness(&self, [x, y]: [f64; 2], light: &Light) -> Option<f64> {
        let u = [
            (x - self.centre[0]) / self.half[0],
            (y - self.centre[1]) / self.half[1],
        ];
        let (square, by_place) = self.form.square(u);
        if square <= 0.0 {
            return None;
        }
        // The height is depth * sqrt(square); its slope grows without bound towards a smooth outline.
        let slope = |k: usize| self.depth * by_place[k] / (2.0 * square.sqrt() * self.half[k]);
        let normal = unit([-slope(0), -slope(1), 1.0]);
        let towards = unit(light.towards);
        let diffuse = dot(normal, towards).max(0.0);
        let halfway = unit([towards[0], towards[1], towards[2] + 1.0]);
        let shine = light.gloss * dot(normal, halfway).max(0.0).powi(24);
        let value = self.albedo * (light.ambient + (1.0 - light.ambient) * diffuse) + shine;
        Some(255.0 * value.min(1.0))
    }
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn unit(v: [f64; 3]) -> [f64; 3] {
    let length = dot(v, v).sqrt();
    v.map(|c| c / length)
}

/// What lies behind the vessels, where a picture has this grey; shadows fall on all of it.
#[derive(Clone, Copy, Debug)]
pub struct Ground {
    pub grey: u8,
    /// Period in pixels and amplitude in grey levels of a woven cloth.
    pub cloth: Option<(f64, f64)>,
    /// Share of the light that is missing in the middle of a part's shadow.
    pub shadow: f64,
}

impl Ground {
    /// The picture with cloth and the vessels' soft shadows, from this light.
    pub fn under(&self, picture: &RgbImage, vessels: &[Vessel], light: &Light) -> RgbImage {
        let [lx, ly, lz] = light.towards;
        RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
            let of_picture = picture[(x, y)][0];
            let [x, y] = [x, y].map(|at| f64::from(at) + 0.5);
            let mut value = f64::from(of_picture);
            if let Some((period, amplitude)) = self.cloth.filter(|_| of_picture == self.grey) {
                let [s, t] = [x, y].map(|at| (std::f64::consts::TAU * at / period).sin());
                value += amplitude * s * t;
            }
            for vessel in vessels {
                let thrown = [lx, ly].map(|l| -0.5 * vessel.depth * l / lz);
                let far = |k: usize, at: f64| {
                    (at - vessel.centre[k] - thrown[k]) / (1.15 * vessel.half[k])
                };
                let square = far(0, x).powi(2) + far(1, y).powi(2);
                value *= 1.0 - self.shadow * (-1.2 * square * square).exp();
            }
            Rgb([value.clamp(0.0, 255.0).round() as u8; 3])
        })
    }
}

/// The vessels over a picture, the last one in front, with noise of this range in grey levels.
pub fn draw_over(
    picture: &RgbImage,
    vessels: &[Vessel],
    light: &Light,
    noise: f64,
    mut seed: u64,
) -> RgbImage {
    RgbImage::from_fn(SIZE.0, SIZE.1, |x, y| {
        let behind = f64::from(picture[(x, y)][0]);
        let place = |at: u32, k: u32| f64::from(at) + (f64::from(k) + 0.5) / f64::from(SAMPLES);
        let is_near = |v: &Vessel| {
            let off = |k: usize, at: u32| (f64::from(at) + 0.5 - v.centre[k]).abs();
            off(0, x) < v.half[0] + 1.0 && off(1, y) < v.half[1] + 1.0
        };
        let samples = if vessels.iter().any(is_near) {
            SAMPLES * SAMPLES
        } else {
            1
        };
        let at = |k: u32| {
            let p = [place(x, k % SAMPLES), place(y, k / SAMPLES)];
            let front = vessels.iter().rev().find_map(|c| c.brightness(p, light));
            front.unwrap_or(behind)
        };
        let mean = (0..samples).map(at).sum::<f64>() / f64::from(samples);
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let random = (seed >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
        Rgb([(mean + noise * random).clamp(0.0, 255.0).round() as u8; 3])
    })
}
