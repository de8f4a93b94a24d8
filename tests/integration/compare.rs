//! `compare` on small records written here, on the examples, and on records from strangers.

use std::fs;

use crate::common::{run, text};
use serde_json::Value;
use underlid::judge::inspection::{House, Inspection};
use underlid::render::OWN_WORDS;
use underlid::render::compare::{ChangeKind, Comparison, FindingComparison, compare, write_text};

/// A small pack: every permissible current is printed on the part, or follows from its rating.
struct Pack {
    revision: &'static str,
    rated: &'static str,
    /// Current of the plug in the positive leg, from its data sheet.
    plug: &'static str,
    elements: Vec<&'static str>,
    more: &'static str,
}

const TERMINAL: &str = "id = \"minus\"\nkind = \"terminal\"\nleg = \"negative\"\nmarked_current = \"300 A\"";
const CELLS: &str = "id = \"cells\"\nkind = \"cell-stack\"\nleg = \"stack\"";
const PLUG: &str = "id = \"plus-plug\"\nkind = \"connector\"\nleg = \"positive\"\nname = \"bar to the fuse\"\nmarked_current = { value = \"PLUG\", how = \"marked\" }";
const FUSE: &str = "id = \"fuse\"\nkind = \"fuse\"\nleg = \"positive\"\nfuse = { value = \"class T\", how = \"marked\" }\nrating = { value = \"300 A\", how = \"marked\" }";

const fn pack(revision: &'static str, rated: &'static str, plug: &'static str) -> Pack {
    Pack { revision, rated, plug, elements: Vec::new(), more: "" }
}

impl Pack {
    fn text(&self) -> String {
        let standard = vec![TERMINAL, CELLS, PLUG, FUSE];
        let elements = if self.elements.is_empty() { standard } else { self.elements.clone() };
        let elements: String =
            elements.iter().map(|element| format!("[[path.element]]\n{element}\n\n")).collect();
        format!(
            r#"schema = 2

[inspection]
title = "Pack of a test, revision {revision}"
maker = "Nobody"
model = "Test 12-100"
revision = "{revision}"
invented = "yes"

[claims]
continuous_current = "{rated}"
capacity = "100 Ah"

[[instrument]]
id = "caliper"
name = "caliper"
accuracy = "2 digits"
resolution = "0.5 mm"

[cells]
series = 4
parallel = 1
capacity = {{ value = "100 Ah", how = "marked" }}
discharge_rate_limit = {{ value = "3 C", how = "claimed" }}

[path]
complete = "yes"

{elements}
{more}
"#,
            revision = self.revision,
            rated = self.rated,
            more = self.more,
        )
        .replace("PLUG", self.plug)
    }

    fn write(&self) -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("inspection.toml"), self.text()).unwrap();
        folder
    }
}

fn open(folder: &tempfile::TempDir) -> Inspection {
    Inspection::open(folder.path(), &House::default(), &OWN_WORDS).unwrap()
}

fn compared(packs: &[Pack]) -> Comparison {
    let folders: Vec<_> = packs.iter().map(Pack::write).collect();
    compare(&folders.iter().map(open).collect::<Vec<_>>())
}

fn example(revision: &str) -> String {
    format!("{}/example-inspections/harbour-24-150-rev-{revision}", env!("CARGO_MANIFEST_DIR"))
}

/// A rating that went down because a plug was made smaller, as text and as Markdown.
#[test]
fn a_rating_explained_by_a_part() {
    let mut later = pack("B", "150 A", "170 A ± 12 A");
    later.more = "[enclosure]\nmaterial = \"plastic\"\nseal = \"absent\"\n";
    let folders = [pack("A", "200 A", "232 A ± 14 A").write(), later.write()];
    let inspections: Vec<Inspection> = folders.iter().map(open).collect();
    let comparison = compare(&inspections);
    insta::assert_snapshot!("part-text", write_text(&comparison, false, false));
    let to = tempfile::tempdir().unwrap();
    let paths = folders.each_ref().map(|folder| text(folder.path()));
    let (code, out, err) = run(&["compare", &paths[0], &paths[1], "--to", &text(to.path())]);
    assert_eq!(code, 0, "{err}");
    assert!(out.contains("compare.html"));
    let markdown = fs::read_to_string(to.path().join("compare.md")).unwrap();
    insta::assert_snapshot!("part-markdown", markdown.split("\n# Annex").next().unwrap());
}

