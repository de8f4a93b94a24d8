//! Finding a text again however it is written: another case, another Unicode form, other separators.
//!
//! Both sides are folded: compatibility decomposition (UAX #15, NFKD) without combining marks, lower case, without
//! invisible characters and Markdown's emphasis marks. Letters and digits must then agree; whatever else stands between
//! the words of the text (spaces, line breaks, hyphens, underscores, backslashes) may differ or be gone, so that
//! `MB-2026-0417` is found in `mb_2026_0417.jpg`, `MB20260417` in `MB-2026-0417` and `Jane Doe` in `jane\ndoe`. A text
//! of few letters is found only as whole words: blacking out `Ann` in *planned* would hide nothing and damage much. Dates
//! are found in other orders and in words, names with the family name first.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

use super::forms;

/// A text with fewer letters and digits than this is found as whole words only.
const INSIDE_WORDS_FROM: usize = 5;
/// This many other characters more than in the text itself may stand between two of its words.
const BETWEEN_WORDS: usize = 8;
/// A text with at least this many letters and digits is found with separators within its words too, as words of its own.
const SPLIT_FROM: usize = 4;
/// At most this many other characters may stand within a word.
const WITHIN_WORD: usize = 2;

/// A text made comparable, with the way back.
#[derive(Debug, Default)]
pub(super) struct Folded {
    chars: Vec<char>,
    /// For each character the bytes of the source it came from.
    from: Vec<Range<usize>>,
}

impl Folded {
    pub(super) fn of(text: &str) -> Self {
        let mut folded = Self::default();
        for (at, c) in text.char_indices() {
            if dropped(c) {
                continue;
            }
            let from = at..at + c.len_utf8();
            // Most of any output is ASCII, for which nothing has to be looked up.
            if c.is_ascii() {
                folded.push(c.to_ascii_lowercase(), from);
                continue;
            }
            for c in std::iter::once(c).nfkd().filter(|c| !is_combining_mark(*c)) {
                for c in c.to_lowercase().filter(|c| !is_combining_mark(*c)) {
                    match c {
                        'ς' => folded.push('σ', from.clone()),
                        'ß' => {
                            folded.push('s', from.clone());
                            folded.push('s', from.clone());
                        }
                        c => folded.push(c, from.clone()),
                    }
                }
            }
        }
        folded
    }

    /// Runs of letters and digits, each with the bytes of the source it came from.
    pub(super) fn words(&self) -> Vec<(Vec<char>, Range<usize>)> {
        let mut words: Vec<(Vec<char>, Range<usize>)> = Vec::new();
        let mut within = false;
        for (c, from) in self.chars.iter().zip(&self.from) {
            match words.last_mut().filter(|_| within && c.is_alphanumeric()) {
                Some((word, bytes)) => {
                    word.push(*c);
                    bytes.end = from.end;
                }
                None if c.is_alphanumeric() => words.push((vec![*c], from.clone())),
                None => {}
            }
            within = c.is_alphanumeric();
        }
        words
    }

    fn push(&mut self, c: char, from: Range<usize>) {
        self.chars.push(c);
        self.from.push(from);
    }

    fn is_letter(&self, at: usize) -> bool {
        self.chars.get(at).is_some_and(|c| c.is_alphanumeric())
    }

    /// The bytes of the source that some characters came from.
    fn bytes(&self, chars: &Range<usize>) -> Option<Range<usize>> {
        let from = self.from.get(chars.start)?.start;
        Some(from..self.from.get(chars.end.checked_sub(1)?)?.end)
    }

    fn stands_at(&self, wanted: &Wanted, start: usize) -> Option<usize> {
        let before = start.checked_sub(1);
        let (mut at, mut split) = (start, false);
        for (number, word) in wanted.words.iter().enumerate() {
            if number > 0 {
                at += self.others_from(at, wanted.between);
            }
            for (place, letter) in word.iter().enumerate() {
                if place > 0 && wanted.may_be_split && !self.is_letter(at) {
                    let others = self.others_from(at, WITHIN_WORD);
                    split |= others > 0;
                    at += others;
                }
                if self.chars.get(at)? != letter {
                    return None;
                }
                at += 1;
            }
        }
        let joins = |at: usize| match wanted.edges {
            Edges::Words => self.is_letter(at),
            Edges::Numbers => self.chars.get(at).is_some_and(char::is_ascii_digit),
            Edges::Any => split && self.is_letter(at),
        };
        (!before.is_some_and(joins) && !joins(at)).then_some(at)
    }

