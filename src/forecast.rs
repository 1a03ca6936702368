//! forecast.
