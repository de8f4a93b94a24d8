//! What a pack is made of, as a network: points that hold heat, and elements that make, lead or shed it.
//!
//! All numbers are plain SI: kelvin, watt, joule, metre, ohm, ampere. A [`Value`] is known or hangs on a [`Free`]
//! quantity; elements that share a free quantity move together.

use thiserror::Error;

/// Most elements of a network.
const MOST_ELEMENTS: usize = 4000;
/// Least heat capacity of a cell, J/K: 15 g at 1 kJ/(kg·K), half the smallest cylindrical cell in use.
const LEAST_CELL: f64 = 15.0;
/// Segments of a bar, fewest and most.
const SEGMENTS: (f64, f64) = (4.0, 40.0);
/// Length of bar that deserves two more segments, m, and up to how many.
const BRIEF: f64 = 0.1;
const BRIEF_SEGMENTS: f64 = 12.0;
/// How much closer the points of a bar lie at its ends: the first segment is about this part shorter than the mean.
const CROWDING: f64 = 0.6;
/// Slices of an overlap, fewest and most.
const SLICES: (f64, f64) = (2.0, 12.0);
/// Potentials within one element, at most.
const MOST_POTENTIALS: usize = 40;
/// Lorenz number of Wiedemann and Franz, W·Ω/K² (theory of metals: π²/3 · (k/e)²).
pub(super) const LORENZ: f64 = 2.443e-8;
/// Film and radiation that the segments of a bar are laid out for, W/(m²·K).
const LAYOUT_FILM: f64 = 10.0;

/// Why there is no network, or no answer from it.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum Refusal {
    /// A number cannot be meant.
    #[error("{place}: {what} is {given}; it must lie between {low} and {high}")]
    Outside {
        /// The element.
        place: String,
        /// The number.
        what: &'static str,
        /// What was given, SI.
        given: f64,
        /// Least, SI.
        low: f64,
        /// Most, SI.
        high: f64,
    },
    /// More elements than are solved.
    #[error("the network has more than {0} elements or is linked too densely; describe alike cells as one")]
    TooLarge(usize),
    /// Two ways round a loop hold different numbers of cells.
    #[error("{0} closes a loop that shorts cells: the ways round it hold different numbers of cells")]
    Shorted(String),
    /// The terminals are not joined.
    #[error("no way leads from the negative to the positive terminal; a joint or a link is missing")]
    Open,
    /// No heat can leave.
    #[error("{0} leads its heat nowhere: there is no steady temperature, only a time until a limit")]
    NoWayOut(String),
    /// Heat is made faster than it can leave.
    #[error("{0} makes more heat than can leave it: there is no steady temperature at this current")]
    Runaway(String),
    /// A limit is passed without any current.
    #[error("{0} is over its limit before any current flows")]
    TooHotAtRest(String),
    /// Nothing has a limit.
    #[error("no place of the network has a limit, so no current is too large")]
    NoLimit,
}

/// A point of the network: it has one temperature and, where current flows, one potential.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Point(pub(super) usize);

/// An element of the network, by which it is asked for later.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ElementId(pub(super) usize);

impl ElementId {
    /// Its number, from nought in the order in which elements were added.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }
}

/// A free quantity of the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FreeId(pub(super) usize);

/// Where a free quantity belongs, which says whether it stays the same with the lid on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Joints, posts, resistances, sizes: what was learnt with the lid off holds with the lid on.
    Inside,
    /// Films, air, surroundings: it does not.
    Surroundings,
}

/// A quantity known only as a rectangular range.
#[derive(Debug, Clone, PartialEq)]
pub struct Free {
    /// What it is.
    pub name: String,
    /// Lower end, SI; never gone below.
    pub low: f64,
    /// Upper end, SI; never gone beyond.
    pub high: f64,
    /// Whether the lid matters to it.
    pub scope: Scope,
}

/// A number of an element: known, or a multiple of a free quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Value {
    factor: f64,
    free: Option<usize>,
}

impl From<f64> for Value {
    fn from(factor: f64) -> Self {
        Self { factor, free: None }
    }
}

impl From<FreeId> for Value {
    fn from(free: FreeId) -> Self {
        free.times(1.0)
    }
}

impl FreeId {
    /// Its number, from nought in the order in which free quantities were made.
    #[must_use]
    pub fn index(self) -> usize {
        self.0
    }

    /// A multiple of the free quantity.
    #[must_use]
    pub fn times(self, factor: f64) -> Value {
        Value { factor, free: Some(self.0) }
    }
}

impl Value {
    /// A multiple of it.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { factor: self.factor * factor, ..self }
    }

    /// The free quantity it hangs on.
    pub(super) fn free(self) -> Option<FreeId> {
        self.free.map(FreeId)
    }

    /// The number, given the free quantities.
    pub(super) fn at(self, free: &[f64]) -> f64 {
        self.free.map_or(self.factor, |index| self.factor * free[index])
    }
}

