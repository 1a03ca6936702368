//! The service's error documents, `application/problem+json` (RFC 9457).

use std::fmt;

use serde::Deserialize;

/// Longest text of a problem that is kept, in characters.
const TEXT_CHARS_MAX: usize = 300;

/// What the service says is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Last part of the problem's type, such as `InvalidPoint`; empty when it has none.
    pub kind: String,
    /// HTTP status that the document states.
    pub status: Option<u16>,
    /// Title, as written.
    pub title: String,
    /// Detail, as written.
    pub detail: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(status) = self.status {
            write!(out, "{status} ")?;
        }
        write!(out, "{}", if self.title.is_empty() { &self.kind } else { &self.title })?;
        if !self.detail.is_empty() {
            write!(out, " ({})", self.detail)?;
        }
        Ok(())
    }
}

#[derive(Deserialize)]
struct Document {
    #[serde(default, rename = "type")]
    kind: Option<String>,
    #[serde(default)]
    status: Option<u16>,
    #[serde(default)]
    title: Option<String>,
    #[serde(default)]
    detail: Option<String>,
    #[serde(default)]
    properties: Option<serde::de::IgnoredAny>,
    #[serde(default)]
    features: Option<serde::de::IgnoredAny>,
}

/// Reads a problem document; `None` when it is something else.
#[must_use]
pub fn parse_problem(body: &[u8]) -> Option<Problem> {
    let document: Document = serde_json::from_slice(body).ok()?;
    let names_problem = document.kind.as_deref().is_some_and(|k| k.contains("/problems/"));
    let is_problem = document.properties.is_none()
        && document.features.is_none()
        && (names_problem || (document.title.is_some() && document.status.is_some()));
    if !is_problem {
        return None;
    }
    let cut = |text: Option<String>| -> String {
        let printable = text.unwrap_or_default();
        printable.chars().filter(|c| !c.is_control()).take(TEXT_CHARS_MAX).collect()
    };
    let kind = cut(document.kind).rsplit('/').next().unwrap_or_default().to_owned();
    Some(Problem {
        kind,
        status: document.status,
        title: cut(document.title),
        detail: cut(document.detail),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_problem_is_told_in_its_own_words() {
        let body = br#"{"correlationId":"1","title":"Forecast Grid Expired",
            "type":"https://api.weather.gov/problems/ForecastGridExpired","status":503,
            "detail":"issued 2022-11-01"}"#;
        let problem = parse_problem(body).unwrap();
        assert_eq!(problem.kind, "ForecastGridExpired");
        assert_eq!(problem.to_string(), "503 Forecast Grid Expired (issued 2022-11-01)");
    }

    #[test]
    fn a_feature_is_no_problem() {
        assert_eq!(parse_problem(br#"{"type":"Feature","properties":{}}"#), None);
        assert_eq!(parse_problem(b"[]"), None);
        assert_eq!(parse_problem(b""), None);
    }
}
