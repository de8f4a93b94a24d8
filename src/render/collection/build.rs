//! The build: walk, judge in parallel, write pages and tables as they come, keep only rows.
//!
//! Workers judge a bounded number of inspections at a time and write their pages; one writer puts the rows into the
//! tables in the order of the walk. So the order of the tables does not depend on the number of cores, and a build
//! after a change gives the same bytes as one from nothing.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

use rayon::prelude::*;

use super::cache::{self, CachedPack};
use super::column::Table;
use super::export::{Lines, csv_header};
use super::find::{FoundFolder, find};
use super::page::{self, PackPage, Pages, Published};
#[cfg(feature = "parquet")]
use super::parquet::Parquet;
use super::row::{CommonCause, PackEntry};
use super::seal::{self, Standing};
use super::site::{CACHE, LIST, PACKS as PAGES, Site, SitePart};
use super::stamp::Stamps;
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
    let (mut old, told) = if options.fresh {
        cache::CacheReader::open(Path::new(""), &head, &found)
    } else {
        cache::CacheReader::open(&site.folder().join(CACHE), &head, &found)
    };
    let work = Work { options, root: &root, site: &site, pages: &pages };
    let mut tables = Tables::begin(&site, &head)?;
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
        for some in found.chunks(BATCH) {
            let lines = old.of(some);
            let one = |(found, line)| work.one(found, line);
            let done: Result<Vec<Done>, _> = pool.install(|| some.par_iter().zip(lines).map(one).collect());
            if to.send(done?).is_err() {
                break;
            }
        }
        drop(to);
        writer.join().map_err(|_| CollectionError::Inner("the writer of the tables stopped".to_owned()))?
    })?;
    let mut built = tables.built.clone();
    let (rows, causes, numbers) = tables.finish()?;
    listing::write(&site, &pages, (&rows, &causes), &built.problems)?;
    site.write("charts.html", pages.render("charts.html", &chart::page(&rows, &causes))?.as_bytes())?;
    describe(&site, &pages, numbers)?;
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
    entry: PackEntry,
    packs: Lines,
    findings: Lines,
    elements: Lines,
    cached: Option<String>,
    judged: bool,
}

impl Done {
    fn new(key: &str, entry: PackEntry, cached: Option<String>, judged: bool) -> Self {
        let (mut packs, mut findings, mut elements) = (Lines::default(), Lines::default(), Lines::default());
        packs.push(&PACKS, key, &entry.row);
        entry.findings.iter().for_each(|row| findings.push(&FINDINGS, key, row));
        entry.elements.iter().for_each(|row| elements.push(&ELEMENTS, key, row));
        Self { key: key.to_owned(), entry, packs, findings, elements, cached, judged }
    }
}

impl Done {
    /// A folder that could not be read, or must not be shown.
    fn unread(found: &FoundFolder, folder: String, problem: String) -> Self {
        let row = PackRow { folder, problem: Some(problem), ..PackRow::default() };
        Self::new(&found.key, PackEntry { row, ..PackEntry::default() }, None, false)
    }
}

struct Work<'a> {
    options: &'a Options,
    root: &'a Path,
    site: &'a Site,
    pages: &'a Pages,
}

