//! Logs of every form: without a clock, without a header, in workbooks, as long tables, by a profile. The real files are
//! held against the truth by pandas and scipy (tests/reference/log_truth.py, tests/data/log-corpus.toml).

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::common::{root, text};

/// A user with settings and a folder of work.
struct User {
    folder: tempfile::TempDir,
}

impl User {
    fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    fn at(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> (i32, String, String) {
        let output = Command::new(env!("CARGO_BIN_EXE_underlid"))
            .env("NO_COLOR", "1")
            .env("UNDERLID_CONFIG", self.at("settings/settings.toml"))
            .args(arguments)
            .current_dir(self.folder.path())
            .output()
            .unwrap();
        let of = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        fs::create_dir_all(self.at("settings")).unwrap();
        (output.status.code().expect("an exit status"), of(output.stdout), of(output.stderr))
    }

    /// What `log --format json` prints of one log.
    fn log(&self, arguments: &[&str]) -> Value {
        fs::create_dir_all(self.at("settings")).unwrap();
        fs::write(self.at("settings/settings.toml"), "").unwrap();
        let all = [&["log"], arguments, &["--format", "json"]].concat();
        let (status, out, err) = self.run(&all);
        assert!(status < 2, "{arguments:?}: {err}");
        serde_json::from_str(&out).unwrap_or_else(|error| panic!("{error}: {out}"))
    }

    fn refused(&self, arguments: &[&str]) -> String {
        let (status, out, err) = self.run(&[&["log"], arguments].concat());
        assert_eq!(status, 2, "{out}");
        err
    }
}

/// A log of the corpus, unpacked.
fn corpus(user: &User, name: &str) -> String {
    let from = root().join("tests/data/logs/corpus").join(name);
    let to = user.at(name.trim_end_matches(".gz"));
    if name.ends_with(".gz") {
        let mut text = Vec::new();
        let file = fs::File::open(from).unwrap();
        std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(file), &mut text).unwrap();
        fs::write(&to, text).unwrap();
    } else {
        fs::copy(from, &to).unwrap();
    }
    text(&to)
}

fn sum(log: &Value, kind: &str, of: &str) -> f64 {
    let all = log["segments"].as_array().unwrap();
    all.iter().filter(|s| s["kind"] == kind).map(|s| s[of].as_f64().unwrap().abs()).sum()
}

fn near(found: f64, truth: f64, within: f64) {
    assert!((found - truth).abs() <= within, "{found} for {truth}");
}

const THERMOCOUPLES: [&str; 4] = [
    "#2 = temperature of cell",
    "#3 = temperature of cell",
    "#4 = temperature of cell",
    "#5 = temperature of ambient",
];

/// thermocouples-no-clock: neither clock nor names, a leading tab; highest on the cell 42.968 °C, in the air 25.611 °C.
#[test]
fn rows_without_a_clock_and_a_header_are_read_by_a_profile() {
    let user = User::new();
    let log = corpus(&user, "thermocouples-no-clock.lvm");
    let asked = user.refused(&[&log]);
    assert!(asked.contains("no header") && asked.contains("#2 \"24.697265\""), "{asked}");
    let columns: Vec<&str> = THERMOCOUPLES.iter().flat_map(|column| ["--column", column]).collect();
    let asked = user.refused(&[&[log.as_str()], columns.as_slice()].concat());
    assert!(asked.contains("interval = \"3 s\""), "{asked}");
    let all = [&[log.as_str()], columns.as_slice(), &["--interval", "3 s", "--profile", "tabs-no-clock-3s"]]
        .concat();
    for again in [all.as_slice(), &[log.as_str(), "--profile", "tabs-no-clock-3s"]] {
        let told = user.log(again);
        let highest = |of: &str| {
            let all = told["temperatures"].as_array().unwrap();
            let values = all.iter().filter(|t| t["of"] == of).map(|t| t["celsius"][1].as_f64().unwrap());
            values.fold(f64::NEG_INFINITY, f64::max)
        };
        near(highest("of the cells"), 42.968, 5e-4);
        near(highest("ambient"), 25.611, 5e-4);
        let report = told["skipped"][0].as_str().unwrap();
        assert!(report.starts_with("1316 rows, 1316 samples over 65.8 min"), "3945 s: {report}");
        assert!(told["form"].as_str().unwrap().contains("no clock: a row each 3 s, as said"));
    }
    // The same as the thermometer of a test, by the lines that are printed for the record.
    let told = user.log(&[&log, "--profile", "tabs-no-clock-3s"]);
    let sensors = told["record"].as_str().unwrap().replace("  part", "  offset = \"0 s\"\n  part");
    assert!(sensors.contains("profile = \"tabs-no-clock-3s\""), "{sensors}");
    fs::create_dir(user.at("logs")).unwrap();
    fs::rename(&log, user.at("logs/thermocouples-no-clock.lvm")).unwrap();
    fs::write(
        user.at("logs/a.csv"),
        "Time (s),Voltage (V),Current (A)\n".to_owned() + &rows(|n, v, i| format!("{n},{v},{i}\n")),
    )
    .unwrap();
    let test = "schema = 2\n[[test]]\nkind = \"capacity\"\nlog = \"logs/a.csv\"\n";
    fs::write(user.at("inspection.toml"), format!("{test}{sensors}")).unwrap();
    let (_, out, err) = user.run(&["check", ".", "--format", "json"]);
    let view: Value = serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}"));
    assert!(out.contains("aligned by the stated offset of 0 s; 1316 rows"), "{view:#}");
    fs::rename(user.at("logs/thermocouples-no-clock.lvm"), &log).unwrap();
    let saved = fs::read_to_string(user.at("settings/profiles/tabs-no-clock-3s.toml")).unwrap();
    assert!(saved.contains("interval = \"3 s\"") && !saved.contains("header ="), "{saved}");
    // Without a header nothing chooses the profile, so a log that only looks alike is not read by it.
    assert!(user.refused(&[&log]).contains("no header"));
}

