//! The press: sets a paper from its form and its data, and makes a PDF of it.

use std::sync::OnceLock;

use serde_json::Value as Json;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst::{Library, LibraryExt as _, World, comemo};
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

/// Families that are kept out of those that the crate of fonts carries: they are for formulas.
const NOT_USED: &str = "New Computer Modern";
/// Shown for a letter that no font has.
const NO_LETTER: char = '?';
/// Papers for which what was set before is remembered (own choice): the next one of the same kind is set faster.
const REMEMBERED: usize = 2;
/// Room for the setting of nested tables: threads that serve pages have less (own choice).
const STACK_BYTES: usize = 16 << 20;

/// Why there is no paper.
#[derive(Debug, thiserror::Error)]
pub enum PaperError {
    /// The form of the paper cannot be set: a fault of this program.
    #[error("the paper cannot be set: {0}")]
    NotSet(String),
    /// An address too long for a QR code.
    #[error("the address is too long for a QR code ({letters} letters): give a shorter base address")]
    AddressLong {
        /// Its letters.
        letters: usize,
    },
}

/// A paper to be set.
pub(crate) struct Form<'a> {
    /// Its form, without the parts that all share.
    pub template: &'a str,
    /// What stands in it.
    pub data: Json,
    /// What tells it from every other paper.
    pub ident: String,
    /// The day that it bears.
    pub at: jiff::Timestamp,
    /// What this program calls itself.
    pub program: &'a str,
}

/// Sets the paper.
pub(crate) fn print(form: Form<'_>) -> Result<Vec<u8>, PaperError> {
    std::thread::scope(|scope| {
        let setting = std::thread::Builder::new().stack_size(STACK_BYTES).spawn_scoped(scope, || set(form));
        let setting = setting.map_err(|error| PaperError::NotSet(error.to_string()))?;
        setting.join().unwrap_or_else(|_| Err(PaperError::NotSet("the typesetting stopped".into())))
    })
}

fn set(form: Form<'_>) -> Result<Vec<u8>, PaperError> {
    let desk = Desk::with(form.template, form.data)?;
    let document = typst::compile::<PagedDocument>(&desk).output.map_err(|faults| not_set(&faults))?;
    let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
        .map_err(|fault| PaperError::NotSet(fault.message().to_string()))?;
    let options = PdfOptions {
        ident: Smart::Custom(form.ident),
        creator: Smart::Custom(Some(form.program.to_owned())),
        timestamp: date(form.at).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    let pdf = typst_pdf::pdf(&document, &options).map_err(|faults| not_set(&faults));
    comemo::evict(REMEMBERED);
    pdf
}

fn not_set(faults: &[SourceDiagnostic]) -> PaperError {
    let words: Vec<&str> = faults.iter().map(|fault| fault.message.as_str()).collect();
    PaperError::NotSet(words.join("; "))
}

fn date(at: jiff::Timestamp) -> Option<Datetime> {
    let moment = jiff::tz::Offset::UTC.to_datetime(at);
    let part = |value: i8| u8::try_from(value).unwrap_or_default();
    Datetime::from_ymd_hms(
        i32::from(moment.year()),
        part(moment.month()),
        part(moment.day()),
        part(moment.hour()),
        part(moment.minute()),
        part(moment.second()),
    )
}

/// What never changes from paper to paper.
struct Case {
    library: LazyHash<Library>,
    book: LazyHash<FontBook>,
    fonts: Vec<Font>,
    main: FileId,
    data: FileId,
}

fn case() -> Result<&'static Case, PaperError> {
    static CASE: OnceLock<Option<Case>> = OnceLock::new();
    let made = CASE.get_or_init(|| {
        let fonts: Vec<Font> = typst_assets::fonts()
            .flat_map(|file| Font::iter(Bytes::new(file)))
            .filter(|font| !font.info().family.starts_with(NOT_USED))
            .collect();
        // Names of files are kept for the life of the program, so that the same two serve all papers.
        let named =
            |name: &str| Some(RootedPath::new(VirtualRoot::Project, VirtualPath::new(name).ok()?).intern());
        Some(Case {
            library: LazyHash::new(Library::default()),
            book: LazyHash::new(FontBook::from_fonts(&fonts)),
            fonts,
            main: named("paper.typ")?,
            data: named("data.json")?,
        })
    });
    made.as_ref().ok_or_else(|| PaperError::NotSet("the names of its parts are refused".into()))
}

/// One paper on the desk: its form and its data, and nothing else in the world.
struct Desk {
    case: &'static Case,
    source: Source,
    data: Bytes,
}

impl Desk {
    fn with(template: &str, mut data: Json) -> Result<Self, PaperError> {
        let case = case()?;
        let covered = |letter: char| {
            letter == '\n' || case.fonts.iter().any(|font| font.info().coverage.contains(u32::from(letter)))
        };
        let missing = replace_letters(&mut data, &covered);
        if let Some(object) = data.as_object_mut() {
            object.insert("letters_missing".into(), Json::Bool(missing));
        }
        let text = format!("{}\n{template}", include_str!("../templates/common.typ"));
        Ok(Self {
            case,
            source: Source::new(case.main, text),
            data: Bytes::new(data.to_string().into_bytes()),
        })
    }
}

/// Puts a sign in place of every letter that no font has or no page may hold: an archival paper may not name a letter
/// that it cannot show. Says whether there was one.
fn replace_letters(data: &mut Json, covered: &dyn Fn(char) -> bool) -> bool {
    match data {
        Json::String(text) => {
            let printable = report::plain::printable(text);
            let shown: String =
                printable.chars().map(|letter| if covered(letter) { letter } else { NO_LETTER }).collect();
            let missing = shown != *text;
            *text = shown;
            missing
        }
        Json::Array(all) => all.iter_mut().fold(false, |any, one| replace_letters(one, covered) | any),
        Json::Object(all) => all.values_mut().fold(false, |any, one| replace_letters(one, covered) | any),
        _ => false,
    }
}

impl World for Desk {
    fn library(&self) -> &LazyHash<Library> {
        &self.case.library
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &self.case.book
    }

    fn main(&self) -> FileId {
        self.case.main
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        if id == self.case.main { Ok(self.source.clone()) } else { Err(nowhere(id)) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.case.data { Ok(self.data.clone()) } else { Err(nowhere(id)) }
    }

    fn font(&self, index: usize) -> Option<Font> {
        self.case.fonts.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        // A paper bears the day of its record, never that of its printing.
        None
    }
}

fn nowhere(id: FileId) -> FileError {
    FileError::NotFound(id.get().vpath().get_without_slash().into())
}
