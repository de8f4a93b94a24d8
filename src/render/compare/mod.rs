//! Two or more inspections part by part: what changed, what stayed, what nobody looked at in one of them, and whether an
//! element of the path explains a rating that went down or up.
//!
//! The first inspection is what the others are compared with; where there are more than two, the change of rating is also
//! answered for each successive pair. Three things are refused. No pack is called better than another: only a rule says
//! what falls short. A difference within the combined measurement uncertainty is not called a change. And where a fact is
//! missing nothing is explained: "not recorded" is not "absent", and an answer that needs it is not decided.

mod bench;
mod causes;
mod changes;
mod difference;
mod elements;
mod explain;
mod fields;
mod findings;
mod matching;
mod names;
mod page;
mod photos;
mod picture;
mod text;

use rayon::prelude::*;
use serde::Serialize;

pub use difference::ChangeKind;
pub use findings::FindingComparison;
pub(crate) use page::{pages, save};
pub use text::write_text;

use self::bench::TestComparison;
use self::causes::CauseComparison;
use self::changes::PartChange;
use self::difference::Names;
use self::elements::ElementComparison;
use self::explain::RatingAnswer;
use self::fields::{PartComparison, Row, Sorted, fingerprint, rows};
use self::findings::{ByPlace, FindingsComparison};
use self::matching::{Item, Rows};
use self::photos::PhotoGroup;
use crate::evidence::hash::hash_file;
use crate::evidence::manifest::MANIFEST_NAME;
use crate::judge::facts::{Answer, FACTS};
use crate::judge::inspection::{Inspection, RECORD};
use crate::record::{Part, Record};
use crate::render::write_up::{AnswerView, View};

/// Version of the JSON shape; it changes when a key changes its meaning or goes away.
pub const FORMAT: u32 = 1;

/// Answers of the write-up that a comparison repeats: what is claimed, whether it holds, what protects.
const ANSWERS: [usize; 3] = [0, 1, 3];

/// One of the inspections.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct ComparedColumn {
    /// What it is called here.
    pub name: String,
    /// Its title.
    pub title: String,
    /// Maker, model and revision.
    pub pack: String,
    /// True for an invented example.
    pub invented: bool,
    /// Day of the inspection.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub date: Option<String>,
    /// Rated continuous current as written.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_current: Option<String>,
    /// Rated continuous current, A.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rated_current_si: Option<f64>,
    /// The weakest element whose permissible current is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub weakest: Option<String>,
    /// Its permissible current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub permissible_current: Option<String>,
    /// Its margin against the rated continuous current.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub margin: Option<String>,
    /// Elements whose permissible current is not known.
    pub undecided: usize,
    /// Findings by grade and outcome.
    pub counts: crate::render::write_up::FindingCounts,
    /// SHA-256 of the record.
    pub record_sha256: String,
    /// SHA-256 of the manifest, where the evidence is sealed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub manifest_sha256: Option<String>,
}

/// How many rows of each kind the parts have.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Totals {
    /// Changed, or differing as recorded.
    pub changed: usize,
    /// Recorded in some of the records only.
    pub one_only: usize,
    /// Could not be compared.
    pub not_compared: usize,
    /// Differences within the uncertainty.
    pub within: usize,
    /// The same.
    pub same: usize,
}

/// Two or more inspections compared.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub struct Comparison {
    /// Version of this shape.
    pub format: u32,
    /// Version of the program.
    pub program: &'static str,
    /// A title.
    pub title: String,
    /// True when one of the inspections is an invented example.
    pub invented: bool,
    /// What the reader must know before trusting a difference.
    pub remarks: Vec<String>,
    /// The inspections; all are compared with the first.
    pub inspections: Vec<ComparedColumn>,
    /// The change of rating, for each successive pair.
    pub ratings: Vec<RatingAnswer>,
    /// The first questions of a reader; each with the answer of each inspection.
    pub answers: Vec<Vec<AnswerView>>,
    /// Parts of the path that are not built alike, and what that did.
    pub changes: Vec<PartChange>,
    /// What falls short, by cause.
    pub causes: Vec<CauseComparison>,
    /// The path of each inspection as SVG, all on one scale.
    #[serde(skip)]
    pub drawings: Vec<String>,
    /// How many facts changed, stayed, and so on.
    pub totals: Totals,
    /// Elements of the path.
    pub elements: Vec<ElementComparison>,
    /// What follows for the pack and the path.
    pub derived: Sorted,
    /// Price and claims side by side.
    pub claims: Vec<Row>,
    /// Claims in words.
    pub statements: Vec<PartComparison>,
    /// Every other part of the pack.
    pub parts: Vec<PartComparison>,
    /// The inspections themselves and their instruments.
    pub circumstances: Vec<PartComparison>,
    /// Findings.
    pub findings: FindingsComparison,
    /// Bench tests.
    pub tests: Vec<TestComparison>,
    /// Photos by part.
    pub photos: Vec<PhotoGroup>,
}

