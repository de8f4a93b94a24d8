//! `verify`: compare a folder or a bag with its seal, and say who sealed it.

use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::progress::Line;
use super::{Done, Failure, Format, House, words};
use crate::evidence::Signed;
use crate::evidence::arrival::{Arrival, arrivals};
use crate::evidence::bag::{self, BAG_DECLARATION, BagReport, OxumState};
use crate::evidence::fields::{self, Proof};
use crate::evidence::folder;
use crate::evidence::manifest::{MANIFEST_NAME, Manifest, ManifestError};
use crate::evidence::photos::is_photo_name;
use crate::evidence::seals::{self, Chain, Seal};
use crate::evidence::signature::{self, Present, VerifyingKey};
use crate::evidence::timestamp::{self, Token};
use crate::evidence::verify::{SealComparison, verify};
use crate::evidence::whole::{Looks, PictureState};
use crate::judge::inspection::RECORD;
use crate::record::open;
use crate::record::{self, Record};
use crate::render::write_up;
use crate::render::write_up::in_words;
use crate::units::terminal;

#[derive(Debug, clap::Args)]
pub(super) struct Verify {
    /// The inspection folder, or a bag (RFC 8493)
    #[arg(value_name = "DIR")]
    folder: PathBuf,
    /// The public key of whoever is said to have sealed it: a file in the minisign format or its one line. Without a good signature by it the status is 1
    #[arg(long, value_name = "PUB")]
    key: Option<String>,
    /// A field that was shown with its proof (`seal --show-field`): whether it stands in the sealed record
    #[arg(long, value_name = "FILE")]
    field: Option<PathBuf>,
    /// How to print
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    house: House,
}

/// What was found.
#[derive(serde::Serialize, schemars::JsonSchema)]
pub(super) struct Found {
    /// How the inspection stands against its seal; nothing for a bag without one.
    #[serde(flatten)]
    seal: Option<SealComparison>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bag: Option<BagFound>,
    /// The signature beside it, as it says of itself.
    #[serde(skip_serializing_if = "Option::is_none")]
    signature: Option<Present>,
    signed: Signed,
    /// The chain of seals; nothing where there is none.
    #[serde(skip_serializing_if = "Option::is_none")]
    chain: Option<Chained>,
    /// Photos against the hash they arrived with; nothing where the record does not read.
    arrivals: Option<Vec<Arrival>>,
    /// Photos that are not whole, or cannot be looked at.
    pictures: Vec<Picture>,
}

/// The chain of seals, and how what lies there stands against the last.
#[derive(Debug, serde::Serialize, schemars::JsonSchema)]
struct Chained {
    seals: Vec<Seal>,
    /// What does not hold, one line each.
    differences: Vec<String>,
    /// What came of writing the published pages again from the record.
    again: String,
    /// Of a withheld edition: how many of the record's fields it shows, and of how many.
    #[serde(skip_serializing_if = "Option::is_none")]
    shown: Option<[usize; 2]>,
    /// A field that was shown with its proof.
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<FieldShown>,
    /// A token of a time-stamping authority; nothing where none lies there.
    #[serde(skip_serializing_if = "Option::is_none")]
    time: Option<Token>,
}

/// A field of a record, and the seal in whose record it stands.
#[derive(Debug, serde::Serialize, schemars::JsonSchema)]
struct FieldShown {
    path: String,
    value: serde_json::Value,
    /// Number of the last such seal; none where it stands in none.
    seal: Option<usize>,
}

/// A photo that does not count as evidence as it is.
#[derive(Debug, serde::Serialize, schemars::JsonSchema)]
struct Picture {
    file: String,
    #[serde(flatten)]
    look: PictureState,
}

/// Decodes the photos of an inspection, whether the record lists them or not.
fn pictures(inspection: &Path, record: Option<&Record>) -> Vec<Picture> {
    let listed = record.iter().flat_map(|record| &record.photo).filter_map(|photo| photo.file.text());
    let mut files: BTreeSet<String> = listed.map(str::to_owned).collect();
    let lying = folder::list(inspection).map(|listing| listing.files).unwrap_or_default();
    let photos = lying.iter().filter(|file| is_photo_name(&file.path)).map(|file| file.name.to_text());
    files.extend(photos.filter(|name| name.starts_with("photos/")));
    let looks = Looks::default();
    let files: Vec<String> = files.into_iter().collect();
    let look = |file: String| Picture { look: looks.at(inspection, &file), file };
    files.into_par_iter().map(look).filter(|picture| picture.look != PictureState::Whole).collect()
}

/// A bag, and whether it is complete and valid.
#[derive(serde::Serialize, schemars::JsonSchema)]
struct BagFound {
    #[serde(flatten)]
    report: BagReport,
    valid: bool,
}

