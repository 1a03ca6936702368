//! Night windows and their lows.
