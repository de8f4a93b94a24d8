//! What is printed on a scale sheet and where: codes that carry their own place and size, and bands of squares between them.
//!
//! Lengths are in millimetres from the sheet's top left corner, x to the right and y down. A code is an ISO/IEC 18004
//! symbol of version 1 whose text is `SCALE`, the sheet, the left and top edge of its dark modules and their size:
//! `SCALE A4 10 138 21`.

/// Modules along a side of a code of version 1 (ISO/IEC 18004, 6.1).
pub(crate) const MODULES: u32 = 21;

/// The kinds of sheet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// ISO 216 A4, 210 × 297 mm.
    A4,
    /// ANSI/ASME Y14.1 A ("Letter"), 8.5 × 11 inches.
    Letter,
    /// A strip of 160 × 19 mm for tight places.
    Strip,
}

/// A band of squares in two rows, dark and light by turns: corners stand on its middle line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Band {
    /// Where its middle line begins.
    pub start: [f64; 2],
    /// True where it runs down.
    pub down: bool,
    /// Edge of a square.
    pub square: f64,
    /// Squares in a row.
    pub number: u32,
}

impl Band {
    /// The corners between its squares.
    pub(crate) fn corners(self) -> impl Iterator<Item = [f64; 2]> {
        (1..self.number).map(move |index| self.along(f64::from(index) * self.square))
    }

    /// Its dark squares, by their top left corners.
    pub(crate) fn dark(self) -> impl Iterator<Item = [f64; 2]> {
        (0..self.number).map(move |index| {
            let [x, y] = self.along(f64::from(index) * self.square);
            let back = if index % 2 == 0 { self.square } else { 0.0 };
            if self.down { [x - back, y] } else { [x, y - back] }
        })
    }

    fn along(self, by: f64) -> [f64; 2] {
        let [x, y] = self.start;
        if self.down { [x, y + by] } else { [x + by, y] }
    }
}

/// A distance to be measured on the print, from a tick to a tick.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Check {
    /// Where it begins.
    pub start: [f64; 2],
    /// True where it runs down.
    pub down: bool,
    /// How long it is.
    pub length: f64,
}

/// What is printed.
#[derive(Debug, Clone)]
pub(crate) struct Sheet {
    /// Width and height of the paper, or of the strip.
    pub size: [f64; 2],
    /// Left edge, top edge and size of the codes.
    pub codes: Vec<[f64; 3]>,
    /// The bands of squares.
    pub bands: Vec<Band>,
    /// Distances that prove the scale of the print: across, and down where there is room.
    pub checks: Vec<Check>,
}

impl Kind {
    pub(crate) const ALL: [Self; 3] = [Self::A4, Self::Letter, Self::Strip];

    /// The word for it in its codes.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "LETTER",
            Self::Strip => "STRIP",
        }
    }

    /// What is printed on it.
    pub(crate) fn sheet(self) -> Sheet {
        match self {
            Self::A4 => page([210.0, 297.0]),
            Self::Letter => page([215.9, 279.4]),
            Self::Strip => strip(),
        }
    }
}

/// Codes at the corners and between them, 10 mm from the edge of the paper, where every printer prints.
fn page(size: [f64; 2]) -> Sheet {
    const MARGIN: f64 = 10.0;
    const CODE: f64 = 21.0;
    const SQUARE: f64 = 4.0;
    // ISO/IEC 18004 wants four modules free round a code.
    const FREE: f64 = 5.0;
    let places = size.map(|edge| {
        let last = (edge - MARGIN - CODE).floor();
        [MARGIN, ((MARGIN + last) / 2.0).floor(), last]
    });
    let [across, down] = places;
    let mut codes = Vec::new();
    for (row, y) in down.into_iter().enumerate() {
        for (column, x) in across.into_iter().enumerate() {
            if (row, column) != (1, 1) {
                codes.push([x, y, CODE]);
            }
        }
    }
    let mut bands = Vec::new();
    let mut between = |from: f64, to: f64, beside: f64, down: bool| {
        let start = from + CODE + FREE;
        let number = ((to - FREE - start) / SQUARE).floor() as u32;
        let middle = beside + CODE / 2.0;
        let start = if down { [middle, start] } else { [start, middle] };
        bands.push(Band { start, down, square: SQUARE, number });
    };
    for index in 0..2 {
        for side in [0, 2] {
            between(across[index], across[index + 1], down[side], false);
            between(down[index], down[index + 1], across[side], true);
        }
    }
    let inner = MARGIN + CODE + 6.0;
    let length = |last: f64| ((last - 5.0 - inner) / 10.0).floor() * 10.0;
    let check = |down: bool, last: f64| Check { start: [inner, inner], down, length: length(last) };
    Sheet { size, codes, bands, checks: vec![check(false, across[2]), check(true, down[2])] }
}

