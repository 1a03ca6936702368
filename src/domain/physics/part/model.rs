//! One part in the air of one hour after another: a single state, the heat in it, from which temperature and ice share
//! follow.
//!
//! Heat is counted from liquid at first ice, in joules: `C (T - Tf)` above it, and below it less the heat of fusion of
//! what is ice. Temperature over heat is a line of straight pieces: one while liquid, the plateau of plain water or the
//! liquidus of a mix within 0.05 K (0.2 K deep in the ice), and one once no more ice forms. On each piece the answer to an hour of
//! steady air is exact (an exponential, or a straight line on the plateau), and a step that leaves its piece is cut
//! there. So a step is stable whatever its length, keeps energy, and two half steps are one whole step.
//!
//! Past the end of a liquid's data the ice share is held. Of battery acid, and of a blend beyond its curve, only first
//! ice is known: it is given a plateau there as if it were water, and its ice share means no more than that ice has
//! begun. Supercooling earns no credit: ice begins at first ice.

use thiserror::Error;

use super::pieces::{
    Piece, Thermal, gain_j_k, pieces_of, pieces_with_plateau, seconds_to, share_on,
};
use crate::domain::physics::constants::SECONDS_PER_HOUR;
use crate::domain::physics::liquid::Liquid;
use crate::domain::units::{Celsius, JoulesPerKelvin, KelvinDelta, Kilograms, WattsPerKelvin};

/// A part that cannot be computed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PartError {
    /// No liquid in it.
    #[error("the part holds {0} kg of liquid: nothing in it can freeze; give more than 0 kg")]
    Empty(f64),
    /// No heat flows.
    #[error(
        "the part's conductance to the air is {0} W/K: it would never follow the air; give more than 0 W/K"
    )]
    NoConductance(f64),
}

/// A part with its liquid, ready for millions of steps. Stepping allocates nothing.
#[derive(Debug, Clone, PartialEq)]
pub struct PartModel {
    /// From warm to cold; never empty; each begins where the one before ends.
    pieces: Vec<Piece>,
    ua_w_k: f64,
    fusion_j: f64,
}

impl PartModel {
    /// A part that holds `water` of `liquid`, has `solid` of metal or plastic, and loses `ua` to the air.
    ///
    /// # Errors
    /// [`PartError`] when it holds nothing or exchanges no heat.
    pub fn new(
        liquid: &Liquid,
        water: Kilograms,
        solid: JoulesPerKelvin,
        ua: WattsPerKelvin,
    ) -> Result<Self, PartError> {
        if water.value() <= 0.0 {
            return Err(PartError::Empty(water.value()));
        }
        if ua.value() <= 0.0 {
            return Err(PartError::NoConductance(ua.value()));
        }
        let thermal = Thermal::of(liquid, water.value(), solid.value());
        let pieces = pieces_of(liquid, &thermal, ua.value());
        Ok(Self { pieces, ua_w_k: ua.value(), fusion_j: thermal.fusion_j })
    }

    /// A part given by its measured response instead of by what it is made of: it freezes at one temperature,
    /// `liquid` and `frozen` are its heat capacities, and `fusion` is the heat that all its ice takes, as a rise of the
    /// liquid part in kelvin.
    ///
    /// # Errors
    /// [`PartError`] when nothing in it freezes, it has no heat capacity, or it exchanges no heat.
    pub fn measured(
        first_ice: Celsius,
        (liquid, frozen): (JoulesPerKelvin, JoulesPerKelvin),
        fusion: KelvinDelta,
        ua: WattsPerKelvin,
    ) -> Result<Self, PartError> {
        let capacities = (liquid.value(), frozen.value());
        let fusion_j = fusion.value() * liquid.value();
        if capacities.1 <= 0.0 || fusion_j <= 0.0 {
            return Err(PartError::Empty(0.0));
        }
        if ua.value() <= 0.0 {
            return Err(PartError::NoConductance(ua.value()));
        }
        let pieces = pieces_with_plateau(first_ice.value(), capacities, fusion_j, ua.value());
        Ok(Self { pieces, ua_w_k: ua.value(), fusion_j })
    }

    /// The state at a temperature with a share of ice (0 to 1), J.
    ///
    /// Below first ice the share in balance with the temperature gives the state on the curve; less ice than that is
    /// supercooled liquid, whose heat the state counts.
    #[must_use]
    pub fn enthalpy_at(&self, temperature: Celsius, ice_share: f64) -> f64 {
        let balanced = self.heat_at_c(temperature.value());
        let share = if ice_share.is_nan() { 0.0 } else { ice_share.clamp(0.0, 1.0) };
        balanced + self.fusion_j * (self.ice_share(balanced) - share)
    }

