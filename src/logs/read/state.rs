//! What the words of a state column say: discharge, charge or rest.

/// 1 for discharge, −1 for charge, 0 for rest, or `None` for a word that says none of them.
///
/// Instruments write CHG and DCHG, C and D, `CC_Chg`, `D_CC`, "Charging"; a code number says nothing.
///
/// `told` are words or codes that the caller knows; they come first.
pub(super) fn state(cell: &[u8], told: &[(String, f64)]) -> Option<f64> {
    let cell = cell.trim_ascii();
    let cell = cell.strip_prefix(b"\"").unwrap_or(cell);
    let cell = cell.strip_suffix(b"\"").unwrap_or(cell);
    if let Some((_, way)) = told.iter().find(|(word, _)| word.as_bytes() == cell) {
        return Some(*way);
    }
    if cell.is_empty() || cell.len() > 24 {
        return None;
    }
    let mut lower = [0_u8; 24];
    for (to, from) in lower.iter_mut().zip(cell) {
        *to = from.to_ascii_lowercase();
    }
    let word = std::str::from_utf8(lower.get(..cell.len())?).ok()?.trim();
    let has = |parts: &[&str]| parts.iter().any(|part| word.contains(part));
    if word.ends_with("rest") {
        // After a charge or a discharge.
        Some(0.0)
    } else if matches!(word, "d" | "dis")
        || word.starts_with("d_")
        || has(&["dch", "disch", "entlad", "d-chg", "dis-ch"])
    {
        Some(1.0)
    } else if matches!(word, "c") || word.starts_with("c_") || has(&["chg", "chrg", "charg", "laden"]) {
        Some(-1.0)
    } else if matches!(word, "r" | "p" | "s" | "o" | "off")
        || has(&["rest", "idle", "pause", "ocv", "relax", "ruhe", "wait", "suspend", "stop", "end"])
    {
        Some(0.0)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::state;

    #[test]
    fn words() {
        for (word, wanted) in [
            ("CHG", Some(-1.0)),
            ("DCHG", Some(1.0)),
            ("CHRG", Some(-1.0)),
            ("C", Some(-1.0)),
            ("D", Some(1.0)),
            ("R", Some(0.0)),
            ("CC_Chg", Some(-1.0)),
            ("CC_DChg", Some(1.0)),
            ("D_CC", Some(1.0)),
            ("C_CC", Some(-1.0)),
            ("Charging", Some(-1.0)),
            ("Discharging", Some(1.0)),
            ("Idle", Some(0.0)),
            ("\"Rest\"", Some(0.0)),
            ("PRECHARGE", Some(-1.0)),
            ("CHARGEREST", Some(0.0)),
            ("1", None),
            ("", None),
            ("fault", None),
        ] {
            assert_eq!(state(word.as_bytes(), &[]), wanted, "{word}");
        }
        assert_eq!(state(b" 1 ", &[("1".to_owned(), -1.0)]), Some(-1.0), "a code that is told");
    }
}
