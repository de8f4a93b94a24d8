//! Evaluates a checked expression over a record's facts, collecting all that is missing.

use super::{Expr, Function, FunctionKind, Node, Operator, Relation, Val};
use crate::judge::facts::{Missing, Reason};
use crate::units::{Amount, Dimension, Uncertain, propagate};

/// Where facts come from.
pub trait Env {
    /// The value of a fact, or why it is missing.
    ///
    /// # Errors
    /// What is missing.
    fn fact(&self, name: &str) -> Result<Val, Vec<Missing>>;

    /// How a fact is only a bound, in words: "at least".
    fn bound(&self, _name: &str) -> Option<&'static str> {
        None
    }
}

/// A value, or all that is missing for it.
pub type Evaluated = Result<Val, Vec<Missing>>;

/// Evaluates an expression.
///
/// # Errors
/// Every missing fact, each once.
pub fn evaluate(expr: &Expr, env: &dyn Env) -> Evaluated {
    match &expr.node {
        Node::Number(amount, _) => Ok(Val::Amount(amount.clone())),
        Node::Text(text) => Ok(Val::Text(text.clone())),
        Node::YesNo(yes) => Ok(Val::YesNo(*yes)),
        Node::Name(name) => env.fact(name),
        Node::Recorded(name) => Ok(Val::YesNo(match env.fact(name) {
            Ok(_) => true,
            Err(missing) if missing.iter().any(kept_back) => return Err(missing),
            Err(missing) => missing.iter().any(|m| m.reason == Reason::Absent),
        })),
        Node::Absent(name) => match env.fact(name) {
            Ok(Val::YesNo(false)) => Ok(Val::YesNo(true)),
            Ok(Val::Text(text)) => Ok(Val::YesNo(text == crate::record::field::ABSENT)),
            Ok(_) => Ok(Val::YesNo(false)),
            Err(missing) if missing.iter().any(kept_back) => Err(missing),
            Err(missing) if missing.iter().any(|m| m.reason == Reason::Absent) => Ok(Val::YesNo(true)),
            Err(missing) => Err(missing),
        },
        Node::Negative(inner) => {
            let inner = amount(inner, env)?;
            Ok(Val::Amount(Amount { number: inner.number.scaled(-1.0), ..inner }))
        }
        Node::Power(base, exponent) => {
            let base = amount(base, env)?;
            let dimension = base.dimension.power(*exponent).unwrap_or(Dimension::NONE);
            finite(expr, Amount { number: base.number.power(i32::from(*exponent)), dimension })
        }
        Node::Arithmetic(operator, left, right) => {
            let (left, right) = both(amount(left, env), amount(right, env))?;
            let (number, dimension) = match operator {
                Operator::Plus => {
                    (left.number.plus(&right.number), left.dimension.plus(right.dimension, false))
                }
                Operator::Minus => {
                    (left.number.minus(&right.number), left.dimension.plus(right.dimension, true))
                }
                Operator::Times => (left.number.times(&right.number), left.dimension.times(right.dimension)),
                Operator::Over => (left.number.over(&right.number), left.dimension.over(right.dimension)),
            };
            finite(expr, Amount { number, dimension: dimension.unwrap_or(Dimension::NONE) })
        }
        Node::Call(function, arguments) => call(function, arguments, expr, env),
        Node::Compare(relation, left, right) => {
            let (left, right) = both(evaluate(left, env), evaluate(right, env))?;
            Ok(Val::YesNo(holds(*relation, &left, &right)))
        }
        Node::OneOf(left, listed) => {
            let left = evaluate(left, env)?;
            let mut found = false;
            for item in listed {
                found |= evaluate(item, env)? == left;
            }
            Ok(Val::YesNo(found))
        }
        Node::And(left, right) => logic(evaluate(left, env), evaluate(right, env), false),
        Node::Or(left, right) => logic(evaluate(left, env), evaluate(right, env), true),
        Node::Not(inner) => Ok(Val::YesNo(evaluate(inner, env)? != Val::YesNo(true))),
    }
}

