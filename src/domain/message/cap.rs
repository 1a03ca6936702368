//! An alert as a CAP 1.2 document (OASIS Common Alerting Protocol): for systems that collect such notes. Restricted to whoever
//! runs the place, never an official warning, and it says so.

use chrono::{DateTime, SecondsFormat, TimeDelta, Utc};
use chrono_tz::Tz;
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

use super::words::one_line;
use crate::domain::alert::{Alert, Annunciation, ChanceClass, CloseReason, Condition, Facts, Kind};
use crate::domain::risk::{Consequence, Priority};
use crate::domain::yard::Site;

/// The namespace of the documents.
const NAMESPACE: &str = "urn:oasis:names:tc:emergency:cap:1.2";
/// Letters of names and lines.
const LETTERS: usize = 160;
/// Kilometres round the place: that a boat stands there is nobody's business to the metre.
const RADIUS_KM: f64 = 1.0;
/// An alert without a time of danger is of no use after so long; a closing one after two days.
const KEPT: TimeDelta = TimeDelta::days(4);
const CLOSING_KEPT: TimeDelta = TimeDelta::days(2);
/// Longer than the danger itself it need not stand.
const AFTER_DANGER: TimeDelta = TimeDelta::hours(6);
/// From here on there is no more than an hour: at once; under a day: expected.
const AT_ONCE: TimeDelta = TimeDelta::hours(1);
const SOON: TimeDelta = TimeDelta::hours(24);

/// The words of CAP for the state of an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CapWords {
    /// `Alert`, `Update` or `Cancel`.
    pub message_type: &'static str,
    /// What to do: `Prepare`, `Execute`, `AllClear` ...
    pub response: &'static str,
    /// `Immediate`, `Expected`, `Future` or `Past`.
    pub urgency: &'static str,
    /// `Extreme` to `Minor`, or `Unknown`.
    pub severity: &'static str,
    /// `Observed` to `Unlikely`, or `Unknown`.
    pub certainty: &'static str,
}

impl CapWords {
    /// By what stands in the alert at `now`: urgency from the time that is left, severity from the harm, certainty from the
    /// chance.
    #[must_use]
    pub fn of(alert: &Alert, now: DateTime<Utc>) -> Self {
        let over = is_over(alert, now);
        let cancelled = alert
            .closed
            .as_ref()
            .is_some_and(|closing| matches!(closing.reason, CloseReason::Cancelled { .. }));
        let message_type = match (cancelled && over, alert.revision) {
            (true, _) => "Cancel",
            (false, 0 | 1) => "Alert",
            _ => "Update",
        };
        let facts = alert.decided_on.as_ref();
        let frozen = facts.and_then(Facts::lead).is_some_and(|row| row.frozen_now);
        let start = facts.and_then(|facts| facts.latest_start.or(facts.first_danger));
        let high = matches!(alert.condition, Condition::Active { priority: Priority::High });
        let urgency = match start {
            _ if over => "Past",
            Some(start) if start - now < AT_ONCE => "Immediate",
            Some(start) if start - now < SOON => "Expected",
            Some(_) => "Future",
            None if high => "Immediate",
            None => "Future",
        };
        Self {
            message_type,
            response: match (over, urgency) {
                (true, _) => end(alert),
                (false, "Immediate") => "Execute",
                _ if alert.kind == Kind::Blind => "Monitor",
                _ => "Prepare",
            },
            urgency,
            severity: severity(alert),
            certainty: certainty(alert, frozen),
        }
    }
}

/// Was it over at `now`: by what was told then, and not by what has become of it since?
fn is_over(alert: &Alert, now: DateTime<Utc>) -> bool {
    let closed = alert.closed.as_ref().map(|closing| closing.at);
    let dropped = matches!(
        alert.annunciation,
        Annunciation::SuppressedByDesign { .. } | Annunciation::OutOfService { .. }
    ) && alert.told.values().all(|ledger| !ledger.awaits_closing);
    [closed, alert.returned_at].into_iter().flatten().any(|end| end <= now) || dropped
}

/// What is to be done at the end. Clear is only what went by or was done: not what has frozen, what another alert has taken over,
/// what is no longer followed, nor what can be seen again.
fn end(alert: &Alert) -> &'static str {
    let frozen = alert.known.iter().any(|known| known.frozen);
    match alert.closed.as_ref().map(|closing| &closing.reason) {
        Some(CloseReason::Done) if alert.kind == Kind::Freeze => "AllClear",
        _ if frozen => "Assess",
        Some(CloseReason::Passed) => "Assess",
        Some(
            CloseReason::Superseded { .. }
            | CloseReason::NotFollowed { .. }
            | CloseReason::Cancelled { .. },
        ) => "None",
        Some(CloseReason::Returned) if alert.kind == Kind::Heat => "Monitor",
        _ if matches!(alert.kind, Kind::Blind | Kind::Unreachable) => "None",
        _ if !matches!(alert.annunciation, Annunciation::Enabled) => "Monitor",
        _ => "AllClear",
    }
}

