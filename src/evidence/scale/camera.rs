//! Where the camera stood and what its lens does, fitted to corners whose places on the sheet are known.
//!
//! A pinhole with square pixels, its axis near the middle of the picture, and two radial terms: u = c + f x (1 + k₁r² + k₂r⁴)
//! with x the direction and r its distance from the axis (Brown, Photogrammetric Engineering 37 (1971) 855; the same form as
//! OpenCV's). The start comes from the plane's homography (Zhang, IEEE PAMI 22 (2000) 1330, section 3 and appendix A), the fit
//! is by least squares with what is known beforehand of a camera as observations of their own, so that a picture that cannot
//! tell two quantities apart says so by its covariance (JCGM 102:2011, annex of models; linear propagation as JCGM 100:2008,
//! 5.2). Corners that do not fit are given less weight (Huber, Ann. Math. Statist. 35 (1964) 73).

/// Quantities of a camera: ln f, axis (2), k₁, k₂, turn (3), shift (3).
pub(super) const UNKNOWNS: usize = 11;
/// Which of them are the lens's distortion.
pub(super) const LENS: [usize; 2] = [3, 4];

/// Smallest standard uncertainty of a corner, pixels: JPEG and the camera's sharpening are not noise (own trial).
const LEAST_SIGMA: f64 = 0.08;

/// By how much the sum of squares may be larger for another camera that is still taken for possible (custom, wide: corners
/// are off together).
const EXPLAINS: f64 = 60.0;

/// A matrix of n × n, row by row.
pub(super) type Square = Vec<f64>;

/// A point of the sheet and where it was seen.
#[derive(Debug, Clone, Copy)]
pub(super) struct Seen {
    /// On the sheet, mm.
    pub on_sheet: [f64; 2],
    /// On the picture, pixels.
    pub at: [f64; 2],
    /// For a point of a straight edge: the direction across it, in which alone it was seen.
    pub across: Option<[f64; 2]>,
}

/// What is known of the camera before it is fitted.
#[derive(Debug, Clone, Copy)]
pub(super) struct Before {
    /// Width and height of the picture, pixels.
    pub size: [f64; 2],
    /// Focal length that the picture tells, pixels; nothing where it tells none.
    pub focal: Option<f64>,
}

impl Before {
    /// Expected value and standard uncertainty of focal length (its logarithm), axis and distortion; custom of the trade:
    /// phones have 13 to 120 mm on film of 36 mm, a focal length told is rounded and belongs to another distance; a picture
    /// that tells none may have been cut.
    fn expected(&self) -> [(f64, f64); 5] {
        let longer = self.size[0].max(self.size[1]);
        let (focal, spread, axis) = match self.focal {
            Some(focal) => (focal, 0.06, 0.02),
            None => (0.85 * longer, 0.5, 0.1),
        };
        let [x, y] = self.size.map(|edge| edge / 2.0 - 0.5);
        [(focal.ln(), spread), (x, axis * longer), (y, axis * longer), (0.0, 0.08), (0.0, 0.04)]
    }
}

/// A camera. Lengths of the sheet are in mm, its z axis points away from the camera.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Camera {
    /// ln f, axis, k₁, k₂.
    lens: [f64; 5],
    turn: [[f64; 3]; 3],
    shift: [f64; 3],
}

/// A camera with the uncertainty of its fit.
#[derive(Debug, Clone)]
pub(super) struct Fit {
    pub camera: Camera,
    /// The inverse of the covariance.
    pub information: Square,
    /// Root mean square of what the corners are off, pixels.
    pub rms: f64,
    /// Corners that fit.
    pub used: usize,
    /// Standard uncertainty of a coordinate of a corner, pixels.
    sigma: f64,
}

impl Camera {
    /// Where a point of the sheet is seen, from a height above it; nothing behind the camera.
    pub(super) fn project(&self, [x, y]: [f64; 2], height: f64) -> Option<[f64; 2]> {
        let point = [x, y, -height];
        let [a, b, c] = [0, 1, 2].map(|row| dot(self.turn[row], point) + self.shift[row]);
        if c <= 1e-6 {
            return None;
        }
        let (x, y) = (a / c, b / c);
        let [ln_focal, axis_x, axis_y, k1, k2] = self.lens;
        let square = x * x + y * y;
        let scale = ln_focal.exp() * (1.0 + square * (k1 + square * k2));
        Some([axis_x + scale * x, axis_y + scale * y])
    }

