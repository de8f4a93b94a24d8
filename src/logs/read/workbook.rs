//! A sheet of a workbook (XLSX) as text: one line a row, cells divided by tabs.
//!
//! A workbook may come from a stranger. It is a zip archive of XML, so a small file can unpack to any size: everything in it
//! is unpacked once and thrown away while it is measured, before the library that reads it sees it. Cells then stream past.
//! XLS and OpenDocument are refused by name: the library reads those whole, with room for every cell between the first and
//! the last, and two cells of a hostile file can be a million rows apart.

use std::fs::File;
use std::io::{self, BufReader, BufWriter, Read, Seek, SeekFrom, Write};

use calamine::{DataRef, Reader, Xlsx};
use zip::ZipArchive;

use super::settings::ReadSettings;
use super::{ReadError, head};
use crate::units::words;

/// Unpacked bytes of all that a workbook holds.
const LARGEST: u64 = 1 << 30;
/// Unpacked bytes of what is kept in memory: strings, styles, lists of sheets.
const LARGEST_KEPT: u64 = 16 << 20;
/// Longest piece of XML between two brackets, which is read at once.
const LONGEST_PIECE: usize = 1 << 20;
/// Files in the archive, and sheets that are looked at.
const ENTRIES: usize = 10_000;
const SHEETS: usize = 256;
/// Columns of a sheet that are read.
const COLUMNS: u32 = 512;
/// Rows of a sheet that are looked at to tell whether it is a log.
const ROWS: u32 = 400;

type Book = Xlsx<BufReader<File>>;

/// The sheet that is the log, as text, and its name.
pub(super) fn unpacked(mut file: File, settings: &ReadSettings) -> Result<(File, String), ReadError> {
    measured(&file)?;
    file.seek(SeekFrom::Start(0))?;
    let mut book = Book::new(BufReader::new(file)).map_err(broken)?;
    let mut names = book.sheet_names();
    names.truncate(SHEETS);
    let listed = || words::list(&names.iter().map(|name| format!("\"{name}\"")).collect::<Vec<_>>(), "and");
    let name = if let Some(wanted) = &settings.sheet {
        names.iter().find(|name| name.trim().eq_ignore_ascii_case(wanted.trim())).cloned().ok_or_else(
            || ReadError::Refused(format!("the workbook has no sheet \"{wanted}\"; it has {}", listed())),
        )?
    } else {
        let mut logs = Vec::new();
        let mut why = None;
        for name in &names {
            let mut text = Vec::new();
            let found =
                write_sheet(&mut book, name, ROWS + u32::try_from(settings.skip).unwrap_or(0), &mut text)
                    .and_then(|()| {
                        let first = head::first_lines(text.as_slice(), 0)?;
                        let settings = settings.with_profile(&first.lines()).map_err(ReadError::Refused)?;
                        let first = head::first_lines(text.as_slice(), settings.skip)?;
                        head::recognise(&first, &settings).map(|_| ())
                    });
            match found {
                Ok(()) => logs.push(name.clone()),
                Err(error) => _ = why.get_or_insert((name, error)),
            }
        }
        match (logs.as_slice(), why) {
            ([one], _) => one.clone(),
            ([], Some((name, error))) => {
                return Err(ReadError::Refused(format!(
                    "no sheet of the workbook is a log; its sheets are {}; of \"{name}\": {error}",
                    listed()
                )));
            }
            ([], None) => return Err(ReadError::Refused("the workbook has no sheet".to_owned())),
            (several, _) => {
                return Err(ReadError::Refused(format!(
                    "several sheets of the workbook are logs; name one, for example `sheet = \"{}\"`; the others are {}",
                    several.first().map_or("", String::as_str),
                    words::list(several.get(1..).unwrap_or_default(), "and")
                )));
            }
        }
    };
    let mut text = tempfile::tempfile()?;
    let mut out = BufWriter::new(&mut text);
    write_sheet(&mut book, &name, u32::MAX, &mut out)?;
    out.flush()?;
    drop(out);
    text.seek(SeekFrom::Start(0))?;
    Ok((text, name))
}

fn broken(error: impl std::fmt::Display) -> ReadError {
    ReadError::Refused(format!(
        "the workbook cannot be read ({error}); export the sheet as CSV, and name that file"
    ))
}

/// The first rows of a sheet.
fn write_sheet(book: &mut Book, name: &str, rows: u32, out: &mut impl Write) -> Result<(), ReadError> {
    let mut cells = book.worksheet_cells_reader(name).map_err(broken)?;
    // Place of what is written next.
    let (mut row, mut column) = (0_u32, 0_u32);
    while let Some(cell) = cells.next_cell().map_err(broken)? {
        let (at, place) = cell.get_position();
        if at >= rows {
            break;
        }
        // A cell before its time cannot be put in its place any more; a sheet as programs write it has none.
        if place >= COLUMNS || at < row || at == row && place < column {
            continue;
        }
        while row < at {
            out.write_all(b"\n")?;
            (row, column) = (row + 1, 0);
        }
        while column < place {
            out.write_all(b"\t")?;
            column += 1;
        }
        write_cell(cell.get_value(), out)?;
    }
    out.write_all(b"\n")?;
    Ok(())
}

