//! What a base sends to a caller.
#![no_main]

use firnbook_fuzz::{frames, fuzzer, session};
use libfuzzer_sys::{fuzz_mutator, fuzz_target};

fuzz_target!(init: fuzzer::prepare(), |data: &[u8]| {
    session::check(session::Target::Caller, data);
});
fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    fuzzer::altered(frames::altered, data, size, most, seed)
});
