//! One GET or POST over a plain socket, so that no client stands between a test and what the program answers.

use std::io::{self, Read, Write};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::time::Duration;

const PATIENCE: Duration = Duration::from_secs(5);

/// The whole answer, head and body.
///
/// # Errors
/// If nobody listens or the answer does not end in time.
pub fn get(port: u16, path: &str) -> io::Result<String> {
    ask(port, &format!("GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n"))
}

/// Sends a form, and gives the whole answer.
///
/// # Errors
/// As [`get`].
pub fn post(port: u16, path: &str, form: &str) -> io::Result<String> {
    let head = "Content-Type: application/x-www-form-urlencoded\r\nConnection: close";
    let length = form.len();
    ask(
        port,
        &format!("POST {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n{head}\r\nContent-Length: {length}\r\n\r\n{form}"),
    )
}

fn ask(port: u16, request: &str) -> io::Result<String> {
    let address = SocketAddr::from((Ipv4Addr::LOCALHOST, port));
    let mut stream = TcpStream::connect_timeout(&address, PATIENCE)?;
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.write_all(request.as_bytes())?;
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer)?;
    Ok(String::from_utf8_lossy(&answer).into_owned())
}
