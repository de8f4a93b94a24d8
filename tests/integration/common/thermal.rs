//! Networks from JSON, as the reference scripts write and read them.

use serde_json::Value as Json;
use underlid::thermal::{
    Bar, Cell, Cover, CrossSection, Device, ElementId, Film, Joint, Metal, Network, NetworkRefusal,
    NetworkValue, Overlap, Point, Post, Resistance, Surface,
};

fn number(json: &Json, key: &str) -> f64 {
    json[key].as_f64().unwrap_or_else(|| panic!("{key} of {json}"))
}

fn value(json: &Json, key: &str) -> NetworkValue {
    number(json, key).into()
}

fn resistance(json: &Json) -> Resistance {
    Resistance {
        ohms: value(json, "ohms"),
        coefficient: value(json, "coefficient"),
        reference: number(json, "reference"),
    }
}

fn section(json: &Json) -> CrossSection {
    if json["area"].is_null() {
        CrossSection::Flat { width: value(json, "width"), thickness: value(json, "thickness") }
    } else {
        CrossSection::Round { area: value(json, "area") }
    }
}

fn metal(json: &Json) -> Metal {
    Metal {
        resistivity: value(json, "resistivity"),
        coefficient: number(json, "coefficient"),
        conductivity: value(json, "conductivity"),
        capacity: number(json, "capacity"),
    }
}

/// The network of a description, and its elements.
pub fn network(json: &Json) -> Result<(Network, Vec<ElementId>), NetworkRefusal> {
    let mut network = Network::new();
    let points: Vec<Point> = json["points"]
        .as_array()
        .unwrap()
        .iter()
        .map(|held| if let Some(kelvin) = held.as_f64() { network.held(kelvin) } else { network.point() })
        .collect();
    let at = |json: &Json, key: &str| points[json[key].as_u64().unwrap() as usize];
    let surface = |json: &Json| {
        (!json.is_null()).then(|| Surface {
            film: match json["natural"].as_str() {
                Some("upright") => {
                    Film::Upright { height: number(json, "size"), factor: value(json, "factor") }
                }
                Some(_) => Film::Level { width: number(json, "size"), factor: value(json, "factor") },
                None => Film::Given(value(json, "film")),
            },
            air: at(json, "air"),
            emissivity: value(json, "emissivity"),
            faced: at(json, "faced"),
        })
    };
    network.start(number(json, "start"));
    network.terminals(
        points[json["terminals"][0].as_u64().unwrap() as usize],
        points[json["terminals"][1].as_u64().unwrap() as usize],
    );
    let mut elements = Vec::new();
    for (index, e) in json["elements"].as_array().unwrap().iter().enumerate() {
        let name = format!("{} {index}", e["kind"].as_str().unwrap());
        let limit = e["limit"].as_f64().map(NetworkValue::from);
        elements.push(match e["kind"].as_str().unwrap() {
            "bar" => network.bar(Bar {
                name,
                from: at(e, "from"),
                to: at(e, "to"),
                length: value(e, "length"),
                section: section(e),
                metal: metal(&e["metal"]),
                cover: (!e["cover"].is_null()).then(|| Cover {
                    thickness: value(&e["cover"], "thickness"),
                    conductivity: value(&e["cover"], "conductivity"),
                    capacity: number(&e["cover"], "capacity"),
                }),
                surface: surface(&e["surface"]),
                limit,
            }),
            "joint" => network.joint(Joint {
                name,
                from: at(e, "from"),
                to: at(e, "to"),
                overlaps: [0, 1].map(|side| {
                    let o = &e["overlaps"][side];
                    (!o.is_null()).then(|| Overlap {
                        length: value(o, "length"),
                        section: section(o),
                        metal: metal(&o["metal"]),
                        surface: surface(&o["surface"]),
                    })
                }),
                resistance: resistance(&e["resistance"]),
                metallic: e["metallic"].as_bool().unwrap(),
                conductance: value(e, "conductance"),
                limit,
            }),
            "cell" => network.cell(Cell {
                name,
                minus: at(e, "minus"),
                plus: at(e, "plus"),
                core: at(e, "core"),
                resistance: resistance(&e["resistance"]),
                overvoltage: value(e, "overvoltage"),
                reversible: value(e, "reversible"),
                posts: [0, 1].map(|side| Post {
                    ohms: value(&e["posts"][side], "ohms"),
                    conductance: value(&e["posts"][side], "conductance"),
                }),
                capacity: value(e, "capacity"),
                limit,
            }),
            "device" => network.device(Device {
                name,
                from: at(e, "from"),
                to: at(e, "to"),
                at: at(e, "at"),
                resistance: resistance(&e["resistance"]),
                conductance: value(e, "conductance"),
                capacity: value(e, "capacity"),
                limit,
            }),
            "mass" => network.mass(name, at(e, "at"), value(e, "heat_capacity"), value(e, "watts"), limit),
            "link" => network.link(name, at(e, "from"), at(e, "to"), value(e, "conductance")),
            "face" => network.face(name, at(e, "at"), value(e, "area"), surface(&e["surface"]).unwrap()),
            other => panic!("{other}"),
        }?);
    }
    Ok((network, elements))
}
