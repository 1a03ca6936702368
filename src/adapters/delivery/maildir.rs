//! Letters into a Maildir: written whole under `tmp`, then renamed into `new`.
//!
//! The file name comes from the Message-ID, so that a letter that was delivered before the sender stopped is
//! recognised and not written twice, whether it still lies in `new` or a reader has moved it to `cur`.

use std::fs;
use std::io::{self, Write as _};
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};
use data_encoding::HEXLOWER;
use ring::digest::{SHA256, digest};

/// A Maildir, or a folder with one Maildir for each person.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Maildir {
    /// The folder.
    pub folder: PathBuf,
    /// One Maildir below it for each person, named by the person's id.
    pub per_recipient: bool,
    /// Push every letter to the disk before it counts as delivered; off for demonstrations.
    pub sync: bool,
}

impl Maildir {
    /// A Maildir that keeps what it was given through a power cut.
    #[must_use]
    pub const fn new(folder: PathBuf) -> Self {
        Self { folder, per_recipient: false, sync: true }
    }

    /// Delivers a letter. Returns the file, and whether it was new.
    ///
    /// # Errors
    /// Whatever the file system answers; nothing half-written lies in `new` then.
    pub fn deliver(
        &self,
        recipient: &str,
        message_id: &str,
        queued_at: DateTime<Utc>,
        bytes: &[u8],
    ) -> io::Result<(PathBuf, bool)> {
        let folder = if self.per_recipient {
            self.folder.join(folder_name(recipient))
        } else {
            self.folder.clone()
        };
        for part in ["tmp", "new", "cur"] {
            fs::DirBuilder::new().recursive(true).mode(0o700).create(folder.join(part))?;
        }
        let name = file_name(message_id, queued_at);
        let target = folder.join("new").join(&name);
        if let Some(found) = delivered(&folder, &name, &target)? {
            return Ok((found, false));
        }
        let unfinished = folder.join("tmp").join(&name);
        let mut file = fs::OpenOptions::new()
            .write(true)
            .create(true)
            .truncate(true)
            .mode(0o600)
            .open(&unfinished)?;
        file.write_all(bytes)?;
        if self.sync {
            file.sync_all()?;
        }
        drop(file);
        fs::rename(&unfinished, &target)?;
        if self.sync {
            fs::File::open(folder.join("new"))?.sync_all()?;
        }
        Ok((target, true))
    }
}

/// Seconds first, so that a listing by name is one by time; then the hash; then our name in place of the host's.
fn file_name(message_id: &str, queued_at: DateTime<Utc>) -> String {
    let hash = HEXLOWER.encode(digest(&SHA256, message_id.as_bytes()).as_ref());
    format!("{}.R{}.rimeward", queued_at.timestamp(), hash.get(..32).unwrap_or(&hash))
}

/// Where the letter lies already, with whatever flags a reader has put behind its name.
fn delivered(folder: &Path, name: &str, target: &Path) -> io::Result<Option<PathBuf>> {
    if target.exists() {
        return Ok(Some(target.to_owned()));
    }
    for entry in fs::read_dir(folder.join("cur"))? {
        let entry = entry?;
        let found = entry.file_name();
        let found = found.to_string_lossy();
        if found.strip_prefix(name).is_some_and(|flags| flags.is_empty() || flags.starts_with(':'))
        {
            return Ok(Some(entry.path()));
        }
    }
    Ok(None)
}

/// A folder name that stays inside the folder, whatever the person's id is.
fn folder_name(recipient: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_.".contains(c);
    if !recipient.is_empty()
        && recipient.len() <= 64
        && !recipient.starts_with('.')
        && recipient.chars().all(plain)
    {
        return recipient.to_owned();
    }
    let hash = HEXLOWER.encode(digest(&SHA256, recipient.as_bytes()).as_ref());
    format!("person-{}", hash.get(..16).unwrap_or(&hash))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strange_id_stays_inside_the_folder() {
        assert_eq!(folder_name("P02"), "P02");
        for id in ["../P02", "/etc", "", ".", "..", "a b", "P02\n"] {
            assert!(folder_name(id).starts_with("person-"), "{id:?}");
        }
    }
}
