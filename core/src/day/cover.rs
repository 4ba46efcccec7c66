//! Covering signatures: what a device says of its histories in a day. One signature names the latest changes of both; through the hashes in each
//! change it covers all earlier ones. A change without one that covers it is in no figure.

use super::format::Hash;
use super::identity::{DayId, DeviceId};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use sha2::{Digest, Sha256};

/// What is signed begins with this, so that a signature over anything else is never taken for one over histories.
const CONTEXT: &[u8] = b"firnbook-history-1\n";

/// The most tips that one signature names; a device has one or two, and one more for each copy of its store that went on by itself.
pub const MAX_TIPS: usize = 64;

/// A signature of a device over the latest changes of its histories in one day.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cover {
    /// The ed25519 public key of the device.
    pub key: [u8; 32],
    /// Hashes of the latest changes, sorted.
    pub tips: Vec<Hash>,
    /// The signature.
    pub signature: [u8; 64],
}

impl Cover {
    /// Signs these tips of a day.
    #[must_use]
    pub fn sign(key: &SigningKey, day: DayId, mut tips: Vec<Hash>) -> Cover {
        tips.sort_unstable();
        tips.dedup();
        let signature = key.sign(&message(day, &tips)).to_bytes();
        Cover { key: key.verifying_key().to_bytes(), tips, signature }
    }

    /// A short name of it: 16 bytes of SHA-256 of its signature.
    #[must_use]
    pub fn id(&self) -> [u8; 16] {
        let mut id = [0; 16];
        id.copy_from_slice(&Sha256::digest(self.signature)[..16]);
        id
    }

    /// The device that it speaks for.
    #[must_use]
    pub fn device(&self) -> DeviceId {
        DeviceId::of_key(&self.key)
    }

    /// Whether it is in its one form and its key signed it for this day.
    #[must_use]
    pub fn is_good(&self, day: DayId) -> bool {
        let ordered = self.tips.windows(2).all(|pair| pair[0] < pair[1]);
        let bounded = (1..=MAX_TIPS).contains(&self.tips.len());
        let fits = |key: VerifyingKey| {
            key.verify_strict(&message(day, &self.tips), &Signature::from_bytes(&self.signature)).is_ok()
        };
        ordered && bounded && VerifyingKey::from_bytes(&self.key).is_ok_and(fits)
    }
}

fn message(day: DayId, tips: &[Hash]) -> Vec<u8> {
    let mut message = Vec::with_capacity(CONTEXT.len() + 16 + 32 * tips.len());
    message.extend_from_slice(CONTEXT);
    message.extend_from_slice(&day.0);
    tips.iter().for_each(|tip| message.extend_from_slice(tip));
    message
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cover_is_of_its_key_its_day_and_its_tips() {
        let key = SigningKey::from_bytes(&[7; 32]);
        let day = DayId([1; 16]);
        let cover = Cover::sign(&key, day, vec![[9; 32], [3; 32]]);
        assert_eq!(cover.tips, [[3; 32], [9; 32]]);
        assert!(cover.is_good(day));
        assert_eq!(cover.device(), DeviceId::of_key(&key.verifying_key().to_bytes()));
        assert!(!cover.is_good(DayId([2; 16])));
        assert!(!Cover { tips: vec![[9; 32], [3; 32]], ..cover.clone() }.is_good(day), "another order");
        assert!(!Cover { tips: vec![[3; 32]], ..cover.clone() }.is_good(day));
        let other = SigningKey::from_bytes(&[8; 32]).verifying_key().to_bytes();
        assert!(!Cover { key: other, ..cover.clone() }.is_good(day));
        assert!(!Cover::sign(&key, day, (0..65).map(|n| [n; 32]).collect()).is_good(day));
    }
}