/// A resistance that changes with temperature: ohms · (1 + coefficient · (T − reference)), never under a fifth.
#[derive(Debug, Clone, Copy)]
pub struct Resistance {
    /// At the reference temperature, Ω.
    pub ohms: Value,
    /// Change per kelvin over the value at the reference, 1/K.
    pub coefficient: Value,
    /// Reference temperature, K.
    pub reference: f64,
}

impl Resistance {
    /// A resistance that does not change.
    #[must_use]
    pub fn constant(ohms: impl Into<Value>) -> Self {
        Self { ohms: ohms.into(), coefficient: 0.0.into(), reference: 293.15 }
    }
}

/// How a face meets the air.
#[derive(Debug, Clone, Copy)]
pub enum Film {
    /// A film coefficient, W/(m²·K).
    Given(Value),
    /// Natural convection at a face of this height, m, times a factor.
    Upright {
        /// Height of the face, m.
        height: f64,
        /// Factor on the correlation.
        factor: Value,
    },
    /// Natural convection, mean of top and bottom of a strip of this width, m, times a factor.
    Level {
        /// Width of the strip, m.
        width: f64,
        /// Factor on the correlation.
        factor: Value,
    },
}

/// What a surface gives its heat to.
#[derive(Debug, Clone, Copy)]
pub struct Surface {
    /// Film to the air.
    pub film: Film,
    /// The air.
    pub air: Point,
    /// Emissivity times view factor.
    pub emissivity: Value,
    /// What it faces.
    pub faced: Point,
}

/// Metal of a bar or a cable.
#[derive(Debug, Clone, Copy)]
pub struct Metal {
    /// Resistivity at 20 °C, Ω·m.
    pub resistivity: Value,
    /// Its change per kelvin over the value at 20 °C, 1/K.
    pub coefficient: f64,
    /// Thermal conductivity, W/(m·K).
    pub conductivity: Value,
    /// Heat capacity, J/(m³·K).
    pub capacity: f64,
}

/// Cross-section of a conductor.
#[derive(Debug, Clone, Copy)]
pub enum Section {
    /// A flat bar.
    Flat {
        /// Width, m.
        width: Value,
        /// Thickness of all layers together, m.
        thickness: Value,
    },
    /// A round cable.
    Round {
        /// Cross-section of the metal, m².
        area: Value,
    },
}

/// What lies between a conductor and its surface: sleeve, insulation, foam, potting.
#[derive(Debug, Clone, Copy)]
pub struct Cover {
    /// Thickness, m.
    pub thickness: Value,
    /// Thermal conductivity, W/(m·K).
    pub conductivity: Value,
    /// Heat capacity, J/(m³·K).
    pub capacity: f64,
}

/// A bar or a cable with distributed heat, from one point to another.
#[derive(Debug, Clone)]
pub struct Bar {
    /// What it is called.
    pub name: String,
    /// Where it starts.
    pub from: Point,
    /// Where it ends.
    pub to: Point,
    /// Length that carries the whole current, m; what lies on its partners belongs to the joints.
    pub length: Value,
    /// Cross-section.
    pub section: Section,
    /// Metal.
    pub metal: Metal,
    /// Insulation.
    pub cover: Option<Cover>,
    /// What its surface meets.
    pub surface: Option<Surface>,
    /// Highest temperature anywhere along it, K.
    pub limit: Option<Value>,
}

/// The end of a bar that lies on its partner: the current leaves it evenly along its length, and so may the heat.
#[derive(Debug, Clone)]
pub struct Overlap {
    /// Length, m.
    pub length: Value,
    /// Cross-section.
    pub section: Section,
    /// Metal.
    pub metal: Metal,
    /// What its free faces meet.
    pub surface: Option<Surface>,
}

/// A contact between two points.
#[derive(Debug, Clone)]
pub struct Joint {
    /// What it is called.
    pub name: String,
    /// One side: where the current leaves the whole cross-section.
    pub from: Point,
    /// The other side.
    pub to: Point,
    /// Overlap on either side; a post or a lug has none.
    pub overlaps: [Option<Overlap>; 2],
    /// Resistance.
    pub resistance: Resistance,
    /// Whether it is metal on metal: then heat passes at least after Wiedemann and Franz.
    pub metallic: bool,
    /// Conductance beside that, through bolt and faces, W/K.
    pub conductance: Value,
    /// Highest temperature of either side, K.
    pub limit: Option<Value>,
}

/// What lies between a post's face and the cell.
#[derive(Debug, Clone, Copy)]
pub struct Post {
    /// Resistance, Ω.
    pub ohms: Value,
    /// Conductance into the cell, W/K.
    pub conductance: Value,
}

