//! Which pictures of a card are meant: numbers, times, and how wrong the camera's clock was. Typed by a person, so every
//! refusal shows a right form.

use jiff::SignedDuration;
use jiff::civil::{Date, DateTime, Time};

/// A moment as a person types it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// A date and a time.
    At(DateTime),
    /// A time of any day.
    Of(Time),
    /// A whole day.
    Day(Date),
}

impl std::str::FromStr for Moment {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        // A clock is written 10:40 or 10:40:05; the library wants two digits for the hour.
        let clock = |text: &str| {
            let padded = if text.find(':') == Some(1) { format!("0{text}") } else { text.to_owned() };
            padded.parse::<Time>().ok().filter(|_| text.contains(':'))
        };
        let day = |text: &str| text.parse::<Date>().ok().filter(|_| text.len() == 10);
        let both = text.split_once([' ', 'T']);
        let moment = match both {
            Some((date, time)) => day(date).zip(clock(time.trim())).map(|(d, t)| Self::At(d.to_datetime(t))),
            None => day(text).map(Self::Day).or_else(|| clock(text).map(Self::Of)),
        };
        moment.ok_or_else(|| {
            format!("`{text}` is no time; for example: 10:40, 2026-03-14, or \"2026-03-14 10:40:05\"")
        })
    }
}

impl Moment {
    /// True when something taken then is not before this moment.
    #[must_use]
    pub fn is_from(self, taken: DateTime) -> bool {
        match self {
            Self::At(at) => taken >= at,
            Self::Of(time) => taken.time() >= time,
            Self::Day(day) => taken.date() >= day,
        }
    }

    /// True when something taken then is not behind this moment; a time without seconds means its whole minute.
    #[must_use]
    pub fn is_until(self, taken: DateTime) -> bool {
        let whole = |time: Time| {
            let seconds = if time.second() == 0 { 59 } else { time.second() };
            Time::new(time.hour(), time.minute(), seconds, 999_999_999).unwrap_or(time)
        };
        match self {
            Self::At(at) => taken <= at.date().to_datetime(whole(at.time())),
            Self::Of(time) => taken.time() <= whole(time),
            Self::Day(day) => taken.date() <= day,
        }
    }
}

/// How far a camera's clock was off, added to its times: `+00:03:20` for one that was slow.
///
/// # Errors
/// With a right form.
pub fn clock_offset(text: &str) -> Result<SignedDuration, String> {
    let wrong = || format!("`{text}` is no clock offset; for example: +00:03:20 for a camera that was slow");
    let trimmed = text.trim();
    let (sign, digits) = match trimmed.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (-1, rest),
        None => (1, trimmed.strip_prefix('+').unwrap_or(trimmed)),
    };
    let parts: Option<Vec<i64>> = digits
        .split(':')
        .map(|part| {
            let plain = matches!(part.len(), 1..=5) && part.bytes().all(|b| b.is_ascii_digit());
            part.parse().ok().filter(|_| plain)
        })
        .collect();
    let seconds = match parts.as_deref() {
        Some([hours, minutes]) if *minutes < 60 => hours * 3600 + minutes * 60,
        Some([hours, minutes, seconds]) if *minutes < 60 && *seconds < 60 => {
            hours * 3600 + minutes * 60 + seconds
        }
        _ => return Err(wrong()),
    };
    Ok(SignedDuration::from_secs(sign * seconds))
}

/// Numbers as `3-7,9` or `3-7 9`, each once and in order; `count` is the highest there is.
///
/// # Errors
/// With a right form, or with the range there is.
pub fn numbers(text: &str, count: usize) -> Result<Vec<usize>, String> {
    let mut all = std::collections::BTreeSet::new();
    for part in text.split([',', ' ']).map(str::trim).filter(|part| !part.is_empty()) {
        let (first, last) = part.split_once('-').unwrap_or((part, part));
        let (Ok(first), Ok(last)) = (first.trim().parse::<usize>(), last.trim().parse::<usize>()) else {
            return Err(format!("`{part}` is no number of a picture; for example: 3-7,9"));
        };
        if first == 0 || last > count || first > last {
            return Err(format!("`{part}`: the pictures have the numbers 1 to {count}"));
        }
        all.extend(first..=last);
    }
    if all.is_empty() {
        return Err("no numbers are given; for example: 3-7,9".to_owned());
    }
    Ok(all.into_iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_people_type() {
        for (text, seconds) in [
            ("+00:03:20", 200),
            ("-1:00", -3600),
            ("00:00:05", 5),
            ("\u{2212}0:01", -60),
            ("26:00:00", 93_600),
        ] {
            assert_eq!(clock_offset(text), Ok(SignedDuration::from_secs(seconds)), "{text}");
        }
        for text in ["", "3 min", "+3", "1:60", "1:00:61", "--1:00", "999999999:00", "1:2:3:4"] {
            assert!(clock_offset(text).unwrap_err().contains("+00:03:20"), "{text}");
        }
        assert_eq!(numbers("3-5, 9 4", 9), Ok(vec![3, 4, 5, 9]));
        for (text, says) in
            [("0", "1 to 9"), ("5-12", "1 to 9"), ("5-3", "1 to 9"), ("a", "no number"), (" ", "no numbers")]
        {
            assert!(numbers(text, 9).unwrap_err().contains(says), "{text}");
        }
        let taken: DateTime = "2026-03-14T10:40:30".parse().unwrap();
        for (text, from, until) in [
            ("10:40", true, true),
            ("9:59", true, false),
            ("10:40:31", false, true),
            ("2026-03-14", true, true),
            ("2026-03-15", false, true),
            ("2026-03-14 10:40", true, true),
            ("2026-03-14T10:41", false, true),
        ] {
            let moment: Moment = text.parse().unwrap();
            assert_eq!((moment.is_from(taken), moment.is_until(taken)), (from, until), "{text}");
        }
        for text in ["", "1040", "14.3.2026", "25:00", "2026-13-01", "noon"] {
            assert!(text.parse::<Moment>().unwrap_err().contains("for example"), "{text}");
        }
    }
}
