//! A small helper that gathers facts for a derivation, its working, and everything that is missing.

use std::cell::RefCell;

use super::lookup::Facts;
use super::value::{Answer, Bound, Lacks, Missing, Reason, Side, Val, Worked, capped};
use crate::physics::{Method, Refusal};
use crate::record::reads;
use crate::units::{Amount, Dimension, Uncertain, propagate, show};

/// Lines of working that one value shows; further ones it counts. Every rule that uses the value repeats them.
const STEPS: usize = 48;

/// Gathers what a derivation needs.
pub(crate) struct Worker<'a> {
    pub(crate) facts: &'a Facts<'a>,
    missing: Lacks,
    steps: Vec<String>,
    sources: Vec<String>,
    assumed: Vec<String>,
    bound: Option<Bound>,
    /// Lines of working beyond [`STEPS`].
    more_steps: usize,
    /// Facts that would have been used were they not withheld or in doubt: a value made without them would be another one.
    withheld: RefCell<Vec<Missing>>,
    /// Names of the claims among the facts that were used.
    claims: RefCell<Vec<String>>,
}

impl<'a> Worker<'a> {
    pub(crate) fn new(facts: &'a Facts<'a>) -> Self {
        Self {
            facts,
            missing: Lacks::default(),
            steps: Vec::new(),
            sources: Vec::new(),
            assumed: Vec::new(),
            bound: None,
            more_steps: 0,
            withheld: RefCell::new(Vec::new()),
            claims: RefCell::new(Vec::new()),
        }
    }

    /// Looks a fact up, and notes when it is a claim or rests on some.
    fn look_up(&self, name: &str) -> Result<Val, Vec<Missing>> {
        let value = self.facts.fact(name)?;
        self.note_claims(&self.facts.claims_of(name));
        Ok(value)
    }

    /// Notes claims that a value rests on.
    pub(crate) fn claimed(&self, claims: &[String]) {
        self.note_claims(claims);
    }

    fn note_claims(&self, claims: &[String]) {
        let mut noted = self.claims.borrow_mut();
        for claim in claims {
            if !noted.contains(claim) {
                noted.push(claim.clone());
            }
        }
    }

    fn without<T>(&self, missing: Vec<Missing>) -> Option<T> {
        self.withheld
            .borrow_mut()
            .extend(missing.into_iter().filter(|m| matches!(m.reason, Reason::Withheld | Reason::InDoubt)));
        None
    }

    /// A fact that is needed; its lack is noted.
    pub(crate) fn amount(&mut self, name: &str) -> Option<Amount> {
        match self.look_up(name) {
            Ok(Val::Amount(amount)) => Some(amount),
            Ok(_) => None,
            Err(missing) => {
                self.missing.extend(missing);
                None
            }
        }
    }

    /// A word that is needed; its lack is noted.
    pub(crate) fn word(&mut self, name: &str) -> Option<String> {
        match self.look_up(name) {
            Ok(Val::Text(word)) => Some(word),
            Ok(_) => None,
            Err(missing) => {
                self.missing.extend(missing);
                None
            }
        }
    }

    /// A fact that is used when it is there.
    pub(crate) fn optional(&self, name: &str) -> Option<Amount> {
        match self.look_up(name) {
            Ok(Val::Amount(amount)) => Some(amount),
            Ok(_) => None,
            Err(missing) => self.without(missing),
        }
    }

    /// A word that is used when it is there.
    pub(crate) fn optional_word(&self, name: &str) -> Option<String> {
        match self.look_up(name) {
            Ok(Val::Text(word)) if word != crate::record::field::ABSENT => Some(word),
            Ok(_) => None,
            Err(missing) => self.without(missing),
        }
    }

    /// A recorded fact, or the named limit that stands in for it; the assumption is noted.
    pub(crate) fn or_limit(&mut self, name: &str, limit: &str, what: &str) -> Option<Amount> {
        if let Some(amount) = self.optional(name) {
            return Some(amount);
        }
        let amount = self.amount(&format!("limit.{limit}"))?;
        self.assume(format!("{what} is not recorded; {} taken (limit `{limit}`)", amount.show()));
        Some(amount)
    }

    /// A count that is one when it is not recorded; the assumption is noted.
    pub(crate) fn count_or_one(&mut self, name: &str, what: &str) -> Amount {
        self.optional(name).unwrap_or_else(|| {
            self.assume(format!("{what} is not recorded; 1 taken"));
            Amount::exact(1.0, Dimension::NONE)
        })
    }

