//! Connections as they come, no more than so many at a time.

use std::future::Future as _;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::sync::Arc;
use std::task::{Context, Poll};
use std::time::{Duration, Instant};

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::Sleep;
use tokio_stream::Stream;
use tonic::transport::server::Connected;

use super::guests::{CallUnderWay, Guests, Room, Seat, Usage};
use super::metrics::Metrics;

/// How long to wait after the system refused another connection, such as for want of files.
const BREATH: Duration = Duration::from_millis(100);

/// Who is at the other end of a connection.
#[derive(Clone, Debug)]
pub struct Peer {
    /// The other end's address.
    pub address: Option<SocketAddr>,
    usage: Arc<Usage>,
}

impl Peer {
    /// Notes that a call is under way on the connection, as long as what comes back lives.
    pub fn begin_call(&self) -> CallUnderWay {
        CallUnderWay::begin(&self.usage)
    }
}

/// A connection that gives back its place when it closes.
pub struct Connection {
    stream: TcpStream,
    peer: Peer,
    room: Room,
    /// Goes off when it is to be seen whether the connection is still borne.
    look: Pin<Box<Sleep>>,
    metrics: Arc<Metrics>,
    seat: Seat,
}

/// Connections of a listener, as many as there is `room` for. Those that do nothing make room for others
/// and are closed after a while, the handshake of TLS among them: otherwise whoever connects and says
/// nothing takes up a place for good.
pub fn incoming(
    listener: TcpListener,
    room: Room,
    metrics: Arc<Metrics>,
) -> impl Stream<Item = io::Result<Connection>> {
    let guests = Arc::new(Guests::new(room));
    let (ready, connections) = tokio::sync::mpsc::channel(1);
    tokio::spawn(async move {
        loop {
            let next = async {
                let (stream, address) = listener.accept().await?;
                let seat = guests.seat(address.ip().to_canonical()).await;
                Ok::<_, io::Error>((stream, address, seat))
            };
            let accepted = tokio::select! {
                accepted = next => accepted,
                // The server went down and took the other end of the channel with it.
                () = ready.closed() => break,
            };
            let (stream, address, seat) = match accepted {
                Ok((stream, address, Some(seat))) => (stream, address, seat),
                Ok((_, address, None)) => {
                    tracing::debug!(%address, "too many busy connections of one address");
                    continue;
                }
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
                peer: Peer { address: Some(address), usage: Arc::clone(&seat.usage) },
                room: *guests.room(),
                look: Box::pin(tokio::time::sleep(room.first_call.min(room.idle))),
                metrics: Arc::clone(&metrics),
                seat,
            };
            if ready.send(Ok(connection)).await.is_err() {
                break;
            }
        }
    });
    tokio_stream::wrappers::ReceiverStream::new(connections)
}

impl Connection {
    /// Whether it is to close. Wakes the task when it is.
    fn poll_over(&mut self, context: &mut Context<'_>) -> Poll<io::ErrorKind> {
        if Pin::new(&mut self.seat.closing).poll(context).is_ready() {
            return Poll::Ready(io::ErrorKind::ConnectionAborted);
        }
        while self.look.as_mut().poll(context).is_ready() {
            let until = self.seat.usage.borne_until(&self.room);
            if until <= Instant::now() {
                return Poll::Ready(io::ErrorKind::TimedOut);
            }
            self.look.as_mut().reset(until.into());
        }
        Poll::Pending
    }
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
        if let Poll::Ready(why) = self.poll_over(context) {
            return Poll::Ready(Err(why.into()));
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
