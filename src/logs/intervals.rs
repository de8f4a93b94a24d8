//! The intervals between the samples of a log, in constant memory: which length is usual, and which are gaps.
//!
//! How much of everything falls to intervals of each length is kept in bins of a quarter of an octave, the longest
//! intervals one by one. What the usual interval is shows only at the end, so no gap is decided on the way.

/// An interval is a gap when it is this many octaves longer than the usual one: four times as long as the
/// upper end of the usual one's bin.
const GAP_OCTAVES: usize = 2;
/// Longest gaps that are listed one by one.
const LONGEST: usize = 64;
/// Intervals between samples: how much of everything falls to intervals of each length, and the longest.
#[derive(Debug, Clone)]
pub(super) struct Intervals {
    /// By length, four bins an octave from 2⁻²⁰ s.
    bins: Vec<Bin>,
    /// The bin that intervals fall into just now, kept apart because most logs have only one.
    current: usize,
    in_current: Bin,
    longest: Vec<Interval>,
    shortest_kept: f64,
}

/// Intervals of about one length.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Bin {
    count: u64,
    /// Their time, s.
    time: f64,
    /// Width of the range of the current times the length, A·s.
    pub charge: f64,
    /// The same of the power, W·s.
    pub energy: f64,
    /// What the middle of the range, between no current and that of the larger end, lies beyond the trapezoid, C.
    pub charge_shift: f64,
    /// The same of the energy, J.
    pub energy_shift: f64,
}

impl Bin {
    fn join(&mut self, other: Self) {
        self.count += other.count;
        self.time += other.time;
        self.charge += other.charge;
        self.energy += other.energy;
        self.charge_shift += other.charge_shift;
        self.energy_shift += other.energy_shift;
    }
}

#[derive(Debug, Clone, Copy)]
pub(super) struct Interval {
    pub from: f64,
    pub length: f64,
    pub charge: f64,
}

/// Width and middle of the range between nothing and the ends `a` and `b`, and what the middle lies beyond their mean.
#[inline]
fn range(a: f64, b: f64) -> (f64, f64) {
    let (low, high) = (a.min(b).min(0.0), a.max(b).max(0.0));
    (high - low, (high + low) / 2.0 - (a + b) / 2.0)
}

const OCTAVE: usize = 4;
const BINS: usize = 52 * OCTAVE;
const FIRST_BIN: u64 = (1023 - 20) << 2;

impl Default for Intervals {
    fn default() -> Self {
        Self {
            bins: vec![Bin::default(); BINS],
            current: 0,
            in_current: Bin::default(),
            longest: Vec::new(),
            shortest_kept: 0.0,
        }
    }
}

impl Intervals {
    /// Takes an interval: when it began, its length, its charge, and the currents and powers of its ends.
    #[inline]
    pub fn add(&mut self, interval: Interval, current: (f64, f64), power: (f64, f64)) {
        // The exponent and the two highest bits of the mantissa.
        let bin = (interval.length.to_bits() >> 50).saturating_sub(FIRST_BIN);
        let bin = bin.min(BINS as u64 - 1) as usize;
        if bin != self.current {
            self.turn(bin);
        }
        let ((current, current_shift), (power, power_shift)) =
            (range(current.0, current.1), range(power.0, power.1));
        let (charge, energy) = (current * interval.length, power * interval.length);
        self.in_current.charge_shift += current_shift * interval.length;
        self.in_current.energy_shift += power_shift * interval.length;
        self.in_current.count += 1;
        self.in_current.time += interval.length;
        self.in_current.charge += charge;
        self.in_current.energy += energy;
        if interval.length > self.shortest_kept {
            self.keep(interval);
        }
    }

    fn turn(&mut self, bin: usize) {
        let done = std::mem::take(&mut self.in_current);
        if let Some(place) = self.bins.get_mut(self.current) {
            place.join(done);
        }
        self.current = bin;
    }

    fn keep(&mut self, interval: Interval) {
        if self.longest.len() >= 2 * LONGEST {
            self.longest.sort_by(|a, b| b.length.total_cmp(&a.length));
            self.longest.truncate(LONGEST);
            self.shortest_kept = self.longest.last().map_or(0.0, |last| last.length);
        }
        self.longest.push(interval);
    }

    pub fn finish(&self) -> Gaps {
        let mut all = self.clone();
        all.turn(0);
        let Some(usual) = all.usual_bin() else {
            return Gaps::default();
        };
        let first = usual + 1 + GAP_OCTAVES * OCTAVE;
        let mut gaps = Bin::default();
        all.bins.iter().skip(first).for_each(|bin| gaps.join(*bin));
        let shortest = edge(first);
        let mut listed: Vec<Interval> =
            all.longest.into_iter().filter(|interval| interval.length >= shortest).collect();
        listed.sort_by(|a, b| b.length.total_cmp(&a.length));
        listed.truncate(LONGEST);
        listed.sort_by(|a, b| a.from.total_cmp(&b.from));
        let further = gaps.count.saturating_sub(listed.len() as u64);
        let listed_time: f64 = listed.iter().map(|gap| gap.length).sum();
        let further_time = if further > 0 { (gaps.time - listed_time).max(0.0) } else { 0.0 };
        Gaps { usual: Some(edge(usual + 1)), listed, further, further_time, gaps }
    }

    /// The bin of the interval in which half of the time was spent, the eight longest intervals left out.
    fn usual_bin(&self) -> Option<usize> {
        let mut longest: Vec<f64> = self.longest.iter().map(|i| i.length).collect();
        longest.sort_by(|a, b| b.total_cmp(a));
        let count: u64 = self.bins.iter().map(|bin| bin.count).sum();
        let left_out: f64 = if count >= 32 { longest.iter().take(8).sum() } else { 0.0 };
        let all: f64 = self.bins.iter().map(|bin| bin.time).sum::<f64>() - left_out;
        let mut passed = 0.0;
        self.bins.iter().position(|bin| {
            passed += bin.time;
            passed >= all / 2.0 && passed > 0.0
        })
    }
}

/// Lower end of a bin, s.
fn edge(bin: usize) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "a few hundred bins")]
    let (octave, quarter) = ((bin / OCTAVE) as f64, (bin % OCTAVE) as f64);
    (1.0 + quarter / 4.0) * 2_f64.powf(octave - 20.0)
}

#[derive(Default)]
pub(super) struct Gaps {
    pub usual: Option<f64>,
    pub listed: Vec<Interval>,
    pub further: u64,
    pub further_time: f64,
    /// All of them, those that are not listed among them.
    pub gaps: Bin,
}
