//! Temperature and ice share of a part over the heat in it, as straight pieces.

use crate::domain::physics::constants::{HEAT_OF_FUSION_J_KG, ICE_CP_J_KGK, WATER_CP_J_KGK};
use crate::domain::physics::liquid::{BURST_SHARE, Liquid};

/// Steps of ice share along a liquidus.
const SHARE_STEP: f64 = 0.05;

/// A piece flatter than this, in K, is a plateau.
const PLATEAU_BELOW_K: f64 = 1e-6;

/// A straight piece of temperature over heat.
#[derive(Debug, Clone, Copy, PartialEq)]
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
    /// Joules gained in an hour for each kelvin that the air is warmer, while the state stays on the piece.
    pub(super) gain_hour_j_k: f64,
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

/// (temperature C, ice share) from first ice to the end of the data.
fn knots(liquid: &Liquid) -> Vec<(f64, f64)> {
    let first_c = liquid.first_ice().value();
    let Some(end) = liquid.data_end() else { return vec![(first_c, 0.0), (first_c, 1.0)] };
    let mut shares: Vec<f64> =
        (0..20).map(|step| f64::from(step) * SHARE_STEP).chain([BURST_SHARE]).collect();
    // Very weak mixes are nearly plain water: the last of the liquid is followed in halves.
    shares.extend((0..24).map(|halving| 1.0 - SHARE_STEP * 0.5_f64.powi(halving)));
    shares.retain(|share| *share < end.ice_share - 1e-9);
    shares.push(end.ice_share);
    shares.sort_by(f64::total_cmp);
    shares.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
    shares
        .into_iter()
        .map(|share| {
            let t_c = liquid.temperature_at_ice_share(share).unwrap_or(end.temperature).value();
            (t_c, share)
        })
        .collect()
}

/// The pieces from warm to cold, without their hourly gains.
pub(super) fn pieces_of(liquid: &Liquid, thermal: &Thermal) -> Vec<Piece> {
    let knots = knots(liquid);
    let first_c = knots.first().map_or(0.0, |(t_c, _)| *t_c);
    let straight = |capacity: f64, low_j, high_j, at_j, at_c, share| Piece {
        low_j,
        high_j,
        at_j,
        at_c,
        kelvin_per_j: 1.0 / capacity,
        gain_hour_j_k: 0.0,
        share,
        share_per_j: 0.0,
    };
    let warmest = straight(thermal.liquid_j_k, 0.0, f64::INFINITY, 0.0, first_c, 0.0);
    let mut pieces = vec![warmest];
    let mut heat_j = 0.0;
    for ((warm_c, less), (cold_c, more)) in knots.iter().zip(knots.iter().skip(1)) {
        let fall_k = warm_c - cold_c;
        let drop_j =
            thermal.capacity_j_k(0.5 * (less + more)) * fall_k + thermal.fusion_j * (more - less);
        let low_j = heat_j - drop_j;
        pieces.push(Piece {
            low_j,
            high_j: heat_j,
            at_j: heat_j,
            at_c: *warm_c,
            kelvin_per_j: if fall_k < PLATEAU_BELOW_K { 0.0 } else { fall_k / drop_j },
            gain_hour_j_k: 0.0,
            share: *less,
            share_per_j: (less - more) / drop_j,
        });
        heat_j = low_j;
    }
    let (end_c, end_share) = knots.last().copied().unwrap_or((first_c, 0.0));
    let capacity = thermal.capacity_j_k(end_share);
    pieces.push(straight(capacity, f64::NEG_INFINITY, heat_j, heat_j, end_c, end_share));
    pieces
}
