//! Photos of a visit with its leaks, and of a circuit.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::moment;
use store::shapes::{PhotoCard2, WithdrawalCard};
use store::{AsOf, Blob, Entry, Fact, Item, Reader, Subject};

use super::edit::Filling;
use super::leaks::{cause_words, leaks_in};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::say::{Posted, Say};
use crate::entry::somebody;
use crate::forms::{id, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::picture::{NoPicture, picture};
use crate::problem::Problem;
use crate::sent::Sent;
use crate::session::{Session, fresh_key};
use crate::typed::Typed;

/// Largest photo that is taken, bytes (own choice: a phone's largest are half of it).
const LARGEST_BYTES: usize = 16 << 20;
/// The form around it.
pub(crate) const FORM_BYTES: usize = LARGEST_BYTES + (64 << 10);

/// What photos are of.
#[derive(Clone)]
pub(crate) enum About {
    Visit(String, String),
    Circuit(String, String),
}

impl About {
    fn subject(&self) -> Subject {
        match self {
            Self::Visit(mould, visit) => Subject::visit(mould, visit),
            Self::Circuit(mould, circuit) => Subject::circuit(mould, circuit),
        }
    }

    fn address(&self) -> String {
        match self {
            Self::Visit(mould, visit) => format!("{}/photos", layout::visit(mould, visit)),
            Self::Circuit(mould, circuit) => format!("{}/photos", layout::circuit(mould, circuit)),
        }
    }

    fn words(&self) -> String {
        match self {
            Self::Visit(mould, visit) => format!("visit {visit} of {mould}"),
            Self::Circuit(mould, circuit) => format!("circuit {circuit} of {mould}"),
        }
    }

    fn trail(&self) -> [(String, String); 3] {
        let (mould, last) = match self {
            Self::Visit(mould, visit) => (mould, (format!("Visit {visit}"), layout::visit(mould, visit))),
            Self::Circuit(mould, circuit) => (mould, (circuit.clone(), layout::circuit(mould, circuit))),
        };
        [("Moulds".to_owned(), "/moulds".to_owned()), (mould.clone(), layout::mould(mould)), last]
    }
}

/// A photo on record.
struct Photo {
    entry: Entry,
    caption: String,
    shows: Option<u64>,
    taken_out: Vec<String>,
}

struct Shown {
    about: About,
    photos: Vec<Photo>,
    /// Leaks that a photo may show: root and words.
    leaks: Vec<(u64, String)>,
}

fn photo(item: Item) -> Option<Photo> {
    let (caption, shows, taken_out) = match item.fact {
        Fact::Photo(card) => (card.caption, None, Vec::new()),
        Fact::Photo2(card) => (card.caption, card.shows, card.taken_out),
        _ => return None,
    };
    Some(Photo { entry: item.entry, caption, shows, taken_out })
}

fn gather(reader: &Reader<'_>, about: &About) -> Result<Shown, Problem> {
    let items = reader.items(&about.subject(), AsOf::Now)?;
    if items.is_empty() {
        return Err(Problem::Missing(format!("There is no {}.", about.words())));
    }
    let leaks = match about {
        About::Visit(mould, visit) => leaks_in(reader, mould, visit)?,
        About::Circuit(..) => Vec::new(),
    };
    let words = |(card, item): (store::shapes::LeakCard, Item)| {
        (item.root, format!("leak of {}: {}", card.circuit, cause_words(card.cause)))
    };
    let photos = items.into_iter().filter_map(photo).collect();
    Ok(Shown { about: about.clone(), photos, leaks: leaks.into_iter().map(words).collect() })
}

/// Photos of a visit.
pub(crate) async fn of_visit(
    state: State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
) -> Response {
    page(state, headers, About::Visit(mould, visit)).await
}

/// Photos of a circuit.
pub(crate) async fn of_circuit(
    state: State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
) -> Response {
    page(state, headers, About::Circuit(mould, circuit)).await
}

async fn page(State(app): State<Arc<App>>, headers: HeaderMap, about: About) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, &about))?;
        Ok(with(&app, session.as_ref(), &shown, &Typed::default(), &[]).into_response())
    })
    .await
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let here = shown.about.address();
    let content = html! {
        h1 { "Photos of " (shown.about.words()) }
        @if shown.photos.is_empty() { p { "None yet." } }
        div.photos { @for one in &shown.photos { (figure(session, shown, one, &here)) } }
        @match Session::recording(session) {
            Some(session) => (form(session, shown, &here, typed, faults)),
            None => (no_form(session, &here)),
        }
    };
    let trail = shown.about.trail();
    let title = format!("Photos of {}", shown.about.words());
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn figure(session: Option<&Session>, shown: &Shown, one: &Photo, here: &str) -> Markup {
    let way = format!("/photos/{}", one.entry.number);
    let leak = one.shows.and_then(|root| shown.leaks.iter().find(|(known, _)| *known == root));
    html! {
        figure {
            a href=(way) { img src=(way) alt=(one.caption) loading="lazy"; }
            figcaption data-as-typed="numbers" {
                span translate="no" { (one.caption) }
                span.under {
                    @if let Some((_, words)) = leak { (words) " · " }
                    "entry " (one.entry.number) ", " (one.entry.person) ", " (moment(one.entry.at()))
                    @if !one.taken_out.is_empty() { " · taken out of its file: " (one.taken_out.join(", ")) }
                }
            }
            @if let Some(session) = Session::recording(session) {
                details {
                    summary { "Withdraw" }
                    form.entry method="post" enctype="multipart/form-data" action=(here) data-form=(one.entry.number) novalidate {
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="entry" value=(one.entry.number);
                        @let name = format!("withdraw-{}", one.entry.number);
                        (Filling { form: &name, typed: &Typed::default(), faults: &[] }.line("reason", "Why it does not hold", "The photo stays in the history.", false))
                        button type="submit" { "Withdraw this photo" }
                    }
                }
            }
        }
    }
}

