//! How long the crew plan takes, and how close its lists come: prints one JSON document.
//!
//! `cargo bench --bench plan`. Times are of one thread on whatever machine this is: good as ratios inside one run.

use std::time::Instant;

use rimeward::domain::risk::plan::order::{Ends, by_index, loss_of, rank};

#[path = "../plan/yards.rs"]
mod yards;

fn main() {
    let mut rows = Vec::new();
    for (boats, days) in [(300, 21), (1000, 21), (5000, 21)] {
        let (jobs, capacity) = yards::yard(1, boats, days);
        let start = Instant::now();
        let found = rank(&jobs, &capacity, None);
        let seconds = start.elapsed().as_secs_f64();
        let index = by_index(&jobs);
        let ends = Ends::new(&capacity);
        let over = |loss: f64| 100.0 * (loss / found.divided.bound - 1.0);
        rows.push(serde_json::json!({
            "boats": boats,
            "days": days,
            "seconds": seconds,
            "bound": found.divided.bound,
            "list_over_bound_percent": over(found.loss),
            "index_of_5_days_over_bound_percent": over(loss_of(&index, &jobs, &ends)),
        }));
    }
    println!("{:#}", serde_json::json!({ "plan": rows }));
}