    /// The point that is seen at a place of the picture, at a height above the sheet; nothing where the look does not meet
    /// that height or meets it at a flatter angle than 10°.
    pub(super) fn on_sheet(&self, at: [f64; 2], height: f64) -> Option<[f64; 2]> {
        let [ln_focal, axis_x, axis_y, k1, k2] = self.lens;
        let focal = ln_focal.exp();
        let bent = [(at[0] - axis_x) / focal, (at[1] - axis_y) / focal];
        let mut straight = bent;
        for _ in 0..20 {
            let square = straight[0] * straight[0] + straight[1] * straight[1];
            let scale = 1.0 + square * (k1 + square * k2);
            if scale < 0.3 {
                return None;
            }
            straight = bent.map(|part| part / scale);
        }
        let look = [straight[0], straight[1], 1.0];
        let turned = |v: [f64; 3]| {
            [0, 1, 2].map(|column| (0..3).map(|row| self.turn[row][column] * v[row]).sum::<f64>())
        };
        let (look, stand) = (turned(look), turned(self.shift).map(|part| -part));
        let steep = look[2] / dot(look, look).sqrt();
        if steep < 0.17 {
            return None;
        }
        let far = (-height - stand[2]) / look[2];
        (far > 0.0).then(|| [stand[0] + far * look[0], stand[1] + far * look[1]])
    }

    /// Angle between the look at the middle of the picture and the upright on the sheet, degrees.
    pub(super) fn tilt(&self) -> f64 {
        self.turn[2][2].clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// How far the camera stood above the sheet, mm.
    pub(super) fn distance(&self) -> f64 {
        (0..3).map(|row| self.turn[row][2] * self.shift[row]).sum::<f64>().abs()
    }

    /// The same camera with its quantities changed.
    pub(super) fn changed(&self, by: &[f64; UNKNOWNS]) -> Self {
        let mut lens = self.lens;
        for (value, change) in lens.iter_mut().zip(by) {
            *value += change;
        }
        let step = rotation([by[5], by[6], by[7]]);
        let turn = [0, 1, 2].map(|row| {
            [0, 1, 2].map(|column| (0..3).map(|k| step[row][k] * self.turn[k][column]).sum::<f64>())
        });
        let shift = [0, 1, 2].map(|row| self.shift[row] + by[8 + row]);
        Self { lens, turn, shift }
    }

    /// The camera that sees the sheet round a point about as this one does, from the other side or with a longer lens.
    fn seen_otherwise(&self, middle: [f64; 2], mirrored: bool, longer: f64) -> Option<Self> {
        let point = [middle[0], middle[1], 0.0];
        let there = |turn: &[[f64; 3]; 3]| [0, 1, 2].map(|row| dot(turn[row], point));
        let before = there(&self.turn);
        let target = [0, 1, 2].map(|row| before[row] + self.shift[row]);
        let sight = unit(target)?;
        let mut turn = self.turn;
        if mirrored {
            // The upright of the sheet goes to the other side of the sight; the sheet turns with it about the axis of both.
            let upright = [0, 1, 2].map(|row| self.turn[row][2]);
            let sine = cross(upright, sight);
            let angle = 2.0 * dot(sine, sine).sqrt().atan2(dot(upright, sight));
            let step = rotation(unit(sine)?.map(|part| part * angle));
            turn = [0, 1, 2].map(|row| {
                [0, 1, 2].map(|column| (0..3).map(|k| step[row][k] * self.turn[k][column]).sum::<f64>())
            });
        }
        let after = there(&turn);
        let mut shift = [0, 1, 2].map(|row| target[row] - after[row]);
        shift[2] += (longer - 1.0) * target[2];
        let mut lens = self.lens;
        lens[0] += longer.ln();
        Some(Self { lens, turn, shift })
    }

    /// A camera from the homography of the sheet's plane: its first two columns are f r₁ and f r₂ beside the axis, and the two
    /// stand upright on each other and are of the same length (Zhang 2000, eqs. 3 and 4), which gives f.
    fn of(homography: &[f64; 9], before: &Before) -> Option<Self> {
        let expected = before.expected().map(|(value, _)| value);
        let [_, axis_x, axis_y, ..] = expected;
        let column = |index: usize| {
            let [a, b, c] = [0, 3, 6].map(|row| homography[row + index]);
            [a - axis_x * c, b - axis_y * c, c]
        };
        let (first, second, third) = (column(0), column(1), column(2));
        let flat = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1];
        let upright = (-flat(first, second), first[2] * second[2]);
        let equal = (flat(first, first) - flat(second, second), second[2] * second[2] - first[2] * first[2]);
        let told = before.focal;
        let found = |(above, below): (f64, f64)| {
            Some(above / below).filter(|f| below.abs() > 1e-12 && *f > 0.0).map(f64::sqrt)
        };
        let longer = before.size[0].max(before.size[1]);
        let candidates =
            [upright, equal].into_iter().filter_map(found).filter(|f| (0.3..6.0).contains(&(f / longer)));
        // Of both the mean: a tilt about an axis of the sheet leaves one of them without meaning, which the range takes out.
        let candidates: Vec<f64> = candidates.collect();
        let mean = (candidates.iter().map(|f| f.ln()).sum::<f64>() / candidates.len().max(1) as f64).exp();
        let focal = told.unwrap_or(if candidates.is_empty() { expected[0].exp() } else { mean });
        let straight = |v: [f64; 3]| [v[0] / focal, v[1] / focal, v[2]];
        let (first, second, third) = (straight(first), straight(second), straight(third));
        let length = (dot(first, first).sqrt() * dot(second, second).sqrt()).sqrt();
        let sign = if third[2] < 0.0 { -1.0 } else { 1.0 };
        let scaled = |v: [f64; 3]| v.map(|part| sign * part / length);
        let (a, b, shift) = (unit(scaled(first))?, scaled(second), scaled(third));
        let along = dot(a, b);
        let b = unit([0, 1, 2].map(|axis| b[axis] - along * a[axis]))?;
        let c = cross(a, b);
        let turn = [0, 1, 2].map(|row| [a[row], b[row], c[row]]);
        let [_, x, y, k1, k2] = expected;
        Some(Self { lens: [focal.ln(), x, y, k1, k2], turn, shift })
    }
}

