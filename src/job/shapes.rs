//! Outlines and corners: do they enclose what they should?
use super::{error::FaultKind, raw::Mark};
use crate::frame::{Frame, Point};

/// Two lengths are taken for zero beside each other below this share: far below any mark, far above rounding.
const NOTHING: f64 = 1e-9;

/// A mark of the file as a point.
pub(super) fn point<F: Frame>(mark: Mark) -> Point<F> {
    Point::new(mark.0[0], mark.0[1])
}

/// Twice the signed area of the triangle: above 0 where a, b, c run clockwise on the screen, px^2.
pub(super) fn turn<F: Frame>(a: Point<F>, b: Point<F>, c: Point<F>) -> f64 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

/// An outline without repeated corners, once it is known to enclose an area and not to cross itself.
///
/// A last corner equal to the first is taken as closing the outline.
pub(super) fn outline<F: Frame>(corners: &[Point<F>]) -> Result<Vec<Point<F>>, FaultKind> {
    let mut kept: Vec<(usize, Point<F>)> = corners.iter().copied().enumerate().collect();
    kept.dedup_by_key(|(_, corner)| *corner);
    while kept.len() > 1 && kept.first().map(|k| k.1) == kept.last().map(|k| k.1) {
        kept.pop();
    }
    if kept.len() < 3 {
        return Err(FaultKind::OutlineTooFew { found: kept.len() });
    }
    let is_flat = {
        let first = kept[0].1;
        let far = kept
            .iter()
            .map(|k| k.1)
            .max_by(|a, b| first.distance(*a).total_cmp(&first.distance(*b)))
            .expect("there are three corners");
        let reach = first.distance(far);
        kept.iter()
            .all(|k| turn(first, far, k.1).abs() <= NOTHING * reach * reach)
    };
    if is_flat {
        return Err(FaultKind::OutlineFlat);
    }
    match crossing(&kept) {
        Some((first, second)) => Err(FaultKind::OutlineCrosses { first, second }),
        None => Ok(kept.into_iter().map(|k| k.1).collect()),
    }
}

/// How far a point lies outside of an outline, px; 0 where it lies inside.
pub(super) fn distance_outside<F: Frame>(outline: &[Point<F>], point: Point<F>) -> f64 {
    let mut is_inside = false;
    let mut nearest = f64::INFINITY;
    for (i, &a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        // Even-odd rule: edges that cross the ray to the right.
        if (a.y > point.y) != (b.y > point.y) {
            let x = a.x + (point.y - a.y) * (b.x - a.x) / (b.y - a.y);
            is_inside ^= point.x < x;
        }
        let (dx, dy) = (b.x - a.x, b.y - a.y);
        let square = dx * dx + dy * dy;
        let along = ((point.x - a.x) * dx + (point.y - a.y) * dy) / square.max(f64::MIN_POSITIVE);
        let along = along.clamp(0.0, 1.0);
        let foot = Point::new(a.x + along * dx, a.y + along * dy);
        nearest = nearest.min(point.distance(foot));
    }
    if is_inside { 0.0 } else { nearest }
}

/// The first two edges that meet elsewhere than at a shared corner, named by the corner before each.
fn crossing<F: Frame>(corners: &[(usize, Point<F>)]) -> Option<(usize, usize)> {
    let n = corners.len();
    let edge = |i: usize| [corners[i].1, corners[(i + 1) % n].1];
    for i in 0..n {
        for j in i + 1..n {
            let is_crossing = if j == i + 1 {
                folds_back(edge(i), edge(j))
            } else if i == 0 && j == n - 1 {
                folds_back(edge(j), edge(i))
            } else {
                meet(edge(i), edge(j))
            };
            if is_crossing {
                return Some((corners[i].0, corners[j].0));
            }
        }
    }
    None
}

/// Whether the second edge runs back along the first, which it follows.
fn folds_back<F: Frame>([a, b]: [Point<F>; 2], [_, c]: [Point<F>; 2]) -> bool {
    let along = (b.x - a.x) * (c.x - b.x) + (b.y - a.y) * (c.y - b.y);
    turn(a, b, c) == 0.0 && along < 0.0
}

