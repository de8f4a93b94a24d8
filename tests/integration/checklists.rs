//! The checklists: complete, alive, and extended by a house without surprises.

use std::collections::BTreeSet;

use assert_cmd::Command;
use underlid::fill::checklist::{Adds, Checklists, Fills, dead_conditions, paper};
use underlid::record::{Part, Record, Shape};

fn underlid() -> Command {
    Command::cargo_bin("underlid").unwrap()
}

#[test]
fn three_lists_with_every_section_and_nothing_dead() {
    let lists = Checklists::built_in().unwrap();
    assert_eq!(lists.kinds().collect::<Vec<_>>(), ["drop-in", "rack", "self-built"]);
    for list in lists.all() {
        let sections: Vec<&str> = list.sections.iter().map(|s| s.id.as_str()).collect();
        for needed in [
            "label",
            "manual",
            "limits",
            "arrival",
            "lid-off",
            "positive-leg",
            "negative-leg",
            "bms",
            "cells",
            "enclosure",
            "after",
        ] {
            assert!(sections.contains(&needed), "{}: {needed}", list.kind);
        }
        let mut ids = BTreeSet::new();
        for (index, item) in list.items().enumerate() {
            assert!(ids.insert(&item.id), "{} twice", item.id);
            assert_eq!(item.number, index + 1);
            for text in [&item.prompt, &item.why, &item.look] {
                assert!(!text.is_empty(), "{}", item.id);
            }
        }
        let own = format!("checklists/{}.toml", list.kind);
        for file in [own.as_str(), "checklists/leg.toml"] {
            let dead = dead_conditions(list, file);
            // What a list drops, the conditions of the list it extends may still name: only its own must be alive.
            if file == own || list.kind == "drop-in" {
                assert_eq!(dead, [], "{file}");
            }
        }
    }
}

/// Fields that adding a part writes, that belong to no item, or that a log gives.
const NOT_ASKED: &[&str] = &[
    // Said at the desk, when the write-up goes out.
    "inspection.authorised_by",
    "inspection.received",
    "inspection.delivery",
    "issue.date",
    "issue.changed",
    // What `measure-photo` writes beside a photo.
    "photo.measurement.of",
    "photo.measurement.measure",
    "photo.measurement.taps",
    "photo.measurement.scatter",
    "photo.measurement.on_edges",
    "photo.measurement.side",
    "photo.measurement.height_photo",
    "photo.measurement.height_taps",
    "photo.measurement.height",
    "photo.measurement.other_height",
    "photo.measurement.reference",
    "photo.measurement.card",
    "photo.measurement.print_across",
    "photo.measurement.print_down",
    "photo.measurement.value",
    // Read off a data sheet, or leads that the source has to itself: written in the file.
    "rig.clearing.of",
    "rig.clearing.let_through",
    "rig.clearing.clearing_time",
    "rig.source.element.id",
    "rig.source.element.kind",
    "rig.source.element.leg",
    // Rare, and a second list of parts: written in the file.
    "charge_path.complete",
    "charge_path.shares",
    "charge_path.element.id",
    "charge_path.element.kind",
    "charge_path.element.leg",
    "path.element.id",
    "path.element.kind",
    "path.element.leg",
    "claims.statement.id",
    "claims.statement.text",
    "bms.layer.name",
    "instrument.id",
    "item.id",
    "item.answer",
    "test.id",
    "test.kind",
    "photo.file",
    "photo.sha256",
    "cells.reading.position",
    "test.reading.of",
    "test.reading.at",
    "test.reading.value",
    "test.reading.steady",
    "test.reading.fixed",
    "rig.element.id",
    "rig.element.kind",
    "rig.element.leg",
    "rig.load.element.id",
    "rig.load.element.kind",
    "rig.load.element.leg",
    "rig.load.id",
    "rig.load.kind",
    // Only the record says these: how a log is read, and how a branch's own log is aligned.
    "test.interval",
    "test.sheet",
    "test.profile",
    "test.branch.profile",
    "test.sensor.profile",
    "test.branch.columns",
    "test.branch.offset",
    "withhold.area.why",
    // Seldom wanted: `underlid log` prints the lines to paste.
    "test.branch.sign",
    "test.sensor.log",
    "test.sensor.columns",
    "test.sensor.offset",
    "test.sensor.distance",
    // A place on a photo is pointed at, not answered.
    "photo.pointer.of",
    "photo.pointer.left",
    "photo.pointer.top",
    "photo.pointer.width",
    "photo.pointer.height",
    "photo.pointer.label",
];

