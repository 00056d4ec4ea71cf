//! A run that is asked to stop: long loops ask at any depth, nothing is left behind, and the exit status says so.

use image::{Rgb, RgbImage};
use std::path::Path;
use tickstrip::{
    drawing, images,
    kernels::{Plane, blur, notch, resize, warp},
    stop::{self, Stop},
};

/// What work gives in a run that is asked to stop already.
fn stopped<T: Send>(work: impl FnOnce() -> T + Send) -> T {
    let stop = Stop::default();
    stop.ask();
    stop.run(work).expect("threads")
}

fn picture() -> RgbImage {
    RgbImage::from_fn(300, 200, |x, y| {
        Rgb([200 + (x % 40) as u8, 200 + (y % 50) as u8, 255])
    })
}

#[test]
fn loops_over_rows_and_tiles_ask_whether_they_are_to_stop() {
    let picture = picture();
    let plane = Plane::<u8>::from_elem((200, 300), 200);
    let identity = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let is_black = |image: &RgbImage| image.as_raw().iter().all(|v| *v == 0);
    let warps = || {
        let warped = warp::warp_rgb(&picture, (300, 200), &identity);
        (warped, warp::warp_finely(&picture, (300, 200), &identity))
    };
    let (plain, fine) = warps();
    assert!(!is_black(&plain) && !is_black(&fine));
    let (plain, fine) = stopped(warps);
    assert!(is_black(&plain) && is_black(&fine));
    let reduced = || resize::reduce_rgb(&picture, 30, 20);
    assert!(!is_black(&reduced()) && is_black(&stopped(reduced)));
    let blurred = || blur::gaussian(&plane, 2.0);
    assert!(blurred().iter().all(|v| *v == 200) && stopped(blurred).iter().all(|v| *v == 0));
    let asked = std::sync::atomic::AtomicUsize::new(0);
    stopped(|| {
        notch::notched(&picture, |_| {
            asked.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
            Vec::new()
        })
    });
    assert_eq!(asked.into_inner(), 0);
}

#[test]
fn reading_and_encoding_are_not_waited_for() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/pictures/mark.png");
    let read = || images::read(&path, &images::Limits::default());
    assert!(read().is_ok());
    assert!(stopped(read).is_err_and(|error| error.code() == "stopped"));
    let encoded = stopped(|| drawing::encode_large_png(picture()));
    assert!(encoded.is_err_and(|error| error.code() == "stopped"));
    assert!(drawing::encode_large_png(picture()).is_ok());
    assert!(stopped(stop::check).is_err() && stop::check().is_ok());
}

#[cfg(unix)]
#[test]
fn ctrl_c_leaves_nothing_of_a_comparison_behind() {
    use std::{
        fs,
        process::{Command, Stdio},
        thread,
        time::{Duration, Instant},
    };
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path();
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/demo");
    for entry in fs::read_dir(demo).expect("readable") {
        let from = entry.expect("readable").path();
        fs::copy(&from, path.join(from.file_name().expect("a name"))).expect("copied");
    }
    let before = fs::read_dir(path).expect("readable").count();
    let job = fs::read_dir(path)
        .expect("readable")
        .map(|entry| entry.expect("readable").path())
        .find(|file| fs::read_to_string(file).is_ok_and(|text| text.contains("\"title\"")));
    let mut compare = Command::new(env!("CARGO_BIN_EXE_tickstrip"))
        .arg("compare")
        .arg(job.expect("a job"))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped())
        .spawn()
        .expect("starts");
    // The results are written beside their place.
    let begun = Instant::now();
    while fs::read_dir(path).expect("readable").count() == before {
        assert!(begun.elapsed() < Duration::from_secs(60));
        thread::sleep(Duration::from_millis(2));
    }
    let interrupt = Command::new("kill")
        .args(["-INT", &compare.id().to_string()])
        .status();
    assert!(interrupt.expect("kill is there").success());
    let status = compare.wait().expect("ended");
    let mut words = String::new();
    let mut stderr = compare.stderr.take().expect("piped");
    std::io::Read::read_to_string(&mut stderr, &mut words).expect("text");
    assert_eq!(status.code(), Some(130), "{words}");
    assert!(words.contains("stopped; nothing was written"), "{words}");
    assert_eq!(fs::read_dir(path).expect("readable").count(), before);
}