/// Recorded, but not to be used: whether it is there is no answer either.
fn kept_back(missing: &Missing) -> bool {
    matches!(missing.reason, Reason::Withheld | Reason::InDoubt)
}

/// Three-valued logic after Kleene: one deciding side is enough, whatever the other lacks.
fn logic(left: Evaluated, right: Evaluated, deciding: bool) -> Evaluated {
    if left == Ok(Val::YesNo(deciding)) || right == Ok(Val::YesNo(deciding)) {
        return Ok(Val::YesNo(deciding));
    }
    both(left, right).map(|_| Val::YesNo(!deciding))
}

fn both<T>(left: Result<T, Vec<Missing>>, right: Result<T, Vec<Missing>>) -> Result<(T, T), Vec<Missing>> {
    match (left, right) {
        (Ok(left), Ok(right)) => Ok((left, right)),
        (Err(mut left), Err(right)) => {
            for missing in right {
                if !left.contains(&missing) {
                    left.push(missing);
                }
            }
            Err(left)
        }
        (Err(missing), _) | (_, Err(missing)) => Err(missing),
    }
}

fn holds(relation: Relation, left: &Val, right: &Val) -> bool {
    let order = match (left, right) {
        (Val::Amount(left), Val::Amount(right)) => left.value().partial_cmp(&right.value()),
        (Val::Date(left), Val::Date(right)) => Some(left.cmp(right)),
        _ => None,
    };
    match relation {
        Relation::AtLeast => order.is_some_and(|o| o.is_ge()),
        Relation::AtMost => order.is_some_and(|o| o.is_le()),
        Relation::Above => order.is_some_and(|o| o.is_gt()),
        Relation::Below => order.is_some_and(|o| o.is_lt()),
        Relation::Is => left == right,
        Relation::IsNot => left != right,
    }
}

fn amount(expr: &Expr, env: &dyn Env) -> Result<Amount, Vec<Missing>> {
    match evaluate(expr, env)? {
        Val::Amount(amount) => Ok(amount),
        other => Err(vec![Missing::refused(&format!("`{}` is not a quantity", other.show()))]),
    }
}

fn finite(_expr: &Expr, amount: Amount) -> Evaluated {
    if amount.number.value.is_finite() && amount.number.standard().is_finite() {
        Ok(Val::Amount(amount))
    } else {
        Err(vec![Missing::refused("the result is not a finite number (a division by zero?)")])
    }
}

fn call(function: &Function, arguments: &[Expr], expr: &Expr, env: &dyn Env) -> Evaluated {
    if let FunctionKind::Physics { words, function: physics, gives, .. } = function.kind {
        return physics_call(words, physics, gives, arguments, env);
    }
    let mut found: Result<Vec<Amount>, Vec<Missing>> = Ok(Vec::new());
    for argument in arguments {
        found = match (found, amount(argument, env)) {
            (Ok(mut list), Ok(next)) => {
                list.push(next);
                Ok(list)
            }
            (Err(mut missing), Err(more)) => {
                missing.extend(more);
                Err(missing)
            }
            (Err(missing), _) | (_, Err(missing)) => Err(missing),
        };
    }
    let found = found?;
    let pick = |larger: bool| {
        found.iter().cloned().reduce(
            |best, next| {
                if (next.value() > best.value()) == larger { next } else { best }
            },
        )
    };
    let result = match function.kind {
        FunctionKind::Smallest => pick(false),
        FunctionKind::Largest => pick(true),
        FunctionKind::Absolute => found.first().map(|a| Amount { number: a.number.abs(), ..a.clone() }),
        FunctionKind::Root => found.first().map(|a| Amount {
            number: if a.number.value == 0.0 { Uncertain::exact(0.0) } else { a.number.root() },
            dimension: a.dimension.root().unwrap_or(Dimension::NONE),
        }),
        FunctionKind::Physics { .. } => None,
    };
    match result {
        Some(amount) => finite(expr, amount),
        None => Err(vec![Missing::refused("no arguments")]),
    }
}

