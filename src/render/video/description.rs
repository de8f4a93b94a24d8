//! The text that goes under a video: findings first, and where the whole write-up and its hash are.
//!
//! With a limit, whole lines are left out, the least important first; what is left out of the findings is counted.
//! The title, the verdict, critical findings, chapters, a caution, and the place and hash of the write-up always stay:
//! where they do not fit, the text is refused, not cut.
//!
//! Lengths are counted in the strictest way that is in use: bytes of UTF-8, with each line end as the two bytes that
//! web forms send (HTML, multipart/form-data encoding: CRLF). A text that is short enough this way is short enough in
//! characters and in UTF-16 units as well.

use super::outlet::line;
use crate::judge::bench_test::TestResult;
use crate::judge::rules::Grade;
use crate::render::write_up::{CauseView, PhotoView, View, test_answers};
use crate::units::words::CAUTION;
use crate::units::words::count;

/// The caution where there is no room for the whole of it.
pub(super) const SHORT_CAUTION: &str = "Caution: an opened pack can hurt you. Local codes and licensed practice come first. Nothing here says that a pack is safe.";

/// Figures of a bench test in its line; the write-up has them all.
const MOST_FIGURES: usize = 3;

/// Where the write-up is and what it can be checked by.
#[derive(Debug, Clone, Default)]
pub(super) struct Whereabouts {
    /// Where the write-up is: an address that the user gave, else its file name.
    pub(super) link: String,
    /// SHA-256 of the page, where it was made.
    pub(super) page: Option<String>,
    /// SHA-256 of the manifest, where the evidence is sealed.
    pub(super) manifest: Option<String>,
    /// What is to be said of the seal, where it does not match.
    pub(super) seal: Option<String>,
}

/// What a line is worth when room is short: the greater, the longer it stays.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Worth {
    Photo,
    Headline,
    Minor,
    Test,
    Count,
    Major,
    /// The hash of the sealed list: the write-up, whose hash stays, holds it too.
    Seal,
    Kept,
}

#[derive(Debug, Clone)]
struct Line {
    text: String,
    worth: Worth,
    /// Lines under one heading; the heading stays while one of them does.
    section: usize,
    heading: bool,
    finding: bool,
}

/// The lines of a description.
#[derive(Debug, Default)]
pub(super) struct Description {
    lines: Vec<Line>,
    section: usize,
}

impl Description {
    /// Collects the lines; `chapters` is the plain list of chapters.
    pub(super) fn of(
        view: &View,
        bench_tests: &[TestResult],
        photos: &[PhotoView],
        chapters: &str,
        place: &Whereabouts,
    ) -> Self {
        let mut all = Self::default();
        all.push(&view.title, Worth::Kept);
        if view.invented {
            all.push(
                "INVENTED EXAMPLE: this maker and this pack do not exist; every number is made up.",
                Worth::Kept,
            );
        }
        view.rule_files.iter().for_each(|file| all.push(&file.told, Worth::Kept));
        all.push(&view.verdict(), Worth::Kept);
        for grade in [Grade::Critical, Grade::Major, Grade::Minor] {
            let causes = view.causes.iter().filter(|cause| cause.grade == grade);
            all.head(&format!("Falls short, {}", grade.word()));
            causes.for_each(|cause| all.cause(cause, view));
        }
        all.head("In numbers");
        all.counts(view);
        all.head("Claimed");
        for (what, value) in &view.claimed {
            all.push(&format!("{what}: {value}"), Worth::Headline);
        }
        all.head("Tested");
        for (index, result) in bench_tests.iter().enumerate() {
            all.push(&tested(view, index, result), Worth::Test);
        }
        all.head("Caution");
        all.push(CAUTION, Worth::Kept);
        all.head("Full write-up");
        all.push(&place.link, Worth::Kept);
        for (what, hash, worth) in [
            ("the write-up", &place.page, Worth::Kept),
            ("photos.sha256, the sealed list of the evidence", &place.manifest, Worth::Seal),
        ] {
            if let Some(hash) = hash {
                all.push(&format!("SHA-256 of {what}: {hash}"), worth);
            }
        }
        if let Some(seal) = &place.seal {
            all.push(seal, Worth::Kept);
        }
        all.head("Chapters");
        chapters.lines().for_each(|chapter| all.push(chapter, Worth::Kept));
        all.head("Photos");
        photos.iter().for_each(|photo| all.push(&caption(photo), Worth::Photo));
        all
    }

