//! `collection` on the examples, on many generated inspections, and on folders from strangers.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serde_json::Value;
use underlid::judge::inspection::House;
use underlid::render::collection::{Built, CollectionError, Options, build, tables};

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn example(name: &str) -> String {
    fs::read_to_string(root().join("example-inspections").join(name).join("inspection.toml")).unwrap()
}

fn options(root: &Path, to: &Path) -> Options {
    Options {
        root: root.to_owned(),
        to: to.to_owned(),
        house: House::default(),
        title: "Inspected packs".to_owned(),
        templates: None,
        fresh: false,
        part: None,
        keys: Vec::new(),
    }
}

fn built(root: &Path, to: &Path) -> Built {
    build(&options(root, to)).unwrap()
}

fn put(folder: &Path, record: &str) {
    fs::create_dir_all(folder).unwrap();
    fs::write(folder.join("inspection.toml"), record).unwrap();
}

/// An inspection with its logs.
fn put_example(name: &str, to: &Path) {
    put(to, &example(name));
    let logs = root().join("example-inspections").join(name).join("logs");
    fs::create_dir(to.join("logs")).unwrap();
    for log in fs::read_dir(logs).unwrap() {
        let log = log.unwrap();
        fs::copy(log.path(), to.join("logs").join(log.file_name())).unwrap();
    }
}

/// A collection of invented packs, cheap to judge.
fn some_packs(root: &Path, number: usize) {
    for index in 0..number {
        let name = ["harbour-24-150-rev-a", "harbour-24-150-rev-b"][index % 2];
        let record = example(name)
            .replace("continuous_current = \"", &format!("continuous_current = \"{}", index % 9 + 1))
            .lines()
            .filter(|line| !line.starts_with("log = "))
            .map(|line| format!("{line}\n"))
            .collect::<String>();
        put(&root.join(format!("{}/pack-{index}", index % 3)), &record);
    }
}

/// All files of a site by name; the cache is left out, because it holds times.
fn files(site: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for entry in walkdir::WalkDir::new(site) {
        let entry = entry.unwrap();
        if entry.file_type().is_file() && entry.file_name() != ".underlid-collection-cache" {
            let name = entry.path().strip_prefix(site).unwrap().to_str().unwrap().to_owned();
            files.insert(name, fs::read(entry.path()).unwrap());
        }
    }
    files
}

fn same(one: &Path, other: &Path) {
    let (one, other) = (files(one), files(other));
    assert_eq!(one.keys().collect::<Vec<_>>(), other.keys().collect::<Vec<_>>());
    for (name, bytes) in &one {
        assert!(bytes == &other[name], "{name} differs");
    }
}

fn lines(site: &Path, table: &str) -> Vec<Value> {
    let text = fs::read_to_string(site.join(format!("{table}.jsonl"))).unwrap();
    text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
}

