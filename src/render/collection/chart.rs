//! Charts across packs, as SVG: readable with three packs and with ten thousand, in print and without colour.
//!
//! Few packs are drawn one by one, in order; many are counted in bins. Every chart says how many packs it shows and how
//! many it cannot show, and has its numbers beside it as a table.

use std::collections::BTreeMap;

use serde::Serialize;

use super::page::shown;
use super::row::CommonCause;
use super::tables::PackRow;
use crate::render::draw::counted::{Bin, Histogram, Points};
use crate::render::draw::rows::{Group, Row, RowChart};
use crate::render::draw::scale::round_step;
use crate::render::draw::{Named, Paper};
use crate::units::significant;
use crate::units::words::clipped;

/// Unit of an axis that counts packs.
const PACKS: &str = "packs";
/// Packs that are drawn one by one; more are counted in bins.
const ONE_BY_ONE: usize = 30;
/// Points of a scatter that are drawn one by one; more are counted in cells.
const POINTS: usize = 400;
/// Currencies that get a chart of their own.
const CURRENCIES: usize = 4;
/// Bins of a histogram.
const BINS: usize = 20;
/// Share of packs at either end that must not stretch the axis for all others.
const TAIL: f64 = 0.005;
/// Characters of the name of a pack or a cause in a chart.
const LONGEST_LABEL: usize = 90;

/// The page of charts.
#[derive(Serialize)]
pub(super) struct Charts {
    read: usize,
    invented: bool,
    charts: Vec<Chart>,
}

/// A chart with its words and its numbers.
#[derive(Default, Serialize)]
struct Chart {
    id: String,
    title: String,
    about: String,
    svg: Option<String>,
    words: String,
    heads: Vec<String>,
    rows: Vec<Vec<String>>,
}

impl Chart {
    fn named(&self) -> Named<'_> {
        Named { id: &self.id, title: &self.title, words: &self.words }
    }
}

/// A bar for each name: its value, the value in words, its pattern.
fn one_by_one(
    bars: impl Iterator<Item = (String, f64, String, &'static str)>,
    named: Named<'_>,
    axis: &str,
) -> String {
    let group = |(name, value, aside, class): (String, f64, String, &'static str)| {
        let range = Some((value.min(0.0), value.max(0.0)));
        let row = Row { range, there: true, class, ..Row::default() };
        Group { name, aside, rows: vec![row], ..Group::default() }
    };
    let groups = bars.map(group).collect();
    let chart = RowChart { axis, whole: axis == PACKS, groups, ..RowChart::default() };
    chart.draw(Paper::PAGE).svg(named)
}

/// Makes the charts.
pub(super) fn page(rows: &[PackRow], causes: &[CommonCause]) -> Charts {
    let mut charts = vec![
        short(causes),
        spread(
            rows,
            &Subject {
                id: "margin",
                title: "Margin of the weakest element",
                about: "Permissible current of the weakest element known less the rated continuous current, in percent of it. Hatched bars lie below zero: the weakest element known carries less than rated. Where an element's permissible current is not known, or the list of elements is not stated to be complete, the margin is at most this.",
                unit: "%",
                zero: true,
                left_out: NO_FACTS,
            },
            |row| row.margin_percent,
        ),
        scatter(rows),
        spread(
            rows,
            &Subject {
                id: "specific-energy",
                title: "Claimed energy over mass",
                about: "Claimed energy over the mass of the pack, as recorded or, where nobody weighed it, as claimed.",
                unit: "Wh/kg",
                zero: false,
                left_out: NO_FACTS,
            },
            |row| row.claimed_wh_per_kg,
        ),
    ];
    charts.extend(prices(rows));
    charts.push(fuses(rows));
    Charts { read: rows.len(), invented: rows.iter().any(|row| row.invented == Some(true)), charts }
}

struct Subject<'a> {
    id: &'a str,
    title: &'a str,
    about: &'a str,
    unit: &'a str,
    /// True where zero is a limit, and what lies below it is hatched.
    zero: bool,
    /// Why a pack is not in it.
    left_out: &'a str,
}

