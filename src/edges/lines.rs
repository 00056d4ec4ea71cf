//! Edge points of a mesh that lie on one line: however many they are, they tell where it is no better than the line itself is known in the
//! reference, for light, blur and a bevel shift all of it.
use super::{points::EdgePoint, settings::EDGES};
use crate::registration::adjustment::EdgeMark;
use nalgebra::Vector2;

/// Which line each point of a scene lies on.
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
    /// Points of one part are on one line where its direction and its place are about theirs.
    pub(super) fn of(points: &[EdgePoint]) -> Self {
        let least = libm::cos(EDGES.line_direction.get().to_radians());
        let apart = EDGES.line_distance.get();
        let mut lines: Vec<Line> = Vec::new();
        let of_point = points.iter().map(|point| {
            let is_on = |line: &Line| {
                line.region == point.region
                    && line.normal.dot(&point.normal).abs() > least
                    && line.normal.dot(&(point.place - line.place)).abs() < apart
            };
            lines.iter().position(is_on).unwrap_or_else(|| {
                lines.push(Line {
                    region: point.region,
                    place: point.place,
                    normal: point.normal,
                });
                lines.len() - 1
            })
        });
        Self {
            of_point: of_point.collect(),
            count: lines.len(),
        }
    }

    /// Takes weight from marks, each given with its point, so that all of a line have together no more than it. `factor` is render pixels
    /// per working pixel.
    pub(super) fn share_out(&self, marks: &mut [(usize, EdgeMark)], factor: f64) {
        let mut sums = vec![0.0; self.count];
        for (k, mark) in marks.iter() {
            sums[self.of_point[*k]] += mark.weight;
        }
        let variance = (EDGES.line_deviation.get() * factor).powi(2);
        for (k, mark) in marks {
            mark.weight /= 1.0 + sums[self.of_point[*k]] * variance;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        frame::Point,
        registration::adjustment::{MarkNoise, Pair},
    };

    fn point(x: f64, y: f64, normal: [f64; 2], region: usize) -> EdgePoint {
        EdgePoint {
            place: Vector2::new(x, y),
            normal: Vector2::from(normal),
            region,
            space: None,
        }
    }

    fn mark(weight: f64) -> EdgeMark {
        EdgeMark {
            pair: Pair {
                render: Point::new(0.0, 0.0),
                reference: Point::new(0.0, 0.0),
                render_noise: MarkNoise::NONE,
                reference_noise: MarkNoise::NONE,
                along: None,
                space: None,
                region: None,
                part: None,
            },
            normal: Vector2::new(0.0, 1.0),
            weight,
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
        let lines = Lines::of(&points);
        assert_eq!(lines.count, 4);
        let mut marks: Vec<(usize, EdgeMark)> = (0..points.len()).map(|k| (k, mark(0.5))).collect();
        lines.share_out(&mut marks, 1.0);
        let variance = EDGES.line_deviation.get().powi(2);
        let of_line: f64 = marks[..200].iter().map(|(_, m)| m.weight).sum();
        assert!((of_line - 100.0 / (1.0 + 100.0 * variance)).abs() < 1e-9);
        assert!(of_line < 1.0 / variance);
        assert!((marks[201].1.weight - 0.5 / (1.0 + 0.5 * variance)).abs() < 1e-12);
    }
}
