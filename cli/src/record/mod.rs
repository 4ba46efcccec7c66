//! The full-screen recorder. What is true about a drill is core's [`Recorder`](firnbook_core::logbook::Recorder); here are keys, lists, lines
//! being typed and the screen. [`Post`] takes keys and [`draw`] draws it; only `terminal` touches a terminal.

mod details;
mod digits;
mod drill_screen;
mod drills;
pub mod keys;
mod look;
mod pane;
mod post;
mod screen;
pub mod terminal;

pub use drills::DrillList;
pub use look::Look;
pub use pane::{Choice, DepthTyped, Line, List, Pane, Typed};
pub use post::{Message, Post, Pressed};
pub use screen::draw;
