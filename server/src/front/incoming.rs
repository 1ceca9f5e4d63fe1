//! Connections as they come, no more than so many at a time.

use std::future::Future as _;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::task::{Context, Poll};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::Sleep;
use tokio_stream::Stream;
use tonic::transport::server::Connected;

use super::metrics::Metrics;

/// How long to wait after the system refused another connection, such as for want of files.
const BREATH: Duration = Duration::from_millis(100);

/// Who is at the other end of a connection.
#[derive(Clone, Debug)]
pub struct Peer {
    /// The other end's address.
    pub address: Option<SocketAddr>,
    called: Arc<AtomicBool>,
}

impl Peer {
    /// Notes that the connection is in use.
    pub fn has_called(&self) {
        self.called.store(true, Ordering::Relaxed);
    }
}

/// A connection that gives back its place when it closes.
pub struct Connection {
    stream: TcpStream,
    peer: Peer,
    first_call: Option<Pin<Box<Sleep>>>,
    metrics: Arc<Metrics>,
    _place: OwnedSemaphorePermit,
}

/// Connections of a listener, `most` at a time. While all places are taken nobody is let in: who
/// knocks waits in the system's own queue. A connection that has carried no call within
/// `first_call` of its coming is dropped: otherwise whoever connects and says nothing takes up a
/// place for good.
pub fn incoming(
    listener: TcpListener,
    most: usize,
    first_call: Duration,
    metrics: Arc<Metrics>,
) -> impl Stream<Item = io::Result<Connection>> {
    let places = Arc::new(Semaphore::new(most));
    let (ready, connections) = tokio::sync::mpsc::channel(1);
    tokio::spawn(async move {
        loop {
            let next = async {
                let place = Arc::clone(&places).acquire_owned().await.map_err(io::Error::other)?;
                listener.accept().await.map(|accepted| (accepted, place))
            };
            let accepted = tokio::select! {
                accepted = next => accepted,
                // The server went down and took the other end of the channel with it.
                () = ready.closed() => break,
            };
            let ((stream, address), place) = match accepted {
                Ok(accepted) => accepted,
                Err(error) => {
                    tracing::warn!(%error, "a connection could not be accepted");
                    tokio::time::sleep(BREATH).await;
                    continue;
                }
            };
            if let Err(error) = stream.set_nodelay(true) {
                tracing::debug!(%error, "small packets will be held back");
            }
            metrics.connections.inc();
            let connection = Connection {
                stream,
                peer: Peer { address: Some(address), called: Arc::default() },
                first_call: Some(Box::pin(tokio::time::sleep(first_call))),
                metrics: Arc::clone(&metrics),
                _place: place,
            };
            if ready.send(Ok(connection)).await.is_err() {
                break;
            }
        }
    });
    tokio_stream::wrappers::ReceiverStream::new(connections)
}

impl Drop for Connection {
    fn drop(&mut self) {
        self.metrics.connections.dec();
    }
}

impl Connected for Connection {
    type ConnectInfo = Peer;

    fn connect_info(&self) -> Peer {
        self.peer.clone()
    }
}

impl AsyncRead for Connection {
    fn poll_read(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        into: &mut ReadBuf<'_>,
    ) -> Poll<io::Result<()>> {
        if let Some(timer) = &mut self.first_call {
            let late = timer.as_mut().poll(context).is_ready();
            if self.peer.called.load(Ordering::Relaxed) {
                self.first_call = None;
            } else if late {
                return Poll::Ready(Err(io::ErrorKind::TimedOut.into()));
            }
        }
        Pin::new(&mut self.stream).poll_read(context, into)
    }
}

impl AsyncWrite for Connection {
    fn poll_write(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[u8],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write(context, bytes)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        context: &mut Context<'_>,
        bytes: &[io::IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.stream).poll_write_vectored(context, bytes)
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
