//! Calendar files read by a library that is not ours: ical.js, run by node. `tests/ical` (called by
//! `tests/run`) fetches it.

use serde_json::Value;
use std::io::Write;
use std::process::{Command, Stdio};

/// Reads a calendar from standard input and writes its events as JSON. It stops at whatever does not
/// read, and at a line longer than RFC 5545 §3.1 allows.
const READ: &str = r"
import { readFileSync } from 'node:fs';
import ICAL from 'ical.js';
const file = readFileSync(0, 'utf8');
for (const line of file.split('\r\n'))
    if (Buffer.byteLength(line) > 75) throw new Error('a line of ' + Buffer.byteLength(line) + ' octets');
ICAL.design.strict = true;
const calendar = new ICAL.Component(ICAL.parse(file));
const events = calendar.getAllSubcomponents('vevent').map((part) => {
    const event = new ICAL.Event(part);
    return {
        uid: event.uid, summary: event.summary, description: event.description,
        sequence: event.sequence, start: event.startDate.toString(), end: event.endDate.toString(),
        whole_days: event.startDate.isDate && event.endDate.isDate,
        url: part.getFirstPropertyValue('url'),
        days: event.duration.toSeconds() / 86400,
        stamp: part.getFirstPropertyValue('dtstamp').toJSDate().toISOString(),
    };
});
process.stdout.write(JSON.stringify({ version: calendar.getFirstPropertyValue('version'), events }));
";

/// The events of a calendar file.
///
/// # Panics
/// When the library cannot read it.
pub fn events(file: &[u8]) -> Vec<Value> {
    let there = concat!(env!("CARGO_MANIFEST_DIR"), "/target/npm-ical");
    let mut node = Command::new("node")
        .args(["--input-type=module", "--eval", READ])
        .current_dir(there)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("node runs, and tests/ical has fetched ical.js");
    let mut input = node.stdin.take().expect("a pipe");
    input.write_all(file).expect("it takes the file");
    drop(input);
    let said = node.wait_with_output().expect("it ends");
    let why = String::from_utf8_lossy(&said.stderr);
    assert!(
        said.status.success(),
        "{why}\n{}",
        String::from_utf8_lossy(file)
    );
    let read: Value = serde_json::from_slice(&said.stdout).expect("JSON");
    assert_eq!(read["version"], "2.0");
    read["events"].as_array().expect("a list").clone()
}
