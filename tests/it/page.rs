//! `tickstrip page` as users run it: pages of PDFs as pictures, and PDFs that mean harm.
use crate::support::{
    pdf::{dark_rectangle, document, pages, stream},
    run::{Run, run},
};
use flate2::{Compression, write::ZlibEncoder};
use image::{ImageFormat, RgbImage};
use serde_json::Value;
use std::{
    fs,
    io::{Cursor, Write},
    path::Path,
};
use tempfile::TempDir;

/// A rectangle in points: left, lower, right, upper.
const BOX: [f64; 4] = [100.3, 200.7, 250.55, 281.2];

/// A page that shows it, black.
fn with_box() -> Vec<u8> {
    let [left, lower, right, upper] = BOX;
    let content = format!("{left} {lower} {} {} re f", right - left, upper - lower);
    stream("", content.as_bytes())
}

fn folder_with(name: &str, bytes: &[u8]) -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join(name), bytes).expect("written");
    folder
}

fn picture(path: &Path) -> RgbImage {
    image::open(path).expect("a picture").to_rgb8()
}

/// Runs the command on `plan.pdf` of these bytes, which has to fail, and returns what it said; nothing may be left behind.
fn refused(bytes: &[u8], arguments: &[&str]) -> String {
    let folder = folder_with("plan.pdf", bytes);
    let found = run(folder.path(), &[&["page", "plan.pdf"], arguments].concat());
    assert_eq!(found.status, 2, "{} {}", found.out, found.err);
    assert_eq!(found.out, "", "{}", found.err);
    let left: Vec<_> = fs::read_dir(folder.path()).expect("a folder").collect();
    assert_eq!(left.len(), 1, "{left:?}");
    found.err
}

fn drawn(folder: &Path, arguments: &[&str]) -> Run {
    let found = run(folder, &[&["page", "plan.pdf"], arguments].concat());
    assert_eq!(found.status, 0, "{}", found.err);
    found
}

/// Sides of the drawn rectangle against the true ones: left, right, top, bottom; a hundredth of a pixel is what coverage in 255 steps
/// leaves of each side, a tenth what a rasteriser may round to.
fn assert_box(what: &str, picture: &RgbImage, truth: [[f64; 2]; 2]) {
    let found = dark_rectangle(picture).expect(what);
    for (found, truth) in found.iter().flatten().zip(truth.iter().flatten()) {
        assert!((found - truth).abs() < 0.1, "{what}: {found} not {truth}");
    }
}

#[test]
fn a_rectangle_lies_where_the_resolution_says_however_the_page_is_turned_and_cropped() {
    let [left, lower, right, upper] = BOX;
    let [width, height] = [400.0, 500.0];
    type Case<'a> = (&'a str, [f64; 2], [[f64; 2]; 2]);
    let plain = [[left, right], [height - upper, height - lower]];
    let cases: [Case<'_>; 7] = [
        ("", [width, height], plain),
        (
            "/Rotate 90",
            [height, width],
            [[lower, upper], [left, right]],
        ),
        (
            "/Rotate 180",
            [width, height],
            [[width - right, width - left], [lower, upper]],
        ),
        (
            "/Rotate -90",
            [height, width],
            [
                [height - upper, height - lower],
                [width - right, width - left],
            ],
        ),
        (
            "/CropBox [50 100.5 350 450]",
            [300.0, 349.5],
            [[left - 50.0, right - 50.0], [450.0 - upper, 450.0 - lower]],
        ),
        // What lies outside of the medium is not seen.
        ("/CropBox [-100 -100 1000 1000]", [width, height], plain),
        (
            "/UserUnit 2 /Rotate 90 /CropBox [50 100 350 450]",
            [700.0, 600.0],
            [
                [2.0 * (lower - 100.0), 2.0 * (upper - 100.0)],
                [2.0 * (left - 50.0), 2.0 * (right - 50.0)],
            ],
        ),
    ];
    for (keys, size, truth) in cases {
        let keys = format!("/MediaBox [0 0 400 500] {keys}");
        let folder = folder_with("plan.pdf", &pages(&[&keys], with_box(), &[]));
        drawn(folder.path(), &["--dpi", "150", "--out", "plan.png"]);
        let picture = picture(&folder.path().join("plan.png"));
        let px = |points: f64| points / 72.0 * 150.0;
        let size = size.map(|side| px(side).round() as u32);
        assert_eq!(picture.dimensions(), size.into(), "{keys}");
        assert_box(&keys, &picture, truth.map(|sides| sides.map(px)));
        assert_eq!(picture[(0, 0)].0, [255; 3], "the ground is white");
    }
}

