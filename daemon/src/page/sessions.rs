//! Who is logged in: so many at once, for so long.

use std::collections::HashMap;

use jiff::SignedDuration;
use ring::digest::{SHA256, digest};

use crate::users::Account;
use crate::users::secret::KeptPassword;

/// All who are logged in, in memory alone: after a restart everybody logs in again.
#[derive(Debug, Default)]
pub(super) struct Sessions {
    /// By the hash of what the browser keeps: the time of a look-up tells nothing of it.
    rows: HashMap<[u8; 32], LoggedIn>,
}

#[derive(Debug)]
struct LoggedIn {
    name: String,
    /// A session is over when the password is another one.
    password: KeptPassword,
    begun: SignedDuration,
    used: SignedDuration,
}

impl Sessions {
    /// Somebody has logged in; times are those of a clock that nobody sets.
    pub(super) fn begin(&mut self, token: &str, account: &Account, now: SignedDuration) {
        self.rows.retain(|_, row| row.is_fresh(now));
        while self.of(&account.name) >= OF_ONE || self.rows.len() >= MOST {
            let crowded = self.of(&account.name) >= OF_ONE;
            let oldest = self.rows.iter().filter(|(_, row)| !crowded || row.name == account.name);
            let Some(oldest) = oldest.min_by_key(|(_, row)| row.used).map(|(key, _)| *key) else { break };
            self.rows.remove(&oldest);
        }
        let (name, password) = (account.name.clone(), account.password.clone());
        self.rows.insert(key(token), LoggedIn { name, password, begun: now, used: now });
    }

    /// Whose it is; `find` looks an account up by its name, as it is now.
    pub(super) fn whose<'a>(
        &mut self,
        token: &str,
        now: SignedDuration,
        find: impl FnOnce(&str) -> Option<&'a Account>,
    ) -> Option<&'a Account> {
        let key = key(token);
        let row = self.rows.get_mut(&key)?;
        let account = find(&row.name).filter(|account| row.is_fresh(now) && account.password == row.password);
        if account.is_none() {
            self.rows.remove(&key);
            return None;
        }
        row.used = now;
        account
    }

    /// Somebody has logged out.
    pub(super) fn end(&mut self, token: &str) {
        self.rows.remove(&key(token));
    }

    fn of(&self, name: &str) -> usize {
        self.rows.values().filter(|row| row.name == name).count()
    }
}

impl LoggedIn {
    fn is_fresh(&self, now: SignedDuration) -> bool {
        now.saturating_sub(self.used) < UNUSED && now.saturating_sub(self.begun) < LONGEST
    }
}

fn key(token: &str) -> [u8; 32] {
    let mut key = [0; 32];
    key.copy_from_slice(digest(&SHA256, token.as_bytes()).as_ref());
    key
}

/// A telephone that lay in a drawer.
pub(super) const UNUSED: SignedDuration = SignedDuration::from_hours(3 * 24);
/// From logging in.
const LONGEST: SignedDuration = SignedDuration::from_hours(30 * 24);
/// Of all; whoever was away longest logs in again.
const MOST: usize = 256;
/// Of one user: telephones, desks, and those that were never logged out.
const OF_ONE: usize = 16;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::users::PageRole;

    fn account(name: &str) -> Account {
        Account { name: name.to_owned(), role: PageRole::Log, password: KeptPassword::nobodys() }
    }

    const START: SignedDuration = SignedDuration::from_hours(5);

    fn hours(hours: i64) -> SignedDuration {
        START + SignedDuration::from_hours(hours)
    }

    #[test]
    fn a_session_ends_unused_after_days_and_at_the_latest_after_a_month() {
        let aino = account("Aino");
        let mut sessions = Sessions::default();
        sessions.begin("t", &aino, START);
        assert!(sessions.whose("u", hours(0), |_| Some(&aino)).is_none());
        for day in 0..14 {
            assert!(sessions.whose("t", hours(day * 48), |_| Some(&aino)).is_some(), "day {day}");
        }
        assert!(sessions.whose("t", hours(30 * 24), |_| Some(&aino)).is_none());
        sessions.begin("t", &aino, START);
        assert!(sessions.whose("t", hours(72), |_| Some(&aino)).is_none());
        assert!(sessions.rows.is_empty());
    }

    #[test]
    fn a_session_ends_with_its_user_its_password_and_by_logging_out() {
        let aino = account("Aino");
        let with_another =
            Account { password: KeptPassword::of("another password").unwrap(), ..account("Aino") };
        let mut sessions = Sessions::default();
        for token in ["a", "b", "c"] {
            sessions.begin(token, &aino, START);
        }
        assert!(sessions.whose("a", START, |_| None).is_none());
        assert!(sessions.whose("b", START, |_| Some(&with_another)).is_none());
        sessions.end("c");
        assert!(sessions.whose("c", START, |_| Some(&aino)).is_none());
    }

    #[test]
    fn many_who_log_in_push_out_those_who_were_away_longest_and_one_pushes_out_nobody_else() {
        let (aino, kim) = (account("Aino"), account("Kim"));
        let mut sessions = Sessions::default();
        sessions.begin("aino", &aino, START);
        for n in 0..100_i64 {
            sessions.begin(&format!("kim {n}"), &kim, START + SignedDuration::from_secs(n));
        }
        assert_eq!(sessions.rows.len(), 1 + OF_ONE);
        assert!(sessions.whose("aino", hours(1), |_| Some(&aino)).is_some());
        assert!(sessions.whose("kim 99", hours(1), |_| Some(&kim)).is_some());
        assert!(sessions.whose("kim 0", hours(1), |_| Some(&kim)).is_none());
        for n in 0..1000_i64 {
            sessions.begin(&format!("x {n}"), &account(&format!("user {n}")), hours(2));
        }
        assert_eq!(sessions.rows.len(), MOST);
    }
}
