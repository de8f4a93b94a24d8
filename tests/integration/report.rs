//! `report`, `seal` and `verify` on the examples and on folders from strangers.

use std::fs;
use std::path::Path;

use crate::common::{copy, root, run, text};

#[test]
fn the_write_up_of_an_example() {
    let folder = copy("harbour-24-150-rev-b");
    let (code, out, err) = run(&["report", &text(folder.path())]);
    assert_eq!(code, 1, "{err}");
    assert!(out.contains("report.html"));
    let markdown = fs::read_to_string(folder.path().join("report/report.md")).unwrap();
    // The hash of the rule book changes with every word of it.
    let (before, rest) = markdown.split_once("Rule book of underlid 0.2.0, SHA-256 ").unwrap();
    assert!(rest.split_once('.').is_some_and(|(digest, _)| digest.len() == 64));
    insta::assert_snapshot!(
        "report-rev-b",
        format!("{before}Rule book of underlid 0.2.0, SHA-256 …{}", &rest[64..])
    );
    let html = fs::read_to_string(folder.path().join("report/report.html")).unwrap();
    assert!(!html.contains("http://") || html.contains("xmlns=\"http://www.w3.org/2000/svg\""));
    assert_eq!(html.matches("<figure id=\"photo-").count(), 14);
    let before = html.split("id=\"annex\"").next().unwrap();
    let words = words_of(before.split("<main>").nth(1).unwrap());
    assert!(words <= 1500, "{words} words before the annex");
    assert!(html.contains("never says that a pack is safe"));
    // The BMS is said to open from 420 A on, within 5 s; below that nothing does, since there is no fuse.
    assert!(
        html.contains("to 420 A nothing is known to open before")
            && html.contains("nothing is known to open in time")
    );
    // Everything generated can be made again, and comes out the same.
    run(&["report", &text(folder.path())]);
    assert_eq!(html, fs::read_to_string(folder.path().join("report/report.html")).unwrap());
}

/// What a report of a laboratory tells, as far as it is a matter of the write-up, in both of its forms. ISO/IEC 17025:2017,
/// 7.8.2.1 (the letters are its items) as told by qm-dag.pages.dev/topics/ISO17025/common_requirements_for_reports_test_calibration_or_sampling
/// and, of amendments (7.8.8: what changed is clearly identified), by qm-dag.pages.dev/topics/ISO17025/amendments_to_reports,
/// both read 2026-11-27; 7.8.7 (opinions are told apart) from memory. k, sampling, does not arise: one item came.
#[test]
fn the_write_up_is_fit_for_a_file() {
    let folder = copy("harbour-24-150-rev-b");
    let record = folder.path().join("inspection.toml");
    let told = fs::read_to_string(&record).unwrap().replacen(
        "inspector = \"Bench 2\"\n",
        "inspector = \"Bench 2\"\nauthorised_by = \"Bench 1\"\nreceived = 2026-09-14\ndelivery = \"by post, carton whole\"\n",
        1,
    ) + "\n[[issue]]\ndate = 2026-10-01\nchanged = \"first issue\"\n\n[[issue]]\ndate = 2026-10-08\nchanged = \"mass weighed anew\"\n";
    fs::write(&record, told).unwrap();
    let rules = folder.path().join("house.toml");
    let house = "schema = 1\n[[change]]\nrule = \"sense-wires-fused\"\noff = \"yes\"\nreason = \"judged by eye here\"\n";
    fs::write(&rules, house).unwrap();
    let (code, _, err) = run(&["report", &text(folder.path()), "--rules", &text(&rules)]);
    assert_eq!(code, 1, "{err}");
    let read = |name: &str| fs::read_to_string(folder.path().join("report").join(name)).unwrap();
    let sha256 = "SHA-256 ";
    let html = read("report.html");
    let style = without(&html, "<body>", "</body>");
    let plain = without(&without(&html, "<style", "</style>"), "<", ">").replace(['\u{a0}', '’'], " ");
    for text in [plain, read("report.md").replace('*', "")] {
        let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
        for (item, said) in [
            ("a, title", "Inspection write-up"),
            ("b, who inspected", "by Bench 2"),
            ("c, where", "workshop, ground floor"),
            ("d, number", "number 20260919-"),
            ("d, end mark", "End of the write-up."),
            ("g, the item", "MB-B-2026-0417"),
            ("g, its state", "new, packaging undamaged"),
            ("h, when it came", "2026-09-14"),
            ("h, how it came", "by post, carton whole"),
            ("i, when it was tested", "inspected 2026-09-19"),
            ("j, date of issue and version", "issued 2026-10-08, version 2"),
            ("7.8.8, what changed", "2026-10-08: mass weighed anew"),
            ("l, this item alone", "relates only to the item inspected"),
            ("7.8.1, no laboratory", "not the report of an accredited laboratory"),
            ("n, deviations: house rules", "judged by eye here"),
            ("f, method: rule book and its hash", "Rule book of underlid"),
            ("f, method: rule book and its hash", sha256),
            ("m, instruments", "not calibrated: what it read rests on its accuracy"),
            ("o, who authorised", "authorised by Bench 1"),
            ("7.8.7, opinions apart", "Customs of the trade not kept: opinion"),
        ] {
            assert!(text.contains(said), "{item}: `{said}` is not told: {text}");
        }
    }
    assert!(
        style.contains("counter(page) \" of \" counter(pages)"),
        "d, every sheet is known as one of its number"
    );
    assert!(style.contains("Write-up 20260919-"), "d, every sheet names its write-up");
}

