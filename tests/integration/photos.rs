//! Pictures from a card: shown without a trace, taken once, listed with the hash they arrived with; and cards that mean
//! harm.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{Cursor, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::{DynamicImage, ImageFormat, Rgb, RgbImage};
use serde_json::Value as Json;
use underlid::record;

use crate::common::rounds;

const BIN: &str = env!("CARGO_BIN_EXE_underlid");

fn photos(folder: &Path, from: &Path, more: &[&str]) -> Output {
    Command::new(BIN).arg("photos").arg(folder).arg(from).args(more).output().unwrap()
}

fn text(out: &Output) -> String {
    String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr)
}

fn json(folder: &Path, from: &Path, more: &[&str]) -> Json {
    let out = photos(folder, from, &[more, &["--format", "json"]].concat());
    serde_json::from_slice(&out.stdout).unwrap_or_else(|error| panic!("{error}: {}", text(&out)))
}

fn inspection() -> (tempfile::TempDir, PathBuf) {
    let folder = tempfile::tempdir().unwrap();
    let pack = folder.path().join("pack");
    assert!(Command::new(BIN).arg("new").arg(&pack).stdout(Stdio::null()).status().unwrap().success());
    (folder, pack)
}

fn listed(pack: &Path) -> record::Record {
    record::read("t", &fs::read_to_string(pack.join("inspection.toml")).unwrap()).unwrap()
}

/// A picture of nine by eight patches whose lights follow from `seed`, so that no two look alike.
fn picture(seed: u64, width: u32, fields: &[(Tag, Value)]) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1;
    let patches: Vec<u8> = (0..72)
        .map(|_| {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 24) as u8
        })
        .collect();
    let height = width * 2 / 3;
    let picture = RgbImage::from_fn(width, height, |x, y| {
        let light = patches[(y * 8 / height * 9 + x * 9 / width) as usize];
        Rgb([light, light / 2, light / 3])
    });
    let mut jpeg = Cursor::new(Vec::new());
    DynamicImage::from(picture).write_to(&mut jpeg, ImageFormat::Jpeg).unwrap();
    let jpeg = jpeg.into_inner();
    if fields.is_empty() {
        return jpeg;
    }
    // EXIF stands in the first APP1 segment behind the start of the image (CIPA DC-008).
    let fields: Vec<Field> = fields
        .iter()
        .map(|(tag, value)| Field { tag: *tag, ifd_num: In::PRIMARY, value: value.clone() })
        .collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut block = Cursor::new(Vec::new());
    writer.write(&mut block, false).unwrap();
    let payload = [b"Exif\0\0".as_slice(), &block.into_inner()].concat();
    let length = u16::try_from(payload.len() + 2).unwrap().to_be_bytes();
    [&jpeg[..2], &[0xff, 0xe1], &length, &payload, &jpeg[2..]].concat()
}

fn ascii(text: &str) -> Value {
    Value::Ascii(vec![text.as_bytes().to_vec()])
}

fn at(time: &str) -> (Tag, Value) {
    (Tag::DateTimeOriginal, ascii(time))
}

/// A card as cameras leave it.
fn card(root: &Path) -> PathBuf {
    let folder = root.join("card/DCIM/100ABCDE");
    fs::create_dir_all(&folder).unwrap();
    let degrees = vec![Rational::from((1, 1)), Rational::from((2, 1)), Rational::from((3, 1))];
    let files: [(&str, Vec<u8>); 9] = [
        (
            "IMG_0002.JPG",
            picture(2, 360, &[at("2031:05:04 10:00:30"), (Tag::Orientation, Value::Short(vec![6]))]),
        ),
        ("IMG_0001.JPG", picture(1, 360, &[at("2031:05:04 10:00:00")])),
        (
            "IMG_0003.JPG",
            picture(3, 360, &[at("2031:05:04 10:05:00"), (Tag::GPSLatitude, Value::Rational(degrees))]),
        ),
        (
            "IMG_0004.JPG",
            picture(4, 360, &[at("2031:05:04 11:00:00"), (Tag::BodySerialNumber, ascii("X-1"))]),
        ),
        ("COPY.JPG", picture(1, 360, &[at("2031:05:04 10:00:00")])),
        ("SMALL.JPG", picture(4, 180, &[])),
        ("PHONE.HEIC", b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".to_vec()),
        ("FILM.MP4", b"a film".to_vec()),
        ("NOTES.TXT", b"a note".to_vec()),
    ];
    for (name, content) in files {
        fs::write(folder.join(name), content).unwrap();
    }
    root.join("card")
}

/// Every file below a folder with its content and the time it was changed.
fn tree(folder: &Path) -> BTreeMap<PathBuf, (Vec<u8>, std::time::SystemTime)> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let time = entry.metadata().unwrap().modified().unwrap();
            (entry.path().to_owned(), (fs::read(entry.path()).unwrap(), time))
        })
        .collect()
}

