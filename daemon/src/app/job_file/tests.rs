//! The search: where it looks, what it refuses, and that it never leaves its folder or asks without end.

use super::*;
use crate::config::Config;
use crate::entry::ToolNumber;
use crate::jobfile::{Unread, Visit};
use dwell_analysis::units::{CubicMm, Seconds};
use std::fs;
use std::sync::atomic::AtomicUsize;
use std::time::Instant;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

const STARTED: Timestamp = Timestamp::from_ms(1_772_438_400_000);

/// An outline of one visit that begins at the text's first byte's value, to tell texts apart; `!` is no job file.
fn read(text: &mut dyn Read, _printer: &Printer) -> Result<JobOutline, String> {
    let mut all = Vec::new();
    text.read_to_end(&mut all).map_err(|error| error.to_string())?;
    if all.first() == Some(&b'!') {
        return Err("no job file".to_owned());
    }
    let visit = Visit {
        tool: ToolNumber::new(0).unwrap(),
        byte: all.first().copied().map_or(0, u64::from),
        began: Seconds::ZERO,
        ended: Seconds::new(9.0),
        extruded: CubicMm::ZERO,
        purge: crate::jobfile::Purge::default(),
        restart: None,
        standby: None,
        n_retractions: 0,
        retract: None,
    };
    Ok(JobOutline {
        bytes: u64::try_from(all.len()).unwrap(),
        lines: 1,
        commands: 1,
        begins: Some(Seconds::ZERO),
        ends: Seconds::new(9.0),
        heating: Seconds::ZERO,
        layers: 1,
        visits: vec![visit],
        visits_left_out: u64::from(all.contains(&b'?')),
        waits: Vec::new(),
        tools: Vec::new(),
        homings: 0,
        pauses: 0,
        chamber_waits: 0,
        unread: Unread::default(),
    })
}

/// A search of a printer whose configuration stands in that folder and has these lines.
fn search(folder: &Path, lines: &str) -> Search {
    let text = format!(
        "[[printer]]\nname = \"bench\"\n[printer.headers]\nX-Entry = \"sesame\"\n[[printer.document]]\nname = \"all\"\n\
         url = \"http://127.0.0.1:9/\"\n[printer.job.state]\npath = \"/state\"\n[[printer.tool]]\n\
         actual = {{ path = \"/t0\" }}\n[printer.job_file]\n{lines}\n"
    );
    let printer = Config::parse(&text, &folder.join("dwellwatch.toml")).unwrap().printers()[0].clone();
    let places = printer.job_file.clone().unwrap();
    Search {
        printer: Arc::new(printer),
        places,
        client: Client::new(Duration::from_secs(5)).unwrap(),
        read,
        again_after: AGAIN_AFTER,
    }
}

async fn find(search: &Search, name: &str, bytes: Option<u64>) -> Result<JobFile, JobFileError> {
    search.begin(Wanted { started: STARTED, name: Arc::from(name), bytes }).found().await
}

fn byte(found: Result<JobFile, JobFileError>) -> u8 {
    u8::try_from(found.unwrap().turns[0].byte).unwrap()
}

#[tokio::test]
async fn a_folder_has_the_file_under_its_whole_name_or_the_last_part_of_it_and_nothing_outside_counts() {
    let around = tempfile::tempdir().unwrap();
    let folder = around.path().join("sheets");
    fs::create_dir_all(folder.join("boxes")).unwrap();
    fs::write(folder.join("lantern.gcode"), "Last").unwrap();
    fs::write(folder.join("boxes/lantern.gcode"), "Whole").unwrap();
    fs::write(around.path().join("outside.gcode"), "Outside").unwrap();
    std::os::unix::fs::symlink(around.path().join("outside.gcode"), folder.join("link.gcode")).unwrap();
    let search = search(around.path(), "folder = \"sheets\"");
    assert_eq!(byte(find(&search, "lantern.gcode", None).await), b'L');
    assert_eq!(byte(find(&search, "boxes/lantern.gcode", None).await), b'W');
    assert_eq!(byte(find(&search, "elsewhere/lantern.gcode", None).await), b'L');
    // The length decides between the two.
    assert_eq!(byte(find(&search, "boxes/lantern.gcode", Some(4)).await), b'L');
    let wrong = find(&search, "lantern.gcode", Some(5)).await.unwrap_err();
    assert!(matches!(wrong, JobFileError::Size { found: 4, told: 5 }), "{wrong}");
    let absolute = around.path().join("outside.gcode").display().to_string();
    for name in ["../outside.gcode", absolute.as_str(), "link.gcode", "boxes", "..", "", "none.gcode", "a\0b"] {
        let error = find(&search, name, None).await.unwrap_err();
        assert!(matches!(error, JobFileError::NotFound), "{name}: {error}");
    }
}

#[tokio::test]
async fn what_is_found_is_of_that_print_and_what_is_no_job_file_says_so() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a"), "Sound").unwrap();
    fs::write(folder.path().join("b"), "!").unwrap();
    fs::write(folder.path().join("c"), "More turns than are held?").unwrap();
    let search = search(folder.path(), "folder = \".\"");
    let file = find(&search, "a", Some(5)).await.unwrap();
    assert_eq!((file.started, &*file.name, file.from, file.bytes), (STARTED, "a", JobFileFrom::Folder, 5));
    assert_eq!(
        find(&search, "b", None).await.unwrap_err().to_string(),
        "the job's file is not to be read: no job file"
    );
    assert!(find(&search, "c", None).await.unwrap().turns.is_empty());
}

