//! A card in words and as JSON. Names from a card are shown with everything in them escaped that could play tricks on a
//! terminal.

use std::borrow::Cow;
use std::io::{self, Write};

use image::metadata::Orientation;
use schemars::JsonSchema;
use serde::Serialize;

use super::{CardPhoto, PhotoCard, Proposal};
use crate::evidence::exif::CaptureTime;
use crate::evidence::hash::Sha256Digest;
use crate::units::terminal::{shown, shown_text};
use crate::units::words::{count, list};

/// Pictures that are printed; a card with more says how many are left out.
const MOST_PRINTED: usize = 2_000;

/// What lies on a card, for machines.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CardTold<'a> {
    photos: Vec<PhotoTold<'a>>,
    videos: Vec<Cow<'a, str>>,
    other_files: usize,
    links: usize,
    not_read: &'a [String],
    clock_seconds: i64,
}

/// A picture on a card, for machines.
#[derive(Debug, Serialize, JsonSchema)]
struct PhotoTold<'a> {
    number: usize,
    file: Cow<'a, str>,
    bytes: u64,
    sha256: Sha256Digest,
    /// By the camera's clock put right.
    taken: Option<String>,
    #[schemars(with = "Option<String>")]
    by_the_camera: Option<CaptureTime>,
    camera: Option<&'a str>,
    width: Option<u32>,
    height: Option<u32>,
    turn: Option<&'static str>,
    same_as: Option<usize>,
    in_inspection: Option<String>,
    listed: bool,
    looks_like: &'a [usize],
    looks_like_in_inspection: Vec<String>,
    looks_like_more: usize,
    not_shown: Option<&'a str>,
    new: bool,
    has_location: bool,
    has_serial_or_owner: bool,
    has_maker_note: bool,
    proposal: Option<&'a Proposal>,
}

impl PhotoCard {
    /// Prints the pictures in the proposed order, and what else lies there.
    ///
    /// # Errors
    /// When the output fails.
    pub fn print(&self, out: &mut dyn Write) -> io::Result<()> {
        let root = common(self.photos.iter().map(|photo| photo.path.as_path()));
        for photo in self.photos.iter().take(MOST_PRINTED) {
            let taken = match photo.taken {
                Some(taken) => taken.to_string().replace('T', " "),
                None => "no time in the file".to_owned(),
            };
            let pixels = match photo.pixels {
                Some((width, height)) => format!("{width} x {height}"),
                None => "not shown".to_owned(),
            };
            let name = root.as_ref().and_then(|root| photo.path.strip_prefix(root).ok());
            let name = shown(name.unwrap_or(&photo.path));
            let size = size(photo.bytes);
            writeln!(out, "{:>4}  {taken:<19}  {size:>8}  {pixels:>11}  {name}", photo.number)?;
            for remark in photo.remarks() {
                writeln!(out, "        {remark}")?;
            }
        }
        if self.photos.len() > MOST_PRINTED {
            writeln!(out, "… and {} more", self.photos.len() - MOST_PRINTED)?;
        }
        self.print_rest(out)
    }

    /// Prints what else lies there, what could not be read, and what the originals give away.
    ///
    /// # Errors
    /// When the output fails.
    pub fn print_rest(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut rest = vec![count(self.photos.len(), "picture", "pictures")];
        if !self.videos.is_empty() {
            rest.push(format!("{} (not taken)", count(self.videos.len(), "film", "films")));
        }
        if self.links > 0 {
            rest.push(format!("{} (not followed)", count(self.links, "link", "links")));
        }
        if self.others > 0 {
            rest.push(format!(
                "{} (passed over)",
                count(self.others, "other or hidden file", "other or hidden files")
            ));
        }
        writeln!(out, "{}", rest.join(", "))?;
        for why in &self.refused {
            writeln!(out, "not read: {}", shown_text(why))?;
        }
        self.print_warnings(out)
    }

    fn print_warnings(&self, out: &mut dyn Write) -> io::Result<()> {
        let located = self.photos.iter().filter(|photo| photo.facts.has_location).count();
        let named = self
            .photos
            .iter()
            .filter(|photo| photo.facts.has_serial_or_owner || photo.facts.has_maker_note)
            .count();
        if located + named > 0 {
            writeln!(
                out,
                "WARNING: {} where the picture was taken, {} a serial number, an owner or a maker's block that may \
                 hold one.\nThe originals in photos/ keep that, and so does every copy of the folder; the pictures of \
                 the write-up do not.",
                count(located, "file says", "files say"),
                count(named, "file holds", "files hold")
            )?;
        }
        Ok(())
    }

    /// What lies on the card, for machines.
    #[must_use]
    pub fn told(&self) -> CardTold<'_> {
        CardTold {
            photos: self.photos.iter().map(CardPhoto::told).collect(),
            videos: self.videos.iter().map(|path| path.to_string_lossy()).collect(),
            other_files: self.others,
            links: self.links,
            not_read: &self.refused,
            clock_seconds: self.clock.as_secs(),
        }
    }
}