impl Verify {
    pub(super) fn run(&self) -> Result<Done, Failure> {
        if let Some(given) = &self.key
            && let (Ok(key), Ok(folder)) = (Path::new(given).canonicalize(), self.folder.canonicalize())
            && key.starts_with(&folder)
        {
            let words = format!(
                "{given}: this key lies in what is to be checked, so it proves nothing; get the signer's public key from the signer, by another way"
            );
            return Err(Failure::Words(words));
        }
        let key = self.key.as_deref().map(read_key).transpose()?;
        let found = self.look(key.as_ref())?;
        let sound = found.bag.as_ref().is_none_or(|bag| bag.valid)
            && found.seal.as_ref().is_none_or(SealComparison::matches)
            && found.chain.as_ref().is_none_or(|chain| chain.differences.is_empty())
            && found.arrivals.iter().flatten().all(Arrival::holds)
            && !found.pictures.iter().any(|picture| matches!(picture.look, PictureState::Damaged(_)));
        let shown = found.chain.as_ref().and_then(|chain| chain.field.as_ref());
        let sound = sound && shown.is_none_or(|field| field.seal.is_some());
        let attributed = match found.signed {
            Signed::Good { .. } => true,
            Signed::Bad { .. } => false,
            Signed::CannotTell { .. } => key.is_none(),
        };
        match self.format {
            Format::Json => terminal::out().write_all(super::json(&found)?.as_bytes())?,
            Format::Text => found.text()?,
        }
        Ok(if sound && attributed { Done::Well } else { Done::FallsShort })
    }

    fn look(&self, key: Option<&VerifyingKey>) -> Result<Found, Failure> {
        let line = Line::new("hashing");
        let is_bag = self.folder.join(BAG_DECLARATION).symlink_metadata().is_ok();
        let inspection = if is_bag { self.folder.join("data") } else { self.folder.clone() };
        // A seal is checked whether or not the record reads.
        let text = open::text(&inspection.join(RECORD));
        if let Err(refused) = &text
            && !refused.is_gone()
        {
            writeln!(terminal::err(), "underlid: {refused}")?;
        }
        let record = text.ok().and_then(|text| record::read(RECORD, &text).ok());
        let arrivals = record.as_ref().map(|record| arrivals(&inspection, record));
        let manifest = inspection.join(MANIFEST_NAME);
        // Signatures of before there was a chain are over the list of hashes.
        let chained = seals::path(&inspection);
        let signed_file = if chained.symlink_metadata().is_ok() { chained } else { manifest.clone() };
        let (bag, seal) = if is_bag {
            let report = bag::check(&self.folder, &|progress| line.show(progress)).map_err(words)?;
            let seal = match Manifest::read(&manifest) {
                Ok(sealed) => Some(report.against_seal(&sealed)),
                Err(ManifestError::File(error)) if error.source.kind() == std::io::ErrorKind::NotFound => {
                    None
                }
                Err(error) => return Err(words(error)),
            };
            (Some(report), seal)
        } else {
            match verify(&self.folder, &|progress| line.show(progress)) {
                Ok(seal) => (None, Some(seal)),
                Err(error) => {
                    // What arrived can be held against the record although nothing is sealed yet.
                    if self.format == Format::Text {
                        tell_arrivals(&mut terminal::out(), arrivals.as_deref())?;
                    }
                    return Err(words(error));
                }
            }
        };
        let chain = self.chain(&inspection, seal.as_ref())?;
        let signed = match key {
            None => signature::by_trusted(&signed_file, &super::settings::keys()?),
            #[cfg(feature = "signatures")]
            Some(key) => signature::check(&signed_file, key).map_err(words)?,
            #[cfg(not(feature = "signatures"))]
            Some(none) => match *none {},
        };
        let bag = bag.map(|report| BagFound { valid: report.is_valid(), report });
        let pictures = pictures(&inspection, record.as_ref());
        Ok(Found {
            bag,
            seal,
            signature: signature::present(&signed_file),
            signed,
            chain,
            arrivals,
            pictures,
        })
    }

