//! The configuration file: TOML, read whole, checked whole; every problem is reported in one go with line and remedy.
//!
//! Secrets never stand in it: keys ending in `_file` name the files that hold them.

mod check;
mod every;
mod services;
pub mod webhook;

use std::path::{Path, PathBuf};

use thiserror::Error;

pub use crate::app::settings::Settings;

/// A configuration that cannot be used.
#[derive(Debug, Error)]
pub enum SettingsError {
    /// The file could not be read.
    #[error("cannot read the configuration {path}: {source}; name another with --config FILE")]
    Unreadable {
        /// Which file.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// It is not what the keys ask for.
    #[error("the configuration {path} cannot be used:\n{}", problems.join("\n"))]
    Invalid {
        /// Which file.
        path: PathBuf,
        /// One line each: where, what, and what would be right.
        problems: Vec<String>,
    },
}

impl Settings {
    /// Reads and checks the file; relative paths in it are meant from its own folder.
    ///
    /// # Errors
    /// [`SettingsError`] with every problem, each with its line where there is one.
    pub fn load(path: &Path) -> Result<Self, SettingsError> {
        Self::parse(&text_of(path)?, folder_of(path))
            .map_err(|problems| SettingsError::Invalid { path: path.into(), problems })
    }

    /// Parses and checks `text`; relative paths are meant from `folder`.
    ///
    /// # Errors
    /// One line for each problem.
    pub fn parse(text: &str, folder: &Path) -> Result<Self, Vec<String>> {
        match Self::read(text, folder) {
            (Some(settings), problems) if problems.is_empty() => Ok(settings),
            (_, mut problems) => {
                problems.sort_by_key(|problem| every::line_number(problem));
                Err(problems)
            }
        }
    }

    /// Every problem of the file at `path` by line, and of the files that it names as far as `named` sees them: both in one
    /// go, where the text can be read as a configuration at all.
    ///
    /// # Errors
    /// [`SettingsError::Unreadable`].
    pub fn problems_of(
        path: &Path,
        named: impl Fn(&Self) -> Vec<String>,
    ) -> Result<Vec<String>, SettingsError> {
        let text = text_of(path)?;
        let (settings, mut problems) = Self::read(&text, folder_of(path));
        for problem in settings.iter().flat_map(named) {
            // A key with a wrong value stands in for itself: its default is not the reader's.
            let key = problem.split(':').next().unwrap_or_default();
            if !problems.iter().any(|known| known.contains(key)) {
                problems.push(every::with_line(&text, &problem));
            }
        }
        problems.sort_by_key(|problem| every::line_number(problem));
        Ok(problems)
    }

    /// What can be read, keys with wrong values left at their defaults, and what is wrong.
    fn read(text: &str, folder: &Path) -> (Option<Self>, Vec<String>) {
        let (mut settings, mut problems) = every::read(text);
        let beyond = settings.iter().flat_map(check::problems);
        problems.extend(beyond.map(|problem| every::with_line(text, &problem)));
        if let Some(settings) = &mut settings {
            settings.resolve(folder);
        }
        (settings, problems)
    }

    fn resolve(&mut self, folder: &Path) {
        let here = |path: &mut PathBuf| {
            if path.is_relative() {
                *path = folder.join(&*path);
            }
        };
        here(&mut self.store.path);
        let mail = &mut self.mail;
        let files = [&mut mail.maildir, &mut mail.inbox, &mut mail.id_key_file, &mut mail.phrases];
        for path in files.into_iter().flatten() {
            here(path);
        }
        self.season.archives.values_mut().for_each(here);
        for hook in self.webhook.values_mut() {
            here(&mut hook.secret_file);
            hook.previous_secret_file.iter_mut().for_each(here);
        }
        if let Some(key) = &mut self.forecast.open_meteo.key_file {
            here(key);
        }
        if let Some(smtp) = &mut self.mail.smtp {
            for path in [&mut smtp.password_file, &mut smtp.ca_file].into_iter().flatten() {
                here(path);
            }
        }
    }
}

fn text_of(path: &Path) -> Result<String, SettingsError> {
    std::fs::read_to_string(path)
        .map_err(|source| SettingsError::Unreadable { path: path.into(), source })
}

/// From where relative paths in the file at `path` are meant.
fn folder_of(path: &Path) -> &Path {
    path.parent().unwrap_or(Path::new("."))
}
