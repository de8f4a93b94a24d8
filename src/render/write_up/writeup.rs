//! The write-up as Markdown and as one self-contained HTML page, from templates that a user can replace.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use rayon::prelude::*;
use serde::Serialize;
use tera::{Context, Kwargs, State, Tera};
use thiserror::Error;

use super::causes::CauseView;
use super::photos::{Arrivals, CropView, OverviewView, PhotoView, crop, overview, photos};
use super::picture::path_picture;
use super::prose;
use super::protection::{Protection, protection};
use super::view::{ElementView, View};
use crate::evidence::hash::{Sha256Digest, hash_file};
use crate::evidence::manifest::{MANIFEST_NAME, Manifest};
use crate::evidence::seals::SEALS_NAME;
use crate::evidence::verify::{self, FileState};
use crate::judge::bench_test::{Curve, TestResult};
use crate::judge::facts::Subject;
use crate::judge::inspection::{Inspection, OpenError, RECORD};
use crate::judge::rules::{Finding, Grade, Outcome, built_in_digest};
use crate::judge::support;
use crate::judge::withhold::{Leak, WithheldSummary};
use crate::physics::ZERO_CELSIUS;
use crate::record::Part;
use crate::record::open;
use crate::record::problem::{Problem, Problems};
use crate::record::renamed::{Place, RENAMED};
use crate::record::save;
use crate::render::draw::curve::{chart, csv};
use crate::render::draw::{Named, Paper};
use crate::units::words::CAUTION;

/// Folder of the write-up in an inspection folder.
pub const FOLDER: &str = "report";

/// Templates that are compiled in, by the file name under which a user can replace them.
pub(crate) const TEMPLATES: [(&str, &str); 10] = [
    ("report.md", include_str!("../../../templates/report.md")),
    ("report.html", include_str!("../../../templates/report.html")),
    ("finding.html", include_str!("../../../templates/finding.html")),
    LEAD,
    ANSWERS,
    CAUSES,
    CLAIMS,
    ("own.html", ""),
    ("own.css", ""),
    ("style.css", include_str!("../../../templates/style.css")),
];

/// What the write-up and the page of a pack in a collection both include.
pub(crate) const LEAD: (&str, &str) = ("lead.html", include_str!("../../../templates/lead.html"));
pub(crate) const ANSWERS: (&str, &str) = ("answers.html", include_str!("../../../templates/answers.html"));
pub(crate) const CAUSES: (&str, &str) = ("causes.html", include_str!("../../../templates/causes.html"));
pub(crate) const CLAIMS: (&str, &str) = ("claims.html", include_str!("../../../templates/claims.html"));

/// The style sheet of what is printed to write on.
pub(crate) const FORM_STYLE: (&str, &str) = ("form.css", include_str!("../../../templates/form.css"));

/// Why a write-up cannot be made.
#[derive(Debug, Error)]
pub enum WriteUpError {
    /// A template is wrong.
    #[error("template: {0}")]
    Template(String),
    /// A file cannot be read.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// Something that the record withholds stands in the result.
    #[error(transparent)]
    Leak(#[from] Leak),
    /// The result cannot be written.
    #[error("{path}: {source}", path = path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
}

/// What the seal says of the evidence now.
#[derive(Debug, Clone, Default, Serialize)]
pub struct EvidenceView {
    /// True when there is a manifest.
    pub sealed: bool,
    /// True when every sealed file is unchanged and nothing was added.
    pub matches: bool,
    /// SHA-256 of the manifest.
    pub manifest_sha256: Option<String>,
    /// Files that differ: name and how.
    pub differences: Vec<(String, String)>,
    /// Files sealed.
    pub files: usize,
    /// Why it could not be checked.
    pub problem: Option<String>,
    /// How to check all of it with public tools alone.
    pub steps: Vec<CheckStep>,
}

/// A command that checks the evidence without this program, to be typed as it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CheckStep {
    /// What it shows, and where to type it.
    pub what: String,
    /// The command, for bash.
    pub command: String,
}

