//! `blend`: what have I got, to what does it hold, and how much stronger must it be.
//!
//! Answers a person at the boat from a strength, a reading or a product and the water it met. Temperatures may carry a
//! unit (`20F`, `-12C`); a plain number is in C.

mod acid;
mod mix;
mod remedy;
mod text;
mod answer;
mod input;

use answer::{Answer, has_pocket};
pub(crate) use input::rounded;
pub use input::{BlendArgs, BlendError, parse_temperature};
use input::{named, needs};
use serde_json::{Map, Value, json};

use crate::domain::physics::product::caution;
use crate::domain::physics::{
    BURST_SHARE, Liquid, LiquidError, SLUSH_SHARE, STRONGEST, Solute, volume_from_mass,
};
use crate::domain::units::{Celsius, MassFraction, Salinity, TemperatureScale};
use mix::Mix;

/// Runs the command: text for people, JSON, exit code (0 answered, 2 wrong use or bad input).
#[must_use]
pub fn blend(args: &BlendArgs, first: TemperatureScale) -> (String, Value, u8) {
    match answer(args) {
        Ok(answer) => (text::for_people(&answer, first), as_json(&answer), 0),
        Err(error) => (format!("{error}\n"), json!({ "error": error.to_string() }), 2),
    }
}

pub(crate) fn answer(args: &BlendArgs) -> Result<Answer, BlendError> {
    refuse_meaningless(args)?;
    let (liquid, mix) = match args.fluid.trim().to_ascii_lowercase().replace('_', "-").as_str() {
        "fresh-water" => (Liquid::FreshWater, None),
        "sea-water" => {
            let salinity = args.salinity.ok_or_else(|| needs(args, "--salinity"))?;
            let salinity = named("--salinity", Salinity::new(salinity))?;
            (Liquid::SeaWater { salinity }, None)
        }
        "battery-acid" => (Liquid::BatteryAcid { specific_gravity: acid::of(args)? }, None),
        other => {
            let solute = Solute::parse(other)
                .ok_or_else(|| LiquidError::UnknownFluid(args.fluid.clone()))?;
            let mix = mix::of(args, solute)?;
            (mix.counts(), Some(mix))
        }
    };
    let at = args.at.map(|t| (t, liquid.ice_share_at(t)));
    let remedy = match (args.hold_to, liquid) {
        (Some(_), Liquid::Blend { solute, mass_fraction }) if mass_fraction.value() > STRONGEST => {
            return Err(BlendError::TooStrong { fluid: solute.name() });
        }
        (Some(target), Liquid::Blend { solute, mass_fraction }) => {
            let has = volume_from_mass(solute, mass_fraction);
            let litres = mix.as_ref().and_then(|mix| mix.dilution).map(|mix| mix.litres);
            let left_over = args.left_over_most.or(args.left_over);
            Some(remedy::remedy(solute, has, target, litres, left_over)?)
        }
        _ => None,
    };
    let cautions = cautions(args, &liquid, mix.as_ref(), at);
    Ok(Answer { liquid, mix, at, remedy, cautions })
}

fn refuse_meaningless(args: &BlendArgs) -> Result<(), BlendError> {
    let fluid = args.fluid.trim().to_ascii_lowercase().replace('_', "-");
    let blend = Solute::parse(&fluid).is_some();
    let given = [
        (args.volume.is_some() && !blend, "--volume"),
        (args.mass.is_some() && !blend, "--mass"),
        (args.first_ice.is_some() && !blend, "--first-ice"),
        (args.label.is_some() && !blend, "--label"),
        (args.concentrate.is_some() && !blend, "--concentrate"),
        (args.finished.is_some() && !blend, "--finished"),
        (args.litres.is_some() && !blend, "--litres"),
        (args.left_over.is_some() && !blend, "--left-over"),
        (args.left_over_salinity.is_some() && !blend, "--left-over-salinity"),
        (args.hold_to.is_some() && !blend, "--for"),
        (args.salinity.is_some() && fluid != "sea-water", "--salinity"),
        (args.sg.is_some() && fluid != "battery-acid", "--sg"),
        (args.charge.is_some() && fluid != "battery-acid", "--charge"),
        (args.volts.is_some() && fluid != "battery-acid", "--volts"),
        (args.days.is_some() && fluid != "battery-acid", "--days"),
        (args.flushes.is_some() && !blend, "--flushes"),
        (args.tank.is_some() && !blend, "--tank"),
    ];
    if args.scale.is_some() && args.first_ice.is_none() {
        return Err(BlendError::Needs { fluid, flags: "--first-ice with --scale" });
    }
    let known = blend || ["fresh-water", "sea-water", "battery-acid"].contains(&fluid.as_str());
    match given.into_iter().find(|(wrong, _)| *wrong && known) {
        Some((_, flag)) => Err(BlendError::Meaningless { fluid, flag }),
        None => Ok(()),
    }
}

