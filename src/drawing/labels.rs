//! Places for labels: beside what they name, inside the picture, never over one another.
use super::scene::{Box2, Position};
use crate::stop;

/// A label that wants a place.
#[derive(Clone, Debug)]
pub(crate) struct Wanted {
    /// What it names: the label goes over or beside this.
    pub about: Box2,
    /// Width and height of its versions, the fullest first; a later one is taken where an earlier one finds no place.
    pub sizes: Vec<Position>,
}

/// The place of a label.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placed {
    /// Index into the sizes.
    pub version: usize,
    pub area: Box2,
    /// A line from the label to what it names, where the label had to move away or stands on something else.
    pub leader: Option<[Position; 2]>,
}

/// Finds a place for every label, in the order given: the first ones get the best places.
///
/// The areas lie inside `bounds` and do not overlap. `obstacles` are kept free as far as possible. A label for whose
/// smallest version there is no room at all gets `None`. The same input gives the same places.
pub(crate) fn place(bounds: Box2, wanted: &[Wanted], obstacles: &[Box2]) -> Vec<Option<Placed>> {
    let mut layout = Layout {
        bounds,
        obstacles,
        taken: Vec::new(),
        leaders: Vec::new(),
    };
    wanted.iter().map(|label| layout.settle(label)).collect()
}

/// Share of the picture's diagonal that a fuller version may move before a smaller one is tried.
const FARTHEST: f64 = 0.3;

struct Layout<'a> {
    bounds: Box2,
    obstacles: &'a [Box2],
    taken: Vec<Box2>,
    leaders: Vec<[Position; 2]>,
}

impl Layout<'_> {
    fn settle(&mut self, label: &Wanted) -> Option<Placed> {
        stop::check().ok()?;
        let farthest = FARTHEST * self.bounds.width.hypot(self.bounds.height);
        let last = label.sizes.len().checked_sub(1)?;
        let found = label.sizes.iter().enumerate().find_map(|(version, size)| {
            let (cost, area) = self.best(label.about, *size)?;
            (cost <= farthest || version == last).then_some((version, area))
        });
        let (version, area) = found?;
        let leader = if self.stands_on_another(area, label.about) {
            leader_into(area, label.about)
        } else {
            leader(area, label.about, area.height.min(self.bounds.height) * 0.6)
        };
        self.taken.push(area);
        self.leaders.extend(leader);
        Some(Placed {
            version,
            area,
            leader,
        })
    }

    /// The cheapest free area of this size and its cost, in scene units.
    fn best(&self, about: Box2, size: Position) -> Option<(f64, Box2)> {
        let mut best: Option<(f64, Box2)> = None;
        for [x, y] in candidates(self.bounds, about, size) {
            let area = Box2::new(x, y, size[0], size[1]);
            let free = self.bounds.holds(area) && self.taken.iter().all(|t| t.shared(area) == 0.0);
            if !free {
                continue;
            }
            let limit = best.map_or(f64::INFINITY, |(cost, _)| cost);
            let distance = gap(area, about);
            if distance >= limit {
                continue;
            }
            let cost = distance + self.nuisance(area, about);
            if cost < limit {
                best = Some((cost, area));
            }
        }
        best
    }

    /// Whether a label would seem to name something else than it does: it covers that and not its own.
    fn stands_on_another(&self, area: Box2, about: Box2) -> bool {
        let mut others = self.obstacles.iter().filter(|other| **other != about);
        area.shared(about) == 0.0 && others.any(|other| other.shared(area) > 0.0)
    }

    /// What a place costs beyond its distance: hiding what should be seen, and lines that cross labels.
    fn nuisance(&self, area: Box2, about: Box2) -> f64 {
        let weight = area.height / (area.width * area.height);
        let hidden: f64 = self.obstacles.iter().map(|o| o.shared(area)).sum();
        let own = area.shared(about);
        let mut cost = (2.0 * hidden + own) * weight;
        if let Some(line) = leader(area, about, 0.0) {
            let through = self.taken.iter().filter(|t| passes(line, **t)).count();
            cost += through as f64 * 3.0 * area.height;
        }
        let under = self.leaders.iter().filter(|l| passes(**l, area)).count();
        cost + under as f64 * 3.0 * area.height
    }
}

