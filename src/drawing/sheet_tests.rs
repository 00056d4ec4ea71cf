//! Every sort of sheet of invented views of all shapes, on every paper: nothing leaves it, nothing lies over anything else, nothing
//! is cut off.
use super::{
    DrawingScale, EarlierRevision, Error, Overview, OverviewSection, OverviewView, Paper,
    SheetKind, SheetPage, TiledPicture, draw_sheets, overview_pages, scene,
    scene::{Align, Box2, Shape},
    synthetic::{Sample, Wish, foreign_name, long_name, plain_name},
    text,
};
use crate::{
    frame::Projective,
    measurement::{Correction, Warning},
    warning::Code,
};

const PAPERS: [Paper; 6] = [
    Paper::A4,
    Paper::A4.portrait(),
    Paper::A3,
    Paper::A3.portrait(),
    Paper::LETTER,
    Paper::LETTER.portrait(),
];

/// The box of each text of a page, from its capitals to its base line.
fn text_boxes(page: &SheetPage) -> Vec<(String, Box2)> {
    let boxes = page.scene.shapes().iter().filter_map(|shape| match shape {
        Shape::Text(line) => {
            let long = text::width(&line.text, line.font, line.size);
            let left = match line.align {
                Align::Start => line.at[0],
                Align::Middle => line.at[0] - long / 2.0,
                Align::End => line.at[0] - long,
            };
            let high = line.size * text::CAPITAL_HEIGHT;
            let area = Box2::new(left, line.at[1] - high, long, high);
            Some((line.text.clone(), area))
        }
        _ => None,
    });
    boxes.collect()
}

fn words(pages: &[SheetPage]) -> String {
    let texts = pages.iter().flat_map(text_boxes).map(|(text, _)| text);
    texts.collect::<Vec<_>>().join(" ")
}

/// Looks whether all of a page lies within its margins, and no text over another one.
fn check(page: &SheetPage, paper: Paper, what: &str) {
    let [width, height] = paper.size_mm();
    assert_eq!(page.size_mm(), [width, height]);
    let edge = Box2::new(8.0, 8.0, width - 16.0, height - 16.0);
    let texts = text_boxes(page);
    for (i, (text, area)) in texts.iter().enumerate() {
        assert!(
            edge.holds(*area),
            "{what}: {text:?} at {area:?} leaves {paper:?}"
        );
        for (other, beside) in &texts[..i] {
            let shared = area.grown(-0.05).shared(beside.grown(-0.05));
            assert!(
                shared == 0.0,
                "{what}: {text:?} lies over {other:?} on {paper:?}"
            );
        }
    }
    for shape in page.scene.shapes() {
        if let Shape::Picture { area, key } = shape {
            assert!(
                edge.holds(*area),
                "{what}: {key} at {area:?} leaves {paper:?}"
            );
            assert!(
                page.pictures.iter().any(|(has, _)| has == key),
                "{what}: {key}"
            );
            for (text, beside) in &texts {
                // Numbers, names and labels stand on pictures; lines of words do not.
                let is_label = text.chars().count() < 60;
                assert!(
                    is_label || area.shared(*beside) == 0.0,
                    "{what}: {text:?} lies on {key}"
                );
            }
        }
    }
}

fn earlier(sample: &Sample) -> EarlierRevision {
    EarlierRevision {
        render: sample.work.render.clone(),
        earlier_from_now: Some(Projective::similarity(0.8, 0.0, [3.0, -2.0])),
        head: "Against the earlier results of pump.json: 2 better, 1 worse".to_owned(),
        lines: (0..30)
            .map(|k| format!("better ▼ part{k}: width +4.0 ±2.0 -> −0.1 ±1.6 %"))
            .collect(),
        changed: vec![
            (sample.job.views[0].regions[0].name.clone(), '▼'),
            (sample.job.views[0].regions[1].name.clone(), '▲'),
        ],
    }
}

