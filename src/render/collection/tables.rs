//! The three tables of a collection: packs, findings, path elements. Names, types, units and meanings have their one
//! home here.

use super::column::{ColumnKind, Info, Table, TableCell, TableColumn};
use super::row::{ElementRow, FindingRow, PackRow};

const fn column<R>(
    name: &'static str,
    kind: ColumnKind,
    unit: &'static str,
    about: &'static str,
    get: for<'a> fn(&'a R) -> TableCell<'a>,
) -> TableColumn<R> {
    TableColumn { info: Info { name, kind, unit, about }, get }
}

use ColumnKind::{Count, Date, Number, Text, YesNo};

/// What judged a row, so that a row cut out of its table still says so.
const RULES: &str = "rules beside the built-in ones: files that judged, with what they changed, and files of the inspection folder that were left aside; empty where there are none";

/// One row for each inspection found, those that could not be read included.
pub const PACKS: Table<PackRow> = Table {
    name: "collection",
    about: "one row for each inspection folder found",
    columns: &[
        column(
            "folder",
            Text,
            "",
            "the folder below the root, with / between its parts; bytes that are not UTF-8 stand as \\xNN",
            |p| (&p.folder).into(),
        ),
        column(
            "problem",
            Text,
            "",
            "why the inspection could not be read; empty when it was read. All columns that follow are empty where this is not",
            |p| (&p.problem).into(),
        ),
        column("rules", Text, "", RULES, |p| (&p.rules).into()),
        column(
            "title",
            Text,
            "",
            "title of the inspection, or maker, model and revision where it has none",
            |p| (&p.title).into(),
        ),
        column("maker", Text, "", "who made the pack, as printed on it", |p| (&p.maker).into()),
        column("model", Text, "", "the model, as printed on the pack", |p| (&p.model).into()),
        column("revision", Text, "", "the revision", |p| (&p.revision).into()),
        column("pack_kind", Text, "", "kind of pack: drop-in, rack, self-built", |p| (&p.kind).into()),
        column("invented", YesNo, "", "true for an invented example", |p| p.invented.into()),
        column("date", Date, "", "day of the inspection", |p| TableCell::day(&p.date)),
        column("chemistry", Text, "", "chemistry of the cells", |p| (&p.chemistry).into()),
        column("cell_format", Text, "", "format of the cells", |p| (&p.cell_format).into()),
        column("series", Count, "", "cells in series", |p| p.series.into()),
        column("parallel", Count, "", "cells in parallel in each group", |p| p.parallel.into()),
        column("nominal_voltage_v", Number, "V", "claimed nominal voltage", |p| p.nominal_voltage.into()),
        column("rated_current_a", Number, "A", "rated continuous current, as claimed", |p| {
            p.rated_current.into()
        }),
        column(
            "weakest_element",
            Text,
            "",
            "kind and name of the element of the current path with the smallest known continuous permissible current",
            |p| (&p.weakest).into(),
        ),
        column(
            "weakest_permissible_current_a",
            Number,
            "A",
            "continuous permissible current of the weakest element",
            |p| p.permissible_current.into(),
        ),
        column(
            "weakest_permissible_current_expanded_a",
            Number,
            "A",
            "its expanded uncertainty, k = 2",
            |p| p.permissible_current_expanded.into(),
        ),
        column(
            "margin_a",
            Number,
            "A",
            "permissible current of the weakest element less rated continuous current",
            |p| p.margin.into(),
        ),
        column("margin_percent", Number, "%", "the same over rated continuous current", |p| {
            p.margin_percent.into()
        }),
        column(
            "margin_is_upper_bound",
            YesNo,
            "",
            "true where an element's permissible current is not known or the list of elements is not stated to be complete: the margin is then at most this",
            |p| p.margin_bound.into(),
        ),
        column("elements", Count, "", "elements of the current path recorded", |p| p.elements.into()),
        column("elements_not_known", Count, "", "elements whose permissible current is not known", |p| {
            p.elements_not_known.into()
        }),
        column(
            "path_complete",
            YesNo,
            "",
            "whether the inspector states that the list of elements is complete",
            |p| p.path_complete.into(),
        ),
        column(
            "path_resistance_mohm",
            Number,
            "mΩ",
            "sum of the known resistances of the path, cells included",
            |p| p.resistance.into(),
        ),
        column(
            "path_heat_w",
            Number,
            "W",
            "heat in the known resistances at rated continuous current",
            |p| p.heat.into(),
        ),
        column("short_circuit_current_a", Number, "A", "prospective short-circuit current", |p| {
            p.short_circuit.into()
        }),
        column(
            "fuse_kind",
            Text,
            "",
            "kinds of the elements that respond to current, in path order; `none` where the complete list holds none",
            |p| (&p.fuse_kind).into(),
        ),
        column("fuse_rating_a", Number, "A", "smallest rating among them", |p| p.fuse_rating.into()),
        column("thermal_cutoffs", Count, "", "thermal cut-offs recorded in the path", |p| {
            p.thermal_cutoffs.into()
        }),
        column("claimed_capacity_ah", Number, "Ah", "claimed capacity", |p| p.claimed_capacity.into()),
        column(
            "measured_capacity_ah",
            Number,
            "Ah",
            "largest capacity that a capacity test shows which ran down to the cut-off",
            |p| p.measured_capacity.into(),
        ),
        column("measured_capacity_expanded_ah", Number, "Ah", "its expanded uncertainty, k = 2", |p| {
            p.measured_capacity_expanded.into()
        }),
        column("measured_share_percent", Number, "%", "measured over claimed capacity", |p| {
            p.measured_share.into()
        }),
        column(
            "capacity_at_least_ah",
            Number,
            "Ah",
            "largest capacity that a capacity test shows which did not run down to the cut-off: the capacity is at least this",
            |p| p.capacity_at_least.into(),
        ),
        column("claimed_energy_wh", Number, "Wh", "claimed energy", |p| p.claimed_energy.into()),
        column("measured_energy_wh", Number, "Wh", "energy of the test behind measured_capacity_ah", |p| {
            p.measured_energy.into()
        }),
        column(
            "mass_kg",
            Number,
            "kg",
            "mass of the pack: recorded by the inspector, or else claimed",
            |p| p.mass.into(),
        ),
        column("mass_is_claimed", YesNo, "", "true where the mass is only claimed", |p| {
            p.mass_is_claimed.into()
        }),
        column("claimed_wh_per_kg", Number, "Wh/kg", "claimed energy over mass", |p| {
            p.claimed_specific.into()
        }),
        column("measured_wh_per_kg", Number, "Wh/kg", "measured energy over mass", |p| {
            p.measured_specific.into()
        }),
        column("price", Text, "", "price paid, as written in the record", |p| (&p.price).into()),
        column(
            "price_amount",
            Number,
            "price_currency",
            "its amount, where the text is a decimal number and a currency code; never converted",
            |p| p.price_amount.into(),
        ),
        column("price_currency", Text, "", "its currency, three letters as in ISO 4217", |p| {
            (&p.price_currency).into()
        }),
        column(
            "price_per_claimed_wh",
            Number,
            "price_currency per Wh",
            "price over claimed energy; compare within one currency only",
            |p| p.price_per_claimed_wh.into(),
        ),
        column(
            "price_per_measured_wh",
            Number,
            "price_currency per Wh",
            "price over measured energy; compare within one currency only",
            |p| p.price_per_measured_wh.into(),
        ),
        column("critical", Count, "", "critical nonconformities", |p| p.critical.into()),
        column("major", Count, "", "major nonconformities", |p| p.major.into()),
        column("minor", Count, "", "minor nonconformities", |p| p.minor.into()),
        column("not_decided", Count, "", "rules not decided", |p| p.not_decided.into()),
        column("grave_not_decided", Count, "", "critical and major rules not decided", |p| {
            p.grave_not_decided.into()
        }),
        column("meets", Count, "", "rules met; this never says that a pack is safe", |p| p.meets.into()),
        column(
            "customs_short",
            Count,
            "",
            "customs of the trade not kept: opinion, counted nowhere else",
            |p| p.customs_short.into(),
        ),
        column("not_applied", Count, "", "rules that do not apply to this pack", |p| p.not_applied.into()),
        column("verdict", Text, "", "what carries the rated current, in a sentence", |p| (&p.verdict).into()),
    ],
};