fn name(row: &PackRow) -> String {
    let parts: Vec<&str> =
        [&row.maker, &row.model, &row.revision].into_iter().filter_map(|part| part.as_deref()).collect();
    let name = if parts.is_empty() {
        row.title.as_deref().unwrap_or(&row.folder).to_owned()
    } else {
        parts.join(", ")
    };
    crate::units::terminal::plain(&name)
}

/// Why a pack is not in a chart.
const NO_FACTS: &str = "the facts for it are not recorded or not known";

fn not_in(number: usize, of: usize, because: &str) -> String {
    match of - number {
        0 => String::new(),
        1 => format!(" One pack is not in it: {because}."),
        n => format!(" {n} packs are not in it: {because}."),
    }
}

/// A quantile, interpolated between its neighbours (Hyndman & Fan 1996, definition 7, which most libraries give): of two
/// values the median lies midway.
fn quantile(sorted: &[f64], share: f64) -> f64 {
    let place = share * sorted.len().saturating_sub(1) as f64;
    // An index far below what f64 holds exactly.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "an index into the list")]
    let index = place.floor() as usize;
    let at = |index: usize| sorted.get(index).copied();
    let low = at(index).unwrap_or_default();
    let high = at(index + 1).unwrap_or(low);
    let share = place - index as f64;
    if share == 0.0 { low } else { low * (1.0 - share) + high * share }
}

/// Bars or a histogram of one number of each pack.
fn spread(rows: &[PackRow], subject: &Subject<'_>, value: impl Fn(&PackRow) -> Option<f64>) -> Chart {
    let mut packs: Vec<(&PackRow, f64)> =
        rows.iter().filter_map(|row| Some((row, value(row).filter(|v| v.is_finite())?))).collect();
    packs.sort_by(|a, b| a.1.total_cmp(&b.1));
    let values: Vec<f64> = packs.iter().map(|(_, value)| *value).collect();
    let mut chart = Chart {
        id: subject.id.to_owned(),
        title: subject.title.to_owned(),
        about: subject.about.to_owned(),
        ..Chart::default()
    };
    let (Some(least), Some(most)) = (values.first(), values.last()) else {
        chart.words = "No pack has the facts for it.".to_owned();
        return chart;
    };
    let unit = subject.unit;
    chart.words = match values.len() {
        1 => format!("One pack: {}.", shown(*least, unit)),
        n => format!(
            "{n} packs, from {} to {}, median {}.",
            shown(*least, unit),
            shown(*most, unit),
            shown(quantile(&values, 0.5), unit)
        ),
    };
    if subject.zero {
        let below = values.iter().filter(|value| **value < 0.0).count();
        chart.words.push_str(&format!(" {below} below zero."));
    }
    chart.words.push_str(&not_in(values.len(), rows.len(), subject.left_out));
    if values.len() <= ONE_BY_ONE {
        chart.heads = vec!["pack".to_owned(), unit.to_owned()];
        chart.rows = packs.iter().map(|(row, value)| vec![name(row), shown(*value, "")]).collect();
        let class = |value| if subject.zero && value < 0.0 { "falls-short" } else { "carries" };
        let bars = packs.iter().map(|(row, value)| {
            (clipped(&name(row), LONGEST_LABEL), *value, shown(*value, unit), class(*value))
        });
        chart.svg = Some(one_by_one(bars, chart.named(), unit));
        return chart;
    }
    let histogram = bins(&values, subject);
    if histogram.clipped > 0 {
        chart.words.push_str(&format!(
            " {} lie beyond the ends of the axis and are counted in the outermost bars.",
            histogram.clipped
        ));
    }
    chart.heads = vec![unit.to_owned(), "packs".to_owned()];
    let outer = histogram.bins.len().saturating_sub(1);
    chart.rows = histogram
        .bins
        .iter()
        .enumerate()
        .map(|(index, bin)| {
            let (low, high) = (shown(bin.from, ""), shown(bin.to, ""));
            let range = match index {
                0 if values.first() < Some(&bin.from) => format!("below {high}"),
                i if i == outer && values.last() > Some(&bin.to) => format!("{low} and more"),
                _ => format!("{low} to below {high}"),
            };
            vec![range, bin.number.to_string()]
        })
        .collect();
    chart.svg = Some(histogram.svg(chart.named(), (unit, PACKS), subject.zero));
    chart
}

