//! What comes back by mail: bounces of our letters and answers to them.
//!
//! Both are known by the address they came to, never by what they say of themselves: `bounce+TOKEN@` and `desk+TOKEN@`, the
//! token being the left part of the letter's Message-ID (HMAC with the key of this installation). Delivery status
//! notifications: RFC 3464 and 6522; automatic answers are not answered and not believed: RFC 3834.

use mail_parser::{Message, MessageParser, MimeHeaders as _};

use super::envelope::bounce_token;

/// Longest message that is read.
pub const BYTES_MAX: usize = 4 * 1024 * 1024;
/// Letters of a token: 120 bits in base32.
const TOKEN_LETTERS: usize = 24;
/// Headers in which the address may stand that a message came to.
const TO: [&str; 6] = ["Delivered-To", "X-Original-To", "Envelope-To", "To", "Cc", "Apparently-To"];
/// Letters of a text that are kept.
const WORDS_MAX: usize = 200;

/// The first word of an answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// It has been done: seen, until the record says so too.
    Done,
    /// The yard is to do it.
    Yard,
    /// Later.
    Later,
    /// Seen, and no more.
    Seen,
}

impl Word {
    /// As people write it.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Yard => "yard",
            Self::Later => "later",
            Self::Seen => "seen",
        }
    }

    fn read(text: &str) -> Option<Self> {
        let first = text.split(|c: char| !c.is_alphanumeric()).find(|word| !word.is_empty())?;
        match first.to_lowercase().as_str() {
            "done" | "finished" | "drained" => Some(Self::Done),
            "yard" => Some(Self::Yard),
            "later" | "tomorrow" => Some(Self::Later),
            "seen" | "ok" | "okay" | "yes" | "thanks" => Some(Self::Seen),
            _ => None,
        }
    }
}

/// What a message that came back is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Received {
    /// A letter did not arrive, for good.
    Bounced {
        /// Of which letter.
        token: String,
        /// The server's words.
        why: String,
    },
    /// A notice about a letter that changes nothing: it is late, or has arrived.
    Noticed {
        /// Of which letter.
        token: String,
        /// `delayed`, `delivered` ...
        what: String,
    },
    /// Somebody has answered.
    Answered {
        /// Which letter.
        token: String,
        /// The first word, where it is one that we know.
        word: Option<Word>,
        /// What they wrote first.
        text: String,
    },
    /// A machine has answered: nobody has read anything.
    Automatic {
        /// Which letter.
        token: String,
    },
    /// Not to an address of ours.
    Foreign,
}

/// Reads a message as it came in; `desk` is the address that our letters come from. Whatever cannot be read is
/// [`Received::Foreign`].
#[must_use]
pub fn read(bytes: &[u8], desk: &str) -> Received {
    let bytes = bytes.get(..BYTES_MAX).unwrap_or(bytes);
    let Some(message) = MessageParser::default().parse(bytes) else { return Received::Foreign };
    let addresses = addresses(&message);
    let bounce = addresses.iter().find_map(|address| token(bounce_token(address)?));
    if let Some(token) = bounce {
        return status(&message, token);
    }
    let Some((local, domain)) = desk.split_once('@') else { return Received::Foreign };
    let answer = addresses.iter().find_map(|address| {
        let (left, right) = address.rsplit_once('@')?;
        let tag = left.get(..local.len()).filter(|own| own.eq_ignore_ascii_case(local))?;
        let tag = left.get(tag.len()..)?.strip_prefix('+')?;
        token(tag).filter(|_| right.eq_ignore_ascii_case(domain))
    });
    let Some(token) = answer else { return Received::Foreign };
    if is_automatic(&message) {
        return Received::Automatic { token };
    }
    let body = message.body_text(0).unwrap_or_default();
    let own = body.lines().map(str::trim).find(|line| !line.is_empty() && !line.starts_with('>'));
    let text: String = own.unwrap_or_default().chars().take(WORDS_MAX).collect();
    Received::Answered { token, word: Word::read(&text), text }
}

fn token(text: &str) -> Option<String> {
    let is_ours = text.len() == TOKEN_LETTERS && text.bytes().all(|b| b.is_ascii_alphanumeric());
    is_ours.then(|| text.to_ascii_lowercase())
}

/// Everything that looks like an address in the headers that may say where the message came to.
fn addresses(message: &Message<'_>) -> Vec<String> {
    let raw = TO.iter().filter_map(|name| message.header_raw(*name));
    let is_part = |c: char| c.is_ascii_alphanumeric() || "+@.-_=".contains(c);
    raw.flat_map(|text| text.split(move |c: char| !is_part(c)))
        .filter(|word| word.contains('@'))
        .map(str::to_owned)
        .collect()
}

/// RFC 3834 section 2: whatever says that a machine made it, or comes from a list, is no answer.
fn is_automatic(message: &Message<'_>) -> bool {
    let header = |name: &str| message.header_raw(name).map(|text| text.trim().to_ascii_lowercase());
    let automatic = header("Auto-Submitted").is_some_and(|value| !value.starts_with("no"));
    let bulk = header("Precedence")
        .is_some_and(|value| matches!(value.as_str(), "bulk" | "junk" | "list"));
    let nobody = header("Return-Path").is_some_and(|value| value == "<>");
    automatic || bulk || nobody || header("List-Id").is_some() || header("X-Autoreply").is_some()
}

