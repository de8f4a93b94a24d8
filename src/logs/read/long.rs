//! Long tables: one row for each quantity and time, as databases and loggers of many channels export them. Their
//! quantities are put side by side, a row for each time, and read like any other table.

use std::fs::File;
use std::io::{BufWriter, Seek, SeekFrom, Write};

use super::ReadError;
use super::chunk::{Chunk, Chunks, FirstLines, LONGEST, NumberedLine, text, without_cr};
use super::column::{Column, Meaning, is_of};
use super::settings::ReadSettings;
use super::table::split;
use super::unit::COLUMN as UNIT;

/// Headers of the column that names the quantity, of the one that holds its value, and of the one with its unit.
const QUANTITY: &str = "quantity parameter variable signal channel sensor measurement metric field \
     _field name tag item series messgröße";
const VALUE: &str = "value _value reading measuredvalue wert messwert";
/// Quantities that are kept apart.
const QUANTITIES: usize = 64;

/// Where the parts of a reading stand.
struct Plan {
    delimiter: u8,
    header: u64,
    time: usize,
    quantity: usize,
    value: usize,
    unit: Option<usize>,
}

/// A long table with its quantities side by side; nothing where it is none.
pub(super) fn side_by_side(
    file: &mut File,
    first: &FirstLines,
    settings: &ReadSettings,
) -> Result<Option<File>, ReadError> {
    let lines = first.lines();
    // Most files have no line with both words, and splitting all of them takes longer.
    let has = |raw: &[u8], words: &str| {
        let line = text(raw).to_lowercase().replace(' ', "");
        words.split_ascii_whitespace().any(|word| line.contains(word))
    };
    if !lines.iter().any(|(_, raw)| in_words(raw) && has(raw, VALUE) && has(raw, QUANTITY)) {
        return Ok(None);
    }
    let delimiters = [b'\t', b';', b',', b'|'];
    let Some(plan) = delimiters.into_iter().find_map(|delimiter| Plan::find(&lines, delimiter, settings))
    else {
        return Ok(None);
    };
    let mut names: Vec<String> = Vec::new();
    plan.each(file, |_, name, _| {
        if names.len() < QUANTITIES && !names.contains(&name) {
            names.push(name);
        }
        Ok(())
    })?;
    let mut wide = tempfile::tempfile()?;
    let mut out = BufWriter::new(&mut wide);
    let time = lines.iter().find(|(line, _)| *line == plan.header).and_then(|(_, raw)| {
        split(raw, plan.delimiter).get(plan.time).map(|name| text(name).trim().to_owned())
    });
    writeln!(out, "{}\t{}", time.unwrap_or_default(), names.join("\t"))?;
    let mut row = Wide { time: String::new(), cells: vec![String::new(); names.len()] };
    plan.each(file, |time, name, value| {
        let Some(place) = names.iter().position(|known| *known == name) else { return Ok(()) };
        let full = row.cells.iter().all(|cell| !cell.is_empty());
        let again = row.cells.get(place).is_some_and(|cell| !cell.is_empty());
        // Channels that are read one after another make one row.
        if again || full && row.time != time {
            row.write(&mut out)?;
        }
        if row.cells.iter().all(String::is_empty) {
            row.time = time;
        }
        if let Some(cell) = row.cells.get_mut(place) {
            *cell = value;
        }
        Ok(())
    })?;
    row.write(&mut out)?;
    out.flush()?;
    drop(out);
    wide.seek(SeekFrom::Start(0))?;
    Ok(Some(wide))
}

/// Whether a line holds a word, which a row of numbers with their units does not.
fn in_words(raw: &[u8]) -> bool {
    raw.windows(3).any(|three| three.iter().all(|byte| byte.is_ascii_alphabetic() || !byte.is_ascii()))
}

/// A row of the table that is made.
struct Wide {
    time: String,
    cells: Vec<String>,
}

impl Wide {
    fn write(&mut self, out: &mut impl Write) -> Result<(), ReadError> {
        if self.cells.iter().any(|cell| !cell.is_empty()) {
            writeln!(out, "{}\t{}", self.time, self.cells.join("\t"))?;
        }
        self.cells.iter_mut().for_each(String::clear);
        Ok(())
    }
}

