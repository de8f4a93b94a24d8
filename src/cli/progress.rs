//! How far a long run has come, on standard error: only where a person sees it, never in a pipe or a file.

use std::io::{IsTerminal, Write};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use crate::evidence::hash::Progress;
use crate::units::terminal;

/// Shorter runs show nothing.
const AFTER: Duration = Duration::from_millis(300);
/// The line is written this often at most.
const EVERY: Duration = Duration::from_millis(100);
const MEGABYTE: f64 = 1e6;

/// One line that is overwritten, and gone at the end.
pub(super) struct Line {
    what: &'static str,
    state: Option<Mutex<State>>,
}

struct State {
    begun: Instant,
    last: Option<Instant>,
}

impl Line {
    /// A line that says what is being done.
    pub(super) fn new(what: &'static str) -> Self {
        let seen = std::io::stderr().is_terminal();
        let state = seen.then(|| Mutex::new(State { begun: Instant::now(), last: None }));
        Self { what, state }
    }

    /// Shows how far it has come; told by several threads at once.
    pub(super) fn show(&self, progress: Progress) {
        // A thread that finds another one writing has nothing to add.
        let Some(mut state) = self.state.as_ref().and_then(|state| state.try_lock().ok()) else { return };
        let now = Instant::now();
        let due = state.last.map_or(now - state.begun >= AFTER, |last| now - last >= EVERY);
        if !due {
            return;
        }
        state.last = Some(now);
        let (done, total) = (progress.done as f64, (progress.total as f64).max(1.0));
        let percent = (100.0 * done / total).min(100.0);
        let (done, total) = (done / MEGABYTE, total / MEGABYTE);
        let mut err = terminal::err();
        let _ = err.again();
        let _ = write!(err, "{}: {percent:.0} %, {done:.0} of {total:.0} MB", self.what);
    }
}

impl Drop for Line {
    fn drop(&mut self) {
        let written =
            self.state.as_ref().and_then(|state| state.lock().ok()).is_some_and(|s| s.last.is_some());
        if written {
            let _ = terminal::err().again();
        }
    }
}
