//! The cases of the protocol: cold cities, October to April, item liquid at 19 h, every value present; and the truth.

use std::collections::BTreeMap;

use chrono::{Datelike, Days, NaiveDate};
use rimeward::domain::weather::fitted::Situation;

use super::archive::{City, Value};
use super::item::{DT, ICE, Item, Nodes, items, weights};

/// One item on one evening.
pub struct Case {
    pub city: usize,
    pub day: NaiveDate,
    pub item: usize,
    pub held: f64,
    pub high_before: f64,
    pub said: Nodes,
    pub truth: [bool; 2],
}

/// Values of four kinds at the leads of the evening issue.
pub const LEAD: [usize; 4] = [0, 1, 2, 3];

pub fn is_season(day: NaiveDate) -> bool {
    !(5..=9).contains(&day.month())
}

pub fn cases(cities: &[City]) -> Vec<Case> {
    let weights = weights();
    let mut all = Vec::new();
    for (index, city) in cities.iter().enumerate().filter(|(_, c)| c.freeze_nights >= 90) {
        for (number, item) in items().iter().enumerate() {
            for (day, held) in evenings(city, item) {
                if !is_season(day) || held < 0.0 {
                    continue;
                }
                let Some((high_before, said, seen)) = values(city, day) else { continue };
                let truth = item.ice(held, high_before, &seen, &weights).map(|ice| ice >= ICE);
                all.push(Case { city: index, day, item: number, held, high_before, said, truth });
            }
        }
    }
    all
}

/// The high of the day, the forecast and the observed values ahead; `None` where one is missing.
fn values(city: &City, day: NaiveDate) -> Option<(f64, Nodes, Nodes)> {
    let (one, two) = (day + Days::new(1), day + Days::new(2));
    let ahead =
        [city.lows.get(&one)?, city.highs.get(&one)?, city.lows.get(&two)?, city.highs.get(&two)?];
    let mut said = [0.0; 4];
    let mut seen = [0.0; 4];
    for (at, value) in ahead.iter().enumerate() {
        said[at] = value.said[LEAD[at]]?;
        seen[at] = value.seen?;
    }
    Some((city.highs.get(&day)?.seen?, said, seen))
}

/// What the item holds at 19 h of each day, by the observed lows and highs until then; holes of up to two days are
/// bridged, after longer ones the run begins anew.
fn evenings(city: &City, item: &Item) -> BTreeMap<NaiveDate, f64> {
    let mut found = BTreeMap::new();
    let (Some(first), Some(last)) = (city.lows.keys().next(), city.lows.keys().next_back()) else {
        return found;
    };
    let days: Vec<NaiveDate> = first.iter_days().take_while(|d| d <= last).collect();
    let lows = bridged(&days, &city.lows);
    let highs = bridged(&days, &city.highs);
    let mut held = 5.0_f64;
    let mut before: Option<f64> = None;
    for ((day, low), high) in days.iter().zip(&lows).zip(&highs) {
        let (Some(low), Some(high), Some(previous)) = (low, high, before) else {
            before = *high;
            held = if before.is_some() { held.max(2.0) } else { 5.0 };
            continue;
        };
        for (hours, from, to) in [(15.0_f64, previous, *low), (9.0, *low, *high)] {
            let steps = (hours / DT).round() as usize;
            for k in 0..steps {
                let f = (k as f64 + 0.5) / steps as f64;
                let f = (1.0 - (std::f64::consts::PI * f).cos()) / 2.0;
                held = item.step(held, from * (1.0 - f) + to * f);
                if steps == 30 && k == 7 {
                    found.insert(*day - Days::new(1), held);
                }
            }
        }
        before = Some(*high);
    }
    found
}

fn bridged(days: &[NaiveDate], values: &BTreeMap<NaiveDate, Value>) -> Vec<Option<f64>> {
    let mut all: Vec<Option<f64>> =
        days.iter().map(|d| values.get(d).and_then(|v| v.seen)).collect();
    let mut last: Option<usize> = None;
    for at in 0..all.len() {
        let Some(here) = all[at] else { continue };
        if let Some(from) = last {
            let gap = at - from;
            let start = all[from].unwrap_or(here);
            for k in 1..gap.min(3) {
                all[from + k] = Some(start + (here - start) * k as f64 / gap as f64);
            }
        }
        last = Some(at);
    }
    // As the protocol's own bridging does, the last value is carried on for up to two days.
    if let Some(from) = last {
        for at in from + 1..all.len().min(from + 3) {
            all[at] = all[from];
        }
    }
    all
}

/// What the newest issues changed in the values on the way to the low of `date`, each against the issue 12 h earlier.
fn revision(city: &City, date: NaiveDate, lead: usize) -> Option<f64> {
    let (low, high) = (&city.lows, &city.highs);
    // Kind, days before, and the index of the newest issue that this evening or morning has of it.
    let on_the_way: &[(&BTreeMap<NaiveDate, Value>, u64, usize)] = match lead {
        1 => &[(high, 1, 0), (low, 1, 0)],
        2 => &[(low, 1, 0), (high, 1, 1)],
        3 => &[(high, 2, 0), (low, 1, 1), (high, 1, 2)],
        _ => &[],
    };
    let changes: Vec<f64> = on_the_way
        .iter()
        .filter_map(|(values, days, newest)| {
            let v = values.get(&(date - Days::new(*days)))?;
            Some(v.said[*newest]? - v.said[*newest + 1]?)
        })
        .collect();
    let n = changes.len() as f64;
    (n > 0.0).then(|| changes.iter().sum::<f64>() / n)
}