fn bins(sorted: &[f64], subject: &Subject<'_>) -> Histogram {
    let (mut low, mut high) = (quantile(sorted, TAIL), quantile(sorted, 1.0 - TAIL));
    if subject.zero {
        (low, high) = (low.min(0.0), high.max(0.0));
    }
    let step = round_step((high - low).max(f64::MIN_POSITIVE), BINS as f64);
    // Bins begin at multiples of the step, so that zero is always a border.
    let first = (low / step).floor();
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a few dozen bins")]
    let number = (((high / step).floor() - first) as usize + 1).min(4 * BINS);
    let mut bins: Vec<Bin> = (0..number)
        .map(|index| {
            let from = (first + index as f64) * step;
            Bin { from, to: from + step, number: 0 }
        })
        .collect();
    let mut clipped = 0;
    for value in sorted {
        let place = value / step - first;
        clipped += usize::from(place < 0.0 || place >= number as f64);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "held inside the bins")]
        let index = (place.max(0.0) as usize).min(number - 1);
        if let Some(bin) = bins.get_mut(index) {
            bin.number += 1;
        }
    }
    Histogram { bins, clipped }
}

fn scatter(rows: &[PackRow]) -> Chart {
    let packs: Vec<(&PackRow, f64, f64)> = rows
        .iter()
        .filter_map(|row| Some((row, row.claimed_capacity_ah?, row.measured_capacity_ah?)))
        .filter(|(_, claimed, measured)| claimed.is_finite() && measured.is_finite())
        .collect();
    let mut chart = Chart {
        id: "capacity".to_owned(),
        title: "Measured against claimed capacity".to_owned(),
        about: "Largest capacity that a test down to the cut-off shows, over the claimed capacity. On the dashed line a pack holds what it claims; below it, less.".to_owned(),
        words: "No pack has the facts for it.".to_owned(),
        ..Chart::default()
    };
    if packs.is_empty() {
        return chart;
    }
    let below = packs.iter().filter(|(_, claimed, measured)| measured < claimed).count();
    let number = crate::units::words::count(packs.len(), "pack", "packs");
    let mut shares: Vec<f64> =
        packs.iter().filter(|p| p.1 > 0.0).map(|(_, claimed, measured)| 100.0 * measured / claimed).collect();
    shares.sort_by(f64::total_cmp);
    chart.words = format!("{number}; {below} measured below the claim.");
    if let (Some(least), Some(most)) = (shares.first(), shares.last()) {
        chart.words.push_str(&format!(
            " Measured over claimed: {} to {}.",
            shown(*least, "%"),
            shown(*most, "%")
        ));
    }
    let mut all: Vec<f64> = packs.iter().flat_map(|(_, claimed, measured)| [*claimed, *measured]).collect();
    all.sort_by(f64::total_cmp);
    let most = if packs.len() <= ONE_BY_ONE {
        all.last().copied().unwrap_or(1.0)
    } else {
        quantile(&all, 1.0 - TAIL)
    };
    let points: Vec<(f64, f64)> =
        packs.iter().map(|p| (p.1, p.2)).filter(|(x, y)| x.max(*y) <= most).collect();
    if points.len() < packs.len() {
        chart.words.push_str(&format!(
            " {} lie beyond the ends of the axes and are not drawn.",
            packs.len() - points.len()
        ));
    }
    chart.words.push_str(&not_in(packs.len(), rows.len(), NO_FACTS));
    if packs.len() <= ONE_BY_ONE {
        chart.heads = ["pack", "claimed, Ah", "measured, Ah"].map(str::to_owned).into();
        chart.rows =
            packs.iter().map(|(row, x, y)| vec![name(row), significant(*x, 4), significant(*y, 4)]).collect();
    } else {
        chart.heads = ["measured over claimed, %", "packs"].map(str::to_owned).into();
        let subject = Subject { id: "", title: "", about: "", unit: "%", zero: false, left_out: "" };
        chart.rows = bins(&shares, &subject)
            .bins
            .iter()
            .map(|bin| {
                vec![
                    format!("{} to below {}", shown(bin.from, ""), shown(bin.to, "")),
                    bin.number.to_string(),
                ]
            })
            .collect();
    }
    let in_cells = packs.len() > POINTS;
    let (x, y) = ("claimed, Ah", "measured, Ah");
    let drawn = Points { points, most, in_cells, x, y, same: "measured = claimed" };
    if drawn.in_cells {
        chart.about.push_str(" The larger a square, the more packs lie there.");
    }
    chart.svg = Some(drawn.svg(chart.named()));
    chart
}

