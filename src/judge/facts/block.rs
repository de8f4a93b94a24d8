//! Numbers of the sources of uncertainty that derivations bring themselves.

use crate::units::SourceId;

/// Who brings them: each has a block of 65,536 numbers, so that no range is ever taken for a part of another's.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Block {
    Fault,
    NetworkPath,
    NetworkPermissible,
    NetworkReadings,
    NetworkTemperatures,
    Pack,
    Path,
    Rating,
    Rig,
    Strings,
    Withstand,
}

impl Block {
    /// The first of its numbers. What the record and its instruments bring lies below `1 << 31`.
    pub(crate) const fn first(self) -> SourceId {
        (1 << 31) + ((self as SourceId) << 16)
    }
}
