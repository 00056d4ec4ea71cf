//! The settings of the methods stand in the pages of the methods as the program has them.
use std::{collections::BTreeSet, fs, path::Path};

/// The page that has the settings of a method.
fn page_of(method: &str) -> &'static str {
    match method {
        "rectification" | "bezel" => "src/rectification/METHOD.md",
        "contour" | "adjustment" | "checks" => "src/registration/METHOD.md",
        "space" => "src/registration/space/METHOD.md",
        "carry" => "src/carry/METHOD.md",
        "shots" => "src/shots/METHOD.md",
        "drawn" => "src/drawn/METHOD.md",
        "edges" => "src/edges/METHOD.md",
        "plan" => "src/plan/METHOD.md",
        "proposal" => "src/proposal/METHOD.md",
        "revision" => "src/report/revision/METHOD.md",
        _ => "src/measurement/METHOD.md",
    }
}

/// The rows of settings in a page: name, value, unit and source.
fn rows_of(page: &str) -> BTreeSet<[String; 4]> {
    let text = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(page));
    text.unwrap_or_else(|e| panic!("{page}: {e}"))
        .lines()
        .filter_map(|line| {
            let mut cells = line.strip_prefix("| ")?.split(" | ");
            let row = [(); 4].map(|()| cells.next().unwrap_or_default().to_owned());
            row[0].contains('.').then_some(row)
        })
        .collect()
}

#[test]
fn every_setting_stands_in_its_method_s_page_with_its_value() {
    let mut stated = BTreeSet::new();
    for page in [
        "src/rectification/METHOD.md",
        "src/registration/METHOD.md",
        "src/registration/space/METHOD.md",
        "src/carry/METHOD.md",
        "src/shots/METHOD.md",
        "src/drawn/METHOD.md",
        "src/edges/METHOD.md",
        "src/measurement/METHOD.md",
        "src/plan/METHOD.md",
        "src/proposal/METHOD.md",
        "src/report/revision/METHOD.md",
    ] {
        stated.extend(rows_of(page).into_iter().map(|row| (page, row)));
    }
    let ours: BTreeSet<_> = tickstrip::all_settings()
        .into_iter()
        .map(|setting| {
            let method = setting.name().split('.').next().unwrap_or_default();
            let value = (setting.value() * 1e4).round() / 1e4;
            let row = [
                setting.name(),
                &value.to_string(),
                setting.unit(),
                setting.source(),
            ];
            (page_of(method), row.map(str::to_owned))
        })
        .collect();
    let missing: Vec<_> = ours.difference(&stated).collect();
    let too_many: Vec<_> = stated.difference(&ours).collect();
    assert!(
        missing.is_empty() && too_many.is_empty(),
        "missing {missing:#?}\nno settings of ours {too_many:#?}"
    );
}

#[test]
fn every_setting_says_what_it_means_and_where_it_comes_from() {
    let mut names = BTreeSet::new();
    for setting in tickstrip::all_settings() {
        assert!(names.insert(setting.name()), "{} twice", setting.name());
        for text in [setting.meaning(), setting.unit(), setting.source()] {
            assert!(
                !text.is_empty() && !text.contains('|'),
                "{}",
                setting.name()
            );
        }
        assert!(setting.value() > 0.0, "{}", setting.name());
    }
}
