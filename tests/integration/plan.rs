//! `plan` on real input: the examples, fresh and thin records, rigs that fall short, wrong and hostile rigs.

use std::collections::BTreeSet;
use std::fs;

use assert_cmd::Command;
use serde_json::Value;
use underlid::judge::rig::{Given, Sheet};
use underlid::judge::rules::{Book, Outcome};
use underlid::record;

use crate::common::root;
use crate::rule_book::{Weaken, mutants};

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(arguments: &[&str]) -> Ran {
    let mut command = Command::new(env!("CARGO_BIN_EXE_underlid"));
    let output = command.env("NO_COLOR", "1").current_dir(root()).args(arguments).output().unwrap();
    Ran {
        code: output.status.code().expect("an exit status: the program must not be killed by a signal"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Plans a record given as text.
fn plan(record: &str, arguments: &[&str]) -> Ran {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    let mut all = vec!["plan", folder.path().to_str().unwrap()];
    all.extend(arguments);
    let mut ran = run(&all);
    ran.err = ran.err.replace(folder.path().to_str().unwrap(), "DIR");
    ran
}

fn json(record: &str, arguments: &[&str]) -> Value {
    let mut all = vec!["--format", "json"];
    all.extend(arguments);
    let ran = plan(record, &all);
    let json: Value =
        serde_json::from_str(&ran.out).unwrap_or_else(|e| panic!("{e}: {}\n{}", ran.out, ran.err));
    let mut checks = ["rig", "charging"].iter().flat_map(|side| json[side]["checks"].as_array().unwrap());
    let grave = |check: &Value| check["grade"] == "critical" || check["grade"] == "major";
    let short = checks.any(|check| check["outcome"] == "falls short" && grave(check));
    assert_eq!(ran.code, i32::from(short), "{}", ran.err);
    json
}

/// True where a side of the plan does not meet everything that was asked, a custom of the trade included, which is opinion
/// and never changes the outcome of its side.
fn asks(plan: &Value, sides: &[&str]) -> bool {
    sides.iter().any(|side| {
        let mut checks = plan[side]["checks"].as_array().unwrap().iter();
        plan[side]["outcome"] != "meets"
            || checks.any(|check| check["grade"] == "custom" && check["outcome"] != "meets")
    })
}

fn example(revision: &str) -> String {
    let name = format!("example-inspections/harbour-24-150-rev-{revision}/inspection.toml");
    fs::read_to_string(root().join(name)).unwrap()
}

/// Revision A without a word of how its source is connected: through the leads of the load, in the example.
fn without_source_leads() -> String {
    let shared = "shares_leads = \"yes\"\n";
    let a = example("a");
    assert!(a.contains(shared));
    a.replace(shared, "")
}

/// A record without the resistance of the cells: no short-circuit current follows from it.
fn never_opened(record: &str) -> String {
    let cells = "resistance = { value = \"0.34 mΩ\"";
    assert!(record.contains(cells));
    record.lines().filter(|line| !line.starts_with(cells)).map(|line| format!("{line}\n")).collect()
}

/// The value of a setting of a step of the session.
fn setting<'a>(json: &'a Value, step: &str, name: &str) -> Option<&'a Value> {
    let step = json["session"].as_array()?.iter().find(|planned| planned["id"] == step)?;
    step["settings"].as_array()?.iter().find(|line| line["name"] == name)
}

fn si(json: &Value, step: &str, name: &str) -> f64 {
    let line = setting(json, step, name).unwrap_or_else(|| panic!("{step} has no {name}"));
    line["si"].as_f64().unwrap()
}

/// Outcomes of the checks with an id, with their part.
fn outcomes(json: &Value, check: &str) -> Vec<(String, String)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let checks = ["rig", "charging"].iter().flat_map(|side| json[side]["checks"].as_array().unwrap());
    checks.filter(|c| c["rule"] == check).map(|c| (text(&c["part"]), text(&c["outcome"]))).collect()
}

#[test]
fn the_examples_as_text() {
    for (revision, code) in [("a", 0), ("b", 1)] {
        let ran = run(&["plan", &format!("example-inspections/harbour-24-150-rev-{revision}")]);
        assert_eq!(ran.code, code, "{}", ran.err);
        insta::assert_snapshot!(format!("plan-rev-{revision}"), ran.out);
    }
}

/// The form for print holds every step with a box to tick, and a line to write on for everything that is noted.
#[test]
fn an_example_as_a_form() {
    let folder = "example-inspections/harbour-24-150-rev-b";
    let form = run(&["plan", "--format", "html", folder]);
    assert_eq!(form.code, 1, "{}", form.err);
    let json: Value = serde_json::from_str(&run(&["plan", "--format", "json", folder]).out).unwrap();
    let count = |key: &str| {
        let of = |planned: &Value| planned[key].as_array().unwrap().len();
        json["session"].as_array().unwrap().iter().map(of).sum::<usize>()
    };
    let second_look = json["second_look"].as_array().unwrap().len();
    assert_eq!(form.out.matches("<li>☐ ").count(), count("steps") + second_look);
    // Beside them date, bench and name.
    assert_eq!(form.out.matches("class=\"write\"").count(), count("note") + 3);
    assert_eq!(form.out.matches("class=\"caution\"").count(), 1 + count("cautions"), "{}", form.out);
}

#[test]
fn the_examples_as_json() {
    let a = json(&example("a"), &[]);
    assert_eq!(a["format"], 2);
    assert_eq!(a["invented"], true);
    assert_eq!(a["rig"]["outcome"], "meets");
    assert_eq!(a["missing"].as_array().unwrap().len(), 0);
    let b = json(&example("b"), &[]);
    assert_eq!(b["rig"]["outcome"], "falls short");
    assert_eq!(b["rig"]["test_current_si"], 203.0);
    assert!(
        b["rig"]["weakest_lead"]
            .as_str()
            .unwrap()
            .starts_with("cable inverter-red of inverter: carries 73.0 A ± 2.6 A")
    );
    let short: Vec<(String, String)> =
        outcomes(&b, "rig-element-carries").into_iter().filter(|(_, outcome)| outcome != "meets").collect();
    let names: Vec<&str> = short.iter().map(|(part, _)| part.as_str()).collect();
    assert_eq!(names, ["cable inverter-red of inverter", "cable inverter-black of inverter"]);
    // On a mild day the leads carry their share, and their fuse still does not protect them.
    let mild = json(&example("b").replace("value = \"40 degC\"", "value = \"25 degC\""), &[]);
    assert!(outcomes(&mild, "rig-element-carries").iter().all(|(_, outcome)| outcome == "meets"));
    assert!(outcomes(&mild, "rig-conductor-protected").iter().any(|(_, outcome)| outcome == "falls short"));
}