    /// Reads the chain of seals, compares, and writes the published pages again.
    fn chain(&self, inspection: &Path, seal: Option<&SealComparison>) -> Result<Option<Chained>, Failure> {
        let chain = Chain::read(inspection).map_err(words)?;
        let proof: Option<Proof> = match &self.field {
            Some(path) => Some(read_proof(path)?),
            None => None,
        };
        if chain.seals.is_empty() && chain.breaks.is_empty() {
            return match proof {
                Some(_) => Err(Failure::Words("no seal lies here that could hold the field".to_owned())),
                None => Ok(None),
            };
        }
        let mut differences = chain.differences(inspection);
        let again = match chain.last() {
            Some(_) if seals::is_edition(inspection) => {
                "not written again: this is a withheld edition, without the record; its hashes were compared"
                    .to_owned()
            }
            // Of other evidence another write-up is made, which says nothing about this one.
            Some(_) if seal.is_some_and(|seal| !seal.matches()) => {
                "not written again, because the evidence is not as it was sealed".to_owned()
            }
            Some(last) if !last.published.is_empty() => self.again(inspection, last, &mut differences),
            _ => "no write-up was sealed".to_owned(),
        };
        let time = timestamp::token(inspection, &chain);
        if let Some(Token { file, seal: None, .. }) = &time {
            differences.push(format!("{file}: is about none of the seals"));
        }
        let shown = seals::is_edition(inspection).then(|| fields::read_edition(inspection));
        let shown = shown.and_then(Result::ok).map(|(tree, shown)| [shown, tree.leaves]);
        let field = proof.map(|proof| {
            let seal =
                chain.seals.iter().rev().find(|seal| seal.fields.is_some_and(|tree| proof.stands_in(tree)));
            FieldShown { seal: seal.map(|seal| seal.number), path: proof.path, value: proof.value }
        });
        Ok(Some(Chained { seals: chain.seals, differences, again, shown, field, time }))
    }

    /// Writes what was published again, with the rules in force here, and names the first line that differs.
    fn again(&self, folder: &Path, last: &Seal, differences: &mut Vec<String>) -> String {
        let own = concat!("underlid ", env!("CARGO_PKG_VERSION"));
        if last.program != own {
            return format!(
                "not written again: {} wrote it, this is {own}; its hashes were compared",
                last.program
            );
        }
        let inspection = match self.house.open_to_publish(folder) {
            Ok(inspection) => inspection,
            Err(why) => return format!("not written again: {}", why.line()),
        };
        if inspection.book.digest() != last.rules {
            return "not written again: it was made with other rules than those in force here (name them with --rules); its hashes were compared".to_owned();
        }
        let templates = match super::settings::templates(None) {
            Ok(templates) => templates,
            Err(why) => return format!("not written again: {}", why.line()),
        };
        let written = match write_up(&inspection, templates.as_deref()) {
            Ok(write_up) => write_up,
            Err(why) => return format!("not written again: {why}"),
        };
        let made = written.digests();
        let mut same = true;
        for (name, text) in [("report/report.md", &written.markdown), ("report/report.html", &written.html)] {
            let Ok(lies) = open::text(&folder.join(name)) else { continue };
            let at = lies.lines().zip(text.lines()).position(|(lies, made)| lies != made);
            let at = at.or_else(|| (lies != *text).then(|| lies.lines().count().min(text.lines().count())));
            if let Some(at) = at {
                let line = lies.lines().nth(at).unwrap_or_default();
                let words =
                    format!("{name}, line {}: is not what the record gives: {}", at + 1, shown_part(line));
                differences.push(words);
            }
            same &= at.is_none();
        }
        if made != last.published {
            differences.push("what was sealed is not what the record gives".to_owned());
            same = false;
        }
        let well = "written again from the record: the same to the last letter";
        if same { well.to_owned() } else { "written again from the record: not the same".to_owned() }
    }
}

#[cfg(feature = "signatures")]
fn read_key(given: &str) -> Result<VerifyingKey, Failure> {
    VerifyingKey::read(given).map_err(words)
}

#[cfg(not(feature = "signatures"))]
fn read_key(_: &str) -> Result<VerifyingKey, Failure> {
    Err(super::left_out("verify --key", "signatures"))
}

