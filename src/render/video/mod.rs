//! The video kit for a video: a description, chapters, a script, captions, and still cards, from the same record as the
//! write-up.
//!
//! It takes what the view says and adds no judgement and no promise: every number on a card stands in the write-up,
//! whose place and hash the description gives. All texts leave through one outlet (`outlet`). Everything is written
//! into a folder of its own that can be deleted and made again; files of an earlier run that no longer belong there
//! are removed, because a card with an old finding would be wrong evidence.
//!
//! Refused: a link in place of the folder, a description that does not fit with verdict, critical findings, caution
//! and hashes, and video times that are no times (told, not guessed).

mod cards;
mod chapters;
mod description;
mod measure;
mod outlet;
mod script;

use std::fs;
use std::path::{Path, PathBuf};

use base64::Engine;
use thiserror::Error;

use crate::evidence::hash::hash_file;
use crate::judge::inspection::{Inspection, OpenError, RECORD};
use crate::record::save;
use crate::render::write_up::{self, View, WriteUpError};
pub(crate) use cards::TEMPLATES;
use chapters::Chapters;
use description::{Description, Whereabouts};
use outlet::Outlet;

/// Folder of the video kit in an inspection folder.
pub const FOLDER: &str = "video-kit";
/// What stands on every card and in every description, whatever the record says.
pub(crate) const OWN_WORDS: [&str; 3] = [cards::FOOT[0], cards::FOOT[1], description::SHORT_CAUTION];
/// Folders inside it.
const INSIDE: [&str; 2] = ["cards", "photos"];

/// Why a video kit cannot be made.
#[derive(Debug, Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub enum VideoKitError {
    #[error(transparent)]
    WriteUp(#[from] WriteUpError),
    #[error("{0}")]
    Words(String),
}

impl From<OpenError> for VideoKitError {
    fn from(error: OpenError) -> Self {
        Self::WriteUp(error.into())
    }
}