#[test]
fn the_tables_say_what_check_says() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    for name in ["harbour-24-150-rev-a", "harbour-24-150-rev-b"] {
        put_example(name, &packs.join(name));
    }
    let built = built(&packs, &site);
    assert_eq!((built.read, built.judged, built.problems.len()), (2, 2, 0));
    assert!(built.falls_short);
    let rows = lines(&site, "collection");
    for row in &rows {
        let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_underlid"))
            .args(["check", "--format", "json"])
            .arg(packs.join(row["folder"].as_str().unwrap()))
            .output()
            .unwrap();
        let check: Value = serde_json::from_slice(&output.stdout).unwrap();
        for key in ["critical", "major", "minor", "not_decided", "grave_not_decided", "meets"] {
            assert_eq!(row[key], check["counts"][key], "{key}");
        }
        assert_eq!(row["rated_current_a"].as_f64(), check["rated_current_si"].as_f64());
        assert_eq!(
            row["weakest_permissible_current_a"].as_f64(),
            check["path"]["permissible_current"]["si"].as_f64()
        );
        assert_eq!(row["weakest_element"], check["path"]["weakest"]);
        assert_eq!(row["not_applied"], check["not_applied"].as_array().unwrap().len());
        let of = |table: &str| -> Vec<Value> {
            lines(&site, table).into_iter().filter(|line| line["inspection"] == row["inspection"]).collect()
        };
        let findings = check["findings"].as_array().unwrap();
        assert_eq!(of("findings").len(), findings.len());
        for (line, finding) in of("findings").iter().zip(findings) {
            for key in ["rule", "grade", "outcome", "rests_on_claims"] {
                assert_eq!(line[key], finding[key], "{finding}");
            }
            assert_eq!(line["missing"].is_null(), finding["missing"].as_array().unwrap().is_empty());
        }
        let elements = check["path"]["elements"].as_array().unwrap();
        assert_eq!(of("elements").len(), elements.len());
        for (line, element) in of("elements").iter().zip(elements) {
            assert_eq!(line["element"], element["id"]);
            assert_eq!(line["permissible_current_a"].as_f64(), element["permissible_current"]["si"].as_f64());
            let resistance = element["resistance"]["si"].as_f64().map(|ohm| ohm * 1e3);
            assert_eq!(line["resistance_mohm"].as_f64(), resistance);
        }
    }
    // By hand, from the label and the scales: 3840 Wh / 27.6 kg, 590 EUR / 3840 Wh.
    let a = &rows[0];
    assert!((a["claimed_wh_per_kg"].as_f64().unwrap() - 139.130_434_782_6).abs() < 1e-9);
    assert!((a["price_per_claimed_wh"].as_f64().unwrap() - 0.153_645_833_3).abs() < 1e-9);
    assert_eq!(a["price_currency"], "EUR");
    // The write-up of revision A says 152.74 Ah of 150 Ah claimed.
    assert!((a["measured_share_percent"].as_f64().unwrap() - 101.83).abs() < 0.01);
    assert_eq!((a["fuse_kind"].as_str(), rows[1]["fuse_kind"].as_str()), (Some("strip SF51"), Some("none")));
}

#[test]
fn what_is_not_recorded_is_empty_and_never_zero() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    put(&packs.join("bare"), "schema = 2\n");
    built(&packs, &site);
    let row = &lines(&site, "collection")[0];
    let known: Vec<&str> =
        row.as_object().unwrap().iter().filter(|(_, v)| !v.is_null()).map(|(k, _)| k.as_str()).collect();
    assert_eq!(
        known,
        [
            "inspection",
            "folder",
            "from_write_up",
            "title",
            "invented",
            "elements",
            "elements_not_known",
            "thermal_cutoffs",
            "holds",
            "protection",
            "critical",
            "major",
            "minor",
            "not_decided",
            "grave_not_decided",
            "meets",
            "customs_short",
            "not_applied",
            "verdict"
        ]
    );
    assert_eq!(lines(&site, "elements").len(), 0);
    let page = fs::read_dir(site.join("packs")).unwrap().next().unwrap().unwrap();
    assert!(fs::read_to_string(page.path()).unwrap().contains("not recorded"));
}

#[test]
fn every_column_is_described_in_every_place() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    put(&packs.join("a"), &example("harbour-24-150-rev-a"));
    built(&packs, &site);
    let page = fs::read_to_string(site.join("fields.html")).unwrap();
    let metadata: Value = serde_json::from_slice(&fs::read(site.join("csv-metadata.json")).unwrap()).unwrap();
    let all: [(&str, Vec<_>); 3] = [
        (tables::PACKS.name, tables::PACKS.infos().collect()),
        (tables::FINDINGS.name, tables::FINDINGS.infos().collect()),
        (tables::ELEMENTS.name, tables::ELEMENTS.infos().collect()),
    ];
    for (index, (name, infos)) in all.iter().enumerate() {
        let names: Vec<&str> = infos.iter().map(|info| info.name).collect();
        let csv = fs::read_to_string(site.join(format!("{name}.csv"))).unwrap();
        assert_eq!(csv.lines().next().unwrap().split(',').collect::<Vec<_>>(), names);
        let first = &lines(&site, name)[0];
        assert_eq!(first.as_object().unwrap().keys().collect::<Vec<_>>(), names);
        let columns = metadata["tables"][index]["tableSchema"]["columns"].as_array().unwrap();
        assert_eq!(columns.iter().map(|c| c["name"].as_str().unwrap()).collect::<Vec<_>>(), names);
        for name in names {
            assert!(page.contains(&format!("<code>{name}</code>")), "{name}");
        }
    }
}

