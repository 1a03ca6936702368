//! The calculator's answer for people.

use std::fmt::Write as _;

use super::answer::{Answer, has_pocket};
use super::remedy::{Need, Remedy};
use crate::domain::physics::{BURST_SHARE, Liquid, SLUSH_SHARE, volume_from_mass};
use crate::domain::units::{Celsius, TemperatureScale, in_both_scales, kelvin_as_fahrenheit};

pub(super) fn for_people(answer: &Answer, first: TemperatureScale) -> String {
    let liquid = &answer.liquid;
    let say = |t: Celsius| in_both_scales(t, first);
    let mut text = what_it_is(liquid);
    let mix = answer.mix.as_ref();
    if let Some(product) = mix.and_then(|mix| mix.product) {
        let end = match mix.and_then(|mix| mix.other_end()) {
            Some((_, false)) => " at the strongest",
            Some((_, true)) => " at the weakest",
            None => "",
        };
        let _ = write!(text, "{end} ({})", product.what);
    }
    if let Some(mix) = mix.and_then(|mix| mix.dilution) {
        let _ = write!(text, ", once {} L are mixed", tidy(mix.litres.value()));
    }
    let _ = writeln!(text);
    let first_ice = say(liquid.first_ice());
    let _ = writeln!(text, "  first ice       {first_ice}{}", band(liquid, 0.0));
    let or_none = |t: Option<Celsius>| t.map_or_else(|| "not known: the data end".to_owned(), say);
    for (name, share) in [("slush (15 %)   ", SLUSH_SHARE), ("burst (1/3 ice)", BURST_SHARE)] {
        let at = liquid.temperature_at_ice_share(share);
        let band = at.map_or_else(String::new, |_| band(liquid, share));
        let _ = writeln!(text, "  {name} {}{band}", or_none(at));
    }
    if let Some((other, is_strongest)) = mix.and_then(|mix| mix.other_end()) {
        let _ = writeln!(
            text,
            "  at the {}: {}: first ice {}, burst {}",
            if is_strongest { "strongest" } else { "weakest" },
            share(&other),
            say(other.first_ice()),
            or_none(other.burst())
        );
    }
    if let Some(pocket) = mix.and_then(|mix| mix.worst_pocket).filter(|pocket| pocket != liquid) {
        let _ = writeln!(
            text,
            "  worst pocket    {}: plain water where the flow did not reach",
            say(pocket.first_ice())
        );
    }
    if let Some((t, share)) = answer.at {
        let share = share.map_or_else(
            || "not known".to_owned(),
            |share| format!("{:.0} % ice by mass", share * 100.0),
        );
        let _ = writeln!(text, "  at {}: {share}", say(t));
    }
    if let Some(remedy) = &answer.remedy {
        write_remedy(&mut text, remedy, first);
        if has_pocket(answer) {
            let _ = writeln!(
                text,
                "  that is the mixed part: water that the flow did not reach holds to 0 C only; prove every outlet"
            );
        }
    }
    for caution in &answer.cautions {
        let _ = writeln!(text, "  - {caution}");
    }
    for source in liquid.sources() {
        let _ = writeln!(text, "  source: {source}");
    }
    text
}

fn what_it_is(liquid: &Liquid) -> String {
    match liquid {
        Liquid::FreshWater => "fresh water".to_owned(),
        Liquid::SeaWater { salinity } => format!("sea water, salinity {}", tidy(salinity.value())),
        Liquid::BatteryAcid { specific_gravity } => {
            format!("battery acid, specific gravity {:.3}", specific_gravity.value())
        }
        Liquid::Blend { solute, .. } => {
            format!("{}, {}", solute.name().replace('-', " "), share(liquid))
        }
    }
}

fn share(liquid: &Liquid) -> String {
    let Liquid::Blend { solute, mass_fraction } = liquid else { return what_it_is(liquid) };
    format!(
        "{:.1} % by volume, {:.1} % by mass",
        volume_from_mass(*solute, *mass_fraction).value() * 100.0,
        mass_fraction.value() * 100.0
    )
}

fn band(liquid: &Liquid, share: f64) -> String {
    let kelvin = liquid.spread_k_at_ice_share(share);
    if !liquid.has_points_at(share) {
        ", by how much it may be off is not known".to_owned()
    } else if kelvin < 0.05 {
        String::new()
    } else {
        format!(", give or take {kelvin:.1} C ({:.1} F)", kelvin_as_fahrenheit(kelvin))
    }
}

fn write_remedy(text: &mut String, remedy: &Remedy, first: TemperatureScale) {
    let target = in_both_scales(remedy.target, first);
    if remedy.spread_k > 0.0 {
        let _ = writeln!(
            text,
            "  for {target}, with {:.1} C ({:.1} F) in hand for the band of the curve:",
            remedy.spread_k,
            kelvin_as_fahrenheit(remedy.spread_k)
        );
    }
    for (aim, need) in [("without ice", &remedy.no_ice), ("without bursting", &remedy.no_burst)] {
        let percent = need.volume.value() * 100.0;
        if need.missing > 0.0 {
            let _ = writeln!(
                text,
                "  to {target} {aim}: {percent:.0} % by volume, {:.0} points stronger",
                need.missing * 100.0
            );
            write_ways(text, need, remedy);
        } else {
            let _ = writeln!(text, "  to {target} {aim}: it holds ({percent:.0} % would do)");
        }
    }
}

fn write_ways(text: &mut String, need: &Need, remedy: &Remedy) {
    if need.ways.is_empty() {
        let _ = writeln!(text, "      no product class listed here is strong enough");
    }
    for way in &need.ways {
        let of = if remedy.assumed { "of every" } else { "of the" };
        let _ = write!(
            text,
            "      {}: exchange {} L {of} {} L",
            way.what,
            litres_up(way.exchange.value()),
            tidy(remedy.circuit.value())
        );
        if let Some(litres) = way.pour_on_leftover {
            let _ =
                write!(text, ", or drain and pour {} L on what is left", litres_up(litres.value()));
        }
        let _ = writeln!(text);
    }
}

/// Litres to fill in, never too few.
fn litres_up(value: f64) -> String {
    let up = (value * 10.0 - 1e-9).ceil() / 10.0;
    format!("{up}")
}

/// One decimal, none when it is whole.
fn tidy(value: f64) -> String {
    let rounded = (value * 10.0).round() / 10.0;
    format!("{rounded}")
}
