//! One picture for one question: does the protection work? Fault current, what opens and when, what is harmed and when.

use crate::judge::facts::{Derived, element_label};
use crate::physics::short_circuit::share_at;
use crate::record::parts::{Element, ElementTrait};
use crate::record::{Found, Record, Value};
use crate::render::draw::time_current::{Line, TimeCurrent};
use crate::render::draw::{Named, Paper};
use crate::units::words::count;
use crate::units::{Amount, Dimension, show, show_to};
use uom::si::electric_current::ampere;
use uom::si::f64::ElectricCurrent;

/// Longest time for which a line of harm is drawn, s: beyond it heat leaves the conductor, and the network judges.
const ADIABATIC: f64 = 60.0;
/// Upper end of the chart, s.
const EVER: f64 = 1e3;
/// Steps of current at which the lines are compared.
const STEPS: usize = 160;

/// The picture and what it says.
#[derive(Debug, Clone)]
pub(crate) struct Protection {
    pub chart: TimeCurrent,
    pub words: Vec<String>,
}

impl Protection {
    /// The picture as a file of its own.
    pub(crate) fn alone(&self, title: &str) -> String {
        let words = self.words.join(" ");
        self.chart.draw(Paper::PAGE).alone(Named { id: "protection", title, words: &words })
    }
}

/// What harms a conductor first, by statement.
struct Harm {
    line: Line,
    /// Whether it counts for what is covered; plastics are an opinion.
    counts: bool,
    /// Time at the greatest prospective current.
    earliest: f64,
}

/// A device's opening times as steps: from a current on, within a time.
type Steps = Vec<(f64, f64)>;

/// Gathers the picture; nothing where the fault current is not known.
pub(crate) fn protection(record: &Record, derived: &Derived) -> Option<Protection> {
    let prospective = ends(derived.of_pack("path.short_circuit_current")?.as_ref().ok()?.value.amount()?);
    let (least, greatest) = prospective;
    if !(least > 0.0 && greatest.is_finite()) {
        return None;
    }
    let mut words = Vec::new();
    let mut chart = TimeCurrent { prospective, ..TimeCurrent::default() };
    words.push(format!("The pack feeds {} into a short circuit at its terminals.", told(prospective)));
    if let Some(Ok(worked)) = derived.of_pack("path.fault_time_constant")
        && let Some(constant) = worked.value.amount().map(ends)
    {
        let middle = 0.5 * (constant.0 + constant.1);
        let points = (-20..=8).map(|step| middle * 10_f64.powf(f64::from(step) / 8.0));
        let points =
            points.map(|time| (greatest * share_at(time, middle), time)).filter(|p| p.0 > 0.05 * greatest);
        words.push(format!(
            "It rises with L/R of {} to {}.",
            show_to(constant.0, 2, Dimension::TIME),
            show_to(constant.1, 2, Dimension::TIME)
        ));
        chart.lines.push(Line { name: "the current rises (L/R)".to_owned(), points: points.collect() });
    }
    let bms = bms(record);
    if bms.is_empty() {
        words.push("No trip of the BMS is recorded with its delay.".to_owned());
    } else {
        chart
            .lines
            .push(Line { name: "the BMS opens, as claimed".to_owned(), points: outline(&bms, greatest) });
    }
    let fuses = fuses(record, derived, (least, greatest));
    for (name, steps) in &fuses {
        if steps.is_empty() {
            words.push(format!("How soon {name} clears a short circuit is not known."));
        } else {
            chart.lines.push(Line { name: format!("{name} clears"), points: outline(steps, greatest) });
        }
    }
    if fuses.is_empty() && record.path.complete.yes() == Some(true) {
        words.push(
            "No fuse or circuit breaker that responds to current is there: without the BMS nothing clears a fault."
                .to_owned(),
        );
    }
    let harms = harms(record, derived, greatest);
    chart.lines.extend(harms.iter().map(|harm| harm.line.clone()));
    if let Some(rated) = known(record.claims.continuous_current.found()) {
        chart.marks.push((rated, "rated".to_owned()));
    }
    let by_fuses: Vec<&Steps> = fuses.iter().map(|(_, steps)| steps).collect();
    let all: Vec<&Steps> = by_fuses.iter().copied().chain([&bms]).collect();
    chart.uncovered = uncovered(&harms, &all, greatest);
    if harms.iter().any(|harm| harm.counts) {
        words.push(covers(
            if bms.is_empty() { "" } else { "If the BMS opens as claimed, " },
            &chart.uncovered,
        ));
        if !bms.is_empty() {
            words.push(covers("Without the BMS, ", &uncovered(&harms, &by_fuses, greatest)));
        }
    } else {
        words.push("When a short circuit damages insulation or melts a conductor is not known.".to_owned());
    }
    let open = not_known(record, derived);
    if open > 0 {
        words.push(format!(
            "What a short circuit does to {} is not known.",
            count(open, "more conductor", "more conductors")
        ));
    }
    (!chart.lines.is_empty()).then_some(Protection { chart, words })
}

