//! Which loops there are, and what comes of one activation.

/// Which loop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Task {
    /// Asks the weather services.
    Fetch,
    /// Judges, decides, queues letters.
    Judge,
    /// Carries the outbox out.
    Deliver,
    /// Looks after the store.
    Housekeep,
}

impl Task {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Fetch, Self::Judge, Self::Deliver, Self::Housekeep];

    /// Its name in status rows and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Fetch => "fetch",
            Self::Judge => "judge",
            Self::Deliver => "deliver",
            Self::Housekeep => "housekeep",
        }
    }
}

/// What came of one activation.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Done {
    /// Did everything go as it should?
    pub ok: bool,
    /// One line for people.
    pub text: String,
    /// Something happened that is worth a line in the log.
    pub news: bool,
    /// Loops that now have something to do.
    pub poke: Vec<Task>,
}

impl Done {
    pub(super) fn quiet(text: impl Into<String>) -> Self {
        Self { ok: true, text: text.into(), news: false, poke: Vec::new() }
    }
}

/// Asked before each step that takes time: may it go on? Being asked is also the sign of progress.
pub type ShouldContinue<'a> = &'a (dyn Fn() -> bool + Sync);
