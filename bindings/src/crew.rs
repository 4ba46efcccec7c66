//! The crew: which devices belong together, and so may exchange live.

use crate::Logbook;
use firnbook_core::crew::Invitation;
use firnbook_core::day::DayId;
use firnbook_core::logbook::CrewShown;
use firnbook_core::phone::FirnbookError;
use std::net::SocketAddr;

#[uniffi::export]
impl Logbook {
    /// The crew and its devices; nothing where this device is in none.
    pub fn crew(&self) -> Result<Option<CrewShown>, FirnbookError> {
        self.with(|log| log.crew())
    }

    /// Founds a crew with this device as its first, called `label`.
    pub fn found_crew(&self, label: String) -> Result<CrewShown, FirnbookError> {
        self.with(|log| log.found_crew(&label))
    }

    /// Makes an invitation for one device, good for so many hours: a text to be shown or scanned, as secret as a key. It can name where base
    /// listens, each as 192.168.1.7:45460, and the day that is on.
    #[uniffi::method(default(addresses = [], day = None))]
    pub fn invite(
        &self,
        hours: u32,
        addresses: Vec<String>,
        day: Option<DayId>,
    ) -> Result<Invitation, FirnbookError> {
        let addresses = addresses.iter().map(|a| socket(a)).collect::<Result<_, _>>()?;
        self.with(|log| log.invite(hours, addresses, day))
    }

    /// Takes an invitation up; base lets this device in at their next exchange. The day that it names is begun here.
    pub fn join_crew(&self, invitation: Invitation, label: String) -> Result<CrewShown, FirnbookError> {
        self.with(|log| log.join_crew(&invitation, &label))
    }

    /// Removes a device, by its label or the beginning of its id. Doors close to it; what it wrote stays. Give the crew another key afterwards.
    pub fn remove_from_crew(&self, device: String) -> Result<CrewShown, FirnbookError> {
        self.with(|log| log.remove_from_crew(&device))
    }

    /// Gives the crew another key; each device gets it at its next exchange.
    pub fn rotate_crew_key(&self) -> Result<CrewShown, FirnbookError> {
        self.with(|log| log.rotate_crew_key())
    }

    /// Leaves the crew: this device forgets its keys and keeps its days.
    pub fn leave_crew(&self) -> Result<(), FirnbookError> {
        self.with(|log| log.leave_crew())
    }
}

/// An address with a port, as text.
pub(crate) fn socket(text: &str) -> Result<SocketAddr, FirnbookError> {
    text.parse().map_err(|_| {
        FirnbookError::value("address", text, "is no address with a port; write it as 192.168.1.7:45460")
    })
}
