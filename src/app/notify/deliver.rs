//! Carries the outbox out: takes what is due under a lease, hands it to the courier, notes what became of it.
//!
//! Idempotent: it takes no input but the store and the time, and a pass that was cut short is taken up by the next one
//! when the leases run out.

pub mod notes;

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use chrono::{DateTime, TimeDelta, Utc};

use crate::app::ports::{
    Courier, Fault, Outbox, Posted, StoreError, TEXTS, Verdict, Wait, failpoint,
};
use crate::domain::boat::PersonId;

/// Waits after the first, second and third attempt, then the last one for ever, in minutes. RFC 5321 4.5.4.1 asks for
/// 30 in general and allows less where the cause is known: our own relay, and words that go stale.
const WAITS_MIN: [f64; 4] = [1.0, 5.0, 15.0, 30.0];

/// Waits are spread by this share either way, so that letters refused together do not come back together.
const JITTER: f64 = 0.2;

/// How long a full mailbox may stay full before we turn to the next contact.
const FULL_FOR: TimeDelta = TimeDelta::hours(24);

/// Letters in a row whose outcome stayed unknown, after which the relay is left alone until the next pass: each may
/// have been accepted, and each more is a possible repeat.
const UNKNOWN_MOST: usize = 3;

/// After an outcome that stayed unknown the letter may have been accepted: it goes again no sooner than this (RFC 5321
/// 4.5.4.1), and so often at most. Then it counts as lost, the next contact hears of it, and it is written anew.
const UNKNOWN_WAIT: TimeDelta = TimeDelta::minutes(30);
const UNKNOWN_EACH: u32 = 3;
/// Addresses refused in one pass that no yard has wrong all at once.
const REFUSED_MANY: usize = 3;
/// How often a letter in hand shows that it is still being sent.
const SIGN: Duration = Duration::from_secs(20);

/// Bounds of one pass.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Limits {
    /// Letters leased at a time.
    pub batch: u32,
    /// Letters of one pass in all.
    pub most: usize,
}

impl Default for Limits {
    fn default() -> Self {
        Self { batch: 20, most: 1000 }
    }
}

/// An address that does not take mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    /// The alert whose letter it was.
    pub alert: String,
    /// Whom it was for.
    pub recipient: PersonId,
    /// The address.
    pub address: String,
    /// The server's words.
    pub why: String,
}

/// What a pass did.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct DeliverReport {
    /// Accepted.
    pub sent: usize,
    /// To be tried again.
    pub deferred: usize,
    /// Refused for good because of their address.
    pub failed: usize,
    /// Left the queue because nobody needs them any more.
    pub expired: usize,
    /// Left the queue because a newer letter took their place.
    pub superseded: usize,
    /// Addresses that do not take mail: turn to the next contact.
    pub refused: Vec<Refusal>,
    /// The server refused these letters for another reason than their address; they are tried again all the same.
    pub rejected: Vec<String>,
    /// Letters of which nobody could tell often enough whether they were taken: they are not tried again.
    pub lost: Vec<String>,
    /// What the server said to letters that are to be tried again, each once.
    pub postponed: Vec<String>,
    /// The relay could not be used at all.
    pub relay_trouble: Option<String>,
}

impl DeliverReport {
    /// Is there something that a person should look at: a relay that cannot be used or takes nothing, a letter refused?
    #[must_use]
    pub const fn is_trouble(&self) -> bool {
        let takes_nothing = self.sent == 0 && self.deferred > 0;
        self.relay_trouble.is_some()
            || takes_nothing
            || self.failed > 0
            || !self.rejected.is_empty()
            || !self.lost.is_empty()
    }
}

/// Sends what is due on a channel at `now` and notes what became of it.
///
/// Every letter is marked before the next one goes: a stop costs at most the repeat of the one in hand.
///
/// # Errors
/// [`StoreError`] when the outbox cannot be read or marked; a letter in hand goes again then, with the same bytes.
pub async fn deliver_due(
    store: &dyn Outbox,
    channel: &mut dyn Courier,
    now: DateTime<Utc>,
    limits: &Limits,
) -> Result<DeliverReport, StoreError> {
    deliver_while(store, channel, now, limits, &|| true).await
}

