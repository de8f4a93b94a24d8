//! Ten thousand mutants of everything that comes from strangers: records, logs, lists of hashes, bags, pictures and requests
//! to the page. None makes the program panic, none hangs it, and none of a sealed thing passes for it.

use std::fs;
use std::io::{Cursor, Read, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::time::{Duration, Instant};

use underlid::evidence::bag;
use underlid::evidence::hash::silent;
use underlid::evidence::manifest::Manifest;
use underlid::evidence::picture::{PictureOptions, derive};
use underlid::judge::inspection::{House, Inspection};
use underlid::logs::read::{LogReader, ReadSettings};
use underlid::render::OWN_WORDS;

use crate::common::{rounds, run};
use crate::fill_page::serve;
use crate::fill_support::fresh;

/// A generator of numbers of its own (xorshift), so that every run tries the same.
struct Random(u64);

impl Random {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        usize::try_from(self.0 % most.max(1) as u64).unwrap()
    }
}

const TOKENS: [&str; 24] = [
    "\"",
    "'''",
    "[[",
    "]]",
    "= ",
    "\n",
    "\r\n",
    "\0",
    "\u{feff}",
    "\u{202e}",
    "../",
    "-",
    "1e999",
    "99999999999999999999",
    "NaN",
    "inf",
    "unknown",
    "±",
    ",",
    ";",
    "%0A",
    "é\u{301}",
    "{{",
    "\u{1b}[2J",
];

/// One to four changes: bits, bytes, pieces left out, doubled, moved, words put in, the end cut off.
fn mutant(of: &[u8], random: &mut Random) -> Vec<u8> {
    let mut bytes = of.to_vec();
    for _ in 0..=random.below(4) {
        if bytes.is_empty() {
            return bytes;
        }
        let at = random.below(bytes.len());
        let end = (at + 1 + random.below(40)).min(bytes.len());
        match random.below(8) {
            0 => bytes[at] ^= 1 << random.below(8),
            1 => bytes[at] = u8::try_from(random.below(256)).unwrap(),
            2 => drop(bytes.drain(at..end)),
            3 => {
                let piece = bytes[at..end].to_vec();
                for _ in 0..=random.below(6) {
                    bytes.splice(at..at, piece.iter().copied());
                }
            }
            4 => {
                let piece: Vec<u8> = bytes.drain(at..end).collect();
                let to = random.below(bytes.len() + 1);
                bytes.splice(to..to, piece);
            }
            5 | 6 => drop(bytes.splice(at..at, TOKENS[random.below(TOKENS.len())].bytes())),
            _ => bytes.truncate(at),
        }
    }
    bytes
}

/// Tries mutants; what `attempt` says counts, for the figures.
fn tried(what: &str, number: u32, seeds: &[Vec<u8>], mut attempt: impl FnMut(&[u8]) -> bool) {
    let mut random = Random(0x9e37_79b9_7f4a_7c15);
    let (mut accepted, mut slowest, started) = (0, Duration::ZERO, Instant::now());
    for round in 0..number {
        let bytes = mutant(&seeds[round as usize % seeds.len()], &mut random);
        let one = Instant::now();
        match catch_unwind(AssertUnwindSafe(|| attempt(&bytes))) {
            Ok(well) => accepted += u32::from(well),
            Err(_) => panic!("{what}, mutant {round} panics: {}", String::from_utf8_lossy(&bytes)),
        }
        slowest = slowest.max(one.elapsed());
    }
    println!(
        "{number} mutants of {what}: {accepted} accepted, none panics, slowest {slowest:.1?}, {:.0?} in all",
        started.elapsed()
    );
    assert!(slowest < Duration::from_secs(60), "{what}: a mutant hangs it");
}

const RECORD: &str = include_str!("../../example-inspections/harbour-24-150-rev-a/inspection.toml");

