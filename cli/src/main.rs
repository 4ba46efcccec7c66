//! The `firnbook` binary: hands the machine's surroundings to the library and its answer back to the shell.

#![forbid(unsafe_code)]

use firnbook::{Surroundings, run};
use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(run(Surroundings::of_this_process()))
}
