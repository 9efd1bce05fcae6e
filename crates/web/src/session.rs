//! Who is at the bench: a signed cookie, and a token in each form that goes with it.
//!
//! The cookie holds the person's short name, the moment and a random number, and a signature (HMAC-SHA-256) over them.
//! The token of the forms is another signature over the cookie. Nothing is kept on the server, so that a restart in
//! the middle of a visit signs nobody out.

use std::io::{Read as _, Write as _};
use std::path::Path;

use axum::http::{HeaderMap, HeaderValue, header};
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

/// Name of the cookie.
const COOKIE: &str = "borewise";
/// How long a name is remembered: a month, own choice.
const LIFE_S: i64 = 30 * 24 * 3600;

/// The key that signs who is at the bench.
pub struct Seal([u8; 32]);

/// Who is at the bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Session {
    /// Short name.
    pub person: String,
    /// Token for the forms.
    pub token: String,
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

    /// The cookie for a person who said who they are.
    pub(crate) fn cookie(&self, person: &str, now: jiff::Timestamp) -> HeaderValue {
        let value = self.signed(person, now);
        let cookie = format!("{COOKIE}={value}; Path=/; Max-Age={LIFE_S}; HttpOnly; SameSite=Strict");
        HeaderValue::from_str(&cookie).unwrap_or(HeaderValue::from_static(""))
    }

    fn signed(&self, person: &str, now: jiff::Timestamp) -> String {
        let body = format!("{}.{}.{}", hex(person.as_bytes()), now.as_second(), fresh_key());
        let mark = hex(&self.mark("who", &body));
        format!("{body}.{mark}")
    }

    /// Who a request comes from, if it says so and the signature is ours.
    pub(crate) fn session(&self, headers: &HeaderMap, now: jiff::Timestamp) -> Option<Session> {
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut ours = cookies
            .flat_map(|line| line.split(';'))
            .filter_map(|pair| pair.trim().strip_prefix(COOKIE)?.strip_prefix('='));
        let value = ours.next()?;
        let (body, mark) = value.rsplit_once('.')?;
        self.checker("who", body).verify_slice(&unhex(mark)?).ok()?;
        let mut parts = body.split('.');
        let person = String::from_utf8(unhex(parts.next()?)?).ok()?;
        let since: i64 = parts.next()?.parse().ok()?;
        (now.as_second().checked_sub(since)? <= LIFE_S)
            .then(|| Session { person, token: hex(&self.mark("form", value)) })
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

impl Session {
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

fn random() -> [u8; 32] {
    let mut bytes = [0; 32];
    // A machine without chance cannot serve: better no page than a guessable one.
    getrandom::fill(&mut bytes).expect("the operating system gives random bytes");
    bytes
}

fn hex(bytes: &[u8]) -> String {
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
        let value = seal.signed("Zoë", now);
        let session = seal.session(&headers(&value), now).expect("ours");
        assert_eq!(session.person, "Zoë");
        assert!(session.made(&session.token.clone()) && !session.made("") && !session.made("00"));
        let forged = value.replacen(&hex("Zoë".as_bytes()), &hex(b"lead"), 1);
        assert_eq!(seal.session(&headers(&forged), now), None);
        assert_eq!(Seal::for_this_run().session(&headers(&value), now), None);
        assert_eq!(seal.session(&headers(&value), at("2027-01-01T00:00:00Z")), None);
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
