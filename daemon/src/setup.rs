//! What is set up, in the words that `check` and the page *Setup* share. Owns which materials and rules are worth a row.

mod materials;
mod tuned;

pub(crate) use materials::material_figures;
pub(crate) use tuned::tuned_rules;
