//! A way out that keeps what it is given: everything arrives.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;

use crate::app::ports::{Courier, Pending, Plainer, Posted, Verdict};

/// Letters that have left, in order.
#[derive(Debug, Default)]
pub struct Postbox {
    /// Since somebody last looked.
    pub letters: Vec<Posted>,
}

impl Courier for Postbox {
    fn name(&self) -> &'static str {
        "maildir"
    }

    fn deadline(&self) -> Duration {
        Duration::from_secs(1)
    }

    fn send<'a>(&'a mut self, letter: &'a Posted) -> Pending<'a, Verdict> {
        self.letters.push(letter.clone());
        Box::pin(std::future::ready(Verdict::Sent { reply: "kept".to_owned() }))
    }

    fn plainer(&self, _letter: &Posted) -> Option<Plainer> {
        None
    }

    fn handing(&self) -> Option<Arc<AtomicBool>> {
        None
    }

    fn finish(&mut self) -> Pending<'_, ()> {
        Box::pin(std::future::ready(()))
    }
}
