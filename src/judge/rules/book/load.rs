//! From the text of a rule book to checked rules: every name must exist, every comparison must have one dimension,
//! every problem is told at its place. Nothing here knows a record.

use std::ops::Range;

use super::{
    Agree, Book, CauseRule, Change, Effort, HeadlineRule, Limit, LookRule, Modification, Plausible, Rule,
    Source, SourceReading, Stage, SupportRule, Telling,
};
use crate::judge::facts::{FACTS, field_info};
use crate::judge::rules::expr::{self, Expr, ExprError, Node, Type};
use crate::judge::rules::finding::{Class, Grade};
use crate::judge::rules::names::Names;
use crate::judge::rules::scope::Scope;
use crate::record::field::{Day, List, Text, YesNo};
use crate::record::part::{document, needed, part};
use crate::record::parts::{Claims, ElementKind};
use crate::record::problem::{Problem, Problems};
use crate::record::{Entry, Found, Part, read_answer, words};
use crate::units::words::did_you_mean;
use crate::units::{Amount, Uncertain};

words! {
    /// What an absent fact means for a rule.
    pub enum AbsentMeans {
        /// a fact that was looked for and is not there leaves the rule open
        NotDecided = "not decided",
        /// a fact that was looked for and is not there is the nonconformity
        FallsShort = "falls short",
    }
}

part! {
    /// A rule book.
    pub struct BookFile {
        /// Version of the rule book's format.
        schema: crate::record::field::Count = "1",
        ; many {
            /// A source that rules and limits cite.
            source: SourceEntry,
            /// A rule.
            rule: RuleEntry,
            /// A named limit.
            limit: LimitEntry,
            /// A cause: one defect that several rules tell of.
            cause: CauseEntry,
            /// How a fact is come by.
            effort: EffortEntry,
            /// Facts with what it takes to look at them.
            look: LookEntry,
            /// A question that the first look is for.
            headline: HeadlineEntry,
            /// A change to a pack that could support a claim.
            modification: ModificationEntry,
            /// A claim, with the rules that it has to pass.
            support: SupportEntry,
            /// A change to a rule of the built-in book.
            change: ChangeEntry,
            /// The range in which a value of the record is taken as it stands.
            plausible: PlausibleEntry,
            /// Two ways to the same thing that must not be far apart.
            agree: AgreeEntry,
        }
    }
}

part! {
    /// A rule: one comparison.
    pub struct RuleEntry {
        /// Its id, unique in the book.
        id: Text = "fuse-rating-over-load",
        /// What it requires, in a line.
        title: Text = "Fuse rating leaves a margin over the rated continuous current",
        /// What is said when it falls short, in a line.
        fault: Text = "The fuse is too small for the rated continuous current",
        /// The subject it is listed under.
        subject: Text = "overcurrent protection",
        /// The claim that it tests, where it tests one: a key of `[claims]`.
        tests_claim: Text = "continuous_current",
        /// Kinds of element, or the list part, that it is applied to each of.
        each: List = "fuse",
        /// When it applies.
        when: Text = "element.responds_to is \"current\"",
        /// The comparison.
        require: Text = "element.rating >= limit.fuse_load_factor * claims.continuous_current",
        /// Grade of the nonconformity.
        grade: Grade = "major",
        /// What an absent fact means.
        absent: AbsentMeans = "falls short",
        /// What its threshold rests on; custom when left out.
        class: Class = "physics",
        /// Ids of the sources that it cites; physics and published need one of their own kind.
        source: List = "ohms-law",
        /// How its threshold rests on its sources.
        basis: Text = "house rule",
        /// The most favourable record on which it may say "meets", argued in a line.
        meets_when: Text = "A link of 125 A on a rated current of 100 A",
        /// Its grade before, where it was another one.
        was: Grade = "major",
        /// What changed, and why.
        changed: Text = "was a custom limit: the standard's table is read now",
        /// Why it matters.
        why: Text = "A fuse run near its rating ages and opens without a fault.",
        /// What to measure or look at, and how.
        measure: Text = "Read the rating printed on the fuse.",
        /// What to do when it falls short.
        advice: Text = "Ask the maker which fuse belongs there.",
    }
}

part! {
    /// A named limit.
    pub struct LimitEntry {
        /// Its name, used as `limit.name`.
        name: Text = "fuse_load_factor",
        /// Its value.
        value: crate::record::field::AnyQuantity = "1.25",
        /// What it is.
        about: Text = "fuse rating over rated continuous current",
        /// What it rests on; custom when left out.
        class: Class = "custom",
        /// Ids of the sources that it cites; physics and published need one of their own kind.
        source: List = "nec-210-20",
        /// How it rests on them.
        basis: Text = "common practice, no source",
    }
}

