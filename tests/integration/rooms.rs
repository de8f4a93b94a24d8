//! The rooms of the program: imports run one way, and no two modules need each other.
//!
//! Reads every `use` line and every path that begins with `crate::` or `super::` in `src`, follows re-exports to the
//! module that a name comes from, and fails with the place of the arrow that runs back. What stands under
//! `#[cfg(test)]` may look anywhere.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Each room imports only rooms that stand before it.
const ROOMS: [&str; 10] =
    ["thermal", "units", "record", "physics", "logs", "evidence", "judge", "render", "fill", "cli"];

/// A place that names something of another module.
#[derive(Debug, Clone)]
struct Arrow {
    file: PathBuf,
    line: usize,
    from: Vec<String>,
    to: Vec<String>,
}

impl Arrow {
    /// The two neighbours it joins and the module that holds both; nothing within one module or between parent and child.
    fn neighbours(&self) -> Option<(Vec<String>, String, String)> {
        let common = self.from.iter().zip(&self.to).take_while(|(a, b)| a == b).count();
        Some((
            self.from.get(..common)?.to_vec(),
            self.from.get(common)?.clone(),
            self.to.get(common)?.clone(),
        ))
    }

    fn told(&self) -> String {
        format!("{}:{}: {} → {}", self.file.display(), self.line, self.from.join("::"), self.to.join("::"))
    }
}

/// Arrows by the two neighbours that they join.
type Edges = BTreeMap<(String, String), Vec<Arrow>>;

/// A word or one of `::`, `{`, `}`, `,`, `*`, with its line.
type Token = (String, usize);

/// The code of a file as tokens, without comments, texts, and what is compiled for tests only.
fn tokens(source: &str) -> Vec<Token> {
    let letters: Vec<char> = source.chars().collect();
    let (mut tokens, mut at, mut line) = (Vec::new(), 0, 1);
    let next = |at: usize| letters.get(at).copied().unwrap_or('\0');
    while at < letters.len() {
        let c = next(at);
        if c == '\n' {
            line += 1;
            at += 1;
        } else if c == '/' && next(at + 1) == '/' {
            while at < letters.len() && next(at) != '\n' {
                at += 1;
            }
        } else if c == '"'
            || c == 'r' && matches!(next(at + 1), '"' | '#') && !next(at.wrapping_sub(1)).is_alphanumeric()
        {
            let raw = c == 'r';
            at += usize::from(raw);
            let hashes = (0..).take_while(|n| next(at + n) == '#').count();
            if next(at + hashes) != '"' {
                continue;
            }
            at += hashes + 1;
            let ends = |at: usize| next(at) == '"' && (1..=hashes).all(|n| next(at + n) == '#');
            while at < letters.len() && !ends(at) {
                line += usize::from(next(at) == '\n');
                if !raw && next(at) == '\\' {
                    at += 1;
                    line += usize::from(next(at) == '\n');
                }
                at += 1;
            }
            at += hashes + 1;
        } else if c == '\'' && (next(at + 1) == '\\' || next(at + 2) == '\'') {
            at += if next(at + 1) == '\\' { 3 } else { 2 };
            while at < letters.len() && next(at) != '\'' {
                at += 1;
            }
            at += 1;
        } else if c.is_alphanumeric() || c == '_' {
            let from = at;
            while next(at).is_alphanumeric() || next(at) == '_' {
                at += 1;
            }
            tokens.push((letters[from..at].iter().collect(), line));
        } else if c == ':' && next(at + 1) == ':' {
            tokens.push(("::".to_owned(), line));
            at += 2;
        } else {
            if !c.is_whitespace() {
                tokens.push((c.to_string(), line));
            }
            at += 1;
        }
    }
    without_tests(tokens)
}

