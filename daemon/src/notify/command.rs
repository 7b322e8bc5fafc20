//! A program of the person's, given each message as JSON. Owns that nothing but the configuration says what is run, that
//! it ends in time, and with all that it started.

use super::channel::CommandPlan;
use super::message::{Message, SendContext, SendFault};
use rustix::process::{Pid, Signal, kill_process_group};
use std::process::{ExitStatus, Stdio};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWriteExt};
use tokio::process::{Child, Command};
use tokio::time::timeout;

/// Of what a program prints so much goes into the log.
const OUTPUT_BYTES_MAX: usize = 1024;
/// What a program leaves running may keep its output open; it is not waited for.
const OUTPUT_AFTER: Duration = Duration::from_millis(200);
/// Where a program finds others, in an environment that has nothing else of dwellwatch's own.
const PATH: &str = "/usr/local/bin:/usr/bin:/bin";
const LANG: &str = "C.UTF-8";

/// Ends a program with all that it started, unless it has ended by itself.
struct Group(Option<Pid>);

impl Drop for Group {
    fn drop(&mut self) {
        if let Some(Err(error)) = self.0.map(|group| kill_process_group(group, Signal::KILL)) {
            tracing::debug!(%error, "a command had ended already");
        }
    }
}

/// Runs the program once. The message has arrived when it ends with code 0.
pub(super) async fn run(
    channel: &str,
    plan: &CommandPlan,
    message: &Message,
    context: &SendContext,
) -> Result<(), SendFault> {
    let (program, arguments) = plan.run.split_first().ok_or_else(|| SendFault::new("the command is empty"))?;
    let mut child = Command::new(program)
        .args(arguments)
        .env_clear()
        .envs([("PATH", PATH), ("LANG", LANG)])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .process_group(0)
        .spawn()
        .map_err(|error| SendFault::new(format!("{program} can't be run: {error}")))?;
    let pid = child.id().and_then(|id| Pid::from_raw(i32::try_from(id).ok()?));
    let mut group = Group(pid);
    let told = message.json(context).to_string() + "\n";
    let ended = timeout(plan.deadline, attended(&mut child, told.as_bytes())).await;
    let Ok(ended) = ended else {
        drop(group);
        // It is dead; its entry in the process table goes with this.
        child.wait().await.map_err(|error| SendFault::new(error.to_string()))?;
        return Err(SendFault::new(format!("{program} had not ended after {} s", plan.deadline.as_secs_f64())));
    };
    group.0 = None;
    let (status, output) = ended.map_err(|error| SendFault::new(format!("{program}: {error}")))?;
    if !output.is_empty() {
        tracing::info!(channel, output, "a command has said");
    }
    if status.success() { Ok(()) } else { Err(SendFault::new(format!("{program} ended with {status}"))) }
}

/// Gives it the message, takes what it prints, and waits for its end.
async fn attended(child: &mut Child, told: &[u8]) -> std::io::Result<(ExitStatus, String)> {
    let (stdin, stdout, stderr) = (child.stdin.take(), child.stdout.take(), child.stderr.take());
    let mut output = Vec::new();
    let mut errors = Vec::new();
    let give = async {
        if let Some(mut stdin) = stdin {
            // A program need not read what it is told.
            if let Err(error) = stdin.write_all(told).await {
                tracing::debug!(%error, "a command has not read its message");
            }
        }
    };
    let mut is_taken = false;
    let status = {
        let take = async { tokio::join!(give, kept(stdout, &mut output), kept(stderr, &mut errors)) };
        tokio::pin!(take);
        let status = tokio::select! {
            status = child.wait() => status?,
            _ = &mut take => {
                is_taken = true;
                child.wait().await?
            }
        };
        // Left open by what it started: it has had its say.
        is_taken = is_taken || timeout(OUTPUT_AFTER, take).await.is_ok();
        status
    };
    let mut said = String::from_utf8_lossy(&output).into_owned() + &String::from_utf8_lossy(&errors);
    if !is_taken {
        said += " …";
    }
    Ok((status, said.trim().to_owned()))
}

/// Keeps the beginning of what comes, and lets the rest go by, so that the program is not held up.
async fn kept(from: Option<impl AsyncRead + Unpin>, into: &mut Vec<u8>) {
    let Some(mut from) = from else { return };
    let mut piece = [0; 4096];
    while let Ok(n) = from.read(&mut piece).await {
        if n == 0 {
            return;
        }
        let room = (OUTPUT_BYTES_MAX / 2).saturating_sub(into.len()).min(n);
        into.extend_from_slice(piece.get(..room).unwrap_or_default());
    }
}
