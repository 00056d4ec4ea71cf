//! The connections of both services: so many at a time, and none for ever.
//!
//! A connection that waits for a request gives way to a new one when all slots are taken, the one that has waited longest
//! first; one that is being answered keeps its slot. A head has to arrive within [`HEAD_TIME`], which is also how long a
//! connection may stay open unused.
use super::patience::{Patience, Patient};
use axum::{Router, body::Body};
use hyper::{
    body::{Bytes, Frame, Incoming, SizeHint},
    server::conn::http1,
    service::{Service, service_fn},
};
use hyper_util::{
    rt::{TokioIo, TokioTimer},
    service::TowerToHyperService,
};
use std::{
    collections::HashMap,
    future::Future,
    io,
    net::SocketAddr,
    pin::{Pin, pin},
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    task::{Context, Poll},
    time::{Duration, Instant},
};
use tokio::{
    net::{TcpListener, TcpStream},
    sync::{Notify, watch},
    time::{sleep, timeout},
};

/// Longest time for the head of a request to arrive, and for a connection to stay open between two requests. A judgement:
/// heads come in one piece, and a browser opens another connection without being asked.
const HEAD_TIME: Duration = Duration::from_secs(10);
/// Largest head, bytes, and most of a body that is taken off the connection at a time.
const HEAD_BYTES: usize = 64 << 10;
/// Handles that a service needs for itself: files of a comparison, of the page, of the runtime. A judgement.
#[cfg(unix)]
const OWN_HANDLES: usize = 40;
/// What the system may hold of an answer that the other side has not taken yet, bytes: the less it is, the sooner a slow
/// reader shows.
#[cfg(unix)]
const SEND_BUFFER: usize = 256 << 10;
/// How long a connection that gives way may write what it still has.
const LAST_WORDS: Duration = Duration::from_millis(200);
/// Pause after the system had no handle for a connection.
const NO_HANDLE_PAUSE: Duration = Duration::from_millis(50);

/// Listens; the address is the one that was taken.
pub(super) async fn listen(address: SocketAddr) -> io::Result<(TcpListener, SocketAddr)> {
    let listener = TcpListener::bind(address).await?;
    // Connections inherit it. Where it cannot be set, slow readers show later.
    #[cfg(unix)]
    let _ = rustix::net::sockopt::set_socket_send_buffer_size(&listener, SEND_BUFFER);
    let address = listener.local_addr()?;
    Ok((listener, address))
}

/// Answers connections until `stop`; those that are being answered then have `grace` to come to their end.
pub(super) async fn answer(
    listener: TcpListener,
    router: Router,
    most: usize,
    stop: impl Future<Output = ()>,
    grace: Duration,
) {
    let slots = Arc::new(Slots::new(within_handles(most)));
    let router = TowerToHyperService::new(router);
    let (ending, _) = watch::channel(false);
    let mut stop = pin!(stop);
    loop {
        let next = async {
            let stream = accept(&listener, &slots).await;
            (stream, Slots::take(&slots).await)
        };
        let (stream, slot) = tokio::select! {
            () = &mut stop => break,
            next = next => next,
        };
        tokio::spawn(converse(stream, router.clone(), slot, ending.subscribe()));
    }
    drop(listener);
    ending.send_replace(true);
    // Those that hang are given up with the runtime.
    let _ = timeout(grace, slots.all_left()).await;
}

/// The next connection. Where the system has no handle left, a connection that waits is closed for it.
async fn accept(listener: &TcpListener, slots: &Slots) -> TcpStream {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => return stream,
            Err(_) => {
                slots.dismiss_longest_waiting();
                sleep(NO_HANDLE_PAUSE).await;
            }
        }
    }
}

/// Requests and answers of one connection.
async fn converse(
    stream: TcpStream,
    router: TowerToHyperService<Router>,
    slot: Slot,
    mut ending: watch::Receiver<bool>,
) {
    let (dismissed, was_used) = (Arc::clone(&slot.dismissed), Arc::clone(&slot.was_used));
    let slot = Arc::new(slot);
    let service = service_fn(move |request: hyper::Request<Incoming>| {
        let busy = Busy::new(&slot);
        let answered = router.call(request);
        async move {
            let answered = answered.await;
            answered.map(|response| response.map(|body| Body::new(Attended { body, _busy: busy })))
        }
    });
    let stream = TokioIo::new(Patient::new(stream, Patience::default()));
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD_TIME)
        .max_buf_size(HEAD_BYTES)
        .serve_connection(stream, service);
    let mut connection = pin!(connection);
    // What goes wrong on a connection is the other side's affair.
    let last_words = tokio::select! {
        _ = connection.as_mut() => return,
        // Where nothing was answered yet there is nothing to be written.
        () = dismissed.notified() => match was_used.load(Ordering::Relaxed) {
            true => LAST_WORDS,
            false => return,
        },
        // The grace of the service is shorter.
        _ = ending.wait_for(|ends| *ends) => Duration::MAX,
    };
    connection.as_mut().graceful_shutdown();
    let _ = timeout(last_words, connection).await;
}

