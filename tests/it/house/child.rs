//! The real binary as a child process: for what only a process of its own can show, such as being
//! killed, being told to stop, or holding a folder.

use super::Person;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

/// The program.
pub const BINARY: &str = env!("CARGO_BIN_EXE_overwinter");

/// Runs a command of ours to its end, which must come within a minute. What it says is read while it
/// speaks: a pipe that nobody empties would stop it.
pub fn overwinter(arguments: &[&str]) -> Output {
    let mut command = bare(BINARY);
    command
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let process = command.spawn().expect("the binary runs");
    let id = process.id().to_string();
    let (done, ended) = std::sync::mpsc::channel();
    std::thread::spawn(move || done.send(process.wait_with_output()));
    match ended.recv_timeout(Duration::from_secs(60)) {
        Ok(output) => output.expect("what it said"),
        Err(_) => {
            let _ = Command::new("kill").args(["-9", &id]).status();
            panic!("overwinter {arguments:?} did not end")
        }
    }
}

/// Without what the tester's own environment might set.
fn bare(program: &str) -> Command {
    let mut command = Command::new(program);
    for name in ["DATA", "LISTEN", "PUBLIC_URL", "TRUSTED_PROXY", "LOG"] {
        command.env_remove(format!("OVERWINTER_{name}"));
    }
    command
}

/// A running `overwinter serve`. Killed when dropped.
pub struct ChildServer {
    process: Child,
    pub base: String,
    /// Everything it printed before it was ready.
    pub greeting: String,
}

impl ChildServer {
    /// On this folder, on a free port.
    pub fn start(folder: &Path) -> Self {
        Self::start_under(&[], folder)
    }

    /// The same under another program, such as `strace` with its arguments.
    pub fn start_under(wrapper: &[&str], folder: &Path) -> Self {
        Self::launch(wrapper, "serve", folder)
    }

    /// `overwinter demo` on this folder, on a free port.
    pub fn demo(folder: &Path) -> Self {
        Self::launch(&[], "demo", folder)
    }

    fn launch(wrapper: &[&str], verb: &str, folder: &Path) -> Self {
        let mut command = match wrapper.split_first() {
            Some((program, arguments)) => {
                let mut command = bare(program);
                command.args(arguments).arg(BINARY);
                command
            }
            None => bare(BINARY),
        };
        let log = std::fs::File::options()
            .create(true)
            .append(true)
            .open(folder.with_extension("log"))
            .expect("a log beside the folder");
        command
            .args([verb, "--listen", "127.0.0.1:0", "--data"])
            .arg(folder);
        command.stdout(Stdio::piped()).stderr(log);
        let mut process = command.spawn().expect("the server starts");
        let greeting = read_greeting(&mut process).unwrap_or_else(|| {
            let log = std::fs::read_to_string(folder.with_extension("log")).unwrap_or_default();
            panic!("the server ended before it was ready; its log: {log}")
        });
        let mut lines = greeting.lines();
        let base = lines.find_map(|line| line.strip_prefix("Overwinter is at "));
        let base = base.expect("an address").to_owned();
        assert!(
            base.starts_with("http://127.0.0.1:"),
            "no address in {greeting:?}"
        );
        Self {
            process,
            base,
            greeting,
        }
    }

    /// The one-time code that its terminal shows.
    pub fn code(&self) -> &str {
        let (_, code) = self.greeting.split_once("one-time code ").expect("a code");
        code.lines().next().unwrap_or_default()
    }

    /// Somebody with a browser.
    pub fn stranger(&self) -> Person {
        Person::new(&self.base)
    }

    /// Its address without the scheme.
    pub fn address(&self) -> &str {
        self.base.trim_start_matches("http://")
    }

    /// Ends it as a power cut would.
    pub fn kill(self) {
        drop(self);
    }

    /// The server's own process when it runs under another program, which would leave it behind.
    fn wrapped(&self) -> Vec<String> {
        let id = self.process.id();
        let children = std::fs::read_to_string(format!("/proc/{id}/task/{id}/children"));
        let children = children.unwrap_or_default();
        children.split_whitespace().map(str::to_owned).collect()
    }

    /// The most memory that it has taken at once, in MB (VmHWM of proc(5)).
    pub fn most_mb(&self) -> u64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.process.id()));
        let status = status.expect("it is running");
        let line = status.lines().find(|line| line.starts_with("VmHWM"));
        let mut words = line.expect("a line of it").split_whitespace();
        words
            .nth(1)
            .expect("a number")
            .parse::<u64>()
            .expect("a number")
            / 1024
    }

    /// Tells it to stop, as a service manager does.
    pub fn tell_to_stop(&self) {
        let told = Command::new("kill")
            .arg("-TERM")
            .arg(self.process.id().to_string())
            .status();
        assert!(told.expect("kill runs").success());
    }

    /// Waits for its end and says whether it went well.
    pub fn wait(&mut self) -> bool {
        for _ in 0..400 {
            if let Some(status) = self.process.try_wait().expect("its state") {
                return status.success();
            }
            std::thread::sleep(Duration::from_millis(25));
        }
        panic!("the server did not end within ten seconds")
    }
}

impl Drop for ChildServer {
    fn drop(&mut self) {
        for child in self.wrapped() {
            let _ = Command::new("kill").args(["-KILL", &child]).status();
        }
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// Reads until the server says that it is ready.
fn read_greeting(process: &mut Child) -> Option<String> {
    let mut lines = BufReader::new(process.stdout.take().expect("its output is piped"));
    let mut greeting = String::new();
    while !greeting.contains("Ready.") {
        let read = lines.read_line(&mut greeting).expect("a line");
        if read == 0 {
            return None;
        }
    }
    // The rest is read and dropped, so that the child never writes into a closed pipe.
    std::thread::spawn(move || {
        let mut rest = String::new();
        while matches!(lines.read_line(&mut rest), Ok(read) if read > 0) {
            rest.clear();
        }
    });
    Some(greeting)
}
