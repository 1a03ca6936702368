//! The parts of a letter after the words are found: from these both the text and the HTML are written.

use serde::Serialize;

/// Width of the plain text in characters.
pub const TEXT_WIDTH: usize = 76;

/// One part of a letter.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "block", rename_all = "snake_case")]
pub enum Block {
    /// The one line that would do alone.
    Headline {
        /// Its words.
        text: String,
    },
    /// A sentence or two, with a label.
    Line {
        /// Such as `Chance`.
        label: Option<String>,
        /// Its words.
        text: String,
    },
    /// A list.
    List {
        /// Such as `What to do`.
        label: Option<String>,
        /// Numbered, or with dashes.
        numbered: bool,
        /// Its items.
        items: Vec<String>,
    },
    /// A line of the safety box.
    Caution {
        /// `WARNING` or `NOTICE`.
        signal: String,
        /// Its words.
        text: String,
    },
    /// Boats, two lines each, grouped by place.
    Table {
        /// The places.
        groups: Vec<Group>,
    },
    /// Basis, reference, what this is not.
    Small {
        /// Such as `Basis`.
        label: Option<String>,
        /// Its words.
        text: String,
    },
}

/// The boats of one place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Group {
    /// Name of the place with its minutes; `None` where the rank runs over all places.
    pub name: Option<String>,
    /// Its boats.
    pub rows: Vec<Row>,
}

/// One boat in two or three lines.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Its rank.
    pub number: usize,
    /// Its name.
    pub boat: String,
    /// The rest of the first line.
    pub first: String,
    /// The second line.
    pub second: String,
    /// The third line; may be empty.
    pub third: String,
}

/// The letter as plain text, wrapped at [`TEXT_WIDTH`] characters, lines ended by `\n`.
#[must_use]
pub fn as_text(blocks: &[Block]) -> String {
    let mut out = String::new();
    let mut before: Option<&Block> = None;
    for block in blocks {
        let together = matches!(
            (before, block),
            (Some(Block::Line { .. }), Block::Line { .. })
                | (Some(Block::Caution { .. }), Block::Caution { .. })
                | (Some(Block::Small { .. }), Block::Small { .. })
        );
        if before.is_some() && !together {
            out.push('\n');
        }
        write_block(block, &mut out);
        before = Some(block);
    }
    out
}

/// Keeps a number and its unit on one line: a no-break space between them, for HTML only.
#[must_use]
pub fn unbroken(text: &str) -> String {
    const UNITS: [&str; 5] = ["F", "C", "%", "h", "min"];
    let mut out = String::with_capacity(text.len());
    for word in text.split(' ') {
        let unit = word.trim_end_matches(|c: char| !c.is_alphanumeric() && c != '%');
        let joins = UNITS.contains(&unit) && out.ends_with(|c: char| c.is_ascii_digit());
        if !out.is_empty() {
            out.push(if joins { '\u{a0}' } else { ' ' });
        }
        out.push_str(word);
    }
    out
}

fn write_block(block: &Block, out: &mut String) {
    match block {
        Block::Headline { text } => wrap("", "", text, out),
        Block::Line { label, text } | Block::Small { label, text } => {
            wrap("", "", &labelled(label.as_deref(), text), out);
        }
        Block::Caution { signal, text } => wrap("", "  ", &labelled(Some(signal), text), out),
        Block::List { label, numbered, items } => {
            if let Some(label) = label {
                wrap("", "", &format!("{label}:"), out);
            }
            for (index, item) in items.iter().enumerate() {
                if *numbered {
                    wrap(&format!("{}. ", index.saturating_add(1)), "   ", item, out);
                } else {
                    wrap("- ", "  ", item, out);
                }
            }
        }
        Block::Table { groups } => {
            for (index, group) in groups.iter().enumerate() {
                if let Some(name) = &group.name {
                    if index > 0 {
                        out.push('\n');
                    }
                    wrap("", "", name, out);
                }
                for row in &group.rows {
                    let head = format!("{:>2} ", row.number);
                    wrap(&head, "   ", &format!("{}{}", row.boat, row.first), out);
                    wrap("   ", "   ", &row.second, out);
                    if !row.third.is_empty() {
                        wrap("   ", "   ", &row.third, out);
                    }
                }
            }
        }
    }
}

fn labelled(label: Option<&str>, text: &str) -> String {
    label.map_or_else(|| text.to_owned(), |label| format!("{label}: {text}"))
}

/// Breaks between words; a word longer than a line is cut.
fn wrap(first: &str, rest: &str, text: &str, out: &mut String) {
    let mut line = first.to_owned();
    let mut length = first.chars().count();
    let mut fresh = true;
    for word in text.split_whitespace() {
        let letters: Vec<char> = word.chars().collect();
        for (index, piece) in letters.chunks(TEXT_WIDTH - 4).enumerate() {
            let gap = usize::from(!fresh && index == 0);
            if !fresh && length + gap + piece.len() > TEXT_WIDTH {
                out.push_str(&line);
                out.push('\n');
                line = rest.to_owned();
                length = rest.chars().count();
            } else if gap == 1 {
                line.push(' ');
                length += 1;
            }
            line.extend(piece);
            length += piece.len();
            fresh = false;
        }
    }
    out.push_str(line.trim_end());
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_keeps_its_unit() {
        assert_eq!(
            unbroken("low of 21 F (-6 C), 70 % a C"),
            "low of 21\u{a0}F (-6\u{a0}C), 70\u{a0}% a C"
        );
    }

    #[test]
    fn text_is_wrapped_and_long_words_are_cut() {
        let text = as_text(&[
            Block::Headline { text: "word ".repeat(40) },
            Block::List {
                label: Some("What to do".to_owned()),
                numbered: true,
                items: vec!["x".repeat(200), "short".to_owned()],
            },
        ]);
        assert!(text.lines().all(|line| line.chars().count() <= TEXT_WIDTH), "{text}");
        assert!(text.contains("\n2. short\n"), "{text}");
    }
}
