//! Cards keep to their rules whatever a record holds.

use std::fs;

use super::flow::SMALLEST_THUMBNAIL;
use super::*;
use crate::judge::inspection::House;
use crate::render::OWN_WORDS;
use crate::render::write_up::photos;

const NASTY: &[&str] = &[
    "",
    "a short name",
    "A statement of some two hundred characters that goes on about bars, cables, fuses and joints until it has said everything twice and then says it once more for those who came late to it, and ends",
    "withoutasinglespacebutverylongwithoutasinglespacebutverylongwithoutasinglespacebutverylong",
    "بطارية الميناء \u{202e}المقلوبة 24-150",
    "<&>\"' \u{1} 🔥 漢字 👨‍👩‍👧 e\u{301}",
];

fn inspection(name: &str, folder: &Path) -> Inspection {
    let quoted = toml::Value::String(name.to_owned()).to_string();
    let elements: String = (0..30)
        .map(|n| {
            let id = toml::Value::String(format!("{name}{n}")).to_string();
            format!(
                "[[path.element]]\nid = {id}\nkind = \"busbar\"\nleg = \"positive\"\nname = {quoted}\nsection = \"{} x 2 mm\"\nmaterial = \"copper\"\norientation = \"flat\"\n",
                20 + n
            )
        })
        .collect();
    let text = format!(
        "schema = 2\n[inspection]\ntitle = {quoted}\nmodel = {quoted}\ninvented = \"yes\"\ninner_ambient = \"48 degC\"\n[claims]\ncontinuous_current = \"1000 A\"\n[[claims.statement]]\nid = \"x\"\ntext = {quoted}\nverdict = \"contradicted\"\nbecause = {quoted}\n[path]\ncomplete = \"yes\"\n{elements}"
    );
    fs::write(folder.join("inspection.toml"), text).unwrap();
    Inspection::open(folder, &House::default(), &OWN_WORDS).unwrap()
}

fn example(name: &str) -> Inspection {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("example-inspections").join(name);
    Inspection::open(&folder, &House::default(), &OWN_WORDS).unwrap()
}

/// Every card of an inspection, laid out.
fn laid_out(inspection: &Inspection, other: &View) -> Vec<Card> {
    let view = View::of(inspection);
    let photos = photos(inspection, None);
    make::all(inspection, &view, &photos, Some(other)).0
}

fn check(card: &Card, what: &str) {
    let safe = card.safe;
    let least = if card.kind == "thumbnail" { SMALLEST_THUMBNAIL } else { SMALLEST };
    for text in &card.texts {
        let (from, to) = text.span();
        assert!(text.size >= least, "{what}: {} px: {text:?}", text.size);
        assert!(
            from >= safe.x - 0.2 && to <= safe.right() + 0.2,
            "{what}: outside left or right: {text:?} to {to}"
        );
        assert!(
            text.y - 0.75 * text.size >= safe.y - 0.2 && text.y <= safe.bottom(),
            "{what}: above or below: {text:?}"
        );
        assert!(!text.text.chars().any(char::is_control), "{what}: {text:?}");
    }
    // No text lies on another: boxes of capitals, a little slimmer than they are.
    for (index, a) in card.texts.iter().enumerate() {
        for b in card.texts.iter().skip(index + 1) {
            let ((a1, a2), (b1, b2)) = (a.span(), b.span());
            let apart = a2 <= b1 || b2 <= a1 || a.y <= b.y - 0.7 * b.size || b.y <= a.y - 0.7 * a.size;
            assert!(apart || a.text.is_empty() || b.text.is_empty(), "{what}: {a:?} lies on {b:?}");
        }
    }
    // What lies over a film, and what is a finger wide, has no room for it.
    let bare = card.kind == "thumbnail" || card.format == Format::LowerThird;
    assert!(bare || card.texts.iter().any(|t| t.text.contains("Never says that a pack is safe")), "{what}");
    if let Some(photo) = card.photo.as_ref().filter(|_| card.kind != "thumbnail") {
        let place = photo.place;
        assert!(
            place.x >= safe.x - 0.2 && place.right() <= safe.right() + 0.2 && place.bottom() <= safe.bottom(),
            "{what}"
        );
        for text in &card.texts {
            let (from, to) = text.span();
            let apart = to <= place.x
                || from >= place.right()
                || text.y <= place.y
                || text.y - text.size > place.bottom();
            assert!(apart, "{what}: {text:?} lies on the photo");
        }
    }
}

