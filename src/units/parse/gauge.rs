//! Sizes of the American Wire Gauge in the spellings of the trade: `2/0 AWG`, `AWG 10`, `0000 AWG`.

use super::NotAQuantity;

/// Cross-section in mm² of an American Wire Gauge size written in any of the usual ways.
pub(super) fn awg(body: &str) -> Result<Option<f64>, NotAQuantity> {
    let lower = body.trim().to_ascii_lowercase();
    let Some(size) = lower.strip_suffix("awg").or_else(|| lower.strip_prefix("awg")) else {
        return Ok(None);
    };
    let size = size.trim().trim_start_matches('#');
    let number = if let Some(zeros) = size.strip_suffix("/0") {
        zeros.parse::<i32>().ok().filter(|n| (1..=4).contains(n)).map(|n| 1 - n)
    } else if size.len() > 1 && size.bytes().all(|b| b == b'0') && size.len() <= 4 {
        i32::try_from(size.len()).ok().map(|n| 1 - n)
    } else {
        size.parse::<i32>().ok().filter(|n| (0..=40).contains(n))
    };
    let number = number.ok_or_else(|| {
        NotAQuantity::new("wire sizes run from 4/0 AWG to 40 AWG", 0..body.len(), "2/0 AWG")
    })?;
    Ok(Some(awg_square_millimetres(number)))
}

/// Cross-section of an American Wire Gauge size: π/4 · (0.127 mm · 92^((36 − n)/39))² (ASTM B258; from
/// memory), n = −3 for 4/0.
pub fn awg_square_millimetres(number: i32) -> f64 {
    let diameter = 0.127 * 92_f64.powf(f64::from(36 - number) / 39.0);
    std::f64::consts::FRAC_PI_4 * diameter * diameter
}
