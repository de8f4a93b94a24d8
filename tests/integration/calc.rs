//! `underlid calc` as a technician calls it: results against published figures, errors that point at the text.

use assert_cmd::Command;
use serde_json::Value;

fn underlid(arguments: &[&str]) -> Command {
    let mut command = Command::cargo_bin("underlid").unwrap();
    command.args(arguments).env("NO_COLOR", "1");
    command
}

fn sheet(arguments: &[&str]) -> Value {
    let output = underlid(&["calc"]).args(arguments).args(["--format", "json"]).output().unwrap();
    let error = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{arguments:?}: {error}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn step<'a>(sheet: &'a Value, name: &str) -> &'a Value {
    let steps = sheet["steps"].as_array().unwrap();
    steps.iter().find(|step| step["name"] == name).unwrap_or_else(|| panic!("no step {name} in {sheet:#}"))
}

fn si(sheet: &Value, name: &str) -> f64 {
    step(sheet, name)["si"].as_f64().unwrap()
}

fn outcomes(sheet: &Value) -> Vec<(&str, &str)> {
    let list = sheet["comparisons"].as_array().unwrap();
    list.iter().map(|c| (c["what"].as_str().unwrap(), c["outcome"].as_str().unwrap())).collect()
}

/// Copper Development Association, busbar ampacity table 1 (read): 1/8 × 1 in, 30 K over 40 °C, 270 A.
#[test]
fn busbar_in_the_spellings_of_the_table() {
    let bar = [
        "busbar",
        "1 in x 1/8 in",
        "--material",
        "copper",
        "--finish",
        "oxidised",
        "--orientation",
        "on edge",
    ];
    let there = sheet(&[&bar[..], &["--rise", "30 K"]].concat());
    let current = si(&there, "continuous current");
    assert!((current / 270.0 - 1.0).abs() < 0.03, "{current} A");
    // The same bar at that current rises by the same 30 K, and the balance closes.
    let back = sheet(&[&bar[..], &["--current", &format!("{current} A")]].concat());
    assert!((si(&back, "temperature rise") - 30.0).abs() < 1e-6);
    let heat = si(&there, "resistance of one metre") * current * current;
    assert!((heat / si(&there, "heat given off by one metre") - 1.0).abs() < 1e-9);
    let (one, other) = (si(&there, "current density"), current / (0.0254 * 0.003_175));
    assert!((one / other - 1.0).abs() < 1e-12);
}

/// 33 CFR 183.425, table 5 (read): 2/0 AWG, 105 °C insulation, 30 °C ambient, 330 A.
#[test]
fn cable_of_the_table() {
    let cable = sheet(&[
        "cable",
        "2/0 AWG",
        "--insulation",
        "105 degC",
        "--ambient",
        "86 degF",
        "--current",
        "400 A",
    ]);
    assert!((si(&cable, "ampacity") - 330.0).abs() < 1e-6);
    assert_eq!(outcomes(&cable), [("the cable carries the current", "falls short")]);
}

#[test]
fn uncertainty_decides() {
    let of = |current: &str| {
        let cable = sheet(&[
            "cable",
            "2/0 AWG",
            "--insulation",
            "105 degC",
            "--ambient",
            "30 degC",
            "--current",
            current,
        ]);
        outcomes(&cable)[0].1.to_owned()
    };
    assert_eq!(of("325 A"), "meets");
    assert_eq!(of("330 A"), "meets");
    assert_eq!(of("325 A ± 10 A"), "not decided");
    assert_eq!(of("335 A ± 10 A"), "not decided");
    assert_eq!(of("345 A ± 10 A"), "falls short");
}

/// JCGM 100:2008, 5.1.6 (from memory): relative variances of the factors of a product or quotient add.
#[test]
fn uncertainty_goes_through() {
    let joint = sheet(&["joint", "--drop", "5 mV ± 1 %", "--current", "100 A ± 2 %", "--rated", "200 A"]);
    let relative = |name: &str| step(&joint, name)["expanded_si"].as_f64().unwrap() / si(&joint, name);
    let both = 0.01_f64.hypot(0.02);
    assert!((relative("resistance") / both - 1.0).abs() < 1e-6);
    assert!((relative("heat at the continuous current") / both - 1.0).abs() < 1e-6);
    // Drop and current come from independent readings here, so P = U · I has the same spread.
    assert!((relative("heat at the reading") / both - 1.0).abs() < 1e-6);
}

/// A thermal cut-off opens on temperature (IEC 60691, read in general terms): no ampere figure makes it a fuse.
#[test]
fn a_thermal_cutoff_is_told_apart() {
    let cutoff = sheet(&["fuse", "thermal cut-off", "--rating", "250 A", "--current", "150 A"]);
    assert_eq!(outcomes(&cutoff), [("it protects against overcurrent and short circuit", "falls short")]);
    assert!(cutoff["notes"].to_string().contains("no overcurrent protection"));
    assert!(cutoff["steps"].as_array().unwrap().is_empty(), "no fuse arithmetic for what is no fuse");
}

