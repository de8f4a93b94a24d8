//! The electro-thermal network against things outside the project.

use std::io::Write;
use std::process::Stdio;

use crate::common::{python, root, thermal as described};
use serde_json::Value as Json;
use underlid::thermal::{Bar, Circuit, Duty, Film, Metal, Network, Phase, Section, Surface};

/// What a script of `tests/reference/` prints, a JSON text a line.
fn answers(arguments: &[&str], input: &str) -> Vec<Json> {
    let mut script = python("thermal_networks.py");
    script.args(arguments).stdin(Stdio::piped()).stdout(Stdio::piped());
    let mut child = script.spawn().unwrap();
    child.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    assert!(output.status.success());
    String::from_utf8(output.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect()
}

/// Random networks against scipy (spectral elements in space, BDF in time): within 1 % of the rise or 0.2 K, whichever is
/// more; heat made and heat given off balance.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn random_networks_of_an_independent_solution() {
    let number = if std::env::var_os("UNDERLID_LONG").is_some() { "100" } else { "4" };
    let mut worst = 0.0_f64;
    for json in answers(&["random", "1", number], "") {
        let (n, answer) = (&json["network"], &json["answer"]);
        let (network, elements) = described::network(n).unwrap();
        let circuit = Circuit::new(network).unwrap();
        let case = circuit.at(&[]);
        let [current, seconds, start] = ["current", "seconds", "start"].map(|key| n[key].as_f64().unwrap());
        let course = case.course(None, &[Phase { current, seconds }]);
        let steady = case.steady(current).unwrap();
        let (made, away) = case.balance(&steady);
        assert!((made - away).abs() / made.abs().max(1.0) < 1e-6, "{made} W made, {away} W away");
        for (key, state) in [("after", course.end()), ("steady", &steady)] {
            for (element, wanted) in elements.iter().zip(answer[key].as_array().into_iter().flatten()) {
                let wanted = wanted.as_f64().unwrap();
                let miss = (case.hottest(state, *element) - wanted).abs();
                worst = worst.max(miss / (0.01 * (wanted - start).abs()).max(0.2));
            }
        }
    }
    println!("{number} networks: worst {worst:.2} of what is allowed");
    assert!(worst < 1.0, "{worst}");
}

/// The table of currents through a link between two cells: from a file of its inputs, against the script's.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn currents_of_links_between_cells() {
    let inputs =
        std::fs::read_to_string(root().join("tests/data/thermal/links-between-cells.jsonl")).unwrap();
    let answers = answers(&["currents"], &inputs);
    assert_eq!(answers.len(), inputs.lines().count());
    for (input, answer) in inputs.lines().zip(answers) {
        let input: Json = serde_json::from_str(input).unwrap();
        for (key, wanted) in answer["currents"].as_object().unwrap() {
            let mut network = input["network"].clone();
            for (k, element) in network["elements"].as_array_mut().unwrap().iter_mut().enumerate() {
                if k.to_string() != *key {
                    element.as_object_mut().unwrap().remove("limit");
                }
            }
            let (network, _) = described::network(&network).unwrap();
            let circuit = Circuit::new(network).unwrap();
            let found = circuit.at(&[]).permissible(None, Duty::For(3600.0)).unwrap().current;
            let wanted = wanted.as_f64().unwrap();
            println!("{} {key}: {found:.1} A, reference {wanted:.1} A", input["name"]);
            assert!((found / wanted - 1.0).abs() < 0.03);
        }
    }
}

/// Long bar in free air: copper C11000, emissivity 0.4, on edge, 40 °C (CDA, *Ampacities and Mechanical Properties of
/// Rectangular Copper Busbars*, table 1, read): thickness and width, in; currents for rises of 30, 50 and 65 K, A.
const CDA: &[(f64, f64, [f64; 3])] = &[
    (1.0 / 16.0, 0.5, [103.0, 136.0, 157.0]),
    (1.0 / 16.0, 1.0, [187.0, 250.0, 285.0]),
    (1.0 / 16.0, 2.0, [345.0, 460.0, 530.0]),
    (1.0 / 8.0, 0.5, [153.0, 205.0, 235.0]),
    (1.0 / 8.0, 1.0, [270.0, 360.0, 415.0]),
    (1.0 / 8.0, 2.0, [495.0, 660.0, 760.0]),
    (1.0 / 8.0, 4.0, [910.0, 1200.0, 1400.0]),
    (3.0 / 16.0, 1.0, [340.0, 455.0, 520.0]),
    (3.0 / 16.0, 2.0, [610.0, 810.0, 940.0]),
    (1.0 / 4.0, 0.5, [240.0, 315.0, 360.0]),
];

