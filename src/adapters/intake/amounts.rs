//! Figures with their unit behind them.

/// Litres in a US gallon: 231 cubic inches of 25.4 mm.
pub(super) const LITRES_PER_GALLON: f64 = 3.785_411_784;

/// Litres in an imperial gallon, by definition.
pub(super) const LITRES_PER_IMPERIAL_GALLON: f64 = 4.546_09;

/// Litres of each unit that people write; US measures but where imperial is said.
pub(super) const LITRES_OF: [(&str, f64); 27] = [
    ("l", 1.0),
    ("lt", 1.0),
    ("ltr", 1.0),
    ("litre", 1.0),
    ("litres", 1.0),
    ("liter", 1.0),
    ("liters", 1.0),
    ("ml", 0.001),
    ("cl", 0.01),
    ("dl", 0.1),
    ("gal", LITRES_PER_GALLON),
    ("gals", LITRES_PER_GALLON),
    ("gallon", LITRES_PER_GALLON),
    ("gallons", LITRES_PER_GALLON),
    ("us gal", LITRES_PER_GALLON),
    ("imp gal", LITRES_PER_IMPERIAL_GALLON),
    ("imperial gal", LITRES_PER_IMPERIAL_GALLON),
    ("imperial gallons", LITRES_PER_IMPERIAL_GALLON),
    ("qt", LITRES_PER_GALLON / 4.0),
    ("qts", LITRES_PER_GALLON / 4.0),
    ("quart", LITRES_PER_GALLON / 4.0),
    ("quarts", LITRES_PER_GALLON / 4.0),
    ("pt", LITRES_PER_GALLON / 8.0),
    ("pint", LITRES_PER_GALLON / 8.0),
    ("pints", LITRES_PER_GALLON / 8.0),
    ("fl oz", LITRES_PER_GALLON / 128.0),
    ("oz", LITRES_PER_GALLON / 128.0),
];

/// Minutes of each unit that people write.
pub(super) const MINUTES_OF: [(&str, f64); 13] = [
    ("min", 1.0),
    ("mins", 1.0),
    ("minute", 1.0),
    ("minutes", 1.0),
    ("m", 1.0),
    ("h", 60.0),
    ("hr", 60.0),
    ("hrs", 60.0),
    ("hour", 60.0),
    ("hours", 60.0),
    ("s", 1.0 / 60.0),
    ("sec", 1.0 / 60.0),
    ("seconds", 1.0 / 60.0),
];

/// `4.2 gal` in litres, `30 seconds` in minutes; a figure alone stays as it is. A unit that nobody knows stays with its
/// figure, for the reader to refuse: it must not be taken for another.
pub(super) fn in_units(value: &str, units: &[(&str, f64)]) -> String {
    let lower = value.trim().trim_start_matches(['~', '\u{2248}']).trim().to_lowercase();
    let about = ["about ", "approx. ", "approx ", "ca. ", "ca "];
    let lower = about.iter().find_map(|word| lower.strip_prefix(word)).unwrap_or(&lower).trim();
    let figure = leading_number(lower);
    let unit = lower.get(figure.len()..).unwrap_or_default().trim().trim_end_matches('.');
    if unit.is_empty() {
        return figure;
    }
    let factor = units.iter().find(|(name, _)| *name == unit).map(|(_, factor)| *factor);
    match (factor, number(&figure)) {
        (Some(1.0), _) => figure,
        (Some(factor), Some(amount)) => format!("{:.2}", amount * factor),
        _ => value.to_owned(),
    }
}

/// The figure before a unit, or the whole text where there is none, for the reader to refuse.
pub(super) fn leading_number(value: &str) -> String {
    let end = value
        .find(|letter: char| !(letter.is_ascii_digit() || "+-.,".contains(letter)))
        .unwrap_or(value.len());
    match value.get(..end) {
        Some(figure) if !figure.is_empty() => figure.to_owned(),
        _ => value.to_owned(),
    }
}

pub(super) fn split_unit(value: &str) -> (String, Option<String>) {
    let figure = leading_number(value);
    let rest = value.get(figure.len()..).unwrap_or_default();
    let unit = match rest.trim().trim_start_matches(['\u{b0}', ' ']).to_lowercase().as_str() {
        "c" | "degc" | "deg c" | "celsius" => Some("C".to_owned()),
        "f" | "degf" | "deg f" | "fahrenheit" => Some("F".to_owned()),
        "" => None,
        _ => return (value.to_owned(), None),
    };
    (figure, unit)
}

/// A finite number with a decimal point or a decimal comma.
pub(super) fn number(text: &str) -> Option<f64> {
    let text = text.trim();
    let value = if text.contains('.') { text.parse() } else { text.replace(',', ".").parse() };
    value.ok().filter(|value: &f64| value.is_finite())
}
