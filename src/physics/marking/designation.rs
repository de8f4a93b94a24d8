//! Designations after IEC 62620 (industrial) and IEC 61960-3 (portable): `IFpP27/175/200`, `INR19/66`,
//! `2ICP20/34/70-3`, `IMP47/173/125/M/-20+60/90`.
//!
//! Grammar from memory: cells in series, negative electrode, positive electrode, shape, sizes in millimetres
//! rounded up, parallel cells; IEC 62620 adds the rate, the temperature grade and the capacity kept after 500
//! cycles. Trade names that only look like one (`INR18650`, five digits without strokes) are refused, because the
//! standards in force write sizes with strokes and the digits alone can be cut in more than one way.

use std::ops::Range;

use super::{Marking, MarkingField, MarkingKind, NotAMarking, field, wrong};

const EXAMPLE: &str = "IFpP27/175/200";
const FROM_MEMORY: &str = "grammar and letters are from memory of IEC 62620 and IEC 61960-3";

/// Largest size, count or percentage accepted, with the most digits.
const DIGITS: usize = 4;

const NEGATIVE: &[(&str, &str)] =
    &[("I", "lithium ion (carbon)"), ("L", "lithium metal or alloy"), ("T", "titanium"), ("X", "other")];
/// Longest first, so that `Fp` is not read as `F`.
const POSITIVE: &[(&str, &str)] = &[
    ("Fp", "iron phosphate"),
    ("Mp", "manganese phosphate"),
    ("C", "cobalt"),
    ("F", "iron"),
    ("N", "nickel"),
    ("M", "manganese"),
    ("T", "titanium"),
    ("V", "vanadium"),
    ("X", "other"),
];
const RATES: &[(&str, &str)] = &[
    ("S", "very low rate, up to 0.125 times the rated capacity in an hour"),
    ("E", "low rate, up to 0.5 times the rated capacity in an hour"),
    ("M", "medium rate, up to 3.5 times the rated capacity in an hour"),
    ("H", "high rate, 3.5 times the rated capacity in an hour and more"),
];

/// Digits in front perhaps, then electrodes and a shape.
pub(super) fn looks_like(text: &str) -> bool {
    let mut cursor = Cursor { text, at: 0 };
    cursor.digits();
    cursor.word(NEGATIVE).is_some()
        && cursor.word(POSITIVE).is_some()
        && cursor.rest().starts_with(['P', 'R'])
        // A GB/T code may begin with the same letters, but it is all capitals and digits, 24 of them.
        && !(text.len() == 24 && text.bytes().all(|b| b.is_ascii_digit() || b.is_ascii_uppercase()))
}

struct Cursor<'a> {
    text: &'a str,
    at: usize,
}

impl<'a> Cursor<'a> {
    fn rest(&self) -> &'a str {
        self.text.get(self.at..).unwrap_or_default()
    }

    fn take(&mut self, mark: &str) -> bool {
        let found = self.rest().starts_with(mark);
        self.at += if found { mark.len() } else { 0 };
        found
    }

    fn word(&mut self, table: &[(&'static str, &'static str)]) -> Option<(Range<usize>, &'static str)> {
        let (word, meaning) = table.iter().find(|(word, _)| self.rest().starts_with(word))?;
        let start = self.at;
        self.at += word.len();
        Some((start..self.at, *meaning))
    }

    fn digits(&mut self) -> Range<usize> {
        let start = self.at;
        self.at += self.rest().bytes().take_while(u8::is_ascii_digit).count();
        start..self.at
    }

    /// The first character that does not fit, or the end.
    fn here(&self) -> Range<usize> {
        self.at..self.at + self.rest().chars().next().map_or(0, char::len_utf8)
    }

    fn expected(&self, what: &str) -> NotAMarking {
        let found = match self.rest().chars().next() {
            Some(c) => format!("`{}` does not fit: {what}", c.escape_default()),
            None => format!("the designation ends too early: {what}"),
        };
        wrong(found, self.here(), EXAMPLE)
    }

    /// A whole number above zero.
    fn number(&mut self, what: &str) -> Result<(Range<usize>, u32), NotAMarking> {
        let at = self.digits();
        if at.is_empty() {
            return Err(self.expected(what));
        }
        let read = self.text.get(at.clone()).filter(|digits| digits.len() <= DIGITS);
        match read.and_then(|digits| digits.parse().ok()) {
            Some(0) | None => Err(wrong(format!("this is no {what}"), at, EXAMPLE)),
            Some(number) => Ok((at, number)),
        }
    }
}

