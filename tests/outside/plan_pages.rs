//! Pages of PDFs as poppler draws them (poppler.freedesktop.org, `pdftoppm`): the same places at the same resolution.
use super::pdf::{dark_rectangle, pages, stream};
use assert_cmd::Command;
use image::{ImageFormat, RgbImage};
use std::{
    fs,
    io::Cursor,
    path::{Path, PathBuf},
    process,
};

const DEMO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/demo");

/// A page as poppler draws it, its crop box alone; `None`, with a line that says so, where it is not installed.
fn by_poppler(test: &str, pdf: &Path, dpi: u32, page: u32) -> Option<RgbImage> {
    let root = pdf.with_extension("poppler");
    let (dpi, page) = (dpi.to_string(), page.to_string());
    let status = process::Command::new("pdftoppm")
        .args(["-r", &dpi, "-cropbox", "-png", "-singlefile"])
        .args(["-f", &page, "-l", &page])
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
    let picture = image::open(root.with_extension("poppler.png"));
    Some(picture.expect("drawn").to_rgb8())
}

/// The same by the command.
fn by_page(pdf: &Path, dpi: u32, page: u32) -> RgbImage {
    let out = pdf.with_extension("png");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("page")
        .arg(pdf)
        .args([
            "--dpi",
            &dpi.to_string(),
            "--page",
            &page.to_string(),
            "--force",
            "--out",
        ])
        .arg(&out)
        .assert()
        .success();
    image::open(out).expect("drawn").to_rgb8()
}

fn written(folder: &Path, bytes: &[u8]) -> PathBuf {
    let path = folder.join("plan.pdf");
    fs::write(&path, bytes).expect("written");
    path
}

#[test]
fn edges_of_turned_and_cropped_pages_lie_where_poppler_has_them() {
    let folder = tempfile::tempdir().expect("a folder");
    let content = || stream("", b"100.3 200.7 150.25 80.5 re f");
    let scan = RgbImage::from_fn(900, 600, |x, y| {
        let is_dark = (240..600).contains(&x) && (152..448).contains(&y);
        image::Rgb([if is_dark { 0 } else { 255 }; 3])
    });
    let mut jpeg = Cursor::new(Vec::new());
    scan.write_to(&mut jpeg, ImageFormat::Jpeg)
        .expect("encodes");
    let scan = stream(
        "/Type /XObject /Subtype /Image /Width 900 /Height 600 /ColorSpace /DeviceRGB /BitsPerComponent 8 /Filter /DCTDecode",
        jpeg.get_ref(),
    );
    // Poppler moves the borders of pictures outwards to whole pixels, and enlarges them by whole ones: so the borders lie just within
    // some (72 points are 150 px), and the scan is shown pixel by pixel, and at half its size.
    let of_scan = stream("", b"q 215.99 0 0 143.99 72.005 120.005 cm /Scan Do Q");
    let resources = "/CropBox [0 0 384 480] /Resources << /XObject << /Scan 4 0 R >> >>";
    for (keys, content, further) in [
        ("", content(), vec![]),
        ("/Rotate 90", content(), vec![]),
        ("/Rotate 180", content(), vec![]),
        ("/Rotate 270 /CropBox [50 100 350 450]", content(), vec![]),
        ("/CropBox [50 100 350 450]", content(), vec![]),
        (resources, of_scan, vec![scan]),
    ] {
        let keys = format!("/MediaBox [0 0 400 500] {keys}");
        let pdf = written(folder.path(), &pages(&[&keys], content, &further));
        for dpi in [150, 300] {
            let test = "edges_of_turned_and_cropped_pages_lie_where_poppler_has_them";
            let Some(theirs) = by_poppler(test, &pdf, dpi, 1) else {
                return;
            };
            let ours = by_page(&pdf, dpi, 1);
            let [ours, theirs] = [ours, theirs].map(|p| dark_rectangle(&p).expect("a rectangle"));
            for (ours, theirs) in ours.iter().flatten().zip(theirs.iter().flatten()) {
                assert!(
                    (ours - theirs).abs() < 0.5,
                    "{keys} at {dpi}: {ours} and {theirs}"
                );
            }
        }
    }
}

/// How far two pictures are from each other where the second one is moved by so many pixels: the mean difference in grey levels.
fn apart(ours: &RgbImage, theirs: &RgbImage, [right, down]: [i32; 2]) -> f64 {
    let (width, height) = (
        ours.width().min(theirs.width()),
        ours.height().min(theirs.height()),
    );
    let (mut sum, mut count) = (0.0, 0.0);
    for y in 2..height - 2 {
        for x in 2..width - 2 {
            let moved = (
                x.saturating_add_signed(-right),
                y.saturating_add_signed(-down),
            );
            sum += f64::from(ours[(x, y)].0[1].abs_diff(theirs[moved].0[1]));
            count += 1.0;
        }
    }
    sum / count
}

/// The minimum of a parabola through three values at -1, 0 and 1.
fn least_at([before, here, behind]: [f64; 3]) -> f64 {
    (before - behind) / (2.0 * (before - 2.0 * here + behind))
}

#[test]
fn a_sheet_of_lines_words_and_pictures_lies_where_poppler_has_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let pdf = folder.path().join("sheet.pdf");
    Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("sheet")
        .arg(Path::new(DEMO).join("pump.json"))
        .args(["--view", "front", "--out"])
        .arg(&pdf)
        .env("SOURCE_DATE_EPOCH", "1933113600")
        .assert()
        .success();
    let test = "a_sheet_of_lines_words_and_pictures_lies_where_poppler_has_it";
    let Some(theirs) = by_poppler(test, &pdf, 150, 1) else {
        return;
    };
    let ours = by_page(&pdf, 150, 1);
    assert!(
        ours.width().abs_diff(theirs.width()) <= 1 && ours.height().abs_diff(theirs.height()) <= 1
    );
    let here = apart(&ours, &theirs, [0, 0]);
    for axis in [0, 1] {
        let by = |step: i32| {
            let mut shift = [0, 0];
            shift[axis] = step;
            apart(&ours, &theirs, shift)
        };
        let (before, behind) = (by(-1), by(1));
        let shift = least_at([before, here, behind]);
        assert!(
            shift.abs() < 0.5 && here < 0.6 * before.min(behind),
            "axis {axis}: {before} {here} {behind}"
        );
    }
}
