//! Pictures that come from cameras: what they are by their bytes, and what was written into them beside the picture.
//!
//! A camera writes place, time and names into its files. None of that is kept: only the parts that show the picture pass,
//! and the way it is to be turned.

/// A picture as it is kept.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Picture {
    /// Its media type.
    pub media_type: &'static str,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// What was taken out of it, each once.
    pub taken_out: Vec<String>,
}

/// Why a file is no picture for the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NoPicture {
    /// Neither JPEG nor PNG.
    Foreign,
    /// It breaks off, or its parts do not fit together.
    Broken,
}

/// Signature of PNG (W3C PNG specification, 5.2).
const PNG: [u8; 8] = [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a];
/// Chunks of PNG that show the picture (W3C PNG specification, 11).
const PNG_KEPT: [&[u8; 4]; 12] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"bKGD",
    b"pHYs",
];

/// The picture in a file.
pub(crate) fn picture(bytes: &[u8]) -> Result<Picture, NoPicture> {
    match bytes {
        [0xff, 0xd8, 0xff, ..] => jpeg(bytes).ok_or(NoPicture::Broken),
        _ if bytes.starts_with(&PNG) => png(bytes).ok_or(NoPicture::Broken),
        _ => Err(NoPicture::Foreign),
    }
}

fn note(taken_out: &mut Vec<String>, what: &str) {
    if !taken_out.iter().any(|known| known == what) {
        taken_out.push(what.to_owned());
    }
}

/// Keeps frames, tables and scans, the colour profile and the colour marker of Adobe (ITU-T T.81, annex B).
fn jpeg(bytes: &[u8]) -> Option<Picture> {
    let (mut kept, mut taken_out) = (bytes.get(..2)?.to_vec(), Vec::new());
    let mut at = 2;
    loop {
        let (&[0xff, marker], length) = (bytes.get(at..at + 2)?, bytes.get(at + 2..at + 4)?) else {
            return None;
        };
        let length = usize::from(u16::from_be_bytes([*length.first()?, *length.get(1)?]));
        let segment = bytes.get(at..at + 2 + length)?;
        let content = segment.get(4..)?;
        match marker {
            0xda => break,
            0xff => {
                at += 1;
                continue;
            }
            0xe1 if content.starts_with(b"Exif\0\0") => {
                note(&mut taken_out, "Exif");
                if let Some(turn) = exif_turn(content).filter(|turn| (2..=8).contains(turn)) {
                    kept.extend(turned(turn));
                }
            }
            0xe2 if content.starts_with(b"ICC_PROFILE\0") => kept.extend(segment),
            0xee if content.starts_with(b"Adobe") => kept.extend(segment),
            0xe0 if content.starts_with(b"JFIF\0") => kept.extend(segment),
            0xe1 => note(&mut taken_out, "XMP"),
            0xed => note(&mut taken_out, "IPTC"),
            0xfe => note(&mut taken_out, "comment"),
            0xe0..=0xef => note(&mut taken_out, "data of the camera"),
            0xc0..=0xdf => kept.extend(segment),
            _ => return None,
        }
        at += 2 + length;
    }
    let rest = bytes.get(at..)?;
    // What stands behind the end of the picture is no part of it: some cameras put a second one there.
    let end = rest.windows(2).rposition(|pair| pair == [0xff, 0xd9])?;
    let first = first_end(rest)?;
    if first < end || rest.len() > end + 2 {
        note(&mut taken_out, "data behind the picture");
    }
    kept.extend(rest.get(..first + 2)?);
    Some(Picture { media_type: "image/jpeg", bytes: kept, taken_out })
}

/// The end marker that ends the scans: inside a scan `ff` is followed by `00` or by a restart marker, and between the scans
/// of a progressive picture stand tables with their lengths.
fn first_end(rest: &[u8]) -> Option<usize> {
    let mut at = 0;
    loop {
        let marker = *rest.get(at + 1)?;
        match (rest.get(at)?, marker) {
            (0xff, 0xd9) => return Some(at),
            (0xff, 0x00 | 0xd0..=0xd7 | 0xff) | (0..=0xfe, _) => at += 1,
            (0xff, _) => {
                let length = usize::from(u16::from_be_bytes([*rest.get(at + 2)?, *rest.get(at + 3)?]));
                at += 2 + length;
            }
        }
    }
}

/// Which way a picture is to be turned, 1 to 8 (tag 0x0112 of TIFF 6.0, in the first directory).
fn exif_turn(content: &[u8]) -> Option<u16> {
    let tiff = content.get(6..)?;
    let big = match tiff.get(..2)? {
        b"MM" => true,
        b"II" => false,
        _ => return None,
    };
    let short = |at: usize| {
        let pair = [*tiff.get(at)?, *tiff.get(at + 1)?];
        Some(if big { u16::from_be_bytes(pair) } else { u16::from_le_bytes(pair) })
    };
    let (high, low) = (short(4)?, short(6)?);
    let directory = if big { (high, low) } else { (low, high) };
    let directory = (usize::from(directory.0) << 16) | usize::from(directory.1);
    let count = usize::from(short(directory)?);
    (0..count)
        .map(|entry| directory + 2 + entry * 12)
        .find(|at| short(*at) == Some(0x0112))
        .and_then(|at| short(at + 8))
}

