//! The same work as Firnbook does it: packs are read strictly, signatures checked, changes, rows and entries kept.

use crate::strike;
use cpu_time::ProcessTime;
use firnbook_core::day::format::{Bounds, read_document};
use firnbook_core::exchange;
use firnbook_core::logbook::Draft;
use firnbook_tests::{Phone, map};
use sha2::{Digest, Sha256};

/// Packs of devices that each wrote their entries one by one.
pub struct Ours {
    packs: Vec<Vec<u8>>,
    entries: usize,
}

impl Ours {
    /// Lets every device write its entries, as [`crate::Peers::prepare`] does.
    #[must_use]
    pub fn prepare(devices: usize, entries: usize) -> Ours {
        let pack = |device: usize| {
            let mut phone = Phone::new(&format!("Obs{device}"));
            for n in device * entries..(device + 1) * entries {
                let json = map(serde_json::from_str(&strike(n)).unwrap());
                phone.book.log(phone.day, "Obs1", vec![Draft { json, line: None }], false).unwrap();
            }
            phone.pack()
        };
        Ours { packs: (0..devices).map(pack).collect(), entries: devices * entries }
    }

    /// Merges all packs once. Processor time in microseconds; making the empty store is outside.
    ///
    /// # Panics
    /// If an entry is missing afterwards.
    #[must_use]
    pub fn once(&self) -> f64 {
        let mut base = Phone::bare("Base");
        let begun = ProcessTime::now();
        for pack in &self.packs {
            base.book.merge(pack, false).unwrap();
        }
        let took = begun.elapsed().as_secs_f64() * 1e6;
        assert_eq!(base.book.day(base.day).unwrap().entries, self.entries);
        took
    }

    /// Processor time of reading the document of the merged day, against SHA-256 over its changes.
    #[must_use]
    pub fn reading(&self) -> f64 {
        let mut base = Phone::bare("Base");
        self.packs.iter().for_each(|pack| drop(base.book.merge(pack, false).unwrap()));
        let content = exchange::read(&base.pack()).unwrap().1.remove(0).content;
        let document = firnbook_core::day::Document::of(&content.beginning, &content.changes).unwrap().save();
        let begun = ProcessTime::now();
        let read = read_document(base.day.0, &document, &Bounds::default()).unwrap();
        let reading = begun.elapsed().as_secs_f64();
        let begun = ProcessTime::now();
        let hashes: Vec<[u8; 32]> = read.changes.iter().map(|c| Sha256::digest(&c.bytes).into()).collect();
        let hashing = begun.elapsed().as_secs_f64();
        assert_eq!(hashes.len(), read.changes.len());
        reading / hashing
    }

    /// Bytes of the merged day's pack, against those of its document alone and 100 bytes a device.
    #[must_use]
    pub fn size(&self) -> (usize, usize) {
        let mut base = Phone::bare("Base");
        self.packs.iter().for_each(|pack| drop(base.book.merge(pack, false).unwrap()));
        let pack = base.pack();
        let content = exchange::read(&pack).unwrap().1.remove(0).content;
        let document = firnbook_core::day::Document::of(&content.beginning, &content.changes).unwrap();
        (pack.len(), document.save().len() + 100 * self.packs.len())
    }

    /// Bytes of the merged day's store an entry, as SQLite counts pages: open, and once closed and folded.
    #[must_use]
    pub fn disk(&self) -> [f64; 2] {
        let mut base = Phone::bare("Base");
        self.packs.iter().for_each(|pack| drop(base.book.merge(pack, false).unwrap()));
        let bytes = |base: &Phone| {
            let conn = rusqlite::Connection::open(base.path()).unwrap();
            let pragma = |name: &str| -> i64 { conn.pragma_query_value(None, name, |r| r.get(0)).unwrap() };
            let used = (pragma("page_count") - pragma("freelist_count")) * pragma("page_size");
            used as f64 / self.entries as f64
        };
        let open = bytes(&base);
        base.book.close_day(base.day, Some("the bench is over"), "Base").unwrap();
        [open, bytes(&base)]
    }
}
