//! What was measured comes first: temperatures of bench tests adjust the network's free quantities, and what cannot be
//! true together is named. A temperature above the limit of its place falls short whatever the network says.

use super::build::{Lid, Pack};
use crate::judge::facts::block::Block;
use crate::judge::facts::worker::Worker;
use crate::judge::facts::{Answer, Facts, Missing, Reason, Side, Subject, Val, element_label};
use crate::record::parts::{ElementKind, Leg, TestLid};
use crate::thermal::{Belief, CONTRADICTS, ElementId, Experiment, Measurand, Measurement, Phase, fit};
use crate::units::{Amount, Dimension, SourceId, Uncertain, show, show_uncertain, significant};

/// A temperature that was read in a test.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MeasuredTemperature {
    /// The part: an element's id, "bms" or "cells".
    pub part: String,
    /// How far along the part its sensor sat, from the end nearer to the cells, m; `None` where that is not recorded.
    pub distance: Option<f64>,
    /// Time since the load came on, s; infinite where that is not recorded: such a reading adjusts nothing.
    pub time: f64,
    /// Until when after the load came on nothing warmer can have been missed, s: of a log until its end, of one reading until
    /// it was taken, nought where its time is not recorded or after the load.
    pub watched: f64,
    /// K.
    pub kelvin: f64,
    /// Standard uncertainty, K; `None` where the thermometer's accuracy is not known.
    pub standard: Option<f64>,
    /// How much warmer than the reading the part may have been, by how the sensor was fixed, K, and why; infinite where
    /// the reading is only a lower bound.
    pub above: (f64, String),
}

/// A test under load in which temperatures were read.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Measured {
    /// What the test is called.
    pub test: String,
    /// Mean current, A, and for how long it flowed, s.
    pub current: f64,
    pub seconds: f64,
    /// How the pack was covered; taken as closed where it is not recorded, and then nothing meets on it.
    pub lid: Option<TestLid>,
    /// Temperature of the room, K.
    pub room: Option<f64>,
    /// Its standard uncertainty, K; `None` where the thermometer's accuracy is not known.
    pub room_standard: Option<f64>,
    /// Temperatures of parts when the load came on, K.
    pub starts: Vec<f64>,
    /// Last and highest readings of each part.
    pub temperatures: Vec<MeasuredTemperature>,
    /// Parts whose readings are lost with a log that could not be used, and what is missing.
    pub lost: Option<(Vec<String>, Missing)>,
}

impl Measured {
    /// Their mean, K.
    fn start(&self) -> Option<f64> {
        (!self.starts.is_empty()).then(|| self.starts.iter().sum::<f64>() / self.starts.len() as f64)
    }

    /// How much colder and how much warmer than the room a part was when the load came on, K; both at least nought.
    fn off_the_room(&self, room: f64) -> (f64, f64) {
        let apart = self.starts.iter().map(|start| start - room);
        apart.fold((0.0, 0.0), |(colder, warmer), apart| (colder.max(-apart), warmer.max(apart)))
    }

    /// The same without its readings; `missing` says why they are lost.
    pub fn without(self, missing: Missing) -> Self {
        let parts = self.temperatures.into_iter().map(|found| found.part).collect();
        Self { lost: Some((parts, missing)), ..Self::default() }
    }
}

/// What the measurements make of the network.
#[derive(Clone)]
pub(super) struct Followed {
    /// What is believed of the free quantities.
    pub belief: Belief,
    /// Tests of which nobody knows whether the lid was on.
    pub lid_open: Vec<Missing>,
    /// What contradicts, in words.
    pub clash: Vec<Missing>,
    /// The largest normalised residual, with the working; none without a measurement.
    pub residual: Option<Answer>,
    /// For each element how many temperatures were read, and the highest.
    pub highest: Vec<(usize, Answer, Option<Answer>)>,
    /// How many temperatures were read in all.
    pub readings: Answer,
}

/// Where on a part a sensor sat is not recorded: standard uncertainty as a share of the part's rise.
const PLACING: f64 = 0.05;
/// Standard uncertainty of a thermometer whose accuracy is not recorded, K (class 2 of IEC 60584-1 is 2.5 K at the most;
/// from memory).
const THERMOMETER: f64 = 1.5;
/// Sources of uncertainty of the highest readings.
const SOURCE: SourceId = Block::NetworkReadings.first();

