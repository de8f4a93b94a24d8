//! What stands on each kind of card.

use super::super::measure::{Weight, width};
use super::flow::{Area, Block, Format, SMALLEST, SMALLEST_THUMBNAIL, Text, flow, label, tenth, whole};
use super::{Card, INVENTED, Picture, said};
use crate::judge::bench_test::TestResult;
use crate::judge::facts::Subject;
use crate::judge::inspection::Inspection;
use crate::judge::rules::{Finding, Grade, Outcome};
use crate::render::draw::rows::{Group, RowChart, Sample};
use crate::render::draw::{Drawing, Paper, TEXT, curve};
use crate::render::write_up::picture::{description, path_chart};
use crate::render::write_up::{AnswerView, CauseView, PhotoView, View, curves};
use crate::units::words::of_fact;

/// Most cards of causes and of bench tests: with the others a dozen, which is what a film can show.
const MOST_CAUSES: usize = 5;
const MOST_TESTS: usize = 2;
/// Most claims on their card.
const MOST_CLAIMS: usize = 3;
/// Space between a text and a picture beside it, px.
const GUTTER: f64 = 56.0;
/// Places of the answers to "Does it hold?" and "Is there protection?".
const HOLDS: usize = 1;
const PROTECTED: usize = 3;

/// All cards of an inspection, and what is to be told about them.
pub(super) fn all(
    inspection: &Inspection,
    view: &View,
    photos: &[PhotoView],
    against: Option<&View>,
) -> (Vec<Card>, Vec<String>) {
    let mut told = Vec::new();
    let grave: Vec<&CauseView> = view.causes.iter().filter(|cause| cause.grade.is_grave()).collect();
    if grave.len() > MOST_CAUSES {
        told.push(format!("cards are made for the {MOST_CAUSES} gravest causes of {}", grave.len()));
    }
    let tests = answering(inspection, view);
    let mut cards = Vec::new();
    for format in Format::ALL {
        cards.push(verdict(view, photos, format));
        cards.extend(path(view, format));
        for (number, cause) in (1..).zip(grave.iter().take(MOST_CAUSES)) {
            cards.push(finding(view, cause, number, photos, format));
        }
        for (number, (index, result)) in (1..).zip(&tests) {
            cards.push(test(view, *index, number, result, format));
        }
        cards.extend(claims(view, format));
        if let Some(other) = against {
            cards.push(super::against::card(view, other, format));
        }
    }
    cards.push(thumbnail(view, photos));
    cards.extend(
        (1..).zip(grave.iter().take(MOST_CAUSES)).map(|(number, cause)| lower_third(view, cause, number)),
    );
    (cards, told)
}

/// The tests whose curves tell most: those that fall short first, the gravest of them before others.
fn answering<'a>(inspection: &'a Inspection, view: &View) -> Vec<(usize, &'a TestResult)> {
    let mut tests: Vec<(usize, &TestResult)> = inspection.bench_tests.iter().enumerate().collect();
    tests.retain(|(_, test)| !test.curves.is_empty());
    let gravest = |index: usize| {
        let about = view.findings.iter().filter(|f| f.at == Subject::Test(index) && f.grade != Grade::Custom);
        about.map(|finding| (finding.outcome, finding.grade)).min()
    };
    tests.sort_by_key(|(index, _)| (gravest(*index).is_none(), gravest(*index)));
    tests.truncate(MOST_TESTS);
    tests
}

/// A card's class, by the outcome and the grade of what it says.
const fn class(outcome: Option<Outcome>, grade: Grade) -> &'static str {
    match outcome {
        Some(Outcome::FallsShort) => grade.word(),
        Some(Outcome::NotDecided) | None => "open",
        Some(Outcome::Meets) => "meets",
    }
}

/// The answer to a question of the first page.
fn answer(view: &View, at: usize) -> (Option<Outcome>, &[String]) {
    view.answers.get(at).map_or((None, &[]), |AnswerView { outcome, said, .. }| (*outcome, said))
}

/// What is claimed, in a few words.
fn claimed(view: &View) -> String {
    said(view.rated_current.as_deref().unwrap_or("no rating"))
}

