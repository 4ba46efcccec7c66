//! What leaves in an export and what does not. Call signs become codes that only the holder of the key can make again; labels that could be a
//! name do too; free text stays here; positions leave in the drill's grid alone, to whole metres.

use super::columns::{Column, Secret};
use crate::failure::Failure;
use crate::file::write_private;
use firnbook_core::entry::{Drill, fold};
use firnbook_core::field::geo::DrillGrid;
use firnbook_core::insight::tracks;
use serde_json::{Map, Value, json};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::io::ErrorKind;
use std::path::Path;

/// How much leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Leaves {
    /// What needs no secret.
    Usual,
    /// Free text and labels as written too.
    Notes,
    /// Everything.
    Full,
}

/// Decides over every cell of an export.
pub struct Veil {
    leaves: Leaves,
    key: [u8; 32],
    /// By class and text.
    codes: HashMap<&'static str, HashMap<String, String>>,
    /// By folded label.
    grids: HashMap<String, DrillGrid>,
}

/// The clocks whose names say nothing of a person.
const PLAIN_CLOCKS: [&str; 2] = ["base", "stopwatch"];
/// Letters of codes: no I, L, O, U.
const LETTERS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

impl Veil {
    /// With the key that makes the codes.
    #[must_use]
    pub fn new(leaves: Leaves, key: [u8; 32]) -> Veil {
        Veil { leaves, key, codes: HashMap::new(), grids: HashMap::new() }
    }

    /// Everything leaves as it is.
    #[must_use]
    pub fn is_lifted(&self) -> bool {
        self.leaves == Leaves::Full
    }

    /// Free text and labels leave as written.
    #[must_use]
    pub fn keeps_notes(&self) -> bool {
        self.leaves != Leaves::Usual
    }

    /// The drills of the day whose entries come next.
    pub fn of_day(&mut self, drills: &[Drill]) {
        let grid = |drill: &Drill| Some((drill.label.folded(), tracks::grid(drill)?));
        self.grids = drills.iter().filter_map(grid).collect();
    }

    /// Whether a column leaves at all.
    #[must_use]
    pub fn shows(&self, column: &Column) -> bool {
        match column.secret {
            Secret::FreeText => self.keeps_notes(),
            Secret::OnEarth => self.is_lifted(),
            _ => true,
        }
    }

    /// Whether a column may be empty although an entry always has it.
    #[must_use]
    pub fn may_empty(&self, column: &Column) -> bool {
        column.secret == Secret::Points && !self.is_lifted()
    }

    /// A text of a column as it leaves.
    pub fn text<'t>(&'t mut self, secret: Secret, text: &'t str) -> &'t str {
        match secret {
            Secret::Person(class) if !self.is_lifted() => self.code('P', class, text),
            Secret::Label(class) if !self.keeps_notes() && !says_nothing(class, text) => {
                self.code('L', class, text)
            }
            _ => text,
        }
    }

    /// A coordinate of the grid as it leaves, m.
    #[must_use]
    pub fn metres(&self, m: f64) -> f64 {
        // Adding 0 makes -0 a 0.
        if self.is_lifted() { m } else { m.round() + 0.0 }
    }

    /// A place on the earth in the grid of its drill, to whole metres; `None` where that grid is not known or lies elsewhere.
    #[must_use]
    pub fn in_grid(&self, drill: Option<&str>, lat: f64, lon: f64) -> Option<[f64; 2]> {
        let at = self.grids.get(&fold(drill?))?.to_grid_m(lat, lon).ok()?;
        Some(at.map(|m| self.metres(m)))
    }

    /// The points of a track as they leave: in the grid of its drill, or not at all.
    #[must_use]
    pub fn points(&self, points: &Value, on_earth: bool, drill: Option<&str>) -> Option<Value> {
        let list = |key: &str| points.get(key).and_then(Value::as_array);
        let (mut x, mut y, mut before) = (0.0, 0.0, [0.0, 0.0]);
        let (mut out_x, mut out_y) = (Vec::new(), Vec::new());
        for (dx, dy) in list("x")?.iter().zip(list("y")?) {
            x += dx.as_f64()?;
            y += dy.as_f64()?;
            let at = if on_earth {
                self.in_grid(drill, y / 1e7, x / 1e7)?
            } else {
                [x, y].map(|m| self.metres(m))
            };
            out_x.push(at[0] - before[0]);
            out_y.push(at[1] - before[1]);
            before = at;
        }
        Some(json!({ "t_ms": points.get("t_ms"), "x": out_x, "y": out_y }))
    }

