//! The build: walk, judge in parallel, write pages and tables as they come, keep only rows.
//!
//! Workers judge a bounded number of inspections at a time and write their pages; one writer puts the rows into the
//! tables in the order of the walk. So the order of the tables does not depend on the number of cores, and a build
//! after a change gives the same bytes as one from nothing. The rows of an inspection that has not changed are copied from
//! the files of the last build.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use rayon::prelude::*;

use super::cache::{self, CacheLine, CacheReader, CacheWriter, CachedPack, Places};
use super::export::Lines;
use super::find::{FoundFolder, find};
use super::page::{self, PackPage, Pages, Published};
use super::row::{CommonCause, PackEntry};
use super::seal::{self, Standing};
use super::site::{CACHE, LIST, PACKS as PAGES, Site};
use super::stamp::Stamps;
use super::table_files::{OldTable, TableFiles};
use super::tables::{ELEMENTS, ElementRow, FINDINGS, FindingRow, PACKS, PackRow};
use super::{CollectionError, Options, PUBLISHED, chart, fields, listing};
use crate::evidence::bag;
use crate::evidence::hash::{Sha256Digest, silent};
use crate::judge::inspection::{Inspection, OpenError, RECORD, WORKER_STACK, book};
use crate::judge::rules::Grade;
use crate::record::open;
use crate::record::{self, Record};
use crate::render::OWN_WORDS;
use crate::render::write_up::{FOLDER, View};

/// What the files of a table end with.
#[cfg(feature = "parquet")]
const ENDINGS: [&str; 3] = ["csv", "jsonl", "parquet"];
#[cfg(not(feature = "parquet"))]
const ENDINGS: [&str; 2] = ["csv", "jsonl"];

/// Inspections that are judged side by side before they are handed to the writer.
const BATCH: usize = 64;
/// The same where there is a last build: what it has of an inspection takes a hundredth of the time.
const BATCH_AGAIN: usize = 256;
/// Batches that may wait for the writer: with one at work at either end this bounds what is in memory.
const WAITING: usize = 2;

/// What was built.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Built {
    /// Inspections read.
    pub read: usize,
    /// How many of them were judged now; the others were taken from the cache.
    pub judged: usize,
    /// Folders that could not be read, and why.
    pub problems: Vec<(String, String)>,
    /// Pages and files of earlier builds that were removed.
    pub removed: usize,
    /// True when something critical or major falls short somewhere.
    pub falls_short: bool,
    /// Cells of text in the CSV files that a spreadsheet may take for a formula.
    pub like_formulas: usize,
    /// What there is to say of the cache.
    pub told: Option<String>,
    /// The first page.
    pub index: PathBuf,
}