/// The photo that points to most.
fn overview(photos: &[PhotoView]) -> Option<&PhotoView> {
    // Of several alike the first counts.
    photos.iter().rev().filter(|photo| photo.data.is_some()).max_by_key(|photo| photo.pointers.len())
}

fn verdict(view: &View, photos: &[PhotoView], format: Format) -> Card {
    let (mut card, area) = Card::framed("verdict", "verdict".to_owned(), view, format);
    let (outcome, held) = answer(view, HOLDS);
    let (_, protected) = answer(view, PROTECTED);
    card.class = class(outcome, Grade::Critical);
    let words = outcome.map_or_else(
        || "◇ NOT JUDGED".to_owned(),
        |outcome| format!("{} {}", outcome.shape(), outcome.words()).to_uppercase(),
    );
    let mut blocks = vec![
        Block::new(&format!("{} claimed", claimed(view)), "lead", Weight::Bold, 110.0).lines(2).gap(0.15),
        Block::new(&words, "tag", Weight::Bold, 72.0).gap(0.4),
    ];
    if !view.rule_files.is_empty() {
        blocks.insert(
            0,
            Block::new(&said(&view.rules_told()), "soft", Weight::Book, SMALLEST).lines(4).gap(0.4),
        );
    }
    let told = held.iter().chain(protected.first());
    blocks.extend(told.map(|told| Block::new(&said(told), "ink", Weight::Bold, 54.0).lines(6).gap(0.35)));
    card.title = format!("{}: verdict", said(&view.title));
    card.beside(&blocks, overview(photos), area, 0.5);
    card
}

fn finding(view: &View, cause: &CauseView, number: usize, photos: &[PhotoView], format: Format) -> Card {
    let (mut card, area) = Card::framed("finding", format!("finding-{number:02}"), view, format);
    card.class = cause.grade.word();
    let shown = |name: &String| photos.iter().find(|p| p.name == *name && p.data.is_some());
    let photo = cause.photos.iter().find_map(shown);
    // Without a photo there is room for larger words.
    let grow = if photo.is_none() { 1.5 } else { 1.0 };
    let blocks = [
        Block::new(&format!("▼ {}", cause.grade.word()).to_uppercase(), "tag", Weight::Bold, 54.0),
        Block::new(&said(&cause.statement), "lead", Weight::Bold, 76.0 * grow).gap(0.4),
        Block::new(&said(&view.found(cause)), "ink", Weight::Bold, 52.0 * grow).lines(7),
    ];
    card.title = said(&format!("{}. {}", cause.statement, view.found(cause)));
    card.beside(&blocks, photo, area, 0.42);
    card
}

/// A cause over a film.
fn lower_third(view: &View, cause: &CauseView, number: usize) -> Card {
    let mut card = Card::bare("finding", format!("finding-{number:02}"), view, Format::LowerThird);
    card.class = cause.grade.word();
    card.title = said(&cause.statement);
    let invented = if view.invented { format!("{INVENTED}. ") } else { String::new() };
    let blocks = [
        Block::new(&said(&cause.statement), "lead", Weight::Bold, 66.0).lines(2).gap(0.1),
        Block::new(&said(&format!("{invented}{}", view.found(cause))), "ink", Weight::Book, 48.0)
            .lines(2)
            .gap(0.0),
    ];
    let safe = card.safe;
    card.write(
        &blocks,
        Area { x: safe.x + 24.0, y: safe.y + 12.0, width: safe.width - 48.0, height: safe.height - 24.0 },
    );
    card
}

/// Few words, as large as can be read in a list of films.
fn thumbnail(view: &View, photos: &[PhotoView]) -> Card {
    let mut card = Card::bare("thumbnail", "thumbnail".to_owned(), view, Format::Wide);
    let (outcome, _) = answer(view, HOLDS);
    card.class = class(outcome, Grade::Critical);
    let outcome = outcome.map_or("not judged", Outcome::words).to_uppercase();
    card.title = format!("{}: {} claimed, {outcome}", said(&view.title), claimed(view));
    let (words, place) = card.safe.split(0.6, 0.0);
    let mut lines = vec![(claimed(view), "lead", 230.0)];
    lines.extend(outcome.split(' ').map(|word| (word.to_owned(), "tag", 190.0)));
    if view.invented {
        lines.push(("INVENTED".to_owned(), "ink", SMALLEST_THUMBNAIL));
    }
    let mut top = words.y;
    for (line, class, size) in lines {
        card.texts.push(label(words.x, top, size, Weight::Bold, class, &line, words.width));
        top += 1.15 * size;
    }
    if let Some(photo) = overview(photos) {
        let place = Area { x: place.x, y: 0.0, width: 1920.0 - place.x, height: 1080.0 };
        card.put(photo, place);
    }
    card
}