/// The inspections and what they are called.
pub(crate) struct Columns<'a> {
    inspections: &'a [Inspection],
    names: Vec<String>,
}

impl Columns<'_> {
    fn names(&self, first: usize, second: usize) -> Names<'_> {
        let name = |at: usize| self.names.get(at).map_or("", String::as_str);
        Names { first: name(first), second: name(second) }
    }

    /// Names of those that have a part; empty when all do.
    fn only_in(&self, at: &[Option<usize>]) -> Vec<String> {
        if at.iter().all(Option::is_some) {
            return Vec::new();
        }
        at.iter().zip(&self.names).filter(|(at, _)| at.is_some()).map(|(_, name)| name.clone()).collect()
    }

    fn each<'p, P>(&'p self, part: impl Fn(&'p Record) -> &'p P) -> Vec<Option<&'p P>> {
        self.inspections.iter().map(|inspection| Some(part(&inspection.record))).collect()
    }
}

/// Which part stands for which.
pub(crate) struct Matches {
    elements: Rows,
    statements: Rows,
    layers: Rows,
    readings: Rows,
    tests: Rows,
    instruments: Rows,
    photos: Rows,
    answers: Rows,
}

impl Matches {
    fn of(inspections: &[Inspection]) -> Self {
        let rows = |items: fn(&Record) -> Vec<Item>| {
            matching::rows(
                &inspections.iter().map(|inspection| items(&inspection.record)).collect::<Vec<_>>(),
            )
        };
        Self {
            elements: rows(elements::items),
            statements: rows(|record| {
                let list = record.claims.statement.iter();
                list.map(|s| named("", s.id.text(), s.text.text(), fingerprint(s, &["id", "text"]), None))
                    .collect()
            }),
            layers: rows(|record| {
                let list = record.bms.layer.iter().enumerate();
                list.map(|(at, l)| named("", None, l.name.text(), fingerprint(l, &["name"]), Some(at)))
                    .collect()
            }),
            readings: rows(|record| {
                let list = record.cells.reading.iter().enumerate();
                let group = |position: Option<u32>| position.map(|p| p.to_string()).unwrap_or_default();
                list.map(|(at, r)| named(&group(r.position.count()), None, None, String::new(), Some(at)))
                    .collect()
            }),
            tests: rows(bench::items),
            instruments: rows(|record| {
                let list = record.instrument.iter();
                list.map(|i| named("", i.id.text(), i.name.text(), fingerprint(i, &["id", "name"]), None))
                    .collect()
            }),
            photos: rows(photos::items),
            answers: rows(|record| {
                let list = record.item.iter().enumerate();
                list.map(|(at, i)| {
                    named(i.id.text().unwrap_or_default(), None, None, String::new(), Some(at))
                })
                .collect()
            }),
        }
    }
}

fn named(group: &str, id: Option<&str>, name: Option<&str>, facts: String, place: Option<usize>) -> Item {
    Item {
        group: group.to_owned(),
        id: id.unwrap_or_default().to_owned(),
        name: name.unwrap_or_default().to_owned(),
        facts,
        place,
        ..Item::default()
    }
}

