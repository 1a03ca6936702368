//! `rimeward round`: one pass, then exit.

use serde_json::json;

use super::{CliContext, CliError, CommandOutput, Exit, runtime};
use crate::app::error::ServiceError;
use crate::app::notify::Composer;
use crate::app::notify::deliver::DeliverReport;
use crate::app::ports::{Clock, Courier, WeatherSources};
use crate::app::round::{Memory, RoundDeps, RoundReport, round};
use crate::daemon::clock::SystemClock;
use crate::daemon::endpoints::endpoints;
use crate::daemon::post::channel;
use crate::domain::weather::ForecastState;

/// Arguments of `round`.
#[derive(Debug, clap::Args)]
pub struct RoundArgs {
    /// At this time instead of now
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// Decide and store, but leave the letters in the outbox
    #[arg(long)]
    no_send: bool,
}

/// Fetches, judges, decides and delivers once.
///
/// # Errors
/// [`CliError`]: the configuration, the store, a secret file.
pub fn run(args: &RoundArgs, around: &CliContext<'_>) -> Result<CommandOutput, CliError> {
    let house = around.house()?;
    let zone = house.settings.yard.time_zone;
    let now = around.time_or_now(args.at.as_deref(), zone)?;
    let clock: Option<&dyn Clock> = if args.at.is_none() { Some(&SystemClock) } else { None };
    if house.store.sites()?.is_empty() {
        return Err(CliError::bad_input(
            "the store holds no place yet; bring in your tables first: rimeward import sites FILE, then people, boats and events",
        ));
    }
    if args.at.is_none() {
        house.clock.start();
    }
    let composer = Composer::of(&house.settings, &*house.mailer)?;
    let client = house.weather_client()?;
    let mut way_out = if args.no_send {
        None
    } else {
        Some(channel(&house.settings.mail, true).map_err(ServiceError::from)?)
    };
    let named = !house.settings.webhook.is_empty();
    let endpoints = named.then(|| endpoints(&house.settings));
    let mut works = RoundDeps {
        house: &house,
        composer: &composer,
        client: client.as_ref().map(|all| all as &dyn WeatherSources),
        channel: way_out.as_mut().map(|way| way as &mut dyn Courier),
        endpoints: endpoints.as_ref(),
        clock,
    };
    let report = runtime()?.block_on(round(&mut works, &mut Memory::default(), now))?;
    let stuck = report.delivered.as_ref().is_some_and(DeliverReport::is_trouble)
        || report.unsendable > 0
        || !report.nobody_left.is_empty();
    let clock = house.clock.doubt(now);
    let exit = match (report.is_blind(), stuck || clock.is_some()) {
        (true, _) => Exit::Blind,
        (false, true) => Exit::Failed,
        (false, false) => Exit::Done,
    };
    let mut text = in_words(&report);
    let mut json = as_json(&report);
    if let (Some(why), Some(fields)) = (clock, json.as_object_mut()) {
        text += &format!("{why}\n");
        fields.insert("clock".to_owned(), json!(why));
    }
    Ok(CommandOutput { text, json, exit })
}

fn in_words(report: &RoundReport) -> String {
    let mut text = String::new();
    for fetched in &report.fetched {
        let news = match (fetched.new_issue, fetched.trouble.as_str()) {
            (_, trouble) if !trouble.is_empty() => trouble,
            (true, _) => "new forecast",
            (false, _) => "nothing new",
        };
        text += &format!("{:10} {news}\n", fetched.site.as_str());
    }
    if let Some(seen) = &report.assessment {
        for place in seen.places.values() {
            let words = match place.state {
                ForecastState::Fresh => continue,
                ForecastState::Degraded => "forecast is getting old; judged on it all the same",
                ForecastState::Blind => {
                    "NO USABLE FORECAST: nothing is cleared, check the official forecast"
                }
            };
            text += &format!("{:10} {words}\n", place.site.id.as_str());
        }
    }
    for change in &report.changes {
        text += &format!("{change}\n");
    }
    text += &format!("{} new in the outbox", report.queued);
    if report.unsendable > 0 {
        text += &format!("; {} CANNOT GO: rimeward self-test says why", report.unsendable);
    }
    match &report.delivered {
        Some(delivered) => {
            text += &format!(
                "; {} sent, {} to try again, {} refused for good\n",
                delivered.sent, delivered.deferred, delivered.failed
            );
        }
        None => text += "; nothing sent (--no-send)\n",
    }
    if let Some(delivered) = &report.delivered {
        if let Some(why) = &delivered.relay_trouble {
            text += &format!("THE RELAY CANNOT BE USED: {why}\n");
        }
        for words in &delivered.lost {
            text += &format!("GIVEN UP, the next contact hears of it: {words}\n");
        }
        for words in &delivered.postponed {
            text += &format!("NOT YET: {words}\n");
        }
        for refused in &delivered.refused {
            text +=
                &format!("THE ADDRESS OF {} TAKES NO MAIL: {}\n", refused.recipient, refused.why);
        }
        if let [first, more @ ..] = delivered.rejected.as_slice() {
            text += &format!("REFUSED BY THE RELAY, tried again later: {first}");
            text += &match more.len() {
                0 => "\n".to_owned(),
                more => format!(" (and {more} more)\n"),
            };
        }
    }
    text
}

fn as_json(report: &RoundReport) -> serde_json::Value {
    let fetched: Vec<_> = report
        .fetched
        .iter()
        .map(|f| json!({ "site": f.site, "new_issue": f.new_issue, "refused": f.refused, "trouble": f.trouble }))
        .collect();
    let places: Vec<_> = report
        .assessment
        .iter()
        .flat_map(|seen| seen.places.values())
        .map(|place| json!({ "site": place.site.id, "state": place.state }))
        .collect();
    let delivered = report.delivered.as_ref().map(
        |d| json!({ "sent": d.sent, "deferred": d.deferred, "failed": d.failed, "expired": d.expired, "relay_trouble": d.relay_trouble, "rejected": d.rejected, "postponed": d.postponed, "lost": d.lost }),
    );
    json!({
        "fetched": fetched,
        "places": places,
        "changes": report.changes,
        "queued": report.queued,
        "unsendable": report.unsendable,
        "nobody_left": report.nobody_left,
        "delivered": delivered,
    })
}
