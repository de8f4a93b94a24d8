//! The test rig, branches and sensors of a bench test, and what is withheld: filled in by questions and held against the
//! example that was written by hand.

use std::fs;
use std::path::Path;

use underlid::fill::checklist::Fills;
use underlid::fill::terminal::{Ways, walk};
use underlid::fill::{FillSession, Question};
use underlid::judge::inspection::House;
use underlid::record::{self, How, Record};

/// A copy of an example without some of its parts: each is cut out from its header to the next one of another part.
fn without(name: &str, parts: &[&str]) -> tempfile::TempDir {
    let folder = crate::common::copy(name);
    let text = fs::read_to_string(folder.path().join("inspection.toml")).unwrap();
    let mut kept = String::new();
    let mut cut = false;
    for line in text.lines() {
        if line.starts_with('[') {
            let name = line.trim_matches(['[', ']']);
            cut = parts.iter().any(|part| name == *part || name.starts_with(&format!("{part}.")));
        }
        if !cut {
            kept.push_str(line);
            kept.push('\n');
        }
    }
    fs::write(folder.path().join("inspection.toml"), kept).unwrap();
    folder
}

fn typed(pack: &Path, lines: &[&str]) -> (String, usize, usize) {
    let session = FillSession::open(pack, &House::default(), &[], None).unwrap();
    let mut shown = Vec::new();
    let input = lines.join("\n") + "\n";
    let summary =
        walk(&session, &mut input.as_bytes(), &mut shown, Ways { brief: true, sections: true }).unwrap();
    (String::from_utf8(shown).unwrap(), summary.saved, summary.refused)
}