impl Found {
    fn text(&self) -> Result<(), Failure> {
        let mut out = terminal::out();
        if let Some(BagFound { report: bag, valid }) = &self.bag {
            let sides = [("payload", Some(&bag.payload)), ("tag files", bag.tags.as_ref())];
            for (side, comparison) in sides {
                let Some(comparison) = comparison else { continue };
                differences(&mut out, comparison)?;
                writeln!(out, "{side} of the bag: {}", counts(comparison))?;
            }
            match bag.oxum {
                OxumState::Differs { given, found } => writeln!(
                    out,
                    "size of the payload: {} bytes in {} files given, {} bytes in {} files found",
                    given.bytes, given.files, found.bytes, found.files
                )?,
                OxumState::Malformed => {
                    writeln!(out, "the size of the payload that is given cannot be read")?;
                }
                OxumState::Matches | OxumState::NotGiven => {}
            }
            for name in &bag.not_checked {
                writeln!(out, "not checked: {name}; only SHA-256 is")?;
            }
            if bag.asks_to_fetch {
                writeln!(out, "the bag asks for files from the network; nothing is fetched")?;
            }
            let valid = if *valid { "complete and valid" } else { "NOT valid" };
            writeln!(out, "the bag is {valid} (BagIt {})", bag.version)?;
        }
        match &self.seal {
            Some(seal) => {
                differences(&mut out, seal)?;
                writeln!(out, "{}", counts(seal))?;
            }
            None if self.chain.as_ref().is_some_and(|chain| chain.shown.is_some()) => {}
            None => writeln!(out, "no seal of an inspection lies in it")?,
        }
        if self.seal.is_some() {
            tell_arrivals(&mut out, self.arrivals.as_deref())?;
        }
        for Picture { file, look } in &self.pictures {
            match look {
                PictureState::Damaged(why) => writeln!(out, "{file}: does not count as evidence: {why}")?,
                PictureState::NotSeen(why) => writeln!(out, "{file}: cannot be looked at: {why}")?,
                PictureState::Whole => {}
            }
        }
        if let Some(chain) = &self.chain {
            for difference in &chain.differences {
                writeln!(out, "{difference}")?;
            }
            for seal in &chain.seals {
                let changed = match seal.changed.as_slice() {
                    [] => String::new(),
                    [one] => format!("; against the list before it: {one}"),
                    [first, rest @ ..] => {
                        format!("; against the list before it: {first}, and {} more", rest.len())
                    }
                };
                writeln!(
                    out,
                    "seal {}: {} by the sealer's clock, {}{changed}",
                    seal.number, seal.at, seal.program
                )?;
            }
            if let Some([shown, all]) = chain.shown {
                writeln!(out, "a withheld edition: {shown} of the record's {all} fields are shown")?;
            }
            if let Some(FieldShown { path, value, seal }) = &chain.field {
                let field = terminal::shown_text(&format!("{path} = {value}"));
                match seal {
                    Some(number) => writeln!(out, "{field}: stands in the record of seal {number}")?,
                    None => writeln!(out, "{field}: does NOT stand in the record of any seal here")?,
                }
            }
            writeln!(out, "the published write-up: {}", chain.again)?;
            match &chain.time {
                Some(Token { file, seal: Some(seal), check }) => writeln!(
                    out,
                    "trusted time: {file} holds the hash of seal {seal}; whose it is, of when, and whether it is good: {check}; \
                     openssl ts -reply -in {file} -text"
                )?,
                Some(Token { seal: None, .. }) => {}
                None => writeln!(out, "trusted time: none; a seal's own time is the word of whoever sealed")?,
            }
        }
        match &self.signed {
            Signed::Good { key, by, comment } => {
                let by = by.as_ref().map_or_else(String::new, |by| format!(" of {by}"));
                // Whoever holds the key can sign any words, a time among them.
                let comment =
                    if comment.is_empty() { String::new() } else { format!("; the signer says: {comment}") };
                writeln!(out, "signature: good, by the key {key}{by}{comment}")?;
            }
            Signed::Bad { why } => writeln!(out, "signature: BAD: {why}")?,
            Signed::CannotTell { why } => writeln!(out, "signature: cannot tell who sealed it ({why})")?,
        }
        Ok(())
    }
}

fn read_proof(path: &Path) -> Result<Proof, Failure> {
    let text = open::named_text(path).map_err(words)?;
    serde_json::from_str(&text).map_err(|error| {
        Failure::Words(format!(
            "{}: is no field with its proof ({error}); `underlid seal DIR --show-field inspection.serial` prints one",
            terminal::shown(path)
        ))
    })
}

/// The beginning of a line, fit to be shown.
fn shown_part(line: &str) -> String {
    terminal::shown_text(&line.chars().take(160).collect::<String>())
}

fn differences(out: &mut impl Write, comparison: &SealComparison) -> std::io::Result<()> {
    let renamed: BTreeMap<_, _> = comparison.renamed().into_iter().collect();
    for file in comparison.differences() {
        let hint =
            renamed.get(&file.name).map_or_else(String::new, |new| format!(", most likely renamed to {new}"));
        writeln!(out, "{}: {}{hint}", file.name, in_words(&file.state))?;
    }
    Ok(())
}

fn counts(comparison: &SealComparison) -> String {
    let counts = comparison.counts();
    let unreadable = match counts.unreadable {
        0 => String::new(),
        some => format!(", {some} unreadable"),
    };
    format!(
        "{} unchanged, {} changed, {} missing, {} added{unreadable}",
        counts.unchanged, counts.changed, counts.missing, counts.added
    )
}

fn tell_arrivals(out: &mut impl Write, arrivals: Option<&[Arrival]>) -> std::io::Result<()> {
    let Some(all) = arrivals else {
        return writeln!(out, "the record does not read: photos were not held against what arrived");
    };
    if all.is_empty() {
        return Ok(());
    }
    let changed: Vec<&Arrival> = all.iter().filter(|arrival| !arrival.holds()).collect();
    for arrival in &changed {
        writeln!(out, "{}", arrival.words())?;
    }
    writeln!(
        out,
        "{} of {} photos with a recorded hash are what arrived",
        all.len() - changed.len(),
        all.len()
    )
}
