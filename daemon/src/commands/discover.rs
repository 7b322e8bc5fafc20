//! `discover`: a host searched, watched and asked about; its printer's section of the configuration comes out. Works
//! without a configuration. Owns what is asked on the terminal and where the keys come from.

use super::run::runtime;
use super::{Failure, output};
use crate::cli::Discover;
use crate::config::{Keep, KeyForm, Secrets, Surroundings};
use crate::host::discover::{
    Answers, Found, Given, Proposal, Question, SecretPlace, SecretSource, Snapshot, Watched, propose, questions,
    search, watch,
};
use crate::host::{Address, Authority, Client, Credentials, DEADLINE, Headers, Query};
use std::collections::BTreeMap;
use std::fs;
use std::io::{self, IsTerminal, Write};
use std::path::Path;
use std::time::Duration;

pub(super) fn run(asked: &Discover) -> Result<(), Failure> {
    let mut answers = Answers::parse(&asked.answers).map_err(|fault| Failure::Asked(fault.to_string()))?;
    if let Some(name) = &asked.name {
        answers.add("name", name).map_err(|fault| Failure::Asked(fault.to_string()))?;
    }
    let addresses = asked.urls.iter().map(|url| address(url)).collect::<Result<Vec<_>, _>>()?;
    let keys = Keys::read(asked)?;
    let client = client(asked.authority_file.as_deref())?;
    if let Some(out) = asked.out.as_deref().filter(|out| out.exists()) {
        return Err(Failure::Asked(format!("{} is there already; another name would be right", out.display())));
    }
    let (found, snapshots) = runtime()?.block_on(look(&client, &addresses, &keys.credentials, asked.watch))?;
    let mut proposal = propose(&found, &snapshots, &answers);
    if !proposal.lost_answers.is_empty() {
        let lost = proposal.lost_answers.join(", ");
        return Err(Failure::Asked(format!(
            "answer {lost}: nothing stands there on this host; a path of one of its documents would be right"
        )));
    }
    if io::stdin().is_terminal() && io::stderr().is_terminal() && ask(&proposal, &mut answers)? {
        proposal = propose(&found, &snapshots, &answers);
    }
    proposal.given = keys.given;
    proposal.authority = asked.authority_file.as_ref().map(|file| file.display().to_string());
    deliver(&proposal, asked.out.as_deref())
}

/// Searches and looks on; what a person should know goes to stderr.
async fn look(
    client: &Client,
    addresses: &[Address],
    credentials: &Credentials,
    seconds: u64,
) -> Result<(Found, Vec<Snapshot>), Failure> {
    let found = search(client, addresses, credentials).await;
    let hint = if found.wants_key { "; --header and --query show the host a key" } else { "" };
    if found.documents.is_empty() {
        let why = if found.remarks.is_empty() { "no reason told".to_owned() } else { found.remarks.join("; ") };
        return Err(Failure::Work(format!("nothing found: {why}{hint}")));
    }
    if !hint.is_empty() {
        say(hint.trim_start_matches("; "))?;
    }
    for remark in &found.remarks {
        say(remark)?;
    }
    for document in &found.documents {
        say(&format!("document {} at {} ({})", document.name, document.address, document.origin))?;
    }
    let lasting = Duration::from_secs(seconds);
    let is_shown = io::stderr().is_terminal() && seconds > 0;
    let watched = watch(client, &found, credentials, lasting, |passed| {
        if is_shown {
            progress(passed, lasting);
        }
    });
    let Watched { snapshots, remarks } = watched.await;
    if is_shown {
        say("")?;
    }
    if !snapshots.iter().any(|snapshot| snapshot.documents.iter().any(Option::is_some)) {
        return Err(Failure::Work(format!("nothing came while it was watched: {}", remarks.join("; "))));
    }
    for remark in &remarks {
        say(remark)?;
    }
    Ok((found, snapshots))
}

fn address(url: &str) -> Result<Address, Failure> {
    // The address itself may hold a key, and is not shown.
    Address::parse(url)
        .map_err(|fault| Failure::Asked(format!("the address {fault}; http://HOST:PORT/ would be right")))
}

fn client(authority: Option<&Path>) -> Result<Client, Failure> {
    let Some(file) = authority else {
        return Client::new(DEADLINE).map_err(|error| Failure::Work(error.to_string()));
    };
    let pem = fs::read(file).map_err(|error| Failure::Asked(format!("{}: {error}", file.display())))?;
    Client::trusting(DEADLINE, &Authority::new(pem))
        .map_err(|error| Failure::Asked(format!("{}: {error}; certificates as PEM would be right", file.display())))
}

/// Keys to show to the host, and where they come from.
struct Keys {
    credentials: Credentials,
    given: Vec<Given>,
}

impl Keys {
    fn read(asked: &Discover) -> Result<Self, Failure> {
        let mut given = Vec::new();
        let mut headers = BTreeMap::new();
        for header in &asked.headers {
            let told = Told::read("--header", header, ':')?;
            headers.insert(told.name.clone(), told.sent("--header")?);
            let place = match told.form {
                KeyForm::Plain => SecretPlace::Header(told.name),
                KeyForm::Bearer => SecretPlace::Bearer { header: told.name },
                KeyForm::Basic => SecretPlace::Basic,
            };
            given.push(Given { place, source: told.source });
        }
        let mut query = Vec::new();
        for pair in &asked.query {
            let told = Told::read("--query", pair, '=')?;
            query.push((told.name.clone(), told.sent("--query")?));
            given.push(Given { place: SecretPlace::Query(told.name), source: told.source });
        }
        let headers = Headers::new(&headers).map_err(|fault| Failure::Asked(fault.to_string()))?;
        Ok(Self { credentials: Credentials { headers, query: Query::new(query) }, given })
    }
}

