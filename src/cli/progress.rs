//! The progress bar of a comparison, on standard error.
use crate::pipeline::{Event, STAGES_PER_VIEW};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use std::{
    collections::HashMap,
    sync::{Mutex, PoisonError},
};

/// A bar that counts the stages of all views.
#[derive(Debug)]
pub(super) struct Progress {
    bar: ProgressBar,
    /// Stages that each unfinished view has entered.
    entered: Mutex<HashMap<String, u64>>,
}

impl Progress {
    /// A bar for so many views that is drawn.
    pub fn shown(views: usize) -> Self {
        Self::on(views, ProgressDrawTarget::stderr())
    }

    /// A bar that is not drawn.
    pub fn hidden(views: usize) -> Self {
        Self::on(views, ProgressDrawTarget::hidden())
    }

    /// A bar for so many views that is drawn where somebody watches.
    pub fn of(views: usize, is_watched: bool) -> Self {
        match is_watched {
            true => Self::shown(views),
            false => Self::hidden(views),
        }
    }

    fn on(views: usize, target: ProgressDrawTarget) -> Self {
        let total = views as u64 * STAGES_PER_VIEW;
        let bar = ProgressBar::with_draw_target(Some(total), target);
        let style = ProgressStyle::with_template("{bar:30} {percent:>3} %  {wide_msg}")
            .expect("the template is well-formed");
        bar.set_style(style);
        Self {
            bar,
            entered: Mutex::default(),
        }
    }

    /// Takes an event; may be called from several threads.
    pub fn take(&self, event: Event<'_>) {
        let mut entered = self.entered.lock().unwrap_or_else(PoisonError::into_inner);
        match event {
            Event::Stage { view, stage } => {
                let count = entered.entry(view.to_owned()).or_default();
                // A stage counts once the next one begins.
                if *count > 0 {
                    self.bar.inc(1);
                }
                *count += 1;
                self.bar.set_message(format!("{view}: {stage}"));
            }
            Event::Finished { view } => {
                // A view that failed skips the rest of its stages.
                let count = entered.remove(view).unwrap_or_default();
                self.bar
                    .inc((STAGES_PER_VIEW + 1).saturating_sub(count.max(1)));
                self.bar.set_message(format!("{view}: finished"));
            }
        }
    }

    /// Takes an event of a job among several: their views may have the same names.
    pub fn take_of(&self, job: &str, event: Event<'_>) {
        let named = |view: &str| format!("{job}: {view}");
        match event {
            Event::Stage { view, stage } => self.take(Event::Stage {
                view: &named(view),
                stage,
            }),
            Event::Finished { view } => self.take(Event::Finished { view: &named(view) }),
        }
    }

    /// Takes the bar off the screen.
    pub fn clear(&self) {
        self.bar.finish_and_clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_bar_is_full_when_all_views_are_finished_well_or_not() {
        let progress = Progress::hidden(3);
        for stage in ["a", "b", "c", "d", "e"] {
            progress.take(Event::Stage {
                view: "side",
                stage,
            });
        }
        assert_eq!(progress.bar.position(), STAGES_PER_VIEW - 1);
        progress.take(Event::Finished { view: "side" });
        assert_eq!(progress.bar.position(), STAGES_PER_VIEW);
        progress.take(Event::Stage {
            view: "front",
            stage: "a",
        });
        progress.take(Event::Stage {
            view: "front",
            stage: "b",
        });
        progress.take(Event::Finished { view: "front" });
        progress.take(Event::Finished { view: "top" });
        assert_eq!(progress.bar.position(), 3 * STAGES_PER_VIEW);
    }
}
