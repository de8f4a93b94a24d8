//! Uncertainty with its correlation, to first order (JCGM 100:2008, GUM, clause 5).
//!
//! A value remembers how much each independent source of uncertainty moves it: one entry a source,
//! `∂f/∂x · u(x)`. Two values that share a source (the same measured thickness used twice, two
//! readings of one instrument) therefore add or cancel as they do in nature (GUM 5.2), and the
//! combined standard uncertainty is the root sum of squares of the entries (GUM 5.1.2).

use super::{COVERAGE, Dimension};

/// An independent source of uncertainty; equal numbers are the same source.
pub type SourceId = u32;

/// A number in SI units and what each source of uncertainty contributes to it (standard, k = 1).
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Uncertain {
    /// The estimate.
    pub value: f64,
    /// Signed contributions, sorted by source.
    parts: Vec<(SourceId, f64)>,
}

impl Uncertain {
    /// A number without uncertainty.
    pub const fn exact(value: f64) -> Self {
        Self { value, parts: Vec::new() }
    }

    /// A number with one source of standard uncertainty `u`.
    pub fn new(value: f64, source: SourceId, u: f64) -> Self {
        Self { value, parts: if u == 0.0 { Vec::new() } else { vec![(source, u)] } }
    }

    /// Adds a further independent contribution.
    pub fn with_part(self, source: SourceId, u: f64) -> Self {
        let extra = Self::new(0.0, source, u);
        combine(self.value, &[(1.0, &self), (1.0, &extra)])
    }

    /// Combined standard uncertainty, k = 1.
    pub fn standard(&self) -> f64 {
        self.parts.iter().map(|(_, part)| part * part).sum::<f64>().sqrt()
    }

    /// Expanded uncertainty, k = 2.
    pub fn expanded(&self) -> f64 {
        COVERAGE * self.standard()
    }

    /// Sum.
    pub fn plus(&self, other: &Self) -> Self {
        combine(self.value + other.value, &[(1.0, self), (1.0, other)])
    }

    /// Difference.
    pub fn minus(&self, other: &Self) -> Self {
        combine(self.value - other.value, &[(1.0, self), (-1.0, other)])
    }

    /// Product.
    pub fn times(&self, other: &Self) -> Self {
        combine(self.value * other.value, &[(other.value, self), (self.value, other)])
    }

    /// Quotient.
    pub fn over(&self, other: &Self) -> Self {
        let value = self.value / other.value;
        combine(value, &[(1.0 / other.value, self), (-value / other.value, other)])
    }

    /// Whole power.
    pub fn power(&self, exponent: i32) -> Self {
        if exponent == 0 {
            return Self::exact(1.0);
        }
        let slope = f64::from(exponent) * self.value.powi(exponent - 1);
        combine(self.value.powi(exponent), &[(slope, self)])
    }

    /// Square root.
    pub fn root(&self) -> Self {
        let value = self.value.sqrt();
        combine(value, &[(0.5 / value, self)])
    }

    /// Absolute value.
    pub fn abs(&self) -> Self {
        if self.value < 0.0 { self.scaled(-1.0) } else { self.clone() }
    }

    /// Times a number without uncertainty.
    pub fn scaled(&self, factor: f64) -> Self {
        combine(self.value * factor, &[(factor, self)])
    }

    /// Plus a number without uncertainty.
    pub fn shifted(&self, by: f64) -> Self {
        Self { value: self.value + by, parts: self.parts.clone() }
    }

    /// True when nothing is known to be uncertain about it.
    pub fn is_exact(&self) -> bool {
        self.parts.is_empty()
    }
}

fn combine(value: f64, terms: &[(f64, &Uncertain)]) -> Uncertain {
    let mut parts: Vec<(SourceId, f64)> = Vec::new();
    for (slope, term) in terms {
        for (source, part) in &term.parts {
            match parts.binary_search_by_key(source, |(known, _)| *known) {
                Ok(at) => parts[at].1 += slope * part,
                Err(at) => parts.insert(at, (*source, slope * part)),
            }
        }
    }
    Uncertain { value, parts }
}

