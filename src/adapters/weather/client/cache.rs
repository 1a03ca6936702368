//! For how long an answer is good, by its own headers (RFC 9111): `max-age` less `Age`, else `Expires` less `Date`.
//! Both are differences of the server's own clock, so ours may be wrong.

use chrono::{DateTime, TimeDelta, Utc};
use reqwest::header::{AGE, CACHE_CONTROL, DATE, EXPIRES, HeaderMap, HeaderName, RETRY_AFTER};

/// Asked no more often than this, whatever a header says, in seconds.
const FLOOR_S: i64 = 300;
/// Asked at least this often, in seconds: half of the six hours after which a silent service counts as degraded.
const CEILING_S: i64 = 3 * 3_600;
/// Without any header: grids change a few times a day.
const DEFAULT_S: i64 = 900;

/// Seconds until it makes sense to ask again, at `now` by our clock.
pub(super) fn good_for_s(headers: &HeaderMap, now: DateTime<Utc>) -> i64 {
    let control = text(headers, &CACHE_CONTROL).unwrap_or_default();
    let directive = |name: &str| {
        control.split(',').find_map(|part| {
            let (key, value) = part.trim().split_once('=')?;
            key.eq_ignore_ascii_case(name).then(|| value.trim_matches('"').parse::<i64>().ok())?
        })
    };
    let age = text(headers, &AGE).and_then(|a| a.trim().parse::<i64>().ok()).unwrap_or(0).max(0);
    let by_age = directive("max-age").map(|max| max.saturating_sub(age));
    let by_date = || {
        let expires = date(headers, &EXPIRES)?;
        Some((expires - date(headers, &DATE).unwrap_or(now)).num_seconds())
    };
    by_age.or_else(by_date).unwrap_or(DEFAULT_S).clamp(FLOOR_S, CEILING_S)
}

/// `Retry-After` in seconds, given as a number or a date.
pub(super) fn retry_after_s(headers: &HeaderMap, now: DateTime<Utc>) -> Option<i64> {
    let value = text(headers, &RETRY_AFTER)?;
    let seconds = match value.trim().parse::<i64>() {
        Ok(seconds) => seconds,
        Err(_) => {
            (date(headers, &RETRY_AFTER)? - date(headers, &DATE).unwrap_or(now)).num_seconds()
        }
    };
    (seconds >= 0).then_some(seconds)
}

/// How far the server's clock is ahead of `now`, if it says; an answer out of a cache is as old as the cache says.
pub(super) fn clock_ahead(headers: &HeaderMap, now: DateTime<Utc>) -> Option<TimeDelta> {
    let age = text(headers, &AGE).and_then(|age| age.trim().parse::<u32>().ok()).unwrap_or(0);
    Some(date(headers, &DATE)? + TimeDelta::seconds(i64::from(age)) - now)
}

pub(super) fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name)?.to_str().ok().filter(|t| t.len() < 1_000)
}

fn date(headers: &HeaderMap, name: &HeaderName) -> Option<DateTime<Utc>> {
    let value = text(headers, name)?;
    DateTime::parse_from_rfc2822(value).ok().map(|d| d.with_timezone(&Utc))
}

#[cfg(test)]
mod tests {
    use super::*;
    use reqwest::header::HeaderValue;

    fn check(pairs: &[(HeaderName, &'static str)], expect: i64) {
        let now = "2022-12-01T12:00:00Z".parse().unwrap();
        let headers: HeaderMap =
            pairs.iter().map(|(n, v)| (n.clone(), HeaderValue::from_static(v))).collect();
        assert_eq!(good_for_s(&headers, now), expect, "{pairs:?}");
    }

    #[test]
    fn freshness_follows_the_servers_own_clock() {
        check(&[(CACHE_CONTROL, "public, max-age=1200, s-maxage=3600")], 1200);
        check(&[(CACHE_CONTROL, "max-age=1200"), (AGE, "200")], 1000);
        check(&[(EXPIRES, "Thu, 01 Dec 2022 12:30:00 GMT")], 1800);
        let skewed =
            [(DATE, "Thu, 01 Dec 2022 20:00:00 GMT"), (EXPIRES, "Thu, 01 Dec 2022 20:30:00 GMT")];
        check(&skewed, 1800);
        check(&[], DEFAULT_S);
    }

    #[test]
    fn no_header_makes_us_rude_or_blind() {
        check(&[(CACHE_CONTROL, "max-age=0")], FLOOR_S);
        check(&[(CACHE_CONTROL, "max-age=31536000")], CEILING_S);
        check(&[(EXPIRES, "0")], DEFAULT_S);
        check(
            &[(CACHE_CONTROL, "max-age=-9223372036854775808"), (AGE, "9223372036854775807")],
            FLOOR_S,
        );
    }

    #[test]
    fn retry_after_is_a_number_or_a_date() {
        let now = "2022-12-01T12:00:00Z".parse().unwrap();
        let mut headers = HeaderMap::new();
        assert_eq!(retry_after_s(&headers, now), None);
        headers.insert(RETRY_AFTER, HeaderValue::from_static("120"));
        assert_eq!(retry_after_s(&headers, now), Some(120));
        headers.insert(RETRY_AFTER, HeaderValue::from_static("Thu, 01 Dec 2022 12:05:00 GMT"));
        assert_eq!(retry_after_s(&headers, now), Some(300));
        headers.insert(RETRY_AFTER, HeaderValue::from_static("soon"));
        assert_eq!(retry_after_s(&headers, now), None);
    }
}