#[test]
fn nothing_leaves_the_paper_or_lies_over_anything_else() {
    for (size, name) in [
        ([750, 600], plain_name as fn(usize) -> String),
        ([1200, 450], long_name),
        ([250, 700], foreign_name),
        ([100, 75], long_name),
    ] {
        let sample = Sample::new(Wish {
            name,
            ..Wish::new(size[0], size[1], 25)
        });
        let earlier = earlier(&sample);
        let half = DrawingScale::named("1:2").expect("of the standard");
        let kinds = [
            (SheetKind::Whole, None, "whole"),
            (SheetKind::Whole, Some(0), "part"),
            (SheetKind::Plain, None, "plain"),
            (SheetKind::Plain, Some(1), "plain part"),
            (SheetKind::Strip, None, "strip"),
            (SheetKind::Strip, Some(0), "strip of a part"),
            (SheetKind::Revision(&earlier), None, "revision"),
            (SheetKind::Tiled(TiledPicture::Edges, half), None, "tiled"),
        ];
        for (kind, part, what) in &kinds {
            // Twice the number of papers would say no more of these.
            let papers = match what {
                &"whole" | &"part" => &PAPERS[..],
                _ => &PAPERS[..2],
            };
            for paper in papers {
                let input = sample.input(*paper);
                let pages = draw_sheets(&input, kind, *part).expect("draws");
                for page in &pages {
                    check(page, *paper, &format!("{what} of {size:?}"));
                }
            }
        }
    }
}

/// A sample with very long warnings and 30 corrections, each word of them told apart.
fn talkative() -> (Sample, Vec<String>) {
    let mut sample = Sample::new(Wish::new(750, 600, 7));
    let said = |what: &str, k: usize, count: usize| -> String {
        let words = (0..count).map(|n| format!("{what}{k}n{n}"));
        words.collect::<Vec<_>>().join(" ")
    };
    let warnings: Vec<String> = (0..9).map(|k| said("warning", k, 60)).collect();
    let corrections: Vec<String> = (0..30).map(|k| said("change", k, 25)).collect();
    sample.measurement.warnings = (warnings.iter())
        .map(|text| Warning {
            code: Code::DoubtfulLength,
            text: text.clone(),
        })
        .collect();
    let about = sample.job.views[0].regions[0].name.clone();
    sample.measurement.corrections = (corrections.iter())
        .map(|text| Correction {
            about: about.clone(),
            text: text.clone(),
            times_tolerance: 2.0,
        })
        .collect();
    let reason = said("reason", 0, 70);
    sample.measurement.regions[5].sureness = reason.clone();
    let all = warnings.iter().chain(&corrections).chain([&reason]);
    let each = all.flat_map(|text| text.split(' ').map(str::to_owned));
    let each = each.collect();
    (sample, each)
}

#[test]
fn no_word_of_a_warning_a_correction_or_a_reason_is_cut() {
    let (sample, each) = talkative();
    for paper in [Paper::A4, Paper::LETTER.portrait()] {
        let input = sample.input(paper);
        let pages = draw_sheets(&input, &SheetKind::Whole, None).expect("draws");
        let said = words(&pages);
        let said: std::collections::BTreeSet<&str> = said.split_whitespace().collect();
        let missing: Vec<&String> = each.iter().filter(|w| !said.contains(w.as_str())).collect();
        assert!(missing.is_empty(), "{missing:?}");
        for page in &pages {
            check(page, paper, "much to say");
        }
        // All of them belong to the part, but for the reason why another one is not told.
        let pages = draw_sheets(&input, &SheetKind::Whole, Some(0)).expect("draws");
        let said = words(&pages);
        let of_part = each.iter().filter(|word| !word.starts_with("reason"));
        for word in of_part {
            assert!(said.split_whitespace().any(|w| w == word), "{word}");
        }
    }
}

