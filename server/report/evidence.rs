//! A photo or PDF beside a report: told by its content, made small, and rid of what it says of who took it where.
//!
//! A photo is decoded and written anew, upright and at most 2400 pixels long: nothing of its metadata is left, and nothing
//! that hides behind a picture either. A PDF is kept as it came, after a look at whether it is one, whole, and without
//! anything that runs.

use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::imageops::FilterType;
use image::{DynamicImage, ImageDecoder, ImageReader, Limits};
use thiserror::Error;

/// What a file is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// A photo, written anew.
    Jpeg,
    /// A document.
    Pdf,
}

/// Why a file is not taken.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum NotTaken {
    /// It is none of the kinds.
    #[error(
        "This is neither a JPEG or PNG picture nor a PDF. Take a photo as JPEG, or print the sheet to PDF, and choose that file."
    )]
    OtherKind,
    /// A picture format of telephones that browsers do not show.
    #[error(
        "This photo is in a format of the telephone's own (HEIF). Set the camera to JPEG (\u{201c}most compatible\u{201d}), or send the photo to yourself as JPEG, and choose that file."
    )]
    Heif,
    /// It begins as a picture and cannot be read.
    #[error("This picture is damaged or far too large. Take the photo again and choose the new file.")]
    BrokenPicture,
    /// It begins as a PDF and is none.
    #[error(
        "This file calls itself a PDF and is not a whole one. Print the sheet to PDF again and choose the new file."
    )]
    BrokenPdf,
    /// It is locked.
    #[error("This PDF is locked with a password. Print the sheet to PDF without one and choose the new file.")]
    LockedPdf,
    /// It has something in it that runs or is attached.
    #[error("This PDF has scripts, programs or other files in it. Print it to a plain PDF and choose the new file.")]
    LivelyPdf,
}

/// Longest side of a photo as it is kept, in pixels: a sheet of A4 can be read on it.
const LONGEST: u32 = 2400;
/// Longest side of a photo as it is read.
const LONGEST_READ: u32 = 20_000;
/// Most memory for reading one: 55 megapixels in colour. What a telephone makes with more is bigger as a file than is taken.
const MEMORY: u64 = 160 * 1024 * 1024;
/// Per cent of quality at which letters stay sharp.
const QUALITY: u8 = 82;

/// Looks at a file and makes it fit to be kept.
///
/// # Errors
/// When it is of no kind that is taken, or not what it seems.
pub fn prepared(bytes: &[u8]) -> Result<(Kind, Vec<u8>), NotTaken> {
    if bytes.starts_with(&[0xff, 0xd8, 0xff]) || bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        return Ok((Kind::Jpeg, photo(bytes).map_err(|_| NotTaken::BrokenPicture)?));
    }
    if bytes.get(4..8) == Some(b"ftyp") {
        return Err(NotTaken::Heif);
    }
    if has(bytes.get(..1024).unwrap_or(bytes), b"%PDF-") {
        pdf(bytes)?;
        return Ok((Kind::Pdf, bytes.to_vec()));
    }
    Err(NotTaken::OtherKind)
}

fn photo(bytes: &[u8]) -> image::ImageResult<Vec<u8>> {
    let mut reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format()?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(LONGEST_READ);
    limits.max_image_height = Some(LONGEST_READ);
    limits.max_alloc = Some(MEMORY);
    reader.limits(limits.clone());
    let mut decoder = reader.into_decoder()?;
    // Not every decoder holds itself to the limit of memory.
    limits.reserve(decoder.total_bytes())?;
    let orientation = decoder.orientation()?;
    let mut picture = DynamicImage::from_decoder(decoder)?;
    if picture.width().max(picture.height()) > LONGEST {
        picture = picture.resize(LONGEST, LONGEST, FilterType::Triangle);
    }
    picture.apply_orientation(orientation);
    let mut kept = Vec::new();
    JpegEncoder::new_with_quality(&mut kept, QUALITY).encode_image(&picture.to_rgb8())?;
    Ok(kept)
}

fn has(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|w| w == part)
}

/// A name in a PDF, not the beginning of a longer one.
fn has_name(bytes: &[u8], name: &[u8]) -> bool {
    bytes
        .windows(name.len() + 1)
        .any(|w| w.starts_with(name) && !w.last().is_some_and(u8::is_ascii_alphanumeric))
}