#[derive(Serialize)]
struct Page<'a> {
    view: &'a View,
    verdict: String,
    groups: Vec<Group<'a>>,
    photos: &'a [PhotoView],
    /// How many of them have a hash from their arrival, and how many of these are still the same.
    arrivals: Arrivals,
    parts: Vec<PartView>,
    instruments: Vec<InstrumentView>,
    /// Number, dates and names for the head of the first sheet.
    head: Vec<(&'static str, String)>,
    /// What stands at the foot of each sheet, as the inside of a CSS string.
    foot: String,
    /// The photo with most pointers, else the first one.
    overview: Option<OverviewView>,
    /// Hash of the built-in rule book.
    book_sha256: String,
    /// Every source that is cited, once, and its number.
    sources: Vec<&'a str>,
    source_numbers: BTreeMap<&'a str, usize>,
    tests: Vec<TestView>,
    evidence: &'a EvidenceView,
    withheld: Option<&'a WithheldSummary>,
    picture: Option<String>,
    protection: Option<ProtectionView>,
    notes_html: Option<String>,
    notes_md: Option<String>,
    caution: &'static str,
    supports_caution: &'static str,
    style: String,
    /// The numbers of the photos, by their file names.
    photo_numbers: BTreeMap<&'a str, usize>,
    /// What people call an element, by the label that findings name it with.
    called: BTreeMap<&'a str, &'a str>,
    /// The photo beside a cause, by the cause's id.
    crops: BTreeMap<&'a str, CropView>,
}

#[derive(Serialize)]
struct ProtectionView {
    svg: String,
    words: Vec<String>,
}

impl ProtectionView {
    fn of(protection: Protection) -> Self {
        let title = "Does the protection work? Current against time";
        let words = protection.words.join(" ");
        let named = Named { id: "protection-picture", title, words: &words };
        Self { svg: protection.chart.draw(Paper::PAGE).svg(named), words: protection.words }
    }
}

#[derive(Serialize)]
struct Group<'a> {
    outcome: &'static str,
    shape: &'static str,
    class: &'static str,
    number: usize,
    findings: Vec<&'a Finding>,
    /// Whether the same is missing as for the one before.
    again: Vec<bool>,
}

#[derive(Serialize)]
struct TestView {
    name: String,
    /// What the rules say of it, gravest first.
    answers: Vec<TestAnswer>,
    set: Vec<(String, String)>,
    figures: Vec<(String, String)>,
    layout: Option<String>,
    account: Option<String>,
    problem: Option<String>,
    charts: Vec<ChartView>,
}

/// What a rule says of a test.
#[derive(Serialize)]
pub(crate) struct TestAnswer {
    outcome: Outcome,
    shape: &'static str,
    statement: String,
    numbers: String,
}

#[cfg(feature = "video")]
impl TestAnswer {
    /// In a line: "▼ falls short: the statement: what was found".
    pub(crate) fn told(&self) -> String {
        let Self { outcome, shape, statement, numbers } = self;
        let between = if numbers.is_empty() { "" } else { ": " };
        format!("{shape} {}: {statement}{between}{numbers}", outcome.words())
    }
}

#[derive(Serialize)]
struct InstrumentView {
    found: Vec<(String, String)>,
    calibrated: bool,
}

#[derive(Serialize)]
struct ChartView {
    /// True for the one that shows what the test was made for.
    answers: bool,
    svg: String,
    file: String,
}

#[derive(Serialize)]
struct PartView {
    name: String,
    found: Vec<(String, String)>,
    note_html: Option<String>,
    note_md: Option<String>,
    photos: Vec<String>,
}

/// A finished write-up, not yet on disk.
#[derive(Debug)]
pub struct WriteUp {
    /// The view that it shows.
    pub view: View,
    /// The Markdown.
    pub markdown: String,
    /// The page.
    pub html: String,
    /// The data of the curves, by file name.
    pub data: Vec<(String, String)>,
}

impl WriteUp {
    /// SHA-256 of each file as it is written, by its name in the inspection folder.
    #[must_use]
    pub fn digests(&self) -> BTreeMap<String, Sha256Digest> {
        let pages = [("report.md", &self.markdown), ("report.html", &self.html)];
        let data = self.data.iter().map(|(name, text)| (name.as_str(), text));
        let files = pages.into_iter().chain(data);
        files.map(|(name, text)| (format!("{FOLDER}/{name}"), Sha256Digest::of(text.as_bytes()))).collect()
    }
}

