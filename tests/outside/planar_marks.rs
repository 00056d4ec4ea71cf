//! Real image pairs of planes with hand-marked, bundle-adjusted points and tentative matches of which many are wrong:
//! the "homogr" set (Lebeda, Matas, Chum 2012: citation from memory), reference/landmarks-planar.
use crate::{golden, reference, views};
use tickstrip::{frame::Point, job::RegistrationKind, registration::register};

#[test]
fn eight_checked_marks_give_the_published_map() {
    let Some(folder) = reference::folder("planar marks", "landmarks-planar") else {
        return;
    };
    for name in ["WhiteBoard", "adam", "LePoint1", "city"] {
        let pair = golden::json(&folder, &format!("{name}.json"));
        let (a, b) = (
            golden::points(&pair["validation_points_A"]),
            golden::points(&pair["validation_points_B"]),
        );
        let view = views::view(RegistrationKind::Projective, &a, &b, [None, None]);
        let found = register(&view, views::EXPECTED, (800, 600), None)
            .expect("eight marks")
            .registration;
        let h = &pair["H_A_to_B"];
        for p in &a {
            let row = |r: usize| {
                h[r][0].as_f64().expect("a number") * p[0]
                    + h[r][1].as_f64().expect("a number") * p[1]
                    + h[r][2].as_f64().expect("a number")
            };
            let expected = Point::new(row(0) / row(2), row(1) / row(2));
            let off = found
                .render_from_reference
                .apply(Point::new(p[0], p[1]))
                .distance(expected);
            // The marks fit the published map to 1e-13 px: what remains is where our iteration stops.
            assert!(off < 1e-3, "{name}: off by {off} px");
        }
    }
}
