//! The first look at the bench: which question comes next, and how far the headline questions are.

use super::question::{Applies, Question};
use super::sight::{Ask, First, Sight};
use crate::fill::checklist::{Adds, Fills};
use crate::judge::next::{Answered, Headline, Wanted, first_look};
use crate::judge::rules::Outcome;

impl Sight {
    /// The first look; worked out when it is asked for.
    #[must_use]
    pub fn first(&self) -> &First {
        self.first.get_or_init(|| {
            let look = first_look(self.judged(), &self.judgement.causes);
            let open = || self.questions.iter().filter(|q| q.is_open() && q.applies == Applies::Yes);
            // Without the kind of pack nobody knows which questions to ask.
            let field = |question: &&Question, wanted: &str| match &question.item.fills {
                Fills::Field { name, .. } => name == wanted,
                Fills::Adds(_) | Fills::Remark => false,
            };
            let kind = open().filter(|question| field(question, "inspection.kind"));
            let mut asks: Vec<Ask> = kind.map(|q| Ask { key: q.key.clone(), look: None }).collect();
            for (wanted, look) in look.asks {
                let asked: Vec<&Question> = match &wanted {
                    Wanted::Field(subject, name) => {
                        // A side of a size is asked for with the whole.
                        let mut parts = name.splitn(3, '.');
                        let name = format!(
                            "{}.{}",
                            parts.next().unwrap_or_default(),
                            parts.next().unwrap_or_default()
                        );
                        open().filter(|q| q.of_what.subject() == *subject && field(q, &name)).collect()
                    }
                    Wanted::Tests => open().filter(|q| q.item.fills_with(Adds::Tests)).collect(),
                    Wanted::Elements => {
                        let listed = open().filter(|q| q.item.fills_with(Adds::Elements));
                        listed.chain(open().filter(|q| field(q, "path.complete"))).collect()
                    }
                };
                for question in asked {
                    if asks.iter().all(|ask| ask.key != question.key) {
                        asks.push(Ask { key: question.key.clone(), look: look.clone() });
                    }
                }
            }
            First { headlines: look.headlines, asks }
        })
    }
}

/// A headline question and its answer, in a line; what would decide it where the first look is `over`.
#[must_use]
pub(super) fn told(headline: &Headline, over: bool) -> String {
    let (shape, answer) = match headline.answered {
        Answered::No => (Outcome::FallsShort.shape(), "No: "),
        Answered::NothingAgainst => (Outcome::Meets.shape(), ""),
        Answered::Open if !over => {
            return format!("{} {} Open. {}", Outcome::NotDecided.shape(), headline.question, headline.told);
        }
        Answered::Open => (Outcome::NotDecided.shape(), "Not decided by looking. "),
    };
    format!("{shape} {} {answer}{}", headline.question, headline.told)
}
