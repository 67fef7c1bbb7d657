//! A bound below what any plan in a part of all plans costs.
//!
//! Without sources what is left of a bin is `exp(-u)`, and `u` is linear in the hours; so the limits are convex. What a
//! stage catches is what it finds less what it leaves: the first is convex, and in place of the second stands its secant
//! over the part, which lies above it. So the relaxation is convex, and it closes as parts become small. For several
//! stages together only the last secant is needed, since what one leaves the next finds.
//!
//! What comes in meanwhile adds to both, by bounds that hold in the whole part: see [`entering`](super::entering).

use super::balance::{Filling, Model};
use super::convex::{Constraint, Programme, Solved};
use super::entering::Entered;
use super::part::Part;

/// A part of a bin that a stage takes out, so small that what it catches of a source does not count.
const LITTLE: f64 = 1e-4;

/// How the hours stand in for what is left behind a stage: over a part, from above, or around a point, from below.
#[derive(Debug, Clone, Copy)]
pub(super) enum Line<'a> {
    Secant,
    Tangent(&'a [f64]),
}

/// A number of elements in a programme.
#[derive(Debug, Clone, Copy)]
enum Number {
    /// Any number, in this variable.
    Free(usize),
    /// So many.
    Fixed(f64),
    /// It costs nothing, or holds everything.
    NoMatter,
}

/// A programme made of a part.
pub(super) struct Relaxed<'a> {
    model: &'a Model,
    part: &'a Part,
    line: Line<'a>,
    programme: Programme,
    numbers: Vec<Number>,
    /// What the numbers that are fixed cost, with setting up.
    fixed: f64,
    /// What came in, near the point of a tangent.
    near: Vec<Entered>,
}

impl<'a> Relaxed<'a> {
    /// The programme of a part, with what is left behind stages in a line. A violation of the numbers of elements costs
    /// `dear` for each.
    pub(super) fn new(model: &'a Model, part: &'a Part, line: Line<'a>, dear: f64) -> Option<Self> {
        let stages = part.used.len();
        // behind so many stages, then of each stage alone, where something comes in
        let behind = (0..=stages).map(|places| 0..places);
        let alone = (0..if model.has_sources() { stages } else { 0 }).map(|place| place..place + 1);
        let rates = behind.chain(alone).flat_map(|counted| {
            (0..model.start.len()).map(move |bin| {
                let rate = |(place, &stage): (usize, &usize)| {
                    if counted.contains(&place) { model.stages[stage].rate[bin] } else { 0.0 }
                };
                part.used.iter().enumerate().map(rate).collect()
            })
        });
        let programme = Programme {
            cost: vec![model.hour; part.used.len()],
            low: part.low.clone(),
            high: part.high.clone(),
            rates: rates.collect(),
            constraints: Vec::new(),
        };
        let near = match line {
            Line::Tangent(point) if model.has_sources() => model.entered_at(&part.used, point),
            _ => Vec::new(),
        };
        let mut relaxed = Self { model, part, line, programme, numbers: Vec::new(), fixed: 0.0, near };
        relaxed.number_elements(dear);
        relaxed.limit();
        relaxed.fill()?;
        Some(relaxed)
    }

    /// A variable for every number that is open, and one for how far numbers are exceeded.
    fn number_elements(&mut self, dear: f64) {
        let whole: f64 = self.part.used.iter().map(|&stage| self.model.stages[stage].fixed).sum();
        self.fixed = if self.model.whole { whole } else { 0.0 };
        let mass = |element: &Filling| -> f64 {
            let bins = self.model.start.iter().zip(&self.model.weight).zip(&element.part);
            bins.map(|((start, weight), part)| start * weight * part).sum()
        };
        let mut numbers = Vec::new();
        let mut widest = 2.0_f64;
        for ((_, _, element), (&least, &most)) in
            self.part.elements(self.model).zip(self.part.least.iter().zip(&self.part.most))
        {
            widest = widest.max(mass(element) / element.capacity + 2.0);
            if element.each <= 0.0 || element.capacity.is_infinite() {
                self.fixed += element.each * least;
                numbers.push(Number::NoMatter);
            } else if least >= most {
                self.fixed += element.each * least;
                numbers.push(Number::Fixed(least));
            } else {
                let top = least.max(mass(element) / element.capacity) + 2.0;
                numbers.push(Number::Free(self.programme.cost.len()));
                self.programme.cost.push(element.each);
                self.programme.low.push(least);
                self.programme.high.push(top);
            }
        }
        self.numbers = numbers;
        self.programme.cost.push(dear);
        self.programme.low.push(0.0);
        self.programme.high.push(widest + 2.0);
    }

