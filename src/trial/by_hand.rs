//! A test without a log: what somebody read off and wrote down.

use super::{COLD, FULL_LOAD, Trial, worked};
use crate::derive::{Bound, Missing, Reason, Side, Val};
use crate::quantity::{Amount, COVERAGE, Uncertain};
use crate::record::Record;
use crate::record::parts::BenchTest;

/// What a test without a log shows: what somebody read off and wrote down.
pub(super) fn by_hand(record: &Record, test: &BenchTest, trial: &mut Trial) {
    let missing = |field: &str| {
        let place = test.id.text().map_or_else(|| "the test".to_owned(), |id| format!("test {id}"));
        Missing::fact(&format!("test.{field}"), &place, Reason::NotRecorded)
    };
    let reading = |name: &'static str,
                   field: &str,
                   quantity: Option<&crate::quantity::Quantity>,
                   found: &crate::record::Found| {
        let Some(quantity) = quantity else { return (name, Err(vec![missing(field)])) };
        let number = match quantity.expanded {
            Some(expanded) => Uncertain::new(
                quantity.value,
                u32::try_from(found.span.start * 4).unwrap_or(0),
                expanded / COVERAGE,
            ),
            None => Uncertain::exact(quantity.value),
        };
        let amount = Amount { number, dimension: quantity.dimension };
        (name, Ok(worked(Val::Amount(amount), vec!["read off by hand, no log".to_owned()])))
    };
    match trial.kind.as_str() {
        "capacity" => {
            for (name, mut answer) in [
                reading("test.capacity_found", "capacity", test.capacity.quantity(), test.capacity.found()),
                reading("test.energy_found", "energy", test.energy.quantity(), test.energy.found()),
            ] {
                // Only a test that ran down to the cut-off shows the whole capacity.
                if let Ok(worked) = &mut answer
                    && !matches!(test.end.word(), Some("load cut-off" | "bms cut-off"))
                {
                    worked.bound = Some(Bound {
                        side: Side::AtLeast,
                        missing: vec![missing("end")],
                        by_definition: false,
                    });
                }
                trial.facts.insert(name, answer);
            }
        }
        "full load" => {
            let rated = record.claims.continuous_current.quantity();
            let answer = match (test.current.quantity(), rated, test.end.word(), test.duration.quantity()) {
                (Some(current), Some(rated), Some(end), Some(duration)) if current.value >= rated.value => {
                    let step = format!("{} for {}, ended by {end}", current.text, duration.text);
                    match end {
                        "bms cut-off" => Ok(worked(Val::YesNo(false), vec![step])),
                        "time" if duration.value >= FULL_LOAD => Ok(worked(Val::YesNo(true), vec![step])),
                        _ => Err(vec![Missing::refused(&format!(
                            "{step}: a quarter of an hour at rated current was not shown"
                        ))]),
                    }
                }
                (Some(current), Some(rated), ..) if current.value < rated.value => {
                    Err(vec![Missing::refused(&format!(
                        "{} is below the rated {}",
                        current.text, rated.text
                    ))])
                }
                (current, rated, end, duration) => Err([
                    (current.is_none(), "current"),
                    (end.is_none(), "end"),
                    (duration.is_none(), "duration"),
                ]
                .into_iter()
                .filter(|(lacks, _)| *lacks)
                .map(|(_, field)| missing(field))
                .chain(
                    rated
                        .is_none()
                        .then(|| Missing::fact("claims.continuous_current", "", Reason::NotRecorded)),
                )
                .collect()),
            };
            trial.facts.insert("test.held", answer);
        }
        "cold charge" => {
            let answer = match (test.charged_while_cold.yes(), test.cell_temperature.quantity()) {
                (Some(charged), Some(cell)) if cell.value < COLD => {
                    Ok(worked(Val::YesNo(!charged), vec![format!("cells at {}", cell.text)]))
                }
                (Some(_), Some(cell)) => {
                    Err(vec![Missing::refused(&format!("the cells were at {}, not below 0 °C", cell.text))])
                }
                (charged, cell) => {
                    Err([(charged.is_none(), "charged_while_cold"), (cell.is_none(), "cell_temperature")]
                        .into_iter()
                        .filter(|(lacks, _)| *lacks)
                        .map(|(_, field)| missing(field))
                        .collect())
                }
            };
            trial.facts.insert("test.blocked", answer);
        }
        _ => {}
    }
}
