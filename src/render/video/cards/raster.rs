//! A card as PNG, drawn with the font that is compiled in: the same bytes on every machine, whatever fonts it has.
//!
//! Pictures come in as data addresses only; a template that names a file gets nothing.

use std::sync::{Arc, LazyLock};

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::{ImageHrefResolver, Options, Tree, fontdb};

use super::super::measure::{BOLD, BOOK};
use super::flow::Format;

static FONTS: LazyLock<Arc<fontdb::Database>> = LazyLock::new(|| {
    let mut fonts = fontdb::Database::new();
    fonts.load_font_data(BOOK.to_vec());
    fonts.load_font_data(BOLD.to_vec());
    fonts.set_sans_serif_family(FAMILY);
    Arc::new(fonts)
});

/// Name of the compiled-in font.
pub(super) const FAMILY: &str = "DejaVu Sans";

/// Draws an SVG in the size of its format.
///
/// # Errors
/// In words, when it is not an SVG that can be drawn.
pub(super) fn png(svg: &str, format: Format) -> Result<Vec<u8>, String> {
    let tree = tree(svg)?;
    let (width, height) = format.size();
    let mut picture = Pixmap::new(width, height).ok_or("no memory for the picture")?;
    if format != Format::LowerThird {
        picture.fill(Color::WHITE);
    }
    let scale = |to: u32, from: f32| f64::from(to) / f64::from(from);
    #[expect(clippy::cast_possible_truncation, reason = "the drawing library counts in f32")]
    let transform = Transform::from_scale(
        scale(width, tree.size().width()) as f32,
        scale(height, tree.size().height()) as f32,
    );
    resvg::render(&tree, transform, &mut picture.as_mut());
    picture.encode_png().map_err(|error| error.to_string())
}

fn tree(svg: &str) -> Result<Tree, String> {
    let options = Options {
        font_family: FAMILY.to_owned(),
        fontdb: Arc::clone(&FONTS),
        image_href_resolver: ImageHrefResolver {
            resolve_data: ImageHrefResolver::default_data_resolver(),
            resolve_string: Box::new(|_, _| None),
        },
        ..Options::default()
    };
    Tree::from_str(svg, &options).map_err(|error| error.to_string())
}

/// Width of what an SVG draws, px.
#[cfg(test)]
pub(super) fn drawn_width(svg: &str) -> Result<f64, String> {
    Ok(f64::from(tree(svg)?.root().abs_bounding_box().width()))
}
