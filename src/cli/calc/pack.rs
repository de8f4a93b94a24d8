//! `calc pack`: series and parallel arithmetic.

use std::sync::Arc;

use uom::si::electric_potential::volt;

use super::arg::{self, Count, Worded};
use super::sheet::{Sheet, figure};
use super::{SHEET_CAUTION, Worked, help};
use crate::judge::rules::Book;
use crate::physics::cells::Chemistry;
use crate::physics::{Method, Refusal};
use crate::units::{Amount, Dimension, Quantity, Uncertain};

const METHOD: Method = Method {
    name: "series and parallel",
    formula: "U = ns · Ucell;  C = np · Ccell;  E = U · C;  C-rate = I / C",
    source: "Kirchhoff's laws for equal cells; usual voltages of a chemistry: common practice, no source",
    range: "equal cells; capacity is that of a discharge at 0.2 C to cut-off (IEC 61960, IEC 62620; from memory)",
};

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc pack --series 8 --chemistry LFP --cell-capacity \"150 Ah\" --current \"150 A\" --charge-voltage \"29.2 V\""
))]
pub(super) struct Pack {
    /// Cells, or groups of parallel cells, in series
    #[arg(long, value_name = "N")]
    series: Count,
    /// Cells in parallel
    #[arg(long, value_name = "N", default_value = "1")]
    parallel: Count,
    /// Capacity of one cell
    #[arg(long, value_name = "CAPACITY", value_parser = arg::of(Dimension::CHARGE))]
    cell_capacity: Quantity,
    /// Chemistry, for the usual voltages: LFP, NMC, NCA, LMO, LCO, LTO
    #[arg(long, value_name = "WORD", value_parser = arg::chemistry)]
    chemistry: Option<Worded<Chemistry>>,
    /// Nominal voltage of one cell, where it is known
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE),
          required_unless_present = "chemistry")]
    cell_voltage: Option<Quantity>,
    /// Continuous current of the pack, for the C-rate
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    current: Option<Quantity>,
    /// Charge voltage of the pack, to be divided among the cells
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE))]
    charge_voltage: Option<Quantity>,
    /// Cut-off voltage of the pack, to be divided among the cells
    #[arg(long, value_name = "VOLTAGE", value_parser = arg::of(Dimension::VOLTAGE))]
    cutoff_voltage: Option<Quantity>,
}

