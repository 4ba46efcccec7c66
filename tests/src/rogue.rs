//! Somebody with a program of their own: changes, signatures and packs made by hand, honest or not. The format is that of `schemas/day.md`; nothing
//! here goes through a store or a logbook.

use ed25519_dalek::SigningKey;
use firnbook_core::day::format::{Put, encode};
use firnbook_core::day::{Actor, Beginning, Change, Cover, DayId, DeviceId, FIRST_MAX_OP, Hash, History};
use firnbook_core::exchange::{self, PackedDay};
use firnbook_core::store::DayContent;

/// A key, and one opening under it.
pub struct Rogue {
    /// The key.
    pub key: SigningKey,
    /// The opening.
    pub opening: [u8; 8],
}

/// The day of the tests, as it begins.
#[must_use]
pub fn beginning() -> Beginning {
    Beginning::of(crate::date(), "Upper Bowl")
}

/// The day of the tests.
#[must_use]
pub fn day() -> DayId {
    beginning().id()
}

/// The n-th of a row of made-up ids of entries.
#[must_use]
pub fn ulid(n: usize) -> String {
    format!("01KH5QX2M8Z4T6V9B3C1{n:06}")
}

/// A strike by hand, under the n-th id.
#[must_use]
pub fn body(n: usize, depth_cm: u32) -> (String, String) {
    let json = serde_json::json!({
        "id": ulid(n), "kind": "strike", "at": "2027-02-06T10:08:20.000+01:00", "by": "Rogue", "drill": "1", "target": "A",
        "depth_cm": depth_cm, "outcome": "hit",
    });
    (ulid(n), json.to_string())
}

impl Rogue {
    /// The n-th of them.
    #[must_use]
    pub fn new(n: u8) -> Rogue {
        Rogue { key: SigningKey::from_bytes(&[n; 32]), opening: [n; 8] }
    }

    /// Its device.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        DeviceId::of_key(&self.key.verifying_key().to_bytes())
    }

    /// Its actor in one history.
    #[must_use]
    pub fn actor(&self, history: History) -> Actor {
        Actor::new(self.device(), self.opening, history)
    }

    /// A change of entries in this place; without one before it, on the first change of the day.
    #[must_use]
    pub fn change(&self, seq: u32, before: Option<&Change>, puts: &[(String, String)]) -> Change {
        change(self.actor(History::Entries), seq, before, puts)
    }

    /// A signature over these tips.
    #[must_use]
    pub fn cover(&self, tips: &[&Change]) -> Cover {
        Cover::sign(&self.key, day(), tips.iter().map(|c| c.hash).collect())
    }

    /// A pack with this content, in the name of its device.
    #[must_use]
    pub fn pack(&self, changes: Vec<Change>, covers: Vec<Cover>, aside: Vec<Change>) -> Vec<u8> {
        let content = DayContent { beginning: beginning(), changes, covers, aside };
        let packed = PackedDay { id: day(), area: "Upper Bowl".to_owned(), content };
        exchange::write(self.device(), &[packed], None).expect("a pack")
    }
}

/// A change of any actor in any place.
#[must_use]
pub fn change(actor: Actor, seq: u32, before: Option<&Change>, puts: &[(String, String)]) -> Change {
    let (deps, start) = match before {
        Some(change) => (vec![change.hash], change.max_op() + 1),
        None => (vec![first()], FIRST_MAX_OP + 1),
    };
    let puts = puts.iter().map(|(key, text)| Put { key: key.clone(), text: text.clone() });
    encode(day().0, actor.0, seq, start, deps, puts.collect())
}

/// Hash of the first change of the tests' day.
#[must_use]
pub fn first() -> Hash {
    beginning().first_change().0
}
