//! An invitation as text: short enough for a QR code, safe against slips of typing and cuts. Whoever reads it can join; it is as secret as a key.
//!
//! `FIRN-` and then, in Crockford's base 32: version, crew, crew key, secret of the ticket, end, where base listens, date and area of the day,
//! and 4 bytes of SHA-256 over all before. First byte and checksum stay where they are in every later version.

use super::keys::{CrewKey, Ticket};
use super::roster::CrewId;
use chrono::NaiveDate;
use sha2::{Digest, Sha256};
use std::net::{IpAddr, SocketAddr};

const PREFIX: &str = "FIRN-";
const VERSION: u8 = 1;
const CHECKSUM_BYTES: usize = 4;
const ALPHABET: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";
/// Longer is no invitation: 255 bytes of area and 255 addresses would be.
const TEXT_BYTES: usize = 8_000;

/// What lets one device into a crew.
#[derive(Clone, Debug)]
pub struct Invitation {
    /// The crew.
    pub crew: CrewId,
    /// Its key.
    pub key: CrewKey,
    /// Signs the device in.
    pub ticket: Ticket,
    /// Up to when, in seconds since 1970 UTC.
    pub until: i64,
    /// Where base listens, the likeliest first.
    pub addresses: Vec<SocketAddr>,
    /// The day that is on: date and area.
    pub day: Option<(NaiveDate, String)>,
}

/// Why a text is no invitation that can be used.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum InvitationError {
    /// It does not begin like one.
    #[error("this is no invitation: one begins with {PREFIX}")]
    NotOne,
    /// Characters are missing, too many or other ones.
    #[error(
        "this invitation was cut or altered on the way: its checksum does not fit; scan it again, or ask for it again"
    )]
    Altered,
    /// Of another version of the program.
    #[error(
        "this invitation is of version {0}, this program reads version {VERSION}; both sides need the same Firnbook, install the newer one"
    )]
    OtherVersion(u8),
    /// Its time is over.
    #[error("this invitation ended {ago}; ask for a new one, and check this device's clock if that can't be")]
    Over {
        /// How long ago, in words.
        ago: String,
    },
}

impl Invitation {
    /// As text: letters, digits and a dash.
    #[must_use]
    pub fn to_text(&self) -> String {
        let mut bytes = vec![VERSION];
        bytes.extend_from_slice(&self.crew);
        bytes.extend_from_slice(&self.key.0);
        bytes.extend_from_slice(&self.ticket.secret());
        bytes.extend_from_slice(&self.until.to_be_bytes());
        let addresses = &self.addresses[..self.addresses.len().min(255)];
        bytes.push(addresses.len() as u8);
        for address in addresses {
            match address.ip() {
                IpAddr::V4(ip) => {
                    bytes.push(4);
                    bytes.extend_from_slice(&ip.octets());
                }
                IpAddr::V6(ip) => {
                    bytes.push(6);
                    bytes.extend_from_slice(&ip.octets());
                }
            }
            bytes.extend_from_slice(&address.port().to_be_bytes());
        }
        if let Some((date, area)) = &self.day {
            bytes.extend_from_slice(format!("{} {area}", date.format("%Y-%m-%d")).as_bytes());
        }
        let checksum = Sha256::digest(&bytes);
        bytes.extend_from_slice(&checksum[..CHECKSUM_BYTES]);
        format!("{PREFIX}{}", base32(&bytes))
    }

    /// Reads one; small letters, spaces and line breaks do no harm. That it is still good is for [`Invitation::check`].
    ///
    /// # Errors
    /// [`InvitationError`].
    pub fn read(text: &str) -> Result<Invitation, InvitationError> {
        if text.len() > TEXT_BYTES {
            return Err(InvitationError::NotOne);
        }
        let text: String =
            text.chars().filter(|c| !c.is_whitespace()).map(|c| c.to_ascii_uppercase()).collect();
        let digits = text.strip_prefix(PREFIX).ok_or(InvitationError::NotOne)?;
        let bytes = from_base32(digits).ok_or(InvitationError::Altered)?;
        let (body, checksum) = bytes
            .split_at_checked(bytes.len().wrapping_sub(CHECKSUM_BYTES))
            .ok_or(InvitationError::Altered)?;
        if Sha256::digest(body)[..CHECKSUM_BYTES] != *checksum {
            return Err(InvitationError::Altered);
        }
        match body.split_first() {
            Some((&VERSION, rest)) => Invitation::read_body(rest).ok_or(InvitationError::Altered),
            Some((other, _)) => Err(InvitationError::OtherVersion(*other)),
            None => Err(InvitationError::Altered),
        }
    }

    fn read_body(mut rest: &[u8]) -> Option<Invitation> {
        let (crew, key, secret) = (take(&mut rest)?, CrewKey(take(&mut rest)?), take(&mut rest)?);
        let until = i64::from_be_bytes(take(&mut rest)?);
        let [n] = take(&mut rest)?;
        let mut addresses = Vec::with_capacity(usize::from(n));
        for _ in 0..n {
            let ip = match take::<1>(&mut rest)? {
                [4] => IpAddr::from(take::<4>(&mut rest)?),
                [6] => IpAddr::from(take::<16>(&mut rest)?),
                _ => return None,
            };
            addresses.push(SocketAddr::new(ip, u16::from_be_bytes(take(&mut rest)?)));
        }
        let day = match std::str::from_utf8(rest).ok()? {
            "" => None,
            text => {
                let (date, area) = text.split_once(' ')?;
                Some((date.parse().ok()?, area.to_owned()))
            }
        };
        Some(Invitation { crew, key, ticket: Ticket::from_secret(&secret), until, addresses, day })
    }

