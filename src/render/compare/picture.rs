//! The picture of the current path across records: how warm each place becomes in each of them at its own rated continuous
//! current, on one axis.
//!
//! A pack has a pattern for its bars, told in the legend, and the numbers stand beside the bars, so that the picture can be
//! read in print, without colour and by a screen reader. Nothing here says which pack is better.

use super::{Comparison, ElementComparison};
use crate::render::draw::rows::{Group, Row, RowChart, Sample};
use crate::render::draw::{Named, Paper};
use crate::render::write_up::picture::{AXIS, LIMIT, MEASURED, ROOM, limit, row};
use crate::units::significant;
use crate::units::words::list;

/// Packs that patterns can tell apart; further ones stand in the table.
const PACKS: usize = 4;

/// Draws the path of all records, or nothing where no element is recorded.
pub(super) fn picture(comparison: &Comparison) -> Option<String> {
    if comparison.elements.is_empty() {
        return None;
    }
    let mut legend: Vec<(Sample, String)> = packs(comparison)
        .enumerate()
        .map(|(pack, (name, rated))| (Sample::Bar(pattern(pack)), format!("{name}, {rated}")))
        .collect();
    legend.push((Sample::Limit, LIMIT.to_owned()));
    let places = || comparison.elements.iter().flat_map(|element| element.places.iter().flatten());
    if places().any(|place| place.measured_temperature.si.is_some()) {
        legend.push((Sample::Reading, MEASURED.to_owned()));
    }
    let groups = comparison.elements.iter().map(group).collect();
    let chart = RowChart { axis: AXIS, from: Some(ROOM), groups, legend, ..RowChart::default() };
    let named = Named {
        id: "path-picture",
        title: "Temperature of each place of the current path against its limit, in each pack",
        words: &description(comparison),
    };
    Some(chart.draw(Paper::PAGE).svg(named))
}

/// How many records are left out of the picture.
pub(super) fn left_out(comparison: &Comparison) -> usize {
    comparison.inspections.len().saturating_sub(PACKS)
}

/// Names and rated continuous currents of the packs that are drawn.
fn packs(comparison: &Comparison) -> impl Iterator<Item = (&str, String)> {
    comparison.inspections.iter().take(PACKS).map(|inspection| {
        let rated = inspection.rated_current_si.filter(|rated| *rated > 0.0 && rated.is_finite());
        let words = rated.map(|amperes| format!("rated {} A", significant(amperes, 4)));
        (inspection.name.as_str(), words.unwrap_or_else(|| "rated current not recorded".to_owned()))
    })
}

fn group(element: &ElementComparison) -> Group {
    let rows = element.places.iter().take(PACKS).enumerate().map(|(pack, place)| match place {
        Some(place) => row(place, pattern(pack)),
        None => Row { words: "no such element".to_owned(), ..Row::default() },
    });
    let rows: Vec<Row> = rows.collect();
    let mut limits: Vec<String> = element.places.iter().flatten().filter_map(limit).collect();
    limits.dedup();
    Group { name: element.called.clone(), aside: list(&limits, "and"), rows, ..Group::default() }
}

/// The picture in words.
fn description(comparison: &Comparison) -> String {
    let names: Vec<&str> = packs(comparison).map(|(name, _)| name).collect();
    let rows = comparison.elements.iter().map(|element| {
        let each = element.places.iter().zip(&names).map(|(place, name)| match place {
            None => format!("no such element in {name}"),
            Some(place) => {
                let range = place.temperature_range.as_deref().unwrap_or("not known");
                let outcome = place.temperature_outcome.map(|outcome| format!(", {},", outcome.words()));
                format!("{range}{} in {name}", outcome.unwrap_or_default())
            }
        });
        format!("{}: {}", element.called, list(&each.collect::<Vec<_>>(), "and"))
    });
    let rated: Vec<String> = packs(comparison).map(|(name, rated)| format!("{name} {rated}")).collect();
    format!("{}. {}.", list(&rated, "and"), rows.collect::<Vec<_>>().join("; "))
}

/// The pattern of a pack's bars.
const fn pattern(pack: usize) -> &'static str {
    match pack {
        0 => "carries",
        1 => "pack-2",
        2 => "pack-3",
        _ => "pack-4",
    }
}
