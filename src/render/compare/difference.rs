//! What can be said of two values of the same thing: the same, no difference shown, changed, recorded in one only.
//!
//! A change within the combined measurement uncertainty is no change: the difference is compared with the root sum of
//! squares of both expanded uncertainties (k = 2; JCGM 100:2008, 5.1.2), the two records taken as independent of each
//! other. This is the criterion |En| ≤ 1 by which laboratories compare their results (ISO/IEC 17043, from memory). Where nobody stated an uncertainty nothing is invented: the values differ as recorded, and that is what is said.

use serde::Serialize;

use crate::judge::facts::{Sources, Worked};
use crate::record::field::{Found, How, Value};
use crate::record::{FieldInfo, State};
use crate::units::price::Price;
use crate::units::{Amount, Dimension, Quantity, show_difference, show_to, significant};

/// How two values of the same thing stand to each other; later ones say more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, schemars::JsonSchema)]
pub enum ChangeKind {
    /// The same value, word or state.
    #[serde(rename = "same")]
    Same,
    /// The difference lies within the combined uncertainty.
    #[serde(rename = "no difference shown")]
    NoDifferenceShown,
    /// It could not be seen, or is only a bound, so that nothing can be said.
    #[serde(rename = "not compared")]
    NotCompared,
    /// Recorded in one of them only.
    #[serde(rename = "recorded in one only")]
    OneOnly,
    /// The numbers differ; no uncertainty is stated for either.
    #[serde(rename = "differs as recorded")]
    AsRecorded,
    /// Changed: beyond the uncertainty, or another count, word or text.
    #[serde(rename = "changed")]
    Changed,
}

/// What is said of two values.
#[derive(Debug, Clone, PartialEq, Serialize, schemars::JsonSchema)]
pub struct FieldChange {
    /// How they stand to each other.
    pub kind: ChangeKind,
    /// The same in words, with the numbers.
    pub words: String,
    /// Second less first, SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub difference_si: Option<f64>,
    /// The difference in percent of the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub percent: Option<f64>,
    /// Combined expanded uncertainty (k = 2) of the difference, SI units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub expanded_si: Option<f64>,
}

impl FieldChange {
    pub(crate) fn plain(kind: ChangeKind, words: impl Into<String>) -> Self {
        Self { kind, words: words.into(), difference_si: None, percent: None, expanded_si: None }
    }
}

/// Names of the two records that are compared.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Names<'a> {
    pub(crate) first: &'a str,
    pub(crate) second: &'a str,
}

/// What stands behind a number that has no uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Nature {
    Claimed,
    Printed,
    Recorded,
    Counted,
}

impl Nature {
    const fn words(self) -> &'static str {
        match self {
            Self::Claimed => ", differs as claimed",
            Self::Printed => ", differs as printed",
            Self::Recorded => ", differs as recorded; no uncertainty stated",
            Self::Counted => "",
        }
    }
}

/// Relative difference below which two numbers are the same but for rounding.
const ROUNDING: f64 = 1e-12;

/// Compares two numbers of the same dimension.
pub(crate) fn numbers(first: &Amount, second: &Amount, names: Names<'_>, nature: Nature) -> FieldChange {
    // A share of a temperature on a scale means nothing, nor does one of nothing.
    let of = if first.value() == 0.0 || second.dimension.point { None } else { Some(first.value().abs()) };
    differing(first, second, names, nature, of)
}

/// Compares two figures as they are shown; a difference of two percentages is in percentage points.
pub(crate) fn shown(first: &Amount, second: &Amount, percent: bool, names: Names<'_>) -> FieldChange {
    let change = numbers(first, second, names, Nature::Recorded);
    if percent && first.dimension == Dimension::NONE { points(change, Nature::Recorded) } else { change }
}

/// Compares two margins, which have no percentage: they may be zero or negative.
pub(crate) fn margins(first: &Amount, second: &Amount, names: Names<'_>) -> FieldChange {
    differing(first, second, names, Nature::Recorded, None)
}