/// The element that a part's name means.
fn element_of(facts: &Facts<'_>, part: &str) -> Option<usize> {
    let elements = &facts.record.path.element;
    let by_id = elements.iter().position(|element| element.id.text() == Some(part));
    let by_label = || (0..elements.len()).find(|index| element_label(facts.record, *index) == part);
    by_id.or_else(by_label).or_else(|| {
        let kind = match part {
            "bms" => ElementKind::Bms,
            "cells" => ElementKind::CellStack,
            _ => return None,
        };
        elements.iter().position(|element| element.kind() == Some(kind))
    })
}

/// The place of the network that stands for a part: of a stack the cells themselves.
fn place_of(facts: &Facts<'_>, pack: &Pack, part: &str) -> Option<ElementId> {
    let index = element_of(facts, part)?;
    let place = pack.places.iter().find(|place| place.element == index && place.what != "a cell's post");
    place.map(|place| place.id)
}

/// Fits the network to what was measured.
pub(super) fn follow(facts: &Facts<'_>, pack: &Pack, measured: &[Measured]) -> Followed {
    let network = pack.circuit.network();
    let uncovered = |test: &&Measured| test.lid.is_none() && !test.temperatures.is_empty();
    let mut followed = Followed {
        belief: Belief::ranges(network),
        lid_open: measured.iter().filter(uncovered).map(lid_of).collect(),
        clash: Vec::new(),
        residual: None,
        highest: highest(facts, pack, measured),
        readings: number(facts, measured, None),
    };
    // What was learnt with the lid off holds where the lid does not matter.
    let open = of_lid(measured, Some(TestLid::Off));
    if !open.is_empty()
        && let Ok(pack) = super::build::pack(facts, Lid::Off)
    {
        let without = Followed { belief: Belief::ranges(pack.circuit.network()), ..followed.clone() };
        let fitted = adjust(facts, &pack, &open, without);
        followed = Followed { belief: fitted.belief.carried_to(network), ..fitted };
        // Readings that contradict the record with the lid off leave nothing to be followed with it on.
        if !followed.clash.is_empty() {
            return followed;
        }
    }
    adjust(facts, pack, &of_lid(measured, Some(TestLid::On)), followed)
}

/// How the pack was covered in a test is missing.
fn lid_of(test: &Measured) -> Missing {
    Missing::fact("test.lid", &test.test, Reason::NotRecorded)
}

/// The tests with the lid so.
fn of_lid(measured: &[Measured], lid: Option<TestLid>) -> Vec<&Measured> {
    let under_load = measured.iter().filter(|test| test.current > 0.0 && test.seconds > 0.0);
    under_load.filter(|test| test.lid.or(Some(TestLid::On)) == lid).collect()
}

