//! The other ends of the channels that are not ours: a mail server and a verifier of signatures (Python packages), and a
//! broker (Debian's). Owns that they are there, their processes and what they have taken; judges nothing.

use crate::eventually;
use rcgen::{BasicConstraints, CertificateParams, DistinguishedName, DnType, IsCa, Issuer, KeyPair};
use serde_json::Value;
use std::fs;
use std::io::{BufRead, BufReader};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

/// A process' start takes no longer, even on a busy machine.
const PATIENCE: Duration = Duration::from_secs(30);
/// The packages, as `tests/run` installs them.
const PACKAGES: &str = "aiosmtpd==1.4.6 http-message-signatures==3.0.0";

/// Whether the tests that need these are to be left out; says so if they are.
#[must_use]
pub fn are_left_out() -> bool {
    let quick = std::env::var("DWELLWATCH_TESTS").is_ok_and(|tests| tests == "quick");
    if quick {
        #[expect(clippy::print_stdout, reason = "whoever runs the tests should know what was left out")]
        {
            println!("left out: DWELLWATCH_TESTS=quick has no mail server, broker or verifier of signatures");
        }
    }
    quick
}

/// A process that tells what it takes, a line each; ended with this.
#[derive(Debug)]
pub struct Peer {
    child: Child,
    lines: Arc<Mutex<Vec<String>>>,
}

