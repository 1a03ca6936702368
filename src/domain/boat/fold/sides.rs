//! Which side of a part with two, and which of several parts, the words of an entry mean.

use super::slot::{Side, Slot};
use crate::domain::boat::LayupEvent;
use crate::domain::catalogue::CircuitKind;

/// The side of a part with two that an entry names, where it names one alone, or one drain without saying which. Of several parts
/// in one line, such as `port block drain, both manifolds`, what is said of this one counts.
pub(super) fn one_side(event: &LayupEvent, slot: &Slot<'_>) -> Option<Side> {
    if !slot.kind.has_two_sides() {
        return None;
    }
    let column = event.instance.as_deref().map(str::to_lowercase);
    let method = event.method.as_deref().unwrap_or_default();
    let point = format!("{} {method}", event.point.as_deref().unwrap_or_default()).to_lowercase();
    let part = slot.kind.id.as_str().split('_').next().unwrap_or_default();
    let names = |text: &&str| text.contains(part) || part == "manifold" && text.contains("riser");
    let parts: Vec<&str> = point.split([',', ';']).collect();
    let own: Vec<&str> = parts.iter().copied().filter(names).collect();
    let mut text = if own.is_empty() { point.trim().to_owned() } else { own.join(" ") };
    match (&slot.instance, &column) {
        // On a boat with one engine the column can only mean a side of it.
        (None, Some(column)) => text = format!("{text} {column}"),
        // Words that name one of several engines name no side of it.
        (Some(_), None) => {
            text = without_engine(&text)?;
        }
        _ => {}
    }
    if text.trim().is_empty() {
        return None;
    }
    let words: Vec<&str> =
        text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let has = |names: &[&str]| words.iter().any(|word| names.contains(word));
    let port = has(&["port", "left", "p", "prt", "pt", "lh", "ps"]);
    let starboard =
        has(&["starboard", "stbd", "stb", "right", "s", "rh", "sb", "strbd", "starbord", "ss"]);
    let denied =
        has(&["not", "no", "seized", "except", "but", "cannot", "wouldn", "stuck", "snapped"]);
    let many = words.iter().any(|word| {
        let plural = word.len() > 4 && word.ends_with('s') && !word.ends_with("ss");
        let counted = word.parse::<u32>().is_ok_and(|count| count > 1);
        plural || counted || ["both", "all", "each", "every", "x2", "two", "four"].contains(word)
    });
    let of_two =
        ["of two", "of 2", "half of", "one side", "1 side"].iter().any(|of| text.contains(of));
    match (port, starboard) {
        (true, false) => Some(Side::Port),
        (false, true) => Some(Side::Starboard),
        (true, true) if denied => Some(Side::Port),
        (true, true) => None,
        (false, false) if of_two || denied => Some(Side::Port),
        // One plug of such a part is one side of it, whichever; other words say nothing of sides.
        (false, false) => (!many && names_one_side(&words)).then_some(Side::Port),
    }
}

/// Do the words speak of one plug or one side? A single drain may be the one for the whole engine: it asks for more minutes.
fn names_one_side(words: &[&str]) -> bool {
    words.iter().any(|word| ["plug", "side", "bank"].contains(word))
}

/// The words without the engine that they name; `None` where they name none, so that what they name may be an engine.
fn without_engine(text: &str) -> Option<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let at = words
        .iter()
        .position(|word| word.trim_matches(|c: char| !c.is_alphabetic()) == "engine")?;
    let before = at.saturating_sub(1);
    let rest = words.iter().enumerate().filter(|(place, _)| *place != at && *place != before);
    Some(rest.map(|(_, word)| *word).collect::<Vec<_>>().join(" "))
}

/// Words for parts in the point of an entry, and the beginning of the circuit that each means.
const PARTS: [(&str, &str); 15] = [
    ("block", "block"),
    ("manifold", "manifold"),
    ("riser", "manifold"),
    ("riser", "exhaust_riser"),
    ("elbow", "manifold"),
    ("elbow", "exhaust_riser"),
    ("cooler", "coolers"),
    ("hose", "intake"),
    ("pump", "raw_pump"),
    ("strainer", "strainer"),
    ("exchanger", "hx"),
    ("hx", "hx"),
    ("muffler", "exhaust"),
    ("waterlock", "exhaust"),
    ("drive", "drive"),
];

/// Does the point name parts, and this circuit is none of them?
pub(super) fn names_other_parts(event: &LayupEvent, kind: &CircuitKind) -> bool {
    let Some(point) = event.point.as_deref().map(str::to_lowercase) else { return false };
    let mut named = PARTS.iter().filter(|(word, _)| point.contains(word)).peekable();
    named.peek().is_some() && !named.any(|(_, id)| kind.id.as_str().starts_with(id))
}
