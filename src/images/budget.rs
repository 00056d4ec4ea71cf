//! The memory that all pictures of a run share: each takes its part before it is decoded and gives it back when it is
//! done; where others hold too much it waits.
//!
//! Who comes first is served first, so that a large need does not wait for ever behind small ones. A need is taken at
//! once, never in parts: nobody holds a part while he waits for the rest, so two cannot wait for each other.
use std::{
    collections::VecDeque,
    fmt,
    sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError},
    time::Duration,
};

/// Longest time between two questions whether to stop.
const PAUSE: Duration = Duration::from_millis(50);
/// The same for a thread that may be needed for the work of others: between two looks for it.
const SHORT_PAUSE: Duration = Duration::from_millis(1);

/// Why memory was not taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum BudgetError {
    /// More than there is, even if nobody else held any.
    #[error(
        "its images take {} MB of memory, {} MB are allowed; reduce the images or raise --max-memory",
        need.div_ceil(1_000_000), total / 1_000_000
    )]
    TooMuch {
        /// Bytes needed.
        need: u64,
        /// Bytes that all share.
        total: u64,
    },
    /// The caller asked to stop while it waited.
    #[error("it was stopped while it waited for memory")]
    Stopped,
}

impl BudgetError {
    /// Stable code for scripts.
    pub fn code(self) -> &'static str {
        match self {
            Self::TooMuch { .. } => "too-little-memory",
            Self::Stopped => "stopped",
        }
    }
}

/// An amount of memory that many share; copies share the same.
#[derive(Clone)]
pub struct Budget {
    shared: Arc<Shared>,
}

struct Shared {
    total: u64,
    state: Mutex<State>,
    /// Told whenever somebody gives something back.
    changed: Condvar,
    /// What is kept for later and can be made anew: asked for when somebody waits.
    stores: Mutex<Vec<Box<dyn Fn() + Send + Sync>>>,
}

#[derive(Default)]
struct State {
    held: u64,
    /// Tickets of those who wait, in the order in which they came.
    waiting: VecDeque<u64>,
    next_ticket: u64,
}

impl Budget {
    /// A budget of so many bytes.
    pub fn new(total: u64) -> Self {
        let shared = Shared {
            total,
            state: Mutex::default(),
            changed: Condvar::new(),
            stores: Mutex::default(),
        };
        Self {
            shared: Arc::new(shared),
        }
    }

    /// Whether so many bytes can be taken at all.
    ///
    /// # Errors
    /// [`BudgetError::TooMuch`].
    pub fn check(&self, need: u64) -> Result<(), BudgetError> {
        let total = self.shared.total;
        if need > total {
            return Err(BudgetError::TooMuch { need, total });
        }
        Ok(())
    }

    /// Takes `need` bytes as soon as they are free and nobody waits who came earlier; asks `stopped` now and then.
    ///
    /// A thread of a pool does the pool's work while it waits: what it waits for may be queued behind it. It must not hold
    /// memory itself.
    ///
    /// # Errors
    /// [`BudgetError`]; nothing is held then.
    pub fn take(&self, need: u64, stopped: &dyn Fn() -> bool) -> Result<Hold, BudgetError> {
        self.check(need)?;
        let total = self.shared.total;
        let ticket = Ticket::draw(&self.shared);
        loop {
            if stopped() {
                return Err(BudgetError::Stopped);
            }
            if self.try_take(need, &ticket) {
                return Ok(Hold {
                    shared: Arc::clone(&self.shared),
                    bytes: need,
                });
            }
            self.clear_stores();
            let pause = match rayon::yield_now() {
                Some(rayon::Yield::Executed) => continue,
                Some(rayon::Yield::Idle) => SHORT_PAUSE,
                None => PAUSE,
            };
            let state = self.shared.lock();
            if !state.may_take(need, total, &ticket) {
                // Woken early or late: the loop looks again.
                let _ = self.shared.changed.wait_timeout(state, pause);
            }
        }
    }

    /// Has `clear` called whenever somebody waits: it gives up what is only kept for later.
    pub fn keep_store(&self, clear: Box<dyn Fn() + Send + Sync>) {
        let stores = self.shared.stores.lock();
        stores.unwrap_or_else(PoisonError::into_inner).push(clear);
    }