/// What a user asks for.
#[derive(Debug, Clone, Default)]
pub struct Wishes {
    /// Where the write-up can be found; else its file name is given.
    pub link: Option<String>,
    /// Lengths for which a shortened description is wanted, in the strict count that `description` explains.
    pub limits: Vec<usize>,
    /// Length of the video, `42:10`: the end of its last chapter.
    pub length: Option<String>,
    /// A folder whose files replace the built-in card templates.
    pub templates: Option<PathBuf>,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VideoKitFile {
    /// Its name under the folder of the video kit.
    pub name: String,
    pub content: Vec<u8>,
}

/// A finished kit, not yet on disk.
#[derive(Debug)]
pub struct VideoKit {
    pub files: Vec<VideoKitFile>,
    /// What the user is to be told: what could not be used, what was shortened, what is stale.
    pub told: Vec<String>,
}

/// Makes the video kit of an inspection; `against` is a second inspection for the card of a comparison.
///
/// # Errors
/// [`VideoKitError`] when a template is wrong, a limit is too narrow or the length is not a time.
pub fn video_kit(
    inspection: &Inspection,
    against: Option<&Inspection>,
    wishes: &Wishes,
) -> Result<VideoKit, VideoKitError> {
    let view = View::of(inspection);
    let other = against.map(View::of);
    let photos = write_up::photos(inspection, None);
    let length = wishes.length.as_deref().map(chapters::length).transpose();
    let length = length.map_err(|why| VideoKitError::Words(format!("the length of the video {why}")))?;
    let mut outlet = Outlet::default();
    let Chapters { list, mut told } = chapters::chapters(&inspection.record, &view);
    if let (Some(length), Some(last)) = (length, list.last().map(|last| last.start))
        && last >= length
    {
        told.push("a chapter begins after the end of the video".to_owned());
    }
    let plain = chapters::list(&list);
    if list.is_empty() {
        told.push("the record holds no video time, so there are no chapters".to_owned());
    } else {
        outlet.text("chapters.vtt", &chapters::vtt(&list, length));
        outlet.text("chapters.txt", &plain);
        outlet.text("markers.csv", &script::markers(&list));
    }
    let sentences = script::sentences(&view);
    outlet.text("script.txt", &format!("{}\n", sentences.join("\n")));
    outlet.text("script.srt", &script::srt(&sentences));
    let place = whereabouts(inspection, wishes.link.as_deref(), &mut told);
    let text = Description::of(&view, &inspection.bench_tests, &photos, &plain, &place);
    outlet.text("description.txt", &text.whole());
    for limit in &wishes.limits {
        let short = text.within(*limit).map_err(VideoKitError::Words)?;
        outlet.text(&format!("description-{limit}.txt"), &short);
    }
    let mut derived = Vec::new();
    for (index, photo) in photos.iter().enumerate() {
        let jpeg = photo
            .data
            .as_ref()
            .and_then(|data| data.split_once(','))
            .and_then(|(_, encoded)| base64::engine::general_purpose::STANDARD.decode(encoded).ok());
        derived.push(jpeg.map(|jpeg| {
            let name = format!("photos/photo-{:02}.jpg", index + 1);
            outlet.picture(name.clone(), jpeg);
            name
        }));
    }
    outlet.text("captions.txt", &description::captions(&photos, &derived));
    told.extend(cards::cards(
        inspection,
        &view,
        &photos,
        other.as_ref(),
        wishes.templates.as_deref(),
        &mut outlet,
    )?);
    let (files, packed) = outlet.into_files();
    let texts = files.iter().filter_map(|f| Some((f.name.as_str(), str::from_utf8(&f.content).ok()?)));
    let said = packed.iter().map(|(name, said)| (name.as_str(), said.as_str()));
    for (name, text) in texts.chain(said) {
        for opened in std::iter::once(inspection).chain(against) {
            let guarded = opened.withheld.guard(name, text);
            guarded.map_err(|leak| VideoKitError::Words(leak.to_string()))?;
        }
    }
    Ok(VideoKit { files, told })
}

fn whereabouts(inspection: &Inspection, link: Option<&str>, told: &mut Vec<String>) -> Whereabouts {
    let folder = &inspection.folder;
    let page = folder.join(write_up::FOLDER).join("report.html");
    let page_hash = hash_file(&page).ok().map(|digest| digest.to_string());
    let changed = |path: &Path| fs::metadata(path).and_then(|meta| meta.modified()).ok();
    if page_hash.is_none() {
        told.push(
            "there is no report/report.html yet: run `underlid report`, then this again, for its hash"
                .to_owned(),
        );
    } else if changed(&page) < changed(&folder.join(RECORD)) {
        told.push(
            "report/report.html is older than the record: run `underlid report`, then this again".to_owned(),
        );
    }
    let evidence = write_up::evidence(inspection);
    let seal = if !evidence.sealed {
        told.push(
            "the evidence is not sealed: `underlid seal` writes the hashes that a viewer can check"
                .to_owned(),
        );
        Some("The evidence is not sealed.".to_owned())
    } else if evidence.matches {
        None
    } else {
        told.push("the evidence no longer matches its seal; the description says so".to_owned());
        Some("The evidence no longer matches its seal.".to_owned())
    };
    Whereabouts {
        link: link.map_or_else(|| format!("{}/report.html", write_up::FOLDER), str::to_owned),
        page: page_hash,
        manifest: evidence.manifest_sha256,
        seal,
    }
}

/// Writes a video kit into a folder; each file is replaced as a whole, and files of an earlier run that are not in
/// this one are removed.
pub fn save_video_kit(target: &Path, kit: &VideoKit) -> Result<(), VideoKitError> {
    let at = |path: &Path, source| WriteUpError::Write { path: path.to_owned(), source };
    let folders = [target.to_owned(), target.join(INSIDE[0]), target.join(INSIDE[1])];
    for folder in &folders {
        save::real_folder(folder, "the video kit").map_err(|e| at(folder, e))?;
    }
    for file in &kit.files {
        let path = target.join(&file.name);
        save::replace(&path, &file.content).map_err(|e| at(&path, e))?;
    }
    for (folder, inside) in folders.iter().zip(["", "cards/", "photos/"]) {
        let stale = |name: &str| {
            let name = format!("{inside}{name}");
            is_ours(&name) && !kit.files.iter().any(|file| file.name == name)
        };
        save::sweep(folder, stale).map_err(|e| at(folder, e))?;
    }
    Ok(())
}

/// True for the names that a video kit gives its files.
fn is_ours(name: &str) -> bool {
    let number = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    if let Some(card) = name.strip_prefix("cards/") {
        let stem = card.strip_suffix(".svg").or_else(|| card.strip_suffix(".png")).unwrap_or_default();
        let formats = ["-wide", "-tall", "-lower-third"];
        let stem = formats.iter().find_map(|format| stem.strip_suffix(format)).unwrap_or_default();
        // A protection card was made by earlier versions.
        return matches!(stem, "verdict" | "path" | "against" | "claims" | "thumbnail" | "protection")
            || ["finding-", "test-"].iter().any(|kind| stem.strip_prefix(kind).is_some_and(number));
    }
    let between = |before: &str, after: &str| {
        name.strip_prefix(before).and_then(|n| n.strip_suffix(after)).is_some_and(number)
    };
    let texts = ["chapters.vtt", "chapters.txt", "captions.txt", "description.txt"];
    let script = ["markers.csv", "script.txt", "script.srt"];
    texts.iter().chain(&script).any(|own| *own == name)
        || between("description-", ".txt")
        || between("photos/photo-", ".jpg")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::inspection::House;

    /// The picture of a card cannot be searched, so what is said on it is, also where the SVG breaks a word.
    #[test]
    fn what_a_card_says_is_handed_to_the_guard() {
        let folder = tempfile::tempdir().unwrap();
        let word = "Quellwerk".repeat(40);
        let record = format!("schema = 2\n[inspection]\ntitle = \"{word}\"\n");
        fs::write(folder.path().join(RECORD), record).unwrap();
        let inspection =
            Inspection::open(folder.path(), &House::default(), &crate::render::OWN_WORDS).unwrap();
        let view = View::of(&inspection);
        let mut outlet = Outlet::default();
        cards::cards(&inspection, &view, &[], None, None, &mut outlet).unwrap();
        let (files, packed) = outlet.into_files();
        let pictures: Vec<&str> =
            files.iter().map(|file| file.name.as_str()).filter(|name| name.ends_with(".png")).collect();
        assert!(!pictures.is_empty());
        let names: Vec<&str> = packed.iter().map(|(name, _)| name.as_str()).collect();
        assert_eq!(names, pictures, "one text for each picture");
        assert!(packed.iter().all(|(_, said)| said.contains(&word)), "unwrapped and not shortened");
    }

    #[test]
    fn only_our_own_names_are_ours() {
        for name in [
            "chapters.vtt",
            "description-500.txt",
            "photos/photo-01.jpg",
            "cards/finding-12-tall.png",
            "cards/verdict-wide.svg",
            "cards/finding-01-lower-third.png",
            "script.srt",
        ] {
            assert!(is_ours(name), "{name}");
        }
        for name in [
            "",
            "notes.txt",
            "description-my.txt",
            "photos/photo-.jpg",
            "photos/01-label.jpg",
            "cards/finding-1.png",
            "cards/cards/verdict-wide.svg",
            "cards/.svg",
            "verdict-wide.svg",
        ] {
            assert!(!is_ours(name), "{name}");
        }
    }
}
