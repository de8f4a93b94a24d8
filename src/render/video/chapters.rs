//! Chapters of the video from the times in the record: WebVTT (W3C) and a plain list.
//!
//! Every part of a record may say when the video shows it. The times are sorted, equal ones become one chapter, and a
//! chapter ends where the next begins. A time that cannot be read or lies beyond [`LONGEST`] is told, never left out
//! in silence.

use std::fmt::Write;

use super::outlet::line;
use crate::judge::facts::Subject;
use crate::judge::rules::Outcome;
use crate::record::{Own, Record};
use crate::render::write_up::View;
use crate::units::words::clipped;

/// Times from here on are refused, s: 100 hours. A video that long is a slip of the pen.
const LONGEST: f64 = 360_000.0;
/// Shortest chapter, s: a cue must end after it begins (WebVTT, cue timings), and the times are shown in milliseconds.
const SHORTEST: f64 = 0.001;

/// Characters of a text that are enough to know it by.
const ENOUGH: usize = 60;

/// A chapter: where it begins and what it shows.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Chapter {
    /// Seconds from the start of the video.
    pub(super) start: f64,
    /// What it shows, one line.
    pub(super) title: String,
}

/// Chapters of a record and what is to be told about them.
#[derive(Debug, Default)]
pub(super) struct Chapters {
    /// In the order of the video; the first begins at zero. Empty when the record holds no time.
    pub(super) list: Vec<Chapter>,
    /// What could not be used, and what was put in order.
    pub(super) told: Vec<String>,
}

/// Collects the chapters of a record.
pub(super) fn chapters(record: &Record, view: &View) -> Chapters {
    let mut chapters = Chapters::default();
    let mut last = 0.0_f64;
    let mut backwards = 0_usize;
    for (title, own) in places(record, view) {
        let Some(text) = &own.video else { continue };
        let title = line(&title);
        match seconds(text) {
            Ok(start) => {
                backwards += usize::from(start < last);
                last = start;
                chapters.list.push(Chapter { start, title });
            }
            Err(why) => chapters.told.push(format!(
                "no chapter for {}: video time `{}` {why}",
                clipped(&title, ENOUGH),
                clipped(&line(text), ENOUGH)
            )),
        }
    }
    if backwards > 0 {
        let times = crate::units::words::count(backwards, "time goes", "times go");
        chapters.told.push(format!("{times} backwards in the record's order; the chapters follow the video"));
    }
    chapters.list = in_order(std::mem::take(&mut chapters.list));
    chapters
}

fn in_order(mut list: Vec<Chapter>) -> Vec<Chapter> {
    list.sort_by(|a, b| a.start.total_cmp(&b.start));
    let mut merged: Vec<Chapter> = Vec::new();
    for chapter in list {
        match merged.last_mut().filter(|last| chapter.start - last.start < SHORTEST) {
            Some(last) if last.title.split("; ").any(|title| title == chapter.title) => {}
            Some(last) => last.title = format!("{}; {}", last.title, chapter.title),
            None => merged.push(chapter),
        }
    }
    if merged.first().is_some_and(|first| first.start > 0.0) {
        merged.insert(0, Chapter { start: 0.0, title: "Start".to_owned() });
    }
    merged
}

/// Every part of the record that can name a time, with a title for it.
fn places<'a>(record: &'a Record, view: &View) -> Vec<(String, &'a Own)> {
    let mut places: Vec<(String, &Own)> = vec![
        ("Claims".to_owned(), &record.claims.own),
        ("Cells".to_owned(), &record.cells.own),
        ("Current path".to_owned(), &record.path.own),
        ("BMS".to_owned(), &record.bms.own),
        ("Heater".to_owned(), &record.heater.own),
        ("Enclosure".to_owned(), &record.enclosure.own),
        ("Service".to_owned(), &record.service.own),
        ("Marking".to_owned(), &record.marking.own),
    ];
    for statement in &record.claims.statement {
        places.push((format!("Claim “{}”", statement.text.text().unwrap_or_default()), &statement.own));
    }
    for (index, layer) in record.bms.layer.iter().enumerate() {
        places.push((format!("Heat path, layer {}", index + 1), &layer.own));
    }
    for (element, shown) in record.path.element.iter().zip(&view.path.elements) {
        // What is wrong with it is what a viewer looks for.
        let cause = view.causes.iter().find(|cause| cause.places.contains(&shown.label));
        let wrong = cause.map_or_else(String::new, |cause| format!(": {}", cause.statement));
        places.push((format!("{}{wrong}", shown.called), &element.own));
    }
    for reading in &record.cells.reading {
        let position = reading.position.found().value().map(crate::record::Value::show).unwrap_or_default();
        places.push((format!("Cell {position}"), &reading.own));
    }
    for item in &record.item {
        places.push((item.id.text().unwrap_or("checklist").replace('-', " "), &item.own));
    }
    for (index, test) in record.test.iter().enumerate() {
        let id = test.id.text().or(test.kind.word()).unwrap_or_default();
        let short = view.with_outcome(Outcome::FallsShort).find(|finding| finding.at == Subject::Test(index));
        let short = short.map_or_else(String::new, |finding| format!(": {}", finding.statement));
        places.push((format!("Test {id}{short}"), &test.own));
    }
    for photo in &record.photo {
        let title = photo.caption.text().or(photo.file.text()).unwrap_or_default();
        places.push((title.to_owned(), &photo.own));
    }
    places
}

