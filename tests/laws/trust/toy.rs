//! Toy keys, hashes and signatures. They are as good as real ones as long as nobody calls `Secret` for a key that he does not own.

use firnbook_core::day::{ChangeHead, Covered, Hash};
use std::hash::{DefaultHasher, Hash as _, Hasher};

/// The day of the model, and its first change.
pub const DAY: u8 = 6;
pub const FIRST: Hash = [7; 32];

/// Thirty-two bytes that depend on all of `content`.
pub fn toy_hash(content: impl std::hash::Hash) -> Hash {
    let mut hash = [0; 32];
    for (lane, bytes) in hash.chunks_exact_mut(8).enumerate() {
        let mut hasher = DefaultHasher::new();
        (lane, &content).hash(&mut hasher);
        bytes.copy_from_slice(&hasher.finish().to_be_bytes());
    }
    hash
}

/// A change with the hash of its content. `text` stands for its operations.
pub fn change(actor: [u8; 24], seq: u32, ops: (u32, u32), deps: Vec<Hash>, text: u64) -> ChangeHead {
    let hash = toy_hash((actor, seq, ops, &deps, text));
    ChangeHead { hash, actor, seq, start_op: ops.0, max_op: ops.1, deps }
}

/// A private key.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Secret(pub u64);

impl Secret {
    pub fn public(self) -> u64 {
        self.0.wrapping_mul(0x9e37_79b9_7f4a_7c15)
    }

    pub fn device(self) -> [u8; 16] {
        device_of_key(self.public())
    }

    pub fn sign(self, day: u8, mut tips: Vec<Hash>) -> Signed {
        tips.sort_unstable();
        Signed { key: self.public(), seal: seal(self.public(), day, &tips), tips }
    }
}

/// A covering signature as it travels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Signed {
    pub key: u64,
    pub seal: u64,
    pub tips: Vec<Hash>,
}

impl Signed {
    /// What it says, if the key of the device that it names signed it for this day.
    pub fn verified(&self, day: u8) -> Option<Covered> {
        let good = self.seal == seal(self.key, day, &self.tips);
        good.then(|| Covered { device: device_of_key(self.key), tips: self.tips.clone() })
    }
}

fn seal(key: u64, day: u8, tips: &[Hash]) -> u64 {
    let mut hasher = DefaultHasher::new();
    (key, day, tips).hash(&mut hasher);
    hasher.finish()
}

fn device_of_key(key: u64) -> [u8; 16] {
    let mut device = [0; 16];
    device.copy_from_slice(&toy_hash(key)[..16]);
    device
}

/// Small reproducible random numbers.
#[derive(Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Dice {
        Dice(seed | 1)
    }

    /// A number below `end`; 0 where `end` is 0.
    pub fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % end.max(1)
    }

    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> Option<&'a T> {
        of.get(self.below(of.len()))
    }

    /// Each of `all` with a chance of `percent`, some twice, in random order.
    pub fn some_of<T: Clone>(&mut self, all: &[T], percent: usize) -> Vec<T> {
        let mut some: Vec<T> = Vec::new();
        for item in all {
            while self.below(100) < percent {
                let at = self.below(some.len() + 1);
                some.insert(at, item.clone());
                if self.below(4) > 0 {
                    break;
                }
            }
        }
        some
    }
}
