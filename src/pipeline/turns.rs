//! Which view is compared when: some at a time, each as soon as the memory that it takes is free.
//!
//! Memory is waited for here, outside of the views' own work: a thread that holds memory and helps out with another view
//! must not come to wait for memory itself.
use super::{
    CompareOptions,
    error::{Error, failure},
    need,
};
use crate::{
    drawn,
    images::{self, BudgetError, Hold, Limits, ViewLook},
    job::{RenderImage, View},
    rectification,
    report::ViewFailure,
};
use std::sync::{
    Mutex, PoisonError,
    atomic::{AtomicBool, Ordering},
};

/// Does `work` for every view, in their order as far as memory and threads allow; the results come in that order.
///
/// `work` is handed what was seen of the view's images, or why it cannot be compared.
///
/// # Errors
/// The first error of `work` in the views' order; views that had not begun by then are left out.
/// [`Error::Stopped`] where `stopped` says so.
pub(super) fn in_turns<'a, T: Send>(
    views: &[&'a View],
    options: &CompareOptions,
    stopped: &(dyn Fn() -> bool + Sync),
    work: &(dyn Fn(&'a View, Result<ViewLook, ViewFailure>) -> Result<T, Error> + Sync),
) -> Result<Vec<T>, Error> {
    let places = options.turns.places(rayon::current_num_threads());
    let has_failed = AtomicBool::new(false);
    let gives_up = || stopped() || has_failed.load(Ordering::Relaxed);
    let results: Vec<Mutex<Option<Result<T, Error>>>> =
        views.iter().map(|_| Mutex::new(None)).collect();
    rayon::in_place_scope(|scope| {
        for (view, slot) in views.iter().zip(&results) {
            let Ok(place) = places.take(1, &gives_up) else {
                break;
            };
            let Ok((look, memory)) = prepare(view, options, &gives_up) else {
                break;
            };
            let has_failed = &has_failed;
            scope.spawn(move |_| {
                let result = work(view, look);
                has_failed.fetch_or(result.is_err(), Ordering::Relaxed);
                *slot.lock().unwrap_or_else(PoisonError::into_inner) = Some(result);
                drop((memory, place));
            });
        }
    });
    results
        .into_iter()
        .map(|slot| slot.into_inner().unwrap_or_else(PoisonError::into_inner))
        .map(|result| result.unwrap_or(Err(Error::Stopped)))
        .collect()
}

/// What was seen of a view's images, and the memory for it; or why there is none. The error is that it was stopped.
type Prepared = (Result<ViewLook, ViewFailure>, Option<Hold>);

fn prepare(
    view: &View,
    options: &CompareOptions,
    stopped: &dyn Fn() -> bool,
) -> Result<Prepared, BudgetError> {
    let look = match look_at(view, &options.limits()) {
        Ok(look) => look,
        Err(error) => return Ok((Err(failure(error.code(), &error)), None)),
    };
    let need = need_of(view, &look, options.explain);
    match options.memory.take(need, stopped) {
        Ok(hold) => Ok((Ok(look), Some(hold))),
        Err(BudgetError::Stopped) => Err(BudgetError::Stopped),
        Err(error) => Ok((Err(failure(error.code(), &error)), None)),
    }
}

/// Bytes that comparing a view takes at most, from what its files say before they are read.
///
/// # Errors
/// [`LookError`].
pub fn memory_need(view: &View, limits: &Limits, explain: bool) -> Result<u64, LookError> {
    Ok(need_of(view, &look_at(view, limits)?, explain))
}

/// Why a view's images cannot be looked at.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LookError {
    /// An image cannot be read.
    #[error(transparent)]
    Image(#[from] images::Error),
    /// The render cannot be drawn.
    #[error(transparent)]
    Drawn(#[from] drawn::Error),
}

impl LookError {
    /// Stable code for scripts.
    pub fn code(&self) -> &'static str {
        match self {
            Self::Image(error) => error.code(),
            Self::Drawn(error) => error.code(),
        }
    }
}

fn look_at(view: &View, limits: &Limits) -> Result<ViewLook, LookError> {
    match &view.render.image {
        // Of a view without a render the look says so.
        RenderImage::File(_) | RenderImage::Absent => Ok(images::look_at_view(view, limits)?),
        RenderImage::Drawn => images::look_at_drawn(view, limits, need::DRAWN, |reference| {
            Ok(drawn::size(view, reference, limits.max_pixels)?)
        }),
    }
}

fn need_of(view: &View, look: &ViewLook, explain: bool) -> u64 {
    let size = look.reference.size();
    let rectification = match explain {
        true => rectification::of_view(view, size, None).ok().flatten(),
        false => None,
    };
    // A view that cannot be rectified fails before anything is shown.
    let rectified = rectification.map_or(0, |rectification| {
        let [width, height] = rectification::rectified_size(size, &rectification);
        u64::from(width) * u64::from(height)
    });
    need::of_view(view, look, rectified)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{images::Budget, job, pipeline::places::VIEWS_AT_ONCE};
    use std::sync::atomic::AtomicUsize;

    fn job_and_options(folder: &std::path::Path) -> (job::Job, CompareOptions) {
        let image = image::RgbImage::new(300, 200);
        image.save(folder.join("a.png")).expect("written");
        let view = |n: usize| {
            format!(
                r#"{{"name":"view {n}","render":{{"image":"a.png"}},"reference":{{"image":"a.png"}},"landmarks":[]}}"#
            )
        };
        let views: Vec<String> = (0..9).map(view).collect();
        let text = format!(
            r#"{{"title":"Hand fire pump","scale":"1:24","views":[{}]}}"#,
            views.join(",")
        );
        let job = job::parse(text.as_bytes(), &folder.join("job.json")).expect("sound");
        let out = folder.join("results");
        let options = CompareOptions::new(out, "2031-04-05".to_owned(), Budget::new(1 << 40));
        (job, options)
    }

    /// The most views that were at work at a time, on so many threads and with memory for so many views.
    fn most_at_once(threads: usize, room: u64) -> usize {
        let folder = tempfile::tempdir().expect("a folder");
        let (job, mut options) = job_and_options(folder.path());
        let views: Vec<&View> = job.views.iter().collect();
        let need = memory_need(views[0], &options.limits(), false).expect("readable");
        options.memory = Budget::new(need * room + need / 2);
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let work = |view: &View, look: Result<ViewLook, ViewFailure>| {
            assert!(look.is_ok());
            most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
            // Work as it is: a thread that waits for a part of it takes up whatever else there is to do.
            let parts = rayon::join(|| std::thread::sleep(SHORT), || std::thread::sleep(SHORT));
            now.fetch_sub(1, Ordering::SeqCst);
            Ok((parts, view.name.clone()))
        };
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        let run = || in_turns(&views, &options, &|| false, &work);
        let done = pool.expect("threads").install(run).expect("done");
        let names: Vec<String> = done.into_iter().map(|(_, name)| name).collect();
        assert!(names.iter().eq(views.iter().map(|view| &view.name)));
        most.into_inner()
    }

    const SHORT: std::time::Duration = std::time::Duration::from_millis(10);

    #[test]
    fn no_more_views_are_at_work_than_memory_and_threads_allow() {
        assert_eq!(most_at_once(1, 9), 1);
        assert_eq!(most_at_once(8, 1), 1);
        assert!(most_at_once(8, 2) <= 2);
        let most = most_at_once(8, 9);
        assert!((2..=VIEWS_AT_ONCE * 3 / 2).contains(&most), "{most}");
    }

    #[test]
    fn after_a_failure_no_further_view_is_begun() {
        let folder = tempfile::tempdir().expect("a folder");
        let (job, mut options) = job_and_options(folder.path());
        let views: Vec<&View> = job.views.iter().collect();
        let need = memory_need(views[0], &options.limits(), false).expect("readable");
        options.memory = Budget::new(need);
        let begun = AtomicUsize::new(0);
        let work = |view: &View, _| {
            begun.fetch_add(1, Ordering::SeqCst);
            match view.name.as_str() {
                "view 2" => Err(Error::UnknownView {
                    name: "elsewhere".to_owned(),
                    known: String::new(),
                }),
                _ => Ok(()),
            }
        };
        let result = in_turns(&views, &options, &|| false, &work);
        assert_eq!(result.expect_err("failed").code(), "unknown-view");
        assert_eq!(begun.into_inner(), 3);
        // All memory is free again.
        assert!(options.memory.take(need, &|| false).is_ok());
    }

    #[test]
    fn a_view_that_waits_for_others_memory_can_be_stopped() {
        let folder = tempfile::tempdir().expect("a folder");
        let (job, mut options) = job_and_options(folder.path());
        let views: Vec<&View> = job.views.iter().collect();
        let need = memory_need(views[0], &options.limits(), false).expect("readable");
        options.memory = Budget::new(need);
        let _others = options.memory.take(1, &|| false).expect("free");
        let asked = AtomicUsize::new(0);
        let stopped = || asked.fetch_add(1, Ordering::SeqCst) > 5;
        let result = in_turns(&views, &options, &stopped, &|_, _| Ok(()));
        assert_eq!(result.expect_err("stopped").code(), "stopped");
    }
}
