//! `calc cable`: ampacity, and drop and heat at a current.

use std::sync::Arc;

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{Area, ElectricCurrent, Length, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::thermodynamic_temperature::kelvin;
use uom::si::time::second;

use super::arg::{self, Count};
use super::sheet::{Sheet, figure, through};
use super::{SHEET_CAUTION, Worked, help};
use crate::judge::rules::Book;
use crate::physics::material::Material;
use crate::physics::{Refusal, adiabatic, cable, resistance};
use crate::units::{Amount, Dimension, Quantity};

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc cable \"35 mm2\" --insulation \"105 degC\" --ambient \"40 degC\" --current \"150 A\" --length \"0.6 m\""
))]
pub(super) struct Cable {
    /// Wire size of one cable, such as "35 mm2" or "2/0 AWG"
    #[arg(value_name = "SIZE", value_parser = arg::of(Dimension::AREA))]
    size: Quantity,
    /// Temperature class printed on the insulation, such as "105 degC"
    #[arg(long, value_name = "TEMPERATURE", value_parser = arg::of(Dimension::TEMPERATURE))]
    insulation: Quantity,
    /// Temperature of the air around the cable, inside the closed pack
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true,
          value_parser = arg::of(Dimension::TEMPERATURE))]
    ambient: Option<Quantity>,
    /// Equal cables in parallel
    #[arg(long, value_name = "N", default_value = "1")]
    parallel: Count,
    /// Current-carrying cables that lie together, these included; without it, those in parallel
    #[arg(long, value_name = "N")]
    bundled: Option<Count>,
    /// Continuous current, to be held against what the cable carries
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    current: Option<Quantity>,
    /// Length of one cable, for drop and heat at --current
    #[arg(long, value_name = "LENGTH", value_parser = arg::of(Dimension::LENGTH), requires = "current")]
    length: Option<Quantity>,
    /// Short-circuit current, for the time the copper withstands it
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    fault: Option<Quantity>,
}

