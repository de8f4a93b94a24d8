//! Checks an expression for existence and dimension, before any record is looked at.

use super::lex::error;
use super::{Expr, ExprError, Function, FunctionKind, Node, Operator, Type};
use crate::record::renamed::{Place, new_word};
use crate::units::Dimension;
use crate::units::words::{did_you_mean, list};

/// Looks a name up.
pub type Lookup<'a> = dyn Fn(&str) -> Result<Type, Option<String>> + 'a;

/// The type of an expression; `lookup` gives the type of a name, or the nearest name there is.
///
/// # Errors
/// Unknown names, wrong dimensions, words that a fact does not have.
pub fn check(expr: &Expr, lookup: &Lookup<'_>) -> Result<Type, ExprError> {
    let at = expr.at.clone();
    let wrong = |message: String, expected: &str| Err(error(at.clone(), message, expected));
    match &expr.node {
        Node::Number(amount, _) => Ok(Type::Amount(amount.dimension)),
        Node::Text(_) => Ok(Type::Text),
        Node::YesNo(_) => Ok(Type::YesNo),
        Node::Name(name) => named(name, expr, lookup),
        Node::Recorded(name) | Node::Absent(name) => named(name, expr, lookup).map(|_| Type::YesNo),
        Node::Negative(inner) => match amount(inner, lookup)? {
            dimension if dimension.point => wrong("a temperature has no negative".to_owned(), "a difference"),
            dimension => Ok(Type::Amount(dimension)),
        },
        Node::Power(base, exponent) => match amount(base, lookup)?.power(*exponent) {
            Some(dimension) => Ok(Type::Amount(dimension)),
            None => wrong("this power has no meaning".to_owned(), "a smaller power of a quantity"),
        },
        Node::Arithmetic(operator, left, right) => {
            let (l, r) = (amount(left, lookup)?, amount(right, lookup)?);
            let joined = match operator {
                Operator::Plus => l.plus(r, false),
                Operator::Minus => l.plus(r, true),
                Operator::Times => l.times(r),
                Operator::Over => l.over(r),
            };
            match joined {
                Some(dimension) => Ok(Type::Amount(dimension)),
                None => wrong(
                    format!("left is {}, right is {}", l.name(), r.name()),
                    "two sides that go together",
                ),
            }
        }
        Node::Call(function, arguments) => call(function, arguments, expr, lookup),
        Node::Compare(relation, left, right) => {
            let (l, r) = (check(left, lookup)?, check(right, lookup)?);
            match (l, r) {
                (Type::Amount(a), Type::Amount(b)) if a == b && relation.orders() => {}
                (Type::Amount(a), Type::Amount(b)) if a == b => {
                    return wrong(
                        "measured quantities are never equal to the last digit".to_owned(),
                        ">=, <=, > or <, or abs(a - b) <= a tolerance",
                    );
                }
                (Type::Date, Type::Date) => {}
                (Type::YesNo, Type::YesNo) if !relation.orders() => {}
                (Type::Word(words), Type::Text) if !relation.orders() => has_word(words, right)?,
                (Type::Text, Type::Text) if !relation.orders() => {}
                _ => {
                    let message = format!("left is {}, right is {}", l.name(), r.name());
                    return wrong(message, "two sides of one kind and a relation that fits them");
                }
            }
            Ok(Type::YesNo)
        }
        Node::OneOf(left, listed) => {
            let l = check(left, lookup)?;
            for item in listed {
                match (l, check(item, lookup)?) {
                    (Type::Word(words), Type::Text) => has_word(words, item)?,
                    (Type::Text, Type::Text) => {}
                    (l, r) => {
                        let message = format!("left is {}, this is {}", l.name(), r.name());
                        return Err(error(item.at.clone(), message, "words in quotes"));
                    }
                }
            }
            Ok(Type::YesNo)
        }
        Node::And(left, right) | Node::Or(left, right) => {
            yes_no(left, lookup)?;
            yes_no(right, lookup)
        }
        Node::Not(inner) => yes_no(inner, lookup),
    }
}

