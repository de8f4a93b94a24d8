//! Laying texts out on a card: formats, the area that text keeps to, and blocks that share a height.
//!
//! Text keeps 5 % away from every edge (common practice for title-safe areas, no source); a tall card also keeps its
//! top and bottom 15 % free, where players lay their own buttons (common practice, no source). No text is smaller than
//! [`SMALLEST`]. Blocks that do not fit at their wanted size become smaller down to that, then shorter, the least
//! important first; a shortened text ends with `…`.

use serde::Serialize;

use super::super::measure::{Weight, one_line, width, wrap};

/// Smallest text, px: 1/24 of the shorter side, 16 px where that side is 390 px on a phone.
pub(super) const SMALLEST: f64 = 45.0;
/// Smallest text of the thumbnail, px: 1/7 of its height, readable where the picture is 168 px wide.
pub(super) const SMALLEST_THUMBNAIL: f64 = 155.0;
/// Line pitch as a multiple of the size.
const PITCH: f64 = 1.24;
/// Height of capitals above the baseline as a part of the size: the first line hangs below the top by this much.
const ASCENT: f64 = 0.93;

/// Wide for films and slides, tall for phones.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Format {
    Wide,
    Tall,
    /// Wide, without a ground, to lie over a film: text in its lower third.
    #[serde(rename = "lower-third")]
    LowerThird,
}

impl Format {
    pub(super) const ALL: [Self; 2] = [Self::Wide, Self::Tall];

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Wide => "wide",
            Self::Tall => "tall",
            Self::LowerThird => "lower-third",
        }
    }

    /// Width and height, px.
    pub(super) const fn size(self) -> (u32, u32) {
        match self {
            Self::Wide | Self::LowerThird => (1920, 1080),
            Self::Tall => (1080, 1920),
        }
    }

    /// Where text may stand.
    pub(super) fn safe(self) -> Area {
        let (width, height) = self.size();
        let (width, height) = (f64::from(width), f64::from(height));
        let (top, bottom) = match self {
            Self::Wide => (0.05, 0.95),
            Self::Tall => (0.15, 0.85),
            Self::LowerThird => (0.7, 0.95),
        };
        Area { x: 0.05 * width, y: top * height, width: 0.9 * width, height: (bottom - top) * height }
    }
}

/// A rectangle, px.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub(super) struct Area {
    pub(super) x: f64,
    pub(super) y: f64,
    pub(super) width: f64,
    pub(super) height: f64,
}

impl Area {
    pub(super) fn right(self) -> f64 {
        self.x + self.width
    }

    pub(super) fn bottom(self) -> f64 {
        self.y + self.height
    }

    /// On tenths of a pixel.
    pub(super) fn rounded(self) -> Self {
        Self { x: tenth(self.x), y: tenth(self.y), width: tenth(self.width), height: tenth(self.height) }
    }

    /// Without a strip at the top.
    pub(super) fn below(self, height: f64) -> Self {
        Self { y: self.y + height, height: (self.height - height).max(0.0), ..self }
    }

    /// The left part and the right part with a gap between them.
    pub(super) fn split(self, share: f64, gap: f64) -> (Self, Self) {
        let left = (self.width - gap) * share;
        let right = self.width - gap - left;
        (Self { width: left, ..self }, Self { x: self.x + left + gap, width: right, ..self })
    }
}

/// A line of text in its place.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct Text {
    pub(super) x: f64,
    /// The baseline.
    pub(super) y: f64,
    pub(super) size: f64,
    pub(super) weight: u16,
    /// `start`, `middle` or `end`.
    pub(super) anchor: &'static str,
    /// What it is, for the template's colours.
    pub(super) class: &'static str,
    pub(super) text: String,
}

impl Text {
    pub(super) fn new(x: f64, y: f64, size: f64, weight: Weight, class: &'static str, text: &str) -> Self {
        let weight = match weight {
            Weight::Book => 400,
            Weight::Bold => 700,
        };
        Self {
            x: tenth(x),
            y: tenth(y),
            size: tenth(size),
            weight,
            anchor: "start",
            class,
            text: text.to_owned(),
        }
    }

    pub(super) fn anchored(self, anchor: &'static str) -> Self {
        Self { anchor, ..self }
    }

    /// From where to where it reaches, px.
    #[cfg(test)]
    pub(super) fn span(&self) -> (f64, f64) {
        let weight = if self.weight == 700 { Weight::Bold } else { Weight::Book };
        let wide = width(&self.text, self.size, weight);
        match self.anchor {
            "end" => (self.x - wide, self.x),
            "middle" => (self.x - wide / 2.0, self.x + wide / 2.0),
            _ => (self.x, self.x + wide),
        }
    }
}