    fn variables(&self) -> usize {
        self.programme.cost.len()
    }

    /// The place of the rates of one of the used stages.
    fn alone(&self, place: usize, bin: usize) -> usize {
        self.behind(self.part.used.len() + 1 + place, bin)
    }

    /// The place of the rates behind so many of the used stages.
    fn behind(&self, places: usize, bin: usize) -> usize {
        places * self.model.start.len() + bin
    }

    fn limit(&mut self) {
        let all = self.part.used.len();
        for &(from, most) in &self.model.limits {
            let falling = (from..self.model.start.len())
                .map(|bin| (self.model.start[bin] / most, self.behind(all, bin)));
            let falling: Vec<_> = falling.filter(|term| term.0 > 0.0).collect();
            let linear = vec![0.0; self.variables()];
            let mut constraint = Constraint { constant: -1.0, linear, falling };
            for bin in from..self.model.start.len() {
                match self.near.last() {
                    Some(near) => self.add_near(&mut constraint, near, bin, 1.0 / most),
                    None => constraint.constant += self.part.entered[all][bin] / most,
                }
            }
            self.programme.constraints.push(constraint);
        }
    }

    /// Adds so many times what came in and is left of a bin, as it changes near the point of the tangent.
    fn add_near(&self, constraint: &mut Constraint, near: &Entered, bin: usize, times: f64) {
        let Line::Tangent(point) = self.line else { return };
        constraint.constant += times * near.left[bin];
        for (place, slope) in near.slopes[bin].iter().enumerate() {
            constraint.constant -= times * slope * point[place];
            constraint.linear[place] += times * slope;
        }
    }

    /// Adds so many times what stages catch of what came in of a bin: as it changes near the point of the tangent, or the
    /// least that it is in the part.
    fn add_caught(
        &self,
        constraint: &mut Constraint,
        stages: &std::ops::Range<usize>,
        bin: usize,
        times: f64,
    ) {
        let run = |place: usize| {
            let run = &self.model.stages[self.part.used[place]];
            (run.rate[bin], run.source[bin])
        };
        if let (Some(before), Some(after)) = (self.near.get(stages.start), self.near.get(stages.end)) {
            stages.clone().for_each(|place| constraint.linear[place] += times * run(place).1);
            self.add_near(constraint, before, bin, times);
            return self.add_near(constraint, after, bin, -times);
        }
        let last = stages.end == self.part.used.len() && stages.len() > 1;
        if last {
            // all that came in is caught, but for what may be left
            stages.clone().for_each(|place| constraint.linear[place] += times * run(place).1);
            let before = self.part.entered[stages.start][bin];
            constraint.constant += times * (before - self.most_left(stages.end, bin));
            return;
        }
        for place in stages.clone() {
            let (rate, source) = run(place);
            let before = self.part.entered[place][bin] * -(-rate * self.part.low[place]).exp_m1();
            constraint.constant += times * before;
            if source > 0.0 && rate * self.part.high[place] > LITTLE {
                let floor = times * source / rate;
                constraint.linear[place] += times * source;
                constraint.constant -= floor;
                constraint.falling.push((floor, self.alone(place, bin)));
            }
        }
    }