part! {
    /// Something that was read, or a law of physics with its argument.
    pub struct SourceEntry {
        /// Its id, by which rules and limits cite it.
        id: Text = "iso-8820-5",
        /// What it is a source of: physics or published.
        class: Class = "published",
        /// Its title with the edition.
        title: Text = "ISO 8820-5:2015, road vehicles, fuse-links with axial terminals",
        /// Clause, table or page.
        clause: Text = "scope",
        /// How it was read.
        read: SourceReading = "public copy",
        /// Where it was read.
        address: Text = "example.org/iso-8820-5",
        /// When it was read.
        date: Day = "2026-11-26",
        /// What it says, as far as the book rests on it.
        says: Text = "rated voltage 32 V, breaking capacity 2 000 A",
    }
}

part! {
    /// A cause: one defect that several rules tell of. It is one finding, with what it leads to beneath it.
    pub struct CauseEntry {
        /// Its id.
        id: Text = "fuse-too-small",
        /// What is said of the pack, in a line; what the first of its rules says when left out.
        fault: Text = "The fuse is too small for the rated continuous current",
        /// The rules that make it, gravest first, each with `where` and a condition if it does not always.
        from: List = "fuse-rating-over-load",
        /// The rules that fall short because of it, written alike.
        leads_to: List = "fuse-derated, element-carries-rated-current",
        /// Whether only findings about the same part belong together.
        same_part: YesNo = "yes",
    }
}

part! {
    /// The range in which a value of the record is taken as it stands.
    pub struct PlausibleEntry {
        /// The fields, by their names in expressions.
        of: List = "cells.resistance",
        /// Kinds of element, where not all.
        each: List = "busbar",
        /// When it applies.
        when: Text = "test.kind is \"capacity\"",
        /// Lower end.
        least: Text = "8 mV / (cells.capacity * 1 C)",
        /// Upper end.
        most: Text = "79 mΩ",
        /// What the range is that of.
        about: Text = "a cell of this capacity",
        /// Its source.
        basis: Text = "common practice, no source",
    }
}

part! {
    /// How a fact is come by.
    pub struct EffortEntry {
        /// Its name.
        id: Text = "meter",
        /// How long it takes.
        time: crate::record::field::Time = "60 s",
        /// What to beware of.
        caution: Text = "Live parts: insulated probes.",
    }
}

part! {
    /// Facts with what it takes to look at them. The first entry that names a fact holds.
    pub struct LookEntry {
        /// Names of facts in expressions; `part.*` is all of a part.
        facts: List = "element.rating",
        /// Rules that a closer measure would decide.
        rules: List = "joint-drop",
        /// How they are come by.
        effort: Text = "marking",
        /// When in a session.
        stage: Stage = "lid off",
        /// How to get them, where the rules do not say it.
        how: Text = "A four-wire meter from end to end of the part.",
    }
}

part! {
    /// A question that the first look is for, with the rules that answer it.
    pub struct HeadlineEntry {
        /// Its id.
        id: Text = "protection",
        /// The question.
        question: Text = "Is there protection that works?",
        /// The rules that answer it.
        rules: List = "fuse-present",
        /// What is told with the answer, with a fact of the pack in braces.
        tells: Text = "the weakest part known carries {path.permissible_current}",
        /// What decides it where looking does not.
        beyond: Text = "Only a test at full load decides it.",
    }
}

part! {
    /// A change to a pack that could support a claim.
    pub struct ModificationEntry {
        /// Its id.
        id: Text = "copper-bar",
        /// Kinds of element that it may be made to; the pack where there are none.
        each: List = "busbar",
        /// When it may be made.
        when: Text = "path.overcurrent_devices < 1",
        /// What stays of the part; all of it when left out.
        keeps: List = "id, kind, leg",
        /// What is set, a field and its value each.
        sets: List = "element.material = copper",
        /// The field whose smallest change is looked for.
        vary: Text = "element.section",
        /// Its values, from the smallest change to the largest.
        values: List = "20 x 3 mm, 30 x 5 mm",
        /// The first value that is not below this is the only one tried.
        least: Text = "claims.continuous_current",
        /// Whether the part is taken out.
        takes_out: YesNo = "yes",
        /// Whether a part is added at the positive end of the cells.
        adds: YesNo = "yes",
        /// The change in words.
        said: Text = "{part} of copper, at least {value}",
    }
}

part! {
    /// A claim, with the rules that it has to pass and the changes that could support it.
    pub struct SupportEntry {
        /// A key of `[claims]`.
        claim: Text = "continuous_current",
        /// The claim in words.
        said: Text = "rated continuous current",
        /// The fact that is its figure as built; the figure is looked for where none is named.
        figure: Text = "path.permissible_current",
        /// The rules that it has to pass.
        rules: List = "cell-rate",
        /// The changes that are tried.
        modifications: List = "copper-bar",
    }
}

