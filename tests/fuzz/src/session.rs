//! One side of a session: frames come in that nobody honest sent, and then the device has a session with an honest one.

use crate::devices::{self, Device};
use crate::frames::{self, Frame};
use crate::{memory, tree};
use ciborium::Value;
use firnbook_core::exchange::{Host, Peer, Role, Session};
use firnbook_core::logbook::Logbook;
use std::sync::Arc;

/// The most that a session may allocate for frames, what came of a document, and the changes made from it.
const MEMORY: usize = 256 << 20;
/// Two honest devices hold the same after so many sessions at the most.
const SESSIONS: usize = 4;
const HELLO: u8 = 1;

/// Which side of a session is checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// The base, which was called.
    Base,
    /// The phone, which calls.
    Caller,
}

/// How the other side is known, by the first byte of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Setting {
    /// By a cable; this device is in no crew.
    Cable,
    /// As a member of the crew.
    Member,
    /// As a device with an invitation to the crew.
    Invited,
    /// As a member with a key that is no longer the crew's.
    OldKey,
}

impl Setting {
    /// The setting that the first byte of an input names.
    #[must_use]
    pub fn of(byte: u8) -> Setting {
        [Setting::Cable, Setting::Member, Setting::Invited, Setting::OldKey][usize::from(byte % 4)]
    }

    /// What is known of the other side.
    #[must_use]
    pub fn peer(self) -> Peer {
        match self {
            Setting::Cable => Peer::Cable,
            Setting::Member => devices::peer(devices::OTHER, 0),
            Setting::Invited => devices::peer(devices::INVITED, 0),
            Setting::OldKey => devices::peer(devices::OTHER, 1),
        }
    }

    fn in_crew(self) -> bool {
        self != Setting::Cable
    }
}

impl Target {
    /// The number of the device that is checked, and its role.
    #[must_use]
    pub fn checked(self) -> (u8, Role) {
        match self {
            Target::Base => (devices::BASE, Role::Base),
            Target::Caller => (devices::PHONE, Role::Caller),
        }
    }

    /// The number of the honest device that it meets afterwards.
    fn honest(self) -> u8 {
        if self == Target::Base { devices::PHONE } else { devices::BASE }
    }
}

/// Checks an input. `true`: something of it was kept.
pub fn check(target: Target, data: &[u8]) -> bool {
    let (byte, mut frames) = frames::parse(data);
    let setting = Setting::of(byte);
    let ((number, role), honest) = (target.checked(), target.honest());
    let device = Device::new(number, setting.in_crew());
    let host = device.host();
    if frames.first().is_none_or(|frame| frame.number != HELLO) {
        frames.insert(0, hello(&host, setting));
    }
    let ((), peak) = memory::peak(|| {
        let mut session = Session::new(&host, role, setting.peer()).expect("a session");
        for frame in &frames {
            while session.outgoing().is_some() {}
            session.incoming(&frame.wire());
        }
        while session.outgoing().is_some() {}
        let _ = session.outcome();
    });
    assert!(peak <= MEMORY, "{peak} bytes allocated for {}", data.len());
    let changed = !device.is_as_in_the_beginning();
    // A session with an honest device takes most of the time: where nothing was kept, a few of them do.
    if changed || data.len().is_multiple_of(16) {
        let book = device.book();
        assert!(
            devices::own_changes(number).is_subset(&devices::held(&book)),
            "changes of this device are gone"
        );
        if !removed(&book) {
            meets(&host, role, &Device::new(honest, setting.in_crew()), &device);
            assert!(
                devices::own_changes(honest).is_subset(&devices::held(&book)),
                "an honest device's changes did not come"
            );
        }
    }
    changed
}

/// What an honest device in the place of the other one says first.
fn hello(host: &Arc<Host>, setting: Setting) -> Frame {
    let number = if setting == Setting::Invited { devices::INVITED } else { devices::OTHER };
    let bytes = |bytes: &[u8]| Value::Bytes(bytes.to_vec());
    let text = |text: &str| Value::Text(text.to_owned());
    let mut fields = vec![
        (text("v"), firnbook_core::exchange::wire::PROTOCOL.into()),
        (text("device"), bytes(&devices::id(number).0)),
        (text("clock"), 1.into()),
        (text("stamp"), Value::Map(vec![(text("sent"), host.clock().now().millis().into())])),
    ];
    if let Some(crew) = host.crew().expect("keys that can be read") {
        fields.push((text("crew"), bytes(&crew.ring.crew)));
        fields.push((text("roster"), bytes(&crew.roster.hash())));
    }
    if setting == Setting::Invited {
        fields.push((text("join"), bytes(devices::joining(devices::INVITED, devices::INVITATION).bytes())));
    }
    Frame { number: HELLO, content: tree::bytes(&Value::Map(fields)) }
}

/// Whether a member has removed one of the honest devices, which then have no more to say to each other.
fn removed(book: &Logbook) -> bool {
    let crew = book.crew().expect("keys that can be read");
    let honest = [devices::BASE, devices::PHONE].map(devices::id);
    crew.is_some_and(|crew| {
        crew.devices.iter().any(|device| device.removed && honest.contains(&device.device))
    })
}

/// Sessions with an honest device, until both hold the same.
fn meets(host: &Arc<Host>, role: Role, honest: &Device, device: &Device) {
    let other = honest.host();
    for _ in 0..SESSIONS {
        let in_crew = host.crew().expect("keys that can be read").is_some();
        let peer = |number| if in_crew { devices::peer(number, 0) } else { Peer::Cable };
        let other_role = if role == Role::Base { Role::Caller } else { Role::Base };
        let one = Session::new(host, role, peer(honest.number()));
        let two = Session::new(&other, other_role, peer(device.number()));
        let (mut one, mut two) = (one.expect("a session"), two.expect("a session"));
        while step(&mut one, &mut two) || step(&mut two, &mut one) {}
        for session in [one, two] {
            let report = session.outcome().expect("a session with an honest device ends well");
            assert!(report.refused.is_empty(), "an honest device refuses: {:?}", report.refused);
        }
        if device.digests().days == honest.digests().days {
            return;
        }
    }
    panic!("two honest devices never hold the same");
}

fn step(from: &mut Session, to: &mut Session) -> bool {
    let mut moved = false;
    while let Some(bytes) = from.outgoing() {
        to.incoming(&bytes);
        moved = true;
    }
    moved
}
