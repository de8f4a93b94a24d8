//! The account of a log: its stretches of charge, rest and discharge, and whether what it says of itself adds up.
//!
//! Before any figure is believed the charge is compared with the log's own counters, its energy with the column of power,
//! its clock with a second one, its current with the column of states, and the voltage with the direction of the current.
//! What clashes is told with both figures and what would settle it; what cannot be checked is told as well. All of it is
//! gathered while the samples stream past, in bounded memory.

use std::fmt;

use super::read::{CurrentSign, HowKnown, Layout, Meaning, Sample, Slot};
use super::{DEAD, lacking};
use crate::units::{Dimension, show, show_percent, words};

// How far the two ways to one thing may differ is judged without a rule book, because `log` has none. No source: common
// practice, and tried on the open logs of the corpus (`tests/data/log-corpus.toml`).

/// Current up to this part of the largest is rest.
pub(crate) const REST: f64 = 0.02;
/// After a pause a segment goes on where the current is within this part of that before it (common practice, no source).
pub(crate) const SAME: f64 = 0.25;
/// A voltage under load that had fallen by this part and is back above where it began shows a charge that is not in the
/// log.
pub(super) const CHARGED_FALL: f64 = 0.02;
/// A current has tapered when it is below this part of its largest (common practice, no source).
const TAPERED: f64 = 0.25;
/// Stretches that are kept.
const STRETCHES: usize = 1024;
/// Counters that are followed.
const COUNTERS: usize = 4;
/// A counter and the charge agree within this part.
const COUNTED: f64 = 0.03;
/// Power and the product of voltage and current agree within this part.
const POWER: f64 = 0.05;
/// Two clocks agree within this part.
const CLOCK: f64 = 0.02;
/// A voltage that rises by this part of itself while a pack is discharged, or falls while it is charged, has the current
/// the other way round.
const AGAINST: f64 = 0.05;
/// Rows in which the state contradicts the current are believed from this part on.
const STATES: f64 = 0.02;

/// What happens in a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum StretchKind {
    /// Current into the pack.
    Charge,
    /// None.
    #[default]
    Rest,
    /// Current out of the pack.
    Discharge,
}

impl fmt::Display for StretchKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Charge => "charge",
            Self::Rest => "rest",
            Self::Discharge => "discharge",
        })
    }
}

/// A stretch of charge, rest or discharge.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stretch {
    /// What happens.
    pub kind: StretchKind,
    /// Time of its first sample, s.
    pub from: f64,
    /// Time of its last sample, s.
    pub to: f64,
    /// Charge by the trapezoid rule, C; positive out of the pack.
    pub charge: f64,
    /// Energy, J; NaN where the log has no voltage.
    pub energy: f64,
    /// Time for which the current flowed, s: half of the intervals in which it came on and went off.
    pub seconds: f64,
    /// Current of largest size, A.
    pub largest: f64,
    /// Current of the first sample and of the last, A.
    pub currents: (f64, f64),
    /// Voltage of the first sample, V.
    pub first_voltage: f64,
    /// Voltage of the last sample, V.
    pub last_voltage: f64,
    /// Samples.
    pub samples: u64,
    counted: [f64; COUNTERS],
    resets: u32,
    power: f64,
    clocks: [f64; 2],
    longest: f64,
    against: u64,
}

impl Stretch {
    /// Takes a sample of the same kind, `step` s after the last one; voltage and current of both.
    #[inline]
    fn go_on(&mut self, step: f64, (v, i): (f64, f64), (voltage, current): (f64, f64)) {
        self.charge += step * (i + current) / 2.0;
        self.energy += step * (v * i + voltage * current) / 2.0;
        self.last_voltage = voltage;
        self.currents.1 = current;
        self.samples += 1;
        self.seconds += step;
        self.longest = self.longest.max(step);
        if current.abs() > self.largest.abs() {
            self.largest = current;
        }
    }

    fn join(&mut self, next: &Self) {
        self.to = next.to;
        self.charge += next.charge;
        self.energy += next.energy;
        self.last_voltage = next.last_voltage;
        self.currents.1 = next.currents.1;
        self.samples += next.samples;
        self.seconds += next.seconds;
        if next.largest.abs() > self.largest.abs() {
            self.largest = next.largest;
        }
        for (own, its) in self.counted.iter_mut().zip(next.counted) {
            *own += its;
        }
        self.resets += next.resets;
        self.power += next.power;
        for (own, its) in self.clocks.iter_mut().zip(next.clocks) {
            *own += its;
        }
        self.longest = self.longest.max(next.longest);
        self.against += next.against;
    }
}