    /// An entry, or a row made from entries, as it leaves.
    pub fn row(&mut self, columns: &[Column], row: &mut Map<String, Value>) {
        if self.is_lifted() {
            return;
        }
        let drill = row.get("drill").and_then(Value::as_str).map(str::to_owned);
        let number = |key: &str| row.get(key).and_then(Value::as_f64);
        let placed =
            number("lat").zip(number("lon")).and_then(|(lat, lon)| self.in_grid(drill.as_deref(), lat, lon));
        if let (Some(at), None) = (placed, number("x_m")) {
            row.extend(["x_m", "y_m"].map(str::to_owned).into_iter().zip(at.map(Value::from)));
        }
        if let Some(points) = row.get("points") {
            let on_earth = row.get("frame").and_then(Value::as_str) == Some("lonlat");
            let points = self.points(points, on_earth, drill.as_deref());
            if on_earth {
                row.insert("frame".to_owned(), json!("grid"));
            }
            match points {
                Some(points) => row.insert("points".to_owned(), points),
                None => row.shift_remove("points"),
            };
        }
        row.retain(|key, _| columns.iter().any(|c| c.name == *key && self.shows(c)));
        for column in columns {
            match row.get_mut(&column.name) {
                Some(Value::String(text)) => *text = self.text(column.secret, text).to_owned(),
                Some(Value::Array(list)) => {
                    for item in list {
                        if let Value::String(text) = item {
                            *text = self.text(column.secret, text).to_owned();
                        }
                    }
                }
                Some(Value::Number(n)) if column.secret == Secret::InGrid => {
                    let whole = n.as_f64().map(|m| self.metres(m));
                    *n = whole.and_then(serde_json::Number::from_f64).unwrap_or_else(|| n.clone());
                }
                _ => {}
            }
        }
    }

    /// The code of a person, by call sign.
    pub fn person(&mut self, call_sign: &str) -> &str {
        self.code('P', "person", call_sign)
    }

    /// Another one under the same key, that has given no code yet.
    #[must_use]
    pub fn another(&self) -> Veil {
        Veil::new(self.leaves, self.key)
    }

    /// Knows the codes that another one gave too.
    pub fn join(&mut self, other: Veil) {
        for (class, codes) in other.codes {
            self.codes.entry(class).or_default().extend(codes);
        }
    }

    /// Call signs and the codes that were given for them, by code.
    #[must_use]
    pub fn given(&self) -> Vec<(String, String)> {
        let people = self.codes.get("person").into_iter().flatten();
        let mut given: Vec<(String, String)> =
            people.map(|(sign, code)| (code.clone(), sign.clone())).collect();
        given.sort();
        given.dedup_by(|a, b| a.0 == b.0);
        given
    }

    fn code(&mut self, letter: char, class: &'static str, text: &str) -> &str {
        let known = self.codes.entry(class).or_default();
        if !known.contains_key(text) {
            known.insert(text.to_owned(), made(&self.key, letter, class, text));
        }
        &known[text]
    }
}

/// The code of a text under a key.
fn made(key: &[u8; 32], letter: char, class: &str, text: &str) -> String {
    let mut hash = Sha256::new();
    hash.update(key);
    hash.update(class);
    hash.update([0]);
    hash.update(fold(text));
    let hash = hash.finalize();
    // 40 bits: two of 1,000 people share a code once in two million exports.
    let bits = hash[..5].iter().fold(0_u64, |bits, byte| bits << 8 | u64::from(*byte));
    let digit = |at: u32| char::from(LETTERS[(bits >> (5 * at) & 31) as usize]);
    [letter, '-'].into_iter().chain((0..8).rev().map(digit)).collect()
}

/// A label that can't be a name or a number to call: one letter, or up to six letters and digits with one to four digits among them.
fn says_nothing(class: &str, text: &str) -> bool {
    let digits = text.chars().filter(char::is_ascii_digit).count();
    let short = text.len() <= 6 && text.chars().all(|c| c.is_ascii_alphanumeric());
    text.is_empty()
        || short && (text.len() == 1 || (1..=4).contains(&digits))
        || class == "clock" && PLAIN_CLOCKS.contains(&text)
}

