//! The current path: one series circuit from the cell stack to both terminals.
//!
//! From the ordered list of elements follow each element's continuous permissible current, the weakest element, resistance,
//! drop and heat, the prospective short-circuit current, and what protects what. An element whose permissible current cannot
//! be worked out says what is missing; it is never taken to be strong enough.

mod charge;
mod fault;
mod losses;
mod permissible_current;
mod rating;
mod withstand;

pub(crate) use withstand::{clearing, currents, with_path};

use crate::judge::facts::answers::Answers;
use crate::judge::facts::block::Block;
use crate::judge::facts::names;
use crate::judge::facts::network::{self, limits};
use crate::judge::facts::photos::{named_photos, photo_count};
use crate::judge::facts::strings::{self, strings_of};
use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Missing, Reason, Side, Subject, Val, Worked, element_label};
use crate::physics::fuse::{self, FuseKind, RespondsTo, Usual};
use crate::physics::joint::{self, ThreadsInto};
use crate::physics::material::{Finish, Material};
use crate::record::parts::{CurrentKind, Element, ElementKind};
use crate::record::{State, reads};
use crate::units::{Amount, Dimension, SourceId};
use uom::si::electric_current::ampere;
use uom::si::electric_potential::volt;
use uom::si::f64::ElectricPotential;

/// Sources of the ranges of this module, beyond those of the fault current.
const TORQUE: SourceId = Block::Path.first();
const GALVANIC: SourceId = TORQUE + 1;
const STRINGS: SourceId = TORQUE + 2;

/// What follows for one element, but for what needs the fault current.
pub(crate) fn of_element(facts: &Facts<'_>, index: usize, values: &mut Answers) {
    let Some(element) = facts.record.path.element.get(index) else { return };
    let kind = element.kind();
    // What the kind says holds for all that follows: where it is withheld, so is all of it.
    if reads::met() {
        for name in ["element.permissible_current", "element.resistance_found", "element.responds_to"] {
            values.insert(name, Err(Vec::new()));
        }
        return;
    }
    values.derive("element.photos", || photos(facts, element));
    // In a pack the network says what a bar, a cable or a joint carries; by itself it lies in open air.
    if facts.derived.is_alone() || !network::heated(kind) {
        values.derive("element.permissible_current", || {
            let of_part = permissible_current::of(facts, kind);
            if kind == Some(ElementKind::CellStack) { of_part } else { strings::of_pack(facts, of_part) }
        });
    }
    values.group(|values| resistance_of(facts, kind, values));
    values.group(|values| {
        if let Some(responds) = responds_to(facts, element, index) {
            values.insert("element.responds_to", responds);
        }
    });
    match kind {
        Some(kind @ (ElementKind::Busbar | ElementKind::Cable)) => {
            values.group(|values| conductor(facts, kind, values));
        }
        Some(ElementKind::Joint) => {
            values.derive("element.overlap_ratio", || overlap_ratio(facts));
            values.derive("element.contact_density", || contact_density(facts));
            values.derive("element.galvanic", || galvanic(facts));
            values.derive("element.usual_torque", || usual_torque(facts, element));
        }
        Some(ElementKind::Fuse) => {
            values.group(|values| {
                let fuse = element.fuse.known();
                let printed = Worker::new(facts).optional("element.rated_voltage");
                let printed = printed.map(|v| ElectricPotential::new::<volt>(v.value()));
                protective(facts, element, fuse.map(|fuse| fuse.usual(printed)), values);
            });
        }
        Some(ElementKind::CircuitBreaker) => values.group(|values| protective(facts, element, None, values)),
        Some(ElementKind::ThermalCutoff) => {
            values.group(|values| protective(facts, element, Some(fuse::THERMAL_CUTOFF), values));
        }
        Some(ElementKind::Contactor | ElementKind::Connector) => {
            values.derive("element.voltage_found", || rated_voltage(facts, element));
        }
        Some(ElementKind::CellStack | ElementKind::Shunt | ElementKind::Bms | ElementKind::Terminal)
        | None => {}
    }
}

fn resistance_of(facts: &Facts<'_>, kind: Option<ElementKind>, values: &mut Answers) {
    let resistance = losses::resistance(facts, kind);
    values.insert("element.drop_at_rated", losses::drop(facts, &resistance));
    values.insert("element.heat", losses::heat(facts, &resistance));
    values.insert("element.resistance_found", resistance);
}

