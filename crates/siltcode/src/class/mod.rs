//! Class systems: counts to class, class to bounds, print and parse. One file a system.

pub mod iso4406;