/// The key in a file, 64 hexadecimal digits; one that is not there is made.
///
/// # Errors
/// A file that holds no key, or can't be read or made.
pub fn key(path: &Path) -> Result<[u8; 32], Failure> {
    let mut key = [0; 32];
    match std::fs::read_to_string(path) {
        Ok(text) => {
            let digits = text.trim();
            let byte =
                |at: usize| digits.get(2 * at..2 * at + 2).and_then(|two| u8::from_str_radix(two, 16).ok());
            let bytes: Option<Vec<u8>> = (0..32).map(byte).collect();
            let bytes = bytes.filter(|_| digits.len() == 64).ok_or_else(|| {
                Failure::refused(format!(
                    "{} holds no key of 64 hexadecimal digits; name another file with --key, or one that is not there to make a new key",
                    path.display()
                ))
            })?;
            key.copy_from_slice(&bytes);
        }
        Err(e) if e.kind() == ErrorKind::NotFound => {
            getrandom::fill(&mut key)
                .map_err(|e| Failure::refused(format!("this machine gives no random numbers ({e})")))?;
            let digits: String = key.iter().map(|byte| format!("{byte:02x}")).collect();
            write_private(path, format!("{digits}\n").as_bytes())?;
        }
        Err(e) => return Err(Failure::file(path, &e)),
    }
    Ok(key)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::of_kind;
    use firnbook_core::entry::kind;

    fn hide(veil: &mut Veil, json: Value) -> Value {
        let Value::Object(mut entry) = json else { panic!() };
        let columns = of_kind(kind(entry["kind"].as_str().unwrap()).unwrap(), false);
        veil.row(&columns, &mut entry);
        Value::Object(entry)
    }

    #[test]
    fn one_person_has_one_code_in_all_spellings_and_another_under_another_key() {
        let mut veil = Veil::new(Leaves::Usual, [1; 32]);
        let one =
            hide(&mut veil, json!({"kind": "rotation", "by": "Larch", "shovellers": ["Fox", " larch"]}));
        assert_eq!(one["by"], one["shovellers"][1]);
        assert_ne!(one["by"], one["shovellers"][0]);
        assert!(one["by"].as_str().unwrap().starts_with("P-"));
        let again = Veil::new(Leaves::Notes, [1; 32]).person("LARCH").to_owned();
        assert_eq!(one["by"], json!(again));
        assert_ne!(again, Veil::new(Leaves::Usual, [2; 32]).person("Larch"));
        assert_eq!(Veil::new(Leaves::Full, [1; 32]).text(Secret::Person("person"), "Larch"), "Larch");
    }

    #[test]
    fn labels_leave_only_where_they_could_be_no_name() {
        let mut veil = Veil::new(Leaves::Usual, [1; 32]);
        for (label, leaves) in
            [("A", true), ("TX07", true), ("12", true), ("anna", false), ("079555", false), ("b 2", false)]
        {
            assert_eq!(veil.text(Secret::Label("target"), label) == label, leaves, "{label}");
        }
        assert_eq!(veil.text(Secret::Label("clock"), "base"), "base");
        let team = veil.text(Secret::Label("team"), "Red").to_owned();
        assert_ne!(team, veil.text(Secret::Label("drill"), "Red"));
    }

    #[test]
    fn places_on_the_earth_become_places_in_the_grid() {
        let mut veil = Veil::new(Leaves::Usual, [1; 32]);
        let drill =
            json!({"label": "1", "origin_lat": 46.5, "origin_lon": 9.8, "downhill_deg": 180, "slope_deg": 0});
        veil.of_day(&[serde_json::from_value(drill).unwrap()]);
        let found =
            hide(&mut veil, json!({"kind": "strike", "drill": "1", "lat": 46.5, "lon": 9.801, "note": "x"}));
        assert_eq!(found, json!({"kind": "strike", "drill": "1", "x_m": 77.0, "y_m": 0.0}));
        let lost = hide(&mut veil, json!({"kind": "strike", "drill": "2", "lat": 46.5, "lon": 9.801}));
        assert_eq!(lost, json!({"kind": "strike", "drill": "2"}));
        let points = json!({"t_ms": [1000, 1000], "x": [98_000_000.0, 10_000.0], "y": [465_000_000.0, 0.0]});
        let track =
            hide(&mut veil, json!({"kind": "track", "drill": "1", "frame": "lonlat", "points": points}));
        assert_eq!(track["points"]["x"], json!([0.0, 77.0]));
        let away = hide(&mut veil, json!({"kind": "track", "frame": "lonlat", "points": points}));
        assert!(away.get("points").is_none());
    }

    #[test]
    fn a_key_is_made_once_and_kept() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        assert_eq!(key(&file).unwrap(), key(&file).unwrap());
        std::fs::write(&file, "secret").unwrap();
        assert!(format!("{:?}", key(&file).unwrap_err()).contains("64 hexadecimal"));
    }
}
