//! When an item applies, in the words of somebody with a clipboard: `heater.present is yes` reads "heater present is
//! yes". What has no plain words stays as it is written.

use crate::judge::facts::FACTS;
use crate::judge::rules::expr::{Expr, Node};

/// A condition in plain words, with what stands in the list where there are none for it.
pub(super) fn in_words(written: &str, condition: &Expr) -> String {
    plain(condition).unwrap_or_else(|| format!("`{written}`"))
}

fn plain(condition: &Expr) -> Option<String> {
    Some(match &condition.node {
        Node::Name(fact) => name(fact),
        Node::Number(_, written) => written.clone(),
        Node::Text(text) => text.clone(),
        Node::YesNo(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Node::Recorded(fact) => format!("{} is known", name(fact)),
        Node::Absent(fact) => format!("{} is absent", name(fact)),
        Node::Compare(relation, left, right) => {
            format!("{} {} {}", plain(left)?, relation.sign(), plain(right)?)
        }
        Node::OneOf(found, listed) => {
            let words: Option<Vec<String>> = listed.iter().map(plain).collect();
            format!("{} is {}", plain(found)?, words?.join(" or "))
        }
        Node::And(left, right) => format!("{} and {}", plain(left)?, plain(right)?),
        Node::Or(left, right) => format!("{} or {}", plain(left)?, plain(right)?),
        _ => return None,
    })
}

/// A fact as a person would call it: a derived one by what it is, one of the part that is asked about without the part.
fn name(fact: &str) -> String {
    if let Some(derived) = FACTS.iter().find(|derived| derived.name == fact) {
        return format!("the {}", derived.about);
    }
    let own = ["element.", "layer.", "photo.", "reading.", "statement.", "test."];
    let short = own.iter().find_map(|part| fact.strip_prefix(part)).unwrap_or(fact);
    short.replace(['.', '_'], " ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::fill::checklist::Checklists;

    #[test]
    fn conditions_of_the_shipped_lists_have_words() {
        let lists = Checklists::built_in().unwrap();
        let mut told = Vec::new();
        for kind in ["drop-in", "rack", "self-built"] {
            for item in lists.of_kind(kind).unwrap().items() {
                let Some((written, condition)) = &item.when else { continue };
                let words = in_words(written, condition);
                assert!(!words.contains(['`', '_']), "{written}: {words}");
                told.push((written.clone(), words));
            }
        }
        for (written, words) in [
            ("heater.present is yes", "heater present is yes"),
            ("recorded(test.log)", "log is known"),
            ("test.kind is \"cold charge\"", "kind is cold charge"),
        ] {
            assert!(told.contains(&(written.to_owned(), words.to_owned())), "{written}: {told:?}");
        }
    }
}