    /// How many characters that are neither letter nor digit follow, up to a number of them.
    fn others_from(&self, at: usize, most: usize) -> usize {
        (0..most).take_while(|more| at + more < self.chars.len() && !self.is_letter(at + more)).count()
    }
}

/// Characters that can be put into a text without changing how it reads.
fn dropped(c: char) -> bool {
    matches!(
        c,
        '*' | '`' | '~' | '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}'
    )
}

/// What may not stand right before and after a text.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Edges {
    Any,
    /// No letter or digit.
    Words,
    Numbers,
}

/// A text to be found.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Wanted {
    words: Vec<Vec<char>>,
    edges: Edges,
    may_be_split: bool,
    /// At most this many other characters may stand between two words.
    between: usize,
}

impl Wanted {
    pub(super) fn of(text: &str) -> Self {
        let folded = Folded::of(text);
        let words: Vec<Vec<char>> = folded
            .chars
            .split(|c| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(<[char]>::to_vec)
            .collect();
        let letters: usize = words.iter().map(Vec::len).sum();
        let between = folded.chars.len() + BETWEEN_WORDS - letters;
        let edges = if letters < INSIDE_WORDS_FROM { Edges::Words } else { Edges::Any };
        Self { words, edges, may_be_split: letters >= SPLIT_FROM, between }
    }

    /// A text, and the other ways to write it when it is a date or a name.
    pub(super) fn forms(text: &str) -> impl Iterator<Item = Self> {
        let date = |form: String| Self { edges: Edges::Numbers, may_be_split: false, ..Self::of(&form) };
        let turned = forms::names(text).into_iter().map(|form| Self::of(&form));
        std::iter::once(Self::of(text)).chain(forms::dates(text).into_iter().map(date)).chain(turned)
    }

    /// How many letters and digits it has: a text with more of them must be replaced before one that it contains.
    pub(super) fn letters(&self) -> usize {
        self.words.iter().map(Vec::len).sum()
    }

    fn start(&self) -> Option<(char, Option<char>)> {
        let word = self.words.first()?;
        Some((*word.first()?, word.get(1).copied()))
    }
}

/// Where a text was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) which: usize,
    /// Characters of the folded text.
    pub(super) chars: Range<usize>,
    pub(super) bytes: Range<usize>,
}

/// Finds many texts in one pass.
#[derive(Debug, Clone, Default)]
pub(super) struct Finder {
    wanted: Vec<Wanted>,
    /// Texts by their first two letters; a first word of one letter has no second.
    starts: HashMap<(char, Option<char>), Vec<usize>>,
}

impl Finder {
    /// Adds a text; its number, or nothing when it has no letters or is there already.
    pub(super) fn add(&mut self, wanted: Wanted) -> Option<usize> {
        let start = wanted.start()?;
        let number = self.wanted.len();
        let same = self.starts.entry(start).or_default();
        if same.iter().any(|known| self.wanted.get(*known) == Some(&wanted)) {
            return None;
        }
        same.push(number);
        self.wanted.push(wanted);
        Some(number)
    }

