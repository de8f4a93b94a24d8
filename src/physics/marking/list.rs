//! What a list of markings says together: date spread, one serial on two cells, gaps, mixed lots.

use std::collections::BTreeMap;

use jiff::civil::Date;
use serde::Serialize;

use super::Marking;

/// Texts that are the same, or name the same cell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Repeated {
    /// The code, or the serial with its maker and day.
    pub what: String,
    /// Where it stands in the list, counted from 1.
    pub places: Vec<usize>,
}

/// Cells of one design and day, in the order of their serials.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct Lot {
    /// The first fourteen characters.
    pub design: String,
    /// The day.
    #[serde(serialize_with = "super::iso_date")]
    #[schemars(with = "String")]
    pub date: Date,
    /// Different serials.
    pub cells: usize,
    /// Lowest serial.
    pub first: u32,
    /// Highest serial.
    pub last: u32,
    /// Serials between them that are not in the list; the first twenty gaps.
    pub gaps: Vec<CodeGap>,
    /// Gaps beyond those shown.
    pub more_gaps: usize,
}

/// Serials that are not in the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct CodeGap {
    /// First missing serial.
    pub from: u32,
    /// Last missing serial.
    pub to: u32,
}

/// Gaps shown for one lot.
const GAPS: usize = 20;

/// What a list says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, schemars::JsonSchema)]
pub struct CodeSummary {
    /// Texts that were decoded.
    pub decoded: usize,
    /// Earliest possible day.
    #[serde(skip_serializing_if = "Option::is_none", serialize_with = "super::maybe_date")]
    #[schemars(with = "Option<String>")]
    pub earliest: Option<Date>,
    /// Latest possible day.
    #[serde(skip_serializing_if = "Option::is_none", serialize_with = "super::maybe_date")]
    #[schemars(with = "Option<String>")]
    pub latest: Option<Date>,
    /// Days between them.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub spread_days: Option<i32>,
    /// Decoded texts without a date.
    pub without_date: usize,
    /// The same code more than once.
    pub same_code: Vec<Repeated>,
    /// One serial of one maker and day under different codes.
    pub same_serial: Vec<Repeated>,
    /// Cells by design and day.
    pub lots: Vec<Lot>,
    /// Designs (the first fourteen characters of a code) in the list.
    pub designs: usize,
}

/// A cell by maker, day and serial.
type Cell<'a> = (&'a str, Date, u32);

/// Summarises markings, each with its place in the list counted from 1.
pub fn summary(markings: &[(usize, &Marking)]) -> CodeSummary {
    let earliest = markings.iter().filter_map(|(_, m)| m.earliest).min();
    let latest = markings.iter().filter_map(|(_, m)| m.latest).max();
    let spread_days = earliest.zip(latest).map(|(from, to)| from.until(to).map_or(0, |span| span.get_days()));
    let mut codes: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    let mut cells: BTreeMap<Cell<'_>, Vec<(usize, &str)>> = BTreeMap::new();
    let mut lots: BTreeMap<(&str, Date), Vec<u32>> = BTreeMap::new();
    for (place, marking) in markings {
        let (Some(identity), Some(date)) = (&marking.identity, marking.earliest) else { continue };
        codes.entry(&marking.text).or_default().push(*place);
        let cell = (identity.manufacturer.as_str(), date, identity.serial);
        cells.entry(cell).or_default().push((*place, &marking.text));
        lots.entry((&identity.design, date)).or_default().push(identity.serial);
    }
    let same_code = codes
        .into_iter()
        .filter(|(_, places)| places.len() > 1)
        .map(|(code, places)| Repeated { what: code.to_owned(), places })
        .collect();
    let same_serial = cells
        .into_iter()
        .filter(|(_, found)| {
            found.iter().any(|(_, text)| Some(text) != found.first().map(|(_, first)| first))
        })
        .map(|((maker, date, serial), found)| Repeated {
            what: format!("serial {serial:07} of maker {maker} on {date}"),
            places: found.into_iter().map(|(place, _)| place).collect(),
        })
        .collect();
    let mut designs: Vec<&str> = lots.keys().map(|(design, _)| *design).collect();
    designs.dedup();
    CodeSummary {
        decoded: markings.len(),
        earliest,
        latest,
        spread_days,
        without_date: markings.iter().filter(|(_, m)| m.earliest.is_none()).count(),
        same_code,
        same_serial,
        designs: designs.len(),
        lots: lots.into_iter().filter_map(|((design, date), serials)| lot(design, date, serials)).collect(),
    }
}

fn lot(design: &str, date: Date, mut serials: Vec<u32>) -> Option<Lot> {
    serials.sort_unstable();
    serials.dedup();
    let (first, last) = (*serials.first()?, *serials.last()?);
    let mut gaps: Vec<CodeGap> = serials
        .windows(2)
        .filter_map(|pair| match *pair {
            [low, high] if high - low > 1 => Some(CodeGap { from: low + 1, to: high - 1 }),
            _ => None,
        })
        .collect();
    let more_gaps = gaps.len().saturating_sub(GAPS);
    gaps.truncate(GAPS);
    Some(Lot { design: design.to_owned(), date, cells: serials.len(), first, last, gaps, more_gaps })
}

#[cfg(test)]
mod tests {
    use super::super::decode;
    use super::*;

    /// Invented codes.
    #[test]
    fn duplicates_gaps_and_spread() {
        let texts = [
            "ABCCB12ABC1234DB50000123",
            "ABCCB12ABC1234DB50000124",
            "ABCCB12ABC1234DB50000127",
            "ABCCB12ABC1234DB50000124",
            "ABCCB12ABC9999DB50000127",
            "ABCCB12ABC1234DC50000001",
            "IFpP27/175/200",
        ];
        let read: Vec<Marking> = texts.iter().map(|t| decode(t).unwrap()).collect();
        let placed: Vec<(usize, &Marking)> = read.iter().enumerate().map(|(i, m)| (i + 1, m)).collect();
        let found = summary(&placed);
        assert_eq!(found.spread_days, Some(30));
        assert_eq!((found.decoded, found.without_date, found.designs), (7, 1, 2));
        assert_eq!(found.same_code.iter().map(|r| r.places.clone()).collect::<Vec<_>>(), [vec![2, 4]]);
        assert_eq!(found.same_serial.iter().map(|r| r.places.clone()).collect::<Vec<_>>(), [vec![3, 5]]);
        let gaps: Vec<CodeGap> = found.lots.iter().flat_map(|l| l.gaps.clone()).collect();
        assert_eq!(gaps, [CodeGap { from: 125, to: 126 }]);
    }

    #[test]
    fn an_empty_list() {
        let found = summary(&[]);
        assert_eq!((found.decoded, found.earliest, found.lots.len()), (0, None, 0));
    }
}
