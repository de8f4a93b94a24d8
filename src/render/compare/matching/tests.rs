use proptest::prelude::*;

use super::*;

/// "group/id/name/facts", some of them empty; the place is the place in the list.
fn items(texts: &[&str]) -> Vec<Item> {
    texts
        .iter()
        .enumerate()
        .map(|(at, text)| {
            let mut parts = text.split('/').map(str::to_owned);
            let mut next = || parts.next().unwrap_or_default();
            let (group, id, name, facts) = (next(), next(), next(), next());
            let (kind, leg) = group.split_once(' ').unwrap_or((&group, ""));
            let (wider, vague) = (Some(kind.to_owned()), leg.is_empty());
            Item { wider, vague, group: group.clone(), id, name, facts, place: Some(at) }
        })
        .collect()
}

#[test]
fn who_stands_for_whom() {
    // what, first, second, pairs with the words of what they were matched by
    type Case = (
        &'static str,
        &'static [&'static str],
        &'static [&'static str],
        &'static [(usize, usize, &'static str)],
    );
    let cases: &[Case] = &[
        (
            "the same list",
            &["terminal neg/t", "busbar neg/b", "fuse pos/f"],
            &["terminal neg/t", "busbar neg/b", "fuse pos/f"],
            &[(0, 0, "the only one"), (1, 1, "the only one"), (2, 2, "the only one")],
        ),
        (
            "renamed and reordered, one of each kind",
            &["terminal neg/t", "busbar neg/b", "fuse pos/f"],
            &["fuse pos/F1", "terminal neg/T1", "busbar neg/B1"],
            &[(0, 1, "the only one"), (1, 2, "the only one"), (2, 0, "the only one")],
        ),
        ("a fuse in the other leg is another role", &["fuse pos/f"], &["fuse neg/f"], &[]),
        (
            "another kind in the same place is another role",
            &["joint pos/j", "fuse pos/f"],
            &["joint pos/j", "thermal-cutoff pos/f"],
            &[(0, 0, "the only one")],
        ),
        (
            "two of a kind, reordered: ids break the tie",
            &["joint pos/a", "joint pos/b"],
            &["joint pos/b", "joint pos/a"],
            &[(0, 1, "same id"), (1, 0, "same id")],
        ),
        (
            "two of a kind, renamed: the place decides",
            &["joint pos/a", "joint pos/b"],
            &["joint pos/x", "joint pos/y"],
            &[(0, 0, "first"), (1, 1, "second")],
        ),
        (
            "one inserted, the others keep their names",
            &["joint pos/a/to the fuse", "joint pos/b/to the terminal"],
            &["joint pos/p/to the fuse", "joint pos/q/to the shunt", "joint pos/r/to the terminal"],
            &[(0, 0, "same name"), (1, 2, "same name")],
        ),
        (
            "numbered ids shifted by an insertion: names outweigh them",
            &["joint pos/j1/to the fuse", "joint pos/j2/to the terminal"],
            &["joint pos/j1/to the shunt", "joint pos/j2/to the fuse", "joint pos/j3/to the terminal"],
            &[(0, 1, "same name"), (1, 2, "same name")],
        ),
        (
            "names that stand for several decide nothing",
            &["joint pos//link", "joint pos//link"],
            &["joint pos//link", "joint pos//link"],
            &[(0, 0, "first"), (1, 1, "second")],
        ),
        (
            "without ids and names: what is recorded, then the place",
            &["joint pos///drop=1", "joint pos///drop=2", "joint pos///drop=3"],
            &["joint pos///drop=3", "joint pos///drop=9", "joint pos///drop=1"],
            &[
                (0, 2, "everything recorded is the same"),
                (1, 1, "first"),
                (2, 0, "everything recorded is the same"),
            ],
        ),
        ("a leg that is not recorded", &["fuse/f"], &["fuse pos/f"], &[(0, 0, "the only one")]),
        ("nothing at all", &[], &["fuse pos/f"], &[]),
    ];
    for (what, first, second, wanted) in cases {
        let found: Vec<(usize, usize, String)> = pairs(&items(first), &items(second))
            .iter()
            .map(|p| (p.first, p.second, p.tie.words("")))
            .collect();
        let wanted: Vec<(usize, usize, String)> =
            wanted.iter().map(|(a, b, w)| (*a, *b, (*w).to_owned())).collect();
        assert_eq!(found, wanted, "{what}");
    }
}

#[test]
fn claims_in_words_are_matched_by_what_they_say_alone() {
    let item = |id: &str, name: &str| Item { id: id.to_owned(), name: name.to_owned(), ..Item::default() };
    assert_eq!(pairs(&[item("a", "marine")], &[item("b", "certified cells")]), []);
    assert_eq!(pairs(&[item("a", "marine")], &[item("b", "marine")]).len(), 1);
}