    fn try_take(&self, need: u64, ticket: &Ticket<'_>) -> bool {
        let mut state = self.shared.lock();
        let takes = state.may_take(need, self.shared.total, ticket);
        if takes {
            state.held += need;
        }
        takes
    }

    fn clear_stores(&self) {
        let stores = self.shared.stores.lock();
        for clear in stores.unwrap_or_else(PoisonError::into_inner).iter() {
            clear();
        }
    }
}

impl fmt::Debug for Budget {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let held = self.shared.lock().held;
        write!(f, "Budget({held} of {} bytes held)", self.shared.total)
    }
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut State)) {
        change(&mut self.lock());
        self.changed.notify_all();
    }
}

impl State {
    fn may_take(&self, need: u64, total: u64, ticket: &Ticket<'_>) -> bool {
        self.waiting.front() == Some(&ticket.number) && need <= total - self.held
    }
}

/// A place in the queue, left when it is dropped.
struct Ticket<'a> {
    shared: &'a Shared,
    number: u64,
}

impl<'a> Ticket<'a> {
    fn draw(shared: &'a Shared) -> Self {
        let mut state = shared.lock();
        let number = state.next_ticket;
        state.next_ticket += 1;
        state.waiting.push_back(number);
        Self { shared, number }
    }
}

impl Drop for Ticket<'_> {
    fn drop(&mut self) {
        self.shared
            .change(|state| state.waiting.retain(|number| *number != self.number));
    }
}

/// Memory that was taken; given back when it is dropped, also by a failure.
#[must_use = "the memory is given back at once"]
pub struct Hold {
    shared: Arc<Shared>,
    bytes: u64,
}

impl Hold {
    /// Hands a part of it, `bytes` at most, to somebody else.
    pub fn split(&mut self, bytes: u64) -> Self {
        let part = self.bytes.min(bytes);
        self.bytes -= part;
        Self {
            shared: Arc::clone(&self.shared),
            bytes: part,
        }
    }

    /// Gives back all but `bytes`.
    pub fn shrink_to(&mut self, bytes: u64) {
        let surplus = self.bytes.saturating_sub(bytes);
        self.bytes -= surplus;
        self.shared.change(|state| state.held -= surplus);
    }
}

impl fmt::Debug for Hold {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Hold({} bytes)", self.bytes)
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        self.shared.change(|state| state.held -= self.bytes);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::{
        sync::{
            atomic::{AtomicU64, AtomicUsize, Ordering},
            mpsc,
        },
        thread,
    };

    const GOES_ON: &dyn Fn() -> bool = &|| false;

    /// How many wait.
    fn waiting(budget: &Budget) -> usize {
        budget.shared.lock().waiting.len()
    }

    fn held(budget: &Budget) -> u64 {
        budget.shared.lock().held
    }

    #[test]
    fn a_need_beyond_the_whole_is_refused_with_the_figures() {
        let budget = Budget::new(600_000_000);
        let error = budget.take(612_300_000, GOES_ON).expect_err("too much");
        assert_eq!(error.code(), "too-little-memory");
        assert_eq!(
            error.to_string(),
            "its images take 613 MB of memory, 600 MB are allowed; reduce the images or raise --max-memory"
        );
        assert_eq!((held(&budget), waiting(&budget)), (0, 0));
        assert!(budget.take(600_000_000, GOES_ON).is_ok());
    }

    #[test]
    fn who_finds_too_little_waits_until_it_is_given_back() {
        let budget = Budget::new(10);
        let first = budget.take(7, GOES_ON).expect("free");
        let (sender, taken) = mpsc::channel();
        let other = budget.clone();
        let waiter = thread::spawn(move || {
            let hold = other.take(5, GOES_ON).expect("in the end");
            sender.send(()).expect("heard");
            drop(hold);
        });
        while waiting(&budget) == 0 {
            thread::yield_now();
        }
        assert!(taken.recv_timeout(PAUSE * 3).is_err(), "it must wait");
        drop(first);
        taken.recv_timeout(Duration::from_secs(60)).expect("taken");
        waiter.join().expect("no panic");
        assert_eq!(held(&budget), 0);
    }

