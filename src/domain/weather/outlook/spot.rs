//! A place as far as forecasts are concerned.

/// A place as far as forecasts are concerned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Metres above the sea.
    pub elevation_m: f64,
}
