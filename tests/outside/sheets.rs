//! Sheets as poppler reads them (poppler.freedesktop.org; `pdfinfo`, `pdftotext`, `pdftohtml`, `pdftoppm`): page sizes by ISO 216 and for
//! Letter, the length of printed bars, words, bookmarks.
use assert_cmd::Command;
use std::{
    fs,
    path::{Path, PathBuf},
    process,
};
use tempfile::TempDir;

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// What a program of poppler prints; `None`, with a line that says so, where it is not installed.
fn poppler(test: &str, program: &str, arguments: &[&str], pdf: &Path) -> Option<String> {
    let output = process::Command::new(program)
        .args(arguments)
        .arg(pdf)
        .arg("-")
        .output();
    match output {
        Ok(output) => {
            let error = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success(), "{program}: {error}");
            Some(String::from_utf8_lossy(&output.stdout).into_owned())
        }
        Err(_) => {
            assert!(std::env::var_os("CI").is_none(), "{program} is missing");
            #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
            {
                println!("SKIPPED: {test}: {program} is missing");
            }
            None
        }
    }
}

/// The document of the demo with these options.
fn sheet(arguments: &[&str]) -> (TempDir, PathBuf) {
    let folder = tempfile::tempdir().expect("a folder");
    let out = folder.path().join("sheet.pdf");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("sheet")
        .arg(Path::new(DEMO).join("pump.json"))
        .args(arguments)
        .arg("--out")
        .arg(&out)
        .env("SOURCE_DATE_EPOCH", "1933113600")
        .assert()
        .success();
    (folder, out)
}

/// Points of 1/72 in (ISO 32000-1, 8.3.2.3) in millimetres.
fn millimetres(points: f64) -> f64 {
    points / 72.0 * 25.4
}

/// What `pdfinfo` says of a document, and width and height of its page in millimetres; `None`, with a line that says so, where it is
/// not installed.
fn page(test: &str, pdf: &Path) -> Option<(String, Vec<f64>)> {
    // It takes no "-": the file alone.
    let Ok(output) = process::Command::new("pdfinfo").arg(pdf).output() else {
        assert!(std::env::var_os("CI").is_none(), "pdfinfo is missing");
        #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
        {
            println!("SKIPPED: {test}: pdfinfo is missing");
        }
        return None;
    };
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    let line = text.lines().find(|l| l.starts_with("Page size:"));
    let words = line.expect("a size").split_whitespace();
    let numbers = words.filter_map(|w| w.parse::<f64>().ok());
    let size = numbers.map(millimetres).collect();
    Some((text, size))
}

/// Source: ISO 32000-1, 8.3.2.3: a unit of a page is 1/72 in; the picture's own pixels by its pixels a millimetre.
#[test]
fn the_page_of_a_backdrop_is_as_large_as_its_picture() {
    let folder = tempfile::tempdir().expect("a folder");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("backdrop")
        .arg(Path::new(DEMO).join("pump.json"))
        .args(["--view", "plan", "--px-per-mm", "8", "--out"])
        .arg(folder.path())
        .assert()
        .success();
    let picture = fs::read(folder.path().join("plan/backdrop.png")).expect("written");
    let picture = image::load_from_memory(&picture).expect("a picture");
    let test = "the_page_of_a_backdrop_is_as_large_as_its_picture";
    let Some((text, found)) = page(test, &folder.path().join("plan/backdrop.pdf")) else {
        return;
    };
    for (found, pixels) in found.iter().zip([picture.width(), picture.height()]) {
        // pdfinfo prints six digits of the points.
        assert!((found - f64::from(pixels) / 8.0).abs() < 0.002, "{text}");
    }
}

/// Source: ISO 216 (A4 210 x 297 mm, A3 297 x 420 mm); common practice, no source: Letter is 8 1/2 x 11 in.
#[test]
fn pages_have_the_size_of_their_paper() {
    for (paper, turned, size) in [
        ("a4", false, [297.0, 210.0]),
        ("a4", true, [210.0, 297.0]),
        ("a3", false, [420.0, 297.0]),
        ("letter", true, [215.9, 279.4]),
    ] {
        let mut arguments = vec!["--view", "front", "--plain", "--paper", paper];
        arguments.extend(turned.then_some("--portrait"));
        let (_folder, pdf) = sheet(&arguments);
        let told = page("pages_have_the_size_of_their_paper", &pdf);
        let Some((text, found)) = told else { return };
        for (found, wanted) in found.iter().zip(size) {
            // pdfinfo prints six digits of the points.
            assert!((found - wanted).abs() < 0.002, "{paper}: {text}");
        }
        assert!(
            text.contains("Fire pump of a harbour town"),
            "no title: {text}"
        );
    }
}

