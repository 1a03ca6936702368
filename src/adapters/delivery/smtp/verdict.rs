//! What an SMTP answer means for a letter.
//!
//! Reply codes: RFC 5321 section 4.2; enhanced status codes: RFC 3463 section 3. Permanent only where the server said
//! so in a 5yz reply; everything else is tried again. Where the enhanced code and the reply code tell different
//! stories, the enhanced one is the finer.

use std::time::Duration;

use crate::app::ports::Verdict;

/// How far a letter had come when the answer came.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Phase {
    /// Connecting, greeting, logging in.
    Connect,
    /// MAIL.
    Sender,
    /// RCPT.
    Recipient,
    /// DATA.
    Data,
    /// The message and its final dot: from here on it may have been accepted.
    Content,
}

/// Reads an answer. `code` is the reply code, where there was an answer at all; `words` its text, which may start with
/// an enhanced code.
#[must_use]
pub fn classify(phase: Phase, code: Option<u16>, words: &str) -> Verdict {
    let Some(code) = code else {
        return if phase == Phase::Content {
            Verdict::Unknown { why: words.to_owned() }
        } else {
            Verdict::Retry { why: words.to_owned() }
        };
    };
    let why = format!("{code} {words}");
    let enhanced = enhanced(words);
    let permanent = (500..600).contains(&code);
    if enhanced.is_some_and(|(_, subject, detail)| (subject, detail) == (2, 2)) {
        return Verdict::MailboxFull { why };
    }
    if !permanent {
        return Verdict::Retry { why };
    }
    match (phase, enhanced.map(|(_, subject, detail)| (subject, detail))) {
        (Phase::Connect, _) => Verdict::Relay { why },
        // X.1.7 and X.1.8 speak of the sender's address, not of the reader's.
        (_, Some((1, 7 | 8))) => Verdict::Policy { code, why },
        (Phase::Recipient | Phase::Content, Some((1, _) | (2, 0 | 1 | 4))) => {
            Verdict::AddressRefused { code: Some(code), why }
        }
        (_, Some((7, _))) => Verdict::Policy { code, why },
        (_, Some((2 | 3, 3 | 4))) => Verdict::TooBig { code, why },
        (Phase::Recipient, None)
            if matches!(code, 551 | 553) || code == 550 && names_reader(words) =>
        {
            Verdict::AddressRefused { code: Some(code), why }
        }
        // RFC 5321 4.2.3: 550 is also what a relay says that takes no mail from us, to anybody.
        (Phase::Recipient, None) if code == 550 => Verdict::Policy { code, why },
        (Phase::Content | Phase::Sender, None) if code == 552 => Verdict::TooBig { code, why },
        // RFC 5321 4.2.3: 552 at RCPT without a finer code is a mailbox over its quota.
        (Phase::Recipient, None) if code == 552 => Verdict::MailboxFull { why },
        _ => Verdict::Permanent { code, why },
    }
}

/// The verdict on a letter that ran into its deadline.
#[must_use]
pub(super) fn timed_out(phase: Phase, within: Duration) -> Verdict {
    let why = format!("no answer within {} s", within.as_secs_f64());
    match phase {
        Phase::Content => Verdict::Unknown { why },
        // A relay that leaves a command without an answer has other letters waiting just as long.
        Phase::Connect | Phase::Sender | Phase::Recipient | Phase::Data => Verdict::Relay { why },
    }
}

/// Has the server closed the connection, or said with 421 that it will?
pub(super) fn connection_is_gone(error: &lettre::transport::smtp::Error) -> bool {
    error.status().is_none_or(|code| u16::from(code) == 421)
}

/// The server's words in an answer, or the library's where there was none.
pub(super) fn words(error: &lettre::transport::smtp::Error) -> String {
    match std::error::Error::source(error) {
        Some(source) if error.status().is_some() => source.to_string(),
        _ => error.to_string(),
    }
}