    pub(crate) fn assume(&mut self, what: String) {
        if !self.assumed.contains(&what) {
            self.assumed.push(what);
        }
    }

    /// Marks the value as a bound, because of what is missing.
    pub(crate) fn bounded(&mut self, side: Side, missing: Vec<Missing>, by_definition: bool) {
        if missing.is_empty() {
            return;
        }
        match &mut self.bound {
            // What only narrows a range takes no bound away.
            Some(bound) if bound.side == side || side == Side::Within => {
                bound.missing = capped(std::mem::take(&mut bound.missing).into_iter().chain(missing));
            }
            _ => self.bound = Some(Bound { side, missing: capped(missing), by_definition }),
        }
    }

    /// Adds a line of working; where values are only tried, nobody reads it.
    pub(crate) fn step(&mut self, line: impl FnOnce() -> String) {
        if self.facts.derived.is_tried() {
            return;
        }
        if self.steps.len() < STEPS {
            self.steps.push(line());
        } else {
            self.more_steps += 1;
        }
    }

    pub(crate) fn source(&mut self, method: &Method) {
        self.step(|| format!("{}: {}", method.name, method.formula));
        self.sources.push(method.source.to_owned());
    }

    pub(crate) fn lacks(&mut self, missing: Missing) {
        self.missing.push(missing);
    }

    /// All of several facts, or everything that is missing so far.
    pub(crate) fn all<const N: usize>(
        &mut self,
        facts: [Option<Amount>; N],
    ) -> Result<[Amount; N], Vec<Missing>> {
        if facts.iter().all(Option::is_some) && self.missing.is_empty() {
            let facts: Vec<Amount> = facts.into_iter().flatten().collect();
            return facts.try_into().map_err(|_| Vec::new());
        }
        Err(self.take_missing())
    }

    /// What was noted as missing, for a value that can do without.
    pub(crate) fn missing_so_far(&mut self) -> Vec<Missing> {
        self.missing.take()
    }

    pub(crate) fn take_missing(&mut self) -> Vec<Missing> {
        if self.missing.is_empty() {
            self.missing.push(Missing::refused("a fact has the wrong kind"));
        }
        self.missing.take()
    }

    /// Puts amounts through a physics function, with their uncertainty.
    pub(crate) fn through(
        &mut self,
        inputs: &[&Amount],
        gives: Dimension,
        f: impl Fn(&[f64]) -> Result<f64, Refusal>,
    ) -> Result<Amount, Vec<Missing>> {
        let numbers: Vec<&Uncertain> = inputs.iter().map(|a| &a.number).collect();
        match propagate(&numbers, f) {
            Ok(number) => Ok(Amount { number, dimension: gives }),
            Err(refusal) => Err(vec![Missing::refused(&refusal.to_string())]),
        }
    }

    /// The finished value.
    pub(crate) fn done(self, amount: Amount) -> Answer {
        let withheld = self.withheld.take();
        if !withheld.is_empty() {
            return Err(withheld);
        }
        if reads::met() {
            return Err(vec![Missing::withheld()]);
        }
        if !amount.number.value.is_finite() {
            return Err(vec![Missing::refused("the result is not a finite number")]);
        }
        Ok(self.worked(Val::Amount(amount)))
    }

    /// The finished value of any kind.
    pub(crate) fn worked(mut self, value: Val) -> Worked {
        if self.more_steps > 0 {
            self.steps.push(format!("and {} more lines", self.more_steps));
        }
        Worked {
            value,
            steps: self.steps,
            sources: self.sources,
            assumed: self.assumed,
            bound: self.bound,
            claims: self.claims.into_inner(),
            contradicted: Vec::new(),
        }
    }

    /// Carries the assumptions and claims of a value that this one rests on.
    pub(crate) fn rests_on(&mut self, worked: &Worked) {
        self.note_claims(&worked.claims);
        for assumed in &worked.assumed {
            self.assume(assumed.clone());
        }
        if let Some(bound) = &worked.bound {
            self.bounded(bound.side, bound.missing.clone(), bound.by_definition);
        }
        for source in &worked.sources {
            if !self.sources.contains(source) {
                self.sources.push(source.clone());
            }
        }
    }
}

/// "name = value" for a line of working.
pub(crate) fn line(name: &str, amount: &Amount) -> String {
    format!("{name} = {}", amount.show())
}

/// A value in its usual unit.
pub(crate) fn shown(amount: &Amount) -> String {
    show(amount.value(), amount.dimension)
}
