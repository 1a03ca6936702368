//! What one person gets in one round about several boats, or several people, becomes one letter.

use super::action::{Content, Notification, Posting};
use super::advice::Advice;

/// The letters of a round, in the order of their first notification. Advice that the reader's next worklist carries
/// ([`Advice::with_worklist`]), or another letter of the round by `carried`, gets none of its own.
#[must_use]
pub fn bundled(
    notifications: &[Notification],
    carried: impl Fn(&Advice) -> bool,
) -> Vec<Notification> {
    let mut letters: Vec<Notification> = Vec::new();
    for notification in notifications {
        let elsewhere = |one: &Advice| one.with_worklist || carried(one);
        if let Content::Advice(advice) = &notification.content
            && advice.iter().all(elsewhere)
        {
            continue;
        }
        match letters.iter_mut().find(|letter| go_together(letter, notification)) {
            Some(letter) => join(letter, notification),
            None => letters.push(notification.clone()),
        }
    }
    letters
}

fn go_together(letter: &Notification, other: &Notification) -> bool {
    match (&letter.content, &other.content) {
        (Content::Advice(one), Content::Advice(other)) => {
            let key = |advice: &[Advice]| advice.first().and_then(|advice| advice.rollup.clone());
            key(one).is_some() && key(one) == key(other)
        }
        (Content::Undeliverable(_), Content::Undeliverable(_)) => {
            letter.recipient == other.recipient && letter.posting.closing == other.posting.closing
        }
        _ => false,
    }
}

fn join(letter: &mut Notification, other: &Notification) {
    match (&mut letter.content, &other.content) {
        (Content::Advice(advice), Content::Advice(more)) => {
            advice.extend(more.iter().cloned());
            // One letter about several belongs to no single alert.
            if let Some(key) = advice.first().and_then(|advice| advice.rollup.clone()) {
                letter.posting.about =
                    format!("rollup-{}-{}", key.recipient, key.round.timestamp());
                letter.posting.revision = 1;
            }
            letter.posting.closing |= other.posting.closing;
        }
        (Content::Undeliverable(notices), Content::Undeliverable(more)) => {
            notices.extend(more.iter().cloned());
            let at = letter.posting.decided_at;
            letter.posting = Posting::of_undeliverable(notices, &letter.recipient, at);
        }
        _ => {}
    }
}
