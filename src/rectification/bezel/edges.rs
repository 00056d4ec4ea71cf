//! Edges across the sides of a marked bezel: where a screen's picture ends and its bezel begins, nearly.
use super::settings::BEZEL;
use super::{BezelLook, EdgeAcross};
use crate::{
    frame::{Point, ReferencePx},
    job::{KnownPlane, Rectify},
};
use image::RgbImage;
use nalgebra::{Vector2, Vector3};

/// Stations along a side.
const STATIONS: usize = 48;
/// Part of a side at either end that is left out: corners are rounded, and a click may lie on the next side.
const LEFT_OUT: f64 = 0.06;
/// How far is looked at least, px.
const LEAST_REACH: f64 = 8.0;
/// Step along a normal, px.
const STEP: f64 = 0.5;
/// Half the length over which grey levels are averaged before they are compared, in steps: 2 px.
const HALF_WINDOW: usize = 4;
/// Most edges of a station, the strongest first.
const MOST_EDGES: usize = 4;

/// What lies across the sides of the rectangle that the reference is to be rectified by; `None` where its corners are not
/// to be refined.
pub fn look_for_bezel(rectify: &Rectify, picture: &RgbImage) -> Option<BezelLook> {
    let KnownPlane::Rectangle(rectangle) = &rectify.plane else {
        return None;
    };
    if !rectangle.find_bezel {
        return None;
    }
    let (width, height) = picture.dimensions();
    let reach = (BEZEL.reach.get() * f64::from(width).hypot(f64::from(height))).max(LEAST_REACH);
    let corner = |k: usize| Vector2::from(rectangle.corners[k % 4].xy());
    Some(BezelLook {
        sides: [0, 1, 2, 3].map(|k| side(picture, corner(k), corner(k + 1), reach)),
        reach,
    })
}

fn side(
    picture: &RgbImage,
    from: Vector2<f64>,
    to: Vector2<f64>,
    reach: f64,
) -> Vec<Vec<EdgeAcross>> {
    let along = (to - from).normalize();
    // Corners run clockwise on the screen: the outside is to the left.
    let outwards = Vector2::new(along.y, -along.x);
    (0..STATIONS)
        .map(|i| {
            let part = LEFT_OUT + (1.0 - 2.0 * LEFT_OUT) * (i as f64 + 0.5) / STATIONS as f64;
            station(picture, from + (to - from) * part, along, outwards, reach)
        })
        .collect()
}

/// The edges along one normal.
fn station(
    picture: &RgbImage,
    at: Vector2<f64>,
    along: Vector2<f64>,
    outwards: Vector2<f64>,
    reach: f64,
) -> Vec<EdgeAcross> {
    let half = (reach / STEP).round() as i32 + HALF_WINDOW as i32;
    let profile: Vec<Vector3<f64>> = (-half..=half)
        .map(|i| {
            let place = at + outwards * (STEP * f64::from(i));
            // Three places beside each other: less noise, and the side is straight there.
            let sum: Vector3<f64> = [-1.5, 0.0, 1.5]
                .iter()
                .map(|d| colour(picture, place + along * *d))
                .sum();
            sum / 3.0
        })
        .collect();
    let mean = |part: &[Vector3<f64>]| part.iter().sum::<Vector3<f64>>() / part.len() as f64;
    let outside: Vec<Vector3<f64>> = (HALF_WINDOW..profile.len() - HALF_WINDOW)
        .map(|i| mean(&profile[i + 1..=i + HALF_WINDOW]))
        .collect();
    let rise: Vec<Vector3<f64>> = outside
        .iter()
        .enumerate()
        .map(|(i, outside)| outside - mean(&profile[i..i + HALF_WINDOW]))
        .collect();
    let size: Vec<f64> = rise.iter().map(|r| r.norm()).collect();
    let strongest = size.iter().copied().fold(0.0, f64::max);
    let limit = BEZEL.weakest.get().max(BEZEL.least_part.get() * strongest);
    let mut edges: Vec<EdgeAcross> = (1..rise.len() - 1)
        .filter(|&i| {
            let r = size[i];
            r >= limit && r > size[i - 1] && r >= size[i + 1]
        })
        .map(|i| {
            let (a, b, c) = (size[i - 1], size[i], size[i + 1]);
            let between = 0.5 * (a - c) / (a - 2.0 * b + c).min(-1e-9);
            let offset =
                STEP * (i as f64 + between.clamp(-0.5, 0.5)) - STEP * (rise.len() / 2) as f64;
            let place = at + outwards * offset;
            EdgeAcross {
                place: Point::<ReferencePx>::new(place.x, place.y),
                rise: rise[i].into(),
                outside: outside[i].into(),
                offset,
            }
        })
        .collect();
    let strength = |e: &EdgeAcross| Vector3::from(e.rise).norm();
    edges.sort_by(|a, b| strength(b).total_cmp(&strength(a)));
    edges.truncate(MOST_EDGES);
    edges
}

