//! Edges of invented objects with known errors, in photos that are drawn here: shaded parts with stains before clutter, blurred and with
//! noise. The cameras are plain matrices.
mod drawn;
mod table;

use super::*;
use crate::registration::space::together::{EdgesOfPart, Together};
use drawn::{DRAW, Draw, Scene, scene};
use image::RgbImage;
use std::sync::OnceLock;

/// The object's photos adjusted by their marks alone.
fn by_marks(scene: &Scene) -> Together {
    scene.adjusted().told()
}

/// The same with the edges of these photos.
fn with_edges(scene: &Scene, photos: &[Option<PhotoEdges>], mesh: &MeshParts<'_>) -> Together {
    let mut adjusted = scene.adjusted();
    refine(&mut adjusted, photos, mesh).expect("nobody asks to stop");
    adjusted.told()
}

fn both(scene: &Scene) -> [Together; 2] {
    let with = with_edges(scene, &scene.photos_of_edges(), &scene.mesh());
    [by_marks(scene), with]
}

/// One small scene for several tests.
fn small() -> &'static Scene {
    static SMALL: OnceLock<Scene> = OnceLock::new();
    SMALL.get_or_init(|| {
        let draw = Draw {
            photos: 2,
            spread: 20.0,
            size: (640, 480),
            sigma: 1.0,
            parts: 4,
            ..DRAW
        };
        scene(1, &draw)
    })
}

fn figures(found: &Together) -> Vec<[f64; 2]> {
    let parts = found.parts.iter().flatten();
    let errors = parts.flat_map(|part| part.errors);
    errors
        .map(|error| [error.figure.value(), error.deviation])
        .collect()
}

fn median(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}

#[test]
fn the_same_is_found_with_any_number_of_threads() {
    let scene = small();
    let photos = scene.photos_of_edges();
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
        let pool = pool.build().expect("threads");
        pool.install(|| figures(&with_edges(scene, &photos, &scene.mesh())))
    };
    let one = with(1);
    assert_eq!(one.len(), 36);
    assert_eq!(one, with(3));
}

#[test]
fn edges_bring_the_errors_nearer_and_say_so() {
    let scene = small();
    let [marks, edges] = both(scene);
    let used = |part: &&Option<_>| {
        let part: &Option<crate::registration::space::together::PartErrors> = part;
        matches!(part.as_ref().map(|p| &p.edges), Some(EdgesOfPart::Used(photos)) if photos.len() == 2)
    };
    assert_eq!(edges.parts.iter().filter(used).count(), 4);
    let deviations = |found: &Together| figures(found).iter().map(|f| f[1]).collect::<Vec<f64>>();
    let (before, after) = (deviations(&marks), deviations(&edges));
    // Never worse than the marks alone, and half as large in the middle.
    let shares: Vec<f64> = before.iter().zip(&after).map(|(b, a)| a / b).collect();
    assert!(shares.iter().all(|share| *share < 1.01), "{shares:?}");
    assert!(median(&shares) < 0.6, "{shares:?}");
    for photo in &edges.photos {
        let photo = photo.as_ref().expect("a camera");
        assert!(photo.edge_points > 200 && !photo.is_datum_strained);
    }
}

#[test]
fn photos_that_show_no_edges_leave_the_parts_to_their_marks() {
    let scene = small();
    let (width, height) = scene.pictures[0].dimensions();
    let grey = RgbImage::from_pixel(width, height, image::Rgb([128; 3]));
    // Stripes that have nothing to do with the object.
    let striped = RgbImage::from_fn(width, height, |x, y| {
        let is_dark = ((x as f64 + 0.4 * y as f64) / 9.0).sin() > 0.0;
        image::Rgb([if is_dark { 90 } else { 160 }; 3])
    });
    let marks = figures(&by_marks(scene));
    for picture in [grey, striped] {
        let photos = scene.with_pictures(vec![picture.clone(), picture]);
        let found = with_edges(scene, &photos, &scene.mesh());
        for part in found.parts.iter().flatten() {
            assert_eq!(part.edges, EdgesOfPart::NoBetterThanChance);
        }
        for (found, marks) in figures(&found).iter().zip(&marks) {
            let off = (found[0] - marks[0]).abs() / marks[1];
            assert!(off < 1e-3, "{found:?} {marks:?}");
        }
    }
}

#[test]
fn a_part_without_a_mesh_keeps_its_marks_and_the_others_have_their_edges() {
    let scene = small();
    let mut mesh = scene.mesh();
    let last = mesh.parts.len() - 1;
    mesh.parts[last] = MeshPart::Other;
    let found = with_edges(scene, &scene.photos_of_edges(), &mesh);
    let edges = |k: usize| &found.parts[k].as_ref().expect("marked").edges;
    assert_eq!(*edges(3), EdgesOfPart::NotLookedFor);
    assert!(matches!(edges(0), EdgesOfPart::Used(_)));
    let none = with_edges(scene, &[None, None], &scene.mesh());
    let marks = figures(&by_marks(scene));
    for (found, marks) in figures(&none).iter().zip(&marks) {
        assert!((found[0] - marks[0]).abs() < 1e-3 * marks[1]);
    }
}

#[test]
fn edges_that_lie_elsewhere_than_the_marks_say_are_not_used_and_said() {
    let scene = small();
    // The mesh of one part is another thing, 1.2 mm beside what its landmarks are on: its edges contradict its marks.
    let moved = scene.mesh_with_moved(1, [1.2, -1.2, 0.0]);
    let found = with_edges(scene, &scene.photos_of_edges(), &scene.mesh_of(&moved));
    let [marks, all] = both(scene);
    let part = |found: &Together| found.parts[1].clone().expect("marked");
    let (found_part, marks, all) = (part(&found), part(&marks), part(&all));
    assert!(
        matches!(
            found_part.edges,
            EdgesOfPart::AgainstMarks | EdgesOfPart::NoBetterThanChance
        ),
        "{:?}",
        found_part.edges
    );
    let truth = scene.truth(1, found_part.anchor_mm);
    for (k, error) in found_part.errors.iter().enumerate() {
        // No wrong figure: as wide as its marks have it, but for the cameras, which the edges of others make sharper.
        let off = (error.figure.value() - truth[k]).abs() / error.deviation;
        assert!(off < 3.5, "{k}: {error:?} {}", truth[k]);
        assert!(error.deviation > 0.5 * marks.errors[k].deviation, "{k}");
        assert!(error.deviation >= all.errors[k].deviation, "{k}");
    }
    assert!(matches!(
        found.parts[0].as_ref().expect("marked").edges,
        EdgesOfPart::Used(_)
    ));
}

#[test]
fn a_datum_whose_marks_lie_on_other_places_than_its_edges_is_said() {
    let scene = small();
    let photos = scene.with_datum_times(1.02);
    let mut adjusted = scene.adjusted_by(&photos);
    refine(&mut adjusted, &scene.photos_of_edges(), &scene.mesh()).expect("nobody asks to stop");
    let found = adjusted.told();
    for photo in &found.photos {
        assert!(photo.as_ref().expect("a camera").is_datum_strained);
    }
    for photo in &with_edges(scene, &scene.photos_of_edges(), &scene.mesh()).photos {
        assert!(!photo.as_ref().expect("a camera").is_datum_strained);
    }
}
