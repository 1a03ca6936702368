//! What comes back by mail: bounces of our letters and answers to them.
//!
//! Both are known by the address they came to, never by what they say of themselves: `bounce+TOKEN@` and `desk+TOKEN@`, the
//! token being the left part of the letter's Message-ID (HMAC with the key of this installation). Delivery status
//! notifications: RFC 3464 and 6522; automatic answers are not answered and not believed: RFC 3834.

mod own_words;

use mail_parser::{Message, MessageParser, MimeHeaders as _};

use super::smtp::verdict::{Phase, classify};
use crate::app::ports::{Fault, RECEIVED_BYTES_MAX, Received, Verdict};
use crate::domain::message::envelope::bounce_token;

use own_words::own_words;

/// Room for messages within messages, of which [`RECEIVED_BYTES_MAX`] holds some nine thousand; the parser calls itself for each.
const STACK: usize = 64 * 1024 * 1024;
/// Letters of a token: 120 bits in base32.
const TOKEN_LETTERS: usize = 24;
/// Headers in which the address may stand that a message came to.
const TO: [&str; 6] = ["Delivered-To", "X-Original-To", "Envelope-To", "To", "Cc", "Apparently-To"];
/// Letters of a server's words that are kept.
const WORDS_MAX: usize = 200;

/// Reads a message as it came in; `desk` is the address that our letters come from. Whatever cannot be read is
/// [`Received::Foreign`].
///
/// # Errors
/// No thread to read it on: anybody can write to us, and no message may end this program.
pub fn read(bytes: &[u8], desk: &str) -> std::io::Result<Received> {
    let bytes = bytes.get(..RECEIVED_BYTES_MAX).unwrap_or(bytes);
    std::thread::scope(|scope| {
        let reader = std::thread::Builder::new().name("received mail".to_owned()).stack_size(STACK);
        let reading = reader.spawn_scoped(scope, || parse(bytes, desk))?;
        Ok(reading.join().unwrap_or(Received::Foreign))
    })
}

fn parse(bytes: &[u8], desk: &str) -> Received {
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
    let from = message.from().and_then(|from| from.first()).and_then(|from| from.address());
    Received::Answered {
        token,
        from: from.map(str::to_owned),
        text: own_words(&message.body_text(0).unwrap_or_default()),
    }
}

fn token(text: &str) -> Option<String> {
    let is_ours = text.len() == TOKEN_LETTERS && text.bytes().all(|b| b.is_ascii_alphanumeric());
    is_ours.then(|| text.to_ascii_lowercase())
}

/// The values of a header, all of them and as they stand: names in eight bits are not to hide an address.
fn values<'a>(message: &'a Message<'_>, name: &'a str) -> impl Iterator<Item = String> + 'a {
    let headers = message.parts.first().map_or(&[][..], |part| &part.headers[..]);
    headers.iter().filter(move |header| header.name.as_str().eq_ignore_ascii_case(name)).map(
        |header| {
            let place = |at: u32| usize::try_from(at).unwrap_or(usize::MAX);
            let raw = message.raw_message.get(place(header.offset_start)..place(header.offset_end));
            String::from_utf8_lossy(raw.unwrap_or_default()).into_owned()
        },
    )
}

/// Everything that looks like an address in the headers that may say where the message came to.
fn addresses(message: &Message<'_>) -> Vec<String> {
    let is_part = |c: char| c.is_ascii_alphanumeric() || "+@.-_=".contains(c);
    let mut found = Vec::new();
    for text in TO.iter().flat_map(|name| values(message, name)) {
        let words = text.split(|c: char| !is_part(c)).filter(|word| word.contains('@'));
        found.extend(words.map(str::to_owned));
    }
    found
}