impl Plan {
    fn find(lines: &[NumberedLine<'_>], delimiter: u8, settings: &ReadSettings) -> Option<Self> {
        let below = lines.iter().skip_while(|(line, _)| *line <= settings.skip);
        let (at, plan) = below.clone().enumerate().find_map(|(at, (line, raw))| {
            let names: Vec<String> = split(raw, delimiter)
                .iter()
                .map(|name| text(name).trim().trim_matches('"').to_lowercase())
                .collect();
            let of = |words: &str| names.iter().position(|name| is_of(&name.replace(' ', ""), words));
            let is_time = |name: &String| {
                matches!(Column::recognise(0, name, None).meaning, Meaning::Time | Meaning::Date)
            };
            // Most files have no such column, and what a time is called takes longer to tell.
            let (quantity, value) = (of(QUANTITY)?, of(VALUE)?);
            let time = names.iter().position(is_time)?;
            let plan = Self { delimiter, header: *line, time, quantity, value, unit: of(UNIT) };
            (names.len() <= 64).then_some((at, plan))
        })?;
        // Its quantities are names that mean something, a voltage or a current among them.
        let names: Vec<String> =
            below.skip(at + 1).filter_map(|(_, raw)| plan.reading(raw).map(|(_, name, _)| name)).collect();
        let meaning = |name: &String| Column::recognise(0, name, None).meaning;
        let known = names.iter().filter(|name| meaning(name).is_value()).count();
        let electric = names.iter().any(|name| matches!(meaning(name), Meaning::Voltage | Meaning::Current));
        (names.len() >= 4 && electric && known * 2 >= names.len()).then_some(plan)
    }

    /// Time, name with unit, and value of a row.
    fn reading(&self, raw: &[u8]) -> Option<(String, String, String)> {
        let fields = split(raw, self.delimiter);
        let cell = |at: usize| fields.get(at).map(|field| text(field).trim().replace('\t', " "));
        let (time, name, value) = (cell(self.time)?, cell(self.quantity)?, cell(self.value)?);
        if time.is_empty() || name.is_empty() {
            return None;
        }
        let unit = self.unit.and_then(cell).filter(|unit| !unit.is_empty());
        let name = unit.map_or_else(|| name.clone(), |unit| format!("{name} ({unit})"));
        Some((time, name, value))
    }

    /// Hands every reading of the file over.
    fn each(
        &self,
        file: &mut File,
        mut take: impl FnMut(String, String, String) -> Result<(), ReadError>,
    ) -> Result<(), ReadError> {
        file.seek(SeekFrom::Start(0))?;
        let mut chunks = Chunks::new(&mut *file)?;
        let (mut chunk, mut line) = (Chunk::default(), 0);
        while chunks.next(&mut chunk)? {
            let mut too_long = chunk.begins_too_long;
            for raw in chunk.lines().split(|byte| *byte == chunk.line_end) {
                line += 1;
                if std::mem::take(&mut too_long) || raw.len() > LONGEST || line <= self.header {
                    continue;
                }
                if let Some((time, name, value)) = self.reading(without_cr(raw)) {
                    take(time, name, value)?;
                }
            }
            // What follows the last line end is no line.
            line -= u64::from(chunk.lines().last() == Some(&chunk.line_end));
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use crate::logs::read::{LogReader, Meaning, ReadSettings};

    #[test]
    fn quantities_come_side_by_side() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("long.csv");
        let mut text = "made for a test\nTimestamp,Quantity,Value,Unit\n".to_owned();
        for n in 0..50_u32 {
            let time = format!("2026-09-18 12:00:{n:02}");
            text += &format!(
                "{time},Voltage,{},mV\n{time},Current,{},A\n",
                13_300 - n,
                if n < 5 { 0 } else { 30 }
            );
            if n % 10 == 0 {
                text += &format!("{time},T cell,2{}.5,degC\n", n / 10);
            }
        }
        std::fs::write(&path, text).unwrap();
        let mut log = LogReader::open(&path, &ReadSettings::default()).unwrap();
        assert!(log.layout().long);
        let slot = |meaning: Meaning| log.layout().slot(meaning).unwrap();
        let (v, i, t) = (slot(Meaning::Voltage), slot(Meaning::Current), slot(Meaning::Temperature));
        let mut all = Vec::new();
        log.for_each(|sample| all.push((sample.time, sample.get(v), sample.get(i), sample.get(t)))).unwrap();
        assert_eq!(all.len(), 50);
        let (time, volts, current, _) = all[49];
        assert_eq!((time, current), (49.0, 30.0));
        assert!((volts - 13.251).abs() < 1e-12);
        let warm: Vec<f64> = all.iter().map(|row| row.3 - 273.15).filter(|t| t.is_finite()).collect();
        assert_eq!(warm.len(), 5);
        assert!((warm[4] - 24.5).abs() < 1e-9);
    }

    #[test]
    fn a_table_with_a_column_called_value_is_none() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("wide.csv");
        std::fs::write(&path, "Time (s),Channel,Value,Voltage (V)\n0,a,1,13\n1,a,2,13\n2,a,3,13\n3,b,4,13\n")
            .unwrap();
        assert!(!LogReader::open(&path, &ReadSettings::default()).unwrap().layout().long);
    }
}
