//! The fields of a record as leaves of one hash tree, so that some can be withheld and shown later under the same seal.
//!
//! The tree is that of RFC 9162, 2.1 (as RFC 6962, 2.1), with SHA-256: a leaf is hashed behind a zero byte, a node behind a
//! one, so that neither can pass for the other. What a leaf holds is 32 random bytes of its own, and `[path, value]` as
//! compact JSON: the path keeps a value from being moved to another field, the salt keeps a serial number of few digits from
//! being found by trying them all. Leaves stand in the order of their paths. Root and number of leaves are sealed; the
//! number keeps leaves from being left out or added.
//!
//! The salts lie in a private file that counts as evidence: its hash in the manifest also keeps whoever has a withheld
//! edition from finding a field by trying whole records against the sealed hash of the manifest. Whoever gets the file can
//! do both. It is packed with the record and never without it.

use std::collections::BTreeSet;
use std::path::Path;

use serde::{Deserialize, Serialize};
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::hash::Sha256Digest;
use crate::record::open;

/// The private file of salts in an inspection folder.
pub const SALTS_NAME: &str = "seals.salts";
/// The fields that a withheld edition shows, and the hashes of the others.
pub const FIELDS_NAME: &str = "seals.fields.json";

const SALTS_HEAD: &str =
    "# Keep this file to yourself: with it the fields that are withheld can be found. One line a field.\n";
/// What is read of a file of fields or salts: several times the largest record.
const MOST: u64 = 256 << 20;
/// A salt, in bytes: as long as the hash.
const SALT: usize = 32;

/// Root and number of leaves of a tree of fields.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Tree {
    /// Hash at the root.
    pub root: Sha256Digest,
    /// How many leaves it has.
    pub leaves: usize,
}

/// A field of a record: where it stands and what it says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Field {
    /// Keys from the outermost on; places in lists are counted from 1: `path.element[2].marking`.
    pub path: String,
    /// As it stands in the record.
    pub value: Value,
    /// 64 hexadecimal digits.
    pub salt: Sha256Digest,
}

impl Field {
    /// The hash of its leaf.
    fn leaf(&self) -> Sha256Digest {
        let content = serde_json::json!([self.path, self.value]).to_string();
        hash(0, self.salt.as_bytes(), content.as_bytes())
    }
}

/// A leaf of a withheld edition.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(untagged)]
enum Leaf {
    Shown(Field),
    Withheld(Sha256Digest),
}

/// What a withheld edition says of the record's fields.
#[derive(Debug, Serialize, Deserialize)]
struct Edition {
    fields: Vec<Leaf>,
}

/// One field, with what leads from it to the root (RFC 9162, 2.1.3).
#[derive(Debug, Serialize, Deserialize, schemars::JsonSchema)]
pub struct Proof {
    /// The field's path.
    pub path: String,
    /// Its value, as it stands in the record.
    pub value: Value,
    /// Its salt.
    pub salt: Sha256Digest,
    /// Its place among the leaves, counted from 0.
    pub index: usize,
    /// The hashes beside the way to the root, from the leaf on.
    pub beside: Vec<Sha256Digest>,
}

fn hash(kind: u8, left: &[u8], right: &[u8]) -> Sha256Digest {
    Sha256Digest::from_hasher(Sha256::new().chain_update([kind]).chain_update(left).chain_update(right))
}

/// The hash over some leaves (RFC 9162, 2.1.1): the left side takes the largest power of two below their number.
fn root(leaves: &[Sha256Digest]) -> Sha256Digest {
    match leaves {
        [] => Sha256Digest::of(&[]),
        [leaf] => *leaf,
        _ => {
            let (left, right) = leaves.split_at(leaves.len().next_power_of_two() / 2);
            hash(1, root(left).as_bytes(), root(right).as_bytes())
        }
    }
}

/// The hashes beside the way from a leaf to the root, from the leaf on (RFC 9162, 2.1.3.1).
fn beside(leaves: &[Sha256Digest], index: usize) -> Vec<Sha256Digest> {
    if leaves.len() < 2 {
        return Vec::new();
    }
    let (left, right) = leaves.split_at(leaves.len().next_power_of_two() / 2);
    let (mut way, other) = match index.checked_sub(left.len()) {
        None => (beside(left, index), right),
        Some(index) => (beside(right, index), left),
    };
    way.push(root(other));
    way
}

