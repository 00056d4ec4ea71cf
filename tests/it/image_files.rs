//! Reading pictures: formats, orientation, colour, limits, and every way a file can be bad.
use image::{
    ColorType, ExtendedColorType, ImageEncoder, RgbImage,
    codecs::{
        bmp::BmpEncoder, jpeg::JpegEncoder, png::PngEncoder, tiff::TiffEncoder, webp::WebPEncoder,
    },
};
use std::{fs, path::PathBuf};
use tickstrip::{
    images::{self, Error, Limits, Picture},
    job::Mask,
};

const WIDTH: u32 = 24;
const HEIGHT: u32 = 16;

/// A folder of its own for one test.
struct Desk(tempfile::TempDir);

impl Desk {
    fn new() -> Self {
        Self(tempfile::tempdir().expect("a folder for the test"))
    }

    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        fs::write(&path, bytes).expect("the test's folder can be written");
        path
    }

    fn read(&self, name: &str, bytes: &[u8]) -> Result<Picture, Error> {
        images::read(&self.file(name, bytes), &Limits::default())
    }
}

/// Red grows to the right, green downwards.
fn sample() -> RgbImage {
    RgbImage::from_fn(WIDTH, HEIGHT, |x, y| {
        image::Rgb([x as u8 * 10, y as u8 * 15, 128])
    })
}

fn encoded(encoder: impl FnOnce(&mut Vec<u8>)) -> Vec<u8> {
    let mut bytes = Vec::new();
    encoder(&mut bytes);
    bytes
}

fn png_of(samples: &[u8], color: ExtendedColorType) -> Vec<u8> {
    encoded(|out| {
        PngEncoder::new(out)
            .write_image(samples, WIDTH, HEIGHT, color)
            .expect("a PNG");
    })
}

fn png() -> Vec<u8> {
    png_of(&sample(), ExtendedColorType::Rgb8)
}

fn jpeg() -> Vec<u8> {
    encoded(|out| {
        JpegEncoder::new_with_quality(out, 95)
            .encode_image(&sample())
            .expect("a JPEG");
    })
}

fn webp() -> Vec<u8> {
    encoded(|out| {
        WebPEncoder::new_lossless(out)
            .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("a WebP");
    })
}

fn tiff() -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    TiffEncoder::new(&mut out)
        .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
        .expect("a TIFF");
    out.into_inner()
}

fn bmp() -> Vec<u8> {
    encoded(|out| {
        BmpEncoder::new(out)
            .encode(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("a bitmap");
    })
}

/// The sample as a lossy WebP, written by Pillow 12.0.0 at quality 60 (the encoder at hand only writes lossless ones).
const LOSSY_WEBP: &str = "52494646720000005745425056503820660000001004009d012a180010003eb54ea149a724a3a1300800e016896c3b80\
18c790b308e4a022bea703f78000fee21ff1dffed56afd367ffe3d3c70673d9912a2f079f930de8fcc259c43b1b11ae7b213b63990d083097333ae44\
0de67742203b75b50c0bf0d00000";

fn lossy_webp() -> Vec<u8> {
    (0..LOSSY_WEBP.len() / 2)
        .map(|i| u8::from_str_radix(&LOSSY_WEBP[2 * i..2 * i + 2], 16).expect("hexadecimal"))
        .collect()
}

/// A progressive JPEG, whose picture comes in several scans.
fn progressive_jpeg() -> Vec<u8> {
    encoded(|out| {
        let mut encoder = jpeg_encoder::Encoder::new(out, 95);
        encoder.set_progressive(true);
        encoder
            .encode(
                &sample(),
                WIDTH as u16,
                HEIGHT as u16,
                jpeg_encoder::ColorType::Rgb,
            )
            .expect("a JPEG");
    })
}

fn every_format() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("PNG", png()),
        ("JPEG", jpeg()),
        ("JPEG", progressive_jpeg()),
        ("WebP", webp()),
        ("WebP", lossy_webp()),
        ("TIFF", tiff()),
        ("BMP", bmp()),
    ]
}

