//! `seal`: write the hashes of the evidence, sign them, pack them for an archive.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;

#[cfg(feature = "signatures")]
use super::password;
use super::progress::Line;
use super::{Done, Failure, Format, House, words};
use crate::evidence::bag::{self, Bag, BagError, BagOptions};
use crate::evidence::fields::{FIELDS_NAME, Fields, Tree};
use crate::evidence::folder::LeftOut;
use crate::evidence::hash::Sha256Digest;
use crate::evidence::name;
use crate::evidence::seals::{self, Chain};
#[cfg(feature = "signatures")]
use crate::evidence::sign::{self, SignError};
use crate::evidence::signature::{self, SIGNATURE_ENDING};
use crate::evidence::timestamp::{self, TOKEN_ENDING};
use crate::evidence::verify::{SealComparison, SealError, Sealed, seal};
use crate::judge::inspection::RECORD;
use crate::judge::rules::Book;
use crate::judge::withhold;
use crate::record;
use crate::record::open;
use crate::render::OWN_WORDS;
use crate::render::write_up;
use crate::render::write_up::{in_words, save_write_up};
use crate::units::terminal;
use crate::units::words::count;

#[derive(Debug, clap::Args)]
pub(super) struct Seal {
    /// The inspection folder
    #[arg(required_unless_present = "new_key", value_name = "DIR")]
    folder: Option<PathBuf>,
    /// Replace a seal although sealed files have changed or are missing
    #[arg(long)]
    replace: bool,
    /// Sign the seal with this secret key; the password is asked for, or read from UNDERLID_KEY_PASSWORD or standard input
    #[arg(long, value_name = "KEY")]
    sign: Option<PathBuf>,
    /// A line that is signed with the seal; without it the time and the file's name
    #[arg(long, value_name = "TEXT", requires = "sign")]
    comment: Option<String>,
    /// Write a request for a trusted time (RFC 3161) beside the seal, to be taken to a time-stamping authority
    #[arg(long, conflicts_with = "new_key")]
    time_request: bool,
    /// Pack the sealed inspection as a bag (RFC 8493) into this new folder
    #[arg(long, value_name = "OUT")]
    bag: Option<PathBuf>,
    /// Pack a withheld edition: write-up, seals, and the record's fields but for those withheld; neither record nor photos nor logs
    #[arg(long, requires = "bag")]
    published: bool,
    /// Seal nothing; print one field of the sealed record, withheld or not, with the proof that it stands in it (for `verify --field`), such as `inspection.serial` or `path.element[2].marking`
    #[arg(long, value_name = "FIELD", conflicts_with_all = ["sign", "bag", "replace", "time_request", "new_key"])]
    show_field: Option<String>,
    /// Make a key pair to sign with: the secret key into FILE, the public key into FILE.pub
    #[arg(long, value_name = "FILE", conflicts_with_all = ["folder", "sign", "bag", "replace"])]
    new_key: Option<PathBuf>,
    /// Leave the new secret key without a password
    #[arg(long, requires = "new_key")]
    no_password: bool,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

/// What was done, for printing.
#[derive(Default)]
struct Report {
    sealed: Option<Sealed>,
    /// The number of the seal, where it is a new one, and what was published.
    chained: Option<(usize, Vec<String>)>,
    signature: Option<PathBuf>,
    time_request: Option<String>,
    bag: Option<Bag>,
}

/// What `seal --format json` prints.
#[derive(serde::Serialize, schemars::JsonSchema)]
#[serde(untagged)]
pub(super) enum SealDone<'a> {
    /// With `--new-key`.
    #[cfg_attr(
        not(feature = "signatures"),
        expect(dead_code, reason = "the published shape is the same in every build")
    )]
    Key { secret_key: String, public_key: String, key_id: String, public_key_line: String },
    /// Without.
    Sealed {
        #[serde(flatten)]
        seal: Option<SealMade<'a>>,
        #[serde(skip_serializing_if = "Option::is_none")]
        signature: Option<String>,
        #[serde(skip_serializing_if = "Option::is_none")]
        time_request: Option<String>,
        #[serde(skip_serializing_if = "Option::is_none")]
        bag: Option<BagMade>,
    },
}

