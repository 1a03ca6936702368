//! Mail by the standards, as the application asks for it.

use std::path::Path;

use super::{id_key, mime, picture, received};
use crate::app::ports::{MailError, Mailer, Received};
use crate::domain::message::{Email, MessageKey};

/// RFC 5322 and MIME.
#[derive(Debug, Clone, Copy, Default)]
pub struct InternetMail;

impl Mailer for InternetMail {
    fn to_bytes(&self, letter: &Email) -> Result<Vec<u8>, MailError> {
        Ok(mime::to_bytes(letter)?)
    }

    fn short_to_bytes(&self, letter: &Email, text: &str) -> Result<Vec<u8>, MailError> {
        Ok(mime::short_to_bytes(letter, text)?)
    }

    fn to_address(&self, bytes: &[u8], from: &str, to: &str) -> Vec<u8> {
        mime::to_address(bytes, from, to)
    }

    fn picture(&self, svg: &str) -> Result<Vec<u8>, MailError> {
        Ok(picture::png(svg)?)
    }

    fn id_key(&self, file: Option<&Path>, store: &Path) -> Result<MessageKey, MailError> {
        file.map_or_else(|| id_key::own_key(store), id_key::of_file)
    }

    fn read(&self, bytes: &[u8], desk: &str) -> std::io::Result<Received> {
        received::read(bytes, desk)
    }
}
