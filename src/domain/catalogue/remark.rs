//! What people write in remarks and what it says: a table of phrases, slips and abbreviations, and the reading of one text by it.

use std::collections::HashMap;
use std::sync::{LazyLock, PoisonError, RwLock};

use serde::Deserialize;

use super::CatalogueError;
use super::table::{list, rows};

const TABLE: &str = "remark_words.csv";
/// Words shorter than this are taken as they are written.
const SLIPS_FROM: usize = 5;
/// So many remarks are kept as read: those of a yard of ten thousand boats.
const HEARD_MOST: usize = 50_000;
/// Most words that a gap in a phrase stands for.
const GAP: usize = 3;

/// What a remark can say that changes what an entry is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Says {
    /// The engine ran.
    Ran,
    /// Not all of it was done, or it did not work.
    HalfDone,
    /// It was run, and nothing went through: the thermostat stayed shut, no colour came.
    NoFlow,
    /// It was not done.
    NotDone,
    /// Water was put in again.
    Refilled,
    /// Water or ice was seen.
    WaterSeen,
}

const ACTS: [(&str, Says); 6] = [
    ("ran", Says::Ran),
    ("half_done", Says::HalfDone),
    ("no_flow", Says::NoFlow),
    ("not_done", Says::NotDone),
    ("refilled", Says::Refilled),
    ("water_seen", Says::WaterSeen),
];

/// A remark as it was read.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Remark {
    /// What it says, each once.
    pub says: Vec<Says>,
    /// It has words that nobody knows.
    pub not_understood: bool,
    /// It names a part, a side or a fluid.
    pub names: bool,
    /// It is in no language that is known here.
    pub foreign: bool,
}

impl Remark {
    /// Does it leave something to be asked?
    #[must_use]
    pub fn asks(&self) -> bool {
        !self.says.is_empty() || self.foreign || self.not_understood && self.names
    }

    /// Does it say this?
    #[must_use]
    pub fn tells(&self, what: Says) -> bool {
        self.says.contains(&what)
    }
}

#[derive(Debug, Deserialize)]
struct Row {
    says: String,
    words: String,
    #[serde(rename = "source")]
    _source: String,
}

/// One phrase: alternatives for each word, gaps between.
#[derive(Debug)]
struct Phrase {
    what: String,
    words: Vec<Vec<String>>,
}

impl Phrase {
    fn read(what: &str, text: &str) -> Self {
        let alternatives = |word: &str| word.split('/').map(str::to_owned).collect();
        Self { what: what.to_owned(), words: text.split_whitespace().map(alternatives).collect() }
    }

    /// Words that must stand there.
    fn length(&self) -> usize {
        self.words.iter().filter(|word| !is_gap(word)).count()
    }

    /// Where it stands among free tokens from `from` on: the places that it uses up.
    fn at(&self, from: usize, tokens: &[Token]) -> Option<Vec<usize>> {
        let mut used = Vec::new();
        let mut next = from;
        let mut gap = 0;
        for word in &self.words {
            if is_gap(word) {
                gap = GAP;
                continue;
            }
            let place = (next..tokens.len()).take(gap + 1).find(|place| {
                tokens.get(*place).is_some_and(|token| !token.taken && token.is_one_of(word))
            })?;
            used.push(place);
            next = place + 1;
            gap = 0;
        }
        Some(used)
    }
}

fn is_gap(word: &[String]) -> bool {
    word.first().is_some_and(|word| word == "*")
}

/// One word of a text.
#[derive(Debug)]
struct Token {
    word: String,
    /// It is a word of the table as it stands, and no slip of another.
    known: bool,
    /// It begins with a capital in the midst of the text: a name.
    name: bool,
    /// It begins with a capital.
    capital: bool,
    taken: bool,
}

impl Token {
    fn is_one_of(&self, words: &[String]) -> bool {
        words.iter().any(|word| match word.strip_suffix('~') {
            Some(stem) => self.word.starts_with(stem),
            None => self.word == *word || !self.known && is_slip(&self.word, word),
        })
    }
}

/// The table, read once.
#[derive(Debug)]
pub struct RemarkWords {
    /// The phrases by the name that they stand under, as written.
    phrases_of: HashMap<String, Vec<String>>,
    /// The same in letters that are looked for in a text.
    letters_of: HashMap<String, Vec<String>>,
    /// What was read already: a record is folded again and again, and its remarks stay as they are.
    heard: RwLock<HashMap<String, Remark>>,
    /// Longest first; of one length what takes away before what acts.
    phrases: Vec<Phrase>,
    short: Vec<(String, String)>,
    /// Every single word that stands anywhere in the table, sorted.
    known: Vec<String>,
    naming: Vec<String>,
}

static BUILT_IN: LazyLock<RemarkWords> = LazyLock::new(|| {
    // A table that cannot be read leaves no word known: then every remark is asked about. The tests read it for good.
    RemarkWords::parse(include_str!("../../../config/catalogue/remark_words.csv"))
        .unwrap_or_else(|_| RemarkWords::of(Vec::new()))
});

/// The words compiled into the program.
#[must_use]
pub fn remark_words() -> &'static RemarkWords {
    &BUILT_IN
}

