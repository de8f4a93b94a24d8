//! What an item is asked for each of: what a rule may be applied to, but for what a record has once.

use std::ops::Range;

use crate::judge::rules::Scope;
use crate::record::problem::Problem;

/// The scope of an `each` list.
///
/// # Errors
/// A word that is no part of a record, told at `span`.
pub(super) fn of_each(each: &[String], span: &Range<usize>) -> Result<Scope, Problem> {
    match Scope::of(each, span)? {
        Scope::Rig | Scope::Source | Scope::Meters => {
            let message = "no item is asked for each of this".to_owned();
            Err(Problem::at(span.clone(), message, "leave it out", "each = [\"rig-cable\"]"))
        }
        scope => Ok(scope),
    }
}

/// True when an item of this scope may fill the field.
pub(super) fn fills(scope: &Scope, name: &str) -> bool {
    match name.split('.').next().unwrap_or_default() {
        "load" => *scope == Scope::Loads,
        "rig" | "source" | "clearing" => *scope == Scope::Pack,
        // Written in one line with the part they belong to.
        "branch" | "sensor" | "meter" | "area" => false,
        "element" => scope.knows(name),
        _ => of_conditions(scope).knows(name),
    }
}

/// The scope in which the conditions of its items are read. Nothing of the rig is known to the rules' language.
pub(super) fn of_conditions(scope: &Scope) -> Scope {
    if scope.of_the_rig() { Scope::Pack } else { scope.clone() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::parts::ElementKind;

    #[test]
    fn each_names_a_part_of_the_pack_or_of_the_rig() {
        let of = |words: &[&str]| {
            of_each(&words.iter().map(|w| (*w).to_owned()).collect::<Vec<_>>(), &(0..1))
                .map_err(|problem| format!("{}; {}", problem.message, problem.expected))
        };
        assert_eq!(of(&[]), Ok(Scope::Pack));
        assert_eq!(of(&["load"]), Ok(Scope::Loads));
        assert_eq!(
            of(&["rig-fuse", "rig-cable"]),
            Ok(Scope::RigElements(vec![ElementKind::Cable, ElementKind::Fuse]))
        );
        assert!(of(&["meter"]).is_err());
    }

    #[test]
    fn a_field_belongs_to_the_scope_of_its_part() {
        for (scope, name, fits) in [
            (Scope::Pack, "rig.ambient", true),
            (Scope::Pack, "source.kind", true),
            (Scope::Pack, "load.power", false),
            (Scope::Pack, "element.rating", false),
            (Scope::Loads, "load.power", true),
            (Scope::RigElements(vec![ElementKind::Fuse]), "element.rating", true),
            (Scope::RigElements(vec![ElementKind::Fuse]), "load.power", false),
            (Scope::Tests, "branch.log", false),
        ] {
            assert_eq!(fills(&scope, name), fits, "{scope:?} {name}");
        }
    }
}