/// The root that a leaf and the hashes beside its way lead to (RFC 9162, 2.1.3.2); none where their number is wrong.
fn root_from(
    leaf: Sha256Digest,
    index: usize,
    leaves: usize,
    beside: &[Sha256Digest],
) -> Option<Sha256Digest> {
    let (mut at, mut last, mut reached) = (index, leaves.checked_sub(1)?, leaf);
    if at > last {
        return None;
    }
    for other in beside {
        if last == 0 {
            return None;
        }
        if at % 2 == 1 || at == last {
            reached = hash(1, other.as_bytes(), reached.as_bytes());
            while at % 2 == 0 && at != 0 {
                (at, last) = (at / 2, last / 2);
            }
        } else {
            reached = hash(1, reached.as_bytes(), other.as_bytes());
        }
        (at, last) = (at / 2, last / 2);
    }
    (last == 0).then_some(reached)
}

impl Proof {
    /// Whether the field stands in a sealed tree.
    pub fn stands_in(&self, tree: Tree) -> bool {
        let field = Field { path: self.path.clone(), value: self.value.clone(), salt: self.salt };
        root_from(field.leaf(), self.index, tree.leaves, &self.beside) == Some(tree.root)
    }
}

/// All fields of a record, salted, in the order of their paths.
#[derive(Debug, Clone)]
pub struct Fields(Vec<Field>);

impl Fields {
    /// The fields of a record with the salts that lie beside it; none where the record does not read or where the salts
    /// are not there or not of this record.
    pub fn read(folder: &Path, record: &str) -> Option<Self> {
        let text = String::from_utf8(open::bytes(&folder.join(SALTS_NAME), MOST).ok()?).ok()?;
        let lines = text.lines().filter(|line| !line.starts_with('#'));
        let salts: Vec<Sha256Digest> =
            lines.map(|line| line.split_whitespace().next()?.parse().ok()).collect::<Option<_>>()?;
        let plain = plain(record)?;
        (salts.len() == plain.len()).then(|| Self::salted(plain, salts))
    }

    /// The fields of a record with new salts; none where the record does not read.
    ///
    /// # Errors
    /// When the system has no random numbers.
    pub fn new(record: &str) -> std::io::Result<Option<Self>> {
        let Some(plain) = plain(record) else { return Ok(None) };
        let mut salts = vec![0; plain.len() * SALT];
        getrandom::fill(&mut salts).map_err(std::io::Error::other)?;
        let salts = salts.as_chunks::<SALT>().0.iter().map(|salt| Sha256Digest::from(*salt));
        Ok(Some(Self::salted(plain, salts)))
    }

    fn salted(plain: Vec<(String, Value)>, salts: impl IntoIterator<Item = Sha256Digest>) -> Self {
        let fields = plain.into_iter().zip(salts);
        Self(fields.map(|((path, value), salt)| Field { path, value, salt }).collect())
    }

    fn leaves(&self) -> Vec<Sha256Digest> {
        self.0.iter().map(Field::leaf).collect()
    }

    /// Root and number of leaves.
    pub fn tree(&self) -> Tree {
        Tree { root: root(&self.leaves()), leaves: self.0.len() }
    }

    /// The private file of salts.
    pub fn salts(&self) -> String {
        let lines = self.0.iter().map(|field| format!("{}  {}\n", field.salt, field.path.escape_default()));
        std::iter::once(SALTS_HEAD.to_owned()).chain(lines).collect()
    }

    /// A withheld edition: the fields at or below `shown` paths, and the hashes of the others.
    pub fn edition(&self, shown: &BTreeSet<String>) -> String {
        let leaf = |field: &Field| match is_at_or_below(&field.path, shown) {
            true => Leaf::Shown(field.clone()),
            false => Leaf::Withheld(field.leaf()),
        };
        let lines: Vec<String> =
            self.0.iter().filter_map(|field| serde_json::to_string(&leaf(field)).ok()).collect();
        format!("{{\"fields\": [\n{}\n]}}\n", lines.join(",\n"))
    }

    /// One field with its way to the root; its path may be written as it stands in the record, or as `[withhold]` names it.
    ///
    /// # Errors
    /// The path that may have been meant.
    pub fn proof(&self, path: &str) -> Result<Proof, Option<&str>> {
        let Some(index) = self.0.iter().position(|field| field.path == path) else {
            return Err(crate::units::words::nearest(path, self.0.iter().map(|field| field.path.as_str())));
        };
        let Field { path, value, salt } = self.0[index].clone();
        Ok(Proof { path, value, salt, index, beside: beside(&self.leaves(), index) })
    }
}