/// RFC 3834 section 2: whatever says that a machine made it, or comes from a list, is no answer. Beside the standard's field
/// there are older ones (common practice, no source).
fn is_automatic(message: &Message<'_>) -> bool {
    let has = |name: &str, test: &dyn Fn(&str) -> bool| {
        values(message, name).any(|value| test(&value.trim().to_ascii_lowercase()))
    };
    let any = |_: &str| true;
    has("Auto-Submitted", &|value| !value.starts_with("no"))
        || has("Precedence", &|value| matches!(value, "bulk" | "junk" | "list" | "auto_reply"))
        || has("Return-Path", &|value| value == "<>")
        || ["List-Id", "X-Autoreply", "X-Autorespond", "X-Auto-Response-Suppress"]
            .iter()
            .any(|name| has(name, &any))
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
    let words = format!("{code} {words}");
    let printable = words.trim().chars().map(|c| if c.is_control() { ' ' } else { c });
    let why: String = printable.take(WORDS_MAX).collect();
    // `failed` is for good whatever the code (RFC 3464 section 2.3.3): a relay that has tried for days gives up with 4.4.7.
    if action == "failed" {
        let fault = match classify(Phase::Recipient, Some(550), &why) {
            Verdict::Policy { .. } => Fault::Policy,
            Verdict::TooBig { .. } => Fault::Size,
            _ => Fault::Address,
        };
        Received::Bounced { token, fault, why }
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
        read(text.as_bytes(), DESK).unwrap()
    }

    #[test]
    fn an_answer_is_what_its_writer_wrote() {
        for (body, own) in [
            ("Done, drained it all.\r\n> Drain by Thursday", "Done, drained it all."),
            ("\r\n  YARD please\r\n", "YARD please"),
            ("", ""),
        ] {
            let expected = Received::Answered {
                token: TOKEN.to_owned(),
                from: Some("tess@example.com".to_owned()),
                text: own.to_owned(),
            };
            assert_eq!(reply("", body), expected, "{body:?}");
        }
    }

    #[test]
    fn a_name_in_eight_bits_hides_no_address() {
        let text = [
            b"To: \"Freez\xe9 desk\" <freeze-desk+",
            TOKEN.as_bytes(),
            b"@example.org>\r\n\r\ndone",
        ]
        .concat();
        assert!(matches!(read(&text, DESK).unwrap(), Received::Answered { .. }));
    }

    #[test]
    fn messages_within_messages_end_nothing() {
        for start in ["To: stranger@example.net\r\n", ""] {
            let text = start.to_owned() + &"Content-Type:message/rfc822\n\n".repeat(40_000);
            assert_eq!(read(text.as_bytes(), DESK).unwrap(), Received::Foreign);
        }
        let digest = "Content-Type:multipart/digest;boundary=b\n\n--b\n\n".repeat(20_000);
        assert_eq!(read(digest.as_bytes(), DESK).unwrap(), Received::Foreign);
    }

    #[test]
    fn a_machine_has_read_nothing() {
        for extra in [
            "Auto-Submitted: auto-replied\r\n",
            "Precedence: bulk\r\n",
            "List-Id: <x.example.org>\r\n",
            "Return-Path: <>\r\n",
            "Precedence: auto_reply\r\n",
            "X-Auto-Response-Suppress: All\r\n",
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
            assert_eq!(read(text.as_bytes(), DESK).unwrap(), Received::Foreign, "{to}");
        }
        for bytes in [&b""[..], b"\xff\xfe\x00", b"To: \r\n\r\n\r\n"] {
            assert_eq!(read(bytes, DESK).unwrap(), Received::Foreign);
        }
    }

    /// In the layout of RFC 3464, appendix E.
    fn bounce(action: &str, status: &str) -> Received {
        let text = format!(
            "Return-Path: <>\r\nFrom: MAILER-DAEMON@mail.example.org\r\nTo: bounce+{TOKEN}@example.org\r\nMIME-Version: 1.0\r\nContent-Type: multipart/report; report-type=delivery-status; boundary=\"b\"\r\n\r\n--b\r\nContent-Type: text/plain\r\n\r\nIt could not be delivered.\r\n--b\r\nContent-Type: message/delivery-status\r\n\r\nReporting-MTA: dns; mail.example.org\r\n\r\nFinal-Recipient: rfc822; tess@example.com\r\nAction: {action}\r\nStatus: {status}\r\nDiagnostic-Code: smtp; 550 no such user\r\n\r\n--b--\r\n"
        );
        read(text.as_bytes(), DESK).unwrap()
    }

    #[test]
    fn a_failure_for_good_is_told_from_a_delay() {
        // Codes of RFC 3463 section 3.
        for (status, expected) in [
            ("5.1.1", Fault::Address),
            ("4.4.7", Fault::Address),
            ("4.4.3", Fault::Address),
            ("5.2.2", Fault::Address),
            ("5.7.1", Fault::Policy),
            ("5.3.4", Fault::Size),
        ] {
            match bounce("failed", status) {
                Received::Bounced { token, fault, why } => {
                    assert_eq!((token.as_str(), fault), (TOKEN, expected), "{status}");
                    assert_eq!(why, format!("{status} smtp; 550 no such user"));
                }
                other => panic!("{status}: {other:?}"),
            }
        }
        for (action, status) in [("delayed", "4.4.1"), ("delivered", "2.0.0")] {
            assert!(matches!(bounce(action, status), Received::Noticed { .. }), "{action}");
        }
        match bounce("failed", "5.7.1 \u{1b}[2J") {
            Received::Bounced { why, .. } => assert!(!why.contains('\u{1b}'), "{why:?}"),
            other => panic!("{other:?}"),
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
            let _ = parse(&bytes, DESK);
        }
    }
}