    /// The state in balance at a temperature, J; at the freezing point of plain water without ice.
    #[must_use]
    pub fn enthalpy_in_balance(&self, temperature: Celsius) -> f64 {
        self.heat_at_c(temperature.value())
    }

    /// The state at which the share `share` is ice, J; `None` where the data end first. The state is below it exactly
    /// when more is ice: one comparison instead of [`PartModel::ice_share`] in an inner loop.
    #[must_use]
    pub fn enthalpy_at_ice_share(&self, share: f64) -> Option<f64> {
        let piece = self.pieces.iter().find(|piece| {
            piece.share_per_j < 0.0
                && share_on(piece, piece.high_j) <= share
                && share <= share_on(piece, piece.low_j)
        })?;
        Some(piece.at_j + (share - piece.share) / piece.share_per_j)
    }

    /// The state after one hour in steady air, J.
    #[inline]
    #[must_use]
    pub fn step_hour(&self, enthalpy: f64, air_c: f64) -> f64 {
        for piece in &self.pieces {
            if enthalpy >= piece.low_j {
                let after = piece.after_hour_j(enthalpy, air_c);
                if after >= piece.low_j && after <= piece.high_j {
                    return after;
                }
                break;
            }
        }
        self.step_across(enthalpy, air_c, SECONDS_PER_HOUR)
    }

    /// The state after `hours` in steady air, J. Wind that multiplies the conductance acts as that many times the hours.
    #[must_use]
    pub fn step(&self, enthalpy: f64, air_c: f64, hours: f64) -> f64 {
        self.step_across(enthalpy, air_c, (hours * SECONDS_PER_HOUR).max(0.0))
    }

    /// Walks `air` (one value an hour, C) from `enthalpy`, calls `visit` with the index and the state at the end of each
    /// hour, and gives the last state.
    pub fn step_hours(
        &self,
        enthalpy: f64,
        air_c: &[f32],
        mut visit: impl FnMut(usize, f64),
    ) -> f64 {
        air_c.iter().enumerate().fold(enthalpy, |state, (hour, air_c)| {
            let after = self.step_hour(state, f64::from(*air_c));
            visit(hour, after);
            after
        })
    }

    /// Temperature of the part, C.
    #[must_use]
    pub fn temperature(&self, enthalpy: f64) -> f64 {
        self.piece_of(enthalpy).map_or(0.0, |piece| piece.temperature_c(enthalpy))
    }

    /// Share of the liquid that is ice, by mass, 0 to 1.
    #[must_use]
    pub fn ice_share(&self, enthalpy: f64) -> f64 {
        self.piece_of(enthalpy).map_or(0.0, |piece| share_on(piece, enthalpy).clamp(0.0, 1.0))
    }

    /// Conductance to the air, W/K.
    #[must_use]
    pub const fn ua_w_k(&self) -> f64 {
        self.ua_w_k
    }

    /// Temperature over heat, from warm to cold.
    pub(super) fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    fn piece_of(&self, heat_j: f64) -> Option<&Piece> {
        self.pieces.iter().find(|piece| heat_j >= piece.low_j).or_else(|| self.pieces.last())
    }

    fn heat_at_c(&self, t_c: f64) -> f64 {
        let piece = self
            .pieces
            .iter()
            .find(|piece| !piece.is_plateau() && t_c >= piece.temperature_c(piece.low_j))
            .or_else(|| self.pieces.last());
        piece.map_or(0.0, |piece| {
            if piece.is_plateau() {
                piece.high_j
            } else {
                piece.at_j + (t_c - piece.at_c) / piece.kelvin_per_j
            }
        })
    }

    /// Hours in steady air from one state to another; `None` when it never gets there.
    #[must_use]
    pub fn hours_to(&self, from: f64, to: f64, air_c: f64) -> Option<f64> {
        let mut heat_j = from;
        let mut seconds = 0.0;
        for _ in 0..=self.pieces.len() {
            if heat_j == to {
                return Some(seconds / SECONDS_PER_HOUR);
            }
            let piece = self.pieces.get(self.index_towards(heat_j, air_c))?;
            let gap_k = air_c - piece.temperature_c(heat_j);
            if (to > heat_j) != (gap_k > 0.0) || gap_k == 0.0 {
                return None;
            }
            let goal_j = to.clamp(piece.low_j, piece.high_j);
            let spent = seconds_to(piece, self.ua_w_k, heat_j, goal_j, air_c);
            if !(spent.is_finite() && spent >= 0.0) {
                return None;
            }
            seconds += spent;
            heat_j = goal_j;
        }
        None
    }

