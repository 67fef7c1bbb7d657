//! What headings and cells say of sizes and counts, word by word.

use crate::count::Basis;
use crate::intake::options::Form;
use crate::size::SizeScale;

/// What a text says about sizes and counts.
#[allow(clippy::struct_excessive_bools)] // each is one thing said or not
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(in crate::intake) struct Counts {
    /// The size, and the upper size of a band.
    pub(in crate::intake) size: Option<(f64, Option<f64>)>,
    /// Whether it is said to be at and above or above the size.
    pub(in crate::intake) compared: bool,
    /// Whether micrometres are named.
    pub(in crate::intake) micrometres: bool,
    /// The scale.
    pub(in crate::intake) scale: Option<SizeScale>,
    /// What the counts refer to.
    pub(in crate::intake) basis: Option<Basis>,
    /// Cumulative or differential.
    pub(in crate::intake) form: Option<Form>,
    /// Whether counts or particles are named.
    pub(in crate::intake) counted: bool,
    /// Whether a size or channel is named.
    pub(in crate::intake) sized: bool,
}

impl Counts {
    /// Whether it is nothing but a number, which may be a size.
    pub(in crate::intake) fn is_bare(&self) -> bool {
        *self == Self { size: self.size, ..Self::default() } && self.size.is_some_and(|(_, to)| to.is_none())
    }

    /// Whether it heads the sizes of a table with one row per size.
    pub(in crate::intake) fn heads_sizes(&self) -> bool {
        self.size.is_none() && self.basis.is_none() && (self.sized || self.micrometres)
    }

    /// Whether it heads the counts of a table with one row per size.
    pub(in crate::intake) fn heads_counts(&self) -> bool {
        self.size.is_none() && !self.sized && (self.counted || self.basis.is_some())
    }
}

/// Words that say nothing of their own in a heading of counts.
const FILLERS: [&str; 14] = [
    "of", "at", "and", "or", "no", "number", "larger", "above", "greater", "than", "least", "equal", "to",
    "in",
];

/// What a heading or a cell says of sizes and counts; none as soon as it says anything else.
pub(in crate::intake) fn counts(text: &str) -> Option<Counts> {
    let tokens = tokens(text);
    let mut counts = Counts::default();
    let mut rest = tokens.as_slice();
    while !rest.is_empty() {
        rest = counts.take(rest)?;
    }
    (counts != Counts::default()).then_some(counts)
}

#[derive(Debug, Clone, PartialEq)]
enum Token {
    Number(f64),
    Word(String),
    /// `>` or `>=`
    AtLeast,
    Sign(char),
}

fn tokens(text: &str) -> Vec<Token> {
    let mut text = text
        .to_lowercase()
        .replace(['\u{b5}', '\u{3bc}'], "u")
        .replace("cm\u{b3}", "ml")
        .replace("cm3", "ml");
    for (written, plain) in [
        ("(c)", " scale_c "),
        ("(b)", " scale_b "),
        ("\u{2265}", ">"),
        ("\u{2a7e}", ">"),
        (">=", ">"),
        ("=>", ">"),
        ("\u{2013}", "-"),
        ("\u{2014}", "-"),
        ("..", "-"),
        ("\u{207b}\u{b9}", "-1"),
    ] {
        text = text.replace(written, plain);
    }
    let chars: Vec<char> = text.chars().collect();
    let mut tokens = Vec::new();
    let mut at = 0;
    while at < chars.len() {
        let end = token_end(&chars, at);
        tokens.extend(token(&chars[at..end]));
        at = end;
    }
    tokens
}

/// Where the token that begins at `at` ends: a run of digits with their decimal mark, a word, or one sign.
fn token_end(chars: &[char], at: usize) -> usize {
    let first = chars[at];
    let is_digit = |i: usize| chars.get(i).is_some_and(char::is_ascii_digit);
    let belongs = |i: usize| {
        let c = chars[i];
        if first.is_ascii_digit() {
            c.is_ascii_digit() || (matches!(c, '.' | ',') && is_digit(i + 1))
        } else {
            first.is_alphabetic()
                && (c.is_alphabetic() || (c == '_' && chars[at..i].starts_with(&['s', 'c', 'a', 'l', 'e'])))
        }
    };
    (at + 1..chars.len()).find(|&i| !belongs(i)).unwrap_or(chars.len())
}

fn token(chars: &[char]) -> Option<Token> {
    let text: String = chars.iter().collect();
    match chars[0] {
        c if c.is_ascii_digit() => {
            Some(text.replace(',', ".").parse().map_or(Token::Word(text), Token::Number))
        }
        c if c.is_alphabetic() => Some(Token::Word(text)),
        '>' => Some(Token::AtLeast),
        c if c.is_whitespace()
            || matches!(c, '(' | ')' | '[' | ']' | '{' | '}' | ',' | ':' | '_' | '.' | '^') =>
        {
            None
        }
        c => Some(Token::Sign(c)),
    }
}

