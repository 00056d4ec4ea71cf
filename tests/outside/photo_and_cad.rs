//! A real photograph of a printed object with its CAD model, a cube of known edge, and a box with a wrong mark:
//! reference/dragon-photo-cad (lagadic/visp-images) and reference/teabox (lagadic/visp); renders and poses made there.
use crate::{reference, views};
use tickstrip::{
    job::RegistrationKind,
    registration::{Finding, register},
};

/// Marks of the teabox, set by eye; mark B sits on a lid flap, 27 px from its corner. The other image is the box
/// projected by the published camera.
#[test]
fn the_genuine_wrong_mark_of_the_box_is_found() {
    let Some(folder) = reference::folder("teabox", "teabox") else {
        return;
    };
    let case = views::json(&folder, "teabox_00.json");
    let pose = &case["solvePnP_without_B"];
    let number = |v: &serde_json::Value| v.as_f64().expect("a number");
    let projected: Vec<[f64; 2]> = case["points_m"]
        .as_array()
        .expect("points")
        .iter()
        .map(|p| {
            let camera: Vec<f64> = (0..3)
                .map(|r| {
                    (0..3)
                        .map(|c| number(&pose["R"][r][c]) * number(&p[c]))
                        .sum::<f64>()
                        + number(&pose["tvec_m"][r])
                })
                .collect();
            let k = |r: usize, c: usize| number(&case["K"][r][c]);
            [
                k(0, 0) * camera[0] / camera[2] + k(0, 2),
                k(1, 1) * camera[1] / camera[2] + k(1, 2),
            ]
        })
        .collect();
    let marks = views::points(&case["marks_px"]);
    let view = views::view(
        RegistrationKind::Similarity,
        &marks,
        &projected,
        [None, None],
    );
    let found = register(&view, views::EXPECTED, (640, 480), None)
        .expect("seven marks")
        .registration;
    let wrong: Vec<usize> = (0..7)
        .filter(|&k| found.landmarks[k].finding == Some(Finding::Wrong))
        .collect();
    assert_eq!(wrong, [1], "mark B");
    assert!(found.scale.holds(1.0), "{:?}", found.scale);
}

/// Six corners of a real 85 mm cube, marked once by eye; the other image is the cube projected by its pose (least
/// squares on the same marks, rms 0.49 px).
#[test]
fn marked_corners_of_the_cube_fit_its_projection() {
    let Some(folder) = reference::folder("cube", "dragon-photo-cad") else {
        return;
    };
    let cube = views::json(&folder, "case_0000.json")["cube"].clone();
    let corners = views::points(&cube["corners_px"]);
    let (mut marked, mut projected) = (Vec::new(), Vec::new());
    for (name, mark) in cube["marked_corners_px"].as_object().expect("marks") {
        let index = cube["marked_corner_index_in_corners_m"][name]
            .as_u64()
            .expect("an index");
        projected.push(corners[usize::try_from(index).expect("small")]);
        marked.push([mark[0].as_f64().expect("x"), mark[1].as_f64().expect("y")]);
    }
    let view = views::view(
        RegistrationKind::Similarity,
        &marked,
        &projected,
        [None, None],
    );
    let found = register(&view, views::EXPECTED, (640, 480), None)
        .expect("six marks")
        .registration;
    assert!(found.rms_px < 1.0, "{}", found.rms_px);
    assert!(found.scale.holds(1.0) && found.rotation_deg.holds(0.0));
    assert!(found.landmarks.iter().all(|l| l.finding.is_none()));
}