/// 92 A is 0.2 C of 460 Ah, four LFP cells are emptied to 10 V, branches of 77 A and 174 A add to 251 A, 250 A for 15 min
/// are 62.5 Ah (common practice, no source).
#[test]
fn facts_of_the_trade() {
    let record = r#"
schema = 2
[claims]
nominal_voltage = "12.8 V"
capacity = "460 Ah"
continuous_current = "250 A"
[cells]
chemistry = "LFP"
[[rig.load]]
id = "one"
set_current = "77 A"
[[rig.load]]
id = "two"
set_current = "174 A"
"#;
    let plan = json(record, &[]);
    for (step, name, expected) in [
        ("capacity", "current", 92.0),
        ("capacity", "expected duration", 5.0 * 3600.0),
        ("capacity", "cut-off at the load", 10.0),
        ("capacity", "power of the load, pack full", 92.0 * 13.6),
        ("capacity", "power of the load at cut-off", 920.0),
        ("charge", "voltage of the source", 14.6),
        ("full-load", "current to set", 251.0),
        ("full-load", "share of one", 77.0),
        ("full-load", "share of two", 174.0),
        ("full-load", "charge taken out", 62.5 * 3600.0),
        ("full-load", "expected duration", 900.0),
    ] {
        let found = si(&plan, step, name);
        assert!((found - expected).abs() <= 1e-9 * expected, "{step}, {name}: {found}, {expected}");
    }
    assert_eq!(outcomes(&plan, "rig-loads-together"), [("the rig".to_owned(), "meets".to_owned())]);
    assert_eq!(plan["rig"]["outcome"], "not decided");
    let less = json(&record.replace("174 A", "172 A"), &[]);
    assert_eq!(outcomes(&less, "rig-loads-together"), [("the rig".to_owned(), "falls short".to_owned())]);
}

/// 33 CFR 183.425, table 5 (read): 105 °C insulation at 30 °C, and 0.85 of it at 50 °C.
#[test]
fn leads_of_the_rig_against_the_regulation() {
    for (size, ambient, expected) in [
        ("8 AWG", "30 degC", 80.0),
        ("4 AWG", "30 degC", 160.0),
        ("2 AWG", "30 degC", 210.0),
        ("1/0 AWG", "30 degC", 285.0),
        ("4/0 AWG", "30 degC", 445.0),
        ("2 AWG", "50 degC", 0.85 * 210.0),
        ("4/0 AWG", "50 degC", 0.85 * 445.0),
    ] {
        let record = example("a").replace("size = \"50 mm2\"", &format!("size = \"{size}\"")).replace(
            "[rig]\ncomplete = \"yes\"\nambient = { value = \"24 degC\"",
            // A thermometer without an accuracy has the usual one of its kind; the table is read at one temperature.
            &format!("[rig]\ncomplete = \"yes\"\nambient = {{ value = \"{ambient} ± 0.001 K\""),
        );
        let plan = json(&record, &[]);
        let elements = plan["rig"]["branches"][0]["elements"].as_array().unwrap();
        let lead = elements.iter().find(|element| element["label"] == "cable red-lead").unwrap();
        let shown: f64 =
            lead["permissible_current"].as_str().unwrap().split(" A").next().unwrap().parse().unwrap();
        assert!((shown - expected).abs() < 0.06, "{size} at {ambient}: {shown}, {expected}");
        let carries = if expected >= 151.0 { "meets" } else { "falls short" };
        assert_eq!(lead["outcome"], carries, "{size} at {ambient}");
    }
}

#[test]
fn a_fresh_record_passes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let fresh = folder.path().join("fresh");
    let made = run(&["new", fresh.to_str().unwrap()]);
    assert!(made.out.contains("underlid plan "), "{}", made.out);
    let ran = run(&["plan", fresh.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("Not decided: no test rig is recorded"), "{}", ran.out);
    assert!(ran.out.contains("Charging: Not decided"), "{}", ran.out);
    assert!(!ran.out.contains('●') && !ran.out.contains("meets"), "{}", ran.out);
    insta::assert_snapshot!("plan-fresh", ran.out);
}

/// Every line that a plan proposes can be put into the record as it stands.
#[test]
fn every_line_that_is_proposed_reads() {
    let thin = "schema = 2\n[[rig.element]]\nkind = \"cable\"\n[[rig.element]]\nkind = \"fuse\"\n[[rig.load]]\nid = \"l\"\n\
                [[rig.meter]]\n";
    let plan = json(thin, &[]);
    assert_eq!(plan["rig"]["outcome"], "not decided");
    let of_checks = plan["rig"]["checks"].as_array().unwrap().iter();
    let of_checks = of_checks.filter_map(|check| check["missing"].as_array()).flatten();
    let lacks: Vec<&Value> = plan["missing"].as_array().unwrap().iter().chain(of_checks).collect();
    let mut tried = 0;
    for lacking in lacks {
        let Some(line) = lacking["write"].as_str() else { continue };
        let (line, table) = line.split_once(" (in ").unwrap();
        let (table, more) = table.split_once(')').unwrap();
        let table = table.split(" or ").next().unwrap();
        let fuse = "[[rig.element]]\nid = \"f\"\nkind = \"fuse\"\n";
        let (before, own) = if more.contains("whose `of` is") { (fuse, "of = \"f\"\n") } else { ("", "") };
        let (key, _) = line.split_once(" = ").unwrap();
        let kind = match (table, key) {
            (
                "[[rig.element]]",
                "rating" | "fuse" | "interrupting_rating" | "rated_voltage" | "distance_from_cells",
            ) => "kind = \"fuse\"\n",
            ("[[rig.element]]", _) => "kind = \"cable\"\n",
            _ => "",
        };
        let kind = if key == "kind" { "" } else { kind };
        let ran = self::plan(&format!("schema = 2\n{before}{table}\n{own}{kind}{line}\n"), &[]);
        assert_eq!(ran.code, 0, "{table} {line}: {}", ran.err);
        tried += 1;
    }
    assert!(tried > 15, "{tried}");
}

/// A rig that meets every check, with any one of its lines taken away, no longer meets them all; only names, remarks and
/// what is assumed on the safe side may go.
#[test]
fn nothing_passes_that_is_not_recorded() {
    let whole = example("a");
    let all = json(&whole, &[]);
    assert_eq!((&all["rig"]["outcome"], &all["charging"]["outcome"]), (&"meets".into(), &"meets".into()));
    let from = whole.find("\n[rig]").unwrap();
    let to = from + whole[from..].find("\n[[test]]").unwrap();
    let may_go = |key: &str| {
        ["id", "name", "marking", "how", "bundled", "length", "resistance", "fastening"].contains(&key)
    };
    let lines: Vec<&str> = whole[from..to].lines().collect();
    let mut tried = 0;
    for (number, line) in lines.iter().enumerate() {
        let Some((key, _)) = line.split_once(" = ") else { continue };
        if may_go(key) || line.starts_with('#') {
            continue;
        }
        let mut less = lines.clone();
        less.remove(number);
        let record = format!("{}{}{}", &whole[..from], less.join("\n"), &whole[to..]);
        let ran = plan(&record, &["--format", "json"]);
        // An element without a kind, or a word that another line needs, is refused outright.
        if ran.code == 2 {
            assert_eq!(key, "kind", "{line}: {}", ran.err);
            continue;
        }
        let plan: Value = serde_json::from_str(&ran.out).unwrap();
        // The kind of a load only ever adds a check, that of a source none.
        if key != "kind" {
            assert!(asks(&plan, &["rig", "charging"]), "without `{line}`, line {number}");
        }
        tried += 1;
    }
    assert!(tried > 25, "{tried}");
}

