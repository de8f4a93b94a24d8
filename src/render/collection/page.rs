//! The page of one pack, in brief: what carries the current, what falls short, what is not decided. The write-up has
//! the working; the page links to it where it lies below the root.

use std::path::{Component, Path, PathBuf};

use serde::Serialize;
use tera::{Context, Tera};

use super::CollectionError;
use super::tables::PackRow;
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Outcome, RuleFile};
use crate::render::write_up::{ElementView, FOLDER, View, template_words};
use crate::units::significant;
use crate::units::words::CAUTION;

const TEMPLATES: [(&str, &str); 7] = [
    ("head.html", include_str!("../../../templates/collection/head.html")),
    ("pack.html", include_str!("../../../templates/collection/pack.html")),
    ("index.html", include_str!("../../../templates/collection/index.html")),
    ("rows.html", include_str!("../../../templates/collection/rows.html")),
    ("charts.html", include_str!("../../../templates/collection/charts.html")),
    ("fields.html", include_str!("../../../templates/collection/fields.html")),
    ("problems.html", include_str!("../../../templates/collection/problems.html")),
];
const STYLE: &str = concat!(
    include_str!("../../../templates/style.css"),
    include_str!("../../../templates/collection/collection.css")
);

/// The program of the first page.
pub(super) const SCRIPT: &str = include_str!("../../../templates/collection/table.js");

/// Figures of a bench test that are shown in brief; the write-up has them all.
const FIGURES: usize = 8;

/// Everything that the pages are made from, for the cache to depend on.
pub(super) fn templates_text() -> String {
    let mut text = STYLE.to_owned();
    for (name, template) in TEMPLATES {
        text.push_str(name);
        text.push_str(template);
    }
    text.push_str(SCRIPT);
    text
}

/// The templates of the site.
pub(super) struct Pages {
    tera: Tera,
    /// Title of the site.
    pub title: String,
}

/// What every page gets besides its own.
#[derive(Serialize)]
struct Common<'a, T: Serialize> {
    site: &'a str,
    program: &'static str,
    style: &'static str,
    caution: &'static str,
    page: &'a T,
}

impl Pages {
    pub fn new(title: &str) -> Result<Self, CollectionError> {
        let mut tera = Tera::new();
        tera.add_raw_templates(TEMPLATES.to_vec()).map_err(inner)?;
        Ok(Self { tera, title: title.to_owned() })
    }

    pub fn render<T: Serialize>(&self, template: &str, page: &T) -> Result<String, CollectionError> {
        let common = Common {
            site: &self.title,
            program: env!("CARGO_PKG_VERSION"),
            style: STYLE,
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

/// The page of a pack.
#[derive(Serialize)]
pub(super) struct PackPage<'a> {
    title: &'a str,
    invented: bool,
    verdict: String,
    view: Figures<'a>,
    facts: Vec<(&'static str, String)>,
    elements: Vec<Element<'a>>,
    complete: bool,
    short: Vec<Short<'a>>,
    open: Vec<Short<'a>>,
    customs: Vec<Short<'a>>,
    met: Vec<&'a str>,
    met_number: usize,
    changes: Vec<(&'a str, &'a str)>,
    rule_files: &'a [RuleFile],
    tests: Vec<Test<'a>>,
    folder: &'a str,
    record: &'a str,
    report: Option<String>,
}

#[derive(Serialize)]
struct Figures<'a> {
    rated: &'a str,
    weakest: Option<&'a str>,
    permissible_current: &'a str,
    margin: Option<&'a str>,
    fault_current: &'a str,
    counts: crate::render::write_up::FindingCounts,
}

#[derive(Serialize)]
struct Element<'a> {
    label: &'a str,
    name: &'a str,
    weakest: bool,
    responds_to: Option<&'a str>,
    permissible_current: &'a str,
    margin: &'a str,
    resistance: &'a str,
    heat: &'a str,
}

#[derive(Serialize)]
struct Short<'a> {
    class: &'static str,
    shape: &'static str,
    grade: &'static str,
    statement: &'a str,
    subject: &'a str,
    numbers: Option<String>,
    decision: Option<&'a str>,
    missing: Vec<&'a str>,
    rule: &'a str,
    on_claims: bool,
}

#[derive(Serialize)]
struct Test<'a> {
    name: String,
    figures: Vec<(&'a str, String)>,
    problem: Option<&'a str>,
}

