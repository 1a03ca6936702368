//! Temperature and ice share of a part over the heat in it, as straight pieces.

use crate::domain::physics::constants::{
    HEAT_OF_FUSION_J_KG, ICE_CP_J_KGK, SECONDS_PER_HOUR, WATER_CP_J_KGK,
};
use crate::domain::physics::liquid::{BURST_SHARE, Liquid, SLUSH_SHARE};

/// How far the pieces may lie off the liquidus, K: a tenth of what its sources differ by.
const OFF_LIQUIDUS_K: f64 = 0.05;

/// The same once more than a third is ice, where the sources differ by 1 K and more and nothing is decided.
const OFF_LIQUIDUS_DEEP_K: f64 = 0.2;

/// The ends of the pieces are chosen where the rest of the liquid is stronger by this factor, and again.
const STRONGER: f64 = 1.02;

/// Steps of that factor that reach the end of the curve from the weakest mix that is not plain water.
const STEPS_MAX: i32 = 1100;

/// A piece flatter than this, in K, is a plateau.
const PLATEAU_BELOW_K: f64 = 1e-6;

/// A straight piece of temperature over heat.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub(super) struct Piece {
    /// Heat at its cold end, J; minus infinity on the coldest piece.
    pub(super) low_j: f64,
    /// Heat at its warm end, J; infinity on the warmest piece.
    pub(super) high_j: f64,
    /// A point on the piece: heat, J.
    pub(super) at_j: f64,
    /// The same point: temperature, C.
    pub(super) at_c: f64,
    /// Slope, K/J; 0 on a plateau.
    pub(super) kelvin_per_j: f64,
    /// An hour on the piece: joules gained for each kelvin that the air is warmer.
    pub(super) gain_hour_j_k: f64,
    /// The same hour: what is left of a state's distance from balance.
    pub(super) left_after_hour: f64,
    /// Temperature that the piece would have at no heat, below zero, C.
    pub(super) minus_zero_heat_c: f64,
    /// Ice share at the point.
    pub(super) share: f64,
    /// How the ice share falls with heat, 1/J.
    pub(super) share_per_j: f64,
}

impl Piece {
    #[inline]
    pub(super) fn temperature_c(&self, heat_j: f64) -> f64 {
        self.at_c + (heat_j - self.at_j) * self.kelvin_per_j
    }

    /// Prepares the hourly step for a part that loses `ua_w_k`.
    fn with_hour(mut self, ua_w_k: f64) -> Self {
        self.gain_hour_j_k = gain_j_k(&self, ua_w_k, SECONDS_PER_HOUR);
        self.left_after_hour = 1.0 - self.gain_hour_j_k * self.kelvin_per_j;
        self.minus_zero_heat_c = self.at_j * self.kelvin_per_j - self.at_c;
        self
    }

    /// The state after an hour of steady air, if it stays on the piece.
    #[inline]
    pub(super) fn after_hour_j(&self, heat_j: f64, air_c: f64) -> f64 {
        heat_j * self.left_after_hour + self.gain_hour_j_k * (air_c + self.minus_zero_heat_c)
    }

    pub(super) fn is_plateau(&self) -> bool {
        self.kelvin_per_j == 0.0
    }
}

/// Joules gained in `seconds` for each kelvin that the air is warmer.
pub(super) fn gain_j_k(piece: &Piece, ua_w_k: f64, seconds: f64) -> f64 {
    if piece.is_plateau() {
        ua_w_k * seconds
    } else {
        -(-seconds * ua_w_k * piece.kelvin_per_j).exp_m1() / piece.kelvin_per_j
    }
}

/// Seconds from one state to another on the same piece in steady air; not a number or infinite when it never gets there.
pub(super) fn seconds_to(piece: &Piece, ua_w_k: f64, from_j: f64, to_j: f64, air_c: f64) -> f64 {
    let gap_k = air_c - piece.temperature_c(from_j);
    if piece.is_plateau() {
        (to_j - from_j) / (ua_w_k * gap_k)
    } else {
        let left_k = air_c - piece.temperature_c(to_j);
        (gap_k / left_k).ln() / (ua_w_k * piece.kelvin_per_j)
    }
}

