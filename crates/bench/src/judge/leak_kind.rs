//! What two or more pressures say of a leak: which kind it is, and which reading is the one to be judged.

use calc::air::leak_down::{Cause, LeakDownResult};
use calc::air::leak_kind::{LeakKind, LeakKindInput, Point, leak_kind};
use calc::estimate::Uncertain;
use calc::quantity::GaugePressure;

use super::tight::{Test, run, start_bar_g};
use crate::finding::{Evidence, Tightness, sentence};
use crate::visit::{Entry, LeakDown};

/// Start pressures that differ by less than this factor count as the same (own choice).
const APART: f64 = 1.2;
/// Highest pressure that is proposed, unless a higher one was used.
const USUAL_BAR_G: f64 = 6.0;

/// A leak-down of the visit.
pub(crate) type Taken<'a> = (&'a Entry, &'a LeakDown);

/// The leak-downs that count, highest pressure first: of those at about one pressure the latest.
pub(crate) fn by_pressure<'a>(taken: &[Taken<'a>]) -> Vec<Taken<'a>> {
    let bar = |one: &Taken<'_>| start_bar_g(one.1).unwrap_or(0.0);
    let mut latest_first: Vec<Taken<'a>> = taken.iter().rev().copied().collect();
    latest_first.sort_by(|a, b| bar(b).total_cmp(&bar(a)));
    let mut kept: Vec<Taken<'a>> = Vec::new();
    while let Some(top) = latest_first.first().map(&bar) {
        let (same, lower): (Vec<Taken<'a>>, Vec<Taken<'a>>) =
            latest_first.into_iter().partition(|one| bar(one) * APART > top);
        let latest = taken.iter().rev().find(|one| same.iter().any(|other| core::ptr::eq(one.0, other.0)));
        kept.extend(latest.copied());
        latest_first = lower;
    }
    kept
}

/// What was found of the kind.
pub(crate) struct Found {
    pub(crate) evidence: Option<Evidence>,
    /// The kind in words, where it is sure enough to be named.
    pub(crate) kind: Option<&'static str>,
    /// The reading that would tell the kind.
    pub(crate) would_tell: Option<String>,
}

/// The kind of a leak from the readings at different pressures; nothing for a circuit that is tight.
pub(crate) fn judge(test: &Test<'_>, readings: &[Taken<'_>], verdict: Tightness) -> Found {
    let nothing = Found { evidence: None, kind: None, would_tell: None };
    if matches!(verdict, Tightness::Tight | Tightness::Untested) {
        return nothing;
    }
    let points: Vec<Point> = readings
        .iter()
        .filter_map(|(_, reading)| Some(point(start_bar_g(reading)?, &run(test, reading).ok()?)))
        .collect();
    let Some(top) = points.first() else { return nothing };
    let input = LeakKindInput {
        points: &points,
        volume_uncertainty_relative: test.volume.relative.min(1.0),
        atmosphere: test.rig.atmosphere,
        water_pressure: top.pressure,
        highest: GaugePressure::from_bar(top.pressure.bar().max(USUAL_BAR_G)),
    };
    let Ok(found) = leak_kind(&input) else { return nothing };
    let would_tell = found.next.filter(|_| found.kind.is_none()).map(|next| {
        let again = if points.len() > 1 { "another" } else { "a second" };
        format!("{again} leak-down, at {:.1} bar, would tell the kind of leak", next.pressure.bar())
    });
    let evidence = (points.len() > 1)
        .then(|| readings.last().map(|(entry, _)| evidence(entry, &found, would_tell.as_deref())))
        .flatten();
    Found { evidence, kind: found.kind.map(calc::air::leak_kind::Kind::text), would_tell }
}

/// A rate without what volume and law bring to all rates of the circuit: they multiply each by the same.
fn point(bar_g: f64, result: &LeakDownResult) -> Point {
    let rate = result.uncut_mbar_l_s;
    let of_all = |cause: Cause| matches!(cause, Cause::Volume | Cause::Law);
    let shared: f64 = result.budget.iter().filter(|(cause, _)| of_all(*cause)).map(|(_, share)| share).sum();
    let own = rate.standard * (1.0 - shared).max(0.01).sqrt();
    Point {
        pressure: GaugePressure::from_bar(bar_g.max(0.5)),
        rate_mbar_l_s: Uncertain::new(rate.value, own),
    }
}

fn evidence(entry: &Entry, found: &LeakKind, would_tell: Option<&str>) -> Evidence {
    let shares: Vec<String> = found
        .probabilities
        .iter()
        .map(|(kind, probability)| format!("{} {:.0} %", kind.text(), 100.0 * probability))
        .collect();
    let ratio = found.ratio.as_ref().map_or_else(String::new, |ratio| {
        let (low, high) = (ratio.low.bar(), ratio.high.bar());
        let [crack, hole, ..] = ratio.by_kind.map(|(_, least, _)| least);
        let expected = format!("a narrow crack gives {crack:.1} times, a short hole {hole:.1}");
        ratio.value.map_or_else(
            || format!("At {low:.1} bar no leak was seen for sure, at {high:.1} bar it was; {expected}. "),
            |value| {
                format!(
                    "From {low:.1} to {high:.1} bar the leak grew {:.2} times ({:.2} to {:.2}, the volume cancels); \
                     {expected}. ",
                    value.value, value.low, value.high
                )
            },
        )
    });
    let verdict = match found.kind {
        Some(kind) => format!("Most likely {}.", kind.text()),
        None if found.fits_none => {
            "It fits none of these: two leaks of different kinds, or a leak that changed.".to_owned()
        }
        None => would_tell.map_or_else(
            || "That does not tell the kind.".to_owned(),
            |what| format!("That does not tell the kind; {what}."),
        ),
    };
    Evidence {
        title: "Kind of leak".to_owned(),
        text: format!("{ratio}{} {verdict}", sentence(&shares.join(", "))),
        place: Some(entry.place.clone()),
        sources: vec!["hagen-poiseuille", "white-fluid-mechanics", "en-1779", "fieller-1954"],
        picture: None,
    }
}
