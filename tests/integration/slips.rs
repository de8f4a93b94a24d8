//! Slips in a record: a value that is not plausible, or that contradicts another one, never turns a verdict silently.
//!
//! The records are generated here from a truth of their own: an invented pack whose figures hang together by the laws
//! below ([`LAWS`]), which know nothing of `checklists/plausible.toml`. One fact is then slipped: by a factor of 10, 100 or
//! 1,000, into another unit, or swapped with a like one. A verdict that turns (other than to *not decided*) without the
//! record being called in doubt is a silent slip.

use std::collections::BTreeMap;
use std::fs;

use underlid::judge::inspection::{House, Inspection};
use underlid::judge::rules::{Finding, Outcome};
use underlid::render::OWN_WORDS;

use crate::common::{rounds, run};

/// A fact of a generated record.
#[derive(Clone, Debug)]
enum Fact {
    /// Numbers with one unit: a quantity, or the sides of a section.
    Measured(Vec<f64>, &'static str),
    Word(String),
}

/// A generated record: tables in their order, each with its keys.
#[derive(Clone, Debug)]
struct Made {
    tables: Vec<(&'static str, Vec<(&'static str, Fact)>)>,
}

/// Numbers that look drawn and are the same on every run (a linear congruential generator after Knuth).
struct Draw(u64);

impl Draw {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        self.0 >> 33
    }

    fn of<T: Copy>(&mut self, list: &[T]) -> T {
        list[usize::try_from(self.next()).unwrap() % list.len()]
    }

    #[expect(clippy::cast_precision_loss, reason = "a fraction of a small number")]
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.next() % 10_001) as f64 / 10_000.0
    }
}

/// A number as somebody writes it: three digits.
fn written(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    let digits = 2 - i32::try_from(value.abs().log10().floor() as i64).unwrap();
    let rounded = if digits >= 0 {
        format!("{value:.0$}", usize::try_from(digits).unwrap())
    } else {
        let unit = 10_f64.powi(-digits);
        format!("{:.0}", (value / unit).round() * unit)
    };
    if rounded.contains('.') {
        rounded.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        rounded
    }
}

