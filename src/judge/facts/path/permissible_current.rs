//! The continuous permissible current of each kind of element, with its working.

use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::f64::{Area, ElectricCurrent, Length, TemperatureInterval, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;

use crate::judge::facts::worker::{Worker, line, shown};
use crate::judge::facts::{Answer, Facts, Missing};
use crate::physics::busbar::{self, Busbar, Orientation};
use crate::physics::material::{Finish, Material};
use crate::physics::{Refusal, cable};
use crate::record::parts::ElementKind;
use crate::units::{Amount, Dimension};

/// Permissible current of an element of a kind.
pub(super) fn of(facts: &Facts<'_>, kind: Option<ElementKind>) -> Answer {
    match kind {
        Some(ElementKind::Busbar) => of_busbar(facts),
        Some(ElementKind::Cable) => of_cable(facts),
        Some(ElementKind::Fuse | ElementKind::CircuitBreaker) => of_marking(facts, "element.rating"),
        Some(ElementKind::Joint) => of_joint(facts),
        Some(ElementKind::CellStack) => of_cells(facts),
        Some(ElementKind::Bms) => of_bms(facts),
        Some(
            ElementKind::ThermalCutoff
            | ElementKind::Contactor
            | ElementKind::Shunt
            | ElementKind::Connector
            | ElementKind::Terminal,
        )
        | None => of_marking(facts, "element.marked_current"),
    }
}

fn of_marking(facts: &Facts<'_>, name: &str) -> Answer {
    let mut work = Worker::new(facts);
    let marked = work.amount(name);
    let [marked] = work.all([marked])?;
    work.step(|| line("printed on the part", &marked));
    work.assume("the printed current is taken as the part's continuous permissible current".to_owned());
    work.done(marked)
}

fn of_bms(facts: &Facts<'_>) -> Answer {
    if facts.record.bms.marked_current.is_recorded() {
        of_marking(facts, "bms.marked_current")
    } else {
        of_marking(facts, "element.marked_current")
    }
}

fn of_joint(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    if let Some(marked) = work.optional("element.marked_current") {
        work.step(|| line("printed on the part", &marked));
        return work.done(marked);
    }
    let [length, width] = ["width", "thickness"].map(|side| work.amount(&format!("element.overlap.{side}")));
    let density = work.amount("limit.contact_density");
    let count = work.count_or_one("element.count", "the number of joints side by side");
    let [length, width, density] = work.all([length, width, density])?;
    let area = length.number.times(&width.number);
    let number = area.times(&density.number).times(&count.number);
    let permissible_current = Amount { number, dimension: Dimension::CURRENT };
    let formula = format!("overlap {} × {} × {}", shown(&length), shown(&width), shown(&density));
    work.step(|| line(&formula, &permissible_current));
    work.done(permissible_current)
}

fn of_cells(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (rate, capacity) = (work.amount("pack.c_rate_limit"), work.amount("pack.capacity"));
    let [rate, capacity] = work.all([rate, capacity])?;
    let permissible_current =
        Amount { number: rate.number.times(&capacity.number), dimension: Dimension::CURRENT };
    work.step(|| line(&format!("{} × {}", rate.show(), capacity.show()), &permissible_current));
    work.done(permissible_current)
}

/// A bar's facts that are not amounts, and its geometry and surroundings as amounts.
struct BarFacts {
    material: Material,
    orientation: Option<Orientation>,
    emissivity: Amount,
    stacked: u32,
    width: Amount,
    thickness: Amount,
    ambient: Amount,
    count: Amount,
}

impl BarFacts {
    fn gather(work: &mut Worker<'_>, ambient: Option<Amount>) -> Result<Self, Vec<Missing>> {
        let (width, thickness) =
            (work.amount("element.section.width"), work.amount("element.section.thickness"));
        let ambient = ambient.or_else(|| inner_ambient(work));
        let material = work.word("element.material");
        let emissivity = work.optional("element.emissivity").unwrap_or_else(|| {
            let finish = work.optional_word("element.finish").and_then(|word| Finish::from_word(&word));
            let finish = finish.unwrap_or_else(|| {
                work.assume(
                    "the finish is not recorded; bright taken, which gives off least heat".to_owned(),
                );
                Finish::Bright
            });
            Amount::exact(finish.emissivity(), Dimension::NONE)
        });
        let orientation =
            work.optional_word("element.orientation").and_then(|word| Orientation::from_word(&word));
        if orientation.is_none() {
            work.assume("the orientation is not recorded; the less favourable one taken".to_owned());
        }
        let count = work.count_or_one("element.count", "the number of bars side by side");
        let stacked = work.count_or_one("element.stacked", "the number of stacked bars");
        let [width, thickness, ambient] = work.all([width, thickness, ambient])?;
        let Some(material) = material.as_deref().and_then(Material::from_word) else {
            return Err(work.take_missing());
        };
        work.source(&busbar::METHOD);
        work.step(|| {
            format!(
                "{} bar {} × {}, emissivity {}",
                material.word(),
                shown(&width),
                shown(&thickness),
                emissivity.show()
            )
        });
        work.step(|| line("air beside the bar", &ambient));
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "counts are small whole numbers"
        )]
        let stacked = stacked.value() as u32;
        Ok(Self { material, orientation, emissivity, stacked, width, thickness, ambient, count })
    }

    /// The bar for given numbers, lying as recorded or as given.
    fn bar(&self, width: f64, thickness: f64, emissivity: f64, orientation: Orientation) -> Busbar {
        Busbar {
            material: self.material,
            width: Length::new::<meter>(width),
            thickness: Length::new::<meter>(thickness),
            stacked: self.stacked,
            emissivity,
            orientation,
        }
    }

    /// A result for the recorded orientation, or the worse of both.
    fn worse(
        &self,
        f: impl Fn(Orientation) -> Result<f64, Refusal>,
        pick: fn(f64, f64) -> f64,
    ) -> Result<f64, Refusal> {
        match self.orientation {
            Some(orientation) => f(orientation),
            None => Ok(pick(f(Orientation::OnEdge)?, f(Orientation::Flat)?)),
        }
    }
}

