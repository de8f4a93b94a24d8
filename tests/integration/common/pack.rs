//! An invented pack: cells in a row, links, two legs, fuse and BMS in a closed case, its free quantities as ranges.

use underlid::thermal::{
    Bar, Cell, Cover, CrossSection, Device, ElementId, Film, FreeScope, Joint, Metal, Network, Overlap, Post,
    Resistance, Surface,
};

/// The pack, with its last link, the bar of the plus leg and the fuse. `tests/reference/thermal_packs.py` has the same ranges.
pub fn pack(cells: usize) -> (Network, [ElementId; 3]) {
    let mut n = Network::new();
    let c = 273.15;
    let ambient = n.free("ambient", 23.0 + c, 27.0 + c, FreeScope::Surroundings);
    let film_in = n.free("film inside", 2.0, 6.0, FreeScope::Surroundings);
    let film_out = n.free("film outside", 4.0, 10.0, FreeScope::Surroundings);
    let emissivity = n.free("emissivity of bars", 0.05, 0.4, FreeScope::Inside);
    let post_g = n.free("post conductance", 0.2, 1.0, FreeScope::Inside);
    let post_r = n.free("post resistance", 5e-6, 30e-6, FreeScope::Inside);
    let joint_r = n.free("joint resistance", 5e-6, 25e-6, FreeScope::Inside);
    let joint_g = n.free("joint conductance", 0.5, 4.0, FreeScope::Inside);
    let cell_r = n.free("cell resistance", 0.4e-3, 0.9e-3, FreeScope::Inside);
    let cell_slope = n.free("cell resistance slope", -0.015, -0.005, FreeScope::Inside);
    let reversible = n.free("reversible heat", -1e-4, 1e-4, FreeScope::Inside);
    let capacity = n.free("cell heat capacity", 2900.0, 3500.0, FreeScope::Inside);
    let cell_wall = n.free("cell to wall", 0.2, 1.0, FreeScope::Surroundings);
    let cell_cell = n.free("cell to cell", 1.0, 5.0, FreeScope::Inside);
    let resistivity = n.free("resistivity", 1.72e-8, 1.80e-8, FreeScope::Inside);
    let fuse_r = n.free("fuse resistance", 0.2e-3, 0.4e-3, FreeScope::Inside);
    let bms_r = n.free("BMS resistance", 0.3e-3, 0.5e-3, FreeScope::Inside);
    let bms_g = n.free("BMS to wall", 0.2, 1.5, FreeScope::Surroundings);
    let insulation = n.free("insulation conductivity", 0.15, 0.3, FreeScope::Inside);
    let lead_film = n.free("film at leads", 4.0, 9.0, FreeScope::Surroundings);

    let room = n.held(ambient);
    n.start(ambient);
    let (air, wall) = (n.point(), n.point());
    n.mass("air inside", air, 15.0, 0.0, None).unwrap();
    n.mass("case", wall, 2500.0, 0.0, None).unwrap();
    n.link("air to case", air, wall, film_in.times(0.35)).unwrap();
    let outside =
        Surface { film: Film::Given(film_out.into()), air: room, emissivity: 0.9.into(), faced: room };
    n.face("case outside", wall, 0.45, outside).unwrap();
    let inside =
        Surface { film: Film::Given(film_in.into()), air, emissivity: emissivity.into(), faced: wall };
    let metal = Metal {
        resistivity: resistivity.into(),
        coefficient: 0.0039,
        conductivity: 388.0.into(),
        capacity: 3.42e6,
    };
    let flat = CrossSection::Flat { width: 0.02.into(), thickness: 0.002.into() };
    let lap = Overlap { length: 0.02.into(), section: flat, metal, surface: Some(inside) };
    let joint = |n: &mut Network, name: String, from, to, lapped: bool| {
        let overlaps = [lapped.then(|| lap.clone()), None];
        n.joint(Joint {
            name,
            from,
            to,
            overlaps,
            resistance: Resistance::constant(joint_r),
            metallic: true,
            conductance: joint_g.into(),
            limit: Some((90.0 + c).into()),
        })
        .unwrap()
    };
    let post = |n: &mut Network, name: String| {
        let p = n.point();
        n.mass(name, p, 30.0, 0.0, Some((60.0 + c).into())).unwrap();
        p
    };
    let bar = |n: &mut Network, name: String, from, to, length: f64| {
        n.bar(Bar {
            name,
            from,
            to,
            length: length.into(),
            section: flat,
            metal,
            cover: None,
            surface: Some(inside),
            limit: Some((90.0 + c).into()),
        })
        .unwrap()
    };
    let mut ends = Vec::new();
    let (mut last, mut link) = (None, None);
    for k in 1..=cells {
        let (minus, plus, core) =
            (post(&mut n, format!("post - {k}")), post(&mut n, format!("post + {k}")), n.point());
        let p = Post { ohms: post_r.into(), conductance: post_g.into() };
        n.cell(Cell {
            name: format!("cell {k}"),
            minus,
            plus,
            core,
            resistance: Resistance { ohms: cell_r.into(), coefficient: cell_slope.into(), reference: 298.15 },
            overvoltage: 0.0.into(),
            reversible: reversible.into(),
            posts: [p, p],
            capacity: capacity.into(),
            limit: Some((60.0 + c).into()),
        })
        .unwrap();
        n.link(format!("cell {k} to case"), core, wall, cell_wall).unwrap();
        if let Some((before, core_before)) = last {
            let (a, b) = (n.point(), n.point());
            joint(&mut n, format!("joint {k} a"), a, before, true);
            let id = bar(&mut n, format!("link {k}"), a, b, 0.05);
            link = Some(id);
            joint(&mut n, format!("joint {k} b"), b, minus, true);
            n.link(format!("cells {k}"), core_before, core, cell_cell).unwrap();
        } else {
            ends.push(minus);
        }
        last = Some((plus, core));
    }
    ends.push(last.unwrap().0);
    let cable = |n: &mut Network, name: &str, from, to, length: f64, air, faced| {
        n.bar(Bar {
            name: name.into(),
            from,
            to,
            length: length.into(),
            section: CrossSection::Round { area: 50e-6.into() },
            metal,
            cover: Some(Cover { thickness: 1.8e-3.into(), conductivity: insulation.into(), capacity: 1.8e6 }),
            surface: Some(Surface {
                film: Film::Given(lead_film.into()),
                air,
                emissivity: 0.9.into(),
                faced,
            }),
            limit: Some((105.0 + c).into()),
        })
        .unwrap()
    };
    // minus leg: bar, BMS, cable; plus leg: bar, fuse, cable
    let p: Vec<_> = (0..10).map(|_| n.point()).collect();
    joint(&mut n, "joint minus".into(), p[0], ends[0], true);
    bar(&mut n, "minus bar".into(), p[0], p[1], 0.1);
    n.device(Device {
        name: "BMS".into(),
        from: p[1],
        to: p[2],
        at: p[3],
        resistance: Resistance { ohms: bms_r.into(), coefficient: 0.004.into(), reference: 298.15 },
        conductance: 1.0.into(),
        capacity: 150.0.into(),
        limit: Some((100.0 + c).into()),
    })
    .unwrap();
    n.link("BMS to case", p[3], wall, bms_g).unwrap();
    let minus_end = n.held(ambient);
    let plus_end = n.held(ambient);
    cable(&mut n, "minus cable inside", p[2], p[4], 0.15, air, wall);
    cable(&mut n, "minus lead", p[4], minus_end, 1.0, room, room);
    joint(&mut n, "joint plus".into(), p[5], ends[1], true);
    let plus_bar = bar(&mut n, "plus bar".into(), p[5], p[6], 0.1);
    let fuse = n
        .device(Device {
            name: "fuse".into(),
            from: p[6],
            to: p[7],
            at: p[8],
            resistance: Resistance { ohms: fuse_r.into(), coefficient: 0.004.into(), reference: 298.15 },
            conductance: 2.0.into(),
            capacity: 20.0.into(),
            limit: Some((120.0 + c).into()),
        })
        .unwrap();
    cable(&mut n, "plus cable inside", p[7], p[9], 0.15, air, wall);
    cable(&mut n, "plus lead", p[9], plus_end, 1.0, room, room);
    n.terminals(minus_end, plus_end);
    (n, [link.unwrap(), plus_bar, fuse])
}
