//! A record with one mould, and a browser that keeps its cookies.

// Each file of tests uses what it needs of it.
#![allow(dead_code)]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, LazyLock, Mutex};
use std::time::{Duration, Instant};

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::http::{Request, StatusCode, header};
use bench::finding::Findings;
use bench::mould::{Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::visit::{Rig, Visit};
use calc::hydraulics::piece::Piece;
use calc::quantity::Length;
use exchange::findings_json::{self, Origin, document};
use exchange::tables::read_tables;
use futures_util::StreamExt as _;
use store::read::CertificateNumber;
use store::shapes::{CertificateCard, CircuitFindingCard, FindingCard, Person, PortCard2, Role};
use store::{AsOf, Blob, Fact, Reader, Store, Subject, Write};
use tokio::runtime::Runtime;
use tower::ServiceExt as _;
use web::{App, Beyond, Closed, Judge, JudgeError, PrintError, Printer, Seal, router};

static COUNT: AtomicU32 = AtomicU32::new(0);
static RUNTIME: LazyLock<Runtime> =
    LazyLock::new(|| tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap());

/// A record in a folder of its own, its pages, and somebody's cookie.
pub struct House {
    folder: PathBuf,
    pages: Router,
    record: Store,
    cookie: String,
    owned: bool,
}

/// A stream of events, as far as it has come.
pub struct Stream {
    text: Arc<Mutex<String>>,
    task: tokio::task::JoinHandle<()>,
}

impl Stream {
    pub fn so_far(&self) -> String {
        self.text.lock().unwrap().clone()
    }

    /// Everything so far, once this is in it.
    pub fn wait_for(&self, part: &str, most: Duration) -> String {
        let begun = Instant::now();
        while !self.so_far().contains(part) {
            assert!(begun.elapsed() < most, "no {part} in {:?}", self.so_far());
            std::thread::sleep(Duration::from_millis(10));
        }
        self.so_far()
    }

    pub fn wait_for_end(&self, most: Duration) {
        let begun = Instant::now();
        while !self.task.is_finished() {
            assert!(begun.elapsed() < most, "the stream goes on: {:?}", self.so_far());
            std::thread::sleep(Duration::from_millis(10));
        }
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        self.task.abort();
    }
}

/// What came back.
pub struct Answer {
    pub status: StatusCode,
    pub body: String,
    pub policy: String,
    pub cookies: Vec<String>,
    pub retry_after: String,
    location: String,
}

impl Answer {
    pub fn location(&self) -> &str {
        &self.location
    }
}

impl House {
    /// A record that holds nothing.
    pub fn empty() -> Self {
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder = std::env::temp_dir().join(format!("borewise-pages-{}-{number}", std::process::id()));
        let path = folder.join("record.sqlite");
        let open = || Store::open_or_create(&path).unwrap();
        let record = open();
        let seal = Seal::open(&folder.join("session.key")).unwrap();
        let app = App::new(open(), Box::new(Plainly), seal, "", "test").with_printer(Some(Box::new(Pencil)));
        Self { folder, pages: router(app), record, cookie: String::new(), owned: true }
    }

    /// Mould M/1 with two circuits, on the bench for its first visit; KD is at the bench.
    pub fn with_a_visit() -> Self {
        let mut house = Self::empty();
        let at = "2026-11-24T08:40:00Z".parse().unwrap();
        let mut write = Write::new("person", at, "KD");
        let person = Person { id: "KD".into(), name: "Kim Dale".into(), role: Role::Lead, active: true };
        write.say(Fact::Person(person));
        house.record.write(&write).unwrap();
        let mould = mould();
        let visit = Visit {
            id: "first".into(),
            mould: mould.id.clone(),
            started: at,
            by: "KD".into(),
            rig: Rig::default(),
            hook_ups: vec![],
            entries: vec![],
        };
        house
            .record
            .together(|session| {
                let mut taken = session.reader().take_in_mould(&mould)?;
                taken.and(session.reader().take_in_visit(&visit)?);
                let write = taken.write(&session.reader(), at, "KD", None)?;
                session.write(&write)
            })
            .unwrap();
        let answer = house.post("/who", &[("person", "KD".into())]);
        house.wear(&answer);
        house
    }

    /// Keeps the cookie of an answer.
    pub fn wear(&mut self, answer: &Answer) {
        let pairs = answer.cookies.iter().map(|cookie| cookie.split(';').next().unwrap());
        self.cookie = pairs.collect::<Vec<_>>().join("; ");
    }

    /// Leaves the session, and keeps that somebody signed in with a password at this browser.
    pub fn forget_the_session(&mut self) {
        let bench = self.cookie.split("; ").filter(|pair| pair.starts_with("borewise-bench="));
        self.cookie = bench.collect::<Vec<_>>().join("; ");
    }

    /// Puts people on record.
    pub fn add_people(&self, people: &[(&str, &str, Role)]) {
        for (id, name, role) in people {
            let person = Person { id: (*id).into(), name: (*name).into(), role: *role, active: true };
            let mut write = Write::new(format!("person-{id}"), "2026-11-24T08:41:00Z".parse().unwrap(), "KD");
            write.say(Fact::Person(person));
            self.record.write(&write).unwrap();
        }
    }

    /// The record itself.
    pub fn record(&self) -> &Store {
        &self.record
    }

    /// The same record as other machines see it, with the same key, and the cookies so far.
    pub fn open_to_others(&self) -> Result<Self, Closed> {
        let store = Store::open(self.record.path()).unwrap();
        let beyond = Beyond::of("0.0.0.0:8470".parse().unwrap(), &["bench.example".to_owned()], &store)?;
        let seal = Seal::open(&self.folder.join("session.key")).unwrap();
        let app = App::new(store, Box::new(Plainly), seal, "", "test").for_network(&beyond);
        let record = Store::open(self.record.path()).unwrap();
        let (folder, cookie) = (self.folder.clone(), self.cookie.clone());
        Ok(Self { folder, pages: router(app), record, cookie, owned: false })
    }

    /// The same pages for somebody who is not known.
    pub fn without_cookie(&self) -> Self {
        let record = Store::open(self.record.path()).unwrap();
        Self {
            folder: self.folder.clone(),
            pages: self.pages.clone(),
            record,
            cookie: String::new(),
            owned: false,
        }
    }

    pub fn get(&self, address: &str) -> Answer {
        self.ask(Request::get(address).header("host", "localhost:8470"), Body::empty())
    }

    /// Asks as a program that bears this token.
    pub fn get_as(&self, token: &str, address: &str) -> Answer {
        let request = Request::get(address).header("host", "localhost:8470");
        self.ask(request.header("authorization", format!("Bearer {token}")), Body::empty())
    }

    /// Sends a document as a program that bears this token.
    pub fn send_as(&self, token: &str, address: &str, key: &str, body: &serde_json::Value) -> Answer {
        self.send_text_as(token, address, key, "application/json", &body.to_string())
    }

    /// The same with any text.
    pub fn send_text_as(&self, token: &str, address: &str, key: &str, kind: &str, body: &str) -> Answer {
        let request = Request::post(address).header("host", "localhost:8470").header("content-type", kind);
        let mut request = request.header("authorization", format!("Bearer {token}"));
        if !key.is_empty() {
            request = request.header("idempotency-key", key);
        }
        self.ask(request, Body::from(body.to_owned()))
    }

    pub fn post(&self, address: &str, pairs: &[(&str, String)]) -> Answer {
        self.post_with(address, pairs, "x-plain", "1")
    }

    /// A form with one header otherwise.
    pub fn post_with(&self, address: &str, pairs: &[(&str, String)], name: &str, value: &str) -> Answer {
        let mut headers = BTreeMap::from([("host", "localhost:8470"), ("origin", "http://localhost:8470")]);
        headers.insert(name, value);
        let mut request = Request::post(address).header("content-type", "application/x-www-form-urlencoded");
        for (name, value) in headers {
            request = request.header(name, value);
        }
        let code = |text: &str| text.bytes().map(|byte| format!("%{byte:02X}")).collect::<String>();
        let body = pairs
            .iter()
            .map(|(name, text)| format!("{}={}", code(name), code(text)))
            .collect::<Vec<_>>()
            .join("&");
        self.ask(request, Body::from(body))
    }

    /// A form with files: name of the field, name of the file, bytes.
    pub fn post_files(
        &self,
        address: &str,
        pairs: &[(&str, String)],
        files: &[(&str, &str, &[u8])],
    ) -> Answer {
        let mut body: Vec<u8> = Vec::new();
        for (name, text) in pairs {
            let head = format!("--edge\r\ncontent-disposition: form-data; name=\"{name}\"\r\n\r\n{text}\r\n");
            body.extend(head.as_bytes());
        }
        for (name, file, bytes) in files {
            let head = format!(
                "--edge\r\ncontent-disposition: form-data; name=\"{name}\"; filename=\"{file}\"\r\n\r\n"
            );
            body.extend(head.as_bytes());
            body.extend(*bytes);
            body.extend(b"\r\n");
        }
        body.extend(b"--edge--\r\n");
        let request = Request::post(address)
            .header("host", "localhost:8470")
            .header("origin", "http://localhost:8470")
            .header("content-type", "multipart/form-data; boundary=edge");
        self.ask(request, Body::from(body))
    }

    /// A form of a page, with its token and a key of its own.
    pub fn send(&self, page: &str, address: &str, pairs: &[(&str, &str)]) -> Answer {
        let mut form = vec![("token", self.token(page)), ("key", self.fresh_key())];
        form.extend(pairs.iter().map(|(name, value)| (*name, (*value).to_owned())));
        self.post(address, &form)
    }

    /// A stream of events at this address.
    pub fn listen(&self, address: &str) -> Stream {
        let request = Request::get(address).header("host", "localhost:8470").header("cookie", &self.cookie);
        let (pages, request) = (self.pages.clone(), request.body(Body::empty()).unwrap());
        let response = RUNTIME.block_on(async { pages.oneshot(request).await.unwrap() });
        assert_eq!(response.status(), StatusCode::OK, "{address}");
        let text = Arc::new(Mutex::new(String::new()));
        let kept = Arc::clone(&text);
        let task = RUNTIME.spawn(async move {
            let mut chunks = response.into_body().into_data_stream();
            while let Some(Ok(chunk)) = chunks.next().await {
                kept.lock().unwrap().push_str(std::str::from_utf8(&chunk).unwrap());
            }
        });
        Stream { text, task }
    }

    /// Media type and bytes of something that is no page.
    pub fn bytes(&self, address: &str) -> (String, Vec<u8>) {
        let request = Request::get(address).header("host", "localhost:8470").body(Body::empty()).unwrap();
        RUNTIME.block_on(async {
            let response = self.pages.clone().oneshot(request).await.unwrap();
            let kind = response.headers().get(header::CONTENT_TYPE).unwrap().to_str().unwrap().to_owned();
            (kind, to_bytes(response.into_body(), 1 << 26).await.unwrap().to_vec())
        })
    }

    /// First entries of the readings of the first visit.
    pub fn reading_roots(&self) -> Vec<String> {
        self.reading_numbers().iter().map(u64::to_string).collect()
    }

    /// What stands on record about a subject.
    pub fn facts(&self, subject: &Subject) -> Vec<Fact> {
        let items = self.record.read(|reader| reader.items(subject, AsOf::Now)).unwrap();
        items.into_iter().map(|item| item.fact).collect()
    }

    fn ask(&self, mut request: axum::http::request::Builder, body: Body) -> Answer {
        if !self.cookie.is_empty() {
            request = request.header("cookie", &self.cookie);
        }
        RUNTIME.block_on(async {
            let response = self.pages.clone().oneshot(request.body(body).unwrap()).await.unwrap();
            let text = |name: header::HeaderName| {
                response.headers().get(name).map_or(String::new(), |value| value.to_str().unwrap().to_owned())
            };
            let (location, policy) = (text(header::LOCATION), text(header::CONTENT_SECURITY_POLICY));
            let retry_after = text(header::RETRY_AFTER);
            let set = response.headers().get_all(header::SET_COOKIE).iter();
            let cookies = set.map(|value| value.to_str().unwrap().to_owned()).collect();
            let status = response.status();
            let bytes = to_bytes(response.into_body(), 1 << 24).await.unwrap();
            let body = String::from_utf8(bytes.to_vec()).unwrap();
            Answer { status, body, policy, cookies, retry_after, location }
        })
    }

    /// The token that the forms of a page carry.
    pub fn token(&self, page: &str) -> String {
        let body = self.get(page).body;
        body.split("name=\"token\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
    }

    /// A key that no form had before.
    pub fn fresh_key(&self) -> String {
        format!("{:032x}", COUNT.fetch_add(1, Ordering::Relaxed))
    }

    /// Readings that hold in the first visit.
    pub fn readings(&self) -> usize {
        self.reading_numbers().len()
    }

    pub fn newest_reading(&self) -> u64 {
        *self.reading_numbers().last().unwrap()
    }

    fn reading_numbers(&self) -> Vec<u64> {
        let items =
            self.record.read(|reader| reader.items(&Subject::visit("M/1", "first"), AsOf::Now)).unwrap();
        items
            .iter()
            .filter(|item| matches!(item.fact, Fact::Reading(_)))
            .map(|item| item.entry.number)
            .collect()
    }

    pub fn newest_finding(&self) -> FindingCard {
        let items =
            self.record.read(|reader| reader.items(&Subject::visit("M/1", "first"), AsOf::Now)).unwrap();
        let cards = items.into_iter().filter_map(|item| match item.fact {
            Fact::Finding(card) => Some(card),
            _ => None,
        });
        cards.max_by_key(|card| card.known_to).unwrap()
    }
}

impl Drop for House {
    fn drop(&mut self) {
        if self.owned {
            let _ = std::fs::remove_dir_all(&self.folder);
        }
    }
}

fn mould() -> Mould {
    let circuit = |id: &str| Circuit {
        id: CircuitId(id.into()),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![],
        neighbours: vec![],
        baseline: None,
        pieces: vec![Piece::Bore {
            diameter: Length::from_mm(10.0),
            length: Length::from_mm(800.0),
            roughness: Length::from_um(10.0),
        }],
        known: Known::Drawing,
        rough_bore: None,
        rough_length: None,
        earlier: vec![],
    };
    Mould {
        id: MouldId("M/1".into()),
        name: "Lid <4 cavities>".into(),
        process: Process::InjectionMoulding,
        circuits: vec![circuit("F1"), circuit("F2")],
    }
}

/// Writes papers as a few words.
struct Pencil;

impl Printer for Pencil {
    fn issue(
        &self,
        store: &Store,
        mould: &str,
        visit: &str,
        by: &str,
        at: jiff::Timestamp,
        asked_at: &str,
    ) -> Result<CertificateNumber, PrintError> {
        let (row, number) = store.read(|reader| {
            let row = reader.findings(mould)?.into_iter().find(|row| row.visit == visit);
            let row = row.ok_or(store::StoreError::NothingToWrite)?;
            let number = reader.certificate_number(mould, visit, &row.method, AsOf::Entry(row.known_to))?;
            Ok((row, number))
        })?;
        let blob = Blob::new(format!("certificate {number} for {asked_at}").into_bytes());
        let mut write = Write::new(number.key(), at, by);
        write.bring([blob.clone()]).say(Fact::Certificate(CertificateCard {
            mould: mould.to_owned(),
            visit: visit.to_owned(),
            finding: row.root,
            document: blob.digest(),
            media_type: "application/pdf".into(),
        }));
        store.write(&write)?;
        Ok(number)
    }

    fn visit_sheet(&self, findings: &Findings, _: &str) -> Result<Vec<u8>, PrintError> {
        Ok(format!("sheet of {}", findings.visit).into_bytes())
    }

    fn hook_up_sheet(&self, findings: &Findings, ports: &[PortCard2]) -> Result<Vec<u8>, PrintError> {
        Ok(format!("hoses of {} on {} ports", findings.visit, ports.len()).into_bytes())
    }

    fn tags(
        &self,
        mould: &Mould,
        _: jiff::Timestamp,
        asked_at: &str,
        address: &dyn Fn(&str) -> String,
    ) -> Result<Vec<u8>, PrintError> {
        let all = mould.circuits.iter().map(|circuit| format!("{asked_at}{}", address(&circuit.id.0)));
        Ok(all.collect::<Vec<_>>().join("\n").into_bytes())
    }
}

/// Judges with the shipped tables.
struct Plainly;

impl Judge for Plainly {
    fn findings(
        &self,
        reader: &Reader<'_>,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Findings, JudgeError> {
        let mut files = BTreeMap::new();
        for name in ["limits", "materials"] {
            let text = reader.table(name, as_of)?.or_else(|| self.shipped(name)).unwrap();
            files.insert(format!("{name}.toml"), text.into_bytes());
        }
        let tables = read_tables(&files, "limits.toml", "materials.toml")
            .map_err(|faults| JudgeError::Unreadable(faults.to_string()))?;
        let (tool, stay) = (reader.mould(mould, as_of)?, reader.visit(mould, visit, as_of)?);
        let overrides = reader.overrides(mould, visit, as_of)?;
        Ok(bench::judge::assess_with(&tool, &stay, &tables, &overrides))
    }

    fn shipped(&self, table: &str) -> Option<String> {
        Some(
            match table {
                "limits" => include_str!("../../../../data/limits/default.toml"),
                _ => include_str!("../../../../data/materials/materials.toml"),
            }
            .to_owned(),
        )
    }

    fn keep(
        &self,
        reader: &Reader<'_>,
        findings: &Findings,
        at: jiff::Timestamp,
        person: &str,
    ) -> Result<Option<Write>, JudgeError> {
        let (mould, visit) = (findings.mould.0.as_str(), findings.visit.as_str());
        let inputs = reader.inputs_of(mould, visit, AsOf::Now)?;
        let origin = Origin { program: "test", digest: "", inputs: &[] };
        let blob = Blob::new(document(findings, origin).to_string().into_bytes());
        let circuit = |found: &bench::finding::CircuitFinding| CircuitFindingCard {
            circuit: found.id.0.clone(),
            tightness: findings_json::tightness(found.tightness).to_owned(),
            passage: findings_json::passage(found.passage).to_owned(),
            flow_factor_m3_h: None,
            against_baseline_percent: None,
            next_step: findings_json::next_step(found.next_step).to_owned(),
            reason: found.reason.clone(),
        };
        let mut write = Write::new(format!("finding-{}", reader.head()?), at, person);
        write.bring([blob.clone()]).say(Fact::Finding(FindingCard {
            mould: mould.to_owned(),
            visit: visit.to_owned(),
            method: findings.method.to_owned(),
            program: "test".into(),
            known_to: reader.head()?.number,
            inputs,
            document: blob.digest(),
            fit_for_press: "no".into(),
            headline: findings.headline.clone(),
            circuits: findings.circuits.iter().map(circuit).collect(),
        }));
        Ok(Some(write))
    }
}