pub(super) fn read(text: &str) -> Result<Marking, NotAMarking> {
    let mut cursor = Cursor { text, at: 0 };
    let mut fields = Vec::new();
    let (mut portable, mut industrial) = (false, false);
    if text.starts_with(|c: char| c.is_ascii_digit()) {
        let (at, number) = cursor.number("number of cells in series")?;
        fields.push(field("cells in series", text, at, number.to_string()));
        portable = true;
    }
    for (name, table, what) in [
        ("negative electrode", NEGATIVE, "the negative electrode is I, L, T or X"),
        ("positive electrode", POSITIVE, "the positive electrode is C, F, Fp, N, M, Mp, T, V or X"),
    ] {
        let (at, meaning) = cursor.word(table).ok_or_else(|| cursor.expected(what))?;
        fields.push(field(name, text, at, meaning));
    }
    sizes(&mut cursor, &mut fields)?;
    if cursor.take("-") {
        let (at, number) = cursor.number("number of cells in parallel")?;
        fields.push(field("cells in parallel", text, at, number.to_string()));
        portable = true;
    } else if cursor.take("/") {
        further(&mut cursor, &mut fields)?;
        industrial = true;
    }
    if !cursor.rest().is_empty() {
        return Err(cursor.expected("this is left over"));
    }
    let standard = match (portable, industrial) {
        (true, false) => "IEC 61960-3",
        (false, true) => "IEC 62620",
        (false, false) => "IEC 62620 and IEC 61960-3, which agree in what is written here",
        (true, true) => {
            let message =
                "a count of cells in front or behind is of IEC 61960-3, a rate letter of IEC 62620: not both";
            return Err(wrong(message, 0..text.len(), EXAMPLE));
        }
    };
    Ok(Marking {
        text: text.to_owned(),
        kind: MarkingKind::Designation,
        standard,
        from_memory: FROM_MEMORY,
        fields,
        earliest: None,
        latest: None,
        identity: None,
    })
}

fn sizes(cursor: &mut Cursor<'_>, fields: &mut Vec<MarkingField>) -> Result<(), NotAMarking> {
    let start = cursor.at;
    let names: &[&str] = if cursor.take("R") {
        fields.push(field("shape", cursor.text, start..cursor.at, "round (cylindrical)"));
        &["diameter", "height"]
    } else if cursor.take("P") {
        fields.push(field("shape", cursor.text, start..cursor.at, "prismatic"));
        &["thickness", "width", "height"]
    } else {
        return Err(cursor.expected("the shape is P (prismatic) or R (round)"));
    };
    for (index, name) in names.iter().enumerate() {
        if index > 0 && !cursor.take("/") {
            if cursor.rest().is_empty() && index == 1 {
                let message = format!("sizes are set apart by strokes; a stroke and the {name} are missing");
                return Err(wrong(message, cursor.here(), EXAMPLE));
            }
            return Err(cursor.expected(&format!("a stroke and the {name} are needed")));
        }
        let from = cursor.at;
        // Below 1 mm the size is written in tenths with a t in front.
        let tenths = cursor.take("t");
        let (at, number) = cursor.number(&format!("{name} in millimetres"))?;
        if tenths && number > 9 {
            return Err(wrong("a size in tenths is below 1 mm: t1 to t9", at, "ICPt9/35/48"));
        }
        let meaning = if tenths {
            format!("at most 0.{number} mm")
        } else {
            format!("at most {number} mm, rounded up")
        };
        fields.push(field(name_of(name), cursor.text, from..cursor.at, meaning));
    }
    Ok(())
}

/// The static name of a size.
fn name_of(name: &str) -> &'static str {
    match name {
        "diameter" => "diameter",
        "thickness" => "thickness",
        "width" => "width",
        _ => "height",
    }
}