#[test]
fn changes_to_the_rig_and_what_they_do() {
    let a = example("a");
    let cases: &[(&str, &str, &str, &str, &str)] = &[
        (
            "interrupting_rating = \"20 kA\"",
            "interrupting_rating = \"2 kA\"",
            "rig-fuse-interrupts",
            "falls short",
            "fuse rig-fuse",
        ),
        (
            "rated_voltage = \"125 V\"",
            "rated_voltage = \"24 V\"",
            "rig-fuse-voltage",
            "falls short",
            "fuse rig-fuse",
        ),
        (
            "distance_from_cells = \"90 mm\"\n",
            "distance_from_cells = \"1 m\"\n",
            "rig-fuse-near",
            "falls short",
            "fuse rig-fuse",
        ),
        ("rating = \"200 A\"", "rating = \"150 A\"", "rig-element-carries", "falls short", "fuse rig-fuse"),
        (
            "rating = \"200 A\"",
            "rating = \"300 A\"",
            "rig-conductor-protected",
            "falls short",
            "cable red-lead",
        ),
        (
            "rating = \"200 A\"",
            "rating = \"could not see\"",
            "rig-conductor-protected",
            "not decided",
            "cable red-lead",
        ),
        (
            "fuse = \"class T\"\nrating",
            "fuse = \"unknown\"\nrating",
            "rig-fuse-responds",
            "not decided",
            "fuse rig-fuse",
        ),
        (
            "fuse = \"class T\"\nrating",
            "fuse = \"unknown\"\nrating",
            "rig-fuse-present",
            "not decided",
            "the rig",
        ),
        (
            "marked_current = { value = \"300 A\", how = \"marked\" }",
            "marked_current = \"absent\"",
            "rig-element-carries",
            "not decided",
            "shunt",
        ),
        (
            "marked_current = { value = \"300 A\", how = \"marked\" }",
            "marked_current = \"150 A\"",
            "rig-element-carries",
            "falls short",
            "shunt",
        ),
        (
            "material = \"copper\"\nbundled = 2",
            "material = \"aluminium\"\nbundled = 2",
            "rig-element-carries",
            "not decided",
            "cable red-lead",
        ),
        ("bundled = 2", "bundled = 25", "rig-element-carries", "falls short", "cable red-lead"),
        (
            "overlap = { value = \"25 x 25 mm\"",
            "overlap = { value = \"12 x 25 mm\"",
            "rig-element-carries",
            "falls short",
            "joint red-lug",
        ),
        ("power = \"6 kW\"", "power = \"4 kW\"", "rig-load-power", "falls short", "load"),
        (
            "current = \"200 A\"\nvoltage = \"80 V\"",
            "current = \"150 A\"\nvoltage = \"80 V\"",
            "rig-load-current",
            "falls short",
            "load",
        ),
        (
            "current = \"200 A\"\nvoltage = \"80 V\"",
            "current = \"200 A\"\nvoltage = \"28 V\"",
            "rig-load-voltage",
            "falls short",
            "load",
        ),
        (
            "range = \"200 A\"",
            "range = \"160 A\"",
            "rig-meter-range",
            "falls short",
            "meter load-i, whole current",
        ),
        (
            "range = \"200 A\"",
            "range = \"200 V\"",
            "rig-meter-range",
            "not decided",
            "meter load-i, whole current",
        ),
        (
            "instrument = \"thermo\"",
            "instrument = \"nobody\"",
            "rig-meter-accuracy",
            "not decided",
            "meter nobody, temperature",
        ),
        ("reads = \"temperature\"", "reads = \"pack voltage\"", "rig-meters", "not decided", "the rig"),
        (
            "voltage = \"29.2 V\"\ncurrent = \"50 A\"",
            "voltage = \"30 V\"\ncurrent = \"50 A\"",
            "rig-source-voltage",
            "falls short",
            "bench supply, 60 V, 50 A",
        ),
        (
            "voltage = \"29.2 V\"\ncurrent = \"50 A\"",
            "voltage = \"29.2 V\"\ncurrent = \"90 A\"",
            "rig-source-current",
            "falls short",
            "bench supply, 60 V, 50 A",
        ),
        ("sense = \"at the pack\"", "sense = \"at the load\"", "rig-sense", "meets", "the rig"),
        ("sense = \"at the pack\"", "sense = \"could not see\"", "rig-sense", "not decided", "the rig"),
        ("[rig]\ncomplete = \"yes\"", "[rig]\ncomplete = \"no\"", "rig-listed", "not decided", "the rig"),
        (
            "ambient = { value = \"24 degC\", how = \"measured\" }\nsense",
            "sense",
            "rig-element-carries",
            "not decided",
            "cable red-lead",
        ),
    ];
    for (old, new, check, outcome, part) in cases {
        assert!(a.contains(old), "{old}");
        let plan = json(&a.replace(old, new), &[]);
        let found = outcomes(&plan, check);
        assert!(found.contains(&((*part).to_owned(), (*outcome).to_owned())), "{new}: {found:?}");
        if *outcome != "meets" {
            assert!(asks(&plan, &["rig", "charging"]), "{new}");
        }
    }
    // Sensing at the load is good enough with short leads, and not with long ones.
    let long = a
        .replace("sense = \"at the pack\"", "sense = \"at the load\"")
        .replace("length = \"1.2 m\"", "length = \"12 m\"");
    assert_eq!(outcomes(&json(&long, &[]), "rig-sense"), [("the rig".to_owned(), "falls short".to_owned())]);
    let unknown = a
        .replace("sense = \"at the pack\"", "sense = \"at the load\"")
        .replace("resistance = \"200 µΩ\"\n", "");
    assert_eq!(
        outcomes(&json(&unknown, &[]), "rig-sense"),
        [("the rig".to_owned(), "not decided".to_owned())]
    );
}

