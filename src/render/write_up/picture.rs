//! The picture of the current path: how warm each place becomes against its own limit, from terminal to terminal.

use std::collections::BTreeMap;

use super::view::{ElementView, PlaceView, View, Worth};
use crate::judge::rules::Outcome;
use crate::physics::ZERO_CELSIUS;
use crate::render::draw::glyph::Glyph;
use crate::render::draw::rows::{Group, Row, RowChart, Sample};
use crate::render::draw::{Named, Paper};
use crate::units::{Dimension, show};

/// What the axis is of.
const AXIS: &str = "°C after one full discharge at rated current";
/// Temperature of the room, °C: no place is colder at rated current.
const ROOM: f64 = 25.0;

/// Draws the path as SVG, or nothing when there is no element.
pub(super) fn path_picture(view: &View, photos: &BTreeMap<&str, usize>) -> Option<String> {
    picture_of(path_parts(view, photos), &description(view))
}

/// The places of a path under the parts that are drawn before them, with the numbers of their photos.
pub(crate) fn path_parts(view: &View, photos: &BTreeMap<&str, usize>) -> Vec<Group> {
    let mut parts = path_groups(view);
    let mut groups = parts.iter_mut();
    for element in &view.path.elements {
        let Some(group) = groups.next() else { break };
        let photo = element.photos.iter().find_map(|name| photos.get(name.as_str()).copied());
        group.glyph = Some(Glyph { class: pattern(outcome(element)), photo, ..element.glyph });
        // The further places of an element are the posts of its cells: nothing is drawn beside them.
        for _ in &element.further_places {
            groups.next();
        }
    }
    parts
}

/// Draws parts of a path, described in words, or nothing when there are none.
pub(crate) fn picture_of(parts: Vec<Group>, words: &str) -> Option<String> {
    let mut chart = chart_of(parts)?;
    let glyphs = || chart.groups.iter().filter_map(|group| group.glyph);
    let mut legend = Vec::new();
    if glyphs().any(|glyph| glyph.photo.is_some()) {
        legend.push((Sample::Photo, "number of a photo".to_owned()));
    }
    if glyphs().any(|glyph| glyph.length.is_some()) {
        legend.push((Sample::Millimetres(100.0, 0.0), "100 mm along the current".to_owned()));
        legend.push((Sample::Millimetres(0.0, 20.0), "20 mm of a section".to_owned()));
    }
    chart.legend.append(&mut legend);
    Some(chart.draw(Paper::PAGE).svg(Named { id: "path-picture", title: TITLE, words }))
}

/// The paths of several packs, each place in one line, all on one axis and with one scale of lengths.
pub(crate) fn close(views: &[View]) -> Vec<RowChart<'static>> {
    let mut charts: Vec<RowChart<'static>> = views
        .iter()
        .map(|view| {
            let groups = view.path.elements.iter().map(|element| {
                let (words, strong) = hottest(&element.place);
                let outcome = outcome(element);
                let row =
                    Row { words, strong, ..row(&element.place, pattern(element.place.temperature_outcome)) };
                let glyph = Some(Glyph { class: pattern(outcome), photo: None, ..element.glyph });
                Group { name: element.called.clone(), rows: vec![row], glyph, ..Group::default() }
            });
            RowChart {
                axis: AXIS,
                from: Some(ROOM),
                groups: groups.collect(),
                close: true,
                ..RowChart::default()
            }
        })
        .collect();
    let ends = charts.iter().filter(|chart| !chart.groups.is_empty()).map(RowChart::ends);
    let ends = ends.reduce(|a, b| (a.0.min(b.0), a.1.max(b.1)));
    let longest = charts.iter().filter_map(RowChart::longest).reduce(f64::max);
    let measured = views.iter().flat_map(|view| &view.path.elements);
    let measured =
        measured.map(|element| &element.place).any(|place| place.measured_temperature.si.is_some());
    for (number, chart) in charts.iter_mut().enumerate() {
        (chart.axis_ends, chart.scale_of) = (ends, longest);
        if number == 0 {
            chart.legend = legend(measured);
        }
    }
    charts
}

/// How warm a place becomes in words, as it was measured, else as it was calculated; and whether it falls short.
pub(crate) fn hottest(place: &PlaceView) -> (String, bool) {
    let row = row(place, "");
    if place.measured_temperature.si.is_none() {
        return (row.words, row.strong);
    }
    let words = format!("{}{}", shape(place.measured_outcome), measured(place));
    (words, place.measured_outcome == Some(Outcome::FallsShort))
}

/// What the rules say of the temperature of an element, measured or calculated.
fn outcome(element: &ElementView) -> Option<Outcome> {
    element.place.temperature_outcome.into_iter().chain(element.place.measured_outcome).min()
}

/// The pattern of an outcome.
const fn pattern(outcome: Option<Outcome>) -> &'static str {
    match outcome {
        Some(Outcome::FallsShort) => "falls-short",
        Some(Outcome::Meets) => "carries",
        Some(Outcome::NotDecided) | None => "undecided",
    }
}

const TITLE: &str = "Temperature of each place of the current path against its limit";