/// [`deliver_due`] that asks `go_on` before each letter: where it says no, what was taken and not tried is given back
/// and the pass ends.
///
/// # Errors
/// As [`deliver_due`].
pub async fn deliver_while(
    store: &dyn Outbox,
    channel: &mut dyn Courier,
    now: DateTime<Utc>,
    limits: &Limits,
    should_continue: &(dyn Fn() -> bool + Sync),
) -> Result<DeliverReport, StoreError> {
    let mut report = DeliverReport::default();
    let mut outcome = Ok(());
    for lane in [channel.name(), TEXTS] {
        // A relay that cannot be used for letters is not asked again for short texts.
        if outcome.is_ok() && report.relay_trouble.is_none() {
            outcome =
                passes(store, (channel, lane), now, (limits, should_continue), &mut report).await;
        }
    }
    channel.finish().await;
    outcome.map(|()| report)
}

async fn passes(
    store: &dyn Outbox,
    (channel, lane): (&mut dyn Courier, &str),
    now: DateTime<Utc>,
    (limits, should_continue): (&Limits, &(dyn Fn() -> bool + Sync)),
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    let deadline = channel.deadline();
    let started = Instant::now();
    // A letter begun within the first deadline ends within the second: nobody else takes it meanwhile.
    let lease_for = TimeDelta::from_std(deadline * 3).unwrap_or(TimeDelta::MAX);
    let (mut begun, mut unknown) = (0, 0);
    let mut refused: Vec<(Posted, String)> = Vec::new();
    while begun < limits.most && should_continue() {
        let left = u32::try_from(limits.most - begun).unwrap_or(u32::MAX);
        // A slow pass moves on with the clock: a lease counted from its start would be over before it is given.
        let now = now + whole_seconds(started.elapsed());
        let due = store.lease_due(lane, now, limits.batch.min(left), lease_for)?;
        report.superseded += due.superseded;
        report.expired += due.expired;
        if due.letters.is_empty() {
            return Ok(());
        }
        let leased = Instant::now();
        let mut taken = Taken { store, letters: due.letters.into() };
        while let Some(letter) = taken.letters.pop_front() {
            let letter = &letter;
            if report.relay_trouble.is_some() || leased.elapsed() >= deadline || !should_continue()
            {
                // Not tried: as if nobody had taken it, or with the relay's trouble noted.
                put_back(store, letter, now, report)?;
                continue;
            }
            begun += 1;
            let mut hand = InHand { store, letter, handing: channel.handing(), now, left: false };
            let verdict = {
                let until = || now + whole_seconds(leased.elapsed()) + lease_for;
                let sign = || {
                    should_continue();
                    if let Err(error) = store.renew(letter.id, letter.attempts, until()) {
                        tracing::warn!("the lease of a letter in hand runs out: {error}");
                    }
                };
                watched(channel.send(letter), sign).await
            };
            hand.left = true;
            let now = now + whole_seconds(leased.elapsed());
            if let Verdict::Unknown { why } = &verdict {
                unknown += 1;
                if unknown >= UNKNOWN_MOST {
                    report.relay_trouble = Some(why.clone());
                }
            } else {
                unknown = 0;
            }
            if let Verdict::AddressRefused { why, .. } = verdict {
                // Whose fault it is shows when the relay has taken another letter, or none.
                refused.push((letter.clone(), why));
                continue;
            }
            note((store, &*channel), letter, verdict, now, report)?;
        }
        settle_refused(store, &mut refused, now, report)?;
        if report.relay_trouble.is_some() {
            return Ok(());
        }
    }
    Ok(())
}

/// Waits for a letter to be sent, and gives a sign now and then that it still is.
async fn watched(sending: impl Future<Output = Verdict>, mut sign: impl FnMut()) -> Verdict {
    tokio::pin!(sending);
    loop {
        match tokio::time::timeout(SIGN, &mut sending).await {
            Ok(verdict) => return verdict,
            Err(_) => sign(),
        }
    }
}

