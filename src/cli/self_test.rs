//! `rimeward self-test`: reaches the store, each weather service and the mail relay, and says in words what is wrong.

use chrono::{DateTime, Utc};

use super::{CliContext, CliError, CommandOutput, Exit, as_json, runtime};
use crate::adapters::delivery::Channel;
use crate::adapters::sqlite::{Hold, Options};
use crate::adapters::weather::Place;
use crate::adapters::weather::client::{Client, FetchState, Outcome};
use crate::app::alerts::unreachable::not_arrived;
use crate::app::clock_watch;
use crate::app::context::{AppContext, YardBook};
use crate::app::health::health_view;
use crate::app::ports::AppStore;
use crate::app::ports::OutboxState;
use crate::app::ports::Registry;
use crate::app::settings::Settings;
use crate::app::settings::text::TextSettings;
use crate::daemon::endpoints::endpoints;
use crate::daemon::post::channel;
use crate::domain::yard::recipients;
use crate::views::health::{Finding, HealthView};

/// What is written beside the store, and taken away again, to see that the disk takes more.
const TRIED_BYTES: usize = 1024 * 1024;

/// Arguments of `self-test`.
#[derive(Debug, clap::Args)]
pub struct SelfTestArgs {}

/// Asks everything once; changes nothing and sends nothing.
///
/// # Errors
/// [`CliError`]: the configuration.
pub fn self_test(_args: &SelfTestArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let settings = Settings::load(&around.config_path())?;
    let (mut findings, mut view) = (Vec::new(), HealthView::default());
    let mut exit = Exit::Done;
    match AppContext::open(settings.clone(), Options::default()) {
        Ok(house) => {
            store((&*house.store, &house.settings.store.path), &mut findings);
            match health_view(&house, around.now) {
                Ok(seen) => view = seen,
                Err(error) => findings.push(Finding {
                    what: "store".into(),
                    ok: false,
                    words: super::with_causes(&error),
                }),
            }
            findings.push(disk(&house.settings.store.path));
            findings.extend(people(&*house.store));
            findings.extend(texts(&*house.store, &house.settings.text));
            findings.extend(letters(&*house.store, around.now));
            runtime()?.block_on(weather(&house, around, &mut findings))?;
        }
        Err(error) => {
            let refusal = CliError::from(error);
            exit = refusal.exit;
            findings.push(Finding { what: "store".into(), ok: false, words: refusal.why });
        }
    }
    findings.push(runtime()?.block_on(way_out(&settings)));
    findings.extend(notes(&settings));
    if exit == Exit::Done && findings.iter().any(|finding| !finding.ok) {
        exit = Exit::Failed;
    }
    let mut text = String::new();
    for finding in &findings {
        let mark = if finding.ok { "good " } else { "WRONG" };
        text += &format!("{mark}  {}: {}\n", finding.what, finding.words);
    }
    view.findings = findings;
    let json = as_json(&view)?;
    Ok(CommandOutput { text, json, exit })
}

fn store((store, path): (&dyn AppStore, &std::path::Path), findings: &mut Vec<Finding>) {
    let look = || -> Result<String, crate::app::ports::StoreError> {
        store.full_check()?;
        let (sites, boats) = (store.sites()?.len(), store.boats()?.len());
        let outbox = store.outbox_summary()?;
        let waiting: u32 = [OutboxState::Queued, OutboxState::Deferred, OutboxState::Leased]
            .into_iter()
            .map(|state| outbox.count(state))
            .sum();
        let daemon = match Hold::take(path) {
            Ok(_) => "no daemon runs on it",
            Err(_) => "a daemon runs on it",
        };
        Ok(format!(
            "{}: no damage; {sites} places, {boats} boats, {waiting} letters waiting; {daemon}",
            path.display()
        ))
    };
    let (ok, words) = match look() {
        Ok(words) => (true, words),
        Err(error) => (false, super::with_causes(&error)),
    };
    findings.push(Finding { what: "store".into(), ok, words });
}

