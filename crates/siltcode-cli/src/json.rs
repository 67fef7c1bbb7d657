//! JSON whose strings can go to any terminal: control and bidirectional characters are escaped.

use std::io::{self, Write};

use serde::Serialize;
use serde_json::Serializer;
use serde_json::ser::{CompactFormatter, Formatter, PrettyFormatter};

use crate::printed::is_hidden;

/// A value on one line, without a line end.
pub(crate) fn compact(out: &mut impl Write, value: &(impl Serialize + ?Sized)) -> io::Result<()> {
    Ok(value.serialize(&mut Serializer::with_formatter(out, Escaping(CompactFormatter)))?)
}

/// A document of one line.
pub(crate) fn line(out: &mut impl Write, value: &impl Serialize) -> io::Result<()> {
    compact(out, value)?;
    writeln!(out)
}

/// A document over indented lines.
pub(crate) fn pretty(out: &mut impl Write, value: &impl Serialize) -> io::Result<()> {
    value.serialize(&mut Serializer::with_formatter(&mut *out, Escaping(PrettyFormatter::new())))?;
    writeln!(out)
}

/// A formatter that escapes what JSON lets through raw, and a terminal would act upon.
struct Escaping<F>(F);

/// Hands calls on to the formatter underneath.
macro_rules! handed_on {
    ($($call:ident($($name:ident: $type:ty),*))*) => {
        $(fn $call<W: ?Sized + Write>(&mut self, out: &mut W $(, $name: $type)*) -> io::Result<()> {
            self.0.$call(out $(, $name)*)
        })*
    };
}

impl<F: Formatter> Formatter for Escaping<F> {
    handed_on! {
        begin_array() end_array() begin_array_value(first: bool) end_array_value()
        begin_object() end_object() begin_object_key(first: bool) end_object_key()
        begin_object_value() end_object_value()
    }

    fn write_string_fragment<W: ?Sized + Write>(&mut self, out: &mut W, fragment: &str) -> io::Result<()> {
        let mut rest = fragment;
        while let Some((at, hidden)) = rest.char_indices().find(|&(_, c)| is_hidden(c)) {
            out.write_all(&rest.as_bytes()[..at])?;
            for unit in hidden.encode_utf16(&mut [0; 2]) {
                write!(out, "\\u{unit:04x}")?;
            }
            rest = &rest[at + hidden.len_utf8()..];
        }
        out.write_all(rest.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_terminal_would_act_upon_is_escaped_and_reads_back() {
        let hostile = "a\u{1b}[31m\u{9b}2J\u{202e}cod\u{2066}\u{7f}\u{feff}\u{e0041}é日";
        for form in [compact, pretty] {
            let mut out = Vec::new();
            form(&mut out, &hostile).unwrap();
            let text = String::from_utf8(out).unwrap();
            assert!(text.chars().all(|c| c == '\n' || !is_hidden(c)), "{text:?}");
            assert!(text.contains("é日"));
            assert_eq!(serde_json::from_str::<String>(&text).unwrap(), hostile);
        }
    }
}