/// Bars and cables of which no harm is known that counts.
fn not_known(record: &Record, derived: &Derived) -> usize {
    let known = |index: usize, fact| matches!(derived.of_element(index, fact), Some(Ok(_)));
    let open = |(index, element): &(usize, &Element)| {
        element.has(ElementTrait::Conductor)
            && !known(*index, "element.insulation_damaged_after")
            && !known(*index, "element.melts_after")
    };
    record.path.element.iter().enumerate().filter(open).count()
}

/// Which currents nothing covers, in words.
fn covers(when: &str, regions: &[Vec<(f64, f64, f64)>]) -> String {
    let ranges: Vec<String> =
        regions.iter().filter_map(|region| Some(told((region.first()?.0, region.last()?.0)))).collect();
    let text = if ranges.is_empty() {
        "something opens before insulation is damaged or a conductor melts, at every current up to the prospective one.".to_owned()
    } else {
        format!(
            "at {} nothing is known to open before insulation is damaged or a conductor melts.",
            crate::units::words::list(&ranges, "and")
        )
    };
    crate::units::words::at_the_beginning(&format!("{when}{text}"))
}

fn ends(amount: &Amount) -> (f64, f64) {
    let half = amount.number.expanded();
    (amount.value() - half, amount.value() + half)
}

fn told((least, most): (f64, f64)) -> String {
    // Two digits are what such lines can be read to.
    let digits = |value: f64| {
        let step = 10_f64.powf(value.log10().floor() - 1.0);
        show((value / step).round() * step, Dimension::CURRENT)
    };
    if (most / least - 1.0).abs() < 0.02 {
        return digits(most);
    }
    format!("{} to {}", digits(least), digits(most))
}

fn known(found: &Found) -> Option<f64> {
    match found.value() {
        Some(Value::Quantity(quantity)) if quantity.bound.is_none() => Some(quantity.value),
        _ => None,
    }
}

/// The trips of the BMS that are recorded with their delays.
fn bms(record: &Record) -> Steps {
    let bms = &record.bms;
    let pairs = [
        (&bms.overcurrent_trip, &bms.overcurrent_delay),
        (&bms.short_circuit_trip, &bms.short_circuit_delay),
    ];
    pairs.iter().filter_map(|(trip, delay)| Some((known(trip.found())?, known(delay.found())?))).collect()
}

/// Fuses and circuit breakers with the times within which they surely clear.
fn fuses(record: &Record, derived: &Derived, (least, greatest): (f64, f64)) -> Vec<(String, Steps)> {
    let mut all = Vec::new();
    for (index, element) in record.path.element.iter().enumerate() {
        if !element.has(ElementTrait::InterruptsFault) {
            continue;
        }
        let mut steps = Steps::new();
        // What opens a fuse of a string is not the current of the pack.
        let whole = record.path.strings.count().is_none_or(|strings| strings < 2);
        if let (Some(rating), Some(kind), true) = (known(element.rating.found()), element.fuse.known(), whole)
        {
            let opens = crate::physics::fuse::OPENS;
            let gate = kind.clears_within(ElectricCurrent::new::<ampere>(rating), opens);
            steps.extend(gate.map(|time| (opens * rating, time.value)));
        }
        let interrupts = derived.of_element(index, "element.interrupting_found");
        let interrupts = interrupts.and_then(|answer| answer.as_ref().ok()?.value.amount());
        if let Some(time) = known(element.clearing_time.found())
            && interrupts.is_some_and(|rating| ends(rating).0 >= greatest)
        {
            steps.push((least, time));
        }
        all.push((element_label(record, index), steps));
    }
    all
}