/// ISO 8820-5:2015, scope (read): strip fuse-links, 32 V, breaking capacity 2 000 A.
#[test]
fn what_a_standard_fixes() {
    let strip = ["fuse", "strip SF51", "--rating", "200 A", "--current", "150 A", "--voltage", "29.2 V"];
    let strong = sheet(&[&strip[..], &["--prospective", "5.4 kA"]].concat());
    assert_eq!(
        outcomes(&strong).iter().map(|(_, outcome)| *outcome).collect::<Vec<_>>(),
        ["meets", "meets", "falls short"]
    );
    assert!((si(&strong, "smallest rating for the load") - 187.5).abs() < 1e-9);
    // Nothing fixes a class T fuse's DC ratings: not decided until they are read.
    let class_t = ["fuse", "class T", "--rating", "200 A", "--voltage", "29.2 V", "--prospective", "5.4 kA"];
    assert!(outcomes(&sheet(&class_t)).iter().all(|(_, outcome)| *outcome == "not decided"));
    let read = sheet(&[&class_t[..], &["--rated-voltage", "125 V", "--interrupting", "20 kA"]].concat());
    assert!(outcomes(&read).iter().all(|(_, outcome)| *outcome == "meets"));
    let unknown = sheet(&["fuse", "unknown", "--rating", "200 A"]);
    assert_eq!(outcomes(&unknown)[0].1, "not decided");
}

/// Ohm's law by hand: 8 × 3.4 V over 8 × 0.5 mΩ / 2 + 1 mΩ.
#[test]
fn short_circuit_by_hand() {
    let pack = [
        "short-circuit",
        "--cell-voltage",
        "3.4 V",
        "--cell-resistance",
        "0.5 mΩ",
        "--series",
        "8",
        "--parallel",
        "2",
    ];
    let short = sheet(&[&pack[..], &["--path", "1 mΩ", "--conductor", "25 mm2"]].concat());
    let current = 27.2 / 3e-3;
    assert!((si(&short, "prospective short-circuit current") / current - 1.0).abs() < 1e-12);
    assert!((si(&short, "through each cell") / (current / 2.0) - 1.0).abs() < 1e-12);
    let time = (115.0 * 25.0 / current).powi(2);
    assert!((si(&short, "conductor withstands it for") / time - 1.0).abs() < 1e-9);
    // Without a path resistance the sheet says that it is an upper bound.
    assert!(sheet(&pack)["assumptions"].to_string().contains("at most"));
}

/// Fourier's law by hand: 1.5 mm / (3 W/(m·K) × 40 cm²) = 0.125 K/W; 20 W through 0.625 K/W.
#[test]
fn heat_path_by_hand() {
    let layers = ["heat-path", "--layer", "pad: 1.5 mm, 40 cm2, 3 W/(m·K)", "--layer", "0.5 K/W"];
    let known = sheet(&[&layers[..], &["--power", "20 W", "--ambient", "-10 degC"]].concat());
    assert!((si(&known, "thermal resistance of the path") - 0.625).abs() < 1e-12);
    assert!((si(&known, "temperature at the first layer") - (263.15 + 12.5)).abs() < 1e-9);
    let devices =
        ["--current", "100 A", "--devices", "10", "--on-resistance", "1 mΩ", "--ambient", "25 degC"];
    let found = sheet(&[&layers[..], &devices].concat());
    let (heat, junction) = (si(&found, "heat of all devices"), si(&found, "junction temperature"));
    assert!((junction - (298.15 + 0.625 * heat)).abs() < 1e-9);
    assert!(heat > 1.0 && heat < 1.1, "1 W at 25 °C, a little more when warm: {heat}");
}

/// Four and eight LFP cells in series (common practice, no source): 12.8 V and 14.6 V, 25.6 V and 29.2 V.
#[test]
fn pack_arithmetic() {
    let pack = sheet(&[
        "pack",
        "--series",
        "8",
        "--chemistry",
        "LFP",
        "--cell-capacity",
        "150 Ah",
        "--current",
        "75 A",
        "--charge-voltage",
        "29.2 V",
        "--cutoff-voltage",
        "19 V",
    ]);
    assert!((si(&pack, "nominal voltage") - 25.6).abs() < 1e-12);
    assert!((si(&pack, "usual charge voltage") - 29.2).abs() < 1e-12);
    assert!((si(&pack, "energy") / 3600.0 - 3840.0).abs() < 1e-9);
    assert!((si(&pack, "C-rate") * 3600.0 - 0.5).abs() < 1e-12);
    assert!((si(&pack, "time to empty") / 3600.0 - 2.0).abs() < 1e-12);
    let found: Vec<&str> = outcomes(&pack).iter().map(|(_, outcome)| *outcome).collect();
    assert_eq!(found, ["meets", "falls short"], "3.65 V a cell is the limit itself, 2.375 V is below it");
}

