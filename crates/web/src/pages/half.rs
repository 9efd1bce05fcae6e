//! A half of a mould: its outline, and the pins on it. Pins are placed by numbers or by a click on the drawing.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Value};
use maud::{Markup, html};
use report::{Outline, Pin, PinKind};
use store::shapes::{LeakCard, OutlineCard, PinCard, SpotCard, WithdrawalCard};
use store::{AsOf, Entry, Fact, Item, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::leaks::{cause_words, leaks_of};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::{OnRecord, on_record};
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::{Typed, number};

/// Largest side of a half, mm (own choice).
const LARGEST_MM: f64 = 10_000.0;
/// Most corners of an outline (own choice).
const CORNERS: usize = 200;

/// A half with what is drawn on it.
pub(crate) struct Drawn {
    pub half: String,
    pub outline: Option<(OutlineCard, u64)>,
    pub pins: Vec<(PinCard, u64)>,
    pub leaks: Vec<(LeakCard, Item)>,
}

/// Outline, pins and leaks of a half.
pub(crate) fn drawn(reader: &Reader<'_>, mould: &str, half: &str) -> Result<Drawn, Problem> {
    let (mut outline, mut pins) = (None, Vec::new());
    for item in reader.items(&Subject::half(mould, half), AsOf::Now)? {
        match item.fact {
            Fact::Outline(card) => outline = Some((card, item.entry.number)),
            Fact::Pin(card) => pins.push((card, item.entry.number)),
            _ => {}
        }
    }
    let newest = reader.visits(Some(mould))?.into_iter().next().map(|row| row.id);
    let mut leaks = leaks_of(reader, mould)?;
    // What an earlier visit has mended is history; what it has not is still there.
    leaks.retain(|(card, _)| {
        let here = card.spot.as_ref().is_none_or(|spot| spot.half == half);
        here && (card.tight_by.is_none() || Some(&card.visit) == newest.as_ref())
    });
    Ok(Drawn { half: half.to_owned(), outline, pins, leaks })
}

impl Drawn {
    /// The drawing, where there is an outline.
    pub(crate) fn drawing(&self) -> Option<Outline> {
        let (outline, _) = self.outline.as_ref()?;
        let kind = |what: &str| match what {
            "inlet" => PinKind::In,
            "outlet" => PinKind::Out,
            "leak" => PinKind::Leak,
            _ => PinKind::Other,
        };
        let pin = |card: &PinCard| {
            let words = what_words(&card.what);
            let label = card
                .circuit
                .as_ref()
                .map_or_else(|| words.to_owned(), |circuit| format!("{circuit} {words}"));
            Pin {
                x_mm: card.x_mm,
                y_mm: card.y_mm,
                kind: kind(&card.what),
                circuit: card.circuit.clone(),
                label,
            }
        };
        let leak = |card: &LeakCard| {
            let spot = card.spot.as_ref().filter(|spot| spot.half == self.half)?;
            let state = if card.tight_by.is_some() { ", tight again" } else { "" };
            let label = format!("{}: {}{state}", card.circuit, cause_words(card.cause));
            Some(Pin {
                x_mm: spot.x_mm,
                y_mm: spot.y_mm,
                kind: PinKind::Leak,
                circuit: Some(card.circuit.clone()),
                label,
            })
        };
        let pins = self.pins.iter().map(|(card, _)| pin(card));
        let pins = pins.chain(self.leaks.iter().filter_map(|(card, _)| leak(card))).collect();
        Outline::new(&outline.corners_mm, pins)
    }
}

fn what_words(what: &str) -> &str {
    match what {
        "inlet" => "IN",
        "outlet" => "OUT",
        other => other,
    }
}

fn address(mould: &str, half: &str) -> String {
    format!("{}/halves/{}", layout::mould(mould), layout::encoded(half))
}

struct Shown {
    on: OnRecord,
    drawn: Drawn,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, mould: &str, half: &str) -> Result<Shown, Problem> {
    let on = on_record(reader, mould)?;
    if !on.half_names().iter().any(|known| known == half) {
        return Err(Problem::Missing(format!("Mould {mould} has no half {half}.")));
    }
    let past = history(reader, &Subject::half(mould, half), &["outline", "pin", "withdrawal"])?;
    Ok(Shown { on, drawn: drawn(reader, mould, half)?, past })
}

/// The page.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, half)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, &mould, &half))?;
        let mut typed = Typed::default();
        if let Some((outline, _)) = &shown.drawn.outline {
            let corners: Vec<String> = outline.corners_mm.iter().map(|(x, y)| format!("{x}; {y}")).collect();
            typed.set("corners", &corners.join("\n"));
        }
        Ok(with(&app, session.as_ref(), &shown, &typed, &[]).into_response())
    })
    .await
}

