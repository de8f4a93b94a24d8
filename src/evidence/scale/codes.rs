//! Finds ISO/IEC 18004 codes in a picture with `rqrr`, in bounded time whatever the picture shows.
//!
//! The decoder compares all finder patterns with one another and copies the picture for each pair that may belong together.
//! A picture full of finder patterns would keep it busy for hours; the pixels that it is given count what it does and stop it.

use std::panic::{AssertUnwindSafe, catch_unwind, resume_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, AtomicU64, Ordering};

use image::{GenericImage, GenericImageView, GrayImage, Luma};
use rayon::prelude::*;
use rqrr::BitGrid;

/// Pixels of the picture in which codes are sought; a larger one is made smaller first, by whole numbers.
const SOUGHT_IN: u64 = 3_200_000;
/// Most finder patterns; a full sheet has 24, and most are met in four of the parts and in the whole.
const MOST_FINDERS: u32 = 600;
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
    fn scaled(mut self, by: f64) -> Self {
        // A pixel of the smaller picture lies in the middle of those that it was made of.
        self.bounds = self.bounds.map(|corner| corner.map(|at| at * by + (by - 1.0) / 2.0));
        self
    }

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
    if smaller == 1 {
        return read(picture, 1);
    }
    let found = read(&shrunk(picture, smaller), smaller)?;
    // Small codes are lost when the picture is made smaller.
    if found.is_empty() && pixels <= 4 * SOUGHT_IN { read(picture, 1) } else { Ok(found) }
}

/// Longest that label codes are looked for: a picture made for it would keep the decoder busy for minutes.
#[cfg(feature = "labels")]
const PATIENCE: std::time::Duration = std::time::Duration::from_secs(15);

