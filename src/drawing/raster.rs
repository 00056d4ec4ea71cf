//! A scene onto pixels: the shapes are drawn on a picture that is already there.
use super::{
    Error,
    colours::{PAPER, Rgb},
    scene::Scene,
    svg, text,
};
use crate::stop;
use image::RgbImage;
use resvg::tiny_skia::{Pixmap, Transform};
use std::{borrow::Cow, sync::Arc};

/// An encoded picture and the key by which a scene refers to it.
pub(crate) type Keyed = (Cow<'static, str>, Arc<Vec<u8>>);

/// The scene, as SVG with the pictures that it names, as the tree that both outputs are made from.
pub(crate) fn tree<K: AsRef<str> + Sync>(
    svg: &str,
    pictures: &[(K, Arc<Vec<u8>>)],
) -> Result<usvg::Tree, Error> {
    let resolver = usvg::ImageHrefResolver {
        resolve_data: Box::new(|_, _, _| None),
        // Nothing is ever read from disk: only the pictures handed over are known.
        resolve_string: Box::new(move |key, _| {
            let (_, bytes) = pictures.iter().find(|(name, _)| name.as_ref() == key)?;
            Some(usvg::ImageKind::JPEG(bytes.clone()))
        }),
    };
    let options = usvg::Options {
        font_family: text::Font::Regular.family().to_owned(),
        fontdb: text::fonts(),
        image_href_resolver: resolver,
        ..usvg::Options::default()
    };
    usvg::Tree::from_str(svg, &options).map_err(|cause| Error::Scene { cause })
}

/// A pixel of a [`Ground`]: red, green, blue and 255.
pub(crate) type Pixel = [u8; 4];

/// A picture of `columns` x `rows` pixels, each shown as a square of `factor` x `factor`.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Enlarged {
    pub columns: usize,
    pub rows: usize,
    pub factor: usize,
}

/// The opaque picture that shapes are drawn on.
pub(crate) struct Ground {
    pixmap: Pixmap,
}

impl Ground {
    /// A ground of `size` pixels with a picture in its top left corner, the rest `plain`. `paint` gets each row's number
    /// and pixels. On one thread: other pictures are drawn meanwhile, and sharing out so short a task costs more than it
    /// gains.
    ///
    /// # Errors
    /// [`Error::EmptyPicture`] where the ground has no pixels.
    pub(crate) fn painted(
        [width, height]: [u32; 2],
        plain: Rgb,
        picture: Enlarged,
        paint: impl Fn(usize, &mut [Pixel]),
    ) -> Result<Self, Error> {
        let mut pixmap = Pixmap::new(width, height).ok_or(Error::EmptyPicture)?;
        let (pixels, _) = pixmap.data_mut().as_chunks_mut::<4>();
        let Rgb(red, green, blue) = plain;
        let plain = [red, green, blue, 255];
        let (width, factor) = (width as usize, picture.factor);
        for (y, rows) in pixels.chunks_mut(width * factor).enumerate() {
            if y >= picture.rows {
                rows.fill(plain);
                continue;
            }
            let (first, others) = rows.split_at_mut(width);
            paint(y, &mut first[..picture.columns]);
            spread(first, picture.columns, factor);
            first[picture.columns * factor..].fill(plain);
            for other in others.chunks_exact_mut(width) {
                other.copy_from_slice(first);
            }
        }
        Ok(Self { pixmap })
    }

    /// A ground of one colour.
    pub(crate) fn plain(size: [u32; 2], colour: Rgb) -> Result<Self, Error> {
        let nothing = Enlarged {
            columns: 0,
            rows: 0,
            factor: 1,
        };
        Self::painted(size, colour, nothing, |_, _| {})
    }

    /// A ground that is a picture.
    pub(crate) fn of(picture: &RgbImage) -> Result<Self, Error> {
        let (columns, rows) = (picture.width() as usize, picture.height() as usize);
        let whole = Enlarged {
            columns,
            rows,
            factor: 1,
        };
        let paint = |y, row: &mut [Pixel]| paint_row(picture, y, row);
        Self::painted([picture.width(), picture.height()], PAPER, whole, paint)
    }

    /// Lays a picture on the ground, its top left corner at `left`, `top`; what would lie beyond is cut off.
    pub(crate) fn lay(&mut self, picture: &RgbImage, [left, top]: [u32; 2]) {
        let width = self.pixmap.width() as usize;
        let (pixels, _) = self.pixmap.data_mut().as_chunks_mut::<4>();
        let rows = pixels.chunks_exact_mut(width).skip(top as usize);
        for (y, row) in rows.take(picture.height() as usize).enumerate() {
            if let Some(row) = row.get_mut(left as usize..) {
                paint_row(picture, y, row);
            }
        }
    }