fn worst_difference(a: &RgbImage, b: &RgbImage) -> u8 {
    assert_eq!(a.dimensions(), b.dimensions());
    let pairs = a.as_raw().iter().zip(b.as_raw());
    pairs.map(|(a, b)| a.abs_diff(*b)).max().expect("pixels")
}

#[test]
fn lossless_formats_give_the_very_samples_whatever_the_name() {
    let desk = Desk::new();
    for bytes in [png(), webp(), tiff(), bmp()] {
        let picture = desk.read("wrong-name.jpg", &bytes).expect("a good file");
        assert_eq!(picture.rgb, sample());
        assert!(picture.alpha.is_none() && picture.notes.is_empty());
    }
}

#[test]
fn lossy_formats_come_close() {
    let desk = Desk::new();
    // Coarser chroma and quality 60 cost up to 30 levels on so steep a ramp; a swapped channel costs far over 100.
    for (bytes, levels) in [(jpeg(), 30), (progressive_jpeg(), 30), (lossy_webp(), 40)] {
        let picture = desk.read("picture.png", &bytes).expect("a good file");
        let found = worst_difference(&picture.rgb, &sample());
        assert!(found <= levels, "{found}");
    }
}

#[test]
fn sixteen_bit_grey_and_palette_images_become_8_bit_colours() {
    let desk = Desk::new();
    let wide: Vec<u8> = sample()
        .iter()
        .flat_map(|&v| (u16::from(v) * 257).to_ne_bytes())
        .collect();
    let picture = desk.read("wide.png", &png_of(&wide, ExtendedColorType::Rgb16));
    assert_eq!(picture.expect("16 bits").rgb, sample());

    let grey: Vec<u8> = (0..WIDTH * HEIGHT).map(|i| (i % 251) as u8).collect();
    let picture = desk.read("grey.png", &png_of(&grey, ExtendedColorType::L8));
    let rgb = picture.expect("grey").rgb;
    assert_eq!(rgb.get_pixel(3, 2).0, [51; 3]);

    let palette = encoded(|out| {
        let mut encoder = png::Encoder::new(out, 3, 1);
        encoder.set_color(png::ColorType::Indexed);
        encoder.set_depth(png::BitDepth::Two);
        encoder.set_palette(vec![1, 2, 3, 40, 50, 60, 7, 8, 9]);
        encoder.set_trns(vec![255, 0]);
        let mut writer = encoder.write_header().expect("a header");
        writer.write_image_data(&[0b00_01_10_00]).expect("a row");
    });
    let picture = desk.read("palette.png", &palette).expect("a palette");
    assert_eq!(picture.rgb.as_raw(), &[1, 2, 3, 40, 50, 60, 7, 8, 9]);
    assert_eq!(
        picture.alpha.expect("alpha").as_slice(),
        Some(&[255, 0, 255][..])
    );
}

#[test]
fn a_cmyk_jpeg_comes_out_in_its_colours() {
    let desk = Desk::new();
    // Cyan and no black, as ink from 0 to 255.
    let ink: Vec<u8> = [200, 0, 0, 0].repeat(16 * 16);
    let bytes = encoded(|out| {
        let encoder = jpeg_encoder::Encoder::new(out, 95);
        let color = jpeg_encoder::ColorType::Cmyk;
        encoder.encode(&ink, 16, 16, color).expect("a JPEG");
    });
    let [r, g, b] = desk.read("ink.jpg", &bytes).expect("CMYK").rgb[(8, 8)].0;
    // Plain ink arithmetic: red = 255 - 200; two levels for the compression.
    assert!(r.abs_diff(55) <= 2 && g >= 253 && b >= 253, "{r} {g} {b}");
}

