//! Puts samples in the order of their times, with a bounded view back.
//!
//! A time that does not rise is one of five things, told apart by what follows within [`WINDOW`] rows:
//! - the same sample again: dropped,
//! - two samples at one time with different readings, as loads write them at a step: both kept,
//! - a row that came late and fits between two earlier ones: put in its place,
//! - a row whose time belongs nowhere, while the rows around it go on: dropped, its time cannot be known,
//! - a clock that went back and stays back: the rows are kept, one usual interval is put between, and the
//!   sample is marked, because how long ago the one before it was taken is not known.
//!
//! A row or three far ahead of all that follow are the reverse of the fourth, and are dropped as well.

use super::report::{Fault, ReadReport};
use super::rows::Rows;

/// Rows that are held back before they are final.
pub(super) const WINDOW: usize = 32;
/// Rows ahead of all that follow which are taken for faults, not for a clock that was set back.
const SPIKES: usize = 3;

/// The state of sorting.
pub(super) struct Order {
    suspects: Rows,
    offset: f64,
}

impl Order {
    pub fn new(width: usize) -> Self {
        Self { suspects: Rows::new(width), offset: 0.0 }
    }

    /// Takes the next row of the file.
    #[inline]
    pub fn push(&mut self, out: &mut Rows, line: u64, time: f64, values: &[f64], report: &mut ReadReport) {
        let time = time + self.offset;
        match out.times.last() {
            Some(newest) if time <= *newest => self.odd(out, line, time, values, report),
            _ => {
                if !self.suspects.is_empty() {
                    self.place(out, Some(values), report);
                }
                out.push(line, time, false, values);
            }
        }
    }

    /// Takes as many of the next rows as follow each other without anything odd, on consecutive lines;
    /// gives their number. `start` is taken from every time.
    pub fn run(&self, out: &mut Rows, first_line: u64, times: &[f64], start: f64, values: &[f64]) -> usize {
        if !self.suspects.is_empty() {
            return 0;
        }
        let frame = |time: &f64| (time - start) + self.offset;
        let newest = out.times.last().copied().unwrap_or(f64::NEG_INFINITY);
        let mut before = newest;
        let rising = times
            .iter()
            .take_while(|time| {
                let now = frame(time);
                let rises = now > before;
                before = now;
                rises
            })
            .count();
        let values = values.get(..rising * out.width()).unwrap_or_default();
        out.extend(first_line, times.iter().take(rising).map(frame), values);
        rising
    }

    fn odd(&mut self, out: &mut Rows, line: u64, time: f64, values: &[f64], report: &mut ReadReport) {
        if out.times.last() == Some(&time) {
            if !self.suspects.is_empty() {
                self.place(out, Some(values), report);
            }
            if same(out.values(out.len() - 1), values) {
                report.add(Fault::Duplicate, line);
            } else {
                report.add(Fault::SameTime, line);
                out.push(line, time, false, values);
            }
            return;
        }
        self.suspects.push(line, time, false, values);
        if self.suspects.len() == WINDOW {
            self.turn(out, report);
        }
    }

    /// The file is at its end.
    pub fn finish(&mut self, out: &mut Rows, report: &mut ReadReport) {
        let rising = self.suspects.times.windows(2).all(|pair| match pair {
            [a, b] => a < b,
            _ => true,
        });
        if self.suspects.len() > SPIKES && rising {
            self.turn(out, report);
        }
        self.place(out, None, report);
    }

    /// Suspects between rows that go on: late ones find their place, the others are dropped.
    fn place(&mut self, out: &mut Rows, next: Option<&[f64]>, report: &mut ReadReport) {
        let empty = Rows::new(self.suspects.width());
        let suspects = std::mem::replace(&mut self.suspects, empty);
        for (index, (line, time)) in suspects.lines.iter().zip(&suspects.times).enumerate() {
            let values = suspects.values(index);
            let held = out.len().saturating_sub(WINDOW);
            let after =
                out.times.get(held..).unwrap_or_default().partition_point(|known| known <= time) + held;
            let left = after
                .checked_sub(1)
                .filter(|left| *left >= held)
                .and_then(|left| out.times.get(left).map(|known| (left, *known)));
            match left {
                Some((left, known)) if known == *time => {
                    if same(out.values(left), values) {
                        report.add(Fault::Duplicate, *line);
                    } else {
                        report.add(Fault::TimeFault, *line);
                    }
                }
                Some(_) => {
                    report.add(Fault::Reordered, *line);
                    out.insert(after, *line, *time, values);
                }
                None if next.is_some_and(|next| same(next, values)) => {
                    report.add(Fault::TimeFaultRepeated, *line);
                }
                None => report.add(Fault::TimeFault, *line),
            }
        }
    }

