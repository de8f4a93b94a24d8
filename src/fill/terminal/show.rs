//! What the walk prints: questions, lists, findings, how far it has come.

use std::io::{self, Write};

use super::Line;
use super::Walk;
use crate::fill::answer::letter;
use crate::fill::checklist::{Fills, PhotoWanted, Scope};
use crate::fill::first;
use crate::fill::judged::decided;
use crate::fill::question::{Applies, Key, Question};
use crate::fill::same::like;
use crate::fill::sight::{Ask, Sight};
use crate::fill::subject::instruments;
use crate::judge::next::MOST;
use crate::judge::rules::Outcome;
use crate::record::Kind;
use crate::record::field::Word;
use crate::render::write_up::{causes, decides_line, write_looks};
use crate::units::terminal::{shown_lines, shown_text};
use crate::units::words::count;
use crate::units::{Dimension, show};

impl<W: Write> Walk<'_, W> {
    pub(super) fn find(&mut self, sight: &Sight, word: &str) -> io::Result<()> {
        let lower = word.to_lowercase();
        let mut found = 0;
        for question in &sight.questions {
            let text = format!(
                "{} {} {} {} {}",
                question.item.prompt,
                question.item.look,
                question.key,
                question.of,
                question.found.show()
            );
            if text.to_lowercase().contains(&lower) {
                found += 1;
                if found <= 30 {
                    self.line_of(question)?;
                }
            }
        }
        writeln!(self.out, "{} found; go NUMBER leads there", count(found, "question", "questions"))
    }

    pub(super) fn line_of(&mut self, question: &Question) -> io::Result<()> {
        let of = if question.of.is_empty() { String::new() } else { format!(" [{}]", question.of) };
        let now = now(question);
        writeln!(
            self.out,
            "{:>6} {}{}: {}",
            question.number,
            question.item.prompt,
            shown_text(&of),
            shown_text(&now)
        )
    }

    /// The section that a line asks to be listed, `list label` or `list all`: that is no answer, not even to a text.
    pub(super) fn section_of(&self, sight: &Sight, line: &Line) -> Option<String> {
        let Line::Text(line) = line else { return None };
        let of = line.trim().strip_prefix("list ")?.trim();
        let sections = self.session.lists.of_kind(&sight.kind).map(|list| list.sections.as_slice());
        (of == "all" || sections.unwrap_or_default().iter().any(|section| section.id == of))
            .then(|| of.to_owned())
    }

    /// What is open in the section at hand, or in the one that is named, and how much in the others.
    pub(super) fn list(&mut self, sight: &Sight, at: &Key, of: &str) -> io::Result<()> {
        let here = match of {
            "" => sight.question(at).map(|question| question.section.as_str()).unwrap_or_default(),
            of => of,
        };
        let open: Vec<&Question> =
            sight.questions.iter().filter(|q| q.is_open() && q.applies == Applies::Yes).collect();
        let list = self.session.lists.of_kind(&sight.kind);
        let sections = list.map(|list| list.sections.as_slice()).unwrap_or_default();
        if !of.is_empty() && of != "all" && !sections.iter().any(|section| section.id == of) {
            let known: Vec<&str> = sections.iter().map(|section| section.id.as_str()).collect();
            return self.refuse(&format!(
                "there is no section `{}`; there are: {}",
                shown_text(of),
                known.join(", ")
            ));
        }
        let mut others = Vec::new();
        for section in sections {
            let own: Vec<&&Question> = open.iter().filter(|q| q.section == section.id).collect();
            if own.is_empty() {
                continue;
            }
            if section.id != here && of != "all" {
                others.push(format!("{} {}", section.id, own.len()));
                continue;
            }
            writeln!(self.out, "{}", section.title)?;
            for question in own {
                self.line_of(question)?;
            }
        }
        if !others.is_empty() {
            writeln!(self.out, "open in other sections: {}", others.join(", "))?;
        }
        writeln!(
            self.out,
            "{} open in all; list SECTION or list all shows more",
            count(open.len(), "question", "questions")
        )
    }

    /// The instruments by number, as they may be named.
    pub(super) fn instruments(&mut self, sight: &Sight) -> io::Result<()> {
        for (number, (id, about)) in (1..).zip(instruments(&sight.record)) {
            let about = if about.is_empty() { about } else { format!(": {about}") };
            writeln!(self.out, "  {number}) {}", shown_text(&format!("{id}{about}")))?;
        }
        let none = sight.record.instrument.is_empty();
        let how = if none {
            "no instrument is listed yet: add instrument NAME"
        } else {
            "by number or name: with 2 belongs to an answer, using 2 to those from here on, part with 1, 3 to a test"
        };
        writeln!(self.out, "{how}")
    }

    pub(super) fn findings(&mut self, sight: &Sight) -> io::Result<()> {
        for cause in causes(&sight.judgement) {
            let text = format!("{} {} ({})", Outcome::FallsShort.shape(), cause.line(), cause.grade.word());
            writeln!(self.out, "  {}", shown_text(&text))?;
            for (line, _) in cause.lines() {
                writeln!(self.out, "      {}", shown_text(&line))?;
            }
        }
        writeln!(self.out, "{}\nLook at next:", tally(sight))?;
        self.out.write_all(shown_lines(&write_looks(&sight.next(), MOST)).as_bytes())
    }

    /// What has been decided since the last answer, by a log that has been read or by somebody else's answer.
    pub(super) fn meanwhile(&mut self, before: &Sight, now: &Sight) -> io::Result<()> {
        let decided = decided(&before.judgement, &now.judgement);
        if !decided.is_empty() {
            writeln!(self.out, "meanwhile:")?;
        }
        for decided in decided {
            writeln!(self.out, "  {}", shown_text(&decided.line()))?;
        }
        self.lost(now)
    }

    /// Confirmed answers that something else took out of the record, the first of them.
    fn lost(&mut self, sight: &Sight) -> io::Result<()> {
        let lost = self.session.lost(sight);
        let questions = sight.questions.iter().filter_map(|q| Some((q, lost.get(&q.key.to_string())?)));
        for (question, was) in questions.take(MOST) {
            let (number, value) = (&question.number, shown_text(was.value.as_deref().unwrap_or_default()));
            writeln!(
                self.out,
                "{number} {}: {value} was confirmed {} ({}); in the record now: {}\n    {number}: restore writes it \
                 again; {number}: stay leaves the record as it is",
                shown_text(&question.item.prompt),
                was.at.strftime("%Y-%m-%d %H:%M"),
                shown_text(&was.device),
                shown_text(&question.found.show()),
            )?;
        }
        if lost.len() > MOST {
            writeln!(self.out, "and {} more", lost.len() - MOST)?;
        }
        Ok(())
    }

    pub(super) fn overview(&mut self, sight: &Sight) -> io::Result<()> {
        let title = sight.record.inspection.title.text().unwrap_or("no title yet");
        writeln!(self.out, "{} ({} checklist). {}", shown_text(title), sight.kind, progress(sight))?;
        for told in &self.session.told {
            writeln!(self.out, "{}", shown_text(told))?;
        }
        self.lost(sight)?;
        writeln!(self.out, "Every answer is saved at once. help shows the commands, quit stops.")
    }

    pub(super) fn farewell(&mut self, sight: &Sight) -> io::Result<()> {
        writeln!(self.out, "{} {}", progress(sight), tally(sight))?;
        let waiting = sight.questions.iter().filter(|q| matches!(q.applies, Applies::Waits(_))).count();
        if waiting > 0 {
            writeln!(self.out, "{} for other answers", count(waiting, "question waits", "questions wait"))?;
        }
        let photos: Vec<&str> = sight
            .questions
            .iter()
            .filter(|q| !q.is_open() && q.lacks_photo() && q.applies == Applies::Yes)
            .map(|q| q.number.as_str())
            .collect();
        if !photos.is_empty() {
            writeln!(self.out, "a photo is still wanted for: {}", photos.join(", "))?;
        }
        if self.summary.refused > 0 {
            writeln!(self.out, "{} refused", count(self.summary.refused, "line was", "lines were"))?;
        }
        if sight.beside {
            writeln!(self.out, "a long log is still being read; `underlid check` shows what it decides")?;
        }
        self.out.flush()
    }

    /// What the first look asks next.
    pub(super) fn first_ask<'s>(&self, sight: &'s Sight) -> Option<&'s Ask> {
        sight.first().asks.iter().find(|ask| !self.left.contains(&ask.key))
    }

    /// Ends the first look where nothing is left that looking could settle, and says how far the headline questions are.
    pub(super) fn first_ends(&mut self, sight: &Sight) -> io::Result<()> {
        if !self.first || self.at.is_some() || self.first_ask(sight).is_some() {
            return Ok(());
        }
        self.first = false;
        writeln!(self.out, "\n== What the first look settled ==")?;
        for headline in &sight.first().headlines {
            writeln!(self.out, "{}", shown_text(&first::told(headline, true)))?;
        }
        writeln!(self.out, "The rest is asked section by section; quit stops, findings shows what was found.")
    }

    /// Headline questions that an answer has settled, or opened again.
    pub(super) fn settled(&mut self, sight: &Sight) -> io::Result<()> {
        if !self.first {
            return Ok(());
        }
        let told: Vec<String> = sight.first().headlines.iter().map(|one| first::told(one, false)).collect();
        let before = std::mem::replace(&mut self.told, told.clone());
        for line in told.iter().filter(|line| !before.contains(line)) {
            writeln!(self.out, "  {}", shown_text(line))?;
        }
        Ok(())
    }

    fn show_look(&mut self, sight: &Sight, key: &Key) -> io::Result<()> {
        if !self.first {
            return Ok(());
        }
        if self.section != FIRST {
            FIRST.clone_into(&mut self.section);
            writeln!(
                self.out,
                "\n== First look ==\nWhat settles these questions with the least effort comes first; sections leaves it."
            )?;
            self.settled(sight)?;
        }
        let look = sight.first().asks.iter().find(|ask| ask.key == *key).and_then(|ask| ask.look.as_ref());
        let Some(look) = look.filter(|_| !self.brief) else { return Ok(()) };
        let takes = format!("{}, {}", look.effort, show(look.time_s, Dimension::TIME));
        writeln!(self.out, "\n    decides: {} ({takes})", shown_text(&decides_line(look)))?;
        if !look.caution.is_empty() {
            writeln!(self.out, "    CAUTION: {}", look.caution)?;
        }
        Ok(())
    }

    fn show_section(&mut self, sight: &Sight, question: &Question) -> io::Result<()> {
        if self.first || self.section == question.section {
            return Ok(());
        }
        self.section.clone_from(&question.section);
        let list = self.session.lists.of_kind(&sight.kind);
        let section = list.and_then(|list| list.sections.iter().find(|s| s.id == question.section));
        let Some(section) = section else { return Ok(()) };
        writeln!(self.out, "\n== {} ==", section.title)?;
        for (word, text) in [("", &section.about), ("CAUTION: ", &section.caution)] {
            if !text.is_empty() {
                writeln!(self.out, "{word}{text}")?;
            }
        }
        Ok(())
    }

    /// What is asked on one screen: one line for each answer, and how to look below it.
    pub(super) fn show_screen(&mut self, sight: &Sight, screen: &[&Question]) -> io::Result<()> {
        let Some(first) = screen.first() else { return Ok(()) };
        self.show_section(sight, first)?;
        let of = if first.of.is_empty() { String::new() } else { format!("{}: ", first.of) };
        let card = first.item.card.as_deref().filter(|_| self.more.is_none()).unwrap_or("all that is open");
        writeln!(self.out, "\n{}{card}, {}", shown_text(&of), count(screen.len(), "answer", "answers"))?;
        for question in screen {
            let choices = choices(question, |letter, word| format!("{letter}) {}", word.word));
            let expected = if choices.is_empty() { question.expected() } else { choices.join(" ") };
            let item = &question.item;
            writeln!(self.out, "  {}  {} {expected}", question.number, item.prompt)?;
            if !self.brief {
                writeln!(self.out, "        {} {}", item.why, item.look)?;
            }
            if !item.caution.is_empty() {
                writeln!(self.out, "        CAUTION: {}", item.caution)?;
            }
            if question.lacks_photo() {
                writeln!(self.out, "        a photo is required: photo FILE")?;
            }
            if !question.is_open() {
                writeln!(self.out, "        now: {}", shown_text(&now(question)))?;
            }
        }
        if let Some(like) = like(sight, first, "").filter(|_| of_part_nothing(sight, first)) {
            let like = shown_text(&like);
            writeln!(
                self.out,
                "    as {like} but for what is measured: same; every one of its kind here: alike"
            )?;
        }
        self.show_with(first)?;
        writeln!(
            self.out,
            "    answer: in this order with ; between, an empty place leaves one open; absent, could not see, skip; one alone by \
             its number, {}: …",
            first.number
        )
    }

    /// Which instruments took the readings of a test, where that is not said yet.
    fn show_with(&mut self, question: &Question) -> io::Result<()> {
        if question.item.scope != Scope::Tests || !question.part_with.is_empty() {
            return Ok(());
        }
        writeln!(self.out, "    its instruments are not said yet: with lists them, part with 1, 3 names them")
    }

    pub(super) fn show(&mut self, sight: &Sight, question: &Question) -> io::Result<()> {
        self.show_look(sight, &question.key)?;
        self.show_section(sight, question)?;
        let item = &question.item;
        let of = if question.of.is_empty() { String::new() } else { format!("{}: ", question.of) };
        writeln!(self.out, "\n{}  {}{}", question.number, shown_text(&of), item.prompt)?;
        if !self.brief {
            writeln!(self.out, "    why: {}", item.why)?;
            writeln!(self.out, "    look: {}", item.look)?;
        }
        if !item.caution.is_empty() {
            writeln!(self.out, "    CAUTION: {}", item.caution)?;
        }
        for choice in choices(question, |letter, word| format!("{letter}) {}: {}", word.word, word.about)) {
            writeln!(self.out, "    {choice}")?;
        }
        let how = item
            .how
            .map_or_else(String::new, |how| format!("; recorded as {} unless you say otherwise", how.word()));
        // Parts are added or not; that there are none is said by leaving it.
        let or =
            if matches!(item.fills, Fills::Adds(_)) { "none, skip" } else { "absent, could not see, skip" };
        writeln!(self.out, "    answer: {}; or {or}{how}", question.expected())?;
        match item.photo {
            Some(PhotoWanted::Required) if question.lacks_photo() => {
                writeln!(self.out, "    a photo is required: photo FILE")?;
            }
            Some(PhotoWanted::Useful) if question.part_photos.is_empty() => {
                writeln!(self.out, "    a photo helps: photo FILE")?;
            }
            _ => {}
        }
        self.show_with(question)?;
        if let Applies::Waits(what) = &question.applies {
            writeln!(self.out, "    it waits for other answers: {}", shown_text(what))?;
        }
        writeln!(self.out, "    now: {}", shown_text(&now(question)))
    }
}

