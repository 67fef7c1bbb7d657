//! What a record says of a bottle beside its counts: where, when and by whom it was drawn and counted.

use std::fmt;

use serde::{Serialize, Serializer};

/// One kind of such information.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Field {
    /// The customer.
    Client,
    /// The order or work order.
    Order,
    /// The place of the tank.
    Site,
    /// The tank.
    Tank,
    /// The equipment that holds or burns the fluid.
    Equipment,
    /// The point the bottle was drawn from.
    Point,
    /// The depth it was drawn at.
    Depth,
    /// The fluid.
    Fluid,
    /// The day it was drawn, or a date that nothing more is said of.
    Drawn,
    /// The time of day, or a time that nothing more is said of.
    Time,
    /// The day it reached the laboratory.
    Received,
    /// When it was counted.
    Counted,
    /// The test method.
    Method,
    /// The counter.
    Instrument,
    /// The person who drew or counted it.
    Operator,
    /// Anything remarked.
    Remark,
}

impl Field {
    /// Every field, in the order of output.
    pub const ALL: [Self; 16] = [
        Self::Client,
        Self::Order,
        Self::Site,
        Self::Tank,
        Self::Equipment,
        Self::Point,
        Self::Depth,
        Self::Fluid,
        Self::Drawn,
        Self::Time,
        Self::Received,
        Self::Counted,
        Self::Method,
        Self::Instrument,
        Self::Operator,
        Self::Remark,
    ];

    /// The name in files and output.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Client => "client",
            Self::Order => "order",
            Self::Site => "site",
            Self::Tank => "tank",
            Self::Equipment => "equipment",
            Self::Point => "point",
            Self::Depth => "depth",
            Self::Fluid => "fluid",
            Self::Drawn => "drawn",
            Self::Time => "time",
            Self::Received => "received",
            Self::Counted => "counted",
            Self::Method => "method",
            Self::Instrument => "instrument",
            Self::Operator => "operator",
            Self::Remark => "remark",
        }
    }

    /// The field of this name.
    #[must_use]
    pub fn named(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|field| field.name() == text)
    }

    /// Whether two bottles of one name are different bottles where it differs.
    #[must_use]
    pub const fn tells_bottles_apart(self) -> bool {
        matches!(
            self,
            Self::Client
                | Self::Order
                | Self::Site
                | Self::Tank
                | Self::Equipment
                | Self::Point
                | Self::Depth
                | Self::Fluid
                | Self::Drawn
        )
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

impl Serialize for Field {
    fn serialize<S: Serializer>(&self, serializer: S) -> std::result::Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}
