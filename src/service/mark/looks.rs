//! What was seen in pairs of pictures, kept as long as the pictures are: proposals are asked for after every change.
use super::pictures::Pyramid;
use crate::proposal::{Finds, Seen};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};

/// It is kept of so many pairs.
const MOST_KEPT: usize = 4;

/// What renders show, and what was found in their references, as long as both pictures are held.
#[derive(Debug, Default)]
pub(super) struct Looks {
    kept: Mutex<Vec<Kept>>,
}

#[derive(Debug)]
struct Kept {
    pictures: [Weak<Pyramid>; 2],
    seen: Arc<Seen>,
    finds: Finds,
}

impl Kept {
    fn is_of(&self, pictures: [&Arc<Pyramid>; 2]) -> bool {
        let mut both = self.pictures.iter().zip(pictures);
        both.all(|(own, picture)| std::ptr::eq(own.as_ptr(), Arc::as_ptr(picture)))
    }
}

impl Looks {
    /// What is kept of both pictures; `None` where nothing is.
    pub fn of(&self, pictures: [&Arc<Pyramid>; 2]) -> Option<(Arc<Seen>, Finds)> {
        let mut kept = self.kept();
        kept.retain(|k| k.pictures.iter().all(|p| p.strong_count() > 0));
        let found = kept.iter().find(|k| k.is_of(pictures))?;
        Some((Arc::clone(&found.seen), found.finds.clone()))
    }

    pub fn keep(&self, pictures: [&Arc<Pyramid>; 2], seen: Arc<Seen>, finds: Finds) {
        let mut kept = self.kept();
        kept.retain(|k| !k.is_of(pictures));
        if kept.len() >= MOST_KEPT {
            kept.remove(0);
        }
        kept.push(Kept {
            pictures: pictures.map(Arc::downgrade),
            seen,
            finds,
        });
    }

    fn kept(&self) -> MutexGuard<'_, Vec<Kept>> {
        self.kept.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