#[test]
fn alpha_is_kept_unless_it_is_opaque_everywhere() {
    let desk = Desk::new();
    let with = |opacity: u8| -> Vec<u8> {
        let rgba = sample()
            .pixels()
            .enumerate()
            .flat_map(|(i, p)| {
                let a = if i == 5 { opacity } else { 255 };
                [p[0], p[1], p[2], a]
            })
            .collect::<Vec<u8>>();
        png_of(&rgba, ExtendedColorType::Rgba8)
    };
    let picture = desk.read("a.png", &with(255)).expect("opaque");
    assert!(picture.alpha.is_none());
    let picture = desk.read("b.png", &with(90)).expect("partly transparent");
    assert_eq!(
        picture.rgb,
        sample(),
        "colours are not multiplied by the alpha"
    );
    assert_eq!(picture.alpha.expect("alpha")[[0, 5]], 90);
}

/// An Exif block whose only entry is the orientation.
fn exif(tag: u16) -> Vec<u8> {
    let mut bytes = b"MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01".to_vec();
    bytes.extend(tag.to_be_bytes());
    bytes.extend([0; 6]);
    bytes
}

#[test]
fn orientation_turns_colours_alpha_and_size() {
    let desk = Desk::new();
    let rgba: Vec<u8> = (0..WIDTH * HEIGHT)
        .flat_map(|i| [(i % 24) as u8, (i / 24) as u8, 0, (i % 24) as u8])
        .collect();
    for tag in [0, 1, 6, 9] {
        let bytes = encoded(|out| {
            let mut encoder = PngEncoder::new(out);
            encoder.set_exif_metadata(exif(tag)).expect("PNG has Exif");
            let color = ExtendedColorType::Rgba8;
            encoder
                .write_image(&rgba, WIDTH, HEIGHT, color)
                .expect("a PNG");
        });
        let path = desk.file("turned.png", &bytes);
        let picture = images::read(&path, &Limits::default()).expect("a good file");
        let alpha = picture.alpha.expect("alpha");
        let size = images::dimensions(&path).expect("a good file");
        assert_eq!(picture.rgb.dimensions(), size);
        if tag == 6 {
            // A quarter turn clockwise: stored (x, y) comes to (height - 1 - y, x).
            assert_eq!(size, (HEIGHT, WIDTH));
            assert_eq!(picture.rgb[(HEIGHT - 1 - 3, 20)].0, [20, 3, 0]);
            assert_eq!(alpha[[20, (HEIGHT - 1 - 3) as usize]], 20);
        } else {
            assert_eq!(size, (WIDTH, HEIGHT));
            assert_eq!(picture.rgb[(20, 3)].0, [20, 3, 0], "tag {tag} is upright");
        }
    }
}

#[test]
fn a_broken_colour_profile_is_left_out_and_noted() {
    let desk = Desk::new();
    let bytes = encoded(|out| {
        let mut encoder = PngEncoder::new(out);
        encoder
            .set_icc_profile(b"no profile".to_vec())
            .expect("PNG has ICC");
        encoder
            .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("a PNG");
    });
    let picture = desk.read("profile.png", &bytes).expect("a good picture");
    assert_eq!(picture.rgb, sample());
    assert!(
        picture.notes[0].contains("colour profile"),
        "{:?}",
        picture.notes
    );
}

/// A profile's head and then zeros: it deflates to a thousandth.
fn long_profile(length: usize) -> Vec<u8> {
    let mut profile = vec![0; length];
    profile[36..40].copy_from_slice(b"acsp");
    profile
}

fn png_with_profile(profile: Vec<u8>) -> Vec<u8> {
    encoded(|out| {
        let mut encoder = PngEncoder::new(out);
        encoder.set_icc_profile(profile).expect("PNG has ICC");
        encoder
            .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("a PNG");
    })
}

fn tiff_with_profile(profile: Vec<u8>) -> Vec<u8> {
    let mut out = std::io::Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut out);
    encoder.set_icc_profile(profile).expect("TIFF has ICC");
    encoder
        .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
        .expect("a TIFF");
    out.into_inner()
}

