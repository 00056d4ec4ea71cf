//! Real photographs of planes with published homographies: graffiti 1-3 and wall 1-2 of the Oxford affine covariant
//! regions set (Mikolajczyk et al., IJCV 65, 2005: citation from memory), reference/homography-graf and -wall.
use crate::{golden, reference, views};
use std::path::Path;
use tickstrip::{
    frame::{Point, Projective, ReferencePx, RenderPx},
    images::{self, Limits},
    job::{Job, LandmarkUse, RegistrationKind, Tolerance, View},
    measurement::{MeasuredView, measure},
    registration::register,
    units::{ModelMm, ScaleRatio},
};

const SIGMA: f64 = 0.7;

/// The published map of a pair, in our convention (first pixel centre at (0.5, 0.5)).
fn published(pair: &serde_json::Value) -> Projective<ReferencePx, RenderPx> {
    let h = &pair["H_1_to_2"];
    let theirs = nalgebra::Matrix3::from_fn(|r, c| h[r][c].as_f64().expect("a number"));
    let shift = |s: f64| nalgebra::Matrix3::new(1.0, 0.0, s, 0.0, 1.0, s, 0.0, 0.0, 1.0);
    Projective::from_matrix(shift(0.5) * theirs * shift(-0.5)).expect("a homography")
}

/// A view with image 1 as the render and image 2 as the reference; sixteen noisy marks, every second one a check.
fn view_of(pair: &serde_json::Value, folder: &Path, reference_image: &Path) -> View {
    let map = published(pair);
    let (w, h) = (
        pair["size1"][0].as_f64().expect("a width"),
        pair["size1"][1].as_f64().expect("a height"),
    );
    let mut seed = 5_u64;
    let mut noise = || {
        let mut uniform = || {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            (seed >> 33) as f64 / f64::from(1_u32 << 31)
        };
        // The sum of twelve uniform numbers is close to normal.
        SIGMA * ((0..12).map(|_| uniform()).sum::<f64>() - 6.0)
    };
    let (mut render, mut other) = (Vec::new(), Vec::new());
    for row in 0..4 {
        for column in 0..4 {
            let p = [
                w * (0.15 + 0.23 * f64::from(column)),
                h * (0.15 + 0.23 * f64::from(row)),
            ];
            let q = map.apply(Point::new(p[0], p[1]));
            render.push([p[0] + noise(), p[1] + noise()]);
            other.push([q.x + noise(), q.y + noise()]);
        }
    }
    let mut view = views::view(
        RegistrationKind::Projective,
        &other,
        &render,
        [Some(SIGMA), Some(SIGMA)],
    );
    for landmark in view.landmarks.iter_mut().step_by(2) {
        landmark.usage = LandmarkUse::Check;
    }
    view.render.image = folder.join(pair["image1"].as_str().expect("a name")).into();
    view.reference.image = reference_image.to_path_buf();
    view
}

fn measured(view: &View) -> MeasuredView {
    let job = Job {
        title: String::new(),
        file: "pair.json".into(),
        blake3: String::new(),
        scale: ScaleRatio::one_to(32.0).expect("above 0"),
        title_block: tickstrip::job::TitleBlock::default(),
        smallest_visible: ModelMm(0.05),
        print: None,
        together: None,
        tolerance: Tolerance {
            proportion_percent: 2.0,
            offset: ModelMm(0.2),
            angle_deg: 1.0,
            edge_overlap: 0.5,
        },
        model: None,
        expected: views::EXPECTED,
        views: vec![view.clone()],
    };
    let images = images::read_view(view, &Limits::default()).expect("the images can be read");
    let size = images.render.rgb.dimensions();
    let registered = register(view, views::EXPECTED, size, None).expect("eight datum marks");
    measure(&job, view, images, registered)
}

fn pairs() -> Vec<(std::path::PathBuf, serde_json::Value)> {
    ["homography-graf", "homography-wall"]
        .into_iter()
        .filter_map(|name| reference::folder("published homographies", name))
        .map(|folder| {
            let pair = golden::json(&folder, "pairs.json")["pairs"][0].clone();
            (folder, pair)
        })
        .collect()
}

#[test]
fn the_published_map_lies_in_its_stated_interval() {
    for (folder, pair) in pairs() {
        let image = folder.join(pair["image2"].as_str().expect("a name"));
        let view = view_of(&pair, &folder, &image);
        let found = register(&view, views::EXPECTED, (800, 640), None)
            .expect("eight datum marks")
            .registration;
        // Check marks took no part: their offsets are zero but for the noise that the intervals state.
        let offsets: Vec<_> = found
            .landmarks
            .iter()
            .step_by(2)
            .flat_map(|l| l.offset_px)
            .collect();
        let held = offsets.iter().filter(|m| m.holds(0.0)).count();
        // 16 intervals at 95 %: fewer than 12 would happen once in 1,000.
        assert!(
            held >= 12,
            "{}: {held} of {}",
            folder.display(),
            offsets.len()
        );
        let truth = published(&pair);
        let centre = Point::new(400.0, 320.0);
        let back = found.render_from_reference.apply(truth.apply(centre));
        assert!(
            back.distance(centre) < 4.0 * SIGMA,
            "off by {} px",
            back.distance(centre)
        );
    }
}

#[test]
fn a_real_pair_overlaps_far_above_chance_and_a_wrong_pairing_does_not() {
    let pairs = pairs();
    for (k, (folder, pair)) in pairs.iter().enumerate() {
        let right = view_of(
            pair,
            folder,
            &folder.join(pair["image2"].as_str().expect("a name")),
        );
        let overlap = measured(&right).measurement.edge_overlap.expect("edges");
        assert!(
            overlap.above_chance > 0.4,
            "{}: {overlap:?}",
            folder.display()
        );
        if pairs.len() == 2 {
            let (other, other_pair) = &pairs[1 - k];
            let wrong = view_of(
                pair,
                folder,
                &other.join(other_pair["image2"].as_str().expect("a name")),
            );
            let overlap = measured(&wrong).measurement.edge_overlap.expect("edges");
            assert!(overlap.above_chance < 0.1, "wrong pairing: {overlap:?}");
        }
    }
}

#[test]
fn the_overlap_falls_when_the_marks_are_moved() {
    let Some((folder, pair)) = pairs().into_iter().next_back() else {
        return;
    };
    let mut view = view_of(
        &pair,
        &folder,
        &folder.join(pair["image2"].as_str().expect("a name")),
    );
    let right = measured(&view)
        .measurement
        .edge_overlap
        .expect("edges")
        .above_chance;
    for landmark in &mut view.landmarks {
        landmark.reference = Point::new(landmark.reference.x + 12.0, landmark.reference.y - 9.0);
    }
    let moved = measured(&view)
        .measurement
        .edge_overlap
        .expect("edges")
        .above_chance;
    assert!(moved < 0.2 * right, "{moved} after {right}");
}
