//! Every picture of invented views of all shapes: sizes, texts, sameness of bytes.
use super::{
    DrawnView, Error, Paper, Pictures, SheetPage, draw_view, encode_jpeg, encode_png, sheets_pdf,
    synthetic::{Sample, Wish, foreign_name, long_name, plain_name},
};

fn drawn(wish: Wish, paper: Paper) -> DrawnView {
    let sample = Sample::new(wish);
    let view = draw_view(&sample.input(paper), &Pictures::all()).expect("draws");
    look_at(&view, wish);
    view
}

/// With `PICTURES_TO` set, every picture is written there to be looked at.
fn look_at(view: &DrawnView, wish: Wish) {
    let Some(folder) = std::env::var_os("PICTURES_TO").map(std::path::PathBuf::from) else {
        return;
    };
    std::fs::create_dir_all(&folder).expect("a folder to write to");
    let first: String = (wish.name)(0)
        .chars()
        .filter(|c| c.is_alphanumeric())
        .take(6)
        .collect();
    let [width, height] = wish.size;
    let name = format!(
        "{width}x{height}-{}-{}-{first}",
        wish.regions, wish.landmarks
    );
    for file in &view.files {
        std::fs::write(folder.join(format!("{name}-{}", file.name)), &file.bytes).expect("writes");
    }
    let pdf = pdf_of(&view.sheets).expect("a PDF");
    std::fs::write(folder.join(format!("{name}.pdf")), pdf).expect("writes");
}

fn pdf_of(pages: &[SheetPage]) -> Result<Vec<u8>, Error> {
    let pages: Vec<_> = pages.iter().cloned().map(|page| Ok(page.into())).collect();
    sheets_pdf(pages.len(), pages)
}

fn size_of(view: &DrawnView, key: &str) -> (u32, u32) {
    let file = view
        .files
        .iter()
        .find(|file| file.key == key)
        .expect("was drawn");
    image::load_from_memory(&file.bytes)
        .expect("decodes")
        .to_rgb8()
        .dimensions()
}

fn bytes_of<'a>(view: &'a DrawnView, key: &str) -> &'a [u8] {
    &view
        .files
        .iter()
        .find(|file| file.key == key)
        .expect("was drawn")
        .bytes
}

#[test]
fn every_picture_has_its_key_and_the_size_of_the_working_grid_with_a_legend_below() {
    let view = drawn(Wish::new(1500, 1200, 7), Paper::A4);
    let keys: Vec<_> = view.files.iter().map(|file| file.key).collect();
    assert_eq!(
        keys,
        [
            "overlay",
            "difference",
            "heat",
            "grid",
            "blink",
            "strip",
            "render_small",
            "reference_small",
            "sheet"
        ]
    );
    for key in ["overlay", "difference", "heat", "grid"] {
        let (width, height) = size_of(&view, key);
        assert_eq!(width, 1500, "{key}");
        assert!((1220..1400).contains(&height), "{key}: {height}");
    }
    assert_eq!(size_of(&view, "blink"), (1200, 960));
    for key in ["render_small", "reference_small"] {
        assert_eq!(size_of(&view, key), (1500, 1200), "{key}");
        assert!(bytes_of(&view, key).starts_with(&[0xff, 0xd8]), "{key}");
    }
    // 297 x 210 mm at 150 dots per inch.
    assert_eq!(size_of(&view, "sheet"), (1754, 1240));
}

#[test]
fn wide_tall_and_tiny_pictures_are_drawn_at_a_readable_size() {
    assert_eq!(
        size_of(&drawn(Wish::new(2400, 900, 1), Paper::A3), "overlay").0,
        2400
    );
    assert_eq!(
        size_of(&drawn(Wish::new(2400, 900, 1), Paper::A3), "render_small"),
        (1600, 600)
    );
    assert_eq!(
        size_of(
            &drawn(Wish::new(500, 1400, 25), Paper::LETTER),
            "difference"
        )
        .0,
        1000
    );
    let tiny = drawn(
        Wish {
            scaled: false,
            ..Wish::new(200, 150, 1)
        },
        Paper::A4,
    );
    assert_eq!(size_of(&tiny, "heat").0, 1000);
    assert_eq!(size_of(&tiny, "blink"), (1000, 750));
}

#[test]
fn one_pixel_and_extreme_shapes_do_not_break() {
    for (width, height) in [(1, 1), (3, 1200), (1800, 2)] {
        drawn(Wish::new(width, height, 3), Paper::A4);
    }
}

#[test]
fn views_without_regions_landmarks_or_edges_are_drawn() {
    let wish = Wish {
        landmarks: 0,
        ..Wish::new(400, 300, 0)
    };
    let mut sample = Sample::new(wish);
    sample.work.render_edges.fill(0);
    sample.work.reference_edges.fill(0);
    sample.work.distance_to_render_edges.fill(f32::INFINITY);
    sample.work.distance_to_reference_edges.fill(f32::INFINITY);
    sample.work.common.fill(0);
    let view = draw_view(&sample.input(Paper::A4), &Pictures::all()).expect("draws");
    look_at(&view, wish);
}

