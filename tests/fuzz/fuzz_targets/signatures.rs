//! Signatures of devices over histories and over records.
#![no_main]

use firnbook_fuzz::{fuzzer, signatures};
use libfuzzer_sys::{fuzz_mutator, fuzz_target};

fuzz_target!(init: fuzzer::prepare(), |data: &[u8]| {
    signatures::check(data);
});
fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    fuzzer::altered(signatures::altered, data, size, most, seed)
});
