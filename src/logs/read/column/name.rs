//! What the name of a column says: its meaning, and which way its current counts.

use super::{Meaning, Role};

// Words of names, in the languages of instruments.

/// What was set, and what is no reading of the pack.
const SETTINGS: &str = "set setpoint target limit programmed soll demand control command changes pressure press pamb \
     papp";
const TIMES: &str = "time timestamp datetime elapsed zeit uhrzeit zeitstempel clock duration runtime epoch heure \
     temps tiempo tempo testzeit laufzeit";
/// Times, where nothing else stands beside them.
const SECONDS: &str = "t seconds sec ms msec millis milliseconds micros minutes hours";
const TEMPERATURES: &str = "temp zelltemperatur temperature temperatur temperatura température thermocouple ntc tenv \
     ambient umgebung";
const VOLTAGES: &str = "voltage volt volts spannung tension vbat vbatt vdc vcell ucell ubat tensione tensión";
const CURRENTS: &str =
    "current amp amps mamps amperage ampere strom courant corriente corrente ibat ibatt idc";
const CHARGES: &str = "capacity charge ah amphours kapazität kapazitaet ladung coulombs ahcha ahdch ahstep ahaccu \
     ahbal";

pub(super) fn by_name(name: &str) -> Option<Meaning> {
    let spaced = spaced(name);
    let words: Vec<&str> = spaced.split(' ').filter(|word| !word.is_empty()).collect();
    let has = |wanted: &str| words.iter().any(|word| is_of(word, wanted));
    let beside = |first: &str, then: &str| {
        words.windows(2).any(|pair| matches!(pair, [a, b] if is_of(a, first) && is_of(b, then)))
    };
    let numbered = |letters: &str| {
        let only = words.len() == 1 || (words.len() == 2 && words.iter().any(|w| is_number(w)));
        let first = words.first().map(|word| word.trim_end_matches(|c: char| c.is_ascii_digit()));
        only && first.is_some_and(|word| is_of(word, letters))
    };
    // "V_bat", "I load", "U pack avg".
    let symbol = |letters: &str| {
        const OF: &str = "bat batt battery pack load shunt bus total dc avg mean average min max";
        words.len() > 1
            && words.first().is_some_and(|word| is_of(word, letters))
            && words.iter().skip(1).all(|word| is_of(word, OF))
    };
    // Derivatives and differences: "dV/dt", "dQdV/Ah/V", "dQ".
    let joined: String = name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    let derived = ["dvdt", "didt", "dqdv", "dvdq", "dtdt", "dedv"].iter().any(|word| joined.contains(word));
    if has(SETTINGS)
        || name.contains("/d")
        || derived
        || has("differential")
        || matches!(joined.as_str(), "dq" | "dv" | "di")
        || has("index id no") && has("point sample record")
    {
        return Some(Meaning::Ignored);
    }
    // What adds up over time is neither a current nor a power, whatever it is called after.
    const HOURS: &str = "hr hrs hour hours h";
    if beside("amp amps ampere", HOURS) || joined.contains("amphr") || joined.contains("amphour") {
        return Some(Meaning::Charge);
    }
    if beside("watt watts", HOURS) || joined.contains("watthr") || joined.contains("watthour") {
        return Some(Meaning::Energy);
    }
    // "SoC" is one word, though "TestTime" is two.
    let soc = name.split(|c: char| !c.is_alphanumeric()).any(|word| word.eq_ignore_ascii_case("soc"));
    if soc || has("soc ladezustand") || spaced.contains("state of charge") {
        return Some(Meaning::StateOfCharge);
    }
    if has(TIMES)
        || numbered(SECONDS) && !name.contains(|c: char| c.is_ascii_digit())
        || spaced.contains("date time")
    {
        // How long a step has run, or how long a sample took, is no clock of the test.
        let part = has("step cycle schritt duration dauer delta interval lap");
        return Some(if part { Meaning::StepTime } else { Meaning::Time });
    }
    if has("date datum") {
        return Some(Meaning::Date);
    }
    if has(TEMPERATURES) || numbered("t tc temp") {
        return Some(Meaning::Temperature);
    }
    if has("power pwr leistung puissance watt watts") || numbered("p") || symbol("p") {
        return Some(Meaning::Power);
    }
    if has(VOLTAGES) || numbered("u v") || symbol("u v") {
        return Some(Meaning::Voltage);
    }
    if has(CURRENTS) || numbered("i") || symbol("i") {
        return Some(Meaning::Current);
    }
    if has("energy energie wh watthours whcha whdch whstep whaccu") {
        return Some(Meaning::Energy);
    }
    if has("resistance widerstand impedance ir dcir acir rint") {
        return Some(Meaning::Resistance);
    }
    if has(CHARGES) || numbered("q") {
        return Some(Meaning::Charge);
    }
    // A step's type or name is a word, not its number.
    if has("step schritt") && has("type name mode typ status") {
        return Some(Meaning::State);
    }
    if has("step schritt ns") {
        return Some(Meaning::Step);
    }
    if has("cycle zyklus") {
        return Some(Meaning::Cycle);
    }
    // Believed only where the cells under it are words for charge, discharge and rest.
    if has("state mode status md zustand modus") {
        return Some(Meaning::State);
    }
    None
}

