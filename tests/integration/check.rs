//! `check` on real input: the examples, a fresh record, wrong input, hostile input.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Instant;

use assert_cmd::Command;
use serde_json::Value;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn example(name: &str) -> PathBuf {
    root().join("example-inspections").join(name)
}

fn underlid() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_underlid"));
    command.env("NO_COLOR", "1").current_dir(root());
    command
}

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn run(arguments: &[&str]) -> Ran {
    ran(underlid().args(arguments))
}

fn ran(command: &mut Command) -> Ran {
    let output = command.output().unwrap();
    Ran {
        code: output.status.code().expect("an exit status: the program must not be killed by a signal"),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Checks a record; one that takes more than a minute of processor time is ended, however much else the machine does.
fn check_text(text: &str) -> Ran {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), text).unwrap();
    let mut limited = Command::new("sh");
    limited.args(["-c", "ulimit -t 60 && exec \"$0\" check \"$1\"", env!("CARGO_BIN_EXE_underlid")]);
    limited.env("NO_COLOR", "1").current_dir(root());
    let mut ran = ran(limited.arg(folder.path()));
    ran.err = ran.err.replace(folder.path().to_str().unwrap(), "DIR");
    ran
}

#[test]
fn the_examples_as_text() {
    for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"] {
        let ran = run(&["check", &format!("example-inspections/{name}")]);
        assert_eq!(ran.code, 1, "{}", ran.err);
        insta::assert_snapshot!(format!("check-{name}"), ran.out);
    }
}

#[test]
fn the_examples_as_json() {
    let ran = run(&["check", "--format", "json", "example-inspections/harbour-24-150-rev-b"]);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    assert_eq!(json["format"], 2);
    assert_eq!(json["path"]["weakest"], "busbar positive-bar");
    let outcome = |rule: &str| -> Vec<&str> {
        json["findings"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|f| f["rule"] == rule)
            .map(|f| f["outcome"].as_str().unwrap())
            .collect()
    };
    assert_eq!(outcome("fuse-present"), ["falls short"]);
    assert_eq!(outcome("fuse-responds-to-current"), ["falls short"]);
    assert_eq!(outcome("cold-charge-blocked"), ["not decided"]);
}

/// One defect is one finding, and nothing that falls short is lost beneath it: each rule is told with each of its places.
#[test]
fn defects_are_few_and_lose_no_consequence() {
    let folder = root().join("example-inspections/harbour-24-150-rev-b");
    let ran = run(&["check", "--format", "json", folder.to_str().unwrap()]);
    let checked: Value = serde_json::from_str(&ran.out).unwrap();
    let causes = checked["causes"].as_array().unwrap();
    assert!((1..=12).contains(&causes.len()), "{} causes", causes.len());
    let told = |rule: &Value, place: &Value| {
        let told = causes.iter().flat_map(|cause| cause["told"].as_array().unwrap());
        let mut of_rule = told.filter(|told| told["rule"] == *rule);
        of_rule.any(|told| {
            place == "" || told["found"].as_array().unwrap().iter().any(|found| found[0] == *place)
        })
    };
    let text = run(&["check", folder.to_str().unwrap()]).out;
    for finding in checked["findings"].as_array().unwrap() {
        if finding["outcome"] == "falls short" && finding["grade"] != "custom" {
            assert!(told(&finding["rule"], &finding["subject"]), "{finding:#}");
            assert!(text.contains(&format!("[{}]", finding["rule"].as_str().unwrap())), "{finding:#}");
        }
    }
}

#[test]
fn a_fresh_record_passes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let fresh = folder.path().join("fresh");
    assert_eq!(run(&["new", fresh.to_str().unwrap()]).code, 0);
    let ran = run(&["check", "--format", "json", fresh.to_str().unwrap()]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    let findings = json["findings"].as_array().unwrap();
    assert!(findings.len() > 30);
    for finding in findings {
        assert_eq!(finding["outcome"], "not decided", "{finding}");
    }
    let again = run(&["new", fresh.to_str().unwrap()]);
    assert_eq!(again.code, 2);
    assert!(again.err.contains("nothing was changed"));
}

#[test]
fn the_kind_of_pack_can_be_named_at_the_start() {
    let folder = tempfile::tempdir().unwrap();
    let fresh = folder.path().join("fresh");
    let name = fresh.to_str().unwrap();
    let none = run(&["check", name]);
    assert_eq!(none.code, 2);
    assert!(none.err.contains(&format!("`underlid new {name}` starts one")), "{}", none.err);
    let wrong = run(&["new", name, "--kind", "rak"]);
    assert_eq!(wrong.code, 2);
    assert!(wrong.err.contains("did you mean `rack`?"), "{}", wrong.err);
    assert!(!fresh.exists(), "a refused call leaves nothing behind");
    assert_eq!(run(&["new", name, "--kind", "rack"]).code, 0);
    let record = fs::read_to_string(fresh.join("inspection.toml")).unwrap();
    assert!(record.contains("\nkind = \"rack\"\n") && !record.contains("# kind = \"drop-in\""));
}