/// Builds a collection.
///
/// # Errors
/// [`CollectionError`]; an inspection that cannot be read is no error but listed.
pub fn build(options: &Options) -> Result<Built, CollectionError> {
    let root = options.root.canonicalize().map_err(CollectionError::read(&options.root))?;
    // Wrong house rules are one error, not ten thousand: the root has no rules of its own that count here.
    book(None, &options.house)?;
    // A root without inspections must not leave an empty site behind.
    let target = std::path::absolute(&options.to).map_err(CollectionError::write(&options.to))?;
    outside(&target)?;
    let mut found = find(&root, &target.canonicalize().unwrap_or_else(|_| target.clone()));
    if found.is_empty() {
        return Err(CollectionError::Nothing(options.root.clone()));
    }
    if let Some(part) = options.part {
        found.retain(|found| part.holds(&found.key));
    }
    let mut site = Site::open(&target)?;
    site.claim(&names(&found))?;
    let pages = Pages::new(&options.title, options.templates.as_deref())?;
    let head = cache::head(options, &root, site.folder(), &pages)?;
    let (mut old, old_tables, told) = match last_build(options, &site, &head, &found) {
        Ok((old, tables)) => (old, Some(tables), None),
        Err(why) => {
            let told = why.map(|why| format!("the cache is not used: {why}; everything is judged anew"));
            (CacheReader::none(), None, told)
        }
    };
    let work = Work { options, root: &root, site: &site, pages: &pages };
    let again = old_tables.is_some();
    let mut tables = Tables::begin(&site, &head, old_tables)?;
    let pool = rayon::ThreadPoolBuilder::new().stack_size(WORKER_STACK).build();
    let pool = pool.map_err(|error| CollectionError::Inner(error.to_string()))?;
    std::thread::scope(|scope| {
        let (to, from): (SyncSender<Vec<Done>>, Receiver<Vec<Done>>) = sync_channel(WAITING);
        let writer = scope.spawn(|| {
            // The receiver goes when the writer ends, so that the workers stop soon after an error.
            for done in from.into_iter().flatten() {
                tables.push(done)?;
            }
            Ok::<(), CollectionError>(())
        });
        let mut batches = found.chunks(if again { BATCH_AGAIN } else { BATCH });
        let mut read = || batches.next().map(|some| (some, old.of(some)));
        let mut next = read();
        while let Some((some, lines)) = next {
            let one = |(found, line)| work.one(found, line);
            let judge = || some.par_iter().zip(lines).map(one).collect::<Result<Vec<Done>, _>>();
            // What the cache holds of the next ones is read beside.
            let (done, read) = pool.install(|| rayon::join(judge, &mut read));
            next = read;
            if to.send(done?).is_err() {
                break;
            }
        }
        drop(to);
        writer.join().map_err(|_| CollectionError::Inner("the writer of the tables stopped".to_owned()))?
    })?;
    let (rows, causes) = tables.in_order();
    let Tables { files, mut built, .. } = tables;
    let numbers = [files.packs.rows, files.findings.rows, files.elements.rows];
    let (ended, shown) = rayon::join(
        // The workers have nothing else to do now, and the system takes its time to put large files in the places of others.
        || pool.install(|| files.finish()),
        || {
            listing::write(&site, &pages, (&rows, &causes), &built.problems)?;
            let charts = pages.render("charts.html", &chart::page(&rows, &causes))?;
            site.write("charts.html", charts.as_bytes())?;
            describe(&site, &pages, numbers)
        },
    );
    ended.and(shown)?;
    built.told = match (told, old.damaged) {
        (told, 0) => told,
        (None, damaged) => {
            let entries = crate::units::words::count(damaged, "entry", "entries");
            Some(format!("{entries} of the cache could not be used; what they stood for was judged anew"))
        }
        (told, _) => told,
    };
    built.index = site.folder().join("index.html");
    let mut written: BTreeSet<String> = top(built.problems.is_empty());
    written.extend(rows.iter().filter_map(|row| row.page.as_ref()).map(|page| format!("{PAGES}/{page}")));
    written.extend(listing::names(rows.len()));
    built.removed = site.finish(&written)?;
    Ok(built)
}

/// The tables of packs, findings and elements of the last build.
type OldTables = (OldTable, OldTable, OldTable);

/// What is there of the last build.
///
/// # Errors
/// Why it is not used; nothing to say where there is nothing or none is wanted.
fn last_build(
    options: &Options,
    site: &Site,
    head: &str,
    found: &[FoundFolder],
) -> Result<(CacheReader, OldTables), Option<&'static str>> {
    if options.fresh {
        return Err(None);
    }
    let lines = CacheReader::open(&site.folder().join(CACHE), head, found)?;
    let tables = lines.tables().and_then(|[packs, findings, elements]| {
        let packs = OldTable::open(site, &PACKS, packs)?;
        Some((packs, OldTable::open(site, &FINDINGS, findings)?, OldTable::open(site, &ELEMENTS, elements)?))
    });
    tables.map(|tables| (lines, tables)).ok_or(Some("a file of JSON Lines is not as the last build left it"))
}

/// Refuses a site inside an inspection: its files would count as added evidence.
fn outside(target: &Path) -> Result<(), CollectionError> {
    // The target may not exist yet: its nearest folder that does tells where it really is.
    let place = target.ancestors().find_map(|existing| {
        let rest = target.strip_prefix(existing).ok()?;
        Some(existing.canonicalize().ok()?.join(rest))
    });
    let place = place.unwrap_or_else(|| target.to_owned());
    if place.ancestors().any(|folder| folder.join(RECORD).exists()) {
        return Err(CollectionError::InsideInspection(target.to_owned()));
    }
    Ok(())
}

