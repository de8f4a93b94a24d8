//! Writing a bag: copied, hashed and compared in one pass, under a temporary name until complete.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use jiff::civil::Date;
use rayon::prelude::*;

use super::{BAG_DECLARATION, BAG_INFO, BagError, PAYLOAD, PAYLOAD_MANIFEST, TAG_MANIFEST, manifest_text};
use crate::evidence::atomic;
use crate::evidence::folder::{EvidenceFile, Listing, all_files, list};
use crate::evidence::hash::{HashError, Meter, OnProgress, Sha256Digest, copy_file};
use crate::evidence::manifest::{MANIFEST_NAME, Manifest, ManifestError};
use crate::evidence::name::{EvidenceName, gone, locate};
use crate::evidence::seals::SEALS_NAME;
use crate::evidence::signature::SIGNATURE_ENDING;
use crate::evidence::timestamp::TOKEN_ENDING;
use crate::evidence::verify::SealComparison;
use crate::record::open::{self, FileError};
use crate::record::save;

/// What goes into a bag besides the evidence.
#[derive(Debug, Clone, Default)]
pub struct BagOptions {
    /// Fields for `bag-info.txt`, label and value, for example `Source-Organization` or
    /// `External-Description`. `Bagging-Date`, `Bag-Software-Agent` and `Payload-Oxum` are written
    /// without being asked.
    pub fields: Vec<(String, String)>,
    /// The bagging date; today in UTC if not given.
    pub date: Option<Date>,
    /// Whether the folder `report/` is put in too, if there is one.
    pub with_report: bool,
}

/// A bag that has been written.
#[derive(Debug, Clone)]
pub struct Bag {
    /// The bag's folder.
    pub path: PathBuf,
    /// Its payload, names as in the bag (`data/…`).
    pub payload: Manifest,
    /// Bytes of payload.
    pub bytes: u64,
}

/// Writes a sealed inspection folder as a bag at `destination`, which must not exist.
///
/// # Errors
/// When the folder is not sealed or no longer as sealed, when the destination exists or lies in the
/// folder, when a name or field cannot be written, and when the system refuses. Nothing is left
/// behind then.
pub fn write(
    folder: &Path,
    destination: &Path,
    options: &BagOptions,
    on: OnProgress<'_>,
) -> Result<Bag, BagError> {
    let fields = info_fields(options)?;
    let sealed = match Manifest::read(&folder.join(MANIFEST_NAME)) {
        Err(ManifestError::File(e)) if gone(&e.source) => {
            let folder = folder.to_path_buf();
            return Err(BagError::NotSealed { folder });
        }
        other => other?,
    };
    let Listing { files, .. } = list(folder)?;
    let evidence = files.len();
    let files = [files, companions(folder, options.with_report)?].concat();
    refuse_bad_place(folder, destination)?;
    fill(folder, destination, &files, fields, Some((&sealed, evidence)), on)
}

/// Writes a bag at `destination` that holds nothing but some generated files of an inspection folder, by their names
/// under it: what can be handed to anybody when the record and the originals cannot.
///
/// # Errors
/// As [`write()`], except that nothing needs to be sealed.
pub fn write_generated(
    folder: &Path,
    names: &[String],
    destination: &Path,
    options: &BagOptions,
    on: OnProgress<'_>,
) -> Result<Bag, BagError> {
    let fields = info_fields(options)?;
    let files = names
        .iter()
        .map(|name| {
            let name = EvidenceName::new(name.as_bytes())?;
            let path = locate(folder, &name)?;
            let bytes = path.symlink_metadata().map_err(FileError::on("read", &path))?.len();
            Ok(EvidenceFile { name, path, bytes })
        })
        .collect::<Result<Vec<_>, BagError>>()?;
    refuse_bad_place(folder, destination)?;
    fill(folder, destination, &files, fields, None, on)
}

/// Copies files into a bag; the first `evidence` of them must be what was `sealed`.
fn fill(
    folder: &Path,
    destination: &Path,
    files: &[EvidenceFile],
    fields: Vec<(String, String)>,
    sealed: Option<(&Manifest, usize)>,
    on: OnProgress<'_>,
) -> Result<Bag, BagError> {
    save::sweep_once(atomic::parent(destination));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".underlid-bag-").suffix(".tmp");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777));
    let unfinished = builder
        .tempdir_in(atomic::parent(destination))
        .map_err(FileError::on("create a folder beside", destination))?;
    // Until it is finished, so that nobody takes it for left behind.
    let _held = open::folder(unfinished.path()).ok().filter(|folder| folder.lock().is_ok());

    let total = files.iter().map(|f| f.bytes).sum();
    let meter = Meter::new(total, on);
    let copied: Vec<(EvidenceName, Sha256Digest)> = files
        .par_iter()
        .map(|file| copy(file, unfinished.path(), &meter).map(|d| (file.name.clone(), d)))
        .collect::<Result<_, BagError>>()?;
    if let Some((sealed, evidence)) = sealed {
        let found: Manifest = copied.iter().take(evidence).cloned().collect();
        let comparison = SealComparison::of(sealed, &found);
        if !comparison.matches() {
            return Err(BagError::Differs(comparison));
        }
    }
    let payload = copied
        .into_iter()
        .map(|(name, digest)| Ok((in_payload(&name)?, digest)))
        .collect::<Result<Manifest, BagError>>()?;
    write_tags(unfinished.path(), &payload, total, fields)?;

    // Asked again, and narrowly: a rename onto an empty folder would succeed.
    refuse_bad_place(folder, destination)?;
    fs::rename(unfinished.path(), destination)
        .map_err(FileError::on("rename the finished bag to", destination))?;
    // Renamed away: there is nothing left for the guard to remove.
    let _ = unfinished.keep();
    atomic::sync_parent(destination)?;
    Ok(Bag { path: destination.to_path_buf(), payload, bytes: total })
}

