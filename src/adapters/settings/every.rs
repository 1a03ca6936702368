//! Every mistake of a configuration in one go. The parser stops at the first one; so what it names is put aside and the rest
//! is read again, until nothing is left to name. What was put aside or stood in for is a problem: such settings are never
//! used.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::Settings;
use crate::domain::catalogue::nearest;

/// So many mistakes are named; who has more starts anew from the explained file.
const NAMED_MAX: usize = 40;

/// What stands in for a required key or table that is missing, so that the rest can be read.
const STAND_INS: [(&str, &str); 16] = [
    ("yard", "[yard]\nname = \"x\"\ntime_zone = \"UTC\""),
    ("store", "[store]\npath = \"x.sqlite\""),
    ("forecast", "[forecast]\ncontact = \"x@example.org\""),
    ("mail", "[mail]\nfrom = \"x@example.org\"\nmaildir = \"x\""),
    ("name", "name = \"x\""),
    ("time_zone", "time_zone = \"UTC\""),
    ("path", "path = \"x.sqlite\""),
    ("contact", "contact = \"x@example.org\""),
    ("from", "from = \"x@example.org\""),
    ("host", "host = \"localhost\""),
    ("port", "port = 465"),
    ("id", "id = \"x\""),
    ("latitude", "latitude = 0.0"),
    ("longitude", "longitude = 0.0"),
    ("person", "person = \"x\""),
    ("skills", "skills = []"),
];

/// The lines that are still read, each with its number in the file.
struct Lines(Vec<(usize, String)>);

impl Lines {
    fn text(&self) -> String {
        self.0.iter().map(|(_, line)| format!("{line}\n")).collect()
    }

    /// The index of the line that holds a byte of [`Lines::text`].
    fn index_of(&self, byte: usize) -> usize {
        let mut end = 0;
        let ends = self.0.iter().position(|(_, line)| {
            end += line.len() + 1;
            byte < end
        });
        ends.unwrap_or(self.0.len().saturating_sub(1))
    }

    fn blank(&mut self, from: usize, until: usize) {
        for (_, line) in self.0.iter_mut().take(until).skip(from) {
            line.clear();
        }
    }
}

/// The settings, if `text` is right in all its types, and what is wrong with it: line, what, and what would be right.
pub(super) fn read(text: &str) -> (Option<Settings>, Vec<String>) {
    let mut lines = Lines((1..).zip(text.lines().map(str::to_owned)).collect());
    let mut problems = Vec::new();
    let mut wrong = Vec::new();
    for _ in 0..NAMED_MAX {
        let read = lines.text();
        match toml::from_str::<Settings>(&read) {
            Ok(settings) => return (Some(settings), problems),
            Err(error) => {
                let goes_on = set_aside(&error, &mut lines, &mut wrong, &mut problems);
                if !goes_on {
                    break;
                }
            }
        }
    }
    (None, problems)
}

