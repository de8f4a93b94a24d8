//! Parts of a current path as one reads them in a circuit: a bar with its length and section to one scale, bolts, a fuse,
//! a board, cells. What has no known size is drawn with a broken outline.

use serde::{Deserialize, Deserializer, Serialize};

use super::svg::Drawing;

/// Width of the column in which they stand.
pub(super) const GUTTER: f64 = 61.0;
/// The line of the current, from the left edge of the column.
const LINE: f64 = 16.0;
/// The longest part, in units of a drawing; and where each place has one line.
const LONGEST: f64 = 62.0;
const LONGEST_CLOSE: f64 = 34.0;
/// A millimetre of a section, in units of a drawing: a section of 20 mm is as wide as the column allows.
pub(super) const SECTION: f64 = 1.0;
/// The widest section that is drawn.
const WIDEST: f64 = 30.0;

/// What a part looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(crate) enum Form {
    /// A bar, or a cable where its section is round.
    #[default]
    Conductor,
    Terminal,
    Joint,
    Fuse,
    /// A switch that opens by itself, a relay, a link that opens on temperature.
    Switch,
    Shunt,
    Board,
    /// So many cells in series.
    Cells(u32),
}

/// A cross-section, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub(crate) enum Section {
    Flat(f64, f64),
    Round(f64),
}

/// A part with its sizes.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize)]
pub(crate) struct Glyph {
    pub form: Form,
    /// Length along the current, mm.
    pub length: Option<f64>,
    pub section: Option<Section>,
    /// The number of a photo of it.
    #[serde(skip)]
    pub photo: Option<usize>,
    /// Pattern: how its temperature stands against its limit.
    #[serde(deserialize_with = "pattern")]
    pub class: Pattern,
}

/// The class of a pattern in the style sheet.
pub(crate) type Pattern = &'static str;

/// A pattern of a stranger's drawing: one that there is.
pub(super) fn pattern<'de, D: Deserializer<'de>>(from: D) -> Result<Pattern, D::Error> {
    let named = String::deserialize(from)?;
    Ok(["falls-short", "carries"].into_iter().find(|known| *known == named).unwrap_or("undecided"))
}

/// Units of a drawing for a millimetre along the current, so that the longest part, mm, has its place.
pub(super) fn scale(longest: f64, close: bool) -> f64 {
    if close { LONGEST_CLOSE / longest } else { LONGEST / longest }
}

impl Glyph {
    /// Its length, mm, where it is drawn to scale.
    pub(super) fn known_length(&self) -> Option<f64> {
        self.length.filter(|length| self.form == Form::Conductor && length.is_finite() && *length > 0.0)
    }

    /// How much of the drawing's height it takes.
    pub(super) fn height(&self, scale: Option<f64>) -> f64 {
        match (self.form, self.known_length().zip(scale)) {
            (_, Some((length, scale))) => (length * scale).max(6.0),
            (Form::Conductor, None) => 26.0,
            (Form::Board | Form::Cells(_), _) => 24.0,
            _ => 14.0,
        }
    }

    /// Draws it with its middle on the line of the current, at a height.
    pub(super) fn draw(&self, drawing: &mut Drawing, left: f64, middle: f64, scale: Option<f64>) {
        let x = left + LINE;
        let height = self.height(scale);
        let top = middle - height / 2.0;
        let class = format!("bar {}", self.class);
        if let Some(number) = self.photo {
            frame(drawing, (left + 41.0, middle - 13.0), &number.to_string());
        }
        match self.form {
            Form::Conductor => {
                // Along the line it is as wide as in its section, as far as that can be seen.
                let wide = match (self.section, scale) {
                    (Some(Section::Flat(width, _)), Some(scale)) => (width * scale).clamp(4.0, 14.0),
                    (Some(Section::Round(across)), Some(scale)) => (across * scale).clamp(3.0, 14.0),
                    _ => 7.0,
                };
                let sketch = if self.known_length().is_some() { "" } else { " sketch" };
                drawing.rect(&format!("{class}{sketch}"), (x - wide / 2.0, top), (wide, height));
                self.section(drawing, x + 11.0, middle + 6.0);
            }
            Form::Terminal => {
                circle(drawing, &class, (x, middle), 8.0);
                circle(drawing, "mark", (x, middle), 3.5);
            }
            Form::Joint => {
                // The head of a bolt.
                let (a, b) = (7.0, 3.5);
                drawing
                    .shape(&class, format_args!("M{:.1} {middle:.1}l{b} -6h{a}l{b} 6l-{b} 6h-{a}z", x - a));
            }
            Form::Fuse => {
                drawing.rect(&class, (x - 5.0, top - 3.0), (10.0, height + 6.0));
                drawing.path("mark", format_args!("M{x:.1} {:.1}v{:.1}", top - 6.0, height + 12.0));
            }
            Form::Switch => {
                drawing.rect(&class, (x - 7.0, top - 1.0), (14.0, height + 2.0));
                drawing.path("mark", format_args!("M{x:.1} {:.1}l6 -{:.1}", top + height, height));
            }
            Form::Shunt => {
                drawing.rect(&class, (x - 5.0, top), (10.0, height));
                drawing.path("mark", format_args!("M{:.1} {middle:.1}h20", x - 10.0));
            }
            Form::Board => {
                drawing.rect(&class, (x - 13.0, top), (34.0, height));
                for (row, column) in (0..2).flat_map(|row| (0..4).map(move |column| (row, column))) {
                    let at = (x - 10.0 + 8.0 * f64::from(column), top + 4.0 + 10.0 * f64::from(row));
                    drawing.rect("board", at, (4.5, 6.0));
                }
            }
            Form::Cells(number) => {
                let shown = number.clamp(1, 8);
                let each = 38.0 / f64::from(shown);
                for cell in 0..shown {
                    let at = x - 13.0 + each * f64::from(cell);
                    drawing.rect(&class, (at, top), (each - 1.0, height));
                }
            }
        }
    }

