//! Replays every season of recorded hourly observations with forecasts drawn from the error model out to ten days, for
//! a fleet drawn from the fit-outs, and prints what people would have got against the promises of quiet. Nobody acts on
//! anything. Run with `RIMEWARD_REAL_DATA=folder cargo bench --bench quiet`; the folder holds `data/obs_hourly.csv.gz`
//! (columns station, time_local in standard time, temp_c).

#[path = "quiet/fleet.rs"]
mod fleet;
#[path = "quiet/seasons.rs"]
mod seasons;

use std::collections::BTreeMap;
use std::process::ExitCode;

use chrono::TimeDelta;
use rimeward::domain::risk::Priority;
use rimeward::domain::yard::Role;
use rimeward::sim::replay::play::{Fleet, Rules, play};
use rimeward::sim::replay::score::Played;

const SEED: u64 = 62_682;
const BOATS: usize = 40;

fn main() -> ExitCode {
    let given = std::env::vars_os().find(|(name, _)| name == "RIMEWARD_REAL_DATA");
    let Some((_, folder)) = given else {
        println!("RIMEWARD_REAL_DATA is not set: nothing to replay");
        return ExitCode::SUCCESS;
    };
    match run(&std::path::PathBuf::from(folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            println!("{why}");
            ExitCode::FAILURE
        }
    }
}

fn run(folder: &std::path::Path) -> Result<(), String> {
    let horizon_h = std::env::args().filter_map(|arg| arg.parse().ok()).next().unwrap_or(96);
    let seasons = seasons::read(&folder.join("data/obs_hourly.csv.gz"))?;
    println!(
        "seed {SEED}, {BOATS} boats a season, horizon {horizon_h} h, {} seasons:",
        seasons.len()
    );
    let mut all = Total::default();
    for (index, season) in seasons.iter().enumerate() {
        let seed = SEED ^ u64::try_from(index).unwrap_or(0).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let yard = fleet::draw(BOATS, season.year, seed)?;
        let weather = seasons::Sky::new(season, seed);
        let zone = yard.sites.values().next().map_or(chrono_tz::Tz::UTC, |site| site.time_zone);
        let mut rules = Rules::usual(zone, 6)?;
        let judge = &mut rules.settings.judge;
        (judge.members, judge.ahead_h, judge.past_days, judge.seed) = (64, horizon_h, 7, seed);
        let span = (season.from + TimeDelta::days(8), season.until);
        let played = play(&yard, &weather, &rules, span).map_err(|error| error.to_string())?;
        let manager = yard.people.iter().find(|person| person.role == Role::Manager);
        let (to_manager, in_a_day) = manager.map_or((0, 0), |person| played.count(&person.id));
        println!(
            "  {} {}/{}: low {:.0} C; manager {to_manager} ({in_a_day} in a day); severe parts froze {:?}",
            season.station,
            season.year,
            season.year + 1,
            season.coldest_c,
            played.froze
        );
        all.add(&yard, &played);
    }
    all.print();
    Ok(())
}

#[derive(Default)]
struct Total {
    owners: Vec<usize>,
    owners_in_a_day: usize,
    managers: Vec<usize>,
    managers_in_a_day: usize,
    mix: BTreeMap<Priority, usize>,
    leads_h: Vec<f64>,
    froze: [usize; 3],
    episodes: usize,
    false_alarms: usize,
    chattering: usize,
    fleeting: usize,
    duplicates: usize,
    unclosed: usize,
    told: usize,
}

impl Total {
    fn add(&mut self, yard: &Fleet, played: &Played) {
        for person in &yard.people {
            let (all, in_a_day) = played.count(&person.id);
            match person.role {
                Role::Owner => {
                    self.owners.push(all);
                    self.owners_in_a_day = self.owners_in_a_day.max(in_a_day);
                }
                Role::Manager => {
                    self.managers.push(all);
                    self.managers_in_a_day = self.managers_in_a_day.max(in_a_day);
                }
                _ => {}
            }
        }
        let mut seen = std::collections::BTreeSet::new();
        for message in &played.messages {
            if message.kind != "worklist" {
                *self.mix.entry(message.priority).or_default() += 1;
            }
            for name in &message.alerts {
                let twice = !seen.insert((message.person.clone(), name.clone()));
                self.duplicates += usize::from(twice);
            }
        }
        self.leads_h.extend(&played.leads_h);
        for (sum, more) in self.froze.iter_mut().zip(played.froze) {
            *sum += more;
        }
        self.episodes += played.episodes;
        self.false_alarms += played.false_alarms;
        self.fleeting += played.fleeting;
        self.chattering += played
            .raised
            .values()
            .filter(|raised| {
                raised.windows(3).any(|three| {
                    three
                        .last()
                        .zip(three.first())
                        .is_some_and(|(l, f)| *l - *f < TimeDelta::hours(72))
                })
            })
            .count();
        for alert in &played.alerts {
            let ended = alert.closed.is_some() || alert.returned_at.is_some();
            let waiting = alert.told.values().filter(|ledger| ledger.awaits_closing).count();
            self.told += alert.told.len();
            self.unclosed += if ended { waiting } else { 0 };
        }
    }

    fn print(mut self) {
        self.owners.sort_unstable();
        self.managers.sort_unstable();
        let at = |sorted: &[usize], share: f64| {
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                clippy::cast_precision_loss,
                reason = "an index below a few thousand"
            )]
            let index = (share * sorted.len().saturating_sub(1) as f64).round() as usize;
            sorted.get(index).copied().unwrap_or(0)
        };
        println!(
            "owners: median {}, 95 % {}, most {} (6, 12); {} at most in 24 h (2)",
            at(&self.owners, 0.5),
            at(&self.owners, 0.95),
            at(&self.owners, 1.0),
            self.owners_in_a_day
        );
        let told: Vec<usize> = self.owners.iter().copied().filter(|count| *count > 0).collect();
        println!(
            "owners who got any: {} of {}, median {}",
            told.len(),
            self.owners.len(),
            at(&told, 0.5)
        );
        println!(
            "managers: median {}, most {} (25); {} at most in 24 h (3)",
            at(&self.managers, 0.5),
            at(&self.managers, 1.0),
            self.managers_in_a_day
        );
        let count: usize = self.mix.values().sum();
        let mix: Vec<String> = self
            .mix
            .iter()
            .map(|(priority, n)| format!("{priority:?} {} %", n * 100 / count.max(1)))
            .collect();
        println!(
            "priority mix of {count} messages, closing ones low: {} (80/15/5)",
            mix.join(", ")
        );
        let early = self.leads_h.iter().filter(|lead| **lead >= 48.0).count();
        println!(
            "first word 48 h or more before first danger: {} of {} episodes of the upper priorities ({} %, 90)",
            early,
            self.leads_h.len(),
            early * 100 / self.leads_h.len().max(1)
        );
        let [before, late, never] = self.froze;
        println!(
            "severe parts that froze: told a day before {before}, later {late}, never {never}"
        );
        println!(
            "episodes {}, nothing named froze in {} (false-alarm ratio {:.2}, 0.60)",
            self.episodes,
            self.false_alarms,
            f64::from(u32::try_from(self.false_alarms).unwrap_or(0))
                / f64::from(u32::try_from(self.episodes.max(1)).unwrap_or(1))
        );
        println!(
            "chattering {}, fleeting {}, duplicates {}, ended and not told {} of {}",
            self.chattering, self.fleeting, self.duplicates, self.unclosed, self.told
        );
    }
}