fn form(session: &Session, shown: &Shown, here: &str, typed: &Typed, faults: &[Fault]) -> Markup {
    let filling = Filling { form: "photo", typed, faults };
    let label = |name: &str| match name {
        "photo" => Some("Photo".to_owned()),
        "caption" => Some("What is to be seen".to_owned()),
        "reason" => Some("Why it does not hold".to_owned()),
        _ => None,
    };
    let mut leaks = vec![(String::new(), "none in particular".to_owned())];
    leaks.extend(shown.leaks.iter().map(|(root, words)| (root.to_string(), words.clone())));
    let (field, own) = (id("photo", "photo"), faults.iter().find(|fault| fault.field == "photo"));
    html! {
        section aria-labelledby="add" {
            h2 #add { "Add a photo" }
            form.entry method="post" enctype="multipart/form-data" action=(here) novalidate {
                (summary("photo", faults, label))
                (sealed(session, &fresh_key()))
                div.fields {
                    div.field.wrong[own.is_some()] {
                        label for=(field) { "Photo" }
                        input.file id=(field) type="file" name="photo" accept="image/jpeg,image/png" aria-invalid=[own.map(|_| "true")] aria-describedby={ (field) "-help" };
                        p.help id={ (field) "-help" } { "JPEG or PNG, up to 16 MB. Place, time and names that a camera wrote into it are taken out." }
                        @if let Some(fault) = own { div.problem { p { (crate::forms::in_words(fault)) } } }
                    }
                    (filling.line("caption", "What is to be seen", "", false))
                    @if !shown.leaks.is_empty() { (filling.choice("shows", "Which leak it shows", "", &leaks)) }
                }
                button type="submit" { "Record the photo" }
            }
        }
    }
}

/// Takes a photo of a visit.
pub(crate) async fn enter_visit(
    state: State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    sent: Sent,
) -> Response {
    enter(state, headers, About::Visit(mould, visit), sent).await
}

/// Takes a photo of a circuit.
pub(crate) async fn enter_circuit(
    state: State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, circuit)): Path<(String, String)>,
    sent: Sent,
) -> Response {
    enter(state, headers, About::Circuit(mould, circuit), sent).await
}

async fn enter(State(app): State<Arc<App>>, headers: HeaderMap, about: About, sent: Sent) -> Response {
    blocking(move || take(&app, &headers, &about, &sent)).await
}

