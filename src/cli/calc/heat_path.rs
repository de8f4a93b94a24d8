//! `calc heat-path`: layers, and the temperature of the switching devices behind them.

use std::sync::Arc;

use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricalResistance};
use uom::si::power::watt;

use super::arg::{self, Count, Layer, LayerKind};
use super::sheet::{Sheet, figure, through};
use super::{SHEET_CAUTION, Worked, help};
use crate::judge::rules::Book;
use crate::physics::heat_path::{self, Devices};
use crate::physics::{Refusal, ZERO_CELSIUS};
use crate::units::{Amount, Dimension, Quantity, Uncertain};

#[derive(Debug, clap::Args)]
#[command(after_help = help(
    "underlid calc heat-path --layer \"pad: 1.5 mm, 40 cm2, 3 W/(m·K)\" --layer \"heat sink: 1.8 K/W\" \
     --current \"150 A\" --devices 10 --on-resistance \"1.2 mΩ\" --ambient \"25 degC\""
))]
pub(super) struct HeatPath {
    /// A layer from the devices outwards, once for each: "1.5 mm, 40 cm2, 3 W/(m·K)" or "0.5 K/W", perhaps with a name and a colon in front
    #[arg(long = "layer", value_name = "LAYER", value_parser = arg::layer, required = true)]
    layers: Vec<Layer>,
    /// Heat that goes through the layers, where it is known
    #[arg(long, value_name = "POWER", value_parser = arg::of(Dimension::POWER), conflicts_with = "current")]
    power: Option<Quantity>,
    /// Current through all devices together
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT), requires = "on_resistance")]
    current: Option<Quantity>,
    /// Devices in parallel that share the current and the heat path
    #[arg(long, value_name = "N", default_value = "1")]
    devices: Count,
    /// On-resistance of one device at 25 °C, from its data sheet
    #[arg(long, value_name = "RESISTANCE", value_parser = arg::of(Dimension::RESISTANCE), requires = "current")]
    on_resistance: Option<Quantity>,
    /// On-resistance at the highest junction temperature over that at 25 °C, from the data sheet
    #[arg(long, value_name = "NUMBER", value_parser = arg::of(Dimension::NONE))]
    factor: Option<Quantity>,
    /// Highest junction temperature of the data sheet
    #[arg(long, value_name = "TEMPERATURE", value_parser = arg::of(Dimension::TEMPERATURE))]
    junction_limit: Option<Quantity>,
    /// Thermal resistance from junction to case of one device, from the data sheet
    #[arg(long, value_name = "RESISTANCE", value_parser = arg::of(Dimension::THERMAL_RESISTANCE))]
    junction_to_case: Option<Quantity>,
    /// Temperature where the last layer ends
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true,
          value_parser = arg::of(Dimension::TEMPERATURE))]
    ambient: Option<Quantity>,
}

