//! The facts to be spoken, as a short script and as subtitles (SRT), and the marks of the video as CSV.

use super::chapters::{Chapter, timestamp};
use super::outlet::line;
use crate::render::write_up::View;

/// Words that a narrator speaks in a second (150 in a minute; common practice, no source), and the least that a line
/// stands, s.
const WORDS_A_SECOND: f64 = 2.5;
const LEAST: f64 = 2.0;
/// Causes that are spoken.
const MOST: usize = 5;

/// The facts, a sentence a line.
pub(super) fn sentences(view: &View) -> Vec<String> {
    let invented = view.invented.then(|| "This pack is invented.".to_owned());
    let answers = view.answers.iter().take(4).flat_map(|answer| answer.said.iter().cloned());
    let grave = view.causes.iter().filter(|cause| cause.grade.is_grave()).take(MOST);
    let causes = grave.map(|cause| {
        let found = view.found(cause);
        if found.is_empty() {
            format!("{}.", cause.statement)
        } else {
            format!("{}: {found}.", cause.statement)
        }
    });
    let end = "Nothing here says that a pack is safe.".to_owned();
    let mut all: Vec<String> = Vec::new();
    for sentence in invented.into_iter().chain(answers).chain(causes).chain([end]).map(|text| line(&text)) {
        if !sentence.is_empty() && !all.contains(&sentence) {
            all.push(sentence);
        }
    }
    all
}

/// The sentences as SubRip subtitles, one after the other.
pub(super) fn srt(sentences: &[String]) -> String {
    let mut out = String::new();
    let mut at = 0.0;
    for (number, sentence) in (1..).zip(sentences) {
        #[expect(clippy::cast_precision_loss, reason = "a count of words")]
        let end = at + (sentence.split(' ').count() as f64 / WORDS_A_SECOND).max(LEAST);
        let [from, to] = [at, end].map(|time| timestamp(time).replace('.', ","));
        // An arrow would begin a new cue.
        let text = sentence.replace("-->", "→");
        out.push_str(&format!("{number}\n{from} --> {to}\n{text}\n\n"));
        at = end;
    }
    out
}

/// The chapters as CSV (RFC 4180), for a program that cuts films.
pub(super) fn markers(chapters: &[Chapter]) -> String {
    let row = |chapter: &Chapter| {
        // A cell that begins with a sign is a formula to a spreadsheet.
        let name = chapter.title.trim_start_matches(['=', '+', '-', '@']).replace('"', "\"\"");
        format!("{},\"{name}\"\r\n", timestamp(chapter.start))
    };
    format!("timecode,name\r\n{}", chapters.iter().map(row).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subtitles_follow_one_another() {
        let sentences = ["One two three four five six seven eight nine ten.", "A --> b."].map(str::to_owned);
        assert_eq!(
            srt(&sentences),
            "1\n00:00:00,000 --> 00:00:04,000\nOne two three four five six seven eight nine ten.\n\n2\n00:00:04,000 --> 00:00:06,000\nA → b.\n\n"
        );
    }

    #[test]
    fn markers_are_cells_and_never_formulas() {
        let chapters = [Chapter { start: 61.5, title: "=1+1 \"x\", y".to_owned() }];
        assert_eq!(markers(&chapters), "timecode,name\r\n00:01:01.500,\"1+1 \"\"x\"\", y\"\r\n");
    }
}