#[test]
fn the_picture_states_its_resolution_and_the_command_what_follows() {
    let page = "/MediaBox [0 0 595.276 841.89]";
    let folder = folder_with("plan.pdf", &pages(&[page], with_box(), &[]));
    let found = drawn(folder.path(), &[]);
    assert_eq!(
        found.out,
        "page 1 of 1: 210.0 x 297.0 mm\ndrawn: 2480 x 3508 px at 300 dpi, 0.0847 mm of the page a pixel\nwrote plan-1.png\n\
         Next: tickstrip new RENDER plan-1.png\nor, before there is a render: tickstrip new plan-1.png\n"
    );
    let bytes = fs::read(folder.path().join("plan-1.png")).expect("written");
    let read = png::Decoder::new(Cursor::new(&bytes)).read_info();
    let size = read
        .expect("a PNG")
        .info()
        .pixel_dims
        .expect("a resolution");
    // 300 dpi in pixels a metre.
    assert_eq!((size.xppu, size.yppu), (11_811, 11_811));
    // The same bytes every time; what is there is not overwritten unless that is said.
    let again = run(folder.path(), &["page", "plan.pdf"]);
    assert_eq!(again.status, 2);
    assert!(
        again.err.contains("plan-1.png is there already"),
        "{}",
        again.err
    );
    let json = drawn(folder.path(), &["--force", "--json"]).out;
    let json: Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(json["size"], serde_json::json!([2480, 3508]));
    assert_eq!(
        (&json["page"], &json["pages"], &json["dpi"]),
        (&1.into(), &1.into(), &300.into())
    );
    assert!((json["mm_per_px"].as_f64().expect("a number") - 25.4 / 300.0).abs() < 1e-12);
    assert!(fs::read(folder.path().join("plan-1.png")).expect("written") == bytes);
}

#[test]
fn a_scan_is_drawn_from_its_jpeg() {
    // 240 x 160 px on 144 x 96 points: 120 dpi.
    let scan = RgbImage::from_fn(240, 160, |x, y| {
        let is_dark = (64..160).contains(&x) && (40..120).contains(&y);
        image::Rgb([if is_dark { 0 } else { 255 }; 3])
    });
    let mut jpeg = Cursor::new(Vec::new());
    scan.write_to(&mut jpeg, ImageFormat::Jpeg)
        .expect("encodes");
    let image = stream(
        "/Type /XObject /Subtype /Image /Width 240 /Height 160 /ColorSpace /DeviceRGB /BitsPerComponent 8 /Filter /DCTDecode",
        jpeg.get_ref(),
    );
    let page = "/MediaBox [0 0 200 150] /Resources << /XObject << /Scan 4 0 R >> >>";
    let content = stream("", b"q 144 0 0 96 20 30 cm /Scan Do Q");
    let folder = folder_with("plan.pdf", &pages(&[page], content, &[image]));
    // Enlarged, as it is, and reduced.
    for dpi in [300.0, 120.0, 75.0] {
        let text = dpi.to_string();
        let found = drawn(
            folder.path(),
            &["--dpi", &text, "--out", "plan.png", "--force"],
        );
        assert!(!found.out.contains("note:"), "{}", found.out);
        let picture = picture(&folder.path().join("plan.png"));
        let px = |points: f64| points / 72.0 * dpi;
        let x = [64.0, 160.0].map(|x| px(20.0 + x * 0.6));
        let y = [40.0, 120.0].map(|y| px(150.0 - 126.0 + y * 0.6));
        let sides = dark_rectangle(&picture).expect("a scan");
        for (found, truth) in sides.iter().flatten().zip([x, y].iter().flatten()) {
            assert!(
                (found - truth).abs() < 0.5,
                "{dpi} dpi: {found} not {truth}"
            );
        }
    }
}