/// A host that answers each request with what `says` makes of its head, and counts them.
async fn host(says: fn(&str) -> Vec<u8>) -> (u16, Arc<AtomicUsize>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let (port, n) = (listener.local_addr().unwrap().port(), Arc::new(AtomicUsize::new(0)));
    let counted = Arc::clone(&n);
    tokio::spawn(async move {
        while let Ok((mut socket, _)) = listener.accept().await {
            let mut head = Vec::new();
            while !head.ends_with(b"\r\n\r\n") {
                match socket.read_u8().await {
                    Ok(byte) => head.push(byte),
                    Err(_) => break,
                }
            }
            counted.fetch_add(1, Ordering::Relaxed);
            drop(socket.write_all(&says(&String::from_utf8_lossy(&head))).await);
        }
    });
    (port, n)
}

fn at(port: u16, folder: &Path) -> Search {
    search(folder, &format!("url = \"http://127.0.0.1:{port}/sheets/{{name}}\""))
}

#[tokio::test]
async fn the_host_gives_the_file_by_its_name_and_is_shown_the_printer_s_key() {
    let (port, _) = host(|head| {
        let sound = head.starts_with("GET /sheets/night%20lantern.gcode ") && head.contains("x-entry: sesame");
        // More than the pieces that may wait, so that both ends have to keep up.
        let body = if sound { "Sound".repeat(600_000) } else { "!".to_owned() };
        format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
    })
    .await;
    let folder = tempfile::tempdir().unwrap();
    let file = find(&at(port, folder.path()), "night lantern.gcode", Some(3_000_000)).await.unwrap();
    assert_eq!((file.bytes, file.from, file.turns[0].byte), (3_000_000, JobFileFrom::Host, u64::from(b'S')));
    let wrong = find(&at(port, folder.path()), "night lantern.gcode", Some(7)).await.unwrap_err();
    assert!(matches!(wrong, JobFileError::Size { found: 3_000_000, told: 7 }), "{wrong}");
}

#[tokio::test]
async fn a_folder_without_the_file_leaves_it_to_the_host() {
    let (port, n) = host(|_| b"HTTP/1.1 200 OK\r\nContent-Length: 4\r\n\r\nHost".to_vec()).await;
    let folder = tempfile::tempdir().unwrap();
    let both = format!("folder = \".\"\nurl = \"http://127.0.0.1:{port}/{{+name}}\"");
    fs::write(folder.path().join("near"), "Near").unwrap();
    let search = search(folder.path(), &both);
    assert_eq!(byte(find(&search, "near", None).await), b'N');
    assert_eq!((byte(find(&search, "far", None).await), n.load(Ordering::Relaxed)), (b'H', 1));
}

#[tokio::test]
async fn what_a_person_has_to_put_right_is_asked_once_and_another_host_never() {
    let folder = tempfile::tempdir().unwrap();
    let (port, n) = host(|_| b"HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n".to_vec()).await;
    let error = find(&at(port, folder.path()), "a", None).await.unwrap_err();
    assert_eq!((error.to_string().contains("404"), n.load(Ordering::Relaxed)), (true, 1), "{error}");
    let away = |_: &str| b"HTTP/1.1 302 Away\r\nLocation: http://127.0.0.1:1/a\r\nContent-Length: 0\r\n\r\n".to_vec();
    let (port, _) = host(away).await;
    let error = find(&at(port, folder.path()), "a", None).await.unwrap_err();
    assert!(matches!(error, JobFileError::Fetch(FetchError::RedirectedAway(_))), "{error}");
    // Too long by its own word: not a byte is waited for.
    let (port, _) = host(|_| b"HTTP/1.1 200 OK\r\nContent-Length: 536870913\r\n\r\n".to_vec()).await;
    let error = find(&at(port, folder.path()), "a", None).await.unwrap_err();
    assert!(matches!(error, JobFileError::TooLong), "{error}");
}

#[tokio::test]
async fn a_fault_that_may_pass_is_tried_once_more_after_a_while() {
    let folder = tempfile::tempdir().unwrap();
    let (port, n) = host(|_| b"HTTP/1.1 500 Oh\r\nContent-Length: 0\r\n\r\n".to_vec()).await;
    let began = Instant::now();
    let search = Search { again_after: Duration::from_millis(300), ..at(port, folder.path()) };
    let error = find(&search, "a", None).await.unwrap_err();
    assert_eq!((error.to_string().contains("500"), n.load(Ordering::Relaxed)), (true, 2), "{error}");
    assert!(began.elapsed() >= Duration::from_millis(300));
}

#[tokio::test]
async fn a_search_that_is_no_longer_wanted_ends_at_once() {
    let folder = tempfile::tempdir().unwrap();
    // It promises more than it ever sends.
    let (port, _) = host(|_| b"HTTP/1.1 200 OK\r\nContent-Length: 99\r\n\r\nbegin".to_vec()).await;
    let looking = at(port, folder.path()).begin(Wanted { started: STARTED, name: Arc::from("a"), bytes: None });
    tokio::time::sleep(Duration::from_millis(100)).await;
    let asked = Instant::now();
    looking.end().await;
    assert!(asked.elapsed() < Duration::from_secs(2), "{:?}", asked.elapsed());
}