/// So many connections as leave handles for the service itself; each may open a file beside its own.
fn within_handles(most: usize) -> usize {
    #[cfg(unix)]
    {
        let limit = rustix::process::getrlimit(rustix::process::Resource::Nofile).current;
        let handles = limit.map_or(usize::MAX, |l| usize::try_from(l).unwrap_or(usize::MAX));
        most.min(handles.saturating_sub(OWN_HANDLES) / 2).max(2)
    }
    #[cfg(not(unix))]
    most
}

/// The places for connections.
#[derive(Debug)]
struct Slots {
    most: usize,
    taken: Mutex<Taken>,
    /// A slot was left, or its connection began to wait.
    changed: Notify,
}

#[derive(Debug, Default)]
struct Taken {
    next: u64,
    by_number: HashMap<u64, Sitting>,
}

/// A connection as the others see it.
#[derive(Debug)]
struct Sitting {
    /// Since when it waits for a request; `None` while it is answered, or after it was dismissed.
    waits_since: Option<Instant>,
    dismissed: Arc<Notify>,
}

/// A place for a connection, free again when it is dropped.
#[derive(Debug)]
struct Slot {
    number: u64,
    dismissed: Arc<Notify>,
    /// Whether a request has come.
    was_used: Arc<AtomicBool>,
    slots: Arc<Slots>,
}

impl Slots {
    fn new(most: usize) -> Self {
        Self {
            most,
            taken: Mutex::default(),
            changed: Notify::new(),
        }
    }

    /// A slot, once one is free.
    async fn take(this: &Arc<Self>) -> Slot {
        loop {
            if let Some(slot) = Self::try_take(this) {
                return slot;
            }
            this.dismiss_longest_waiting();
            this.changed.notified().await;
        }
    }

    fn try_take(this: &Arc<Self>) -> Option<Slot> {
        let mut taken = this.taken();
        if taken.by_number.len() >= this.most {
            return None;
        }
        taken.next += 1;
        let number = taken.next;
        let dismissed = Arc::new(Notify::new());
        let sitting = Sitting {
            waits_since: Some(Instant::now()),
            dismissed: Arc::clone(&dismissed),
        };
        taken.by_number.insert(number, sitting);
        Some(Slot {
            number,
            dismissed,
            was_used: Arc::default(),
            slots: Arc::clone(this),
        })
    }

    /// Closes the connection that has waited longest for a request.
    fn dismiss_longest_waiting(&self) {
        let mut taken = self.taken();
        let waiting = (taken.by_number.values_mut()).filter(|s| s.waits_since.is_some());
        if let Some(sitting) = waiting.min_by_key(|s| s.waits_since) {
            sitting.waits_since = None;
            sitting.dismissed.notify_one();
        }
    }

    async fn all_left(&self) {
        while !self.taken().by_number.is_empty() {
            self.changed.notified().await;
        }
    }

    fn set_waiting(&self, number: u64, since: Option<Instant>) {
        if let Some(sitting) = self.taken().by_number.get_mut(&number) {
            sitting.waits_since = since;
        }
        self.changed.notify_one();
    }

    fn taken(&self) -> MutexGuard<'_, Taken> {
        self.taken.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Drop for Slot {
    fn drop(&mut self) {
        self.slots.taken().by_number.remove(&self.number);
        self.slots.changed.notify_one();
    }
}

/// A connection that is being answered.
struct Busy(Arc<Slot>);

impl Busy {
    fn new(slot: &Arc<Slot>) -> Self {
        slot.was_used.store(true, Ordering::Relaxed);
        slot.slots.set_waiting(slot.number, None);
        Self(Arc::clone(slot))
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        (self.0.slots).set_waiting(self.0.number, Some(Instant::now()));
    }
}

/// The body of an answer: while it is there, its connection is busy.
struct Attended {
    body: Body,
    _busy: Busy,
}

impl hyper::body::Body for Attended {
    type Data = Bytes;
    type Error = axum::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<Result<Frame<Bytes>, axum::Error>>> {
        Pin::new(&mut self.body).poll_frame(context)
    }

    fn is_end_stream(&self) -> bool {
        self.body.is_end_stream()
    }

    fn size_hint(&self) -> SizeHint {
        self.body.size_hint()
    }
}