impl Fit {
    /// Fits a camera to points that are known within a standard uncertainty at the best, pixels.
    pub(super) fn of(seen: &[Seen], before: &Before, least: f64) -> Option<Self> {
        let mut camera = Camera::of(&homography(seen)?, before)?;
        Self::from(&mut camera, seen, before, least)
    }

    /// Fits again from a camera that is near.
    pub(super) fn again(&self, seen: &[Seen], before: &Before) -> Option<Self> {
        let mut camera = self.camera;
        Self::from(&mut camera, seen, before, LEAST_SIGMA)
    }

    /// Other cameras that explain the corners about as well. A plane that is small in the picture looks the same from two
    /// sides (Schweighofer and Pinz, IEEE PAMI 28 (2006) 2024), and a long lens from afar much as a short one from near.
    pub(super) fn others(&self, seen: &[Seen], before: &Before) -> Vec<Self> {
        // Sixty corners tell the one from the other as well as all of them do, and sooner.
        let few: Vec<Seen> = seen.iter().step_by(seen.len() / 60 + 1).copied().collect();
        let explains = (EXPLAINS * few.len() as f64 / seen.len().max(1) as f64).max(20.0);
        let seen = &few[..];
        let number = seen.len().max(1) as f64;
        let middle = [0, 1].map(|axis| seen.iter().map(|each| each.on_sheet[axis]).sum::<f64>() / number);
        let cost_of = |camera: &Camera| cost(camera, seen, before, &vec![1.0; seen.len()], self.sigma);
        let Some(best) = cost_of(&self.camera) else { return Vec::new() };
        let mut others: Vec<Self> = Vec::new();
        for mirrored in [true, false] {
            for longer in [0.6, 1.0, 1.7] {
                let Some(mut camera) = self.camera.seen_otherwise(middle, mirrored, longer) else { continue };
                let Some(other) = Self::from(&mut camera, seen, before, LEAST_SIGMA) else { continue };
                if cost_of(&other.camera).is_some_and(|cost| cost < best + explains) {
                    others.push(other);
                }
            }
        }
        others
    }

