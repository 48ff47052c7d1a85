//! The rules of the code itself: which room may use which, where SQL, time and chance may stand,
//! how files open and how long they get.

use std::fs;
use std::path::Path;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file of this kind below a folder, with its path from the top and its text.
fn files(folder: &str, ending: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        let Ok(entries) = fs::read_dir(&folder) else {
            continue;
        };
        for path in entries.map(|entry| entry.expect("an entry").path()) {
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|found| found == ending) {
                found.push((name_of(&path), fs::read_to_string(&path).expect("text")));
            }
        }
    }
    found.sort();
    found
}

fn name_of(path: &Path) -> String {
    path.strip_prefix(root())
        .expect("below the top")
        .to_string_lossy()
        .into_owned()
}

/// The lines that are code: no comments, and nothing from the inline tests on.
fn code_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let lines = text
        .lines()
        .enumerate()
        .map(|(index, line)| (index + 1, line));
    lines
        .take_while(|(_, line)| line.trim() != "#[cfg(test)]")
        .filter(|(_, line)| !line.trim_start().starts_with("//"))
}

/// Places in the code of `folder` that hold one of these words.
fn places(folder: &str, words: &[&str]) -> Vec<String> {
    let mut found = Vec::new();
    for (name, text) in files(folder, "rs") {
        for (number, line) in code_lines(&text) {
            if words.iter().any(|word| line.contains(word)) {
                found.push(format!("{name}:{number}: {}", line.trim()));
            }
        }
    }
    found
}

#[test]
fn each_room_uses_only_what_stands_below_it() {
    let rooms = [
        "stats",
        "mechanics",
        "study",
        "store",
        "analysis",
        "tidy",
        "report",
        "remind",
        "web",
        "commands",
    ];
    let allowed: &[(&str, &[&str])] = &[
        ("stats", &[]),
        ("mechanics", &[]),
        ("study", &[]),
        ("store", &["study"]),
        ("analysis", &["study", "stats", "mechanics"]),
        ("tidy", &["analysis", "study"]),
        ("report", &["analysis", "study"]),
        ("remind", &["store", "study"]),
        (
            "web",
            &[
                "report",
                "remind",
                "store",
                "tidy",
                "analysis",
                "study",
                "stats",
                "mechanics",
            ],
        ),
    ];
    for (room, below) in allowed {
        for other in rooms
            .iter()
            .filter(|other| *other != room && !below.contains(other))
        {
            let words = [format!("crate::{other}"), format!("overwinter::{other}")];
            let words: Vec<&str> = words.iter().map(String::as_str).collect();
            let found = places(&format!("src/{room}"), &words);
            assert!(found.is_empty(), "{room} uses {other}: {found:#?}");
        }
    }
}

#[test]
fn the_pure_rooms_do_no_input_or_output() {
    for room in ["stats", "mechanics", "study", "analysis", "tidy"] {
        let io = [
            "std::fs",
            "std::net",
            "std::env",
            "tokio::",
            "axum::",
            "sqlx::",
            "reqwest::",
        ];
        let found = places(&format!("src/{room}"), &io);
        assert!(found.is_empty(), "{found:#?}");
    }
}

#[test]
fn sql_stands_only_in_the_store() {
    let sql = [
        "sqlx::",
        "query!(",
        "\"select ",
        "\"insert ",
        "\"update ",
        "\"delete ",
        "\"pragma ",
    ];
    let stray: Vec<_> = places("src", &sql)
        .into_iter()
        .filter(|p| !p.starts_with("src/store/"))
        .collect();
    assert!(stray.is_empty(), "{stray:#?}");
    let words = [
        "sqlx::query!",
        "\"select ",
        "\"insert ",
        "\"update ",
        "\"delete ",
    ];
    for word in words {
        assert!(
            !places("src/store", &[word]).is_empty(),
            "{word} would not be seen"
        );
    }
}

/// A table that is made but not dropped would stop every rebuild.
#[test]
fn every_projected_table_is_dropped_before_those_that_it_points_to() {
    let schema = std::fs::read_to_string(root().join("src/store/projection.sql")).unwrap();
    let names = |start: &str| -> Vec<String> {
        let lines = schema.lines().filter_map(|line| line.strip_prefix(start));
        let name = |rest: &str| rest.split([' ', ';']).next().unwrap().to_owned();
        lines.map(name).collect()
    };
    let (mut dropped, mut made) = (names("drop table if exists "), names("create table "));
    let mut in_order = Vec::new();
    for statement in schema.split("create table ").skip(1) {
        let own = statement.split(' ').next().unwrap();
        let parents = statement.split("references ").skip(1);
        in_order.extend(parents.map(|rest| (own, rest.split(' ').next().unwrap())));
    }
    let place = |name: &str| dropped.iter().position(|one| one == name);
    assert!(in_order.len() > 20, "{in_order:?}");
    for (child, parent) in in_order
        .into_iter()
        .filter(|(child, parent)| child != parent)
    {
        assert!(
            place(child) < place(parent),
            "{child} is dropped after {parent}"
        );
    }
    dropped.sort();
    made.sort();
    assert_eq!(dropped, made);
}

#[test]
fn time_and_chance_come_from_the_clock_alone() {
    let words = [
        "Utc::now",
        "Local::now",
        "SystemTime::now",
        "getrandom::",
        "now_v7",
        "new_v4",
    ];
    let found = places("src", &words);
    let stray: Vec<_> = found
        .iter()
        .filter(|place| !place.starts_with("src/clock.rs"))
        .collect();
    assert!(stray.is_empty(), "{stray:#?}");
    assert!(
        stray.len() < found.len(),
        "this test looks at the right words"
    );
}