impl Made {
    /// A pack of lithium iron phosphate cells, as they are sold.
    fn pack(draw: &mut Draw) -> Self {
        let series = draw.of(&[4.0, 8.0, 16.0]);
        let ah: f64 = draw.of(&[50.0, 100.0, 150.0, 202.0, 280.0, 314.0]);
        let amperes = (ah * draw.of(&[0.5, 0.75, 1.0])).round();
        let volts = series * 3.2;
        let cell_kg = ah * 3.2 / draw.between(140.0, 175.0);
        let mass = series * cell_kg * draw.between(1.25, 1.5);
        let milliohms = draw.between(40.0, 65.0) / ah;
        let sides = |draw: &mut Draw| [draw.of(&[16.0, 20.0, 25.0, 30.0]), draw.of(&[2.0, 2.5, 3.0])];
        let (first, second) = (sides(draw), sides(draw));
        let q = |value: f64, unit: &'static str| Fact::Measured(vec![value], unit);
        let w = |word: &str| Fact::Word(format!("\"{word}\""));
        let n = |number: f64| Fact::Word(format!("{number:.0}"));
        let bar = |id: &str, [width, thick]: [f64; 2], draw: &mut Draw| {
            let length = draw.between(60.0, 260.0).round();
            let grams = width * thick * length * 8.89e-3;
            vec![
                ("id", w(id)),
                ("kind", w("busbar")),
                ("section", Fact::Measured(vec![width, thick], "mm")),
                ("length", q(length, "mm")),
                ("mass", q(grams, "g")),
                ("material", w("copper")),
                ("finish", w("bright")),
                ("magnetic", w("no")),
            ]
        };
        let joint = |id: &str, [width, thick]: [f64; 2], draw: &mut Draw| {
            vec![
                ("id", w(id)),
                ("kind", w("joint")),
                ("fastening", w("bolted")),
                ("overlap", Fact::Measured(vec![width, width], "mm")),
                ("thickness", q(thick, "mm")),
                ("bolt", w("M6")),
                ("torque", q(draw.between(4.0, 7.0), "N·m")),
                ("material", w("copper")),
                ("other_material", w("copper")),
                ("drop", q(draw.between(0.8, 2.2), "mV")),
                ("drop_current", q(100.0, "A")),
            ]
        };
        let mut tables = vec![
            (
                "inspection",
                vec![
                    ("invented", w("yes")),
                    ("open_circuit_voltage", q(series * draw.between(3.26, 3.32), "V")),
                    ("mass", q(mass, "kg")),
                    ("ambient", q(draw.between(18.0, 35.0).round(), "degC")),
                    ("inner_ambient", q(draw.between(30.0, 45.0).round(), "degC")),
                ],
            ),
            (
                "claims",
                vec![
                    ("nominal_voltage", q(volts, "V")),
                    ("capacity", q(ah, "Ah")),
                    ("energy", q(ah * volts, "Wh")),
                    ("continuous_current", q(amperes, "A")),
                    ("peak_current", q(2.0 * amperes, "A")),
                    ("peak_duration", q(draw.of(&[3.0, 5.0, 10.0, 30.0]), "s")),
                    ("charge_current", q((ah * draw.of(&[0.2, 0.3, 0.5])).round(), "A")),
                    ("charge_voltage", q(series * 3.65, "V")),
                    ("cutoff_voltage", q(series * 2.5, "V")),
                    ("charge_temperature_min", q(0.0, "degC")),
                    ("charge_temperature_max", q(45.0, "degC")),
                    ("mass", q(mass * draw.between(0.97, 1.03), "kg")),
                ],
            ),
            (
                "cells",
                vec![
                    ("format", w("prismatic")),
                    ("chemistry", w("LFP")),
                    ("series", n(series)),
                    ("parallel", n(1.0)),
                    ("capacity", q(ah, "Ah")),
                    ("nominal_voltage", q(3.2, "V")),
                    ("charge_voltage_limit", q(3.65, "V")),
                    ("discharge_voltage_limit", q(2.5, "V")),
                    ("resistance", q(milliohms, "mΩ")),
                    ("discharge_rate_limit", q(1.0, "C")),
                    ("charge_rate_limit", q(draw.of(&[0.5, 1.0]), "C")),
                    ("mass", q(cell_kg, "kg")),
                    ("swelling_allowance", q(draw.between(1.5, 6.0), "mm")),
                    ("vent_clearance", q(draw.between(4.0, 15.0), "mm")),
                ],
            ),
        ];
        for _ in 0..2 {
            tables.push((
                "[cells.reading]",
                vec![
                    ("voltage", q(draw.between(3.26, 3.32), "V")),
                    ("resistance", q(milliohms * draw.between(0.95, 1.05), "mΩ")),
                ],
            ));
        }
        tables.push(("path", vec![("complete", w("yes")), ("strings", n(1.0))]));
        let rating = draw.of(&[1.25, 1.5, 1.0]) * amperes;
        tables.extend([
            (
                "[path.element]",
                vec![("id", w("bms")), ("kind", w("bms")), ("resistance", q(draw.between(0.3, 0.9), "mΩ"))],
            ),
            ("[path.element]", bar("negative-bar", first, draw)),
            ("[path.element]", joint("negative-joint", first, draw)),
            ("[path.element]", vec![("id", w("cells")), ("kind", w("cell-stack"))]),
            ("[path.element]", joint("positive-joint", second, draw)),
            ("[path.element]", bar("positive-bar", second, draw)),
            (
                "[path.element]",
                vec![
                    ("id", w("main-fuse")),
                    ("kind", w("fuse")),
                    ("fuse", w("class T")),
                    ("rating", q(rating.round(), "A")),
                    ("rated_voltage", q(draw.of(&[125.0, 160.0]), "V")),
                    ("voltage_for", w("direct current")),
                    ("interrupting_rating", q(20.0, "kA")),
                    ("resistance", q(draw.between(0.15, 0.4), "mΩ")),
                    ("distance_from_cells", q(draw.between(40.0, 250.0).round(), "mm")),
                ],
            ),
            (
                "[path.element]",
                vec![
                    ("id", w("positive-cable")),
                    ("kind", w("cable")),
                    ("size", q(draw.of(&[25.0, 35.0, 50.0, 70.0]), "mm2")),
                    ("insulation_temperature", q(105.0, "degC")),
                    ("length", q(draw.between(120.0, 500.0).round(), "mm")),
                    ("material", w("copper")),
                ],
            ),
            (
                "bms",
                vec![
                    ("marked_current", q(amperes * draw.of(&[1.0, 1.2]), "A")),
                    ("switching_devices", n(8.0)),
                    ("devices_in_series", n(2.0)),
                    ("device_resistance", q(draw.between(0.8, 3.0), "mΩ")),
                    ("device_temperature_limit", q(150.0, "degC")),
                    ("device_thermal_resistance", q(draw.between(0.3, 1.5), "K/W")),
                    ("overcurrent_trip", q((amperes * draw.between(1.1, 2.2)).round(), "A")),
                    ("overcurrent_delay", q(draw.of(&[1.0, 5.0, 10.0]), "s")),
                    ("short_circuit_trip", q((amperes * draw.between(4.0, 8.0)).round(), "A")),
                    ("short_circuit_delay", q(draw.of(&[200.0, 400.0, 800.0]), "us")),
                    ("balance_current", q(draw.of(&[60.0, 100.0, 500.0]), "mA")),
                    ("low_temperature_charge_cutoff", w("yes")),
                    ("low_temperature_limit", q(draw.of(&[0.0, 2.0, 5.0]), "degC")),
                    ("high_temperature_limit", q(draw.of(&[60.0, 65.0]), "degC")),
                ],
            ),
            (
                "[bms.layer]",
                vec![
                    ("name", w("thermal pad")),
                    ("thickness", q(draw.of(&[0.5, 1.0, 1.5]), "mm")),
                    ("area", q(draw.of(&[20.0, 40.0, 60.0]), "cm2")),
                    ("conductivity", q(draw.of(&[1.5, 3.0, 6.0]), "W/(m·K)")),
                ],
            ),
            (
                "enclosure",
                vec![
                    ("creepage", q(draw.between(3.0, 9.0), "mm")),
                    ("clearance", q(draw.between(3.0, 9.0), "mm")),
                ],
            ),
        ]);
        Self { tables }
    }