#[test]
fn long_and_foreign_names_are_drawn() {
    drawn(
        Wish {
            name: long_name,
            ..Wish::new(1500, 1200, 25)
        },
        Paper::A4,
    );
    drawn(
        Wish {
            name: foreign_name,
            ..Wish::new(1500, 1200, 5)
        },
        Paper::A4,
    );
}

#[test]
fn marks_beyond_the_horizon_do_not_break() {
    let mut sample = Sample::new(Wish::new(400, 300, 2));
    sample.pairs[1].reference = crate::frame::Point::new(f64::INFINITY, f64::NAN);
    sample.pairs[2].reference = crate::frame::Point::new(1e12, -1e12);
    draw_view(&sample.input(Paper::A4), &Pictures::all()).expect("draws");
}

#[test]
fn the_same_input_gives_the_same_bytes_with_one_thread_and_with_two() {
    let sample = Sample::new(Wish::new(700, 500, 7));
    let with = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(threads)
            .build()
            .expect("a pool");
        pool.install(|| {
            let view = draw_view(&sample.input(Paper::A4), &Pictures::all()).expect("draws");
            let pdf = pdf_of(&view.sheets).expect("a PDF");
            (view, pdf)
        })
    };
    let (one, two, again) = (with(1), with(2), with(2));
    for (a, b) in [(&one, &two), (&two, &again)] {
        for (a, b) in a.0.files.iter().zip(&b.0.files) {
            assert!(a.bytes == b.bytes, "{} differs", a.name);
        }
        assert!(a.1 == b.1, "the PDF differs");
    }
}

#[test]
fn a_changed_measurement_changes_the_pictures_that_show_it() {
    let sample = Sample::new(Wish::new(700, 500, 7));
    let before = draw_view(&sample.input(Paper::A4), &Pictures::all()).expect("draws");
    let mut changed = Sample::new(Wish::new(700, 500, 7));
    changed.measurement.regions[0].width_percent =
        crate::statistics::Measured::plus_minus(9.9, 0.1);
    let after = draw_view(&changed.input(Paper::A4), &Pictures::all()).expect("draws");
    assert!(bytes_of(&before, "difference") != bytes_of(&after, "difference"));
    assert!(bytes_of(&before, "sheet") != bytes_of(&after, "sheet"));
    assert!(bytes_of(&before, "overlay") == bytes_of(&after, "overlay"));
}

#[test]
fn the_pdf_has_a_page_a_view_in_paper_size_with_fonts_and_no_time() {
    let view = drawn(Wish::new(700, 500, 7), Paper::A4);
    let pdf = pdf_of(&[view.sheets[0].clone(), view.sheets[0].clone()]).expect("a PDF");
    let text = String::from_utf8_lossy(&pdf);
    assert_eq!(
        text.matches("/Type/Page/").count() + text.matches("/Type /Page\n").count(),
        2
    );
    // 297 x 210 mm in points of 1/72 in.
    assert!(
        text.contains("841.889") && text.contains("595.27"),
        "no A4 page"
    );
    assert!(
        text.contains("DejaVuSans-Bold") && text.contains("ToUnicode"),
        "no embedded fonts"
    );
    assert!(!text.contains("CreationDate") && !text.contains("CreateDate"));
    assert!(pdf_of(&[]).is_err());
}

#[test]
fn rasters_that_do_not_fit_together_are_refused_by_name() {
    let mut sample = Sample::new(Wish::new(200, 150, 1));
    sample.work.reference = image::RgbImage::new(10, 10);
    let error = draw_view(&sample.input(Paper::A4), &Pictures::all()).expect_err("does not fit");
    assert_eq!(error.code(), "different-sizes");
    assert!(
        error
            .to_string()
            .contains("the registered reference has 10 x 10 pixels"),
        "{error}"
    );
    sample.work.render = image::RgbImage::new(0, 0);
    assert!(matches!(
        draw_view(&sample.input(Paper::A4), &Pictures::all()),
        Err(Error::EmptyPicture)
    ));
}

#[test]
fn pictures_are_encoded_for_others_too() {
    let picture = image::RgbImage::from_pixel(8, 8, image::Rgb([1, 2, 3]));
    assert!(encode_png(&picture).expect("a PNG").starts_with(b"\x89PNG"));
    assert!(
        encode_jpeg(&picture)
            .expect("a JPEG")
            .starts_with(&[0xff, 0xd8])
    );
}

/// Measured by hand: `cargo test --lib -- --ignored --nocapture how_long`.
#[test]
#[expect(clippy::print_stdout, reason = "a measurement is read by people")]
#[ignore = "a measurement, not a check"]
fn how_long_all_pictures_of_a_large_view_take() {
    let sample = Sample::new(Wish {
        name: plain_name,
        ..Wish::new(2400, 1600, 12)
    });
    for _ in 0..4 {
        let start = std::time::Instant::now();
        let view = draw_view(&sample.input(Paper::A4), &Pictures::all()).expect("draws");
        let drawn = start.elapsed();
        let pdf = pdf_of(&view.sheets).expect("a PDF");
        println!(
            "{drawn:?}, PDF {:?} ({} bytes)",
            start.elapsed() - drawn,
            pdf.len()
        );
    }
}
