//! Drawings as SVG, in one place: axes, curves, lying rows, histograms, scatters. Pages take a [`Drawing`] as it is, cards
//! scale it by its texts.
//!
//! Everything can be read in print, without colour and by a screen reader: lines differ by their dashes, bars by their
//! hatching, the numbers stand beside them, and each drawing has a title and a description in words. Colours are classes
//! of the page's style sheet, so that a drawing follows dark mode and print. Widths are those of a phone.
//!
//! No plotting library does that: `plotters` and its SVG backend write colours, fonts and sizes as attributes, place no
//! label by what it would hide, and know neither hatches nor titles nor descriptions. What is left of such a library
//! once these are put in by hand is a round step between ticks, which is ten lines here.

pub(crate) mod counted;
pub(crate) mod curve;
pub(crate) mod glyph;
mod labels;
pub(crate) mod pointers;
pub(crate) mod rows;
pub(crate) mod scale;
#[cfg(feature = "measuring")]
pub(crate) mod scale_sheet;
mod svg;
pub(crate) mod time_current;

#[cfg(feature = "video")]
pub(crate) use svg::{Drawing, TEXT};
pub(crate) use svg::{Named, Paper};