    /// The same fit, taken for less certain by a factor.
    pub(super) fn less_certain(mut self, by: f64) -> Self {
        self.information.iter_mut().for_each(|value| *value /= by * by);
        self
    }

    /// Standard uncertainty of where a point of the sheet is seen, pixels.
    pub(super) fn uncertain(&self, on_sheet: [f64; 2]) -> Option<f64> {
        let mut slopes = [[0.0; UNKNOWNS]; 2];
        for (index, step) in steps(&self.camera).into_iter().enumerate() {
            let at = |sign: f64| {
                let mut by = [0.0; UNKNOWNS];
                by[index] = sign * step;
                self.camera.changed(&by).project(on_sheet, 0.0)
            };
            let (more, less) = (at(1.0)?, at(-1.0)?);
            for axis in 0..2 {
                slopes[axis][index] = (more[axis] - less[axis]) / (2.0 * step);
            }
        }
        Some((self.variance(&slopes[0], &[])? + self.variance(&slopes[1], &[])?).sqrt())
    }

    fn from(camera: &mut Camera, seen: &[Seen], before: &Before, least: f64) -> Option<Self> {
        let mut damping = 1e-3;
        let mut sigma = 1.0;
        for round in 0..40 {
            let off: Vec<f64> = seen
                .iter()
                .map(|each| off(camera, each))
                .collect::<Option<Vec<_>>>()?
                .into_iter()
                .map(size)
                .collect();
            if round % 4 == 0 {
                sigma = spread(&off);
            }
            let weights = weights(&off, sigma);
            let cost = cost(camera, seen, before, &weights, sigma)?;
            let (information, gradient) = normal(camera, seen, before, &weights, sigma)?;
            let mut better = false;
            for _ in 0..8 {
                let mut damped = information.clone();
                for index in 0..UNKNOWNS {
                    damped[index * UNKNOWNS + index] *= 1.0 + damping;
                }
                let step = solve(damped, gradient)?;
                let next = camera.changed(&step);
                match self::cost(&next, seen, before, &weights, sigma) {
                    Some(lower) if lower <= cost => {
                        *camera = next;
                        damping = (damping * 0.2_f64).max(1e-12);
                        better = cost - lower > 1e-9 * cost;
                        break;
                    }
                    _ => damping *= 10.0,
                }
            }
            if !better && round % 4 == 3 {
                break;
            }
        }
        let off: Vec<f64> = seen
            .iter()
            .map(|each| off(camera, each))
            .collect::<Option<Vec<_>>>()?
            .into_iter()
            .map(size)
            .collect();
        let weights = weights(&off, spread(&off));
        let used = weights.iter().filter(|weight| **weight > 0.5).count();
        let squares: f64 =
            off.iter().zip(&weights).filter(|(_, weight)| **weight > 0.5).map(|(off, _)| off * off).sum();
        let seen_numbers: f64 = seen
            .iter()
            .zip(&weights)
            .filter(|(_, weight)| **weight > 0.5)
            .map(|(each, _)| if each.across.is_some() { 1.0 } else { 2.0 })
            .sum();
        // Of two coordinates a corner; the fit has used up to eight of them for the plane.
        let freedom = (seen_numbers - 9.0).max(1.0);
        let rms = (squares / used.max(1) as f64 / 2.0).sqrt();
        let sigma = (squares / freedom).sqrt().max(least);
        let (information, _) = normal(camera, seen, before, &weights, sigma)?;
        Some(Self { camera: *camera, information, rms, used, sigma })
    }

