//! Curves of bench tests as SVG: axes with units, marks with words, readable in print and without colour.
//!
//! Lines differ by their dashes, marks stand in rows above the plot, and a level's words stand where they hide
//! least. Every chart has a title and a description in words; the data lie beside it as CSV.

mod labels;
mod scale;

use std::fmt::Write;

use crate::judge::bench_test::Curve;
use crate::render::markup::escape;
use crate::units::significant;
use labels::{Area, ROW, above, at_level, width};
pub(crate) use scale::Scale;
use scale::range;

const WIDTH: f64 = 360.0;
/// Height of the plot alone.
const PLOT: f64 = 154.0;
const LEFT: f64 = 44.0;
const RIGHT: f64 = 12.0;
/// Room above the rows of marks, for the name of the vertical axis.
const TOP: f64 = 20.0;
/// Room below the plot, for the numbers and the name of the horizontal axis.
const BOTTOM: f64 = 40.0;
/// Height of a row of the legend.
const LEGEND: f64 = 15.0;
/// Ends of a line's name that are kept where it is too long for the legend: names often differ at the end.
const TAIL: usize = 14;
/// Times up to this many minutes are drawn in seconds.
const SECONDS_UP_TO: f64 = 2.0;
/// Times from this many minutes on are drawn in hours.
const HOURS_FROM: f64 = 600.0;
/// Lines differ by their dashes, not by colour: they must be told apart in print and by everybody.
const DASHES: [&str; 6] = ["", "7 3", "2 2.5", "10 3 2 3", "4 4", "14 4"];

