use super::*;
use crate::record::{Value, starter};

const EXAMPLE: &str = include_str!("../../../example-inspections/harbour-24-150-rev-a/inspection.toml");

fn set(place: &str, answer: Entered) -> Edit {
    Edit::Set { place: place.parse().unwrap(), answer }
}

fn changed_lines(old: &str, new: &str) -> Vec<String> {
    let old: Vec<&str> = old.lines().collect();
    new.lines().filter(|line| !old.contains(line)).map(str::to_owned).collect()
}

#[test]
fn one_line_changes_and_the_rest_stays() {
    let full = |value: &str| Entered {
        value: Some(value.to_owned()),
        with: Some("caliper".to_owned()),
        photos: vec!["12-caliper.jpg".to_owned()],
        note: Some("at the middle".to_owned()),
        ..Entered::default()
    };
    let cases: Vec<(&str, Entered, &str)> = vec![
        ("claims.capacity", Entered::of("148 Ah"), "capacity = \"148 Ah\""),
        ("claims.cycles", Entered::of("3000"), "cycles = 3000"),
        ("inspection.date", Entered::of("2026-03-15"), "date = 2026-03-15"),
        (
            "path.element[id=main-fuse].rating",
            Entered::of("125 A"),
            "rating = { value = \"125 A\", how = \"marked\" }",
        ),
        (
            "path.element[id=main-fuse].accessible",
            Entered::of("YES".to_lowercase().as_str()),
            "accessible = \"yes\"",
        ),
        (
            "cells.reading[position=3].voltage",
            Entered::of("3.299 V"),
            "voltage = { value = \"3.299 V\", with = \"meter-mv\" }",
        ),
        ("cells.format", Entered::of("Pouch"), "format = \"pouch\""),
        (
            "path.element[7].section",
            full("25.0 x 3.0 mm"),
            "section = { value = \"25.0 x 3.0 mm\", with = \"caliper\", note = \"at the middle\", photos = [\"12-caliper.jpg\"] }",
        ),
        (
            "enclosure.seal",
            Entered { note: Some("pinched".into()), ..Entered::default() },
            "seal = { value = \"gasket\", note = \"pinched\" }",
        ),
        (
            "bms.photos",
            Entered { photos: vec!["30-bms.jpg".into()], ..Entered::default() },
            "photos = [\"08-bms.jpg\", \"30-bms.jpg\"]",
        ),
        (
            "photo[file=photos/05-fuse.jpg].shows",
            Entered::of("main-fuse, claims"),
            "shows = [\"main-fuse\", \"claims\"]",
        ),
        ("bms.note", Entered::of("two boards"), "note = \"two boards\""),
    ];
    for (place, answer, line) in cases {
        let new = apply("t", EXAMPLE, &[set(place, answer)]).unwrap_or_else(|e| panic!("{place}: {e}"));
        assert_eq!(changed_lines(EXAMPLE, &new), [line], "{place}");
        let lost = changed_lines(&new, EXAMPLE);
        assert!(lost.len() <= 1, "{place}: {lost:?}");
    }
}

#[test]
fn comments_after_a_value_stay() {
    let text = "schema = 2\n\n[claims] # from the label\ncapacity  =  \"150 Ah\"   # worn print\n# end\n";
    let new = apply("t", text, &[set("claims.capacity", Entered::of("148 Ah"))]).unwrap();
    assert_eq!(new, text.replace("150 Ah", "148 Ah"));
}

#[test]
fn refusals_leave_a_reason() {
    for (place, value, says) in [
        ("claims.capacity", "150 A", "expected a capacity"),
        ("claims.capacity", "150", "plain number"),
        ("claims.capacity", "", "nothing is written"),
        ("claims.capcity", "150 Ah", "did you mean `capacity`"),
        ("claim.capacity", "150 Ah", "did you mean `claims`"),
        ("path.element[id=none].rating", "150 A", "no such part"),
        ("path.element.rating", "150 A", "say which"),
        ("claims[1].capacity", "150 Ah", "only one"),
        ("cells.series", "minus one", "whole number"),
        ("path.element[id=positive-bar].rating", "150 A", "a busbar has no `rating`"),
        ("path.element[id=main-fuse].count", "0", "`count` is 0"),
        ("cells.latest_date", "2001-01-01", "is before"),
        ("claims.left_out", "a\u{1b}[2J", "control characters"),
    ] {
        let error = apply("t", EXAMPLE, &[set(place, Entered::of(value))]).unwrap_err();
        let mut text = error.to_string();
        if let EditRefused::Reads(problems) = &error {
            for problem in problems.list() {
                text.push_str(&format!("; {}", problem.message));
            }
        }
        assert!(text.contains(says), "{place} = {value}: {text}");
    }
    let note = Entered { note: Some("later".into()), ..Entered::default() };
    let error = apply("t", EXAMPLE, &[set("claims.heater_power", note)]).unwrap_err();
    assert!(error.to_string().contains("no value yet"), "{error}");
}

