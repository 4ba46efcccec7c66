//! A crew of a test: a base and phones that hold invitations, and ways to let them exchange.

use firnbook_core::exchange::{self, Called, LAN_LIMITS, LanError, LanLimits, Stop};
use firnbook_tests::Phone;
use std::net::SocketAddr;

/// A base and its phones.
pub struct Team {
    /// The one that founded the crew.
    pub base: Phone,
    /// Those that hold an invitation; their first exchange lets them in.
    pub phones: Vec<Phone>,
}

impl Team {
    /// A crew with so many phones.
    pub fn new(phones: usize) -> Team {
        let mut base = Phone::new("Base");
        base.book.found_crew("Base").unwrap();
        let phones = (0..phones).map(|n| {
            let invitation = base.book.invite(1, Vec::new(), Some(base.day)).unwrap();
            let mut phone = Phone::bare(&format!("Obs{n}"));
            phone.book.join_crew(&invitation, &format!("Phone {n}")).unwrap();
            phone
        });
        Team { phones: phones.collect(), base }
    }
}

/// A base that listens on this machine.
pub struct Base {
    /// What listens.
    pub base: exchange::Base,
    /// Where.
    pub at: SocketAddr,
}

impl Base {
    /// Listens.
    pub fn listen(phone: &Phone) -> Base {
        Base::within(phone, LAN_LIMITS)
    }

    /// Listens within other limits.
    pub fn within(phone: &Phone, limits: LanLimits) -> Base {
        Base::at(phone, "127.0.0.1:0", limits)
    }

    /// Listens at an address.
    pub fn at(phone: &Phone, at: &str, limits: LanLimits) -> Base {
        let host = phone.book.host(&phone.name).unwrap();
        let at = Some(at.parse().unwrap());
        let base = exchange::Base::listen_within(&host, at, &Stop::new(), limits).unwrap();
        Base { at: base.addresses()[0], base }
    }
}

/// A phone exchanges with a base.
pub fn sync(phone: &Phone, base: &Base) -> Result<Called, LanError> {
    sync_at(phone, base.at)
}

/// A phone exchanges with who listens at an address.
pub fn sync_at(phone: &Phone, at: SocketAddr) -> Result<Called, LanError> {
    let host = phone.book.host(&phone.name).unwrap();
    exchange::call(&host, &[at.to_string()], &Stop::new(), &mut |_| {})
}
