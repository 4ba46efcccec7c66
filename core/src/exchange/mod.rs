//! How changes travel between devices. What travels is always Automerge data of whole days; nothing is converted on the way.

mod bounds;
mod channel;
mod lan;
mod pack;
mod session;
mod shelf;
pub mod wire;

pub use bounds::{BoundError, LIMITS, Limits};
pub use channel::{Channel, ChannelError, NOISE, PROLOGUE};
pub use lan::{Base, Called, Event, LAN_LIMITS, LanError, LanLimits, PORT, Stop, call};
pub use pack::{MAGIC, Manifest, PackDay, PackError, PackedDay, VERSION, read, write};
pub use session::{Peer, Progress, Report, Role, Session, SessionError};
pub use shelf::{Crew, Host, rotation};