#[test]
fn a_word_without_end_goes_on_in_the_next_line() {
    let (mut sample, _) = talkative();
    let endless: String = (0..400).map(|k| format!("{k:03}")).collect();
    sample.measurement.warnings[0].text = endless.clone();
    let pages = draw_sheets(&sample.input(Paper::A4), &SheetKind::Whole, None).expect("draws");
    let in_full = words(&pages[1..]).replace(' ', "");
    assert!(in_full.contains(&endless), "{in_full}");
}

#[test]
fn the_pictures_of_a_plain_sheet_are_as_large_as_the_paper_allows() {
    for (size, paper) in [
        ([900, 600], Paper::A4),
        ([400, 900], Paper::A4),
        ([900, 300], Paper::A3.portrait()),
        ([300, 900], Paper::LETTER),
    ] {
        let sample = Sample::new(Wish::new(size[0], size[1], 7));
        let pages = draw_sheets(&sample.input(paper), &SheetKind::Plain, None).expect("draws");
        let areas = pages[0].scene.shapes().iter().filter_map(|s| match s {
            Shape::Picture { area, .. } => Some(*area),
            _ => None,
        });
        let areas: Vec<Box2> = areas.collect();
        assert_eq!(areas.len(), 2);
        let all = Box2::around(
            areas
                .iter()
                .flat_map(|a| [[a.x, a.y], [a.right(), a.bottom()]]),
        );
        let all = all.expect("two pictures");
        let [width, height] = paper.size_mm();
        // In one direction they reach from margin to margin, but for the title block and the line below the pictures.
        let is_full = all.width > width - 22.0 || all.height > height - 60.0;
        assert!(is_full, "{all:?} on {paper:?}");
        // No other row or column would show them larger.
        let said = words(&pages);
        assert!(!said.contains('±') && !said.contains("out ✕"), "{said}");
    }
}

#[test]
fn every_page_has_the_fields_of_iso_7200_and_what_the_job_states_in_them() {
    let mut sample = Sample::new(Wish::new(750, 600, 7));
    sample.job.title_block = crate::job::TitleBlock {
        number: Some("FP-24-01".to_owned()),
        revision: Some("B".to_owned()),
        owner: Some("Harbour model club".to_owned()),
        creator: Some("A. Turner".to_owned()),
        approved_by: None,
    };
    for kind in [SheetKind::Whole, SheetKind::Plain] {
        let pages = draw_sheets(&sample.input(Paper::A4), &kind, None).expect("draws");
        for page in &pages {
            let said = words(std::slice::from_ref(page));
            // ISO 7200:2004, tables 1 to 3, from memory.
            for field in [
                "legal owner",
                "identification number",
                "revision",
                "date of issue",
                "sheet",
                "title",
                "supplementary title",
                "approved by",
                "creator",
                "document type",
                "lang.",
                "paper",
                "FP-24-01",
                "Harbour model club",
                "A. Turner",
                "2031-04-05",
                "scale",
                "A4",
            ] {
                assert!(said.contains(field), "{field}: {said}");
            }
        }
    }
    sample.job.title_block.number = None;
    let pages = draw_sheets(&sample.input(Paper::A4), &SheetKind::Plain, None).expect("draws");
    assert!(words(&pages).contains("pump.json"));
}

#[test]
fn what_has_no_scale_is_not_printed_to_one() {
    let sample = Sample::new(Wish {
        scaled: false,
        ..Wish::new(400, 300, 2)
    });
    let kind = SheetKind::Tiled(TiledPicture::Render, DrawingScale::FULL_SIZE);
    let error = draw_sheets(&sample.input(Paper::A4), &kind, None).expect_err("no scale");
    assert!(matches!(error, Error::NoScale), "{error}");
    let plain = draw_sheets(&sample.input(Paper::A4), &SheetKind::Plain, None).expect("draws");
    assert!(words(&plain).contains("not to scale"));
}

