//! Secrets from files.

use std::fs::Permissions;
use std::os::unix::fs::PermissionsExt as _;

use rimeward::adapters::delivery::secret::{Secret, read_secret_file};

use crate::support::TempDir;

fn check(content: &str, mode: u32, expected: Result<&str, &str>) {
    let dir = TempDir::new("secret");
    let path = dir.path().join("mail-password");
    std::fs::write(&path, content).unwrap();
    std::fs::set_permissions(&path, Permissions::from_mode(mode)).unwrap();
    match (read_secret_file(&path), expected) {
        (Ok(secret), Ok(words)) => assert_eq!(secret.expose(), words),
        (Err(error), Err(words)) => {
            let text = error.to_string();
            assert!(text.contains(words), "{text}");
            assert!(
                content.is_empty() || !text.contains(content.trim()),
                "{text} tells the secret"
            );
        }
        (found, expected) => panic!("{content:?} {mode:o}: {found:?}, expected {expected:?}"),
    }
}

#[test]
fn a_private_line_is_read_and_everything_else_refused_with_its_remedy() {
    check("hunter two\n", 0o600, Ok("hunter two"));
    check("hunter two", 0o400, Ok("hunter two"));
    check("hunter two\n", 0o644, Err("chmod 600 /"));
    check("hunter two\n", 0o660, Err("chmod 600 /"));
    check("hunter two\n", 0o604, Err("mode 604"));
    check("", 0o600, Err("it is empty"));
    check("one\ntwo\n", 0o600, Err("several lines"));
    check(&"x".repeat(5000), 0o600, Err("it is longer"));
}

#[test]
fn a_missing_file_or_a_folder_is_said_in_words() {
    let dir = TempDir::new("secret");
    let error = read_secret_file(&dir.path().join("none")).unwrap_err().to_string();
    assert!(error.contains("check that it exists"), "{error}");
    let error = read_secret_file(dir.path()).unwrap_err().to_string();
    assert!(error.contains("not a plain file"), "{error}");
}

#[test]
fn a_secret_is_not_printed() {
    assert_eq!(format!("{:?}", Secret::new("hunter two".to_owned())), "Secret(..)");
}
