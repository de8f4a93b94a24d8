//! Lying bars on one axis, with their names above them and lines across them: what the elements of a current path carry
//! against the rated current, one number of each pack, counts.
//!
//! A line across the bars is broken where a name stands, and has its words above the plot or in the legend.

use std::fmt::Write;

use super::labels::{ROW, above};
use super::scale::Scale;
use super::svg::{BOTTOM, Named, Svg, WIDTH};

const LEFT: f64 = 6.0;
const RIGHT: f64 = 14.0;
/// Where bars end where their numbers stand behind them.
const BESIDE: f64 = 280.0;
/// Height of a line of the legend.
const LEGEND: f64 = 16.0;
/// Height of a name, of a bar with its distance to the next, and the distance to the next name.
const NAME: f64 = 16.0;
const BAR: f64 = 13.0;
const GAP: f64 = 5.0;
const THICK: f64 = 10.0;
/// Letters of a name that fit, alone and before a number.
const LETTERS: usize = 46;

/// A bar.
#[derive(Debug, Clone, Default)]
pub(crate) struct Bar {
    /// Where it ends; none draws a dotted line, or nothing where there is nothing to be known.
    pub value: Option<f64>,
    /// Expanded uncertainty.
    pub spread: Option<f64>,
    /// False where there is no such thing, rather than an unknown one.
    pub there: bool,
    /// The value in words.
    pub words: String,
    /// True where its words stand out.
    pub strong: bool,
    /// Its pattern.
    pub class: &'static str,
}

/// Bars under one name.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    /// Their name.
    pub name: String,
    /// The bars; the number of a single one stands beside its name.
    pub bars: Vec<Bar>,
}

/// A line across the bars.
#[derive(Debug, Clone)]
pub(crate) struct Mark {
    /// Its value.
    pub at: f64,
    /// Its kind of line.
    pub class: &'static str,
    /// Its dashes among several of a kind.
    pub dash: usize,
    /// Its words above the plot; none where the legend has them.
    pub words: Option<String>,
}

/// A line of the legend: the class of the bars, whether a mark of that number belongs to it, and the words.
pub(crate) type Legend = (&'static str, Option<usize>, String);

/// The chart.
#[derive(Debug, Clone)]
pub(crate) struct BarChart<'a> {
    /// What it is.
    pub named: Named<'a>,
    /// Name of the axis.
    pub axis: &'a str,
    /// True where the axis counts whole things.
    pub whole: bool,
    /// The bars.
    pub groups: Vec<Group>,
    /// Lines across them.
    pub marks: Vec<Mark>,
    /// What the patterns mean.
    pub legend: Vec<Legend>,
}

/// Where an axis ends that shows values against marks: a very large value must not press the others against the edge.
pub(crate) fn reach(values: impl Iterator<Item = f64>, marks: impl Iterator<Item = f64>) -> f64 {
    let most = values.filter(|value| value.is_finite()).fold(0.0, f64::max);
    let reach = 1.2 * marks.filter(|mark| mark.is_finite()).fold(0.0, f64::max);
    if reach > 0.0 { most.clamp(reach, 2.0 * reach) } else { most }
}

/// The shapes of a bar's spread and of a value beyond the axis, as paths; `y` and `height` are the bar's.
pub(crate) fn beside(
    x: &Scale,
    (value, spread): (f64, Option<f64>),
    (y, height): (f64, f64),
) -> Option<(&'static str, String)> {
    let middle = y + height / 2.0;
    if value > x.to {
        let (at, aside) = (x.high + 2.0, height * 0.6);
        return Some((
            "beyond",
            format!("M{at:.1} {y:.1}L{:.1} {middle:.1}L{at:.1} {:.1}", at + aside, y + height),
        ));
    }
    let spread = spread?;
    let (low, high) = (x.at(value - spread), x.at(value + spread));
    let (from, to) = (middle - height * 0.3, middle + height * 0.3);
    Some((
        "spread",
        format!("M{low:.1} {middle:.1}H{high:.1}M{low:.1} {from:.1}V{to:.1}M{high:.1} {from:.1}V{to:.1}"),
    ))
}

