//! A length from taps, and its uncertainty: every contribution by itself, summed as JCGM 100:2008, 5.1.2 and 4.3.7 say.

use serde::Serialize;

use super::camera::{Camera, Fit, LENS, UNKNOWNS, solve, steps};
use crate::record::parts::Measure;
use crate::units::COVERAGE;

impl Measure {
    /// How many taps it needs, and how many it takes.
    pub(crate) const fn taps(self) -> (usize, usize) {
        match self {
            Self::Length => (2, 2),
            Self::Width => (3, 4),
            Self::Diameter => (3, 12),
            Self::Overlap => (4, 4),
        }
    }

    /// Which taps belong to the second edge, that may lie at a height of its own.
    const fn is_second(self, tap: usize) -> bool {
        match self {
            Self::Length => tap == 1,
            Self::Width | Self::Overlap => tap >= 2,
            Self::Diameter => false,
        }
    }
}

/// A length that lies between two, millimetres.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, schemars::JsonSchema)]
pub(crate) struct Between {
    pub low: f64,
    pub high: f64,
}

impl Between {
    fn middle(self) -> f64 {
        f64::midpoint(self.low, self.high)
    }

    fn half(self) -> f64 {
        (self.high - self.low).abs() / 2.0
    }
}

/// How far a length on the print is from what it says, across and down: a factor with its half range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Print {
    pub factor: [f64; 2],
    pub half: [f64; 2],
}

/// A tap, where it is taken to be.
#[derive(Debug, Clone, Copy)]
pub(super) struct Tap {
    pub at: [f64; 2],
    /// Across the edge it was moved to, of length 1; any direction where it was not.
    pub across: [f64; 2],
    /// Standard uncertainties across and along, pixels.
    pub sigma: [f64; 2],
    /// Whether it lies on an edge that was found.
    pub on_edge: bool,
}

/// One contribution to the uncertainty.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub(crate) struct Contribution {
    /// What it comes from.
    pub from: &'static str,
    /// Its standard uncertainty in the length, millimetres.
    pub standard: f64,
}

/// A measured length, millimetres.
#[derive(Debug, Clone, Serialize, schemars::JsonSchema)]
pub(crate) struct Length {
    pub value: f64,
    /// Expanded uncertainty, coverage factor 2.
    pub expanded: f64,
    /// What the uncertainty consists of.
    pub budget: Vec<Contribution>,
}

/// Half range of how uneven paper lies, mm (custom: paper of 0.1 mm that was pressed flat), and how far apart two places are
/// that lie uneven each by itself: a waved sheet of paper has no waves that are shorter (custom).
const UNEVEN: f64 = 0.1;
const WAVE: f64 = 20.0;

/// A point that is tapped in a photo whose camera is known.
pub(super) struct Sighting<'a> {
    pub fit: &'a Fit,
    pub others: &'a [Fit],
    pub doubt: f64,
    pub tap: [f64; 2],
}

/// Least way, in parts of a change of height, by which two looks at a point come apart: about 6° between them (custom).
const LEAST_APART: f64 = 0.1;

