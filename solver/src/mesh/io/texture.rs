//! Pictures that colour a surface: PNG by the crate png, JPEG by zune-jpeg.

use std::io::Cursor;

use png::{ColorType, Decoder, Limits, Transformations};
use zune_jpeg::JpegDecoder;
use zune_jpeg::zune_core::bytestream::ZCursor;
use zune_jpeg::zune_core::colorspace::ColorSpace;
use zune_jpeg::zune_core::options::DecoderOptions;

use super::super::paint::Colour;

/// Pixels of one picture, at most: 8192 by 8192.
const MOST_PIXELS: u64 = 1 << 26;
/// Pixels of all pictures of a file, at most.
const MOST_OF_ALL: u64 = 1 << 28;

/// How many pixels may still be unpacked for a file.
pub(super) struct Budget(u64);

impl Budget {
    pub fn new() -> Self {
        Self(MOST_OF_ALL)
    }

    fn take(&mut self, width: u64, height: u64) -> Result<(), String> {
        let pixels = width.saturating_mul(height);
        if pixels > MOST_PIXELS {
            return Err(format!(
                "it has {width} x {height} pixels, more than {MOST_PIXELS}: make it smaller"
            ));
        }
        self.0 = self.0.checked_sub(pixels).ok_or_else(|| {
            format!("the pictures have more than {MOST_OF_ALL} pixels together: make them smaller")
        })?;
        Ok(())
    }
}

/// What lies beyond a picture's border.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wrap {
    Repeat,
    Mirror,
    Clamp,
}

impl Wrap {
    /// A coordinate brought on to the picture, 0 to 1.
    fn apply(self, x: f32) -> f32 {
        match self {
            Self::Repeat => x.rem_euclid(1.0),
            Self::Mirror => 1.0 - (x.rem_euclid(2.0) - 1.0).abs(),
            Self::Clamp => x.clamp(0.0, 1.0),
        }
    }
}

/// A picture in memory.
#[derive(Debug)]
pub(super) struct Texture {
    width: usize,
    height: usize,
    /// Bytes of a pixel: 1 or 2 grey, 3 or 4 red, green, blue.
    channels: usize,
    bytes: Vec<u8>,
}

impl Texture {
    /// Unpacks a picture, or says in words why not. Sizes are looked at before memory is set aside.
    pub fn read(bytes: &[u8], budget: &mut Budget) -> Result<Self, String> {
        if bytes.starts_with(b"\x89PNG") {
            Self::png(bytes, budget)
        } else if bytes.starts_with(b"\xff\xd8") {
            Self::jpeg(bytes, budget)
        } else {
            Err("it is neither PNG nor JPEG".to_owned())
        }
    }

    fn png(bytes: &[u8], budget: &mut Budget) -> Result<Self, String> {
        let broken = |fault: png::DecodingError| format!("it is no sound PNG file: {fault}");
        let limits = Limits { bytes: 16 << 20 };
        let mut decoder = Decoder::new_with_limits(Cursor::new(bytes), limits);
        decoder.set_ignore_text_chunk(true);
        decoder.set_transformations(Transformations::EXPAND | Transformations::STRIP_16);
        let (width, height) = {
            let info = decoder.read_header_info().map_err(broken)?;
            (info.width, info.height)
        };
        budget.take(u64::from(width), u64::from(height))?;
        let mut reader = decoder.read_info().map_err(broken)?;
        let size = reader.output_buffer_size().ok_or("it is too large for this machine")?;
        let mut bytes = vec![0; size];
        reader.next_frame(&mut bytes).map_err(broken)?;
        let channels = match reader.output_color_type().0 {
            ColorType::Grayscale => 1,
            ColorType::GrayscaleAlpha => 2,
            ColorType::Rgb => 3,
            ColorType::Rgba => 4,
            ColorType::Indexed => return Err("its palette was not unpacked".to_owned()),
        };
        Self::of(width as usize, height as usize, channels, bytes)
    }

    fn jpeg(bytes: &[u8], budget: &mut Budget) -> Result<Self, String> {
        let options = DecoderOptions::new_safe().jpeg_set_out_colorspace(ColorSpace::RGB);
        let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
        let broken = |fault: &dyn std::fmt::Display| format!("it is no sound JPEG file: {fault}");
        decoder.decode_headers().map_err(|fault| broken(&fault))?;
        let info = decoder.info().ok_or_else(|| broken(&"it has no header"))?;
        budget.take(u64::from(info.width), u64::from(info.height))?;
        let size = decoder.output_buffer_size().ok_or_else(|| broken(&"it has no size"))?;
        let mut bytes = vec![0; size];
        decoder.decode_into(&mut bytes).map_err(|fault| broken(&fault))?;
        let pixels = usize::from(info.width) * usize::from(info.height);
        let channels = bytes.len().checked_div(pixels).unwrap_or(0);
        Self::of(usize::from(info.width), usize::from(info.height), channels, bytes)
    }

    fn of(width: usize, height: usize, channels: usize, bytes: Vec<u8>) -> Result<Self, String> {
        let whole = width > 0 && height > 0 && (1..=4).contains(&channels);
        if !whole || bytes.len() < width * height * channels {
            return Err("it has no pixels, or fewer than it says".to_owned());
        }
        Ok(Self { width, height, channels, bytes })
    }