impl BarChart<'_> {
    pub(crate) fn svg(&self) -> String {
        let alone = self.groups.iter().all(|group| group.bars.len() <= 1);
        let end = if alone { WIDTH - RIGHT } else { BESIDE };
        let bars = || self.groups.iter().flat_map(|group| &group.bars);
        let values = || bars().filter_map(|bar| bar.value);
        let least = values().filter(|value| value.is_finite()).fold(0.0, f64::min);
        let most = reach(values(), self.marks.iter().map(|mark| mark.at));
        let most = if most > least { most } else { least + 1.0 };
        let mut x = Scale::of([least, most].into_iter(), 5.0, LEFT, end);
        if self.whole {
            x = x.in_whole_steps();
        }
        let labelled = self.marks.iter().filter_map(|mark| Some((x.at(mark.at), mark.words.clone()?)));
        let labels = above(labelled.collect(), 2.0, WIDTH - 2.0);
        let rows = labels.iter().map(|label| label.row + 1).max().unwrap_or(0) as f64;
        let top = LEGEND * self.legend.len() as f64 + ROW * rows + 6.0;
        let heights = self.groups.iter().map(|group| NAME + BAR * group.bars.len() as f64 + GAP);
        let bottom = top + heights.sum::<f64>();
        let mut svg = Svg::new(self.named, bottom + BOTTOM);
        if bars()
            .map(|bar| bar.class)
            .chain(self.legend.iter().map(|line| line.0))
            .any(|class| class != "carries")
        {
            svg.patterns();
        }
        svg.across(&x, (top, bottom), self.axis);
        let mut y = top;
        let mut beside_bars = vec![(top - 3.0, top)];
        for group in &self.groups {
            self.group(&mut svg, group, (&x, y));
            let tall = BAR * group.bars.len() as f64;
            beside_bars.push((y + NAME - 2.0, y + NAME + tall - 1.0));
            y += NAME + tall + GAP;
        }
        self.legend(&mut svg);
        let mut named = labels.iter();
        for mark in &self.marks {
            let at = x.at(mark.at);
            let label = mark.words.as_ref().and_then(|_| named.next());
            let mut path = String::new();
            if let Some(label) = label {
                let baseline = top - 4.0 - label.row as f64 * ROW;
                let _ = write!(path, "M{at:.1} {:.1}V{top:.1}", baseline - 8.0);
                let (place, anchor) = label.ends_at().map_or((label.left, "start"), |end| (end, "end"));
                svg.text("label strong", (place, baseline), anchor, &label.text);
            }
            for (from, to) in &beside_bars {
                let _ = write!(path, "M{at:.1} {from:.1}V{to:.1}");
            }
            svg.line(&format!("mark {}", mark.class), mark.dash, format_args!("{path}"));
        }
        svg.finish()
    }

    fn group(&self, svg: &mut Svg, group: &Group, (x, y): (&Scale, f64)) {
        let alone = group.bars.len() <= 1;
        let number = |bar: &Bar| if alone { bar.words.chars().count() + 2 } else { 0 };
        let room = LETTERS.saturating_sub(group.bars.iter().map(number).max().unwrap_or(0) / 2);
        let name: String = group.name.chars().take(room).collect();
        let strong = |strong| if strong { "label strong" } else { "label" };
        svg.text(strong(alone && group.bars.iter().any(|bar| bar.strong)), (LEFT, y + 11.5), "start", &name);
        let zero = x.at(0.0);
        for (index, bar) in group.bars.iter().enumerate() {
            let top = y + NAME + BAR * index as f64;
            let baseline = if alone { y + 11.5 } else { top + 8.5 };
            svg.text(strong(bar.strong), (WIDTH - 2.0, baseline), "end", &bar.words);
            let Some(value) = bar.value.filter(|value| value.is_finite()) else {
                if bar.there {
                    svg.path("unknown", format_args!("M{LEFT} {:.1}H{:.1}", top + THICK / 2.0, x.high));
                }
                continue;
            };
            let at = x.at(value);
            svg.rect(&format!("bar {}", bar.class), (zero.min(at), top), ((zero - at).abs(), THICK));
            if let Some((class, d)) = beside(x, (value, bar.spread), (top, THICK)) {
                svg.path(class, format_args!("{d}"));
            }
            if x.from < 0.0 {
                // Beside the bar alone: a line all the way down would cross the names.
                svg.path("zero", format_args!("M{zero:.1} {:.1}v14", top - 2.0));
            }
        }
    }

    /// Bar, dashes and words of each line of the legend.
    fn legend(&self, svg: &mut Svg) {
        for (index, (class, dash, words)) in self.legend.iter().enumerate() {
            let y = 2.0 + LEGEND * index as f64;
            svg.rect(&format!("bar {class}"), (LEFT, y), (24.0, 9.0));
            if let Some(dash) = dash {
                svg.line("mark rated", *dash, format_args!("M36 {:.1}h24", y + 4.5));
            }
            svg.text("label strong", (66.0, y + 8.5), "start", words);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn chart(bars: &[Option<f64>], marks: &[f64]) -> String {
        let bar =
            |value: &Option<f64>| Bar { value: *value, there: true, class: "carries", ..Bar::default() };
        let group = |value| Group { name: "<b>".to_owned(), bars: vec![bar(value)] };
        let mark = |at: &f64| Mark { at: *at, class: "rated", dash: 0, words: Some("rated".to_owned()) };
        BarChart {
            named: Named { id: "b", title: "bars", words: "in words" },
            axis: "A",
            whole: false,
            groups: bars.iter().map(group).collect(),
            marks: marks.iter().map(mark).collect(),
            legend: Vec::new(),
        }
        .svg()
    }

    #[test]
    fn ugly_bars_are_drawn() {
        for bars in [
            &[][..],
            &[None],
            &[Some(0.0)],
            &[Some(-5.0), Some(1e300)],
            &[Some(f64::NAN)],
            &[Some(f64::INFINITY)],
        ] {
            for marks in [&[][..], &[200.0], &[0.0, 1e12]] {
                let svg = chart(bars, marks);
                for bad in ["NaN", "inf", "<b>", "width=\"-"] {
                    assert!(!svg.contains(bad), "{bad} in {svg}");
                }
            }
        }
    }

    #[test]
    fn a_very_strong_element_does_not_press_the_others() {
        for (values, marks, end) in [
            (vec![100.0, 5000.0], vec![200.0], 480.0),
            (vec![100.0, 300.0], vec![200.0], 300.0),
            (vec![100.0], vec![200.0], 240.0),
            (vec![100.0], vec![], 100.0),
            (vec![f64::NAN], vec![], 0.0),
        ] {
            assert_eq!(reach(values.iter().copied(), marks.iter().copied()), end, "{values:?} {marks:?}");
        }
    }
}
