//! The nearest right name to a wrong one, for messages that say what would be right.

/// The candidate with the fewest single-letter changes from `word` (letter case aside), if it takes at most half of them.
#[must_use]
pub fn nearest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let word = word.to_lowercase();
    let letters = word.chars().count();
    candidates
        .into_iter()
        // A name that is much longer or shorter cannot be near, and need not be measured.
        .filter(|candidate| {
            let wanted = candidate.chars().count();
            letters.abs_diff(wanted) * 2 <= wanted.max(2)
        })
        .map(|candidate| (distance(&word, &candidate.to_lowercase()), candidate))
        .min()
        .filter(|(changes, candidate)| *changes * 2 <= candidate.chars().count().max(2))
        .map(|(_, candidate)| candidate)
}

/// Levenshtein's distance in single letters.
fn distance(left: &str, right: &str) -> usize {
    let right: Vec<char> = right.chars().collect();
    let mut row: Vec<usize> = (0..=right.len()).collect();
    for (i, a) in left.chars().enumerate() {
        let mut diagonal = i;
        let mut before = i + 1;
        let mut next = vec![before];
        for (b, above) in right.iter().zip(row.iter().skip(1)) {
            let change = diagonal + usize::from(a != *b);
            diagonal = *above;
            before = change.min(above + 1).min(before + 1);
            next.push(before);
        }
        row = next;
    }
    row.last().copied().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_pen_finds_its_word() {
        let words = ["block_raw", "manifold_raw", "bilge"];
        assert_eq!(nearest("blok_raw", words), Some("block_raw"));
        assert_eq!(nearest("Bilges", words), Some("bilge"));
        assert_eq!(nearest("xyzzy", words), None);
    }
}
