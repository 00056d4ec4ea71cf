//! Bodies of requests, taken piece by piece: how much of them is in memory does not depend on what is sent.
use super::shell::Refused;
use axum::{
    body::{Body, Bytes, HttpBody},
    extract::{Request, State},
    http::{HeaderValue, StatusCode, header, request::Parts},
    middleware::Next,
    response::{IntoResponse, Response},
};
use hyper::body::Frame;
use std::{
    future::poll_fn,
    io,
    pin::Pin,
    sync::{Arc, Mutex, MutexGuard, PoisonError},
    task::{Context, Poll},
    time::Duration,
};
use tokio::{sync::Semaphore, time::timeout};

/// Bytes of a body that its reader may hold without handing anything on: the head of a part of a multipart body, or what
/// looks like the begin of a boundary. A judgement: heads have some hundred bytes.
const AHEAD: usize = 64 << 10;

/// How long is gone on reading a body that is refused: who sends it hears why only once it is sent. A judgement.
const LINGER: Duration = Duration::from_secs(5);

/// A body on its way in, shared by the one who reads it and the one who answers for it.
#[derive(Clone, Debug)]
pub(super) struct Inflow(Arc<Mutex<Flow>>);

#[derive(Debug)]
struct Flow {
    body: Body,
    /// Most bytes of it, and those that have come.
    most: usize,
    come: usize,
    /// Bytes that have come since the reader last handed something on.
    ahead: usize,
    overrun: Option<Overrun>,
    /// Whether it is sent only once it is asked for.
    is_held_back: bool,
}

/// Which limit a body has gone over.
#[derive(Clone, Copy, Debug)]
enum Overrun {
    /// That of the whole body.
    Whole,
    /// [`AHEAD`].
    Ahead,
}

impl Inflow {
    /// The body of a request, of which so many bytes are taken at most.
    pub fn new(head: &Parts, body: Body, most: usize) -> Self {
        let is_too_large = body.size_hint().lower() > most as u64;
        Self(Arc::new(Mutex::new(Flow {
            body,
            most,
            come: 0,
            ahead: 0,
            overrun: is_too_large.then_some(Overrun::Whole),
            is_held_back: head.headers.contains_key(header::EXPECT),
        })))
    }

    /// The body for a reader that hands on what it reads and says so by [`Inflow::handed_on`].
    pub fn pieces(&self) -> Body {
        Body::new(Pieces {
            inflow: self.clone(),
            rests: false,
        })
    }

    /// Tells that the reader has handed on what it had.
    pub fn handed_on(&self) {
        self.flow().ahead = 0;
    }

    /// All of a small body.
    ///
    /// # Errors
    /// Where it is larger than it may be, or ends before it should.
    pub async fn whole(&self) -> Result<Vec<u8>, Refused> {
        let mut whole = Vec::new();
        while let Some(piece) = self.piece().await {
            match piece {
                Ok(bytes) => whole.extend_from_slice(&bytes),
                Err(error) => return Err(self.overrun().unwrap_or_else(|| cut_off(&error))),
            }
            self.handed_on();
        }
        Ok(whole)
    }

    /// The refusal where the body has gone over a limit.
    pub fn overrun(&self) -> Option<Refused> {
        let flow = self.flow();
        flow.overrun.map(|overrun| match overrun {
            Overrun::Whole => too_large("the body", flow.most),
            Overrun::Ahead => too_large("the head of a part", AHEAD),
        })
    }

    /// Reads on for a while and keeps nothing.
    pub async fn drain(&self) {
        if self.flow().is_held_back && self.flow().come == 0 {
            return;
        }
        let rest = async {
            while let Some(Ok(_)) =
                poll_fn(|context| Pin::new(&mut self.flow().body).poll_frame(context)).await
            {
            }
        };
        let _ = timeout(LINGER, rest).await;
    }

    /// The next bytes.
    async fn piece(&self) -> Option<io::Result<Bytes>> {
        loop {
            // Trailers are no part of a body.
            match poll_fn(|context| self.poll(context)).await? {
                Ok(frame) => match frame.into_data() {
                    Ok(bytes) => return Some(Ok(bytes)),
                    Err(_) => continue,
                },
                Err(error) => return Some(Err(error)),
            }
        }
    }

