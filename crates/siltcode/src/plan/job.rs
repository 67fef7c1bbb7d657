//! A job described: the tank, where it stands, what it must meet, and the stages that may be used.

use crate::error::{Position, Result};
use crate::filter::{Price, Share};
use crate::keyed::{Document, Keyed};
use crate::mass::MassAssumptions;
use crate::plan::stage::Stage;
use crate::size::Size;
use crate::spec::{Spec, published};
use crate::tank::{Doubt, MixingFactor, Plant, Sources, Start, Target};
use crate::units::{Density, Flow, KinematicViscosity, Volume};

/// What is in the tank. Nothing of it is needed for a plan; gauges are read with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Fluid {
    /// What it is called.
    pub name: String,
    /// Its density.
    pub density: Option<Density>,
    /// Its viscosity.
    pub viscosity: Option<KinematicViscosity>,
}

/// A job: a tank to be cleaned, and what there is to do it with.
///
/// It is read from a TOML file that takes a few minutes to write. Quantities carry their unit; prices are plain numbers
/// in one money, whose name is only repeated.
///
/// ```
/// use siltcode::plan::Job;
///
/// let job = Job::from_toml(r#"
///     title = "Bunker tank before winter"
///     tank = "18 m3"
///     fluid = "diesel"
///     start = "22/20/17"               # a code, or counts per mL: "4:30000,6:9000,14:900"
///     target = "18/16/13"              # the same, or the name of a published specification
///     hour_cost = 45                   # people and pump
///     money = "EUR"
///     particles = { density = "2.65 kg/L", largest = ["30 um(c)", "70 um(c)"] }
///
///     [[stage]]                        # in the order in which they may be used
///     name = "coarse bag"
///     flow = "120 L/min"
///     setup_time = "30 min"
///     [[stage.element]]
///     kind = "bag"
///     beta = "4:1.05,6:1.4,14:10"
///     rated_flow = "200 L/min"
///     dirt_capacity = "500 g"
///     price = 12
///     change_time = "10 min"
/// "#)?;
/// assert_eq!(job.stages[0].name, "coarse bag");
/// assert_eq!(job.tank.to_string(), "18 m3");
///
/// let error = Job::from_toml("tank = \"18 m3\"\ntarget = \"18/16/13\"\ntemprature = 20\n").unwrap_err();
/// assert_eq!(error.to_string(), "`temprature` is nothing that the job can have (line 3)");
/// # Ok::<(), siltcode::Error>(())
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Job {
    /// What the job is called.
    pub title: String,
    /// The fluid in the tank.
    pub tank: Volume,
    /// What fluid it is.
    pub fluid: Option<Fluid>,
    /// Where the tank starts; none where that is to be given as a sample.
    pub start: Option<Start>,
    /// What it must meet.
    pub target: Target,
    /// What comes into the tank, or off the filter, meanwhile.
    pub sources: Sources,
    /// The share of the flow that avoids the medium.
    pub bypass: Share,
    /// The share of the return that goes straight to the suction.
    pub short_circuit: Share,
    /// The factor by which mixing lengthens the ideal time \[-\], 1 or more.
    pub mixing: f64,
    /// How sure start, filters, ingress and mixing are.
    pub doubt: Doubt,
    /// What an hour costs.
    pub hour_cost: Option<Price>,
    /// The name of the money that costs are in.
    pub money: Option<String>,
    /// What is assumed of the weight of particles, where the job says it; otherwise
    /// [`MassAssumptions::of_test_dust`].
    pub particles: Option<MassAssumptions>,
    /// The stages that may be used, in order. There is at least one.
    pub stages: Vec<Stage>,
}

/// Tables of a job under way, which have a reader of their own.
pub const UNDER_WAY: [&str; 2] = ["reading", "sample"];

