//! `seal` and `verify` from the command line: bags, signatures, progress, and the steps that the write-up prints.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

const BIN: &str = env!("CARGO_BIN_EXE_underlid");
const PASSWORD: &str = "an invented pass phrase";

const RECORD: &str = "schema = 2\n[inspection]\ntitle = \"Harbour 24-150\"\nserial = \"ZQ-2026-0417\"\n[[photo]]\nfile = \"photos/zq 2026 0417.jpg\"\n";

/// A folder for everything, with an inspection in `pack`.
fn bench(withhold: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().unwrap();
    let at = |name: &str| dir.path().join("pack").join(name);
    for folder in ["photos", "logs"] {
        fs::create_dir_all(at(folder)).unwrap();
    }
    fs::write(at("inspection.toml"), format!("{RECORD}{withhold}")).unwrap();
    image::RgbImage::new(8, 8)
        .save_with_format(at("photos/zq 2026 0417.jpg"), image::ImageFormat::Jpeg)
        .unwrap();
    fs::write(at("photos/line\nbreak.jpg"), "x").unwrap();
    fs::write(at("logs/full load.csv"), "time,voltage\n").unwrap();
    dir
}

struct Ran {
    code: i32,
    out: String,
    err: String,
}

fn ran(output: &Output) -> Ran {
    Ran {
        code: output.status.code().expect("an exit status"),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    }
}

/// Runs the program in a folder; `password` is given in the environment.
fn run(dir: &Path, password: Option<&str>, arguments: &[&str]) -> Ran {
    let mut command = Command::new(BIN);
    command.args(arguments).current_dir(dir).stdin(Stdio::null()).env_remove("UNDERLID_KEY_PASSWORD");
    if let Some(password) = password {
        command.env("UNDERLID_KEY_PASSWORD", password);
    }
    ran(&command.output().unwrap())
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| entry.path().strip_prefix(folder).unwrap().display().to_string())
        .collect();
    names.sort();
    names
}

#[test]
fn a_bag_is_written_and_verified_and_every_damage_is_named() {
    type Damage = (&'static str, fn(&Path));
    let damages: [Damage; 7] = [
        ("", |_| {}),
        ("data/photos/line\\nbreak.jpg: changed", |b| {
            fs::write(b.join("data/photos/line\nbreak.jpg"), "y").unwrap();
        }),
        ("data/logs/full load.csv: missing", |b| fs::remove_file(b.join("data/logs/full load.csv")).unwrap()),
        ("data/photos/new.jpg: added", |b| fs::write(b.join("data/photos/new.jpg"), "new").unwrap()),
        ("bag-info.txt: changed", |b| {
            fs::write(b.join("bag-info.txt"), "Bagging-Date: 2031-05-04\n").unwrap();
        }),
        ("manifest-sha256.txt: changed", |b| {
            // The list is made to fit the altered file: the tag manifest and the seal inside still tell.
            fs::write(b.join("data/photos/line\nbreak.jpg"), "y").unwrap();
            let list = fs::read_to_string(b.join("manifest-sha256.txt")).unwrap();
            let hash = |text: &str| underlid::evidence::hash::Sha256Digest::of(text.as_bytes()).to_string();
            fs::write(b.join("manifest-sha256.txt"), list.replace(&hash("x"), &hash("y"))).unwrap();
        }),
        ("bytes in", |b| {
            let info = fs::read_to_string(b.join("bag-info.txt")).unwrap();
            let line = info.lines().find(|line| line.starts_with("Payload-Oxum")).unwrap();
            fs::write(b.join("bag-info.txt"), info.replace(line, "Payload-Oxum: 1.1")).unwrap();
        }),
    ];
    for (expected, damage) in damages {
        let dir = bench("");
        assert!(run(dir.path(), None, &["report", "pack"]).code < 2);
        let made = run(dir.path(), None, &["seal", "pack", "--bag", "bag"]);
        assert_eq!(made.code, 0, "{}", made.err);
        assert!(made.out.contains("bag: a bag of 10 files"), "{}", made.out);
        assert_eq!(made.err.lines().count(), 1, "no progress in a pipe: {}", made.err);
        assert!(
            made.err.contains("photos/line\\nbreak.jpg: cannot be a file's name on Windows"),
            "{}",
            made.err
        );
        let bag = dir.path().join("bag");
        assert!(bag.join("data/report/report.html").is_file() && bag.join("data/photos.sha256").is_file());
        let info = fs::read_to_string(bag.join("bag-info.txt")).unwrap();
        assert!(
            info.contains("External-Description: Inspection of a battery pack: Harbour 24-150"),
            "{info}"
        );
        damage(&bag);
        let verified = run(dir.path(), None, &["verify", "bag"]);
        assert_eq!(
            verified.code,
            i32::from(!expected.is_empty()),
            "{expected}: {}{}",
            verified.out,
            verified.err
        );
        assert!(verified.out.contains(expected), "{expected}: {}", verified.out);
        let valid = if expected.is_empty() { "complete and valid" } else { "NOT valid" };
        assert!(verified.out.contains(valid), "{expected}: {}", verified.out);
        assert_eq!(verified.err, "");
        let json = run(dir.path(), None, &["verify", "bag", "--format", "json"]);
        let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
        assert_eq!(json["bag"]["valid"], expected.is_empty());
        if expected.starts_with("manifest-sha256.txt") {
            assert!(
                verified.out.contains("\nphotos/line\\nbreak.jpg: changed"),
                "the seal inside: {}",
                verified.out
            );
        }
    }
}

#[test]
fn a_bag_is_refused_where_it_would_do_harm() {
    let dir = bench("");
    let bag = |arguments: &[&str]| run(dir.path(), None, &[&["seal", "pack"][..], arguments].concat());
    fs::create_dir(dir.path().join("taken")).unwrap();
    for (out, expected) in
        [("taken", "exists already"), ("pack/bag", "lies inside"), ("no/such/place", "cannot")]
    {
        let ran = bag(&["--bag", out]);
        assert_eq!(ran.code, 2, "{out}");
        assert!(ran.err.contains(expected), "{}", ran.err);
    }
    assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 2, "nothing is left behind");
    fs::write(dir.path().join("pack/logs/full load.csv"), "altered\n").unwrap();
    let ran = bag(&["--bag", "bag"]);
    assert_eq!(ran.code, 2);
    assert!(ran.err.contains("logs/full load.csv: changed since it was sealed"), "{}", ran.err);
    assert!(!dir.path().join("bag").exists());
    assert_eq!(bag(&["--published"]).code, 2, "needs --bag");
}

