//! Open-Meteo's forecast, ensemble and archive answers (open-meteo.com, its API documentation): columns of equal
//! length with `null` for missing, one column for each model and member, told apart by their names.
//!
//! The answer says where its grid cell is, not what was asked, and has no time of issue. Stamps are local wall time with one
//! offset for the whole series unless GMT was asked for.

mod days;

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDateTime, Utc};
use serde::Deserialize;
use serde_json::Value;

use super::measure::{Conversion, Quantity};
use super::nws::{note_faults, problem::Problem, read_json};
use super::series::{Layer, Layers};
use super::{Context, PayloadError, Place, STEPS_MAX};
use crate::app::ports::Service;
use crate::domain::weather::{Forecast, Step};

pub use days::parse_open_meteo_days;

/// The name of the point forecast.
pub const FORECAST: &str = Service::OpenMeteo.name();
/// The name of the ensemble forecast.
pub const ENSEMBLE: &str = Service::OpenMeteoEnsemble.name();
/// The name of the archive of past hours.
pub const ARCHIVE: &str = "open-meteo-archive";
/// Most hours of one answer: the archive's longest useful request is about forty years, which exceeds the largest body first.
const HOURS_MAX: usize = 200_000;
/// Most columns that are looked at; two ensembles of 51 and 31 members have 82.
const COLUMNS_MAX: usize = 400;
/// How far the answering cell may lie from the place, in degrees: global models answer on cells of a quarter of a
/// degree, ensembles on half a degree, and the land cell next to a coast may be taken instead.
const CELL_APART_DEG_MAX: f64 = 0.6;
/// A model with a larger share of missing hours among the first 48 is left out.
const NULL_SHARE_MAX: f64 = 0.1;

#[derive(Deserialize)]
struct Document {
    #[serde(default)]
    latitude: Option<f64>,
    #[serde(default)]
    longitude: Option<f64>,
    #[serde(default)]
    elevation: Option<f64>,
    #[serde(default)]
    utc_offset_seconds: Option<i64>,
    #[serde(default)]
    hourly: Option<BTreeMap<String, Value>>,
    #[serde(default)]
    hourly_units: Option<BTreeMap<String, Value>>,
    #[serde(default)]
    daily: Option<BTreeMap<String, Value>>,
    #[serde(default)]
    daily_units: Option<BTreeMap<String, Value>>,
    #[serde(default)]
    error: Option<bool>,
    #[serde(default)]
    reason: Option<String>,
}

impl Document {
    /// The document, unless it is one of the service's own error documents.
    fn unless_error(self) -> Result<Self, PayloadError> {
        if self.error != Some(true) && self.reason.is_none() {
            return Ok(self);
        }
        let title = self.reason.unwrap_or_default().chars().take(300).collect();
        let (kind, detail) = (String::new(), String::new());
        Err(PayloadError::Problem(Problem { kind, status: None, title, detail }))
    }
}

#[derive(Deserialize)]
#[serde(untagged)]
enum Answer {
    One(Box<Document>),
    Many(Vec<Document>),
}

