//! From a mask to the outline around it: the border of its pixels, with no more corners than it needs.
//!
//! # Source
//! Following the cracks between pixels: A. Rosenfeld and A. Kak, "Digital Picture Processing" (2nd ed., 1982), section 11.1.3. Fewer
//! corners: D. Douglas and T. Peucker, "Algorithms for the reduction of the number of points required to represent a digitized line"
//! (1973).
use super::Plane;

/// The outer border of the largest piece of a mask (pixels that share a side, not 0), clockwise, in pixels: (0, 0) is the top left
/// corner of the first pixel. The second number is the piece's share of the mask's pixels. `None` where the mask is empty.
pub fn largest_piece(mask: &Plane<u8>) -> Option<(Vec<[f64; 2]>, f64)> {
    let (pieces, sizes) = pieces(mask);
    let largest = (0..sizes.len()).max_by_key(|&k| (sizes[k], std::cmp::Reverse(k)))?;
    let all: usize = sizes.iter().sum();
    let share = sizes[largest] as f64 / all as f64;
    Some((border(&pieces, largest as u32 + 1), share))
}

/// Each pixel's piece, counted from 1, and how many pixels each piece has.
fn pieces(mask: &Plane<u8>) -> (Plane<u32>, Vec<usize>) {
    let (height, width) = mask.dim();
    let mut pieces = Plane::<u32>::zeros((height, width));
    let mut sizes = Vec::new();
    let mut open = Vec::new();
    for first in 0..height * width {
        let at = [first / width, first % width];
        if mask[at] == 0 || pieces[at] != 0 {
            continue;
        }
        let own = sizes.len() as u32 + 1;
        let mut size = 0;
        pieces[at] = own;
        open.push(at);
        while let Some([y, x]) = open.pop() {
            size += 1;
            let around = [
                [y.wrapping_sub(1), x],
                [y + 1, x],
                [y, x.wrapping_sub(1)],
                [y, x + 1],
            ];
            for next in around {
                let is_new =
                    next[0] < height && next[1] < width && mask[next] != 0 && pieces[next] == 0;
                if is_new {
                    pieces[next] = own;
                    open.push(next);
                }
            }
        }
        sizes.push(size);
    }
    (pieces, sizes)
}

/// The outer border of a piece, with it on the right hand; corners where it turns.
fn border(pieces: &Plane<u32>, own: u32) -> Vec<[f64; 2]> {
    let (height, width) = pieces.dim();
    let is_inside = |x: i64, y: i64| {
        let is_on = x >= 0 && y >= 0 && x < width as i64 && y < height as i64;
        is_on && pieces[[y as usize, x as usize]] == own
    };
    let Some(first) = pieces.iter().position(|piece| *piece == own) else {
        return Vec::new();
    };
    let start = ((first % width) as i64, (first / width) as i64);
    // Right, down, left, up; the pixels ahead on the right hand and on the left.
    const WAYS: [(i64, i64); 4] = [(1, 0), (0, 1), (-1, 0), (0, -1)];
    const RIGHT: [(i64, i64); 4] = [(0, 0), (-1, 0), (-1, -1), (0, -1)];
    const LEFT: [(i64, i64); 4] = [(0, -1), (0, 0), (-1, 0), (-1, -1)];
    let mut corners = vec![[start.0 as f64, start.1 as f64]];
    let ((mut x, mut y), mut way) = ((start.0 + 1, start.1), 0);
    // No border is longer than four sides a pixel.
    for _ in 0..4 * width * height {
        let next = if !is_inside(x + RIGHT[way].0, y + RIGHT[way].1) {
            (way + 1) % 4
        } else if is_inside(x + LEFT[way].0, y + LEFT[way].1) {
            (way + 3) % 4
        } else {
            way
        };
        if (x, y) == start && next == 0 {
            break;
        }
        if next != way {
            corners.push([x as f64, y as f64]);
        }
        way = next;
        (x, y) = (x + WAYS[way].0, y + WAYS[way].1);
    }
    corners
}

/// A closed outline with fewer corners, from which no left out one lies farther than `within` pixels; at most `most` corners, three or
/// more, for which it is let lie farther.
pub fn simplified(outline: &[[f64; 2]], within: f64, most: usize) -> Vec<[f64; 2]> {
    if outline.len() <= 3 {
        return outline.to_vec();
    }
    let far = |from: [f64; 2]| {
        let distance = |k: &usize| {
            let [x, y] = outline[*k];
            (x - from[0]).hypot(y - from[1])
        };
        (0..outline.len())
            .max_by(|a, b| distance(a).total_cmp(&distance(b)))
            .unwrap_or(0)
    };
    // Two halves between corners that are far from each other.
    let one = far(outline[0]);
    let other = far(outline[one]);
    let (low, high) = (one.min(other), one.max(other));
    let around: Vec<[f64; 2]> = (0..=outline.len())
        .map(|k| outline[(low + k) % outline.len()])
        .collect();
    let mut within = within;
    loop {
        let mut kept = vec![false; around.len()];
        (kept[0], kept[high - low], kept[around.len() - 1]) = (true, true, true);
        keep(&around, (0, high - low), within, &mut kept);
        keep(&around, (high - low, around.len() - 1), within, &mut kept);
        let corners = around.iter().zip(&kept).filter(|(_, kept)| **kept);
        let mut corners: Vec<[f64; 2]> = corners.map(|(corner, _)| *corner).collect();
        corners.pop();
        // Past the size of any raster two corners are left.
        if corners.len() <= most.max(3) || within > 1e9 {
            return corners;
        }
        within *= 1.5;
    }
}