/// Words of a page that a reader reads: with a letter or a digit, outside drawings and tags.
fn words_of(html: &str) -> usize {
    let html = without(&without(html, "<svg", "</svg>"), "<", ">");
    html.split_whitespace().filter(|word| word.chars().any(char::is_alphanumeric)).count()
}

/// A text with a space in place of everything between two marks.
fn without(text: &str, from: &str, to: &str) -> String {
    let mut parts = text.split(from);
    let first = parts.next().unwrap_or_default().to_owned();
    parts.fold(first, |kept, part| format!("{kept} {}", part.split_once(to).map_or("", |(_, rest)| rest)))
}

/// What was claimed, does it hold, what limits it, is there protection, what should I do: from the first page alone.
#[test]
fn the_first_page_answers_five_questions() {
    for (name, answers) in [
        (
            "harbour-24-150-rev-b",
            [
                "200 A continuous",
                "falls short. In a test at 201.9 A the BMS opened under load",
                "The bar from the last cell to the cut-off: it carries at most",
                "falls short. There is no fuse or circuit breaker that responds to current.",
                "Do not use the pack as it is.",
            ],
        ),
        (
            "harbour-24-150-rev-a",
            [
                "150 A continuous",
                "Does it hold?",
                "it carries at most",
                "Is there protection?",
                "What should I do?",
            ],
        ),
    ] {
        let folder = copy(name);
        run(&["report", &text(folder.path())]);
        let html = fs::read_to_string(folder.path().join("report/report.html")).unwrap();
        let page = html.split("id=\"in-short\"").nth(1).unwrap().split("</section>").next().unwrap();
        let page = without(&without(page, "<svg", "</svg>"), "<", ">").replace('\u{a0}', " ");
        let page = page.split_whitespace().collect::<Vec<_>>().join(" ");
        for answer in answers {
            assert!(page.contains(answer), "`{answer}` is not on the first page of {name}: {page}");
        }
    }
}

/// Papers that agree with each other, a fuse, and nothing that was measured: the most favourable record that shows nothing.
#[test]
fn nothing_is_supported_that_nobody_measured() {
    let folder = tempfile::tempdir().unwrap();
    let record = r#"schema = 2
[claims]
continuous_current = "100 A"
capacity = "100 Ah"
nominal_voltage = "12.8 V"
[cells]
chemistry = "LFP"
series = 4
parallel = 1
capacity = "100 Ah"
resistance = "0.4 mΩ"
discharge_rate_limit = "1 C"
[bms]
marked_current = "100 A"
[path]
complete = "yes"
[[path.element]]
id = "main-fuse"
kind = "fuse"
fuse = "class T"
rating = "125 A"
"#;
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    run(&["report", &text(folder.path())]);
    let said = fs::read_to_string(folder.path().join("report/report.md")).unwrap();
    assert!(said.contains("- Does it hold? **◇ not decided.**"), "{said}");
    assert!(said.contains("| capacity | 100 Ah | nothing against it |"), "{said}");
    assert!(!said.contains("| supported |"), "{said}");
    // No size of a conductor is recorded, so that nobody knows what harms it.
    assert!(!said.contains("something opens before") && !said.contains("Something opens before"), "{said}");
}

