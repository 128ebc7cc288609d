//! Walls of the house: which room may use which, where SQL may stand, how long a file may be, what stands on top.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

use std::{
    fs,
    path::{Path, PathBuf},
};

/// The rooms, lowest first. Each may use those before it, never those after.
const ROOMS: &[&str] = &[
    "base",
    "db",
    "book",
    "people",
    "roster",
    "reports",
    "rules",
    "shop",
    "oversight",
    "desk",
    "web",
    "pages",
    "api",
    "cli",
];

/// Readers' rooms: they share `web` and `pages::drawn`, never each other.
const READERS: &[&str] = &["crew", "shop", "supervisor", "office"];

fn sources() -> Vec<PathBuf> {
    let mut files = Vec::new();
    collect(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut files);
    assert!(files.len() > 50, "the walk over src found only {} files", files.len());
    files
}

fn collect(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(&path, files);
        } else if path.extension().is_some_and(|e| e == "rs") {
            files.push(path);
        }
    }
}

/// The file's own code: without test modules, without comments.
fn own_code(path: &Path) -> String {
    let text = fs::read_to_string(path).unwrap();
    let code = text.split("#[cfg(test)]\nmod tests").next().unwrap_or_default();
    code.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

fn name(path: &Path) -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    path.strip_prefix(root).unwrap().display().to_string()
}

fn is_test_file(path: &str) -> bool {
    path.ends_with("tests.rs") || path.contains("/tests/") || path.ends_with("sample.rs")
}

/// `crate::a::b` and `crate::{a::b, c}` name rooms a, a and c.
fn rooms_used(code: &str) -> Vec<String> {
    let mut used = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            used.extend(top_level_names(group));
        } else {
            used.push(leading_word(rest));
        }
    }
    used.retain(|room| ROOMS.contains(&room.as_str()));
    used
}

fn leading_word(text: &str) -> String {
    text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

fn top_level_names(group: &str) -> Vec<String> {
    let (mut depth, mut names, mut fresh) = (0, Vec::new(), true);
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => break,
            '}' => depth -= 1,
            ',' if depth == 0 => fresh = true,
            c if fresh && c.is_alphabetic() => {
                names.push(leading_word(&group[at..]));
                fresh = false;
            }
            _ => {}
        }
    }
    names
}

#[test]
fn no_room_uses_one_above_it() {
    let mut broken = Vec::new();
    for path in sources() {
        let file = name(&path);
        let room = file.split(['/', '.']).next().unwrap_or_default().to_owned();
        let Some(own) = ROOMS.iter().position(|r| *r == room) else { continue };
        for used in rooms_used(&own_code(&path)) {
            if ROOMS.iter().position(|r| *r == used).is_some_and(|place| place > own) && !is_test_file(&file)
            {
                broken.push(format!("src/{file} uses {used}, but {room} is below {used}: move what both need down, or the caller up"));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn readers_rooms_do_not_use_each_other() {
    let mut broken = Vec::new();
    for path in sources() {
        let file = name(&path);
        let Some(own) = READERS.iter().find(|r| file.starts_with(&format!("pages/{r}/"))) else { continue };
        let code = own_code(&path);
        for other in READERS.iter().filter(|r| *r != own) {
            if code.contains(&format!("pages::{other}")) || code.contains(&format!("super::super::{other}")) {
                broken.push(format!(
                    "src/{file} uses pages::{other}: what two readers share belongs in web or pages::drawn"
                ));
            }
        }
    }
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn sql_stands_where_it_is_looked_for() {
    let allowed = |file: &str| {
        file.ends_with("store.rs")
            || file.starts_with("db/")
            || file.starts_with("desk/")
            || file == "people/secrets.rs"
    };
    let broken: Vec<String> = sources()
        .iter()
        .filter(|path| !allowed(&name(path)) && own_code(path).contains("sqlx::query"))
        .map(|path| format!("src/{} has SQL: it belongs in the room's store.rs, or in the desk", name(path)))
        .collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn only_the_clock_asks_what_time_it_is() {
    let broken: Vec<String> = sources()
        .iter()
        .filter(|path| name(path) != "base/clock.rs")
        .filter(|path| {
            ["SystemTime::now", "now_utc()", "Timestamp::now"].iter().any(|ask| own_code(path).contains(ask))
        })
        .map(|path| format!("src/{} asks for the time: take it as an argument", name(path)))
        .collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
}

#[test]
fn files_stay_readable() {
    let long: Vec<String> = sources()
        .iter()
        .filter(|path| !is_test_file(&name(path)))
        .map(|path| (name(path), own_code(path).lines().count()))
        .filter(|(_, lines)| *lines > 400)
        .map(|(file, lines)| {
            format!("src/{file} has {lines} lines without its tests: split it by what it is about")
        })
        .collect();
    assert!(long.is_empty(), "{}", long.join("\n"));
}

#[test]
fn the_top_level_holds_what_was_agreed() {
    let agreed = [
        "Cargo.toml",
        "Cargo.lock",
        "LICENSE",
        "README.md",
        "DEVELOPERS.md",
        "src",
        "migrations",
        "templates",
        "static",
        "tests",
        "target",
    ];
    let strangers: Vec<String> = fs::read_dir(env!("CARGO_MANIFEST_DIR"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| !name.starts_with('.') && !agreed.contains(&name.as_str()))
        .collect();
    assert!(strangers.is_empty(), "not agreed for the top level: {}", strangers.join(", "));
}

#[test]
fn the_walls_are_really_looked_at() {
    assert_eq!(rooms_used("use crate::{base::{Instant, Tag}, rules::Finding};"), ["base", "rules"]);
    assert_eq!(rooms_used("let x = crate::desk::Desk::open();"), ["desk"]);
}
