//! Rows of the last build, looked up in its JSON Lines.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::CollectionError;
use super::column::{Table, TableCell};

/// Where something stands in a file: its first byte, and how many there are.
pub(super) type Bytes = (u64, u64);

/// Where the rows of an inspection stand in the text files of a table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct RowsAt {
    pub(super) csv: Bytes,
    pub(super) json: Bytes,
    pub(super) rows: u32,
}

/// JSON Lines of the last build, in which rows are looked up.
#[derive(Debug)]
pub(super) struct OldJson {
    pub(super) file: File,
    pub(super) path: PathBuf,
}

impl OldJson {
    /// Hands on the cells of some rows, line by line.
    pub(super) fn each<R>(
        &self,
        at: &RowsAt,
        table: &Table<R>,
        mut to: impl FnMut(&[TableCell<'_>]) -> Result<(), CollectionError>,
    ) -> Result<(), CollectionError> {
        let mut text = String::new();
        let mut file = &self.file;
        file.seek(SeekFrom::Start(at.json.0))
            .and_then(|_| file.take(at.json.1).read_to_string(&mut text))
            .map_err(CollectionError::read(&self.path))?;
        for line in text.lines() {
            let line = serde_json::from_str(line).ok();
            let cells = line.as_ref().and_then(|line| table.cells_of(line));
            to(&cells.ok_or_else(|| damaged(&self.path))?)?;
        }
        Ok(())
    }
}

/// The error of a file whose content cannot be what was written there.
pub(super) fn damaged(path: &Path) -> CollectionError {
    CollectionError::Inner(format!(
        "{} is not what the last build wrote; build with `--fresh`",
        crate::units::terminal::shown(path)
    ))
}
