//! How many boats one cold may take: the members of the forecast are taken jointly, since the same cold meets them all.

use super::count;

/// The day by whose evening a boat has been damaged, member by member; [`NEVER`] where it is not.
pub type DamageDays = Vec<u8>;

/// No damage within the days looked at.
pub const NEVER: u8 = u8::MAX;

/// Chances that at least so many boats are damaged.
#[derive(Debug, Clone, PartialEq)]
pub struct Tail {
    /// For each number asked for, the share of members with at least so many.
    pub chances: Vec<(usize, f64)>,
    /// Mean number of damaged boats.
    pub mean: f64,
    /// Members that were counted.
    pub members: usize,
}

/// Counts, member by member, the boats whose damage comes before their work ends. `boats` holds for each boat its damage
/// days and the day on which its work ends (`None`: never); all boats have the same members.
#[must_use]
pub fn tail(boats: &[(&DamageDays, Option<usize>)], at_least: &[usize]) -> Tail {
    let members = boats.iter().map(|(days, _)| days.len()).min().unwrap_or(0);
    let mut damaged = vec![0_usize; members];
    for (days, done_on) in boats {
        // Damage by the evening of the day on which the work ends counts: it may have come the night before.
        let until = done_on.map_or(NEVER - 1, |day| u8::try_from(day).unwrap_or(NEVER - 1));
        for (number, day) in damaged.iter_mut().zip(days.iter()) {
            *number += usize::from(*day <= until);
        }
    }
    let share = |least: usize| {
        let over = damaged.iter().filter(|number| **number >= least).count();
        count(over) / count(members.max(1))
    };
    Tail {
        chances: at_least.iter().map(|least| (*least, share(*least))).collect(),
        mean: damaged.iter().map(|n| count(*n)).sum::<f64>() / count(members.max(1)),
        members,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_cold_that_takes_all_boats_is_seen_as_such() {
        // Two members: in one of them nothing freezes, in the other all three boats do on day 1.
        let days = vec![1, NEVER];
        let boats = [(&days, Some(0)), (&days, Some(1)), (&days, None)];
        let found = tail(&boats, &[1, 2, 3]);
        assert_eq!(found.chances, [(1, 0.5), (2, 0.5), (3, 0.0)]);
        assert_eq!(found.mean, 1.0);
    }
}
