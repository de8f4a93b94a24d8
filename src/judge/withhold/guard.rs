//! The last look at an output before it is written.
//!
//! A text may hide behind the escapes of the output's format, so the output is read as a browser, a URL library and a
//! JSON parser would read it, one after the other and in the combinations that occur. JPEG, PNG and WebP data in `data:`
//! addresses is passed over: it is made by `evidence::picture` from pixels alone, and chance finds short texts in it.
//! Other base64 data is decoded and looked through too. Hashes are passed over for the same reason, unless what is withheld
//! is at least half of one.

use base64::Engine;
use thiserror::Error;

use super::Withheld;
use super::fold::Folded;
use crate::units::terminal::shown_text;

/// Something withheld stands in an output, which was therefore not written.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
#[error(
    "{file}: {which} still stands in it, {place}; nothing was written. Withhold the text by itself in `[withhold] texts`, or take it out of the record there"
)]
pub struct Leak {
    /// The output, by a name that gives nothing away.
    pub file: String,
    /// Which text, without saying what it is.
    pub which: String,
    pub place: String,
}

/// How much is looked through at once: bounds memory, whatever the output's size.
const WINDOW: usize = 1 << 18;
/// How much of a window is looked through again with the next: more than any text with what stands between its words.
const OVERLAP: usize = 1 << 14;
/// How deep base64 data within base64 data is followed.
const DEEPEST: usize = 3;

type Reading = fn(&str) -> String;

pub(super) fn guard(withheld: &Withheld, file: &str, text: &str) -> Result<(), Leak> {
    if withheld.texts.is_empty() {
        return Ok(());
    }
    if let Some(which) = first(withheld, file) {
        return Err(Leak {
            file: shown_text(&withheld.apply(file)),
            which,
            place: "in the name of the file".to_owned(),
        });
    }
    look(withheld, text, DEEPEST).map_err(|(which, place)| Leak { file: shown_text(file), which, place })
}

fn look(withheld: &Withheld, text: &str, deep: usize) -> Result<(), (String, String)> {
    let (text, data) = without_data(text);
    let text = without_hashes(withheld, &text);
    for (from, window) in windows(&text) {
        let line = |at: usize| {
            let before = text.get(..from + at).unwrap_or(&text);
            format!("on line {}", before.matches('\n').count() + 1)
        };
        if let Some((which, at)) = first_at(withheld, window) {
            return Err((which, line(at)));
        }
        let html: String = plain_html(window);
        let readings: [(&str, &str, Option<Reading>); 5] = [
            ("behind HTML", &html, None),
            ("behind URL escapes", window, Some(percent_decoded)),
            ("behind JSON escapes", window, Some(json_decoded)),
            ("behind URL escapes in HTML", &html, Some(percent_decoded)),
            ("behind JSON escapes in HTML", &html, Some(json_decoded)),
        ];
        for (how, source, reading) in readings {
            let found = match reading {
                Some(reading) => first(withheld, &reading(source)),
                None => first(withheld, source),
            };
            if let Some(which) = found {
                return Err((which, format!("{how} after {}", line(0).trim_start_matches("on "))));
            }
        }
    }
    for inner in data {
        if deep > 0 {
            look(withheld, &inner, deep - 1)
                .map_err(|(which, place)| (which, format!("in base64 data, {place}")))?;
        }
    }
    Ok(())
}

fn first(withheld: &Withheld, text: &str) -> Option<String> {
    first_at(withheld, text).map(|(which, _)| which)
}

fn first_at(withheld: &Withheld, text: &str) -> Option<(String, usize)> {
    let folded = Folded::of(text);
    let place = withheld.texts.find(&folded, 0)?;
    Some((withheld.which.get(place.which).cloned().unwrap_or_default(), place.bytes.start))
}

/// A text with its hashes blanked, except those of which at least half is withheld.
fn without_hashes(withheld: &Withheld, text: &str) -> String {
    const DIGITS: usize = 64;
    let mut out = String::with_capacity(text.len());
    for word in text.split_inclusive(|c: char| !c.is_ascii_alphanumeric()) {
        let hash = word.get(..DIGITS).filter(|hash| hash.bytes().all(|byte| byte.is_ascii_hexdigit()));
        let is_hash = hash.is_some_and(|hash| {
            let folded = Folded::of(hash);
            let mut places = std::iter::successors(withheld.texts.find(&folded, 0), |place| {
                withheld.texts.find(&folded, place.chars.start + 1)
            });
            word[DIGITS..].chars().all(|c| !c.is_ascii_alphanumeric())
                && places.all(|place| place.bytes.len() < DIGITS / 2)
        });
        match word.split_at_checked(DIGITS).filter(|_| is_hash) {
            Some((hash, end)) => out.extend(std::iter::repeat_n(' ', hash.len()).chain(end.chars())),
            None => out.push_str(word),
        }
    }
    out
}