#[test]
fn escaping_is_never_off() {
    for (name, text) in files("templates", "html") {
        assert!(
            !text.contains("|safe") && !text.contains("| safe"),
            "{name}"
        );
        for inline in ["<style", "style=\"", "onclick=", "onload=", "javascript:"] {
            assert!(!text.contains(inline), "{name} holds {inline}");
        }
        for script in text.match_indices("<script") {
            let tag = text[script.0..].split('>').next().unwrap_or_default();
            // A block of data is no script: a browser runs nothing of it (HTML, "data block").
            let is_data = tag.contains(" type=\"application/ld+json\"");
            assert!(
                tag.contains(" src=") || is_data,
                "{name} holds a script of its own"
            );
        }
    }
    assert!(places("src", &["escape = \"none\""]).is_empty());
}

#[test]
fn every_template_is_used_by_exactly_one_struct_and_static_files_are_all_served() {
    let sources = files("src", "rs");
    let code: String = sources.iter().map(|(_, text)| text.as_str()).collect();
    for (name, _) in files("templates", "html") {
        let name = name.trim_start_matches("templates/");
        let uses = code.matches(&format!("path = \"{name}\"")).count();
        let is_part = name == "base.html"
            || name == "public/public_base.html"
            || name == "public/edition_end.html"
            || name == "public/edition_other.html"
            || name == "public/edition_stages.html"
            || name.starts_with("macros/");
        assert_eq!(uses, usize::from(!is_part), "{name}");
    }
    let assets = fs::read_to_string(root().join("src/web/assets.rs")).expect("the list");
    for file in fs::read_dir(root().join("static")).expect("static files") {
        let file = file.expect("a file");
        if file.path().is_dir() {
            // The font is part of the binary: figures are drawn with it, no browser asks for it.
            continue;
        }
        let name = file.file_name().to_string_lossy().into_owned();
        assert!(
            assets.contains(&format!("\"{name}\"")),
            "{name} is not served"
        );
    }
    for (page, text) in files("templates", "html") {
        for asked in text.split("assets::address(\"").skip(1) {
            let asked = asked.split('"').next().unwrap_or_default();
            assert!(
                assets.contains(&format!("name: \"{asked}\"")),
                "{page} asks for {asked}"
            );
        }
    }
}

#[test]
fn every_file_says_what_lives_in_it() {
    for (name, text) in files("src", "rs").iter().chain(&files("tests", "rs")) {
        assert!(text.starts_with("//! "), "{name} does not open with //!");
    }
    for (name, text) in files("migrations", "sql") {
        assert!(
            text.starts_with("-- "),
            "{name} does not open with a comment"
        );
    }
}

#[test]
fn files_and_functions_fit() {
    let mut long = Vec::new();
    // Tests are read as tables; the rows of routes are one list that rustfmt makes tall.
    let is_table = |name: &str| name.ends_with("tests.rs") || name.starts_with("src/web/routes/");
    for (name, text) in files("src", "rs")
        .into_iter()
        .filter(|(name, _)| !is_table(name))
    {
        let lines = code_lines(&text)
            .map(|(number, _)| number)
            .last()
            .unwrap_or(0);
        if lines > 400 {
            long.push(format!("{name}: {lines} lines"));
        }
        for (start, length) in functions(&text) {
            if length > 60 {
                long.push(format!("{name}:{start}: a function of {length} lines"));
            }
        }
    }
    assert!(long.is_empty(), "{long:#?}");
}

/// First line and length of each function, by its indentation: rustfmt closes a function with a
/// brace alone on a line, as far in as its `fn`.
fn functions(text: &str) -> Vec<(usize, usize)> {
    let lines: Vec<&str> = text.lines().collect();
    let mut found = Vec::new();
    for (index, line) in lines.iter().enumerate() {
        let bare = line.trim_start();
        let indent = line.len() - bare.len();
        let words = ["pub ", "pub(crate) ", "pub(super) ", "pub(in crate::web) "];
        let bare = words
            .iter()
            .find_map(|word| bare.strip_prefix(word))
            .unwrap_or(bare);
        let bare = bare.strip_prefix("const ").unwrap_or(bare);
        let bare = bare.strip_prefix("async ").unwrap_or(bare);
        if !bare.starts_with("fn ") {
            continue;
        }
        let close = format!("{}}}", " ".repeat(indent));
        if let Some(length) = lines[index..].iter().position(|line| *line == close) {
            found.push((index + 1, length + 1));
        }
    }
    found
}

#[test]
fn nothing_is_left_for_later_and_no_machine_is_named() {
    let marks = ["todo!", "unimplemented!", "#[allow(", "dbg!("];
    assert!(
        places("src", &marks).is_empty(),
        "{:#?}",
        places("src", &marks)
    );
    let machine = ["/home/", "/root/", "/tmp/"];
    for (ending, folder) in [
        ("rs", "src"),
        ("html", "templates"),
        ("css", "static"),
        ("sql", "migrations"),
    ] {
        for (name, text) in files(folder, ending) {
            for path in machine {
                assert!(!text.contains(path), "{name} names {path}");
            }
        }
    }
}

#[test]
fn the_measuring_of_functions_measures() {
    let text = "fn short() {\n    a();\n}\n\nimpl A {\n    pub async fn long(\n        x: u8,\n    ) {\n        b();\n    }\n}\n";
    assert_eq!(functions(text), [(1, 3), (6, 5)]);
}