/// What IEC 62620 adds: `M/-20+60/90`.
fn further(cursor: &mut Cursor<'_>, fields: &mut Vec<MarkingField>) -> Result<(), NotAMarking> {
    let rate = cursor.word(RATES).ok_or_else(|| cursor.expected("the rate is S, E, M or H"))?;
    fields.push(field("rate", cursor.text, rate.0, rate.1));
    if !cursor.take("/") {
        return Ok(());
    }
    let (low_at, low) = temperature(cursor)?;
    let (high_at, high) = temperature(cursor)?;
    if high <= low {
        let message = format!("the upper temperature {high} °C is not above the lower {low} °C");
        return Err(wrong(message, high_at, EXAMPLE));
    }
    fields.push(field("lowest temperature", cursor.text, low_at, format!("{low} °C")));
    fields.push(field("highest temperature", cursor.text, high_at, format!("{high} °C")));
    if !cursor.take("/") {
        return Ok(());
    }
    let (at, percent) = cursor.number("capacity kept, in per cent")?;
    if percent > 100 {
        return Err(wrong("more than 100 % of the capacity cannot be kept", at, EXAMPLE));
    }
    let meaning = format!("{percent} % of the capacity kept after 500 cycles");
    fields.push(field("capacity kept", cursor.text, at, meaning));
    Ok(())
}

fn temperature(cursor: &mut Cursor<'_>) -> Result<(Range<usize>, i32), NotAMarking> {
    let start = cursor.at;
    let negative = cursor.take("-");
    if !negative && !cursor.take("+") {
        return Err(cursor.expected("a temperature begins with + or -"));
    }
    let digits = cursor.digits();
    let number: Option<i32> =
        cursor.text.get(digits.clone()).filter(|d| d.len() <= 3).and_then(|d| d.parse().ok());
    match number {
        Some(number) if number <= 150 => Ok((start..cursor.at, if negative { -number } else { number })),
        Some(_) => Err(wrong("no cell works at this temperature", digits, EXAMPLE)),
        None if digits.is_empty() => Err(cursor.expected("a temperature in °C")),
        None => Err(wrong("this is no temperature in °C", digits, EXAMPLE)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Grammar from memory of IEC 62620 and IEC 61960-3.
    #[test]
    fn designations() {
        let cases = [
            ("IFpP27/175/200", "iron phosphate|prismatic|27 mm|175 mm|200 mm", "agree"),
            ("ICR19/66", "cobalt|round|19 mm|66 mm", "agree"),
            ("2ICP20/34/70-3", "series|cobalt|20 mm|parallel", "61960"),
            ("ICPt9/35/48", "0.9 mm", "agree"),
            ("IMP47/173/125/M/-20+60/90", "manganese|medium rate|-20 °C|60 °C|90 %", "62620"),
            ("IFpP27/175/200/E", "low rate", "62620"),
            ("TNR19/66", "titanium|nickel", "agree"),
        ];
        for (text, expected, standard) in cases {
            assert!(looks_like(text), "{text}");
            let read = read(text).unwrap_or_else(|e| panic!("{text}: {e}"));
            let all: String = read.fields.iter().map(|f| format!("{} {};", f.name, f.meaning)).collect();
            for part in expected.split('|') {
                assert!(all.contains(part), "{text}: {part} in {all}");
            }
            assert!(read.standard.contains(standard), "{text}: {}", read.standard);
        }
    }

    #[test]
    fn the_first_wrong_character_is_named() {
        let cases = [
            ("IFpP27/175", 10, "the height"),
            ("IFpP27x175x200", 6, "a stroke and the width"),
            ("IFpP27/175/", 11, "ends too early"),
            ("IFpP0/175/200", 4, "no thickness"),
            ("IFpP27/175/200/Q", 15, "the rate is"),
            ("IFpP27/175/200/M/60", 17, "begins with + or -"),
            ("IFpP27/175/200/M/+60-20", 20, "not above"),
            ("IFpP27/175/200/M/-20+60/101", 24, "100 %"),
            ("IFpP27/175/200 A", 14, "left over"),
            ("INR18650", 3, "no diameter"),
            ("INR18650-25R", 3, "no diameter"),
            ("2ICP20/34/70/M", 0, "not both"),
            ("ICPt12/35/48", 4, "tenths"),
        ];
        for (text, at, expected) in cases {
            assert!(looks_like(text), "{text}");
            let error = read(text).unwrap_err();
            assert!(error.message.contains(expected), "{text}: {error}");
            assert_eq!(error.at.start, at, "{text}: {error}");
        }
    }
}
