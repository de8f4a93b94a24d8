//! The page of one pack, in the language and the drawing of the write-up: its first questions answered, the current path,
//! what falls short by cause, claims, tests. The write-up has the working; the page links to it where both lie below the
//! root.
//!
//! What a page says also goes with a write-up, as `report/pack.json`: a bag that is published without its record is
//! enough for a page and for the rows of the tables. Nothing in it is trusted: texts are escaped, the path is drawn anew
//! from its numbers, and the page says that the record was not read.

use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use serde::{Deserialize, Serialize};
use tera::Context;

use super::row::PackEntry;
use super::tables::PackRow;
use super::{CollectionError, PUBLISHED};
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Outcome};
use crate::render::draw::rows::Group;
use crate::render::write_up::picture::{description, path_parts, picture_of};
use crate::render::write_up::{
    ANSWERS, AnswerView, CAUSES, CLAIMS, CauseView, ClaimView, ElementView, FOLDER, FindingCounts, LEAD,
    TestAnswer, View, Worth, WriteUpEngine, WriteUpError, engine, record_hash, template_texts,
    template_words, test_answers,
};
use crate::units::words::CAUTION;
use crate::units::{rounded_to, significant};

const TEMPLATES: [(&str, &str); 12] = [
    ("pack.html", include_str!("../../../templates/collection/pack.html")),
    ("index.html", include_str!("../../../templates/collection/index.html")),
    ("rows.html", include_str!("../../../templates/collection/rows.html")),
    ("charts.html", include_str!("../../../templates/collection/charts.html")),
    ("fields.html", include_str!("../../../templates/collection/fields.html")),
    ("problems.html", include_str!("../../../templates/collection/problems.html")),
    LEAD,
    ANSWERS,
    CAUSES,
    CLAIMS,
    ("collection.css", include_str!("../../../templates/collection/collection.css")),
    ("style.css", include_str!("../../../templates/style.css")),
];
/// What a user may bring instead of or besides: the rest of a site depends on its programs.
const OWN: [(&str, &str); 3] =
    [("own.html", ""), ("own.css", ""), ("style.css", include_str!("../../../templates/style.css"))];

/// The program of the first page.
pub(super) const SCRIPT: &str = include_str!("../../../templates/collection/table.js");

/// Figures of a bench test that are shown in brief; the write-up has them all.
const FIGURES: usize = 8;
/// Version of what is published of a pack.
const FORMAT: u32 = 1;

/// Everything that the pages are made from, whatever the user brings.
pub(super) fn templates_text() -> String {
    let texts = TEMPLATES.iter().flat_map(|(name, template)| [*name, *template]);
    texts.chain([SCRIPT]).collect()
}

/// The templates of the site.
pub(super) struct Pages {
    tera: WriteUpEngine,
    style: String,
    /// Title of the site.
    pub title: String,
    /// What the user brings, for the cache to depend on.
    pub own: String,
}

/// What every page gets besides its own.
#[derive(Serialize)]
struct Common<'a, T: Serialize> {
    site: &'a str,
    program: &'static str,
    style: &'a str,
    caution: &'static str,
    page: &'a T,
}

impl Pages {
    /// The pages of a site with this title and the user's own look.
    ///
    /// # Errors
    /// When a file of the user's cannot be read or is no template.
    pub fn new(title: &str, folder: Option<&Path>) -> Result<Self, CollectionError> {
        let own = template_texts(&OWN, folder)?;
        let text = |name| own.iter().find(|(known, _)| *known == name).map_or("", |(_, text)| text.as_str());
        let built_in = TEMPLATES.iter().map(|(name, text)| (*name, (*text).to_owned()));
        let pages = built_in.clone().filter(|(name, _)| name.ends_with(".html"));
        let layout = built_in.filter(|(name, _)| *name == "collection.css").map(|(_, text)| text);
        let style =
            [text("style.css").to_owned()].into_iter().chain(layout).collect::<String>() + text("own.css");
        let pages = pages.chain([("own.html", text("own.html").to_owned())]).collect();
        let tera = engine(pages, folder).map_err(inner)?;
        let own = own.into_iter().map(|(_, text)| text).collect();
        Ok(Self { tera, style, title: title.to_owned(), own })
    }