/// High less low of the day before the low of `date`: as seen of an evening issue, as forecast otherwise.
fn day_before(city: &City, date: NaiveDate, lead: usize, learns: bool) -> Option<f64> {
    let day = date - Days::new(1);
    let (low, high) = (city.lows.get(&day)?, city.highs.get(&day)?);
    match lead {
        0 if learns => Some(high.seen? - low.seen?),
        0 => None,
        1 => Some(high.said[0]? - low.said[0]?),
        2 => Some(high.said[1]? - low.said[0]?),
        _ => Some(high.said[2]? - low.said[1]?),
    }
}

/// What was known of one value when it was forecast at `lead` (index into 12, 24, 36, 48 h).
///
/// `known_until` is the last day whose low and high count as seen.
pub fn situation(
    city: &City,
    is_low: bool,
    date: NaiveDate,
    lead: usize,
    known_until: NaiveDate,
    learns: bool,
) -> Option<Situation> {
    let own = if is_low { &city.lows } else { &city.highs };
    let value = own.get(&date)?;
    let forecast = value.said[lead]?;
    let mut s =
        Situation::bare(f64::from(date.ordinal()), city.latitude, city.elevation_m, forecast);
    s.coast_km = Some(city.coast_km);
    for (at, earlier) in s.earlier_k.iter_mut().enumerate() {
        let before = lead + 1 + at;
        *earlier = value.said.get(before).copied().flatten().map(|e| e - forecast);
    }
    // The word is that of the 12 h forecast of the night; later nights' words were not known yet.
    s.sky = city.lows.get(&date).and_then(|v| v.sky).filter(|_| is_low && lead == 0);
    // The high before a low, the low before a high: as seen where the day is past, as forecast otherwise.
    let before = if is_low { city.highs.get(&(date - Days::new(1))) } else { city.lows.get(&date) };
    let before_day = if is_low { date - Days::new(1) } else { date };
    s.swing_k =
        before
            .and_then(|v| {
                if before_day <= known_until { v.seen } else { v.said[lead.saturating_sub(1)] }
            })
            .map(|t| t - forecast);
    let after = if is_low { city.highs.get(&date) } else { city.lows.get(&(date + Days::new(1))) };
    // Half a day further ahead in the same issue; beyond the archive's last lead nothing was known yet.
    s.next_k = after.and_then(|v| v.said.get(lead + 1).copied().flatten()).map(|t| t - forecast);
    if is_low {
        s.revision_k = revision(city, date, lead);
        s.day_before_k = day_before(city, date, lead, learns);
    }
    if !learns {
        return Some(s);
    }
    s.change_k = own.get(&known_until).and_then(|v| v.seen).map(|t| t - forecast);
    let error = |values: &BTreeMap<NaiveDate, Value>, day: NaiveDate| {
        let v = values.get(&day)?;
        Some(v.seen? - v.said[0]?)
    };
    s.last_errors_k = [error(&city.lows, known_until), error(&city.highs, known_until)];
    let nights = (0..60).map(|back| known_until - Days::new(back));
    let errors: Vec<f64> = nights.filter_map(|day| error(own, day)).collect();
    let shrunk = |errors: &[f64], by: f64| {
        let n = errors.len() as f64;
        (n > 0.0).then(|| errors.iter().sum::<f64>() / (n + by))
    };
    let other = if is_low { &city.highs } else { &city.lows };
    let back = |back: u64| known_until - Days::new(back);
    s.own_recent_k = shrunk(&(0..7).filter_map(|b| error(own, back(b))).collect::<Vec<_>>(), 5.0);
    s.own_other_k =
        shrunk(&(0..60).filter_map(|b| error(other, back(b))).collect::<Vec<_>>(), 15.0);
    // Of lows as this lead said them; of highs as the last issue did.
    let of_lead = if is_low { lead } else { 0 };
    let like = |day: NaiveDate| {
        let (now, v) = (s.swing_k?, own.get(&day)?);
        let before =
            if is_low { city.highs.get(&(day - Days::new(1))) } else { city.lows.get(&day) }?;
        let before = match of_lead {
            0 => before.seen?,
            more => before.said[more - 1]?,
        };
        let swing = before - v.said[of_lead]?;
        if (swing - now).abs() < 3.0 { Some(v.seen? - v.said[of_lead]?) } else { None }
    };
    s.own_like_k = shrunk(&(0..90).filter_map(|b| like(back(b))).collect::<Vec<_>>(), 8.0);
    if is_low {
        let month = |values: &BTreeMap<NaiveDate, Value>| {
            let seen: Vec<f64> =
                (0..30).filter_map(|b| values.get(&back(b)).and_then(|v| v.seen)).collect();
            let n = seen.len() as f64;
            (n >= 5.0).then(|| seen.iter().sum::<f64>() / n - forecast)
        };
        s.low_anomaly_k = month(&city.lows);
        s.high_anomaly_k = month(&city.highs);
        let newest = (0..5_u32).filter_map(|b| {
            let v = own.get(&back(u64::from(b)))?;
            Some(0.6_f64.powi(b.cast_signed()) * (v.seen? - v.said[lead]?))
        });
        s.own_newest_k = Some(newest.sum());
    }
    let n = errors.len() as f64;
    if n >= 3.0 {
        let mean = errors.iter().sum::<f64>() / n;
        let abs = errors.iter().map(|e| e.abs()).sum::<f64>() / n;
        s.own_bias_k = Some(mean * n / (n + 15.0));
        s.own_abs_k = Some((abs * n + 1.4 * 15.0) / (n + 15.0));
    }
    Some(s)
}
