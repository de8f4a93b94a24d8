//! Tokens into a tree: a small recursive-descent parser with bounded depth.

use std::ops::Range;

use super::lex::{Token, error, tokens};
use super::{Expr, ExprError, Node, Operator, Relation, functions};
use crate::units::words::did_you_mean;

/// Deepest nesting accepted.
const DEEPEST: usize = 24;

/// Reads an expression.
///
/// # Errors
/// The place and what was expected there.
pub fn parse(text: &str) -> Result<Expr, ExprError> {
    let mut parser = Parser { tokens: tokens(text)?, next: 0, end: text.len(), depth: 0 };
    let expr = parser.either()?;
    match parser.peek() {
        None => Ok(expr),
        Some(_) => Err(error(
            parser.here(),
            "this is left over".to_owned(),
            "the end of the expression, or an operator",
        )),
    }
}

struct Parser {
    tokens: Vec<(Token, Range<usize>)>,
    next: usize,
    end: usize,
    depth: usize,
}

impl Parser {
    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.next).map(|(token, _)| token)
    }

    fn here(&self) -> Range<usize> {
        self.tokens.get(self.next).map_or(self.end..self.end, |(_, at)| at.clone())
    }

    fn take_sign(&mut self, signs: &[&'static str]) -> Option<&'static str> {
        if let Some(Token::Sign(sign)) = self.peek()
            && signs.contains(sign)
        {
            let sign = *sign;
            self.next += 1;
            return Some(sign);
        }
        None
    }

    fn take_word(&mut self, wanted: &str) -> bool {
        let found = matches!(self.peek(), Some(Token::Word(word)) if word == wanted);
        self.next += usize::from(found);
        found
    }

    fn expect(&mut self, sign: &'static str) -> Result<(), ExprError> {
        if self.take_sign(&[sign]).is_some() {
            return Ok(());
        }
        Err(error(self.here(), format!("`{sign}` is missing"), &format!("`{sign}`")))
    }

    fn deeper<T>(&mut self, f: impl FnOnce(&mut Self) -> Result<T, ExprError>) -> Result<T, ExprError> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(error(self.here(), format!("nested deeper than {DEEPEST}"), "fewer parentheses"));
        }
        let result = f(self);
        self.depth -= 1;
        result
    }

    fn either(&mut self) -> Result<Expr, ExprError> {
        let mut left = self.both()?;
        while self.take_word("or") {
            let right = self.both()?;
            left = joined(left, right, Node::Or);
        }
        Ok(left)
    }

    fn both(&mut self) -> Result<Expr, ExprError> {
        let mut left = self.negation()?;
        while self.take_word("and") {
            let right = self.negation()?;
            left = joined(left, right, Node::And);
        }
        Ok(left)
    }

    fn negation(&mut self) -> Result<Expr, ExprError> {
        let start = self.here().start;
        if self.take_word("not") {
            let inner = self.deeper(Self::negation)?;
            return Ok(Expr { at: start..inner.at.end, node: Node::Not(Box::new(inner)) });
        }
        self.comparison()
    }

    fn comparison(&mut self) -> Result<Expr, ExprError> {
        let left = self.sum()?;
        let relation = match self.take_sign(&[">=", "<=", "==", "!=", "≥", "≤", ">", "<"]) {
            Some(">=" | "≥") => Relation::AtLeast,
            Some("<=" | "≤") => Relation::AtMost,
            Some(">") => Relation::Above,
            Some("<") => Relation::Below,
            Some("==") => Relation::Is,
            Some(_) => Relation::IsNot,
            None if self.take_word("is") => {
                if self.take_word("one") {
                    return self.one_of(left);
                }
                if self.take_word("not") { Relation::IsNot } else { Relation::Is }
            }
            None => return Ok(left),
        };
        let right = self.sum()?;
        Ok(joined(left, right, |l, r| Node::Compare(relation, l, r)))
    }

    fn one_of(&mut self, left: Expr) -> Result<Expr, ExprError> {
        if !self.take_word("of") {
            return Err(error(self.here(), "`of` is missing".to_owned(), "is one of (\"a\", \"b\")"));
        }
        self.expect("(")?;
        let listed = self.arguments()?;
        let at = left.at.start..self.tokens.get(self.next.wrapping_sub(1)).map_or(self.end, |t| t.1.end);
        Ok(Expr { at, node: Node::OneOf(Box::new(left), listed) })
    }

    /// What stands between parentheses, separated by commas; takes the closing one.
    fn arguments(&mut self) -> Result<Vec<Expr>, ExprError> {
        let mut listed = vec![self.deeper(Self::either)?];
        while self.take_sign(&[","]).is_some() {
            listed.push(self.deeper(Self::either)?);
        }
        self.expect(")")?;
        Ok(listed)
    }

    fn sum(&mut self) -> Result<Expr, ExprError> {
        let mut left = self.product()?;
        while let Some(sign) = self.take_sign(&["+", "-", "−"]) {
            let operator = if sign == "+" { Operator::Plus } else { Operator::Minus };
            let right = self.product()?;
            left = joined(left, right, |l, r| Node::Arithmetic(operator, l, r));
        }
        Ok(left)
    }

    fn product(&mut self) -> Result<Expr, ExprError> {
        let mut left = self.power()?;
        while let Some(sign) = self.take_sign(&["*", "×", "·", "/"]) {
            let operator = if sign == "/" { Operator::Over } else { Operator::Times };
            let right = self.power()?;
            left = joined(left, right, |l, r| Node::Arithmetic(operator, l, r));
        }
        Ok(left)
    }

    fn power(&mut self) -> Result<Expr, ExprError> {
        let start = self.here().start;
        if self.take_sign(&["-", "−"]).is_some() {
            let inner = self.deeper(Self::power)?;
            return Ok(Expr { at: start..inner.at.end, node: Node::Negative(Box::new(inner)) });
        }
        let base = self.primary()?;
        if self.take_sign(&["^"]).is_none() {
            return Ok(base);
        }
        let negative = self.take_sign(&["-", "−"]).is_some();
        let here = self.here();
        if let Some(Token::Number(amount, _)) = self.peek() {
            let value = amount.value();
            if value.fract() == 0.0 && (0.0..=8.0).contains(&value) {
                self.next += 1;
                #[expect(clippy::cast_possible_truncation, reason = "a whole number from 0 to 8")]
                let exponent = value as i8;
                let exponent = if negative { -exponent } else { exponent };
                return Ok(Expr { at: start..here.end, node: Node::Power(Box::new(base), exponent) });
            }
        }
        Err(error(here, "a power is a whole number".to_owned(), "a whole number from 0 to 8"))
    }

    fn primary(&mut self) -> Result<Expr, ExprError> {
        let at = self.here();
        let Some(token) = self.peek().cloned() else {
            return Err(error(at, "the expression ends too early".to_owned(), "a number, a name or `(`"));
        };
        self.next += 1;
        let node = match token {
            Token::Number(amount, text) => Node::Number(amount, text),
            Token::Text(text) => Node::Text(text),
            Token::Sign("(") => {
                let inner = self.deeper(Self::either)?;
                self.expect(")")?;
                return Ok(inner);
            }
            Token::Sign(sign) => {
                return Err(error(at, format!("`{sign}` cannot stand here"), "a number, a name or `(`"));
            }
            Token::Word(word) => match word.as_str() {
                "yes" => Node::YesNo(true),
                "no" => Node::YesNo(false),
                _ if self.take_sign(&["("]).is_some() => self.call(&word, at.clone())?,
                _ => Node::Name(word),
            },
        };
        let end = self.tokens.get(self.next - 1).map_or(at.end, |(_, last)| last.end);
        Ok(Expr { at: at.start..end, node })
    }

    fn call(&mut self, name: &str, at: Range<usize>) -> Result<Node, ExprError> {
        let arguments = self.arguments()?;
        if name == "recorded" || name == "absent" {
            return match arguments.as_slice() {
                [Expr { node: Node::Name(fact), .. }] => Ok(if name == "recorded" {
                    Node::Recorded(fact.clone())
                } else {
                    Node::Absent(fact.clone())
                }),
                _ => Err(error(at, format!("`{name}` asks about one name"), &format!("{name}(bms.marking)"))),
            };
        }
        match functions().find(|function| function.name == name) {
            Some(function) => Ok(Node::Call(function, arguments)),
            None => {
                let known = functions().map(|f| f.name).chain(["recorded", "absent"]);
                let expected = did_you_mean(name, known, "a known function");
                Err(error(at, format!("there is no function `{name}`"), &expected))
            }
        }
    }
}

fn joined(left: Expr, right: Expr, node: impl FnOnce(Box<Expr>, Box<Expr>) -> Node) -> Expr {
    let at = left.at.start..right.at.end;
    Expr { at, node: node(Box::new(left), Box::new(right)) }
}
