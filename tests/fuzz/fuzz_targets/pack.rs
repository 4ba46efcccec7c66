//! A file with days.
#![no_main]

use firnbook_fuzz::{fuzzer, pack};
use libfuzzer_sys::{fuzz_mutator, fuzz_target};

fuzz_target!(init: fuzzer::prepare(), |data: &[u8]| {
    pack::check(data);
});
fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    fuzzer::altered(pack::altered, data, size, most, seed)
});
