//! `calc`: the physics without a record, for use at the bench.
//!
//! Each calculation prints what went in, the formula, the numbers, the result with its uncertainty, the source,
//! the range in which it holds and what was assumed. Nothing is read or written but the arguments and the sheet.

pub(super) mod arg;
mod busbar;
mod cable;
mod fuse;
mod heat_path;
mod joint;
mod pack;
mod sheet;
mod short_circuit;

use std::io::Write;
use std::path::PathBuf;

use clap::Subcommand;

pub(super) use self::sheet::Sheet;
use super::{CAUTION, Done, Failure, Format, house};
use crate::judge::inspection;
use crate::physics::Refusal;
use crate::units::terminal;

/// Closes every sheet.
const SHEET_CAUTION: &str = "a calculation is no inspection and never says that a part or a pack is safe. What the \
maker prints and what local codes and licensed practice ask for come first.";

#[derive(Debug, clap::Args)]
#[command(after_help = CAUTION)]
pub(super) struct Calc {
    #[command(subcommand)]
    what: What,
    /// How to print
    #[arg(long, value_enum, default_value = "text", global = true)]
    format: Format,
    /// A file or folder of house rules whose limits are used in place of the built-in ones; may be given several times
    #[arg(long, value_name = "FILE", global = true)]
    rules: Vec<PathBuf>,
}

#[derive(Debug, Subcommand)]
enum What {
    /// What a flat bar carries for a temperature rise, or how warm it gets at a current
    Busbar(busbar::Busbar),
    /// What a copper cable carries, and its drop and heat at a current
    Cable(cable::Cable),
    /// What a fuse responds to, the smallest rating for a load, what its standard fixes
    Fuse(fuse::Fuse),
    /// What flows if the terminals are bridged and nothing opens
    ShortCircuit(short_circuit::ShortCircuit),
    /// How warm the switching devices get through the layers of their heat path
    HeatPath(heat_path::HeatPath),
    /// What a millivolt reading over a joint says, and what an overlap and a bolt are good for
    Joint(joint::Joint),
    /// What series and parallel make of a cell: voltage, capacity, energy, C-rate
    Pack(pack::Pack),
}

impl Calc {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        // There is no inspection whose folder could hold rules of its own.
        let book = inspection::book(None, &house(&self.rules)?)?;
        let sheet = match &self.what {
            What::Busbar(busbar) => busbar.sheet(&book),
            What::Cable(cable) => cable.sheet(&book),
            What::Fuse(fuse) => fuse.sheet(&book),
            What::ShortCircuit(circuit) => circuit.sheet(&book),
            What::HeatPath(path) => path.sheet(&book),
            What::Joint(joint) => joint.sheet(&book),
            What::Pack(pack) => pack.sheet(&book),
        };
        let sheet = sheet.and_then(Sheet::checked).map_err(|refusal| Failure::Words(refusal.to_string()))?;
        let mut out = terminal::out();
        match self.format {
            Format::Text => out.write_all(sheet.text().as_bytes())?,
            Format::Json => {
                let json = serde_json::to_string_pretty(&sheet).map_err(|e| Failure::Words(e.to_string()))?;
                writeln!(out, "{json}")?;
            }
        }
        Ok(Done::Well)
    }
}

type Worked = Result<Sheet, Refusal>;

/// The end of a calculation's help: an example, then the caution.
fn help(example: &str) -> String {
    format!(
        "Example:\n  {example}\n\nQuantities are written as in a record, with a unit and perhaps an uncertainty: \"25 x 3 mm\", \
         \"40 degC\", \"250 A ± 2 %\".\n\n{CAUTION}"
    )
}
