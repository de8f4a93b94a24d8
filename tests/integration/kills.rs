//! kill -9 at random moments of every command that writes: no half file is met, what was sealed verifies, and the next run
//! leaves no temporary file. What `fill` confirms is in `fill_kills`.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use underlid::evidence::manifest::Manifest;

use crate::common::rounds;
use crate::fill_support::BIN;

/// Files that a run begins and gives their name when they are whole.
fn begun(folder: &Path) -> Vec<PathBuf> {
    let names = walkdir::WalkDir::new(folder).into_iter().map(|entry| entry.unwrap().into_path());
    let is_begun = |path: &PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy();
        name.ends_with(".part") || name.starts_with(".underlid-") && name.ends_with(".tmp")
    };
    names.filter(is_begun).collect()
}

/// Nothing that has its name is half of itself.
fn whole(folder: &Path, command: &str) {
    for entry in walkdir::WalkDir::new(folder) {
        let path = entry.unwrap().into_path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if begun(folder).iter().any(|begun| path.starts_with(begun)) {
            continue;
        }
        let text = || fs::read_to_string(&path).unwrap();
        let well = match name.as_str() {
            "inspection.toml" => {
                underlid::record::read("killed", &text()).is_ok() || text().starts_with("schema = 1")
            }
            "photos.sha256" => Manifest::read(&path).is_ok(),
            "seals.toml" => {
                toml::from_str::<toml::Table>(&text()).is_ok_and(|table| table.contains_key("seal"))
            }
            _ if name.ends_with(".html") => text().trim_end().ends_with("</html>"),
            _ if name.ends_with(".json") => serde_json::from_str::<serde_json::Value>(&text()).is_ok(),
            _ => true,
        };
        assert!(well, "{command}: {} is half of itself", path.display());
    }
}

/// 300 in the long set.
#[test]
#[ignore = "minutes in a debug build: for the long set"]
fn long_kills_of_every_writing_command() {
    let commands: [&[&str]; 11] = [
        &["report", "pack"],
        &["seal", "pack"],
        &["seal", "pack", "--sign", "key"],
        &["seal", "pack", "--time-request"],
        &["seal", "pack", "--bag", "bag"],
        &["seal", "pack", "--bag", "edition", "--published"],
        &["photos", "pack", "card"],
        &["migrate", "old"],
        &["compare", "pack", "other", "--to", "compared"],
        &["collection", ".", "--to", "site"],
        &["video-kit", "pack"],
    ];
    let mut random = 0x2545_f491_4f6c_dd1d_u64;
    let mut next = move |below: u64| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        random % below.max(1)
    };
    let small = "schema = 2\n[inspection]\ntitle = \"x\"\n[claims]\ncontinuous_current = \"100 A\"\n[[path.element]]\nid = \"f\"\n\
                 kind = \"fuse\"\nfuse = \"class T\"\nrating = \"125 A\"\n[withhold]\nfields = [\"path.element.f.rating\"]\n";
    let begin = |folder: &Path| {
        for name in ["pack/photos", "pack/logs", "other", "card", "old"] {
            fs::create_dir_all(folder.join(name)).unwrap();
        }
        for (name, text) in
            [("pack", small), ("other", small), ("old", "schema = 1\n[inspection]\ntitle = \"x\"\n")]
        {
            fs::write(folder.join(name).join("inspection.toml"), text).unwrap();
        }
        for name in ["pack/photos/1.jpg", "card/IMG_1.jpg", "card/IMG_2.jpg"] {
            image::RgbImage::new(400, 300 + u32::try_from(name.len()).unwrap())
                .save(folder.join(name))
                .unwrap();
        }
    };
    let run = |folder: &Path, arguments: &[&str]| {
        let mut command = Command::new(BIN);
        command.args(arguments).current_dir(folder).env("UNDERLID_CONFIG", "").stdin(Stdio::null());
        command.stdout(Stdio::null()).stderr(Stdio::null());
        command
    };
    // How long each takes when nobody kills it: kills fall within that.
    let first = tempfile::tempdir().unwrap();
    begin(first.path());
    assert!(run(first.path(), &["seal", "--new-key", "key", "--no-password"]).status().unwrap().success());
    let key = fs::read(first.path().join("key")).unwrap();
    let times: Vec<Duration> = commands
        .iter()
        .map(|command| {
            let started = Instant::now();
            let code = run(first.path(), command).status().unwrap().code();
            assert!(code < Some(2), "{command:?}: {code:?}");
            started.elapsed()
        })
        .collect();
    let (mut in_work, mut left) = (0, 0);
    let all = rounds(24, 300);
    for round in 0..all as usize {
        let (command, time) = (commands[round % commands.len()], times[round % commands.len()]);
        let folder = tempfile::tempdir().unwrap();
        begin(folder.path());
        fs::write(folder.path().join("key"), &key).unwrap();
        // A collection would refuse it.
        if command[0] != "migrate" {
            fs::remove_dir_all(folder.path().join("old")).unwrap();
        }
        let before = fs::read(folder.path().join("pack/inspection.toml")).unwrap();
        // Half of them over what an earlier run has written.
        if round % 2 == 1 {
            assert!(run(folder.path(), &["report", "pack"]).status().unwrap().code() < Some(2));
            assert!(run(folder.path(), &["seal", "pack"]).status().unwrap().code() < Some(2));
        }
        let mut child = run(folder.path(), command).spawn().unwrap();
        std::thread::sleep(Duration::from_micros(next(u64::try_from(time.as_micros()).unwrap())));
        in_work += u32::from(child.try_wait().unwrap().is_none());
        child.kill().unwrap();
        child.wait().unwrap();
        left += u32::from(!begun(folder.path()).is_empty());
        let said = format!("round {round}, {command:?}");
        whole(folder.path(), &said);
        if command[0] != "photos" {
            assert_eq!(fs::read(folder.path().join("pack/inspection.toml")).unwrap(), before, "{said}");
        }
        for bag in ["bag", "edition"] {
            if folder.path().join(bag).exists() {
                assert_eq!(run(folder.path(), &["verify", bag]).status().unwrap().code(), Some(0), "{said}");
                fs::remove_dir_all(folder.path().join(bag)).unwrap();
            }
        }
        // The next run does its work, and nothing that was begun is left.
        let code = run(folder.path(), command).status().unwrap().code();
        assert!(code < Some(2), "{said}: {code:?}");
        whole(folder.path(), &said);
        assert_eq!(begun(folder.path()), Vec::<PathBuf>::new(), "{said}");
    }
    println!(
        "killed {all} times, {in_work} of them in the middle of their work, {left} with a file begun; no half file, none left after the next run"
    );
    assert!(in_work > all / 2, "the kills came too late to prove anything: {in_work}");
}
