//! The `firnbook` binary.
fn main() {}
