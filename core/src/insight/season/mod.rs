//! What the entries of many days tell. Each room is an accumulator that takes plain rows one by one, from a store's columns or from a day at
//! hand, and then answers; none knows where the rows come from.

pub mod depth;
pub mod group;
pub mod rows;
