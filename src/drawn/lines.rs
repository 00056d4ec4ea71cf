//! The model's visible lines laid over the photo, by the camera that its marks tell.
use super::{Error, JobMesh, settings::DRAWN};
use crate::{
    frame::{Point, RectifiedPx},
    meshes::{EdgeKind, MeshEdges, Projection},
    registration::space::Resection,
};

/// Most corners of all lines: what a page draws in a blink, and a megabyte or two to send.
const MOST_CORNERS: usize = 100_000;

/// The visible lines of the model in pixels of the photo as it is on disk: its lens bends them, its screen turns them. They are looked for on
/// a picture of at most `drawn.lines_on`, and are exact all the same but for where they end behind something. Where there are too many, the
/// short ones are left out.
///
/// # Errors
/// Where nothing can be drawn with the camera.
pub fn lines_over(found: &Resection, mesh: &JobMesh) -> Result<Vec<Vec<[f64; 2]>>, Error> {
    let [width, height] = found.picture;
    let factor = (DRAWN.lines_on.get() / (width * height)).sqrt().min(1.0);
    let [x, y, last] = found.first.camera.rows();
    let rows = [x.map(|v| v * factor), y.map(|v| v * factor), last];
    let size = found
        .picture
        .map(|side| (side * factor).floor().max(1.0) as u32);
    let projection = Projection::new(rows, &mesh.model)?;
    // No places along them are wanted.
    let seen = MeshEdges::seen(&mesh.model, &mesh.edges, (&projection, size), f64::INFINITY)?;
    let in_photo = |p: [f64; 2]| {
        let [x, y] = p.map(|v| v / factor);
        let map = &found.first.reference_from_picture;
        map.apply(Point::<RectifiedPx>::new(x, y)).xy()
    };
    let lines = seen.lines.iter().map(|line| {
        let corners: Vec<[f64; 2]> = line.points.iter().map(|p| p.xy()).collect();
        // The lens and the screen bend long lines; of round outlines every facet is a corner already.
        let bent = subdivided(&corners, DRAWN.line_piece.get());
        let places: Vec<[f64; 2]> = bent.into_iter().map(in_photo).collect();
        (length(&places), line.kind, places)
    });
    let mut lines: Vec<(f64, EdgeKind, Vec<[f64; 2]>)> = lines.collect();
    lines.retain(|(_, _, places)| places.iter().flatten().all(|v| v.is_finite()));
    Ok(longest(lines))
}

/// The longest lines that together have no more corners than may be, the longest first.
fn longest(mut lines: Vec<(f64, EdgeKind, Vec<[f64; 2]>)>) -> Vec<Vec<[f64; 2]>> {
    lines.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut room = MOST_CORNERS;
    let fitting = lines
        .into_iter()
        .map(|(.., places)| places)
        .take_while(|places| {
            let is_fitting = places.len() <= room;
            room = room.saturating_sub(places.len());
            is_fitting
        });
    fitting.collect()
}

fn length(places: &[[f64; 2]]) -> f64 {
    let pieces = places.windows(2);
    pieces
        .map(|p| (p[1][0] - p[0][0]).hypot(p[1][1] - p[0][1]))
        .sum()
}

/// The same line with a place every `piece` pixels at least.
fn subdivided(corners: &[[f64; 2]], piece: f64) -> Vec<[f64; 2]> {
    let mut places: Vec<[f64; 2]> = corners.first().copied().into_iter().collect();
    for pair in corners.windows(2) {
        let way = [pair[1][0] - pair[0][0], pair[1][1] - pair[0][1]];
        let count = (way[0].hypot(way[1]) / piece).ceil().max(1.0);
        for k in 1..=count as usize {
            let share = k as f64 / count;
            places.push([pair[0][0] + share * way[0], pair[0][1] + share * way[1]]);
        }
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_get_places_between_their_ends() {
        let line = subdivided(&[[0.0, 0.0], [100.0, 0.0], [100.0, 10.0]], 40.0);
        assert_eq!(line.len(), 5);
        assert!((line[1][0] - 100.0 / 3.0).abs() < 1e-9);
        assert_eq!(line[4], [100.0, 10.0]);
        assert!(subdivided(&[], 40.0).is_empty());
    }

    #[test]
    fn of_too_many_lines_the_longest_stay() {
        let line = |length: f64, corners: usize| {
            let places = (0..corners).map(|k| [length * k as f64 / corners as f64, 0.0]);
            (length, EdgeKind::Crease, places.collect::<Vec<_>>())
        };
        let few = longest(vec![line(5.0, 2), line(9.0, 3)]);
        assert_eq!(few.iter().map(Vec::len).collect::<Vec<_>>(), [3, 2]);
        let most = longest(vec![
            line(5.0, 60_000),
            line(9.0, 60_000),
            line(7.0, 30_000),
        ]);
        assert_eq!(
            most.iter().map(Vec::len).collect::<Vec<_>>(),
            [60_000, 30_000]
        );
    }
}