/// Every wrong argument ends with status 2, a mark under the place and a right example.
#[test]
fn errors_point_at_the_text() {
    let bar = ["calc", "busbar", "25 x 3 mm", "--material", "copper"];
    let cases: &[(&[&str], &str)] = &[
        (
            &["--rise", "30 C"],
            "a temperature difference is needed\n  30 C\n  ^^^^\n  write for example: 30 K",
        ),
        (&["--rise", "30 K ± 2 A"], "the value is a temperature difference, its uncertainty is a current"),
        (&["--current", "2,000 A"], "  2,000 A\n   ^"),
        (&["--current", "200"], "this is a plain number, a current is needed"),
        (&["--rise", "50 K", "--ambient", "40 K"], "a temperature is needed"),
        (&["--rise", "50 K", "--finish", "brigth"], "did you mean `bright`?"),
        (&["--rise", "50 K", "--stacked", "0"], "a whole number from 1 to 1000"),
        (&["--rise", "900 K"], "the temperature rise is 900 K; the method holds from 1 K to 150 K"),
        (&[], "--rise <DIFFERENCE>|--current <CURRENT>"),
    ];
    for (arguments, expected) in cases {
        let output = underlid(&bar).args(*arguments).output().unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(error.contains(expected), "{arguments:?}: {error}");
        assert!(output.stdout.is_empty());
    }
    let huge =
        underlid(&["calc", "joint", "--overlap", "1e6 m x 1e300 m", "--rated", "0 A"]).output().unwrap();
    assert_eq!(huge.status.code(), Some(2));
}

#[test]
fn every_help_has_an_example_that_runs_and_a_caution() {
    for name in ["busbar", "cable", "fuse", "short-circuit", "heat-path", "joint", "pack"] {
        let output = underlid(&["calc", name, "--help"]).output().unwrap();
        let help = String::from_utf8(output.stdout).unwrap();
        assert!(help.contains("An opened pack can hurt you"), "{name}");
        let example = help.split("Example:").nth(1).unwrap().split("\n\n").next().unwrap();
        let example = example.split_whitespace().collect::<Vec<_>>().join(" ");
        let words = shell_words(&example);
        assert_eq!(words[0], "underlid");
        let arguments: Vec<&str> = words[1..].iter().map(String::as_str).collect();
        let output = underlid(&arguments).output().unwrap();
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(output.status.success(), "{example}: {}", String::from_utf8_lossy(&output.stderr));
        for part in ["Put in", "Worked out", "Methods", "source:", "holds for:", "Caution:"] {
            assert!(text.contains(part), "{name} lacks {part}: {text}");
        }
    }
}

/// Splits at spaces outside double quotes, as a shell does.
fn shell_words(line: &str) -> Vec<String> {
    let mut words = vec![String::new()];
    let mut quoted = false;
    for c in line.chars() {
        match c {
            '"' => quoted = !quoted,
            ' ' if !quoted => words.push(String::new()),
            c => words.last_mut().unwrap().push(c),
        }
    }
    words
}

#[test]
fn text_of_a_sheet() {
    let text = |arguments: &[&str]| {
        let output = underlid(&["calc"]).args(arguments).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    insta::assert_snapshot!(
        "busbar",
        text(&[
            "busbar",
            "25 x 3 mm ± 0.1 mm",
            "--material",
            "copper",
            "--finish",
            "oxidised",
            "--rise",
            "50 K"
        ])
    );
    insta::assert_snapshot!("thermal_cutoff", text(&["fuse", "thermal cut-off", "--rating", "250 A"]));
}

#[test]
fn json_of_a_sheet_keeps_its_shape() {
    let joint = sheet(&["joint", "--drop", "4.2 mV ± 0.1 mV", "--current", "100 A", "--rated", "150 A"]);
    insta::assert_json_snapshot!("joint", joint);
}

/// A house book's limit takes the place of the built-in one, the sheet says so, and a wrong book is pointed at.
#[test]
fn limits_of_a_house() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("house.toml");
    let fuse = ["fuse", "class T", "--rating", "200 A", "--current", "140 A"];
    let with = |text: &str| {
        std::fs::write(&file, text).unwrap();
        let rules = ["--rules", file.to_str().unwrap(), "--format", "json"];
        underlid(&["calc"]).args(fuse).args(rules).output().unwrap()
    };
    let own = sheet(&fuse);
    assert!((si(&own, "smallest rating for the load") - 175.0).abs() < 1e-9);
    assert_eq!(outcomes(&own)[0], ("the rating suits the load", "meets"));
    let output = with("[[limit]]\nname = \"fuse_load_factor\"\nvalue = \"1.5\"\nbasis = \"our own rule\"\n");
    let house: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!((si(&house, "smallest rating for the load") - 210.0).abs() < 1e-9);
    assert_eq!(outcomes(&house)[0], ("the rating suits the load", "falls short"));
    assert!(house["notes"].to_string().contains("set to 1.5 (was 1.25): our own rule"), "{house:#}");
    let wrong = with("[[limit]]\nname = \"fuse_load_factor\"\nvalue = \"1.5 A\"\n");
    assert_eq!(wrong.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&wrong.stderr).contains("house.toml"), "the place is named");
}