/// Distance between two boxes; 0 where they touch.
fn gap(a: Box2, b: Box2) -> f64 {
    let dx = (a.x - b.right()).max(b.x - a.right()).max(0.0);
    let dy = (a.y - b.bottom()).max(b.y - a.bottom()).max(0.0);
    dx.hypot(dy)
}

/// The line from a label to what it names where the gap is wider than `near`.
fn leader(area: Box2, about: Box2, near: f64) -> Option<[Position; 2]> {
    (gap(area, about) > near).then(|| {
        let end = about.nearest(area.centre());
        [area.nearest(end), end]
    })
}

/// The line from a label into what it names; none where it names a point beside which it stands.
fn leader_into(area: Box2, about: Box2) -> Option<[Position; 2]> {
    /// Share of the way from the border to the middle.
    const INTO: f64 = 0.4;
    let (border, middle) = (about.nearest(area.centre()), about.centre());
    let end = [0, 1].map(|k| border[k] + INTO * (middle[k] - border[k]));
    let from = area.nearest(end);
    (from != end && about.width > 0.0).then_some([from, end])
}

/// Whether a line touches a box (Liang and Barsky 1984).
fn passes([from, to]: [Position; 2], area: Box2) -> bool {
    let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
    for (k, low, high) in [(0, area.x, area.right()), (1, area.y, area.bottom())] {
        let step = to[k] - from[k];
        if step == 0.0 {
            if from[k] <= low || from[k] >= high {
                return false;
            }
            continue;
        }
        let (a, b) = ((low - from[k]) / step, (high - from[k]) / step);
        enter = enter.max(a.min(b));
        leave = leave.min(a.max(b));
    }
    enter < leave
}

/// Top left corners to try: close round the named box first, then a lattice over the whole picture.
fn candidates(bounds: Box2, about: Box2, size: Position) -> Vec<Position> {
    let [width, height] = size;
    let space = height * 0.1;
    let (left, right) = (about.x - width - space, about.right() + space);
    let (above, below) = (about.y - height - space, about.bottom() + space);
    let [middle_x, middle_y] = about.centre();
    let (centred_x, centred_y) = (middle_x - width / 2.0, middle_y - height / 2.0);
    let mut found = vec![
        [centred_x, above],
        [centred_x, below],
        [right, centred_y],
        [left, centred_y],
        [about.x, above],
        [about.x, below],
        [right, about.y],
        [left, about.y],
        [right, above],
        [right, below],
        [left, above],
        [left, below],
        [centred_x, centred_y],
    ];
    // Beside a part at the rim the label slides along the rim.
    for at in found.clone() {
        found.push([
            at[0].min(bounds.right() - width).max(bounds.x),
            at[1].min(bounds.bottom() - height).max(bounds.y),
        ]);
    }
    let (columns, column) = lattice(bounds.width - width, height);
    let (rows, row) = lattice(bounds.height - height, height / 2.0);
    for j in 0..rows {
        for i in 0..columns {
            found.push([bounds.x + i as f64 * column, bounds.y + j as f64 * row]);
        }
    }
    found
}