/// What Data Matrix (ISO/IEC 16022) and linear codes say whose check digits or lengths make a misreading unlikely; nothing where
/// they are not read in time, or the decoder fails.
#[cfg(feature = "labels")]
pub(crate) fn labels(picture: &GrayImage) -> Vec<String> {
    use rxing::BarcodeFormat::{CODE_39, CODE_93, CODE_128, DATA_MATRIX, EAN_13};
    let pixels = u64::from(picture.width()) * u64::from(picture.height());
    let smaller = (1..).find(|by: &u32| pixels / u64::from(by * by) <= SOUGHT_IN).unwrap_or(1);
    let small = if smaller == 1 { picture.clone() } else { shrunk(picture, smaller) };
    let (done, on_done) = std::sync::mpsc::channel();
    std::thread::spawn(move || {
        let formats = [CODE_39, CODE_93, CODE_128, DATA_MATRIX, EAN_13];
        let mut hints =
            rxing::DecodeHints { PossibleFormats: Some(formats.into_iter().collect()), ..Default::default() };
        let (width, height) = small.dimensions();
        let found =
            rxing::helpers::detect_multiple_in_luma_with_hints(small.into_raw(), width, height, &mut hints);
        let texts = found.unwrap_or_default().into_iter().map(|code| code.getText().to_owned());
        let _ = done.send(texts.filter(|text| text.len() <= LONGEST).collect::<Vec<_>>());
    });
    let mut texts = on_done.recv_timeout(PATIENCE).unwrap_or_default();
    texts.sort();
    texts.dedup();
    texts
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

/// Reads the codes of a picture that was made smaller by a factor.
fn read(picture: &GrayImage, scale: u32) -> Result<Vec<Code>, TooMany> {
    let longer = picture.width().max(picture.height());
    if picture.width().min(picture.height()) < 32 {
        return Ok(Vec::new());
    }
    let mut codes: Vec<Code> = Vec::new();
    let work = Arc::new(Work::default());
    // A window that is small against a module shows only its rim, a large one is deceived by shadows. In the whole of a
    // sheet the decoder takes patterns of different codes together; parts of the picture, each half covered by the next,
    // hold few of them.
    let whole = [0, 0, picture.width(), picture.height()];
    let (width, height) = (picture.width() / 2, picture.height() / 2);
    let parts: Vec<[u32; 4]> =
        (0..9).map(|part| [part % 3 * width / 2, part / 3 * height / 2, width, height]).collect();
    for (window, parts) in [(longer / 64, parts), (longer / 16, vec![whole])] {
        let dark = dark(picture, window.max(8));
        let found = |[left, top, width, height]: [u32; 4]| {
            let part = image::imageops::crop_imm(&dark, left, top, width, height).to_image();
            let watched = Watched { picture: part, work: Arc::clone(&work), last: 0 };
            let found = catch_unwind(AssertUnwindSafe(|| {
                let mut prepared = rqrr::PreparedImage::without_preparation(watched);
                let grids = prepared.detect_grids();
                grids.iter().map(|grid| (grid.bounds, grid.grid.size())).collect::<Vec<_>>()
            }));
            let place = |point: rqrr::Point| {
                [f64::from(point.x) + f64::from(left), f64::from(point.y) + f64::from(top)]
            };
            // A fault of the decoder costs the codes of this part and nothing else.
            let found = found.unwrap_or_default();
            found.into_iter().map(|(bounds, modules)| (bounds.map(place), modules)).collect::<Vec<_>>()
        };
        let grids: Vec<Vec<_>> = parts.into_par_iter().map(found).collect();
        if work.given_up() {
            return Err(TooMany);
        }
        for (bounds, modules) in grids.into_iter().flatten() {
            let near = |code: &Code| {
                let [x, y] = code.bounds[0].map(|at| at / f64::from(scale));
                (x - bounds[0][0]).hypot(y - bounds[0][1]) < 0.1 * distance(bounds[0], bounds[1])
            };
            if !codes.iter().any(near) {
                let found = catch_unwind(AssertUnwindSafe(|| code(picture, bounds, modules)));
                codes.extend(found.ok().flatten().map(|code| code.scaled(f64::from(scale))));
            }
        }
    }
    Ok(codes)
}

/// 1 where a pixel is darker than its surroundings (Bradley and Roth, Journal of Graphics Tools 12 (2007) 13), else 0.
fn dark(picture: &GrayImage, half: u32) -> GrayImage {
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let half = half as usize;
    let raw = picture.as_raw();
    let line = |y: usize| raw.get(y * width..(y + 1) * width).unwrap_or_default();
    let mut columns = vec![0_u32; width];
    for y in 0..half.min(height) {
        columns.iter_mut().zip(line(y)).for_each(|(sum, level)| *sum += u32::from(*level));
    }
    let mut out = Vec::with_capacity(raw.len());
    for y in 0..height {
        if y + half < height {
            columns.iter_mut().zip(line(y + half)).for_each(|(sum, level)| *sum += u32::from(*level));
        }
        if y > half {
            columns.iter_mut().zip(line(y - half - 1)).for_each(|(sum, level)| *sum -= u32::from(*level));
        }
        let rows = (y + half + 1).min(height) - y.saturating_sub(half);
        let mut sum: u64 = columns.iter().take(half).map(|sum| u64::from(*sum)).sum();
        for (x, level) in line(y).iter().enumerate() {
            sum += columns.get(x + half).map_or(0, |sum| u64::from(*sum));
            if x > half {
                sum -= u64::from(columns[x - half - 1]);
            }
            let number = ((x + half + 1).min(width) - x.saturating_sub(half)) * rows;
            out.push(u8::from(u64::from(*level) * number as u64 * 100 < sum * 85));
        }
    }
    GrayImage::from_raw(picture.width(), picture.height(), out).unwrap_or_default()
}

/// Reads a code between four corners. `rqrr` knows three of them well; the fourth is only where lines through the finder
/// patterns meet, and is moved about until the code can be read.
fn code(picture: &GrayImage, bounds: [[f64; 2]; 4], modules: usize) -> Option<Code> {
    const STEPS: i32 = 5;
    let side = modules as f64 + 1.0;
    let module = (distance(bounds[0], bounds[1]) + distance(bounds[0], bounds[3])) / 2.0 / side;
    let mut best: Option<(String, Vec<bool>, f64)> = None;
    let (mut number, mut sum) = (0.0, [0.0; 2]);
    for down in -STEPS..=STEPS {
        for right in -STEPS..=STEPS {
            let by = [right, down].map(|step| 0.5 * module * f64::from(step));
            let mut corners = bounds;
            corners[2] = [corners[2][0] + by[0], corners[2][1] + by[1]];
            let dark = sampled(picture, corners, modules);
            let Some(text) = decoded(&dark, modules) else { continue };
            number += 1.0;
            sum = [sum[0] + by[0], sum[1] + by[1]];
            let far = by[0].hypot(by[1]);
            if best.as_ref().is_none_or(|best| far < best.2) {
                best = Some((text, dark, far));
            }
        }
    }
    let (text, dark, _) = best?;
    let mut corners = bounds;
    corners[2] = [corners[2][0] + sum[0] / number, corners[2][1] + sum[1] / number];
    Some(Code { text, modules, dark, bounds: corners })
}

fn decoded(dark: &[bool], modules: usize) -> Option<String> {
    let bits =
        rqrr::SimpleGrid::from_func(modules, |x, y| dark.get(y * modules + x).copied().unwrap_or_default());
    let (_, text) = rqrr::Grid::new(bits).decode().ok()?;
    (text.len() <= LONGEST).then_some(text)
}

/// The modules between four corners, against the middle of what is dark and light in the finder patterns.
fn sampled(picture: &GrayImage, bounds: [[f64; 2]; 4], modules: usize) -> Vec<bool> {
    let square = Projected::of(bounds, modules as f64 + 1.0);
    let level = |column: usize, row: usize| {
        let [x, y] = square.at(column as f64 + 0.5, row as f64 + 0.5).map(f64::round);
        let inside =
            x >= 0.0 && y >= 0.0 && x < f64::from(picture.width()) && y < f64::from(picture.height());
        if inside { f64::from(picture.get_pixel(x as u32, y as u32).0[0]) } else { 255.0 }
    };
    let (mut dark, mut light) = (0.0, 0.0);
    for (left, top) in [(0, 0), (modules - 7, 0), (0, modules - 7)] {
        dark += (0..7).map(|k| level(left + k, top) + level(left + k, top + 6)).sum::<f64>() / 42.0;
        light += (1..6).map(|k| level(left + k, top + 1) + level(left + k, top + 5)).sum::<f64>() / 30.0;
    }
    let middle = f64::midpoint(dark, light);
    (0..modules * modules).map(|at| level(at % modules, at / modules) < middle).collect()
}

/// A square of a side as it is seen between four corners (Heckbert, Fundamentals of Texture Mapping and Image Warping, 1989, 2.2.3).
struct Projected {
    side: f64,
    x: [f64; 3],
    y: [f64; 3],
    w: [f64; 2],
}

impl Projected {
    fn of([a, b, c, d]: [[f64; 2]; 4], side: f64) -> Self {
        let (first, second) = ([b[0] - c[0], b[1] - c[1]], [d[0] - c[0], d[1] - c[1]]);
        let sum = [a[0] - b[0] + c[0] - d[0], a[1] - b[1] + c[1] - d[1]];
        let area = first[0] * second[1] - second[0] * first[1];
        let w = [
            (sum[0] * second[1] - second[0] * sum[1]) / area,
            (first[0] * sum[1] - sum[0] * first[1]) / area,
        ];
        let along =
            |axis: usize| [b[axis] - a[axis] + w[0] * b[axis], d[axis] - a[axis] + w[1] * d[axis], a[axis]];
        Self { side, x: along(0), y: along(1), w }
    }

    fn at(&self, u: f64, v: f64) -> [f64; 2] {
        let (u, v) = (u / self.side, v / self.side);
        let far = self.w[0] * u + self.w[1] * v + 1.0;
        [self.x, self.y].map(|row| (row[0] * u + row[1] * v + row[2]) / far)
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// What the decoder did.
#[derive(Debug, Default)]
struct Work {
    finders: AtomicU32,
    copied: AtomicU64,
}

impl Work {
    fn given_up(&self) -> bool {
        self.finders.load(Ordering::Relaxed) > MOST_FINDERS
            || self.copied.load(Ordering::Relaxed) > MOST_COPIED
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
    work: Arc<Work>,
    /// The colour that was written last.
    last: u8,
}

/// The decoder's colours of a ring that it looks at, and of one that it takes for a finder pattern.
const LOOKED_AT: u8 = 4;
const FINDER: u8 = 2;

impl Clone for Watched {
    fn clone(&self) -> Self {
        let pixels = self.picture.as_raw().len() as u64;
        self.work.copied.fetch_add(pixels, Ordering::Relaxed);
        self.work.check();
        Self { picture: self.picture.clone(), work: Arc::clone(&self.work), last: 0 }
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
        if std::mem::replace(&mut self.last, level) == LOOKED_AT && level == FINDER {
            self.work.finders.fetch_add(1, Ordering::Relaxed);
            self.work.check();
        }
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
