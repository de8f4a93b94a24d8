//! From the record to the network: what each element of the path is to heat and current.
//!
//! The path is walked from the negative terminal to the positive one. Between two elements without a joint stands one
//! that was not measured. The stack is drawn as its end cells, the links between them, and all other cells as one mass,
//! as they differ little; leads outside end in the room.

use std::collections::BTreeMap;
use std::ops::Range;

use super::limits;
use super::stand_in::{self, StandIn};
use crate::judge::facts::strings::{self, several, strings_of};
use crate::judge::facts::worker::Worker;
use crate::judge::facts::{Answer, Facts, Missing, Reason, Subject, capped, element_label};
use crate::physics::ZERO_CELSIUS;
use crate::physics::material::Material;
use crate::record::parts::{Element, ElementKind, Finish, Leg, Retention};
use crate::thermal::{
    Bar, Cell, Circuit, Cover, CrossSection, Device, ElementId, Film, FreeId, FreeScope, Joint, LORENZ,
    Metal, Network, NetworkRefusal, NetworkValue, Overlap, Point, Post, Resistance, Surface,
};
use crate::units::Amount;

/// How the pack stands: closed and in use, or as it was in a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lid {
    On,
    Off,
}

/// A place of an element whose temperature has a limit, or is told without one.
#[derive(Debug, Clone)]
pub(super) struct PlaceOf {
    /// The element of the path.
    pub element: usize,
    /// Its place in the network.
    pub id: ElementId,
    /// What of it.
    pub what: &'static str,
    /// Highest temperature, or what is missing for it.
    pub limit: Answer,
    /// What is missing of the place itself, so that it may be warmer than its range says.
    pub lacks: Vec<Missing>,
}

/// The pack as a network.
#[derive(Debug)]
pub(super) struct Pack {
    pub circuit: Circuit,
    pub places: Vec<PlaceOf>,
    /// Elements that could not be drawn, and what is missing for it.
    pub unknown: BTreeMap<usize, Vec<Missing>>,
    /// What stands in for what is not recorded.
    pub assumed: Vec<String>,
    /// Claims that it rests on.
    pub claims: Vec<String>,
    /// Temperature of the room, and that at which everything starts.
    pub room: FreeId,
    pub start: FreeId,
    /// The air inside; none where an element is drawn by itself.
    pub air: Option<ElementId>,
    /// The ambient at which the rating is judged, K.
    pub ambient: f64,
    /// Cross-section of the leads outside over the rated current, m²/A.
    pub lead: FreeId,
    /// Charge of one full discharge, A·s.
    pub charge: f64,
    /// The rated continuous current, A.
    pub rated: f64,
}

/// Temperature coefficient of metals in devices, 1/K.
const METALLIC: f64 = 0.0039;
/// Standard uncertainty over the value, above which a recorded number becomes a range.
const UNCERTAIN: f64 = 0.005;
/// Temperature of a warm device, for what its metal leads, K.
const DEVICE_KELVIN: f64 = ZERO_CELSIUS + 60.0;
/// Heat capacity of a volume of plastic, J/(m³·K).
const PLASTIC: f64 = 1.8e6;
/// Length of a lead outside that is drawn, m; what lies beyond it is as warm as the room.
const LEAD_LENGTH: f64 = 1.0;
/// Energy over the volume of a case whose size is not recorded, J/m³: 220 Wh/L, a tight one, as little air leads little.
const CASE_DENSITY: f64 = 220.0 * 3600.0 * 1000.0;

/// Links of a stack that are drawn one by one.
const MOST_LINKS: usize = 32;
/// Strings that are drawn side by side.
const MOST_STRINGS: usize = 8;
/// What joins two ends of one piece of metal, W/K: far more than anything beside it.
const ONWARD: f64 = 100.0;

struct Builder<'a> {
    facts: &'a Facts<'a>,
    network: Network,
    frees: BTreeMap<String, FreeId>,
    places: Vec<PlaceOf>,
    unknown: BTreeMap<usize, Vec<Missing>>,
    assumed: Vec<String>,
    claims: Vec<String>,
    air: Point,
    /// The mass of the air inside.
    inside: Option<ElementId>,
    wall: Point,
    room: Point,
    room_free: FreeId,
    start: FreeId,
    ambient: f64,
    lid: Lid,
    film: StandIn,
    /// What the elements beside a joint lack that nobody measured: a bad one has far more than a usual one.
    beside: BTreeMap<usize, Vec<Missing>>,
    /// Parallel strings of cells.
    strings: usize,
    /// Whether a string is drawn that is like the first, whose places stand for its own.
    again: bool,
    /// What every place lacks: without the size of the case nobody knows how warm the air in it becomes.
    lacks: Vec<Missing>,
}

/// That the resistance of an element was not measured.
fn not_measured(facts: &Facts<'_>, index: usize) -> Missing {
    Missing::of_element("element.resistance", facts.record, index, Reason::NotRecorded)
}

/// A step of the path.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Step {
    Element(usize),
    /// A joint that is not recorded.
    Joint,
    Stack(Option<usize>),
}

/// Draws the pack; what is missing where nothing can be drawn.
pub(super) fn pack(facts: &Facts<'_>, lid: Lid) -> Result<Pack, Vec<Missing>> {
    let mut work = Worker::new(facts);
    let (rated, series) = (work.amount("claims.continuous_current"), work.amount("cells.series"));
    let capacity = work.amount("pack.capacity");
    let ambient =
        work.or_limit("claims.rated_ambient", "outer_ambient", "the ambient for which the current is rated");
    let [rated, series, capacity, ambient] = work.all([rated, series, capacity, ambient])?;
    let (ambient, assumed) = (ambient.value(), work.done(rated.clone())?.assumed);
    let (rated, series) = (rated.value(), series.value().round().max(1.0));
    let mut builder = Builder::new(facts, lid, ambient);
    builder.strings = strings_drawn(facts)?;
    // A string beside one with a bad joint carries more than that range says.
    builder.lacks.extend((builder.strings > 1).then(|| Missing::refused(strings::NARROWS)));
    builder.assumed = assumed;
    (builder.air, builder.wall) = (builder.network.point(), builder.network.point());
    if facts.record.claims.rated_ambient.is_recorded() {
        builder.claims.push("claims.rated_ambient".to_owned());
    }
    builder.inside = Some(builder.case(series, capacity.value()).map_err(refused)?);
    let steps = builder.steps();
    let inside = builder.in_strings(&steps)?;
    builder.path(&steps, inside, rated, series, capacity.value()).map_err(refused)?;
    builder.done(rated, capacity.value())
}

