//! The dashboard from another address: the password command's line, the running daemon, and what opens it.
#![expect(clippy::unwrap_used, reason = "a test may stop")]

use dwell_tests::eventually;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpStream, UdpSocket};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

const PROGRAM: &str = env!("CARGO_BIN_EXE_dwellwatch-under-test");
const PATIENCE: Duration = Duration::from_secs(20);
const PASSWORD: &str = "quiet gulls over slate";
const TOKEN: &str = "0123456789abcdef0123456789abcdef";

/// A printer whose host is not there.
const PRINTER: &str = "[[printer]]\nname = \"bench\"\n[[printer.document]]\nname = \"all\"\nurl = \"http://127.0.0.1:9/\"\n\
    [printer.job.state]\npath = \"/state\"\n[[printer.tool]]\nactual = { path = \"/t0\" }\n";

/// What `password` prints of a line on its standard input.
fn made(password: &str) -> Output {
    let mut command = Command::new(PROGRAM);
    let mut child =
        command.arg("password").stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(format!("{password}\n").as_bytes()).unwrap();
    child.wait_with_output().unwrap()
}

fn line(password: &str) -> String {
    String::from_utf8(made(password).stdout).unwrap()
}

/// An address of this machine that other machines reach; loopback if it has none. Nothing is sent.
fn far() -> IpAddr {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).unwrap();
    let chosen = socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).and_then(|()| socket.local_addr());
    chosen.map_or(Ipv4Addr::LOCALHOST.into(), |address| address.ip())
}

struct Running {
    child: Child,
    port: u16,
    far: IpAddr,
}

impl Running {
    fn start(folder: &Path, password: &str) -> Self {
        let config = folder.join("dwellwatch.toml");
        let web = format!("[web]\nlisten = \"0.0.0.0:0\"\n{password}token = \"{TOKEN}\"\n");
        fs::write(&config, format!("[store]\npath = \"bench.db\"\n{web}{PRINTER}")).unwrap();
        let log = folder.join("log");
        let run = Command::new(PROGRAM)
            .args(["run", "--config"])
            .arg(&config)
            .env("NO_COLOR", "1")
            .env_remove("RUST_LOG")
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap();
        let said = || {
            let log = fs::read_to_string(&log).unwrap_or_default();
            let (_, after) = log.split_once("dashboard=http://0.0.0.0:")?;
            after.split_once('/')?.0.parse().ok()
        };
        let mut running = Self { child: run, port: 0, far: far() };
        assert!(eventually(PATIENCE, || said().is_some()), "{}", fs::read_to_string(&log).unwrap());
        running.port = said().unwrap();
        running
    }

    /// The whole answer to a request of these further lines of its head.
    fn ask(&self, at: IpAddr, first: &str, head: &str, body: &str) -> String {
        let address = SocketAddr::new(at, self.port);
        let mut stream = TcpStream::connect_timeout(&address, PATIENCE).unwrap();
        stream.set_read_timeout(Some(PATIENCE)).unwrap();
        // A machine without an address of its own for others stands in for them by a proxy's header.
        let far = if at == self.far && at.is_loopback() { "X-Forwarded-For: 192.0.2.9\r\n" } else { "" };
        let length = body.len();
        let kind = "Accept: text/html\r\nContent-Type: application/x-www-form-urlencoded";
        let head = format!("{first} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n{kind}\r\n{far}{head}");
        stream.write_all(format!("{head}Content-Length: {length}\r\n\r\n{body}").as_bytes()).unwrap();
        let mut answer = String::new();
        stream.read_to_string(&mut answer).unwrap();
        answer
    }

    fn get(&self, path: &str, head: &str) -> String {
        self.ask(self.far, &format!("GET {path}"), head, "")
    }

