//! Tells open pages that something was recorded, as server-sent events (WHATWG HTML, 9.2).
//!
//! A write of this process is seen at once, one of another process within [`POLL`]. A stream ends when the program is told to
//! end, when its person is signed out, and after [`LIFE`]; the browser then asks again by itself.

use std::convert::Infallible;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use axum::extract::{Query, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::response::{IntoResponse as _, Response};
use futures_util::stream;
use store::StoreError;
use tokio::sync::{OwnedSemaphorePermit, Semaphore, watch};

use crate::app::App;
use crate::entry::somebody;
use crate::news;
use crate::typed::Typed;

/// How often the record is looked at for what other processes wrote (own choice: hardly any work, and soon enough).
const POLL: Duration = Duration::from_secs(2);
/// Pages that are told at the same time (own choice: ten people with several pages each).
const PLACES: usize = 64;
/// After this long a stream ends, so that whoever asks again is checked anew (own choice).
const LIFE: Duration = Duration::from_secs(15 * 60);
/// A sign of life between events, so that a lost connection is noticed (own choice).
const SIGN_OF_LIFE: Duration = Duration::from_secs(20);
/// Entries that are read at a time.
const AT_A_TIME: u32 = 200;

/// What the streams wait for.
pub(crate) struct Live {
    head: watch::Sender<u64>,
    ending: watch::Sender<bool>,
    places: Arc<Semaphore>,
    looked: Mutex<Option<Instant>>,
}

impl Default for Live {
    fn default() -> Self {
        Self {
            head: watch::Sender::new(0),
            ending: watch::Sender::new(false),
            places: Arc::new(Semaphore::new(PLACES)),
            looked: Mutex::default(),
        }
    }
}

impl Live {
    /// Ends all streams.
    pub(crate) fn end(&self) {
        self.ending.send_replace(true);
    }

    /// Whether nobody looked at the record for a while; whoever asks is the one who looks.
    fn is_due(&self) -> bool {
        let mut looked = self.looked.lock().unwrap_or_else(PoisonError::into_inner);
        let due = looked.is_none_or(|at| at.elapsed() >= POLL / 2);
        if due {
            *looked = Some(Instant::now());
        }
        due
    }
}

/// Looks how far the record reaches, and wakes the streams if it grew.
pub(crate) async fn look(app: &Arc<App>) {
    let asked = Arc::clone(app);
    let read = tokio::task::spawn_blocking(move || asked.store.read(|reader| reader.head())).await;
    if let Ok(Ok(head)) = read {
        app.live.head.send_if_modified(|known| std::mem::replace(known, head.number) != head.number);
    }
}

/// A stream of what is recorded after an entry, for the page at an address.
pub(crate) async fn events(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    let asked = Typed::new(pairs);
    let Ok(place) = Arc::clone(&app.live.places).try_acquire_owned() else {
        let wait = [(header::RETRY_AFTER, "30")];
        return (StatusCode::SERVICE_UNAVAILABLE, wait, "Too many pages are open.\n").into_response();
    };
    let Some(about) = news::About::page(asked.get("page")) else {
        return (StatusCode::NOT_FOUND, "Nothing happens on this page.\n").into_response();
    };
    look(&app).await;
    let known = headers.get("last-event-id").and_then(|value| value.to_str().ok()).unwrap_or_default();
    let entry = |text: &str| text.parse::<u64>().ok();
    let head = app.live.head.subscribe();
    let reaches = *head.borrow();
    let after = entry(known).or_else(|| entry(asked.get("after"))).unwrap_or(reaches).min(reaches);
    let watching = Watching {
        ending: app.live.ending.subscribe(),
        head,
        until: Instant::now() + LIFE,
        after,
        about,
        headers,
        app,
        _place: place,
    };
    if watching.read().await.is_none() {
        return (StatusCode::UNAUTHORIZED, "Say who you are.\n").into_response();
    }
    let told = stream::unfold(watching, Watching::next);
    Sse::new(told).keep_alive(KeepAlive::new().interval(SIGN_OF_LIFE)).into_response()
}

/// One open page.
struct Watching {
    app: Arc<App>,
    headers: HeaderMap,
    about: news::About,
    after: u64,
    head: watch::Receiver<u64>,
    ending: watch::Receiver<bool>,
    until: Instant,
    _place: OwnedSemaphorePermit,
}

impl Watching {
    async fn next(mut self) -> Option<(Result<Event, Infallible>, Self)> {
        loop {
            if *self.ending.borrow() || Instant::now() >= self.until {
                return None;
            }
            let reaches = *self.head.borrow_and_update();
            if self.after < reaches {
                let (read_to, text) = self.read().await?;
                self.after = read_to;
                match text {
                    Some(text) => {
                        return Some((Ok(Event::default().id(read_to.to_string()).data(text)), self));
                    }
                    None => continue,
                }
            }
            tokio::select! {
                ended = self.ending.changed() => ended.ok()?,
                moved = self.head.changed() => moved.ok()?,
                () = tokio::time::sleep(POLL) => if self.app.live.is_due() { look(&self.app).await },
            }
        }
    }

    /// Up to which entry the record was read, and what it says that concerns this page; nothing for somebody who is not
    /// known any more.
    async fn read(&self) -> Option<(u64, Option<String>)> {
        let (app, headers) = (Arc::clone(&self.app), self.headers.clone());
        let (after, about) = (self.after, self.about.clone());
        let work = move || {
            somebody(&app, &headers).ok()??;
            let read = app.store.read(|reader| {
                let entries = reader.entries_after(after, AT_A_TIME)?;
                let people = reader.people()?;
                let read_to = entries.last().map_or(after, |entry| entry.number);
                Ok::<_, StoreError>((read_to, news::told(&entries, &people, &about)))
            });
            read.ok()
        };
        tokio::task::spawn_blocking(work).await.ok()?
    }
}