/// Files at the top of a site.
fn top(all_read: bool) -> BTreeSet<String> {
    let mut names: BTreeSet<String> =
        [LIST, CACHE, "index.html", "charts.html", "fields.html", "csv-metadata.json"]
            .map(str::to_owned)
            .into();
    for table in [PACKS.name, FINDINGS.name, ELEMENTS.name] {
        names.extend(ENDINGS.map(|ending| format!("{table}.{ending}")));
    }
    if !all_read {
        names.insert("problems.html".to_owned());
    }
    names
}

/// Every name that this build may write.
fn names(found: &[FoundFolder]) -> BTreeSet<String> {
    let mut names = top(false);
    let pages = found.iter().flat_map(|found| [found.page(), found.nameless_page()]);
    names.extend(pages.map(|page| format!("{PAGES}/{page}")));
    names.extend(listing::names(found.len()));
    names
}

fn describe(
    site: &Site,
    pages: &Pages,
    [packs, findings, elements]: [usize; 3],
) -> Result<(), CollectionError> {
    #[derive(serde::Serialize)]
    struct Page {
        tables: [fields::Described; 3],
    }
    let page = Page {
        tables: [
            fields::describe(&PACKS, packs),
            fields::describe(&FINDINGS, findings),
            fields::describe(&ELEMENTS, elements),
        ],
    };
    site.write("fields.html", pages.render("fields.html", &page)?.as_bytes())?;
    let tables = vec![fields::metadata(&PACKS), fields::metadata(&FINDINGS), fields::metadata(&ELEMENTS)];
    site.write("csv-metadata.json", fields::group(tables).as_bytes())
}

/// An inspection, done: everything the writer needs of it.
struct Done {
    key: String,
    row: PackRow,
    rows: Rows,
    said: Vec<(String, bool)>,
    like_formulas: usize,
    /// What the cache keeps of it.
    kept: Option<String>,
}

/// The rows of an inspection in the tables.
enum Rows {
    Made { pack: Lines, findings: (Lines, Vec<FindingRow>), elements: (Lines, Vec<ElementRow>), judged: bool },
    Kept(Places),
}

impl Done {
    fn made(key: &str, entry: PackEntry, judged: bool) -> Self {
        let PackEntry { row, findings, elements } = entry;
        let (mut pack, mut of_findings, mut of_elements) =
            (Lines::default(), Lines::default(), Lines::default());
        pack.push(&PACKS, key, &row);
        findings.iter().for_each(|row| of_findings.push(&FINDINGS, key, row));
        elements.iter().for_each(|row| of_elements.push(&ELEMENTS, key, row));
        Self {
            key: key.to_owned(),
            row,
            said: said(&findings),
            like_formulas: pack.like_formulas + of_findings.like_formulas + of_elements.like_formulas,
            kept: None,
            rows: Rows::Made {
                pack,
                findings: (of_findings, findings),
                elements: (of_elements, elements),
                judged,
            },
        }
    }

    /// An inspection that has not changed.
    fn again(found: &FoundFolder, pack: CachedPack, places: Places, kept: String) -> Self {
        Self {
            key: found.key.clone(),
            row: PackRow { folder: found.folder(), page: Some(found.page()), ..pack.row },
            rows: Rows::Kept(places),
            said: pack.said,
            like_formulas: pack.like_formulas,
            kept: Some(kept),
        }
    }

    /// A folder that could not be read, or must not be shown.
    fn unread(found: &FoundFolder, folder: String, problem: String) -> Self {
        let row = PackRow { folder, problem: Some(problem), ..PackRow::default() };
        Self::made(&found.key, PackEntry { row, ..PackEntry::default() }, false)
    }
}

/// What is said of a pack, each cause once, and whether one that is critical or major says it.
fn said(findings: &[FindingRow]) -> Vec<(String, bool)> {
    let mut said: BTreeMap<&str, bool> = BTreeMap::new();
    for finding in findings.iter().filter(|finding| finding.grade != Grade::Custom) {
        if let Some(words) = finding.said.as_deref() {
            *said.entry(words).or_default() |= finding.grade.is_grave();
        }
    }
    said.into_iter().map(|(words, grave)| (words.to_owned(), grave)).collect()
}