/// The leads of the source alone, with their fuse: the checks are those of any lead, at the current of the source.
#[test]
fn leads_of_the_source() {
    let cable = |id: &str| {
        format!(
            "[[rig.source.element]]\nid = \"{id}\"\nkind = \"cable\"\nsize = \"16 mm2\"\ninsulation_temperature = \"105 degC\"\n\
             material = \"copper\"\nbundled = 2\nlength = \"2 m\"\n"
        )
    };
    let fuse = "[[rig.source.element]]\nid = \"charge-fuse\"\nkind = \"fuse\"\nfuse = \"class T\"\nrating = \"80 A\"\n\
                rated_voltage = \"125 V\"\nvoltage_for = \"direct current\"\ninterrupting_rating = \"20 kA\"\n\
                distance_from_cells = \"80 mm\"\nresistance = \"0.4 mΩ\"\n";
    let record = |elements: &str| {
        let a = without_source_leads();
        let at = a.find("\n[[rig.element]]").unwrap();
        format!("{}\n{elements}{}", &a[..at], &a[at..])
    };
    let sheet = "[[rig.clearing]]\nof = \"charge-fuse\"\nlet_through = \"9000 A²s\"\n";
    let own = format!("{fuse}{}{}{sheet}", cable("charge-red"), cable("charge-black"));
    let plan = json(&record(&own), &[]);
    assert_eq!(plan["charging"]["outcome"], "meets", "{}", plan["charging"]);
    assert_eq!(plan["charging"]["test_current_si"], 50.0);
    assert!(plan["charging"]["weakest_lead"].as_str().unwrap().starts_with("cable charge-red: carries 140"));
    // 2 · 2 m of 16 mm² copper at 20 °C, 99 % IACS, and the fuse: 4.754 mΩ at 50 A.
    let drop = si(&plan, "charge", "drop of its leads at that current");
    assert!((drop - 50.0 * (1.7241e-8 / 0.99 * 4.0 / 16e-6 + 0.4e-3)).abs() < 1e-6, "{drop}");
    for (old, new, check, outcome, part) in [
        ("16 mm2", "2.5 mm2", "rig-element-carries", "falls short", "cable charge-red"),
        ("16 mm2", "4 mm2", "rig-conductor-withstands-fault", "meets", "cable charge-red"),
        ("9000 A²s", "9000000 A²s", "rig-conductor-withstands-fault", "falls short", "cable charge-red"),
        (
            "let_through = \"9000 A²s\"",
            "clearing_time = \"1 ms\"",
            "rig-conductor-withstands-fault",
            "meets",
            "cable charge-red",
        ),
        (
            "let_through = \"9000 A²s\"",
            "clearing_time = \"1 s\"",
            "rig-conductor-withstands-fault",
            "falls short",
            "cable charge-red",
        ),
        (
            "let_through = \"9000 A²s\"\n",
            "",
            "rig-conductor-withstands-fault",
            "not decided",
            "cable charge-red",
        ),
        ("\"20 kA\"", "\"2 kA\"", "rig-fuse-interrupts", "falls short", "fuse charge-fuse"),
        ("\"80 mm\"", "\"1 m\"", "rig-fuse-near", "falls short", "fuse charge-fuse"),
        ("\"80 A\"", "\"300 A\"", "rig-conductor-protected", "falls short", "cable charge-black"),
    ] {
        assert!(own.contains(old), "{old}");
        let plan = json(&record(&own.replace(old, new)), &[]);
        let found = outcomes(&plan, check);
        assert!(found.contains(&(part.to_owned(), outcome.to_owned())), "{new}: {found:?}");
        assert_eq!(plan["rig"]["outcome"], "meets", "the loads have leads of their own");
        assert!(outcome == "meets" || asks(&plan, &["charging"]), "{new}");
    }
    // Neither its own leads nor those of the loads: nothing is known of it.
    let plan = json(&record(""), &[]);
    assert_eq!(plan["charging"]["outcome"], "not decided");
    // Without a fuse nothing protects them, and nothing ends a short circuit in them.
    let plan = json(&record(&format!("{}{}", cable("charge-red"), cable("charge-black"))), &[]);
    for (check, part) in [
        ("rig-source-fuse-present", "bench supply, 60 V, 50 A"),
        ("rig-conductor-protected", "cable charge-red"),
        ("rig-conductor-withstands-fault", "cable charge-black"),
    ] {
        assert!(outcomes(&plan, check).contains(&(part.to_owned(), "falls short".to_owned())), "{check}");
    }
    assert!(plan["charging"]["unfused"].as_str().unwrap().contains("cable charge-red spoils"), "{plan}");
    // One lead is no circuit.
    let plan = json(&record(&format!("{fuse}{}", cable("charge-red"))), &[]);
    assert_eq!(plan["charging"]["outcome"], "not decided");
    // A current that is not recorded is the claimed one, and one that nobody claims is missing.
    let no_current = record(&own).replace("voltage = \"29.2 V\"\ncurrent = \"50 A\"", "voltage = \"29.2 V\"");
    assert_eq!(json(&no_current, &[])["charging"]["test_current_si"], 75.0);
}

/// IEC 60364-4-43, 434.5.2 and table 43A (from memory): 115 A·s^½/mm² · 50 mm² at 5 750 A last 1 s.
#[test]
fn leads_in_a_short_circuit() {
    let at = |more: &str, current: &str| {
        let a = never_opened(&example("a")).replace(
            "sense = \"at the pack\"",
            &format!("sense = \"at the pack\"\nfault_current = \"{current}\""),
        );
        let sheet = if more.is_empty() {
            String::new()
        } else {
            format!("\n[[rig.clearing]]\nof = \"rig-fuse\"\n{more}")
        };
        let a = a.replacen("\n[[test]]", &format!("{sheet}\n[[test]]"), 1);
        let plan = json(&a, &[]);
        let checks = plan["rig"]["checks"].as_array().unwrap().iter();
        let check = checks
            .into_iter()
            .find(|c| c["rule"] == "rig-conductor-withstands-fault" && c["part"] == "cable red-lead")
            .unwrap();
        (check["outcome"].as_str().unwrap().to_owned(), check.to_string())
    };
    for (more, current, outcome, words) in [
        ("clearing_time = \"1 s\"\n", "5750 A", "meets", "clears within 1 s"),
        ("clearing_time = \"1.01 s\"\n", "5750 A", "falls short", "5750 A for 1 s"),
        (
            "let_through = \"33062500 A²s\"\n",
            "5750 A",
            "meets",
            "33.06 MA²s; at least 33.06 MA²s is required",
        ),
        ("let_through = \"33062501 A²s\"\n", "5750 A", "falls short", ""),
        // Zero is no figure of a data sheet.
        ("let_through = \"0 A²s\"\n", "19 kA", "not decided", "lets through"),
        // A fuse that cannot interrupt it ends nothing, whatever its data sheet says of smaller currents.
        ("let_through = \"40000 A²s\"\n", "25 kA", "falls short", "interrupts no more than 20 kA"),
        // The quicker of two statements of one fuse counts, and one of them is enough.
        ("let_through = \"40000 A²s\"\nclearing_time = \"2 s\"\n", "5750 A", "meets", "lets 40 kA²s through"),
        // Nobody read the fuse: a tenth of a second stands in from ten times its 200 A on.
        ("", "5750 A", "meets", "limit `withstand_time`"),
        ("", "1900 A", "not decided", "lets through"),
        ("", "19 kA", "not decided", "[[rig.clearing]]"),
    ] {
        let (found, check) = at(more, current);
        assert_eq!(found, outcome, "{more}{current}: {check}");
        assert!(check.contains(words), "{check}");
    }
}

/// Ohm's law between 27.2 V and 20 V; the share of a bank, with its leads taken off.
#[test]
fn resistors_as_a_load() {
    let claims = "schema = 2\n[claims]\ncapacity = \"150 Ah\"\nnominal_voltage = \"25.6 V\"\n\
                  continuous_current = \"200 A\"\n[cells]\nchemistry = \"LFP\"\n";
    let words = |plan: &Value, step: &str, name: &str| -> String {
        setting(plan, step, name).unwrap_or_else(|| panic!("{step} {name}"))["value"]
            .as_str()
            .unwrap()
            .to_owned()
    };
    let plan = json(claims, &[]);
    let instead = "a bank of resistors as the load";
    assert!(
        words(&plan, "capacity", instead)
            .starts_with("906.7 mΩ and 816 W with the pack full, down to 666.7 mΩ and 600 W")
    );
    assert!(
        words(&plan, "full-load", instead)
            .starts_with("136 mΩ and 5440 W with the pack full, down to 100 mΩ and 4000 W")
    );
    assert!(
        words(&plan, "full-load", "left as it is at the start")
            .contains("from 200 A to 147.1 A at the cut-off, its power to 2941 W")
    );
    let bank = "[[rig.load]]\nid = \"bank\"\nkind = \"resistor bank\"\ncount = 2\n";
    let plan = json(&format!("{claims}{bank}"), &[]);
    assert!(words(&plan, "full-load", "resistance of each of bank").starts_with("272 mΩ and 2720 W"));
    assert!(plan["session"][4]["cautions"][0].as_str().unwrap().contains("surfaces burn skin"));
    let leads = format!("{claims}{bank}[[rig.load.element]]\nkind = \"cable\"\nresistance = \"2 mΩ\"\n");
    assert!(
        words(&json(&leads, &[]), "full-load", "resistance of each of bank").starts_with("270 mΩ and 2720 W")
    );
    // Other loads need no bank, and a pack of an unknown voltage gives no range.
    let other = json(&format!("{claims}[[rig.load]]\nid = \"l\"\nkind = \"inverter\"\n"), &[]);
    assert!(setting(&other, "full-load", instead).is_none());
    let unknown = json("schema = 2\n[claims]\ncapacity = \"150 Ah\"\ncontinuous_current = \"200 A\"\n", &[]);
    assert!(setting(&unknown, "full-load", instead).is_none());
}

