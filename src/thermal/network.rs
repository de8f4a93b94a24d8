//! What a pack is made of, as a network: points that hold heat, and elements that make, lead or shed it.
//!
//! All numbers are plain SI: kelvin, watt, joule, metre, ohm, ampere. A [`NetworkValue`] is known or hangs on a [`Free`]
//! quantity; elements that share a free quantity move together.

use thiserror::Error;

/// Most elements of a network.
const MOST_ELEMENTS: usize = 4000;
/// Least heat capacity of a cell, J/K: 15 g at 1 kJ/(kg·K), half the smallest cylindrical cell in use.
const LEAST_CELL: f64 = 15.0;
/// Why there is no network, or no answer from it.
#[derive(Debug, Clone, PartialEq, Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum NetworkRefusal {
    #[error("{place}: {what} is {given}; it must lie between {low} and {high}")]
    Outside {
        place: String,
        what: &'static str,
        /// What was given, SI.
        given: f64,
        /// Least, SI.
        low: f64,
        /// Most, SI.
        high: f64,
    },
    #[error("the network has more than {0} elements or is linked too densely; describe alike cells as one")]
    TooLarge(usize),
    #[error("{0} closes a loop that shorts cells: the ways round it hold different numbers of cells")]
    Shorted(String),
    #[error("no way leads from the negative to the positive terminal; a joint or a link is missing")]
    Open,
    #[error("{0} leads its heat nowhere: there is no steady temperature, only a time until a limit")]
    NoWayOut(String),
    #[error("{0} makes more heat than can leave it: there is no steady temperature at this current")]
    Runaway(String),
    #[error("{0} is over its limit before any current flows")]
    TooHotAtRest(String),
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
    pub fn index(self) -> usize {
        self.0
    }
}

/// A free quantity of the network.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct FreeId(pub(super) usize);

/// Where a free quantity belongs, which says whether it stays the same with the lid on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FreeScope {
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
    pub scope: FreeScope,
}

/// A number of an element: known, or a multiple of a free quantity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NetworkValue {
    factor: f64,
    free: Option<usize>,
}

impl From<f64> for NetworkValue {
    fn from(factor: f64) -> Self {
        Self { factor, free: None }
    }
}

impl From<FreeId> for NetworkValue {
    fn from(free: FreeId) -> Self {
        free.times(1.0)
    }
}

impl FreeId {
    /// Its number, from nought in the order in which free quantities were made.
    pub fn index(self) -> usize {
        self.0
    }

    /// A multiple of the free quantity.
    pub fn times(self, factor: f64) -> NetworkValue {
        NetworkValue { factor, free: Some(self.0) }
    }
}

impl NetworkValue {
    /// A multiple of it.
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
    pub ohms: NetworkValue,
    /// Change per kelvin over the value at the reference, 1/K.
    pub coefficient: NetworkValue,
    /// Reference temperature, K.
    pub reference: f64,
}

impl Resistance {
    /// A resistance that does not change.
    pub fn constant(ohms: impl Into<NetworkValue>) -> Self {
        Self { ohms: ohms.into(), coefficient: 0.0.into(), reference: 293.15 }
    }
}

