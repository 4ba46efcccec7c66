//! Ids of days, devices, authors and entries, and keys of registers, as text.
#![no_main]

use firnbook_fuzz::{fuzzer, ids};
use libfuzzer_sys::fuzz_target;

fuzz_target!(init: fuzzer::prepare(), |data: &[u8]| {
    ids::check(data);
});
