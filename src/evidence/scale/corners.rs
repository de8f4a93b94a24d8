//! Corners between dark and light squares, to a part of a pixel.
//!
//! Where two dark and two light squares meet, every edge near the corner points at it: the corner is the point q that makes
//! Σ w (g·(p − q))² least over the pixels p round it with their gradients g (Förstner and Gülch, ISPRS Intercommission
//! Workshop, 1987). Blur, uneven light and the curve of the camera's levels treat both sides alike and do not move it.

use image::GrayImage;

/// Levels, of 255, by which light squares must be lighter than dark ones.
const CONTRAST: f64 = 20.0;
/// The darkest light square is lighter than the lightest dark one by at least this share of the contrast.
const CLEAR: f64 = 0.35;

/// The level at a place between pixels; pixel centres are whole numbers.
pub(super) fn level(picture: &GrayImage, [x, y]: [f64; 2]) -> Option<f64> {
    let (width, height) = picture.dimensions();
    if !(x >= 0.0 && y >= 0.0 && x < f64::from(width) - 1.0 && y < f64::from(height) - 1.0) {
        return None;
    }
    let (column, row) = (x as usize, y as usize);
    let (right, down) = (x - column as f64, y - row as f64);
    let at = row * width as usize + column;
    let raw = picture.as_raw();
    let pair = |at: usize| {
        let [left, other] = raw.get(at..at + 2)? else { return None };
        Some(f64::from(*left) + right * (f64::from(*other) - f64::from(*left)))
    };
    let (above, below) = (pair(at)?, pair(at + width as usize)?);
    Some(above + down * (below - above))
}

/// The corner near a place. `across` and `along` are the edges of a square there, in pixels; the square before both and the one
/// behind both are dark.
pub(super) fn corner(
    picture: &GrayImage,
    at: [f64; 2],
    across: [f64; 2],
    along: [f64; 2],
    dark_first: bool,
) -> Option<[f64; 2]> {
    // The nearest other edge is a square away: half of the square's smaller height on the picture is free of it.
    let area = (across[0] * along[1] - across[1] * along[0]).abs();
    let longer = across[0].hypot(across[1]).max(along[0].hypot(along[1]));
    let free = area / longer.max(1e-9);
    if free < 2.2 {
        return None;
    }
    let reach = (0.62 * free).clamp(1.6, 9.0);
    let mut corner = at;
    for _ in 0..12 {
        let next = gathered(picture, corner, reach)?;
        let moved = (next[0] - corner[0]).hypot(next[1] - corner[1]);
        corner = next;
        if (corner[0] - at[0]).hypot(corner[1] - at[1]) > 0.5 * free {
            return None;
        }
        if moved < 0.005 {
            break;
        }
    }
    let square = |a: f64, b: f64| {
        level(picture, [0, 1].map(|axis| corner[axis] + 0.4 * (a * across[axis] + b * along[axis])))
    };
    let same = [square(-1.0, -1.0)?, square(1.0, 1.0)?];
    let other = [square(-1.0, 1.0)?, square(1.0, -1.0)?];
    let (dark, light) = if dark_first { (same, other) } else { (other, same) };
    let contrast = (light[0] + light[1] - dark[0] - dark[1]) / 2.0;
    let clear = light[0].min(light[1]) - dark[0].max(dark[1]);
    (contrast >= CONTRAST && clear >= CLEAR * contrast).then_some(corner)
}

/// Sums of the gradients round a place, weighted: of their products, and of these with the way to the place.
pub(super) struct Gradients {
    pub(super) xx: f64,
    pub(super) xy: f64,
    pub(super) yy: f64,
    bx: f64,
    by: f64,
}

/// The gradients within reach of a place.
pub(super) fn gradients(picture: &GrayImage, [x, y]: [f64; 2], reach: f64) -> Option<Gradients> {
    let steps = reach.ceil() as i32;
    let mut sums = Gradients { xx: 0.0, xy: 0.0, yy: 0.0, bx: 0.0, by: 0.0 };
    for row in -steps..=steps {
        for column in -steps..=steps {
            let (dx, dy) = (f64::from(column), f64::from(row));
            let weight = (-(dx * dx + dy * dy) / (reach * reach)).exp();
            let at = |right: f64, down: f64| level(picture, [x + dx + right, y + dy + down]);
            let (gx, gy) = (at(1.0, 0.0)? - at(-1.0, 0.0)?, at(0.0, 1.0)? - at(0.0, -1.0)?);
            let (xx, xy, yy) = (weight * gx * gx, weight * gx * gy, weight * gy * gy);
            sums.xx += xx;
            sums.xy += xy;
            sums.yy += yy;
            sums.bx += xx * dx + xy * dy;
            sums.by += xy * dx + yy * dy;
        }
    }
    Some(sums)
}

/// One step: where the edges within reach point.
fn gathered(picture: &GrayImage, [x, y]: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let Gradients { xx, xy, yy, bx, by } = gradients(picture, [x, y], reach)?;
    let determinant = xx * yy - xy * xy;
    // A single edge says nothing of where along it the corner is.
    if determinant <= 0.02 * (xx + yy) * (xx + yy) * 0.25 {
        return None;
    }
    Some([x + (yy * bx - xy * by) / determinant, y + (xx * by - xy * bx) / determinant])
}

#[cfg(test)]
mod tests {
    use image::Luma;

    use super::*;

    /// Four squares, blurred by a camera's pixels: each pixel is the mean of 8 × 8 points of it.
    #[test]
    fn a_corner_is_found_to_a_tenth_of_a_pixel() {
        for (angle, x, y) in [(0.1_f64, 20.3, 19.6), (0.7, 20.0, 20.5), (1.2, 19.8, 20.1)] {
            let (sin, cos) = angle.sin_cos();
            let picture = GrayImage::from_fn(41, 41, |column, row| {
                let light = (0..64).filter(|point| {
                    let (a, b) = (f64::from(point % 8), f64::from(point / 8));
                    let (dx, dy) = (
                        f64::from(column) + (a + 0.5) / 8.0 - 0.5 - x,
                        f64::from(row) + (b + 0.5) / 8.0 - 0.5 - y,
                    );
                    (dx * cos + dy * sin) * (dy * cos - dx * sin) < 0.0
                });
                Luma([30 + (light.count() * 3) as u8])
            });
            let (across, along) = ([8.0 * cos, 8.0 * sin], [-8.0 * sin, 8.0 * cos]);
            let found = corner(&picture, [x + 1.3, y - 1.1], across, along, true).unwrap();
            assert!((found[0] - x).hypot(found[1] - y) < 0.1, "{found:?}");
            assert_eq!(corner(&picture, [x, y], across, along, false), None, "light where dark is expected");
            assert_eq!(corner(&picture, [x + 9.0, y], across, along, true), None, "only an edge");
        }
    }
}