#[test]
fn a_card_is_shown_and_nothing_is_written() {
    let (root, pack) = inspection();
    let card = card(root.path());
    let before = tree(root.path());
    let out = photos(&pack, &card, &[]);
    let said = text(&out);
    assert!(out.status.success(), "{said}");
    for line in [
        "   1  2031-05-04 10:00:00",
        "the same file as 1",
        "looks like 7",
        "upright when turned by 90° clockwise",
        "no time in the file",
        "evidence, but not shown in a write-up: it is HEIC",
        "7 pictures, 1 film (not taken), 1 other or hidden file (passed over)",
        "WARNING: 1 file says where the picture was taken, 1 file holds a serial number",
        "6 pictures would be taken. Nothing was written",
    ] {
        assert!(said.contains(line), "{line}:\n{said}");
    }
    assert_eq!(tree(root.path()), before, "looking leaves no trace");
    let shown = json(&pack, &card, &["--clock", "+00:03:20"]);
    let names: Vec<&str> = shown["photos"]
        .as_array()
        .unwrap()
        .iter()
        .map(|photo| photo["file"].as_str().unwrap().rsplit('/').next().unwrap())
        .collect();
    let order = [
        "COPY.JPG",
        "IMG_0001.JPG",
        "IMG_0002.JPG",
        "IMG_0003.JPG",
        "IMG_0004.JPG",
        "PHONE.HEIC",
        "SMALL.JPG",
    ];
    assert_eq!(names, order);
    assert_eq!(shown["photos"][2]["taken"], "2031-05-04T10:03:50");
    assert_eq!(shown["photos"][2]["by_the_camera"], "2031-05-04T10:00:30");
    assert_eq!(shown["photos"][2]["width"], 240, "turned upright");
    assert_eq!(shown["photos"][1]["same_as"], 1);
    assert_eq!(shown["photos"][3]["has_location"], true);
    assert_eq!(shown["photos"][4]["has_serial_or_owner"], true);
    assert_eq!(shown["chosen"], serde_json::json!([1, 3, 4, 5, 6, 7]));
    assert_eq!(shown["taken"], serde_json::json!([]));
    assert_eq!(tree(root.path()), before);
}

