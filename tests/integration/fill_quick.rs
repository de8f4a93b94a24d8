//! What makes filling quick, and what it refuses to make quick: units are confirmed and never guessed, a part may be like
//! another one but its measurements are its own, readings go in from anywhere, pictures are taken at the prompt.

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use crate::fill_support::{BIN, example, fresh};
use underlid::fill::terminal::{Ways, walk};
use underlid::fill::{FillSession, Key, Sight};
use underlid::judge::inspection::House;
use underlid::judge::rules::Outcome;
use underlid::record::edit::Entered;
use underlid::record::{How, Part, Record};

/// What is shown for these lines, and how many of them were saved and refused.
fn typed(pack: &Path, lines: &[&str]) -> (String, usize, usize) {
    let house = House { folder_rules: true, ..House::default() };
    let session = FillSession::open(pack, &house, &[], Some("drop-in")).unwrap();
    let mut shown = Vec::new();
    let input = lines.join("\n") + "\n";
    let summary =
        walk(&session, &mut input.as_bytes(), &mut shown, Ways { brief: true, sections: true }).unwrap();
    (String::from_utf8(shown).unwrap(), summary.saved, summary.refused)
}

fn record(pack: &Path) -> Box<Record> {
    let text = fs::read_to_string(pack.join("inspection.toml")).unwrap();
    Box::new(underlid::record::read("t", &text).unwrap())
}

#[test]
fn a_unit_is_offered_and_written_only_when_confirmed() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let (shown, saved, refused) = typed(&pack, &["go label-current", "148", "", "quit"]);
    assert!(shown.contains("148 A? Enter confirms"), "{shown}");
    assert_eq!((saved, refused), (1, 0));
    assert_eq!(record(&pack).claims.continuous_current.found().show(), "148 A");
    // Anything else than an empty line is a new answer, and the number is not kept.
    let (shown, saved, _) = typed(&pack, &["go label-peak", "300", "0.3 kA", "quit"]);
    assert!(shown.contains("300 A?"), "{shown}");
    assert_eq!(saved, 1);
    assert_eq!(record(&pack).claims.peak_current.found().show(), "0.3 kA");
    let (_, saved, _) = typed(&pack, &["go label-charge-current", "75", "skip", "quit"]);
    assert_eq!((saved, record(&pack).claims.charge_current.is_recorded()), (0, false));
    let (_, saved, _) = typed(&pack, &["go label-charge-current", "75"]);
    assert_eq!((saved, record(&pack).claims.charge_current.is_recorded()), (0, false), "the input ended");
    // A wrong unit is refused, not mended.
    let (shown, saved, refused) = typed(&pack, &["go label-charge-current", "75 V", "quit"]);
    assert_eq!((saved, refused), (0, 1), "{shown}");
    // The unit used last at an item is the one offered for its next part.
    typed(&pack, &["go label-voltage", "add stack cell-stack", "go cells-series", "3"]);
    let (shown, saved, _) = typed(&pack, &["go cell-resistance", "340 µΩ", "341", "", "quit"]);
    assert!(shown.contains("341 µΩ? Enter confirms"), "{shown}");
    assert_eq!(saved, 2);
}

/// A slip is asked about at once; it stands only where somebody says so, and another answer is asked anew.
#[test]
fn an_answer_that_is_not_plausible_is_asked_about_at_once() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let (shown, saved, _) = typed(&pack, &["go label-current", "148 mA", "quit"]);
    assert!(shown.contains("in doubt: `claims.continuous_current` is 148 mA: not plausible"), "{shown}");
    assert!(shown.contains("148 A? Answer again; if it stands, answer `148 mA confirmed`"), "{shown}");
    assert_eq!((saved, record(&pack).claims.continuous_current.found().confirmed), (1, false));
    let (shown, ..) = typed(&pack, &["go label-current", "148 mA confirmed", "quit"]);
    assert!(!shown.contains("in doubt:"), "{shown}");
    assert!(record(&pack).claims.continuous_current.found().confirmed);
    assert_eq!(record(&pack).claims.continuous_current.found().show(), "148 mA");
    let (shown, ..) = typed(&pack, &["go label-current", "148 A", "quit"]);
    assert!(!shown.contains("in doubt:"), "{shown}");
    assert!(!record(&pack).claims.continuous_current.found().confirmed);
}