/// What follows for a bar or a cable.
fn conductor(facts: &Facts<'_>, kind: ElementKind, values: &mut Answers) {
    let area = permissible_current::area(facts, kind);
    values.insert("element.density", permissible_current::density(facts, &area));
    values.insert("element.density_found", density_found(facts, &area));
    values.insert("element.density_expected", density_expected(facts));
    values.insert("element.area", area);
    if facts.derived.is_alone() {
        let rise = permissible_current::rise(facts, kind, "claims.continuous_current");
        values.insert("element.temperature_at_rated", permissible_current::temperature(facts, &rise));
        values.insert("element.temperature_limit", limits::of(facts, kind));
        values.insert("element.rise_at_rated", rise);
    }
}

/// What makes an element open; none for kinds that do not open by themselves or on command.
///
/// A circuit breaker opens on overcurrent by a release of its own (IEC 60947-2; from memory); a contactor has none. One
/// whose release nobody looked for may be either, and a fuse whose kind could not be told is not known to be one.
fn responds_to(facts: &Facts<'_>, element: &Element, index: usize) -> Option<Answer> {
    let mut work = Worker::new(facts);
    let responds = match element.kind()? {
        ElementKind::Fuse => match element.fuse.known() {
            Some(kind) => {
                work.step(|| format!("{} fuse: current melts it", kind.word()));
                Ok(RespondsTo::Current)
            }
            None => {
                let _ = work.word("element.fuse");
                Err(work.take_missing())
            }
        },
        ElementKind::ThermalCutoff => {
            work.step(|| fuse::THERMAL_CUTOFF.source.to_owned());
            Ok(RespondsTo::Temperature)
        }
        kind @ (ElementKind::CircuitBreaker | ElementKind::Contactor) => {
            let release = element.release.known().map(|release| (release, release.responds_to()));
            match release {
                Some((release, RespondsTo::Current)) if kind == ElementKind::Contactor => {
                    let what = format!(
                        "{} has a release ({}), and so is a circuit breaker: write kind = \"circuit-breaker\" and its interrupting rating",
                        element_label(facts.record, index),
                        release.word()
                    );
                    Err(vec![Missing::refused(&what)])
                }
                Some((release, responds)) => {
                    work.step(|| format!("release: {}", release.word()));
                    Ok(responds)
                }
                None if element.release.is_absent() => {
                    work.step(|| "no release was found in it".to_owned());
                    Ok(RespondsTo::Command)
                }
                None => {
                    let _ = work.word("element.release");
                    Err(work.take_missing())
                }
            }
        }
        ElementKind::CellStack
        | ElementKind::Busbar
        | ElementKind::Cable
        | ElementKind::Joint
        | ElementKind::Shunt
        | ElementKind::Bms
        | ElementKind::Connector
        | ElementKind::Terminal => return None,
    };
    Some(responds.map(|responds| work.worked(Val::Text(responds.word().to_owned()))))
}

/// Ratings of a protective device: recorded, or fixed by the standard of its kind at the voltage printed on it.
fn protective(facts: &Facts<'_>, element: &Element, usual: Option<Usual>, values: &mut Answers) {
    values.insert("element.voltage_found", rated_voltage(facts, element));
    let fixed = usual.and_then(|usual| Some((usual.interrupting?, usual.source)));
    values.insert(
        "element.interrupting_found",
        match fixed {
            Some((fixed, source)) if !facts.found("element.interrupting_rating").is_some_and(is_answered) => {
                let mut work = Worker::new(facts);
                let fixed = Amount::exact(fixed.get::<ampere>(), Dimension::CURRENT);
                work.assume(format!("not read from the part; {} taken from {source}", fixed.show()));
                work.done(fixed)
            }
            _ => interrupting_rating(facts, element),
        },
    );
}

/// The interrupting rating as recorded: one beside a voltage for alternating current says nothing.
fn interrupting_rating(facts: &Facts<'_>, element: &Element) -> Answer {
    let mut work = Worker::new(facts);
    let found = work.amount("element.interrupting_rating");
    let [found] = work.all([found])?;
    for_direct_current(facts, element, &mut work)?;
    work.done(found)
}