#[test]
fn taking_copies_once_and_lists_the_hash_on_arrival() {
    let (root, pack) = inspection();
    let card = card(root.path());
    let on_card = tree(&card);
    let file = pack.join("inspection.toml");
    let comment = "# Kept as the inspector wrote it.\n";
    fs::write(&file, format!("{comment}{}", fs::read_to_string(&file).unwrap())).unwrap();
    let before = fs::read_to_string(&file).unwrap();
    let out = photos(&pack, &card, &["--take"]);
    let said = text(&out);
    assert!(out.status.success(), "{said}");
    assert!(said.contains("6 pictures copied into photos/, 0 were there already"), "{said}");
    assert_eq!(tree(&card), on_card, "the card is as it was");
    let names: BTreeSet<String> = fs::read_dir(pack.join("photos"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let wanted = [
        "01-2031-05-04-100000.jpg",
        "02-2031-05-04-100030.jpg",
        "03-2031-05-04-100500.jpg",
        "04-2031-05-04-110000.jpg",
        "05-photo.heic",
        "06-photo.jpg",
    ];
    assert_eq!(names, wanted.iter().map(ToString::to_string).collect());
    // The hashes in the record are what another program makes of the files (coreutils' sha256sum).
    let after = fs::read_to_string(&file).unwrap();
    let record = listed(&pack);
    let mut sums = String::new();
    for photo in &record.photo {
        sums.push_str(&format!("{}  {}\n", photo.sha256.text().unwrap(), photo.file.text().unwrap()));
    }
    assert_eq!(sums.lines().count(), 6);
    let mut check = Command::new("sha256sum")
        .args(["-c", "--strict", "-"])
        .current_dir(&pack)
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    check.stdin.take().unwrap().write_all(sums.as_bytes()).unwrap();
    assert!(check.wait().unwrap().success(), "{sums}");
    // Every line of the user is still there, in order.
    let mut lines = after.lines();
    for line in before.lines() {
        assert!(lines.any(|other| other == line), "lost: {line}");
    }
    // Once more: nothing to do, and nothing is touched.
    let here = tree(&pack);
    let out = photos(&pack, &card, &["--take"]);
    assert!(text(&out).contains("0 pictures copied"), "{}", text(&out));
    assert_eq!(tree(&pack), here);
    let shown = json(&pack, &card, &[]);
    assert_eq!(shown["chosen"], serde_json::json!([]));
    assert_eq!(shown["photos"][0]["in_inspection"], "photos/01-2031-05-04-100000.jpg");
}

#[test]
fn some_are_chosen_and_tied() {
    let (root, pack) = inspection();
    let card = card(root.path());
    let file = pack.join("inspection.toml");
    let with_fuse = fs::read_to_string(&file).unwrap()
        + "\n[[path.element]]\nid = \"main-fuse\"\nkind = \"fuse\"\nleg = \"positive\"\n";
    fs::write(&file, with_fuse).unwrap();
    for (more, chosen) in [
        (vec!["--numbers", "3-4,7"], vec![3, 4, 7]),
        (vec!["--from", "10:05"], vec![4, 5]),
        (vec!["--until", "2031-05-04 10:00"], vec![1, 3]),
        (vec!["--from", "10:01", "--until", "10:59", "--clock", "-00:04:10"], vec![5]),
        (vec!["--from", "10:00:50", "--until", "10:59", "--clock=-00:04:10"], vec![4, 5]),
    ] {
        assert_eq!(json(&pack, &card, &more)["chosen"], serde_json::json!(chosen), "{more:?}");
    }
    for (more, says) in [
        (vec!["--numbers", "3-9"], "numbers 1 to 7"),
        (vec!["--clock", "slow"], "+00:03:20"),
        (vec!["--from", "noon"], "for example"),
        (vec!["--take", "--shows", "main-fuze"], "did you mean `main-fuse`"),
        (vec!["--shows", "bms"], "--take"),
    ] {
        let out = photos(&pack, &card, &more);
        assert_eq!(out.status.code(), Some(2), "{more:?}");
        assert!(text(&out).contains(says), "{more:?}: {}", text(&out));
    }
    assert!(listed(&pack).photo.is_empty());
    let out = photos(&pack, &card, &["--take", "--shows", "main-fuse", "--numbers", "3", "--clock", "+1:00"]);
    assert!(out.status.success(), "{}", text(&out));
    let record = listed(&pack);
    let photo = &record.photo[0];
    assert_eq!(photo.file.text(), Some("photos/01-main-fuse.jpg"));
    assert_eq!(photo.shows.list(), ["main-fuse"]);
    assert_eq!(photo.taken.text(), Some("2031-05-04 11:00:30"), "the file says another time");
    assert_eq!(record.path.element[0].own.photos, ["01-main-fuse.jpg"]);
    // The same picture shows another part as well: it is tied, not copied.
    let out = photos(&pack, &card, &["--take", "--shows", "bms", "--numbers", "3"]);
    assert!(text(&out).contains("0 pictures copied into photos/, 1 were there already"), "{}", text(&out));
    assert_eq!(listed(&pack).photo[0].shows.list(), ["main-fuse", "bms"]);
    assert_eq!(fs::read_dir(pack.join("photos")).unwrap().count(), 1);
}

#[test]
fn a_run_that_is_killed_goes_on_where_it_stopped() {
    let (root, pack) = inspection();
    let card = root.path().join("card");
    fs::create_dir(&card).unwrap();
    let count = 60_u64;
    for n in 0..count {
        let mut bytes = picture(n, 45, &[]);
        bytes.extend(vec![n as u8; 40_000]);
        fs::write(card.join(format!("{n:03}.jpg")), bytes).unwrap();
    }
    let mut killed = 0;
    for round in 0..u64::from(rounds(12, 40)) {
        let mut child = Command::new(BIN)
            .arg("photos")
            .arg(&pack)
            .arg(&card)
            .arg("--take")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(40 + round * 7 % 260));
        killed += u32::from(child.try_wait().unwrap().is_none());
        child.kill().unwrap();
        child.wait().unwrap();
        // Whatever is listed is there, whole.
        for photo in &listed(&pack).photo {
            let bytes = fs::read(pack.join(photo.file.text().unwrap())).unwrap();
            assert!(bytes.len() > 40_000);
        }
    }
    assert!(killed > 0, "no run was caught at work");
    let out = photos(&pack, &card, &["--take"]);
    assert!(out.status.success(), "{}", text(&out));
    let kept: Vec<Vec<u8>> = tree(&pack.join("photos"))
        .into_iter()
        .filter(|(path, _)| !path.file_name().unwrap().to_str().unwrap().starts_with('.'))
        .map(|(_, (bytes, _))| bytes)
        .collect();
    let different: BTreeSet<&Vec<u8>> = kept.iter().collect();
    assert_eq!((kept.len(), different.len()), (60, 60), "each once");
    let names: BTreeSet<String> =
        listed(&pack).photo.iter().map(|photo| photo.file.text().unwrap().to_owned()).collect();
    assert_eq!((listed(&pack).photo.len(), names.len()), (60, 60), "each listed once");
    let out = Command::new(BIN).arg("verify").arg(&pack).output().unwrap();
    assert!(text(&out).contains("60 of 60 photos with a recorded hash are what arrived"), "{}", text(&out));
}

#[test]
fn a_photo_that_is_not_what_arrived_is_found() {
    let (root, pack) = inspection();
    let card = card(root.path());
    assert!(photos(&pack, &card, &["--take", "--numbers", "1,3,4"]).status.success());
    let run = |command: &str, more: &[&str]| {
        text(&Command::new(BIN).arg(command).arg(&pack).args(more).output().unwrap())
    };
    assert!(!run("check", &[]).contains("not what arrived"));
    assert!(run("seal", &[]).contains("photos.sha256"), "{}", run("verify", &[]));
    let file = pack.join("photos/02-2031-05-04-100030.jpg");
    let mut bytes = fs::read(&file).unwrap();
    *bytes.last_mut().unwrap() ^= 1;
    fs::write(&file, bytes).unwrap();
    fs::remove_file(pack.join("photos/03-2031-05-04-100500.jpg")).unwrap();
    for command in ["check", "verify"] {
        let said = run(command, &[]);
        assert!(
            said.contains("photos/02-2031-05-04-100030.jpg: changed since it arrived; SHA-256 was"),
            "{said}"
        );
        assert!(said.contains("photos/03-2031-05-04-100500.jpg: missing; it arrived with"), "{said}");
        let json: Json = serde_json::from_str(&run(command, &["--format", "json"])).unwrap();
        let states: Vec<&str> =
            json["arrivals"].as_array().unwrap().iter().map(|a| a["state"].as_str().unwrap()).collect();
        assert_eq!(states, ["unchanged", "changed", "missing"], "{command}");
        let status = Command::new(BIN).arg(command).arg(&pack).stdout(Stdio::null()).status().unwrap();
        assert_eq!(status.code(), Some(1), "{command}");
    }
    // Sealing anew hides it from the seal, not from the record.
    run("seal", &["--replace"]);
    assert!(run("verify", &[]).contains("1 of 3 photos"), "{}", run("verify", &[]));
    // A photo that is no longer what arrived is not tied to anything.
    let out = photos(&pack, &pack.join("photos"), &["--take"]);
    assert!(out.status.success(), "{}", text(&out));
}

// ------------------------------------------------------------------ cards that mean harm

/// A PNG whose header promises 3.6 thousand million pixels.
/// The write-up says beside each photo whether it is the file that arrived, and how many have a hash of their own.
#[test]
fn the_write_up_says_what_became_of_the_hash_on_arrival() {
    let (folder, pack) = inspection();
    let root = folder.path().join("card");
    fs::create_dir(&root).unwrap();
    for (number, name) in ["a.jpg", "b.jpg", "c.jpg"].into_iter().enumerate() {
        fs::write(root.join(name), picture(number as u64 + 5, 90, &[])).unwrap();
    }
    assert!(photos(&pack, &root, &["--take"]).status.success());
    let record = listed(&pack);
    let files: Vec<&str> = record.photo.iter().filter_map(|photo| photo.file.text()).collect();
    let arrived: Vec<&str> = record.photo.iter().filter_map(|photo| photo.sha256.text()).collect();
    let write_up = || {
        let (status, _, told) = crate::common::run(&["report", pack.to_str().unwrap()]);
        assert!(status <= 1, "{told}");
        ["report.md", "report.html"].map(|name| fs::read_to_string(pack.join("report").join(name)).unwrap())
    };
    for page in write_up() {
        assert!(
            page.contains(
                "Hash on arrival: recorded for 3 of 3 photos; each of them is the file that arrived."
            ),
            "{page}"
        );
        assert_eq!(page.matches("as it arrived").count(), 3, "{page}");
    }
    // One was changed, one is gone, and one more was listed by hand.
    fs::write(pack.join(files[0]), picture(99, 90, &[])).unwrap();
    fs::remove_file(pack.join(files[1])).unwrap();
    fs::write(pack.join("photos/by-hand.jpg"), picture(98, 90, &[])).unwrap();
    let text = fs::read_to_string(pack.join("inspection.toml")).unwrap();
    fs::write(pack.join("inspection.toml"), format!("{text}\n[[photo]]\nfile = \"photos/by-hand.jpg\"\n"))
        .unwrap();
    for page in write_up() {
        assert!(page.contains("Hash on arrival: recorded for 3 of 4 photos"), "{page}");
        assert!(page.contains("2 of them are not known to be the file that arrived"), "{page}");
        assert_eq!(page.matches("as it arrived").count(), 1, "{page}");
        assert!(
            page.contains("changed since it arrived")
                && page.contains("cannot be compared with what arrived")
        );
        // What arrived is named where it is not what lies there.
        assert!(page.contains(arrived[0]) && page.contains(arrived[1]));
    }
}

/// A house's rules and checklists count for `photos` as for the other commands.
#[test]
fn a_house_checklist_gives_its_numbers_to_photos() {
    let (folder, pack) = inspection();
    let root = card(folder.path());
    let list = folder.path().join("house.toml");
    fs::write(
        &list,
        "schema = 1\nkind = \"drop-in\"\ntitle = \"House\"\nabout = \"x\"\n[[section]]\nid = \"only\"\ntitle = \"Only\"\n[[section.item]]\nid = \"heater\"\nprompt = \"Heater?\"\nwhy = \"w\"\nlook = \"l\"\nfield = \"heater.present\"\n",
    )
    .unwrap();
    let list = list.to_str().unwrap();
    let out = photos(&pack, &root, &["--take", "--numbers", "1", "--shows", "1", "--checklist", list]);
    assert!(out.status.success(), "{}", text(&out));
    assert_eq!(listed(&pack).photo[0].shows.list(), ["heater"], "question 1 of the house's list");
    for (option, file) in [("--checklist", "nowhere.toml"), ("--rules", "nowhere.toml")] {
        let out = photos(&pack, &root, &[option, file]);
        assert_eq!(out.status.code(), Some(2), "{}", text(&out));
        assert!(text(&out).contains("nowhere.toml"), "{}", text(&out));
    }
}

fn bomb() -> Vec<u8> {
    let mut png = vec![0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];
    let mut chunk = |kind: &[u8], data: &[u8]| {
        png.extend(u32::try_from(data.len()).unwrap().to_be_bytes());
        let start = png.len();
        png.extend(kind);
        png.extend(data);
        // CRC-32 of ISO 3309, as the PNG specification (ISO/IEC 15948) has it.
        let crc = png[start..].iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xedb8_8320 * (crc & 1)))
        });
        png.extend((!crc).to_be_bytes());
    };
    let side = 60_000_u32.to_be_bytes();
    chunk(b"IHDR", &[&side[..], &side[..], &[8, 2, 0, 0, 0]].concat());
    chunk(b"IDAT", &[0x78, 0x9c, 0x63, 0, 0, 0, 1, 0, 1]);
    chunk(b"IEND", &[]);
    png
}