/// Makes the page of an inspection.
pub(super) fn pack<'a>(
    inspection: &'a Inspection,
    view: &'a View,
    row: &'a PackRow,
    record: &'a str,
    report: Option<String>,
) -> PackPage<'a> {
    let mut met: Vec<&str> = view.with_outcome(Outcome::Meets).map(|f| f.rule.as_str()).collect();
    met.sort_unstable();
    met.dedup();
    PackPage {
        title: &view.title,
        invented: view.invented,
        verdict: view.verdict(),
        view: Figures {
            rated: view.rated_current.as_deref().unwrap_or("not recorded"),
            weakest: view.path.weakest.as_deref(),
            permissible_current: known(view.path.permissible_current.value.as_deref()),
            margin: view.path.margin.as_deref(),
            fault_current: known(view.path.short_circuit_current.value.as_deref()),
            counts: view.counts,
        },
        facts: facts(row),
        elements: view.path.elements.iter().map(element).collect(),
        complete: view.path.complete == Some(true),
        short: view.causes.iter().map(|cause| short(&cause.head)).collect(),
        open: view.with_outcome(Outcome::NotDecided).map(short).collect(),
        customs: view.opinions.iter().map(|custom| short(&custom.head)).collect(),
        met,
        met_number: view.counts.meets,
        rule_files: &view.rule_files,
        changes: view.changes.iter().map(|c| (c.what.as_str(), c.reason.as_str())).collect(),
        tests: inspection
            .bench_tests
            .iter()
            .map(|result| Test {
                name: result.name(),
                figures: result
                    .in_brief(FIGURES)
                    .map(|figure| (figure.name.as_str(), figure.shown()))
                    .collect(),
                problem: result.problem.as_deref(),
            })
            .collect(),
        folder: &row.folder,
        record,
        report,
    }
}

fn known(words: Option<&str>) -> &str {
    words.unwrap_or("not known")
}

fn element(view: &ElementView) -> Element<'_> {
    Element {
        label: &view.label,
        name: &view.name,
        weakest: view.weakest,
        responds_to: view.responds_to.as_deref(),
        permissible_current: known(view.permissible_current.value.as_deref()),
        margin: known(view.margin.as_deref()),
        resistance: known(view.resistance.value.as_deref()),
        heat: known(view.heat.value.as_deref()),
    }
}

fn short(finding: &Finding) -> Short<'_> {
    let missing: Vec<&str> = finding.missing.iter().map(|missing| missing.what.as_str()).collect();
    let shows_numbers = missing.is_empty() || finding.outcome == Outcome::FallsShort;
    Short {
        class: match finding.outcome {
            Outcome::FallsShort => finding.grade.word(),
            Outcome::NotDecided => "open",
            Outcome::Meets => "meets",
        },
        shape: finding.outcome.shape(),
        grade: finding.grade.word(),
        statement: &finding.statement,
        subject: &finding.subject,
        numbers: Some(finding.working.numbers.clone()).filter(|numbers| shows_numbers && !numbers.is_empty()),
        decision: finding.working.decision.as_deref(),
        missing,
        rule: &finding.rule,
        on_claims: finding.rests_on_claims,
    }
}

/// A number with its unit, and a minus that is one.
pub(super) fn shown(number: f64, unit: &str) -> String {
    let digits = significant(number, 4).replace('-', "−");
    if unit.is_empty() { digits } else { format!("{digits} {unit}") }
}

fn facts(row: &PackRow) -> Vec<(&'static str, String)> {
    let text = |text: &Option<String>| text.clone();
    let number = |number: Option<f64>, unit: &str| number.map(|number| shown(number, unit));
    let cells = row.series.zip(row.parallel).map(|(s, p)| format!("{s} in series, {p} in parallel"));
    let measured = row.measured_capacity_ah.map(|ah| match row.measured_share_percent {
        Some(share) => format!("{}, {} of the claim", shown(ah, "Ah"), shown(share, "%")),
        None => shown(ah, "Ah"),
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

/// The address of an inspection's write-up as seen from a page, where there is one that lies below the root.
pub(super) fn report_link(root: &Path, folder: &Path, pages: &Path) -> Option<String> {
    let real = folder.join(FOLDER).join("report.html").canonicalize().ok()?;
    if !real.starts_with(root) || !real.is_file() {
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