#[test]
fn a_bag_of_a_record_that_withholds_something_is_warned_of_or_holds_the_write_up_alone() {
    let withhold = "[withhold]\ntexts = [\"ZQ-2026-0417\"]\n";
    let dir = bench(withhold);
    // A write-up from before something was withheld must not slip into the bag.
    fs::write(dir.path().join("pack/inspection.toml"), RECORD).unwrap();
    assert!(run(dir.path(), None, &["report", "pack"]).code < 2);
    fs::write(dir.path().join("pack/report/old.html"), "ZQ-2026-0417").unwrap();
    fs::write(dir.path().join("pack/inspection.toml"), format!("{RECORD}{withhold}")).unwrap();

    let full = run(dir.path(), None, &["seal", "pack", "--bag", "full"]);
    assert_eq!(full.code, 0, "{}", full.err);
    assert!(full.err.contains("the record withholds something, and this bag holds it"), "{}", full.err);

    // An edition: the write-up, the signed seals, and the fields but for those that are withheld.
    new_key(dir.path());
    let go = |arguments: &[&str]| run(dir.path(), Some(PASSWORD), arguments);
    let ran = go(&["seal", "pack", "--bag", "alone", "--published", "--sign", "bench.key"]);
    assert_eq!(ran.code, 0, "{}", ran.err);
    let alone = dir.path().join("alone");
    assert_eq!(
        names(&alone),
        [
            "bag-info.txt",
            "bagit.txt",
            "data/report/pack.json",
            "data/report/report.html",
            "data/report/report.md",
            "data/seals.fields.json",
            "data/seals.toml",
            "data/seals.toml.minisig",
            "manifest-sha256.txt",
            "tagmanifest-sha256.txt"
        ]
    );
    for name in names(&alone) {
        let text = fs::read_to_string(alone.join(&name)).unwrap().to_lowercase();
        assert!(!text.contains("2026-0417") && !text.contains("2026 0417"), "{name}");
    }
    let verified = |more: &[&str]| go(&[&["verify", "alone", "--key", "bench.key.pub"][..], more].concat());
    let good = verified(&[]);
    assert_eq!(good.code, 0, "{}{}", good.out, good.err);
    assert!(good.out.contains("a withheld edition: 2 of the record's 5 fields are shown"), "{}", good.out);
    assert!(good.out.contains("signature: good"), "{}", good.out);
    // One withheld field is shown later, alone.
    let shown = go(&["seal", "pack", "--show-field", "inspection.serial"]);
    assert_eq!(shown.code, 0, "{}", shown.err);
    fs::write(dir.path().join("serial.json"), &shown.out).unwrap();
    let stands = verified(&["--field", "serial.json"]);
    assert_eq!(stands.code, 0, "{}{}", stands.out, stands.err);
    let words = "inspection.serial = \"ZQ-2026-0417\": stands in the record of seal ";
    assert!(stands.out.contains(words), "{}", stands.out);
    for (from, to) in [("ZQ-2026-0417", "ZQ-2026-0418"), ("inspection.serial", "inspection.title")] {
        fs::write(dir.path().join("serial.json"), shown.out.replace(from, to)).unwrap();
        let other = verified(&["--field", "serial.json"]);
        assert!(other.code == 1 && other.out.contains("does NOT stand"), "{}{}", other.out, other.err);
    }
    let none = go(&["seal", "pack", "--show-field", "inspection.seriel"]);
    assert!(none.code == 2 && none.err.contains("did you mean `inspection.serial`?"), "{}", none.err);
    // Whoever changes a field, a sentence or the chain of an edition is named.
    let damage = |file: &str, from: &str, to: &str, words: &str| {
        let path = alone.join("data").join(file);
        let whole = fs::read_to_string(&path).unwrap();
        fs::write(&path, whole.replacen(from, to, 1)).unwrap();
        let bad = verified(&[]);
        assert!(bad.code == 1 && bad.out.lines().any(|line| line.contains(words)), "{words}: {}", bad.out);
        fs::write(&path, whole).unwrap();
    };
    damage("seals.fields.json", "Harbour", "Harbor", "seals.fields.json: is not of the sealed record");
    damage("report/report.md", "Harbour", "Harbor", "report/report.md: is not what was published");
    damage("seals.toml", "number = 1", "number = 1 ", "BAD");
    // The salts are for the owner's eyes, and go with the record alone.
    let salts = dir.path().join("pack/seals.salts");
    assert!(dir.path().join("full/data/seals.salts").is_file());
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(fs::metadata(salts).unwrap().permissions().mode() & 0o077, 0);
    }
}