/// A chart for each of the commonest currencies: amounts of different currencies are never put on one axis.
fn prices(rows: &[PackRow]) -> Vec<Chart> {
    let mut currencies: BTreeMap<&str, usize> = BTreeMap::new();
    for row in rows {
        if let (Some(currency), Some(_)) = (&row.price_currency, row.price_per_claimed_wh) {
            *currencies.entry(currency).or_default() += 1;
        }
    }
    let mut currencies: Vec<(&str, usize)> = currencies.into_iter().collect();
    currencies.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    let about =
        "Price paid over claimed energy. Prices are compared within one currency only and never converted.";
    if currencies.is_empty() {
        let subject = Subject {
            id: "price",
            title: "Price over claimed energy",
            about,
            unit: "per Wh",
            zero: false,
            left_out: NO_FACTS,
        };
        return vec![spread(rows, &subject, |_| None)];
    }
    let beyond = currencies.get(CURRENCIES..).map_or(0, |rest| rest.iter().map(|(_, number)| number).sum());
    let left_out = "price, currency or claimed energy are not recorded, or the price is in another currency";
    let left_out = if currencies.len() > 1 { left_out } else { NO_FACTS };
    let shown = currencies.iter().take(CURRENCIES);
    shown
        .map(|(currency, _)| {
            let (id, title) = (
                format!("price-{}", currency.to_lowercase()),
                format!("Price over claimed energy, {currency}"),
            );
            let unit = format!("{currency} per Wh");
            let about = match beyond {
                0 => about.to_owned(),
                n => format!(
                    "{about} {n} packs have their price in other currencies, which are in the data files."
                ),
            };
            let subject =
                Subject { id: &id, title: &title, about: &about, unit: &unit, zero: false, left_out };
            spread(rows, &subject, |row| {
                row.price_per_claimed_wh.filter(|_| row.price_currency.as_deref() == Some(currency))
            })
        })
        .collect()
}

/// What falls short in most packs.
fn short(causes: &[CommonCause]) -> Chart {
    let (id, title) = ("causes", "What falls short");
    let words = match causes.len() {
        0 => "Nothing falls short.".to_owned(),
        all if all > ONE_BY_ONE => format!("The {ONE_BY_ONE} causes of most packs; the table has all {all}."),
        _ => String::new(),
    };
    let bars = causes.iter().take(ONE_BY_ONE).map(|cause| {
        let words = crate::units::words::count(cause.packs, "pack", "packs");
        (clipped(&cause.said, LONGEST_LABEL), cause.packs as f64, words, "falls-short")
    });
    Chart {
        id: id.to_owned(),
        title: title.to_owned(),
        about: "Packs in which a cause falls short. One defect is one cause, however many rules speak of it; customs of the trade are opinion and are not counted.".to_owned(),
        svg: (!causes.is_empty()).then(|| one_by_one(bars, Named { id, title, words: &words }, PACKS)),
        words,
        heads: ["cause", "packs"].map(str::to_owned).into(),
        rows: causes.iter().map(|cause| vec![cause.said.clone(), cause.packs.to_string()]).collect(),
    }
}

