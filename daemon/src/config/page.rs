//! `[page]`: where the page is served, for whom, and by which way they come in.
//!
//! What stands against serving it is a warning, not a mistake: the watch begins without the page.

use std::net::{IpAddr, SocketAddr};
use std::path::Path;

use toml::de::DeValue;

use super::table::Table;
use super::value::{self, Wrong, wrong};
use super::{Secrets, Surroundings, secrets};
use crate::page::Settings;
use crate::page::gate::{self, CertificateFiles, UsersPlace};
use crate::page::names::{NotAPageAddress, PageAddress};

/// Reads the section; the users stand beside the store unless it says otherwise.
pub(super) fn page(table: Table<'_>, around: &Surroundings, store: &Path) -> Option<Settings> {
    let listen = table.need("listen", "\"127.0.0.1:8080\"", address_with_port);
    let address = table.maybe("address", page_address);
    let users = table.maybe("users", value::path);
    let (cert, key) = (table.maybe("cert_file", value::path), table.maybe("key_file", value::path));
    let behind = table.maybe("behind", proxies);
    if let (Some(one), None) | (None, Some(one)) = (&cert, &key) {
        let remedy = "Write both: cert_file with the certificate and key_file with its key.";
        table.findings.mistake(one.span(), "one of cert_file and key_file stands alone", remedy);
    }
    if let (Some(_), Some(behind)) = (&cert, &behind) {
        let what = "behind: the proxy has TLS, and so has the page";
        table.findings.mistake(
            behind.span(),
            what,
            "Keep one of the two: behind, or cert_file and key_file.",
        );
    }
    let has_secret = table.key_span("secret_file").is_some() || table.key_span("credential").is_some();
    let links = if has_secret { Some(secrets::shared(&table, around)?) } else { told_of_links(&table) };
    if has_secret && address.is_none() {
        let what = "there is a secret for links, and no address that they could have";
        table.findings.mistake(
            table.span(),
            what,
            "Add address = \"https://…\", under which the page is reached.",
        );
    }
    let findings = table.findings;
    table.finish();
    let usual = store.with_file_name("users.toml");
    let named = users.is_some();
    let file = users.map_or(usual, |file| around.folder.join(file.get_ref()));
    let beside = |path: toml::Spanned<std::path::PathBuf>| around.folder.join(path.get_ref());
    let listen = listen?;
    let settings = Settings {
        listen: *listen.get_ref(),
        address: address.map(toml::Spanned::into_inner),
        users: UsersPlace { file, named },
        tls: cert.zip(key).map(|(cert, key)| CertificateFiles { cert: beside(cert), key: beside(key) }),
        behind: behind.map(toml::Spanned::into_inner).unwrap_or_default(),
        links: links.filter(|secret| !secret.is_empty()),
    };
    if around.secrets == Secrets::LookedAt
        && let Err(why) = gate::open(&settings)
    {
        let (what, remedy) = claymark_words::doors::closed(&settings.listen.to_string(), &why);
        findings.warning(listen.span(), what, remedy);
    }
    Some(settings)
}

/// Messages have no link without a secret: whoever wrote an address may expect one.
fn told_of_links(table: &Table<'_>) -> Option<String> {
    if let Some(address) = table.key_span("address") {
        let what = "messages carry no link to answer by: there is no secret to make it from";
        let remedy = "If they should: openssl rand -hex 32 > page.secret, chmod 600, and add secret_file = \"page.secret\".";
        table.findings.warning(address, what, remedy);
    }
    None
}

fn address_with_port(value: &DeValue<'_>) -> Result<SocketAddr, Wrong> {
    let text = value::text(value)?;
    text.parse().or_else(|_not_an_address| {
        wrong(
            format!("'{text}' isn't an address with a port"),
            "Write \"127.0.0.1:8080\" for this machine alone, or \"0.0.0.0:8443\" for others, with users and TLS.",
        )
    })
}

fn page_address(value: &DeValue<'_>) -> Result<PageAddress, Wrong> {
    let text = value::text(value)?;
    PageAddress::parse(&text).map_err(|bad| {
        let remedy = match bad {
            NotAPageAddress::Form => {
                "Write it as the browser shows it: \"https://claymark.example.org:8443\"."
            }
            NotAPageAddress::InTheClear => {
                "Write https://, by a certificate of the page's own or that of its proxy."
            }
        };
        Wrong { what: bad.to_string(), remedy: remedy.to_owned() }
    })
}

/// One address, or several.
fn proxies(value: &DeValue<'_>) -> Result<Vec<IpAddr>, Wrong> {
    let texts = match value::text(value) {
        Ok(one) => vec![one],
        Err(_several) => value::texts(value)?.into_iter().map(toml::Spanned::into_inner).collect(),
    };
    let read = |text: &String| {
        text.parse::<IpAddr>().map(|ip| ip.to_canonical()).or_else(|_no_ip| {
            wrong(
                format!("'{text}' isn't the address of a machine"),
                "Write the address from which the proxy connects: \"127.0.0.1\" or \"192.0.2.7\".",
            )
        })
    };
    let proxies: Vec<IpAddr> = texts.iter().map(read).collect::<Result<_, _>>()?;
    if proxies.is_empty() {
        return wrong("behind: there is no proxy in it", "Write its address, or take the key out.");
    }
    Ok(proxies)
}
