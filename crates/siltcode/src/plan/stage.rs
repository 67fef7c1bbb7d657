//! A stage that may be used: what filters, at what flow, and what it takes to set it up.

use crate::error::Result;
use crate::filter::element::PressureDrop;
use crate::filter::{self, Branch, Element, Kind, Price, Train};
use crate::keyed::Keyed;
use crate::units::{Duration, Flow};

/// A stage of a job: one element, or elements one behind the other, through which the tank is circulated for a time.
///
/// Where a housing holds several elements side by side, the element described is the set: its rated flow, dirt capacity
/// and price are those of all together.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// What it is called.
    pub name: String,
    /// What filters, in the order of the flow.
    pub train: Train,
    /// The flow through it.
    pub flow: Flow,
    /// What setting it up costs, beside the time.
    pub setup_cost: Price,
    /// How long setting it up takes.
    pub setup_time: Duration,
}

impl Stage {
    /// A stage of elements in the order of the flow, which costs nothing to set up.
    ///
    /// # Errors
    /// `train-empty` unless there is an element and the flow is above 0.
    pub fn new(name: impl Into<String>, flow: Flow, elements: Vec<Element>) -> Result<Self> {
        let of = |element| filter::Stage::parallel(vec![Branch { flow, element }]);
        let train = Train::new(elements.into_iter().map(of).collect::<Result<_>>()?)?;
        let (setup_cost, setup_time) = (Price::new(0.0)?, Duration::from_hours(0.0)?);
        Ok(Self { name: name.into(), train, flow, setup_cost, setup_time })
    }

    /// The elements in the order of the flow.
    pub fn elements(&self) -> impl Iterator<Item = &Element> {
        self.train.stages().iter().flat_map(filter::Stage::branches).map(|branch| &branch.element)
    }

    /// Reads a `[[stage]]`.
    pub(super) fn read(table: Keyed<'_>) -> Result<Self> {
        let name = table.required("name", table.words("name")?)?;
        let table = table.named(format!("stage `{name}`"));
        table.only(&["name", "flow", "setup_cost", "setup_time", "element"])?;
        let flow = table.required("flow", table.parsed("flow")?)?;
        let place = |i: usize| format!("element {} of stage `{name}`", i + 1);
        let elements = table.tables("element", place)?;
        if elements.is_empty() {
            return Err(table.missing("element"));
        }
        let elements = elements.iter().map(element).collect::<Result<_>>()?;
        let stage = Self::new(&name, flow, elements).map_err(|error| table.at(error))?;
        Ok(Self {
            setup_cost: table.number("setup_cost", Price::new)?.unwrap_or(stage.setup_cost),
            setup_time: table.parsed("setup_time")?.unwrap_or(stage.setup_time),
            ..stage
        })
    }
}

/// Reads a `[[stage.element]]`.
fn element(table: &Keyed<'_>) -> Result<Element> {
    table.only(&["kind", "beta", "rated_flow", "dirt_capacity", "price", "change_time", "pressure"])?;
    let rated_flow = table.required("rated_flow", table.parsed("rated_flow")?)?;
    let kind = table.required("kind", table.read("kind", |text| kind(table, text))?)?;
    let mut element =
        Element::new(kind, rated_flow, table.parsed("beta")?).map_err(|error| table.at(error))?;
    if let Some(capacity) = table.parsed("dirt_capacity")? {
        element = element.with_dirt_capacity(capacity);
    }
    if let Some(price) = table.number("price", Price::new)? {
        element = element.with_price(price);
    }
    if let Some(time) = table.parsed("change_time")? {
        element = element.with_change_time(time);
    }
    match table.table("pressure", "the pressure of an element")? {
        Some(pressure) => Ok(element.with_drop(drop(&pressure)?)),
        None => Ok(element),
    }
}

/// Reads `pressure = { clean = "20 kPa", terminal = "150 kPa", viscosity = "32 cSt" }`.
fn drop(table: &Keyed<'_>) -> Result<PressureDrop> {
    table.only(&["clean", "terminal", "viscosity"])?;
    let clean = table.required("clean", table.parsed("clean")?)?;
    let terminal = table.required("terminal", table.parsed("terminal")?)?;
    let viscosity = table.required("viscosity", table.parsed("viscosity")?)?;
    PressureDrop::new(clean, terminal, viscosity).map_err(|error| table.at(error))
}

fn kind(table: &Keyed<'_>, text: &str) -> Result<Kind> {
    let kinds = [Kind::Bag, Kind::SpinOn, Kind::Cartridge, Kind::WaterAbsorbing, Kind::EmptyHousing];
    let found = kinds.into_iter().find(|kind| kind.word() == text.trim());
    let words = kinds.map(Kind::word).join(", ");
    found.ok_or_else(|| table.unusable("kind", &format!("one of: {words}")))
}
