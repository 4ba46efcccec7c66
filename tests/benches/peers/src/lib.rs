//! One piece of work done with other libraries, so that a bench can put Firnbook's figure beside theirs in the same run.
//!
//! The work: many devices have written entries offline. One store takes in what they wrote, a device at a time. Each device is one durable
//! transaction. It leaves the document merged, a row for every entry, and the bytes that came from the device.
//!
//! Each library is used in the fastest way that was found. What differs from Firnbook: nothing is signed, nothing is verified beyond what
//! the library does itself, and a row has fewer columns.

#![cfg(feature = "peers")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap in a bench is a failed bench")]

mod bare;
mod ours;
mod store;
mod with_loro;
mod with_yrs;

use std::time::Duration;

pub use bare::{BareDevice, bare_merge};
pub use ours::Ours;
pub use with_loro::{loro_device, loro_merge};
pub use with_yrs::{yrs_device, yrs_merge};

/// An entry as a document holds it: its key, and its JSON text.
pub type KeyedEntry = (String, String);

/// What the devices wrote, prepared once for each library.
pub struct Peers {
    loro: Vec<Vec<u8>>,
    yrs: Vec<Vec<u8>>,
    bare: Vec<BareDevice>,
}

impl Peers {
    /// Lets every device write its entries. The `n`-th entry of all has the key `key(n)` and the text `json(n)`; the first device writes the
    /// first `entries` of them, and so on.
    #[must_use]
    pub fn prepare(devices: usize, entries: usize, json: impl Fn(usize) -> String) -> Peers {
        let written: Vec<Vec<KeyedEntry>> = (0..devices)
            .map(|device| (device * entries..(device + 1) * entries).map(|n| (key(n), json(n))).collect())
            .collect();
        Peers {
            loro: (1..).zip(&written).map(|(peer, entries)| loro_device(peer, entries)).collect(),
            yrs: (1..).zip(&written).map(|(client, entries)| yrs_device(client, entries)).collect(),
            bare: (1..).zip(written).map(|(actor, entries)| BareDevice::new(actor, entries)).collect(),
        }
    }

    /// Merges all devices with loro once. Processor time in microseconds.
    #[must_use]
    pub fn loro_once(&self) -> f64 {
        us(loro_merge(&self.loro))
    }

    /// Merges all devices with yrs once. Processor time in microseconds.
    #[must_use]
    pub fn yrs_once(&self) -> f64 {
        us(yrs_merge(&self.yrs))
    }

    /// Inserts the same rows, and a change for every entry, with no library that merges. Processor time in microseconds.
    #[must_use]
    pub fn bare_once(&self) -> f64 {
        us(bare_merge(&self.bare))
    }
}

fn us(time: Duration) -> f64 {
    time.as_secs_f64() * 1e6
}

/// The key of the `n`-th entry: a ULID whose time is that of [`strike`], and whose other bits differ without order.
#[must_use]
pub fn key(n: usize) -> String {
    // The finalizer of SplitMix64 (Steele, Lea and Flood 2014): the same keys in every run, and no two alike.
    let mut bits = (n as u64).wrapping_add(0x9e37_79b9_7f4a_7c15);
    bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    bits ^= bits >> 31;
    ulid::Ulid::from_parts(at_ms(n).unsigned_abs(), u128::from(bits)).to_string()
}

/// A probe strike as a phone writes it, about 220 bytes of JSON.
#[must_use]
pub fn strike(n: usize) -> String {
    let at = chrono::DateTime::from_timestamp_millis(at_ms(n)).unwrap();
    let at = at.with_timezone(&chrono::FixedOffset::east_opt(3600).unwrap());
    let at = at.to_rfc3339_opts(chrono::SecondsFormat::Millis, false);
    format!(
        concat!(
            r#"{{"id":"{id}","kind":"strike","at":"{at}","by":"Obs{by}","drill":"{drill}","target":"A","depth_cm":{depth},"#,
            r#""outcome":"hit","direction":"slope_normal","lowest_reading_m":1.3,"holes":7}}"#
        ),
        id = key(n),
        at = at,
        by = n % 8,
        drill = n % 6,
        depth = 40 + n % 150,
    )
}

/// Seven seconds from one entry to the next, from 2027-02-06, 10:00 at UTC+1.
fn at_ms(n: usize) -> i64 {
    1_801_904_400_000 + n as i64 * 7000
}