/// What of a log is compared with itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Compared {
    /// The charge with a counter.
    Charge,
    /// Voltage times current with the power.
    Power,
    /// Two clocks.
    Clocks,
    /// The column of states with the direction of the current.
    States,
}

/// How a segment came to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SegmentEnd {
    /// The log ends in it.
    LogEnds,
    /// The terminals went dead.
    Dead,
    /// The current had fallen to a small part of its largest.
    Tapered,
    /// The current went off, or the other way.
    Off,
}

impl fmt::Display for SegmentEnd {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::LogEnds => "until the end of the log",
            Self::Dead => "until the terminals went dead",
            Self::Tapered => "until the current had tapered",
            Self::Off => "until the current went off",
        })
    }
}

/// A charge, rest or discharge with the pauses inside it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// Its number among those of its kind, from 1.
    pub number: u32,
    /// Its charge, energy, times and currents; pauses are within its times.
    pub whole: Stretch,
    /// Pauses inside it, and their time together, s.
    pub pauses: (u32, f64),
    /// How it came to its end.
    pub end: SegmentEnd,
}

impl Segment {
    /// What a record calls it: "discharge 2".
    pub fn name(&self) -> String {
        format!("{} {}", self.whole.kind, self.number)
    }

    /// Mean current without its pauses, A; positive out of the pack.
    pub fn mean(&self) -> f64 {
        self.whole.charge / self.whole.seconds.max(f64::MIN_POSITIVE)
    }

    /// Whether a further stretch belongs to it: about the same current the same way, on a pack that was not charged
    /// meanwhile.
    fn goes_on(&self, next: &Stretch) -> bool {
        let same = |a: f64, b: f64| (a / b - 1.0).abs() <= SAME;
        let mean = next.charge / next.seconds.max(f64::MIN_POSITIVE);
        let (first, last) = (self.whole.first_voltage, self.whole.last_voltage);
        let charged = next.kind == StretchKind::Discharge
            && first - last > CHARGED_FALL * first.abs()
            && next.first_voltage > first;
        self.whole.kind == next.kind
            && (same(mean, self.mean()) || same(next.currents.0, self.whole.currents.1))
            && !charged
    }
}

impl fmt::Display for Segment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let whole = &self.whole;
        let time = |t: f64| show(t, Dimension::TIME);
        write!(f, "from {} to {}", time(whole.from), time(whole.to))?;
        if whole.kind == StretchKind::Rest {
            return Ok(());
        }
        write!(f, ", {}", show(whole.charge.abs(), Dimension::CHARGE))?;
        if whole.energy.is_finite() {
            write!(f, ", {}", show(whole.energy.abs(), Dimension::ENERGY))?;
        }
        let current = |i: f64| show(i.abs(), Dimension::CURRENT);
        write!(f, ", {} on average, {} at most", current(self.mean()), current(whole.largest))?;
        if whole.first_voltage.is_finite() && whole.last_voltage.is_finite() {
            let voltage = |v: f64| show(v, Dimension::VOLTAGE);
            write!(f, ", {} to {}", voltage(whole.first_voltage), voltage(whole.last_voltage))?;
        }
        match self.pauses {
            (0, _) => {}
            (1, paused) => write!(f, ", a pause of {}", time(paused))?,
            (count, paused) => write!(f, ", {count} pauses of {} together", time(paused))?,
        }
        write!(f, ", {}", self.end)
    }
}

/// Whether something the log says of itself agrees.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AccountCheck {
    /// It does: what was compared, and in words.
    Agrees(Compared, String),
    /// It does not: both figures, and what would settle it.
    Clashes(String),
    /// It could not be compared: why.
    NotCompared(String),
}

impl AccountCheck {
    /// What clashes.
    pub fn clash(&self) -> Option<&str> {
        match self {
            Self::Clashes(text) => Some(text),
            Self::Agrees(..) | Self::NotCompared(_) => None,
        }
    }
}

#[derive(Debug, Clone)]
struct Counter {
    slot: Slot,
    name: String,
    unit_assumed: bool,
    last: f64,
    smallest: f64,
}

/// Follows a log sample by sample.
#[derive(Debug, Clone)]
pub struct Account {
    counters: Vec<Counter>,
    power: Option<(Slot, String)>,
    other: Option<(Slot, String, f64)>,
    state: Option<Slot>,
    since: Option<Slot>,
    /// The log has none of these.
    bare: bool,
    clock: String,
    current: String,
    last: Option<(f64, f64, f64, f64)>,
    largest: f64,
    stretch: Option<Stretch>,
    stretches: Vec<Stretch>,
    /// Stretches beyond those that are kept.
    not_kept: u64,
}