    /// Draws the shapes of a scene, not its pictures, `scale` pixels a scene unit.
    ///
    /// # Errors
    /// [`Error::Scene`] where the scene has no size, and [`Error::Stopped`].
    pub(crate) fn draw(mut self, scene: &Scene, scale: f64) -> Result<RgbImage, Error> {
        let svg = svg::to_svg(scene);
        // Shapes that lie over one another a thousand times take seconds, and nobody can ask meanwhile.
        stop::wait_for(move || {
            let tree = tree::<&str>(&svg, &[])?;
            let transform = Transform::from_scale(scale as f32, scale as f32);
            resvg::render(&tree, transform, &mut self.pixmap.as_mut());
            Ok(without_alpha(self.pixmap))
        })?
    }
}

/// Paints row `y` of a picture.
pub(crate) fn paint_row(picture: &RgbImage, y: usize, row: &mut [Pixel]) {
    let bytes = picture.width() as usize * 3;
    let (from, _) = picture.as_raw()[y * bytes..(y + 1) * bytes].as_chunks::<3>();
    for (pixel, [red, green, blue]) in row.iter_mut().zip(from) {
        *pixel = [*red, *green, *blue, 255];
    }
}

/// Repeats each of the first `columns` pixels of a row `factor` times, in place.
fn spread(row: &mut [Pixel], columns: usize, factor: usize) {
    if factor == 1 {
        return;
    }
    // From the right, so that no pixel is overwritten before it was read.
    for x in (0..columns).rev() {
        let pixel = row[x];
        row[x * factor..(x + 1) * factor].fill(pixel);
    }
}

/// The ground is opaque and drawing over it keeps it so: the alpha channel can go. In place: a picture is large.
fn without_alpha(pixmap: Pixmap) -> RgbImage {
    let (width, height) = (pixmap.width(), pixmap.height());
    let mut bytes = pixmap.take();
    let count = bytes.len() / 4;
    for i in 1..count {
        let [red, green, blue] = [bytes[i * 4], bytes[i * 4 + 1], bytes[i * 4 + 2]];
        bytes[i * 3..i * 3 + 3].copy_from_slice(&[red, green, blue]);
    }
    bytes.truncate(count * 3);
    RgbImage::from_raw(width, height, bytes).expect("three bytes for each pixel")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drawing::{
        colours::INK,
        png::encode_jpeg,
        scene::{Align, Box2, Fill, Line, Shape},
        text::Font,
    };

    fn ground(width: u32, height: u32) -> Ground {
        Ground::plain([width, height], Rgb(200, 210, 220)).expect("has pixels")
    }

    #[test]
    fn a_rectangle_covers_its_pixels_and_leaves_the_ground_alone() {
        let mut scene = Scene::new([20.0, 10.0]);
        let area = Box2::new(5.0, 2.0, 10.0, 4.0);
        scene.rectangle(area, None, Some(Fill::opaque(INK)));
        let drawn = ground(20, 10).draw(&scene, 1.0).expect("draws");
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
            let drawn = ground(700, 60).draw(&scene, 1.0).expect("draws");
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
        let drawn = ground(60, 40).draw(&scene, 1.0).expect("draws");
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
        let tree =
            tree(&crate::drawing::svg::to_svg(&scene), &[("red", jpeg)]).expect("is a scene");
        let [usvg::Node::Group(group)] = tree.root().children() else {
            panic!("one picture, not {:?}", tree.root().children());
        };
        assert!(matches!(group.children(), [usvg::Node::Image(_)]));
        assert_eq!(group.abs_bounding_box().width(), 10.0);
        let drawn = ground(20, 10).draw(&scene, 1.0).expect("draws");
        assert!(drawn.pixels().all(|p| p.0 == [200, 210, 220]));
    }

    #[test]
    fn a_ground_without_pixels_is_refused() {
        let none = Ground::of(&RgbImage::new(0, 0));
        assert!(matches!(none, Err(Error::EmptyPicture)));
    }

    #[test]
    fn a_painted_picture_is_enlarged_and_the_rest_is_plain() {
        let picture = Enlarged {
            columns: 2,
            rows: 2,
            factor: 3,
        };
        let paint = |y: usize, row: &mut [Pixel]| {
            for (x, pixel) in row.iter_mut().enumerate() {
                *pixel = [x as u8, y as u8, 7, 255];
            }
        };
        let ground = Ground::painted([8, 7], INK, picture, paint).expect("has pixels");
        let drawn = without_alpha(ground.pixmap);
        for (x, y, pixel) in drawn.enumerate_pixels() {
            let expected = if x < 6 && y < 6 {
                [(x / 3) as u8, (y / 3) as u8, 7]
            } else {
                INK.channels()
            };
            assert_eq!(pixel.0, expected, "({x}, {y})");
        }
    }

    #[test]
    fn a_picture_is_laid_where_it_belongs_and_cut_off_beyond() {
        let red = RgbImage::from_pixel(4, 4, image::Rgb([250, 10, 10]));
        let mut ground = ground(6, 5);
        ground.lay(&red, [3, 2]);
        ground.lay(&red, [60, 0]);
        let drawn = without_alpha(ground.pixmap);
        assert_eq!(drawn.pixels().filter(|p| p.0[0] == 250).count(), 9);
        assert_eq!(drawn.get_pixel(3, 2).0, [250, 10, 10]);
    }
}
