//! Which fields of a record an edition for others may show: those that are the same after everything withheld was taken
//! out, and no others.

use std::collections::BTreeSet;

use crate::record::{AnyPart, Found, Record};

/// Paths of the fields that are the same in a record and in what is published of it, as `path.element[2].marking`. A field
/// that is not named here is not shown.
pub(crate) fn shown(record: &Record, published: &Record) -> BTreeSet<String> {
    let mut paths = BTreeSet::from(["schema".to_owned()]);
    collect("", &mut record.clone(), &mut published.clone(), &mut paths);
    paths
}

fn collect(prefix: &str, whole: &mut dyn AnyPart, published: &mut dyn AnyPart, paths: &mut BTreeSet<String>) {
    for field in whole.shape().fields {
        if let (Some(one), Some(other)) = (whole.field(field.name), published.field(field.name))
            && same(one, other)
        {
            paths.insert(format!("{prefix}{}", field.name));
        }
    }
    let (one, other) = (whole.said_of_itself(), published.said_of_itself());
    let own = [
        ("note", one.note == other.note),
        ("video", one.video == other.video),
        ("with", one.with == other.with),
        ("photos", one.photos == other.photos && !other.photos_withheld),
        ("how", one.how == other.how),
    ];
    // A field of that name is told by itself.
    let field = |key: &str| whole.shape().fields.iter().any(|field| field.name == key);
    let own = own.into_iter().filter(|(key, same)| *same && !field(key));
    paths.extend(own.map(|(key, _)| format!("{prefix}{key}")));
    // What is withheld is not itself shown; its list of areas is empty in what is published.
    let (mut one, mut other) = (whole.parts_inside(), published.parts_inside());
    one.retain(|inner| inner.name != "withhold");
    other.retain(|inner| inner.name != "withhold");
    for (one, other) in one.into_iter().zip(other) {
        // Both are one record, so that parts stand side by side; what does not is not shown.
        if (one.name, one.index) == (other.name, other.index) {
            let place = one.index.map_or_else(String::new, |index| format!("[{}]", index + 1));
            collect(&format!("{prefix}{}{place}.", one.name), one.part, other.part, paths);
        }
    }
}

fn same(one: &Found, other: &Found) -> bool {
    let Found { state, how, with, photos, note, confirmed: _, doubts: _, span: _ } = one;
    (state, how, with, photos, note) == (&other.state, &other.how, &other.with, &other.photos, &other.note)
}
