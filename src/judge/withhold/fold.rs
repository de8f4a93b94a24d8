//! Finding a text again however it is written: another case, another Unicode form, other separators.
//!
//! Both sides are folded: compatibility decomposition (UAX #15, NFKD) without combining marks, lower case, without
//! invisible characters and Markdown's emphasis marks. Letters and digits must then agree; whatever else stands between
//! the words of the text (spaces, line breaks, hyphens, underscores, backslashes) may differ or be gone, so that
//! `MB-2026-0417` is found in `mb_2026_0417.jpg` and `Jane Doe` in `jane\ndoe`. A text of few letters is found only
//! as whole words: blacking out `Ann` in *planned* would hide nothing and damage much.

use std::collections::{BTreeSet, HashMap};
use std::ops::Range;

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// A text with fewer letters and digits than this is found as whole words only.
const INSIDE_WORDS_FROM: usize = 5;
/// This many other characters more than in the text itself may stand between two of its words.
const BETWEEN_WORDS: usize = 8;

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
        let mut at = start;
        if wanted.whole_words && start > 0 && self.is_letter(start - 1) {
            return None;
        }
        for (number, word) in wanted.words.iter().enumerate() {
            if number > 0 {
                let mut between = 0;
                while at < self.chars.len() && !self.is_letter(at) && between < wanted.between {
                    at += 1;
                    between += 1;
                }
            }
            if self.chars.get(at..at + word.len())? != word.as_slice() {
                return None;
            }
            at += word.len();
        }
        (!(wanted.whole_words && self.is_letter(at))).then_some(at)
    }
}

/// Characters that can be put into a text without changing how it reads.
fn dropped(c: char) -> bool {
    matches!(
        c,
        '*' | '`' | '~' | '\u{ad}' | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}'
    )
}

/// A text to be found.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(super) struct Wanted {
    words: Vec<Vec<char>>,
    whole_words: bool,
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
        let mut wanted = Self { words, whole_words: false, between: folded.chars.len() + BETWEEN_WORDS };
        wanted.between -= wanted.letters();
        wanted.whole_words = wanted.letters() < INSIDE_WORDS_FROM;
        wanted
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
    /// Which of the texts.
    pub(super) which: usize,
    /// Characters of the folded text.
    pub(super) chars: Range<usize>,
    /// Bytes of the source.
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

    pub(super) fn is_empty(&self) -> bool {
        self.wanted.is_empty()
    }

    /// The texts that stand at a place, each with its end.
    fn standing<'a>(&'a self, folded: &'a Folded, at: usize) -> impl Iterator<Item = (usize, usize)> + 'a {
        let first = folded.chars.get(at).copied();
        let second = folded.chars.get(at + 1).copied();
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
        finder.add(Wanted::of(wanted));
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
