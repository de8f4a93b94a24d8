//! Kinds of element by what they do: what interrupts a fault, what only switches, what nobody could tell.
//!
//! `data/golden.toml` is an invented record that meets everything; a row puts another part in the place of its fuse.
//! That a circuit breaker opens on overcurrent by its release and that a contactor does not: IEC 60947-2 and -4-1 (from
//! memory). Before kinds were typed, a contactor or circuit breaker gave critical "no fuse" and `fuse = "unknown"` critical
//! "does not respond to current".

use underlid::judge::bench_test::results;
use underlid::judge::facts::Derived;
use underlid::judge::rules::{Book, Finding, Outcome, judge};
use underlid::record;

const FUSE: &str = "kind = \"fuse\"\nfuse = \"class T\"\nrating = \"126 A\"\nrated_voltage = \"30 V\"\nvoltage_for = \"direct current\"\ninterrupting_rating = \"1.8 kA\"\ndistance_from_cells = \"190 mm\"\nreplaceable = \"yes\"\naccessible = \"yes\"\nclearing_time = \"10 ms\"";
const BREAKER: &str = "kind = \"circuit-breaker\"\nrelease = \"thermal-magnetic\"\nrating = \"126 A\"\nrated_voltage = \"30 V\"\nvoltage_for = \"direct current\"\ninterrupting_rating = \"1.8 kA\"\ninstantaneous_trip = \"1.6 kA\"\ndistance_from_cells = \"190 mm\"\nreplaceable = \"yes\"\naccessible = \"yes\"\nclearing_time = \"10 ms\"";
const CONTACTOR: &str = "kind = \"contactor\"\nmarked_current = \"130 A\"";

/// The findings on the golden record with `part` in the place of its fuse.
fn findings(part: &str) -> Vec<Finding> {
    let golden =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/data/golden.toml")).unwrap();
    assert!(golden.contains(FUSE));
    let record =
        record::read("golden", &golden.replace(FUSE, part)).unwrap_or_else(|e| panic!("{:?}", e.list()));
    let book = Book::built_in().unwrap();
    judge(&record, &Derived::of(&record, &book.limit_amounts()), &book).findings.to_vec()
}

#[test]
fn what_stands_in_the_place_of_the_fuse() {
    use Outcome::{FallsShort, Meets, NotDecided};
    // The part, what is changed in it, a rule, its outcome, and the fact that is missing.
    let rows = [
        (FUSE, ("", ""), "fuse-present", Meets, ""),
        (FUSE, ("class T", "unknown"), "fuse-present", NotDecided, "element.fuse"),
        (FUSE, ("class T", "unknown"), "fuse-responds-to-current", NotDecided, "element.fuse"),
        (FUSE, ("class T", "unknown"), "fuse-interrupting-rating", NotDecided, "element.fuse"),
        (FUSE, ("class T", "could not see"), "fuse-responds-to-current", NotDecided, "element.fuse"),
        (FUSE, ("kind = \"fuse\"", "kind = \"could not see\""), "fuse-present", NotDecided, "element.kind"),
        (BREAKER, ("", ""), "fuse-present", Meets, ""),
        (BREAKER, ("", ""), "fuse-responds-to-current", Meets, ""),
        (BREAKER, ("", ""), "fuse-interrupting-rating", Meets, ""),
        (BREAKER, ("1.8 kA", "1.68 kA"), "fuse-interrupting-rating", FallsShort, ""),
        (
            BREAKER,
            ("interrupting_rating = \"1.8 kA\"", ""),
            "fuse-interrupting-rating",
            NotDecided,
            "element.interrupting_rating",
        ),
        (BREAKER, ("\"126 A\"", "\"124 A\""), "fuse-rating-over-load", FallsShort, ""),
        (BREAKER, ("\"30 V\"", "\"29 V\""), "fuse-voltage", FallsShort, ""),
        (BREAKER, ("1.6 kA", "1.8 kA"), "breaker-trips-on-fault", FallsShort, ""),
        (BREAKER, ("thermal-magnetic", "command"), "fuse-present", FallsShort, ""),
        (BREAKER, ("thermal-magnetic", "command"), "fuse-responds-to-current", FallsShort, ""),
        (BREAKER, ("thermal-magnetic", "absent"), "fuse-responds-to-current", FallsShort, ""),
        (BREAKER, ("thermal-magnetic", "unknown"), "fuse-responds-to-current", NotDecided, "element.release"),
        (BREAKER, ("release = \"thermal-magnetic\"", ""), "fuse-present", NotDecided, "element.release"),
        (CONTACTOR, ("", ""), "fuse-present", NotDecided, "element.release"),
        (CONTACTOR, ("kind", "release = \"command\"\nkind"), "fuse-present", FallsShort, ""),
        (CONTACTOR, ("kind", "release = \"magnetic\"\nkind"), "fuse-present", NotDecided, ""),
    ];
    for (part, (from, to), rule, outcome, missing) in rows {
        let part = part.replace(from, to);
        let findings = findings(&part);
        let finding = findings
            .iter()
            .filter(|finding| finding.rule == rule)
            .min_by_key(|finding| finding.outcome)
            .unwrap_or_else(|| panic!("{rule} was not applied to\n{part}"));
        assert_eq!(finding.outcome, outcome, "{rule} on\n{part}\n{:?}", finding.missing);
        let names: Vec<&str> = finding.missing.iter().map(|missing| missing.name.as_str()).collect();
        assert!(missing.is_empty() || names == [missing], "{rule} on\n{part}\n{names:?}");
    }
}

/// Nothing that could not be told is held against the pack.
#[test]
fn unknown_is_a_missing_fact_everywhere() {
    for part in [FUSE.replace("class T", "unknown"), BREAKER.replace("thermal-magnetic", "unknown")] {
        for finding in findings(&part) {
            assert_ne!(finding.outcome, Outcome::FallsShort, "{} on\n{part}", finding.rule);
        }
    }
}

/// A reading's own `with` names its instrument, as that of its table does.
#[test]
fn the_instrument_of_a_reading_counts_wherever_it_is_written() {
    let record = |reading: &str| {
        let text = format!(
            "schema = 2\n[[instrument]]\nid = \"clamp\"\naccuracy = \"2 % + 3 digits\"\nresolution = \"0.1 A\"\n[[test]]\nid = \"t\"\nkind = \"full load\"\n[[test.reading]]\nof = \"branch 1\"\n{reading}\n[[test.reading]]\nof = \"branch 2\"\nvalue = \"60 A ± 1 A\"\n[[test.reading]]\nof = \"gauge\"\nvalue = \"100 A\"\n"
        );
        record::read("record", &text)
    };
    let agrees = |reading: &str| {
        let record = record(reading).unwrap_or_else(|e| panic!("{:?}", e.list()));
        let limits = Book::built_in().unwrap().limit_amounts();
        let trial = results(std::path::Path::new("."), &record, &limits).remove(0);
        trial.facts.get("test.branch_error").cloned().unwrap().map(|worked| worked.value)
    };
    let of_the_table = agrees("with = \"clamp\"\nvalue = \"40.0 A\"");
    assert!(of_the_table.is_ok(), "{of_the_table:?}");
    assert_eq!(agrees("value = { value = \"40.0 A\", with = \"clamp\" }"), of_the_table);
    assert!(agrees("value = \"40.0 A\"").is_err());

    let problems = record("value = { value = \"40.0 A\", wit = \"clamp\" }").unwrap_err();
    let [problem] = problems.list() else { panic!("{problems:?}") };
    assert!(problem.message.contains("`wit`") && problem.expected.contains("`with`"), "{problem:?}");
}