/// Does the disk under the store take more? The store notes its own trouble, and cannot where it cannot write.
fn disk(path: &std::path::Path) -> Finding {
    let own = path.with_extension(format!("try-{}", std::process::id()));
    let write = || -> std::io::Result<()> {
        use std::io::Write as _;
        let mut file = std::fs::OpenOptions::new().write(true).create_new(true).open(&own)?;
        file.write_all(&vec![0; TRIED_BYTES])?;
        file.sync_all()
    };
    let tried = write();
    let _ = std::fs::remove_file(&own);
    let (ok, words) = match tried {
        Ok(()) => (true, "takes more".to_owned()),
        Err(error) => (
            false,
            format!(
                "takes no more beside {}: {error}; make room: until then nothing is kept, and letters that are sent may go again",
                path.display()
            ),
        ),
    };
    Finding { what: "disk".into(), ok, words }
}

/// Can everybody be told who has to be?
fn people(store: &dyn Registry) -> Vec<Finding> {
    let finding = |ok, words| Finding { what: "people".to_owned(), ok, words };
    let yard = match YardBook::read(store) {
        Ok(yard) => yard,
        Err(error) => return vec![finding(false, super::with_causes(&error))],
    };
    let mut findings = Vec::new();
    let silent: Vec<&str> = yard
        .people
        .values()
        .filter(|person| person.email.is_none())
        .map(|person| person.id.as_str())
        .collect();
    if !silent.is_empty() {
        let words = format!(
            "without a mail address, so that the next contact has to call them: {}",
            silent.join(", ")
        );
        findings.push(finding(false, words));
    }
    for person in yard.people.values() {
        for site in person.sites.iter().filter(|site| !yard.sites.contains_key(*site)) {
            let words = format!("{} answers for {site}, which is no place of the yard", person.id);
            findings.push(finding(false, words));
        }
    }
    for boat in &yard.boats {
        if let Some(owner) = boat.owner.as_ref().filter(|owner| !yard.people.contains_key(*owner)) {
            let words = format!("{} belongs to {owner}, who is not on the list", boat.id);
            findings.push(finding(false, words));
        }
    }
    let nobody: Vec<&str> = yard
        .boats
        .iter()
        .filter(|boat| {
            let owner = boat.owner.as_ref().and_then(|owner| yard.people.get(owner));
            owner.is_none() && recipients::managers(&yard.people, &boat.site).is_empty()
        })
        .map(|boat| boat.id.as_str())
        .collect();
    if !nobody.is_empty() {
        let words = format!(
            "boats with neither an owner nor a manager of their place on the list, so that NOBODY IS TOLD: {}",
            nobody.join(", ")
        );
        findings.push(finding(false, words));
    }
    if findings.is_empty() {
        findings.push(finding(true, format!("{} can be told", yard.people.len())));
    }
    findings
}

/// Can the short texts go to everybody who agreed to them? Silent where no gateway is named.
fn texts(store: &dyn Registry, settings: &TextSettings) -> Option<Finding> {
    let gateway = settings.gateway.as_ref()?;
    let finding = |ok, words| Some(Finding { what: "texts".to_owned(), ok, words });
    let people = match YardBook::read(store) {
        Ok(yard) => yard.people,
        Err(error) => return finding(false, super::with_causes(&error)),
    };
    let agreed: Vec<_> = people.values().filter(|person| person.text_consent).collect();
    let lacks =
        |phone: &Option<String>| settings.address(phone.as_deref().unwrap_or_default()).is_none();
    let without: Vec<&str> = agreed
        .iter()
        .filter(|person| lacks(&person.phone))
        .map(|person| person.id.as_str())
        .collect();
    if !without.is_empty() {
        let words = format!(
            "agreed to texts, but their telephone is no whole number with a country (give +1 207 555 0101, or set text.country): {}",
            without.join(", ")
        );
        return finding(false, words);
    }
    finding(
        true,
        format!("{} of {} people agreed to them, by {gateway}", agreed.len(), people.len()),
    )
}

/// Does what was decided arrive?
fn letters(store: &dyn AppStore, now: DateTime<Utc>) -> Vec<Finding> {
    let finding = |ok, words| Finding { what: "letters".to_owned(), ok, words };
    match not_arrived(store, now) {
        Ok(lines) if lines.is_empty() => vec![finding(true, "none is overdue".to_owned())],
        Ok(lines) => lines.into_iter().map(|words| finding(false, words)).collect(),
        Err(error) => vec![finding(false, super::with_causes(&error))],
    }
}