/// Corners of a calibration board, the lens taken out (reference/chessboard-left, OpenCV samples): a plane fit leaves
/// 0.18 to 0.20 px, with the lens left in 0.77 to 1.44 px.
#[test]
fn a_calibration_board_fits_a_projective_registration() {
    let Some(folder) = reference::folder("calibration board", "chessboard-left") else {
        return;
    };
    let board = views::json(&folder, "chessboard_left.json");
    let plane: Vec<[f64; 2]> = board["board"]["object_points_m"]
        .as_array()
        .expect("points")
        .iter()
        .map(|p| {
            [
                1000.0 * p[0].as_f64().expect("x"),
                1000.0 * p[1].as_f64().expect("y"),
            ]
        })
        .collect();
    let mut compared = 0;
    for view in board["views"].as_array().into_iter().flatten().chain(
        board["views"]
            .as_object()
            .into_iter()
            .flat_map(|o| o.values()),
    ) {
        let Some(raw) = view.as_object().and_then(|o| {
            o.iter()
                .find(|(k, _)| k.starts_with("corners"))
                .map(|(_, v)| v)
        }) else {
            continue;
        };
        let image = views::points(raw);
        // The lens bends the board: stated deviations of a pixel, so that no corner counts as wrong.
        let view = views::view(
            RegistrationKind::Projective,
            &plane,
            &image,
            [Some(1.0), Some(1e-6)],
        );
        let found = register(&view, views::EXPECTED, (640, 480), None)
            .expect("54 corners")
            .registration;
        assert!((0.7..1.6).contains(&found.rms_px), "{}", found.rms_px);
        compared += 1;
    }
    assert!(compared >= 3, "{compared} photographs");
}

/// Masks of the printed dragon (by colour, from the photo) and of its model in the refined pose. Overlap: README there, 0.900.
/// Distances by scipy 1.17.1 and numpy 2.4.6 from the same files:
/// ```python
/// A, B = (cv2.imread(f, -1) > 127 for f in ("dragon_model_mask_0000.png", "dragon_photo_mask_0000.png"))
/// cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]])
/// outline = lambda m: m & ~scipy.ndimage.binary_erosion(m, cross)
/// d = scipy.ndimage.distance_transform_edt(~outline(A))
/// s = np.where(A, d, -d)[outline(B)]
/// z = np.sort(abs(s)); len(s), s.mean(), z[(len(z) * 19 + 19) // 20 - 1], z.max(), (A & B).sum() / (A | B).sum()
/// ```
#[test]
fn silhouettes_of_the_printed_dragon_and_its_model_overlap_as_published() {
    let Some(folder) = reference::folder("dragon silhouettes", "dragon-photo-cad") else {
        return;
    };
    let case = views::json(&folder, "case_0000.json");
    let marks = case["dragon"]["landmarks_px"].as_object().expect("marks");
    let landmarks: Vec<serde_json::Value> = marks
        .iter()
        .map(|(name, at)| serde_json::json!({ "name": name, "render": at, "reference": at }))
        .collect();
    let at = |name: &str| folder.join(name).canonicalize().expect("it is there");
    let job = serde_json::json!({
        "title": "dragon", "scale": "1:1",
        "views": [{
            "name": "front",
            "render": { "image": at("dragon_render_0000.png"), "mask": at("dragon_model_mask_0000.png") },
            "reference": { "image": at("photo_0000.png"), "mask": at("dragon_photo_mask_0000.png") },
            "landmarks": landmarks
        }]
    });
    let work = tempfile::tempdir().expect("a folder");
    std::fs::write(work.path().join("dragon.json"), job.to_string()).expect("written");
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["compare", "dragon.json"])
        .current_dir(work.path())
        .output()
        .expect("the program starts");
    let report = std::fs::read(work.path().join("dragon-results/report.json"));
    let report = report.unwrap_or_else(|_| panic!("{}", String::from_utf8_lossy(&output.stderr)));
    let report: serde_json::Value = serde_json::from_slice(&report).expect("JSON");
    let silhouette = &report["views"][0]["silhouette"];
    for (key, expected) in [
        ("overlap", 0.900_166_4),
        ("mean_px", 0.808_674_7),
        ("p95_px", 2.236_068_0),
        ("max_px", 5.0),
        ("outline_pixels", 733.0),
    ] {
        let found = silhouette[key].as_f64().expect("a number");
        // The map is the identity to rounding; distances are single precision.
        assert!(
            (found - expected).abs() < 1e-5,
            "{key}: {found}, {expected}"
        );
    }
}