/// True when nothing is answered of the part of a question yet.
fn of_part_nothing(sight: &Sight, question: &Question) -> bool {
    let mut own = sight.questions.iter().filter(|other| other.key.part == question.key.part);
    !question.key.part.is_empty() && own.all(Question::is_open)
}

/// What a choice may be, by its letter.
fn choices(question: &Question, form: impl Fn(char, &Word) -> String) -> Vec<String> {
    match question.kind() {
        Kind::Word(words) => {
            words.iter().enumerate().map(|(index, word)| form(letter(index), word)).collect()
        }
        _ => Vec::new(),
    }
}

/// Stands for a section while the first look lasts.
const FIRST: &str = "first look";

/// What is recorded, with how it came.
pub(in crate::fill) fn now(question: &Question) -> String {
    if !question.there.is_empty() {
        return question.there.join(", ");
    }
    let found = &question.found;
    let mut text = found.show();
    if let Some(how) = found.how.filter(|_| found.value().is_some()) {
        text.push_str(&format!(", {}", how.word()));
    }
    if let Some(with) = &found.with {
        text.push_str(&format!(" with {with}"));
    }
    if let Some(note) = &found.note {
        text.push_str(&format!(" ({note})"));
    }
    text
}

fn progress(sight: &Sight) -> String {
    // What is seldom wanted counts only when it is answered.
    let applies =
        || sight.questions.iter().filter(|q| q.applies == Applies::Yes && (!q.aside || !q.is_open()));
    let open = applies().filter(|q| q.is_open()).count();
    format!("{} of {} answered, {open} open.", applies().count() - open, applies().count())
}

fn tally(sight: &Sight) -> String {
    let with = |outcome| sight.judgement.count(outcome);
    format!(
        "{} {} falls short, {} {} not decided, {} {} meets.",
        Outcome::FallsShort.shape(),
        sight.judgement.defects(),
        Outcome::NotDecided.shape(),
        with(Outcome::NotDecided),
        Outcome::Meets.shape(),
        with(Outcome::Meets)
    )
}
