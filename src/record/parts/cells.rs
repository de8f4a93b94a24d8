//! The cells and how they are connected.

use crate::record::field::{
    Charge, Count, Current, Day, Length, Mass, Rate, Resistance, Size, Temperature, Text, Voltage, YesNo,
};
use crate::record::part::part;
use crate::record::words;

words! {
    /// The cell's format.
    pub enum CellFormat {
        /// hard rectangular case
        Prismatic = "prismatic",
        /// hard round case
        Cylindrical = "cylindrical",
        /// soft foil pouch
        Pouch = "pouch",
    }

    /// The cell's chemistry.
    pub enum Chemistry {
        /// lithium iron phosphate (LiFePO4)
        Lfp = "LFP",
        /// lithium nickel manganese cobalt oxide
        Nmc = "NMC",
        /// lithium nickel cobalt aluminium oxide
        Nca = "NCA",
        /// lithium manganese oxide
        Lmo = "LMO",
        /// lithium cobalt oxide
        Lco = "LCO",
        /// lithium titanate
        Lto = "LTO",
    }

    /// What holds the stack together.
    pub enum Compression {
        /// end plates with rods or bands hold the stack
        Plates = "plates",
        /// the case walls press on the stack
        Case = "case",
        /// tape or shrink wrap only
        Tape = "tape",
        /// foam pads fill the gap to the case
        Foam = "foam",
    }
}

part! {
    /// The cells and how they are connected.
    pub struct Cells {
        /// The cell's format.
        format: CellFormat = "prismatic",
        /// The cell's chemistry.
        chemistry: Chemistry = "LFP",
        /// Cells in series.
        series: Count = "8",
        /// Cells in parallel in each group.
        parallel: Count = "1",
        /// What is printed on the cells.
        marking: Text = "3.2 V 150 Ah",
        /// Who made the cells, as far as the marking says.
        maker: Text = "not named",
        /// Capacity of one cell.
        capacity: Charge = "150 Ah",
        /// Nominal voltage of one cell.
        nominal_voltage: Voltage = "3.2 V",
        /// Highest charge voltage of one cell, from its data sheet.
        charge_voltage_limit: Voltage = "3.65 V",
        /// Lowest discharge voltage of one cell, from its data sheet.
        discharge_voltage_limit: Voltage = "2.5 V",
        /// Internal resistance of one cell as a meter shows it, most often at 1 kHz.
        resistance: Resistance = "0.25 mΩ",
        /// Direct-current resistance of one cell, from a load step of a second or more.
        direct_resistance: Resistance = "0.45 mΩ",
        /// Continuous discharge limit of one cell as a C-rate.
        discharge_rate_limit: Rate = "1 C",
        /// Continuous discharge limit of one cell as a current.
        discharge_current_limit: Current = "150 A",
        /// Continuous charge limit of one cell as a C-rate.
        charge_rate_limit: Rate = "0.5 C",
        /// Continuous charge limit of one cell between 0 °C and 10 °C as a C-rate, from its data sheet.
        cold_charge_rate_limit: Rate = "0.1 C",
        /// Mass of one cell.
        mass: Mass = "2.85 kg",
        /// Size of one cell.
        size: Size = "174 x 48 x 207 mm",
        /// Whether the cells' codes can be read on all cells.
        codes_legible: YesNo = "yes",
        /// Whether the codes show one lot.
        one_lot: YesNo = "yes",
        /// Earliest date of manufacture among the cells.
        earliest_date: Day = "2025-11-03",
        /// Latest date of manufacture among the cells.
        latest_date: Day = "2025-11-05",
        /// Marks that grade, reject or re-label a cell: scratched codes, second stickers.
        grade_marks: YesNo = "absent",
        /// What holds the stack together.
        compression: Compression = "plates",
        /// Room left for the cells to swell, over the whole stack.
        swelling_allowance: Length = "4 mm",
        /// Whether there is an insulating sheet between neighbouring cells.
        insulation_between: YesNo = "yes",
        /// Whether the vents are free to open.
        vents_free: YesNo = "yes",
        /// Free distance above the vents.
        vent_clearance: Length = "8 mm",
        /// Visible damage: dents, swelling, leaks, corrosion.
        damage: YesNo = "absent",
        ; many {
            /// A reading on one cell or parallel group.
            reading: CellReading,
        }
    }
    finish(self, _table, reader) {
        if let (Some(first), Some(last)) = (self.earliest_date.date(), self.latest_date.date())
            && last < first
        {
            let span = self.latest_date.found().span.clone();
            reader.problem(
                span,
                format!("`latest_date` {last} is before `earliest_date` {first}"),
                "expected the later of the two dates",
                "latest_date = \"2025-11-05\"",
            );
        }
    }
}

part! {
    /// A reading on one cell or parallel group.
    pub struct CellReading {
        /// Which cell, counted from the pack's negative end.
        position: Count = "1",
        /// Its voltage.
        voltage: Voltage = "3.301 V",
        /// Its internal resistance.
        resistance: Resistance = "0.41 mΩ",
        /// Its capacity.
        capacity: Charge = "151 Ah",
        /// Its temperature.
        temperature: Temperature = "24 degC",
        /// The code printed on it.
        code: Text = "0MBCB1A0000000B350000001",
    }
}
