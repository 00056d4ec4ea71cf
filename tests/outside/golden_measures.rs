//! Measures against values of general-purpose libraries.
use crate::reference;
use tickstrip::measurement::thin_plate::ThinPlate;

fn points(value: &serde_json::Value) -> Vec<[f64; 2]> {
    serde_json::from_value(value.clone()).expect("a list of points")
}

/// Source: SciPy 1.17.1, `RBFInterpolator(kernel="thin_plate_spline", degree=1)`, with and without smoothing.
#[test]
fn the_thin_plate_spline_agrees_with_scipy() {
    let Some(folder) = reference::folder("the_thin_plate_spline_agrees_with_scipy", "golden")
    else {
        return;
    };
    let text = std::fs::read_to_string(folder.join("thin_plate_spline.json")).expect("readable");
    let golden: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let (from, to) = (points(&golden["source"]), points(&golden["target"]));
    let queries = points(&golden["query"]);
    let results = golden["results"].as_object().expect("results by smoothing");
    assert!(results.len() > 1);
    for (name, result) in results {
        let smoothing = name
            .trim_start_matches("smoothing_")
            .parse()
            .expect("a number");
        let spline = ThinPlate::fit(&from, &to, smoothing).expect("fits");
        let at_queries = queries.iter().zip(points(&result["query_mapped"]));
        let at_source = from.iter().zip(points(&result["at_source"]));
        for (point, expected) in at_queries.chain(at_source) {
            let mapped = spline.map(*point);
            // The direct solution beside these values differs from them by 4e-12; twelve knots over 400 px.
            let off = (mapped[0] - expected[0]).hypot(mapped[1] - expected[1]);
            assert!(
                off < 1e-8,
                "{name} at {point:?}: {mapped:?}, SciPy {expected:?}"
            );
        }
    }
}