#[test]
fn of_several_pages_one_is_chosen() {
    let sizes = [
        "/MediaBox [0 0 400 500]",
        "/MediaBox [0 0 842 595] /Rotate 90",
    ];
    let bytes = pages(&sizes, with_box(), &[]);
    assert_eq!(
        refused(&bytes, &[]),
        "page 1: 141.1 x 176.4 mm\npage 2: 209.9 x 297.0 mm\nerror: plan.pdf: has 2 pages; choose one with --page, such as --page 1\n"
    );
    let words = refused(&bytes, &["--page", "3"]);
    assert_eq!(
        words,
        "error: plan.pdf: has no page 3; it has 2, counted from 1\n"
    );
    let folder = folder_with("plan.pdf", &bytes);
    let found = drawn(folder.path(), &["--page", "2", "--dpi", "72"]);
    assert!(found.out.contains("wrote plan-2.png"), "{}", found.out);
    let picture = picture(&folder.path().join("plan-2.png"));
    assert_eq!(picture.dimensions(), (595, 842));
    let listed = run(folder.path(), &["page", "plan.pdf", "--json"]);
    let json: Value = serde_json::from_str(&listed.out).expect("JSON");
    assert_eq!((listed.status, &json["pages"]), (2, &2.into()));
    // A list is cut, and the last page is there all the same.
    let many = pages(&["/MediaBox [0 0 72 72]"; 205], with_box(), &[]);
    let words = refused(&many, &[]);
    assert!(
        words.contains("page 200: 25.4 x 25.4 mm\nand 5 more\n"),
        "{words}"
    );
    let folder = folder_with("plan.pdf", &many);
    drawn(folder.path(), &["--page", "205", "--dpi", "50"]);
}

#[test]
fn fonts_that_the_document_lacks_are_replaced_and_told() {
    let font = b"<< /Type /Font /Subtype /Type1 /BaseFont /Helvetica >>".to_vec();
    let page = "/MediaBox [0 0 200 100] /Resources << /Font << /F 4 0 R >> >>";
    let content = stream("", b"BT /F 40 Tf 20 30 Td (Hose) Tj ET");
    let folder = folder_with("plan.pdf", &pages(&[page], content, &[font]));
    let found = drawn(folder.path(), &["--dpi", "72"]);
    assert!(
        found
            .out
            .contains("note: the PDF does not carry all of its fonts"),
        "{}",
        found.out
    );
    let picture = picture(&folder.path().join("plan-1.png"));
    // Capitals of 40 pt stand on the line at 70 px and are some 29 px high.
    let dark = |y: u32| (0..200).any(|x| picture[(x, y)].0[0] < 128);
    assert!(dark(50) && dark(68) && !dark(35) && !dark(75));
}

#[test]
fn a_white_page_and_a_picture_that_is_missing_are_told() {
    let image = stream(
        "/Type /XObject /Subtype /Image /Width 9 /Height 9 /ColorSpace /DeviceRGB /BitsPerComponent 8 /Filter /DCTDecode",
        b"no JPEG",
    );
    let page = "/MediaBox [0 0 100 100] /Resources << /XObject << /Scan 4 0 R >> >>";
    let content = stream("", b"100 0 0 100 0 0 cm /Scan Do");
    let folder = folder_with("plan.pdf", &pages(&[page], content, &[image]));
    let found = drawn(folder.path(), &["--dpi", "72"]);
    assert!(
        found.out.contains("note: a picture on the page is missing"),
        "{}",
        found.out
    );
    assert!(
        found.out.contains("note: the page is white all over"),
        "{}",
        found.out
    );
}