fn new_key(dir: &Path) {
    let made = run(dir, Some(PASSWORD), &["seal", "--new-key", "bench.key"]);
    assert_eq!(made.code, 0, "{}", made.err);
    assert!(!made.out.contains(PASSWORD) && made.out.contains("bench.key.pub"), "{}", made.out);
}

#[test]
fn a_seal_is_signed_and_there_are_three_outcomes() {
    let dir = bench("");
    let go = |password: Option<&str>, arguments: &[&str]| run(dir.path(), password, arguments);
    new_key(dir.path());
    let again = go(Some(PASSWORD), &["seal", "--new-key", "bench.key"]);
    assert!(again.code == 2 && again.err.contains("exists already"), "{}", again.err);

    assert_eq!(go(None, &["seal", "pack"]).code, 0);
    let unsigned = go(None, &["verify", "pack"]);
    assert_eq!(unsigned.code, 0);
    assert!(unsigned.out.contains("cannot tell who sealed it (it is not signed)"), "{}", unsigned.out);
    let wanted = go(None, &["verify", "pack", "--key", "bench.key.pub"]);
    assert_eq!(wanted.code, 1, "a signature was asked for and there is none");
    assert!(wanted.out.contains("cannot tell who sealed it"), "{}", wanted.out);

    for (password, expected) in [(Some("wrong"), "does not open"), (None, "UNDERLID_KEY_PASSWORD")] {
        let ran = go(password, &["seal", "pack", "--sign", "bench.key"]);
        assert!(ran.code == 2 && ran.err.contains(expected), "{}", ran.err);
        assert!(!dir.path().join("pack/seals.toml.minisig").exists());
    }
    let signed =
        go(Some(PASSWORD), &["seal", "pack", "--sign", "bench.key", "--comment", "sealed on bench 2"]);
    assert_eq!(signed.code, 0, "{}", signed.err);
    let seen = go(None, &["verify", "pack"]);
    assert!(seen.code == 0 && seen.out.contains("give the signer's public key"), "{}", seen.out);

    let line =
        fs::read_to_string(dir.path().join("bench.key.pub")).unwrap().lines().nth(1).unwrap().to_owned();
    for key in ["bench.key.pub", &line] {
        let good = go(None, &["verify", "pack", "--key", key]);
        assert_eq!(good.code, 0, "{}{}", good.out, good.err);
        assert!(
            good.out.contains("signature: good, by the key") && good.out.contains("sealed on bench 2"),
            "{}",
            good.out
        );
    }
    let json = go(None, &["verify", "pack", "--key", &line, "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json.out).unwrap();
    assert_eq!(json["signed"]["outcome"], "good");
    assert_eq!(json["signature"]["key"], json["signed"]["key"]);

    // In a bag the signature lies in the payload and counts as well.
    assert_eq!(go(None, &["seal", "pack", "--bag", "bag"]).code, 0);
    assert!(go(None, &["verify", "bag", "--key", &line]).out.contains("signature: good"));

    let other = go(None, &["seal", "--new-key", "other.key", "--no-password"]);
    assert_eq!(other.code, 0, "{}", other.err);
    let bad = go(None, &["verify", "pack", "--key", "other.key.pub"]);
    assert!(bad.code == 1 && bad.out.contains("signature: BAD: "), "{}", bad.out);
    // Evidence is altered and sealed again by somebody without the key.
    fs::write(dir.path().join("pack/logs/full load.csv"), "altered\n").unwrap();
    let sealed = go(None, &["seal", "pack", "--replace"]);
    assert!(sealed.err.contains("seals.toml.minisig no longer fits the new seal"), "{}", sealed.err);
    assert_eq!(go(None, &["verify", "pack"]).code, 0, "the hashes fit");
    let bad = go(None, &["verify", "pack", "--key", &line]);
    assert!(bad.code == 1 && bad.out.contains("BAD") && bad.out.contains("does not fit"), "{}", bad.out);

    let nonsense = go(None, &["verify", "pack", "--key", "bench.key"]);
    assert!(nonsense.code == 2 && nonsense.err.contains("is not a public key"), "{}", nonsense.err);
    fs::rename(dir.path().join("other.key"), dir.path().join("pack/other.key")).unwrap();
    let inside = go(None, &["seal", "pack", "--sign", "pack/other.key"]);
    assert!(inside.code == 2 && inside.err.contains("keep it elsewhere"), "{}", inside.err);
}

#[test]
fn a_password_comes_from_standard_input_too() {
    use std::io::Write;
    let dir = bench("");
    new_key(dir.path());
    let mut command = Command::new(BIN);
    command
        .args(["seal", "pack", "--sign", "bench.key"])
        .current_dir(dir.path())
        .env_remove("UNDERLID_KEY_PASSWORD");
    command.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    child.stdin.take().unwrap().write_all(format!("{PASSWORD}\n").as_bytes()).unwrap();
    let ran = ran(&child.wait_with_output().unwrap());
    assert_eq!(ran.code, 0, "{}", ran.err);
    assert!(ran.out.contains("seals.toml.minisig: signed"), "{}", ran.out);
}

/// In a terminal of its own the password is asked for and not shown, and a long run says how far it has come.
#[cfg(unix)]
#[test]
fn in_a_pseudo_terminal() {
    let dir = bench("");
    let session = |arguments: &[&str]| {
        let mut command = Command::new(BIN);
        command.args(arguments).current_dir(dir.path()).env_remove("UNDERLID_KEY_PASSWORD");
        rexpect::session::spawn_command(command, Some(60_000)).unwrap()
    };
    let mut making = session(&["seal", "--new-key", "bench.key"]);
    making.exp_string("Password for the new key: ").unwrap();
    making.send_line(PASSWORD).unwrap();
    making.exp_string("The same again: ").unwrap();
    making.send_line(PASSWORD).unwrap();
    let said = making.exp_eof().unwrap();
    assert!(said.contains("the secret key") && !said.contains(PASSWORD), "{said}");

    // Zeros that take no room on the disk but have to be read.
    fs::File::create(dir.path().join("pack/photos/large.bin")).unwrap().set_len(1 << 30).unwrap();
    let mut sealing = session(&["seal", "pack", "--sign", "bench.key"]);
    sealing.exp_regex(r"hashing: \d+ %, \d+ of 1074 MB").unwrap();
    sealing.exp_string("Password of the signing key: ").unwrap();
    sealing.send_line(PASSWORD).unwrap();
    let said = sealing.exp_eof().unwrap();
    assert!(said.contains("minisig: signed") && !said.contains(PASSWORD), "{said}");
}

// ---- against the programs of others ------------------------------------------------------------------------------

fn tool(dir: &Path, program: &str, arguments: &[&str]) -> Ran {
    let output = Command::new(program)
        .args(arguments)
        .current_dir(dir)
        .stdin(Stdio::null())
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}; run `bash tests/run`, which installs it"));
    ran(&output)
}

/// Runs a command as somebody types it, with the tests' own Python first.
fn bash(dir: &Path, command: &str) -> Ran {
    let python = crate::common::tool(".cache/tools/venv/bin/python");
    let path = std::env::var("PATH").unwrap();
    let path = format!("{}:{path}", python.parent().unwrap().display());
    let output =
        Command::new("bash").args(["-c", command]).current_dir(dir).env("PATH", path).output().unwrap();
    ran(&output)
}

/// Reference: the Python `bagit` library, both ways, through the command line.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn bagit_and_we_agree_on_each_others_bags() {
    let bagit = |what: &str, folder: &Path| {
        crate::common::python("evidence_bag.py").arg(what).arg(folder).output().unwrap()
    };
    let damages: [fn(&Path); 4] = [
        |_| {},
        |b| fs::write(b.join("data/photos/line\nbreak.jpg"), "y").unwrap(),
        |b| fs::remove_file(b.join("data/logs/full load.csv")).unwrap(),
        |b| fs::write(b.join("data/more.txt"), "more").unwrap(),
    ];
    for ours in [true, false] {
        for (number, damage) in damages.iter().enumerate() {
            let dir = bench("");
            let bag = if ours {
                assert_eq!(run(dir.path(), None, &["seal", "pack", "--bag", "bag"]).code, 0);
                dir.path().join("bag")
            } else {
                let made = bagit("make", &dir.path().join("pack"));
                assert!(made.status.success(), "{made:?}");
                dir.path().join("pack")
            };
            damage(&bag);
            let theirs = bagit("validate", &bag).status.code().unwrap();
            let we = run(dir.path(), None, &["verify", bag.to_str().unwrap()]);
            let expected = number != 0;
            assert_eq!(theirs != 0, expected, "bagit, {ours} {number}");
            assert_eq!(we.code, i32::from(expected), "{ours} {number}: {}{}", we.out, we.err);
        }
    }
}

