//! `photos`: show what a card or a folder of pictures holds, and take some of it into an inspection.

use std::io::{IsTerminal, Write};
use std::path::PathBuf;
use std::sync::atomic::{AtomicU64, Ordering};

use jiff::SignedDuration;

use super::{Done, Failure, Format, House, words};
use crate::evidence::hash::{Progress, silent};
use crate::fill::FillSession;
use crate::fill::card::{
    CardTold, Moment, PhotoCard, TakeOutcome, Taken, Tie, clock_offset, numbers, tie_to,
};
use crate::units::terminal;
use crate::units::words::count;

/// Progress is told in steps of this many bytes.
const STEP: u64 = 64 << 20;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
Without --take nothing is written: the pictures are shown in the order in which they were taken, each with its number, \
what it says of itself, and whether the inspection has it or one that looks like it.\n\n\
--take copies into photos/ under names made here, never moves, never writes to the card, and lists each picture in \
inspection.toml with the SHA-256 it arrived with. Pictures that the inspection has are not taken twice, so a run that was \
stopped may be started again. Originals keep the place and the serial numbers that cameras write into them; the pictures \
of the write-up do not.")]
pub(super) struct Photos {
    /// The inspection folder
    folder: PathBuf,
    /// Cards, folders or files with pictures; links in them are not followed
    #[arg(required = true, value_name = "FROM")]
    from: Vec<PathBuf>,
    /// Copy the pictures into photos/ and list them in the record
    #[arg(long)]
    take: bool,
    /// Only these, by their numbers in the list, such as 3-7,9
    #[arg(long, value_name = "NUMBERS")]
    numbers: Option<String>,
    /// Only those taken from this time on: 10:40, 2026-03-14, or "2026-03-14 10:40"
    #[arg(long = "from", value_name = "TIME")]
    since: Option<Moment>,
    /// Only those taken until this time
    #[arg(long, value_name = "TIME")]
    until: Option<Moment>,
    /// How far the camera's clock was off, added to its times: +00:03:20 for a slow one
    #[arg(long, value_name = "±HH:MM:SS", value_parser = clock_offset, allow_hyphen_values = true)]
    clock: Option<SignedDuration>,
    /// What they show: an element's id, a part of the record, or the number of a question
    #[arg(long, value_name = "PART", requires = "take")]
    shows: Option<String>,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// A house checklist whose numbers --shows may use, read after those of the inspection; may be given several times
    #[arg(long = "checklist", value_name = "FILE")]
    checklists: Vec<PathBuf>,
    #[command(flatten)]
    house: House,
}

/// What `photos --format json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct PhotosTold<'a> {
    #[serde(flatten)]
    #[schemars(with = "CardTold<'static>")]
    card: serde_json::Value,
    /// Numbers of the pictures that were chosen.
    chosen: &'a [usize],
    taken: &'a [Taken],
    refused: Vec<NotTaken<'a>>,
}

/// A picture that was not taken.
#[derive(serde::Serialize, schemars::JsonSchema)]
struct NotTaken<'a> {
    number: usize,
    why: &'a str,
}

impl Photos {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let session = FillSession::open(&self.folder, &self.house.of()?, &self.checklists, None)?;
        let told = AtomicU64::new(0);
        let progress = |progress: Progress| {
            let step = progress.done / STEP;
            if step > told.fetch_max(step, Ordering::Relaxed) {
                // Progress is a courtesy: when nobody can read it, the work goes on.
                let mut err = terminal::err();
                let _ = err.again();
                let _ = write!(err, "{} of {} MiB read", progress.done >> 20, progress.total >> 20);
            }
        };
        let watched = std::io::stderr().is_terminal();
        let clock = self.clock.unwrap_or(SignedDuration::ZERO);
        let mut card =
            PhotoCard::look(&session, &self.from, clock, if watched { &progress } else { &silent })?;
        if told.load(Ordering::Relaxed) > 0 {
            let _ = writeln!(terminal::err());
        }
        let chosen = self.chosen(&card)?;
        let mut out = terminal::out();
        let mut outcome = TakeOutcome::default();
        // As it is before anything is taken.
        let shown = serde_json::to_value(card.told()).map_err(words)?;
        match self.format {
            Format::Text if self.take => card.print_rest(&mut out)?,
            Format::Text => card.print(&mut out)?,
            Format::Json => {}
        }
        if self.take {
            let tie = match &self.shows {
                Some(word) => tie_to(&*session.look()?, word)?,
                None => Tie::Nothing,
            };
            let text = self.format == Format::Text;
            outcome = card.take(&session, &chosen, &tie, &mut |taken| {
                if text {
                    let did = if taken.copied { "copied" } else { "was there" };
                    let _ = writeln!(out, "{:>4}  {did}: {}  {}", taken.number, taken.file, taken.sha256);
                }
            })?;
        }
        match self.format {
            Format::Json => {
                let refused = outcome.refused.iter().map(|(number, why)| NotTaken { number: *number, why });
                let told = PhotosTold {
                    card: shown,
                    chosen: &chosen,
                    taken: &outcome.taken,
                    refused: refused.collect(),
                };
                out.write_all(super::json(&told)?.as_bytes())?;
            }
            Format::Text if self.take => {
                for (number, why) in &outcome.refused {
                    writeln!(out, "{number:>4}  not taken: {why}")?;
                }
                let copied = outcome.taken.iter().filter(|taken| taken.copied).count();
                let had = outcome.taken.len() - copied;
                writeln!(
                    out,
                    "{} copied into photos/, {had} were there already; all of them are in the record.",
                    count(copied, "picture", "pictures")
                )?;
            }
            Format::Text => writeln!(
                out,
                "{} would be taken. Nothing was written; --take copies into photos/ and lists in the record.",
                count(chosen.len(), "picture", "pictures")
            )?,
        }
        if outcome.refused.is_empty() {
            Ok(Done::Well)
        } else {
            Err(Failure::Words(format!(
                "{} not taken",
                count(outcome.refused.len(), "picture was", "pictures were")
            )))
        }
    }

    /// The pictures that are meant: by number and time; without either, those that are new.
    fn chosen(&self, card: &PhotoCard) -> Result<Vec<usize>, Failure> {
        let by_number = match &self.numbers {
            Some(text) => Some(numbers(text, card.photos.len()).map_err(Failure::Words)?),
            None => None,
        };
        let timed = self.since.is_some() || self.until.is_some();
        let by_time = timed.then(|| card.taken_between(self.since, self.until));
        let new = card.new_ones();
        Ok(match (by_number, by_time) {
            // What is named by number is meant even when it is there already: it may be tied to a part.
            (Some(numbers), None) => numbers,
            (Some(numbers), Some(times)) => {
                numbers.into_iter().filter(|number| times.contains(number)).collect()
            }
            (None, Some(times)) => new.into_iter().filter(|number| times.contains(number)).collect(),
            (None, None) => new,
        })
    }
}
