//! `video-kit` on the examples and on records from strangers.

use std::fs;
use std::path::{Path, PathBuf};

use crate::common::{copy, run, text};

/// The seal of an example.
const SEAL: &str = "photos.sha256";

fn example(name: &str) -> PathBuf {
    crate::common::root().join("example-inspections").join(name)
}

/// A folder with a record and nothing else.
fn folder(record: &str) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    folder
}

const TIMES: &str = r#"
schema = 2
[inspection]
title = "Bench <A> & B --> C"
invented = "yes"
[cells]
video = "4:00"
[path]
[[path.element]]
id = "bar"
kind = "busbar"
leg = "positive"
video = "1:02:30"
[[path.element]]
id = "fuse"
kind = "fuse"
leg = "positive"
name = "a link & its <holder> --> here"
video = "12:40"
[[path.element]]
id = "odd"
kind = "joint"
leg = "positive"
video = "later"
[[test]]
id = "capacity"
kind = "capacity"
video = "12:40"
[[item]]
id = "manual-leaves-out"
answer = "no torque"
video = "100:00:00"
[[photo]]
file = "photos/none.jpg"
caption = "Label"
video = "0:05.5"
"#;

#[test]
fn the_video_kit_of_an_example() {
    // Of copies: a write-up that somebody made beside the example would put its own hash into the description.
    let (copied, out) = (copy("harbour-24-150-rev-a"), tempfile::tempdir().unwrap());
    let folder = copied.path();
    fs::copy(example("harbour-24-150-rev-a").join(SEAL), folder.join(SEAL)).unwrap();
    let to = out.path().join("video-kit");
    let against = copy("harbour-24-150-rev-b");
    let other = text(against.path());
    let arguments = ["video-kit", "--to", &text(&to), "--against", &other, "--limit", "2500", &text(folder)];
    let (code, printed, err) = run(&arguments);
    assert_eq!(code, 1, "{err}");
    let (cards, photos) = counted_from_the_record(folder);
    assert!(printed.contains(&format!("{cards} cards as SVG and PNG; {photos} photos")), "{printed}");
    let there = |ending: &str| {
        let files = walkdir::WalkDir::new(&to).into_iter().filter_map(Result::ok);
        files.filter(|entry| entry.path().to_string_lossy().ends_with(ending)).count()
    };
    assert_eq!(
        [there("-wide.svg") + there("-tall.svg") + there("-lower-third.svg"), there(".png"), there(".jpg")],
        [cards, cards, photos]
    );
    let read = |name: &str| fs::read_to_string(to.join(name)).unwrap();
    let seal = common_hash(&folder.join(SEAL));
    let plain = |name: &str| read(name).replace(&seal, "[hash of the seal]");
    insta::assert_snapshot!("description-rev-a", plain("description.txt"));
    insta::assert_snapshot!("description-rev-a-2500", plain("description-2500.txt"));
    insta::assert_snapshot!("chapters-rev-a", read("chapters.vtt"));
    insta::assert_snapshot!("captions-rev-a", read("captions.txt"));
    assert!(read("description-2500.txt").encode_utf16().count() <= 2500);
    // Nothing was written beside the record of the example.
    assert!(!folder.join("video-kit").exists());
}

/// How many cards and photos a video kit with a second inspection has: in each of the two formats one card for the
/// verdict, the path, the claims and the comparison, one for each of the five gravest causes and of two tests; a thumbnail;
/// and each of the causes as a lower third. Counted from the record and from what `check` says of it, not from what is to
/// be tested.
fn counted_from_the_record(folder: &Path) -> (usize, usize) {
    let record: toml::Table = fs::read_to_string(folder.join("inspection.toml")).unwrap().parse().unwrap();
    let listed = |list: &str| record[list].as_array().unwrap().len();
    let (_, out, _) = run(&["check", "--format", "json", &text(folder)]);
    let view: serde_json::Value = serde_json::from_str(&out).unwrap();
    let causes = view["causes"].as_array().unwrap().iter();
    let grave =
        causes.filter(|cause| cause["grade"] == "critical" || cause["grade"] == "major").count().min(5);
    assert!(!view["path"]["elements"].as_array().unwrap().is_empty());
    (2 * (4 + grave + listed("test").min(2)) + 1 + grave, listed("photo"))
}

fn common_hash(path: &Path) -> String {
    let output = std::process::Command::new("sha256sum").arg(path).output().unwrap();
    String::from_utf8(output.stdout).unwrap().split_whitespace().next().unwrap().to_owned()
}

#[test]
fn hashes_and_place_of_the_write_up() {
    let folder = folder(TIMES);
    let path = text(folder.path());
    let description = |arguments: &[&str]| {
        let mut all = vec!["video-kit", &path];
        all.extend(arguments);
        let (code, printed, err) = run(&all);
        assert!(code < 2, "{err}");
        (fs::read_to_string(folder.path().join("video-kit/description.txt")).unwrap(), printed)
    };
    let (before, printed) = description(&[]);
    assert!(before.contains("report/report.html") && before.contains("The evidence is not sealed."));
    assert!(printed.contains("there is no report/report.html yet"), "{printed}");
    run(&["report", &path]);
    run(&["seal", &path]);
    let (after, _) = description(&["--link", "https://example.org/<1>?a&b"]);
    assert!(after.contains("\nhttps://example.org/<1>?a&b\n") && after.contains("Bench <A> & B --> C"));
    for file in ["report/report.html", "photos.sha256"] {
        assert!(after.contains(&common_hash(&folder.path().join(file))), "{file}");
    }
    // The video kit is no evidence: the seal still holds.
    assert_eq!(run(&["verify", &path]).0, 0);
}