/// charger-raw-records: charge 0.582199 Ah, 13.5022 Wh; the current is in 10 mA and has no sign, its state is a code.
#[test]
fn raw_records_are_read_by_numbers_of_columns_and_codes_of_state() {
    let user = User::new();
    let log = corpus(&user, "charger-raw-records.txt");
    let columns = [
        "#2 = state",
        "#3 = time in ms",
        "#6 = current in 10 mA",
        "#8 = voltage in mV",
        "#9 = charge in mAh",
        "#10 = temperature of instrument in 0.1 degC",
        "#12 = voltage of cell 1 in mV",
    ];
    let columns: Vec<&str> = columns.iter().flat_map(|column| ["--column", column]).collect();
    let states = [
        "--state",
        "1 = charge",
        "--state",
        "2 = discharge",
        "--sign",
        "by state",
        "--profile",
        "records-10ma",
    ];
    let told = user.log(&[&[log.as_str()], columns.as_slice(), &states].concat());
    near(sum(&told, "charge", "charge_ah"), 0.582_199, 5e-5);
    near(sum(&told, "charge", "energy_wh"), 13.5022, 2e-3);
    assert_eq!(told["temperatures"][0]["of"], "electronics");
    assert_eq!(told["temperatures"][0]["celsius"][1], 40.8);
    assert!(told["clashes"].as_array().unwrap().is_empty(), "{told:#}");
    assert!(told["agrees"].to_string().contains("0.582 Ah"), "its own counter: {told:#}");
    // The same records from a discharge, by the profile that was learnt on a charge.
    let other = fs::read_to_string(&log).unwrap().replace("$2;1;", "$2;2;");
    fs::write(user.at("other.txt"), other).unwrap();
    let told = user.log(&["other.txt", "--profile", "records-10ma"]);
    near(sum(&told, "discharge", "charge_ah"), 0.582_199, 5e-5);
    assert_eq!(sum(&told, "charge", "charge_ah"), 0.0);
}

/// The other real files without a hint: largest discharge or charge as pandas integrates it.
#[test]
fn real_files_give_their_truth_on_the_screen() {
    let user = User::new();
    for (name, kind, ah, wh, celsius) in [
        ("cycler-charge-sign-steps.csv.gz", "discharge", 29.971, 109.862, None),
        ("cycler-preamble-groups-temperatures.csv.gz", "discharge", 54.882, 1194.98, Some(42.0)),
        ("load-unit-columns.csv", "discharge", 5.39613, 65.788, None),
        ("cycler-epoch-thermocouple.csv", "charge", 0.602_952, 2.098_15, Some(27.61)),
    ] {
        let told = user.log(&[&corpus(&user, name)]);
        // Charging goes in steps with rests between them; of discharges the largest is the test.
        let of = |part: &str| match kind {
            "charge" => sum(&told, kind, part),
            _ => {
                let all = told["segments"].as_array().unwrap().iter().filter(|s| s["kind"] == kind);
                all.map(|s| s[part].as_f64().unwrap().abs()).fold(0.0, f64::max)
            }
        };
        near(of("charge_ah"), ah, 0.003 * ah);
        near(of("energy_wh"), wh, 0.003 * wh);
        if let Some(celsius) = celsius {
            let all = told["temperatures"].as_array().unwrap();
            let highest = all.iter().map(|t| t["celsius"][1].as_f64().unwrap()).fold(0.0, f64::max);
            near(highest, celsius, 0.05);
        }
    }
}

