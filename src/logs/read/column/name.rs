//! What the name of a column says: its meaning, and which way its current counts.

use super::Meaning;

/// The meaning of a name.
pub(super) fn by_name(name: &str) -> Option<Meaning> {
    let spaced = spaced(name);
    let words: Vec<&str> = spaced.split(' ').filter(|word| !word.is_empty()).collect();
    let has = |wanted: &[&str]| words.iter().any(|word| wanted.contains(word));
    let numbered = |letters: &[&str]| {
        let only = words.len() == 1 || (words.len() == 2 && words.iter().any(|w| is_number(w)));
        only && words
            .first()
            .is_some_and(|word| letters.contains(&word.trim_end_matches(|c: char| c.is_ascii_digit())))
    };
    // Derivatives and differences: "dV/dt", "dQdV/Ah/V", "dQ".
    let joined: String = name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect();
    let derived = ["dvdt", "didt", "dqdv", "dvdq", "dtdt", "dedv"].iter().any(|word| joined.contains(word));
    if has(&[
        "set",
        "setpoint",
        "target",
        "limit",
        "programmed",
        "soll",
        "demand",
        "control",
        "command",
        "changes",
        "pressure",
        "press",
        "pamb",
        "papp",
    ]) || name.contains("/d")
        || derived
        || matches!(joined.as_str(), "dq" | "dv" | "di")
        || has(&["index", "id", "no"]) && has(&["point", "sample", "record"])
    {
        return Some(Meaning::Ignored);
    }
    // "SoC" is one word, though "TestTime" is two.
    let soc = name.split(|c: char| !c.is_alphanumeric()).any(|word| word.eq_ignore_ascii_case("soc"));
    if soc || has(&["soc", "ladezustand"]) || spaced.contains("state of charge") {
        return Some(Meaning::StateOfCharge);
    }
    if has(&[
        "time",
        "timestamp",
        "datetime",
        "elapsed",
        "zeit",
        "uhrzeit",
        "zeitstempel",
        "clock",
        "duration",
        "epoch",
        "heure",
        "temps",
        "tiempo",
        "tempo",
        "testzeit",
        "laufzeit",
    ]) || numbered(&[
        "t",
        "seconds",
        "sec",
        "ms",
        "msec",
        "millis",
        "milliseconds",
        "micros",
        "minutes",
        "hours",
    ]) && !name.contains(|c: char| c.is_ascii_digit())
        || spaced.contains("date time")
    {
        return Some(if has(&["step", "cycle", "schritt"]) { Meaning::StepTime } else { Meaning::Time });
    }
    if has(&["date", "datum"]) {
        return Some(Meaning::Date);
    }
    if has(&[
        "temp",
        "temperature",
        "temperatur",
        "temperatura",
        "température",
        "thermocouple",
        "ntc",
        "tenv",
        "ambient",
        "umgebung",
    ]) || numbered(&["t", "tc", "temp"])
    {
        return Some(Meaning::Temperature);
    }
    if has(&["power", "pwr", "leistung", "puissance", "watt", "watts"]) || numbered(&["p"]) {
        return Some(Meaning::Power);
    }
    if has(&[
        "voltage", "volt", "volts", "spannung", "tension", "vbat", "vbatt", "vdc", "vcell", "ucell", "ubat",
        "tensione", "tensión",
    ]) || numbered(&["u", "v"])
    {
        return Some(Meaning::Voltage);
    }
    if has(&[
        "current",
        "amp",
        "amps",
        "amperage",
        "ampere",
        "strom",
        "courant",
        "corriente",
        "corrente",
        "ibat",
        "ibatt",
        "idc",
    ]) || numbered(&["i"])
    {
        return Some(Meaning::Current);
    }
    if has(&["energy", "energie", "wh", "watthours", "whcha", "whdch", "whstep", "whaccu"]) {
        return Some(Meaning::Energy);
    }
    if has(&["resistance", "widerstand", "impedance", "ir", "dcir", "acir", "rint"]) {
        return Some(Meaning::Resistance);
    }
    if has(&[
        "capacity",
        "charge",
        "ah",
        "amphours",
        "kapazität",
        "kapazitaet",
        "ladung",
        "coulombs",
        "ahcha",
        "ahdch",
        "ahstep",
        "ahaccu",
        "ahbal",
    ]) || numbered(&["q"])
    {
        return Some(Meaning::Charge);
    }
    // A step's type or name is a word, not its number.
    if has(&["step", "schritt"]) && has(&["type", "name", "mode", "typ", "status"]) {
        return Some(Meaning::Ignored);
    }
    if has(&["step", "schritt", "ns"]) {
        return Some(Meaning::Step);
    }
    if has(&["cycle", "zyklus"]) {
        return Some(Meaning::Cycle);
    }
    None
}

fn is_number(word: &str) -> bool {
    word.bytes().all(|byte| byte.is_ascii_digit())
}

/// Whether a name stands for the pack as a whole, or for what carries its current.
pub(super) fn whole_pack(name: &str) -> bool {
    const WORDS: &[&str] = &["pack", "batt", "battery", "bat", "bank", "load", "shunt", "total", "bus", "dc"];
    spaced(name).split(' ').filter(|word| !word.is_empty()).all(|word| WORDS.contains(&word))
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
    let discharge = ["discharg", "entlade", "load current", "laststrom"];
    if discharge.iter().any(|word| name.contains(word)) {
        return (!name.replace("discharg", "").contains("charg")).then_some(1.0);
    }
    (name.contains("charg") || name.contains("ladestrom")).then_some(-1.0)
}