/// Whether two segments have a point in common.
fn meet<F: Frame>([a, b]: [Point<F>; 2], [c, d]: [Point<F>; 2]) -> bool {
    let (c_side, d_side) = (turn(a, b, c), turn(a, b, d));
    let (a_side, b_side) = (turn(c, d, a), turn(c, d, b));
    let opposite = |s: f64, t: f64| (s > 0.0 && t < 0.0) || (s < 0.0 && t > 0.0);
    if opposite(c_side, d_side) && opposite(a_side, b_side) {
        return true;
    }
    let is_on = |side: f64, [a, b]: [Point<F>; 2], p: Point<F>| {
        side == 0.0
            && (a.x.min(b.x)..=a.x.max(b.x)).contains(&p.x)
            && (a.y.min(b.y)..=a.y.max(b.y)).contains(&p.y)
    };
    is_on(c_side, [a, b], c)
        || is_on(d_side, [a, b], d)
        || is_on(a_side, [c, d], a)
        || is_on(b_side, [c, d], b)
}

/// The centre of gravity of the area inside an outline that encloses one.
pub(crate) fn centre<F: Frame>(outline: &[Point<F>]) -> Point<F> {
    // About the first corner, so that a small outline far from the origin keeps its digits.
    let origin = outline[0];
    let (mut area, mut x, mut y) = (0.0, 0.0, 0.0);
    for pair in outline[1..].windows(2) {
        let weight = turn(origin, pair[0], pair[1]);
        area += weight;
        x += weight * ((pair[0].x - origin.x) + (pair[1].x - origin.x)) / 3.0;
        y += weight * ((pair[0].y - origin.y) + (pair[1].y - origin.y)) / 3.0;
    }
    Point::new(origin.x + x / area, origin.y + y / area)
}

/// Checks that four corners are the picture of a rectangle: convex, clockwise on the screen.
pub(super) fn check_corners<F: Frame>(corners: &[Point<F>; 4]) -> Result<(), FaultKind> {
    let at = |i: usize| corners[i % 4];
    let turns: [f64; 4] = std::array::from_fn(|i| turn(at(i + 3), at(i), at(i + 1)));
    for (index, turned) in turns.iter().enumerate() {
        let sides = at(index + 3).distance(at(index)) * at(index).distance(at(index + 1));
        // A sine of 1e-6: beyond any lens, within any click.
        if turned.abs() <= 1e-6 * sides {
            return Err(FaultKind::CornersInLine { index });
        }
    }
    match turns.iter().filter(|turned| **turned > 0.0).count() {
        4 => Ok(()),
        0 => Err(FaultKind::CornersCounterClockwise),
        2 => Err(FaultKind::CornersCrossed),
        three_or_one => {
            let is_odd = |turned: &f64| (*turned > 0.0) == (three_or_one == 1);
            let index = turns.iter().position(is_odd).unwrap_or_default();
            Err(FaultKind::CornersNotConvex { index })
        }
    }
}

