//! The table of people.

use std::collections::BTreeSet;

use crate::adapters::intake::Imported;
use crate::adapters::intake::amounts::number;
use crate::adapters::intake::layout::Layout;
use crate::adapters::intake::problems::ImportProblems;
use crate::adapters::intake::row::{Row, phone};
use crate::adapters::intake::sheet::Sheet;
use crate::domain::boat::{PersonId, SiteId};
use crate::domain::units::TemperatureScale;
use crate::domain::yard::{Person, Role, is_mail_address};

const REQUIRED: [&str; 3] = ["person_id", "name", "role"];
const KNOWN: [&str; 16] = [
    "person_id",
    "name",
    "role",
    "email",
    "phone",
    "text_consent",
    "consent_date",
    "consent_words",
    "sites",
    "quiet_from",
    "quiet_to",
    "escalation_order",
    "tell_at_chance",
    "units",
    "charts",
    "language",
];

/// Reads a table of people.
///
/// # Errors
/// [`ImportProblems`] lists every bad row; nothing is taken then.
pub fn people(bytes: &[u8], file_name: &str) -> Result<Imported<Person>, ImportProblems> {
    people_laid_out(bytes, file_name, (&Layout::default(), None))
}

/// As [`people`], from a table that is laid out in the yard's own way; where `places` are given, every place that
/// somebody answers for must be among them.
///
/// # Errors
/// As [`people`].
pub fn people_laid_out(
    bytes: &[u8],
    file_name: &str,
    (layout, places): (&Layout, Option<&BTreeSet<SiteId>>),
) -> Result<Imported<Person>, ImportProblems> {
    let sheet = Sheet::read(bytes, file_name, &REQUIRED, layout)?;
    super::import(
        &sheet,
        "person_id",
        sheet.notes(&KNOWN),
        |row, _| person(row, places),
        |person| person.id.clone(),
    )
}

fn person(row: &mut Row<'_>, places: Option<&BTreeSet<SiteId>>) -> Option<Person> {
    let id = row.required("person_id").map(PersonId::from);
    let name = row.required("name").map(str::to_owned);
    let role = row.need("role", "owner, manager, technician or operator", |text| match text {
        "owner" => Some(Role::Owner),
        "manager" => Some(Role::Manager),
        "technician" | "mobile_technician" => Some(Role::Technician),
        "operator" => Some(Role::Operator),
        _ => None,
    });
    let email = row.parse("email", "one plain address such as name@example.org", |text| {
        is_mail_address(text).then(|| text.to_owned())
    });
    let units = row.parse("units", "F or C", |text| match text {
        "F" | "f" => Some(TemperatureScale::F),
        "C" | "c" => Some(TemperatureScale::C),
        _ => None,
    });
    let sites: Vec<SiteId> = row.text("sites").map_or_else(Vec::new, |text| {
        text.split(';').map(str::trim).filter(|part| !part.is_empty()).map(SiteId::from).collect()
    });
    // A place that nobody can be held to would leave its boats without a reader.
    for site in &sites {
        if let Some(places) = places.filter(|places| !places.contains(site)) {
            let remedy = row.unknown("place", site.as_str(), places.iter().map(SiteId::as_str));
            row.refuse("sites", format!("{site}: {remedy}"));
        }
    }
    Some(Person {
        id: id?,
        name: name?,
        role: role?,
        email,
        phone: row.parse("phone", "a telephone number such as 207-555-0142", phone),
        text_consent: row.yes_no("text_consent").unwrap_or(false),
        consent_date: row.date("consent_date"),
        sites,
        quiet_from: row.time("quiet_from"),
        quiet_to: row.time("quiet_to"),
        escalation_order: row
            .parse("escalation_order", "a whole number from 1 to 255", |text| text.parse().ok()),
        tell_at_chance: row.parse(
            "tell_at_chance",
            "a chance such as 0.1, 10 % or 1 in 10",
            chance,
        ),
        units: units.unwrap_or_default(),
        charts: row.yes_no("charts").unwrap_or(false),
    })
}

/// A chance as people say it: `0.1`, `10 %`, `1 in 10`; over 0 and up to 1.
fn chance(text: &str) -> Option<f64> {
    let text = text.trim().to_lowercase();
    let value = if let Some((few, many)) = text.split_once("in") {
        number(few)? / number(many)?
    } else if let Some(percent) = text.strip_suffix('%') {
        number(percent)? / 100.0
    } else {
        number(&text)?
    };
    (value > 0.0 && value <= 1.0).then_some(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_chance_is_read_as_people_say_it() {
        for text in ["0.1", "0,1", "10 %", "1 in 10", "1in10"] {
            assert_eq!(chance(text), Some(0.1), "{text}");
        }
        for text in ["0", "1 in 0", "-0.1", "2", "150 %", "often", "in"] {
            assert_eq!(chance(text), None, "{text}");
        }
    }

    #[test]
    fn only_one_plain_address_comes_in() {
        for good in ["tess.drawbridge@example.com", "o'neil+boat@mail.example.org"] {
            assert!(is_mail_address(good), "{good}");
        }
        for bad in [
            "tess.dr\u{e4}wbridge@example.com",
            "<t@x.com>",
            "te@ss@x.com",
            "a@x.com;b@x.com",
            "t@ex\u{e4}mple.com",
            "t@example.com.",
            "t@localhost",
            ".t@x.com",
            "@x.com",
        ] {
            assert!(!is_mail_address(bad), "{bad}");
        }
    }
}
