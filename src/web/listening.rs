//! The door to the network: how many connections there may be, how long a head may take, how large it may be, and how they
//! end. The time that a request may take and the size of its body are the router's (`route`).
use std::{
    io,
    net::SocketAddr,
    pin::{Pin, pin},
    sync::Arc,
    task::{Context, Poll, ready},
    time::Duration,
};

use axum::{Router, body::Body};
use hyper::{body::Incoming, server::conn::http1, service::service_fn};
use hyper_util::rt::{TokioIo, TokioTimer};
use tokio::{
    io::{AsyncRead, AsyncWrite, AsyncWriteExt, ReadBuf},
    net::{TcpListener, TcpStream},
    sync::{Semaphore, watch},
    time::{Sleep, sleep},
};
use tower::ServiceExt;

use super::client::Peer;

#[derive(Clone, Copy, Debug)]
pub struct Limits {
    pub connections: usize,
    /// From the first byte that could come to the head's last one: a slow head and an idle connection alike.
    pub head: Duration,
    /// How long the other side may take nothing of an answer that is ready.
    pub taking: Duration,
    /// How long what was begun may go on after the server was told to stop.
    pub ending: Duration,
}

impl Default for Limits {
    fn default() -> Self {
        let s = Duration::from_secs;
        Self { connections: 1_000, head: s(20), taking: s(30), ending: s(35) }
    }
}

/// Bytes of a request's line and headers together. A browser sends two or three thousand.
const HEAD_BYTES: usize = 32 * 1024;
const MOST_HEADERS: usize = 100;

/// Serves until told to stop; then takes no more connections, and lets those that are there end what they began.
pub async fn serve(listener: TcpListener, site: Router, limits: Limits, stop: impl Future<Output = ()>) {
    let places = Arc::new(Semaphore::new(limits.connections));
    let (stopping, told) = watch::channel(());
    let mut stop = pin!(stop);
    loop {
        let accepted = tokio::select! {
            () = &mut stop => break,
            accepted = listener.accept() => accepted,
        };
        match accepted {
            Ok((stream, from)) => match Arc::clone(&places).try_acquire_owned() {
                Ok(place) => {
                    let (site, told) = (site.clone(), told.clone());
                    tokio::spawn(async move {
                        converse(stream, from, site, limits, told).await;
                        drop(place);
                    });
                }
                Err(_) => drop(tokio::spawn(send_away(stream))),
            },
            // Out of file handles, mostly: whoever is served now gives some back.
            Err(why) => {
                tracing::warn!(%why, "a connection could not be taken");
                sleep(Duration::from_millis(200)).await;
            }
        }
    }
    drop(listener);
    drop(told);
    let _ = stopping.send(());
    let ended = tokio::time::timeout(limits.ending, stopping.closed()).await;
    if ended.is_err() {
        tracing::warn!("some requests had not ended when the server stopped");
    }
}

async fn converse(
    stream: TcpStream,
    from: SocketAddr,
    site: Router,
    limits: Limits,
    mut told: watch::Receiver<()>,
) {
    let _ = stream.set_nodelay(true);
    let service = service_fn(move |mut request: hyper::Request<Incoming>| {
        request.extensions_mut().insert(Peer(from));
        site.clone().oneshot(request.map(Body::new))
    });
    let io = TokioIo::new(Taken { stream, patience: limits.taking, waits: None });
    let connection = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(limits.head)
        .max_header_size(HEAD_BYTES)
        .max_buf_size(4 * HEAD_BYTES)
        .max_headers(MOST_HEADERS)
        .serve_connection(io, service);
    let mut connection = pin!(connection);
    let outcome = tokio::select! {
        outcome = &mut connection => outcome,
        _ = told.changed() => {
            connection.as_mut().graceful_shutdown();
            connection.await
        }
    };
    if let Err(why) = outcome {
        tracing::debug!(%why, %from, "a connection ended early");
    }
}

const NO_PLACE: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\nConnection: close\r\nRetry-After: 5\r\n\
    Content-Type: text/plain; charset=utf-8\r\nContent-Length: 87\r\n\r\n\
    More connections are open than this server takes. Nothing was done; come again shortly.";

async fn send_away(mut stream: TcpStream) {
    let told = async {
        stream.write_all(NO_PLACE).await?;
        stream.shutdown().await
    };
    let _: Result<io::Result<()>, _> = tokio::time::timeout(Duration::from_secs(2), told).await;
}

/// A stream whose other side has to take what is written within a time.
struct Taken {
    stream: TcpStream,
    patience: Duration,
    waits: Option<Pin<Box<Sleep>>>,
}

impl Taken {
    fn timed<T>(&mut self, written: Poll<io::Result<T>>, cx: &mut Context<'_>) -> Poll<io::Result<T>> {
        if written.is_ready() {
            self.waits = None;
            return written;
        }
        let patience = self.patience;
        ready!(self.waits.get_or_insert_with(|| Box::pin(sleep(patience))).as_mut().poll(cx));
        Poll::Ready(Err(io::ErrorKind::TimedOut.into()))
    }
}

impl AsyncRead for Taken {
    fn poll_read(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_read(cx, into)
    }
}

impl AsyncWrite for Taken {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write(cx, bytes);
        self.timed(written, cx)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.stream).poll_write_vectored(cx, bytes);
        self.timed(written, cx)
    }

    fn is_write_vectored(&self) -> bool {
        self.stream.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.stream).poll_shutdown(cx)
    }
}