part! {
    /// Two ways to the same thing that must not be far apart.
    pub struct AgreeEntry {
        /// What is compared, in a line.
        title: Text = "energy against capacity and voltage",
        /// Kinds of element, or the list part, that it is about.
        each: List = "busbar",
        /// When it applies.
        when: Text = "test.kind is \"capacity\"",
        /// One way.
        this: Text = "claims.energy",
        /// The other way.
        that: Text = "claims.capacity * claims.nominal_voltage",
        /// Least ratio of the first to the second.
        least: crate::record::field::Ratio = "0.9",
        /// Largest ratio of the first to the second.
        most: crate::record::field::Ratio = "1.1",
        /// Facts besides the two that rest on them.
        takes: List = "path.drop",
        /// Whether the difference is told as what nothing explains.
        unexplained: YesNo = "yes",
        /// Its source.
        basis: Text = "common practice, no source",
    }
}

part! {
    /// A change to a rule of the built-in book.
    pub struct ChangeEntry {
        /// The rule's id.
        rule: Text = "sense-wires-fused",
        /// A grade for it.
        grade: Grade = "minor",
        /// Whether it is turned off.
        off: YesNo = "yes",
        /// Why. The write-up prints it.
        reason: Text = "our packs have the fuses on the board",
    }
}

/// Reads what a file of rules says, without a book.
///
/// # Errors
/// [`Problems`] with every place that is wrong.
pub(super) fn entries(file: &str, text: &str) -> Result<BookFile, Problems> {
    document(file, text, |_, _: &BookFile| {})
}

/// Adds the limits, rules and changes of a text to a book; those of a house are marked as its own.
///
/// # Errors
/// [`Problems`] with every place that is wrong.
pub(super) fn add(
    book: &mut Book,
    file: &str,
    text: &str,
    entries: &BookFile,
    house: bool,
) -> Result<(), Problems> {
    let mut loading = Loading { text, problems: Vec::new(), house };
    for entry in &entries.source {
        loading.source(book, entry);
    }
    for entry in &entries.limit {
        loading.limit(book, entry);
    }
    let names = Names::new(book.limits.iter().map(|l| (l.name.clone(), l.amount.dimension)));
    for entry in &entries.rule {
        if let Some(rule) = loading.rule(book, entry, &names) {
            book.rules.push(rule);
        }
    }
    for entry in &entries.cause {
        if let Some(cause) = loading.cause(book, entry, &names) {
            book.causes.push(cause);
        }
    }
    for entry in &entries.effort {
        loading.effort(book, entry);
    }
    // What a house says of a fact comes before what is built in.
    let looks: Vec<LookRule> = entries.look.iter().filter_map(|entry| loading.look(book, entry)).collect();
    book.looks.splice(0..0, looks);
    for entry in &entries.headline {
        loading.headline(book, entry);
    }
    for entry in &entries.plausible {
        loading.plausible(book, entry, &names);
    }
    for entry in &entries.agree {
        if let Some(agree) = loading.agree(entry, &names) {
            book.agree.push(agree);
        }
    }
    let tried: Vec<Modification> =
        entries.modification.iter().filter_map(|entry| loading.modification(entry, &names)).collect();
    for entry in &entries.support {
        if let Some(support) = loading.support(book, entry, &tried) {
            book.supports.retain(|known| known.claim != support.claim);
            book.supports.push(support);
        }
    }
    for entry in &entries.change {
        loading.change(book, entry);
    }
    if loading.problems.is_empty() { Ok(()) } else { Err(Problems::new(file, text, loading.problems)) }
}

/// Where the rules are listed.
const LISTED: &str = "a rule listed by `underlid explain`";

struct Loading<'a> {
    text: &'a str,
    problems: Vec<Problem>,
    house: bool,
}

