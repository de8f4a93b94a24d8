//! Filling in a terminal or a plain pipe: one question at a time on standard output, one answer a line on standard
//! input. No cursor movement and no colour carries a meaning, so that a screen reader and a test see the same.

mod answers;
mod card;
mod quick;
mod show;
mod wrap;

use std::collections::HashSet;
use std::io::{self, BufRead, Write};
use std::sync::Arc;

use super::answer::{Said, read_line};
use super::card::PhotoCard;
use super::parts::Change;
use super::question::{Applies, Key, Question};
use super::session::FillSession;
use super::sight::{FillError, Sight};
use crate::fill::checklist::{Fills, Scope};
use crate::record::edit::Entered;
use crate::units::terminal::shown_text;
use card::AtCard;
#[cfg(feature = "page")]
pub(super) use show::now;
pub use wrap::Wrapped;

/// Longest line that is read; a longer one is refused whole.
const LONGEST: u64 = 64 << 10;

/// How questions are asked.
#[derive(Debug, Clone, Copy, Default)]
pub struct Ways {
    /// Without why and how to look.
    pub brief: bool,
    /// Section by section from the start, without the first look.
    pub sections: bool,
}

/// What was done.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct WalkSummary {
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
  25.6 V; 150 Ah; ; yes   where several are asked on one screen: one after the other, an empty place leaves one open;
                          \\; is a semicolon
Commands
  note TEXT, with INSTRUMENT, how WORD   belong to the answer shown, or else to the last one
  with           the instruments with their numbers: with 2, 30 A | with 2, using 2, part with 1, 3
  photo FILE     a photo of the part; it is copied into photos/ and hashed; photo 5 is the one that begins with 05
  photos FOLDER  what a card or folder of pictures holds, to take some of them for parts
  remark TEXT, video 14:05, part with INSTRUMENT   on the part as a whole
  same, same as ID   this part is like the one before: what was seen is taken over, what was measured is not
  alike          every other part of this kind and section is as this one, or as the one before where nothing is
                 answered here, but for what was measured
  rename to ID, move first, move behind ID, remove ID   the part at hand
  cell 3 3.302 V, 0.34 mΩ   a cell's readings from anywhere
  row 15 min, 77 A, branch 1   a reading during the bench test; row ID: … where there are several tests
  using INSTRUMENT   for measured answers of its kind from here on; using none stops it
  add [positive|negative|stack|rig] busbar [ID] | 3 busbar link | cable | joint | fuse | … | reading [N] | layer NAME | claim TEXT |
      test KIND | instrument NAME | load KIND | meter READS = INSTRUMENT | branch NAME = LOG | sensor COLUMN = PART
  more           all that is open of this part, what is seldom wanted included
  list, list SECTION, list all   what is still open, here and in the other sections
  first, sections   the first look, or section by section from here on
  restore, stay  a confirmed answer that something else took out of the record is written again; or the record stays
  back, go PART or NUMBER, find WORD, findings, clear, brief, help, quit
Every answer is in the record before it is confirmed. Nothing is lost when you stop.
";

struct Walk<'a, W: Write> {
    session: &'a FillSession,
    out: W,
    brief: bool,
    /// True while the first look lasts.
    first: bool,
    /// The answers to the headline questions as they were told last.
    told: Vec<String>,
    at: Option<Key>,
    path: Vec<Key>,
    left: HashSet<Key>,
    last: Option<Key>,
    using: Vec<String>,
    same: Vec<(String, Entered)>,
    section: String,
    summary: WalkSummary,
    shown: Option<Key>,
    /// A card that is being gone through.
    card: Option<PhotoCard>,
    /// An answer that waits for its unit to be confirmed.
    pending: Option<(Key, Said)>,
    /// The unit that was answered last, by item.
    units: Vec<(String, String)>,
    /// The instrument that was named last.
    last_with: Option<String>,
    /// The question whose part is asked in full.
    more: Option<Key>,
}