/// Adjusts what is believed of a pack to tests of it.
fn adjust(facts: &Facts<'_>, pack: &Pack, tests: &[&Measured], mut followed: Followed) -> Followed {
    let network = pack.circuit.network();
    let mut experiments = Vec::new();
    let mut names: Vec<Vec<String>> = Vec::new();
    for test in tests {
        let Some(room) = test.room else { continue };
        let phases = vec![Phase { current: test.current, seconds: test.seconds }];
        let start = test.start().unwrap_or(room);
        let lead = rig_lead(facts).map(|area| (pack.lead, area / pack.rated));
        let mut quantities = followed.belief.centre.clone();
        for (free, kelvin) in [(pack.room, room), (pack.start, start)] {
            quantities[free.index()] = kelvin;
        }
        let case = pack.circuit.coarse().at(&quantities);
        // Only how much a part differs along its length is taken from it, for the doubt about where a sensor sat.
        let course = case.course_within(&phases, 4.0);
        // A reading that is only a lower bound, or of an unknown time, pulls nothing.
        let bounded =
            test.temperatures.iter().filter(|found| found.above.0.is_finite() && found.time.is_finite());
        let found = bounded.filter_map(|found| Some((found, place_of(facts, pack, &found.part)?)));
        let (readings, told): (Vec<Measurement>, Vec<String>) = found
            .map(|(found, place)| {
                let placing = PLACING * (found.kelvin - start).abs();
                let fixing = found.above.0 / 12.0_f64.sqrt();
                let profile = case.profile(&course.at(found.time), place);
                let (middle, along) = along(&profile, from_start(facts, found, &profile));
                let deviation =
                    found.standard.unwrap_or(THERMOMETER).hypot(placing).hypot(fixing).hypot(along).max(0.05);
                let value = found.kelvin + 0.5 * found.above.0;
                let quantity = Measurand::Temperature(place, middle);
                let name = format!(
                    "{} at {} in {} {}",
                    found.part,
                    show(found.kelvin, Dimension::TEMPERATURE),
                    test.test,
                    when(found.time)
                );
                (Measurement { quantity, time: found.time, value, deviation }, name)
            })
            .unzip();
        if !readings.is_empty() {
            experiments.push(Experiment {
                phases,
                known: [(pack.room, room), (pack.start, start)].into_iter().chain(lead).collect(),
                readings,
            });
            names.push(told);
        }
    }
    if experiments.is_empty() {
        return followed;
    }
    let fitted = match fit(&pack.circuit, &followed.belief, &experiments) {
        Ok(fitted) => fitted,
        Err(refusal) => {
            let what = format!("the measured temperatures could not be followed by the network: {refusal}");
            followed.clash.push(Missing::refused(&what));
            followed.residual = Some(Err(vec![Missing::refused(&what)]));
            return followed;
        }
    };
    let name = |(test, reading): (usize, usize)| {
        names.get(test).and_then(|n| n.get(reading)).cloned().unwrap_or_default()
    };
    if !fitted.clash.is_empty() {
        let clashing: Vec<String> = fitted
            .clash
            .iter()
            .filter_map(|index| fitted.residuals.get(*index))
            .map(|residual| {
                format!(
                    "{}, where the network gives {}",
                    name(residual.reading),
                    show(residual.fitted, Dimension::TEMPERATURE)
                )
            })
            .collect();
        let what = format!(
            "measurement and record contradict each other: {}. Check sizes, materials and where the sensor sat",
            clashing.join("; ")
        );
        followed.clash.push(Missing::refused(&what));
    }
    let mut work = Worker::new(facts);
    let mut largest = 0.0_f64;
    for residual in &fitted.residuals {
        largest = largest.max(residual.normalised.abs());
        work.step(|| {
            format!(
                "{}: the network gives {} after the fit, normalised residual {}",
                name(residual.reading),
                show(residual.fitted, Dimension::TEMPERATURE),
                significant(residual.normalised, 2)
            )
        });
    }
    for free in &fitted.at_end {
        if let Some(free) = network.frees().get(free.index()) {
            work.step(|| format!("the {} was pushed to an end of its range", free.name));
        }
    }
    work.step(|| format!("above {CONTRADICTS} they contradict each other"));
    followed.residual = Some(work.done(Amount::exact(largest, Dimension::NONE)));
    followed.belief = fitted.belief;
    // The test's room is not that of the rating.
    followed.belief.reset(&[(pack.room, pack.ambient), (pack.start, pack.ambient)]);
    followed
}

/// Where along a part a sensor sat, m from the part's start as the path goes; its distance is told from the end that is
/// nearer to the cells.
fn from_start(facts: &Facts<'_>, found: &MeasuredTemperature, profile: &[(f64, f64)]) -> Option<f64> {
    let (distance, &(length, _)) = (found.distance?, profile.last()?);
    let element = facts.record.path.element.get(element_of(facts, &found.part)?)?;
    let backwards = element.leg.known() == Some(Leg::Negative);
    Some(if backwards { length - distance } else { distance }.clamp(0.0, length))
}

/// Where a place that has a length is read, m, and the standard uncertainty of not knowing where along it a sensor sat, K:
/// where that is not recorded its middle, give or take what it differs by.
fn along(profile: &[(f64, f64)], at: Option<f64>) -> (Option<f64>, f64) {
    let ends = profile
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &(_, t)| (low.min(t), high.max(t)));
    match (profile.last(), at) {
        (Some(&(length, _)), Some(at)) if length > 0.0 => (Some(at), 0.0),
        (Some(&(length, _)), None) if length > 0.0 => {
            (Some(0.5 * length), (ends.1 - ends.0) / 12.0_f64.sqrt())
        }
        _ => (None, 0.0),
    }
}

/// When a temperature was read, in words.
fn when(time: f64) -> String {
    if time.is_finite() {
        format!("after {}", show(time, Dimension::TIME))
    } else {
        "after a time that is not recorded".to_owned()
    }
}

