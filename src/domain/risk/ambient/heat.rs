//! Whether a heated place is heated, and since when.

use chrono::{DateTime, Utc};

use crate::domain::boat::HeatTurn;

/// The heat of a place, with power, as far as what is entered for the place says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Heat {
    /// Going on and off, oldest first.
    turns: Vec<HeatTurn>,
}

impl Heat {
    /// As it went on and off.
    #[must_use]
    pub const fn switched(turns: Vec<HeatTurn>) -> Self {
        Self { turns }
    }

    /// Is it on? Not said is off.
    #[must_use]
    pub fn on(&self) -> bool {
        self.turns.last().is_some_and(|turn| turn.on)
    }

    /// Was it on at `time`? Before it is first said to have gone off it was on, and before it is first said to have gone on it
    /// was off.
    #[must_use]
    pub fn was_on(&self, time: DateTime<Utc>) -> bool {
        let turned = self.turns.iter().rfind(|turn| turn.at <= time);
        match turned {
            Some(turn) => turn.on,
            None => self.turns.first().is_some_and(|turn| !turn.on),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;

    #[test]
    fn before_the_first_word_it_was_the_other_way() {
        let at: DateTime<Utc> = "2022-12-10T05:00:00Z".parse().unwrap();
        let cut = Heat::switched(vec![HeatTurn { at, on: false }]);
        assert!(cut.was_on(at - TimeDelta::hours(1)) && !cut.was_on(at) && !cut.on());
        let lit = Heat::switched(vec![HeatTurn { at, on: true }]);
        assert!(!lit.was_on(at - TimeDelta::hours(1)) && lit.was_on(at) && lit.on());
        assert!(!Heat::default().on() && !Heat::default().was_on(at));
    }
}
