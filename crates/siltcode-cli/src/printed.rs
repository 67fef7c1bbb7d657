//! What reaches a terminal: names, cells and file names come from strangers, and may hold what a terminal acts upon.
//!
//! [`plain`] shows such characters as what they are, and is applied wherever text from outside is put into a line.
//! [`Printed`] stands behind everything else: it lets nothing through but text, line ends and our own colours.

use std::borrow::Cow;
use std::io::{self, Write};
use std::sync::LazyLock;

use crate::held::Held;
use crate::text::{BAD, GOOD, HEAD, HINT, OPEN};

/// Whether a character is not seen but acts: controls, and what turns the direction of text or hides in it.
pub(crate) fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c,
            '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}'..='\u{200f}' | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}' | '\u{feff}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e007f}')
}

/// Text with what acts on a terminal written out: `\n`, `\t`, `\u{1b}`.
pub(crate) fn plain(text: &str) -> Cow<'_, str> {
    if !text.contains(is_hidden) {
        return Cow::Borrowed(text);
    }
    let mut shown = String::with_capacity(text.len() + 16);
    text.chars().for_each(|c| show(&mut shown, c));
    Cow::Owned(shown)
}

fn show(shown: &mut String, c: char) {
    match c {
        '\n' | '\r' | '\t' => shown.extend(c.escape_default()),
        c if is_hidden(c) => shown.extend(c.escape_unicode()),
        c => shown.push(c),
    }
}

/// A writer of text for people.
pub(crate) struct Printed<W> {
    inner: W,
    coloured: bool,
    /// The beginning of a character whose end has not come yet.
    begun: Vec<u8>,
}

impl<W: Write> Printed<W> {
    /// Text with our colours in it.
    pub(crate) const fn new(inner: W) -> Self {
        Self { inner, coloured: true, begun: Vec::new() }
    }

    /// Text without colours.
    pub(crate) const fn plain(inner: W) -> Self {
        Self { inner, coloured: false, begun: Vec::new() }
    }
}

impl<W: Write> Printed<Held<W>> {
    /// Lets everything through.
    pub(crate) fn release(self) -> io::Result<()> {
        self.inner.release()
    }
}

/// Standard output for text, held back until it is released.
pub(crate) fn stdout() -> Printed<Held<impl Write>> {
    Printed::new(Held::new(anstream::stdout().lock()))
}

/// Standard error for text.
pub(crate) fn stderr() -> Printed<impl Write> {
    Printed::new(anstream::stderr().lock())
}

impl<W: Write> Write for Printed<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let is_harmless = |&byte: &u8| byte == b'\n' || (b' '..=b'~').contains(&byte);
        if self.begun.is_empty() && bytes.iter().all(is_harmless) {
            self.inner.write_all(bytes)?;
            return Ok(bytes.len());
        }
        let mut all = std::mem::take(&mut self.begun);
        all.extend_from_slice(bytes);
        if let Err(error) = std::str::from_utf8(&all) {
            let whole = if error.error_len().is_none() { error.valid_up_to() } else { all.len() };
            self.begun = all.split_off(whole);
        }
        self.inner.write_all(shown(&String::from_utf8_lossy(&all), self.coloured).as_bytes())?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

/// The sequences that our styles are made of.
static COLOURS: LazyLock<Vec<String>> = LazyLock::new(|| {
    let styles = [GOOD, OPEN, BAD, HINT, HEAD].map(|style| style.render().to_string());
    let all = [styles.concat(), anstyle::Reset.render().to_string()].concat();
    all.split_inclusive('m').map(str::to_owned).collect()
});

/// Text with everything but line ends, and our colours where there are any, written out.
fn shown(text: &str, coloured: bool) -> String {
    let mut shown = String::with_capacity(text.len() + 16);
    let mut rest = text;
    while let Some(c) = rest.chars().next() {
        let colour = COLOURS.iter().filter(|_| coloured).find(|colour| rest.starts_with(colour.as_str()));
        match colour {
            Some(colour) => shown.push_str(colour),
            None if c == '\n' => shown.push(c),
            None => show(&mut shown, c),
        }
        rest = &rest[colour.map_or(c.len_utf8(), String::len)..];
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hidden_characters_are_shown() {
        assert_eq!(plain("HB-04 Süd, 4 µm"), "HB-04 Süd, 4 µm");
        assert_eq!(plain("a\u{1b}]0;x\u{7}\nb\tc"), "a\\u{1b}]0;x\\u{7}\\nb\\tc");
        assert_eq!(plain("ab\u{202e}cd\u{9b}"), "ab\\u{202e}cd\\u{9b}");
    }

    #[test]
    fn only_line_ends_and_our_colours_pass() {
        let mut out = Printed::new(Vec::new());
        write!(out, "{HEAD}bottle{HEAD:#}\n{BAD}x{BAD:#}\u{1b}[2J\u{1b}]52;c;YQ==\u{7}\r").unwrap();
        let text = String::from_utf8(out.inner).unwrap();
        assert!(text.starts_with(&format!("{HEAD}bottle{HEAD:#}\n{BAD}x{BAD:#}")), "{text:?}");
        assert!(text.ends_with("\\u{1b}[2J\\u{1b}]52;c;YQ==\\u{7}\\r"), "{text:?}");
    }

    #[test]
    fn a_character_may_come_in_parts_and_colours_only_where_they_are_ours() {
        let mut out = Printed::plain(Vec::new());
        for byte in "µ日\u{202e}\u{1b}[1m!".as_bytes() {
            out.write_all(&[*byte]).unwrap();
        }
        out.write_all(b"\xff.").unwrap();
        assert_eq!(String::from_utf8(out.inner).unwrap(), "µ日\\u{202e}\\u{1b}[1m!\u{fffd}.");
    }
}
