//! Quantiles against SciPy (reference/golden, quantiles.json) and printed standards.
use crate::{golden, reference};
use tickstrip::statistics::{chi_square_quantile, f_quantile, normal_quantile, t_quantile};

fn near(found: f64, expected: f64, what: &str) {
    // The libraries' inverse functions stop at about nine digits.
    assert!(
        (found - expected).abs() < 1e-6 * (1.0 + expected.abs()),
        "{what}: {found} against {expected}"
    );
}

#[test]
fn quantiles_equal_those_of_scipy() {
    let Some(folder) = reference::folder("quantiles", "golden") else {
        return;
    };
    let golden = golden::json(&folder, "quantiles.json");
    let mut compared = 0;
    let table = |name: &str| golden[name].as_object().cloned().unwrap_or_default();
    for (level, row) in table("chi2") {
        for (freedom, value) in row.as_object().expect("a row") {
            let (p, n) = (
                level.parse().expect("a level"),
                freedom.parse().expect("a number"),
            );
            near(
                chi_square_quantile(p, n),
                value.as_f64().expect("a number"),
                "chi-square",
            );
            compared += 1;
        }
    }
    for (level, row) in table("t") {
        for (freedom, value) in row.as_object().expect("a row") {
            let (p, n) = (
                level.parse().expect("a level"),
                freedom.parse().expect("a number"),
            );
            near(t_quantile(p, n), value.as_f64().expect("a number"), "t");
            compared += 1;
        }
    }
    assert!(compared > 20, "only {compared} quantiles were compared");
}

/// GUM (JCGM 100:2008), table G.2: t at 95 %.
#[test]
fn coverage_factors_are_those_of_the_guide() {
    for (freedom, factor) in [
        (1.0, 12.71),
        (3.0, 3.18),
        (10.0, 2.23),
        (20.0, 2.09),
        (f64::INFINITY, 1.960),
    ] {
        assert!((t_quantile(0.975, freedom) - factor).abs() < 0.005);
    }
    assert!(
        (f_quantile(0.95, 2.0, 10.0) - 4.103).abs() < 0.0005,
        "usual tables, from memory"
    );
}

/// NSSDA (FGDC-STD-007.3-1998): the radial accuracy at 95 % is 1.7308 times the radial root mean square error.
#[test]
fn the_radial_factor_of_the_spatial_data_standard_follows_from_chi_square() {
    let factor = (chi_square_quantile(0.95, 2.0)).sqrt() / std::f64::consts::SQRT_2;
    assert!((factor - 1.7308).abs() < 5e-5);
    assert!((normal_quantile(0.975) - 1.9600).abs() < 5e-5);
}
