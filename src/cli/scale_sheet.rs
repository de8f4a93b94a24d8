//! `scale-sheet`: a sheet to print that gives a photo its scale.

use std::io::Write;
use std::path::PathBuf;

use clap::ValueEnum;

use super::{Done, Failure};
use crate::evidence::scale::sheet::Kind;
use crate::record::save;
use crate::render::scale_sheet::{page, svg};
use crate::units::terminal;

#[derive(Debug, clap::Args)]
#[command(after_help = "\
Print at 100 %, not \"fit to page\". Then measure the two rulers of the print from end to end with a steel rule and give what \
you read to `measure-photo --printed`: nothing is taken for granted of a printer.")]
pub(super) struct ScaleSheet {
    /// The file to write: a page to print (.html) or a drawing (.svg)
    file: PathBuf,
    /// Which sheet
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Paper {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 inches
    Letter,
    /// A strip of 160 × 19 mm for tight places
    Strip,
}

impl ScaleSheet {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        let kind = match self.paper {
            Paper::A4 => Kind::A4,
            Paper::Letter => Kind::Letter,
            Paper::Strip => Kind::Strip,
        };
        let ending = self.file.extension().and_then(|ending| ending.to_str()).unwrap_or_default();
        let text = match ending {
            "html" | "htm" => page(kind),
            "svg" => svg(kind),
            _ => {
                let file = self.file.display();
                return Err(Failure::Words(format!(
                    "{file}: a scale sheet is a page (.html) or a drawing (.svg); write for example scale-sheet.html"
                )));
            }
        };
        save::write_new(&self.file, text)
            .map_err(|error| Failure::Words(format!("{}: {error}", self.file.display())))?;
        let mut out = terminal::out();
        writeln!(out, "{}: print it at 100 %, then measure its rulers:", self.file.display())?;
        for check in kind.sheet().checks {
            writeln!(out, "  {} {} mm", if check.down { "down  " } else { "across" }, check.length)?;
        }
        Ok(Done::Well)
    }
}
