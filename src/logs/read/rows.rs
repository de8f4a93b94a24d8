//! Samples in memory: times, line numbers and values side by side.

/// Samples in the order of their times.
#[derive(Debug, Clone, Default)]
pub(super) struct Rows {
    width: usize,
    pub lines: Vec<u64>,
    pub times: Vec<f64>,
    pub breaks: Vec<bool>,
    values: Vec<f64>,
}

impl Rows {
    pub fn new(width: usize) -> Self {
        Self { width, ..Self::default() }
    }

    pub fn width(&self) -> usize {
        self.width
    }

    pub fn len(&self) -> usize {
        self.times.len()
    }

    pub fn is_empty(&self) -> bool {
        self.times.is_empty()
    }

    #[inline]
    pub fn push(&mut self, line: u64, time: f64, after_break: bool, values: &[f64]) {
        self.lines.push(line);
        self.times.push(time);
        self.breaks.push(after_break);
        self.values.extend_from_slice(values);
    }

    /// Appends rows on consecutive lines; `values` are those of all of them.
    pub fn extend(&mut self, first_line: u64, times: impl Iterator<Item = f64>, values: &[f64]) {
        self.times.extend(times);
        self.lines.extend(first_line..first_line + (self.times.len() - self.lines.len()) as u64);
        self.breaks.resize(self.times.len(), false);
        self.values.extend_from_slice(values);
    }

    pub fn insert(&mut self, at: usize, line: u64, time: f64, values: &[f64]) {
        self.lines.insert(at, line);
        self.times.insert(at, time);
        self.breaks.insert(at, false);
        let from = at * self.width;
        self.values.splice(from..from, values.iter().copied());
    }

    pub fn values(&self, at: usize) -> &[f64] {
        let from = at * self.width;
        self.values.get(from..from + self.width).unwrap_or_default()
    }

    pub fn truncate(&mut self, len: usize) {
        self.lines.truncate(len);
        self.times.truncate(len);
        self.breaks.truncate(len);
        self.values.truncate(len * self.width);
    }

    pub fn drain_front(&mut self, count: usize) {
        let count = count.min(self.len());
        self.lines.drain(..count);
        self.times.drain(..count);
        self.breaks.drain(..count);
        self.values.drain(..count * self.width);
    }

    pub fn block(&self, count: usize) -> Block<'_> {
        Block { rows: self, count: count.min(self.len()) }
    }
}

/// Some samples of a log, in the order of their times.
#[derive(Debug, Clone, Copy)]
pub struct Block<'a> {
    rows: &'a Rows,
    count: usize,
}

impl<'a> Block<'a> {
    /// Number of samples.
    pub fn len(&self) -> usize {
        self.count
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.count == 0
    }

    /// Whether the log's clock restarted before any of them.
    pub fn has_breaks(&self) -> bool {
        self.rows.breaks.iter().take(self.count).any(|after_break| *after_break)
    }

    /// The samples.
    pub fn samples(&self) -> impl Iterator<Item = Sample<'a>> + Clone + use<'a> {
        let rows = self.rows;
        let width = rows.width.max(1);
        rows.times
            .iter()
            .zip(&rows.lines)
            .zip(&rows.breaks)
            .zip(rows.values.chunks_exact(width))
            .take(self.count)
            .map(|(((time, line), after_break), values)| Sample {
                line: *line,
                time: *time,
                after_break: *after_break,
                values,
            })
    }
}

/// One sample: SI units, missing values are NaN.
#[derive(Debug, Clone, Copy)]
pub struct Sample<'a> {
    /// Line of the file, from 1.
    pub line: u64,
    /// Time in seconds; elapsed times as written, clock times and timestamps from the first sample on.
    pub time: f64,
    /// The log's clock restarted before this sample: how long ago the one before it was taken is not known.
    pub after_break: bool,
    /// Values by [`super::Slot`].
    pub values: &'a [f64],
}

impl Sample<'_> {
    /// A value in SI units; NaN where the log has none.
    #[inline]
    pub fn get(&self, slot: super::Slot) -> f64 {
        self.values.get(slot.0).copied().unwrap_or(f64::NAN)
    }
}