fn webp_with_profile(profile: Vec<u8>) -> Vec<u8> {
    encoded(|out| {
        let mut encoder = WebPEncoder::new_lossless(out);
        encoder.set_icc_profile(profile).expect("WebP has ICC");
        encoder
            .write_image(&sample(), WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("a WebP");
    })
}

/// The sample as JPEG with these segments before the picture.
fn jpeg_with(segments: &[(u8, Vec<u8>)]) -> Vec<u8> {
    let plain = jpeg();
    let mut bytes = plain[..2].to_vec();
    for (marker, content) in segments {
        bytes.extend([0xff, *marker]);
        bytes.extend((content.len() as u16 + 2).to_be_bytes());
        bytes.extend(content);
    }
    bytes.extend(&plain[2..]);
    bytes
}

fn jpeg_with_profile(pieces: &[(u8, u8, &[u8])]) -> Vec<u8> {
    let piece = |(number, count, content): &(u8, u8, &[u8])| {
        (
            0xe2,
            [b"ICC_PROFILE\0", &[*number, *count][..], content].concat(),
        )
    };
    jpeg_with(&pieces.iter().map(piece).collect::<Vec<_>>())
}

#[test]
fn a_profile_longer_than_16_mb_is_left_out_and_noted() {
    let desk = Desk::new();
    let long = 17 << 20;
    let segment = vec![0; 65_000];
    // More pieces than a profile can have, 17 MB of them.
    let pieces: Vec<_> = (0..270).map(|n| (n as u8, 255, &segment[..])).collect();
    let words = "the embedded colour profile cannot be used (it is longer than 16 MB); the colours are taken as sRGB";
    for (format, bytes) in [
        ("PNG", png_with_profile(long_profile(long))),
        ("TIFF", tiff_with_profile(long_profile(long))),
        ("WebP", webp_with_profile(long_profile(long))),
    ] {
        let picture = desk.read("profile", &bytes).expect(format);
        assert_eq!(picture.rgb, sample(), "{format}");
        assert_eq!(picture.notes, [words], "{format}");
    }
    let picture = desk.read("profile.jpg", &jpeg_with_profile(&pieces));
    assert!(picture.expect("JPEG").notes[0].contains("cannot be used (it is damaged)"));
}

#[test]
fn a_profile_is_used_in_every_format_that_has_one() {
    let desk = Desk::new();
    let icc = moxcms::ColorProfile::new_display_p3().encode();
    let icc = icc.expect("a profile of the crate's own");
    let expected = desk.read("a", &png_with_profile(icc.clone())).expect("PNG");
    assert_ne!(expected.rgb, sample());
    // The length of a profile is no reason to leave it out: behind its tags it may hold anything.
    let longer = [icc.clone(), vec![0; 3 << 20]].concat();
    for bytes in [
        tiff_with_profile(icc.clone()),
        tiff_with_profile(longer),
        webp_with_profile(icc.clone()),
    ] {
        let picture = desk.read("b", &bytes).expect("a good picture");
        assert_eq!((picture.rgb, picture.notes), (expected.rgb.clone(), vec![]));
    }
    // Pieces need not come in their order.
    let (first, second) = icc.split_at(100);
    let whole = jpeg_with_profile(&[(1, 1, &icc)]);
    let cut = jpeg_with_profile(&[(2, 2, second), (1, 2, first)]);
    let whole = desk.read("c", &whole).expect("JPEG");
    assert!(whole.notes.is_empty());
    assert_ne!(whole.rgb, desk.read("d", &jpeg()).expect("JPEG").rgb);
    assert_eq!(whole.rgb, desk.read("e", &cut).expect("JPEG").rgb);
    let missing = desk.read("f", &jpeg_with_profile(&[(2, 2, second)]));
    assert!(missing.expect("JPEG").notes[0].contains("it is damaged"));
}

#[test]
fn a_short_file_that_claims_a_long_description_is_refused() {
    let desk = Desk::new();
    let mut bytes = webp_with_profile(long_profile(200));
    let at = bytes.windows(4).position(|kind| kind == b"ICCP");
    let length = at.expect("a profile") + 4;
    bytes[length..length + 4].copy_from_slice(&[0xf0, 0xff, 0xff, 0xff]);
    let error = desk.read("claims.webp", &bytes).expect_err("cut off");
    assert_eq!(error.code(), "image-truncated", "{error}");
}

#[test]
fn a_turned_jpeg_has_the_size_of_what_is_read() {
    let desk = Desk::new();
    let exif = [b"Exif\0\0".to_vec(), exif(6)].concat();
    let path = desk.file("turned.jpg", &jpeg_with(&[(0xe1, exif)]));
    let picture = images::read(&path, &Limits::default()).expect("a good file");
    assert_eq!(picture.rgb.dimensions(), (HEIGHT, WIDTH));
    let size = images::dimensions(&path).expect("a good file");
    assert_eq!(size, (HEIGHT, WIDTH));
}

#[test]
fn a_file_that_makes_its_decoder_panic_is_damaged() {
    for name in ["short-opacity.webp", "no-planes.webp"] {
        let path = PathBuf::from("fixtures/fuzz/images").join(name);
        let error = images::read(&path, &Limits::default()).expect_err(name);
        assert_eq!(error.code(), "image-damaged", "{error}");
        assert!(!images::is_decoding());
    }
}

#[test]
fn a_limit_refuses_before_the_pixels_are_decoded() {
    let desk = Desk::new();
    let limits = Limits { max_pixels: 383 };
    for (format, bytes) in every_format() {
        let path = desk.file("large", &bytes);
        let error = images::read(&path, &limits).expect_err(format);
        assert!(matches!(
            error,
            Error::TooLarge {
                width: 24,
                height: 16,
                max_pixels: 383,
                ..
            }
        ));
        let one_more = Limits { max_pixels: 384 };
        images::read(&path, &one_more).expect("the limit itself is allowed");
    }
}

#[test]
fn a_small_file_that_claims_billions_of_pixels_is_refused_at_once() {
    let desk = Desk::new();
    let mut bytes = png();
    bytes[16..24].copy_from_slice(&[0x7f, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff]);
    let error = desk.read("bomb.png", &bytes).expect_err("too large");
    assert_eq!(error.code(), "image-too-large");
    let mut bytes = bmp();
    bytes[18..26].copy_from_slice(&[0xff, 0xff, 0, 0, 0xff, 0xff, 0, 0]);
    let error = desk.read("bomb.bmp", &bytes).expect_err("too large");
    let text = error.to_string();
    assert!(
        text.contains("65535 x 65535 = 4294.9 million pixels, 100 million are allowed"),
        "{text}"
    );
}

#[test]
fn every_bad_file_has_its_own_clear_message() {
    let desk = Desk::new();
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".as_slice();
    let no_width = {
        let mut bytes = png();
        bytes[16..20].fill(0);
        bytes
    };
    let cases: [(&str, &[u8], &str, &str); 10] = [
        ("none.png", b"", "image-empty", "is empty (0 bytes)"),
        (
            "note.png",
            b"Water tank, take 2",
            "image-format",
            "holds text (\"Water tank, take 2\")",
        ),
        (
            "page.jpg",
            b"<!DOCTYPE html><html>",
            "image-format",
            "holds a web page",
        ),
        ("phone.jpg", heic, "image-format", "holds a HEIC image"),
        (
            "phone.jpg",
            heic,
            "image-format",
            "save it as JPEG or PNG; phones can be set to take JPEG",
        ),
        (
            "walk-round.jpg",
            b"\0\0\0\x20ftypisom\0\0\x02\0isomiso2avc1mp41",
            "image-format",
            "holds a film (MP4); PNG, JPEG, WebP, TIFF and BMP can be read; take a still out of it",
        ),
        (
            "moving.gif",
            b"GIF89a\x01\0\x01\0\0\0\0",
            "image-format",
            "holds a GIF image",
        ),
        (
            "plan.png",
            b"\n%PDF-1.7\n",
            "image-format",
            "holds a PDF document; PNG, JPEG, WebP, TIFF and BMP can be read; draw the page that you need as a picture first: \
             tickstrip page PLAN.pdf",
        ),
        ("flat.png", &no_width, "image-no-pixels", "0 x 16 pixels"),
        (
            "cut.jpg",
            &jpeg()[..300],
            "image-truncated",
            "the JPEG file ends before its last pixel",
        ),
    ];
    for (name, bytes, code, words) in cases {
        let error = desk.read(name, bytes).expect_err(name);
        let text = error.to_string();
        assert_eq!(error.code(), code, "{text}");
        assert!(text.contains(words) && text.contains(name), "{text}");
    }
}

#[test]
fn a_missing_file_and_a_folder_are_told_apart() {
    let desk = Desk::new();
    let missing = desk.0.path().join("gone.png");
    let error = images::read(&missing, &Limits::default()).expect_err("missing");
    assert!(
        error
            .to_string()
            .contains("gone.png: there is no such file")
    );
    let error = images::read(desk.0.path(), &Limits::default()).expect_err("a folder");
    assert!(error.to_string().contains("is a folder"));
}

#[test]
fn a_damaged_png_is_an_error_of_its_own() {
    let desk = Desk::new();
    let mut bytes = png();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 0x55;
    let error = desk.read("bad.png", &bytes).expect_err("damaged");
    assert!(
        error.to_string().contains("the PNG file is damaged"),
        "{error}"
    );
}

#[test]
fn every_cut_is_an_error_or_loses_nothing() {
    let desk = Desk::new();
    for (format, bytes) in every_format() {
        let whole = desk.read("whole", &bytes).expect("a good file").rgb;
        for length in 0..bytes.len() {
            // A file may lose a trailing checksum or end mark without losing a pixel.
            match desk.read("cut", &bytes[..length]) {
                Ok(picture) => assert_eq!(picture.rgb, whole, "{format} cut at {length}"),
                Err(error) => assert!(error.to_string().contains("cut"), "{error}"),
            }
        }
    }
}

#[test]
fn jpeg_and_png_cut_anywhere_in_the_picture_are_errors() {
    let desk = Desk::new();
    for (bytes, tail) in [(jpeg(), 1), (progressive_jpeg(), 1), (png(), 20)] {
        for length in 0..bytes.len() - tail {
            assert!(
                desk.read("cut", &bytes[..length]).is_err(),
                "cut at {length}"
            );
        }
    }
}

#[test]
fn no_flipped_bits_panic() {
    let desk = Desk::new();
    let path = desk.file("flipped", b"");
    let mut state = 20_u64;
    let mut next = |below: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as usize % below
    };
    // A limit of its own keeps a flipped size from costing seconds.
    let limits = Limits {
        max_pixels: 100_000,
    };
    let mut read = 0;
    for (_, bytes) in every_format() {
        for round in 0..300 {
            let mut bad = bytes.clone();
            for _ in 0..=round % 4 {
                let place = next(bad.len());
                bad[place] ^= 1 << next(8);
            }
            fs::write(&path, &bad).expect("the test's folder can be written");
            read += usize::from(images::read(&path, &limits).is_ok());
            let _ = images::dimensions(&path);
        }
    }
    assert!(
        read > 100,
        "flips in the pixels of a bitmap leave it readable: {read}"
    );
}

