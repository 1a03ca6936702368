//! Skill of the chances on archived forecasts, beside the yes/no rule and the first baseline: `cargo bench --bench skill`
//! with `RIMEWARD_REAL_DATA` naming the folder that holds `data/nws_lows.csv.gz`. Prints a table to standard error and
//! one JSON document to standard output.
//!
//! Cross-validated by city in five folds: no city is scored by coefficients fitted on it. What a place's own past nights
//! tell (their errors until the issue) is an input, as it is for a yard with a thermometer.

#![expect(
    clippy::indexing_slicing,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a benchmark over arrays of fixed size; a fault stops it and changes nothing"
)]

#[path = "skill/archive.rs"]
mod archive;
#[path = "skill/cases.rs"]
mod cases;
#[path = "skill/item.rs"]
mod item;
#[path = "skill/model.rs"]
mod model;
#[path = "skill/report.rs"]
mod report;
#[path = "skill/score.rs"]
mod score;
#[path = "skill/systems.rs"]
mod systems;

use std::error::Error;
use std::path::PathBuf;

#[expect(
    clippy::disallowed_methods,
    reason = "the benchmark's own switch is an environment variable"
)]
fn folder() -> Option<PathBuf> {
    std::env::var("RIMEWARD_REAL_DATA").ok().map(|root| PathBuf::from(root).join("data"))
}

fn main() -> Result<(), Box<dyn Error>> {
    let Some(folder) = folder() else {
        eprintln!(
            "skill: RIMEWARD_REAL_DATA is not set; it names the folder with data/nws_lows.csv.gz"
        );
        return Ok(());
    };
    let cities = archive::read(&folder)?;
    if std::env::args().any(|word| word == "table") {
        print!("{}", systems::table(&cities));
        return Ok(());
    }
    let rows = systems::run(&cities);
    report::print(&rows);
    Ok(())
}
