//! A line between a browser and a server that can be cut: a fixed address, so that the browser keeps
//! its database, in front of servers that come and go. Chromium's own offline switch does not reach a
//! service worker; a closed socket does.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;

/// Where the line leads; `None` while it is cut.
type Far = Option<String>;

/// The line. Cut for good when dropped.
pub struct Line {
    /// What the browser is told.
    pub base: String,
    far: watch::Sender<Far>,
    noise: Arc<Noise>,
}

/// Cuts connections in the middle of what they carry, in both directions.
struct Noise {
    is_on: AtomicBool,
    state: AtomicU64,
    cuts: AtomicU64,
}

impl Noise {
    /// After how many bytes the next connection breaks; one in five lives.
    fn next_cut(&self) -> Option<u64> {
        if !self.is_on.load(Ordering::Relaxed) {
            return None;
        }
        // Marsaglia's xorshift64; a test wants variety, not secrecy.
        let mut x = self.state.load(Ordering::Relaxed);
        x ^= x << 13;
        x ^= x >> 7;
        x ^= x << 17;
        self.state.store(x, Ordering::Relaxed);
        if x.is_multiple_of(5) {
            return None;
        }
        self.cuts.fetch_add(1, Ordering::Relaxed);
        Some(x % 40_000)
    }
}

impl Line {
    /// A line to a server such as `127.0.0.1:4711`.
    pub async fn to(address: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let base = format!("http://{}", listener.local_addr().expect("an address"));
        let (far, near) = watch::channel(Some(address.to_owned()));
        let noise = Arc::new(Noise {
            is_on: AtomicBool::new(false),
            state: AtomicU64::new(0x9E37_79B9_7F4A_7C15),
            cuts: AtomicU64::new(0),
        });
        tokio::spawn(carry_all(listener, near, Arc::clone(&noise)));
        Self { base, far, noise }
    }

    /// Cuts it: what is open breaks, what is asked is refused.
    pub fn cut(&self) {
        self.far.send_replace(None);
    }

    /// Leads to a server again, or to another one; what is open breaks.
    pub fn lead_to(&self, address: &str) {
        self.far.send_replace(Some(address.to_owned()));
    }

    /// How many connections were marked to break in the middle.
    pub fn cuts(&self) -> u64 {
        self.noise.cuts.load(Ordering::Relaxed)
    }

    /// Whether connections break at random from now on.
    pub fn set_noise(&self, is_on: bool) {
        self.noise.is_on.store(is_on, Ordering::Relaxed);
    }
}

async fn carry_all(listener: TcpListener, mut near: watch::Receiver<Far>, noise: Arc<Noise>) {
    loop {
        tokio::select! {
            accepted = listener.accept() => {
                let Ok((browser, _)) = accepted else { return };
                let far = near.borrow_and_update().clone();
                match far {
                    Some(address) => {
                        let cut = noise.next_cut();
                        tokio::spawn(carry(browser, address, near.clone(), cut));
                    }
                    None => drop(browser),
                }
            }
            ended = near.changed() => if ended.is_err() { return },
        }
    }
}

/// Carries one connection until it ends, the line changes or its cut comes.
async fn carry(
    mut browser: TcpStream,
    address: String,
    mut near: watch::Receiver<Far>,
    cut: Option<u64>,
) {
    let Ok(mut server) = TcpStream::connect(&address).await else {
        return;
    };
    let both = async {
        match cut {
            None => {
                let _ = tokio::io::copy_bidirectional(&mut browser, &mut server).await;
            }
            Some(bytes) => carry_some(&mut browser, &mut server, bytes).await,
        }
    };
    tokio::select! {
        () = both => {}
        _ = near.changed() => {}
    }
}

/// Carries so many bytes, both ways together, then drops the connection.
async fn carry_some(browser: &mut TcpStream, server: &mut TcpStream, bytes: u64) {
    let (mut up, mut down) = ([0; 1024], [0; 1024]);
    let mut left = usize::try_from(bytes).expect("fits");
    while left > 0 {
        let carried = tokio::select! {
            read = browser.read(&mut up) => match read {
                Ok(n) if n > 0 => server.write_all(&up[..n.min(left)]).await.map(|()| n),
                _ => return,
            },
            read = server.read(&mut down) => match read {
                Ok(n) if n > 0 => browser.write_all(&down[..n.min(left)]).await.map(|()| n),
                _ => return,
            },
        };
        let Ok(n) = carried else { return };
        left = left.saturating_sub(n);
    }
    // What was sent last may still be worked on when the line breaks.
    tokio::time::sleep(Duration::from_millis(5)).await;
}