#[test]
fn an_inspection_with_itself_shows_no_change() {
    for folder in [example("a"), example("b")] {
        let (code, out, err) = run(&["compare", &folder, &folder, "--format", "json"]);
        assert_eq!(code, 0, "{err}");
        let json: Value = serde_json::from_str(&out).unwrap();
        for list in ["changed", "one_only", "within"] {
            assert_eq!(json["totals"][list], 0, "{list}");
        }
        for list in ["gained", "lost", "changed", "applied_in_some"] {
            assert_eq!(json["findings"][list], Value::Array(Vec::new()), "{list}");
        }
        assert_eq!(json["ratings"][0]["outcome"], "rating unchanged");
        assert!(json["remarks"][0].as_str().unwrap().contains("same file"));
        for element in json["elements"].as_array().unwrap() {
            assert!(element.get("only_in").is_none(), "{element}");
        }
    }
}

/// In another order the same elements stand for each other, and nothing else is said of them.
#[test]
fn the_order_of_the_list_changes_nothing() {
    let mut turned = pack("B", "150 A", "170 A ± 12 A");
    turned.elements = vec![FUSE, PLUG, CELLS, TERMINAL];
    let straight = compared(&[pack("A", "200 A", "232 A ± 14 A"), pack("B", "150 A", "170 A ± 12 A")]);
    let turned = compared(&[pack("A", "200 A", "232 A ± 14 A"), turned]);
    assert_eq!(straight.totals, turned.totals);
    assert_eq!(straight.ratings, turned.ratings);
    // What is missing is listed in the order of the path, so details may say the same in another order.
    let outcomes = |c: &Comparison| {
        let f = &c.findings;
        [&f.gained, &f.lost, &f.changed, &f.kept, &f.applied_in_some, &f.open_in_all].map(|list| {
            let words = |f: &FindingComparison| f.states.iter().map(|s| s.word).collect::<Vec<_>>();
            list.iter().map(|f| (f.rule.clone(), f.subject.clone(), words(f))).collect::<Vec<_>>()
        })
    };
    assert_eq!(outcomes(&straight), outcomes(&turned));
    assert_eq!(straight.findings.met_in_all, turned.findings.met_in_all);
    let labels = |c: &Comparison| c.elements.iter().map(|e| e.labels.clone()).collect::<Vec<_>>();
    assert_eq!(labels(&straight), labels(&turned));
}

/// The other way round everything is turned about, and nothing else.
#[test]
fn compare_mirrors() {
    let one = || pack("A", "200 A", "232 A ± 14 A");
    let other = || Pack {
        elements: vec![TERMINAL, CELLS, PLUG, "id = \"cut\"\nkind = \"thermal-cutoff\"\nleg = \"positive\""],
        more: "[heater]\npresent = \"yes\"\n",
        ..pack("B", "150 A", "170 A ± 12 A")
    };
    let (there, back) = (compared(&[one(), other()]), compared(&[other(), one()]));
    assert_eq!(there.totals, back.totals);
    let mut names: Vec<&str> = there.elements.iter().map(|e| e.label.as_str()).collect();
    let mut turned: Vec<&str> = back.elements.iter().map(|e| e.label.as_str()).collect();
    names.sort_unstable();
    turned.sort_unstable();
    assert_eq!(names, turned);
    let ids = |list: &[FindingComparison]| {
        list.iter().map(|f| (f.rule.clone(), f.subject.clone())).collect::<Vec<_>>()
    };
    assert!(!there.findings.gained.is_empty());
    assert_eq!(ids(&there.findings.gained), ids(&back.findings.lost));
    assert_eq!(ids(&there.findings.lost), ids(&back.findings.gained));
    assert_eq!(there.ratings[0].outcome, back.ratings[0].outcome);
    let place = |c: &Comparison, label: &str| {
        c.elements.iter().find(|e| e.label == label).and_then(|e| e.in_place_of.clone())
    };
    assert_eq!(place(&there, "fuse").as_deref(), Some("thermal-cutoff cut"));
    assert_eq!(place(&back, "thermal-cutoff cut").as_deref(), Some("fuse"));
}

