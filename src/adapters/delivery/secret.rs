//! Secrets from files: never from the configuration text, never printed.

use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};

use thiserror::Error;

/// A secret is a line, not a document.
const MOST_BYTES: u64 = 4096;

/// Permissions of anybody but the owner.
const OTHERS: u32 = 0o077;

/// A secret that is not shown by `{:?}`.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Takes a secret that came from elsewhere.
    #[must_use]
    pub const fn new(text: String) -> Self {
        Self(text)
    }

    /// The secret itself: for the one call that needs it.
    #[must_use]
    pub fn expose(&self) -> &str {
        &self.0
    }
}

impl std::fmt::Debug for Secret {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.write_str("Secret(..)")
    }
}

/// Why a secret file is not used.
#[derive(Debug, Error)]
pub enum SecretError {
    /// It cannot be read.
    #[error("reading the secret file {}: check that it exists and that this program may read it", .path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// The operating system's answer.
        #[source]
        source: std::io::Error,
    },
    /// Others can read or write it.
    #[error(
        "the secret file {} can be read or written by others (mode {mode:03o}): run  chmod 600 {}", .path.display(), quoted(.path)
    )]
    OpenToOthers {
        /// The file.
        path: PathBuf,
        /// Its permissions.
        mode: u32,
    },
    /// It is no single line of text.
    #[error("the secret file {} must hold one line of text, 1 to {MOST_BYTES} bytes: {what}", .path.display())]
    NotALine {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        what: &'static str,
    },
}

/// Reads a secret: the one line of a file that only its owner (or a systemd credential folder) opens.
///
/// # Errors
/// [`SecretError::OpenToOthers`] carries the command that mends it.
pub fn read_secret_file(path: &Path) -> Result<Secret, SecretError> {
    let unreadable = |source| SecretError::Unreadable { path: path.to_owned(), source };
    let not_a_line = |what| SecretError::NotALine { path: path.to_owned(), what };
    let file = std::fs::File::open(path).map_err(unreadable)?;
    // Of the open file, not of the name: nobody can swap it in between.
    let facts = file.metadata().map_err(unreadable)?;
    if !facts.is_file() {
        return Err(not_a_line("it is not a plain file"));
    }
    let mode = facts.mode() & 0o777;
    // systemd gives a credential of root's to the service's user by an access list, which shows as group-read.
    let credential = facts.uid() == 0 && facts.gid() == 0 && mode & OTHERS == 0o040;
    if mode & OTHERS != 0 && !credential {
        return Err(SecretError::OpenToOthers { path: path.to_owned(), mode });
    }
    if facts.len() > MOST_BYTES {
        return Err(not_a_line("it is longer"));
    }
    let mut text = String::new();
    std::io::Read::read_to_string(&mut std::io::Read::take(file, MOST_BYTES), &mut text)
        .map_err(unreadable)?;
    let line = text.trim_end_matches(['\r', '\n']);
    if line.is_empty() {
        return Err(not_a_line("it is empty"));
    }
    if line.contains(char::is_control) {
        return Err(not_a_line("it holds several lines or control characters"));
    }
    Ok(Secret(line.to_owned()))
}

/// A path as a shell takes it.
fn quoted(path: &Path) -> String {
    let text = path.display().to_string();
    if text.chars().all(|c| c.is_ascii_alphanumeric() || "/._-+".contains(c)) {
        text
    } else {
        format!("'{}'", text.replace('\'', "'\\''"))
    }
}