/// Leaves out each item under `#[cfg(test)]`: up to its `;`, or to the end of its braces.
fn without_tests(tokens: Vec<Token>) -> Vec<Token> {
    const MARK: [&str; 7] = ["#", "[", "cfg", "(", "test", ")", "]"];
    let mut kept = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let marked =
            tokens.len() >= at + MARK.len() && MARK.iter().zip(&tokens[at..]).all(|(m, t)| *m == t.0);
        if !marked {
            kept.push(tokens[at].clone());
            at += 1;
            continue;
        }
        let mut depth = 0_usize;
        at += MARK.len();
        while at < tokens.len() {
            match tokens[at].0.as_str() {
                "{" => depth += 1,
                "}" => depth -= 1,
                _ => {}
            }
            at += 1;
            if depth == 0 && matches!(tokens[at - 1].0.as_str(), ";" | "}") {
                break;
            }
        }
    }
    kept
}

/// A path that code names, the name it has here where it is imported, and its line.
struct Named {
    path: Vec<String>,
    alias: Option<String>,
    line: usize,
    re_exported: bool,
}

/// Reads a tree of a `use` line, or a path, that begins at `at`.
fn tree(
    tokens: &[Token],
    at: &mut usize,
    before: &[String],
    found: &mut Vec<(Vec<String>, Option<String>, usize)>,
) {
    let word = |at: usize| tokens.get(at).map_or("", |token| token.0.as_str());
    let is_name = |text: &str| text.starts_with(|c: char| c.is_alphabetic() || c == '_');
    let mut path = before.to_vec();
    let line = tokens.get(*at).map_or(0, |token| token.1);
    loop {
        if word(*at) == "{" {
            *at += 1;
            while *at < tokens.len() && word(*at) != "}" {
                tree(tokens, at, &path, found);
                *at += usize::from(word(*at) == ",");
            }
            *at += 1;
            return;
        }
        if word(*at) == "*" {
            *at += 1;
            found.push((path, Some("*".to_owned()), line));
            return;
        }
        if !is_name(word(*at)) {
            *at += 1;
            return;
        }
        path.push(word(*at).to_owned());
        *at += 1;
        if word(*at) == "::" {
            *at += 1;
            continue;
        }
        let mut alias = path.last().filter(|last| *last != "self").or(path.iter().nth_back(1)).cloned();
        if word(*at) == "as" {
            alias = Some(word(*at + 1).to_owned());
            *at += 2;
        }
        path.retain(|segment| segment != "self");
        found.push((path, alias, line));
        return;
    }
}

/// Every path of a file that begins at `crate`, `super` or `self`, from the root of the crate.
fn paths(tokens: &[Token], module: &[String], children: &BTreeSet<Vec<String>>) -> Vec<Named> {
    let mut named = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let (word, before) =
            (tokens[at].0.as_str(), at.checked_sub(1).map_or("", |at| tokens[at].0.as_str()));
        let in_use = before == "use";
        let starts = matches!(word, "crate" | "super")
            && before != "::"
            && tokens.get(at + 1).is_some_and(|t| t.0 == "::");
        // `use child::Name` in the file of the parent.
        let child = in_use && children.contains(&[module, &[word.to_owned()]].concat());
        if !(starts || child || in_use && word == "self") {
            at += 1;
            continue;
        }
        let re_exported = in_use && at >= 2 && matches!(tokens[at - 2].0.as_str(), "pub" | ")");
        let mut found = Vec::new();
        tree(tokens, &mut at, &[], &mut found);
        for (path, alias, line) in found {
            let ups = path.iter().take_while(|segment| *segment == "super").count();
            let base = match path.first().map(String::as_str) {
                Some("crate") => Vec::new(),
                _ => module[..module.len().saturating_sub(ups)].to_vec(),
            };
            let rest = path
                .iter()
                .filter(|segment| !matches!(segment.as_str(), "crate" | "super" | "self"))
                .cloned();
            named.push(Named {
                path: base.into_iter().chain(rest).collect(),
                alias: alias.filter(|_| in_use),
                line,
                re_exported,
            });
        }
    }
    named
}