    /// Variance of a value whose change with each quantity of the camera is given; `fixed` quantities are taken for known.
    pub(super) fn variance(&self, change: &[f64; UNKNOWNS], fixed: &[usize]) -> Option<f64> {
        let mut information = self.information.clone();
        let mut wanted = *change;
        for index in fixed {
            for other in 0..UNKNOWNS {
                information[index * UNKNOWNS + other] = 0.0;
                information[other * UNKNOWNS + index] = 0.0;
            }
            information[index * UNKNOWNS + index] = 1.0;
            wanted[*index] = 0.0;
        }
        let solved = solve(information, wanted)?;
        Some(solved.iter().zip(&wanted).map(|(a, b)| a * b).sum::<f64>().max(0.0))
    }
}

/// By how much a point is seen elsewhere than the camera says; along an edge nothing is known.
fn off(camera: &Camera, seen: &Seen) -> Option<[f64; 2]> {
    let at = camera.project(seen.on_sheet, 0.0)?;
    let off = [at[0] - seen.at[0], at[1] - seen.at[1]];
    Some(match seen.across {
        Some(across) => [off[0] * across[0] + off[1] * across[1], 0.0],
        None => off,
    })
}

fn size(off: [f64; 2]) -> f64 {
    off[0].hypot(off[1])
}

/// A robust spread of a coordinate: of |off| of two coordinates with the spread σ the median is 1.177 σ.
fn spread(off: &[f64]) -> f64 {
    let mut sorted = off.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).map_or(1.0, |median| (median / 1.177).max(0.03))
}

/// Huber's weights to three spreads; nothing beyond six.
fn weights(off: &[f64], sigma: f64) -> Vec<f64> {
    let weight = |off: &f64| match off / sigma {
        at if at <= 3.0 => 1.0,
        at if at <= 6.0 => 3.0 / at,
        _ => 1e-6,
    };
    off.iter().map(weight).collect()
}

fn prior(camera: &Camera, before: &Before) -> [(f64, f64); 5] {
    let expected = before.expected();
    std::array::from_fn(|index| {
        let (value, spread) = expected[index];
        ((camera.lens[index] - value) / spread, 1.0 / spread)
    })
}

fn cost(camera: &Camera, seen: &[Seen], before: &Before, weights: &[f64], sigma: f64) -> Option<f64> {
    let mut sum: f64 = prior(camera, before).iter().map(|(off, _)| off * off).sum();
    for (each, weight) in seen.iter().zip(weights) {
        let [x, y] = off(camera, each)?;
        sum += weight * (x * x + y * y) / (sigma * sigma);
    }
    sum.is_finite().then_some(sum)
}

/// Steps by which quantities are changed to see what they do.
pub(super) fn steps(camera: &Camera) -> [f64; UNKNOWNS] {
    let far = camera.distance().max(1.0);
    let shift = 1e-5 * far;
    [1e-5, 1e-2, 1e-2, 1e-5, 1e-5, 1e-6, 1e-6, 1e-6, shift, shift, shift]
}

/// Information and gradient of the weighted squares, by differences.
fn normal(
    camera: &Camera,
    seen: &[Seen],
    before: &Before,
    weights: &[f64],
    sigma: f64,
) -> Option<(Square, [f64; UNKNOWNS])> {
    let mut information = vec![0.0; UNKNOWNS * UNKNOWNS];
    let mut gradient = [0.0; UNKNOWNS];
    for (index, (off, per)) in prior(camera, before).into_iter().enumerate() {
        information[index * UNKNOWNS + index] += per * per;
        gradient[index] -= off * per;
    }
    for index in 5..UNKNOWNS {
        // Keeps the sum solvable where hardly anything was seen; far wider than any camera.
        information[index * UNKNOWNS + index] += 1e-12;
    }
    let steps = steps(camera);
    let changed: Vec<[Camera; 2]> = (0..UNKNOWNS)
        .map(|index| {
            [1.0, -1.0].map(|sign| {
                let mut by = [0.0; UNKNOWNS];
                by[index] = sign * steps[index];
                camera.changed(&by)
            })
        })
        .collect();
    for (each, weight) in seen.iter().zip(weights) {
        let here = off(camera, each)?;
        let weight = weight / (sigma * sigma);
        let mut slopes = [[0.0; 2]; UNKNOWNS];
        for ((slope, pair), step) in slopes.iter_mut().zip(&changed).zip(steps) {
            let (more, less) = (off(&pair[0], each)?, off(&pair[1], each)?);
            *slope = [0, 1].map(|axis| (more[axis] - less[axis]) / (2.0 * step));
        }
        for (row, a) in slopes.iter().enumerate() {
            gradient[row] -= weight * (a[0] * here[0] + a[1] * here[1]);
            for (column, b) in slopes.iter().enumerate() {
                information[row * UNKNOWNS + column] += weight * (a[0] * b[0] + a[1] * b[1]);
            }
        }
    }
    Some((information, gradient))
}