#[test]
fn a_build_after_a_change_equals_a_build_from_nothing() {
    let folder = tempfile::tempdir().unwrap();
    // Below the root, so that pages link to write-ups.
    let packs = folder.path().join("packs");
    let site = packs.join("site");
    some_packs(&packs, 24);
    put_example("harbour-24-150-rev-b", &packs.join("with-logs"));
    put(&packs.join("0/broken"), "schema = 2\n[cells]\nserie = 8\n");
    let first = built(&packs, &site);
    assert_eq!((first.read, first.judged), (25, 25));
    // Nothing changed: nothing is judged, and every file stays as it is.
    let before = files(&site);
    let again = built(&packs, &site);
    assert_eq!((again.read, again.judged, again.told.as_deref()), (25, 0, None));
    assert!(before == files(&site));

    let step = |number: usize, expected: usize, removed: usize, change: &dyn Fn()| {
        change();
        let now = built(&packs, &site);
        assert_eq!((now.judged, now.removed), (expected, removed), "step {number}");
        // At the same depth, so that links lead the same way.
        let fresh = packs.join(format!("fresh-{number}"));
        built(&packs, &fresh);
        same(&site, &fresh);
        fs::remove_dir_all(fresh).unwrap();
    };
    let record = packs.join("1/pack-4/inspection.toml");
    step(1, 1, 0, &|| {
        let text = fs::read_to_string(&record).unwrap();
        fs::write(&record, text.replace("Marrowby Electric", "Tollgate Cells")).unwrap();
    });
    step(2, 1, 0, &|| {
        let log = packs.join("with-logs/logs/capacity.csv");
        let text = fs::read_to_string(&log).unwrap();
        let half: Vec<&str> = text.lines().take(400).collect();
        fs::write(&log, half.join("\n")).unwrap();
    });
    step(3, 1, 0, &|| {
        fs::create_dir(packs.join("2/pack-2/rules")).unwrap();
        let rule = "schema = 1\n[[change]]\nrule = \"transport-test-summary\"\noff = \"yes\"\nreason = \"not here\"\n";
        fs::write(packs.join("2/pack-2/rules/house.toml"), rule).unwrap();
    });
    step(4, 1, 0, &|| {
        fs::create_dir(packs.join("2/pack-5/report")).unwrap();
        fs::write(packs.join("2/pack-5/report/report.html"), "<p>write-up</p>").unwrap();
    });
    // With the last problem the page of problems goes.
    step(5, 1, 1, &|| fs::write(packs.join("0/broken/inspection.toml"), "schema = 2\n").unwrap());
    // Two packs go, and their pages with them.
    step(6, 0, 2, &|| {
        fs::remove_dir_all(packs.join("0/pack-0")).unwrap();
        fs::remove_dir_all(packs.join("0/pack-3")).unwrap();
    });
    step(7, 1, 1, &|| {
        fs::rename(packs.join("0/pack-6"), packs.join("0/renamed")).unwrap();
    });
    // A page that somebody changed or took away is made again.
    step(8, 2, 0, &|| {
        let mut pages: Vec<PathBuf> =
            fs::read_dir(site.join("packs")).unwrap().map(|entry| entry.unwrap().path()).collect();
        pages.sort();
        fs::write(&pages[0], "changed by hand").unwrap();
        fs::remove_file(&pages[1]).unwrap();
    });
    // So is a table, and nothing is judged for it. From JSON Lines the others are made: of changed ones nothing is used.
    step(9, 0, 0, &|| {
        fs::write(site.join("findings.csv"), "saved by a spreadsheet").unwrap();
        fs::remove_file(site.join("elements.parquet")).unwrap();
    });
    step(10, 24, 0, &|| {
        let lines = fs::read_to_string(site.join("collection.jsonl")).unwrap();
        fs::write(site.join("collection.jsonl"), lines.replace("Tollgate", "Turnpike")).unwrap();
    });
}

#[test]
fn a_changed_house_rule_is_judged_anew() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    some_packs(&packs, 3);
    built(&packs, &site);
    let house = folder.path().join("house.toml");
    let rule = |grade: &str| {
        format!(
            "schema = 1\n[[change]]\nrule = \"transport-test-summary\"\ngrade = \"{grade}\"\nreason = \"ours\"\n"
        )
    };
    let mut with = options(&packs, &site);
    with.house.rules.push(house.clone());
    for grade in ["critical", "major"] {
        fs::write(&house, rule(grade)).unwrap();
        let now = build(&with).unwrap();
        assert_eq!(now.judged, 3);
        assert!(now.told.unwrap().contains("other house rules"));
        let graded: Vec<Value> =
            lines(&site, "findings").into_iter().filter(|f| f["rule"] == "transport-test-summary").collect();
        assert!(graded.len() == 3 && graded.iter().all(|f| f["grade"] == grade));
        assert_eq!(build(&with).unwrap().judged, 0);
    }
    fs::write(&house, "schema = 1\n[[change]]\nrule = \"no-such-rule\"\n").unwrap();
    assert!(matches!(build(&with), Err(CollectionError::House(_))), "wrong house rules are one error");
}

