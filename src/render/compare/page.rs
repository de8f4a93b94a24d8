//! The comparison as Markdown, as one self-contained page, as JSON, and the data of its curves as CSV.

use std::path::{Path, PathBuf};

use rayon::prelude::*;
use serde::Serialize;
use tera::Context;

use super::causes::{CauseComparison, CauseState};
use super::difference::ChangeKind;
use super::fields::{PartComparison, Row, Sorted};
use super::findings::FindingComparison;
use super::{Comparison, ElementComparison, TestComparison, bench};
use crate::evidence::hash::hash_file;
use crate::evidence::name::safe_relative;
use crate::judge::inspection::Inspection;
use crate::record::save;
use crate::render::draw::curve::{chart, csv};
use crate::render::write_up::{
    PointerView, WriteUpError, csv_name, engine, is_curve, photos, squeeze, style, template, template_texts,
};
use crate::units::words::CAUTION;
use crate::units::words::list;

/// Templates that are compiled in, by the file name under which a user can replace them.
pub(crate) const TEMPLATES: [(&str, &str); 9] = [
    ("compare.md", include_str!("../../../templates/compare.md")),
    ("compare.html", include_str!("../../../templates/compare.html")),
    ("compare.alone.html", include_str!("../../../templates/compare.alone.html")),
    ("compare.cause.html", include_str!("../../../templates/compare.cause.html")),
    ("compare.rows.md", include_str!("../../../templates/compare.rows.md")),
    ("compare.rows.html", include_str!("../../../templates/compare.rows.html")),
    ("own.html", ""),
    ("own.css", ""),
    ("style.css", include_str!("../../../templates/style.css")),
];

/// A finished comparison, not yet on disk: every text with its file name.
#[derive(Debug)]
pub struct Pages {
    /// File name and text: `compare.md`, `compare.html`, `compare.json`, and the data of the curves.
    pub files: Vec<(String, String)>,
}

#[derive(Serialize)]
struct Page<'a> {
    c: &'a Comparison,
    /// Causes: heading, what it says of them, and each with whether its part is gone where it is not found.
    causes: Vec<(String, Vec<&'a CauseComparison>)>,
    drawings: &'a [String],
    /// Claims that a buyer reads first, and those that differ.
    claims: Vec<&'a Row>,
    /// The other claims, the same in all.
    claims_same: Vec<&'a Row>,
    elements: Vec<PartPage<'a>>,
    derived: PartPage<'a>,
    statements: Vec<PartPage<'a>>,
    parts: Vec<PartPage<'a>>,
    circumstances: Vec<PartPage<'a>>,
    tests: Vec<PartPage<'a>>,
    /// Lists of findings: heading, findings, and whether their details are shown.
    findings: Vec<(String, &'a [FindingComparison], bool)>,
    /// For each test its charts.
    charts: Vec<Vec<ChartView>>,
    /// For each group, each record and each photo its picture.
    pictures: Vec<Vec<Vec<Picture>>>,
    caution: &'static str,
    style: String,
}

/// A part as a template shows it: what matters open, what stayed folded.
#[derive(Serialize)]
struct PartPage<'a> {
    name: String,
    matched_by: &'a str,
    /// True where one record alone has it.
    alone: bool,
    rows: Vec<&'a Row>,
    within: &'a [Row],
    same: &'a [Row],
}

impl<'a> PartPage<'a> {
    fn of(
        name: &str,
        only_in: &[String],
        matched_by: Option<&'a str>,
        fields: &'a Sorted,
        first: Vec<&'a Row>,
    ) -> Self {
        let only =
            if only_in.is_empty() { String::new() } else { format!(", only in {}", list(only_in, "and")) };
        let mut rows = first;
        rows.extend(fields.changed.iter().chain(&fields.one_only).chain(&fields.not_compared));
        Self {
            name: format!("{name}{only}"),
            matched_by: matched_by.unwrap_or_default(),
            alone: only_in.len() == 1,
            rows,
            within: &fields.within,
            same: &fields.same,
        }
    }

    fn of_part(part: &'a PartComparison) -> Self {
        Self::of(&part.name, &part.only_in, part.matched_by.as_deref(), &part.fields, Vec::new())
    }