/// What a job can have.
const KEYS: [&str; 15] = [
    "title",
    "tank",
    "fluid",
    "start",
    "target",
    "hour_cost",
    "money",
    "mixing",
    "bypass",
    "short_circuit",
    "ingress",
    "shedding",
    "spread",
    "particles",
    "stage",
];

impl Job {
    /// Reads a job.
    ///
    /// Beside the keys of the example it may have `mixing` (the factor by which mixing lengthens the ideal time),
    /// `bypass` and `short_circuit` (shares of the flow), `ingress = "4:30,6:5,14:0.2 per h"` (particles per mL of
    /// tank that come in), `shedding` (particles per mL of what the filter returns), and a table `spread` with `start`,
    /// `beta`, `ingress` and `mixing`, each a geometric standard deviation. An element may have
    /// `pressure = { clean = "20 kPa", terminal = "150 kPa", viscosity = "32 cSt" }`, and the fluid may be a table of
    /// `name`, `density` and `viscosity`. Without `particles`, or one of its keys, they are those of
    /// [`MassAssumptions::of_test_dust`]. Tables named in [`UNDER_WAY`] are left to their reader.
    ///
    /// # Errors
    /// `job-unreadable` if the text is not TOML; `job-key-unknown`, `job-key-missing`, `job-value-unusable`, and those
    /// of the quantities, each with the line.
    pub fn from_toml(text: &str) -> Result<Self> {
        Self::from_toml_with(text, |name| published::spec(name).map(|_| String::new()))
    }

    /// Reads a job whose target may be a TOML file: `target = "day-tank.toml"`. The caller opens files: `open` gives
    /// the text of the file of a name.
    ///
    /// ```
    /// use siltcode::plan::Job;
    ///
    /// let job = r#"
    ///     tank = "18 m3"
    ///     target = "day-tank.toml"
    ///     [[stage]]
    ///     name = "fine"
    ///     flow = "60 L/min"
    ///     [[stage.element]]
    ///     kind = "cartridge"
    ///     beta = "4:3,6:20,14:1000"
    ///     rated_flow = "100 L/min"
    /// "#;
    /// let job = Job::from_toml_with(job, |_| Ok("code = \"18/16/13\"".into()))?;
    /// assert_eq!(job.target.limits()[0].1.get(), 2500.0);
    /// # Ok::<(), siltcode::Error>(())
    /// ```
    ///
    /// # Errors
    /// As [`from_toml`](Self::from_toml), and those of `open` and of [`Spec::from_toml`].
    pub fn from_toml_with(text: &str, open: impl Fn(&str) -> Result<String>) -> Result<Self> {
        let document = Document::parse(text)?;
        let job = document.root("the job");
        job.only(&[&KEYS[..], &UNDER_WAY[..]].concat())?;
        let stages = job.tables("stage", |i| format!("stage {}", i + 1))?;
        let stages: Vec<Stage> = stages.into_iter().map(Stage::read).collect::<Result<_>>()?;
        if stages.is_empty() {
            return Err(job.missing("stage"));
        }
        let mut sources = Sources::NONE;
        if let Some(hourly) = job.read("ingress", Sources::rates_per_hour)? {
            sources = sources.ingress_per_hour(&hourly)?;
        }
        if let Some(returned) = job.read("shedding", Sources::counts)? {
            sources = sources.shedding(&returned)?;
        }
        Ok(Self {
            title: job.words("title")?.unwrap_or_else(|| "filtration".into()),
            tank: job.required("tank", job.parsed("tank")?)?,
            fluid: fluid(&job)?,
            start: job.parsed("start")?,
            target: job.required("target", job.read("target", |text| target(text, open))?)?,
            sources,
            bypass: job.number("bypass", Share::new)?.unwrap_or(Share::NONE),
            short_circuit: job.number("short_circuit", Share::new)?.unwrap_or(Share::NONE),
            mixing: mixing(&job)?,
            doubt: doubt(&job)?,
            hour_cost: job.number("hour_cost", Price::new)?,
            money: job.words("money")?,
            particles: particles(&job)?,
            stages,
        })
    }