/// The header in what [`super::read::Column::called`] made.
fn header_of(name: &str) -> &str {
    name.split_once('"').map_or(name, |(_, header)| header.trim_end_matches('"'))
}

impl Account {
    /// For a log.
    pub fn of(layout: &Layout) -> Self {
        let first = |meaning: Meaning| layout.slots(meaning).find(|(_, column)| !column.empty);
        let counters: Vec<Counter> = layout
            .slots(Meaning::Charge)
            .filter(|(_, column)| !column.empty)
            .take(COUNTERS)
            .map(|(slot, column)| Counter {
                slot,
                name: column.called(),
                unit_assumed: column.unit_assumed && column.known != HowKnown::Set,
                last: f64::NAN,
                smallest: f64::INFINITY,
            })
            .collect();
        let power = layout.chosen(Meaning::Power).filter(|(_, column)| !column.empty);
        let power = power.map(|(slot, column)| (slot, column.called()));
        let other = first(Meaning::OtherTime).map(|(slot, column)| (slot, column.called(), f64::NAN));
        let [state, since] =
            [Meaning::State, Meaning::SinceStep].map(|meaning| first(meaning).map(|(slot, _)| slot));
        // States that give the current its sign confirm nothing.
        let state = state.filter(|_| !matches!(layout.sign, Some((CurrentSign::ByState, _))));
        Self {
            bare: counters.is_empty()
                && power.is_none()
                && other.is_none()
                && state.is_none()
                && since.is_none(),
            counters,
            power,
            other,
            state,
            since,
            clock: layout.time_name(),
            current: layout.currents().iter().map(|(_, c)| c.called()).collect::<Vec<_>>().join(" and "),
            last: None,
            largest: 0.0,
            stretch: None,
            stretches: Vec::new(),
            not_kept: 0,
        }
    }

    /// Takes a sample with its voltage, V (NaN where there is none), and its current, A, positive out of the pack.
    #[inline]
    pub fn push(&mut self, sample: &Sample<'_>, voltage: f64, current: f64) {
        if !current.is_finite() {
            return;
        }
        self.largest = self.largest.max(current.abs());
        let kind = if current.abs() <= REST * self.largest {
            StretchKind::Rest
        } else if current > 0.0 {
            StretchKind::Discharge
        } else {
            StretchKind::Charge
        };
        // Nearly every sample of nearly every log goes on with its stretch, and there is nothing to compare it with.
        if let (true, false, Some(stretch), Some((time, v, i, _))) =
            (self.bare, sample.after_break, &mut self.stretch, self.last)
            && stretch.kind == kind
        {
            stretch.go_on(sample.time - time, (v, i), (voltage, current));
            stretch.to = sample.time;
            self.last = Some((sample.time, voltage, current, f64::NAN));
            return;
        }
        let power = self.power.as_ref().map_or(f64::NAN, |(slot, _)| sample.get(*slot));
        let mut piece = Stretch {
            kind,
            from: sample.time,
            to: sample.time,
            first_voltage: voltage,
            last_voltage: voltage,
            samples: 1,
            largest: current,
            currents: (current, current),
            ..Stretch::default()
        };
        if let Some(state) = self.state {
            piece.against = u64::from(sample.get(state) * current < 0.0 && kind != StretchKind::Rest);
        }
        if let Some((time, v, i, p)) = self.last.filter(|_| !sample.after_break) {
            let step = sample.time - time;
            piece.charge = step * (i + current) / 2.0;
            piece.energy = step * (v * i + voltage * current) / 2.0;
            piece.power = step * (p.abs() + power.abs()) / 2.0;
            piece.longest = step;
            let same = self.stretch.is_some_and(|stretch| stretch.kind == kind);
            piece.seconds = if same { step } else { step / 2.0 };
            // The instrument says when it switched: before that the last current flowed.
            if let Some(switched) = self.since.and_then(|slot| {
                switched(time, sample.time, sample.get(slot))
                    .filter(|_| (current - i).abs() > REST * self.largest)
            }) {
                let (before, after) = (switched - time, sample.time - switched);
                piece.charge = i * before + current * after;
                piece.energy = v * i * before + voltage * current * after;
                piece.power = p.abs() * before + power.abs() * after;
                piece.seconds = if kind == StretchKind::Rest { before } else { after };
            }
        }
        for (counter, place) in self.counters.iter_mut().zip(&mut piece.counted) {
            let now = sample.get(counter.slot);
            if !now.is_finite() {
                continue;
            }
            let change = now - counter.last;
            if change.is_finite() && change != 0.0 {
                // A counter that fell to next to nothing began anew.
                let anew = now.abs() < counter.last.abs() / 2.0 && change.abs() > 4.0 * piece.charge.abs();
                *place = if anew { now.abs() } else { change.abs() };
                piece.resets += u32::from(anew);
                counter.smallest = counter.smallest.min(change.abs());
            }
            counter.last = now;
        }
        if let Some((slot, _, before)) = &mut self.other {
            let now = sample.get(*slot);
            let change = now - *before;
            if change.is_finite() && !sample.after_break && kind != StretchKind::Rest {
                // A clock of the day starts again at midnight.
                let change = if change < -43_200.0 { change + 86_400.0 } else { change };
                // One that starts anew, as in each file of several, says nothing of that interval.
                if change >= 0.0 {
                    piece.clocks = [piece.longest, change];
                }
            }
            if now.is_finite() {
                *before = now;
            }
        }
        self.last = Some((sample.time, voltage, current, power));
        match &mut self.stretch {
            Some(stretch) if stretch.kind == kind => stretch.join(&piece),
            // The interval in which a current goes off is part of its stretch.
            Some(stretch) if kind == StretchKind::Rest => {
                let (charge, energy) = (piece.charge, piece.energy);
                stretch.charge += charge;
                stretch.energy += energy;
                stretch.power += piece.power;
                stretch.seconds += piece.seconds;
                for (own, its) in stretch.counted.iter_mut().zip(piece.counted) {
                    *own += its;
                }
                (piece.charge, piece.energy, piece.power, piece.counted) = (0.0, 0.0, 0.0, [0.0; COUNTERS]);
                self.turn(piece);
            }
            _ => self.turn(piece),
        }
    }

