//! Patience with a reader: a connection whose other side takes next to nothing of an answer is closed.
use std::{
    future::Future,
    io,
    pin::Pin,
    task::{Context, Poll, ready},
    time::Duration,
};
use tokio::{
    io::{AsyncRead, AsyncWrite, ReadBuf},
    time::{Instant, Sleep, sleep},
};

/// How much is waited for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Patience {
    /// How long an answer may stand still.
    pub most: Duration,
    /// Bytes that win back a second: a download that goes on at this rate may take as long as it likes.
    pub bytes_per_second: f64,
}

impl Default for Patience {
    /// A minute, and 4 kB a second: the slowest lines in use are faster. A judgement.
    fn default() -> Self {
        Self {
            most: Duration::from_secs(60),
            bytes_per_second: 4096.0,
        }
    }
}

/// A stream whose writing fails once its reader has used up the patience.
#[derive(Debug)]
pub(super) struct Patient<S> {
    stream: S,
    patience: Patience,
    left: Duration,
    /// Since when the other side takes nothing, and when the patience is over.
    stands: Option<(Instant, Pin<Box<Sleep>>)>,
}

impl<S> Patient<S> {
    pub fn new(stream: S, patience: Patience) -> Self {
        Self {
            stream,
            patience,
            left: patience.most,
            stands: None,
        }
    }

    /// The result of an attempt to write, or an error where it has been in vain for too long.
    fn judge(
        &mut self,
        context: &mut Context<'_>,
        written: Poll<io::Result<usize>>,
    ) -> Poll<io::Result<usize>> {
        let Poll::Ready(result) = written else {
            let left = self.left;
            let (_, over) =
                (self.stands).get_or_insert_with(|| (Instant::now(), Box::pin(sleep(left))));
            ready!(over.as_mut().poll(context));
            return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
        };
        if let Some((since, _)) = self.stands.take() {
            self.left = self.left.saturating_sub(since.elapsed());
        }
        let taken = *result.as_ref().unwrap_or(&0) as f64;
        let won = Duration::from_secs_f64(taken / self.patience.bytes_per_second);
        self.left = self.left.saturating_add(won).min(self.patience.most);
        Poll::Ready(result)
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        buffer: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(context, buffer)
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(context, bytes);
        self.judge(context, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        pieces: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(context, pieces);
        self.judge(context, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(context)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(context)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};

    const SHORT: Patience = Patience {
        most: Duration::from_millis(300),
        bytes_per_second: 100_000.0,
    };

    fn run(work: impl Future<Output = ()>) {
        let runtime = tokio::runtime::Builder::new_current_thread()
            .enable_time()
            .build();
        let within = async { tokio::time::timeout(Duration::from_secs(60), work).await };
        let ended = runtime.expect("a runtime").block_on(within);
        ended.expect("it ends");
    }

    #[test]
    fn a_reader_that_takes_next_to_nothing_is_given_up() {
        run(async {
            let (near, mut far) = duplex(1000);
            let mut near = Patient::new(near, SHORT);
            let trickle = async {
                loop {
                    let _ = far.read_u8().await;
                    sleep(Duration::from_millis(100)).await;
                }
            };
            let answer = vec![0; 100_000];
            tokio::select! {
                written = near.write_all(&answer) => {
                    let error = written.expect_err("given up");
                    assert_eq!(error.kind(), io::ErrorKind::TimedOut);
                }
                () = trickle => {}
            }
        });
    }

    #[test]
    fn a_steady_reader_may_take_as_long_as_it_needs() {
        run(async {
            let (near, mut far) = duplex(1000);
            let mut near = Patient::new(near, SHORT);
            let begun = Instant::now();
            let steady = async move {
                let mut piece = [0; 10_000];
                for _ in 0..20 {
                    sleep(Duration::from_millis(50)).await;
                    far.read_exact(&mut piece).await.expect("read");
                }
            };
            let answer = vec![0; 200_000];
            let (written, ()) = tokio::join!(near.write_all(&answer), steady);
            written.expect("written");
            assert!(begun.elapsed() > 3 * SHORT.most);
        });
    }
}
