//! `borewise serve`: the bench book in a browser.

use std::net::SocketAddr;

use bench::finding::Findings;
use bench::judge::Memory;
use calc::form::Fault;
use store::{AsOf, Reader, Store, Write};
use web::{App, Beyond, Closed, Judge, JudgeError, Loopback, Seal};

use crate::assess::PROGRAM;
use crate::output::{Failure, Verdict, print};
use crate::paper::printer;
use crate::record::findings::{self, Stop};
use crate::record::{Place, failed};
use crate::tables;

/// Port at which it listens unless told otherwise (own choice).
pub const PORT: u16 = 8470;
/// The same with the address of this machine.
pub const ADDRESS: &str = "127.0.0.1:8470";
/// File of the key that signs who is at the bench, beside the record.
const KEY: &str = "session.key";

/// Serves the record of a folder until it is interrupted; an empty record is made where there is none. Other machines are
/// let in, and then everybody signs in, where the address is open to them or `hosts` names this machine.
pub fn run(
    place: &Place,
    listen: SocketAddr,
    hosts: &[String],
    base: Option<String>,
) -> Result<Verdict, Failure> {
    let file = place.file();
    let seal = || {
        let key = place.folder().join(KEY);
        Seal::open(&key).map_err(|error| Failure::file("read", &key, &error))
    };
    match Loopback::of(listen).filter(|_| hosts.is_empty()) {
        Some(address) => {
            let store = Store::open_or_create(&file).map_err(|error| failed(&file, &error))?;
            pages(store, seal()?, "", base, &[address], |_| {})
        }
        None => {
            if !file.is_file() {
                return Err(closed(&Closed::Nobody, listen));
            }
            let store = Store::open(&file).map_err(|error| failed(&file, &error))?;
            let beyond = Beyond::of(listen, hosts, &store).map_err(|why| closed(&why, listen))?;
            network(store, seal()?, &beyond, base)
        }
    }
}

/// Why the pages are not opened to other machines.
fn closed(why: &Closed, listen: SocketAddr) -> Failure {
    let (field, value) = match why {
        Closed::BadHost(name) => ("host", name.clone()),
        _ => ("listen", listen.to_string()),
    };
    let hint = "without --listen and --host the bench book is open to this machine alone";
    let fault = Fault::new(field, format!("not opened to other machines: {why}"), hint);
    Failure::input(&fault.with_value(value))
}

/// Serves to other machines until it is interrupted.
fn network(store: Store, seal: Seal, beyond: &Beyond, base: Option<String>) -> Result<Verdict, Failure> {
    let app =
        App::new(store, Box::<FromRecord>::default(), seal, "", PROGRAM).with_printer(printer("", base));
    let mut told = Ok(());
    let served = web::serve_network(app, beyond, |address| {
        told = print(&format!(
            "The bench book is open to other machines at http://{address}/ and asks everybody to sign in.\nWhat is typed \
             travels as it is: in a network that is not your own, put something that speaks TLS in front.\nCtrl-C closes it."
        ));
    });
    served.map_err(|error| unheard(&error))?;
    told.map(|()| Verdict::Done)
}

fn unheard(error: &std::io::Error) -> Failure {
    let hint = "another program may listen there; choose another port with --listen";
    Failure::could(format!("the bench book cannot be opened: {error}"), hint)
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
    let app = App::new(store, Box::<FromRecord>::default(), seal, plant, PROGRAM)
        .with_printer(printer(plant, base));
    let mut told = Ok(());
    let served = web::serve(app, addresses, |address| {
        let address = format!("http://{address}/");
        told = print(&format!("The bench book is open at {address}\nCtrl-C closes it."));
        ready(&address);
    });
    served.map_err(|error| unheard(&error))?;
    told.map(|()| Verdict::Done)
}

/// Judges from the record, with the plant's tables.
#[derive(Default)]
struct FromRecord {
    /// What was worked out for the visits on the bench.
    memory: Memory,
}

impl Judge for FromRecord {
    fn findings(
        &self,
        reader: &Reader<'_>,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Findings, JudgeError> {
        findings::judged_again(reader, mould, visit, as_of, &self.memory).map_err(|stop| match stop {
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

    fn shipped(&self, table: &str) -> Option<String> {
        let name = if table == "limits" { tables::LIMITS } else { tables::MATERIALS };
        tables::files().remove(name).and_then(|bytes| String::from_utf8(bytes).ok())
    }
}