#[test]
fn not_recorded_absent_and_not_seen_are_kept_apart() {
    // A's value, B's value, where it is sorted, what is said
    let cases = [
        ("", "seal = \"gasket\"", "one_only", "not recorded in revision A"),
        ("seal = \"gasket\"", "", "one_only", "not recorded in revision B"),
        ("", "seal = \"absent\"", "one_only", "not recorded in revision A"),
        ("seal = \"gasket\"", "seal = \"absent\"", "changed", "absent in revision B"),
        ("seal = \"gasket\"", "seal = \"could not see\"", "not_compared", "could not be seen in revision B"),
        (
            "seal = \"could not see\"",
            "seal = \"could not see\"",
            "not_compared",
            "could not be seen in either",
        ),
        ("seal = \"absent\"", "seal = \"absent\"", "same", "absent in both"),
        ("seal = \"gasket\"", "seal = \"sealant\"", "changed", "differs"),
        ("sharp_edges = \"no\"", "sharp_edges = \"absent\"", "same", "the same: no"),
        (
            "creepage = \"8 mm ± 1 mm\"",
            "creepage = \"9 mm ± 1 mm\"",
            "within",
            "no difference shown: +1 mm lies within the combined uncertainty of 1.4 mm",
        ),
        ("creepage = \"8 mm ± 1 mm\"", "creepage = \"11 mm ± 1 mm\"", "changed", "+3.0 mm ± 1.4 mm (+37 %)"),
        (
            "creepage = \"8 mm\"",
            "creepage = \"9 mm\"",
            "changed",
            "+1 mm (+12.5 %), differs as recorded; no uncertainty stated",
        ),
    ];
    for (one, other, list, words) in cases {
        let with = |revision, line: &str| Pack {
            more: Box::leak(format!("[enclosure]\nmaterial = \"plastic\"\n{line}\n").into_boxed_str()),
            ..pack(revision, "200 A", "232 A ± 14 A")
        };
        let comparison = compared(&[with("A", one), with("B", other)]);
        let json = serde_json::to_value(&comparison).unwrap();
        let parts = json["parts"].as_array().unwrap();
        let enclosure = parts.iter().find(|part| part["name"] == "Enclosure").unwrap();
        let said: Vec<&str> = enclosure["fields"][list]
            .as_array()
            .unwrap()
            .iter()
            .filter_map(|row| row["changes"][0]["words"].as_str())
            .collect();
        assert!(said.contains(&words), "{one} | {other}: {enclosure}");
    }
}

#[test]
fn three_inspections_are_compared_with_the_first_and_explained_pair_by_pair() {
    let comparison = compared(&[
        pack("A", "200 A", "232 A ± 14 A"),
        pack("B", "150 A", "170 A ± 12 A"),
        pack("C", "200 A", "170 A ± 12 A"),
    ]);
    let names: Vec<&str> = comparison.inspections.iter().map(|i| i.name.as_str()).collect();
    assert_eq!(names, ["revision A", "revision B", "revision C"]);
    let answers: Vec<&str> = comparison.ratings.iter().map(|answer| answer.answer.as_str()).collect();
    assert_eq!(
        answers,
        [
            "The lower rating is explained by bar to the fuse, which carried 232 A ± 14 A in revision A and carries 170 A ± 12 A in revision B, less than 200 A.",
            "Every recorded element carries as much as before; the rating alone changed. In revision C, bar to the fuse carries 170 A ± 12 A, less than the 200 A it is rated for.",
        ]
    );
    let plug = comparison.elements.iter().find(|e| e.label == "connector plus-plug").unwrap();
    assert_eq!((plug.permissible_current.cells.len(), plug.permissible_current.changes.len()), (3, 2));
}