fn write_cell(value: &DataRef<'_>, out: &mut impl Write) -> io::Result<()> {
    match value {
        DataRef::Int(value) => write!(out, "{value}"),
        DataRef::Float(value) => write!(out, "{value}"),
        DataRef::Bool(value) => write!(out, "{value}"),
        DataRef::DateTime(time) if time.is_datetime() && time.as_f64() >= 1.0 => {
            let (year, month, day, hour, minute, second, milli) = time.to_ymd_hms_milli();
            write!(out, "{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02}.{milli:03}")
        }
        // A time of day or a time that passed, as a part of a day.
        DataRef::DateTime(time) => {
            let seconds = (time.as_f64() * 86_400.0 * 1e3).round() / 1e3;
            let (hours, rest) = ((seconds / 3600.0).floor(), seconds.rem_euclid(3600.0));
            write!(out, "{hours}:{:02}:{:06.3}", (rest / 60.0).floor(), rest.rem_euclid(60.0))
        }
        DataRef::String(text) | DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => {
            write_text(text, out)
        }
        DataRef::SharedString(text) => write_text(text, out),
        DataRef::Error(_) | DataRef::Empty => Ok(()),
    }
}

/// A text in one field of one line.
fn write_text(text: &str, out: &mut impl Write) -> io::Result<()> {
    for part in text.split(['\t', '\n', '\r', '"']) {
        out.write_all(part.as_bytes())?;
        if part.len() < text.len() {
            out.write_all(b" ")?;
        }
    }
    Ok(())
}

/// Unpacks everything and keeps nothing; refuses what would fill the memory.
fn measured(file: &File) -> Result<(), ReadError> {
    let too_large = || {
        ReadError::Refused("the workbook unpacks to more than any log; export the sheet as CSV".to_owned())
    };
    let mut archive = ZipArchive::new(BufReader::new(file)).map_err(broken)?;
    let names: Vec<String> = archive.file_names().filter_map(|name| Some(name.ok()?.into_owned())).collect();
    if !names.iter().any(|name| name == "xl/workbook.xml") {
        let kind = if names.iter().any(|name| name == "content.xml") {
            "an OpenDocument file; save it as XLSX or export the sheet as CSV, and name that file"
        } else if names.iter().any(|name| name.ends_with(".bin")) {
            "a binary workbook (XLSB); save it as XLSX or export the sheet as CSV, and name that file"
        } else {
            "a zip archive, not text; unpack it, and name the log in it"
        };
        return Err(ReadError::Refused(format!("the log is {kind}")));
    }
    let mut all = 0;
    for index in 0..archive.len() {
        let entry = archive.by_index(index).map_err(broken)?;
        let kept = !entry.name().map_err(broken)?.starts_with("xl/worksheets/");
        let mut scales = Scales::default();
        all += io::copy(&mut entry.take(LARGEST + 1), &mut scales)?;
        if index >= ENTRIES || all > LARGEST || kept && scales.bytes > LARGEST_KEPT || scales.refused {
            return Err(too_large());
        }
    }
    Ok(())
}

/// Measures XML: all of it, and the longest piece between two brackets. A count of strings that is not true would reserve
/// memory for all of them.
#[derive(Default)]
struct Scales {
    bytes: u64,
    piece: usize,
    /// Digits after `uniqueCount="`, and how much of that word stands at the end of what has passed.
    word: usize,
    digits: Option<usize>,
    refused: bool,
}

/// Digits of a count of strings at most.
const DIGITS: usize = 7;

impl Write for Scales {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        const WORD: &[u8] = b"uniqueCount";
        self.bytes += bytes.len() as u64;
        for byte in bytes {
            self.piece = if matches!(byte, b'<' | b'>') { 0 } else { self.piece + 1 };
            if let Some(digits) = &mut self.digits {
                match byte {
                    b'0'..=b'9' => *digits += 1,
                    b'=' | b'"' | b'\'' | b' ' | b'\t' | b'\r' | b'\n' | b'+' if *digits == 0 => {}
                    _ => self.digits = None,
                }
                self.refused |= self.digits.is_some_and(|digits| digits > DIGITS);
            } else {
                self.word = match WORD.get(self.word) {
                    Some(next) if next == byte => self.word + 1,
                    _ => usize::from(WORD.first() == Some(byte)),
                };
                if self.word == WORD.len() {
                    (self.word, self.digits) = (0, Some(0));
                }
            }
            self.refused |= self.piece > LONGEST_PIECE;
        }
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logs::read::{LogReader, Meaning};
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    const SHEET: &str = "<worksheet><sheetData>ROWS</sheetData></worksheet>";

