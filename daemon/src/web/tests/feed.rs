//! The live feed: what readers cost, what they get, and that none holds up another.

use super::*;
use crate::web::feed::Feed;
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
