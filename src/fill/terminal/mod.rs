//! Filling in a terminal or a plain pipe: one question at a time on standard output, one answer a line on standard
//! input. No cursor movement and no colour carries a meaning, so that a screen reader and a test see the same.

mod card;
mod quick;
mod show;

use std::collections::HashSet;
use std::io::{self, BufRead, Write};
use std::sync::Arc;

use super::answer::{Said, read_line};
use super::bench::{Bench, FillError, Saved, Sight};
use super::card::Card;
use super::question::{Applies, Key, Question};
use crate::checklist::{Fills, Scope};
use crate::evidence::error::shown_text;
use crate::record::edit::{Answer, Refused};
use crate::record::{How, Kind, State, Value, read_answer};
use crate::words::count;
use card::AtCard;
pub(super) use show::now;

/// Longest line that is read; a longer one is refused whole.
const LONGEST: u64 = 64 << 10;

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Summary {
    /// Lines that changed the record.
    pub saved: usize,
    /// Lines that were refused.
    pub refused: usize,
}

const HELP: &str = "\
At a question type the answer, or
  absent, or -            you looked and it is not there
  could not see, or /     you looked and could not tell
  skip, or an empty line  leave it open and go on
  done, or .              leave the rest of this part (of this section, of this item for cells) open and go on
  a letter, a word, or the beginning of a word where there are choices; y and n for yes and no
  3.02 mm | with caliper | photo 12.jpg | note at the middle | estimated
                          what belongs to the value; `plain` keeps the word for how it came away; letters for it
                          as on paper: c claimed, p printed, m measured, s seen, e estimated, w worked out
  3.301, 3.302, 3.304 V   this cell and those that follow
  one line\\n\\nand another   \\n is a new line in remarks
  =                       the same as last time at this item
  148                     the usual unit is offered: 148 A? and an empty line confirms it
  30 A | with             with the instrument that was named last
  12: 150 A               an answer by its number on the paper form; 34.2: for the second part
Commands
  note TEXT, with INSTRUMENT, how WORD   belong to the answer shown, or else to the last one
  photo FILE     a photo of the part; it is copied into photos/ and hashed; photo 5 is the one that begins with 05
  photos FOLDER  what a card or folder of pictures holds, to take some of them for parts
  remark TEXT, video 14:05, part with INSTRUMENT   on the part as a whole
  same, same as ID   this part is like the one before: what was seen is taken over, what was measured is not
  cell 3 3.302 V, 0.34 mΩ   a cell's readings from anywhere
  row 15 min, 77 A, branch 1   a reading during the bench test; row ID: … where there are several tests
  using INSTRUMENT   for measured answers of its kind from here on; using none stops it
  add [positive|negative|stack] busbar [ID] | cable | joint | fuse | … | reading [N] | layer NAME | claim TEXT | test KIND | instrument NAME
  back, go PART or NUMBER, find WORD, list, findings, clear, brief, help, quit
Every answer is in the record before it is confirmed. Nothing is lost when you stop.
";

struct Walk<'a, W: Write> {
    bench: &'a Bench,
    out: W,
    brief: bool,
    at: Option<Key>,
    path: Vec<Key>,
    left: HashSet<Key>,
    last: Option<Key>,
    using: Vec<String>,
    same: Vec<(String, Answer)>,
    section: String,
    summary: Summary,
    shown: Option<Key>,
    /// A card that is being gone through.
    card: Option<Card>,
    /// An answer that waits for its unit to be confirmed.
    pending: Option<(Key, Said)>,
    /// The unit that was answered last, by item.
    units: Vec<(String, String)>,
    /// The instrument that was named last.
    last_with: Option<String>,
}

