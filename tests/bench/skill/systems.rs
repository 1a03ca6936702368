//! The systems side by side on the same cases.

use chrono::{Datelike, Days, NaiveDate};
use rimeward::domain::weather::error_table::{ErrorTable, Kind as Sort};
use rimeward::domain::weather::errors::{normal_share, tail_share};
use rimeward::domain::weather::fitted::{Fitted, NAMES};

use super::archive::City;
use super::cases::{Case, cases, is_season, situation};
use super::item::{ICE, Nodes, items, weights};
use super::model::{NU, Root, Sample, fit, root, standard};
use super::score::Judged;

/// Members of each chance.
const MEMBERS: usize = 400;
const FOLDS: usize = 5;
/// Correlation of the first baseline's errors, its bias and its tails.
const BASE_CORRELATION: [[f64; 4]; 4] = [
    [1.0, 0.10, 0.20, 0.05],
    [0.10, 1.0, 0.15, 0.25],
    [0.20, 0.15, 1.0, 0.10],
    [0.05, 0.25, 0.10, 1.0],
];
const BASE_BIAS: f64 = 0.15;
const BASE_NU: f64 = 8.0;

/// What is scored: an event, a horizon, and each system's judged cases.
pub struct Row {
    pub item: String,
    pub horizon_h: u32,
    pub system: &'static str,
    pub judged: Vec<Judged>,
}

/// A value that is forecast: low or high, so many days ahead of the evening or morning, at which lead.
#[derive(Clone, Copy)]
pub struct Kind {
    pub is_low: bool,
    pub lead: usize,
    /// Days from the last day that is known to the value's own date.
    pub ahead: u64,
}

/// The evening issue's four values.
const EVENING: [Kind; 4] = [
    Kind { is_low: true, lead: 0, ahead: 1 },
    Kind { is_low: false, lead: 1, ahead: 1 },
    Kind { is_low: true, lead: 2, ahead: 2 },
    Kind { is_low: false, lead: 3, ahead: 2 },
];
/// Lows at 12, 24 and 48 h; of a morning issue that morning's own low does not count as known.
const LOWS: [(Kind, u32); 3] = [
    (Kind { is_low: true, lead: 0, ahead: 1 }, 12),
    (Kind { is_low: true, lead: 1, ahead: 2 }, 24),
    (Kind { is_low: true, lead: 3, ahead: 3 }, 48),
];

/// Everything fitted on some of the cities.
pub struct Model {
    pub evening: [Fitted; 4],
    pub lows: [Fitted; 3],
    pub root: Root,
    pub correlation: [[f64; 4]; 4],
    pub learns: bool,
}

fn samples(cities: &[(usize, &City)], kind: Kind, learns: bool) -> Vec<(usize, NaiveDate, Sample)> {
    let mut found = Vec::new();
    for (index, city) in cities {
        let own = if kind.is_low { &city.lows } else { &city.highs };
        for (date, value) in own.iter().filter(|(d, _)| is_season(**d)) {
            let known = *date - Days::new(kind.ahead);
            let situation = situation(city, kind.is_low, *date, kind.lead, known, learns);
            if let (Some(s), Some(seen)) = (situation, value.seen) {
                found.push((*index, *date, (s, seen - s.forecast_c)));
            }
        }
    }
    found
}

pub fn train(cities: &[(usize, &City)], learns: bool) -> Model {
    let of = |kind: Kind| {
        let samples: Vec<Sample> = samples(cities, kind, learns).into_iter().map(|s| s.2).collect();
        fit(&samples)
    };
    let evening = EVENING.map(of);
    let lows = LOWS.map(|(kind, _)| of(kind));
    let correlation = correlation(cities, &evening, learns);
    let root = root(&correlation);
    Model { evening, lows, root, correlation, learns }
}

/// Correlation of the standardised errors of one evening.
fn correlation(cities: &[(usize, &City)], fitted: &[Fitted; 4], learns: bool) -> [[f64; 4]; 4] {
    let mut sums = [[0.0; 4]; 4];
    let mut counts = [[1e-9; 4]; 4];
    for (_, city) in cities {
        for day in city.lows.keys().filter(|d| is_season(**d)) {
            let errors: [Option<f64>; 4] = std::array::from_fn(|at| {
                let kind = EVENING[at];
                let date = *day + Days::new(kind.ahead);
                let s = situation(city, kind.is_low, date, kind.lead, *day, learns)?;
                let own = if kind.is_low { &city.lows } else { &city.highs };
                let seen = own.get(&date)?.seen?;
                let (shift, sd) = fitted[at].shift_and_sd(&s);
                Some(((seen - s.forecast_c - shift) / sd).clamp(-3.0, 3.0))
            });
            for i in 0..4 {
                for j in 0..4 {
                    if let (Some(a), Some(b)) = (errors[i], errors[j]) {
                        sums[i][j] += a * b;
                        counts[i][j] += 1.0;
                    }
                }
            }
        }
    }
    let cov = |i: usize, j: usize| sums[i][j] / counts[i][j];
    let mut c = [[0.0; 4]; 4];
    for (i, row) in c.iter_mut().enumerate() {
        for (j, r) in row.iter_mut().enumerate() {
            *r = cov(i, j) / (cov(i, i) * cov(j, j)).sqrt().max(1e-9);
        }
    }
    c
}

