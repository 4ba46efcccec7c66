//! Firnbook command line.