    pub fn render<T: Serialize>(&self, template: &str, page: &T) -> Result<String, CollectionError> {
        let common = Common {
            site: &self.title,
            program: env!("CARGO_PKG_VERSION"),
            style: &self.style,
            caution: CAUTION,
            page,
        };
        let context = Context::from_serialize(&common).map_err(inner)?;
        self.tera.render(template, &context).map_err(inner)
    }
}

fn inner(error: tera::Error) -> CollectionError {
    CollectionError::Inner(format!("template: {}", template_words(&error)))
}

/// What is said of a pack, as its page shows it.
#[derive(Serialize)]
pub(super) struct Said<'a> {
    title: &'a str,
    invented: bool,
    program: &'static str,
    verdict: String,
    rules: Vec<&'a str>,
    answers: &'a [AnswerView],
    causes: &'a [CauseView],
    opinions: Vec<&'a str>,
    counts: FindingCounts,
    called: BTreeMap<&'a str, &'a str>,
    elements: Vec<Element<'a>>,
    complete: bool,
    claims: &'a [ClaimView],
    open: Vec<Open<'a>>,
    met: Vec<&'a str>,
    changes: Vec<(&'a str, &'a str)>,
    tests: Vec<Test<'a>>,
    facts: Vec<(&'static str, String)>,
    record: String,
}

#[derive(Serialize)]
struct Element<'a> {
    called: &'a str,
    weakest: bool,
    carries: &'a str,
    resistance: &'a str,
    heat: &'a str,
}

#[derive(Serialize)]
struct Open<'a> {
    grade: &'static str,
    statement: &'a str,
    subject: &'a str,
    missing: Vec<&'a str>,
    decision: &'a str,
}

#[derive(Serialize)]
struct Test<'a> {
    name: String,
    answer: Option<TestAnswer>,
    figures: Vec<(&'a str, String)>,
    problem: Option<&'a str>,
}

/// The page of a pack: what is said of it, and what is known of where it came from.
#[derive(Serialize)]
pub(super) struct PackPage<'a, T: Serialize> {
    pack: T,
    picture: Option<String>,
    folder: &'a str,
    report: Option<String>,
    from_write_up: bool,
}

impl<'a, T: Serialize> PackPage<'a, T> {
    fn new(pack: T, (parts, words): (Vec<Group>, &str), row: &'a PackRow, report: Option<String>) -> Self {
        Self {
            pack,
            picture: picture_of(parts, words),
            folder: &row.folder,
            report,
            from_write_up: row.from_write_up == Some(true),
        }
    }
}

impl<'a> PackPage<'a, Said<'a>> {
    /// The page of an inspection.
    pub fn of(inspection: &'a Inspection, view: &'a View, row: &'a PackRow, report: Option<String>) -> Self {
        let drawn = (path_parts(view, &BTreeMap::new()), description(view));
        Self::new(said(inspection, view, row), (drawn.0, &drawn.1), row, report)
    }
}

/// What is published of a pack for collections, as it is read.
#[derive(Deserialize)]
pub(super) struct Published {
    format: u32,
    /// Its rows.
    pub entry: PackEntry,
    path: Vec<Group>,
    words: String,
    pack: serde_json::Value,
}

impl Published {
    /// Reads it; nothing where it is not of this version's form.
    pub fn read(text: &str) -> Option<Self> {
        serde_json::from_str(text).ok().filter(|published: &Self| published.format == FORMAT)
    }

    /// The page of it.
    pub fn page(&self, report: Option<String>) -> PackPage<'_, &serde_json::Value> {
        PackPage::new(&self.pack, (self.path.clone(), &self.words), &self.entry.row, report)
    }
}