fn fuses(rows: &[PackRow]) -> Chart {
    let mut kinds: BTreeMap<&str, usize> = BTreeMap::new();
    for row in rows {
        let kind = match row.fuse_kind.as_deref() {
            Some("none") => "none, and the list is complete",
            Some(kind) => kind,
            None => "not known",
        };
        *kinds.entry(kind).or_default() += 1;
    }
    let mut kinds: Vec<(&str, usize)> = kinds.into_iter().collect();
    kinds.sort_by(|a, b| b.1.cmp(&a.1).then(a.0.cmp(b.0)));
    let title = "Kinds of fuse";
    let words = format!("{}.", crate::units::words::count(rows.len(), "pack", "packs"));
    let svg = (!kinds.is_empty()).then(|| {
        let bars = kinds.iter().take(ONE_BY_ONE).map(|(kind, number)| {
            let words = crate::units::words::count(*number, "pack", "packs");
            ((*kind).to_owned(), *number as f64, words, "carries")
        });
        one_by_one(bars, Named { id: "fuses", title, words: &words }, PACKS)
    });
    Chart {
        id: "fuses".to_owned(),
        title: title.to_owned(),
        about: "What in the path responds to current and interrupts it. A thermal cut-off is not a fuse. Not known: no fuse is recorded and the list of elements is not stated to be complete, or the kind could not be told.".to_owned(),
        svg,
        words,
        heads: ["kind", "packs"].map(str::to_owned).into(),
        rows: kinds.iter().map(|(kind, number)| vec![(*kind).to_owned(), number.to_string()]).collect(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn subject(zero: bool) -> Subject<'static> {
        Subject { id: "x", title: "x", about: "x", unit: "%", zero, left_out: "" }
    }

    /// By hand; the last two as numpy.quantile gives them (from memory).
    #[test]
    fn quantiles() {
        let cases: [(&[f64], f64, f64); 7] = [
            (&[], 0.5, 0.0),
            (&[3.0], 0.5, 3.0),
            (&[1.0, 2.0], 0.5, 1.5),
            (&[1.0, 2.0, 9.0], 0.5, 2.0),
            (&[-1e308, 1e308], 0.5, 0.0),
            (&[1.0, 2.0, 3.0, 4.0], 0.25, 1.75),
            (&[1.0, 2.0, 3.0, 4.0], 1.0, 4.0),
        ];
        for (values, share, wanted) in cases {
            assert_eq!(quantile(values, share), wanted, "{values:?} {share}");
        }
    }

    #[test]
    fn every_value_is_in_one_bin_and_zero_is_a_border() {
        let values: Vec<f64> = (0..5000).map(|n| f64::from(n % 97) - 33.5).collect();
        let mut values: Vec<f64> = values.into_iter().chain([-1e9, 1e12]).collect();
        values.sort_by(f64::total_cmp);
        let histogram = bins(&values, &subject(true));
        assert_eq!(histogram.bins.iter().map(|bin| bin.number).sum::<usize>(), values.len());
        assert!(histogram.bins.iter().any(|bin| bin.from == 0.0));
        assert!(histogram.bins.len() <= 2 * BINS);
        assert_eq!(histogram.clipped, 2);
    }

    #[test]
    fn all_alike_is_no_division_by_zero() {
        for value in [0.0, 1e-300, 5.0, -7.0] {
            let histogram = bins(&[value; 40], &subject(false));
            assert_eq!(histogram.bins.iter().map(|bin| bin.number).sum::<usize>(), 40, "{value}");
        }
    }

    #[test]
    fn charts_of_nothing_say_so() {
        let charts = page(&[], &[]).charts;
        assert!(charts.iter().all(|chart| chart.svg.is_none() && !chart.words.is_empty()));
        let charts = page(&[PackRow::default()], &[]).charts;
        assert!(charts.iter().filter(|chart| chart.id != "fuses").all(|chart| chart.svg.is_none()));
    }

    #[test]
    fn currencies_are_kept_apart() {
        let row = |currency: &str, price| PackRow {
            price_currency: Some(currency.to_owned()),
            price_per_claimed_wh: Some(price),
            ..PackRow::default()
        };
        let charts = prices(&[row("EUR", 0.1), row("EUR", 0.2), row("JPY", 20.0)]);
        assert_eq!(charts.iter().map(|chart| chart.rows.len()).collect::<Vec<_>>(), [2, 1]);
    }
}