/// How a face meets the air.
#[derive(Debug, Clone, Copy)]
pub enum Film {
    /// A film coefficient, W/(m²·K).
    Given(NetworkValue),
    /// Natural convection at a face of this height, m, times a factor.
    Upright {
        /// Height of the face, m.
        height: f64,
        /// Factor on the correlation.
        factor: NetworkValue,
    },
    /// Natural convection, mean of top and bottom of a strip of this width, m, times a factor.
    Level {
        /// Width of the strip, m.
        width: f64,
        /// Factor on the correlation.
        factor: NetworkValue,
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
    pub emissivity: NetworkValue,
    /// What it faces.
    pub faced: Point,
}

/// Metal of a bar or a cable.
#[derive(Debug, Clone, Copy)]
pub struct Metal {
    /// Resistivity at 20 °C, Ω·m.
    pub resistivity: NetworkValue,
    /// Its change per kelvin over the value at 20 °C, 1/K.
    pub coefficient: f64,
    /// Thermal conductivity, W/(m·K).
    pub conductivity: NetworkValue,
    /// Heat capacity, J/(m³·K).
    pub capacity: f64,
}

/// Cross-section of a conductor.
#[derive(Debug, Clone, Copy)]
pub enum CrossSection {
    /// A flat bar.
    Flat {
        /// Width, m.
        width: NetworkValue,
        /// Thickness of all layers together, m.
        thickness: NetworkValue,
    },
    /// A round cable.
    Round {
        /// Cross-section of the metal, m².
        area: NetworkValue,
    },
}

/// What lies between a conductor and its surface: sleeve, insulation, foam, potting.
#[derive(Debug, Clone, Copy)]
pub struct Cover {
    /// Thickness, m.
    pub thickness: NetworkValue,
    /// Thermal conductivity, W/(m·K).
    pub conductivity: NetworkValue,
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
    pub length: NetworkValue,
    /// Cross-section.
    pub section: CrossSection,
    /// Metal.
    pub metal: Metal,
    /// Insulation.
    pub cover: Option<Cover>,
    /// What its surface meets.
    pub surface: Option<Surface>,
    /// Highest temperature anywhere along it, K.
    pub limit: Option<NetworkValue>,
}

/// The end of a bar that lies on its partner: the current leaves it evenly along its length, and so may the heat.
#[derive(Debug, Clone)]
pub struct Overlap {
    /// Length, m.
    pub length: NetworkValue,
    /// Cross-section.
    pub section: CrossSection,
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
    pub conductance: NetworkValue,
    /// Highest temperature of either side, K.
    pub limit: Option<NetworkValue>,
}

/// What lies between a post's face and the cell.
#[derive(Debug, Clone, Copy)]
pub struct Post {
    /// Resistance, Ω.
    pub ohms: NetworkValue,
    /// Conductance into the cell, W/K.
    pub conductance: NetworkValue,
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
    pub overvoltage: NetworkValue,
    /// Reversible heat on discharge over current and absolute temperature, V/K.
    pub reversible: NetworkValue,
    /// Its negative and its positive post.
    pub posts: [Post; 2],
    /// Heat capacity, J/K.
    pub capacity: NetworkValue,
    /// Highest temperature of the cell, K.
    pub limit: Option<NetworkValue>,
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
    pub conductance: NetworkValue,
    /// Heat capacity where the heat is made, J/K.
    pub capacity: NetworkValue,
    /// Highest temperature where the heat is made, K.
    pub limit: Option<NetworkValue>,
}
/// What an element is.
#[derive(Debug, Clone)]
pub(super) enum Kind {
    Bar(Box<Bar>),
    Joint(Box<Joint>),
    Cell(Box<Cell>),
    Device(Box<Device>),
    Mass { at: Point, capacity: NetworkValue, watts: NetworkValue },
    Link { from: Point, to: Point, conductance: NetworkValue },
    Face { at: Point, area: NetworkValue, surface: Surface },
}

/// A place whose temperature is told.
#[derive(Debug, Clone)]
pub struct NetworkPlace {
    /// The element's name.
    pub name: String,
    /// Highest temperature, K.
    pub(super) limit: Option<NetworkValue>,
}

/// The network as it is described.
#[derive(Debug, Clone, Default)]
pub struct Network {
    pub(super) frees: Vec<Free>,
    pub(super) points: Vec<Option<NetworkValue>>,
    pub(super) kinds: Vec<Kind>,
    pub(super) places: Vec<NetworkPlace>,
    pub(super) terminals: Option<(Point, Point)>,
    pub(super) start: Option<NetworkValue>,
}

/// A number to be checked: what it is, the number, the least and the most it may be.
type Number = (&'static str, NetworkValue, f64, f64);

impl Network {
    /// An empty network.
    pub fn new() -> Self {
        Self::default()
    }

    /// A quantity known only as a rectangular range.
    pub fn free(&mut self, name: impl Into<String>, low: f64, high: f64, scope: FreeScope) -> FreeId {
        let (low, high) = (low.min(high), low.max(high));
        self.frees.push(Free { name: name.into(), low, high, scope });
        FreeId(self.frees.len() - 1)
    }

    /// The free quantities, in the order in which they were made.
    pub fn frees(&self) -> &[Free] {
        &self.frees
    }

    /// The middle of every range.
    pub fn middle(&self) -> Vec<f64> {
        self.frees.iter().map(|free| 0.5 * (free.low + free.high)).collect()
    }

    /// A number at the middle of its range.
    pub fn middle_of(&self, value: NetworkValue) -> f64 {
        value.at(&self.middle())
    }

    /// A point whose temperature is to be found.
    pub fn point(&mut self) -> Point {
        self.points.push(None);
        Point(self.points.len() - 1)
    }

    /// A point held at a temperature, K.
    pub fn held(&mut self, kelvin: impl Into<NetworkValue>) -> Point {
        self.points.push(Some(kelvin.into()));
        Point(self.points.len() - 1)
    }

    /// Temperature at which everything starts, K.
    pub fn start(&mut self, kelvin: impl Into<NetworkValue>) {
        self.start = Some(kelvin.into());
    }

    /// Names the terminals between which the current flows.
    pub fn terminals(&mut self, minus: Point, plus: Point) {
        self.terminals = Some((minus, plus));
    }

    /// The places of the elements, in the order in which they were added.
    pub fn places(&self) -> &[NetworkPlace] {
        &self.places
    }

    /// Adds a bar or a cable.
    ///
    /// # Errors
    /// Refuses sizes that cannot be meant.
    pub fn bar(&mut self, bar: Bar) -> Result<ElementId, NetworkRefusal> {
        let mut numbers = vec![("the length", bar.length, 1e-4, 1e3)];
        numbers.extend(conductor(&bar.section, &bar.metal));
        if let Some(cover) = &bar.cover {
            numbers.push(("the thickness of its cover", cover.thickness, 1e-6, 0.5));
            numbers.push(("the conductivity of its cover", cover.conductivity, 1e-3, 100.0));
        }
        numbers.extend(bar.surface.iter().flat_map(face));
        self.add(bar.name.clone(), bar.limit, &numbers, Kind::Bar(Box::new(bar)))
    }

    /// Adds a contact.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn joint(&mut self, joint: Joint) -> Result<ElementId, NetworkRefusal> {
        let mut numbers = vec![
            ("the resistance", joint.resistance.ohms, 1e-9, 10.0),
            ("the conductance", joint.conductance, 0.0, 1e5),
        ];
        for overlap in joint.overlaps.iter().flatten() {
            numbers.push(("the overlap", overlap.length, 1e-4, 1.0));
            numbers.extend(conductor(&overlap.section, &overlap.metal));
            numbers.extend(overlap.surface.iter().flat_map(face));
        }
        self.add(joint.name.clone(), joint.limit, &numbers, Kind::Joint(Box::new(joint)))
    }

    /// Adds a cell.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn cell(&mut self, cell: Cell) -> Result<ElementId, NetworkRefusal> {
        let mut numbers = vec![
            ("the heat capacity", cell.capacity, LEAST_CELL, 1e6),
            ("the direct-current resistance", cell.resistance.ohms, 1e-6, 10.0),
            ("the reversible heat", cell.reversible, -5e-3, 5e-3),
            ("the overvoltage", cell.overvoltage, 0.0, 5.0),
        ];
        for post in cell.posts {
            numbers.push(("the conductance of a post", post.conductance, 1e-6, 1e4));
            numbers.push(("the resistance of a post", post.ohms, 0.0, 1.0));
        }
        self.add(cell.name.clone(), cell.limit, &numbers, Kind::Cell(Box::new(cell)))
    }