/// How high a point lies above the sheet that is tapped in two photos from different sides, and by how much the two looks miss
/// each other, in standard uncertainties; nothing where the looks are too much alike. `scatter` is that of a tap, pixels;
/// `scale` that of the print with its half range. A look runs over the sheet evenly with the height, so that the height is
/// that at which both are nearest to each other.
pub(super) fn height(
    [first, second]: [&Sighting<'_>; 2],
    scatter: f64,
    (scale, half): (f64, f64),
) -> Option<(Length, f64)> {
    // Height and miss.
    let meet = |cameras: [&Camera; 2], taps: [[f64; 2]; 2]| {
        let at = |which: usize, height: f64| cameras[which].on_sheet(taps[which], height);
        let way = |which: usize| {
            let (low, high) = (at(which, 0.0)?, at(which, 10.0)?);
            Some((low, [0, 1].map(|axis| (high[axis] - low[axis]) / 10.0)))
        };
        let ((a, along_a), (b, along_b)) = (way(0)?, way(1)?);
        let (apart, along) = ([b[0] - a[0], b[1] - a[1]], [along_a[0] - along_b[0], along_a[1] - along_b[1]]);
        let steep = along[0].hypot(along[1]);
        (steep > LEAST_APART).then(|| {
            let height = (apart[0] * along[0] + apart[1] * along[1]) / (steep * steep);
            [height * scale, (apart[0] * along[1] - apart[1] * along[0]) / steep]
        })
    };
    let both = [first, second];
    let cameras = both.map(|each| &each.fit.camera);
    let taps = both.map(|each| each.tap);
    let [value, miss] = meet(cameras, taps)?;
    // Variances of both by what they come from: cameras, other cameras, taps.
    let mut squares = [[0.0; 2]; 3];
    for (which, each) in both.into_iter().enumerate() {
        let with = |camera: &Camera| {
            let mut cameras = cameras;
            cameras[which] = camera;
            meet(cameras, taps)
        };
        let mut slopes = [[0.0; UNKNOWNS]; 2];
        for (index, step) in steps(cameras[which]).into_iter().enumerate() {
            let at = |sign: f64| {
                let mut by = [0.0; UNKNOWNS];
                by[index] = sign * step;
                with(&cameras[which].changed(&by))
            };
            let (more, less) = (at(1.0)?, at(-1.0)?);
            for of in 0..2 {
                slopes[of][index] = (more[of] - less[of]) / (2.0 * step);
            }
        }
        let mut apart = [0.0_f64; 2];
        for other in each.others {
            let found = with(&other.camera)?;
            apart = [apart[0].max((found[0] - value).abs()), apart[1].max((found[1] - miss).abs())];
        }
        for of in 0..2 {
            squares[0][of] += each.fit.variance(&slopes[of], &[])?;
            squares[1][of] += (0.6 * each.doubt * apart[of]).powi(2);
        }
        for axis in 0..2 {
            let moved = |by: f64| {
                let mut taps = taps;
                taps[which][axis] += by;
                meet(cameras, taps)
            };
            let (more, less) = (moved(scatter)?, moved(-scatter)?);
            for of in 0..2 {
                squares[2][of] += ((more[of] - less[of]) / 2.0).powi(2);
            }
        }
    }
    let missed = miss.abs() / squares.iter().map(|part| part[1]).sum::<f64>().sqrt().max(1e-9);
    let print = (half * value).powi(2) / 3.0;
    let flat = UNEVEN * UNEVEN / 3.0;
    let [cameras, others, taps] = squares.map(|part| part[0]);
    let budget: Vec<Contribution> = [
        ("places of the cameras", cameras),
        ("where the cameras may have stood besides", others),
        ("scatter of the taps", taps),
        ("scale of the reference", print),
        ("how flat the reference lies", flat),
    ]
    .into_iter()
    .map(|(from, square)| Contribution { from, standard: square.sqrt() })
    .collect();
    let standard = (cameras + others + taps + print + flat).sqrt();
    standard.is_finite().then_some((Length { value, expanded: COVERAGE * standard, budget }, missed))
}

/// All that a length is made of.
pub(super) struct Setting<'a> {
    pub fit: &'a Fit,
    pub others: &'a [Fit],
    /// By what the difference of another camera counts.
    pub doubt: f64,
    pub kind: Measure,
    pub taps: &'a [Tap],
    /// Height of the first and of the second edge; the same where only one was given.
    pub heights: (Between, Option<Between>),
    pub print: Print,
    /// Standard uncertainty of the reference's own edges as a share of a length.
    pub reference: f64,
}

