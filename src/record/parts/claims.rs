//! What the nameplate and the manual say. Nothing here was found; everything here is to be checked.

use crate::record::field::{
    Charge, Count, Current, Energy, Mass, Power, Rate, Ratio, Resistance, Size, Temperature, Text, Time,
    Voltage, YesNo,
};
use crate::record::part::part;
use crate::record::words;

words! {
    /// What a statement is about.
    pub enum ClaimSubject {
        /// what the pack delivers
        Performance = "performance",
        /// what the pack protects against
        Protection = "protection",
        /// a certificate, an approval or a test mark
        Certification = "certification",
        /// what the pack is made of or how it is built
        Construction = "construction",
        /// how long it lasts
        Life = "life",
        /// anything else
        Other = "other",
    }

    /// What a certificate covers.
    pub enum CertificateScope {
        /// the certificate names the finished pack
        WholePack = "whole pack",
        /// the certificate names cells or other parts only
        Parts = "parts",
        /// the claim does not say what was certified
        NotSaid = "not said",
    }

    /// What the inspection says of a statement.
    pub enum ClaimVerdict {
        /// a finding or a document supports it
        Supported = "supported",
        /// a finding or a document contradicts it
        Contradicted = "contradicted",
        /// nothing was found either way
        NotChecked = "not checked",
    }
}

part! {
    /// What the nameplate and the manual say.
    pub struct Claims {
        /// Nominal voltage.
        nominal_voltage: Voltage = "25.6 V",
        /// Capacity.
        capacity: Charge = "150 Ah",
        /// Energy.
        energy: Energy = "3840 Wh",
        /// Rated continuous discharge current. The whole build is judged against it.
        continuous_current: Current = "150 A",
        /// Ambient temperature for which the rated current is stated.
        rated_ambient: Temperature = "25 degC",
        /// Peak discharge current.
        peak_current: Current = "300 A",
        /// How long the peak is allowed.
        peak_duration: Time = "5 s",
        /// Largest continuous charge current.
        charge_current: Current = "75 A",
        /// Charge voltage. Papers, label or charger say it.
        charge_voltage: Voltage = "29.2 V",
        /// Discharge cut-off voltage.
        cutoff_voltage: Voltage = "20 V",
        /// C-rate at which the capacity is stated.
        capacity_rate: Rate = "0.2 C",
        /// Lowest temperature at which charging is allowed.
        charge_temperature_min: Temperature = "0 degC",
        /// Highest temperature at which charging is allowed.
        charge_temperature_max: Temperature = "45 degC",
        /// Lowest temperature at which discharging is allowed.
        discharge_temperature_min: Temperature = "-20 degC",
        /// Highest temperature at which discharging is allowed.
        discharge_temperature_max: Temperature = "55 degC",
        /// Whether charging is said to be blocked in the cold.
        low_temperature_charge_cutoff: YesNo = "yes",
        /// Whether a short-circuit protection is claimed.
        short_circuit_protection: YesNo = "yes",
        /// Whether a heater is claimed.
        heater: YesNo = "no",
        /// Power of the claimed heater.
        heater_power: Power = "80 W",
        /// Mass.
        mass: Mass = "27 kg",
        /// Outer size.
        size: Size = "360 x 260 x 230 mm",
        /// Charge-discharge cycles.
        cycles: Count = "4000",
        /// Depth of discharge at which the cycles are claimed.
        cycle_depth: Ratio = "80 %",
        /// Largest number of packs in series. Write "absent" when the papers do not say.
        max_in_series: Count = "2",
        /// Largest number of packs in parallel. Write "absent" when the papers do not say.
        max_in_parallel: Count = "4",
        /// Resistance of the leads that join a pack to the others in parallel, out and back, as the papers prescribe them.
        parallel_leads: Resistance = "1.5 mΩ",
        /// Ingress protection code.
        ingress_protection: Text = "IP65",
        /// What the manual leaves out, in the inspector's words.
        left_out: Text = "no torque for the terminals, no fuse type",
        ; many {
            /// A claim in words, and what the inspection says of it.
            statement: Statement,
        }
    }
}

part! {
    /// A claim in words, and what the inspection says of it.
    pub struct Statement {
        /// A short name for it.
        id: Text = "marine",
        /// The claim, in the maker's words.
        text: Text = "full marine certification",
        /// What it is about.
        subject: ClaimSubject = "certification",
        /// Where it stands: label, page of the manual, address.
        source: Text = "label",
        /// The evidence that was offered or found for it. Write "absent" when you asked and got none.
        evidence: Text = "absent",
        /// For a certification: what it covers.
        scope: CertificateScope = "not said",
        /// What the inspection says of it.
        verdict: ClaimVerdict = "not checked",
        /// The rule that is about the same thing: where it meets, the claim cannot be contradicted, and the other way round.
        rule: Text = "fuse-present",
        /// What contradicts or supports it.
        because: Text = "there is no gasket",
    }
}
