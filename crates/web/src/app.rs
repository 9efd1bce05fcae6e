//! What all pages share, and which page stands at which address.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::response::IntoResponse;
use axum::routing::{get, post};
use bench::finding::Findings;
use store::{AsOf, Reader, Store, StoreError, Write};

use crate::access::{Access, Beyond};
use crate::printer::Printer;
use crate::session::Seal;
use crate::tries::Tries;
use crate::{entry, guard, pages};

/// Largest form that is taken: a pasted trace of an hour at ten samples a second takes a third of it.
const FORM_LIMIT_BYTES: usize = 4 << 20;

/// Judges visits on record.
pub trait Judge: Send + Sync {
    /// What a visit shows, from the record as it stood.
    ///
    /// # Errors
    /// What the record says; tables or findings on record that cannot be read.
    fn findings(
        &self,
        reader: &Reader<'_>,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Findings, JudgeError>;

    /// The write that keeps these findings, made from the record as it stands; none if they are on record.
    ///
    /// # Errors
    /// What the record says.
    fn keep(
        &self,
        reader: &Reader<'_>,
        findings: &Findings,
        at: jiff::Timestamp,
        person: &str,
    ) -> Result<Option<Write>, JudgeError>;
}

/// Why a visit could not be judged.
#[derive(Debug, thiserror::Error)]
pub enum JudgeError {
    /// The record.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// Something on record cannot be read.
    #[error("{0}")]
    Unreadable(String),
}

/// Findings that were judged since the program started, by mould, visit and digest of what they rest on.
pub(crate) type Known = BTreeMap<(String, String, [u8; 32]), Arc<Findings>>;

/// What the pages need.
pub struct App {
    /// The record.
    pub store: Store,
    /// Judges visits.
    pub judge: Box<dyn Judge>,
    /// Signs who is at the bench.
    pub seal: Seal,
    /// Name of the plant, for the head of the pages; may be empty.
    pub plant: String,
    /// What this program calls itself.
    pub program: &'static str,
    pub(crate) known: Mutex<Known>,
    pub(crate) access: Access,
    pub(crate) tries: Tries,
    pub(crate) printer: Option<Box<dyn Printer>>,
}

impl App {
    /// Pages over this record.
    #[must_use]
    pub fn new(
        store: Store,
        judge: Box<dyn Judge>,
        seal: Seal,
        plant: impl Into<String>,
        program: &'static str,
    ) -> Self {
        Self {
            store,
            judge,
            seal,
            plant: plant.into(),
            program,
            known: Mutex::default(),
            access: Access::ThisMachine,
            tries: Tries::default(),
            printer: None,
        }
    }

    /// The same for other machines: every page asks for a sign-in.
    #[must_use]
    pub fn for_network(self, beyond: &Beyond) -> Self {
        Self { access: Access::Network(beyond.clone()), ..self }
    }

    /// The same with something that sets papers; without it there are no papers.
    #[must_use]
    pub fn with_printer(mut self, printer: Option<Box<dyn Printer>>) -> Self {
        self.printer = printer;
        self
    }
}

/// All pages, guarded.
pub fn router(app: App) -> Router {
    let visit = "/moulds/{mould}/visits/{visit}";
    let circuit = format!("{visit}/circuits/{{circuit}}");
    let app = Arc::new(app);
    Router::new()
        .route("/", get(pages::today::page))
        .route("/who", get(pages::who::page).post(pages::who::choose))
        .route("/sign-out", post(pages::who::sign_out))
        .route("/me", get(pages::me::page))
        .route("/me/secret", post(pages::me::set_secret))
        .route("/me/units", post(pages::me::set_units))
        .route("/kept/{key}", get(pages::kept))
        .route("/people", get(pages::people::page).post(pages::people::add))
        .route("/people/{person}", post(pages::people::change))
        .route("/people/{person}/secret", post(pages::people::set_secret))
        .route("/moulds", get(pages::moulds::page))
        .route("/moulds/{mould}", get(pages::mould::page))
        .route("/moulds/{mould}/visits", post(entry::visit::begin))
        .route("/moulds/{mould}/circuits/{circuit}", get(pages::circuit::page))
        .route(visit, get(pages::visit::page))
        .route(&format!("{visit}/sheet"), get(pages::sheet::page))
        .route(&format!("{visit}/hook-up"), post(entry::visit::hook_up))
        .route(&format!("{visit}/end"), post(entry::visit::end))
        .route(&circuit, get(pages::bench::page))
        .route(&format!("{circuit}/gates"), get(pages::gates::page))
        .route(&format!("{circuit}/gates/{{gate}}"), post(entry::gates::decide))
        .route(&format!("{circuit}/gates/{{gate}}/back"), post(entry::gates::take_back))
        .route(&format!("{circuit}/enter/{{form}}"), post(entry::reading::enter))
        .route(&format!("{circuit}/withdraw/{{number}}"), post(entry::reading::withdraw))
        .merge(pages::paper::routes(visit))
        .route("/calculators", get(pages::calculators::list))
        .route("/calculators/{name}", get(pages::calculators::page).post(pages::calculators::answer))
        .route("/assets/style.css", get(style))
        .route("/assets/icon.svg", get(icon))
        .route("/assets/drafts.js", get(drafts))
        .fallback(pages::missing)
        .layer(DefaultBodyLimit::max(FORM_LIMIT_BYTES))
        .layer(from_fn_with_state(Arc::clone(&app), guard::guard))
        .with_state(app)
}

async fn icon() -> impl IntoResponse {
    (
        [("content-type", "image/svg+xml"), ("cache-control", "max-age=86400")],
        include_str!("../assets/icon.svg"),
    )
}

async fn drafts() -> impl IntoResponse {
    let headers = [("content-type", "text/javascript; charset=utf-8"), ("cache-control", "no-cache")];
    (headers, include_str!("../assets/drafts.js"))
}

async fn style() -> impl IntoResponse {
    let headers = [("content-type", "text/css; charset=utf-8"), ("cache-control", "no-cache")];
    (headers, format!("{}\n{}", report::STYLE, include_str!("../assets/page.css")))
}
