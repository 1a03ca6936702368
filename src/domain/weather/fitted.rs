//! How wrong a point forecast of a night's low or a day's high is in a given situation: shift and standard deviation as
//! linear functions of what is known at the issue, with coefficients fitted on archived forecasts.
//!
//! The form is that of nonhomogeneous regression (T. Gneiting, A. Raftery, A. Westveld, T. Goldman 2005, Mon. Wea. Rev.
//! 133, 1098-1118): mean = forecast + sum a_i x_i, ln sd = sum b_i x_i. What is not known counts as its usual value and
//! adds nothing. Coefficients: `config/catalogue/forecast_errors.csv`.

use std::f64::consts::TAU;

/// The service whose forecasts the compiled table was fitted on.
pub const FITTED_SERVICE: &str = "nws-gridpoint";

/// The sky of the hours in question, as far as a forecast word or cloud, wind and rain tell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Sky {
    /// Sun by day, stars by night.
    Clear,
    /// Between.
    Broken,
    /// Overcast.
    Cloudy,
    /// Rain, showers, thunder.
    Wet,
    /// Snow or freezing rain.
    Snow,
    /// Fog, smoke, haze, dust.
    Murk,
    /// A wind that keeps the air mixed.
    Windy,
}

/// What is known when the forecast is made. Temperatures in C, differences in K.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Situation {
    /// Day of the year, 1 to 366; half a year later south of the equator.
    pub day_of_year: f64,
    /// Degrees from the equator.
    pub latitude: f64,
    /// Height in metres.
    pub elevation_m: f64,
    /// Distance from the sea in kilometres, up to 500.
    pub coast_km: Option<f64>,
    /// The forecast low or high.
    pub forecast_c: f64,
    /// The forecasts of the same value issued 12, 24 and 36 h earlier, less this one.
    pub earlier_k: [Option<f64>; 3],
    /// The last value of the other kind (the high before this low), less the forecast.
    pub swing_k: Option<f64>,
    /// The last value of the same kind, less the forecast.
    pub change_k: Option<f64>,
    /// Observed less forecast of the last low, and of the last high.
    pub last_errors_k: [Option<f64>; 2],
    /// Mean of observed less forecast over the last nights at this place, shrunk by n/(n+15).
    pub own_bias_k: Option<f64>,
    /// The same over the last week, shrunk by n/(n+5).
    pub own_recent_k: Option<f64>,
    /// The same over past nights of a like swing forecast at the same lead, shrunk by n/(n+8).
    pub own_like_k: Option<f64>,
    /// The same for the other kind of value.
    pub own_other_k: Option<f64>,
    /// The next value of the other kind, as forecast, less the forecast.
    pub next_k: Option<f64>,
    /// Mean of the absolute errors over the last nights at this place, shrunk towards the usual one.
    pub own_abs_k: Option<f64>,
    /// The sky.
    pub sky: Option<Sky>,
    /// Mean observed low of the last month at this place, less the forecast.
    pub low_anomaly_k: Option<f64>,
    /// Mean observed high of the last month at this place, less the forecast.
    pub high_anomaly_k: Option<f64>,
    /// Observed less forecast at the same lead over the last five nights, each night counting 0.6 of the one after it.
    pub own_newest_k: Option<f64>,
    /// What the newest issues changed in the values before this one, each against the issue 12 h earlier, on average.
    pub revision_k: Option<f64>,
    /// High less low of the day before.
    pub day_before_k: Option<f64>,
}

impl Situation {
    /// Only place, day and forecast are known.
    #[must_use]
    pub const fn bare(day_of_year: f64, latitude: f64, elevation_m: f64, forecast_c: f64) -> Self {
        Self {
            day_of_year,
            latitude,
            elevation_m,
            coast_km: None,
            forecast_c,
            earlier_k: [None; 3],
            swing_k: None,
            change_k: None,
            last_errors_k: [None; 2],
            own_bias_k: None,
            own_abs_k: None,
            own_recent_k: None,
            own_like_k: None,
            own_other_k: None,
            next_k: None,
            sky: None,
            low_anomaly_k: None,
            high_anomaly_k: None,
            own_newest_k: None,
            revision_k: None,
            day_before_k: None,
        }
    }
}

/// Number of terms.
pub const TERMS: usize = 44;

/// Names of the terms, in order.
pub const NAMES: [&str; TERMS] = [
    "one",
    "winter_cos",
    "spring_sin",
    "latitude",
    "elevation",
    "coast",
    "cold",
    "mild",
    "earlier_12",
    "earlier_24",
    "earlier_36",
    "earlier_spread",
    "swing",
    "change",
    "fall",
    "last_low_error",
    "last_high_error",
    "last_abs_error",
    "own_bias",
    "own_abs",
    "own_known",
    "clear",
    "cloudy",
    "wet",
    "snow",
    "murk",
    "windy",
    "cold_clear",
    "swing_clear",
    "own_recent",
    "own_like",
    "own_other",
    "next",
    "trend",
    "swing_square",
    "swing_north",
    "swing_height",
    "clear_like",
    "swing_middle",
    "low_anomaly",
    "high_anomaly",
    "own_newest",
    "revision",
    "day_before",
];

