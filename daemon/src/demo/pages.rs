//! The page at the end of the demo, as files that open without a server.

use std::net::{Ipv4Addr, SocketAddr, TcpListener};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

use super::DemoError;
use super::folder::Folder;

/// The pages that are left, and their files.
const PAGES: [(&str, &str); 4] = [
    ("/", "page-room.html"),
    ("/wall", "page-wall.html"),
    ("/drum/a", "page-drum-a.html"),
    ("/log", "page-log.html"),
];

/// Where the demo's page is served: at the usual port if somebody may look, or where there is room.
pub(super) fn free_address(looked_at: bool) -> SocketAddr {
    let usual = SocketAddr::from((Ipv4Addr::LOCALHOST, USUAL_PORT));
    let any = SocketAddr::from((Ipv4Addr::LOCALHOST, 0));
    let free = |address: SocketAddr| TcpListener::bind(address).and_then(|there| there.local_addr()).ok();
    free(if looked_at { usual } else { any }).or_else(|| free(any)).unwrap_or(usual)
}

/// Leaves the pages in the folder, each with its style in it.
pub(super) async fn leave(folder: &Folder, served: SocketAddr) -> Result<(), DemoError> {
    let style = body(served, "/page.css").await?;
    for (path, file) in PAGES {
        let page = body(served, path).await?;
        let page = page.replace(STYLE_LINK, &format!("<style>\n{style}</style>")).replace(SCRIPT, "");
        let page = PAGES.iter().fold(page, |page, (path, file)| {
            page.replace(&format!("href=\"{path}\""), &format!("href=\"{file}\""))
        });
        folder.write(file, &page)?;
    }
    Ok(())
}

async fn body(served: SocketAddr, path: &str) -> Result<String, DemoError> {
    let asked = async {
        let mut stream = TcpStream::connect(served).await?;
        let request = format!("GET {path} HTTP/1.1\r\nHost: {served}\r\nConnection: close\r\n\r\n");
        stream.write_all(request.as_bytes()).await?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).await?;
        Ok::<_, std::io::Error>(answer)
    };
    let answer = asked.await.map_err(|error| DemoError::Page(error.to_string()))?;
    match answer.split_once("\r\n\r\n") {
        Some((head, body)) if head.starts_with("HTTP/1.1 200") => Ok(body.to_owned()),
        _ => Err(DemoError::Page(format!("{path} isn't served"))),
    }
}

const STYLE_LINK: &str = "<link rel=\"stylesheet\" href=\"/page.css\">";
const SCRIPT: &str = "<script src=\"/page.js\" defer></script>";

/// As the example site file has it.
const USUAL_PORT: u16 = 8080;
