//! tmp
/// t
pub struct Table {
    /// n
    pub name: &'static str,
    /// t
    pub text: &'static str,
}
/// t
pub const ISO4406: Table = Table { name: "iso4406", text: include_str!("iso4406.csv") };
