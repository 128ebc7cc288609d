//! A mail server and a receiver of webhooks, as small as they can be, on this machine.
use std::{
    sync::{
        Arc, Mutex,
        atomic::{AtomicBool, AtomicUsize, Ordering::SeqCst},
    },
    time::Duration,
};

use tokio::{
    io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader},
    net::{TcpListener, TcpStream},
};

/// What it was given, and whether it answers.
#[derive(Clone, Default)]
pub struct Mailbox {
    pub letters: Arc<Mutex<Vec<String>>>,
    /// Takes a letter and never says so.
    pub mute: Arc<AtomicBool>,
    /// Takes none.
    pub refuses: Arc<AtomicBool>,
}

impl Mailbox {
    /// Listens on a port, any free one for 0; which.
    pub async fn open(&self, port: u16) -> u16 {
        let listener = TcpListener::bind(("127.0.0.1", port)).await.unwrap();
        let port = listener.local_addr().unwrap().port();
        let it = self.clone();
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let it = it.clone();
                tokio::spawn(async move { it.talk(stream).await });
            }
        });
        port
    }

    async fn talk(&self, stream: TcpStream) -> Option<()> {
        let (read, mut write) = stream.into_split();
        let mut lines = BufReader::new(read).lines();
        let (mut letter, mut in_letter) = (String::new(), false);
        write.write_all(b"220 fake\r\n").await.ok()?;
        while let Some(line) = lines.next_line().await.ok()? {
            if in_letter && line != "." {
                letter.push_str(&line);
                letter.push('\n');
                continue;
            }
            let word = line.split(' ').next().unwrap_or_default();
            let answer = match word {
                "." if self.refuses.load(SeqCst) => {
                    in_letter = false;
                    "554 not this"
                }
                "." => {
                    self.letters.lock().unwrap().push(plain(&std::mem::take(&mut letter)));
                    in_letter = false;
                    if self.mute.load(SeqCst) {
                        std::future::pending::<()>().await;
                    }
                    "250 kept"
                }
                "RCPT" => {
                    letter = format!("{line}\n");
                    "250 fine"
                }
                "DATA" => {
                    in_letter = true;
                    "354 go on"
                }
                "QUIT" => "221 bye",
                "EHLO" => "250 8BITMIME",
                _ => "250 fine",
            };
            write.write_all(format!("{answer}\r\n").as_bytes()).await.ok()?;
        }
        Some(())
    }

    pub fn read(&self) -> Vec<String> {
        self.letters.lock().unwrap().clone()
    }
}

/// Quoted-printable undone, as far as these letters have it.
fn plain(letter: &str) -> String {
    letter.replace("=\n", "").replace("=3D", "=")
}

/// A header's value.
pub fn header<'a>(message: &'a str, name: &str) -> &'a str {
    let found = message.lines().find_map(|line| {
        let (own, value) = line.split_once(": ")?;
        own.eq_ignore_ascii_case(name).then_some(value)
    });
    found.unwrap_or_else(|| panic!("no {name} in {message}"))
}

/// How a receiver answers.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Answers {
    Never,
    Status(u16),
    /// 200, and then so much that nobody should read it.
    Endlessly,
}

#[derive(Clone)]
pub struct Receiver {
    pub url: String,
    /// Whole requests, head and body.
    pub got: Arc<Mutex<Vec<String>>>,
    /// Bytes of the endless answer that were taken.
    pub taken: Arc<AtomicUsize>,
    pub answers: Arc<Mutex<Answers>>,
}

impl Receiver {
    pub async fn open(answers: Answers) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let url = format!("http://127.0.0.1:{}/in?token=seen", listener.local_addr().unwrap().port());
        let (got, taken, answers) = (Arc::default(), Arc::default(), Arc::new(Mutex::new(answers)));
        let it = Self { url, got, taken, answers };
        let own = it.clone();
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let own = own.clone();
                tokio::spawn(async move { own.talk(stream).await });
            }
        });
        it
    }

    async fn talk(&self, mut stream: TcpStream) -> Option<()> {
        let mut got = Vec::new();
        let mut part = [0; 4096];
        let whole = loop {
            let n = stream.read(&mut part).await.ok().filter(|n| *n > 0)?;
            got.extend_from_slice(&part[..n]);
            let text = String::from_utf8_lossy(&got).into_owned();
            let (head, body) = text.split_once("\r\n\r\n").unwrap_or((&text, ""));
            let length =
                head.lines().find_map(|l| l.to_lowercase().strip_prefix("content-length: ")?.parse().ok());
            if length.is_some_and(|length: usize| body.len() >= length) {
                break text;
            }
        };
        self.got.lock().unwrap().push(whole.replace("\r\n", "\n"));
        let answers = *self.answers.lock().unwrap();
        let head = |status| format!("HTTP/1.1 {status} So\r\nlocation: {}\r\ncontent-length: ", self.url);
        match answers {
            Answers::Never => std::future::pending::<()>().await,
            Answers::Status(status) => {
                stream.write_all(format!("{}0\r\n\r\n", head(status)).as_bytes()).await.ok()?
            }
            Answers::Endlessly => {
                stream.write_all(format!("{}50000000\r\n\r\n", head(200)).as_bytes()).await.ok()?;
                for _ in 0..50 {
                    stream.write_all(&[b'x'; 1_000_000]).await.ok()?;
                    self.taken.fetch_add(1_000_000, SeqCst);
                    tokio::time::sleep(Duration::from_millis(1)).await;
                }
            }
        }
        Some(())
    }

    pub fn read(&self) -> Vec<String> {
        self.got.lock().unwrap().clone()
    }
}
