//! A calculation sheet: what went in, each step with its formula and numbers, sources, range, assumptions.
//!
//! One model, two writers: text for the bench, JSON with the same content. A comparison on a sheet has the three
//! outcomes of a rule and the same guard band, but a sheet is no inspection: nothing here knows a record.

use std::fmt::Write;
use std::sync::Arc;

use serde::Serialize;

use crate::judge::rules::{Book, Outcome};
use crate::physics::{Method, Refusal};
use crate::units::words::columns;
use crate::units::{Amount, Dimension, Quantity, SourceId, Uncertain, propagate};

/// A value that went in.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Input {
    name: String,
    value: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    expanded_si: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    si_unit: Option<String>,
    /// `given`, `assumed` or `limit`.
    how: &'static str,
}

/// A value that was worked out.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Step {
    name: String,
    formula: String,
    numbers: String,
    value: String,
    si: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    expanded_si: Option<f64>,
    si_unit: String,
}

/// Two values held against each other.
#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Comparison {
    what: String,
    requirement: String,
    outcome: Outcome,
    because: String,
}

#[derive(Debug, Serialize, schemars::JsonSchema)]
struct MethodShown {
    name: &'static str,
    formula: &'static str,
    source: &'static str,
    range: &'static str,
}

/// The sheet.
#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(in crate::cli) struct Sheet {
    /// Version of this shape; it changes only when a field changes its meaning or goes away.
    schema: u32,
    calculation: &'static str,
    title: String,
    inputs: Vec<Input>,
    steps: Vec<Step>,
    comparisons: Vec<Comparison>,
    methods: Vec<MethodShown>,
    assumptions: Vec<String>,
    notes: Vec<String>,
    caution: &'static str,
    #[serde(skip)]
    sources: SourceId,
    #[serde(skip)]
    book: Arc<Book>,
}

impl Sheet {
    /// A sheet whose limits are those of a book; what a house changed in it is noted.
    pub(super) fn new(
        book: &Arc<Book>,
        calculation: &'static str,
        title: &str,
        caution: &'static str,
    ) -> Self {
        Self {
            book: Arc::clone(book),
            schema: 1,
            calculation,
            title: title.to_owned(),
            inputs: Vec::new(),
            steps: Vec::new(),
            comparisons: Vec::new(),
            methods: Vec::new(),
            assumptions: Vec::new(),
            notes: Vec::new(),
            caution,
            sources: 0,
        }
    }

    /// Puts a quantity in; its uncertainty is a source of its own.
    pub(super) fn put(&mut self, name: &str, quantity: &Quantity) -> Amount {
        self.sources += 1;
        let u = quantity.expanded.unwrap_or(0.0) / crate::units::COVERAGE;
        let number = Uncertain::new(quantity.value, self.sources, u);
        let amount = Amount { number, dimension: quantity.dimension };
        self.input(name, &amount, quantity.text.clone(), "given");
        amount
    }

    fn input(&mut self, name: &str, amount: &Amount, value: String, how: &'static str) {
        self.inputs.push(Input {
            name: name.to_owned(),
            value,
            si: Some(amount.value()),
            expanded_si: (!amount.number.is_exact()).then(|| amount.number.expanded()),
            si_unit: Some(amount.dimension.to_string()),
            how,
        });
    }

    /// Puts a word or a count in.
    pub(super) fn put_word(&mut self, name: &str, word: &str) {
        let (name, value) = (name.to_owned(), word.to_owned());
        self.inputs.push(Input { name, value, si: None, expanded_si: None, si_unit: None, how: "given" });
    }

    /// A quantity that was not given; says so twice, with the value and in words.
    pub(super) fn take(&mut self, name: &str, value: f64, dimension: Dimension, why: &str) -> Amount {
        let amount = Amount::exact(value, dimension);
        self.input(name, &amount, amount.show(), "assumed");
        self.assume(format!("{name} {}: {why}", amount.show()));
        amount
    }

    /// What was given, or the rule book's value for it.
    pub(super) fn put_or_limit(
        &mut self,
        name: &str,
        given: Option<&Quantity>,
        limit: &str,
    ) -> Result<Amount, Refusal> {
        match given {
            Some(quantity) => Ok(self.put(name, quantity)),
            None => self.limit(name, limit),
        }
    }

    /// A named limit of the rule book; where a house set it, its reason is noted.
    pub(super) fn limit(&mut self, name: &str, limit: &str) -> Result<Amount, Refusal> {
        let book = Arc::clone(&self.book);
        let found = book.limits.iter().find(|known| known.name == limit);
        let found =
            found.ok_or_else(|| Refusal::NoResult(format!("the rule book has no limit `{limit}`")))?;
        self.input(name, &found.amount, found.text.clone(), "limit");
        self.assume(format!("{name} {}: {} (limit.{limit}; {})", found.text, found.about, found.basis));
        let quoted = format!("`{limit}`");
        for change in book.changes.iter().filter(|change| change.what.contains(&quoted)) {
            self.note(format!("house rules: {}: {}", change.what, change.reason));
        }
        Ok(found.amount.clone())
    }

    /// Works a value out.
    pub(super) fn step(
        &mut self,
        name: &str,
        formula: &str,
        numbers: String,
        number: Uncertain,
        dimension: Dimension,
    ) -> Amount {
        let amount = Amount { number, dimension };
        self.steps.push(Step {
            name: name.to_owned(),
            formula: formula.to_owned(),
            numbers,
            value: amount.show(),
            si: amount.value(),
            expanded_si: (!amount.number.is_exact()).then(|| amount.number.expanded()),
            si_unit: dimension.to_string(),
        });
        amount
    }