fn differing(
    first: &Amount,
    second: &Amount,
    names: Names<'_>,
    nature: Nature,
    of: Option<f64>,
) -> FieldChange {
    let (a, b) = (first.value(), second.value());
    let difference = b - a;
    let dimension = Dimension { point: false, ..second.dimension };
    if difference.abs() <= ROUNDING * a.abs().max(b.abs()) {
        return FieldChange { difference_si: Some(0.0), ..FieldChange::plain(ChangeKind::Same, "the same") };
    }
    let expanded = first.number.expanded().hypot(second.number.expanded());
    let percent = of.map(|of| 100.0 * difference / of);
    let lacking = match (first.number.is_exact(), second.number.is_exact()) {
        (true, false) => format!("; no uncertainty stated in {}", names.first),
        (false, true) => format!("; no uncertainty stated in {}", names.second),
        _ => String::new(),
    };
    let (kind, words) = if expanded == 0.0 {
        let plain = show_difference(difference, 0.0, dimension, of);
        (ChangeKind::AsRecorded, format!("{plain}{}", nature.words()))
    } else if difference.abs() <= expanded {
        let plain = signed(difference, |d| show_to(d, 2, dimension));
        let combined = show_to(expanded, 2, dimension);
        let words = format!(
            "no difference shown: {plain} lies within the combined uncertainty of {combined}{lacking}"
        );
        (ChangeKind::NoDifferenceShown, words)
    } else {
        let shown = show_difference(difference, expanded, dimension, of);
        (ChangeKind::Changed, format!("{shown}{lacking}"))
    };
    let expanded_si = (expanded > 0.0).then_some(expanded);
    FieldChange { kind, words, difference_si: Some(difference), percent, expanded_si }
}

/// A number with a sign that is always there.
pub(crate) fn signed(value: f64, show: impl Fn(f64) -> String) -> String {
    format!("{}{}", if value < 0.0 { "−" } else { "+" }, show(value.abs()))
}

/// Compares two derived values.
pub(crate) fn derived(first: &Worked, second: &Worked, names: Names<'_>) -> FieldChange {
    for (worked, name) in [(first, names.first), (second, names.second)] {
        if worked.bound.as_ref().is_some_and(|bound| bound.side.words().is_some()) {
            let words = format!("not compared: known only as {} in {name}", worked.show());
            return FieldChange::plain(ChangeKind::NotCompared, words);
        }
    }
    match (first.value.amount(), second.value.amount()) {
        (Some(a), Some(b)) if counted(a) && counted(b) => counts(a, b, names),
        (Some(a), Some(b)) => numbers(a, b, names, Nature::Recorded),
        _ => texts(&first.value.show(), &second.value.show()),
    }
}

/// True for what was counted: a whole number without a unit and without uncertainty.
fn counted(amount: &Amount) -> bool {
    amount.dimension == Dimension::NONE && amount.number.is_exact() && amount.value().fract() == 0.0
}

/// Compares two counts, which have no uncertainty: another count is a change.
fn counts(first: &Amount, second: &Amount, names: Names<'_>) -> FieldChange {
    match numbers(first, second, names, Nature::Counted) {
        change if change.kind == ChangeKind::Same => change,
        change => FieldChange { kind: ChangeKind::Changed, ..change },
    }
}

fn texts(first: &str, second: &str) -> FieldChange {
    if first.trim() == second.trim() {
        return FieldChange::plain(ChangeKind::Same, "the same");
    }
    match (Price::read(first), Price::read(second)) {
        (Some(Price { amount: a, currency }), Some(Price { amount: b, currency: other }))
            if currency == other =>
        {
            // `489 EUR` and `EUR 489.00` are one price.
            if a == b {
                return FieldChange::plain(ChangeKind::Same, "the same");
            }
            let percent = (a != 0.0).then(|| 100.0 * (b - a) / a);
            let share = percent.map(|p| format!(" ({})", signed(p, |p| format!("{} %", significant(p, 3)))));
            let words = signed(b - a, |d| format!("{} {currency}", significant(d, 6)));
            let words = format!("{words}{}", share.unwrap_or_default());
            FieldChange { percent, ..FieldChange::plain(ChangeKind::Changed, words) }
        }
        _ => FieldChange::plain(ChangeKind::Changed, "differs"),
    }
}

/// A field of a record with the sources of its uncertainty.
#[derive(Clone, Copy)]
pub(crate) struct Sourced<'a> {
    pub(crate) found: &'a Found,
    pub(crate) sources: &'a Sources,
    /// True for the table of claims, where everything is claimed.
    pub(crate) claim: bool,
}

impl Sourced<'_> {
    fn nature(&self) -> Nature {
        match self.found.how {
            Some(How::Marked) => Nature::Printed,
            Some(How::Claimed) => Nature::Claimed,
            None if self.claim => Nature::Claimed,
            _ => Nature::Recorded,
        }
    }
}