/// Makes the write-up of an inspection; `templates` is a folder whose files replace the built-in templates, `beside` makes
/// one more file of the view.
///
/// # Errors
/// [`WriteUpError`] names the template and what is wrong with it.
pub(crate) fn write_up(
    inspection: &Inspection,
    templates: Option<&Path>,
    beside: impl FnOnce(&Inspection, &View) -> Result<(String, String), WriteUpError>,
) -> Result<WriteUp, WriteUpError> {
    let view = View::in_full(inspection);
    let evidence = evidence(inspection);
    let sealed = sealed_hashes(&inspection.folder);
    let photos = photos(inspection, sealed.as_ref());
    let mut texts = template_texts(&TEMPLATES, templates)?;
    let style = style(&mut texts);
    let tera = engine(texts, templates).map_err(template)?;
    let record = &inspection.record;
    let sources = sources(&view);
    let photo_numbers: BTreeMap<&str, usize> =
        photos.iter().map(|photo| (photo.name.as_str(), photo.number)).collect();
    let number = number(inspection);
    let page = Page {
        source_numbers: (1..).zip(&sources).map(|(number, source)| (*source, number)).collect(),
        sources,
        verdict: view.verdict(),
        groups: groups(&view),
        parts: parts(inspection),
        instruments: record
            .instrument
            .iter()
            .map(|instrument| InstrumentView {
                found: super::view::recorded(instrument, &[]),
                calibrated: instrument.calibrated.found().value().is_some(),
            })
            .collect(),
        foot: css_text(&format!("{}. Write-up {number}. Nothing here says that a pack is safe.", view.title)),
        head: head(&view, &number),
        overview: overview(inspection, &photos),
        book_sha256: built_in_digest().to_string(),
        tests: tests(inspection, &view),
        picture: path_picture(&view, &photo_numbers),
        protection: protection(record, &inspection.derived).map(ProtectionView::of),
        notes_html: view.notes.as_deref().map(prose::to_html),
        notes_md: view.notes.as_deref().map(prose::to_markdown),
        caution: CAUTION,
        supports_caution: support::CAUTION,
        style,
        photo_numbers,
        called: view.path.elements.iter().map(|e| (e.label.as_str(), e.called.as_str())).collect(),
        crops: crops(inspection, &view, &photos),
        view: &view,
        photos: &photos,
        arrivals: Arrivals::of(&photos),
        evidence: &evidence,
        withheld: Some(inspection.withheld.summary()).filter(|_| !inspection.withheld.is_empty()),
    };
    let context = Context::from_serialize(&page).map_err(template)?;
    let markdown = tera.render("report.md", &context).map_err(template)?;
    let html = tera.render("report.html", &context).map_err(template)?;
    let data = inspection.bench_tests.iter().enumerate().flat_map(|(test, result)| {
        result.curves.iter().enumerate().map(move |(number, curve)| (csv_name(test, number), csv(curve)))
    });
    let data = data.chain([beside(inspection, &view)?]).collect();
    let write_up = WriteUp { view, markdown: squeeze(&markdown), html, data };
    let files = [("report.md", &write_up.markdown), ("report.html", &write_up.html)];
    let data = write_up.data.iter().map(|(name, text)| (name.as_str(), text));
    for (name, text) in files.into_iter().chain(data) {
        inspection.withheld.guard(&format!("{FOLDER}/{name}"), text)?;
    }
    Ok(write_up)
}

/// Every source that the annex cites, in the order in which it does.
fn sources(view: &View) -> Vec<&str> {
    let worths = view.path.elements.iter().map(|e| &e.permissible_current);
    let of_worths = worths.chain([&view.path.short_circuit_current]).flat_map(|worth| &worth.sources);
    let of_findings = view.findings.iter().flat_map(|finding| {
        finding.working.used.iter().flat_map(|used| &used.sources).chain(&finding.sources)
    });
    let mut sources: Vec<&str> = Vec::new();
    for source in of_worths.chain(of_findings) {
        if !sources.contains(&source.as_str()) {
            sources.push(source);
        }
    }
    sources
}

