//! The porter: knows who is logged in, who guesses passwords, and which forms are whose. Outlives a reading of the site file.

use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};

use jiff::SignedDuration;
use ring::hmac;
use tokio::sync::Semaphore;

use super::guesses::Guesses;
use super::sessions::Sessions;
use crate::users::secret::{self, KeptPassword};
use crate::users::{Account, Users};

/// What there is once in a process.
pub struct Porter {
    /// Makes the tokens of forms.
    forms: hmac::Key,
    sessions: Mutex<Sessions>,
    guesses: Mutex<Guesses>,
    /// A password takes a core for a tenth of a second, and the watch needs it more.
    trying: Semaphore,
}

/// Why somebody isn't logged in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum NotLoggedIn {
    /// There is no such name with that password.
    Wrong,
    /// Too many wrong ones came before.
    Wait(SignedDuration),
    /// Too many try at once.
    Busy,
}

impl Default for Porter {
    fn default() -> Self {
        Self {
            forms: hmac::Key::new(hmac::HMAC_SHA256, &rand::random::<[u8; 32]>()),
            sessions: Mutex::default(),
            guesses: Mutex::default(),
            trying: Semaphore::new(1),
        }
    }
}

impl Porter {
    /// Whose session that is.
    pub(super) fn whose(&self, token: &str, users: &Users, now: SignedDuration) -> Option<Account> {
        locked(&self.sessions).whose(token, now, |name| users.account(name)).cloned()
    }

    /// Logs somebody in; what their browser is to keep.
    pub(super) async fn log_in(
        &self,
        users: &Users,
        (name, password): (&str, String),
        (from, now): (IpAddr, impl Fn() -> SignedDuration),
    ) -> Result<String, NotLoggedIn> {
        // One after the other, so that many tries at once find no gap before the first of them is counted.
        let turn = tokio::time::timeout(TURN, self.trying.acquire()).await;
        let Ok(Ok(_turn)) = turn else { return Err(NotLoggedIn::Busy) };
        let account = users.account(name);
        let known = account.map(|account| account.name.as_str());
        if let Some(pause) = locked(&self.guesses).pause(known, from, now()) {
            return Err(NotLoggedIn::Wait(pause));
        }
        let kept = account.map_or_else(KeptPassword::nobodys, |account| account.password.clone());
        let fits = tokio::task::spawn_blocking(move || kept.fits(&password)).await.unwrap_or(false);
        let Some(account) = account.filter(|_| fits) else {
            locked(&self.guesses).wrong(known, from, now());
            tracing::warn!("a wrong password or name was typed at the page, from {from}");
            return Err(NotLoggedIn::Wrong);
        };
        locked(&self.guesses).right(&account.name);
        let token = secret::token();
        locked(&self.sessions).begin(&token, account, now());
        tracing::info!("{} has logged in at the page, from {from}", account.name);
        Ok(token)
    }

    /// Whether a token of a screen may be tried from there.
    pub(super) fn may_guess(&self, from: IpAddr, now: SignedDuration) -> bool {
        locked(&self.guesses).pause(None, from, now).is_none()
    }

    /// A token was no screen's.
    pub(super) fn wrong_token(&self, from: IpAddr, now: SignedDuration) {
        locked(&self.guesses).wrong(None, from, now);
    }

    /// Logs somebody out.
    pub(super) fn log_out(&self, token: &str) {
        locked(&self.sessions).end(token);
    }

    /// What stands in the forms of whoever has that cookie.
    pub(super) fn form_token(&self, cookie: &str) -> String {
        secret::hex(hmac::sign(&self.forms, cookie.as_bytes()).as_ref())
    }

    /// Whether a form is theirs; in constant time.
    pub(super) fn is_theirs(&self, cookie: &str, token: &str) -> bool {
        secret::same(self.form_token(cookie).as_bytes(), token.as_bytes())
    }
}

/// What a panic left half done is a row too many or too few.
fn locked<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// So long somebody waits behind others who log in.
const TURN: std::time::Duration = std::time::Duration::from_secs(10);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::users::PageRole;

    fn users() -> Users {
        let password = KeptPassword::of("clay drum pike nine").unwrap();
        let account = Account { name: "Aino".to_owned(), role: PageRole::Answer, password };
        Users { accounts: vec![account], screens: Vec::new() }
    }

    #[test]
    fn a_form_is_known_by_the_cookie_that_it_was_made_for() {
        let porter = Porter::default();
        let token = porter.form_token("a");
        assert!(porter.is_theirs("a", &token));
        assert!(!porter.is_theirs("b", &token) && !porter.is_theirs("a", "") && !porter.is_theirs("a", "a"));
        assert!(!Porter::default().is_theirs("a", &token), "another process has another key");
    }

    #[tokio::test]
    async fn the_right_password_logs_in_and_during_a_pause_it_does_not() {
        let (porter, users, from) = (Porter::default(), users(), IpAddr::from([192, 0, 2, 1]));
        let at = |seconds| move || SignedDuration::from_secs(seconds);
        let right = || "clay drum pike nine".to_owned();
        let token = porter.log_in(&users, ("aino", right()), (from, at(0))).await.unwrap();
        assert_eq!(porter.whose(&token, &users, at(1)()).unwrap().name, "Aino");
        porter.log_out(&token);
        assert_eq!(porter.whose(&token, &users, at(1)()), None);
        for _ in 0..3 {
            let wrong = porter.log_in(&users, ("Aino", "clay drum pike ten".to_owned()), (from, at(5))).await;
            assert_eq!(wrong, Err(NotLoggedIn::Wrong));
        }
        let early = porter.log_in(&users, ("Aino", right()), (from, at(5))).await;
        assert_eq!(early, Err(NotLoggedIn::Wait(SignedDuration::from_secs(1))));
        assert!(porter.log_in(&users, ("Aino", right()), (from, at(6))).await.is_ok());
    }
}