    #[cold]
    fn turn(&mut self, next: Stretch) {
        if let Some(done) = self.stretch.replace(next) {
            if self.stretches.len() < STRETCHES {
                self.stretches.push(done);
            } else {
                self.not_kept += 1;
            }
        }
    }

    /// The stretches, those with next to no current as rest, neighbours of one kind joined.
    pub fn stretches(&self) -> Vec<Stretch> {
        let mut all: Vec<Stretch> = Vec::new();
        for stretch in self.stretches.iter().chain(&self.stretch) {
            let mut stretch = *stretch;
            if stretch.largest.abs() <= REST * self.largest {
                stretch.kind = StretchKind::Rest;
            }
            match all.last_mut() {
                Some(last) if last.kind == stretch.kind => last.join(&stretch),
                _ => all.push(stretch),
            }
        }
        all
    }

    /// Charges, rests and discharges with the pauses inside them.
    pub fn segments(&self) -> Vec<Segment> {
        let mut all: Vec<Segment> = Vec::new();
        let mut rest: Option<Stretch> = None;
        let stretches = self.stretches();
        let mut numbers = [0_u32; 3];
        let mut push = |all: &mut Vec<Segment>, whole: Stretch| {
            let number = numbers.get_mut(whole.kind as usize).map_or(0, |number| {
                *number += 1;
                *number
            });
            all.push(Segment { number, whole, pauses: (0, 0.0), end: SegmentEnd::LogEnds });
        };
        for (index, stretch) in stretches.iter().enumerate() {
            if stretch.kind == StretchKind::Rest {
                rest = Some(*stretch);
                continue;
            }
            let after = stretches.get(index + 1);
            let end = match after {
                None => SegmentEnd::LogEnds,
                Some(next) if next.first_voltage < DEAD * stretch.last_voltage => SegmentEnd::Dead,
                Some(_) if stretch.currents.1.abs() < TAPERED * stretch.largest.abs() => SegmentEnd::Tapered,
                Some(_) => SegmentEnd::Off,
            };
            match (rest.take(), all.last_mut()) {
                (Some(_), Some(last)) if last.goes_on(stretch) => {
                    last.pauses = (last.pauses.0 + 1, last.pauses.1 + stretch.from - last.whole.to);
                    last.whole.join(stretch);
                }
                (pause, _) => {
                    if let Some(pause) = pause {
                        push(&mut all, pause);
                    }
                    push(&mut all, *stretch);
                }
            }
            if let Some(last) = all.last_mut() {
                last.end = end;
            }
        }
        if let Some(rest) = rest {
            push(&mut all, rest);
        }
        all
    }