struct Work<'a> {
    options: &'a Options,
    root: &'a Path,
    site: &'a Site,
    pages: &'a Pages,
}

impl Work<'_> {
    fn one(&self, found: &FoundFolder, line: Option<CacheLine>) -> Result<Done, CollectionError> {
        if let Some(done) = line.and_then(|line| self.again(found, line)) {
            return Ok(done);
        }
        match &found.problem {
            Some(problem) => Ok(Done::unread(found, found.folder(), problem.clone())),
            None if self.is_broken(found) => {
                let problem =
                    "the bag is not what was packed, or cannot be checked; `underlid verify` says where";
                Ok(Done::unread(found, found.folder(), problem.to_owned()))
            }
            None if found.published => self.published(found),
            None => self.judge(found),
        }
    }

    /// What the cache holds of an inspection, where nothing has changed since.
    fn again(&self, found: &FoundFolder, line: CacheLine) -> Option<Done> {
        let mut kept: CachedPack = serde_json::from_str(&line.json).ok()?;
        let folder = found.folder_in(self.root);
        let stamps = kept.stamps.clone();
        let same = found.problem.is_none()
            && self.site.stamp(&format!("{PAGES}/{}", found.page())) == Some(kept.page)
            && self.report(&folder).is_some() == kept.report
            && kept.stamps.still_hold(&folder);
        if !same {
            return None;
        }
        let json = if kept.stamps == stamps { line.json } else { serde_json::to_string(&kept).ok()? };
        Some(Done::again(found, kept, line.places, json))
    }

    fn report(&self, folder: &Path) -> Option<String> {
        page::report_link(self.root, folder, &page::pages_folder(self.site.folder()))
    }

    /// True for a bag whose files are not those that were packed.
    fn is_broken(&self, found: &FoundFolder) -> bool {
        let checked = || bag::check(&self.root.join(&found.relative), &silent);
        found.bag && !checked().is_ok_and(|report| report.is_valid())
    }

    /// The page and the rows of what was published without its record. They are as good as who published them: nothing
    /// is judged, and nothing is kept of them, because reading them again costs next to nothing.
    fn published(&self, found: &FoundFolder) -> Result<Done, CollectionError> {
        let folder = found.folder_in(self.root);
        let unread = |problem: String| Ok(Done::unread(found, found.folder(), problem));
        let text = match open::text(&folder.join(FOLDER).join(PUBLISHED)) {
            Ok(text) => text,
            Err(refused) => return unread(refused.without_path()),
        };
        let not_ours =
            format!("{FOLDER}/{PUBLISHED} is not of the form that this version reads; ask for a new bag");
        let Some(mut read) = Published::read(&text) else { return unread(not_ours) };
        let row = &mut read.entry.row;
        (row.folder, row.page, row.from_write_up) = (found.folder(), Some(found.page()), Some(true));
        match Standing::of(&folder, found.bag, &self.options.keys) {
            Ok(standing) => standing.tell(row),
            Err(problem) => return unread(problem),
        }
        let Ok(html) = self.pages.render("pack.html", &read.page(self.report(&folder))) else {
            return unread(not_ours);
        };
        self.site.write(&format!("{PAGES}/{}", found.page()), html.as_bytes())?;
        Ok(Done::made(&found.key, read.entry, false))
    }

    /// Judges an inspection and writes its page.
    fn judge(&self, found: &FoundFolder) -> Result<Done, CollectionError> {
        let folder = found.folder_in(self.root);
        let (stamps, record) = match self.look(&folder) {
            Ok(looked) => looked,
            Err(problem) => return Ok(Done::unread(found, found.folder(), problem)),
        };
        let inspection = match Inspection::open_for_tables(&folder, record, &self.options.house, &OWN_WORDS) {
            Ok(inspection) => inspection,
            Err(error) => return Ok(Done::unread(found, found.folder(), in_words(&error, ""))),
        };
        let standing = match Standing::of(&folder, found.bag, &self.options.keys) {
            Ok(standing) => standing,
            Err(problem) => return Ok(Done::unread(found, found.folder(), problem)),
        };
        // The name of the folder may be what the record withholds: then neither page nor link may have it.
        let shown = inspection.withheld.apply(&found.folder());
        let hidden = shown != found.folder();
        let page = if hidden { found.nameless_page() } else { found.page() };
        let report = if hidden { None } else { self.report(&folder) };
        let view = View::of(&inspection);
        let mut entry = PackEntry::of(&inspection, &view);
        entry.row.folder.clone_from(&shown);
        standing.tell(&mut entry.row);
        entry.row.page = Some(page.clone());
        let linked = report.is_some();
        let name = format!("{PAGES}/{page}");
        let html = self.pages.render("pack.html", &PackPage::of(&inspection, &view, &entry.row, report))?;
        let mut done = Done::made(&found.key, entry, true);
        let mut outputs = vec![(name.as_str(), &html)];
        if let Rows::Made { pack, findings, elements, .. } = &done.rows {
            let tables = [(PACKS.name, pack), (FINDINGS.name, &findings.0), (ELEMENTS.name, &elements.0)];
            outputs.extend(tables.map(|(name, lines)| (name, &lines.json)));
        }
        for (file, text) in outputs {
            if let Err(leak) = inspection.withheld.guard(file, text) {
                return Ok(Done::unread(found, shown, leak.to_string()));
            }
        }
        self.site.write(&name, html.as_bytes())?;
        if let (false, Some(page)) = (hidden, self.site.stamp(&name)) {
            let (row, said, like_formulas) = (done.row, done.said, done.like_formulas);
            let kept = CachedPack { stamps, report: linked, page, row, said, like_formulas };
            let json = serde_json::to_string(&kept).ok();
            // Names of logs stand in the cache as they are.
            done.kept = json.filter(|json| inspection.withheld.guard(CACHE, json).is_ok());
            (done.row, done.said) = (kept.row, kept.said);
        }
        Ok(done)
    }

    /// The files behind an inspection, and its record as long as it is the one whose hash was taken; or what is wrong with
    /// it.
    fn look(&self, folder: &Path) -> Result<(Stamps, Option<Record>), String> {
        let text = open::text(&folder.join(RECORD)).map_err(|refused| in_words(&refused.into(), ""))?;
        let record = record::read(RECORD, &text).map_err(|problems| in_words(&problems.into(), &text))?;
        let logs = record.test.iter().flat_map(|test| test.all_logs());
        let photos = record.photo.iter().filter_map(|photo| photo.file.text());
        let named: BTreeSet<String> =
            logs.chain(photos).map(str::to_owned).chain(seal::files(folder)).collect();
        let stamps = Stamps::take(folder, named.into_iter().collect()).map_err(|error| error.to_string())?;
        let same = stamps.record == Sha256Digest::of(text.as_bytes()).to_string();
        Ok((stamps, same.then_some(record)))
    }
}