    /// A workbook with these sheets, as rows of cells; a cell that begins with a digit is a number.
    fn workbook(folder: &std::path::Path, sheets: &[(&str, String)], strings: &str) -> std::path::PathBuf {
        let path = folder.join("log.xlsx");
        let mut zip = ZipWriter::new(File::create(&path).unwrap());
        let mut put = |name: &str, text: &str| {
            zip.start_file(name, SimpleFileOptions::default()).unwrap();
            zip.write_all(text.as_bytes()).unwrap();
        };
        let of = |f: &dyn Fn(usize, &str) -> String| -> String {
            sheets.iter().enumerate().map(|(n, (name, _))| f(n + 1, name)).collect()
        };
        let office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
        put(
            "_rels/.rels",
            &format!(
                "<Relationships><Relationship Id=\"r\" Type=\"{office}/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>"
            ),
        );
        put(
            "xl/workbook.xml",
            &format!(
                "<workbook xmlns:r=\"{office}\"><sheets>{}</sheets></workbook>",
                of(&|n, name| format!("<sheet name=\"{name}\" sheetId=\"{n}\" r:id=\"r{n}\"/>"))
            ),
        );
        put(
            "xl/_rels/workbook.xml.rels",
            &format!(
                "<Relationships>{}</Relationships>",
                of(&|n, _| format!(
                    "<Relationship Id=\"r{n}\" Type=\"{office}/worksheet\" Target=\"worksheets/s{n}.xml\"/>"
                ))
            ),
        );
        put("xl/sharedStrings.xml", strings);
        for (n, (_, rows)) in sheets.iter().enumerate() {
            put(&format!("xl/worksheets/s{}.xml", n + 1), &SHEET.replace("ROWS", rows));
        }
        zip.finish().unwrap();
        path
    }

    fn rows(rows: &[&[&str]]) -> String {
        let cell = |column: usize, row: usize, text: &str| {
            let place = format!("{}{}", char::from(b'A' + column as u8), row + 1);
            if text.starts_with(|c: char| c.is_ascii_digit()) {
                format!("<c r=\"{place}\"><v>{text}</v></c>")
            } else {
                format!("<c r=\"{place}\" t=\"inlineStr\"><is><t>{text}</t></is></c>")
            }
        };
        rows.iter()
            .enumerate()
            .map(|(n, row)| {
                let cells: String = row.iter().enumerate().map(|(c, text)| cell(c, n, text)).collect();
                format!("<row r=\"{}\">{cells}</row>", n + 1)
            })
            .collect()
    }

    const NONE: &str = "<sst></sst>";

    #[test]
    fn the_sheet_that_is_a_log_is_found_or_named() {
        let folder = tempfile::tempdir().unwrap();
        let log = || {
            rows(&[&["Time (s)", "Voltage (V)", "Current (A)"], &["0", "13.3", "0"], &["1.5", "13.2", "5"]])
        };
        let open = |path: &std::path::Path, sheet: Option<&str>| {
            let settings = ReadSettings { sheet: sheet.map(str::to_owned), ..ReadSettings::default() };
            LogReader::open(path, &settings)
                .map(|log| (log.layout().sheet.clone(), log.layout().slot(Meaning::Voltage)))
        };
        let about = ("About", rows(&[&["made for a test"]]));
        let path = workbook(folder.path(), &[about.clone(), ("Record", log())], NONE);
        let (sheet, voltage) = open(&path, None).unwrap();
        assert_eq!((sheet.as_deref(), voltage.is_some()), (Some("Record"), true));
        let path = workbook(folder.path(), &[("Record", log()), ("Record 2", log())], NONE);
        let several = open(&path, None).err().unwrap().to_string();
        assert!(several.contains("`sheet = \"Record\"`") && several.contains("Record 2"), "{several}");
        assert_eq!(open(&path, Some("record 2")).unwrap().0.as_deref(), Some("Record 2"));
        let wrong = open(&path, Some("Rekord")).err().unwrap().to_string();
        assert!(wrong.contains("\"Record\" and \"Record 2\""), "{wrong}");
        let path = workbook(folder.path(), &[about], NONE);
        assert!(open(&path, None).err().unwrap().to_string().contains("no sheet of the workbook is a log"));
    }

    /// None of these may fill the memory, panic or take long.
    #[test]
    fn hostile_workbooks_are_refused() {
        let folder = tempfile::tempdir().unwrap();
        let far = "<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>".to_owned();
        for (rows, strings) in [
            (String::new(), "<sst uniqueCount=\"99999999999999999\"></sst>".to_owned()),
            (String::new(), format!("<sst>{}</sst>", "<si/>".repeat(4 << 20))),
            (format!("<row><c><v>{}</v></c></row>", "1".repeat(2 << 20)), NONE.to_owned()),
            (far, NONE.to_owned()),
        ] {
            let path = workbook(folder.path(), &[("Record", rows)], &strings);
            let error = LogReader::open(&path, &ReadSettings::default()).err().unwrap().to_string();
            assert!(error.contains("workbook"), "{error}");
        }
        std::fs::write(folder.path().join("log.xlsx"), b"PK\x03\x04 and no more").unwrap();
        let error = LogReader::open(&folder.path().join("log.xlsx"), &ReadSettings::default()).err().unwrap();
        assert!(error.to_string().contains("export the sheet as CSV"), "{error}");
    }
}
