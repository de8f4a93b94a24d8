//! `calc joint`: a millivolt reading, an overlap, a bolt.

use std::sync::Arc;

use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricPotential};
use uom::si::torque::newton_meter;

use super::arg::{self, Pair};
use super::sheet::{Sheet, figure, through};
use super::{SHEET_CAUTION, Worked, help};
use crate::judge::rules::Book;
use crate::physics::{Method, Refusal, joint};
use crate::units::{Amount, Dimension, Quantity};

/// Rules of thumb for an overlap, with the limits of the rule book.
const OVERLAP: Method = Method {
    name: "bolted overlap",
    formula: "J = I / (length · width);  length over thickness of the thinner bar",
    source: "common practice, no source; the limits are the rule book's",
    range: "flat, clean faces under even pressure",
};

/// The bolt table in words.
const BOLT: Method = Method {
    name: "usual tightening torque",
    formula: "by thread, from a table",
    source: "workshop tables after VDI 2230, property class 8.8, friction 0.14 (from memory)",
    range: "M4 to M12, steel into steel; the maker of the terminal or the cell comes first, and cell studs take far less",
};

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc joint --drop \"4.2 mV ± 0.1 mV\" --current \"100 A\" --rated \"150 A\" --overlap \"25 x 20 mm\" --thickness \"3 mm\" --bolt M8"
))]
pub(super) struct Joint {
    /// Voltage drop over the joint, measured with four wires
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE), requires = "current")]
    drop: Option<Quantity>,
    /// Current while the drop was measured
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT), requires = "drop")]
    current: Option<Quantity>,
    /// Continuous current the joint has to carry
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    rated: Option<Quantity>,
    /// Length along the current and width of the overlap, such as "25 x 20 mm"
    #[arg(long, value_name = "SIZE", value_parser = arg::pair)]
    overlap: Option<Pair>,
    /// Thickness of the thinner bar or lug
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH))]
    thickness: Option<Quantity>,
    /// Bolt thread, such as M8
    #[arg(long, value_name = "THREAD", value_parser = thread)]
    bolt: Option<String>,
}

fn thread(text: &str) -> Result<String, String> {
    if joint::usual_torque(text).is_some() {
        return Ok(text.trim().to_ascii_uppercase());
    }
    Err(arg::pointed(text, 0..text.len(), "a metric thread from M4 to M12 is needed", "M8"))
}

impl Joint {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let mut sheet = Sheet::new(book, "joint", "Joint: reading, overlap, bolt", SHEET_CAUTION);
        let rated = self.rated.as_ref().map(|rated| sheet.put("continuous current", rated));
        let nothing = self.drop.is_none() && self.overlap.is_none() && self.bolt.is_none();
        if nothing {
            let message = "give --drop with --current, --overlap or --bolt, for example: --drop \"4.2 mV\" --current \"100 A\"";
            return Err(Refusal::NoResult(message.to_owned()));
        }
        if let (Some(drop), Some(current)) = (&self.drop, &self.current) {
            let (drop, current) = (sheet.put("drop", drop), sheet.put("current", current));
            reading(&mut sheet, &drop, &current, rated.as_ref())?;
        }
        if let Some(overlap) = &self.overlap {
            sheet.put_word("overlap", &overlap.text);
            let length = sheet.put("overlap, length", &overlap.first);
            let width = sheet.put("overlap, width", &overlap.second);
            let thickness = self.thickness.as_ref().map(|t| sheet.put("thickness", t));
            contact(&mut sheet, &length, &width, thickness.as_ref(), rated.as_ref())?;
        }
        if let Some(bolt) = &self.bolt {
            sheet.put_word("bolt", bolt);
            if let Some(torque) = joint::usual_torque(bolt) {
                sheet.method(&BOLT);
                let torque = Amount::exact(torque.get::<newton_meter>(), Dimension::TORQUE);
                let class = format!("{bolt}, property class 8.8");
                sheet.step("usual torque", "by thread", class, torque.number, Dimension::TORQUE);
                sheet
                    .note("a cell's stud or threaded hole takes far less: use the cell maker's figure there");
            }
        }
        Ok(sheet)
    }
}

fn reading(
    sheet: &mut Sheet,
    drop: &Amount,
    current: &Amount,
    rated: Option<&Amount>,
) -> Result<(), Refusal> {
    sheet.method(&joint::METHOD);
    let found = through(&[drop, current], |values| {
        let [drop, current] = *values else {
            return Err(Refusal::NoResult("two values are needed".to_owned()));
        };
        joint::resistance(ElectricPotential::new::<volt>(drop), ElectricCurrent::new::<ampere>(current))
            .map(|r| r.get::<ohm>())
    })?;
    let found = sheet.step(
        "resistance",
        "R = U / I",
        format!("{} / {}", figure(drop), figure(current)),
        found,
        Dimension::RESISTANCE,
    );
    sheet.step(
        "heat at the reading",
        "P = U · I",
        format!("{} × {}", figure(drop), figure(current)),
        drop.number.times(&current.number),
        Dimension::POWER,
    );
    if let Some(rated) = rated {
        let full = sheet.step(
            "drop at the continuous current",
            "U = I · R",
            format!("{} × {}", figure(rated), figure(&found)),
            rated.number.times(&found.number),
            Dimension::VOLTAGE,
        );
        sheet.step(
            "heat at the continuous current",
            "P = I² · R",
            format!("({})² × {}", rated.show(), figure(&found)),
            rated.number.times(&rated.number).times(&found.number),
            Dimension::POWER,
        );
        let limit = sheet.limit("allowed drop", "joint_drop")?;
        sheet.at_least(
            "the drop is small enough",
            &limit,
            &full,
            "limit.joint_drop: common practice, no source",
        );
    }
    sheet
        .note("keep the test leads off the current leads: a clip that carries the current adds its own drop");
    Ok(())
}

fn contact(
    sheet: &mut Sheet,
    length: &Amount,
    width: &Amount,
    thickness: Option<&Amount>,
    rated: Option<&Amount>,
) -> Result<(), Refusal> {
    sheet.method(&OVERLAP);
    let area = sheet.step(
        "overlap area",
        "A = length · width",
        format!("{} × {}", figure(length), figure(width)),
        length.number.times(&width.number),
        Dimension::AREA,
    );
    let density = sheet.limit("allowed contact density", "contact_density")?;
    let carries = sheet.step(
        "current by the contact density",
        "I = J · A",
        format!("{} × {}", figure(&density), figure(&area)),
        density.number.times(&area.number),
        Dimension::CURRENT,
    );
    if let Some(rated) = rated {
        sheet.step(
            "contact density",
            "J = I / A",
            format!("{} / {}", figure(rated), figure(&area)),
            rated.number.over(&area.number),
            Dimension::CURRENT_DENSITY,
        );
        let basis = "limit.contact_density: common practice, no source";
        sheet.at_least("the overlap carries the current", &carries, rated, basis);
    }
    if let Some(thickness) = thickness {
        if thickness.value() <= 0.0 {
            return Err(Refusal::NoResult("the thickness must be above zero".to_owned()));
        }
        let ratio = sheet.step(
            "overlap over thickness",
            "length / thickness",
            format!("{} / {}", figure(length), figure(thickness)),
            length.number.over(&thickness.number),
            Dimension::NONE,
        );
        let limit = sheet.limit("least overlap ratio", "overlap_ratio")?;
        sheet.at_least(
            "the overlap is long enough",
            &ratio,
            &limit,
            "limit.overlap_ratio: common practice, no source",
        );
    }
    Ok(())
}