/// Do the words of a bare 550 speak of the reader's mailbox, and not of our right to send?
fn names_reader(words: &str) -> bool {
    let words = words.to_ascii_lowercase();
    let has = |names: &[&str]| names.iter().any(|name| words.contains(name));
    has(&["user", "mailbox", "recipient", "account", "address", "no such"])
        && !has(&["relay", "block", "spam", "denied", "not allowed", "not permitted", "policy"])
}

/// The enhanced status code at the start of a text: class, subject, detail.
fn enhanced(words: &str) -> Option<(u8, u16, u16)> {
    let mut parts = words.split_whitespace().next()?.splitn(3, '.');
    let class: u8 = parts.next()?.parse().ok()?;
    let subject = parts.next()?.parse().ok()?;
    let detail = parts.next()?.parse().ok()?;
    matches!(class, 2 | 4 | 5).then_some((class, subject, detail))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(phase: Phase, code: u16, words: &str) -> &'static str {
        match classify(phase, (code > 0).then_some(code), words) {
            Verdict::Sent { .. } => "sent",
            Verdict::Retry { .. } => "retry",
            Verdict::MailboxFull { .. } => "full",
            Verdict::Relay { .. } => "relay",
            Verdict::AddressRefused { .. } => "address",
            Verdict::Policy { .. } => "policy",
            Verdict::TooBig { .. } => "big",
            Verdict::Permanent { .. } => "permanent",
            Verdict::Unknown { .. } => "unknown",
        }
    }

    #[test]
    fn answers_mean_what_the_standards_say() {
        use Phase::{Connect, Content, Data, Recipient, Sender};
        // Codes and texts after RFC 5321 section 4.2.3 and RFC 3463 section 3.
        for (phase, code, words, expected) in [
            (Recipient, 450, "4.2.1 mailbox busy", "retry"),
            (Recipient, 451, "4.3.0 local trouble", "retry"),
            (Recipient, 452, "4.2.2 over quota", "full"),
            (Recipient, 550, "5.1.1 user unknown", "address"),
            (Recipient, 550, "no such user here", "address"),
            (Recipient, 550, "relay not permitted", "policy"),
            (Recipient, 550, "Relaying denied for this address", "policy"),
            (Recipient, 550, "go away", "policy"),
            (Recipient, 551, "user not local", "address"),
            (Recipient, 553, "5.1.3 bad address syntax", "address"),
            (Recipient, 550, "5.2.1 mailbox disabled", "address"),
            (Recipient, 552, "5.2.2 mailbox full", "full"),
            (Recipient, 552, "over quota", "full"),
            (Recipient, 550, "5.7.1 relaying denied", "policy"),
            (Recipient, 554, "5.7.1 relay access denied", "policy"),
            (Sender, 550, "5.1.8 sender domain not found", "policy"),
            (Sender, 552, "5.3.4 message too big", "big"),
            (Content, 552, "5.3.4 message too big", "big"),
            (Content, 552, "message exceeds fixed size", "big"),
            (Content, 550, "5.1.1 user unknown", "address"),
            (Content, 550, "5.7.515 not authenticated", "policy"),
            (Content, 554, "5.6.0 bad content", "permanent"),
            (Content, 554, "transaction failed", "permanent"),
            (Data, 421, "4.3.2 shutting down", "retry"),
            (Data, 503, "5.5.1 no valid recipients", "permanent"),
            (Connect, 554, "no service here", "relay"),
            (Content, 0, "connection reset", "unknown"),
            (Data, 0, "connection reset", "retry"),
        ] {
            assert_eq!(kind(phase, code, words), expected, "{phase:?} {code} {words}");
        }
    }

    #[test]
    fn no_answer_is_unknown_only_after_the_message() {
        let within = Duration::from_secs(3);
        assert!(matches!(timed_out(Phase::Content, within), Verdict::Unknown { .. }));
        assert!(matches!(timed_out(Phase::Data, within), Verdict::Relay { .. }));
        assert!(matches!(timed_out(Phase::Connect, within), Verdict::Relay { .. }));
    }
}
