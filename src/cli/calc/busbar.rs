//! `calc busbar`: current for a rise, or rise for a current.

use std::sync::Arc;

use clap::ArgGroup;
use uom::si::area::square_meter;
use uom::si::electric_current::ampere;
use uom::si::electrical_resistance::ohm;
use uom::si::f64::{Area, ElectricCurrent, Length, TemperatureInterval, ThermodynamicTemperature};
use uom::si::length::meter;
use uom::si::temperature_interval::kelvin as kelvin_step;
use uom::si::thermodynamic_temperature::kelvin;

use super::arg::{self, Count, Pair, Worded};
use super::sheet::{Sheet, figure, through};
use super::{SHEET_CAUTION, Worked, help};
use crate::judge::rules::Book;
use crate::physics::busbar::{self, Bar, Orientation};
use crate::physics::material::{Finish, Material};
use crate::physics::{Refusal, resistance};
use crate::units::{Amount, Dimension, Quantity, Uncertain, significant};

#[derive(Debug, clap::Args)]
#[command(
    group(ArgGroup::new("wanted").required(true).args(["rise", "current"])),
    after_help = help("underlid calc busbar \"25 x 3 mm ± 0.1 mm\" --material copper --finish oxidised --rise \"50 K\"")
)]
pub(super) struct Busbar {
    /// Width and thickness of one bar, such as "25 x 3 mm"
    #[arg(value_name = "SECTION", value_parser = arg::pair)]
    section: Pair,
    /// What it is made of: copper, aluminium, brass, nickel, nickel-plated steel, copper-clad aluminium
    #[arg(long, value_name = "WORD", value_parser = arg::material)]
    material: Worded<Material>,
    /// Work out the current that warms the bar by this much above the air around it, such as "50 K"
    #[arg(long, value_name = "DIFFERENCE", value_parser = arg::of(Dimension::TEMPERATURE_DIFFERENCE))]
    rise: Option<Quantity>,
    /// Work out how much this current warms the bar, such as "150 A"
    #[arg(long, value_name = "CURRENT", value_parser = arg::of(Dimension::CURRENT))]
    current: Option<Quantity>,
    /// Bars lying on each other; they share one surface and carry far less than the same bars apart
    #[arg(long, value_name = "N", default_value = "1")]
    stacked: Count,
    /// Its surface: bright, oxidised, heavily oxidised, tin plated, nickel plated, sleeved
    #[arg(long, value_name = "WORD", value_parser = arg::finish, conflicts_with = "emissivity")]
    finish: Option<Worded<Finish>>,
    /// Emissivity of its surface, where it is known better than by a word, such as "0.4 ± 0.1"
    #[arg(long, value_name = "NUMBER", value_parser = arg::of(Dimension::NONE))]
    emissivity: Option<Quantity>,
    /// How it lies: "on edge" (wide faces upright) or flat
    #[arg(long, value_name = "WORD", value_parser = orientation)]
    orientation: Option<Worded<Orientation>>,
    /// Temperature of the air around the bar, inside the closed pack
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true,
          value_parser = arg::of(Dimension::TEMPERATURE))]
    ambient: Option<Quantity>,
}

fn orientation(text: &str) -> Result<Worded<Orientation>, String> {
    match text.trim().to_ascii_lowercase().as_str() {
        "on edge" | "on-edge" => Ok(Worded { word: "on edge", is: Orientation::OnEdge }),
        "flat" => Ok(Worded { word: "flat", is: Orientation::Flat }),
        _ => Err(arg::pointed(text, 0..text.len(), "a bar lies `on edge` or `flat`", "\"on edge\"")),
    }
}

/// What both directions need.
struct Given {
    material: Material,
    stacked: u32,
    lying: Option<Orientation>,
    width: Amount,
    thickness: Amount,
    emissivity: Amount,
    ambient: Amount,
}

