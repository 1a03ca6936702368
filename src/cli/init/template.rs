//! The explained configuration with values put in: the one file of the repository is the template, so that no key can
//! be forgotten.

/// The configuration with every key explained.
const EXPLAINED: &str = include_str!("../../../config/rimeward.toml");

/// Puts each value (table, key, value as TOML writes it) at its key, in force where it stood as a comment. A relay that is not wanted is
/// left as a comment.
pub(super) fn fill(values: &[(&str, &str, String)]) -> String {
    let has_relay = values.iter().any(|(table, _, _)| *table == "mail.smtp");
    let mut out = String::new();
    let mut table = "";
    for line in EXPLAINED.lines() {
        let bare = line.trim_start_matches("# ");
        if let Some(name) = line.strip_prefix('[').and_then(|rest| rest.split(']').next()) {
            table = name;
        }
        let key = bare.split('=').next().unwrap_or_default().trim();
        let value = values.iter().find(|(t, k, _)| *t == table && *k == key && bare.contains('='));
        let written = match value {
            Some((_, _, value)) => {
                let remark = remark(bare);
                format!("{:36}{remark}", format!("{key} = {value}")).trim_end().to_owned()
            }
            None if table == "mail.smtp"
                && !has_relay
                && !line.is_empty()
                && !line.starts_with('#') =>
            {
                format!("# {line}")
            }
            None => line.to_owned(),
        };
        out += &written;
        out.push('\n');
    }
    out
}

/// A text as TOML writes it: JSON's escapes are among those of a basic string.
pub(super) fn quoted(text: &str) -> String {
    serde_json::Value::String(text.to_owned()).to_string()
}

/// The remark at the end of a line: the last `#` outside quotes.
fn remark(line: &str) -> &str {
    let mut quoted = false;
    for (at, c) in line.char_indices() {
        match c {
            '"' => quoted = !quoted,
            '#' if !quoted => return line.get(at..).unwrap_or_default(),
            _ => {}
        }
    }
    ""
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_replace_keys_and_remarks_stay() {
        let text = fill(&[
            ("yard", "name", quoted("Larch \"Hollow\" # 2")),
            ("mail", "maildir", quoted("Maildir")),
        ]);
        let read: toml::Table = text.parse().unwrap();
        assert_eq!(read["yard"]["name"].as_str(), Some("Larch \"Hollow\" # 2"));
        assert_eq!(read["mail"]["maildir"].as_str(), Some("Maildir"));
        assert!(read["mail"].get("smtp").is_none(), "{text}");
        assert!(text.contains("# readers know messages by it"), "{text}");
    }

    #[test]
    fn a_relay_stands_where_the_template_has_it() {
        let text = fill(&[
            ("mail.smtp", "host", quoted("mail.example.com")),
            ("mail.smtp", "port", "587".to_owned()),
            ("mail.smtp", "user", quoted("me")),
        ]);
        let read: toml::Table = text.parse().unwrap();
        assert_eq!(read["mail"]["smtp"]["host"].as_str(), Some("mail.example.com"));
        assert_eq!(read["mail"]["smtp"]["port"].as_integer(), Some(587));
        assert_eq!(read["mail"]["smtp"]["user"].as_str(), Some("me"));
    }
}