/// Seconds of `m:ss` or `h:mm:ss`, with or without a decimal fraction.
fn seconds(text: &str) -> Result<f64, &'static str> {
    const FORM: &str = "is not of the form 12:40 or 1:02:30";
    let parts: Vec<&str> = text.trim().split(':').collect();
    let (hours, minutes, seconds) = match parts.as_slice() {
        [minutes, seconds] => ("0", *minutes, *seconds),
        [hours, minutes, seconds] => (*hours, *minutes, *seconds),
        _ => return Err(FORM),
    };
    let whole = |digits: &str| -> Option<f64> {
        let short = (1..=6).contains(&digits.len()) && digits.bytes().all(|b| b.is_ascii_digit());
        digits.parse().ok().filter(|_| short)
    };
    let (second, fraction) = seconds.split_once('.').unwrap_or((seconds, "0"));
    let exact = whole(hours).zip(whole(minutes)).zip(whole(second)).zip(whole(fraction));
    let Some((((h, m), s), _)) = exact.filter(|_| second.len() == 2) else { return Err(FORM) };
    if s >= 60.0 {
        return Err("has 60 seconds or more");
    }
    if parts.len() == 3 && m >= 60.0 {
        return Err("has 60 minutes or more beside its hours");
    }
    let part: f64 = format!("0.{fraction}").parse().unwrap_or(0.0);
    let total = 3600.0 * h + 60.0 * m + s + part;
    if total >= LONGEST { Err("lies beyond 100 hours") } else { Ok(total) }
}

/// The length of a video as given on the command line.
pub(super) fn length(text: &str) -> Result<f64, String> {
    seconds(text).map_err(|why| format!("`{}` {why}", line(text)))
}

/// The chapters as WebVTT; `length` is the length of the video in seconds, where it is known.
pub(super) fn vtt(list: &[Chapter], length: Option<f64>) -> String {
    let mut out = "WEBVTT\n".to_owned();
    if length.is_none() {
        out.push_str("\nNOTE The length of the video is not known: the last chapter is written as ending at 100 hours.\n");
    }
    let end_of_all = length.unwrap_or(LONGEST - SHORTEST);
    for (index, chapter) in list.iter().enumerate() {
        let end = list.get(index + 1).map_or(end_of_all, |next| next.start).max(chapter.start + SHORTEST);
        // Writing to a String cannot fail.
        let _ = write!(
            out,
            "\n{}\n{} --> {}\n{}\n",
            index + 1,
            timestamp(chapter.start),
            timestamp(end),
            cue(&chapter.title)
        );
    }
    out
}

/// Cue text: the characters that WebVTT gives a meaning are written as references, so `-->` cannot appear.
fn cue(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

pub(super) fn timestamp(at: f64) -> String {
    let (h, m, s, ms) = split(at);
    format!("{h:02}:{m:02}:{s:02}.{ms:03}")
}

/// The chapters as a plain list: `0:00 Start`.
pub(super) fn list(list: &[Chapter]) -> String {
    list.iter().map(|chapter| format!("{} {}\n", short_time(chapter.start), chapter.title)).collect()
}

fn short_time(at: f64) -> String {
    match split(at) {
        (0, m, s, _) => format!("{m}:{s:02}"),
        (h, m, s, _) => format!("{h}:{m:02}:{s:02}"),
    }
}

/// Hours, minutes, seconds, milliseconds.
fn split(at: f64) -> (u64, u64, u64, u64) {
    // Times are between zero and LONGEST.
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded by LONGEST")]
    let ms = (at.clamp(0.0, LONGEST) * 1000.0).round() as u64;
    (ms / 3_600_000, ms / 60_000 % 60, ms / 1000 % 60, ms % 1000)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times() {
        for (text, expected) in [
            ("0:00", Ok(0.0)),
            ("14:05", Ok(845.0)),
            ("75:30", Ok(4530.0)),
            ("1:02:30", Ok(3750.0)),
            (" 1:02:30.25 ", Ok(3750.25)),
            ("99:59:59", Ok(359_999.0)),
        ] {
            assert_eq!(seconds(text), expected, "{text}");
        }
        for text in [
            "",
            "soon",
            "12",
            "1:2",
            "1:60",
            "1:60:00",
            "-1:00",
            "1:-2",
            "1:02:3",
            "100:00:00",
            "9999999:00",
            "1:00:00:00",
            "1:0١",
            "1:00.",
            "1:00.x",
            "+1:00",
            "1e3:00",
        ] {
            assert!(seconds(text).is_err(), "{text}");
        }
    }

    #[test]
    fn sorted_merged_and_begun_at_zero() {
        let chapter = |start: f64, title: &str| Chapter { start, title: title.to_owned() };
        let list =
            in_order(vec![chapter(20.0, "b"), chapter(10.0, "a"), chapter(20.0, "c"), chapter(20.0, "c")]);
        assert_eq!(list, [chapter(0.0, "Start"), chapter(10.0, "a"), chapter(20.0, "b; c")]);
        assert_eq!(super::list(&list), "0:00 Start\n0:10 a\n0:20 b; c\n");
        assert!(vtt(&list, Some(30.0)).ends_with("00:00:20.000 --> 00:00:30.000\nb; c\n"));
        assert_eq!(in_order(vec![chapter(0.0, "x")]), [chapter(0.0, "x")]);
        assert!(in_order(Vec::new()).is_empty());
    }

    #[test]
    fn cue_texts_cannot_pretend_to_be_timings() {
        let list = [Chapter { start: 0.0, title: "a --> b <v x> &".to_owned() }];
        assert!(vtt(&list, None).contains("a --&gt; b &lt;v x&gt; &amp;\n"));
    }
}