/// References: the minisign program, the Python `py-minisign` library.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn signatures_of_others_are_told_apart_on_the_command_line() {
    let dir = bench("");
    let pack = dir.path().join("pack");
    assert_eq!(run(dir.path(), None, &["seal", "pack"]).code, 0);
    let verified = |key: &str| run(dir.path(), None, &["verify", "pack", "--key", key]);
    let good = |key: &str| {
        let ran = verified(key);
        assert_eq!(ran.code, 0, "{key}: {}{}", ran.out, ran.err);
        assert!(ran.out.contains("signature: good"), "{}", ran.out);
    };
    let bad = |key: &str| {
        let ran = verified(key);
        assert!(ran.code == 1 && ran.out.contains("signature: BAD"), "{key}: {}{}", ran.out, ran.err);
    };

    // Without a password, as the program writes such keys: it leaves out their checksum.
    let made = tool(dir.path(), "minisign", &["-G", "-W", "-p", "theirs.pub", "-s", "theirs.key"]);
    assert_eq!(made.code, 0, "{}", made.err);
    let signed = tool(&pack, "minisign", &["-S", "-s", "../theirs.key", "-m", "seals.toml"]);
    assert_eq!(signed.code, 0, "{}", signed.err);
    good("theirs.pub");
    new_key(dir.path());
    bad("bench.key.pub");
    // Their key signs through our command line, and their program accepts what ours signed.
    let ours = run(dir.path(), None, &["seal", "pack", "--sign", "theirs.key"]);
    assert_eq!(ours.code, 0, "{}", ours.err);
    assert_eq!(tool(&pack, "minisign", &["-Vm", "seals.toml", "-p", "../theirs.pub"]).code, 0);
    assert_eq!(run(dir.path(), Some(PASSWORD), &["seal", "pack", "--sign", "bench.key"]).code, 0);
    assert_eq!(tool(&pack, "minisign", &["-Vm", "seals.toml", "-p", "../bench.key.pub"]).code, 0);
    fs::copy(dir.path().join("bench.key.pub"), pack.join("public.key")).unwrap();
    let public = dir.path().join("public.key").display().to_string();
    let python = |what: &str| {
        crate::common::python("evidence_minisign.py").arg(what).arg(&pack).arg("seals.toml").output().unwrap()
    };
    assert_eq!(python("verify").status.code(), Some(0));
    assert!(python("sign").status.success());
    fs::rename(pack.join("public.key"), &public).unwrap();
    good(&public);

    let altered = fs::read_to_string(pack.join("seals.toml")).unwrap().replace("number = 1", "number =  1");
    fs::write(pack.join("seals.toml"), altered).unwrap();
    bad(&public);
}

