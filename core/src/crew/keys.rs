//! The keys of a device and of a crew: signing (ed25519), the live exchange (X25519, as Noise wants it), sealing (age), and the key that a crew
//! shares. They are made here and written down by whoever keeps them.

use super::{hex, unhex};
use age::secrecy::{ExposeSecret, SecretString};
use age::x25519::{Identity, Recipient};
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use std::fmt;

/// The name of the Noise protocol; its X25519 keys are made with the same library that uses them.
const NOISE: &str = "Noise_XX_25519_ChaChaPoly_BLAKE2s";

/// Which key of a crew is meant: 8 bytes of a hash of it.
pub type KeyId = [u8; 8];

/// The key that all devices of a crew share.
#[derive(Clone, PartialEq, Eq)]
pub struct CrewKey(pub [u8; 32]);

impl CrewKey {
    /// A fresh key.
    ///
    /// # Errors
    /// Where the system gives no random numbers.
    pub fn fresh() -> Result<CrewKey, getrandom::Error> {
        random().map(CrewKey)
    }

    /// Its short name, from which the key can't be found.
    #[must_use]
    pub fn id(&self) -> KeyId {
        let hash = Sha256::new().chain_update(b"firnbook-crew-key-1\n").chain_update(self.0).finalize();
        let mut id = [0; 8];
        id.copy_from_slice(&hash[..8]);
        id
    }
}

/// Sealing with a passphrase is made slow on purpose, against guessing; this one is 256 random bits, so the least will do. A file that asks for
/// more than this is not one of ours.
const SEAL_WORK_LOG_N: u8 = 10;

impl CrewKey {
    /// Seals bytes to the crew, as age does with a passphrase; `None` where that fails.
    #[must_use]
    pub fn seal(&self, bytes: &[u8]) -> Option<Vec<u8>> {
        let mut recipient = age::scrypt::Recipient::new(self.passphrase());
        recipient.set_work_factor(SEAL_WORK_LOG_N);
        age::encrypt(&recipient, bytes).ok()
    }

    /// Opens what was sealed to the crew; `None` where it was not, or is damaged.
    #[must_use]
    pub fn open(&self, sealed: &[u8]) -> Option<Vec<u8>> {
        let mut identity = age::scrypt::Identity::new(self.passphrase());
        identity.set_max_work_factor(SEAL_WORK_LOG_N);
        age::decrypt(&identity, sealed).ok()
    }

    /// Not the key itself: what seals files says nothing about what opens the live exchange.
    fn passphrase(&self) -> SecretString {
        let hash = Sha256::new().chain_update(b"firnbook-sealed-pack-1\n").chain_update(self.0).finalize();
        SecretString::from(hex(&hash))
    }
}

impl fmt::Debug for CrewKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "CrewKey({})", hex(&self.id()))
    }
}

fn random<const N: usize>() -> Result<[u8; N], getrandom::Error> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes)?;
    Ok(bytes)
}

/// The keys of one device.
#[derive(Clone)]
pub struct DeviceKeys {
    sign: SigningKey,
    exchange_secret: [u8; 32],
    exchange: [u8; 32],
    seal: Identity,
}

/// The keys of one device as they are written down, hexadecimal. Only for the file that nobody else may read.
#[derive(Serialize, Deserialize)]
pub struct Secrets {
    sign: String,
    exchange_secret: String,
    exchange: String,
    seal: String,
}

impl fmt::Debug for DeviceKeys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "DeviceKeys({})", hex(&self.signs_as()[..4]))
    }
}

impl DeviceKeys {
    /// Fresh keys.
    ///
    /// # Errors
    /// Where the system gives no random numbers.
    pub fn fresh() -> Result<DeviceKeys, getrandom::Error> {
        let sign = SigningKey::from_bytes(&random()?);
        let pair = NOISE.parse().ok().and_then(|p| snow::Builder::new(p).generate_keypair().ok());
        let pair = pair.and_then(|p| Some((p.private.try_into().ok()?, p.public.try_into().ok()?)));
        let (exchange_secret, exchange) = pair.ok_or(getrandom::Error::UNEXPECTED)?;
        Ok(DeviceKeys { sign, exchange_secret, exchange, seal: Identity::generate() })
    }

    /// For the file.
    #[must_use]
    pub fn secrets(&self) -> Secrets {
        Secrets {
            sign: hex(self.sign.as_bytes()),
            exchange_secret: hex(&self.exchange_secret),
            exchange: hex(&self.exchange),
            seal: self.seal.to_string().expose_secret().to_owned(),
        }
    }

    /// From the file; `None` where it is damaged.
    #[must_use]
    pub fn read(secrets: &Secrets) -> Option<DeviceKeys> {
        Some(DeviceKeys {
            sign: SigningKey::from_bytes(&unhex(&secrets.sign)?),
            exchange_secret: unhex(&secrets.exchange_secret)?,
            exchange: unhex(&secrets.exchange)?,
            seal: secrets.seal.parse().ok()?,
        })
    }