#[test]
fn a_part_is_like_another_one_but_its_measurements_are_its_own() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    fs::create_dir(&pack).unwrap();
    fs::copy(example().join("inspection.toml"), pack.join("inspection.toml")).unwrap();
    let (shown, saved, refused) = typed(
        &pack,
        &["add positive joint second-joint", "go second-joint", "same as positive-joint", "quit"],
    );
    assert_eq!((saved, refused), (2, 0), "{shown}");
    let record = record(&pack);
    let of = |id: &str| record.path.element.iter().find(|e| e.id.text() == Some(id)).unwrap();
    let (like, new) = (of("positive-joint"), of("second-joint"));
    let mut taken = 0;
    for field in underlid::record::parts::Element::SHAPE.fields {
        let (old, now) = (like.found(field.name).unwrap(), new.found(field.name).unwrap());
        if matches!(field.name, "id" | "kind" | "leg") || now.value().is_none() {
            continue;
        }
        taken += 1;
        assert_eq!(now.show(), old.show(), "{}", field.name);
        assert!(!matches!(old.how, Some(How::Measured | How::Estimated)), "{} is its own", field.name);
        assert_eq!(now.with, None);
    }
    assert!(taken >= 4, "{taken} taken over: {shown}");
    assert!(like.overlap.is_recorded() && !new.overlap.is_recorded(), "an overlap is measured");
    assert!(!new.name.is_recorded());
    assert!(shown.contains("still to be measured here:"), "{shown}");
    // The walk goes on at what is open of it.
    let after = shown.split("still to be measured here").nth(1).unwrap();
    assert!(after.contains("second-joint"), "{after}");
    let (shown, _, refused) = typed(&pack, &["go bms-marking", "same", "go main-fuse", "same", "quit"]);
    assert_eq!(refused, 2, "{shown}");
    assert!(shown.contains("`same` is for a part") && shown.contains("no other fuse has answers"), "{shown}");
}

#[test]
fn readings_go_in_from_anywhere() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let lines = [
        "go instruments-list",
        "meter-mv, four-wire",
        "go instrument-resolution@meter-mv",
        "0.001 V",
        "go instrument-resolution@four-wire",
        "0.001 mΩ",
        "using meter-mv",
        "using four-wire",
        "cell 3 3.302 V, 0.340 mΩ",
        "cell 12: 24 degC",
        "cell 3 3.303 V",
        "cell 4 3.3, 3.4 V",
        "cell 0 3.3 V",
        "add test full load, capacity",
        "row 15 min, 77 A, branch 1",
        "row full-load: 15 min, 77 A, branch 1; 16 min, 78.5 A",
        "go test-date@capacity",
        "row 1 h, 26.1 V, terminals",
        "row 5 apples, 77 A, branch 1",
        "row 15 min, 77 A, branch 1, left",
        "quit",
    ];
    let (shown, _, refused) = typed(&pack, &lines);
    assert_eq!(refused, 4, "{shown}");
    assert!(shown.contains("say of which test, such as row full-load: 15 min"), "{shown}");
    let record = record(&pack);
    let cell = |position: u32| {
        record.cells.reading.iter().find(|reading| reading.position.count() == Some(position)).unwrap()
    };
    assert_eq!(cell(3).voltage.found().show(), "3.303 V");
    assert_eq!(cell(3).voltage.found().with.as_deref(), Some("meter-mv"));
    assert_eq!(cell(3).resistance.found().with.as_deref(), Some("four-wire"));
    assert_eq!(cell(12).temperature.found().show(), "24 °C");
    assert!(record.cells.reading.iter().all(|reading| reading.position.count() != Some(4)));
    let rows = |id: &str| {
        let test = record.test.iter().find(|test| test.id.text() == Some(id)).unwrap();
        let show = |reading: &underlid::record::parts::TestReading| {
            [reading.of.found().show(), reading.at.found().show(), reading.value.found().show()].join(" ")
        };
        test.reading.iter().map(show).collect::<Vec<_>>()
    };
    assert_eq!(rows("full-load"), ["branch 1 15 min 77 A", "branch 1 16 min 78.5 A"]);
    assert_eq!(rows("capacity"), ["terminals 1 h 26.1 V", "branch 1, left 15 min 77 A"]);
    // How many keys a reading takes: a figure to keep low.
    assert!("cell 3 3.302 V\n".len() <= 15);
}

