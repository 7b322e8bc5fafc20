//! Routes and the server's life. Owns which address shows what, and that it ends when it is told to.

use super::answer::{Refusal, blocking, file, page};
use super::attempts::{Attempt, Attempts};
use super::feed::Feed;
use super::gate::Gate;
use super::posted::BODY_MAX;
use super::{
    alarms, api, causes, changes, guard, link, listen, live, metrics, names, parts, preflight, prints, reports, setup,
    sign_in, views,
};
use crate::access::Access;
use crate::clock::Clock;
use crate::config::Config;
use crate::entry::PrinterName;
use crate::links::{LinkKey, Links};
use crate::preflight::Known;
use crate::schedule::HeatersShown;
use crate::store::{Reader, Store, StoreError};
use crate::study::Worked;
use axum::Router;
use axum::extract::{DefaultBodyLimit, FromRef, State};
use axum::middleware::from_fn_with_state;
use axum::response::Response;
use axum::routing::{get, post};
use dwell_analysis::polymer::Materials;
use dwell_dashboards::{LIVE_SCRIPT, STYLE, render_now};
use jiff::tz::TimeZone;
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::net::TcpListener;
use tokio::sync::{Semaphore, watch};

/// A hatched drop: what waits. Browsers ask for it by this name.
const ICON: &str = "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 16 16'>\
    <path d='M8 1 L13 10 A5 5 0 1 1 3 10 Z' fill='#e69f00'/><path d='M5 12 L10 5 M7 14 L12 8' stroke='#000'/></svg>";

/// How long open answers may take once the server is to end.
const CLOSING_MAX: Duration = Duration::from_secs(3);

/// What the pages show.
#[derive(Clone, Debug)]
pub struct Site {
    pub(super) store: Store,
    pub(super) printers: Vec<Known>,
    pub(super) materials: Arc<Materials>,
    pub(super) zone: TimeZone,
    pub(super) clock: Arc<Clock>,
    pub(super) rehearsal: bool,
    /// What links in messages are read with; `None` while the configuration has no address for them.
    pub(super) links: Option<Links>,
    /// Shown in our own forms alone; new with every start.
    pub(super) token: String,
    pub(super) gate: Arc<Gate>,
    /// How many job files may be read at a time.
    pub(super) uploads: Arc<Semaphore>,
    pub(super) attempts: Arc<Attempts>,
    /// Printers that are being set up: their alarms call nobody.
    pub(super) commissioning: Vec<PrinterName>,
    /// The names of the ways to reach people.
    pub(super) channels: Vec<Arc<str>>,
    /// What *Now* shows, made once for all who read it.
    pub(super) feed: Arc<Feed>,
    pub(super) paces: Arc<views::Paces>,
    pub(super) past: Arc<views::Past>,
    /// What was worked out last of the whole record.
    pub(super) worked: watch::Receiver<Option<Arc<Worked>>>,
    /// What is configured; `None` for a site of a record alone. Its secrets are nobody's to show.
    pub(super) config: Option<Arc<Config>>,
    /// What was found out last of the heaters.
    pub(super) heaters: watch::Receiver<Option<Arc<HeatersShown>>>,
}

impl Site {
    /// A site of these printers as the configuration has them, in this order; without any, of all that the record
    /// knows.
    #[must_use]
    pub fn new(store: Store, printers: Vec<Known>, zone: TimeZone, clock: Arc<Clock>, rehearsal: bool) -> Self {
        let (materials, token, attempts) = (Arc::default(), guard::new_token(), Arc::default());
        Self {
            store,
            printers,
            materials,
            zone,
            clock,
            rehearsal,
            links: None,
            token,
            gate: Arc::default(),
            uploads: Arc::new(Semaphore::new(preflight::UPLOADS_MAX)),
            attempts,
            commissioning: Vec::new(),
            channels: Vec::new(),
            feed: Arc::new(Feed::new()),
            paces: Arc::default(),
            past: Arc::default(),
            // Nobody works anything out for it yet.
            worked: watch::channel(None).1,
            config: None,
            heaters: watch::channel(None).1,
        }
    }

    /// The same, which shows what is configured, and is told of what is found out of the heaters.
    #[must_use]
    pub fn configured(self, config: Arc<Config>, heaters: watch::Receiver<Option<Arc<HeatersShown>>>) -> Self {
        Self { config: Some(config), heaters, ..self }
    }

    /// The same, which is told of what is worked out of the record.
    #[must_use]
    pub fn told(self, worked: watch::Receiver<Option<Arc<Worked>>>) -> Self {
        Self { worked, ..self }
    }