fn inner_ambient(work: &mut Worker<'_>) -> Option<Amount> {
    work.or_limit("inspection.inner_ambient", "inner_ambient", "the air temperature inside the closed pack")
}

fn of_busbar(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let limit =
        work.or_limit("element.allowed_temperature", "bar_temperature", "the highest temperature of the bar");
    let bar = BarFacts::gather(&mut work, None)?;
    let [limit] = work.all([limit])?;
    let inputs = [&bar.width, &bar.thickness, &bar.ambient, &limit, &bar.count, &bar.emissivity];
    let permissible_current = work.through(&inputs, Dimension::CURRENT, |x| {
        let current = |orientation| {
            busbar::current_for_rise(
                &bar.bar(x[0], x[1], x[5], orientation),
                ThermodynamicTemperature::new::<kelvin>(x[2]),
                TemperatureInterval::new::<kelvin_step>(x[3] - x[2]),
            )
            .map(|i| i.get::<ampere>())
        };
        Ok(x[4] * bar.worse(current, f64::min)?)
    })?;
    work.step(|| line("allowed temperature", &limit));
    work.step(|| line("current that reaches it", &permissible_current));
    work.done(permissible_current)
}

/// Predicted rise of a bar or a cable at a current that is named.
pub(super) fn rise(facts: &Facts<'_>, kind: ElementKind, current: &str) -> Answer {
    let mut work = Worker::new(facts);
    let current = work.amount(current);
    rise_in(work, kind, current, None)
}

fn rise_in(
    mut work: Worker<'_>,
    kind: ElementKind,
    current: Option<Amount>,
    ambient: Option<Amount>,
) -> Answer {
    if kind == ElementKind::Cable {
        return cable_rise(work, current, ambient);
    }
    let bar = BarFacts::gather(&mut work, ambient)?;
    let [current] = work.all([current])?;
    let inputs = [&bar.width, &bar.thickness, &bar.ambient, &current, &bar.count, &bar.emissivity];
    let rise = work.through(&inputs, Dimension::TEMPERATURE_DIFFERENCE, |x| {
        let rise = |orientation| {
            busbar::rise_for_current(
                &bar.bar(x[0], x[1], x[5], orientation),
                ThermodynamicTemperature::new::<kelvin>(x[2]),
                ElectricCurrent::new::<ampere>(x[3] / x[4]),
            )
            .map(|r| r.get::<kelvin_step>())
        };
        bar.worse(rise, f64::max)
    })?;
    work.step(|| line(&format!("rise at {}", current.show()), &rise));
    work.done(rise)
}

fn of_cable(facts: &Facts<'_>) -> Answer {
    let mut work = Worker::new(facts);
    let (permissible_current, ..) = cable_permissible_current(&mut work, None)?;
    work.done(permissible_current)
}

