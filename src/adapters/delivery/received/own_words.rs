//! What somebody wrote themselves in an answer: without what they quote, the line that leads it in, and the signature.

/// Letters of an answer that are kept.
const LETTERS_MAX: usize = 2_000;
/// Lines that begin what mail programs put under an answer.
const ENDS: [&str; 3] =
    ["-----Original Message", "________________________________", "Begin forwarded message:"];

/// The writer's own lines, one beside the other, up to a length.
#[must_use]
pub fn own_words(body: &str) -> String {
    let mut kept: Vec<&str> = Vec::new();
    for line in body.lines() {
        if ENDS.iter().any(|end| line.starts_with(end)) || line.trim_end() == "--" {
            break;
        }
        let line = line.trim();
        if line.is_empty() || line.starts_with('>') {
            continue;
        }
        // "On Wed, 1 Feb 2023 at 06:35, Freeze desk <...> wrote:", often over two lines.
        if line.ends_with("wrote:") {
            let leads =
                |one: &str| one.starts_with("On ") && one.contains(|c: char| c.is_ascii_digit());
            if !leads(line) && kept.last().is_some_and(|last| leads(last)) {
                kept.pop();
            }
            continue;
        }
        kept.push(line);
    }
    kept.join(" ").chars().take(LETTERS_MAX).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quoted_text_lead_in_and_signature_are_not_own_words() {
        for (body, own) in [
            ("Done.\r\n> Drain by Thursday", "Done."),
            ("> Drain\n\nlater", "later"),
            (
                "On Wed, Feb 1, 2023 at 6:35 AM Desk <d@e> wrote:\n> Drain\n\nDone, all drained.",
                "Done, all drained.",
            ),
            ("On Wed, Feb 1, 2023 at 6:35 AM Desk\n<d@e> wrote:\n> Drain\n\nDone", "Done"),
            ("Seen\n-- \nTess, 12 Quay Street", "Seen"),
            ("Hello Perry,\n\nplease come AT ONCE.", "Hello Perry, please come AT ONCE."),
            ("", ""),
        ] {
            assert_eq!(own_words(body), own, "{body:?}");
        }
        assert_eq!(own_words(&"x ".repeat(9_000)).chars().count(), LETTERS_MAX);
    }
}