/// One row for each finding.
pub const FINDINGS: Table<FindingRow> = Table {
    name: "findings",
    about: "one row for each rule applied to each subject of an inspection, rules that are met included",
    columns: &[
        column("rules", Text, "", RULES, |f| (&f.rules).into()),
        column("rule", Text, "", "id of the rule; `underlid explain` prints the rule", |f| (&f.rule).into()),
        column(
            "part",
            Text,
            "",
            "the part it is about: an element's name or a part of the record; empty for the whole pack",
            |f| (&f.part).into(),
        ),
        column("subject", Text, "", "what it was applied to, in words; empty for the whole pack", |f| {
            (&f.subject).into()
        }),
        column(
            "grade",
            Text,
            "",
            "grade of the rule: critical, major, minor; custom, which is opinion",
            |f| f.grade.word().into(),
        ),
        column("outcome", Text, "", "falls short, not decided, meets", |f| f.outcome.words().into()),
        column(
            "rests_on_claims",
            YesNo,
            "",
            "true where the outcome rests on a claim rather than on a finding",
            |f| Some(f.rests_on_claims).into(),
        ),
        column("missing", Text, "", "what is missing for a decision, with ; between", |f| {
            (&f.missing).into()
        }),
    ],
};

/// One row for each element of a current path.
pub const ELEMENTS: Table<ElementRow> = Table {
    name: "elements",
    about: "one row for each element of the current path of an inspection",
    columns: &[
        column("rules", Text, "", RULES, |e| (&e.rules).into()),
        column("position", Count, "", "place in the path, 1 at the negative terminal", |e| {
            Some(e.position).into()
        }),
        column("element", Text, "", "the element's short name", |e| (&e.element).into()),
        column("element_kind", Text, "", "kind of element", |e| (&e.kind).into()),
        column("leg", Text, "", "positive, negative or stack", |e| (&e.leg).into()),
        column(
            "weakest",
            YesNo,
            "",
            "true for the element with the smallest known permissible current",
            |e| Some(e.weakest).into(),
        ),
        column("permissible_current_a", Number, "A", "continuous permissible current", |e| {
            e.permissible_current.into()
        }),
        column("permissible_current_expanded_a", Number, "A", "its expanded uncertainty, k = 2", |e| {
            e.permissible_current_expanded.into()
        }),
        column(
            "margin_percent",
            Number,
            "%",
            "permissible current less rated continuous current, over rated continuous current",
            |e| e.margin_percent.into(),
        ),
        column(
            "resistance_mohm",
            Number,
            "mΩ",
            "resistance: recorded, from a drop, or from its size",
            |e| e.resistance.into(),
        ),
        column("drop_mv", Number, "mV", "voltage drop at rated continuous current", |e| e.drop.into()),
        column("heat_w", Number, "W", "heat at rated continuous current", |e| e.heat.into()),
        column(
            "responds_to",
            Text,
            "",
            "for fuses, circuit breakers, thermal cut-offs and contactors: current, temperature, command",
            |e| (&e.responds_to).into(),
        ),
        column("fuse_kind", Text, "", "kind of fuse", |e| (&e.fuse_kind).into()),
        column("fuse_rating_a", Number, "A", "rating of the fuse or circuit breaker", |e| {
            e.fuse_rating.into()
        }),
        column("missing", Text, "", "what is missing for the permissible current, with ; between", |e| {
            (&e.missing).into()
        }),
    ],
};

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    fn check(infos: Vec<&'static Info>) {
        let names: BTreeSet<&str> = infos.iter().map(|info| info.name).collect();
        assert_eq!(names.len(), infos.len(), "two columns of one name");
        for info in infos {
            assert!(info.name.bytes().all(|b| b.is_ascii_lowercase() || b == b'_'), "{}", info.name);
            assert!(!info.about.is_empty() && !info.about.ends_with('.'), "{}", info.name);
            if info.kind != Number {
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