/// A cell, or cells beside each other as one, between two posts.
#[derive(Debug, Clone)]
pub struct Cell {
    /// What it is called.
    pub name: String,
    /// Negative post.
    pub minus: Point,
    /// Positive post.
    pub plus: Point,
    /// The cell itself, from [`Network::point`].
    pub core: Point,
    /// Direct-current resistance without the posts.
    pub resistance: Resistance,
    /// Volts between open circuit and terminals that hang on no resistance: heat is current times these.
    pub overvoltage: Value,
    /// Reversible heat on discharge over current and absolute temperature, V/K.
    pub reversible: Value,
    /// Its negative and its positive post.
    pub posts: [Post; 2],
    /// Heat capacity, J/K.
    pub capacity: Value,
    /// Highest temperature of the cell, K.
    pub limit: Option<Value>,
}

/// Something that takes a loss where it sits: a fuse, the switches of a BMS, a contactor, a shunt.
#[derive(Debug, Clone)]
pub struct Device {
    /// What it is called.
    pub name: String,
    /// Where the current comes in.
    pub from: Point,
    /// Where it goes out.
    pub to: Point,
    /// Where its heat is made.
    pub at: Point,
    /// Resistance.
    pub resistance: Resistance,
    /// Conductance from where the heat is made to either side, W/K.
    pub conductance: Value,
    /// Heat capacity where the heat is made, J/K.
    pub capacity: Value,
    /// Highest temperature where the heat is made, K.
    pub limit: Option<Value>,
}

#[derive(Debug, Clone)]
enum Kind {
    Bar { bar: Box<Bar>, chain: Vec<usize>, skin: Vec<usize> },
    Joint { joint: Box<Joint>, sides: [Vec<usize>; 2] },
    Cell(Box<Cell>),
    Device(Box<Device>),
    Mass { at: Point, capacity: Value, watts: Value },
    Link { from: Point, to: Point, conductance: Value },
    Face { at: Point, area: Value, surface: Surface },
}

/// A place whose temperature is told: the points of an element, with their distance from its start.
#[derive(Debug, Clone)]
pub struct Place {
    /// The element's name.
    pub name: String,
    /// Its points, with the distance from its start, m.
    pub(super) points: Vec<(f64, usize)>,
    /// Highest temperature, K.
    pub(super) limit: Option<Value>,
}

/// The network as it is described.
#[derive(Debug, Clone, Default)]
pub struct Network {
    pub(super) frees: Vec<Free>,
    pub(super) points: Vec<Option<Value>>,
    kinds: Vec<Kind>,
    pub(super) places: Vec<Place>,
    pub(super) terminals: Option<(Point, Point)>,
    pub(super) start: Option<Value>,
}