    /// The letters and digits of each text that is no form of a date.
    pub(super) fn letters(&self) -> impl Iterator<Item = (usize, String)> + '_ {
        let texts = self.wanted.iter().enumerate().filter(|(_, wanted)| wanted.edges != Edges::Numbers);
        texts.map(|(number, wanted)| (number, wanted.words.iter().flatten().collect()))
    }

    pub(super) fn is_empty(&self) -> bool {
        self.wanted.is_empty()
    }

    /// The texts that stand at a place, each with its end.
    fn standing<'a>(&'a self, folded: &'a Folded, at: usize) -> impl Iterator<Item = (usize, usize)> + 'a {
        let first = folded.chars.get(at).copied();
        let second = folded.chars.get(at + 1 + folded.others_from(at + 1, WITHIN_WORD)).copied();
        let keys = first.into_iter().flat_map(move |first| [(first, second), (first, None)]);
        let mut keys: Vec<_> = keys.collect();
        keys.dedup();
        keys.into_iter()
            .filter_map(|key| self.starts.get(&key))
            .flatten()
            .filter_map(move |which| Some((folded.stands_at(self.wanted.get(*which)?, at)?, *which)))
    }

    /// The first place at or after `start` where one of the texts stands; of several at one place the longest.
    pub(super) fn find(&self, folded: &Folded, start: usize) -> Option<Place> {
        (start..folded.chars.len()).find_map(|at| {
            let (end, which) = self.standing(folded, at).max_by_key(|(end, _)| *end)?;
            let chars = at..end;
            Some(Place { which, bytes: folded.bytes(&chars)?, chars })
        })
    }

    /// The texts that stand anywhere, in one pass.
    pub(super) fn standing_in(&self, folded: &Folded) -> BTreeSet<usize> {
        (0..folded.chars.len()).flat_map(|at| self.standing(folded, at)).map(|(_, which)| which).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(wanted: &str, text: &str) -> Option<String> {
        let mut finder = Finder::default();
        for form in Wanted::forms(wanted) {
            finder.add(form);
        }
        let place = finder.find(&Folded::of(text), 0)?;
        text.get(place.bytes).map(str::to_owned)
    }

    #[test]
    fn a_text_is_found_however_it_is_written() {
        for (wanted, text, expected) in [
            ("MB-2026-0417", "no. MB-2026-0417.", Some("MB-2026-0417")),
            ("MB-2026-0417", "photos/mb_2026_0417.jpg", Some("mb_2026_0417")),
            ("MB-2026-0417", "MB20260417x", Some("MB20260417")),
            ("MB-2026-0417", "MB\\-2026\u{2011}0417", Some("MB\\-2026\u{2011}0417")),
            ("MB-2026-0417", "MB-2026-0418", None),
            ("Jane Doe", "by JANE\u{a0}  \n doe!", Some("JANE\u{a0}  \n doe")),
            ("Jane Doe", "Ja**ne** Doe", Some("Ja**ne** Doe")),
            ("Jane Doe", "jane.doe@example.org", Some("jane.doe")),
            ("Schütz", "SCHU\u{308}TZ", Some("SCHU\u{308}TZ")),
            ("Schütz", "Schutz", Some("Schutz")),
            ("Straße", "STRASSE", Some("STRASSE")),
            ("ﬁne works", "fine works", Some("fine works")),
            ("工房 母線", "工房母線", Some("工房母線")),
            ("workshop", "in the work\u{ad}shop", Some("work\u{ad}shop")),
            // Separators that the withheld text does not have.
            ("MB20260417", "no. MB-2026-0417.", Some("MB-2026-0417")),
            ("JaneDoe", "by Jane Doe", Some("Jane Doe")),
            ("J. Doe", "by J.Doe", Some("J.Doe")),
            ("C118", "C-118", Some("C-118")),
            ("notable", "in no tables", None),
            // Another order, and dates in words.
            ("Jane Doe", "Doe, Jane", Some("Doe, Jane")),
            ("Jane Mary Doe", "Doe, Jane Mary", Some("Doe, Jane Mary")),
            ("2026-09-19", "on 19.9.2026", Some("19.9.2026")),
            ("2026-09-19", "on September 19th, 2026", Some("September 19th, 2026")),
            ("2026-09-19", "IMG_20260919_1200.jpg", Some("20260919")),
            ("2026-09-19", "9/19/26", Some("9/19/26")),
            ("19 Sep 2026", "2026-09-19", Some("2026-09-19")),
            ("19 Sep 2026", "a3f9202609191b", None),
            // Short texts are words of their own.
            ("Ann", "Ann's bench", Some("Ann")),
            ("Ann", "it was planned", None),
            ("Ann", "IMG_ann_2.jpg", Some("ann")),
            ("", "anything", None),
            ("--", "a -- b", None),
        ] {
            assert_eq!(found(wanted, text).as_deref(), expected, "{wanted} in {text}");
        }
    }

    #[test]
    fn of_several_texts_the_first_and_longest_is_found() {
        let mut finder = Finder::default();
        for (text, number) in [
            ("Jane", Some(0)),
            ("Jane Doe", Some(1)),
            ("jane\u{a0}doe", None),
            ("--", None),
            ("B 2 x", Some(2)),
        ] {
            assert_eq!(finder.add(Wanted::of(text)), number, "{text}");
        }
        let found = |text: &str| finder.find(&Folded::of(text), 0).map(|place| (place.which, place.bytes));
        assert_eq!(found("by Jane Doe"), Some((1, 3..11)));
        assert_eq!(found("by Jane or Jane Doe"), Some((0, 3..7)));
        assert_eq!(found("in B-2/x"), Some((2, 3..8)));
        assert_eq!(found("nobody"), None);
    }

    proptest::proptest! {
        #[test]
        fn whatever_is_wanted_is_found_in_itself(text in "\\PC{1,30}", before in "[ .]{0,3}") {
            let wanted = Wanted::of(&text);
            let all = format!("{before}{text}");
            let letters = wanted.letters();
            let mut finder = Finder::default();
            finder.add(wanted);
            let found = finder.find(&Folded::of(&all), 0);
            proptest::prop_assert_eq!(found.is_some(), letters > 0);
        }
    }
}
