//! Points that the page sends for a length in a photo, and what comes of them.

use serde::{Deserialize, Serialize};

use crate::evidence::scale::measure::Contribution;
use crate::evidence::scale::photo::Photo;
use crate::fill::measured::{Asked, SCATTER, length, shown};
use crate::fill::photo;
use crate::record::parts::{Measure, MeasuredSide};

/// Points as the page sends them, in pixels of the upright picture, and lengths as they were typed.
#[derive(Debug, Clone, Deserialize)]
pub(super) struct Points {
    pub(super) photo: String,
    measure: String,
    taps: Vec<[f64; 2]>,
    card: Vec<[f64; 2]>,
    height: String,
    other_height: String,
    printed: [String; 2],
    /// A second photo, for the height of the edges, and the point that was tapped in both.
    pub(super) second: String,
    corner: Vec<[f64; 2]>,
    /// Which side it is, and the value that the page was told, where it is to be kept.
    side: String,
    pub(super) value: String,
}

/// What came of them.
#[derive(Debug, Default, Serialize)]
pub(super) struct Told {
    /// Width and height of the picture, pixels.
    size: [u32; 2],
    second_size: [u32; 2],
    /// The height that the second photo gives.
    height: String,
    /// What gives the scale, in lines.
    scale: Vec<String>,
    /// Where the points were taken to be.
    taps: Vec<[f64; 2]>,
    /// The length with its uncertainty, as the record will say it.
    pub(super) value: String,
    /// What the uncertainty consists of.
    budget: Vec<String>,
    /// Why there is no length yet.
    pub(super) problem: String,
}

impl Points {
    pub(super) fn asked(&self) -> Result<Asked, String> {
        let [across, down] = &self.printed;
        let corner = match self.corner[..] {
            [here, there] => Some((format!("{}/{}", photo::FOLDER, self.second), [here, there])),
            _ => None,
        };
        Ok(Asked {
            side: MeasuredSide::from_word(&self.side),
            corner,
            measure: Measure::from_word(&self.measure).ok_or("this cannot be measured")?,
            taps: self.taps.clone(),
            scatter: SCATTER,
            on_edges: true,
            height: length(&self.height)?,
            other_height: length(&self.other_height)?,
            card: self.card.clone(),
            printed: [length(across)?, length(down)?],
        })
    }

    /// What the points give, and what is then asked and kept.
    pub(super) fn told(&self, photo: &Photo, second: Option<&Photo>) -> (Told, Option<Asked>) {
        let second_size = second.map(Photo::size).unwrap_or_default();
        let mut told = Told { size: photo.size(), second_size, ..Told::default() };
        match self.tell((photo, second), &mut told) {
            Ok(asked) => (told, Some(asked)),
            Err(problem) => (Told { problem, ..told }, None),
        }
    }

    fn tell(&self, (photo, second): (&Photo, Option<&Photo>), told: &mut Told) -> Result<Asked, String> {
        let mut asked = self.asked()?;
        let scaled = photo.scaled(&asked.reference()?).map_err(|error| error.to_string())?;
        told.scale = scaled.words();
        told.taps = scaled.placed(&asked.taps, asked.scatter);
        if let Some(second) = second {
            asked.find_height(&scaled, second)?;
            told.height = asked.height.as_ref().map(|height| height.text.clone()).unwrap_or_default();
        }
        if asked.taps.len() < asked.measure.taps().0 {
            return Ok(asked);
        }
        let wanted = asked.wanted()?;
        let (length, _) = scaled.length(&wanted).map_err(|error| error.to_string())?;
        told.value = shown(&length);
        let line = |part: &Contribution| format!("{:.3} mm: {}", part.standard, part.from);
        told.budget = length.budget.iter().map(line).collect();
        Ok(asked)
    }
}