fn printed_commands(markdown: &str) -> Vec<String> {
    let mut commands = Vec::new();
    let mut lines = markdown.lines().map(str::trim);
    while let Some(line) = lines.next() {
        if line == "```bash" {
            let block: Vec<&str> = lines.by_ref().take_while(|line| *line != "```").collect();
            commands.push(block.join("\n"));
        }
    }
    commands
}

/// Whatever is changed after a seal is named in one line: a sentence, a photo, the seal itself, the key.
#[test]
fn what_was_published_is_sealed_too() {
    let dir = bench("");
    let go = |arguments: &[&str]| run(dir.path(), Some(PASSWORD), arguments);
    new_key(dir.path());
    assert!(go(&["report", "pack"]).code < 2);
    let sealed =
        go(&["seal", "pack", "--sign", "bench.key", "--comment", "timestamp:1700000000 file:photos.sha256"]);
    assert!(
        sealed.code == 0 && sealed.out.contains("seal 1, with the write-up"),
        "{}{}",
        sealed.out,
        sealed.err
    );
    let good = go(&["verify", "pack", "--key", "bench.key.pub"]);
    assert_eq!(good.code, 0, "{}{}", good.out, good.err);
    for words in ["seal 1: ", "the same to the last letter", "the signer says: timestamp:1700000000"] {
        assert!(good.out.contains(words), "{words}: {}", good.out);
    }
    let says = |words: &str| {
        let ran = go(&["verify", "pack", "--key", "bench.key.pub"]);
        assert_ne!(ran.code, 0);
        assert!(
            ran.out.lines().chain(ran.err.lines()).any(|line| line.contains(words)),
            "{words}: {}{}",
            ran.out,
            ran.err
        );
    };
    // A sentence of the page, and with it the bag that holds it.
    let page = dir.path().join("pack/report/report.html");
    let html = fs::read_to_string(&page).unwrap();
    fs::write(&page, html.replacen("<h1", "<p>It meets its nameplate.</p>\n<h1", 1)).unwrap();
    says("report/report.html, line ");
    says("It meets its nameplate.");
    fs::write(&page, html).unwrap();
    assert_eq!(go(&["verify", "pack", "--key", "bench.key.pub"]).code, 0);
    // A key that lies in what is checked.
    fs::copy(dir.path().join("bench.key.pub"), dir.path().join("pack/signer.pub")).unwrap();
    let foreign = go(&["verify", "pack", "--key", "pack/signer.pub"]);
    assert!(foreign.code == 2 && foreign.err.contains("proves nothing"), "{}", foreign.err);
    fs::remove_file(dir.path().join("pack/signer.pub")).unwrap();
    // Sealed again after a change: the chain says so, and the signature no longer fits.
    fs::write(dir.path().join("pack/logs/full load.csv"), "altered\n").unwrap();
    let again = go(&["seal", "pack", "--replace"]);
    assert!(
        again.out.contains("seal 2, ") && again.err.contains("no longer fits"),
        "{}{}",
        again.out,
        again.err
    );
    says("seal 2: ");
    says("logs/full load.csv: changed since it was sealed");
    says("BAD");
    // The trace of the first seal is taken away.
    let chain = dir.path().join("pack/seals.toml");
    let text = fs::read_to_string(&chain).unwrap();
    let second = text.rfind("[[seal]]").unwrap();
    let first = text.find("[[seal]]").unwrap();
    fs::write(&chain, format!("{}{}", &text[..first], &text[second..])).unwrap();
    says("the seal in place 1 has the number 2");
    let refused = go(&["seal", "pack"]);
    assert!(refused.code == 2 && refused.err.contains("does not hold"), "{}", refused.err);
}