fn named(name: &str, expr: &Expr, lookup: &Lookup<'_>) -> Result<Type, ExprError> {
    lookup(name).map_err(|near| {
        let expected = near.map_or_else(
            || "a name listed by `underlid explain --names`".to_owned(),
            |near| match new_word(Place::Name, name) {
                Some(new) => format!("it is called `{new}` now"),
                None => format!("did you mean `{near}`?"),
            },
        );
        error(expr.at.clone(), format!("there is no `{name}`"), &expected)
    })
}

fn amount(expr: &Expr, lookup: &Lookup<'_>) -> Result<Dimension, ExprError> {
    match check(expr, lookup)? {
        Type::Amount(dimension) => Ok(dimension),
        other => Err(error(expr.at.clone(), format!("this is {}", other.name()), "a quantity")),
    }
}

fn yes_no(expr: &Expr, lookup: &Lookup<'_>) -> Result<Type, ExprError> {
    match check(expr, lookup)? {
        Type::YesNo => Ok(Type::YesNo),
        other => Err(error(
            expr.at.clone(),
            format!("this is {}", other.name()),
            "a comparison, such as `x is yes`",
        )),
    }
}

fn has_word(words: &[crate::record::field::Word], literal: &Expr) -> Result<(), ExprError> {
    let Node::Text(text) = &literal.node else {
        return Ok(());
    };
    if text == crate::record::field::ABSENT || words.iter().any(|w| w.word == text) {
        return Ok(());
    }
    let known: Vec<&str> = words.iter().map(|w| w.word).collect();
    let expected = did_you_mean(text, known.iter().copied(), &list(&known, "or"));
    Err(error(literal.at.clone(), format!("`{text}` is not a word for this fact"), &expected))
}

fn call(
    function: &Function,
    arguments: &[Expr],
    expr: &Expr,
    lookup: &Lookup<'_>,
) -> Result<Type, ExprError> {
    let usage = format!("{}({}), such as {}", function.name, function.arguments, function.example);
    let wrong = |message: String| Err(error(expr.at.clone(), message, &usage));
    match function.kind {
        FunctionKind::Smallest | FunctionKind::Largest => {
            let first = match arguments.first() {
                Some(first) => amount(first, lookup)?,
                None => return wrong(format!("`{}` needs arguments", function.name)),
            };
            for argument in &arguments[1..] {
                let other = amount(argument, lookup)?;
                if other != first {
                    let message = format!("the first is {}, this is {}", first.name(), other.name());
                    return Err(error(argument.at.clone(), message, &usage));
                }
            }
            Ok(Type::Amount(first))
        }
        FunctionKind::Absolute | FunctionKind::Root => {
            let [only] = arguments else {
                return wrong(format!("`{}` takes one argument", function.name));
            };
            let dimension = amount(only, lookup)?;
            let result = match function.kind {
                FunctionKind::Root => dimension.root(),
                _ => (!dimension.point).then_some(dimension),
            };
            result.map_or_else(
                || wrong(format!("{} cannot be taken here", dimension.name())),
                |d| Ok(Type::Amount(d)),
            )
        }
        FunctionKind::Physics { words, takes, gives, .. } => {
            let amounts = if words.is_empty() {
                arguments
            } else {
                match arguments.split_first() {
                    Some((Expr { node: Node::Text(word), .. }, rest)) if words.contains(&word.as_str()) => {
                        rest
                    }
                    // A fact with words of its own is checked when it is known.
                    Some((Expr { node: Node::Name(_), .. }, rest)) => rest,
                    _ => {
                        return wrong(format!("the first argument is one of: {}", words.join(", ")));
                    }
                }
            };
            if amounts.len() != takes.len() {
                return wrong(format!("`{}` takes {} amounts", function.name, takes.len()));
            }
            for (argument, wanted) in amounts.iter().zip(takes) {
                let found = amount(argument, lookup)?;
                if found != *wanted {
                    let message = format!("this is {}, {} is needed", found.name(), wanted.name());
                    return Err(error(argument.at.clone(), message, &usage));
                }
            }
            Ok(Type::Amount(gives))
        }
    }
}