/// Compares a field of two records.
pub(crate) fn fields(
    first: Sourced<'_>,
    second: Sourced<'_>,
    names: Names<'_>,
    field: &FieldInfo,
) -> FieldChange {
    use State::{Absent, Known, NotLooked, NotVisible, Withheld};
    match (&first.found.state, &second.found.state) {
        (Withheld, Withheld) => FieldChange::plain(ChangeKind::NotCompared, "withheld in both"),
        (Withheld, _) => FieldChange::plain(ChangeKind::NotCompared, format!("withheld in {}", names.first)),
        (_, Withheld) => FieldChange::plain(ChangeKind::NotCompared, format!("withheld in {}", names.second)),
        (NotLooked, NotLooked) => FieldChange::plain(ChangeKind::NotCompared, "not recorded in either"),
        (NotLooked, _) => FieldChange::plain(ChangeKind::OneOnly, format!("not recorded in {}", names.first)),
        (_, NotLooked) => {
            FieldChange::plain(ChangeKind::OneOnly, format!("not recorded in {}", names.second))
        }
        (NotVisible, NotVisible) => {
            FieldChange::plain(ChangeKind::NotCompared, "could not be seen in either")
        }
        (NotVisible, _) => {
            FieldChange::plain(ChangeKind::NotCompared, format!("could not be seen in {}", names.first))
        }
        (_, NotVisible) => {
            FieldChange::plain(ChangeKind::NotCompared, format!("could not be seen in {}", names.second))
        }
        (Absent, Absent) => FieldChange::plain(ChangeKind::Same, "absent in both"),
        // What was looked for and is not there is a no.
        (Absent, Known(Value::YesNo(false))) | (Known(Value::YesNo(false)), Absent) => {
            FieldChange::plain(ChangeKind::Same, "the same: no")
        }
        (Absent, Known(_)) => FieldChange::plain(ChangeKind::Changed, format!("absent in {}", names.first)),
        (Known(_), Absent) => FieldChange::plain(ChangeKind::Changed, format!("absent in {}", names.second)),
        (Known(a), Known(b)) => values((a, first), (b, second), names, field),
    }
}

