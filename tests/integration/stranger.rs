//! A folder from a stranger: what lies in it neither hangs a command, nor drives the terminal, nor chooses its own judge,
//! nor passes for evidence.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::common::{copy, root, run, text};

/// A command on a hostile folder ends within this time.
const AT_MOST: Duration = Duration::from_secs(5);

/// Every command that takes an inspection folder, with `DIR` for it and `OUT` for a folder to write into.
const COMMANDS: &[&[&str]] = &[
    &["check", "DIR"],
    &["check", "DIR", "--brief"],
    &["check", "DIR", "--all", "--format", "json"],
    &["check", "DIR", "--folder-rules"],
    &["check", "--all-below", "DIR"],
    &["report", "DIR"],
    &["report", "DIR", "--templates", "DIR/templates"],
    &["compare", "DIR", "DIR"],
    &["compare", "DIR", "DIR", "--all", "--format", "json"],
    &["compare", "DIR", "DIR", "--to", "OUT/compare", "--templates", "DIR/templates"],
    &["video-kit", "DIR", "--to", "OUT/appendix", "--templates", "DIR/templates"],
    &["collection", "DIR", "--to", "OUT/collection"],
    &["plan", "DIR"],
    &["plan", "DIR", "--format", "json"],
    &["explain", "fuse-present", "--record", "DIR"],
    &["explain", "--rules", "DIR/rules"],
    &["fill", "DIR"],
    &["fill", "DIR", "--folder-rules"],
    &["fill", "DIR", "--checklist", "DIR/checklists/a.toml"],
    &["checklist", "--check", "DIR/checklists/a.toml"],
    &["photos", "DIR", "DIR/photos"],
    &["photos", "DIR", "DIR/photos", "--take"],
    &["log", "DIR/logs/a.csv"],
    &["seal", "DIR"],
    &["seal", "DIR", "--bag", "OUT/bag"],
    &["verify", "DIR"],
    &["verify", "DIR", "--format", "json"],
];

/// Runs a command with a folder put in and nothing to read; none when it does not end in time.
fn in_time(command: &[&str], folder: &Path, out: &Path) -> Option<(i32, Vec<u8>)> {
    let arguments = command.iter().map(|argument| {
        argument.replace("DIR", folder.to_str().unwrap()).replace("OUT", out.to_str().unwrap())
    });
    let files = tempfile::tempdir().unwrap();
    let at = |name: &str| files.path().join(name);
    let mut child = Command::new(env!("CARGO_BIN_EXE_underlid"))
        .env("NO_COLOR", "1")
        .env("UNDERLID_CONFIG", "")
        .args(arguments)
        .stdin(Stdio::null())
        .stdout(fs::File::create(at("out")).unwrap())
        .stderr(fs::File::create(at("err")).unwrap())
        .spawn()
        .unwrap();
    let started = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            let printed = [fs::read(at("out")).unwrap(), fs::read(at("err")).unwrap()].concat();
            return Some((status.code().unwrap_or(-1), printed));
        }
        if started.elapsed() > AT_MOST {
            child.kill().unwrap();
            child.wait().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn pipe(path: &Path) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    let _ = fs::remove_file(path);
    assert!(Command::new("mkfifo").arg(path).status().unwrap().success());
}

const TEST: &str = "schema = 2\n[path]\ncomplete = \"yes\"\n[[photo]]\nfile = \"photos/a.jpg\"\nshows = [\"label\"]\n\
    sha256 = \"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\"\n\
    [[test]]\nid = \"capacity\"\nkind = \"capacity\"\nlog = \"logs/a.csv\"\n\
    [[test]]\nid = \"full\"\nkind = \"full load\"\n[[test.branch]]\nname = \"one\"\nlog = \"logs/b.csv\"\n";