    /// The most of a bin that can be left in the end of what came in.
    fn most_left(&self, end: usize, bin: usize) -> f64 {
        let limits = self.model.limits.iter().filter(|limit| limit.0 <= bin).map(|limit| limit.1);
        let runs = self.part.used[..end].iter().map(|&stage| &self.model.stages[stage]);
        let highest =
            runs.clone().map(|run| if run.source[bin] > 0.0 { run.source[bin] / run.rate[bin] } else { 0.0 });
        let came: f64 = runs.zip(&self.part.high).map(|(run, hours)| run.source[bin] * hours).sum();
        limits.fold(highest.fold(0.0, f64::max).min(came), f64::min)
    }

    /// Enough elements for what each catches, and for what several stages catch together.
    fn fill(&mut self) -> Option<()> {
        let elements: Vec<(usize, usize)> =
            self.part.elements(self.model).map(|(place, e, _)| (place, e)).collect();
        for (k, &(place, e)) in elements.iter().enumerate() {
            let element = &self.model.stages[self.part.used[place]].elements[e];
            if !matches!(self.numbers[k], Number::NoMatter) {
                let part = element.part.clone();
                let constraint = self.caught(place..place + 1, &part, &[k], element.capacity)?;
                self.programme.constraints.push(constraint);
            }
            if let (Number::Free(variable), most, true) =
                (self.numbers[k], self.part.most[k], self.part.most[k].is_finite())
            {
                let mut linear = vec![0.0; self.variables()];
                linear[variable] = 1.0;
                *linear.last_mut()? -= 1.0;
                self.programme.constraints.push(Constraint { constant: -most, linear, falling: Vec::new() });
            }
        }
        let matters = |place: usize| {
            elements.iter().zip(&self.numbers).all(|(at, n)| at.0 != place || !matches!(n, Number::NoMatter))
        };
        let whole = vec![1.0; self.model.start.len()];
        for first in 0..self.part.used.len() {
            for last in first + 1..=self.part.used.len() {
                let together: Vec<usize> =
                    (0..elements.len()).filter(|&k| (first..last).contains(&elements[k].0)).collect();
                if together.len() < 2 || !(first..last).all(matters) || matches!(self.line, Line::Tangent(_))
                {
                    continue;
                }
                let capacity = |&k: &usize| {
                    self.model.stages[self.part.used[elements[k].0]].elements[elements[k].1].capacity
                };
                let scale = together.iter().map(capacity).sum();
                let constraint = self.caught(first..last, &whole, &together, scale)?;
                self.programme.constraints.push(constraint);
            }
        }
        Some(())
    }

    /// What stages catch of these parts of each bin, less what the elements hold, over a scale.
    fn caught(
        &self,
        stages: std::ops::Range<usize>,
        parts: &[f64],
        elements: &[usize],
        scale: f64,
    ) -> Option<Constraint> {
        let all: Vec<&Filling> = self.part.elements(self.model).map(|(_, _, element)| element).collect();
        let mut constraint =
            Constraint { constant: 0.0, linear: vec![0.0; self.variables()], falling: Vec::new() };
        let has_sources = self.model.has_sources();
        for (bin, part) in parts.iter().enumerate() {
            let found = self.model.start[bin] * self.model.weight[bin] * part / scale;
            if found > 0.0 {
                constraint.falling.push((found, self.behind(stages.start, bin)));
                let (constant, slope) = self.left(stages.end, bin)?;
                constraint.constant -= found * constant;
                let rates = &self.programme.rates[self.behind(stages.end, bin)];
                constraint.linear.iter_mut().zip(rates).for_each(|(sum, k)| *sum -= found * slope * k);
            }
            if has_sources {
                self.add_caught(&mut constraint, &stages, bin, self.model.weight[bin] * part / scale);
            }
        }
        for &k in elements {
            let capacity = all[k].capacity / scale;
            match self.numbers[k] {
                Number::Free(variable) => constraint.linear[variable] -= capacity,
                Number::Fixed(number) => constraint.constant -= capacity * number,
                Number::NoMatter => {}
            }
        }
        *constraint.linear.last_mut()? -= 1.0;
        Some(constraint)
    }

