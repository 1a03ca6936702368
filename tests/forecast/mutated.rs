//! Every parser of a weather service against payloads that were cut, spliced and filled with impossible values, for a while:
//! no panic, no endless document, no execution that takes long. The seed is printed; `RIMEWARD_FUZZ_S` says how many seconds
//! each parser gets (20 on the build machine, 1 elsewhere).

use std::path::Path;
use std::time::{Duration, Instant};

use rimeward::adapters::intake::archive;
use rimeward::adapters::weather::eccc::parse_eccc;
use rimeward::adapters::weather::met_norway::parse_met_norway;
use rimeward::adapters::weather::mosmix::parse_mosmix;
use rimeward::adapters::weather::nws::problem::parse_problem;
use rimeward::adapters::weather::nws::stations::parse_stations;
use rimeward::adapters::weather::nws::{
    parse_gridpoint, parse_hourly, parse_notices, parse_observation, parse_points,
};
use rimeward::adapters::weather::open_meteo::{
    ARCHIVE, ENSEMBLE, FORECAST, parse_open_meteo, parse_open_meteo_days,
};
use rimeward::adapters::weather::{Context, STEPS_MAX};
use rimeward::domain::weather::Forecast;
use rimeward::domain::weather::errors::Normals;

/// No single execution may take longer.
const LONG: Duration = Duration::from_secs(5);
/// What is put in the place of something else: the ends of numbers, dates and documents.
const TOKENS: [&str; 24] = [
    "null",
    "1e999",
    "-1e999",
    "NaN",
    "-0",
    "9999999999999999999999",
    "-9999",
    "9.96921e36",
    "\"\"",
    "[]",
    "{}",
    "PT0H",
    "P9999999D",
    "PT1S",
    "0000-00-00T00:00:00Z",
    "9999-12-31T23:59:59+99:99",
    "1582-10-15T00:00Z",
    "wmoUnit:",
    "</",
    "<![CDATA[",
    "&#0;",
    "\u{202e}",
    "\0",
    ",,,,",
];

fn seconds() -> f64 {
    let own = std::env::var_os("RIMEWARD_FUZZ_S").and_then(|text| text.to_str()?.parse().ok());
    own.unwrap_or(if std::env::var_os("CI").is_some() { 20.0 } else { 1.0 })
}

/// Our own payloads of a service and, where they are at hand, the recorded ones, up to a size that leaves room for many tries.
fn corpus(folder: &str) -> Vec<Vec<u8>> {
    let own = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/payloads").join(folder);
    let mut folders = vec![own];
    if let Some(data) = std::env::var_os("RIMEWARD_REAL_DATA") {
        folders.push(Path::new(&data).join("forecast/payloads").join(folder));
    }
    let files = folders.iter().filter_map(|folder| std::fs::read_dir(folder).ok()).flatten();
    let mut found: Vec<(String, Vec<u8>)> = files
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.is_file())
        .map(|path| (path.display().to_string(), std::fs::read(&path).unwrap()))
        .filter(|(_, body)| body.len() < 400_000)
        .collect();
    found.sort();
    found.into_iter().map(|(_, body)| body).collect()
}

/// Below `n`, from 0.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "sizes of documents")]
fn below(draws: &mut Normals, n: usize) -> usize {
    ((draws.uniform() * n as f64) as usize).min(n.saturating_sub(1))
}

fn mutated(corpus: &[Vec<u8>], draws: &mut Normals) -> Vec<u8> {
    let mut body = corpus[below(draws, corpus.len())].clone();
    for _ in 0..=below(draws, 6) {
        if body.is_empty() {
            break;
        }
        let at = below(draws, body.len());
        let length = below(draws, 40.min(body.len() - at)) + 1;
        let end = (at + length).min(body.len());
        match below(draws, 8) {
            0 => body[at] = u8::try_from(below(draws, 256)).unwrap(),
            1 => body.truncate(at),
            2 => drop(body.drain(at..end)),
            3 => {
                let copy = body[at..end].to_vec();
                body.splice(at..at, copy);
            }
            4 => {
                // A piece of another payload, or a far one of this.
                let other = &corpus[below(draws, corpus.len())];
                let from = below(draws, other.len());
                let piece = other[from..(from + length * 8).min(other.len())].to_vec();
                body.splice(at..end, piece);
            }
            5 => body[at] = b"0123456789-+.:/PTDHeE,"[below(draws, 22)],
            _ => {
                // A whole value: from one mark to the next.
                let mark = |byte: &u8| b",:[]{}<>\" \n".contains(byte);
                let from = body[..at].iter().rposition(mark).map_or(0, |place| place + 1);
                let to = body[at..].iter().position(mark).map_or(body.len(), |place| at + place);
                let token = TOKENS[below(draws, TOKENS.len())];
                body.splice(from..to.max(from), token.bytes());
            }
        }
    }
    body
}

