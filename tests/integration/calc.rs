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

fn fact<'a>(sheet: &'a Value, name: &str) -> &'a Value {
    let facts = sheet["facts"].as_array().unwrap();
    facts.iter().find(|fact| fact["name"] == name).unwrap_or_else(|| panic!("no fact {name} in {sheet:#}"))
}

fn si(sheet: &Value, name: &str) -> f64 {
    fact(sheet, name)["si"].as_f64().unwrap()
}

/// What the rules say, and which of them lack an argument.
fn outcomes(sheet: &Value) -> Vec<(&str, &str)> {
    let said = sheet["findings"].as_array().unwrap().iter();
    let said = said.map(|finding| (finding["rule"].as_str().unwrap(), finding["outcome"].as_str().unwrap()));
    let lacking = sheet["not_decided"].as_array().unwrap().iter();
    said.chain(lacking.map(|one| (one["rule"].as_str().unwrap(), "lacks"))).collect()
}

fn outcome<'a>(sheet: &'a Value, rule: &str) -> &'a str {
    let found = outcomes(sheet).into_iter().find(|(known, _)| *known == rule);
    found.unwrap_or_else(|| panic!("no {rule} in {sheet:#}")).1
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
    let current = si(&there, "element.permissible_current");
    assert!((current / 270.0 - 1.0).abs() < 0.03, "{current} A");
    // The same bar at that current rises by the same 30 K.
    let back = sheet(&[&bar[..], &["--current", &format!("{current} A")]].concat());
    assert!((si(&back, "element.rise_at_rated") - 30.0).abs() < 1e-6);
    let (one, other) = (si(&back, "element.density"), current / (0.0254 * 0.003_175));
    assert!((one / other - 1.0).abs() < 1e-12);
    assert_eq!(outcome(&back, "place-stays-below-limit"), "meets");
    // A rise counts from the air that was given, and an emissivity stands in the place of a word.
    let warm = sheet(&[&bar[..], &["--ambient", "60 degC", "--rise", "30 K"]].concat());
    assert!(si(&warm, "element.permissible_current") < current);
    let bare = [
        "busbar",
        "1 in x 1/8 in",
        "--material",
        "copper",
        "--emissivity",
        "0.4",
        "--orientation",
        "on edge",
        "--rise",
        "30 K",
    ];
    assert_eq!(si(&sheet(&bare), "element.permissible_current"), current);
}

/// 33 CFR 183.425, table 5 (read): 2/0 AWG, 105 °C insulation, 30 °C ambient, 330 A.
#[test]
fn cable_of_the_table() {
    let cable = ["cable", "2/0 AWG", "--insulation", "105 degC", "--ambient", "86 degF", "--current"];
    let cable = sheet(&[&cable[..], &["400 A"]].concat());
    assert!((si(&cable, "element.permissible_current") - 330.0).abs() < 1e-6);
    assert_eq!(outcome(&cable, "place-stays-below-limit"), "falls short");
    assert_eq!(outcome(&cable, "conductor-heat"), "lacks", "the length");
}