/// The colour at a place, bilinear; the border's own outside of the picture.
fn colour(picture: &RgbImage, at: Vector2<f64>) -> Vector3<f64> {
    let (width, height) = picture.dimensions();
    let clamped = |v: f64, n: u32| (v - 0.5).clamp(0.0, f64::from(n - 1));
    let (x, y) = (clamped(at.x, width), clamped(at.y, height));
    let (x0, y0) = (x as u32, y as u32);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (fx, fy) = (x - f64::from(x0), y - f64::from(y0));
    let pixel = |x: u32, y: u32| Vector3::from(picture[(x, y)].0.map(f64::from));
    (pixel(x0, y0) * (1.0 - fx) + pixel(x1, y0) * fx) * (1.0 - fy)
        + (pixel(x0, y1) * (1.0 - fx) + pixel(x1, y1) * fx) * fy
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        job::Rectangle,
        rectification::{BezelFinding, KeptReason, Rectification},
    };

    const TRUE: [[f64; 2]; 4] = [[80.3, 60.7], [520.6, 41.2], [540.9, 350.4], [61.5, 371.8]];

    /// A bright picture in a dark bezel, drawn with 4 x 4 samples a pixel.
    fn screen(inside: impl Fn(f64, f64) -> f64) -> RgbImage {
        let is_inside = |x: f64, y: f64| {
            (0..4).all(|k| {
                let ([ax, ay], [bx, by]) = (TRUE[k], TRUE[(k + 1) % 4]);
                (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0.0
            })
        };
        RgbImage::from_fn(600, 420, |px, py| {
            let sum: f64 = (0..16)
                .map(|k| {
                    let x = f64::from(px) + (f64::from(k % 4) + 0.5) / 4.0;
                    let y = f64::from(py) + (f64::from(k / 4) + 0.5) / 4.0;
                    if is_inside(x, y) { inside(x, y) } else { 25.0 }
                })
                .sum();
            // A little noise that is the same on every run.
            let grain = f64::from((px * 7919 + py * 104_729) % 13) - 6.0;
            image::Rgb([(sum / 16.0 + grain).clamp(0.0, 255.0) as u8; 3])
        })
    }

    fn clicked() -> Rectify {
        let off = [[3.0, -2.5], [-2.0, 3.5], [2.5, 2.0], [-3.5, -2.0]];
        let corners =
            [0, 1, 2, 3].map(|k| Point::new(TRUE[k][0] + off[k][0], TRUE[k][1] + off[k][1]));
        Rectify {
            plane: KnownPlane::Rectangle(Rectangle {
                corners,
                aspect: Some(1.5),
                find_bezel: true,
            }),
            straight_lines: Vec::new(),
        }
    }

    #[test]
    fn corners_are_moved_onto_the_frame() {
        let picture = screen(|x, y| 120.0 + 60.0 * (x / 40.0).sin() * (y / 30.0).cos());
        let look = look_for_bezel(&clicked(), &picture).expect("asked for");
        let found =
            Rectification::new(&clicked(), (600, 420), Some(2.0), Some(&look)).expect("sound");
        let Some(BezelFinding::Refined { moves, .. }) = found.figures().bezel else {
            panic!("{:?}", found.figures());
        };
        assert!(moves.iter().all(|m| (1.0..6.0).contains(m)), "{moves:?}");
        let map = found.rectified_from_reference();
        let rectangle = found.figures().rectangle.expect("corners");
        let places = [
            [0.0, 0.0],
            [rectangle.width, 0.0],
            [rectangle.width, rectangle.height],
            [0.0, rectangle.height],
        ];
        for (corner, place) in TRUE.iter().zip(places) {
            let found = map.inverse().apply(Point::new(place[0], place[1]));
            let off = found.distance(Point::new(corner[0], corner[1]));
            // The deviation that a bezel's edge is given.
            assert!(off < 0.25, "{corner:?}: off by {off}");
        }
    }

    fn finding(picture: &RgbImage) -> BezelFinding {
        let look = look_for_bezel(&clicked(), picture).expect("asked for");
        let found =
            Rectification::new(&clicked(), (600, 420), Some(2.0), Some(&look)).expect("sound");
        found.figures().bezel.expect("asked for")
    }

    /// How far a place is below the top side, px.
    fn below_top(x: f64, y: f64) -> f64 {
        y - (60.7 + (41.2 - 60.7) * (x - 80.3) / (520.6 - 80.3))
    }

    #[test]
    fn of_two_lines_alike_none_is_taken() {
        // Under the top border runs a dark line, its lower edge like the border.
        let picture = screen(|x, y| {
            if (2.0..4.0).contains(&below_top(x, y)) {
                25.0
            } else {
                180.0
            }
        });
        let kept = finding(&picture);
        let BezelFinding::Kept {
            side: 0,
            reason: KeptReason::Alike { apart },
        } = kept
        else {
            panic!("{kept:?}");
        };
        // Means over two pixels push edges apart that are closer than that.
        assert!((3.5..5.0).contains(&apart), "{apart}");
        let words = "px apart near the top side are alike; mark the corners closer";
        assert!(kept.to_string().contains(words), "{kept}");
    }

    #[test]
    fn a_faint_line_beside_the_border_is_not_taken_for_it() {
        let picture = screen(|x, y| {
            if (4.0..7.0).contains(&below_top(x, y)) {
                165.0
            } else {
                180.0
            }
        });
        let found = finding(&picture);
        assert!(matches!(found, BezelFinding::Refined { .. }), "{found:?}");
    }

    #[test]
    fn a_line_within_the_picture_is_no_border_where_that_cannot_be_seen() {
        // Above a horizon the picture is as dark as nothing: the border there cannot be seen.
        let picture = screen(|x, y| if below_top(x, y) < 5.0 { 90.0 } else { 180.0 });
        let dark = RgbImage::from_fn(600, 420, |x, y| {
            let is_above = below_top(f64::from(x) + 0.5, f64::from(y) + 0.5) < 5.0;
            if is_above {
                image::Rgb([90; 3])
            } else {
                *picture.get_pixel(x, y)
            }
        });
        let found = finding(&dark);
        let unlike = BezelFinding::Kept {
            side: 0,
            reason: KeptReason::Unlike,
        };
        assert_eq!(found, unlike);
    }

    #[test]
    fn where_there_is_no_frame_the_marks_are_kept() {
        let plain = RgbImage::from_pixel(600, 420, image::Rgb([90; 3]));
        let look = look_for_bezel(&clicked(), &plain).expect("asked for");
        let found =
            Rectification::new(&clicked(), (600, 420), Some(2.0), Some(&look)).expect("sound");
        let kept = BezelFinding::Kept {
            side: 0,
            reason: KeptReason::NoEdge,
        };
        assert_eq!(found.figures().bezel, Some(kept));
        let plainly = Rectification::new(&clicked(), (600, 420), Some(2.0), None).expect("sound");
        assert_eq!(
            found.rectified_from_reference(),
            plainly.rectified_from_reference()
        );
    }
}
