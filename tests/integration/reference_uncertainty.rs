//! Uncertainty against things outside the project: the GUM's example H.1, and the `uncertainties` Python library on
//! hundreds of generated expressions and on physics.

use std::collections::BTreeMap;
use std::io::Write;
use std::process::Stdio;

use serde_json::{Value, json};
use underlid::judge::facts::{Missing, Reason, Type, Val};
use underlid::judge::rules::expr::{Env, check, evaluate, parse};
use underlid::units::{Amount, Dimension, SourceId, Uncertain, propagate};

/// JCGM 100:2008, H.1, end-gauge calibration (table H.1, from memory), in nm and K: l = lS + d − lS·(δα·θ + αS·δθ).
struct EndGauge {
    standard: Uncertain,
    difference: Uncertain,
    expansion: Uncertain,
    deviation: Uncertain,
    expansion_difference: Uncertain,
    temperature_difference: Uncertain,
}

impl EndGauge {
    fn new() -> Self {
        Self {
            standard: Uncertain::new(50_000_623.0, 1, 25.0),
            difference: Uncertain::new(215.0, 2, 9.7),
            expansion: Uncertain::new(11.5e-6, 3, 1.2e-6),
            deviation: Uncertain::new(-0.1, 4, 0.41),
            expansion_difference: Uncertain::new(0.0, 5, 0.58e-6),
            temperature_difference: Uncertain::new(0.0, 6, 0.029),
        }
    }

    fn all(&self) -> [&Uncertain; 6] {
        [
            &self.standard,
            &self.difference,
            &self.expansion,
            &self.deviation,
            &self.expansion_difference,
            &self.temperature_difference,
        ]
    }
}

/// l = 50 000 838 nm, combined standard uncertainty 32 nm; shares 25, 9.7, 2.9 and 16.6 nm.
#[test]
fn gum_example_h1() {
    let gauge = EndGauge::new();
    let [ls, d, alpha, theta, d_alpha, d_theta] = gauge.all();
    let by_rules = ls.plus(d).minus(&ls.times(&d_alpha.times(theta).plus(&alpha.times(d_theta))));
    let by_slopes =
        propagate(&gauge.all(), |x| Ok::<_, ()>(x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5]))).unwrap();
    for (way, length) in [("rules", &by_rules), ("finite differences", &by_slopes)] {
        println!("GUM H.1 by {way}: l = {:.1} nm, u = {:.2} nm", length.value, length.standard());
        assert!((length.value - 50_000_838.0).abs() < 0.5);
        assert_eq!(length.standard().round(), 32.0, "{way}");
    }
    // A length of 50 mm in steps far below a nanometre leaves the finite differences fewer digits than the rules.
    let disagreement = (by_rules.standard() / by_slopes.standard() - 1.0).abs();
    println!("GUM H.1: the two ways disagree by {disagreement:.1e}");
    assert!(disagreement < 1e-4);
    // Each share by itself: every other input is exact.
    let shares = [(0, 25.0), (1, 9.7), (2, 0.0), (3, 0.0), (4, 2.9), (5, 16.6)];
    for (kept, nanometres) in shares {
        let exact: Vec<Uncertain> = gauge.all().iter().map(|x| Uncertain::exact(x.value)).collect();
        let inputs: Vec<&Uncertain> =
            (0..6).map(|i| if i == kept { gauge.all()[i] } else { &exact[i] }).collect();
        let share = propagate(&inputs, |x| Ok::<_, ()>(x[0] + x[1] - x[0] * (x[4] * x[3] + x[2] * x[5])));
        let share = share.unwrap().standard();
        assert!((share - nanometres).abs() <= 0.1, "input {kept}: {share} nm, the GUM has {nanometres} nm");
    }
}

/// Splitmix64: the same expressions on every machine.
struct Dice(u64);

