//! How long each step takes beside its twin of a general-purpose crate: `cargo bench --bench kernels`.
//!
//! Medians of some runs on a made-up picture of 2 and of 24 megapixels; the twins are those of `tests/outside/kernel_peers.rs`, the
//! image crate and its encoders. imageproc runs on one thread, as it is built here, kornia and this program on all. What needs a whole
//! view is timed on the side view of the demo.
#![allow(clippy::print_stdout, reason = "it is a program")]
use image::{GrayImage, ImageEncoder, RgbImage, codecs, imageops};
use kornia_image::{Image, ImageSize};
use std::{hint::black_box, io::Cursor, path::Path, time::Instant};
use tickstrip::{
    contour, drawing,
    images::{self, Limits},
    job,
    kernels::{Plane, blur, box_mean, canny, distance, gray, likeness, resize, spectrum, warp},
    measurement, registration,
};

/// Milliseconds of the median of some runs: fewer where one takes long.
fn median<T>(mut run: impl FnMut() -> T) -> f64 {
    let mut times = Vec::new();
    let begun = Instant::now();
    while times.len() < 5 || (times.len() < 31 && begun.elapsed().as_secs_f64() < 1.0) {
        let begun = Instant::now();
        black_box(run());
        times.push(begun.elapsed().as_secs_f64() * 1000.0);
    }
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn alone(what: &str, ours: f64) {
    println!("{what:<44} {ours:9.2} ms");
}

fn beside(what: &str, ours: f64, (twin, theirs): (&str, f64)) {
    println!(
        "{what:<44} {ours:9.2} ms   {twin:<10} {theirs:9.2} ms   ratio {:.2}",
        ours / theirs
    );
}

/// Waves, rings and bars with some noise.
fn generated(width: u32, height: u32) -> RgbImage {
    let mut state = 1_u64;
    RgbImage::from_fn(width, height, |x, y| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let noise = (state >> 60) as f64 - 8.0;
        let (u, v) = (f64::from(x), f64::from(y));
        let waves = 25.0 * (u / 23.0).sin() + 25.0 * (v / 31.0 + u / 57.0).cos();
        let ring = ((u - 150.0).hypot(v - 110.0) / 28.0) as u32 % 2;
        let bar = u32::from((u + 2.0 * v) as u32 % 120 < 30);
        let level = 80.0 + waves + 50.0 * f64::from(ring) + 35.0 * f64::from(bar) + noise;
        image::Rgb([level as u8, (level * 0.9) as u8, (255.0 - level) as u8])
    })
}

fn kornia<const CHANNELS: usize>(
    [width, height]: [u32; 2],
    pixels: Vec<u8>,
) -> Image<u8, CHANNELS> {
    let size = ImageSize {
        width: width as usize,
        height: height as usize,
    };
    Image::new(size, pixels).expect("the size fits")
}

fn gray_image(plane: &Plane<u8>) -> GrayImage {
    let (height, width) = plane.dim();
    let pixels = plane.iter().copied().collect();
    GrayImage::from_raw(width as u32, height as u32, pixels).expect("the size fits")
}

/// Maps and grey levels.
fn of_pixels(picture: &RgbImage) {
    let size @ [width, height] = [picture.width(), picture.height()];
    let colours = kornia::<3>(size, picture.as_raw().clone());
    let luma = gray::luma(picture);
    let theirs = || {
        let mut grey = kornia::<1>(size, vec![0; luma.len()]);
        kornia_imgproc::color::gray_from_rgb_u8(&colours, &mut grey).expect("sizes agree");
        grey
    };
    beside(
        "grey levels",
        median(|| gray::luma(picture)),
        ("kornia", median(theirs)),
    );
    let source_from_target = [[0.94, 0.06, 12.0], [-0.04, 1.02, 5.0], [8e-6, -5e-6, 1.0]];
    let target_from_source: [f32; 9] = [1.06, -0.06, -12.0, 0.04, 0.98, -5.0, -8e-6, 5e-6, 1.0];
    let theirs = || {
        let mut target = kornia::<3>(size, vec![0; picture.as_raw().len()]);
        kornia_imgproc::warp::warp_perspective_u8(&colours, &mut target, &target_from_source)
            .expect("sizes agree");
        target
    };
    let ours = median(|| warp::warp_rgb(picture, (width, height), &source_from_target));
    beside("warp, bilinear", ours, ("kornia", median(theirs)));
    let ours = median(|| resize::reduce_rgb(picture, width / 3, height / 3));
    let theirs = median(|| imageops::thumbnail(picture, width / 3, height / 3));
    beside("area average to a third", ours, ("image", theirs));
}