/// 10,000 in the long set.
#[test]
#[ignore = "minutes in a debug build: for the long set"]
fn long_ten_thousand_mutants() {
    let share = |of_a_hundred: u32| rounds(4, 100) * of_a_hundred;
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);

    // Records: read, judged and withheld from where they read.
    let small = "schema = 2\n[inspection]\ntitle = \"x\"\nserial = \"ZQ-2026-0417\"\n[claims]\ncontinuous_current = \"100 A\"\n\
                 [cells]\nseries = 8\nparallel = 1\nchemistry = \"LFP\"\nresistance = \"0.3 mΩ ± 0.1 mΩ\"\n[[path.element]]\n\
                 id = \"f\"\nkind = \"fuse\"\nfuse = \"class T\"\nrating = \"125 A\"\n[[path.element]]\nid = \"b\"\nkind = \"busbar\"\n\
                 material = \"copper\"\nsection = \"20 x 2 mm\"\nlength = \"2 to 4 cm\"\n[withhold]\ntexts = [\"ZQ-2026-0417\"]\n";
    fs::create_dir(at("pack")).unwrap();
    tried("records", share(25), &[RECORD.into(), small.into(), small.into()], |bytes| {
        let Ok(text) = std::str::from_utf8(bytes) else { return false };
        if text.len() > 3 * small.len() {
            return underlid::record::read("r", text).is_ok();
        }
        fs::write(at("pack/inspection.toml"), text).unwrap();
        Inspection::open_to_publish(&at("pack"), &House::default(), &OWN_WORDS).is_ok()
    });

    let logs: Vec<Vec<u8>> = ["a", "b"]
        .iter()
        .flat_map(|rev| {
            fs::read_dir(
                crate::common::root().join(format!("example-inspections/harbour-24-150-rev-{rev}/logs")),
            )
            .unwrap()
        })
        .map(|entry| fs::read(entry.unwrap().path()).unwrap())
        .map(|bytes| bytes[..bytes.len().min(4000)].to_vec())
        .collect();
    tried("logs", share(25), &logs, |bytes| {
        LogReader::new(Cursor::new(bytes), &ReadSettings::default())
            .is_ok_and(|mut log| log.for_each(|_| {}).is_ok())
    });

    let hash = "a".repeat(64);
    let list = format!(
        "{hash}  photos/1.jpg\n{hash} *logs/a b.csv\n\\{hash}  photos/line\\nbreak.jpg\nSHA256 (x) = {hash}\n"
    );
    tried("lists of hashes", share(20), &[list.into_bytes()], |bytes| {
        let read = Manifest::from_bytes(bytes, Path::new("photos.sha256"));
        if let Ok(manifest) = &read {
            let again = Manifest::from_bytes(&manifest.to_bytes(), Path::new("photos.sha256"));
            assert_eq!(again.as_ref().ok(), Some(manifest));
        }
        read.is_ok()
    });

    // Bags: of one that is sealed, any file of it may be another. Valid is only what says the same.
    fs::create_dir_all(at("bagged/photos")).unwrap();
    fs::write(at("bagged/inspection.toml"), "schema = 2\n").unwrap();
    fs::write(at("bagged/photos/1.jpg"), "a picture").unwrap();
    let (code, _, err) = run(&["seal", at("bagged").to_str().unwrap(), "--bag", at("bag").to_str().unwrap()]);
    assert_eq!(code, 0, "{err}");
    let names = [
        "bagit.txt",
        "bag-info.txt",
        "manifest-sha256.txt",
        "tagmanifest-sha256.txt",
        "data/photos/1.jpg",
        "data/seals.toml",
    ];
    let files: Vec<Vec<u8>> = names.iter().map(|name| fs::read(at("bag").join(name)).unwrap()).collect();
    let mut number = 0;
    tried("bags", share(15), &files, |bytes| {
        let (name, whole) = (names[number % names.len()], &files[number % names.len()]);
        number += 1;
        let path = at("bag").join(name);
        fs::write(&path, bytes).unwrap();
        let valid = bag::check(&at("bag"), &silent).is_ok_and(|report| report.is_valid());
        fs::write(&path, whole).unwrap();
        // The manifest of the tag files is what nothing else holds; without it they are only read.
        assert!(
            !valid || bytes == *whole || name == "tagmanifest-sha256.txt",
            "{name}: {}",
            String::from_utf8_lossy(bytes)
        );
        valid
    });

    let pictures: Vec<Vec<u8>> =
        [image::ImageFormat::Jpeg, image::ImageFormat::Png].map(small_picture).into();
    tried("pictures", share(10), &pictures, |bytes| {
        fs::write(at("x.jpg"), bytes).unwrap();
        derive(&at("x.jpg"), &PictureOptions::default()).is_ok()
    });

    // Requests to the page, over sockets of their own; it still answers at the end.
    let bench = fresh();
    let page = serve(&bench.path().join("pack"), &[]);
    let own = page.own();
    let body =
        "{\"id\":\"a1\",\"record\":\"0\",\"do\":\"answer\",\"key\":\"label-capacity\",\"value\":\"150 Ah\"}";
    let post = format!(
        "POST /api/op HTTP/1.1\r\nConnection: close\r\nContent-Length: {}\r\n{own}Content-Type: application/json\r\n\r\n{body}",
        body.len()
    );
    let get = format!("GET /api/state?since= HTTP/1.1\r\nConnection: close\r\n{own}\r\n");
    let mut photo = format!("POST /api/photo?key=label-capacity&record=0 HTTP/1.1\r\nConnection: close\r\n{own}Content-Length: {}\r\n\r\n", pictures[0].len()).into_bytes();
    photo.extend_from_slice(&pictures[0]);
    tried("requests", share(5), &[post.into_bytes(), get.clone().into_bytes(), photo], |bytes| {
        let mut stream = std::net::TcpStream::connect(&page.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(2))).unwrap();
        let _ = stream.write_all(bytes);
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let mut answer = [0; 64];
        let read = stream.read(&mut answer).unwrap_or(0);
        assert!(!answer[..read].starts_with(b"HTTP/1.1 5"), "{}", String::from_utf8_lossy(bytes));
        answer.starts_with(b"HTTP/1.1 200")
    });
    assert!(page.raw(get.as_bytes()).starts_with("HTTP/1.1 200"));
}

fn small_picture(format: image::ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    image::RgbImage::from_fn(32, 24, |x, y| {
        image::Rgb([x, y, x ^ y].map(|part| u8::try_from(part * 8 % 256).unwrap()))
    })
    .write_to(&mut bytes, format)
    .unwrap();
    bytes.into_inner()
}