/// Walks through what is open until the input ends or somebody quits.
///
/// # Errors
/// When the input or the output fails, or the record no longer reads.
pub fn walk(
    bench: &Bench,
    input: &mut dyn BufRead,
    out: impl Write,
    brief: bool,
) -> Result<Summary, WalkError> {
    let mut walk = Walk {
        bench,
        out,
        brief,
        at: None,
        path: Vec::new(),
        left: HashSet::new(),
        last: None,
        using: Vec::new(),
        same: Vec::new(),
        section: String::new(),
        summary: Summary::default(),
        shown: None,
        card: None,
        pending: None,
        units: Vec::new(),
        last_with: None,
    };
    let mut sight = bench.look()?;
    walk.overview(&sight)?;
    loop {
        let at = walk.at.clone().filter(|key| sight.question(key).is_some());
        let next = at.or_else(|| walk.next(&sight, None));
        // Behind the last question numbers and commands are still taken.
        let end = next.is_none();
        let Some(key) = next.or_else(|| sight.questions.last().map(|last| last.key.clone())) else {
            break;
        };
        if walk.card.is_some() {
            write!(walk.out, "photos> ")?;
        } else if end {
            if walk.shown.is_some() {
                walk.shown = None;
                writeln!(
                    walk.out,
                    "\nThe end of the list. NUMBER: answer, go, list and find still work; quit stops."
                )?;
            }
            write!(walk.out, "end> ")?;
        } else if let Some(question) = sight.question(&key) {
            walk.at = Some(key.clone());
            if walk.shown.as_ref() != Some(&key) {
                walk.show(&sight, question)?;
                walk.shown = Some(key.clone());
            }
            write!(walk.out, "{}> ", question.number)?;
        }
        walk.out.flush()?;
        let Some(line) = line(input)? else {
            writeln!(walk.out)?;
            break;
        };
        // Somebody else may have written meanwhile, or a long log has been read.
        if bench.revision()? != sight.revision() {
            let new = bench.look()?;
            walk.meanwhile(&sight, &new)?;
            sight = new;
        }
        if walk.card.is_some() {
            let typed = match &line {
                Line::Text(line) => line.as_str(),
                Line::TooLong => "?",
            };
            match walk.at_card(&sight, Some(&key).filter(|_| !end), typed)? {
                AtCard::Quit => break,
                AtCard::Stay(new) => sight = new.unwrap_or(sight),
            }
            continue;
        }
        let Some(question) = sight.question(&key) else {
            continue;
        };
        let confirmed = walk.pending.take().filter(|(of, _)| *of == key);
        let said = match line {
            Line::Text(line) if line.trim().is_empty() && confirmed.is_some() => {
                Ok(confirmed.map_or(Said::Leave, |(_, said)| said))
            }
            Line::Text(line) if line.trim() == "=" => walk.same_again(question),
            Line::Text(line) => read_line(&line, question.kind(), &sight.record),
            Line::TooLong => Err("the line is too long".to_owned()),
        };
        match said {
            Err(words) => walk.refuse(&words)?,
            Ok(Said::Quit) => break,
            Ok(Said::Leave | Said::Done) if end => break,
            Ok(Said::Answer { .. } | Said::Photo(_) | Said::OfPart(..) | Said::Clear) if end => {
                walk.refuse("the list is at its end; write the number in front, such as 12: 150 A")?;
            }
            Ok(said) if walk.offered(question, &said)? => {}
            Ok(said) => {
                if let Some(new) = walk.act(&sight, &key, said)? {
                    sight = new;
                }
            }
        }
    }
    let sight = bench.look()?;
    walk.farewell(&sight)?;
    Ok(walk.summary)
}

