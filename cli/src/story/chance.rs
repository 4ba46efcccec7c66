//! Chance that is the same for the same seed, so that a story can be told again: SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).

/// A source of numbers.
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// The source of a seed; `stream` keeps several of one seed apart.
    #[must_use]
    pub fn new(seed: u64, stream: u64) -> Chance {
        Chance(seed ^ stream.wrapping_mul(0xA076_1D64_78BD_642F))
    }

    /// The next number.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let z = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A whole number from 0 up to and without `end`.
    pub fn up_to(&mut self, end: u64) -> i64 {
        (self.next() % end.max(1)).cast_signed()
    }

    /// Bytes for an id.
    pub fn bytes(&mut self) -> [u8; 10] {
        let (one, other) = (self.next().to_be_bytes(), self.next().to_be_bytes());
        let mut bytes = [0; 10];
        bytes[..8].copy_from_slice(&one);
        bytes[8..].copy_from_slice(&other[..2]);
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_reference_sequence() {
        // Source: splitmix64.c (Vigna, 2015) from the state 1234567; the values are from memory.
        let mut chance = Chance(1_234_567);
        assert_eq!(chance.next(), 6_457_827_717_110_365_317);
        assert_eq!(chance.next(), 3_203_168_211_198_807_973);
    }
}