    /// The tank circulated at a flow.
    ///
    /// # Errors
    /// `no-flow` unless the tank and the flow are above 0.
    pub fn plant(&self, flow: Flow) -> Result<Plant> {
        let (bypass, short_circuit) = (self.bypass, self.short_circuit);
        Ok(Plant { bypass, short_circuit, ..Plant::new(self.tank, flow)? })
    }
}

/// A code, counts, a published name, or what a TOML file says.
fn target(text: &str, open: impl Fn(&str) -> Result<String>) -> Result<Target> {
    let name = text.trim();
    if !name.to_lowercase().ends_with(".toml") {
        return name.parse();
    }
    let in_file = |error: crate::Error| {
        let line = error.position().and_then(|position| position.line);
        error.at(Position { file: Some(name.into()), line, ..Position::default() })
    };
    let spec = Spec::from_toml(&open(name)?).map_err(in_file)?;
    Target::of_spec(&spec).map_err(in_file)
}

fn fluid(job: &Keyed<'_>) -> Result<Option<Fluid>> {
    if let Ok(name) = job.words("fluid") {
        return Ok(name.map(|name| Fluid { name, density: None, viscosity: None }));
    }
    let Some(table) = job.table("fluid", "the fluid")? else { return Ok(None) };
    table.only(&["name", "density", "viscosity"])?;
    let name = table.required("name", table.words("name")?)?;
    Ok(Some(Fluid { name, density: table.parsed("density")?, viscosity: table.parsed("viscosity")? }))
}

/// The mixing factor.
fn mixing(job: &Keyed<'_>) -> Result<f64> {
    let factor = job.number("mixing", MixingFactor::new)?;
    Ok(factor.unwrap_or(MixingFactor::NONE).get())
}

fn doubt(job: &Keyed<'_>) -> Result<Doubt> {
    let Some(table) = job.table("spread", "the spread")? else { return Ok(Doubt::NONE) };
    table.only(&["start", "beta", "ingress", "mixing"])?;
    let mut doubt = Doubt::NONE;
    doubt = table.number("start", |gsd| doubt.start(gsd))?.unwrap_or(doubt);
    doubt = table.number("beta", |gsd| doubt.beta(gsd))?.unwrap_or(doubt);
    doubt = table.number("ingress", |gsd| doubt.ingress(gsd))?.unwrap_or(doubt);
    Ok(table.number("mixing", |gsd| doubt.mixing(gsd))?.unwrap_or(doubt))
}