/// The drawing as a picture that can be clicked.
pub(crate) async fn picture(
    State(app): State<Arc<App>>,
    Path((mould, half)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let drawn = read(&app, |reader| drawn(reader, &mould, &half))?;
        let drawing = drawn.drawing();
        let drawing = drawing.ok_or_else(|| Problem::Missing(format!("Half {half} has no outline yet.")))?;
        let headers = [(header::CONTENT_TYPE, "image/svg+xml"), (header::CACHE_CONTROL, "no-store")];
        Ok((headers, drawing.file(&format!("{mould}, {half}"))).into_response())
    })
    .await
}

fn label(name: &str) -> Option<String> {
    let words = match name {
        "width_mm" => "Width",
        "height_mm" => "Height",
        "corners" => "Corners",
        "reason" => "Why it changes",
        "what" => "What is there",
        "x_mm" => "To the right",
        "y_mm" => "Up",
        _ => return None,
    };
    Some(words.to_owned())
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let (id, half) = (&shown.on.mould.id.0, &shown.drawn.half);
    let here = address(id, half);
    let drawing = shown.drawn.drawing();
    let content = html! {
        h1 { "The " (half) " half of " (id) }
        @match (&drawing, Session::recording(session)) {
            (Some(_), Some(session)) => (place(session, shown, &here, typed, faults)),
            (Some(drawing), None) => div.drawing { (drawing.drawing(&format!("{id}, {half}"))) },
            (None, _) => p.lead { "It has no outline yet. A rectangle of its size will do." },
        }
        @match Session::recording(session) {
            Some(session) => (outline_form(session, shown, &here, typed, faults)),
            None => (no_form(session, &here)),
        }
        @if drawing.is_some() {
            p.quiet { "Seen from the parting line, in mm from the corner that the plant chose. A filled dot is IN, a ring is OUT, a cross is a leak. The dashed line says which belong together, not which way the water takes." }
        }
        @if let Some(session) = Session::recording(session) { (pin_list(session, shown, &here)) }
        (versions(&shown.past))
    };
    let trail = [("Moulds".to_owned(), "/moulds".to_owned()), (id.clone(), layout::mould(id))];
    let title = format!("{id}, {half}");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

/// What can be placed on this half: value and words.
fn choices(shown: &Shown) -> Vec<(String, String)> {
    let mut all = vec![(String::new(), "choose".to_owned())];
    for circuit in shown.on.mould.circuits.iter().filter(|circuit| circuit.half == shown.drawn.half) {
        for (what, words) in [("inlet", "IN"), ("outlet", "OUT")] {
            all.push((format!("{what}|{}", circuit.id), format!("{} {words}", circuit.id)));
        }
    }
    for (card, item) in &shown.drawn.leaks {
        let words =
            format!("leak of {}: {}, entry {}", card.circuit, cause_words(card.cause), item.entry.number);
        all.push((format!("leak|{}", item.root), words));
    }
    all
}

fn place(session: &Session, shown: &Shown, here: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let own: Vec<Fault> = faults
        .iter()
        .filter(|fault| matches!(fault.field.as_str(), "what" | "x_mm" | "y_mm"))
        .cloned()
        .collect();
    let filling = Filling { form: "pin", typed, faults: &own };
    let title = format!("{}, {}: click where it is", shown.on.mould.id, shown.drawn.half);
    html! {
        form.entry.wide method="post" action={ (here) "/pin" } novalidate {
            (summary("pin", &own, label))
            (sealed(session, &fresh_key()))
            div.fields {
                (filling.choice("what", "What is there", "Then click its place in the drawing, or give it in numbers.", &choices(shown)))
                (filling.number("x_mm", "To the right", "", true))
                (filling.number("y_mm", "Up", "", true))
            }
            button type="submit" { "Place it by numbers" }
            div.drawing { input.outline type="image" name="at" src={ (here) "/outline.svg" } alt=(title); }
        }
    }
}

fn outline_form(session: &Session, shown: &Shown, here: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    // Without an outline there is no other form that could show what is wrong with a pin.
    let alone = shown.drawn.drawing().is_none();
    let of_pin = |fault: &Fault| matches!(fault.field.as_str(), "what" | "x_mm" | "y_mm");
    let own: Vec<Fault> = faults.iter().filter(|fault| alone || !of_pin(fault)).cloned().collect();
    let filling = Filling { form: "outline", typed, faults: &own };
    let known = shown.drawn.outline.as_ref().map(|(_, number)| number.to_string());
    let open = known.is_none() || !own.is_empty();
    html! {
        details.form open[open] {
            summary { @if known.is_none() { "Give its size" } @else { "Change its outline" } }
            form.entry method="post" action={ (here) "/outline" } novalidate {
                (summary("outline", &own, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(known.clone().unwrap_or_default());
                div.fields {
                    (filling.number("width_mm", "Width", "A rectangle of this size.", true))
                    (filling.number("height_mm", "Height", "", true))
                    (filling.lines("corners", "Or its corners", "One a line, to the right and up in mm: 120; 80. They count where no width is given.", true))
                    @if known.is_some() { (filling.reason()) }
                }
                button type="submit" { "Record the outline" }
            }
        }
    }
}

fn pin_list(session: &Session, shown: &Shown, here: &str) -> Markup {
    html! {
        @if !shown.drawn.pins.is_empty() {
            details.quiet-part {
                summary { "Pins in numbers" }
                ul.rows { @for (card, number) in &shown.drawn.pins { li {
                    form.inline data-as-typed="numbers" method="post" action={ (here) "/unpin" } {
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="entry" value=(number);
                        (card.circuit.as_deref().unwrap_or_default()) " " (what_words(&card.what)) ": " (card.x_mm) " mm right, " (card.y_mm) " mm up "
                        button.quiet-button type="submit" { "Take it away" }
                    }
                } } }
            }
        }
    }
}

/// Takes the outline.
pub(crate) async fn outline(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, half)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        take(&app, &headers, (&mould, &half), &typed, |shown, typed| {
            let mut faults = Vec::new();
            let corners_mm = corners(typed).unwrap_or_else(|more| {
                faults.extend(more);
                Vec::new()
            });
            if shown.drawn.outline.is_some() && typed.given("reason").is_none() {
                faults.push(Fault::new(
                    "reason",
                    "missing",
                    "a change of what is on record needs its reason",
                ));
            }
            let fact = Fact::Outline(OutlineCard { mould: mould.clone(), half: half.clone(), corners_mm });
            let say = Say { fact, instead_of: typed.get("known").parse().ok() };
            if faults.is_empty() { Ok((say, typed.get("reason").to_owned())) } else { Err(faults) }
        })
    })
    .await
}