    /// Adds a device.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn device(&mut self, device: Device) -> Result<ElementId, NetworkRefusal> {
        let numbers = [
            ("the resistance", device.resistance.ohms, 1e-9, 10.0),
            ("the conductance", device.conductance, 0.0, 1e5),
            ("the heat capacity", device.capacity, 0.0, 1e6),
        ];
        self.add(device.name.clone(), device.limit, &numbers, Kind::Device(Box::new(device)))
    }

    /// Adds a mass at a point (a post, the air, a wall, a heat sink) and a heat that does not hang on the current, W.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn mass(
        &mut self,
        name: impl Into<String>,
        at: Point,
        capacity: impl Into<NetworkValue>,
        watts: impl Into<NetworkValue>,
        limit: Option<NetworkValue>,
    ) -> Result<ElementId, NetworkRefusal> {
        let (capacity, watts) = (capacity.into(), watts.into());
        let numbers = [("the heat capacity", capacity, 0.0, 1e9), ("the heat", watts, -1e5, 1e5)];
        self.add(name.into(), limit, &numbers, Kind::Mass { at, capacity, watts })
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
        conductance: impl Into<NetworkValue>,
    ) -> Result<ElementId, NetworkRefusal> {
        let conductance = conductance.into();
        let number = ("the conductance", conductance, 0.0, 1e6);
        self.add(name.into(), None, &[number], Kind::Link { from, to, conductance })
    }

    /// Lets a face of a point meet air and wall.
    ///
    /// # Errors
    /// Refuses numbers that cannot be meant.
    pub fn face(
        &mut self,
        name: impl Into<String>,
        at: Point,
        area: impl Into<NetworkValue>,
        surface: Surface,
    ) -> Result<ElementId, NetworkRefusal> {
        let area = area.into();
        let mut numbers = face(&surface).to_vec();
        numbers.push(("the area", area, 0.0, 1e3));
        self.add(name.into(), None, &numbers, Kind::Face { at, area, surface })
    }

    /// Adds an element whose numbers lie within what can be meant, at both ends of their ranges.
    fn add(
        &mut self,
        name: String,
        limit: Option<NetworkValue>,
        numbers: &[Number],
        kind: Kind,
    ) -> Result<ElementId, NetworkRefusal> {
        if self.kinds.len() == MOST_ELEMENTS {
            return Err(NetworkRefusal::TooLarge(MOST_ELEMENTS));
        }
        let limit_of = limit.map(|limit| ("the limit", limit, 100.0, 2000.0));
        for &(what, value, low, high) in numbers.iter().chain(&limit_of) {
            let ends = value.free.map_or([1.0; 2], |index| [self.frees[index].low, self.frees[index].high]);
            let given = ends.map(|end| value.factor * end);
            // Written so that NaN is refused as well.
            if let Some(&given) = given.iter().find(|&&given| !(given >= low && given <= high)) {
                return Err(NetworkRefusal::Outside { place: name, what, given, low, high });
            }
        }
        self.kinds.push(kind);
        self.places.push(NetworkPlace { name, limit });
        Ok(ElementId(self.places.len() - 1))
    }
}

