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
use crate::evidence::folder::LeftOut;
use crate::evidence::hash::Sha256Digest;
use crate::evidence::seals::{self, Chain};
#[cfg(feature = "signatures")]
use crate::evidence::sign::{self, SignError};
use crate::evidence::signature::{self, Present};
use crate::evidence::timestamp;
use crate::evidence::verify::{SealComparison, SealError, Sealed, seal};
use crate::judge::inspection::RECORD;
use crate::judge::rules::Book;
use crate::record;
use crate::record::open;
use crate::render::OWN_WORDS;
use crate::render::write_up::{in_words, save_write_up, write_up};
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
    #[arg(long, conflicts_with_all = ["published", "new_key"])]
    time_request: bool,
    /// Pack the sealed inspection as a bag (RFC 8493) into this new folder
    #[arg(long, value_name = "OUT")]
    bag: Option<PathBuf>,
    /// Put only a new write-up into the bag, neither record nor photos nor logs: for a record that withholds something
    #[arg(long, requires = "bag", conflicts_with_all = ["sign", "replace"])]
    published: bool,
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
        let mut report = Report::default();
        if self.published {
            report.bag = self.bag.as_deref().map(|out| self.publish(folder, out)).transpose()?;
        } else {
            let sealed = self.seal(folder)?;
            report.chained = self.chain(folder, &sealed)?;
            report.sealed = Some(sealed);
            #[cfg(feature = "signatures")]
            if let Some(key) = &self.sign {
                report.signature = Some(self.sign(folder, key)?);
            }
            if self.time_request {
                report.time_request = Some(timestamp::write_request(folder).map_err(words)?);
            }
            report.bag = self.bag.as_deref().map(|out| pack(folder, out)).transpose()?;
        }
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

    fn seal(&self, folder: &Path) -> Result<Sealed, Failure> {
        let line = Line::new("hashing");
        match seal(folder, self.replace, &|progress| line.show(progress)) {
            Ok(sealed) => Ok(sealed),
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
    fn chain(&self, folder: &Path, sealed: &Sealed) -> Result<Option<(usize, Vec<String>)>, Failure> {
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
                if folder.join(crate::render::write_up::FOLDER).join("report.html").is_file() {
                    let write_up = write_up(inspection, None)?;
                    save_write_up(folder, &write_up)?;
                    published = write_up.digests();
                }
            }
            Err(why) => writeln!(terminal::err(), "underlid: no write-up is sealed, because {}", why.line())?,
        }
        let changes = |differences: &SealComparison| {
            differences
                .differences()
                .map(|file| format!("{}: {}", file.name, in_words(&file.state)))
                .collect()
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
            published,
        };
        let added = chain.append(folder, seal).map_err(words)?;
        Ok(added.then_some((chain.seals.len(), names)))
    }

    /// A bag of a write-up that is made now: an older one may be from before something was withheld.
    fn publish(&self, folder: &Path, out: &Path) -> Result<Bag, Failure> {
        let inspection = self.house.open_to_publish(folder)?;
        let write_up = write_up(&inspection, None)?;
        let pages = save_write_up(&inspection.folder, &write_up)?;
        let data =
            write_up.data.iter().map(|(name, _)| PathBuf::from(crate::render::write_up::FOLDER).join(name));
        let names: Vec<String> = pages
            .iter()
            .filter_map(|path| path.strip_prefix(&inspection.folder).ok().map(Path::to_owned))
            .chain(data)
            .map(|path| path.to_string_lossy().replace('\\', "/"))
            .collect();
        let fields = described(&write_up.view.title);
        for (name, text) in &fields {
            inspection.withheld.guard("bag-info.txt", &format!("{name}: {text}")).map_err(words)?;
        }
        super::look_at(&inspection)?;
        let options = BagOptions { fields, ..BagOptions::default() };
        let line = Line::new("packing");
        bag::write_generated(&inspection.folder, &names, out, &options, &|progress| line.show(progress))
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
            let token = format!("{}{}", seals::SEALS_NAME, timestamp::TOKEN_ENDING);
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
        for stale in sealed.stale_signatures.iter().filter(|stale| Some(*stale) != report.signature.as_ref())
        {
            writeln!(err, "underlid: {} no longer fits the new seal; sign it again", stale.display())?;
        }
        let named = report.signature.as_deref();
        if report.chained.is_some() {
            for Present { file, .. } in signature::present(&seals::path(folder)) {
                let path = folder.join(file);
                if named != Some(&path) {
                    writeln!(err, "underlid: {} no longer fits the new seal; sign it again", path.display())?;
                }
            }
        }
        if report.bag.is_some() && withholds(folder) {
            writeln!(
                err,
                "underlid: the record withholds something, and this bag holds it: record, photos and logs as they are, \
                 with their names. Hand it to nobody who may not see that; `seal --bag OUT --published` packs a \
                 write-up alone"
            )?;
        }
        Ok(())
    }
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
        Ok(record) => crate::judge::withhold::plan(&record, &OWN_WORDS).map_or(true, |plan| !plan.is_empty()),
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
