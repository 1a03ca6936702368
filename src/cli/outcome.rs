//! How a command ended: what it has to say, or why it could not do its work.

use std::process::ExitCode;

use serde_json::Value;

use crate::adapters::settings::SettingsError;
use crate::app::context::{ServiceError, with_causes};
use crate::app::ports::StoreErrorKind;

/// How a command ended, as its exit code says it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// Done.
    Done,
    /// Failed.
    Failed,
    /// Wrong use or bad input; nothing was changed.
    BadInput,
    /// Done, but a place has no usable forecast.
    Blind,
    /// The store is locked or cannot be reached.
    StoreAway,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        Self::from(match exit {
            Exit::Done => 0,
            Exit::Failed => 1,
            Exit::BadInput => 2,
            Exit::Blind => 3,
            Exit::StoreAway => 4,
        })
    }
}

/// What a command has to say.
#[derive(Debug, Clone, PartialEq)]
pub struct CommandOutput {
    /// For people; with a line end where it is not empty.
    pub text: String,
    /// For programs.
    pub json: Value,
    /// How it ended.
    pub exit: Exit,
}

impl CommandOutput {
    /// Text, document and exit code of a command that needs no service.
    pub(super) fn from_parts((text, json, code): (String, Value, u8)) -> Self {
        let exit = match code {
            0 => Exit::Done,
            2 => Exit::BadInput,
            _ => Exit::Failed,
        };
        Self { text, json, exit }
    }
}

/// Why a command could not do its work.
#[derive(Debug)]
pub struct CliError {
    /// In words, with what to do.
    pub why: String,
    /// How it ended.
    pub exit: Exit,
}

impl CliError {
    /// Wrong use or bad input.
    #[must_use]
    pub fn bad_input(why: impl Into<String>) -> Self {
        Self { why: why.into(), exit: Exit::BadInput }
    }

    /// Something went wrong on the way.
    #[must_use]
    pub fn failed(why: impl Into<String>) -> Self {
        Self { why: why.into(), exit: Exit::Failed }
    }
}

/// A read model as the document that `--json` prints.
pub(crate) fn as_json(view: &impl serde::Serialize) -> Result<Value, CliError> {
    serde_json::to_value(view)
        .map_err(|error| CliError::failed(format!("writing the document: {error}")))
}

impl From<crate::app::ports::StoreError> for CliError {
    fn from(error: crate::app::ports::StoreError) -> Self {
        ServiceError::from(error).into()
    }
}

impl From<ServiceError> for CliError {
    fn from(error: ServiceError) -> Self {
        let exit = match &error {
            ServiceError::Store(error) => match error.kind() {
                StoreErrorKind::Locked | StoreErrorKind::Unreachable => Exit::StoreAway,
                _ => Exit::Failed,
            },
            _ => Exit::Failed,
        };
        Self { why: with_causes(&error), exit }
    }
}

impl From<SettingsError> for CliError {
    fn from(error: SettingsError) -> Self {
        Self::bad_input(error.to_string())
    }
}