/// Rows of a made-up log: 10 min at 6 A.
fn rows(row: impl Fn(u32, f64, f64) -> String) -> String {
    (0..=600)
        .map(|n| row(n, 13.3 - 0.001 * f64::from(n), if (5..595).contains(&n) { 6.0 } else { 0.0 }))
        .collect()
}

#[test]
fn forms_that_defeated_the_reader_before() {
    let user = User::new();
    let put = |name: &str, text: &str| fs::write(user.at(name), text).unwrap();
    let ah = |arguments: &[&str]| sum(&user.log(arguments), "discharge", "charge_ah");
    let truth = 590.0 * 6.0 / 3600.0;
    // One field more than headers: the surplus stands last, where the clock says so, and first where it does.
    put(
        "surplus.csv",
        &("t (s),voltage (V),current (A)\n".to_owned() + &rows(|n, v, i| format!("{n},{v},{i},7\n"))),
    );
    near(ah(&["surplus.csv"]), truth, 1e-9);
    put(
        "index.csv",
        &("t (s),voltage (V),current (A)\n".to_owned() + &rows(|n, v, i| format!("{},{n},{v},{i}\n", n % 7))),
    );
    near(ah(&["index.csv"]), truth, 1e-9);
    // Where neither shows, numbers settle it.
    let odd = "a,voltage (V),current (A)\n".to_owned() + &rows(|n, v, i| format!("{},x{n},{v},{i}\n", 2 * n));
    put("odd.csv", &odd);
    assert!(user.refused(&["odd.csv"]).contains("columns by number"));
    let numbers = ["#1 = time in 0.5 s", "#3 = voltage", "#4 = current"];
    let numbers: Vec<&str> = numbers.iter().flat_map(|column| ["--column", column]).collect();
    near(ah(&[&["odd.csv"], numbers.as_slice()].concat()), truth, 1e-9);
    // Section titles, a preamble and a footer; titles take no time where the rows are the clock.
    let titled = |clock: bool| {
        let title = |n: u32| if n % 100 == 50 { "Section B: under load\n" } else { "" };
        let head = if clock {
            "Test of a pack\nby a clerk\n\nt (s);U (V);I (A)\n"
        } else {
            "Test of a pack\n\nU (V);I (A)\n"
        };
        let row = |n: u32, v: f64, i: f64| {
            format!("{}{}{v};{i}\n", title(n), if clock { format!("{n};") } else { String::new() })
        };
        head.to_owned() + &rows(row) + "rows: 601\nend of the test\n"
    };
    put("titled.txt", &titled(true));
    near(ah(&["titled.txt"]), truth, 1e-9);
    put("no-clock.txt", &titled(false));
    near(ah(&["no-clock.txt", "--interval", "1 s"]), truth, 1e-9);
    // Two kinds of rows in one file.
    put("kinds.txt", &rows(|n, v, i| format!("DATA;{n};{v};{i}\nINFO;{n};0;0\n")));
    let numbers = ["#2 = time in s", "#3 = voltage", "#4 = current"];
    let numbers: Vec<&str> = numbers.iter().flat_map(|column| ["--column", column]).collect();
    near(ah(&[&["kinds.txt", "--rows", "#1 = DATA"], numbers.as_slice()].concat()), truth, 1e-9);
    // A table above the log.
    put(
        "two.csv",
        &("n,limit (V)\n1,14.6\n2,10\n3,1\n4,2\n\nt (s),U (V),I (A)\n".to_owned()
            + &rows(|n, v, i| format!("{n},{v},{i}\n"))),
    );
    near(ah(&["two.csv", "--skip", "6"]), truth, 1e-9);
}

