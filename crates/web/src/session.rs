//! Who is at the bench: a signed cookie, and a token in each form that goes with it.
//!
//! The cookie holds the person's short name, the moment, how the person was recognised and a random number, and a
//! signature (HMAC-SHA-256) over them. The token of the forms is another signature over the cookie. Nothing is kept on the
//! server, so that a restart in the middle of a visit signs nobody out; what ends a session is the moment at which the
//! person's password or PIN was changed or taken away, which stands beside the record.
//!
//! A second cookie, of a browser at which somebody signed in with a password, lets others change there with a PIN.

use std::io::{Read as _, Write as _};
use std::path::Path;

use axum::http::{HeaderMap, HeaderValue, header};
use hmac::{Hmac, KeyInit as _, Mac as _};
use report::Units;
use sha2::Sha256;
use store::shapes::Role;

/// Name of the cookie.
const COOKIE: &str = "borewise";
/// Name of the cookie of a browser at which people change with a PIN.
const BENCH_COOKIE: &str = "borewise-bench";
/// How long a person is remembered: a month; one with a PIN, and the browser itself, a shift (own choice).
const LIFE_S: i64 = 30 * 24 * 3600;
const SHIFT_S: i64 = 12 * 3600;

/// The key that signs who is at the bench.
pub struct Seal([u8; 32]);

/// How somebody was recognised.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum How {
    /// By name alone, at this very machine.
    Name,
    /// By a password.
    Password,
    /// By a PIN.
    Pin,
}

impl How {
    const WORDS: [(Self, &'static str); 3] =
        [(Self::Name, "name"), (Self::Password, "password"), (Self::Pin, "pin")];

    fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(how, _)| *how == self).map_or("name", |(_, word)| word)
    }

    const fn life_s(self) -> i64 {
        match self {
            Self::Name | Self::Password => LIFE_S,
            Self::Pin => SHIFT_S,
        }
    }
}

/// What a cookie of ours says; whether it still holds is for the record to say.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Claim {
    /// Short name.
    pub person: String,
    /// When it was given, in microseconds since 1970.
    pub since_us: i64,
    /// How the person was recognised.
    pub how: How,
    /// Token for the forms.
    pub token: String,
}

/// Who is at the bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Session {
    /// Short name.
    pub person: String,
    /// What the person may do.
    pub role: Role,
    /// Token for the forms.
    pub token: String,
    /// Units in which the person reads and types.
    pub units: Units,
    /// Newest entry of the record when the person was recognised, which is before anything was read for the page.
    pub head: u64,
}

impl Seal {
    /// The key of this file; a new one is made where there is none.
    ///
    /// # Errors
    /// What the disk says.
    pub fn open(path: &Path) -> std::io::Result<Self> {
        let mut options = std::fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut key = random();
        match options.open(path) {
            Ok(mut file) => {
                file.write_all(&key)?;
                file.sync_all()?;
            }
            Err(error) if error.kind() == std::io::ErrorKind::AlreadyExists => {
                std::fs::File::open(path)?.read_exact(&mut key)?;
            }
            Err(error) => return Err(error),
        }
        Ok(Self(key))
    }

    /// A key for this run alone.
    #[must_use]
    pub fn for_this_run() -> Self {
        Self(random())
    }

    /// The cookie of a person who was recognised; `secure` where the browser speaks through TLS.
    pub(crate) fn cookie(&self, person: &str, how: How, now: jiff::Timestamp, secure: bool) -> HeaderValue {
        set(COOKIE, &self.signed("who", person, how, now), how.life_s(), secure)
    }

    /// The cookie of a browser at which this person signed in with a password.
    pub(crate) fn bench_cookie(&self, person: &str, now: jiff::Timestamp, secure: bool) -> HeaderValue {
        set(BENCH_COOKIE, &self.signed("bench", person, How::Password, now), SHIFT_S, secure)
    }

    fn signed(&self, use_for: &str, person: &str, how: How, now: jiff::Timestamp) -> String {
        let (person, since) = (hex(person.as_bytes()), now.as_microsecond());
        let body = format!("{person}.{since}.{}.{}", how.word(), fresh_key());
        let mark = hex(&self.mark(use_for, &body));
        format!("{body}.{mark}")
    }

    /// Who a request says it comes from, if the signature is ours.
    pub(crate) fn claim(&self, headers: &HeaderMap, now: jiff::Timestamp) -> Option<Claim> {
        self.read("who", COOKIE, headers, now).filter(|claim| claim.is_younger(claim.how.life_s(), now))
    }

    /// Who signed in with a password at the browser that a request comes from.
    pub(crate) fn bench_claim(&self, headers: &HeaderMap, now: jiff::Timestamp) -> Option<Claim> {
        self.read("bench", BENCH_COOKIE, headers, now).filter(|claim| claim.is_younger(SHIFT_S, now))
    }

    fn read(&self, use_for: &str, cookie: &str, headers: &HeaderMap, now: jiff::Timestamp) -> Option<Claim> {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut ours = cookies
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().strip_prefix(cookie)?.strip_prefix('='));
        let value = ours.next()?;
        let (body, mark) = value.rsplit_once('.')?;
        self.checker(use_for, body).verify_slice(&unhex(mark)?).ok()?;
        let mut parts = body.split('.');
        let person = String::from_utf8(unhex(parts.next()?)?).ok()?;
        let since_us: i64 = parts.next()?.parse().ok()?;
        let word = parts.next()?;
        let (how, _) = How::WORDS.into_iter().find(|(_, known)| *known == word)?;
        let claim = Claim { person, since_us, how, token: hex(&self.mark("form", value)) };
        claim.is_younger(LIFE_S, now).then_some(claim)
    }

    fn checker(&self, use_for: &str, text: &str) -> Hmac<Sha256> {
        let mut mac = keyed(&self.0);
        mac.update(use_for.as_bytes());
        mac.update(&[0]);
        mac.update(text.as_bytes());
        mac
    }

    fn mark(&self, use_for: &str, text: &str) -> Vec<u8> {
        self.checker(use_for, text).finalize().into_bytes().to_vec()
    }
}