/// Parts that one line of an answer writes whole.
const IN_ONE_LINE: &[(&str, Adds)] = &[
    ("test.branch.name", Adds::Branches),
    ("test.branch.log", Adds::Branches),
    ("test.branch.column", Adds::Branches),
    ("test.sensor.column", Adds::Sensors),
    ("test.sensor.part", Adds::Sensors),
    ("test.sensor.fixed", Adds::Sensors),
    ("rig.meter.reads", Adds::Meters),
    ("rig.meter.instrument", Adds::Meters),
    ("rig.meter.load", Adds::Meters),
    ("rig.meter.range", Adds::Meters),
    ("withhold.area.photo", Adds::Areas),
    ("withhold.area.left", Adds::Areas),
    ("withhold.area.top", Adds::Areas),
    ("withhold.area.width", Adds::Areas),
    ("withhold.area.height", Adds::Areas),
];

#[test]
fn the_drop_in_list_asks_for_every_field_of_the_record() {
    let lists = Checklists::built_in().unwrap();
    let asked: BTreeSet<String> = lists
        .of_kind("drop-in")
        .unwrap()
        .items()
        .filter_map(|item| match &item.fills {
            Fills::Field { name, .. } => Some(name.clone()),
            _ => None,
        })
        .collect();
    fn walk(way: &str, head: &str, shape: Shape, asked: &BTreeSet<String>, lacking: &mut Vec<String>) {
        for field in shape.fields {
            let whole = format!("{way}.{}", field.name);
            if !asked.contains(&format!("{head}.{}", field.name)) && !NOT_ASKED.contains(&whole.as_str()) {
                lacking.push(whole);
            }
        }
        for child in shape.children {
            walk(&format!("{way}.{}", child.name), child.name, (child.shape)(), asked, lacking);
        }
    }
    let mut lacking = Vec::new();
    for child in Record::SHAPE.children {
        walk(child.name, child.name, (child.shape)(), &asked, &mut lacking);
    }
    let list = lists.of_kind("drop-in").unwrap();
    let adds =
        |wanted: Adds| list.items().any(|item| matches!(item.fills, Fills::Adds(adds) if adds == wanted));
    lacking.retain(|field| !IN_ONE_LINE.iter().any(|(name, by)| name == field && adds(*by)));
    assert_eq!(lacking, Vec::<String>::new());
    assert!(asked.contains("notes"));
}

const HOUSE: &str = r#"
schema = 1
extends = "drop-in"

[[drop]]
item = "pack-price"
reason = "we do not print prices"

[[section]]
id = "arrival"

[[section.item]]
id = "house-seal"
prompt = "Number of the transport seal?"
why = "It shows that nobody opened the box."
look = "On the strap."
after = "arrival-condition"

[[section.item]]
id = "arrival-mass"
prompt = "Mass on the floor scale?"
why = "Ours reads to 50 g."
look = "Zero it first."
field = "inspection.mass"
when = 'claims.heater is yes'
"#;

#[test]
fn a_house_list_changes_what_it_names() {
    let mut lists = Checklists::built_in().unwrap();
    let before = lists.of_kind("drop-in").unwrap().items().count();
    lists.add("house.toml", HOUSE).unwrap();
    let list = lists.of_kind("drop-in").unwrap();
    assert_eq!(list.items().count(), before);
    let ids: Vec<&str> = list.items().map(|item| item.id.as_str()).collect();
    let at = ids.iter().position(|id| *id == "house-seal").unwrap();
    assert_eq!(ids[at - 1], "arrival-condition");
    assert_eq!(list.item(at + 1).unwrap().id, "house-seal");
    assert_eq!(dead_conditions(list, "house.toml"), []);
    let printed = paper(list, "Mind your fingers.", None).unwrap();
    assert!(printed.contains(&format!("<b>{}</b> Number of the transport seal?", at + 1)), "{printed}");
    assert!(printed.contains("Mind your fingers."));
}

