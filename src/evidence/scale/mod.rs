//! Measuring in photos: a printed sheet, or a plastic card, lies beside the part and gives the scale.
//!
//! The flow: [`sheet`] says what is printed where; [`codes`] finds its codes in a picture; [`corners`] finds the corners
//! between its dark and light squares to a part of a pixel; [`camera`] fits where the camera stood and what its lens does;
//! [`edge`] moves a tap onto the edge that was meant; [`measure`] makes a length of the taps, with its uncertainty. [`photo`] does
//! all of it for one picture.
//!
//! A stated interval that does not hold the truth is the worst that can happen here: whatever is not known well (how the
//! sheet was printed, how high the edge lies above it, what the lens does) widens the interval, and a picture that cannot
//! carry a measurement is refused.

pub(crate) mod camera;
pub(crate) mod codes;
mod corners;
mod edge;
pub(crate) mod measure;
pub(crate) mod photo;
pub(crate) mod sheet;