fn week(day: NaiveDate) -> i32 {
    day.num_days_from_ce().div_euclid(7)
}

/// Whole degrees F, as the stations report and the truth is made of.
fn reported(celsius: f64) -> f64 {
    ((celsius * 1.8 + 32.0).round() - 32.0) / 1.8
}

fn base_sd(lead_h: f64, forecast_c: f64) -> f64 {
    (1.65 + 0.0075 * lead_h) * (1.0 + 0.025 * (-3.0 - forecast_c).clamp(0.0, 25.0))
}

struct Scored<'a> {
    cities: &'a [City],
    cases: Vec<Case>,
}

pub fn folds_of(cities: &[City]) -> Vec<usize> {
    (0..cities.len()).map(|index| index % FOLDS).collect()
}

pub fn run(cities: &[City]) -> Vec<Row> {
    let scored = Scored { cities, cases: cases(cities) };
    let mut rows = Vec::new();
    scored.simple(&mut rows);
    for (learns, name) in [(false, "fitted"), (true, "fitted, own nights")] {
        let folds = folds_of(cities);
        let models: Vec<Model> = (0..FOLDS)
            .map(|fold| {
                let others: Vec<(usize, &City)> =
                    cities.iter().enumerate().filter(|(i, _)| folds[*i] != fold).collect();
                train(&others, learns)
            })
            .collect();
        scored.with_models(&models, &folds, name, &mut rows);
    }
    if let Some(models) = compiled() {
        for (model, name) in models.into_iter().zip(["compiled", "compiled, own nights"]) {
            scored.with_models(&[model], &vec![0; cities.len()], name, &mut rows);
        }
    }
    rows
}

/// The models of the table that is compiled into the program: without and with own nights. On the cities that they were
/// fitted on their scores flatter; they are there to be scored on other ones.
fn compiled() -> Option<[Model; 2]> {
    let table = ErrorTable::built_in().ok()?;
    let model = |learns: bool| {
        let fit = |kind: Kind| {
            let sort = if kind.is_low { Sort::Low } else { Sort::High };
            table.fit(sort, hours(kind.lead), learns).cloned()
        };
        let [a, b, c, d] = EVENING.map(fit);
        let [e, f, g] = LOWS.map(|(kind, _)| fit(kind));
        let root = root(&table.correlation(learns)?);
        Some(Model {
            evening: [a?, b?, c?, d?],
            lows: [e?, f?, g?],
            root,
            correlation: table.correlation(learns)?,
            learns,
        })
    };
    Some([model(false)?, model(true)?])
}

fn hours(lead: usize) -> u32 {
    [12, 24, 36, 48][lead]
}

/// The table fitted on all cities, as the program compiles it in.
pub fn table(cities: &[City]) -> String {
    let mut text = String::from(
        "# Errors (observed less forecast) of lows and highs: coefficients of mean and ln sd, terms as in domain/weather/fitted.rs.\n\
         # Source: fitted by `cargo bench --bench skill -- table` on forecasts and reports of the US National Weather Service's\n\
         # Selected Cities Weather Summary, 101 cities, Feb to Dec 2021, October to April (public domain).\n\
         kind,lead_h,own,part,term,coefficient\n",
    );
    let all: Vec<(usize, &City)> = cities.iter().enumerate().collect();
    for (learns, own) in [(false, "none"), (true, "known")] {
        let model = train(&all, learns);
        let mut fits: Vec<(Kind, &Fitted)> = EVENING.into_iter().zip(&model.evening).collect();
        fits.extend(LOWS.into_iter().map(|(kind, _)| kind).zip(&model.lows).skip(1));
        for (kind, fit) in fits {
            let name = if kind.is_low { "low" } else { "high" };
            for (part, values) in [("shift", &fit.shift), ("log_sd", &fit.log_sd)] {
                for (term, value) in NAMES.iter().zip(values).filter(|(_, v)| v.abs() > 5e-6) {
                    let lead = hours(kind.lead);
                    text.push_str(&format!("{name},{lead},{own},{part},{term},{value:.5}\n"));
                }
            }
        }
        for (i, row) in model.correlation.iter().enumerate() {
            for (j, value) in row.iter().enumerate() {
                text.push_str(&format!("correlation,0,{own},{i},{j},{value:.4}\n"));
            }
        }
    }
    text
}