/// Numbers of the elements for one set of free quantities, pushed in the same order every time.
#[derive(Debug, Clone, Default)]
pub(super) struct Parts {
    pub(super) capacity: Vec<f64>,
    pub(super) watts: Vec<f64>,
    /// Conductances, W/K.
    pub(super) links: Vec<(usize, usize, f64)>,
    pub(super) films: Vec<FilmPart>,
    /// Emissivity times area times the constant of Stefan and Boltzmann, W/K⁴.
    pub(super) radiations: Vec<(usize, usize, f64)>,
    pub(super) resistors: Vec<Resistor>,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct FilmPart {
    pub(super) ends: (usize, usize),
    pub(super) area: f64,
    /// Height, or minus the width of a level strip, m.
    pub(super) length: f64,
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Resistor {
    pub(super) element: usize,
    /// Electrical ends; beyond the points lie those within an element.
    pub(super) ends: (usize, usize),
    /// Points that take the heat by halves and set the temperature.
    pub(super) heat: (usize, usize),
    pub(super) ohms: f64,
    pub(super) coefficient: f64,
    pub(super) reference: f64,
    pub(super) overvoltage: f64,
    pub(super) reversible: f64,
    /// Heat conducted across: Lorenz number over the resistance, times this.
    pub(super) metallic: f64,
    /// Cells passed from the first end to the second.
    pub(super) cells: i32,
}

impl Resistor {
    fn new(element: usize, ends: (usize, usize), heat: (usize, usize), r: &Resistance, free: &[f64]) -> Self {
        Self {
            element,
            ends,
            heat,
            ohms: r.ohms.at(free),
            coefficient: r.coefficient.at(free),
            reference: r.reference,
            overvoltage: 0.0,
            reversible: 0.0,
            metallic: 0.0,
            cells: 0,
        }
    }
}

impl Network {
    /// An empty network.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// A quantity known only as a rectangular range.
    pub fn free(&mut self, name: impl Into<String>, low: f64, high: f64, scope: Scope) -> FreeId {
        let (low, high) = (low.min(high), low.max(high));
        self.frees.push(Free { name: name.into(), low, high, scope });
        FreeId(self.frees.len() - 1)
    }

    /// The free quantities, in the order in which they were made.
    #[must_use]
    pub fn frees(&self) -> &[Free] {
        &self.frees
    }

    /// The middle of every range.
    #[must_use]
    pub fn middle(&self) -> Vec<f64> {
        self.frees.iter().map(|free| 0.5 * (free.low + free.high)).collect()
    }

    /// A point whose temperature is to be found.
    pub fn point(&mut self) -> Point {
        self.points.push(None);
        Point(self.points.len() - 1)
    }

    /// A point held at a temperature, K.
    pub fn held(&mut self, kelvin: impl Into<Value>) -> Point {
        self.points.push(Some(kelvin.into()));
        Point(self.points.len() - 1)
    }

    /// Temperature at which everything starts, K.
    pub fn start(&mut self, kelvin: impl Into<Value>) {
        self.start = Some(kelvin.into());
    }

    /// Names the terminals between which the current flows.
    pub fn terminals(&mut self, minus: Point, plus: Point) {
        self.terminals = Some((minus, plus));
    }

    /// The places of the elements, in the order in which they were added.
    #[must_use]
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// Adds a bar or a cable.
    ///
    /// # Errors
    /// Refuses sizes that cannot be meant.
    pub fn bar(&mut self, bar: Bar) -> Result<ElementId, Refusal> {
        let length = self.within(&bar.name, "the length", bar.length, 1e-4, 1e3)?;
        let area = self.check_conductor(&bar.name, &bar.section, &bar.metal)?;
        if let Some(cover) = &bar.cover {
            self.within(&bar.name, "the thickness of its cover", cover.thickness, 1e-6, 0.5)?;
            self.within(&bar.name, "the conductivity of its cover", cover.conductivity, 1e-3, 100.0)?;
        }
        let middle = self.middle();
        let perimeter = bar.section.perimeter(0.0, &middle);
        // Segments follow the length over which a fin cools down; at least four resolve the parabola between two ends,
        // and longer bars have more, for what happens at their ends within minutes.
        let fin = (bar.metal.conductivity.at(&middle) * area / (LAYOUT_FILM * perimeter)).sqrt();
        let brief = (4.0 + 2.0 * (length / BRIEF).floor()).min(BRIEF_SEGMENTS);
        let segments = (2.0 * (2.0 * length / fin).ceil()).max(brief).clamp(SEGMENTS.0, SEGMENTS.1) as usize;
        let mut chain = vec![bar.from.0];
        chain.extend((1..segments).map(|_| self.point().0));
        chain.push(bar.to.0);
        let skin =
            if bar.cover.is_some() { chain.iter().map(|_| self.point().0).collect() } else { Vec::new() };
        let points =
            chain.iter().enumerate().map(|(i, &point)| (length * along(i, segments), point)).collect();
        let (name, limit) = (bar.name.clone(), bar.limit);
        self.add(name, points, limit, Kind::Bar { bar: Box::new(bar), chain, skin })
    }

    /// Adds a contact.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn joint(&mut self, joint: Joint) -> Result<ElementId, Refusal> {
        self.within(&joint.name, "the resistance", joint.resistance.ohms, 1e-9, 10.0)?;
        self.within(&joint.name, "the conductance", joint.conductance, 0.0, 1e5)?;
        let middle = self.middle();
        let mut slices = 0;
        for overlap in joint.overlaps.iter().flatten() {
            let length = self.within(&joint.name, "the overlap", overlap.length, 1e-4, 1.0)?;
            let area = self.check_conductor(&joint.name, &overlap.section, &overlap.metal)?;
            // Slices follow the length over which the heat goes across.
            let across = joint.conductance.at(&middle) + LORENZ * 300.0 / joint.resistance.ohms.at(&middle);
            let fin = (overlap.metal.conductivity.at(&middle) * area * length / across).sqrt();
            slices = slices.max((2.0 * length / fin).ceil().clamp(SLICES.0, SLICES.1) as usize);
        }
        let ends = [joint.from.0, joint.to.0];
        // Both sides from where the first one carries the whole current to where the second one does.
        let sides = [0, 1].map(|side| match joint.overlaps[side] {
            Some(_) => {
                let mut line: Vec<usize> = (0..slices).map(|_| self.point().0).collect();
                line.insert(if side == 0 { 0 } else { slices }, ends[side]);
                line
            }
            None => vec![ends[side]; slices + 1],
        });
        let points = ends.iter().chain(sides.iter().flatten()).map(|&point| (0.0, point)).collect();
        self.add(joint.name.clone(), points, joint.limit, Kind::Joint { joint: Box::new(joint), sides })
    }

    fn check_conductor(&self, name: &str, section: &Section, metal: &Metal) -> Result<f64, Refusal> {
        self.within(name, "the resistivity", metal.resistivity, 1e-9, 1e-5)?;
        self.within(name, "the conductivity", metal.conductivity, 0.1, 2000.0)?;
        self.within(name, "the heat capacity", metal.capacity.into(), 1e4, 1e7)?;
        Ok(match *section {
            Section::Flat { width, thickness } => {
                self.within(name, "the width", width, 1e-4, 1.0)?
                    * self.within(name, "the thickness", thickness, 1e-6, 0.2)?
            }
            Section::Round { area } => self.within(name, "the cross-section", area, 1e-9, 0.01)?,
        })
    }

    /// Adds a cell.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn cell(&mut self, cell: Cell) -> Result<ElementId, Refusal> {
        self.within(&cell.name, "the heat capacity", cell.capacity, LEAST_CELL, 1e6)?;
        self.within(&cell.name, "the direct-current resistance", cell.resistance.ohms, 1e-6, 10.0)?;
        for post in cell.posts {
            self.within(&cell.name, "the conductance of a post", post.conductance, 1e-6, 1e4)?;
            self.within(&cell.name, "the resistance of a post", post.ohms, 0.0, 1.0)?;
        }
        self.within(&cell.name, "the reversible heat", cell.reversible, -5e-3, 5e-3)?;
        self.within(&cell.name, "the overvoltage", cell.overvoltage, 0.0, 5.0)?;
        self.add(cell.name.clone(), vec![(0.0, cell.core.0)], cell.limit, Kind::Cell(Box::new(cell)))
    }

