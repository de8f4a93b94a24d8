//! `decode`: what the open standards say of cell markings and scanned codes.
//!
//! Texts come as arguments or, with `-`, one a line from standard input. A text that fits no standard is shown
//! with the place where it goes wrong, the others are decoded all the same, and the exit status is 2.

use std::io::{Read, Write};

use jiff::civil::Date;
use serde::Serialize;

use super::calc::arg::pointed;
use super::{CAUTION, Done, Failure, Format};
use crate::physics::marking::{self, CodeSummary, Marking, NotAMarking, Repeated};
use crate::units::terminal;
use crate::units::words::{columns, count};

/// Most bytes read from standard input, and most texts decoded in one call.
const LARGEST: u64 = 4 * 1024 * 1024;
const MOST: usize = 20_000;

#[derive(Debug, clap::Args)]
#[command(after_help = help())]
pub(super) struct Decode {
    /// What is printed on the cell, or what the scanner says; `-` reads a list, one text a line
    #[cfg_attr(feature = "measuring", arg(required_unless_present = "photos", value_name = "TEXT"))]
    #[cfg_attr(not(feature = "measuring"), arg(required = true, value_name = "TEXT"))]
    texts: Vec<String>,
    /// A photo of a label whose codes are read (ISO/IEC 18004; with the feature `labels` Data Matrix, Code 128, 93, 39 and EAN-13 as
    /// well); may be given several times
    #[cfg(feature = "measuring")]
    #[arg(long = "photo", value_name = "FILE")]
    photos: Vec<std::path::PathBuf>,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

fn help() -> String {
    format!(
        "Examples (invented):\n  underlid decode ABCCB12ABC1234DB50000123\n  underlid decode IFpP27/175/200 2023-11-05\n  \
         underlid decode - < scanned-codes.txt\n\nUnderstood: the 24-character code of GB/T 34014-2017, designations of \
         IEC 62620 and IEC 61960-3, dates of ISO 8601. A code can be copied: it shows what was printed, not what is \
         inside.\n\n{CAUTION}"
    )
}

#[derive(Debug, Serialize, schemars::JsonSchema)]
struct Item {
    place: usize,
    #[serde(flatten)]
    result: Result,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
}

#[derive(Debug, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
enum Result {
    Decoded(Marking),
    Refused { text: String, error: NotAMarking },
}

#[derive(Debug, Serialize, schemars::JsonSchema)]
pub(super) struct Decoded {
    /// Version of this shape.
    schema: u32,
    items: Vec<Item>,
    #[serde(skip_serializing_if = "Option::is_none")]
    list: Option<CodeSummary>,
}

impl Decode {
    pub(super) fn run(&self) -> std::result::Result<Done, Failure> {
        let texts = self.gather()?;
        let today = jiff::tz::TimeZone::UTC.to_datetime(jiff::Timestamp::now()).date();
        let items: Vec<Item> = texts.iter().enumerate().map(|(at, text)| item(at + 1, text, today)).collect();
        let refused = items.iter().filter(|item| matches!(item.result, Result::Refused { .. })).count();
        let total = items.len();
        let markings: Vec<(usize, &Marking)> = items
            .iter()
            .filter_map(|item| match &item.result {
                Result::Decoded(marking) => Some((item.place, marking)),
                Result::Refused { .. } => None,
            })
            .collect();
        let list = (total > 1).then(|| marking::summary(&markings));
        let decoded = Decoded { schema: 1, items, list };
        let mut out = terminal::out();
        match self.format {
            Format::Text => out.write_all(text(&decoded).as_bytes())?,
            Format::Json => {
                let json =
                    serde_json::to_string_pretty(&decoded).map_err(|e| Failure::Words(e.to_string()))?;
                writeln!(out, "{json}")?;
            }
        }
        if refused == 0 {
            return Ok(Done::Well);
        }
        Err(Failure::Words(format!("{refused} of {} not decoded", count(total, "text", "texts"))))
    }

