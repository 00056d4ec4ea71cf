//! Filled outlines.
use super::{Plane, plane_of};
use rayon::prelude::*;

/// 255 where a pixel's centre lies inside the outline, 0 elsewhere, in a plane of `size` (width, height).
///
/// The outline closes itself and may cross itself (inside is where a ray leaves it an odd number of times) and leave
/// the image. A centre on the border belongs to the side to its right and below, so outlines that share a border share
/// no pixel. Fewer than three points, or a coordinate that is not finite, enclose nothing.
pub fn fill_polygon(outline: &[[f64; 2]], size: (usize, usize)) -> Plane<u8> {
    let (width, height) = size;
    let mut pixels = vec![0; width * height];
    let sides = sides(outline);
    pixels
        .par_chunks_mut(width.max(1))
        .enumerate()
        .for_each_init(Vec::new, |crossings, (y, row)| {
            cross(&sides, y as f64 + 0.5, crossings);
            for pair in crossings.chunks_exact(2) {
                // The first centre at or right of a crossing; the conversion cuts off at 0.
                let [from, to] = [pair[0], pair[1]].map(|x| ((x - 0.5).ceil() as usize).min(width));
                row[from..to].fill(255);
            }
        });
    plane_of(width, height, pixels)
}

/// The sides that are not horizontal, each from top to bottom: both neighbours of a side then compute the same crossing.
fn sides(outline: &[[f64; 2]]) -> Vec<[[f64; 2]; 2]> {
    if outline.iter().flatten().any(|v| !v.is_finite()) {
        return Vec::new();
    }
    let next = outline.iter().cycle().skip(1);
    outline
        .iter()
        .zip(next)
        .filter(|(a, b)| a[1] != b[1])
        .map(|(&a, &b)| if a[1] < b[1] { [a, b] } else { [b, a] })
        .collect()
}

/// Where the level `y` crosses the sides, from left to right; their number is even.
fn cross(sides: &[[[f64; 2]; 2]], y: f64, crossings: &mut Vec<f64>) {
    crossings.clear();
    for [top, bottom] in sides {
        if top[1] <= y && y < bottom[1] {
            let part = (y - top[1]) / (bottom[1] - top[1]);
            crossings.push(top[0] + part * (bottom[0] - top[0]));
        }
    }
    crossings.sort_by(f64::total_cmp);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::test_planes::{Random, mirrored, quarter_turned};

    /// A ray to the left of each pixel centre, counted side by side.
    fn slow(outline: &[[f64; 2]], size: (usize, usize)) -> Plane<u8> {
        Plane::from_shape_fn((size.1, size.0), |(row, column)| {
            let (x, y) = (column as f64 + 0.5, row as f64 + 0.5);
            let crossed = (0..outline.len()).filter(|&i| {
                let (a, b) = (outline[i], outline[(i + 1) % outline.len()]);
                (a[1] <= y) != (b[1] <= y) && a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) <= x
            });
            if crossed.count() % 2 == 1 { 255 } else { 0 }
        })
    }

    fn outline(random: &mut Random, points: usize) -> Vec<[f64; 2]> {
        let mut coordinate = || f64::from(random.below(9000)) / 100.0 - 20.0;
        (0..points).map(|_| [coordinate(), coordinate()]).collect()
    }

    #[test]
    fn a_triangle_in_five_by_five_written_out() {
        let filled = fill_polygon(&[[0.0, 0.0], [5.0, 0.0], [0.0, 5.0]], (5, 5));
        let rows = ["####.", "###..", "##...", "#....", "....."];
        let expected = Plane::from_shape_fn((5, 5), |(y, x)| {
            255 * u8::from(rows[y].as_bytes()[x] == b'#')
        });
        assert_eq!(filled, expected);
    }

    #[test]
    fn agrees_with_counting_rays_for_random_outlines_that_leave_the_image() {
        let mut random = Random(4);
        for points in [3, 4, 5, 9, 30] {
            for size in [(50, 60), (1, 1), (1, 60), (60, 1)] {
                let outline = outline(&mut random, points);
                assert_eq!(
                    fill_polygon(&outline, size),
                    slow(&outline, size),
                    "{outline:?}"
                );
            }
        }
    }

    #[test]
    fn corners_and_sides_on_pixel_centres_count_once() {
        let mut random = Random(31);
        for _ in 0..200 {
            let mut half = || f64::from(random.below(24)) / 2.0 - 1.0;
            let outline: Vec<[f64; 2]> = (0..5).map(|_| [half(), half()]).collect();
            let (filled, exact) = (fill_polygon(&outline, (10, 10)), slow(&outline, (10, 10)));
            // Centres that lie on a side itself may be rounded either way; those on a row of corners may not.
            let wrong = filled.iter().zip(&exact).filter(|(a, b)| a != b).count();
            assert!(wrong <= 1, "{outline:?}");
        }
    }

    #[test]
    fn turning_and_mirroring_the_outline_turns_and_mirrors_the_filling() {
        let mut random = Random(9);
        for _ in 0..20 {
            // Hundredths that are no halves, so that no centre lies on a corner; centres on sides are as unlikely.
            let outline: Vec<[f64; 2]> = outline(&mut random, 7)
                .iter()
                .map(|p| p.map(|v| v + 0.00317))
                .collect();
            let filled = fill_polygon(&outline, (50, 50));
            let mirror: Vec<[f64; 2]> = outline.iter().map(|p| [50.0 - p[0], p[1]]).collect();
            assert_eq!(fill_polygon(&mirror, (50, 50)), mirrored(&filled));
            let turned: Vec<[f64; 2]> = outline.iter().map(|p| [50.0 - p[1], p[0]]).collect();
            assert_eq!(fill_polygon(&turned, (50, 50)), quarter_turned(&filled));
        }
    }

    #[test]
    fn outlines_that_share_a_side_share_no_pixel_and_leave_none_out() {
        let left = [[1.0, 1.0], [4.5, 1.0], [6.5, 9.0], [1.0, 9.0]];
        let right = [[4.5, 1.0], [9.0, 1.0], [9.0, 9.0], [6.5, 9.0]];
        let both = fill_polygon(&left, (10, 10)).mapv(u16::from)
            + fill_polygon(&right, (10, 10)).mapv(u16::from);
        let whole = fill_polygon(&[[1.0, 1.0], [9.0, 1.0], [9.0, 9.0], [1.0, 9.0]], (10, 10));
        assert_eq!(both, whole.mapv(u16::from));
    }

    #[test]
    fn nothing_is_enclosed_by_too_few_or_infinite_points() {
        let infinite = [[0.0, 0.0], [f64::INFINITY, 0.0], [0.0, f64::NAN]];
        for outline in [&[][..], &[[1.0, 1.0]], &[[0.0, 0.0], [9.0, 9.0]], &infinite] {
            assert!(fill_polygon(outline, (8, 8)).iter().all(|&v| v == 0));
        }
        assert_eq!(
            fill_polygon(&[[0.0, 0.0], [9.0, 0.0], [0.0, 9.0]], (0, 0)).dim(),
            (0, 0)
        );
    }
}
