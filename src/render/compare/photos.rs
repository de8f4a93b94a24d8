//! Photos of the same part beside each other, matched by what they show; the hash of each original is kept.

use std::collections::BTreeMap;

use serde::Serialize;

use super::elements::ElementComparison;
use super::matching::Item;
use super::{Columns, Matches};
use crate::record::Record;
use crate::record::parts::RecordPhoto;

/// A photo of one record.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PhotoEntry {
    /// File name under its inspection folder.
    pub file: String,
    /// Caption.
    pub caption: String,
    /// What it proves.
    pub proves: String,
    /// SHA-256 of the original.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sha256: Option<String>,
    /// Why it is not shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<String>,
    /// Its place in the record.
    #[serde(skip)]
    pub at: usize,
}

/// Photos of one part across all records.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct PhotoGroup {
    /// The part.
    pub part: String,
    /// Photos of each record.
    pub photos: Vec<Vec<PhotoEntry>>,
}

/// Photos to be matched for their findings: by file name without its number, else by caption.
pub(crate) fn items(record: &Record) -> Vec<Item> {
    let shows = |photo: &RecordPhoto| {
        let mut shows: Vec<&str> = photo.parts().collect();
        shows.sort();
        shows.join(", ")
    };
    record
        .photo
        .iter()
        .map(|photo| Item {
            group: String::new(),
            id: photo.file.text().unwrap_or_default().to_owned(),
            name: photo.caption.text().unwrap_or_default().to_owned(),
            facts: shows(photo),
            ..Item::default()
        })
        .collect()
}

/// Groups the photos of all records by the first part each shows.
pub(crate) fn groups(
    columns: &Columns<'_>,
    matches: &Matches,
    compared: &[ElementComparison],
) -> Vec<PhotoGroup> {
    let number = columns.inspections.len();
    // Elements in the order of the path, then named parts, then the rest.
    let mut groups: BTreeMap<(u8, usize, String), PhotoGroup> = BTreeMap::new();
    for (record, inspection) in columns.inspections.iter().enumerate() {
        let elements = inspection.record.path.element.iter().enumerate();
        let ids: BTreeMap<&str, usize> =
            elements.filter_map(|(at, element)| Some((element.id.text()?, at))).collect();
        for (at, photo) in inspection.record.photo.iter().enumerate() {
            let (key, part) = match photo.parts().next() {
                None => ((2, 0, String::new()), "other photos".to_owned()),
                Some(shown) => match ids.get(shown).and_then(|at| matches.elements.of(record, *at)) {
                    Some(row) => {
                        let (row, name) = together(row, compared);
                        ((0, row, String::new()), name)
                    }
                    None => ((1, 0, shown.to_owned()), shown.to_owned()),
                },
            };
            let group =
                groups.entry(key).or_insert_with(|| PhotoGroup { part, photos: vec![Vec::new(); number] });
            group.photos[record].push(PhotoEntry {
                file: photo.file.text().unwrap_or_default().to_owned(),
                caption: photo.caption.text().unwrap_or_default().to_owned(),
                proves: photo.proves.text().unwrap_or_default().to_owned(),
                sha256: None,
                problem: None,
                at,
            });
        }
    }
    groups.into_values().collect()
}

/// Rows that stand in each other's place share one group, named after both.
fn together(row: usize, compared: &[ElementComparison]) -> (usize, String) {
    let label = |row: usize| compared.get(row).map_or("", |element| element.label.as_str());
    match compared.get(row).and_then(|element| element.slot) {
        Some(other) => (row.min(other), format!("{} / {}", label(row.min(other)), label(row.max(other)))),
        None => (row, label(row).to_owned()),
    }
}