/// Without a leg, an id or a name an element still finds its partner; a permissible current that is not known explains nothing.
#[test]
fn nothing_is_explained_where_a_permissible_current_is_not_known() {
    let unknown =
        Pack { elements: vec![TERMINAL, CELLS, "kind = \"connector\"", FUSE], ..pack("B", "150 A", "") };
    let comparison = compared(&[pack("A", "200 A", "232 A ± 14 A"), unknown]);
    let answer = &comparison.ratings[0];
    assert_eq!(
        answer.answer,
        "Not decided: the permissible current of bar to the fuse is not known in revision B."
    );
    let plug = comparison.elements.iter().find(|e| e.label == "connector plus-plug").unwrap();
    assert_eq!(plug.matched_by, "connector, positive leg, leg not recorded in all, the only one");
}

#[test]
fn tests_at_other_conditions_are_not_compared() {
    let with = |revision, rate: &str, capacity: &str| {
        Pack {
        more: Box::leak(
            format!(
                "[[test]]\nid = \"cap\"\nkind = \"capacity\"\nrate = \"{rate}\"\ncutoff_voltage = \"10 V\"\ncapacity = \"{capacity}\"\nend = \"load cut-off\"\n"
            )
            .into_boxed_str(),
        ),
        ..pack(revision, "200 A", "232 A ± 14 A")
    }
    };
    let alike = compared(&[with("A", "0.2 C", "101 Ah ± 1 Ah"), with("B", "0.2 C", "96 Ah ± 1 Ah")]);
    assert_eq!(alike.tests[0].conditions_differ, Vec::<String>::new());
    assert_eq!(alike.tests[0].figures[0].changes[0].words, "−5.0 Ah ± 1.4 Ah (−5.0 %)");
    let other = compared(&[with("A", "0.2 C", "101 Ah ± 1 Ah"), with("B", "0.5 C", "96 Ah ± 1 Ah")]);
    assert_eq!(other.tests[0].conditions_differ, ["rate: 0.2 C in revision A, 0.5 C in revision B"]);
    assert!(other.tests[0].figures.is_empty() && other.tests[0].further.is_empty());
}

/// Every figure that is one quantity has its difference, and within the uncertainty none is shown.
#[test]
fn further_figures_of_tests_have_differences() {
    // Logs of a load at two steps of current: the step gives the resistance, the ends of the log the sag.
    let with = |revision: &'static str, milliohms: f64, volts: f64| {
        let folder = Pack {
            more: "[[instrument]]\nid = \"load\"\naccuracy = \"0.5 %\"\nresolution = \"1 mV\"\n[[test]]\nid = \"charge\"\nkind = \"charge\"\nlog = \"logs/charge.csv\"\n",
            ..pack(revision, "200 A", "232 A ± 14 A")
        }
        .write();
        fs::create_dir(folder.path().join("logs")).unwrap();
        let mut log = "time (s),voltage (V),current (A)\n".to_owned();
        for second in 0..600 {
            let current = if second < 10 { 0.0 } else { -20.0 };
            log.push_str(&format!("{second},{:.4},{current}\n", volts - current * milliohms / 1000.0));
        }
        fs::write(folder.path().join("logs/charge.csv"), log).unwrap();
        folder
    };
    let said = |b: &tempfile::TempDir| {
        let a = with("A", 4.0, 13.0);
        let comparison = compare(&[open(&a), open(b)]);
        let test = &comparison.tests[0];
        assert_eq!((test.problems.as_slice(), test.conditions_differ.as_slice()), (&[][..], &[][..]));
        test.further
            .iter()
            .map(|row| (row.what.clone(), row.changes[0].kind, row.changes[0].words.clone()))
            .collect::<Vec<_>>()
    };
    let find = |said: &[(String, ChangeKind, String)], what: &str| {
        let row = said.iter().find(|row| row.0.contains(what));
        row.map(|row| (row.1, row.2.clone())).unwrap_or_else(|| panic!("{what}: {said:?}"))
    };
    let other = said(&with("B", 4.0, 13.5));
    assert_eq!(
        find(&other, "highest voltage"),
        (ChangeKind::AsRecorded, "+500 mV (+3.82 %), differs as recorded; no uncertainty stated".to_owned())
    );
    assert_eq!(find(&other, "highest current").0, ChangeKind::Same);
    let like = said(&with("B", 4.0, 13.0));
    assert!(like.iter().all(|row| row.1 == ChangeKind::Same), "{like:?}");
}

