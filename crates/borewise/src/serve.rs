//! `borewise serve`: the bench book in a browser.

use std::net::SocketAddr;

use bench::finding::Findings;
use calc::form::Fault;
use store::{AsOf, Reader, Store, Write};
use web::{App, Judge, JudgeError, Loopback, Seal};

use crate::assess::PROGRAM;
use crate::output::{Failure, Verdict, print};
use crate::paper::printer;
use crate::record::findings::{self, Stop};
use crate::record::{Place, failed};

/// Port at which it listens unless told otherwise (own choice).
pub const PORT: u16 = 8470;
/// The same with the address of this machine.
pub const ADDRESS: &str = "127.0.0.1:8470";
/// File of the key that signs who is at the bench, beside the record.
const KEY: &str = "session.key";

/// Serves the record of a folder until it is interrupted; an empty record is made where there is none.
pub fn run(place: &Place, listen: SocketAddr, base: Option<String>) -> Result<Verdict, Failure> {
    let Some(address) = Loopback::of(listen) else {
        let hint =
            "listen at 127.0.0.1 or [::1]; other machines are let in once there are accounts with passwords";
        let fault = Fault::new("listen", "this address is open to other machines", hint);
        return Err(Failure::input(&fault.with_value(listen.to_string())));
    };
    let file = place.file();
    let store = Store::open_or_create(&file).map_err(|error| failed(&file, &error))?;
    let key = place.folder().join(KEY);
    let seal = Seal::open(&key).map_err(|error| Failure::file("read", &key, &error))?;
    pages(store, seal, "", base, &[address], |_| {})
}

/// Serves these pages until it is interrupted; `ready` is told the address once it answers.
pub fn pages(
    store: Store,
    seal: Seal,
    plant: &str,
    base: Option<String>,
    addresses: &[Loopback],
    ready: impl FnOnce(&str),
) -> Result<Verdict, Failure> {
    let app = App::new(store, Box::new(FromRecord), seal, plant, PROGRAM).with_printer(printer(plant, base));
    let mut told = Ok(());
    let served = web::serve(app, addresses, |address| {
        let address = format!("http://{address}/");
        told = print(&format!("The bench book is open at {address}\nCtrl-C closes it."));
        ready(&address);
    });
    let hint = "another program may listen there; choose another port with --listen";
    served.map_err(|error| Failure::could(format!("the bench book cannot be opened: {error}"), hint))?;
    told.map(|()| Verdict::Done)
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