#[test]
fn uncertainty_decides() {
    let of = |current: &str| {
        let cable =
            ["cable", "2/0 AWG", "--insulation", "105 degC", "--ambient", "30 degC", "--current", current];
        outcome(&sheet(&cable), "place-stays-below-limit").to_owned()
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
    let relative = |name: &str| fact(&joint, name)["expanded_si"].as_f64().unwrap() / si(&joint, name);
    let both = 0.01_f64.hypot(0.02);
    assert!((relative("element.resistance_found") / both - 1.0).abs() < 1e-6);
    assert!((relative("element.heat") / both - 1.0).abs() < 1e-6);
}

/// IEC 60949 (from memory): K = 226 A·s^½/mm², β = 234.5 °C for copper. 35 mm² at 4 kA melts, from 105 °C and from 20 °C,
/// after (k · S / I)²; the insulation of a class up to 105 °C bears 160 °C to 250 °C.
#[test]
fn a_cable_in_a_fault_by_hand() {
    let cable = sheet(&["cable", "35 mm2", "--insulation", "105 degC", "--fault", "4 kA"]);
    let time = |from: f64, to: f64| {
        226.0_f64.powi(2) * ((to + 234.5) / (from + 234.5)).ln() * (35.0_f64 / 4e3).powi(2)
    };
    for (name, least, most) in [
        ("element.melts_after", time(105.0, 1084.6), time(20.0, 1084.6)),
        ("element.insulation_damaged_after", time(105.0, 160.0), time(20.0, 250.0)),
    ] {
        let (middle, half) = (si(&cable, name), fact(&cable, name)["expanded_si"].as_f64().unwrap());
        assert!(((middle - half) / least - 1.0).abs() < 1e-6, "{name}");
        assert!(((middle + half) / most - 1.0).abs() < 1e-6, "{name}");
    }
}

/// A thermal cut-off opens on temperature (IEC 60691, read in general terms): no ampere figure makes it a fuse.
#[test]
fn a_thermal_cutoff_is_told_apart() {
    let cutoff = sheet(&["fuse", "thermal cut-off", "--rating", "250 A", "--current", "150 A"]);
    assert_eq!(outcome(&cutoff, "fuse-responds-to-current"), "falls short");
    assert_eq!(fact(&cutoff, "element.responds_to")["value"], "temperature");
    assert!(cutoff["findings"][0]["advice"].as_str().unwrap().contains("no overcurrent protection"));
    assert!(!outcomes(&cutoff).iter().any(|(rule, _)| *rule == "fuse-rating-over-load"), "{cutoff:#}");
}

/// ISO 8820-5:2015, scope (read): strip fuse-links, 32 V, breaking capacity 2 000 A.
#[test]
fn what_a_standard_fixes() {
    let strip = ["fuse", "strip SF51", "--rating", "200 A", "--current", "150 A", "--voltage", "29.2 V"];
    let strong = sheet(&[&strip[..], &["--prospective", "5.4 kA"]].concat());
    for (rule, expected) in
        [("fuse-rating-over-load", "meets"), ("fuse-voltage", "lacks"), ("fuse-interrupting-rating", "lacks")]
    {
        assert_eq!(outcome(&strong, rule), expected, "{rule}");
    }
    // Its shape fixes nothing but at 32 V.
    let printed = sheet(&[&strip[..], &["--prospective", "5.4 kA", "--rated-voltage", "32 V"]].concat());
    assert_eq!(outcome(&printed, "fuse-voltage"), "meets");
    assert_eq!(outcome(&printed, "fuse-interrupting-rating"), "falls short");
    let higher = sheet(&[&strip[..], &["--prospective", "1.5 kA", "--rated-voltage", "58 V"]].concat());
    assert_eq!(outcome(&higher, "fuse-interrupting-rating"), "lacks");
    // Nothing fixes a class T fuse's DC ratings: not decided until they are read.
    let class_t = ["fuse", "class T", "--rating", "200 A", "--voltage", "29.2 V", "--prospective", "5.4 kA"];
    let open = sheet(&class_t);
    for rule in ["fuse-voltage", "fuse-interrupting-rating"] {
        assert_eq!(outcome(&open, rule), "lacks", "{rule}");
    }
    assert!(open["not_decided"].to_string().contains("--interrupting"));
    let read = sheet(&[&class_t[..], &["--rated-voltage", "125 V", "--interrupting", "20 kA"]].concat());
    for rule in ["fuse-voltage", "fuse-interrupting-rating"] {
        assert_eq!(outcome(&read, rule), "meets", "{rule}");
    }
    // What it is to protect.
    for (ampacity, expected) in [("250 A", "meets"), ("150 A", "falls short")] {
        let protects = sheet(&[&class_t[..], &["--ampacity", ampacity]].concat());
        assert_eq!(outcome(&protects, "conductor-protected-by-fuse"), expected);
    }
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
    let direct = ["--path", "1 mΩ", "--conductor", "25 mm2", "--cell-direct-resistance", "0.5 mΩ"];
    let short = sheet(&[&pack[..], &direct[..]].concat());
    let current = 27.2 / 3e-3;
    assert!((si(&short, "path.short_circuit_current") / current - 1.0).abs() < 1e-6);
    assert!(si(&short, "conductor.melts_after") > 0.0);
    // The direct-current resistance may be 2.2 times that at 1 kHz, and a path that nobody measured anything.
    let range = |sheet: &Value| {
        let (middle, half) = (
            si(sheet, "path.short_circuit_current"),
            fact(sheet, "path.short_circuit_current")["expanded_si"].as_f64(),
        );
        (middle - half.unwrap(), middle + half.unwrap())
    };
    let (least, greatest) = range(&sheet(&[&pack[..], &["--path", "1 mΩ"]].concat()));
    assert!((least / (27.2 / 5.4e-3) - 1.0).abs() < 1e-9 && (greatest / current - 1.0).abs() < 1e-9);
    assert!((range(&sheet(&pack)).1 / (27.2 / 2e-3) - 1.0).abs() < 1e-9);
}

/// Fourier's law by hand: 1.5 mm / (3 W/(m·K) × 40 cm²) = 0.125 K/W; 20 W through 0.625 K/W.
#[test]
fn heat_path_by_hand() {
    let layers = ["heat-path", "--layer", "pad: 1.5 mm, 40 cm2, 3 W/(m·K)", "--layer", "0.5 K/W"];
    let known = sheet(&[&layers[..], &["--power", "20 W", "--ambient", "-10 degC"]].concat());
    assert!((si(&known, "bms.heat_path_resistance") - 0.625).abs() < 1e-12);
    assert!((si(&known, "bms.surface_temperature") - (263.15 + 12.5)).abs() < 1e-9);
    let devices =
        ["--current", "100 A", "--devices", "10", "--on-resistance", "1 mΩ", "--ambient", "25 degC"];
    let found = sheet(&[&layers[..], &devices].concat());
    let (heat, junction) = (si(&found, "bms.dissipation"), si(&found, "bms.junction_temperature"));
    assert!((junction - (298.15 + 0.625 * heat)).abs() < 1e-9);
    assert!(heat > 1.0 && heat < 1.1, "1 W at 25 °C, a little more when warm: {heat}");
    // A cold junction is a lower bound while the resistance to the case is left out: not passed.
    assert_eq!(outcome(&found, "bms-junction-temperature"), "lacks");
    let case = sheet(&[&layers[..], &devices, &["--junction-to-case", "0.5 K/W"]].concat());
    assert_eq!(outcome(&case, "bms-junction-temperature"), "meets");
}

/// Four and eight LFP cells in series (common practice, no source): 12.8 V and 14.6 V, 25.6 V and 29.2 V.
#[test]
fn pack_arithmetic() {
    let cells =
        ["pack", "--series", "8", "--chemistry", "LFP", "--cell-capacity", "150 Ah", "--current", "75 A"];
    let pack = sheet(&[&cells[..], &["--charge-voltage", "29.2 V", "--cutoff-voltage", "19 V"]].concat());
    assert!((si(&pack, "pack.nominal_voltage") - 25.6).abs() < 1e-12);
    assert!((si(&pack, "pack.energy") / 3600.0 - 3840.0).abs() < 1e-9);
    assert!((si(&pack, "pack.c_rate") * 3600.0 - 0.5).abs() < 1e-12);
    // What charges them is not said: at least what full cells have at rest.
    let least = si(&sheet(&cells), "pack.highest_voltage");
    assert!((least - 27.2).abs() < 1e-9, "{least}");
    assert_eq!(outcome(&pack, "cell-charge-voltage"), "meets", "3.65 V a cell is the limit itself");
    assert_eq!(outcome(&pack, "cell-cutoff-voltage"), "falls short", "2.375 V is below it");
}

/// The same figures and the same verdicts, whether an element stands on the command line or in a record.
#[test]
fn fifty_elements_by_calc_and_by_check() {
    // A linear congruential generator (Numerical Recipes, from memory): the same elements every time.
    let mut state = 0x00C0_FFEE_u32;
    let mut below = |number: u32| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 8) % number
    };
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("inspection.toml");
    let (mut rules, mut facts) = (0, 0);
    for number in 0..50 {
        let current = format!("{} A ± {} A", 20 + below(380), 1 + below(9));
        let ambient = format!("{} degC", 20 + below(35));
        let mut arguments: Vec<(&str, &str, String)> = Vec::new();
        let (name, fixed) = match number % 5 {
            0 => {
                let material = ["copper", "aluminium", "brass", "nickel"][below(4) as usize];
                arguments.push(("", "section", format!("{} x {} mm ± 0.1 mm", 10 + below(40), 1 + below(5))));
                arguments.push(("--material", "material", material.to_owned()));
                arguments.push(("--length", "length", format!("{} mm", 50 + below(400))));
                if below(2) == 0 {
                    let finish = ["bright", "oxidised", "sleeved"][below(3) as usize];
                    arguments.push(("--finish", "finish", finish.to_owned()));
                }
                ("busbar", "kind = \"busbar\"\n")
            }
            1 => {
                let size = ["10 mm2", "35 mm2 ± 1 mm2", "2/0 AWG", "70 mm2"][below(4) as usize];
                arguments.push(("", "size", size.to_owned()));
                let class = ["75 degC", "90 degC", "105 degC"][below(3) as usize];
                arguments.push(("--insulation", "insulation_temperature", class.to_owned()));
                arguments.push(("--parallel", "count", (1 + below(3)).to_string()));
                arguments.push(("--length", "length", format!("{} mm", 100 + below(2000))));
                ("cable", "kind = \"cable\"\nmaterial = \"copper\"\n")
            }
            2 => {
                let kind = ["class T", "strip SF51", "bolt-down", "semiconductor"][below(4) as usize];
                arguments.push(("", "fuse", kind.to_owned()));
                arguments.push(("--rating", "rating", format!("{} A", 50 + below(450))));
                ("fuse", "kind = \"fuse\"\n")
            }
            3 => {
                arguments.push(("--drop", "drop", format!("{}.{} mV ± 0.2 mV", 1 + below(25), below(10))));
                arguments.push(("--current", "drop_current", format!("{} A", 50 + below(100))));
                arguments.push((
                    "--overlap",
                    "overlap",
                    format!("{} x {} mm", 10 + below(30), 10 + below(30)),
                ));
                arguments.push(("--thickness", "thickness", format!("{} mm", 1 + below(5))));
                ("joint", "kind = \"joint\"\nfastening = \"bolted\"\n")
            }
            _ => {
                arguments.push(("--cell-resistance", "resistance", format!("0.{} mΩ ± 5 %", 1 + below(9))));
                arguments.push(("--series", "series", (4 + below(13)).to_string()));
                arguments.push(("--chemistry", "chemistry", "LFP".to_owned()));
                ("short-circuit", "")
            }
        };
        let mut calc = vec![name.to_owned()];
        let mut lines = String::new();
        for (flag, key, value) in &arguments {
            calc.extend([(*flag).to_owned(), value.clone()].into_iter().filter(|word| !word.is_empty()));
            let quoted = !matches!(*key, "count" | "series");
            lines.push_str(&if quoted {
                format!("{key} = \"{value}\"\n")
            } else {
                format!("{key} = {value}\n")
            });
        }
        let record = if name == "short-circuit" {
            format!(
                "[cells]\nparallel = 1\n{lines}[path]\ncomplete = \"yes\"\n[[path.element]]\nid = \"element\"\nkind = \"connector\"\n[[path.element]]\nid = \"conductor\"\nkind = \"cable\"\nmaterial = \"copper\"\nresistance = \"0.001 µΩ\"\n"
            )
        } else {
            let rated = if name == "joint" { "--rated" } else { "--current" };
            calc.extend([rated.to_owned(), current.clone()]);
            if name != "joint" {
                calc.extend(["--ambient".to_owned(), ambient.clone()]);
            }
            format!(
                "[claims]\ncontinuous_current = \"{current}\"\n[inspection]\ninner_ambient = \"{ambient}\"\n\
                 [[path.element]]\nid = \"element\"\n{fixed}{lines}"
            )
        };
        std::fs::write(&file, format!("schema = 2\n{record}")).unwrap();
        let arguments: Vec<&str> = calc.iter().map(String::as_str).collect();
        let by_calc = sheet(&arguments);
        let output = underlid(&["check", "--format", "json", "--all"]).arg(folder.path()).output().unwrap();
        let by_check: Value = serde_json::from_slice(&output.stdout)
            .unwrap_or_else(|e| panic!("{e}: {}", String::from_utf8_lossy(&output.stderr)));
        let checked = by_check["findings"].as_array().unwrap();
        // A conductor by itself in open air is judged by `calc`; in a record it is judged as a part of its pack.
        let in_its_pack = |finding: &&Value| finding["rule"] != "place-stays-below-limit";
        for finding in by_calc["findings"].as_array().unwrap().iter().filter(in_its_pack) {
            let same = checked
                .iter()
                .find(|other| other["rule"] == finding["rule"] && other["subject"] == finding["subject"]);
            let same = same.unwrap_or_else(|| panic!("{calc:?}: {} is not in {by_check:#}", finding["rule"]));
            for part in ["outcome", "grade", "statement", "missing"] {
                assert_eq!(finding[part], same[part], "{calc:?}: {}", finding["rule"]);
            }
            for part in ["numbers", "left", "right", "margin", "decision"] {
                assert_eq!(finding["working"][part], same["working"][part], "{calc:?}: {}", finding["rule"]);
            }
            rules += 1;
        }
        for one in by_calc["facts"].as_array().unwrap() {
            // Every fact that a rule of the record used has the same value there.
            let used = checked.iter().filter(|other| other["part"] == "element" || other["part"] == "");
            let used = used.flat_map(|other| other["working"]["used"].as_array().unwrap());
            for other in used.filter(|used| used["name"] == one["name"]) {
                // A bound stands beside the value in one, and before it in the other.
                let told = other["value"].as_str().unwrap();
                let told = told.trim_start_matches("at least ").trim_start_matches("at most ");
                assert_eq!(told, one["value"], "{calc:?}: {}", one["name"]);
                facts += 1;
            }
        }
    }
    println!("{rules} verdicts and {facts} figures are the same");
    assert!(rules >= 50 && facts >= 50, "{rules} verdicts, {facts} figures");
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
        (&["--orientation", "upright"], "`upright` is not known here"),
    ];
    for (arguments, expected) in cases {
        let output = underlid(&bar).args(*arguments).output().unwrap();
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(error.contains(expected), "{arguments:?}: {error}");
        assert!(output.stdout.is_empty());
    }
    let huge =
        underlid(&["calc", "joint", "--overlap", "1e200 m x 1e300 m", "--rated", "0 A"]).output().unwrap();
    assert_eq!(huge.status.code(), Some(2));
    let nothing = underlid(&["calc", "joint", "--rated", "9 A"]).output().unwrap();
    let error = String::from_utf8_lossy(&nothing.stderr).into_owned();
    assert!(nothing.status.code() == Some(2) && error.contains("--drop"), "{error}");
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
    assert_eq!(outcome(&own, "fuse-rating-over-load"), "meets");
    let limit = "[[limit]]\nname = \"fuse_load_factor\"\nvalue = \"1.5\"\nbasis = \"our own rule\"\n";
    let change = "[[change]]\nrule = \"fuse-responds-to-current\"\noff = \"yes\"\nreason = \"seen\"\n";
    let output = with(&format!("schema = 1\n{limit}{change}"));
    let house: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(outcome(&house, "fuse-rating-over-load"), "falls short");
    assert!(house["notes"].to_string().contains("set to 1.5 (was 1.25): our own rule"), "{house:#}");
    assert!(!outcomes(&house).iter().any(|(rule, _)| *rule == "fuse-responds-to-current"));
    let wrong = with("[[limit]]\nname = \"fuse_load_factor\"\nvalue = \"1.5 A\"\n");
    assert_eq!(wrong.status.code(), Some(2));
    assert!(String::from_utf8_lossy(&wrong.stderr).contains("house.toml"), "the place is named");
}