#[test]
fn texts_keep_their_size_and_their_area() {
    let folder = tempfile::tempdir().unwrap();
    let (a, b) = (example("harbour-24-150-rev-a"), example("harbour-24-150-rev-b"));
    for (one, other) in [(&a, &b), (&b, &a)] {
        for card in laid_out(one, &View::of(other)) {
            check(&card, &format!("{}-{}", card.name, card.format.word()));
        }
    }
    for name in NASTY {
        let nasty = inspection(name, folder.path());
        for card in laid_out(&nasty, &View::of(&b)) {
            check(&card, &format!("{name}: {}-{}", card.name, card.format.word()));
        }
        for card in laid_out(&b, &View::of(&nasty)).iter().filter(|card| card.kind == "against") {
            check(card, &format!("{name}: against"));
        }
    }
}

#[test]
fn nothing_recorded_still_makes_a_card() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("inspection.toml"), "schema = 2\n").unwrap();
    let empty = Inspection::open(folder.path(), &House::default(), &OWN_WORDS).unwrap();
    let cards = laid_out(&empty, &View::of(&empty));
    assert_eq!(
        cards.iter().map(|card| card.kind).collect::<Vec<_>>(),
        ["verdict", "against", "verdict", "against", "thumbnail"]
    );
    for card in &cards {
        check(card, card.kind);
    }
    assert!(cards.iter().filter(|card| card.kind == "verdict").all(|card| card.class == "open"));
}

#[test]
fn drawn_the_same_each_time_and_in_the_right_size() {
    let (a, b) = (example("harbour-24-150-rev-a"), View::of(&example("harbour-24-150-rev-b")));
    let view = View::of(&a);
    let photos = photos(&a, None);
    let draw = || {
        let mut outlet = Outlet::default();
        cards(&a, &view, &photos, Some(&b), None, &mut outlet).unwrap();
        outlet.into_files()
    };
    let first = draw();
    let alpha = |name: &str| {
        let file = first.0.iter().find(|file| file.name == name).unwrap();
        image::load_from_memory(&file.content).unwrap().to_rgba8().get_pixel(960, 100)[3]
    };
    assert_eq!([alpha("cards/finding-01-lower-third.png"), alpha("cards/verdict-wide.png")], [0, 255]);
    // A dozen stills in one format, whatever a record holds.
    assert!(first.0.iter().filter(|file| file.name.ends_with("-wide.png")).count() <= 12);
    assert!(first == draw(), "not the same bytes");
    for file in first.0.iter().filter(|file| file.name.ends_with(".png")) {
        let size =
            image::ImageReader::with_format(std::io::Cursor::new(&file.content), image::ImageFormat::Png)
                .into_dimensions()
                .unwrap();
        let expected = if file.name.contains("-tall") { (1080, 1920) } else { (1920, 1080) };
        assert_eq!(size, expected, "{}", file.name);
    }
}

#[test]
fn measured_widths_are_those_that_are_drawn() {
    // usvg shapes the text with the font's own tables, kerning included; the measured width must cover it.
    // Arabic letters that stand alone are wider than joined ones.
    for (text, size, least) in [
        ("AVAVA To. Yes", 100.0, 0.85),
        ("136.40 A ± 0.21 A; required: at least 200 A", 56.0, 0.95),
        ("بطارية الميناء", 60.0, 0.6),
    ] {
        for (weight, bold) in [(Weight::Book, 400), (Weight::Bold, 700)] {
            let svg = format!(
                r#"<svg xmlns="http://www.w3.org/2000/svg" width="4000" height="200"><text x="10" y="120" font-family="DejaVu Sans" font-size="{size}" font-weight="{bold}">{text}</text></svg>"#
            );
            let drawn = raster::drawn_width(&svg).unwrap();
            let measured = super::super::measure::width(text, size, weight);
            assert!(
                drawn <= measured && drawn > least * measured,
                "{text}: {drawn} drawn, {measured} measured"
            );
        }
    }
}

#[test]
fn a_template_cannot_draw_files_in() {
    let folder = tempfile::tempdir().unwrap();
    let secret = folder.path().join("secret.svg");
    fs::write(
        &secret,
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"><rect width="9" height="9"/></svg>"#,
    )
    .unwrap();
    let svg = |href: &str| {
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="1920" height="1080"><image href="{href}" width="1920" height="1080"/></svg>"#
        )
    };
    let empty = raster::png(&svg(""), Format::Wide).unwrap();
    assert!(empty == raster::png(&svg(&secret.display().to_string()), Format::Wide).unwrap());
}