/// No figure of a sentence is false or says more than is known, and none is told by its absence.
#[test]
fn the_words_of_the_outputs() {
    let [a, b] = ["harbour-24-150-rev-a", "harbour-24-150-rev-b"].map(copy);
    let (first, second) = (text(a.path()), text(b.path()));
    let mut outputs = Vec::new();
    for folder in [&first, &second] {
        run(&["report", folder]);
        for file in ["report.md", "report.html"] {
            outputs.push((
                file.to_owned(),
                fs::read_to_string(Path::new(folder).join("report").join(file)).unwrap(),
            ));
        }
        for command in [&["check", "--all", folder][..], &["next", "--all", folder], &["plan", folder]] {
            outputs.push((command[0].to_owned(), run(command).1));
        }
    }
    outputs.push(("compare".to_owned(), run(&["compare", &first, &second]).1));
    for (output, said) in outputs {
        assert!(said.len() > 500, "{output} says next to nothing: {said}");
        let said = said.replace('\u{a0}', " ");
        for line in without(&without(&said, "<svg", "</svg>"), "data:image", "\"").lines() {
            for bad in ["found: ", "; required:", "absent ≥", "absent ≤", "not to be:", " no no ", "not not "]
            {
                assert!(!line.contains(bad), "{output}: `{bad}` in {line}");
            }
            for told in line.split("; at least ").skip(1) {
                assert!(!told.starts_with("at most "), "{output}: a limit of a limit in {line}");
            }
            let words: Vec<&str> = line.split_whitespace().collect();
            for window in words.windows(3) {
                // An inequality between two bare numbers has to be true as it stands.
                if let [left, sign @ ("≥" | "≤"), right] = window
                    && let (Ok(left), Ok(right)) = (left.parse::<f64>(), right.parse::<f64>())
                {
                    assert!(if *sign == "≥" { left >= right } else { left <= right }, "{output}: {line}");
                }
            }
            for pair in words.windows(2) {
                let unit = pair[1].trim_end_matches([',', ';', '.', ')', ':']);
                let known =
                    ["A", "V", "W", "Ah", "Wh", "mΩ", "µΩ", "A²s", "kA²s", "MA²s", "°C", "K", "s", "min"];
                let number = pair[0].trim_start_matches(['(', '−', '-', '≈']);
                if known.contains(&unit) && number.chars().all(|c| c.is_ascii_digit() || c == '.') {
                    let digits = number.replace('.', "");
                    let digits = digits.trim_start_matches('0').trim_end_matches('0');
                    assert!(
                        digits.len() <= 6,
                        "{output}: {} {unit} has more digits than anything measures: {line}",
                        pair[0]
                    );
                }
            }
        }
    }
}

#[test]
fn the_hashes_in_the_write_up_are_those_of_sha256sum() {
    let folder = copy("harbour-24-150-rev-a");
    run(&["report", &text(folder.path())]);
    let html = fs::read_to_string(folder.path().join("report/report.html")).unwrap();
    let output = std::process::Command::new("sha256sum")
        .arg("photos/05-fuse.jpg")
        .current_dir(folder.path())
        .output()
        .unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(html.contains(printed.split_whitespace().next().unwrap()));
}