    fn text(&self) -> String {
        let mut text = "schema = 2\n".to_owned();
        for (table, keys) in &self.tables {
            text.push_str(&format!("[{table}]\n"));
            for (key, fact) in keys {
                let value = match fact {
                    Fact::Word(word) => word.clone(),
                    Fact::Measured(numbers, unit) => {
                        let numbers: Vec<String> = numbers.iter().map(|number| written(*number)).collect();
                        format!("\"{} {unit}\"", numbers.join(" x "))
                    }
                };
                text.push_str(&format!("{key} = {value}\n"));
            }
        }
        text
    }

    /// Every fact with a number.
    fn measured(&self) -> Vec<(usize, usize)> {
        let tables = self.tables.iter().enumerate();
        tables
            .flat_map(|(t, (_, keys))| {
                keys.iter()
                    .enumerate()
                    .filter(|(_, (_, f))| matches!(f, Fact::Measured(..)))
                    .map(move |(k, _)| (t, k))
            })
            .collect()
    }

    fn fact(&self, (table, key): (usize, usize)) -> (&str, &str, &Fact) {
        let (table, keys) = &self.tables[table];
        let (key, fact) = &keys[key];
        (table.trim_matches(['[', ']']), key, fact)
    }

    /// A fact by its name, in the unit in which it is written; the first where there are several.
    fn number(&self, name: &str) -> f64 {
        let (table, key) = name.rsplit_once('.').unwrap();
        let found = self.tables.iter().filter(|(t, _)| t.trim_matches(['[', ']']) == table);
        let mut keys = found.flat_map(|(_, keys)| keys).filter(|(k, _)| *k == key);
        match keys.next() {
            Some((_, Fact::Measured(numbers, unit))) => {
                numbers[0] * SIZES.iter().find(|(u, _)| u == unit).map_or(1.0, |u| u.1)
            }
            Some((_, Fact::Word(word))) => word.parse().unwrap_or(f64::NAN),
            None => f64::NAN,
        }
    }

    /// What the rules say of it, and what is in doubt.
    fn judged(&self) -> (Verdicts, Vec<String>) {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("inspection.toml"), self.text()).unwrap();
        let inspection = Inspection::open(folder.path(), &House::default(), &OWN_WORDS);
        let judgement = inspection
            .unwrap_or_else(|e| {
                panic!(
                    "{e}
{}",
                    self.text()
                )
            })
            .judgement;
        let doubts = judgement.doubts.iter().map(|doubt| doubt.what.clone()).collect();
        (verdicts(&judgement.findings), doubts)
    }
}