pub(super) fn share_on(piece: &Piece, heat_j: f64) -> f64 {
    if piece.share_per_j == 0.0 {
        piece.share
    } else {
        piece.share + (heat_j - piece.at_j) * piece.share_per_j
    }
}

/// What a part is made of, as far as heat goes.
pub(super) struct Thermal {
    liquid_j_k: f64,
    /// What the whole charge loses in heat capacity when it turns to ice.
    freezing_loss_j_k: f64,
    pub(super) fusion_j: f64,
}

impl Thermal {
    pub(super) fn of(liquid: &Liquid, water_kg: f64, solid_j_k: f64) -> Self {
        let cp = match liquid {
            Liquid::Blend { solute, mass_fraction } => solute.mix_cp_j_kgk(mass_fraction.value()),
            _ => WATER_CP_J_KGK,
        };
        Self {
            liquid_j_k: water_kg * cp + solid_j_k,
            freezing_loss_j_k: water_kg * (WATER_CP_J_KGK - ICE_CP_J_KGK),
            fusion_j: water_kg * HEAT_OF_FUSION_J_KG,
        }
    }

    /// Heat capacity with the share `share` frozen, J/K.
    fn capacity_j_k(&self, share: f64) -> f64 {
        self.liquid_j_k - share * self.freezing_loss_j_k
    }
}

/// (temperature C, ice share) from first ice to the end of the data, as few as follow the liquidus closely.
fn knots(liquid: &Liquid) -> Vec<(f64, f64)> {
    let first_c = liquid.first_ice().value();
    let Some(end) = liquid.data_end() else { return vec![(first_c, 0.0), (first_c, 1.0)] };
    let curve: Vec<(f64, f64)> = (0..STEPS_MAX)
        .map(|step| 1.0 - STRONGER.powi(-step))
        .take_while(|share| *share < end.ice_share)
        .chain([SLUSH_SHARE, BURST_SHARE])
        .filter(|share| *share < end.ice_share - 1e-9)
        .chain([end.ice_share])
        .map(|share| {
            let t = liquid.temperature_at_ice_share(share).unwrap_or(end.temperature);
            (t.value(), share)
        })
        .collect();
    thinned(sorted(curve))
}

fn sorted(mut curve: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    curve.sort_by(|a, b| a.1.total_cmp(&b.1));
    curve.dedup_by(|a, b| (a.1 - b.1).abs() < 1e-9);
    curve
}

/// The points of `curve` that are needed to stay close to all of them; the limits of slush and burst are kept.
fn thinned(curve: Vec<(f64, f64)>) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    let mut between: Vec<(f64, f64)> = Vec::new();
    for point in curve {
        let Some(from) = kept.last().copied() else {
            kept.push(point);
            continue;
        };
        let allowed = if point.1 > BURST_SHARE { OFF_LIQUIDUS_DEEP_K } else { OFF_LIQUIDUS_K };
        let close = between.iter().all(|(t_c, share)| {
            let along = (share - from.1) / (point.1 - from.1);
            (from.0 + along * (point.0 - from.0) - t_c).abs() <= allowed
        });
        if let (false, Some(before)) = (close, between.last().copied()) {
            kept.push(before);
            between.clear();
        }
        between.push(point);
        if [SLUSH_SHARE, BURST_SHARE].iter().any(|limit| (point.1 - limit).abs() < 1e-9) {
            kept.push(point);
            between.clear();
        }
    }
    kept.extend(between.last());
    kept
}

