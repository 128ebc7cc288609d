//! The network between a tablet and the server: it can be cut, it can lose an answer, and somebody in between can fail.
use std::{
    net::SocketAddr,
    sync::{
        Arc,
        atomic::{AtomicBool, AtomicUsize, Ordering::SeqCst},
    },
};

use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::{TcpListener, TcpStream},
    sync::watch,
};

pub struct Gate {
    pub url: String,
    state: Arc<State>,
    cut: watch::Sender<bool>,
}

#[derive(Default)]
struct State {
    /// So many sends are answered 500, without the server seeing them.
    failing: AtomicUsize,
    /// The server's next answer to a send is lost on its way.
    losing: AtomicBool,
    /// The server's next answer to a tablet's key does not come while the page that asked is there.
    holding: AtomicBool,
    /// How many sends came by.
    sends: AtomicUsize,
}

const SEND: &[u8] = b"POST /api/v1/signed-reports";
const KEY: &[u8] = b"POST /api/v1/tablet-keys";
const FAILED: &[u8] = b"HTTP/1.1 500 Internal Server Error\r\ncontent-length: 0\r\nconnection: close\r\n\r\n";

impl Gate {
    pub async fn before(url: &str) -> Self {
        let server: SocketAddr = url.strip_prefix("http://").unwrap().parse().unwrap();
        let door = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://{}", door.local_addr().unwrap());
        let (cut, is_cut) = watch::channel(false);
        let state = Arc::new(State::default());
        let shared = Arc::clone(&state);
        tokio::spawn(async move {
            while let Ok((tablet, _)) = door.accept().await {
                let (mut is_cut, state) = (is_cut.clone(), Arc::clone(&shared));
                if *is_cut.borrow() {
                    continue;
                }
                tokio::spawn(async move {
                    tokio::select! {
                        _ = is_cut.wait_for(|cut| *cut) => {}
                        _ = relay(tablet, server, &state) => {}
                    }
                });
            }
        });
        Self { url, state, cut }
    }

    /// What is under way is torn, and nothing new gets through.
    pub fn cut(&self) {
        self.cut.send_replace(true);
    }
    pub fn restore(&self) {
        self.cut.send_replace(false);
    }
    pub fn fail(&self, sends: usize) {
        self.state.failing.store(sends, SeqCst);
    }
    pub fn lose_an_answer(&self) {
        self.state.losing.store(true, SeqCst);
    }
    pub fn hold_the_answer_to_a_key(&self) {
        self.state.holding.store(true, SeqCst);
    }
    /// Whether a key has come by since.
    pub fn held(&self) -> bool {
        !self.state.holding.load(SeqCst)
    }
    pub fn sends(&self) -> usize {
        self.state.sends.load(SeqCst)
    }
}

async fn relay(mut tablet: TcpStream, server: SocketAddr, state: &State) -> std::io::Result<()> {
    let mut server = TcpStream::connect(server).await?;
    let (mut asked, mut answered) = (vec![0; 64 * 1024], vec![0; 64 * 1024]);
    let mut loses = false;
    loop {
        tokio::select! {
            n = tablet.read(&mut asked) => {
                let n = n?;
                if asked[..n].starts_with(SEND) {
                    state.sends.fetch_add(1, SeqCst);
                    if state.failing.fetch_update(SeqCst, SeqCst, |left| left.checked_sub(1)).is_ok() {
                        return tablet.write_all(FAILED).await;
                    }
                    loses = state.losing.swap(false, SeqCst);
                }
                let keeps_waiting = asked[..n].starts_with(KEY) && state.holding.swap(false, SeqCst);
                if n == 0 { return Ok(()); }
                server.write_all(&asked[..n]).await?;
                if keeps_waiting {
                    // Chromium asks again by itself where a connection breaks: this one only breaks when the page is left.
                    return tablet.read(&mut asked).await.map(drop);
                }
            }
            n = server.read(&mut answered) => {
                let n = n?;
                if n == 0 || loses { return Ok(()); }
                tablet.write_all(&answered[..n]).await?;
            }
        }
    }
}
