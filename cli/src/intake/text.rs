//! From bytes to text, and what sort of CSV a text is: its encoding, its separator, quotes left open.

use crate::failure::Failure;
use encoding_rs::{UTF_16BE, UTF_16LE};
use std::borrow::Cow;

/// The largest file that is read, bytes.
pub const LARGEST: u64 = 256 << 20;
/// The largest GeoJSON that is read, bytes: it is taken apart as a whole, into some ten times its size.
pub const LARGEST_GEOJSON: u64 = 32 << 20;
/// The longest line of JSON that is read, bytes: several times what the longest track of an entry takes.
pub const LONGEST_LINE: usize = 4 << 20;

/// The text of a file: UTF-8, or UTF-16 as some spreadsheets write it, which is said. A byte order mark is left out.
///
/// # Errors
/// Bytes that are neither, with the line.
pub fn text_of<'a>(name: &str, bytes: &'a [u8], remarks: &mut Vec<String>) -> Result<Cow<'a, str>, Failure> {
    let utf_16 = match bytes {
        [0xff, 0xfe, ..] | [1..=0x7f, 0, ..] => Some(UTF_16LE),
        [0xfe, 0xff, ..] | [0, 1..=0x7f, ..] => Some(UTF_16BE),
        _ => None,
    };
    if let Some(encoding) = utf_16 {
        let (text, _, broken) = encoding.decode(bytes);
        if broken {
            return Err(Failure::refused(format!(
                "{name} looks like {} and is not sound; save it as UTF-8 and do it again; nothing was written",
                encoding.name()
            )));
        }
        remarks.push(format!("{name} is {}, and was read as that", encoding.name()));
        return Ok(text);
    }
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        Failure::refused(format!(
            "{name}, line {line}: byte {} is no UTF-8; save the file as UTF-8 and do it again; nothing was written",
            e.valid_up_to()
        ))
    })?;
    Ok(Cow::Borrowed(text.strip_prefix('\u{feff}').unwrap_or(text)))
}

/// What parts the cells of a CSV file: comma, semicolon or tab, whichever its first line holds most of, outside quotes.
#[must_use]
pub fn separator(text: &str) -> u8 {
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    for byte in text.bytes().take_while(|b| *b != b'\n') {
        quoted ^= byte == b'"';
        if let Some((_, n)) = counts.iter_mut().find(|(separator, _)| *separator == byte && !quoted) {
            *n += 1;
        }
    }
    // Of equal ones the first.
    counts.iter().rev().max_by_key(|(_, n)| *n).map_or(b',', |(separator, _)| *separator)
}

/// The line in which a quote is opened that is never closed.
#[must_use]
pub fn open_quote(text: &str, separator: u8) -> Option<usize> {
    let (mut line, mut opened, mut begins) = (1, None, true);
    for byte in text.bytes() {
        match (byte, opened) {
            (b'"', Some(_)) => opened = None,
            // Two quotes within a quoted cell stand for one; closing and opening again does no harm here.
            (b'"', None) if begins => opened = Some(line),
            _ => {}
        }
        begins = opened.is_none() && (byte == separator || byte == b'\n' || byte == b'\r' || byte == b'"');
        line += usize::from(byte == b'\n');
    }
    opened
}

/// A number as it is written with a decimal comma, with a point; `None` where there is no comma to understand.
#[must_use]
pub fn decimal_comma(cell: &str) -> Option<String> {
    let (whole, rest) = cell.trim().split_once(',')?;
    let digits = |text: &str| text.chars().all(|c| c.is_ascii_digit());
    let behind = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
    let sound =
        digits(whole.trim_start_matches(['-', '+'])) && behind > 0 && !rest[behind..].contains([',', '.']);
    sound.then(|| format!("{whole}.{rest}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utf_16_is_understood_and_said() {
        for (bytes, says) in [
            (vec![0xff, 0xfe, b'a', 0, 0xfc, 0], "UTF-16LE"),
            (vec![0xfe, 0xff, 0, b'a', 0, 0xfc], "UTF-16BE"),
            (vec![b'a', 0, 0xfc, 0], "UTF-16LE"),
        ] {
            let mut remarks = Vec::new();
            assert_eq!(text_of("f", &bytes, &mut remarks).unwrap(), "aü");
            assert!(remarks[0].contains(says), "{remarks:?}");
        }
        let mut remarks = Vec::new();
        assert!(text_of("f", &[0xff, 0xfe, b'a', 0, 0x00, 0xd8], &mut remarks).is_err());
        assert_eq!(text_of("f", "\u{feff}ü".as_bytes(), &mut remarks).unwrap(), "ü");
        assert!(remarks.is_empty());
    }

    #[test]
    fn separators_and_quotes_are_seen() {
        assert_eq!(
            [
                separator("a,b"),
                separator("a;b,c;d"),
                separator("a\tb"),
                separator("a"),
                separator("\"a;b;c\",d")
            ],
            [b',', b';', b'\t', b',', b',']
        );
        assert_eq!(open_quote("a,b\n1,\"x\n2,y\n", b','), Some(2));
        for sound in ["a\n\"x\"\"y\"\n", "a\n5\" pole\n", "\"a\",\"\"\n", "a\n\"x\ny\"\n"] {
            assert_eq!(open_quote(sound, b','), None, "{sound}");
        }
    }

    #[test]
    fn a_decimal_comma_is_a_point() {
        let points = ["1,5", " -0,25 m", "46,5123", "1,2,3", "1.000,5", "a,5", "1,", "7"].map(decimal_comma);
        assert_eq!(
            points[..3],
            [Some("1.5".to_owned()), Some("-0.25 m".to_owned()), Some("46.5123".to_owned())]
        );
        assert!(points[3..].iter().all(Option::is_none), "{points:?}");
    }
}
