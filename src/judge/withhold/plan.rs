//! Reads `[withhold]` of a record and refuses what would withhold nothing: unknown keys, texts that cannot be searched,
//! areas on photos that are not listed or lie outside the picture.

use std::collections::BTreeMap;

use super::field::FieldRef;
use super::fold::Wanted;
use super::{OwnWords, SHORTEST_TEXT};
use crate::record::area::{self, Area};
use crate::record::parts::{Withhold, WithholdArea};
use crate::record::problem::Problem;
use crate::record::{AnyPart, Record};
use crate::units::words::did_you_mean;

/// At most this many fields, texts and areas each: a record may come from a stranger, and every output is searched for
/// all of them.
const MOST: usize = 2000;

/// What a record asks to be withheld, checked.
#[derive(Debug, Default)]
pub(crate) struct Plan {
    /// Keys as written, and what they name.
    pub(super) fields: Vec<(String, FieldRef)>,
    pub(super) texts: Vec<String>,
    /// By the photo's file name.
    pub(super) areas: BTreeMap<String, Vec<Area>>,
}

impl Plan {
    /// True when nothing is to be withheld.
    pub(crate) fn is_empty(&self) -> bool {
        self.fields.is_empty() && self.texts.is_empty() && self.areas.is_empty()
    }
}

/// Reads what a record asks to be withheld.
///
/// # Errors
/// Every place of `[withhold]` that would withhold nothing, or not what it says.
pub(crate) fn plan(record: &Record, own: &OwnWords) -> Result<Plan, Vec<Problem>> {
    let mut plan = Plan::default();
    let mut problems = Vec::new();
    let Withhold { own: part, fields: keys, texts: literal, area } = &record.withhold;
    if keys.list().len().max(literal.list().len()).max(area.len()) > MOST {
        let message = format!("more than {MOST} fields, texts or areas are to be withheld");
        let example = "fields = [\"path.element.marking\"]   # one key stands for all elements";
        return Err(vec![Problem::at(part.span.clone(), message, "expected fewer", example)]);
    }
    fields(record, &mut plan, &mut problems);
    texts(record, own, &mut plan, &mut problems);
    for area in &record.withhold.area {
        match placed(record, area) {
            Ok((photo, place)) => plan.areas.entry(photo).or_default().push(place),
            Err(problem) => problems.push(problem),
        }
    }
    if problems.is_empty() { Ok(plan) } else { Err(problems) }
}

fn fields(record: &Record, plan: &mut Plan, problems: &mut Vec<Problem>) {
    if record.withhold.fields.list().is_empty() {
        return;
    }
    let mut copy = record.clone();
    for key in record.withhold.fields.list() {
        let span = record.withhold.fields.found().span.clone();
        let shown: String = key.chars().take(80).collect();
        match FieldRef::parse(key) {
            Ok(field)
                if field.each(&mut copy, &mut |_: &mut dyn AnyPart| {}) > 0 || field.is_whole_list() =>
            {
                plan.fields.push((key.trim().to_owned(), field));
            }
            Ok(_) => problems.push(Problem::at(
                span,
                format!("`{shown}` names a part that the record does not have"),
                "expected the id or the number of a part in the record",
                "fields = [\"path.element.main-fuse.marking\"]   # or path.element.marking for all of them",
            )),
            Err(no_field) => {
                let expected = match no_field.near {
                    Some(near) => format!("did you mean `{near}`?"),
                    None => "expected a key of the record".to_owned(),
                };
                let example = "fields = [\"inspection.place\", \"path.element.main-fuse.marking\"]";
                problems.push(Problem::at(
                    span,
                    format!("there is no field `{shown}` to withhold"),
                    &expected,
                    example,
                ));
            }
        }
    }
}

fn texts(record: &Record, own: &OwnWords, plan: &mut Plan, problems: &mut Vec<Problem>) {
    if record.withhold.texts.list().is_empty() {
        return;
    }
    let own = own.hold(record.withhold.texts.list());
    for (number, text) in record.withhold.texts.list().iter().enumerate() {
        let wanted = Wanted::of(text);
        let span = record.withhold.texts.found().span.clone();
        let nth = number + 1;
        if wanted.letters() < SHORTEST_TEXT {
            problems.push(Problem::at(
                span,
                format!("text {nth} to withhold has fewer than {SHORTEST_TEXT} letters and digits"),
                "expected a longer text: this one stands in every output many times",
                "texts = [\"MB-2026-0417\"]   # a short value is withheld by naming its field",
            ));
        } else if own.contains(text) {
            problems.push(Problem::at(
                span,
                format!("text {nth} to withhold stands in the program's own words, in every output"),
                "expected a text that belongs to this pack, person or place",
                "texts = [\"C-118\"]   # a value of one field is withheld by naming the field",
            ));
        } else {
            plan.texts.push(text.clone());
        }
    }
}

