//! The sheet as a page for print, with boxes to tick and lines to write on.

use std::path::Path;

use serde::Serialize;
use tera::Context;

use crate::judge::rig::{RigCheck, RigView, Sheet};
use crate::judge::rules::{Outcome, RuleFile};
use crate::render::write_up::{FORM_STYLE, WriteUpError, engine, style, template, template_texts};

const TEMPLATES: [(&str, &str); 4] = [
    ("plan.html", include_str!("../../../templates/plan.html")),
    ("own.html", ""),
    ("own.css", ""),
    FORM_STYLE,
];

/// A heading, and what is under it.
type Under<T> = (String, T);

/// A side of the rig under its heading, with its checks by outcome.
type Side<'a> = (&'static str, &'a RigView, Vec<Under<Vec<&'a RigCheck>>>);

#[derive(Serialize)]
struct Page<'a> {
    sheet: &'a Sheet,
    files: &'a [RuleFile],
    rigs: [Side<'a>; 2],
    style: String,
}

/// Writes a sheet; `files` are the house's rules it was judged by, `own` a folder with the user's name, logo and style.
///
/// # Errors
/// [`WriteUpError`] where a template of the user cannot be read or is wrong.
pub fn write_html(sheet: &Sheet, files: &[RuleFile], own: Option<&Path>) -> Result<String, WriteUpError> {
    let mut texts = template_texts(&TEMPLATES, own)?;
    let style = style(&mut texts);
    let rigs = [("The test rig", &sheet.rig), ("Charging", &sheet.charging)]
        .map(|(heading, rig)| (heading, rig, checks(rig)));
    let context = Context::from_serialize(&Page { sheet, files, rigs, style }).map_err(template)?;
    engine(texts, own).and_then(|tera| tera.render("plan.html", &context)).map_err(template)
}

/// The checks by their outcome, customs of the trade apart from them as opinion.
fn checks(rig: &RigView) -> Vec<Under<Vec<&RigCheck>>> {
    let judged = [Outcome::FallsShort, Outcome::NotDecided, Outcome::Meets].map(|outcome| {
        (format!("{} {}", outcome.shape(), outcome.words()), rig.with_outcome(outcome).collect())
    });
    let customs = ("○ customs of the trade (opinion)".to_owned(), rig.customs().collect());
    judged.into_iter().chain([customs]).filter(|(_, checks): &(_, Vec<_>)| !checks.is_empty()).collect()
}