impl Dice {
    fn roll(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, number: u64) -> u64 {
        self.roll() % number
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.roll() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// A named amount: value, own standard uncertainty, the source it shares, its part of that.
#[derive(Debug, Clone)]
struct Named {
    value: f64,
    own: f64,
    shared: Option<&'static str>,
    common: f64,
    dimension: Dimension,
}

const SHARED: &[(&str, SourceId)] = &[("clamp", 1000), ("meter", 1001)];

struct Table(BTreeMap<String, Named>);

impl Table {
    fn json(&self) -> Value {
        let entry = |n: &Named| json!([n.value, n.own, n.shared, n.common]);
        self.0.iter().map(|(name, n)| (name.clone(), entry(n))).collect::<serde_json::Map<_, _>>().into()
    }
}

impl Env for Table {
    fn fact(&self, name: &str) -> Result<Val, Vec<Missing>> {
        let place = self.0.keys().position(|known| known == name);
        let Some((place, named)) = place.zip(self.0.get(name)) else {
            return Err(vec![Missing::fact(name, "", Reason::NotRecorded)]);
        };
        let mut number = Uncertain::new(named.value, SourceId::try_from(place).unwrap(), named.own);
        if let Some(shared) = named.shared {
            let (_, source) = SHARED.iter().find(|(known, _)| *known == shared).unwrap();
            number = number.with_part(*source, named.common);
        }
        Ok(Val::Amount(Amount { number, dimension: named.dimension }))
    }
}

const UNITS: [(Dimension, &str, &str); 5] = [
    (Dimension::NONE, "", "ratio"),
    (Dimension::CURRENT, " A", "current"),
    (Dimension::VOLTAGE, " V", "voltage"),
    (Dimension::RESISTANCE, " ohm", "resistance"),
    (Dimension::POWER, " W", "power"),
];
/// Products: left times right gives the third, by place in [`UNITS`].
const PRODUCTS: [(usize, usize, usize); 3] = [(1, 3, 2), (1, 2, 4), (0, 0, 0)];
/// Quotients.
const QUOTIENTS: [(usize, usize, usize); 6] =
    [(2, 1, 3), (2, 3, 1), (4, 1, 2), (4, 2, 1), (1, 1, 0), (4, 4, 0)];

fn variables(dice: &mut Dice) -> Table {
    let mut table = BTreeMap::new();
    for (dimension, _, family) in UNITS {
        for name in ["a", "b", "c"] {
            let value = dice.between(0.3, 6.0) * if dice.below(4) == 0 { -1.0 } else { 1.0 };
            let shared = match (family, name) {
                ("current", _) => Some("clamp"),
                ("voltage" | "power", "a" | "b") => Some("meter"),
                _ => None,
            };
            let own = value.abs() * dice.between(0.001, 0.05);
            let common = if shared.is_some() { value * dice.between(0.002, 0.03) } else { 0.0 };
            table.insert(format!("{family}.{name}"), Named { value, own, shared, common, dimension });
        }
    }
    Table(table)
}

/// An expression of the dimension at `unit`, built so that it can be evaluated: nothing is divided by something
/// near zero, no root is taken of something below zero.
fn expression(dice: &mut Dice, unit: usize, depth: u32) -> String {
    let (_, symbol, family) = UNITS[unit];
    if depth == 0 || dice.below(8) == 0 {
        return if dice.below(4) == 0 {
            format!("{:.3}{symbol}", dice.between(0.2, 4.0))
        } else {
            format!("{family}.{}", ["a", "b", "c"][dice.below(3) as usize])
        };
    }
    let next = depth - 1;
    let same = |dice: &mut Dice| expression(dice, unit, next);
    let away_from_zero = |dice: &mut Dice, unit: usize| {
        let inner = expression(dice, unit, next);
        format!("(abs({inner}) + {:.2}{})", dice.between(0.5, 2.0), UNITS[unit].1)
    };
    match dice.below(10) {
        0 | 1 => format!("({} + {})", same(dice), same(dice)),
        2 => format!("({} - {})", same(dice), same(dice)),
        3 => format!("abs({})", same(dice)),
        4 => format!("min({}, {}, {})", same(dice), same(dice), same(dice)),
        5 => format!("max({}, {})", same(dice), same(dice)),
        6 => {
            let root = away_from_zero(dice, unit);
            let other = away_from_zero(dice, unit);
            format!("sqrt({root} * {other})")
        }
        7 => {
            let exponent = 2 + dice.below(2);
            let base = expression(dice, unit, next);
            let below = away_from_zero(dice, unit);
            if unit == 0 {
                format!("{below}^-{exponent}")
            } else {
                format!("({base})^{exponent} / {below}^{}", exponent - 1)
            }
        }
        8 => match QUOTIENTS.iter().filter(|q| q.2 == unit).nth(dice.below(2) as usize) {
            Some((left, right, _)) => {
                format!("{} / {}", expression(dice, *left, next), away_from_zero(dice, *right))
            }
            None => format!("-({})", same(dice)),
        },
        _ => match PRODUCTS.iter().find(|p| p.2 == unit) {
            Some((left, right, _)) => {
                format!("{} * {}", expression(dice, *left, next), expression(dice, *right, next))
            }
            None => format!("{} * {}", expression(dice, 0, next), same(dice)),
        },
    }
}

/// Our side: read, checked for dimensions, evaluated.
fn ours(table: &Table, text: &str) -> (f64, f64) {
    let expr = parse(text).unwrap_or_else(|e| panic!("{text}: {e:?}"));
    let lookup = |name: &str| table.0.get(name).map(|n| Type::Amount(n.dimension)).ok_or(None);
    check(&expr, &lookup).unwrap_or_else(|e| panic!("{text}: {e:?}"));
    match evaluate(&expr, table) {
        Ok(Val::Amount(amount)) => (amount.number.value, amount.number.standard()),
        other => panic!("{text}: {other:?}"),
    }
}

/// The library's side.
fn theirs(table: &Table, expressions: &[String]) -> Vec<(f64, f64)> {
    let shared: Vec<&str> = SHARED.iter().map(|(name, _)| *name).collect();
    let task = json!({ "variables": table.json(), "shared": shared, "expressions": expressions });
    let mut child = crate::common::python("uncertainty.py")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .expect("Python of the tests' environment");
    child.stdin.take().unwrap().write_all(task.to_string().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success(), "uncertainty.py failed");
    serde_json::from_slice(&output.stdout).unwrap()
}

struct Worst {
    value: f64,
    standard: f64,
    uncertain: usize,
}

/// Largest relative disagreement. Where uncertainties cancel to nothing the share of rounding left over means
/// nothing: below a billionth of the value it is compared with that.
fn compare(table: &Table, expressions: &[String]) -> Worst {
    let mut worst = Worst { value: 0.0, standard: 0.0, uncertain: 0 };
    for (text, reference) in expressions.iter().zip(theirs(table, expressions)) {
        let found = ours(table, text);
        let floor = 1e-9 * reference.0.abs() + 1e-15;
        let value = (found.0 - reference.0).abs() / reference.0.abs().max(1e-12);
        let standard = (found.1 - reference.1).abs() / reference.1.max(floor);
        assert!(value <= 1e-6 && standard <= 1e-6, "{text}: {found:?}, reference {reference:?}");
        worst.value = worst.value.max(value);
        worst.standard = worst.standard.max(standard);
        worst.uncertain += usize::from(reference.1 > floor);
    }
    worst
}

/// Reference: the `uncertainties` library, analytic derivatives with correlation.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn generated_expressions_against_the_uncertainties_library() {
    let mut dice = Dice(2008);
    let (mut number, mut uncertain) = (0, 0);
    let (mut value, mut standard) = (0.0_f64, 0.0_f64);
    let mut used: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..5 {
        let table = variables(&mut dice);
        let mut expressions = Vec::new();
        while expressions.len() < 120 {
            let unit = dice.below(UNITS.len() as u64) as usize;
            let depth = 2 + dice.below(3) as u32;
            let text = expression(&mut dice, unit, depth);
            if text.len() <= 2000 && text.contains('.') && text.contains('(') {
                expressions.push(text);
            }
        }
        for text in &expressions {
            for sign in [" + ", " - ", " * ", " / ", "^", "sqrt(", "abs(", "min(", "max("] {
                *used.entry(sign).or_default() += usize::from(text.contains(sign));
            }
        }
        let worst = compare(&table, &expressions);
        number += expressions.len();
        uncertain += worst.uncertain;
        value = value.max(worst.value);
        standard = standard.max(worst.standard);
    }
    println!(
        "{number} generated expressions against `uncertainties`: worst relative disagreement of the value \
         {value:.1e}, of the standard uncertainty {standard:.1e}; {uncertain} of them uncertain; used: {used:?}"
    );
    assert!(number >= 400 && uncertain * 10 >= number * 9);
    assert!(used.values().all(|n| *n >= 30), "{used:?}");
}

fn geometry(dice: &mut Dice) -> Table {
    let mut table = BTreeMap::new();
    let mut put = |name: &str, value: f64, own: f64, dimension| {
        table.insert(name.to_owned(), Named { value, own, shared: None, common: 0.0, dimension });
    };
    put("bar.width", dice.between(8e-3, 80e-3), 5e-5, Dimension::LENGTH);
    put("bar.thickness", dice.between(1e-3, 10e-3), 3e-5, Dimension::LENGTH);
    put("air.inner", 273.15 + dice.between(0.0, 55.0), 0.8, Dimension::TEMPERATURE);
    put("bar.rise", dice.between(10.0, 90.0), 0.6, Dimension::TEMPERATURE_DIFFERENCE);
    put("wire.size", dice.between(6e-6, 100e-6), 4e-7, Dimension::AREA);
    put("wire.insulation", 273.15 + dice.between(75.0, 125.0), 1.0, Dimension::TEMPERATURE);
    Table(table)
}

/// Reference: `uncertainties.wrap` over a heat balance and a cable law written apart from ours in Python. Products
/// and quotients of the results share their inputs, so that correlation goes through physics too.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn physics_functions_against_the_uncertainties_library() {
    let mut dice = Dice(1862);
    let (mut value, mut standard, mut number) = (0.0_f64, 0.0_f64, 0);
    for _ in 0..30 {
        let table = geometry(&mut dice);
        let cable = "cable_ampacity(wire.size, wire.insulation, air.inner)";
        let mut expressions = vec![cable.to_owned()];
        for metal in ["copper", "aluminium", "brass"] {
            let bar = format!("busbar_current(\"{metal}\", bar.width, bar.thickness, air.inner, bar.rise)");
            expressions.push(format!("{bar} / (bar.width * bar.thickness)"));
            expressions.push(format!("min({bar}, 2 * {cable}) / {cable}"));
            expressions.push(bar);
        }
        let worst = compare(&table, &expressions);
        // Where twice the cable is the smaller one, its ratio to the cable is exactly two.
        assert!(worst.uncertain >= expressions.len() - 3);
        number += expressions.len();
        value = value.max(worst.value);
        standard = standard.max(worst.standard);
    }
    println!(
        "{number} expressions with physics against `uncertainties.wrap`: worst relative disagreement of the value \
         {value:.1e}, of the standard uncertainty {standard:.1e}"
    );
}
