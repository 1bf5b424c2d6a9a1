//! An authority and a certificate for this machine, as a small site would make them with openssl.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

/// `ca.pem`, `server.pem` and `server.key` in `dir`.
///
/// # Panics
/// When openssl isn't installed or refuses.
pub fn make(dir: &Path) {
    let openssl = |arguments: &[&str]| {
        let status = Command::new("openssl").args(arguments).current_dir(dir).stderr(Stdio::null()).status();
        assert!(status.expect("openssl is installed").success(), "openssl {arguments:?}");
    };
    let key = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes"];
    let authority =
        ["req", "-x509", "-keyout", "ca.key", "-out", "ca.pem", "-days", "2", "-subj", "/CN=test authority"];
    openssl(&[&authority[..], &key[..]].concat());
    let request = ["req", "-keyout", "server.key", "-out", "server.csr", "-subj", "/CN=localhost"];
    openssl(&[&request[..], &key[..]].concat());
    fs::write(
        dir.join("server.ext"),
        "subjectAltName=IP:127.0.0.1,DNS:localhost\nbasicConstraints=CA:FALSE\n",
    )
    .expect("writable");
    openssl(&[
        "x509",
        "-req",
        "-in",
        "server.csr",
        "-CA",
        "ca.pem",
        "-CAkey",
        "ca.key",
        "-CAcreateserial",
        "-days",
        "2",
        "-extfile",
        "server.ext",
        "-out",
        "server.pem",
    ]);
}