/// The rated voltage of what opens the circuit: as printed, where that is for direct current. An arc of alternating current
/// goes out by itself a hundred times a second, one of a battery does not: where nobody knows what it is for, it is at most
/// the printed one (common practice, no source).
fn rated_voltage(facts: &Facts<'_>, element: &Element) -> Answer {
    let mut work = Worker::new(facts);
    let found = work.amount("element.rated_voltage");
    let [found] = work.all([found])?;
    if let Err(missing) = for_direct_current(facts, element, &mut work) {
        work.bounded(Side::AtMost, missing, false);
    }
    work.done(found)
}

/// Whether the voltage that is printed on what opens the circuit is for direct current.
///
/// # Errors
/// What is missing where it is not, or where nobody looked.
fn for_direct_current(
    facts: &Facts<'_>,
    element: &Element,
    work: &mut Worker<'_>,
) -> Result<(), Vec<Missing>> {
    if let Some(kind) = element.fuse.known().filter(|kind| kind.for_direct_current()) {
        work.step(|| format!("{} fuses are marked for direct current", kind.word()));
        return Ok(());
    }
    let told = work.optional_word("element.voltage_for").and_then(|word| CurrentKind::from_word(&word));
    let Subject::Element(index) = facts.subject else { return Err(Vec::new()) };
    let part = || element_label(facts.record, index);
    let lacks = match told {
        Some(CurrentKind::Direct | CurrentKind::Both) => {
            work.step(|| "marked for direct current".to_owned());
            return Ok(());
        }
        Some(CurrentKind::Alternating) => Missing::refused(&format!(
            "the voltage printed on {} is for alternating current: one for direct current may stand in its data sheet",
            part()
        )),
        None if element.voltage_for.is_absent() => Missing::refused(&format!(
            "nothing printed on {} says what kind of current its voltage is for: see its data sheet",
            part()
        )),
        None => {
            let _ = work.word("element.voltage_for");
            return Err(work.missing_so_far());
        }
    };
    Err(vec![lacks])
}

/// True for a field that says something: also that it is withheld.
fn is_answered(found: &crate::record::Found) -> bool {
    matches!(found.state(), State::Known(_) | State::Withheld)
}

fn overlap_ratio(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (length, thickness) = (work.amount("element.overlap.width"), work.amount("element.thickness"));
    let [length, thickness] = work.all([length, thickness])?;
    let ratio = Amount { number: length.number.over(&thickness.number), dimension: Dimension::NONE };
    work.step(|| line(&format!("overlap {} / thickness {}", length.show(), thickness.show()), &ratio));
    work.done(ratio)
}

fn contact_density(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let current = carried(facts, &mut work);
    let [length, width] = ["width", "thickness"].map(|side| work.amount(&format!("element.overlap.{side}")));
    let count = work.count_or_one("element.count", "the number of joints side by side");
    let [current, length, width] = work.all([current, length, width])?;
    let area = length.number.times(&width.number).times(&count.number);
    let density = Amount { number: current.number.over(&area), dimension: Dimension::CURRENT_DENSITY };
    work.step(|| line(&format!("{} / ({} × {})", current.show(), length.show(), width.show()), &density));
    work.done(density)
}

/// The current through an element at the rated one; none where it lacks something, which is noted.
fn carried(facts: &Facts<'_>, work: &mut Worker<'_>) -> Option<Amount> {
    let Subject::Element(index) = facts.subject else { return work.amount("claims.continuous_current") };
    match strings::carried(facts, Some(index)) {
        Ok(worked) => {
            work.rests_on(&worked);
            worked.value.amount().cloned()
        }
        Err(missing) => {
            missing.into_iter().for_each(|missing| work.lacks(missing));
            None
        }
    }
}

