use super::*;

fn amperes(value: f64, expanded: f64) -> Amount {
    Amount { number: Uncertain::new(value, 1, expanded / 2.0), dimension: Dimension::CURRENT }
}

fn known(value: f64, expanded: f64) -> PermissibleCurrent {
    PermissibleCurrent::Known(amperes(value, expanded))
}

fn rated(name: &str, current: Option<f64>, complete: bool) -> Rated {
    Rated { name: name.to_owned(), current: current.map(|a| amperes(a, 0.0)), complete }
}

/// Elements are named "bar", "cable", "fuse" in their order.
fn path(permissible_currents: Vec<[PermissibleCurrent; 2]>) -> Vec<Matched> {
    let names = ["bar", "cable", "fuse"];
    permissible_currents
        .into_iter()
        .zip(names)
        .map(|(permissible_current, label)| Matched {
            labels: [label, label].map(str::to_owned),
            permissible_current,
        })
        .collect()
}

struct Case {
    what: &'static str,
    ratings: [Option<f64>; 2],
    complete: bool,
    elements: Vec<[PermissibleCurrent; 2]>,
    outcome: RatingOutcome,
    answer: &'static str,
}

fn both(value: f64, expanded: f64) -> [PermissibleCurrent; 2] {
    [known(value, expanded), known(value, expanded)]
}

