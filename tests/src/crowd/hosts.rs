//! The hosts: a keep-alive loop a connection, written by hand so that it costs next to nothing. Understands GET and
//! nothing else; must not be taken for a server of HTTP.

use super::{ARRIVALS_MAX, Plan, body};
use serde_json::json;
use std::future::pending;
use std::io;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::sleep;

const LATE: Duration = Duration::from_millis(330);
const BETWEEN_DRIPS: Duration = Duration::from_millis(200);
/// A request with a head longer than this is none of ours.
const HEAD_BYTES_MAX: usize = 8192;

#[derive(Clone, Copy, Debug)]
enum Kind {
    Sound,
    Late,
    Dripping,
    Hanging,
}

/// One host.
#[derive(Debug)]
struct Host {
    number: usize,
    kind: Kind,
    began: Instant,
    arrivals: Mutex<Vec<u32>>,
}

/// Serves until the process is ended; tells the ports on stdout, in one line.
pub(super) fn serve(plan: Plan) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let kinds = [
            (Kind::Sound, plan.sound),
            (Kind::Late, plan.late),
            (Kind::Dripping, plan.dripping),
            (Kind::Hanging, plan.hanging),
        ];
        let kinds = kinds.into_iter().flat_map(|(kind, count)| std::iter::repeat_n(kind, count));
        let began = Instant::now();
        let (mut hosts, mut ports) = (Vec::new(), Vec::new());
        for (number, kind) in kinds.enumerate() {
            let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
            ports.push(listener.local_addr().unwrap().port());
            let host = Arc::new(Host { number, kind, began, arrivals: Mutex::default() });
            hosts.push(Arc::clone(&host));
            tokio::spawn(host.listen(listener));
        }
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let told = json!({"ports": ports, "log": listener.local_addr().unwrap().port()});
        #[expect(clippy::print_stdout, reason = "the one line that whoever started it waits for")]
        {
            println!("{told}");
        }
        loop {
            let (mut stream, _) = listener.accept().await.unwrap();
            let arrivals: Vec<Vec<u32>> = hosts.iter().map(|host| host.arrivals()).collect();
            drop(answer(&mut stream, &mut Vec::new(), &json!(arrivals).to_string()).await);
        }
    });
}

impl Host {
    async fn listen(self: Arc<Self>, listener: TcpListener) {
        loop {
            let (stream, _) = listener.accept().await.unwrap();
            let host = Arc::clone(&self);
            // A client that leaves ends its connection with an error, which is no one's concern.
            tokio::spawn(async move { drop(host.talk(stream).await) });
        }
    }

    async fn talk(&self, mut stream: TcpStream) -> io::Result<()> {
        stream.set_nodelay(true)?;
        let mut held = Vec::new();
        loop {
            request(&mut stream, &mut held).await?;
            let nth = self.arrived();
            match self.kind {
                Kind::Sound => {}
                Kind::Late => sleep(LATE).await,
                Kind::Dripping => return self.drip(&mut stream, nth).await,
                Kind::Hanging => pending().await,
            }
            send(&mut stream, &body(self.number, nth)).await?;
        }
    }

    async fn drip(&self, stream: &mut TcpStream, nth: u32) -> io::Result<()> {
        for byte in whole(&body(self.number, nth)).as_bytes() {
            stream.write_all(std::slice::from_ref(byte)).await?;
            sleep(BETWEEN_DRIPS).await;
        }
        Ok(())
    }

    /// Notes a request, and tells the how-manieth it is.
    fn arrived(&self) -> u32 {
        let mut arrivals = self.arrivals.lock().unwrap_or_else(PoisonError::into_inner);
        if arrivals.len() < ARRIVALS_MAX {
            arrivals.push(u32::try_from(self.began.elapsed().as_millis()).unwrap_or(u32::MAX));
        }
        u32::try_from(arrivals.len()).unwrap_or(u32::MAX)
    }

    fn arrivals(&self) -> Vec<u32> {
        self.arrivals.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

async fn answer(stream: &mut TcpStream, held: &mut Vec<u8>, body: &str) -> io::Result<()> {
    request(stream, held).await?;
    send(stream, body).await
}

/// Reads up to the end of a request's head.
async fn request(stream: &mut TcpStream, held: &mut Vec<u8>) -> io::Result<()> {
    held.clear();
    while !held.ends_with(b"\r\n\r\n") {
        if stream.read_buf(held).await? == 0 {
            return Err(io::ErrorKind::UnexpectedEof.into());
        }
        if held.len() > HEAD_BYTES_MAX {
            return Err(io::ErrorKind::InvalidData.into());
        }
    }
    Ok(())
}

async fn send(stream: &mut TcpStream, body: &str) -> io::Result<()> {
    stream.write_all(whole(body).as_bytes()).await
}

fn whole(body: &str) -> String {
    format!("HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: {}\r\n\r\n{body}", body.len())
}