impl HeatPath {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let mut sheet = Sheet::new(book, "heat-path", "Heat path of the switching devices", SHEET_CAUTION);
        sheet.method(&heat_path::METHOD);
        let mut sum = Uncertain::exact(0.0);
        let mut parts = Vec::new();
        for (index, layer) in self.layers.iter().enumerate() {
            let found = layer_resistance(&mut sheet, layer, index + 1)?;
            sum = sum.plus(&found.number);
            parts.push(found.show());
        }
        let sum = sheet.step(
            "thermal resistance of the path",
            "ΣRth",
            parts.join(" + "),
            sum,
            Dimension::THERMAL_RESISTANCE,
        );
        if let Some(power) = &self.power {
            let power = sheet.put("heat", power);
            let ambient = sheet.put_or_limit("ambient", self.ambient.as_ref(), "outer_ambient")?;
            surface(&mut sheet, &power, &sum, &ambient);
        } else if let (Some(current), Some(on)) = (&self.current, &self.on_resistance) {
            self.devices(&mut sheet, current, on, &sum)?;
        } else {
            sheet.note("give --power, or --current with --devices and --on-resistance, for temperatures");
        }
        sheet.note(
            "what is not listed as a layer is not counted: spreading in a plate, the film of air outside",
        );
        Ok(sheet)
    }

    fn devices(
        &self,
        sheet: &mut Sheet,
        current: &Quantity,
        on: &Quantity,
        path: &Amount,
    ) -> Result<(), Refusal> {
        let number = f64::from(self.devices.0);
        let current = sheet.put("current", current);
        sheet.put_word("devices", &self.devices.0.to_string());
        let on = sheet.put("on-resistance", on);
        let factor =
            sheet.put_or_limit("rise of on-resistance", self.factor.as_ref(), "device_resistance_factor")?;
        let limit = match &self.junction_limit {
            Some(limit) => sheet.put("junction limit", limit),
            None => sheet.take(
                "junction limit",
                ZERO_CELSIUS + 150.0,
                Dimension::TEMPERATURE,
                "usual for switching devices (common practice, no source); read the data sheet",
            ),
        };
        let inner = match &self.junction_to_case {
            Some(inner) => sheet.put("junction to case", inner),
            None => {
                let why = "not given; the junction is warmer than worked out here";
                sheet.take("junction to case", 0.0, Dimension::THERMAL_RESISTANCE, why)
            }
        };
        let ambient = sheet.put_or_limit("ambient", self.ambient.as_ref(), "outer_ambient")?;
        let each = sheet.step(
            "current of a device",
            "I1 = I / n",
            format!("{} / {number}", figure(&current)),
            current.number.scaled(1.0 / number),
            Dimension::CURRENT,
        );
        sheet.assume("the devices share the current equally");
        let inputs = [&each, &on, &factor, &limit, &inner, &ambient, path];
        let solve = |values: &[f64]| {
            let [each, on, factor, limit, inner, ambient, path] = *values else {
                return Err(Refusal::NoResult("seven values are needed".to_owned()));
            };
            let devices = Devices {
                current: ElectricCurrent::new::<ampere>(each),
                resistance: ElectricalResistance::new::<ohm>(on),
                factor,
                limit_celsius: limit - ZERO_CELSIUS,
                number,
                junction_to_case: inner,
            };
            heat_path::junction(&devices, ambient - ZERO_CELSIUS, path)
        };
        let heat = through(&inputs, |values| solve(values).map(|(_, heat)| heat.get::<watt>()))?;
        let junction = through(&inputs, |values| solve(values).map(|(celsius, _)| celsius + ZERO_CELSIUS))?;
        let heat = sheet.step(
            "heat of all devices",
            "P = n · I1² · Ron(T), solved together with T",
            format!(
                "{number} × ({})² × {} × (rise to {} at {})",
                each.show(),
                figure(&on),
                figure(&factor),
                figure(&limit)
            ),
            heat,
            Dimension::POWER,
        );
        surface(sheet, &heat, path, &ambient);
        let junction = sheet.step(
            "junction temperature",
            "T = Ta + P · ΣRth + P / n · Rjc",
            format!(
                "{} + {} × {} + {} / {number} × {}",
                figure(&ambient),
                figure(&heat),
                figure(path),
                figure(&heat),
                figure(&inner)
            ),
            junction,
            Dimension::TEMPERATURE,
        );
        let basis = "highest junction temperature; a lower limit leaves a margin for life";
        sheet.at_least("the junction stays below its limit", &limit, &junction, basis);
        Ok(())
    }
}

fn layer_resistance(sheet: &mut Sheet, layer: &Layer, number: usize) -> Result<Amount, Refusal> {
    let name = layer.name.clone().unwrap_or_else(|| format!("layer {number}"));
    match &layer.kind {
        LayerKind::Resistance(resistance) => Ok(sheet.put(&name, resistance)),
        LayerKind::Slab { thickness, area, conductivity } => {
            sheet.put_word(&name, &layer.text);
            let thickness = sheet.put(&format!("{name}, thickness"), thickness);
            let area = sheet.put(&format!("{name}, area"), area);
            let conductivity = sheet.put(&format!("{name}, conductivity"), conductivity);
            let found = through(&[&thickness, &conductivity, &area], |values| {
                let [thickness, conductivity, area] = *values else {
                    return Err(Refusal::NoResult("three values are needed".to_owned()));
                };
                heat_path::layer(thickness, conductivity, area)
            })?;
            Ok(sheet.step(
                &format!("{name}, thermal resistance"),
                "Rth = d / (k · A)",
                format!("{} / ({} × {})", figure(&thickness), figure(&conductivity), figure(&area)),
                found,
                Dimension::THERMAL_RESISTANCE,
            ))
        }
    }
}

/// The temperature on the warm side of the first layer.
fn surface(sheet: &mut Sheet, heat: &Amount, path: &Amount, ambient: &Amount) {
    let rise = heat.number.times(&path.number);
    sheet.step(
        "temperature at the first layer",
        "T = Ta + P · ΣRth",
        format!("{} + {} × {}", figure(ambient), figure(heat), figure(path)),
        ambient.number.plus(&rise),
        Dimension::TEMPERATURE,
    );
}
