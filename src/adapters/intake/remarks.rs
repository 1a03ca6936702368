//! Free notes are kept as written, and searched for what nobody may rely on.

use crate::domain::catalogue::Catalogue;

/// What a remark says that somebody should follow up, in words.
pub(super) fn noticed(remark: &str, catalogue: &Catalogue) -> Option<String> {
    let words = catalogue.remark_to_follow(remark)?;
    Some(format!(
        "the remark says \"{words}\": nobody at the yard does it then; which parts? (event declined, with the circuits)"
    ))
}
