//! A place on a photo, as the record gives it: a point or a rectangle, in percent or in pixels, measured from the top
//! left of the upright picture.

use super::field::{Entry, Text};
use super::part::Own;
use super::problem::Problem;

/// A place on a picture; a point has no width and no height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Area {
    /// In parts of the picture's width and height, each from 0 to 1.
    Fraction {
        left: f64,
        top: f64,
        width: f64,
        height: f64,
    },
    Pixels {
        left: u32,
        top: u32,
        width: u32,
        height: u32,
    },
}

impl Area {
    /// Left, top, width and height in parts of a picture's width and height; nothing when it lies outside.
    pub fn within(self, (picture_width, picture_height): (u32, u32)) -> Option<[f64; 4]> {
        let sides = match self {
            Self::Fraction { left, top, width, height } => [left, top, width, height],
            Self::Pixels { left, top, width, height } => {
                let (w, h) = (f64::from(picture_width.max(1)), f64::from(picture_height.max(1)));
                [f64::from(left) / w, f64::from(top) / h, f64::from(width) / w, f64::from(height) / h]
            }
        };
        let [left, top, width, height] = sides;
        ((0.0..=1.0).contains(&left) && (0.0..=1.0).contains(&top))
            .then(|| [left, top, width.clamp(0.0, 1.0 - left), height.clamp(0.0, 1.0 - top)])
    }
}

/// Reads left, top, width and height of a part of the record; a `point` may leave out the last two.
///
/// # Errors
/// The problem, at its place: a side that is missing or no length, percent and pixels mixed, outside the picture, no size.
pub(crate) fn read(own: &Own, sides: [&Entry<Text>; 4], point: bool) -> Result<Area, Problem> {
    const NAMES: [&str; 4] = ["left", "top", "width", "height"];
    let is_point = point && sides[2..].iter().all(|side| side.text().is_none());
    let mut lengths = [None; 4];
    for ((length, side), name) in lengths.iter_mut().zip(sides).zip(NAMES).take(if is_point { 2 } else { 4 })
    {
        let example = format!("{name} = \"12 %\"   # or in pixels of the original: {name} = \"340 px\"");
        let Some(text) = side.text() else {
            let message = format!("this place on a photo has no `{name}`");
            return Err(Problem::at(own.span.clone(), message, "expected it in this table", &example));
        };
        *length = Some(Length::parse(text).ok_or_else(|| {
            let message = format!("`{name}` is neither a percentage nor a number of pixels");
            Problem::at(side.found().span.clone(), message, "expected a number with % or px", &example)
        })?);
    }
    let wrong = |message: &str, expected: &str| {
        let example = "left = \"12 %\"\ntop = \"40 %\"\nwidth = \"30 %\"\nheight = \"8 %\"";
        Problem::at(own.span.clone(), message.to_owned(), expected, example)
    };
    let [left, top, width, height] = lengths;
    match (left, top, width, height) {
        (Some(Length::Percent(left)), Some(Length::Percent(top)), None, None) => {
            Ok(Area::Fraction { left: left / 100.0, top: top / 100.0, width: 0.0, height: 0.0 })
        }
        (Some(Length::Pixels(left)), Some(Length::Pixels(top)), None, None) => {
            Ok(Area::Pixels { left, top, width: 0, height: 0 })
        }
        (
            Some(Length::Percent(left)),
            Some(Length::Percent(top)),
            Some(Length::Percent(width)),
            Some(Length::Percent(height)),
        ) => {
            if width <= 0.0 || height <= 0.0 || left + width > 100.0 || top + height > 100.0 {
                let expected = "expected an area between 0 % and 100 %";
                return Err(wrong("this area does not lie in the picture", expected));
            }
            let [left, top, width, height] = [left, top, width, height].map(|percent| percent / 100.0);
            Ok(Area::Fraction { left, top, width, height })
        }
        (
            Some(Length::Pixels(left)),
            Some(Length::Pixels(top)),
            Some(Length::Pixels(width)),
            Some(Length::Pixels(height)),
        ) => {
            if width == 0 || height == 0 {
                let expected = "expected a width and a height of at least 1 px";
                return Err(wrong("this area has no size", expected));
            }
            Ok(Area::Pixels { left, top, width, height })
        }
        _ => Err(wrong("this place mixes percent and pixels", "expected one of the two for all sides")),
    }
}

#[derive(Clone, Copy)]
enum Length {
    Percent(f64),
    Pixels(u32),
}

impl Length {
    fn parse(text: &str) -> Option<Self> {
        let text = text.trim();
        if let Some(number) = text.strip_suffix('%') {
            let number: f64 = number.trim().parse().ok()?;
            return (0.0..=100.0).contains(&number).then_some(Self::Percent(number));
        }
        text.strip_suffix("px")?.trim().parse().ok().map(Self::Pixels)
    }
}
