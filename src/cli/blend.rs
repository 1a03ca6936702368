//! `blend`: what have I got, to what does it hold, and how much stronger must it be.
//!
//! Answers a person at the boat from a strength, a reading or a product and the water it met. Temperatures may carry a
//! unit (`20F`, `-12C`); a plain number is in C.

mod acid;
mod mix;
mod remedy;
mod text;

use serde_json::{Map, Value, json};
use thiserror::Error;

use crate::domain::physics::product::caution;
use crate::domain::physics::reading::NotEvidence;
use crate::domain::physics::{
    BURST_SHARE, Liquid, LiquidError, SLUSH_SHARE, STRONGEST, Solute, TableError, volume_from_mass,
};
use crate::domain::units::{Celsius, MassFraction, Salinity, TemperatureScale, UnitError};
use mix::Mix;

/// Arguments of `blend`.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct BlendArgs {
    /// fresh-water, sea-water, propylene-glycol, ethylene-glycol, ethanol, methanol, glycerol or battery-acid
    #[arg(long)]
    pub fluid: String,
    /// The product by its label, such as -50F, -100F, 50/50 or concentrate: answered as a range, weakest to strongest
    #[arg(long, group = "strength", allow_hyphen_values = true)]
    pub label: Option<String>,
    /// Strength as on a jug's mixing table, litres of bought concentrate over litres of concentrate and water: 0.5 or 50%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub concentrate: Option<f64>,
    /// Strength as a share of the volumes of pure antifreeze and water before mixing: 0.30 or 30%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub volume: Option<f64>,
    /// Strength as litres of pure glycol in a litre of the finished mix, as laboratory tables give it: 0.31 or 31%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub finished: Option<f64>,
    /// Strength as a share of the mass: 0.31 or 31%
    #[arg(long, value_parser = parse_share, group = "strength", allow_hyphen_values = true)]
    pub mass: Option<f64>,
    /// Strength as read off a refractometer on the scale of this fluid: -13, -13C or 9F
    #[arg(long, value_parser = parse_temperature, group = "strength", allow_hyphen_values = true)]
    pub first_ice: Option<Celsius>,
    /// The scale that was read, if it is not that of the fluid: then the reading is refused
    #[arg(long, requires = "first_ice")]
    pub scale: Option<String>,
    /// Litres of the product that went in
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub litres: Option<f64>,
    /// Litres of water that were left in the circuit
    #[arg(long, requires = "litres", allow_hyphen_values = true)]
    pub left_over: Option<f64>,
    /// Litres of water that may have been left at the most, where nobody knows: --left-over is then the least
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub left_over_most: Option<f64>,
    /// Share of the left-over water that the flow is known to have reached, such as 100%; not said is not known
    #[arg(long, requires = "left_over", value_parser = parse_share, allow_hyphen_values = true)]
    pub reached: Option<f64>,
    /// Flushed so many times, each time with that many litres
    #[arg(long, requires = "litres", value_parser = clap::value_parser!(u32).range(1..=100))]
    pub flushes: Option<u32>,
    /// The product comes from a tank of so many litres that goes from boat to boat
    #[arg(long, requires = "boats", allow_hyphen_values = true)]
    pub tank: Option<f64>,
    /// Boats that the tank has gone through, each of which left the left-over litres in it
    #[arg(long, requires_all = ["tank", "left_over"], value_parser = clap::value_parser!(u32).range(0..=1000))]
    pub boats: Option<u32>,
    /// Practical salinity of the water that was left, 0 to 42
    #[arg(long, requires = "left_over", allow_hyphen_values = true)]
    pub left_over_salinity: Option<f64>,
    /// Practical salinity of sea water, 0 to 42
    #[arg(long, allow_hyphen_values = true)]
    pub salinity: Option<f64>,
    /// Specific gravity of battery acid at 25 C, 1.0 to 1.4
    #[arg(long, allow_hyphen_values = true)]
    pub sg: Option<f64>,
    /// Or: its charge, such as 75%
    #[arg(long, value_parser = parse_share, conflicts_with = "sg", allow_hyphen_values = true)]
    pub charge: Option<f64>,
    /// Or: volts of a 12 V battery that has rested for hours without load or charger
    #[arg(long, conflicts_with_all = ["sg", "charge"], allow_hyphen_values = true)]
    pub volts: Option<f64>,
    /// Days that the battery will have stood without a charger
    #[arg(long, allow_hyphen_values = true)]
    pub days: Option<f64>,
    /// Milliamperes of a load that stays on
    #[arg(long, requires_all = ["days", "amp_hours"], allow_hyphen_values = true)]
    pub load_ma: Option<f64>,
    /// Ampere-hours of the battery
    #[arg(long, requires = "load_ma", allow_hyphen_values = true)]
    pub amp_hours: Option<f64>,
    /// Say how much of it is ice at this temperature
    #[arg(long, value_parser = parse_temperature, allow_hyphen_values = true)]
    pub at: Option<Celsius>,
    /// Say how much stronger it must be to hold to this temperature, and how many litres of which product
    #[arg(long = "for", value_name = "TEMPERATURE", value_parser = parse_temperature, allow_hyphen_values = true)]
    pub hold_to: Option<Celsius>,
}