struct Sources {
    modules: BTreeSet<Vec<String>>,
    /// What a name re-exported by a module stands for.
    re_exports: BTreeMap<(Vec<String>, String), Vec<String>>,
}

impl Sources {
    /// The module that a path leads to.
    fn module(&self, path: &[String], depth: usize) -> Vec<String> {
        let known =
            (0..=path.len()).rev().find(|n| *n == 0 || self.modules.contains(&path[..*n])).unwrap_or(0);
        let (module, rest) = path.split_at(known);
        let Some((name, further)) = rest.split_first() else { return module.to_vec() };
        match self.re_exports.get(&(module.to_vec(), name.clone())) {
            Some(origin) if depth < 8 && origin != path => {
                self.module(&[origin.as_slice(), further].concat(), depth + 1)
            }
            _ => module.to_vec(),
        }
    }
}

fn files(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).expect("a readable folder") {
        let path = entry.expect("a readable entry").path();
        if path.is_dir() {
            files(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Every arrow between two modules of `src`.
fn arrows() -> Vec<Arrow> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut found = Vec::new();
    files(&root.join("src"), &mut found);
    found.sort();
    found.retain(|file| {
        !file.ends_with("tests.rs") && !file.ends_with("main.rs") && !file.iter().any(|part| part == "tests")
    });
    let read: Vec<(PathBuf, Vec<String>, Vec<Token>)> = found
        .into_iter()
        .map(|file| {
            let source = std::fs::read_to_string(&file).expect("a readable file");
            let file = file.strip_prefix(root).expect("a file of the project").to_owned();
            let module = file.with_extension("");
            let module: Vec<String> = module
                .iter()
                .skip(1)
                .map(|part| part.to_string_lossy().into_owned())
                .filter(|part| part != "mod" && part != "lib")
                .collect();
            (file, module, tokens(&source))
        })
        .collect();
    let mut sources = Sources {
        modules: read.iter().map(|(_, module, _)| module.clone()).collect(),
        re_exports: BTreeMap::new(),
    };
    let named: Vec<(&PathBuf, &Vec<String>, Vec<Named>)> = read
        .iter()
        .map(|(file, module, tokens)| (file, module, paths(tokens, module, &sources.modules)))
        .collect();
    for (_, module, names) in &named {
        for name in names.iter().filter(|name| name.re_exported) {
            if let Some(alias) = &name.alias {
                sources.re_exports.insert(((*module).clone(), alias.clone()), name.path.clone());
            }
        }
    }
    named
        .iter()
        .flat_map(|(file, module, names)| {
            names.iter().map(|name| Arrow {
                file: (*file).clone(),
                line: name.line,
                from: (*module).clone(),
                to: sources.module(&name.path, 0),
            })
        })
        .collect()
}

#[test]
fn imports_run_one_way() {
    let place = |room: &str| {
        ROOMS.iter().position(|known| *known == room).expect("a room that has its place in the order")
    };
    let mut back = String::new();
    for arrow in arrows() {
        let Some((common, from, to)) = arrow.neighbours() else { continue };
        if common.is_empty() && place(&to) > place(&from) {
            let _ = writeln!(back, "{}", arrow.told());
        }
    }
    assert!(back.is_empty(), "a room imports one that stands after it ({}):\n{back}", ROOMS.join(" < "));
}

/// Neighbours are modules of one parent; a circle of them is one module that pretends to be several.
#[test]
fn no_circles_among_neighbours() {
    let mut groups: BTreeMap<Vec<String>, Edges> = BTreeMap::new();
    for arrow in arrows() {
        if let Some((common, from, to)) = arrow.neighbours().filter(|(common, ..)| !common.is_empty()) {
            groups.entry(common).or_default().entry((from, to)).or_default().push(arrow);
        }
    }
    let mut told = String::new();
    for (parent, edges) in &groups {
        let parent = parent.join("::");
        let mut reach: BTreeSet<(&str, &str)> = edges.keys().map(|(a, b)| (a.as_str(), b.as_str())).collect();
        loop {
            let further: Vec<_> = reach
                .iter()
                .flat_map(|(a, b)| reach.iter().filter(move |(c, _)| b == c).map(move |(_, d)| (*a, *d)))
                .filter(|pair| !reach.contains(pair))
                .collect();
            if further.is_empty() {
                break;
            }
            reach.extend(further);
        }
        let circles = edges.iter().filter(|((a, b), _)| reach.contains(&(b.as_str(), a.as_str())));
        for ((from, to), arrows) in circles {
            let _ = writeln!(told, "circle in {parent}: {from} → {to}");
            for arrow in arrows.iter().take(4) {
                let _ = writeln!(told, "    {}", arrow.told());
            }
        }
    }
    assert!(told.is_empty(), "modules need each other:\n{told}");
}

/// The reader of imports sees what it must see, and no more.
#[test]
fn paths_are_read() {
    let source = r##"
        //! crate::cli in words
        use std::fmt;
        use crate::judge::{facts::{Fact, Range}, path};
        pub use super::read as reading;
        const TEXT: &str = "crate::cli::CAUTION";
        const RAW: &str = r#"use crate::fill;"#;
        fn f<'a>(c: char) -> bool { c == '"' || crate::units::plain(c) }
        #[cfg(test)]
        mod tests { use crate::cli::Cli; fn g() {} }
        use self::child::Thing;
    "##;
    let module = ["record".to_owned(), "edit".to_owned()];
    let found: Vec<String> = paths(&tokens(source), &module, &BTreeSet::new())
        .into_iter()
        .map(|named| format!("{}:{}", named.line, named.path.join("::")))
        .collect();
    assert_eq!(
        found,
        [
            "4:judge::facts::Fact",
            "4:judge::facts::Range",
            "4:judge::path",
            "5:record::read",
            "8:units::plain",
            "11:record::edit::child::Thing"
        ]
    );
}

/// What is told of by its name alone must have one of its own: a reader who looks for `Value` finds one type.
#[test]
fn no_two_public_types_have_one_name() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut found = Vec::new();
    files(&root, &mut found);
    let mut places: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for file in found {
        let tokens = tokens(&std::fs::read_to_string(&file).expect("a readable file"));
        for three in tokens.windows(3) {
            let [(seen, _), (kind, _), (name, line)] = three else { continue };
            if seen == "pub" && matches!(kind.as_str(), "struct" | "enum" | "trait" | "type" | "union") {
                places.entry(name.clone()).or_default().push(format!("{}:{line}", file.display()));
            }
        }
    }
    places.retain(|name, places| places.len() > 1 && name != "$");
    assert!(places.is_empty(), "two public types of one name: {places:#?}");
}

/// The fuzz targets are a workspace of their own, built with `--locked` and by hand only.
#[test]
fn the_lock_of_the_fuzz_targets_knows_every_dependency() {
    let read = |name: &str| -> toml::Table {
        let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap();
        text.parse().unwrap()
    };
    let lock = read("fuzz/Cargo.lock");
    let locked: BTreeSet<&str> =
        lock["package"].as_array().unwrap().iter().filter_map(|package| package["name"].as_str()).collect();
    for manifest in ["Cargo.toml", "src/evidence/pixels/Cargo.toml", "src/thermal/Cargo.toml"] {
        let manifest = read(manifest);
        let always = manifest["dependencies"].as_table().unwrap().iter();
        let always = always.filter(|(_, how)| how.get("optional").is_none());
        let missing: Vec<&String> =
            always.map(|(name, _)| name).filter(|name| !locked.contains(name.as_str())).collect();
        assert!(missing.is_empty(), "cargo update --manifest-path fuzz/Cargo.toml --workspace: {missing:?}");
    }
}
