//! What weather services are called in our texts, and the credit that their licences ask for wherever their data are shown.

use std::sync::LazyLock;

use serde::Deserialize;

use crate::domain::catalogue::CatalogueError;
use crate::domain::catalogue::table::rows;

const TABLE: &str = "weather_services.csv";

#[derive(Debug, Deserialize)]
struct Row {
    id: String,
    name: String,
    credit: String,
}

static ROWS: LazyLock<Result<Vec<(u64, Row)>, CatalogueError>> =
    LazyLock::new(|| rows(TABLE, include_str!("../../../config/catalogue/weather_services.csv")));

fn row(id: &str) -> Option<&'static Row> {
    ROWS.as_ref().ok()?.iter().map(|(_, row)| row).find(|row| row.id == id)
}

/// The services of combined forecasts (`nws-gridpoint+met-norway`) as people call them, each once, with `and` before the
/// last; one that the table does not know keeps its id.
#[must_use]
pub fn names<'a>(services: impl IntoIterator<Item = &'a str>) -> String {
    let mut all: Vec<&str> = Vec::new();
    for id in services.into_iter().flat_map(|service| service.split('+')) {
        let name = row(id).map_or(id, |row| row.name.as_str());
        if !name.is_empty() && !all.contains(&name) {
            all.push(name);
        }
    }
    match all.split_last() {
        Some((last, before)) if !before.is_empty() => format!("{} and {last}", before.join(", ")),
        _ => all.concat(),
    }
}

/// The credits that must be shown beside data of these services, each once.
#[must_use]
pub fn credits<'a>(services: impl IntoIterator<Item = &'a str>) -> Vec<&'static str> {
    let mut all: Vec<&str> = Vec::new();
    for id in services.into_iter().flat_map(|service| service.split('+')) {
        if let Some(row) = row(id).filter(|row| !row.credit.is_empty())
            && !all.contains(&row.credit.as_str())
        {
            all.push(&row.credit);
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_service_has_a_name_and_what_asks_for_credit_gets_it_once() {
        assert!(ROWS.is_ok());
        assert_eq!(
            names(["nws-gridpoint+met-norway", "met-norway+open-meteo"]),
            "US National Weather Service, MET Norway and Open-Meteo"
        );
        assert_eq!(names(["nws-gridpoint"]), "US National Weather Service");
        assert_eq!(names(["own-logger"]), "own-logger");
        assert_eq!(names([""]), "");
        assert_eq!(
            credits(["nws-gridpoint+met-norway", "met-norway"]),
            ["Weather data from MET Norway (CC BY 4.0)"]
        );
    }
}