/// A limit that the maker claims is a claim also where a derived value stands between it and the rule.
#[test]
fn a_rule_that_rests_on_a_claim_names_it() {
    let resting = |how: &str| {
        let folder = tempfile::tempdir().unwrap();
        fs::write(
            folder.path().join("inspection.toml"),
            format!(
                "schema = 2\n[claims]\ncontinuous_current = \"200 A\"\n[cells]\ncapacity = \"150 Ah\"\n\
                 parallel = 1\ndischarge_rate_limit = {{ value = \"1 C\", how = \"{how}\" }}\n"
            ),
        )
        .unwrap();
        let ran = run(&["check", "--format", "json", folder.path().to_str().unwrap()]);
        let json: Value = serde_json::from_str(&ran.out).unwrap();
        let findings = json["findings"].as_array().unwrap();
        let finding = findings.iter().find(|finding| finding["rule"] == "cell-rate").unwrap();
        assert_eq!(finding["outcome"], "falls short", "{finding}");
        let said = run(&["check", "--all", folder.path().to_str().unwrap()]).out;
        (
            finding["claimed_facts"].clone(),
            said.contains("rests on a claim, not on a finding: cells.discharge"),
        )
    };
    assert_eq!(resting("claimed"), (serde_json::json!(["cells.discharge_rate_limit"]), true));
    assert_eq!(resting("measured"), (serde_json::json!([]), false));
}

#[test]
fn every_command_is_told_in_one_sentence() {
    let help = run(&["--help"]).out;
    let start = help.find("Commands:").unwrap();
    let commands = &help[start..help.find("Options:").unwrap()];
    for line in commands.lines().skip(1).filter(|line| !line.trim().is_empty()) {
        assert!(line.starts_with("  ") && !line.starts_with("   "), "runs over its line: {line}");
    }
}

#[test]
fn errors_point_at_the_place() {
    let text = r#"schema = 2
[claims]
continous_current = "200 A"
capacity = 150
energy = "3840 W"
[inspection]
ambient = "30 K"
kind = "dropin"
[[path.element]]
kind = "cable"
bolt = "M8"
size = "0 mm2"
[[path.element]]
kind = "busbar"
section = "25 mm"
count = 0
[[bms.layer]]
thickness = "-1 mm"
conductivity = "2,5 W/(m·K)"
"#;
    let ran = check_text(text);
    assert_eq!(ran.code, 2);
    insta::assert_snapshot!("errors-point-at-the-place", ran.err);
}

#[test]
fn hostile_records_end_in_words() {
    let deep = format!("schema = 2\nx = {}{}", "[".repeat(50_000), "]".repeat(50_000));
    let wide = |parts| format!("schema = 2\n{}", "[[path.element]]\nkind = \"joint\"\n".repeat(parts));
    let bomb: String = "schema = 2\n".to_owned() + &"a.".repeat(20_000) + "b = 1\n";
    let cases = [
        ("nan", "schema = 2\n[claims]\ncontinuous_current = nan\n".to_owned(), 2),
        ("infinite", "schema = 2\n[claims]\ncontinuous_current = \"1e999 A\"\n".to_owned(), 2),
        ("huge", "schema = 2\n[claims]\ncontinuous_current = \"1e300 A\"\n".to_owned(), 0),
        ("negative", "schema = 2\n[cells]\nmass = \"-3 kg\"\n".to_owned(), 2),
        ("deep", deep, 2),
        ("dotted", bomb, 2),
        ("wide", wide(2_500), 0),
        ("too wide", wide(2_501), 2),
        ("far too wide", wide(10_000), 2),
        ("empty", String::new(), 2),
        ("duplicate", "schema = 2\nschema = 2\n".to_owned(), 2),
        ("version", "schema = 7\n".to_owned(), 2),
        ("control", "schema = 2\n[inspection]\ntitle = \"\\u001b[31mred\\u0007\"\n".to_owned(), 0),
    ];
    for (name, text, code) in cases {
        let ran = check_text(&text);
        assert_eq!(ran.code, code, "{name}: {}", ran.err.chars().take(2000).collect::<String>());
        assert!(!ran.out.contains('\u{1b}') && !ran.err.contains('\u{1b}'), "{name} reached the terminal");
    }
}

#[test]
fn what_is_not_a_record() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().to_str().unwrap();
    assert_eq!(run(&["check", path]).code, 2);
    fs::write(folder.path().join("inspection.toml"), [0xff, 0xfe, 0x00]).unwrap();
    let ran = run(&["check", path]);
    assert!(ran.code == 2 && ran.err.contains("not UTF-8"), "{}", ran.err);
    assert_eq!(run(&["check", "/dev/zero"]).code, 2);
    assert_eq!(run(&["check"]).code, 2);
}