#[test]
fn pictures_are_taken_at_the_prompt() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let card = example().join("photos");
    let photos = format!("photos {}", card.display());
    let session = FillSession::open(&pack, &House::default(), &[], None).unwrap();
    let mut command = std::process::Command::new(BIN);
    command.args(["fill", "--brief", "--sections"]).arg(&pack);
    let mut terminal = rexpect::session::spawn_command(command, Some(60_000)).unwrap();
    terminal.exp_string("1> ").unwrap();
    terminal.send_line("add positive fuse main-fuse").unwrap();
    terminal.exp_string("added: main-fuse").unwrap();
    terminal.send_line("go positive-fuse-kind@main-fuse").unwrap();
    terminal.exp_string("main-fuse").unwrap();
    terminal.send_line(&photos).unwrap();
    terminal.exp_string("05-fuse.jpg").unwrap();
    terminal.exp_string("14 new here").unwrap();
    terminal.exp_string("photos> ").unwrap();
    for (line, says) in [
        ("5", "shows main-fuse (SHA-256 "),
        ("8,10 bms", "shows bms (SHA-256 "),
        ("4 main-fuze", "did you mean `main-fuse`"),
        ("3-99", "the numbers 1 to 14"),
        ("1 proposed", "no part is proposed for 1"),
        ("3 -", "2026-03-14-095036.jpg"),
        ("help", "Pictures are copied, never moved"),
        ("5 -", "which was here already"),
    ] {
        terminal.send_line(line).unwrap();
        terminal.exp_string(says).unwrap();
        terminal.exp_string("photos> ").unwrap();
    }
    terminal.send_line("").unwrap();
    terminal.exp_string("main-fuse").unwrap();
    terminal.send_line("quit").unwrap();
    terminal.exp_eof().unwrap();
    let sight = session.look().unwrap();
    let shows: Vec<String> = sight.record.photo.iter().map(|photo| photo.shows.list().join(", ")).collect();
    assert_eq!(shows, ["main-fuse", "bms", "bms", ""]);
    assert!(sight.record.photo.iter().all(|photo| photo.sha256.is_recorded()));
    assert_eq!(sight.record.path.element[0].own.photos.len(), 1);
    assert_eq!(sight.record.bms.own.photos.len(), 2);
    let copied: Vec<Vec<u8>> = [5, 8, 10].iter().map(|n| originals(&card, *n)).collect();
    for (photo, original) in sight.record.photo.iter().zip(copied) {
        assert_eq!(fs::read(pack.join(photo.file.text().unwrap())).unwrap(), original);
    }
}

/// The bytes of the n-th picture of the example, by name.
fn originals(card: &Path, number: usize) -> Vec<u8> {
    let mut names: Vec<_> = fs::read_dir(card).unwrap().map(|entry| entry.unwrap().path()).collect();
    names.sort_by_key(|path| path.file_name().unwrap().to_str().unwrap().replace("09-", "09a-"));
    fs::read(&names[number - 1]).unwrap()
}

/// A part is proposed by the time at which it was answered, and only proposed.
#[test]
fn a_part_is_proposed_by_time() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    // The journal of answers as another run left it: the fuse was answered at 09:59 by this bench's clock.
    typed(&pack, &["add positive fuse main-fuse", "quit"]);
    let line =
        r#"{"at":"2026-03-14T09:59:00","offset":0,"key":"positive-fuse-kind@main-fuse","shows":"main-fuse"}"#;
    fs::write(pack.join(".underlid.fill"), format!("half a line\n{line}\n")).unwrap();
    let photos = format!("photos {}", example().join("photos").display());
    let (shown, _, refused) = typed(&pack, &[&photos, "1 proposed", "5 proposed", "", "quit"]);
    // 05-fuse.jpg was taken at 09:58:12.
    assert!(shown.contains("perhaps main-fuse: answered 48 s after the picture"), "{shown}");
    assert_eq!(refused, 1, "nothing was answered about the time of picture 1");
    let record = record(&pack);
    assert_eq!(record.photo.len(), 1);
    assert_eq!(record.photo[0].shows.list(), ["main-fuse"]);
    // With the camera's clock put right by an hour, nothing is near.
    let (shown, ..) = typed(&pack, &[&format!("{photos} clock +01:00:00"), "", "quit"]);
    assert!(!shown.contains("perhaps"), "{shown}");
    // An answer given now is noted with its time, without a word about what it was.
    typed(&pack, &["go positive-fuse-marking@main-fuse", "secret print", "quit"]);
    let journal = fs::read_to_string(pack.join(".underlid.fill")).unwrap();
    assert!(
        journal.contains("@main-fuse\",\"shows\":\"main-fuse\"") && !journal.contains("secret"),
        "{journal}"
    );
}