#[test]
fn the_write_up_says_when_its_evidence_no_longer_matches() {
    let folder = copy("harbour-24-150-rev-a");
    let path = text(folder.path());
    let html = || {
        run(&["report", &path]);
        fs::read_to_string(folder.path().join("report/report.html")).unwrap()
    };
    assert!(html().contains("The evidence is not sealed."));
    let (code, ..) = run(&["seal", &path]);
    assert_eq!(code, 0);
    assert!(html().contains("sealed files are unchanged"));
    assert_eq!(run(&["verify", &path]).0, 0);

    let photo = folder.path().join("photos/05-fuse.jpg");
    let mut bytes = fs::read(&photo).unwrap();
    bytes.push(0);
    fs::write(&photo, bytes).unwrap();
    fs::remove_file(folder.path().join("photos/08-bms.jpg")).unwrap();
    fs::write(folder.path().join("photos/new one.jpg"), "x").unwrap();
    let (code, out, _) = run(&["verify", &path]);
    assert_eq!(code, 1);
    for line in ["05-fuse.jpg: changed", "08-bms.jpg: missing", "new one.jpg: added"] {
        assert!(out.contains(line), "{out}");
    }
    let page = html();
    assert!(page.contains("The evidence no longer matches its seal.") && page.contains("not as sealed"));
    let (code, _, err) = run(&["seal", &path]);
    assert!(code == 2 && err.contains("nothing was written"), "{err}");
}

#[test]
fn a_record_from_a_stranger_does_nothing() {
    let outside = tempfile::tempdir().unwrap();
    fs::write(outside.path().join("secret.txt"), "SECRET CONTENT").unwrap();
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("photos")).unwrap();
    #[cfg(unix)]
    std::os::unix::fs::symlink(outside.path().join("secret.txt"), folder.path().join("photos/link.jpg"))
        .unwrap();
    fs::write(folder.path().join("photos/broken.jpg"), b"\xff\xd8\xff\xe0 not a picture").unwrap();
    // A sparse file: two gigabytes that take no room.
    fs::File::create(folder.path().join("photos/huge.jpg")).unwrap().set_len(2 << 30).unwrap();
    let record = r#"
schema = 2
notes = """
<script>alert(1)</script>

[click](javascript:alert(1)) ![x](https://example.org/track.png) <img src=x onerror=alert(1)>
"""
[inspection]
title = "</title><script>alert(2)</script>"
model = "{{ 7 * 7 }} {% include \"x\" %}"
[claims]
continuous_current = "100 A"
[[claims.statement]]
text = "<img src=x onerror=alert(3)>"
evidence = "absent"
[[path.element]]
id = "\"><script>alert(4)</script>"
kind = "busbar"
section = "20 x 2 mm"
material = "copper"
note = "<iframe src='https://example.org'></iframe>"
[[photo]]
file = "../../etc/passwd"
[[photo]]
file = "/etc/passwd"
[[photo]]
file = "photos/link.jpg"
[[photo]]
file = "photos/broken.jpg"
caption = "' onload='alert(5)"
[[photo]]
file = "photos/huge.jpg"
[[photo]]
file = "photos/none.jpg"
"#;
    fs::write(folder.path().join("inspection.toml"), record).unwrap();
    let before = names(folder.path());
    let (code, _, err) = run(&["report", &text(folder.path())]);
    assert!(code < 2, "{err}");
    let html = fs::read_to_string(folder.path().join("report/report.html")).unwrap();
    let markdown = fs::read_to_string(folder.path().join("report/report.md")).unwrap();
    for output in [&html, &markdown] {
        for bad in ["<script", "<iframe", "<img src=x", "[click](javascript", "49 ", "SECRET", "root:x"] {
            assert!(!output.contains(bad), "`{bad}` is in the write-up");
        }
    }
    assert!(!html.contains("example.org") || !html.contains("src=\"https"));
    assert!(html.contains("leaves the folder") || html.contains("photos/none.jpg"));
    let mut after = names(folder.path());
    after.retain(|name| !name.starts_with("report"));
    assert_eq!(before, after, "nothing but the report was written");
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = walkdir::WalkDir::new(folder)
        .into_iter()
        .map(|entry| entry.unwrap().path().strip_prefix(folder).unwrap().display().to_string())
        .collect();
    names.sort();
    names
}

