//! The page on the rule language, with its lists of names, functions and rules, made from the code itself.
//!
//! `underlid explain --language` prints it and `checklists/RULES.md` holds a copy that a test keeps in step.

use std::fmt::Write;

use super::book::{Book, Limit, Rule, Source};
use super::expr::{Type, functions};
use super::finding::{Class, Grade};
use super::names::catalogue;

const INTRODUCTION: &str = r##"# The rule book and its language

A rule is one comparison. It ends as **meets**, **falls short** or **not decided**. What is missing is listed, never guessed.

## A house rule in three lines

Name a file with `--rules FILE`, in your settings (`rules = ["house.toml"]` in `~/.config/underlid/settings.toml`, or in the
file that `UNDERLID_CONFIG` names), or put it into `rules/` of an inspection folder and say `--folder-rules`. Rules that lie
in a folder are left aside otherwise, because a folder may come from a stranger; every output says so:

```toml
schema = 1

[[rule]]
id = "house-cable-size"
each = ["cable"]
require = 'element.size >= 50 mm2'
```

More keys are optional: `title`, `fault` (what is said when it falls short), `subject`, `when`, `absent` ("falls short" when
a fact that was looked for and is not there is the nonconformity), `class` and `source` (see below), `grade` (critical, major,
minor; minor when left out), `basis`, `why`, `measure`, `advice`, `meets_when` (the most favourable record on which it may say
"meets"), `was` and `changed`.

## What a rule rests on

`class` says what the **threshold** of a rule or the value of a limit rests on; a formula does not make a custom threshold
physics, and a rule is worth no more than the limits that it compares with.

- `physics`: physics or measurement. It cites a `[[source]]` of that class, which holds the argument.
- `published`: a standard, a regulation or a data sheet. It cites one that was read in a public copy: title, clause, where, when.
- `custom`: a custom of the trade, an opinion, which is what a rule without a class is. It has no grade: it stands in a list of
  its own and is counted nowhere else, whatever `grade` it names.

```toml
schema = 1

[[source]]
id = "our-sheet"
class = "published"
title = "Data sheet of the cable that we use, edition 3"
clause = "table 2"
read = "public copy"
address = "example.org/cable"
date = 2026-11-26
says = "At least 50 mm² for 200 A."

[[rule]]
id = "house-cable-size-for-200-a"
each = ["cable"]
require = 'element.size >= 50 mm2'
class = "published"
source = ["our-sheet"]
grade = "major"
```

## Changing the built-in book

Set a limit, change a grade, or turn a rule off with a reason; the write-up prints each such change. A limit that is set
without a class is a custom, and so are the rules that compare with it:

```toml
schema = 1

[[limit]]
name = "joint_drop"
value = "10 mV"
basis = "our own experience"

[[change]]
rule = "sense-wires-fused"
off = "yes"
reason = "our boards carry the fuses"

[[change]]
rule = "fuse-voltage"
grade = "major"
reason = "our packs are of one kind"
```

## Expressions

Infix arithmetic over named facts, with units:

```
element.rating >= limit.fuse_load_factor * claims.continuous_current
abs(claims.energy - claims.capacity * claims.nominal_voltage) <= 2 % * claims.energy
element.temperature_at_rated <= 85 degC
element.temperature_at_rated - inspection.inner_ambient <= 30 K
bms.heat_path_complete is yes
element.fuse is one of ("class T", "bolt-down")
element.material is not "nickel-plated steel" and element.length > 100 mm
recorded(element.torque) or absent(element.torque)
busbar_current("copper", 25 mm, 3 mm, 40 degC, 50 K) >= claims.continuous_current
```

- `+ - * /` and `^` with a whole number; `( )`; `min`, `max`, `abs`, `sqrt` and the physics listed below.
- Numbers carry units: `30 K`, `20 mV`, `35 mm2`, `1 C` (a C-rate). °C and °F are points on a scale, K is a difference.
- `>= <= > <` compare quantities and dates; `is`, `is not` and `is one of (…)` compare words, yes and no.
- `and`, `or`, `not` join comparisons in `when`. `require` is exactly one comparison.
- `recorded(x)` is yes when something is written for x, be it "absent"; `absent(x)` is yes when x was looked for and is not
  there, and not decided when nobody looked.
- Names and dimensions are checked when the book is loaded. Depth and length are bounded; there are no loops.
- Every quantity carries its measurement uncertainty, with correlation, to first order (JCGM 100). A limit inside the expanded
  uncertainty (k = 2) leaves the rule not decided (ILAC-G8:09/2019).
- A value that is only a bound, because something was left out, decides a rule only in the direction in which it is certain.

`each` names kinds of element (`fuse`, `busbar`, … or `element` for all), or one list part: `statement`, `layer`, `reading`,
`photo`, `test`, `instrument`. Its fields are then known under that name, those of an element under `element`.

`plan` applies the rules over the test rig: `rig`, `source`, `load`, `meter`, and kinds of its elements (`rig-cable`, or
`rig-element` for all). A rule over its elements knows `element`, `circuit`, `rig` and the limits, and nothing of the pack.
"##;

/// The whole page.
pub fn language_page(book: &Book) -> String {
    let mut page = INTRODUCTION.to_owned();
    // Writing to a String cannot fail.
    let _ = lists(&mut page, book);
    page
}