#[test]
fn a_mask_is_an_image_of_the_same_size() {
    let desk = Desk::new();
    let grey: Vec<u8> = (0..WIDTH * HEIGHT)
        .map(|i| if i % WIDTH < 10 { 20 } else { 240 })
        .collect();
    let path = desk.file("mask.png", &png_of(&grey, ColorType::L8.into()));
    let mask = images::read_mask(&path, &Limits::default(), (WIDTH, HEIGHT)).expect("a mask");
    assert_eq!((mask[[3, 9]], mask[[3, 10]]), (0, 255));
    let error =
        images::read_mask(&path, &Limits::default(), (WIDTH, 17)).expect_err("another size");
    let text = error.to_string();
    assert!(
        text.contains("24 x 16 pixels, its picture 24 x 17"),
        "{text}"
    );
}

#[test]
fn a_view_brings_both_pictures_and_their_silhouettes() {
    let desk = Desk::new();
    let rgba: Vec<u8> = (0..WIDTH * HEIGHT)
        .flat_map(|i| [9, 9, 9, if i == 0 { 127 } else { 128 }])
        .collect();
    let render = desk.file("render.png", &png_of(&rgba, ExtendedColorType::Rgba8));
    let reference = desk.file("reference.jpg", &jpeg());
    let mask = desk.file("mask.png", &png_of(&[255; 384], ExtendedColorType::L8));
    let mut view = view(render, reference);
    view.reference.mask = Mask::Image(mask);
    let images = images::read_view(&view, &Limits::default()).expect("a good view");
    let silhouette = images.render_mask.expect("the render has alpha");
    assert_eq!((silhouette[[0, 0]], silhouette[[0, 1]]), (0, 255));
    assert_eq!(images.reference_mask.expect("a mask")[[15, 23]], 255);

    // A picture without alpha has no silhouette of its own.
    view.reference.mask = Mask::Alpha;
    let images = images::read_view(&view, &Limits::default()).expect("a good view");
    assert!(images.reference_mask.is_none());

    view.reference.image = desk.file("cut.jpg", &jpeg()[..200]);
    let error = images::read_view(&view, &Limits::default()).expect_err("a cut reference");
    assert!(error.to_string().contains("cut.jpg"));
}

