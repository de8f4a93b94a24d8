//! One picture: its codes, the camera behind it, and the lengths that are measured in it.

use std::path::Path;

use image::GrayImage;

use super::camera::{Before, Fit, Seen};
use super::codes::{self, Code, TooMany};
use super::corners::corner;
use super::edge;
use super::measure::{self, Between, Length, Print, Setting, Sighting, Tap};
use super::sheet::{Kind, MODULES, Place};
use crate::evidence::hash::Sha256Digest;
use crate::evidence::picture::{self, PictureError};
use crate::record::parts::Measure;
use crate::units::words::count;

/// ISO/IEC 7810:2019, ID-1 (from memory): 85.60 × 53.98 mm, unused cards within 85.47 to 85.72 and 53.92 to 54.03 mm,
/// corners rounded with 2.88 to 3.48 mm.
const CARD: [f64; 2] = [85.60, 53.98];
const CARD_HALF: [f64; 2] = [0.13, 0.06];
/// No point of a card's edge is used nearer to its corner than this.
const CARD_ROUNDED: f64 = 5.0;
/// Least points of a card's edges.
const CARD_POINTS: usize = 40;
/// Least corners of a sheet.
const LEAST_CORNERS: usize = 10;
/// Corners are farther off than this when the sheet is bent, pixels (custom).
const MOST_OFF: f64 = 1.5;
/// A look that is flatter than this is refused, degrees from the upright (custom).
const MOST_TILT: f64 = 68.0;
/// By what the fit of a single code is less certain than its corners say (own trial: two of 600 scenes missed without it).
const ONE_CODE: f64 = 2.5;
/// Half range of the print's scale where nobody measured it: "fit to page" makes A4 3 to 7 % smaller (common practice, no
/// source).
const UNMEASURED: f64 = 0.07;
/// A length is refused when its expanded uncertainty is a larger share of it, and when a tap lies on no edge that can be told
/// (custom).
const WIDEST: f64 = 0.5;
const WIDEST_WITHOUT_EDGE: f64 = 0.05;

/// Why a picture gives no length.
#[derive(Debug, thiserror::Error)]
#[allow(missing_docs)] // The message of each says what it is.
pub(crate) enum NoScale {
    #[error(transparent)]
    Picture(#[from] PictureError),
    #[error(
        "too many patterns like those of a code are in the picture; take it again with the sheet and the part alone"
    )]
    TooMany,
    #[error(
        "no code of a scale sheet was found: take the picture so that at least two codes are sharp and whole, or lay a \
         plastic card beside the part and tap its corners"
    )]
    NoCodes,
    #[error("the code {0} is there twice: take the picture with one sheet only")]
    Twice(String),
    #[error(
        "only {0} corners of the sheet can be told; take the picture sharper, from nearer, or with more of the sheet"
    )]
    FewCorners(usize),
    #[error(
        "the corners of the sheet do not lie in one plane, they are {0:.1} pixels off: lay the sheet flat"
    )]
    NotFlat(f64),
    #[error("the picture looks at the sheet at {0:.0}° from the upright; take it from more above")]
    Oblique(f64),
    #[error(
        "the edges of the card were not found: tap its corners where the straight edges would meet, first two along a long side, then on around it"
    )]
    NoCard,
    #[error("a tap lies outside the picture")]
    Outside,
    #[error("a tap looks past the sheet: it cannot be measured from here")]
    Past,
    #[error(
        "this picture cannot carry it: {value:.1} mm ± {expanded:.1} mm; take it from nearer and from above, and say the height of the edges"
    )]
    TooWide { value: f64, expanded: f64 },
    #[error(
        "no edge can be told near tap {tap}, so this is {value:.1} mm ± {expanded:.1} mm only; take the picture with light from \
         the side or before another ground, or tap nearer to the edge"
    )]
    NoEdge { tap: usize, value: f64, expanded: f64 },
    #[error(
        "both photos look at the point from nearly the same side: take the second one from another side, with sheet and part as they lie"
    )]
    SameSide,
    #[error(
        "the two taps are not the same point, or the part was moved between the photos: the looks miss each other by far"
    )]
    OtherPoint,
}

/// Two looks at one point miss each other by at most so many standard uncertainties (custom).
const MOST_MISSED: f64 = 4.0;