/// A seal that was written.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct SealMade<'a> {
    manifest: String,
    manifest_sha256: Sha256Digest,
    files: usize,
    bytes: u64,
    left_out: &'a [LeftOut],
}

/// A bag that was packed.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct BagMade {
    path: String,
    files: usize,
    bytes: u64,
}

impl Seal {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        if let Some(path) = &self.new_key {
            return self.make_key(path);
        }
        let Some(folder) = &self.folder else { return Ok(Done::Well) };
        #[cfg(not(feature = "signatures"))]
        if self.sign.is_some() {
            return Err(super::left_out("seal --sign", "signatures"));
        }
        if let Some(path) = &self.show_field {
            return show_field(folder, path);
        }
        let mut report = Report::default();
        let (sealed, fields) = self.seal(folder)?;
        report.chained = self.chain(folder, &sealed, fields.as_ref().map(Fields::tree))?;
        report.sealed = Some(sealed);
        #[cfg(feature = "signatures")]
        if let Some(key) = &self.sign {
            report.signature = Some(self.sign(folder, key)?);
        }
        if self.time_request {
            report.time_request = Some(timestamp::write_request(folder).map_err(words)?);
        }
        let bag = |out: &PathBuf| match self.published {
            true => self.publish(folder, fields.as_ref(), out),
            false => pack(folder, out),
        };
        report.bag = self.bag.as_ref().map(bag).transpose()?;
        self.print(&report)?;
        if let Some(sealed) = &report.sealed {
            self.warn(folder, sealed, &report)?;
        }
        Ok(Done::Well)
    }

    #[cfg(not(feature = "signatures"))]
    fn make_key(&self, _: &Path) -> Result<Done, Failure> {
        Err(super::left_out("seal --new-key", "signatures"))
    }

    #[cfg(feature = "signatures")]
    fn make_key(&self, path: &Path) -> Result<Done, Failure> {
        let mut public = path.as_os_str().to_owned();
        public.push(".pub");
        let public = PathBuf::from(public);
        for path in [path, &public] {
            if path.symlink_metadata().is_ok() {
                let words =
                    format!("{}: exists already; a key is never written over anything", path.display());
                return Err(Failure::Words(words));
            }
        }
        let password = if self.no_password { None } else { Some(password::ask_for_new()?) };
        let key = sign::generate(path, &public, password.as_deref()).map_err(words)?;
        let mut out = terminal::out();
        match self.format {
            Format::Json => {
                let made = SealDone::Key {
                    secret_key: path.display().to_string(),
                    public_key: public.display().to_string(),
                    key_id: key.id(),
                    public_key_line: key.to_line(),
                };
                out.write_all(super::json(&made)?.as_bytes())?;
            }
            Format::Text => {
                writeln!(out, "{}: the secret key; keep it, and keep it to yourself", path.display())?;
                writeln!(out, "{}: the public key {}, to be published:", public.display(), key.id())?;
                writeln!(out, "{}", key.to_line())?;
            }
        }
        Ok(Done::Well)
    }

    /// Seals the evidence; the record's fields with it, with the salts of the last seal where they are of this record.
    fn seal(&self, folder: &Path) -> Result<(Sealed, Option<Fields>), Failure> {
        let record = open::text(&folder.join(RECORD)).unwrap_or_default();
        let last = Chain::read(folder).map_err(words)?.last().and_then(|seal| seal.fields);
        let kept = Fields::read(folder, &record).filter(|kept| last == Some(kept.tree()));
        let (fields, salts) = match kept {
            Some(kept) => (Some(kept), None),
            None => {
                let new = Fields::new(&record).map_err(words)?;
                let salts = new.as_ref().map(Fields::salts);
                (new, salts)
            }
        };
        let line = Line::new("hashing");
        match seal(folder, self.replace, salts.as_deref(), &|progress| line.show(progress)) {
            Ok(sealed) => Ok((sealed, fields)),
            Err(SealError::Differs(comparison)) => {
                let mut words = "evidence has changed since it was sealed; nothing was written:\n".to_owned();
                differences(&comparison, &mut words);
                words.push_str("`underlid seal --replace` writes a new seal if these changes are meant");
                Err(Failure::Words(words))
            }
            Err(error) => Err(words(error)),
        }
    }

    #[cfg(feature = "signatures")]
    fn sign(&self, folder: &Path, key: &Path) -> Result<PathBuf, Failure> {
        // The folder is handed on; whoever gets it would get the key.
        if let (Ok(inside), Ok(folder)) = (key.canonicalize(), folder.canonicalize())
            && inside.starts_with(&folder)
        {
            let words =
                format!("{}: the secret key lies in the inspection folder; keep it elsewhere", key.display());
            return Err(Failure::Words(words));
        }
        let seals = seals::path(folder);
        let sign = |password| sign::sign(&seals, key, password, self.comment.as_deref());
        match sign(None) {
            Err(SignError::PasswordNeeded { .. }) => sign(Some(password::ask()?.as_str())).map_err(words),
            other => other.map_err(words),
        }
    }

    /// Adds this seal to the chain, with the write-up that lies in the folder, made anew so that it names this seal.
    fn chain(
        &self,
        folder: &Path,
        sealed: &Sealed,
        fields: Option<Tree>,
    ) -> Result<Option<(usize, Vec<String>)>, Failure> {
        let mut chain = Chain::read(folder).map_err(words)?;
        if let Some(broken) = chain.breaks.first().filter(|_| !self.replace) {
            let words = format!("the chain of seals does not hold: {broken}; nothing was added to it");
            return Err(Failure::Words(words));
        }
        let inspection = self.house.open_to_publish(folder);
        let mut published = BTreeMap::new();
        let mut rules = Book::built_in().map_err(words)?;
        match &inspection {
            Ok(inspection) => {
                rules = Arc::clone(&inspection.book);
                let there = folder.join(write_up::FOLDER).join("report.html").is_file();
                if there || self.published {
                    let write_up = write_up(inspection, super::settings::templates(None)?.as_deref())?;
                    save_write_up(folder, &write_up)?;
                    published = write_up.digests();
                }
            }
            Err(why) => writeln!(terminal::err(), "underlid: no write-up is sealed, because {}", why.line())?,
        }
        // The chain goes with the withheld edition: it says of files and rules no more than that may.
        let told = |words: String| inspection.as_ref().map_or(words.clone(), |of| of.withheld.apply(&words));
        let changes = |differences: &SealComparison| {
            let differences = differences.differences();
            differences.map(|file| told(format!("{}: {}", file.name, in_words(&file.state)))).collect()
        };
        let names = published.keys().cloned().collect();
        let seal = seals::Seal {
            number: 0,
            at: jiff::Timestamp::now().round(jiff::Unit::Second).unwrap_or_default().to_string(),
            program: concat!("underlid ", env!("CARGO_PKG_VERSION")).to_owned(),
            evidence: sealed.manifest_digest,
            rules: rules.digest(),
            house: rules.changes.iter().map(|change| format!("{}: {}", change.what, change.reason)).collect(),
            changed: sealed.before.as_ref().map(changes).unwrap_or_default(),
            before: None,
            fields,
            published,
        };
        let added = chain.append(folder, seal).map_err(words)?;
        Ok(added.then_some((chain.seals.len(), names)))
    }

    /// A bag of what was published under the last seal, the chain, and the record's fields but for those withheld.
    fn publish(&self, folder: &Path, fields: Option<&Fields>, out: &Path) -> Result<Bag, Failure> {
        let inspection = self.house.open_to_publish(folder)?;
        let record = open::text(&folder.join(RECORD)).map_err(words)?;
        let whole = record::read(RECORD, &record)?;
        let described = inspection.record.inspection.title.text().map(described).unwrap_or_default();
        let chain = open::text(&seals::path(folder)).map_err(words)?;
        let edition = fields.map(|fields| fields.edition(&withhold::shown(&whole, &inspection.record)));
        let said: String = described.iter().map(|(name, text)| format!("{name}: {text}\n")).collect();
        for (file, text) in [("bag-info.txt", &said), (seals::SEALS_NAME, &chain)]
            .into_iter()
            .chain(edition.iter().map(|edition| (FIELDS_NAME, edition)))
        {
            inspection.withheld.guard(file, text).map_err(words)?;
        }
        if let Some(edition) = &edition {
            record::save::replace(&folder.join(FIELDS_NAME), edition).map_err(words)?;
        }
        super::look_at(&inspection)?;
        let published = Chain::read(folder).map_err(words)?.last().map(|last| last.published.clone());
        let beside = ["", SIGNATURE_ENDING, TOKEN_ENDING].map(|end| format!("{}{end}", seals::SEALS_NAME));
        let names: Vec<String> = published
            .unwrap_or_default()
            .into_keys()
            .chain(beside)
            .chain(edition.map(|_| FIELDS_NAME.to_owned()))
            .filter(|name| folder.join(name).symlink_metadata().is_ok())
            .collect();
        let options = BagOptions { fields: described, ..BagOptions::default() };
        let line = Line::new("packing");
        bag::write_generated(folder, &names, out, &options, &|progress| line.show(progress))
            .map_err(bag_words)
    }

    fn print(&self, report: &Report) -> Result<(), Failure> {
        let mut out = terminal::out();
        let shown = |path: &Path| path.display().to_string();
        if self.format == Format::Json {
            let sealed = report.sealed.as_ref();
            let done = SealDone::Sealed {
                seal: sealed.map(|sealed| SealMade {
                    manifest: shown(&sealed.manifest_path),
                    manifest_sha256: sealed.manifest_digest,
                    files: sealed.manifest.len(),
                    bytes: sealed.bytes,
                    left_out: &sealed.left_out,
                }),
                signature: report.signature.as_deref().map(shown),
                time_request: report.time_request.clone(),
                bag: report.bag.as_ref().map(|bag| BagMade {
                    path: shown(&bag.path),
                    files: bag.payload.len(),
                    bytes: bag.bytes,
                }),
            };
            out.write_all(super::json(&done)?.as_bytes())?;
            return Ok(());
        }
        if let Some(sealed) = &report.sealed {
            let number = count(sealed.manifest.len(), "file", "files");
            writeln!(out, "{}: {number} sealed", sealed.manifest_path.display())?;
            writeln!(out, "SHA-256 of the manifest, the one figure to publish: {}", sealed.manifest_digest)?;
            if let Some((number, published)) = &report.chained {
                let published = match published.len() {
                    0 => "without a write-up: `underlid report` makes one, and sealing again covers it"
                        .to_owned(),
                    files => format!("with the write-up ({})", count(files, "file", "files")),
                };
                writeln!(out, "{}: seal {number}, {published}", seals::SEALS_NAME)?;
            }
            for left_out in &sealed.left_out {
                writeln!(out, "not sealed: {}", left_out.name)?;
            }
        }
        if let Some(signature) = &report.signature {
            writeln!(out, "{}: signed", signature.display())?;
        }
        if let Some(request) = &report.time_request {
            let token = format!("{}{}", seals::SEALS_NAME, TOKEN_ENDING);
            writeln!(out, "{request}: a request for a trusted time (RFC 3161); nothing was sent")?;
            writeln!(out, "  take it to a time-stamping authority and keep the answer beside it as {token}")?;
        }
        if let Some(bag) = &report.bag {
            writeln!(out, "{}: a bag of {}", bag.path.display(), count(bag.payload.len(), "file", "files"))?;
        }
        Ok(())
    }

    fn warn(&self, folder: &Path, sealed: &Sealed, report: &Report) -> Result<(), Failure> {
        let mut err = terminal::err();
        let (sealed_now, signed_now) = (sealed.written, report.signature.as_deref());
        for (changed, path) in
            [(sealed_now, sealed.manifest_path.clone()), (report.chained.is_some(), seals::path(folder))]
        {
            let path = signature::signature_path(&path);
            if changed && signed_now != Some(&path) && path.symlink_metadata().is_ok() {
                writeln!(err, "underlid: {} no longer fits the new seal; sign it again", path.display())?;
            }
        }
        for (name, why) in name::not_everywhere(sealed.manifest.iter().map(|(name, _)| name)) {
            writeln!(err, "underlid: {name}: {why}")?;
        }
        if report.bag.is_some() && !self.published && withholds(folder) {
            writeln!(
                err,
                "underlid: the record withholds something, and this bag holds it: record, photos and logs as they are, \
                 with their names. Hand it to nobody who may not see that; `seal --bag OUT --published` packs a \
                 withheld edition"
            )?;
        }
        Ok(())
    }
}