/// Between two ends at one temperature the middle of a bar rises by I²·ρ·L²/(8·k·A²) where its surface gives off little:
/// with the square of current and length, and not with anything beside it (the heat equation with even heat, Carslaw and
/// Jaeger, Conduction of Heat in Solids, 2nd edition, 4.14; from memory). A hot neighbour is an end at its temperature.
#[test]
fn a_link_between_its_ends() {
    let link = |length: &str, current: &str, other: &str| {
        let given = ["link", "20 x 1.5 mm", "--material", "nickel-plated steel", "--finish", "bright"];
        let ends =
            ["--ambient", "45 degC", "--film", "0.01 W/(m²·K)", "--end", "45 degC", "--other-end", other];
        sheet(&[&given[..], &ends, &["--length", length, "--current", current]].concat())
    };
    let rise = |sheet: &Value| si(sheet, "element.temperature_at_rated") - 318.15;
    let (short, long, half) = (
        rise(&link("40 mm", "100 A", "45 degC")),
        rise(&link("80 mm", "100 A", "45 degC")),
        rise(&link("80 mm", "50 A", "45 degC")),
    );
    for (what, ratio) in [("twice the length", long / short), ("twice the current", long / half)] {
        assert!((3.2..5.6).contains(&ratio), "{what}: {short} K, {long} K, {half} K");
    }
    let hot = link("40 mm", "1 A", "85 degC");
    assert!((rise(&hot) - 40.0).abs() < 2.0, "{hot:#}");
    assert!(fact(&hot, "element.temperature_at_rated")["steps"][0].as_str().unwrap().contains("without end"));
}