impl Cable {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let mut sheet = Sheet::new(book, "cable", "Cable: what it carries", SHEET_CAUTION);
        let size = sheet.put("size", &self.size);
        let insulation = sheet.put("insulation", &self.insulation);
        let ambient = sheet.put_or_limit("ambient", self.ambient.as_ref(), "inner_ambient")?;
        let parallel = self.parallel.0;
        sheet.put_word("in parallel", &parallel.to_string());
        let bundled = self.bundled.map_or(parallel, |count| count.0);
        if self.bundled.is_some() {
            sheet.put_word("bundled", &bundled.to_string());
        } else if parallel > 1 {
            sheet.assume(format!("the {parallel} cables in parallel lie together and no others with them"));
        } else {
            sheet.assume("the cable lies alone");
        }
        sheet.assume("copper conductor");
        sheet.method(&cable::METHOD);
        let found = through(&[&size, &insulation, &ambient], |values| {
            let [size, insulation, ambient] = *values else {
                return Err(Refusal::NoResult("three values are needed".to_owned()));
            };
            cable::ampacity(
                Area::new::<square_meter>(size),
                ThermodynamicTemperature::new::<kelvin>(insulation),
                ThermodynamicTemperature::new::<kelvin>(ambient),
                parallel,
                bundled,
            )
            .map(|current| current.get::<ampere>())
        })?;
        let ampacity = sheet.step(
            "ampacity",
            "I = I(size) · ((Ti − Ta) / (105 °C − 30 °C))^0.524 · bundling · in parallel",
            format!(
                "{}, insulation {}, air {}, bundling factor {}, {parallel} in parallel",
                size.show(),
                insulation.show(),
                ambient.show(),
                cable::bundling(bundled)?
            ),
            found,
            Dimension::CURRENT,
        );
        let current = self.current.as_ref().map(|current| sheet.put("current", current));
        if let Some(current) = &current {
            load(&mut sheet, current, &ampacity, &insulation, &ambient);
            if let Some(length) = &self.length {
                let length = sheet.put("length", length);
                self.drop(&mut sheet, &size, &length, current, &insulation)?;
            }
        }
        if let Some(fault) = &self.fault {
            let fault = sheet.put("short-circuit current", fault);
            self.withstand(&mut sheet, &size, &fault)?;
        }
        sheet.note("a fuse protects the cable only if its rating is no more than this ampacity");
        Ok(sheet)
    }

    /// Resistance at the insulation's temperature class, the highest the copper may have in use.
    fn drop(
        &self,
        sheet: &mut Sheet,
        size: &Amount,
        length: &Amount,
        current: &Amount,
        insulation: &Amount,
    ) -> Result<(), Refusal> {
        let parallel = f64::from(self.parallel.0);
        let found = through(&[length, size, insulation], |values| {
            let [length, size, insulation] = *values else {
                return Err(Refusal::NoResult("three values are needed".to_owned()));
            };
            resistance::of_conductor(
                Material::Copper,
                Length::new::<meter>(length),
                Area::new::<square_meter>(size * parallel),
                ThermodynamicTemperature::new::<kelvin>(insulation),
            )
            .map(|r| r.get::<ohm>())
        })?;
        sheet.method(&resistance::METHOD);
        sheet
            .assume("resistance at the insulation's temperature class, the warmest the copper may be in use");
        let found = sheet.step(
            "resistance",
            "R = ρ20 · (1 + α · (T − 20 °C)) · L / (A · in parallel)",
            format!("{} long, {}, T = {}", length.show(), size.show(), insulation.show()),
            found,
            Dimension::RESISTANCE,
        );
        sheet.step(
            "drop",
            "U = I · R",
            format!("{} × {}", figure(current), figure(&found)),
            current.number.times(&found.number),
            Dimension::VOLTAGE,
        );
        sheet.step(
            "heat",
            "P = I² · R",
            format!("({})² × {}", current.show(), figure(&found)),
            current.number.times(&current.number).times(&found.number),
            Dimension::POWER,
        );
        Ok(())
    }

    fn withstand(&self, sheet: &mut Sheet, size: &Amount, fault: &Amount) -> Result<(), Refusal> {
        let parallel = f64::from(self.parallel.0);
        let time = through(&[size, fault], |values| {
            let [size, fault] = *values else {
                return Err(Refusal::NoResult("two values are needed".to_owned()));
            };
            adiabatic::withstand(
                Material::Copper,
                Area::new::<square_meter>(size * parallel),
                ElectricCurrent::new::<ampere>(fault),
            )
            .map(|time| time.get::<second>())
        })?;
        sheet.method(&adiabatic::METHOD);
        sheet.assume("PVC insulation for the short-circuit withstand");
        let k = adiabatic::k(Material::Copper);
        let time = sheet.step(
            "short-circuit withstand",
            "t = (k · S / I)²",
            format!("k = {k} A·s^½/mm², S = {} × {parallel}, I = {}", figure(size), figure(fault)),
            time,
            Dimension::TIME,
        );
        if time.value() > 5.0 {
            sheet.note(
                "the withstand time is over 5 s, outside the range of the method: heat leaves meanwhile",
            );
        }
        Ok(())
    }
}

/// Share of the ampacity, and the conductor temperature it leads to.
fn load(sheet: &mut Sheet, current: &Amount, ampacity: &Amount, insulation: &Amount, ambient: &Amount) {
    let share = current.number.over(&ampacity.number);
    let margin = insulation.number.minus(&ambient.number);
    let rise = sheet.step(
        "temperature rise",
        "rise = (I / ampacity)² · (Ti − Ta)",
        format!(
            "({} / {})² × ({} − {})",
            figure(current),
            figure(ampacity),
            figure(insulation),
            figure(ambient)
        ),
        share.power(2).times(&margin),
        Dimension::TEMPERATURE_DIFFERENCE,
    );
    sheet.step(
        "conductor temperature",
        "T = Ta + rise",
        format!("{} + {}", figure(ambient), figure(&rise)),
        ambient.number.plus(&rise.number),
        Dimension::TEMPERATURE,
    );
    sheet.assume("for the rise: a film coefficient that does not change with temperature");
    sheet.at_least("the cable carries the current", ampacity, current, cable::METHOD.source);
}