/// Why a walk ended before its time.
#[derive(Debug, thiserror::Error)]
pub enum WalkError {
    /// Input or output failed.
    #[error(transparent)]
    Io(#[from] io::Error),
    /// The record cannot be read.
    #[error(transparent)]
    Fill(#[from] FillError),
}

enum Line {
    Text(String),
    TooLong,
}

fn line(input: &mut dyn BufRead) -> io::Result<Option<Line>> {
    let mut bytes = Vec::new();
    let mut limited = io::Read::take(&mut *input, LONGEST);
    if limited.read_until(b'\n', &mut bytes)? == 0 {
        return Ok(None);
    }
    if bytes.len() as u64 >= LONGEST && bytes.last() != Some(&b'\n') {
        // The rest of the line belongs to nothing: it is read away, piece by piece.
        loop {
            let buffer = input.fill_buf()?;
            let (end, found) = match buffer.iter().position(|byte| *byte == b'\n') {
                Some(at) => (at + 1, true),
                None => (buffer.len(), buffer.is_empty()),
            };
            input.consume(end);
            if found {
                return Ok(Some(Line::TooLong));
            }
        }
    }
    // A line cut short by the end of the input, or by bytes that are no text, is not an answer half typed.
    Ok(Some(match String::from_utf8(bytes) {
        Ok(text) => Line::Text(text),
        Err(_) => Line::TooLong,
    }))
}

impl<W: Write> Walk<'_, W> {
    /// The next open question behind the one at hand, then from the start.
    fn next(&self, sight: &Sight, behind: Option<&Key>) -> Option<Key> {
        let start = behind
            .and_then(|key| sight.questions.iter().position(|question| question.key == *key))
            .map_or(0, |index| index + 1);
        let open = |question: &&Question| question.is_asked() && !self.left.contains(&question.key);
        let (before, after) = sight.questions.split_at(start.min(sight.questions.len()));
        let found = after.iter().find(open).or_else(|| before.iter().find(open));
        found.map(|question| question.key.clone())
    }

    fn on(&mut self, sight: &Sight, key: &Key) {
        self.path.push(key.clone());
        self.at = self.next(sight, Some(key));
        self.shown = Some(key.clone());
    }

    fn refuse(&mut self, words: &str) -> io::Result<()> {
        self.summary.refused += 1;
        writeln!(self.out, "not saved: {}", indented(words))
    }

    fn act(&mut self, sight: &Sight, key: &Key, said: Said) -> Result<Option<Arc<Sight>>, WalkError> {
        match said {
            Said::Quit => {}
            Said::Help => write!(self.out, "{HELP}")?,
            Said::Leave => {
                self.left.insert(key.clone());
                self.on(sight, key);
            }
            Said::Done => {
                if let Some(question) = sight.question(key) {
                    let rest = sight.questions.iter().skip_while(|other| other.key != *key);
                    // Cells are gone through item by item: what is left is the item.
                    let same = rest.filter(|other| match question.item.scope {
                        Scope::Readings => other.key.item == question.key.item,
                        _ => other.section == question.section && other.key.part == question.key.part,
                    });
                    self.left.extend(same.map(|other| other.key.clone()));
                }
                self.on(sight, key);
            }
            Said::Back => match self.path.pop() {
                Some(back) => {
                    self.left.remove(&back);
                    self.at = Some(back);
                    self.shown = None;
                }
                None => writeln!(self.out, "this is the first question")?,
            },
            Said::Brief => self.brief = !self.brief,
            Said::Go(to) => self.go(sight, &to)?,
            Said::Find(word) => self.find(sight, &word)?,
            Said::List => self.list(sight)?,
            Said::Findings => self.findings(sight)?,
            Said::Using(id) => self.use_instrument(sight, &id)?,
            Said::Add(what) => {
                let saved = self.bench.add(Some(key), &what);
                return self.told(saved);
            }
            Said::Card(what) => self.open_card(&what)?,
            Said::Cell(what) => return self.cell(sight, &what),
            Said::Row(what) => {
                let saved = self.bench.add(Some(key), &format!("row {what}"));
                return self.told(saved);
            }
            Said::Same(from) => {
                let saved = self.bench.same(key, &from);
                let new = self.told(saved)?;
                // What is still open of this part comes next.
                if let Some(new) = &new {
                    let before = new.questions.iter().take_while(|q| q.key != *key).last();
                    self.at = self.next(new, before.map(|q| &q.key));
                    self.shown = None;
                }
                return Ok(new);
            }
            Said::Photo(file) => {
                let saved = self.bench.photo(key, &file);
                return self.told(saved);
            }
            Said::OfPart(name, text) => {
                let saved = self.bench.of_part(key, name, &text);
                return self.told(saved);
            }
            Said::Clear => {
                let saved = self.bench.clear(key, None);
                return self.told(saved);
            }
            Said::Numbered { number, rest } => return self.numbered(sight, &number, &rest),
            Said::Answer { mut answer, more } => {
                if let Err(words) = self.with_as_before(&mut answer) {
                    self.refuse(&words)?;
                    return Ok(None);
                }
                if answer.value.is_none() && answer.photos.is_empty() {
                    let question = sight.question(key);
                    let here = question.is_some_and(|q| !q.is_open());
                    let to = if here { Some(key.clone()) } else { self.last.clone() };
                    let Some(to) = to else {
                        self.refuse("answer the question first; what belongs to an answer comes after it")?;
                        return Ok(None);
                    };
                    let saved = self.bench.answer(&to, &answer, None);
                    return self.told(saved);
                }
                let new = self.answer(sight, key, answer, more)?;
                if let Some(new) = &new {
                    self.on(new, key);
                }
                return Ok(new);
            }
        }
        Ok(None)
    }

    /// Saves an answer, and those for the cells that follow.
    fn answer(
        &mut self,
        sight: &Sight,
        key: &Key,
        answer: Answer,
        more: Vec<String>,
    ) -> Result<Option<Arc<Sight>>, WalkError> {
        let Some(question) = sight.question(key) else {
            return Ok(None);
        };
        if !more.is_empty() && question.item.scope != Scope::Readings {
            self.refuse("one value is expected here; several with commas between are for cell readings")?;
            return Ok(None);
        }
        let following: Vec<Key> = sight
            .questions
            .iter()
            .skip_while(|other| other.key != *key)
            .filter(|other| other.key.item == key.item)
            .map(|other| other.key.clone())
            .take(more.len() + 1)
            .collect();
        if following.len() <= more.len() {
            self.refuse(&format!(
                "{} values for {}",
                more.len() + 1,
                count(following.len(), "cell", "cells")
            ))?;
            return Ok(None);
        }
        let answer = self.with_instrument(sight, question, answer);
        let values = std::iter::once(answer.value.clone()).chain(more.into_iter().map(Some));
        let mut new = None;
        for (key, value) in following.iter().zip(values) {
            let answer = Answer { value, ..answer.clone() };
            self.same.retain(|(item, _)| *item != key.item);
            self.same.push((key.item.clone(), answer.clone()));
            let saved = self.bench.answer(key, &answer, None);
            let ok = saved.is_ok();
            if ok {
                self.remember(question, &answer);
            }
            new = self.told(saved)?.or(new);
            if !ok {
                return Ok(None);
            }
            self.last = Some(key.clone());
            self.remind(new.as_deref(), key)?;
        }
        Ok(new)
    }

    fn remind(&mut self, sight: Option<&Sight>, key: &Key) -> io::Result<()> {
        if let Some(question) = sight.and_then(|sight| sight.question(key))
            && question.lacks_photo()
        {
            writeln!(self.out, "  still wanted: a photo ({}: photo FILE)", question.number)?;
        }
        Ok(())
    }

    fn same_again(&self, question: &Question) -> Result<Said, String> {
        let last = self.same.iter().find(|(item, _)| *item == question.key.item);
        match last {
            Some((_, answer)) => Ok(Said::Answer { answer: answer.clone(), more: Vec::new() }),
            None => Err("this item was not answered before in this run".to_owned()),
        }
    }

    fn with_instrument(&self, sight: &Sight, question: &Question, mut answer: Answer) -> Answer {
        let measured =
            question.item.how == Some(How::Measured) && answer.with.is_none() && answer.how.is_none();
        if !measured {
            return answer;
        }
        let dimension = match question.kind() {
            Kind::Section | Kind::Size => crate::quantity::Dimension::LENGTH,
            Kind::Quantity(dimension) => dimension,
            _ => return answer,
        };
        let known = matches!((&question.item.fills, &answer.value), (Fills::Field { info, .. }, Some(value))
            if matches!(read_answer(info, value), Ok(State::Known(_))));
        // A value with its own uncertainty needs no instrument to give it one.
        let own = answer.value.as_ref().is_some_and(|value| value.contains('±'));
        if known && !own {
            answer.with = self.using.iter().find(|id| suits(sight, id, dimension)).cloned();
        }
        answer
    }

    fn use_instrument(&mut self, sight: &Sight, id: &str) -> io::Result<()> {
        if id == "none" {
            self.using.clear();
            return writeln!(self.out, "no instrument is taken for granted");
        }
        if !sight.record.instrument.iter().any(|i| i.id.text() == Some(id)) {
            let known: Vec<&str> = sight.record.instrument.iter().filter_map(|i| i.id.text()).collect();
            return self.refuse(&format!("there is no instrument `{id}`; there are: {}", known.join(", ")));
        }
        let dimension = |id: &str| {
            let instrument = sight.record.instrument.iter().find(|i| i.id.text() == Some(id));
            instrument.and_then(|i| i.resolution.quantity()).map(|q| q.dimension)
        };
        self.using.retain(|other| other != id && dimension(other) != dimension(id));
        self.using.push(id.to_owned());
        writeln!(self.out, "measured answers are now taken with: {}", self.using.join(", "))
    }

    fn numbered(&mut self, sight: &Sight, number: &str, rest: &str) -> Result<Option<Arc<Sight>>, WalkError> {
        let question = sight.questions.iter().find(|question| question.number == number);
        let Some(question) = question else {
            self.refuse(&format!(
                "there is no question {number} in this list (a part may have to be added first)"
            ))?;
            return Ok(None);
        };
        let key = question.key.clone();
        match read_line(rest, question.kind(), &sight.record) {
            Err(words) => {
                self.refuse(&words)?;
                Ok(None)
            }
            Ok(Said::Answer { mut answer, more }) => match self.with_as_before(&mut answer) {
                Ok(()) => self.answer(sight, &key, answer, more),
                Err(words) => {
                    self.refuse(&words)?;
                    Ok(None)
                }
            },
            Ok(Said::Leave | Said::Done | Said::Quit | Said::Numbered { .. } | Said::Back) => Ok(None),
            Ok(said) => self.act(sight, &key, said),
        }
    }

    fn told(&mut self, saved: Result<Saved, FillError>) -> Result<Option<Arc<Sight>>, WalkError> {
        match saved {
            Ok(saved) => {
                self.summary.saved += 1;
                writeln!(self.out, "saved: {}", shown_text(&saved.said))?;
                for decided in &saved.decided {
                    writeln!(self.out, "  {}", shown_text(&decided.line()))?;
                }
                if saved.sight.beside {
                    writeln!(self.out, "  a long log is being read; what the bench tests decide follows")?;
                }
                Ok(Some(saved.sight))
            }
            // The record on disk is broken or gone: nothing can be filled in until that is mended.
            Err(error @ FillError::Open(_)) => Err(error.into()),
            Err(FillError::Refused(Refused::Reads(problems))) => {
                let words: Vec<String> = problems
                    .list()
                    .iter()
                    .map(|problem| format!("{}; {}", problem.message, problem.expected))
                    .collect();
                self.refuse(&words.join("\n"))?;
                Ok(None)
            }
            Err(error) => {
                self.refuse(&error.to_string())?;
                Ok(None)
            }
        }
    }

    fn go(&mut self, sight: &Sight, to: &str) -> io::Result<()> {
        let lower = to.to_lowercase();
        let questions = || sight.questions.iter().filter(|q| !matches!(q.applies, Applies::No(_)));
        let exact = questions().find(|q| q.number == to || q.key.to_string() == to || q.key.item == to);
        let fits = |q: &&Question| {
            q.key.part == to
                || q.section == lower
                || q.place.as_ref().is_some_and(|place| place.0.first().is_some_and(|step| step.key == lower))
        };
        let begins = |q: &&Question| q.of.to_lowercase().contains(&lower) || q.section.contains(&lower);
        let found = exact
            .or_else(|| questions().find(|q| fits(q) && q.is_open()))
            .or_else(|| questions().find(fits))
            .or_else(|| questions().find(|q| begins(q) && q.is_open()))
            .or_else(|| questions().find(begins));
        match found {
            Some(question) => {
                if let Some(at) = self.at.take() {
                    self.path.push(at);
                }
                self.at = Some(question.key.clone());
                self.shown = None;
                Ok(())
            }
            None => self.refuse(&format!("nothing here is called `{}`; find WORD searches", shown_text(to))),
        }
    }
}

fn suits(sight: &Sight, id: &str, dimension: crate::quantity::Dimension) -> bool {
    let instrument = sight.record.instrument.iter().find(|i| i.id.text() == Some(id));
    instrument.is_some_and(|i| match i.resolution.found().value() {
        Some(Value::Quantity(resolution)) => resolution.dimension == dimension,
        _ => true,
    })
}

fn indented(words: &str) -> String {
    let lines: Vec<String> = words.lines().map(shown_text).collect();
    lines.join("\n    ")
}