    /// Stretches beyond those that are kept.
    pub fn not_kept(&self) -> u64 {
        self.not_kept
    }

    /// Mean current while nothing should flow, A; `None` where the log holds no rest.
    pub fn offset(&self) -> Option<f64> {
        let rests = self.stretches().into_iter().filter(|stretch| stretch.kind == StretchKind::Rest);
        let (charge, time) =
            rests.fold((0.0, 0.0), |(charge, time), rest| (charge + rest.charge, time + rest.to - rest.from));
        (time > 0.0).then(|| charge / time)
    }

    /// Compares what the log says of itself between two times; `loose` is how well the charge is known by sampling, C.
    pub fn checks(&self, from: f64, to: f64, loose: f64) -> Vec<AccountCheck> {
        let within = |stretch: &Stretch| {
            let middle = (stretch.from + stretch.to) / 2.0;
            stretch.kind != StretchKind::Rest && middle >= from - 1e-6 && middle <= to + 1e-6
        };
        let all: Vec<Stretch> = self.stretches().into_iter().filter(within).collect();
        let Some(whole) = joined(all.iter()) else { return Vec::new() };
        let against = all.iter().find_map(|stretch| direction(stretch, self.largest, &self.current));
        let mut checks = Vec::from_iter(against);
        self.counters(&all, loose, &mut checks);
        self.power(&whole, all.iter().map(|stretch| stretch.energy.abs()).sum(), &mut checks);
        self.clocks(&whole, &mut checks);
        checks.extend(self.nothing_beside());
        #[expect(clippy::cast_precision_loss, reason = "a count of samples")]
        if self.state.is_some() && whole.samples > 0 {
            let part = whole.against as f64 / whole.samples as f64;
            checks.push(if part > STATES {
                AccountCheck::Clashes(format!(
                    "in {} of the rows the column of states says the opposite of the current {}: write `sign` in the test",
                    show_percent(part),
                    self.current
                ))
            } else {
                let text = "the column of states and the direction of the current".to_owned();
                AccountCheck::Agrees(Compared::States, text)
            });
        }
        checks
    }

    /// What the log lacks of what it could be held against.
    fn nothing_beside(&self) -> Option<AccountCheck> {
        let lacks = [
            (self.counters.is_empty(), "no counter of charge"),
            (self.power.is_none(), "no power"),
            (self.other.is_none(), "no second clock"),
            (self.state.is_none(), "no column of states"),
        ];
        let lacks = lacking(lacks);
        let text = || format!("the log has {} to hold its figures against", words::list(&lacks, "and"));
        (!lacks.is_empty()).then(|| AccountCheck::NotCompared(text()))
    }

    /// Counters that moved in a stretch, and by how much, C.
    fn moving(&self, stretch: &Stretch) -> impl Iterator<Item = (&Counter, f64)> {
        self.counters.iter().zip(stretch.counted).filter(|(_, counted)| *counted > 0.0)
    }

