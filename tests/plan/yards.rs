//! Invented yards with one cold for all: members whose cold comes on different nights, boats with limits of their own.

use rimeward::domain::risk::plan::Job;
use rimeward::domain::risk::plan::due::last_day_at;
use rimeward::domain::weather::errors::Normals;

/// Members of an invented forecast.
const MEMBERS: usize = 50;

/// `boats` jobs over `days` days and the crew's minutes: the cold of each member deepens with the days and wanders, each
/// boat has a limit, a loss and 0.5 to 4 h of work.
pub fn yard(seed: u64, boats: usize, days: usize) -> (Vec<Job>, Vec<u32>) {
    let mut draw = Normals::new(seed);
    let mut cold = vec![vec![0.0; days]; MEMBERS];
    for member in &mut cold {
        let mut anomaly = 0.0;
        for (day, low) in (0_u32..).zip(member.iter_mut()) {
            anomaly = 0.8 * anomaly + 3.0 * draw.normal();
            *low = 4.0 - 0.45 * f64::from(day) + anomaly;
        }
    }
    let jobs: Vec<Job> = (0..boats)
        .map(|number| {
            let limit = -1.0 - 9.0 * draw.uniform();
            let place = ["QUAY", "UPPER", "BARN"][(draw.uniform() * 2.999) as usize];
            let shift = if place == "UPPER" { -3.0 } else { 0.0 };
            let loss = [300.0, 1500.0, 7000.0][(draw.uniform() * 2.999) as usize];
            let minutes = 30 + 15 * ((draw.uniform() * 14.0) as u32);
            let chance: Vec<f64> = (0..=days)
                .map(|day| {
                    let over = cold
                        .iter()
                        .filter(|member| member.iter().take(day).any(|low| low + shift < limit));
                    over.count() as f64 / MEMBERS as f64
                })
                .collect();
            Job {
                boat: format!("B{number:04}").as_str().into(),
                place: place.into(),
                minutes,
                due: last_day_at(&chance, 0.05),
                price: chance.iter().map(|chance| loss * chance).collect(),
                loss,
            }
        })
        .collect();
    let all: u32 = jobs.iter().map(|job| job.minutes).sum();
    // The crew gets through the list in about two thirds of the days; days 5 and 6 of each week are off.
    let a_day = all * 2 / u32::try_from(days).unwrap();
    let capacity = (0..days).map(|day| if day % 7 >= 5 { 0 } else { a_day }).collect();
    (jobs, capacity)
}
