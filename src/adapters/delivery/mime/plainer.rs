//! A letter of ours without its HTML, for a server that finds the whole too big.

/// What is added to the left part of the Message-ID: other bytes need another id (RFC 5322, 3.6.4).
const MARK: char = 't';

/// The plain-text form of a message that [`super::to_bytes`] wrote, with its own Message-ID: the same headers over its
/// plainest part. `None` where there is no plainer form.
#[must_use]
pub fn of(bytes: &[u8], message_id: &str) -> Option<(String, Vec<u8>)> {
    let text = std::str::from_utf8(bytes).ok()?;
    let (head, body) = text.split_once("\r\n\r\n")?;
    let (local, domain) = message_id.split_once('@')?;
    let own = format!("{local}{MARK}@{domain}");
    let (mut kept, mut boundary) = (String::new(), None);
    for field in fields(head) {
        let (name, value) = field.split_once(':')?;
        if name.eq_ignore_ascii_case("Content-Type") {
            boundary = boundary_of(value);
        } else if name.eq_ignore_ascii_case("Message-ID") {
            kept.push_str(&format!("{name}: <{own}>\r\n"));
        } else {
            kept.push_str(&field);
            kept.push_str("\r\n");
        }
    }
    let mut plainest = first_part(body, &boundary?)?;
    // The first part of a mixed letter is an alternative of its own.
    while let Some((head, body)) = plainest.split_once("\r\n\r\n")
        && let Some(inner) = fields(head).iter().find_map(|field| content_boundary(field))
    {
        plainest = first_part(body, &inner)?;
    }
    Some((own, format!("{kept}{plainest}\r\n").into_bytes()))
}

fn content_boundary(field: &str) -> Option<String> {
    let (name, value) = field.split_once(':')?;
    name.eq_ignore_ascii_case("Content-Type").then(|| boundary_of(value)).flatten()
}

fn first_part<'a>(body: &'a str, boundary: &str) -> Option<&'a str> {
    let first = body.split(&format!("--{boundary}\r\n")).nth(1)?;
    let first = first.split(&format!("--{boundary}--")).next()?;
    Some(first.strip_suffix("\r\n").unwrap_or(first))
}

/// Header fields, each with its folded lines.
fn fields(head: &str) -> Vec<String> {
    let mut fields: Vec<String> = Vec::new();
    for line in head.split("\r\n") {
        match fields.last_mut() {
            Some(last) if line.starts_with([' ', '\t']) => {
                last.push_str("\r\n");
                last.push_str(line);
            }
            _ => fields.push(line.to_owned()),
        }
    }
    fields
}

fn boundary_of(content_type: &str) -> Option<String> {
    let (kind, rest) = content_type.split_once(';')?;
    let kind = kind.trim().to_lowercase();
    if !["multipart/alternative", "multipart/mixed"].contains(&kind.as_str()) {
        return None;
    }
    let (_, value) = rest.split_once("boundary=")?;
    let value = value.trim().trim_start_matches('"');
    Some(value.split(['"', ';', '\r']).next().unwrap_or(value).to_owned())
}
