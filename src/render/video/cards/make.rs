//! What stands on each kind of card.

use super::super::description::in_a_line;
use super::super::measure::{Weight, width};
use super::flow::{Area, Block, Format, SMALLEST, Text, flow, tenth};
use super::{Card, Picture, said};
use crate::judge::bench_test::TestResult;
use crate::judge::facts::Subject;
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::render::draw::rows::Group;
use crate::render::draw::{Drawing, Paper, TEXT, curve};
use crate::render::write_up::picture::{description, path_chart};
use crate::render::write_up::{PhotoView, View};

/// Most cards of findings; a stranger's record must not make thousands of pictures.
const MOST_FINDINGS: usize = 40;
/// Most cards of bench tests.
const MOST_TESTS: usize = 12;
/// Space between a text and a picture beside it, px.
const GUTTER: f64 = 56.0;

/// All cards of an inspection, and what is to be told about them.
pub(super) fn all(
    inspection: &Inspection,
    view: &View,
    photos: &[PhotoView],
    against: Option<&View>,
) -> (Vec<Card>, Vec<String>) {
    let mut told = Vec::new();
    let grave: Vec<&Finding> =
        view.causes.iter().filter(|cause| cause.grade.is_grave()).map(|cause| &cause.head).collect();
    if grave.len() > MOST_FINDINGS {
        told.push(format!("cards are made for the {MOST_FINDINGS} gravest findings of {}", grave.len()));
    }
    let drawn = |test: &&(usize, &TestResult)| !test.1.curves.is_empty() || !test.1.figures.is_empty();
    let tests: Vec<(usize, &TestResult)> = inspection.bench_tests.iter().enumerate().collect();
    let tests: Vec<&(usize, &TestResult)> = tests.iter().filter(drawn).collect();
    if tests.len() > MOST_TESTS {
        told.push(format!("cards are made for {MOST_TESTS} bench tests of {}", tests.len()));
    }
    let mut cards = Vec::new();
    for format in Format::ALL {
        cards.push(verdict(view, format));
        for (index, finding) in grave.iter().take(MOST_FINDINGS).enumerate() {
            cards.push(self::finding(view, finding, index + 1, photos, format));
        }
        cards.extend(path(view, format));
        cards.extend(protection(inspection, view, format));
        for (number, (index, result)) in tests.iter().take(MOST_TESTS).enumerate() {
            cards.push(test(view, *index, number + 1, result, format));
        }
        if let Some(other) = against {
            cards.push(super::against::card(view, other, format));
        }
    }
    (cards, told)
}

/// The words for the sum of all outcomes, and their class.
fn outcome(view: &View) -> (&'static str, &'static str) {
    let c = view.counts;
    if c.critical > 0 {
        ("critical", "▼ FALLS SHORT")
    } else if c.major > 0 {
        ("major", "▼ FALLS SHORT")
    } else if c.grave_not_decided > 0
        || view.rated_current.is_none()
        || view.path.permissible_current.si.is_none()
    {
        ("open", "◇ NOT DECIDED")
    } else {
        ("meets", "● NOTHING CRITICAL OR MAJOR FALLS SHORT")
    }
}

