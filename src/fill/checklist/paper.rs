//! The form to write on: the same list for people who prefer a clipboard, in the same numbering.
//!
//! What is asked of each part is a table with a column for each: the answer to the second busbar under number 34 is typed
//! into `fill` as `34.2: 25 x 3 mm`. Both legs of the path share one table, for they are asked the same.

use std::path::Path;

use serde::Serialize;
use tera::Context;

use super::condition::in_words;
use super::{Adds, Checklist, Fills, Item, PhotoWanted, Scope, Section};
use crate::record::Kind;
use crate::render::write_up::{FORM_STYLE, WriteUpError, engine, style, template, template_texts};
use crate::units::words::list as in_a_row;

const TEMPLATES: [(&str, &str); 4] = [
    ("form.html", include_str!("../../../templates/form.html")),
    ("own.html", ""),
    ("own.css", ""),
    FORM_STYLE,
];

#[derive(Serialize)]
struct Form<'a> {
    title: &'a str,
    about: &'a str,
    caution: &'a str,
    sections: Vec<FormSection>,
    style: String,
}

#[derive(Serialize)]
struct FormSection {
    title: String,
    about: String,
    caution: String,
    /// True for the legs of the path.
    path: bool,
    blocks: Vec<Block>,
}

/// Questions that stand together; with columns, a table.
#[derive(Serialize)]
struct Block {
    each: String,
    columns: usize,
    heads: Vec<usize>,
    lines: Vec<Line>,
}

/// A question with room for its answer.
#[derive(Serialize)]
struct Line {
    numbers: String,
    prompt: String,
    photo: &'static str,
    only: Option<String>,
    caution: String,
    boxes: Vec<&'static str>,
    example: Option<&'static str>,
    rows: usize,
}

/// The form of a checklist as a page for print; `own` is a folder with the user's name, logo and style.
///
/// # Errors
/// [`WriteUpError`] where a template of the user cannot be read or is wrong.
pub fn paper(list: &Checklist, caution: &str, own: Option<&Path>) -> Result<String, WriteUpError> {
    let mut texts = template_texts(&TEMPLATES, own)?;
    let style = style(&mut texts);
    let mut sections = Vec::new();
    let mut left = list.sections.as_slice();
    while let [first, rest @ ..] = left {
        let both = rest.first().filter(|second| asked_the_same(first, second));
        sections.push(section(first, both));
        left = rest.get(usize::from(both.is_some())..).unwrap_or_default();
    }
    let form = Form { title: &list.title, about: &list.about, caution, sections, style };
    let context = Context::from_serialize(&form).map_err(template)?;
    engine(texts, own).and_then(|tera| tera.render("form.html", &context)).map_err(template)
}

fn of_elements(section: &Section) -> impl Iterator<Item = &Item> {
    section.items.iter().map(AsRef::as_ref).filter(|item| matches!(item.scope, Scope::Elements(_)))
}

/// True for two legs whose elements are asked the same.
fn asked_the_same(one: &Section, other: &Section) -> bool {
    let leg = |section| of_elements(section).next().and_then(|item| item.leg);
    leg(one).is_some()
        && leg(one) != leg(other)
        && of_elements(one).map(|item| &item.prompt).eq(of_elements(other).map(|item| &item.prompt))
}