/// The findings while filling are those of the bench tests, and a long log does not hold up the next answer.
#[test]
fn live_findings_follow_the_bench_tests() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let answers =
        fs::read_to_string(crate::common::root().join("tests/answers/harbour-24-150-rev-a.txt")).unwrap();
    let session = FillSession::open(&pack, &House::default(), &[], None).unwrap();
    walk(&session, &mut answers.as_bytes(), std::io::sink(), Ways { brief: true, sections: true }).unwrap();
    let outcome = |sight: &Sight, rule: &str| {
        sight.judgement.findings.iter().find(|finding| finding.rule == rule).unwrap().outcome
    };
    let sight = session.look().unwrap();
    assert_eq!(outcome(&sight, "capacity-as-claimed"), Outcome::Meets);
    // The answer that names another log decides the rule anew.
    let key: Key = "test-log@capacity".parse().unwrap();
    let saved = session.answer(&key, &Entered::of("logs/none.csv"), None).unwrap();
    assert_eq!(outcome(&saved.sight, "capacity-as-claimed"), Outcome::NotDecided);
    assert!(saved.decided.iter().any(|decided| decided.rule == "capacity-as-claimed"), "{:?}", saved.decided);
    // Enough that working it out is no longer done at once, also on a fast machine.
    let rows = 1_500_000;
    let mut log = "Time [s],Voltage [V],Current [A]\n".to_owned();
    for row in 0..rows {
        let voltage = if row + 1 == rows { 19.9 } else { 26.0 - 2.0 * f64::from(row) / f64::from(rows) };
        log.push_str(&format!("{},{voltage},30.0\n", f64::from(row) / 80.0));
    }
    fs::write(pack.join("logs/long.csv"), log).unwrap();
    let started = Instant::now();
    let saved = session.answer(&key, &Entered::of("logs/long.csv"), None).unwrap();
    let confirmed = started.elapsed();
    assert!(saved.sight.beside);
    assert_eq!(outcome(&saved.sight, "capacity-as-claimed"), Outcome::NotDecided);
    let sight = loop {
        let sight = session.look().unwrap();
        if !sight.beside {
            break sight;
        }
        assert!(started.elapsed() < Duration::from_secs(120), "the log is never read");
        std::thread::sleep(Duration::from_millis(20));
    };
    let with_log = started.elapsed();
    assert!(confirmed < with_log / 2, "{confirmed:?} of {with_log:?}");
    assert_eq!(outcome(&sight, "capacity-as-claimed"), Outcome::Meets);
    let mut slowest = Duration::ZERO;
    for (key, value) in [
        ("label-mark-warnings", "no"),
        ("label-capacity", "151 Ah"),
        ("bms-marking", "8S 151A"),
        ("enclosure-vent-path", "no"),
        ("label-capacity", "149 Ah"),
    ] {
        let Ok(key) = key.parse::<Key>();
        if saved.sight.question(&key).is_none() {
            continue;
        }
        let started = Instant::now();
        session.answer(&key, &Entered::of(value), None).unwrap();
        slowest = slowest.max(started.elapsed());
    }
    println!("the log of {rows} rows was read in {with_log:?}; the slowest answer after it took {slowest:?}");
    assert!(slowest < with_log, "{slowest:?} against {with_log:?}");
    // What was worked out beside is there in the end.
    let started = Instant::now();
    loop {
        let sight = session.look().unwrap();
        let claim = sight.judgement.findings.iter().find(|f| f.rule == "capacity-as-claimed").unwrap();
        if claim.working.numbers.contains("149 Ah") {
            break;
        }
        assert!(started.elapsed() < Duration::from_secs(60), "{}", claim.working.numbers);
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// `list` with a section is a command at every question; with another word it is asked about before it is an answer.
#[test]
fn a_list_that_is_asked_for_is_no_answer() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    assert_eq!(crate::common::run(&["new", pack.to_str().unwrap(), "--kind", "drop-in"]).0, 0);
    let (shown, _, refused) = typed(
        &pack,
        &[
            "sections",
            "go pack-price",
            "list label",
            "list all",
            "list price",
            "590 EUR",
            "go pack-place",
            "list one",
            "",
            "quit",
        ],
    );
    assert_eq!(refused, 0, "{shown}");
    assert!(
        shown.contains("Rated continuous discharge current?") && shown.contains("list price? Enter confirms"),
        "{shown}"
    );
    let inspection = record(&pack).inspection;
    assert_eq!(inspection.price.text(), Some("590 EUR"));
    assert_eq!(inspection.place.text(), Some("list one"));
}

