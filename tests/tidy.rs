//! The rules of the house, read off its sources.

mod imports;
mod map;

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

/// The longest that a source file may be.
const LINES_MAX: usize = 500;
/// Rooms that are doors, and what of the application they may know: what it asks for, and the values that it goes by.
const DOORS: [(&str, &[&str]); 5] = [
    ("adapters/settings", &["app::settings"]),
    ("adapters/intake", &["app::ports"]),
    ("adapters/weather", &["app::ports"]),
    ("adapters/sqlite", &["app::ports"]),
    ("adapters/delivery", &["app::ports"]),
];
/// The quiet wing, in reading order: each module uses only those above it.
const DOMAIN: [&str; 11] = [
    "units",
    "season",
    "local_time",
    "catalogue",
    "physics",
    "boat",
    "yard",
    "weather",
    "risk",
    "alert",
    "message",
];
/// Rooms that may wire.
const WIRING: [&str; 4] = ["app", "daemon", "sim", "cli"];

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    let mut open = vec![folder.to_path_buf()];
    while let Some(next) = open.pop() {
        for entry in fs::read_dir(&next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == "rs") {
                let text = fs::read_to_string(&path).unwrap();
                found.push((path.strip_prefix(root()).unwrap().to_path_buf(), text));
            }
        }
    }
    found.sort();
    found
}

/// The room of a source file: `domain/risk` or `store`.
fn room(path: &Path) -> String {
    let parts: Vec<String> =
        path.iter().map(|p| p.to_string_lossy().trim_end_matches(".rs").to_owned()).collect();
    match parts.get(1).map(String::as_str) {
        Some(wing @ ("domain" | "adapters")) if parts.len() > 2 => format!("{wing}/{}", parts[2]),
        Some(first) => first.to_owned(),
        None => String::new(),
    }
}

/// Code without comments and without the unit tests at the end.
fn code(text: &str) -> String {
    let body = text.split("#[cfg(test)]\nmod tests").next().unwrap_or(text);
    body.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

fn uses(code: &str, path: &str) -> bool {
    code.match_indices(path).any(|(at, _)| {
        let after = code[at + path.len()..].chars().next();
        !after.is_some_and(|c| c.is_alphanumeric() || c == '_')
    })
}

#[test]
fn the_quiet_wing_knows_no_door_and_no_outside() {
    let outside = [
        "tokio",
        "reqwest",
        "rusqlite",
        "axum",
        "tracing",
        "lettre",
        "std::fs",
        "std::net",
        "std::env",
        "std::time::SystemTime",
        "Utc::now",
    ];
    for (path, text) in sources(&root().join("src/domain")) {
        let code = code(&text);
        for door in DOORS.map(|(door, _)| door).into_iter().chain(WIRING) {
            let door = door.replace('/', "::");
            assert!(!uses(&code, &format!("crate::{door}")), "{} uses {door}", path.display());
        }
        for name in outside {
            let used = uses(&code, &format!("{name}::")) || uses(&code, &format!("use {name}"));
            assert!(!used, "{} uses {name}", path.display());
        }
    }
}

#[test]
fn a_module_of_the_quiet_wing_uses_only_those_above_it() {
    for (path, text) in sources(&root().join("src/domain")) {
        let room = room(&path);
        let Some(own) = DOMAIN.iter().position(|name| room == format!("domain/{name}")) else {
            continue;
        };
        let code = code(&text);
        for below in &DOMAIN[own + 1..] {
            let used = uses(&code, &format!("crate::domain::{below}"));
            assert!(!used, "{} reaches down to {below}", path.display());
        }
    }
}

#[test]
fn doors_know_the_quiet_wing_and_the_ports_and_never_each_other() {
    for (path, text) in sources(&root().join("src")) {
        let room = room(&path);
        let Some((_, known)) = DOORS.iter().find(|(door, _)| *door == room) else { continue };
        let mut code = code(&text);
        for known in *known {
            code = code.replace(&format!("crate::{known}"), "");
        }
        let others = DOORS.map(|(door, _)| door).into_iter().chain(WIRING);
        for other in others.filter(|other| *other != room) {
            let other = other.replace('/', "::");
            assert!(!uses(&code, &format!("crate::{other}")), "{} uses {other}", path.display());
        }
    }
}

#[test]
fn read_models_know_the_quiet_wing_only() {
    let mut files = sources(&root().join("src/views"));
    files.push(("src/views.rs".into(), fs::read_to_string(root().join("src/views.rs")).unwrap()));
    for (path, text) in files {
        for room in DOORS.map(|(door, _)| door).into_iter().chain(WIRING) {
            let room = room.replace('/', "::");
            assert!(
                !uses(&code(&text), &format!("crate::{room}")),
                "{} uses {room}",
                path.display()
            );
        }
    }
}

#[test]
fn the_application_knows_its_ports_and_no_door() {
    for (path, text) in sources(&root().join("src/app")) {
        assert!(!uses(&code(&text), "crate::adapters"), "{} knows a door by name", path.display());
    }
}

#[test]
fn no_files_use_each_other_in_a_circle() {
    let graph = imports::graph(Path::new("src"), &sources(&root().join("src")));
    let mut told = String::new();
    for circle in imports::circles(&graph) {
        told += &format!("{} files:\n", circle.len());
        for file in &circle {
            for (other, path) in graph[file].iter().filter(|(other, _)| circle.contains(other)) {
                told += &format!("  {file} -> {other} ({path})\n");
            }
        }
    }
    assert!(told.is_empty(), "move what both need into a file of its own:\n{told}");
}

#[test]
fn files_stay_short_and_have_no_mod_rs() {
    for folder in ["src", "tests"] {
        for (path, text) in sources(&root().join(folder)) {
            let lines = text.lines().count();
            assert!(lines <= LINES_MAX, "{} has {lines} lines; split it", path.display());
            assert!(
                !path.ends_with("mod.rs"),
                "{}: name the file after its module",
                path.display()
            );
        }
    }
}

#[test]
fn every_source_file_says_what_it_is_for() {
    for (path, text) in sources(&root().join("src")) {
        assert!(text.starts_with("//! "), "{} has no opening line", path.display());
    }
}

#[test]
fn every_dependency_is_used_and_has_its_reason() {
    let manifest: toml::Table =
        fs::read_to_string(root().join("Cargo.toml")).unwrap().parse().unwrap();
    let reasons = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let src: String = sources(&root().join("src")).into_iter().map(|(_, text)| text).collect();
    let tests: String = sources(&root().join("tests")).into_iter().map(|(_, text)| text).collect();
    for (table, code) in [("dependencies", &src), ("dev-dependencies", &tests)] {
        let Some(dependencies) = manifest.get(table).and_then(toml::Value::as_table) else {
            continue;
        };
        for name in dependencies.keys() {
            assert!(uses(code, &name.replace('-', "_")), "{name} is not used in {table}");
            assert!(
                reasons.contains(&format!("`{name}`")),
                "DEVELOPERS.md gives no reason for {name}"
            );
        }
    }
}

#[test]
fn the_top_level_holds_what_it_may_hold() {
    let allowed: BTreeSet<&str> = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "config",
        "tests",
        "systemd",
        "target",
    ]
    .into();
    for entry in fs::read_dir(root()).unwrap() {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        assert!(
            name.starts_with('.') || allowed.contains(name.as_str()),
            "{name} at the top level"
        );
    }
}

