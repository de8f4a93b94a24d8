//! Problems with what a user wrote: each points at file, line and column, says what was expected and
//! shows a right example. All problems of a file are collected before any is reported.

use std::fmt;
use std::ops::Range;
use std::sync::Arc;

use miette::{Diagnostic, LabeledSpan, NamedSource, SourceCode};

use crate::units::terminal::{quotable, shown_lines, shown_text};
use crate::units::words;

/// Something wrong at one place of a file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Where, in bytes.
    pub span: Range<usize>,
    /// What is wrong.
    pub message: String,
    /// What was expected.
    pub expected: String,
    /// A right example or a way out.
    pub example: String,
}

impl Problem {
    /// A problem at a place.
    pub fn at(span: Range<usize>, message: String, expected: &str, example: &str) -> Self {
        Self { span, message, expected: expected.to_owned(), example: example.to_owned() }
    }
}

/// Problems shown in full; what follows is only counted.
const SHOWN: usize = 20;

/// All problems of one file.
#[derive(Debug, Clone)]
pub struct Problems {
    source: Arc<NamedSource<String>>,
    list: Vec<Problem>,
}

impl Problems {
    /// Problems found in a file, in the order in which they stand there.
    pub fn new(file: &str, text: &str, mut list: Vec<Problem>) -> Self {
        list.sort_by_key(|problem| problem.span.start);
        for problem in &mut list {
            // What stands in a file must not drive the terminal on which it is quoted.
            problem.message = shown_text(&problem.message);
            problem.expected = shown_text(&problem.expected);
            problem.example = shown_lines(&problem.example);
            // An empty span points at nothing: widen it so that the place can be seen.
            if problem.span.is_empty() {
                problem.span.end = (problem.span.end + 1).min(text.len());
            }
            // The end of a line that is not TOML may be told in the middle of a character.
            let Range { start, end } = problem.span;
            problem.span = text.floor_char_boundary(start)..text.ceil_char_boundary(end);
        }
        Self { source: Arc::new(NamedSource::new(shown_text(file), quotable(text))), list }
    }

    /// The problems.
    pub fn list(&self) -> &[Problem] {
        &self.list
    }

    fn one(&self, problem: &Problem) -> One {
        One { source: Arc::clone(&self.source), problem: problem.clone() }
    }

    /// Every problem as a report of its own, with the line it stands in.
    pub fn reports(&self) -> Vec<miette::Report> {
        self.list.iter().take(SHOWN).map(|problem| miette::Report::new(self.one(problem))).collect()
    }

    /// Problems beyond those that [`Problems::reports`] shows.
    pub fn not_shown(&self) -> usize {
        self.list.len().saturating_sub(SHOWN)
    }
}

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = words::count(self.list.len(), "problem", "problems");
        write!(f, "{number} in {}", self.source.name())
    }
}

impl std::error::Error for Problems {}

#[derive(Debug, Clone)]
struct One {
    source: Arc<NamedSource<String>>,
    problem: Problem,
}

impl fmt::Display for One {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.problem.message)
    }
}

impl std::error::Error for One {}

impl Diagnostic for One {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        (!self.problem.example.is_empty()).then(|| Box::new(&self.problem.example) as _)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        Some(&*self.source)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let label =
            LabeledSpan::new_with_span(Some(self.problem.expected.clone()), self.problem.span.clone());
        Some(Box::new(std::iter::once(label)))
    }
}

#[cfg(test)]
mod tests {
    /// Found by the fuzz target `record`.
    #[test]
    fn a_place_never_begins_or_ends_inside_a_character() {
        let text = "schema = 2\nnotes é\n[inspection]\né";
        let Err(problems) = crate::record::read("r", text) else { unreachable!() };
        for problem in problems.list() {
            assert!(text.get(problem.span.clone()).is_some(), "{problem:?}");
        }
    }
}