/// The manifest, its signatures, the token of its time and the write-up: in the payload, though not part of the seal.
fn companions(folder: &Path, with_report: bool) -> Result<Vec<EvidenceFile>, BagError> {
    let mut files = Vec::new();
    let endings = ["", SIGNATURE_ENDING, TOKEN_ENDING];
    for name in
        [MANIFEST_NAME, SEALS_NAME].iter().flat_map(|name| endings.map(|ending| format!("{name}{ending}")))
    {
        let path = folder.join(&name);
        match path.symlink_metadata() {
            Ok(metadata) => files.push(EvidenceFile {
                name: EvidenceName::new(name.as_bytes())?,
                path,
                bytes: metadata.len(),
            }),
            Err(e) if gone(&e) => {}
            Err(e) => return Err(FileError::on("read", &path)(e).into()),
        }
    }
    if with_report && folder.join("report").symlink_metadata().is_ok() {
        files.extend(all_files(folder, "report")?);
    }
    Ok(files)
}

fn refuse_bad_place(folder: &Path, destination: &Path) -> Result<(), BagError> {
    let path = destination.to_path_buf();
    match destination.symlink_metadata() {
        Ok(_) => return Err(BagError::Exists { path }),
        Err(e) if gone(&e) => {}
        Err(e) => return Err(FileError::on("look at", destination)(e).into()),
    }
    let real = |path: &Path| path.canonicalize().map_err(FileError::on("find the folder", path));
    if real(atomic::parent(destination))?.starts_with(real(folder)?) {
        return Err(BagError::Inside { path });
    }
    Ok(())
}

fn in_payload(name: &EvidenceName) -> Result<EvidenceName, BagError> {
    let text = std::str::from_utf8(name.as_bytes()).map_err(|_| BagError::NotUtf8 { name: name.clone() })?;
    Ok(EvidenceName::new(format!("{PAYLOAD}/{text}").as_bytes())?)
}

fn copy(file: &EvidenceFile, bag: &Path, meter: &Meter<'_>) -> Result<Sha256Digest, BagError> {
    let to = bag.join(in_payload(&file.name)?.to_path());
    let parent = atomic::parent(&to);
    fs::create_dir_all(parent).map_err(FileError::on("create", parent))?;
    let mut out = File::create_new(&to).map_err(FileError::on("create", &to))?;
    let mut copied = 0;
    let digest = copy_file(&file.path, &mut out, |n| {
        copied += n;
        meter.add(n);
    })?;
    if copied != file.bytes {
        // Payload-Oxum and the free space were reckoned with the size listed a moment ago.
        let path = file.path.clone();
        return Err(HashError::ChangedWhileRead { path }.into());
    }
    // The time of a photo is worth keeping, but no reason to fail.
    if let Ok(time) = file.path.symlink_metadata().and_then(|m| m.modified()) {
        let _ = out.set_modified(time);
    }
    out.sync_all().map_err(FileError::on("write", &to))?;
    Ok(digest)
}

fn write_tags(
    bag: &Path,
    payload: &Manifest,
    bytes: u64,
    fields: Vec<(String, String)>,
) -> Result<(), BagError> {
    let oxum = ("Payload-Oxum".to_owned(), format!("{bytes}.{}", payload.len()));
    let info: String =
        fields.into_iter().chain([oxum]).map(|(label, value)| format!("{label}: {value}\n")).collect();
    let declaration = "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n".to_owned();
    let mut tags = Manifest::default();
    for (name, text) in
        [(BAG_DECLARATION, declaration), (BAG_INFO, info), (PAYLOAD_MANIFEST, manifest_text(payload)?)]
    {
        atomic::create(&bag.join(name), text.as_bytes(), 0o666)?;
        let digest = Sha256Digest::of(text.as_bytes());
        tags.insert(EvidenceName::new(name.as_bytes())?, digest);
    }
    let text = manifest_text(&tags)?;
    atomic::create(&bag.join(TAG_MANIFEST), text.as_bytes(), 0o666)?;
    Ok(())
}

fn info_fields(options: &BagOptions) -> Result<Vec<(String, String)>, BagError> {
    let ours = ["bagging-date", "bag-software-agent", "payload-oxum"];
    let today = || jiff::tz::Offset::UTC.to_datetime(jiff::Timestamp::now()).date();
    let mut fields = Vec::new();
    for (label, value) in &options.fields {
        let refuse = |problem| BagError::Field { label: label.clone(), problem };
        if label.is_empty() || label.trim() != label || label.contains(|c: char| c == ':' || c.is_control()) {
            return Err(refuse("a label has no colon, line break or space at its ends"));
        }
        if ours.contains(&label.to_ascii_lowercase().as_str()) {
            return Err(refuse("is written by the program itself"));
        }
        // A line break would start a new field; the RFC's folding is read badly by some programs.
        let value = value.split_whitespace().collect::<Vec<_>>().join(" ");
        fields.push((label.clone(), value));
    }
    fields.push(("Bagging-Date".to_owned(), options.date.unwrap_or_else(today).to_string()));
    let agent = concat!(env!("CARGO_PKG_NAME"), " ", env!("CARGO_PKG_VERSION"));
    fields.push(("Bag-Software-Agent".to_owned(), agent.to_owned()));
    Ok(fields)
}
