//! Takes out of people's words what could break a header or turn it around.

/// Longest name or subject: what is longer is cut, so that no header line grows past what RFC 5322 allows.
const HEADER_CHARACTERS_MOST: usize = 200;

/// A text fit for a header: one line, no control characters, no marks that turn the reading direction, nothing that
/// a reader's program would take for an encoded word. Cut at 200 characters.
#[must_use]
pub fn header_text(text: &str) -> String {
    let one_line: String = text
        .chars()
        .filter(|c| !turns_direction(*c))
        .map(|c| if is_break(c) { ' ' } else { c })
        .collect();
    let mut words: String = one_line.split_whitespace().collect::<Vec<_>>().join(" ");
    // An ASCII text "=?utf-8?..." would be decoded by the reader's program into words that nobody checked.
    words = words.replace("=?", "= ?");
    if words.chars().count() > HEADER_CHARACTERS_MOST {
        words = words.chars().take(HEADER_CHARACTERS_MOST - 1).collect();
        words.push('\u{2026}');
    }
    words
}

/// A text fit for a body: line feeds and tabs stay, other control characters and turning marks go.
#[must_use]
pub fn body_text(text: &str) -> String {
    text.replace("\r\n", "\n")
        .replace('\r', "\n")
        .chars()
        .filter(|c| *c == '\n' || *c == '\t' || !(c.is_control() || turns_direction(*c)))
        .collect()
}

/// Line breaks of any kind and other controls.
fn is_break(c: char) -> bool {
    c.is_control() || matches!(c, '\u{2028}' | '\u{2029}')
}

/// Marks that embed, override or isolate the reading direction (Unicode Standard Annex 9), and the byte order mark.
const fn turns_direction(c: char) -> bool {
    matches!(
        c,
        '\u{61C}' | '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}'
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_is_one_plain_line() {
        for (typed, expected) in [
            ("Second Biscuit", "Second Biscuit"),
            ("Kite\r\nBcc: all@example.org", "Kite Bcc: all@example.org"),
            ("Kite\0\u{7}\u{85}\u{2028}x", "Kite x"),
            ("\u{202E}etiK\u{2066}", "etiK"),
            ("=?utf-8?Q?=0D=0ABcc?=", "= ?utf-8?Q?=0D=0ABcc?="),
            ("  Zoë  \t Ångström ", "Zoë Ångström"),
        ] {
            assert_eq!(header_text(typed), expected, "{typed:?}");
        }
        assert_eq!(header_text(&"x".repeat(5000)).chars().count(), HEADER_CHARACTERS_MOST);
    }

    #[test]
    fn a_body_keeps_its_lines_and_loses_its_controls() {
        assert_eq!(body_text("a\r\nb\rc\td\0\u{1b}[31m\u{202E}"), "a\nb\nc\td[31m");
    }
}
