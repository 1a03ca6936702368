//! From the configuration and the list of people to a crew and what is scarce besides hands.

use crate::app::assess::Assessment;
use crate::app::error::CrewError;
use crate::app::error::ServiceError;
use crate::app::planning::row::{Row, WhatIf};
use crate::app::settings::Yard;
use crate::app::settings::crew::CrewSettings;
use crate::domain::risk::plan::crew::{Crew, Technician, WorkDay};
use crate::domain::risk::plan::schedule::Scarce;
use crate::domain::yard::Role;

/// The crew by the configuration, or else by the list of people.
pub(crate) fn crew(
    (settings, yard): (&CrewSettings, &Yard),
    seen: &Assessment,
    what_if: &WhatIf,
) -> Result<Crew, ServiceError> {
    let mut technicians: Vec<Technician> = settings
        .technicians
        .iter()
        .map(|one| Technician { name: one.person.clone(), skills: one.skills.clone() })
        .collect();
    if technicians.is_empty() {
        let people = seen.yard.people.values().filter(|person| person.role == Role::Technician);
        technicians = people
            .map(|person| Technician { name: person.id.to_string(), skills: Vec::new() })
            .collect();
    }
    let known = &seen.yard.people;
    if let Some(one) = technicians
        .iter()
        .find(|one| !known.is_empty() && !known.keys().any(|person| person.as_str() == one.name))
    {
        return Err(CrewError::NotListed { name: one.name.clone() }.into());
    }
    let names_skills = technicians.iter().any(|one| !one.skills.is_empty());
    let mut without = what_if.without.clone();
    without.sort();
    without.dedup();
    for away in &without {
        let named = |one: &Technician| {
            let person = seen.yard.people.values().find(|person| person.id.as_str() == one.name);
            one.name == *away || person.is_some_and(|person| person.name == *away)
        };
        let Some(place) = technicians.iter().position(named) else {
            let known: Vec<&str> = technicians.iter().map(|one| one.name.as_str()).collect();
            let crew = if known.is_empty() { "empty".to_owned() } else { known.join(", ") };
            return Err(CrewError::NotOfTheCrew { name: away.clone(), crew }.into());
        };
        technicians.remove(place);
    }
    let home =
        seen.places.values().min_by(|a, b| a.site.travel_minutes.total_cmp(&b.site.travel_minutes));
    Ok(Crew {
        technicians,
        names_skills,
        hours: settings.hours,
        days_off: settings.days_off.clone(),
        hours_in_all: what_if.crew_hours,
        working: yard.working_hours(),
        lift_slots: (settings.lift_slots > 0).then_some(settings.lift_slots),
        zone: yard.time_zone,
        position: home.map_or((0.0, 0.0), |place| (place.site.latitude, place.site.longitude)),
    })
}

/// What is scarce besides hands: the lift, skills that not all have.
pub(crate) fn scarce(
    settings: &CrewSettings,
    rows: &[Row],
    crew: &Crew,
    days: &[WorkDay],
) -> Vec<Scarce> {
    let mut found = Vec::new();
    let needed = &settings.skills_needed;
    let mut skills: Vec<&String> = needed.values().collect();
    skills.sort();
    skills.dedup();
    for skill in skills {
        let able = u32::try_from(crew.able(skill)).unwrap_or(0);
        let all = u32::try_from(crew.technicians.len().max(1)).unwrap_or(1);
        let minutes_of = |row: &Row| {
            let groups = row.work.groups.iter();
            let own = groups.filter(|group| needed.get(&group.group) == Some(skill));
            own.map(|group| group.minutes.complete).sum()
        };
        if able > 0 && able < all {
            let has = days.iter().map(|day| day.minutes / all * able).collect();
            let takes = rows.iter().map(minutes_of).collect();
            found.push(Scarce { what: skill.clone(), takes, has });
        }
    }
    found
}