#[test]
fn a_damaged_cache_is_ignored_and_told() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    some_packs(&packs, 12);
    built(&packs, &site);
    let before = files(&site);
    let cache = site.join(".underlid-collection-cache");
    let sound = fs::read(&cache).unwrap();
    let line = |number: usize| {
        let starts: Vec<usize> = std::iter::once(0)
            .chain(sound.iter().enumerate().filter(|(_, b)| **b == b'\n').map(|(i, _)| i + 1))
            .collect();
        starts[number]
    };
    let mut flipped = sound.clone();
    flipped[line(3) + 60] ^= 1;
    let cases: [(&str, Vec<u8>, usize); 6] = [
        ("one byte changed", flipped, 1),
        ("cut off", sound[..line(5) - 2].to_vec(), 12),
        ("empty", Vec::new(), 12),
        ("nonsense", vec![0xff; 5000], 12),
        ("one endless line", vec![b'x'; 20 << 20], 12),
        (
            "lines in another order",
            [&sound[..line(1)], &sound[line(7)..], &sound[line(1)..line(7)]].concat(),
            12,
        ),
    ];
    for (name, bytes, judged) in cases {
        fs::write(&cache, bytes).unwrap();
        let now = built(&packs, &site);
        if name == "lines in another order" {
            assert!(now.judged > 0, "{name}");
        } else {
            assert_eq!(now.judged, judged, "{name}");
            assert!(now.told.is_some(), "{name}");
        }
        assert!(before == files(&site), "{name}");
    }
    let fresh = build(&Options { fresh: true, ..options(&packs, &site) }).unwrap();
    assert_eq!((fresh.judged, fresh.told), (12, None));
}

#[test]
fn strangers_names_do_nothing() {
    let hostile = "</script><script>alert(1)</script><img src=x onerror=alert(2)>";
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    let record = example("harbour-24-150-rev-a");
    let named = |name: &str| {
        ["title", "maker", "model", "revision", "price"].iter().fold(record.clone(), |text, key| {
            text.lines()
                .map(|line| match line.strip_prefix(&format!("{key} = ")) {
                    Some(_) => format!("{key} = '{name}'\n"),
                    None => format!("{line}\n"),
                })
                .collect()
        })
    };
    put(&packs.join("html"), &named(hostile));
    put(&packs.join("formula"), &named("=HYPERLINK(\"http://x\",\"y\")"));
    put(&packs.join("path"), &named("../../../etc/passwd"));
    put(&packs.join("a/same"), &named("Same name"));
    put(&packs.join("b/same"), &named("Same name"));
    put(&packs.join("<script>alert(3)</script>"), &named("x"));
    let mut wanted = 6;
    #[cfg(target_os = "linux")]
    {
        use std::os::unix::ffi::OsStrExt;
        put(&packs.join(std::ffi::OsStr::from_bytes(b"caf\xe9 \xff")), &named("y"));
        wanted += 1;
    }
    let built = built(&packs, &site);
    assert_eq!((built.read, built.problems.len()), (wanted, 0));
    assert!(built.like_formulas > 0);
    for (name, bytes) in files(&site) {
        if name.ends_with(".html") {
            let text = String::from_utf8(bytes).unwrap();
            let scripts = text.matches("<script").count();
            assert_eq!(scripts, if name == "index.html" { 2 } else { 0 }, "{name}");
            assert!(!text.contains("<img"), "{name}");
            assert!(text.contains("Content-Security-Policy"), "{name}");
        }
    }
    assert_eq!(fs::read_dir(site.join("packs")).unwrap().count(), wanted);
    let rows = lines(&site, "collection");
    let models: Vec<&str> = rows.iter().filter_map(|row| row["model"].as_str()).collect();
    assert!(models.contains(&hostile) && models.contains(&"=HYPERLINK(\"http://x\",\"y\")"));
    #[cfg(target_os = "linux")]
    assert!(rows.iter().any(|row| row["folder"] == "caf\\xE9 \\xFF"));
}

