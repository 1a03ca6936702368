//! A decision in the making: the document before and after, the rows of its log, and who has been told what so far.

use chrono::{DateTime, Utc};

use super::action::{Action, Notification};
use super::advice::{Act, Advice, RecordLine, RollUp};
use super::closing::CloseReason;
use super::known::{Look, note_told};
use super::quiet::not_before;
use super::settings::AlertSettings;
use super::{
    Alert, Closing, Condition, Facts, Heard, Ledger, Sent, Situation, Standing, Transition,
    yard_first,
};
use crate::domain::boat::{Care, PersonId};
use crate::domain::risk::Priority;
use crate::domain::yard::{Person, Role};

/// A decision in the making: the document before, the document after, and what has been said so far.
pub(super) struct Draft<'a> {
    pub situation: &'a Situation,
    pub now: DateTime<Utc>,
    pub care: Option<Care>,
    pub before: Alert,
    pub next: Alert,
    /// The numbers of this look.
    pub looked: Option<Facts>,
    /// A manager gets a letter about it in this round.
    pub yard_hears_now: bool,
    transitions: Vec<Transition>,
    advice: Vec<Advice>,
}

impl<'a> Draft<'a> {
    pub fn new(
        situation: &'a Situation,
        care: Option<Care>,
        alert: Alert,
        now: DateTime<Utc>,
    ) -> Self {
        let (transitions, advice) = (Vec::new(), Vec::new());
        let (next, before) = (alert.clone(), alert);
        let (looked, yard_hears_now) = (None, false);
        Self { situation, now, care, before, next, looked, yard_hears_now, transitions, advice }
    }

    /// Finishes: an alert that did not change is not written again.
    pub fn finish(self) -> Vec<Action> {
        let is_new = self.situation.open.is_none();
        let changed = self.next != self.before || is_new;
        let mut looked = self.looked.map(Box::new);
        let mut actions = Vec::new();
        if changed {
            actions.push(Action::Keep(Box::new(self.next)));
        }
        // The numbers of the look stand with the first move.
        let moves = self.transitions.into_iter();
        actions.extend(moves.map(|transition| Action::Log { transition, looked: looked.take() }));
        let told = self.advice.into_iter().map(Notification::of_advice);
        actions.extend(told.map(|notification| Action::Notify(Box::new(notification))));
        actions
    }

    /// Logs the move from the last logged state to the one of `next`.
    pub fn log(&mut self, row: u8, reason: &str) {
        let mut transition = Transition::between(
            row,
            &self.before,
            &self.next,
            self.now,
            "rule",
            reason,
            self.situation.issued_at,
        );
        if let Some(last) = self.transitions.last() {
            transition.from = last.to;
        }
        self.transitions.push(transition);
    }

    /// Marks the input unknown or known (row 24); true while it is unknown.
    pub fn look_at_input(&mut self) -> bool {
        let blind = self.situation.forecast == crate::domain::weather::ForecastState::Blind
            || self.situation.issued_at.is_none();
        match (blind, self.next.input) {
            (true, super::Input::Known) => {
                self.next.input = super::Input::Unknown { since: self.now };
                self.next.rising = None;
                self.next.falling = None;
                self.log(24, "no usable forecast: the state is kept");
            }
            (false, super::Input::Unknown { .. }) => {
                self.next.input = super::Input::Known;
                self.log(24, "a usable forecast again");
            }
            _ => {}
        }
        blind
    }

    /// Has a person room for another message today, however pressing?
    pub fn has_room(&self, person: &Person) -> bool {
        let settings = &self.situation.settings;
        let limit = match person.role {
            Role::Manager => settings.per_manager_24h,
            _ => settings.per_person_24h,
        };
        self.had(&person.id) < limit
    }