/// Before, a pipe in `logs/` hung six commands: opening it waits for whoever writes into it.
#[cfg(unix)]
#[test]
fn a_pipe_in_the_place_of_a_file_hangs_no_command() {
    let out = tempfile::tempdir().unwrap();
    let mut told = 0;
    for also_record in [false, true] {
        for command in COMMANDS {
            let folder = tempfile::tempdir().unwrap();
            let at = |name: &str| folder.path().join(name);
            fs::write(at("inspection.toml"), TEST).unwrap();
            for name in [
                "logs/a.csv",
                "logs/b.csv",
                "photos/a.jpg",
                "rules/a.toml",
                "profiles/a.toml",
                "checklists/a.toml",
            ] {
                pipe(&at(name));
            }
            for name in ["report.md", "report.html", "style.css", "compare.md", "frame.svg", "verdict.svg"] {
                pipe(&at("templates").join(name));
            }
            if also_record {
                pipe(&at("inspection.toml"));
            }
            let (status, printed) = in_time(command, folder.path(), out.path())
                .unwrap_or_else(|| panic!("{command:?} did not end within {AT_MOST:?}"));
            let printed = String::from_utf8_lossy(&printed);
            assert!(status >= 0, "{command:?} was killed: {printed}");
            if status == 2 {
                let told_so = ["pipe", "is not a file", "no inspection.toml", "photos.sha256: No such file"];
                assert!(told_so.iter().any(|words| printed.contains(words)), "{command:?}: {printed}");
                told += 1;
            }
        }
    }
    assert!(told > COMMANDS.len(), "only {told} commands said what is wrong");
}

/// A link leads out of the folder: what it shows is somebody else's.
#[cfg(unix)]
#[test]
fn a_link_in_the_place_of_a_file_is_not_followed() {
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join("secret"), "schema = 2\nsecret = \"Quellwerk\"\n").unwrap();
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("inspection.toml");
    std::os::unix::fs::symlink(outside.path().join("secret"), link).unwrap();
    let out = tempfile::tempdir().unwrap();
    for command in COMMANDS.iter().filter(|command| matches!(command, [_, "DIR"])) {
        let (status, printed) = in_time(command, folder.path(), out.path()).unwrap();
        let printed = String::from_utf8_lossy(&printed);
        assert_eq!(status, 2, "{command:?}: {printed}");
        assert!(printed.contains("a link") && !printed.contains("Quellwerk"), "{command:?}: {printed}");
    }
}

