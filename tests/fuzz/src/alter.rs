//! Choices that follow from one seed, and altering bytes without a form.

/// Alters the first `size` bytes of a buffer that has room for more, and returns how many there are then.
pub type AlterBytes = fn(&mut [u8], usize, usize) -> usize;

/// A source of choices.
pub struct Alter {
    state: u64,
    bytes: AlterBytes,
}

impl Alter {
    /// The choices of this seed; `bytes` alters what has no form.
    #[must_use]
    pub fn new(seed: u32, bytes: AlterBytes) -> Alter {
        Alter { state: u64::from(seed), bytes }
    }

    /// A number below `limit`; 0 where that is 0.
    pub fn roll(&mut self, limit: usize) -> usize {
        // The constants of Knuth's linear congruential generator (MMIX).
        self.state =
            self.state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.state >> 33) % limit.max(1) as u64) as usize
    }

    /// Alters bytes; they may become a few more.
    pub fn bytes(&mut self, part: &mut Vec<u8>) {
        let (size, more) = (part.len(), 1 + self.roll(24));
        part.resize(size + more, 0);
        let size = (self.bytes)(part, size, size + more);
        part.truncate(size);
    }

    /// Takes an element out, doubles one, or lets two change places.
    pub fn list<T: Clone>(&mut self, list: &mut Vec<T>) {
        if list.is_empty() {
            return;
        }
        let (a, b) = (self.roll(list.len()), self.roll(list.len()));
        match self.roll(3) {
            0 => drop(list.remove(a)),
            1 => list.insert(b, list[a].clone()),
            _ => list.swap(a, b),
        }
    }
}