    /// Holds `left ≥ right` with a guard band of the expanded uncertainty of their difference (ILAC-G8:09/2019).
    pub(super) fn at_least(&mut self, what: &str, left: &Amount, right: &Amount, basis: &str) {
        // Rounding of the last digits must not decide.
        let scale = left.value().abs().max(right.value().abs());
        let difference = left.number.minus(&right.number);
        let margin = if difference.value.abs() <= 1e-12 * scale { 0.0 } else { difference.value };
        let band = difference.expanded();
        let outcome = match () {
            () if band > 0.0 && margin.abs() < band => Outcome::NotDecided,
            () if margin >= 0.0 => Outcome::Meets,
            () => Outcome::FallsShort,
        };
        let because = if outcome == Outcome::NotDecided {
            format!("the limit lies inside the measurement uncertainty (k = 2); {basis}")
        } else {
            basis.to_owned()
        };
        let requirement = format!("{} ≥ {}", left.show(), right.show());
        self.comparisons.push(Comparison { what: what.to_owned(), requirement, outcome, because });
    }

    /// An outcome that follows without numbers.
    pub(super) fn finds(&mut self, what: &str, requirement: &str, outcome: Outcome, because: &str) {
        let (what, requirement, because) = (what.to_owned(), requirement.to_owned(), because.to_owned());
        self.comparisons.push(Comparison { what, requirement, outcome, because });
    }

    pub(super) fn method(&mut self, method: &Method) {
        let Method { name, formula, source, range } = *method;
        if !self.methods.iter().any(|known| known.name == name) {
            self.methods.push(MethodShown { name, formula, source, range });
        }
    }

    pub(super) fn assume(&mut self, text: impl Into<String>) {
        self.assumptions.push(text.into());
    }

    pub(super) fn note(&mut self, text: impl Into<String>) {
        self.notes.push(text.into());
    }

    /// The sheet, if every result is a finite number.
    ///
    /// # Errors
    /// Names the first result that is none, as after a division by zero or with absurdly large inputs.
    pub(super) fn checked(self) -> Result<Self, Refusal> {
        let wrong = |step: &&Step| !(step.si.is_finite() && step.expanded_si.is_none_or(f64::is_finite));
        match self.steps.iter().find(wrong) {
            Some(step) => Err(Refusal::NoResult(format!(
                "the {} is not a finite number: a value that went in is zero or far too large",
                step.name
            ))),
            None => Ok(self),
        }
    }

    /// The sheet as text.
    pub(super) fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = self.write(&mut out);
        out
    }

    fn write(&self, out: &mut String) -> std::fmt::Result {
        writeln!(out, "{}", self.title)?;
        let inputs = self.inputs.iter().map(|input| {
            let how = if input.how == "given" { String::new() } else { format!("  ({})", input.how) };
            vec![input.name.clone(), format!("{}{how}", plain(&input.value))]
        });
        for (index, line) in columns(&inputs.collect::<Vec<_>>()).into_iter().enumerate() {
            let head = if index == 0 { "\nPut in\n" } else { "" };
            writeln!(out, "{head}  {line}")?;
        }
        for (index, step) in self.steps.iter().enumerate() {
            let head = if index == 0 { "\nWorked out\n" } else { "" };
            writeln!(out, "{head}  {}: {}", step.name, step.value)?;
            writeln!(out, "      {}", step.formula)?;
            if !step.numbers.is_empty() {
                writeln!(out, "      {}", plain(&step.numbers))?;
            }
        }
        for (index, found) in self.comparisons.iter().enumerate() {
            let head = if index == 0 { "\nHeld against each other\n" } else { "" };
            let (shape, words) = (found.outcome.shape(), found.outcome.words());
            writeln!(out, "{head}  {shape} {words}: {}", found.what)?;
            writeln!(out, "      {}", found.requirement)?;
            writeln!(out, "      {}", found.because)?;
        }
        for (index, method) in self.methods.iter().enumerate() {
            let head = if index == 0 { "\nMethods\n" } else { "" };
            writeln!(out, "{head}  {}: {}", method.name, method.formula)?;
            writeln!(out, "      source: {}", method.source)?;
            writeln!(out, "      holds for: {}", method.range)?;
        }
        for (head, lines) in [("\nAssumed", &self.assumptions), ("\nNote", &self.notes)] {
            if !lines.is_empty() {
                writeln!(out, "{head}")?;
            }
            for line in lines {
                writeln!(out, "  {line}")?;
            }
        }
        if self.steps.iter().any(|step| step.expanded_si.is_some()) {
            writeln!(
                out,
                "\n± is the expanded uncertainty, k = 2 (about 95 %), to first order after JCGM 100:2008."
            )?;
        }
        writeln!(out, "\nCaution: {}", self.caution)
    }
}

fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// An amount as it stands in a product: in parentheses when it carries an uncertainty.
pub(super) fn figure(amount: &Amount) -> String {
    if amount.number.is_exact() { amount.show() } else { format!("({})", amount.show()) }
}

/// Puts amounts through a physics function, with their uncertainty.
pub(super) fn through(
    inputs: &[&Amount],
    f: impl Fn(&[f64]) -> Result<f64, Refusal>,
) -> Result<Uncertain, Refusal> {
    let numbers: Vec<&Uncertain> = inputs.iter().map(|amount| &amount.number).collect();
    propagate(&numbers, f)
}
