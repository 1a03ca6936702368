//! Forecasts of hours that are known by now, as they might have been made: the truth less an error that shrinks as the hour
//! comes near.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::Step;
use super::errors::{ErrorModel, Normals};

/// Hours ahead that are forecast.
pub const AHEAD_H: usize = 240;
/// Hours between issues.
const ISSUE_H: usize = 6;
/// A gap of so many hours is bridged by a straight line.
pub const GAP_H: usize = 12;

/// What the air was, hour by hour, without a gap.
#[derive(Debug, Clone, PartialEq)]
pub struct KnownHours {
    /// The first hour.
    pub from: DateTime<Utc>,
    /// Its temperature and those after it, C.
    pub air_c: Vec<f64>,
}

impl KnownHours {
    /// The hours from `from` until before `until` out of `hours` (by hours since 1970, C). `None` where the first is not
    /// known, or more than [`GAP_H`] in a row are not.
    #[must_use]
    pub fn bridged(
        hours: &BTreeMap<i64, f64>,
        (from, until): (DateTime<Utc>, DateTime<Utc>),
    ) -> Option<Self> {
        let (first, last) = (from.timestamp().div_euclid(3600), until.timestamp().div_euclid(3600));
        let gap = i64::try_from(GAP_H).unwrap_or(12);
        let mut known = hours.range(first - gap..last + gap);
        let (mut at, mut value) = known.next()?;
        let mut air_c = Vec::new();
        for (next, after) in known {
            let length = next - at;
            if length > gap + 1 && *next > first && *at < last {
                return None;
            }
            for hour in (*at).max(first)..(*next).min(last) {
                air_c.push(value + (after - value) * share(hour - at, length));
            }
            (at, value) = (next, after);
        }
        if *at < last {
            air_c.push(*value);
        }
        let whole = usize::try_from(last - first).is_ok_and(|length| length == air_c.len());
        whole.then_some(Self { from, air_c })
    }

    /// The air at a time, C; `None` outside.
    #[must_use]
    pub fn at(&self, time: DateTime<Utc>) -> Option<f64> {
        self.air_c.get(self.index(time)?).copied()
    }

    fn index(&self, time: DateTime<Utc>) -> Option<usize> {
        usize::try_from((time - self.from).num_hours()).ok()
    }
}

/// Forecasts of a winter: what no forecast knows of an hour stays from issue to issue; what becomes known of it between two
/// issues is drawn once, so that one issue after another is less wrong, and each as wrong as the error model says.
#[derive(Debug, Clone)]
pub struct Drawn {
    truth: KnownHours,
    model: ErrorModel,
    /// Standard normal paths: one for the hours themselves, and one for the news of each issue.
    unknown: Vec<f64>,
    news: Vec<Vec<f64>>,
}

impl Drawn {
    /// Draws all issues of a winter. The same seed gives the same forecasts.
    #[must_use]
    pub fn new(truth: KnownHours, seed: u64) -> Self {
        let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
        let mut normals = Normals::new(seed);
        let hours = truth.air_c.len();
        let unknown = path(hours, 0.0, &model, &mut normals);
        let one = |_| path(AHEAD_H + ISSUE_H, model.shift_share, &model, &mut normals);
        let news = (0..=hours / ISSUE_H).map(one).collect();
        Self { truth, model, unknown, news }
    }

    /// What the air was.
    #[must_use]
    pub const fn truth(&self) -> &KnownHours {
        &self.truth
    }

    /// The newest issue at `now`: when it was made, and its hours.
    #[must_use]
    pub fn newest(&self, now: DateTime<Utc>) -> Option<(DateTime<Utc>, Vec<Step>)> {
        let issued = self.truth.index(now)? / ISSUE_H * ISSUE_H;
        let time =
            |hour: usize| Some(self.truth.from + TimeDelta::hours(i64::try_from(hour).ok()?));
        let hours = (issued..issued + AHEAD_H).filter_map(|hour| {
            let forecast = self.truth.air_c.get(hour)? - self.error_k(issued, hour)?;
            Some(Step { temperature_c: Some(forecast), ..Step::empty(time(hour)?) })
        });
        Some((time(issued)?, hours.collect()))
    }