#[test]
fn what_cannot_be_read_is_listed_and_stops_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    put(&packs.join("good"), &example("harbour-24-150-rev-a"));
    put(&packs.join("typo"), "schema = 2\n[cells]\nserie = 8\n");
    put(&packs.join(".hidden/x"), "schema = 2\n");
    fs::create_dir_all(packs.join("binary")).unwrap();
    fs::write(packs.join("binary/inspection.toml"), [0xff, 0xfe, 0]).unwrap();
    fs::create_dir_all(packs.join("folder/inspection.toml")).unwrap();
    put(&packs.join("rules-wrong"), "schema = 2\n");
    fs::create_dir(packs.join("rules-wrong/rules")).unwrap();
    fs::write(packs.join("rules-wrong/rules/x.toml"), "schema = 1\n[[rule]]\nid = \"x\"\n").unwrap();
    let mut deep = packs.clone();
    for _ in 0..18 {
        deep.push("d");
    }
    put(&deep, "schema = 2\n");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(packs.join("good"), packs.join("linked")).unwrap();
        fs::create_dir(packs.join("link")).unwrap();
        std::os::unix::fs::symlink(packs.join("good/inspection.toml"), packs.join("link/inspection.toml"))
            .unwrap();
    }
    let output = assert_cmd::Command::new(env!("CARGO_BIN_EXE_underlid"))
        .arg("collection")
        .arg("--folder-rules")
        .arg(&packs)
        .arg("--to")
        .arg(&site)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let err = String::from_utf8(output.stderr).unwrap();
    let page = fs::read_to_string(site.join("problems.html")).unwrap();
    let deepest = ["d"; 16].join("/");
    let mut wanted = vec![
        ("typo", "line 3: unknown key `serie`"),
        ("binary", "not UTF-8"),
        ("folder", "not a file"),
        ("rules-wrong", "x.toml: "),
        (deepest.as_str(), "16 folders deep"),
    ];
    if cfg!(unix) {
        wanted.push(("link", "links are not followed"));
    }
    let rows = lines(&site, "collection");
    for (name, why) in &wanted {
        let row = rows.iter().find(|row| row["folder"] == *name).unwrap_or_else(|| panic!("{name}"));
        assert!(row["problem"].as_str().unwrap().contains(why), "{row}");
        assert!(row["critical"].is_null() && row["meets"].is_null(), "{name}");
        assert!(err.contains(&format!("{name}: ")) && page.contains(name), "{name}: {err}");
    }
    assert_eq!(rows.len(), wanted.len() + 1);
    assert!(!err.contains(packs.to_str().unwrap()), "paths of this machine: {err}");
    assert_eq!(fs::read_dir(site.join("packs")).unwrap().count(), 1);
}

#[test]
fn only_our_own_files_are_touched() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    some_packs(&packs, 2);
    let outside = folder.path().join("outside.html");
    fs::write(&outside, "mine").unwrap();

    fs::create_dir(&site).unwrap();
    fs::write(site.join("diary.txt"), "mine").unwrap();
    assert!(matches!(build(&options(&packs, &site)), Err(CollectionError::Foreign(_))));
    assert_eq!(fs::read_dir(&site).unwrap().count(), 1);
    fs::remove_file(site.join("diary.txt")).unwrap();
    built(&packs, &site);

    // A list from a stranger: nothing outside goes, nor anything that has no name of ours.
    let list = site.join(".underlid-collection");
    let sound = fs::read_to_string(&list).unwrap();
    fs::write(site.join("diary.txt"), "mine").unwrap();
    let hostile =
        format!("{sound}../outside.html\n{}\ndiary.txt\npacks/../../outside.html\n", outside.display());
    fs::write(&list, hostile).unwrap();
    built(&packs, &site);
    assert_eq!(fs::read_to_string(&outside).unwrap(), "mine");
    assert_eq!(fs::read_to_string(site.join("diary.txt")).unwrap(), "mine");

    #[cfg(unix)]
    {
        use std::os::unix::fs::symlink;
        // Links in the place of files are replaced, never followed.
        for name in ["index.html", "collection.csv", "collection.csv.part", ".underlid-collection-cache"] {
            let _ = fs::remove_file(site.join(name));
            symlink(&outside, site.join(name)).unwrap();
        }
        built(&packs, &site);
        assert_eq!(fs::read_to_string(&outside).unwrap(), "mine");
        assert!(!fs::symlink_metadata(site.join("index.html")).unwrap().is_symlink());
        // A link in the place of the pages' folder is refused.
        let elsewhere = folder.path().join("elsewhere");
        fs::create_dir(&elsewhere).unwrap();
        fs::remove_dir_all(site.join("packs")).unwrap();
        symlink(&elsewhere, site.join("packs")).unwrap();
        assert!(matches!(build(&options(&packs, &site)), Err(CollectionError::Write { .. })));
        assert_eq!(fs::read_dir(&elsewhere).unwrap().count(), 0);
    }
}