    /// Messages that a person has had in the last 24 hours, from this alert and from others.
    fn had(&self, person: &PersonId) -> usize {
        let since = self.now - chrono::Duration::hours(24);
        let own = self
            .next
            .told
            .get(person)
            .map_or(0, |ledger| ledger.sent.iter().filter(|sent| sent.at > since).count());
        own + self.situation.recent.iter().filter(|(id, at)| id == person && *at > since).count()
    }

    /// Has a manager been told of this alert, and awaits its end?
    pub fn manager_knows(&self) -> bool {
        self.situation.people.iter().any(|person| {
            person.role == Role::Manager
                && self.next.told.get(&person.id).is_some_and(|ledger| ledger.awaits_closing)
        })
    }

    /// May this person get another message? What is high always passes.
    pub fn within_limit(&self, person: &Person, priority: Priority) -> bool {
        priority == Priority::High || self.has_room(person)
    }

    fn for_the_yard(&self) -> yard_first::Ground<'a> {
        yard_first::Ground {
            situation: self.situation,
            care: self.care,
            is_listed: self.next.listed.is_some(),
            manager_knows: self.manager_knows(),
            now: self.now,
        }
    }

    /// Time and cold of this look.
    pub fn look(&self) -> Look {
        Look { now: self.now, low_c: self.situation.low.map(|low| low.median_c) }
    }

    /// Where the log and the document stand, to come back to.
    pub fn mark(&self) -> (usize, Alert) {
        (self.transitions.len(), self.next.clone())
    }

    /// Gives the rows logged since `mark` the number and reason of one move from the state before it.
    pub fn relabel(&mut self, (logged, shelved): (usize, Alert), row: u8, reason: &str) {
        self.transitions.truncate(logged);
        let from = Alert { annunciation: self.before.annunciation.clone(), ..shelved }.flat();
        self.log(row, reason);
        if let Some(last) = self.transitions.last_mut() {
            last.from = from;
        }
    }

    /// Back to `mark`, as put aside.
    pub fn undo(&mut self, (logged, shelved): (usize, Alert)) {
        self.transitions.truncate(logged);
        let (annunciation, response) =
            (self.before.annunciation.clone(), self.before.response.clone());
        self.next = Alert { annunciation, response, ..shelved };
    }

    /// Tells one person of a raise or of a change, and notes it in the ledger. Call [`Draft::next_revision`] before the
    /// first of a round.
    pub fn tell(&mut self, person: &Person, act: Act, facts: &Facts, standing: Vec<Standing>) {
        self.tell_at_step(person, act, facts, standing, 0);
    }

    /// Tells the next contact: step `step` of the escalation.
    pub fn tell_step(&mut self, person: &Person, act: Act, facts: &Facts, step: u8) {
        self.tell_at_step(person, act, facts, Vec::new(), step);
    }

    fn tell_at_step(
        &mut self,
        person: &Person,
        act: Act,
        facts: &Facts,
        standing: Vec<Standing>,
        step: u8,
    ) {
        let settings = &self.situation.settings;
        let is_update = matches!(act, Act::Update { .. });
        let hold = self.hold(person, settings, facts.priority, facts.latest_start);
        let yard = (step == 0).then(|| {
            yard_first::hold(self.for_the_yard(), person, (&act, facts), self.yard_hears_now)
        });
        let yard = yard.flatten();
        let ledger = self.next.told.get(&person.id);
        let advice = Advice {
            previous: ledger.map(|ledger| ledger.last.clone()),
            earlier: ledger.map(|ledger| ledger.sent.clone()).unwrap_or_default(),
            not_before: hold,
            hold_until: yard.map(|hold| hold.until),
            hold_most: yard.map(|hold| hold.most),
            standing,
            step,
            ..self.blank(person.id.clone(), act, facts.clone(), rolls_up(person.role))
        };
        let sent = Sent { at: self.now, revision: self.next.revision, step };
        let look = self.look();
        note_told(&mut self.next.known, &person.id, &facts.rows, look);
        let entry = self.next.told.entry(person.id.clone()).or_insert_with(|| Ledger {
            last: facts.as_told(),
            worst: Heard::of(facts),
            sent: Vec::new(),
            awaits_closing: true,
            updates: 0,
        });
        if entry.awaits_closing {
            entry.worst.add(facts);
        } else {
            entry.worst = Heard::of(facts);
            entry.updates = 0;
        }
        entry.updates = entry.updates.saturating_add(u8::from(is_update));
        entry.last = facts.as_told();
        entry.sent.push(sent);
        entry.awaits_closing = true;
        self.advice.push(advice);
    }

    /// Who was told of the raise and not yet of its end.
    pub fn awaiting(&self) -> Vec<PersonId> {
        let waits = self.next.told.iter().filter(|(_, ledger)| ledger.awaits_closing);
        waits.map(|(person, _)| person.clone()).collect()
    }

    /// Tells everybody who awaits it that it is over.
    pub fn tell_closing(&mut self, reason: &CloseReason, records: &[RecordLine], facts: &Facts) {
        let awaiting = self.awaiting();
        if awaiting.is_empty() {
            return;
        }
        self.next_revision();
        for id in awaiting {
            let person = self.situation.people.iter().find(|person| person.id == id);
            let act = Act::Close { reason: reason.clone(), records: records.to_vec() };
            let manager = person.is_some_and(|person| rolls_up(person.role));
            let hold = person.and_then(|person| {
                self.hold(person, &self.situation.settings, Priority::Low, None)
            });
            // A manager reads on the next worklist that it is over: nothing is left that could not wait for it.
            let with_worklist = person.is_some_and(|person| person.role == Role::Manager)
                && self.next.kind == super::Kind::Freeze
                && self.situation.worklist.is_some();
            let mut advice = Advice {
                not_before: hold,
                with_worklist,
                ..self.blank(id.clone(), act, facts.clone(), manager)
            };
            let sent = Sent { at: self.now, revision: self.next.revision, step: 0 };
            if let Some(ledger) = self.next.told.get_mut(&id) {
                advice.previous = Some(ledger.last.clone());
                advice.earlier = ledger.sent.clone();
                ledger.sent.push(sent);
                ledger.awaits_closing = false;
            }
            self.advice.push(advice);
        }
    }

    /// A new revision: everybody told in this round shares it.
    pub fn next_revision(&mut self) {
        self.next.revision = self.next.revision.saturating_add(1);
    }

    /// Ends the episode for good.
    pub fn close(&mut self, reason: CloseReason) {
        self.next.condition = Condition::Normal;
        self.next.closed = Some(Closing { at: self.now, reason });
    }

    fn hold(
        &self,
        person: &Person,
        settings: &AlertSettings,
        priority: Priority,
        latest_start: Option<DateTime<Utc>>,
    ) -> Option<DateTime<Utc>> {
        not_before(
            person,
            self.situation.site.time_zone,
            settings,
            priority,
            latest_start,
            self.now,
        )
    }

    fn blank(&self, recipient: PersonId, act: Act, facts: Facts, manager: bool) -> Advice {
        Advice {
            alert: self.next.id.clone(),
            kind: self.next.kind,
            subject: self.next.subject.clone(),
            site: self.next.site.clone(),
            revision: self.next.revision,
            step: 0,
            rollup: manager.then(|| RollUp { recipient: recipient.clone(), round: self.now }),
            recipient,
            act,
            yard_hears: yard_first::is_told(self.for_the_yard(), &facts, self.yard_hears_now),
            facts,
            previous: None,
            earlier: Vec::new(),
            with_worklist: false,
            not_before: None,
            hold_until: None,
            hold_most: None,
            owner_hears: self.advice.iter().find_map(|advice| advice.hold_until),
            yard_note: None,
            care: self.care,
            standing: Vec::new(),
        }
    }
}

/// Whose messages are rolled up: those who answer for many boats or places.
const fn rolls_up(role: Role) -> bool {
    matches!(role, Role::Manager | Role::Operator | Role::Technician)
}