/// A pack in the short form is the record that it stands for: the same temperatures.
#[test]
fn a_pack_in_short_is_its_record() {
    let pack = sheet(&[
        "pack",
        "--series",
        "8",
        "--chemistry",
        "LFP",
        "--cell-capacity",
        "150 Ah",
        "--current",
        "150 A",
        "--bar",
        "20 x 3 mm",
        "--bar-length",
        "80 mm",
        "--joint",
        "15 µΩ",
    ]);
    let record = "schema = 2\n[claims]\ncontinuous_current = \"150 A\"\n[cells]\nseries = 8\nparallel = 1\nchemistry = \"LFP\"\n\
        capacity = \"150 Ah\"\n[[path.element]]\nid = \"stack\"\nkind = \"cell-stack\"\n[[path.element]]\nid = \"bar\"\nkind = \"busbar\"\n\
        leg = \"positive\"\nmaterial = \"copper\"\nsection = \"20 x 3 mm\"\nlength = \"80 mm\"\n[[path.element]]\nid = \"joint\"\n\
        kind = \"joint\"\nleg = \"positive\"\nresistance = \"15 µΩ\"\n";
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("inspection.toml"), record).unwrap();
    let output = underlid(&["check", "--format", "json"]).arg(folder.path()).output().unwrap();
    let check: Value = serde_json::from_slice(&output.stdout).unwrap();
    for (index, name) in ["stack", "bar", "joint"].into_iter().enumerate() {
        let element = &check["path"]["elements"][index];
        let by_check = element["temperature"]["si"].as_f64().unwrap();
        let by_calc = si(&pack, &format!("{name}.temperature_at_rated"));
        // What stands in for what was left out is not quite the same: a record may have more to say.
        assert!((by_calc - by_check).abs() < 0.1, "{name}: {by_calc} and {by_check}");
    }
}