/// Whether a PDF is whole, open and still. Compressed parts are not looked into; the file is never shown within a page.
fn pdf(bytes: &[u8]) -> Result<(), NotTaken> {
    let end = bytes.get(bytes.len().saturating_sub(2048)..).unwrap_or(bytes);
    let has_pages = has_name(bytes, b"/Page") || has_name(bytes, b"/Pages") || has_name(bytes, b"/ObjStm");
    if !has(end, b"startxref") || !has(end, b"%%EOF") || !has_pages {
        return Err(NotTaken::BrokenPdf);
    }
    if has_name(bytes, b"/Encrypt") {
        return Err(NotTaken::LockedPdf);
    }
    let lively: [&[u8]; 6] = [
        b"/JavaScript",
        b"/JS",
        b"/Launch",
        b"/EmbeddedFile",
        b"/EmbeddedFiles",
        b"/RichMedia",
    ];
    if lively.iter().any(|name| has_name(bytes, name)) {
        return Err(NotTaken::LivelyPdf);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture of this size as JPEG, with a note in an Exif segment (a place, say) before the picture data.
    fn jpeg_with_note(width: u32, height: u32, note: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        let picture = DynamicImage::new_rgb8(width, height);
        assert!(JpegEncoder::new(&mut bytes).encode_image(&picture).is_ok());
        let length = u16::try_from(note.len() + 2).unwrap_or(0).to_be_bytes();
        let segment = [&[0xff, 0xe1], &length[..], note].concat();
        [&bytes[..2], &segment, &bytes[2..]].concat()
    }

    #[test]
    fn a_photo_loses_its_metadata_and_its_size() {
        let note = b"Exif\0\0MM\0*\0\0\0\x08\0\0 taken at 53.36 N 6.26 W by somebody";
        let sent = jpeg_with_note(3000, 1000, note);
        assert!(has(&sent, b"53.36 N"));
        let Ok((kind, kept)) = prepared(&sent) else {
            unreachable!("it is a photo")
        };
        assert_eq!(kind, Kind::Jpeg);
        assert!(!has(&kept, b"53.36 N") && !has(&kept, b"Exif"));
        let read = image::load_from_memory(&kept).map(|p| (p.width(), p.height()));
        assert_eq!(read.ok(), Some((2400, 800)));
        // What follows the picture is not carried on.
        let tail = [sent.as_slice(), b"<script>alert(1)</script>"].concat();
        assert!(prepared(&tail).is_ok_and(|(_, kept)| !has(&kept, b"<script>")));
    }

    /// A few bytes that call themselves a picture of hundreds of megapixels are not unpacked.
    #[test]
    fn what_unpacks_to_far_more_than_a_photo_is_refused() {
        let small = jpeg_with_note(16, 16, b"none");
        // Height and width in the frame header (ITU-T T.81, B.2.2): after the marker, a length and a precision.
        let frame = small.windows(2).position(|w| w == [0xff, 0xc0]).map_or(0, |at| at + 5);
        let sized = |pixels: u16| {
            let mut bytes = small.clone();
            bytes[frame..frame + 2].copy_from_slice(&pixels.to_be_bytes());
            bytes[frame + 2..frame + 4].copy_from_slice(&pixels.to_be_bytes());
            bytes
        };
        assert!(prepared(&sized(16)).is_ok());
        for pixels in [8_000, 19_000, 60_000] {
            assert_eq!(prepared(&sized(pixels)), Err(NotTaken::BrokenPicture), "{pixels}");
        }
    }

    #[test]
    fn a_photo_on_its_side_is_turned_upright() {
        // Exif, big-endian, one entry: orientation (0x0112), short, 6 = to be turned by 90 degrees (Exif 2.32, 4.6.4).
        let exif = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x06\0\0\0\0\0\0";
        let kept = prepared(&jpeg_with_note(40, 20, exif))
            .map(|(_, kept)| kept)
            .unwrap_or_default();
        let read = image::load_from_memory(&kept).map(|p| (p.width(), p.height()));
        assert_eq!(read.ok(), Some((20, 40)));
    }

    #[test]
    fn what_is_no_photo_and_no_pdf_is_told() {
        let pdf =
            |inside: &str| format!("%PDF-1.7\n1 0 obj <</Type /Pages /Count 1{inside}>> endobj\nstartxref\n9\n%%EOF\n");
        let plain = pdf("");
        assert_eq!(prepared(plain.as_bytes()), Ok((Kind::Pdf, plain.clone().into_bytes())));
        for (bytes, why) in [
            (b"".to_vec(), NotTaken::OtherKind),
            (b"<html><script>".to_vec(), NotTaken::OtherKind),
            (b"\0\0\0\x18ftypheic".to_vec(), NotTaken::Heif),
            (b"\xff\xd8\xff\xe0 no picture".to_vec(), NotTaken::BrokenPicture),
            (b"%PDF-1.7 and nothing else".to_vec(), NotTaken::BrokenPdf),
            (plain.as_bytes()[..40].to_vec(), NotTaken::BrokenPdf),
            (pdf(" /Encrypt 3 0 R").into_bytes(), NotTaken::LockedPdf),
            (pdf(" /JS (app.alert)").into_bytes(), NotTaken::LivelyPdf),
            (pdf(" /Launch 1").into_bytes(), NotTaken::LivelyPdf),
        ] {
            assert_eq!(prepared(&bytes), Err(why));
        }
    }
}
