//! Addresses of the envelope: what may stand there, and a return path of its own per letter.

/// What goes before the token in a return path.
const BOUNCE: &str = "bounce+";

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