fn severity(alert: &Alert) -> &'static str {
    let rows = alert.decided_on.iter().flat_map(|facts| facts.active());
    match rows.map(|row| row.consequence).max() {
        Some(Consequence::Severe) => "Severe",
        Some(Consequence::Major) => "Moderate",
        Some(Consequence::Minor) => "Minor",
        None if alert.kind == Kind::Heat => "Severe",
        None => "Unknown",
    }
}

fn certainty(alert: &Alert, frozen: bool) -> &'static str {
    let told = || alert.told.values().map(|ledger| ledger.last.chance_class);
    match alert.kind {
        Kind::Blind | Kind::Unreachable => "Unknown",
        Kind::Heat => "Likely",
        // Reckoned and not measured: no more than likely.
        _ if frozen => "Likely",
        _ => match told().max() {
            None => "Unknown",
            Some(ChanceClass::VeryUnlikely) => "Unlikely",
            Some(
                ChanceClass::SmallChance | ChanceClass::Chance | ChanceClass::AboutAsLikelyAsNot,
            ) => "Possible",
            Some(_) => "Likely",
        },
    }
}

/// What a document needs besides the alert.
#[derive(Debug, Clone, Copy)]
pub struct CapContext<'a> {
    /// Domain of this installation: the sender, unique in the world.
    pub domain: &'a str,
    /// Name that readers know.
    pub desk: &'a str,
    /// The place.
    pub site: &'a Site,
    /// The boat's name, where it is about one.
    pub boat: Option<&'a str>,
    /// What threatens or what is over, on one line.
    pub headline: &'a str,
    /// What is known.
    pub description: &'a str,
    /// What to do.
    pub instruction: &'a str,
}

/// The document of the alert's last revision, as things stood when it was told.
///
/// # Errors
/// Writing into memory; none is known.
pub fn document(
    alert: &Alert,
    context: &CapContext<'_>,
    now: DateTime<Utc>,
) -> std::io::Result<String> {
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 2);
    let zone = context.site.time_zone;
    let sent = sent_at(alert, alert.revision).unwrap_or(now);
    let words = CapWords::of(alert, sent);
    let identifier = |revision: u32| format!("{}.{revision}", token(alert.id.as_str()));
    let sender = format!("freeze-desk@{}", token(context.domain));
    writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    open(&mut writer, "alert", Some(NAMESPACE))?;
    field(&mut writer, "identifier", &identifier(alert.revision))?;
    field(&mut writer, "sender", &sender)?;
    field(&mut writer, "sent", &stamp(sent, zone))?;
    field(&mut writer, "status", "Actual")?;
    field(&mut writer, "msgType", words.message_type)?;
    field(&mut writer, "scope", "Restricted")?;
    field(&mut writer, "restriction", "for whoever runs the place and the owner of the boat")?;
    field(
        &mut writer,
        "note",
        "A planning aid and not an official weather warning. Urgency Expected means within a day.",
    )?;
    let earlier: Vec<String> = (1..alert.revision)
        .filter_map(|revision| {
            let at = sent_at(alert, revision)?;
            Some(format!("{sender},{},{}", identifier(revision), stamp(at, zone)))
        })
        .collect();
    if !earlier.is_empty() {
        field(&mut writer, "references", &earlier.join(" "))?;
    }
    info(&mut writer, alert, context, (&words, sent))?;
    close(&mut writer, "alert")?;
    let bytes = writer.into_inner();
    Ok(String::from_utf8_lossy(&bytes).into_owned() + "\n")
}