fn galvanic(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let sides = [("element.material", "element.finish"), ("element.other_material", "element.other_finish")];
    let materials = sides.map(|(material, _)| work.word(material).and_then(|w| Material::from_word(&w)));
    let [Some(one), Some(other)] = materials else { return Err(work.take_missing()) };
    if one == other && one != Material::CopperCladAluminium {
        work.step(|| format!("{} on both sides", one.word()));
        return work.done(Amount::exact(0.0, Dimension::VOLTAGE));
    }
    let mut ends = Vec::new();
    for (material, (_, finish)) in [one, other].into_iter().zip(sides) {
        // A metal whose surface nobody recorded may be plated, and is not judged as a bare one.
        let finish = work.word(finish).and_then(|word| Finish::from_word(&word));
        let index = joint::surface_index(material, finish);
        let surface = finish.map_or("?", Finish::word);
        work.step(|| format!("{} ({surface}) {} V", material.word(), index.0));
        ends.push(index);
    }
    let [(a, b), (c, d)] = ends[..] else { return Err(work.take_missing()) };
    let all = [a - c, a - d, b - c, b - d].map(f64::abs);
    let (least, most) = all.iter().fold((f64::INFINITY, 0.0_f64), |e, x| (e.0.min(*x), e.1.max(*x)));
    // Two ranges that overlap may be the same metal's.
    let least = if a.max(c) <= b.min(d) { 0.0 } else { least };
    let [difference] = work.all([Some(Amount::between(least, most, GALVANIC, Dimension::VOLTAGE))])?;
    work.done(difference)
}

/// The torque that is usual for the bolt; a range over all that it may be screwed into where that is not recorded.
fn usual_torque(facts: &Facts<'_>, element: &Element) -> Answer {
    let mut work = Worker::new(facts);
    let Some(thread) = work.word("element.bolt") else {
        return Err(work.take_missing());
    };
    let known = work.optional_word("element.threads_into").and_then(|word| ThreadsInto::from_word(&word));
    let into = known.map_or_else(|| ThreadsInto::ALL.to_vec(), |known| vec![known]);
    let found: Vec<(f64, f64)> = into
        .into_iter()
        .filter_map(|into| joint::usual_torque(&thread, into))
        .map(|(least, most)| (least.value, most.value))
        .collect();
    if found.is_empty() {
        let thread = element.bolt.text().unwrap_or_default();
        return Err(vec![Missing::refused(&format!("no usual torque is known for thread `{thread}` there"))]);
    }
    let (least, most) = found.iter().fold((f64::INFINITY, 0.0_f64), |e, t| (e.0.min(t.0), e.1.max(t.1)));
    if known.is_none() {
        let index = facts.record.path.element.iter().position(|other| std::ptr::eq(other, element));
        let missing = index.map(|index| {
            Missing::of_element("element.threads_into", facts.record, index, Reason::NotRecorded)
        });
        work.bounded(Side::Within, missing.into_iter().collect(), false);
    } else if least < most {
        let what = "the torque that the maker of the cells or of the board prescribes".to_owned();
        work.bounded(Side::Within, vec![Missing::refused(&what)], false);
    }
    work.step(|| format!("usual for {thread}: {least} N·m to {most} N·m"));
    work.done(Amount::between(least, most, TORQUE, Dimension::TORQUE))
}

fn density_found(facts: &Facts<'_>, area: &Answer) -> Answer {
    let mut work = Worker::new(facts);
    let (mass, length) = (work.amount("element.mass"), work.amount("element.length"));
    let area = match area {
        Ok(worked) => worked.value.amount().cloned(),
        Err(missing) => {
            missing.iter().cloned().for_each(|m| work.lacks(m));
            None
        }
    };
    let [mass, length, area] = work.all([mass, length, area])?;
    let number = mass.number.over(&length.number.times(&area.number));
    let density = Amount { number, dimension: Dimension::DENSITY };
    work.step(|| line(&format!("{} / ({} × {})", mass.show(), length.show(), area.show()), &density));
    work.done(density)
}

fn density_expected(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let material = work.word("element.material").and_then(|w| Material::from_word(&w));
    match material {
        Some(material) => work.done(Amount::exact(material.density().value, Dimension::DENSITY)),
        None => Err(work.take_missing()),
    }
}

fn photos(facts: &Facts<'_>, element: &Element) -> Answer {
    let listed = element.id.text().map_or(&[][..], |id| facts.derived.photos_of(id));
    let listed = listed.iter().filter_map(|index| facts.record.photo.get(*index)?.file.text());
    let own = named_photos(facts.record, element);
    photo_count(facts, listed.map(str::to_owned).chain(own).collect())
}

