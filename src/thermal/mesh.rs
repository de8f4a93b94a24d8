//! The network cut into points that have one temperature each, and the numbers of what lies between them.
//!
//! Bars and cables become segments, overlaps slices. A coarse mesh has half as many: enough for how answers change with
//! the free quantities, not for the answers themselves.

use super::film::STEFAN_BOLTZMANN;
use super::lanes::{add, each};
use super::network::{Bar, Cell, CrossSection, Joint, Kind, Network, NetworkValue, Resistance, Surface};
use super::network::{Film, Metal, Point};

/// Segments of a bar, fewest and most.
const SEGMENTS: (f64, f64) = (4.0, 40.0);
/// Length of bar that deserves two more segments, m, and up to how many.
const BRIEF: f64 = 0.1;
const BRIEF_SEGMENTS: f64 = 12.0;
/// How much closer the points of a bar lie at its ends: the first segment is about this part shorter than the mean.
const CROWDING: f64 = 0.6;
/// Slices of an overlap, fewest and most.
const SLICES: (f64, f64) = (2.0, 24.0);
/// Potentials within one element, at most.
const MOST_POTENTIALS: usize = 80;
/// Film and radiation that the segments of a bar are laid out for, W/(m²·K).
const LAYOUT_FILM: f64 = 10.0;
/// Lorenz number of Wiedemann and Franz, W·Ω/K² (theory of metals: π²/3 · (k/e)²).
pub const LORENZ: f64 = 2.443e-8;

/// How finely a network is cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Fineness {
    Fine,
    Coarse,
}

/// The points of a network.
#[derive(Debug, Clone)]
pub(super) struct Mesh {
    /// Row of each point in the equations.
    pub(super) row: Vec<usize>,
    /// Points within each element: a bar's metal and skin, both sides of a joint.
    lines: Vec<[Vec<usize>; 2]>,
    /// Where the points of a bar lie, as a part of its length.
    along: Vec<Vec<f64>>,
    /// Points of each element with their distance from its start, m.
    pub(super) places: Vec<Vec<(f64, usize)>>,
    /// Numbers of links, films, radiations and resistors, once they were counted.
    room: [usize; 4],
}

