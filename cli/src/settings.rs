//! This device's settings: who I am, and the team's thresholds where they differ from the defaults. A TOML file beside the store, which can be
//! read and written by hand.

use crate::failure::Failure;
use crate::file::write_whole;
use crate::page::Units;
use firnbook_core::insight::thresholds::{TABLE, Thresholds};
use std::io::ErrorKind;
use std::path::{Path, PathBuf};
use toml::{Table, Value};

/// The setting that says in which units pages are shown.
pub const UNITS: &str = "units";

/// What was set, by key.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    path: PathBuf,
    table: Table,
}

impl Settings {
    /// The settings that belong to a store; none where the file is missing.
    ///
    /// # Errors
    /// A file that is no TOML or can't be read.
    pub fn beside(store: &Path) -> Result<Settings, Failure> {
        let mut name = store.as_os_str().to_owned();
        name.push(".settings.toml");
        let path = PathBuf::from(name);
        let text = match std::fs::read_to_string(&path) {
            Ok(text) => text,
            Err(e) if e.kind() == ErrorKind::NotFound => String::new(),
            Err(e) => return Err(Failure::file(&path, &e)),
        };
        let table = text.parse::<Table>().map_err(|e| {
            Failure::refused(format!(
                "{} can't be read as TOML: {}; correct it, or remove it to go back to the defaults",
                path.display(),
                e.message()
            ))
        })?;
        Ok(Settings { path, table })
    }

    /// The file.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Every key that is set.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.table.keys().map(String::as_str)
    }

    /// A text that was set.
    #[must_use]
    pub fn text(&self, key: &str) -> Option<&str> {
        self.table.get(key).and_then(Value::as_str)
    }

    /// A number that was set.
    #[must_use]
    pub fn number(&self, key: &str) -> Option<f64> {
        match self.table.get(key)? {
            Value::Integer(n) => Some(*n as f64),
            Value::Float(n) => Some(*n),
            _ => None,
        }
    }

    /// The units of pages: those that were asked for, else those that were set, else metric.
    ///
    /// # Errors
    /// A word in the file that names no units.
    pub fn units(&self, asked: Option<Units>) -> Result<Units, Failure> {
        let Some(word) = self.text(UNITS).filter(|_| asked.is_none()) else {
            return Ok(asked.unwrap_or_default());
        };
        Units::of(word).ok_or_else(|| {
            Failure::refused(format!(
                "{}: {UNITS} is \"{word}\"; set it to {} with `firnbook settings {UNITS}`",
                self.path.display(),
                Units::WORDS.join(" or ")
            ))
        })
    }

    /// The thresholds in force: the defaults, with what this team has set.
    ///
    /// # Errors
    /// A value in the file that is no number or out of its range.
    pub fn thresholds(&self) -> Result<Thresholds, Failure> {
        let mut thresholds = Thresholds::default();
        for row in TABLE.iter().filter(|row| self.table.contains_key(row.key)) {
            let wrong = |why: String| {
                Failure::refused(format!(
                    "{}: {why}; correct it with `firnbook settings {}`",
                    self.path.display(),
                    row.key
                ))
            };
            let number = self.number(row.key).ok_or_else(|| wrong(format!("{} is no number", row.key)))?;
            thresholds.set(row.key, number).map_err(|e| wrong(e.to_string()))?;
        }
        Ok(thresholds)
    }

    /// Sets a key and writes the file; `None` goes back to the default.
    ///
    /// # Errors
    /// A file that can't be written.
    pub fn set(&mut self, key: &str, value: Option<Value>) -> Result<(), Failure> {
        match value {
            Some(value) => {
                self.table.insert(key.to_owned(), value);
            }
            None => {
                self.table.remove(key);
            }
        }
        write_whole(&self.path, self.table.to_string().as_bytes())
    }
}
