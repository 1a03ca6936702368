//! Answers: what was asked is settled by an answer that answers it, and by no other.

use super::Folding;
use super::log::Entry;
use super::target::Target;
use crate::domain::boat::{Evidence, Holds, LayupEvent};
use crate::domain::catalogue::{Reason, Says, remark_words};

/// Questions about a run, whose answers are yes and no.
const OF_A_RUN: [Reason; 3] = [Reason::WasItRun, Reason::WayToLift, Reason::OwnPower];
/// The same about water.
const OF_WATER: [Reason; 1] = [Reason::WasItUsed];

/// Yes and no.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Answer {
    Yes,
    No,
}

/// Yes, by whatever stands there; no, only where the answer itself stands in its column: a remark adds no worth.
fn yes_or_no(event: &LayupEvent) -> Option<Answer> {
    let words = remark_words();
    let says = |what: &str, text: &Option<String>| {
        text.as_deref().is_some_and(|text| words.says(what, text))
    };
    let no = |text: &Option<String>| says("no", text);
    if [&event.method, &event.note].into_iter().any(|text| says("yes", text) && !no(text)) {
        Some(Answer::Yes)
    } else {
        no(&event.method).then_some(Answer::No)
    }
}

impl Folding<'_> {
    /// An answer that names circuits clears them from the list of what is to be tested first; yes and no settle the questions
    /// that have such answers.
    pub(super) fn answered(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        if entry.event.mentions_damage() {
            return self.damage(number, targets);
        }
        if !entry.answers() {
            return;
        }
        for target in targets {
            let Some(slot) = self.slot(*target) else { continue };
            if !entry.event.speaks_of("not_looked") {
                slot.test_first = None;
                slot.answered(Reason::TestBeforeRunning);
            }
            slot.event(number);
        }
        self.settle(number, entry, targets);
    }

    /// She was run, says the owner who was asked: what was protected on the raw path is known no more.
    fn ran_by_answer(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let (cooling, at) = (self.fitting.cooling, entry.event.happened_at);
        for (place, slot) in self.slots.iter_mut().enumerate() {
            let meant = targets.is_empty() || targets.iter().any(|target| target.slot == place);
            if meant && slot.kind.is_wetted_by_run(cooling, false) && slot.holds.is_protected() {
                slot.undo(Holds::Unknown, Evidence::None, number, at);
                slot.rule(number, Reason::AnsweredRun);
                slot.ask(number, Reason::RunWhen);
            }
        }
    }

    fn settle(&mut self, number: usize, entry: &Entry<'_>, targets: &[Target]) {
        let event = &*entry.event;
        let Some(answer) = yes_or_no(event) else { return };
        if answer == Answer::Yes && self.order.is_of_a_run(number) {
            return self.ran_by_answer(number, entry, targets);
        }
        let keys = |asked: &[Reason]| asked.iter().any(|ask| event.mentions_in_point(&[ask.key()]));
        let run = event.remark().is_some_and(|remark| remark.tells(Says::Ran));
        // An answer that names no question is to whatever was put to the owner last; else to what has such an answer.
        let free = event.point.is_none() && self.order.asked_before(number);
        let asked: &[Reason] = match () {
            () if keys(&OF_A_RUN) || run => &OF_A_RUN,
            () if keys(&OF_WATER) => &OF_WATER,
            () if free => return,
            () => &[Reason::WasItRun, Reason::WayToLift, Reason::OwnPower, Reason::WasItUsed],
        };
        for (place, slot) in self.slots.iter_mut().enumerate() {
            let meant = targets.is_empty() || targets.iter().any(|target| target.slot == place);
            let open = slot.asks_one_of(asked);
            if !meant || !open {
                continue;
            }
            match answer {
                Answer::Yes => {
                    slot.undo(Holds::Unknown, Evidence::None, number, event.happened_at);
                    slot.rule(number, Reason::AnsweredRun);
                    slot.ask(number, Reason::RunWhen);
                }
                Answer::No => {
                    if let Some(before) = slot.instead.take() {
                        *slot = *before;
                    }
                    asked.iter().for_each(|ask| slot.answered(*ask));
                    slot.event(number);
                }
            }
        }
    }
}