fn verdict(view: &View, format: Format) -> Card {
    let (mut card, area) = Card::framed("verdict", "verdict".to_owned(), view, format);
    let (class, words) = outcome(view);
    card.class = class;
    let c = view.counts;
    let mut blocks = vec![Block::new(words, "tag", Weight::Bold, 48.0).gap(0.5)];
    if !view.rule_files.is_empty() {
        blocks.insert(0, Block::new(&said(&view.rules_told()), "soft", Weight::Book, 40.0).lines(4).gap(0.4));
    }
    match (&view.rated_current, &view.path.permissible_current.value, &view.path.weakest) {
        (Some(rated), Some(permissible_current), Some(weakest)) => {
            blocks.push(
                Block::new(&said(&format!("Rated {rated}")), "lead", Weight::Bold, 104.0).lines(2).gap(0.05),
            );
            let carries = said(&format!("Weakest known: {permissible_current}"));
            blocks.push(
                Block::new(&carries, "lead", Weight::Bold, if format == Format::Wide { 104.0 } else { 84.0 })
                    .lines(2)
                    .gap(0.25),
            );
            let margin = view.path.margin.as_ref().map(|m| format!(", margin {m}")).unwrap_or_default();
            blocks.push(Block::new(&said(&format!("{weakest}{margin}")), "ink", Weight::Book, 56.0).lines(3));
            let open = match view.path.undecided.len() {
                0 => String::new(),
                1 => "The permissible current of one element is not known.".to_owned(),
                n => format!("The permissible current of {n} elements is not known."),
            };
            blocks.push(Block::new(&open, "soft", Weight::Book, 44.0).gap(0.8));
        }
        _ => blocks.push(Block::new(&said(&view.verdict()), "lead", Weight::Bold, 84.0).gap(0.8)),
    }
    for (text, class) in [
        (format!("▼ falls short: {} critical, {} major, {} minor", c.critical, c.major, c.minor), "bad"),
        (format!("◇ not decided: {}", c.not_decided), "open"),
        (format!("● met: {} (met does not mean safe)", c.meets), "good"),
    ] {
        blocks.push(Block::new(&text, class, Weight::Bold, 48.0).gap(0.25));
    }
    card.title = format!("{}: verdict", said(&view.title));
    card.write(&blocks, area);
    card
}

fn finding(view: &View, finding: &Finding, number: usize, photos: &[PhotoView], format: Format) -> Card {
    let (mut card, area) = Card::framed("finding", format!("finding-{number:02}"), view, format);
    card.class = finding.grade.word();
    let tag = format!("{} {}, {}", finding.outcome.shape(), finding.outcome.words(), finding.grade.word())
        .to_uppercase();
    let photo =
        finding.photos.iter().find_map(|name| photos.iter().find(|p| p.name == *name && p.data.is_some()));
    // Without a photo there is room for larger words.
    let grow = if photo.is_none() { 1.3 } else { 1.0 };
    let mut blocks = vec![
        Block::new(&tag, "tag", Weight::Bold, 48.0),
        Block::new(&said(&finding.statement), "lead", Weight::Bold, 76.0 * grow).gap(0.35),
        Block::new(&said(&finding.subject), "ink", Weight::Book, 52.0 * grow).lines(3),
        Block::new(&said(&finding.working.numbers), "numbers", Weight::Bold, 56.0 * grow).gap(0.3),
    ];
    if let Some(margin) = &finding.working.margin {
        blocks
            .push(Block::new(&said(&format!("margin {margin}")), "bad", Weight::Bold, 54.0 * grow).lines(3));
    }
    if finding.rests_on_claims {
        blocks.push(
            Block::new("Rests on a claim, not on a finding of this inspection.", "soft", Weight::Book, 40.0)
                .spare(),
        );
    }
    blocks.push(Block::new(&said(&finding.why), "soft", Weight::Book, 42.0).lines(4).spare());
    card.title = said(&in_a_line(finding));
    match (photo, format) {
        (Some(photo), Format::Wide) => {
            let (words, place) = area.split(0.54, GUTTER);
            card.write(&blocks, words);
            card.show(photo, place);
        }
        (Some(photo), Format::Tall) => {
            let end = card.write(&blocks, Area { height: area.height * 0.56, ..area });
            card.show(photo, area.below(end - area.y));
        }
        (None, _) => {
            card.write(&blocks, area);
        }
    }
    card
}

