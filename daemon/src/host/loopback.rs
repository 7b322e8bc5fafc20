//! A host on loopback for the tests of this room: answers by the head of each request, as a test has it. Owns the socket
//! and the frame of an answer; what is answered is the test's.

use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};

/// Serves for as long as the test's runtime lives, one answer a connection; each is sent after `wait`, and its connection
/// stays open for `hold`. Gives the port.
pub(super) async fn serve(
    answer: impl Fn(&str) -> Vec<u8> + Send + Sync + 'static,
    wait: Duration,
    hold: Duration,
) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let answer = std::sync::Arc::new(answer);
    tokio::spawn(async move {
        while let Ok((mut socket, _)) = listener.accept().await {
            let answer = std::sync::Arc::clone(&answer);
            tokio::spawn(async move {
                let told = answer(&head(&mut socket).await);
                tokio::time::sleep(wait).await;
                // The client may have left; that is what some of the tests are about.
                if socket.write_all(&told).await.is_ok() {
                    tokio::time::sleep(hold).await;
                }
            });
        }
    });
    port
}

/// A request's head, byte by byte, so that nothing after it is taken.
pub(super) async fn head(socket: &mut TcpStream) -> String {
    let mut head = Vec::new();
    let mut byte = [0];
    while !head.ends_with(b"\r\n\r\n") && socket.read(&mut byte).await.unwrap_or(0) == 1 {
        head.push(byte[0]);
    }
    String::from_utf8(head).unwrap()
}

/// An answer; `headers` end with a line's end each.
pub(super) fn http(status: &str, headers: &str, body: &str) -> Vec<u8> {
    let length = body.len();
    format!("HTTP/1.1 {status}\r\nConnection: close\r\n{headers}Content-Length: {length}\r\n\r\n{body}").into_bytes()
}
