//! The picture of the current path across records: what each element carries in each of them, and each record's rated
//! continuous current, on one axis.
//!
//! A pack has a pattern for its bars and a dash for its rated current, both told in the legend, and the numbers stand beside
//! the bars, so that the picture can be read in print, without colour and by a screen reader. A bar that ends short of
//! its own pack's rated current has the shape ▼ beside its number. Nothing here says which pack is better.

use std::fmt::Write;

use super::{Comparison, ElementComparison};
use crate::render::markup::escape;
use crate::render::write_up::chart::{Scale, dash};
use crate::units::significant;
use crate::units::words::list;

/// Packs that patterns can tell apart; further ones stand in the table.
const PACKS: usize = 4;
const WIDTH: f64 = 360.0;
const LEFT: f64 = 6.0;
/// Where bars end at the latest: the numbers stand behind.
const BARS: f64 = 280.0;
/// Height of a line of the legend.
const LEGEND: f64 = 16.0;
/// Height of an element's name, of a bar with its distance to the next, and the distance to the next element.
const NAME: f64 = 15.0;
const BAR: f64 = 13.0;
const GAP: f64 = 7.0;
/// Letters of a name that fit.
const LETTERS: usize = 46;

/// Draws the path of all records, or nothing where no element is recorded.
pub(super) fn picture(comparison: &Comparison) -> Option<String> {
    if comparison.elements.is_empty() {
        return None;
    }
    let mut svg = String::new();
    // Writing to a String cannot fail.
    let _ = Picture::of(comparison).draw(&mut svg);
    Some(svg)
}

/// How many records are left out of the picture.
pub(super) fn left_out(comparison: &Comparison) -> usize {
    comparison.inspections.len().saturating_sub(PACKS)
}

struct Picture<'a> {
    elements: &'a [ElementComparison],
    /// Names and rated continuous currents in amperes of the packs that are drawn.
    packs: Vec<(&'a str, Option<f64>)>,
    x: Scale,
}

impl<'a> Picture<'a> {
    fn of(comparison: &'a Comparison) -> Self {
        let packs: Vec<(&str, Option<f64>)> = comparison
            .inspections
            .iter()
            .take(PACKS)
            .map(|i| (i.name.as_str(), i.rated_current_si.filter(|rated| *rated > 0.0 && rated.is_finite())))
            .collect();
        let carried = comparison
            .elements
            .iter()
            .flat_map(|element| element.permissible_current.cells.iter().take(PACKS));
        let most = carried.filter_map(|cell| cell.si).filter(|si| si.is_finite()).fold(0.0, f64::max);
        let reach = packs.iter().filter_map(|pack| pack.1).fold(0.0, f64::max) * 1.25;
        // A very strong element must not press the others against the edge.
        let end = if reach > 0.0 { most.clamp(reach, reach * 2.0) } else { most }.max(1.0);
        Self { elements: &comparison.elements, packs, x: Scale::of([0.0, end].into_iter(), 5.0, LEFT, BARS) }
    }

    fn draw(&self, svg: &mut String) -> std::fmt::Result {
        #[expect(clippy::cast_precision_loss, reason = "counts of bars")]
        let (packs, elements) = (self.packs.len() as f64, self.elements.len() as f64);
        let top = LEGEND * packs + 8.0;
        let row = NAME + BAR * packs + GAP;
        let bottom = top + row * elements;
        let height = bottom + 36.0;
        write!(
            svg,
            r#"<svg class="path" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-labelledby="path-title path-desc" xmlns="http://www.w3.org/2000/svg"><title id="path-title">Continuous permissible current of each element of the current path against the rated continuous currents</title><desc id="path-desc">{}</desc>{PATTERNS}"#,
            escape(&self.description())
        )?;
        self.axis(svg, top, bottom)?;
        let mut y = top;
        for element in self.elements {
            self.element(svg, element, y)?;
            y += row;
        }
        self.legend(svg)?;
        self.rated(svg, top, row)?;
        svg.push_str("</svg>");
        Ok(())
    }

