//! Prints for the bench book.

use bench::finding::Findings;
use bench::mould::{Circuit, CircuitId, Mould};
use paper::{HookUpSheet, HosedPort, PaperError, Tag, VisitSheet, hook_up_sheet, tags, visit_sheet};
use store::Store;
use store::read::CertificateNumber;
use store::shapes::PortCard2;
use web::{PrintError, Printer};

use super::issue::{Order, Trouble, issue};
use crate::assess::PROGRAM;

/// Sets papers as PDF.
pub struct Pdf {
    /// Name of the plant; may be empty.
    pub plant: String,
    /// Address of the bench book on papers; none: that of the page that asked for the paper.
    pub base: Option<String>,
}

impl Pdf {
    fn base<'a>(&'a self, asked_at: &'a str) -> &'a str {
        self.base.as_deref().unwrap_or(asked_at)
    }
}

impl Printer for Pdf {
    fn issue(
        &self,
        store: &Store,
        mould: &str,
        visit: &str,
        by: &str,
        at: jiff::Timestamp,
        asked_at: &str,
    ) -> Result<CertificateNumber, PrintError> {
        let order = Order { mould, visit, by, at, base: self.base(asked_at), plant: &self.plant };
        issue(store, &order).map(|(issued, _)| issued.number).map_err(|trouble| match trouble {
            Trouble::Store(error) => PrintError::Store(error),
            Trouble::Refused(text) => PrintError::Refused(text),
            Trouble::Failed(text) => PrintError::Failed(text),
        })
    }

    fn visit_sheet(&self, findings: &Findings, digest: &str) -> Result<Vec<u8>, PrintError> {
        visit_sheet(&VisitSheet { findings, digest: digest.to_owned(), program: PROGRAM }).map_err(told)
    }

    fn hook_up_sheet(&self, findings: &Findings, ports: &[PortCard2]) -> Result<Vec<u8>, PrintError> {
        let one = |on: &PortCard2| HosedPort {
            stage: on.stage,
            port: on.port,
            circuits: on.circuits.iter().map(|one| (CircuitId(one.circuit.clone()), one.reversed)).collect(),
        };
        let ports: Vec<HosedPort> = ports.iter().map(one).collect();
        hook_up_sheet(&HookUpSheet { findings, ports: &ports, program: PROGRAM }).map_err(told)
    }

    fn tags(
        &self,
        mould: &Mould,
        at: jiff::Timestamp,
        asked_at: &str,
        address: &dyn Fn(&str) -> String,
    ) -> Result<Vec<u8>, PrintError> {
        let base = self.base(asked_at).trim_end_matches('/');
        let tag = |circuit: &Circuit| Tag {
            circuit: circuit.id.0.clone(),
            place: match &circuit.serves {
                Some(serves) => format!("{} · {serves}", circuit.half),
                None => circuit.half.clone(),
            },
            address: format!("{base}{}", address(&circuit.id.0)),
        };
        let all: Vec<Tag> = mould.circuits.iter().map(tag).collect();
        tags(&mould.id.0, &mould.name, &all, at, PROGRAM).map_err(told)
    }
}

fn told(error: PaperError) -> PrintError {
    match error {
        PaperError::AddressLong { .. } => PrintError::Refused(error.to_string()),
        PaperError::NotSet(_) => PrintError::Failed(error.to_string()),
    }
}