/// The usual absolute error of a low, K: what `own_abs_k` is measured against.
const USUAL_ABS_K: f64 = 1.4;

/// The terms of a situation, each scaled to be of the order of one.
#[must_use]
pub fn terms(s: &Situation) -> [f64; TERMS] {
    let year = TAU * (s.day_of_year - 15.0) / 365.25;
    let sky = |kind: Sky| if s.sky == Some(kind) { 1.0 } else { 0.0 };
    let cold = (-3.0 - s.forecast_c).clamp(0.0, 25.0) / 10.0;
    let bounded = |value: Option<f64>, most: f64, scale: f64| {
        value.map_or(0.0, |v| v.clamp(-most, most) / scale)
    };
    let [e12, e24, e36] = s.earlier_k.map(|e| bounded(e, 8.0, 2.0));
    let spread = (e12 * e12 + e24 * e24 + e36 * e36).sqrt();
    let swing = bounded(s.swing_k.map(|k| k.abs() - 10.0), 15.0, 5.0);
    let [low, high] = s.last_errors_k.map(|e| bounded(e, 6.0, 2.0));
    let own_abs = s.own_abs_k.map_or(0.0, |k| (k.max(0.3) / USUAL_ABS_K).ln());
    [
        1.0,
        year.cos(),
        year.sin(),
        (s.latitude.abs() - 42.0) / 5.0,
        (s.elevation_m.clamp(0.0, 2500.0) / 1000.0).sqrt() - 0.5,
        s.coast_km.map_or(0.0, |km| (1.0 + km.clamp(0.0, 500.0) / 50.0).ln() - 1.3),
        cold,
        (s.forecast_c - 3.0).clamp(0.0, 20.0) / 10.0,
        e12,
        e24,
        e36,
        spread,
        swing,
        bounded(s.change_k, 12.0, 5.0),
        bounded(s.change_k.map(|k| (k - 4.0).max(0.0)), 12.0, 5.0),
        low,
        high,
        (low * low + high * high).sqrt(),
        bounded(s.own_bias_k, 4.0, 1.0),
        own_abs,
        if s.own_abs_k.is_some() { 1.0 } else { 0.0 },
        sky(Sky::Clear),
        sky(Sky::Cloudy),
        sky(Sky::Wet),
        sky(Sky::Snow),
        sky(Sky::Murk),
        sky(Sky::Windy),
        cold * sky(Sky::Clear),
        swing * sky(Sky::Clear),
        bounded(s.own_recent_k, 4.0, 1.0),
        bounded(s.own_like_k, 4.0, 1.0),
        bounded(s.own_other_k, 4.0, 1.0),
        bounded(s.next_k.map(|k| k.abs() - 10.0), 15.0, 5.0),
        bounded(s.next_k.zip(s.swing_k).map(|(n, s)| n - s), 15.0, 5.0),
        swing * swing,
        swing * (s.latitude.abs() - 42.0) / 5.0,
        swing * ((s.elevation_m.clamp(0.0, 2500.0) / 1000.0).sqrt() - 0.5),
        bounded(s.own_like_k, 4.0, 1.0) * sky(Sky::Clear),
        // From a swing of 5 K to one of 15 K; beyond, `swing` and its square speak.
        swing.clamp(-1.0, 1.0),
        bounded(s.low_anomaly_k, 15.0, 5.0),
        bounded(s.high_anomaly_k.map(|k| k - 10.0), 15.0, 5.0),
        bounded(s.own_newest_k, 6.0, 2.0),
        bounded(s.revision_k, 8.0, 2.0),
        bounded(s.day_before_k.map(|k| k - 10.0), 15.0, 5.0),
    ]
}

/// Coefficients of one kind of value at one lead.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Of the shift (observed less forecast), K.
    pub shift: [f64; TERMS],
    /// Of the logarithm of the standard deviation in K.
    pub log_sd: [f64; TERMS],
}

impl Fitted {
    /// Mean of observed less forecast, K, and its standard deviation, K.
    #[must_use]
    pub fn shift_and_sd(&self, situation: &Situation) -> (f64, f64) {
        let terms = terms(situation);
        let sum = |c: &[f64; TERMS]| c.iter().zip(&terms).map(|(c, x)| c * x).sum::<f64>();
        (sum(&self.shift).clamp(-6.0, 6.0), sum(&self.log_sd).exp().clamp(0.5, 8.0))
    }
}