#[test]
fn a_rig_without_a_fuse() {
    let a = without_source_leads();
    let from = a.find("[[rig.element]]\nid = \"rig-fuse\"").unwrap();
    let to = from + a[from..].find("[[rig.element]]\nid = \"red-lead\"").unwrap();
    let without = format!("{}{}", &a[..from], &a[to..]);
    let plan = json(&without, &[]);
    assert_eq!(outcomes(&plan, "rig-fuse-present"), [("the rig".to_owned(), "falls short".to_owned())]);
    assert!(outcomes(&plan, "rig-conductor-protected").iter().all(|(_, outcome)| outcome == "falls short"));
    assert!(
        outcomes(&plan, "rig-conductor-withstands-fault").iter().all(|(_, outcome)| outcome == "falls short")
    );
    // It is said before anything is connected, with the time that is left.
    let cautions = plan["session"][0]["cautions"].to_string();
    assert!(cautions.contains("Nothing that is listed fuses the rig"), "{cautions}");
    assert!(cautions.contains("melts after") && cautions.contains("adiabatic, IEC 60949"), "{cautions}");
    // An unfinished list proves no lack.
    let unfinished = without.replace("[rig]\ncomplete = \"yes\"", "[rig]");
    let plan = json(&unfinished, &[]);
    assert_eq!(outcomes(&plan, "rig-fuse-present"), [("the rig".to_owned(), "not decided".to_owned())]);
    assert!(outcomes(&plan, "rig-conductor-protected").iter().all(|(_, outcome)| outcome == "not decided"));
    // A thermal cut-off in its place is no fuse.
    let cutoff = "[[rig.element]]\nid = \"c\"\nkind = \"thermal-cutoff\"\nmarked_current = \"250 A\"\nrated_voltage = \"32 V\"\n\n";
    let plan = json(&format!("{}{cutoff}{}", &a[..from], &a[to..]), &[]);
    assert_eq!(outcomes(&plan, "rig-fuse-present"), [("the rig".to_owned(), "falls short".to_owned())]);
}

#[test]
fn a_pack_that_was_never_opened() {
    // Before the lid comes off nothing is known of the cells' resistance: the fuse is judged by a figure for the rig.
    let a = never_opened(&without_source_leads());
    let plan = json(&a, &[]);
    assert_eq!(
        outcomes(&plan, "rig-fuse-interrupts"),
        [("fuse rig-fuse".to_owned(), "not decided".to_owned())]
    );
    let stated = a.replace("sense = \"at the pack\"", "sense = \"at the pack\"\nfault_current = \"8 kA\"");
    let plan = json(&stated, &[]);
    assert_eq!(outcomes(&plan, "rig-fuse-interrupts"), [("fuse rig-fuse".to_owned(), "meets".to_owned())]);
    assert_eq!(plan["rig"]["outcome"], "meets");
    // A small current that somebody wrote down does not outdo the larger one that follows from the pack.
    let small = without_source_leads()
        .replace("sense = \"at the pack\"", "sense = \"at the pack\"\nfault_current = \"100 A\"")
        .replace("interrupting_rating = \"20 kA\"", "interrupting_rating = \"2 kA\"");
    let found = outcomes(&json(&small, &[]), "rig-fuse-interrupts");
    assert_eq!(found, [("fuse rig-fuse".to_owned(), "falls short".to_owned())]);
}

const CONTACTOR: &str = "[[rig.element]]\nid = \"switch\"\nkind = \"contactor\"\nmarked_current = \"300 A\"\n\
                         rated_voltage = \"60 V\"\nvoltage_for = \"direct current\"\n\n";
const LOAD: &str = "kind = \"electronic load\"\n";

/// What is done to revision A: `#contactor` puts one in, `#fuse` takes the fuse out, the others replace a text.
fn patched(patches: &[(&str, &str)]) -> String {
    let mut record = example("a");
    for (old, new) in patches {
        let fuse = record.find("[[rig.element]]\nid = \"rig-fuse\"").unwrap_or(record.len());
        match *old {
            "#contactor" => record.insert_str(fuse, &CONTACTOR.replace("60 V", new)),
            "#fuse" => {
                let next = fuse + record[fuse..].find("[[rig.element]]\nid = \"red-lead\"").unwrap();
                record.replace_range(fuse..next, "");
            }
            old => {
                assert!(record.contains(old), "{old}");
                record = record.replace(old, new);
            }
        }
    }
    record
}

type Patch = &'static [(&'static str, &'static str)];

/// A rule of the rig with what makes revision A meet it, fall short of it and leave it open; what is a check of the record
/// alone is met or open.
const ROWS: &[(&str, Patch, Option<Patch>, Patch)] = &[
    (
        "rig-element-carries",
        &[],
        Some(&[("bundled = 2", "bundled = 8")]),
        &[("ambient = { value = \"24 degC\", how = \"measured\" }\nsense", "sense")],
    ),
    (
        "rig-shunt-share",
        &[],
        Some(&[("value = \"300 A\"", "value = \"220 A\"")]),
        &[("marked_current = { value = \"300 A\", how = \"marked\" }\n", "")],
    ),
    (
        "rig-fuse-present",
        &[],
        Some(&[("#fuse", "")]),
        &[("#fuse", ""), ("[rig]\ncomplete = \"yes\"", "[rig]")],
    ),
    (
        "rig-fuse-responds",
        &[],
        Some(&[
            ("#fuse", ""),
            ("kind = \"shunt\"\n", "kind = \"thermal-cutoff\"\n"),
            ("resistance = \"200 µΩ\"\n", ""),
        ]),
        &[("fuse = \"class T\"\nrating", "fuse = \"unknown\"\nrating")],
    ),
    (
        "rig-fuse-voltage",
        &[],
        Some(&[("rated_voltage = \"125 V\"", "rated_voltage = \"29 V\"")]),
        &[("rated_voltage = \"125 V\"\n", "")],
    ),
    (
        "rig-switch-voltage",
        &[("#contactor", "60 V")],
        Some(&[("#contactor", "29 V")]),
        &[("#contactor", "60 V"), ("rated_voltage = \"60 V\"\n", "")],
    ),
    (
        "rig-fuse-interrupts",
        &[],
        Some(&[("interrupting_rating = \"20 kA\"", "interrupting_rating = \"2.9 kA\"")]),
        &[("interrupting_rating = \"20 kA\"\n", "")],
    ),
    (
        "rig-fuse-near",
        &[],
        Some(&[("\"90 mm\"", "\"210 mm\"")]),
        &[("distance_from_cells = \"90 mm\"\n", "")],
    ),
    (
        "rig-conductor-protected",
        &[],
        Some(&[("rating = \"200 A\"", "rating = \"300 A\"")]),
        &[("rating = \"200 A\"", "rating = \"could not see\"")],
    ),
    (
        "rig-conductor-withstands-fault",
        &[],
        Some(&[(
            "\n[rig.source]",
            "\n[[rig.clearing]]\nof = \"rig-fuse\"\nlet_through = \"34000000 A²s\"\n\n[rig.source]",
        )]),
        &[("sense = \"at", "fault_current = \"19 kA\"\nsense = \"at")],
    ),
    ("rig-listed", &[], None, &[("[rig]\ncomplete = \"yes\"", "[rig]\ncomplete = \"no\"")]),
    (
        "rig-loads-together",
        &[(LOAD, "kind = \"electronic load\"\nset_current = \"152 A\"\n")],
        Some(&[(LOAD, "kind = \"electronic load\"\nset_current = \"149 A\"\n")]),
        &[
            (LOAD, "kind = \"electronic load\"\nset_current = \"152 A\"\n"),
            ("continuous_current = \"150 A\"\n", ""),
        ],
    ),
    (
        "rig-load-voltage",
        &[],
        Some(&[("current = \"200 A\"\nvoltage = \"80 V\"", "current = \"200 A\"\nvoltage = \"28 V\"")]),
        &[("current = \"200 A\"\nvoltage = \"80 V\"", "current = \"200 A\"")],
    ),
    (
        "rig-load-current",
        &[],
        Some(&[("current = \"200 A\"\nvoltage", "current = \"150 A\"\nvoltage")]),
        &[("current = \"200 A\"\nvoltage", "voltage")],
    ),
    ("rig-load-power", &[], Some(&[("\"6 kW\"", "\"4 kW\"")]), &[("power = \"6 kW\"\n", "")]),
    ("rig-meters", &[], None, &[("reads = \"temperature\"", "reads = \"pack voltage\"")]),
    (
        "rig-meter-range",
        &[],
        Some(&[("range = \"200 A\"", "range = \"180 A\"")]),
        &[("range = \"200 A\"", "range = \"200 V\"")],
    ),
    (
        "rig-meter-voltage-range",
        &[],
        Some(&[("range = \"80 V\"", "range = \"29 V\"")]),
        &[("range = \"80 V\"\n", "")],
    ),
    ("rig-meter-accuracy", &[], None, &[("instrument = \"thermo\"", "instrument = \"nobody\"")]),
    (
        "rig-sense",
        &[],
        Some(&[
            ("sense = \"at the pack\"", "sense = \"at the load\""),
            ("length = \"1.2 m\"", "length = \"3.3 m\""),
        ]),
        &[("sense = \"at the pack\"\n", "")],
    ),
    ("rig-source-fuse-present", &[], Some(&[("#fuse", "")]), &[("shares_leads = \"yes\"\n", "")]),
    ("rig-source-listed", &[], None, &[("shares_leads = \"yes\"\n", "")]),
    (
        "rig-source-voltage",
        &[],
        Some(&[("voltage = \"29.2 V\"\ncurrent = \"50 A\"", "voltage = \"29.3 V\"\ncurrent = \"50 A\"")]),
        &[("voltage = \"29.2 V\"\ncurrent = \"50 A\"", "current = \"50 A\"")],
    ),
    (
        "rig-source-current",
        &[],
        Some(&[("\ncurrent = \"50 A\"", "\ncurrent = \"76 A\"")]),
        &[("charge_current = \"75 A\"\n", "")],
    ),
];