impl Setting<'_> {
    /// The length; nothing where a look does not meet the sheet.
    pub(super) fn length(&self) -> Option<Length> {
        let heights = [self.heights.0.middle(), self.heights.1.unwrap_or(self.heights.0).middle()];
        let usual = |camera: &Camera| {
            self.of(camera, &|tap| self.taps[tap].at, &|tap| heights[self.side(tap)], self.print.factor)
        };
        let camera = self.fit.camera;
        let value = usual(&camera)?;
        let mut budget = Vec::new();
        let mut add = |from, standard: f64| {
            if standard > 0.0 {
                budget.push(Contribution { from, standard });
            }
        };
        // Where the camera stood, and its lens.
        let mut slopes = [0.0; UNKNOWNS];
        for (index, step) in steps(&camera).into_iter().enumerate() {
            let at = |sign: f64| {
                let mut by = [0.0; UNKNOWNS];
                by[index] = sign * step;
                usual(&camera.changed(&by))
            };
            slopes[index] = (at(1.0)? - at(-1.0)?) / (2.0 * step);
        }
        let all = self.fit.variance(&slopes, &[])?;
        let without = self.fit.variance(&slopes, &LENS)?.min(all);
        add("noise of the pixels, in the corners that give the camera's place", without.sqrt());
        add("distortion of the lens", (all - without).sqrt());
        // Another camera that explains the picture as well: the interval of two standard uncertainties holds its length too.
        let mut apart = 0.0_f64;
        for other in self.others {
            apart = apart.max((usual(&other.camera)? - value).abs());
        }
        add("where the camera may have stood besides", 0.6 * self.doubt * apart);
        // Taps, across their edges and along them.
        let (mut edges, mut scatter) = ([0.0; 2], 0.0);
        for (index, tap) in self.taps.iter().enumerate() {
            let along = [-tap.across[1], tap.across[0]];
            for (way, sigma) in [tap.across, along].into_iter().zip(tap.sigma) {
                let moved = |by: f64| {
                    let at = |tap: usize| {
                        let shift = if tap == index { by } else { 0.0 };
                        [0, 1].map(|axis| self.taps[tap].at[axis] + shift * way[axis])
                    };
                    self.of(&camera, &at, &|tap| heights[self.side(tap)], self.print.factor)
                };
                let part = ((moved(sigma)? - moved(-sigma)?) / 2.0).abs();
                // What moves an edge (a shadow, a second edge beside it) moves it at all of its taps.
                if tap.on_edge && way == tap.across {
                    edges[self.side(index)] += part;
                } else {
                    scatter += part * part;
                }
            }
        }
        add("edges, from blur and what lies beside them", edges[0].hypot(edges[1]));
        add("scatter of the taps", scatter.sqrt());
        // Print.
        let mut print = 0.0;
        for axis in 0..2 {
            let mut factor = self.print.factor;
            factor[axis] += self.print.half[axis];
            let changed =
                self.of(&camera, &|tap| self.taps[tap].at, &|tap| heights[self.side(tap)], factor)?;
            print += (changed - value).powi(2) / 3.0;
        }
        add("scale of the reference", (print + (self.reference * value).powi(2)).sqrt());
        // Heights: the worse of both ends stands for the range.
        let mut height = 0.0;
        let ranges = match self.heights {
            (one, None) => vec![(one.half(), [true, true])],
            (first, Some(second)) => vec![(first.half(), [true, false]), (second.half(), [false, true])],
        };
        for (half, sides) in ranges {
            let mut worst = 0.0_f64;
            for sign in [1.0, -1.0] {
                let at = |tap: usize| {
                    heights[self.side(tap)] + if sides[self.side(tap)] { sign * half } else { 0.0 }
                };
                let changed = self.of(&camera, &|tap| self.taps[tap].at, &at, self.print.factor)?;
                worst = worst.max((changed - value).abs());
            }
            height += worst * worst / 3.0;
        }
        add("height of the edges above the sheet", height.sqrt());
        let mut waves = Vec::new();
        for (index, tap) in self.taps.iter().enumerate() {
            let at = |tap: usize| heights[self.side(tap)] + if tap == index { UNEVEN } else { 0.0 };
            let changed = self.of(&camera, &|tap| self.taps[tap].at, &at, self.print.factor)?;
            waves.push((camera.on_sheet(tap.at, 0.0)?, changed - value));
        }
        let pairs = waves.iter().flat_map(|a| waves.iter().map(move |b| (a, b)));
        let together = |a, b| (-0.5 * (distance(a, b) / WAVE).powi(2)).exp();
        let uneven: f64 = pairs.map(|(a, b)| a.1 * b.1 * together(a.0, b.0) / 3.0).sum();
        add("how flat the reference lies", uneven.max(0.0).sqrt());
        let standard = budget.iter().map(|part| part.standard * part.standard).sum::<f64>().sqrt();
        (value.is_finite() && standard.is_finite()).then_some(Length {
            value,
            expanded: COVERAGE * standard,
            budget,
        })
    }

    fn side(&self, tap: usize) -> usize {
        usize::from(self.kind.is_second(tap))
    }

    fn of(
        &self,
        camera: &Camera,
        tap: &dyn Fn(usize) -> [f64; 2],
        height: &dyn Fn(usize) -> f64,
        factor: [f64; 2],
    ) -> Option<f64> {
        let scale = f64::midpoint(factor[0], factor[1]);
        let points: Vec<[f64; 2]> = (0..self.taps.len())
            .map(|index| {
                let at = camera.on_sheet(tap(index), height(index) / scale)?;
                Some([at[0] * factor[0], at[1] * factor[1]])
            })
            .collect::<Option<_>>()?;
        match (self.kind, &points[..]) {
            (Measure::Length, [a, b]) => Some(distance(*a, *b)),
            (Measure::Width, [a, b, c]) => from_line(*a, *b, *c),
            (Measure::Width | Measure::Overlap, [a, b, c, d]) => {
                // Both ways, so that neither edge counts more than the other.
                let there = (from_line(*a, *b, *c)? + from_line(*a, *b, *d)?) / 2.0;
                let back = (from_line(*c, *d, *a)? + from_line(*c, *d, *b)?) / 2.0;
                Some(f64::midpoint(there, back))
            }
            (Measure::Diameter, points) => diameter(points),
            _ => None,
        }
    }
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// How far a point is from the line through two.
fn from_line(a: [f64; 2], b: [f64; 2], point: [f64; 2]) -> Option<f64> {
    let along = [b[0] - a[0], b[1] - a[1]];
    let length = along[0].hypot(along[1]);
    (length > 1e-9).then(|| ((point[0] - a[0]) * along[1] - (point[1] - a[1]) * along[0]).abs() / length)
}