/// Whether a path is one of some, or one of them with keys or places behind it.
fn is_at_or_below(path: &str, paths: &BTreeSet<String>) -> bool {
    let ends = path.match_indices(['.', '[']).map(|(at, _)| at).chain([path.len()]);
    ends.into_iter().any(|end| path.get(..end).is_some_and(|start| paths.contains(start)))
}

/// What a withheld edition's file of fields amounts to: its tree, and how many of its fields it shows.
///
/// # Errors
/// Why it cannot be read, in words.
pub fn read_edition(folder: &Path) -> Result<(Tree, usize), String> {
    let bytes = open::bytes(&folder.join(FIELDS_NAME), MOST).map_err(|error| error.to_string())?;
    let edition: Edition =
        serde_json::from_slice(&bytes).map_err(|error| format!("{FIELDS_NAME} cannot be read: {error}"))?;
    let shown = edition.fields.iter().filter(|leaf| matches!(leaf, Leaf::Shown(_))).count();
    let leaves: Vec<Sha256Digest> = edition
        .fields
        .iter()
        .map(|leaf| match leaf {
            Leaf::Shown(field) => field.leaf(),
            Leaf::Withheld(hash) => *hash,
        })
        .collect();
    Ok((Tree { root: root(&leaves), leaves: leaves.len() }, shown))
}