/// The paths stand one above the other on one axis, in words too.
#[test]
fn the_paths_have_one_axis() {
    let folders = [
        pack("A", "200 A", "232 A ± 14 A").write(),
        Pack { elements: vec![TERMINAL, CELLS, PLUG], ..pack("B", "250 A", "170 A ± 12 A") }.write(),
    ];
    let to = tempfile::tempdir().unwrap();
    let paths = folders.each_ref().map(|folder| text(folder.path()));
    run(&["compare", &paths[0], &paths[1], "--to", &text(to.path())]);
    let html = fs::read_to_string(to.path().join("compare.html")).unwrap();
    let pictures: Vec<&str> =
        html.split("<svg").skip(1).map(|svg| svg.split("</svg>").next().unwrap()).collect();
    let ticks = |svg: &str| -> Vec<String> {
        let ticks = svg.split("class=\"tick\"").skip(1).map(|tick| tick.split("</text>").next().unwrap());
        // Place and number; the height differs.
        ticks
            .map(|tick| [tick.split("y=").next().unwrap(), tick.split('>').nth(1).unwrap()].concat())
            .collect()
    };
    assert_eq!(ticks(pictures[0]), ticks(pictures[1]));
    // As the network has them.
    for (picture, words) in [
        (0, "Rated continuous current 200 A"),
        (0, "bar to the fuse: at least 80 °C"),
        (0, "fuse: at least 94 °C"),
        (0, ">◇ at least 47 °C</text>"),
        (1, "bar to the fuse: at least 69 °C"),
    ] {
        assert!(pictures[picture].contains(words), "{words}: {}", pictures[picture]);
    }
    assert!(!pictures[1].contains("fuse: at least 94"));
}

#[test]
fn templates_of_ones_own() {
    let (one, other) =
        (pack("A", "200 A", "232 A ± 14 A").write(), pack("B", "150 A", "170 A ± 12 A").write());
    let (templates, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let [one, other, own, into] = [&one, &other, &templates, &to].map(|folder| text(folder.path()));
    let arguments = ["compare", &one, &other, "--to", &into, "--templates", &own];
    fs::write(templates.path().join("compare.md"), "Our house: {{ c.title | md }}\n").unwrap();
    fs::write(templates.path().join("style.css"), "body{outline:3px solid}\n").unwrap();
    let (code, _, err) = run(&arguments);
    assert_eq!(code, 0, "{err}");
    let read = |name: &str| fs::read_to_string(to.path().join(name)).unwrap();
    assert_eq!(read("compare.md"), "Our house: Test 12-100: revision A and revision B\n");
    let html = read("compare.html");
    assert!(html.contains("body{outline:3px solid}") && !html.contains("--ink:#"));
    assert!(html.contains("What changed, and what that did"), "what is not there is taken from the program");
    fs::write(templates.path().join("compare.md"), "{{ nonsense").unwrap();
    let (code, _, err) = run(&arguments);
    assert_eq!(code, 2);
    assert!(err.contains("template") && err.contains("compare.md"), "{err}");
    assert!(read("compare.md").starts_with("Our house"), "nothing was written");
}

#[test]
fn notes_stand_side_by_side() {
    let with = |revision: &'static str, notes: &str| {
        let folder = pack(revision, "200 A", "232 A ± 14 A").write();
        let path = folder.path().join("inspection.toml");
        let record = fs::read_to_string(&path).unwrap();
        fs::write(&path, record.replacen("schema = 2\n", &format!("schema = 2\nnotes = \"{notes}\"\n"), 1))
            .unwrap();
        folder
    };
    let comparison = compare(&[open(&with("A", "Opened cold.")), open(&with("B", "Opened warm."))]);
    let notes = comparison.circumstances.iter().find(|part| part.name == "Notes").unwrap();
    let row = &notes.fields.changed[0];
    let cells: Vec<&str> = row.cells.iter().map(|cell| cell.text.as_str()).collect();
    assert_eq!((cells.as_slice(), row.kind), (&["Opened cold.", "Opened warm."][..], ChangeKind::Changed));
}

