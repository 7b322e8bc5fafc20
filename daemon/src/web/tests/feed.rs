//! The live feed: what readers cost, what they get, and that none holds up another.

use super::*;
use crate::web::feed::Feed;
use futures_util::StreamExt;
use std::collections::HashSet;

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn fifty_readers_cost_no_more_renderings_than_one() {
    let (_folder, site) = site(801);
    let site = Arc::new(site);
    let store = site.store.clone();
    let readers: Vec<_> = (0..50).map(|_| Feed::read(&site.feed, &site)).collect();
    let told: Vec<_> = readers
        .into_iter()
        .map(|mut newest| {
            tokio::spawn(async move {
                let mut keys = Vec::new();
                while keys.len() < 2 {
                    newest.changed().await.unwrap();
                    let key = newest.borrow_and_update().as_ref().map(|shown| shown.key.clone());
                    keys.extend(key);
                }
                keys
            })
        })
        .collect();
    // The record moves on as long as anybody waits for it.
    let moving = tokio::spawn(async move {
        for nth in 0_u32.. {
            store.note_polls(&PrinterName::new("bench").unwrap(), at(801), &[format!("trouble {nth}")], None);
            tokio::time::sleep(Duration::from_millis(50)).await;
        }
    });
    let mut all = Vec::new();
    for told in told {
        all.push(told.await.unwrap());
    }
    moving.abort();
    // Whoever is slow goes on with the newest; had each its own, a hundred would have been made.
    let n_seen = all.iter().flatten().collect::<HashSet<_>>().len();
    let n_made = site.feed.n_made();
    assert!(n_seen >= 2 && n_made < 20, "{n_made} were made for 50 readers of 2, who saw {n_seen}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_reader_that_comes_does_not_wait_for_what_is_being_made() {
    let (_folder, site) = site(801);
    let key = site.feed.fresh(&site).unwrap().key.clone();
    let feed = Arc::clone(&site.feed);
    let held_up = site.feed.hold_up();
    let (told, answer) = std::sync::mpsc::channel();
    std::thread::spawn(move || told.send(feed.held_by(&key).len()).unwrap());
    assert!(answer.recv_timeout(Duration::from_secs(20)).unwrap() > 0);
    drop(held_up);
}

/// The ids of the first events of a program's feed.
async fn ids(site: Arc<Site>, n: usize) -> Vec<u64> {
    let (_close, closing) = watch::channel(false);
    let request = Request::get("/api/live").header("host", "localhost:7870").body(Body::empty()).unwrap();
    let mut events = router(Live { site, closing }).oneshot(request).await.unwrap().into_body().into_data_stream();
    let mut ids = Vec::new();
    while ids.len() < n {
        let event = String::from_utf8(events.next().await.unwrap().unwrap().to_vec()).unwrap();
        ids.extend(event.lines().filter_map(|line| line.strip_prefix("id: ")).map(|id| id.parse::<u64>().unwrap()));
    }
    ids
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_programs_that_listen_cost_no_more_views_than_one_and_ids_count_events() {
    let (_folder, site) = site(801);
    let (site, store) = (Arc::new(site.clone()), site.store);
    let readers: Vec<_> = (0..20).map(|_| tokio::spawn(ids(Arc::clone(&site), 3))).collect();
    // The nozzle warms as long as anybody listens.
    let moving = tokio::spawn(async move {
        let mut pipeline = Pipeline::new(HotEnd::Separate, vec![Settings::default(); 2], Arc::default());
        for nth in 0_u32.. {
            let mut warm = reading(805 + nth);
            warm.tools[0] = heater(31.0 + f64::from(nth), 0.0);
            let done = pipeline.read(warm);
            let printer = PrinterName::new("bench").unwrap();
            store.commit(Commit { printer, effects: done.effects, alarms: done.alarms, notices: false }).unwrap();
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    });
    for reader in readers {
        assert_eq!(reader.await.unwrap(), [1, 2, 3]);
    }
    moving.abort();
    // Had each its own, sixty would have been made.
    let n_made = site.feed.n_made();
    assert!(n_made < 20, "{n_made} views for 20 programs that were told three events each");
}

#[tokio::test]
async fn what_programs_ask_for_once_is_the_view_that_pages_share() {
    for path in ["/api/now", "/metrics"] {
        let (_folder, site) = site(801);
        let asked = Request::get(path).header("host", "localhost:7870").body(Body::empty()).unwrap();
        assert_eq!((answered(&site, asked).await.status, site.feed.n_made()), (StatusCode::OK, 1), "{path}");
    }
}
