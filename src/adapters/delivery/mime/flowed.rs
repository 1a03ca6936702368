//! Plain text as format=flowed (RFC 3676): long paragraphs are broken softly, so that a narrow screen can rejoin them.
//!
//! A line that ends in a space goes on in the next one; a line that starts with a space, `>` or `From ` is stuffed
//! with one space, which the reader's program takes off again. Lines that are short enough stay as they are.

/// Longest line in characters, the soft space included (RFC 3676, 4.2). Letters come wrapped at 76: those stay as they are.
const WIDTH: usize = 78;

/// The signature separator keeps its trailing space (RFC 3676, 4.3).
const SIGNATURE: &str = "-- ";

/// Writes text as format=flowed with `\n` between lines.
#[must_use]
pub fn flow(text: &str) -> String {
    let mut flowed = String::with_capacity(text.len() + text.len() / 16);
    for (index, line) in text.split('\n').enumerate() {
        if index > 0 {
            flowed.push('\n');
        }
        if line == SIGNATURE {
            flowed.push_str(SIGNATURE);
        } else {
            paragraph(line.trim_end_matches(' '), &mut flowed);
        }
    }
    flowed
}

fn paragraph(line: &str, flowed: &mut String) {
    let mut rest = line;
    loop {
        if rest.starts_with([' ', '>']) || rest.starts_with("From ") {
            flowed.push(' ');
        }
        match soft_break(rest) {
            Some(at) => {
                let (head, tail) = rest.split_at(at);
                flowed.push_str(head);
                flowed.push('\n');
                rest = tail;
            }
            None => {
                flowed.push_str(rest);
                return;
            }
        }
    }
}

/// Where a line that is too long is broken: after the last space that fits, else after the first one there is.
fn soft_break(line: &str) -> Option<usize> {
    if line.chars().count() <= WIDTH {
        return None;
    }
    // Spaces at the start are indentation, not a place to break.
    let indent = line.len() - line.trim_start_matches(' ').len();
    let mut last = None;
    for (column, (at, c)) in line.char_indices().enumerate() {
        if c == ' ' && at >= indent {
            if column >= WIDTH && last.is_some() {
                break;
            }
            last = Some(at + 1);
            if column >= WIDTH {
                break;
            }
        }
    }
    last.filter(|at| *at < line.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A reader of its own, after RFC 3676 section 4.
    fn unflow(text: &str) -> String {
        let mut whole = String::new();
        for line in text.split('\n') {
            let line = line.strip_prefix(' ').unwrap_or(line);
            whole.push_str(line);
            if !line.ends_with(' ') || line == SIGNATURE {
                whole.push('\n');
            }
        }
        whole.pop();
        whole
    }

    #[test]
    fn short_lines_stay_and_long_ones_break_softly() {
        let long = "word ".repeat(60);
        for text in [
            "Drain the block before dark.\n\nB02 Second Biscuit, U-3: 25 minutes",
            "  indented row   12.5   -3\n> not a quotation\nFrom the yard office",
            long.trim_end(),
            "-- \nQuillback Cove",
            &format!("    {}", long.trim_end()),
            &"x".repeat(300),
            "",
        ] {
            let flowed = flow(text);
            assert_eq!(unflow(&flowed), text);
            for line in flowed.split('\n') {
                let one_word = !line.trim().contains(' ');
                assert!(line.chars().count() <= WIDTH + 2 || one_word, "{line:?}");
                assert!(!line.starts_with("From "), "{line:?}");
            }
        }
    }

    #[test]
    fn a_stray_space_at_the_end_joins_nothing() {
        assert_eq!(flow("one \ntwo"), "one\ntwo");
    }
}