/// What a terminal obeys instead of showing it; line ends are let through.
fn obeyed(printed: &[u8]) -> Option<char> {
    let text = String::from_utf8_lossy(printed);
    text.chars().find(|&c| {
        (c.is_control() && c != '\n')
            || matches!(c, '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    })
}

/// Before, an element's id could clear the screen, fill the clipboard and print a verdict of its own.
#[test]
fn nothing_that_a_folder_holds_drives_the_terminal() {
    // ECMA-48 (from memory): clear screen, clipboard (OSC 52), title, C1 forms of both; UAX #9: reading direction.
    let bad =
        "\u{1b}[2J\u{1b}]52;c;cm0=\u{7}\u{9b}1A\u{9d}0;x\u{9c}\u{7f}\u{8}\u{202e}\u{2066}\u{61c}\r● meets";
    // TOML writes four digits.
    let toml = bad.chars().map(|c| match c {
        c if c.is_control() || !c.is_ascii() && c != '●' => format!("\\u{:04x}", u32::from(c)),
        c => c.to_string(),
    });
    let toml: String = toml.collect();
    let record = format!(
        "schema = 2\nnotes = \"{toml}\"\n[inspection]\ntitle = \"{toml}\"\nmaker = \"{toml}\"\nserial = {{ value = \"{toml}\", note = \"{toml}\" }}\n\
         [claims]\ncontinuous_current = \"150 A\"\ncapacity = \"100 Ah\"\n[[claims.statement]]\nid = \"{toml}\"\ntext = \"{toml}\"\n\
         [path]\ncomplete = \"yes\"\n[[path.element]]\nid = \"{toml}\"\nkind = \"busbar\"\nname = \"{toml}\"\nmaterial = \"copper\"\nsection = \"10 x 1 mm\"\n\
         [[path.element]]\nid = \"f{toml}\"\nkind = \"fuse\"\nfuse = \"unknown\"\nmarking = \"{toml}\"\n\
         [[instrument]]\nid = \"{toml}\"\nmodel = \"{toml}\"\n[[photo]]\nfile = \"photos/{toml}.jpg\"\ncaption = \"{toml}\"\nshows = [\"{toml}\"]\n\
         [[test]]\nid = \"{toml}\"\nkind = \"capacity\"\nlog = \"logs/a.csv\"\n"
    );
    let rule = format!(
        "schema = 1\n[[change]]\nrule = \"fuse-present\"\noff = \"yes\"\nreason = \"{toml}\"\n[[rule]]\nid = \"x\"\ntitle = \"{toml}\"\n\
         fault = \"{toml}\"\nsubject = \"{toml}\"\nrequire = 'claims.continuous_current <= 1 A'\ngrade = \"critical\"\n\
         basis = \"{toml}\"\nwhy = \"{toml}\"\nadvice = \"{toml}\"\n"
    );
    let broken = format!("schema = 2\n[inspection]\n\"{toml}\" = \"{toml}\"\npl\u{85}ace = 1\n");
    let raw = format!("schema = 2\n[inspection]\nplace = {bad}\n");
    let log = format!("time (s),voltage (V) {bad},current (A) {bad}\n1,{bad},2\n2,3.3,1.0\n");
    let out = tempfile::tempdir().unwrap();
    let mut reached = 0;
    for record in [&record, &broken, &raw] {
        for (rules, checklist) in [(&rule, "schema = 1\n"), (&broken, raw.as_str())] {
            let folder = tempfile::tempdir().unwrap();
            let at = |name: &str| folder.path().join(name);
            for name in ["logs", "photos", "rules", "checklists", "templates"] {
                fs::create_dir(at(name)).unwrap();
            }
            fs::write(at("inspection.toml"), record).unwrap();
            fs::write(at("rules/a.toml"), rules).unwrap();
            fs::write(at("checklists/a.toml"), checklist).unwrap();
            fs::write(at("logs/a.csv"), &log).unwrap();
            fs::write(at("templates/report.md"), format!("{{{{ {bad} }}}}")).unwrap();
            let name = bad.replace(['\u{9c}'], "");
            #[cfg(unix)]
            for (folder, ending) in [("photos", "jpg"), ("rules", "toml"), ("checklists", "toml")] {
                fs::write(at(folder).join(format!("{name}.{ending}")), "x\u{1b}[2J").unwrap();
            }
            fs::create_dir(at(&name)).unwrap();
            fs::write(at(&name).join("inspection.toml"), record).unwrap();
            for command in COMMANDS {
                let (status, printed) = in_time(command, folder.path(), out.path()).unwrap();
                assert!(status >= 0, "{command:?}");
                let found = obeyed(&printed);
                assert_eq!(found, None, "{command:?}: {}", String::from_utf8_lossy(&printed));
                reached += usize::from(String::from_utf8_lossy(&printed).contains("meets"));
            }
            let inner = at(&name);
            for command in COMMANDS.iter().filter(|command| !command.contains(&"photos")) {
                let (_, printed) = in_time(command, &inner, out.path()).unwrap();
                assert_eq!(obeyed(&printed), None, "{command:?}: {}", String::from_utf8_lossy(&printed));
            }
        }
    }
    assert!(reached > COMMANDS.len(), "the texts were printed in {reached} runs");
    // A call that does not read quotes what was typed: it may have been a file's name.
    let (_, printed) = in_time(&[bad, bad], out.path(), out.path()).unwrap();
    assert_eq!(obeyed(&printed), None);
}

/// Files are opened, and terminals written to, through one door each.
#[test]
fn there_is_one_door_for_files_and_one_for_the_terminal() {
    for (door, words) in [
        ("src/record/open.rs", &["File::open(", "fs::read(", "fs::read_to_string(", "fs::read_dir("][..]),
        ("src/units/terminal.rs", &["stdout().lock()", "stderr().lock()", "print!(", "println!(", "\\x1b[K"]),
    ] {
        for entry in walkdir::WalkDir::new(root().join("src")) {
            let path = entry.unwrap().into_path();
            // The scripts of completions are the program's own; pictures of bars are printed by a test.
            let apart = path.ends_with("tests.rs") || path.ends_with("cli/completions.rs");
            if path.extension().is_none_or(|e| e != "rs") || apart || path.ends_with(door) {
                continue;
            }
            let text = fs::read_to_string(&path).unwrap();
            let own = text.split("#[cfg(test)]\nmod tests").next().unwrap();
            for word in words {
                let line =
                    own.lines().find(|line| line.contains(word) && !line.trim_start().starts_with("//"));
                assert_eq!(line, None, "{}: belongs into {door}", path.display());
            }
        }
    }
}

// ---- rules that lie in the folder --------------------------------------------------------------------------------

/// A copy of an example with rules of its own that turn off whatever is not met.
fn with_own_rules() -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::copy(root().join("tests/data/video-of-a-teardown.toml"), folder.path().join("inspection.toml"))
        .unwrap();
    let (_, printed, _) = run(&["check", &text(folder.path()), "--format", "json"]);
    let view: serde_json::Value = serde_json::from_str(&printed).unwrap();
    let mut rules = "schema = 1\n".to_owned();
    let mut done = std::collections::BTreeSet::new();
    for finding in view["findings"].as_array().unwrap().iter().filter(|f| f["outcome"] != "meets") {
        let rule = finding["rule"].as_str().unwrap();
        if done.insert(rule.to_owned()) {
            rules.push_str(&format!("[[change]]\nrule = \"{rule}\"\noff = \"yes\"\nreason = \"not ours\"\n"));
        }
    }
    fs::create_dir(folder.path().join("rules")).unwrap();
    fs::write(folder.path().join("rules/house.toml"), rules).unwrap();
    folder
}

/// Before, such a folder made `check` end with 0, and neither `--brief` nor any export said why.
#[test]
fn rules_in_a_folder_count_only_when_the_user_says_so_and_every_output_tells() {
    let folder = with_own_rules();
    let path = text(folder.path());
    let (status, plain, _) = run(&["check", &path]);
    assert_eq!(status, 1, "{plain}");
    let hash = underlid::evidence::hash::Sha256Digest::of(
        &fs::read(folder.path().join("rules/house.toml")).unwrap(),
    );
    let aside =
        format!("The rules in rules/house.toml of the inspection folder were left aside (SHA-256 {hash}).");
    let applied = format!(
        "Judged with the rules in rules/house.toml of the inspection folder (SHA-256 {hash}): rule `"
    );
    for (flag, expected, status) in [(None, aside.as_str(), 1), (Some("--folder-rules"), applied.as_str(), 0)]
    {
        let out = tempfile::tempdir().unwrap();
        let to = |name: &str| text(&out.path().join(name));
        let with = |arguments: &[&str]| {
            let arguments: Vec<&str> = arguments.iter().copied().chain(flag).collect();
            let (code, printed, err) = run(&arguments);
            assert!(code < 2, "{arguments:?}: {err}");
            (code, printed)
        };
        let top = |printed: &str| printed.chars().take(600).collect::<String>();
        let (code, printed) = with(&["check", &path]);
        assert_eq!(code, status, "{printed}");
        assert!(top(&printed).contains(expected), "{printed}");
        let (_, printed) = with(&["check", &path, "--brief"]);
        assert!(printed.contains(expected), "{printed}");
        let (_, printed) = with(&["check", &path, "--format", "json"]);
        let view: serde_json::Value = serde_json::from_str(&printed).unwrap();
        assert_eq!(view["rule_files"][0]["applied"], flag.is_some(), "{}", view["rule_files"]);
        assert!(view["rule_files"][0]["told"].as_str().unwrap().starts_with(expected));
        with(&["report", &path]);
        with(&["compare", &path, &path, "--to", &to("compare")]);
        with(&["video-kit", &path, "--to", &to("video")]);
        with(&["collection", &path, "--to", &to("site")]);
        let (_, printed) = with(&["compare", &path, &path]);
        assert!(top(&printed).contains(&expected[..40]), "{printed}");
        let (_, printed) = with(&["plan", &path]);
        assert!(top(&printed).contains(&expected[..40]), "{printed}");
        let (_, printed) = with(&["explain", "fuse-present", "--record", &path]);
        assert!(top(&printed).contains(&expected[..40]), "{printed}");
        let holds = |file: PathBuf| {
            let text = fs::read_to_string(&file).unwrap().replace("&#x2F;", "/").replace("\\_", "_");
            assert!(text.contains("rules/house.toml"), "{}", file.display());
            assert!(text.contains(&hash.to_string()), "{}", file.display());
        };
        for name in ["report.md", "report.html"] {
            holds(folder.path().join("report").join(name));
        }
        for name in
            ["compare/compare.md", "compare/compare.html", "compare/compare.json", "video/description.txt"]
        {
            holds(out.path().join(name));
        }
        for name in ["collection.csv", "collection.jsonl"] {
            holds(out.path().join("site").join(name));
        }
        let page = fs::read_dir(out.path().join("site/packs")).unwrap().next().unwrap().unwrap().path();
        holds(page);
        let index = fs::read_to_string(out.path().join("site/index.html")).unwrap();
        assert!(index.contains("judged with rules besides the built-in ones"), "the first page says so too");
        let card = fs::read_to_string(out.path().join("video/cards/verdict-wide.svg")).unwrap();
        assert!(card.contains("The rules in") || card.contains("Judged with"), "{card}");
        // Parquet stores short texts as they are, in pages that may be packed: the same rows are in the CSV.
        assert!(out.path().join("site/collection.parquet").exists());
    }
}

#[test]
fn the_users_own_settings_name_rules() {
    let folder = copy("harbour-24-150-rev-a");
    let own = tempfile::tempdir().unwrap();
    let settings = own.path().join("settings.toml");
    fs::write(
        own.path().join("mine.toml"),
        "schema = 1\n[[change]]\nrule = \"fuse-present\"\ngrade = \"minor\"\nreason = \"mine\"\n",
    )
    .unwrap();
    let check = |content: &str| {
        fs::write(&settings, content).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_underlid"))
            .env("NO_COLOR", "1")
            .env("UNDERLID_CONFIG", &settings)
            .args(["check", &text(folder.path())])
            .output()
            .unwrap();
        let printed = [output.stdout, output.stderr].concat();
        (output.status.code().unwrap(), String::from_utf8(printed).unwrap())
    };
    let (_, printed) = check("rules = [\"mine.toml\"]\n");
    assert!(printed.contains("Judged with the rules in mine.toml (SHA-256 "), "{printed}");
    let (status, printed) = check("rule = [\"mine.toml\"]\n");
    assert_eq!(status, 2);
    assert!(printed.contains("settings.toml") && printed.contains("rules = [\"house.toml\"]"), "{printed}");
}

// ---- pictures ----------------------------------------------------------------------------------------------------

/// Before, half of a JPEG file counted as a photo of the label.
#[test]
fn half_a_picture_is_no_evidence() {
    let rule = |folder: &Path| {
        let (_, printed, _) = run(&["check", &text(folder), "--all", "--format", "json"]);
        let view: serde_json::Value = serde_json::from_str(&printed).unwrap();
        let find =
            |f: &&serde_json::Value| f["working"]["expression"].to_string().contains("evidence.label_photos");
        view["findings"].as_array().unwrap().iter().find(find).unwrap().clone()
    };
    let folder = copy("harbour-24-150-rev-a");
    assert_eq!(rule(folder.path())["outcome"], "meets");
    let photos = folder.path().join("photos");
    let cut = |name: &str| {
        let whole = fs::read(photos.join(name)).unwrap();
        fs::write(photos.join(name), &whole[..whole.len() / 2]).unwrap();
    };
    let (status, _, _) = run(&["seal", &text(folder.path())]);
    assert_eq!(status, 0);
    cut("01-label.jpg");
    // What is left of the label's photos is the marking's.
    let marking = fs::read_to_string(folder.path().join("inspection.toml")).unwrap();
    fs::write(folder.path().join("inspection.toml"), marking.replace("\"marking\"", "\"cells\"")).unwrap();
    let finding = rule(folder.path());
    assert_eq!(finding["outcome"], "falls short", "{finding:#}");
    assert!(finding.to_string().contains("01-label.jpg does not count: it is damaged"), "{finding:#}");
    // A seal made over the half picture holds, and says what it holds.
    let (status, _, err) = run(&["seal", &text(folder.path()), "--replace"]);
    assert_eq!(status, 0, "{err}");
    let (status, printed, _) = run(&["verify", &text(folder.path())]);
    assert_eq!(status, 1);
    assert!(printed.contains("photos/01-label.jpg: does not count as evidence: it is damaged"), "{printed}");
    // A picture that is not there, or of a kind that is not decoded, is not damaged: nothing is told of it.
    fs::remove_file(photos.join("01-label.jpg")).unwrap();
    assert_eq!(rule(folder.path())["outcome"], "not decided");
    fs::write(
        photos.join("01-label.jpg"),
        [&[0, 0, 0, 24][..], b"ftypheic\0\0\0\0mif1heic", &[0; 64]].concat(),
    )
    .unwrap();
    let finding = rule(folder.path());
    assert_eq!(finding["outcome"], "not decided");
    assert!(finding.to_string().contains("HEIC"), "{finding:#}");
}

// ---- one pass ----------------------------------------------------------------------------------------------------

/// The log is read as often whatever is withheld: bytes that were read, as Linux counts them for a process.
#[cfg(target_os = "linux")]
#[test]
fn a_log_is_read_as_often_whatever_is_withheld() {
    let read = |withhold: &str| {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("logs")).unwrap();
        let rows: String =
            (0..100_000).map(|n| format!("{n},{:.3},30.0\n", 26.4 - f64::from(n) * 4e-5)).collect();
        fs::write(folder.path().join("logs/a.csv"), format!("time (s),voltage (V),current (A)\n{rows}"))
            .unwrap();
        let record = format!(
            "schema = 2\n[inspection]\nplace = \"Quellwerk\"\n[[test]]\nid = \"capacity\"\nkind = \"capacity\"\nlog = \"logs/a.csv\"\n{withhold}"
        );
        fs::write(folder.path().join("inspection.toml"), record).unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_underlid"))
            .args(["report", &text(folder.path())])
            .env("UNDERLID_CONFIG", "")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // When it has said its last word it has read its last byte, and the system still counts until it is waited for.
        std::io::Read::read_to_end(child.stdout.as_mut().unwrap(), &mut Vec::new()).unwrap();
        let io = fs::read_to_string(format!("/proc/{}/io", child.id())).unwrap();
        assert!(child.wait().unwrap().code().unwrap() < 2);
        let size = fs::metadata(folder.path().join("logs/a.csv")).unwrap().len();
        let bytes: u64 = io.lines().next().unwrap().trim_start_matches("rchar: ").parse().unwrap();
        bytes as f64 / size as f64
    };
    let nothing = read("");
    for withhold in
        ["fields = [\"inspection.place\"]", "texts = [\"Quellwerk\"]", "fields = [\"test.log\", \"test.id\"]"]
    {
        let times = read(&format!("[withhold]\n{withhold}\n"));
        assert!(times < nothing + 0.3, "{withhold}: {times:.2} times the log, {nothing:.2} without");
    }
}

/// The page of bounds in DEVELOPERS.md says what the code says.
#[test]
fn the_bounds_are_those_of_the_code() {
    let page = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let rows = page.split("\n## Bounds\n").nth(1).unwrap().split("\n## ").next().unwrap();
    let rows: Vec<Vec<&str>> = rows
        .lines()
        .filter(|line| line.starts_with("| ") && line.contains('`'))
        .map(|line| line.split('|').map(|cell| cell.trim().trim_matches('`')).collect())
        .collect();
    assert!(rows.len() > 20);
    for row in rows {
        let [_, what, file, name, value, _] = row.as_slice() else { panic!("{row:?}") };
        let code = fs::read_to_string(root().join("src").join(file)).unwrap();
        let declared = code.lines().find(|line| line.contains(&format!("const {name}: "))).unwrap();
        assert!(declared.ends_with(&format!("= {value};")), "{what}: {declared}");
    }
}