/// The corners of the outline: a rectangle of a size, or as typed.
fn corners(typed: &Typed) -> Result<Vec<(f64, f64)>, Vec<Fault>> {
    let side = |name: &str| match typed.given(name).map(number) {
        Some(Value::Number(value)) if value > 0.0 && value <= LARGEST_MM => Ok(value),
        Some(_) => {
            Err(Fault::new(name, "no length", format!("give a number above 0, up to {LARGEST_MM} mm")))
        }
        None => Err(Fault::new(name, "missing", "give width and height, or the corners")),
    };
    if typed.given("width_mm").is_some()
        || typed.given("height_mm").is_some()
        || typed.given("corners").is_none()
    {
        return match (side("width_mm"), side("height_mm")) {
            (Ok(width), Ok(height)) => Ok(vec![(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)]),
            (width, height) => Err([width.err(), height.err()].into_iter().flatten().collect()),
        };
    }
    let corner = |line: &str| {
        let parts: Vec<&str> = line.split([';', '\t']).map(str::trim).collect();
        match parts.as_slice() {
            [x, y] => match (number(x), number(y)) {
                (Value::Number(x), Value::Number(y)) if x.abs() <= LARGEST_MM && y.abs() <= LARGEST_MM => {
                    Some((x, y))
                }
                _ => None,
            },
            _ => None,
        }
    };
    let lines: Vec<&str> = typed.get("corners").lines().filter(|line| !line.trim().is_empty()).collect();
    let mut faults = Vec::new();
    let mut read = Vec::new();
    for (at, line) in lines.iter().enumerate() {
        match corner(line) {
            Some(corner) => read.push(corner),
            None => faults.push(Fault::new(
                "corners",
                format!("line {} is no corner", at + 1),
                "write it like 120; 80",
            )),
        }
    }
    if faults.is_empty() && (read.len() > CORNERS || Outline::new(&read, Vec::new()).is_none()) {
        faults.push(Fault::new(
            "corners",
            "these span no area",
            format!("give 3 to {CORNERS} corners in order"),
        ));
    }
    if faults.is_empty() { Ok(read) } else { Err(faults) }
}

/// Places a pin, by numbers or by a click.
pub(crate) async fn pin(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, half)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, (&mould, &half), &typed, pinned)).await
}

