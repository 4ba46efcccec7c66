//! Paper: the forms that observers write on, and the headings that printing and typing in have in common.

pub mod draw;
pub mod headings;
pub mod sheets;
mod words;
