//! The map of the house and the glossary, as they stand in DEVELOPERS.md.

use std::path::{Path, PathBuf};

use super::{DOMAIN, DOORS, WIRING};

/// What somebody who knows other such programs will look for, and what it is called here.
const GLOSSARY: [(&str, &str); 23] = [
    ("what the application is made of", "AppContext"),
    ("what one round needs beside it", "RoundDeps"),
    ("the work of many processors", "Parallel"),
    ("as of which time, by what was known when", "AsOf"),
    ("the yard, looked at and judged", "Assessment"),
    ("the errors of forecasts, taken off", "BiasCache"),
    ("one thing to tell one person", "Notification"),
    ("what somebody was told last", "LastNotified"),
    ("the alerts that are not closed", "OpenAlerts"),
    ("what puts a notification into words", "Composer"),
    ("what one decision looks at", "DecisionInput"),
    ("what follows from a decision", "Action"),
    ("advice about a danger, as one person gets it", "Advice"),
    ("what the words of a round are made from", "Scene"),
    ("a finished letter", "Email"),
    ("a message that waits to leave", "OutboxRow"),
    ("may a loop go on", "ShouldContinue"),
    ("a half of the earth, by when its winter falls", "Hemisphere"),
    ("the one winter that an instant belongs to", "Winter"),
    ("a winter of an archive, day by day", "PastWinter"),
    ("what a command has to say", "CommandOutput"),
    ("why a command could not do its work", "CliError"),
    ("what a command sees of the outside", "CliContext"),
];

/// The rooms in reading order, what each is for by the first sentence of its parent file, and what it may use.
pub fn rooms(root: &Path) -> String {
    let mut table = "| room | what | may use |\n|---|---|---|\n".to_owned();
    let mut row = |room: &str, uses: &str| {
        let what = first_sentence(&root.join("src").join(format!("{room}.rs")));
        let folder = root.join("src").join(room).is_dir();
        let name = if folder { format!("src/{room}/") } else { format!("src/{room}.rs") };
        table += &format!("| `{name}` | {what} | {uses} |\n");
    };
    row("domain", "itself, downwards");
    for (place, name) in DOMAIN.iter().enumerate() {
        let above = if place == 0 { "nothing of ours" } else { "what stands above it" };
        row(&format!("domain/{name}"), above);
    }
    row("views", "domain");
    row("app", "domain, views");
    row("app/ports", "domain");
    row("app/settings", "domain");
    row("adapters", "domain");
    for (door, known) in DOORS {
        row(door, &[&["domain"], known].concat().join(", "));
    }
    for room in WIRING.iter().filter(|room| **room != "app") {
        row(room, "all");
    }
    table
}

/// The concepts and their names; each name is one of the sources'.
pub fn glossary() -> String {
    let rows = GLOSSARY.iter().map(|(concept, name)| format!("| {concept} | `{name}` |\n"));
    format!("| you look for | it is called |\n|---|---|\n{}", rows.collect::<String>())
}

/// Names of the glossary that no source has.
pub fn unused_names(sources: &[(PathBuf, String)]) -> Vec<&'static str> {
    let has = |name: &str| {
        let types = ["struct", "enum", "type", "trait"].map(|word| format!("{word} {name}"));
        sources.iter().any(|(_, text)| types.iter().any(|item| super::uses(text, item)))
    };
    GLOSSARY.iter().map(|(_, name)| *name).filter(|name| !has(name)).collect()
}

fn first_sentence(file: &Path) -> String {
    let text = std::fs::read_to_string(file).unwrap_or_else(|why| panic!("{file:?}: {why}"));
    let lines = text.lines().map_while(|line| line.strip_prefix("//!")).map(str::trim);
    let first: Vec<&str> = lines.take_while(|line| !line.is_empty()).collect();
    let first = first.join(" ");
    first.split(". ").next().unwrap_or_default().trim_end_matches('.').to_owned()
}