/// Steps as a line: down to each time where its current begins, and on to the greatest.
fn outline(steps: &Steps, greatest: f64) -> Vec<(f64, f64)> {
    let mut points = Vec::new();
    let mut above = steps.first().map_or(EVER, |(_, time)| time.max(EVER));
    for (current, time) in steps {
        points.push((*current, above));
        points.push((*current, *time));
        above = *time;
    }
    points.push((greatest.max(points.last().map_or(0.0, |p| p.0)), above));
    points
}

/// The time within which steps open a current.
fn opens(steps: &Steps, current: f64) -> f64 {
    steps.iter().filter(|(from, _)| current >= *from).map(|(_, time)| *time).fold(f64::INFINITY, f64::min)
}

/// The lines of harm, each that of the conductor that it comes to first.
fn harms(record: &Record, derived: &Derived, greatest: f64) -> Vec<Harm> {
    let statements = [
        ("element.insulation_damaged_after", "insulation of ", "", true),
        ("element.plastics_damaged_after", "plastics at ", "", false),
        ("element.melts_after", "", " melts", true),
    ];
    let mut harms = Vec::new();
    for (fact, before, after, counts) in statements {
        let of = |index: usize| -> Option<f64> {
            Some(ends(derived.of_element(index, fact)?.as_ref().ok()?.value.amount()?).0)
        };
        let first = (0..record.path.element.len())
            .filter_map(|index| Some((index, of(index).filter(|time| *time > 0.0)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((index, earliest)) = first else { continue };
        // I²t is one amount along the line.
        let from = greatest * (earliest / ADIABATIC).sqrt().min(1.0);
        let points = vec![(from, earliest * (greatest / from).powi(2)), (greatest, earliest)];
        let part = record.path.element.get(index).and_then(|element| element.id.text());
        let part = part.map_or_else(|| element_label(record, index), str::to_owned);
        let name = format!("{before}{part}{after}");
        harms.push(Harm { line: Line { name, points }, counts, earliest });
    }
    harms
}

/// The currents at which the harm comes before anything opens.
fn uncovered(harms: &[Harm], devices: &[&Steps], greatest: f64) -> Vec<Vec<(f64, f64, f64)>> {
    let Some(earliest) =
        harms.iter().filter(|harm| harm.counts).map(|harm| harm.earliest).min_by(f64::total_cmp)
    else {
        return Vec::new();
    };
    let from = greatest * (earliest / ADIABATIC).sqrt().min(1.0);
    let mut regions: Vec<Vec<(f64, f64, f64)>> = Vec::new();
    let mut within = false;
    #[expect(clippy::cast_precision_loss, reason = "a small count")]
    let steps = (0..=STEPS).map(|step| from * (greatest / from).powf(step as f64 / STEPS as f64));
    // Just below where something opens, so that a region ends there.
    let edges = devices.iter().flat_map(|steps| steps.iter().map(|(edge, _)| edge * (1.0 - 1e-9)));
    let mut currents: Vec<f64> = steps.chain(edges.filter(|edge| (from..=greatest).contains(edge))).collect();
    currents.sort_by(f64::total_cmp);
    for current in currents {
        let harm = earliest * (greatest / current).powi(2);
        let opened = devices.iter().map(|steps| opens(steps, current)).fold(EVER, f64::min);
        if opened > harm {
            if !within {
                regions.push(Vec::new());
            }
            if let Some(region) = regions.last_mut() {
                region.push((current, harm, opened));
            }
        }
        within = opened > harm;
    }
    regions.retain(|region| region.len() > 1);
    regions
}