fn strip() -> Sheet {
    const CODE: f64 = 10.5;
    const SQUARE: f64 = 2.5;
    let places = [4.0, 50.0, 96.0, 142.0];
    let codes = places.map(|x| [x, 3.0, CODE]).to_vec();
    let band = |x: f64| Band { start: [x + CODE + 4.0, 8.25], down: false, square: SQUARE, number: 11 };
    Sheet {
        size: [160.0, 19.0],
        codes,
        bands: places.into_iter().take(3).map(band).collect(),
        checks: vec![Check { start: [5.0, 16.0], down: false, length: 150.0 }],
    }
}

/// What the text of a code says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Place {
    /// Which sheet.
    pub kind: Kind,
    /// Left edge, top edge, size.
    pub at: [f64; 3],
}

impl Place {
    pub(crate) fn text(self) -> String {
        let [x, y, size] = self.at;
        format!("SCALE {} {x} {y} {size}", self.kind.word())
    }

    /// Reads the text of a code; one that stands on no sheet says nothing.
    pub(crate) fn read(text: &str) -> Option<Self> {
        let mut words = text.strip_prefix("SCALE ")?.split(' ');
        let word = words.next()?;
        let kind = Kind::ALL.into_iter().find(|kind| kind.word() == word)?;
        let mut number = || words.next()?.parse::<f64>().ok();
        let at = [number()?, number()?, number()?];
        (words.next().is_none() && kind.sheet().codes.contains(&at)).then_some(Self { kind, at })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_say_where_they_are_and_nothing_lies_on_another() {
        for kind in Kind::ALL {
            let sheet = kind.sheet();
            let mut rooms: Vec<[f64; 4]> = Vec::new();
            for at in &sheet.codes {
                let place = Place { kind, at: *at };
                assert_eq!(Place::read(&place.text()), Some(place));
                // 25 characters fit version 1 at level L (ISO/IEC 18004, table 7).
                assert!(place.text().len() <= 25, "{}", place.text());
                let free = 4.0 * at[2] / f64::from(MODULES);
                rooms.push([at[0] - free, at[1] - free, at[0] + at[2] + free, at[1] + at[2] + free]);
            }
            for band in &sheet.bands {
                for [x, y] in band.dark() {
                    rooms.push([x, y, x + band.square, y + band.square]);
                }
                assert_eq!(band.corners().count(), band.number as usize - 1);
            }
            for (index, a) in rooms.iter().enumerate() {
                assert!(
                    a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= sheet.size[0] && a[3] <= sheet.size[1],
                    "{a:?}"
                );
                for b in &rooms[..index] {
                    let apart = a[0] >= b[2] || b[0] >= a[2] || a[1] >= b[3] || b[1] >= a[3];
                    let codes = a[2] - a[0] > 15.0 && b[2] - b[0] > 15.0;
                    assert!(apart || codes, "{kind:?}: {a:?} {b:?}");
                }
            }
        }
        for text in [
            "SCALE A4 10 10 22",
            "SCALE A4 10 10",
            "SCALE A4 NaN 10 21",
            "https://example.org",
            "SCALE A4 10 10 21 1",
        ] {
            assert_eq!(Place::read(text), None, "{text}");
        }
    }
}