/// What follows for the path as a whole.
pub(crate) fn of_path(facts: &Facts<'_>, values: &mut Answers) {
    values.group(|values| {
        let (weakest, name) = weakest(facts);
        values.insert("path.permissible_current", weakest);
        values.insert("path.weakest", name);
    });
    values.group(|values| {
        let resistance = losses::total(facts);
        values.insert("path.drop", losses::drop(facts, &resistance));
        values.insert("path.heat", losses::heat(facts, &resistance));
        values.insert("path.resistance", resistance);
    });
    values.group(|values| fault::of(facts, values));
    values.derive("path.overcurrent_devices", || overcurrent_devices(facts));
    values.derive("path.every_string_fused", || every_string_fused(facts));
    values.derive("path.full_range_devices", || full_range_devices(facts));
    values.derive("path.thermal_cutoffs", || thermal_cutoffs(facts));
    values.derive("path.overcurrent_rating", || overcurrent_rating(facts));
}

/// What the path carries: the least of what its parts carry, and of what the heat of the whole allows.
///
/// What is left out, is itself known only as at most so much, or reaches further down than the least of them may carry
/// less: then the value is a bound.
fn weakest(facts: &Facts<'_>) -> (Answer, Answer) {
    let mut work = Worker::new(facts);
    let mut known: Vec<(String, &Worked, &Amount)> = Vec::new();
    let (mut open, mut lacks) = (Vec::new(), Vec::new());
    let network = facts.derived.of_pack("path.permissible_for_discharge");
    for index in 0..facts.record.path.element.len() {
        let found = facts.derived.of_element(index, "element.permissible_current");
        let label = || element_label(facts.record, index);
        match (found, found.or(network)) {
            (Some(Ok(worked)), _) => {
                known.extend(worked.value.amount().map(|amount| (label(), worked, amount)));
            }
            (_, rests_on) => {
                open.push(label());
                lacks
                    .extend(rests_on.and_then(|answer| answer.as_ref().err()).into_iter().flatten().cloned());
            }
        }
    }
    lacks.extend(network.and_then(|answer| answer.as_ref().err()).into_iter().flatten().cloned());
    if let (Some(Ok(worked)), Some(Ok(place))) = (network, facts.derived.of_pack("path.limited_by")) {
        known.extend(worked.value.amount().map(|amount| (place.value.show(), worked, amount)));
    }
    let Some((label, weakest, amount)) = known.iter().min_by(|a, b| a.2.value().total_cmp(&b.2.value()))
    else {
        let what = "no element of the path has a known permissible current".to_owned();
        let missing = vec![Missing::told("path.element", what, Reason::NotRecorded)];
        return (Err(missing.clone()), Err(missing));
    };
    work.rests_on(weakest);
    weakest.steps.iter().for_each(|step| work.step(|| step.clone()));
    work.step(|| format!("weakest: {label}, {}", amount.show()));
    for (other, worked, may) in known.iter().filter(|(other, ..)| other != label) {
        if let Some(bound) = worked.bound.as_ref().filter(|bound| bound.side == Side::AtMost) {
            lacks.extend(bound.missing.iter().cloned());
        }
        if may.ends().0 < amount.ends().0 {
            lacks.push(Missing::refused(&format!("a closer range of what {other} carries: {}", may.show())));
        }
    }
    if !open.is_empty() {
        work.assume(format!("not known and so left out: {}", names(&open)));
    }
    work.bounded(Side::AtMost, lacks, false);
    let worked = work.worked(Val::Amount((*amount).clone()));
    let name = Worked { value: Val::Text(label.clone()), ..worked.clone() };
    (Ok(worked), Ok(name))
}

/// The elements that open on overcurrent; what could not be told of the others is noted.
fn opening_on_current(facts: &Facts<'_>, work: &mut Worker<'_>) -> Vec<usize> {
    let mut found = Vec::new();
    for (index, element) in facts.record.path.element.iter().enumerate() {
        match facts.derived.of_element(index, "element.responds_to") {
            // Nobody said whether it is in each of the strings, in one of them, or beyond them.
            Some(Ok(_)) if let Err(missing) = strings_of(facts, index) => {
                missing.into_iter().for_each(|missing| work.lacks(missing));
            }
            Some(Ok(worked)) if worked.value == Val::Text(RespondsTo::Current.word().to_owned()) => {
                found.push(index);
            }
            Some(Ok(_)) => {}
            Some(Err(missing)) => missing.iter().cloned().for_each(|m| work.lacks(m)),
            None if element.kind().is_none() => {
                work.lacks(Missing::of_element("element.kind", facts.record, index, Reason::NotVisible));
            }
            None => {}
        }
    }
    found
}

