//! Why the page isn't served, for `check`, the start, `status` and the people.

use claymark_notice::doors::PageClosed;

use crate::typed;

/// Why the page isn't served at `listen`, and what to do about it: two sentences.
#[must_use]
pub fn closed(listen: &str, why: &PageClosed) -> (String, String) {
    let (what, remedy) = match why {
        PageClosed::InTheClear => (
            "other machines could reach it, and passwords would travel so that others can read them".to_owned(),
            "write cert_file and key_file below [page], or behind = \"192.0.2.7\" for a proxy that has TLS, or listen on \
             127.0.0.1"
                .to_owned(),
        ),
        PageClosed::NoUsers { file } => (
            format!("other machines could reach it, and {} names no users", typed::line(file)),
            "make one: claymark user add NAME --role set; or listen on 127.0.0.1".to_owned(),
        ),
        PageClosed::Users { why } => (
            format!("its users aren't known: {}", typed::line(why)),
            "mend the file, or put it aside and make it anew with claymark user add".to_owned(),
        ),
        PageClosed::Certificate { why } => (
            format!("its certificate can't be used: {}", typed::line(why)),
            "put certificate and key in place, for the user that runs Claymark to read".to_owned(),
        ),
        PageClosed::NotBound { why } => (
            format!("the address can't be had: {}", typed::line(why)),
            "look who has the port (ss -ltnp), or write another one under [page]".to_owned(),
        ),
    };
    (
        format!("The page isn't served on {listen}: {what}."),
        format!("{remedy}; then systemctl reload claymark."),
    )
}

/// Nobody answers where the page should be, though nothing stands against it.
#[must_use]
pub fn not_reached(listen: &str, why: &str) -> String {
    format!("The page doesn't answer on {listen}: {}. The journal says why.", typed::line(why))
}
