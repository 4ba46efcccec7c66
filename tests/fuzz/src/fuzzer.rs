//! What needs the fuzzer's library.

use crate::MAY_PANIC;
use crate::alter::Alter;

/// Ends the process at the first panic that is not of the Automerge library, also where core would catch it.
pub fn prepare() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |panic| {
        if !MAY_PANIC.get() {
            usual(panic);
            std::process::abort();
        }
    }));
}

/// Alters an input by `structured`. Where that gives nothing that fits, and now and then, the fuzzer alters the bytes themselves.
pub fn altered(
    structured: fn(&[u8], &mut Alter) -> Option<Vec<u8>>,
    data: &mut [u8],
    size: usize,
    most: usize,
    seed: u32,
) -> usize {
    let mut alter = Alter::new(seed, libfuzzer_sys::fuzzer_mutate);
    let bytes = if alter.roll(40) == 0 { None } else { structured(&data[..size], &mut alter) };
    match bytes.filter(|bytes| bytes.len() <= most) {
        Some(bytes) => {
            data[..bytes.len()].copy_from_slice(&bytes);
            bytes.len()
        }
        None => libfuzzer_sys::fuzzer_mutate(data, size, most),
    }
}
