//! Why the page isn't served: told to people, since whoever counts on a screen must know that it is dark.

use serde::{Deserialize, Serialize};

/// Why the page isn't served; the watch goes on without it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "closed", rename_all = "kebab-case")]
pub enum PageClosed {
    /// Others could read along: it listens wider than this machine, with neither TLS nor a proxy.
    InTheClear,
    /// Others could look and write: it listens wider than this machine, and knows no users.
    NoUsers {
        /// Where they would stand.
        file: String,
    },
    /// The users' file can't be used.
    Users {
        /// Why.
        why: String,
    },
    /// The certificate or its key can't be used.
    Certificate {
        /// Why.
        why: String,
    },
    /// The address can't be had.
    NotBound {
        /// What the system says.
        why: String,
    },
}
