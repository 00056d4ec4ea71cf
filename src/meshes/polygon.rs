//! A polygon in space as triangles: fans where it is convex, ears cut off where it is not.
//!
//! # Source
//! G. H. Meisters, Polygons have ears, American Mathematical Monthly 82 (1975), 648-651.
use super::{error::Fault, soup::Soup};

/// Comparisons that cutting ears may take in one file: a judgement, about a second.
const MOST_STEPS: u64 = 300_000_000;

/// Cuts the polygons of one file.
#[derive(Debug, Default)]
pub(super) struct Cutter {
    steps: u64,
    flat: Vec<[f64; 2]>,
    left: Vec<u32>,
}

impl Cutter {
    /// Adds the triangles of a polygon whose corners are vertices of `soup`.
    pub(super) fn add(&mut self, soup: &mut Soup, corners: &[u32]) -> Result<(), Fault> {
        if let [a, b, c] = *corners {
            return soup.facet([a, b, c]);
        }
        self.flatten(soup, corners);
        if self.is_convex() {
            return corners
                .windows(2)
                .skip(1)
                .try_for_each(|pair| soup.facet([corners[0], pair[0], pair[1]]));
        }
        self.cut_ears(soup, corners)
    }

    /// The polygon on the plane of its mean normal (Newell's), counter-clockwise.
    fn flatten(&mut self, soup: &Soup, corners: &[u32]) {
        let place = |i: usize| soup.vertices[corners[i % corners.len()] as usize];
        let mut normal = [0.0_f64; 3];
        for i in 0..corners.len() {
            let (a, b) = (place(i), place(i + 1));
            for (k, sum) in normal.iter_mut().enumerate() {
                let (u, v) = ((k + 1) % 3, (k + 2) % 3);
                *sum += (a[u] - b[u]) * (a[v] + b[v]);
            }
        }
        let largest = (0..3).max_by(|a, b| normal[*a].abs().total_cmp(&normal[*b].abs()));
        let axis = largest.unwrap_or(2);
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let sign = if normal[axis] < 0.0 { -1.0 } else { 1.0 };
        self.flat.clear();
        self.flat
            .extend((0..corners.len()).map(|i| [place(i)[u], sign * place(i)[v]]));
    }

    fn is_convex(&self) -> bool {
        let n = self.flat.len();
        let corner = |i: usize| self.flat[i % n];
        let turns = |i: usize| turn(corner(i), corner(i + 1), corner(i + 2)) >= 0.0;
        // A star turns one way, too, but more than once around: four corners cannot.
        (0..n).all(turns)
            && (n == 4 || (1..n - 1).all(|i| turn(corner(0), corner(i), corner(i + 1)) >= 0.0))
    }

    fn cut_ears(&mut self, soup: &mut Soup, corners: &[u32]) -> Result<(), Fault> {
        self.left.clear();
        self.left.extend(0..corners.len() as u32);
        let (mut at, mut failed) = (0, 0);
        while self.left.len() > 3 {
            let n = self.left.len();
            let ends = [(at + n - 1) % n, at % n, (at + 1) % n].map(|i| self.left[i]);
            // A polygon that crosses itself may have no ear left: cut on regardless, so that it ends.
            if self.is_ear(ends) || failed > n {
                soup.facet(ends.map(|i| corners[i as usize]))?;
                self.left.remove(at % n);
                at = (at % n).saturating_sub(1);
                failed = 0;
            } else {
                at = (at + 1) % n;
                failed += 1;
            }
            self.steps += n as u64;
            if self.steps > MOST_STEPS {
                return Err(Fault::Unsupported {
                    format: soup.format,
                    found: "polygons with too many corners that are not convex".to_owned(),
                    advice: "export triangles",
                });
            }
        }
        let last = [self.left[0], self.left[1], self.left[2]];
        soup.facet(last.map(|i| corners[i as usize]))
    }