/// What gives a picture its scale.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Reference {
    /// The codes of a sheet; the lengths of its check distances as somebody measured them, across and down.
    Sheet { measured: [Option<Between>; 2] },
    /// A plastic card by its corners, the first two along a long side.
    Card([[f64; 2]; 4]),
}

/// What is to be measured.
#[derive(Debug, Clone)]
pub(crate) struct Wanted {
    pub kind: Measure,
    pub taps: Vec<[f64; 2]>,
    /// Height of the edges above the reference, mm, and that of the second edge where it has one of its own.
    pub height: Between,
    pub other_height: Option<Between>,
    /// Standard deviation of a tap, pixels.
    pub scatter: f64,
    /// Whether taps are moved onto edges.
    pub snap: bool,
}

/// A picture with its codes.
pub(crate) struct Photo {
    picture: GrayImage,
    /// Its hash.
    pub digest: Sha256Digest,
    /// The codes in it.
    pub codes: Vec<Code>,
    before: Before,
}

/// A picture whose scale is known.
pub(crate) struct Scaled<'a> {
    photo: &'a Photo,
    fit: Fit,
    /// Other cameras that may have taken it.
    others: Vec<Fit>,
    doubt: f64,
    print: Print,
    reference: f64,
    /// Which sheet, or the card.
    pub name: &'static str,
    /// Whether the scale of the print was measured.
    pub measured: bool,
}

impl Photo {
    /// Reads a picture and its codes.
    ///
    /// # Errors
    /// When it cannot be read or decoded within the limits, or shows more patterns like codes than can be looked at.
    pub(crate) fn open(path: &Path) -> Result<Self, NoScale> {
        let (picture, facts, digest) = picture::grey_upright(path)?;
        let codes = codes::find(&picture).map_err(|TooMany| NoScale::TooMany)?;
        let size = [picture.width(), picture.height()];
        // By the diagonal, as CIPA DCG-001 has it: film is 36 × 24 mm.
        let diagonal = f64::from(size[0]).hypot(f64::from(size[1])) / 36.0_f64.hypot(24.0);
        let focal = facts.focal_on_film(size).map(|millimetres| f64::from(millimetres) * diagonal);
        Ok(Self { picture, digest, codes, before: Before { size: size.map(f64::from), focal } })
    }

    /// Width and height, pixels.
    #[cfg(feature = "page")]
    pub(crate) fn size(&self) -> [u32; 2] {
        [self.picture.width(), self.picture.height()]
    }

    /// Texts of the codes that belong to no scale sheet, each once.
    pub(crate) fn other_codes(&self) -> Vec<&str> {
        let mut texts: Vec<&str> = Vec::new();
        for code in &self.codes {
            if Place::read(&code.text).is_none() && !texts.contains(&code.text.as_str()) {
                texts.push(&code.text);
            }
        }
        texts
    }

    /// What the Data Matrix and linear codes in it say.
    #[cfg(feature = "labels")]
    pub(crate) fn labels(&self) -> Vec<String> {
        codes::labels(&self.picture)
    }

