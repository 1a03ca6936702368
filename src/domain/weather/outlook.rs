//! One outlook out of what several services say: hour by hour a mixture of their distributions, weighted by how wrong each is
//! known to be, so that disagreement shows as width and never as a false middle.
//!
//! Published quantiles and members are used where there are any; raw members are two to four times too sure and are
//! widened (ECMWF ensemble against one station, 2015-2020: the missing part is a constant 1.2 K at every lead). A service
//! that publishes one number gets the error model's spread. The place's own part is added where paths are drawn.

pub mod brief;
pub mod mixture;
pub mod spread;
mod spot;

pub use spot::Spot;
use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};

use super::errors::ErrorModel;
use super::{Forecast, Step};
use mixture::{Part, quantiles};
use spread::HourError;

/// Air cools by so much with height, K/m (standard atmosphere, ISO 2533).
const LAPSE_K_PER_M: f64 = 0.0065;
/// Smaller differences of height are not corrected: they lie below the services' own rounding, m.
pub const HEIGHT_APART_M_MIN: f64 = 50.0;
/// What raw members lack, K: measured at Hannover at leads of 24 to 120 h (1.03 to 1.09) and Magdeburg (1.3).
const MEMBERS_LACK_K: f64 = 1.2;
/// Published bands are not believed to be narrower than this standard deviation, K (choice).
const SD_K_MIN: f64 = 0.8;
/// The 10 and 90 % quantiles of a normal distribution lie so many standard deviations from its middle.
const SD_TO_DECILE: f64 = 1.2816;
/// An issue older than this, in hours, is believed less ...
const AGEING_FROM_H: f64 = 6.0;
/// ... by this much for each hour of its age, K, added in quadrature (choice).
const AGEING_K_PER_H: f64 = 0.05;
/// Most that one service counts among several.
const WEIGHT_MAX: f64 = 0.6;
/// Middles of the coming nights' lows further apart than this are told to people, K ...
const APART_K: f64 = 3.0;
/// ... within so many hours.
const APART_HOURS: i64 = 48;

/// One service's newest issue, and what is known of the service.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
    /// The issue.
    pub forecast: &'a Forecast,
    /// Has the service corrected its temperatures to the place's own height?
    pub height_corrected: bool,
    /// How wrong each hour is known to be, in the order of its steps, where the service publishes nothing of it; empty: the
    /// default model.
    pub fitted: &'a [HourError],
}