/// Edges, and what they are compared by.
fn of_edges(picture: &RgbImage) {
    let size = [picture.width(), picture.height()];
    let luma = gray::luma(picture);
    let as_image = gray_image(&luma);
    let ours = median(|| blur::gaussian(&luma, 1.4));
    let theirs = median(|| imageproc::filter::gaussian_blur_f32(&as_image, 1.4));
    beside("blur of 1.4 px", ours, ("imageproc", theirs));
    let floats = luma.mapv(f32::from);
    alone(
        "mean of boxes of 33 px",
        median(|| box_mean::box_mean(floats.clone(), 16)),
    );
    let blurred = blur::gaussian(&luma, 1.4);
    let source = kornia::<1>(size, blurred.iter().copied().collect());
    let theirs = || {
        let mut edges = kornia::<1>(size, vec![0; luma.len()]);
        kornia_imgproc::canny::canny(&source, &mut edges, 40.0, 100.0, true).expect("sizes agree");
        edges
    };
    let ours = median(|| canny::canny(&blurred, 40.0, 100.0));
    beside("edges (Canny)", ours, ("kornia", median(theirs)));
    let edges = canny::canny(&blurred, 40.0, 100.0).direction_bits;
    let mask = gray_image(&edges);
    let theirs =
        median(|| imageproc::distance_transform::euclidean_squared_distance_transform(&mask));
    beside(
        "distance from edges",
        median(|| distance::distance(&edges)),
        ("imageproc", theirs),
    );
    alone(
        "likeness (structural similarity)",
        median(|| likeness::structural_similarity(&luma, &blurred)),
    );
}

/// Files in and out.
fn of_files(picture: &RgbImage) {
    let (width, height) = picture.dimensions();
    let colour = image::ExtendedColorType::Rgb8;
    let png = drawing::encode_png(picture).expect("encodes");
    let theirs = || {
        let mut bytes = Vec::new();
        codecs::png::PngEncoder::new(&mut bytes)
            .write_image(picture.as_raw(), width, height, colour)
            .expect("encodes");
        bytes
    };
    beside(
        "PNG written",
        median(|| drawing::encode_png(picture)),
        ("image", median(theirs)),
    );
    let jpeg = drawing::encode_jpeg(picture).expect("encodes");
    let theirs = || {
        let mut bytes = Vec::new();
        codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, 90)
            .write_image(picture.as_raw(), width, height, colour)
            .expect("encodes");
        bytes
    };
    beside(
        "JPEG written",
        median(|| drawing::encode_jpeg(picture)),
        ("image", median(theirs)),
    );
    let folder = tempfile::tempdir().expect("a folder");
    for (what, name, bytes) in [("PNG read", "a.png", &png), ("JPEG read", "a.jpg", &jpeg)] {
        let path = folder.path().join(name);
        std::fs::write(&path, bytes).expect("written");
        let ours = median(|| images::read(&path, &Limits::default()).expect("a picture"));
        let theirs = median(|| {
            let reader = image::ImageReader::new(Cursor::new(std::fs::read(&path).expect("read")));
            let guessed = reader.with_guessed_format().expect("a format");
            guessed.decode().expect("decodes").to_rgb8()
        });
        beside(what, ours, ("image", theirs));
    }
}

fn transforms() {
    let plan = spectrum::Fourier::new(128);
    let mut tile = spectrum::Tile::zeros(128);
    alone(
        "Fourier transform of a tile of 128 px",
        median(|| plan.forward(&mut tile)),
    );
}

/// The steps that need marks and parts, on the demo's side view.
fn of_a_view() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo/pump.json");
    let job = job::read(&path).expect("the demo's job");
    let view = job.views.first().expect("a view");
    let read = || images::read_view(view, &Limits::default()).expect("images");
    let images = read();
    let sizes = [&images.render, &images.reference].map(|image| image.rgb.dimensions());
    println!(
        "side view of the demo, {} landmarks, {sizes:?} pixels",
        view.landmarks.len()
    );
    alone("images read", median(read));
    alone(
        "outlines at the marks",
        median(|| contour::seen(view, &images.render.rgb)),
    );
    let seen = contour::seen(view, &images.render.rgb);
    let lay_over = || registration::lay_over(&seen, job.expected, sizes, None).expect("a map");
    alone("adjustment by the marks", median(lay_over));
    let whole = || measurement::measure(&job, &seen, read(), lay_over().registered);
    alone("all figures, with the above", median(whole));
    let measured = whole();
    let to_draw = drawing::ViewToDraw {
        job: &job,
        view: &seen,
        measurement: &measured.measurement,
        work: &measured.work,
        pairs: &measured.pairs,
        date: "2031-04-05",
        checksum: "0",
        paper: drawing::Paper::A4,
    };
    for picture in drawing::Picture::ALL {
        let only = drawing::Pictures::only([picture]);
        let draw = || drawing::draw_view(&to_draw, &only).expect("drawn");
        alone(&format!("picture: {}", picture.name()), median(draw));
    }
    let all = drawing::Pictures::all();
    alone(
        "all pictures",
        median(|| drawing::draw_view(&to_draw, &all).expect("drawn")),
    );
}

fn main() {
    println!("{} threads", rayon::current_num_threads());
    for [width, height] in [[1920, 1080], [6000, 4000]] {
        println!("{width} x {height} pixels");
        let picture = generated(width, height);
        of_pixels(&picture);
        of_edges(&picture);
        of_files(&picture);
    }
    transforms();
    of_a_view();
}
