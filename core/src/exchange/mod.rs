//! How changes travel between devices. What travels is always Automerge data of whole days; nothing is converted on the way.

mod beside;
mod bounds;
mod channel;
mod deflate;
mod lan;
mod pack;
mod segment;
mod session;
mod shelf;
pub mod wire;

pub use bounds::{LIMITS, Limits, day_bounds};
pub use channel::{Channel, ChannelError, NOISE, PROLOGUE};
pub use lan::{Base, Called, Event, LAN_LIMITS, LanError, LanLimits, PORT, Stop, call};
pub use pack::{
    DayRefused, LARGEST_FILE, MAGIC, Manifest, PackDay, PackError, PackedDay, VERSION, is_pack, is_sealed,
    read, unseal, write,
};
pub use session::{NotExchanged, Peer, Progress, Report, Role, Session, SessionError};
pub use shelf::{Crew, Host, rotation};