/// Cross-section of the rig's leads, m²: of the first cable that carries the whole current.
pub(super) fn rig_lead(facts: &Facts<'_>) -> Option<f64> {
    let cable = facts.record.rig.element.iter().find(|element| element.kind() == Some(ElementKind::Cable))?;
    let count = cable.count.count().map_or(1.0, f64::from);
    cable.size.quantity().map(|size| size.value * count).filter(|area| *area > 0.0)
}

/// Rises that were read by hand from elements of the path. How the pack was covered is not recorded with them: who holds a
/// thermometer to a part has the lid off.
pub(super) fn by_hand(facts: &Facts<'_>, ambient: f64) -> Vec<Measured> {
    let read = |index: usize| {
        let inside = Facts { subject: Subject::Element(index), ..*facts };
        let work = Worker::new(&inside);
        let (rise, current) =
            (work.optional("element.temperature_rise")?, work.optional("element.rise_current")?);
        let seconds = work.optional("element.rise_time").map_or(f64::INFINITY, |time| time.value());
        let found = MeasuredTemperature {
            part: element_label(facts.record, index),
            distance: None,
            time: seconds,
            watched: if seconds.is_finite() { seconds } else { 0.0 },
            kelvin: ambient + rise.value(),
            standard: Some(rise.number.standard()).filter(|standard| *standard > 0.0),
            above: (0.0, String::new()),
        };
        Some(Measured {
            test: "a reading by hand".to_owned(),
            current: current.value(),
            seconds,
            lid: Some(TestLid::Off),
            room: Some(ambient),
            // A rise is a difference already.
            room_standard: Some(0.0),
            starts: vec![ambient],
            temperatures: vec![found],
            lost: None,
        })
    };
    (0..facts.record.path.element.len()).filter_map(read).collect()
}

/// How many temperatures were read, of one element or of all; a log that could not be used may hold some.
pub(super) fn number(facts: &Facts<'_>, measured: &[Measured], of: Option<usize>) -> Answer {
    let is = |part: &str| of.is_none_or(|index| element_of(facts, part) == Some(index));
    let number = measured.iter().flat_map(|test| &test.temperatures).filter(|found| is(&found.part)).count();
    let lost = measured.iter().filter_map(|test| test.lost.as_ref());
    let lost: Vec<Missing> = lost
        .filter(|(parts, _)| parts.iter().any(|part| is(part)))
        .map(|(_, missing)| missing.clone())
        .collect();
    if number == 0 && !lost.is_empty() {
        return Err(lost);
    }
    Worker::new(facts).done(Amount::exact(number as f64, Dimension::NONE))
}

/// What a reading would have been at the rated current and its ambient: a range from what was read to what the square of
/// the current makes of it, so that neither side rests on the scaling alone; K. Parts that were colder than the room when the
/// load came on are colder by that much at the most ever after, and warmer ones warmer.
fn at_rated(test: &Measured, kelvin: f64, room: f64, pack: &Pack, near: f64) -> (f64, f64) {
    let ratio = pack.rated / test.current;
    let scaled = if (ratio - 1.0).abs() <= near { ratio * ratio } else { 1.0 };
    let rise = kelvin - room;
    let (colder, warmer) = test.off_the_room(room);
    let (low, high) = (rise.min(rise * scaled), rise.max(rise * scaled));
    (pack.ambient + low - warmer, pack.ambient + high + colder)
}