fn physics_call(
    words: &[&str],
    physics: super::Physics,
    gives: Dimension,
    arguments: &[Expr],
    env: &dyn Env,
) -> Evaluated {
    let mut chosen = Vec::new();
    let mut inputs = Vec::new();
    let mut missing = Vec::new();
    for (index, argument) in arguments.iter().enumerate() {
        match evaluate(argument, env) {
            Ok(Val::Text(word)) if index == 0 && words.contains(&word.as_str()) => chosen.push(word),
            Ok(Val::Amount(amount)) => inputs.push(amount.number),
            Ok(other) => missing.push(Missing::refused(&format!("`{}` does not fit here", other.show()))),
            Err(more) => missing.extend(more),
        }
    }
    if !missing.is_empty() {
        return Err(missing);
    }
    let chosen: Vec<&str> = chosen.iter().map(String::as_str).collect();
    let inputs: Vec<&Uncertain> = inputs.iter().collect();
    match propagate(&inputs, |values| physics(values, &chosen)) {
        Ok(number) => Ok(Val::Amount(Amount { number, dimension: gives })),
        Err(refusal) => Err(vec![Missing::refused(&refusal)]),
    }
}

/// What stands in the place of a value that is not there.
pub fn lack(missing: &[Missing]) -> &'static str {
    match missing.first().map(|missing| missing.reason) {
        Some(Reason::Absent) => "absent",
        Some(Reason::NotVisible) => "not seen",
        Some(Reason::InDoubt) => "in doubt",
        _ => "not known",
    }
}

/// The expression with its numbers put in: `200 A ≥ 1.25 × 150 A`.
pub fn filled(expr: &Expr, env: &dyn Env) -> String {
    let inner = |expr: &Expr| {
        let text = filled(expr, env);
        let sum = matches!(expr.node, Node::Arithmetic(Operator::Plus | Operator::Minus, ..));
        if sum && (text.contains(" + ") || text.contains(" − ")) { format!("({text})") } else { text }
    };
    match &expr.node {
        Node::Number(_, text) => text.clone(),
        Node::Text(text) => text.clone(),
        Node::YesNo(yes) => (if *yes { "yes" } else { "no" }).to_owned(),
        Node::Name(name) => {
            env.fact(name).map_or_else(|missing| lack(&missing).to_owned(), |value| value.show())
        }
        Node::Recorded(name) => format!("recorded({name})"),
        Node::Absent(name) => format!("absent({name})"),
        Node::Negative(x) => format!("−{}", inner(x)),
        Node::Power(x, exponent) => format!("{}^{exponent}", inner(x)),
        Node::Arithmetic(operator, left, right) => match operator {
            Operator::Plus => format!("{} + {}", filled(left, env), filled(right, env)),
            // An allowance of nought is not told.
            Operator::Minus => match inner(right) {
                nought if nought == "0" => filled(left, env),
                right => format!("{} − {right}", filled(left, env)),
            },
            Operator::Times => match inner(left) {
                one if one == "1" => inner(right),
                left => format!("{left} × {}", inner(right)),
            },
            Operator::Over => format!("{} / {}", inner(left), inner(right)),
        },
        Node::Call(function, arguments) => {
            let arguments: Vec<String> = arguments.iter().map(|a| filled(a, env)).collect();
            format!("{}({})", function.name, arguments.join(", "))
        }
        Node::Compare(relation, left, right) => {
            format!("{} {} {}", filled(left, env), relation.sign(), filled(right, env))
        }
        Node::OneOf(left, listed) => {
            let listed: Vec<String> = listed.iter().map(|a| filled(a, env)).collect();
            format!("{} is one of ({})", filled(left, env), listed.join(", "))
        }
        Node::And(left, right) => format!("{} and {}", filled(left, env), filled(right, env)),
        Node::Or(left, right) => format!("{} or {}", filled(left, env), filled(right, env)),
        Node::Not(inner) => format!("not {}", filled(inner, env)),
    }
}
