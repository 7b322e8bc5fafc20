//! Who is asked for advice, and how: the program as a person's script would, a week's journal at a time.

use super::oracle::answer_of_the_law;
use super::suggested::Suggested;
use crate::worlds::catalogue::World;
use crate::worlds::exposure::Exposure;
use crate::worlds::history::Print;
use crate::worlds::journal::lines_of;
use crate::worlds::person::Settings;
use dwell_analysis::time::Timestamp;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Whom a person asks.
#[derive(Clone, Copy, Debug)]
pub enum Adviser<'a> {
    /// Nobody: habits go on.
    Nobody,
    /// Somebody who knows the law.
    Law,
    /// This build of the program.
    Program(&'a Path),
    /// Whoever always answers like this.
    Always(&'a str),
}

/// Who answers, with what has to be told first.
pub(super) enum Asked<'a> {
    Script(String),
    Program(Box<Record<'a>>),
}

/// The program's record of a history, and the lines that are not told yet.
pub(super) struct Record<'a> {
    program: &'a Path,
    folder: TempDir,
    untold: Vec<(i64, String)>,
    before: Option<[Settings; 2]>,
}

impl<'a> Asked<'a> {
    pub(super) fn new(adviser: Adviser<'a>, world: &World, learned: &[Print]) -> Self {
        match adviser {
            Adviser::Nobody => Self::Script("[]".to_owned()),
            Adviser::Always(answer) => Self::Script(answer.to_owned()),
            Adviser::Law => {
                let runs = learned.iter().flat_map(|print| print.runs.iter().map(|run| run.exposure));
                Self::Script(answer_of_the_law(world, &runs.collect::<Vec<Exposure>>()))
            }
            Adviser::Program(program) => {
                let folder = TempDir::new().unwrap();
                let mut record = Record { program, folder, untold: Vec::new(), before: None };
                for print in learned {
                    record.add(print);
                }
                Self::Program(Box::new(record))
            }
        }
    }

    /// What happened.
    pub(super) fn hear_of(&mut self, print: &Print) {
        if let Self::Program(record) = self {
            record.add(print);
        }
    }

    /// What is advised now.
    pub(super) fn answer(&mut self, now: Timestamp) -> Vec<Suggested> {
        let answer = match self {
            Self::Script(answer) => answer.clone(),
            Self::Program(record) => record.answer(now),
        };
        Suggested::all_of(&answer)
    }
}

impl Record<'_> {
    fn add(&mut self, print: &Print) {
        self.untold.extend(lines_of(print, self.before));
        self.before = Some(print.settings);
    }

    /// Tells what was known by now and not told yet, and asks.
    fn answer(&mut self, now: Timestamp) -> String {
        self.untold.sort_by_key(|(ms, _)| *ms);
        let known = self.untold.partition_point(|(ms, _)| *ms < now.as_ms());
        let lines: Vec<String> = self.untold.drain(..known).map(|(_, line)| line + "\n").collect();
        fs::write(self.path("new.ndjson"), lines.concat()).unwrap();
        self.run(&["replay", "new.ndjson"]);
        self.run(&["advise", "--json"])
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn run(&self, arguments: &[&str]) -> String {
        let mut command = Command::new(self.program);
        let output = command.args(["--db", "bench.db"]).args(arguments).current_dir(self.folder.path()).output();
        let output = output.unwrap();
        assert!(output.status.success(), "{arguments:?}: {}", String::from_utf8_lossy(&output.stderr));
        String::from_utf8(output.stdout).unwrap()
    }
}