/// What a write-up carries for collections: the name of the file and its text.
///
/// # Errors
/// [`WriteUpError::Template`] where it cannot be put into words.
pub(crate) fn published(inspection: &Inspection, view: &View) -> Result<(String, String), WriteUpError> {
    #[derive(Serialize)]
    struct Written<'a> {
        format: u32,
        entry: PackEntry,
        path: Vec<Group>,
        words: String,
        pack: Said<'a>,
    }
    let entry = PackEntry::of(inspection, view);
    let written = Written {
        format: FORMAT,
        path: path_parts(view, &BTreeMap::new()),
        words: description(view),
        pack: said(inspection, view, &entry.row),
        entry,
    };
    let text = serde_json::to_string(&written).map_err(|error| WriteUpError::Template(error.to_string()))?;
    Ok((PUBLISHED.to_owned(), format!("{text}\n")))
}

fn said<'a>(inspection: &'a Inspection, view: &'a View, row: &PackRow) -> Said<'a> {
    let mut met: Vec<&str> = view.with_outcome(Outcome::Meets).map(|f| f.rule.as_str()).collect();
    met.sort_unstable();
    met.dedup();
    let tests = inspection.bench_tests.iter().enumerate();
    Said {
        title: &view.title,
        invented: view.invented,
        program: view.program,
        verdict: view.verdict(),
        rules: view.rule_files.iter().map(|file| file.told.as_str()).collect(),
        answers: &view.answers,
        causes: &view.causes,
        opinions: view.opinions.iter().map(|custom| custom.statement.as_str()).collect(),
        counts: view.counts,
        called: view.path.elements.iter().map(|e| (e.label.as_str(), e.called.as_str())).collect(),
        elements: view.path.elements.iter().map(element).collect(),
        complete: view.path.complete == Some(true),
        claims: &view.claims,
        open: view.with_outcome(Outcome::NotDecided).map(open).collect(),
        met,
        changes: view.changes.iter().map(|c| (c.what.as_str(), c.reason.as_str())).collect(),
        tests: tests
            .map(|(index, result)| Test {
                name: result.called(),
                answer: test_answers(view, index).into_iter().next(),
                figures: result
                    .in_brief(FIGURES)
                    .map(|figure| (figure.name.as_str(), figure.shown()))
                    .collect(),
                problem: result.problem.as_deref(),
            })
            .collect(),
        facts: facts(row),
        record: record_hash(inspection),
    }
}

fn element(view: &ElementView) -> Element<'_> {
    fn known(worth: &Worth) -> &str {
        worth.value.as_deref().unwrap_or("not known")
    }
    Element {
        called: &view.called,
        weakest: view.weakest,
        carries: known(&view.permissible_current),
        resistance: known(&view.resistance),
        heat: known(&view.heat),
    }
}

fn open(finding: &Finding) -> Open<'_> {
    Open {
        grade: finding.grade.word(),
        statement: &finding.title,
        subject: &finding.subject,
        missing: finding.missing.iter().map(|missing| missing.what.as_str()).collect(),
        decision: finding.working.decision.as_deref().unwrap_or_default(),
    }
}

/// A number with its unit, and a minus that is one.
pub(super) fn shown(number: f64, unit: &str) -> String {
    let digits = significant(number, 3).replace('-', "−");
    if unit.is_empty() { digits } else { format!("{digits} {unit}") }
}