    /// Finds out where the camera stood.
    ///
    /// # Errors
    /// [`NoScale`] says what to do better.
    pub(crate) fn scaled(&self, reference: &Reference) -> Result<Scaled<'_>, NoScale> {
        let scaled = match reference {
            Reference::Sheet { measured } => self.by_sheet(*measured)?,
            Reference::Card(corners) => self.by_card(*corners)?,
        };
        let Fit { rms, camera, .. } = &scaled.fit;
        if *rms > MOST_OFF {
            return Err(NoScale::NotFlat(*rms));
        }
        if camera.tilt() > MOST_TILT {
            return Err(NoScale::Oblique(camera.tilt()));
        }
        Ok(scaled)
    }

    fn by_sheet(&self, measured: [Option<Between>; 2]) -> Result<Scaled<'_>, NoScale> {
        let places: Vec<(Place, &Code)> =
            self.codes.iter().filter_map(|code| Some((Place::read(&code.text)?, code))).collect();
        let number = |kind: Kind| places.iter().filter(|(place, _)| place.kind == kind).count();
        let kind = Kind::ALL.into_iter().max_by_key(|kind| number(*kind)).filter(|kind| number(*kind) > 0);
        let kind = kind.ok_or(NoScale::NoCodes)?;
        let own: Vec<&(Place, &Code)> = places.iter().filter(|(place, _)| place.kind == kind).collect();
        for (index, (place, code)) in own.iter().enumerate() {
            if own[..index].iter().any(|(other, _)| other == place) {
                return Err(NoScale::Twice(code.text.clone()));
            }
        }
        let mut rough = Vec::new();
        for ([x, y, size], code) in own.iter().map(|(place, code)| (place.at, code)) {
            let far = size * (1.0 + 1.0 / f64::from(MODULES));
            for (at, [right, down]) in
                code.bounds.iter().zip([[0.0, 0.0], [far, 0.0], [far, far], [0.0, far]])
            {
                rough.push(Seen { on_sheet: [x + right, y + down], at: *at, across: None });
            }
        }
        let few = || NoScale::FewCorners(0);
        // The fourth corner of a code is only where the code could be read: within a module.
        let module =
            rough.chunks(4).map(|code| (code[0].at[0] - code[1].at[0]).hypot(code[0].at[1] - code[1].at[1]));
        let module = module.fold(0.0, f64::max) / f64::from(MODULES + 1);
        let mut fit = Fit::of(&rough, &self.before, 0.5 * module).ok_or_else(few)?;
        let sheet = kind.sheet();
        let mut seen = Vec::new();
        for round in 0..6 {
            seen.clear();
            for (place, code) in &own {
                let [left, top, size] = place.at;
                let module = size / f64::from(MODULES);
                for row in 1..code.modules {
                    for column in 1..code.modules {
                        let dark = [(0, 0), (1, 1), (0, 1), (1, 0)]
                            .map(|(right, down)| code.is_dark(column - 1 + right, row - 1 + down));
                        if dark[0] == dark[1] && dark[2] == dark[3] && dark[0] != dark[2] {
                            let at = [left + column as f64 * module, top + row as f64 * module];
                            seen.extend(self.seen(&fit, at, module, dark[0]));
                        }
                    }
                }
            }
            // The bands are sought where the codes say that they are, once these are well known.
            for band in sheet.bands.iter().filter(|_| round > 0) {
                for (index, at) in band.corners().enumerate() {
                    // Bands repeat: a corner is sought only where it cannot be taken for another one.
                    let here =
                        fit.camera.project(at, 0.0).zip(fit.camera.project([at[0] + 1.0, at[1] + 1.0], 0.0));
                    let scale = here.map_or(0.0, |(a, b)| (a[0] - b[0]).hypot(a[1] - b[1]));
                    if fit.uncertain(at).is_some_and(|sigma| sigma < 0.1 * band.square * scale) {
                        seen.extend(self.seen(&fit, at, band.square, index % 2 == 0));
                    }
                }
            }
            if seen.len() < LEAST_CORNERS {
                return Err(NoScale::FewCorners(seen.len()));
            }
            fit = fit.again(&seen, &self.before).ok_or_else(few)?;
        }
        if fit.used < LEAST_CORNERS {
            return Err(NoScale::FewCorners(fit.used));
        }
        let mut print = Print { factor: [1.0; 2], half: [UNMEASURED; 2] };
        for axis in 0..2 {
            // Of a strip only one distance can be measured; a printer may differ by a hundredth down the paper (custom).
            let (range, check, more) = match (measured[axis], sheet.checks.get(axis)) {
                (Some(range), Some(check)) => (range, check, 0.0),
                (None, _) if axis == 1 && sheet.checks.len() == 1 && measured[0].is_some() => {
                    (measured[0].unwrap_or(Between { low: 0.0, high: 0.0 }), &sheet.checks[0], 0.01)
                }
                _ => continue,
            };
            print.factor[axis] = f64::midpoint(range.low, range.high) / check.length;
            print.half[axis] = (range.high - range.low) / 2.0 / check.length + more;
        }
        let measured = print.half.iter().all(|half| *half < UNMEASURED);
        let others = fit.others(&seen, &self.before);
        // What bends the paper or the picture at one code moves all of its corners together.
        let doubt = if own.len() < 2 { ONE_CODE } else { 1.0 };
        let fit = fit.less_certain(doubt);
        Ok(Scaled { photo: self, fit, others, doubt, print, reference: 0.0, name: kind.word(), measured })
    }

    /// A corner of the sheet where it is seen.
    fn seen(&self, fit: &Fit, at: [f64; 2], square: f64, dark_first: bool) -> Option<Seen> {
        let here = fit.camera.project(at, 0.0)?;
        let to = |by: [f64; 2]| {
            let there = fit.camera.project([at[0] + by[0], at[1] + by[1]], 0.0)?;
            Some([there[0] - here[0], there[1] - here[1]])
        };
        let found = corner(&self.picture, here, to([square, 0.0])?, to([0.0, square])?, dark_first)?;
        Some(Seen { on_sheet: at, at: found, across: None })
    }

    fn by_card(&self, corners: [[f64; 2]; 4]) -> Result<Scaled<'_>, NoScale> {
        let [width, height] = CARD;
        let on_card = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
        // Seen from above the corners go clockwise; tapped the other way round they are those of the mirrored card.
        let turned = corners
            .iter()
            .zip(corners.iter().cycle().skip(1))
            .map(|(a, b)| a[0] * b[1] - b[0] * a[1])
            .sum::<f64>();
        let mut at = corners;
        if turned < 0.0 {
            at = [corners[1], corners[0], corners[3], corners[2]];
        }
        let tapped: Vec<Seen> = on_card
            .iter()
            .zip(at)
            .map(|(on_sheet, at)| Seen { on_sheet: *on_sheet, at, across: None })
            .collect();
        let mut fit = Fit::of(&tapped, &self.before, 3.0).ok_or(NoScale::NoCard)?;
        let mut blur = 0.0;
        let mut seen = Vec::new();
        for reach in [1.8, 0.8, 0.5, 0.5] {
            seen.clear();
            let mut sigmas = Vec::new();
            for (from, to) in on_card.iter().zip(on_card.iter().cycle().skip(1)) {
                let long = (to[0] - from[0]).hypot(to[1] - from[1]);
                for step in 0..30 {
                    let part =
                        (CARD_ROUNDED + (long - 2.0 * CARD_ROUNDED) * (f64::from(step) + 0.5) / 30.0) / long;
                    let on_sheet = [0, 1].map(|axis| from[axis] + part * (to[axis] - from[axis]));
                    if let Some(edge) = self.card_edge(
                        &fit,
                        on_sheet,
                        [(to[0] - from[0]) / long, (to[1] - from[1]) / long],
                        reach,
                    ) {
                        sigmas.push(edge.sigma);
                        seen.push(Seen { on_sheet, at: edge.at, across: Some(edge.across) });
                    }
                }
            }
            if seen.len() < CARD_POINTS {
                return Err(NoScale::NoCard);
            }
            sigmas.sort_by(f64::total_cmp);
            blur = sigmas[sigmas.len() / 2];
            // The taps keep the two directions apart in which hardly an edge was found.
            fit = fit.again(&seen, &self.before).ok_or(NoScale::NoCard)?;
        }
        if fit.used < CARD_POINTS {
            return Err(NoScale::NoCard);
        }
        let apart = |a: usize, b: usize| (at[a][0] - at[b][0]).hypot(at[a][1] - at[b][1]);
        let pixels = apart(1, 2).min(apart(3, 0)).min(apart(0, 1)).max(1.0);
        let print = Print { factor: [1.0; 2], half: [0, 1].map(|axis| CARD_HALF[axis] / CARD[axis]) };
        // All points of an edge are off alike when its two sides differ in light: as uncertain as one of them.
        let others = fit.others(&seen, &self.before);
        Ok(Scaled {
            photo: self,
            fit,
            others,
            doubt: 1.0,
            print,
            reference: 1.4 * blur / pixels,
            name: "card",
            measured: true,
        })
    }

    fn card_edge(&self, fit: &Fit, on_sheet: [f64; 2], along: [f64; 2], reach: f64) -> Option<edge::Edge> {
        let here = fit.camera.project(on_sheet, 0.0)?;
        let there = fit.camera.project([on_sheet[0] + along[0], on_sheet[1] + along[1]], 0.0)?;
        let run = [there[0] - here[0], there[1] - here[1]];
        let scale = run[0].hypot(run[1]);
        (scale > 0.5).then_some(())?;
        let across = [-run[1] / scale, run[0] / scale];
        edge::on_line(&self.picture, here, across, (reach * scale).max(3.0), (0.6 * scale).clamp(1.0, 8.0))
    }
}