impl Given {
    /// Puts numbers through for the orientation, or takes the worse of both.
    fn worse(
        &self,
        last: &Amount,
        f: impl Fn(&Bar, ThermodynamicTemperature, f64) -> Result<f64, Refusal>,
        pick: fn(f64, f64) -> f64,
    ) -> Result<Uncertain, Refusal> {
        let inputs = [&self.width, &self.thickness, &self.emissivity, &self.ambient, last];
        through(&inputs, |values| {
            let [width, thickness, emissivity, ambient, last] = *values else {
                return Err(Refusal::NoResult("five values are needed".to_owned()));
            };
            let lying = |orientation| {
                let bar = Bar {
                    material: self.material,
                    width: Length::new::<meter>(width),
                    thickness: Length::new::<meter>(thickness),
                    stacked: self.stacked,
                    emissivity,
                    orientation,
                };
                f(&bar, ThermodynamicTemperature::new::<kelvin>(ambient), last)
            };
            match self.lying {
                Some(orientation) => lying(orientation),
                None => Ok(pick(lying(Orientation::OnEdge)?, lying(Orientation::Flat)?)),
            }
        })
    }
}

impl Busbar {
    pub(super) fn sheet(&self, book: &Arc<Book>) -> Worked {
        let title =
            if self.rise.is_some() { "Busbar: current for a rise" } else { "Busbar: rise for a current" };
        let mut sheet = Sheet::new(book, "busbar", title, SHEET_CAUTION);
        let given = self.given(&mut sheet)?;
        sheet.method(&busbar::METHOD);
        let area = given.width.number.times(&given.thickness.number).scaled(f64::from(given.stacked));
        let area = sheet.step(
            "cross-section",
            "A = width · thickness · stacked",
            format!("{} × {} × {}", figure(&given.width), figure(&given.thickness), given.stacked),
            area,
            Dimension::AREA,
        );
        match (&self.rise, &self.current) {
            (Some(rise), _) => {
                let rise = sheet.put("rise", rise);
                let current = given.current_for(&rise)?;
                let metre = Metre::of(&mut sheet, &given, &area, &rise)?;
                let heat = metre.heat_given_off(&mut sheet, &given, &rise, &current);
                let numbers = format!("√({} / {})", figure(&heat), figure(&metre.resistance));
                let current =
                    sheet.step("continuous current", "I = √(P / R)", numbers, current, Dimension::CURRENT);
                metre.density_and_drop(&mut sheet, &area, &current);
            }
            (None, Some(current)) => {
                let current = sheet.put("current", current);
                let rise = sheet.step(
                    "temperature rise",
                    "the rise at which I² · R(T) equals the heat given off",
                    format!("{} in air at {}", current.show(), given.ambient.show()),
                    given.rise_for(&current)?,
                    Dimension::TEMPERATURE_DIFFERENCE,
                );
                let metre = Metre::of(&mut sheet, &given, &area, &rise)?;
                metre.heat_made(&mut sheet, &current);
                metre.density_and_drop(&mut sheet, &area, &current);
            }
            // clap asks for one of the two.
            (None, None) => return Err(Refusal::NoResult("--rise or --current is needed".to_owned())),
        }
        sheet.note(
            "still air, no heat led away through the ends: a short bar between cool masses carries more",
        );
        if given.stacked > 1 {
            sheet.note(format!(
                "{} stacked bars are counted as one thick bar; bars with air between them carry more",
                given.stacked
            ));
        }
        Ok(sheet)
    }

    fn given(&self, sheet: &mut Sheet) -> Result<Given, Refusal> {
        sheet.put_word("material", self.material.word);
        sheet.put_word("section", &self.section.text);
        let width = sheet.put("width", &self.section.first);
        let thickness = sheet.put("thickness", &self.section.second);
        sheet.put_word("stacked", &self.stacked.0.to_string());
        let emissivity = match (&self.emissivity, &self.finish) {
            (Some(number), _) => sheet.put("emissivity", number),
            (None, Some(finish)) => {
                sheet.put_word("finish", finish.word);
                let why = format!("usual value of a surface that is {}", finish.word);
                sheet.take("emissivity", finish.is.emissivity(), Dimension::NONE, &why)
            }
            (None, None) => {
                let bright = Finish::Bright.emissivity();
                let why = "no finish given; bright taken, which gives off least heat";
                sheet.take("emissivity", bright, Dimension::NONE, why)
            }
        };
        match self.orientation {
            Some(lying) => sheet.put_word("orientation", lying.word),
            None => sheet.assume("no orientation given; the less favourable one taken"),
        }
        Ok(Given {
            material: self.material.is,
            stacked: self.stacked.0,
            lying: self.orientation.map(|lying| lying.is),
            width,
            thickness,
            emissivity,
            ambient: sheet.put_or_limit("ambient", self.ambient.as_ref(), "inner_ambient")?,
        })
    }
}