/// Reads an answer of one of the three kinds; `service` is [`FORECAST`], [`ENSEMBLE`] or [`ARCHIVE`].
///
/// The answer has no time of issue: `issued_at` is the context's `now`, or its first hour where no present is given,
/// with a warning. For an ensemble the temperature is the median of the members and the quantiles are those of the raw
/// members, not yet widened. Of several models without members the first complete one is read.
///
/// # Errors
/// [`PayloadError`]: an error document, no JSON, no unit, no value, one value for days, another place.
pub fn parse_open_meteo(
    service: &'static str,
    body: &[u8],
    context: &Context,
) -> Result<Forecast, PayloadError> {
    let missing = |what| PayloadError::Missing { what, service };
    let mut warnings = Vec::new();
    let document = match read_json::<Answer>(body)? {
        Answer::One(document) => *document,
        Answer::Many(documents) => {
            warnings.push(format!("the answer has {} places; one is read", documents.len()));
            nearest(documents, context.place).ok_or_else(|| missing("place"))?
        }
    };
    let document = document.unless_error()?;
    check_cell(&document, context)?;
    let hourly = document.hourly.as_ref().ok_or_else(|| missing("hourly"))?;
    let hours = stamps(hourly, document.utc_offset_seconds.unwrap_or(0))
        .ok_or_else(|| missing("hourly.time"))?;
    if let Some(offset) = document.utc_offset_seconds.filter(|s| *s != 0) {
        let hours = f64::from(i32::try_from(offset).unwrap_or(0)) / 3600.0;
        warnings.push(format!(
            "stamps are local time with one offset of {hours:+.1} h for all hours; ask for GMT"
        ));
    }
    let table = Table { hourly, units: document.hourly_units.as_ref(), hours };
    let read = table.read(service, &mut warnings)?;
    let issued_at = context.now.or_else(|| stamp(*table.hours.first()?));
    let issued_at = issued_at.ok_or_else(|| missing("hourly.time"))?;
    warnings.push("the answer does not say when its run was made".into());
    let Read { mut layers, members } = read;
    layers.temperature.settle_temperature()?;
    note_faults("temperature", &layers.temperature, &mut warnings);
    // Only an archive is long; in a forecast one stamp far off would make a hundred thousand hours of nothing.
    let most = if service == ARCHIVE { HOURS_MAX } else { STEPS_MAX.saturating_mul(2) };
    let steps = layers.steps_up_to(most);
    let members = members.iter().map(|member| along(member, &steps)).collect();
    let missing = steps.iter().filter(|s| s.temperature_c.is_none()).count();
    let cell_elevation_m = document.elevation.filter(|m| (-500.0..=9000.0).contains(m));
    let service = service.to_owned();
    let minima = Vec::new();
    Ok(Forecast { service, issued_at, cell_elevation_m, steps, minima, members, missing, warnings })
}

fn along(member: &Layer, steps: &[Step]) -> Vec<Option<f64>> {
    steps.iter().map(|step| member.get(step.time.timestamp().div_euclid(3600))).collect()
}

fn nearest(documents: Vec<Document>, place: Option<Place>) -> Option<Document> {
    let apart = |d: &Document| {
        let (Some(place), Some(lat), Some(lon)) = (place, d.latitude, d.longitude) else {
            return 0.0;
        };
        (lat - place.latitude()).abs() + (lon - place.longitude()).abs()
    };
    documents.into_iter().min_by(|a, b| apart(a).total_cmp(&apart(b)))
}

fn check_cell(document: &Document, context: &Context) -> Result<(), PayloadError> {
    let Some(asked) = context.place else { return Ok(()) };
    let (Some(lat), Some(lon)) = (document.latitude, document.longitude) else { return Ok(()) };
    let east = (lon - asked.longitude()).abs();
    if (lat - asked.latitude()).abs() <= CELL_APART_DEG_MAX
        && east.min(360.0 - east) <= CELL_APART_DEG_MAX
    {
        return Ok(());
    }
    Err(PayloadError::WrongPlace { answered: format!("the cell at {lat},{lon}"), asked })
}

/// Whole hours since 1970 of the `time` column.
fn stamps(hourly: &BTreeMap<String, Value>, offset_s: i64) -> Option<Vec<i64>> {
    let column = hourly.get("time")?.as_array()?;
    let read = |value: &Value| {
        let seconds = match value {
            Value::Number(unix) => unix.as_i64()?,
            Value::String(text) => {
                let local = NaiveDateTime::parse_from_str(text, "%Y-%m-%dT%H:%M").ok()?;
                local.and_utc().timestamp().checked_sub(offset_s)?
            }
            _ => return None,
        };
        let in_reach = (-3_000_000_000..8_000_000_000).contains(&seconds);
        in_reach.then(|| seconds.div_euclid(3600))
    };
    let hours: Vec<i64> = column.iter().take(HOURS_MAX).map(read).collect::<Option<Vec<i64>>>()?;
    let is_rising = hours.iter().zip(hours.iter().skip(1)).all(|(a, b)| a < b);
    (is_rising && !hours.is_empty()).then_some(hours)
}

fn stamp(hour: i64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp(hour.checked_mul(3600)?, 0)
}

struct Read {
    layers: Layers,
    members: Vec<Layer>,
}