fn pinned(shown: &Shown, typed: &Typed) -> Result<(Say, String), Vec<Fault>> {
    let mut faults = Vec::new();
    let place = spot(shown, typed).unwrap_or_else(|more| {
        faults.extend(more);
        (0.0, 0.0)
    });
    let (x_mm, y_mm) = place;
    let (mould, half) = (shown.on.mould.id.0.clone(), shown.drawn.half.clone());
    let moved = "placed on the drawing".to_owned();
    let say = match typed.get("what").split_once('|') {
        Some(("leak", root)) => {
            let leak = shown.drawn.leaks.iter().find(|(_, item)| item.root.to_string() == root);
            leak.map(|(card, item)| {
                let card = LeakCard { spot: Some(SpotCard { half, x_mm, y_mm }), ..card.clone() };
                Say { fact: Fact::Leak(card), instead_of: Some(item.entry.number) }
            })
        }
        Some((what @ ("inlet" | "outlet"), circuit)) if shown.on.circuit(circuit).is_ok() => {
            let there = shown
                .drawn
                .pins
                .iter()
                .find(|(card, _)| card.what == what && card.circuit.as_deref() == Some(circuit));
            let (what, circuit) = (what.to_owned(), Some(circuit.to_owned()));
            let card = PinCard { mould, half, x_mm, y_mm, what, circuit, visit: None, cause: None };
            Some(Say { fact: Fact::Pin(card), instead_of: there.map(|(_, number)| *number) })
        }
        _ => None,
    };
    match say {
        Some(say) if faults.is_empty() => Ok((say, moved)),
        Some(_) => Err(faults),
        None => {
            faults.insert(0, Fault::new("what", "not chosen", "choose what is there, then click its place"));
            Err(faults)
        }
    }
}

/// The place in mm: typed, or clicked.
fn spot(shown: &Shown, typed: &Typed) -> Result<(f64, f64), Vec<Fault>> {
    let none = || vec![Fault::new("x_mm", "this half has no outline yet", "give its size first")];
    let drawing = shown.drawn.drawing().ok_or_else(none)?;
    let px = |name: &str| typed.get(name).parse::<f64>().ok();
    let clicked = px("at.x").zip(px("at.y")).filter(|at| at.0 > 0.0 || at.1 > 0.0);
    if let Some((x, y)) = clicked {
        let (x_mm, y_mm) = drawing.place_mm(x, y);
        let far =
            || vec![Fault::new("what", "the click lies beside the half", "click on the half or close to it")];
        return drawing.is_near(x_mm, y_mm).then_some((x_mm, y_mm)).ok_or_else(far);
    }
    let one = |name: &str| match typed.given(name).map(number) {
        Some(Value::Number(value)) => Ok(value),
        Some(_) => Err(Fault::new(name, "not a number", "give mm")),
        None => Err(Fault::new(name, "missing", "give it in mm, or click its place in the drawing")),
    };
    match (one("x_mm"), one("y_mm")) {
        (Ok(x), Ok(y)) if drawing.is_near(x, y) => Ok((x, y)),
        (Ok(_), Ok(_)) => {
            Err(vec![Fault::new("x_mm", "this lies beside the half", "give mm from its lower left corner")])
        }
        (x, y) => Err([x.err(), y.err()].into_iter().flatten().collect()),
    }
}

/// Takes a pin away.
pub(crate) async fn unpin(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, half)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        take(&app, &headers, (&mould, &half), &typed, |shown, typed| {
            let number: Option<u64> = typed.get("entry").parse().ok();
            let there = shown.drawn.pins.iter().any(|(_, known)| Some(*known) == number);
            let gone =
                || vec![Fault::new("what", "this pin is not there any more", "look at the drawing again")];
            let number = number.filter(|_| there).ok_or_else(gone)?;
            let about = Subject::half(&mould, &half);
            let fact = Fact::Withdrawal(WithdrawalCard { about });
            Ok((Say { fact, instead_of: Some(number) }, "taken off the drawing".to_owned()))
        })
    })
    .await
}

/// Records what a form of this page says.
fn take(
    app: &App,
    headers: &HeaderMap,
    (mould, half): (&str, &str),
    typed: &Typed,
    understood: impl FnOnce(&Shown, &Typed) -> Result<(Say, String), Vec<Fault>>,
) -> Result<Response, Problem> {
    let here = address(mould, half);
    let sent = Posted::of(app, headers, typed, here.clone())?;
    let done = || Ok(Redirect::to(&here).into_response());
    if sent.before()? {
        return done();
    }
    let shown = read(app, |reader| gather(reader, mould, half))?;
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, typed, faults)));
    let (say, reason) = match understood(&shown, typed) {
        Ok(said) => said,
        Err(faults) => return again(&faults),
    };
    match sent.record(&reason, vec![say], Vec::new())? {
        Ok(()) => done(),
        Err(faults) => again(&faults),
    }
}