fn facts(row: &PackRow) -> Vec<(&'static str, String)> {
    let text = |text: &Option<String>| text.clone();
    let number = |number: Option<f64>, unit: &str| number.map(|number| shown(number, unit));
    let cells = row.series.zip(row.parallel).map(|(s, p)| format!("{s} in series, {p} in parallel"));
    let expanded = row.measured_capacity_expanded_ah.unwrap_or_default();
    let measured = row.measured_capacity_ah.map(|ah| match row.measured_share_percent {
        Some(share) => format!(
            "{} Ah, {} % of the claim",
            rounded_to(ah, expanded),
            rounded_to(share, expanded * share / ah)
        ),
        None => format!("{} Ah", rounded_to(ah, expanded)),
    });
    let per_wh = |price: Option<f64>| {
        price
            .zip(row.price_currency.as_deref())
            .map(|(price, currency)| format!("{} {currency} per Wh", shown(price, "")))
    };
    let mass = row.mass_kg.map(|kg| {
        let claimed = if row.mass_is_claimed == Some(true) { " (claimed)" } else { "" };
        format!("{}{claimed}", shown(kg, "kg"))
    });
    [
        ("maker", text(&row.maker)),
        ("model", text(&row.model)),
        ("revision", text(&row.revision)),
        ("kind", text(&row.pack_kind)),
        ("inspected", row.date.map(|day| day.to_string())),
        ("chemistry", text(&row.chemistry)),
        ("cells", cells),
        ("claimed capacity", number(row.claimed_capacity_ah, "Ah")),
        ("measured capacity", measured),
        ("capacity at least", number(row.capacity_at_least_ah, "Ah (the test did not run to the cut-off)")),
        ("claimed energy", number(row.claimed_energy_wh, "Wh")),
        ("measured energy", number(row.measured_energy_wh, "Wh")),
        ("mass", mass),
        ("claimed energy over mass", number(row.claimed_wh_per_kg, "Wh/kg")),
        ("measured energy over mass", number(row.measured_wh_per_kg, "Wh/kg")),
        ("price", text(&row.price)),
        ("price over claimed energy", per_wh(row.price_per_claimed_wh)),
        ("price over measured energy", per_wh(row.price_per_measured_wh)),
        ("fuse", text(&row.fuse_kind)),
        ("fuse rating", number(row.fuse_rating_a, "A")),
    ]
    .into_iter()
    .filter_map(|(name, value)| value.map(|value| (name, value)))
    .collect()
}

/// The address of an inspection's write-up as seen from a page, where there is one and both lie below the root: from
/// elsewhere the address would tell where the root lies on this machine, and lead nowhere once the site is published.
pub(super) fn report_link(root: &Path, folder: &Path, pages: &Path) -> Option<String> {
    let path = folder.join(FOLDER).join("report.html");
    // Where there is none, which is cheaper to see, its path need not be followed.
    path.symlink_metadata().ok()?;
    let real = path.canonicalize().ok()?;
    if !real.starts_with(root) || !pages.starts_with(root) || !real.is_file() {
        return None;
    }
    Some(relative_address(&real, pages))
}

fn relative_address(to: &Path, from: &Path) -> String {
    let (to, from): (Vec<Component<'_>>, Vec<Component<'_>>) =
        (to.components().collect(), from.components().collect());
    let shared = to.iter().zip(&from).take_while(|(a, b)| a == b).count();
    let up = std::iter::repeat_n("..".to_owned(), from.len() - shared);
    let down = to.iter().skip(shared).map(|part| percent(part.as_os_str().as_encoded_bytes()));
    up.chain(down).collect::<Vec<String>>().join("/")
}

/// Bytes of a path part in an address: everything but letters, digits and `-._~` is escaped (RFC 3986, 2.3).
fn percent(bytes: &[u8]) -> String {
    let mut text = String::with_capacity(bytes.len());
    for byte in bytes {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(byte) {
            text.push(char::from(*byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

/// The folder of the pages of packs.
pub(super) fn pages_folder(site: &Path) -> PathBuf {
    site.join(super::site::PACKS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_write_ups() {
        for (to, from, expected) in [
            ("/r/a/report/report.html", "/r/site/packs", "../../a/report/report.html"),
            ("/r/a b/<x>/report.html", "/out/packs", "../../r/a%20b/%3Cx%3E/report.html"),
            ("/r/javascript:x/report.html", "/r", "javascript%3Ax/report.html"),
        ] {
            assert_eq!(relative_address(Path::new(to), Path::new(from)), expected);
        }
    }
}