struct Table<'a> {
    hourly: &'a BTreeMap<String, Value>,
    units: Option<&'a BTreeMap<String, Value>>,
    hours: Vec<i64>,
}

impl Table<'_> {
    fn read(
        &self,
        service: &'static str,
        warnings: &mut Vec<String>,
    ) -> Result<Read, PayloadError> {
        let mut models: BTreeMap<String, Vec<(u32, Layer)>> = BTreeMap::new();
        let names = self.hourly.keys().filter_map(|name| Some((name, column_name(name)?)));
        for (name, (member, model)) in names.take(COLUMNS_MAX) {
            let layer = self.column(name, Quantity::Temperature, "temperature_2m")?;
            models.entry(model).or_default().push((member, layer));
        }
        if models.is_empty() {
            return Err(PayloadError::Missing { what: "hourly.temperature_2m", service });
        }
        let hours = self.hours.len();
        let is_complete = |layers: &Vec<(u32, Layer)>| {
            let soon = self.hours.iter().take(48);
            let (mut known, mut all) = (0_u32, 0_u32);
            for hour in soon {
                for (_, layer) in layers {
                    all += 1;
                    known += u32::from(layer.get(*hour).is_some());
                }
            }
            f64::from(all - known) <= NULL_SHARE_MAX * f64::from(all)
        };
        let names: Vec<String> = models.keys().cloned().collect();
        let mut kept: Vec<(String, Vec<(u32, Layer)>)> = models
            .iter()
            .filter(|(_, l)| is_complete(l))
            .map(|(n, l)| (n.clone(), l.clone()))
            .collect();
        for name in names.iter().filter(|name| !kept.iter().any(|(k, _)| k == *name)) {
            warnings.push(format!(
                "model {name:?} left out: over a tenth of the next 48 hours missing"
            ));
        }
        if kept.is_empty() {
            // The fullest of what there is; a series without any value is refused later.
            kept.extend(models.into_iter().next());
        }
        let has_members = kept.iter().any(|(_, layers)| layers.len() > 1);
        if !has_members {
            return self.point(kept, warnings);
        }
        let members: Vec<Layer> =
            kept.into_iter().flat_map(|(_, layers)| layers.into_iter().map(|(_, l)| l)).collect();
        let mut layers = self.others()?;
        layers.temperature.dropped = members.iter().map(|m| m.dropped).sum();
        for hour in &self.hours {
            let mut values: Vec<f64> = members.iter().filter_map(|m| m.get(*hour)).collect();
            values.sort_by(f64::total_cmp);
            layers.temperature.put(*hour, quantile(&values, 0.5));
            layers.p10.put(*hour, quantile(&values, 0.1));
            layers.p90.put(*hour, quantile(&values, 0.9));
        }
        debug_assert!(hours <= HOURS_MAX, "bounded by the stamps");
        Ok(Read { layers, members })
    }

    fn point(
        &self,
        models: Vec<(String, Vec<(u32, Layer)>)>,
        warnings: &mut Vec<String>,
    ) -> Result<Read, PayloadError> {
        let others: Vec<String> = models.iter().skip(1).map(|(name, _)| name.clone()).collect();
        if !others.is_empty() {
            warnings.push(format!("models not read: {}", others.join(", ")));
        }
        let mut layers = self.others()?;
        let first = models.into_iter().next().and_then(|(_, layers)| layers.into_iter().next());
        layers.temperature = first.map(|(_, layer)| layer).unwrap_or_default();
        Ok(Read { layers, members: Vec::new() })
    }

    /// Everything but the air temperature; absent or of an unknown unit: nothing.
    fn others(&self) -> Result<Layers, PayloadError> {
        let find = |base: &str, quantity| {
            let is_it = |name: &&String| {
                name.as_str() == base
                    || name.starts_with(&format!("{base}_")) && !name.contains("previous_day")
            };
            let name = self.hourly.keys().find(is_it);
            name.and_then(|n| self.column(n, quantity, base).ok()).unwrap_or_default()
        };
        Ok(Layers {
            dewpoint: find("dew_point_2m", Quantity::Temperature),
            wind: find("wind_speed_10m", Quantity::Speed),
            cloud: find("cloud_cover", Quantity::Share),
            precipitation: earlier(&find("precipitation", Quantity::Water)),
            snow: earlier(&find("snowfall", Quantity::Snow)),
            ..Layers::default()
        })
    }

    fn column(&self, name: &str, quantity: Quantity, base: &str) -> Result<Layer, PayloadError> {
        let unit_of = |key: &str| {
            let unit = self.units.and_then(|u| u.get(key)).and_then(Value::as_str);
            unit.filter(|u| !u.is_empty() && *u != "undefined")
        };
        // Units of some member columns are left empty: they share the unit of the first column that has one.
        let shared = || {
            let keys = self.units.into_iter().flat_map(BTreeMap::keys);
            keys.filter(|key| key.starts_with(base)).find_map(|key| unit_of(key))
        };
        let unit = unit_of(name).or_else(shared);
        let conversion = unit.and_then(|u| Conversion::find(quantity, u)).ok_or_else(|| {
            let unit = unit.unwrap_or("not given").chars().take(40).collect();
            PayloadError::Unit { unit }
        })?;
        let mut layer = Layer::default();
        let values = self.hourly.get(name).and_then(Value::as_array);
        let values =
            values.filter(|v| v.len() == self.hours.len()).ok_or(PayloadError::Missing {
                what: "column as long as its time column",
                service: FORECAST,
            })?;
        for (hour, value) in self.hours.iter().zip(values) {
            let ours = value.as_f64().and_then(|v| conversion.apply(v));
            layer.dropped += usize::from(ours.is_none() && !value.is_null());
            layer.put(*hour, ours);
        }
        Ok(layer)
    }
}

