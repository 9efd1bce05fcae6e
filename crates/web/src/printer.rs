//! What sets papers: told from outside, so that these pages need no typesetting.

use bench::finding::Findings;
use bench::mould::Mould;
use store::read::CertificateNumber;
use store::shapes::PortCard2;
use store::{Store, StoreError};

/// Sets papers as PDF.
pub trait Printer: Send + Sync {
    /// Puts the certificate of a visit on record, or finds the one that is there. `asked_at` is the address of these pages.
    ///
    /// # Errors
    /// What the record says; a certificate that may not be issued.
    fn issue(
        &self,
        store: &Store,
        mould: &str,
        visit: &str,
        by: &str,
        at: jiff::Timestamp,
        asked_at: &str,
    ) -> Result<CertificateNumber, PrintError>;

    /// The visit sheet.
    ///
    /// # Errors
    /// A paper that cannot be set.
    fn visit_sheet(&self, findings: &Findings, digest: &str) -> Result<Vec<u8>, PrintError>;

    /// The hook-up sheet.
    ///
    /// # Errors
    /// A paper that cannot be set.
    fn hook_up_sheet(&self, findings: &Findings, ports: &[PortCard2]) -> Result<Vec<u8>, PrintError>;

    /// A tag for each circuit; `address` gives the page of a circuit, `asked_at` the address of these pages.
    ///
    /// # Errors
    /// A paper that cannot be set.
    fn tags(
        &self,
        mould: &Mould,
        at: jiff::Timestamp,
        asked_at: &str,
        address: &dyn Fn(&str) -> String,
    ) -> Result<Vec<u8>, PrintError>;
}

/// Why there is no paper.
#[derive(Debug, thiserror::Error)]
pub enum PrintError {
    /// The record.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// It may not be printed so.
    #[error("{0}")]
    Refused(String),
    /// It could not be printed.
    #[error("{0}")]
    Failed(String),
}