fn plan(pack: &Path) -> String {
    let (_, json, told) = crate::common::run(&["plan", "--format", "json", pack.to_str().unwrap()]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap_or_else(|e| panic!("{e}: {told}"));
    serde_json::to_string_pretty(&json).unwrap()
}

/// What is typed by number to get a value of the other record.
fn line_of(question: &Question) -> String {
    let mut line = format!("{}: {}", question.number, question.found.show());
    let mut usual = question.item.how;
    if let Some(with) = &question.found.with {
        line.push_str(&format!(" | with {with}"));
        usual = Some(How::Measured);
    }
    if question.found.how != usual {
        line.push_str(&format!(" | {}", question.found.how.map_or("plain", How::word)));
    }
    line
}

/// What somebody types at the questions of the rig gives the plan of the record that was written by hand.
#[test]
fn a_rig_that_was_asked_for_is_planned_as_the_one_in_the_example() {
    const EXAMPLE: &str = "harbour-24-150-rev-b";
    // What a fuse lets through is read off its data sheet and written in the file.
    let example = without(EXAMPLE, &["rig.clearing"]);
    let example = example.path();
    typed(example, &["add test full load"]);
    let folder = without(EXAMPLE, &["rig"]);
    let pack = folder.path();
    assert_ne!(plan(pack), plan(example), "the rig makes the plan");
    let parts = [
        "add test full load",
        "go rig-elements",
        "joint red-lug, fuse rig-fuse, cable red-lead, cable black-lead, joint black-lug",
        "electronic load load, inv",
        // The load's own: the walk goes on at what is open of it.
        "fuse, cable load-red, cable load-black",
        "4 kW; 150 A; 80 V",
        "fuse, cable inverter-red, cable inverter-black",
        "2500 W; ; 33 V",
        "go rig-meters",
        "branch = load-i 200 A of load, branch current = clamp 600 A of inverter, pack voltage = load-v 80 V, \
         temperature = thermo",
    ];
    let (shown, saved, refused) = typed(pack, &parts);
    assert_eq!((saved, refused), (8, 0), "{shown}");
    let target = FillSession::open(example, &House::default(), &[], None).unwrap().look().unwrap();
    let values: Vec<String> = target
        .questions
        .iter()
        .filter(|q| q.section == "rig" && matches!(q.item.fills, Fills::Field { .. }) && !q.is_open())
        .map(line_of)
        .collect();
    assert!(values.len() > 50, "{values:?}");
    let lines: Vec<&str> = values.iter().map(String::as_str).collect();
    let (shown, saved, refused) = typed(pack, &lines);
    assert_eq!((saved, refused), (values.len(), 0), "{shown}");
    let (made, wanted) = (plan(pack), plan(example));
    let differs: Vec<(&str, &str)> =
        made.lines().zip(wanted.lines()).filter(|(m, w)| m != w).take(5).collect();
    assert!(made == wanted, "{differs:#?}");
}

/// A record without a full-load test is asked nothing about a rig.
#[test]
fn a_rig_is_asked_for_only_where_full_load_is_planned() {
    let folder = without("harbour-24-150-rev-b", &["rig", "test"]);
    let asked = |pack: &Path| {
        let sight = FillSession::open(pack, &House::default(), &[], None).unwrap().look().unwrap();
        sight.questions.iter().filter(|q| q.key.item.starts_with("rig-") && q.is_asked()).count()
    };
    assert_eq!(asked(folder.path()), 0);
    typed(folder.path(), &["add test cap, cold charge"]);
    assert_eq!(asked(folder.path()), 0);
    typed(folder.path(), &["add test full"]);
    assert_eq!(asked(folder.path()), 6);
}

/// Branches and sensors go in with the test, in one line each, and give the figures of the example.
#[test]
fn branches_and_sensors_are_asked_for_with_the_test() {
    const EXAMPLE: &str = "harbour-24-150-rev-a";
    let folder = without(EXAMPLE, &["test.branch", "test.sensor"]);
    let pack = folder.path();
    let lines = [
        "go test-branches@full-load",
        "load 1 = logs/branch-1.csv with clamp-1, load 2 = logs/branch-2.csv with clamp-2",
        "T bar = positive-bar, T BMS = bms, T air = inner air",
        "go test-sensors@cold-charge",
        "T cells = cells; T room = ambient",
    ];
    let (shown, saved, refused) = typed(pack, &lines);
    assert_eq!((saved, refused), (3, 0), "{shown}");
    assert!(shown.contains("name load 1, log logs/branch-1.csv, with clamp-1"), "{shown}");
    let figures = |folder: &Path| {
        let sight = FillSession::open(folder, &House::default(), &[], None).unwrap().look().unwrap();
        let of_tests = sight.judgement.findings.iter().map(|f| format!("{} {:?}", f.rule, f.working.numbers));
        of_tests.collect::<Vec<_>>()
    };
    let example = crate::common::copy(EXAMPLE);
    assert_eq!(figures(pack), figures(example.path()));
}

#[test]
fn what_a_line_gets_wrong_is_said_with_a_right_one() {
    let folder = crate::common::copy("harbour-24-150-rev-a");
    for (line, says) in [
        ("add branch load 3", "such as: load 1 = logs/branch-1.csv"),
        ("add sensor T1", "column = part"),
        ("add sensor T bar = positive-baar", "did you mean `positive-bar`"),
        ("add meter clamp", "whole current = clamp 600 A"),
        ("add meter whole current = clamp 600 Amp", "600 Amp"),
        ("add meter branch = clamp-1 600 A of load-9", "there is no load `load-9`"),
        ("add area 01-lable.jpg: 1 2 3 4 %", "did you mean `photos/01-label.jpg`"),
        ("add area 01-label.jpg: 1 2 3 %", "left, top, width and height"),
        ("add area 01-label.jpg: 1 2 0 4 %", "does not lie in the picture"),
        ("add rig bms", "a test rig has no bms"),
        ("add rig cabel", "did you mean `cable`"),
        ("add load lamp", "expected one of: electronic load, inverter, resistor bank"),
        ("add test c", "expected one of: capacity, full load, cold charge, charge"),
    ] {
        let before = fs::read_to_string(folder.path().join("inspection.toml")).unwrap();
        let (shown, saved, refused) = typed(folder.path(), &["go test-date@full-load", line]);
        assert_eq!((saved, refused), (0, 1), "{line}: {shown}");
        assert!(shown.contains(says), "{line}: {says}\n{shown}");
        assert_eq!(fs::read_to_string(folder.path().join("inspection.toml")).unwrap(), before);
    }
}

/// What must not leave the bench is said at the end, and it is gone from the write-up.
#[test]
fn what_is_withheld_is_asked_at_the_end() {
    let folder = without("harbour-24-150-rev-a", &["withhold"]);
    let pack = folder.path();
    let before = read(pack);
    let serial = before.inspection.serial.text().unwrap().to_owned();
    let lines = [
        "go withhold-fields",
        "inspection.serial, inspection.place",
        "go withhold-texts",
        "bench one",
        "go withhold-areas",
        "01-label.jpg: 10 20 30 8 %",
    ];
    let (shown, saved, refused) = typed(pack, &lines);
    assert_eq!((saved, refused), (3, 0), "{shown}");
    let record = read(pack);
    assert_eq!(record.withhold.fields.list(), ["inspection.serial", "inspection.place"]);
    assert_eq!(record.withhold.area[0].width.text(), Some("30 %"));
    let (status, _, told) = crate::common::run(&["report", pack.to_str().unwrap()]);
    assert_eq!(status, 1, "something falls short in the example: {told}");
    let page = fs::read_to_string(pack.join("report/report.md")).unwrap();
    assert!(!page.contains(&serial) && page.contains("withheld"), "{serial}");
    assert!(page.contains("blacked out"));
}

fn read(pack: &Path) -> Box<Record> {
    let text = fs::read_to_string(pack.join("inspection.toml")).unwrap();
    Box::new(record::read("t", &text).unwrap())
}
