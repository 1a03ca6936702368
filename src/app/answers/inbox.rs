//! The folder that the mail server files answers and bounces in: a Maildir.

use std::ffi::{OsStr, OsString};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Utc};

use crate::app::answers::{Taken, take};
use crate::app::context::AppContext;
use crate::app::ports::RECEIVED_BYTES_MAX;

/// Messages that are taken in one look.
const MESSAGES_MOST: usize = 200;
/// Behind the name of a message in hand: found with it, it was in hand when a program ended.
const IN_HAND: &str = ".taking";
/// Times that a message is taken in hand.
const TIMES_MOST: usize = 2;

/// What came of a look.
#[derive(Debug, Default)]
pub struct Looked {
    /// One for each message that was taken.
    pub taken: Vec<Taken>,
    /// What could not be, in words; it lies where it lay.
    pub troubles: Vec<String>,
}

/// Takes what lies in `new` of the configured Maildir, and files it under `cur`, seen. What cannot be taken now stays, and
/// keeps nobody else's message waiting. A message that was in hand twice when the program ended is filed unread.
#[must_use]
pub fn look_into_inbox(house: &AppContext, now: DateTime<Utc>) -> Looked {
    let mut looked = Looked::default();
    let Some(inbox) = &house.settings.mail.inbox else { return looked };
    let cur = inbox.join("cur");
    let paths = match std::fs::create_dir_all(&cur).and_then(|()| new_messages(inbox)) {
        Ok(paths) => paths,
        Err(error) => {
            looked.troubles.push(format!("mail.inbox: {}: {error}", inbox.display()));
            return looked;
        }
    };
    for path in paths.into_iter().take(MESSAGES_MOST) {
        match take_file(house, &path, &cur, now) {
            Ok(Some(taken)) => {
                tracing::info!("inbox: {}", taken.words);
                looked.taken.push(taken);
            }
            Ok(None) => {}
            Err(why) => looked.troubles.push(format!("mail.inbox: {}: {why}", path.display())),
        }
    }
    looked
}

/// The files in `new`, by name. Names with a dot in front and links are none of the mail server's.
fn new_messages(inbox: &Path) -> std::io::Result<Vec<PathBuf>> {
    let entries = match std::fs::read_dir(inbox.join("new")) {
        Ok(entries) => entries,
        // Made by the relay with the first message.
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(error),
    };
    let is_message = |path: &PathBuf| {
        let hidden = path.file_name().is_some_and(|name| name.as_encoded_bytes().starts_with(b"."));
        !hidden && path.symlink_metadata().is_ok_and(|own| own.is_file())
    };
    let mut paths: Vec<PathBuf> =
        entries.filter_map(|entry| Some(entry.ok()?.path())).filter(is_message).collect();
    paths.sort();
    Ok(paths)
}

/// `None` where somebody else has taken it meanwhile.
fn take_file(
    house: &AppContext,
    path: &Path,
    cur: &Path,
    now: DateTime<Utc>,
) -> Result<Option<Taken>, String> {
    let name = path.file_name().unwrap_or_default();
    let (plain, times) = without_marks(name);
    let filed = |flags: &str| cur.join(joined(&plain, flags));
    if times >= TIMES_MOST {
        std::fs::rename(path, filed(":2,")).map_err(|error| error.to_string())?;
        return Err("the program ended over it twice: it lies in cur, unread; read it".to_owned());
    }
    let in_hand = path.with_file_name(joined(name, IN_HAND));
    match std::fs::rename(path, &in_hand) {
        Ok(()) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error.to_string()),
    }
    let taken = message(&in_hand)
        .map_err(|error| error.to_string())
        .and_then(|bytes| take(house, &bytes, now).map_err(|error| error.to_string()));
    let to = if taken.is_ok() { filed(":2,S") } else { path.to_owned() };
    match std::fs::rename(&in_hand, &to) {
        Ok(()) => {}
        Err(error) if error.kind() == ErrorKind::NotFound => {}
        Err(error) => return Err(format!("{} to {}: {error}", in_hand.display(), to.display())),
    }
    taken.map(Some)
}

fn joined(name: &OsStr, end: &str) -> OsString {
    let mut whole = name.to_owned();
    whole.push(end);
    whole
}

/// A name without the marks of messages in hand, and how many it had.
fn without_marks(name: &OsStr) -> (OsString, usize) {
    let (mut plain, mut times) = (PathBuf::from(name), 0);
    while plain
        .extension()
        .is_some_and(|end| IN_HAND.strip_prefix('.').is_some_and(|own| end == own))
    {
        plain.set_extension("");
        times += 1;
    }
    (plain.into_os_string(), times)
}

/// A message, up to its longest.
fn message(path: &Path) -> std::io::Result<Vec<u8>> {
    use std::io::Read as _;
    let mut bytes = Vec::new();
    let most = u64::try_from(RECEIVED_BYTES_MAX).unwrap_or(u64::MAX);
    std::fs::File::open(path)?.take(most).read_to_end(&mut bytes)?;
    Ok(bytes)
}