/// The circle x² + y² + a x + b y + c = 0 that fits best (Kåsa, IEEE Trans. Instrum. Meas. 25 (1976) 8).
fn diameter(points: &[[f64; 2]]) -> Option<f64> {
    let number = points.len() as f64;
    let middle = [0, 1].map(|axis| points.iter().map(|p| p[axis]).sum::<f64>() / number);
    let mut matrix = vec![0.0; 9];
    let mut right = [0.0; 3];
    for point in points {
        let [x, y] = [0, 1].map(|axis| point[axis] - middle[axis]);
        let row = [x, y, 1.0];
        for a in 0..3 {
            right[a] -= row[a] * (x * x + y * y);
            for b in 0..3 {
                matrix[a * 3 + b] += row[a] * row[b];
            }
        }
    }
    let [a, b, c] = solve(matrix, right)?;
    let square = (a * a + b * b) / 4.0 - c;
    (square > 0.0).then(|| 2.0 * square.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shapes_from_points() {
        assert_eq!(from_line([0.0, 0.0], [10.0, 0.0], [3.0, -4.0]), Some(4.0));
        assert_eq!(from_line([1.0, 1.0], [1.0, 1.0], [3.0, -4.0]), None);
        let rim = |angle: f64| [50.0 + 6.0 * angle.cos(), -20.0 + 6.0 * angle.sin()];
        let found = diameter(&[rim(0.2), rim(2.0), rim(3.9), rim(5.0)]).unwrap();
        assert!((found - 12.0).abs() < 1e-9, "{found}");
        assert_eq!(diameter(&[[0.0, 0.0], [1.0, 1.0], [2.0, 2.0]]), None);
    }
}