/// Names one mistake and takes it out of the lines; `false` where the rest cannot be read. `wrong` has the keys that were
/// there and were taken out: they are not missing.
fn set_aside(
    error: &toml::de::Error,
    lines: &mut Lines,
    wrong: &mut Vec<String>,
    problems: &mut Vec<String>,
) -> bool {
    let message = error.message().trim();
    let span = error.span().unwrap_or(0..0);
    let first = lines.index_of(span.start);
    let (number, line) = lines.0.get(first).cloned().unwrap_or((1, String::new()));
    let header = line.trim_start().starts_with('[');
    if let Some(key) = quoted(message, "missing field") {
        let within = if header { format!(" in {}", line.trim()) } else { String::new() };
        if !wrong.contains(&key) {
            problems.push(format!(
                "line {number}: {key} is missing{within}: add it; config/rimeward.toml explains every key"
            ));
        }
        let Some((_, stand_in)) = STAND_INS.iter().find(|(name, _)| *name == key) else {
            // Nothing can stand in for it: what lacks it goes, so that the rest is read.
            let before = !line.is_empty();
            lines.blank(first, first + 1);
            return before;
        };
        let is_table = stand_in.starts_with('[');
        if !header && !is_table {
            // Within braces on one line.
            lines.blank(first, first + 1);
            return true;
        }
        let at = if is_table { lines.0.len() } else { first + 1 };
        let added = stand_in.lines().map(|line| (number, line.to_owned()));
        lines.0.splice(at..at, added);
        return true;
    }
    let remedy = match quoted(message, "unknown field") {
        Some(key) => {
            let known: Vec<&str> = message.split('`').skip(3).step_by(2).collect();
            match nearest(&key, known.iter().copied()) {
                Some(like) => format!("no key is called {key}; the nearest is {like}"),
                None => format!("no key is called {key}; there are {}", known.join(" ")),
            }
        }
        None if message.contains("timezone") => {
            let word = line.split('"').nth(1).unwrap_or_default();
            let like = nearest(word, chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name()));
            format!("no IANA time zone; write one such as {}", like.unwrap_or("America/New_York"))
        }
        None => message.replace('\n', " "),
    };
    problems.push(format!("line {number}: {}: {remedy}", line.trim()));
    let entry = entry_around(&lines.text(), span.start).unwrap_or(span);
    let first = first.min(lines.index_of(entry.start));
    let last = lines.index_of(entry.end.saturating_sub(1).max(entry.start));
    if let Some((key, _)) = lines.0.get(first).and_then(|(_, line)| line.split_once('=')) {
        wrong.push(key.trim().to_owned());
    }
    let until = if header {
        // A table that nobody knows goes with its keys.
        let next =
            lines.0.iter().skip(first + 1).position(|(_, l)| l.trim_start().starts_with('['));
        next.map_or(lines.0.len(), |next| first + 1 + next)
    } else {
        last.max(first) + 1
    };
    let before = lines.0.get(first..until).is_some_and(|l| l.iter().any(|(_, t)| !t.is_empty()));
    lines.blank(first, until);
    before
}

/// From its key to the end of its value: the innermost entry of a table around a byte, which may be one of many lines.
fn entry_around(text: &str, byte: usize) -> Option<Range<usize>> {
    let document = DeTable::parse(text).ok()?;
    let mut table = document.get_ref();
    loop {
        let around = table.iter().find(|(key, value)| {
            let from = key.span().start;
            !matches!(value.get_ref(), DeValue::Table(_))
                && (from..value.span().end).contains(&byte)
        });
        if let Some((key, value)) = around {
            return Some(key.span().start..value.span().end);
        }
        // A table's own span is its header: look into every one for the entry.
        let inner = table.iter().find_map(|(_, value)| match value.get_ref() {
            DeValue::Table(inner) if holds(inner, byte) => Some(inner),
            _ => None,
        });
        match inner {
            Some(inner) => table = inner,
            None => return None,
        }
    }
}

/// Does an entry of this table, or of one in it, stand around the byte?
fn holds(table: &DeTable<'_>, byte: usize) -> bool {
    table.iter().any(|(key, value)| match value.get_ref() {
        DeValue::Table(inner) => holds(inner, byte),
        _ => (key.span().start..value.span().end).contains(&byte),
    })
}

/// The name in backquotes after `start`.
fn quoted(message: &str, start: &str) -> Option<String> {
    message.strip_prefix(start)?.split('`').nth(1).map(str::to_owned)
}

/// Puts the line of its key before a problem that begins with the key's path, such as `judge.members = 0: ...`; without the
/// key the line of its table.
pub(super) fn with_line(text: &str, problem: &str) -> String {
    let path: String = problem
        .chars()
        .take_while(|letter| letter.is_ascii_alphanumeric() || matches!(letter, '_' | '.'))
        .collect();
    match line_of(text, &path) {
        Some(number) => format!("line {number}: {problem}"),
        None => problem.to_owned(),
    }
}

/// The number that such a problem begins with; without one it comes last.
pub(super) fn line_number(problem: &str) -> usize {
    let number = problem.strip_prefix("line ").and_then(|rest| rest.split(':').next());
    number.and_then(|number| number.parse().ok()).unwrap_or(usize::MAX)
}

