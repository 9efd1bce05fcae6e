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
use crate::live::{self, Live};
use crate::printer::Printer;
use crate::session::Seal;
use crate::tries::{Tries, WrongTokens};
use crate::{api, entry, guard, language, pages};

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

    /// The text of a table that the program carries, `limits` or `materials`, for a plant that has none of its own on record;
    /// nothing if it carries none.
    fn shipped(&self, _table: &str) -> Option<String> {
        None
    }
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
    pub(crate) wrong_tokens: WrongTokens,
    pub(crate) live: Arc<Live>,
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
            wrong_tokens: WrongTokens::default(),
            live: Arc::default(),
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
    let (visit, one) = ("/moulds/{mould}/visits/{visit}", "/moulds/{mould}/circuits/{circuit}");
    let circuit = format!("{visit}/circuits/{{circuit}}");
    let app = Arc::new(app);
    Router::new()
        .route("/", get(pages::today::page))
        .route("/who", get(pages::who::page).post(pages::who::choose))
        .route("/sign-out", post(pages::who::sign_out))
        .route("/me", get(pages::me::page))
        .route("/me/secret", post(pages::me::set_secret))
        .route("/me/units", post(pages::me::set_units))
        .route(language::ADDRESS, post(language::choose))
        .route("/kept/{key}", get(pages::kept))
        .route("/people", get(pages::people::page).post(pages::people::add))
        .route("/people/{person}", post(pages::people::change))
        .route("/people/{person}/secret", post(pages::people::set_secret))
        .route("/moulds", get(pages::moulds::page))
        .route("/rigs", get(pages::rigs::page))
        .route("/new-rig", get(pages::rig_edit::new).post(pages::rig_edit::enter_new))
        .route("/rigs/{rig}", get(pages::rig_edit::page).post(pages::rig_edit::enter))
        .route("/new-instrument", get(pages::instrument::new).post(pages::instrument::enter_new))
        .route("/instruments/{instrument}", get(pages::instrument::page).post(pages::instrument::enter))
        .route("/instruments/{instrument}/calibrated", post(pages::instrument::calibrated))
        .route("/instruments/{instrument}/withdraw", post(pages::instrument::withdraw))
        .route("/limits", get(pages::tables::limits).post(pages::tables::enter_limits))
        .route("/materials", get(pages::tables::materials).post(pages::tables::enter_materials))
        .route("/take-in", get(pages::take_in::page).post(pages::take_in::enter))
        .route("/moulds/{mould}", get(pages::mould::page))
        .route("/moulds/{mould}/edit", get(pages::mould_edit::page).post(pages::mould_edit::enter))
        .route("/moulds/{mould}/find", get(pages::find::page).post(pages::find::enter))
        .route("/moulds/{mould}/halves/{half}", get(pages::half::page))
        .route("/moulds/{mould}/halves/{half}/outline.svg", get(pages::half::picture))
        .route("/moulds/{mould}/halves/{half}/outline", post(pages::half::outline))
        .route("/moulds/{mould}/halves/{half}/pin", post(pages::half::pin))
        .route("/moulds/{mould}/halves/{half}/unpin", post(pages::half::unpin))
        .route(&format!("{one}/edit"), get(pages::circuit_edit::page).post(pages::circuit_edit::enter))
        .route(&format!("{one}/edit/gone"), post(pages::circuit_edit::gone))
        .route(&format!("{one}/pieces"), get(pages::pieces::page).post(pages::pieces::enter))
        .route(&format!("{one}/baseline"), get(pages::baseline::page).post(pages::baseline::enter))
        .route("/moulds/{mould}/visits", post(entry::visit::begin))
        .route("/moulds/{mould}/circuits/{circuit}", get(pages::circuit::page))
        .route(visit, get(pages::visit::page))
        .route(&format!("{visit}/sheet"), get(pages::sheet::page))
        .route(&format!("{visit}/hook-up"), get(pages::hook_up::page).post(entry::hook_up::enter))
        .route(&format!("{visit}/leaks"), get(pages::leaks::page))
        .route(&format!("{visit}/leaks/{{leak}}"), post(pages::leaks::enter))
        .route("/photos/{number}", get(pages::photos::bytes))
        .merge(photos(visit, one))
        .route(&format!("{visit}/across"), get(pages::across::page).post(entry::across::enter))
        .route(&format!("{visit}/whole"), get(pages::whole::page))
        .route(&format!("{visit}/whole/enter/{{form}}"), post(pages::whole::enter))
        .route(&format!("{visit}/whole/withdraw/{{number}}"), post(pages::whole::withdraw))
        .route(&format!("{visit}/end"), post(entry::visit::end))
        .route(&circuit, get(pages::bench::page))
        .route(&format!("{circuit}/gates"), get(pages::gates::page))
        .route(&format!("{circuit}/gates/{{gate}}"), post(entry::gates::decide))
        .route(&format!("{circuit}/gates/{{gate}}/back"), post(entry::gates::take_back))
        .route(&format!("{circuit}/enter/{{form}}"), post(entry::reading::enter))
        .route(&format!("{circuit}/withdraw/{{number}}"), post(entry::reading::withdraw))
        .route("/tokens", post(pages::tokens::add))
        .route("/tokens/{name}/revoke", post(pages::tokens::revoke))
        .merge(pages::paper::routes(visit))
        .merge(api::routes())
        .route("/calculators", get(pages::calculators::list))
        .route("/calculators/{name}", get(pages::calculators::page).post(pages::calculators::answer))
        .route("/assets/style.css", get(style))
        .route("/assets/icon.svg", get(icon))
        // Asked for by itself where a document cannot name its icon: JSON, PDF.
        .route("/favicon.ico", get(icon))
        .route("/events", get(live::events))
        .route("/assets/drafts.js", get(|| script(include_str!("../assets/drafts.js"))))
        .route("/assets/live.js", get(|| script(include_str!("../assets/live.js"))))
        .route("/assets/plots.js", get(|| script(include_str!("../assets/plots.js"))))
        .fallback(pages::missing)
        .layer(DefaultBodyLimit::max(FORM_LIMIT_BYTES))
        .layer(from_fn_with_state(Arc::clone(&app), guard::guard))
        .layer(from_fn_with_state(Arc::clone(&app), language::layer))
        .with_state(app)
}

/// Photos are larger than other forms.
fn photos(visit: &str, circuit: &str) -> Router<Arc<App>> {
    Router::new()
        .route(&format!("{visit}/photos"), get(pages::photos::of_visit).post(pages::photos::enter_visit))
        .route(
            &format!("{circuit}/photos"),
            get(pages::photos::of_circuit).post(pages::photos::enter_circuit),
        )
        .layer(DefaultBodyLimit::max(pages::photos::FORM_BYTES))
}

async fn icon() -> impl IntoResponse {
    (
        [("content-type", "image/svg+xml"), ("cache-control", "max-age=86400")],
        include_str!("../assets/icon.svg"),
    )
}

async fn script(text: &'static str) -> impl IntoResponse {
    let headers = [("content-type", "text/javascript; charset=utf-8"), ("cache-control", "no-cache")];
    (headers, text)
}

async fn style() -> impl IntoResponse {
    let headers = [("content-type", "text/css; charset=utf-8"), ("cache-control", "no-cache")];
    let own = [
        include_str!("../assets/page.css"),
        include_str!("../assets/forms.css"),
        include_str!("../assets/live.css"),
    ];
    (headers, format!("{}\n{}", report::STYLE, own.join("\n")))
}