fn placed(record: &Record, area: &WithholdArea) -> Result<(String, Area), Problem> {
    let photos = || record.photo.iter().filter_map(|photo| photo.file.text());
    let file = area.photo.text().ok_or_else(|| {
        let example = "photo = \"photos/01-label.jpg\"";
        let message = "this area has no `photo`".to_owned();
        Problem::at(area.own.span.clone(), message, "expected it in this table", example)
    })?;
    let known = photos().find(|known| *known == file || known.rsplit('/').next() == Some(file));
    let Some(known) = known else {
        let expected = did_you_mean(file, photos(), "expected the file of a photo listed in the record");
        return Err(Problem::at(
            area.photo.found().span.clone(),
            "this photo is not listed in the record, so nothing would be blacked out".to_owned(),
            &expected,
            "[[photo]]\nfile = \"photos/01-label.jpg\"",
        ));
    };
    let place = area::read(&area.own, [&area.left, &area.top, &area.width, &area.height], false)?;
    Ok((known.to_owned(), place))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problems(withhold: &str) -> Vec<String> {
        let text = format!(
            "schema = 2\n[inspection]\nplace = \"cellar\"\n[[photo]]\nfile = \"photos/01-label.jpg\"\n{withhold}"
        );
        let record = crate::record::read("r", &text).unwrap();
        match plan(&record, &OwnWords::new(String::new)) {
            Ok(_) => Vec::new(),
            Err(problems) => problems.into_iter().map(|p| format!("{}; {}", p.message, p.expected)).collect(),
        }
    }

    #[test]
    fn what_would_withhold_nothing_is_refused() {
        let area = |rest: &str| format!("[[withhold.area]]\nphoto = \"01-label.jpg\"\n{rest}");
        let sides = |l: &str, t: &str, w: &str, h: &str| {
            area(&format!("left = \"{l}\"\ntop = \"{t}\"\nwidth = \"{w}\"\nheight = \"{h}\"\n"))
        };
        for (withhold, expected) in [
            (
                "[withhold]\nfields = [\"inspection.place\", \"photo.caption\"]\ntexts = [\"MB-2026-0417\"]",
                None,
            ),
            ("[withhold]\nfields = [\"path.element.marking\"]", None),
            ("[withhold]\nfields = [\"inspection.plce\"]", Some("did you mean `inspection.place`?")),
            ("[withhold]\nfields = [\"path.element.fuse.marking\"]", Some("does not have")),
            ("[withhold]\ntexts = [\"A1\"]", Some("fewer than 3")),
            ("[withhold]\ntexts = [\"rated continuous current\"]", Some("program's own words")),
            (&sides("0 %", "0 %", "50 %", "10.5 %"), None),
            (&sides("10 px", "0 px", "50 px", "1px"), None),
            (&sides("60 %", "0 %", "50 %", "10 %"), Some("does not lie in the picture")),
            (&sides("-1 %", "0 %", "50 %", "10 %"), Some("neither a percentage")),
            (&sides("NaN %", "0 %", "50 %", "10 %"), Some("neither a percentage")),
            (&sides("1 %", "0 px", "50 %", "10 %"), Some("mixes percent and pixels")),
            (&sides("1 px", "0 px", "0 px", "10 px"), Some("no size")),
            (&area("left = \"1 %\""), Some("no `top`")),
            (
                &format!("[withhold]\ntexts = [{}]", "\"Quellwerk\", ".repeat(MOST + 1)),
                Some("expected fewer"),
            ),
            ("[[withhold.area]]\nphoto = \"photos/02.jpg\"", Some("not listed")),
            ("[[withhold.area]]\nleft = \"1 %\"", Some("no `photo`")),
        ] {
            let found = problems(withhold);
            match expected {
                None => assert_eq!(found, Vec::<String>::new(), "{withhold}"),
                Some(words) => {
                    assert_eq!(found.len(), 1, "{withhold}: {found:?}");
                    assert!(found[0].contains(words), "{withhold}: {found:?}");
                }
            }
        }
    }
}