/// The homography from the sheet to the picture with its last number 1, by linear least squares on centred and scaled points
/// (Hartley, IEEE PAMI 19 (1997) 580).
fn homography(seen: &[Seen]) -> Option<[f64; 9]> {
    if seen.len() < 4 {
        return None;
    }
    let frame = |of: fn(&Seen) -> [f64; 2]| {
        let number = seen.len() as f64;
        let middle = [0, 1].map(|axis| seen.iter().map(|p| of(p)[axis]).sum::<f64>() / number);
        let far =
            seen.iter().map(|p| (of(p)[0] - middle[0]).hypot(of(p)[1] - middle[1])).sum::<f64>() / number;
        (middle, far.max(1e-9))
    };
    let (from, from_far) = frame(|each| each.on_sheet);
    let (to, to_far) = frame(|each| each.at);
    let mut matrix = vec![0.0; 64];
    let mut right = [0.0; 8];
    for Seen { on_sheet: sheet, at, .. } in seen {
        let [x, y] = [0, 1].map(|axis| (sheet[axis] - from[axis]) / from_far);
        let [u, v] = [0, 1].map(|axis| (at[axis] - to[axis]) / to_far);
        for (row, wanted) in
            [([x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y], u), ([0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y], v)]
        {
            for a in 0..8 {
                right[a] += row[a] * wanted;
                for b in 0..8 {
                    matrix[a * 8 + b] += row[a] * row[b];
                }
            }
        }
    }
    let h = solve(matrix, right)?;
    let h = [h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0];
    // Back to millimetres and pixels: H = T⁻¹ h S.
    let mut scaled = [0.0; 9];
    for row in 0..3 {
        let [a, b, c] = [h[row * 3], h[row * 3 + 1], h[row * 3 + 2]];
        scaled[row * 3] = a / from_far;
        scaled[row * 3 + 1] = b / from_far;
        scaled[row * 3 + 2] = c - (a * from[0] + b * from[1]) / from_far;
    }
    let mut out = [0.0; 9];
    for column in 0..3 {
        let below = scaled[6 + column];
        out[column] = scaled[column] * to_far + to[0] * below;
        out[3 + column] = scaled[3 + column] * to_far + to[1] * below;
        out[6 + column] = below;
    }
    Some(out)
}

/// Solves a symmetric system by elimination with the largest pivot; nothing where it has no one solution.
pub(super) fn solve<const N: usize>(mut matrix: Vec<f64>, mut right: [f64; N]) -> Option<[f64; N]> {
    // Quantities of very different sizes: each is scaled by the root of its own information.
    let scale: [f64; N] = std::array::from_fn(|index| matrix[index * N + index].max(1e-300).sqrt());
    for row in 0..N {
        right[row] /= scale[row];
        for column in 0..N {
            matrix[row * N + column] /= scale[row] * scale[column];
        }
    }
    for column in 0..N {
        let pivot = (column..N)
            .max_by(|a, b| matrix[a * N + column].abs().total_cmp(&matrix[b * N + column].abs()))?;
        let largest = matrix[pivot * N + column];
        if largest.is_nan() || largest.abs() <= 1e-14 {
            return None;
        }
        if pivot != column {
            for at in 0..N {
                matrix.swap(pivot * N + at, column * N + at);
            }
            right.swap(pivot, column);
        }
        for row in column + 1..N {
            let factor = matrix[row * N + column] / largest;
            for at in column..N {
                matrix[row * N + at] -= factor * matrix[column * N + at];
            }
            right[row] -= factor * right[column];
        }
    }
    for row in (0..N).rev() {
        let known: f64 = (row + 1..N).map(|at| matrix[row * N + at] * right[at]).sum();
        right[row] = (right[row] - known) / matrix[row * N + row];
    }
    for (value, scale) in right.iter_mut().zip(scale) {
        *value /= scale;
    }
    right.iter().all(|value| value.is_finite()).then_some(right)
}

