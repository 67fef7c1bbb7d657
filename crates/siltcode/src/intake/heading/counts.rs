//! What headings and cells say of sizes and counts, word by word.

use crate::count::Basis;
use crate::intake::options::Form;
use crate::intake::statistic::Statistic;
use crate::intake::words::{self, fold};
use crate::size::SizeScale;

/// What a text says about sizes and counts.
#[allow(clippy::struct_excessive_bools)] // each is one thing said or not
#[derive(Debug, Clone, Default, PartialEq)]
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
    /// Whether counts are named by that word, not as particles or concentrations.
    pub(in crate::intake) named_as_raw: bool,
    /// Whether a size or channel is named.
    pub(in crate::intake) sized: bool,
    /// Whether the code, its standard or a range number is named.
    pub(in crate::intake) code: bool,
    /// Whether the standard is named, which may mean its sizes or its code.
    pub(in crate::intake) standard: bool,
    /// The run's label.
    pub(in crate::intake) run: Option<String>,
    /// Whether the column sums up runs.
    pub(in crate::intake) statistic: Option<Statistic>,
}

impl Counts {
    /// Whether it is nothing but a number, which may be a size.
    pub(in crate::intake) fn is_bare(&self) -> bool {
        let size_only = Self { size: self.size, ..Self::default() };
        *self == size_only && self.size.is_some_and(|(_, to)| to.is_none())
    }

    /// Whether anything is said but a number, with or without a letter beside it.
    pub(in crate::intake) fn says_more_than_a_number(&self) -> bool {
        *self != Self { size: self.size, ..Self::default() }
    }

    /// Whether it heads the sizes of a table with one row per size.
    pub(in crate::intake) fn heads_sizes(&self) -> bool {
        let bands = self.form == Some(Form::Differential) && !self.counted && self.basis.is_none();
        self.size.is_none()
            && !self.code
            && self.statistic.is_none()
            && (self.sized || self.micrometres || bands)
    }

    /// Whether it heads the counts of a table with one row per size.
    pub(in crate::intake) fn heads_counts(&self) -> bool {
        self.size.is_none()
            && !self.sized
            && !self.code
            && !matches!(self.statistic, Some(Statistic::Spread | Statistic::Other))
            && (self.counted || self.basis.is_some())
    }
}

/// What a text says of sizes and counts, and the first word of it that says anything else.
#[derive(Debug, Clone, Default, PartialEq)]
pub(in crate::intake) struct Parsed {
    pub(in crate::intake) counts: Counts,
    pub(in crate::intake) unknown: Option<String>,
}

/// What a heading or a cell says of sizes and counts; none as soon as it says anything else.
pub(in crate::intake) fn counts(text: &str) -> Option<Counts> {
    let parsed = parse(text);
    (parsed.unknown.is_none() && parsed.counts != Counts::default()).then_some(parsed.counts)
}

/// Everything that a text says of sizes and counts.
pub(in crate::intake) fn parse(text: &str) -> Parsed {
    let tokens = tokens(text);
    let mut parsed = Parsed::default();
    let mut rest = tokens.as_slice();
    while let [first, behind @ ..] = rest {
        rest = parsed.counts.take(rest).unwrap_or_else(|| {
            parsed.unknown.get_or_insert_with(|| first.to_string());
            behind
        });
    }
    parsed
}

/// What a free text says that counts refer to: `All counts are per 100 mL`, `Partikel / 100 ml`.
pub(in crate::intake) fn stated_basis(text: &str) -> Option<Basis> {
    let tokens = tokens(text);
    let speaks_of_counts = tokens.iter().any(|token| match token {
        Token::Word(word) => {
            word.len() > 1 && (words::is("counting", word) || words::is("unit", word))
                || words::is("answer", word)
        }
        Token::Sign('#') => true,
        _ => false,
    });
    let is_mass = |token: &Token| matches!(token, Token::Word(word) if MASSES.contains(&word.as_str()));
    let at = (0..tokens.len()).find(|&at| {
        basis(&tokens[at..]).is_some() && !at.checked_sub(1).is_some_and(|before| is_mass(&tokens[before]))
    })?;
    let (found, rest) = basis(&tokens[at..])?;
    let is_rate =
        matches!(rest, [Token::Sign('/'), ..]) || matches!(rest, [Token::Word(word), ..] if word == "min");
    let alone = at == 0 && rest.is_empty();
    (!is_rate && (speaks_of_counts || alone)).then_some(found)
}

/// No counter is set to larger sizes \[um\].
const LARGEST_UM: f64 = 1000.0;

/// Units of mass and of other things that stand before `per mL` in a text that says nothing of counts.
const MASSES: [&str; 12] = ["mg", "g", "ug", "kg", "cfu", "kbe", "ng", "ppm", "mgkoh", "usd", "eur", "ml"];

#[derive(Debug, Clone, PartialEq)]
enum Token {
    Number(f64),
    Word(String),
    /// `>` or `>=`
    AtLeast,
    Sign(char),
}