    /// What was worked out last of the whole record; `None` until it was for the first time.
    #[must_use]
    pub fn worked(&self) -> Option<Arc<Worked>> {
        self.worked.borrow().clone()
    }

    /// The same, which tells how much waits for each of these ways to reach people.
    #[must_use]
    pub fn reaching(self, channels: Vec<Arc<str>>) -> Self {
        Self { channels, ..self }
    }

    /// The same, which says of these printers that they are being set up.
    #[must_use]
    pub fn commissioning(self, commissioning: Vec<PrinterName>) -> Self {
        Self { commissioning, ..self }
    }

    /// The same, which lets those in from elsewhere who sign in; its sessions are this record's.
    #[must_use]
    pub fn guarded(self, access: Access, record: &LinkKey) -> Self {
        Self { gate: Arc::new(Gate::new(access, record)), ..self }
    }

    /// The same, which answers the links in messages.
    #[must_use]
    pub fn linked(self, links: Option<Links>) -> Self {
        Self { links, ..self }
    }

    /// The same with the materials that are in force, where the built-in ones are not.
    #[must_use]
    pub fn knowing(self, materials: Arc<Materials>) -> Self {
        Self { materials, ..self }
    }

    /// The same with a count of what it turns away that others ask too.
    #[must_use]
    pub fn counting(self, attempts: Arc<Attempts>) -> Self {
        Self { attempts, ..self }
    }

    /// Counts what was turned away.
    pub(super) fn turned_away(&self, attempt: Attempt) {
        self.attempts.note(attempt, self.clock.now().at);
    }

    pub(super) fn printer_names(&self, reader: &Reader) -> Result<Vec<PrinterName>, StoreError> {
        if self.printers.is_empty() {
            return Ok(reader.printers()?.into_iter().map(|row| row.name).collect());
        }
        Ok(self.printers.iter().filter_map(|known| known.printer.clone()).collect())
    }
}

/// The site, and whether it is about to close.
#[derive(Clone)]
pub(super) struct Live {
    pub(super) site: Arc<Site>,
    pub(super) closing: watch::Receiver<bool>,
}

impl FromRef<Live> for Arc<Site> {
    fn from_ref(live: &Live) -> Self {
        Self::clone(&live.site)
    }
}

/// Serves the site until `shutdown` is over. Live pages are closed then, other answers are finished.
pub async fn serve(listener: TcpListener, site: Site, shutdown: impl Future<Output = ()> + Send + 'static) {
    let (close, closing) = watch::channel(false);
    let routes = router(Live { site: Arc::new(site), closing: closing.clone() });
    let mut overdue = closing.clone();
    let graceful = async move {
        shutdown.await;
        close.send_replace(true);
    };
    let late = async move {
        // The sender goes once it has said so; either way the server is closing.
        drop(overdue.wait_for(|closing| *closing).await);
        tokio::time::sleep(CLOSING_MAX).await;
    };
    tokio::select! {
        ((), ()) = async { tokio::join!(listen::serve(listener, routes, closing), graceful) } => {}
        () = late => {}
    }
}

pub(super) fn router(live: Live) -> Router {
    Router::new()
        .route("/", get(now))
        .route("/live", get(live::live))
        .route("/alarms", get(alarms::alarms))
        .route("/alarms/link/{token}", get(link::show).post(link::act))
        .route("/alarms/returned/acknowledge", post(alarms::acknowledge_returned))
        .route("/alarms/{id}/{act}", post(alarms::act))
        .route("/preflight", get(preflight::form))
        .route("/preflight", post(preflight::upload).layer(DefaultBodyLimit::max(preflight::UPLOAD_MAX)))
        .merge(prints::routes())
        .merge(causes::routes())
        .merge(changes::routes())
        .merge(parts::routes())
        .merge(reports::routes())
        .merge(setup::routes())
        .merge(sign_in::routes())
        .merge(api::routes())
        .merge(metrics::routes())
        .route("/style.css", get(async || file("text/css; charset=utf-8", STYLE)))
        .route("/favicon.ico", get(async || file("image/svg+xml", ICON)))
        .route("/live.js", get(async || file("text/javascript; charset=utf-8", LIVE_SCRIPT)))
        .fallback(async || Refusal::Absent("There is no such page.".to_owned()))
        .layer(DefaultBodyLimit::max(BODY_MAX))
        .layer(from_fn_with_state((names::Names::of(&live.site), Arc::clone(&live.site)), guard::check))
        .with_state(live)
}

async fn now(State(site): State<Arc<Site>>) -> Result<Response, Refusal> {
    blocking(site, |site| Ok(page(render_now(&site.feed.fresh(site)?.view)))).await
}
