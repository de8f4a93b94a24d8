//! Which part of one record stands for which part of another.
//!
//! Parts are matched by their role: the group they belong to (for an element of the path its kind and leg) and their
//! place among the like, counted from the cells. Ids and names only break ties, because another inspector gives other
//! names and lists in another order. What has no partner is gained or lost; nothing is paired across groups for the sake
//! of pairing. Every step treats both sides alike, so that `compare A B` and `compare B A` mirror each other, and every
//! step is a look-up in a map, so that ten thousand elements are matched in the time it takes to sort them.

use std::collections::{BTreeMap, HashMap};

/// A part to be matched.
#[derive(Debug, Clone, Default)]
pub(crate) struct Item {
    /// Parts are only matched within their group.
    pub(crate) group: String,
    /// A wider group for a part of which half the role is not recorded (an element without its leg).
    pub(crate) wider: Option<String>,
    /// True when the part lacks what tells the groups within its wider group apart.
    pub(crate) vague: bool,
    /// Its id.
    pub(crate) id: String,
    /// Its name.
    pub(crate) name: String,
    /// Everything recorded of it, as one text.
    pub(crate) facts: String,
    /// Its place among the like; parts without a place (claims in words, instruments) are only matched by what they are.
    pub(crate) place: Option<usize>,
}

/// What two parts were matched by, besides their group.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tie {
    /// Each record has one of the kind.
    OnlyOne,
    /// The same name.
    Name,
    /// The same id.
    Id,
    /// Everything recorded is the same.
    Facts,
    /// The same place among those that were left, counted from 1.
    Place(usize),
}

impl Tie {
    /// In words; `from` says where places are counted from.
    pub(crate) fn words(self, from: &str) -> String {
        match self {
            Self::OnlyOne => "the only one".to_owned(),
            Self::Name => "same name".to_owned(),
            Self::Id => "same id".to_owned(),
            Self::Facts => "everything recorded is the same".to_owned(),
            Self::Place(number) => format!("{}{from}", ordinal(number)),
        }
    }
}

fn ordinal(number: usize) -> String {
    const FIRST: [&str; 6] = ["first", "second", "third", "fourth", "fifth", "sixth"];
    number
        .checked_sub(1)
        .and_then(|at| FIRST.get(at))
        .map_or_else(|| format!("no. {number}"), |w| (*w).to_owned())
}

/// Two parts that stand for each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Pair {
    pub(crate) first: usize,
    pub(crate) second: usize,
    pub(crate) tie: Tie,
    /// True when they were matched in their wider group.
    pub(crate) vague: bool,
}

/// Matches the parts of two records.
#[cfg(test)]
fn pairs(first: &[Item], second: &[Item]) -> Vec<Pair> {
    let all = |items: &[Item]| (0..items.len()).collect::<Vec<_>>();
    among(first, &all(first), second, &all(second))
}

fn among(first: &[Item], some: &[usize], second: &[Item], others: &[usize]) -> Vec<Pair> {
    let mut found = Vec::new();
    let strict = |item: &Item| Some(item.group.clone());
    let mut step = Step { first, second, found: &mut found, vague: false };
    let (some, others) = step.groups(some, others, &strict, &strict);
    // Half a role against a whole one: first those vague on one side, then those vague on the other.
    step.vague = true;
    let vague = |item: &Item| item.wider.clone().filter(|_| item.vague);
    let whole = |item: &Item| item.wider.clone().filter(|_| !item.vague);
    let (some, others) = step.groups(&some, &others, &vague, &whole);
    step.groups(&some, &others, &whole, &vague);
    found.sort_by_key(|pair| pair.first);
    found
}

struct Step<'a> {
    first: &'a [Item],
    second: &'a [Item],
    found: &'a mut Vec<Pair>,
    vague: bool,
}

type Key<'k> = &'k dyn Fn(&Item) -> Option<String>;