impl Work<'_> {
    fn one(&self, found: &FoundFolder, line: Option<String>) -> Result<Done, CollectionError> {
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
    fn again(&self, found: &FoundFolder, line: String) -> Option<Done> {
        let mut kept: CachedPack = serde_json::from_str(cache::json(&line)).ok()?;
        let folder = found.folder_in(self.root);
        let stamps = kept.stamps.clone();
        let same = found.problem.is_none()
            && self.site.stamp(&format!("{PAGES}/{}", found.page())) == Some(kept.page)
            && self.report(&folder).is_some() == kept.report
            && kept.stamps.still_hold(&folder);
        if !same {
            return None;
        }
        let line = if kept.stamps == stamps {
            // Its check was found right when it was read, and holds.
            Some(format!("{line}\n"))
        } else {
            cache::line(found, &kept)
        };
        kept.entry.row.folder = found.folder();
        kept.entry.row.page = Some(found.page());
        Some(Done::new(&found.key, kept.entry, line, false))
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
        Ok(Done::new(&found.key, read.entry, None, false))
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
        let mut done = Done::new(&found.key, entry, None, true);
        let outputs = [
            (name.as_str(), &html),
            ("collection.jsonl", &done.packs.json),
            ("findings.jsonl", &done.findings.json),
            ("elements.jsonl", &done.elements.json),
        ];
        for (file, text) in outputs {
            if let Err(leak) = inspection.withheld.guard(file, text) {
                return Ok(Done::unread(found, shown, leak.to_string()));
            }
        }
        self.site.write(&name, html.as_bytes())?;
        if let (false, Some(page)) = (hidden, self.site.stamp(&name)) {
            let kept = CachedPack { stamps, report: linked, page, entry: done.entry };
            let line = cache::line(found, &kept);
            // Names of logs stand in the cache as they are.
            done.cached = line.filter(|line| inspection.withheld.guard(CACHE, line).is_ok());
            done.entry = kept.entry;
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

/// One table in its formats.
struct Sinks<R: 'static> {
    #[cfg(feature = "parquet")]
    parquet: Parquet<R>,
    csv: SitePart,
    json: SitePart,
    rows: usize,
    table: std::marker::PhantomData<R>,
}

impl<R> Sinks<R> {
    fn begin(site: &Site, table: &'static Table<R>) -> Result<Self, CollectionError> {
        use std::io::Write;
        let mut csv = site.begin(&format!("{}.csv", table.name))?;
        csv.to.write_all(csv_header(table).as_bytes()).map_err(CollectionError::write(csv.path()))?;
        let json = site.begin(&format!("{}.jsonl", table.name))?;
        Ok(Self {
            #[cfg(feature = "parquet")]
            parquet: Parquet::begin(site, table)?,
            csv,
            json,
            rows: 0,
            table: std::marker::PhantomData,
        })
    }

    fn push(&mut self, key: &str, lines: &Lines, rows: &[R]) -> Result<(), CollectionError> {
        use std::io::Write;
        self.csv.to.write_all(lines.csv.as_bytes()).map_err(CollectionError::write(self.csv.path()))?;
        self.json.to.write_all(lines.json.as_bytes()).map_err(CollectionError::write(self.json.path()))?;
        #[cfg(feature = "parquet")]
        self.parquet.push(key, rows)?;
        #[cfg(not(feature = "parquet"))]
        let _ = key;
        self.rows += rows.len();
        Ok(())
    }

    fn finish(self) -> Result<usize, CollectionError> {
        #[cfg(feature = "parquet")]
        self.parquet.finish()?;
        self.csv.finish()?;
        self.json.finish()?;
        Ok(self.rows)
    }
}

/// A cause by its words, which books of different houses may share.
type Causes = BTreeMap<String, CommonCause>;

struct Tables {
    packs: Sinks<PackRow>,
    findings: Sinks<FindingRow>,
    elements: Sinks<ElementRow>,
    cache: SitePart,
    rows: Vec<PackRow>,
    causes: Causes,
    built: Built,
}

/// Rows of packs, common causes, and the number of rows of each table.
type Ended = (Vec<PackRow>, Vec<CommonCause>, [usize; 3]);

impl Tables {
    fn begin(site: &Site, head: &str) -> Result<Self, CollectionError> {
        let mut cache = site.begin(CACHE)?;
        cache::begin(&mut cache, head)?;
        Ok(Self {
            packs: Sinks::begin(site, &PACKS)?,
            findings: Sinks::begin(site, &FINDINGS)?,
            elements: Sinks::begin(site, &ELEMENTS)?,
            cache,
            rows: Vec::new(),
            causes: Causes::new(),
            built: Built::default(),
        })
    }

    fn push(&mut self, done: Done) -> Result<(), CollectionError> {
        use std::io::Write;
        let PackEntry { row, findings, elements } = done.entry;
        self.packs.push(&done.key, &done.packs, std::slice::from_ref(&row))?;
        self.findings.push(&done.key, &done.findings, &findings)?;
        self.elements.push(&done.key, &done.elements, &elements)?;
        if let Some(line) = &done.cached {
            self.cache.to.write_all(line.as_bytes()).map_err(CollectionError::write(self.cache.path()))?;
        }
        let built = &mut self.built;
        built.like_formulas +=
            done.packs.like_formulas + done.findings.like_formulas + done.elements.like_formulas;
        built.judged += usize::from(done.judged);
        built.falls_short |= row.critical > Some(0) || row.major > Some(0);
        match &row.problem {
            Some(problem) => built.problems.push((row.folder, problem.clone())),
            None => {
                built.read += 1;
                let graded = findings.iter().filter(|finding| finding.grade != Grade::Custom);
                let mut said: BTreeMap<&str, Grade> = BTreeMap::new();
                for (words, grade) in
                    graded.filter_map(|finding| Some((finding.said.as_deref()?, finding.grade)))
                {
                    said.entry(words).and_modify(|known| *known = grade.min(*known)).or_insert(grade);
                }
                for (words, grade) in said {
                    let cause = self.causes.entry(words.to_owned()).or_default();
                    cause.said = words.to_owned();
                    cause.packs += 1;
                    cause.grave |= grade.is_grave();
                }
                self.rows.push(row);
            }
        }
        Ok(())
    }

    /// Ends the files; gives the rows in the order of the table of packs, the causes with the number of packs that have
    /// each, and how many rows each table has.
    fn finish(mut self) -> Result<Ended, CollectionError> {
        let numbers = [self.packs.finish()?, self.findings.finish()?, self.elements.finish()?];
        self.cache.finish()?;
        let order = |row: &PackRow| {
            let names = [&row.maker, &row.model, &row.revision]
                .map(|text| text.as_deref().unwrap_or("\u{10ffff}").to_lowercase());
            (names, row.date.is_none(), row.date)
        };
        self.rows.sort_by_cached_key(order);
        let mut causes: Vec<CommonCause> = self.causes.into_values().collect();
        causes.sort_by(|a, b| b.packs.cmp(&a.packs).then_with(|| a.said.cmp(&b.said)));
        Ok((self.rows, causes, numbers))
    }
}
