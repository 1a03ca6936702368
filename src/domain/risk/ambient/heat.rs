//! Whether a heated place is heated, and since when, by what the record of its boats says.

use chrono::{DateTime, Utc};

use crate::domain::boat::{BoatState, HeatTurn, SiteId};

/// The heat of a place, with power, as far as the boats there say.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Heat {
    /// Going on and off, oldest first.
    turns: Vec<HeatTurn>,
}

impl Heat {
    /// What most of the boats of `site` say at each time: what is entered for the place reaches them all, and one boat's own
    /// heater heats no shed. Where as many say that it is off, it is.
    #[must_use]
    pub fn of<'a>(states: impl Iterator<Item = &'a BoatState>, site: &SiteId) -> Self {
        let states = states.filter(|state| state.site == *site);
        let mut said: Vec<(HeatTurn, usize)> = states
            .enumerate()
            .flat_map(|(boat, state)| state.heat.iter().map(move |turn| (*turn, boat)))
            .collect();
        said.sort_by_key(|(turn, boat)| (turn.at, *boat));
        let mut boats: Vec<Option<bool>> =
            vec![None; said.iter().map(|(_, boat)| boat + 1).max().unwrap_or(0)];
        let (mut on, mut off) = (0_usize, 0_usize);
        let mut turns: Vec<HeatTurn> = Vec::new();
        for now in said.chunk_by(|(a, _), (b, _)| a.at == b.at) {
            for (turn, boat) in now {
                let Some(before) = boats.get_mut(*boat) else { continue };
                match before.replace(turn.on) {
                    Some(true) => on -= 1,
                    Some(false) => off -= 1,
                    None => {}
                }
                if turn.on { on += 1 } else { off += 1 }
            }
            let is_on = on > off;
            if let Some((turn, _)) = now.first()
                && turns.last().is_none_or(|last| last.on != is_on)
            {
                turns.push(HeatTurn { at: turn.at, on: is_on });
            }
        }
        Self { turns }
    }

    /// As it is switched by hand.
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
