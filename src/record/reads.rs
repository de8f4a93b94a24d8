//! Whether a field that is withheld or in doubt was read, so that what was made without it is not shown as if it were right.
//!
//! A derivation may ask whether a field is there and go another way when it is not. In a published record that way gives
//! another value than the truth. Every accessor of a field therefore notes that it met a withheld one, and whoever
//! derives a fact asks afterwards. Nothing is noted outside of [`watch`], and one watch does not see into another.

use std::cell::{Cell, RefCell};
use std::sync::Arc;

use super::doubt::Doubt;

thread_local! {
    /// Watched, and met.
    static READS: Cell<(bool, bool)> = const { Cell::new((false, false)) };
    /// Whether anything withheld was read, watched or not.
    static ANY: Cell<bool> = const { Cell::new(false) };
    /// Doubts about the values that were read.
    static DOUBTS: RefCell<Vec<Arc<Doubt>>> = const { RefCell::new(Vec::new()) };
}

/// Derives something and says whether a withheld field was read on the way.
pub(crate) fn watch<T>(derive: impl FnOnce() -> T) -> (T, bool) {
    let before = READS.replace((true, false));
    let doubts = DOUBTS.take();
    let derived = derive();
    DOUBTS.set(doubts);
    (derived, READS.replace(before).1)
}

/// Does something and says whether anything withheld was read on the way, in a watch within it too.
pub(crate) fn any<T>(work: impl FnOnce() -> T) -> (T, bool) {
    let before = ANY.replace(false);
    let done = work();
    let read = ANY.get();
    ANY.set(before || read);
    (done, read)
}

/// Notes that a value was read that is in doubt.
pub(crate) fn note_doubt(doubt: &Arc<Doubt>) {
    if READS.get().0 {
        DOUBTS.with_borrow_mut(|doubts| {
            if !doubts.contains(doubt) {
                doubts.push(Arc::clone(doubt));
            }
        });
    }
}

/// Doubts about what was read since [`watch`] began.
pub(crate) fn doubts() -> Vec<Arc<Doubt>> {
    DOUBTS.with_borrow(Clone::clone)
}

/// Notes that a withheld field was read.
pub(crate) fn note_withheld() {
    let (watched, met) = READS.get();
    READS.set((watched, met || watched));
    ANY.set(true);
}

/// Whether a withheld field was read since [`watch`] began.
pub(crate) fn met() -> bool {
    READS.get().1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Record, State};

    #[test]
    fn a_withheld_field_is_noted_where_somebody_watches() {
        let mut record = Record::default();
        record.cells.series.found_mut().state = State::Withheld;
        let read = |record: &Record| record.cells.series.count();
        assert_eq!(read(&record), None);
        assert!(!met());
        let (_, met_one) = watch(|| {
            read(&record);
            assert!(met());
            let (_, inner) = watch(|| record.cells.capacity.quantity().is_some());
            assert!(!inner);
            record.cells.series.is_recorded()
        });
        let ((), met_two) = watch(|| {
            watch(|| read(&record));
            assert!(!met(), "one watch does not see into another");
        });
        assert!(met_one && !met_two && !met());
    }
}