/// Walks through what is open until the input ends or somebody quits: the first look, then section by section.
///
/// # Errors
/// When the input or the output fails, or the record no longer reads.
pub fn walk(
    session: &FillSession,
    input: &mut dyn BufRead,
    out: impl Write,
    Ways { brief, sections }: Ways,
) -> Result<WalkSummary, WalkError> {
    let mut walk = Walk {
        session,
        out,
        brief,
        first: !sections,
        told: Vec::new(),
        at: None,
        path: Vec::new(),
        left: HashSet::new(),
        last: None,
        using: Vec::new(),
        same: Vec::new(),
        section: String::new(),
        summary: WalkSummary::default(),
        shown: None,
        card: None,
        pending: None,
        units: Vec::new(),
        last_with: None,
        more: None,
    };
    let mut sight = session.look()?;
    walk.overview(&sight)?;
    loop {
        walk.first_ends(&sight)?;
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
                match walk.screen(&sight, &key).as_slice() {
                    [_] | [] => walk.show(&sight, question)?,
                    screen => walk.show_screen(&sight, screen)?,
                }
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
        if session.revision()? != sight.revision() {
            let new = session.look()?;
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
        let sure = confirmed.is_some() && matches!(&line, Line::Text(line) if line.trim().is_empty());
        let section = walk.section_of(&sight, &line);
        let said = match line {
            _ if section.is_some() => Ok(Said::List(section.unwrap_or_default())),
            _ if sure => Ok(confirmed.map_or(Said::Leave, |(_, said)| said)),
            Line::Text(line) if line.trim() == "=" => walk.same_again(question),
            Line::Text(line) => match read_line(&line, question.kind(), &sight.record) {
                Ok(Said::Entered { answer: Entered { value: Some(_), .. }, .. }) | Err(_)
                    if line.contains(';') && walk.screen(&sight, &key).len() > 1 =>
                {
                    walk.several(&sight, &key, &line)
                }
                said => said,
            },
            Line::TooLong => Err("the line is too long".to_owned()),
        };
        match said {
            Err(words) => walk.refuse(&words)?,
            Ok(Said::Quit) => break,
            Ok(Said::Leave | Said::Done) if end => break,
            Ok(Said::Entered { .. } | Said::Photo(_) | Said::OfPart(..) | Said::Clear) if end => {
                walk.refuse("the list is at its end; write the number in front, such as 12: 150 A")?;
            }
            Ok(said) if !sure && walk.offered(&sight, question, &said)? => {}
            Ok(said) => {
                if let Some(new) = walk.act(&sight, &key, said)? {
                    sight = new;
                }
            }
        }
    }
    let sight = session.look()?;
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

/// What is typed where parts are listed and there are none.
const NONE: [&str; 4] = ["absent", "none", "no", "nothing"];

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
        if self.first {
            return self.first_ask(sight).map(|ask| ask.key.clone());
        }
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
        self.more = None;
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
                let screen = self.screen(sight, key).into_iter().map(|question| question.key.clone());
                let screen: Vec<Key> = screen.collect();
                self.left.extend(screen);
                self.on(sight, key);
            }
            Said::Several(answers) => return self.answer_screen(sight, key, answers),
            Said::More => {
                (self.more, self.shown) = (Some(key.clone()), None);
                self.at = sight.screen(key, true).first().map(|question| question.key.clone());
                self.more.clone_from(&self.at);
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
                    for question in sight.screen(&back, false) {
                        self.left.remove(&question.key);
                    }
                    self.at = Some(back);
                    self.shown = None;
                }
                None => writeln!(self.out, "this is the first question")?,
            },
            Said::Brief => self.brief = !self.brief,
            Said::First(first) => {
                self.first = first;
                self.section.clear();
                (self.at, self.shown) = (None, None);
            }
            Said::Go(to) => self.go(sight, &to)?,
            Said::Find(word) => self.find(sight, &word)?,
            Said::List(of) => self.list(sight, key, &of)?,
            Said::Findings => self.findings(sight)?,
            Said::Using(id) => self.use_instrument(sight, &id)?,
            Said::Instruments => self.instruments(sight)?,
            Said::Add(what) => {
                let saved = self.session.add(Some(key), &what);
                return self.told(saved);
            }
            Said::Card(what) => self.open_card(&what)?,
            Said::Cell(what) => return self.cell(sight, &what),
            Said::Row(what) => {
                let saved = self.session.add(Some(key), &format!("row {what}"));
                return self.told(saved);
            }
            Said::Same(from) => {
                let saved = self.session.same(key, &from);
                let new = self.told(saved)?;
                // What is still open of this part comes next.
                if let Some(new) = &new {
                    let before = new.questions.iter().take_while(|q| q.key != *key).last();
                    self.at = self.next(new, before.map(|q| &q.key));
                    self.shown = None;
                }
                return Ok(new);
            }
            Said::Alike => {
                let saved = self.session.alike(key);
                return self.told(saved);
            }
            Said::Rename(id) => return self.change(key, &Change::Rename(&id)),
            Said::Move(behind) => return self.change(key, &Change::Move(&behind)),
            Said::Remove(id) => return self.change(key, &Change::Remove(&id)),
            Said::Photo(file) => {
                let saved = self.session.photo(key, &file);
                return self.told(saved);
            }
            Said::OfPart(name, text) => {
                let saved = self.session.of_part(key, name, &text);
                return self.told(saved);
            }
            Said::Clear => {
                let saved = self.session.clear(key, None);
                return self.told(saved);
            }
            Said::Restore => match self.session.lost(sight).remove(&key.to_string()) {
                Some(lost) => {
                    let answer = Entered { value: lost.value, ..Entered::default() };
                    let saved = self.session.answer(key, &answer, None);
                    return self.told(saved);
                }
                None => self.refuse("the record holds what was confirmed here; nothing was lost")?,
            },
            Said::Stay => {
                let saved = self.session.let_stand(key);
                return self.told(saved);
            }
            Said::Numbered { number, rest } => return self.numbered(sight, &number, &rest),
            Said::Entered { mut answer, more } => {
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
                    let saved = self.session.answer(&to, &answer, None);
                    return self.told(saved);
                }
                let lists = sight.question(key).is_some_and(|q| matches!(q.item.fills, Fills::Adds(_)));
                if lists
                    && answer
                        .value
                        .as_deref()
                        .is_some_and(|value| NONE.iter().any(|none| value.eq_ignore_ascii_case(none)))
                {
                    writeln!(self.out, "nothing to list: it stays open")?;
                    return self.act(sight, key, Said::Leave);
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

    /// Renames, moves or removes the part at hand; what is open next is shown anew.
    fn change(&mut self, key: &Key, change: &Change<'_>) -> Result<Option<Arc<Sight>>, WalkError> {
        let saved = self.session.change(key, change);
        // What was refused leaves everybody where they were.
        if saved.is_ok() {
            self.at = match change {
                Change::Rename(new) => Some(Key { part: (*new).to_owned(), ..key.clone() }),
                Change::Move(_) => Some(key.clone()),
                Change::Remove(_) => None,
            };
            self.shown = None;
        }
        self.told(saved)
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
            // What waits for another answer is not what somebody goes for.
            .or_else(|| questions().find(|q| fits(q) && q.is_open() && q.applies == Applies::Yes))
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
            None if sight.questions.iter().any(|q| q.key.item == to || q.number == to) => {
                let question = sight.questions.iter().find(|q| q.key.item == to || q.number == to);
                let why = match question.map(|question| &question.applies) {
                    Some(Applies::No(why)) => why.as_str(),
                    _ => "",
                };
                self.refuse(&format!("`{}` does not apply here: {}", shown_text(to), shown_text(why)))
            }
            None => self.refuse(&format!("nothing here is called `{}`; find WORD searches", shown_text(to))),
        }
    }
}

fn indented(words: &str) -> String {
    let lines: Vec<String> = words.lines().map(shown_text).collect();
    lines.join("\n    ")
}
