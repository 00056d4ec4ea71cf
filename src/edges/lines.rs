//! Edge points of a mesh that lie on one line: however many they are, they tell where it is no better than the line itself is known in the
//! reference, for light, blur and a bevel shift all of it.
use super::{points::EdgePoint, settings::EDGES};
use nalgebra::Vector2;

/// Which line each of several points lies on.
pub(super) struct Lines {
    of_point: Vec<usize>,
    count: usize,
}

/// A line, by the first of its points.
struct Line {
    region: usize,
    place: Vector2<f64>,
    normal: Vector2<f64>,
}

impl Lines {
    /// Points of one part are on one line where its direction and its place are about theirs; each with its part, place and normal.
    pub(super) fn of(points: impl Iterator<Item = (usize, Vector2<f64>, Vector2<f64>)>) -> Self {
        let least = libm::cos(EDGES.line_direction.get().to_radians());
        let apart = EDGES.line_distance.get();
        let mut lines: Vec<Line> = Vec::new();
        let of_point = points.map(|(region, place, normal)| {
            let is_on = |line: &Line| {
                line.region == region
                    && line.normal.dot(&normal).abs() > least
                    && line.normal.dot(&(place - line.place)).abs() < apart
            };
            lines.iter().position(is_on).unwrap_or_else(|| {
                lines.push(Line {
                    region,
                    place,
                    normal,
                });
                lines.len() - 1
            })
        });
        Self {
            of_point: of_point.collect(),
            count: lines.len(),
        }
    }

    /// The line of a point.
    pub(super) fn line_of(&self, point: usize) -> usize {
        self.of_point[point]
    }

    /// The same of the edge points of a render.
    pub(super) fn of_points(points: &[EdgePoint]) -> Self {
        Self::of(points.iter().map(|p| (p.region, p.place, p.normal)))
    }

    /// Weights, each given with its point, so much less that all of a line have together no more than the line, whose variance this is.
    pub(super) fn shared_out(&self, weights: &[(usize, f64)], variance: f64) -> Vec<f64> {
        let mut sums = vec![0.0; self.count];
        for (k, weight) in weights {
            sums[self.of_point[*k]] += weight;
        }
        let share =
            |(k, weight): &(usize, f64)| weight / (1.0 + sums[self.of_point[*k]] * variance);
        weights.iter().map(share).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn point(x: f64, y: f64, normal: [f64; 2], region: usize) -> EdgePoint {
        EdgePoint {
            place: Vector2::new(x, y),
            normal: Vector2::from(normal),
            region,
            space: None,
        }
    }

    #[test]
    fn many_points_of_a_line_weigh_no_more_than_the_line() {
        let across = [0.0, 1.0];
        let mut points: Vec<EdgePoint> = (0..200)
            .map(|k| point(3.0 * f64::from(k), 5.0, across, 0))
            .collect();
        // Another part, another direction, another place.
        points.push(point(7.0, 5.0, across, 1));
        points.push(point(7.0, 5.0, [1.0, 0.0], 0));
        points.push(point(7.0, 40.0, across, 0));
        let lines = Lines::of_points(&points);
        assert_eq!(lines.count, 4);
        let weights: Vec<(usize, f64)> = (0..points.len()).map(|k| (k, 0.5)).collect();
        let variance = EDGES.line_deviation.get().powi(2);
        let shared = lines.shared_out(&weights, variance);
        let of_line: f64 = shared[..200].iter().sum();
        assert!((of_line - 100.0 / (1.0 + 100.0 * variance)).abs() < 1e-9);
        assert!(of_line < 1.0 / variance);
        assert!((shared[201] - 0.5 / (1.0 + 0.5 * variance)).abs() < 1e-12);
    }
}