#[test]
fn house_rules_change_the_book_and_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let house = folder.path().join("house.toml");
    fs::write(
        &house,
        r#"schema = 1
[[rule]]
id = "house-cable"
require = 'element.size >= 50 mm2'
each = ["cable"]
[[limit]]
name = "fuse_load_factor"
value = "1.5"
[[change]]
rule = "sense-wires-fused"
off = "yes"
reason = "our boards carry the fuses"
"#,
    )
    .unwrap();
    let ran = run(&[
        "check",
        "--format",
        "json",
        "--rules",
        house.to_str().unwrap(),
        "example-inspections/harbour-24-150-rev-a",
    ]);
    let json: Value = serde_json::from_str(&ran.out).unwrap();
    let changes = serde_json::to_string(&json["changes"]).unwrap();
    assert!(changes.contains("our boards carry the fuses") && changes.contains("1.5"), "{changes}");
    assert!(json["findings"].as_array().unwrap().iter().any(|f| f["rule"] == "house-cable"));
    assert!(json["findings"].as_array().unwrap().iter().all(|f| f["rule"] != "sense-wires-fused"));

    fs::write(
        &house,
        r#"schema = 1
[[rule]]
id = "wrong-dimension"
require = 'claims.continuous_current >= claims.nominal_voltage'
[[rule]]
id = "wrong-name"
require = 'claims.continous_current >= 1 A'
[[rule]]
id = "wrong-word"
each = ["fuse"]
require = 'element.fuse is "class-T"'
[[rule]]
id = "fuse-present"
require = 'path.overcurrent_devices >= 1'
[[rule]]
id = "out-of-scope"
require = 'element.rating >= 1 A'
[[limit]]
name = "fuse_load_factor"
value = "1.5 A"
[[change]]
rule = "sense-wires-fuse"
off = "yes"
reason = "x"
"#,
    )
    .unwrap();
    let ran = run(&["check", "--rules", house.to_str().unwrap(), "example-inspections/harbour-24-150-rev-a"]);
    assert_eq!(ran.code, 2);
    insta::assert_snapshot!("wrong-house-rules", ran.err.replace(folder.path().to_str().unwrap(), "DIR"));
}

/// The aim is 40 ms from a release build, which is not held since the network and what to look at next are worked out too.
/// A debug build that shares the machine with other tests gets far longer: this only finds what grows out of hand.
#[test]
fn checking_an_example_is_quick() {
    let folder = example("harbour-24-150-rev-b");
    let _ = run(&["check", folder.to_str().unwrap()]);
    let best = (0..5)
        .map(|_| {
            let started = Instant::now();
            let _ = run(&["check", folder.to_str().unwrap()]);
            started.elapsed()
        })
        .min()
        .unwrap();
    println!("check: {best:?}");
    let most = if cfg!(debug_assertions) { 3000 } else { 150 };
    assert!(best.as_millis() < most, "{best:?}");
}

#[test]
fn nothing_recorded_is_never_passed() {
    // Every recorded value of the examples is taken away, one by one: no rule may begin to pass because of it.
    // The second example takes as long again, and so does every other line of the first: in the long set.
    let both = std::env::var_os("UNDERLID_LONG").is_some();
    for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"].into_iter().take(if both { 2 } else { 1 }) {
        let text = fs::read_to_string(example(name).join("inspection.toml")).unwrap();
        let before = outcomes(&text, &example(name));
        // Facts for which a named limit stands in, by design and with a note in the working.
        let stands_in = ["inner_ambient", "ambient", "path", "invented", "complete"];
        let lines: Vec<&str> = text.lines().collect();
        for (index, line) in lines.iter().enumerate() {
            let Some((key, _)) = line.split_once(" = ").filter(|_| both || index % 2 == 0) else { continue };
            if stands_in.contains(&key)
                || ["schema", "kind", "id", "shows", "file", "with", "notes", "text"].contains(&key)
            {
                continue;
            }
            // Without it the record is refused.
            let part = lines[..index].iter().rfind(|line| line.starts_with('[')).copied().unwrap_or_default();
            if part == "[[photo.pointer]]" || key == "of" && part == "[[rig.clearing]]" {
                continue;
            }
            let without: String = lines
                .iter()
                .enumerate()
                .filter(|(at, _)| *at != index)
                .map(|(_, l)| format!("{l}\n"))
                .collect();
            for (rule, outcome) in outcomes(&without, &example(name)) {
                if outcome == underlid::judge::rules::Outcome::Meets {
                    let was = before.iter().find(|(known, _)| *known == rule).map(|(_, o)| *o);
                    assert_eq!(
                        was,
                        Some(underlid::judge::rules::Outcome::Meets),
                        "{name}, line {}: without `{line}` the rule {rule} passes",
                        index + 1
                    );
                }
            }
        }
    }
}

fn outcomes(text: &str, folder: &Path) -> Vec<(String, underlid::judge::rules::Outcome)> {
    let record = underlid::record::read("record", text).unwrap_or_else(|e| panic!("{e}: {:?}", e.list()));
    let book = underlid::judge::rules::Book::built_in().unwrap();
    let facts: Vec<_> = underlid::judge::bench_test::results(folder, &record, &book.limit_amounts())
        .iter()
        .map(|test| test.of_test())
        .collect();
    let derived = underlid::judge::facts::Derived::with_tests(&record, &book.limit_amounts(), facts);
    underlid::judge::rules::judge(&record, &derived, &book)
        .findings
        .iter()
        .map(|f| (format!("{} {}", f.rule, f.subject), f.outcome))
        .collect()
}