    /// It is still good at this second.
    ///
    /// # Errors
    /// [`InvitationError::Over`].
    pub fn check(&self, now: i64) -> Result<(), InvitationError> {
        let seconds = now.saturating_sub(self.until);
        if seconds <= 0 {
            return Ok(());
        }
        let ago = match seconds {
            0..120 => "just now".to_owned(),
            120..7_200 => format!("{} minutes ago", seconds / 60),
            7_200..172_800 => format!("{} hours ago", seconds / 3_600),
            _ => format!("{} days ago", seconds / 86_400),
        };
        Err(InvitationError::Over { ago })
    }
}

fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (taken, after) = rest.split_first_chunk::<N>()?;
    *rest = after;
    Some(*taken)
}

fn base32(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len() * 8 / 5 + 1);
    let (mut held, mut bits) = (0_u32, 0);
    for byte in bytes {
        held = held << 8 | u32::from(*byte);
        bits += 8;
        while bits >= 5 {
            bits -= 5;
            text.push(char::from(ALPHABET[(held >> bits & 31) as usize]));
        }
        held &= (1 << bits) - 1;
    }
    if bits > 0 {
        text.push(char::from(ALPHABET[(held << (5 - bits) & 31) as usize]));
    }
    text
}

fn from_base32(text: &str) -> Option<Vec<u8>> {
    let mut bytes = Vec::with_capacity(text.len() * 5 / 8);
    let (mut held, mut bits) = (0_u32, 0);
    for c in text.bytes() {
        let c = match c {
            b'O' => b'0',
            b'I' | b'L' => b'1',
            other => other,
        };
        held = held << 5 | u32::try_from(ALPHABET.iter().position(|a| *a == c)?).ok()?;
        bits += 5;
        if bits >= 8 {
            bits -= 8;
            bytes.push((held >> bits) as u8);
        }
        held &= (1 << bits) - 1;
    }
    // Nothing but the padding of the last character may be left over.
    (bits < 5 && held == 0).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one() -> Invitation {
        Invitation {
            crew: [3; 16],
            key: CrewKey([4; 32]),
            ticket: Ticket::from_secret(&[5; 32]),
            until: 1_801_904_400,
            addresses: vec!["192.0.2.7:4711".parse().unwrap(), "[2001:db8::1]:4711".parse().unwrap()],
            day: Some((NaiveDate::from_ymd_opt(2027, 2, 6).unwrap(), "Upper Bowl".to_owned())),
        }
    }

    #[test]
    fn it_reads_back_and_forgives_spaces_and_small_letters() {
        let text = one().to_text();
        let broken: String = text
            .to_lowercase()
            .chars()
            .collect::<Vec<_>>()
            .chunks(40)
            .map(|c| format!("{}\n ", c.iter().collect::<String>()))
            .collect();
        for text in [text, broken] {
            let read = Invitation::read(&text).unwrap();
            assert_eq!((read.crew, &read.key, read.ticket.secret()), ([3; 16], &one().key, [5; 32]));
            assert_eq!((&read.addresses, &read.day, read.until), (&one().addresses, &one().day, one().until));
        }
        let bare = Invitation { addresses: Vec::new(), day: None, ..one() };
        let read = Invitation::read(&bare.to_text()).unwrap();
        assert!(read.addresses.is_empty() && read.day.is_none());
    }

    #[test]
    fn every_cut_and_every_other_letter_is_noticed() {
        let text = one().to_text();
        for end in 0..text.len() {
            assert!(Invitation::read(&text[..end]).is_err(), "cut at {end}");
        }
        for at in PREFIX.len()..text.len() {
            let mut altered = text.clone().into_bytes();
            altered[at] = if altered[at] == b'7' { b'8' } else { b'7' };
            let altered = String::from_utf8(altered).unwrap();
            assert_eq!(Invitation::read(&altered).unwrap_err(), InvitationError::Altered, "at {at}");
        }
        assert_eq!(Invitation::read("hello").unwrap_err(), InvitationError::NotOne);
    }

    #[test]
    fn another_version_and_an_ended_one_say_so() {
        let mut bytes = from_base32(one().to_text().strip_prefix(PREFIX).unwrap()).unwrap();
        bytes.truncate(bytes.len() - CHECKSUM_BYTES);
        bytes[0] = 2;
        let checksum = Sha256::digest(&bytes);
        bytes.extend_from_slice(&checksum[..CHECKSUM_BYTES]);
        let text = format!("{PREFIX}{}", base32(&bytes));
        assert_eq!(Invitation::read(&text).unwrap_err(), InvitationError::OtherVersion(2));
        assert!(one().check(1_801_904_400).is_ok());
        let over = one().check(1_801_904_400 + 3 * 3_600).unwrap_err();
        assert!(over.to_string().contains("3 hours ago"), "{over}");
        assert!(one().check(0).is_ok());
    }
}