/// What was claimed and what was found, the contradicted claims first.
fn claims(view: &View, format: Format) -> Option<Card> {
    let of = |verdict: &'static str| view.claims.iter().filter(move |claim| claim.verdict == verdict);
    let told: Vec<_> = of("contradicted").chain(of("supported")).take(MOST_CLAIMS).collect();
    if told.is_empty() {
        return None;
    }
    let (mut card, area) = Card::framed("claims", "claims".to_owned(), view, format);
    card.class = if told[0].verdict == "contradicted" { "critical" } else { "meets" };
    let mut blocks = vec![Block::new("Claimed, and found", "lead", Weight::Bold, 76.0).lines(1).gap(0.4)];
    for claim in told {
        let (shape, class) = if claim.verdict == "contradicted" { ("▼", "bad") } else { ("●", "good") };
        let claimed = format!("{}: {}", claim.what, claim.claimed);
        let found = format!("{shape} {}: {}", claim.verdict, view.by_name(&claim.found));
        blocks.push(Block::new(&said(&claimed), "ink", Weight::Bold, 60.0).lines(2).gap(0.1));
        blocks.push(Block::new(&said(&found), class, Weight::Book, 52.0).lines(3).gap(0.5));
    }
    card.title = format!("{}: claims and findings", said(&view.title));
    card.write(&blocks, area);
    Some(card)
}

fn path(view: &View, format: Format) -> Option<Card> {
    let mut chart = path_chart(view)?;
    let (mut card, area) = Card::framed("path", "path".to_owned(), view, format);
    card.class = class(answer(view, HOLDS).0, Grade::Critical);
    let head =
        [Block::new("How warm after one full discharge, °C", "lead", Weight::Bold, 56.0).lines(2).gap(0.3)];
    let top = card.write(&head, Area { height: 150.0, ..area }) - area.y;
    let mut rest = area.below(top);
    chart.axis = "";
    chart.beside = format == Format::Wide;
    chart.legend.iter_mut().for_each(|(sample, words)| {
        *words = match sample {
            Sample::Reading => "measured".to_owned(),
            Sample::Limit => "limit".to_owned(),
            _ => said(words),
        };
    });
    for group in &mut chart.groups {
        // One row a place: what was measured stands over the range.
        if let Some(read) = group.rows.get(1).cloned()
            && let Some(row) = group.rows.first_mut()
        {
            row.reading = read.reading;
            (row.words, row.strong) = (read.words, read.strong);
        }
        group.rows.truncate(1);
        group.heading.clear();
        group.note.clear();
        group.name = said(&group.name);
        group.rows.iter_mut().for_each(|row| row.words = said(&row.words));
    }
    let all = chart.groups.len();
    let legend = std::mem::take(&mut chart.legend);
    explain(&mut chart, &legend);
    if !chart.fits(paper(rest)) {
        rest.height -= 66.0;
        while chart.groups.len() > 1 && !chart.fits(paper(rest)) {
            let room = chart.groups.len() - 1;
            chart.groups = hottest(chart.groups, room);
            explain(&mut chart, &legend);
        }
    }
    card.description = description(view);
    let left_out = all - chart.groups.len();
    card.draw(&chart.draw(paper(rest)), rest);
    if left_out > 0 {
        let words = format!("and {left_out} more, less hot or not known");
        card.write(&[Block::new(&words, "soft", Weight::Book, SMALLEST).lines(1)], rest.below(rest.height));
    }
    card.title = format!("{}: current path", said(&view.title));
    Some(card)
}