/// Gives up the letters whose addresses were refused, where the relay has taken others since they were first tried. A relay that
/// refuses one and takes none may refuse everybody: then they wait, and the next contact hears of it all the same.
fn settle_refused(
    store: &dyn Outbox,
    refused: &mut Vec<(Posted, String)>,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    // A list of users that is lost leaves a few that work: so many wrong addresses at once there are not.
    let refuses_most = refused.len() >= REFUSED_MANY && refused.len() > report.sent;
    for (letter, why) in refused.drain(..) {
        if !refuses_most && store.took_another_since(letter.id)? {
            give_up(store, &letter, why, now, report)?;
        } else {
            reject(store, &letter, Fault::Policy, why, now, report)?;
        }
    }
    Ok(())
}

/// The letter that is being sent. A pass that is dropped over it gives it back, unless the relay had it in hand: then nobody
/// knows, and it goes again late.
struct InHand<'a> {
    store: &'a dyn Outbox,
    letter: &'a Posted,
    handing: Option<Arc<AtomicBool>>,
    now: DateTime<Utc>,
    /// The attempt has come to its end.
    left: bool,
}

impl Drop for InHand<'_> {
    fn drop(&mut self) {
        if self.left {
            return;
        }
        let (id, attempts) = (self.letter.id, self.letter.attempts);
        let handing = self.handing.as_ref().is_some_and(|flag| flag.load(Ordering::SeqCst));
        let done = if handing {
            let why = "stopped while the relay had it in hand";
            self.store.mark_unknown(id, attempts, (self.now + UNKNOWN_WAIT, why), self.now)
        } else {
            self.store.release(id, attempts)
        };
        if let Err(error) = done {
            tracing::warn!("a letter waits for the end of its lease: {error}");
        }
    }
}

/// Letters that were taken and not tried yet. A pass that is dropped in the middle, as when the daemon has to stop beside a
/// relay that hangs, gives them back at once: whoever comes next need not wait for the leases.
struct Taken<'a> {
    store: &'a dyn Outbox,
    letters: VecDeque<Posted>,
}

impl Drop for Taken<'_> {
    fn drop(&mut self) {
        for letter in &self.letters {
            if let Err(error) = self.store.release(letter.id, letter.attempts) {
                tracing::warn!("a letter waits for the end of its lease: {error}");
            }
        }
    }
}

/// Whole seconds that have passed, so that a pass that takes no time to speak of changes no time by a hair.
fn whole_seconds(elapsed: Duration) -> TimeDelta {
    TimeDelta::try_seconds(i64::try_from(elapsed.as_secs()).unwrap_or(0)).unwrap_or_default()
}

fn put_back(
    store: &dyn Outbox,
    letter: &Posted,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    match &report.relay_trouble {
        Some(why) => {
            let why = why.clone();
            defer(store, letter, None, &why, now, report)?;
        }
        None => {
            store.release(letter.id, letter.attempts)?;
        }
    }
    Ok(())
}

fn note(
    (store, courier): (&dyn Outbox, &dyn Courier),
    letter: &Posted,
    verdict: Verdict,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    match verdict {
        Verdict::Sent { reply } => {
            failpoint::hit("after_accept_before_mark");
            store.mark_sent(letter.id, &reply, now)?;
            report.sent += 1;
            Ok(())
        }
        Verdict::MailboxFull { why } if now - letter.row.queued_at >= FULL_FOR => {
            give_up(store, letter, why, now, report)
        }
        Verdict::AddressRefused { why, .. } => give_up(store, letter, why, now, report),
        Verdict::Retry { why } | Verdict::MailboxFull { why } => {
            if !report.postponed.contains(&why) {
                report.postponed.push(why.clone());
            }
            defer(store, letter, None, &why, now, report)
        }
        Verdict::Unknown { why } => doubt(store, letter, &why, now, report),
        Verdict::Relay { why } => {
            report.relay_trouble = Some(why.clone());
            defer(store, letter, None, &why, now, report)
        }
        Verdict::TooBig { why, .. } => match courier.plainer(letter) {
            Some(plainer) => {
                store.put_plainer(letter.id, letter.attempts, &plainer, now)?;
                report.deferred += 1;
                Ok(())
            }
            None => reject(store, letter, Fault::Size, why, now, report),
        },
        Verdict::Policy { why, .. } => reject(store, letter, Fault::Policy, why, now, report),
        Verdict::Permanent { why, .. } => reject(store, letter, Fault::Other, why, now, report),
    }
}