impl Step<'_> {
    /// Matches group by group; returns what is left of both sides.
    fn groups(
        &mut self,
        some: &[usize],
        others: &[usize],
        one: Key<'_>,
        other: Key<'_>,
    ) -> (Vec<usize>, Vec<usize>) {
        let mut groups: BTreeMap<String, (Vec<usize>, Vec<usize>)> = BTreeMap::new();
        let mut left: (Vec<usize>, Vec<usize>) = (Vec::new(), Vec::new());
        for &at in some {
            match one(&self.first[at]) {
                Some(key) => groups.entry(key).or_default().0.push(at),
                None => left.0.push(at),
            }
        }
        for &at in others {
            match other(&self.second[at]) {
                Some(key) => groups.entry(key).or_default().1.push(at),
                None => left.1.push(at),
            }
        }
        for (some, others) in groups.into_values() {
            let (some, others) = self.group(some, others);
            left.0.extend(some);
            left.1.extend(others);
        }
        left.0.sort_unstable();
        left.1.sort_unstable();
        left
    }

    fn group(&mut self, mut some: Vec<usize>, mut others: Vec<usize>) -> (Vec<usize>, Vec<usize>) {
        if let ([a], [b]) = (some.as_slice(), others.as_slice())
            && self.first[*a].place.is_some()
            && self.second[*b].place.is_some()
        {
            self.push(*a, *b, Tie::OnlyOne);
            return (Vec::new(), Vec::new());
        }
        let both = |item: &Item| match (item.name.as_str(), item.id.as_str()) {
            ("", _) | (_, "") => String::new(),
            (name, id) => format!("{name}\n{id}"),
        };
        self.same(&mut some, &mut others, &both, Tie::Name);
        self.same(&mut some, &mut others, &|item| item.name.clone(), Tie::Name);
        self.same(&mut some, &mut others, &|item| item.id.clone(), Tie::Id);
        self.alike(&mut some, &mut others);
        let placed = |items: &[Item], of: &mut Vec<usize>| {
            of.retain(|at| items[*at].place.is_some());
            of.sort_by_key(|at| (items[*at].place, *at));
        };
        let (mut one, mut other) = (some.clone(), others.clone());
        placed(self.first, &mut one);
        placed(self.second, &mut other);
        let number = one.len().min(other.len());
        for (at, (a, b)) in one.iter().zip(&other).enumerate() {
            self.push(*a, *b, Tie::Place(at + 1));
        }
        let taken =
            |list: &[usize]| list.iter().take(number).copied().collect::<std::collections::HashSet<_>>();
        let (taken_one, taken_other) = (taken(&one), taken(&other));
        some.retain(|at| !taken_one.contains(at));
        others.retain(|at| !taken_other.contains(at));
        (some, others)
    }

    fn push(&mut self, first: usize, second: usize, tie: Tie) {
        self.found.push(Pair { first, second, tie, vague: self.vague });
    }

    /// Pairs those whose key is the same and theirs alone on either side.
    fn same(
        &mut self,
        some: &mut Vec<usize>,
        others: &mut Vec<usize>,
        key: &dyn Fn(&Item) -> String,
        tie: Tie,
    ) {
        let index = |items: &[Item], list: &[usize]| {
            let mut map: HashMap<String, Option<usize>> = HashMap::new();
            for &at in list {
                let key = key(&items[at]);
                if !key.is_empty() {
                    map.entry(key).and_modify(|one| *one = None).or_insert(Some(at));
                }
            }
            map
        };
        let (one, other) = (index(self.first, some), index(self.second, others));
        let mut gone = (Vec::new(), Vec::new());
        for (key, at) in &one {
            if let (Some(a), Some(Some(b))) = (at, other.get(key)) {
                self.push(*a, *b, tie);
                gone.0.push(*a);
                gone.1.push(*b);
            }
        }
        forget(some, gone.0);
        forget(others, gone.1);
    }

    /// Pairs those of which everything recorded is the same; among twins it does not matter which is which.
    fn alike(&mut self, some: &mut Vec<usize>, others: &mut Vec<usize>) {
        let index = |items: &[Item], list: &[usize]| {
            let mut map: BTreeMap<String, Vec<usize>> = BTreeMap::new();
            for &at in list {
                if !items[at].facts.is_empty() {
                    map.entry(items[at].facts.clone()).or_default().push(at);
                }
            }
            for twins in map.values_mut() {
                twins.sort_by_key(|at| (items[*at].place, *at));
            }
            map
        };
        let (one, other) = (index(self.first, some), index(self.second, others));
        let mut gone = (Vec::new(), Vec::new());
        for (facts, twins) in &one {
            for (a, b) in twins.iter().zip(other.get(facts).into_iter().flatten()) {
                self.push(*a, *b, Tie::Facts);
                gone.0.push(*a);
                gone.1.push(*b);
            }
        }
        forget(some, gone.0);
        forget(others, gone.1);
    }
}