/// The shipped examples: the page is self-contained, marked as invented, and holds the curves of both.
#[test]
fn the_examples() {
    let to = tempfile::tempdir().unwrap();
    let (code, _, err) = run(&["compare", &example("a"), &example("b"), "--to", &text(to.path())]);
    assert_eq!(code, 0, "{err}");
    let read = |name: &str| fs::read_to_string(to.path().join(name)).unwrap();
    let html = read("compare.html");
    assert!(html.contains("Invented example"));
    assert!(!html.contains("<script") && !html.contains("src=\"http"));
    assert!(html.contains("150\u{a0}A in revision A, 200\u{a0}A in revision B"));
    // The fuse that cannot break the short circuit went, and nothing stands in its place that could.
    let fuse = html.split("The fuse cannot interrupt a short circuit").nth(2).unwrap();
    assert!(fuse.split("</li>").next().unwrap().contains("the part is gone; that is no improvement"));
    let csv = read("test-1-curve-1.csv");
    assert!(csv.starts_with("line,") && csv.contains("\nrevision A,") && csv.contains("\nrevision B,"));
    let json: Value = serde_json::from_str(&read("compare.json")).unwrap();
    for group in json["photos"].as_array().unwrap() {
        for photo in group["photos"].as_array().unwrap().iter().flat_map(|list| list.as_array().unwrap()) {
            assert_eq!(photo["sha256"].as_str().unwrap().len(), 64, "{photo}");
        }
    }
    // What JSON alone prints is the same: photos are hashed there too.
    let (_, out, _) = run(&["compare", &example("a"), &example("b"), "--format", "json"]);
    assert_eq!(serde_json::from_str::<Value>(&out).unwrap(), json);
    // Made again it comes out the same.
    let before = html;
    run(&["compare", &example("a"), &example("b"), "--to", &text(to.path())]);
    assert_eq!(before, read("compare.html"));
}

#[test]
fn texts_of_strangers_do_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let hostile = "<script>alert(1)</script> [x](javascript:alert(1)) | **b** \\u001b[31m";
    let record = format!(
        "schema = 2\nnotes = \"{hostile}\"\n[inspection]\ntitle = \"{hostile}\"\nmaker = \"{hostile}\"\nrevision = \"{hostile}\"\n[claims]\nleft_out = \"{hostile}\"\n[[claims.statement]]\nid = \"{hostile}\"\ntext = \"{hostile}\"\n[[path.element]]\nid = \"{hostile}\"\nkind = \"connector\"\nname = \"{hostile}\"\nnote = \"{hostile}\"\n[[photo]]\nfile = \"../../etc/passwd\"\ncaption = \"{hostile}\"\nshows = [\"{hostile}\"]\n"
    );
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    let plain = pack("A", "200 A", "232 A ± 14 A").write();
    let to = tempfile::tempdir().unwrap();
    let paths = [text(plain.path()), text(folder.path())];
    let (code, out, err) = run(&["compare", &paths[0], &paths[1], "--all"]);
    assert_eq!(code, 0, "{err}");
    assert!(!out.contains('\u{1b}'), "{out}");
    let (code, _, err) = run(&["compare", &paths[1], &paths[0], "--to", &text(to.path())]);
    assert_eq!(code, 0, "{err}");
    let html = fs::read_to_string(to.path().join("compare.html")).unwrap();
    let markdown = fs::read_to_string(to.path().join("compare.md")).unwrap();
    assert!(!html.contains("<script") && !html.contains("href=\"javascript"));
    assert!(!markdown.contains("<script") && !markdown.contains("[x](javascript"));
    let json = fs::read_to_string(to.path().join("compare.json")).unwrap();
    assert!(!json.contains("root:"), "a file outside the folder was read");
}

#[test]
fn what_is_refused() {
    let sound = pack("A", "200 A", "232 A ± 14 A").write();
    let sound = text(sound.path());
    let cases: [(&[&str], &str); 4] = [
        (&["compare", &sound], "2"),
        (&["compare", &sound, "/nowhere"], "/nowhere/inspection.toml"),
        (&["compare", &sound, &sound, "--to", &sound], "is one of the inspections"),
        (&["compare", "/dev/null", &sound], "Not a directory"),
    ];
    for (arguments, says) in cases {
        let (code, out, err) = run(arguments);
        assert_eq!(code, 2, "{arguments:?}: {out}");
        assert!(err.contains(says), "{arguments:?}: {err}");
    }
}
