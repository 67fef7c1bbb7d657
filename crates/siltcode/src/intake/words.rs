//! The words that headings and cells are known by, in the languages that laboratories write.

use std::collections::HashMap;
use std::sync::LazyLock;

use crate::field::Field;

/// Each meaning with its words, one meaning a line.
static TEXT: &str = include_str!("words.txt");

/// The words of each meaning with their rank, and the fields by their words.
struct Words {
    meanings: HashMap<&'static str, HashMap<&'static str, usize>>,
    fields: HashMap<&'static str, Field>,
}

static WORDS: LazyLock<Words> = LazyLock::new(|| {
    let mut words = Words { meanings: HashMap::new(), fields: HashMap::new() };
    for line in TEXT.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
        let (meaning, list) = line.split_once(' ').unwrap_or((line, ""));
        let of = words.meanings.entry(meaning).or_default();
        for word in list.split(',').map(str::trim) {
            let rank = of.len();
            of.entry(word).or_insert(rank);
            if let Some(field) = Field::named(meaning) {
                words.fields.entry(word).or_insert(field);
            }
        }
    }
    words
});

/// Whether a text is a word of this meaning.
pub(super) fn is(meaning: &str, text: &str) -> bool {
    rank(meaning, text).is_some()
}

/// The place of a text among the words of a meaning.
pub(super) fn rank(meaning: &str, text: &str) -> Option<usize> {
    WORDS.meanings.get(meaning)?.get(text).copied()
}

/// The field that a heading names.
pub(super) fn field(text: &str) -> Option<Field> {
    WORDS.fields.get(text).copied()
}

/// Lower case, without accents; micro signs are `u`.
#[allow(clippy::match_same_arms)] // a letter an arm
pub(super) fn fold(text: &str) -> String {
    if text.is_ascii() {
        return text.to_ascii_lowercase();
    }
    let mut folded = String::with_capacity(text.len());
    let mut chars = text.chars().flat_map(char::to_lowercase).peekable();
    while let Some(c) = chars.next() {
        match c {
            '\u{b5}' | '\u{3bc}' => folded.push('u'),
            'ä' | 'á' | 'à' | 'â' | 'ã' | 'å' | 'ą' | 'ă' => folded.push('a'),
            'æ' => folded.push_str("ae"),
            'é' | 'è' | 'ê' | 'ë' | 'ę' | 'ě' | 'ė' => folded.push('e'),
            'í' | 'ì' | 'î' | 'ï' | 'ı' => folded.push('i'),
            'ö' | 'ó' | 'ò' | 'ô' | 'õ' | 'ő' => folded.push('o'),
            // Alone it stands for a mean.
            'ø' if folded.ends_with(char::is_alphabetic)
                || chars.peek().is_some_and(|c| c.is_alphabetic()) =>
            {
                folded.push('o');
            }
            'œ' => folded.push_str("oe"),
            'ü' | 'ú' | 'ù' | 'û' | 'ű' | 'ů' => folded.push('u'),
            'ý' | 'ÿ' => folded.push('y'),
            'ç' | 'ć' | 'č' => folded.push('c'),
            'ď' => folded.push('d'),
            'ğ' => folded.push('g'),
            'ñ' | 'ń' | 'ň' => folded.push('n'),
            'ř' => folded.push('r'),
            'ś' | 'š' | 'ş' | 'ș' => folded.push('s'),
            'ť' | 'ţ' | 'ț' => folded.push('t'),
            'ź' | 'ż' | 'ž' => folded.push('z'),
            'ł' | 'ľ' => folded.push('l'),
            'ß' => folded.push_str("ss"),
            'º' => folded.push('°'),
            '\u{a0}' | '\u{2007}' | '\u{2009}' | '\u{202f}' => folded.push(' '),
            // A combining accent behind its letter; the bar over an x is a word of its own.
            '\u{300}'..='\u{303}' | '\u{308}' | '\u{327}' | '\u{328}' if !folded.ends_with('x') => {}
            other => folded.push(other),
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_holds_words_without_accents() {
        for line in TEXT.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
            let (_, list) = line.split_once(' ').unwrap();
            for word in list.split(',').map(str::trim) {
                assert!(!word.is_empty() && fold(word) == word, "{word:?} in {line}");
            }
        }
    }

    #[test]
    fn folds_accents_and_micro_signs() {
        assert_eq!(fold("Größe µm Średnia Échantillon Nº"), "grosse um srednia echantillon n°");
        assert_eq!(fold("Prøve Měření Ø Ø 3"), "prove mereni ø ø 3");
    }
}