fn forget(list: &mut Vec<usize>, gone: Vec<usize>) {
    let gone: std::collections::HashSet<usize> = gone.into_iter().collect();
    list.retain(|at| !gone.contains(at));
}

/// A part across all records.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Row {
    /// Where it stands in each record's list.
    pub(crate) at: Vec<Option<usize>>,
    /// What it was matched by, the first such match.
    pub(crate) tie: Option<(Tie, bool)>,
}

/// Parts across all records, in the order of the first, those of later records after the part they follow there.
#[derive(Debug, Clone, Default)]
pub(crate) struct Rows {
    /// The rows.
    pub(crate) rows: Vec<Row>,
    /// For each record, the row of each of its parts.
    pub(crate) row_of: Vec<Vec<usize>>,
}

impl Rows {
    /// The row of a part, when the list has it.
    pub(crate) fn of(&self, record: usize, at: usize) -> Option<usize> {
        self.row_of.get(record)?.get(at).copied()
    }
}

/// The record and the place of the part that a row begins with.
type Home = (usize, usize);

/// Matches the parts of all records: each record with the first, what is left with the second, and so on.
pub(crate) fn rows(lists: &[Vec<Item>]) -> Rows {
    let number = lists.len();
    // Where each part is at home: the record and place of the first part it was matched with.
    let mut home: Vec<Vec<Option<Home>>> = lists.iter().map(|list| vec![None; list.len()]).collect();
    let mut ties: BTreeMap<Home, (Tie, bool)> = BTreeMap::new();
    for later in 1..number {
        for earlier in 0..later {
            let open = |record: usize, home: &[Vec<Option<Home>>]| -> Vec<usize> {
                (0..lists[record].len()).filter(|at| home[record][*at].is_none()).collect()
            };
            let (some, others) = (open(earlier, &home), open(later, &home));
            for pair in among(&lists[earlier], &some, &lists[later], &others) {
                home[later][pair.second] = Some((earlier, pair.first));
                ties.entry((earlier, pair.first)).or_insert((pair.tie, pair.vague));
            }
        }
    }
    // What only the first record has comes before what stands in its place elsewhere.
    let mut kept = vec![number < 2; lists.first().map_or(0, Vec::len)];
    for (record, at) in home.iter().flatten().flatten() {
        if *record == 0
            && let Some(kept) = kept.get_mut(*at)
        {
            *kept = true;
        }
    }
    let mut after_lost = vec![kept.len(); kept.len() + 1];
    for at in (0..kept.len()).rev() {
        after_lost[at] = if kept[at] { at } else { after_lost[at + 1] };
    }
    // Sorted by the row before it: the first record's own place, then what follows that place elsewhere.
    let mut order: Vec<([usize; 3], Home)> = Vec::new();
    for (record, homes) in home.iter().enumerate() {
        let mut after = after_lost.first().copied().unwrap_or(0);
        for (at, home) in homes.iter().enumerate() {
            match *home {
                None if record == 0 => order.push(([at + 1, 0, 0], (0, at))),
                None => order.push(([after, record, at], (record, at))),
                Some((0, place)) => after = after_lost.get(place + 1).copied().unwrap_or(0),
                Some(_) => {}
            }
        }
    }
    order.sort_unstable();
    let number_of: HashMap<Home, usize> = order.iter().enumerate().map(|(row, (_, at))| (*at, row)).collect();
    let mut rows: Vec<Row> =
        order.iter().map(|(_, at)| Row { at: vec![None; number], tie: ties.get(at).copied() }).collect();
    let mut row_of = Vec::with_capacity(number);
    for (record, homes) in home.iter().enumerate() {
        let mut of = Vec::with_capacity(homes.len());
        for (at, home) in homes.iter().enumerate() {
            let row = number_of.get(&home.unwrap_or((record, at))).copied().unwrap_or(0);
            if let Some(cell) = rows.get_mut(row).and_then(|row| row.at.get_mut(record)) {
                *cell = Some(at);
            }
            of.push(row);
        }
        row_of.push(of);
    }
    Rows { rows, row_of }
}

#[cfg(test)]
mod tests;