#[test]
fn more_pages_than_a_table_holds_are_refused_with_a_scale_that_fits() {
    let sample = Sample::new(Wish::new(1500, 1200, 7));
    let scale = DrawingScale::named("50:1").expect("of the standard");
    let kind = SheetKind::Tiled(TiledPicture::Render, scale);
    let error = draw_sheets(&sample.input(Paper::A4), &kind, None).expect_err("too many");
    let Error::TooManyTiles { found, largest, .. } = &error else {
        panic!("{error}");
    };
    assert!(*found > 60, "{error}");
    let fits = DrawingScale::named(largest).expect("of the standard");
    let kind = SheetKind::Tiled(TiledPicture::Render, fits);
    let pages = draw_sheets(&sample.input(Paper::A4), &kind, None).expect("draws");
    assert!(pages.len() <= 61, "{}", pages.len());
}

#[test]
fn pixels_wider_than_pages_can_be_laid_together_by_are_refused() {
    let sample = Sample::new(Wish::new(30, 20, 1));
    let scale = DrawingScale::named("2:1").expect("of the standard");
    let kind = SheetKind::Tiled(TiledPicture::Reference, scale);
    let error = draw_sheets(&sample.input(Paper::A4), &kind, None).expect_err("too coarse");
    // 42 mm of the model over 20 pixels, twice as large on paper.
    assert!(
        error
            .to_string()
            .contains("a pixel of the render is 4.2 mm wide"),
        "{error}"
    );
}

#[test]
fn the_overview_names_every_view_with_what_to_change() {
    let sample = Sample::new(Wish::new(300, 200, 7));
    let sheet = draw_sheets(&sample.input(Paper::A4), &SheetKind::Whole, None).expect("draws");
    for count in [2, 5, 14, 40] {
        let names: Vec<String> = (0..count).map(|k| format!("view{k}")).collect();
        let views = names.iter().enumerate().map(|(k, name)| OverviewView {
            name,
            verdict: (k != 1).then_some(sample.measurement.verdict),
            thumbnail: (k != 1).then(|| sheet[0].thumbnail()).flatten(),
        });
        let entries = |what: &str, count: usize| -> Vec<String> {
            let words = (0..9).map(|n| format!("{what}{n}")).collect::<Vec<_>>();
            (0..count)
                .map(|k| format!("{} of {what}e{k}", words.join(" ")))
                .collect()
        };
        let sections = [
            ("What to change", "change", true),
            ("To know", "warning", false),
        ];
        let sections = sections.map(|(heading, what, is_ranked)| OverviewSection {
            heading: heading.to_owned(),
            entries: entries(what, 3 * count),
            is_ranked,
        });
        for paper in PAPERS {
            let pages = overview_pages(&Overview {
                job: &sample.job,
                date: "2031-04-05",
                paper,
                views: views.clone().collect(),
                sections: sections.to_vec(),
            });
            let pages = pages.expect("draws");
            let said = words(&pages);
            for k in 0..3 * count {
                for word in [format!("changee{k}"), format!("warninge{k}")] {
                    assert!(said.split_whitespace().any(|w| w == word), "{word}: {said}");
                }
            }
            // Of more views than there is room for each has its sheet alone.
            let shown = names
                .iter()
                .filter(|name| said.split_whitespace().any(|w| w == *name));
            assert_eq!(shown.count(), (count - 1).min(12), "{said}");
            for page in &pages {
                check(page, paper, &format!("overview of {count}"));
            }
        }
    }
}

#[test]
fn shapes_of_a_page_are_drawn_from_back_to_front() {
    // A picture laid over words would hide them.
    let sample = Sample::new(Wish::new(750, 600, 7));
    let pages = draw_sheets(&sample.input(Paper::A4), &SheetKind::Whole, Some(2)).expect("draws");
    let shapes = pages[0].scene.shapes();
    let is_picture = |shape: &scene::Shape| matches!(shape, Shape::Picture { .. });
    let last_picture = shapes
        .iter()
        .rposition(is_picture)
        .expect("there are three");
    let outline = shapes[last_picture..]
        .iter()
        .any(|s| matches!(s, Shape::Path { closed: true, .. }));
    assert!(outline, "the outline of the part lies over the pictures");
}
