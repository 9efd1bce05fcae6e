//! How often somebody may try to sign in: a few times at once, then with waits that grow.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};

/// Wrong tries that cost no wait: of one person, from one address (own choice).
const FREE: (u32, u32) = (5, 20);
/// First wait and longest wait; each wait is twice the one before (own choice).
const WAIT_S: (i64, i64) = (30, 900);
/// After this long without a wrong try everything is forgotten (own choice).
const FORGOTTEN_S: i64 = 3600;
/// People and addresses that are remembered at once.
const REMEMBERED: usize = 10_000;

/// Who tries, or from where.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Key {
    Person(String),
    Address(Option<IpAddr>),
}

impl Key {
    const fn free(&self) -> u32 {
        match self {
            Self::Person(_) => FREE.0,
            Self::Address(_) => FREE.1,
        }
    }
}

/// Wrong tries in a row.
#[derive(Clone, Copy, Debug)]
struct Wrong {
    count: u32,
    last_s: i64,
}

/// Wrong tries by person and by address, since the program started.
#[derive(Debug, Default)]
pub(crate) struct Tries(Mutex<BTreeMap<Key, Wrong>>);

impl Tries {
    /// Makes one try, unless it is too early: then the seconds to wait. Tries are made one after the other, so that many
    /// at once gain nothing.
    pub(crate) fn once<E>(
        &self,
        person: &str,
        from: Option<IpAddr>,
        now: jiff::Timestamp,
        right: impl FnOnce() -> Result<bool, E>,
    ) -> Result<Result<bool, i64>, E> {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let now_s = now.as_second();
        known.retain(|_, wrong| now_s - wrong.last_s < FORGOTTEN_S);
        let keys = [Key::Person(person.chars().take(80).collect()), Key::Address(from)];
        let wait = keys.iter().filter_map(|key| wait_s(key, known.get(key)?, now_s)).max();
        if let Some(wait) = wait {
            return Ok(Err(wait));
        }
        if right()? {
            // One's own password does not clear an address from which others are tried.
            known.remove(&keys[0]);
            return Ok(Ok(true));
        }
        for key in keys {
            if known.len() < REMEMBERED || known.contains_key(&key) {
                let wrong = known.entry(key).or_insert(Wrong { count: 0, last_s: now_s });
                (wrong.count, wrong.last_s) = (wrong.count.saturating_add(1), now_s);
            }
        }
        Ok(Ok(false))
    }
}

/// Wrong tokens by address, since the program started.
///
/// A right token is never kept waiting: nobody guesses 256 random bits, and a machine that still has an old token must not
/// shut the others of its address out. The wait keeps such a machine from asking on and on.
#[derive(Debug, Default)]
pub(crate) struct WrongTokens(Mutex<BTreeMap<Option<IpAddr>, Wrong>>);

impl WrongTokens {
    /// Counts a wrong token from this address; the seconds to wait, where there were too many.
    pub(crate) fn another(&self, from: Option<IpAddr>, now: jiff::Timestamp) -> Option<i64> {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let now_s = now.as_second();
        known.retain(|_, wrong| now_s - wrong.last_s < FORGOTTEN_S);
        let key = Key::Address(from);
        if let Some(wait) = known.get(&from).and_then(|wrong| wait_s(&key, wrong, now_s)) {
            return Some(wait);
        }
        if known.len() < REMEMBERED || known.contains_key(&from) {
            let wrong = known.entry(from).or_insert(Wrong { count: 0, last_s: now_s });
            (wrong.count, wrong.last_s) = (wrong.count.saturating_add(1), now_s);
        }
        None
    }
}

/// Seconds that are left to wait, if any are.
fn wait_s(key: &Key, wrong: &Wrong, now_s: i64) -> Option<i64> {
    let over = wrong.count.checked_sub(key.free())?;
    let whole = WAIT_S.0.checked_shl(over.min(10)).unwrap_or(WAIT_S.1).min(WAIT_S.1);
    let left = wrong.last_s + whole - now_s;
    (left > 0).then_some(left)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(second: i64) -> jiff::Timestamp {
        jiff::Timestamp::from_second(1_800_000_000 + second).expect("a time")
    }

    fn attempt(tries: &Tries, person: &str, from: u8, second: i64, right: bool) -> Result<bool, i64> {
        let from = Some(IpAddr::from([192, 0, 2, from]));
        tries.once(person, from, at(second), || Ok::<_, ()>(right)).expect("no other fault")
    }

    #[test]
    fn a_person_waits_longer_each_time_and_a_right_try_clears() {
        let tries = Tries::default();
        for _ in 0..5 {
            assert_eq!(attempt(&tries, "KD", 1, 0, false), Ok(false));
        }
        assert_eq!(attempt(&tries, "KD", 2, 10, true), Err(20), "from wherever it comes, even if right");
        assert_eq!(attempt(&tries, "LE", 1, 10, true), Ok(true), "others are not kept waiting");
        assert_eq!(attempt(&tries, "KD", 1, 30, false), Ok(false));
        assert_eq!(attempt(&tries, "KD", 1, 60, true), Err(30));
        assert_eq!(attempt(&tries, "KD", 1, 90, true), Ok(true));
        assert_eq!(attempt(&tries, "KD", 1, 91, false), Ok(false));
        // The longest wait is a quarter of an hour, and an hour without a wrong try forgets.
        let mut second = 100;
        for _ in 0..40 {
            second += 900;
            assert!(attempt(&tries, "KD", 1, second, false).is_ok());
        }
        assert_eq!(attempt(&tries, "KD", 1, second + 1, false), Err(899));
        assert_eq!(attempt(&tries, "KD", 1, second + 3600, false), Ok(false));
        assert_eq!(attempt(&tries, "KD", 1, second + 3600, false), Ok(false));
    }

    #[test]
    fn wrong_tokens_are_slowed_down() {
        let (tries, from) = (WrongTokens::default(), Some(IpAddr::from([192, 0, 2, 1])));
        assert!((0..20).all(|_| tries.another(from, at(0)).is_none()));
        assert_eq!(tries.another(from, at(1)), Some(29));
        assert_eq!(tries.another(None, at(1)), None, "another address");
        assert_eq!(tries.another(from, at(31)), None);
        assert_eq!(tries.another(from, at(32)), Some(59));
        assert_eq!(tries.another(from, at(4000)), None, "an hour forgets");
    }

    #[test]
    fn an_address_waits_whoever_is_tried() {
        let tries = Tries::default();
        for number in 0..20 {
            assert_eq!(attempt(&tries, &format!("P{number}"), 9, 0, false), Ok(false));
        }
        assert_eq!(attempt(&tries, "KD", 9, 1, true), Err(29));
        assert_eq!(attempt(&tries, "KD", 8, 1, true), Ok(true));
    }
}