impl Counts {
    /// Takes the next thing said and gives back what is left; none if it is not about counts or was said before.
    fn take<'a>(&mut self, tokens: &'a [Token]) -> Option<&'a [Token]> {
        if let Some((basis, rest)) = basis(tokens) {
            return self.basis.replace(basis).is_none_or(|before| before == basis).then_some(rest);
        }
        match tokens {
            [Token::Word(iso), Token::Number(number), rest @ ..] if iso == "iso" => {
                self.scale = Some(scale_of_standard(*number)?);
                Some(rest)
            }
            [Token::Number(from), Token::Sign('-'), Token::Number(to), rest @ ..] => {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(from), Token::Word(word), Token::Number(to), rest @ ..] if word == "to" => {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(um), rest @ ..] => self.take_size(*um, None, rest),
            [Token::AtLeast, rest @ ..] => {
                self.compared = true;
                Some(rest)
            }
            [Token::Word(word), rest @ ..] => self.take_word(word).then_some(rest),
            _ => None,
        }
    }

    fn take_size<'a>(&mut self, from: f64, to: Option<f64>, rest: &'a [Token]) -> Option<&'a [Token]> {
        let possible = from > 0.0 && to.is_none_or(|to| to > from);
        (possible && self.size.replace((from, to)).is_none()).then_some(rest)
    }

    fn take_word(&mut self, word: &str) -> bool {
        match word {
            "um" | "micron" | "microns" | "mic" | "micrometre" | "micrometres" | "micrometer"
            | "micrometers" => {
                self.micrometres = true;
            }
            "umc" | "scale_c" => self.scale = Some(SizeScale::UmC),
            "umb" | "scale_b" => self.scale = Some(SizeScale::UmB),
            "acftd" => self.scale = Some(SizeScale::Acftd),
            "microscope" | "microscopic" => self.scale = Some(SizeScale::Microscope),
            "n" | "count" | "counts" | "particle" | "particles" | "concentration" | "conc" => {
                self.counted = true;
            }
            "size" | "sizes" | "channel" | "diameter" => self.sized = true,
            "raw" => self.basis = Some(Basis::Raw),
            "cumulative" | "cum" => self.form = Some(Form::Cumulative),
            "differential" | "diff" | "band" | "interval" => self.form = Some(Form::Differential),
            other => return FILLERS.contains(&other),
        }
        true
    }
}

fn is_one(number: f64) -> bool {
    (number - 1.0).abs() < f64::EPSILON
}

fn scale_of_standard(number: f64) -> Option<SizeScale> {
    [(11171.0, SizeScale::UmC), (4402.0, SizeScale::Acftd), (4407.0, SizeScale::Microscope)]
        .into_iter()
        .find_map(|(standard, scale)| (number - standard == 0.0).then_some(scale))
}

/// `/ml`, `per 100 ml`, `1/ml`, `#/100ml`, `ml-1`, `per litre`.
fn basis(tokens: &[Token]) -> Option<(Basis, &[Token])> {
    let word_in =
        |token: &Token, words: &[&str]| matches!(token, Token::Word(word) if words.contains(&word.as_str()));
    if let [ml, Token::Sign('-'), Token::Number(one), rest @ ..] = tokens
        && word_in(ml, &["ml"])
        && is_one(*one)
    {
        return Some((Basis::PerMl, rest));
    }
    let tokens = match tokens {
        [Token::Number(one), Token::Sign('/'), ..] if is_one(*one) => &tokens[1..],
        [Token::Sign('#'), Token::Sign('/'), ..] => &tokens[1..],
        [unit, Token::Sign('/'), ..] if word_in(unit, &["p", "pcs", "no", "nr"]) => &tokens[1..],
        all => all,
    };
    let (per, rest) = tokens.split_first()?;
    if *per != Token::Sign('/') && !word_in(per, &["per"]) {
        return None;
    }
    let (amount, rest) = match rest {
        [Token::Number(amount), rest @ ..] => (*amount, rest),
        all => (1.0, all),
    };
    let (unit, rest) = rest.split_first()?;
    let ml = match unit {
        unit if word_in(unit, &["ml", "cc", "millilitre", "milliliter"]) => amount,
        unit if word_in(unit, &["l", "litre", "liter"]) => 1000.0 * amount,
        _ => return None,
    };
    let known = [Basis::PerMl, Basis::Per100Ml, Basis::PerL]
        .into_iter()
        .find(|basis| basis.volume_ml() == Some(ml))?;
    Some((known, rest))
}
