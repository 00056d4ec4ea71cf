//! Fits of views that nothing has changed since: a click changes one view of several.
use super::{model::OwnModel, pictures::Pyramid, seen::Seen};
use serde_json::Value;
use std::sync::{Arc, Mutex, PoisonError, Weak};

/// The fits of the views as they were computed last.
#[derive(Debug)]
pub(super) struct KeptFits<F>(Mutex<Vec<(State, Arc<F>)>>);

/// All that a view's fit depends on.
#[derive(Debug)]
pub(super) struct State {
    /// Checksum of the job, the view, its draft, and the sizes and contents of its images.
    checksum: blake3::Hash,
    /// As long as it is held here, no other picture has its address; its pixels are not held.
    render: Option<Weak<Pyramid>>,
    model: Option<Weak<OwnModel>>,
}

/// What the fits of all views of a job depend on: told once, however many there are.
pub(super) struct JobState<'a> {
    document: &'a Value,
    checksum: blake3::Hasher,
}

impl<'a> JobState<'a> {
    pub fn of(document: &'a Value) -> Self {
        let mut checksum = blake3::Hasher::new();
        // A model's marks in one photo may be told by those of another.
        let is_alone = document.get("model").is_none_or(Value::is_null);
        for (key, value) in document.as_object().into_iter().flatten() {
            if key != "views" || !is_alone {
                add(&mut checksum, key);
                add(&mut checksum, &value.to_string());
            }
        }
        Self { document, checksum }
    }

    /// The state of the view at `index`.
    pub fn view(&self, index: usize, draft: &Value, seen: &Seen) -> State {
        let mut checksum = self.checksum.clone();
        add(&mut checksum, &index.to_string());
        add(&mut checksum, &self.document["views"][index].to_string());
        add(&mut checksum, &draft.to_string());
        add(
            &mut checksum,
            &format!("{:?} {:?}", seen.sizes, seen.contents),
        );
        State {
            checksum: checksum.finalize(),
            render: seen.render.as_ref().map(Arc::downgrade),
            model: seen.model.as_ref().map(Arc::downgrade),
        }
    }
}

/// A text with its length, so that no two lists of texts are one.
fn add(checksum: &mut blake3::Hasher, text: &str) {
    checksum.update(&(text.len() as u64).to_le_bytes());
    checksum.update(text.as_bytes());
}

impl State {
    fn is(&self, other: &Self) -> bool {
        fn same<T>(a: Option<&Weak<T>>, b: Option<&Weak<T>>) -> bool {
            match (a, b) {
                (Some(a), Some(b)) => a.ptr_eq(b),
                (a, b) => a.is_none() && b.is_none(),
            }
        }
        self.checksum == other.checksum
            && same(self.render.as_ref(), other.render.as_ref())
            && same(self.model.as_ref(), other.model.as_ref())
    }
}

impl<F> Default for KeptFits<F> {
    fn default() -> Self {
        Self(Mutex::default())
    }
}

impl<F> KeptFits<F> {
    /// The fit of a view in this state, where it is known.
    pub fn find(&self, state: &State) -> Option<Arc<F>> {
        let kept = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let same = kept.iter().find(|(of, _)| of.is(state));
        same.map(|(_, fit)| Arc::clone(fit))
    }

    /// Keeps these in place of those of before.
    pub fn keep(&self, fits: impl Iterator<Item = (State, Arc<F>)>) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = fits.collect();
    }
}