/// Prints one field of the sealed record with the proof that it stands in it.
fn show_field(folder: &Path, path: &str) -> Result<Done, Failure> {
    let record = open::text(&folder.join(RECORD)).map_err(words)?;
    let last = Chain::read(folder).map_err(words)?.last().and_then(|seal| seal.fields);
    let sealed = Fields::read(folder, &record).filter(|fields| last == Some(fields.tree()));
    let Some(fields) = sealed else {
        let words = "the record is not as the last seal says, or its salts are gone: seal it again, then show the field";
        return Err(Failure::Words(words.to_owned()));
    };
    let proof = fields.proof(path).map_err(|near| {
        let near = near.map_or_else(String::new, |near| format!("; did you mean `{near}`?"));
        Failure::Words(format!(
            "the record has no field `{path}`{near} `--show-field path.element[2].rating`, counted from 1"
        ))
    })?;
    terminal::out().write_all(super::json(&proof)?.as_bytes())?;
    Ok(Done::Well)
}

fn pack(folder: &Path, out: &Path) -> Result<Bag, Failure> {
    let fields = title(folder).map(|title| described(&title)).unwrap_or_default();
    let options = BagOptions { fields, with_report: true, ..BagOptions::default() };
    let line = Line::new("packing");
    bag::write(folder, out, &options, &|progress| line.show(progress)).map_err(bag_words)
}

fn described(title: &str) -> Vec<(String, String)> {
    vec![("External-Description".to_owned(), format!("Inspection of a battery pack: {title}"))]
}

/// The title of a record, if it can be read; a bag can be made of any folder that is sealed.
fn title(folder: &Path) -> Option<String> {
    let text = open::text(&folder.join(RECORD)).ok()?;
    record::read(RECORD, &text).ok()?.inspection.title.text().map(str::to_owned)
}

/// Whether a record withholds something; one that cannot be read may.
fn withholds(folder: &Path) -> bool {
    let Ok(text) = open::text(&folder.join(RECORD)) else { return false };
    match record::read(RECORD, &text) {
        Ok(record) => withhold::plan(&record, &OWN_WORDS).map_or(true, |plan| !plan.is_empty()),
        Err(_) => text.contains("withhold"),
    }
}

fn differences(comparison: &SealComparison, words: &mut String) {
    for file in comparison.differences() {
        words.push_str(&format!("  {}: {}\n", file.name, in_words(&file.state)));
    }
}

fn bag_words(error: BagError) -> Failure {
    let mut words = error.to_string();
    if let BagError::Differs(comparison) = &error {
        words.push('\n');
        differences(comparison, &mut words);
    }
    Failure::Words(words)
}