    /// Its cross-section beside it, to a scale of its own.
    fn section(&self, drawing: &mut Drawing, left: f64, middle: f64) {
        match self.section {
            Some(Section::Flat(width, thickness)) if width.is_finite() && thickness.is_finite() => {
                let (wide, high) =
                    ((width * SECTION).clamp(1.0, WIDEST), (thickness * SECTION).clamp(0.8, WIDEST));
                drawing.rect("slice", (left, middle - high / 2.0), (wide, high));
            }
            Some(Section::Round(across)) if across.is_finite() => {
                let radius = (across * SECTION / 2.0).clamp(0.8, WIDEST / 2.0);
                circle(drawing, "slice", (left + radius, middle), radius);
            }
            _ => {}
        }
    }
}

/// A photo with its number.
pub(super) fn frame(drawing: &mut Drawing, (x, y): (f64, f64), number: &str) {
    drawing.rect("mark", (x, y), (16.0, 12.0));
    drawing.text("tick", (x + 8.0, y + 9.7), "middle", number);
}

/// The line of the current, between two heights.
pub(super) fn wire(drawing: &mut Drawing, left: f64, from: f64, to: f64) {
    drawing.path("wire", format_args!("M{:.1} {from:.1}V{to:.1}", left + LINE));
}

fn circle(drawing: &mut Drawing, class: &str, (x, y): (f64, f64), r: f64) {
    drawing.shape(
        class,
        format_args!(
            "M{:.1} {y:.1}a{r:.1} {r:.1} 0 1 0 {:.1} 0a{r:.1} {r:.1} 0 1 0 -{:.1} 0z",
            x - r,
            2.0 * r,
            2.0 * r
        ),
    );
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::draw::{Named, Paper};

    #[test]
    fn lengths_and_sections_have_their_scale() {
        let bar = |length, section| Glyph { length, section, class: "carries", ..Glyph::default() };
        let long = bar(Some(180.0), Some(Section::Round(6.0)));
        let short = bar(Some(90.0), Some(Section::Flat(20.0, 1.5)));
        let scale = Some(scale(180.0, false));
        assert!((long.height(scale) / short.height(scale) - 2.0).abs() < 1e-9);
        let mut drawing = Drawing::new(Paper::PAGE);
        short.draw(&mut drawing, 0.0, 50.0, scale);
        assert!(
            drawing.shapes.contains(r#"class="slice" x="27.0" y="55.2" width="20.0" height="1.5""#),
            "{}",
            drawing.shapes
        );
    }

    #[test]
    fn sizes_of_a_stranger_are_drawn() {
        for size in
            [None, Some(0.0), Some(-1.0), Some(f64::NAN), Some(f64::INFINITY), Some(1e300), Some(1e-300)]
        {
            for form in [Form::Conductor, Form::Cells(0), Form::Cells(u32::MAX), Form::Fuse, Form::Board] {
                let flat = Section::Flat(size.unwrap_or_default(), size.unwrap_or_default());
                let glyph =
                    Glyph { form, length: size, section: Some(flat), photo: Some(3), class: "falls-short" };
                let mut drawing = Drawing::new(Paper::PAGE);
                let scale = glyph.known_length().map(|longest| scale(longest, false));
                glyph.draw(&mut drawing, 0.0, 50.0, scale);
                let svg = drawing.svg(Named { id: "g", title: "t", words: "w" });
                assert!(
                    !["NaN", "inf", "width=\"-", "height=\"-"].iter().any(|bad| svg.contains(bad)),
                    "{svg}"
                );
            }
        }
    }
}
