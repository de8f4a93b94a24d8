//! What follows from the network: currents with their time, and the temperature of each place at the rated current.

use std::sync::{Mutex, PoisonError};

use sha2::{Digest, Sha256};

use super::build::{Lid, Pack, PlaceOf, link, pack};
use super::limits;
use super::measured::{Followed, Measured, number};
use crate::judge::facts::block::Block;
use crate::judge::facts::worker::Worker;
use crate::judge::facts::{Answer, Facts, Missing, Side, Subject, Val, element_label};
use crate::record::parts::{Element, ElementKind};
use crate::thermal::{
    Duty, ElementId, NetworkRefusal, PermissibleRange, Phase, Range, Spread, TemperatureRanges, ThermalState,
};
use crate::units::{Amount, Dimension, SourceId, show, significant};

/// A quarter of an hour, s: what a full-load test holds at least.
const QUARTER: f64 = 900.0;
/// Times that are asked for.
const TIMES: usize = 3;
/// Currents over the rated one at which the network is solved for the permissible current of each place.
const CURRENTS: [f64; 5] = [0.5, 1.0, 1.6, 2.8, 5.0];
/// What a curve of rises may be wrong by where it goes on beyond the last current with an answer, as a part of the
/// current: solved cases miss by up to 4 %, always to the higher side, as rises grow faster than any power.
const BEYOND: f64 = 0.04;
/// Least share of the spread that is told.
const TOLD_SHARE: f64 = 0.05;