/// What a delivery status notification says of the letter: the fields of its first recipient (RFC 3464 section 2.3).
fn status(message: &Message<'_>, token: String) -> Received {
    let is_status = |part: &&mail_parser::MessagePart<'_>| {
        part.content_type().is_some_and(|kind| {
            kind.ctype().eq_ignore_ascii_case("message")
                && kind.subtype().is_some_and(|own| own.eq_ignore_ascii_case("delivery-status"))
        })
    };
    let Some(part) = message.parts.iter().find(is_status) else {
        return Received::Noticed { token, what: "a notice that is no delivery status".to_owned() };
    };
    let text = String::from_utf8_lossy(part.contents()).into_owned();
    let field = |name: &str| {
        text.lines().find_map(|line| {
            let (key, value) = line.split_once(':')?;
            key.trim().eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
        })
    };
    let action = field("Action").unwrap_or_default().to_ascii_lowercase();
    let code = field("Status").unwrap_or_default();
    let words = field("Diagnostic-Code").unwrap_or_default();
    let why: String = format!("{code} {words}").trim().chars().take(WORDS_MAX).collect();
    // A failure that may pass is no failure of the address (X.Y.Z of RFC 3463 beginning with 4).
    if action == "failed" && !code.starts_with('4') {
        Received::Bounced { token, why }
    } else {
        Received::Noticed { token, what: format!("{action} {why}").trim().to_owned() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TOKEN: &str = "abcdefghijklmnopqrstuv23";
    const DESK: &str = "freeze-desk@example.org";

    fn reply(extra: &str, body: &str) -> Received {
        let text = format!(
            "From: Tess <tess@example.com>\r\nTo: Desk <freeze-desk+{TOKEN}@example.org>\r\nSubject: Re: drain\r\n{extra}\r\n{body}"
        );
        read(text.as_bytes(), DESK)
    }

    #[test]
    fn the_first_word_of_an_answer_counts_and_quoted_text_does_not() {
        for (body, word) in [
            ("Done, drained it all.\r\n> Drain by Thursday", Some(Word::Done)),
            ("\r\n  YARD please\r\n", Some(Word::Yard)),
            ("> done\r\nlater", Some(Word::Later)),
            ("ok", Some(Word::Seen)),
            ("What does slush mean?", None),
            ("", None),
        ] {
            match reply("", body) {
                Received::Answered { token, word: found, .. } => {
                    assert_eq!((token.as_str(), found), (TOKEN, word), "{body:?}");
                }
                other => panic!("{body:?}: {other:?}"),
            }
        }
    }

    #[test]
    fn a_machine_has_read_nothing() {
        for extra in [
            "Auto-Submitted: auto-replied\r\n",
            "Precedence: bulk\r\n",
            "List-Id: <x.example.org>\r\n",
            "Return-Path: <>\r\n",
        ] {
            assert_eq!(
                reply(extra, "done"),
                Received::Automatic { token: TOKEN.to_owned() },
                "{extra}"
            );
        }
    }

    #[test]
    fn another_address_is_none_of_ours() {
        for to in [
            "freeze-desk@example.org",
            "freeze-desk+short@example.org",
            "freeze-desk+abcdefghijklmnopqrstuv23@example.com",
            "other+abcdefghijklmnopqrstuv23@example.org",
        ] {
            let text = format!("To: {to}\r\n\r\ndone");
            assert_eq!(read(text.as_bytes(), DESK), Received::Foreign, "{to}");
        }
        for bytes in [&b""[..], b"\xff\xfe\x00", b"To: \r\n\r\n\r\n"] {
            assert_eq!(read(bytes, DESK), Received::Foreign);
        }
    }

    /// In the layout of RFC 3464, appendix E.
    fn bounce(action: &str, status: &str) -> Received {
        let text = format!(
            "Return-Path: <>\r\nFrom: MAILER-DAEMON@mail.example.org\r\nTo: bounce+{TOKEN}@example.org\r\nMIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain\r\n\r\nIt could not be delivered.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example.org\r\n\r\nFinal-Recipient: rfc822; tess@example.com\r\nAction: {action}\r\nStatus: {status}\r\nDiagnostic-Code: smtp; 550 no such user\r\n\r\n--b--\r\n"
        );
        read(text.as_bytes(), DESK)
    }

    #[test]
    fn a_failure_for_good_is_told_from_a_delay() {
        let why = "5.1.1 smtp; 550 no such user".to_owned();
        assert_eq!(bounce("failed", "5.1.1"), Received::Bounced { token: TOKEN.to_owned(), why });
        for (action, status) in [("delayed", "4.4.1"), ("failed", "4.4.7"), ("delivered", "2.0.0")]
        {
            assert!(
                matches!(bounce(action, status), Received::Noticed { .. }),
                "{action} {status}"
            );
        }
    }

    #[test]
    fn damaged_messages_are_read_without_panic() {
        let whole = match bounce("failed", "5.1.1") {
            Received::Bounced { .. } => format!(
                "To: bounce+{TOKEN}@example.org\r\nContent-Type: multipart/report; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: message/delivery-status\r\nContent-Transfer-Encoding: base64\r\n\r\nQWN0aW9uOiBmYWlsZWQ=\r\n--b--"
            ),
            other => panic!("{other:?}"),
        };
        let mut seed = 1_u64;
        let mut next = |below: usize| {
            seed = seed
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            usize::try_from(seed >> 33).unwrap() % below
        };
        for _ in 0..4_000 {
            let mut bytes = whole.clone().into_bytes();
            for _ in 0..=next(6) {
                let at = next(bytes.len());
                match next(3) {
                    0 => bytes[at] = u8::try_from(next(256)).unwrap(),
                    1 => bytes.truncate(at.max(1)),
                    _ => bytes.insert(at, u8::try_from(next(256)).unwrap()),
                }
            }
            let _ = read(&bytes, DESK);
        }
    }
}
