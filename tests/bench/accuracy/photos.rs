//! The same cases, shown on a screen and photographed at an angle: rectified by the screen's corners.
use super::{
    outcome::Outcome,
    pictures::drawn,
    support::{
        drawn::{SIZE, draw_from, images_of},
        random::Random,
        views,
    },
};
use image::{Rgb, RgbImage};
use nalgebra::{Matrix3, Rotation3, Vector3};
use tickstrip::{
    frame::{FromReference, Lens, Point, Projective, RenderPx},
    job::{KnownPlane, Rectangle, Rectify},
    rectification::look_for_bezel,
    registration::lay_over,
};

const PHOTO: (u32, u32) = (960, 860);
/// Width of the screen's surround, in the picture's pixels.
const BEZEL: f64 = 18.0;
/// Deviation of a clicked corner per coordinate, photograph pixels: that of the marks, which the angle makes so large there.
const CORNER_SIGMA: f64 = 1.4;

/// From the photograph to the picture on the screen: a camera of 1100 px before it, turned by up to 20 degrees to the side and
/// 15 up or down, whose axis goes through the middle of the picture.
fn shown(random: &mut Random) -> FromReference<RenderPx> {
    const FOCAL: f64 = 1100.0;
    /// So far that a pixel of the picture is 0.72 of one in the photograph.
    const AWAY: f64 = FOCAL / 0.72;
    let turned = Rotation3::from_euler_angles(
        15_f64.to_radians() * random.uniform(),
        20_f64.to_radians() * random.uniform(),
        2_f64.to_radians() * random.uniform(),
    );
    let (middle_x, middle_y) = (f64::from(PHOTO.0) / 2.0, f64::from(PHOTO.1) / 2.0);
    let camera = Matrix3::new(FOCAL, 0.0, middle_x, 0.0, FOCAL, middle_y, 0.0, 0.0, 1.0);
    let mut plane = *turned.matrix();
    plane.set_column(2, &Vector3::new(0.0, 0.0, AWAY));
    let centred = Matrix3::new(
        1.0,
        0.0,
        -f64::from(SIZE.0) / 2.0,
        0.0,
        1.0,
        -f64::from(SIZE.1) / 2.0,
        0.0,
        0.0,
        1.0,
    );
    let picture_from_photo = (camera * plane * centred)
        .try_inverse()
        .expect("seen from before it");
    FromReference::new(
        Lens::of_picture(0.0, PHOTO).expect("none"),
        Projective::from_matrix(picture_from_photo).expect("invertible"),
    )
}

fn photograph(
    picture: &RgbImage,
    shown: &FromReference<RenderPx>,
    random: &mut Random,
) -> RgbImage {
    let (width, height) = (f64::from(SIZE.0), f64::from(SIZE.1));
    let within = |[x, y]: [f64; 2], margin: f64| {
        x > -margin && y > -margin && x < width + margin && y < height + margin
    };
    RgbImage::from_fn(PHOTO.0, PHOTO.1, |column, row| {
        // Four samples a pixel: a photograph's borders are not stepped.
        let sum: f64 = [[0.25, 0.25], [0.75, 0.25], [0.25, 0.75], [0.75, 0.75]]
            .map(|[dx, dy]| {
                let p = shown.apply(Point::new(f64::from(column) + dx, f64::from(row) + dy));
                match (within([p.x, p.y], 0.0), within([p.x, p.y], BEZEL)) {
                    (true, _) => f64::from(picture.get_pixel(p.x as u32, p.y as u32)[0]),
                    (false, true) => 25.0,
                    (false, false) => 150.0,
                }
            })
            .iter()
            .sum();
        let value = sum / 4.0 + 4.0 * random.uniform();
        Rgb([value.clamp(0.0, 255.0).round() as u8; 3])
    })
}

pub fn one(seed: u64) -> Outcome {
    let mut case = drawn(seed);
    let mut random = Random::new(seed ^ 0x5_EED0);
    let shown = shown(&mut random);
    let photo = photograph(
        &draw_from(seed, &case.subject, 190.0, 20.0),
        &shown,
        &mut random,
    );
    let in_photo = |x: f64, y: f64| shown.inverse().apply(Point::new(x, y));
    for landmark in &mut case.view.landmarks {
        landmark.reference = in_photo(landmark.reference.x, landmark.reference.y);
    }
    let (width, height) = (f64::from(SIZE.0), f64::from(SIZE.1));
    let corners = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
    let rectify = Rectify {
        plane: KnownPlane::Rectangle(Rectangle {
            corners: corners.map(|[x, y]| {
                let corner = in_photo(x, y);
                let [x, y] = random.about([corner.x, corner.y], CORNER_SIGMA);
                Point::new(x, y)
            }),
            aspect: (seed.is_multiple_of(2)).then_some(width / height),
            find_bezel: seed % 4 < 2,
        }),
        straight_lines: Vec::new(),
    };
    let bezel = look_for_bezel(&rectify, &photo);
    case.view.reference.rectify = Some(rectify);
    let Ok(laid_over) = lay_over(&case.view, views::EXPECTED, [SIZE, PHOTO], bezel.as_ref()) else {
        return Outcome::default();
    };
    let model = draw_from(1, &case.model, 230.0, 0.0);
    case.measured(images_of(model, photo), laid_over.registered)
}
