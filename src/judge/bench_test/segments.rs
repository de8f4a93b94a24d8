//! The charges and discharges of a log: which of them is the test, and what is told of them.

use super::course::Course;
use super::{Figure, Work};
use crate::logs::account::{Segment, StretchKind};
use crate::logs::capacity::is_as_set;
use crate::logs::joined::Joined;
use crate::logs::read::Meaning;
use crate::units::{Dimension, show, words};

/// Segments that are listed.
const LISTED: usize = 24;
/// A segment with this part of the charge of the test could be the test as well, where the two are not alike within
/// [`ALIKE`] (common practice, no source).
const RIVAL: f64 = 0.8;
/// Charges that differ by no more than this part are as good as one (common practice, no source).
const ALIKE: f64 = 0.02;

fn moving(course: &Course) -> impl Iterator<Item = Segment> + use<> {
    course.account.segments().into_iter().filter(|segment| segment.whole.kind != StretchKind::Rest)
}

/// How a record names the test among several, for example the one between two times.
fn to_name(course: &Course, from: f64, to: f64) -> String {
    let inside = |segment: &Segment| {
        let middle = (segment.whole.from + segment.whole.to) / 2.0;
        (from..=to).contains(&middle)
    };
    match moving(course).find(inside) {
        Some(segment) => {
            format!("write for example `segment = \"{}\"` in the test to name one", segment.name())
        }
        None => {
            let time = |t: f64| show(t, Dimension::TIME);
            format!("write `from = \"{}\"` and `to = \"{}\"` in the test to name one", time(from), time(to))
        }
    }
}

impl Work<'_> {
    /// From when to when the part goes that the test names as a segment or a cycle.
    pub(super) fn named_part(&self, log: &mut Joined) -> Result<Option<(f64, f64)>, String> {
        let (segment, cycle) = (self.test.segment.text(), self.test.cycle.count());
        if segment.is_none() && cycle.is_none() {
            return Ok(None);
        }
        let cycles = log.layout().slots(Meaning::Cycle).next().map(|(slot, _)| slot);
        if cycle.is_some() && cycles.is_none() {
            return Err("the test names a `cycle`, and the log has no column of cycles: write for example `segment = \
                        \"discharge 1\"` instead"
                .to_owned());
        }
        let mut course = Course::of(self, log.layout());
        let (mut first, mut last) = (f64::INFINITY, f64::NEG_INFINITY);
        log.for_each(|sample| {
            course.take(&sample);
            let of_it = cycles
                .zip(cycle)
                .is_none_or(|(slot, wanted)| (sample.get(slot) - f64::from(wanted)).abs() < 0.5);
            if of_it {
                (first, last) = (first.min(sample.time), last.max(sample.time));
            }
        })?;
        if let Some(cycle) = cycle
            && first > last
        {
            return Err(format!("the log holds no cycle {cycle}"));
        }
        let Some(name) = segment else { return Ok(Some((first, last))) };
        // Numbers are those of the whole log.
        let all: Vec<Segment> = moving(&course).collect();
        let wanted = name.trim().to_lowercase();
        let Some(at) = all.iter().position(|segment| segment.name() == wanted) else {
            let names: Vec<String> = all.iter().take(LISTED).map(Segment::name).collect();
            let names: Vec<&str> = names.iter().map(String::as_str).collect();
            return Err(match names.as_slice() {
                [] => format!("the log holds no segment \"{name}\", no charge and no discharge"),
                names => {
                    format!("the log holds no segment \"{name}\"; it holds {}", words::list(names, "and"))
                }
            });
        };
        // With what lies around it up to the next current: that shows how it began and how it ended.
        let before =
            at.checked_sub(1).and_then(|at| all.get(at)).map_or(f64::NEG_INFINITY, |s| s.whole.to.next_up());
        let after = all.get(at + 1).map_or(f64::INFINITY, |s| s.whole.from.next_down());
        Ok(Some((before.max(first), after.min(last))))
    }

    /// Tells of the charges and discharges, where there are several.
    pub(super) fn segment_figures(&mut self, course: &Course) {
        let all: Vec<Segment> = moving(course).collect();
        if all.len() < 2 {
            return;
        }
        for segment in all.iter().take(LISTED) {
            self.figure(Figure::words(&segment.name(), segment.to_string()).detailed());
        }
        if let Some(more) = all.len().checked_sub(LISTED).filter(|more| *more > 0) {
            self.figure(Figure::words("further charges and discharges", more.to_string()).detailed());
        }
    }

    /// Another segment of the same kind that could be the test as well.
    pub(super) fn rival_segment(
        &mut self,
        course: &Course,
        kind: StretchKind,
        from: f64,
        to: f64,
    ) -> Option<String> {
        let all: Vec<Segment> = moving(course).filter(|segment| segment.whole.kind == kind).collect();
        let overlaps = |segment: &&Segment| segment.whole.from < to && segment.whole.to > from;
        // A discharge with the recorded current is no rival of one with another.
        let set = self.test.current.quantity().filter(|_| kind == StretchKind::Discharge);
        let as_set = |one: &Segment| set.is_none_or(|set| is_as_set(one.mean(), set.value));
        let own: f64 = all.iter().filter(overlaps).map(|segment| segment.whole.charge.abs()).sum();
        let own_as_set = all.iter().filter(overlaps).any(&as_set);
        let rivals: Vec<(&Segment, f64)> = all
            .iter()
            .filter(|segment| !overlaps(segment) && as_set(segment) == own_as_set)
            .map(|segment| (segment, segment.whole.charge.abs() / own))
            .filter(|(_, part)| *part >= RIVAL)
            .collect();
        let (other, _) = rivals.iter().find(|(_, part)| (part - 1.0).abs() > ALIKE)?;
        let text = format!(
            "the log holds {} {kind}s that could be the test, of {} and {} among them: {}",
            rivals.len() + 1,
            show(own, Dimension::CHARGE),
            show(other.whole.charge.abs(), Dimension::CHARGE),
            to_name(course, from, to)
        );
        self.figure(Figure::words("does not add up", text.clone()));
        Some(text)
    }
}
