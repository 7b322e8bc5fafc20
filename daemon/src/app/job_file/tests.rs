//! The search: where it looks, what it refuses, and that it never leaves its folder or asks without end.

use super::*;
use crate::config::Config;
use std::fs;
use std::sync::atomic::AtomicUsize;
use std::time::Instant;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;

const STARTED: Timestamp = Timestamp::from_ms(1_772_438_400_000);

/// A job file whose only turn begins after so many bytes.
fn job(byte: usize) -> String {
    format!("{}\nM83\nT0\nG1 X9 E1 F600\n", ";".repeat(byte - "\nM83\n".len()))
}

/// The longest of the jobs here, bytes.
const LONG: usize = 3_000_000;

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
        again_after: AGAIN_AFTER,
    }
}

async fn find(search: &Search, name: &str, bytes: Option<u64>) -> Result<JobFile, JobFileError> {
    search.begin(Wanted { started: STARTED, name: Arc::from(name), bytes }).found().await
}

fn byte(found: Result<JobFile, JobFileError>) -> u64 {
    found.unwrap().turns[0].byte
}

#[tokio::test]
async fn a_folder_has_the_file_under_its_whole_name_or_the_last_part_of_it_and_nothing_outside_counts() {
    let around = tempfile::tempdir().unwrap();
    let folder = around.path().join("sheets");
    fs::create_dir_all(folder.join("boxes")).unwrap();
    fs::write(folder.join("lantern.gcode"), job(20)).unwrap();
    fs::write(folder.join("boxes/lantern.gcode"), job(30)).unwrap();
    fs::write(around.path().join("outside.gcode"), job(40)).unwrap();
    std::os::unix::fs::symlink(around.path().join("outside.gcode"), folder.join("link.gcode")).unwrap();
    let search = search(around.path(), "folder = \"sheets\"");
    assert_eq!(byte(find(&search, "lantern.gcode", None).await), 20);
    assert_eq!(byte(find(&search, "boxes/lantern.gcode", None).await), 30);
    assert_eq!(byte(find(&search, "elsewhere/lantern.gcode", None).await), 20);
    // A name from the host's root on is looked for by its last part.
    assert_eq!(byte(find(&search, "/store/lantern.gcode", None).await), 20);
    // The length decides between the two.
    let short = u64::try_from(job(20).len()).unwrap();
    assert_eq!(byte(find(&search, "boxes/lantern.gcode", Some(short)).await), 20);
    let wrong = find(&search, "lantern.gcode", Some(5)).await.unwrap_err();
    assert!(matches!(wrong, JobFileError::Size { told: 5, .. }), "{wrong}");
    let absolute = around.path().join("outside.gcode").display().to_string();
    for name in ["../outside.gcode", absolute.as_str(), "link.gcode", "boxes", "..", "", "none.gcode", "a\0b"] {
        let error = find(&search, name, None).await.unwrap_err();
        assert!(matches!(error, JobFileError::NotFound), "{name}: {error}");
    }
}

#[tokio::test]
async fn what_is_found_is_of_that_print_and_what_is_no_job_file_says_so() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("a"), job(10)).unwrap();
    fs::write(folder.path().join("b"), "G1 X9\nM84\n").unwrap();
    fs::write(folder.path().join("c"), "T1\nT0\nG1 E1\n".repeat(10_001)).unwrap();
    fs::write(folder.path().join("d"), b"\x89PNG\0\0").unwrap();
    let search = search(folder.path(), "folder = \".\"");
    let bytes = u64::try_from(job(10).len()).unwrap();
    let file = find(&search, "a", Some(bytes)).await.unwrap();
    assert_eq!((file.started, &*file.name, file.from, file.bytes), (STARTED, "a", JobFileFrom::Folder, bytes));
    let why = find(&search, "b", None).await.unwrap_err().to_string();
    assert_eq!(why, "the job's file lays no filament");
    assert!(find(&search, "c", None).await.unwrap().turns.is_empty(), "more turns than are held");
    let why = find(&search, "d", None).await.unwrap_err().to_string();
    assert!(why.starts_with("the job's file is not to be read: is no text: byte 4 is zero"), "{why}");
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
            // A client that has had enough may be gone.
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
        let body = if sound { job(LONG) } else { String::new() };
        format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
    })
    .await;
    let folder = tempfile::tempdir().unwrap();
    let bytes = u64::try_from(job(LONG).len()).unwrap();
    let file = find(&at(port, folder.path()), "night lantern.gcode", Some(bytes)).await.unwrap();
    assert_eq!((file.bytes, file.from, file.turns[0].byte), (bytes, JobFileFrom::Host, u64::try_from(LONG).unwrap()));
    let wrong = find(&at(port, folder.path()), "night lantern.gcode", Some(7)).await.unwrap_err();
    assert!(matches!(wrong, JobFileError::Size { found, told: 7 } if found == bytes), "{wrong}");
}

#[tokio::test]
async fn a_folder_without_the_file_leaves_it_to_the_host() {
    let (port, n) = host(|_| {
        let body = job(50);
        format!("HTTP/1.1 200 OK\r\nContent-Length: {}\r\n\r\n{body}", body.len()).into_bytes()
    })
    .await;
    let folder = tempfile::tempdir().unwrap();
    let both = format!("folder = \".\"\nurl = \"http://127.0.0.1:{port}/{{+name}}\"");
    fs::write(folder.path().join("near"), job(60)).unwrap();
    let search = search(folder.path(), &both);
    assert_eq!(byte(find(&search, "near", None).await), 60);
    assert_eq!((byte(find(&search, "far", None).await), n.load(Ordering::Relaxed)), (50, 1));
    // One that is there and is no job file leaves it to the host, too.
    fs::write(folder.path().join("spoilt"), b"\x89PNG\0\0").unwrap();
    fs::write(folder.path().join("empty"), "G1 X9\nM84\n").unwrap();
    for name in ["spoilt", "empty"] {
        assert_eq!(byte(find(&search, name, None).await), 50, "{name}");
    }
    let (port, _) = host(|_| b"HTTP/1.1 404 No\r\nContent-Length: 0\r\n\r\n".to_vec()).await;
    let both = format!("folder = \".\"\nurl = \"http://127.0.0.1:{port}/{{+name}}\"");
    let error = find(&self::search(folder.path(), &both), "empty", None).await.unwrap_err().to_string();
    assert!(error.contains("lays no filament") && error.contains("404"), "{error}");
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