/// What is wrong with an inspection, without the paths of this machine and without the text around the place.
fn in_words(error: &OpenError, text: &str) -> String {
    match error {
        OpenError::File(refused) => refused.without_path(),
        OpenError::Problems(problems) => {
            let list = problems.list();
            let Some(first) = list.first() else { return "wrong".to_owned() };
            let more = match list.len() {
                1 => String::new(),
                n => format!(" (and {} more)", n - 1),
            };
            let before = text.get(..first.span.start.min(text.len())).unwrap_or_default();
            // Without the text of the record the problem lies elsewhere, as a rule in the inspection's own rules.
            let place = if text.is_empty() {
                let file = problems.to_string();
                let name = file.rsplit(['/', '\\']).next().filter(|name| name.ends_with(".toml"));
                name.map(|name| format!("{name}: ")).unwrap_or_default()
            } else {
                format!("line {}: ", before.matches('\n').count() + 1)
            };
            format!("{place}{}{more}", crate::units::terminal::plain(&first.message))
        }
    }
}

/// A cause by its words, which books of different houses may share.
type Causes = BTreeMap<String, CommonCause>;

/// The files of all tables, and the cache that says where in them everything stands.
struct Files {
    packs: TableFiles<PackRow>,
    findings: TableFiles<FindingRow>,
    elements: TableFiles<ElementRow>,
    cache: CacheWriter,
}