/// Marks the corners between two that are to be kept.
fn keep(points: &[[f64; 2]], ends: (usize, usize), within: f64, kept: &mut [bool]) {
    let mut open = vec![ends];
    while let Some((from, to)) = open.pop() {
        let (a, b) = (points[from], points[to]);
        let way = [b[0] - a[0], b[1] - a[1]];
        let square = (way[0] * way[0] + way[1] * way[1]).max(1e-300);
        let off = |k: &usize| {
            let p = [points[*k][0] - a[0], points[*k][1] - a[1]];
            let share = ((p[0] * way[0] + p[1] * way[1]) / square).clamp(0.0, 1.0);
            (p[0] - share * way[0]).hypot(p[1] - share * way[1])
        };
        let farthest = (from + 1..to).max_by(|a, b| off(a).total_cmp(&off(b)));
        if let Some(k) = farthest.filter(|k| off(k) > within) {
            kept[k] = true;
            open.extend([(from, k), (k, to)]);
        }
    }
}

/// The corners of the convex outline around points, clockwise.
///
/// # Source
/// A. Andrew, "Another efficient algorithm for convex hulls in two dimensions" (1979).
pub fn hull(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut sorted = points.to_vec();
    sorted.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    sorted.dedup();
    if sorted.len() < 3 {
        return sorted;
    }
    let half = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut half: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = half[..] {
                let turn = (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]);
                if turn > 0.0 {
                    break;
                }
                half.pop();
            }
            half.push(p);
        }
        half.pop();
        half
    };
    let mut around = half(&mut sorted.iter().copied());
    around.extend(half(&mut sorted.iter().rev().copied()));
    around
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::kernels::fill::fill_polygon;

    fn mask(rows: &[&str]) -> Plane<u8> {
        let (height, width) = (rows.len(), rows[0].len());
        Plane::from_shape_fn((height, width), |(y, x)| {
            u8::from(rows[y].as_bytes()[x] == b'#')
        })
    }

    #[test]
    fn one_pixel_has_four_corners() {
        let (outline, share) = largest_piece(&mask(&["...", ".#.", "..."])).expect("a piece");
        assert_eq!(outline, [[1.0, 1.0], [2.0, 1.0], [2.0, 2.0], [1.0, 2.0]]);
        assert_eq!(share, 1.0);
        assert!(largest_piece(&mask(&["..", ".."])).is_none());
    }

    #[test]
    fn the_border_encloses_the_largest_piece_and_nothing_else() {
        let mask = mask(&[
            "##....#.", "##..###.", "....##..", ".####...", ".#.##.##", ".#######", "......#.",
        ]);
        let (outline, share) = largest_piece(&mask).expect("a piece");
        let inside = fill_polygon(&outline, (8, 7));
        let (pieces, sizes) = pieces(&mask);
        assert_eq!(sizes[0], 4);
        assert!((share - 23.0 / 27.0).abs() < 1e-12, "{share}");
        for ((at, inside), piece) in inside.indexed_iter().zip(&pieces) {
            // The hole at (2, 4) is enclosed as well.
            let is_own = *piece == 2 || at == (4, 2);
            assert_eq!(*inside != 0, is_own, "{at:?}");
        }
    }

    #[test]
    fn corners_that_say_nothing_go_and_no_more_than_asked_for_stay() {
        let stairs: Vec<[f64; 2]> = (0..40)
            .flat_map(|k| {
                [
                    [f64::from(k), f64::from(k)],
                    [f64::from(k) + 1.0, f64::from(k)],
                ]
            })
            .chain([[40.0, 40.0], [0.0, 40.0]])
            .collect();
        let few = simplified(&stairs, 1.0, 100);
        assert!((3..=5).contains(&few.len()), "{few:?}");
        assert_eq!(
            simplified(&stairs, 0.1, 10).len().min(11),
            simplified(&stairs, 0.1, 10).len()
        );
        let square = [[0.0, 0.0], [9.0, 0.0], [9.0, 9.0], [0.0, 9.0]];
        assert_eq!(simplified(&square, 1.0, 100).len(), 4);
    }

    #[test]
    fn a_hull_has_the_outermost_points_alone() {
        let points = [
            [0.0, 0.0],
            [4.0, 0.0],
            [2.0, 1.0],
            [4.0, 3.0],
            [0.0, 3.0],
            [2.0, 0.0],
        ];
        let found = hull(&points);
        assert_eq!(found, [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]]);
        assert_eq!(hull(&points[..1]).len(), 1);
    }
}