/// The legend of what is drawn.
fn explain(chart: &mut RowChart<'_>, legend: &[(Sample, String)]) {
    let rows = || chart.groups.iter().flat_map(|group| &group.rows);
    let drawn = |sample: &Sample| match sample {
        Sample::Bar(class) => rows().any(|row| row.class == *class),
        Sample::Reading => rows().any(|row| row.reading.is_some()),
        _ => true,
    };
    chart.legend = legend.iter().filter(|(sample, _)| drawn(sample)).cloned().collect();
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
    card.class = grave.map_or("plain", |finding| class(Some(finding.outcome), finding.grade));
    let kind = if result.kind.is_empty() { "bench" } else { &result.kind };
    let mut blocks =
        vec![Block::new(&said(&format!("Test: {kind}")), "lead", Weight::Bold, 66.0).lines(2).gap(0.3)];
    if let Some(finding) = grave {
        // What is not decided would read as if it were so.
        let open = if finding.outcome == Outcome::NotDecided { "not decided: " } else { "" };
        let text = format!("{} {open}{}", finding.outcome.shape(), finding.statement);
        let class = match finding.outcome {
            Outcome::FallsShort => "bad",
            Outcome::NotDecided => "open",
            Outcome::Meets => "good",
        };
        blocks.push(Block::new(&said(&text), class, Weight::Bold, 54.0).lines(4).gap(0.2));
        blocks.push(Block::new(&said(&finding.working.numbers), "ink", Weight::Book, 48.0).lines(4).gap(0.4));
    }
    card.title = said(&format!("{}: bench test, {kind}", view.title));
    let (curves, shown) = curves(result, view);
    if let Some(shown) = curves.get(shown) {
        // A card has room for a kind, not for a long name.
        let mut shown = shown.clone().into_owned();
        for series in &mut shown.series {
            let mut of_it = view.path.elements.iter().filter(|element| element.called == series.name);
            if let Some(element) = of_it.next() {
                series.name = of_fact(&element.kind);
            }
        }
        let place = card.words_beside(&blocks, area, format);
        card.draw(&curve::on(&shown, paper(place)), place);
    } else {
        card.write(&blocks, area);
    }
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
            Format::Wide | Format::LowerThird => {
                let (words, place) = area.split(0.42, GUTTER);
                self.write(blocks, words);
                place
            }
            Format::Tall => {
                area.below(self.write(blocks, Area { height: area.height * 0.36, ..area }) - area.y)
            }
        }
    }

    /// Writes blocks beside a photo that is as large as can be, or above it; alone where there is none.
    fn beside(&mut self, blocks: &[Block], photo: Option<&PhotoView>, area: Area, share: f64) {
        match (photo, self.format) {
            (Some(photo), Format::Tall) => {
                // The photo gives way before a word does.
                let shares = [0.56, 0.64, 0.72].map(|share| Area { height: area.height * share, ..area });
                let room = shares.iter().find(|room| whole(blocks, **room)).unwrap_or(&shares[2]);
                let end = self.write(blocks, *room);
                self.show(photo, area.below(end - area.y));
            }
            (Some(photo), _) => {
                let (words, place) = area.split(share, GUTTER);
                self.write(blocks, words);
                self.show(photo, place);
            }
            (None, _) => {
                self.write(blocks, area);
            }
        }
    }

    /// Shows a photo with its caption below, as large as the place allows.
    fn show(&mut self, photo: &PhotoView, place: Area) {
        let caption = if photo.caption.is_empty() { &photo.name } else { &photo.caption };
        let room = 130.0;
        let (width, height) = (f64::from(photo.width.max(1)), f64::from(photo.height.max(1)));
        let scale = (place.width / width).min((place.height - room).max(1.0) / height);
        let (width, height) = (width * scale, height * scale);
        let frame = Area { x: place.x + (place.width - width) / 2.0, y: place.y, width, height };
        let block = Block::new(&said(caption), "soft", Weight::Book, SMALLEST).lines(2).gap(0.0);
        self.write(&[block], Area { y: frame.bottom() + 14.0, height: room - 10.0, ..place });
        self.put(photo, frame);
    }

    /// Puts a photo into a place, with its pointers.
    fn put(&mut self, photo: &PhotoView, place: Area) {
        let Some(href) = &photo.data else { return };
        self.photo = Some(Picture {
            href: href.clone(),
            place: place.rounded(),
            marks: photo.marks.clone(),
            pixels: (photo.width, photo.height),
        });
    }
}