impl Peer {
    fn start(command: &mut Command) -> Self {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let lines = Arc::new(Mutex::new(Vec::new()));
        let (kept, out) = (Arc::clone(&lines), child.stdout.take().unwrap());
        std::thread::spawn(move || {
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                kept.lock().unwrap_or_else(PoisonError::into_inner).push(line);
            }
        });
        Self { child, lines }
    }

    /// What it has told so far.
    #[must_use]
    pub fn lines(&self) -> Vec<String> {
        self.lines.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// The lines of JSON among them, of which there are soon to be so many.
    #[must_use]
    pub fn told(&self, n: usize) -> Vec<Value> {
        let told = || self.lines().iter().filter_map(|line| serde_json::from_str(line).ok()).collect::<Vec<_>>();
        assert!(eventually(PATIENCE, || told().len() >= n), "{n} wanted: {:?}", told());
        told()
    }

    fn listens(&self) -> u16 {
        let port = || self.lines().first()?.strip_prefix("listening ")?.parse().ok();
        assert!(eventually(PATIENCE, || port().is_some()), "it does not listen");
        port().unwrap()
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// A mail server and its port. `tls` is `none`, `starttls` or `implicit`; a login is a name and a password.
#[must_use]
pub fn mail_server(tls: &str, papers: Option<&Papers>, login: Option<(&str, &str)>) -> (Peer, u16) {
    let (certificate, key) =
        papers.map_or_else(|| ("-".into(), "-".into()), |papers| (papers.certificate(), papers.key()));
    let (user, password) = login.unwrap_or(("-", "-"));
    let mut command = python("mail_server.py");
    command.arg(tls).arg(certificate).arg(key).args([user, password]);
    let peer = Peer::start(&mut command);
    let port = peer.listens();
    (peer, port)
}

/// A receiver that verifies signatures with that key, and its port.
#[must_use]
pub fn signed_receiver(key_name: &str, key: &str) -> (Peer, u16) {
    let peer = Peer::start(python("signed_receiver.py").args([key_name, key]));
    let port = peer.listens();
    (peer, port)
}

fn python(script: &str) -> Command {
    let python = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/python/bin/python");
    let code = ["-c", "import aiosmtpd, http_message_signatures"];
    assert!(
        Command::new(&python).args(code).output().is_ok_and(|output| output.status.success()),
        "the mail server is missing; tests/run installs it, or, in the project's folder:\n    \
         python3 -m venv target/python && target/python/bin/pip install {PACKAGES}"
    );
    let mut command = Command::new(python);
    command.arg(Path::new(env!("CARGO_MANIFEST_DIR")).join("src").join(script));
    command
}

/// A broker with what it retains, which outlives its process.
#[derive(Debug)]
pub struct Broker {
    folder: PathBuf,
    /// Where it listens.
    pub port: u16,
    child: Option<Child>,
}

impl Broker {
    /// Starts one in a folder; with papers it speaks TLS alone and wants a login.
    #[must_use]
    pub fn start(folder: &Path, papers: Option<&Papers>, login: Option<(&str, &str)>) -> Self {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let place = folder.display();
        // Started by root it would else be another user, who may not write here.
        let mut config = format!(
            "user root\npersistence true\npersistence_location {place}/\nautosave_interval 1\nlistener {port} 127.0.0.1\n"
        );
        if let Some(papers) = papers {
            let (certificate, key) = (papers.certificate(), papers.key());
            config += ["certfile ", certificate.to_str().unwrap(), "\nkeyfile ", key.to_str().unwrap(), "\n"]
                .concat()
                .as_str();
        }
        if let Some((user, password)) = login {
            let passwords = folder.join("passwords");
            let made =
                Command::new("mosquitto_passwd").args(["-b", "-c"]).arg(&passwords).args([user, password]).output();
            assert!(made.unwrap().status.success());
            config += ["allow_anonymous false\npassword_file ", passwords.to_str().unwrap(), "\n"].concat().as_str();
        } else {
            config += "allow_anonymous true\n";
        }
        fs::write(folder.join("broker.conf"), config).unwrap();
        let mut broker = Self { folder: folder.to_owned(), port, child: None };
        broker.restart();
        broker
    }

    /// Starts it again on the same port, with what it retained.
    pub fn restart(&mut self) {
        let mut command = Command::new(broker_program());
        command.arg("-c").arg(self.folder.join("broker.conf"));
        self.child = Some(command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap());
        let listens = || TcpStream::connect(("127.0.0.1", self.port)).is_ok();
        assert!(eventually(PATIENCE, listens), "no broker; apt-get install mosquitto mosquitto-clients");
    }

    /// Ends it in order, so that it keeps what it retains.
    pub fn stop(&mut self) {
        let mut child = self.child.take().unwrap();
        assert!(Command::new("kill").arg(child.id().to_string()).status().unwrap().success());
        child.wait().unwrap();
    }

    /// Listens with the broker's own client from now on; each line is a topic, a blank, and what was published.
    #[must_use]
    pub fn subscriber(&self, topic: &str) -> Peer {
        let mut command = Command::new("mosquitto_sub");
        command.args(["-h", "127.0.0.1", "-q", "1", "-v", "-t", topic, "-p", &self.port.to_string()]);
        Peer::start(&mut command)
    }

    /// What is retained on a topic at this moment.
    #[must_use]
    pub fn retained(&self, topic: &str) -> Option<Value> {
        let mut command = Command::new("mosquitto_sub");
        command.args(["-h", "127.0.0.1", "-C", "1", "-W", "1", "--retained-only", "-t", topic]);
        let output = command.args(["-p", &self.port.to_string()]).output().unwrap();
        serde_json::from_slice(&output.stdout).ok()
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        if let Some(mut child) = self.child.take() {
            drop(child.kill());
            drop(child.wait());
        }
    }
}

/// Debian puts it where only root looks.
fn broker_program() -> PathBuf {
    let of_root = PathBuf::from("/usr/sbin/mosquitto");
    if of_root.exists() { of_root } else { PathBuf::from("mosquitto") }
}

/// An authority's certificate, and one for this machine that it has signed, with its key.
#[derive(Debug)]
pub struct Papers {
    folder: PathBuf,
}

impl Papers {
    /// Makes them in a folder.
    #[must_use]
    pub fn made(folder: &Path) -> Self {
        let mut params = CertificateParams::new(Vec::new()).unwrap();
        params.distinguished_name = DistinguishedName::new();
        params.distinguished_name.push(DnType::CommonName, "bench authority");
        params.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
        let key = KeyPair::generate().unwrap();
        fs::write(folder.join("authority.pem"), params.self_signed(&key).unwrap().pem()).unwrap();
        let issuer = Issuer::new(params, key);
        let own = KeyPair::generate().unwrap();
        let names = ["localhost".to_owned(), "127.0.0.1".to_owned()];
        let certificate = CertificateParams::new(names).unwrap().signed_by(&own, &issuer).unwrap();
        fs::write(folder.join("certificate.pem"), certificate.pem()).unwrap();
        fs::write(folder.join("key.pem"), own.serialize_pem()).unwrap();
        Self { folder: folder.to_owned() }
    }

    /// The authority's certificate.
    #[must_use]
    pub fn authority(&self) -> PathBuf {
        self.folder.join("authority.pem")
    }

    fn certificate(&self) -> PathBuf {
        self.folder.join("certificate.pem")
    }

    fn key(&self) -> PathBuf {
        self.folder.join("key.pem")
    }
}