fn cautions(
    args: &BlendArgs,
    liquid: &Liquid,
    mix: Option<&Mix>,
    at: Option<(Celsius, Option<f64>)>,
) -> Vec<&'static str> {
    let mut cases = Vec::new();
    match liquid {
        Liquid::FreshWater => cases.push("water"),
        Liquid::SeaWater { .. } => cases.push("sea"),
        Liquid::BatteryAcid { .. } => cases.push("acid"),
        Liquid::Blend { solute, mass_fraction } => {
            let x = mass_fraction.value();
            let (low, high) = solute.measured_between();
            let other_x = match mix.and_then(|mix| mix.other_end()) {
                Some((Liquid::Blend { mass_fraction, .. }, _)) => mass_fraction.value(),
                _ => 0.0,
            };
            // What is left between the ice is stronger than what was poured in.
            let past_points = |share: f64| x / (1.0 - share) > high;
            let drawn_on = (liquid.slush().is_some() && past_points(SLUSH_SHARE))
                || (liquid.burst().is_some() && past_points(BURST_SHARE));
            let dilution = mix.and_then(|mix| mix.dilution);
            let cut = args.volume.is_some() && *solute == Solute::EthyleneGlycol;
            let cases_of_blend = [
                (x > STRONGEST || other_x > STRONGEST, "beyond_curve"),
                (x > 0.0 && x <= STRONGEST && !(low..=high).contains(&x), "outside_points"),
                (x <= high && drawn_on, "ice_outside_points"),
                (*solute == Solute::EthyleneGlycol, "poison"),
                (matches!(solute, Solute::Ethanol | Solute::Methanol), "alcohol"),
                (args.first_ice.is_some(), "reading"),
                (args.first_ice.is_none(), "label"),
                (mix.is_some_and(|mix| mix.strongest.is_some()), "range"),
                (cut, "concentrate"),
                (dilution.is_some(), "mixed"),
                (dilution.is_some_and(|mix| mix.salinity.value() > 0.0), "salt_ignored"),
                (liquid.burst().is_none(), "burst_past_data"),
                (liquid.burst().is_some(), "burst_room"),
                (is_weak(*solute, x), "weak_grows"),
            ];
            cases.extend(cases_of_blend.iter().filter(|(so, _)| *so).map(|(_, case)| *case));
        }
    }
    if let (Some((t, None)), Some(end)) = (at, liquid.data_end())
        && t < end.temperature
    {
        cases.push("at_past_data");
    }
    cases.into_iter().filter_map(caution).collect()
}

/// Glycol under a quarter of the volume feeds bacteria.
fn is_weak(solute: Solute, x: f64) -> bool {
    let glycol = matches!(solute, Solute::PropyleneGlycol | Solute::EthyleneGlycol);
    glycol && volume_from_mass(solute, MassFraction::clamped(x)).value() < 0.25
}

fn as_json(answer: &Answer) -> Value {
    let liquid = &answer.liquid;
    let degrees = |t: Option<Celsius>| t.map(|t| rounded(t.value(), 3));
    let (mass, volume) = match liquid {
        Liquid::Blend { solute, mass_fraction } => {
            let volume = volume_from_mass(*solute, *mass_fraction).value();
            (Some(rounded(mass_fraction.value(), 5)), Some(rounded(volume, 5)))
        }
        _ => (None, None),
    };
    let mut object = Map::new();
    let mut put = |name: &str, value: Value| object.insert(name.to_owned(), value);
    put("fluid", json!(liquid.fluid()));
    put("mass_fraction", json!(mass));
    put("volume_fraction", json!(volume));
    put("first_ice_c", json!(degrees(Some(liquid.first_ice()))));
    put("slush_c", json!(degrees(liquid.slush())));
    put("burst_c", json!(degrees(liquid.temperature_at_ice_share(BURST_SHARE))));
    let at = answer.at.and_then(|(t, share)| {
        share.map(|share| json!({ "temperature_c": t.value(), "value": rounded(share, 5) }))
    });
    put("ice_mass_fraction_at", json!(at));
    put("spread_k", json!(liquid.spread_k()));
    put("sources", json!(liquid.sources()));
    put("cautions", json!(answer.cautions));
    if let Some((weakest, strongest)) =
        answer.mix.as_ref().and_then(|mix| Some((mix.weakest, mix.strongest?)))
    {
        put("range", json!({ "weakest": ends(&weakest), "strongest": ends(&strongest) }));
    }
    if let Some(pocket) = answer.mix.as_ref().and_then(|mix| mix.worst_pocket) {
        put("worst_pocket", ends(&pocket));
    }
    if let Some(remedy) = &answer.remedy {
        let mut holds = remedy.as_json();
        if let Some(object) = holds.as_object_mut() {
            object.insert("pockets_of_water".to_owned(), json!(has_pocket(answer)));
        }
        put("for", holds);
    }
    Value::Object(object)
}

/// One end of a range.
fn ends(liquid: &Liquid) -> Value {
    let degrees = |t: Option<Celsius>| t.map(|t| rounded(t.value(), 3));
    let volume = match liquid {
        Liquid::Blend { solute, mass_fraction } => {
            volume_from_mass(*solute, *mass_fraction).value()
        }
        _ => 0.0,
    };
    json!({
        "volume_fraction": rounded(volume, 5),
        "first_ice_c": degrees(Some(liquid.first_ice())),
        "slush_c": degrees(liquid.slush()),
        "burst_c": degrees(liquid.burst()),
    })
}
