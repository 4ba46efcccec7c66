//! The document of a day.
#![no_main]

use firnbook_fuzz::{chunk, document, fuzzer};
use libfuzzer_sys::{fuzz_mutator, fuzz_target};

fuzz_target!(init: fuzzer::prepare(), |data: &[u8]| {
    document::check(data);
});
fuzz_mutator!(|data: &mut [u8], size: usize, most: usize, seed: u32| {
    fuzzer::altered(chunk::altered, data, size, most, seed)
});