fn line_of(text: &str, path: &str) -> Option<usize> {
    let (document, _) = DeTable::parse_recoverable(text);
    let mut table = document.get_ref();
    let mut found = None;
    for part in path.split('.').filter(|part| !part.is_empty()) {
        let Some((key, value)) = table.iter().find(|(key, _)| key.get_ref() == part) else { break };
        found = Some(key.span().start);
        match value.get_ref() {
            DeValue::Table(inner) => table = inner,
            _ => break,
        }
    }
    let before = text.get(..found?)?;
    Some(before.matches('\n').count() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_mistake_is_named_with_its_line_and_a_remedy() {
        let text = r#"[yard]
nme = "Larch"
time_zone = "America/New_Yrok"
work_from = "18:00:00"
work_to = 9
[store]
path = "x.sqlite"
[forcast]
contact = "a@example.org"
[forecast]
contact = "a@example.org"
services = ["nws",
  "nowhere"]
[judge]
members = 0
[mail]
from = "nobody"
[mail.smtp]
port = 465
security = "none"
[alert]
major = { on = 2.0 }
minor = { off = 0.1 }
"#;
        let told = Settings::parse(text, std::path::Path::new(".")).unwrap_err().join("\n");
        for wanted in [
            "line 2: nme = \"Larch\": no key is called nme; the nearest is name",
            "line 3: time_zone = \"America/New_Yrok\"",
            "line 5: work_to = 9",
            "line 8: [forcast]: no key is called forcast; the nearest is forecast",
            "line 13: \"nowhere\"]",
            "line 15: judge.members = 0",
            "line 17: mail.from = \"nobody\"",
            "line 18: host is missing in [mail.smtp]",
            "line 20: security = \"none\"",
            "line 1: name is missing in [yard]",
            "line 22: off is missing",
            "line 23: on is missing",
        ] {
            assert!(told.contains(wanted), "{wanted}\nnot in\n{told}");
        }
    }

    #[test]
    fn what_would_silence_everybody_is_refused() {
        let with = |from: &str, limits: &str| {
            let text = format!(
                "[yard]\nname = \"Larch\"\ntime_zone = \"America/New_York\"\n[store]\npath = \"x.sqlite\"\n[forecast]\ncontact = \"a@example.org\"\n[forecast.limits]\n{limits}\n[mail]\nfrom = {from:?}\nmaildir = \"Maildir\"\n"
            );
            Settings::parse(&text, std::path::Path::new("."))
        };
        assert!(with("desk@example.org", "").is_ok());
        for from in [
            "Freeze Desk <desk@example.org>",
            "freeze desk@example.org",
            "a@ex ample.org",
            "a@b.c\r\nBcc: x@y.z",
            "a@localhost",
        ] {
            let told = with(from, "").unwrap_err().join("\n");
            assert!(told.contains("line 11: mail.from"), "{from:?}: {told}");
        }
        for limits in [
            "blind_issue_h = nan",
            "blind_issue_h = 1e15",
            "blind_left_h = -1000.0",
            "blind_left_h = inf",
            "degraded_issue_h = 30.0",
        ] {
            let told = with("desk@example.org", limits).unwrap_err().join("\n");
            assert!(told.contains("line 9: forecast.limits"), "{limits}: {told}");
        }
    }

    #[test]
    fn an_empty_file_names_all_tables_that_it_needs_and_garbage_ends() {
        let told = Settings::parse("", std::path::Path::new(".")).unwrap_err().join("\n");
        for table in ["yard", "store", "forecast", "mail"] {
            assert!(told.contains(&format!("{table} is missing")), "{told}");
        }
        for text in ["\u{0}\u{0}", "[[[", "a = \"", "[yard\n[yard]\nname=1\n'''", "= = =\n= = ="] {
            assert!(!Settings::parse(text, std::path::Path::new(".")).unwrap_err().is_empty());
        }
    }
}
