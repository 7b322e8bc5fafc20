//! Mail: one a message, to every receiver. Owns the headers and what a server's refusal means; how a message looks is
//! `dwell_dashboards`'.

use super::channel::{MailPlan, MailTls};
use super::message::{Kind, Message, SendContext, SendFault};
use super::told::{Told, view};
use super::trust::unset;
use crate::host::Authority;
use crate::store::Notice;
use dwell_dashboards::message::{html, subject, text};
use lettre::address::Envelope;
use lettre::message::header::{Header, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart, SinglePart};
use lettre::transport::smtp::authentication::Credentials;
use lettre::transport::smtp::client::{Certificate, Tls, TlsParameters};
use lettre::transport::smtp::{AsyncSmtpTransport, Error as SmtpError};
use lettre::{AsyncTransport, Tokio1Executor};
use ring::digest;
use std::collections::BTreeSet;
use std::fmt::Write;
use std::time::{Duration, SystemTime};

/// One answer of the server's.
const ANSWER: Duration = Duration::from_secs(10);
/// One receiver's mail as a whole; RFC 5321 allows minutes, which an alarm does not have.
const DEADLINE: Duration = Duration::from_secs(40);
/// RFC 5321, section 4.2.3, and RFC 7504: the mailbox does not exist, is full, or takes no mail. Another 5xx, such as a
/// login that is refused, is about all of them.
const MAILBOX_REFUSED: [u16; 5] = [550, 551, 552, 553, 556];
/// RFC 1870, section 6: the mail is larger than the server takes; or the mailbox is full.
const SIZE_REFUSED: u16 = 552;

/// A server and its receivers, ready to be sent to.
pub(super) struct Mail {
    channel: String,
    transport: AsyncSmtpTransport<Tokio1Executor>,
    from: Mailbox,
    to: Vec<Mailbox>,
    /// Who has got the message that is under way, so that a try for the others is none for them.
    reached: (String, BTreeSet<String>),
}

impl std::fmt::Debug for Mail {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Mail").field("channel", &self.channel).finish_non_exhaustive()
    }
}

impl Mail {
    pub(super) fn new(channel: &str, plan: &MailPlan) -> Result<Self, SendFault> {
        let tls = match plan.tls {
            MailTls::Implicit => Tls::Wrapper(trusting(&plan.server, plan.authority.as_ref())?),
            MailTls::StartTls => Tls::Required(trusting(&plan.server, plan.authority.as_ref())?),
            MailTls::None => Tls::None,
        };
        let mut transport = AsyncSmtpTransport::<Tokio1Executor>::builder_dangerous(plan.server.as_str())
            .port(plan.port)
            .timeout(Some(ANSWER))
            .tls(tls);
        if let Some((user, password)) = &plan.login {
            transport = transport.credentials(Credentials::new(user.clone(), password.reveal().to_owned()));
        }
        Ok(Self {
            channel: channel.to_owned(),
            transport: transport.build(),
            from: mailbox(&plan.from)?,
            to: plan.to.iter().map(|to| mailbox(to)).collect::<Result<_, _>>()?,
            reached: (String::new(), BTreeSet::new()),
        })
    }

    /// Each receiver has an exchange of its own: where one is refused for good, the others still hear of the alarm. It has
    /// arrived when everyone has it who can, and somebody has.
    pub(super) async fn send(&mut self, message: &Message, context: &SendContext) -> Result<(), SendFault> {
        if self.reached.0 != message.key {
            self.reached = (message.key.clone(), BTreeSet::new());
        }
        let letter = letter(message, context, &self.from, &self.to)?;
        let mut refused = Vec::new();
        let (mut fault, mut is_too_large) = (None, false);
        for to in &self.to {
            let address = to.email.to_string();
            if self.reached.1.contains(&address) {
                continue;
            }
            match self.send_to(to, &letter).await {
                Ok(()) => {
                    self.reached.1.insert(address);
                }
                Err(SmtpFault::Mailbox { why, of_size }) => {
                    is_too_large |= of_size;
                    refused.push(format!("{address}: {why}"));
                }
                Err(SmtpFault::Other(why)) => fault = Some(why),
            }
        }
        if let Some(why) = fault {
            return Err(SendFault::new(why));
        }
        if self.reached.1.is_empty() {
            let cause = format!("the server refuses every receiver: {}", refused.join("; "));
            return Err(SendFault { is_too_large, ..SendFault::new(cause) });
        }
        for refused in refused {
            tracing::warn!(channel = %self.channel, key = message.key, refused, "a receiver's mailbox is refused");
        }
        Ok(())
    }

