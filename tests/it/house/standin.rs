//! Stand-ins for other people's servers: a webhook's receiver and a mail server, each answering what a
//! test has put on its list, and keeping what came.

use axum::Router;
use axum::body::Bytes;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, Uri};
use axum::response::{IntoResponse, Response};
use std::collections::VecDeque;
use std::io::{BufRead, BufReader as Lines};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};

/// What came to a webhook.
#[derive(Debug, Clone)]
pub struct Received {
    pub path: String,
    pub headers: HeaderMap,
    pub body: Vec<u8>,
}

impl Received {
    /// A header's text.
    #[track_caller]
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).expect(name).to_str().expect("text")
    }

    /// The body as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).expect("JSON")
    }
}

/// How a webhook answers one message.
#[derive(Debug, Clone, Copy)]
pub enum Reply {
    Status(u16),
    /// With 302 to another path of the same server.
    Redirect,
    /// Never: the line stays open.
    Silence,
}

#[derive(Default)]
struct Kept {
    came: Vec<Received>,
    replies: VecDeque<Reply>,
}

/// A webhook's receiver. Answers 200 when nothing else is on its list.
#[derive(Clone)]
pub struct Hook {
    kept: Arc<Mutex<Kept>>,
    pub address: String,
}

impl Hook {
    pub async fn start(replies: &[Reply]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let address = format!("http://{}/take", listener.local_addr().expect("an address"));
        let kept = Kept {
            replies: replies.iter().copied().collect(),
            ..Kept::default()
        };
        let hook = Self {
            kept: Arc::new(Mutex::new(kept)),
            address,
        };
        let service = Router::new().fallback(take).with_state(hook.clone());
        tokio::spawn(async move { axum::serve(listener, service).await });
        hook
    }

    /// Everything that came so far.
    pub fn came(&self) -> Vec<Received> {
        self.kept.lock().expect("unharmed").came.clone()
    }

    /// Waits until so many came.
    pub async fn wait_for(&self, count: usize) -> Vec<Received> {
        for _ in 0..1200 {
            if self.came().len() >= count {
                return self.came();
            }
            tokio::time::sleep(std::time::Duration::from_millis(25)).await;
        }
        panic!("{} of {count} came", self.came().len())
    }
}

async fn take(State(hook): State<Hook>, uri: Uri, headers: HeaderMap, body: Bytes) -> Response {
    let reply = {
        let mut kept = hook.kept.lock().expect("unharmed");
        kept.came.push(Received {
            path: uri.path().to_owned(),
            headers,
            body: body.to_vec(),
        });
        kept.replies.pop_front().unwrap_or(Reply::Status(200))
    };
    match reply {
        Reply::Status(code) => StatusCode::from_u16(code)
            .expect("a status")
            .into_response(),
        Reply::Redirect => (StatusCode::FOUND, [("location", "/elsewhere")]).into_response(),
        Reply::Silence => std::future::pending().await,
    }
}

/// A mail that came: who it is from and to by the envelope, and its lines.
#[derive(Debug, Clone, Default)]
pub struct Mail {
    pub from: String,
    pub to: String,
    pub text: String,
}

/// A mail server that speaks as RFC 5321 says, without TLS. Takes a mail unless an answer to its data
/// is on the list.
#[derive(Clone)]
pub struct Post {
    came: Arc<Mutex<Vec<Mail>>>,
    answers: Arc<Mutex<VecDeque<&'static str>>>,
    pub port: u16,
}

impl Post {
    pub async fn start(answers: &[&'static str]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let post = Self {
            came: Arc::default(),
            answers: Arc::new(Mutex::new(answers.iter().copied().collect())),
            port,
        };
        let serving = post.clone();
        tokio::spawn(async move {
            while let Ok((line, _)) = listener.accept().await {
                tokio::spawn(serving.clone().talk(line));
            }
        });
        post
    }

    /// The mails that were taken.
    pub fn came(&self) -> Vec<Mail> {
        self.came.lock().expect("unharmed").clone()
    }