    fn gather(&self) -> std::result::Result<Vec<String>, Failure> {
        let mut texts = Vec::new();
        let mut read = false;
        for text in &self.texts {
            if text != "-" {
                texts.push(text.clone());
            } else if !std::mem::replace(&mut read, true) {
                texts.extend(standard_input()?);
            }
        }
        #[cfg(feature = "measuring")]
        for file in &self.photos {
            let photo = crate::evidence::scale::photo::Photo::open(file).map_err(super::words)?;
            let codes: Vec<String> = photo.other_codes().into_iter().map(str::to_owned).collect();
            #[cfg(feature = "labels")]
            let codes = [codes, photo.labels()].concat();
            writeln!(
                terminal::err(),
                "{}: {} read; compare with the label before you record it",
                file.display(),
                count(codes.len(), "code", "codes")
            )?;
            texts.extend(codes);
        }
        #[cfg(feature = "measuring")]
        if texts.is_empty() && !self.photos.is_empty() {
            return Err(Failure::Words(
                "no code was found; take the label sharp, from the front and without glare".to_owned(),
            ));
        }
        if texts.is_empty() {
            return Err(Failure::Words("the list on standard input is empty".to_owned()));
        }
        if texts.len() > MOST {
            return Err(Failure::Words(format!("the list has more than {MOST} texts")));
        }
        Ok(texts)
    }
}

fn standard_input() -> std::result::Result<Vec<String>, Failure> {
    let mut bytes = Vec::new();
    std::io::stdin().lock().take(LARGEST + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > LARGEST {
        return Err(Failure::Words(format!("the list is larger than {} MiB", LARGEST / 1024 / 1024)));
    }
    // A byte that is no UTF-8 becomes a character that no code holds, and so is refused at its place.
    let text = String::from_utf8_lossy(&bytes);
    let text = text.strip_prefix('\u{feff}').unwrap_or(&text);
    Ok(text.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect())
}

fn item(place: usize, text: &str, today: Date) -> Item {
    match marking::decode(text) {
        Ok(marking) => {
            let mut notes = Vec::new();
            if marking.earliest.is_some_and(|date| date > today) {
                notes
                    .push(format!("the date lies after today, {today}: a misread character or a false code"));
            }
            Item { place, result: Result::Decoded(marking), notes }
        }
        Err(error) => {
            // Of a far too long text the part that was looked at is enough.
            let text = text.trim().chars().take(marking::LONGEST + 1).collect();
            Item { place, result: Result::Refused { text, error }, notes: Vec::new() }
        }
    }
}

fn text(decoded: &Decoded) -> String {
    let mut out = String::new();
    for (index, item) in decoded.items.iter().enumerate() {
        if index > 0 {
            out.push('\n');
        }
        match &item.result {
            Result::Decoded(marking) => one(&mut out, marking),
            Result::Refused { text, error } => {
                let message = format!("not decoded: {}", error.message);
                out.push_str(&pointed(text, error.at.clone(), &message, error.example));
                out.push('\n');
            }
        }
        for note in &item.notes {
            out.push_str(&format!("  note: {note}\n"));
        }
    }
    if let Some(list) = &decoded.list {
        summary(&mut out, list, decoded.items.len());
    }
    out
}

fn one(out: &mut String, marking: &Marking) {
    out.push_str(&format!("{}\n  {}\n", marking.text, marking.standard));
    let fields = marking.fields.iter();
    let fields = fields.map(|field| vec![field.name.to_owned(), field.text.clone(), field.meaning.clone()]);
    for line in columns(&fields.collect::<Vec<_>>()) {
        out.push_str(&format!("  {line}\n"));
    }
    match (marking.earliest, marking.latest) {
        (Some(from), Some(to)) if from == to => out.push_str(&format!("  date: {from}\n")),
        (Some(from), Some(to)) => out.push_str(&format!("  date: {from} to {to}\n")),
        _ => {}
    }
    out.push_str(&format!("  {}\n", marking.from_memory));
}

fn summary(out: &mut String, list: &CodeSummary, total: usize) {
    out.push_str(&format!("\nThe list: {} of {} decoded\n", list.decoded, count(total, "text", "texts")));
    if let (Some(from), Some(to), Some(days)) = (list.earliest, list.latest, list.spread_days) {
        let days = count(usize::try_from(days).unwrap_or(0), "day", "days");
        out.push_str(&format!("  dates: {from} to {to}, {days} apart"));
        out.push_str(&if list.without_date > 0 {
            format!("; {} without a date\n", list.without_date)
        } else {
            "\n".to_owned()
        });
    }
    if list.lots.is_empty() {
        return;
    }
    if list.designs > 1 {
        out.push_str(&format!("  {} designs (first fourteen characters) are mixed\n", list.designs));
    }
    let repeated = |out: &mut String, found: &[Repeated], words: &str| {
        for one in found {
            let places: Vec<String> = one.places.iter().map(ToString::to_string).collect();
            out.push_str(&format!("  {words}: {} at places {}\n", one.what, places.join(", ")));
        }
    };
    repeated(out, &list.same_code, "the same code more than once");
    repeated(out, &list.same_serial, "one serial on cells with different codes");
    if list.same_code.is_empty() && list.same_serial.is_empty() {
        out.push_str("  no code and no serial twice\n");
    }
    for lot in &list.lots {
        let cells = count(lot.cells, "cell", "cells");
        out.push_str(&format!(
            "  {} on {}: {cells}, serials {} to {}",
            lot.design, lot.date, lot.first, lot.last
        ));
        if lot.gaps.is_empty() {
            out.push_str(", no gap\n");
            continue;
        }
        let gaps: Vec<String> = lot
            .gaps
            .iter()
            .map(|gap| {
                if gap.from == gap.to { gap.from.to_string() } else { format!("{} to {}", gap.from, gap.to) }
            })
            .collect();
        let more =
            if lot.more_gaps > 0 { format!(" and {} more gaps", lot.more_gaps) } else { String::new() };
        out.push_str(&format!(", not in the list: {}{more}\n", gaps.join(", ")));
    }
}
