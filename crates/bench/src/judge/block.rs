//! Where the block of a blocked circuit lies, from what fills up to it.

use calc::air::trapped::Fixture;
use calc::estimate::{Estimate, Uncertain};
use calc::hydraulics::block::{BlockPlace, length_of_block, place_of_block};
use calc::hydraulics::deposit::coated;
use calc::hydraulics::flow_factor::PieceKnowledge;
use calc::hydraulics::piece::Piece;
use calc::quantity::{Length, Volume};

use super::expect::Geometry;
use super::timeline::Timeline;
use super::volume::{latest_from, without};
use crate::finding::Evidence;
use crate::visit::{End, Entry, Rig};

/// A blocked circuit fills the hoses of one end only: this share of the fixture, known to so much of it, at the inlet
/// and at the outlet (own proposal; dead ends of the rig lie on the supply side).
const ONE_END: [(f64, f64); 2] = [(0.53, 0.06), (0.47, 0.07)];

/// How well a good drawing gives the volume of a length of bore (own proposal: a tenth of a millimetre in ten). What
/// couplings and plugs hold beside it lies at the ends and is not part of a distance.
const AS_DRAWN: f64 = 0.02;

/// Layer for which a second place is named: a blocked circuit is seldom clean, and nothing tells how thick it is.
const LAYER_MM: f64 = 0.5;

/// A volume seen from one end.
struct Seen<'a> {
    entry: &'a Entry,
    volume_ml: Uncertain,
    through_hoses: bool,
}

/// The place of the block; nothing without pieces or without a filled volume that tells it.
pub(crate) fn evidence(timeline: &Timeline<'_>, rig: &Rig, geometry: Option<&Geometry>) -> Option<Evidence> {
    let geometry = geometry?;
    let (inlet, outlet) = (seen(timeline, rig, End::Inlet), seen(timeline, rig, End::Outlet));
    let reversed: Vec<Piece> = geometry.pieces.iter().rev().cloned().collect();
    let from_inlet = inlet.as_ref().map(|seen| in_words(seen, &geometry.pieces, geometry, "inlet"));
    let from_outlet = outlet.as_ref().map(|seen| in_words(seen, &reversed, geometry, "outlet"));
    let last = match (&inlet, &outlet) {
        (Some(inlet), Some(outlet)) => length_in_words(length_of_block(
            &geometry.pieces,
            inlet.volume_ml,
            outlet.volume_ml,
            spread_ln(geometry),
        )),
        (Some(_), None) => "The same reading from the outlet end gives its length.".to_owned(),
        (None, _) => "The same reading from the inlet end gives its length.".to_owned(),
    };
    let entry = inlet.as_ref().or(outlet.as_ref())?.entry;
    let parts: Vec<String> = [from_inlet, from_outlet].into_iter().flatten().collect();
    let first =
        inlet.as_ref().map_or((&outlet, &reversed, "outlet"), |_| (&inlet, &geometry.pieces, "inlet"));
    let layer = first.0.as_ref().and_then(|seen| behind_a_layer(seen, first.1)).map_or_else(
        || "Behind a layer on the wall it lies further in.".to_owned(),
        |mm| {
            format!("Behind a layer of {LAYER_MM} mm all along it would lie {mm:.0} mm from the {}.", first.2)
        },
    );
    Some(Evidence {
        title: "Place of the block".to_owned(),
        text: format!("In a bare bore as in the {}: {} {last} {layer}", geometry.from, parts.join(" ")),
        place: Some(entry.place.clone()),
        sources: vec!["jcgm-100"],
        picture: None,
    })
}

fn spread_ln(geometry: &Geometry) -> f64 {
    if geometry.knowledge == PieceKnowledge::DRAWING { AS_DRAWN } else { geometry.volume_ln }
}

fn seen<'a>(timeline: &Timeline<'a>, rig: &Rig, end: End) -> Option<Seen<'a>> {
    let (entry, reading) = latest_from(timeline, end)?;
    let fixture = if reading.through_fixture {
        let (share, uncertainty_relative) = ONE_END[usize::from(end == End::Outlet)];
        let volume = Volume::from_ml(rig.fixture_volume?.ml() * share);
        Some(Fixture { volume, uncertainty_relative })
    } else {
        None
    };
    let volume_ml = without(reading, rig, fixture).ok()?;
    Some(Seen { entry, volume_ml, through_hoses: reading.through_fixture })
}

/// The same place in a bore with a layer on its wall; nothing if the layer closes the bore or the volume no longer fits.
fn behind_a_layer(seen: &Seen<'_>, pieces: &[Piece]) -> Option<f64> {
    let narrowed = coated(pieces, Length::from_mm(LAYER_MM))?;
    Some(place_of_block(&narrowed, seen.volume_ml, 0.0)?.distance_mm.value)
}

fn in_words(seen: &Seen<'_>, pieces: &[Piece], geometry: &Geometry, end: &str) -> String {
    let volume = seen.volume_ml;
    let Some(place) = place_of_block(pieces, volume, spread_ln(geometry)) else {
        return format!(
            "{:.0} ± {:.0} ml filled from the {end} do not fit the pieces: no place follows.",
            volume.value,
            volume.estimate().half_width()
        );
    };
    let BlockPlace { distance_mm: distance, piece, in_split } = place;
    let number = if end == "inlet" { piece + 1 } else { pieces.len() - piece };
    let which = if in_split {
        format!("in the branches of piece {number}")
    } else {
        format!("in piece {number} of {}", pieces.len())
    };
    let hoses = if seen.through_hoses {
        ", the hoses of that end taken out; short adapters make it surer"
    } else {
        ""
    };
    format!(
        "{:.0} mm from the {end} ({:.0} to {:.0}), {which}: {:.0} ml fill up to it{hoses}.",
        distance.value, distance.low, distance.high, volume.value
    )
}

fn length_in_words(length: Option<Estimate>) -> String {
    length.map_or_else(
        || {
            "Both ends together hold more than the pieces: one of the readings, or the drawing, is wrong."
                .to_owned()
        },
        |length| {
            format!(
                "Between both lie {:.0} mm ({:.0} to {:.0}): the length of the block, if the bore is bare.",
                length.value, length.low, length.high
            )
        },
    )
}
