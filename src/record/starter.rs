//! The commented record that `new` writes, made from the declarations of the parts.

use std::fmt::Write;

use super::field::Kind;
use super::part::{FieldInfo, Part, Shape};
use super::parts::{ElementKind, Record};

/// A starting record: every key with its meaning and an example, all commented out, so that nothing is
/// recorded until somebody writes it.
pub fn starter() -> String {
    let mut text = String::from(HEAD);
    for child in Record::SHAPE.children {
        let shape = (child.shape)();
        section(&mut text, child.name, child.about, shape, child.many);
    }
    text
}

const HEAD: &str = "\
# An inspection record for underlid.
#
# Take the # away from a line and write what you found. Leave a line as it is when nobody looked.
#   \"absent\"         it was looked for and is not there
#   \"could not see\"  it was looked for and could not be seen
# Quantities carry their unit: \"250 A\", \"25 x 3 mm\", \"2/0 AWG\", \"33 degF\", \"1.8 mΩ\", \"3.02 mm ± 0.05 mm\".
# How a value came: { value = \"3.02 mm\", how = \"measured\", with = \"caliper\", photos = [\"12-bar.jpg\"], note = \"…\" }
#   how: claimed, datasheet (of the part, found by its print), marked (printed on the part), measured, seen, estimated,
#        computed
#
# CAUTION. An opened pack cannot be switched off. Isolate it, take off rings, cover what is live, use insulated
# tools, wear eye protection, do not work alone. Local codes and licensed practice come first.

schema = 2

# notes = \"\"\"
# Remarks in Markdown.
# \"\"\"
";

fn section(text: &mut String, path: &str, about: &str, shape: Shape, many: bool) {
    let _ = writeln!(text, "\n# {}", "-".repeat(98));
    for line in wrap(about.trim(), 96) {
        let _ = writeln!(text, "# {line}");
    }
    let header = if many { format!("[[{path}]]") } else { format!("[{path}]") };
    if many {
        let _ = writeln!(text, "# {header}");
    } else {
        let _ = writeln!(text, "{header}");
    }
    if path == "path.element" {
        elements(text, shape);
        return;
    }
    if path.ends_with(".element") {
        // Their keys stand under [[path.element]] once.
        for field in shape.fields.iter().filter(|field| ["id", "kind"].contains(&field.name)) {
            let _ = writeln!(text, "# {} = \"{}\"", field.name, field.example);
        }
        return;
    }
    for field in shape.fields {
        key(text, field);
    }
    for child in shape.children {
        section(text, &format!("{path}.{}", child.name), child.about, (child.shape)(), child.many);
    }
}

fn key(text: &mut String, field: &FieldInfo) {
    let mut about = field.about.trim().to_owned();
    if let Kind::Word(words) = field.kind {
        let words: Vec<&str> = words.iter().map(|w| w.word).collect();
        let _ = write!(about, " One of: {}.", words.join(", "));
    }
    let example = match field.kind {
        Kind::Count => field.example.to_owned(),
        Kind::List => format!("[\"{}\"]", field.example),
        _ => format!("\"{}\"", field.example),
    };
    for line in wrap(&about, 92) {
        let _ = writeln!(text, "#   {line}");
    }
    let _ = writeln!(text, "# {} = {example}", field.name);
}

fn elements(text: &mut String, shape: Shape) {
    for (kind, word) in ElementKind::ALL.into_iter().zip(ElementKind::WORDS) {
        let _ = writeln!(text, "#   kind = \"{}\": {}", word.word, word.about);
        let keys = kind.keys();
        if !keys.is_empty() {
            for line in wrap(&format!("takes besides: {}", keys.join(", ")), 90) {
                let _ = writeln!(text, "#     {line}");
            }
        }
    }
    for field in shape.fields {
        key(text, field);
    }
}

fn wrap(text: &str, width: usize) -> Vec<String> {
    let mut lines: Vec<String> = vec![String::new()];
    for word in text.split_whitespace() {
        let full = lines
            .last()
            .is_some_and(|line| !line.is_empty() && line.chars().count() + word.chars().count() >= width);
        if full {
            lines.push(String::new());
        }
        if let Some(line) = lines.last_mut() {
            if !line.is_empty() {
                line.push(' ');
            }
            line.push_str(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::read;

    #[test]
    fn reads_as_it_is_and_with_every_line_taken_in() {
        let text = starter();
        read("starter", &text).unwrap();
        let full: String = text
            .lines()
            .map(|line| {
                let bare = line.strip_prefix("# ").unwrap_or(line);
                let is_key = bare.split_once(" = ").is_some_and(|(key, _)| {
                    key.chars().all(|c| c.is_ascii_lowercase() || c == '_' || c.is_ascii_digit())
                }) && !bare.starts_with("notes");
                let is_table = bare.starts_with("[[") && bare.ends_with("]]");
                if is_key || is_table { format!("{bare}\n") } else { format!("{line}\n") }
            })
            .collect();
        // Every example of every part reads; only an element of one kind cannot take the keys of all kinds, and so is no
        // fuse whose data sheet could be told.
        let problems = read("full", &full).unwrap_err();
        for problem in problems.list() {
            assert!(
                problem.message.starts_with("a busbar has no")
                    || problem.message == "the rig has no fuse `rig-fuse`",
                "{}: {}",
                problem.message,
                &full[problem.span.clone()]
            );
        }
    }
}