/// An Exif segment that says nothing but which way the picture is to be turned.
fn turned(turn: u16) -> Vec<u8> {
    let mut content = b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01".to_vec();
    content.extend(turn.to_be_bytes());
    content.extend([0; 6]);
    let length = u16::try_from(content.len() + 2).unwrap_or_default();
    let mut segment = vec![0xff, 0xe1];
    segment.extend(length.to_be_bytes());
    segment.extend(content);
    segment
}

/// Keeps the chunks that show the picture, up to its end.
fn png(bytes: &[u8]) -> Option<Picture> {
    let (mut kept, mut taken_out) = (PNG.to_vec(), Vec::new());
    let mut at = PNG.len();
    loop {
        let head = bytes.get(at..at + 8)?;
        let length = u32::from_be_bytes(head.get(..4)?.try_into().ok()?);
        let name = head.get(4..)?;
        let chunk = bytes.get(at..at.checked_add(12)?.checked_add(usize::try_from(length).ok()?)?)?;
        if PNG_KEPT.iter().any(|known| known.as_slice() == name) {
            kept.extend(chunk);
        } else {
            note(&mut taken_out, if name == b"eXIf" { "Exif" } else { "text of the program" });
        }
        at += chunk.len();
        if name == b"IEND" {
            break;
        }
    }
    if at < bytes.len() {
        note(&mut taken_out, "data behind the picture");
    }
    (kept.get(12..16) == Some(b"IHDR")).then_some(Picture { media_type: "image/png", bytes: kept, taken_out })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn segment(marker: u8, content: &[u8]) -> Vec<u8> {
        let length = u16::try_from(content.len() + 2).expect("short").to_be_bytes();
        [&[0xff, marker][..], &length, content].concat()
    }

    fn camera(exif: &[u8]) -> Vec<u8> {
        [
            &[0xff, 0xd8][..],
            &segment(0xe1, exif),
            &segment(0xe1, b"http://ns.adobe.com/xap/1.0/\0<name/>"),
            &segment(0xfe, b"taken by Kim"),
            &segment(0xdb, &[0; 65]),
            &segment(0xc0, &[8, 0, 1, 0, 1, 1, 1, 17, 0]),
            &segment(0xda, &[1, 1, 0, 0, 63, 0]),
            &[1, 2, 0xff, 0x00, 3, 0xff, 0xd9],
            b"hidden",
        ]
        .concat()
    }

    #[test]
    fn what_a_camera_wrote_is_taken_out_and_the_turn_stays() {
        // Exif in Intel order: one entry, tag 0x0112, short, 1, value 6.
        let exif = b"Exif\0\0II\x2a\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0\x06\0\0\0\0\0\0\0";
        let kept = picture(&camera(exif)).expect("a picture");
        assert_eq!(kept.media_type, "image/jpeg");
        assert_eq!(kept.taken_out, ["Exif", "XMP", "comment", "data behind the picture"]);
        let holds = |text: &[u8]| kept.bytes.windows(text.len()).any(|part| part == text);
        assert!(
            !holds(b"Kim")
                && !holds(b"name")
                && !holds(b"hidden")
                && holds(&[1, 2, 0xff, 0x00, 3, 0xff, 0xd9])
        );
        assert!(holds(&turned(6)) && exif_turn(turned(6).get(4..).expect("content")) == Some(6));
        // What was cleaned once has nothing left to take out but the turn itself.
        let again = picture(&kept.bytes).expect("a picture");
        assert_eq!((again.bytes, again.taken_out), (kept.bytes, vec!["Exif".to_owned()]));
    }

    #[test]
    fn chunks_of_a_png_that_do_not_show_the_picture_are_taken_out() {
        let chunk = |name: &[u8], content: &[u8]| {
            let length = u32::try_from(content.len()).expect("short").to_be_bytes();
            [&length[..], name, content, &[0; 4]].concat()
        };
        let parts = [
            chunk(b"IHDR", &[0; 13]),
            chunk(b"tEXt", b"Author\0Kim"),
            chunk(b"IDAT", &[1, 2]),
            chunk(b"IEND", b""),
        ];
        let file = [&PNG[..], &parts.concat()].concat();
        let kept = picture(&file).expect("a picture");
        assert_eq!(kept.taken_out, ["text of the program"]);
        assert!(!kept.bytes.windows(3).any(|part| part == b"Kim"));
        assert_eq!(kept.bytes.len(), file.len() - parts[1].len());
    }

    #[test]
    fn no_bytes_make_it_panic_and_broken_files_are_refused() {
        assert_eq!(picture(b"<svg/>"), Err(NoPicture::Foreign));
        assert_eq!(picture(b"GIF89a"), Err(NoPicture::Foreign));
        let whole = camera(b"Exif\0\0MM\0\x2a\0\0\0\x08\0\x09");
        assert!(picture(&whole).is_ok());
        for end in 3..whole.len() - 8 {
            assert_eq!(picture(&whole[..end]), Err(NoPicture::Broken), "cut at {end}");
        }
        let mut noise = whole.clone();
        for at in 2..noise.len() {
            noise[at] ^= 0x5a;
            let _ = picture(&noise);
        }
    }
}