/// The photo beside each cause.
fn crops<'a>(inspection: &Inspection, view: &'a View, photos: &[PhotoView]) -> BTreeMap<&'a str, CropView> {
    let of = |cause: &'a CauseView| {
        let named = |element: &&ElementView| cause.places.contains(&element.label);
        let mut parts: Vec<&str> = view.path.elements.iter().filter(named).map(|e| e.id.as_str()).collect();
        parts.push(&cause.head.part);
        Some((cause.id.as_str(), crop(inspection, photos, &cause.photos, &parts)?))
    };
    view.causes.par_iter().filter_map(of).collect()
}

/// Writes a write-up into the inspection folder; each file is replaced as a whole.
///
/// # Errors
/// [`WriteUpError::Write`] names the file.
pub fn save_write_up(folder: &Path, write_up: &WriteUp) -> Result<[PathBuf; 2], WriteUpError> {
    let target = folder.join(FOLDER);
    let at = |path: &Path, source| WriteUpError::Write { path: path.to_owned(), source };
    save::real_folder(&target, "the write-up").map_err(|e| at(&target, e))?;
    let paths = [target.join("report.md"), target.join("report.html")];
    for (path, text) in paths.iter().zip([&write_up.markdown, &write_up.html]) {
        save::replace(path, text).map_err(|e| at(path, e))?;
    }
    for (name, text) in &write_up.data {
        let path = target.join(name);
        save::replace(&path, text).map_err(|e| at(&path, e))?;
    }
    // A curve of a test that is gone, or that is withheld now, is not left lying about.
    let stale = |name: &str| is_curve(name) && !write_up.data.iter().any(|(made, _)| made == name);
    save::sweep(&target, stale).map_err(|e| at(&target, e))?;
    Ok(paths)
}

/// True for the names that [`csv_name`] gives.
pub(crate) fn is_curve(name: &str) -> bool {
    let numbers = name.strip_prefix("test-").and_then(|rest| rest.strip_suffix(".csv"));
    let numbers = numbers.and_then(|rest| rest.split_once("-curve-"));
    let is_number = |text: &str| !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    numbers.is_some_and(|(test, curve)| is_number(test) && is_number(curve))
}

