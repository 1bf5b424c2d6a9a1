//! A real IMAP server, Dovecot, started by the test with one mailbox; mails are put into it as a mail server would.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use tempfile::TempDir;

use crate::certificates;
use crate::wait::{free_port, wait_for};

/// A running server with the mailbox of `claymark`; it is killed when it is dropped.
pub struct ImapServer {
    dir: TempDir,
    port: u16,
    process: Option<Child>,
    mails: u32,
}

impl ImapServer {
    /// Starts it on a free port, with TLS and a certificate of an authority of its own ([`ImapServer::ca`]).
    ///
    /// # Panics
    /// When Dovecot isn't installed, or we aren't root: its parts run as users of their own.
    #[must_use]
    pub fn start() -> Self {
        let dir = tempfile::tempdir().expect("a temporary folder can be made");
        fs::set_permissions(dir.path(), fs::Permissions::from_mode(0o755)).expect("it is ours");
        certificates::make(dir.path());
        let port = free_port();
        let text = CONFIGURATION
            .replace("{dir}", &dir.path().display().to_string())
            .replace("{port}", &port.to_string());
        fs::write(dir.path().join("dovecot.conf"), text).expect("writable");
        let mut server = Self { dir, port, process: None, mails: 0 };
        for folder in ["mail", "mail/new", "mail/cur", "mail/tmp"] {
            fs::create_dir(server.file(folder)).expect("writable");
            chown(&server.file(folder));
        }
        server.run();
        server
    }

    /// Starts it once more on its port.
    ///
    /// # Panics
    /// When it doesn't listen.
    pub fn run(&mut self) {
        let log = fs::File::create(self.file("stderr")).expect("writable");
        let process = Command::new("dovecot")
            .env("PATH", format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default()))
            .args(["-F", "-c"])
            .arg(self.file("dovecot.conf"))
            .stdin(Stdio::null())
            .stderr(log)
            .spawn()
            .expect("dovecot is installed (tests/run --prepare)");
        self.process = Some(process);
        wait_for("the IMAP server listens", || std::net::TcpStream::connect(("127.0.0.1", self.port)).ok());
    }

    /// Ends it; mails stay, and can still be put in.
    ///
    /// # Panics
    /// When it wasn't running.
    pub fn stop(&mut self) {
        let mut process = self.process.take().expect("it was running");
        crate::broker::signal(&process, "TERM");
        process.wait().expect("a child can be waited for");
    }

    /// Its port on localhost.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// The certificate of its authority, PEM.
    #[must_use]
    pub fn ca(&self) -> PathBuf {
        self.file("ca.pem")
    }

    /// Puts a mail in: more heads, each ended by a line end, and the text.
    ///
    /// # Panics
    /// When the disk refuses.
    pub fn deliver(&mut self, from: &str, heads: &str, text: &str) {
        self.mails += 1;
        let name = format!("{}.M{}.test", self.mails, self.mails);
        let mail = format!(
            "From: {from}\r\nTo: claymark@barn.example\r\nSubject: Re: a notice\r\n{heads}\r\n{text}\r\n"
        );
        let written = self.file("mail/tmp").join(&name);
        fs::write(&written, mail).expect("writable");
        chown(&written);
        fs::rename(written, self.file("mail/new").join(name)).expect("one file system");
    }

    /// How many mails nobody has read.
    ///
    /// # Panics
    /// When the folder isn't there.
    #[must_use]
    pub fn unread(&self) -> usize {
        let names = |folder| fs::read_dir(self.file(folder)).expect("it is there").filter_map(Result::ok);
        let unseen = |name: &str| !name.rsplit(",").next().unwrap_or_default().contains('S');
        let cur = names("mail/cur").filter(|entry| unseen(&entry.file_name().to_string_lossy())).count();
        names("mail/new").count() + cur
    }

    /// What it says, for a test that failed.
    #[must_use]
    pub fn log(&self) -> String {
        fs::read_to_string(self.file("log")).unwrap_or_default()
    }

    fn file(&self, name: &str) -> PathBuf {
        self.dir.path().join(name)
    }
}

impl Drop for ImapServer {
    fn drop(&mut self) {
        if self.process.is_some() {
            self.stop();
        }
        if std::thread::panicking() {
            eprintln!("the IMAP server said:\n{}", self.log());
        }
    }
}

fn chown(path: &Path) {
    let status = Command::new("chown").arg("mail:mail").arg(path).status();
    assert!(status.expect("chown is there").success(), "root may");
}

/// Dovecot 2.3's.
const CONFIGURATION: &str = r#"
base_dir = {dir}/run
log_path = {dir}/log
protocols = imap
listen = 127.0.0.1
ssl = required
ssl_cert = <{dir}/server.pem
ssl_key = <{dir}/server.key
mail_location = maildir:{dir}/mail
first_valid_uid = 1
passdb {
  driver = static
  args = password=mailbox-pw
}
userdb {
  driver = static
  args = uid=mail gid=mail home={dir}/mail
}
service imap-login {
  inet_listener imap {
    port = 0
  }
  inet_listener imaps {
    port = {port}
    ssl = yes
  }
}
service stats {
  unix_listener stats-writer {
    mode = 0666
  }
}
"#;