/// Compares inspections with the first of them. One inspection alone gives an empty comparison.
pub fn compare(inspections: &[Inspection]) -> Comparison {
    let columns = Columns { inspections, names: names::names(inspections) };
    let matches = Matches::of(inspections);
    let views: Vec<View> = inspections.par_iter().map(View::of).collect();
    let by_place = ByPlace::of(&columns, &matches);
    let elements = elements::compare(&columns, &matches.elements);
    let photos = photos::groups(&columns, &matches, &elements);
    let claims = claims(&columns);
    let statements =
        many(&columns, &matches.statements, "Claim in words:", "", &["id"], |r| &r.claims.statement);
    let parts = parts(&columns, &matches);
    let circumstances = circumstances(&columns, &matches);
    let derived = derived(&columns);
    let tests = bench::compare(&columns, &matches.tests);
    let mut totals = Totals::default();
    let all = parts
        .iter()
        .chain(&circumstances)
        .chain(&statements)
        .chain(elements.iter().map(|element| &element.found));
    all.for_each(|part| totals.add(&part.fields));
    totals.add(&Sorted::of(claims.clone()));
    let inspections: Vec<ComparedColumn> = inspections
        .iter()
        .zip(&columns.names)
        .zip(&views)
        .map(|((i, name), view)| column(i, name, view))
        .collect();
    Comparison {
        format: FORMAT,
        program: env!("CARGO_PKG_VERSION"),
        title: title(&columns),
        invented: inspections.iter().any(|inspection| inspection.invented),
        remarks: remarks(&columns, &inspections),
        ratings: (1..inspections.len()).map(|at| elements::answer(&columns, at - 1, at)).collect(),
        answers: ANSWERS
            .iter()
            .map(|at| views.iter().map(|view| view.answers[*at].clone()).collect())
            .collect(),
        changes: changes::changes(&columns, &views, &matches.elements, &elements),
        causes: causes::compare(&columns, &views, &by_place, &matches),
        drawings: picture::drawings(&columns, &views),
        totals,
        elements,
        derived,
        claims,
        statements,
        parts,
        circumstances,
        findings: findings::compare(&by_place, &matches),
        tests,
        photos,
        inspections,
    }
}

impl Totals {
    fn add(&mut self, rows: &Sorted) {
        self.changed += rows.changed.len();
        self.one_only += rows.one_only.len();
        self.not_compared += rows.not_compared.len();
        self.within += rows.within.len();
        self.same += rows.same.len();
    }
}

fn column(inspection: &Inspection, name: &str, view: &View) -> ComparedColumn {
    let manifest = hash_file(&inspection.folder.join(MANIFEST_NAME)).ok();
    ComparedColumn {
        name: name.to_owned(),
        title: view.title.clone(),
        pack: view.pack.clone(),
        invented: view.invented,
        date: inspection.record.inspection.date.date().map(|date| date.to_string()),
        rated_current: view.rated_current.clone(),
        rated_current_si: view.rated_current_si,
        weakest: view.path.weakest.clone(),
        permissible_current: view.path.permissible_current.said(),
        margin: view.path.margin.clone(),
        undecided: view.path.undecided.len(),
        counts: view.counts,
        // Of the file itself: what is published from a record with something withheld no longer has its text.
        record_sha256: hash_file(&inspection.folder.join(RECORD))
            .map_or_else(|_| String::new(), |d| d.to_string()),
        manifest_sha256: manifest.map(|digest| digest.to_string()),
    }
}

/// "Harbour 24-150: revision A and revision B"; without the model where it is not the same in all.
fn title(columns: &Columns<'_>) -> String {
    let names = crate::units::words::list(&columns.names, "and");
    let models: Vec<Option<&str>> =
        columns.inspections.iter().map(|inspection| inspection.record.inspection.model.text()).collect();
    match models.first() {
        Some(Some(model)) if models.windows(2).all(|pair| pair[0] == pair[1]) && !names.contains(model) => {
            format!("{model}: {names}")
        }
        _ => names,
    }
}

/// What the reader must know before trusting a difference.
fn remarks(columns: &Columns<'_>, inspections: &[ComparedColumn]) -> Vec<String> {
    let mut remarks = Vec::new();
    for (name, inspection) in columns.names.iter().zip(columns.inspections) {
        remarks.extend(inspection.book.files.iter().map(|file| format!("{name}: {}", file.told)));
    }
    for (at, inspection) in inspections.iter().enumerate() {
        if let Some(twin) =
            inspections[..at].iter().find(|other| other.record_sha256 == inspection.record_sha256)
        {
            remarks.push(format!("The records of {} and {} are the same file.", twin.name, inspection.name));
        }
    }
    let changes: Vec<_> = columns.inspections.iter().map(|i| &i.judgement.changes).collect();
    if changes.windows(2).any(|pair| pair[0] != pair[1]) {
        remarks.push(
            "The inspections were judged by different rule books: a house changed rules or limits for one of them. \
             Their findings are compared all the same."
                .to_owned(),
        );
    }
    let packs: Vec<_> = columns
        .inspections
        .iter()
        .map(|i| (i.record.inspection.maker.text(), i.record.inspection.model.text()))
        .collect();
    if packs.windows(2).any(|pair| pair[0] != pair[1]) {
        remarks.push("The packs are not of the same maker and model.".to_owned());
    }
    remarks
}