    /// The public key by which its signatures are known.
    #[must_use]
    pub fn signs_as(&self) -> [u8; 32] {
        self.sign.verifying_key().to_bytes()
    }

    /// The public key by which it is known in a live exchange.
    #[must_use]
    pub fn exchanges_as(&self) -> [u8; 32] {
        self.exchange
    }

    /// The secret half of that.
    #[must_use]
    pub fn exchange_secret(&self) -> &[u8; 32] {
        &self.exchange_secret
    }

    /// The public key to which things are sealed for it, as age writes it.
    #[must_use]
    pub fn seals_as(&self) -> String {
        self.seal.to_public().to_string()
    }

    /// Signs.
    #[must_use]
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        self.sign.sign(message).to_bytes()
    }

    /// Opens what was sealed to this device; `None` where it was not, or is damaged.
    #[must_use]
    pub fn open(&self, sealed: &[u8]) -> Option<Vec<u8>> {
        age::decrypt(&self.seal, sealed).ok()
    }
}

/// Seals bytes to the public key of a device; `None` where that is no key.
#[must_use]
pub fn seal_for(recipient: &str, bytes: &[u8]) -> Option<Vec<u8>> {
    age::encrypt(&recipient.parse::<Recipient>().ok()?, bytes).ok()
}

/// The signature is of this key and this message.
#[must_use]
pub fn verify(key: &[u8; 32], message: &[u8], signature: &[u8; 64]) -> bool {
    VerifyingKey::from_bytes(key)
        .is_ok_and(|k| k.verify_strict(message, &Signature::from_bytes(signature)).is_ok())
}

/// The secret of an invitation: whoever has it may sign one device into the crew.
#[derive(Clone)]
pub struct Ticket(SigningKey);

impl Ticket {
    /// A fresh one.
    ///
    /// # Errors
    /// Where the system gives no random numbers.
    pub fn fresh() -> Result<Ticket, getrandom::Error> {
        Ok(Ticket::from_secret(&random()?))
    }

    /// As it stands in an invitation.
    #[must_use]
    pub fn from_secret(secret: &[u8; 32]) -> Ticket {
        Ticket(SigningKey::from_bytes(secret))
    }

    /// For an invitation.
    #[must_use]
    pub fn secret(&self) -> [u8; 32] {
        self.0.to_bytes()
    }

    /// The public half, which the inviter signs into the roster.
    #[must_use]
    pub fn public(&self) -> [u8; 32] {
        self.0.verifying_key().to_bytes()
    }

    /// Signs.
    #[must_use]
    pub fn sign(&self, message: &[u8]) -> [u8; 64] {
        self.0.sign(message).to_bytes()
    }
}

impl fmt::Debug for Ticket {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Ticket({})", hex(&self.public()[..4]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_read_back_from_what_is_written_down() {
        let keys = DeviceKeys::fresh().unwrap();
        let text = serde_json::to_string(&keys.secrets()).unwrap();
        let again = DeviceKeys::read(&serde_json::from_str(&text).unwrap()).unwrap();
        assert_eq!(
            (again.signs_as(), again.exchanges_as(), again.seals_as()),
            (keys.signs_as(), keys.exchanges_as(), keys.seals_as())
        );
        let signature = again.sign(b"a day");
        assert!(verify(&keys.signs_as(), b"a day", &signature));
        assert!(!verify(&keys.signs_as(), b"another day", &signature));
        let sealed = seal_for(&keys.seals_as(), b"a key").unwrap();
        assert_eq!(again.open(&sealed).unwrap(), b"a key");
        assert_eq!(DeviceKeys::fresh().unwrap().open(&sealed), None);
    }

    #[test]
    fn what_is_sealed_to_a_crew_opens_to_its_key_only() {
        let key = CrewKey([7; 32]);
        let sealed = key.seal(b"a day").unwrap();
        assert_eq!(key.open(&sealed).unwrap(), b"a day");
        assert_eq!(CrewKey([8; 32]).open(&sealed), None);
        for at in 0..sealed.len() {
            let mut altered = sealed.clone();
            altered[at] ^= 1;
            assert_eq!(key.open(&altered), None, "byte {at}");
            assert_eq!(key.open(&sealed[..at]), None, "cut at {at}");
        }
    }

    #[test]
    fn a_debug_print_shows_no_secret() {
        let (keys, key, ticket) =
            (DeviceKeys::fresh().unwrap(), CrewKey::fresh().unwrap(), Ticket::fresh().unwrap());
        let shown = format!("{keys:?} {key:?} {ticket:?}");
        let secrets = keys.secrets();
        for secret in [secrets.sign, secrets.exchange_secret, hex(&key.0), hex(&ticket.secret())] {
            assert!(!shown.contains(&secret[..8]), "{shown}");
        }
    }

    /// Source: RFC 8032, section 7.1, test 2.
    #[test]
    fn a_signature_of_the_standard_is_known() {
        let key = unhex("3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c").unwrap();
        let signature = unhex(
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
        )
        .unwrap();
        assert!(verify(&key, &[0x72], &signature));
        assert!(!verify(&key, &[0x73], &signature));
    }
}
