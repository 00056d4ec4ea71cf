//! Rounded parts of metal and hose: soft shading, a highlight that moves with the part, an outline where the surface turns
//! away from the eye.
use super::drawn::SIZE;
use image::{Rgb, RgbImage};

/// A rounded vessel, a barrel or a coil of hose seen from in front: its outline is a superellipse of exponent 3.
#[derive(Clone, Copy, Debug)]
pub struct Vessel {
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
        let left = 1.0 - u[0].abs().powi(3) - u[1].abs().powi(3);
        if left <= 0.0 {
            return None;
        }
        // The height is depth * sqrt(left); its slope grows without bound towards the outline.
        let slope = |k: usize| -self.depth * 1.5 * u[k] * u[k].abs() / (left.sqrt() * self.half[k]);
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
        let at = |k: u32| {
            let p = [place(x, k % SAMPLES), place(y, k / SAMPLES)];
            let front = vessels.iter().rev().find_map(|c| c.brightness(p, light));
            front.unwrap_or(behind)
        };
        let mean = (0..SAMPLES * SAMPLES).map(at).sum::<f64>() / f64::from(SAMPLES * SAMPLES);
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        let random = (seed >> 40) as f64 / f64::from(1_u32 << 24) - 0.5;
        Rgb([(mean + noise * random).clamp(0.0, 255.0).round() as u8; 3])
    })
}