    async fn talk(self, line: TcpStream) -> std::io::Result<()> {
        let (read, mut write) = line.into_split();
        let mut lines = BufReader::new(read).lines();
        write.write_all(b"220 post.example ready\r\n").await?;
        let mut mail = Mail::default();
        while let Some(said) = lines.next_line().await? {
            let upper = said.to_ascii_uppercase();
            let answer = match upper.get(..4).unwrap_or_default() {
                "EHLO" => "250-post.example\r\n250 8BITMIME",
                "MAIL" => {
                    mail.from = said;
                    "250 ok"
                }
                "RCPT" => {
                    mail.to = said;
                    "250 ok"
                }
                "DATA" => {
                    write.write_all(b"354 go on\r\n").await?;
                    mail.text = data(&mut lines).await?;
                    let answer = self.answers.lock().expect("unharmed").pop_front();
                    if answer.is_none() {
                        self.came.lock().expect("unharmed").push(mail.clone());
                    }
                    answer.unwrap_or("250 taken")
                }
                "QUIT" => {
                    write.write_all(b"221 bye\r\n").await?;
                    return Ok(());
                }
                _ => "250 ok",
            };
            write.write_all(format!("{answer}\r\n").as_bytes()).await?;
        }
        Ok(())
    }
}

/// The lines of a mail up to the point that ends it (RFC 5321 §4.5.2).
async fn data(
    lines: &mut tokio::io::Lines<BufReader<tokio::net::tcp::OwnedReadHalf>>,
) -> std::io::Result<String> {
    let mut text = String::new();
    while let Some(line) = lines.next_line().await? {
        if line == "." {
            break;
        }
        text.push_str(line.strip_prefix('.').unwrap_or(&line));
        text.push_str("\r\n");
    }
    Ok(text)
}

/// A webhook's receiver or a mail server behind TLS, with a certificate that nobody vouches for. A receiver
/// answers 204.
pub struct SecureHook {
    process: Child,
    taken: Arc<AtomicUsize>,
    pub port: u16,
}

impl SecureHook {
    /// How many messages it took.
    pub fn taken(&self) -> usize {
        self.taken.load(Ordering::SeqCst)
    }
}

