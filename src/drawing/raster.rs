//! A scene onto pixels: the shapes are drawn on a picture that is already there.
use super::{Error, scene::Scene, svg, text};
use image::RgbImage;
use rayon::prelude::*;
use resvg::tiny_skia::{IntSize, Pixmap, Transform};
use std::sync::Arc;

/// An encoded picture and the key by which a scene refers to it.
pub(crate) type Keyed = (&'static str, Arc<Vec<u8>>);
/// The pictures of a scene.
pub(crate) type Pictures = [Keyed];

/// The scene as the tree that both outputs are made from.
pub(crate) fn tree(scene: &Scene, pictures: &Pictures) -> Result<usvg::Tree, Error> {
    let resolver = usvg::ImageHrefResolver {
        resolve_data: Box::new(|_, _, _| None),
        // Nothing is ever read from disk: only the pictures handed over are known.
        resolve_string: Box::new(move |key, _| {
            let (_, bytes) = pictures.iter().find(|(name, _)| *name == key)?;
            Some(usvg::ImageKind::JPEG(bytes.clone()))
        }),
    };
    let options = usvg::Options {
        font_family: text::Font::Regular.family().to_owned(),
        fontdb: text::fonts(),
        image_href_resolver: resolver,
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(&svg::to_svg(scene), &options).map_err(|cause| Error::Scene { cause })
}

/// Draws the scene over `ground`, `scale` pixels a scene unit.
///
/// # Errors
/// [`Error::EmptyPicture`] where the ground has no pixels, [`Error::Scene`] where the scene has no size.
pub(crate) fn draw(
    scene: &Scene,
    pictures: &Pictures,
    ground: &RgbImage,
    scale: f64,
) -> Result<RgbImage, Error> {
    let tree = tree(scene, pictures)?;
    let mut pixels = vec![0_u8; ground.as_raw().len() / 3 * 4];
    pixels
        .par_chunks_mut(4 * CHUNK)
        .zip(ground.as_raw().par_chunks(3 * CHUNK))
        .for_each(|(to, from)| {
            for (to, from) in to.chunks_exact_mut(4).zip(from.chunks_exact(3)) {
                to[..3].copy_from_slice(from);
                to[3] = 255;
            }
        });
    let size = IntSize::from_wh(ground.width(), ground.height()).ok_or(Error::EmptyPicture)?;
    let mut pixmap = Pixmap::from_vec(pixels, size).ok_or(Error::EmptyPicture)?;
    let transform = Transform::from_scale(scale as f32, scale as f32);
    resvg::render(&tree, transform, &mut pixmap.as_mut());
    Ok(without_alpha(&pixmap))
}

/// Pixels that one task converts.
const CHUNK: usize = 1 << 16;

/// The ground is opaque and drawing over it keeps it so: the alpha channel can go.
fn without_alpha(pixmap: &Pixmap) -> RgbImage {
    let mut rgb = RgbImage::new(pixmap.width(), pixmap.height());
    rgb.par_chunks_mut(3 * CHUNK)
        .zip(pixmap.data().par_chunks(4 * CHUNK))
        .for_each(|(to, from)| {
            for (to, from) in to.chunks_exact_mut(3).zip(from.chunks_exact(4)) {
                to.copy_from_slice(&from[..3]);
            }
        });
    rgb
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::{
        colours::{INK, PAPER},
        png::encode_jpeg,
        scene::{Align, Box2, Fill, Line, Shape},
        text::Font,
    };

    fn ground(width: u32, height: u32) -> RgbImage {
        RgbImage::from_pixel(width, height, image::Rgb([200, 210, 220]))
    }

    #[test]
    fn a_rectangle_covers_its_pixels_and_leaves_the_ground_alone() {
        let mut scene = Scene::new([20.0, 10.0]);
        let area = Box2::new(5.0, 2.0, 10.0, 4.0);
        scene.rectangle(area, None, Some(Fill::opaque(INK)));
        let drawn = draw(&scene, &[], &ground(20, 10), 1.0).expect("draws");
        let dark = drawn.pixels().filter(|p| p.0 == INK.channels()).count();
        assert_eq!(dark, 40);
        assert_eq!(drawn.get_pixel(4, 2).0, [200, 210, 220]);
        assert_eq!(drawn.get_pixel(5, 2).0, INK.channels());
        assert_eq!(drawn.get_pixel(14, 5).0, INK.channels());
    }

    #[test]
    fn text_is_as_wide_as_its_advances_say() {
        for font in [Font::Regular, Font::Bold, Font::Mono] {
            // No pair in it is kerned; kerned text is narrower than its advances, never wider.
            let words = "HNH 0123 nnmnu HHMH";
            let mut scene = Scene::new([700.0, 60.0]);
            scene.text([10.0, 40.0], 32.0, font, words);
            let drawn = draw(&scene, &[], &ground(700, 60), 1.0).expect("draws");
            let inked = |x: &u32| (0..60).any(|y| drawn.get_pixel(*x, y).0[0] < 120);
            let right = (0..700).rev().find(inked).expect("has ink");
            let expected = 10.0 + text::width(words, font, 32.0);
            // The last H ends a side bearing (under 0.15 of the size) before its advance.
            let gap = expected - f64::from(right + 1);
            assert!((0.0..5.0).contains(&gap), "{font:?}: {gap}");
        }
    }

    #[test]
    fn a_halo_keeps_text_apart_from_the_ground() {
        let mut scene = Scene::new([60.0, 40.0]);
        scene.push(Shape::Text(Line {
            text: "I".into(),
            at: [30.0, 30.0],
            size: 24.0,
            font: Font::Regular,
            align: Align::Middle,
            colour: INK,
            halo: 3.0,
        }));
        let drawn = draw(&scene, &[], &ground(60, 40), 1.0).expect("draws");
        let row: Vec<[u8; 3]> = (0..60).map(|x| drawn.get_pixel(x, 22).0).collect();
        assert!(row.contains(&PAPER.channels()));
        assert!(row.contains(&INK.channels()));
    }

    #[test]
    fn a_picture_comes_by_its_key_and_nothing_from_disk() {
        let red = RgbImage::from_pixel(16, 16, image::Rgb([250, 10, 10]));
        let jpeg = Arc::new(encode_jpeg(&red).expect("encodes"));
        let mut scene = Scene::new([20.0, 10.0]);
        scene.picture("red", Box2::new(0.0, 0.0, 10.0, 10.0));
        scene.picture("/etc/hostname", Box2::new(10.0, 0.0, 10.0, 10.0));
        let drawn = draw(&scene, &[("red", jpeg)], &ground(20, 10), 1.0).expect("draws");
        assert!(drawn.get_pixel(5, 5).0[0] > 230 && drawn.get_pixel(5, 5).0[1] < 40);
        assert_eq!(drawn.get_pixel(15, 5).0, [200, 210, 220]);
    }

    #[test]
    fn a_ground_without_pixels_is_refused() {
        let scene = Scene::new([10.0, 10.0]);
        assert!(matches!(
            draw(&scene, &[], &RgbImage::new(0, 0), 1.0),
            Err(Error::EmptyPicture)
        ));
    }
}