/// The style sheet at the end of the templates, with what the user adds to it.
pub(crate) fn style(texts: &mut Vec<(&'static str, String)>) -> String {
    let [style, own] = [(); 2].map(|()| texts.pop().map(|(_, text)| text).unwrap_or_default());
    style + &own
}

/// What a template library says, with all its reasons.
pub(crate) fn template(error: tera::Error) -> WriteUpError {
    WriteUpError::Template(template_words(&error))
}

/// What is wrong with a template, with all causes.
pub(crate) fn template_words(error: &tera::Error) -> String {
    let mut words = error.to_string();
    let mut source = std::error::Error::source(error);
    while let Some(inner) = source {
        words = format!("{words}: {inner}");
        source = inner.source();
    }
    words
}

/// The texts of templates, in their order: the user's own where `folder` has a file of the name, else the built-in.
pub(crate) fn template_texts(
    built_in: &[(&'static str, &str)],
    folder: Option<&Path>,
) -> Result<Vec<(&'static str, String)>, OpenError> {
    let text = |(name, text): &(&'static str, &str)| {
        // Whatever has the name is read, so that a pipe or a link is told and not passed over.
        let own = folder.map(|folder| folder.join(name)).filter(|path| path.symlink_metadata().is_ok());
        let Some(path) = own else {
            return Ok((*name, (*text).to_owned()));
        };
        let own = open::text(&path)?;
        // A template engine shows nothing where a condition asks for a name that is gone.
        let old: Vec<Problem> = renamed_names(&own).collect();
        if old.is_empty() {
            Ok((*name, own))
        } else {
            Err(Problems::new(&path.display().to_string(), &own, old).into())
        }
    };
    built_in.iter().map(text).collect()
}

/// Every place of a template where the last part of a name stands that is called otherwise now.
fn renamed_names(text: &str) -> impl Iterator<Item = Problem> {
    let last = |name: &'static str| name.rsplit('.').next().unwrap_or(name);
    let pairs: BTreeMap<&str, &str> = RENAMED
        .iter()
        .filter(|renamed| renamed.place == Place::Name)
        .map(|renamed| (last(renamed.old), last(renamed.new)))
        .collect();
    pairs.into_iter().flat_map(move |(old, new)| {
        text.match_indices(old).filter_map(move |(at, _)| {
            let name = |c: char| c.is_alphanumeric() || c == '_';
            let whole = text[..at].ends_with('.') && !text[at + old.len()..].starts_with(name);
            let message = format!("there is no `{old}` here");
            let expected = format!("it is called `{new}` now");
            whole.then(|| Problem::at(at..at + old.len(), message, &expected, ""))
        })
    })
}

/// How every page begins, with its content policy: nothing runs, nothing is fetched.
const START: &str = include_str!("../../../templates/start.html");

/// The template engine with these templates and the filters that every write-up has.
/// `own` says whether some of them may be the user's: those are held to a bound.
pub(crate) fn engine(texts: Vec<(&'static str, String)>, own: Option<&Path>) -> Result<Engine, tera::Error> {
    let mut tera = Tera::new();
    tera.register_filter("md", |text: &str, _: Kwargs, _: &State| prose::escape(text));
    tera.register_filter("whole", |text: &str, _: Kwargs, _: &State| prose::whole_quantities(text));
    tera.add_raw_templates([("start.html".to_owned(), START.to_owned())])?;
    tera.add_raw_templates(texts)?;
    Ok(Engine { tera: Arc::new(tera), bounds: own.map(|_| (LONGEST, MOST)) })
}

/// Longest that a template of the user may take, and most bytes that it may write: loops inside loops have no end.
const LONGEST: Duration = Duration::from_secs(60);
const MOST: usize = 256 << 20;

/// Templates, ready to be filled in.
pub(crate) struct Engine {
    tera: Arc<Tera>,
    bounds: Option<(Duration, usize)>,
}

impl Engine {
    /// Fills a template in.
    ///
    /// # Errors
    /// What is wrong with the template, or that it does not end.
    pub(crate) fn render(&self, name: &str, context: &Context) -> Result<String, tera::Error> {
        let Some((longest, most)) = self.bounds else { return self.tera.render(name, context) };
        let (tera, name, context) = (Arc::clone(&self.tera), name.to_owned(), context.clone());
        let (to, from) = std::sync::mpsc::channel();
        // A template cannot be stopped from outside; what is left of it ends with the program.
        std::thread::spawn(move || {
            let mut to_page = Bounded { page: Vec::new(), most, full: false };
            let mut done = tera.render_to(&name, &context, &mut to_page);
            if to_page.full {
                let most = most >> 20;
                done = Err(tera::Error::message(format!(
                    "it writes more than {most} MiB; look for loops inside loops"
                )));
            }
            let _ = to.send(done.map(|()| String::from_utf8_lossy(&to_page.page).into_owned()));
        });
        from.recv_timeout(longest).unwrap_or_else(|_| {
            let seconds = longest.as_secs();
            Err(tera::Error::message(format!(
                "it did not end within {seconds} s; look for loops inside loops"
            )))
        })
    }
}

/// What a template writes, up to so many bytes.
struct Bounded {
    page: Vec<u8>,
    most: usize,
    full: bool,
}

impl std::io::Write for Bounded {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        if self.page.len() + bytes.len() > self.most {
            self.full = true;
            return Err(std::io::ErrorKind::FileTooLarge.into());
        }
        self.page.extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

/// Templates leave runs of empty lines; Markdown needs one.
pub(crate) fn squeeze(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut empty = 0;
    for line in text.lines() {
        let line = line.trim_end();
        empty = if line.is_empty() { empty + 1 } else { 0 };
        if empty < 2 && !(out.is_empty() && line.is_empty()) {
            out.push_str(line);
            out.push('\n');
        }
    }
    out
}

/// The findings rule by rule.
fn groups(view: &View) -> Vec<Group<'_>> {
    fn group<'a>(
        outcome: &'static str,
        shape: &'static str,
        class: &'static str,
        findings: Vec<&'a Finding>,
    ) -> Group<'a> {
        let same = |two: &[&Finding]| !two[0].missing.is_empty() && two[0].missing == two[1].missing;
        let again = std::iter::once(false).chain(findings.windows(2).map(same)).collect();
        Group { outcome, shape, class, number: findings.len(), again, findings }
    }
    let short = |(grade, words)| {
        let findings = view.with_outcome(Outcome::FallsShort).filter(|f| f.grade == grade);
        group(words, Outcome::FallsShort.shape(), grade.word(), findings.collect())
    };
    let of_grades = [
        (Grade::Critical, "falls short, critical"),
        (Grade::Major, "falls short, major"),
        (Grade::Minor, "falls short, minor"),
    ];
    // What is not decided stands by what is missing, which is said once.
    let groups = (0..).zip(&view.waiting);
    let place: BTreeMap<(&str, &str), usize> = groups
        .flat_map(|(place, waiting)| {
            waiting.checks.iter().map(move |check| ((check.rule.as_str(), check.subject.as_str()), place))
        })
        .collect();
    let place = |finding: &&Finding| place.get(&(finding.rule.as_str(), finding.subject.as_str())).copied();
    let others = [(Outcome::NotDecided, "open"), (Outcome::Meets, "meets")].map(|(outcome, class)| {
        let mut findings: Vec<&Finding> = view.with_outcome(outcome).collect();
        findings.sort_by_cached_key(place);
        group(outcome.words(), outcome.shape(), class, findings)
    });
    let customs = group("customs of the trade (opinion)", "○", "custom", view.customs().collect());
    let all = of_grades.map(short).into_iter().chain(others).chain([customs]);
    all.filter(|group| group.number > 0).collect()
}

fn parts(inspection: &Inspection) -> Vec<PartView> {
    let record = &inspection.record;
    let mut parts = vec![
        part("Cells", &record.cells),
        part("BMS", &record.bms),
        part("Heater", &record.heater),
        part("Enclosure", &record.enclosure),
        part("Service", &record.service),
        part("Marking", &record.marking),
    ];
    for (index, layer) in record.bms.layer.iter().enumerate() {
        parts.push(part(&format!("Heat path, layer {}", index + 1), layer));
    }
    parts.push(part("Path of the charge current", &record.charge_path));
    for element in &record.charge_path.element {
        let id = element.id.text().unwrap_or_default();
        let kind = element.kind.word().unwrap_or("part");
        parts.push(part(&format!("Path of the charge current: {kind} {id}"), element));
    }
    for item in &record.item {
        parts.push(part("Checklist answer", item));
    }
    parts.retain(|part| !part.found.is_empty() || part.note_html.is_some());
    parts
}

/// A curve of temperatures with the limits of the places that it shows.
fn with_limits<'a>(curve: &'a Curve, view: &View) -> Cow<'a, Curve> {
    let mut limits: Vec<(f64, String)> = Vec::new();
    let mut named = curve.clone();
    for element in view.path.elements.iter().filter(|_| curve.y.ends_with("°C")) {
        let of_it = |name: &str| {
            name.strip_prefix(&element.id).is_some_and(|rest| rest.is_empty() || rest.starts_with(" ("))
        };
        let shown = !element.id.is_empty() && curve.series.iter().any(|series| of_it(&series.name));
        let limit = element.place.temperature_limit.si.filter(|_| shown).map(|limit| limit - ZERO_CELSIUS);
        match limits.iter_mut().find(|(known, _)| Some(*known) == limit) {
            Some((_, name)) => "limits".clone_into(name),
            None => {
                let name = format!("limit of {}", crate::units::words::of_fact(&element.kind));
                limits.extend(limit.map(|limit| (limit, name)));
            }
        }
        for series in named.series.iter_mut().filter(|series| shown && of_it(&series.name)) {
            series.name.clone_from(&element.called);
        }
    }
    if limits.is_empty() {
        return Cow::Borrowed(curve);
    }
    named.levels.extend(limits);
    Cow::Owned(named)
}

