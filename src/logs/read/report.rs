//! What was skipped or repaired while a log was read: counted by kind, each with its first line.

use std::fmt;

use super::rows::Block;

/// Declares the kinds of faults in the order in which they are reported: what each is and what was done, for one and for many.
macro_rules! faults {
    ($( $kind:ident: $one:literal, $many:literal; )+) => {
        /// Something about a log that was not as it should be.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Fault {
            $( #[doc = $many] $kind, )+
        }

        impl Fault {
            /// Every kind, in the order in which they are reported.
            pub const ALL: [Self; [$($one),+].len()] = [ $( Self::$kind, )+ ];

            /// What it is and what was done, for one and for many.
            pub fn describe(self) -> (&'static str, &'static str) {
                match self {
                    $( Self::$kind => ($one, $many), )+
                }
            }
        }
    };
}

faults! {
    Preamble: "line above the table passed over", "lines above the table passed over";
    Blank: "blank line passed over", "blank lines passed over";
    RepeatedHeader: "repeated header passed over", "repeated headers passed over";
    OtherHeader:
        "other header in the middle of the table: what follows it is not read until the first header comes again",
        "other headers in the middle of the table: what follows them is not read until the first header comes again";
    UnderOtherHeader: "row under another header not read", "rows under another header not read";
    LeftOut: "row of another kind left out, as said", "rows of another kind left out, as said";
    Zeros:
        "row with zero bytes skipped, as a power failure or a broken disk leaves them",
        "rows with zero bytes skipped, as a power failure or a broken disk leaves them";
    ShortRow:
        "row with too few fields: what it lacks is missing",
        "rows with too few fields: what they lack is missing";
    LongRow:
        "row with more fields than headers: the surplus is ignored",
        "rows with more fields than headers: the surplus is ignored";
    LineTooLong: "line too long to be a row skipped", "lines too long to be rows skipped";
    Truncated: "last row cut off in the middle: skipped", "rows cut off in the middle: skipped";
    OpenEnd:
        "last row without a line end: kept, its last number may lack digits",
        "last rows without a line end: kept, their last numbers may lack digits";
    UnreadableTime:
        "row skipped because its time cannot be read",
        "rows skipped because their time cannot be read";
    UnreadableRow: "row that is no data skipped", "rows that are no data skipped";
    Footer: "line below the table passed over", "lines below the table passed over";
    Missing: "empty cell: value missing", "empty cells: values missing";
    Overflow:
        "overflow mark of the instrument: value missing",
        "overflow marks of the instrument: values missing";
    UnreadableValue:
        "cell that is no number, or has the unit of another quantity: value missing",
        "cells that are no numbers, or have the unit of another quantity: values missing";
    Implausible:
        "number beyond anything a bench test gives: value missing",
        "numbers beyond anything a bench test gives: values missing";
    UnitInCell:
        "cell with a unit of its own read in that unit",
        "cells with a unit of their own read in that unit";
    Duplicate: "row that repeats a sample dropped", "rows that repeat a sample dropped";
    SameTime:
        "further sample at the same time with other readings kept",
        "further samples at the same time with other readings kept";
    Reordered: "row that came late put in its place", "rows that came late put in their places";
    TimeFault:
        "row dropped: its time lies before the rows around it, so when it was taken is not known",
        "rows dropped: their time lies before the rows around them, so when they were taken is not known";
    TimeFaultRepeated:
        "row with a false time dropped: the next row repeats its readings with a time that fits, so nothing is lost",
        "rows with a false time dropped: the next row repeats their readings with a time that fits, so nothing is \
         lost";
    TimeSpike:
        "row dropped: its time lies far after the rows that follow",
        "rows dropped: their time lies far after the rows that follow";
    ClockRestart:
        "restart of the log's clock: the time in between is not known",
        "restarts of the log's clock: the times in between are not known";
    Spike:
        "single voltage or current far off both its neighbours, a false reading or a short pulse: kept, it counts \
         in every figure, and charge and energy are uncertain by what it makes",
        "single voltages or currents far off both their neighbours, false readings or short pulses: kept, they \
         count in every figure, and charge and energy are uncertain by what they make";
    SpikeRun:
        "voltages or currents in a row far off what lies before and after them, false readings or a pulse: kept, \
         they count in every figure, and charge and energy are uncertain by what they make",
        "voltages or currents in a row far off what lies before and after them, false readings or a pulse: kept, \
         they count in every figure, and charge and energy are uncertain by what they make";
}