#[test]
fn a_starting_record_is_filled_in_at_its_commented_lines() {
    let text = starter();
    let edits = [
        set("claims.capacity", Entered::of("150 Ah")),
        set("cells.mass", Entered { how: Some("estimated".into()), ..Entered::of("2.9 kg") }),
        Edit::Append {
            list: Place::keys("path.element"),
            at: 9,
            fields: vec![("id".into(), "bar".into()), ("kind".into(), "busbar".into())],
        },
        Edit::Append {
            list: Place::keys("path.element"),
            at: 0,
            fields: vec![("id".into(), "post".into()), ("kind".into(), "terminal".into())],
        },
        set("path.element[id=bar].section", Entered::of("25 x 3 mm")),
        set("path.complete", Entered::of("no")),
        Edit::Append {
            list: Place::keys("photo"),
            at: 0,
            fields: vec![("file".into(), "photos/01.jpg".into()), ("shows".into(), "bms, claims".into())],
        },
        Edit::Append {
            list: Place::keys("cells.reading"),
            at: 0,
            fields: vec![("position".into(), "1".into()), ("voltage".into(), "3.3 V".into())],
        },
    ];
    let new = apply("t", &text, &edits).unwrap();
    let record = read("t", &new).unwrap();
    assert_eq!(record.claims.capacity.quantity().unwrap().text, "150 Ah");
    assert_eq!(record.cells.mass.found().how.unwrap().word(), "estimated");
    let ids: Vec<_> = record.path.element.iter().map(|e| e.id.text().unwrap()).collect();
    assert_eq!(ids, ["post", "bar"]);
    assert!(matches!(record.path.element[1].section.found().value(), Some(Value::Section(_))));
    assert_eq!(record.path.complete.yes(), Some(false));
    assert_eq!(record.photo[0].shows.list(), ["bms", "claims"]);
    assert_eq!(record.cells.reading[0].position.count(), Some(1));
    // The example line gave way to the answer, under its explanation.
    assert!(!new.contains("# capacity = \"150 Ah\"\n#   Energy"), "{new}");
    assert!(new.contains("#   Capacity.\ncapacity = \"150 Ah\"\n"), "{new}");
    // And nothing but comments was lost.
    let comments = |text: &str| text.lines().filter(|l| l.starts_with('#')).count();
    assert!(comments(&text) - comments(&new) <= 3);
}

#[test]
fn clearing_takes_an_answer_back() {
    let clear = Edit::Clear { place: Place::keys("claims.capacity") };
    let new = apply("t", EXAMPLE, &[clear]).unwrap();
    assert!(!read("t", &new).unwrap().claims.capacity.is_recorded());
    assert_eq!(changed_lines(&new, EXAMPLE), ["capacity = \"150 Ah\""]);
}

#[test]
fn lists_written_inline_are_edited_too() {
    let text = "schema = 2\ncells.reading = [{ position = 1, voltage = \"3.3 V\" }]\n";
    let edits = [
        set("cells.reading[position=1].voltage", Entered::of("3.31 V")),
        Edit::Append {
            list: Place::keys("cells.reading"),
            at: 5,
            fields: vec![("position".into(), "2".into())],
        },
    ];
    let new = apply("t", text, &edits).unwrap();
    let record = read("t", &new).unwrap();
    assert_eq!(record.cells.reading.len(), 2, "{new}");
    assert_eq!(record.cells.reading[0].voltage.quantity().unwrap().text, "3.31 V");
}

#[test]
fn a_commented_line_inside_a_text_is_no_line_to_fill() {
    let text = "schema = 2\n[claims]\nleft_out = '''\n# capacity = \"1 Ah\"\n'''\n";
    let new = apply("t", text, &[set("claims.capacity", Entered::of("2 Ah"))]).unwrap();
    let record = read("t", &new).unwrap();
    assert_eq!(record.claims.left_out.text(), Some("# capacity = \"1 Ah\""));
    assert_eq!(record.claims.capacity.quantity().unwrap().text, "2 Ah");
}

#[test]
fn places_read_as_they_are_written() {
    for text in [
        "claims.capacity",
        "path.element[id=main-fuse].rating",
        "cells.reading[3].voltage",
        "photo[file=photos/05-fuse.jpg]",
    ] {
        assert_eq!(text.parse::<Place>().unwrap().to_string(), text);
    }
    for text in ["", ".", "a..b", "a[", "a[0]", "a[1]b", "a b", "../x"] {
        assert!(text.parse::<Place>().is_err(), "{text}");
    }
}

#[test]
fn parts_move_and_go_with_all_that_is_said_of_them() {
    let moved = |text: &str, from: usize, to: Option<usize>| {
        let list = Place::keys("path.element");
        apply("t", text, &[Edit::Move { list, from, to }]).unwrap()
    };
    let ids = |text: &str| -> Vec<String> {
        let record = read("t", text).unwrap();
        record.path.element.iter().map(|element| element.id.text().unwrap().to_owned()).collect()
    };
    let before = ids(EXAMPLE);
    let text = moved(EXAMPLE, 2, Some(0));
    assert_eq!(ids(&text)[..3], [&before[2], &before[0], &before[1]].map(Clone::clone));
    // Moved back, the record says what it said.
    assert_eq!(ids(&moved(&text, 0, Some(2))), before);
    let text = moved(EXAMPLE, 0, None);
    assert_eq!(ids(&text), before[1..]);
    assert!(!text.contains(&format!("id = \"{}\"", before[0])));
    let list = Place::keys("path.element");
    assert!(apply("t", EXAMPLE, &[Edit::Move { list, from: 999, to: None }]).is_err());
}