/// How many strings are drawn side by side; what is missing where they cannot be.
fn strings_drawn(facts: &Facts<'_>) -> Result<usize, Vec<Missing>> {
    let Some(strings) = several(facts) else { return Ok(1) };
    let elements = 0..facts.record.path.element.len();
    let missing: Vec<Missing> =
        elements.filter_map(|index| strings_of(facts, index).err()).flatten().collect();
    if !missing.is_empty() {
        return Err(capped(missing));
    }
    if strings > MOST_STRINGS as f64 {
        let what = format!("how {strings} strings share the current: {MOST_STRINGS} at most are drawn");
        return Err(vec![Missing::refused(&what)]);
    }
    let mut work = Worker::new(facts);
    let parallel = work.amount("cells.parallel");
    let [parallel] = work.all([parallel])?;
    if (parallel.value() / strings).fract() != 0.0 {
        let what = format!("{} cells in parallel do not make {strings} strings alike", parallel.show());
        return Err(vec![Missing::refused(&what)]);
    }
    Ok(strings as usize)
}

/// What a calculation gives of a link: the temperatures of its ends, and the film at its surface.
pub(crate) const LINK_ENDS: [&str; 2] = ["link.end", "link.other_end"];
pub(crate) const LINK_FILM: &str = "link.film";

/// Draws a bar or a cable by itself between two ends that are held at temperatures, in the air around it: a link of whose
/// partners nothing but their warmth is known. None where no such temperature is given.
pub(super) fn link(facts: &Facts<'_>) -> Option<Result<Pack, Vec<Missing>>> {
    let given = |name: &str| facts.worked(name)?.as_ref().ok()?.value.amount().cloned();
    let first = given(LINK_ENDS[0])?;
    let ends = [first.clone(), given(LINK_ENDS[1]).unwrap_or(first)];
    let draw = || {
        let mut work = Worker::new(facts);
        let rated = work.amount("claims.continuous_current");
        let air = work.or_limit("inspection.inner_ambient", "inner_ambient", "the temperature of the air");
        let [rated, air] = work.all([rated, air])?;
        let mut builder = Builder::new(facts, Lid::On, air.value());
        builder.assumed = work.done(rated.clone())?.assumed;
        if let Some(film) = given(LINK_FILM) {
            let (name, half) = (builder.film.name, 3.0_f64.sqrt() * film.number.standard());
            let ends = (film.value() - half, film.value() + half);
            let free = builder.network.free(name, ends.0, ends.1, FreeScope::Surroundings);
            builder.frees.insert(name.to_owned(), free);
        }
        let names = ["temperature of an end", "temperature of the other end"];
        let [from, to] = [0, 1].map(|side: usize| {
            let kelvin = builder.value(names[side], &ends[side]);
            builder.network.held(kelvin)
        });
        let metal =
            |element: &Element| matches!(element.kind(), Some(ElementKind::Busbar | ElementKind::Cable));
        let index = facts.record.path.element.iter().position(metal).unwrap_or_default();
        let bar = match builder.element(index).and_then(Element::kind) {
            Some(ElementKind::Cable) => builder.cable(index, from, to)?,
            _ => {
                let bar = builder.flat_bar(index)?;
                let length = bar.length.into();
                builder.drawn(index, &bar, from, to, length)
            }
        };
        builder.limited_bar(index, bar).map_err(refused)?;
        builder.network.terminals(from, to);
        // It has no charge of its own; an hour serves what asks for one.
        builder.done(rated.value(), rated.value() * 3600.0)
    };
    Some(draw())
}

fn refused(refusal: NetworkRefusal) -> Vec<Missing> {
    vec![Missing::refused(&refusal.to_string())]
}

impl<'a> Builder<'a> {
    /// Nothing but the room, which stands for the air and the wall as well.
    fn new(facts: &'a Facts<'a>, lid: Lid, ambient: f64) -> Self {
        let mut network = Network::new();
        let room_free = network.free("room", ambient, ambient, FreeScope::Surroundings);
        let start = network.free("start", ambient, ambient, FreeScope::Surroundings);
        let room = network.held(room_free);
        network.start(start);
        // Who did not say what holds the cells may have a case full of foam.
        let film = match (lid, facts.record.enclosure.retention.known()) {
            (_, Some(Retention::Foam | Retention::Adhesive)) => stand_in::FILM_IN_FOAM,
            (Lid::On, None) => stand_in::FILM_NOT_KNOWN,
            (Lid::On, Some(_)) => stand_in::FILM_INSIDE,
            (Lid::Off, _) => stand_in::FILM_OPEN,
        };
        Self {
            facts,
            network,
            frees: BTreeMap::new(),
            places: Vec::new(),
            unknown: BTreeMap::new(),
            assumed: Vec::new(),
            claims: vec!["claims.continuous_current".to_owned()],
            air: room,
            inside: None,
            wall: room,
            room,
            room_free,
            start,
            ambient,
            lid,
            film,
            beside: BTreeMap::new(),
            strings: 1,
            again: false,
            lacks: Vec::new(),
        }
    }