#[test]
fn rows_keep_the_order_and_put_what_is_new_in_its_place() {
    let lists = [
        items(&["terminal neg/t", "joint pos/j", "fuse pos/f", "cable pos/c"]),
        items(&["terminal neg/t", "joint pos/j", "cutoff pos/l", "cable pos/c"]),
        items(&["shunt neg/s", "terminal neg/t", "cutoff pos/l"]),
    ];
    let rows = rows(&lists);
    let at: Vec<Vec<Option<usize>>> = rows.rows.iter().map(|row| row.at.clone()).collect();
    assert_eq!(
        at,
        [
            vec![None, None, Some(0)],
            vec![Some(0), Some(0), Some(1)],
            vec![Some(1), Some(1), None],
            vec![Some(2), None, None],
            vec![None, Some(2), Some(2)],
            vec![Some(3), Some(3), None],
        ]
    );
    assert_eq!(rows.of(2, 2), Some(4));
    assert_eq!(rows.of(2, 9), None);
}

/// Ten thousand twins are matched without comparing each with each.
#[test]
fn many_twins_do_not_hang() {
    let list: Vec<Item> = (0..10_000)
        .map(|at| Item {
            group: "joint pos".to_owned(),
            name: "link".to_owned(),
            place: Some(at),
            ..Item::default()
        })
        .collect();
    let started = std::time::Instant::now();
    let lists = [list.clone(), list];
    assert_eq!(rows(&lists).rows.len(), 10_000);
    assert!(started.elapsed().as_secs() < 10, "{:?}", started.elapsed());
}

fn any_item() -> impl Strategy<Value = Item> {
    ("[ab]( [pn])?", "[ab]?", "[ab]?", "[ab]?", 0_usize..4).prop_map(|(group, id, name, facts, place)| {
        let (kind, leg) = group.split_once(' ').unwrap_or((&group, ""));
        let (wider, vague) = (Some(kind.to_owned()), leg.is_empty());
        Item { wider, vague, group: group.clone(), id, name, facts, place: Some(place) }
    })
}

proptest! {
    /// Compared the other way round, the same parts stand for each other, for the same reason.
    #[test]
    fn matching_is_symmetric(
        first in prop::collection::vec(any_item(), 0..9),
        second in prop::collection::vec(any_item(), 0..9),
    ) {
        let mut there: Vec<_> = pairs(&first, &second).iter().map(|p| (p.first, p.second, p.tie)).collect();
        let mut back: Vec<_> = pairs(&second, &first).iter().map(|p| (p.second, p.first, p.tie)).collect();
        there.sort_by_key(|p| (p.0, p.1));
        back.sort_by_key(|p| (p.0, p.1));
        prop_assert_eq!(there, back);
    }

    /// No part stands for two, and none is left over on both sides of a group.
    #[test]
    fn each_part_once(
        first in prop::collection::vec(any_item(), 0..9),
        second in prop::collection::vec(any_item(), 0..9),
    ) {
        let pairs = pairs(&first, &second);
        let mut firsts: Vec<_> = pairs.iter().map(|p| p.first).collect();
        let mut seconds: Vec<_> = pairs.iter().map(|p| p.second).collect();
        firsts.dedup();
        seconds.sort_unstable();
        seconds.dedup();
        prop_assert_eq!((firsts.len(), seconds.len()), (pairs.len(), pairs.len()));
        for (a, item) in first.iter().enumerate() {
            for (b, other) in second.iter().enumerate() {
                let left = !pairs.iter().any(|p| p.first == a || p.second == b);
                prop_assert!(!(left && item.group == other.group), "{item:?} {other:?}");
            }
        }
    }

    /// A list in another order, each part with an id of its own: everybody finds themselves.
    #[test]
    fn a_permuted_list_gives_the_same_pairs(
        (list, order) in prop::collection::vec(any_item(), 0..12).prop_flat_map(|list| {
            let order = Just((0..list.len()).collect::<Vec<_>>()).prop_shuffle();
            (Just(list), order)
        }),
    ) {
        let list: Vec<Item> = list
            .into_iter()
            .enumerate()
            .map(|(at, item)| Item { id: format!("e{at}"), ..item })
            .collect();
        let permuted: Vec<Item> = order.iter().map(|at| list[*at].clone()).collect();
        let pairs = pairs(&list, &permuted);
        prop_assert_eq!(pairs.len(), list.len());
        for pair in pairs {
            prop_assert_eq!(&list[pair.first].id, &permuted[pair.second].id);
        }
    }
}