/// Pieces of a text that overlap, each with its start.
fn windows(text: &str) -> Vec<(usize, &str)> {
    let boundary = |mut at: usize| {
        at = at.min(text.len());
        while !text.is_char_boundary(at) {
            at -= 1;
        }
        at
    };
    let mut pieces = Vec::new();
    let mut from = 0;
    loop {
        let to = boundary(from + WINDOW);
        pieces.push((from, text.get(from..to).unwrap_or_default()));
        if to >= text.len() {
            return pieces;
        }
        from = boundary(to - OVERLAP);
    }
}

/// A text without the data of `data:` addresses, and those of them that are text.
fn without_data(text: &str) -> (String, Vec<String>) {
    const MARK: &str = ";base64,";
    let (mut out, mut inner, mut rest) = (String::with_capacity(text.len().min(WINDOW)), Vec::new(), text);
    while let Some((before, after)) = rest.split_once(MARK) {
        out.push_str(before);
        out.push_str(MARK);
        let end =
            after.find(|c: char| !(c.is_ascii_alphanumeric() || "+/=".contains(c))).unwrap_or(after.len());
        let (data, tail) = after.split_at(end);
        let picture = ["data:image/jpeg", "data:image/png", "data:image/webp"]
            .iter()
            .any(|kind| before.ends_with(kind));
        if !picture {
            match base64::engine::general_purpose::STANDARD.decode(data) {
                Ok(bytes) => inner.push(String::from_utf8_lossy(&bytes).into_owned()),
                Err(_) => out.push_str(data),
            }
        }
        rest = tail;
    }
    out.push_str(rest);
    (out, inner)
}

/// Elements that stand within a word without parting it.
const INLINE: [&str; 17] = [
    "a", "abbr", "b", "code", "del", "em", "i", "ins", "mark", "s", "small", "span", "strong", "sub", "sup",
    "tspan", "u",
];

/// The text that a reader of a page sees, and the values of its attributes.
fn plain_html(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some(at) = rest.find(['<', '&']) {
        let (before, tail) = rest.split_at(at);
        out.push_str(before);
        if let Some((c, after)) = entity(tail) {
            out.push(c);
            rest = after;
        } else if let Some((name, attributes, after)) = tag(tail) {
            if !INLINE.contains(&name.to_ascii_lowercase().as_str()) {
                out.push(' ');
            }
            // Attribute values are looked through in the plain reading, and here with their entities decoded.
            if attributes.contains('&') {
                out.push(' ');
                out.push_str(&plain_html(&attributes.replace('<', " ")));
                out.push(' ');
            }
            rest = after;
        } else {
            let mut chars = tail.chars();
            out.extend(chars.next());
            rest = chars.as_str();
        }
    }
    out.push_str(rest);
    out
}

/// A tag at the start of a text: its name, its attributes, and what follows.
fn tag(text: &str) -> Option<(&str, &str, &str)> {
    let inner = text.strip_prefix('<')?;
    let inner = inner.strip_prefix('/').unwrap_or(inner);
    if !inner.starts_with(|c: char| c.is_ascii_alphabetic() || c == '!') {
        return None;
    }
    let (tag, after) = inner.split_once('>')?;
    let end = tag.find(|c: char| !c.is_ascii_alphanumeric()).unwrap_or(tag.len());
    let (name, attributes) = tag.split_at(end);
    Some((name, attributes, after))
}

/// A character reference at the start of a text.
fn entity(text: &str) -> Option<(char, &str)> {
    let inner = text.strip_prefix('&')?;
    let end = inner.char_indices().take(12).find(|(_, c)| *c == ';')?.0;
    let (name, after) = (inner.get(..end)?, inner.get(end + 1..)?);
    let c = match name {
        "amp" => '&',
        "lt" => '<',
        "gt" => '>',
        "quot" => '"',
        "apos" => '\'',
        "nbsp" => '\u{a0}',
        "shy" => '\u{ad}',
        _ => {
            let number = name.strip_prefix('#')?;
            let code = match number.strip_prefix(['x', 'X']) {
                Some(hex) => u32::from_str_radix(hex, 16).ok()?,
                None => number.parse().ok()?,
            };
            char::from_u32(code)?
        }
    };
    Some((c, after))
}

