//! Shared pieces of the tests, and what makes the generated files of `schemas/`.

pub mod dictionary;