#[test]
fn where_a_site_may_lie() {
    let folder = tempfile::tempdir().unwrap();
    let packs = folder.path().join("packs");
    some_packs(&packs, 2);
    // Inside the root is fine, and the site is not searched.
    let inside = packs.join("site");
    assert_eq!(built(&packs, &inside).read, 2);
    assert_eq!(built(&packs, &inside).judged, 0);
    // Inside an inspection it would be added evidence.
    for place in ["0/pack-0", "0/pack-0/site", "0/pack-0/a/b"] {
        let refused = build(&options(&packs, &packs.join(place)));
        assert!(matches!(refused, Err(CollectionError::InsideInspection(_))), "{place}");
    }
    assert_eq!(fs::read_dir(packs.join("0/pack-0")).unwrap().count(), 1);
    // Without inspections there is no site.
    let empty = folder.path().join("empty");
    fs::create_dir(&empty).unwrap();
    let nowhere = folder.path().join("nowhere");
    assert!(matches!(build(&options(&empty, &nowhere)), Err(CollectionError::Nothing(_))));
    assert!(!nowhere.exists());
}

#[test]
fn a_write_up_is_linked_where_it_lies_below_the_root() {
    let folder = tempfile::tempdir().unwrap();
    let packs = folder.path().join("my packs");
    let site = packs.join("the site");
    some_packs(&packs, 1);
    let report = packs.join("0/pack-0/report");
    fs::create_dir(&report).unwrap();
    let page = || {
        built(&packs, &site);
        let page = fs::read_dir(site.join("packs")).unwrap().next().unwrap().unwrap();
        fs::read_to_string(page.path()).unwrap()
    };
    assert!(!page().contains("The write-up</a>"));
    fs::write(report.join("report.html"), "<p>write-up</p>").unwrap();
    assert!(page().contains("href=\"../../0/pack-0/report/report.html\""));
    #[cfg(unix)]
    {
        fs::remove_file(report.join("report.html")).unwrap();
        fs::write(folder.path().join("outside.html"), "x").unwrap();
        std::os::unix::fs::symlink(folder.path().join("outside.html"), report.join("report.html")).unwrap();
        assert!(!page().contains("The write-up</a>"));
        fs::remove_file(report.join("report.html")).unwrap();
    }
    // From elsewhere a link would tell where the packs lie on this machine.
    fs::write(report.join("report.html"), "<p>write-up</p>").unwrap();
    let elsewhere = folder.path().join("elsewhere");
    built(&packs, &elsewhere);
    for (name, bytes) in files(&elsewhere) {
        let text = String::from_utf8_lossy(&bytes);
        assert!(!text.contains("my%20packs") && !text.contains("my packs"), "{name}");
    }
}

