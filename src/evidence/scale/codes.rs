//! Finds ISO/IEC 18004 codes in a picture with `rqrr`, in bounded time whatever the picture shows.
//!
//! The decoder compares all finder patterns with one another and copies the picture for each pair that may belong together.
//! A picture full of finder patterns would keep it busy for hours; the pixels that it is given count what it does and stop it.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::rc::Rc;

use image::{GenericImage, GenericImageView, GrayImage, Luma};
use rqrr::BitGrid;

/// Pixels of the picture in which codes are sought; a larger one is made smaller first, by whole numbers.
const SOUGHT_IN: u64 = 3_200_000;
/// Most finder patterns; a full sheet has 24.
const MOST_FINDERS: u32 = 240;
/// Most pixels that are copied in trials.
const MOST_COPIED: u64 = 3_000_000_000;
/// Most bytes of a code that are kept (a code holds up to 7,089 digits; a label far less).
const LONGEST: usize = 512;

/// A code that was found.
#[derive(Debug, Clone)]
pub(crate) struct Code {
    /// What it says.
    pub text: String,
    /// Modules along a side.
    pub modules: usize,
    /// Its modules row by row, true where dark.
    dark: Vec<bool>,
    /// Corners of the square that is one module larger than the code, clockwise from its own top left, in pixels of the picture.
    pub bounds: [[f64; 2]; 4],
}

impl Code {
    /// Whether a module is dark.
    pub(crate) fn is_dark(&self, column: usize, row: usize) -> bool {
        self.dark.get(row * self.modules + column).copied().unwrap_or_default()
    }
}

/// Too many finder patterns to look at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct TooMany;

/// Finds the codes of a picture and reads them.
///
/// # Errors
/// [`TooMany`] where it holds so many patterns like those of a code that the search was given up.
pub(crate) fn find(picture: &GrayImage) -> Result<Vec<Code>, TooMany> {
    let pixels = u64::from(picture.width()) * u64::from(picture.height());
    let mut smaller = 1_u32;
    while pixels / u64::from(smaller * smaller) > SOUGHT_IN {
        smaller += 1;
    }
    let found =
        if smaller == 1 { read(picture.clone(), 1)? } else { read(shrunk(picture, smaller), smaller)? };
    // Small codes are lost when the picture is made smaller.
    if found.is_empty() && smaller > 1 && pixels <= 4 * SOUGHT_IN {
        return read(picture.clone(), 1);
    }
    Ok(found)
}

/// Means of squares of pixels.
fn shrunk(picture: &GrayImage, by: u32) -> GrayImage {
    let (width, height) = (picture.width() / by, picture.height() / by);
    let (row, raw) = (picture.width() as usize, picture.as_raw());
    let mut out = Vec::with_capacity((width * height) as usize);
    let mut sums = vec![0_u32; width as usize];
    for y in 0..height as usize {
        sums.fill(0);
        for line in raw.chunks_exact(row).skip(y * by as usize).take(by as usize) {
            for (sum, part) in sums.iter_mut().zip(line.chunks_exact(by as usize)) {
                *sum += part.iter().map(|level| u32::from(*level)).sum::<u32>();
            }
        }
        out.extend(sums.iter().map(|sum| u8::try_from(sum / (by * by)).unwrap_or(u8::MAX)));
    }
    GrayImage::from_raw(width, height, out).unwrap_or_default()
}

fn read(picture: GrayImage, scale: u32) -> Result<Vec<Code>, TooMany> {
    if picture.width() < 32 || picture.height() < 32 {
        return Ok(Vec::new());
    }
    let work = Rc::new(Work::default());
    let watched = Watched { picture, work: Rc::clone(&work) };
    let codes = catch_unwind(AssertUnwindSafe(|| {
        let mut prepared = rqrr::PreparedImage::prepare(watched);
        let grids = prepared.detect_grids();
        grids.iter().filter_map(|grid| code(grid, scale)).collect()
    }));
    match codes {
        Ok(codes) => Ok(codes),
        Err(_) if work.given_up() => Err(TooMany),
        // A fault of the decoder costs the codes of this picture and nothing else.
        Err(_) => Ok(Vec::new()),
    }
}

fn code<G: BitGrid>(grid: &rqrr::Grid<G>, scale: u32) -> Option<Code> {
    let (_, text) = grid.decode().ok()?;
    if text.len() > LONGEST {
        return None;
    }
    let modules = grid.grid.size();
    let dark = (0..modules * modules).map(|at| grid.grid.bit(at / modules, at % modules)).collect();
    let scale = f64::from(scale);
    let bounds = grid.bounds.map(|point| [f64::from(point.x) * scale, f64::from(point.y) * scale]);
    Some(Code { text, modules, dark, bounds })
}

/// What the decoder did.
#[derive(Debug, Default)]
struct Work {
    finders: Cell<u32>,
    copied: Cell<u64>,
    last: Cell<u8>,
}

