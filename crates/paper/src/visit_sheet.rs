//! The visit sheet on paper: what the sheet for the screen says.

use bench::finding::Findings;
use bench::judge::cautions::AUTHORITY;
use report::plain;
use serde_json::json;

use crate::parts;
use crate::press::{Form, PaperError, print};

/// What a visit sheet says.
#[derive(Clone, Debug)]
pub struct VisitSheet<'a> {
    /// What was found.
    pub findings: &'a Findings,
    /// Digest of what was judged.
    pub digest: String,
    /// Version of the program.
    pub program: &'a str,
}

/// The visit sheet as a PDF.
///
/// # Errors
/// [`PaperError::NotSet`]: a fault of this program.
pub fn visit_sheet(of: &VisitSheet<'_>) -> Result<Vec<u8>, PaperError> {
    let findings = of.findings;
    let evidence = findings.circuits.iter().map(|one| {
        let items = one.evidence.iter().map(|item| {
            let from = item.place.as_ref().map(|place| format!("From {place}."));
            json!({ "title": item.title, "text": item.text, "from": from })
        });
        json!({ "id": one.id.0, "items": items.collect::<Vec<_>>() })
    });
    let data = json!({
        "title": "Visit sheet",
        "card": parts::card(findings),
        "verdict": parts::verdict(findings),
        "cautions": parts::cautions(findings),
        "circuits": parts::circuits(findings),
        "evidence": evidence.collect::<Vec<_>>(),
        "doubts": parts::doubts(findings),
        "limits": parts::limits(findings),
        "numbers": parts::NUMBERS,
        "advice": AUTHORITY,
        "foot": format!("{} · method {} · digest {}", of.program, findings.method, of.digest),
        "begun": plain::moment(findings.started),
    });
    print(Form {
        template: include_str!("../templates/visit-sheet.typ"),
        data,
        ident: format!("visit sheet {} {} {}", findings.mould, findings.visit, of.digest),
        at: findings.started,
        program: of.program,
    })
}