    fn sign_in(&self, password: &str) -> String {
        let page = self.get("/sign-in", "");
        let token = between(&page, "name=\"token\" value=\"", "\"");
        let word = between(&page, "dwellwatch_form=", ";");
        let body = format!("token={token}&password={}", password.replace(' ', "+"));
        self.ask(self.far, "POST /sign-in", &format!("Cookie: dwellwatch_form={word}\r\n"), &body)
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    text.split_once(from).unwrap().1.split_once(to).unwrap().0
}

#[test]
fn the_line_of_the_command_opens_the_dashboard_from_another_address_until_it_is_replaced() {
    let folder = tempfile::tempdir().unwrap();
    let running = Running::start(folder.path(), &line(PASSWORD));
    let shut = running.get("/", "");
    assert!(shut.starts_with("HTTP/1.1 303") && shut.contains("location: /sign-in"), "{shut}");
    let near = running.ask(Ipv4Addr::LOCALHOST.into(), "GET /", "", "");
    assert!(near.starts_with("HTTP/1.1 200") && near.contains("bench"), "{near}");
    assert!(running.get("/", "Host: elsewhere.example\r\n").starts_with("HTTP/1.1 4"));
    assert!(running.sign_in("quiet gulls over slat").starts_with("HTTP/1.1 403"));
    let opened = running.sign_in(PASSWORD);
    assert!(opened.starts_with("HTTP/1.1 303"), "{opened}");
    let cookie = format!("Cookie: dwellwatch_session={}\r\n", between(&opened, "dwellwatch_session=", ";"));
    let page = running.get("/", &cookie);
    assert!(page.starts_with("HTTP/1.1 200") && page.contains("bench") && page.contains("href=\"/sign-in\""), "{page}");
    let bearer = format!("Authorization: Bearer {TOKEN}\r\n");
    assert!(running.get("/metrics", &bearer).starts_with("HTTP/1.1 200"));
    assert!(running.get("/", &bearer).starts_with("HTTP/1.1 303"));
    drop(running);
    let again = Running::start(
        folder.path(),
        &fs::read_to_string(folder.path().join("dwellwatch.toml"))
            .map(|text| format!("password_hash = {}\n", between(&text, "password_hash = ", "\n")))
            .unwrap(),
    );
    assert!(again.get("/", &cookie).starts_with("HTTP/1.1 200"), "a restart ends no session");
    drop(again);
    let changed = Running::start(folder.path(), &line("another word entirely"));
    assert!(changed.get("/", &cookie).starts_with("HTTP/1.1 303"));
}

#[test]
fn the_command_refuses_a_short_password_and_never_repeats_one() {
    let short = made("short hush");
    assert_eq!(short.status.code(), Some(2));
    let said = String::from_utf8_lossy(&short.stderr).into_owned();
    assert!(said.contains("the password has 10 characters; at least 15") && !said.contains("hush"), "{said}");
    assert!(short.stdout.is_empty());
}

/// A terminal, and its other end as a person has it.
fn terminal() -> (OwnedFd, PathBuf) {
    let person = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).unwrap();
    grantpt(&person).unwrap();
    unlockpt(&person).unwrap();
    let name = ptsname(&person, Vec::new()).unwrap().into_string().unwrap();
    (person, name.into())
}

#[test]
fn a_terminal_never_shows_the_password_and_is_as_it_was_afterwards() {
    for (typed, code) in
        [(format!("{PASSWORD}\r{PASSWORD}\r"), 0), (format!("{PASSWORD}\rother\r"), 2), ("quiet\u{3}".to_owned(), 1)]
    {
        let (person, name) = terminal();
        let open = || OpenOptions::new().read(true).write(true).open(&name).unwrap();
        let kept = open();
        let before = rustix::termios::tcgetattr(&kept).unwrap();
        let mut command = Command::new(PROGRAM);
        let mut child = command.arg("password").stdin(open()).stdout(open()).stderr(open()).spawn().unwrap();
        let mut person = File::from(person);
        let mut shown = Vec::new();
        let mut read_until = |words: &str, person: &mut File| {
            let mut piece = [0; 512];
            while !String::from_utf8_lossy(&shown).contains(words) {
                let n = person.read(&mut piece).unwrap();
                shown.extend_from_slice(&piece[..n]);
            }
            String::from_utf8_lossy(&shown).into_owned()
        };
        read_until("Password", &mut person);
        person.write_all(typed.as_bytes()).unwrap();
        let end = match code {
            0 => "password_hash = ",
            2 => "not the same",
            _ => "no password was given",
        };
        let seen = read_until(end, &mut person);
        assert!(!seen.contains("quiet") && !seen.contains("gulls"), "{seen}");
        assert_eq!(child.wait().unwrap().code(), Some(code), "{seen}");
        assert_eq!(rustix::termios::tcgetattr(&kept).unwrap().local_modes, before.local_modes);
    }
}
