//! Chance words: which class a chance falls in, how it is rounded, and its natural frequency.
//!
//! The classes merge two published scales that conflict (the US weather service's precipitation words and the IPCC's
//! AR5 guidance note), therefore the number always stands beside the word. The words themselves are phrases.

use serde::{Deserialize, Serialize};

/// A chance class. The order is ascending.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ChanceClass {
    /// Under 5 %.
    VeryUnlikely,
    /// 5 to under 25 %.
    SmallChance,
    /// 25 to under 45 %.
    Chance,
    /// 45 to 55 %.
    AboutAsLikelyAsNot,
    /// Over 55 to under 80 %.
    Likely,
    /// 80 to 95 %.
    VeryLikely,
    /// Over 95 %.
    AlmostCertain,
}

/// A chance as people are told it: rounded, with its class. Class and number always agree, since the class is taken
/// from the rounded number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpokenChance {
    /// Whole per cent, 1 to 99: "under 5" and "over 95" are written with these ends.
    pub percent: u8,
    /// Under 5 % or over 95 %: the number is a bound.
    pub bound: bool,
    /// The class.
    pub class: ChanceClass,
}

impl SpokenChance {
    /// Rounds a chance (0 to 1; anything else is clamped): to 10 between 10 and 90, to 5 below and above, never to 0
    /// or 100: what is under 5 or over 95 is said as a bound.
    #[must_use]
    pub fn of(chance: f64) -> Self {
        let percent = if chance.is_nan() { 0.0 } else { (chance * 100.0).clamp(0.0, 100.0) };
        if percent < 5.0 {
            return Self { percent: 5, bound: true, class: ChanceClass::VeryUnlikely };
        }
        if percent > 95.0 {
            return Self { percent: 95, bound: true, class: ChanceClass::AlmostCertain };
        }
        let step = if (10.0..=90.0).contains(&percent) { 10.0 } else { 5.0 };
        let rounded = STEPS
            .into_iter()
            .min_by(|a, b| {
                let to = (percent / step).round() * step;
                (f64::from(*a) - to).abs().total_cmp(&(f64::from(*b) - to).abs())
            })
            .unwrap_or(50);
        Self { percent: rounded, bound: false, class: ChanceClass::of_percent(rounded) }
    }

    /// `70 %`, `under 5 %`, `over 95 %`.
    #[must_use]
    pub fn number(&self) -> String {
        match (self.bound, self.class) {
            (true, ChanceClass::VeryUnlikely) => format!("under {} %", self.percent),
            (true, _) => format!("over {} %", self.percent),
            (false, _) => format!("{} %", self.percent),
        }
    }

    /// `7 in 10`, `1 in 20`, `fewer than 1 in 20`.
    #[must_use]
    pub fn frequency(&self) -> String {
        let count = match self.percent {
            50 => "1 in 2".to_owned(),
            20 => "1 in 5".to_owned(),
            tens if tens % 10 == 0 => format!("{} in 10", tens / 10),
            fives => format!("{} in 20", fives / 5),
        };
        match (self.bound, self.class) {
            (true, ChanceClass::VeryUnlikely) => format!("fewer than {count}"),
            (true, _) => format!("more than {count}"),
            (false, _) => count,
        }
    }
}

/// The whole per cents that are ever said.
const STEPS: [u8; 11] = [5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95];

impl ChanceClass {
    /// The class of a chance as people are told it.
    #[must_use]
    pub fn of(chance: f64) -> Self {
        SpokenChance::of(chance).class
    }

    const fn of_percent(percent: u8) -> Self {
        match percent {
            0..5 => Self::VeryUnlikely,
            5..25 => Self::SmallChance,
            25..45 => Self::Chance,
            45..=55 => Self::AboutAsLikelyAsNot,
            56..80 => Self::Likely,
            80..=95 => Self::VeryLikely,
            _ => Self::AlmostCertain,
        }
    }

    /// The key of its phrase.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::VeryUnlikely => "very_unlikely",
            Self::SmallChance => "small_chance",
            Self::Chance => "chance",
            Self::AboutAsLikelyAsNot => "about_as_likely_as_not",
            Self::Likely => "likely",
            Self::VeryLikely => "very_likely",
            Self::AlmostCertain => "almost_certain",
        }
    }

    /// Every class, ascending.
    pub const ALL: [Self; 7] = [
        Self::VeryUnlikely,
        Self::SmallChance,
        Self::Chance,
        Self::AboutAsLikelyAsNot,
        Self::Likely,
        Self::VeryLikely,
        Self::AlmostCertain,
    ];
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_rounded_to_tens_and_at_the_ends_to_fives() {
        for (chance, number, frequency, class) in [
            (0.0, "under 5 %", "fewer than 1 in 20", ChanceClass::VeryUnlikely),
            (0.06, "5 %", "1 in 20", ChanceClass::SmallChance),
            (0.12, "10 %", "1 in 10", ChanceClass::SmallChance),
            (0.22, "20 %", "1 in 5", ChanceClass::SmallChance),
            (0.31, "30 %", "3 in 10", ChanceClass::Chance),
            (0.52, "50 %", "1 in 2", ChanceClass::AboutAsLikelyAsNot),
            (0.70, "70 %", "7 in 10", ChanceClass::Likely),
            (0.90, "90 %", "9 in 10", ChanceClass::VeryLikely),
            (0.94, "95 %", "19 in 20", ChanceClass::VeryLikely),
            (1.0, "over 95 %", "more than 19 in 20", ChanceClass::AlmostCertain),
        ] {
            let spoken = SpokenChance::of(chance);
            assert_eq!(spoken.number(), number, "{chance}");
            assert_eq!(spoken.frequency(), frequency, "{chance}");
            assert_eq!(spoken.class, class, "{chance}");
        }
    }

    #[test]
    fn more_chance_is_never_a_lower_class() {
        let mut before = ChanceClass::VeryUnlikely;
        for thousandth in 0..=1000 {
            let class = ChanceClass::of(f64::from(thousandth) / 1000.0);
            assert!(class >= before, "{thousandth}");
            before = class;
        }
    }
}