/// Who did no test says so in the word at hand; names that a label prints, and units in words, are understood or answered.
#[test]
fn plain_words_are_understood_or_answered() {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    assert_eq!(crate::common::run(&["new", pack.to_str().unwrap()]).0, 0);
    let (shown, saved, refused) = typed(
        &pack,
        &[
            "go pack-kind",
            "drop in",
            "go label-current",
            "100 amps",
            "100 A",
            "go tests-list",
            "none",
            "go negative-list",
            "-",
            "go cells-chemistry",
            "lifepo4",
            "go label-voltage",
            "12.8 VDC",
            "quit",
        ],
    );
    assert_eq!((saved, refused), (3, 2), "{shown}");
    for said in [
        "`amps` is not a unit; did you mean `A`?",
        "`VDC` is not a unit; did you mean `V`?",
        "nothing to list: it stays open",
    ] {
        assert!(shown.contains(said), "{said}: {shown}");
    }
    let record = record(&pack);
    assert_eq!(record.inspection.kind.word(), Some("drop-in"));
    assert_eq!(record.cells.chemistry.word(), Some("LFP"));
}

/// A part that no checklist knows does no harm: it stays as it is, and everything else is asked and saved.
#[test]
fn parts_unknown_to_the_checklist_stay() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    fs::create_dir_all(pack.join("checklists")).unwrap();
    // A list of one question, for a record that holds far more.
    let list = "schema = 1\nkind = \"drop-in\"\ntitle = \"Short\"\nabout = \"x\"\n[[section]]\nid = \"only\"\ntitle = \"Only\"\nabout = \"x\"\n[[section.item]]\nid = \"title\"\nprompt = \"Title?\"\nwhy = \"w\"\nlook = \"l\"\nfield = \"inspection.title\"\n";
    fs::write(pack.join("checklists/short.toml"), list).unwrap();
    fs::copy(example().join("inspection.toml"), pack.join("inspection.toml")).unwrap();
    let before = fs::read_to_string(pack.join("inspection.toml")).unwrap();
    let (shown, saved, refused) = typed(
        &pack,
        &["1: Another title", "add positive busbar", "cell 2 3.3 V", "row capacity: 1 min, 5 A, x", "quit"],
    );
    assert_eq!((saved, refused), (3, 1), "{shown}");
    assert!(shown.contains("does not ask for the voltage of a cell"), "{shown}");
    let after = fs::read_to_string(pack.join("inspection.toml")).unwrap();
    let mut lines = after.lines();
    for line in before.lines().filter(|line| !line.starts_with("title = ")) {
        assert!(lines.any(|other| other == line), "lost: {line}\n{after}");
    }
}

#[test]
fn links_are_entered_together_answered_as_one_and_put_right() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let session = FillSession::open(&pack, &House::default(), &[], None).unwrap();
    let key = |text: &str| text.parse::<Key>().unwrap();
    let answer = |at: &str, value: &str| session.answer(&key(at), &Entered::of(value), None).unwrap();
    answer("stack-list", "cell-stack cells, 3 busbar link");
    answer("stack-material@link-1", "copper");
    answer("stack-section@link-1", "20 x 1.5 to 2.5 mm");
    let saved = session.alike(&key("stack-material@link-1")).unwrap();
    assert!(saved.said.contains("link-2 and link-3"), "{}", saved.said);
    let record = &saved.sight.record;
    let links: Vec<_> = record.path.element.iter().filter(|e| e.kind.word() == Some("busbar")).collect();
    assert!(links.len() == 3 && links.iter().all(|link| link.material.word() == Some("copper")));
    // What was measured of one is none of another.
    assert!(links[1].section.found().value().is_none());
    let (text, ..) = typed(
        &pack,
        &[
            "go link-3",
            "20 x 2 mm",
            "clear",
            "go link-3",
            "remove link-2",
            "remove link-3",
            "go link-2",
            "rename to plus-link",
            "go plus-link",
            "move first",
        ],
    );
    assert!(text.contains("this is `link-3`"), "{text}");
    let sight = session.look().unwrap();
    let ids: Vec<&str> = sight.record.path.element.iter().filter_map(|e| e.id.text()).collect();
    assert_eq!(ids, ["plus-link", "cells", "link-1"], "{text}");
}