/// The curves of a test with the limits of what they show, and which one shows what the test was made for.
pub(crate) fn curves<'a>(result: &'a TestResult, view: &View) -> (Vec<Cow<'a, Curve>>, usize) {
    let curves: Vec<Cow<'_, Curve>> = result.curves.iter().map(|curve| with_limits(curve, view)).collect();
    let limited = |curve: &Cow<'_, Curve>| curve.y.ends_with("°C") && !curve.levels.is_empty();
    let shown = curves.iter().position(limited).unwrap_or(0);
    (curves, shown)
}

fn tests(inspection: &Inspection, view: &View) -> Vec<TestView> {
    let record = &inspection.record;
    let mut views = Vec::new();
    for (index, (test, result)) in record.test.iter().zip(&inspection.bench_tests).enumerate() {
        let (curves, shown) = curves(result, view);
        let charts = curves.iter().enumerate().map(|(number, curve)| ChartView {
            answers: number == shown,
            svg: chart(curve, &format!("test-{index}-{number}")),
            file: csv_name(index, number),
        });
        views.push(TestView {
            name: result.called(),
            answers: test_answers(view, index),
            set: super::view::recorded(test, &["id", "kind"]),
            figures: result.figures.iter().map(|figure| (figure.name.clone(), figure.shown())).collect(),
            layout: result.layout.clone(),
            account: result.account.clone(),
            problem: result.problem.clone(),
            charts: charts.collect(),
        });
    }
    views
}

