//! Points that the page sends for a length in a photo, and what comes of them.

use serde::{Deserialize, Serialize};

use crate::evidence::scale::measure::Contribution;
use crate::evidence::scale::photo::Photo;
use crate::fill::measured::{Asked, SCATTER, length, shown};
use crate::record::parts::Measure;

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
}

/// What came of them.
#[derive(Debug, Default, Serialize)]
pub(super) struct Told {
    /// Width and height of the picture, pixels.
    size: [u32; 2],
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
        Ok(Asked {
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

    pub(super) fn told(&self, photo: &Photo) -> Told {
        let mut told = Told { size: photo.size(), ..Told::default() };
        if let Err(problem) = self.tell(photo, &mut told) {
            told.problem = problem;
        }
        told
    }

    fn tell(&self, photo: &Photo, told: &mut Told) -> Result<(), String> {
        let asked = self.asked()?;
        let scaled = photo.scaled(&asked.reference()?).map_err(|error| error.to_string())?;
        told.scale = scaled.words();
        told.taps = scaled.placed(&asked.taps, asked.scatter);
        if asked.taps.len() < asked.measure.taps().0 {
            return Ok(());
        }
        let wanted = asked.wanted()?;
        let (length, _) = scaled.length(&wanted).map_err(|error| error.to_string())?;
        told.value = shown(&length);
        let line = |part: &Contribution| format!("{:.3} mm: {}", part.standard, part.from);
        told.budget = length.budget.iter().map(line).collect();
        Ok(())
    }
}
