//! A model drawn from its mesh: the picture as PNG with its silhouette, the visible edges as SVG.
use super::{
    Error,
    colours::BOTH,
    png::encode_cut_out,
    scene::{Scene, Stroke},
    svg::to_svg,
};
use crate::meshes::Drawing;

/// Width of a line, pixels.
const LINE: f64 = 1.0;

/// The picture as PNG: where the model covers nothing it is transparent, so that it brings its silhouette along.
///
/// # Errors
/// [`Error::Png`] where the picture is larger than the format allows.
pub fn model_png(drawing: &Drawing) -> Result<Vec<u8>, Error> {
    encode_cut_out(&drawing.picture, &drawing.coverage)
}

/// The visible edges as SVG, one user unit a pixel, (0, 0) at the picture's top left corner.
pub fn model_svg(drawing: &Drawing) -> String {
    let (width, height) = drawing.picture.dimensions();
    let mut scene = Scene::new([f64::from(width), f64::from(height)]);
    for line in &drawing.lines {
        let points = line.points.iter().map(|point| point.xy()).collect();
        scene.polyline(points, Stroke::solid(BOTH, LINE));
    }
    to_svg(&scene)
}