/// `temperature_2m`, `temperature_2m_member07`, `temperature_2m_MODEL` or `temperature_2m_member07_MODEL`: the member
/// (0 for the control run) and the model. `None` for any other quantity, and for runs of earlier days.
fn column_name(name: &str) -> Option<(u32, String)> {
    let rest = name.strip_prefix("temperature_2m")?;
    if rest.is_empty() {
        return Some((0, String::new()));
    }
    let rest = rest.strip_prefix('_')?;
    if rest.starts_with("previous_day") || rest == "max" || rest == "min" || rest == "mean" {
        return None;
    }
    let Some(numbered) = rest.strip_prefix("member") else {
        return Some((0, rest.to_owned()));
    };
    let (digits, model) = numbered.split_once('_').unwrap_or((numbered, ""));
    Some((digits.parse().ok()?, model.to_owned()))
}

/// Amounts of the hour before each stamp, by the hour in which they fall.
fn earlier(sums: &Layer) -> Layer {
    let mut layer = Layer::default();
    let Some((first, end)) = sums.span() else { return layer };
    for hour in (first..end).take(HOURS_MAX) {
        layer.put(hour.saturating_sub(1), sums.get(hour));
    }
    layer
}

/// A share of sorted values, interpolated between neighbours; `None` of nothing.
fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    #[expect(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "an index below a few hundred"
    )]
    let (at, below) = {
        let at = share * last as f64;
        (at - at.floor(), at.floor() as usize)
    };
    let (low, high) = (sorted.get(below)?, sorted.get(below.saturating_add(1)).or(sorted.last())?);
    Some(low + (high - low) * at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn column_names_tell_member_and_model() {
        let check = |name: &str, expect: Option<(u32, &str)>| {
            let expect = expect.map(|(m, n)| (m, n.to_owned()));
            assert_eq!(column_name(name), expect, "{name}");
        };
        check("temperature_2m", Some((0, "")));
        check("temperature_2m_member01", Some((1, "")));
        check("temperature_2m_ecmwf_ifs025_ensemble", Some((0, "ecmwf_ifs025_ensemble")));
        check("temperature_2m_member30_ncep_gefs025", Some((30, "ncep_gefs025")));
        check("temperature_2m_previous_day1", None);
        check("apparent_temperature", None);
        check("temperature_2m_memberxx", None);
    }

    #[test]
    fn quantiles_lie_between_their_neighbours() {
        let values = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(quantile(&values, 0.5), Some(3.0));
        assert_eq!(quantile(&values, 0.1), Some(1.4));
        assert_eq!(quantile(&[], 0.1), None);
        assert_eq!(quantile(&[2.0], 0.9), Some(2.0));
    }
}
