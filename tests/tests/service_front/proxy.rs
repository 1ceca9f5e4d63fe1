//! A relay between client and server whose connections a test can cut.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};

use tokio::net::{TcpListener, TcpStream};
use tokio::task::{AbortHandle, JoinHandle};

pub struct Proxy {
    pub address: SocketAddr,
    connections: Arc<Mutex<Vec<AbortHandle>>>,
    accepting: JoinHandle<()>,
}

impl Proxy {
    pub async fn to(server: SocketAddr) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = listener.local_addr().expect("an address");
        let connections = Arc::new(Mutex::new(Vec::new()));
        let open = Arc::clone(&connections);
        let accepting = tokio::spawn(async move {
            while let Ok((mut near, _)) = listener.accept().await {
                let relay = tokio::spawn(async move {
                    if let Ok(mut far) = TcpStream::connect(server).await {
                        let _ = tokio::io::copy_bidirectional(&mut near, &mut far).await;
                    }
                });
                open.lock().expect("not poisoned").push(relay.abort_handle());
            }
        });
        Self { address, connections, accepting }
    }

    /// How many connections there have been so far.
    pub fn count(&self) -> usize {
        self.connections.lock().expect("not poisoned").len()
    }

    /// Cuts every connection.
    pub fn cut(&self) {
        let connections = self.connections.lock().expect("not poisoned");
        connections.iter().for_each(AbortHandle::abort);
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.accepting.abort();
        self.cut();
    }
}