/// One key as the command line tells it: its name, how it is sent, and where it is kept.
struct Told {
    name: String,
    form: KeyForm,
    source: SecretSource,
}

impl Told {
    fn read(option: &str, text: &str, cut: char) -> Result<Self, Failure> {
        // What stands after the cut may be a key typed by mistake, so it is not shown.
        let wrong = || {
            let form = if cut == ':' { " [bearer|basic]" } else { "" };
            let blank = if cut == ':' { " " } else { "" };
            Failure::Asked(format!(
                "{option}: NAME{cut}{form}{blank}env:VARIABLE or NAME{cut}{form}{blank}file:PATH would be right"
            ))
        };
        let (name, rest) = text.split_once(cut).ok_or_else(wrong)?;
        let name = name.trim().to_owned();
        let (form, rest) = match rest.trim().split_once(' ') {
            Some((word, rest)) if cut == ':' => {
                let form = KeyForm::WORDS.iter().find(|(known, _)| *known == word).map(|(_, form)| *form);
                (form.ok_or_else(wrong)?, rest.trim())
            }
            Some(_) => return Err(wrong()),
            None => (KeyForm::Plain, rest.trim()),
        };
        if form == KeyForm::Basic && !name.eq_ignore_ascii_case("Authorization") {
            return Err(Failure::Asked(format!("{option} {name}: basic goes into Authorization alone (RFC 7617)")));
        }
        let source = match rest.split_once(':').ok_or_else(wrong)? {
            ("env", variable) => SecretSource::Env(variable.to_owned()),
            ("file", path) => SecretSource::File(path.to_owned()),
            _ => return Err(wrong()),
        };
        Ok(Self { name, form, source })
    }

    /// The key as it is sent.
    fn sent(&self, option: &str) -> Result<String, Failure> {
        let surroundings = Surroundings {
            folder: Path::new(""),
            environment: &|name| std::env::var_os(name),
            secrets: Secrets::LookedUp,
        };
        let keep = match &self.source {
            SecretSource::Env(variable) => Keep::Env(variable.clone()),
            SecretSource::File(path) => Keep::File(path.clone()),
        };
        let key = surroundings.key(&keep).and_then(|key| self.form.sent(key));
        key.map_err(|fault| Failure::Asked(format!("{option} {}: {fault}", self.name)))
    }
}

/// Asks what is not sure. Returns whether anything was answered.
fn ask(proposal: &Proposal, answers: &mut Answers) -> Result<bool, Failure> {
    let mut answered = false;
    for question in questions(proposal) {
        if let Some(choice) = chosen(&question)? {
            answers.add(&question.key, &choice).map_err(|fault| Failure::Asked(fault.to_string()))?;
            answered = true;
        }
    }
    Ok(answered)
}

fn chosen(question: &Question) -> Result<Option<String>, Failure> {
    say("")?;
    say(&question.text)?;
    for (number, choice) in question.choices.iter().enumerate() {
        say(&format!("  {}  {}", number + 1, choice.label))?;
    }
    loop {
        let mut err = io::stderr().lock();
        let shown = write!(err, "Number, or Enter for 1: ").and_then(|()| err.flush());
        shown.map_err(|error| Failure::Work(format!("stderr: {error}")))?;
        let mut line = String::new();
        let read = io::stdin().read_line(&mut line).map_err(|error| Failure::Work(format!("stdin: {error}")))?;
        let line = line.trim();
        if line.is_empty() || read == 0 {
            // What is proposed stays as unsure as it was.
            return Ok(None);
        }
        let number = line.parse::<usize>().ok().and_then(|number| number.checked_sub(1));
        match number.and_then(|number| question.choices.get(number)) {
            Some(choice) => return Ok(choice.value.clone()),
            None => say(&format!("1 to {} would be right", question.choices.len()))?,
        }
    }
}

fn deliver(proposal: &Proposal, out: Option<&Path>) -> Result<(), Failure> {
    let text = proposal.toml();
    match out {
        Some(file) => {
            let created = fs::File::create_new(file).and_then(|mut file| file.write_all(text.as_bytes()));
            created.map_err(|error| Failure::file(file, &error))?;
        }
        None => output::text(&text)?,
    }
    for line in &proposal.open {
        say(&format!("not found: {line}"))?;
    }
    Ok(())
}

/// A bar of the time that is over, drawn over itself.
fn progress(passed: Duration, lasting: Duration) {
    const CELLS: usize = 20;
    let share = passed.as_secs_f64() / lasting.as_secs_f64().max(1.0);
    let full = (0_u8..20).filter(|cell| f64::from(*cell) < share * 20.0).count();
    let bar = format!("{}{}", "█".repeat(full), "░".repeat(CELLS - full));
    let mut err = io::stderr().lock();
    let shown = write!(err, "\rlooking on {bar} {} of {} s", passed.as_secs(), lasting.as_secs());
    // A terminal that is gone is told of by the next line that has to be said.
    drop(shown.and_then(|()| err.flush()));
}

fn say(line: &str) -> Result<(), Failure> {
    writeln!(io::stderr().lock(), "{line}").map_err(|error| Failure::Work(format!("stderr: {error}")))
}
