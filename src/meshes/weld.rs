//! Corners that coincide become one, so that facets know their neighbours: STL and most exports give every facet its own corners.
//!
//! Places are sorted by the cell of a grid that they lie in, twice, the second time on a grid moved by half a cell: what lies beside a
//! border of one grid lies within a cell of the other. So the work grows with the corners and not with their square.
use super::groups::{join, root};
use rayon::slice::ParallelSliceMut;

/// A part whose corners are welded.
#[derive(Debug, Default)]
pub(super) struct Welded {
    /// Each place once, in the order of the file.
    pub(super) places: Vec<[f64; 3]>,
    /// Indices of `places`; facets that lost a corner are left out.
    pub(super) facets: Vec<[u32; 3]>,
}

/// Welds the corners of facets that are nearer to each other than about `tolerance`. `local` has an entry for each vertex, none of them
/// taken (`u32::MAX`), and is left so.
pub(super) fn weld(
    vertices: &[[f64; 3]],
    facets: impl Iterator<Item = [u32; 3]> + Clone,
    tolerance: f64,
    local: &mut [u32],
) -> Welded {
    let mut used = Vec::new();
    for vertex in facets.clone().flatten() {
        let local = &mut local[vertex as usize];
        if *local == u32::MAX {
            *local = used.len() as u32;
            used.push(vertex);
        }
    }
    let places: Vec<[f64; 3]> = used
        .iter()
        .map(|vertex| vertices[*vertex as usize])
        .collect();
    let first_of = first_of_each(&places, tolerance);
    let mut welded = Welded::default();
    let mut index = vec![u32::MAX; places.len()];
    for (place, first) in first_of.iter().enumerate() {
        let first = *first as usize;
        if index[first] == u32::MAX {
            index[first] = welded.places.len() as u32;
            welded.places.push(places[first]);
        }
        index[place] = index[first];
    }
    let indices =
        facets.map(|corners| corners.map(|vertex| index[local[vertex as usize] as usize]));
    welded.facets = indices
        .filter(|[a, b, c]| a != b && b != c && c != a)
        .collect();
    for vertex in used {
        local[vertex as usize] = u32::MAX;
    }
    welded
}

/// For each place the first one that it coincides with.
fn first_of_each(places: &[[f64; 3]], tolerance: f64) -> Vec<u32> {
    let mut first: Vec<u32> = (0..places.len() as u32).collect();
    let least = places
        .iter()
        .fold([f64::INFINITY; 3], |least: [f64; 3], place| {
            std::array::from_fn(|k| least[k].min(place[k]))
        });
    for shift in [0.0, 0.5] {
        let key = |place: &[f64; 3]| {
            // A part is no larger than the model: a million cells, 20 bits an axis.
            let cell = |k: usize| ((place[k] - least[k]) / tolerance + shift) as u64 & 0x1f_ffff;
            cell(0) << 42 | cell(1) << 21 | cell(2)
        };
        let mut cells: Vec<(u64, u32)> = places.iter().map(key).zip(0..).collect();
        cells.par_sort_unstable();
        for pair in cells.windows(2) {
            if pair[0].0 == pair[1].0 {
                join(&mut first, pair[0].1, pair[1].1);
            }
        }
    }
    (0..places.len() as u32)
        .map(|place| root(&mut first, place))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coinciding_corners_are_one_wherever_the_grid_s_borders_are() {
        let tolerance = 1e-4;
        // Whole, half and odd numbers of cells, each corner three times with the noise of 32-bit numbers.
        for step in [1e-4, 0.5e-4, 0.737e-4 * 3.0] {
            let mut places = Vec::new();
            for copy in 0..3 {
                let noise = (f64::from(copy) - 1.0) * 1e-9;
                places.extend(
                    (0..100).map(|i| [f64::from(i) * 10.0 * step + noise, noise, 7.0 - noise]),
                );
            }
            let first = first_of_each(&places, tolerance);
            for (i, first) in first.iter().enumerate() {
                assert_eq!(*first as usize, i % 100, "{step}");
            }
        }
    }

    #[test]
    fn facets_keep_their_corners_and_lose_those_without_area() {
        let vertices = [
            [0.0; 3],
            [1.0, 0.0, 0.0],
            [0.0, 1.0, 0.0],
            [0.0, 1.0, 1e-12],
            [9.0; 3],
            [1.0, 0.0, 0.0],
        ];
        let mut local = [u32::MAX; 6];
        let facets = [[0, 1, 2], [3, 5, 0], [2, 3, 1]];
        let welded = weld(&vertices, facets.into_iter(), 1e-6, &mut local);
        assert_eq!(welded.places.len(), 3);
        assert_eq!(welded.facets, [[0, 1, 2], [2, 1, 0]]);
        assert_eq!(local, [u32::MAX; 6]);
    }
}