fn particles(job: &Keyed<'_>) -> Result<Option<MassAssumptions>> {
    let Some(table) = job.table("particles", "the particles")? else { return Ok(None) };
    table.only(&["density", "shape", "largest"])?;
    let usual = MassAssumptions::of_test_dust(Size::um_c(4.0)?)?;
    let density = table.least_and_most::<Density>("density")?.unwrap_or(usual.density);
    let largest = table.least_and_most::<Size>("largest")?.unwrap_or(usual.largest);
    let shape = table.number("shape", Ok)?.unwrap_or(1.0);
    Ok(Some(MassAssumptions { density, shape: (shape, shape), largest }))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TANK: &str = "tank = \"18 m3\"\ntarget = \"18/16/13\"\n";
    const STAGE: &str = "[[stage]]\nname = \"bag\"\nflow = \"60 L/min\"\n";
    const ELEMENT: &str = "[[stage.element]]\nkind = \"bag\"\nrated_flow = \"60 L/min\"\n";

    fn refusal(text: &str) -> (String, u64) {
        let error = Job::from_toml(text).unwrap_err();
        assert!(!error.hint().is_empty());
        (error.code().into(), error.position().and_then(|at| at.line).unwrap())
    }

    #[test]
    fn everything_a_job_can_have_is_read() {
        let head = "title = \"x\"\ntank = \"18 m3\"\nstart = \"4:30000,6:9000,14:900\"\ntarget = \"wwfc-diesel\"\n\
                    hour_cost = 45\nmoney = \"EUR\"\nmixing = 1.2\nbypass = 0.01\nshort_circuit = 0.1\n\
                    ingress = \"4:30,6:5,14:0.2 per min\"\nshedding = \"4:1,6:0.5,14:0.1\"\n\
                    fluid = { name = \"diesel\", density = \"840 kg/m3\", viscosity = \"3 cSt\" }\n\
                    spread = { start = 1.1, beta = 1.3, ingress = 1.5, mixing = 1.2 }\n\
                    particles = { density = \"2.65 kg/L\", shape = 0.5, largest = [\"30 um(c)\", \"70 um(c)\"] }\n";
        let element = "beta = \"4:2,6:5,14:100\"\ndirt_capacity = \"200 g\"\nprice = 25\nchange_time = \"5 min\"\n\
                       pressure = { clean = \"20 kPa\", terminal = \"150 kPa\", viscosity = \"32 cSt\" }\n";
        let under_way = "[[reading]]\nanything = 1\n[[sample]]\ncode = \"18/16/13\"\n";
        let job = Job::from_toml(&format!("{head}{STAGE}{ELEMENT}{element}{under_way}")).unwrap();
        assert_eq!(job.sources.ingress()[0].1.get(), 1800.0);
        assert_eq!(job.fluid.as_ref().unwrap().density.unwrap().kg_per_m3(), 840.0);
        assert_eq!(job.particles.unwrap().largest.1.um(), 70.0);
        assert_eq!(job.plant(job.stages[0].flow).unwrap().bypass.get(), 0.01);
        let elements: Vec<_> = job.stages[0].elements().collect();
        assert_eq!(elements[0].price().unwrap().get(), 25.0);
        assert!(elements[0].drop().is_some());
        assert_ne!(job.doubt, Doubt::NONE);
    }

    #[test]
    fn what_cannot_be_used_is_named_with_its_line() {
        let of = |code: &str, line| (code.to_owned(), line);
        let stage = format!("{TANK}{STAGE}{ELEMENT}");
        assert_eq!(refusal("tank = \"18 m3\"\ntarget = \"18/16\n"), of("job-unreadable", 2));
        assert_eq!(refusal(TANK), of("job-key-missing", 1));
        assert_eq!(refusal(&format!("{TANK}{STAGE}")), of("job-key-missing", 3));
        assert_eq!(refusal(&format!("watter = 3\n{stage}")), of("job-key-unknown", 1));
        assert_eq!(refusal(&format!("{stage}betta = \"4:2\"\n")), of("job-key-unknown", 9));
        assert_eq!(refusal(&format!("{stage}beta = \"4:0.5\"\n")), of("beta-below-one", 9));
        assert_eq!(refusal(&format!("{stage}price = \"25\"\n")), of("job-value-unusable", 9));
        assert_eq!(refusal(&format!("{stage}price = -25\n")), of("quantity-out-of-range", 9));
        assert_eq!(refusal(&format!("mixing = 0.5\n{stage}")), of("factor-out-of-range", 1));
        assert_eq!(refusal(&format!("ingress = \"4:30\"\n{stage}")), of("rates-without-time", 1));
        assert_eq!(refusal(&stage.replace("\"bag\"\nrated", "\"sock\"\nrated")), of("job-value-unusable", 7));
        assert_eq!(refusal(&stage.replace("18/16/13", "no such name")), of("spec-unknown", 2));
        assert_eq!(refusal(&stage.replace("\"18 m3\"", "18")), of("job-value-unusable", 1));
        assert_eq!(refusal(&stage.replace("18 m3", "18")), of("quantity-unreadable", 1));
        assert_eq!(
            refusal(&stage.replace("flow = \"60 L/min\"\n[", "flow = \"0 gpm\"\n[")),
            of("train-empty", 3)
        );
    }
}
