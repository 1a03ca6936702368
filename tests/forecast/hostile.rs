//! No document, however broken, panics or grows without bound.

use proptest::prelude::*;
use rimeward::adapters::weather::nws::{
    parse_gridpoint, parse_hourly, parse_observation, parse_points,
};
use rimeward::adapters::weather::{BODY_BYTES_MAX, Context, PayloadError};

use super::own;

fn read_all(body: &[u8]) {
    let context = Context { place: "44.19,-69.07".parse().ok(), now: None };
    for context in [context, Context::default()] {
        if let Ok(forecast) = parse_gridpoint(body, &context) {
            assert!(forecast.steps.len() < 1000);
        }
        if let Ok(forecast) = parse_hourly(body, &context) {
            assert!(forecast.steps.len() < 1000);
        }
        let _ = parse_observation(body, &context);
        let _ = parse_points(body, &context);
    }
}

fn own_payload() -> impl Strategy<Value = &'static str> {
    prop::sample::select(vec![
        own::GRIDPOINT,
        own::HOURLY,
        own::OBSERVATION,
        own::POINTS,
        own::PROBLEM,
    ])
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_bytes_are_read_without_panic(body in prop::collection::vec(any::<u8>(), 0..400)) {
        read_all(&body);
    }

    #[test]
    fn damaged_payloads_are_read_without_panic(
        payload in own_payload(),
        edits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..12),
        cut in any::<prop::sample::Index>(),
        is_cut in any::<bool>(),
    ) {
        let mut body = payload.as_bytes().to_vec();
        for (at, byte) in edits {
            let at = at.index(body.len());
            // Digits and signs make other numbers and dates; plain bytes make broken documents.
            body[at] = if byte < 200 { b"0123456789-+.:/PTDHeE,"[usize::from(byte) % 22] } else { byte };
        }
        if is_cut {
            body.truncate(cut.index(body.len()));
        }
        read_all(&body);
    }
}

#[test]
fn an_oversize_document_is_not_parsed() {
    let body = vec![b' '; BODY_BYTES_MAX + 1];
    let refusal = parse_gridpoint(&body, &Context::default());
    assert!(matches!(refusal, Err(PayloadError::TooLarge { .. })));
}

#[test]
fn deep_nesting_is_refused() {
    let body = "[".repeat(200_000);
    assert!(parse_gridpoint(body.as_bytes(), &Context::default()).is_err());
    let body = format!(r#"{{"geometry":{}"#, "[".repeat(100_000));
    assert!(parse_gridpoint(body.as_bytes(), &Context::default()).is_err());
}