impl Loading<'_> {
    fn problem(&mut self, span: Range<usize>, message: String, expected: &str, example: &str) {
        self.problems.push(Problem::at(span, message, expected, example));
    }

    /// Tells of an id that nothing has.
    fn no_such<'k, T>(
        &mut self,
        found: &Found,
        what: &str,
        id: &str,
        known: impl Iterator<Item = &'k str>,
        otherwise: &str,
    ) -> Option<T> {
        let expected = did_you_mean(id, known, otherwise);
        self.problem(found.span.clone(), format!("there is no {what} `{id}`"), &expected, "");
        None
    }

    fn needed(
        &mut self,
        entry: &Entry<Text>,
        own: &Range<usize>,
        key: &str,
        example: &str,
    ) -> Option<String> {
        needed(&mut self.problems, entry, own, key, example)
    }

    fn source(&mut self, book: &mut Book, entry: &SourceEntry) {
        let own = &entry.own.span;
        let id = self.needed(&entry.id, own, "id", "id = \"iso-8820-5\"");
        let title = self.needed(&entry.title, own, "title", "title = \"ISO 8820-5:2015, fuse-links\"");
        let (Some(id), Some(title)) = (id, title) else { return };
        let class = entry.class.known().unwrap_or(Class::Custom);
        let date = entry.date.date().map(|date| date.to_string());
        let unread = entry.read.known().is_none() || entry.address.text().is_none() || date.is_none();
        let (says, message, example) = match class {
            _ if book.source(&id).is_some() => {
                ("an id of its own", "there is a source of that id already", "")
            }
            Class::Custom => ("physics or published", "a custom has no source", "class = \"published\""),
            Class::Published if unread => (
                "`read`, `address` and `date`",
                "what is published has to have been read",
                "read = \"public copy\"\naddress = \"example.org/text\"\ndate = 2026-11-26",
            ),
            Class::Physics if entry.says.text().is_none() => {
                ("`says`", "a law of physics needs its argument", "says = \"U = R·I\"")
            }
            _ => ("", "", ""),
        };
        if !message.is_empty() {
            self.problem(
                own.clone(),
                format!("source `{id}`: {message}"),
                &format!("expected {says}"),
                example,
            );
            return;
        }
        let text = |entry: &Entry<Text>| entry.text().unwrap_or_default().to_owned();
        book.sources.push(Source {
            id,
            class,
            title,
            clause: text(&entry.clause),
            read: entry.read.known(),
            address: text(&entry.address),
            date: date.unwrap_or_default(),
            says: text(&entry.says),
        });
    }

    /// Class and sources of a rule or a limit: what is cited exists, and physics and published cite their own kind.
    fn grounds(
        &mut self,
        book: &Book,
        class: &Entry<Class>,
        cited: &Entry<List>,
        own: &Range<usize>,
    ) -> (Class, Vec<String>) {
        let (stated, ids) = (class.known().unwrap_or(Class::Custom), cited.list().to_vec());
        for id in ids.iter().filter(|id| book.source(id).is_none()) {
            let known = book.sources.iter().map(|source| source.id.as_str());
            let _: Option<()> =
                self.no_such(cited.found(), "source", id, known, "expected the id of a [[source]]");
        }
        let read = |source: &Source| stated == Class::Physics || source.read == Some(SourceReading::Copy);
        let of_kind =
            |id: &String| book.source(id).is_some_and(|source| source.class == stated && read(source));
        if stated != Class::Custom && !ids.iter().any(of_kind) {
            let what = match stated {
                Class::Physics => "what rests on physics cites the law that it rests on",
                _ => "what is published cites a source that was read in a public copy",
            };
            self.problem(own.clone(), what.to_owned(), "expected `source`", "source = [\"ohms-law\"]");
        }
        (stated, ids)
    }

    fn limit(&mut self, book: &mut Book, entry: &LimitEntry) {
        let own = &entry.own.span;
        let Some(name) = self.needed(&entry.name, own, "name", "name = \"fuse_load_factor\"") else {
            return;
        };
        let span = entry.value.found().span.clone();
        let Some(read) = entry.value.quantity() else {
            self.problem(
                own.clone(),
                "`value` is missing".to_owned(),
                "expected a quantity",
                "value = \"1.25\"",
            );
            return;
        };
        let amount = Amount { number: Uncertain::exact(read.value), dimension: read.dimension };
        let basis = entry.basis.text().unwrap_or("house limit").to_owned();
        let about = entry.about.text().map(str::to_owned);
        let (class, sources) = self.grounds(book, &entry.class, &entry.source, own);
        match book.limits.iter_mut().find(|limit| limit.name == name) {
            Some(_) if !self.house => {
                self.problem(span, format!("limit `{name}` is set twice"), "expected one value", "");
            }
            Some(limit) if limit.amount.dimension != amount.dimension => {
                let (old, new) = (limit.amount.dimension, amount.dimension);
                self.problem(
                    span,
                    format!("`{name}` is {}, this is {}", old.name(), new.name()),
                    &format!("expected {}", old.name()),
                    &format!("value = \"{}\"", limit.text.clone()),
                );
            }
            Some(limit) => {
                book.changes.push(Change {
                    what: format!("limit `{name}` set to {} (was {})", read.text, limit.text),
                    reason: basis.clone(),
                });
                limit.amount = amount;
                limit.text.clone_from(&read.text);
                limit.basis = basis;
                (limit.class, limit.sources) = (class, sources);
            }
            None => book.limits.push(Limit {
                name,
                amount,
                text: read.text.clone(),
                about: about.unwrap_or_default(),
                class,
                basis,
                sources,
            }),
        }
    }

    fn rule(&mut self, book: &Book, entry: &RuleEntry, names: &Names) -> Option<Rule> {
        let own = entry.own.span.clone();
        let id = self.needed(&entry.id, &own, "id", "id = \"house-fuse-brand\"");
        let require_text = self.needed(
            &entry.require,
            &own,
            "require",
            "require = 'element.rating >= 1.25 * claims.continuous_current'",
        );
        let (id, require_text) = (id?, require_text?);
        if book.rule(&id).is_some() {
            self.problem(
                entry.id.found().span.clone(),
                format!("there is a rule `{id}` already"),
                "expected an id of its own",
                "[[change]] changes a rule of the built-in book",
            );
            return None;
        }
        let scope = self.scope(entry)?;
        let (require, kind) = self.expression(&require_text, &entry.require, names, &scope)?;
        if !matches!(require.node, Node::Compare(..) | Node::OneOf(..)) || kind != Type::YesNo {
            self.problem(
                entry.require.found().span.clone(),
                "`require` is one comparison".to_owned(),
                "expected left, relation, right",
                "require = 'element.permissible_current >= claims.continuous_current'",
            );
            return None;
        }
        let when = match entry.when.text() {
            None => None,
            Some(text) => {
                let (when, kind) = self.expression(text, &entry.when, names, &scope)?;
                if kind != Type::YesNo {
                    let span = entry.when.found().span.clone();
                    self.problem(
                        span,
                        "`when` is a yes or a no".to_owned(),
                        "a comparison",
                        "when = 'heater.present is yes'",
                    );
                    return None;
                }
                Some((text.to_owned(), when))
            }
        };
        let (class, sources) = self.grounds(book, &entry.class, &entry.source, &own);
        let grade = entry.grade.known().unwrap_or(Grade::Minor);
        Some(Rule {
            title: entry.title.text().unwrap_or(&id).to_owned(),
            fault: entry.fault.text().or(entry.title.text()).unwrap_or(&id).to_owned(),
            subject: entry.subject.text().unwrap_or("house rules").to_owned(),
            tests_claim: self.claim(&entry.tests_claim),
            scope,
            when,
            require_text,
            require,
            grade,
            class,
            stated: (class, grade),
            absent_falls_short: entry.absent.known() == Some(AbsentMeans::FallsShort),
            basis: entry.basis.text().unwrap_or("house rule").to_owned(),
            sources,
            cited: Vec::new(),
            meets_when: entry.meets_when.text().unwrap_or_default().to_owned(),
            was: entry.was.known(),
            changed: entry.changed.text().unwrap_or_default().to_owned(),
            why: entry.why.text().unwrap_or_default().to_owned(),
            measure: entry.measure.text().unwrap_or_default().to_owned(),
            advice: entry.advice.text().unwrap_or_default().to_owned(),
            off: None,
            house: self.house,
            id,
        })
    }

    /// The claim that a rule tests; empty where it tests none.
    fn claim(&mut self, entry: &Entry<Text>) -> String {
        let name = entry.text().unwrap_or_default();
        let mut known = Claims::SHAPE.fields.iter().map(|field| field.name);
        if !name.is_empty() && !known.any(|field| field == name) {
            let message = format!("there is no claim `{name}`");
            let example = "tests_claim = \"continuous_current\"";
            self.problem(entry.found().span.clone(), message, "expected a key of [claims]", example);
        }
        name.to_owned()
    }

    fn cause(&mut self, book: &Book, entry: &CauseEntry, names: &Names) -> Option<CauseRule> {
        let own = entry.own.span.clone();
        let id = self.needed(&entry.id, &own, "id", "id = \"fuse-too-small\"")?;
        let from = self.tellings(book, &entry.from, names)?;
        let Some(first) = from.first() else {
            let example = "from = [\"fuse-rating-over-load\"]";
            self.problem(own, "`from` is missing".to_owned(), "expected the rules that make it", example);
            return None;
        };
        let of_rule = book.rule(&first.rule).map(|rule| rule.fault.clone()).unwrap_or_default();
        Some(CauseRule {
            fault: entry.fault.text().map_or(of_rule, str::to_owned),
            leads_to: self.tellings(book, &entry.leads_to, names)?,
            same_part: entry.same_part.yes() == Some(true),
            from,
            id,
        })
    }

    fn effort(&mut self, book: &mut Book, entry: &EffortEntry) {
        let Some(id) = self.needed(&entry.id, &entry.own.span, "id", "id = \"meter\"") else { return };
        let Some(time) = entry.time.quantity() else {
            let message = "`time` is missing".to_owned();
            self.problem(entry.own.span.clone(), message, "expected how long it takes", "time = \"60 s\"");
            return;
        };
        book.efforts.retain(|effort| effort.id != id);
        let caution = entry.caution.text().unwrap_or_default().to_owned();
        book.efforts.push(Effort { id, time_s: time.value, caution });
    }

    fn look(&mut self, book: &Book, entry: &LookEntry) -> Option<LookRule> {
        let own = entry.own.span.clone();
        let id = self.needed(&entry.effort, &own, "effort", "effort = \"marking\"")?;
        let Some(effort) = book.efforts.iter().find(|effort| effort.id == id) else {
            let known: Vec<&str> = book.efforts.iter().map(|effort| effort.id.as_str()).collect();
            let expected = format!("expected one of: {}", known.join(", "));
            return self.no_such(entry.effort.found(), "effort", &id, std::iter::empty(), &expected);
        };
        let every = entry.rules.list().iter().all(|id| id == "*");
        Some(LookRule {
            facts: entry.facts.list().to_vec(),
            rules: if every { entry.rules.list().to_vec() } else { self.rules(book, &entry.rules)? },
            effort: effort.clone(),
            stage: entry.stage.known().unwrap_or(Stage::LidOff),
            how: entry.how.text().unwrap_or_default().to_owned(),
        })
    }

    /// Rules by their ids.
    fn rules(&mut self, book: &Book, entry: &Entry<List>) -> Option<Vec<String>> {
        let unknown = entry.list().iter().find(|id| book.rule(id).is_none());
        let Some(id) = unknown else { return Some(entry.list().to_vec()) };
        let known = book.rules.iter().map(|rule| rule.id.as_str());
        self.no_such(entry.found(), "rule", id, known, LISTED)
    }

    fn headline(&mut self, book: &mut Book, entry: &HeadlineEntry) -> Option<()> {
        let own = &entry.own.span;
        let id = self.needed(&entry.id, own, "id", "id = \"protection\"")?;
        let example = "question = \"Is there protection that works?\"";
        let question = self.needed(&entry.question, own, "question", example)?;
        let rules = self.rules(book, &entry.rules)?;
        let tells = match entry.tells.text() {
            Some(text) => Some(self.with_fact(text, &entry.tells)?),
            None => None,
        };
        let beyond = entry.beyond.text().unwrap_or_default().to_owned();
        book.headlines.retain(|headline| headline.id != id);
        book.headlines.push(HeadlineRule { id, question, rules, tells, beyond });
        Some(())
    }

    /// Words with one fact of the pack in braces: what stands before it, its name, what stands after it.
    fn with_fact(&mut self, text: &str, entry: &Entry<Text>) -> Option<[String; 3]> {
        let parts = text.split_once('{').and_then(|(before, rest)| Some((before, rest.split_once('}')?)));
        let known = |name: &str| Scope::Pack.knows(name) && FACTS.iter().any(|fact| fact.name == name);
        if let Some((before, (name, after))) = parts
            && known(name)
        {
            return Some([before, name, after].map(str::to_owned));
        }
        self.problem(
            entry.found().span.clone(),
            "`tells` has no fact of the pack in braces".to_owned(),
            "a sentence with the name of a fact in it",
            "tells = \"the weakest part known carries {path.permissible_current}\"",
        );
        None
    }

    fn modification(&mut self, entry: &ModificationEntry, names: &Names) -> Option<Modification> {
        let own = &entry.own.span;
        let id = self.needed(&entry.id, own, "id", "id = \"copper-bar\"")?;
        let said = self.needed(&entry.said, own, "said", "said = \"{part} of copper\"")?;
        let head = if entry.each.list().is_empty() { "" } else { "element" };
        let (scope, _) = self.part(&entry.each, head)?;
        let mut expression =
            |entry: &Entry<Text>| Some(self.expression(entry.text()?, entry, names, &scope)?.0);
        let (when, least) = (expression(&entry.when), expression(&entry.least));
        let vary = entry.vary.text().unwrap_or_default();
        let mut state = |name: &str, value: &str, entry: &Entry<List>| {
            let read = field_info(name).map(|info| read_answer(info, value));
            let problem = match read {
                Some(Ok(state)) => return Some((name.to_owned(), state)),
                Some(Err(problem)) => format!("`{name} = {value}`: {}", problem.message),
                None => format!("`{name}` is no field of a record"),
            };
            self.problem(entry.found().span.clone(), problem, "a field", "element.material = copper");
            None
        };
        let set = |text: &String| {
            let (name, value) = text.split_once('=').unwrap_or((text, ""));
            state(name.trim(), value.trim(), &entry.sets)
        };
        let sets: Option<Vec<_>> = entry.sets.list().iter().map(set).collect();
        let values: Option<Vec<_>> =
            entry.values.list().iter().map(|value| state(vary, value, &entry.values)).collect();
        Some(Modification {
            id,
            scope,
            when,
            keeps: entry.keeps.list().to_vec(),
            sets: sets?,
            values: values?,
            least,
            takes_out: entry.takes_out.yes() == Some(true),
            adds: entry.adds.yes() == Some(true),
            said,
        })
    }

    fn support(&mut self, book: &Book, entry: &SupportEntry, tried: &[Modification]) -> Option<SupportRule> {
        let claim = self.claim(&entry.claim);
        let said = self.needed(&entry.said, &entry.own.span, "said", "said = \"peak current\"")?;
        let rules = self.rules(book, &entry.rules)?;
        let mut modifications = Vec::new();
        for id in entry.modifications.list() {
            let Some(known) = tried.iter().find(|known| known.id == *id) else {
                let ids = tried.iter().map(|known| known.id.as_str());
                let found = entry.modifications.found();
                return self.no_such(found, "modification", id, ids, "one of this file");
            };
            modifications.push(known.clone());
        }
        let figure = entry.figure.text().map(str::to_owned);
        Some(SupportRule { claim, said, figure, rules, modifications })
    }

    /// Rules that tell of a cause: `RULE`, or `RULE where CONDITION`.
    fn tellings(&mut self, book: &Book, entry: &Entry<List>, names: &Names) -> Option<Vec<Telling>> {
        let mut tellings = Vec::new();
        for text in entry.list() {
            let (id, when) = match text.split_once(" where ") {
                Some((id, when)) => (id.trim(), Some(when)),
                None => (text.as_str(), None),
            };
            let Some(rule) = book.rule(id) else {
                let known = book.rules.iter().map(|rule| rule.id.as_str());
                return self.no_such(entry.found(), "rule", id, known, LISTED);
            };
            let when = match when {
                None => None,
                Some(when) => match self.expression(when, entry, names, &rule.scope)? {
                    (when, Type::YesNo) => Some(when),
                    _ => {
                        let span = entry.found().span.clone();
                        let example = "fuse-present where path.complete is yes";
                        self.problem(
                            span,
                            "what follows `where` is a yes or a no".to_owned(),
                            "a comparison",
                            example,
                        );
                        return None;
                    }
                },
            };
            tellings.push(Telling { rule: id.to_owned(), when });
        }
        Some(tellings)
    }

    /// One range for each field that an entry names.
    fn plausible(&mut self, book: &mut Book, entry: &PlausibleEntry, names: &Names) {
        let own = entry.own.span.clone();
        let fields = entry.of.list();
        if fields.is_empty() {
            let expected = "expected the fields that it is about";
            self.problem(own, "`of` is missing".to_owned(), expected, "of = \"cells.resistance\"");
            return;
        }
        for of in fields {
            let head = of.split('.').next().unwrap_or_default();
            let Some((scope, kinds)) = self.part(&entry.each, head) else { return };
            let Ok(Type::Amount(dimension)) = names.lookup(of) else {
                let example = "of = \"cells.resistance\"";
                let span = entry.of.found().span.clone();
                self.problem(span, format!("`{of}` is no quantity of a record"), "expected one", example);
                return;
            };
            let mut end = |bound: &Entry<Text>| {
                let (expr, kind) = self.expression(bound.text()?, bound, names, &scope)?;
                if kind != Type::Amount(dimension) {
                    let (span, wanted) = (bound.found().span.clone(), dimension.name());
                    self.problem(
                        span,
                        format!("`{of}` is {wanted}, this is {}", kind.name()),
                        "expected the same",
                        "",
                    );
                }
                Some(expr)
            };
            let (least, most) = (end(&entry.least), end(&entry.most));
            let when = entry.when.text().and_then(|text| self.expression(text, &entry.when, names, &scope));
            book.plausible.push(Plausible {
                of: of.clone(),
                kinds,
                when: when.map(|(when, _)| when),
                least,
                most,
                about: entry.about.text().unwrap_or_default().to_owned(),
                basis: entry.basis.text().unwrap_or("house rule").to_owned(),
            });
        }
    }

    fn agree(&mut self, entry: &AgreeEntry, names: &Names) -> Option<Agree> {
        let own = entry.own.span.clone();
        let example = "this = 'claims.energy'";
        let this = self.needed(&entry.this, &own, "this", example);
        let that =
            self.needed(&entry.that, &own, "that", "that = 'claims.capacity * claims.nominal_voltage'");
        let title =
            self.needed(&entry.title, &own, "title", "title = \"energy against capacity and voltage\"")?;
        let heads = ["element", "layer", "reading", "test", "statement"];
        let (this, that) = (this?, that?);
        let head = heads
            .into_iter()
            .find(|head| this.contains(&format!("{head}.")) || that.contains(&format!("{head}.")));
        let head = head.unwrap_or("").to_owned();
        let (scope, kinds) = self.part(&entry.each, &head)?;
        let (left, kind) = self.expression(&this, &entry.this, names, &scope)?;
        let (right, other) = self.expression(&that, &entry.that, names, &scope)?;
        if kind != other {
            let span = entry.that.found().span.clone();
            self.problem(
                span,
                format!("one is {}, the other {}", kind.name(), other.name()),
                "expected the same",
                "",
            );
            return None;
        }
        let when = entry.when.text().and_then(|text| self.expression(text, &entry.when, names, &scope));
        let ratio = |ratio: &Entry<crate::record::field::Ratio>| ratio.quantity().map(|ratio| ratio.value);
        let mut agree = Agree {
            title,
            head,
            kinds,
            when: when.map(|(when, _)| when),
            this: (this, left),
            that: (that, right),
            least: ratio(&entry.least),
            most: ratio(&entry.most),
            takes: entry.takes.list().to_vec(),
            unexplained: entry.unexplained.yes() == Some(true),
            basis: entry.basis.text().unwrap_or("house rule").to_owned(),
            of_record: false,
        };
        agree.of_record = agree.names().iter().all(|name| is_of_the_record(name));
        Some(agree)
    }

    /// The scope of a part by the head of its names, narrowed to kinds of element.
    fn part(&mut self, each: &Entry<List>, head: &str) -> Option<(Scope, Vec<ElementKind>)> {
        let listed = each.list();
        let is_part = matches!(
            head,
            "element" | "layer" | "reading" | "test" | "statement" | "load" | "source" | "rig"
        );
        let words = if listed.is_empty() && is_part { vec![head.to_owned()] } else { listed.to_vec() };
        let scope =
            Scope::of(&words, &each.found().span).map_err(|problem| self.problems.push(problem)).ok()?;
        let kinds = match &scope {
            Scope::Elements(kinds) if !listed.is_empty() => kinds.clone(),
            _ => Vec::new(),
        };
        Some((scope, kinds))
    }

    fn scope(&mut self, entry: &RuleEntry) -> Option<Scope> {
        Scope::of(entry.each.list(), &entry.each.found().span)
            .map_err(|problem| self.problems.push(problem))
            .ok()
    }

    fn expression<T>(
        &mut self,
        text: &str,
        entry: &Entry<T>,
        names: &Names,
        scope: &Scope,
    ) -> Option<(Expr, Type)> {
        let parsed = expr::parse(text).and_then(|parsed| {
            let mut used = Vec::new();
            expr::gather(&parsed, &mut used);
            if let Some(name) = used.iter().find(|name| !scope.knows(name)) {
                let part = name.split('.').next().unwrap_or_default();
                let example = match part {
                    "element" => "each = [\"fuse\"]".to_owned(),
                    "circuit" => "each = [\"rig-cable\"]".to_owned(),
                    _ if matches!(scope, Scope::RigElements(_)) => {
                        "element.…, circuit.…, rig.… or limit.…".to_owned()
                    }
                    _ => format!("each = [\"{part}\"]"),
                };
                return Err(ExprError {
                    at: parsed.at.clone(),
                    message: format!("`{name}` is known only in a rule over each {part}"),
                    expected: example,
                });
            }
            let kind = expr::check(&parsed, &|name| names.lookup(name))?;
            Ok((parsed, kind))
        });
        match parsed {
            Ok(both) => Some(both),
            Err(ExprError { at, message, expected }) => {
                let span = entry.found().span.clone();
                let whole = self.text.get(span.clone()).unwrap_or_default();
                let span = match whole.find(text) {
                    Some(start) => span.start + start + at.start..span.start + start + at.end,
                    None => span,
                };
                self.problem(
                    span,
                    message,
                    &expected,
                    "`underlid explain --language` shows the language with examples",
                );
                None
            }
        }
    }

    fn change(&mut self, book: &mut Book, entry: &ChangeEntry) {
        let own = entry.own.span.clone();
        let Some(id) = self.needed(&entry.rule, &own, "rule", "rule = \"sense-wires-fused\"") else {
            return;
        };
        let Some(reason) =
            self.needed(&entry.reason, &own, "reason", "reason = \"why; the write-up prints it\"")
        else {
            return;
        };
        let known: Vec<String> = book.rules.iter().map(|rule| rule.id.clone()).collect();
        let Some(rule) = book.rules.iter_mut().find(|rule| rule.id == id) else {
            let known = known.iter().map(String::as_str);
            let _: Option<()> = self.no_such(entry.rule.found(), "rule", &id, known, LISTED);
            return;
        };
        if let Some(new) = entry.grade.known() {
            let (class, old) = rule.stated;
            let what = match class {
                Class::Custom => {
                    format!("rule `{id}` stays a custom: only physics and what was published have a grade")
                }
                _ => format!("rule `{id}` graded {} (was {})", new.word(), old.word()),
            };
            book.changes.push(Change { what, reason: reason.clone() });
            rule.stated.1 = new;
        }
        if entry.off.yes() == Some(true) {
            book.changes.push(Change { what: format!("rule `{id}` turned off"), reason: reason.clone() });
            rule.off = Some(reason);
        }
    }
}

/// True for a field of the record, as against what follows from it.
fn is_of_the_record(name: &str) -> bool {
    name.starts_with("limit.") || field_info(name).is_some() && !FACTS.iter().any(|fact| fact.name == name)
}