impl std::fmt::Display for Token {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Number(number) => write!(f, "{number}"),
            Self::Word(word) => f.write_str(word),
            Self::AtLeast => f.write_str(">"),
            Self::Sign(sign) => write!(f, "{sign}"),
        }
    }
}

fn tokens(text: &str) -> Vec<Token> {
    // A micro sign that was encoded twice.
    let text = if text.contains('\u{c2}') { text.replace("\u{c2}\u{b5}", "u") } else { text.to_owned() };
    let mut text = fold(&text).replace("cm\u{b3}", "ml").replace("cm3", "ml").replace("c.c.", "ml");
    for (written, plain) in [
        ("(c)", " scale_c "),
        ("(b)", " scale_b "),
        ("\u{2265}", ">"),
        ("\u{2267}", ">"),
        ("\u{2a7e}", ">"),
        (">=", ">"),
        ("=>", ">"),
        ("\u{2013}", "-"),
        ("\u{2014}", "-"),
        ("..", "-"),
        ("\u{207b}\u{b9}", "-1"),
    ] {
        if text.contains(written) {
            text = text.replace(written, plain);
        }
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
            || matches!(
                c,
                '(' | ')'
                    | '['
                    | ']'
                    | '{'
                    | '}'
                    | ','
                    | ':'
                    | '_'
                    | '.'
                    | '^'
                    | ';'
                    | '='
                    | '"'
                    | '\''
                    | '*'
                    | '\u{2020}'
            ) =>
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
        if let Some(rest) = self.take_numbered(tokens) {
            return Some(rest);
        }
        match tokens {
            [Token::Number(from), Token::Sign('-'), Token::Number(to), rest @ ..] => {
                self.take_size(*from, Some(*to), rest)
            }
            // `4 um - 6 um`
            [Token::Number(from), Token::Word(um), Token::Sign('-'), Token::Number(to), rest @ ..]
                if words::is("micrometre", um) =>
            {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(from), Token::Word(word), Token::Number(to), rest @ ..] if is_to(word) => {
                self.take_size(*from, Some(*to), rest)
            }
            [Token::Number(um), Token::Sign('+'), rest @ ..] => {
                self.compared = true;
                self.take_size(*um, None, rest)
            }
            [Token::Number(um), rest @ ..] => self.take_size(*um, None, rest),
            [Token::AtLeast, rest @ ..] => {
                self.compared = true;
                Some(rest)
            }
            [Token::Sign('/' | '#' | '-'), rest @ ..] => Some(rest),
            [Token::Word(um), Token::Word(letter), rest @ ..]
                if words::is("micrometre", um) && matches!(letter.as_str(), "c" | "b") =>
            {
                self.micrometres = true;
                self.scale = Some(if letter == "c" { SizeScale::UmC } else { SizeScale::UmB });
                Some(rest)
            }
            [Token::Word(word), rest @ ..] => self.take_word(word).then_some(rest),
            _ => None,
        }
    }

    /// A number that is no size: of a standard, a channel or a run.
    fn take_numbered<'a>(&mut self, tokens: &'a [Token]) -> Option<&'a [Token]> {
        let [Token::Word(word), Token::Number(number), rest @ ..] = tokens else { return None };
        let size_follows = self.size.is_some() || rest.iter().any(|token| matches!(token, Token::Number(_)));
        match word.as_str() {
            "iso" if let Some(scale) = scale_of_standard(*number) => {
                self.scale = Some(scale);
                Some(without_year(rest))
            }
            "iso" if is(*number, 4406.0) => {
                self.standard = true;
                Some(without_year(rest))
            }
            _ if words::is("channel", word) => {
                self.sized = true;
                Some(rest)
            }
            // `R4`: the range number at 4 um(c). Any other number is that of a run.
            "r" if !size_follows && [4.0, 6.0, 14.0].contains(number) => {
                self.code = true;
                self.take_size(*number, None, rest)
            }
            _ if (words::is("run", word) || (word == "r" && size_follows)) && number.fract() == 0.0 => {
                self.run = Some(number.to_string());
                Some(rest)
            }
            _ => None,
        }
    }

    fn take_size<'a>(&mut self, from: f64, to: Option<f64>, rest: &'a [Token]) -> Option<&'a [Token]> {
        let possible = from > 0.0 && from <= LARGEST_UM && to.is_none_or(|to| to > from);
        (possible && self.size.replace((from, to)).is_none()).then_some(rest)
    }

    fn take_word(&mut self, word: &str) -> bool {
        let is = |meaning| words::is(meaning, word);
        match word {
            "umc" | "scale_c" => self.scale = Some(SizeScale::UmC),
            "umb" | "scale_b" => self.scale = Some(SizeScale::UmB),
            "acftd" => self.scale = Some(SizeScale::Acftd),
            "microscope" | "microscopic" | "mikroskop" => self.scale = Some(SizeScale::Microscope),
            "iso" => self.standard = true,
            "rn" | "code" | "codes" | "range" | "codigo" | "kod" | "codice" => self.code = true,
            _ if is("micrometre") => self.micrometres = true,
            _ if is("raw") => self.basis = Some(Basis::Raw),
            _ if is("cumulative") => self.form = Some(Form::Cumulative),
            _ if is("differential") => self.form = Some(Form::Differential),
            _ if is("counting") => {
                self.counted = true;
                self.named_as_raw |= is("count-word");
            }
            "number" | "numbers" | "klasse" | "class" | "classe" if self.standard => self.code = true,
            _ if is("sized") => self.sized = true,
            _ if is("mean") && word.len() > 1 => self.statistic = Some(Statistic::Mean),
            _ if is("spread") && word.len() > 1 => self.statistic = Some(Statistic::Spread),
            _ if is("other-sum") && word.len() > 1 => self.statistic = Some(Statistic::Other),
            _ => return is("filler") || is("per"),
        }
        true
    }
}