impl Scored<'_> {
    fn push(
        &self,
        rows: &mut Vec<Row>,
        system: &'static str,
        chance: impl Fn(&Case) -> [f64; 2] + Sync,
    ) {
        let chances: Vec<[f64; 2]> = parallel(&self.cases, chance);
        for (number, item) in items().iter().enumerate() {
            for (at, horizon_h) in [17, 41].into_iter().enumerate() {
                let judged = self
                    .cases
                    .iter()
                    .zip(&chances)
                    .filter(|(case, _)| case.item == number)
                    .map(|(case, p)| Judged {
                        chance: p[at],
                        came: case.truth[at],
                        week: week(case.day),
                    })
                    .collect();
                rows.push(Row { item: item.name.into(), horizon_h, system, judged });
            }
        }
    }

    /// The yes/no rule and the first baseline.
    fn simple(&self, rows: &mut Vec<Row>) {
        let yes = |is: bool| if is { 1.0 } else { 0.0 };
        self.push(rows, "yes/no", |c| [yes(c.said[0] < 0.0), yes(c.said[0].min(c.said[2]) < 0.0)]);
        let weights = weights();
        let base = standard(MEMBERS, &root(&BASE_CORRELATION), BASE_NU, 7);
        self.push(rows, "baseline", |c| {
            let spread: Nodes =
                std::array::from_fn(|at| base_sd([12.0, 24.0, 36.0, 48.0][at], c.said[at]));
            let paths = base
                .iter()
                .map(|e| std::array::from_fn(|at| c.said[at] + BASE_BIAS + spread[at] * e[at]));
            chances(c, paths, &weights)
        });
        for (kind, hours) in LOWS {
            let all: Vec<(usize, &City)> = self.cold();
            let judge = |system, chance: &dyn Fn(f64) -> f64| Row {
                item: "low < 0 C".into(),
                horizon_h: hours,
                system,
                judged: samples(&all, kind, false)
                    .into_iter()
                    .map(|(_, date, (s, error))| Judged {
                        chance: chance(s.forecast_c),
                        came: s.forecast_c + error < -0.01,
                        week: week(date),
                    })
                    .collect(),
            };
            rows.push(judge("yes/no", &|f| yes(f < -0.01)));
            rows.push(judge("baseline", &|f| {
                normal_share((0.0 - f - BASE_BIAS) / base_sd(f64::from(hours), f))
            }));
        }
    }

    fn cold(&self) -> Vec<(usize, &City)> {
        self.cities.iter().enumerate().filter(|(_, c)| c.freeze_nights >= 90).collect()
    }

    /// A model for each fold; `folds[city]` says which one scores it.
    pub fn with_models(
        &self,
        models: &[Model],
        folds: &[usize],
        system: &'static str,
        rows: &mut Vec<Row>,
    ) {
        let weights = weights();
        let drawn: Vec<Vec<Nodes>> =
            models.iter().map(|m| standard(MEMBERS, &m.root, NU, 7)).collect();
        self.push(rows, system, |c| {
            let fold = folds[c.city];
            let model = &models[fold];
            let city = &self.cities[c.city];
            let shaped: [(f64, f64); 4] = std::array::from_fn(|at| {
                let kind = EVENING[at];
                let date = c.day + Days::new(kind.ahead);
                situation(city, kind.is_low, date, kind.lead, c.day, model.learns)
                    .map_or((0.15, 2.0), |s| model.evening[at].shift_and_sd(&s))
            });
            let paths = drawn[fold].iter().map(|e| {
                std::array::from_fn(|at| reported(c.said[at] + shaped[at].0 + shaped[at].1 * e[at]))
            });
            chances(c, paths, &weights)
        });
        for (at, (kind, hours)) in LOWS.into_iter().enumerate() {
            let judged = samples(&self.cold(), kind, models[0].learns)
                .into_iter()
                .map(|(city, date, (s, error))| {
                    let (shift, sd) = models[folds[city]].lows[at].shift_and_sd(&s);
                    // Reported in whole degrees F: 31 F and less is below freezing, so half a degree F below 32.
                    let edge = -0.5 / 1.8;
                    Judged {
                        chance: tail_share((edge - s.forecast_c - shift) / sd),
                        came: s.forecast_c + error < -0.01,
                        week: week(date),
                    }
                })
                .collect();
            rows.push(Row { item: "low < 0 C".into(), horizon_h: hours, system, judged });
        }
    }
}

fn chances(case: &Case, paths: impl Iterator<Item = Nodes>, weights: &[(usize, f64)]) -> [f64; 2] {
    let item = items()[case.item];
    let (mut n, mut hit) = (0.0, [0.0; 2]);
    for nodes in paths {
        let ice = item.ice(case.held, case.high_before, &nodes, weights);
        for (h, i) in hit.iter_mut().zip(ice) {
            *h += if i >= ICE { 1.0 } else { 0.0 };
        }
        n += 1.0;
    }
    hit.map(|h| h / n)
}

/// Two threads; the answers do not depend on it.
fn parallel(cases: &[Case], chance: impl Fn(&Case) -> [f64; 2] + Sync) -> Vec<[f64; 2]> {
    let half = cases.len().div_ceil(2).max(1);
    std::thread::scope(|scope| {
        let chance = &chance;
        let parts: Vec<_> = cases
            .chunks(half)
            .map(|part| scope.spawn(move || part.iter().map(chance).collect::<Vec<_>>()))
            .collect();
        parts.into_iter().flat_map(|part| part.join().unwrap_or_default()).collect()
    })
}
