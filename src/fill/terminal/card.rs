//! A card of pictures at the prompt: what would come, and taking pictures one by one for the part at hand or another.

use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;

use jiff::SignedDuration;

use super::{Walk, WalkError};
use crate::evidence::hash::silent;
use crate::fill::card::{PhotoCard, Tie, clock_offset, numbers, tie_to};
use crate::fill::question::Key;
use crate::fill::sight::{FillError, Sight};
use crate::units::terminal::shown_text;
use crate::units::words::count;

const HELP: &str = "\
3-7 fuse       take these pictures and tie them to a part: an element, bms, cells, …, or a question such as 34.2
3-7            take them for the question at hand
3-7 to 34      as above, where the question's number has no point in it
3-7 -          take them without saying what they show
3-7 proposed   take them for the parts that are proposed by time
all, all fuse  take every picture that is new here
list           show the pictures again
done, or an empty line   back to the questions
Pictures are copied, never moved; nothing on the card is changed.
";

/// What a line at the card's prompt led to.
pub(super) enum AtCard {
    /// Stay; the record as it is now, when it changed.
    Stay(Option<Arc<Sight>>),
    /// Stop the whole walk.
    Quit,
}

impl<W: Write> Walk<'_, W> {
    /// `photos FOLDER`, or `photos FOLDER clock +00:03:20`.
    pub(super) fn open_card(&mut self, what: &str) -> Result<(), WalkError> {
        let (folder, clock) = match what.rsplit_once(" clock ") {
            Some((folder, clock)) => match clock_offset(clock) {
                Ok(clock) => (folder.trim(), clock),
                Err(words) => return Ok(self.refuse(&words)?),
            },
            None => (what, SignedDuration::ZERO),
        };
        match PhotoCard::look(self.session, &[PathBuf::from(folder)], clock, &silent) {
            Ok(card) if card.photos.is_empty() => {
                card.print_rest(&mut self.out)?;
            }
            Ok(card) => {
                card.print(&mut self.out)?;
                writeln!(
                    self.out,
                    "{} new here. 3-7 fuse takes pictures; help shows more.",
                    card.new_ones().len()
                )?;
                self.card = Some(card);
            }
            Err(error @ FillError::Open(_)) => return Err(error.into()),
            Err(error) => self.refuse(&error.to_string())?,
        }
        Ok(())
    }

    pub(super) fn at_card(
        &mut self,
        sight: &Sight,
        at: Option<&Key>,
        line: &str,
    ) -> Result<AtCard, WalkError> {
        let Some(mut card) = self.card.take() else { return Ok(AtCard::Stay(None)) };
        let line = line.trim();
        let mut new = None;
        match line {
            "" | "done" | "." => {
                self.shown = None;
                return Ok(AtCard::Stay(None));
            }
            "quit" | "q" | "exit" => return Ok(AtCard::Quit),
            "help" | "?" => write!(self.out, "{HELP}")?,
            "list" => card.print(&mut self.out)?,
            _ => match self.choice(sight, at, &card, line) {
                Err(words) => self.refuse(&words)?,
                Ok(groups) => {
                    for (chosen, tie) in groups {
                        new = self.take(&mut card, &chosen, &tie)?.or(new);
                    }
                    writeln!(self.out, "{} new here", card.new_ones().len())?;
                }
            },
        }
        self.card = Some(card);
        Ok(AtCard::Stay(new))
    }

    /// Which pictures a line means, and what each of them is tied to.
    fn choice(
        &self,
        sight: &Sight,
        at: Option<&Key>,
        card: &PhotoCard,
        line: &str,
    ) -> Result<Vec<(Vec<usize>, Tie)>, String> {
        let (which, word) = split(line);
        let chosen = match which {
            "all" => card.new_ones(),
            which => numbers(which, card.photos.len())
                .map_err(|words| format!("{words}\nhelp shows what may be typed"))?,
        };
        if word == "proposed" {
            return chosen
                .into_iter()
                .map(|number| {
                    let photo = card.photos.get(number - 1);
                    let proposal = photo.and_then(|photo| photo.proposal.as_ref());
                    let proposal = proposal.ok_or_else(|| {
                        format!("no part is proposed for {number}: none was answered about its time")
                    })?;
                    // The part may have gone or been renamed since it was answered.
                    let tie = tie_to(sight, &proposal.question).or_else(|_| tie_to(sight, &proposal.shows));
                    Ok((vec![number], tie.map_err(|error| error.to_string())?))
                })
                .collect();
        }
        let tie = match (word, at) {
            ("", Some(key)) if which != "all" => Tie::Question(key.clone()),
            ("", None) if which != "all" => {
                return Err(
                    "the list is at its end: say what they show, such as 3-7 fuse, or 3-7 -".to_owned()
                );
            }
            ("", _) => Tie::Nothing,
            (word, _) => tie_to(sight, word).map_err(|error| error.to_string())?,
        };
        Ok(vec![(chosen, tie)])
    }

    fn take(
        &mut self,
        card: &mut PhotoCard,
        chosen: &[usize],
        tie: &Tie,
    ) -> Result<Option<Arc<Sight>>, WalkError> {
        let shows = match tie {
            Tie::Nothing => String::new(),
            Tie::Shows(shows) => format!(" shows {shows}"),
            Tie::Question(key) => match self.session.look()?.question(key) {
                Some(question) => format!(" shows {}", question.shows),
                None => String::new(),
            },
        };
        let mut told: io::Result<()> = Ok(());
        let out = &mut self.out;
        let outcome = card.take(self.session, chosen, tie, &mut |taken| {
            let did = if taken.copied { "" } else { ", which was here already," };
            let line = format!("saved: {}{did}{shows} (SHA-256 {})", taken.file, taken.sha256);
            if told.is_ok() {
                told = writeln!(out, "{}", shown_text(&line));
            }
        });
        told?;
        match outcome {
            Ok(outcome) => {
                self.summary.saved += outcome.taken.len();
                for (number, why) in &outcome.refused {
                    self.refuse(&format!("{number}: {why}"))?;
                }
                if outcome.taken.is_empty() && outcome.refused.is_empty() {
                    writeln!(self.out, "{} taken", count(0, "picture", "pictures"))?;
                }
                Ok(Some(self.session.look()?))
            }
            Err(error @ FillError::Open(_)) => Err(error.into()),
            Err(error) => {
                self.refuse(&error.to_string())?;
                Ok(None)
            }
        }
    }
}

/// The numbers in front, and the word behind them.
fn split(line: &str) -> (&str, &str) {
    if let Some((which, word)) = line.split_once(" to ") {
        return (which.trim(), word.trim());
    }
    let of_numbers =
        |word: &str| word.chars().all(|c| c.is_ascii_digit() || matches!(c, '-' | ',')) && word != "-";
    let mut end = 0;
    for word in line.split(' ') {
        let here = end + usize::from(end > 0);
        let first = end == 0;
        if !(first || of_numbers(word) || word.is_empty()) {
            break;
        }
        end = here + word.len();
    }
    let (which, word) = line.split_at(end.min(line.len()));
    (which.trim(), word.trim())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_stand_before_the_part() {
        for (line, which, word) in [
            ("3-7 fuse", "3-7", "fuse"),
            ("3-7 9 main-fuse", "3-7 9", "main-fuse"),
            ("3,4,9", "3,4,9", ""),
            ("3 -", "3", "-"),
            ("3 to 34", "3", "34"),
            ("3 34.2", "3", "34.2"),
            ("all", "all", ""),
            ("all bms", "all", "bms"),
            ("5 proposed", "5", "proposed"),
        ] {
            assert_eq!(split(line), (which, word), "{line}");
        }
    }
}
