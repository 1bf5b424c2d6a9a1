//! `webhook` and `command` of a `[[contact]]`: two more ways to reach somebody.

use std::path::PathBuf;

use toml::Spanned;
use toml::de::DeValue;

use super::Surroundings;
use super::broker::certificates;
use super::secrets;
use super::table::Table;
use super::value::{self, Wrong, wrong};
use crate::notify::{LocalCommand, Webhook};
use crate::post::{NotAWebAddress, WebAddress};

/// A signed POST.
pub(super) fn webhook(table: Table<'_>, around: &Surroundings) -> Option<Webhook> {
    let url = table.need("url", "\"https://gateway.example.org/claymark\"", web_address);
    let secret = secrets::shared(&table, around);
    let ca_pem = certificates(&table, around).map(|(_, pem)| pem);
    table.finish();
    Some(Webhook { address: url?.into_inner(), ca_pem, secret: secret? })
}

/// A command of this machine.
pub(super) fn command(table: Table<'_>) -> Option<LocalCommand> {
    let program = table.need("program", "\"/usr/local/bin/tell-modem\"", program);
    let arguments = table.maybe("arguments", arguments);
    let short = table.or("short", false, value::yes_or_no);
    if let Some(program) = &program
        && !program.get_ref().is_file()
    {
        let what = format!("program: {} isn't there, or may not be seen by you", program.get_ref().display());
        table.findings.warning(
            program.span(),
            what,
            "Install it, and let the user that runs Claymark run it.",
        );
    }
    table.finish();
    let arguments = arguments.map(Spanned::into_inner).unwrap_or_default();
    Some(LocalCommand { program: program?.into_inner(), arguments, short })
}

/// `https://…`, or `http://…` to this machine.
pub(super) fn web_address(value: &DeValue<'_>) -> Result<WebAddress, Wrong> {
    let text = value::text(value)?;
    WebAddress::parse(&text).map_err(|bad| {
        let remedy = match bad {
            NotAWebAddress::NoAddress => "Write it whole: \"https://gateway.example.org/claymark\".",
            NotAWebAddress::Login => {
                "Take out everything up to the @ and change the password, since it has been written down here."
            }
            NotAWebAddress::InTheClear => "Write https://, with ca_file when its certificate is your own.",
        };
        Wrong { what: bad.to_string(), remedy: remedy.to_owned() }
    })
}

fn program(value: &DeValue<'_>) -> Result<PathBuf, Wrong> {
    let path = value::path(value)?;
    if path.is_absolute() {
        return Ok(path);
    }
    wrong(
        format!("'{}' is no absolute path", path.display()),
        "Write the program's whole path, such as \"/usr/local/bin/tell-modem\"; what it needs goes into arguments.",
    )
}

/// Texts, each as it is: no shell reads them.
fn arguments(value: &DeValue<'_>) -> Result<Vec<String>, Wrong> {
    let list =
        value.as_array().map(|list| list.iter().map(|item| item.get_ref().as_str().map(str::to_owned)));
    match list.and_then(|list| list.collect::<Option<Vec<_>>>()) {
        Some(texts) if texts.iter().all(|text| !text.contains('\0')) => Ok(texts),
        Some(_) | None => wrong(
            "a list of texts is wanted",
            "Write each argument in quotes of its own: [\"--to\", \"+358…\"].",
        ),
    }
}
