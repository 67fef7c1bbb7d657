//! Benches of `siltcode`.