#[cfg(unix)]
#[test]
fn a_report_folder_that_is_a_link_is_refused() {
    let outside = tempfile::tempdir().unwrap();
    let folder = copy("harbour-24-150-rev-a");
    std::os::unix::fs::symlink(outside.path(), folder.path().join("report")).unwrap();
    let (code, _, err) = run(&["report", &text(folder.path())]);
    assert!(code == 2 && err.contains("is a link"), "{err}");
    assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 0);
}

#[test]
fn templates_of_ones_own() {
    let folder = copy("harbour-24-150-rev-a");
    let templates = tempfile::tempdir().unwrap();
    fs::write(templates.path().join("report.md"), "Our house: {{ verdict | md }}\n").unwrap();
    run(&["report", "--templates", &text(templates.path()), &text(folder.path())]);
    let markdown = fs::read_to_string(folder.path().join("report/report.md")).unwrap();
    assert!(markdown.starts_with("Our house: ") && markdown.contains("Rated 150 A"), "{markdown}");
    fs::write(templates.path().join("report.md"), "{{ nonsense").unwrap();
    let (code, _, err) = run(&["report", "--templates", &text(templates.path()), &text(folder.path())]);
    assert!(code == 2 && err.contains("report.md"), "{err}");
}

#[test]
fn the_shipped_examples_are_as_sealed() {
    for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"] {
        let folder = root().join("example-inspections").join(name);
        let (code, out, err) = run(&["verify", &text(&folder)]);
        assert_eq!(code, 0, "{out}{err}");
    }
}

/// The user's name and colours come through the settings; a folder of a stranger brings none.
#[test]
fn ones_own_look() {
    let (folder, own) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    fs::write(folder.path().join("inspection.toml"), "schema = 2\n").unwrap();
    for (at, words) in
        [(own.path().join("style"), "<p>Bench Two</p>"), (folder.path().join("templates"), "<p>Stranger</p>")]
    {
        fs::create_dir(&at).unwrap();
        fs::write(at.join("own.html"), words).unwrap();
        fs::write(at.join("own.css"), "body{font-family:serif}").unwrap();
    }
    let settings = own.path().join("settings.toml");
    fs::write(&settings, "templates = \"style\"\n").unwrap();
    let page = |settings: &str| {
        let program = std::process::Command::new(env!("CARGO_BIN_EXE_underlid"))
            .arg("report")
            .arg(folder.path())
            .env("UNDERLID_CONFIG", settings)
            .output()
            .unwrap();
        assert!(program.status.code() < Some(2), "{}", String::from_utf8_lossy(&program.stderr));
        fs::read_to_string(folder.path().join("report/report.html")).unwrap()
    };
    let with = page(settings.to_str().unwrap());
    assert!(
        with.contains("<p>Bench Two</p>")
            && with.contains("body{font-family:serif}")
            && with.contains("--ink:#")
    );
    let without = page("");
    assert!(!without.contains("Bench Two") && !without.contains("Stranger"));
}

/// A curve of a log that holds what is withheld since is not left in the folder that is handed on; other files stay.
#[test]
fn what_is_no_longer_made_does_not_stay() {
    let folder = copy("harbour-24-150-rev-a");
    let path = text(folder.path());
    run(&["report", &path]);
    let curves = || {
        let names = fs::read_dir(folder.path().join("report")).unwrap();
        let names = names.map(|entry| entry.unwrap().file_name().into_string().unwrap());
        names.filter(|name| name.ends_with(".csv")).count()
    };
    let before = curves();
    assert!(before > 1);
    fs::write(folder.path().join("report/mine.csv"), "mine").unwrap();
    let record = folder.path().join("inspection.toml");
    let all = fs::read_to_string(&record).unwrap();
    let first = all.find("[[test]]").unwrap();
    let second = first + 1 + all[first + 1..].find("[[test]]").unwrap();
    fs::write(&record, format!("{}{}", &all[..first], &all[second..])).unwrap();
    run(&["report", &path]);
    assert!(curves() <= before, "{} of {before}", curves());
    assert!(folder.path().join("report/mine.csv").exists());
}
