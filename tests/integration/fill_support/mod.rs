//! What the tests of filling share: a new inspection, the example to reach, and two records compared by their facts.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, OnceLock};

use underlid::fill::{FillSession, Sight};
use underlid::judge::inspection::House;
use underlid::record::field::Found;
use underlid::record::{self, How, Part, Record, State};

use crate::common;

pub const BIN: &str = env!("CARGO_BIN_EXE_underlid");

/// The example to reach: its photos and logs with the record that `tests/answers/` keeps. That one
/// leaves out what is written into a record by hand rather than asked for: instruments of a reading.
pub fn example() -> PathBuf {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER
        .get_or_init(|| {
            let from = common::root().join("example-inspections/harbour-24-150-rev-a");
            let folder = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR")).unwrap().keep();
            for kind in ["photos", "logs"] {
                fs::create_dir(folder.join(kind)).unwrap();
                for file in fs::read_dir(from.join(kind)).unwrap() {
                    let file = file.unwrap();
                    fs::copy(file.path(), folder.join(kind).join(file.file_name())).unwrap();
                }
            }
            let record = common::root().join("tests/answers/harbour-24-150-rev-a.toml");
            fs::copy(record, folder.join("inspection.toml")).unwrap();
            folder
        })
        .clone()
}

/// A whole picture that is small and unlike any other: its name stands in a comment of the JPEG stream.
pub fn picture(name: &str) -> Vec<u8> {
    let mut bytes = std::io::Cursor::new(Vec::new());
    image::RgbImage::new(8, 8).write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    let mut comment = vec![0xff, 0xfe];
    comment.extend_from_slice(&u16::try_from(name.len() + 2).unwrap().to_be_bytes());
    comment.extend_from_slice(name.as_bytes());
    let mut bytes = bytes.into_inner();
    bytes.splice(2..2, comment);
    bytes
}

/// A new inspection, with pictures under the names of the example's lying in `photos/`, and its logs.
pub fn fresh() -> tempfile::TempDir {
    fresh_for(&target(), &example())
}

/// A new inspection for a record to reach, with the logs of its folder.
pub fn fresh_for(target: &Sight, from: &Path) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let inside = folder.path().join("pack");
    assert!(Command::new(BIN).arg("new").arg(&inside).stdout(Stdio::null()).status().unwrap().success());
    for photo in &target.record.photo {
        let name = photo.file.text().unwrap();
        fs::write(inside.join(name), picture(name)).unwrap();
    }
    fs::create_dir_all(inside.join("logs")).unwrap();
    for log in fs::read_dir(from.join("logs")).into_iter().flatten() {
        let log = log.unwrap();
        fs::copy(log.path(), inside.join("logs").join(log.file_name())).unwrap();
    }
    folder
}

pub fn target() -> Arc<Sight> {
    FillSession::open(&example(), &House::default(), &[], Some("drop-in")).unwrap().look().unwrap()
}

// ------------------------------------------------------------------ facts of a record, to compare two

/// Every field with what is known of it; how, with and notes count where there is a value.
pub fn facts(record: &Record) -> BTreeMap<String, String> {
    let mut facts = BTreeMap::new();
    fn found(found: &Found) -> String {
        let State::Known(value) = &found.state else {
            return format!("{:?}", found.state);
        };
        let how = found.how.or(found.with.as_ref().map(|_| How::Measured));
        let value = match value {
            record::Value::Quantity(q) => {
                format!("{} ± {:?} {:?}", q.value, q.expanded, q.dimension)
            }
            other => format!("{other:?}"),
        };
        format!("{value} {how:?} {:?} {:?} {:?}", found.with, found.photos, found.note)
    }
    fn part<P: Part>(name: &str, part: &P, facts: &mut BTreeMap<String, String>) {
        for field in P::SHAPE.fields {
            let mut value = part.found(field.name).unwrap().clone();
            // Names are given, not found: how they came says nothing.
            if matches!(field.name, "id" | "kind" | "leg") {
                value.how = None;
                value.with = None;
            }
            // The hash of a photo follows from its file, and the test's files are not the example's.
            if value.state != State::NotLooked && field.name != "sha256" {
                facts.insert(format!("{name}.{}", field.name), found(&value));
            }
        }
        let own = part.own();
        for (key, value) in [("photos", format!("{:?}", own.photos)), ("video", format!("{:?}", own.video))] {
            if !matches!(value.as_str(), "[]" | "None") {
                facts.insert(format!("{name}.{key}"), value);
            }
        }
    }
    part("", record, &mut facts);
    part("inspection", &record.inspection, &mut facts);
    part("claims", &record.claims, &mut facts);
    part("cells", &record.cells, &mut facts);
    part("path", &record.path, &mut facts);
    part("bms", &record.bms, &mut facts);
    part("heater", &record.heater, &mut facts);
    part("enclosure", &record.enclosure, &mut facts);
    part("service", &record.service, &mut facts);
    part("marking", &record.marking, &mut facts);
    for (n, each) in record.path.element.iter().enumerate() {
        part(&format!("element {n}"), each, &mut facts);
    }
    for (n, each) in record.claims.statement.iter().enumerate() {
        part(&format!("statement {n}"), each, &mut facts);
    }
    for (n, each) in record.bms.layer.iter().enumerate() {
        part(&format!("layer {n}"), each, &mut facts);
    }
    for (n, each) in record.cells.reading.iter().enumerate() {
        part(&format!("reading {n}"), each, &mut facts);
    }
    for (n, each) in record.test.iter().enumerate() {
        part(&format!("test {n}"), each, &mut facts);
    }
    for test in &record.test {
        let id = test.id.text().unwrap();
        for each in &test.branch {
            part(&format!("{id} branch {}", each.name.text().unwrap()), each, &mut facts);
        }
        for each in &test.sensor {
            part(&format!("{id} sensor {}", each.column.text().unwrap()), each, &mut facts);
        }
    }
    for (n, each) in record.instrument.iter().enumerate() {
        part(&format!("instrument {n}"), each, &mut facts);
    }
    part("rig", &record.rig, &mut facts);
    part("source", &record.rig.source, &mut facts);
    let elements = record.rig.element.iter().chain(record.rig.load.iter().flat_map(|load| &load.element));
    for (n, each) in elements.enumerate() {
        part(&format!("rig element {n}"), each, &mut facts);
    }
    for (n, each) in record.rig.load.iter().enumerate() {
        part(&format!("load {n}"), each, &mut facts);
    }
    for (n, each) in record.rig.meter.iter().enumerate() {
        part(&format!("meter {n}"), each, &mut facts);
    }
    for each in &record.photo {
        part(&format!("photo {}", each.file.text().unwrap()), each, &mut facts);
    }
    facts
}

/// A program that ends with the test.
pub struct Killed(pub Child);
impl Drop for Killed {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}