impl Pack {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let mut sheet =
            Sheet::new(book, "pack", "Pack: what series and parallel make of a cell", SHEET_CAUTION);
        let series = f64::from(self.series.0);
        sheet.put_word("in series", &self.series.0.to_string());
        sheet.put_word("in parallel", &self.parallel.0.to_string());
        if let Some(chemistry) = self.chemistry {
            sheet.put_word("chemistry", chemistry.word);
        }
        let usual = self.chemistry.map(|chemistry| chemistry.is.voltages());
        let cell = match (&self.cell_voltage, usual) {
            (Some(voltage), _) => sheet.put("cell voltage", voltage),
            (None, Some(usual)) => {
                let why = "usual nominal voltage of the chemistry (common practice, no source)";
                sheet.take("cell voltage", usual.nominal.get::<volt>(), Dimension::VOLTAGE, why)
            }
            // clap asks for one of the two.
            (None, None) => {
                return Err(Refusal::NoResult("--cell-voltage or --chemistry is needed".to_owned()));
            }
        };
        let capacity = sheet.put("cell capacity", &self.cell_capacity);
        if capacity.value() <= 0.0 || cell.value() <= 0.0 {
            return Err(Refusal::NoResult("voltage and capacity of a cell must be above zero".to_owned()));
        }
        sheet.method(&METHOD);
        self.totals(&mut sheet, &cell, &capacity);
        if let Some(usual) = usual {
            for (name, limit) in [("charge voltage", usual.charge), ("cut-off voltage", usual.discharge)] {
                sheet.step(
                    &format!("usual {name}"),
                    "U = ns · Ucell",
                    format!("{series} × {}", Amount::exact(limit.get::<volt>(), Dimension::VOLTAGE).show()),
                    Uncertain::exact(series * limit.get::<volt>()),
                    Dimension::VOLTAGE,
                );
            }
        }
        let limits = usual.map(|usual| (usual.charge.get::<volt>(), usual.discharge.get::<volt>()));
        self.per_cell(&mut sheet, series, limits);
        Ok(sheet)
    }

    fn totals(&self, sheet: &mut Sheet, cell: &Amount, capacity: &Amount) {
        let (series, parallel) = (f64::from(self.series.0), f64::from(self.parallel.0));
        let cells = self.series.0 * self.parallel.0;
        let voltage = sheet.step(
            "nominal voltage",
            "U = ns · Ucell",
            format!("{series} × {}", figure(cell)),
            cell.number.scaled(series),
            Dimension::VOLTAGE,
        );
        let total = sheet.step(
            "capacity",
            "C = np · Ccell",
            format!("{parallel} × {}", figure(capacity)),
            capacity.number.scaled(parallel),
            Dimension::CHARGE,
        );
        sheet.step(
            "energy",
            "E = U · C",
            format!("{} × {}", figure(&voltage), figure(&total)),
            voltage.number.times(&total.number),
            Dimension::ENERGY,
        );
        sheet.step(
            "number of cells",
            "n = ns · np",
            format!("{series} × {parallel}"),
            Uncertain::exact(f64::from(cells)),
            Dimension::NONE,
        );
        if let Some(current) = &self.current {
            let current = sheet.put("current", current);
            let rate = sheet.step(
                "C-rate",
                "I / C",
                format!("{} / {}", figure(&current), figure(&total)),
                current.number.over(&total.number),
                Dimension::RATE,
            );
            if rate.value() > 0.0 {
                sheet.step(
                    "time to empty",
                    "t = C / I",
                    format!("{} / {}", figure(&total), figure(&current)),
                    total.number.over(&current.number),
                    Dimension::TIME,
                );
                sheet.note("at a high C-rate less than the whole capacity comes out");
            }
            sheet.step(
                "current of a cell",
                "I / np",
                format!("{} / {parallel}", figure(&current)),
                current.number.scaled(1.0 / parallel),
                Dimension::CURRENT,
            );
        }
    }

    /// Charge and cut-off voltage of the pack, divided among the cells and held against the chemistry.
    fn per_cell(&self, sheet: &mut Sheet, series: f64, limits: Option<(f64, f64)>) {
        let basis =
            "usual limit of the chemistry (common practice, no source); the cell's data sheet comes first";
        if let Some(charge) = &self.charge_voltage {
            let charge = sheet.put("charge voltage", charge);
            let each = divided(sheet, "charge voltage of a cell", &charge, series);
            if let Some((limit, _)) = limits {
                let limit = Amount::exact(limit, Dimension::VOLTAGE);
                sheet.at_least(
                    "the charge voltage is no higher than the chemistry's limit",
                    &limit,
                    &each,
                    basis,
                );
            }
        }
        if let Some(cutoff) = &self.cutoff_voltage {
            let cutoff = sheet.put("cut-off voltage", cutoff);
            let each = divided(sheet, "cut-off voltage of a cell", &cutoff, series);
            if let Some((_, limit)) = limits {
                let limit = Amount::exact(limit, Dimension::VOLTAGE);
                sheet.at_least(
                    "the cut-off voltage is no lower than the chemistry's limit",
                    &each,
                    &limit,
                    basis,
                );
            }
        }
        if self.charge_voltage.is_some() || self.cutoff_voltage.is_some() {
            sheet.assume("the cells share the pack's voltage equally; cells out of balance do not");
        }
    }
}

fn divided(sheet: &mut Sheet, name: &str, whole: &Amount, series: f64) -> Amount {
    sheet.step(
        name,
        "Ucell = U / ns",
        format!("{} / {series}", figure(whole)),
        whole.number.scaled(1.0 / series),
        Dimension::VOLTAGE,
    )
}