/// A question that cannot be answered as put.
#[derive(Debug, Error)]
pub enum BlendError {
    /// A liquid that cannot be.
    #[error(transparent)]
    Liquid(#[from] LiquidError),
    /// A reading that tells no strength.
    #[error("--first-ice: {0}")]
    Reading(#[from] NotEvidence),
    /// A label that no product of this fluid bears.
    #[error(
        "--label {label}: no class of {fluid} bears it here; known: {known}; else give --volume from the data sheet"
    )]
    UnknownLabel {
        /// Which fluid.
        fluid: &'static str,
        /// What was given.
        label: String,
        /// What there is.
        known: String,
    },
    /// Nobody has said how much the mix shrinks.
    #[error(
        "--finished: how much a mix of {fluid} shrinks is known here for the two glycols only; give --volume or --mass"
    )]
    Shrinkage {
        /// Which fluid.
        fluid: &'static str,
    },
    /// More than is less than the least.
    #[error("--left-over-most {most}: must not be less than --left-over {least}")]
    LessThanLeast {
        /// What was given as the most.
        most: f64,
        /// And as the least.
        least: f64,
    },
    /// A number outside its range.
    #[error("{flag}: {source}")]
    Value {
        /// Which flag.
        flag: &'static str,
        /// What is wrong.
        source: UnitError,
    },
    /// A number outside its range.
    #[error("{flag} {value}: must be a number from 0 to {most}")]
    OutOfRange {
        /// Which flag.
        flag: &'static str,
        /// What was given.
        value: f64,
        /// The most that makes sense.
        most: f64,
    },
    /// Volts that no battery of six cells has at rest.
    #[error(
        "--volts {volts}: a 12 V battery at rest, hours after load and charger, has 11.2 to 13.2 V; measure it again"
    )]
    NotRested {
        /// What was given.
        volts: f64,
    },
    /// A flag is missing.
    #[error("{fluid} needs {flags}")]
    Needs {
        /// Which fluid.
        fluid: String,
        /// What to give.
        flags: &'static str,
    },
    /// A flag means nothing for this fluid.
    #[error("{flag} means nothing for {fluid}; leave it out")]
    Meaningless {
        /// Which fluid.
        fluid: String,
        /// Which flag.
        flag: &'static str,
    },
    /// No mix does it.
    #[error(
        "no {fluid} is known to hold to {t_c} C: the curve ends at {end_c:.1} C{}; use another fluid or drain it",
        if *spread_k > 0.0 { format!(", and is uncertain by {spread_k:.1} C") } else { String::new() }
    )]
    TooCold {
        /// Which fluid.
        fluid: &'static str,
        /// What was asked for.
        t_c: f64,
        /// Where the curve ends.
        end_c: f64,
        /// How far published curves lie apart there, K.
        spread_k: f64,
    },
    /// Stronger than any published curve.
    #[error(
        "this {fluid} is stronger than {STRONGEST} by mass, where published figures end and stronger is not colder: dilute it with water first, then ask again"
    )]
    TooStrong {
        /// Which fluid.
        fluid: &'static str,
    },
    /// A table of the catalogue does not read.
    #[error(transparent)]
    Table(#[from] TableError),
}

/// What the calculator found.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    /// What counts: of a range the end that freezes first.
    pub liquid: Liquid,
    /// How it came about, of a blend.
    pub mix: Option<Mix>,
    /// The temperature asked for and the ice share there, where known.
    pub at: Option<(Celsius, Option<f64>)>,
    pub remedy: Option<remedy::Remedy>,
    pub cautions: Vec<&'static str>,
}

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

/// May water lie where the flow did not reach?
fn has_pocket(answer: &Answer) -> bool {
    let pocket = answer.mix.as_ref().and_then(|mix| mix.worst_pocket);
    pocket.is_some_and(|pocket| pocket != answer.liquid)
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

pub(crate) fn rounded(value: f64, digits: i32) -> f64 {
    let scale = 10_f64.powi(digits);
    let rounded = (value * scale).round() / scale;
    if rounded == 0.0 { 0.0 } else { rounded }
}

fn needs(args: &BlendArgs, flags: &'static str) -> BlendError {
    BlendError::Needs { fluid: args.fluid.clone(), flags }
}

fn named<T>(flag: &'static str, value: Result<T, UnitError>) -> Result<T, BlendError> {
    value.map_err(|source| BlendError::Value { flag, source })
}

/// A share: `0.3` or `30%`.
fn parse_share(text: &str) -> Result<f64, String> {
    let (number, scale) = match text.trim().strip_suffix('%') {
        Some(percent) => (percent, 0.01),
        None => (text, 1.0),
    };
    let share = number.trim().parse::<f64>().map(|number| number * scale);
    share.ok().filter(|share| (0.0..=1.0).contains(share)).ok_or_else(|| {
        "must be a share from 0 to 1, or a percentage with its sign: 0.3 or 30%".to_owned()
    })
}

/// A temperature with an optional unit; a plain number is in C.
///
/// # Errors
/// Says what would be right.
pub fn parse_temperature(text: &str) -> Result<Celsius, String> {
    let trimmed = text.trim();
    let (number, fahrenheit) = match trimmed.strip_suffix(['F', 'f']) {
        Some(number) => (number, true),
        None => (trimmed.strip_suffix(['C', 'c']).unwrap_or(trimmed), false),
    };
    let number = number.trim().trim_end_matches('°').trim_end();
    let value: f64 = number
        .parse()
        .map_err(|_| format!("`{text}` is no temperature; write it like -12, -12C or 10F"))?;
    let degrees = if fahrenheit { Celsius::from_fahrenheit(value) } else { Celsius::new(value) };
    degrees.map_err(|error| error.to_string())
}