    /// What is left of a bin behind so many stages as a line in `u`; none where its limit cannot be met in this part.
    fn left(&self, places: usize, bin: usize) -> Option<(f64, f64)> {
        let rates = &self.programme.rates[self.behind(places, bin)];
        let at = |hours: &[f64]| -> f64 { rates.iter().zip(hours).map(|(k, t)| k * t).sum() };
        match self.line {
            Line::Tangent(point) => {
                let u = at(point);
                Some(((-u).exp() * (1.0 + u), -(-u).exp()))
            }
            Line::Secant => {
                let (mut low, high) = (at(&self.part.low), at(&self.part.high));
                if places == self.part.used.len() {
                    low = low.max(self.model.least_exponent(bin));
                }
                if low > high * (1.0 + 1e-9) + 1e-9 {
                    return None;
                }
                let (at_low, width) = ((-low).exp(), (high - low).max(0.0));
                let slope = if width > 1e-9 { at_low * (-width).exp_m1() / width } else { -at_low };
                Some((at_low - slope * low, slope))
            }
        }
    }

    /// The hours of the used stages and the numbers of elements where the programme costs least, and the bound. None
    /// where no hours in the part lie within all limits with any room.
    pub(super) fn solve(
        &self,
        hours: Option<&[f64]>,
        scale: f64,
        enough: f64,
    ) -> Option<(Vec<f64>, Vec<f64>, f64)> {
        let from = match hours {
            Some(hours) => hours.to_vec(),
            None => self.inside()?,
        };
        let numbers = self.programme.high.iter().skip(from.len()).map(|high| high - 0.5);
        let from: Vec<f64> = from.iter().copied().chain(numbers).collect();
        let Solved { at, bound } = self.programme.solve(from, scale, enough - self.fixed);
        let number = |(k, number): (usize, &Number)| match number {
            // what is over the most is a violation, and no number that could be parted
            Number::Free(variable) => at[*variable].min(self.part.most[k]),
            Number::Fixed(_) | Number::NoMatter => self.part.least[k],
        };
        let numbers = self.numbers.iter().enumerate().map(number).collect();
        Some((at[..self.part.used.len()].to_vec(), numbers, bound + self.fixed))
    }

    /// The used stage whose hours, halved, would bring what an element catches nearest to the truth.
    pub(super) fn laxest(&self, element: usize, hours: &[f64]) -> Option<usize> {
        let (place, _, filling) = self.part.elements(self.model).nth(element)?;
        let mut lax = vec![0.0; self.part.used.len()];
        for bin in 0..self.model.start.len() {
            let rates = &self.programme.rates[self.behind(place + 1, bin)];
            let u: f64 = rates.iter().zip(hours).map(|(k, t)| k * t).sum();
            let (constant, slope) = self.left(place + 1, bin)?;
            let over = self.model.start[bin] * self.model.weight[bin] * filling.part[bin];
            let over = over * (constant + slope * u - (-u).exp()).max(0.0);
            for (i, sum) in lax.iter_mut().enumerate() {
                *sum += over * rates[i] * (self.part.high[i] - self.part.low[i]);
            }
        }
        (0..lax.len()).max_by(|&a, &b| lax[a].total_cmp(&lax[b]))
    }

    /// Hours within the box that meet all limits with room.
    fn inside(&self) -> Option<Vec<f64>> {
        (1..40).find_map(|halvings| {
            let back = 0.5_f64.powi(halvings);
            let time = |(low, high): (&f64, &f64)| high - back * (high - low);
            let hours: Vec<f64> = self.part.low.iter().zip(&self.part.high).map(time).collect();
            (self.part.excess(self.model, &hours) < 1.0 - 1e-12).then_some(hours)
        })
    }
}

impl Model {
    /// The least exponent of a bin with which the limits can be met.
    fn least_exponent(&self, bin: usize) -> f64 {
        let over =
            self.limits.iter().filter(|limit| limit.0 <= bin).map(|limit| (self.start[bin] / limit.1).ln());
        over.fold(0.0, f64::max)
    }
}
