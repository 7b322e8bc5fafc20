//! The least that a client can do: asks each host once a second with the daemon's HTTP library and settings, takes the
//! body, and drops it. What the daemon costs above it is its own work.

use rand::RngExt;
use reqwest::Client;
use reqwest::redirect::Policy;
use std::time::Duration;
use tokio::time::{MissedTickBehavior, interval, sleep};

const INTERVAL: Duration = Duration::from_secs(1);

/// Asks until the process is ended.
pub(super) fn run(ports: &[u16]) {
    drop(rustls::crypto::ring::default_provider().install_default());
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let client = Client::builder()
            .tls_certs_merge(Vec::new())
            .timeout(dwellwatch::host::DEADLINE)
            .redirect(Policy::none())
            .no_proxy()
            .user_agent("dwellwatch/bare")
            .build()
            .unwrap();
        let asked = ports.iter().map(|port| tokio::spawn(ask(client.clone(), *port))).collect::<Vec<_>>();
        #[expect(clippy::print_stdout, reason = "the one line that whoever started it waits for")]
        {
            println!("asks");
        }
        for task in asked {
            task.await.unwrap();
        }
    });
}

async fn ask(client: Client, port: u16) {
    let url: reqwest::Url = format!("http://127.0.0.1:{port}/state").parse().unwrap();
    let wait = INTERVAL.mul_f64(rand::rng().random_range(0.0..1.0));
    sleep(wait).await;
    let mut ticks = interval(INTERVAL);
    ticks.set_missed_tick_behavior(MissedTickBehavior::Delay);
    loop {
        ticks.tick().await;
        let response = client.get(url.clone()).send().await.unwrap();
        assert!(response.status().is_success());
        std::hint::black_box(response.bytes().await.unwrap());
    }
}
