//! Small helpers for talking to a person: did-you-mean, lists, plurals, and the caution that every output carries.

/// What every write-up and help text says of its own limits.
pub const CAUTION: &str = "\
An opened pack can hurt you: it cannot be switched off, a slipped tool feeds thousands of amperes into the fault, and \
a damaged cell can burn. Isolate it, take off rings, cover what is live, use insulated tools, wear eye protection, \
work with a second person near and with a way to put out and leave a fire. Local codes and licensed practice come \
first. underlid compares what was recorded with rules; it never says that a pack is safe.";

/// A quantity as it was typed, with the symbols of SI (ISO 80000-1) for the letters that stand for them on a keyboard.
pub fn in_symbols(text: &str) -> String {
    text.replace("degC", "°C").replace("degF", "°F").replace("mm2", "mm²")
}

/// A fact's name as words: "low temperature limit" of `bms.low_temperature_limit`. What was found has the name of what it is.
pub fn of_fact(name: &str) -> String {
    let words = name.rsplit('.').next().unwrap_or(name).replace('_', " ");
    let words = words.strip_suffix(" found").unwrap_or(&words);
    let current = if words.ends_with(" at rated") { " current" } else { "" };
    let words = words.replace("c rate", "C-rate").replace("bms", "BMS").replace("soc", "state of charge");
    words.replace("gauge error", "normalised error of the gauge") + current
}

/// The candidate nearest to `wanted`, when it is near enough to be a slip of the pen.
pub fn nearest<'a>(wanted: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted_lower = wanted.to_lowercase();
    let allowed = (wanted.chars().count() / 3).clamp(1, 3);
    candidates
        .into_iter()
        .filter(|candidate| *candidate != wanted)
        .map(|candidate| (strsim::damerau_levenshtein(&wanted_lower, &candidate.to_lowercase()), candidate))
        .filter(|(distance, _)| *distance <= allowed)
        .min_by_key(|(distance, _)| *distance)
        .map(|(_, candidate)| candidate)
}

/// "did you mean `capacity`?", or other words where nothing is near.
pub fn did_you_mean<'a>(wanted: &str, candidates: impl IntoIterator<Item = &'a str>, or: &str) -> String {
    nearest(wanted, candidates).map_or_else(|| or.to_owned(), |near| format!("did you mean `{near}`?"))
}

/// "; did you mean `capacity`?" behind a sentence; empty where nothing is near.
pub fn hint<'a>(wanted: &str, candidates: impl IntoIterator<Item = &'a str>) -> String {
    nearest(wanted, candidates).map_or_else(String::new, |near| format!("; did you mean `{near}`?"))
}

/// "a, b and c".
pub fn list<T: AsRef<str>>(items: &[T], last: &str) -> String {
    match items {
        [] => String::new(),
        [only] => only.as_ref().to_owned(),
        [init @ .., end] => {
            let init: Vec<&str> = init.iter().map(AsRef::as_ref).collect();
            format!("{} {last} {}", init.join(", "), end.as_ref())
        }
    }
}

/// Rows of cells as lines in which the columns stand below one another, two spaces apart.
pub fn columns(rows: &[Vec<String>]) -> Vec<String> {
    let cells = rows.iter().map(Vec::len).max().unwrap_or(0);
    let wide =
        |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths: Vec<usize> = (0..cells).map(|column| wide(column).unwrap_or(0)).collect();
    let line = |row: &Vec<String>| {
        let padded: Vec<String> =
            row.iter().zip(&widths).map(|(cell, wide)| format!("{cell:<wide$}")).collect();
        padded.join("  ").trim_end().to_owned()
    };
    rows.iter().map(line).collect()
}

/// A text of so many characters at the most; where some are cut off, a mark says so.
pub(crate) fn clipped(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        text.to_owned()
    } else {
        text.chars().take(most - 1).chain(['…']).collect()
    }
}

/// A sentence as a part of another one: its first letter small, but for an abbreviation.
pub(crate) fn in_a_sentence(text: &str) -> String {
    let mut letters = text.chars();
    match (letters.next(), text.chars().nth(1)) {
        (Some(first), Some(second)) if !second.is_uppercase() => {
            first.to_lowercase().chain(letters).collect()
        }
        _ => text.to_owned(),
    }
}

/// With a capital at the beginning.
pub(crate) fn at_the_beginning(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// "1 finding", "2 findings".
pub fn count(number: usize, one: &str, many: &str) -> String {
    format!("{number} {}", if number == 1 { one } else { many })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_stand_below_one_another() {
        let rows = [vec!["±", "b", "c"], vec!["long", "", "d"], vec!["x"]];
        let rows: Vec<Vec<String>> =
            rows.iter().map(|row| row.iter().map(|s| (*s).to_owned()).collect()).collect();
        assert_eq!(columns(&rows), ["±     b  c", "long     d", "x"]);
        assert!(columns(&[]).is_empty());
    }
}
