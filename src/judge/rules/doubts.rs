//! Values of a record that are not taken as they stand: those outside their plausible range, those that contradict each
//! other, guesses, and what is only claimed where it can be seen.
//!
//! The first two are written in the rule book (`[[plausible]]`, `[[agree]]`), but for those that are not a comparison of two
//! amounts. A value that is not plausible is no fact until somebody confirms it: no rule passes or falls short on it, nor on
//! what is claimed of a bench test. A contradiction between two plausible values, a guess, and a yes, a word or a count that
//! is only claimed take "meets" away from every rule that rests on one of them, never "falls short". What follows from a value
//! in doubt is in doubt as well; see [`crate::record::reads`].

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use super::book::{Agree, Book, Plausible};
use super::expr::{Expr, evaluate, gather};
use crate::judge::facts::accuracy::{Accuracy, magnitude};
use crate::judge::facts::{Derived, Facts, Subject, Val, element_label, field_of};
use crate::record::field::{Doubt, Found, How, State, Value, WITHHELD};
use crate::record::part::Inner;
use crate::record::parts::{ClaimVerdict, Element, ElementKind, Instrument};
use crate::record::{AnyPart, FieldInfo, Kind, Record};
use crate::units::{self, Amount, COVERAGE, Dimension, likely_meant, show};

/// A contradiction between what follows from the record: the facts it takes "meets" from, and where.
pub(crate) struct Clash {
    subject: Subject,
    names: Vec<String>,
    pub(crate) doubt: Arc<Doubt>,
}

impl Clash {
    /// True where a rule that uses a fact rests on the contradiction.
    pub(crate) fn concerns(&self, subject: Subject, name: &str) -> bool {
        let of_a_part = ["element.", "test.", "reading.", "layer."].iter().any(|head| name.starts_with(head));
        (!of_a_part || subject == self.subject) && self.names.iter().any(|own| own == name)
    }
}

/// Finds what is in doubt in a record and notes it at the values.
pub(crate) fn mark(record: &mut Record, book: &Book) {
    let limits = book.limit_amounts();
    let derived = Derived::nothing_yet(record, &limits);
    let mut found: Vec<(Subject, String, Arc<Doubt>)> = Vec::new();
    for entry in &book.plausible {
        for subject in subjects(entry.head(), &entry.kinds, record) {
            let facts = Facts { record, derived: &derived, limits: &limits, subject };
            if let Some(doubt) = outside(entry, &facts) {
                found.push((subject, entry.of.clone(), Arc::new(doubt)));
            }
        }
    }
    // What is in doubt by itself contradicts nothing.
    let doubted = |subject: Subject, name: &str, list: &[(Subject, String, Arc<Doubt>)]| {
        list.iter().any(|(at, of, doubt)| {
            doubt.implausible && *at == subject && whole_field(of) == whole_field(name)
        })
    };
    for entry in book.agree.iter().filter(|entry| entry.of_record) {
        for subject in subjects(&entry.head, &entry.kinds, record) {
            let facts = Facts { record, derived: &derived, limits: &limits, subject };
            let names = entry.names();
            let part = |name: &str| if is_of_a_part(name) { subject } else { Subject::Pack };
            if names.iter().any(|name| doubted(part(name), name, &found)) {
                continue;
            }
            if let Some(doubt) = contradicts(entry, &facts, true) {
                let doubt = Arc::new(doubt);
                let each = names.into_iter().map(|name| (part(name), name.to_owned(), Arc::clone(&doubt)));
                found.extend(each);
            }
        }
    }
    let ends = range_ends(record);
    note(record, "", &|found| guess(found).or_else(|| beyond(found, &ends)));
    record.test.iter_mut().for_each(|test| note(test, "test", &hearsay));
    let found_inside = |inner: &Inner<'_>| !matches!(inner.name, "claims" | "test");
    record
        .parts_inside()
        .into_iter()
        .filter(found_inside)
        .for_each(|inner| note(inner.part, inner.name, &unseen));
    in_words(record);
    for (subject, name, doubt) in found {
        if let Some(field) = field_of(record, subject, &name) {
            add(field, doubt);
        }
    }
}

