//! A webhook: one POST a message. Owns what counts as arrived, and how long a receiver has.

use super::channel::WebhookPlan;
use super::message::{Message, SendContext, SendFault};
use super::signature::{Parts, sign};
use super::trust;
use dwell_analysis::time::Timestamp;
use reqwest::StatusCode;
use reqwest::header::{CONTENT_TYPE, RETRY_AFTER};
use std::time::{Duration, SystemTime};

/// From connecting to the receiver's answer.
const DEADLINE: Duration = Duration::from_secs(10);
const JSON: &str = "application/json";

/// A receiver, ready to be sent to.
#[derive(Debug)]
pub(super) struct Webhook {
    plan: WebhookPlan,
    http: reqwest::Client,
}

impl Webhook {
    pub(super) fn new(plan: &WebhookPlan) -> Result<Self, SendFault> {
        let http = trust::http(DEADLINE, plan.authority.as_ref())?;
        Ok(Self { plan: plan.clone(), http })
    }

    /// Whatever answers other than 2xx is tried again, 4xx too: a receiver that refuses may be set up wrongly for the
    /// moment, and to drop an alarm for that would be silence.
    pub(super) async fn send(&self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        let request = self.request(message, context)?;
        let answer = self.http.execute(request).await.map_err(untold)?;
        if answer.status().is_success() {
            return Ok(());
        }
        let wait = answer.headers().get(RETRY_AFTER).and_then(|value| asked_to_wait(value.to_str().ok()?));
        let is_too_large = answer.status() == StatusCode::PAYLOAD_TOO_LARGE;
        Err(SendFault { cause: format!("the receiver answers {}", answer.status()), wait, is_too_large })
    }

    fn request(&self, message: &Message, context: &SendContext) -> Result<reqwest::Request, SendFault> {
        let (body, content_type) = match &self.plan.template {
            None => (message.json(context).to_string(), JSON),
            Some((template, content_type)) => {
                let body = template.render(message, context);
                let body = body.map_err(|found| SendFault::new(format!("the template can't be filled: {found}")))?;
                (body, content_type.as_str())
            }
        };
        let mut request = self.http.post(self.plan.url.reveal());
        for (name, value) in &self.plan.headers {
            request = request.header(name, value.reveal());
        }
        request = request.header(CONTENT_TYPE, content_type).header("idempotency-key", &message.key);
        let Some((key_id, secret)) = &self.plan.key else { return request.body(body).build().map_err(untold) };
        let request = request.body(body.clone()).build().map_err(untold)?;
        let parts = Parts { path: request.url().path(), content_type, key: &message.key, body: body.as_bytes() };
        let signed = sign(&parts, key_id, secret.reveal().as_bytes(), now());
        with(
            request,
            [
                ("content-digest", signed.content_digest),
                ("signature-input", signed.signature_input),
                ("signature", signed.signature),
            ],
        )
    }
}

fn with(mut request: reqwest::Request, headers: [(&'static str, String); 3]) -> Result<reqwest::Request, SendFault> {
    for (name, value) in headers {
        let value = value.try_into().map_err(|_| SendFault::new("the key's name can't stand in a header"))?;
        request.headers_mut().insert(name, value);
    }
    Ok(request)
}

/// What went wrong, without the address, which may hold a key.
#[expect(clippy::needless_pass_by_value, reason = "only an owned error gives its address away")]
fn untold(error: reqwest::Error) -> SendFault {
    let what = if error.is_timeout() {
        format!("no answer within {} s", DEADLINE.as_secs())
    } else if error.is_connect() {
        "no connection".to_owned()
    } else {
        "the request failed".to_owned()
    };
    let mut innermost: &dyn std::error::Error = &error;
    while let Some(source) = innermost.source() {
        innermost = source;
    }
    // The outermost error's text has the address; the one at the bottom is of the operating system or of TLS.
    let why = if std::error::Error::source(&error).is_some() { format!(": {innermost}") } else { String::new() };
    SendFault::new(what + &why)
}

/// When a request is signed is of the receiver's clock, which knows no other timeline than the machine's.
fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    Timestamp::from_ms(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

/// How long `Retry-After` asks to wait (RFC 9110, section 10.2.3): seconds, or until a date.
fn asked_to_wait(value: &str) -> Option<Duration> {
    let seconds = value.trim().parse().ok().map(Duration::from_secs);
    let until = || httpdate::parse_http_date(value).ok()?.duration_since(SystemTime::now()).ok();
    seconds.or_else(until)
}