impl Fault {
    /// Whether samples or values were lost or their times are in doubt, so that figures may suffer.
    pub fn touches_figures(self) -> bool {
        !matches!(
            self,
            Self::Preamble
                | Self::Blank
                | Self::RepeatedHeader
                | Self::Footer
                | Self::LeftOut
                | Self::UnitInCell
                | Self::Duplicate
                | Self::SameTime
                | Self::LongRow
                | Self::OpenEnd
                | Self::TimeFaultRepeated
        )
    }
}

/// How often, and where first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// How often.
    pub count: u64,
    /// Line of the first one; 0 when there is none.
    pub first_line: u64,
}

impl Tally {
    pub(super) fn add(&mut self, line: u64) {
        if self.count == 0 {
            self.first_line = line;
        }
        self.count += 1;
    }
}

/// An account of reading one log.
#[derive(Debug, Clone, Default)]
pub struct ReadReport {
    /// Rows of the table that were looked at.
    pub rows: u64,
    /// Samples that were handed over.
    pub samples: u64,
    /// Time of the first sample, s.
    pub first_time: Option<f64>,
    /// Time of the last sample, s.
    pub last_time: Option<f64>,
    /// Midnights that a clock without a date passed.
    pub midnights: u32,
    /// Which way the current counts is not known: it is kept as written.
    pub sign_not_decided: bool,
    pub(super) columns: usize,
    tallies: [Tally; Fault::ALL.len()],
}

impl ReadReport {
    /// How often one kind was met.
    pub fn tally(&self, fault: Fault) -> Tally {
        self.tallies.get(fault as usize).copied().unwrap_or_default()
    }

    /// Every kind that was met.
    pub fn faults(&self) -> impl Iterator<Item = (Fault, Tally)> {
        Fault::ALL.into_iter().map(|fault| (fault, self.tally(fault))).filter(|(_, tally)| tally.count > 0)
    }

    /// Whether nothing was met that may touch the figures.
    pub fn is_clean(&self) -> bool {
        !self.sign_not_decided && !self.faults().any(|(fault, _)| fault.touches_figures())
    }

    pub(super) fn add(&mut self, fault: Fault, line: u64) {
        self.add_many(fault, 1, line);
    }

    pub(super) fn add_many(&mut self, fault: Fault, count: u64, line: u64) {
        self.add_all(fault, Tally { count, first_line: line });
    }

    pub(super) fn add_all(&mut self, fault: Fault, more: Tally) {
        if more.count > 0
            && let Some(tally) = self.tallies.get_mut(fault as usize)
        {
            if tally.count == 0 {
                tally.first_line = more.first_line;
            }
            tally.count += more.count;
        }
    }

    pub(super) fn passed(&mut self, block: Block<'_>) {
        self.samples += block.len() as u64;
        let mut samples = block.samples();
        if let Some(first) = samples.next() {
            self.first_time.get_or_insert(first.time);
            self.last_time = Some(samples.last().map_or(first.time, |last| last.time));
        }
    }
}

impl fmt::Display for ReadReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} rows, {} samples", self.rows, self.samples)?;
        if let (Some(first), Some(last)) = (self.first_time, self.last_time) {
            let span = crate::units::show(last - first, crate::units::Dimension::TIME);
            write!(f, " over {span}")?;
        }
        for (fault, tally) in self.faults() {
            let (one, many) = fault.describe();
            let text = if tally.count == 1 { one } else { many };
            let from = if tally.count == 1 { "line" } else { "first at line" };
            write!(f, "\n{} {text} ({from} {})", tally.count, tally.first_line)?;
        }
        if self.midnights > 0 {
            let times =
                if self.midnights == 1 { "once".to_owned() } else { format!("{} times", self.midnights) };
            write!(f, "\nthe clock passed midnight {times}")?;
        }
        if self.sign_not_decided {
            f.write_str(
                "\nthe sign of the current or power is not decided: it is kept as written, positive taken as discharge; charge and energy may stand for the opposite direction",
            )?;
        }
        Ok(())
    }
}