fn path(view: &View, format: Format) -> Option<Card> {
    let mut chart = path_chart(view)?;
    let (mut card, area) = Card::framed("path", "path".to_owned(), view, format);
    let (class, _) = outcome(view);
    card.class = class;
    let head = [Block::new("How warm each place becomes", "lead", Weight::Bold, 56.0).lines(2).gap(0.3)];
    let top = card.write(&head, Area { height: 150.0, ..area }) - area.y;
    let mut rest = area.below(top);
    chart.beside = format == Format::Wide;
    chart.legend.iter_mut().for_each(|(_, words)| *words = said(words));
    for group in &mut chart.groups {
        // One row a place: what was measured stands over the range.
        if let Some(read) = group.rows.get(1).cloned()
            && let Some(row) = group.rows.first_mut()
        {
            row.reading = read.reading;
            row.strong |= read.strong;
        }
        group.rows.truncate(1);
        group.heading.clear();
        group.note.clear();
        group.name = said(&group.name);
        group.rows.iter_mut().for_each(|row| row.words = said(&row.words));
    }
    let all = chart.groups.len();
    if all > chart.room(paper(rest)) {
        rest.height -= 54.0;
        let room = chart.room(paper(rest));
        chart.groups = hottest(chart.groups, room);
    }
    card.description = description(view);
    let left_out = all - chart.groups.len();
    card.draw(&chart.draw(paper(rest)), rest);
    if left_out > 0 {
        let words = format!("and {left_out} more, further below their limits or not known");
        card.write(&[Block::new(&words, "soft", Weight::Book, SMALLEST).lines(1)], rest.below(rest.height));
    }
    card.title = format!("{}: current path", said(&view.title));
    Some(card)
}

/// What opens on a short circuit and what is harmed, on one chart.
fn protection(inspection: &Inspection, view: &View, format: Format) -> Option<Card> {
    let found = crate::render::write_up::protection::protection(&inspection.record, &inspection.derived)?;
    let (mut card, area) = Card::framed("protection", "protection".to_owned(), view, format);
    card.class = "plain";
    let mut blocks =
        vec![Block::new("Does the protection work?", "lead", Weight::Bold, 60.0).lines(2).gap(0.3)];
    // The last sentences say what nothing covers.
    let most = if format == Format::Wide { 2 } else { 1 };
    let said_last = found.words.iter().rev().take(most).rev().enumerate();
    blocks.extend(said_last.map(|(place, words)| {
        let class = if place == 0 { "ink" } else { "soft" };
        Block::new(&said(words), class, Weight::Book, 44.0).lines(7).gap(0.3)
    }));
    card.title = format!("{}: protection", said(&view.title));
    let place = card.words_beside(&blocks, area, format);
    let mut chart = found.chart;
    chart.lines.iter_mut().for_each(|line| line.name = said(&line.name));
    card.draw(&chart.draw(paper(place)), place);
    Some(card)
}

/// The groups that come nearest to their limits, in the order of the path; those that are not known give way first.
fn hottest(groups: Vec<Group>, room: usize) -> Vec<Group> {
    let over = |group: &Group| {
        let row = group.rows.first();
        let known = row.and_then(|row| Some((row.range?.1, row.limit?)));
        known.map_or(f64::NEG_INFINITY, |(high, limit)| high - limit)
    };
    let mut order: Vec<(usize, Group)> = groups.into_iter().enumerate().collect();
    order.sort_by(|a, b| over(&b.1).total_cmp(&over(&a.1)));
    order.truncate(room.max(1));
    order.sort_by_key(|(index, _)| *index);
    order.into_iter().map(|(_, group)| group).collect()
}

/// The paper of an area: texts are as large as the smallest of a card.
fn paper(area: Area) -> Paper {
    let scale = SMALLEST / TEXT;
    let measure = |text: &str, bold| width(text, TEXT, if bold { Weight::Bold } else { Weight::Book });
    Paper { width: area.width / scale, height: Some(area.height / scale), measure }
}

