//! Passwords and PINs: what may be one, and the hashes by which they are recognised.
//!
//! Hashed with Argon2id (RFC 9106) over a salt of its own: 19 MiB, two passes, one lane, as OWASP's cheat sheet on storing
//! passwords has it for a server.

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher as _, PasswordVerifier as _};
use calc::form::Fault;

use crate::problem::Problem;

/// Fewest letters of a password (NIST SP 800-63B, 5.1.1.2: at least 8, and no rules about kinds of letters), and most.
const PASSWORD: (usize, usize) = (8, 200);
/// Fewest and most digits of a PIN (own choice).
const PIN: (usize, usize) = (4, 8);

/// What is wrong with a new password of a person of these names; nothing if it may be one.
pub(crate) fn password_fault(field: &str, password: &str, names: &[&str]) -> Option<Fault> {
    let letters = password.chars().count();
    let same = |name: &&str| password.to_lowercase().contains(&name.to_lowercase());
    if letters < PASSWORD.0 {
        let hint =
            format!("take {} letters or more; a few words in a row are easy to keep in mind", PASSWORD.0);
        return Some(Fault::new(field, "too short", hint));
    }
    if letters > PASSWORD.1 {
        return Some(Fault::new(field, "too long", format!("up to {} letters", PASSWORD.1)));
    }
    let mut kinds: Vec<char> = password.chars().collect();
    kinds.sort_unstable();
    kinds.dedup();
    if kinds.len() < 4 || names.iter().filter(|name| name.chars().count() > 3).any(same) {
        return Some(Fault::new(field, "too easy to guess", "take words that are not your name"));
    }
    None
}

/// What is wrong with a new PIN; nothing if it may be one.
pub(crate) fn pin_fault(field: &str, pin: &str) -> Option<Fault> {
    let digits: Vec<u8> = pin.bytes().collect();
    if !(PIN.0..=PIN.1).contains(&digits.len()) || !digits.iter().all(u8::is_ascii_digit) {
        return Some(Fault::new(field, "not a PIN", format!("{} to {} digits", PIN.0, PIN.1)));
    }
    let step =
        |by: i16| digits.windows(2).all(|two| matches!(two, [a, b] if i16::from(*b) - i16::from(*a) == by));
    if [-1, 0, 1].into_iter().any(step) {
        return Some(Fault::new(
            field,
            "too easy to guess",
            "not one digit over and over, nor a row of digits",
        ));
    }
    None
}

/// The hash by which a password or PIN is recognised later.
pub(crate) fn hash(secret: &str) -> Result<String, Problem> {
    let hashed = Argon2::default().hash_password(secret.as_bytes());
    Ok(hashed
        .map_err(|error| Problem::Failed(format!("The password could not be kept: {error}.")))?
        .to_string())
}

/// Whether this is what was hashed. Where there is no hash it takes as long, so that the time tells nobody who is on record.
pub(crate) fn is_right(secret: &str, hash: Option<&str>) -> bool {
    /// A hash of nothing that anybody knows.
    const NOBODY: &str = "$argon2id$v=19$m=19456,t=2,p=1$Ym9yZXdpc2Utbm9ib2R5$\
                          AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA";
    let Ok(known) = PasswordHash::new(hash.unwrap_or(NOBODY)) else { return false };
    let short_enough = secret.chars().count() <= PASSWORD.1;
    short_enough && Argon2::default().verify_password(secret.as_bytes(), &known).is_ok() && hash.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_password_is_recognised_and_its_hash_differs_each_time() {
        let (one, two) =
            (hash("three wet gloves").expect("a hash"), hash("three wet gloves").expect("a hash"));
        assert!(one != two && one.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{one}");
        assert!(is_right("three wet gloves", Some(&one)) && !is_right("three wet glove", Some(&one)));
        assert!(!is_right("", None) && !is_right("x", Some("broken")));
        assert!(PasswordHash::new("$argon2id$v=19$m=19456,t=2,p=1$Ym9yZXdpc2Utbm9ib2R5$AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA").is_ok());
    }

    #[test]
    fn the_hash_is_the_published_one() {
        // RFC 9106, 5.3: the test vector of Argon2id.
        let context = argon2::ParamsBuilder::new()
            .m_cost(32)
            .t_cost(3)
            .p_cost(4)
            .data(argon2::AssociatedData::new(&[4; 12]).expect("short"))
            .build()
            .expect("allowed");
        let (kind, version) = (argon2::Algorithm::Argon2id, argon2::Version::V0x13);
        let hasher = Argon2::new_with_secret(&[3; 8], kind, version, context).expect("allowed");
        let mut tag = [0; 32];
        hasher.hash_password_into(&[1; 32], &[2; 16], &mut tag).expect("hashed");
        let hex: String = tag.iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "0d640df58d78766c08c037a34a8b53c9d01ef0452d75b65eb52520e96b01e659");
    }

    #[test]
    fn what_is_easy_to_guess_is_refused() {
        let names = ["KD", "Kim Dale"];
        for bad in ["short", "aaaaaaaaaa", "abababab", "KIM DALE 1", &"x1y2".repeat(60)] {
            assert!(password_fault("password", bad, &names).is_some(), "{bad}");
        }
        assert!(password_fault("password", "three wet gloves", &names).is_none());
        for bad in ["", "123", "1234", "9876", "0000", "12 34", "123456789", "12a4"] {
            assert!(pin_fault("pin", bad).is_some(), "{bad}");
        }
        assert!(pin_fault("pin", "2846").is_none() && pin_fault("pin", "19283746").is_none());
    }
}
