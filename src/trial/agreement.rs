//! Several comparisons as one answer: yes when all agree, no when one disagrees, else what cannot be told and why.

use super::worked;
use crate::bench::instrument::Agreement;
use crate::derive::{Answer, Missing, Val};

/// Comparisons that belong together.
#[derive(Debug, Default)]
pub(super) struct Checks {
    lines: Vec<String>,
    open: Vec<Missing>,
    disagree: bool,
}

impl Checks {
    /// Adds a comparison.
    pub fn add(&mut self, what: &str, agreement: &Agreement) {
        match agreement {
            Agreement::Agree => {}
            Agreement::Disagree => self.disagree = true,
            Agreement::CannotTell(why) => self.open.push(Missing::refused(&format!("{what}: {why}"))),
        }
        self.lines.push(format!("{what}: {agreement}"));
    }

    /// How many there are.
    pub fn count(&self) -> u32 {
        u32::try_from(self.lines.len()).unwrap_or(u32::MAX)
    }

    /// The answer to "do they agree?"; `nothing` is what is missing where nothing was compared.
    pub fn answer(self, nothing: &str) -> Answer {
        if self.disagree || self.open.is_empty() && !self.lines.is_empty() {
            return Ok(worked(Val::YesNo(!self.disagree), self.lines));
        }
        if self.lines.is_empty() {
            return Err(vec![Missing::refused(nothing)]);
        }
        Err(self.open)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_that_disagrees_decides_and_one_that_cannot_be_told_leaves_it_open() {
        let cannot = Agreement::CannotTell("why".to_owned());
        let cases: [(&[&Agreement], Option<bool>); 5] = [
            (&[&Agreement::Agree, &Agreement::Agree], Some(true)),
            (&[&Agreement::Agree, &Agreement::Disagree], Some(false)),
            (&[&cannot, &Agreement::Disagree], Some(false)),
            (&[&cannot, &Agreement::Agree], None),
            (&[], None),
        ];
        for (agreements, wanted) in cases {
            let mut checks = Checks::default();
            for agreement in agreements {
                checks.add("a", agreement);
            }
            let answer = checks.answer("a reading").ok().map(|worked| worked.value);
            assert_eq!(answer, wanted.map(Val::YesNo));
        }
    }
}