    fn head(&mut self, text: &str) {
        self.section += 1;
        self.lines.push(Line {
            text: text.to_uppercase(),
            worth: Worth::Photo,
            section: self.section,
            heading: true,
            finding: false,
        });
    }

    fn push(&mut self, text: &str, worth: Worth) {
        let text = line(text);
        if !text.is_empty() {
            self.lines.push(Line { text, worth, section: self.section, heading: false, finding: false });
        }
    }

    fn cause(&mut self, cause: &CauseView, view: &View) {
        let worth = match cause.grade {
            Grade::Critical => Worth::Kept,
            Grade::Major => Worth::Major,
            Grade::Minor | Grade::Custom => Worth::Minor,
        };
        let found = view.found(cause);
        let between = if found.is_empty() { "" } else { ": " };
        self.push(&format!("▼ {}{between}{found}", cause.statement), worth);
        if let Some(last) = self.lines.last_mut() {
            last.finding = true;
        }
    }

    fn counts(&mut self, view: &View) {
        let c = view.counts;
        let short = format!("falls short: {} critical, {} major, {} minor", c.critical, c.major, c.minor);
        self.push(&short, Worth::Count);
        let open = count(c.not_decided, "rule", "rules");
        self.push(
            &format!("not decided: {open}, {} of them critical or major", c.grave_not_decided),
            Worth::Kept,
        );
        self.push(
            &format!(
                "met: {}; that a value meets a rule does not mean that the pack is safe",
                count(c.meets, "rule", "rules")
            ),
            Worth::Count,
        );
    }

    /// The whole text.
    pub(super) fn whole(&self) -> String {
        render(&self.lines, 0)
    }

    /// The text with at most `limit` bytes, counted as the module says.
    ///
    /// # Errors
    /// In words, when what always stays does not fit.
    pub(super) fn within(&self, limit: usize) -> Result<String, String> {
        let mut lines = self.lines.clone();
        let mut left_out = 0;
        loop {
            let text = render(&lines, left_out);
            if strict_length(&text) <= limit {
                return Ok(text);
            }
            let caution = lines.iter().position(|l| l.text == CAUTION);
            let weakest = lines.iter().filter(|l| !l.heading).map(|l| l.worth).min();
            let weakest = weakest.filter(|worth| *worth < Worth::Kept);
            // Of lines of the same worth the last goes first: they stand gravest first.
            let going = weakest.and_then(|worth| lines.iter().rposition(|l| !l.heading && l.worth == worth));
            if let Some(going) = going {
                let gone = lines.remove(going);
                left_out += usize::from(gone.finding);
            } else if let Some(caution) = caution.and_then(|at| lines.get_mut(at)) {
                caution.text = SHORT_CAUTION.to_owned();
            } else {
                let least = strict_length(&text);
                return Err(format!(
                    "a description of {limit} characters has no room for title, verdict, critical findings, chapters, caution, and place and hash of the write-up; they take {least}"
                ));
            }
        }
    }
}

fn render(lines: &[Line], left_out: usize) -> String {
    let mut out = String::new();
    let more = (left_out > 0)
        .then(|| format!("{} in the write-up", count(left_out, "more finding", "more findings")));
    let last_finding =
        lines.iter().rposition(|line| line.finding).or_else(|| lines.iter().rposition(|l| l.section == 0));
    for (index, line) in lines.iter().enumerate() {
        if line.heading {
            if !lines.iter().any(|other| other.section == line.section && !other.heading) {
                continue;
            }
            out.push('\n');
        }
        out.push_str(&line.text);
        out.push('\n');
        if let Some(more) = more.as_ref().filter(|_| Some(index) == last_finding) {
            out.push_str(more);
            out.push('\n');
        }
    }
    out
}

/// Length in UTF-8 with line ends of two bytes.
fn strict_length(text: &str) -> usize {
    text.len() + text.matches('\n').count()
}