    fn poll(&self, context: &mut Context<'_>) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        let mut flow = self.flow();
        if flow.overrun.is_some() {
            return Poll::Ready(Some(Err(over())));
        }
        let polled = Pin::new(&mut flow.body).poll_frame(context);
        polled.map(|frame| Some(frame?.map_err(io::Error::other).and_then(|f| flow.count(f))))
    }

    fn flow(&self) -> MutexGuard<'_, Flow> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Flow {
    fn count(&mut self, frame: Frame<Bytes>) -> io::Result<Frame<Bytes>> {
        let length = frame.data_ref().map_or(0, Bytes::len);
        self.come = self.come.saturating_add(length);
        if self.come > self.most {
            self.overrun = Some(Overrun::Whole);
        } else if self.ahead > AHEAD {
            self.overrun = Some(Overrun::Ahead);
        }
        self.ahead += length;
        match self.overrun {
            None => Ok(frame),
            Some(_) => Err(over()),
        }
    }
}

/// A body that takes a breath after each piece: a reader that takes all that is there would otherwise hold all of it.
struct Pieces {
    inflow: Inflow,
    rests: bool,
}

impl HttpBody for Pieces {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        if self.rests {
            self.rests = false;
            context.waker().wake_by_ref();
            return Poll::Pending;
        }
        let polled = self.inflow.poll(context);
        self.rests = polled.is_ready();
        polled
    }
}

fn over() -> io::Error {
    io::Error::other("more than is taken")
}

/// A body that does not come to its end.
fn cut_off(error: &io::Error) -> Refused {
    let text = format!("the body ends before it should: {error}");
    Refused::new(StatusCode::BAD_REQUEST, "bad-body", &text)
}

/// Something of a request that is larger than it may be.
pub(super) fn too_large(what: &str, most: usize) -> Refused {
    let most = match most {
        large if large >= 1 << 20 => format!("{} MB", large >> 20),
        small => format!("{} kB", small >> 10),
    };
    let text = format!("{what} is larger than the {most} that are taken");
    Refused::new(StatusCode::PAYLOAD_TOO_LARGE, "too-large", &text)
}

/// What [`read_first`] allows.
#[derive(Clone, Debug)]
pub(super) struct Allowance {
    /// Largest body, bytes.
    pub most: usize,
    /// Longest time for a body to arrive, and for room to become free.
    pub time: Duration,
    /// Bytes that all bodies may have together.
    room: Arc<Semaphore>,
}

impl Allowance {
    /// Bodies of `most` bytes each, `together` at a time, that arrive within `time`.
    pub fn new(most: usize, together: usize, time: Duration) -> Self {
        Self {
            most,
            time,
            room: Arc::new(Semaphore::new(together)),
        }
    }
}

/// Reads the body before the request is answered, and keeps its room until it is.
pub(super) async fn read_first(
    State(allowed): State<Allowance>,
    request: Request,
    next: Next,
) -> Response {
    let (head, body) = request.into_parts();
    let stated = body.size_hint().exact().unwrap_or(u64::MAX);
    let length = usize::try_from(stated).map_or(allowed.most, |length| length.min(allowed.most));
    let inflow = Inflow::new(&head, body, allowed.most);
    let Ok(Ok(_room)) = timeout(allowed.time, allowed.room.acquire_many(length as u32)).await
    else {
        return no_room();
    };
    match timeout(allowed.time, inflow.whole()).await {
        Ok(Ok(whole)) => next.run(Request::from_parts(head, whole.into())).await,
        Ok(Err(refused)) => {
            inflow.drain().await;
            refused.into_response()
        }
        Err(_) => too_slow().into_response(),
    }
}

/// A body that does not arrive in time.
pub(super) fn too_slow() -> Refused {
    let text = "the body took too long to arrive";
    Refused::new(StatusCode::REQUEST_TIMEOUT, "too-slow", text)
}

fn no_room() -> Response {
    let text = "too many large requests come in at once; try again later";
    let refused = Refused::new(StatusCode::SERVICE_UNAVAILABLE, "no-room", text);
    let mut response = refused.into_response();
    let headers = response.headers_mut();
    headers.insert(header::RETRY_AFTER, HeaderValue::from_static("1"));
    response
}