/// Every value of a record with its path, sorted by path. Empty tables and lists are values too, so that nothing can be
/// put into them.
fn plain(record: &str) -> Option<Vec<(String, Value)>> {
    fn collect(path: &str, value: toml::Value, into: &mut Vec<(String, Value)>) {
        match value {
            toml::Value::Table(table) if !table.is_empty() => {
                for (key, value) in table {
                    let bare = key.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_'));
                    let key = if bare && !key.is_empty() { key } else { Value::from(key).to_string() };
                    let dot = if path.is_empty() { "" } else { "." };
                    collect(&format!("{path}{dot}{key}"), value, into);
                }
            }
            toml::Value::Array(items) if !items.is_empty() => {
                for (index, value) in items.into_iter().enumerate() {
                    collect(&format!("{path}[{}]", index + 1), value, into);
                }
            }
            // Dates, and the numbers that JSON does not have (inf, nan), as words.
            other => into.push((
                path.to_owned(),
                match other {
                    toml::Value::Datetime(date) => Value::from(date.to_string()),
                    toml::Value::Float(number) if !number.is_finite() => Value::from(number.to_string()),
                    toml::Value::Table(_) => serde_json::json!({}),
                    other => serde_json::to_value(other).unwrap_or_default(),
                },
            )),
        }
    }
    let mut fields = Vec::new();
    collect("", toml::Value::Table(toml::from_str(record).ok()?), &mut fields);
    fields.sort_by(|a, b| a.0.cmp(&b.0));
    Some(fields)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference: the entries and roots of the first eight trees in the tests of the certificate-transparency project, which
    /// many implementations of RFC 6962 repeat; read in several of them.
    const TREES: [(&[u8], &str); 8] = [
        (b"", "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d"),
        (b"\0", "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125"),
        (b"\x10", "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77"),
        (b" !", "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7"),
        (b"01", "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4"),
        (b"@ABC", "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef"),
        (b"PQRSTUVW", "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c"),
        (b"`abcdefghijklmno", "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328"),
    ];

    #[test]
    fn roots_are_those_of_the_published_trees() {
        let leaves: Vec<Sha256Digest> = TREES.iter().map(|(entry, _)| hash(0, entry, b"")).collect();
        for (number, (_, expected)) in TREES.iter().enumerate() {
            assert_eq!(root(&leaves[..=number]).to_string(), *expected, "{} leaves", number + 1);
        }
        assert_eq!(root(&[]), Sha256Digest::of(b""));
    }

    #[test]
    fn every_leaf_leads_to_the_root_from_its_own_place_alone() {
        let leaves: Vec<Sha256Digest> = (0_u8..70).map(|n| hash(0, &[n], b"")).collect();
        for size in 1..=leaves.len() {
            let (all, top) = (&leaves[..size], root(&leaves[..size]));
            for index in 0..size {
                let way = beside(all, index);
                assert_eq!(root_from(all[index], index, size, &way), Some(top), "{index} of {size}");
                assert_ne!(root_from(all[index], index + 1, size, &way), Some(top));
                let other = all[(index + 1) % size];
                assert!(size == 1 || root_from(other, index, size, &way) != Some(top));
                assert_eq!(root_from(all[index], index, size, &[&way[..], &[top]].concat()), None);
                if !way.is_empty() {
                    assert_ne!(root_from(all[index], index, size, &way[1..]), Some(top));
                }
            }
        }
    }

    const RECORD: &str = "schema = 2\nnotes = \"a\"\n[inspection]\nserial = \"417\"\ndate = 2026-03-14\n[inspection.x]\n\
                          [[path.element]]\nid = \"a\"\nrating = { value = \"100 A\", photos = [\"1.jpg\", \"2.jpg\"] }\n";

    #[test]
    fn each_value_is_a_field_with_its_path() {
        let paths: Vec<String> = plain(RECORD).unwrap().iter().map(|(p, v)| format!("{p} = {v}")).collect();
        assert_eq!(
            paths,
            [
                "inspection.date = \"2026-03-14\"",
                "inspection.serial = \"417\"",
                "inspection.x = {}",
                "notes = \"a\"",
                "path.element[1].id = \"a\"",
                "path.element[1].rating.photos[1] = \"1.jpg\"",
                "path.element[1].rating.photos[2] = \"2.jpg\"",
                "path.element[1].rating.value = \"100 A\"",
                "schema = 2",
            ]
        );
        // A key that looks like a path is none.
        assert_ne!(plain("\"a.b\" = 1").unwrap(), plain("a.b = 1").unwrap());
        assert_ne!(plain("\"a[1]\" = 1").unwrap(), plain("a = [1]").unwrap());
        assert_ne!(plain("a = 1").unwrap(), plain("a = \"1\"").unwrap());
        assert!(plain("a = ").is_none());
    }

    #[test]
    fn a_withheld_edition_has_the_same_root_and_one_field_is_shown_alone() {
        let folder = tempfile::tempdir().unwrap();
        let fields = Fields::new(RECORD).unwrap().unwrap();
        let salts: BTreeSet<Sha256Digest> = fields.0.iter().map(|field| field.salt).collect();
        assert_eq!(salts.len(), fields.0.len(), "no two fields share a salt");
        let shown = ["schema", "path.element[1].rating", "inspection.date"].map(str::to_owned).into();
        let text = fields.edition(&shown);
        assert!(text.contains("100 A") && !text.contains("\"417\"") && !text.contains("serial"), "{text}");
        std::fs::write(folder.path().join(FIELDS_NAME), &text).unwrap();
        assert_eq!(read_edition(folder.path()), Ok((fields.tree(), 5)));
        // Changed, left out, added, in another order: another root or another number.
        let lines: Vec<&str> = text.lines().collect();
        for changed in [
            text.replace("100 A", "200 A"),
            text.replace("rating.value", "rating.claim"),
            [&lines[..3], &lines[4..]].concat().join("\n"),
            [&lines[..3], &lines[2..]].concat().join("\n"),
            [&lines[..2], &[lines[3], lines[2]], &lines[4..]].concat().join("\n"),
        ] {
            std::fs::write(folder.path().join(FIELDS_NAME), &changed).unwrap();
            assert_ne!(read_edition(folder.path()).map(|(tree, _)| tree), Ok(fields.tree()), "{changed}");
        }
        let proof = fields.proof("inspection.serial").unwrap();
        assert!(proof.stands_in(fields.tree()));
        for change in [
            (|p: &mut Proof| p.value = Value::from("418")) as fn(&mut Proof),
            |p| p.value = Value::from(417),
            |p| "inspection.model".clone_into(&mut p.path),
            |p| p.index += 1,
            |p| p.salt = Sha256Digest::of(b""),
            |p| p.beside.truncate(1),
        ] {
            let mut proof = fields.proof("inspection.serial").unwrap();
            change(&mut proof);
            assert!(!proof.stands_in(fields.tree()), "{proof:?}");
        }
        assert_eq!(fields.proof("inspection.seriel").unwrap_err(), Some("inspection.serial"));
        // The salts on disk give the same tree, and none for a record that has more fields.
        std::fs::write(folder.path().join(SALTS_NAME), fields.salts()).unwrap();
        assert_eq!(Fields::read(folder.path(), RECORD).map(|f| f.tree()), Some(fields.tree()));
        assert!(Fields::read(folder.path(), &format!("{RECORD}x = 1\n")).is_none());
    }
}