/// Keys that the user's settings trust are tried without being named; a key of another says nothing.
#[test]
fn keys_that_the_settings_trust() {
    let dir = bench("");
    new_key(dir.path());
    let settings = dir.path().join("settings.toml");
    fs::write(&settings, "keys = [\"bench.key.pub\"]\n").unwrap();
    let go = |config: &str, arguments: &[&str]| {
        let mut command = Command::new(BIN);
        command.current_dir(dir.path()).args(arguments).env("UNDERLID_CONFIG", config);
        ran(&command.env("UNDERLID_KEY_PASSWORD", PASSWORD).output().unwrap())
    };
    let config = settings.display().to_string();
    assert_eq!(go("", &["seal", "pack", "--sign", "bench.key"]).code, 0);
    let trusted = go(&config, &["verify", "pack"]);
    assert!(
        trusted.code == 0 && trusted.out.contains("signature: good, by the key"),
        "{}{}",
        trusted.out,
        trusted.err
    );
    assert!(trusted.out.contains("of bench.key.pub"), "{}", trusted.out);
    let unknown = go("", &["verify", "pack"]);
    assert!(unknown.code == 0 && unknown.out.contains("cannot tell who sealed it"), "{}", unknown.out);
    // Changed after it was signed: bad, also where no key was named.
    let chain = dir.path().join("pack/seals.toml");
    let text = fs::read_to_string(&chain).unwrap();
    fs::write(&chain, text.replacen("number = 1", "number = 1 ", 1)).unwrap();
    let changed = go(&config, &["verify", "pack"]);
    assert!(changed.code == 1 && changed.out.contains("BAD"), "{}{}", changed.out, changed.err);
    // A key of somebody else.
    let made = go("", &["seal", "--new-key", "other.key", "--no-password"]);
    assert_eq!(made.code, 0, "{}", made.err);
    fs::write(&settings, "keys = [\"other.key.pub\"]\n").unwrap();
    let other = go(&config, &["verify", "pack"]);
    assert!(other.out.contains("no key that your settings trust"), "{}", other.out);
}

