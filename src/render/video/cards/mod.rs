//! Still cards for a video, 1920 × 1080 and 1080 × 1920: verdict, current path, main causes, bench tests, claims against
//! findings, comparison; a thumbnail; and the causes as lower thirds without a ground.
//!
//! A card says what the write-up says and nothing more. It is laid out here, with measured texts, and drawn by a
//! template that a user can replace; the PNG is drawn from the SVG. An outcome has a shape and a word, never colour
//! alone; every card says that nothing on it means that the pack is safe, and an invented example says that it is one.

mod against;
mod flow;
mod make;
mod raster;
#[cfg(test)]
mod tests;

use std::path::Path;

use rayon::prelude::*;
use serde::Serialize;
use tera::{Context, Tera};

use super::VideoKitError;
use super::measure::{MISSING, Weight, shown};
use super::outlet::{Outlet, line};
use crate::judge::inspection::Inspection;
use crate::render::write_up::{PhotoView, View, template, template_texts};
use flow::{Area, Format, SMALLEST, Text, label, small_width};

/// What stands at the foot of every card.
pub(crate) const FOOT: [&str; 2] = ["Compares a record with rules.", "Never says that a pack is safe."];
/// What stands on the cards of an invented example.
const INVENTED: &str = "INVENTED EXAMPLE";
/// Height of head and foot lines, px.
const HEAD: f64 = 58.0;

/// Templates that are compiled in, by the file name under which a user can replace them.
pub(crate) const TEMPLATES: [(&str, &str); 8] = [
    ("frame.svg", include_str!("../../../../templates/cards/frame.svg")),
    ("verdict.svg", include_str!("../../../../templates/cards/verdict.svg")),
    ("finding.svg", include_str!("../../../../templates/cards/finding.svg")),
    ("path.svg", include_str!("../../../../templates/cards/path.svg")),
    ("test.svg", include_str!("../../../../templates/cards/test.svg")),
    ("claims.svg", include_str!("../../../../templates/cards/claims.svg")),
    ("against.svg", include_str!("../../../../templates/cards/against.svg")),
    ("thumbnail.svg", include_str!("../../../../templates/cards/thumbnail.svg")),
];

/// A photo in its place.
#[derive(Debug, Clone, Serialize)]
struct Picture {
    href: String,
    #[serde(flatten)]
    place: Area,
    /// Its numbered pointers, SVG in the pixels of the picture.
    marks: String,
    /// The picture's own width and height, px.
    pixels: (u32, u32),
}

/// A card, laid out.
#[derive(Debug, Serialize)]
struct Card {
    /// Which template draws it.
    kind: &'static str,
    /// File name without format and ending.
    #[serde(skip)]
    name: String,
    format: Format,
    width: u32,
    height: u32,
    /// Where text may stand.
    safe: Area,
    /// `critical`, `major`, `open`, `meets` or `plain`.
    class: &'static str,
    /// What a screen reader says first.
    title: String,
    /// All that is said on the card, unwrapped.
    description: String,
    texts: Vec<Text>,
    /// Shapes of a drawing, SVG.
    drawing: String,
    photo: Option<Picture>,
    /// The frame round the mark of an invented example.
    mark: Option<Area>,
    font: &'static str,
}

impl Card {
    /// A card with nothing on it.
    fn bare(kind: &'static str, name: String, view: &View, format: Format) -> Self {
        let (width, height) = format.size();
        Self {
            kind,
            name,
            format,
            width,
            height,
            safe: format.safe(),
            class: "plain",
            title: view.title.clone(),
            description: String::new(),
            texts: Vec::new(),
            drawing: String::new(),
            photo: None,
            mark: None,
            font: raster::FAMILY,
        }
    }

    /// A card with head and foot; hands back the area between them.
    fn framed(kind: &'static str, name: String, view: &View, format: Format) -> (Self, Area) {
        let safe = format.safe();
        let mut card = Self::bare(kind, name, view, format);
        let wide = format == Format::Wide;
        let mut top = safe.y;
        let mut room = safe.width;
        if view.invented {
            let width = small_width(INVENTED, Weight::Bold) + 40.0;
            let frame = Area { x: safe.right() - width, y: safe.y, width, height: 66.0 };
            card.texts.push(label(
                frame.x + 20.0,
                frame.y + 6.0,
                SMALLEST,
                Weight::Bold,
                "ink",
                INVENTED,
                width,
            ));
            card.mark = Some(frame);
            if wide { room -= width + 40.0 } else { top += 72.0 }
        }
        let title = said(&view.title);
        card.texts.push(label(safe.x, top + 4.0, SMALLEST, Weight::Bold, "soft", &title, room));
        top += if wide && view.invented { 84.0 } else { 72.0 };
        let mut bottom = safe.bottom();
        let feet = if wide { vec![FOOT.join(" ")] } else { FOOT.iter().map(|f| (*f).to_owned()).collect() };
        for foot in feet.iter().rev() {
            bottom -= HEAD;
            card.texts.push(label(safe.x, bottom, SMALLEST, Weight::Book, "soft", foot, safe.width));
        }
        (card, Area { y: top, height: bottom - 24.0 - top, ..safe })
    }

    /// Everything that stands on the card: unwrapped, and line by line.
    fn said(&self) -> String {
        let lines = self.texts.iter().map(|text| text.text.as_str());
        [self.title.as_str(), self.description.as_str()]
            .into_iter()
            .chain(lines)
            .collect::<Vec<_>>()
            .join("\n")
    }

    fn file(&self, ending: &str) -> String {
        format!("cards/{}-{}.{ending}", self.name, self.format.word())
    }
}

/// A text from a record as a card can show it.
fn said(text: &str) -> String {
    shown(&line(text))
}

/// Makes all cards and keeps them as SVG and PNG; hands back what is to be told.
///
/// # Errors
/// When a template is wrong or a card cannot be drawn.
pub(super) fn cards(
    inspection: &Inspection,
    view: &View,
    photos: &[PhotoView],
    against: Option<&View>,
    templates: Option<&Path>,
    outlet: &mut Outlet,
) -> Result<Vec<String>, VideoKitError> {
    let tera = tera(templates)?;
    let (cards, mut told) = make::all(inspection, view, photos, against);
    let mut kept = Vec::new();
    for card in &cards {
        let context = Context::from_serialize(card).map_err(template)?;
        let svg = tera.render(&format!("{}.svg", card.kind), &context).map_err(template)?;
        // A line may end within a word, and a picture cannot be searched at all.
        outlet.packed(&card.file("png"), &card.said());
        kept.push((card, outlet.text(&card.file("svg"), &svg)));
    }
    let drawn: Vec<Result<Vec<u8>, String>> =
        kept.par_iter().map(|(card, svg)| raster::png(svg, card.format)).collect();
    for ((card, _), png) in kept.iter().zip(drawn) {
        let png =
            png.map_err(|why| VideoKitError::Words(format!("{} cannot be drawn: {why}", card.file("svg"))))?;
        outlet.picture(card.file("png"), png);
    }
    if cards.iter().any(|card| card.description.contains(MISSING)) {
        told.push("some characters are not in the font of the cards and are shown as □".to_owned());
    }
    Ok(told)
}

fn tera(folder: Option<&Path>) -> Result<Tera, VideoKitError> {
    let mut tera = Tera::new();
    // Text in SVG is escaped as in HTML: the five characters, as references that XML knows.
    tera.autoescape_on([".svg"]);
    tera.add_raw_templates(template_texts(&TEMPLATES, folder)?).map_err(template)?;
    Ok(tera)
}
