//! Measuring text with the font that the cards are drawn with: widths, wrapping, shortening.
//!
//! The widths are the font's own advance widths, so that a line that fits here fits in the picture. Kerning is left
//! out; it moves a line by less than [`SLACK`]. Characters that the font does not have are shown as [`MISSING`],
//! one for each character as a reader sees it (grapheme cluster), never left out without a trace.
//!
//! Refused: guessing widths from numbers of characters, and breaking a number off its unit.

use std::sync::LazyLock;

use skrifa::charmap::Charmap;
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, MetadataProvider};
use unicode_segmentation::UnicodeSegmentation;

use crate::units::find_unit;

/// DejaVu Sans, the font of the cards.
pub(super) const BOOK: &[u8] = include_bytes!("../../../templates/cards/fonts/DejaVuSans.ttf");
/// DejaVu Sans Bold.
pub(super) const BOLD: &[u8] = include_bytes!("../../../templates/cards/fonts/DejaVuSans-Bold.ttf");
/// What stands for a character that the font does not have.
pub(super) const MISSING: &str = "□";
/// Room left for kerning, as a part of a line's width.
const SLACK: f64 = 0.01;
/// What a shortened text ends with.
const MORE: &str = "…";

/// Book or bold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Weight {
    Book,
    Bold,
}

/// A font's tables that measuring needs, looked up once.
struct Face {
    charmap: Charmap<'static>,
    metrics: GlyphMetrics<'static>,
    /// Units of an em.
    em: f64,
}

static FACES: LazyLock<[Option<Face>; 2]> = LazyLock::new(|| [BOOK, BOLD].map(face));

fn face(font: &'static [u8]) -> Option<Face> {
    let font = FontRef::new(font).ok()?;
    Some(Face {
        charmap: font.charmap(),
        metrics: GlyphMetrics::new(&font, Size::unscaled(), LocationRef::default()),
        em: f64::from(font.metrics(Size::unscaled(), LocationRef::default()).units_per_em),
    })
}

fn of(weight: Weight) -> Option<&'static Face> {
    let [book, bold] = &*FACES;
    match weight {
        Weight::Book => book.as_ref(),
        Weight::Bold => bold.as_ref(),
    }
}

/// Width of a line, px.
pub(super) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let Some(face) = of(weight) else { return 0.0 };
    let advance = |c: char| face.metrics.advance_width(face.charmap.map(c).unwrap_or_default());
    let units: f32 = text.chars().filter(|c| !is_joiner(*c)).filter_map(advance).sum();
    f64::from(units) * size / face.em * (1.0 + SLACK)
}

/// A text as the font can show it.
pub(super) fn shown(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for cluster in text.graphemes(true) {
        if cluster.chars().all(|c| is_joiner(c) || has(c)) {
            out.push_str(cluster);
        } else {
            out.push_str(MISSING);
        }
    }
    out
}

/// Both weights must have it: a text may be set in either.
fn has(c: char) -> bool {
    [Weight::Book, Weight::Bold].iter().all(|w| of(*w).is_some_and(|face| face.charmap.map(c).is_some()))
}

/// Joiners and variation selectors have no width and no shape of their own.
fn is_joiner(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200d}' | '\u{fe00}'..='\u{fe0f}' | '\u{2060}')
}

/// Breaks a text into at most `most` lines no wider than `room`; a text that does not fit ends with `…`.
/// True beside it when it was shortened.
pub(super) fn wrap(text: &str, size: f64, weight: Weight, room: f64, most: usize) -> (Vec<String>, bool) {
    let fits = |line: &str| width(line, size, weight) <= room;
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    let mut words = pieces(text).into_iter().peekable();
    while let Some(word) = words.next() {
        let longer = if line.is_empty() { word.clone() } else { format!("{line} {word}") };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        // A word that is wider than a line is cut where it must be.
        let mut rest = word;
        while !fits(&rest) {
            let head = longest_head(&rest, &fits);
            let tail = rest.split_off(head.max(first_cluster(&rest)));
            if rest.is_empty() || tail.is_empty() {
                break;
            }
            lines.push(std::mem::replace(&mut rest, tail));
            if lines.len() > most {
                break;
            }
        }
        line = rest;
        if lines.len() >= most && (!line.is_empty() || words.peek().is_some()) {
            break;
        }
    }
    let unread = words.next().is_some();
    if !line.is_empty() {
        lines.push(line);
    }
    let shortened = lines.len() > most || unread;
    lines.truncate(most);
    if shortened && let Some(last) = lines.last_mut() {
        *last = shorten(last, &fits);
    }
    (lines, shortened)
}