#[test]
fn a_header_chooses_its_profile_and_that_is_said() {
    let user = User::new();
    let log = "Zeit;K1;K2\n".to_owned() + &rows(|n, v, i| format!("{n};{:.0};{:.0}\n", v * 1e3, i * 100.0));
    fs::create_dir(user.at("logs")).unwrap();
    fs::write(user.at("logs/a.txt"), &log).unwrap();
    fs::write(user.at("logs/b.txt"), log.replace("Zeit;K1;K2", "\"Zeit\"; K1 ;K2")).unwrap();
    let columns = [
        "--column",
        "Zeit = time in s",
        "--column",
        "K1 = voltage in mV",
        "--column",
        "K2 = current in 10 mA",
    ];
    assert!(user.refused(&["logs/a.txt", "--profile", "counts-10ma"]).contains("none at all"));
    user.log(&[&["logs/a.txt"], columns.as_slice(), &["--profile", "counts-10ma"]].concat());
    let (status, out, _) = user.run(&["log", "logs/b.txt"]);
    assert!(status < 2 && out.contains("read by your profile \"counts-10ma\""), "{out}");
    assert!(out.contains("profile = \"counts-10ma\""), "a line for the record: {out}");
    // A record needs no more than the log; the write-up and the JSON say by what it was read.
    let record = |more: &str| {
        let text = format!(
            "schema = 2\n[claims]\ncapacity = \"1 Ah\"\n[[test]]\nkind = \"capacity\"\nlog = \"logs/b.txt\"\n{more}"
        );
        fs::write(user.at("inspection.toml"), text).unwrap();
        let (status, out, err) = user.run(&["check", ".", "--format", "json"]);
        assert!(status < 2, "{err}");
        let view: Value = serde_json::from_str(&out).unwrap();
        view["bench_tests"][0].clone()
    };
    let test = record("");
    assert_eq!(test["profile"], "counts-10ma", "{test:#}");
    assert!(test["layout"].as_str().unwrap().contains("read by your profile"), "{test:#}");
    assert!(test["figures"].to_string().contains("0.98"), "{test:#}");
    let test = record("profile = \"counts-10mA\"\n");
    assert!(test["problem"].as_str().unwrap().contains("did you mean \"counts-10ma\"?"), "{test:#}");
    // What the test says goes before the profile.
    let test = record("columns = [\"K2 = current in mA\"]\n");
    assert!(test["figures"].to_string().contains("0.098"), "{test:#}");
    // A stranger's folder does not choose how its logs are read.
    fs::rename(user.at("settings/profiles"), user.at("profiles")).unwrap();
    let test = record("profile = \"counts-10ma\"\n");
    assert!(test["problem"].as_str().unwrap().contains("--folder-rules"), "{test:#}");
    assert!(record("")["profile"].is_null());
    let (_, out, _) = user.run(&["check", ".", "--format", "json", "--folder-rules"]);
    let view: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(view["bench_tests"][0]["profile"], "counts-10ma");
    // A broken profile of one's own is told with its place.
    fs::rename(user.at("profiles"), user.at("settings/profiles")).unwrap();
    fs::write(user.at("settings/profiles/counts-10ma.toml"), "schema = 1\nintervall = \"3 s\"\n").unwrap();
    let wrong = user.refused(&["logs/a.txt"]);
    assert!(wrong.contains("did you mean `interval`?") && wrong.contains("counts-10ma.toml"), "{wrong}");
}

/// What `log` prints for the record is accepted there, and gives the same charge.
#[test]
fn the_lines_for_the_record_are_accepted() {
    let user = User::new();
    fs::create_dir(user.at("logs")).unwrap();
    let text = "CH1;CH2\n".to_owned() + &rows(|_, v, i| format!("{v};{i}\n"));
    fs::write(user.at("logs/a.txt"), text).unwrap();
    let steps = fs::read(corpus(&user, "cycler-charge-sign-steps.csv.gz")).unwrap();
    fs::write(user.at("logs/steps.csv"), steps).unwrap();
    let own = [
        "logs/a.txt",
        "--column",
        "CH1 = voltage in V",
        "--column",
        "#2 = current in A",
        "--interval",
        "1 s",
    ];
    for (arguments, wanted) in [(own.as_slice(), "0.983"), (&["logs/steps.csv"], "29.97")] {
        let told = user.log(arguments);
        let record = told["record"].as_str().unwrap();
        fs::write(user.at("inspection.toml"), format!("schema = 2\n{record}")).unwrap();
        let (status, out, err) = user.run(&["check", ".", "--format", "json"]);
        assert!(status < 2, "{record}{err}");
        let view: Value = serde_json::from_str(&out).unwrap();
        let figures = view["bench_tests"][0]["figures"].to_string();
        assert!(figures.contains(wanted), "{record}{figures}");
    }
}