impl Claim {
    fn is_younger(&self, life_s: i64, now: jiff::Timestamp) -> bool {
        now.as_microsecond().checked_sub(self.since_us).is_some_and(|age_us| age_us <= life_s * 1_000_000)
    }
}

/// Cookies that end the session of a browser, and its use for a change of person.
pub(crate) fn forgotten() -> [HeaderValue; 2] {
    [set(COOKIE, "", 0, false), set(BENCH_COOKIE, "", 0, false)]
}

fn set(name: &str, value: &str, life_s: i64, secure: bool) -> HeaderValue {
    let secure = if secure { "; Secure" } else { "" };
    let cookie = format!("{name}={value}; Path=/; Max-Age={life_s}; HttpOnly; SameSite=Strict{secure}");
    HeaderValue::from_str(&cookie).unwrap_or(HeaderValue::from_static(""))
}

impl Session {
    /// The person, if they may record something.
    pub(crate) fn recording(session: Option<&Self>) -> Option<&Self> {
        session.filter(|session| session.role.records())
    }

    /// The units of whoever looks at a page; those of the fields for somebody unknown.
    pub(crate) fn units_of(session: Option<&Self>) -> Units {
        session.map_or_else(Units::default, |session| session.units)
    }

    /// Whether a form was made for this session.
    pub(crate) fn made(&self, token: &str) -> bool {
        // Compared without an early end, so that the time taken tells nothing.
        let differ = self.token.bytes().zip(token.bytes()).fold(0, |all, (a, b)| all | (a ^ b));
        differ == 0 && self.token.len() == token.len()
    }
}

fn keyed(key: &[u8]) -> Hmac<Sha256> {
    Hmac::new_from_slice(key).expect("HMAC takes a key of any length")
}

/// A key for a new form: sent twice, it counts once.
pub(crate) fn fresh_key() -> String {
    hex(&random()[..16])
}

/// 32 random bytes.
pub(crate) fn random() -> [u8; 32] {
    let mut bytes = [0; 32];
    // A machine without chance cannot serve: better no page than a guessable one.
    getrandom::fill(&mut bytes).expect("the operating system gives random bytes");
    bytes
}

pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn unhex(text: &str) -> Option<Vec<u8>> {
    if !text.is_ascii() || !text.len().is_multiple_of(2) {
        return None;
    }
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(text.get(at..at + 2)?, 16).ok()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> jiff::Timestamp {
        text.parse().expect("a time")
    }

    fn headers(value: &str) -> HeaderMap {
        let mut headers = HeaderMap::new();
        let text = format!("other=1; {COOKIE}={value}");
        headers.insert(header::COOKIE, HeaderValue::from_str(&text).expect("plain letters"));
        headers
    }

    #[test]
    fn a_signed_name_comes_back_and_a_forged_one_does_not() {
        let (seal, now) = (Seal::for_this_run(), at("2026-11-24T08:00:00Z"));
        let value = seal.signed("who", "Zoë", How::Name, now);
        let claim = seal.claim(&headers(&value), now).expect("ours");
        assert_eq!(
            (claim.person.as_str(), claim.how, claim.since_us),
            ("Zoë", How::Name, now.as_microsecond())
        );
        let session = Session {
            person: claim.person,
            role: Role::Viewer,
            token: claim.token,
            units: Units::default(),
            head: 0,
        };
        assert!(session.made(&session.token.clone()) && !session.made("") && !session.made("00"));
        let forged = value.replacen(&hex("Zoë".as_bytes()), &hex(b"lead"), 1);
        assert_eq!(seal.claim(&headers(&forged), now), None);
        assert_eq!(seal.claim(&headers(&value.replacen(".name.", ".password.", 1)), now), None);
        assert_eq!(Seal::for_this_run().claim(&headers(&value), now), None);
        assert_eq!(seal.claim(&headers(&value), at("2027-01-01T00:00:00Z")), None);
        let pin = seal.signed("who", "Zoë", How::Pin, now);
        assert!(seal.claim(&headers(&pin), at("2026-11-24T19:00:00Z")).is_some());
        assert_eq!(seal.claim(&headers(&pin), at("2026-11-24T21:00:00Z")), None, "a PIN is for a shift");
        for broken in ["", ".", "a.b.c.d", "é"] {
            assert_eq!(unhex(broken).is_some(), broken.is_empty(), "{broken}");
        }
    }

    #[test]
    fn the_signature_is_the_published_one() {
        // RFC 4231, test case 2 (from memory).
        let mut mac = keyed(b"Jefe");
        mac.update(b"what do ya want for nothing?");
        assert_eq!(
            hex(&mac.finalize().into_bytes()),
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"
        );
    }

    #[test]
    fn the_key_of_a_file_is_kept() {
        let folder = std::env::temp_dir().join(format!("borewise-seal-{}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let path = folder.join("session.key");
        let (first, second) = (Seal::open(&path).expect("made"), Seal::open(&path).expect("read"));
        assert_eq!(first.0, second.0);
        std::fs::remove_dir_all(&folder).expect("removed");
    }
}