/// The path as a chart.
#[cfg(feature = "video")]
pub(crate) fn path_chart(view: &View) -> Option<RowChart<'static>> {
    chart_of(path_groups(view))
}

fn path_groups(view: &View) -> Vec<Group> {
    let mut leg = "";
    let mut groups = Vec::new();
    for element in &view.path.elements {
        for (number, place) in [&element.place].into_iter().chain(&element.further_places).enumerate() {
            let heading =
                if element.leg == leg || number > 0 { String::new() } else { in_words(&element.leg) };
            groups.push(group(element, place, heading));
        }
        leg = &element.leg;
    }
    groups
}

fn chart_of(groups: Vec<Group>) -> Option<RowChart<'static>> {
    let legend = legend(groups.iter().flat_map(|group| &group.rows).any(|row| row.reading.is_some()));
    (!groups.is_empty()).then(|| RowChart {
        axis: AXIS,
        from: Some(ROOM),
        groups,
        legend,
        ..RowChart::default()
    })
}

fn legend(measured: bool) -> Vec<(Sample, String)> {
    let mut legend = vec![
        (Sample::Bar("falls-short"), "falls short".to_owned()),
        (Sample::Bar("undecided"), "not decided".to_owned()),
        (Sample::Bar("carries"), "meets".to_owned()),
        (Sample::Limit, "limit of the place".to_owned()),
    ];
    if measured {
        legend.push((Sample::Reading, "measured, brought to the same".to_owned()));
    }
    legend
}

fn in_words(leg: &str) -> String {
    if leg == "stack" { "cells".to_owned() } else { format!("{leg} leg") }
}

fn group(element: &ElementView, place: &PlaceView, heading: String) -> Group {
    let class = pattern(place.temperature_outcome);
    let mut rows = vec![Row { reading: None, ..row(place, class) }];
    if place.measured_temperature.si.is_some() {
        let words = format!("{}{}", shape(place.measured_outcome), measured(place));
        rows.push(Row {
            reading: ends(&place.measured_temperature),
            open: place.measured_temperature.bound == Some("at least"),
            limit: ends(&place.temperature_limit).map(|(_, high)| high),
            there: true,
            words,
            strong: place.measured_outcome == Some(Outcome::FallsShort),
            ..Row::default()
        });
    }
    let note = place.temperature.missing.first().map_or_else(String::new, |first| {
        let more = place.temperature.missing.len() - 1;
        let more = if more > 0 { format!(", and {more} more") } else { String::new() };
        format!("missing: {}{more}", first.what)
    });
    let aside = limit(place).unwrap_or_else(|| "limit not known".to_owned());
    let name = if place.what.is_empty() { element.called.as_str() } else { place.what }.to_owned();
    Group { heading, name, aside, rows, note, glyph: None }
}

/// The row of a place: range, reading and limit, with the range in words.
fn row(place: &PlaceView, class: &'static str) -> Row {
    let words = match &place.temperature_range {
        Some(range) => format!("{}{range}", shape(place.temperature_outcome)),
        None => "◇ not known".to_owned(),
    };
    Row {
        range: ends(&place.temperature),
        open: place.temperature.bound == Some("at least"),
        reading: ends(&place.measured_temperature),
        limit: ends(&place.temperature_limit).map(|(_, high)| high),
        there: true,
        words,
        strong: place.temperature_outcome == Some(Outcome::FallsShort),
        class,
    }
}

/// The limit of a place in words.
fn limit(place: &PlaceView) -> Option<String> {
    Some(format!("limit {}", show(place.temperature_limit.si?, Dimension::TEMPERATURE)))
}

fn shape(outcome: Option<Outcome>) -> String {
    outcome.map_or_else(String::new, |outcome| format!("{} ", outcome.shape()))
}

fn measured(place: &PlaceView) -> String {
    let worth = &place.measured_temperature;
    let middle = worth.si.map(|si| show((si - ZERO_CELSIUS).round() + ZERO_CELSIUS, Dimension::TEMPERATURE));
    format!("{} {}", worth.bound.unwrap_or("measured"), middle.unwrap_or_default())
}

/// Both ends of a temperature, °C.
fn ends(worth: &Worth) -> Option<(f64, f64)> {
    let (middle, half) = (worth.si? - ZERO_CELSIUS, worth.expanded_si.unwrap_or_default());
    Some((middle - half, middle + half))
}

/// The picture in words.
pub(crate) fn description(view: &View) -> String {
    let rows: Vec<String> = view
        .path
        .elements
        .iter()
        .map(|element| {
            let place = &element.place;
            let range = place.temperature_range.as_deref().unwrap_or("not known");
            let read = place.measured_temperature.value.as_ref().map(|_| format!(", {}", measured(place)));
            let limit = limit(place).map(|limit| format!(", {limit}"));
            let outcome = outcome(element).map(|outcome| format!(", {}", outcome.words()));
            format!(
                "{}: {range}{}{}{}",
                element.called,
                read.unwrap_or_default(),
                limit.unwrap_or_default(),
                outcome.unwrap_or_default()
            )
        })
        .collect();
    let rated = view.rated_current.as_deref().unwrap_or("not recorded");
    format!("Rated continuous current {rated}, one full discharge. {}.", rows.join("; "))
}