#[test]
fn a_person_can_read_it() {
    let user = User::new();
    let text = "made for a test\nt (s),Pack V (V),Load (A),T cell (degC),CH9\n".to_owned()
        + &rows(|n, v, i| format!("{n},{v:.3},{i},2{}.5,7\n", n / 200));
    fs::write(user.at("a.csv"), text).unwrap();
    let (status, out, err) = user.run(&["log", "a.csv"]);
    assert!(status < 2, "{err}");
    insta::assert_snapshot!("log_for_a_person", out);
}

/// Kinds of file that are no text are in `src/logs/read/container.rs`; here is what a user is told to do.
#[test]
fn what_cannot_be_read_is_named_with_the_way_out() {
    let user = User::new();
    for (name, bytes, part) in [
        ("a.pdf", b"%PDF-1.7 and so on".as_slice(), "a PDF"),
        ("a.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1 and so on", "an old kind (XLS)"),
        ("a.db", b"SQLite format 3\0 and so on", "an SQLite database"),
        ("a.mat", b"MATLAB 5.0 MAT-file", "a MAT file"),
        ("a.bin", &[0xaa, 0x55, 0x01, 0x02, 0x03, 0xff, 0x10, 0x11], "raw frames"),
    ] {
        fs::write(user.at(name), bytes).unwrap();
        let told = user.refused(&[name]);
        assert!(told.contains(part) && told.contains("CSV"), "{told}");
    }
}

/// Workbooks of the corpus against pandas: fetched by tests/reference/log_corpus.py.
#[cfg(feature = "workbooks")]
#[test]
#[ignore = "fetched by tests/reference/log_corpus.py"]
fn long_workbooks_and_logs_without_a_header() {
    let user = User::new();
    let at = |name: &str| text(&root().join(".cache/logs").join(name));
    let told = user.log(&[&at("workbook-channel-sheet.xlsx"), "--sign", "discharge negative"]);
    assert_eq!(told["sheet"], "Channel_11_1");
    near(sum(&told, "discharge", "charge_ah"), 0.011_054_9, 2.2e-5);
    near(sum(&told, "charge", "charge_ah"), 0.005_703_2, 1.1e-5);
    let told = user.log(&[&at("workbook-three-tables.xlsx")]);
    assert_eq!(told["sheet"], "Record");
    near(sum(&told, "discharge", "charge_ah"), 0.000_532_605, 2.3e-6);
    near(sum(&told, "charge", "charge_ah"), 0.000_515_856, 1.9e-6);
    let of = |log: &str, columns: &[&str], more: &[&str]| {
        let columns: Vec<&str> = columns.iter().flat_map(|column| ["--column", column]).collect();
        user.log(&[&[at(log).as_str()], columns.as_slice(), more].concat())
    };
    let columns = ["#2 = time in s", "#9 = current in A", "#10 = voltage in V", "#14 = state"];
    let told = of("pulse-test-no-header-10c.csv", &columns, &[]);
    near(sum(&told, "charge", "charge_ah"), 31.2566, 0.2);
    let columns =
        ["#4 = time", "#5 = voltage in V", "#6 = current in A", "#7 = temperature of cell", "#11 = state"];
    let told = of("cell-tester-no-header.csv", &columns, &["--sign", "by state"]);
    near(sum(&told, "discharge", "charge_ah"), 0.027_907_1, 0.000_86);
    near(told["temperatures"][0]["celsius"][1].as_f64().unwrap(), 21.176, 1e-3);
}

#[test]
#[cfg(not(feature = "workbooks"))]
fn a_workbook_says_what_is_missing() {
    let user = User::new();
    fs::write(user.at("a.xlsx"), b"PK\x03\x04 and so on").unwrap();
    assert!(user.refused(&["a.xlsx"]).contains("without the feature `workbooks`"));
}

/// The folder of profiles is made where there is none, and only there.
#[test]
fn a_profile_needs_a_place_and_a_name() {
    let user = User::new();
    fs::write(user.at("a.csv"), "t,U,I\n0,13,0\n1,13,6\n2,13,6\n").unwrap();
    let wrong = user.refused(&["a.csv", "--sign", "discharge positive", "--profile", "../x"]);
    assert!(wrong.contains("small letters, digits and hyphens"), "{wrong}");
    let (status, _, err) = crate::common::run(&[
        "log",
        &text(&user.at("a.csv")),
        "--sign",
        "discharge positive",
        "--profile",
        "x",
    ]);
    assert!(status == 2 && err.contains("UNDERLID_CONFIG is empty"), "{err}");
    assert!(!Path::new(&user.at("profiles")).exists());
}