fn take(app: &App, headers: &HeaderMap, about: &About, sent: &Sent) -> Result<Response, Problem> {
    let typed = &sent.typed;
    let here = about.address();
    let form = Posted::of(app, headers, typed, here.clone())?;
    let done = || Ok(Redirect::to(&here).into_response());
    if form.before()? {
        return done();
    }
    let shown = read(app, |reader| gather(reader, about))?;
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&form.session), &shown, typed, faults)));
    let said = match typed.given("entry") {
        Some(entry) => withdrawn(&shown, entry, typed),
        None => new_photo(&shown, sent),
    };
    let (say, blobs) = match said {
        Ok(said) => said,
        Err(faults) => return again(&faults),
    };
    let reason = typed.get("reason");
    match form.record(reason, vec![say], blobs)? {
        Ok(()) => done(),
        Err(faults) => again(&faults),
    }
}

type Said = (Say, Vec<Blob>);

fn withdrawn(shown: &Shown, entry: &str, typed: &Typed) -> Result<Said, Vec<Fault>> {
    let there = shown.photos.iter().find(|photo| photo.entry.number.to_string() == entry);
    let gone = || vec![Fault::new("", "this photo is not here any more", "look at the page again")];
    let number = there.ok_or_else(gone)?.entry.number;
    if typed.given("reason").is_none() {
        return Err(vec![Fault::new("reason", "missing", "say why it does not hold")]);
    }
    let fact = Fact::Withdrawal(WithdrawalCard { about: shown.about.subject() });
    Ok((Say { fact, instead_of: Some(number) }, Vec::new()))
}

fn new_photo(shown: &Shown, sent: &Sent) -> Result<Said, Vec<Fault>> {
    let typed = &sent.typed;
    let mut faults = Vec::new();
    let file = sent.files.iter().find(|file| file.field == "photo");
    let read = match file {
        None => Err(("missing", "choose a file, or take a photo")),
        Some(file) if file.bytes.len() > LARGEST_BYTES => Err(("too large", "give up to 16 MB")),
        Some(file) => picture(&file.bytes).map_err(|problem| match problem {
            NoPicture::Foreign => ("neither JPEG nor PNG", "let the camera save JPEG"),
            NoPicture::Broken => ("the file is broken or breaks off", "send it again"),
        }),
    };
    if typed.given("caption").is_none() {
        faults.push(Fault::new("caption", "missing", "say what is to be seen"));
    }
    let read = read.map_err(|(problem, hint)| faults.push(Fault::new("photo", problem, hint)));
    let shows = typed.given("shows").and_then(|text| text.parse().ok());
    let shows = shows.filter(|root| shown.leaks.iter().any(|(known, _)| known == root));
    let (Ok(read), true) = (read, faults.is_empty()) else { return Err(faults) };
    let blob = Blob::new(read.bytes);
    let card = PhotoCard2 {
        about: shown.about.subject(),
        shows,
        picture: blob.digest(),
        media_type: read.media_type.to_owned(),
        caption: typed.get("caption").to_owned(),
        taken_out: read.taken_out,
    };
    Ok((Say::new(Fact::Photo2(card)), vec![blob]))
}

/// The picture of an entry.
pub(crate) async fn bytes(State(app): State<Arc<App>>, Path(number): Path<u64>) -> Response {
    blocking(move || {
        let (media_type, bytes) = read(&app, |reader| {
            let (media_type, digest) = match reader.entry(number)?.fact()? {
                Fact::Photo(card) => (card.media_type, card.picture),
                Fact::Photo2(card) => (card.media_type, card.picture),
                _ => return Err(Problem::Missing(format!("Entry {number} is no photo."))),
            };
            Ok((media_type, reader.blob(digest)?))
        })?;
        // What came into the record by another way keeps its word only where a browser shows it as a picture.
        let known = ["image/jpeg", "image/png", "image/webp"].into_iter().find(|known| *known == media_type);
        let headers = [
            (header::CONTENT_TYPE, known.unwrap_or("application/octet-stream")),
            (header::CACHE_CONTROL, "private, max-age=31536000, immutable"),
        ];
        Ok((headers, bytes).into_response())
    })
    .await
}
