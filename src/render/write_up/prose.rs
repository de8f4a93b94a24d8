//! Text from a record into the write-up: Markdown for people, HTML without anything that acts.
//!
//! A record may come from a stranger. Its Markdown is parsed, raw HTML becomes visible text, headings are kept
//! below those of the write-up, images are dropped (they would be requests), and the result goes through a sanitiser
//! that knows only harmless elements and web or mail links.

use std::collections::HashSet;

use pulldown_cmark::{CowStr, Event, HeadingLevel, Options, Parser, Tag, TagEnd, html};

/// Schemes a link may have.
const SCHEMES: [&str; 3] = ["http", "https", "mailto"];

/// Markdown to harmless HTML.
#[must_use]
pub fn to_html(markdown: &str) -> String {
    let events =
        Parser::new_ext(markdown, Options::ENABLE_TABLES | Options::ENABLE_STRIKETHROUGH).map(|event| {
            match event {
                Event::Html(raw) | Event::InlineHtml(raw) => Event::Text(raw),
                Event::Start(Tag::Heading { .. }) => Event::Start(Tag::Heading {
                    level: HeadingLevel::H3,
                    id: None,
                    classes: Vec::new(),
                    attrs: Vec::new(),
                }),
                Event::End(TagEnd::Heading(_)) => Event::End(TagEnd::Heading(HeadingLevel::H3)),
                Event::Start(Tag::Image { .. }) => Event::Start(Tag::Emphasis),
                Event::End(TagEnd::Image) => Event::End(TagEnd::Emphasis),
                other => other,
            }
        });
    let mut rendered = String::new();
    html::push_html(&mut rendered, events);
    ammonia::Builder::default()
        .url_schemes(HashSet::from(SCHEMES))
        .url_relative(ammonia::UrlRelative::Deny)
        .rm_tags(["img"])
        .link_rel(Some("noopener noreferrer nofollow"))
        .clean(&rendered)
        .to_string()
}

/// Markdown that may stand in another Markdown document: raw HTML made visible, unsafe links taken apart.
#[must_use]
pub fn to_markdown(markdown: &str) -> String {
    let harmless = Parser::new_ext(markdown, Options::ENABLE_TABLES).all(|event| match event {
        Event::Html(_) | Event::InlineHtml(_) | Event::Start(Tag::Image { .. } | Tag::Heading { .. }) => {
            false
        }
        Event::Start(Tag::Link { dest_url, .. }) => allowed(&dest_url),
        _ => true,
    });
    if harmless { markdown.trim().to_owned() } else { escape(markdown) }
}

fn allowed(url: &CowStr<'_>) -> bool {
    SCHEMES.iter().any(|scheme| url.starts_with(&format!("{scheme}:")))
}

/// Plain text for a Markdown document: everything that Markdown would read as markup is escaped.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\\' | '`' | '*' | '_' | '[' | ']' | '#' | '|' | '~' => {
                escaped.push('\\');
                escaped.push(c);
            }
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '&' => escaped.push_str("&amp;"),
            c if c.is_control() => escaped.push(' '),
            c => escaped.push(c),
        }
    }
    escaped
}

/// A line that breaks before `±` or a bracket, never between a number and its unit or a sign and its number.
pub fn whole_quantities(text: &str) -> String {
    const NO_BREAK_SPACE: char = '\u{a0}';
    let mut out = String::with_capacity(text.len());
    let mut letters = text.chars().peekable();
    let mut before = ' ';
    while let Some(letter) = letters.next() {
        let after = letters.peek().copied();
        let holds = letter == ' '
            && (before == '±' || before.is_ascii_digit())
            && after.is_some_and(|after| !['±', '(', '≥', '≤', '<', '>', '='].contains(&after));
        out.push(if holds { NO_BREAK_SPACE } else { letter });
        before = letter;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_is_not_broken_from_its_unit() {
        for (text, whole) in [
            ("310.0 µΩ ± 6.0 µΩ", "310.0\u{a0}µΩ ±\u{a0}6.0\u{a0}µΩ"),
            ("−50 A (−25 %)", "−50\u{a0}A (−25\u{a0}%)"),
            ("bar: 136.40 A ≥ 200 A", "bar: 136.40\u{a0}A ≥ 200\u{a0}A"),
            ("0 ≥ 1", "0 ≥ 1"),
            ("not known", "not known"),
        ] {
            assert_eq!(whole_quantities(text), whole);
        }
    }

    #[test]
    fn nothing_acts() {
        let hostile = "# big\n\n<script>alert(1)</script>\n\ntext <img src=x onerror=alert(1)> [a](javascript:alert(1)) ![p](http://x/y.png) [ok](https://example.org) <a href='data:text/html,x'>z</a>";
        let html = to_html(hostile);
        for bad in
            ["<script", "<img", "javascript:", "onerror=alert(1)>", "http://x/y.png", "href=\"data:", "<h1"]
        {
            assert!(!html.contains(bad), "{bad} in {html}");
        }
        assert!(html.contains("https://example.org"));
        let markdown = to_markdown(hostile);
        assert!(!markdown.contains("<script") && !markdown.contains("[a](javascript"));
        assert_eq!(to_markdown("plain **bold**"), "plain **bold**");
    }
}