#[test]
fn what_is_no_pdf_is_named_and_a_pdf_is_no_image_of_a_job() {
    let folder = tempfile::tempdir().expect("a folder");
    let png = {
        let mut bytes = Cursor::new(Vec::new());
        RgbImage::new(4, 4)
            .write_to(&mut bytes, ImageFormat::Png)
            .expect("encodes");
        bytes.into_inner()
    };
    for (name, bytes, words) in [
        (
            "note.pdf",
            &b"Plan of the pump"[..],
            "holds text (\"Plan of the pump\") and no PDF; name a PDF",
        ),
        (
            "photo.pdf",
            &png,
            "holds a PNG image and no PDF; name it in the job as it is",
        ),
        ("none.pdf", b"", "is empty (0 bytes)"),
    ] {
        fs::write(folder.path().join(name), bytes).expect("written");
        let found = run(folder.path(), &["page", name]);
        assert!(
            found.status == 2 && found.err.contains(words),
            "{}",
            found.err
        );
    }
    for (name, words) in [(".", "is a folder"), ("gone.pdf", "there is no such file")] {
        let found = run(folder.path(), &["page", name]);
        assert!(
            found.status == 2 && found.err.contains(words),
            "{}",
            found.err
        );
    }
    fs::write(folder.path().join("render.png"), &png).expect("written");
    let pdf = pages(&["/MediaBox [0 0 9 9]"], with_box(), &[]);
    fs::write(folder.path().join("plan.png"), pdf).expect("written");
    let found = run(folder.path(), &["new", "render.png", "plan.png"]);
    let words = "plan.png: holds a PDF document; PNG, JPEG, WebP, TIFF and BMP can be read; draw the page that you need as a picture \
                 first: tickstrip page PLAN.pdf";
    assert!(
        found.status == 2 && found.err.contains(words),
        "{}",
        found.err
    );
    // The plan itself is not overwritten, whatever is said.
    let found = run(
        folder.path(),
        &["page", "plan.png", "--out", "plan.png", "--force"],
    );
    assert!(
        found.err.contains("this is the plan that is drawn"),
        "{}",
        found.err
    );
    let found = run(folder.path(), &["page", "plan.png", "--out", "plan.jpg"]);
    assert!(found.err.contains("end its name in .png"), "{}", found.err);
    let found = run(
        folder.path(),
        &["page", "plan.png", "--out", "gone/plan.png"],
    );
    assert!(found.err.contains("cannot be written"), "{}", found.err);
}

#[test]
fn pages_that_make_no_picture_or_too_large_a_one_are_refused() {
    for (page, arguments, words) in [
        ("[0 0 0 500]", &[][..], "page 1 has no area"),
        ("[0 0 0.2 500]", &[], "page 1 has no area"),
        (
            "[0 0 14400 14400]",
            &[],
            "page 1 of 5080 x 5080 mm has 60000 x 60000 px at 300 dpi, more than 100 million or 60000 along a side; say --dpi 50 or less",
        ),
        (
            "[0 0 1000 14400]",
            &["--dpi", "1200"],
            "say --dpi 189 or less",
        ),
        (
            "[0 0 20 14400]",
            &["--dpi", "1200"],
            "say --dpi 300 or less",
        ),
        (
            "[0 0 1000000 1000000]",
            &[],
            "it is too large for every resolution",
        ),
        (
            "[0 0 9999999999999999999999999999999999999999 9]",
            &[],
            "page 1",
        ),
    ] {
        let bytes = pages(&[&format!("/MediaBox {page}")], with_box(), &[]);
        let found = refused(&bytes, arguments);
        assert!(found.contains(words), "{page}: {found}");
    }
    // The longest side that is drawn.
    let content = stream("", b"14300 2 50 8 re f");
    let folder = folder_with(
        "plan.pdf",
        &pages(&["/MediaBox [0 0 14400 12]"], content, &[]),
    );
    drawn(folder.path(), &["--dpi", "300"]);
    let picture = picture(&folder.path().join("plan-1.png"));
    assert_eq!(picture.dimensions(), (60_000, 50));
    let px = |points: f64| points / 72.0 * 300.0;
    assert_box(
        "far right",
        &picture,
        [[px(14_300.0), px(14_350.0)], [px(2.0), px(10.0)]],
    );
}

fn deflated(bytes: &[u8]) -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    encoder.write_all(bytes).expect("written");
    encoder.finish().expect("written")
}

const LITTLE: [&str; 2] = ["--max-memory", "512MiB"];