/// Rounded to tenths: files stay small and come out the same on every machine.
pub(super) fn tenth(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// A paragraph of a card.
#[derive(Debug, Clone)]
pub(super) struct Block {
    text: String,
    class: &'static str,
    weight: Weight,
    size: f64,
    most: usize,
    gap: f64,
    /// May go altogether where there is no room.
    spare: bool,
}

impl Block {
    pub(super) fn new(text: &str, class: &'static str, weight: Weight, size: f64) -> Self {
        Self { text: text.to_owned(), class, weight, size, most: 6, gap: 0.5, spare: false }
    }

    pub(super) fn lines(self, most: usize) -> Self {
        Self { most, ..self }
    }

    pub(super) fn spare(self) -> Self {
        Self { spare: true, ..self }
    }

    /// The space below, as a multiple of the size.
    pub(super) fn gap(self, gap: f64) -> Self {
        Self { gap, ..self }
    }

    pub(super) fn text(&self) -> &str {
        &self.text
    }

    fn size_at(&self, scale: f64) -> f64 {
        (self.size * scale).max(SMALLEST)
    }

    fn lines_at(&self, scale: f64, room: f64) -> (Vec<String>, bool) {
        wrap(&self.text, self.size_at(scale), self.weight, room, self.most)
    }
}

/// True where an area holds all words of all blocks.
pub(super) fn whole(blocks: &[Block], area: Area) -> bool {
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let laid: Vec<String> = flow(blocks, area).0.into_iter().map(|text| text.text).collect();
    let all: Vec<String> =
        blocks.iter().map(|block| words(&block.text)).filter(|text| !text.is_empty()).collect();
    words(&laid.join(" ")) == all.join(" ")
}

/// Lays blocks out from the top of an area; hands back the lines and where the next could begin.
pub(super) fn flow(blocks: &[Block], area: Area) -> (Vec<Text>, f64) {
    let mut blocks: Vec<Block> = blocks.iter().filter(|block| !block.text.is_empty()).cloned().collect();
    let height = |blocks: &[Block], scale: f64| -> f64 {
        blocks
            .iter()
            .map(|b| b.size_at(scale) * (PITCH * b.lines_at(scale, area.width).0.len() as f64 + b.gap))
            .sum()
    };
    // A text is rather set smaller than cut.
    let mut scale = 1.0;
    let cut =
        |blocks: &[Block], scale: f64| blocks.iter().any(|b| !b.spare && b.lines_at(scale, area.width).1);
    while (height(&blocks, scale) > area.height || cut(&blocks, scale)) && scale > 0.3 {
        scale -= 0.05;
    }
    while height(&blocks, scale) > area.height {
        // Shortened from the end: what stands first matters most.
        if let Some(at) = blocks.iter().rposition(|b| b.spare) {
            blocks.remove(at);
        } else if let Some(block) =
            blocks.iter_mut().rev().find(|b| b.most > 1 && b.lines_at(scale, area.width).0.len() > 1)
        {
            block.most = block.lines_at(scale, area.width).0.len() - 1;
        } else if blocks.len() > 1 {
            blocks.pop();
        } else {
            break;
        }
    }
    let mut texts = Vec::new();
    let mut y = area.y;
    for block in &blocks {
        let size = block.size_at(scale);
        for line in block.lines_at(scale, area.width).0 {
            texts.push(Text::new(area.x, y + ASCENT * size, size, block.weight, block.class, &line));
            y += PITCH * size;
        }
        y += block.gap * size;
    }
    (texts, y)
}

/// One line, shortened to its room, hanging from `top`.
pub(super) fn label(
    x: f64,
    top: f64,
    size: f64,
    weight: Weight,
    class: &'static str,
    text: &str,
    room: f64,
) -> Text {
    Text::new(x, top + ASCENT * size, size, weight, class, &one_line(text, size, weight, room))
}

/// Width of a text in the smallest size.
pub(super) fn small_width(text: &str, weight: Weight) -> f64 {
    width(text, SMALLEST, weight)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_keep_to_their_area_however_much_there_is() {
        for format in Format::ALL {
            let area = format.safe();
            for length in [0, 1, 20, 200, 5000] {
                let text = "wide words here ".repeat(length);
                let blocks = [
                    Block::new("FALLS SHORT", "tag", Weight::Bold, 44.0),
                    Block::new(&text, "lead", Weight::Bold, 90.0),
                    Block::new(&text, "numbers", Weight::Book, 48.0),
                    Block::new(&text, "soft", Weight::Book, 40.0).spare(),
                ];
                let (texts, _) = flow(&blocks, area);
                assert!(
                    texts.iter().all(|t| t.size >= SMALLEST
                        && t.y <= area.bottom()
                        && t.span().1 <= area.right() + 0.1)
                );
                assert_eq!(texts.first().map(|t| t.text.as_str()), Some("FALLS SHORT"));
            }
        }
    }
}