/// Bags alone, no inspection folder: a whole one, one that withholds, one that was changed afterwards.
#[test]
fn published_bags_alone_make_a_collection() {
    let folder = tempfile::tempdir().unwrap();
    let (bags, site) = (folder.path().join("bags"), folder.path().join("site"));
    fs::create_dir(&bags).unwrap();
    let seal = |pack: &Path, arguments: &[&str], to: &str| {
        let (bag, pack) = (crate::common::text(&bags.join(to)), crate::common::text(pack));
        let seal = [&["seal"], arguments, &["--bag", &bag, &pack]].concat();
        let (code, _, err) = crate::common::run(&seal);
        assert_eq!(code, 0, "{err}");
    };
    let whole = crate::common::copy("harbour-24-150-rev-a");
    seal(whole.path(), &[], "whole");
    let part = crate::common::copy("harbour-24-150-rev-b");
    let record = part.path().join("inspection.toml");
    let withhold =
        "[withhold]\nfields = [\"inspection.inspector\"]\ntexts = [\"Marrowby\"]\n\n[inspection]\n";
    let withheld = fs::read_to_string(&record).unwrap().replacen("[inspection]\n", withhold, 1);
    fs::write(&record, withheld).unwrap();
    seal(part.path(), &["--published"], "part");
    seal(part.path(), &["--published"], "changed");
    let changed = bags.join("changed/data/report/pack.json");
    let text = fs::read_to_string(&changed).unwrap();
    fs::write(&changed, text.replace("falls short", "meets")).unwrap();

    let now = built(&bags, &site);
    assert_eq!((now.read, now.judged, now.problems.len()), (2, 1, 1), "{:?}", now.problems);
    assert!(now.problems[0].0 == "changed" && now.problems[0].1.contains("verify"), "{:?}", now.problems);
    // What is told of a pack is what its own folder gives.
    let originals = folder.path().join("originals");
    fs::create_dir(&originals).unwrap();
    for (from, name) in [(&whole, "whole"), (&part, "part")] {
        fs::rename(from.path(), originals.join(name)).unwrap();
    }
    let of_originals = folder.path().join("site-of-originals");
    built(&originals, &of_originals);
    let without = |site: &Path, table: &str, gone: &[&str]| -> Vec<Value> {
        let mut lines: Vec<Value> =
            lines(site, table).into_iter().filter(|line| line["problem"].is_null()).collect();
        for line in &mut lines {
            gone.iter().for_each(|key| drop(line.as_object_mut().unwrap().remove(*key)));
        }
        lines
    };
    for table in ["collection", "findings", "elements"] {
        // What a folder says of its seal a bag is asked by `verify`.
        let gone = ["inspection", "from_write_up", "seal"];
        assert_eq!(without(&site, table, &gone), without(&of_originals, table, &gone), "{table}");
    }
    let told: Vec<bool> =
        without(&site, "collection", &[]).iter().map(|row| row["from_write_up"].as_bool().unwrap()).collect();
    assert_eq!(told, [true, false]);
    let page = |site: &Path, name: &str| {
        let file =
            files(site).into_iter().find(|(file, _)| file.starts_with(&format!("packs/{name}-"))).unwrap();
        String::from_utf8(file.1).unwrap()
    };
    let (of_bag, of_folder) = (page(&site, "part"), page(&of_originals, "part"));
    let body = |page: &str| page[page.find("<main>").unwrap()..page.find("<footer>").unwrap()].to_owned();
    assert_eq!(body(&of_bag), body(&of_folder));
    assert!(of_bag.contains("Taken from a published write-up") && of_bag.contains("<svg class=\"path\""));
    // Nothing withheld, and nothing of this machine.
    let here = folder.path().to_str().unwrap();
    for (name, bytes) in files(&site) {
        let text = String::from_utf8_lossy(&bytes).to_lowercase();
        assert!(!text.contains(&here.to_lowercase()), "{name}");
        assert!(!text.contains("marrowby") || !name.contains("part"), "{name}");
    }
}