#[test]
fn a_stream_that_unpacks_to_gigabytes_ends_by_the_limit_of_memory() {
    // 16 MB of blanks, packed twice, a hundred times over.
    let packed = deflated(&deflated(&vec![b' '; 16_000_000]));
    let content = stream("/Filter [/FlateDecode /FlateDecode]", &packed);
    let page = format!("/MediaBox [0 0 72 72] /Contents [{}]", "3 0 R ".repeat(100));
    let bytes = document(
        &[
            b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
            b"<< /Type /Pages /Kids [4 0 R] /Count 1 >>".to_vec(),
            content,
            format!("<< /Type /Page /Parent 2 0 R {page} >>").into_bytes(),
        ],
        "",
    );
    assert!(bytes.len() < 10_000);
    let words = refused(&bytes, &LITTLE);
    assert!(
        words.contains("plan.pdf: reading or drawing it takes more than 512 MiB of memory, and was stopped; print the page to a new PDF")
            && words.contains("--max-memory"),
        "{words}"
    );
}

/// A page whose forms draw the next one ten times each: a thousand million rectangles.
fn without_end() -> Vec<u8> {
    let form = |number: u32| {
        let next = format!("/Resources << /XObject << /F {} 0 R >> >>", number + 1);
        let keys = format!("/Type /XObject /Subtype /Form /BBox [0 0 72 72] {next}");
        stream(&keys, "/F Do ".repeat(10).as_bytes())
    };
    let last = stream(
        "/Type /XObject /Subtype /Form /BBox [0 0 72 72]",
        b"0 0 9 9 re f",
    );
    let mut forms: Vec<_> = (4..13).map(form).collect();
    forms.push(last);
    let page = "/MediaBox [0 0 72 72] /Resources << /XObject << /F 4 0 R >> >>";
    pages(&[page], stream("", b"/F Do"), &forms)
}

