//! Scores of `../SCORING.md`'s kind: Brier, value, hits and false alarms, reliability, and ranges by whole weeks.

use std::collections::BTreeMap;

use rimeward::domain::weather::errors::Normals;
use serde_json::{Value, json};

/// One judged case: chance said, what came, and the week in which it was.
#[derive(Debug, Clone, Copy)]
pub struct Judged {
    pub chance: f64,
    pub came: bool,
    pub week: i32,
}

/// Times that whole weeks are drawn again.
const DRAWS: usize = 1000;

pub fn brier(all: &[Judged]) -> f64 {
    all.iter().map(|j| (j.chance - f64::from(u8::from(j.came))).powi(2)).sum::<f64>()
        / all.len() as f64
}

/// Relative economic value at a cost over loss (Richardson 2000), acting from `from` on.
pub fn value(all: &[Judged], cost: f64, from: f64) -> f64 {
    let n = all.len() as f64;
    let acted = all.iter().filter(|j| j.chance >= from).count() as f64 / n;
    let missed = all.iter().filter(|j| j.chance < from && j.came).count() as f64 / n;
    let base = all.iter().filter(|j| j.came).count() as f64 / n;
    let climate = cost.min(base);
    (climate - (acted * cost + missed)) / (climate - base * cost)
}

/// Hit rate and false-alarm ratio at a threshold.
pub fn hits(all: &[Judged], from: f64) -> (f64, f64) {
    let warned = all.iter().filter(|j| j.chance >= from).count() as f64;
    let hit = all.iter().filter(|j| j.chance >= from && j.came).count() as f64;
    let came = all.iter().filter(|j| j.came).count() as f64;
    (hit / came.max(1.0), 1.0 - hit / warned.max(1.0))
}

/// 5 and 95 % of a statistic over weeks drawn again, all cities together.
pub fn range(all: &[Judged], score: impl Fn(&[Judged]) -> f64) -> (f64, f64) {
    let mut weeks: BTreeMap<i32, Vec<Judged>> = BTreeMap::new();
    for judged in all {
        weeks.entry(judged.week).or_default().push(*judged);
    }
    let weeks: Vec<Vec<Judged>> = weeks.into_values().collect();
    let mut normals = Normals::new(20_210_130);
    let mut drawn: Vec<f64> = (0..DRAWS)
        .map(|_| {
            let mut again = Vec::with_capacity(all.len());
            for _ in 0..weeks.len() {
                let at = (normals.uniform() * weeks.len() as f64) as usize;
                again.extend_from_slice(&weeks[at.min(weeks.len() - 1)]);
            }
            score(&again)
        })
        .collect();
    drawn.sort_by(f64::total_cmp);
    (drawn[DRAWS / 20], drawn[DRAWS - DRAWS / 20 - 1])
}

/// Edges of the reliability bins, as in the protocol.
const EDGES: [f64; 8] = [0.0, 0.05, 0.15, 0.3, 0.5, 0.7, 0.9, 1.01];

pub fn bins(all: &[Judged]) -> Vec<Value> {
    EDGES
        .windows(2)
        .filter_map(|edge| {
            let inside: Vec<Judged> =
                all.iter().copied().filter(|j| (edge[0]..edge[1]).contains(&j.chance)).collect();
            if inside.is_empty() {
                return None;
            }
            let n = inside.len() as f64;
            let said = inside.iter().map(|j| j.chance).sum::<f64>() / n;
            let seen = |some: &[Judged]| {
                some.iter().filter(|j| j.came).count() as f64 / some.len().max(1) as f64
            };
            let off = |some: &[Judged]| {
                seen(some) - some.iter().map(|j| j.chance).sum::<f64>() / some.len().max(1) as f64
            };
            let (low, high) = range(&inside, off);
            Some(json!({
                "n": inside.len(), "said": round(said), "seen": round(seen(&inside)),
                "seen_less_said_90": [round(low), round(high)],
            }))
        })
        .collect()
}

pub fn round(value: f64) -> f64 {
    (value * 10_000.0).round() / 10_000.0
}