/// What the rules say of a test, gravest first.
pub(crate) fn test_answers(view: &View, index: usize) -> Vec<TestAnswer> {
    let about = view.findings.iter().filter(|f| f.at == Subject::Test(index) && f.grade != Grade::Custom);
    let answer = |finding: &Finding| TestAnswer {
        outcome: finding.outcome,
        shape: finding.outcome.shape(),
        statement: finding.statement.clone(),
        numbers: finding.working.left.as_ref().map_or_else(String::new, |_| finding.working.numbers.clone()),
    };
    about.map(answer).collect()
}

/// Names of the curves' data are numbers, never texts of the record.
pub(crate) fn csv_name(test: usize, curve: usize) -> String {
    format!("test-{}-curve-{}.csv", test + 1, curve + 1)
}

/// Number of a write-up: the day of the inspection and the beginning of the record's SHA-256, so that every version of a
/// record has another one and the same record always the same.
fn number(inspection: &Inspection) -> String {
    let record = record_hash(inspection);
    let day = inspection.record.inspection.date.date().map(|day| day.to_string().replace('-', ""));
    format!("{}-{}", day.unwrap_or_else(|| "undated".to_owned()), record.get(..8).unwrap_or("unread"))
}

/// SHA-256 of the record as it lies in the folder; empty where it cannot be read.
pub(crate) fn record_hash(inspection: &Inspection) -> String {
    hash_file(&inspection.folder.join(RECORD)).map_or_else(|_| String::new(), |digest| digest.to_string())
}

/// Number, dates and names, as far as they are recorded.
fn head(view: &View, number: &str) -> Vec<(&'static str, String)> {
    let words = [("date", "inspected"), ("inspector", "by"), ("authorised by", "authorised by")];
    let recorded = |(key, word): (&str, &'static str)| {
        let (_, value) = view.inspection.iter().find(|(name, _)| name == key)?;
        Some((word, value.clone()))
    };
    let issued = view.issues.last().map(|issue| {
        ("issued", format!("{}, version {}", issue.date.as_deref().unwrap_or("undated"), view.issues.len()))
    });
    [("number", number.to_owned())]
        .into_iter()
        .chain(words.into_iter().filter_map(recorded))
        .chain(issued)
        .collect()
}

/// A text as the inside of a CSS string: whatever could end it or be read as markup is a code point.
fn css_text(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars() {
        if c.is_alphanumeric() || [' ', '.', ',', '-'].contains(&c) {
            out.push(c);
        } else {
            out.push_str(&format!("\\{:x} ", u32::from(c)));
        }
    }
    out
}

