//! What each inspection is called in a comparison: the shortest name that tells them apart.

use std::collections::HashMap;

use crate::judge::inspection::Inspection;
use crate::units::words::clipped;

/// A longer name would fill the columns of a table.
const LONGEST: usize = 48;

/// One name for each inspection, all different: revision, else title, else folder.
pub(crate) fn names(inspections: &[Inspection]) -> Vec<String> {
    let of = |name: &dyn Fn(&Inspection) -> Option<String>| -> Option<Vec<String>> {
        inspections.iter().map(|inspection| name(inspection).filter(|n| !n.trim().is_empty())).collect()
    };
    let pack = |i: &Inspection| {
        let head = &i.record.inspection;
        (head.maker.text().map(str::to_owned), head.model.text().map(str::to_owned))
    };
    let one_model = inspections.windows(2).all(|pair| pack(&pair[0]) == pack(&pair[1]));
    let revision = |i: &Inspection| i.record.inspection.revision.text().map(|r| format!("revision {r}"));
    let title = |i: &Inspection| i.record.inspection.title.text().map(str::to_owned);
    let folder = |i: &Inspection| {
        let folder = i.folder.canonicalize().unwrap_or_else(|_| i.folder.clone());
        folder.file_name().map(|name| name.to_string_lossy().into_owned())
    };
    let candidates = [of(&revision).filter(|_| one_model), of(&title), of(&folder)];
    let chosen = candidates
        .into_iter()
        .flatten()
        .map(|names| names.iter().map(|name| clip(name)).collect::<Vec<_>>())
        .find(|names| all_different(names))
        .unwrap_or_else(|| {
            // Several of one build: the short name with a number, which every row repeats.
            let short = of(&revision).filter(|_| one_model);
            let titles = || inspections.iter().map(|i| title(i).unwrap_or_else(|| "inspection".to_owned()));
            short.unwrap_or_else(|| titles().collect()).iter().map(|name| clip(name)).collect()
        });
    numbered(chosen)
}

fn clip(name: &str) -> String {
    let plain: String = name.trim().chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    clipped(&plain, LONGEST)
}

fn all_different(names: &[String]) -> bool {
    let mut sorted: Vec<&String> = names.iter().collect();
    sorted.sort();
    sorted.windows(2).all(|pair| pair[0] != pair[1])
}

fn numbered(names: Vec<String>) -> Vec<String> {
    if all_different(&names) {
        return names;
    }
    let mut seen: HashMap<String, usize> = HashMap::new();
    let mut numbered: Vec<String> = names
        .into_iter()
        .map(|name| {
            let times = seen.entry(name.clone()).or_default();
            *times += 1;
            format!("{name} (no. {times})")
        })
        .collect();
    if !all_different(&numbered) {
        numbered = (1..=numbered.len()).map(|number| format!("inspection no. {number}")).collect();
    }
    numbered
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_different_and_short() {
        let cases: [(&[&str], &[&str]); 3] = [
            (&["a", "b"], &["a", "b"]),
            (&["a", "a"], &["a (no. 1)", "a (no. 2)"]),
            (&["a", "a", "a (no. 1)"], &["a (no. 1)", "a (no. 2)", "a (no. 1) (no. 1)"]),
        ];
        for (given, wanted) in cases {
            assert_eq!(numbered(given.iter().map(|n| (*n).to_owned()).collect()), wanted);
        }
        assert_eq!(clip(&"x".repeat(100)).chars().count(), LONGEST);
        assert_eq!(clip("a\u{1b}[1mb"), "a [1mb");
    }
}
