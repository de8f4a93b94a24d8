//! Text inside HTML, SVG and CSV: the one home of their escapes.
//!
//! What comes from a record can stand between two tags, in an attribute, or in a cell of a table, and means nothing there but
//! itself. Templates escape by themselves; this is for what is written without one. Control characters are refused a
//! place in markup, where XML forbids most of them: a space stands in their stead.

use std::borrow::Cow;

/// Text for HTML and XML, between tags and in attributes of either quotation mark.
pub(crate) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    out
}

/// A cell of a CSV file (RFC 4180), in quotation marks where it needs them. White space at an end needs them too,
/// because some readers trim what stands outside of any. A text that a spreadsheet would work out as a formula gets an
/// apostrophe before it (common practice, no source).
pub(crate) fn csv_cell(text: &str) -> Cow<'_, str> {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) {
        return Cow::Owned(format!("\"'{}\"", text.replace('"', "\"\"")));
    }
    let quoted = text.bytes().any(|byte| matches!(byte, b',' | b'"' | b'\n' | b'\r'))
        || text.starts_with(char::is_whitespace)
        || text.ends_with(char::is_whitespace);
    if quoted { Cow::Owned(format!("\"{}\"", text.replace('"', "\"\""))) } else { Cow::Borrowed(text) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn escapes() {
        let cases = [
            ("plain", "plain", "plain"),
            ("a, b", "a, b", "\"a, b\""),
            ("say \"x\" & 'y'", "say &quot;x&quot; &amp; &#39;y&#39;", "\"say \"\"x\"\" & 'y'\""),
            ("</script>", "&lt;/script&gt;", "</script>"),
            ("two\nlines", "two lines", "\"two\nlines\""),
            (" kept ", " kept ", "\" kept \""),
            ("=1+1", "=1+1", "\"'=1+1\""),
            ("@a", "@a", "\"'@a\""),
            ("\u{0}", " ", "\u{0}"),
        ];
        for (text, markup, csv) in cases {
            assert_eq!((escape(text).as_str(), csv_cell(text).as_ref()), (markup, csv), "{text:?}");
        }
    }
}