fn view(render: PathBuf, reference: PathBuf) -> tickstrip::job::View {
    use tickstrip::{frame::Point, job::*};
    View {
        name: "side".into(),
        render: RenderSource {
            image: render.into(),
            marked_on: None,
            kind: Default::default(),
            mark_sigma_px: None,
            mask: Mask::Alpha,
            shape: None,
            camera: None,
        },
        reference: ReferenceSource {
            image: reference,
            more_shots: Vec::new(),
            marked_on: None,
            kind: ReferenceKind::Photo,
            source: None,
            time_code: None,
            variant: None,
            note: None,
            rights: None,
            rectify: None,
            screen: Default::default(),
            interior: Default::default(),
            mark_sigma_px: None,
            mask: Mask::None,
        },
        origin: None,
        same_camera: true,
        axes: None,
        measured: Vec::new(),
        marks_are_right: false,
        symmetry: None,
        registration: RegistrationKind::Similarity,
        landmarks: vec![Landmark {
            name: "corner".into(),
            render: Point::new(1.0, 1.0),
            reference: Point::new(1.0, 1.0),
            usage: LandmarkUse::Datum,
            model_mm: None,
            part: None,
            on: None,
            sigma_px: [None; 2],
            model_sigma_mm: None,
        }],
        known: Vec::new(),
        spans: Vec::new(),
        angles: Vec::new(),
        regions: Vec::new(),
    }
}

#[test]
fn the_demo_pictures_are_read() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    let read = |name: &str| {
        images::read(&folder.join(name), &Limits::default()).expect("a picture of the demo")
    };
    let render = read("side-render.png");
    assert_eq!(render.rgb.dimensions(), (1530, 1190));
    assert_eq!(render.alpha.expect("a transparent background")[[0, 0]], 0);
    let photo = read("side-screen.jpg");
    assert_eq!(photo.rgb.dimensions(), (1900, 1210));
    assert!(photo.alpha.is_none() && photo.notes.is_empty());
}