/// The highest temperature of each element that a test at no more than about the rated current shows, brought to that
/// current and its ambient. Where the room is not known, no reading is worth anything against a limit.
fn highest(facts: &Facts<'_>, pack: &Pack, measured: &[Measured]) -> Vec<(usize, Answer, Option<Answer>)> {
    let mut best: Vec<(usize, (f64, f64), &Measured, &MeasuredTemperature)> = Vec::new();
    let mut without_room: Vec<usize> = Vec::new();
    // A reading at a current this near to the rated one is brought to it by the square of the current; one at more says
    // nothing of the rated current by itself, the network scales it.
    let near = match facts.fact("limit.near_rated") {
        Ok(Val::Amount(near)) => near.value(),
        _ => 0.0,
    };
    let usable = |test: &&Measured| test.current > 0.0 && test.current <= (1.0 + near) * pack.rated;
    for test in measured.iter().filter(usable) {
        for found in &test.temperatures {
            let Some(index) = element_of(facts, &found.part) else { continue };
            let Some(room) = test.room else {
                without_room.push(index);
                continue;
            };
            let ends = at_rated(test, found.kelvin, room, pack, near);
            match best.iter_mut().find(|(known, ..)| *known == index) {
                Some(known) if known.1.1 < ends.1 => *known = (index, ends, test, found),
                Some(_) => {}
                None => best.push((index, ends, test, found)),
            }
        }
    }
    let discharge = pack.charge / pack.rated;
    (0..facts.record.path.element.len())
        .map(|index| (index, number(facts, measured, Some(index)), best.iter().find(|best| best.0 == index)))
        .map(|(index, number, best)| {
            let Some(&(_, (low, high), test, found)) = best else {
                let what = "the ambient temperature of the test in which it was read";
                let missing = || Err(vec![Missing::refused(what)]);
                return (index, number, without_room.contains(&index).then(missing));
            };
            let mut work = Worker::new(facts);
            let standard = found.standard.unwrap_or(THERMOMETER);
            let of_room = test.room_standard.unwrap_or(THERMOMETER);
            work.step(|| {
                format!(
                    "{} read {} in {} at {}, {}",
                    element_label(facts.record, index),
                    show_uncertain(found.kelvin, crate::units::COVERAGE * standard, Dimension::TEMPERATURE),
                    test.test,
                    show(test.current, Dimension::CURRENT),
                    when(found.time)
                )
            });
            work.step(|| {
                format!(
                    "brought to {} and from a room of {} to {}",
                    show(pack.rated, Dimension::CURRENT),
                    show(test.room.unwrap_or(pack.ambient), Dimension::TEMPERATURE),
                    show(pack.ambient, Dimension::TEMPERATURE)
                )
            });
            let (colder, warmer) = test.room.map_or((0.0, 0.0), |room| test.off_the_room(room));
            if colder.max(warmer) > standard {
                let [colder, warmer] = [colder, warmer].map(|kelvin| show(kelvin, Dimension::TEMPERATURE_DIFFERENCE));
                work.step(|| {
                    format!("when the load came on, parts were up to {colder} colder and {warmer} warmer than the room: so much more and less it may be")
                });
            }
            if found.standard.is_none() {
                work.assume(format!(
                    "the thermometer's accuracy is not recorded; ± {} K taken",
                    significant(crate::units::COVERAGE * THERMOMETER, 1)
                ));
            }
            let (above, why) = &found.above;
            if !why.is_empty() {
                work.step(|| why.clone());
            }
            if above.is_infinite() {
                work.bounded(Side::AtLeast, vec![Missing::refused(why)], false);
            }
            match test.lid {
                Some(TestLid::Off) => {
                    let what = "the same with the lid on: an open pack runs cooler than it will in use";
                    work.bounded(Side::AtLeast, vec![Missing::refused(what)], false);
                }
                None => work.bounded(Side::AtLeast, vec![lid_of(test)], false),
                Some(TestLid::On | TestLid::Wrapped) => {}
            }
            let whole = (1.0 - near) * discharge;
            let of_part =
                test.temperatures.iter().filter(|found| element_of(facts, &found.part) == Some(index));
            let watched = of_part.map(|found| found.watched).fold(0.0, f64::max);
            if test.seconds >= whole && watched < whole {
                let what = format!(
                    "a reading at the end of a full discharge: this one was taken {}",
                    when(found.time)
                );
                work.bounded(Side::AtLeast, vec![Missing::refused(&what)], false);
            }
            if test.current < (1.0 - near) * pack.rated || test.seconds < whole {
                let what = format!(
                    "a full discharge at {}: the test drew {} for {}",
                    show(pack.rated, Dimension::CURRENT),
                    show(test.current, Dimension::CURRENT),
                    show(test.seconds, Dimension::TIME)
                );
                work.bounded(Side::AtLeast, vec![Missing::refused(&what)], false);
            }
            let lost = measured.iter().filter_map(|test| test.lost.as_ref());
            let lost =
                lost.filter(|(parts, _)| parts.iter().any(|part| element_of(facts, part) == Some(index)));
            work.bounded(Side::AtLeast, lost.map(|(_, missing)| missing.clone()).collect(), false);
            let high = if above.is_finite() { high + above } else { high };
            let u = standard.hypot(of_room).hypot(0.5 * (high - low) / crate::units::COVERAGE);
            let middle = 0.5 * (low + high);
            let value = Uncertain::new(middle, SOURCE + SourceId::try_from(index).unwrap_or(0), u);
            (index, number, Some(work.done(Amount { number: value, dimension: Dimension::TEMPERATURE })))
        })
        .collect()
}
