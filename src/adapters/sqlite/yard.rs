//! The yard as last imported: places, people, boats.

use rusqlite::{OptionalExtension as _, Transaction, params};
use serde::de::DeserializeOwned;

use super::Store;
use super::column::{from_json, to_json};
use super::error::Doing as _;
use crate::adapters::sqlite::cached::Cached as _;
use crate::app::ports::{Registry, StoreError, YardCounts};
use crate::domain::boat::{Boat, BoatId};
use crate::domain::yard::{Person, Site};

impl Registry for Store {
    fn put_yard(
        &self,
        sites: &[Site],
        people: &[Person],
        boats: &[Boat],
    ) -> Result<YardCounts, StoreError> {
        self.write("storing the yard", |tx| {
            let mut counts = YardCounts::default();
            for site in sites {
                let text = to_json(site, "storing a place")?;
                put(tx, "site", site.id.as_str(), None, &text, &mut counts)?;
            }
            for person in people {
                let text = to_json(person, "storing a person")?;
                put(tx, "person", person.id.as_str(), None, &text, &mut counts)?;
            }
            for boat in boats {
                let text = to_json(boat, "storing a boat")?;
                let site = Some(boat.site.as_str());
                put(tx, "boat", boat.id.as_str(), site, &text, &mut counts)?;
            }
            Ok(counts)
        })
    }

    fn sites(&self) -> Result<Vec<Site>, StoreError> {
        self.documents("SELECT document FROM site ORDER BY id", "reading the places")
    }

    fn people(&self) -> Result<Vec<Person>, StoreError> {
        self.documents("SELECT document FROM person ORDER BY id", "reading the people")
    }

    fn boats(&self) -> Result<Vec<Boat>, StoreError> {
        self.documents("SELECT document FROM boat ORDER BY id", "reading the boats")
    }

    fn boat(&self, id: &BoatId) -> Result<Option<Boat>, StoreError> {
        let doing = "reading a boat";
        self.read(doing, |connection| {
            connection
                .one_row("SELECT document FROM boat WHERE id = ?1", [id.as_str()], |row| {
                    row.get::<_, String>(0)
                })
                .optional()
                .context(doing)?
                .map(|text| from_json(&text, doing))
                .transpose()
        })
    }
}

impl Store {
    fn documents<T: DeserializeOwned>(
        &self,
        statement: &'static str,
        doing: &str,
    ) -> Result<Vec<T>, StoreError> {
        self.read(doing, |connection| {
            let mut statement = connection.prepare_cached(statement).context(doing)?;
            let mut rows = statement.query([]).context(doing)?;
            let mut found = Vec::new();
            while let Some(row) = rows.next().context(doing)? {
                let text: String = row.get(0).context(doing)?;
                found.push(from_json(&text, doing)?);
            }
            Ok(found)
        })
    }
}

fn put(
    tx: &Transaction<'_>,
    table: &'static str,
    id: &str,
    site: Option<&str>,
    document: &str,
    counts: &mut YardCounts,
) -> Result<(), StoreError> {
    let doing = format!("storing {table} {id}");
    let before: Option<String> = tx
        .one_row(&format!("SELECT document FROM {table} WHERE id = ?1"), [id], |row| row.get(0))
        .optional()
        .context(&doing)?;
    match before {
        Some(before) if before == document => {
            counts.unchanged += 1;
            return Ok(());
        }
        Some(_) => counts.changed += 1,
        None => counts.added += 1,
    }
    match site {
        Some(site) => tx.change(
            "INSERT INTO boat (id, site, document) VALUES (?1, ?2, ?3)
             ON CONFLICT (id) DO UPDATE SET site = ?2, document = ?3",
            params![id, site, document],
        ),
        None => tx.change(
            &format!(
                "INSERT INTO {table} (id, document) VALUES (?1, ?2)
                 ON CONFLICT (id) DO UPDATE SET document = ?2"
            ),
            params![id, document],
        ),
    }
    .context(&doing)
    .map(drop)
}
