//! The picture of the current path: every element's permissible current against the rated current.

use super::view::{ElementView, View};
use crate::render::draw::Named;
use crate::render::draw::bars::{Bar, BarChart, Group, Mark};
use crate::units::significant;

/// Draws the path as SVG, or nothing when there is no element.
pub(super) fn path_picture(view: &View) -> Option<String> {
    let elements = &view.path.elements;
    if elements.is_empty() {
        return None;
    }
    let mark = |at: Option<f64>, class, word: &str| {
        at.map(|at| Mark { at, class, dash: 0, words: Some(format!("{word} {} A", significant(at, 4))) })
    };
    let marks = [
        mark(view.tested_current_si, "tested", "tested"),
        mark(view.path.fuse_rating.si, "fuse", view.path.fuse_word()),
        mark(view.rated_current_si, "rated", "rated"),
    ];
    let chart = BarChart {
        named: Named {
            id: "path-picture",
            title: "Continuous permissible current of each element of the current path",
            words: &description(view, elements),
        },
        axis: "continuous current in amperes",
        whole: false,
        groups: elements.iter().map(|element| group(element, view.rated_current_si)).collect(),
        marks: marks.into_iter().flatten().collect(),
        legend: Vec::new(),
    };
    Some(chart.svg())
}

fn group(element: &ElementView, rated: Option<f64>) -> Group {
    let opens_on_heat = element.responds_to.as_deref() == Some("temperature");
    let name = match (element.weakest, opens_on_heat) {
        (true, _) => format!("{} — weakest", element.label),
        (false, true) => format!("{} — not a fuse", element.label),
        (false, false) => element.label.clone(),
    };
    let value = element.permissible_current.si;
    let falls_short = value.zip(rated).is_some_and(|(value, rated)| value < rated);
    let bar = Bar {
        value,
        spread: element.permissible_current.expanded_si,
        there: true,
        words: value.map_or("not known".to_owned(), |si| format!("{} A", significant(si, 3))),
        strong: element.weakest,
        class: if falls_short { "falls-short" } else { "carries" },
    };
    Group { name, bars: vec![bar] }
}

fn description(view: &View, elements: &[ElementView]) -> String {
    let rows: Vec<String> = elements
        .iter()
        .map(|e| format!("{}: {}", e.label, e.permissible_current.value.as_deref().unwrap_or("not known")))
        .collect();
    let rated = view.rated_current.as_deref().unwrap_or("not recorded");
    format!("Rated continuous current {rated}. {}.", rows.join("; "))
}
