//! How people are reached and answer, and who watches from outside: read as it stands, and each mistake as people read it.

use std::os::unix::fs::PermissionsExt;
use std::path::Path;

use super::{BASE, accepted, around, mistakes};
use crate::config::{Secrets, Surroundings, describe, parse};

/// Below the good site file.
const REACH: &str = r#"
[[contact]]
id = "ann"
name = "Ann (invented)"
webhook = { url = "https://gateway.example.org/hook", secret_file = "hook.secret" }
command = { program = "/bin/cat", arguments = ["--to", "+1 555 0100"], short = true }
[[contact]]
id = "screen"
mqtt = true
[replies]
host = "imap.example.org"
user = "claymark"
password_file = "imap.password"
secret_file = "replies.secret"
[sign_of_life]
url = "https://watch.example.org/barn"
"#;

fn with_secrets(folder: &Path) -> Surroundings {
    for (name, secret) in
        [("hook.secret", "0123456789abcdef"), ("imap.password", "pw"), ("replies.secret", "fedcba9876543210")]
    {
        std::fs::write(folder.join(name), secret).unwrap();
        std::fs::set_permissions(folder.join(name), std::fs::Permissions::from_mode(0o600)).unwrap();
    }
    Surroundings { folder: folder.to_owned(), ..around() }
}

#[test]
fn each_way_is_read_and_described_without_its_secret() {
    let folder = tempfile::tempdir().unwrap();
    let file = accepted(&format!("{BASE}{REACH}"), &with_secrets(folder.path()));
    let settings = &file.settings;
    let ann =
        settings.notify.addresses.iter().find(|address| address.name.starts_with("Ann")).expect("there");
    assert_eq!(ann.webhook.as_ref().expect("given").secret, "0123456789abcdef");
    let command = ann.command.as_ref().expect("given");
    assert_eq!(
        (command.arguments.as_slice(), command.short),
        (["--to", "+1 555 0100"].map(str::to_owned).as_slice(), true)
    );
    let replies = settings.replies.as_ref().expect("given");
    assert_eq!(
        (replies.port, replies.folder.as_str(), replies.secret.as_str()),
        (993, "INBOX", "fedcba9876543210")
    );
    assert_eq!(settings.notify.replies.as_ref().expect("given").address, "claymark@example.org");
    let said = describe(settings);
    for line in [
        "Ann (invented) (ann) by webhook at gateway.example.org and /bin/cat in short form",
        "A mail is answered by a reply, read in INBOX at imap.example.org",
        "A sign of life goes to watch.example.org each minute",
    ] {
        assert!(said.contains(line), "{line}: {said}");
    }
    assert!(!said.contains("0123456789") && !said.contains("/hook") && !said.contains("/barn"), "{said}");
    let alone =
        "screen (screen) by MQTT claymark/test/notice/screen; nothing gets there while the broker is down";
    assert!(said.contains(alone), "{said}");
    assert!(!file.warnings.render(false).contains("MQTT alone"), "there are others");
}

#[test]
fn each_mistake_has_its_line_and_its_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let around = with_secrets(folder.path());
    let whole = format!("{BASE}{REACH}");
    let told = |(from, to): (&str, &str)| {
        assert!(whole.contains(from), "{from}");
        let refused =
            parse(&whole.replacen(from, to, 1), &around).err().map(|mistakes| mistakes.render(false));
        format!("==== {to}\n{}", refused.unwrap_or_else(|| "none\n".to_owned()))
    };
    let cases = [
        ("https://gateway", "http://gateway"),
        ("https://gateway", "https://me:pw@gateway"),
        (", secret_file = \"hook.secret\"", ""),
        ("program = \"/bin/cat\"", "program = \"cat --all\""),
        ("[\"--to\", \"+1 555 0100\"]", "\"--to +1\""),
        ("short = true", "shrot = true"),
        ("user = \"claymark\"\npassword_file = \"imap.password\"\n", ""),
        ("secret_file = \"replies.secret\"\n", ""),
        ("host = \"imap.example.org\"", "hots = \"imap.example.org\""),
        ("https://watch", "watch"),
        ("url = \"https://watch.example.org/barn\"", ""),
    ];
    let all: String = cases.into_iter().map(told).collect();
    insta::assert_snapshot!("mistakes-reach", all.replace(&folder.path().display().to_string(), "FOLDER"));
    std::fs::write(folder.path().join("hook.secret"), "short").unwrap();
    let short = parse(&whole, &around).err().expect("it could be guessed").render(false);
    assert!(short.contains("openssl rand -hex 32"), "{short}");
    let left = Surroundings { secrets: Secrets::Left, ..around };
    assert!(parse(&whole, &left).is_ok(), "a replay needs no secret");
}

#[test]
fn replies_need_mails_that_can_be_answered() {
    let (before, after) = BASE.split_once("[email]").expect("it has a mail server");
    let rest = after.split_once("\n[").map_or("", |(_, rest)| rest);
    let without = format!("{before}[{rest}{REACH}").replace("email = \"duty@example.org\"", "mqtt = true");
    assert!(mistakes(&without).contains("there is no [email], so no mail that could be answered"));
}

#[test]
fn a_site_whose_people_are_all_behind_the_broker_is_warned_of() {
    let site = accepted(&BASE.replace("email = \"duty@example.org\"", "mqtt = true"), &around());
    let warned = site.warnings.render(false);
    assert!(warned.contains("nobody can be reached while the broker is down"), "{warned}");
}