    fn done(mut self, rated: f64, charge: f64) -> Result<Pack, Vec<Missing>> {
        let lead = self.outside(stand_in::LEAD);
        let Self { network, mut places, unknown, assumed, claims, beside, .. } = self;
        let not_drawn = capped(unknown.values().flatten().cloned());
        for place in &mut places {
            place.lacks.extend(beside.get(&place.element).into_iter().flatten().cloned());
            // A part that could not be drawn may be the hottest, and warms cells and air for all.
            place.lacks.extend(not_drawn.iter().cloned());
        }
        let circuit = Circuit::new(network).map_err(refused)?;
        let (room, start, air, ambient) = (self.room_free, self.start, self.inside, self.ambient);
        Ok(Pack { circuit, places, unknown, assumed, claims, room, start, air, ambient, lead, charge, rated })
    }

    /// A stand-in: the same free quantity wherever it is used under the same name.
    fn free(&mut self, of: StandIn, scope: FreeScope) -> FreeId {
        if let Some(known) = self.frees.get(of.name) {
            return *known;
        }
        let free = self.network.free(of.name, of.ends.0, of.ends.1, scope);
        self.frees.insert(of.name.to_owned(), free);
        self.assumed.push(format!("{}: a range ({})", of.name, of.basis));
        free
    }

    fn inside(&mut self, of: StandIn) -> FreeId {
        self.free(of, FreeScope::Inside)
    }

    fn outside(&mut self, of: StandIn) -> FreeId {
        self.free(of, FreeScope::Surroundings)
    }

    /// A recorded number: a range where it is uncertain.
    fn value(&mut self, name: &str, amount: &Amount) -> NetworkValue {
        let (value, standard) = (amount.value(), amount.number.standard());
        if standard <= UNCERTAIN * value.abs() {
            return value.into();
        }
        let half = (3.0_f64.sqrt() * standard).min(0.9 * value.abs());
        let network = &mut self.network;
        let known = self.frees.entry(name.to_owned());
        (*known.or_insert_with(|| network.free(name, value - half, value + half, FreeScope::Inside))).into()
    }