    fn error_k(&self, issued: usize, hour: usize) -> Option<f64> {
        let truth = *self.truth.air_c.get(hour)?;
        let sd = |lead: usize| self.model.sd(f64::from(u32::try_from(lead).unwrap_or(0)), truth);
        let mut error = sd(0) * self.unknown.get(hour)?;
        // The news that come after this issue and before the hour.
        let mut issue = issued + ISSUE_H;
        while issue <= hour {
            let (near, far) = (sd(hour - issue), sd(hour - issue + ISSUE_H));
            let fresh = (far * far - near * near).max(0.0).sqrt();
            error += fresh * self.news.get(issue / ISSUE_H)?.get(hour - issue)?;
            issue += ISSUE_H;
        }
        Some(error)
    }
}

/// A path with the correlation of the error model: a shift and an AR(1) part, together of unit variance.
fn path(hours: usize, shift_share: f64, model: &ErrorModel, normals: &mut Normals) -> Vec<f64> {
    let keep = (-1.0 / model.decay_h).exp();
    let (shift, mut wander) = (normals.normal(), normals.normal());
    (0..hours)
        .map(|_| {
            wander = keep * wander + (1.0 - keep * keep).sqrt() * normals.normal();
            shift_share.sqrt() * shift + (1.0 - shift_share).sqrt() * wander
        })
        .collect()
}

fn share(part: i64, whole: i64) -> f64 {
    let small = |number: i64| f64::from(i32::try_from(number).unwrap_or(i32::MAX));
    small(part) / small(whole.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    fn hours(from: i64, values: &[(i64, f64)]) -> BTreeMap<i64, f64> {
        values.iter().map(|(hour, value)| (from + hour, *value)).collect()
    }

    #[test]
    fn short_gaps_are_bridged_and_long_ones_are_not() {
        let from = at("2020-01-01T00:00:00Z");
        let first = from.timestamp() / 3600;
        let until = from + TimeDelta::hours(6);
        let known = hours(first, &[(0, 0.0), (1, 1.0), (5, 5.0)]);
        let bridged = KnownHours::bridged(&known, (from, until)).unwrap();
        assert_eq!(bridged.air_c, [0.0, 1.0, 2.0, 3.0, 4.0, 5.0]);
        assert_eq!(bridged.at(from + TimeDelta::hours(3)), Some(3.0));
        assert_eq!(bridged.at(until), None);
        let torn = hours(first, &[(0, 0.0), (20, 5.0), (30, 5.0)]);
        assert!(KnownHours::bridged(&torn, (from, from + TimeDelta::hours(31))).is_none());
        let late = hours(first, &[(3, 0.0), (5, 5.0)]);
        assert!(KnownHours::bridged(&late, (from, until)).is_none(), "the first hours are unknown");
    }

    #[test]
    fn each_issue_is_as_wrong_as_the_error_model_says() {
        // Against the model's own standard deviation at that lead, over 2,000 hours drawn with one seed.
        let from = at("2020-01-01T00:00:00Z");
        let truth = KnownHours { from, air_c: vec![0.0; 24_000] };
        let drawn = Drawn::new(truth, 7);
        let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
        for lead in [0_usize, 24, 72, 144] {
            let errors: Vec<f64> = (0..3_900)
                .map(|issue| drawn.error_k(issue * ISSUE_H, issue * ISSUE_H + lead).unwrap())
                .collect();
            let count = f64::from(u32::try_from(errors.len()).unwrap());
            let sd = (errors.iter().map(|error| error * error).sum::<f64>() / count).sqrt();
            let said = model.sd(f64::from(u32::try_from(lead).unwrap()), 0.0);
            assert!((sd / said - 1.0).abs() < 0.08, "lead {lead}: {sd} against {said}");
        }
    }
}