fn overcurrent_devices(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let found = opening_on_current(facts, &mut work);
    for index in &found {
        work.step(|| element_label(facts.record, *index));
    }
    counted(facts, work, found.len())
}

/// Whether each parallel string has a device of its own, as said: a complete path in which none stands in each string
/// says the contrary.
fn every_string_fused(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let said = facts.fact("path.strings_fused")?;
    work.claimed(&facts.claims_of("path.strings_fused"));
    if said == Val::YesNo(true) && facts.record.path.complete.yes() == Some(true) {
        let found = opening_on_current(facts, &mut work);
        let missing = work.missing_so_far();
        if !found.iter().any(|index| strings_of(facts, *index).is_ok_and(|strings| strings > 1.0)) {
            let none = "`path.strings_fused` says yes, but no fuse or circuit breaker of the complete path is recorded \
                        to stand in each string (`in_each_string`)";
            return Err(if missing.is_empty() { vec![Missing::refused(none)] } else { missing });
        }
    }
    Ok(work.worked(said))
}

/// The devices that clear every current that opens them.
fn full_range_devices(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let mut found = opening_on_current(facts, &mut work);
    found.retain(|index| {
        let fuse = facts.record.path.element.get(*index).and_then(|element| element.fuse.known());
        fuse.is_none_or(FuseKind::full_range)
    });
    for index in &found {
        work.step(|| element_label(facts.record, *index));
    }
    counted(facts, work, found.len())
}

fn thermal_cutoffs(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let elements = facts.record.path.element.iter().enumerate();
    let found = elements.filter(|(_, element)| element.kind() == Some(ElementKind::ThermalCutoff));
    let found: Vec<String> = found.map(|(index, _)| element_label(facts.record, index)).collect();
    let number = found.len();
    found.into_iter().for_each(|label| work.step(|| label));
    counted(facts, work, number)
}

/// A count of elements: at least this many where something is missing, and zero only where the path is complete.
fn counted(facts: &Facts<'_>, mut work: Worker<'_>, number: usize) -> Answer {
    let count = Amount::exact(number as f64, Dimension::NONE);
    if number > 0 {
        let missing = work.missing_so_far();
        work.bounded(Side::AtLeast, missing, false);
        return work.done(count);
    }
    if facts.record.path.complete.yes() != Some(true) {
        let what =
            "`path.complete` does not say yes, so the lack of one in the list proves nothing".to_owned();
        work.lacks(Missing::told("path.complete", what, Reason::NotRecorded));
    }
    let [count] = work.all([Some(count)])?;
    work.done(count)
}

fn overcurrent_rating(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let mut smallest: Option<Amount> = None;
    for index in opening_on_current(facts, &mut work) {
        let inside = Facts { subject: Subject::Element(index), ..*facts };
        let rating =
            strings_of(facts, index).and_then(|strings| Ok((strings, inside.fact("element.rating")?)));
        match rating {
            Ok((strings, Val::Amount(mut rating))) => {
                // Those of all strings together feed what lies beyond them.
                if strings > 1.0 {
                    let times = Amount::between(1.0, strings, STRINGS, Dimension::NONE);
                    rating.number = rating.number.times(&times.number);
                }
                work.step(|| format!("{}: {}", element_label(facts.record, index), rating.show()));
                if smallest.as_ref().is_none_or(|s| rating.value() < s.value()) {
                    smallest = Some(rating);
                }
            }
            Ok(_) => {}
            Err(missing) => missing.into_iter().for_each(|m| work.lacks(m)),
        }
    }
    if let Some(smallest) = smallest {
        let missing = work.missing_so_far();
        work.bounded(Side::AtMost, missing, false);
        return work.done(smallest);
    }
    let what = "no fuse or circuit breaker that responds to current is recorded with its rating".to_owned();
    work.lacks(Missing::told("element.rating", what, Reason::NotRecorded));
    Err(work.take_missing())
}