/// The chart of the write-up, from a few arguments; what nothing opens in time is said and hatched.
#[test]
fn the_protection_of_a_few_arguments_as_a_chart() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("protection.svg");
    let run = |rest: &[&str]| {
        let out = underlid(&["calc", "protection", "--prospective", "2.4 kA ± 0.4 kA"]).args(rest).output();
        let out = out.unwrap();
        (out.status.success(), String::from_utf8_lossy(&[out.stdout, out.stderr].concat()).into_owned())
    };
    let cable = ["--cable", "6 mm2", "--insulation", "90 degC", "--chart", file.to_str().unwrap()];
    let (well, said) = run(&cable);
    assert!(well, "{said}");
    assert!(said.contains("nothing is known to open before insulation is damaged"), "{said}");
    let drawn = std::fs::read_to_string(&file).unwrap();
    assert!(
        drawn.starts_with("<svg") && drawn.contains("<style>") && drawn.contains("falls-short"),
        "{drawn}"
    );
    let fuse = [
        "--fuse",
        "class T",
        "--rating",
        "60 A",
        "--clearing-time",
        "10 ms",
        "--interrupting",
        "20 kA",
        "--trip",
        "100 A",
        "--trip-delay",
        "5 s",
    ];
    let (well, said) = run(&[cable.as_slice(), &fuse].concat());
    assert!(well && said.contains("within 10 ms"), "{said}");
    // One that the fault current bursts clears nothing.
    let weak: Vec<&str> = fuse.iter().map(|text| if *text == "20 kA" { "1 kA" } else { text }).collect();
    let (well, said) = run(&[cable.as_slice(), &weak].concat());
    assert!(
        well && !said.contains("within 10 ms") && said.contains("interrupts no more than 1000 A"),
        "{said}"
    );
    let (well, said) = run(&["--chart", file.to_str().unwrap()]);
    assert!(!well && said.contains("draws no chart"), "{said}");
}
