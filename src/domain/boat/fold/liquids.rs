//! What the physics is to freeze in a circuit, and at what temperatures the ice passes its three marks.

use chrono::{DateTime, Utc};

use super::slot::Slot;
use crate::domain::boat::Holds;
use crate::domain::catalogue::{Confinement, TradeLimits};
use crate::domain::physics::{BURST_SHARE, Liquid, SLUSH_SHARE, STRONGEST, Solute, battery};
use crate::domain::units::{Celsius, MassFraction, Salinity, SpecificGravity};

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

/// A liquid and its three temperatures, as far as the contract lets them be told.
#[derive(Debug, Clone, Copy)]
pub(super) struct Freezing {
    pub(super) liquid: Option<Liquid>,
    pub(super) first_ice: Option<Celsius>,
    pub(super) slush: Option<Celsius>,
    pub(super) burst: Option<Celsius>,
}

impl Freezing {
    const NOTHING: Self = Self { liquid: None, first_ice: None, slush: None, burst: None };

    /// Judged as this liquid, without a temperature that could be told.
    const fn judged_as(liquid: Liquid) -> Self {
        Self { liquid: Some(liquid), ..Self::NOTHING }
    }

    fn told(liquid: Liquid, first_ice: Celsius) -> Self {
        Self {
            liquid: Some(liquid),
            first_ice: Some(first_ice),
            slush: liquid.temperature_at_ice_share(SLUSH_SHARE),
            burst: liquid.temperature_at_ice_share(BURST_SHARE),
        }
    }
}

/// The blends that one fold has met: several circuits share one reading, and each costs an inversion of the curve.
#[derive(Default)]
pub(super) struct Liquids(Vec<(Solute, f64, Freezing)>);

impl Liquids {
    /// What freezes in `slot`; fresh water where nothing better is known.
    pub(super) fn of(
        &mut self,
        slot: &Slot<'_>,
        limits: &TradeLimits,
        at: DateTime<Utc>,
    ) -> Freezing {
        let acid =
            |gravity| Liquid::BatteryAcid { specific_gravity: SpecificGravity::clamped(gravity) };
        match slot.holds {
            Holds::Dry | Holds::Absent | Holds::LubeClean => Freezing::NOTHING,
            Holds::Fresh | Holds::Drained | Holds::LubeWet => {
                Freezing::told(Liquid::FreshWater, Celsius::FREEZING)
            }
            Holds::Sea => {
                let sea = Liquid::SeaWater { salinity: Salinity::clamped(limits.sea_salinity) };
                Freezing::told(sea, sea.first_ice())
            }
            Holds::Charged => match slot.specific_gravity {
                Some(gravity) => {
                    // It has lost some since it was read, and nobody may have looked again.
                    let days =
                        slot.read_at.map_or(0.0, |read| (at - read).as_seconds_f64() / DAY_S);
                    let now = battery::gravity_after(gravity, days, battery::stands_at_c(), None);
                    Freezing::told(acid(now), acid(now).first_ice())
                }
                None => Freezing::judged_as(acid(limits.battery_flat_sg)),
            },
            Holds::Unknown if slot.kind.confinement == Confinement::Chemical => {
                Freezing::judged_as(acid(limits.battery_flat_sg))
            }
            Holds::Unknown => Freezing::judged_as(Liquid::FreshWater),
            Holds::Blend => self.mix(slot, Solute::PropyleneGlycol),
            Holds::Coolant => self.mix(slot, Solute::EthyleneGlycol),
        }
    }

    fn mix(&mut self, slot: &Slot<'_>, usual: Solute) -> Freezing {
        // Antifreeze of no known strength protects nobody: it is judged as water.
        let Some(first_ice_c) = slot.first_ice_c else {
            return Freezing::judged_as(Liquid::FreshWater);
        };
        let solute = slot.solute.unwrap_or(usual);
        let known = self.0.iter().find(|(of, at, _)| *of == solute && *at == first_ice_c);
        if let Some((_, _, freezing)) = known {
            return *freezing;
        }
        let first_ice = Celsius::clamped(first_ice_c);
        let liquid = Liquid::blend_from_first_ice(solute, first_ice).unwrap_or(
            // Colder than the data go: the strongest that they know.
            Liquid::Blend { solute, mass_fraction: MassFraction::clamped(STRONGEST) },
        );
        let freezing = Freezing::told(liquid, first_ice);
        self.0.push((solute, first_ice_c, freezing));
        freezing
    }
}