/// Numbers of the parts for each of some sets of free quantities, pushed in the same order every time; ends are rows.
#[derive(Debug, Clone, Default)]
pub(super) struct Parts<const N: usize> {
    pub(super) capacity: Vec<[f64; N]>,
    pub(super) watts: Vec<[f64; N]>,
    /// Conductances, W/K.
    pub(super) links: Vec<(usize, usize, [f64; N])>,
    pub(super) films: Vec<FilmPart<N>>,
    /// Emissivity times area times the constant of Stefan and Boltzmann, W/K⁴.
    pub(super) radiations: Vec<(usize, usize, [f64; N])>,
    pub(super) resistors: Vec<Resistor<N>>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct FilmPart<const N: usize> {
    pub(super) ends: (usize, usize),
    pub(super) area: [f64; N],
    /// Height, or minus the width of a level strip, m.
    pub(super) length: f64,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Resistor<const N: usize> {
    pub(super) element: usize,
    /// Electrical ends, as points; beyond those of the mesh lie those within an element.
    pub(super) ends: (usize, usize),
    /// Rows that take the heat by halves and set the temperature.
    pub(super) heat: (usize, usize),
    pub(super) ohms: [f64; N],
    pub(super) coefficient: [f64; N],
    pub(super) reference: f64,
    pub(super) overvoltage: [f64; N],
    pub(super) reversible: [f64; N],
    /// Heat conducted across: Lorenz number over the resistance, times this.
    pub(super) metallic: f64,
    /// Cells passed from the first end to the second.
    pub(super) cells: i32,
}

impl Mesh {
    /// Cuts a network; the rows are the points in their order.
    pub(super) fn new(network: &Network, fineness: Fineness) -> Self {
        let middle = network.middle();
        let part = if fineness == Fineness::Fine { 1.0 } else { 0.5 };
        let mut count = network.points.len();
        let mut more = |number: usize| {
            count += number;
            (count - number..count).collect::<Vec<usize>>()
        };
        let (mut lines, mut along, mut places) = (Vec::new(), Vec::new(), Vec::new());
        for kind in &network.kinds {
            let at = |points: &[Point]| points.iter().map(|point| (0.0, point.0)).collect();
            let mut parts = Vec::new();
            let (line, place): ([Vec<usize>; 2], Vec<(f64, usize)>) = match kind {
                Kind::Bar(bar) => {
                    let length = bar.length.at(&middle);
                    let segments = segments(bar, length, part, &middle);
                    let mut chain = vec![bar.from.0];
                    chain.extend(more(segments - 1));
                    chain.push(bar.to.0);
                    let skin = more(bar.cover.map_or(0, |_| chain.len()));
                    parts = (0..=segments).map(|point| share(point, segments)).collect();
                    let place = chain.iter().zip(&parts).map(|(&point, part)| (length * part, point));
                    let place = place.collect();
                    ([chain, skin], place)
                }
                Kind::Joint(joint) => {
                    let slices = slices(joint, part, &middle);
                    let ends = [joint.from.0, joint.to.0];
                    // Both sides from where the first one carries the whole current to where the second one does.
                    let sides = [0, 1].map(|side| {
                        if joint.overlaps[side].is_none() {
                            return vec![ends[side]; slices + 1];
                        }
                        let mut line = more(slices);
                        line.insert(if side == 0 { 0 } else { slices }, ends[side]);
                        line
                    });
                    let place =
                        ends.iter().chain(sides.iter().flatten()).map(|&point| (0.0, point)).collect();
                    (sides, place)
                }
                Kind::Cell(cell) => (Default::default(), at(&[cell.core])),
                Kind::Device(device) => (Default::default(), at(&[device.at])),
                Kind::Mass { at: point, .. } | Kind::Face { at: point, .. } => {
                    (Default::default(), at(&[*point]))
                }
                Kind::Link { from, to, .. } => (Default::default(), at(&[*from, *to])),
            };
            lines.push(line);
            along.push(parts);
            places.push(place);
        }
        Self { row: (0..count).collect(), lines, along, places, room: [0; 4] }
    }

    /// Keeps how many parts there are, so that room for them is made at once.
    pub(super) fn counted(&mut self, parts: &Parts<1>) {
        self.room = [parts.links.len(), parts.films.len(), parts.radiations.len(), parts.resistors.len()];
    }

    /// Takes the numbers of all elements for each of some sets of free quantities.
    pub(super) fn fill<const N: usize>(&self, parts: &mut Parts<N>, network: &Network, free: [&[f64]; N]) {
        for of_rows in [&mut parts.capacity, &mut parts.watts] {
            of_rows.clear();
            of_rows.resize(self.row.len(), [0.0; N]);
        }
        let [links, films, radiations, resistors] = self.room;
        cleared(&mut parts.links, links);
        cleared(&mut parts.films, films);
        cleared(&mut parts.radiations, radiations);
        cleared(&mut parts.resistors, resistors);
        for (element, (kind, lines)) in network.kinds.iter().zip(&self.lines).enumerate() {
            let inner = self.row.len() + MOST_POTENTIALS * element;
            let mut filler = Filler { row: &self.row, free, element, inner, into: parts };
            match kind {
                Kind::Bar(bar) => filler.bar(bar, lines, &self.along[element]),
                Kind::Joint(joint) => filler.joint(joint, lines),
                Kind::Cell(cell) => filler.cell(cell),
                Kind::Device(device) => {
                    let (from, to, at) = (device.from.0, device.to.0, device.at.0);
                    let conductance = filler.at(device.conductance);
                    filler.resistor((from, to), (at, at), filler.of(&device.resistance));
                    filler.link(from, at, conductance);
                    filler.link(at, to, conductance);
                    filler.mass(at, filler.at(device.capacity));
                }
                Kind::Mass { at, capacity, watts } => {
                    filler.mass(at.0, filler.at(*capacity));
                    let watts = filler.at(*watts);
                    add(&mut parts.watts[self.row[at.0]], watts);
                }
                Kind::Link { from, to, conductance } => {
                    filler.link(from.0, to.0, filler.at(*conductance));
                }
                Kind::Face { at, area, surface } => filler.surface(at.0, filler.at(*area), surface),
            }
        }
    }
}

/// Empties a list and makes room for so many.
fn cleared<T>(list: &mut Vec<T>, count: usize) {
    list.clear();
    list.reserve(count);
}

/// Segments follow the length over which a fin cools down; at least four resolve the parabola between two ends, and
/// longer bars have more, for what happens at their ends within minutes.
fn segments(bar: &Bar, length: f64, part: f64, free: &[f64]) -> usize {
    let perimeter = bar.section.perimeter(0.0, free);
    let fin = (bar.metal.conductivity.at(free) * bar.section.area(free) / (LAYOUT_FILM * perimeter)).sqrt();
    let brief = (4.0 + 2.0 * (length / BRIEF).floor()).min(BRIEF_SEGMENTS);
    let segments = (2.0 * (2.0 * length / fin).ceil()).max(brief).clamp(SEGMENTS.0, SEGMENTS.1);
    (segments * part) as usize
}

/// Slices follow the length over which the heat goes across.
fn slices(joint: &Joint, part: f64, free: &[f64]) -> usize {
    let across = joint.conductance.at(free) + LORENZ * 300.0 / joint.resistance.ohms.at(free);
    let slices = joint.overlaps.iter().flatten().map(|overlap| {
        let length = overlap.length.at(free);
        let area = overlap.section.area(free);
        let fin = (overlap.metal.conductivity.at(free) * area * length / across).sqrt();
        (part * (2.0 * length / fin).ceil().clamp(SLICES.0, SLICES.1)) as usize
    });
    slices.max().unwrap_or(0)
}

/// Where a bar's points lie, as a part of its length: closer together towards its ends.
fn share(point: usize, segments: usize) -> f64 {
    let even = point as f64 / segments as f64;
    even - CROWDING / std::f64::consts::TAU * (std::f64::consts::TAU * even).sin()
}

impl CrossSection {
    fn area(&self, free: &[f64]) -> f64 {
        match self {
            Self::Flat { width, thickness } => width.at(free) * thickness.at(free),
            Self::Round { area } => area.at(free),
        }
    }

    /// Perimeter of an end that lies on its partner with one face, m.
    fn uncovered(&self, free: &[f64]) -> f64 {
        let covered = if let Self::Flat { width, .. } = self { width.at(free) } else { 0.0 };
        self.perimeter(0.0, free) - covered
    }

    /// Outer perimeter with a cover of this thickness, m.
    fn perimeter(&self, cover: f64, free: &[f64]) -> f64 {
        match self {
            Self::Flat { width, thickness } => 2.0 * (width.at(free) + thickness.at(free)) + 8.0 * cover,
            Self::Round { area } => {
                2.0 * (std::f64::consts::PI * area.at(free)).sqrt() + std::f64::consts::TAU * cover
            }
        }
    }
}

/// A resistance: ohms and their coefficient, and the reference temperature, K.
type Ohmic<const N: usize> = ([f64; N], [f64; N], f64);

/// Pushes the parts of one element.
struct Filler<'a, const N: usize> {
    row: &'a [usize],
    free: [&'a [f64]; N],
    element: usize,
    /// The first potential within the element that no point stands for.
    inner: usize,
    into: &'a mut Parts<N>,
}

impl<const N: usize> Filler<'_, N> {
    fn at(&self, value: NetworkValue) -> [f64; N] {
        each(|k| value.at(self.free[k]))
    }

    fn of(&self, resistance: &Resistance) -> Ohmic<N> {
        (self.at(resistance.ohms), self.at(resistance.coefficient), resistance.reference)
    }

    fn mass(&mut self, point: usize, capacity: [f64; N]) {
        add(&mut self.into.capacity[self.row[point]], capacity);
    }

    fn link(&mut self, from: usize, to: usize, conductance: [f64; N]) {
        self.into.links.push((self.row[from], self.row[to], conductance));
    }

    fn resistor(
        &mut self,
        ends: (usize, usize),
        heat: (usize, usize),
        (ohms, coefficient, reference): Ohmic<N>,
    ) -> &mut Resistor<N> {
        let index = self.into.resistors.len();
        self.into.resistors.push(Resistor {
            element: self.element,
            ends,
            heat: (self.row[heat.0], self.row[heat.1]),
            ohms,
            coefficient,
            reference,
            overvoltage: [0.0; N],
            reversible: [0.0; N],
            metallic: 0.0,
            cells: 0,
        });
        &mut self.into.resistors[index]
    }

    fn surface(&mut self, point: usize, area: [f64; N], surface: &Surface) {
        let (film, length) = match surface.film {
            Film::Given(film) => (film, 0.0),
            Film::Upright { height, factor } => (factor, height),
            Film::Level { width, factor } => (factor, -width),
        };
        let film = self.at(film);
        let film = each(|k| film[k] * area[k]);
        if length == 0.0 {
            self.link(point, surface.air.0, film);
        } else {
            let ends = (self.row[point], self.row[surface.air.0]);
            self.into.films.push(FilmPart { ends, area: film, length });
        }
        let emissivity = self.at(surface.emissivity);
        let radiation = each(|k| emissivity[k] * area[k] * STEFAN_BOLTZMANN);
        self.into.radiations.push((self.row[point], self.row[surface.faced.0], radiation));
    }

    /// A piece of metal between two points: the heat it leads, and its resistance times a part.
    fn segment(
        &mut self,
        ends: (usize, usize),
        metal: &Metal,
        area: [f64; N],
        length: [f64; N],
        part: f64,
    ) -> Ohmic<N> {
        let (conductivity, resistivity) = (self.at(metal.conductivity), self.at(metal.resistivity));
        self.link(ends.0, ends.1, each(|k| conductivity[k] * area[k] / length[k]));
        (each(|k| resistivity[k] * length[k] / area[k] * part), [metal.coefficient; N], 293.15)
    }

    fn bar(&mut self, bar: &Bar, [chain, skin]: &[Vec<usize>; 2], along: &[f64]) {
        let area: [f64; N] = each(|k| bar.section.area(self.free[k]));
        let segments = chain.len() - 1;
        let length = self.at(bar.length);
        for (i, ends) in chain.windows(2).enumerate() {
            let ends = (ends[0], ends[1]);
            let step = each(|k| length[k] * (along[i + 1] - along[i]));
            let r = self.segment(ends, &bar.metal, area, step, 1.0);
            self.resistor(ends, ends, r);
        }
        let thickness = bar.cover.map_or([0.0; N], |cover| self.at(cover.thickness));
        let inner: [f64; N] = each(|k| bar.section.perimeter(0.0, self.free[k]));
        let outer: [f64; N] = each(|k| bar.section.perimeter(thickness[k], self.free[k]));
        for (i, &point) in chain.iter().enumerate() {
            let about = along[(i + 1).min(segments)] - along[i.saturating_sub(1)];
            let length: [f64; N] = each(|k| 0.5 * length[k] * about);
            self.mass(point, each(|k| bar.metal.capacity * area[k] * length[k]));
            if let Some(cover) = &bar.cover {
                // A layer round a conductor: the mean perimeter is the logarithmic one.
                let conductivity = self.at(cover.conductivity);
                let across = each(|k| {
                    let mean = (outer[k] - inner[k]) / (outer[k] / inner[k]).ln();
                    conductivity[k] * mean * length[k] / thickness[k]
                });
                self.link(point, skin[i], across);
                let capacity =
                    each(|k| cover.capacity * 0.5 * (inner[k] + outer[k]) * thickness[k] * length[k]);
                self.mass(skin[i], capacity);
            }
            if let Some(surface) = &bar.surface {
                let area = each(|k| outer[k] * length[k]);
                self.surface(skin.get(i).copied().unwrap_or(point), area, surface);
            }
        }
    }

    /// A joint as slices of its overlaps, with a part of the contact at each end of a slice. In series every part takes
    /// the same current; the heat is that of an even transfer.
    fn joint(&mut self, joint: &Joint, sides: &[Vec<usize>; 2]) {
        let slices = sides[0].len() - 1;
        let count = slices.max(1) as f64;
        let mut last = joint.from.0;
        let half = |end: usize| if slices > 0 && (end == 0 || end == slices) { 0.5 } else { 1.0 };
        for (side, (overlap, line)) in joint.overlaps.iter().zip(sides).enumerate() {
            let Some(overlap) = overlap else { continue };
            let area: [f64; N] = each(|k| overlap.section.area(self.free[k]));
            let step = self.at(overlap.length).map(|length| length / count);
            for slice in 0..slices {
                let ends = (line[slice], line[slice + 1]);
                let after = if side == 0 { slices - slice } else { slice + 1 } as f64 / count;
                let before = after - 1.0 / count;
                let carried = (before * before + before * after + after * after) / 3.0;
                let r = self.segment(ends, &overlap.metal, area, step, carried);
                self.resistor((last, self.inner), ends, r);
                last = self.inner;
                self.inner += 1;
            }
            for (end, &point) in line.iter().enumerate() {
                let length: [f64; N] = each(|k| half(end) * step[k]);
                self.mass(point, each(|k| overlap.metal.capacity * area[k] * length[k]));
                if let Some(surface) = &overlap.surface {
                    let area = each(|k| overlap.section.uncovered(self.free[k]) * length[k]);
                    self.surface(point, area, surface);
                }
            }
        }
        let (ohms, coefficient, reference) = self.of(&joint.resistance);
        let conductance = self.at(joint.conductance);
        for (end, (&a, &b)) in sides[0].iter().zip(&sides[1]).enumerate() {
            let part = half(end) / count;
            let next = if end == slices { joint.to.0 } else { self.inner };
            let r = (ohms.map(|ohms| ohms * part), coefficient, reference);
            self.resistor((last, next), (a, b), r).metallic = if joint.metallic { part * part } else { 0.0 };
            self.link(a, b, conductance.map(|conductance| conductance * part));
            last = next;
            self.inner += 1;
        }
    }

    /// A cell between its posts, whose inner ends are potentials only.
    fn cell(&mut self, cell: &Cell) {
        let (minus, plus, core) = (cell.minus.0, cell.plus.0, cell.core.0);
        let inner = self.inner;
        for (post, point, ends) in
            [(&cell.posts[0], minus, (minus, inner)), (&cell.posts[1], plus, (inner + 1, plus))]
        {
            self.resistor(ends, (point, point), self.of(&Resistance::constant(post.ohms)));
            self.link(point, core, self.at(post.conductance));
        }
        let (overvoltage, reversible) = (self.at(cell.overvoltage), self.at(cell.reversible));
        let resistor = self.resistor((inner, inner + 1), (core, core), self.of(&cell.resistance));
        *resistor = Resistor { overvoltage, reversible, cells: 1, ..*resistor };
        self.mass(core, self.at(cell.capacity));
    }
}
