//! How much stronger a mix must be to hold to a temperature, and how many litres of which product make it so.

use serde_json::{Value, json};

use super::input::{BlendError, named, rounded};
use crate::domain::physics::product::{litres_to_add, litres_to_exchange, products};
use crate::domain::physics::{BURST_SHARE, STRONGEST, Solute, volume_from_mass};
use crate::domain::units::{Celsius, Litres, MassFraction, VolumeFraction};

/// Litres that an answer is given for when the circuit's volume is not known.
const PER_LITRES: f64 = 10.0;

/// What a mix needs to hold to a temperature.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Remedy {
    pub target: Celsius,
    /// So much colder was reckoned for the band of the curve, K.
    pub spread_k: f64,
    /// Litres in the circuit; `assumed` when nobody said.
    pub circuit: Litres,
    pub assumed: bool,
    /// To stay free of ice.
    pub no_ice: Need,
    /// Not to burst, slush allowed.
    pub no_burst: Need,
}

/// A strength to reach and how.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Need {
    pub volume: VolumeFraction,
    /// How much is missing; 0 when it holds already.
    pub missing: f64,
    pub ways: Vec<Way>,
}

/// One product that does it, taken at the weakest that its label allows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Way {
    pub product: &'static str,
    pub what: &'static str,
    /// Litres of the mix to let out and of the product to fill in.
    pub exchange: Litres,
    /// Litres of the product on the water that was left, instead of what went in.
    pub pour_on_leftover: Option<Litres>,
}

pub(crate) fn remedy(
    solute: Solute,
    has: VolumeFraction,
    target: Celsius,
    circuit: Option<Litres>,
    left_over: Option<f64>,
) -> Result<Remedy, BlendError> {
    let too_cold = || BlendError::TooCold {
        fluid: solute.name(),
        t_c: target.value(),
        end_c: solute.first_ice_c(STRONGEST),
        spread_k: solute.spread_k(STRONGEST),
    };
    let cold_c = target.value().min(0.0);
    let just = solute.mass_fraction_at_c(cold_c).ok_or_else(too_cold)?;
    // As much colder as published curves lie apart at that strength: it is to hold by the warmest of them.
    let spread_k = if cold_c < 0.0 { solute.spread_k(just) } else { 0.0 };
    let strongest = solute.mass_fraction_at_c(cold_c - spread_k).ok_or_else(too_cold)?;
    // One third ice leaves a liquid one and a half times as strong.
    let enough = strongest * (1.0 - BURST_SHARE);
    let left_over = left_over.map(Litres::new).transpose();
    let left_over = named("--left-over", left_over)?;
    let assumed = circuit.is_none();
    let circuit = circuit.unwrap_or_else(|| Litres::clamped(PER_LITRES));
    let need = |x: f64| need(solute, has, MassFraction::clamped(x), circuit, left_over);
    Ok(Remedy {
        target,
        spread_k,
        circuit,
        assumed,
        no_ice: need(strongest)?,
        no_burst: need(enough)?,
    })
}

fn need(
    solute: Solute,
    has: VolumeFraction,
    mass: MassFraction,
    circuit: Litres,
    left_over: Option<Litres>,
) -> Result<Need, BlendError> {
    let volume = volume_from_mass(solute, mass);
    let missing = (volume.value() - has.value()).max(0.0);
    let ways = products()?
        .iter()
        .filter(|product| product.solute == solute && missing > 0.0)
        .filter_map(|product| {
            Some(Way {
                product: &product.id,
                what: &product.what,
                exchange: litres_to_exchange(circuit, has, volume, product.low)?,
                pour_on_leftover: left_over.and_then(|left| {
                    let litres = litres_to_add(left, volume, product.low)?;
                    // More than went in and stayed there before may not fit.
                    (litres + left <= circuit).then_some(litres)
                }),
            })
        })
        .collect();
    Ok(Need { volume, missing, ways })
}

impl Remedy {
    pub(crate) fn as_json(&self) -> Value {
        let need = |need: &Need| {
            let ways: Vec<Value> = need
                .ways
                .iter()
                .map(|way| {
                    json!({
                        "product": way.product,
                        "exchange_litres": rounded(way.exchange.value(), 2),
                        "pour_on_left_over_litres":
                            way.pour_on_leftover.map(|litres| rounded(litres.value(), 2)),
                    })
                })
                .collect();
            json!({
                "volume_fraction": rounded(need.volume.value(), 4),
                "stronger_by": rounded(need.missing, 4),
                "products": ways,
            })
        };
        json!({
            "temperature_c": self.target.value(),
            "spread_k": self.spread_k,
            "circuit_litres": self.circuit.value(),
            "circuit_litres_assumed": self.assumed,
            "no_ice": need(&self.no_ice),
            "no_burst": need(&self.no_burst),
        })
    }
}