    fn axis(&self, svg: &mut String, top: f64, bottom: f64) -> std::fmt::Result {
        for tick in self.x.ticks() {
            let x = self.x.at(tick);
            write!(svg, r#"<path class="grid" d="M{x:.1} {top:.1}V{bottom:.1}"/>"#)?;
            let anchor = if tick == 0.0 { "start" } else { "middle" };
            text(svg, "tick", (x, bottom + 13.0), anchor, &self.x.number(tick))?;
        }
        let middle = f64::midpoint(LEFT, BARS);
        text(svg, "tick", (middle, bottom + 29.0), "middle", "continuous current in amperes")
    }

    /// One line for each pack: its bar, its dash, its rated current.
    fn legend(&self, svg: &mut String) -> std::fmt::Result {
        let mut y = 2.0;
        for (pack, (name, rated)) in self.packs.iter().enumerate() {
            write!(svg, r#"<rect class="bar {}" x="{LEFT}" y="{y:.1}" width="24" height="9"/>"#, fill(pack))?;
            let words = match rated {
                Some(amperes) => {
                    let middle = y + 4.5;
                    write!(svg, r#"<path class="mark rated" d="M36 {middle:.1}h24"{}/>"#, dash(pack))?;
                    format!("rated {} A", significant(*amperes, 4))
                }
                None => "rated current not recorded".to_owned(),
            };
            let name: String = name.chars().take(LETTERS.saturating_sub(words.chars().count())).collect();
            text(svg, "label strong", (66.0, y + 8.5), "start", &format!("{name}: {words}"))?;
            y += LEGEND;
        }
        Ok(())
    }

    /// The rated currents as lines, interrupted where a name stands.
    fn rated(&self, svg: &mut String, top: f64, row: f64) -> std::fmt::Result {
        for (pack, (_, rated)) in self.packs.iter().enumerate() {
            let Some(amperes) = rated else { continue };
            let x = self.x.at(*amperes);
            let mut path = String::new();
            let mut y = top;
            for _ in self.elements {
                write!(path, "M{x:.1} {:.1}V{:.1}", y + NAME - 1.0, y + row - GAP + 1.0)?;
                y += row;
            }
            write!(svg, r#"<path class="mark rated" d="{path}"{}/>"#, dash(pack))?;
        }
        Ok(())
    }

    fn element(&self, svg: &mut String, element: &ElementComparison, y: f64) -> std::fmt::Result {
        let name: String = element.label.chars().take(LETTERS).collect();
        text(svg, "label", (LEFT, y + 11.0), "start", &name)?;
        let mut y = y + NAME;
        for (pack, (_, rated)) in self.packs.iter().enumerate() {
            let (value, strong) = match self.carried(element, pack) {
                Carried::NotThere => ("no such element".to_owned(), false),
                Carried::Unknown => {
                    let (middle, end) = (y + 4.5, self.x.high);
                    write!(svg, r#"<path class="unknown" d="M{LEFT} {middle:.1}H{end:.1}"/>"#)?;
                    ("◇ not known".to_owned(), false)
                }
                Carried::Known { amperes, spread } => {
                    self.bar(svg, pack, (amperes, spread), y)?;
                    let short = rated.is_some_and(|rated| amperes < rated);
                    let shape = if short { "▼ " } else { "" };
                    (format!("{shape}{} A", significant(amperes, 3)), short)
                }
            };
            let class = if strong { "label strong" } else { "label" };
            text(svg, class, (WIDTH - 2.0, y + 8.5), "end", &value)?;
            y += BAR;
        }
        Ok(())
    }

    fn bar(
        &self,
        svg: &mut String,
        pack: usize,
        (amperes, spread): (f64, Option<f64>),
        y: f64,
    ) -> std::fmt::Result {
        let width = self.x.at(amperes) - LEFT;
        write!(
            svg,
            r#"<rect class="bar {}" x="{LEFT}" y="{y:.1}" width="{width:.1}" height="9"/>"#,
            fill(pack)
        )?;
        if amperes > self.x.to {
            write!(svg, r#"<path class="beyond" d="M{:.1} {y:.1}l5 4.5l-5 4.5"/>"#, BARS + 2.0)?;
        } else if let Some(spread) = spread {
            let (low, high, middle) = (self.x.at(amperes - spread), self.x.at(amperes + spread), y + 4.5);
            let ends = y + 2.0;
            write!(
                svg,
                r#"<path class="spread" d="M{low:.1} {middle:.1}H{high:.1}M{low:.1} {ends:.1}v5M{high:.1} {ends:.1}v5"/>"#
            )?;
        }
        Ok(())
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
const fn fill(pack: usize) -> &'static str {
    match pack {
        0 => "carries",
        1 => "pack-2",
        2 => "pack-3",
        _ => "pack-4",
    }
}

/// Strokes to the right, strokes to the left, and nothing: told apart without colour.
const PATTERNS: &str = concat!(
    r##"<defs><pattern id="pack-2" width="5" height="5" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5" height="5" class="pack-back"/><path d="M0 0V5" class="pack-line"/></pattern>"##,
    r##"<pattern id="pack-3" width="4" height="4" patternUnits="userSpaceOnUse"><rect width="4" height="4" class="pack-back"/><path d="M0 0H4" class="pack-line"/></pattern></defs>"##
);

fn text(svg: &mut String, class: &str, (x, y): (f64, f64), anchor: &str, words: &str) -> std::fmt::Result {
    let words = escape(words);
    write!(svg, r#"<text class="{class}" x="{x:.1}" y="{y:.1}" text-anchor="{anchor}">{words}</text>"#)
}
