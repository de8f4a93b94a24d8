//! A price as written in a record, where it can be told apart: a decimal number and a currency code.
//!
//! Refuses thousands separators, currency signs and decimal commas: `1,299 EUR` is one euro and something to half of
//! the world. Currencies are never converted into each other, because no rate is recorded.

/// An amount of money.
#[derive(Debug, Clone, PartialEq)]
pub struct Price {
    pub amount: f64,
    /// In what: three capital letters, as in ISO 4217.
    pub currency: String,
}

/// Digits before and behind the point together; more is a slip.
const MOST_DIGITS: usize = 12;

impl Price {
    /// Reads `489.00 EUR` or `EUR 489.00`; none where the text is anything else.
    pub fn read(text: &str) -> Option<Self> {
        let mut parts = text.split_whitespace();
        let (first, second) = (parts.next()?, parts.next()?);
        if parts.next().is_some() {
            return None;
        }
        let (amount, currency) = if is_code(second) { (first, second) } else { (second, first) };
        if !is_code(currency) || !is_decimal(amount) {
            return None;
        }
        Some(Self { amount: amount.parse().ok()?, currency: currency.to_owned() })
    }
}

fn is_code(text: &str) -> bool {
    text.len() == 3 && text.bytes().all(|b| b.is_ascii_uppercase())
}

fn is_decimal(text: &str) -> bool {
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    digits(whole) && digits(part) && whole.len() + part.len() <= MOST_DIGITS
}

#[cfg(test)]
mod tests {
    use super::Price;

    #[test]
    fn prices() {
        let cases: [(&str, Option<(f64, &str)>); 12] = [
            ("489.00 EUR", Some((489.0, "EUR"))),
            ("EUR 489", Some((489.0, "EUR"))),
            (" 0.99  USD ", Some((0.99, "USD"))),
            ("1,299 EUR", None),
            ("1 299 EUR", None),
            ("489 €", None),
            ("489", None),
            ("EUR", None),
            ("489 eur", None),
            ("-5 EUR", None),
            ("1e9 EUR", None),
            ("1234567890123 EUR", None),
        ];
        for (text, expected) in cases {
            let read = Price::read(text);
            assert_eq!(read.as_ref().map(|p| (p.amount, p.currency.as_str())), expected, "{text}");
        }
    }
}