    /// Adds a device.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn device(&mut self, device: Device) -> Result<ElementId, Refusal> {
        self.within(&device.name, "the resistance", device.resistance.ohms, 1e-9, 10.0)?;
        self.within(&device.name, "the conductance", device.conductance, 0.0, 1e5)?;
        self.within(&device.name, "the heat capacity", device.capacity, 0.0, 1e6)?;
        self.add(device.name.clone(), vec![(0.0, device.at.0)], device.limit, Kind::Device(Box::new(device)))
    }

    /// Adds a mass at a point (a post, the air, a wall, a heat sink) and a heat that does not hang on the current, W.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn mass(
        &mut self,
        name: impl Into<String>,
        at: Point,
        capacity: impl Into<Value>,
        watts: impl Into<Value>,
        limit: Option<Value>,
    ) -> Result<ElementId, Refusal> {
        let (name, capacity, watts) = (name.into(), capacity.into(), watts.into());
        self.within(&name, "the heat capacity", capacity, 0.0, 1e9)?;
        self.within(&name, "the heat", watts, -1e5, 1e5)?;
        self.add(name, vec![(0.0, at.0)], limit, Kind::Mass { at, capacity, watts })
    }

    /// Leads heat from one point to another, W/K.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn link(
        &mut self,
        name: impl Into<String>,
        from: Point,
        to: Point,
        conductance: impl Into<Value>,
    ) -> Result<ElementId, Refusal> {
        let (name, conductance) = (name.into(), conductance.into());
        self.within(&name, "the conductance", conductance, 0.0, 1e6)?;
        self.add(name, vec![(0.0, from.0), (0.0, to.0)], None, Kind::Link { from, to, conductance })
    }

    /// Lets a face of a point meet air and wall.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn face(
        &mut self,
        name: impl Into<String>,
        at: Point,
        area: impl Into<Value>,
        surface: Surface,
    ) -> Result<ElementId, Refusal> {
        let (name, area) = (name.into(), area.into());
        self.within(&name, "the area", area, 0.0, 1e3)?;
        self.add(name, vec![(0.0, at.0)], None, Kind::Face { at, area, surface })
    }

    fn add(
        &mut self,
        name: String,
        points: Vec<(f64, usize)>,
        limit: Option<Value>,
        kind: Kind,
    ) -> Result<ElementId, Refusal> {
        if self.kinds.len() == MOST_ELEMENTS {
            return Err(Refusal::TooLarge(MOST_ELEMENTS));
        }
        self.kinds.push(kind);
        self.places.push(Place { name, points, limit });
        Ok(ElementId(self.places.len() - 1))
    }

    /// Checks both ends of a value and gives its middle.
    fn within(
        &self,
        place: &str,
        what: &'static str,
        value: Value,
        low: f64,
        high: f64,
    ) -> Result<f64, Refusal> {
        let ends = value.free.map_or([1.0, 1.0], |index| [self.frees[index].low, self.frees[index].high]);
        for end in ends {
            let given = value.factor * end;
            // Written so that NaN is refused as well.
            if !(given >= low && given <= high) {
                return Err(Refusal::Outside { place: place.to_owned(), what, given, low, high });
            }
        }
        Ok(value.factor * 0.5 * (ends[0] + ends[1]))
    }

    /// Numbers of all elements for one set of free quantities.
    pub(super) fn parts(&self, free: &[f64], into: &mut Parts) {
        into.capacity.clear();
        into.capacity.resize(self.points.len(), 0.0);
        into.watts.clear();
        into.watts.resize(self.points.len(), 0.0);
        into.links.clear();
        into.films.clear();
        into.radiations.clear();
        into.resistors.clear();
        for (element, kind) in self.kinds.iter().enumerate() {
            self.push(element, kind, free, into);
        }
    }

    fn push(&self, element: usize, kind: &Kind, free: &[f64], into: &mut Parts) {
        match kind {
            Kind::Bar { bar, chain, skin } => push_bar(element, bar, chain, skin, free, into),
            Kind::Joint { joint, sides } => {
                let inner = self.points.len() + MOST_POTENTIALS * element;
                push_joint(element, inner, joint, sides, free, into);
            }
            Kind::Cell(cell) => {
                let (minus, plus, core) = (cell.minus.0, cell.plus.0, cell.core.0);
                // The posts' inner ends are potentials only; they are numbered beyond the points.
                let inner = self.points.len() + MOST_POTENTIALS * element;
                let ends = [(minus, inner), (inner + 1, plus)];
                for ((post, point), ends) in cell.posts.iter().zip([minus, plus]).zip(ends) {
                    let ohms = Resistance::constant(post.ohms);
                    into.resistors.push(Resistor::new(element, ends, (point, point), &ohms, free));
                    into.links.push((point, core, post.conductance.at(free)));
                }
                into.resistors.push(Resistor {
                    overvoltage: cell.overvoltage.at(free),
                    reversible: cell.reversible.at(free),
                    cells: 1,
                    ..Resistor::new(element, (inner, inner + 1), (core, core), &cell.resistance, free)
                });
                into.capacity[core] += cell.capacity.at(free);
            }
            Kind::Device(device) => {
                let (from, to, at) = (device.from.0, device.to.0, device.at.0);
                into.resistors.push(Resistor::new(element, (from, to), (at, at), &device.resistance, free));
                let conductance = device.conductance.at(free);
                into.links.push((from, at, conductance));
                into.links.push((at, to, conductance));
                into.capacity[at] += device.capacity.at(free);
            }
            Kind::Mass { at, capacity, watts } => {
                into.capacity[at.0] += capacity.at(free);
                into.watts[at.0] += watts.at(free);
            }
            Kind::Link { from, to, conductance } => into.links.push((from.0, to.0, conductance.at(free))),
            Kind::Face { at, area, surface } => push_surface(at.0, area.at(free), surface, free, into),
        }
    }
}

