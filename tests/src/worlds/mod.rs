//! Simulated worlds of which the truth is known: a person, a printer with two tools, and a law by which prints fail;
//! each history is a journal, and for each tool-run of it the probability that made its outcome. Judges what the program
//! says of such a journal. Must not: look into the learner, or make a law of the form that it fits.

mod catalogue;
mod chance;
mod course;
mod exposure;
mod follow;
mod heat;
mod history;
mod journal;
mod judge;
mod oracle;
mod outcome;
mod person;
mod placebo;
mod plan;
mod program;
mod round;
mod table;
mod truth;
mod words;

pub use catalogue::{Family, World};
pub use follow::{
    Adviser, Closed, Figures, LoopTask, Rhythm, Setting, Suggested, Weeks, answer_of_the_law, by_family, closed_loops,
    loop_table,
};
pub use history::{History, Print, Run};
pub use judge::{First, Score, Verdict, judged};
pub use placebo::{Placebo, without_link};
pub use program::{Prediction, Said, program, said_of};
pub use round::{PRINTS, Task, verdicts};
pub use table::{Summary, summaries, table};
pub use truth::Law;
