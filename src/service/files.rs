//! Files as bodies of answers: read as they are sent, so that a large one is never in memory whole.
use axum::{
    body::Body,
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
};
use hyper::body::{Bytes, Frame, SizeHint};
use std::{
    fs, io,
    pin::Pin,
    task::{Context, Poll, ready},
};
use tokio::io::{AsyncRead, ReadBuf};

/// Bytes that are read at a time.
const PIECE: usize = 64 << 10;

/// An answer with a file of this type.
///
/// # Errors
/// Where its size cannot be found.
pub(super) fn answer(file: fs::File, kind: &'static str) -> io::Result<Response> {
    let left = file.metadata()?.len();
    let body = Body::new(Piecewise {
        file: tokio::fs::File::from_std(file),
        left,
        piece: vec![0; PIECE].into(),
    });
    let kind = HeaderValue::from_static(kind);
    Ok(([(header::CONTENT_TYPE, kind)], body).into_response())
}

struct Piecewise {
    file: tokio::fs::File,
    /// Bytes that are still to be sent.
    left: u64,
    piece: Box<[u8]>,
}

impl hyper::body::Body for Piecewise {
    type Data = Bytes;
    type Error = io::Error;

    fn poll_frame(
        self: Pin<&mut Self>,
        context: &mut Context<'_>,
    ) -> Poll<Option<io::Result<Frame<Bytes>>>> {
        let this = self.get_mut();
        if this.left == 0 {
            return Poll::Ready(None);
        }
        let wanted = usize::try_from(this.left).map_or(PIECE, |left| left.min(PIECE));
        let mut room = ReadBuf::new(&mut this.piece[..wanted]);
        let read = ready!(Pin::new(&mut this.file).poll_read(context, &mut room));
        let filled = room.filled();
        this.left -= filled.len() as u64;
        Poll::Ready(Some(match read {
            // Its length was told already.
            Ok(()) if filled.is_empty() => Err(io::ErrorKind::UnexpectedEof.into()),
            Ok(()) => Ok(Frame::data(Bytes::copy_from_slice(filled))),
            Err(error) => Err(error),
        }))
    }

    fn is_end_stream(&self) -> bool {
        self.left == 0
    }

    fn size_hint(&self) -> SizeHint {
        SizeHint::with_exact(self.left)
    }
}