impl Section {
    fn area(&self, free: &[f64]) -> f64 {
        match self {
            Self::Flat { width, thickness } => width.at(free) * thickness.at(free),
            Self::Round { area } => area.at(free),
        }
    }

    /// Perimeter of an end that lies on its partner with one face, m.
    fn uncovered(&self, free: &[f64]) -> f64 {
        self.perimeter(0.0, free)
            - match self {
                Self::Flat { width, .. } => width.at(free),
                Self::Round { .. } => 0.0,
            }
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

/// Where a bar's points lie, as a part of its length: closer together towards its ends.
fn along(point: usize, segments: usize) -> f64 {
    let even = point as f64 / segments as f64;
    even - CROWDING / std::f64::consts::TAU * (std::f64::consts::TAU * even).sin()
}

fn push_bar(element: usize, bar: &Bar, chain: &[usize], skin: &[usize], free: &[f64], into: &mut Parts) {
    let area = bar.section.area(free);
    let segments = chain.len() - 1;
    let length = bar.length.at(free);
    for (i, ends) in chain.windows(2).enumerate() {
        let ends = (ends[0], ends[1]);
        let step = length * (along(i + 1, segments) - along(i, segments));
        into.links.push((ends.0, ends.1, bar.metal.conductivity.at(free) * area / step));
        let ohms = (bar.metal.resistivity.at(free) * step / area).into();
        let r = Resistance { ohms, coefficient: bar.metal.coefficient.into(), reference: 293.15 };
        into.resistors.push(Resistor::new(element, ends, ends, &r, free));
    }
    let thickness = bar.cover.map_or(0.0, |cover| cover.thickness.at(free));
    let (inner, outer) = (bar.section.perimeter(0.0, free), bar.section.perimeter(thickness, free));
    for (i, &point) in chain.iter().enumerate() {
        let reach = (along((i + 1).min(segments), segments), along(i.saturating_sub(1), segments));
        let length = 0.5 * length * (reach.0 - reach.1);
        into.capacity[point] += bar.metal.capacity * area * length;
        let mut surface_point = point;
        if let Some(cover) = &bar.cover {
            // A layer round a conductor: the mean perimeter is the logarithmic one.
            let mean = (outer - inner) / (outer / inner).ln();
            into.links.push((point, skin[i], cover.conductivity.at(free) * mean * length / thickness));
            into.capacity[skin[i]] += cover.capacity * 0.5 * (inner + outer) * thickness * length;
            surface_point = skin[i];
        }
        if let Some(surface) = &bar.surface {
            push_surface(surface_point, outer * length, surface, free, into);
        }
    }
}

/// A joint as slices of its overlaps, with a part of the contact at each end of a slice.
fn push_joint(
    element: usize,
    mut inner: usize,
    joint: &Joint,
    sides: &[Vec<usize>; 2],
    free: &[f64],
    into: &mut Parts,
) {
    let slices = sides[0].len() - 1;
    let count = slices.max(1) as f64;
    // In series every part takes the same current; the heat is that of an even transfer.
    let mut last = joint.from.0;
    let mut in_series = |into: &mut Parts, heat: (usize, usize), r: &Resistance, metallic: f64, end: bool| {
        let next = if end { joint.to.0 } else { inner };
        inner += 1;
        into.resistors.push(Resistor { metallic, ..Resistor::new(element, (last, next), heat, r, free) });
        last = next;
    };
    let half = |end: usize| if slices > 0 && (end == 0 || end == slices) { 0.5 } else { 1.0 };
    for (side, (overlap, line)) in joint.overlaps.iter().zip(sides).enumerate() {
        let Some(overlap) = overlap else { continue };
        let (area, metal) = (overlap.section.area(free), &overlap.metal);
        let step = overlap.length.at(free) / count;
        for slice in 0..slices {
            let ends = (line[slice], line[slice + 1]);
            into.links.push((ends.0, ends.1, metal.conductivity.at(free) * area / step));
            let after = if side == 0 { slices - slice } else { slice + 1 } as f64 / count;
            let before = after - 1.0 / count;
            let carried = (before * before + before * after + after * after) / 3.0;
            let ohms = metal.resistivity.at(free) * step / area * carried;
            let r =
                Resistance { ohms: ohms.into(), coefficient: metal.coefficient.into(), reference: 293.15 };
            in_series(into, ends, &r, 0.0, false);
        }
        for (end, &point) in line.iter().enumerate() {
            let length = half(end) * step;
            into.capacity[point] += metal.capacity * area * length;
            if let Some(surface) = &overlap.surface {
                push_surface(point, overlap.section.uncovered(free) * length, surface, free, into);
            }
        }
    }
    for (end, across) in sides[0].iter().zip(&sides[1]).enumerate() {
        let part = half(end) / count;
        let ohms = (joint.resistance.ohms.at(free) * part).into();
        let metallic = if joint.metallic { part * part } else { 0.0 };
        let across = (*across.0, *across.1);
        in_series(into, across, &Resistance { ohms, ..joint.resistance }, metallic, end == slices);
        into.links.push((across.0, across.1, joint.conductance.at(free) * part));
    }
}

fn push_surface(point: usize, area: f64, surface: &Surface, free: &[f64], into: &mut Parts) {
    let ends = (point, surface.air.0);
    match surface.film {
        Film::Given(film) => into.links.push((ends.0, ends.1, film.at(free) * area)),
        Film::Upright { height, factor } => {
            into.films.push(FilmPart { ends, area: factor.at(free) * area, length: height });
        }
        Film::Level { width, factor } => {
            into.films.push(FilmPart { ends, area: factor.at(free) * area, length: -width });
        }
    }
    let radiation = surface.emissivity.at(free) * area * crate::physics::film::STEFAN_BOLTZMANN;
    into.radiations.push((point, surface.faced.0, radiation));
}

#[cfg(test)]
mod tests {
    use super::super::{Circuit, Duty, Phase};
    use super::*;

    const COPPER: f64 = 1.7415e-8;

    fn bar(name: &str, from: Point, to: Point, length: f64, area: f64, air: Option<Point>) -> Bar {
        let film = Film::Given(5.0.into());
        Bar {
            name: name.to_owned(),
            from,
            to,
            length: length.into(),
            section: Section::Round { area: area.into() },
            metal: Metal {
                resistivity: COPPER.into(),
                coefficient: 0.0039,
                conductivity: 388.0.into(),
                capacity: 3.42e6,
            },
            cover: None,
            surface: air.map(|air| Surface { film, air, emissivity: 0.2.into(), faced: air }),
            limit: Some(363.15.into()),
        }
    }

    fn cell(name: &str, [minus, plus, core]: [Point; 3], capacity: f64) -> Cell {
        let post = Post { ohms: 1e-5.into(), conductance: 0.5.into() };
        Cell {
            name: name.to_owned(),
            minus,
            plus,
            core,
            resistance: Resistance::constant(5e-4),
            overvoltage: 0.0.into(),
            reversible: 0.0.into(),
            posts: [post; 2],
            capacity: capacity.into(),
            limit: None,
        }
    }

    #[test]
    fn refuses_what_cannot_be_meant() {
        let mut network = Network::new();
        let [a, b, c] = [0; 3].map(|_| network.point());
        let message = |answer: Result<ElementId, Refusal>| answer.unwrap_err().to_string();
        assert_eq!(
            message(network.bar(bar("link 3", a, b, 0.0, 4e-5, None))),
            "link 3: the length is 0; it must lie between 0.0001 and 1000"
        );
        assert_eq!(
            message(network.cell(cell("cell 1", [a, b, c], 1.0))),
            "cell 1: the heat capacity is 1; it must lie between 15 and 1000000"
        );
        assert!(network.bar(bar("link 3", a, b, f64::NAN, 4e-5, None)).is_err());
        assert!(network.bar(bar("link 3", a, b, f64::INFINITY, 4e-5, None)).is_err());
    }

    #[test]
    fn refuses_loops_that_short_and_gaps() {
        let mut network = Network::new();
        let air = network.held(298.15);
        let [a, b, c, d, x, y] = [0; 6].map(|_| network.point());
        network.cell(cell("cell 1", [a, b, x], 5000.0)).unwrap();
        network.cell(cell("cell 2", [c, d, y], 5000.0)).unwrap();
        network.link("cells", x, air, 0.5).unwrap();
        network.link("cells", y, air, 0.5).unwrap();
        network.terminals(a, d);
        assert_eq!(Circuit::new(network.clone()).unwrap_err(), Refusal::Open);
        network.bar(bar("link", b, c, 0.06, 4e-5, Some(air))).unwrap();
        assert!(Circuit::new(network.clone()).is_ok());
        network.bar(bar("stray bar", a, c, 0.06, 4e-5, Some(air))).unwrap();
        let refusal = Circuit::new(network).unwrap_err().to_string();
        assert!(
            refusal.ends_with(
                "closes a loop that shorts cells: the ways round it hold different numbers of cells"
            )
        );
    }

    #[test]
    fn parallel_bars_share_by_their_resistance() {
        let mut network = Network::new();
        let air = network.held(298.15);
        let [a, b] = [0; 2].map(|_| network.point());
        let thick = network.bar(bar("thick", a, b, 0.1, 6e-5, Some(air))).unwrap();
        let thin = network.bar(bar("thin", a, b, 0.1, 2e-5, Some(air))).unwrap();
        network.terminals(a, b);
        let circuit = Circuit::new(network).unwrap();
        let case = circuit.at(&[]);
        let state = case.steady(100.0).unwrap();
        let ((r, u), (s, v)) =
            (case.resistance_and_drop(&state, thick), case.resistance_and_drop(&state, thin));
        assert!((u / v - 1.0).abs() < 1e-9, "the same drop: {u} {v}");
        assert!((u / r + v / s - 100.0).abs() < 1e-6, "the currents add up");
        assert!(u / r / (v / s) > 2.9);
    }

    #[test]
    fn foam_that_leads_nowhere_has_a_time_but_no_steady_state() {
        let mut network = Network::new();
        network.start(298.15);
        let [a, b] = [0; 2].map(|_| network.point());
        let id = network.bar(bar("bar in foam", a, b, 0.3, 4e-5, None)).unwrap();
        network.terminals(a, b);
        let circuit = Circuit::new(network).unwrap();
        let case = circuit.at(&[]);
        let refusal = case.permissible(None, Duty::Ever).unwrap_err();
        assert_eq!(refusal, Refusal::NoWayOut("bar in foam".to_owned()));
        // Adiabatic: ∫ C dT / (ρ(T)) = J² t (closed form).
        let course = case.course(None, &[Phase { current: 200.0, seconds: 36_000.0 }]);
        assert!(course.melted.is_some());
        let (time, place) = case.first_limit(&course).unwrap();
        let exact = 3.42e6 / (COPPER * 0.0039) * ((1.0 + 0.0039 * 70.0) / (1.0 + 0.0039 * 5.0_f64)).ln()
            / (200.0_f64 / 4e-5).powi(2);
        assert!(place == id && (time / exact - 1.0).abs() < 2e-3, "{time} {exact}");
    }

    #[test]
    fn ten_thousand_elements_end_in_bounded_time() {
        let mut network = Network::new();
        let air = network.held(298.15);
        let first = network.point();
        let mut last = first;
        let refused = (0..10_000).find_map(|k| {
            let next = network.point();
            let answer = network.bar(bar(&format!("bar {k}"), last, next, 0.05, 4e-5, Some(air)));
            last = next;
            answer.err()
        });
        assert_eq!(refused, Some(Refusal::TooLarge(MOST_ELEMENTS)));
        // As many as are taken are solved; the last point hangs on the last bar that was taken.
        let last = Point(network.places.iter().next_back().unwrap().points.last().unwrap().1);
        network.terminals(first, last);
        let circuit = Circuit::new(network).unwrap();
        assert!(circuit.at(&[]).permissible(None, Duty::For(3600.0)).unwrap().current > 100.0);
    }
}