/// The pieces from warm to cold of a part that loses `ua_w_k`.
pub(super) fn pieces_of(liquid: &Liquid, thermal: &Thermal, ua_w_k: f64) -> Vec<Piece> {
    let knots = knots(liquid);
    let first_c = knots.first().map_or(0.0, |(t_c, _)| *t_c);
    let warmest = Piece {
        low_j: 0.0,
        high_j: f64::INFINITY,
        at_c: first_c,
        kelvin_per_j: 1.0 / thermal.liquid_j_k,
        ..Piece::default()
    };
    let mut pieces = vec![warmest.with_hour(ua_w_k)];
    let mut heat_j = 0.0;
    for ((warm_c, less), (cold_c, more)) in knots.iter().zip(knots.iter().skip(1)) {
        let fall_k = warm_c - cold_c;
        let drop_j =
            thermal.capacity_j_k(0.5 * (less + more)) * fall_k + thermal.fusion_j * (more - less);
        let piece = Piece {
            low_j: heat_j - drop_j,
            high_j: heat_j,
            at_j: heat_j,
            at_c: *warm_c,
            kelvin_per_j: if fall_k < PLATEAU_BELOW_K { 0.0 } else { fall_k / drop_j },
            share: *less,
            share_per_j: (less - more) / drop_j,
            ..Piece::default()
        };
        heat_j = piece.low_j;
        pieces.push(piece.with_hour(ua_w_k));
    }
    let (end_c, end_share) = knots.last().copied().unwrap_or((first_c, 0.0));
    let coldest = Piece {
        low_j: f64::NEG_INFINITY,
        high_j: heat_j,
        at_j: heat_j,
        at_c: end_c,
        kelvin_per_j: 1.0 / thermal.capacity_j_k(end_share),
        share: end_share,
        ..Piece::default()
    };
    pieces.push(coldest.with_hour(ua_w_k));
    pieces
}

/// The pieces of a part whose content freezes at one temperature: heat capacities in J/K while liquid and once frozen.
pub(super) fn pieces_with_plateau(
    first_c: f64,
    (liquid_j_k, frozen_j_k): (f64, f64),
    fusion_j: f64,
    ua_w_k: f64,
) -> Vec<Piece> {
    let at = Piece { at_c: first_c, ..Piece::default() };
    let pieces = [
        Piece { low_j: 0.0, high_j: f64::INFINITY, kelvin_per_j: 1.0 / liquid_j_k, ..at },
        Piece { low_j: -fusion_j, high_j: 0.0, share_per_j: -1.0 / fusion_j, ..at },
        Piece {
            low_j: f64::NEG_INFINITY,
            high_j: -fusion_j,
            at_j: -fusion_j,
            kelvin_per_j: 1.0 / frozen_j_k,
            share: 1.0,
            ..at
        },
    ];
    pieces.map(|piece| piece.with_hour(ua_w_k)).to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::physics::Solute;
    use crate::domain::units::{Celsius, MassFraction, Salinity};

    #[test]
    fn few_pieces_lie_close_to_every_liquidus() {
        let blends = Solute::ALL.into_iter().flat_map(|solute| {
            [0.001, 0.02, 0.1, 0.3, 0.45]
                .map(|x| Liquid::Blend { solute, mass_fraction: MassFraction::clamped(x) })
        });
        let seas = [0.05, 3.0, 35.0]
            .map(|salinity| Liquid::SeaWater { salinity: Salinity::clamped(salinity) });
        for liquid in blends.chain(seas) {
            let knots = knots(&liquid);
            assert!(knots.len() <= 30, "{liquid:?}: {}", knots.len());
            for pair in knots.windows(2) {
                let (from, to) = (pair[0], pair[1]);
                let deep = to.1 > BURST_SHARE;
                let allowed = if deep { OFF_LIQUIDUS_DEEP_K } else { OFF_LIQUIDUS_K };
                for step in 0..20 {
                    let share = from.1 + (to.1 - from.1) * f64::from(step) / 20.0;
                    let line = from.0 + (to.0 - from.0) * f64::from(step) / 20.0;
                    let curve = liquid.temperature_at_ice_share(share).map_or(line, Celsius::value);
                    assert!(
                        (curve - line).abs() < 1.2 * allowed,
                        "{liquid:?} {share} {curve} {line}"
                    );
                }
            }
        }
    }
}
