//! Range numbers over an array.
fn main() {}
