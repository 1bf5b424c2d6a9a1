//! `[page]`: what stands against serving it is a warning, since the watch goes on; what can't be read is a mistake.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use super::{BASE, accepted, around};
use crate::config::{Secrets, Surroundings, describe, parse};
use crate::users::file;
use crate::users::secret::KeptPassword;
use crate::users::{Account, PageRole, Users};

fn looked_at(folder: &Path) -> Surroundings {
    Surroundings { folder: folder.to_owned(), secrets: Secrets::LookedAt, ..around() }
}

fn with(page: &str) -> String {
    format!("{BASE}\n[page]\n{page}\n")
}

/// Everything that can be said of it.
const WHOLE: &str = "listen = \"0.0.0.0:8443\"\naddress = \"https://barn.example.org:8443\"\nusers = \"people.toml\"\n\
                     cert_file = \"page.pem\"\nkey_file = \"page.key\"\nsecret_file = \"page.secret\"";

fn secret(folder: &Path) {
    let path = folder.join("page.secret");
    std::fs::write(&path, "0123456789abcdef").unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o600)).unwrap();
}

#[test]
fn a_page_for_others_that_lacks_something_is_a_warning_and_the_rest_goes_on() {
    let folder = tempfile::tempdir().unwrap();
    secret(folder.path());
    let warned = |page: &str| {
        let file = accepted(&with(page), &looked_at(folder.path()));
        file.warnings.render(false)
    };
    assert!(!warned("listen = \"127.0.0.1:8080\"").contains("isn't served"));
    let open = warned("listen = \"0.0.0.0:8443\"");
    assert!(open.contains("The page isn't served on 0.0.0.0:8443") && open.contains("cert_file"), "{open}");
    let nobody = warned(WHOLE);
    assert!(
        nobody.contains("people.toml names no users") && nobody.contains("claymark user add"),
        "{nobody}"
    );
    let account = Account { name: "Aino".to_owned(), role: PageRole::Set, password: KeptPassword::nobodys() };
    file::write(&folder.path().join("people.toml"), &Users { accounts: vec![account], screens: Vec::new() })
        .unwrap();
    let no_certificate = warned(WHOLE);
    assert!(no_certificate.contains("its certificate can't be used"), "{no_certificate}");
    // The daemon itself looks when it opens the page.
    let needed = Surroundings { secrets: Secrets::Needed, ..looked_at(folder.path()) };
    assert!(!accepted(&with(WHOLE), &needed).warnings.render(false).contains("isn't served"));
    let behind =
        warned("listen = \"0.0.0.0:8080\"\nbehind = [\"192.0.2.7\", \"::1\"]\nusers = \"people.toml\"");
    assert!(!behind.contains("isn't served"), "{behind}");
    let no_secret = warned("listen = \"127.0.0.1:8080\"\naddress = \"http://localhost:8080\"");
    assert!(no_secret.contains("messages carry no link"), "{no_secret}");
}

#[test]
fn it_is_described_without_its_secret() {
    let folder = tempfile::tempdir().unwrap();
    secret(folder.path());
    let said = |page: &str| describe(&accepted(&with(page), &looked_at(folder.path())).settings);
    let alone = said("listen = \"127.0.0.1:8080\"");
    assert!(
        alone.contains("The page is served on http://127.0.0.1:8080/, at this machine alone\n"),
        "{alone}"
    );
    let whole = said(WHOLE);
    for part in [
        "The page is to be served on https://0.0.0.0:8443/, for whoever logs in; users in ",
        "people.toml; others reach it at https://barn.example.org:8443, and messages carry a link to answer by",
    ] {
        assert!(whole.contains(part), "{part}: {whole}");
    }
    assert!(!whole.contains("0123456789abcdef"), "{whole}");
    let file = accepted(&with(WHOLE), &looked_at(folder.path()));
    let links = file.settings.notify.links.expect("there are an address and a secret");
    assert_eq!(
        (links.origin.as_str(), links.secret.as_str()),
        ("https://barn.example.org:8443", "0123456789abcdef")
    );
}

#[test]
fn what_can_not_be_read_is_a_mistake_with_its_remedy() {
    let folder = tempfile::tempdir().unwrap();
    secret(folder.path());
    for (page, what) in [
        ("listen = \"barn:8080\"", "isn't an address with a port"),
        ("listen = \"127.0.0.1:1\"\naddress = \"barn.example.org\"", "this isn't an address such as"),
        ("listen = \"127.0.0.1:1\"\naddress = \"http://barn.example.org\"", "others can read them"),
        ("listen = \"127.0.0.1:1\"\nbehind = \"nginx\"", "isn't the address of a machine"),
        ("listen = \"127.0.0.1:1\"\nbehind = []", "the list is empty"),
        ("listen = \"127.0.0.1:1\"\ncert_file = \"page.pem\"", "stands alone"),
        (
            "listen = \"127.0.0.1:1\"\ncert_file = \"a\"\nkey_file = \"b\"\nbehind = \"127.0.0.1\"",
            "Keep one of the two",
        ),
        ("listen = \"127.0.0.1:1\"\nsecret_file = \"page.secret\"", "no address that they could have"),
        (
            "listen = \"127.0.0.1:1\"\naddress = \"https://a.example\"\nsecret = \"0123456789abcdef\"",
            "secret",
        ),
        ("listen = \"127.0.0.1:1\"\nuser = \"users.toml\"", "user"),
    ] {
        let refused =
            parse(&with(page), &looked_at(folder.path())).err().map(|mistakes| mistakes.render(false));
        let refused = refused.unwrap_or_else(|| panic!("{page} is taken"));
        assert!(refused.contains(what), "{page}: {refused}");
        assert!(!refused.contains("0123456789abcdef"), "{refused}");
    }
}
