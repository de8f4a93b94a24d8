//! The paths of all records, one above the other on one scale: the drawing of the write-up, each place in one line.

use super::Columns;
use crate::render::draw::{Named, Paper};
use crate::render::write_up::View;
use crate::render::write_up::picture::{close, description};

/// Draws the path of each record that has one; all of them have one axis and one scale of lengths.
pub(super) fn drawings(columns: &Columns<'_>, views: &[View]) -> Vec<String> {
    let charts = close(views);
    let draw = |(at, chart): (usize, &crate::render::draw::rows::RowChart<'_>)| {
        let name = &columns.names[at];
        let title = format!("The current path of {name}: temperature of each place against its limit");
        let id = format!("path-{at}");
        let named = Named { id: &id, title: &title, words: &description(&views[at]) };
        if chart.groups.is_empty() { String::new() } else { chart.draw(Paper::PAGE).svg(named) }
    };
    charts.iter().enumerate().map(draw).collect()
}
