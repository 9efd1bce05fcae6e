//! `borewise serve`: the bench book in a browser.

use std::io;
use std::net::{Ipv4Addr, SocketAddr};

use bench::finding::Findings;
use calc::form::Fault;
use store::{AsOf, Reader, Store, Write};
use web::{App, Judge, JudgeError, Seal, router};

use crate::assess::PROGRAM;
use crate::output::{Failure, Verdict, print};
use crate::record::findings::{self, Stop};
use crate::record::{Place, failed};

/// Where it listens unless told otherwise (own choice).
pub const ADDRESS: &str = "127.0.0.1:8470";
/// File of the key that signs who is at the bench, beside the record.
const KEY: &str = "session.key";

/// Where to listen.
#[derive(Clone, Copy, Debug)]
pub enum Listen {
    /// There, or nowhere.
    At(SocketAddr),
    /// At the usual port of this machine, or at any free one.
    Anywhere,
}

/// Serves the record of a folder until it is interrupted; an empty record is made where there is none.
pub fn run(place: &Place, listen: SocketAddr) -> Result<Verdict, Failure> {
    if !listen.ip().is_loopback() {
        let hint =
            "listen at 127.0.0.1 or [::1]; other machines are let in once there are accounts with passwords";
        let fault = Fault::new("listen", "this address is open to other machines", hint);
        return Err(Failure::input(&fault.with_value(listen.to_string())));
    }
    let file = place.file();
    let store = Store::open_or_create(&file).map_err(|error| failed(&file, &error))?;
    let key = place.folder().join(KEY);
    let seal = Seal::open(&key).map_err(|error| Failure::file("read", &key, &error))?;
    pages(store, seal, "", Listen::At(listen), |_| {})
}

/// Serves these pages until it is interrupted; `ready` is told the address once it answers.
pub fn pages(
    store: Store,
    seal: Seal,
    plant: &str,
    listen: Listen,
    ready: impl FnOnce(&str),
) -> Result<Verdict, Failure> {
    let app = App::new(store, Box::new(FromRecord), seal, plant, PROGRAM);
    let could_not =
        |error: &io::Error| Failure::could(format!("the bench book cannot be served: {error}"), "");
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build();
    runtime.map_err(|error| could_not(&error))?.block_on(async {
        let listener = listener(listen).await?;
        let address = listener.local_addr().map_err(|error| could_not(&error))?;
        let address = format!("http://{address}/");
        print(&format!("The bench book is open at {address}\nCtrl-C closes it."))?;
        ready(&address);
        let served = axum::serve(listener, router(app)).with_graceful_shutdown(interrupted());
        served.await.map_err(|error| could_not(&error))
    })?;
    Ok(Verdict::Done)
}

async fn listener(listen: Listen) -> Result<tokio::net::TcpListener, Failure> {
    let cannot = |address: SocketAddr, error: &io::Error| {
        let hint = "another program may listen there; choose another port with --listen";
        Failure::could(format!("cannot listen at {address}: {error}"), hint)
    };
    let (address, or_any) = match listen {
        Listen::At(address) => (address, false),
        Listen::Anywhere => (usual(), true),
    };
    match tokio::net::TcpListener::bind(address).await {
        Ok(listener) => Ok(listener),
        Err(_) if or_any => {
            let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
            tokio::net::TcpListener::bind(any).await.map_err(|error| cannot(any, &error))
        }
        Err(error) => Err(cannot(address, &error)),
    }
}

fn usual() -> SocketAddr {
    ADDRESS.parse().unwrap_or_else(|_| SocketAddr::from((Ipv4Addr::LOCALHOST, 0)))
}

/// Waits until somebody ends the program from outside.
async fn interrupted() {
    #[cfg(unix)]
    {
        use tokio::signal::unix::{SignalKind, signal};
        if let Ok(mut end) = signal(SignalKind::terminate()) {
            tokio::select! {
                _ = tokio::signal::ctrl_c() => {}
                _ = end.recv() => {}
            }
            return;
        }
    }
    let _ = tokio::signal::ctrl_c().await;
}

/// Judges from the record, with the plant's tables.
struct FromRecord;

impl Judge for FromRecord {
    fn findings(
        &self,
        reader: &Reader<'_>,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Findings, JudgeError> {
        findings::judged(reader, mould, visit, as_of).map_err(|stop| match stop {
            Stop::Store(error) => JudgeError::Store(error),
            Stop::Tables(failure) => JudgeError::Unreadable(failure.text().to_owned()),
        })
    }

    fn keep(
        &self,
        reader: &Reader<'_>,
        findings: &Findings,
        at: jiff::Timestamp,
        person: &str,
    ) -> Result<Option<Write>, JudgeError> {
        Ok(findings::keep(reader, findings, at, person)?)
    }
}