fn part<P: Part>(name: &str, part: &P) -> PartView {
    PartView {
        name: name.to_owned(),
        found: super::view::recorded(part, &[]),
        note_html: part.own().note.as_deref().map(prose::to_html),
        note_md: part.own().note.as_deref().map(prose::to_markdown),
        photos: part.own().photos.clone(),
    }
}

fn sealed_hashes(folder: &Path) -> Option<BTreeMap<String, String>> {
    let manifest = Manifest::read(&folder.join(MANIFEST_NAME)).ok()?;
    Some(manifest.iter().map(|(name, digest)| (name.to_text(), digest.to_string())).collect())
}

/// How a file stands against the seal, in words.
#[must_use]
pub fn in_words(state: &FileState) -> &str {
    match state {
        FileState::Unchanged { .. } => "unchanged",
        FileState::Changed { .. } => "changed since it was sealed",
        FileState::Missing { .. } => "missing",
        FileState::Added { .. } => "added since it was sealed",
        FileState::Unreadable { why } => why,
    }
}

/// Compares the evidence with its seal.
pub(crate) fn evidence(inspection: &Inspection) -> EvidenceView {
    let folder = &inspection.folder;
    let manifest = folder.join(MANIFEST_NAME);
    let mut view = EvidenceView { sealed: manifest.exists(), ..EvidenceView::default() };
    if !view.sealed {
        return view;
    }
    view.manifest_sha256 = hash_file(&manifest).ok().map(|digest| digest.to_string());
    match verify::verify(folder, &crate::evidence::hash::silent) {
        Ok(comparison) => {
            view.matches = comparison.matches();
            view.files =
                comparison.files.iter().filter(|file| !matches!(file.state, FileState::Added { .. })).count();
            view.differences = comparison
                .differences()
                .map(|file| {
                    (inspection.withheld.published(&file.name.to_text()), in_words(&file.state).to_owned())
                })
                .collect();
        }
        Err(error) => view.problem = Some(inspection.withheld.apply(&error.to_string())),
    }
    view.steps = steps(&view);
    view
}

/// The commands with which anybody checks the evidence years later.
fn steps(evidence: &EvidenceView) -> Vec<CheckStep> {
    let step = |what: &str, command: String| CheckStep { what: what.to_owned(), command };
    let mut steps = vec![step(
        "In the inspection folder: every sealed file is as it was sealed.",
        format!("sha256sum -c {MANIFEST_NAME}"),
    )];
    if let Some(digest) = &evidence.manifest_sha256 {
        steps.push(step(
            "There too: the list of hashes is the one that this write-up was made with.",
            format!("echo '{digest}  {MANIFEST_NAME}' | sha256sum -c"),
        ));
    }
    // The same words whether it is signed or not: the signature is made over this write-up too.
    steps.push(step(
        "There too, where seals.toml.minisig lies: seals, evidence and this write-up are as they were signed. Get the signer’s public key from the signer and save it as signer.pub.",
        format!("minisign -Vm {SEALS_NAME} -p signer.pub"),
    ));
    steps.push(step(
        "Where the inspection came packed as a bag (RFC 8493), in the bag’s folder: it is complete and valid (Python package bagit).",
        "python3 -m bagit --validate .".to_owned(),
    ));
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_template_of_the_user_ends_in_time_and_size() {
        let refused = |text: &str, bounds| {
            let texts = vec![("own.html", text.to_owned())];
            let engine = Engine { bounds: Some(bounds), ..engine(texts, Some(Path::new("style"))).unwrap() };
            engine.render("own.html", &Context::new()).unwrap_err().to_string()
        };
        let loops = |inside: &str| {
            let [begin, end] = ["{% for i in range(end=1500) %}", "{% endfor %}"].map(|half| half.repeat(2));
            begin + inside + &end
        };
        let (short, enough) = (Duration::from_millis(20), Duration::from_secs(60));
        assert!(refused(&loops("{{ i }}"), (short, usize::MAX)).contains("loops inside loops"));
        let told = refused(&loops("a kilobyte"), (enough, 3 << 20));
        assert!(told.contains("more than 3 MiB"), "{told}");
    }
}
