//! The three tables of a collection: packs, findings, path elements. Names, types, units and meanings have their one
//! home here: a line is a field of the row and a column of the table.

use jiff::civil::Date;
use serde::{Deserialize, Serialize};

use super::column::{CellValue, Info, Table, TableColumn};
use crate::judge::rules::{Grade, Outcome};

/// Declares a row and its table. What stands in braces behind the row's name is kept with it and is no column.
macro_rules! rows {
    (
        $(#[$of_row:meta])* $row:ident $({ $($(#[$beside_own:meta])* $beside:ident: $beside_kind:ty),* })?,
        $(#[$of_table:meta])* $table:ident = $name:literal, $about:literal, $segment:literal;
        $($(#[$own:meta])* $column:ident: $kind:ty $(, $unit:literal)? = $means:expr;)*
    ) => {
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        $(#[$of_row])*
        #[allow(missing_docs)] // The meaning of each field is the column's.
        pub struct $row {
            $($(#[$own])* pub $column: $kind,)*
            $($($(#[$beside_own])* pub $beside: $beside_kind,)*)?
        }

        $(#[$of_table])*
        pub const $table: Table<$row> = Table {
            name: $name,
            about: $about,
            segment: $segment,
            columns: &[$(TableColumn {
                info: Info {
                    name: stringify!($column),
                    kind: <$kind as CellValue>::KIND,
                    unit: concat!("" $(, $unit)?),
                    about: $means,
                },
                get: |row| row.$column.cell(),
            },)*],
        };
    };
}

/// What judged a row, so that a row cut out of its table still says so.
const RULES: &str = "rules beside the built-in ones: files that judged, with what they changed, and files of the inspection folder that were left aside; empty where there are none";

rows! {
    /// An inspection in the table.
    #[derive(Default)]
    #[serde(default, deny_unknown_fields)]
    PackRow { #[serde(skip)] page: Option<String> },
    /// One row for each inspection found, those that could not be read included.
    PACKS = "collection", "one row for each inspection folder found", 256;
    #[serde(skip)]
    folder: String = "the folder below the root, with / between its parts; bytes that are not UTF-8 stand as \\xNN";
    #[serde(skip)]
    problem: Option<String> = "why the inspection could not be read; empty when it was read. All columns that follow are empty where this is not";
    rules: Option<String> = RULES;
    from_write_up: Option<bool> = "true where only a published write-up was there: what was judged stands as it is told there; the record was not read";
    title: Option<String> = "title of the inspection, or maker, model and revision where it has none";
    maker: Option<String> = "who made the pack, as printed on it";
    model: Option<String> = "the model, as printed on the pack";
    revision: Option<String> = "the revision";
    pack_kind: Option<String> = "kind of pack: drop-in, rack, self-built";
    invented: Option<bool> = "true for an invented example";
    date: Option<Date> = "day of the inspection";
    chemistry: Option<String> = "chemistry of the cells";
    cell_format: Option<String> = "format of the cells";
    series: Option<u32> = "cells in series";
    parallel: Option<u32> = "cells in parallel in each group";
    nominal_voltage_v: Option<f64>, "V" = "claimed nominal voltage";
    rated_current_a: Option<f64>, "A" = "rated continuous current, as claimed";
    weakest_element: Option<String> = "kind and name of the element of the current path with the smallest known continuous permissible current";
    weakest_permissible_current_a: Option<f64>, "A" = "continuous permissible current of the weakest element";
    weakest_permissible_current_expanded_a: Option<f64>, "A" = "its expanded uncertainty, k = 2";
    margin_a: Option<f64>, "A" = "permissible current of the weakest element less rated continuous current";
    margin_percent: Option<f64>, "%" = "the same over rated continuous current";
    margin_is_upper_bound: Option<bool> = "true where an element's permissible current is not known or the list of elements is not stated to be complete: the margin is then at most this";
    elements: Option<u32> = "elements of the current path recorded";
    elements_not_known: Option<u32> = "elements whose permissible current is not known";
    path_complete: Option<bool> = "whether the inspector states that the list of elements is complete";
    path_resistance_mohm: Option<f64>, "mΩ" = "sum of the known resistances of the path, cells included";
    path_heat_w: Option<f64>, "W" = "heat in the known resistances at rated continuous current";
    short_circuit_current_a: Option<f64>, "A" = "prospective short-circuit current";
    fuse_kind: Option<String> = "kinds of the elements that respond to current, in path order; `none` where the complete list holds none";
    fuse_rating_a: Option<f64>, "A" = "smallest rating among them";
    thermal_cutoffs: Option<u32> = "thermal cut-offs recorded in the path";
    claimed_capacity_ah: Option<f64>, "Ah" = "claimed capacity";
    measured_capacity_ah: Option<f64>, "Ah" = "largest capacity that a capacity test shows which ran down to the cut-off";
    measured_capacity_expanded_ah: Option<f64>, "Ah" = "its expanded uncertainty, k = 2";
    measured_share_percent: Option<f64>, "%" = "measured over claimed capacity";
    capacity_at_least_ah: Option<f64>, "Ah" = "largest capacity that a capacity test shows which did not run down to the cut-off: the capacity is at least this";
    claimed_energy_wh: Option<f64>, "Wh" = "claimed energy";
    measured_energy_wh: Option<f64>, "Wh" = "energy of the test behind measured_capacity_ah";
    mass_kg: Option<f64>, "kg" = "mass of the pack: recorded by the inspector, or else claimed";
    mass_is_claimed: Option<bool> = "true where the mass is only claimed";
    claimed_wh_per_kg: Option<f64>, "Wh/kg" = "claimed energy over mass";
    measured_wh_per_kg: Option<f64>, "Wh/kg" = "measured energy over mass";
    price: Option<String> = "price paid, as written in the record";
    price_amount: Option<f64>, "price_currency" = "its amount, where the text is a decimal number and a currency code; never converted";
    price_currency: Option<String> = "its currency, three letters as in ISO 4217";
    price_per_claimed_wh: Option<f64>, "price_currency per Wh" = "price over claimed energy; compare within one currency only";
    price_per_measured_wh: Option<f64>, "price_currency per Wh" = "price over measured energy; compare within one currency only";
    holds: Option<String> = "whether the claimed continuous current holds: falls short, not decided, meets; empty where no rule bears on it";
    protection: Option<String> = "whether there is protection that works: falls short, not decided, meets";
    gravest: Option<String> = "the gravest cause that falls short, in words";
    critical: Option<u32> = "critical causes: what falls short is counted by cause, not by rule";
    major: Option<u32> = "major causes";
    minor: Option<u32> = "minor causes";
    not_decided: Option<u32> = "rules not decided";
    grave_not_decided: Option<u32> = "critical and major rules not decided";
    meets: Option<u32> = "rules met; this never says that a pack is safe";
    customs_short: Option<u32> = "customs of the trade not kept: opinion, counted nowhere else";
    not_applied: Option<u32> = "rules that do not apply to this pack";
    seal: Option<String> = "how the inspection stands against its seal: holds or broken; empty where it is not sealed. A bag whose seal does not hold is not taken in";
    sealed_by: Option<String> = "who sealed it: the file of the key, among those that the settings of the builder trust, whose signature is good; empty where none is";
    sealed_key: Option<String> = "number of the key that its signature names; without sealed_by it proves nothing";
    verdict: Option<String> = "what carries the rated current, in a sentence";
}

rows! {
    /// A finding in the table of findings.
    #[serde(from = "FindingTuple", into = "FindingTuple")]
    FindingRow,
    /// One row for each finding.
    FINDINGS = "findings",
    "one row for each rule applied to each subject of an inspection, rules that are met included", 64;
    rules: Option<String> = RULES;
    rule: String = "id of the rule; `underlid explain` prints the rule";
    cause: Option<String> = "id of the cause that it belongs to, where it falls short: rows with one cause are one finding";
    said: Option<String> = "what is said of the pack for this cause, in words";
    part: String = "the part it is about: an element's name or a part of the record; empty for the whole pack";
    subject: String = "what it was applied to, in words; empty for the whole pack";
    grade: Grade = "grade of the rule: critical, major, minor; custom, which is opinion";
    outcome: Outcome = "falls short, not decided, meets";
    rests_on_claims: bool = "true where the outcome rests on a claim rather than on a finding";
    missing: String = "what is missing for a decision, with ; between";
}

/// A finding as the cache keeps it: short, because there are a hundred of them in each inspection.
type FindingTuple =
    (Option<String>, String, Option<String>, Option<String>, String, String, u8, u8, bool, String);

impl From<FindingRow> for FindingTuple {
    fn from(row: FindingRow) -> Self {
        let grade = Grade::ALL.iter().position(|grade| *grade == row.grade).unwrap_or(0);
        let outcome = OUTCOMES.iter().position(|outcome| *outcome == row.outcome).unwrap_or(0);
        #[expect(clippy::cast_possible_truncation, reason = "an index into three or four")]
        let (grade, outcome) = (grade as u8, outcome as u8);
        let FindingRow { rules, rule, cause, said, part, subject, rests_on_claims, missing, .. } = row;
        (rules, rule, cause, said, part, subject, grade, outcome, rests_on_claims, missing)
    }
}

impl From<FindingTuple> for FindingRow {
    fn from(tuple: FindingTuple) -> Self {
        let (rules, rule, cause, said, part, subject, grade, outcome, rests_on_claims, missing) = tuple;
        let grade = Grade::ALL.get(usize::from(grade)).copied().unwrap_or(Grade::Critical);
        let outcome = OUTCOMES.get(usize::from(outcome)).copied().unwrap_or(Outcome::NotDecided);
        Self { rules, rule, cause, said, part, subject, grade, outcome, rests_on_claims, missing }
    }
}

const OUTCOMES: [Outcome; 3] = [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets];

rows! {
    /// An element in the table of path elements.
    #[derive(Default)]
    #[serde(default, deny_unknown_fields)]
    ElementRow,
    /// One row for each element of a current path.
    ELEMENTS = "elements", "one row for each element of the current path of an inspection", 128;
    rules: Option<String> = RULES;
    position: u32 = "place in the path, 1 at the negative terminal";
    element: Option<String> = "the element's short name";
    element_kind: Option<String> = "kind of element";
    leg: Option<String> = "positive, negative or stack";
    weakest: bool = "true for the element with the smallest known permissible current";
    permissible_current_a: Option<f64>, "A" = "continuous permissible current";
    permissible_current_expanded_a: Option<f64>, "A" = "its expanded uncertainty, k = 2";
    margin_percent: Option<f64>, "%" = "permissible current less rated continuous current, over rated continuous current";
    resistance_mohm: Option<f64>, "mΩ" = "resistance: recorded, from a drop, or from its size";
    drop_mv: Option<f64>, "mV" = "voltage drop at rated continuous current";
    heat_w: Option<f64>, "W" = "heat at rated continuous current";
    responds_to: Option<String> = "for fuses, circuit breakers, thermal cut-offs and contactors: current, temperature, command";
    fuse_kind: Option<String> = "kind of fuse";
    fuse_rating_a: Option<f64>, "A" = "rating of the fuse or circuit breaker";
    missing: Option<String> = "what is missing for the permissible current, with ; between";
}

#[cfg(test)]
mod tests {
    use super::super::column::ColumnKind;
    use super::*;
    use std::collections::BTreeSet;

    fn check(infos: Vec<&'static Info>) {
        let names: BTreeSet<&str> = infos.iter().map(|info| info.name).collect();
        assert_eq!(names.len(), infos.len(), "two columns of one name");
        for info in infos {
            assert!(info.name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_'), "{}", info.name);
            assert!(!info.about.is_empty() && !info.about.ends_with('.'), "{}", info.name);
            if info.kind != ColumnKind::Number {
                assert!(info.unit.is_empty(), "{}", info.name);
            } else {
                assert!(!info.unit.is_empty(), "{}", info.name);
            }
        }
    }

    #[test]
    fn columns_are_named_once_and_numbers_have_units() {
        check(PACKS.infos().collect());
        check(FINDINGS.infos().collect());
        check(ELEMENTS.infos().collect());
    }
}