#[test]
fn what_is_wrong_in_a_house_list_is_said_with_its_place() {
    let item = |rest: &str| {
        format!(
            "schema = 1\nextends = \"drop-in\"\n[[section]]\nid = \"after\"\n[[section.item]]\nid = \"x\"\nprompt = \"?\"\nwhy = \"w\"\nlook = \"l\"\n{rest}\n"
        )
    };
    for (text, says) in [
        (item("field = \"claims.capcity\""), "did you mean `claims.capacity`"),
        (item("field = \"element.rating\""), "known only for each element"),
        (item("field = \"element.rating\"\neach = [\"fuze\"]"), "did you mean `fuse`"),
        (item("when = 'claims.heater is yse'"), "there is no `yse`"),
        (item("when = 'element.rating > 1 A'"), "element.rating"),
        (item("when = 'claims.capacity'"), "yes or a no"),
        (item("adds = \"elements\""), "did you mean `element`"),
        (item("promt = \"x\""), "did you mean `prompt`"),
        (item("after = \"path-compleet\""), "did you mean `path-complete`"),
        ("schema = 1\nextends = \"dropin\"\n".to_owned(), "did you mean `drop-in`"),
        ("schema = 1\n".to_owned(), "`kind` is missing"),
        ("schema = 1\nextends = \"rack\"\n[[drop]]\nitem = \"rack-fan\"\n".to_owned(), "`reason` is missing"),
        (
            "schema = 1\nextends = \"rack\"\n[[drop]]\nitem = \"rack-van\"\nreason = \"r\"\n".to_owned(),
            "did you mean `rack-fan`",
        ),
    ] {
        let mut lists = Checklists::built_in().unwrap();
        let problems = lists.add("house.toml", &text).unwrap_err();
        let said: Vec<String> =
            problems.list().iter().map(|p| format!("{}: {}", p.message, p.expected)).collect();
        assert!(said.iter().any(|said| said.contains(says)), "{says}: {said:?}\n{text}");
        assert!(problems.list().iter().all(|p| p.span.end <= text.len()), "{text}");
    }
}

#[test]
fn dead_conditions_are_found() {
    for (when, says) in [
        ("claims.heater is yes and claims.heater is no", "can never hold"),
        ("cells.format is \"pouch\" and cells.format is \"prismatic\"", "can never hold"),
        ("claims.heater_power > 50 W and claims.heater_power < 40 W", "can never hold"),
        ("1 A > 2 A", "asks nothing"),
        ("statement.verdict is \"supported\"", "no item before"),
    ] {
        let each = if when.contains("statement") {
            "field = \"statement.scope\"\neach = [\"statement\"]\n"
        } else {
            ""
        };
        // The statement's own verdict is asked after this section.
        let section = if each.is_empty() { "after" } else { "claims" };
        let text = format!(
            "schema = 1\nextends = \"drop-in\"\n[[section]]\nid = \"{section}\"\n[[section.item]]\nid = \"x\"\nprompt = \"?\"\nwhy = \"w\"\nlook = \"l\"\n{each}when = '{when}'\n"
        );
        let mut lists = Checklists::built_in().unwrap();
        lists.add("house.toml", &text).unwrap();
        let dead = dead_conditions(lists.of_kind("drop-in").unwrap(), "house.toml");
        assert_eq!(dead.len(), 1, "{when}");
        assert!(dead[0].message.contains(says), "{when}: {}", dead[0].message);
        assert!(text[dead[0].span.clone()].contains(when), "{when}");
    }
    // Alive, or beyond what can be told.
    for when in [
        "claims.heater is yes",
        "claims.heater_power > 50 W",
        "claims.peak_current > 2 * claims.continuous_current",
        "recorded(claims.heater) or absent(claims.mass)",
    ] {
        let text = format!(
            "schema = 1\nextends = \"drop-in\"\n[[section]]\nid = \"after\"\n[[section.item]]\nid = \"x\"\nprompt = \"?\"\nwhy = \"w\"\nlook = \"l\"\nwhen = '{when}'\n"
        );
        let mut lists = Checklists::built_in().unwrap();
        lists.add("house.toml", &text).unwrap();
        assert_eq!(dead_conditions(lists.of_kind("drop-in").unwrap(), "house.toml"), [], "{when}");
    }
}

#[test]
fn the_command_prints_and_checks() {
    for kind in ["drop-in", "rack", "self-built"] {
        let out = underlid().args(["checklist", kind]).assert().success();
        let text = String::from_utf8(out.get_output().stdout.clone()).unwrap();
        assert!(text.contains("<b>1</b>") && text.contains("Caution"), "{kind}");
    }
    underlid().args(["checklist", "boat"]).assert().code(2);
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("house.toml");
    std::fs::write(&file, HOUSE).unwrap();
    underlid().args(["checklist", "--check"]).arg(&file).assert().success();
    std::fs::write(
        &file,
        HOUSE.replace("claims.heater is yes", "claims.heater is yes and claims.heater is no"),
    )
    .unwrap();
    let out = underlid().args(["checklist", "--check"]).arg(&file).assert().code(2);
    let text = String::from_utf8(out.get_output().stderr.clone()).unwrap();
    assert!(text.contains("can never hold"), "{text}");
}
