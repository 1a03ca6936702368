//! Which of several an entry means: the column `instance`, or words in `point` such as "port engine", "saloon unit only",
//! "port and starboard logs".

use crate::domain::boat::{Boat, LayupEvent};
use crate::domain::catalogue::CircuitKind;

/// Which instances an entry names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Naming {
    /// Says nothing.
    Nobody,
    /// Says that all are meant.
    All,
    /// Names these, each as `port engine`.
    These(Vec<String>),
}

/// Words that say that all of them are meant.
const ALL: [&str; 5] = ["both", "all", "each", "every", "p+s"];
/// Other words for what the catalogue calls an engine.
const ENGINES: [&str; 6] = ["engine", "engines", "jet", "jets", "motor", "motors"];

/// Words before a noun that tell what it is and not which of several.
const PLAIN: [&str; 18] = [
    "", "the", "of", "at", "only", "water", "fresh", "drinking", "potable", "holding", "waste",
    "ac", "air", "battery", "diesel", "petrol", "gas", "single",
];

/// What `event` names of a circuit whose instances are called `noun` (empty: no words are looked for, only the column).
pub(super) fn named(event: &LayupEvent, noun: &str) -> Naming {
    if let Some(column) = &event.instance {
        let names: Vec<String> = column
            .split([';', ',', '+'])
            .map(|name| name.rsplit_once('#').map_or(name, |(_, name)| name).trim().to_lowercase())
            .filter(|name| !name.is_empty())
            .map(|name| complete(&name, noun))
            .collect();
        if names.iter().any(|name| says_all(name)) {
            return Naming::All;
        }
        return Naming::These(names);
    }
    if noun.is_empty() || noun == "outlet" {
        return Naming::Nobody;
    }
    let naming = event.point.as_deref().map(|point| in_words(point, noun));
    let position = event.point.as_deref().and_then(position).filter(|_| noun == "engine");
    match (naming, position) {
        (None | Some(Naming::Nobody), Some(position)) => {
            Naming::These(vec![complete(position, noun)])
        }
        // What stands in the remarks alone adds no worth, and a single one named there is often the one left out.
        (None | Some(Naming::Nobody), None) => Naming::Nobody,
        (Some(naming), _) => naming,
    }
}

/// A point that is nothing but the place of an engine: `port`.
fn position(point: &str) -> Option<&'static str> {
    match point.trim().to_lowercase().as_str() {
        "port" | "p" => Some("port"),
        "starboard" | "stbd" | "stb" | "s" => Some("starboard"),
        "centre" | "center" => Some("centre"),
        _ => None,
    }
}

/// The outlet that a reading was taken at, where its point is one outlet and not a list.
pub(super) fn outlet(event: &LayupEvent) -> Option<String> {
    let point = event.point.as_deref()?.trim().to_lowercase();
    let several = point.contains([';', ',', '+', '/', '&'])
        || point.split_whitespace().any(|word| {
            ALL.contains(&word) || ["and", "to", "throughout", "taps", "outlets"].contains(&word)
        });
    (!several && !point.is_empty()).then_some(point)
}

fn says_all(name: &str) -> bool {
    name.split_whitespace().any(|word| ALL.contains(&word))
}

/// A bare position gets its noun: `port` is the port engine.
fn complete(name: &str, noun: &str) -> String {
    let bare = name.strip_suffix(" engine").or_else(|| name.strip_suffix(" eng")).unwrap_or(name);
    let name = match bare {
        "stbd" | "stb" | "strbd" | "s" | "right" => "starboard",
        "p" | "prt" | "left" => "port",
        _ if noun == "engine" => bare,
        _ => name,
    };
    if noun.is_empty() || noun == "outlet" || name.contains(' ') || name.contains(noun) {
        name.to_owned()
    } else {
        format!("{name} {noun}")
    }
}

fn is_noun(word: &str, noun: &str) -> bool {
    word == noun
        || word.strip_suffix('s') == Some(noun)
        || (noun == "engine" && ENGINES.contains(&word))
}

/// Words that take something out: then it is not said which are meant.
fn excludes(text: &str) -> bool {
    let text = text.to_lowercase();
    let mut words = text.split(|letter: char| !letter.is_alphanumeric());
    words.any(|word| ["not", "except", "excluding", "without", "but"].contains(&word))
}