/// The dashes of a line among several.
pub(crate) fn dash(number: usize) -> String {
    match DASHES.get(number % DASHES.len()) {
        Some(dash) if !dash.is_empty() => format!(r#" stroke-dasharray="{dash}""#),
        _ => String::new(),
    }
}

/// The unit at the end of an axis's name: "charge in Ah", "minutes under load".
fn unit(axis: &str) -> &str {
    match axis.rsplit_once(" in ") {
        Some((_, unit)) if !unit.contains(' ') => unit,
        _ if axis.starts_with("seconds") => "s",
        _ if axis.starts_with("minutes") => "min",
        _ if axis.starts_with("hours") => "h",
        _ => "",
    }
}

/// A marked value in words; what lies at zero needs no number.
pub(crate) fn in_words(value: f64, label: &str, axis: &str) -> String {
    if value == 0.0 && matches!(unit(axis), "s" | "min" | "h") {
        return label.to_owned();
    }
    let unit = unit(axis);
    let space = if unit.is_empty() { "" } else { " " };
    format!("{label} {}{space}{unit}", significant(value, 4).replace('-', "−"))
}

/// Draws a curve; `id` makes its title unique in a page.
#[must_use]
pub fn chart(curve: &Curve, id: &str) -> String {
    let mut svg = String::new();
    // Writing to a String cannot fail.
    let _ = match in_readable_time(curve) {
        Some(curve) => draw(&mut svg, &curve, id),
        None => draw(&mut svg, curve, id),
    };
    svg
}

/// The curve with its minutes as seconds or hours, where minutes read badly. The data beside it stay in minutes, so that
/// tests of any length can be laid over each other.
fn in_readable_time(curve: &Curve) -> Option<Curve> {
    let rest = curve.x.strip_prefix("minutes")?;
    let (low, high) = range(curve.points().map(|point| point.0));
    let (word, scale) = match high - low {
        span if span <= SECONDS_UP_TO => ("seconds", 60.0),
        span if span >= HOURS_FROM => ("hours", 1.0 / 60.0),
        _ => return None,
    };
    let mut curve = curve.clone();
    curve.x = format!("{word}{rest}");
    for point in curve.series.iter_mut().flat_map(|series| &mut series.points) {
        point.0 *= scale;
    }
    for mark in &mut curve.marks {
        mark.0 *= scale;
    }
    Some(curve)
}

/// Where everything lies.
struct Layout {
    x: Scale,
    y: Scale,
    /// Upper edge of the plot.
    top: f64,
    bottom: f64,
    height: f64,
}

fn draw(svg: &mut String, curve: &Curve, id: &str) -> std::fmt::Result {
    let xs = || curve.points().map(|p| p.0).chain(curve.marks.iter().map(|m| m.0));
    let ys = || curve.points().map(|p| p.1).chain(curve.levels.iter().map(|l| l.0));
    let (x_low, x_high) = range(xs());
    let x = Scale::of(xs(), 6.0, LEFT, WIDTH - RIGHT).ending_at(x_low.min(0.0), x_high);
    let marks = curve
        .marks
        .iter()
        .filter(|(value, _)| value.is_finite())
        .map(|(value, label)| (x.at(*value), in_words(*value, label, &curve.x)))
        .collect();
    let marks = above(marks, LEFT - 8.0, WIDTH - 2.0);
    #[expect(clippy::cast_precision_loss, reason = "a count of rows")]
    let rows = marks.iter().map(|mark| mark.row + 1).max().unwrap_or(0) as f64;
    let top = TOP + rows * ROW;
    let bottom = top + PLOT;
    #[expect(clippy::cast_precision_loss, reason = "a count of lines")]
    let legend = if curve.series.len() > 1 { LEGEND * curve.series.len() as f64 + 4.0 } else { 0.0 };
    let y = Scale::of(ys(), 5.0, bottom, top);
    let layout = Layout { x, y, top, bottom, height: bottom + BOTTOM + legend };
    let height = layout.height;
    write!(
        svg,
        r#"<svg class="path chart" viewBox="0 0 {WIDTH} {height:.0}" role="img" aria-labelledby="{id}-t {id}-d" xmlns="http://www.w3.org/2000/svg">"#
    )?;
    write!(svg, r#"<title id="{id}-t">{}</title>"#, escape(&curve.name))?;
    write!(svg, r#"<desc id="{id}-d">{}</desc>"#, escape(&description(curve, (x_low, x_high), range(ys()))))?;
    axes(svg, curve, &layout)?;
    for mark in &marks {
        #[expect(clippy::cast_precision_loss, reason = "a count of rows")]
        let baseline = top - 3.5 - mark.row as f64 * ROW;
        write!(svg, r#"<path class="mark fuse" d="M{:.1} {:.1}V{bottom:.1}"/>"#, mark.at, baseline - 8.0)?;
    }
    let data = lines(svg, curve, &layout)?;
    for mark in &marks {
        #[expect(clippy::cast_precision_loss, reason = "a count of rows")]
        let baseline = top - 3.5 - mark.row as f64 * ROW;
        // A label before its mark ends at it, however wide the font makes it.
        let (at, anchor) = match mark.ends_at() {
            Some(end) => (end, r#" text-anchor="end""#),
            None => (mark.left, ""),
        };
        write!(
            svg,
            r#"<text class="label strong halo" x="{at:.1}" y="{baseline:.1}"{anchor}>{}</text>"#,
            escape(&mark.text)
        )?;
    }
    levels(svg, curve, &layout, &data)?;
    svg.push_str("</svg>");
    Ok(())
}

fn axes(svg: &mut String, curve: &Curve, layout: &Layout) -> std::fmt::Result {
    let Layout { x, y, top, bottom, .. } = layout;
    let (left, right) = (x.low, x.high);
    for tick in y.ticks() {
        let place = y.at(tick);
        write!(svg, r#"<path class="grid" d="M{left:.1} {place:.1}H{right:.1}"/>"#)?;
        let (at, below) = (left - 4.0, place + 3.5);
        let number = y.number(tick);
        write!(svg, r#"<text class="tick" x="{at:.1}" y="{below:.1}" text-anchor="end">{number}</text>"#)?;
    }
    for tick in x.ticks() {
        let place = x.at(tick);
        write!(svg, r#"<path class="grid" d="M{place:.1} {top:.1}V{bottom:.1}"/>"#)?;
        let (below, number) = (bottom + 13.0, x.number(tick));
        write!(
            svg,
            r#"<text class="tick" x="{place:.1}" y="{below:.1}" text-anchor="middle">{number}</text>"#
        )?;
    }
    let (middle, below) = ((left + right) / 2.0, bottom + 29.0);
    let name = escape(&curve.x);
    write!(svg, r#"<text class="tick" x="{middle:.1}" y="{below:.1}" text-anchor="middle">{name}</text>"#)?;
    write!(svg, r#"<text class="tick" x="2" y="11">{}</text>"#, escape(&curve.y))
}

/// Draws the lines and the legend; gives the lines in the units of the picture.
fn lines(svg: &mut String, curve: &Curve, layout: &Layout) -> Result<Vec<Vec<(f64, f64)>>, std::fmt::Error> {
    let mut drawn = Vec::new();
    // Past the dashes that there are, a number at its end tells a line.
    let numbered = curve.series.len() > DASHES.len();
    for (number, series) in curve.series.iter().enumerate() {
        let places: Vec<(f64, f64)> = series
            .points
            .iter()
            .filter(|(px, py)| px.is_finite() && py.is_finite())
            .map(|(px, py)| (layout.x.at(*px), layout.y.at(*py)))
            .collect();
        let mut line = String::new();
        for (index, (px, py)) in places.iter().enumerate() {
            write!(line, "{}{px:.1} {py:.1}", if index == 0 { "M" } else { "L" })?;
        }
        write!(svg, r#"<path class="curve"{} d="{line}"/>"#, dash(number))?;
        if let Some((px, py)) = places.last().filter(|_| numbered) {
            // Neighbouring ends take turns at two places.
            let aside = if number % 2 == 0 { 4.0 } else { 16.0 };
            write!(
                svg,
                r#"<text class="label halo" x="{:.1}" y="{:.1}" text-anchor="end">{}</text>"#,
                px - aside,
                py - 3.0,
                number + 1
            )?;
        }
        drawn.push(places);
    }
    if curve.series.len() > 1 {
        for (number, series) in curve.series.iter().enumerate() {
            #[expect(clippy::cast_precision_loss, reason = "a count of lines")]
            let height = layout.bottom + BOTTOM + 4.0 + LEGEND * number as f64;
            write!(svg, r#"<path class="curve"{} d="M{LEFT} {height:.1}h34"/>"#, dash(number))?;
            let which = if numbered { format!("{} ", number + 1) } else { String::new() };
            write!(
                svg,
                r#"<text class="label" x="{:.1}" y="{:.1}">{which}{}</text>"#,
                LEFT + 40.0,
                height + 3.5,
                escape(&shortened(&series.name, WIDTH - LEFT - 44.0 - width(&which)))
            )?;
        }
    }
    Ok(drawn)
}

fn levels(svg: &mut String, curve: &Curve, layout: &Layout, data: &[Vec<(f64, f64)>]) -> std::fmt::Result {
    let (left, right) = (layout.x.low, layout.x.high);
    let mut taken: Vec<Area> = Vec::new();
    for (value, label) in curve.levels.iter().filter(|(value, _)| value.is_finite()) {
        let place = layout.y.at(*value);
        write!(svg, r#"<path class="mark tested" d="M{left:.1} {place:.1}H{right:.1}"/>"#)?;
        let unit = unit(&curve.y);
        let text = format!("{label} {} {unit}", significant(*value, 4).replace('-', "−"));
        let found = at_level(place, &text, (left, right), (layout.top, layout.bottom), data, &mut taken);
        write!(
            svg,
            r#"<text class="label strong halo" x="{:.1}" y="{:.1}">{}</text>"#,
            found.left,
            found.baseline,
            escape(text.trim_end())
        )?;
    }
    Ok(())
}

/// A name that fits into `room`: where it is too long its middle is left out.
fn shortened(name: &str, room: f64) -> String {
    let letters: Vec<char> = name.chars().collect();
    if letters.len() < 2 * TAIL || width(name) <= room {
        return name.to_owned();
    }
    let tail: String = letters.iter().skip(letters.len() - TAIL).collect();
    let mut short = String::new();
    for letter in letters.iter().take(letters.len() - TAIL) {
        if width(&format!("{short}{letter}…{tail}")) > room {
            break;
        }
        short.push(*letter);
    }
    format!("{short}…{tail}")
}

fn description(curve: &Curve, x: (f64, f64), y: (f64, f64)) -> String {
    let s = |value: f64| significant(value, 4);
    let words = |values: &[(f64, String)]| -> Vec<String> {
        values.iter().map(|(v, label)| format!("{label} at {}", s(*v))).collect()
    };
    let lines: Vec<String> = curve
        .series
        .iter()
        .filter_map(|series| {
            let (first, last) = (series.points.first()?, series.points.last()?);
            let (low, high) = range(series.points.iter().map(|point| point.1));
            let name = if series.name.is_empty() { String::new() } else { format!("{}: ", series.name) };
            Some(format!(
                "{name}begins at {}, ends at {}, lies between {} and {}",
                s(first.1),
                s(last.1),
                s(low),
                s(high)
            ))
        })
        .collect();
    let mut text = format!(
        "{} from {} to {}, {} from {} to {}; {}.",
        curve.x,
        s(x.0),
        s(x.1),
        curve.y,
        s(y.0),
        s(y.1),
        lines.join("; ")
    );
    let marked: Vec<String> = words(&curve.marks).into_iter().chain(words(&curve.levels)).collect();
    if !marked.is_empty() {
        text.push_str(&format!(" Marked: {}.", marked.join(", ")));
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::bench_test::Series;

    fn curve(series: Vec<Series>) -> Curve {
        Curve {
            name: "voltage over time".to_owned(),
            x: "minutes under load".to_owned(),
            y: "voltage in V".to_owned(),
            series,
            marks: vec![(0.0, "load on".to_owned()), (15.25, "load off".to_owned())],
            levels: vec![(20.0, "cut-off".to_owned())],
        }
    }

    #[test]
    fn words_of_marks_and_levels() {
        let points = vec![(-0.5, 26.4), (0.0, 25.8), (15.25, 25.7), (16.0, 26.3)];
        let svg = chart(&curve(vec![Series { name: String::new(), points }]), "c");
        for text in
            [">load on<", ">load off 15.25 min<", ">cut-off 20 V<", ">voltage in V<", ">minutes under load<"]
        {
            assert!(svg.contains(text), "{text} is missing in {svg}");
        }
        assert!(svg.contains("Marked: load on at 0, load off at 15.25, cut-off at 20."));
    }

    /// Names come from strangers' logs, and values may be anything.
    #[test]
    fn ugly_curves_are_drawn() {
        let hostile = "<script>\"&\u{7}".repeat(40);
        let line = |points: Vec<(f64, f64)>| Series { name: hostile.clone(), points };
        for series in [
            vec![],
            vec![line(vec![])],
            vec![line(vec![(0.0, f64::NAN), (f64::INFINITY, 1.0)])],
            vec![line(vec![(0.0, 5.0), (1.0, 5.0)])],
            vec![line(vec![(0.0, -1e300), (1e300, 1e300)])],
            (0..32).map(|n| line(vec![(0.0, f64::from(n)), (1.0, 0.0)])).collect(),
        ] {
            let svg = chart(&curve(series), "c");
            assert!(!svg.contains("<script") && !svg.contains("NaN") && !svg.contains("inf"), "{svg}");
            assert_eq!(svg.matches("<svg").count(), 1);
            assert!(svg.len() < 200_000);
        }
    }

    #[test]
    fn times_are_drawn_in_a_unit_that_reads_well() {
        for (minutes, axis, off) in [
            (0.3, ">seconds under load<", ">load off 18 s<"),
            (15.25, ">minutes under load<", ">load off 15.25 min<"),
            (2400.0, ">hours under load<", ">load off 40 h<"),
        ] {
            let mut curve =
                curve(vec![Series { name: String::new(), points: vec![(0.0, 25.8), (minutes, 25.7)] }]);
            curve.marks = vec![(0.0, "load on".to_owned()), (minutes, "load off".to_owned())];
            let svg = chart(&curve, "c");
            for text in [axis, off, ">load on<"] {
                assert!(svg.contains(text), "{text} is missing in {svg}");
            }
        }
    }

    #[test]
    fn long_names_keep_their_ends() {
        let name = format!("{}{}", "channel of the left bar ".repeat(9), "sensor number 7");
        let short = shortened(&name, 250.0);
        assert!(short.starts_with("channel of") && short.ends_with("ensor number 7") && short.contains('…'));
        assert!(width(&short) <= 250.0 && width(&shortened(&"ÄW".repeat(100), 250.0)) <= 250.0);
        assert_eq!(shortened("inner air", 10.0), "inner air");
    }
}