/// Notes a doubt at a value, once.
fn add(field: &mut Found, doubt: Arc<Doubt>) {
    if !field.doubts.contains(&doubt) {
        field.doubts.push(doubt);
    }
}

/// What stands against a value, and whether no rule falls short on it either.
type Against = (Cow<'static, str>, bool);

/// Notes what stands against the values of a part, which is called `head` in expressions, and of those inside it.
fn note(part: &mut dyn AnyPart, head: &str, against: &dyn Fn(&Found) -> Option<Against>) {
    let named = ["id", "name", "of"].into_iter().find_map(|name| match &part.field(name)?.state {
        State::Known(Value::Text(name)) => Some(format!(" of {head} {name}")),
        _ => None,
    });
    // What a part is called and what it is, is written with it: how its other values came says nothing of that.
    let of_value = |info: &&FieldInfo| !matches!(info.name, "id" | "kind" | "leg") && info.kind != Kind::Text;
    for info in part.shape().fields.iter().filter(of_value) {
        let Some(found) = part.field_mut(info.name) else { continue };
        let Some((what, implausible)) = against(found) else { continue };
        let of = named.as_deref().unwrap_or_default();
        let what = format!("`{}`{of} is {what}", info.name);
        add(found, Arc::new(Doubt { name: format!("{head}.{}", info.name), what, meant: None, implausible }));
    }
    for inner in part.parts_inside() {
        note(inner.part, inner.name, against);
    }
}

/// What was judged by eye or from experience, or calculated, and does not say how far it may be off: nothing meets on it.
fn guess(found: &Found) -> Option<Against> {
    let (look, measure) = match found.how? {
        How::Estimated => (
            "estimated: look, and write how it was found, such as seen",
            "estimated: measure it, or write behind it how far it may be off (±)",
        ),
        How::Computed => (
            "computed: look, and write how it was found, such as seen",
            "computed: write behind it how far it may be off (±)",
        ),
        _ => return None,
    };
    let State::Known(value) = &found.state else { return None };
    let quantities = quantities_of(value);
    if quantities.is_empty() {
        return Some((look.into(), false));
    }
    let open = quantities.iter().any(|quantity| quantity.expanded.is_none());
    open.then(|| (measure.into(), false))
}

/// The end of the range of an instrument, SI units with what it reads, and in words; none where that is withheld.
struct RangeEnd {
    id: String,
    end: Option<(f64, Dimension)>,
    text: String,
}

/// Ends of the ranges of a record's instruments, where they are recorded.
fn range_ends(record: &Record) -> Vec<RangeEnd> {
    let recorded = |instrument: &&Instrument| {
        matches!(instrument.range.found().state, State::Known(_) | State::Withheld)
    };
    let of = |instrument: &Instrument| RangeEnd {
        id: instrument.id.text().unwrap_or_default().to_owned(),
        end: Accuracy::of(instrument).range,
        text: instrument.range.found().show(),
    };
    record.instrument.iter().filter(recorded).map(of).collect()
}

/// What was read beyond the end of the range of its instrument: either the range or the reading is wrong, and the accuracy
/// is that of neither. Of several instruments that read such a quantity the one that reads the most counts.
fn beyond(found: &Found, ends: &[RangeEnd]) -> Option<Against> {
    let (with, State::Known(value)) = (found.with.as_deref()?, &found.state) else { return None };
    if with.contains(WITHHELD) && !ends.is_empty() {
        return Some(("read with an instrument that is withheld".into(), false));
    }
    quantities_of(value).iter().find_map(|quantity| {
        let (read, dimension) = magnitude(quantity);
        let named = with.split(',').filter_map(|id| ends.iter().find(|known| known.id == id.trim()));
        let of_it = named.filter(|known| known.end.is_none_or(|(_, of)| of == dimension));
        let reach = |known: &RangeEnd| known.end.map_or(f64::INFINITY, |(end, _)| end);
        let far = of_it.max_by(|a, b| reach(a).total_cmp(&reach(b)))?;
        let RangeEnd { id, end, text } = far;
        match end {
            None => Some((format!("read with {id}, whose range is withheld").into(), false)),
            // More than the last digits of a unit's factor.
            Some((end, _)) if read > end * (1.0 + 1e-9) => {
                let read = &quantity.text;
                let what =
                    format!("{read}, read with {id}, whose range ends at {text}: one of them is wrong");
                Some((what.into(), false))
            }
            Some(_) => None,
        }
    })
}

/// The quantities of a value: one, or the sides of a size.
fn quantities_of(value: &Value) -> &[units::Quantity] {
    match value {
        Value::Quantity(quantity) => std::slice::from_ref(quantity),
        other => other.sides(),
    }
}

/// What somebody says of a bench test who did not read it.
fn hearsay(found: &Found) -> Option<Against> {
    (found.how == Some(How::Claimed) && matches!(found.state, State::Known(_)))
        .then(|| ("claimed: a bench test takes what was read".into(), true))
}

/// What can be seen or tried, said by somebody who did not look. The data sheet of a part says what it is made for, not
/// whether it is so in this pack.
fn unseen(found: &Found) -> Option<Against> {
    let State::Known(value) = &found.state else { return None };
    match (found.how?, value) {
        (How::Claimed, Value::YesNo(_) | Value::Word(_) | Value::Count(_)) => {
            Some(("claimed: look, and write how it was found, such as seen".into(), false))
        }
        (How::Datasheet, Value::YesNo(_)) => {
            Some(("from a data sheet: look or try, and write how it was found, such as seen".into(), false))
        }
        _ => None,
    }
}

/// Words that stand where nothing was found, but do not say so.
const NOTHING: [&str; 12] =
    ["-", "--", "?", "n/a", "n.a.", "nil", "no", "none", "not found", "nothing", "unknown", "missing"];

/// What is in doubt by the words of the record, not by its amounts.
fn in_words(record: &mut Record) {
    let parts = record.path.element.iter_mut().chain(&mut record.charge_path.element);
    let of_rig = record.rig.element.iter_mut().chain(&mut record.rig.source.element);
    parts.chain(of_rig).for_each(called_fuse);
    for statement in &mut record.claims.statement {
        let told = statement.because.text().is_some();
        let id = statement.id.text().unwrap_or("in words").to_owned();
        let verdict = statement.verdict.found_mut();
        if verdict.state == State::Known(Value::Word(ClaimVerdict::Supported.word())) && !told {
            let what = format!("claim {id} is called supported, but not by what (`because`)");
            let name = "statement.because".to_owned();
            add(verdict, Arc::new(Doubt { name, what, meant: None, implausible: false }));
        }
        nothing_said(statement.evidence.found_mut(), "statement.evidence", &format!(" of claim {id}"));
    }
    nothing_said(record.marking.un38_3.found_mut(), "marking.un38_3", "");
    if let (Some(looked), Some(made)) = (record.inspection.date.date(), record.cells.latest_date.date())
        && made > looked
    {
        let what = format!("`latest_date` of the cells is {made}, after the inspection on {looked}");
        let name = "cells.latest_date".to_owned();
        add(
            record.cells.latest_date.found_mut(),
            Arc::new(Doubt { name, what, meant: None, implausible: true }),
        );
    }
}

/// Notes where a part is called a fuse and a temperature is printed on it.
fn called_fuse(element: &mut Element) {
    let id = element.id.text().unwrap_or("that is recorded");
    let (what, implausible) = match &element.marking.found().state {
        State::Known(Value::Text(marking)) if printed_temperature(marking) => {
            let what = "a thermal cut-off opens by it, a fuse has none";
            (format!("a temperature is printed on fuse {id} ({marking}): {what}"), true)
        }
        State::Withheld => (format!("what is printed on fuse {id} is withheld"), false),
        _ => return,
    };
    let fuse = element.fuse.found_mut();
    if matches!(fuse.state, State::Known(_)) && !fuse.confirmed {
        add(fuse, Arc::new(Doubt { name: "element.fuse".to_owned(), what, meant: None, implausible }));
    }
}

/// Notes where a text says "none" in the place of "absent": that it stands there proves nothing.
fn nothing_said(found: &mut Found, name: &str, of: &str) {
    let State::Known(Value::Text(text)) = &found.state else { return };
    if NOTHING.contains(&text.trim().to_lowercase().as_str()) {
        let field = name.rsplit('.').next().unwrap_or(name);
        let what =
            format!("`{field}`{of} is “{text}”: write \"absent\" where it was looked for and is not there");
        add(found, Arc::new(Doubt { name: name.to_owned(), what, meant: None, implausible: true }));
    }
}

/// True where a text names a temperature, as the marking of a thermal cut-off does: "70 °C", but not "N° 70".
fn printed_temperature(marking: &str) -> bool {
    let lower = marking.to_lowercase();
    let signs = ["°", "º", "˚", "℃", "℉", "degc", "deg c"];
    let mut found = signs.iter().flat_map(|sign| lower.match_indices(sign));
    found.any(|(at, _)| {
        lower.get(..at).is_some_and(|before| before.trim_end().ends_with(|last: char| last.is_ascii_digit()))
    })
}

/// Contradictions between what follows from a record.
pub(crate) fn clashes(
    record: &Record,
    derived: &Derived,
    book: &Book,
    limits: &BTreeMap<String, Amount>,
) -> Vec<Clash> {
    let mut clashes = Vec::new();
    for entry in book.agree.iter().filter(|entry| !entry.of_record) {
        for subject in subjects(&entry.head, &entry.kinds, record) {
            let facts = Facts { record, derived, limits, subject };
            if let Some(doubt) = contradicts(entry, &facts, false) {
                let takes = entry.takes.iter().map(String::as_str);
                let names = entry.names().into_iter().chain(takes).map(str::to_owned).collect();
                clashes.push(Clash { subject, names, doubt: Arc::new(doubt) });
            }
        }
    }
    clashes
}

/// Every doubt that was noted at a value of the record, each once.
pub(crate) fn noted(record: &Record, book: &Book) -> Vec<Doubt> {
    let derived = Derived::default();
    let limits = BTreeMap::new();
    let mut noted: Vec<Arc<Doubt>> = Vec::new();
    let plausible =
        book.plausible.iter().map(|entry| (entry.head().to_owned(), &entry.kinds, vec![entry.of.as_str()]));
    let agree = book.agree.iter().filter(|entry| entry.of_record);
    let agree = agree.map(|entry| (entry.head.clone(), &entry.kinds, entry.names()));
    for (head, kinds, names) in plausible.chain(agree) {
        for subject in subjects(&head, kinds, record) {
            let facts = Facts { record, derived: &derived, limits: &limits, subject };
            for doubt in names.iter().filter_map(|name| facts.found(name)).flat_map(|found| &found.doubts) {
                if !noted.contains(doubt) {
                    noted.push(Arc::clone(doubt));
                }
            }
        }
    }
    noted.iter().map(|doubt| Doubt::clone(doubt)).collect()
}

/// Parts that a name is about.
fn subjects(head: &str, kinds: &[ElementKind], record: &Record) -> Vec<Subject> {
    let all = |length: usize, subject: fn(usize) -> Subject| (0..length).map(subject).collect();
    match head {
        "element" => {
            let elements = record.path.element.iter().enumerate();
            let of_kind = |kind: ElementKind| kinds.is_empty() || kinds.contains(&kind);
            let wanted = elements.filter(|(_, element)| element.kind.known().is_some_and(of_kind));
            wanted.map(|(index, _)| Subject::Element(index)).collect()
        }
        "statement" => all(record.claims.statement.len(), Subject::Statement),
        "layer" => all(record.bms.layer.len(), Subject::Layer),
        "reading" => all(record.cells.reading.len(), Subject::Reading),
        "test" => all(record.test.len(), Subject::Test),
        "load" => all(record.rig.load.len(), Subject::Load),
        "source" => vec![Subject::Source],
        "rig" => vec![Subject::Rig],
        _ => vec![Subject::Pack],
    }
}

/// True for a name of a part of which there are several, or of the rig.
fn is_of_a_part(name: &str) -> bool {
    let head = name.split('.').next().unwrap_or_default();
    matches!(head, "element" | "layer" | "reading" | "test" | "load" | "source" | "rig")
}

/// The field of a name, without the side of a size.
fn whole_field(name: &str) -> &str {
    let sides = [".width", ".thickness", ".length", ".height"];
    // `element.length` is a field, `claims.size.length` is a side of one.
    let side = sides.iter().find_map(|side| name.strip_suffix(side)).filter(|field| field.contains('.'));
    side.unwrap_or(name)
}

/// What is said of a value outside its plausible range, where nobody confirmed it.
fn outside(entry: &Plausible, facts: &Facts<'_>) -> Option<Doubt> {
    let found = facts.found(&entry.of)?;
    let value = found.value().filter(|_| !found.confirmed)?;
    if let Some(when) = &entry.when
        && evaluate(when, facts) != Ok(Val::YesNo(true))
    {
        return None;
    }
    let amount = |expr| match evaluate(expr, facts) {
        Ok(Val::Amount(amount)) => Some(amount.value()),
        _ => None,
    };
    let (least, most) = (entry.least.as_ref().and_then(amount), entry.most.as_ref().and_then(amount));
    // A reading counts with its uncertainty only where a rule compares it; a slip is far larger.
    let fits = |value: f64| least.is_none_or(|least| value >= least) && most.is_none_or(|most| value <= most);
    let own = match (facts.fact(&entry.of), value) {
        (Ok(Val::Amount(own)), _) => own,
        // What follows has the name of what is recorded, and nothing follows yet.
        (Err(_), Value::Quantity(quantity)) => facts.derived.sources.amount(quantity, found, 0),
        _ => return None,
    };
    if fits(own.value()) {
        return None;
    }
    let side = entry.of.strip_prefix(whole_field(&entry.of)).filter(|side| !side.is_empty());
    let text = value.show();
    let middle = match (least, most) {
        (Some(least), Some(most)) if own.dimension.point => (least + most) / 2.0,
        (Some(least), Some(most)) => (least * most).abs().sqrt(),
        (one, other) => one.or(other)?,
    };
    let meant = likely_meant(&text, own.dimension, |candidate| {
        let value = of_side(value, side, candidate).filter(|value| fits(*value))?;
        Some(if own.dimension.point { (value - middle).abs() } else { (value / middle).ln().abs() })
    });
    let bound = |limit: f64| show(limit, own.dimension);
    let range = match (least, most) {
        (Some(least), Some(most)) => format!("expected {} to {}", bound(least), bound(most)),
        (Some(least), None) => format!("expected at least {}", bound(least)),
        (None, Some(most)) => format!("expected at most {}", bound(most)),
        (None, None) => return None,
    };
    let what =
        format!("{} is {text}: not plausible, {range}{}", place(&entry.of, facts), of_what(&entry.about));
    Some(Doubt { name: entry.of.clone(), what, meant, implausible: true })
}

/// The value of one side of a candidate text, in the form of the value that stands in the record.
fn of_side(value: &Value, side: Option<&str>, candidate: &str) -> Option<f64> {
    let one = |index: usize, sides: &[units::Quantity]| sides.get(index).map(|side| side.value);
    match value {
        Value::Section(_) => {
            let mut sides = units::parse_size::<2>(candidate).ok()?;
            if side == Some(".width") || side == Some(".thickness") {
                sides.sort_by(|a, b| b.value.total_cmp(&a.value));
            }
            one(usize::from(side == Some(".thickness")), &sides)
        }
        Value::Size(_) => {
            let sides = units::parse_size::<3>(candidate).ok()?;
            one([".length", ".width", ".height"].iter().position(|name| side == Some(name))?, &sides)
        }
        _ => units::parse(candidate).ok().map(|quantity| quantity.value),
    }
}

fn of_what(about: &str) -> String {
    if about.is_empty() { String::new() } else { format!(" ({about})") }
}

/// A field with the part it belongs to: "`rating` of fuse main-fuse".
fn place(name: &str, facts: &Facts<'_>) -> String {
    let (head, rest) = name.split_once('.').unwrap_or(("", name));
    match facts.subject {
        Subject::Element(index) if head == "element" => {
            format!("`{rest}` of {}", element_label(facts.record, index))
        }
        Subject::Reading(index) if head == "reading" => format!("`{rest}` of cell reading {}", index + 1),
        Subject::Test(index) if head == "test" => {
            let test = facts.record.test.get(index);
            let id = test.and_then(|test| test.id.text().or(test.kind.word())).unwrap_or("no. 1");
            format!("`{rest}` of test {id}")
        }
        Subject::Layer(index) if head == "layer" => {
            let layer = facts.record.bms.layer.get(index).and_then(|layer| layer.name.text());
            format!("`{rest}` of layer {}", layer.unwrap_or("of the heat path"))
        }
        Subject::Load(index) if head == "load" => format!("`{rest}` of load no. {}", index + 1),
        _ => format!("`{name}`"),
    }
}

/// What is said of two values that contradict each other; `confirmed` ones are taken as they stand.
fn contradicts(entry: &Agree, facts: &Facts<'_>, of_record: bool) -> Option<Doubt> {
    let names = entry.names();
    let confirmed = |name: &&str| facts.found(name).is_some_and(|found| found.confirmed);
    if of_record && names.iter().all(confirmed) {
        return None;
    }
    if let Some(when) = &entry.when
        && evaluate(when, facts) != Ok(Val::YesNo(true))
    {
        return None;
    }
    let side = |expr| match evaluate(expr, facts) {
        Ok(Val::Amount(amount)) => Some(amount),
        _ => None,
    };
    let (this, that) = (side(&entry.this.1)?, side(&entry.that.1)?);
    if that.value() == 0.0 {
        return None;
    }
    let ratio = this.number.over(&that.number);
    let band = COVERAGE * ratio.standard();
    let low = entry.least.is_some_and(|least| ratio.value + band < least);
    let high = entry.most.is_some_and(|most| ratio.value - band > most);
    if !low && !high {
        return None;
    }
    let told = |(text, expr): &(String, Expr), amount: &Amount| {
        let mut names = Vec::new();
        gather(expr, &mut names);
        let alone = names.len() == 1 && names.first() == Some(&text.as_str());
        let what = if alone { place(text, facts) } else { format!("`{text}`") };
        format!("{what} is {}", show(amount.value(), amount.dimension))
    };
    let apart = match entry.unexplained {
        true => format!("; {} not explained", show((this.value() - that.value()).abs(), this.dimension)),
        false => String::new(),
    };
    let what = format!("{}: {}, {}{apart}", entry.title, told(&entry.this, &this), told(&entry.that, &that));
    Some(Doubt {
        name: names.first().copied().unwrap_or_default().to_owned(),
        what,
        meant: None,
        implausible: false,
    })
}
