//! The picture of the current path across records: what each element carries in each of them, and each record's rated
//! continuous current, on one axis.
//!
//! A pack has a pattern for its bars and a dash for its rated current, both told in the legend, and the numbers stand beside
//! the bars, so that the picture can be read in print, without colour and by a screen reader. A bar that ends short of
//! its own pack's rated current has the shape ▼ beside its number. Nothing here says which pack is better.

use super::{Comparison, ElementComparison};
use crate::render::draw::Named;
use crate::render::draw::bars::{Bar, BarChart, Group, Mark};
use crate::units::significant;
use crate::units::words::list;

/// Packs that patterns can tell apart; further ones stand in the table.
const PACKS: usize = 4;
/// Letters of a line of the legend that fit.
const LETTERS: usize = 46;

/// Draws the path of all records, or nothing where no element is recorded.
pub(super) fn picture(comparison: &Comparison) -> Option<String> {
    if comparison.elements.is_empty() {
        return None;
    }
    let picture = Picture::of(comparison);
    let marks = picture.packs.iter().enumerate().filter_map(|(pack, (_, rated))| {
        rated.map(|at| Mark { at, class: "rated", dash: pack, words: None })
    });
    let chart = BarChart {
        named: Named {
            id: "path-picture",
            title: "Continuous permissible current of each element of the current path against the rated continuous currents",
            words: &picture.description(),
        },
        axis: "continuous current in amperes",
        whole: false,
        groups: comparison.elements.iter().map(|element| picture.group(element)).collect(),
        marks: marks.collect(),
        legend: picture.legend(),
    };
    Some(chart.svg())
}

/// How many records are left out of the picture.
pub(super) fn left_out(comparison: &Comparison) -> usize {
    comparison.inspections.len().saturating_sub(PACKS)
}

struct Picture<'a> {
    elements: &'a [ElementComparison],
    /// Names and rated continuous currents in amperes of the packs that are drawn.
    packs: Vec<(&'a str, Option<f64>)>,
}

impl<'a> Picture<'a> {
    fn of(comparison: &'a Comparison) -> Self {
        let packs = comparison
            .inspections
            .iter()
            .take(PACKS)
            .map(|i| (i.name.as_str(), i.rated_current_si.filter(|rated| *rated > 0.0 && rated.is_finite())))
            .collect();
        Self { elements: &comparison.elements, packs }
    }

    /// One line for each pack: its bar, its dash, its rated current.
    fn legend(&self) -> Vec<(&'static str, Option<usize>, String)> {
        let line = |(pack, (name, rated)): (usize, &(&str, Option<f64>))| {
            let words = match rated {
                Some(amperes) => format!("rated {} A", significant(*amperes, 4)),
                None => "rated current not recorded".to_owned(),
            };
            let name: String = name.chars().take(LETTERS.saturating_sub(words.chars().count())).collect();
            (pattern(pack), rated.map(|_| pack), format!("{name}: {words}"))
        };
        self.packs.iter().enumerate().map(line).collect()
    }

    fn group(&self, element: &ElementComparison) -> Group {
        let bar = |(pack, (_, rated)): (usize, &(&str, Option<f64>))| {
            let class = pattern(pack);
            match self.carried(element, pack) {
                Carried::NotThere => Bar { words: "no such element".to_owned(), class, ..Bar::default() },
                Carried::Unknown => {
                    Bar { there: true, words: "◇ not known".to_owned(), class, ..Bar::default() }
                }
                Carried::Known { amperes, spread } => {
                    let strong = rated.is_some_and(|rated| amperes < rated);
                    let shape = if strong { "▼ " } else { "" };
                    let words = format!("{shape}{} A", significant(amperes, 3));
                    Bar { value: Some(amperes), spread, there: true, words, strong, class }
                }
            }
        };
        Group { name: element.label.clone(), bars: self.packs.iter().enumerate().map(bar).collect() }
    }

    fn carried(&self, element: &ElementComparison, pack: usize) -> Carried {
        match element.permissible_current.cells.get(pack) {
            Some(cell) if element.labels.get(pack).is_some_and(Option::is_some) => {
                match cell.si.filter(|si| si.is_finite()) {
                    Some(amperes) => Carried::Known { amperes, spread: cell.expanded_si },
                    None => Carried::Unknown,
                }
            }
            _ => Carried::NotThere,
        }
    }

    /// The picture in words.
    fn description(&self) -> String {
        let rated: Vec<String> = self
            .packs
            .iter()
            .map(|(name, rated)| match rated {
                Some(amperes) => format!("{name} {} A", significant(*amperes, 4)),
                None => format!("{name} not recorded"),
            })
            .collect();
        let rows = self.elements.iter().map(|element| {
            let each: Vec<String> = self
                .packs
                .iter()
                .enumerate()
                .map(|(pack, (name, rated))| match self.carried(element, pack) {
                    Carried::NotThere => format!("no such element in {name}"),
                    Carried::Unknown => format!("not known in {name}"),
                    Carried::Known { amperes, .. } => {
                        let less = rated.is_some_and(|rated| amperes < rated);
                        let told = if less { ", less than rated," } else { "" };
                        let cell =
                            element.permissible_current.cells.get(pack).map_or("", |cell| cell.text.as_str());
                        format!("{cell}{told} in {name}")
                    }
                })
                .collect();
            format!("{}: {}", element.label, list(&each, "and"))
        });
        format!("Rated continuous current: {}. {}.", list(&rated, "and"), rows.collect::<Vec<_>>().join("; "))
    }
}

enum Carried {
    NotThere,
    Unknown,
    Known { amperes: f64, spread: Option<f64> },
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
