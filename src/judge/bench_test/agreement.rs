//! Several comparisons as one answer: yes when all agree, no when one disagrees, else what cannot be told and why.
//!
//! "All agree" rests on how many there are: it would also be true of what is left when the one that disagrees is taken
//! out of the record. So the answer names how many agree, and one alone decides nothing but a disagreement.

use super::worked;
use crate::judge::facts::{Answer, Missing, Val};
use crate::logs::instrument::Agreement;

/// Comparisons that belong together.
#[derive(Debug, Default)]
pub(super) struct Checks {
    lines: Vec<String>,
    open: Vec<Missing>,
    agree: usize,
    disagree: usize,
    /// Readings behind the comparisons that agree.
    readings: usize,
}

impl Checks {
    /// Adds a comparison of one reading.
    pub fn add(&mut self, what: &str, agreement: &Agreement) {
        self.add_of(1, what, agreement);
    }

    /// Adds a comparison that rests on several readings.
    pub fn add_of(&mut self, readings: usize, what: &str, agreement: &Agreement) {
        match agreement {
            Agreement::Agree => {
                self.agree += 1;
                self.readings += readings;
            }
            Agreement::Disagree => self.disagree += 1,
            Agreement::CannotTell(why) => self.open.push(Missing::refused(&format!("{what}: {why}"))),
        }
        self.lines.push(format!("{what}: {agreement}"));
    }

    /// How many there are.
    pub fn count(&self) -> u32 {
        u32::try_from(self.lines.len()).unwrap_or(u32::MAX)
    }

    /// The answer to "do they agree?"; `nothing` is what is missing where nothing was compared, and `least` readings
    /// must agree for a yes.
    pub fn answer(mut self, nothing: &str, least: usize) -> Answer {
        let all = self.lines.len();
        if all == 0 {
            return Err(vec![Missing::refused(nothing)]);
        }
        if all > 1 {
            self.lines.push(format!("{} of {all} comparisons agree", self.agree));
        }
        if self.disagree > 0 {
            return Ok(worked(Val::YesNo(false), self.lines));
        }
        if !self.open.is_empty() {
            return Err(self.open);
        }
        if self.readings < least {
            return Err(vec![Missing::refused(&format!(
                "a second reading: there is one alone, and it agrees ({})",
                self.lines.first().map_or("", String::as_str)
            ))]);
        }
        Ok(worked(Val::YesNo(true), self.lines))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_that_disagrees_decides_and_one_that_cannot_be_told_leaves_it_open() {
        let cannot = Agreement::CannotTell("why".to_owned());
        let cases: [(&[&Agreement], Option<bool>); 7] = [
            (&[&Agreement::Agree], None),
            (&[&Agreement::Disagree], Some(false)),
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
            let answer = checks.answer("a reading", 2).ok().map(|worked| worked.value);
            assert_eq!(answer, wanted.map(Val::YesNo));
        }
    }

    #[test]
    fn the_answer_names_how_many_agree() {
        let mut checks = Checks::default();
        for agreement in [Agreement::Agree, Agreement::Disagree, Agreement::Agree] {
            checks.add("a", &agreement);
        }
        let steps = checks.answer("a reading", 2).unwrap().steps;
        assert_eq!(steps.last().map(String::as_str), Some("2 of 3 comparisons agree"));
        let mut checks = Checks::default();
        checks.add("rise of bms", &Agreement::Agree);
        let missing = checks.answer("a reading", 2).unwrap_err();
        assert_eq!(
            missing[0].what,
            "a second reading: there is one alone, and it agrees (rise of bms: agree)"
        );
    }
}