/// The gravest outcome of a rule that a plan tells of.
fn gravest_told(plan: &Value, rule: &str) -> Option<&'static str> {
    let found = outcomes(plan, rule);
    ["falls short", "not decided", "meets"].into_iter().find(|word| found.iter().any(|(_, is)| is == word))
}

/// The gravest outcome of a rule over the parts of a rig.
fn gravest(book: &Book, rule: &str, patch: Patch) -> Option<Outcome> {
    let record = record::read("rig", &patched(patch)).unwrap();
    let sheet = Sheet::plan(&record, book, &Given::default()).unwrap();
    let checks = sheet.rig.checks.iter().chain(&sheet.charging.checks);
    checks.filter(|check| check.rule == rule).map(|check| check.outcome).min()
}

/// The most favourable wrong record of each critical rule of the rig: what looks like protection and is none.
const WRONG: &[(&str, Patch)] = &[
    // A thermal cut-off in the place of the fuse, with more amperes on it.
    ("rig-fuse-present", CUTOFF),
    ("rig-source-fuse-present", CUTOFF),
    ("rig-fuse-responds", CUTOFF),
    // The nominal voltage of the pack is on the part.
    ("rig-fuse-voltage", &[("rated_voltage = \"125 V\"", "rated_voltage = \"25.6 V\"")]),
    ("rig-switch-voltage", &[("#contactor", "25.6 V")]),
    // For alternating current, and for nobody knows what.
    ("rig-fuse-voltage", &[("voltage_for = \"direct current\"", "voltage_for = \"alternating current\"")]),
    ("rig-fuse-interrupts", &[("voltage_for = \"direct current\"\n", "")]),
    ("rig-switch-voltage", &[("#contactor", "230 V"), ("voltage_for = \"direct current\"\n", "")]),
    // What the seller says of the fault current of a pack that was never opened, and one that is no pack's.
    (
        "rig-fuse-interrupts",
        &[
            UNOPENED,
            ("at the pack\"", "at the pack\"\nfault_current = { value = \"8 kA\", how = \"estimated\" }"),
        ],
    ),
    (
        "rig-fuse-interrupts",
        &[
            UNOPENED,
            ("at the pack\"", "at the pack\"\nfault_current = { value = \"8 kA\", how = \"claimed\" }"),
        ],
    ),
    (
        "rig-fuse-interrupts",
        &[UNOPENED, ("at the pack\"", "at the pack\"\nfault_current = \"1 kA\""), ("\"20 kA\"", "\"2 kA\"")],
    ),
    // What the seller says of the fuse.
    ("rig-fuse-interrupts", &[("\"20 kA\"", "{ value = \"20 kA\", how = \"claimed\" }")]),
    // What somebody believes to be on the part.
    (
        "rig-fuse-voltage",
        &[("rated_voltage = \"125 V\"", "rated_voltage = { value = \"125 V\", how = \"estimated\" }")],
    ),
    (
        "rig-fuse-interrupts",
        &[(
            "interrupting_rating = \"20 kA\"",
            "interrupting_rating = { value = \"20 kA\", how = \"estimated\" }",
        )],
    ),
    // Somebody wrote down a small fault current.
    (
        "rig-fuse-interrupts",
        &[
            ("sense = \"at the pack\"", "sense = \"at the pack\"\nfault_current = \"100 A\""),
            ("interrupting_rating = \"20 kA\"", "interrupting_rating = \"2 kA\""),
        ],
    ),
    // A charger for one cell more.
    (
        "rig-source-voltage",
        &[("voltage = \"29.2 V\"\ncurrent = \"50 A\"", "voltage = \"32.85 V\"\ncurrent = \"50 A\"")],
    ),
];
const UNOPENED: (&str, &str) = (
    "resistance = { value = \"0.34 mΩ\", with = \"four-wire\", note = \"mean of eight cells, 1 kHz\" }\n",
    "",
);
const CUTOFF: Patch = &[
    ("#fuse", ""),
    ("kind = \"shunt\"\n", "kind = \"thermal-cutoff\"\n"),
    ("resistance = \"200 µΩ\"\n", ""),
];

#[test]
fn no_critical_rule_of_the_rig_meets_on_what_only_looks_like_protection() {
    let book = Book::built_in().unwrap();
    for rule in book.rules.iter().filter(|r| r.grade.word() == "critical" && r.subject == "test rig") {
        assert!(WRONG.iter().any(|(id, _)| *id == rule.id), "{} has no wrong record", rule.id);
    }
    for (rule, patch) in WRONG {
        assert_ne!(gravest(&book, rule, patch), Some(Outcome::Meets), "{rule} {patch:?}");
    }
}