/// Ampacity, insulation class and ambient of a cable.
fn cable_permissible_current(
    work: &mut Worker<'_>,
    ambient: Option<Amount>,
) -> Result<(Amount, Amount, Amount), Vec<Missing>> {
    let (size, insulation) = (work.amount("element.size"), work.amount("element.insulation_temperature"));
    let ambient = ambient.or_else(|| inner_ambient(work));
    let count = work.count_or_one("element.count", "the number of cables in parallel");
    let bundled = work.optional("element.bundled").unwrap_or_else(|| {
        work.assume(
            "the number of bundled conductors is not recorded; those in parallel are taken to lie together"
                .to_owned(),
        );
        count.clone()
    });
    let material = work.word("element.material");
    let [size, insulation, ambient] = work.all([size, insulation, ambient])?;
    if let Some(material) = material.filter(|m| m != "copper") {
        return Err(vec![Missing::refused(&format!(
            "the ampacity table is for copper, the cable is {material}"
        ))]);
    }
    work.source(&cable::METHOD);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "counts are small whole numbers"
    )]
    let (parallel, together) = (count.value() as u32, bundled.value() as u32);
    let inputs = [&size, &insulation, &ambient];
    let permissible_current = work.through(&inputs, Dimension::CURRENT, |x| {
        cable::ampacity(
            Area::new::<square_meter>(x[0]),
            ThermodynamicTemperature::new::<kelvin>(x[1]),
            ThermodynamicTemperature::new::<kelvin>(x[2]),
            parallel,
            together,
        )
        .map(|i| i.get::<ampere>())
    })?;
    let formula = format!(
        "{parallel} × {} with {} insulation at {}, {together} bundled",
        shown(&size),
        shown(&insulation),
        shown(&ambient)
    );
    work.step(|| line(&formula, &permissible_current));
    Ok((permissible_current, insulation, ambient))
}

/// Rise of a cable: the insulation's margin scaled with the square of the current (constant film coefficient).
fn cable_rise(mut work: Worker<'_>, current: Option<Amount>, ambient: Option<Amount>) -> Answer {
    let (permissible_current, insulation, ambient) = cable_permissible_current(&mut work, ambient)?;
    let [current] = work.all([current])?;
    let share = current.number.over(&permissible_current.number).power(2);
    let margin = insulation.number.minus(&ambient.number);
    let rise = Amount { number: share.times(&margin), dimension: Dimension::TEMPERATURE_DIFFERENCE };
    work.step(|| line("rise = (I / ampacity)² × (insulation − ambient)", &rise));
    work.done(rise)
}

/// Predicted temperature at rated continuous current, from the predicted rise.
pub(super) fn temperature(facts: &Facts<'_>, rise: &Answer) -> Answer {
    let rise = rise.as_ref().map_err(Clone::clone)?;
    let mut work = Worker::new(facts);
    work.rests_on(rise);
    let ambient = inner_ambient(&mut work);
    let [ambient, rise] = work.all([ambient, rise.value.amount().cloned()])?;
    let temperature = Amount { number: ambient.number.plus(&rise.number), dimension: Dimension::TEMPERATURE };
    work.step(|| line(&format!("{} + {}", ambient.show(), rise.show()), &temperature));
    work.done(temperature)
}

/// Cross-section of all conductors of an element.
pub(super) fn area(facts: &Facts<'_>, kind: ElementKind) -> Answer {
    let mut work = Worker::new(facts);
    let count = work.count_or_one("element.count", "the number of conductors side by side");
    let (one, name) = if kind == ElementKind::Cable {
        (work.amount("element.size"), "size")
    } else {
        let stacked = work.count_or_one("element.stacked", "the number of stacked bars");
        let sides = work.amount("element.section.width").zip(work.amount("element.section.thickness"));
        let one = sides.map(|(w, t)| Amount {
            number: w.number.times(&t.number).times(&stacked.number),
            dimension: Dimension::AREA,
        });
        (one, "width × thickness × stacked")
    };
    let [one] = work.all([one])?;
    let area = Amount { number: one.number.times(&count.number), dimension: Dimension::AREA };
    work.step(|| line(&format!("{name} × {}", count.show()), &area));
    work.done(area)
}

/// Current density at rated continuous current.
pub(super) fn density(facts: &Facts<'_>, area: &Answer) -> Answer {
    let mut work = Worker::new(facts);
    let current = work.amount("claims.continuous_current");
    let area = match area {
        Ok(worked) => worked.value.amount().cloned(),
        Err(missing) => {
            missing.iter().cloned().for_each(|m| work.lacks(m));
            None
        }
    };
    let [current, area] = work.all([current, area])?;
    let density = Amount { number: current.number.over(&area.number), dimension: Dimension::CURRENT_DENSITY };
    work.step(|| line(&format!("{} / {}", current.show(), area.show()), &density));
    work.done(density)
}
