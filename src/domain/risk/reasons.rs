//! Why a row stands where it stands, in words.

use chrono::format::{Fixed, Item, Numeric, Pad};
use chrono::{DateTime, Utc};

use super::Limit;
use super::case::Outcome;
use crate::domain::boat::{CircuitState, Evidence, Holds};
use crate::domain::physics::Liquid;
use crate::domain::units::{Celsius, in_both_scales};
use crate::domain::yard::Site;

/// `" since %-d %b"`, taken apart once: a fleet has a million of these.
const SINCE: [Item<'_>; 4] = [
    Item::Literal(" since "),
    Item::Numeric(Numeric::Day, Pad::None),
    Item::Literal(" "),
    Item::Fixed(Fixed::ShortMonthName),
];

/// The sentences, most telling first; `now` says how the part stands ([`now`]). Temperatures in both scales, Fahrenheit
/// first where the place does so.
#[must_use]
pub fn why(
    circuit: &CircuitState,
    liquid: &Liquid,
    separated: bool,
    now: &str,
    site: &Site,
) -> Vec<String> {
    let scale = site.usual_scale();
    let since = circuit
        .since
        .map(|since| {
            since.with_timezone(&site.time_zone).format_with_items(SINCE.iter()).to_string()
        })
        .unwrap_or_default();
    let evidence = match circuit.evidence {
        Evidence::None => "nothing on record",
        Evidence::Claimed => "claimed",
        Evidence::Recorded => "recorded",
        Evidence::Probed => "probed",
        Evidence::Measured => "measured",
    };
    let holds = match circuit.holds {
        Holds::Unknown => "unknown, so judged as fresh water".to_owned(),
        Holds::Blend | Holds::Coolant => format!(
            "{}{since}, first ice {} ({evidence})",
            words(circuit.holds),
            in_both_scales(liquid.first_ice(), scale)
        ),
        _ => format!("{}{since} ({evidence})", words(circuit.holds)),
    };
    let mut why = Vec::with_capacity(5);
    why.push(holds);
    if separated {
        why.push(
            "it was slush before, by the forecasts of that time, so it is judged by its weakest layer"
                .to_owned(),
        );
    }
    why.push(now.to_owned());
    why.extend(circuit.because.iter().rev().take(2).cloned());
    why
}

/// How a part stands at the start, in words: the same for all that share its case. Of a time of which nobody knows anything nothing
/// is said but that.
#[must_use]
pub fn now(outcome: &Outcome, unknown_before: Option<DateTime<Utc>>, site: &Site) -> String {
    if let Some(from) = unknown_before {
        let from = from.with_timezone(&site.time_zone).format("%a %-d %b %H:%M");
        return format!(
            "before {from} we know nothing of the cold here: look first whether it is frozen"
        );
    }
    if outcome.past(Limit::FirstIce) && outcome.is_thawed() {
        return "it was ice, by the forecasts of the past days, not measured, and has thawed since"
            .to_owned();
    }
    if outcome.ice_now > 0.0 {
        format!(
            "about {:.0} % ice in it already, by the forecasts of the past days, not measured",
            (outcome.ice_now * 100.0).max(1.0)
        )
    } else {
        let now_c = Celsius::clamped(outcome.temperature_now_c);
        format!(
            "computed temperature of the part now {}",
            in_both_scales(now_c, site.usual_scale())
        )
    }
}

/// The fittings of a tank are small and freeze first.
#[must_use]
pub fn fittings_first(from: DateTime<Utc>, chance: f64, site: &Site) -> String {
    let from = from.with_timezone(&site.time_zone).format("%a %-d %b %H:%M");
    format!(
        "its fittings and stubs freeze long before it: from {from}, chance {:.0} %",
        (chance * 100.0).clamp(1.0, 99.0)
    )
}

const fn words(holds: Holds) -> &'static str {
    match holds {
        Holds::Fresh => "fresh water",
        Holds::Sea => "sea water",
        Holds::Drained => "drained, pockets may be left",
        Holds::Dry => "dry",
        Holds::Blend => "antifreeze blend",
        Holds::Coolant => "coolant",
        Holds::LubeClean => "clean gear oil",
        Holds::LubeWet => "gear oil with water",
        Holds::Charged => "charged battery",
        Holds::Unknown => "unknown",
        Holds::Absent => "not fitted",
    }
}