    /// A counter that agrees with the charge of these stretches. One is enough: others may count one direction, or from long
    /// before.
    fn counted<'a>(
        &self,
        stretches: impl Iterator<Item = &'a Stretch> + Clone,
        loose: f64,
    ) -> Option<String> {
        let whole = joined(stretches.clone())?;
        let moved: f64 = stretches.map(|stretch| stretch.charge.abs()).sum();
        let margin = |counter: &Counter| {
            COUNTED * moved
                + 2.5 * loose
                + 3.0 * counter.smallest.min(moved / 20.0)
                + f64::from(whole.resets + 1) * whole.longest * whole.largest.abs()
        };
        let agrees =
            self.moving(&whole).find(|(counter, counted)| (counted - moved).abs() <= margin(counter));
        let charge = |q: f64| show(q, Dimension::CHARGE);
        agrees.map(|(counter, counted)| {
            format!("charge {} and the counter {}: {}", charge(moved), counter.name, charge(counted))
        })
    }

    fn counters(&self, all: &[Stretch], loose: f64, checks: &mut Vec<AccountCheck>) {
        let Some(whole) = joined(all.iter()).filter(|_| !self.counters.is_empty()) else { return };
        let charge = |q: f64| show(q, Dimension::CHARGE);
        // A counter for each direction, where none counts both.
        let each_way = || {
            let of = |kind| self.counted(all.iter().filter(move |stretch| stretch.kind == kind), loose);
            let (into, out) = (of(StretchKind::Charge)?, of(StretchKind::Discharge)?);
            Some(format!("{into}; {out}"))
        };
        let agrees = self.counted(all.iter(), loose).or_else(each_way);
        checks.push(match (agrees, self.moving(&whole).next()) {
            (Some(text), _) => AccountCheck::Agrees(Compared::Charge, text),
            (None, Some((counter, counted))) => {
                let moved = all.iter().map(|stretch| stretch.charge.abs()).sum();
                let unit = if counter.unit_assumed { " (its unit is assumed)" } else { "" };
                AccountCheck::Clashes(format!(
                    "the charge is {} by the current {} and {} by the counter {}{unit}: one of the columns, or the unit of \
                     one or of the clock {}, is not what it is taken for; set it, for example `columns = [\"{} = charge in \
                     mAh\"]`",
                    charge(moved),
                    self.current,
                    charge(counted),
                    counter.name,
                    self.clock,
                    header_of(&counter.name)
                ))
            }
            (None, None) => AccountCheck::NotCompared("the charge: no counter moves".to_owned()),
        });
    }

    fn power(&self, whole: &Stretch, own: f64, checks: &mut Vec<AccountCheck>) {
        let Some((_, name)) = &self.power else { return };
        let its = whole.power;
        if !(own.is_finite() && its.is_finite()) || its == 0.0 {
            checks.push(AccountCheck::NotCompared(format!("power: {name} has gaps, or there is no voltage")));
        } else if (own - its).abs() <= POWER * own.max(its) {
            let text = format!("voltage times current and the power {name}");
            checks.push(AccountCheck::Agrees(Compared::Power, text));
        } else {
            let energy = |e: f64| show(e, Dimension::ENERGY);
            checks.push(AccountCheck::Clashes(format!(
                "the energy is {} by the voltage and the current {}, and {} by the power {name}: one of the three columns is \
                 not what it is taken for; set it, for example `columns = [\"{} = ignore\"]`",
                energy(own),
                self.current,
                energy(its),
                header_of(name)
            )));
        }
    }

    fn clocks(&self, whole: &Stretch, checks: &mut Vec<AccountCheck>) {
        let Some((_, name, _)) = &self.other else { return };
        let [own, its] = whole.clocks;
        if own <= 0.0 {
            return;
        }
        if (own - its).abs() <= CLOCK * own.max(its) + 2.0 * whole.longest.max(1.0) {
            let text = format!("the clocks {} and {name}", self.clock);
            checks.push(AccountCheck::Agrees(Compared::Clocks, text));
        } else {
            let time = |t: f64| show(t, Dimension::TIME);
            checks.push(AccountCheck::Clashes(format!(
                "the same stretch lasts {} by the clock {} and {} by {name}: say which is right, for example `\"{}\" = ignore` \
                 in `columns`",
                time(own),
                self.clock,
                time(its),
                header_of(name)
            )));
        }
    }
}

fn joined<'a>(stretches: impl Iterator<Item = &'a Stretch>) -> Option<Stretch> {
    stretches.copied().reduce(|mut whole, next| {
        whole.join(&next);
        whole
    })
}

/// When between two samples the instrument began a step, where the later one is `since` s into it.
pub fn switched(before: f64, now: f64, since: f64) -> Option<f64> {
    (since >= 0.0 && since <= 1.001 * (now - before)).then(|| (now - since).max(before))
}

/// Whether the voltage goes the way that the direction of a current makes it go.
fn direction(stretch: &Stretch, largest: f64, current: &str) -> Option<AccountCheck> {
    let (first, last) = (stretch.first_voltage, stretch.last_voltage);
    if !(first.is_finite() && last.is_finite())
        || stretch.samples < 20
        || stretch.largest.abs() < largest / 10.0
    {
        return None;
    }
    let rise = (last - first) / first.abs().max(last.abs());
    let against = match stretch.kind {
        StretchKind::Discharge => rise > AGAINST,
        StretchKind::Charge => rise < -AGAINST,
        StretchKind::Rest => false,
    };
    against.then(|| {
        let volts = |v: f64| show(v, Dimension::VOLTAGE);
        AccountCheck::Clashes(format!(
            "the voltage goes from {} to {} while {current} is taken as a {}: write `sign = \"discharge positive\"` or \
             `\"discharge negative\"` in the test",
            volts(first),
            volts(last),
            stretch.kind
        ))
    })
}