#[expect(clippy::too_many_lines, reason = "a table of cases")]
fn cases() -> Vec<Case> {
    let case = |what, ratings: (f64, f64), elements, outcome, answer| Case {
        what,
        ratings: [Some(ratings.0), Some(ratings.1)],
        complete: true,
        elements,
        outcome,
        answer,
    };
    vec![
        case(
            "rating down, the weakest is weaker",
            (200.0, 150.0),
            vec![[known(220.0, 8.0), known(160.0, 6.0)], both(250.0, 5.0)],
            RatingOutcome::Element,
            "The lower rating is explained by bar, which carried 220.0 A ± 8.0 A in A and carries 160.0 A ± 6.0 A in B, less than 200 A.",
        ),
        case(
            "rating down, all the same",
            (200.0, 150.0),
            vec![both(220.0, 8.0), both(250.0, 0.0)],
            RatingOutcome::RatingAlone,
            "Every recorded element carries as much as before; the rating alone changed.",
        ),
        case(
            "rating down, differences within the uncertainty only",
            (200.0, 150.0),
            vec![[known(220.0, 8.0), known(214.0, 8.0)], both(250.0, 0.0)],
            RatingOutcome::RatingAlone,
            "Every recorded element carries as much as before; the rating alone changed.",
        ),
        case(
            "rating down, all the same, and never carried",
            (200.0, 150.0),
            vec![both(136.0, 1.0), both(250.0, 0.0)],
            RatingOutcome::RatingAlone,
            "Every recorded element carries as much as before; the rating alone changed. In A, bar carries 136.0 A ± 1.0 A, less than the 200 A it is rated for.",
        ),
        case(
            "rating down, weaker but the old rating is still carried",
            (200.0, 150.0),
            vec![[known(300.0, 8.0), known(240.0, 8.0)], both(250.0, 0.0)],
            RatingOutcome::NoElement,
            "No recorded element explains the lower rating: every recorded element carries 200 A in both.",
        ),
        case(
            "rating down, the old rating was not carried before either",
            (200.0, 150.0),
            vec![[known(120.0, 2.0), known(100.0, 2.0)], both(250.0, 0.0)],
            RatingOutcome::NoElement,
            "No recorded element explains the lower rating: A did not carry its 200 A either, bar carries 120.0 A ± 2.0 A.",
        ),
        case(
            "rating down, a new element is too weak",
            (200.0, 150.0),
            vec![both(220.0, 8.0), both(250.0, 0.0), [PermissibleCurrent::NotThere, known(120.0, 0.0)]],
            RatingOutcome::Element,
            "The lower rating is explained by fuse, which is only in B and carries 120 A, less than 200 A.",
        ),
        case(
            "rating up, the weakest is stronger",
            (150.0, 200.0),
            vec![[known(160.0, 6.0), known(220.0, 8.0)], both(250.0, 0.0)],
            RatingOutcome::Element,
            "The higher rating is explained by bar, which carried 160.0 A ± 6.0 A in A, less than 200 A, and carries 220.0 A ± 8.0 A in B.",
        ),
        case(
            "rating up, nothing is stronger",
            (150.0, 200.0),
            vec![both(160.0, 6.0), both(250.0, 0.0)],
            RatingOutcome::RatingAlone,
            "Every recorded element carries as much as before; the rating alone changed. In B, bar carries 160.0 A ± 6.0 A, less than the 200 A it is rated for.",
        ),
        case(
            "rating up, nothing is stronger and all was carried before",
            (150.0, 200.0),
            vec![both(230.0, 6.0), both(250.0, 0.0)],
            RatingOutcome::RatingAlone,
            "Every recorded element carries as much as before; the rating alone changed.",
        ),
        case(
            "rating up, a different weakest that is too weak",
            (150.0, 200.0),
            vec![[known(160.0, 6.0), known(220.0, 8.0)], [known(250.0, 2.0), known(120.0, 2.0)]],
            RatingOutcome::NoElement,
            "No recorded element explains the higher rating: in B, cable carries 120.0 A ± 2.0 A, less than its 200 A.",
        ),
        case(
            "rating up, the weak element is gone",
            (150.0, 200.0),
            vec![both(220.0, 8.0), [known(120.0, 0.0), PermissibleCurrent::NotThere]],
            RatingOutcome::Element,
            "The higher rating is explained by cable, which is only in A and carries 120 A, less than 200 A.",
        ),
        case(
            "an element is unknown",
            (200.0, 150.0),
            vec![[known(220.0, 8.0), known(160.0, 6.0)], [PermissibleCurrent::Unknown, known(250.0, 0.0)]],
            RatingOutcome::NotDecided,
            "Not decided: the permissible current of cable is not known in A.",
        ),
        case(
            "an element is unknown where another settles the record",
            (200.0, 150.0),
            vec![[known(220.0, 8.0), known(160.0, 6.0)], [known(250.0, 0.0), PermissibleCurrent::Unknown]],
            RatingOutcome::Element,
            "The lower rating is explained by bar, which carried 220.0 A ± 8.0 A in A and carries 160.0 A ± 6.0 A in B, less than 200 A.",
        ),
        case(
            "the rating lies within the uncertainty",
            (200.0, 150.0),
            vec![[known(203.0, 8.0), known(160.0, 6.0)]],
            RatingOutcome::NotDecided,
            "Not decided: bar carries 203.0 A ± 8.0 A in A, which lies within its uncertainty of 200 A.",
        ),
        Case {
            what: "a path that is not said to be complete",
            ratings: [Some(200.0), Some(150.0)],
            complete: false,
            elements: vec![both(220.0, 8.0)],
            outcome: RatingOutcome::NotDecided,
            answer: "Not decided: the path of A is not said to be complete and the path of B is not said to be complete.",
        },
        case(
            "no element is recorded",
            (200.0, 150.0),
            Vec::new(),
            RatingOutcome::NotDecided,
            "Not decided: no element of the path is recorded in A and no element of the path is recorded in B.",
        ),
        Case {
            what: "a rating is unknown",
            ratings: [None, Some(150.0)],
            complete: true,
            elements: vec![both(220.0, 8.0)],
            outcome: RatingOutcome::NotDecided,
            answer: "Not decided: the rated continuous current of A is not recorded.",
        },
        case(
            "rating unchanged, another weakest",
            (150.0, 150.0),
            vec![[known(160.0, 6.0), known(220.0, 8.0)], both(180.0, 0.0)],
            RatingOutcome::Unchanged,
            "The rating is the same, 150 A. The weakest element known is another: bar with 160.0 A ± 6.0 A in A, cable with 180 A in B.",
        ),
        case(
            "rating unchanged, the same weakest",
            (150.0, 150.0),
            vec![[known(160.0, 6.0), known(140.0, 6.0)], both(180.0, 0.0)],
            RatingOutcome::Unchanged,
            "The rating is the same, 150 A. The weakest element known is the same, bar: 160.0 A ± 6.0 A in A, 140.0 A ± 6.0 A in B (−20.0 A ± 8.5 A (−12.5 %)).",
        ),
    ]
}

#[test]
fn the_table() {
    for case in cases() {
        let records =
            [rated("A", case.ratings[0], case.complete), rated("B", case.ratings[1], case.complete)];
        let answer = explain(&records, &path(case.elements));
        assert_eq!((answer.outcome, answer.answer.as_str()), (case.outcome, case.answer), "{}", case.what);
        assert_eq!(answer.missing.is_empty(), answer.outcome != RatingOutcome::NotDecided, "{}", case.what);
    }
}

/// The other way round the same elements are named and the outcome is the same: up for down.
#[test]
fn the_answer_mirrors() {
    for case in cases() {
        let there = [rated("A", case.ratings[0], case.complete), rated("B", case.ratings[1], case.complete)];
        let back = [rated("B", case.ratings[1], case.complete), rated("A", case.ratings[0], case.complete)];
        let turned = case.elements.iter().cloned().map(|[a, b]| [b, a]).collect();
        let (one, other) = (explain(&there, &path(case.elements)), explain(&back, &path(turned)));
        assert_eq!(one.outcome, other.outcome, "{}", case.what);
        let sorted = |mut list: Vec<String>| {
            list.sort();
            list
        };
        assert_eq!(sorted(one.elements), sorted(other.elements), "{}", case.what);
    }
}