/// The outlook from `at` on, of one source or several in the configured order; `None` of none.
///
/// The service's name is theirs joined with `+`; the time of issue is that of the newest. Hours carry the middle as
/// temperature and the 10 and 90 % quantiles.
#[must_use]
pub fn combine(sources: &[Source<'_>], spot: Spot, at: DateTime<Utc>) -> Option<Forecast> {
    let first = sources.first()?;
    let mut hours: BTreeMap<DateTime<Utc>, (Vec<Part>, Step)> = BTreeMap::new();
    for source in sources {
        for (index, step) in source.forecast.steps.iter().enumerate() {
            let place = hours.entry(step.time);
            let (parts, joined) = place.or_insert_with(|| (Vec::new(), Step::empty(step.time)));
            joined.dewpoint_c = joined.dewpoint_c.or(step.dewpoint_c);
            joined.wind_ms = joined.wind_ms.or(step.wind_ms);
            joined.cloud = joined.cloud.or(step.cloud);
            joined.precipitation_mm = joined.precipitation_mm.or(step.precipitation_mm);
            joined.snow_cm = joined.snow_cm.or(step.snow_cm);
            parts.extend(part(source, index, step, spot, at));
        }
    }
    let mut steps = Vec::with_capacity(hours.len());
    for (parts, mut step) in hours.into_values() {
        let parts = weighted(&parts);
        if let Some([low, middle, high]) = quantiles(&parts, [0.1, 0.5, 0.9]) {
            (step.p10_c, step.temperature_c, step.p90_c) = (Some(low), Some(middle), Some(high));
        }
        steps.push(step);
    }
    let mut warnings: Vec<String> = Vec::new();
    for source in sources {
        let name = &source.forecast.service;
        warnings.extend(source.forecast.warnings.iter().map(|w| format!("{name}: {w}")));
    }
    warnings.extend(disagreement(sources, spot, at));
    let names: Vec<&str> = sources.iter().map(|s| s.forecast.service.as_str()).collect();
    Some(Forecast {
        service: names.join("+"),
        issued_at: sources.iter().map(|s| s.forecast.issued_at).max()?,
        cell_elevation_m: first.forecast.cell_elevation_m,
        missing: steps.iter().filter(|s| s.temperature_c.is_none()).count(),
        steps,
        minima: first.forecast.minima.clone(),
        members: Vec::new(),
        warnings,
    })
}

/// One service's distribution of one hour; `None` where it says nothing.
fn part(
    source: &Source<'_>,
    index: usize,
    step: &Step,
    spot: Spot,
    at: DateTime<Utc>,
) -> Option<Part> {
    let forecast = source.forecast;
    let stated = step.temperature_c?;
    let shift = height_shift_k(source, step, spot);
    let age_h = hours(at - forecast.issued_at);
    let ageing = if age_h > AGEING_FROM_H { AGEING_K_PER_H * age_h } else { 0.0 };
    let (mut centre, mut below_k, mut above_k) = match (step.p10_c, step.p90_c) {
        (Some(low), Some(high)) if low < high => {
            if forecast.members.is_empty() {
                published(stated, low, high)
            } else {
                let raw = (high - low) / (2.0 * SD_TO_DECILE);
                let wide = raw.hypot(MEMBERS_LACK_K);
                let (below, above) = ((stated - low).max(0.0), (high - stated).max(0.0));
                // The members' lean is kept, the width is widened.
                let lean = if below + above > 0.0 { below / (below + above) } else { 0.5 };
                (
                    stated,
                    2.0 * wide * lean.clamp(0.3, 0.7),
                    2.0 * wide * (1.0 - lean).clamp(0.3, 0.7),
                )
            }
        }
        _ => {
            let lead_h = hours(step.time - forecast.issued_at).max(0.0);
            let model = ErrorModel { place_sd_k: 0.0, ..ErrorModel::default() };
            let fitted = source.fitted.get(index).copied();
            let error = fitted
                .unwrap_or_else(|| HourError { shift_k: 0.0, sd_k: model.sd(lead_h, stated) });
            (stated + error.shift_k, error.sd_k, error.sd_k)
        }
    };
    centre += shift;
    below_k = below_k.hypot(ageing);
    above_k = above_k.hypot(ageing);
    Some(Part { weight: 1.0, centre, below_k, above_k })
}

/// A two-piece normal through published quantiles; where the value lies outside of them, a normal between them.
fn published(value: f64, low: f64, high: f64) -> (f64, f64, f64) {
    let sd = |width: f64| (width / SD_TO_DECILE).max(SD_K_MIN);
    if value > low && value < high {
        (value, sd(value - low), sd(high - value))
    } else {
        let half = (high - low) / 2.0;
        (low + half, sd(half), sd(half))
    }
}

/// What the difference of height between cell and place adds, K; half of it on clear calm hours, when cold air lies in
/// the low places.
fn height_shift_k(source: &Source<'_>, step: &Step, spot: Spot) -> f64 {
    let apart_m = source.forecast.cell_elevation_m.map_or(0.0, |cell| cell - spot.elevation_m);
    if source.height_corrected || apart_m.abs() < HEIGHT_APART_M_MIN {
        return 0.0;
    }
    let is_still = step.cloud.is_some_and(|c| c < 0.25) && step.wind_ms.is_some_and(|w| w < 2.0);
    LAPSE_K_PER_M * apart_m * if is_still { 0.5 } else { 1.0 }
}

/// Weights by the inverse of the variance, none above [`WEIGHT_MAX`] among several.
fn weighted(parts: &[Part]) -> Vec<Part> {
    let raw = |p: &Part| 1.0 / ((p.below_k + p.above_k) / 2.0).powi(2);
    let total: f64 = parts.iter().map(raw).sum();
    let share = |p: &Part| {
        let share = raw(p) / total;
        if parts.len() > 1 { share.min(WEIGHT_MAX) } else { share }
    };
    let kept: f64 = parts.iter().map(share).sum();
    // What the cap takes from one goes to the others in proportion.
    let capped = |p: &Part| parts.len() > 1 && raw(p) / total > WEIGHT_MAX;
    let free: f64 = parts.iter().filter(|p| !capped(p)).map(share).sum();
    parts
        .iter()
        .map(|p| {
            let extra = if capped(p) || free <= 0.0 { 0.0 } else { (1.0 - kept) * share(p) / free };
            Part { weight: share(p) + extra, ..*p }
        })
        .collect()
}

/// Words for services whose coming lows lie far apart.
fn disagreement(sources: &[Source<'_>], spot: Spot, at: DateTime<Utc>) -> Option<String> {
    let until = at + TimeDelta::hours(APART_HOURS);
    let lows: Vec<(f64, &str)> =
        sources.iter().filter_map(|s| low_between(s, spot, at, until)).collect();
    let coldest = lows.iter().min_by(|a, b| a.0.total_cmp(&b.0))?;
    let mildest = lows.iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (mildest.0 - coldest.0 > APART_K).then(|| {
        format!(
            "the services disagree on the low of the next {APART_HOURS} h: {:.1} C ({}) against {:.1} C ({})",
            coldest.0, coldest.1, mildest.0, mildest.1
        )
    })
}

/// The lowest temperature that a source has in `[from, until)`, at the place's height, and its name.
fn low_between<'a>(
    source: &Source<'a>,
    spot: Spot,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Option<(f64, &'a str)> {
    let steps = source.forecast.steps.iter().enumerate();
    let ahead = steps.filter(|(_, s)| s.time >= from && s.time < until);
    let fitted = |index: usize| source.fitted.get(index).map_or(0.0, |error| error.shift_k);
    let values = ahead.filter_map(|(index, s)| {
        Some(s.temperature_c? + height_shift_k(source, s, spot) + fitted(index))
    });
    values.min_by(f64::total_cmp).map(|t| (t, source.forecast.service.as_str()))
}

fn hours(span: TimeDelta) -> f64 {
    span.as_seconds_f64() / 3600.0
}

#[cfg(test)]
mod tests {
    use super::*;

    const SPOT: Spot = Spot { latitude: 44.2, longitude: -69.1, elevation_m: 5.0 };

    fn now() -> DateTime<Utc> {
        "2022-11-20T00:00:00Z".parse().unwrap()
    }

    fn issue(service: &str, celsius: f64, band: Option<(f64, f64)>) -> Forecast {
        let steps = (0..72)
            .map(|h| Step {
                temperature_c: Some(celsius),
                p10_c: band.map(|b| celsius - b.0),
                p90_c: band.map(|b| celsius + b.1),
                ..Step::empty(now() + TimeDelta::hours(h))
            })
            .collect();
        Forecast {
            service: service.into(),
            issued_at: now(),
            cell_elevation_m: None,
            steps,
            minima: vec![],
            members: vec![],
            missing: 0,
            warnings: vec![],
        }
    }

    fn source(forecast: &Forecast) -> Source<'_> {
        Source { forecast, height_corrected: true, fitted: &[] }
    }

    fn step(forecast: &Forecast) -> (f64, f64, f64) {
        let s = &forecast.steps[10];
        (s.p10_c.unwrap(), s.temperature_c.unwrap(), s.p90_c.unwrap())
    }

    #[test]
    fn one_service_keeps_its_published_band() {
        let one = issue("a", -2.0, Some((2.5, 1.5)));
        let (low, middle, high) = step(&combine(&[source(&one)], SPOT, now()).unwrap());
        // A two-piece normal leans: its quantiles are near, not at, the published ones.
        assert!((low + 4.5).abs() < 0.35 && (high + 0.5).abs() < 0.35, "{low} {middle} {high}");
        let narrow = issue("a", -2.0, Some((0.1, 0.1)));
        let (low, _, high) = step(&combine(&[source(&narrow)], SPOT, now()).unwrap());
        assert!((high - low - 2.0 * 0.8 * 1.2816).abs() < 0.02);
    }

    #[test]
    fn members_are_widened() {
        let mut raw = issue("a", -2.0, Some((0.8, 0.8)));
        raw.members = vec![vec![Some(-2.0); 72]; 10];
        let (low, _, high) = step(&combine(&[source(&raw)], SPOT, now()).unwrap());
        let sd = (high - low) / (2.0 * 1.2816);
        let expect = (0.8_f64 / 1.2816).hypot(1.2);
        assert!((sd - expect).abs() < 0.02, "{sd} {expect}");
    }

    #[test]
    fn disagreement_is_width_and_words() {
        let (cold, mild) =
            (issue("cold", -6.0, Some((2.0, 2.0))), issue("mild", 0.0, Some((2.0, 2.0))));
        let both = combine(&[source(&cold), source(&mild)], SPOT, now()).unwrap();
        let (low, middle, high) = step(&both);
        assert!((middle + 3.0).abs() < 0.1 && low < -6.5 && high > 0.5, "{low} {middle} {high}");
        assert_eq!(both.service, "cold+mild");
        assert!(both.warnings.iter().any(|w| w.contains("disagree")), "{:?}", both.warnings);
    }

    #[test]
    fn no_service_counts_for_more_than_its_cap() {
        let part = |sd: f64| Part { weight: 1.0, centre: 0.0, below_k: sd, above_k: sd };
        let weights: Vec<f64> =
            weighted(&[part(0.8), part(3.0)]).iter().map(|p| p.weight).collect();
        assert!((weights[0] - 0.6).abs() < 1e-9 && (weights[1] - 0.4).abs() < 1e-9, "{weights:?}");
    }

    #[test]
    fn a_high_cell_is_brought_down_only_where_the_service_has_not() {
        let mut high = issue("a", -2.0, Some((2.0, 2.0)));
        high.cell_elevation_m = Some(405.0);
        let raw = Source { height_corrected: false, ..source(&high) };
        let (_, corrected, _) = step(&combine(&[raw], SPOT, now()).unwrap());
        let (_, kept, _) = step(&combine(&[source(&high)], SPOT, now()).unwrap());
        assert!((corrected - kept - 2.6).abs() < 0.01, "{corrected} {kept}");
    }

    #[test]
    fn an_old_issue_is_believed_less() {
        let one = issue("a", -2.0, Some((2.0, 2.0)));
        let width = |at| {
            let (low, _, high) = step(&combine(&[source(&one)], SPOT, at).unwrap());
            high - low
        };
        assert!(width(now() + TimeDelta::hours(20)) > width(now()) + 0.3);
    }
}
