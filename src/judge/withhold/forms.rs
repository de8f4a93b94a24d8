//! Other ways to write the same thing: a date in numbers or in words, a name with the family name first.

use jiff::civil::Date;

/// How dates are written, after `strftime`; what stands between the parts is not compared. Day and month change places
/// between countries, so both readings of a withheld date are looked for.
const DATES: [&str; 10] = [
    "%Y %m %d", "%d %m %Y", "%m %d %Y", "%d %m %y", "%m %d %y", "%y %m %d", "%d %B %Y", "%B %d %Y",
    "%d %b %Y", "%b %d %Y",
];

/// Other forms of a date; none when the text is not a date.
pub(super) fn dates(text: &str) -> Vec<String> {
    let mut words: Vec<String> = text
        .split(|c: char| !c.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(|word| match word.trim_end_matches(|c: char| c.is_ascii_alphabetic()) {
            // 19th, 1st
            day if !day.is_empty() && day.len() + 2 == word.len() => day.to_owned(),
            _ => word.to_owned(),
        })
        .collect();
    if let [digits] = words.as_slice()
        && digits.len() == 8
        && digits.bytes().all(|b| b.is_ascii_digit())
    {
        words =
            [0..4, 4..6, 6..8].into_iter().filter_map(|part| digits.get(part).map(str::to_owned)).collect();
    }
    if words.len() != 3 {
        return Vec::new();
    }
    let read: Vec<Date> =
        DATES.iter().filter_map(|format| Date::strptime(format, words.join(" ")).ok()).collect();
    let mut forms: Vec<String> = Vec::new();
    for date in read {
        for format in DATES {
            // With zeros in front and without, and as `19th`.
            let short = format.replace("%d", "%-d").replace("%m", "%-m");
            let ordinal = format.replace("%d", &format!("%-d{}", ordinal(date.day())));
            let spelled =
                [format, &short].into_iter().chain(format.contains(['B', 'b']).then_some(&*ordinal));
            forms.extend(spelled.map(|format| date.strftime(format).to_string()));
        }
    }
    forms.sort();
    forms.dedup();
    forms
}

const fn ordinal(day: i8) -> &'static str {
    match day {
        1 | 21 | 31 => "st",
        2 | 22 => "nd",
        3 | 23 => "rd",
        _ => "th",
    }
}

/// A name of two to four words with its last word first, and its first word last; none when it is no name.
pub(super) fn names(text: &str) -> Vec<String> {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c == ',').filter(|word| !word.is_empty()).collect();
    let letters = |word: &&str| word.chars().all(|c| c.is_alphabetic() || "-'’.".contains(c));
    if !(2..=4).contains(&words.len()) || !words.iter().all(letters) {
        return Vec::new();
    }
    let mut turned = [words.clone(), words];
    turned[0].rotate_right(1);
    turned[1].rotate_left(1);
    turned.map(|words| words.join(" ")).to_vec()
}