fn test(view: &View, index: usize, number: usize, result: &TestResult, format: Format) -> Card {
    let (mut card, area) = Card::framed("test", format!("test-{number}"), view, format);
    let about: Vec<&Finding> =
        view.findings.iter().filter(|f| f.at == Subject::Test(index) && f.grade != Grade::Custom).collect();
    let grave = about.iter().min_by_key(|f| (f.outcome, f.grade));
    card.class = match grave {
        Some(f) if f.outcome == Outcome::FallsShort => f.grade.word(),
        Some(f) if f.outcome == Outcome::NotDecided => "open",
        Some(_) => "meets",
        None => "plain",
    };
    let kind = if result.kind.is_empty() { "bench" } else { &result.kind };
    let mut blocks =
        vec![Block::new(&said(&format!("Bench test: {kind}")), "lead", Weight::Bold, 60.0).lines(2).gap(0.3)];
    // The gravest says most; a second one may follow where there is room.
    for (place, finding) in about.iter().take(2).enumerate() {
        let margin = finding.working.margin.as_ref().map(|m| format!("; margin {m}")).unwrap_or_default();
        let open = finding.outcome == Outcome::NotDecided;
        let compared = if open { String::new() } else { format!("{}{margin}", finding.working.numbers) };
        let text = format!("{} {}: {}", finding.outcome.shape(), finding.outcome.words(), finding.statement);
        let class = match finding.outcome {
            Outcome::FallsShort => "bad",
            Outcome::NotDecided => "open",
            Outcome::Meets => "good",
        };
        for block in [
            Block::new(&said(&text), class, Weight::Bold, 44.0).lines(4).gap(0.15),
            Block::new(&said(&compared), "ink", Weight::Book, 40.0).lines(3).gap(0.4),
        ] {
            blocks.push(if place == 0 { block } else { block.spare() });
        }
    }
    for figure in result.in_brief(4) {
        blocks.push(
            Block::new(&said(&format!("{}: {}", figure.name, figure.text())), "ink", Weight::Book, 40.0)
                .lines(2)
                .gap(0.2)
                .spare(),
        );
    }
    card.title = said(&format!("{}: bench test, {kind}", view.title));
    let Some(curve) = result.curves.first() else {
        card.write(&blocks, area);
        return card;
    };
    let place = card.words_beside(&blocks, area, format);
    card.draw(&curve::on(curve, paper(place)), place);
    card
}

impl Card {
    /// Puts a drawing into an area, as large as its texts have to be.
    fn draw(&mut self, drawing: &Drawing, area: Area) {
        let scale = SMALLEST / TEXT;
        self.drawing.push_str(&format!(
            r#"<g transform="translate({} {}) scale({scale:.4})">{}</g>"#,
            tenth(area.x),
            tenth(area.y),
            drawing.shapes
        ));
        self.texts.extend(drawing.texts.iter().map(|words| {
            let (weight, class) = match words.class {
                class if class.contains("strong") => (Weight::Bold, "ink halo"),
                class if class.contains("tick") => (Weight::Book, "soft"),
                _ => (Weight::Book, "ink halo"),
            };
            let (x, y) = (area.x + scale * words.x, area.y + scale * words.y);
            Text::new(x, y, SMALLEST, weight, class, &said(&words.text)).anchored(words.anchor)
        }));
    }

    /// Writes blocks into an area, and all they say into the description.
    pub(super) fn write(&mut self, blocks: &[Block], area: Area) -> f64 {
        for block in blocks.iter().filter(|block| !block.text().is_empty()) {
            if !self.description.is_empty() {
                self.description.push_str(". ");
            }
            self.description.push_str(block.text());
        }
        let (texts, end) = flow(blocks, area);
        self.texts.extend(texts);
        end
    }

    /// Writes blocks beside a drawing, or above it; gives the drawing's place.
    fn words_beside(&mut self, blocks: &[Block], area: Area, format: Format) -> Area {
        match format {
            Format::Wide => {
                let (words, place) = area.split(0.42, GUTTER);
                self.write(blocks, words);
                place
            }
            Format::Tall => {
                area.below(self.write(blocks, Area { height: area.height * 0.5, ..area }) - area.y)
            }
        }
    }

    /// Shows a photo with its caption below, as large as the place allows.
    fn show(&mut self, photo: &PhotoView, place: Area) {
        let Some(href) = &photo.data else { return };
        let caption = if photo.caption.is_empty() { &photo.name } else { &photo.caption };
        let room = 110.0;
        let (width, height) = (f64::from(photo.width.max(1)), f64::from(photo.height.max(1)));
        let scale = (place.width / width).min((place.height - room).max(1.0) / height);
        let (width, height) = (width * scale, height * scale);
        let frame = Area { x: place.x + (place.width - width) / 2.0, y: place.y, width, height };
        let block = Block::new(&said(caption), "soft", Weight::Book, SMALLEST).lines(2).gap(0.0);
        self.write(&[block], Area { y: frame.bottom() + 14.0, height: room - 10.0, ..place });
        self.photo = Some(Picture {
            href: href.clone(),
            place: frame.rounded(),
            marks: photo.marks.clone(),
            pixels: (photo.width, photo.height),
        });
    }
}
