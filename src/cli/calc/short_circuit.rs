//! `calc short-circuit`: the prospective current of a pack.

use std::sync::Arc;

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{Area, ElectricCurrent, ElectricPotential, ElectricalResistance};
use uom::si::time::second;

use super::arg::{self, Count, Worded};
use super::sheet::{Sheet, figure, through};
use super::{Worked, help};
use crate::judge::rules::Book;
use crate::physics::cells::Chemistry;
use crate::physics::material::Material;
use crate::physics::{Refusal, adiabatic, short_circuit};
use crate::units::{Amount, Dimension, Quantity};

const CAUTION: &str = "never try this out: a bridged pack feeds thousands of amperes into whatever bridges it. The \
figure leaves out inductance and what the cells do when they get hot. It chooses a fuse; it never says that a pack is \
safe. Local codes and licensed practice come first.";

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc short-circuit --chemistry LFP --cell-resistance \"0.25 mΩ ± 0.05 mΩ\" --series 8 --path \"1.2 mΩ\""
))]
pub(super) struct ShortCircuit {
    /// Resistance of one cell; the DC value gives a lower, the 1 kHz value a higher current
    #[arg(long, value_name = "RESISTANCE", value_parser = arg::of(Dimension::RESISTANCE))]
    cell_resistance: Quantity,
    /// Cells, or groups of parallel cells, in series
    #[arg(long, value_name = "N")]
    series: Count,
    /// Cells in parallel
    #[arg(long, value_name = "N", default_value = "1")]
    parallel: Count,
    /// Voltage of one cell at rest and fully charged
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE),
          required_unless_present = "chemistry")]
    cell_voltage: Option<Quantity>,
    /// Chemistry, for the usual voltage: LFP, NMC, NCA, LMO, LCO, LTO
    #[arg(long, value_name = "WORD", value_parser = arg::chemistry)]
    chemistry: Option<Worded<Chemistry>>,
    /// Resistance of everything else in the loop: bars, joints, BMS, fuse, cable
    #[arg(long, value_name = "RESISTANCE", value_parser = arg::of(Dimension::RESISTANCE))]
    path: Option<Quantity>,
    /// Cross-section of the thinnest copper conductor, for the time it withstands the current
    #[arg(long, value_name = "SIZE", value_parser = arg::of(Dimension::AREA))]
    conductor: Option<Quantity>,
}

impl ShortCircuit {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let mut sheet = Sheet::new(book, "short-circuit", "Prospective short-circuit current", CAUTION);
        let (series, parallel) = (f64::from(self.series.0), f64::from(self.parallel.0));
        sheet.put_word("in series", &self.series.0.to_string());
        sheet.put_word("in parallel", &self.parallel.0.to_string());
        let cell = sheet.put("cell resistance", &self.cell_resistance);
        let voltage = match (&self.cell_voltage, self.chemistry) {
            (Some(voltage), _) => sheet.put("cell voltage", voltage),
            (None, Some(chemistry)) => {
                sheet.put_word("chemistry", chemistry.word);
                let rest = chemistry.is.voltages().rest_full.get::<volt>();
                let why = "usual voltage of a cell at rest and fully charged (common practice, no source)";
                sheet.take("cell voltage", rest, Dimension::VOLTAGE, why)
            }
            // clap asks for one of the two.
            (None, None) => {
                return Err(Refusal::NoResult("--cell-voltage or --chemistry is needed".to_owned()));
            }
        };
        let path = match &self.path {
            Some(path) => sheet.put("path resistance", path),
            None => {
                let why = "not given; what the pack can drive at most";
                sheet.take("path resistance", 0.0, Dimension::RESISTANCE, why)
            }
        };
        sheet.method(&short_circuit::METHOD);
        let loop_resistance = cell.number.scaled(series / parallel).plus(&path.number);
        let loop_resistance = sheet.step(
            "resistance of the loop",
            "R = ns · Rc / np + Rp",
            format!("{series} × {} / {parallel} + {}", figure(&cell), figure(&path)),
            loop_resistance,
            Dimension::RESISTANCE,
        );
        let found = through(&[&voltage, &cell, &path], |values| {
            let [voltage, cell, path] = *values else {
                return Err(Refusal::NoResult("three values are needed".to_owned()));
            };
            short_circuit::prospective(
                ElectricPotential::new::<volt>(voltage),
                ElectricalResistance::new::<ohm>(cell),
                series,
                parallel,
                ElectricalResistance::new::<ohm>(path),
            )
            .map(|current| current.get::<ampere>())
        })?;
        let current = sheet.step(
            "prospective short-circuit current",
            "I = ns · U / R",
            format!("{series} × {} / {}", figure(&voltage), figure(&loop_resistance)),
            found,
            Dimension::CURRENT,
        );
        if self.parallel.0 > 1 {
            sheet.step(
                "through each cell",
                "I / np",
                format!("{} / {parallel}", figure(&current)),
                current.number.scaled(1.0 / parallel),
                Dimension::CURRENT,
            );
        }
        if let Some(conductor) = &self.conductor {
            let conductor = sheet.put("conductor", conductor);
            withstand(&mut sheet, &conductor, &current)?;
        }
        sheet.note("the fuse's DC interrupting rating must be no less than this current, at the pack's highest voltage");
        Ok(sheet)
    }
}

fn withstand(sheet: &mut Sheet, conductor: &Amount, current: &Amount) -> Result<(), Refusal> {
    let time = through(&[conductor, current], |values| {
        let [area, current] = *values else {
            return Err(Refusal::NoResult("two values are needed".to_owned()));
        };
        adiabatic::withstand(
            Material::Copper,
            Area::new::<square_meter>(area),
            ElectricCurrent::new::<ampere>(current),
        )
        .map(|time| time.get::<second>())
    })?;
    sheet.method(&adiabatic::METHOD);
    sheet.assume("copper conductor in PVC");
    let time = sheet.step(
        "conductor withstands it for",
        "t = (k · S / I)²",
        format!(
            "({} A·s^½/mm² × {} / {})²",
            adiabatic::k(Material::Copper),
            figure(conductor),
            figure(current)
        ),
        time,
        Dimension::TIME,
    );
    if time.value() > 5.0 {
        sheet.note("the withstand time is over 5 s, outside the range of the method: heat leaves meanwhile");
    }
    Ok(())
}
