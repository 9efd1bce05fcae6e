//! QR codes as drawings.

use qrcode::{Color, EcLevel, QrCode};

use crate::press::PaperError;

/// Empty modules around the code, as the standard asks for (ISO/IEC 18004, from memory).
const QUIET_ZONE: usize = 4;

/// The code of an address as an SVG file.
pub(crate) fn code(address: &str) -> Result<String, PaperError> {
    let code = QrCode::with_error_correction_level(address, EcLevel::M)
        .map_err(|_| PaperError::AddressLong { letters: address.chars().count() })?;
    let width = code.width();
    let size = width + 2 * QUIET_ZONE;
    let mut path = String::new();
    for (place, module) in code.to_colors().into_iter().enumerate() {
        if module == Color::Dark {
            let (right, down) = (place % width + QUIET_ZONE, place / width + QUIET_ZONE);
            path.push_str(&format!("M{right} {down}h1v1h-1z"));
        }
    }
    Ok(format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{size}\" height=\"{size}\" viewBox=\"0 0 {size} {size}\" \
         shape-rendering=\"crispEdges\"><rect width=\"{size}\" height=\"{size}\" fill=\"#fff\"/><path d=\"{path}\" \
         fill=\"#000\"/></svg>"
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The drawing read back by another program's decoder (the crate `rqrr`), after setting its squares on a grid.
    fn read(svg: &str) -> String {
        const SCALE: usize = 4;
        let number = |text: &str| text.parse::<usize>().expect("a whole number");
        let size =
            number(svg.split("width=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a width"));
        let path = svg.split(" d=\"").nth(1).and_then(|rest| rest.split('"').next()).expect("a path");
        let mut dark = vec![false; size * size];
        for square in path.split('M').skip(1) {
            let (right, down) =
                square.split_once('h').and_then(|(at, _)| at.split_once(' ')).expect("a square");
            dark[number(down) * size + number(right)] = true;
        }
        let side = size * SCALE;
        let shade = |x: usize, y: usize| if dark[y / SCALE * size + x / SCALE] { 0 } else { 255 };
        let mut image = rqrr::PreparedImage::prepare_from_greyscale(side, side, shade);
        let grids = image.detect_grids();
        grids.first().expect("a code").decode().expect("readable").1
    }

    #[test]
    fn another_decoder_reads_the_address() {
        for address in [
            "http://127.0.0.1:8470/certificates/7f3a-9c21-04bd",
            "https://bench.example/moulds/M%2F1/circuits/F%C3%A9",
        ] {
            assert_eq!(read(&code(address).expect("short enough")), address);
        }
    }

    #[test]
    fn an_address_that_no_code_holds_is_refused() {
        assert!(matches!(code(&"x".repeat(3000)), Err(PaperError::AddressLong { letters: 3000 })));
    }
}
