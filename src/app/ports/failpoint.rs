//! Named places at which a debug build can be made to stop dead, to test what a stop there leaves behind.
//!
//! `FAILPOINT=before_commit:3` stops at the third time that the place `before_commit` is reached. A release build has
//! no such places.

#[cfg(debug_assertions)]
use std::sync::Mutex;

#[cfg(debug_assertions)]
static ARMED: Mutex<Option<(String, u32)>> = Mutex::new(None);

/// Arms a place: its name, then after a colon which time counts (the first if left out).
#[cfg(debug_assertions)]
pub fn arm(text: &str) {
    let (name, count) = text.split_once(':').unwrap_or((text, "1"));
    let count = count.parse().unwrap_or(1);
    if let Ok(mut armed) = ARMED.lock() {
        *armed = Some((name.to_owned(), count));
    }
}

/// Does nothing in a release build.
#[cfg(not(debug_assertions))]
pub const fn arm(_text: &str) {}

/// Reaches a place; stops the process there if it is armed and its time has come.
#[cfg(debug_assertions)]
pub fn hit(name: &str) {
    let Ok(mut armed) = ARMED.lock() else { return };
    if let Some((wanted, left)) = armed.as_mut()
        && wanted == name
    {
        *left = left.saturating_sub(1);
        if *left == 0 {
            std::process::abort();
        }
    }
}

/// Does nothing in a release build.
#[cfg(not(debug_assertions))]
pub const fn hit(_name: &str) {}