impl RemarkWords {
    /// Reads the table.
    ///
    /// # Errors
    /// [`CatalogueError`] with the line.
    pub fn parse(text: &str) -> Result<Self, CatalogueError> {
        Ok(Self::of(rows::<Row>(TABLE, text)?.into_iter().map(|(_, row)| row).collect()))
    }

    fn of(rows: Vec<Row>) -> Self {
        let of = |what: &str| -> Vec<&str> {
            let own = rows.iter().filter(|row| row.says == what);
            own.flat_map(|row| list(&row.words)).collect()
        };
        let acting = ACTS.iter().map(|(what, _)| *what);
        let mut phrases: Vec<Phrase> = std::iter::once("harmless")
            .chain(acting)
            .flat_map(|what| of(what).into_iter().map(move |text| Phrase::read(what, text)))
            .collect();
        phrases.sort_by_key(|phrase| std::cmp::Reverse(phrase.length()));
        let pairs = of("short");
        let short = pairs.iter().filter_map(|pair| pair.split_once('='));
        let short = short.map(|(from, to)| (from.to_owned(), to.to_owned())).collect();
        let words = ["plain", "part", "side", "fluid"].into_iter().flat_map(of);
        let words = words.flat_map(str::split_whitespace).map(str::to_owned);
        let in_phrases = phrases.iter().flat_map(|phrase| phrase.words.iter().flatten());
        let mut known: Vec<String> = words.chain(in_phrases.cloned()).collect();
        known.sort_unstable();
        known.dedup();
        let naming = ["part", "side", "fluid"].into_iter().flat_map(of).map(str::to_owned);
        let naming = naming.collect();
        let mut phrases_of: HashMap<String, Vec<String>> = HashMap::new();
        for row in &rows {
            let own = phrases_of.entry(row.says.clone()).or_default();
            own.extend(list(&row.words).map(str::to_owned));
        }
        // Blanks at the end of a phrase are lost in the table: there _ stands for one.
        let letters = |words: &Vec<String>| words.iter().map(|w| w.replace('_', " ")).collect();
        let letters_of =
            phrases_of.iter().map(|(what, words)| (what.clone(), letters(words))).collect();
        Self { phrases_of, letters_of, heard: RwLock::default(), phrases, short, known, naming }
    }

    /// The phrases under a name of the table, as written there.
    pub fn named(&self, what: &str) -> impl Iterator<Item = &str> {
        self.phrases_of.get(what).into_iter().flatten().map(String::as_str)
    }

    /// Is one of the phrases under this name anywhere in the text, as letters?
    #[must_use]
    pub fn has(&self, what: &str, text: &str) -> bool {
        let text = format!("{} ", text.to_lowercase());
        self.letters_of.get(what).into_iter().flatten().any(|words| text.contains(words))
    }

    /// As [`RemarkWords::has`], once the phrases under `none` are taken out.
    #[must_use]
    pub fn has_apart_from(&self, what: &str, none: &str, text: &str) -> bool {
        let rest = self.named(none).fold(text.to_lowercase(), |text, none| text.replace(none, ""));
        self.has(what, &rest)
    }

    /// Does one of the phrases under this name stand in the text word by word, slips forgiven?
    #[must_use]
    pub fn says(&self, what: &str, text: &str) -> bool {
        let tokens = self.tokens(text);
        self.named(what)
            .map(|words| Phrase::read(what, words))
            .any(|phrase| (0..tokens.len()).any(|from| phrase.at(from, &tokens).is_some()))
    }

    /// Are all words of the text in phrases under these names?
    #[must_use]
    pub fn says_nothing_but(&self, names: &[&str], text: &str) -> bool {
        let mut tokens = self.tokens(text);
        let mut phrases: Vec<Phrase> = names
            .iter()
            .flat_map(|what| self.named(what).map(|words| Phrase::read(what, words)))
            .collect();
        phrases.sort_by_key(|phrase| std::cmp::Reverse(phrase.length()));
        for phrase in &phrases {
            take_all(phrase, &mut tokens);
        }
        tokens.iter().all(|token| token.taken || is_number(&token.word))
    }

    /// What a remark says.
    #[must_use]
    pub fn read(&self, text: &str) -> Remark {
        let heard = self.heard.read().unwrap_or_else(PoisonError::into_inner);
        if let Some(remark) = heard.get(text) {
            return remark.clone();
        }
        drop(heard);
        let remark = self.read_anew(text);
        let mut heard = self.heard.write().unwrap_or_else(PoisonError::into_inner);
        if heard.len() >= HEARD_MOST {
            heard.clear();
        }
        heard.insert(text.to_owned(), remark.clone());
        remark
    }

