//! Pictures made smaller and written as JPEG files.

use std::error::Error;

use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::codecs::jpeg::JpegEncoder;
use image::{ImageResult, RgbImage};

/// A picture scaled to this width and height in pixels: to the same bytes on every machine, since the filter counts in whole
/// numbers.
///
/// # Errors
/// When the filter refuses the sizes.
pub fn scaled(picture: &RgbImage, width: u32, height: u32) -> Result<RgbImage, Box<dyn Error>> {
    let mut small = RgbImage::new(width, height);
    let from = TypedImageRef::<U8x3>::from_buffer(picture.width(), picture.height(), picture)?;
    let mut into = TypedImage::<U8x3>::from_buffer(width, height, &mut small)?;
    let smoothly = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom));
    Resizer::new().resize_typed(&from, &mut into, &smoothly)?;
    Ok(small)
}

/// A picture as a JPEG file of a quality from 1 to 100.
///
/// # Errors
/// When the picture has more pixels in a row or a column than the format holds: 65,535.
pub fn jpeg(picture: &RgbImage, quality: u8) -> ImageResult<Vec<u8>> {
    let mut file = Vec::new();
    JpegEncoder::new_with_quality(&mut file, quality.clamp(1, 100)).encode_image(picture)?;
    Ok(file)
}