impl Work {
    fn given_up(&self) -> bool {
        self.finders.get() > MOST_FINDERS || self.copied.get() > MOST_COPIED
    }

    /// Ends the search by unwinding to [`read`], without a message: the decoder knows no other way to be stopped.
    fn check(&self) {
        if self.given_up() {
            resume_unwind(Box::new(()));
        }
    }
}

/// Pixels that count what is done with them.
struct Watched {
    picture: GrayImage,
    work: Rc<Work>,
}

/// The decoder's colours of a ring that it looks at, and of one that it takes for a finder pattern.
const LOOKED_AT: u8 = 4;
const FINDER: u8 = 2;

impl Clone for Watched {
    fn clone(&self) -> Self {
        let pixels = self.picture.as_raw().len() as u64;
        self.work.copied.set(self.work.copied.get() + pixels);
        self.work.check();
        Self { picture: self.picture.clone(), work: Rc::clone(&self.work) }
    }
}

impl GenericImageView for Watched {
    type Pixel = Luma<u8>;

    fn dimensions(&self) -> (u32, u32) {
        self.picture.dimensions()
    }

    fn get_pixel(&self, x: u32, y: u32) -> Luma<u8> {
        let at = y as usize * self.picture.width() as usize + x as usize;
        Luma([self.picture.as_raw().get(at).copied().unwrap_or(u8::MAX)])
    }
}

impl GenericImage for Watched {
    fn get_pixel_mut(&mut self, x: u32, y: u32) -> &mut Luma<u8> {
        self.picture.get_pixel_mut(x, y)
    }

    fn put_pixel(&mut self, x: u32, y: u32, pixel: Luma<u8>) {
        let level = pixel.0[0];
        if level == FINDER && self.work.last.replace(level) == LOOKED_AT {
            self.work.finders.set(self.work.finders.get() + 1);
            self.work.check();
        }
        self.work.last.set(level);
        if let Some(place) = self.picture.get_pixel_mut_checked(x, y) {
            *place = pixel;
        }
    }

    fn blend_pixel(&mut self, x: u32, y: u32, pixel: Luma<u8>) {
        self.put_pixel(x, y, pixel);
    }
}

#[cfg(test)]
mod tests {
    use std::time::{Duration, Instant};

    use super::*;

    /// Picture of a code with modules of some pixels at a place.
    fn with_code(text: &str, module: u32, at: (u32, u32), size: (u32, u32)) -> GrayImage {
        let code = qrcode::QrCode::new(text).unwrap();
        let (width, colors) = (code.width() as u32, code.to_colors());
        GrayImage::from_fn(size.0, size.1, |x, y| {
            let inside = x >= at.0 && y >= at.1;
            let (column, row) =
                if inside { ((x - at.0) / module, (y - at.1) / module) } else { (width, width) };
            let dark = column < width
                && row < width
                && colors[(row * width + column) as usize] == qrcode::Color::Dark;
            Luma([if dark { 30 } else { 220 }])
        })
    }

    #[test]
    fn a_code_is_read_with_its_place_and_modules() {
        for module in [4, 9] {
            let picture = with_code("0MBCB1A0000000F6B0000207", module, (60, 40), (400, 360));
            let [code] = &find(&picture).unwrap()[..] else { panic!("one code") };
            assert_eq!(code.text, "0MBCB1A0000000F6B0000207");
            assert!(code.is_dark(0, 0) && !code.is_dark(1, 1) && code.is_dark(code.modules - 1, 0));
            let side = f64::from(module) * (code.modules as f64 + 1.0);
            for (bound, (right, down)) in
                code.bounds.iter().zip([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
            {
                let expected = [60.0 + right * side, 40.0 + down * side];
                let off = (bound[0] - expected[0]).hypot(bound[1] - expected[1]);
                assert!(off < 1.0 * f64::from(module), "{module}: {bound:?} {expected:?}");
            }
        }
    }

    /// Nothing but finder patterns, as small as they can be told, and nothing but noise.
    #[test]
    fn a_picture_full_of_finder_patterns_ends_soon() {
        let finder = |x: u32, y: u32| {
            let (x, y) = (x % 9, y % 9);
            x < 7
                && y < 7
                && (x == 0 || y == 0 || x == 6 || y == 6 || ((2..5).contains(&x) && (2..5).contains(&y)))
        };
        let full = GrayImage::from_fn(1800, 1600, |x, y| Luma([if finder(x, y) { 20 } else { 230 }]));
        let started = Instant::now();
        assert_eq!(find(&full).unwrap_err(), TooMany);
        let mut state = 1_u32;
        let noise = GrayImage::from_fn(1000, 1000, |_, _| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            Luma([(state >> 24) as u8])
        });
        let _ = find(&noise);
        assert!(started.elapsed() < Duration::from_secs(20), "{:?}", started.elapsed());
        assert!(find(&GrayImage::new(1, 1)).unwrap().is_empty());
    }
}