/// RFC 3161: the request that is written is answered by OpenSSL's own test authority, and the printed command accepts the
/// token; it stays about the seal for which it was given.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn a_trusted_time_from_a_test_authority() {
    let dir = bench("");
    let authority = "[tsa]\ndefault_tsa = test\n[test]\nserial = serial\ncrypto_device = builtin\nsigner_digest = sha256\n\
                     default_policy = 1.2.3.4.1\ndigests = sha256\nordering = no\ntsa_name = no\n";
    fs::write(dir.path().join("tsa.cnf"), authority).unwrap();
    fs::write(dir.path().join("serial"), "01\n").unwrap();
    let made = bash(
        dir.path(),
        "openssl req -x509 -newkey rsa:2048 -nodes -keyout tsa.key -out authority.pem -days 2 -subj /CN=test-authority \
         -addext extendedKeyUsage=critical,timeStamping",
    );
    assert_eq!(made.code, 0, "{}", made.err);
    let go = |arguments: &[&str]| run(dir.path(), None, arguments);
    let sealed = go(&["seal", "pack", "--time-request"]);
    assert!(sealed.code == 0 && sealed.out.contains("nothing was sent"), "{}{}", sealed.out, sealed.err);
    let none = go(&["verify", "pack"]);
    assert!(none.out.contains("trusted time: none"), "{}", none.out);
    let read = bash(dir.path(), "openssl ts -query -in pack/seals.toml.tsq -text");
    assert!(read.code == 0 && read.out.contains("sha256"), "{}{}", read.out, read.err);
    let answered = bash(
        dir.path(),
        "openssl ts -reply -config tsa.cnf -queryfile pack/seals.toml.tsq -signer authority.pem -inkey tsa.key \
         -out pack/seals.toml.tsr",
    );
    assert_eq!(answered.code, 0, "{}", answered.err);
    let check = |seals: usize| {
        let verified = go(&["verify", "pack"]);
        assert_eq!(verified.code, 0, "{}{}", verified.out, verified.err);
        assert!(verified.out.contains(&format!("seal {seals}: ")), "{}", verified.out);
        let line = verified.out.lines().find(|line| line.starts_with("trusted time: ")).unwrap().to_owned();
        assert!(line.contains("holds the hash of seal 1"), "{line}");
        let command = line.split(": ").last().unwrap().split(';').next().unwrap().to_owned();
        let good = bash(&dir.path().join("pack"), &command.replace("authority.pem", "../authority.pem"));
        assert!(good.code == 0 && (good.out + &good.err).contains("Verification: OK"), "{command}");
    };
    check(1);
    // A later seal keeps the token of the earlier one.
    fs::write(dir.path().join("pack/logs/full load.csv"), "altered\n").unwrap();
    assert_eq!(go(&["seal", "pack", "--replace"]).code, 0);
    check(2);
    // A token about something else is named.
    fs::write(dir.path().join("other"), "x").unwrap();
    let other = bash(
        dir.path(),
        "openssl ts -query -data other -sha256 -out other.tsq && openssl ts -reply -config tsa.cnf -queryfile other.tsq \
         -signer authority.pem -inkey tsa.key -out pack/seals.toml.tsr",
    );
    assert_eq!(other.code, 0, "{}", other.err);
    let foreign = go(&["verify", "pack"]);
    assert!(foreign.code == 1 && foreign.out.contains("is about none of the seals"), "{}", foreign.out);
}

