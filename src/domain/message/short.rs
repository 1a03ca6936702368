//! Short texts for telephones: how much room a text takes, and which of several forms is sent.
//!
//! Alphabet and escapes: 3GPP TS 23.038, 6.2.1 and 6.2.1.1. Lengths, alone and as parts of a longer text: 3GPP TS 23.040,
//! 9.2.3.24.1 (160 and 153 septets, 70 and 67 units of UCS-2). All from memory.

use serde_json::Value;

use super::words::shorten;

/// The alphabet without its escape, 127 letters.
const BASIC: &str = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";
/// What takes an escape before it, and so two septets.
const ESCAPED: &str = "\u{c}^{}\\[~]|€";

/// Parts of one text at most, unless the WARNING lines alone need more.
pub const SEGMENTS: usize = 2;

/// Letters of a boat's name, a place's and a location, at first.
pub(super) const NAME_LETTERS: usize = 24;

/// How a text is coded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coding {
    /// The 7-bit default alphabet.
    Gsm7,
    /// 16 bits a letter, as soon as one letter is not in the alphabet.
    Ucs2,
}

/// The room that a text takes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Size {
    /// How it is coded.
    pub coding: Coding,
    /// Septets, or units of 16 bits.
    pub units: usize,
    /// Parts that it is sent in; 1 for an empty one.
    pub segments: usize,
}

/// The room that a text takes. No escape and no surrogate pair is split between two parts.
#[must_use]
pub fn size(text: &str) -> Size {
    let widths: Option<Vec<usize>> = text.chars().map(septets).collect();
    let (coding, widths, alone, part) = match widths {
        Some(widths) => (Coding::Gsm7, widths, 160, 153),
        None => (Coding::Ucs2, text.chars().map(char::len_utf16).collect(), 70, 67),
    };
    let units: usize = widths.iter().sum();
    if units <= alone {
        return Size { coding, units, segments: 1 };
    }
    let (mut segments, mut filled) = (1, 0);
    for width in widths {
        if filled + width > part {
            (segments, filled) = (segments + 1, 0);
        }
        filled += width;
    }
    Size { coding, units, segments }
}

/// Septets of one letter; `None` where the alphabet lacks it.
fn septets(letter: char) -> Option<usize> {
    if BASIC.contains(letter) { Some(1) } else { ESCAPED.contains(letter).then_some(2) }
}

/// The first form that fits into two parts; where none does, the first that does with a question mark for each letter that
/// the alphabet lacks; else the shortest so, whole: what it says is never cut.
pub(super) fn fitting(forms: &[String]) -> Option<String> {
    let fits = |text: &&String| size(text).segments <= SEGMENTS;
    if let Some(whole) = forms.iter().find(fits) {
        return Some(whole.clone());
    }
    let plain: Vec<String> = forms.iter().map(|form| in_alphabet(form)).collect();
    let shortest = || plain.iter().min_by_key(|form| size(form).units);
    plain.iter().find(fits).or_else(shortest).cloned()
}

fn in_alphabet(text: &str) -> String {
    text.chars().map(|letter| if septets(letter).is_some() { letter } else { '?' }).collect()
}

/// The words with names and places of so many letters at most. Three dots take the place of the one letter that would turn the
/// whole text into 16 bits.
pub(super) fn words(words: &Value, letters: usize) -> Value {
    let mut words = words.clone();
    for key in ["boat", "place", "location"] {
        if let Some(Value::String(name)) = words.get_mut(key) {
            *name = shorten(name, letters).replace('\u{2026}', "...");
        }
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(text: &str) -> (Coding, usize, usize) {
        let size = size(text);
        (size.coding, size.units, size.segments)
    }

    #[test]
    fn the_room_is_counted_as_the_standards_count_it() {
        // 3GPP TS 23.038 6.2.1: 128 places, one of them the escape; 6.2.1.1 has ten more.
        assert_eq!((BASIC.chars().count(), ESCAPED.chars().count()), (127, 10));
        use Coding::{Gsm7, Ucs2};
        assert_eq!(of(""), (Gsm7, 0, 1));
        assert_eq!(of(&"a".repeat(160)), (Gsm7, 160, 1));
        assert_eq!(of(&"a".repeat(161)), (Gsm7, 161, 2));
        assert_eq!(of(&"a".repeat(306)), (Gsm7, 306, 2));
        assert_eq!(of(&"a".repeat(307)), (Gsm7, 307, 3));
        assert_eq!(of(&"€".repeat(80)), (Gsm7, 160, 1));
        // 152 septets and an escape that would straddle the end of the first part.
        assert_eq!(of(&format!("{}€{}", "a".repeat(152), "a".repeat(151))), (Gsm7, 305, 2));
        assert_eq!(of(&format!("{}€{}", "a".repeat(152), "a".repeat(152))), (Gsm7, 306, 3));
        assert_eq!(of(&"č".repeat(70)), (Ucs2, 70, 1));
        assert_eq!(of(&"č".repeat(71)), (Ucs2, 71, 2));
        assert_eq!(of(&"č".repeat(135)), (Ucs2, 135, 3));
        assert_eq!(of(&"⛵".repeat(70)), (Ucs2, 70, 1));
        assert_eq!(of(&"🚤".repeat(35)), (Ucs2, 70, 1));
        // A pair is not split: 33 of them and not 33.5 in a part.
        assert_eq!(of(&"🚤".repeat(67)), (Ucs2, 134, 3));
    }

    #[test]
    fn the_fullest_form_that_fits_is_sent_and_nothing_is_cut() {
        let forms = ["x".repeat(400), "y".repeat(300)];
        assert_eq!(fitting(&forms), Some("y".repeat(300)));
        let foreign = |name: &str| format!("{name} {}", "y".repeat(200));
        assert_eq!(fitting(&[foreign("Dvořák")]), Some(foreign("Dvo??k")));
        assert_eq!(fitting(&["ř".repeat(100)]), Some("ř".repeat(100)));
        assert_eq!(fitting(&["z".repeat(500)]), Some("z".repeat(500)));
        assert_eq!(fitting(&[]), None);
    }
}
