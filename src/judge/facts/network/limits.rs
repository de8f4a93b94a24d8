//! The highest temperature of each kind of place: from its data sheet where that is recorded, else a limit of the book.

use crate::judge::facts::worker::{Worker, line};
use crate::judge::facts::{Answer, Facts, Subject};
use crate::record::parts::{ElementKind, Finish};
use crate::thermal::NetworkValue;
use crate::units::Amount;

/// The limit as the network takes it.
pub(super) fn value(limit: &Answer) -> Option<NetworkValue> {
    let amount = limit.as_ref().ok()?.value.amount().map(Amount::value)?;
    Some(amount.into())
}

/// A limit of the book.
fn of_book(mut work: Worker<'_>, name: &str, what: &str) -> Answer {
    let limit = work.amount(&format!("limit.{name}"));
    let [limit] = work.all([limit])?;
    work.step(|| line(what, &limit));
    work.done(limit)
}

/// Highest temperature of an element that is no joint.
pub(crate) fn of(facts: &Facts<'_>, kind: ElementKind) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(allowed) = work.optional("element.allowed_temperature") {
        work.step(|| line("highest temperature of its data sheet", &allowed));
        return work.done(allowed);
    }
    match kind {
        ElementKind::Busbar => of_book(work, "bar_temperature", "highest temperature of a bar"),
        ElementKind::Cable => {
            let class = work.amount("element.insulation_temperature");
            let [class] = work.all([class])?;
            work.step(|| line("temperature class of the insulation", &class));
            let class = at_its_ends(facts, &mut work, class);
            work.done(class)
        }
        ElementKind::ThermalCutoff => {
            let trip = work.amount("element.trip_temperature");
            let [trip] = work.all([trip])?;
            work.step(|| line("it opens at", &trip));
            work.done(trip)
        }
        ElementKind::Joint | ElementKind::Terminal => {
            of_book(work, "joint_temperature", "highest temperature of a joint")
        }
        ElementKind::CellStack => of_book(work, "cell_temperature", "highest temperature of a cell"),
        ElementKind::Fuse
        | ElementKind::CircuitBreaker
        | ElementKind::Contactor
        | ElementKind::Shunt
        | ElementKind::Connector
        | ElementKind::Bms => {
            let _ = work.amount("element.allowed_temperature");
            Err(work.take_missing())
        }
    }
}

/// What the ends of a cable leave of its insulation's class: an end on a part that is listed without a joint of its own has the
/// limit of that joint, on the cells that of a post. Insulation for 200 °C on a cell's post helps nothing.
fn at_its_ends(facts: &Facts<'_>, work: &mut Worker<'_>, class: Amount) -> Amount {
    let Subject::Element(index) = facts.subject else { return class };
    if facts.derived.is_alone() {
        return class;
    }
    let neighbours = [index.checked_sub(1), Some(index + 1)];
    let kinds = neighbours.into_iter().flatten().filter_map(|at| facts.record.path.element.get(at)?.kind());
    let mut least = class;
    for kind in kinds {
        let (limit, what) = match kind {
            ElementKind::CellStack => ("limit.post_temperature", "its end on a cell's post"),
            ElementKind::Fuse
            | ElementKind::CircuitBreaker
            | ElementKind::ThermalCutoff
            | ElementKind::Contactor
            | ElementKind::Shunt
            | ElementKind::Connector
            | ElementKind::Bms => ("limit.joint_temperature", "its end, whose joint is not listed"),
            ElementKind::Busbar | ElementKind::Cable | ElementKind::Joint | ElementKind::Terminal => continue,
        };
        if let Some(limit) = work.amount(limit).filter(|limit| limit.value() < least.value()) {
            work.step(|| line(what, &limit));
            least = limit;
        }
    }
    least
}

/// Highest temperature of a joint or a terminal: from its data sheet, else by the coat of both sides, the lower of the two.
/// A side whose coat is not recorded, as that of a cell's post, is taken as bare.
pub(super) fn of_joint(facts: &Facts<'_>, kind: ElementKind, sides: [Option<Finish>; 2]) -> Answer {
    let sheet = Worker::new(facts).optional("element.allowed_temperature").is_some();
    let [Some(one), Some(other)] = sides else { return of(facts, kind) };
    let coat = |finish| match finish {
        Finish::NickelPlated => 2,
        Finish::TinPlated => 1,
        Finish::Bright | Finish::Oxidised | Finish::HeavilyOxidised | Finish::Sleeved => 0,
    };
    let both = format!("one side is {}, the other {}", one.word(), other.word());
    match coat(one).min(coat(other)) {
        2 if !sheet => of_book(Worker::new(facts), "nickel_plated_joint_temperature", &both),
        1 if !sheet => of_book(Worker::new(facts), "tinned_joint_temperature", &both),
        _ => of(facts, kind),
    }
}

/// Highest temperature of a cell's post.
pub(super) fn post(facts: &Facts<'_>) -> Answer {
    of_book(Worker::new(facts), "post_temperature", "highest temperature of a cell's post")
}

/// Highest temperature of a cell.
pub(super) fn cell(facts: &Facts<'_>) -> Answer {
    of_book(Worker::new(facts), "cell_temperature", "highest temperature of a cell")
}
