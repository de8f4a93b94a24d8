//! Heat from the switching devices to the outside, layer by layer, and the temperature it leads to.

use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{ElectricCurrent, ElectricalResistance, Power};
use uom::si::power::watt;

use super::{Method, Refusal, within};

/// The method, for working and explanations.
pub const METHOD: Method = Method {
    name: "heat path of the switching devices",
    formula: "Rth = d / (k · A) per layer, summed;  T = Ta + P · ΣRth + P1 · Rjc;  P1 = I1² · Ron(T)",
    source: "Fourier's law in one dimension; on-resistance linear between the data sheet's 25 °C and highest junction temperature",
    range: "steady state; spreading and the film of air outside the last layer only where they are recorded as layers",
};

/// On-resistance at a junction of 150 °C over that at 25 °C, by device: two 80 V devices 1.48, a 100 V device 2.25 (figures 4
/// and 6 of three data sheets, read 2026-11-26).
pub const RESISTANCE_FACTOR: (f64, f64) = (1.48, 2.25);

/// Thermal resistance of a layer, K/W, from SI values.
///
/// # Errors
/// Refuses sizes and conductivities that are not positive.
pub fn layer(thickness: f64, conductivity: f64, area: f64) -> Result<f64, Refusal> {
    let thickness = within("the layer's thickness", thickness, 1e-7, 0.5, 1e3, "mm")?;
    let conductivity = within("the layer's conductivity", conductivity, 0.005, 3000.0, 1.0, "W/(m·K)")?;
    let area = within("the layer's area", area, 1e-7, 10.0, 1e6, "mm²")?;
    Ok(thickness / (conductivity * area))
}

/// Switching devices in parallel on one heat path.
#[derive(Debug, Clone, Copy)]
pub struct Devices {
    /// Current of one device.
    pub current: ElectricCurrent,
    /// On-resistance of one device at 25 °C.
    pub resistance: ElectricalResistance,
    /// On-resistance at `limit_celsius` over that at 25 °C.
    pub factor: f64,
    /// Highest junction temperature of the data sheet, °C.
    pub limit_celsius: f64,
    /// Devices that share the heat path.
    pub number: f64,
    /// Thermal resistance from junction to case of one device, K/W.
    pub junction_to_case: f64,
}

/// Junction temperature in °C and dissipation of all devices, solved for the rise of on-resistance with temperature.
///
/// # Errors
/// Refuses inputs outside their range, and where more heat is made than can leave (thermal runaway).
pub fn junction(devices: &Devices, ambient_celsius: f64, path: f64) -> Result<(f64, Power), Refusal> {
    let current = within("the current of a device", devices.current.get::<ampere>(), 0.0, 1e4, 1.0, "A")?;
    let cold = within("the on-resistance", devices.resistance.get::<ohm>(), 1e-6, 10.0, 1e3, "mΩ")?;
    within("the factor of the on-resistance", devices.factor, 1.0, 4.0, 1.0, "")?;
    within("the highest junction temperature", devices.limit_celsius, 60.0, 250.0, 1.0, "°C")?;
    within("the number of devices", devices.number, 1.0, 1000.0, 1.0, "")?;
    within("the thermal resistance of the path", path, 0.0, 1000.0, 1.0, "K/W")?;
    within("the ambient temperature", ambient_celsius, -60.0, 200.0, 1.0, "°C")?;
    within(
        "the thermal resistance from junction to case",
        devices.junction_to_case,
        0.0,
        1000.0,
        1.0,
        "K/W",
    )?;
    let slope = (devices.factor - 1.0) / (devices.limit_celsius - 25.0);
    let each_cold = current * current * cold;
    let per_device = devices.number * path + devices.junction_to_case;
    // T = Ta + P1 · Rth with P1 = P25 · (1 + slope · (T − 25)): linear in T.
    let gain = each_cold * slope * per_device;
    if gain >= 1.0 {
        return Err(Refusal::NoResult(
            "the on-resistance rises faster than heat can leave: thermal runaway, there is no steady temperature".to_owned(),
        ));
    }
    let rise_at_25 = each_cold * per_device;
    let temperature = (ambient_celsius + rise_at_25 - gain * 25.0) / (1.0 - gain);
    let each = each_cold * (1.0 + slope * (temperature - 25.0));
    Ok((temperature, Power::new::<watt>(each * devices.number)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A pad of 1.5 mm, 3 W/(m·K), 40 cm²: 0.125 K/W (Fourier's law by hand).
    #[test]
    fn pad() {
        assert!((layer(1.5e-3, 3.0, 40e-4).unwrap() - 0.125).abs() < 1e-12);
    }

    #[test]
    fn self_heating_is_consistent() {
        let devices = Devices {
            current: ElectricCurrent::new::<ampere>(18.75),
            resistance: ElectricalResistance::new::<ohm>(1.2e-3),
            factor: 1.7,
            limit_celsius: 150.0,
            number: 16.0,
            junction_to_case: 0.6,
        };
        let (t, p) = junction(&devices, 40.0, 1.0).unwrap();
        let r = 1.2e-3 * (1.0 + 0.7 * (t - 25.0) / 125.0);
        assert!((p.get::<watt>() - 16.0 * 18.75_f64.powi(2) * r).abs() < 1e-9);
        assert!((t - (40.0 + p.get::<watt>() * 1.0 + p.get::<watt>() / 16.0 * 0.6)).abs() < 1e-9);
        assert!(junction(&devices, 40.0, 40.0).is_err(), "runaway");
    }
}