    /// The time stays back: either the newest rows were ahead by fault, or the clock restarted.
    fn turn(&mut self, out: &mut Rows, report: &mut ReadReport) {
        let Some(first) = self.suspects.times.first().copied() else {
            return;
        };
        let empty = Rows::new(self.suspects.width());
        let suspects = std::mem::replace(&mut self.suspects, empty);
        let ahead = out.times.iter().rev().take_while(|t| **t >= first).count();
        let keep = out.len() - ahead;
        let mut after_break = false;
        let mut shift = 0.0;
        if ahead <= SPIKES {
            if let Some(line) = out.lines.get(keep) {
                report.add_many(Fault::TimeSpike, ahead as u64, *line);
            }
            out.truncate(keep);
        } else if let (Some(newest), Some(line)) = (out.times.last(), suspects.lines.first()) {
            report.add(Fault::ClockRestart, *line);
            shift = newest + usual_interval(&out.times) - first;
            self.offset += shift;
            after_break = true;
        }
        for (index, (line, time)) in suspects.lines.iter().zip(&suspects.times).enumerate() {
            let values = suspects.values(index);
            let time = time + shift;
            if index == 0 {
                out.push(*line, time, after_break, values);
            } else {
                // `push` adds the offset, which these times already carry.
                self.push(out, *line, time - self.offset, values, report);
            }
        }
    }
}

/// Median of the last intervals, s; one second where there is none.
fn usual_interval(times: &[f64]) -> f64 {
    let tail = times.get(times.len().saturating_sub(WINDOW)..).unwrap_or_default();
    let intervals = tail.windows(2).filter_map(|pair| match pair {
        [a, b] if b > a => Some(b - a),
        _ => None,
    });
    crate::logs::median(intervals).unwrap_or(1.0)
}

fn same(left: &[f64], right: &[f64]) -> bool {
    left.iter().zip(right).all(|(a, b)| a == b || (a.is_nan() && b.is_nan()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(times: &[f64]) -> (Vec<f64>, Vec<usize>, String) {
        let mut order = Order::new(1);
        let mut out = Rows::new(1);
        let mut report = ReadReport::default();
        for (index, time) in times.iter().enumerate() {
            order.push(&mut out, index as u64 + 1, *time, &[index as f64], &mut report);
        }
        order.finish(&mut out, &mut report);
        let breaks = (0..out.len()).filter(|i| out.breaks[*i]).collect();
        let faults: Vec<String> =
            report.faults().map(|(fault, tally)| format!("{fault:?} {}", tally.count)).collect();
        (out.times, breaks, faults.join(", "))
    }

    #[test]
    fn kinds_are_told_apart() {
        let rising: Vec<f64> = (0..50).map(f64::from).collect();
        assert_eq!(sorted(&rising), (rising.clone(), vec![], String::new()));
        assert_eq!(
            sorted(&[1.0, 2.0, 4.0, 3.0, 5.0]),
            (vec![1.0, 2.0, 3.0, 4.0, 5.0], vec![], "Reordered 1".to_owned())
        );
        assert_eq!(sorted(&[1.0, 2.0, 2.0, 3.0]).2, "SameTime 1", "two readings at one time");
        assert_eq!(
            sorted(&[10.0, 11.0, 0.0, 12.0, 13.0]),
            (vec![10.0, 11.0, 12.0, 13.0], vec![], "TimeFault 1".to_owned())
        );
        // A clock that restarts: 40 rows, then 40 rows from zero again.
        let twice: Vec<f64> = (0..40).chain(0..40).map(f64::from).collect();
        let (times, breaks, faults) = sorted(&twice);
        assert_eq!((times.len(), breaks, faults.as_str()), (80, vec![40], "ClockRestart 1"));
        assert!(times.windows(2).all(|pair| pair[1] - pair[0] == 1.0));
        // One row far ahead.
        let mut spike = rising.clone();
        spike[10] = 1e6;
        let (times, breaks, faults) = sorted(&spike);
        assert_eq!((times.len(), breaks, faults.as_str()), (49, vec![], "TimeSpike 1"));
    }

    proptest::proptest! {
        /// Whatever comes in, times never fall, and every row is kept or accounted for.
        #[test]
        fn never_falls_and_loses_nothing(times in proptest::collection::vec(0_u32..60, 0..300)) {
            let mut order = Order::new(1);
            let mut out = Rows::new(1);
            let mut report = ReadReport::default();
            for (index, time) in times.iter().enumerate() {
                order.push(&mut out, index as u64, f64::from(*time), &[index as f64], &mut report);
            }
            order.finish(&mut out, &mut report);
            proptest::prop_assert!(out.times.windows(2).all(|pair| pair[0] <= pair[1]));
            let dropped: u64 = [Fault::Duplicate, Fault::TimeFault, Fault::TimeFaultRepeated, Fault::TimeSpike]
                .iter()
                .map(|fault| report.tally(*fault).count)
                .sum();
            proptest::prop_assert_eq!(out.len() as u64 + dropped, times.len() as u64);
        }
    }
}