    #[test]
    fn a_failure_gives_back_what_it_held() {
        let budget = Budget::new(10);
        let other = budget.clone();
        let failed = thread::spawn(move || {
            let _hold = other.take(10, GOES_ON).expect("free");
            panic!("while it holds all");
        });
        assert!(failed.join().is_err());
        assert_eq!(held(&budget), 0);
        let mut hold = budget.take(10, GOES_ON).expect("free again");
        hold.shrink_to(3);
        assert_eq!(held(&budget), 3);
        hold.shrink_to(8);
        assert_eq!(held(&budget), 3, "it does not grow");
        let part = hold.split(1);
        drop(hold);
        assert_eq!(held(&budget), 1);
        drop(part);
        assert_eq!(held(&budget), 0);
    }

    #[test]
    fn who_is_stopped_leaves_the_queue() {
        let budget = Budget::new(10);
        let all = budget.take(10, GOES_ON).expect("free");
        let asked = AtomicUsize::new(0);
        let stopped = || asked.fetch_add(1, Ordering::Relaxed) > 2;
        assert_eq!(
            budget.take(1, &stopped).expect_err("stopped"),
            BudgetError::Stopped
        );
        assert_eq!((held(&budget), waiting(&budget)), (10, 0));
        drop(all);
        assert!(budget.take(10, GOES_ON).is_ok());
    }

    #[test]
    fn a_large_need_is_not_passed_by_small_ones() {
        let budget = Budget::new(10);
        let first = budget.take(6, GOES_ON).expect("free");
        let order = Arc::new(Mutex::new(Vec::new()));
        let spawn = |need| {
            let (budget, order, before) = (budget.clone(), Arc::clone(&order), waiting(&budget));
            let thread = thread::spawn({
                let budget = budget.clone();
                move || {
                    let hold = budget.take(need, GOES_ON).expect("in the end");
                    order.lock().expect("no panic").push(need);
                    drop(hold);
                }
            });
            while waiting(&budget) == before {
                thread::yield_now();
            }
            thread
        };
        // Three would be free, but the one who needs ten came first.
        let waiters = [spawn(10), spawn(3)];
        drop(first);
        for waiter in waiters {
            waiter.join().expect("no panic");
        }
        assert_eq!(*order.lock().expect("no panic"), [10, 3]);
    }

    #[test]
    fn what_is_kept_for_later_is_given_up_for_those_who_wait() {
        let budget = Budget::new(10);
        let store = Arc::new(Mutex::new(Some(budget.take(8, GOES_ON).expect("free"))));
        let kept = Arc::clone(&store);
        budget.keep_store(Box::new(move || {
            drop(kept.lock().expect("no panic").take())
        }));
        assert!(budget.take(2, GOES_ON).is_ok());
        assert!(store.lock().expect("no panic").is_some(), "nobody waited");
        assert!(budget.take(10, GOES_ON).is_ok());
    }

    #[test]
    fn many_threads_never_hold_more_than_there_is() {
        let budget = Budget::new(100);
        let (now, most) = (AtomicU64::new(0), AtomicU64::new(0));
        thread::scope(|scope| {
            for start in 0..8_u64 {
                let (budget, now, most) = (&budget, &now, &most);
                scope.spawn(move || {
                    for round in 0..50 {
                        let need = 1 + (start * 37 + round * 11) % 100;
                        let hold = budget.take(need, GOES_ON).expect("in the end");
                        most.fetch_max(
                            now.fetch_add(need, Ordering::SeqCst) + need,
                            Ordering::SeqCst,
                        );
                        now.fetch_sub(need, Ordering::SeqCst);
                        drop(hold);
                    }
                });
            }
        });
        assert!(most.load(Ordering::SeqCst) <= 100);
        assert_eq!(held(&budget), 0);
    }

    #[test]
    fn a_pool_of_one_thread_does_what_it_waits_for() {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(1).build();
        let budget = Budget::new(10);
        let done = AtomicUsize::new(0);
        pool.expect("a thread").install(|| {
            rayon::in_place_scope(|scope| {
                for _ in 0..5 {
                    let hold = budget.take(10, GOES_ON).expect("in the end");
                    let done = &done;
                    scope.spawn(move |_| {
                        done.fetch_add(1, Ordering::Relaxed);
                        drop(hold);
                    });
                }
            });
        });
        assert_eq!(done.load(Ordering::Relaxed), 5);
    }
}
