//! The users' file: TOML, for its owner alone (mode 0600), written beside itself and then put in its place.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use serde::Deserialize;

use super::secret::{KeptPassword, KeptToken, NotAPassword};
use super::{Account, NotAName, PageRole, Users, WallScreen};

/// Why the file can't be used.
#[derive(Debug, thiserror::Error)]
pub enum UsersError {
    /// There is none.
    #[error("{} isn't there", .0.display())]
    Missing(PathBuf),
    /// The system refuses.
    #[error("{} can't be read: {source}", path.display())]
    Unreadable {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// Others may read or change it.
    #[error("{} may be read or changed by others (mode {mode:03o}): chmod 600 it", path.display())]
    ForOthers {
        /// Which.
        path: PathBuf,
        /// Its mode.
        mode: u32,
    },
    /// It isn't as `claymark user` writes it.
    #[error("{} isn't as claymark user writes it: {why}", path.display())]
    Spoilt {
        /// Which.
        path: PathBuf,
        /// What is wrong, without any value.
        why: String,
    },
    /// It can't be written.
    #[error("{} can't be written: {source}", path.display())]
    NotWritten {
        /// Which.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UsersAsKept {
    #[serde(default)]
    user: Vec<AccountAsKept>,
    #[serde(default)]
    screen: Vec<ScreenAsKept>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct AccountAsKept {
    name: String,
    role: String,
    password: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ScreenAsKept {
    name: String,
    token: String,
}

/// Reads it; one that others may read isn't used, since what is kept could be guessed at leisure.
pub fn read(path: &Path) -> Result<Users, UsersError> {
    let unreadable = |source: io::Error| {
        if source.kind() == io::ErrorKind::NotFound {
            return UsersError::Missing(path.to_owned());
        }
        UsersError::Unreadable { path: path.to_owned(), source }
    };
    let file = File::open(path).map_err(unreadable)?;
    let mode = file.metadata().map_err(unreadable)?.mode() & 0o777;
    if mode & FOR_OTHERS != 0 {
        return Err(UsersError::ForOthers { path: path.to_owned(), mode });
    }
    let text = io::read_to_string(file).map_err(unreadable)?;
    parse(&text).map_err(|why| UsersError::Spoilt { path: path.to_owned(), why })
}

/// Writes all of them; whoever reads meanwhile has the old file whole, or the new one.
pub fn write(path: &Path, users: &Users) -> Result<(), UsersError> {
    let failed = |source| UsersError::NotWritten { path: path.to_owned(), source };
    let mut beside = path.as_os_str().to_owned();
    beside.push(format!(".new{:016x}", rand::random::<u64>()));
    let beside = PathBuf::from(beside);
    let written = put(&beside, &text(users), path);
    if written.is_err() {
        // What is left of it holds no more than the file itself would.
        drop(fs::remove_file(&beside));
    }
    written.map_err(failed)
}

fn put(beside: &Path, text: &str, path: &Path) -> io::Result<()> {
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(beside)?;
    // Root makes logins for the user that runs Claymark, who must go on reading the file.
    if let Some(owner) = owner(path) {
        match std::os::unix::fs::fchown(&file, Some(owner.0), Some(owner.1)) {
            Err(error) if error.kind() != io::ErrorKind::PermissionDenied => return Err(error),
            Ok(()) | Err(_) => {}
        }
    }
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    fs::rename(beside, path)?;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

/// Whose it is, or whose its folder is.
fn owner(path: &Path) -> Option<(u32, u32)> {
    let about = fs::metadata(path).ok().or_else(|| fs::metadata(path.parent()?).ok())?;
    Some((about.uid(), about.gid()))
}

/// The names hold no sign that TOML would read as more than a letter.
fn text(users: &Users) -> String {
    let mut text =
        "# Who may log in at Claymark's page. Written by `claymark user`; no password can be read from it.\n"
            .to_owned();
    for Account { name, role, password } in &users.accounts {
        text.push_str(&format!(
            "\n[[user]]\nname = \"{name}\"\nrole = \"{role}\"\npassword = \"{}\"\n",
            password.as_str()
        ));
    }
    for WallScreen { name, token } in &users.screens {
        text.push_str(&format!("\n[[screen]]\nname = \"{name}\"\ntoken = \"{}\"\n", token.hex()));
    }
    text
}

fn parse(text: &str) -> Result<Users, String> {
    let kept: UsersAsKept = toml::from_str(text).map_err(|error| error.message().to_owned())?;
    let mut users = Users::default();
    for AccountAsKept { name, role, password } in kept.user {
        users.may_be_called(&name).map_err(|why: NotAName| why.to_string())?;
        let role = PageRole::parse(&role).ok_or("a role is look, log, answer or set")?;
        let password = KeptPassword::read(&password).map_err(|why: NotAPassword| why.to_string())?;
        users.accounts.push(Account { name, role, password });
    }
    for ScreenAsKept { name, token } in kept.screen {
        users.may_be_called(&name).map_err(|why| why.to_string())?;
        let token = KeptToken::read(&token).ok_or("a token isn't kept as 64 hex digits")?;
        users.screens.push(WallScreen { name, token });
    }
    Ok(users)
}

/// Read, written or run by anybody but the owner.
const FOR_OTHERS: u32 = 0o077;

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    fn users() -> Users {
        let account =
            Account { name: "Östen B".to_owned(), role: PageRole::Set, password: KeptPassword::nobodys() };
        let screen = WallScreen { name: "hall".to_owned(), token: KeptToken::of("abc") };
        Users { accounts: vec![account], screens: vec![screen] }
    }

    #[test]
    fn what_is_written_is_read_again_and_only_its_owner_reads_it() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("users.toml");
        assert!(matches!(read(&path), Err(UsersError::Missing(_))));
        write(&path, &users()).unwrap();
        assert_eq!(read(&path).unwrap(), users());
        assert_eq!(fs::metadata(&path).unwrap().mode() & 0o777, 0o600);
        write(&path, &Users::default()).unwrap();
        assert!(read(&path).unwrap().is_empty());
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1, "nothing is left beside it");
        for mode in [0o644, 0o640, 0o620] {
            fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
            assert!(matches!(read(&path), Err(UsersError::ForOthers { .. })), "{mode:o}");
        }
    }

    #[test]
    fn a_spoilt_file_is_refused_and_shows_nothing_of_what_it_keeps() {
        let good = text(&users());
        let hash = KeptPassword::nobodys().as_str().to_owned();
        for (from, to) in [
            ("role = \"set\"", "role = \"god\""),
            ("$argon2id$", "$plain$"),
            ("name = \"hall\"", "name = \"östen b\""),
            ("[[screen]]", "[[server]]"),
            ("name = \"hall\"", "name = \"<b>\""),
            ("token = \"", "token = \"zz"),
            ("[[user]]", "[[user"),
        ] {
            assert!(good.contains(from), "{from}");
            let why = parse(&good.replace(from, to)).expect_err(to);
            assert!(!why.contains(&hash), "{why}");
        }
    }

    #[test]
    fn a_folder_that_takes_nothing_leaves_the_old_file() {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("away").join("users.toml");
        assert!(matches!(write(&path, &users()), Err(UsersError::NotWritten { .. })));
    }
}
