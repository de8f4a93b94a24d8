//! Where the words of a chart go, so that none lies on another, on a mark or on a line of data.

/// Letters at the end that are kept where a text is too long: names often differ at the end.
const TAIL: usize = 14;
/// Height of a row of labels.
pub(super) const ROW: f64 = 12.5;
/// Between a mark and its label.
const APART: f64 = 3.0;
/// Rows that labels of marks may take.
const ROWS: usize = 8;

/// A text that fits into `room`: where it is too long its middle is left out, or its end where hardly more would be left.
pub(super) fn fitted(text: &str, room: f64, width: impl Fn(&str) -> f64) -> String {
    let letters: Vec<char> = text.chars().collect();
    if width(text) <= room {
        return text.to_owned();
    }
    let tail: String = letters.iter().skip(letters.len().saturating_sub(TAIL)).collect();
    let tail = if 2.0 * width(&tail) > room { "" } else { &tail };
    let mut short = String::new();
    for letter in letters {
        if width(&format!("{short}{letter}…{tail}")) > room {
            break;
        }
        short.push(letter);
    }
    format!("{short}…{tail}")
}

/// A text in lines that fit into `room`, two at the most; the second is shortened.
pub(super) fn in_lines(text: &str, room: f64, width: impl Fn(&str) -> f64) -> Vec<String> {
    let ends = text.match_indices(' ').map(|(at, _)| at);
    let end = ends.filter(|at| width(&text[..*at]) <= room).last();
    match end.filter(|_| width(text) > room) {
        Some(end) => vec![text[..end].to_owned(), fitted(text[end..].trim_start(), room, width)],
        None => vec![fitted(text, room, width)],
    }
}

/// A label of a mark that has its place.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    /// Place of the mark.
    pub at: f64,
    /// Row above the plot, 0 the one next to it.
    pub row: usize,
    /// Left end of the label, and how wide it is.
    pub left: f64,
    pub wide: f64,
    /// Its text.
    pub text: String,
}

impl Placed {
    /// Right end of a label that stands before its mark.
    pub fn ends_at(&self) -> Option<f64> {
        (self.right() <= self.at).then(|| self.right())
    }

    fn right(&self) -> f64 {
        self.left + self.wide
    }
}

/// Gives the labels of vertical marks rows above the plot, between `left` and `right`.
///
/// A mark's line runs from its row down through the rows below, so it must not cross the labels there either.
pub(super) fn above(
    marks: Vec<(f64, String)>,
    left: f64,
    right: f64,
    width: impl Fn(&str) -> f64,
) -> Vec<Placed> {
    let mut placed: Vec<Placed> = Vec::new();
    for (at, text) in marks {
        let text = fitted(&text, right - left, &width);
        let wide = width(&text);
        let mut sides = [at + APART, at - APART - wide];
        // The side with room first, so that a label is not pushed over its own mark.
        if at + APART + wide > right {
            sides.reverse();
        }
        let sides = sides.map(|start| start.min(right - wide).max(left));
        let place = |crossing: bool| {
            (0..ROWS).flat_map(|row| sides.map(|start| (row, start))).find_map(|(row, start)| {
                let new = Placed { at, row, left: start, wide, text: text.clone() };
                let crosses = |line: f64, label: &Placed| {
                    (label.left - 1.0..label.right() + 1.0).contains(&line) && (line - label.at).abs() > 0.5
                };
                let clash = placed.iter().any(|other| {
                    (other.row == row && new.left < other.right() + APART && other.left < new.right() + APART)
                        || !crossing && other.row > row && crosses(other.at, &new)
                        || !crossing && other.row < row && crosses(at, other)
                });
                (!clash).then_some(new)
            })
        };
        // Where marks lie too close, a line passes behind a label rather than two labels lie on each other.
        let found = place(false).or_else(|| place(true));
        // Past all rows labels may touch; the text alternative has them all.
        placed.push(found.unwrap_or(Placed { at, row: ROWS - 1, left: sides[0], wide, text }));
    }
    placed
}