impl Drop for SecureHook {
    fn drop(&mut self) {
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

const SECURE: &str = "
import http.server, ssl, sys
class Take(http.server.BaseHTTPRequestHandler):
    def do_POST(self):
        self.rfile.read(int(self.headers['content-length']))
        self.send_response(204)
        self.end_headers()
        print('taken', flush=True)
    def log_message(self, *said):
        pass
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(sys.argv[1], sys.argv[2])
server = http.server.HTTPServer(('127.0.0.1', 0), Take)
server.socket = context.wrap_socket(server.socket, server_side=True)
print(server.server_port, flush=True)
server.serve_forever()
";

const CERTIFICATE: &str = "
[req]
distinguished_name = name
x509_extensions = leaf
prompt = no
[name]
CN = localhost
[leaf]
basicConstraints = critical, CA:FALSE
subjectAltName = DNS:localhost
";

/// A mail server behind TLS: at once, or after STARTTLS (RFC 3207). Before TLS it takes no mail and no
/// password; it takes mail only from the name runa with the password marmot (RFC 4616).
const SECURE_POST: &str = "
import base64, socket, ssl, sys
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(sys.argv[1], sys.argv[2])
how = sys.argv[3]
server = socket.create_server(('127.0.0.1', 0))
print(server.getsockname()[1], flush=True)
def talk(line):
    is_safe, is_known = how == 'full', False
    if is_safe:
        line = context.wrap_socket(line, server_side=True)
    file = line.makefile('rwb', 0)
    say = lambda words: file.write(words.encode() + b'\\r\\n')
    say('220 post.example ready')
    for said in iter(lambda: file.readline(), b''):
        word = said.strip().upper()
        if word.startswith(b'EHLO'):
            say('250-post.example')
            say('250 AUTH PLAIN' if is_safe else '250 STARTTLS')
        elif word == b'STARTTLS' and not is_safe:
            say('220 go on')
            line = context.wrap_socket(line, server_side=True)
            file = line.makefile('rwb', 0)
            is_safe = True
        elif word == b'QUIT':
            return say('221 bye')
        elif not is_safe:
            say('530 begin TLS first')
        elif word.startswith(b'AUTH PLAIN'):
            is_known = base64.b64decode(said.split()[2]) == b'\\0runa\\0marmot'
            say('235 welcome' if is_known else '535 no')
        elif word == b'DATA' and is_known:
            say('354 go on')
            while file.readline().strip() != b'.':
                pass
            say('250 taken')
            print('taken', flush=True)
        else:
            say('250 ok' if is_known else '530 who are you')
while True:
    line, _ = server.accept()
    try:
        talk(line)
    except OSError:
        pass
";

/// An archive behind TLS that answers every question with one file.
const SECURE_ARCHIVE: &str = "
import http.server, ssl, sys
class Give(http.server.BaseHTTPRequestHandler):
    def do_GET(self):
        answer = open(sys.argv[3], 'rb').read()
        self.send_response(200)
        self.send_header('content-type', 'application/json')
        self.send_header('content-length', str(len(answer)))
        self.end_headers()
        self.wfile.write(answer)
        print('taken', flush=True)
    def log_message(self, *said):
        pass
context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
context.load_cert_chain(sys.argv[1], sys.argv[2])
server = http.server.HTTPServer(('127.0.0.1', 0), Give)
server.socket = context.wrap_socket(server.socket, server_side=True)
print(server.server_port, flush=True)
server.serve_forever()
";

/// Starts an archive that gives this file.
pub fn secure_archive(folder: &Path, answer: &Path) -> (PathBuf, SecureHook) {
    secure(
        folder,
        SECURE_ARCHIVE,
        answer.to_str().expect("a plain path"),
    )
}

/// Starts a webhook's receiver, with its certificate in this folder.
pub fn secure_hook(folder: &Path) -> (PathBuf, SecureHook) {
    secure(folder, SECURE, "")
}

/// Starts a mail server; `how` is `full` or `start`.
pub fn secure_post(folder: &Path, how: &str) -> (PathBuf, SecureHook) {
    secure(folder, SECURE_POST, how)
}

fn secure(folder: &Path, script: &str, how: &str) -> (PathBuf, SecureHook) {
    let (settings, certificate) = (folder.join("leaf.cnf"), folder.join("leaf.pem"));
    let key = folder.join("leaf.key");
    std::fs::write(&settings, CERTIFICATE).expect("it is written");
    let made = Command::new("openssl")
        .args([
            "req",
            "-x509",
            "-newkey",
            "ec",
            "-pkeyopt",
            "ec_paramgen_curve:P-256",
        ])
        .args(["-nodes", "-days", "2", "-config"])
        .arg(&settings)
        .arg("-out")
        .arg(&certificate)
        .arg("-keyout")
        .arg(&key)
        .output()
        .expect("openssl runs");
    assert!(
        made.status.success(),
        "{}",
        String::from_utf8_lossy(&made.stderr)
    );
    let mut process = Command::new("python3")
        .args(["-c", script])
        .args([&certificate, &key])
        .arg(how)
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("python3 runs");
    let mut lines = Lines::new(process.stdout.take().expect("a pipe")).lines();
    let port = lines.next().expect("a line").expect("text");
    let taken = Arc::new(AtomicUsize::new(0));
    let count = Arc::clone(&taken);
    std::thread::spawn(move || {
        for _ in lines {
            count.fetch_add(1, Ordering::SeqCst);
        }
    });
    let port = port.parse().expect("a port");
    (
        certificate,
        SecureHook {
            process,
            taken,
            port,
        },
    )
}