    /// Facts of an element.
    fn element_facts(&self, index: usize) -> Facts<'a> {
        Facts { subject: Subject::Element(index), ..*self.facts }
    }

    fn element(&self, index: usize) -> Option<&'a Element> {
        self.facts.record.path.element.get(index)
    }

    /// A fact that is used when it is there.
    fn optional(&mut self, facts: &Facts<'_>, name: &str) -> Option<Amount> {
        let work = Worker::new(facts);
        let found = work.optional(name);
        if found.is_some() {
            for claim in facts.claims_of(name) {
                if !self.claims.contains(&claim) {
                    self.claims.push(claim);
                }
            }
        }
        found
    }

    /// The case with the air in it.
    fn case(&mut self, series: f64, charge: f64) -> Result<ElementId, NetworkRefusal> {
        let facts = Facts { subject: Subject::Pack, ..*self.facts };
        let sides = ["length", "width", "height"].map(|side| {
            self.optional(&facts, &format!("inspection.size.{side}")).map(|amount| amount.value())
        });
        let free_surface = self.outside(stand_in::FREE_SURFACE);
        let (area, volume) = match sides {
            [Some(a), Some(b), Some(c)] if a * b * c > 0.0 => {
                (free_surface.times(2.0 * (a * b + b * c + a * c)), a * b * c)
            }
            _ => {
                self.lacks.push(Missing::fact("inspection.size", "", Reason::NotRecorded));
                let volume = series * 3.2 * charge / CASE_DENSITY;
                let cube = 6.0 * volume.powf(2.0 / 3.0);
                (self.outside(stand_in::CASE_SURFACE).times(0.8 * cube), volume)
            }
        };
        let (air, wall, room) = (self.air, self.wall, self.room);
        // Half of the case is air of 1.2 kg/m³ and 1,005 J/(kg·K).
        let inside = self.network.mass("air inside", air, 0.5 * volume * 1.2 * 1005.0, 0.0, None)?;
        // A case of 3 mm of plastic; metal of half that thickness holds as much heat.
        let outer = 6.0 * volume.powf(2.0 / 3.0);
        self.network.mass("case", wall, outer * 3e-3 * PLASTIC, 0.0, None)?;
        let film_outside = self.outside(stand_in::FILM_OUTSIDE);
        let surface = Surface {
            film: Film::Given(film_outside.into()),
            air: room,
            emissivity: 0.9.into(),
            faced: room,
        };
        self.network.face("case outside", wall, area, surface)?;
        let film = self.outside(self.film);
        self.network.link("air to case", air, wall, film.times(0.4 * outer))?;
        if self.lid == Lid::Off {
            self.network.link("open lid", air, room, film.times(outer))?;
        }
        Ok(inside)
    }

    /// A surface inside the case.
    fn surface(&mut self, finish: Option<Finish>) -> Surface {
        let film = self.outside(self.film);
        let emissivity = self.inside(stand_in::emissivity(finish));
        Surface {
            film: Film::Given(film.into()),
            air: self.air,
            emissivity: emissivity.into(),
            faced: self.wall,
        }
    }

    fn metal(&mut self, material: Material) -> Metal {
        let factor = self.inside(stand_in::resistivity(material));
        Metal {
            resistivity: factor.times(material.resistivity().value),
            coefficient: material.temperature_coefficient(),
            conductivity: material.thermal_conductivity().into(),
            capacity: material.density().value * material.specific_heat(),
        }
    }

    /// The steps of the path, with joints where none is recorded.
    fn steps(&self) -> Vec<Step> {
        let elements = &self.facts.record.path.element;
        let in_stack = |element: &Element| {
            element.leg.known() == Some(Leg::Stack) && element.kind() != Some(ElementKind::CellStack)
        };
        let mut steps: Vec<Step> = Vec::new();
        for (index, element) in elements.iter().enumerate().filter(|(_, element)| !in_stack(element)) {
            steps.push(match element.kind() {
                Some(ElementKind::CellStack) => Step::Stack(Some(index)),
                _ => Step::Element(index),
            });
        }
        if !steps.iter().any(|step| matches!(step, Step::Stack(_))) {
            let negative = |step: &Step| {
                matches!(step, Step::Element(index)
                    if elements.get(*index).is_some_and(|e| e.leg.known() == Some(Leg::Negative)))
            };
            let at = steps.iter().rposition(negative).map_or(steps.len(), |last| last + 1);
            steps.insert(at, Step::Stack(None));
        }
        let is_joint = |step: Option<&Step>| match step {
            Some(Step::Element(index)) => matches!(
                elements.get(*index).and_then(Element::kind),
                Some(ElementKind::Joint | ElementKind::Terminal)
            ),
            _ => false,
        };
        let mut whole = Vec::new();
        for (at, step) in steps.iter().enumerate() {
            if at > 0 && !is_joint(Some(step)) && !is_joint(steps.get(at - 1)) {
                whole.push(Step::Joint);
            }
            whole.push(*step);
        }
        whole
    }

    fn path(
        &mut self,
        steps: &[Step],
        inside: Range<usize>,
        rated: f64,
        series: f64,
        charge: f64,
    ) -> Result<(), NetworkRefusal> {
        let (minus, plus) = (self.network.held(self.room_free), self.network.held(self.room_free));
        let mut at = self.lead("negative lead outside", minus, rated)?;
        at = self.walk(steps, 0..inside.start, at, None, series, charge)?;
        let merge = self.network.point();
        for string in 0..self.strings {
            self.again = string > 0;
            self.walk(steps, inside.clone(), at, Some(merge), series, charge)?;
        }
        self.again = false;
        at = self.walk(steps, inside.end..steps.len(), merge, None, series, charge)?;
        self.lead_to("positive lead outside", at, plus, rated)?;
        self.network.terminals(minus, plus);
        Ok(())
    }

    /// The steps that each string has of its own; those of a single one count as such, from its cells on.
    fn in_strings(&self, steps: &[Step]) -> Result<Range<usize>, Vec<Missing>> {
        let own = |step: &Step| match step {
            Step::Element(index) => strings_of(self.facts, *index).is_ok_and(|strings| strings > 1.0),
            Step::Stack(_) => true,
            Step::Joint => false,
        };
        let first = steps.iter().position(own).unwrap_or_default();
        let last = steps.iter().rposition(own).unwrap_or_default();
        let is_apart = |step: &&Step| matches!(step, Step::Element(_)) && !own(step);
        if let Some(Step::Element(index)) = steps[first..=last].iter().find(is_apart) {
            let name = element_label(self.facts.record, *index);
            let what =
                format!("how the strings divide: {name} stands between their parts and not in each of them");
            return Err(vec![Missing::refused(&what)]);
        }
        Ok(first..last + 1)
    }

    /// Draws some steps from a point on; the last of them ends at the given point, where there is one.
    fn walk(
        &mut self,
        steps: &[Step],
        range: Range<usize>,
        from: Point,
        to: Option<Point>,
        series: f64,
        charge: f64,
    ) -> Result<Point, NetworkRefusal> {
        let mut at = from;
        for place in range.clone() {
            let step = &steps[place];
            let next = match to {
                Some(to) if place + 1 == range.end => to,
                _ => self.network.point(),
            };
            let neighbour = |step: Option<&Step>| match step {
                Some(Step::Element(index)) => Some(*index),
                Some(Step::Stack(index)) => *index,
                _ => None,
            };
            let before = place.checked_sub(1).and_then(|place| neighbour(steps.get(place)));
            let after = neighbour(steps.get(place + 1));
            match *step {
                Step::Joint => self.joint(None, at, next, before, after)?,
                Step::Stack(index) => self.stack(index, at, next, series, charge)?,
                Step::Element(index) => self.one(index, at, next, before, after)?,
            }
            at = next;
        }
        Ok(at)
    }

    /// A lead outside, from where it is as warm as the room to the terminal.
    fn lead(&mut self, name: &str, held: Point, rated: f64) -> Result<Point, NetworkRefusal> {
        let terminal = self.network.point();
        self.lead_to(name, terminal, held, rated)?;
        Ok(terminal)
    }

    fn lead_to(
        &mut self,
        name: &str,
        terminal: Point,
        held: Point,
        rated: f64,
    ) -> Result<(), NetworkRefusal> {
        let metal = self.metal(Material::Copper);
        let area = self.outside(stand_in::LEAD).times(rated.max(1.0));
        let film = self.outside(stand_in::FILM_OUTSIDE);
        let surface = Surface {
            film: Film::Given(film.into()),
            air: self.room,
            emissivity: 0.9.into(),
            faced: self.room,
        };
        self.network.bar(Bar {
            name: name.to_owned(),
            from: terminal,
            to: held,
            length: LEAD_LENGTH.into(),
            section: CrossSection::Round { area },
            metal,
            cover: None,
            surface: Some(surface),
            limit: None,
        })?;
        Ok(())
    }

    /// One element between two points.
    fn one(
        &mut self,
        index: usize,
        from: Point,
        to: Point,
        before: Option<usize>,
        after: Option<usize>,
    ) -> Result<(), NetworkRefusal> {
        let Some(kind) = self.element(index).and_then(Element::kind) else {
            let missing =
                vec![Missing::of_element("element.kind", self.facts.record, index, Reason::NotVisible)];
            return self.unknown_part(index, (from, to), [before, after], missing);
        };
        match kind {
            ElementKind::Busbar => match self.flat_bar(index) {
                Ok(bar) => self.bar(index, &bar, from, to, before, after),
                Err(missing) => self.unknown_part(index, (from, to), [before, after], missing),
            },
            ElementKind::Cable => match self.cable(index, from, to) {
                Ok(bar) => self.limited_bar(index, bar),
                Err(missing) => self.unknown_part(index, (from, to), [before, after], missing),
            },
            ElementKind::Joint | ElementKind::Terminal => self.joint(Some(index), from, to, before, after),
            ElementKind::CellStack => Ok(()),
            ElementKind::Fuse
            | ElementKind::CircuitBreaker
            | ElementKind::ThermalCutoff
            | ElementKind::Contactor
            | ElementKind::Shunt
            | ElementKind::Connector
            | ElementKind::Bms => self.device(index, kind, from, to),
        }
    }

    /// A part of which nothing is known that heat and current ask for: as good a one as there is, for what lies beside it
    /// is then said to become at least so warm.
    fn unknown_part(
        &mut self,
        index: usize,
        (from, to): (Point, Point),
        beside: [Option<usize>; 2],
        missing: Vec<Missing>,
    ) -> Result<(), NetworkRefusal> {
        let resistance = Resistance::constant(self.inside(stand_in::UNKNOWN_PART_AT_LEAST));
        let conductance = self.inside(stand_in::DEVICE_CONDUCTANCE).into();
        for beside in beside.into_iter().flatten().filter(|_| !self.again) {
            self.beside.entry(beside).or_default().extend(missing.clone());
        }
        self.unknown.insert(index, missing);
        let name = element_label(self.facts.record, index);
        let at = self.network.point();
        let device =
            Device { name, from, to, at, resistance, conductance, capacity: 10.0.into(), limit: None };
        self.network.device(device)?;
        self.body(at)
    }

    /// What a part of no known form gives to the air inside.
    fn body(&mut self, at: Point) -> Result<(), NetworkRefusal> {
        let (area, film) = (self.inside(stand_in::BODY), self.outside(self.film));
        let emissivity = self.inside(stand_in::BODY_EMISSIVITY).into();
        let surface = Surface { film: Film::Given(film.into()), air: self.air, emissivity, faced: self.wall };
        self.network.face("body", at, area, surface)?;
        Ok(())
    }

    /// Remembers a place.
    fn place(&mut self, element: usize, id: ElementId, what: &'static str, limit: Answer) {
        if !self.again {
            self.places.push(PlaceOf { element, id, what, limit, lacks: self.lacks.clone() });
        }
    }

    /// Measured resistance of an element, Ω.
    fn measured(&mut self, index: usize) -> Option<Amount> {
        let facts = self.element_facts(index);
        if let Some(found) = self.optional(&facts, "element.resistance") {
            return Some(found);
        }
        let (drop, current) =
            (self.optional(&facts, "element.drop")?, self.optional(&facts, "element.drop_current")?);
        (current.value() > 0.0).then(|| Amount {
            number: drop.number.over(&current.number),
            dimension: crate::units::Dimension::RESISTANCE,
        })
    }

    /// Size and metal of a bar.
    fn flat_bar(&mut self, index: usize) -> Result<FlatBar, Vec<Missing>> {
        let facts = self.element_facts(index);
        let mut work = Worker::new(&facts);
        let width = work.amount("element.section.width");
        let thickness = work.amount("element.section.thickness");
        let length = work.amount("element.length");
        let material = work.word("element.material");
        let count = work.count_or_one("element.count", "the number of bars side by side").value();
        let stacked = work.count_or_one("element.stacked", "the number of stacked bars").value();
        let [width, thickness, length] = work.all([width, thickness, length])?;
        let Some(material) = material.as_deref().and_then(Material::from_word) else {
            return Err(work.take_missing());
        };
        // A count that is withheld is no count of one.
        work.done(thickness.clone())?;
        let name = element_label(self.facts.record, index);
        let thickness_value = self.value(&format!("thickness of {name}"), &thickness);
        let metal = match self.measured(index) {
            // What was measured sets the resistivity: the size then only says how heat flows.
            Some(resistance) => {
                let metal = self.metal(material);
                let area = width.value() * count * thickness.value() * stacked;
                let measured = self.value(&format!("resistance of {name}"), &resistance);
                Metal { resistivity: measured.scaled(area / length.value()), ..metal }
            }
            None => self.metal(material),
        };
        Ok(FlatBar {
            section: CrossSection::Flat {
                width: self.side_by_side(count).scaled(width.value()),
                thickness: thickness_value.scaled(stacked),
            },
            length: length.value(),
            metal,
            finish: self.element(index).and_then(|element| element.finish.known()),
        })
    }

    /// How many conductors carry the current, of some side by side.
    fn side_by_side(&mut self, count: f64) -> NetworkValue {
        if count > 1.0 { self.inside(stand_in::SIDE_BY_SIDE).times(count) } else { 1.0.into() }
    }

    /// Length of the overlap of a recorded joint, m.
    fn overlap(&mut self, joint: Option<usize>) -> Option<f64> {
        let index = joint?;
        let facts = self.element_facts(index);
        self.optional(&facts, "element.overlap.width").map(|amount| amount.value())
    }

    fn bar(
        &mut self,
        index: usize,
        bar: &FlatBar,
        from: Point,
        to: Point,
        before: Option<usize>,
        after: Option<usize>,
    ) -> Result<(), NetworkRefusal> {
        let overlaps: f64 = [before, after].into_iter().filter_map(|joint| self.overlap(joint)).sum();
        let both = self.overlap(before).is_some() && self.overlap(after).is_some();
        let length: NetworkValue = if both && overlaps < 0.8 * bar.length {
            (bar.length - overlaps).into()
        } else {
            self.inside(stand_in::BETWEEN_ENDS).times(bar.length - overlaps.min(0.4 * bar.length))
        };
        let drawn = self.drawn(index, bar, from, to, length);
        self.limited_bar(index, drawn)
    }

    fn drawn(&mut self, index: usize, bar: &FlatBar, from: Point, to: Point, length: NetworkValue) -> Bar {
        Bar {
            name: element_label(self.facts.record, index),
            from,
            to,
            length,
            section: bar.section,
            metal: bar.metal,
            cover: None,
            surface: Some(self.surface(bar.finish)),
            limit: None,
        }
    }

    /// Adds a bar or a cable with its limit.
    fn limited_bar(&mut self, index: usize, mut bar: Bar) -> Result<(), NetworkRefusal> {
        let facts = self.element_facts(index);
        let kind = self.element(index).and_then(Element::kind).unwrap_or(ElementKind::Busbar);
        let limit = limits::of(&facts, kind);
        bar.limit = limits::value(&limit);
        let id = self.network.bar(bar)?;
        self.place(index, id, "", limit);
        Ok(())
    }

    fn cable(&mut self, index: usize, from: Point, to: Point) -> Result<Bar, Vec<Missing>> {
        let facts = self.element_facts(index);
        let mut work = Worker::new(&facts);
        let (size, length) = (work.amount("element.size"), work.amount("element.length"));
        let count = work.count_or_one("element.count", "the number of cables in parallel").value();
        let material = work.optional_word("element.material").and_then(|word| Material::from_word(&word));
        let [size, length] = work.all([size, length])?;
        let metal = self.metal(material.unwrap_or(Material::Copper));
        let film = self.outside(self.film);
        let insulation = self.inside(stand_in::INSULATION);
        Ok(Bar {
            name: element_label(self.facts.record, index),
            from,
            to,
            length: length.value().into(),
            section: CrossSection::Round { area: self.side_by_side(count).scaled(size.value()) },
            metal,
            // Insulation of building and battery cables of 10 to 95 mm²: 1.0 to 2 mm.
            cover: Some(Cover {
                thickness: 1.5e-3.into(),
                conductivity: insulation.into(),
                capacity: PLASTIC,
            }),
            surface: Some(Surface {
                film: Film::Given(film.into()),
                air: self.air,
                emissivity: 0.9.into(),
                faced: self.wall,
            }),
            limit: None,
        })
    }

    /// A joint, a terminal, or a joint that is not recorded.
    fn joint(
        &mut self,
        index: Option<usize>,
        from: Point,
        to: Point,
        before: Option<usize>,
        after: Option<usize>,
    ) -> Result<(), NetworkRefusal> {
        let measured = index.and_then(|index| self.measured(index));
        let name = index
            .map_or("joint that is not recorded".to_owned(), |index| element_label(self.facts.record, index));
        let resistance = match &measured {
            Some(amount) => {
                let ohms = self.value(&format!("resistance of {name}"), amount);
                Resistance { ohms, coefficient: METALLIC.into(), reference: ZERO_CELSIUS + 25.0 }
            }
            None => Resistance::constant(self.inside(stand_in::JOINT)),
        };
        let length = self.overlap(index);
        let mut overlaps = [None, None];
        for (side, bar) in overlaps.iter_mut().zip([before, after]) {
            let flat =
                bar.filter(|bar| self.element(*bar).and_then(Element::kind) == Some(ElementKind::Busbar));
            if let (Some(length), Some(bar)) = (length, flat.and_then(|bar| self.flat_bar(bar).ok()))
                && length < 0.8 * bar.length
            {
                let surface = Some(self.surface(bar.finish));
                *side =
                    Some(Overlap { length: length.into(), section: bar.section, metal: bar.metal, surface });
            }
        }
        let limit = index.map(|index| {
            let kind = self.element(index).and_then(Element::kind).unwrap_or(ElementKind::Joint);
            let finish = [before, after]
                .map(|side| side.and_then(|bar| self.element(bar)).and_then(|bar| bar.finish.known()));
            limits::of_joint(&self.element_facts(index), kind, finish)
        });
        let conductance = self.inside(stand_in::JOINT_CONDUCTANCE).into();
        let id = self.network.joint(Joint {
            name,
            from,
            to,
            overlaps,
            resistance,
            metallic: true,
            conductance,
            limit: limit.as_ref().and_then(limits::value),
        })?;
        if let (Some(index), Some(limit)) = (index, limit) {
            self.place(index, id, "", limit);
            self.not_measured(index, measured.is_none());
        }
        if measured.is_none() && !self.again {
            let missing = match index {
                Some(index) => not_measured(self.facts, index),
                None => {
                    let beside = [before, after].into_iter().flatten();
                    let beside: Vec<String> =
                        beside.map(|index| element_label(self.facts.record, index)).collect();
                    Missing::refused(&format!(
                        "resistance of a joint that is not recorded, at {}",
                        beside.join(" and ")
                    ))
                }
            };
            for beside in [before, after].into_iter().flatten() {
                self.beside.entry(beside).or_default().push(missing.clone());
            }
        }
        Ok(())
    }

    /// Notes that the resistance of the last place was not measured: a bad joint has far more than a usual one.
    fn not_measured(&mut self, index: usize, lacks: bool) {
        if let Some(place) = self.places.last_mut().filter(|_| lacks && !self.again) {
            place.lacks.push(not_measured(self.facts, index));
        }
    }

    fn device(
        &mut self,
        index: usize,
        kind: ElementKind,
        from: Point,
        to: Point,
    ) -> Result<(), NetworkRefusal> {
        let facts = self.element_facts(index);
        let name = element_label(self.facts.record, index);
        let reference = ZERO_CELSIUS + 25.0;
        let coefficient: NetworkValue = match kind {
            ElementKind::Bms => self.inside(stand_in::BMS_SLOPE).into(),
            ElementKind::Shunt => 0.0.into(),
            _ => METALLIC.into(),
        };
        let measured = self.measured(index);
        let lacks = measured.is_none();
        let ohms = match measured {
            Some(amount) => self.value(&format!("resistance of {name}"), &amount),
            None => match kind {
                ElementKind::Bms => self.bms_resistance(),
                ElementKind::Fuse | ElementKind::CircuitBreaker => {
                    match self.optional(&facts, "element.rating").filter(|rating| rating.value() > 0.0) {
                        Some(rating) => self.inside(stand_in::FUSE_DROP).times(1.0 / rating.value()),
                        None => self.inside(stand_in::DEVICE).into(),
                    }
                }
                _ => self.inside(stand_in::DEVICE).into(),
            },
        };
        let at = self.network.point();
        let limit = limits::of(&facts, kind);
        let conductance = if kind == ElementKind::Bms {
            self.inside(stand_in::BMS_TO_ENDS).into()
        } else {
            // Even heat along a length of metal: its middle is above its ends by P·R/(12·L·T) on the mean.
            let middle = self.network.middle_of(ohms).max(1e-6);
            self.inside(stand_in::ALONG_METAL).times(6.0 * LORENZ * DEVICE_KELVIN / middle)
        };
        let device = Device {
            name,
            from,
            to,
            at,
            resistance: Resistance { ohms, coefficient, reference },
            conductance,
            capacity: if kind == ElementKind::Bms {
                self.inside(stand_in::BMS_HEAT).into()
            } else {
                20.0.into()
            },
            limit: limits::value(&limit),
        };
        let id = self.network.device(device)?;
        self.place(index, id, "", limit);
        self.not_measured(index, lacks);
        if kind == ElementKind::Bms {
            return self.bms_heat(at);
        }
        self.body(at)
    }

    /// Resistance of a BMS that nobody measured: its switching devices and what lies beside them.
    fn bms_resistance(&mut self) -> NetworkValue {
        let facts = Facts { subject: Subject::Pack, ..*self.facts };
        let names = ["bms.device_resistance", "bms.switching_devices", "bms.devices_in_series"];
        match names.map(|name| self.optional(&facts, name)) {
            [Some(each), Some(parallel), Some(in_series)] if parallel.value() > 0.0 => {
                let devices = each.value() * in_series.value() / parallel.value();
                // The board's range is shifted by what the devices have.
                let board = stand_in::BMS_BOARD;
                let ends = (devices + board.ends.0, devices + board.ends.1);
                self.inside(StandIn {
                    name: "resistance of the BMS, from its switching devices",
                    ends,
                    ..board
                })
                .into()
            }
            _ => self.inside(stand_in::BMS).into(),
        }
    }

    /// The way of the BMS's heat: by its recorded layers, or to the air inside.
    fn bms_heat(&mut self, at: Point) -> Result<(), NetworkRefusal> {
        let facts = Facts { subject: Subject::Pack, ..*self.facts };
        let layers = facts.worked("bms.heat_path_resistance").cloned().unwrap_or_else(|| Err(Vec::new()));
        let on_lid = self.facts.record.bms.heat_sink_on_lid.yes() == Some(true);
        let whole = self.facts.record.bms.heat_path_complete.yes() == Some(true);
        let known =
            layers.ok().and_then(|worked| worked.value.amount().map(Amount::value)).filter(|r| *r > 0.0);
        match known {
            Some(resistance) if whole && !(on_lid && self.lid == Lid::Off) => {
                let factor = self.outside(stand_in::HEAT_PATH);
                // The factor is on a resistance; its inverse spans the same range of conductances.
                let (low, high) = stand_in::HEAT_PATH.ends;
                let conductance = factor.times(1.0 / (low * high * resistance));
                self.network.link("heat path of the BMS", at, self.room, conductance)?;
            }
            _ => {
                let conductance = self.outside(stand_in::BMS_TO_AIR);
                self.network.link("BMS to the air inside", at, self.air, conductance)?;
            }
        }
        Ok(())
    }

    /// The stack: cells with the recorded links between them, and all other cells as one.
    fn stack(
        &mut self,
        index: Option<usize>,
        minus: Point,
        plus: Point,
        series: f64,
        charge: f64,
    ) -> Result<(), NetworkRefusal> {
        let facts = Facts { subject: Subject::Pack, ..*self.facts };
        let parallel = self.optional(&facts, "cells.parallel").map_or(1.0, |amount| amount.value().max(1.0));
        let capacity = charge / parallel;
        // That of one string, with all of them in the stack.
        let parallel = parallel / self.strings as f64;
        let mass = match self.optional(&facts, "cells.mass") {
            Some(mass) => mass.value(),
            None => 0.5 * (stand_in::CELL_MASS.ends.0 + stand_in::CELL_MASS.ends.1) * capacity,
        };
        let heat = self.inside(stand_in::CELL_HEAT);
        let recorded = self.optional(&facts, "cells.resistance").filter(|amount| amount.value() > 0.0);
        let ohms = match recorded {
            Some(resistance) => self.inside(stand_in::CELL_DIRECT).times(resistance.value() / parallel),
            None => self.inside(stand_in::CELL_FROM_CAPACITY).times(1.0 / (capacity * parallel)),
        };
        let minus = if self.again { self.more_than_the_first(minus, ohms.scaled(series))? } else { minus };
        let slope = self.inside(stand_in::CELL_SLOPE);
        let face = mass.powf(2.0 / 3.0) * parallel;
        let to_case = self.outside(stand_in::CELL_TO_CASE);
        let to_cell = self.inside(stand_in::CELL_TO_CELL);
        let (post_limit, cell_limit) = (limits::post(&facts), limits::cell(&facts));
        let (groups, links) = self.links(series);
        let mut last: Option<(Point, Point)> = None;
        let number = groups.len();
        for (group, cells) in groups.into_iter().enumerate() {
            let core = self.network.point();
            let from = if group == 0 { minus } else { self.network.point() };
            let to = if group + 1 == number { plus } else { self.network.point() };
            if let Some((before, core_before)) = last {
                self.link(links.get(group - 1).copied().unwrap_or_default(), before, from)?;
                self.network.link("cell to cell", core_before, core, to_cell.times(face))?;
            }
            let post = Post {
                ohms: self.inside(stand_in::POST_RESISTANCE).times(1.0 / parallel),
                conductance: self.inside(stand_in::POST_CONDUCTANCE).times(parallel),
            };
            let reversible = self.inside(stand_in::REVERSIBLE).times(cells);
            let id = self.network.cell(Cell {
                name: "cells".to_owned(),
                minus: from,
                plus: to,
                core,
                resistance: Resistance {
                    ohms: ohms.scaled(cells),
                    coefficient: slope.into(),
                    reference: ZERO_CELSIUS + 25.0,
                },
                overvoltage: 0.0.into(),
                reversible,
                posts: [post, post],
                capacity: heat.times(mass * parallel * cells),
                limit: limits::value(&cell_limit),
            })?;
            self.network.link("cell to case", core, self.wall, to_case.times(face * cells))?;
            if let Some(index) = index {
                self.place(index, id, "cells", cell_limit.clone());
                for point in [from, to] {
                    // A post and the nut on it: 10 to 60 g of metal.
                    let id = self.network.mass("post", point, 20.0, 0.0, limits::value(&post_limit))?;
                    self.place(index, id, "a cell's post", post_limit.clone());
                }
            }
            last = Some((to, core));
            // The links within the mass are not drawn one by one; what they make goes into it.
            if cells > 1.0 {
                let next = self.network.point();
                let resistance = Resistance::constant(self.inside(stand_in::LINK).times(cells - 1.0));
                let (name, conductance, capacity) = ("links between the other cells", 0.0.into(), 0.0.into());
                let name = name.to_owned();
                let device = Device {
                    name,
                    from: to,
                    to: next,
                    at: core,
                    resistance,
                    conductance,
                    capacity,
                    limit: None,
                };
                self.network.device(device)?;
                self.network.link("onward", to, next, ONWARD)?;
                last = Some((next, core));
            }
        }
        Ok(())
    }

    /// What a string resists more than the first one, which is the warmest as it carries the most.
    fn more_than_the_first(&mut self, from: Point, string: NetworkValue) -> Result<Point, NetworkRefusal> {
        let more = StandIn {
            name: "resistance that the other strings have beyond that of the first",
            ends: (1e-3, 0.43),
            basis: "no source: cells of one lot and age differ by up to 15 %, joints and leads of a string by as much again",
        };
        let to = self.network.point();
        let resistance = Resistance::constant(self.inside(more).times(self.network.middle_of(string)));
        self.network.device(Device {
            name: more.name.to_owned(),
            from,
            to,
            at: self.air,
            resistance,
            conductance: 0.0.into(),
            capacity: 0.0.into(),
            limit: None,
        })?;
        self.network.link("onward", from, to, ONWARD)?;
        Ok(to)
    }

    /// How many cells stand between the links that are drawn, and those links. One recorded link stands for all of them
    /// and is drawn at both ends of the stack; several stand for themselves, in their order.
    fn links(&mut self, series: f64) -> (Vec<f64>, Vec<Link>) {
        let elements = self.facts.record.path.element.iter().enumerate();
        let of_stack: Vec<(usize, Option<ElementKind>)> = elements
            .filter(|(_, element)| element.leg.known() == Some(Leg::Stack))
            .map(|(index, element)| (index, element.kind()))
            .filter(|(_, kind)| *kind != Some(ElementKind::CellStack))
            .collect();
        let is_joint = |at: Option<usize>| {
            at.and_then(|at| of_stack.get(at)).filter(|(_, kind)| *kind == Some(ElementKind::Joint))
        };
        let joints: Vec<usize> =
            (0..of_stack.len()).filter_map(|at| is_joint(Some(at))).map(|j| j.0).collect();
        let mut links: Vec<Link> = (0..of_stack.len())
            .filter(|at| is_joint(Some(*at)).is_none())
            .map(|at| {
                let sides = [at.checked_sub(1), Some(at + 1)].map(|at| is_joint(at).map(|joint| joint.0));
                // One joint stands for all of them, too.
                let joints = if let [joint] = joints[..] { [Some(joint); 2] } else { sides };
                Link { bar: Some(of_stack[at].0), joints }
            })
            .collect();
        if links.is_empty() {
            links.push(Link { bar: None, joints: [joints.first().copied(); 2] });
        }
        let between = series as usize - 1;
        for link in links.iter().skip(between.clamp(1, MOST_LINKS)) {
            for index in link.joints.into_iter().chain([link.bar]).flatten() {
                let what = format!(
                    "{series} cells in series have {between} links between them, of which {MOST_LINKS} at most are \
                     drawn one by one: list one link that stands for alike ones"
                );
                self.unknown.insert(index, vec![Missing::refused(&what)]);
            }
        }
        links.truncate(between.clamp(1, MOST_LINKS));
        let drawn: Vec<usize> =
            links.iter().flat_map(|link| link.joints.into_iter().chain([link.bar])).flatten().collect();
        for joint in joints.into_iter().filter(|joint| !drawn.contains(joint)) {
            let what = "which link it belongs to: list a link's joints right before and after it";
            self.unknown.entry(joint).or_insert_with(|| vec![Missing::refused(what)]);
        }
        if between < 2 || links.len() == between {
            return (vec![1.0; between + 1], links);
        }
        if links.len() == 1 {
            links.push(links[0]);
        }
        let mut groups = vec![1.0; links.len() + 1];
        groups[1] = series - links.len() as f64;
        (groups, links)
    }

    /// A link between two cells: the recorded conductor with a joint at each end, or a joint that is not known.
    fn link(&mut self, link: Link, from: Point, to: Point) -> Result<(), NetworkRefusal> {
        let Some(index) = link.bar else {
            return self.joint(link.joints[0], from, to, None, None);
        };
        let [a, b] = [0; 2].map(|_| self.network.point());
        self.joint(link.joints[0], from, a, None, Some(index))?;
        self.one(index, a, b, link.joints[0], link.joints[1])?;
        self.joint(link.joints[1], b, to, Some(index), None)
    }
}

/// A link between two cells: its bar or cable, and its joints.
#[derive(Debug, Clone, Copy, Default)]
struct Link {
    bar: Option<usize>,
    joints: [Option<usize>; 2],
}

/// Size and metal of a flat bar.
struct FlatBar {
    section: CrossSection,
    length: f64,
    metal: Metal,
    finish: Option<Finish>,
}