/// A text on one line, ending with `…` where it is too wide.
pub(super) fn one_line(text: &str, size: f64, weight: Weight, room: f64) -> String {
    let fits = |line: &str| width(line, size, weight) <= room;
    if fits(text) { text.to_owned() } else { shorten(text, &fits) }
}

fn shorten(line: &str, fits: &dyn Fn(&str) -> bool) -> String {
    let with_more = |head: &str| format!("{}{MORE}", head.trim_end_matches([' ', ',', ';', ':', '\u{a0}']));
    let head = longest_head(line, &|head: &str| fits(&with_more(head)));
    with_more(line.get(..head).unwrap_or_default())
}

/// Bytes of the longest beginning, in whole characters, that fits.
fn longest_head(text: &str, fits: &dyn Fn(&str) -> bool) -> usize {
    let ends: Vec<usize> = text.grapheme_indices(true).map(|(at, cluster)| at + cluster.len()).collect();
    let number = ends.partition_point(|end| fits(text.get(..*end).unwrap_or_default()));
    number.checked_sub(1).and_then(|last| ends.get(last).copied()).unwrap_or(0)
}

fn first_cluster(text: &str) -> usize {
    text.graphemes(true).next().map_or(0, str::len)
}

/// Words, with a number and its unit, and ± and what follows it, kept together by no-break spaces.
fn pieces(text: &str) -> Vec<String> {
    let mut pieces: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let bare = word.trim_end_matches([',', ';', '.', ')', ':']);
        let glued = pieces.last_mut().filter(|last| {
            let ends_with_digit = last.chars().last().is_some_and(|c| c.is_ascii_digit());
            let before = last.rsplit('\u{a0}').next().unwrap_or_default();
            (ends_with_digit && (bare == "%" || find_unit(bare).is_some()))
                || matches!(before, "±" | "≥" | "≤" | "×")
        });
        match glued {
            Some(last) => {
                last.push('\u{a0}');
                last.push_str(word);
            }
            None => pieces.push(word.to_owned()),
        }
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn widths_are_the_fonts_own() {
        // Advance widths in DejaVu Sans 2.37, units of 1/2048 em, read from its hmtx table with fontTools: A 1401, i 569.
        for (text, units) in [("A", 1401.0), ("i", 569.0), ("Ai", 1970.0), ("A\u{200d}", 1401.0)] {
            let expected = units / 2048.0 * 100.0 * (1.0 + SLACK);
            assert!((width(text, 100.0, Weight::Book) - expected).abs() < 1e-3, "{text}");
        }
        assert!(width("A", 100.0, Weight::Bold) > width("A", 100.0, Weight::Book));
    }

    #[test]
    fn lines_keep_to_their_room_and_lose_nothing_unless_told() {
        let long = "x".repeat(300);
        let texts = [
            "",
            "a",
            "136.40 A ± 0.21 A ≥ 200 A",
            "one two three four five six seven",
            &long,
            "مرحبا بالعالم مرحبا",
        ];
        for text in texts {
            for room in [60.0, 200.0, 2000.0] {
                for most in [1, 2, 50] {
                    let (lines, shortened) = wrap(text, 36.0, Weight::Bold, room, most);
                    assert!(lines.len() <= most, "{text} {room} {most}");
                    assert!(
                        lines.iter().all(|l| width(l, 36.0, Weight::Bold) <= room
                            || l.chars().count() <= 2
                            || l.contains('\u{a0}')),
                        "{lines:?}"
                    );
                    if !shortened {
                        let bare = |s: &str| s.replace([' ', '\u{a0}'], "");
                        assert_eq!(bare(&lines.concat()), bare(text));
                    } else {
                        assert!(lines.last().is_some_and(|l| l.ends_with(MORE)));
                    }
                }
            }
        }
    }

    #[test]
    fn a_number_stays_with_its_unit() {
        let (lines, _) =
            wrap("carries 53.9 A ± 2.3 A of it (−73.1 % of the limit)", 40.0, Weight::Book, 260.0, 9);
        for line in &lines {
            assert!(!line.starts_with("A ") && !line.starts_with('%') && !line.ends_with('±'), "{lines:?}");
        }
    }

    #[test]
    fn what_the_font_lacks_is_shown_as_lacking() {
        for (text, expected) in [
            ("plain ▼ ◇ ● Ω µ − ²", "plain ▼ ◇ ● Ω µ − ²"),
            ("fire 🔥", "fire □"),
            ("family 👨‍👩‍👧 here", "family □ here"),
            ("漢字", "□□"),
        ] {
            assert_eq!(shown(text), expected);
        }
    }
}