/// What the gravest rule says of a test; its first figures where no rule speaks of it.
fn tested(view: &View, index: usize, result: &TestResult) -> String {
    let what = if result.kind.is_empty() { &result.id } else { &result.kind };
    match &result.problem {
        Some(problem) => format!("{what}: the log could not be used: {problem}"),
        None => {
            if let Some(answer) = test_answers(view, index).first() {
                return format!("{what}: {}", answer.told());
            }
            let figures: Vec<String> =
                result.in_brief(MOST_FIGURES).map(|f| format!("{}: {}", f.name, f.text())).collect();
            if figures.is_empty() {
                format!("{what}: no figures")
            } else {
                format!("{what}. {}", figures.join("; "))
            }
        }
    }
}

fn caption(photo: &PhotoView) -> String {
    let caption = if photo.caption.is_empty() { &photo.name } else { &photo.caption };
    let proves = if photo.proves.is_empty() { String::new() } else { format!(" ({})", photo.proves) };
    format!("{caption}{proves}")
}

/// The captions of all photos, each with its derived file, the original's name and hash.
pub(super) fn captions(photos: &[PhotoView], derived: &[Option<String>]) -> String {
    let mut out = String::new();
    for (photo, file) in photos.iter().zip(derived) {
        let file = file.as_deref().unwrap_or("no picture");
        let hash = photo.sha256.as_deref().unwrap_or("none");
        let shows = photo.shows.join(", ");
        for (what, text) in [
            ("picture", file),
            ("caption", &photo.caption),
            ("shows", &shows),
            ("proves", &photo.proves),
            ("original", &photo.file),
            ("SHA-256 of the original", hash),
            ("problem", photo.problem.as_deref().unwrap_or_default()),
        ] {
            let text = line(text);
            if !text.is_empty() {
                out.push_str(&format!("{what}: {text}\n"));
            }
        }
        out.push('\n');
    }
    if out.is_empty() { "No photo is recorded.\n".to_owned() } else { out.trim_end().to_owned() + "\n" }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sample() -> Description {
        let mut all = Description::default();
        all.push("Pack <A> & B", Worth::Kept);
        all.push("Rated 200 A; carries 54 A.", Worth::Kept);
        all.head("Falls short, critical");
        for (text, worth) in [
            ("▼ critical one", Worth::Kept),
            ("▼ critical two", Worth::Kept),
            ("▼ major one", Worth::Major),
            ("▼ major two", Worth::Major),
            ("▼ minor", Worth::Minor),
        ] {
            all.push(text, worth);
            all.lines.last_mut().unwrap().finding = true;
        }
        all.head("Caution");
        all.push(CAUTION, Worth::Kept);
        all.head("Photos");
        all.push("a photo", Worth::Photo);
        all
    }

    #[test]
    fn shortened_by_whole_lines_least_important_first() {
        let all = sample();
        let whole = all.whole();
        assert!(whole.contains("\nPHOTOS\na photo\n") && whole.contains("<A> &"));
        let mut before: Vec<String> = whole.lines().map(str::to_owned).collect();
        let mut seen = Vec::new();
        for limit in (0..strict_length(&whole)).rev() {
            let Ok(text) = all.within(limit) else { break };
            assert!(text.len() + text.matches('\n').count() <= limit && text.encode_utf16().count() <= limit);
            for line in text.lines().filter(|l| !l.contains("in the write-up") && *l != SHORT_CAUTION) {
                assert!(before.contains(&line.to_owned()), "{line} is not a whole line");
            }
            for kept in ["Pack <A> & B", "Rated 200 A", "critical one", "critical two", "hurt you", "safe"] {
                assert!(text.contains(kept), "{limit}: {kept}");
            }
            if seen.last() != Some(&text) {
                seen.push(text.clone());
            }
            before = whole.lines().map(str::to_owned).collect();
        }
        // A line that goes may make room for less than the line that counts it: two may go at once, never out of order.
        let gone: Vec<usize> = ["a photo", "▼ minor", "major two", "major one"]
            .iter()
            .map(|text| seen.iter().position(|t| !t.contains(text)).expect("it goes"))
            .collect();
        assert!(gone.is_sorted(), "{gone:?}");
        assert!(seen.iter().any(|t| t.contains(" more finding")));
        assert!(seen.iter().any(|t| t.contains("3 more findings in the write-up\n")));
        assert!(seen.last().unwrap().contains("3 more findings in the write-up"));
        assert!(!seen.last().unwrap().contains("PHOTOS"));
        assert!(all.within(100).unwrap_err().contains("no room"));
    }
}