fn fuzz(name: &str, folder: &str, parse: impl Fn(&[u8])) {
    let of_name = name.bytes().fold(0_u32, |sum, b| sum.wrapping_mul(31).wrapping_add(b.into()));
    let seed = u64::from(std::process::id() ^ of_name);
    let corpus = corpus(folder);
    assert!(!corpus.is_empty(), "no payload in {folder}");
    let mut draws = Normals::new(seed);
    let (begun, mut tries) = (Instant::now(), 0_u64);
    while begun.elapsed().as_secs_f64() < seconds() {
        let body = mutated(&corpus, &mut draws);
        let started = Instant::now();
        parse(&body);
        assert!(
            started.elapsed() < LONG,
            "{name}, seed {seed}, try {tries}: {:?}",
            started.elapsed()
        );
        tries += 1;
    }
    println!("{name}: {tries} damaged payloads from seed {seed}");
    assert!(tries > 50, "{name}: {tries}");
}

fn bounded<E>(read: Result<Forecast, E>) {
    if let Ok(forecast) = read {
        assert!(forecast.steps.len() <= 2 * STEPS_MAX);
        let all = forecast.steps.iter().filter_map(|step| step.temperature_c);
        assert!(all.into_iter().all(|t| (-70.0..=60.0).contains(&t)));
    }
}

fn both(parse: impl Fn(&Context)) {
    let now = "2022-11-14T20:00:00Z".parse().ok();
    parse(&Context { place: "44.19,-69.07".parse().ok(), now });
    parse(&Context::default());
}

#[test]
fn gridpoints() {
    fuzz("gridpoint", "nws", |body| both(|context| bounded(parse_gridpoint(body, context))));
}

#[test]
fn hourly_texts() {
    fuzz("hourly", "nws", |body| both(|context| bounded(parse_hourly(body, context))));
}

#[test]
fn the_other_documents_of_the_us_service() {
    fuzz("nws documents", "nws", |body| {
        both(|context| {
            let _ = (parse_observation(body, context), parse_points(body, context));
        });
        let now = "2025-12-15T22:00:00Z".parse().unwrap();
        let _ = (parse_notices(body, now), parse_stations(body), parse_problem(body));
    });
}

#[test]
fn met_norway() {
    fuzz("met-norway", "met_norway", |body| {
        both(|context| bounded(parse_met_norway(body, context)))
    });
}

#[test]
fn open_meteo() {
    fuzz("open-meteo", "open_meteo", |body| {
        for service in [FORECAST, ENSEMBLE] {
            both(|context| bounded(parse_open_meteo(service, body, context)));
        }
        both(|context| drop(parse_open_meteo(ARCHIVE, body, context)));
        both(|context| drop(parse_open_meteo_days(body, context)));
    });
}

#[test]
fn mosmix() {
    fuzz("mosmix", "mosmix", |body| both(|context| bounded(parse_mosmix(body, context))));
}

#[test]
fn eccc() {
    fuzz("eccc", "eccc", |body| both(|context| bounded(parse_eccc(body, context))));
}

/// Archives of past days that a user brings; any text at all may be one.
#[test]
fn archives_of_past_days() {
    fuzz("archive", "open_meteo", |body| {
        let mut table = b"date,tmin_c,tmax_c\n2021-11-30,-3,4\n".to_vec();
        table.extend_from_slice(&body[..body.len().min(2000)]);
        let _ = (archive::days(&table, None), archive::days(body, Some("QUAY")));
    });
}
