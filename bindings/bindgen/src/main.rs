//! The generator of the exact version that the library was built with, as a program of its own, so that its command line stays out of the phones' library.

fn main() {
    uniffi::uniffi_bindgen_main();
}