/// Reference: the root that `hashlib` and the words of RFC 9162, 2.1 give.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_fields_have_the_root_that_others_find() {
    let dir = bench(
        "[withhold]\nfields = [\"inspection.serial\"]\n[[test]]\nid = \"a\"\nduration = \"2.50 h\"\nnote = \"é, 母線 \\\"x\\\"\"\n",
    );
    let sealed = run(dir.path(), None, &["seal", "pack", "--bag", "bag", "--published"]);
    assert_eq!(sealed.code, 0, "{}", sealed.err);
    let data = dir.path().join("bag/data");
    let theirs = crate::common::python("field_tree.py").arg(data.join("seals.fields.json")).output().unwrap();
    assert!(theirs.status.success(), "{theirs:?}");
    let root = format!("root = \"{}\"", String::from_utf8(theirs.stdout).unwrap().trim());
    let seals = fs::read_to_string(data.join("seals.toml")).unwrap();
    assert!(seals.contains(&root), "{root}: {seals}");
}

/// Somebody follows the write-up to the letter, with coreutils, minisign and Python's `bagit` alone.
#[test]
#[ignore = "needs the tools that tests/run sets up"]
fn the_printed_steps_work_as_they_stand() {
    let dir = bench("");
    let pack = dir.path().join("pack");
    new_key(dir.path());
    assert!(run(dir.path(), None, &["report", "pack"]).code < 2);
    assert_eq!(run(dir.path(), Some(PASSWORD), &["seal", "pack", "--sign", "bench.key"]).code, 0);
    assert_eq!(run(dir.path(), None, &["seal", "pack", "--bag", "bag"]).code, 0);

    let commands = printed_commands(&fs::read_to_string(pack.join("report/report.md")).unwrap());
    assert_eq!(commands.len(), 4, "{commands:?}");
    let html = fs::read_to_string(pack.join("report/report.html")).unwrap();
    let steps = html.split("<ol class=\"steps\">").nth(1).unwrap().split("</ol>").next().unwrap();
    let unescaped = |text: &str| {
        let pairs = [
            ("&lt;", "<"),
            ("&gt;", ">"),
            ("&quot;", "\""),
            ("&#x27;", "'"),
            ("&#x2F;", "/"),
            ("&#39;", "'"),
            ("&amp;", "&"),
        ];
        pairs.iter().fold(text.to_owned(), |text, (from, to)| text.replace(from, to))
    };
    let on_page: Vec<String> =
        steps.split("<code>").skip(1).map(|rest| unescaped(rest.split("</code>").next().unwrap())).collect();
    assert_eq!(on_page, commands, "page and Markdown print the same commands");

    fs::copy(dir.path().join("bench.key.pub"), pack.join("signer.pub")).unwrap();
    let place = |command: &str| -> PathBuf {
        if command.contains("bagit") { dir.path().join("bag") } else { pack.clone() }
    };
    for command in &commands {
        let ran = bash(&place(command), command);
        assert_eq!(ran.code, 0, "{command}: {}{}", ran.out, ran.err);
    }
    // After a change every one of them fails: files, list, signature, bag.
    fs::write(pack.join("logs/full load.csv"), "altered\n").unwrap();
    fs::write(dir.path().join("bag/data/logs/full load.csv"), "altered\n").unwrap();
    let failed = |command: &String| bash(&place(command), command).code != 0;
    assert!(failed(&commands[0]) && failed(&commands[3]));
    assert_eq!(run(dir.path(), None, &["seal", "pack", "--replace"]).code, 0);
    assert!(commands[1..3].iter().all(failed), "a new list of hashes is another one, signed by nobody");
}