fn lists(page: &mut String, book: &Book) -> std::fmt::Result {
    writeln!(page, "\n## Functions\n\n| Function | Gives | Example |\n|---|---|---|")?;
    for function in functions() {
        writeln!(
            page,
            "| `{}({})` | {} | `{}` |",
            function.name, function.arguments, function.about, function.example
        )?;
    }
    writeln!(
        page,
        "| `recorded(name)` | yes when something is written for it | `recorded(element.torque)` |"
    )?;
    writeln!(
        page,
        "| `absent(name)` | yes when it was looked for and is not there | `absent(marking.un38_3)` |"
    )?;
    let cells = |ids: &[String]| ids.iter().map(|id| format!("`{id}`")).collect::<Vec<_>>().join(", ");
    writeln!(
        page,
        "\n## Limits\n\n| Name | Value | What it is | Class | Basis | Sources |\n|---|---|---|---|---|---|"
    )?;
    for Limit { name, text, about, class, basis, sources, .. } in &book.limits {
        let (class, sources) = (class.word(), cells(sources));
        writeln!(page, "| `limit.{name}` | {text} | {about} | {class} | {basis} | {sources} |")?;
    }
    rule_table(page, book, cells)?;
    writeln!(
        page,
        "\n## Sources\n\n| Source | Class | Title and clause | Where and when read | What it says |\n|---|---|---|---|---|"
    )?;
    for Source { id, class, title, clause, read, address, date, says } in &book.sources {
        let read = read.map_or_else(String::new, |read| format!("{}, {date}: {address}", read.word()));
        let clause = if clause.is_empty() { String::new() } else { format!(", {clause}") };
        writeln!(page, "| `{id}` | {} | {title}{clause} | {read} | {says} |", class.word())?;
    }
    writeln!(page, "\n## Names\n\n| Name | Kind | What it is |\n|---|---|---|")?;
    for info in catalogue() {
        let kind = match info.kind {
            Type::Word(words) => {
                let words: Vec<&str> = words.iter().map(|w| w.word).collect();
                format!("a word: {}", words.join(", "))
            }
            other => other.name(),
        };
        writeln!(page, "| `{}` | {kind} | {} |", info.name, info.about)?;
    }
    Ok(())
}

fn rule_table(page: &mut String, book: &Book, cells: impl Fn(&[String]) -> String) -> std::fmt::Result {
    let number = |wanted: &dyn Fn(&Rule) -> bool| book.rules.iter().filter(|rule| wanted(rule)).count();
    let graded = |class| number(&move |rule: &Rule| rule.grade.is_grave() && rule.class == class);
    writeln!(
        page,
        "\n## Rules\n\n{} rules. Critical or major: {} from physics, {} published, {} with nothing above custom. Customs, \
         which have no grade: {}.\n\n| Rule | Grade | Class | Requires | Basis | Sources | Changed since the first edition \
         |\n|---|---|---|---|---|---|---|",
        book.rules.len(),
        graded(Class::Physics),
        graded(Class::Published),
        graded(Class::Custom),
        number(&|rule| rule.class == Class::Custom)
    )?;
    for grade in Grade::ALL {
        for Rule { id, class, title, basis, sources, changed, .. } in
            book.rules.iter().filter(|rule| rule.grade == grade)
        {
            let (grade, class, sources) = (grade.word(), class.word(), cells(sources));
            writeln!(page, "| `{id}` | {grade} | {class} | {title} | {basis} | {sources} | {changed} |")?;
        }
    }
    writeln!(page, "\n### Lowered\n\nNone because a text is closed.\n")?;
    for rule in &book.rules {
        if let Some(was) = rule.was {
            writeln!(
                page,
                "- `{}`, {} until now, is {}: {}.",
                rule.id,
                was.word(),
                rule.grade.word(),
                rule.changed
            )?;
        }
    }
    writeln!(page, "\n### The most favourable record on which a critical rule may say \"meets\"\n")?;
    for rule in book.rules.iter().filter(|rule| !rule.meets_when.is_empty()) {
        writeln!(page, "- `{}`: {}", rule.id, rule.meets_when)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::expr;
    use super::super::names::Names;
    use super::*;
    use crate::judge::rules::RuleFile;

    /// Expressions shown on the page, for the test that reads each of them.
    fn examples() -> Vec<&'static str> {
        let block =
            INTRODUCTION.split("```\n").find(|block| block.starts_with("element.rating")).unwrap_or_default();
        block.lines().filter(|line| !line.trim().is_empty()).collect()
    }

    /// TOML shown on the page, for the test that loads each of it.
    fn toml_examples() -> Vec<&'static str> {
        INTRODUCTION.split("```toml\n").skip(1).filter_map(|rest| rest.split("```").next()).collect()
    }

    #[test]
    fn every_example_on_the_page_works() {
        let book = Book::built_in().unwrap();
        let names = Names::new(book.limits.iter().map(|l| (l.name.clone(), l.amount.dimension)));
        assert!(examples().len() >= 9);
        for example in examples().into_iter().chain(functions().map(|f| f.example)) {
            let read = expr::parse(example).unwrap_or_else(|e| panic!("{example}: {e:?}"));
            expr::check(&read, &|name| names.lookup(name)).unwrap_or_else(|e| panic!("{example}: {e:?}"));
        }
        assert_eq!(toml_examples().len(), 3);
        for example in toml_examples() {
            let mut book = (*Book::built_in().unwrap()).clone();
            let file = RuleFile::of_user("page".to_owned());
            book.add_house(file, "page", example).unwrap_or_else(|e| panic!("{:?}", e.list()));
        }
    }

    #[test]
    fn the_page_in_the_repository_is_current() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/checklists/RULES.md");
        let page = language_page(&Book::built_in().unwrap());
        if std::env::var_os("UNDERLID_WRITE_PAGES").is_some() {
            std::fs::write(path, &page).unwrap();
        }
        let kept = std::fs::read_to_string(path).unwrap_or_default();
        assert!(
            kept == page,
            "checklists/RULES.md is stale: UNDERLID_WRITE_PAGES=1 cargo test the_page writes it anew"
        );
    }
}