fn values(
    a: (&Value, Sourced<'_>),
    b: (&Value, Sourced<'_>),
    names: Names<'_>,
    field: &FieldInfo,
) -> FieldChange {
    let nature = match (a.1.nature(), b.1.nature()) {
        (one, other) if one == other => one,
        _ => Nature::Recorded,
    };
    let side = |(_, sourced): (&Value, Sourced<'_>), quantity: &Quantity, number: u32| {
        sourced.sources.amount(quantity, sourced.found, number)
    };
    match (a.0, b.0) {
        (Value::Quantity(one), Value::Quantity(other)) if one.dimension == other.dimension => {
            let change = numbers(&side(a, one, 0), &side(b, other, 0), names, nature);
            if one.dimension == Dimension::NONE && (one.text.contains('%') || other.text.contains('%')) {
                return points(change, nature);
            }
            change
        }
        (Value::Quantity(one), Value::Quantity(other)) => texts(&one.text, &other.text),
        (Value::Count(one), Value::Count(other)) => {
            let exact = |count: u32| Amount::exact(f64::from(count), Dimension::NONE);
            counts(&exact(*one), &exact(*other), names)
        }
        (Value::Date(one), Value::Date(other)) => match (*other - *one).get_days() {
            0 => FieldChange::plain(ChangeKind::Same, "the same"),
            days => {
                let words = crate::units::words::count(days.unsigned_abs() as usize, "day", "days");
                FieldChange::plain(
                    ChangeKind::Changed,
                    format!("{words} {}", if days > 0 { "later" } else { "earlier" }),
                )
            }
        },
        (Value::Section(one), Value::Section(other)) => {
            let words = match field.name {
                "overlap" | "face" => ["length", "width"],
                _ => ["width", "thickness"],
            };
            sides(one.iter().zip(other), &words, |n, q, r| {
                numbers(&side(a, q, n), &side(b, r, n), names, nature)
            })
        }
        (Value::Size(one), Value::Size(other)) => {
            sides(one.iter().zip(other), &["length", "width", "height"], |n, q, r| {
                numbers(&side(a, q, n), &side(b, r, n), names, nature)
            })
        }
        (one, other) => texts(&one.show(), &other.show()),
    }
}

/// A difference of two percentages is in percentage points.
fn points(change: FieldChange, nature: Nature) -> FieldChange {
    let (Some(difference), true) = (change.difference_si, change.kind != ChangeKind::Same) else {
        return change;
    };
    let by = signed(difference, |d| format!("{} percentage points", significant(100.0 * d, 3)));
    let words = match change.kind {
        ChangeKind::AsRecorded => format!("{by}{}", nature.words()),
        ChangeKind::NoDifferenceShown => {
            format!("no difference shown: {by} lies within the combined uncertainty")
        }
        _ => by,
    };
    FieldChange { words, percent: None, ..change }
}

/// Compares the sides of a size; the gravest says how the whole stands.
fn sides<'a>(
    pairs: impl Iterator<Item = (&'a Quantity, &'a Quantity)>,
    words: &[&str],
    compare: impl Fn(u32, &Quantity, &Quantity) -> FieldChange,
) -> FieldChange {
    let changes: Vec<FieldChange> =
        pairs.zip(0_u32..).map(|((one, other), number)| compare(number, one, other)).collect();
    let kind = changes.iter().map(|change| change.kind).max().unwrap_or(ChangeKind::Same);
    let said: Vec<String> = changes
        .iter()
        .zip(words)
        .filter(|(change, _)| change.kind != ChangeKind::Same)
        .map(|(change, word)| format!("{word} {}", change.words))
        .collect();
    let words = if said.is_empty() { "the same".to_owned() } else { said.join("; ") };
    FieldChange::plain(kind, words)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Uncertain;

    const NAMES: Names<'static> = Names { first: "A", second: "B" };

    fn amount(value: f64, expanded: f64) -> Amount {
        Amount { number: Uncertain::new(value, 1, expanded / 2.0), dimension: Dimension::CURRENT }
    }

    #[test]
    fn numbers_and_their_uncertainty() {
        // (first, ±, second, ±, kind, words)
        let cases = [
            (150.0, 0.0, 150.0, 0.0, ChangeKind::Same, "the same"),
            (
                150.0,
                0.0,
                200.0,
                0.0,
                ChangeKind::AsRecorded,
                "+50 A (+33.3 %), differs as recorded; no uncertainty stated",
            ),
            (
                100.0,
                3.0,
                104.0,
                4.0,
                ChangeKind::NoDifferenceShown,
                "no difference shown: +4 A lies within the combined uncertainty of 5 A",
            ),
            (100.0, 3.0, 94.0, 4.0, ChangeKind::Changed, "−6.0 A ± 5.0 A (−6.0 %)"),
            // Exactly on the limit: not beyond it.
            (
                100.0,
                3.0,
                105.0,
                4.0,
                ChangeKind::NoDifferenceShown,
                "no difference shown: +5 A lies within the combined uncertainty of 5 A",
            ),
            (
                100.0,
                1.0,
                110.0,
                0.0,
                ChangeKind::Changed,
                "+10.0 A ± 1.0 A (+10.0 %); no uncertainty stated in B",
            ),
            (
                100.0,
                0.0,
                100.5,
                1.0,
                ChangeKind::NoDifferenceShown,
                "no difference shown: +500 mA lies within the combined uncertainty of 1 A; no uncertainty stated in A",
            ),
            (0.0, 0.0, 5.0, 0.0, ChangeKind::AsRecorded, "+5 A, differs as recorded; no uncertainty stated"),
        ];
        for (a, ua, b, ub, kind, words) in cases {
            let change = numbers(&amount(a, ua), &amount(b, ub), NAMES, Nature::Recorded);
            assert_eq!((change.kind, change.words.as_str()), (kind, words), "{a} ± {ua}, {b} ± {ub}");
            let back = numbers(&amount(b, ub), &amount(a, ua), NAMES, Nature::Recorded);
            assert_eq!(back.kind, kind, "the other way round");
            assert_eq!(back.difference_si.map(|d| -d), change.difference_si.map(|d| d + 0.0));
        }
    }

    #[test]
    fn temperatures_have_no_percentage() {
        let at = |celsius: f64| Amount::exact(celsius + 273.15, Dimension::TEMPERATURE);
        let change = numbers(&at(45.0), &at(48.0), NAMES, Nature::Claimed);
        assert_eq!(change.words, "+3 K, differs as claimed");
    }

    #[test]
    fn prices() {
        let cases = [
            ("590 EUR", "640 EUR", ChangeKind::Changed, "+50 EUR (+8.47 %)"),
            ("590 EUR", "590 EUR", ChangeKind::Same, "the same"),
            ("EUR 590.00", "590 EUR", ChangeKind::Same, "the same"),
            ("EUR 590", "640 EUR", ChangeKind::Changed, "+50 EUR (+8.47 %)"),
            ("590 EUR", "640 USD", ChangeKind::Changed, "differs"),
            ("1,590 EUR", "640 EUR", ChangeKind::Changed, "differs"),
            ("a gift", "640 EUR", ChangeKind::Changed, "differs"),
        ];
        for (a, b, kind, words) in cases {
            let change = texts(a, b);
            assert_eq!((change.kind, change.words.as_str()), (kind, words));
        }
    }
}
