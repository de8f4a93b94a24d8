//! `underlid decode` as a technician calls it. All codes are invented; layouts and alphabets are from memory.

use assert_cmd::Command;
use serde_json::Value;

fn decode(arguments: &[&str], input: &str) -> (Option<i32>, String, String) {
    let mut command = Command::cargo_bin("underlid").unwrap();
    let output = command.arg("decode").args(arguments).write_stdin(input.as_bytes()).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

fn json(arguments: &[&str], input: &str) -> (Option<i32>, Value) {
    let (status, out, _) = decode(&[arguments, &["--format", "json"]].concat(), input);
    (status, serde_json::from_str(&out).unwrap())
}

const LIST: &str = "\
ABCCB12ABC1234DB50000123
ABCCB12ABC1234DB50000124

  ABCCB12ABC1234DB50000127\r
ABCCB12ABC1234DB50000124
ABCCB12ABC9999DB50000127
ABCCB12ABC1234E2X0000001
";

#[test]
fn one_code_field_by_field() {
    let (status, out, err) = decode(&["ABCCB12ABC1234DB50000123"], "");
    assert_eq!((status, err.as_str()), (Some(0), ""));
    insta::assert_snapshot!("one_code", out);
}

#[test]
fn a_list_gives_spread_duplicates_and_gaps() {
    let (status, out, _) = decode(&["-"], LIST);
    assert_eq!(status, Some(0));
    let summary = &out[out.find("The list:").unwrap()..];
    insta::assert_snapshot!("list", summary);
    let (_, value) = json(&["-"], LIST);
    let list = &value["list"];
    // 5 November 2023 to 29 February 2024.
    assert_eq!(list["spread_days"], 116);
    assert_eq!(list["same_code"][0]["places"], serde_json::json!([2, 4]));
    assert_eq!(list["same_serial"][0]["places"], serde_json::json!([3, 5]));
    assert_eq!(list["lots"][0]["gaps"], serde_json::json!([{ "from": 125, "to": 126 }]));
}

#[test]
fn nonsense_is_refused_at_its_place_and_the_rest_decoded() {
    let (status, out, err) = decode(&["ABCCB12ABC1234DD50000123", "IFpP27/175/200", "05/06/2023"], "");
    assert_eq!(status, Some(2));
    assert!(err.contains("2 of 3 texts not decoded"), "{err}");
    insta::assert_snapshot!("refused", out);
    let (status, value) = json(&["ABCCB12ABC1234D2X0000123"], "");
    assert_eq!(status, Some(2));
    let error = &value["items"][0]["refused"]["error"];
    assert_eq!(error["at"]["start"], 16, "2023 had no 29 February");
    assert_eq!(value.get("list"), None);
}

#[test]
fn a_date_to_come_is_noted() {
    let (status, value) = json(&["2099-01-01"], "");
    assert_eq!(status, Some(0));
    assert!(value["items"][0]["notes"][0].as_str().unwrap().contains("after today"));
}

#[test]
fn hostile_lists_end_quietly() {
    let (status, out, _) = decode(&["-"], "\u{1b}[31mABC\n\u{0}\n");
    assert_eq!(status, Some(2));
    assert!(!out.contains('\u{1b}') && !out.contains('\u{0}'), "{out:?}");
    assert_eq!(decode(&["-"], "").0, Some(2));
    assert_eq!(decode(&["-"], &"A".repeat(5 * 1024 * 1024)).0, Some(2));
    let (status, out, _) = decode(&["-"], &"A".repeat(1024 * 1024));
    assert_eq!(status, Some(2));
    assert!(out.len() < 1000, "a far too long text is not echoed");
    assert_eq!(decode(&["-"], &"A\n".repeat(20_001)).0, Some(2));
    let mut command = Command::cargo_bin("underlid").unwrap();
    let output = command.args(["decode", "-"]).write_stdin(vec![0xff, 0xfe, b'\n']).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
}