    /// The pixel at a place: `u` to the right, `v` down, each 0 to 1 on the picture. `None` where these are not numbers.
    pub fn at(&self, [u, v]: [f32; 2], wrap: [Wrap; 2]) -> Option<Colour> {
        if !(u.is_finite() && v.is_finite()) {
            return None;
        }
        let pixel = |x: f32, wrap: Wrap, count: usize| {
            ((wrap.apply(x) * count as f32) as usize).min(count - 1)
        };
        let (x, y) = (pixel(u, wrap[0], self.width), pixel(v, wrap[1], self.height));
        let from = (y * self.width + x) * self.channels;
        let own = self.bytes.get(from..from + self.channels)?;
        Some(match *own {
            [r, g, b] | [r, g, b, _] => [r, g, b],
            [grey, ..] => [grey; 3],
            [] => return None,
        })
    }
}

/// Multiplies the colours of places on a mesh by what pictures show there; one picture is in memory at a time.
///
/// `bytes` are a picture's. `place` tells where on it the place with a number lies, and what is beyond its border; nothing
/// for a place that the picture does not colour. `share` is what a byte of a pixel counts. Returns the pictures that
/// cannot be read, and why.
pub(super) fn multiply<P>(
    pictures: Vec<P>,
    bytes: impl Fn(&P) -> Result<Vec<u8>, String>,
    place: impl Fn(&P, usize) -> Option<([f32; 2], [Wrap; 2])>,
    share: impl Fn(u8) -> f32,
    colours: &mut [[f32; 3]],
) -> Vec<(P, String)> {
    let (mut budget, mut unread) = (Budget::new(), Vec::new());
    for picture in pictures {
        let read = bytes(&picture).and_then(|bytes| Texture::read(&bytes, &mut budget));
        let texture = match read {
            Ok(texture) => texture,
            Err(why) => {
                unread.push((picture, why));
                continue;
            }
        };
        for (number, colour) in colours.iter_mut().enumerate() {
            let own = place(&picture, number);
            let Some(pixel) = own.and_then(|(uv, wrap)| texture.at(uv, wrap)) else { continue };
            for (part, pixel) in colour.iter_mut().zip(pixel) {
                *part *= share(pixel);
            }
        }
    }
    unread
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A picture as a PNG file.
    pub(in crate::mesh::io) fn png_file(width: u32, height: u32, rgb: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut encoder = png::Encoder::new(&mut bytes, width, height);
        encoder.set_color(ColorType::Rgb);
        let mut writer = encoder.write_header().expect("in memory");
        writer.write_image_data(rgb).expect("in memory");
        writer.finish().expect("in memory");
        bytes
    }

    const QUARTERS: [u8; 12] = [255, 0, 0, 0, 255, 0, 0, 0, 255, 255, 255, 0];

    #[test]
    fn pixels_are_where_they_belong() {
        let file = png_file(2, 2, &QUARTERS);
        let picture = Texture::read(&file, &mut Budget::new()).expect("a picture");
        let at = |u, v, wrap| picture.at([u, v], [wrap; 2]).expect("a pixel");
        assert_eq!(at(0.2, 0.2, Wrap::Repeat), [255, 0, 0]);
        assert_eq!(at(0.7, 0.2, Wrap::Clamp), [0, 255, 0]);
        assert_eq!(at(0.2, 0.7, Wrap::Mirror), [0, 0, 255]);
        assert_eq!(at(1.2, -0.8, Wrap::Repeat), [255, 0, 0]);
        assert_eq!(at(1.2, 0.2, Wrap::Mirror), [0, 255, 0]);
        assert_eq!(at(9.0, 9.0, Wrap::Clamp), [255, 255, 0]);
        assert_eq!(picture.at([f32::NAN, 0.0], [Wrap::Repeat; 2]), None);
    }

    #[test]
    fn pictures_that_lie_are_refused() {
        let file = png_file(2, 2, &QUARTERS);
        for length in 0..file.len() - 13 {
            assert!(Texture::read(&file[..length], &mut Budget::new()).is_err(), "{length}");
        }
        // 100,000 pixels a side in 70 bytes; what the header's check sum says is looked at by the crate.
        let mut huge = file.clone();
        huge[16..20].copy_from_slice(&100_000u32.to_be_bytes());
        huge[20..24].copy_from_slice(&100_000u32.to_be_bytes());
        let sum = crc32(&huge[12..29]);
        huge[29..33].copy_from_slice(&sum.to_be_bytes());
        let fault = Texture::read(&huge, &mut Budget::new()).expect_err("huge");
        assert!(fault.contains("100000 x 100000 pixels"), "{fault}");
        assert!(Texture::read(b"GIF89a", &mut Budget::new()).is_err());
        assert!(Texture::read(b"\xff\xd8\xff\xc0", &mut Budget::new()).is_err());
        let mut small = Budget(7);
        assert!(Texture::read(&file, &mut small).is_ok());
        assert!(Texture::read(&file, &mut small).is_err(), "8 pixels of 7");
    }

    /// The check sum of a chunk (PNG specification, annex D).
    fn crc32(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(u32::MAX, |sum, byte| {
            (0..8).fold(sum ^ u32::from(*byte), |c, _| {
                if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 }
            })
        })
    }
}