    /// A step that may cross from piece to piece: not a number when the air or the state is none.
    fn step_across(&self, mut heat_j: f64, air_c: f64, mut seconds: f64) -> f64 {
        let mut index = self.index_towards(heat_j, air_c);
        // In steady air the state moves one way, so each piece is met once at most.
        while let Some(piece) = self.pieces.get(index) {
            let gap_k = air_c - piece.temperature_c(heat_j);
            let (edge_j, next) = if gap_k < 0.0 {
                (piece.low_j, Some(index + 1))
            } else {
                (piece.high_j, index.checked_sub(1))
            };
            // Only air beyond the edge's own temperature drives a state over it.
            let left_k = air_c - piece.temperature_c(edge_j);
            if left_k * gap_k > 0.0 {
                let spent = seconds_to(piece, self.ua_w_k, heat_j, edge_j, air_c);
                if let (true, Some(next)) = (spent < seconds, next) {
                    heat_j = edge_j;
                    seconds -= spent;
                    index = next;
                    continue;
                }
            }
            let after = heat_j + gain_j_k(piece, self.ua_w_k, seconds) * gap_k;
            return after.clamp(piece.low_j, piece.high_j);
        }
        heat_j
    }

    /// The piece that the state moves on: on a boundary the colder one when cooling, the warmer one when warming.
    fn index_towards(&self, heat_j: f64, air_c: f64) -> usize {
        let coldest = self.pieces.len().saturating_sub(1);
        let index = self.pieces.iter().position(|piece| heat_j >= piece.low_j).unwrap_or(coldest);
        match self.pieces.get(index) {
            Some(here) if heat_j == here.low_j && air_c < here.temperature_c(heat_j) => index + 1,
            _ => index,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::physics::part::thermal_class;
    use crate::domain::physics::{BURST_SHARE, Solute};
    use crate::domain::units::{MassFraction, Salinity};

    fn model(id: &str, liquid: &Liquid) -> PartModel {
        let class = thermal_class(id).unwrap();
        PartModel::new(liquid, class.water(), class.solid(), class.ua()).unwrap()
    }

    fn blend(x: f64) -> Liquid {
        let mass_fraction = MassFraction::new(x).unwrap();
        Liquid::Blend { solute: Solute::PropyleneGlycol, mass_fraction }
    }

    fn hours_until(model: &PartModel, start: f64, air_c: f64, limit_j: f64) -> f64 {
        let mut state = start;
        (1..400_000)
            .find_map(|step| {
                state = model.step(state, air_c, 0.001);
                (state <= limit_j).then(|| f64::from(step) * 0.001)
            })
            .unwrap()
    }

    #[test]
    fn an_iron_block_takes_the_hours_of_the_closed_form() {
        // 5 C start in -10 C air, closed bay: 2.38 h to 0 C, 3.7 h more to one third, 11.1 h to the whole.
        let block = model("block_closed_bay", &Liquid::FreshWater);
        let start = block.enthalpy_at(Celsius::clamped(5.0), 0.0);
        let at_share = |share| block.enthalpy_at_ice_share(share).unwrap();
        let to_zero = hours_until(&block, start, -10.0, at_share(0.0));
        assert!((to_zero - 2.384).abs() < 0.005, "{to_zero}");
        let to_third = hours_until(&block, start, -10.0, at_share(BURST_SHARE));
        assert!((to_third - to_zero - 3.705).abs() < 0.01, "{to_third}");
        let to_ice = hours_until(&block, start, -10.0, at_share(1.0));
        assert!((to_ice - to_zero - 11.114).abs() < 0.01, "{to_ice}");
    }

    #[test]
    fn frozen_through_it_cools_with_the_heat_capacity_of_ice() {
        let hose = model("hose_25mm", &Liquid::FreshWater);
        let solid = hose.enthalpy_at(Celsius::clamped(-0.000_001), 1.0);
        let tau_frozen_h = thermal_class("hose_25mm").unwrap().tau_frozen_h;
        let after = hose.temperature(hose.step(solid, -10.0, tau_frozen_h));
        assert!((after + 10.0 * (1.0 - (-1.0_f64).exp())).abs() < 0.001, "{after}");
        assert_eq!(hose.ice_share(solid), 1.0);
    }

    #[test]
    fn two_half_steps_are_one_whole_step() {
        for liquid in [Liquid::FreshWater, blend(0.2), blend(0.001)] {
            for id in ["tube_13mm", "block_open_bay", "water_heater"] {
                let model = model(id, &liquid);
                let mut whole = model.enthalpy_in_balance(Celsius::clamped(4.0));
                let mut halves = whole;
                for hour in 0..200 {
                    let air_c = -4.0 + 14.0 * f64::from(hour % 24 - 12) / 12.0;
                    whole = model.step_hour(whole, air_c);
                    for _ in 0..8 {
                        halves = model.step(halves, air_c, 0.125);
                    }
                    let apart = (model.temperature(whole) - model.temperature(halves)).abs();
                    assert!(apart < 1e-7, "{id} {liquid:?} {hour}: {apart}");
                }
            }
        }
    }

    #[test]
    fn a_blend_moves_along_its_liquidus() {
        let model = model("hose_25mm", &blend(0.25));
        for t_c in [-10.0, -12.0, -18.3, -25.0, -40.0] {
            let state = model.enthalpy_in_balance(Celsius::clamped(t_c));
            let lever = blend(0.25).ice_share_at(Celsius::clamped(t_c)).unwrap();
            assert!((model.temperature(state) - t_c).abs() < 1e-9);
            assert!((model.ice_share(state) - lever).abs() < 0.002, "{t_c}");
        }
        let limit = model.enthalpy_at_ice_share(BURST_SHARE).unwrap();
        let burst = blend(0.25).burst().unwrap().value();
        assert!((model.temperature(limit) - burst).abs() < 1e-9);
    }

    #[test]
    fn past_the_end_of_the_data_the_share_is_held() {
        let model = model("hose_25mm", &blend(0.45));
        let cold = model.enthalpy_in_balance(Celsius::clamped(-70.0));
        assert!((model.ice_share(cold) - 0.25).abs() < 1e-9);
        assert_eq!(model.enthalpy_at_ice_share(BURST_SHARE), None);
        let salinity = Salinity::new(35.0).unwrap();
        let sea = self::model("hose_25mm", &Liquid::SeaWater { salinity });
        let frozen = sea.enthalpy_in_balance(Celsius::clamped(-20.0));
        assert!((sea.ice_share(frozen) - 0.708).abs() < 0.001);
    }

    #[test]
    fn ice_is_carried_from_night_to_night() {
        let block = model("block_closed_bay", &Liquid::FreshWater);
        let mut state = block.enthalpy_in_balance(Celsius::clamped(2.0));
        let mut nights = Vec::new();
        for hour in 0..96 {
            state = block.step_hour(state, if hour % 24 < 14 { -2.0 } else { 1.0 });
            if hour % 24 == 13 {
                nights.push(block.ice_share(state));
            }
        }
        assert!(nights.windows(2).all(|pair| pair[1] > pair[0] + 0.05), "{nights:?}");
    }

    #[test]
    fn air_that_is_no_number_gives_no_state() {
        for liquid in [Liquid::FreshWater, blend(0.2)] {
            let model = model("hose_25mm", &liquid);
            let state = model.enthalpy_in_balance(Celsius::clamped(1.0));
            assert!(model.step_hour(state, f64::NAN).is_nan());
            assert!(model.step(state, f64::NAN, 0.5).is_nan());
            assert_eq!(model.hours_to(state, state - 1.0, f64::NAN), None);
        }
    }

    #[test]
    fn a_part_that_has_no_answer_is_refused() {
        let (none, some) = (Kilograms::clamped(0.0), Kilograms::clamped(1.0));
        let solid = JoulesPerKelvin::clamped(0.0);
        let ua = WattsPerKelvin::clamped(1.0);
        let empty = PartModel::new(&Liquid::FreshWater, none, solid, ua);
        assert_eq!(empty.unwrap_err(), PartError::Empty(0.0));
        let sealed = PartModel::new(&Liquid::FreshWater, some, solid, WattsPerKelvin::clamped(0.0));
        assert_eq!(sealed.unwrap_err(), PartError::NoConductance(0.0));
    }
}