fn section(first: &Section, second: Option<&Section>) -> FormSection {
    let both = || [Some(first), second].into_iter().flatten();
    let texts = |of: fn(&Section) -> &String, between: &str| {
        let mut texts: Vec<&str> = both().map(|section| of(section).as_str()).collect();
        texts.dedup();
        texts.retain(|text| !text.is_empty());
        texts.join(between)
    };
    let mut blocks: Vec<Block> = Vec::new();
    if second.is_some() {
        let asked = both().flat_map(|section| &section.items).map(AsRef::as_ref);
        let alone = asked.filter(|item| item.scope == Scope::Pack);
        blocks.push(Block::of("", 0, alone.map(|item| line(item, None)).collect()));
    }
    let mut others = second.into_iter().flat_map(of_elements);
    for item in &first.items {
        let columns = columns(item);
        match (&item.scope, second) {
            (Scope::Pack, Some(_)) => {}
            (scope, _) => {
                let twin = others.next().filter(|_| matches!(scope, Scope::Elements(_)));
                let each = each_in_words(item);
                match blocks.last_mut() {
                    Some(block) if block.columns == columns && block.each == each => {
                        block.lines.push(line(item, twin));
                    }
                    _ => blocks.push(Block::of(&each, columns, vec![line(item, twin)])),
                }
            }
        }
    }
    FormSection {
        title: texts(|section| &section.title, " · "),
        about: texts(|section| &section.about, " "),
        caution: texts(|section| &section.caution, " "),
        path: second.is_some(),
        blocks,
    }
}

impl Block {
    fn of(each: &str, columns: usize, lines: Vec<Line>) -> Self {
        Self { each: each.to_owned(), columns, heads: (1..=columns).collect(), lines }
    }
}

/// How many parts a table has room for; none where the pack is asked.
fn columns(item: &Item) -> usize {
    match item.scope {
        Scope::Pack => 0,
        Scope::Readings | Scope::Elements(_) => 8,
        Scope::RigElements(_) => 6,
        _ => 4,
    }
}

fn line(item: &Item, twin: Option<&Item>) -> Line {
    let only = match (&item.scope, &item.when) {
        (_, Some((when, condition))) => Some(in_words(when, condition)),
        (Scope::Elements(kinds) | Scope::RigElements(kinds), None) if kinds.len() <= 4 => {
            Some(in_a_row(kinds, "or"))
        }
        _ => None,
    };
    // In a table what is not there is written, and what is asked of the whole pack is ticked.
    let mut line = Line {
        numbers: twin
            .map_or_else(|| item.number.to_string(), |twin| format!("{}/{}", item.number, twin.number)),
        prompt: item.prompt.clone(),
        photo: match item.photo {
            Some(PhotoWanted::Required) => "[P]",
            Some(PhotoWanted::Useful) => "[p]",
            None => "",
        },
        only,
        caution: item.caution.clone(),
        boxes: Vec::new(),
        example: None,
        rows: 1,
    };
    match &item.fills {
        Fills::Field { info, .. } => match info.kind {
            Kind::YesNo => line.boxes = vec!["yes", "no"],
            Kind::Word(words) => line.boxes = words.iter().map(|word| word.word).chain(["absent"]).collect(),
            Kind::Text | Kind::List => {}
            Kind::Markdown => line.rows = 3,
            _ => line.example = Some(info.example),
        },
        Fills::Adds(Adds::Elements | Adds::RigElements) => line.rows = 3,
        Fills::Adds(_) | Fills::Remark => {}
    }
    if item.scope == Scope::Pack && !line.boxes.is_empty() {
        line.boxes.push("could not see");
    } else {
        line.boxes.retain(|word| *word != "absent");
    }
    line
}

fn each_in_words(item: &Item) -> String {
    match &item.scope {
        Scope::Pack | Scope::Rig | Scope::Source | Scope::Meters => String::new(),
        Scope::Elements(_) => {
            "For each element, in the order of the path; on top its leg and kind".to_owned()
        }
        Scope::Readings => "For each cell, counted from the negative end".to_owned(),
        Scope::Statements => "For each claim in words".to_owned(),
        Scope::Layers => "For each layer, from the devices outwards".to_owned(),
        Scope::Photos => "For each photo".to_owned(),
        Scope::Tests => "For each bench test".to_owned(),
        Scope::Instruments => "For each instrument".to_owned(),
        Scope::RigElements(kinds) => format!("For each {} of the rig", in_a_row(kinds, "or")),
        Scope::Loads => "For each load".to_owned(),
    }
}