impl CardPhoto {
    /// What there is to say beside time, size and name.
    fn remarks(&self) -> Vec<String> {
        let mut all = Vec::new();
        if let Some(number) = self.same_as {
            all.push(format!("the same file as {number}"));
        }
        match &self.here {
            Some(name) if self.listed => all.push(format!("in the inspection already: photos/{name}")),
            Some(name) => all.push(format!("lies in photos/{name} already, but the record does not list it")),
            None => {}
        }
        let mut alike: Vec<String> = self.alike.iter().map(ToString::to_string).collect();
        alike.extend(self.alike_here.iter().map(|name| format!("photos/{}", shown_text(name))));
        if self.alike_more > 0 {
            alike.push(format!("{} more", self.alike_more));
        }
        if !alike.is_empty() {
            all.push(format!("looks like {}", list(&alike, "and")));
        }
        match (&self.problem, self.ending) {
            (Some(problem), Some(_)) => all.push(format!("evidence, but not shown in a write-up: {problem}")),
            (Some(problem), None) => all.push(format!("not taken: {problem}")),
            (None, None) => all.push("not taken: it does not begin as a picture does".to_owned()),
            (None, Some(_)) => {}
        }
        if let Some(turn) = turn(self.facts.orientation) {
            all.push(turn.to_owned());
        }
        let mut gives_away = Vec::new();
        if self.facts.has_location {
            gives_away.push("where it was taken");
        }
        if self.facts.has_serial_or_owner {
            gives_away.push("a serial number or an owner");
        } else if self.facts.has_maker_note {
            gives_away.push("a maker's block");
        }
        if !gives_away.is_empty() {
            all.push(format!("the file holds {}", list(&gives_away, "and")));
        }
        if let Some(proposal) = &self.proposal {
            all.push(format!("perhaps {}", proposal.words()));
        }
        all
    }

    fn told(&self) -> PhotoTold<'_> {
        PhotoTold {
            number: self.number,
            file: self.path.to_string_lossy(),
            bytes: self.bytes,
            sha256: self.digest,
            taken: self.taken.map(|taken| taken.to_string()),
            by_the_camera: self.facts.taken,
            camera: self.facts.camera.as_deref(),
            width: self.pixels.map(|(width, _)| width),
            height: self.pixels.map(|(_, height)| height),
            turn: turn(self.facts.orientation),
            same_as: self.same_as,
            in_inspection: self.here.as_ref().map(|name| format!("photos/{name}")),
            listed: self.listed,
            looks_like: &self.alike,
            looks_like_in_inspection: self.alike_here.iter().map(|name| format!("photos/{name}")).collect(),
            looks_like_more: self.alike_more,
            not_shown: self.problem.as_deref(),
            new: self.is_new(),
            has_location: self.facts.has_location,
            has_serial_or_owner: self.facts.has_serial_or_owner,
            has_maker_note: self.facts.has_maker_note,
            proposal: self.proposal.as_ref(),
        }
    }
}

impl Proposal {
    /// "main-fuse: answered 1 min 20 s after the picture".
    #[must_use]
    pub fn words(&self) -> String {
        let seconds = self.seconds.unsigned_abs();
        let time = match (seconds / 60, seconds % 60) {
            (0, s) => format!("{s} s"),
            (m, 0) => format!("{m} min"),
            (m, s) => format!("{m} min {s} s"),
        };
        let when = if self.seconds < 0 { "before" } else { "after" };
        format!("{}: answered {time} {when} the picture", shown_text(&self.shows))
    }
}

/// What has to be done to see a picture upright, by EXIF (CIPA DC-008, tag 274).
const fn turn(orientation: Orientation) -> Option<&'static str> {
    match orientation {
        Orientation::NoTransforms => None,
        Orientation::Rotate90 => Some("upright when turned by 90° clockwise"),
        Orientation::Rotate180 => Some("upright when turned by 180°"),
        Orientation::Rotate270 => Some("upright when turned by 90° counter-clockwise"),
        Orientation::FlipHorizontal
        | Orientation::FlipVertical
        | Orientation::Rotate90FlipH
        | Orientation::Rotate270FlipH => Some("upright when mirrored"),
    }
}

fn size(bytes: u64) -> String {
    #[expect(clippy::cast_precision_loss, reason = "shown with one digit")]
    let of = |unit: u64| format!("{:.1}", bytes as f64 / unit as f64);
    match bytes {
        0..1_000 => format!("{bytes} B"),
        1_000..1_000_000 => format!("{} kB", of(1_000)),
        _ => format!("{} MB", of(1_000_000)),
    }
}

/// The folder that all paths have in common.
fn common<'a>(mut paths: impl Iterator<Item = &'a std::path::Path>) -> Option<std::path::PathBuf> {
    let mut root = paths.next()?.parent()?.to_path_buf();
    for path in paths {
        while !path.starts_with(&root) {
            if !root.pop() {
                return None;
            }
        }
    }
    Some(root)
}
