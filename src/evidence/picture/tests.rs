//! What a published copy may hold, and what is refused.

use std::fs;

use super::*;

/// Red, green, blue and white quarters, so that every turn can be told.
fn quarters(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        Rgb(match (x < width / 2, y < height / 2) {
            (true, true) => [255, 0, 0],
            (false, true) => [0, 255, 0],
            (true, false) => [0, 0, 255],
            (false, false) => [255, 255, 255],
        })
    })
}

fn encoded(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.into().write_to(&mut out, format).unwrap();
    out.into_inner()
}

fn derive_bytes(bytes: &[u8], options: &PictureOptions) -> Result<DerivedPicture, PictureError> {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("photo.jpg");
    fs::write(&path, bytes).unwrap();
    derive(&path, options)
}

fn reason_for(bytes: &[u8]) -> Undecodable {
    match derive_bytes(bytes, &PictureOptions::default()) {
        Err(PictureError::Undecodable { reason, .. }) => reason,
        other => panic!("{other:?}"),
    }
}

fn pixels(derived: &DerivedPicture) -> RgbImage {
    image::load_from_memory(&derived.jpeg).unwrap().into_rgb8()
}

fn near(found: &Rgb<u8>, wanted: [u8; 3]) -> bool {
    found.0.iter().zip(wanted).all(|(&f, w)| f.abs_diff(w) < 24)
}

#[test]
fn sizes_shrink_and_never_grow() {
    for (width, height, max_edge, expected) in [
        (400, 200, 100, (100, 50)),
        (200, 400, 100, (50, 100)),
        (40, 20, 100, (40, 20)),
        (900, 3, 100, (100, 1)),
        (1000, 10, 1, (1, 1)),
        (1000, 700, 0, (1, 1)),
    ] {
        let photo = encoded(quarters(width, height), ImageFormat::Png);
        let options = PictureOptions { max_edge, ..PictureOptions::default() };
        let derived = derive_bytes(&photo, &options).unwrap();
        assert_eq!((derived.width, derived.height), expected);
        assert_eq!((derived.original_width, derived.original_height), (width, height));
    }
}

#[test]
fn a_blackout_that_hides_nothing_stops_the_copy() {
    let photo = encoded(quarters(64, 32), ImageFormat::Png);
    let fraction = |left, width| Area::Fraction { left, top: 0.0, width, height: 1.0 };
    let pixels = |left, width| Area::Pixels { left, top: 0, width, height: 9 };
    for bad in [
        fraction(f64::NAN, 0.5),
        fraction(0.5, f64::NAN),
        fraction(-0.1, 0.5),
        fraction(0.0, 0.0),
        fraction(0.9, 0.2),
        fraction(1.0, 1e-10),
        fraction(0.1, f64::INFINITY),
        pixels(64, 5),
        pixels(0, 0),
    ] {
        let options =
            PictureOptions { blackouts: vec![fraction(0.0, 1.0), bad], ..PictureOptions::default() };
        let error = derive_bytes(&photo, &options).unwrap_err();
        assert!(error.to_string().contains("withheld box 2"), "{error}");
    }
}

#[test]
fn what_lies_under_transparency_stays_hidden() {
    let picture = image::RgbaImage::from_pixel(32, 32, image::Rgba([200, 10, 10, 0]));
    for format in [ImageFormat::Png, ImageFormat::WebP] {
        let photo = encoded(picture.clone(), format);
        let derived = derive_bytes(&photo, &PictureOptions::default()).unwrap();
        assert!(near(pixels(&derived).get_pixel(9, 9), [255; 3]));
    }
}

#[test]
fn what_cannot_be_shown_says_why() {
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic";
    assert_eq!(reason_for(heic), Undecodable::Heic);
    assert_eq!(reason_for(b"II*\0\x08\0\0\0"), Undecodable::Raw);
    assert_eq!(reason_for(b"%PDF-1.7"), Undecodable::OtherFormat);
    assert_eq!(reason_for(b"<svg/>"), Undecodable::OtherFormat);
    for bytes in [&b""[..], b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"] {
        let reason = reason_for(bytes);
        assert!(matches!(reason, Undecodable::Broken { .. }), "{reason:?}");
    }
    // A PNG header that promises 65 535 × 65 535 pixels.
    let mut bomb = encoded(quarters(4, 4), ImageFormat::Png);
    bomb[16..24].copy_from_slice(&[0, 0, 0xff, 0xff, 0, 0, 0xff, 0xff]);
    let crc = crc32(&bomb[12..29]);
    bomb[29..33].copy_from_slice(&crc.to_be_bytes());
    assert_eq!(reason_for(&bomb), Undecodable::TooManyPixels { width: 65_535, height: 65_535 });
}

/// Colour profiles and texts of a PNG can unpack to gigabytes (W3C PNG, third edition, 11.3): no decoder sees them.
#[test]
fn colour_profiles_and_texts_are_not_unpacked() {
    let plain = encoded(quarters(16, 16), ImageFormat::Png);
    let chunk = |kind: &[u8], data: &[u8]| {
        let named = [kind, data].concat();
        let length = u32::try_from(data.len()).unwrap().to_be_bytes();
        [&length[..], &named, &crc32(&named).to_be_bytes()].concat()
    };
    let mut packer = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    std::io::copy(&mut Read::take(std::io::repeat(0), 8 << 20), &mut packer).unwrap();
    let packed = packer.finish().unwrap();
    let mut bomb = plain[..33].to_vec();
    bomb.extend(chunk(b"iCCP", &[b"profile\0\0", &packed[..]].concat()));
    for _ in 0..3 {
        bomb.extend(chunk(b"zTXt", &[b"Comment\0\0", &packed[..]].concat()));
        bomb.extend(chunk(b"iTXt", &[b"Comment\0\x01\0\0\0", &packed[..]].concat()));
    }
    bomb.extend_from_slice(&plain[33..]);
    assert_eq!(*without_texts(&bomb), *plain);
    let [found, wanted] =
        [&bomb, &plain].map(|bytes| derive_bytes(bytes, &PictureOptions::default()).unwrap());
    assert_eq!(found.jpeg, wanted.jpeg);
}

/// CRC-32 as PNG uses it (ISO 3309), bit by bit.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0_u32, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| (c >> 1) ^ (0xedb8_8320 & (c & 1).wrapping_neg()))
    })
}

#[test]
fn a_two_gigabyte_photo_is_refused_unread() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("huge.jpg");
    let file = fs::File::create(&path).unwrap();
    file.set_len(2 << 30).unwrap();
    let error = derive(&path, &PictureOptions::default()).unwrap_err();
    assert!(error.to_string().contains("2147483648 bytes"), "{error}");
    assert_eq!(exif::read(&path).unwrap(), PhotoFacts::default());
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    #[test]
    fn damaged_pictures_never_panic(
        format in 0_usize..3,
        cut in 0_usize..3000,
        flips in proptest::collection::vec((0_usize..3000, 0_u8..), 0..12),
    ) {
        let formats = [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP];
        let mut photo = encoded(quarters(48, 40), formats[format]);
        photo.truncate(cut.max(4));
        for (at, value) in flips {
            if let Some(byte) = photo.get_mut(at) {
                *byte = value;
            }
        }
        // Past the net that catches a panic: none should fall into it.
        if let Ok(format) = format_of(&photo) {
            let _ = decode(&photo, format, Orientation::Rotate90);
        }
    }
}
