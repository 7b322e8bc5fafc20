//! What is worth asking a person: each finding that is not sure, with the choices that the evidence leaves.

use super::certainty::Certainty;
use super::proposal::{Kind, Place, Proposal, Proposed};
use crate::entry::{HotEnd, JobState};

/// One question; its first choice is what is proposed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// The key of the answer.
    pub key: String,
    /// In words.
    pub text: String,
    /// What can be chosen.
    pub choices: Vec<Choice>,
}

/// One choice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// As it is shown.
    pub label: String,
    /// The answer it stands for; `None` leaves the field to be filled in by hand.
    pub value: Option<String>,
}

/// The questions, in the configuration's order.
#[must_use]
pub fn questions(proposal: &Proposal) -> Vec<Question> {
    let mut questions = Vec::new();
    let (hot_end, certainty, why) = &proposal.hot_end;
    if *certainty != Certainty::Sure {
        let mut ends = [HotEnd::Separate, HotEnd::Shared];
        ends.sort_by_key(|end| end != hot_end);
        let label = |end: HotEnd| match end {
            HotEnd::Separate => "separate: a heater and nozzle a tool",
            HotEnd::Shared => "shared: one heater and nozzle for all tools",
        };
        let choice = |end: HotEnd| Choice { label: label(end).to_owned(), value: Some(end.word().to_owned()) };
        questions.push(Question {
            key: "hot_end".to_owned(),
            text: format!("How are the hot ends built? ({why})"),
            choices: ends.into_iter().map(choice).collect(),
        });
    }
    questions.extend(
        proposal
            .fields
            .iter()
            .filter(|field| field.certainty != Certainty::Sure)
            .filter_map(|field| place(proposal, field)),
    );
    questions.extend(proposal.open_words.iter().map(|word| state_word(word)));
    questions.extend(tools(proposal));
    questions
}

/// Where a field stands. Heaters are asked for as a whole, and a list of places is not asked for.
fn place(proposal: &Proposal, field: &Proposed) -> Option<Question> {
    let text = match field.kind {
        Kind::Time => "Which value is the host's time?",
        Kind::State => "Which value is the job's state?",
        Kind::Name => "Which value is the job file's name?",
        Kind::Fraction => "Which value is the progress?",
        Kind::Byte => "Which value counts the bytes of the job file?",
        Kind::ActiveTool => "Which value is the tool at work?",
        Kind::ToolActual(_) | Kind::ToolTarget(_) | Kind::ToolDuty(_) | Kind::BedActual | Kind::BedTarget => {
            return None;
        }
    };
    let [one] = field.places.as_slice() else { return None };
    // With nothing to choose from there is nothing to ask.
    if field.alternatives.is_empty() {
        return None;
    }
    let choice = |place: &Place| Choice {
        label: proposal.table(place),
        value: Some(format!("{}:{}", proposal.document_name(place), place.path)),
    };
    let mut choices: Vec<Choice> = std::iter::once(one).chain(&field.alternatives).map(choice).collect();
    choices.push(Choice { label: "none of them".to_owned(), value: Some("none".to_owned()) });
    Some(Question { key: field.kind.to_string(), text: format!("{text} ({})", field.why), choices })
}

fn state_word(word: &str) -> Question {
    let mut choices = vec![Choice { label: "I will fill it in by hand".to_owned(), value: None }];
    choices.extend(
        JobState::ALL
            .iter()
            .map(|state| Choice { label: state.word().to_owned(), value: Some(state.word().to_owned()) }),
    );
    Question { key: format!("word.{word}"), text: format!("What does the host mean by {word:?}?"), choices }
}

/// Which hot end is T0, if that is all that is open.
fn tools(proposal: &Proposal) -> Option<Question> {
    let actuals: Vec<&Proposed> =
        (0..proposal.tools).filter_map(|tool| proposal.field(Kind::ToolActual(tool))).collect();
    let is_open = actuals.len() > 1 && proposal.order != Certainty::Sure;
    let choice = |field: &&Proposed| {
        let place = field.places.first()?;
        Some(Choice {
            label: proposal.table(place),
            value: Some(format!("{}:{}", proposal.document_name(place), place.path)),
        })
    };
    is_open.then(|| Question {
        key: "tool.0".to_owned(),
        text: "Which hot end is T0?".to_owned(),
        choices: actuals.iter().filter_map(choice).collect(),
    })
}

impl Proposal {
    fn document_name(&self, place: &Place) -> &str {
        self.documents.get(place.document).map_or("", |(name, _)| name)
    }
}