impl Scaled<'_> {
    /// Corners that were used, how far they are off in pixels, the tilt in degrees, the camera's distance in mm.
    pub(crate) fn told(&self) -> (usize, f64, f64, f64) {
        (self.fit.used, self.fit.rms, self.fit.camera.tilt(), self.fit.camera.distance())
    }

    /// What gives the scale, in lines.
    pub(crate) fn words(&self) -> Vec<String> {
        let (corners, off, tilt, distance) = self.told();
        let corners = count(corners, "corner", "corners");
        let mut lines = vec![format!(
            "scale from {}: {corners}, {off:.2} pixels off; camera {distance:.0} mm away, {tilt:.0}° from the upright",
            self.name
        )];
        if !self.measured {
            let unknown =
                "the scale of the print is not known: measure both rulers of the print and say their lengths";
            lines.push(unknown.to_owned());
        }
        lines
    }

    /// Where taps are taken to be: on the edges near them.
    #[cfg(feature = "page")]
    pub(crate) fn placed(&self, taps: &[[f64; 2]], scatter: f64) -> Vec<[f64; 2]> {
        taps.iter().map(|at| self.tap(*at, scatter, true).at).collect()
    }

    /// Measures, and says where the taps were taken to be.
    ///
    /// # Errors
    /// [`NoScale`] when a tap lies outside or looks past the sheet, or the interval is too wide to be of use.
    pub(crate) fn length(&self, wanted: &Wanted) -> Result<(Length, Vec<[f64; 2]>), NoScale> {
        self.inside(&wanted.taps)?;
        let taps: Vec<Tap> =
            wanted.taps.iter().map(|at| self.tap(*at, wanted.scatter, wanted.snap)).collect();
        let setting = Setting {
            fit: &self.fit,
            others: &self.others,
            doubt: self.doubt,
            kind: wanted.kind,
            taps: &taps,
            heights: (wanted.height, wanted.other_height),
            print: self.print,
            reference: self.reference,
        };
        let length = setting.length().ok_or(NoScale::Past)?;
        let Length { value, expanded, .. } = length;
        if expanded > WIDEST * value {
            return Err(NoScale::TooWide { value, expanded });
        }
        let loose = taps.iter().position(|tap| wanted.snap && !tap.on_edge);
        if let Some(tap) = loose.filter(|_| expanded > WIDEST_WITHOUT_EDGE * value) {
            return Err(NoScale::NoEdge { tap: tap + 1, value, expanded });
        }
        Ok((length, taps.iter().map(|tap| tap.at).collect()))
    }

    fn inside(&self, taps: &[[f64; 2]]) -> Result<(), NoScale> {
        let [width, height] = self.photo.before.size;
        let inside = |tap: &[f64; 2]| (0.0..width).contains(&tap[0]) && (0.0..height).contains(&tap[1]);
        if taps.iter().all(inside) { Ok(()) } else { Err(NoScale::Outside) }
    }

    /// How high a point lies that is tapped here and in another photo of the same sheet and part.
    ///
    /// # Errors
    /// [`NoScale`] when a tap lies outside, the looks are too much alike, or they do not meet.
    pub(crate) fn height(
        &self,
        tap: [f64; 2],
        other: &Scaled<'_>,
        there: [f64; 2],
        scatter: f64,
    ) -> Result<Length, NoScale> {
        self.inside(&[tap])?;
        other.inside(&[there])?;
        let [here, there] = [(self, tap), (other, there)].map(|(of, tap)| Sighting {
            fit: &of.fit,
            others: &of.others,
            doubt: of.doubt,
            tap,
        });
        let scale = f64::midpoint(self.print.factor[0], self.print.factor[1]);
        let half = self.print.half[0].max(self.print.half[1]);
        let (height, missed) =
            measure::height([&here, &there], scatter, (scale, half)).ok_or(NoScale::SameSide)?;
        if missed > MOST_MISSED { Err(NoScale::OtherPoint) } else { Ok(height) }
    }

    fn tap(&self, at: [f64; 2], scatter: f64, snap: bool) -> Tap {
        let edge = snap.then(|| edge::near(&self.photo.picture, at, scatter)).flatten();
        match edge {
            Some(edge) => {
                Tap { at: edge.at, across: edge.across, sigma: [edge.sigma, scatter], on_edge: true }
            }
            // Where no edge was found within four standard deviations the tap may well be farther off than usual.
            None => {
                let sigma = scatter.max(0.5) * if snap { 2.0 } else { 1.0 };
                Tap { at, across: [1.0, 0.0], sigma: [sigma; 2], on_edge: false }
            }
        }
    }
}
