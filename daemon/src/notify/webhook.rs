//! A webhook: one POST a message. Owns what counts as arrived, and how long a receiver has.

use super::channel::WebhookPlan;
use super::message::{Message, SendContext, SendFault};
use reqwest::header::RETRY_AFTER;
use std::time::{Duration, SystemTime};

/// From connecting to the receiver's answer.
const DEADLINE: Duration = Duration::from_secs(10);
/// No receiver holds messages back for longer.
const WAIT_MAX: Duration = Duration::from_hours(1);

/// A receiver, ready to be sent to.
#[derive(Debug)]
pub(super) struct Webhook {
    plan: WebhookPlan,
    http: reqwest::Client,
}

impl Webhook {
    pub(super) fn new(plan: &WebhookPlan) -> Result<Self, SendFault> {
        let http = reqwest::Client::builder()
            .timeout(DEADLINE)
            .redirect(reqwest::redirect::Policy::none())
            .no_proxy()
            .user_agent(concat!("dwellwatch/", env!("CARGO_PKG_VERSION")))
            .build()
            .map_err(|error| SendFault::new(error.without_url().to_string()))?;
        Ok(Self { plan: plan.clone(), http })
    }

    pub(super) async fn send(&self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        let mut request = self
            .http
            .post(self.plan.url.reveal())
            .header("content-type", "application/json")
            .header("idempotency-key", &message.key)
            .body(message.json(context).to_string());
        for (name, value) in &self.plan.headers {
            request = request.header(name, value.reveal());
        }
        // The address may hold a key: it is kept out of the error's text.
        let answer = request.send().await.map_err(|error| SendFault::new(error.without_url().to_string()))?;
        // A receiver that refuses, 4xx, may be set up wrongly at the moment: to drop an alarm for that would be silence.
        if answer.status().is_success() {
            return Ok(());
        }
        let wait = answer.headers().get(RETRY_AFTER).and_then(|value| asked_to_wait(value.to_str().ok()?));
        Err(SendFault { cause: format!("receiver answers {}", answer.status()), wait })
    }
}

/// How long `Retry-After` asks to wait (RFC 9110, section 10.2.3): seconds, or until a date.
fn asked_to_wait(value: &str) -> Option<Duration> {
    let seconds = value.trim().parse().ok().map(Duration::from_secs);
    let until = || httpdate::parse_http_date(value).ok()?.duration_since(SystemTime::now()).ok();
    Some(seconds.or_else(until)?.min(WAIT_MAX))
}
