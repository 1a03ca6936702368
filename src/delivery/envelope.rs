//! Ids and addresses of the envelope: Message-IDs that nobody can guess, and a return path of its own per letter.

use data_encoding::BASE32_NOPAD;
use ring::hmac;

/// 120 bits of the tag: 24 letters in base 32, beyond guessing.
const ID_BYTES: usize = 15;

/// What goes before the token in a return path.
const BOUNCE: &str = "bounce+";

/// The Message-ID (without angle brackets) of one version of one message to one person:
/// base 32 of the first 120 bits of HMAC-SHA256(key; alert, revision, recipient, step), at `domain`.
///
/// The same inputs give the same id after a crash or at a second attempt, so that a repeat can be recognised.
#[must_use]
pub fn message_id(
    key: &[u8],
    alert: &str,
    revision: u32,
    recipient: &str,
    step: u32,
    domain: &str,
) -> String {
    let key = hmac::Key::new(hmac::HMAC_SHA256, key);
    // Lengths first, so that no two inputs run together into the same bytes.
    let text = format!("{}:{alert}|{revision}|{}:{recipient}|{step}", alert.len(), recipient.len());
    let tag = hmac::sign(&key, text.as_bytes());
    let short = tag.as_ref().get(..ID_BYTES).unwrap_or(tag.as_ref());
    format!("{}@{domain}", BASE32_NOPAD.encode(short).to_ascii_lowercase())
}

/// The return path for bounces of one letter: `bounce+TOKEN@domain`, the token being the left part of its Message-ID.
#[must_use]
pub fn return_path(message_id: &str, domain: &str) -> String {
    let token = message_id.split('@').next().unwrap_or(message_id);
    format!("{BOUNCE}{token}@{domain}")
}

/// The token of a return path of ours; `None` for any other address.
#[must_use]
pub fn bounce_token(address: &str) -> Option<&str> {
    address.strip_prefix(BOUNCE)?.split_once('@').map(|(token, _)| token)
}

/// Is this an address that may stand in an envelope or a header: `local@domain`, plain ASCII, nothing quoted?
///
/// Stricter than RFC 5321, which also allows quoted left parts with spaces and line breaks in them.
#[must_use]
pub fn is_plain_address(address: &str) -> bool {
    let plain = |c: char| c.is_ascii_graphic() && !"()<>[]:;,\\\"".contains(c);
    match address.split_once('@') {
        Some((local, domain)) => {
            (1..=64).contains(&local.len())
                && (1..=190).contains(&domain.len())
                && address.chars().all(plain)
                && !domain.contains('@')
                && domain.chars().all(|c| c.is_ascii_alphanumeric() || c == '.' || c == '-')
                && !domain.starts_with(['.', '-'])
                && !domain.ends_with(['.', '-'])
        }
        None => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_letter_has_the_same_id_and_any_other_another() {
        let id = message_id(b"key", "a1", 2, "P02", 0, "rimeward.example");
        assert_eq!(id, message_id(b"key", "a1", 2, "P02", 0, "rimeward.example"));
        assert_eq!(id.split('@').next().unwrap().len(), 24);
        for other in [
            message_id(b"other", "a1", 2, "P02", 0, "rimeward.example"),
            message_id(b"key", "a12", 2, "P02", 0, "rimeward.example"),
            message_id(b"key", "a1", 22, "P02", 0, "rimeward.example"),
            message_id(b"key", "a1", 2, "P03", 0, "rimeward.example"),
            message_id(b"key", "a1", 2, "P02", 1, "rimeward.example"),
        ] {
            assert_ne!(id, other);
        }
    }

    #[test]
    fn a_bounce_finds_its_letter() {
        let path = return_path("abc234@rimeward.example", "mail.example");
        assert_eq!(path, "bounce+abc234@mail.example");
        assert_eq!(bounce_token(&path), Some("abc234"));
        assert_eq!(bounce_token("yard@mail.example"), None);
    }

    #[test]
    fn only_plain_addresses_pass() {
        for good in ["a@b", "marlo.inkwell+boat@example.org", "o'neil@sub.example.com"] {
            assert!(is_plain_address(good), "{good}");
        }
        for bad in [
            "",
            "nobody",
            "@example.org",
            "a@",
            "a@b@c",
            "a b@c",
            "a@b\r\nBcc: x@y",
            "<a@b>",
            "\"a b\"@c",
            "a,b@c",
            "zoë@example.org",
            "a@-b",
            "a@b.",
        ] {
            assert!(!is_plain_address(bad), "{bad:?}");
        }
    }
}