#[test]
fn chapters_and_what_is_told() {
    let folder = folder(TIMES);
    let (code, printed, err) = run(&["video-kit", &text(folder.path()), "--length", "1:30:00"]);
    assert!(code < 2, "{err}");
    let list = fs::read_to_string(folder.path().join("video-kit/chapters.txt")).unwrap();
    assert_eq!(
        list,
        "0:00 Start\n0:05 Label\n4:00 Cells\n12:40 a link & its <holder> --> here; Test capacity\n1:02:30 busbar bar\n"
    );
    assert!(printed.contains("joint odd: video time `later` is not of the form"), "{printed}");
    assert!(printed.contains("manual leaves out: video time `100:00:00` lies beyond 100 hours"), "{printed}");
    assert!(printed.contains("backwards"), "{printed}");
    let (code, _, err) = run(&["video-kit", &text(folder.path()), "--length", "soon"]);
    assert!(code == 2 && err.contains("the length of the video"), "{err}");
}

#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn chapters_are_webvtt_to_an_independent_reader() {
    let folder = folder(TIMES);
    run(&["video-kit", &text(folder.path()), "--length", "1:30:00"]);
    let output = crate::common::python("chapters.py")
        .arg(folder.path().join("video-kit/chapters.vtt"))
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let cues: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
    let cues = cues.as_array().unwrap();
    let starts: Vec<&str> = cues.iter().map(|cue| cue["start"].as_str().unwrap()).collect();
    assert_eq!(starts, ["00:00:00.000", "00:00:05.500", "00:04:00.000", "00:12:40.000", "01:02:30.000"]);
    let ends: Vec<&str> = cues.iter().map(|cue| cue["end"].as_str().unwrap()).collect();
    assert_eq!(ends[..4], starts[1..]);
    assert_eq!(ends[4], "01:30:00.000");
    assert!(cues[3]["text"].as_str().unwrap().contains("a link &amp; its &lt;holder&gt; --&gt; here"));
}

#[test]
fn a_limit_that_is_too_narrow_is_refused() {
    let folder = folder(TIMES);
    let (code, _, err) = run(&["video-kit", &text(folder.path()), "--limit", "80"]);
    assert!(code == 2 && err.contains("no room for title, verdict, critical findings"), "{err}");
    assert!(!folder.path().join("video-kit").exists(), "nothing is written when something is refused");
}

#[test]
fn files_of_an_earlier_run_go_and_others_stay() {
    let folder = folder(TIMES);
    let kit = folder.path().join("video-kit");
    fs::create_dir_all(kit.join("cards")).unwrap();
    for name in [
        "cards/protection-wide.png",
        "cards/finding-39-wide.png",
        "description-77.txt",
        "cards/my own.png",
        "notes.txt",
    ] {
        fs::write(kit.join(name), "x").unwrap();
    }
    run(&["video-kit", &text(folder.path())]);
    for (name, stays) in [
        ("cards/protection-wide.png", false),
        ("cards/finding-39-wide.png", false),
        ("description-77.txt", false),
        ("cards/my own.png", true),
        ("notes.txt", true),
    ] {
        assert_eq!(kit.join(name).exists(), stays, "{name}");
    }
}

#[cfg(unix)]
#[test]
fn a_link_in_place_of_a_folder_is_refused() {
    for place in ["video-kit", "video-kit/cards", "video-kit/photos"] {
        let (folder, outside) = (folder(TIMES), tempfile::tempdir().unwrap());
        let link = folder.path().join(place);
        fs::create_dir_all(link.parent().unwrap()).unwrap();
        std::os::unix::fs::symlink(outside.path(), &link).unwrap();
        let (code, _, err) = run(&["video-kit", &text(folder.path())]);
        assert!(code == 2 && err.contains("is a link"), "{place}: {err}");
        assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 0);
    }
}

#[test]
fn card_templates_of_ones_own() {
    let (folder, templates) = (folder(TIMES), tempfile::tempdir().unwrap());
    let own =
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="10" height="10"><title>{{ title }}</title></svg>"#;
    fs::write(templates.path().join("verdict.svg"), own).unwrap();
    let call = || run(&["video-kit", &text(folder.path()), "--templates", &text(templates.path())]);
    call();
    let svg = fs::read_to_string(folder.path().join("video-kit/cards/verdict-wide.svg")).unwrap();
    assert!(svg.contains("<title>Bench &lt;A&gt; &amp; B --&gt; C: verdict</title>"), "{svg}");
    fs::write(templates.path().join("verdict.svg"), "{{ nonsense").unwrap();
    let (code, _, err) = call();
    assert!(code == 2 && err.contains("verdict.svg"), "{err}");
    fs::write(templates.path().join("verdict.svg"), "no picture").unwrap();
    let (code, _, err) = call();
    assert!(code == 2 && err.contains("cannot be drawn"), "{err}");
}