fn is_to(word: &str) -> bool {
    matches!(word, "to" | "bis" | "a" | "do" | "tot" | "ate")
}

fn is(number: f64, other: f64) -> bool {
    (number - other).abs() < f64::EPSILON
}

/// A standard's year behind its number says nothing.
fn without_year(tokens: &[Token]) -> &[Token] {
    match tokens {
        [Token::Number(year), rest @ ..] if (1980.0..2100.0).contains(year) => rest,
        [Token::Sign('-'), Token::Number(_), Token::Number(year), rest @ ..]
            if (1980.0..2100.0).contains(year) =>
        {
            rest
        }
        all => all,
    }
}

fn scale_of_standard(number: f64) -> Option<SizeScale> {
    [(11171.0, SizeScale::UmC), (4402.0, SizeScale::Acftd), (4407.0, SizeScale::Microscope)]
        .into_iter()
        .find_map(|(standard, scale)| is(number, standard).then_some(scale))
}

/// `/ml`, `per 100 ml`, `1/ml`, `#/100ml`, `ml-1`, `per litre`.
fn basis(tokens: &[Token]) -> Option<(Basis, &[Token])> {
    let word_in =
        |token: &Token, words: &[&str]| matches!(token, Token::Word(word) if words.contains(&word.as_str()));
    if let [ml, Token::Sign('-'), Token::Number(one), rest @ ..] = tokens
        && word_in(ml, &["ml"])
        && is(*one, 1.0)
    {
        return Some((Basis::PerMl, rest));
    }
    let tokens = match tokens {
        [Token::Number(one), Token::Sign('/'), ..] if is(*one, 1.0) => &tokens[1..],
        [Token::Sign('#'), Token::Sign('/'), ..] => &tokens[1..],
        [unit, Token::Sign('/'), ..]
            if word_in(
                unit,
                &[
                    "p", "pcs", "pc", "no", "nr", "pt", "n", "szt", "st", "stk", "cts", "ks", "kpl", "ud",
                    "part", "cnt",
                ],
            ) =>
        {
            &tokens[1..]
        }
        all => all,
    };
    let (per, rest) = tokens.split_first()?;
    let counts_amount = matches!(rest.first(), Some(Token::Number(_)));
    let is_per = matches!(per, Token::Word(word)
        if (words::is("per", word) && (word.len() > 2 || counts_amount || word == "je" || word == "na"))
            || (word == "in" && counts_amount));
    if *per != Token::Sign('/') && !is_per {
        return None;
    }
    let (amount, rest) = match rest {
        [Token::Number(amount), rest @ ..] => (*amount, rest),
        all => (1.0, all),
    };
    let (unit, rest) = rest.split_first()?;
    let Token::Word(unit) = unit else { return None };
    let known = Basis::of_ml(amount * ml_of_unit(unit)?)?;
    Some((known, rest))
}

/// How many mL a unit of volume is.
pub(super) fn ml_of_unit(unit: &str) -> Option<f64> {
    match unit {
        "ml" | "cc" => Some(1.0),
        "l" => Some(1000.0),
        _ if ["millilit", "mililit", "mililitr"].iter().any(|start| unit.starts_with(start)) => Some(1.0),
        _ if ["lit", "litr"].iter().any(|start| unit.starts_with(start)) => Some(1000.0),
        _ => None,
    }
}

/// A volume alone, as a cell under `unit` or a line of units says it: `100 mL`, `(100 ml)`, `mL`.
pub(in crate::intake) fn volume_alone(text: &str) -> Option<Basis> {
    let (amount, unit) = match tokens(text).as_slice() {
        [Token::Number(amount), Token::Word(unit)] => (*amount, unit.clone()),
        [Token::Word(unit)] => (1.0, unit.clone()),
        _ => return None,
    };
    Basis::of_ml(amount * ml_of_unit(&unit)?)
}
