//! No text makes a reader panic: records, expressions, rule books, answers.

use proptest::prelude::*;

use underlid::judge::rules::{Book, expr};
use underlid::record::{Part, Record, read, read_answer};

/// Text that looks like a record often enough to get past the first line.
fn nearly_toml() -> impl Strategy<Value = String> {
    let line = prop_oneof![
        "\\[\\[?(path.element|claims|cells|cells.reading|bms|bms.layer|photo|test|instrument|x)\\]?\\]",
        "(kind|section|rating|capacity|size|count|date|with|how|accuracy|schema|shows) = \"[-+0-9a-zA-Z ./x±%°µΩ²·,()]{0,20}\"",
        "(kind|count|series|schema|capacity|date) = [-+0-9.eE_xinfatr:TZ]{0,12}",
        "(rating|resistance) = \\{ value = \"[0-9]{0,3} ?[a-zAΩ]{0,3}\"(, (how|with|note|x) = \"[a-z]{0,8}\")? \\}",
        "\\PC{0,30}",
    ];
    prop::collection::vec(line, 0..12).prop_map(|lines| format!("schema = 2\n{}", lines.join("\n")))
}

proptest! {
    #[test]
    fn records(text in prop_oneof![nearly_toml(), "\\PC*"]) {
        match read("any", &text) {
            Ok(record) => {
                let book = Book::built_in().unwrap();
                let derived = underlid::judge::facts::Derived::of(&record, &book.limit_amounts());
                let _ = underlid::judge::rules::judge(&record, &derived, &book);
            }
            Err(problems) => {
                for problem in problems.list() {
                    prop_assert!(problem.span.start <= problem.span.end);
                    prop_assert!(!problem.message.is_empty());
                }
            }
        }
    }

    #[test]
    fn expressions(text in prop_oneof!["[-+*/^()<>=!., \"'a-z0-9_%°ΩmAV]{0,60}", "\\PC*", "\\(*"]) {
        if let Err(error) = expr::parse(&text) {
            prop_assert!(error.at.start <= error.at.end && error.at.end <= text.len().max(error.at.start));
        }
    }

    #[test]
    fn rule_books(require in "[-+*/^()<>=!., a-z0-9_\"%]{0,40}", each in "[a-z-]{0,12}") {
        let text = format!("schema = 1\n[[rule]]\nid = \"x\"\neach = [\"{each}\"]\nrequire = '{require}'\n");
        let _ = Book::read("any", &text);
    }

    #[test]
    fn answers(typed in "\\PC{0,40}") {
        for child in Record::SHAPE.children {
            for field in (child.shape)().fields {
                let _ = read_answer(field, &typed);
            }
        }
    }
}

#[test]
fn deep_and_long_expressions_are_refused() {
    for text in [
        "(".repeat(1000),
        format!("{}1", "-".repeat(1000)),
        format!("{}yes", "not ".repeat(400)),
        "1+".repeat(5000),
    ] {
        assert!(expr::parse(&text).is_err());
    }
}