/// The numbers of a face to air and wall.
fn face(surface: &Surface) -> [Number; 3] {
    let (film, height) = match surface.film {
        Film::Given(film) => (("the film coefficient", film, 0.0, 1e5), 1.0),
        Film::Upright { height: length, factor } | Film::Level { width: length, factor } => {
            (("the factor on the film", factor, 0.0, 100.0), length)
        }
    };
    [
        film,
        ("the height or width of the face", height.into(), 1e-5, 100.0),
        ("the emissivity", surface.emissivity, 0.0, 1.0),
    ]
}

/// The numbers of a conductor.
fn conductor(section: &CrossSection, metal: &Metal) -> Vec<Number> {
    let mut numbers = vec![
        ("the resistivity", metal.resistivity, 1e-9, 1e-5),
        ("the conductivity", metal.conductivity, 0.1, 2000.0),
        ("the heat capacity", metal.capacity.into(), 1e4, 1e7),
    ];
    match *section {
        CrossSection::Flat { width, thickness } => {
            numbers.push(("the width", width, 1e-4, 1.0));
            numbers.push(("the thickness", thickness, 1e-6, 0.2));
        }
        CrossSection::Round { area } => numbers.push(("the cross-section", area, 1e-9, 0.01)),
    }
    numbers
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
            section: CrossSection::Round { area: area.into() },
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
        let message = |answer: Result<ElementId, NetworkRefusal>| answer.unwrap_err().to_string();
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
        let film = Film::Upright { height: 0.0, factor: 1.0.into() };
        let surface = Surface { film, air: a, emissivity: 0.2.into(), faced: a };
        assert_eq!(
            message(network.bar(Bar { surface: Some(surface), ..bar("link 3", a, b, 0.1, 4e-5, None) })),
            "link 3: the height or width of the face is 0; it must lie between 0.00001 and 100"
        );
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
        assert_eq!(Circuit::new(network.clone()).unwrap_err(), NetworkRefusal::Open);
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
        assert_eq!(refusal, NetworkRefusal::NoWayOut("bar in foam".to_owned()));
        // Adiabatic: ∫ C dT / (ρ(T)) = J² t (closed form).
        let course = case.course(None, &[Phase { current: 200.0, seconds: 36_000.0 }]);
        assert!(course.melted.is_some());
        let (time, place) = case.first_limit(&course).unwrap();
        let exact = 3.42e6 / (COPPER * 0.0039) * ((1.0 + 0.0039 * 70.0) / (1.0 + 0.0039 * 5.0_f64)).ln()
            / (200.0_f64 / 4e-5).powi(2);
        assert!(place == id && (time / exact - 1.0).abs() < 2e-3, "{time} {exact}");
    }

    /// Elements that all hang on each other fill the equations: refused, or solved, within seconds.
    #[test]
    fn densely_linked_elements_end_in_bounded_time() {
        let clock = std::time::Instant::now();
        for (points, heat_only) in [(60, false), (1500, true)] {
            let mut network = Network::new();
            let air = network.held(298.15);
            let all: Vec<Point> = (0..points).map(|_| network.point()).collect();
            network.terminals(all[0], all[1]);
            network.bar(bar("first", all[0], all[1], 0.05, 4e-5, Some(air))).unwrap();
            for k in 0..MOST_ELEMENTS - 1 {
                let (a, b) = (all[k % points], all[(k * k + 7 * k + 1) % points]);
                if a == b {
                    continue;
                }
                let added = match heat_only {
                    true => network.link("link", a, b, 1.0),
                    false => network.bar(bar("bar", a, b, 0.05, 4e-5, Some(air))),
                };
                added.unwrap();
            }
            match Circuit::new(network) {
                Err(refusal) => assert!(matches!(refusal, NetworkRefusal::TooLarge(_)), "{refusal}"),
                // Islands that lead nowhere have no steady state.
                Ok(circuit) => drop(circuit.at(&[]).steady(10.0)),
            }
        }
        assert!(clock.elapsed().as_secs() < 60, "{:?}", clock.elapsed());
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
            if answer.is_ok() {
                last = next;
            }
            answer.err()
        });
        assert_eq!(refused, Some(NetworkRefusal::TooLarge(MOST_ELEMENTS)));
        // As many as are taken are solved.
        network.terminals(first, last);
        let circuit = Circuit::new(network).unwrap();
        assert!(circuit.at(&[]).permissible(None, Duty::For(3600.0)).unwrap().current > 100.0);
    }
}