#[test]
fn every_rule_of_the_rig_meets_falls_short_and_stays_undecided() {
    let book = Book::built_in().unwrap();
    let rules: Vec<&str> =
        book.rules.iter().filter(|rule| rule.subject == "test rig").map(|rule| rule.id.as_str()).collect();
    assert_eq!(rules.iter().copied().collect::<BTreeSet<_>>(), ROWS.iter().map(|row| row.0).collect());
    let mut wrong = Vec::new();
    for (rule, meets, short, open) in ROWS {
        for (patch, expected) in [
            (Some(*meets), Outcome::Meets),
            (*short, Outcome::FallsShort),
            (Some(*open), Outcome::NotDecided),
        ] {
            let Some(patch) = patch else { continue };
            let found = gravest(&book, rule, patch);
            if found != Some(expected) {
                wrong.push(format!("{rule}: expected {expected:?}, found {found:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// As for the rules of the pack: a comparison turned round or a limit moved by a share changes the outcome of a row.
#[test]
fn every_weakened_rule_of_the_rig_is_noticed() {
    let mut survivors = Vec::new();
    for (rule, meets, short, _) in ROWS {
        // A count has nothing between it and the next.
        let share = if rule.ends_with("fuse-present") { 1.0 } else { 0.1 };
        for (expression, book) in mutants(rule, Weaken::By(share)) {
            let noticed = gravest(&book, rule, meets) != Some(Outcome::Meets)
                || short.is_some_and(|short| gravest(&book, rule, short) != Some(Outcome::FallsShort));
            if !noticed {
                survivors.push(format!("{rule}: {expression}"));
            }
        }
    }
    assert!(survivors.is_empty(), "{}", survivors.join("\n"));
}

/// A house sets limits, grades and turns off rules of the rig as it does those of the pack, and the sheet says so.
#[test]
fn a_house_changes_the_rules_of_the_rig() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("house.toml");
    let with = |record: &str, house: &str, more: &[&str]| {
        fs::write(&file, format!("schema = 1\n{house}")).unwrap();
        let mut arguments = vec!["--rules", file.to_str().unwrap()];
        arguments.extend(more);
        plan(record, &[&arguments[..], &["--format", "json"]].concat()).out
    };
    let of =
        |record: &str, house: &str| -> Value { serde_json::from_str(&with(record, house, &[])).unwrap() };
    let a = example("a");
    let limit = |name: &str, value: &str| {
        format!("[[limit]]\nname = \"{name}\"\nvalue = \"{value}\"\nbasis = \"our own\"\n")
    };
    // 151 A through a shunt of 300 A, read by a range of 200 A, a fuse at 90 mm, a tenth of a second at ten times 200 A.
    for (name, value, rule) in [
        ("shunt_share", "50 %", "rig-shunt-share"),
        ("meter_range", "1.4", "rig-meter-range"),
        ("fuse_distance", "80 mm", "rig-fuse-near"),
        ("quick_multiple", "1000", "rig-conductor-withstands-fault"),
    ] {
        assert_eq!(gravest_told(&of(&a, ""), rule), Some("meets"), "{rule}");
        let house = of(&a, &limit(name, value));
        let expected = if name == "quick_multiple" { "not decided" } else { "falls short" };
        assert_eq!(gravest_told(&house, rule), Some(expected), "{rule}");
        assert!(house["changes"][0]["what"].as_str().unwrap().contains(name), "{}", house["changes"]);
    }
    // The full-load test is planned for as long as the book asks for.
    assert_eq!(si(&of(&a, ""), "full-load", "expected duration"), 900.0);
    let longer = of(&a, &limit("full_load_time", "30 min"));
    assert_eq!(si(&longer, "full-load", "expected duration"), 1800.0);
    let grade =
        |rule: &str| format!("[[change]]\nrule = \"{rule}\"\ngrade = \"critical\"\nreason = \"boats\"\n");
    let graded = &grade("rig-loads-together");
    let far = a.replace("\"90 mm\"", "\"210 mm\"").replace(LOAD, &format!("{LOAD}set_current = \"149 A\"\n"));
    let found = |house: &str, rule: &str| {
        let checks = of(&far, house)["rig"]["checks"].clone();
        let check = checks.as_array().unwrap().iter().find(|check| check["rule"] == rule).unwrap().clone();
        (check["outcome"].clone(), check["grade"].clone())
    };
    assert_eq!(found(graded, "rig-loads-together"), ("falls short".into(), "critical".into()));
    // A custom stays one: a house's word is no source.
    assert_eq!(found(&grade("rig-fuse-near"), "rig-fuse-near"), ("falls short".into(), "custom".into()));
    // What is minor forbids nothing; what a house calls critical does.
    let sentence = |plan: Value| plan["rig"]["sentence"].as_str().unwrap().to_owned();
    assert!(sentence(of(&far, "")).ends_with("All of them are minor."));
    assert!(sentence(of(&far, graded)).ends_with("Do not apply full load with it as it is."));
    let off = "[[change]]\nrule = \"rig-element-carries\"\noff = \"yes\"\nreason = \"checked by hand\"\n";
    let thin = a.replace("bundled = 2", "bundled = 25");
    assert_eq!(gravest_told(&of(&thin, ""), "rig-element-carries"), Some("falls short"));
    assert_eq!(gravest_told(&of(&thin, off), "rig-element-carries"), None);
    fs::write(&file, format!("schema = 1\n{off}")).unwrap();
    let text = plan(&thin, &["--rules", file.to_str().unwrap()]).out;
    assert!(text.contains("House rules: rule `rig-element-carries` turned off: checked by hand"), "{text}");
    // Its own rule, with the names of a circuit; and names that are not known there are refused.
    let own = "[[rule]]\nid = \"house-lead\"\neach = [\"rig-cable\"]\nrequire = 'element.size >= 70 mm2'\n";
    assert_eq!(gravest_told(&of(&a, own), "house-lead"), Some("falls short"));
    for (each, require, message) in [
        ("rig-cable", "claims.capacity >= 1 Ah", "`claims.capacity` is known only"),
        ("cable", "circuit.current >= 1 A", "`circuit.current` is known only"),
        ("load", "meter.reading >= 1 A", "`meter.reading` is known only"),
    ] {
        let rule = format!("[[rule]]\nid = \"h\"\neach = [\"{each}\"]\nrequire = '{require}'\n");
        fs::write(&file, format!("schema = 1\n{rule}")).unwrap();
        let ran = plan(&a, &["--rules", file.to_str().unwrap()]);
        assert!(ran.code == 2 && ran.err.contains(message), "{}", ran.err);
    }
}

#[test]
fn a_rule_of_the_rig_is_explained() {
    let ran = run(&["explain", "rig-shunt-share"]);
    for part in ["each shunt of the test rig", "shunt_share = 66.7 %", "why", "measure", "advice"] {
        assert!(ran.out.contains(part), "{part}: {}", ran.out);
    }
    assert!(run(&["explain"]).out.contains("TEST RIG"));
    // The pack is judged without the rules of the rig.
    let checked = run(&["check", "--all", "example-inspections/harbour-24-150-rev-b"]).out;
    assert!(!checked.contains("rig-"), "{checked}");
}

#[test]
fn each_claim_takes_away_what_follows_from_it() {
    let whole = "schema = 2\n[claims]\nnominal_voltage = \"25.6 V\"\ncapacity = \"150 Ah\"\ncontinuous_current = \"150 A\"\n\
                 charge_voltage = \"29.2 V\"\ncutoff_voltage = \"20 V\"\ncharge_current = \"75 A\"\n\
                 [cells]\nchemistry = \"LFP\"\nseries = 8\n";
    let missing = |plan: &Value| -> Vec<String> {
        plan["missing"].as_array().unwrap().iter().map(|m| m["what"].as_str().unwrap().to_owned()).collect()
    };
    assert!(missing(&json(whole, &[])).is_empty());
    for (line, lost, kept) in [
        ("capacity = \"150 Ah\"\n", ("capacity", "current"), ("full-load", "current to set")),
        ("continuous_current = \"150 A\"\n", ("full-load", "current to set"), ("capacity", "current")),
        (
            "charge_current = \"75 A\"\n",
            ("charge", "current at most, as claimed"),
            ("charge", "voltage of the source"),
        ),
    ] {
        let plan = json(&whole.replace(line, ""), &[]);
        let (key, _) = line.split_once(" = ").unwrap();
        assert!(
            missing(&plan)[0].starts_with(&format!("`claims.{key}` is not recorded")),
            "{:?}",
            missing(&plan)
        );
        assert!(setting(&plan, lost.0, lost.1).is_none(), "{line}");
        assert!(setting(&plan, kept.0, kept.1).is_some(), "{line}");
    }
    // What the chemistry knows stands in, and is said to.
    let plan = json(&whole.replace("cutoff_voltage = \"20 V\"\n", ""), &[]);
    assert!((si(&plan, "capacity", "cut-off at the load") - 20.0).abs() < 1e-9);
    assert!(plan["assumed"][0].as_str().unwrap().starts_with("cut-off 2.5 V a cell"));
    // A claim that the chemistry contradicts is pointed out.
    let low = json(&whole.replace("\"20 V\"", "\"16 V\""), &[]);
    assert!(low["second_look"][0].as_str().unwrap().contains("2 V a cell, below the usual 2.5 V"));
}

#[test]
fn loads_from_the_command_line() {
    let record = "schema = 2\n[claims]\ncapacity = \"150 Ah\"\nnominal_voltage = \"25.6 V\"\ncontinuous_current = \"200 A\"\n\
                  [cells]\nchemistry = \"LFP\"\n";
    let loads = |arguments: &[&str]| {
        setting(&json(record, arguments), "full-load", "loads").unwrap()["value"].clone()
    };
    // 27.2 V · 200 A = 5440 W.
    assert_eq!(loads(&["--load-power", "3 kW"]), "2 such loads in parallel, 100 A each");
    assert_eq!(loads(&["--load-power", "6 kW"]), "one such load takes it");
    assert_eq!(
        loads(&["--load-power", "6 kW", "--load-current", "60 A"]),
        "4 such loads in parallel, 50 A each"
    );
    assert!(loads(&[]).as_str().unwrap().starts_with("none recorded"));
    for (arguments, message) in [
        (vec!["--load-power", "3000"], "write for example"),
        (vec!["--load-power", "3 A"], "a power is needed"),
        (vec!["--load-power", "1 W"], "more than 64 such loads"),
        (vec!["--bundled", "0"], "a whole number from 1 to 1000"),
    ] {
        let ran = plan(record, &arguments);
        assert_eq!(ran.code, 2, "{arguments:?}");
        assert!(ran.err.contains(message), "{arguments:?}: {}", ran.err);
    }
}

#[test]
fn wrong_rigs_point_at_the_place() {
    let mut text = String::new();
    for rig in [
        "[[rig.element]]\nkind = \"bms\"",
        "[[rig.element]]\nid = \"x\"",
        "[[rig.element]]\nkind = \"cable\"\nrating = \"100 A\"",
        "[[rig.load]]\npower = 3000",
        "[[rig.load]]\nid = \"a\"\ncount = 0",
        "[[rig.load]]\nid = \"a\"\n[[rig.load]]\nid = \"a\"",
        "[[rig.load]]\nid = \"load\"\n[[rig.meter]]\nload = \"laod\"",
        "[rig]\nsence = \"at the pack\"",
        "[rig]\nsense = \"remote\"",
        "[rig.load]\nid = \"a\"",
        "[rig]\nambient = \"30 K\"",
        "[[rig.source.element]]\nkind = \"cell-stack\"",
        "[[rig.element]]\nid = \"f\"\nkind = \"fuse\"\n[[rig.clearing]]\nof = \"g\"\nlet_through = \"40000 A\"",
        "[[rig.element]]\nid = \"f\"\nkind = \"fuse\"\n[[rig.clearing]]\nof = \"f\"\n[[rig.clearing]]\nof = \"f\"\n[[rig.clearing]]\nclearing_time = \"1 ms\"",
    ] {
        let ran = plan(&format!("schema = 2\n{rig}\n"), &[]);
        assert_eq!(ran.code, 2, "{rig}");
        text.push_str(&format!("{rig}\n{}\n", ran.err));
    }
    let many = (0..70).map(|n| format!("[[rig.load]]\nid = \"l{n}\"\n")).collect::<String>();
    let ran = plan(&format!("schema = 2\n{many}"), &[]);
    assert!(ran.code == 2 && ran.err.contains("more than 64 loads"), "{}", ran.err);
    insta::assert_snapshot!("wrong-rigs", text);
}

#[test]
fn claims_that_contradict_each_other_are_refused() {
    for (claims, message) in [
        (
            "charge_voltage = \"19 V\"\ncutoff_voltage = \"20 V\"",
            "the charge voltage is not above the cut-off voltage",
        ),
        ("continuous_current = \"0 A\"", "the rated current is zero, or larger than any pack has"),
    ] {
        let ran = plan(&format!("schema = 2\n[claims]\n{claims}\n"), &[]);
        assert_eq!(ran.code, 2);
        assert!(ran.err.contains(message), "{}", ran.err);
    }
}

#[test]
fn hostile_rigs() {
    let nasty = "\\u001b[31m<script>alert(1)</script>|`\\n# x";
    let record = format!(
        "schema = 2\n[inspection]\ntitle = \"{nasty}\"\n[claims]\ncontinuous_current = \"1e300 A\"\n[cells]\nseries = 1000\n\
         [[rig.element]]\nid = \"{nasty}\"\nkind = \"cable\"\nsize = \"50 mm2\"\ninsulation_temperature = \"105 degC\"\n\
         material = \"copper\"\ncount = 4000000000\nlength = \"1e300 m\"\n[[rig.load]]\nid = \"{nasty}\"\ncount = 4000000000\n\
         power = \"1e300 W\"\n"
    );
    for format in ["text", "html", "json"] {
        let ran = plan(&record.replace("1e300 A", "1e8 A"), &["--format", format, "--all"]);
        assert!(ran.code < 2, "{}", ran.err);
        assert!(!ran.out.contains('\u{1b}'));
        assert!(format != "html" || !ran.out.contains("<script>"), "{}", ran.out);
    }
    assert_eq!(plan(&record, &[]).code, 2, "a current of 1e300 A is refused");
    // Many elements are judged in a moment.
    let mut many =
        String::from("schema = 2\n[claims]\ncontinuous_current = \"100 A\"\n[rig]\nambient = \"25 degC\"\n");
    for number in 0..1_250 {
        many.push_str(&format!("[[rig.element]]\nid = \"f{number}\"\nkind = \"fuse\"\n[[rig.element]]\nkind = \"cable\"\nsize = \"35 mm2\"\n"));
    }
    let started = std::time::Instant::now();
    assert_eq!(plan(&many, &["--format", "json"]).code, 0);
    assert!(started.elapsed().as_secs() < 20, "{:?}", started.elapsed());
}
