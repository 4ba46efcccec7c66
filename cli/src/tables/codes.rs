//! Codes that stand for call signs in an export. The list that says whose code is whose is a local file of its own.

use super::columns::Column;
use crate::failure::Failure;
use crate::file::write_whole;
use firnbook_core::entry::fold;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::io::ErrorKind;
use std::path::Path;

/// Call signs and their codes.
#[derive(Clone, Debug, Default)]
pub struct Codes {
    /// By folded call sign: the code and the call sign as it was first written.
    given: BTreeMap<String, (String, String)>,
    known: usize,
}

impl Codes {
    /// The codes of a list that was written before; none where there is no such file.
    ///
    /// # Errors
    /// A file that is no such list.
    pub fn read(path: &Path) -> Result<Codes, Failure> {
        let text = match std::fs::read_to_string(path) {
            Ok(text) => text,
            Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Codes::default()),
            Err(e) => return Err(Failure::file(path, &e)),
        };
        let wrong = |line: usize, why: &str| {
            Failure::refused(format!(
                "{}, line {line}: {why}; the list is CSV with the columns code and call_sign",
                path.display()
            ))
        };
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        if reader.headers().map_err(|e| wrong(1, &e.to_string()))?.iter().ne(["code", "call_sign"]) {
            return Err(wrong(1, "another header"));
        }
        let mut codes = Codes::default();
        for (line, row) in (2..).zip(reader.records()) {
            let row = row.map_err(|e| wrong(line, &e.to_string()))?;
            let number =
                row.get(0).and_then(|code| code.strip_prefix('P')).and_then(|n| n.parse::<usize>().ok());
            let (Some(number), Some(call_sign)) = (number, row.get(1)) else {
                return Err(wrong(line, "no code like P01"));
            };
            codes.known = codes.known.max(number);
            codes.given.insert(fold(call_sign), (code(number), call_sign.to_owned()));
        }
        Ok(codes)
    }

    /// Writes the list.
    ///
    /// # Errors
    /// A file that can't be written.
    pub fn write(&self, path: &Path) -> Result<(), Failure> {
        let mut rows: Vec<&(String, String)> = self.given.values().collect();
        rows.sort();
        let mut writer = csv::Writer::from_writer(Vec::new());
        let written = writer
            .write_record(["code", "call_sign"])
            .and_then(|()| rows.iter().try_for_each(|(code, sign)| writer.write_record([code, sign])));
        written.map_err(Failure::refused)?;
        write_whole(path, &writer.into_inner().map_err(|e| Failure::refused(e.to_string()))?)
    }

    /// Puts codes in place of the call signs of an entry.
    pub fn hide(&mut self, columns: &[Column], entry: &mut Map<String, Value>) {
        for column in columns.iter().filter(|c| c.call_sign) {
            match entry.get_mut(&column.name) {
                Some(Value::String(sign)) => *sign = self.code_of(sign),
                Some(Value::Array(signs)) => {
                    for sign in signs {
                        if let Value::String(sign) = sign {
                            *sign = self.code_of(sign);
                        }
                    }
                }
                _ => {}
            }
        }
    }

    fn code_of(&mut self, call_sign: &str) -> String {
        let known = &mut self.known;
        let (code, _) = self.given.entry(fold(call_sign)).or_insert_with(|| {
            *known += 1;
            (code(*known), call_sign.to_owned())
        });
        code.clone()
    }
}

fn code(number: usize) -> String {
    format!("P{number:02}")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::of_kind;
    use firnbook_core::entry::kind;
    use serde_json::json;

    #[test]
    fn one_person_has_one_code_in_all_spellings_and_keeps_it() {
        let columns = of_kind(kind("rotation").unwrap(), false);
        let mut codes = Codes::default();
        let mut hide = |json: Value| {
            let Value::Object(mut entry) = json else { panic!() };
            codes.hide(&columns, &mut entry);
            Value::Object(entry)
        };
        assert_eq!(hide(json!({"by": "Larch", "front": "Fox"})), json!({"by": "P01", "front": "P02"}));
        assert_eq!(
            hide(json!({"by": " larch", "shovellers": ["Fox", "Lynx"]})),
            json!({"by": "P01", "shovellers": ["P02", "P03"]})
        );
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("names.csv");
        codes.write(&file).unwrap();
        let mut again = Codes::read(&file).unwrap();
        assert_eq!([again.code_of("LYNX"), again.code_of("Otter")], ["P03", "P04"]);
    }
}
