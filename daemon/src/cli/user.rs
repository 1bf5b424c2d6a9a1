//! `claymark user`: who may log in at the page, and which screens may look.

use std::io::Write as _;
use std::path::Path;

use clap::{Args, Subcommand};

use super::unseen::typed_unseen;
use super::{CommandFailure, SiteFileFlag};
use crate::config::{self, Secrets};
use crate::page::Settings as PageSettings;
use crate::users::file::{self, UsersError};
use crate::users::secret::{self, KeptPassword, KeptToken};
use crate::users::{Account, NotAName, PageRole, Users, WallScreen};

#[derive(Debug, Args)]
pub(super) struct UserCommand {
    #[command(flatten)]
    site_file: SiteFileFlag,
    #[command(subcommand)]
    what: UserDeed,
}

#[derive(Debug, Subcommand)]
enum UserDeed {
    /// Let somebody log in; the password is typed unseen, or read from standard input
    ///
    /// Whoever is named as a contact's id or name writes and answers as that contact.
    Add {
        /// How they log in: the id or name of a contact, or any other name
        name: String,
        /// What they may do: look; log (write down, too); answer (that they are on it or can't go, too); set (shelve and
        /// give the night, too)
        #[arg(long, value_name = "ROLE", value_parser = role)]
        role: PageRole,
    },
    /// Give somebody another password; wherever they are logged in, they log in anew
    Password {
        /// Who
        name: String,
    },
    /// Take somebody, or a screen, out: within seconds they are logged in nowhere
    Remove {
        /// Who, or which
        name: String,
    },
    /// Who may log in, and what they may do
    List,
    /// Let a screen on a wall look, by an address that is shown once
    Wall {
        /// Where it hangs
        name: String,
    },
}

fn role(text: &str) -> Result<PageRole, String> {
    PageRole::parse(text).ok_or_else(|| "a role is look, log, answer or set".to_owned())
}

pub(super) fn run(asked: UserCommand) -> Result<(), CommandFailure> {
    let settings = config::read(&asked.site_file.config, Secrets::Left)?.settings;
    let Some(page) = settings.page else {
        return Err(CommandFailure::Wrong {
            what: "The site file has no [page], so nobody logs in anywhere.".to_owned(),
            remedy: "Add [page] with listen = \"127.0.0.1:8080\".".to_owned(),
        });
    };
    let path = &page.users.file;
    let users = known(path)?;
    match asked.what {
        UserDeed::Add { name, role } => add(path, users, name, role),
        UserDeed::Password { name } => give_password(path, users, &name),
        UserDeed::Remove { name } => remove(path, users, &name),
        UserDeed::List => list(path, &users),
        UserDeed::Wall { name } => wall(&page, users, name),
    }
}

/// Those who are there; nobody where there is no file yet.
fn known(path: &Path) -> Result<Users, CommandFailure> {
    match file::read(path) {
        Ok(users) => Ok(users),
        Err(UsersError::Missing(_)) => Ok(Users::default()),
        Err(error) => Err(failed(&error)),
    }
}

fn add(path: &Path, mut users: Users, name: String, role: PageRole) -> Result<(), CommandFailure> {
    users.may_be_called(&name).map_err(|why| not_called(&name, why))?;
    let password = new_password(&name)?;
    users.accounts.push(Account { name: name.clone(), role, password });
    file::write(path, &users).map_err(|error| failed(&error))?;
    say(&format!("{name} may log in at the page, with the role {role}. Kept in {}.", path.display()))
}

fn give_password(path: &Path, mut users: Users, name: &str) -> Result<(), CommandFailure> {
    let called = users.account(name).map(|account| account.name.clone()).ok_or_else(|| nobody(name))?;
    let password = new_password(&called)?;
    for account in users.accounts.iter_mut().filter(|account| account.name == called) {
        account.password = password.clone();
    }
    file::write(path, &users).map_err(|error| failed(&error))?;
    say(&format!("{called} has another password, and logs in anew with it."))
}

fn remove(path: &Path, mut users: Users, name: &str) -> Result<(), CommandFailure> {
    if !users.remove(name) {
        return Err(nobody(name));
    }
    file::write(path, &users).map_err(|error| failed(&error))?;
    let left = if users.accounts.is_empty() {
        " Nobody may log in any more; others reach the page no longer after the next start."
    } else {
        ""
    };
    say(&format!("{name} may not log in any more.{left}"))
}

fn list(path: &Path, users: &Users) -> Result<(), CommandFailure> {
    if users.is_empty() {
        return say(&format!("Nobody: {} names no users.", path.display()));
    }
    for Account { name, role, .. } in &users.accounts {
        say(&format!("{name}: {role}"))?;
    }
    for WallScreen { name, .. } in &users.screens {
        say(&format!("{name}: a screen, may look"))?;
    }
    Ok(())
}

fn wall(page: &PageSettings, mut users: Users, name: String) -> Result<(), CommandFailure> {
    users.may_be_called(&name).map_err(|why| not_called(&name, why))?;
    let token = secret::token();
    users.screens.push(WallScreen { name: name.clone(), token: KeptToken::of(&token) });
    file::write(&page.users.file, &users).map_err(|error| failed(&error))?;
    let scheme = if page.tls.is_some() { "https" } else { "http" };
    let origin = page
        .address
        .as_ref()
        .map_or_else(|| format!("{scheme}://{}", page.listen), |address| address.origin());
    say(&format!(
        "Open this once at the screen {name}; it is shown only now, and lets whoever has it look:\n{origin}/screen/{token}"
    ))
}

fn new_password(name: &str) -> Result<KeptPassword, CommandFailure> {
    let typed = typed_unseen(&format!("New password of {name}: "), "The same again: ")?;
    KeptPassword::of(&typed).map_err(|why| CommandFailure::Wrong {
        what: format!("Nothing was changed: {why}."),
        remedy: String::new(),
    })
}

fn not_called(name: &str, why: NotAName) -> CommandFailure {
    CommandFailure::Wrong {
        what: format!("'{name}' can't be the name: {why}."),
        remedy: "claymark user list shows who there is.".to_owned(),
    }
}

fn nobody(name: &str) -> CommandFailure {
    CommandFailure::Wrong {
        what: format!("There is nobody called '{name}'."),
        remedy: "claymark user list shows who there is.".to_owned(),
    }
}

fn failed(error: &UsersError) -> CommandFailure {
    CommandFailure::Failed {
        what: format!("{error}."),
        remedy: "Run it as the user that runs Claymark: sudo -u claymark claymark user …".to_owned(),
    }
}

fn say(line: &str) -> Result<(), CommandFailure> {
    Ok(writeln!(std::io::stdout(), "{line}")?)
}