/// Number and distance of lattice positions over `room`, about `step` apart, 64 at most.
fn lattice(room: f64, step: f64) -> (usize, f64) {
    if room < 0.0 || step <= 0.0 {
        return (0, 0.0);
    }
    let steps = (room / step).ceil().clamp(1.0, 63.0);
    (steps as usize + 1, room / steps)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const BOUNDS: Box2 = Box2::new(0.0, 0.0, 1000.0, 700.0);

    fn label(x: f64, y: f64, sizes: &[Position]) -> Wanted {
        Wanted {
            about: Box2::new(x, y, 0.0, 0.0),
            sizes: sizes.to_vec(),
        }
    }

    fn assert_sound(bounds: Box2, places: &[Option<Placed>]) {
        let areas: Vec<Box2> = places.iter().flatten().map(|p| p.area).collect();
        for (i, a) in areas.iter().enumerate() {
            assert!(bounds.holds(*a), "{a:?} leaves {bounds:?}");
            assert!(
                areas[..i].iter().all(|b| a.shared(*b) == 0.0),
                "{a:?} overlaps"
            );
        }
    }

    #[test]
    fn a_label_that_stands_on_something_else_points_into_its_own() {
        let part = |x: f64| Box2::new(x, 300.0, 100.0, 100.0);
        let [own, other] = [part(100.0), part(202.0)];
        let wanted = Wanted {
            about: own,
            sizes: vec![[90.0, 90.0]],
        };
        // There is room on the other alone.
        let places = place(other, &[wanted], &[own, other]);
        let placed = places[0].expect("has room");
        assert!(other.shared(placed.area) > 0.0);
        let [from, to] = placed.leader.expect("points back");
        assert!(own.holds(Box2::new(to[0], to[1], 0.0, 0.0)), "{to:?}");
        assert!(
            placed.area.x <= from[0] && to[0] < from[0] - 10.0,
            "{from:?}"
        );
    }

    #[test]
    fn a_label_alone_stands_close_by_without_a_leader() {
        let places = place(BOUNDS, &[label(500.0, 300.0, &[[120.0, 20.0]])], &[]);
        let placed = places[0].expect("has room");
        assert_eq!(placed.leader, None);
        assert!(gap(placed.area, Box2::new(500.0, 300.0, 0.0, 0.0)) < 12.0);
    }

    #[test]
    fn twenty_labels_for_one_point_spread_out_with_leaders() {
        let wanted = vec![label(990.0, 690.0, &[[150.0, 40.0]]); 20];
        let places = place(BOUNDS, &wanted, &[]);
        assert!(places.iter().all(Option::is_some));
        assert_sound(BOUNDS, &places);
        assert!(places[19].expect("placed").leader.is_some());
    }

    #[test]
    fn a_smaller_version_is_taken_where_the_full_one_has_no_room() {
        let places = place(
            BOUNDS,
            &[label(10.0, 10.0, &[[1100.0, 40.0], [90.0, 20.0]])],
            &[],
        );
        assert_eq!(places[0].expect("has room").version, 1);
        assert_eq!(
            place(BOUNDS, &[label(10.0, 10.0, &[[1100.0, 40.0]])], &[]),
            [None]
        );
        assert_eq!(place(BOUNDS, &[label(10.0, 10.0, &[])], &[]), [None]);
    }

    #[test]
    fn an_obstacle_is_kept_free_where_there_is_room_elsewhere() {
        let obstacle = Box2::new(300.0, 0.0, 400.0, 299.0);
        let places = place(
            BOUNDS,
            &[label(500.0, 300.0, &[[120.0, 20.0]])],
            &[obstacle],
        );
        assert_eq!(places[0].expect("has room").area.shared(obstacle), 0.0);
    }

    #[test]
    fn a_line_passes_a_box_or_misses_it() {
        let area = Box2::new(10.0, 10.0, 10.0, 10.0);
        assert!(passes([[0.0, 0.0], [30.0, 30.0]], area));
        assert!(passes([[15.0, 0.0], [15.0, 40.0]], area));
        assert!(!passes([[0.0, 0.0], [30.0, 9.0]], area));
        assert!(!passes([[5.0, 0.0], [5.0, 40.0]], area));
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 40, failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn labels_of_random_anchors_never_overlap_nor_leave(
            anchors in prop::collection::vec((-50.0..1050.0_f64, -50.0..750.0_f64, 0.0..300.0_f64, 20.0..400.0_f64), 0..30),
        ) {
            let wanted: Vec<Wanted> = anchors
                .iter()
                .map(|(x, y, side, width)| Wanted {
                    about: Box2::new(*x, *y, *side, side / 2.0),
                    sizes: vec![[*width, 45.0], [width / 2.0, 18.0]],
                })
                .collect();
            let obstacles: Vec<Box2> = wanted.iter().map(|w| w.about).collect();
            let places = place(BOUNDS, &wanted, &obstacles);
            assert_sound(BOUNDS, &places);
            prop_assert_eq!(&places, &place(BOUNDS, &wanted, &obstacles));
        }
    }
}