#[cfg(unix)]
#[test]
fn a_hostile_card_does_no_harm() {
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;

    let (root, pack) = inspection();
    let card = root.path().join("card");
    let outside = root.path().join("outside");
    fs::create_dir_all(card.join("DCIM")).unwrap();
    fs::create_dir_all(&outside).unwrap();
    fs::write(outside.join("secret.jpg"), picture(77, 90, &[])).unwrap();
    let names: [&[u8]; 5] = [
        b"two\nlines; rm -rf.jpg",
        b"\x1b[2Jclear\x07.jpg",
        b"\xff\xfenot text.jpg",
        "\u{202e}gpj.exe.jpg".as_bytes(),
        b"-rf $(touch x) `id` ..%2f..%2fetc.jpg",
    ];
    for (seed, name) in names.iter().enumerate() {
        let path = card.join(std::ffi::OsStr::from_bytes(name));
        fs::write(path, picture(seed as u64, 90, &[])).unwrap();
    }
    fs::write(card.join("empty.jpg"), b"").unwrap();
    fs::write(card.join("bomb.png"), bomb()).unwrap();
    fs::write(card.join("page.jpg"), b"<script>alert(1)</script>").unwrap();
    fs::write(card.join("cut.jpg"), &picture(9, 90, &[])[..300]).unwrap();
    symlink(outside.join("secret.jpg"), card.join("link.jpg")).unwrap();
    symlink(&outside, card.join("DCIM/out")).unwrap();
    symlink(&card, card.join("DCIM/round")).unwrap();
    assert!(Command::new("mkfifo").arg(card.join("pipe.jpg")).status().unwrap().success());
    let started = Instant::now();
    let shown = json(&pack, &card, &[]);
    assert!(started.elapsed() < Duration::from_secs(30), "a pipe does not block");
    assert_eq!(shown["links"], 3);
    assert_eq!(shown["photos"].as_array().unwrap().len(), 9);
    let out = photos(&pack, &card, &[]);
    let said = text(&out);
    assert!(out.status.success(), "{said}");
    assert!(!said.contains(['\x1b', '\x07', '\u{202e}']), "{said:?}");
    assert!(said.contains("two\\nlines"), "{said}");
    assert!(said.contains("not taken: it is damaged: the file is empty"), "{said}");
    assert!(said.contains("60000 × 60000 pixels"), "{said}");
    let out = photos(&pack, &card, &["--take"]);
    let said = text(&out);
    assert!(out.status.success(), "{said}");
    // The bomb and the picture that is cut off are evidence; the empty file and the page are no pictures.
    assert!(said.contains("7 pictures copied"), "{said}");
    for entry in fs::read_dir(pack.join("photos")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        assert!(name.chars().all(|c| c.is_ascii_alphanumeric() || "-.".contains(c)), "{name}");
    }
    let secret = fs::read(outside.join("secret.jpg")).unwrap();
    assert!(tree(&pack).values().all(|(bytes, _)| *bytes != secret), "no link was followed");
    let out = photos(&pack, &card, &["--take", "--numbers", "1-9"]);
    assert_eq!(out.status.code(), Some(2));
    assert_eq!(listed(&pack).photo.len(), 7);
    // A `photos` that leads out of the inspection takes nothing.
    let (other, pack) = inspection();
    fs::remove_dir(pack.join("photos")).unwrap();
    symlink(other.path(), pack.join("photos")).unwrap();
    let before = tree(other.path());
    let out = photos(&pack, &card, &["--take"]);
    assert_eq!(out.status.code(), Some(2), "{}", text(&out));
    assert_eq!(tree(other.path()), before);
}