/// Whether four of the points lie so that no three of them are on one line: then they determine the map of a plane.
///
/// That fails only where all points but one at most lie on one line, and such a line holds two of any three points.
pub(super) fn spans_a_plane<F: Frame>(points: &[Point<F>]) -> bool {
    let reach = |p: Point<F>| points.iter().map(|q| p.distance(*q)).fold(0.0, f64::max);
    let Some(&first) = points.first() else {
        return false;
    };
    let size = reach(first);
    // A sine of 1e-6 over the whole extent: beyond any lens, within any click.
    let is_flat = |twice_area: f64| twice_area.abs() <= 1e-6 * size * size;
    let triple = points.iter().skip(1).find_map(|&b| {
        let c = points.iter().find(|c| !is_flat(turn(first, b, **c)))?;
        Some([first, b, *c])
    });
    let Some([a, b, c]) = triple else {
        return false;
    };
    [[a, b], [b, c], [c, a]].into_iter().all(|[p, q]| {
        let off = points.iter().filter(|r| !is_flat(turn(p, q, **r))).count();
        off >= 2
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::RenderPx;

    fn points<const N: usize>(corners: [[f64; 2]; N]) -> [Point<RenderPx>; N] {
        corners.map(|[x, y]| Point::new(x, y))
    }

    fn outline_code<const N: usize>(corners: [[f64; 2]; N]) -> &'static str {
        outline(&points(corners)).map_or_else(|fault| fault.code(), |_| "sound")
    }

    #[test]
    fn outlines_that_enclose_an_area_are_sound() {
        assert_eq!(outline_code([[0., 0.], [9., 0.], [0., 9.]]), "sound");
        let dented = [[0., 0.], [9., 0.], [9., 9.], [5., 2.], [0., 9.]];
        assert_eq!(outline_code(dented), "sound");
        let on_an_edge = [[0., 0.], [4., 0.], [9., 0.], [9., 9.]];
        assert_eq!(outline_code(on_an_edge), "sound");
    }

    #[test]
    fn a_closing_corner_is_dropped() {
        let closed = points([[0., 0.], [9., 0.], [9., 0.], [0., 9.], [0., 0.]]);
        assert_eq!(outline(&closed).expect("sound").len(), 3);
    }

    #[test]
    fn faulty_outlines_are_told_apart() {
        assert_eq!(
            outline_code([[0., 0.], [0., 0.], [5., 5.], [0., 0.]]),
            "outline-too-few"
        );
        assert_eq!(
            outline_code([[0., 0.], [5., 5.], [9., 9.], [3., 3.]]),
            "outline-flat"
        );
        let bow_tie = [[0., 0.], [9., 9.], [9., 0.], [0., 9.]];
        assert_eq!(outline_code(bow_tie), "outline-crosses");
        let spike = [[0., 0.], [9., 0.], [9., 9.], [9., 4.], [0., 9.]];
        assert_eq!(outline_code(spike), "outline-crosses");
        let touching = [[0., 0.], [9., 0.], [9., 9.], [4., 0.], [0., 9.]];
        assert_eq!(outline_code(touching), "outline-crosses");
    }

    #[test]
    fn the_centre_is_that_of_the_area() {
        // An L of three unit squares: by hand (0.5 + 1.5 + 0.5) / 3.
        let l = points([[0., 0.], [2., 0.], [2., 1.], [1., 1.], [1., 2.], [0., 2.]]);
        let c = centre(&l);
        assert!((c.x - 2.5 / 3.0).abs() < 1e-12 && (c.y - 2.5 / 3.0).abs() < 1e-12);
        let square = points([
            [1e6, 1e6],
            [1e6 - 2., 1e6],
            [1e6 - 2., 1e6 - 2.],
            [1e6, 1e6 - 2.],
        ]);
        assert_eq!(centre(&square).xy(), [1e6 - 1., 1e6 - 1.]);
    }

    #[test]
    fn the_distance_outside_of_an_outline_is_that_to_its_nearest_side() {
        // An L: the notch lies outside.
        let corners = [
            [0.0, 0.0],
            [4.0, 0.0],
            [4.0, 2.0],
            [2.0, 2.0],
            [2.0, 4.0],
            [0.0, 4.0],
        ];
        let outline = corners.map(|[x, y]| Point::<RenderPx>::new(x, y));
        let far = |x, y| distance_outside(&outline, Point::new(x, y));
        assert_eq!([far(1.0, 1.0), far(1.0, 3.9), far(3.0, 1.0)], [0.0; 3]);
        assert_eq!(far(3.0, 3.0), 1.0);
        assert_eq!(far(7.0, -4.0), 5.0);
        assert_eq!(far(-0.5, 2.0), 0.5);
    }

    #[test]
    fn four_points_without_three_in_line_span_a_plane() {
        let square = points([[0., 0.], [9., 0.], [9., 9.], [0., 9.]]);
        assert!(spans_a_plane(&square));
        let all_but_one = points([[0., 0.], [4., 0.], [9., 0.], [5., 9.], [2., 0.]]);
        assert!(!spans_a_plane(&all_but_one));
        let two_off = points([[0., 0.], [4., 0.], [9., 0.], [5., 9.], [2., 3.]]);
        assert!(spans_a_plane(&two_off));
        assert!(!spans_a_plane(&points([[5., 5.]; 4])));
        assert!(!spans_a_plane::<RenderPx>(&[]));
    }

    #[test]
    fn corners_are_convex_and_clockwise_on_the_screen() {
        let code =
            |corners| check_corners(&points(corners)).map_or_else(|f| f.code(), |()| "sound");
        assert_eq!(code([[1., 1.], [9., 0.], [9., 8.], [0., 7.]]), "sound");
        assert_eq!(
            code([[0., 0.], [0., 9.], [9., 9.], [9., 0.]]),
            "corners-counter-clockwise"
        );
        assert_eq!(
            code([[0., 0.], [9., 0.], [0., 9.], [9., 9.]]),
            "corners-crossed"
        );
        assert_eq!(
            code([[0., 0.], [5., 5.], [9., 9.], [0., 9.]]),
            "corners-in-line"
        );
        assert_eq!(
            code([[0., 0.], [0., 0.], [9., 9.], [0., 9.]]),
            "corners-in-line"
        );
        assert_eq!(
            check_corners(&points([[0., 0.], [9., 0.], [2., 2.], [0., 9.]])),
            Err(FaultKind::CornersNotConvex { index: 2 })
        );
    }
}