#[test]
fn one_tls_provider_and_no_second_copy_of_it() {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    for unwanted in ["aws-lc-sys", "openssl-sys", "native-tls"] {
        assert!(!lock.contains(&format!("name = \"{unwanted}\"")), "{unwanted} in Cargo.lock");
    }
}

#[test]
fn the_developers_notes_print_the_table_of_alerts_as_it_is() {
    let notes = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let table = rimeward::domain::alert::table::as_markdown();
    assert!(notes.contains(&table), "put this into DEVELOPERS.md:\n{table}");
}

#[test]
fn a_circle_is_found_through_re_exports_children_macros_and_globs_and_not_in_tests() {
    let circles = |files: &[(&str, &str)]| {
        let files: Vec<(PathBuf, String)> =
            files.iter().map(|(path, text)| (PathBuf::from(path), (*text).to_owned())).collect();
        imports::circles(&imports::graph(Path::new("src"), &files)).len()
    };
    let lib = ("src/lib.rs", "mod a; mod b; pub use b::Shared;");
    let b = ("src/b.rs", "pub struct Shared; pub fn run() { let _ = crate::a::NAME; }");
    for user in [
        "use crate::Shared; pub const NAME: &str = \"\"; fn f(_: Shared) {}",
        "pub const NAME: &str = \"\"; fn f() { super::b::run() }",
        "pub const NAME: &str = \"\"; fn f() { println!(\"{:?}\", crate::b::run()) }",
        "use super::*; pub const NAME: &str = \"\"; fn f(_: Shared) {}",
    ] {
        assert_eq!(circles(&[lib, ("src/a.rs", user), b]), 1, "{user}");
    }
    let tested = "pub const NAME: &str = \"\"; #[cfg(test)] mod tests { use crate::Shared; }";
    assert_eq!(circles(&[lib, ("src/a.rs", tested), b]), 0);
    let parent = ("src/a.rs", "mod child; pub use child::Inner; fn f() { child::run() }");
    let child = "pub struct Inner; pub fn run() { let _ = super::f; }";
    assert_eq!(circles(&[("src/lib.rs", "mod a;"), parent, ("src/a/child.rs", child)]), 1);
    let apart = "pub struct Inner; pub fn run() {}";
    assert_eq!(circles(&[("src/lib.rs", "mod a;"), parent, ("src/a/child.rs", apart)]), 0);
}

#[test]
fn the_developers_notes_print_the_map_and_the_glossary_as_they_are() {
    let notes = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    for (what, table) in [("map", map::rooms(&root())), ("glossary", map::glossary())] {
        assert!(notes.contains(&table), "put this {what} into DEVELOPERS.md:\n{table}");
    }
    let unused = map::unused_names(&sources(&root().join("src")));
    assert!(unused.is_empty(), "the glossary names what no source has: {unused:?}");
}