    fn read_anew(&self, text: &str) -> Remark {
        let mut tokens = self.tokens(text);
        let mut remark = Remark::default();
        for phrase in &self.phrases {
            let found = take_all(phrase, &mut tokens);
            let act = ACTS.iter().find(|(what, _)| found && *what == phrase.what);
            remark.says.extend(act.map(|(_, says)| *says));
        }
        remark.says.sort_unstable();
        remark.says.dedup();
        let free = || tokens.iter().filter(|token| !token.taken);
        let is_known = |token: &Token| token.known || token.name || self.is_slip_of_known(token);
        let unknown = free().filter(|token| !is_known(token)).count();
        remark.not_understood = unknown > 0;
        remark.names = free().any(|token| self.naming.contains(&token.word));
        // Another language is not guessed at: more strange words than words of the table, and no names among them.
        let strange = tokens.iter().filter(|token| !token.taken && !token.known && !token.name);
        let (strange, all) = (strange.count(), tokens.len());
        let none_known = tokens.iter().all(|token| !token.taken && !token.known);
        let no_names = tokens.iter().any(|token| !token.capital);
        remark.foreign = text.chars().any(|c| c.is_alphabetic() && !c.is_ascii())
            || strange >= 2 && 2 * strange > all
            || all >= 2 && none_known && no_names;
        remark
    }

    fn is_slip_of_known(&self, token: &Token) -> bool {
        self.known.iter().any(|word| is_slip(&token.word, word))
    }

    /// Is this text one of the words that name a part, a side or a fluid?
    pub fn words_of<'t>(&self, text: &'t str) -> impl Iterator<Item = String> + use<'t, '_> {
        self.tokens(text).into_iter().map(|token| token.word)
    }

    fn tokens(&self, text: &str) -> Vec<Token> {
        let text = text.replace(['\u{2019}', '`', '\''], "").replace("w/o", "without");
        let mut tokens = Vec::new();
        let mut first = true;
        for written in split(&text) {
            let lower = written.to_lowercase();
            let long = self.short.iter().find(|(from, _)| *from == lower);
            let long = long.map_or(lower.as_str(), |(_, to)| to.as_str());
            for word in long.split_whitespace() {
                let known = is_number(word)
                    || word.len() < 3
                    || self.known.binary_search_by(|known| known.as_str().cmp(word)).is_ok();
                let capital = written.chars().next().is_some_and(char::is_uppercase);
                let name = capital && !first;
                let word = word.to_owned();
                tokens.push(Token { word, known, name, capital, taken: false });
            }
            first = false;
        }
        tokens
    }
}

/// Takes every place where the phrase stands.
fn take_all(phrase: &Phrase, tokens: &mut [Token]) -> bool {
    let mut found = false;
    for from in 0..tokens.len() {
        let Some(used) = phrase.at(from, tokens) else { continue };
        found |= !used.is_empty();
        for place in used {
            if let Some(token) = tokens.get_mut(place) {
                token.taken = true;
            }
        }
    }
    found
}

fn is_number(word: &str) -> bool {
    word.chars().all(|c| c.is_ascii_digit())
}

/// The words of a text; digits and letters are words of their own.
fn split(text: &str) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut last = ' ';
    for letter in text.chars() {
        let joined = last.is_alphanumeric() && last.is_ascii_digit() == letter.is_ascii_digit();
        match words.last_mut() {
            Some(word) if joined && letter.is_alphanumeric() => word.push(letter),
            _ if letter.is_alphanumeric() => words.push(letter.to_string()),
            _ => {}
        }
        last = letter;
    }
    words
}

/// One letter too many, too few, another or two changed about, in a word of some length with the same first letter.
fn is_slip(written: &str, word: &str) -> bool {
    let (a, b): (Vec<char>, Vec<char>) = (written.chars().collect(), word.chars().collect());
    if a.len() < SLIPS_FROM || b.len() < SLIPS_FROM || a.first() != b.first() {
        return false;
    }
    let start = a.iter().zip(&b).take_while(|(a, b)| a == b).count();
    let (a, b) = (a.get(start..).unwrap_or_default(), b.get(start..).unwrap_or_default());
    match (a, b) {
        ([], []) => true,
        ([a1, a2, a_rest @ ..], [b1, b2, b_rest @ ..]) => {
            let another = a.get(1..) == b.get(1..);
            let about = a1 == b2 && a2 == b1 && a_rest == b_rest;
            another || about || a.get(1..) == Some(b) || Some(a) == b.get(1..)
        }
        ([_], [_]) => true,
        _ => a.get(1..) == Some(b) || Some(a) == b.get(1..),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_can_be_read_and_every_acting_row_is_there() {
        let text = include_str!("../../../config/catalogue/remark_words.csv");
        let words = RemarkWords::parse(text).unwrap();
        for (what, _) in ACTS {
            assert!(words.named(what).count() > 5, "{what}");
        }
    }

    #[test]
    fn slips_and_abbreviations_are_read_as_what_they_stand_for() {
        let words = remark_words();
        for (text, says) in [
            ("stbd petcock siezed", Says::HalfDone),
            ("wrogn boat", Says::NotDone),
            ("mtored over", Says::Ran),
            ("rinsd with water", Says::Refilled),
            ("mlky", Says::HalfDone),
        ] {
            let remark = words.read(text);
            let asked = remark.tells(says) || says == Says::HalfDone && text == "mlky";
            assert!(asked, "{text}: {remark:?}");
        }
        assert!(!is_slip("stack", "stock2") && is_slip("drianed", "drained"));
    }
}
