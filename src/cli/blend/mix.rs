//! What is in the circuit by what was poured in: a strength or a label in, weakest and strongest out.

use super::input::{BlendArgs, BlendError, named, needs};
use crate::domain::physics::product::{Product, products};
use crate::domain::physics::reading::Reading;
use crate::domain::physics::{
    ConcentrateShare, Dilution, Liquid, LiquidError, Solute, SolutionShare, StrengthRange, dilute,
    flush_repeatedly, mass_from_volume, recycled_tank, volume_from_mass, worst_pocket,
};
use crate::domain::units::{Fraction, Litres, MassFraction, Salinity, VolumeFraction};

/// A mix: one strength, or two between which it lies.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Mix {
    /// The weakest that it may be.
    pub weakest: Liquid,
    /// The strongest, where that is not the same.
    pub strongest: Option<Liquid>,
    /// What the left-over water made of the weakest.
    pub dilution: Option<Dilution>,
    /// What lies where the flow did not reach; `None` where nothing was left over.
    pub worst_pocket: Option<Liquid>,
    /// The product by its label.
    pub product: Option<&'static Product>,
}

impl Mix {
    /// What counts: the end that freezes first. That is the weakest up to 0.60 by mass; above, stronger is not colder.
    pub(crate) fn counts(&self) -> Liquid {
        match self.strongest {
            Some(strongest) if strongest.first_ice() > self.weakest.first_ice() => strongest,
            _ => self.weakest,
        }
    }

    /// The other end of the range, and whether it is the strongest.
    pub(crate) fn other_end(&self) -> Option<(Liquid, bool)> {
        let strongest = self.strongest?;
        let turned = self.counts() == strongest;
        Some(if turned { (self.weakest, false) } else { (strongest, true) })
    }
}

/// The mix in the circuit: the product, or the product with the water that was left.
pub(super) fn of(args: &BlendArgs, solute: Solute) -> Result<Mix, BlendError> {
    let (product, label) = poured_in(args, solute)?;
    let (litres, left_over) = match (args.litres, args.left_over) {
        (Some(litres), Some(left_over)) => (litres, left_over),
        (None, None) => return Ok(undiluted(solute, product, label)),
        _ => return Err(needs(args, "--litres and --left-over together")),
    };
    let litres = named("--litres", Litres::new(litres))?;
    let least = named("--left-over", Litres::new(left_over))?;
    let most = args.left_over_most.unwrap_or(left_over);
    let most = named("--left-over-most", Litres::new(most))?;
    if most < least {
        return Err(BlendError::LessThanLeast { most: most.value(), least: least.value() });
    }
    let weak = mixed(args, product.low, litres, most)?;
    let strong = mixed(args, product.high, litres, least)?;
    let reached = named("--reached", Fraction::new(args.reached.unwrap_or(0.0)))?;
    let liquid = |volume| Liquid::Blend { solute, mass_fraction: mass_from_volume(solute, volume) };
    Ok(Mix {
        weakest: liquid(weak.mixed),
        strongest: (strong.mixed > weak.mixed).then(|| liquid(strong.mixed)),
        worst_pocket: (most.value() > 0.0).then(|| liquid(worst_pocket(weak.mixed, reached))),
        dilution: Some(weak),
        product: label,
    })
}

fn undiluted(solute: Solute, range: StrengthRange, product: Option<&'static Product>) -> Mix {
    let liquid = |volume| Liquid::blend_by_volume(solute, volume);
    Mix {
        weakest: liquid(range.low),
        strongest: (range.high > range.low).then(|| liquid(range.high)),
        dilution: None,
        worst_pocket: None,
        product,
    }
}

/// The strength of what was poured in.
fn poured_in(
    args: &BlendArgs,
    solute: Solute,
) -> Result<(StrengthRange, Option<&'static Product>), BlendError> {
    let one = |strength| StrengthRange { low: strength, high: strength };
    if let Some(label) = &args.label {
        let product = labelled(solute, label)?;
        return Ok((product.strength(), Some(product)));
    }
    if let Some(share) = args.concentrate {
        let share = named("--concentrate", Fraction::new(share))?;
        let product = labelled(solute, CONCENTRATE)?;
        let of = |solute_in_concentrate| ConcentrateShare { share, solute_in_concentrate };
        let range = product.strength();
        let (low, high) = (of(range.low).as_volume(), of(range.high).as_volume());
        return Ok((StrengthRange { low, high }, Some(product)));
    }
    if let Some(share) = args.finished {
        let share = SolutionShare(named("--finished", Fraction::new(share))?);
        let volume = share.as_volume(solute);
        let volume = volume.ok_or_else(|| BlendError::Shrinkage { fluid: solute.name() })?;
        return Ok((one(volume), None));
    }
    let strength = match (args.volume, args.mass, args.first_ice) {
        (Some(volume), None, None) => named("--volume", VolumeFraction::new(volume))?,
        (None, Some(mass), None) => {
            volume_from_mass(solute, named("--mass", MassFraction::new(mass))?)
        }
        (None, None, Some(first_ice)) => {
            // Without a scale the one of the fluid is meant: the flag says so.
            let scale = match &args.scale {
                Some(name) => Some(
                    Solute::parse(name).ok_or_else(|| LiquidError::UnknownFluid(name.clone()))?,
                ),
                None => Some(solute),
            };
            let reading = Reading { first_ice, scale, fluid: Some(solute), calibrated: true };
            match reading.as_liquid()? {
                Liquid::Blend { mass_fraction, .. } => volume_from_mass(solute, mass_fraction),
                _ => VolumeFraction::clamped(0.0),
            }
        }
        _ => {
            let flags = "exactly one of --label, --concentrate, --volume, --finished, --mass and --first-ice";
            return Err(needs(args, flags));
        }
    };
    Ok((one(strength), None))
}

/// The label of what is to be cut with water.
const CONCENTRATE: &str = "concentrate";

/// The class of product with that label, or by its name in the catalogue.
fn labelled(solute: Solute, label: &str) -> Result<&'static Product, BlendError> {
    let of_fluid = || products().map(|all| all.iter().filter(move |one| one.solute == solute));
    let found = of_fluid()?.find(|product| product.is_labelled(label));
    let Some(found) = found else {
        let known: Vec<&str> = of_fluid()?.map(|product| product.label.as_str()).collect();
        let known = match known.join(", ").replace(';', ", ") {
            known if known.is_empty() => "none".to_owned(),
            known => known,
        };
        let (fluid, label) = (solute.name(), label.to_owned());
        return Err(BlendError::UnknownLabel { fluid, label, known });
    };
    Ok(found)
}

/// The product, weakened by a yard's tank, flushed onto what was left over.
fn mixed(
    args: &BlendArgs,
    product: VolumeFraction,
    litres: Litres,
    left_over: Litres,
) -> Result<Dilution, BlendError> {
    let product = match (args.tank, args.boats) {
        (Some(tank), Some(boats)) => {
            recycled_tank(product, named("--tank", Litres::new(tank))?, left_over, boats)?
        }
        _ => product,
    };
    let salinity = args.left_over_salinity.map(Salinity::new).transpose();
    let mut mix = dilute(product, litres, left_over, named("--left-over-salinity", salinity)?)?;
    if let Some(times) = args.flushes.filter(|times| *times > 1) {
        mix.mixed = flush_repeatedly(product, litres, left_over, times)?;
        // The salt goes out with the first flushes: not counted on.
        mix.salinity = Salinity::clamped(0.0);
    }
    Ok(mix)
}
