//! Mails read by a library that is not ours: Python's own `email`.

use serde_json::Value;
use std::io::Write;
use std::process::{Command, Stdio};

const READ: &str = "
import email, email.policy, json, sys
mail = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)
assert not mail.defects, mail.defects
print(json.dumps({
    'subject': mail['subject'], 'to': mail['to'], 'id': mail['message-id'],
    'auto': mail['auto-submitted'], 'text': mail.get_content(),
}))
";

/// The mail's head and text.
///
/// # Panics
/// When the library finds a defect in it.
pub fn read(mail: &str) -> Value {
    let mut python = Command::new("python3")
        .args(["-c", READ])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("python3 runs");
    let mut input = python.stdin.take().expect("a pipe");
    input.write_all(mail.as_bytes()).expect("it takes the mail");
    drop(input);
    let said = python.wait_with_output().expect("it ends");
    let why = String::from_utf8_lossy(&said.stderr);
    assert!(said.status.success(), "{why}\n{mail}");
    serde_json::from_slice(&said.stdout).expect("JSON")
}