/// What follows from the network, for the path and for each element.
#[derive(Debug, Clone, Default)]
pub(crate) struct Of {
    pub path: Vec<(&'static str, Answer)>,
    pub elements: Vec<(usize, &'static str, Answer)>,
    pub places: Vec<PlaceTold>,
}

/// A place of the path with its temperatures, in the order from the negative terminal to the positive one.
#[derive(Debug, Clone)]
pub(crate) struct PlaceTold {
    /// The element of the path.
    pub element: usize,
    /// What of the element: "cells" or "a cell's post" of a stack; empty for the element itself.
    pub what: &'static str,
    /// Highest temperature that it may reach, with its source in the working.
    pub limit: Answer,
    /// After one full discharge at the rated current, with its range.
    pub at_rated: Answer,
    /// The highest temperature that was read there, brought to the rated current and a room of 25 °C, with its range;
    /// none where no test read one.
    pub measured: Option<Answer>,
}

/// Names of the facts of an element, with the times they are of.
const TEMPERATURES: [&str; TIMES] =
    ["element.temperature_quarter_hour", "element.temperature_at_rated", "element.temperature_steady"];
/// Names of the permissible currents of an element: for one full discharge, and without end.
const PERMISSIBLE: [&str; 2] = ["element.permissible_current", "element.permissible_without_end"];
/// Names of the currents of the path: for one full discharge at the ambient of the rating, without end, for the claimed
/// peak, and for one full discharge in a hot room and at the hottest the maker allows; of the time to a limit, and of
/// the temperature of the air inside.
const PATH: [&str; 7] = [
    "path.permissible_for_discharge",
    "path.permissible_without_end",
    "path.permissible_peak",
    "path.permissible_when_hot",
    "path.permissible_at_hottest",
    "path.time_to_limit",
    "path.air_temperature_at_rated",
];

/// What costs most of what only a write-up tells.
pub(crate) const TOLD_ONLY: [&str; 7] =
    [PATH[1], PATH[3], PATH[4], PATH[5], TEMPERATURES[0], TEMPERATURES[2], PERMISSIBLE[1]];

/// Whether the permissible current of a kind follows from its temperature, and not from what is printed on it.
pub(crate) fn heated(kind: Option<ElementKind>) -> bool {
    matches!(kind, Some(ElementKind::Busbar | ElementKind::Cable | ElementKind::Joint))
}

/// Works the pack out as a network.
pub(crate) fn of(facts: &Facts<'_>, measured: &[Measured]) -> Of {
    let link = link(facts);
    let endless = link.is_some();
    let built = match link.unwrap_or_else(|| pack(facts, Lid::On)) {
        Ok(built) => built,
        Err(missing) => {
            let mut of = Of::default();
            of.path.push(("path.temperature_readings", number(facts, measured, None)));
            for index in 0..facts.record.path.element.len() {
                let number = number(facts, measured, Some(index));
                of.elements.push((index, "element.temperature_readings", number));
            }
            of.nothing_follows(facts, &missing);
            return of;
        }
    };
    let mut measured = measured.to_vec();
    measured.extend(super::measured::by_hand(facts, built.ambient));
    // Of many packs each is solved once.
    if facts.derived.is_for_tables() && !endless {
        return solve(facts, &built, &measured, &facts.derived.left_out);
    }
    // Who fills a record asks again after every answer, and few answers change the network.
    let record = facts.record;
    let elements = record.path.element.iter().enumerate();
    let elements: Vec<_> =
        elements.map(|(index, element)| (element.kind(), element_label(record, index))).collect();
    let claims = (record.claims.peak_duration.quantity(), record.claims.discharge_temperature_max.quantity());
    let limits = ["hot_ambient", "near_rated"].map(|name| facts.fact(&format!("limit.{name}")).ok());
    let open = (record.bms.heat_sink_on_lid.yes(), record.enclosure.retention.known());
    let rest = (open, super::measured::rig_lead(facts), claims, limits, elements);
    let asked: [u8; 32] = Sha256::digest(format!("{built:?}{measured:?}{rest:?}")).into();
    if let Some((_, of)) =
        LAST.lock().unwrap_or_else(PoisonError::into_inner).iter().find(|(known, _)| *known == asked)
    {
        return of.clone();
    }
    let mut of = solve(facts, &built, &measured, &[]);
    if endless {
        of.without_end();
    }
    let mut last = LAST.lock().unwrap_or_else(PoisonError::into_inner);
    last.truncate(KEPT - 1);
    last.insert(0, (asked, of.clone()));
    of
}

impl Of {
    /// What has no charge of its own is judged without end.
    fn without_end(&mut self) {
        let times = [TEMPERATURES[0], TEMPERATURES[1], PERMISSIBLE[0], PERMISSIBLE[1]];
        self.elements.retain(|(_, name, _)| !times.contains(name));
        let steady = self.elements.iter_mut().filter(|(_, name, _)| *name == TEMPERATURES[2]);
        steady.for_each(|(_, name, _)| *name = TEMPERATURES[1]);
        let judged = self.elements.iter().find(|(_, name, _)| *name == TEMPERATURES[1]);
        let index = judged.map_or(0, |(index, ..)| *index);
        let whole = self.path.drain(..).filter(|(name, _)| *name == PATH[1]);
        self.elements.extend(whole.map(|(_, answer)| (index, PERMISSIBLE[0], answer)));
    }

    /// Nothing can be told of the path, nor of its elements but their limits.
    fn nothing_follows(&mut self, facts: &Facts<'_>, missing: &[Missing]) {
        self.path.extend(PATH.map(|name| (name, Err(missing.to_vec()))));
        for index in 0..facts.record.path.element.len() {
            self.not_known(facts, index, missing);
        }
    }

    /// Of an element nothing can be told but its limit.
    fn not_known(&mut self, facts: &Facts<'_>, index: usize, missing: &[Missing]) {
        let kind = facts.record.path.element.get(index).and_then(Element::kind);
        if let Some(kind) = kind {
            let inside = Facts { subject: Subject::Element(index), ..*facts };
            self.elements.push((index, "element.temperature_limit", limits::of(&inside, kind)));
        }
        let heated = PERMISSIBLE.into_iter().filter(|_| kind.is_none() || heated(kind));
        for name in TEMPERATURES.into_iter().chain(heated) {
            self.elements.push((index, name, Err(missing.to_vec())));
        }
    }
}

/// Networks that were solved last, and what followed from them.
static LAST: Mutex<Vec<([u8; 32], Of)>> = Mutex::new(Vec::new());
/// How many of them are kept: changes to a pack are tried beside it.
const KEPT: usize = 8;

/// Solves the network, for all but some of [`TOLD_ONLY`].
fn solve(facts: &Facts<'_>, built: &Pack, measured: &[Measured], left_out: &[&str]) -> Of {
    let mut of = Of::default();
    let followed = super::measured::follow(facts, built, measured);
    for (index, number, highest) in &followed.highest {
        of.elements.push((*index, "element.temperature_readings", number.clone()));
        if let Some(highest) = highest {
            of.elements.push((*index, "element.measured_temperature", highest.clone()));
        }
    }
    of.path.push(("path.temperature_readings", followed.readings.clone()));
    if let Some(residual) = &followed.residual {
        of.path.push(("path.residual", residual.clone()));
    }
    // Where measurements and record contradict each other the network follows neither of them.
    if !followed.clash.is_empty() {
        of.nothing_follows(facts, &followed.clash);
        return of;
    }
    let spread = Spread::new(&built.circuit, &followed.belief);
    let solved = Solved { facts, pack: built, spread, followed: &followed, left_out };
    let asked = |name: &str| !left_out.contains(&name);
    let rooms = [(PATH[3], "limit.hot_ambient"), (PATH[4], "claims.discharge_temperature_max")];
    let rooms = rooms.map(|(of, room)| if asked(of) { solved.fact(room) } else { Err(Vec::new()) });
    let endless = if asked(PATH[1]) { Ok(Duty::Ever) } else { Err(Vec::new()) };
    let peak = solved.peak();
    // Nothing is read of the record while these are worked out, so that they may be worked out side by side.
    let ((discharge, (endless, peak)), (found, curves)) = rayon::join(
        || rayon::join(|| solved.discharge(&rooms), || (solved.duty(endless), solved.duty(peak))),
        || rayon::join(|| solved.courses(), || solved.curves()),
    );
    solved.currents(&mut of, rooms, discharge, [endless, peak]);
    solved.temperatures(&mut of, found, &curves);
    of
}

/// Source of an answer that is of the whole path, by its place in [`PATH`].
const fn of_whole(place: SourceId) -> SourceId {
    Block::NetworkPath.first() + place
}

/// True for a fact that the network gives and nothing else does, or gives better.
pub(crate) fn is_fact(name: &str) -> bool {
    [
        "path.permissible",
        "path.time_to_limit",
        "path.air_temperature_at_rated",
        "path.temperature_readings",
        "path.residual",
        "path.limited_by",
    ]
    .iter()
    .any(|of_path| name.starts_with(of_path))
        || name.starts_with("element.permissible")
        || (name.starts_with("element.temperature_") && name != "element.temperature_limit")
        || name == "element.measured_temperature"
}

struct Solved<'a> {
    facts: &'a Facts<'a>,
    pack: &'a Pack,
    spread: Spread<'a>,
    followed: &'a Followed,
    left_out: &'a [&'a str],
}