fn info(
    writer: &mut Writer<Vec<u8>>,
    alert: &Alert,
    context: &CapContext<'_>,
    (words, sent): (&CapWords, DateTime<Utc>),
) -> std::io::Result<()> {
    let (site, zone) = (context.site, context.site.time_zone);
    let facts = alert.decided_on.as_ref();
    let danger = facts.and_then(|facts| facts.first_danger);
    let over = words.urgency == "Past";
    let expires = match danger {
        _ if over => sent + CLOSING_KEPT,
        Some(danger) => (danger + AFTER_DANGER).max(sent + AFTER_DANGER),
        None => sent + KEPT,
    };
    open(writer, "info", None)?;
    field(writer, "language", "en-US")?;
    field(writer, "category", "Met")?;
    field(writer, "event", "Freeze exposure of stored boats")?;
    field(writer, "responseType", words.response)?;
    field(writer, "urgency", words.urgency)?;
    field(writer, "severity", words.severity)?;
    field(writer, "certainty", words.certainty)?;
    field(writer, "effective", &stamp(sent, zone))?;
    if let Some(danger) = danger.filter(|_| !over) {
        field(writer, "onset", &stamp(danger, zone))?;
    }
    field(writer, "expires", &stamp(expires, zone))?;
    let desk = format!("{} (not an official warning service)", one_line(context.desk, LETTERS));
    field(writer, "senderName", &desk)?;
    field(writer, "headline", &one_line(context.headline, LETTERS))?;
    field(writer, "description", context.description)?;
    if !context.instruction.is_empty() && (!over || words.response == "Assess") {
        field(writer, "instruction", context.instruction)?;
    }
    let mut parameters: Vec<(&str, String)> = vec![("kind", alert.kind.as_str().to_owned())];
    if let Some(facts) = facts {
        let number = |value: f64| format!("{value:.2}");
        parameters.extend(facts.lead().map(|row| ("chance", number(row.chance_limit))));
        parameters.extend(facts.low.map(|low| ("low_celsius", number(low.median_c))));
        parameters.extend(facts.latest_start.map(|at| ("latest_start", stamp(at, zone))));
    }
    parameters.extend(context.boat.map(|boat| ("boat", one_line(boat, LETTERS))));
    for (name, value) in parameters {
        open(writer, "parameter", None)?;
        field(writer, "valueName", &format!("{}:{name}", token(context.domain)))?;
        field(writer, "value", &value)?;
        close(writer, "parameter")?;
    }
    open(writer, "area", None)?;
    field(writer, "areaDesc", &one_line(&site.name, LETTERS))?;
    // Two decimals: about a kilometre.
    field(writer, "circle", &format!("{:.2},{:.2} {RADIUS_KM:.1}", site.latitude, site.longitude))?;
    close(writer, "area")?;
    close(writer, "info")
}

/// When a revision was sent, to whomever.
fn sent_at(alert: &Alert, revision: u32) -> Option<DateTime<Utc>> {
    let sent = alert.told.values().flat_map(|ledger| &ledger.sent);
    sent.filter(|sent| sent.revision == revision).map(|sent| sent.at).min()
}

/// `2023-02-03T06:30:00-05:00`: seconds, and an offset in figures, never Z (CAP 1.2 section 3.3.2).
fn stamp(at: DateTime<Utc>, zone: Tz) -> String {
    let text = at.with_timezone(&zone).to_rfc3339_opts(SecondsFormat::Secs, false);
    // UTC is written -00:00 there.
    text.strip_suffix("+00:00").map_or(text.clone(), |start| format!("{start}-00:00"))
}

/// No spaces, commas, `<` or `&` in an identifier or a sender (CAP 1.2 section 3.2.1).
fn token(text: &str) -> String {
    let kept = |letter: char| letter.is_ascii_alphanumeric() || "-._@".contains(letter);
    text.chars().map(|letter| if kept(letter) { letter } else { '-' }).collect()
}

fn open(writer: &mut Writer<Vec<u8>>, name: &str, namespace: Option<&str>) -> std::io::Result<()> {
    let mut start = BytesStart::new(name);
    if let Some(namespace) = namespace {
        start.push_attribute(("xmlns", namespace));
    }
    writer.write_event(Event::Start(start))
}

fn close(writer: &mut Writer<Vec<u8>>, name: &str) -> std::io::Result<()> {
    writer.write_event(Event::End(BytesEnd::new(name)))
}

fn field(writer: &mut Writer<Vec<u8>>, name: &str, text: &str) -> std::io::Result<()> {
    let mut written = String::with_capacity(text.len());
    // Characters that XML 1.0 has no place for (production 2).
    let has_place = |letter: &char| {
        (*letter >= ' ' || "\n\t".contains(*letter)) && !matches!(*letter, '\u{FFFE}' | '\u{FFFF}')
    };
    written.extend(text.chars().filter(has_place));
    writer.write_event(Event::Start(BytesStart::new(name)))?;
    writer.write_event(Event::Text(BytesText::new(&written)))?;
    writer.write_event(Event::End(BytesEnd::new(name)))
}