/// Relative step of the central differences in [`propagate`]: near the cube root of the rounding
/// error of `f64`, where truncation and rounding errors of a central difference balance.
const STEP: f64 = 6e-6;

/// Puts uncertain inputs through any function, its slopes taken by central differences.
///
/// At the edge of the function's range, where a step to one side is refused, the other side is used.
///
/// # Errors
/// Whatever `f` returns at the inputs themselves.
pub fn propagate<E>(inputs: &[&Uncertain], f: impl Fn(&[f64]) -> Result<f64, E>) -> Result<Uncertain, E> {
    let mut at: Vec<f64> = inputs.iter().map(|input| input.value).collect();
    let value = f(&at)?;
    let mut terms = Vec::with_capacity(inputs.len());
    for (index, input) in inputs.iter().enumerate() {
        if input.is_exact() {
            continue;
        }
        let centre = at[index];
        // A step that is tiny against what it is added to inside `f` would drown in rounding.
        let step = if centre == 0.0 { 1e-3 * input.standard() } else { STEP * centre.abs() };
        at[index] = centre + step;
        let above = f(&at).ok();
        at[index] = centre - step;
        let below = f(&at).ok();
        at[index] = centre;
        let slope = match (above, below) {
            (Some(above), Some(below)) => (above - below) / (2.0 * step),
            (Some(above), None) => (above - value) / step,
            (None, Some(below)) => (value - below) / step,
            (None, None) => 0.0,
        };
        terms.push((slope, *input));
    }
    Ok(combine(value, &terms))
}

/// An uncertain value with its dimension: what expressions calculate with.
#[derive(Debug, Clone, PartialEq)]
pub struct Amount {
    /// The value in SI units.
    pub number: Uncertain,
    /// Its dimension.
    pub dimension: Dimension,
}

impl Amount {
    /// An amount without uncertainty.
    pub const fn exact(value: f64, dimension: Dimension) -> Self {
        Self { number: Uncertain::exact(value), dimension }
    }

    /// A range of which only the ends are known, SI units: its half width is the expanded uncertainty.
    pub fn between(low: f64, high: f64, source: SourceId, dimension: Dimension) -> Self {
        let number = Uncertain::new(0.5 * (low + high), source, (high - low) / (2.0 * COVERAGE));
        Self { number, dimension }
    }

    /// The ends of its expanded uncertainty, SI units; not below zero.
    ///
    /// What follows from a wide range by anything but a straight line is worked out at its ends: half the fault current
    /// lets a quarter through, which no slope at the middle says.
    pub fn ends(&self) -> (f64, f64) {
        let expanded = self.number.expanded();
        ((self.number.value - expanded).max(0.0), self.number.value + expanded)
    }

    /// The value in SI units.
    pub fn value(&self) -> f64 {
        self.number.value
    }

    /// The value in the trade's usual unit, with its expanded uncertainty when it has one.
    pub fn show(&self) -> String {
        super::show_uncertain(self.number.value, self.number.expanded(), self.dimension)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shared_sources_cancel_and_add() {
        let reading = Uncertain::new(10.0, 1, 0.5);
        assert!(reading.minus(&reading).standard() < 1e-15);
        assert!((reading.plus(&reading).standard() - 1.0).abs() < 1e-12);
        let other = Uncertain::new(10.0, 2, 0.5);
        assert!((reading.plus(&other).standard() - 0.5_f64.sqrt()).abs() < 1e-12);
        assert!((reading.times(&reading).standard() - 10.0).abs() < 1e-12);
    }

    #[test]
    fn numeric_slopes_agree_with_exact_ones() {
        let (a, b) = (Uncertain::new(3.0, 1, 0.1), Uncertain::new(0.2, 2, 0.01));
        let exact = a.times(&a).over(&b);
        let numeric = propagate(&[&a, &b], |x| Ok::<_, ()>(x[0] * x[0] / x[1])).unwrap();
        assert!((numeric.standard() / exact.standard() - 1.0).abs() < 1e-9);
    }
}