    /// Whether no other corner lies in the triangle.
    fn is_ear(&self, ends: [u32; 3]) -> bool {
        let [a, b, c] = ends.map(|i| self.flat[i as usize]);
        if turn(a, b, c) <= 0.0 {
            return false;
        }
        let is_inside =
            |p: [f64; 2]| turn(a, b, p) >= 0.0 && turn(b, c, p) >= 0.0 && turn(c, a, p) >= 0.0;
        let others = self.left.iter().filter(|i| !ends.contains(i));
        let mut others = others.map(|i| self.flat[*i as usize]);
        !others.any(|p| p != a && p != b && p != c && is_inside(p))
    }
}

/// Twice the area of a triangle, positive where it runs counter-clockwise.
fn turn(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (c[0] - a[0]) * (b[1] - a[1])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meshes::{format::Format, limits::Limits};

    fn cut(outline: &[[f64; 3]]) -> Soup {
        let mut soup = Soup::new(Format::Obj, Limits::default());
        soup.vertices = outline.to_vec();
        let corners: Vec<u32> = (0..outline.len() as u32).collect();
        Cutter::default().add(&mut soup, &corners).expect("cut");
        soup
    }

    /// Area of all triangles, each counted with its turn in the plane z = 0, and without.
    fn areas(soup: &Soup) -> (f64, f64) {
        let area = |f: &[u32; 3]| {
            let [a, b, c] = f.map(|i| soup.vertices[i as usize]);
            turn([a[0], a[1]], [b[0], b[1]], [c[0], c[1]]) / 2.0
        };
        let signed: Vec<f64> = soup.facets.iter().map(area).collect();
        (signed.iter().sum(), signed.iter().map(|a| a.abs()).sum())
    }

    #[test]
    fn a_convex_and_a_hollow_polygon_keep_their_areas() {
        let square = [
            [0.0, 0.0, 1.0],
            [2.0, 0.0, 1.0],
            [2.0, 2.0, 1.0],
            [0.0, 2.0, 1.0],
        ];
        assert_eq!(areas(&cut(&square)), (4.0, 4.0));
        // An L, both ways round, from each corner.
        let mut bent = [
            [0.0, 0.0],
            [3.0, 0.0],
            [3.0, 1.0],
            [1.0, 1.0],
            [1.0, 3.0],
            [0.0, 3.0],
        ];
        for _ in 0..6 {
            bent.rotate_left(1);
            let outline: Vec<_> = bent.iter().map(|p| [p[0], p[1], 0.0]).collect();
            let soup = cut(&outline);
            assert_eq!((soup.facets.len(), areas(&soup)), (4, (5.0, 5.0)));
            let back: Vec<_> = outline.iter().rev().copied().collect();
            assert_eq!(areas(&cut(&back)), (-5.0, 5.0));
        }
    }

    #[test]
    fn a_star_and_a_polygon_without_area_end() {
        let star: Vec<_> = (0..5)
            .map(|i| f64::from(i) * 4.0 * std::f64::consts::PI / 5.0)
            .map(|a| [a.cos(), a.sin(), 0.0])
            .collect();
        assert_eq!(cut(&star).facets.len(), 3);
        assert_eq!(cut(&[[1.0; 3]; 9]).facets.len(), 7);
    }

    #[test]
    fn too_many_corners_are_refused() {
        // A comb: every second tooth is a notch.
        let comb = (0..200_000).map(|i| [f64::from(i), f64::from(i % 2), 0.0]);
        let mut outline: Vec<_> = comb.collect();
        outline.push([200_000.0, 50.0, 0.0]);
        outline.push([0.0, 50.0, 0.0]);
        let mut soup = Soup::new(Format::Obj, Limits::default());
        soup.vertices = outline;
        let corners: Vec<u32> = (0..soup.vertices.len() as u32).collect();
        let mut cutter = Cutter::default();
        let result = cutter.add(&mut soup, &corners);
        assert!(cutter.steps <= MOST_STEPS + corners.len() as u64);
        assert!(result.is_err_and(|fault| fault.to_string().contains("export triangles")));
    }
}