fn in_words(text: &str, noun: &str) -> Naming {
    let text = text.to_lowercase();
    if excludes(&text) {
        return Naming::Nobody;
    }
    let mut names = Vec::new();
    for part in text.split([';', ',']) {
        let words: Vec<&str> = part
            .split_whitespace()
            .map(|word| {
                word.trim_matches(|letter: char| !letter.is_alphanumeric() && letter != '+')
            })
            .collect();
        let Some(end) = words.iter().position(|word| is_noun(word, noun)) else { continue };
        let before = words.get(..end).unwrap_or_default();
        if before.iter().any(|word| ALL.contains(word)) {
            return Naming::All;
        }
        for phrase in before.split(|word| ["and", "&", "+"].contains(word)) {
            let name = phrase.iter().rev().find(|word| !PLAIN.contains(*word));
            names.extend(name.map(|word| complete(word, noun)));
        }
    }
    if names.is_empty() { Naming::Nobody } else { Naming::These(names) }
}

/// Can words mean this one of several? Where they name one by its noun (`centre log`), only that one.
pub(super) fn may_mean(words: &str, kind: &CircuitKind, instance: Option<&str>) -> bool {
    let noun = kind.instance_noun.as_str();
    let Some(instance) = instance.filter(|_| !noun.is_empty()) else { return true };
    match in_words(words, noun) {
        Naming::These(names) => names.iter().any(|name| instance.starts_with(name.as_str())),
        Naming::Nobody | Naming::All => true,
    }
}

/// A name in the column `instance` that is none of `engines` (empty: there is one, which needs no name).
#[must_use]
pub fn stranger(instance: &str, engines: &[String]) -> Option<String> {
    let given = instance.split([';', ',', '+']).map(|name| name.trim().to_lowercase());
    // Of one engine a name is that engine or a side of it.
    let of_one = |name: &String| {
        engines.is_empty()
            && ["port", "starboard", "stbd", "stb", "left", "right", "main", "engine", "motor"]
                .iter()
                .any(|word| name.split_whitespace().any(|own| own == *word))
    };
    let mut given = given.filter(|name| !name.is_empty() && !says_all(name) && !of_one(name));
    given.find(|name| {
        let name = name.replace("port side", "port").replace("starboard side", "starboard");
        let whole = complete(&name, "engine");
        let is = |engine: &String| *engine == whole || engine.starts_with(&format!("{name} "));
        !engines.iter().any(is)
    })
}

/// The engines of a boat by name, with what its own list calls them.
#[must_use]
pub fn engines_of(boat: &Boat) -> Vec<String> {
    let mut names = engine_names(boat.engines);
    names.extend(boat.instances.iter().map(|(_, name)| name.to_lowercase()));
    names
}

/// The names that several of one circuit have before any entry names them: by engine.
pub(super) fn engine_names(engines: u8) -> Vec<String> {
    match engines {
        0 | 1 => Vec::new(),
        2 => ["port engine", "starboard engine"].map(str::to_owned).to_vec(),
        3 => ["port engine", "centre engine", "starboard engine"].map(str::to_owned).to_vec(),
        more => (1..=more).map(|number| format!("engine {number}")).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_of_the_yard_name_what_they_mean() {
        let check = |text: &str, noun: &str, want: &[&str]| {
            let want = Naming::These(want.iter().map(|name| (*name).to_owned()).collect());
            assert_eq!(in_words(text, noun), want, "{text}");
        };
        check("saloon unit only", "unit", &["saloon unit"]);
        check("port and starboard logs", "log", &["port log", "starboard log"]);
        check("Port Engine", "engine", &["port engine"]);
        check("port jet", "engine", &["port engine"]);
        check("drained port and stbd logs", "log", &["port log", "starboard log"]);
        check("forward AC unit", "unit", &["forward unit"]);
        assert_eq!(in_words("fresh water tank", "tank"), Naming::Nobody);
        assert_eq!(in_words("both jets", "engine"), Naming::All);
        assert_eq!(in_words("block stbd drain", "engine"), Naming::Nobody);
        assert_eq!(in_words("generator strainer bowl", "generator"), Naming::Nobody);
    }
}
