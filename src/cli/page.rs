//! Printable pages: a template filled from a document, and text broken into lines.

use std::path::Path;

use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde_json::Value;

use super::CliError;

/// Fills a page and writes it; says where.
///
/// # Errors
/// [`CliError`]: the template (a test keeps that from happening) or the file.
pub(super) fn write(template: &str, document: &Value, path: &Path) -> Result<String, CliError> {
    let page = filled(template, document)
        .map_err(|error| CliError::failed(format!("filling the page: {error:#}")))?;
    std::fs::write(path, page).map_err(|error| {
        CliError::failed(format!("writing {}: {error}; is the folder there?", path.display()))
    })?;
    Ok(format!("{}\n", path.display()))
}

/// The page as HTML, everything from the document escaped.
fn filled(template: &str, document: &Value) -> Result<String, minijinja::Error> {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    environment.render_named_str(
        "page.html",
        template,
        minijinja::Value::from(minijinja::value::Serde(document)),
    )
}

/// A paragraph in lines of so many characters at most; lines after the first begin with `indent`.
pub(super) fn wrapped(text: &str, indent: &str, columns: usize) -> String {
    let lead: String = text.chars().take_while(|letter| *letter == ' ').collect();
    let mut lines = vec![lead];
    for word in text.split_whitespace() {
        let Some(line) = lines.last_mut() else { continue };
        let blank = line.trim().is_empty();
        if !blank && line.chars().count() + 1 + word.chars().count() > columns {
            lines.push(format!("{indent}{word}"));
        } else {
            if !blank {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines.join("\n") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_cannot_write_markup_into_a_page() {
        let page = filled("<p>{{ name }}</p>", &serde_json::json!({ "name": "<b>&" })).unwrap();
        assert_eq!(page, "<p>&lt;b&gt;&amp;</p>");
    }

    #[test]
    fn lines_are_broken_between_words() {
        assert_eq!(wrapped("one two three", "  ", 8), "one two\n  three\n");
    }
}