/// Whether a word is one of those in a text.
pub(in crate::logs::read) fn is_of(word: &str, words: &str) -> bool {
    words.split_ascii_whitespace().any(|one| one == word)
}

fn is_number(word: &str) -> bool {
    word.bytes().all(|byte| byte.is_ascii_digit())
}

/// Whether a name stands for the pack as a whole, or for what carries its current.
pub(super) fn whole_pack(name: &str) -> bool {
    const WORDS: &str = "pack batt battery bat bank load shunt total bus dc";
    spaced(name).split(' ').filter(|word| !word.is_empty()).all(|word| is_of(word, WORDS))
}

/// Lower case, with spaces between words: "TestTime" and `test_time` become "test time".
fn spaced(name: &str) -> String {
    let mut out = String::with_capacity(name.len() + 4);
    let mut lower = false;
    for c in name.chars().take(200) {
        if !c.is_alphanumeric() {
            out.push(' ');
            lower = false;
            continue;
        }
        if c.is_uppercase() && lower {
            out.push(' ');
        }
        lower = c.is_lowercase();
        out.extend(c.to_lowercase());
    }
    out
}

/// "Discharge current" counts discharge, "charge current" counts charge; "current" alone does not say.
pub(super) fn direction(name: &str, meaning: Meaning) -> Option<f64> {
    if !matches!(meaning, Meaning::Current | Meaning::Power) {
        return None;
    }
    let name = name.to_lowercase();
    let discharge = ["discharg", "entlade"];
    if discharge.iter().any(|word| name.contains(word)) {
        return (!name.replace("discharg", "").contains("charg")).then_some(1.0);
    }
    (name.contains("charg") || name.contains("ladestrom")).then_some(-1.0)
}

/// What a column is of, beside its quantity.
pub(super) fn role(name: &str, meaning: Meaning) -> Role {
    let spaced = spaced(name);
    let words: Vec<&str> = spaced.split(' ').filter(|word| !word.is_empty()).collect();
    let has = |wanted: &str| words.iter().any(|word| is_of(word, wanted));
    if meaning == Meaning::Temperature {
        return if has("ambient room air umgebung env tenv raum chamber luft") {
            Role::Ambient
        } else if has("mos mosfet fet bms heatsink heat internal board pcb intern") {
            Role::Electronics
        } else if has("cell cells zelle zelltemperatur cellule") {
            Role::Cell
        } else {
            Role::Main
        };
    }
    if !matches!(meaning, Meaning::Voltage | Meaning::Current | Meaning::Power) {
        return Role::Main;
    }
    if has("pv solar panel mains ac grid") {
        return Role::Source;
    }
    if has("min minimum least lowest") {
        return Role::Least;
    }
    if has("max maximum peak greatest highest") {
        return Role::Greatest;
    }
    if has("aux auxiliary hilfs ref reference") {
        return Role::Auxiliary;
    }
    if meaning == Meaning::Voltage && has("shunt hall") {
        return Role::Auxiliary;
    }
    if has("input supply source eingang charger") {
        return Role::Supply;
    }
    const WHOLE: &str = "total pack net sum gesamt overall bank";
    let digit = |word: &&str| {
        let rest = word.trim_start_matches("cell").trim_start_matches("zelle").trim_start_matches('c');
        rest.len() < word.len() && is_number(rest) && !rest.is_empty()
    };
    let with_digit = |word: &&str| word.bytes().any(|byte| byte.is_ascii_digit());
    let numbered = has("cell zelle") && words.iter().any(with_digit) || words.iter().any(digit);
    if meaning == Meaning::Voltage && numbered && !has(WHOLE) {
        return Role::Cell;
    }
    if has(WHOLE) { Role::Whole } else { Role::Main }
}