/// A permissible current, and what is told of it.
type Current = Result<(Range, Vec<String>), Vec<Missing>>;
/// What a search for a permissible current ends with.
type Searched<T> = Result<T, Vec<Missing>>;

impl Solved<'_> {
    /// Whether a fact is not left out.
    fn asked(&self, name: &str) -> bool {
        !self.left_out.contains(&name)
    }

    fn worker(&self) -> Worker<'_> {
        let work = Worker::new(self.facts);
        work.claimed(&self.pack.claims);
        work
    }

    /// As [`Solved::worker`], with a word about what stands in for what nobody recorded.
    fn in_short(&self) -> Worker<'_> {
        let mut work = self.worker();
        let number = self.pack.assumed.len();
        if number > 0 {
            work.assume(format!(
                "{number} quantities that nobody recorded are ranges; `path.permissible_for_discharge` lists them"
            ));
        }
        work
    }

    /// A finished answer; what was measured under a lid that nobody wrote down takes "meets" away.
    fn done(
        &self,
        mut work: Worker<'_>,
        range: Range,
        dimension: Dimension,
        towards: Side,
        source: SourceId,
    ) -> Answer {
        let (low, high) = (range.low, range.high);
        work.step(|| {
            format!(
                "2.5 % below {}, half below {}, 97.5 % below {}",
                show(low, dimension),
                show(range.middle, dimension),
                show(high, dimension)
            )
        });
        work.bounded(towards, self.followed.lid_open.clone(), false);
        work.done(Amount::between(low, high, source, dimension))
    }

    fn name_of(&self, id: ElementId) -> String {
        match self.pack.places.iter().find(|place| place.id == id) {
            Some(place) => self.label(place),
            None => self
                .pack
                .circuit
                .network()
                .places()
                .get(id.index())
                .map_or_else(String::new, |p| p.name.clone()),
        }
    }

    fn label(&self, place: &PlaceOf) -> String {
        let element = element_label(self.facts.record, place.element);
        if place.what.is_empty() { element } else { format!("{} ({element})", place.what) }
    }

    /// For one full discharge: from the ambient, and from each of the rooms that is known.
    fn discharge(&self, rooms: &[Result<Amount, Vec<Missing>>]) -> Searched<(PermissibleRange, Vec<Range>)> {
        let beside = |room: &Amount| vec![(self.pack.room, room.value()), (self.pack.start, room.value())];
        let beside: Vec<_> = rooms.iter().flatten().map(beside).collect();
        let found = self.spread.permissible_beside(Duty::Charge(self.pack.charge), self.pack.rated, &beside);
        found.map_err(|refusal| vec![Missing::refused(&refusal.to_string())])
    }

    fn duty(&self, duty: Result<Duty, Vec<Missing>>) -> Searched<PermissibleRange> {
        let found = self.spread.permissible(None, duty?, self.pack.rated);
        found.map_err(|refusal| vec![Missing::refused(&refusal.to_string())])
    }

    /// The permissible currents of the pack.
    fn currents(
        &self,
        of: &mut Of,
        rooms: [Result<Amount, Vec<Missing>>; 2],
        discharge: Searched<(PermissibleRange, Vec<Range>)>,
        [endless, peak]: [Searched<PermissibleRange>; 2],
    ) {
        let (discharge, others) = match discharge {
            Ok((found, others)) => (Ok(found), others),
            Err(missing) => (Err(missing), Vec::new()),
        };
        let mut others = others.into_iter();
        if let Ok(found) = &discharge
            && let Some((place, _)) = found.places.first()
        {
            let worked = Worker::new(self.facts).worked(Val::Text(self.name_of(*place)));
            of.path.push(("path.limited_by", Ok(worked)));
        }
        let told = |found: PermissibleRange| {
            let mut first: Vec<(String, f64)> = Vec::new();
            for (place, part) in &found.places {
                let name = self.name_of(*place);
                match first.iter_mut().find(|known| known.0 == name) {
                    Some(known) => known.1 += part,
                    None => first.push((name, *part)),
                }
            }
            let first = first.into_iter().filter(|(_, part)| *part >= TOLD_SHARE).map(|(name, part)| {
                format!("{name} comes to its limit first in {:.0} % of the cases", 100.0 * part)
            });
            (found.current, first.chain(self.shares(&found.shares)).collect())
        };
        let soaked = |kelvin: f64| format!("soaked at {}, ", show(kelvin, Dimension::TEMPERATURE));
        let [hot, hottest] = rooms.map(|room| match (&discharge, room) {
            (Err(missing), _) => (String::new(), Err(missing.clone())),
            (Ok(_), Err(missing)) => (String::new(), Err(missing)),
            (Ok(_), Ok(room)) => {
                let current: Current = match others.next().filter(|range| range.high > 0.0) {
                    Some(range) => Ok((range, Vec::new())),
                    None => Err(vec![Missing::refused("a place is over its limit before any current flows")]),
                };
                (soaked(room.value()) + "for one full discharge", current)
            }
        });
        let at = soaked(self.pack.ambient);
        let answers: [(String, Current); 5] = [
            (format!("{at}for one full discharge"), discharge.clone().map(told)),
            (format!("{at}without end"), endless.map(told)),
            (format!("{at}for the claimed duration of the peak"), peak.map(told)),
            hot,
            hottest,
        ];
        let of_places = self.pack.places.iter().flat_map(|place| &place.lacks);
        let lacking: Vec<Missing> = self.pack.unknown.values().flatten().chain(of_places).cloned().collect();
        let answers = PATH.into_iter().zip(answers).enumerate();
        let asked = answers.filter(|(_, (name, _))| !self.left_out.contains(name));
        for (source, (name, (about, current))) in asked {
            let answer = current.and_then(|(range, told)| {
                let mut work = if source == 0 { self.worker() } else { self.in_short() };
                if source == 0 {
                    self.pack.assumed.iter().for_each(|assumed| work.assume(assumed.clone()));
                }
                work.step(|| about);
                told.into_iter().for_each(|text| work.step(|| text));
                work.bounded(Side::AtMost, lacking.clone(), false);
                let source = of_whole(source as SourceId);
                self.done(work, range, Dimension::CURRENT, Side::AtMost, source)
            });
            of.path.push((name, answer));
        }
    }

    fn fact(&self, name: &str) -> Result<Amount, Vec<Missing>> {
        let mut work = Worker::new(self.facts);
        let amount = work.amount(name);
        let [amount] = work.all([amount])?;
        Ok(amount)
    }

    fn peak(&self) -> Result<Duty, Vec<Missing>> {
        Ok(Duty::For(self.fact("claims.peak_duration")?.value()))
    }

    /// The free quantities that most of the width comes from.
    fn shares(&self, shares: &[f64]) -> Vec<String> {
        let mut known: Vec<(f64, &str)> = shares
            .iter()
            .zip(&self.followed.belief.frees)
            .map(|(share, free)| (*share, free.name.as_str()))
            .collect();
        known.sort_by(|a, b| b.0.total_cmp(&a.0));
        let told = known.into_iter().take(3).filter(|(share, _)| *share >= TOLD_SHARE);
        told.map(|(share, name)| format!("{:.0} % of the width comes from the {name}", 100.0 * share))
            .collect()
    }

    /// How long the rated current flows, s: a full discharge, or a quarter of an hour if that is longer.
    fn seconds(&self) -> f64 {
        (self.pack.charge / self.pack.rated).max(QUARTER)
    }

    /// Temperatures at the rated current, and why there is no steady state.
    fn courses(&self) -> (Result<TemperatureRanges, NetworkRefusal>, Result<(), NetworkRefusal>) {
        let discharge = self.pack.charge / self.pack.rated;
        let phases = [Phase { current: self.pack.rated, seconds: self.seconds() }];
        let told_only = [PATH[5], TEMPERATURES[0], TEMPERATURES[2], PERMISSIBLE[1]];
        let only = !told_only.iter().any(|name| self.asked(name));
        let at = |times: &[f64]| self.spread.temperatures_at(&phases, times, discharge, only);
        match at(&[QUARTER, discharge, f64::INFINITY]) {
            Ok(found) => (Ok(found), Ok(())),
            // Without a steady state the times with an end are still known.
            Err(refusal) => (at(&[QUARTER, discharge]), Err(refusal)),
        }
    }

    /// The temperature of each place at the rated current.
    fn temperatures(
        &self,
        of: &mut Of,
        (found, endless): (Result<TemperatureRanges, NetworkRefusal>, Result<(), NetworkRefusal>),
        curves: &Curves,
    ) {
        let found = match found {
            Ok(found) => found,
            // Something melts at the rated current: no temperature can be told, but that it is beyond every limit.
            Err(refusal) => {
                let missing = [Missing::refused(&refusal.to_string())];
                for index in 0..self.facts.record.path.element.len() {
                    of.not_known(self.facts, index, &missing);
                }
                PATH[5..].iter().for_each(|name| of.path.push((name, Err(missing.to_vec()))));
                return;
            }
        };
        for place in &self.pack.places {
            let read = self.followed.highest.iter().find(|(index, ..)| *index == place.element);
            of.places.push(PlaceTold {
                element: place.element,
                what: place.what,
                limit: place.limit.clone(),
                at_rated: self.temperature(place, found.hottest[1][place.id.index()], 1),
                measured: read.filter(|_| place.what != "a cell's post").and_then(|(.., read)| read.clone()),
            });
        }
        for index in 0..self.facts.record.path.element.len() {
            let Some(place) = self.worst(index, &found.hottest[1]) else {
                if let Some(missing) = self.pack.unknown.get(&index) {
                    of.not_known(self.facts, index, missing);
                }
                continue;
            };
            let at = place.id.index();
            for (time, name) in TEMPERATURES.into_iter().enumerate().filter(|(_, name)| self.asked(name)) {
                let answer = match (found.hottest.get(time), &endless) {
                    (Some(ranges), _) => self.temperature(place, ranges[at], time),
                    (None, Err(refusal)) => Err(vec![Missing::refused(&refusal.to_string())]),
                    (None, Ok(())) => Err(Vec::new()),
                };
                of.elements.push((index, name, answer));
            }
            of.elements.push((index, "element.temperature_limit", place.limit.clone()));
            self.of_place(of, index, place, curves, found.hottest[1][at], endless.is_ok());
        }
        if let Some(air) = self.pack.air {
            let mut work = self.in_short();
            work.step(|| {
                format!(
                    "at {}, from {}, after one full discharge",
                    show(self.pack.rated, Dimension::CURRENT),
                    show(self.pack.ambient, Dimension::TEMPERATURE)
                )
            });
            let lacking = self.pack.unknown.values().flatten();
            let lacking = lacking.chain(self.pack.places.iter().flat_map(|place| &place.lacks));
            work.bounded(Side::AtLeast, lacking.cloned().collect(), false);
            let range = found.hottest[1][air.index()];
            of.path
                .push((PATH[6], self.done(work, range, Dimension::TEMPERATURE, Side::AtLeast, of_whole(6))));
        }
        if !self.asked(PATH[5]) {
            return;
        }
        let mut work = self.in_short();
        let answer = match found.first_limit {
            Some(range) if range.low.is_finite() => {
                work.step(|| format!("at {}", show(self.pack.rated, Dimension::CURRENT)));
                let high = if range.high.is_finite() { range.high } else { self.seconds() };
                let known = Range { low: range.low, middle: range.middle.min(high), high };
                if !range.high.is_finite() {
                    let what = "a longer time: in some of the cases no limit is reached in a full discharge";
                    work.bounded(Side::AtLeast, vec![Missing::refused(what)], false);
                }
                self.done(work, known, Dimension::TIME, Side::AtMost, of_whole(5))
            }
            _ => Err(vec![Missing::refused(
                "no place comes to its limit within a full discharge at the rated current",
            )]),
        };
        of.path.push(("path.time_to_limit", answer));
    }

    /// The place of an element that is nearest to its limit, or its only one.
    fn worst(&self, index: usize, ranges: &[Range]) -> Option<&PlaceOf> {
        let over = |place: &PlaceOf| {
            let limit = place.limit.as_ref().ok().and_then(|limit| limit.value.amount()).map(Amount::value);
            ranges
                .get(place.id.index())
                .zip(limit)
                .map_or(f64::NEG_INFINITY, |(range, limit)| range.middle - limit)
        };
        let places = self.pack.places.iter().filter(|place| place.element == index);
        places.max_by(|a, b| over(a).total_cmp(&over(b)))
    }

    fn temperature(&self, place: &PlaceOf, range: Range, time: usize) -> Answer {
        let mut work = self.in_short();
        let about = ["after a quarter of an hour", "after one full discharge", "without end"][time];
        work.step(|| {
            format!(
                "{} at {}, from {}, {about}",
                self.label(place),
                show(self.pack.rated, Dimension::CURRENT),
                show(self.pack.ambient, Dimension::TEMPERATURE)
            )
        });
        work.bounded(Side::AtLeast, place.lacks.clone(), false);
        let source = Block::NetworkTemperatures.first()
            + SourceId::try_from(place.id.index() * TIMES + time).unwrap_or(0);
        self.done(work, range, Dimension::TEMPERATURE, Side::AtLeast, source)
    }

    /// Hottest temperature of every place over the current, at the centre: after a full discharge and without end.
    fn curves(&self) -> Curves {
        let case = self.pack.circuit.at(&self.followed.belief.centre);
        let places = self.pack.circuit.network().places().len();
        let hottest = |state: &ThermalState| -> Vec<f64> {
            let each = self.pack.places.iter().map(|place| (place.id.index(), case.hottest(state, place.id)));
            let mut all = vec![f64::NAN; places];
            each.for_each(|(at, kelvin)| all[at] = kelvin);
            all
        };
        let mut curves = Curves { start: case.start(), discharge: Vec::new(), steady: Vec::new() };
        let currents = CURRENTS.map(|share| share * self.pack.rated);
        let ends = case.ends(Duty::Charge(self.pack.charge), &currents, self.pack.rated);
        for (&current, end) in currents.iter().zip(ends.into_iter().flatten()) {
            if let Ok(end) = end {
                curves.discharge.push((current, hottest(&end)));
            }
        }
        for current in currents {
            if self.asked(PERMISSIBLE[1])
                && let Ok(state) = case.steady(current)
            {
                curves.steady.push((current, hottest(&state)));
            }
        }
        curves
    }

    /// Permissible current of one place: for a full discharge, and without end.
    fn of_place(
        &self,
        of: &mut Of,
        index: usize,
        place: &PlaceOf,
        curves: &Curves,
        range: Range,
        endless: bool,
    ) {
        let kind = self.facts.record.path.element.get(index).and_then(Element::kind);
        if !heated(kind) {
            return;
        }
        let Ok(limit) = &place.limit else {
            for name in PERMISSIBLE.into_iter().filter(|name| self.asked(name)) {
                of.elements.push((index, name, place.limit.clone()));
            }
            return;
        };
        let Some(limit) = limit.value.amount().map(Amount::value) else { return };
        let at = place.id.index();
        let each = [
            (PERMISSIBLE[0], &curves.discharge, "for one full discharge", true),
            (PERMISSIBLE[1], &curves.steady, "without end", endless),
        ];
        for (offset, (name, curve, about, known)) in each.into_iter().enumerate() {
            if !self.asked(name) {
                continue;
            }
            let points: Vec<(f64, f64)> = curve
                .iter()
                .map(|(current, all)| (*current, all[at] - curves.start))
                .filter(|(_, rise)| *rise > 0.0)
                .collect();
            let answer = match current_for(&points, limit - curves.start) {
                _ if !known => {
                    Err(vec![Missing::refused("there is no steady temperature at the rated current")])
                }
                None => Err(vec![Missing::refused("no current was found that brings it to its limit")]),
                Some((current, exponent)) => {
                    let beyond = points.last().is_some_and(|(last, _)| current > *last);
                    let mut work = self.in_short();
                    work.step(|| {
                        format!(
                            "{} reaches {} {about}",
                            self.label(place),
                            show(limit, Dimension::TEMPERATURE)
                        )
                    });
                    work.step(|| {
                        format!("rise goes with the current to the power of {}", significant(exponent, 2))
                    });
                    // The width is that of the rise at the rated current.
                    let side = |kelvin: f64| {
                        let rise = (kelvin - curves.start).max(0.1);
                        let middle = (range.middle - curves.start).max(0.1);
                        current * (middle / rise).powf(1.0 / exponent)
                    };
                    let low = side(range.high) * if beyond { 1.0 - BEYOND } else { 1.0 };
                    let found = Range { low, middle: current, high: side(range.low) };
                    work.bounded(Side::AtMost, place.lacks.clone(), false);
                    let source =
                        Block::NetworkPermissible.first() + SourceId::try_from(at * 2 + offset).unwrap_or(0);
                    self.done(work, found, Dimension::CURRENT, Side::AtMost, source)
                }
            };
            of.elements.push((index, name, answer));
        }
    }
}

/// Hottest temperatures over the current.
struct Curves {
    start: f64,
    discharge: Vec<(f64, Vec<f64>)>,
    steady: Vec<(f64, Vec<f64>)>,
}

/// The current at which a rise is reached, between points of current and rise, and the exponent of the rise there.
/// Beyond the last point the curve goes on as it was.
fn current_for(points: &[(f64, f64)], rise: f64) -> Option<(f64, f64)> {
    if rise <= 0.0 || points.len() < 2 {
        return None;
    }
    let after = points.iter().position(|(_, r)| *r >= rise).unwrap_or(points.len() - 1).max(1);
    let ((i, r), (j, s)) = (points[after - 1], points[after]);
    let exponent = (s / r).ln() / (j / i).ln();
    (exponent > 0.05).then(|| (i * (rise / r).powf(1.0 / exponent), exponent))
}