    fn of_element(element: &'a ElementComparison) -> Self {
        let place = element.in_place_of.as_deref().map(|other| format!(", in the place of {other}"));
        let known = |row: &&Row| row.cells.iter().any(|cell| cell.si.is_some());
        let others = element.temperature.iter().chain(&element.losses).filter(known);
        let first = [&element.permissible_current, &element.margin].into_iter().chain(others).collect();
        let mut page = Self::of(
            &element.label,
            &element.only_in,
            Some(&element.matched_by),
            &element.found.fields,
            first,
        );
        page.name.push_str(&place.unwrap_or_default());
        page
    }
}

#[derive(Serialize)]
struct ChartView {
    name: String,
    svg: String,
    file: String,
    left_out: usize,
}

#[derive(Serialize, Default)]
struct Picture {
    data: Option<String>,
    width: u32,
    height: u32,
    /// Its numbered pointers, SVG in the pixels of the picture.
    marks: String,
    pointers: Vec<PointerView>,
}

impl Comparison {
    /// Reads the hashes of the photos' originals; a photo that cannot be read says why.
    pub fn hash_photos(&mut self, inspections: &[Inspection]) {
        self.photos.par_iter_mut().for_each(|group| {
            for (entries, inspection) in group.photos.iter_mut().zip(inspections) {
                for entry in entries {
                    let path = safe_relative(&inspection.folder, inspection.withheld.original(&entry.file))
                        .map_err(|error| error.to_string());
                    match path.and_then(|path| hash_file(&path).map_err(|error| error.to_string())) {
                        Ok(digest) => entry.sha256 = Some(digest.to_string()),
                        Err(problem) => entry.problem = Some(inspection.withheld.apply(&problem)),
                    }
                }
            }
        });
    }

    /// The comparison as JSON, in one line.
    ///
    /// # Errors
    /// [`WriteUpError::Template`]; no value of a comparison is known to cause it.
    pub fn json(&self) -> Result<String, WriteUpError> {
        let json = serde_json::to_string(self).map_err(|error| WriteUpError::Template(error.to_string()))?;
        Ok(format!("{json}\n"))
    }
}

/// Makes every file of a comparison; `templates` is a folder whose files replace the built-in templates.
pub fn pages(
    comparison: &mut Comparison,
    inspections: &[Inspection],
    templates: Option<&Path>,
) -> Result<Pages, WriteUpError> {
    let mut texts = template_texts(&TEMPLATES, templates)?;
    let style = style(&mut texts);
    let pictures = pictures(comparison, inspections);
    let charts = comparison.tests.iter().enumerate().map(|(test, compared)| {
        let curves = compared.curves.iter().enumerate().map(|(number, curve)| {
            let drawable = bench::drawable(curve);
            ChartView {
                name: curve.name.clone(),
                svg: chart(&drawable, &format!("test-{test}-{number}")),
                file: csv_name(test, number),
                left_out: curve.series.len() - drawable.series.len(),
            }
        });
        curves.collect()
    });
    let page = Page {
        causes: causes(comparison),
        drawings: &comparison.drawings,
        charts: charts.collect(),
        pictures,
        caution: CAUTION,
        style,
        claims: comparison.claims.iter().filter(|row| leads(row)).collect(),
        claims_same: comparison.claims.iter().filter(|row| !leads(row)).collect(),
        elements: comparison.elements.iter().map(PartPage::of_element).collect(),
        derived: PartPage::of("", &[], None, &comparison.derived, Vec::new()),
        statements: comparison.statements.iter().map(PartPage::of_part).collect(),
        parts: comparison.parts.iter().map(PartPage::of_part).collect(),
        circumstances: comparison.circumstances.iter().map(PartPage::of_part).collect(),
        tests: comparison.tests.iter().map(|test| test_page(test)).collect(),
        findings: findings(comparison),
        c: comparison,
    };
    let tera = engine(texts, templates).map_err(template)?;
    let context = Context::from_serialize(&page).map_err(template)?;
    let mut files = vec![
        ("compare.md".to_owned(), squeeze(&tera.render("compare.md", &context).map_err(template)?)),
        ("compare.html".to_owned(), tera.render("compare.html", &context).map_err(template)?),
        ("compare.json".to_owned(), comparison.json()?),
    ];
    for (test, compared) in comparison.tests.iter().enumerate() {
        for (number, curve) in compared.curves.iter().enumerate() {
            files.push((csv_name(test, number), csv(curve)));
        }
    }
    Ok(Pages { files })
}