impl Files {
    fn begin(site: &Site, head: &str, old: Option<OldTables>) -> Result<Self, CollectionError> {
        let (packs, findings, elements) = match old {
            Some((packs, findings, elements)) => (Some(packs), Some(findings), Some(elements)),
            None => (None, None, None),
        };
        Ok(Self {
            packs: TableFiles::begin(site, &PACKS, packs)?,
            findings: TableFiles::begin(site, &FINDINGS, findings)?,
            elements: TableFiles::begin(site, &ELEMENTS, elements)?,
            cache: CacheWriter::begin(site.begin(CACHE)?, head)?,
        })
    }

    fn push(
        &mut self,
        key: &str,
        row: &PackRow,
        rows: Rows,
        kept: Option<&str>,
    ) -> Result<(), CollectionError> {
        let places = match rows {
            Rows::Made { pack, findings, elements, .. } => [
                self.packs.push(key, &pack, vec![row.clone()])?,
                self.findings.push(key, &findings.0, findings.1)?,
                self.elements.push(key, &elements.0, elements.1)?,
            ],
            Rows::Kept([pack, findings, elements]) => {
                [self.packs.copy(&pack)?, self.findings.copy(&findings)?, self.elements.copy(&elements)?]
            }
        };
        self.packs.end(key);
        self.findings.end(key);
        self.elements.end(key);
        kept.map_or(Ok(()), |json| self.cache.push(key, &places, json))
    }

    /// Ends the files.
    fn finish(self) -> Result<(), CollectionError> {
        let Self { packs, findings, elements, cache } = self;
        let ((packs, elements), findings) =
            rayon::join(|| (packs.finish(), elements.finish()), || findings.finish());
        cache.finish(&[packs?, findings?, elements?])
    }
}

struct Tables {
    files: Files,
    rows: Vec<PackRow>,
    causes: Causes,
    built: Built,
}

impl Tables {
    fn begin(site: &Site, head: &str, old: Option<OldTables>) -> Result<Self, CollectionError> {
        Ok(Self {
            files: Files::begin(site, head, old)?,
            rows: Vec::new(),
            causes: Causes::new(),
            built: Built::default(),
        })
    }

    fn push(&mut self, done: Done) -> Result<(), CollectionError> {
        let (key, row) = (&done.key, done.row);
        let built = &mut self.built;
        built.like_formulas += done.like_formulas;
        built.judged += usize::from(matches!(done.rows, Rows::Made { judged: true, .. }));
        self.files.push(key, &row, done.rows, done.kept.as_deref())?;
        built.falls_short |= row.critical > Some(0) || row.major > Some(0);
        match &row.problem {
            Some(problem) => built.problems.push((row.folder, problem.clone())),
            None => {
                built.read += 1;
                for (words, grave) in done.said {
                    let cause = self.causes.entry(words.clone()).or_default();
                    cause.said = words;
                    cause.packs += 1;
                    cause.grave |= grave;
                }
                self.rows.push(row);
            }
        }
        Ok(())
    }

    /// The rows in the order of the table of packs, and the causes with the number of packs that have each.
    fn in_order(&mut self) -> (Vec<PackRow>, Vec<CommonCause>) {
        let order = |row: &PackRow| {
            let names = [&row.maker, &row.model, &row.revision]
                .map(|text| text.as_deref().unwrap_or("\u{10ffff}").to_lowercase());
            (names, row.date.is_none(), row.date)
        };
        let mut rows = std::mem::take(&mut self.rows);
        rows.sort_by_cached_key(order);
        let mut causes: Vec<CommonCause> = std::mem::take(&mut self.causes).into_values().collect();
        causes.sort_by(|a, b| b.packs.cmp(&a.packs).then_with(|| a.said.cmp(&b.said)));
        (rows, causes)
    }
}