/// Price and claims, the rated continuous current first.
fn claims(columns: &Columns<'_>) -> Vec<Row> {
    let mut claims = rows(&columns.each(|record| &record.claims), columns, &[], true);
    claims.sort_by_key(|row| row.what != "continuous current");
    let price = rows(&columns.each(|record| &record.inspection), columns, &[], false);
    let at = usize::from(!claims.is_empty());
    claims.splice(at..at, price.into_iter().filter(|row| row.what == "price"));
    claims
}

/// What follows for the pack as a whole.
fn derived(columns: &Columns<'_>) -> Sorted {
    // How many tests there are is a question of the checklist, and the tests are compared by themselves.
    let facts = FACTS.iter().filter(|fact| {
        !fact.name.starts_with("element.")
            && !fact.name.starts_with("test.")
            && fact.name != "pack.full_load_tests"
    });
    let rows = facts.filter_map(|fact| {
        let answers: Vec<Option<&Answer>> =
            columns.inspections.iter().map(|inspection| inspection.derived.of_pack(fact.name)).collect();
        let known = answers.iter().flatten().any(|answer| answer.is_ok());
        known.then(|| elements::of_answers(fact.about, &answers, columns))
    });
    Sorted::of(rows.collect())
}

/// Every part that is not the path, a claim, a test or a photo.
fn parts(columns: &Columns<'_>, matches: &Matches) -> Vec<PartComparison> {
    let mut parts = vec![
        single(columns, "Cells", &[], |r| &r.cells),
        single(columns, "BMS", &[], |r| &r.bms),
        single(columns, "Heater", &[], |r| &r.heater),
        single(columns, "Enclosure", &[], |r| &r.enclosure),
        single(columns, "Service", &[], |r| &r.service),
        single(columns, "Marking", &[], |r| &r.marking),
        single(columns, "Current path", &[], |r| &r.path),
    ];
    parts.extend(many(columns, &matches.layers, "Heat path, layer", " from the devices", &[], |r| {
        &r.bms.layer
    }));
    parts.extend(many(columns, &matches.readings, "Cell reading", "", &[], |r| &r.cells.reading));
    parts.extend(many(columns, &matches.answers, "Checklist answer", "", &[], |r| &r.item));
    parts.retain(|part| !part.fields.is_empty());
    parts
}

/// Who inspected, when, where and with what.
fn circumstances(columns: &Columns<'_>, matches: &Matches) -> Vec<PartComparison> {
    let mut parts = vec![single(columns, "Inspection", &["title", "invented", "price"], |r| &r.inspection)];
    parts.extend(many(columns, &matches.instruments, "Instrument", "", &["id"], |r| &r.instrument));
    parts.push(single(columns, "Notes", &["schema"], |record| record));
    parts.retain(|part| !part.fields.is_empty());
    parts
}

fn single<P: Part>(
    columns: &Columns<'_>,
    name: &str,
    without: &[&str],
    part: impl Fn(&Record) -> &P,
) -> PartComparison {
    let each: Vec<Option<&P>> = columns.inspections.iter().map(|i| Some(part(&i.record))).collect();
    PartComparison {
        name: name.to_owned(),
        matched_by: None,
        only_in: Vec::new(),
        fields: Sorted::of(rows(&each, columns, without, false)),
    }
}

fn many<P: Part>(
    columns: &Columns<'_>,
    matched: &Rows,
    name: &str,
    from: &str,
    without: &[&str],
    list: impl Fn(&Record) -> &Vec<P>,
) -> Vec<PartComparison> {
    matched
        .rows
        .iter()
        .map(|row| {
            let each: Vec<Option<&P>> = row
                .at
                .iter()
                .zip(columns.inspections)
                .map(|(at, inspection)| at.and_then(|at| list(&inspection.record).get(at)))
                .collect();
            let told = each.iter().flatten().next().and_then(|part| {
                let word =
                    ["text", "name", "position", "id"].iter().find_map(|field| part.found(field)?.value());
                word.map(crate::record::Value::show)
            });
            PartComparison {
                name: told.map_or_else(|| name.to_owned(), |told| format!("{name} {told}")),
                matched_by: row.tie.map(|(tie, _)| tie.words(from)),
                only_in: columns.only_in(&row.at),
                fields: Sorted::of(rows(&each, columns, without, false)),
            }
        })
        .collect()
}