/// A stranger's `report/pack.json` is refused or shown as text; it can name no page and run nothing.
#[test]
fn published_words_of_a_stranger_do_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    let example = crate::common::copy("harbour-24-150-rev-b");
    let (code, _, err) = crate::common::run(&["report", &crate::common::text(example.path())]);
    assert!(code <= 1, "{err}");
    let sound: Value =
        serde_json::from_slice(&fs::read(example.path().join("report/pack.json")).unwrap()).unwrap();
    let hostile = "</script></title><script>alert(1)</script>";
    /// Every text becomes a hostile one, in turn with what it was.
    fn spoil(value: &mut Value, with: &str, number: &mut usize) {
        match value {
            Value::String(text) => {
                *number += 1;
                if number.is_multiple_of(3)
                    && !["falls short", "not decided", "meets", "Conductor"].contains(&text.as_str())
                {
                    *text = format!("{with}{text}");
                }
            }
            Value::Number(_) => *number += 1,
            Value::Array(all) => all.iter_mut().for_each(|one| spoil(one, with, number)),
            Value::Object(all) => all.values_mut().for_each(|one| spoil(one, with, number)),
            _ => {}
        }
    }
    let mut spoilt = sound.clone();
    spoil(&mut spoilt["pack"], hostile, &mut 0);
    spoil(&mut spoilt["path"], hostile, &mut 0);
    spoilt["words"] = Value::from(hostile);
    spoilt["entry"]["row"]["page"] = Value::from("../../../evil.html");
    let mut wide = sound.clone();
    wide["path"][0]["rows"][0]["range"] = serde_json::json!([-1e308, 1e308]);
    wide["path"][0]["rows"][0]["class"] = Value::from("\"><script>");
    let cases = [
        ("page", spoilt.to_string()),
        ("empty", "{}".to_owned()),
        ("broken", "{\"format\":1".to_owned()),
        ("later", sound.to_string().replace("\"format\":1", "\"format\":2")),
        ("deep", "[".repeat(100_000)),
        (
            "without",
            r#"{"format":1,"entry":{"row":{},"findings":[],"elements":[]},"path":[],"words":"","pack":{}}"#
                .to_owned(),
        ),
        ("wide", wide.to_string()),
        ("sound", sound.to_string()),
    ];
    for (name, text) in &cases {
        fs::create_dir_all(packs.join(name).join("report")).unwrap();
        fs::write(packs.join(name).join("report/pack.json"), text).unwrap();
    }
    let now = built(&packs, &site);
    let problems: Vec<&str> = now.problems.iter().map(|(folder, _)| folder.as_str()).collect();
    assert_eq!(problems, ["broken", "deep", "empty", "later", "page", "without"], "{:?}", now.problems);
    for (name, bytes) in files(&site) {
        if name.ends_with(".html") {
            let text = String::from_utf8(bytes).unwrap();
            let scripts = text.matches("<script").count();
            assert_eq!(scripts, if name == "index.html" { 2 } else { 0 }, "{name}");
            assert!(!text.contains("NaN") && !text.contains("inf\""), "{name}");
        }
    }
    assert!(!folder.path().join("evil.html").exists());
}

#[test]
fn what_a_record_withholds_is_in_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let (packs, site) = (folder.path().join("packs"), folder.path().join("site"));
    let withheld =
        "[withhold]\nfields = [\"inspection.serial\"]\ntexts = [\"Marrowby Electric\", \"Zanzibarite\"]\n";
    let record =
        example("harbour-24-150-rev-a").replace("[inspection]\n", &format!("{withheld}\n[inspection]\n"));
    let record = record
        .replace("revision A\"", "revision A of Zanzibarite\"")
        .replace("logs/capacity.csv", "logs/zanzibarite.csv");
    put(&packs.join("plain"), &record);
    put(&packs.join("MB_A_2024_0093 of zanzibarite"), &record);
    put(
        &packs.join("other"),
        &example("harbour-24-150-rev-b").replace("Marrowby Electric", "Tollgate Cells"),
    );
    for _ in 0..2 {
        let now = built(&packs, &site);
        assert_eq!((now.read, now.problems), (3, Vec::new()));
        for (name, bytes) in files(&site)
            .into_iter()
            .chain([("cache".to_owned(), fs::read(site.join(".underlid-collection-cache")).unwrap())])
        {
            let text = format!("{name}\n{}", String::from_utf8_lossy(&bytes)).to_lowercase();
            for secret in ["marrowby", "zanzibarite"] {
                assert!(!text.contains(secret), "{secret} in {name}");
            }
            // Four digits alone also stand in hashes by chance, so the number is looked for whole, whatever separates it.
            let letters: String = text.chars().filter(char::is_ascii_alphanumeric).collect();
            for secret in ["mba20240093", "a20240093"] {
                assert!(!letters.contains(secret), "{secret} in {name}");
            }
        }
    }
    assert_eq!(fs::read_dir(site.join("packs")).unwrap().count(), 3);
}

/// Cost grows no faster than the number of packs. benches/collection.sh does the same up to 10 000.
#[test]
fn ten_times_the_packs_take_about_ten_times_the_time() {
    let folder = tempfile::tempdir().unwrap();
    let time = |number: usize| -> Duration {
        let (packs, site) =
            (folder.path().join(format!("{number}")), folder.path().join(format!("site-{number}")));
        some_packs(&packs, number);
        let start = std::time::Instant::now();
        assert_eq!(built(&packs, &site).read, number);
        start.elapsed()
    };
    time(4);
    let (few, many) = (time(30), time(300));
    let growth = many.as_secs_f64() / few.as_secs_f64();
    println!("30 packs {few:?}, 300 packs {many:?}: {growth:.1} times");
    // Other tests run beside this one, so the bound is wide; what grows with the square would take a hundred times.
    assert!(growth < 30.0, "{growth:.1} times for ten times the packs");
}