/// Asks for each place anew, whatever is stored, and stores nothing.
async fn weather(
    house: &AppContext,
    around: &CliContext<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(), CliError> {
    let Some(clients) = house.weather_client()? else { return Ok(()) };
    for client in &clients.0 {
        one_service(house, client, around, findings).await?;
    }
    let ahead = clock_watch::ahead_of(&clients);
    let ahead: Vec<_> = ahead.into_iter().map(|(_, apart)| apart).collect();
    let (ok, words) = match clock_watch::agreed(&ahead) {
        Some(apart) => (false, clock_watch::words(apart)),
        None if ahead.is_empty() => return Ok(()),
        None => (true, "agrees with the weather services' clocks".to_owned()),
    };
    findings.push(Finding { what: "clock".into(), ok, words });
    Ok(())
}

async fn one_service(
    house: &AppContext,
    client: &Client,
    around: &CliContext<'_>,
    findings: &mut Vec<Finding>,
) -> Result<(), CliError> {
    let service = client.service().name();
    let sites = house.store.sites()?;
    if sites.is_empty() {
        let words = "no place to ask for yet; bring in your tables with rimeward import";
        findings.push(Finding { what: service.into(), ok: false, words: words.into() });
    }
    let mut asked: Vec<Place> = Vec::new();
    for site in &sites {
        let what = format!("{service} for {}", site.id);
        let place = match Place::new(site.latitude, site.longitude) {
            Ok(place) if asked.contains(&place) => continue,
            Ok(place) => place,
            Err(error) => {
                findings.push(Finding { what, ok: false, words: error.to_string() });
                continue;
            }
        };
        asked.push(place);
        let outcome = client
            .fetch_at(place, Some(site.elevation_m), None, &mut FetchState::default(), around.now)
            .await;
        let (ok, words) = match outcome {
            Outcome::Fresh(forecast, _) => {
                let age = (around.now - forecast.issued_at).num_minutes();
                let hours = forecast.steps.iter().filter(|s| s.temperature_c.is_some()).count();
                (true, format!("an issue {age} minutes old, {hours} hours with a temperature"))
            }
            Outcome::NotModified => (true, "answers".to_owned()),
            Outcome::NotDue { until } => {
                (false, format!("not asked: it told us to wait until {until}"))
            }
            Outcome::Throttled { until } => (false, format!("asks us to wait until {until}")),
            Outcome::Blocked { why } => {
                (false, format!("refuses us: {why}; check forecast.contact and the base address"))
            }
            Outcome::Stale { why }
            | Outcome::Transient { why }
            | Outcome::Permanent { why }
            | Outcome::Malformed { why } => (false, why),
        };
        findings.push(Finding { what, ok, words });
    }
    Ok(())
}

/// Can notes be signed and sent to every program of the configuration? Nothing is sent: a receiver would take it for news.
fn notes(settings: &Settings) -> Option<Finding> {
    let named = settings.webhook.len();
    let troubles = endpoints(settings).troubles;
    let good =
        format!("{named} programs are named and their secrets can be read; nothing was sent");
    let (ok, words) = match troubles.as_slice() {
        [] => (true, good),
        troubles => (false, troubles.join("; ")),
    };
    (named > 0).then(|| Finding { what: "webhooks".to_owned(), ok, words })
}

async fn way_out(settings: &Settings) -> Finding {
    let what = "mail".to_owned();
    match channel(&settings.mail, true) {
        Err(error) => Finding { what, ok: false, words: super::with_causes(&error) },
        Ok(Channel::Maildir(maildir)) => {
            let folder = maildir.folder.display();
            let words = format!("letters are written into {folder}, nothing is sent");
            Finding { what, ok: true, words }
        }
        Ok(Channel::Smtp(mut relay)) => {
            let name =
                settings.mail.smtp.as_ref().map_or(String::new(), |smtp| {
                    format!("relay {} port {}", smtp.host, smtp.port)
                });
            match relay.check().await {
                Ok(()) => {
                    let words = format!("{name} greets us and, where asked, lets us log in");
                    Finding { what, ok: true, words }
                }
                Err(error) => {
                    Finding { what, ok: false, words: format!("{name}: {}", error.line()) }
                }
            }
        }
    }
}