/// The grey of ink on sheets: what is darker belongs to a picture.
const INK: u8 = 26;

/// Part of the first page's height that is looked at, from and to: where the bar stands, above the title block.
const FOOT: [f64; 2] = [0.78, 0.9];

/// The foot of the first page as pdftoppm renders it, grey, at so many dots per inch.
fn rendered(test: &str, pdf: &Path, size: [f64; 2], dots: u32) -> Option<image::GrayImage> {
    let root = pdf.with_extension("");
    let px = |mm: f64| (mm / 25.4 * f64::from(dots)).round().to_string();
    let status = process::Command::new("pdftoppm")
        .args([
            "-r",
            &dots.to_string(),
            "-gray",
            "-png",
            "-singlefile",
            "-f",
            "1",
            "-l",
            "1",
        ])
        .args(["-x", "0", "-y", &px(size[1] * FOOT[0])])
        .args(["-W", &px(size[0]), "-H", &px(size[1] * (FOOT[1] - FOOT[0]))])
        .arg(pdf)
        .arg(&root)
        .status();
    if status.is_err() {
        assert!(std::env::var_os("CI").is_none(), "pdftoppm is missing");
        #[expect(clippy::print_stdout, reason = "scripts/test counts these lines")]
        {
            println!("SKIPPED: {test}: pdftoppm is missing");
        }
        return None;
    }
    let bytes = fs::read(root.with_extension("png")).expect("rendered");
    Some(
        image::load_from_memory(&bytes)
            .expect("a picture")
            .to_luma8(),
    )
}

/// The longest run of dark pixels that is no longer than half as long again as what is looked for, in pixels, with the parts of those
/// that its ends cover.
fn longest_bar(page: &image::GrayImage, most: f64) -> f64 {
    let mut best = 0.0_f64;
    let ink = |pixel: &image::Luma<u8>| f64::from(255 - pixel.0[0].max(INK)) / f64::from(255 - INK);
    for row in page.rows() {
        let mut run = 0.0;
        // A white pixel at the end closes the last run.
        for ink in row.map(ink).chain([0.0]) {
            if ink > 0.02 {
                run += ink;
                continue;
            }
            // Frames of the title block are longer than any bar.
            if run < most {
                best = best.max(run);
            }
            run = 0.0;
        }
    }
    best
}

/// The upper rim of a bar is one line of ink from end to end: it is as long as is written below it, within 0.05 mm.
#[test]
fn printed_bars_are_as_long_as_they_say() {
    const DOTS: u32 = 1200;
    let test = "printed_bars_are_as_long_as_they_say";
    let scaled = ["--view", "front", "--tiled", "reference", "--scale", "2:1"];
    let letter = [
        "--view",
        "front",
        "--tiled",
        "reference",
        "--paper",
        "letter",
        "--portrait",
    ];
    for (arguments, size) in [(&scaled[..], [297.0, 210.0]), (&letter, [215.9, 279.4])] {
        let (_folder, pdf) = sheet(arguments);
        let Some(image) = rendered(test, &pdf, size, DOTS) else {
            return;
        };
        let per_mm = f64::from(DOTS) / 25.4;
        let bar = longest_bar(&image, 150.0 * per_mm) / per_mm;
        assert!((bar - 100.0).abs() < 0.05, "{bar} mm instead of 100 mm");
    }
}

#[test]
fn words_are_found_and_bookmarks_lead_to_every_view() {
    let test = "words_are_found_and_bookmarks_lead_to_every_view";
    let (_folder, pdf) = sheet(&[]);
    let Some(text) = poppler(test, "pdftotext", &["-layout"], &pdf) else {
        return;
    };
    for words in [
        "Fire pump of a harbour town",
        "Corrections in CAD, the worst first",
        "legal owner",
        "comparison sheet",
        "2031-04-05",
        "1 of ",
        "tool box",
        "±",
    ] {
        assert!(text.contains(words), "{words}: {text}");
    }
    let count = text.matches('\u{c}').count();
    assert!(
        text.contains(&format!("{count} of {count}")),
        "the last of {count} pages"
    );
    let root = pdf.with_extension("");
    let output = process::Command::new("pdftohtml")
        .args(["-xml", "-i", "-stdout"])
        .arg(&pdf)
        .arg(&root)
        .output();
    let Ok(output) = output else { return };
    let xml = String::from_utf8_lossy(&output.stdout).into_owned();
    let outline = xml.split("<outline>").nth(1).expect("bookmarks");
    for name in ["Overview", "side", "front", "plan"] {
        assert!(
            outline.contains(&format!(">{name}</item>")),
            "{name}: {outline}"
        );
    }
}
