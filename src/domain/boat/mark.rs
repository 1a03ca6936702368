//! On whose word a boat counts as having a circuit.

use serde::{Deserialize, Serialize};

use crate::domain::catalogue::CircuitId;

/// On whose word a circuit counts as fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mark {
    /// Somebody has listed or named it.
    #[default]
    Stated,
    /// Every boat of the kind has it; or the kind is not known, and the wetter is taken.
    Always,
    /// Many boats of the kind have it.
    Often,
    /// The way in which the engine is cooled implies it, and the list lacks it.
    Added,
}

impl Mark {
    /// The word of the documents, such as `often`.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Stated => "stated",
            Self::Always => "always",
            Self::Often => "often",
            Self::Added => "added",
        }
    }
}

/// What is known of how a boat's list came about. Blank in stores that older programs wrote: they are marked when opened.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Fitting {
    /// Each circuit of the list with its mark; what has none is stated.
    pub marks: Vec<(CircuitId, Mark)>,
    /// Somebody has said how the engine is cooled, or the list shows it.
    pub cooling_said: bool,
}