/// The rotation of a vector of angles (Rodrigues).
fn rotation(by: [f64; 3]) -> [[f64; 3]; 3] {
    let angle = dot(by, by).sqrt();
    let (sine, cosine) =
        if angle < 1e-9 { (1.0, 0.5) } else { (angle.sin() / angle, (1.0 - angle.cos()) / (angle * angle)) };
    let [x, y, z] = by;
    let skew = [[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]];
    [0, 1, 2].map(|row| {
        [0, 1, 2].map(|column| {
            let twice: f64 = (0..3).map(|k| skew[row][k] * skew[k][column]).sum();
            f64::from(u8::from(row == column)) + sine * skew[row][column] + cosine * twice
        })
    })
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn cross(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

fn unit(v: [f64; 3]) -> Option<[f64; 3]> {
    let length = dot(v, v).sqrt();
    (length > 1e-12).then(|| v.map(|part| part / length))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera(tilt: f64, turn: f64) -> Camera {
        let (a, b) = (rotation([tilt.to_radians(), 0.0, 0.0]), rotation([0.0, 0.0, turn.to_radians()]));
        let turn = [0, 1, 2]
            .map(|row| [0, 1, 2].map(|column| (0..3).map(|k| a[row][k] * b[k][column]).sum::<f64>()));
        let middle = [105.0, 148.0, 0.0];
        let shift = [0, 1, 2].map(|row| [3.0, -5.0, 420.0][row] - dot(turn[row], middle));
        Camera { lens: [1400.0_f64.ln(), 812.0, 590.0, 0.04, -0.01], turn, shift }
    }

    /// A camera is found again from the corners that it sees, and its covariance is that of many noisy fits.
    #[test]
    fn a_camera_is_fitted() {
        for (tilt, turn) in [(0.0, 0.0), (20.0, 75.0), (-45.0, 190.0)] {
            let truth = camera(tilt, turn);
            let seen: Vec<Seen> = (0..80)
                .map(|index| {
                    let on_sheet = [f64::from(index % 8) * 27.0 + 10.0, f64::from(index / 8) * 29.0 + 8.0];
                    let mut at = truth.project(on_sheet, 0.0).unwrap();
                    // Noise of 0.1 pixels without chance, and three corners that are something else.
                    at[0] += 0.14 * (f64::from(index) * 2.4).sin() + if index % 30 == 7 { 4.0 } else { 0.0 };
                    at[1] += 0.14 * (f64::from(index) * 1.7).cos();
                    Seen { on_sheet, at, across: None }
                })
                .collect();
            for focal in [Some(1380.0), None] {
                let before = Before { size: [1600.0, 1200.0], focal };
                let fit = Fit::of(&seen, &before, 0.1).unwrap();
                assert!(fit.rms < 0.2 && fit.used >= 75, "{tilt}: {} {}", fit.rms, fit.used);
                for point in [[60.0, 100.0], [150.0, 250.0]] {
                    let at = truth.project(point, 0.0).unwrap();
                    let found = fit.camera.on_sheet(at, 0.0).unwrap();
                    assert!(
                        (found[0] - point[0]).hypot(found[1] - point[1]) < 0.04,
                        "{tilt} {focal:?}: {found:?} {point:?}"
                    );
                }
                assert!((fit.camera.tilt() - tilt.abs()).abs() < 3.0, "{} {tilt}", fit.camera.tilt());
            }
        }
    }

    #[test]
    fn what_is_seen_comes_back_at_its_height() {
        let camera = camera(35.0, 20.0);
        for height in [0.0, 12.0, 30.0] {
            let at = camera.project([80.0, 120.0], height).unwrap();
            let back = camera.on_sheet(at, height).unwrap();
            assert!((back[0] - 80.0).abs() < 1e-6 && (back[1] - 120.0).abs() < 1e-6, "{back:?}");
        }
        assert_eq!(camera.on_sheet([812.0, -9000.0], 0.0), None);
        assert_eq!(homography(&[]), None);
    }
}