/// Sizes of the units that are written one for the other, in the one that the generator writes.
const SIZES: &[(&str, f64)] = &[
    ("mA", 1e-3),
    ("kA", 1e3),
    ("mV", 1e-3),
    ("µΩ", 1e-6),
    ("mΩ", 1e-3),
    ("mAh", 1e-3),
    ("kWh", 1e3),
    ("g", 1e-3),
    ("us", 1e-6),
    ("ms", 1e-3),
    ("mm", 1e-3),
    ("cm", 1e-2),
    ("m", 1.0),
];

/// Another unit for the one that was meant; the number stays.
fn wrong_units(unit: &str) -> &'static [&'static str] {
    match unit {
        "A" => &["mA", "kA"],
        "kA" | "mA" => &["A"],
        "V" => &["mV"],
        "mV" => &["V"],
        "mΩ" => &["Ω", "µΩ"],
        "Ah" => &["mAh"],
        "Wh" => &["kWh"],
        "mm" => &["m", "in"],
        "kg" => &["g", "lb"],
        "g" => &["kg"],
        "s" => &["ms", "min"],
        "us" => &["ms", "s"],
        "degC" => &["degF"],
        "mm2" => &["cm2"],
        "cm2" => &["mm2"],
        "N·m" => &["lbf·in"],
        _ => &[],
    }
}

