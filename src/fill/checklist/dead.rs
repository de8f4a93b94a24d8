//! Conditions that can never hold, or always do, or rest on a fact that the list never asks for.
//!
//! A condition over yes-or-no facts and words is tried with every combination of what those facts may be; nothing
//! is said of a condition that compares amounts in any other way than with a plain number, because sampling could
//! not prove it.

use std::collections::BTreeMap;

use super::{Checklist, Fills, Item};
use crate::judge::facts::{FACTS, Missing, Reason, Type, Val};
use crate::judge::rules::expr::{Env, Expr, Node, evaluate, gather};
use crate::judge::rules::names::catalogue;
use crate::record::problem::Problem;
use crate::units::{Amount, Uncertain};

/// Combinations beyond which nothing is said of a condition.
const MOST: usize = 20_000;

/// The problems of the conditions in the items of a list that come from `file`.
#[must_use]
pub fn dead_conditions(list: &Checklist, file: &str) -> Vec<Problem> {
    let mut problems = Vec::new();
    for item in list.items().filter(|item| &*item.file == file) {
        let Some((text, when)) = &item.when else {
            continue;
        };
        if let Some((message, expected)) = dead(list, item, text, when) {
            problems.push(Problem {
                span: item.when_span.clone(),
                message,
                expected,
                example: "leave `when` out where an item always applies".to_owned(),
            });
        }
    }
    problems
}

fn dead(list: &Checklist, item: &Item, text: &str, when: &Expr) -> Option<(String, String)> {
    let mut names = Vec::new();
    gather(when, &mut names);
    if names.is_empty() {
        return Some((format!("`{text}` asks nothing of the record"), "a condition names a fact".to_owned()));
    }
    for name in &names {
        let derived = FACTS.iter().any(|fact| fact.name == *name) || name.starts_with("limit.");
        if !derived && !asked(list, item, name) {
            return Some((
                format!("no item before `{}` asks for `{name}`", item.id),
                "so the condition never holds when it is reached".to_owned(),
            ));
        }
    }
    match outcomes(when, &names)? {
        (false, _) => Some((format!("`{text}` can never hold"), "the item would never be asked".to_owned())),
        (true, false) => {
            Some((format!("`{text}` always holds"), "a condition that decides something".to_owned()))
        }
        (true, true) => None,
    }
}

/// True when an earlier item fills the fact; the ids and kinds that adding a part writes are always there.
fn asked(list: &Checklist, item: &Item, name: &str) -> bool {
    let field: String = name.split('.').take(2).collect::<Vec<_>>().join(".");
    // What adding a part writes.
    const ADDED: [&str; 8] = [
        "element.kind",
        "element.leg",
        "element.id",
        "reading.position",
        "statement.text",
        "layer.name",
        "test.kind",
        "photo.file",
    ];
    if ADDED.contains(&field.as_str()) {
        return true;
    }
    list.items()
        .take_while(|earlier| earlier.id != item.id)
        .any(|earlier| matches!(&earlier.fills, Fills::Field { name, .. } if *name == field))
}

/// Whether the condition can hold, and whether it can fail to; nothing when that cannot be told.
fn outcomes(when: &Expr, names: &[&str]) -> Option<(bool, bool)> {
    let types: BTreeMap<String, Type> = catalogue().into_iter().map(|info| (info.name, info.kind)).collect();
    if !plain(when) {
        return None;
    }
    let mut numbers = Vec::new();
    literals(when, &mut numbers);
    let mut choices: Vec<Vec<Option<Val>>> = Vec::new();
    for name in names {
        // `None` stands for a fact that nobody recorded.
        let mut values: Vec<Option<Val>> = vec![None];
        match types.get(*name)? {
            Type::YesNo => values.extend([Some(Val::YesNo(true)), Some(Val::YesNo(false))]),
            Type::Word(words) => {
                values.extend(words.iter().map(|word| Some(Val::Text(word.word.to_owned()))));
                values.push(Some(Val::Text(crate::record::field::ABSENT.to_owned())));
            }
            Type::Amount(dimension) => {
                let mut around: Vec<f64> = numbers
                    .iter()
                    .filter(|amount| amount.dimension == *dimension)
                    .map(Amount::value)
                    .collect();
                around.sort_by(f64::total_cmp);
                let mut samples = around.clone();
                samples.extend(around.iter().zip(around.iter().skip(1)).map(|(a, b)| f64::midpoint(*a, *b)));
                samples.extend(around.first().map(|a| a - a.abs() - 1.0));
                samples.extend(around.last().map(|a| a + a.abs() + 1.0));
                if samples.is_empty() {
                    samples.push(1.0);
                }
                values.extend(samples.into_iter().map(|value| {
                    Some(Val::Amount(Amount { number: Uncertain::exact(value), dimension: *dimension }))
                }));
            }
            Type::Text | Type::Date => return None,
        }
        choices.push(values);
    }
    let count = choices.iter().try_fold(1_usize, |n, values| n.checked_mul(values.len()))?;
    if count > MOST {
        return None;
    }
    let (mut holds, mut fails) = (false, false);
    for number in 0..count {
        let mut rest = number;
        let mut facts = Tried::default();
        for (name, values) in names.iter().zip(&choices) {
            facts.0.insert(name, values.get(rest % values.len())?.as_ref());
            rest /= values.len();
        }
        if evaluate(when, &facts) == Ok(Val::YesNo(true)) {
            holds = true;
        } else {
            fails = true;
        }
    }
    Some((holds, fails))
}

#[derive(Default)]
struct Tried<'a>(BTreeMap<&'a str, Option<&'a Val>>);

impl Env for Tried<'_> {
    fn fact(&self, name: &str) -> Result<Val, Vec<Missing>> {
        match self.0.get(name) {
            Some(Some(value)) => Ok((*value).clone()),
            _ => Err(vec![Missing::fact(name, "", Reason::NotRecorded)]),
        }
    }
}

/// True when every comparison of amounts is between a fact and a number.
fn plain(expr: &Expr) -> bool {
    match &expr.node {
        Node::And(l, r) | Node::Or(l, r) => plain(l) && plain(r),
        Node::Not(inner) => plain(inner),
        Node::Compare(_, l, r) => {
            let leaf = |e: &Expr| {
                matches!(
                    e.node,
                    Node::Name(_)
                        | Node::Number(..)
                        | Node::Text(_)
                        | Node::YesNo(_)
                        | Node::Recorded(_)
                        | Node::Absent(_)
                )
            };
            let both_names = matches!((&l.node, &r.node), (Node::Name(_), Node::Name(_)));
            leaf(l) && leaf(r) && !both_names
        }
        Node::OneOf(..) | Node::Name(_) | Node::Recorded(_) | Node::Absent(_) | Node::YesNo(_) => true,
        _ => false,
    }
}

fn literals(expr: &Expr, found: &mut Vec<Amount>) {
    match &expr.node {
        Node::Number(amount, _) => found.push(amount.clone()),
        Node::And(l, r) | Node::Or(l, r) | Node::Compare(_, l, r) => {
            literals(l, found);
            literals(r, found);
        }
        Node::Not(inner) => literals(inner, found),
        _ => {}
    }
}