impl Given {
    fn current_for(&self, rise: &Amount) -> Result<Uncertain, Refusal> {
        self.worse(
            rise,
            |bar, ambient, rise| {
                busbar::current_for_rise(bar, ambient, TemperatureInterval::new::<kelvin_step>(rise))
                    .map(|current| current.get::<ampere>())
            },
            f64::min,
        )
    }

    fn rise_for(&self, current: &Amount) -> Result<Uncertain, Refusal> {
        self.worse(
            current,
            |bar, ambient, current| {
                busbar::rise_for_current(bar, ambient, ElectricCurrent::new::<ampere>(current))
                    .map(|rise| rise.get::<kelvin_step>())
            },
            f64::max,
        )
    }
}

/// One metre of the bar at its temperature.
struct Metre {
    bar: Amount,
    resistance: Amount,
}

impl Metre {
    fn of(sheet: &mut Sheet, given: &Given, area: &Amount, rise: &Amount) -> Result<Self, Refusal> {
        let bar = sheet.step(
            "bar temperature",
            "T = Ta + rise",
            format!("{} + {}", figure(&given.ambient), figure(rise)),
            given.ambient.number.plus(&rise.number),
            Dimension::TEMPERATURE,
        );
        let found = through(&[area, &bar], |values| {
            let [area, bar] = *values else {
                return Err(Refusal::NoResult("two values are needed".to_owned()));
            };
            resistance::of_conductor(
                given.material,
                Length::new::<meter>(1.0),
                Area::new::<square_meter>(area),
                ThermodynamicTemperature::new::<kelvin>(bar),
            )
            .map(|r| r.get::<ohm>())
        })?;
        sheet.method(&resistance::METHOD);
        let resistance = sheet.step(
            "resistance of one metre",
            "R = ρ20 · (1 + α · (T − 20 °C)) · 1 m / A",
            format!(
                "ρ20 = {} × 10⁻⁸ Ω·m, α = {} /K, T = {}, A = {}",
                significant(given.material.resistivity().value * 1e8, 4),
                significant(given.material.temperature_coefficient(), 3),
                bar.show(),
                area.show()
            ),
            found,
            Dimension::RESISTANCE,
        );
        Ok(Self { bar, resistance })
    }

    fn heat(&self, current: &Uncertain) -> Uncertain {
        current.power(2).times(&self.resistance.number)
    }

    /// The heat that leaves one metre; what is left of the balance when the current is taken out of it.
    fn heat_given_off(&self, sheet: &mut Sheet, given: &Given, rise: &Amount, current: &Uncertain) -> Amount {
        sheet.step(
            "heat given off by one metre",
            "P = h · (T − Ta) · S + ε · σ · (T⁴ − Ta⁴) · S",
            format!(
                "S = 2 × ({} + {} × {}) × 1 m, Ta = {}, T = {}, T − Ta = {}, ε = {}",
                figure(&given.width),
                given.stacked,
                figure(&given.thickness),
                given.ambient.show(),
                self.bar.show(),
                rise.show(),
                given.emissivity.show()
            ),
            self.heat(current),
            Dimension::POWER,
        )
    }

    fn heat_made(&self, sheet: &mut Sheet, current: &Amount) {
        sheet.step(
            "heat in one metre",
            "P = I² · R",
            format!("({})² × {}", current.show(), figure(&self.resistance)),
            self.heat(&current.number),
            Dimension::POWER,
        );
    }

    fn density_and_drop(&self, sheet: &mut Sheet, area: &Amount, current: &Amount) {
        sheet.step(
            "drop over one metre",
            "U = I · R",
            format!("{} × {}", figure(current), figure(&self.resistance)),
            current.number.times(&self.resistance.number),
            Dimension::VOLTAGE,
        );
        sheet.step(
            "current density",
            "J = I / A",
            format!("{} / {}", figure(current), figure(area)),
            current.number.over(&area.number),
            Dimension::CURRENT_DENSITY,
        );
    }
}