/// What holds in every generated record: two ways to the same thing, and by how much they may differ.
/// What is compared, the fields that it rests on, and how it follows from a made pack.
type Law = (&'static str, &'static [&'static str], fn(&Made) -> f64);

const LAWS: &[Law] = &[
    ("energy = capacity × voltage", &["claims.energy", "claims.capacity", "claims.nominal_voltage"], |m| {
        m.number("claims.energy") / (m.number("claims.capacity") * m.number("claims.nominal_voltage"))
    }),
    ("cells in series", &["claims.nominal_voltage", "cells.nominal_voltage"], |m| {
        m.number("claims.nominal_voltage") / (m.number("cells.series") * m.number("cells.nominal_voltage"))
    }),
    ("cells in parallel", &["claims.capacity", "cells.capacity"], |m| {
        m.number("claims.capacity") / m.number("cells.capacity")
    }),
    ("charge voltage", &["claims.charge_voltage", "claims.nominal_voltage"], |m| {
        m.number("claims.charge_voltage") / (1.1406 * m.number("claims.nominal_voltage"))
    }),
    ("cut-off voltage", &["claims.cutoff_voltage", "claims.nominal_voltage"], |m| {
        m.number("claims.cutoff_voltage") / (0.78125 * m.number("claims.nominal_voltage"))
    }),
    ("open-circuit voltage", &["inspection.open_circuit_voltage", "claims.nominal_voltage"], |m| {
        m.number("inspection.open_circuit_voltage") / (1.03 * m.number("claims.nominal_voltage"))
    }),
    ("weighed as claimed", &["inspection.mass", "claims.mass"], |m| {
        m.number("inspection.mass") / m.number("claims.mass")
    }),
    ("mean of the readings", &["cells.resistance", "cells.reading.resistance"], |m| {
        m.number("cells.resistance") / m.number("cells.reading.resistance")
    }),
    ("peak over continuous", &["claims.peak_current", "claims.continuous_current"], |m| {
        m.number("claims.peak_current") / (2.0 * m.number("claims.continuous_current"))
    }),
];

/// One fact slipped.
struct Slip {
    made: Made,
    kind: &'static str,
    what: String,
    /// Names of what was changed.
    names: Vec<String>,
}

impl Slip {
    fn of(truth: &Made, draw: &mut Draw) -> Self {
        let mut made = truth.clone();
        let places = truth.measured();
        let place = draw.of(&places);
        let (table, key, fact) = truth.fact(place);
        let Fact::Measured(numbers, unit) = fact else { unreachable!() };
        let unit = *unit;
        let name = format!("{table}.{key}");
        let mut names = vec![name.clone()];
        let scaled =
            |factor: f64| Fact::Measured(numbers.iter().map(|number| number * factor).collect(), unit);
        let thermal = unit == "degC";
        let (kind, new) = match draw.next() % 5 {
            0 if !thermal => ("× 1,000", scaled(draw.of(&[1e3, 1e-3]))),
            0 | 1 if !wrong_units(unit).is_empty() => {
                ("wrong unit", Fact::Measured(numbers.clone(), draw.of(wrong_units(unit))))
            }
            2 => ("× 100", scaled(draw.of(&[1e2, 1e-2]))),
            3 if numbers.len() == 2 => ("swap", Fact::Measured(vec![numbers[1], numbers[0]], unit)),
            3 => {
                let like: Vec<_> = places
                    .iter()
                    .filter(|other| other.0 == place.0 && **other != place)
                    .filter(|other| matches!(truth.fact(**other).2, Fact::Measured(n, u) if *u == unit && n.len() == 1))
                    .copied()
                    .collect();
                if like.is_empty() {
                    ("× 10", scaled(draw.of(&[10.0, 0.1])))
                } else {
                    let other = draw.of(&like);
                    let (_, other_key, other_fact) = truth.fact(other);
                    names.push(format!("{table}.{other_key}"));
                    made.tables[other.0].1[other.1].1 = fact.clone();
                    ("swap", other_fact.clone())
                }
            }
            _ => ("× 10", scaled(draw.of(&[10.0, 0.1]))),
        };
        let what = format!("{name}: {fact:?} → {new:?}");
        made.tables[place.0].1[place.1].1 = new;
        Self { made, kind, what, names }
    }

    /// The law that the slipped record breaks, by its own figures.
    fn contradicted(&self) -> Option<&'static str> {
        let broken = LAWS.iter().find(|(_, of, ratio)| {
            let ratio = ratio(&self.made);
            of.iter().any(|name| self.names.iter().any(|own| own == name)) && !(0.5..=2.0).contains(&ratio)
        });
        broken.map(|(law, ..)| *law)
    }
}

type Verdicts = BTreeMap<(String, String), Outcome>;

fn verdicts(findings: &[Finding]) -> Verdicts {
    findings.iter().map(|f| ((f.rule.clone(), f.subject.clone()), f.outcome)).collect()
}

/// The rules whose outcome is another one, but for what became *not decided*.
fn turned(before: &Verdicts, after: &Verdicts) -> Vec<String> {
    let other = after.iter().filter(|(rule, outcome)| {
        **outcome != Outcome::NotDecided && before.get(*rule).is_some_and(|before| before != *outcome)
    });
    other.map(|((rule, subject), outcome)| format!("{rule} {subject} {}", outcome.words())).collect()
}

/// Slips, and those that turned a verdict silently, by kind.
fn slipped(records: u32) {
    let mut draw = Draw(20_261_126);
    /// Slips of a kind, those that turned a verdict silently, and which.
    type Silent = (u32, u32, Vec<String>);
    let (mut asked, mut silent): (u32, BTreeMap<&str, Silent>) = (0, BTreeMap::new());
    for _ in 0..records {
        let truth = Made::pack(&mut draw);
        let (right, doubts) = truth.judged();
        asked += u32::from(!doubts.is_empty());
        if !doubts.is_empty() {
            println!("a correct record asks: {doubts:?}");
        }
        let slip = Slip::of(&truth, &mut draw);
        let (wrong, new_doubts) = slip.made.judged();
        let counted = silent.entry(slip.kind).or_default();
        counted.0 += 1;
        let turned = turned(&right, &wrong);
        if !turned.is_empty() && new_doubts.len() <= doubts.len() {
            counted.1 += 1;
            let must_not = matches!(slip.kind, "× 1,000" | "wrong unit");
            if let Some(law) = slip.contradicted().or(must_not.then_some("never")) {
                counted.2.push(format!("{law}: {}: {turned:?}", slip.what));
            } else {
                println!("silent, nothing contradicts: {} {}: {turned:?}", slip.kind, slip.what);
            }
        }
    }
    for (kind, (all, quiet, wrong)) in &silent {
        println!("{kind}: {all} slips, {quiet} turned a verdict silently, {} of them wrongly", wrong.len());
    }
    println!("{asked} of {records} correct records ask something");
    let wrong: Vec<&String> = silent.values().flat_map(|(.., wrong)| wrong).collect();
    assert!(
        wrong.is_empty(),
        "{} silent slips:\n{}",
        wrong.len(),
        wrong.iter().map(|s| s.as_str()).collect::<Vec<_>>().join("\n")
    );
    assert!(50 * asked <= records, "{asked} of {records} correct records ask something");
}

#[test]
fn a_slip_turns_no_verdict_silently() {
    slipped(rounds(12, 12));
}

#[test]
fn long_two_thousand_slips() {
    let records = std::env::var("UNDERLID_SLIPS").ok().and_then(|number| number.parse().ok());
    slipped(records.unwrap_or(2000));
}

fn checked(record: &str) -> String {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    let (_, out, problems) = run(&["check", "--all", folder.path().to_str().unwrap()]);
    format!("{out}{problems}")
}

const PACK: &str = "schema = 2\n[claims]\ncontinuous_current = \"100 A\"\ncapacity = \"100 Ah\"\nnominal_voltage = \"12.8 V\"\nmax_in_series = \"absent\"\nmax_in_parallel = \"absent\"\n[cells]\nchemistry = \"LFP\"\nseries = 4\nparallel = 1\ncapacity = \"100 Ah\"\nresistance = \"0.35 mΩ\"\n[path]\ncomplete = \"yes\"\nstrings = 1\n[[path.element]]\nid = \"cells\"\nkind = \"cell-stack\"\n[[path.element]]\nid = \"bar\"\nkind = \"busbar\"\nsection = \"6 x 2 mm\"\nlength = \"100 mm\"\nmaterial = \"copper\"\nfinish = \"bright\"\n[[path.element]]\nid = \"fuse\"\nkind = \"fuse\"\nfuse = \"class T\"\nrating = \"150 A\"\nrated_voltage = \"125 V\"\nvoltage_for = \"direct current\"\ninterrupting_rating = \"20 kA\"\nresistance = \"0.3 mΩ\"\n";

/// 0.35 Ω for 0.35 mΩ gave 9.7 A of fault current, and every fuse interrupted it.
#[test]
fn a_value_that_is_not_plausible_decides_nothing_until_it_is_confirmed() {
    let fuse = "Interrupting rating covers the fault current of the use that is claimed";
    let right = checked(PACK);
    assert!(right.contains(&format!("● critical {fuse}")) && !right.contains("IN DOUBT"), "{right}");
    let slipped = checked(&PACK.replace("0.35 mΩ", "0.35 Ω"));
    assert!(
        slipped.contains("`cells.resistance` is 0.35 Ω: not plausible") && slipped.contains("; 0.35 mΩ?"),
        "{slipped}"
    );
    assert!(slipped.contains(&format!("◇ critical {fuse}")), "{slipped}");
    let confirmed = "{ value = \"0.35 Ω\", confirmed = true }";
    let confirmed = checked(&PACK.replace("\"0.35 mΩ\"", confirmed));
    assert!(
        confirmed.contains(&format!("● critical {fuse}")) && !confirmed.contains("IN DOUBT"),
        "{confirmed}"
    );
    for (good, bad, meant) in [
        ("continuous_current = \"100 A\"", "continuous_current = \"100 mA\"", "100 A?"),
        ("[claims]", "[inspection]\nambient = \"300 degC\"\n[claims]", "`inspection.ambient` is 300 °C"),
        ("[claims]", "[inspection]\nambient = \"77 degC\"\n[claims]", "77 degF?"),
        ("6 x 2 mm", "6 x 2 m", "6 x 2 mm?"),
    ] {
        let slipped = checked(&PACK.replace(good, bad));
        assert!(slipped.contains("IN DOUBT") && slipped.contains(meant), "{bad}: {slipped}");
    }
}

/// The sides of a bar are told apart by their size.
#[test]
fn a_bar_is_the_same_with_its_sides_swapped() {
    let (one, other) = (checked(PACK), checked(&PACK.replace("6 x 2 mm", "2 x 6 mm")));
    assert_eq!(one, other);
}

#[test]
fn an_unknown_key_beside_a_value_is_an_error() {
    let text = PACK.replace("\"0.35 mΩ\"", "{ value = \"0.35 mΩ\", acuracy = \"1 %\" }");
    let told = checked(&text);
    assert!(
        told.contains("unknown key `acuracy`") && told.contains("value, how, with, photos, note, confirmed"),
        "{told}"
    );
}

/// A contradiction takes "meets" away, never "falls short", and names both figures.
#[test]
fn a_contradiction_takes_meets_away() {
    let pack = PACK
        .replace("capacity = \"100 Ah\"\nnominal", "energy = \"1280 Wh\"\ncapacity = \"100 Ah\"\nnominal");
    let rule = "● major    Cells add up to the claimed capacity";
    assert!(checked(&pack).contains(rule), "{}", checked(&pack));
    let told = checked(&pack.replace("1280 Wh", "12800 Wh"));
    assert!(!told.contains(rule) && told.contains("12.8 kWh") && told.contains("1280 Wh"), "{told}");
    let short = pack
        .replace("1280 Wh", "12800 Wh")
        .replace("parallel = 1\ncapacity = \"100 Ah\"", "parallel = 1\ncapacity = \"50 Ah\"");
    assert!(
        checked(&short).contains("▼ major    The cells do not add up to the claimed capacity"),
        "{}",
        checked(&short)
    );
}

/// Less information never passes more easily: without the instrument's accuracy that of its kind is taken, which is wider.
#[test]
fn without_an_accuracy_nothing_meets_that_was_not_decided() {
    let claims = "schema = 2\n[claims]\ncapacity = \"100 Ah\"\nenergy = \"1280 Wh\"\nnominal_voltage = \"12.8 V\"\n[enclosure]\n";
    let instruments = [
        ("electronic load", "1 %", "0.01 Ah", "capacity"),
        ("display", "3 %", "0.1 Ah", "capacity"),
        ("caliper", "0.03 mm", "0.01 mm", "creepage"),
        ("rule", "± 0.5 mm", "1 mm", "creepage"),
    ];
    let (mut open, mut met) = (0, 0);
    for (kind, accuracy, resolution, of) in instruments {
        for step in 0..24 {
            let share = 0.9 + 0.01 * f64::from(step);
            let record = |accuracy: &str, kind: &str| {
                let of_test = format!(
                    "[[test]]\nid = \"c\"\nkind = \"capacity\"\nend = \"load cut-off\"\nwith = \"tool\"\ncapacity = \"{:.2} Ah\"\n",
                    100.0 * share
                );
                let gap = format!("creepage = {{ value = \"{:.2} mm\", with = \"tool\" }}\n", 2.0 * share);
                let (gap, test) =
                    if of == "creepage" { (gap, String::new()) } else { (String::new(), of_test) };
                let text = format!(
                    "{claims}{gap}{test}[[instrument]]\nid = \"tool\"\nresolution = \"{resolution}\"\n{kind}{accuracy}"
                );
                let folder = tempfile::tempdir().unwrap();
                fs::write(folder.path().join("inspection.toml"), text).unwrap();
                verdicts(
                    &Inspection::open(folder.path(), &House::default(), &OWN_WORDS)
                        .unwrap()
                        .judgement
                        .findings,
                )
            };
            let kind = format!("kind = \"{kind}\"\n");
            let stated = record(&format!("accuracy = \"{accuracy}\"\n"), &kind);
            for without in [record("", &kind), record("", "")] {
                for (rule, outcome) in &stated {
                    open += u32::from(*outcome == Outcome::NotDecided);
                    met += u32::from(without.get(rule) == Some(&Outcome::Meets));
                    let wrong = *outcome == Outcome::NotDecided && without.get(rule) == Some(&Outcome::Meets);
                    assert!(!wrong, "{rule:?} at {share}");
                }
            }
        }
    }
    assert!(open > 0 && met > 0, "the test sees both: {open} {met}");
}

/// A capacity that nobody says how well it was read is not ± nothing.
#[test]
fn a_capacity_without_an_accuracy_is_not_exact() {
    let record = |capacity: &str| {
        format!(
            "schema = 2\n[claims]\ncapacity = \"100 Ah\"\n[[test]]\nid = \"c\"\nkind = \"capacity\"\nrate = \"0.2 C\"\nend = \"load cut-off\"\ncapacity = \"{capacity}\"\n"
        )
    };
    let rule = "The pack delivers the claimed capacity";
    for (capacity, told) in
        [("100.02 Ah", "◇ major    "), ("120 Ah", "● major    "), ("100.02 Ah ± 0.01 Ah", "● major    ")]
    {
        let out = checked(&record(capacity));
        assert!(out.contains(&format!("{told}{rule}")), "{capacity}: {out}");
    }
    assert!(
        checked(&record("80 Ah")).contains("▼ major    The pack delivers less than the claimed capacity")
    );
}

/// What public cell manuals allow between 0 °C and 10 °C: 0.1 C to 0.2 C.
#[test]
fn half_the_capacity_per_hour_just_above_freezing_does_not_pass() {
    let record = |current: &str, more: &str| {
        format!(
            "schema = 2\n[claims]\ncapacity = \"100 Ah\"\ncharge_current = \"{current}\"\n[cells]\nseries = 4\nparallel = 1\ncapacity = \"100 Ah\"\n[bms]\nlow_temperature_charge_cutoff = \"yes\"\nlow_temperature_limit = \"0 degC\"\n{more}"
        )
    };
    let short =
        "▼ major    In the cold the pack takes more charge current than any cell manual read here allows";
    assert!(checked(&record("50 A", "")).contains(short), "{}", checked(&record("50 A", "")));
    for (current, more) in [("20 A", ""), ("50 A", "cold_charge_current = \"10 A\"\n")] {
        let out = checked(&record(current, more));
        assert!(
            out.contains("● major    The charge current in the cold is one that cells take there"),
            "{out}"
        );
    }
}

/// A capacity holds for its rate, its temperature and a full charge before.
#[test]
fn a_capacity_under_other_conditions_is_a_bound() {
    let record = |test: &str| {
        format!(
            "schema = 2\n[claims]\ncapacity = \"100 Ah\"\ncapacity_rate = \"0.2 C\"\n[[test]]\nid = \"c\"\nkind = \"capacity\"\nend = \"load cut-off\"\n{test}"
        )
    };
    let (meets, short) =
        ("● major    The pack delivers the claimed capacity", "▼ major    The pack delivers less");
    for (test, told) in [
        ("capacity = \"96 Ah ± 1 Ah\"\ncurrent = \"20 A\"\n", short),
        ("capacity = \"96 Ah ± 1 Ah\"\ncurrent = \"100 A\"\n", "◇ major"),
        ("capacity = \"96 Ah ± 1 Ah\"\ncurrent = \"20 A\"\nambient = \"8 degC\"\n", "◇ major"),
        ("capacity = \"104 Ah ± 1 Ah\"\ncurrent = \"20 A\"\nambient = \"22 degC\"\n", meets),
        ("capacity = \"104 Ah ± 1 Ah\"\ncurrent = \"5 A\"\n", "◇ major"),
        ("capacity = \"104 Ah ± 1 Ah\"\ncurrent = \"20 A\"\nambient = \"38 degC\"\n", "◇ major"),
        (
            "capacity = \"96 Ah ± 1 Ah\"\ncurrent = \"20 A\"\ndate = 2026-05-02\n[[test]]\nkind = \"charge\"\nend = \"stopped\"\ndate = 2026-05-01\n",
            "◇ major",
        ),
    ] {
        let out = checked(&record(test));
        assert!(out.contains(told), "{test}: {out}");
    }
}

/// A BMS that opens at half charge does not hold its continuous current; a quarter of an hour does not decide.
#[test]
fn continuous_is_one_full_discharge() {
    let record = |test: &str| {
        format!(
            "schema = 2\n[claims]\ncapacity = \"100 Ah\"\ncontinuous_current = \"100 A\"\n[[test]]\nid = \"l\"\nkind = \"full load\"\ncurrent = \"101 A ± 0.5 A\"\n{test}"
        )
    };
    for (test, told) in [
        (
            "duration = \"30 min\"\nend = \"bms cut-off\"\n",
            "▼ major    The pack does not hold its rated continuous current for one full discharge",
        ),
        (
            "duration = \"15 min\"\nend = \"time\"\n",
            "◇ major    The pack holds its rated continuous current for one full discharge",
        ),
        (
            "duration = \"57 min\"\nend = \"load cut-off\"\n",
            "● major    The pack holds its rated continuous current for one full discharge",
        ),
    ] {
        let out = checked(&record(test));
        assert!(out.contains(told), "{test}: {out}");
    }
}

/// A claim that is called contradicted while the rule about the same thing meets: one of them is wrong.
#[test]
fn a_claim_and_its_rule_must_go_together() {
    let claim = |verdict: &str| {
        PACK.replace("[cells]", &format!("[[claims.statement]]\nid = \"f\"\ntext = \"fused\"\nrule = \"fuse-present\"\nverdict = \"{verdict}\"\nevidence = \"seen\"\n[cells]"))
    };
    let fuse = "critical A fuse or circuit breaker that responds to current is in the main path";
    assert!(checked(&claim("supported")).contains(&format!("● {fuse}")));
    let told = checked(&claim("contradicted"));
    assert!(
        told.contains(&format!("◇ {fuse}"))
            && told.contains("called contradicted, but rule `fuse-present` meets"),
        "{told}"
    );
}
