//! A scale sheet as SVG in millimetres, and as a page that prints it at its true size.

use std::fmt::Write;

use qrcode::{Color, EcLevel, QrCode, Version};

use crate::evidence::scale::sheet::{Check, Kind, MODULES, Place, Sheet};

/// The sheet; its user units are millimetres.
pub(crate) fn svg(kind: Kind) -> String {
    let sheet = kind.sheet();
    let [width, height] = sheet.size;
    let mut out = format!(
        r##"<svg xmlns="http://www.w3.org/2000/svg" width="{width}mm" height="{height}mm" viewBox="0 0 {width} {height}"><title>Scale sheet {}</title><rect width="{width}" height="{height}" fill="#fff"/><path shape-rendering="crispEdges" d=""##,
        kind.word()
    );
    for at in &sheet.codes {
        code(&mut out, Place { kind, at: *at });
    }
    for band in &sheet.bands {
        for [x, y] in band.dark() {
            square(&mut out, x, y, band.square, band.square);
        }
    }
    out.push_str("\"/>");
    out.push_str(r##"<g stroke="#000" stroke-width="0.15" font-family="sans-serif">"##);
    for check in &sheet.checks {
        ruler(&mut out, *check, kind == Kind::Strip);
    }
    out.push_str("</g>");
    if kind == Kind::Strip {
        let _ = write!(
            out,
            r##"<rect x="0.1" y="0.1" width="{}" height="{}" fill="none" stroke="#888" stroke-width="0.2"/>"##,
            width - 0.2,
            height - 0.2
        );
    } else {
        words(&mut out, &sheet);
    }
    out.push_str("</svg>\n");
    out
}

/// A page that prints the sheet without margins and without being made to fit.
pub(crate) fn page(kind: Kind) -> String {
    let [width, height] = match kind {
        Kind::Strip => [210.0, 60.0],
        Kind::A4 | Kind::Letter => kind.sheet().size,
    };
    let room = if kind == Kind::Strip { "padding:20mm 25mm" } else { "padding:0" };
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><title>Scale sheet {}</title><style>@page{{size:{width}mm {height}mm;margin:0}}html,body{{margin:0}}body{{{room};background:#fff}}svg{{display:block}}</style></head><body>\n{}</body></html>\n",
        kind.word(),
        svg(kind)
    )
}

fn square(out: &mut String, x: f64, y: f64, width: f64, height: f64) {
    // Writing to a String cannot fail.
    let _ = write!(out, "M{} {}h{}v{}h-{}z", round(x), round(y), round(width), round(height), round(width));
}

fn round(length: f64) -> f64 {
    (length * 1e4).round() / 1e4
}

fn code(out: &mut String, place: Place) {
    let text = place.text();
    // The highest correction that fits version 1, so that a hidden corner of it does no harm.
    let code = [EcLevel::Q, EcLevel::M, EcLevel::L]
        .into_iter()
        .find_map(|level| QrCode::with_version(text.as_bytes(), Version::Normal(1), level).ok());
    let Some(code) = code else { return };
    let [left, top, size] = place.at;
    let module = size / f64::from(MODULES);
    for (row, colors) in code.to_colors().chunks(code.width()).enumerate() {
        let mut column = 0;
        while column < colors.len() {
            let run = colors.iter().skip(column).take_while(|color| **color == Color::Dark).count();
            if run > 0 {
                square(
                    out,
                    left + column as f64 * module,
                    top + row as f64 * module,
                    run as f64 * module,
                    module,
                );
            }
            column += run.max(1);
        }
    }
}

/// Ticks every millimetre along a check distance; a finer line would not print evenly.
fn ruler(out: &mut String, check: Check, short: bool) {
    let [x, y] = check.start;
    let whole = check.length.round() as u32;
    let (left, top) = if check.down { (x, y + check.length) } else { (x + check.length, y) };
    let _ = write!(out, r#"<path d="M{x} {y}L{left} {top}"#);
    for millimetre in 0..=whole {
        let long = match millimetre {
            each if each % 10 == 0 => 3.0,
            each if each % 5 == 0 => 2.0,
            _ if short => continue,
            _ => 1.2,
        } * if short { 0.5 } else { 1.0 };
        let by = f64::from(millimetre);
        let _ = if check.down {
            write!(out, "M{x} {}h{long}", y + by)
        } else {
            write!(out, "M{} {y}v{long}", x + by)
        };
    }
    out.push_str("\" fill=\"none\"/>");
    if short {
        return;
    }
    for centimetre in (10..=whole).step_by(10) {
        let by = f64::from(centimetre);
        let (x, y, anchor) =
            if check.down { (x + 3.6, y + by + 0.8, "start") } else { (x + by, y + 5.4, "middle") };
        let _ = write!(
            out,
            r#"<text x="{x}" y="{y}" font-size="2.2" stroke="none" text-anchor="{anchor}">{centimetre}</text>"#
        );
    }
}

fn words(out: &mut String, sheet: &Sheet) {
    let [across, down] = &sheet.checks[..] else { return };
    let lines = [
        "Print at 100 %, not \"fit to page\". Then measure both rulers from end to end with a steel rule:".to_owned(),
        format!("across {} mm, down {} mm. What you read goes into --printed, so that the print need not be exact.", across.length, down.length),
        "Lay it flat beside or under the part; the part may cover half of it. Take the picture from above, and".to_owned(),
        "measure how high the edge lies above this sheet. Never reach over bare live parts to lay it down.".to_owned(),
    ];
    let [x, y] = [across.start[0] + 8.0, down.start[1] + down.length - 18.0];
    let _ = write!(out, r#"<g font-family="sans-serif" font-size="2.9">"#);
    for (index, line) in lines.iter().enumerate() {
        let line = line.replace('"', "&quot;");
        let _ = write!(out, r#"<text x="{x}" y="{}">{line}</text>"#, y + 4.2 * index as f64);
    }
    out.push_str("</g>");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evidence::scale::codes;

    /// The printed sheet, rasterised by a renderer of its own, read back by the decoder: each code says where it is.
    #[test]
    #[cfg(feature = "video")]
    fn a_printed_sheet_reads_back() {
        for kind in Kind::ALL {
            let scale = if kind == Kind::Strip { 12.0 } else { 5.0 };
            let tree = resvg::usvg::Tree::from_str(&svg(kind), &resvg::usvg::Options::default()).unwrap();
            let [width, height] = kind.sheet().size.map(|edge| (edge * scale) as u32);
            let mut picture = resvg::tiny_skia::Pixmap::new(width, height).unwrap();
            // usvg takes a millimetre for 96/25.4 units.
            let by = scale as f32 * 25.4 / 96.0;
            resvg::render(&tree, resvg::tiny_skia::Transform::from_scale(by, by), &mut picture.as_mut());
            let grey = image::GrayImage::from_fn(width, height, |x, y| {
                image::Luma([picture.pixel(x, y).map_or(255, |pixel| pixel.red())])
            });
            let found = codes::find(&grey).unwrap();
            let places: Vec<Place> = found.iter().filter_map(|code| Place::read(&code.text)).collect();
            assert_eq!(places.len(), kind.sheet().codes.len(), "{kind:?}");
            for (place, code) in places.iter().zip(&found) {
                let off =
                    (code.bounds[0][0] - place.at[0] * scale).hypot(code.bounds[0][1] - place.at[1] * scale);
                assert!(place.kind == kind && off < 4.0, "{place:?} {:?}", code.bounds);
            }
            assert!(page(kind).contains("@page"));
        }
    }
}