/// True for a claim that a buyer reads first, or that differs.
fn leads(row: &Row) -> bool {
    const FIRST: [&str; 5] = ["continuous current", "price", "capacity", "energy", "mass"];
    row.kind != ChangeKind::Same || FIRST.contains(&row.what.as_str())
}

fn test_page(test: &TestComparison) -> PartPage<'_> {
    let name = &test.kind;
    let mut page = PartPage::of_part(&test.settings);
    page.name = page.name.replacen(&test.settings.name, name, 1);
    page.matched_by = &test.matched_by;
    page
}

/// The causes as a reader asks for them: found newly, no longer, in all.
pub(super) fn causes(c: &Comparison) -> Vec<(String, Vec<&CauseComparison>)> {
    let Some((first, others)) = c.inspections.split_first() else { return Vec::new() };
    let others = list(&others.iter().map(|i| i.name.as_str()).collect::<Vec<_>>(), "and");
    let found =
        |cause: &CauseComparison, from: usize| cause.states.iter().skip(from).all(CauseState::is_found);
    let before = |cause: &CauseComparison| cause.states.first().is_some_and(CauseState::is_found);
    let (old, new): (Vec<_>, Vec<_>) = c.causes.iter().partition(|cause| before(cause));
    let (kept, lost): (Vec<_>, Vec<_>) = old.into_iter().partition(|cause| found(cause, 1));
    let lists = [
        (format!("Found in {others}, not in {}", first.name), new),
        (format!("Found in {}, no longer in {others}", first.name), lost),
        ("Found in all".to_owned(), kept),
    ];
    lists.into_iter().filter(|(_, causes)| !causes.is_empty()).collect()
}

/// The lists of findings in the order in which a reader wants them.
pub(super) fn findings(c: &Comparison) -> Vec<(String, &[FindingComparison], bool)> {
    let first = c.inspections.first().map_or("", |inspection| inspection.name.as_str());
    let f = &c.findings;
    let lists = [
        (format!("Falls short, and did not in {first}"), &f.gained, true),
        (format!("Fell short in {first}, and no longer in all"), &f.lost, true),
        ("Other outcomes that changed".to_owned(), &f.changed, false),
        ("Falls short in all".to_owned(), &f.kept, true),
        ("Applied in some only".to_owned(), &f.applied_in_some, false),
        ("Not decided in all".to_owned(), &f.open_in_all, false),
        ("Customs of the trade with another outcome (opinion)".to_owned(), &f.customs, false),
    ];
    let some = lists.into_iter().filter(|(_, list, _)| !list.is_empty());
    some.map(|(heading, list, details)| (heading, list.as_slice(), details)).collect()
}

/// The pictures fit to publish; originals are never shown.
fn pictures(comparison: &mut Comparison, inspections: &[Inspection]) -> Vec<Vec<Vec<Picture>>> {
    let mut views: Vec<Vec<_>> = inspections.iter().map(|inspection| photos(inspection, None)).collect();
    let mut groups = Vec::with_capacity(comparison.photos.len());
    for group in &mut comparison.photos {
        let mut records = Vec::with_capacity(views.len());
        for (entries, views) in group.photos.iter_mut().zip(&mut views) {
            let pictures = entries.iter_mut().map(|entry| {
                let Some(view) = views.get_mut(entry.at) else { return Picture::default() };
                entry.sha256 = view.sha256.take();
                entry.problem = view.problem.take();
                let (width, height) = (view.width, view.height);
                let (marks, pointers) = (std::mem::take(&mut view.marks), std::mem::take(&mut view.pointers));
                Picture { data: view.data.take(), width, height, marks, pointers }
            });
            records.push(pictures.collect());
        }
        groups.push(records);
    }
    groups
}

/// Writes the files of a comparison into a folder, which is made where it is not there; each is replaced as a whole.
pub fn save(folder: &Path, pages: &Pages) -> Result<Vec<PathBuf>, WriteUpError> {
    let at = |path: &Path, source| WriteUpError::Write { path: path.to_owned(), source };
    std::fs::create_dir_all(folder).map_err(|error| at(folder, error))?;
    let mut paths = Vec::with_capacity(pages.files.len());
    for (name, text) in &pages.files {
        let path = folder.join(name);
        save::replace(&path, text).map_err(|error| at(&path, error))?;
        paths.push(path);
    }
    let stale = |name: &str| is_curve(name) && !pages.files.iter().any(|(made, _)| made == name);
    save::sweep(folder, stale).map_err(|error| at(folder, error))?;
    Ok(paths)
}
