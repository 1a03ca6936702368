//! The key that makes Message-IDs which outsiders cannot guess.

use std::path::Path;

use super::secret::read_secret_file;
use crate::app::ports::MailError;
use crate::domain::message::MessageKey;

/// The key in a file that others cannot read.
pub(super) fn of_file(path: &Path) -> Result<MessageKey, MailError> {
    Ok(MessageKey::new(read_secret_file(path)?.expose().as_bytes()))
}

/// The key of this installation, made at the first start and kept beside the store, readable by nobody else.
pub(super) fn own_key(store: &Path) -> Result<MessageKey, MailError> {
    let path = store.with_extension("id-key");
    if !path.exists() {
        make_key(&path).map_err(|error| {
            MailError::from(format!(
                "making the key for Message-IDs {}: {error}; make the folder writable, or set mail.id_key_file",
                path.display()
            ))
        })?;
    }
    of_file(&path)
}

/// Written whole under another name first: whoever reads it meanwhile finds all of it or nothing.
fn make_key(path: &Path) -> std::io::Result<()> {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;
    let mut bytes = [0_u8; 32];
    ring::rand::SecureRandom::fill(&ring::rand::SystemRandom::new(), &mut bytes)
        .map_err(|_| std::io::Error::other("the machine gives no random numbers"))?;
    let whole = path.with_extension(format!("id-key.{}", std::process::id()));
    let mut file =
        std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&whole)?;
    writeln!(file, "{}", data_encoding::HEXLOWER.encode(&bytes))?;
    file.sync_all()?;
    let linked = std::fs::hard_link(&whole, path);
    std::fs::remove_file(&whole)?;
    match linked {
        // Another program was first: theirs counts.
        Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => Ok(()),
        other => other,
    }
}