fn copper() -> Metal {
    Metal {
        resistivity: (1.7241e-8 / 0.99).into(),
        coefficient: 0.00393 * 0.99,
        conductivity: 388.0.into(),
        capacity: 3.42e6,
    }
}

#[test]
fn long_bar_in_free_air() {
    let mut worst = 0.0_f64;
    for &(thickness, width, amperes) in CDA {
        for (rise, table) in [30.0, 50.0, 65.0].into_iter().zip(amperes) {
            let mut network = Network::new();
            let air = network.held(313.15);
            let (from, to) = (network.point(), network.point());
            network.terminals(from, to);
            let film = Film::Upright { height: width * 0.0254, factor: 1.0.into() };
            let bar = network
                .bar(Bar {
                    name: "bar".into(),
                    from,
                    to,
                    length: 5.0.into(),
                    section: Section::Flat {
                        width: (width * 0.0254).into(),
                        thickness: (thickness * 0.0254).into(),
                    },
                    metal: copper(),
                    cover: None,
                    surface: Some(Surface { film, air, emissivity: 0.4.into(), faced: air }),
                    limit: Some((313.15 + rise).into()),
                })
                .unwrap();
            let circuit = Circuit::new(network).unwrap();
            let found = circuit.at(&[]).permissible(None, Duty::Ever).unwrap();
            assert_eq!(found.place, bar);
            worst = worst.max((found.current / table - 1.0).abs());
        }
    }
    println!("long bar in free air: worst {:.2} % from the table", 100.0 * worst);
    assert!(worst < 0.05);
}

/// Ends held, no film, resistance constant: T(x) = T0 + (T1 − T0)·x/L + I²ρ·x·(L − x)/(2kA²). With resistance rising with
/// temperature: with m² = I²ρα/(kA²) and both ends at 20 °C, the rise is (cos(m(x − L/2))/cos(mL/2) − 1)/α (Carslaw and
/// Jaeger, *Conduction of Heat in Solids*, § 4.10).
#[test]
fn ends_held_without_film() {
    let (length, width, thickness) = (0.4, 0.02, 0.002);
    let area: f64 = width * thickness;
    for (coefficient, left, right) in [(0.0, 293.15, 333.15), (0.00389, 293.15, 293.15)] {
        for current in [100.0, 200.0, 250.0] {
            let mut network = Network::new();
            let (from, to) = (network.held(left), network.held(right));
            network.terminals(from, to);
            let bar = network
                .bar(Bar {
                    name: "bar".into(),
                    from,
                    to,
                    length: length.into(),
                    section: Section::Flat { width: width.into(), thickness: thickness.into() },
                    metal: Metal { coefficient, ..copper() },
                    cover: None,
                    surface: None,
                    limit: None,
                })
                .unwrap();
            let circuit = Circuit::new(network).unwrap();
            let case = circuit.at(&[]);
            let state = case.steady(current).unwrap();
            let (rho, k) = (1.7241e-8 / 0.99, 388.0);
            for (x, t) in case.profile(&state, bar) {
                let exact = if coefficient == 0.0 {
                    let parabola = current * current * rho * x * (length - x) / (2.0 * k * area * area);
                    left + (right - left) * x / length + parabola
                } else {
                    let m = (current * current * rho * coefficient / (k * area * area)).sqrt();
                    left + ((m * (x - length / 2.0)).cos() / (m * length / 2.0).cos() - 1.0) / coefficient
                };
                assert!((t - exact).abs() < 0.1, "{current} A at {x} m: {t} against {exact}");
            }
        }
    }
}
