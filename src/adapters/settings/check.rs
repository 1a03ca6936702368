//! What a configuration must fulfil beyond its types.

use crate::app::settings::schedule::Schedule;
use crate::app::settings::{Judge, Security, Settings};
use crate::domain::yard::is_mail_address;

/// The past that a part has stood through is read back so far, and a little more.
const KEEP_DAYS_LEAST: u16 = 70;

/// A forecast older than this says nothing any more, whatever the settings wish.
const LIMIT_HOURS_MOST: f64 = 72.0;

/// Everything that is wrong with settings that parsed, one line each.
#[must_use]
pub fn problems(settings: &Settings) -> Vec<String> {
    let mut found = Vec::new();
    let mut ask = |right: bool, problem: String| {
        if !right {
            found.push(problem);
        }
    };
    let contact = &settings.forecast.contact;
    ask(
        contact.contains('@') || contact.starts_with("http"),
        format!(
            "forecast.contact = {contact:?}: the weather services ask for a mail address or a web page of yours"
        ),
    );
    ask(
        contact.len() <= 200
            && contact.bytes().all(|b| (b' '..=b'~').contains(&b) && b != b'(' && b != b')'),
        format!(
            "forecast.contact = {contact:?}: it goes into a header: at most 200 plain letters, without brackets"
        ),
    );
    ask(
        !contact.ends_with("example.invalid"),
        "forecast.contact still holds the placeholder: put your own address there".into(),
    );
    for problem in super::services::problems(&settings.forecast, |base| {
        base.starts_with("https://") || is_loopback_url(base)
    }) {
        ask(false, problem);
    }
    let limits = settings.forecast.limits;
    for (name, hours, least) in [
        ("degraded_issue_h", limits.degraded_issue_h, 1.0),
        ("degraded_answer_h", limits.degraded_answer_h, 1.0),
        ("blind_issue_h", limits.blind_issue_h, 2.0),
        ("blind_left_h", limits.blind_left_h, 6.0),
    ] {
        ask(
            hours >= least && hours <= LIMIT_HOURS_MOST,
            format!(
                "forecast.limits.{name} = {hours}: must be {least} to {LIMIT_HOURS_MOST} hours; past it nobody would hear that the weather cannot be seen"
            ),
        );
    }
    ask(
        limits.degraded_issue_h.total_cmp(&limits.blind_issue_h).is_le(),
        format!(
            "forecast.limits.degraded_issue_h = {} lies over blind_issue_h = {}",
            limits.degraded_issue_h, limits.blind_issue_h
        ),
    );
    let judge = settings.judge;
    ask(
        (32..=4096).contains(&judge.members),
        format!("judge.members = {}: must be 32 to 4096", judge.members),
    );
    ask(
        (24..=168).contains(&judge.horizon_h),
        format!("judge.horizon_h = {}: must be 24 to 168", judge.horizon_h),
    );
    ask(
        (24..=168).contains(&judge.ahead_h),
        format!("judge.ahead_h = {}: must be 24 to 168", judge.ahead_h),
    );
    let usual = Judge::default().ahead_h;
    ask(
        judge.ahead_h >= judge.horizon_h || judge.ahead_h == usual,
        format!(
            "judge.ahead_h = {} lies below horizon_h = {}: people would be told of less than programs",
            judge.ahead_h, judge.horizon_h
        ),
    );
    ask(
        (1..=60).contains(&judge.past_days),
        format!("judge.past_days = {}: must be 1 to 60", judge.past_days),
    );
    let days = settings.store.keep_forecasts_days;
    ask(
        days >= KEEP_DAYS_LEAST,
        format!(
            "store.keep_forecasts_days = {days}: must be {KEEP_DAYS_LEAST} or more, since parts remember the past hours of weeks"
        ),
    );
    let yard = &settings.yard;
    ask(
        yard.work_from < yard.work_to,
        format!("yard.work_from {} is not before yard.work_to {}", yard.work_from, yard.work_to),
    );
    ask(
        !yard.name.trim().is_empty(),
        "yard.name is blank: readers know messages by it, such as \"Larch Hollow\"".into(),
    );
    if let Err(problem) = Schedule::parse(&yard.worklist) {
        ask(false, format!("yard.worklist = {:?}: {problem}", yard.worklist));
    }
    let tolerance = settings.season.tolerance;
    ask(
        (0.02..=0.5).contains(&tolerance),
        format!("season.tolerance = {tolerance}: a share of winters from 0.02 to 0.5"),
    );
    for problem in settings.alert.problems() {
        ask(false, problem);
    }
    for problem in settings.crew.problems() {
        ask(false, problem);
    }
    for problem in settings.text.problems() {
        ask(false, problem);
    }
    for problem in settings.webhook.iter().flat_map(|(name, hook)| hook.problems(name)) {
        ask(false, problem);
    }
    mail_problems(settings, &mut ask);
    found
}

fn mail_problems(settings: &Settings, ask: &mut impl FnMut(bool, String)) {
    let mail = &settings.mail;
    ask(
        is_mail_address(&mail.from),
        format!(
            "mail.from = {:?}: must be one plain address such as freeze-desk@your.domain, without a name, blanks or brackets; readers see the yard's name beside it",
            mail.from
        ),
    );
    match (&mail.maildir, &mail.smtp) {
        (None, None) => {
            ask(false, "mail: name a relay in [mail.smtp], or mail.maildir for a trial".into())
        }
        (Some(_), Some(_)) => {
            ask(false, "mail: both mail.maildir and [mail.smtp] are given; keep one".into());
        }
        (None, Some(smtp)) => {
            ask(
                smtp.security != Security::PlaintextLoopback || is_loopback_host(&smtp.host),
                format!(
                    "mail.smtp.security = \"plaintext-loopback\" is only for 127.0.0.1, ::1 or localhost, not {:?}; use \"tls\" or \"starttls\"",
                    smtp.host
                ),
            );
            ask(
                smtp.port != 0,
                "mail.smtp.port = 0: relays listen on 465 (tls) or 587 (starttls)".into(),
            );
            ask(
                !smtp.host.contains(['/', ' ', '@']),
                format!(
                    "mail.smtp.host = {:?}: the name alone, such as mail.your.domain, without smtp:// or a port",
                    smtp.host
                ),
            );
            ask(
                !smtp.host.trim().is_empty(),
                "mail.smtp.host is blank: name your relay, such as mail.your.domain".into(),
            );
            ask(
                smtp.user.is_some() == smtp.password_file.is_some(),
                "mail.smtp: user and password_file go together; give both or neither".into(),
            );
        }
        (Some(_), None) => {}
    }
}

fn is_loopback_host(host: &str) -> bool {
    host == "localhost"
        || host.parse::<std::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn is_loopback_url(url: &str) -> bool {
    url.strip_prefix("http://").is_some_and(|rest| {
        let authority = rest.split(['/', '?', '#', '\\']).next().unwrap_or_default();
        // What stands before an @ is no host.
        if authority.contains('@') {
            return false;
        }
        let host = authority.rsplit_once(':').map_or(authority, |(host, _)| host);
        is_loopback_host(host.trim_matches(['[', ']']))
    })
}