    async fn send_to(&self, to: &Mailbox, letter: &[u8]) -> Result<(), SmtpFault> {
        let envelope = Envelope::new(Some(self.from.email.clone()), vec![to.email.clone()]);
        let envelope = envelope.map_err(|error| SmtpFault::Other(error.to_string()))?;
        match tokio::time::timeout(DEADLINE, self.transport.send_raw(&envelope, letter)).await {
            Ok(Ok(_)) => Ok(()),
            Ok(Err(error)) => Err(SmtpFault::of(&error)),
            Err(_) => Err(SmtpFault::Other(format!("the server had not taken it after {} s", DEADLINE.as_secs()))),
        }
    }
}

/// Why a mail was not taken.
enum SmtpFault {
    /// The receiver's mailbox is refused for good, or for what the mail's size is.
    Mailbox {
        why: String,
        of_size: bool,
    },
    Other(String),
}

impl SmtpFault {
    fn of(error: &SmtpError) -> Self {
        let mut why = error.to_string();
        let mut source = std::error::Error::source(error);
        while let Some(cause) = source {
            if !why.contains(&cause.to_string()) {
                write!(why, ": {cause}").unwrap_or_default();
            }
            source = cause.source();
        }
        match error.status().map(u16::from).filter(|code| MAILBOX_REFUSED.contains(code)) {
            Some(code) => Self::Mailbox { why, of_size: code == SIZE_REFUSED },
            None => Self::Other(why),
        }
    }
}

fn trusting(server: &str, authority: Option<&Authority>) -> Result<TlsParameters, SendFault> {
    let mut parameters = TlsParameters::builder(server.to_owned());
    if let Some(authority) = authority {
        let own = Certificate::from_pem(authority.pem()).map_err(|error| unset(&error))?;
        parameters = parameters.add_root_certificate(own);
    }
    parameters.build().map_err(|error| unset(&error))
}

/// Whether that is a mail address, alone or with a name before it in angle brackets.
#[must_use]
pub fn is_mail_address(text: &str) -> bool {
    mailbox(text).is_ok()
}

fn mailbox(text: &str) -> Result<Mailbox, SendFault> {
    text.parse().map_err(|error| SendFault::new(format!("{text:?} is no mail address: {error}")))
}

/// The whole mail, the same at each try: the key makes its identity and its inner border.
fn letter(message: &Message, context: &SendContext, from: &Mailbox, to: &[Mailbox]) -> Result<Vec<u8>, SendFault> {
    let shown = view(message, context);
    let id = identity(&message.key);
    let made = u64::try_from(message.made.as_ms()).unwrap_or(0);
    let mut head = lettre::Message::builder()
        .from(from.clone())
        .date(SystemTime::UNIX_EPOCH + Duration::from_millis(made))
        .message_id(Some(format!("<{id}@{}>", from.email.domain())))
        .header(AutoSubmitted);
    for to in to {
        head = head.to(to.clone());
    }
    // What an older program wrote, which can't be laid out, is told as it stands.
    let older = || message.notices.iter().filter(|notice| Told::of(notice).is_none()).map(Notice::body);
    let plain = older().fold(text(&shown), |plain, body| format!("{plain}\n{body}\n"));
    let mail = if shown.notices.is_empty() && message.kind != Kind::Test {
        let bodies = older().collect::<Vec<_>>().join("\n");
        head.subject("dwellwatch: alarms of an older version").singlepart(SinglePart::plain(bodies))
    } else {
        let parts = MultiPart::alternative().boundary(id).singlepart(SinglePart::plain(plain));
        head.subject(subject(&shown)).multipart(parts.singlepart(SinglePart::html(html(&shown))))
    };
    Ok(mail.map_err(|error| SendFault::new(format!("the mail can't be made: {error}")))?.formatted())
}

/// What identifies a message in its headers, where a key's own characters could not all stand.
fn identity(key: &str) -> String {
    let hash = digest::digest(&digest::SHA256, key.as_bytes());
    hash.as_ref().iter().take(16).fold(String::new(), |text, byte| text + &format!("{byte:02x}"))
}

/// RFC 3834, section 5: made by a program, so that no absence is answered to it.
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}
