//! Signed notes to other programs.

use std::path::PathBuf;

use serde::Deserialize;

/// One receiver of signed notes.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WebhookSettings {
    /// Where notes are sent.
    pub url: String,
    /// File with the secret that signs them, `whsec_` and base64 on one line.
    pub secret_file: PathBuf,
    /// File with the secret before it, while the receiver changes over: notes are signed with both.
    pub previous_secret_file: Option<PathBuf>,
    /// May it point inside the own network?
    #[serde(default)]
    pub reach_private: bool,
}
