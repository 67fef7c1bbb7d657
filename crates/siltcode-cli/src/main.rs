//! The `siltcode` command.
fn main() {}
