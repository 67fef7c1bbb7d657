//! Class systems: counts to class, class to bounds, print and parse. One file a system.
//!
//! [`iso4406`] gives range numbers; the others give classes by a table of limits, and share their engine: adding one is
//! a table and a short file.

mod answer;
mod as4059;
mod classification;
mod designation;
mod gost17216;
pub mod iso4406;
mod limits;
mod nas1638;
mod navair;
mod possible;
mod system;
mod value;

pub use answer::{ClassAnswer, ClassRequest};
pub use classification::{Classification, Origin, SizeClass};
pub use designation::{Designation, Letter};
pub use possible::{Possible, as4059_of_code};
pub use system::{ClassLimit, ClassSystem};
pub use value::{Class, ClassRange};