/// A box that a label would take.
#[derive(Debug, Clone, Copy)]
pub(super) struct Area {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

impl Area {
    fn holds(&self, x: f64, y: f64) -> bool {
        (self.left..=self.right).contains(&x) && (self.top..=self.bottom).contains(&y)
    }
}

/// A label of a horizontal mark: left end and baseline.
pub(super) struct AtLevel {
    /// Left end.
    pub left: f64,
    /// Baseline.
    pub baseline: f64,
}

/// Finds the place at a level, above or below its line and anywhere along it, that hides the least of the data.
pub(super) fn at_level(
    place: f64,
    wide: f64,
    (left, right): (f64, f64),
    (top, bottom): (f64, f64),
    data: &[Vec<(f64, f64)>],
    taken: &mut Vec<Area>,
) -> AtLevel {
    let room = (right - left - 8.0 - wide).max(0.0);
    let mut best: Option<(usize, AtLevel, Area)> = None;
    for above in [true, false] {
        for along in [0.0, 1.0, 0.5, 0.25, 0.75] {
            let start = left + 4.0 + along * room;
            let baseline = if above { place - 4.0 } else { place + 12.0 };
            let area =
                Area { left: start - 2.0, right: start + wide, top: baseline - 9.0, bottom: baseline + 2.0 };
            let outside = if area.top < top - 2.0 || area.bottom > bottom { 10_000 } else { 0 };
            let over = |other: &&Area| {
                area.left < other.right
                    && other.left < area.right
                    && area.top < other.bottom
                    && other.top < area.bottom
            };
            let cost = outside + 1000 * taken.iter().filter(over).count() + hidden(&area, data);
            if best.as_ref().is_none_or(|(least, ..)| cost < *least) {
                best = Some((cost, AtLevel { left: start, baseline }, area));
            }
        }
    }
    match best {
        Some((_, found, area)) => {
            taken.push(area);
            found
        }
        None => AtLevel { left, baseline: place },
    }
}

/// How much of the lines an area would hide, in steps of two units along them.
fn hidden(area: &Area, data: &[Vec<(f64, f64)>]) -> usize {
    let mut count = 0;
    for line in data {
        for pair in line.windows(2) {
            let [a, b] = pair else { continue };
            let apart = (b.0 - a.0).hypot(b.1 - a.1);
            #[expect(
                clippy::cast_possible_truncation,
                clippy::cast_sign_loss,
                reason = "lengths in the picture are below a thousand"
            )]
            let steps = (apart / 2.0).ceil().clamp(1.0, 400.0) as u32;
            for step in 0..=steps {
                let part = f64::from(step) / f64::from(steps);
                count += usize::from(area.holds(a.0 + (b.0 - a.0) * part, a.1 + (b.1 - a.1) * part));
            }
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_of_marks_never_touch() {
        for places in [
            vec![44.0, 300.0],
            vec![298.0, 300.0, 302.0],
            vec![200.0, 205.0, 210.0, 349.0],
            vec![44.0, 44.0, 44.0],
            vec![350.0, 44.0, 350.0, 190.0, 200.0],
        ] {
            let marks = places.iter().map(|at| (*at, "BMS opened 8.9 min".to_owned())).collect();
            let placed = above(marks, 44.0, 350.0, |text| 6.8 * text.chars().count() as f64);
            for (index, a) in placed.iter().enumerate() {
                assert!(a.left >= 44.0 - 1e-9 && a.right() <= 350.0 + 1e-9, "{a:?}");
                for b in &placed[index + 1..] {
                    assert!(a.row != b.row || a.right() < b.left || b.right() < a.left, "{a:?} {b:?}");
                }
            }
        }
    }

    #[test]
    fn names_too_long_keep_their_ends() {
        let width = |text: &str| 6.8 * text.chars().count() as f64;
        let name = format!("{}{}", "channel of the left bar ".repeat(9), "sensor number 7");
        let short = fitted(&name, 250.0, width);
        assert!(short.starts_with("channel of") && short.ends_with("ensor number 7") && short.contains('…'));
        for room in [0.0, 20.0, 100.0, 250.0] {
            assert!(width(&fitted(&"ÄW".repeat(100), room, width)) <= room.max(6.8));
        }
        assert_eq!(fitted("inner air", 62.0, width), "inner air");
    }

    #[test]
    fn a_level_is_labelled_where_the_line_is_not() {
        // The data run along the level on the left half.
        let data = vec![vec![(44.0, 96.0), (190.0, 96.0)]];
        let mut taken = Vec::new();
        let found = at_level(100.0, 74.8, (44.0, 350.0), (20.0, 170.0), &data, &mut taken);
        assert!(found.baseline > 100.0 || found.left > 190.0);
        let second = at_level(101.0, 74.8, (44.0, 350.0), (20.0, 170.0), &data, &mut taken);
        assert!((second.left - found.left).abs() > 40.0 || (second.baseline - found.baseline).abs() > 10.0);
    }
}