/// The address takes no mail: no attempt will change that.
fn give_up(
    store: &dyn Outbox,
    letter: &Posted,
    why: String,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    store.mark_failed(letter.id, letter.attempts, Fault::Address, &why, now)?;
    report.failed += 1;
    report.refused.push(Refusal {
        alert: letter.row.alert.clone(),
        recipient: letter.row.recipient.clone(),
        address: letter.row.address.clone(),
        why,
    });
    Ok(())
}

/// The server said no to the letter, not to its address. A rule or a filter can be mended while the danger lasts, so the
/// letter goes on being tried; meanwhile the next contact hears of it.
fn reject(
    store: &dyn Outbox,
    letter: &Posted,
    fault: Fault,
    why: String,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    defer(store, letter, Some(fault), &why, now, report)?;
    report.rejected.push(why);
    Ok(())
}

/// Nobody knows whether the relay took the letter: it goes again, late and seldom.
fn doubt(
    store: &dyn Outbox,
    letter: &Posted,
    why: &str,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    let times = letter.unknown_times.saturating_add(1);
    let why = format!("outcome unknown, time {times}: {why}");
    if times >= UNKNOWN_EACH {
        store.mark_failed(letter.id, letter.attempts, Fault::Other, &why, now)?;
        report.lost.push(why);
        return Ok(());
    }
    let until = now + UNKNOWN_WAIT + wait(letter.id, 1);
    store.mark_unknown(letter.id, letter.attempts, (until, &why), now)?;
    report.deferred += 1;
    if !report.postponed.contains(&why) {
        report.postponed.push(why);
    }
    Ok(())
}

fn defer(
    store: &dyn Outbox,
    letter: &Posted,
    fault: Option<Fault>,
    why: &str,
    now: DateTime<Utc>,
    report: &mut DeliverReport,
) -> Result<(), StoreError> {
    let until = now + wait(letter.id, letter.attempts);
    store.mark_deferred(letter.id, letter.attempts, &Wait { until, fault, why }, now)?;
    report.deferred += 1;
    Ok(())
}

/// How long a letter waits after its `attempts`-th attempt (from 1): spread by its own number, the same in every run.
pub(crate) fn wait(id: i64, attempts: u32) -> TimeDelta {
    let step = usize::try_from(attempts.saturating_sub(1)).unwrap_or(usize::MAX);
    let minutes = WAITS_MIN.get(step).or(WAITS_MIN.last()).copied().unwrap_or(30.0);
    let seconds = minutes * 60.0 * (1.0 + JITTER * (2.0 * share(id, attempts) - 1.0));
    // Rounded up to whole milliseconds; the range is 48 s to 36 min.
    Duration::try_from_secs_f64(seconds)
        .ok()
        .and_then(|wait| TimeDelta::from_std(wait).ok())
        .map_or(TimeDelta::minutes(30), |wait| TimeDelta::milliseconds(wait.num_milliseconds()))
}

/// A number in `[0, 1)` from the letter's number and the attempt: the finaliser of SplitMix64 (Steele, Lea, Flood 2014).
fn share(id: i64, attempts: u32) -> f64 {
    let mut z = id
        .cast_unsigned()
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add(u64::from(attempts).wrapping_mul(0xD1B5_4A32_D192_ED03));
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    let top = u32::try_from(z >> 32).unwrap_or(u32::MAX);
    f64::from(top) / (f64::from(u32::MAX) + 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_to_half_an_hour_and_are_spread() {
        for (attempts, minutes) in [(1, 1.0), (2, 5.0), (3, 15.0), (4, 30.0), (5, 30.0), (99, 30.0)]
        {
            let waits: Vec<f64> =
                (1..200).map(|id| wait(id, attempts).as_seconds_f64() / 60.0).collect();
            for found in &waits {
                assert!((0.8 * minutes - 1e-4..=1.2 * minutes + 1e-4).contains(found), "{found}");
            }
            let mean = waits.iter().sum::<f64>() / 199.0;
            assert!((mean / minutes - 1.0).abs() < 0.03, "attempt {attempts}: mean {mean}");
        }
        assert_eq!(wait(7, 2), wait(7, 2));
        assert_ne!(wait(7, 4), wait(7, 5));
    }
}