#[test]
fn a_drawing_without_end_ends_by_the_limit_of_time() {
    let words = refused(&without_end(), &["--max-seconds", "1"]);
    assert!(
        words.contains("takes more than 1 s, and was stopped") && words.contains("--max-seconds"),
        "{words}"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn the_process_that_reads_ends_with_the_one_that_asked() {
    use std::{
        process::{Command, Stdio},
        thread,
        time::{Duration, Instant},
    };
    let folder = folder_with("plan.pdf", &without_end());
    let mut asking = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .args(["page", "plan.pdf"])
        .current_dir(folder.path())
        .stderr(Stdio::null())
        .spawn()
        .expect("it runs");
    let until = Instant::now() + Duration::from_secs(20);
    let wait_for = |what: &dyn Fn() -> bool| {
        while !what() {
            assert!(Instant::now() < until, "it takes too long");
            thread::sleep(Duration::from_millis(10));
        }
    };
    let at = format!("/proc/{0}/task/{0}/children", asking.id());
    let child = || {
        let children = fs::read_to_string(&at).unwrap_or_default();
        children.split_whitespace().next().map(str::to_owned)
    };
    // Its arguments say that it draws; the first process that is started only tells sizes.
    let words = |child: &str| fs::read(format!("/proc/{child}/cmdline")).unwrap_or_default();
    let draws = |child: &String| words(child).windows(5).any(|w| w == b"\x001\x000\x00");
    wait_for(&|| child().is_some_and(|child| draws(&child)));
    let child = child().expect("it draws without end");
    // Long enough for it to have begun.
    thread::sleep(Duration::from_millis(200));
    asking.kill().expect("killed");
    asking.wait().expect("ended");
    // A process that has ended has no arguments any more.
    wait_for(&|| words(&child).is_empty());
}

#[test]
fn documents_that_are_torn_or_go_round_in_circles_are_refused_in_words() {
    let whole = pages(&["/MediaBox [0 0 72 72]"], with_box(), &[]);
    for cut in [9, 20, 60] {
        let words = refused(&whole[..cut], &[]);
        assert!(
            words.contains("the PDF is damaged or breaks off"),
            "{cut}: {words}"
        );
    }
    // Without its end it is read by its objects, where these tell enough: never anything but words or a whole picture.
    for cut in (100..whole.len()).step_by(97) {
        let folder = folder_with("plan.pdf", &whole[..cut]);
        let found = run(folder.path(), &["page", "plan.pdf", "--dpi", "50"]);
        let is_there = folder.path().join("plan-1.png").exists();
        assert_eq!(is_there, found.status == 0, "{cut}: {}", found.err);
        assert!(
            found.status == 0 || found.err.starts_with("error: plan.pdf: "),
            "{cut}: {}",
            found.err
        );
    }
    // A tree whose branches are its own roots, and one that leads nowhere.
    for kids in ["2 0 R 2 0 R", "3 0 R", "9 0 R", ""] {
        let objects = [
            b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
            format!("<< /Type /Pages /Kids [{kids}] /Count 7 >>").into_bytes(),
            b"<< /Type /Pages /Kids [2 0 R 3 0 R] /Count 7 >>".to_vec(),
        ];
        let words = refused(
            &document(&objects, ""),
            &["--page", "1", "--max-seconds", "5"],
        );
        assert!(
            words.starts_with("error: plan.pdf: ") && !words.contains("takes more"),
            "{kids}: {words}"
        );
    }
}

#[test]
fn a_picture_that_unpacks_to_more_than_the_memory_ends_by_its_limit() {
    // 16,000 x 16,000 px, a run of 128 values by two bytes, packed again; 128 ends them (ISO 32000-1, 7.4.5).
    let runs = [[129, 0].repeat(16_000 * 16_000 * 3 / 128), vec![128]].concat();
    let runs = deflated(&runs);
    let image = stream(
        "/Type /XObject /Subtype /Image /Width 16000 /Height 16000 /ColorSpace /DeviceRGB /BitsPerComponent 8 \
         /Filter [/FlateDecode /RunLengthDecode]",
        &runs,
    );
    let page = "/MediaBox [0 0 72 72] /Resources << /XObject << /Scan 4 0 R >> >>";
    let content = || stream("", b"72 0 0 72 0 0 cm /Scan Do");
    let words = refused(&pages(&[page], content(), &[image]), &LITTLE);
    assert!(words.contains("more than 512 MiB of memory"), "{words}");
    // One that claims more than it has takes no more than it has.
    let image = stream(
        "/Type /XObject /Subtype /Image /Width 60000 /Height 60000 /ColorSpace /DeviceGray /BitsPerComponent 8 /Filter /FlateDecode",
        &deflated(&[0; 1000]),
    );
    let folder = folder_with("plan.pdf", &pages(&[page], content(), &[image]));
    let found = run(
        folder.path(),
        &[&["page", "plan.pdf"][..], &LITTLE].concat(),
    );
    let is_told = found.status == 0 || found.err.contains("more than 512 MiB of memory");
    assert!(is_told, "{} {}", found.out, found.err);
}

#[test]
fn a_locked_document_is_told() {
    let locked = |encryption: &str| {
        let encryption = format!("/Encrypt << {encryption} >> /ID [<00> <00>]");
        let objects = [
            b"<< /Type /Catalog /Pages 2 0 R >>".to_vec(),
            b"<< /Type /Pages /Kids [3 0 R] /Count 1 >>".to_vec(),
            b"<< /Type /Page /Parent 2 0 R /MediaBox [0 0 72 72] >>".to_vec(),
        ];
        refused(&document(&objects, &encryption), &[])
    };
    // Keys that belong to no password that is known.
    let keys = format!("/O <{}> /U <{}> /P -44", "17".repeat(32), "93".repeat(32));
    let words = locked(&format!("/Filter /Standard /V 1 /R 2 {keys}"));
    assert!(
        words.contains("plan.pdf: the PDF is locked with a password; open it where you know"),
        "{words}"
    );
    let words = locked(&format!("/Filter /Secret /V 9 /R 9 {keys}"));
    assert!(
        words.contains("is encrypted in a way that cannot be read here"),
        "{words}"
    );
}

#[test]
fn the_process_that_reads_takes_nothing_but_its_task() {
    let folder = tempfile::tempdir().expect("a folder");
    for arguments in [
        &["draw-plan-page"][..],
        &["draw-plan-page", "1", "2", "3"],
        &["draw-plan-page", "--help"],
    ] {
        let found = run(folder.path(), arguments);
        assert_eq!(
            (found.status, found.out.as_str(), found.err.as_str()),
            (2, "", "")
        );
    }
    // It begins with its bounds: with hardly any memory nothing is read, whatever comes.
    let bytes = pages(&["/MediaBox [0 0 72 72]"], with_box(), &[]);
    let words = refused(&bytes, &["--max-memory", "1MB"]);
    assert!(words.contains("more than 1 MiB of memory"), "{words}");
}
