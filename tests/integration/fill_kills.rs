//! Filling that is cut off: kill -9, a full disk, Ctrl-C in a terminal of its own.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::common::rounds;
use crate::fill_support::{BIN, Killed, fresh};
use underlid::fill::FillSession;
use underlid::judge::inspection::House;
use underlid::record::{self, Part};

/// kill -9 at random moments: the record always reads, and every confirmed answer is in it.
#[test]
fn a_killed_program_loses_nothing_that_was_confirmed() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let mut random = 0x2545_f491_4f6c_dd1d_u64;
    let mut next = move |below: u64| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        random % below
    };
    let numbers = [24_u32, 25, 26, 27, 29];
    let units = ["V", "Ah", "Wh", "A", "A"];
    let fields = ["nominal_voltage", "capacity", "energy", "continuous_current", "peak_current"];
    let mut kills_in_work = 0_u64;
    let mut with_confirmed = 0_u64;
    let rounds = u64::from(rounds(40, 200));
    for round in 0..rounds {
        let mut child = Killed(
            Command::new(BIN)
                .args(["fill", "--brief", "--sections"])
                .arg(&pack)
                .stdin(Stdio::piped())
                .stdout(Stdio::piped())
                .spawn()
                .unwrap(),
        );
        let mut input = child.0.stdin.take().unwrap();
        let mut lines = String::new();
        let mut sent: Vec<(usize, String)> = Vec::new();
        for step in 0..40_u64 {
            let index = usize::try_from(next(5)).unwrap();
            // An energy of a few watt-hours would be asked about.
            let point = if units[index] == "Wh" { "" } else { "." };
            let value = format!("{}{point}{step:02} {}", 10 + round, units[index]);
            lines.push_str(&format!("{}: {value}\n", numbers[index]));
            sent.push((index, value));
        }
        let writer = std::thread::spawn(move || {
            let _ = input.write_all(lines.as_bytes());
            // Kept open, so that the program waits for more.
            input
        });
        let out = child.0.stdout.take().unwrap();
        let confirmed = Arc::new(Mutex::new(Vec::new()));
        let (started, on_start) = std::sync::mpsc::channel();
        let (saved, on_saved) = std::sync::mpsc::channel();
        let seen = Arc::clone(&confirmed);
        let reader = std::thread::spawn(move || {
            for line in BufReader::new(out).lines() {
                let Ok(line) = line else { break };
                if line.contains("checklist)") {
                    let _ = started.send(());
                }
                if let Some(said) = line.split("saved: claims.").nth(1) {
                    let (field, value) = said.split_once(" = ").unwrap();
                    seen.lock().unwrap().push((field.to_owned(), value.to_owned()));
                    let _ = saved.send(());
                }
            }
        });
        on_start.recv_timeout(Duration::from_secs(60)).expect("the program starts");
        // Every other time not before something is confirmed, however slow the machine.
        if round % 2 == 0 {
            on_saved.recv_timeout(Duration::from_secs(60)).expect("an answer is confirmed");
        }
        std::thread::sleep(Duration::from_micros(next(120_000)));
        let running = child.0.try_wait().unwrap().is_none();
        child.0.kill().unwrap();
        child.0.wait().unwrap();
        reader.join().unwrap();
        drop(writer.join().unwrap());
        let confirmed = confirmed.lock().unwrap();
        kills_in_work += u64::from(running && confirmed.len() < sent.len());
        with_confirmed += u64::from(!confirmed.is_empty());
        let text = fs::read_to_string(pack.join("inspection.toml")).unwrap();
        let record = record::read("killed", &text)
            .unwrap_or_else(|problems| panic!("round {round}: {problems}\n{text}"));
        for (index, field) in fields.iter().enumerate() {
            let last = confirmed.iter().rposition(|(name, _)| name == field);
            let Some(last) = last else { continue };
            let now = record.claims.found(field).unwrap().show();
            // The confirmed value, or one that was sent behind it and written just before the end.
            let behind = sent.iter().skip(last).filter(|(i, _)| *i == index).map(|(_, value)| value.clone());
            let allowed: Vec<String> = std::iter::once(confirmed[last].1.clone()).chain(behind).collect();
            assert!(allowed.contains(&now), "round {round}, {field}: {now} is none of {allowed:?}");
        }
    }
    println!(
        "killed {rounds} times, {kills_in_work} of them in the middle of its work, {with_confirmed} of them with answers confirmed"
    );
    assert!(
        with_confirmed > rounds / 4,
        "too few answers were confirmed to prove anything: {with_confirmed}"
    );
    assert!(kills_in_work > rounds / 2, "the kills came too late to prove anything: {kills_in_work}");
}

/// A disk that takes no more: the answer is refused, the record stays, and the walk goes on.
#[cfg(unix)]
#[test]
fn a_full_disk_loses_only_the_answer_being_typed() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let before = fs::read(pack.join("inspection.toml")).unwrap();
    // A limit on file size stands for the full disk: writing beyond it fails in the same place.
    let script = format!("trap '' XFSZ; ulimit -f 4; exec '{BIN}' fill --brief '{}'", pack.display());
    let mut child = Command::new("bash")
        .args(["-c", &script])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(b"24: 25.6 V\n25: 150 Ah\nfindings\n").unwrap();
    let out = child.wait_with_output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout).into_owned();
    assert_eq!(text.matches("not saved, the record is unchanged").count(), 2, "{text}");
    assert!(text.contains("not decided"), "{text}");
    assert_eq!(fs::read(pack.join("inspection.toml")).unwrap(), before);
    let left: Vec<_> = fs::read_dir(&pack)
        .unwrap()
        .filter_map(|e| e.unwrap().file_name().into_string().ok())
        .filter(|n| n.starts_with('.'))
        .collect();
    assert_eq!(left, Vec::<String>::new());
}

/// In a terminal of its own: prompts come before the answer is typed, and Ctrl-C loses nothing.
#[cfg(unix)]
#[test]
fn in_a_pseudo_terminal() {
    let folder = fresh();
    let pack = folder.path().join("pack");
    let mut command = Command::new(BIN);
    command.args(["fill", "--sections"]).arg(&pack);
    let mut session = rexpect::session::spawn_command(command, Some(60_000)).unwrap();
    session.exp_string("Kind of pack?").unwrap();
    session.exp_string("1> ").unwrap();
    session.send_line("drop-in").unwrap();
    session.exp_string("saved: inspection.kind = drop-in").unwrap();
    session.exp_string("2> ").unwrap();
    session.send_line("Bench pack").unwrap();
    session.exp_string("saved: inspection.title").unwrap();
    session.exp_string("3> ").unwrap();
    session.send("half an ans").unwrap();
    session.flush().unwrap();
    session.send_control('c').unwrap();
    session.exp_eof().unwrap();
    let sight = FillSession::open(&pack, &House::default(), &[], None).unwrap().look().unwrap();
    assert_eq!(sight.record.inspection.title.text(), Some("Bench pack"));
    assert!(!sight.record.inspection.maker.is_recorded());
}
