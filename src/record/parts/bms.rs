//! The battery management system, its heat path and the heater it controls.

use crate::record::field::{
    Area, Conductivity, Count, Current, Energy, Length, Power, Ratio, Resistance, Section, Temperature, Text,
    ThermalResistance, Time, Voltage, YesNo,
};
use crate::record::part::part;
use crate::record::words;

words! {
    /// How the sense wires are connected to the board.
    pub enum SenseConnection {
        /// a connector with a latch
        Latched = "latched",
        /// soldered to the board
        Soldered = "soldered",
        /// screwed to the board
        Screwed = "screwed",
        /// a connector held by friction alone
        Friction = "friction",
        /// a connector held by glue
        Glued = "glued",
    }

    /// How the cells are balanced.
    pub enum Balancing {
        /// resistors bleed the fullest cells
        Passive = "passive",
        /// charge is moved between cells
        Active = "active",
    }

    /// What switches the heater.
    pub enum HeaterControl {
        /// the BMS switches it
        Bms = "bms",
        /// a thermostat of its own switches it
        Thermostat = "thermostat",
        /// nothing was found that switches it off
        None = "none",
    }
}

part! {
    /// The battery management system and its board.
    pub struct Bms {
        /// What is printed on the board.
        marking: Text = "8S 150A",
        /// Continuous current printed on the board or its label.
        marked_current: Current = "150 A",
        /// Switching devices (power transistors) that share the discharge current in parallel.
        switching_devices: Count = "8",
        /// Switching devices in series in the current path, two where charge and discharge switches stand back to back.
        devices_in_series: Count = "2",
        /// What is printed on the switching devices.
        device_marking: Text = "HY-040N04",
        /// On-resistance of one switching device at 25 °C, from its data sheet.
        device_resistance: Resistance = "1.2 mΩ",
        /// On-resistance at the highest junction temperature over that at 25 °C, from its data sheet.
        device_resistance_factor: Ratio = "1.7",
        /// Highest junction temperature, from the device's data sheet.
        device_temperature_limit: Temperature = "150 degC",
        /// Thermal resistance from junction to case of one device.
        device_thermal_resistance: ThermalResistance = "0.6 K/W",
        /// Drain-source voltage that one switching device blocks, from its data sheet.
        device_voltage: Voltage = "100 V",
        /// Energy of a single avalanche pulse that one switching device survives, from its data sheet.
        device_avalanche_energy: Energy = "190 mJ",
        /// Whether the board charges the load's capacitors through a resistor before it closes.
        precharge: YesNo = "yes",
        /// Discharge current at which the BMS trips on overcurrent.
        overcurrent_trip: Current = "330 A",
        /// Delay of the overcurrent trip.
        overcurrent_delay: Time = "5 s",
        /// Current at which the BMS trips on a short circuit.
        short_circuit_trip: Current = "900 A",
        /// Delay of the short-circuit trip.
        short_circuit_delay: Time = "400 us",
        /// How the cells are balanced.
        balancing: Balancing = "passive",
        /// Balancing current of one cell.
        balance_current: Current = "100 mA",
        /// How the sense wires are connected to the board.
        sense_connection: SenseConnection = "latched",
        /// Whether glue is all that keeps the sense connector in place.
        sense_held_by_glue: YesNo = "no",
        /// Whether each sense wire has a fuse or fusible link at the cell.
        sense_wires_fused: YesNo = "absent",
        /// Temperature sensors on the cells.
        temperature_sensors: Count = "2",
        /// Where the temperature sensors sit.
        sensor_places: Text = "between cells 2 and 3, on the busbar of cell 7",
        /// Whether a temperature sensor sits at the switching devices.
        device_sensor: YesNo = "yes",
        /// Whether charging is blocked in the cold.
        low_temperature_charge_cutoff: YesNo = "yes",
        /// Cell temperature below which charging is blocked.
        low_temperature_limit: Temperature = "0 degC",
        /// Charge current that the BMS allows between its low-temperature limit and 10 °C, where it allows less there.
        cold_charge_current: Current = "15 A",
        /// Cell temperature above which the BMS opens.
        high_temperature_limit: Temperature = "65 degC",
        /// Whether an unbroken solid path carries heat from the switching devices to the outside of the case.
        heat_path_complete: YesNo = "yes",
        /// Whether the heat sink is fixed to the lid, so that it is gone when the lid is off.
        heat_sink_on_lid: YesNo = "no",
        /// Whether the board is coated against moisture.
        coated: YesNo = "yes",
        ; many {
            /// A layer of the heat path, in order from the switching devices to the outside.
            layer: HeatLayer,
        }
    }
}

part! {
    /// A layer of the heat path, in order from the switching devices to the outside.
    pub struct HeatLayer {
        /// What the layer is.
        name: Text = "thermal pad",
        /// Its thickness along the heat flow.
        thickness: Length = "1.5 mm",
        /// Its area across the heat flow.
        area: Area = "40 cm2",
        /// Its length and width, when the area was not calculated.
        face: Section = "80 x 50 mm",
        /// Its thermal conductivity.
        conductivity: Conductivity = "3 W/(m·K)",
        /// Its thermal resistance, where it is known as a whole.
        thermal_resistance: ThermalResistance = "0.12 K/W",
        /// Whether it is fixed to the lid.
        on_lid: YesNo = "no",
    }
}

part! {
    /// The heater for charging in the cold.
    pub struct Heater {
        /// Whether there is a heater.
        present: YesNo = "absent",
        /// Its power.
        power: Power = "80 W",
        /// Where it lies.
        place: Text = "foil on the long sides of the stack",
        /// Whether it has a fuse of its own.
        fused: YesNo = "yes",
        /// What switches it.
        control: HeaterControl = "bms",
        /// Whether it has a thermal cut-off of its own.
        thermal_cutoff: YesNo = "yes",
    }
}