fn percent_decoded(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((&first, tail)) = rest.split_first() {
        let code = (first == b'%')
            .then(|| tail.get(..2).and_then(|hex| std::str::from_utf8(hex).ok()))
            .flatten()
            .and_then(|hex| u8::from_str_radix(hex, 16).ok());
        match code {
            Some(code) => {
                bytes.push(code);
                rest = tail.get(2..).unwrap_or_default();
            }
            None => {
                bytes.push(if first == b'+' { b' ' } else { first });
                rest = tail;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// A text with the escapes of JSON and JavaScript strings undone.
fn json_decoded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('\\') {
        out.push_str(before);
        let mut units = Vec::new();
        let mut tail = after;
        let mut unit = |tail: &mut &str| {
            let code = tail.strip_prefix('u').and_then(|hex| u16::from_str_radix(hex.get(..4)?, 16).ok())?;
            *tail = tail.get(5..).unwrap_or_default();
            units.push(code);
            Some(())
        };
        if unit(&mut tail).is_some() {
            // A character outside the basic plane is written as two.
            if let Some(mut second) = tail.strip_prefix('\\') {
                let before_second = tail;
                tail = if unit(&mut second).is_some() { second } else { before_second };
            }
            out.extend(char::decode_utf16(units).map(|c| c.unwrap_or('\u{fffd}')));
        } else {
            let mut chars = after.chars();
            match chars.next() {
                Some('n' | 'r' | 't' | 'b' | 'f') => out.push(' '),
                Some(c) => out.push(c),
                None => {}
            }
            tail = chars.as_str();
        }
        rest = tail;
    }
    out.push_str(rest);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn withheld(texts: &[&str]) -> Withheld {
        let mut withheld = Withheld::default();
        for (number, text) in texts.iter().enumerate() {
            withheld.withhold(text, format!("text {}", number + 1));
        }
        withheld
    }

    #[test]
    fn chance_finds_nothing_in_a_hash() {
        let hash = "c62b137af0ce89d83e3ba5dbe01a9250dcc889412c6fa8bc8a6e80c32adda9d6";
        let short = withheld(&["9250", "89d83e"]);
        assert_eq!(guard(&short, "report.html", &format!("<code>{hash}</code>")), Ok(()));
        for text in [format!("{hash}9250"), format!("{hash} 9250"), hash[1..].to_owned()] {
            assert!(guard(&short, "report.html", &text).is_err(), "{text}");
        }
        let whole = withheld(&[hash, "9250"]);
        assert!(guard(&whole, "report.html", &format!("<code>{hash}</code>")).is_err());
    }

    #[test]
    fn nothing_hides_behind_escapes() {
        let withheld = withheld(&["Jane Döe", "MB-2026-0417"]);
        let base64 = base64::engine::general_purpose::STANDARD.encode("<text>Jane Döe</text>");
        for text in [
            "by Jane Döe",
            "by Jane D&ouml;e? no: Jane D&#246;e",
            "Jane&nbsp;D&#xf6;e",
            "Jane <em>D&#xF6;</em>e",
            "<p title=\"Jane&#x20;Döe\">",
            "<td>Jane</td>\n<td>Döe</td>",
            "x=Jane%20D%C3%B6e",
            "x=Jane+D%c3%b6e",
            r"{ : Jane\u0020D\u00f6e }",
            r"Jane\nDo\u0308e",
            "&quot;Jane\\u0020D\\u00F6e&quot;",
            "MB%2D2026%2D0417",
            "MB\\-2026\\_0417",
            &format!("src=\"data:image/svg+xml;base64,{base64}\""),
            &format!("{}Jane Döe{}", "x ".repeat(WINDOW), " y".repeat(WINDOW)),
            &format!("{}Jane Döe", " ".repeat(WINDOW - 4)),
        ] {
            let leak = withheld.guard("report.html", text).unwrap_err();
            assert!(leak.which.starts_with("text "), "{leak}");
            assert!(!leak.to_string().to_lowercase().contains("jane"), "{leak}");
        }
        for text in
            ["", "by Jane", "Jane Dough", "MB-2026-0418", "data:image/jpeg;base64,MB20260417", "a & b < c \\"]
        {
            assert_eq!(withheld.guard("report.html", text), Ok(()), "{text}");
        }
        let leak = withheld.guard("jane_doe/report.html", "").unwrap_err();
        assert!(leak.place.contains("name of the file") && !leak.to_string().contains("jane"), "{leak}");
        let leak = withheld.guard("r", "a\nb\nJane Döe").unwrap_err();
        assert_eq!(leak.place, "on line 3");
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "[&<>%\\\\\"'a-z0-9#;xu/ é€𝄞=,:-]{0,80}") {
            let _ = withheld(&["Jane Döe"]).guard("r", &format!("{text};base64,{text}"));
        }
    }
}