#[cfg(unix)]
#[test]
fn what_may_not_be_read_is_named_and_the_rest_is_taken() {
    use std::os::unix::fs::PermissionsExt;
    use std::os::unix::process::CommandExt;

    let (root, pack) = inspection();
    let card = root.path().join("card");
    fs::create_dir_all(card.join("locked")).unwrap();
    fs::write(card.join("a.jpg"), picture(1, 90, &[])).unwrap();
    fs::write(card.join("b.jpg"), picture(2, 90, &[])).unwrap();
    fs::write(card.join("locked/c.jpg"), picture(3, 90, &[])).unwrap();
    let mode = |path: &Path, mode| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    mode(root.path(), 0o755);
    mode(&card.join("b.jpg"), 0o000);
    mode(&card.join("locked"), 0o000);
    let run = |from: &Path| {
        let mut command = Command::new(BIN);
        command.arg("photos").arg(&pack).arg(from).env("UNDERLID_CONFIG", "");
        // The superuser may read everything: then the program is run as nobody.
        if fs::read_dir(card.join("locked")).is_ok() {
            command.uid(65_534).gid(65_534);
        }
        command.output().unwrap()
    };
    let out = run(&card);
    let said = text(&out);
    assert!(out.status.success(), "{said}");
    assert!(said.contains("1 picture,") || said.contains("1 picture\n"), "{said}");
    assert!(said.contains("not read: cannot read") && said.contains("locked"), "{said}");
    assert!(said.matches("Permission denied").count() == 2, "{said}");
    let out = run(&card.join("locked"));
    assert_eq!(out.status.code(), Some(2), "{}", text(&out));
    let out = run(&root.path().join("no-card"));
    assert!(out.status.code() == Some(2) && text(&out).contains("No such file"), "{}", text(&out));
    mode(&card.join("locked"), 0o755);
}

#[test]
fn long_ten_thousand_files_are_shown_in_bounded_time() {
    let (root, pack) = inspection();
    let card = root.path().join("card");
    let small = picture(1, 18, &[]);
    for n in 0..10_000_u32 {
        let folder = card.join(format!("DCIM/{:03}ABCDE", 100 + n / 1_000));
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join(format!("{n:05}.jpg")), [&small[..], &n.to_be_bytes()].concat()).unwrap();
    }
    let started = Instant::now();
    let shown = json(&pack, &card, &[]);
    let took = started.elapsed();
    assert_eq!(shown["photos"].as_array().unwrap().len(), 10_000);
    println!("10 000 pictures shown in {took:?}");
    assert!(took < Duration::from_secs(60), "{took:?}");
    let said = text(&photos(&pack, &card, &[]));
    assert!(said.contains("… and 8000 more"), "{}", said.lines().last().unwrap());
    // More than an inspection takes: it stops with words, and what was taken is whole and listed.
    let out = photos(&pack, &card, &["--take", "--numbers", "1-40"]);
    assert!(out.status.success());
    assert_eq!(listed(&pack).photo.len(), 40);
}
