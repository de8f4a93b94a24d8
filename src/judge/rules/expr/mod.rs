//! The expression language of rules: infix arithmetic with units over named facts.
//!
//! `element.rating >= limit.fuse_load_factor * claims.continuous_current`
//!
//! Numbers carry units (`30 K`, `20 mV`, `0 degC`); words stand in quotes; `is yes` and `is no` ask
//! yes-or-no facts; `recorded(x)` and `absent(x)` ask about the state of a fact. There are no loops, no
//! input or output, and depth and length are bounded, so that a rule from a stranger can do no harm.

mod check;
mod eval;
mod lex;
mod parse;
mod physics;

use std::ops::Range;

pub use check::check;
pub use eval::{Env, Evaluated, evaluate, filled, lack};
pub use parse::parse;

use crate::units::{Amount, Dimension};

pub use crate::judge::facts::{Type, Val};

/// What is wrong with an expression, where, and what was expected.
#[derive(Debug, Clone, PartialEq)]
pub struct ExprError {
    /// Bytes of the expression.
    pub at: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What was expected.
    pub expected: String,
}

/// How two sides are compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Relation {
    /// `>=`
    AtLeast,
    /// `<=`
    AtMost,
    /// `>`
    Above,
    /// `<`
    Below,
    /// `is`, `==`
    Is,
    /// `is not`, `!=`
    IsNot,
}

impl Relation {
    /// The sign or words for it.
    pub const fn sign(self) -> &'static str {
        match self {
            Self::AtLeast => "≥",
            Self::AtMost => "≤",
            Self::Above => ">",
            Self::Below => "<",
            Self::Is => "is",
            Self::IsNot => "is not",
        }
    }

    /// What it asks of its left side, in words before the right one.
    pub(crate) const fn required(self) -> Option<&'static str> {
        match self {
            Self::AtLeast => Some("at least"),
            Self::AtMost => Some("at most"),
            Self::Above => Some("more than"),
            Self::Below => Some("less than"),
            Self::Is | Self::IsNot => None,
        }
    }

    /// What becomes of the right side: a lower end is required, an upper one allowed.
    pub(crate) const fn asked(self) -> &'static str {
        if matches!(self, Self::AtMost | Self::Below) { "allowed" } else { "required" }
    }

    /// True where it is about more and less.
    pub const fn orders(self) -> bool {
        !matches!(self, Self::Is | Self::IsNot)
    }
}

/// An arithmetic operator.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Operator {
    /// `+`
    Plus,
    /// `-`
    Minus,
    /// `*`
    Times,
    /// `/`
    Over,
}

/// A node with its place in the text.
#[derive(Debug, Clone, PartialEq)]
pub struct Expr {
    /// Bytes of the expression.
    pub at: Range<usize>,
    /// What it is.
    pub node: Node,
}

/// What a node is.
#[derive(Debug, Clone, PartialEq)]
pub enum Node {
    /// A number with its unit, and the text it was written as.
    Number(Amount, String),
    /// A fact.
    Name(String),
    /// A text in quotes.
    Text(String),
    /// `yes` or `no`.
    YesNo(bool),
    /// Minus.
    Negative(Box<Expr>),
    /// Arithmetic.
    Arithmetic(Operator, Box<Expr>, Box<Expr>),
    /// A whole power.
    Power(Box<Expr>, i8),
    /// A function.
    Call(&'static Function, Vec<Expr>),
    /// `recorded(name)`.
    Recorded(String),
    /// `absent(name)`.
    Absent(String),
    /// A comparison.
    Compare(Relation, Box<Expr>, Box<Expr>),
    /// `x is one of (a, b)`.
    OneOf(Box<Expr>, Vec<Expr>),
    /// Both.
    And(Box<Expr>, Box<Expr>),
    /// Either.
    Or(Box<Expr>, Box<Expr>),
    /// Not.
    Not(Box<Expr>),
}

/// A function that expressions may call.
#[derive(Debug)]
pub struct Function {
    /// Its name.
    pub name: &'static str,
    /// Its arguments, for the documentation.
    pub arguments: &'static str,
    /// What it gives.
    pub about: &'static str,
    /// An example.
    pub example: &'static str,
    /// What it does.
    pub kind: FunctionKind,
}

impl PartialEq for Function {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

/// A physics function: SI values in, SI value or the reason for a refusal out.
pub type Physics = fn(&[f64], &[&str]) -> Result<f64, String>;

/// What a function does.
#[derive(Debug, Clone, Copy)]
pub enum FunctionKind {
    /// The smallest of its arguments.
    Smallest,
    /// The largest of its arguments.
    Largest,
    /// Without sign.
    Absolute,
    /// Square root.
    Root,
    /// Named physics: a word first where `words` is set, then amounts of the given dimensions.
    Physics {
        /// Words allowed as first argument; empty when the first argument is an amount.
        words: &'static [&'static str],
        /// Dimensions of the amounts.
        takes: &'static [Dimension],
        /// Dimension of the result.
        gives: Dimension,
        /// The function.
        function: Physics,
    },
}

/// The functions of plain arithmetic.
const ARITHMETIC: &[Function] = &[
    Function {
        name: "min",
        arguments: "a, b, …",
        about: "the smallest of its arguments",
        example: "min(claims.capacity, pack.capacity)",
        kind: FunctionKind::Smallest,
    },
    Function {
        name: "max",
        arguments: "a, b, …",
        about: "the largest of its arguments",
        example: "max(claims.charge_voltage, pack.nominal_voltage)",
        kind: FunctionKind::Largest,
    },
    Function {
        name: "abs",
        arguments: "a",
        about: "the size of a without its sign",
        example: "abs(claims.capacity - pack.capacity)",
        kind: FunctionKind::Absolute,
    },
    Function {
        name: "sqrt",
        arguments: "a",
        about: "the square root of a",
        example: "sqrt(claims.size.length * claims.size.width)",
        kind: FunctionKind::Root,
    },
];

/// All functions an expression may call.
pub fn functions() -> impl Iterator<Item = &'static Function> {
    ARITHMETIC.iter().chain(physics::PHYSICS)
}

/// Names in an expression, each once, in order.
pub(crate) fn gather<'a>(expr: &'a Expr, names: &mut Vec<&'a str>) {
    each_name(expr, &mut |name| {
        if !names.contains(&name) {
            names.push(name);
        }
    });
}

/// True where a name stands in an expression.
pub(crate) fn mentions(expr: &Expr, name: &str) -> bool {
    let mut found = false;
    each_name(expr, &mut |here| found |= here == name);
    found
}

fn each_name<'a>(expr: &'a Expr, take: &mut impl FnMut(&'a str)) {
    match &expr.node {
        Node::Name(name) | Node::Recorded(name) | Node::Absent(name) => take(name),
        Node::Negative(x) | Node::Power(x, _) | Node::Not(x) => each_name(x, take),
        Node::Arithmetic(_, l, r) | Node::Compare(_, l, r) | Node::And(l, r) | Node::Or(l, r) => {
            each_name(l, take);
            each_name(r, take);
        }
        Node::Call(_, list) => list.iter().for_each(|x| each_name(x, take)),
        Node::OneOf(x, list) => {
            each_name(x, take);
            list.iter().for_each(|x| each_name(x, take));
        }
        Node::Number(..) | Node::Text(_) | Node::YesNo(_) => {}
    }
}
