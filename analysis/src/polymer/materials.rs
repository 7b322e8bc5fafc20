//! The table that is in force: the built-in rows, and over them what a person has set. Owns how a name finds its row
//! and what makes a row nonsense.

use super::{Material, MaterialFacts, Sourced};
use crate::units::Celsius;
use std::sync::Arc;

/// The material table. The default is the built-in one.
#[derive(Clone, Debug, PartialEq)]
pub struct Materials {
    /// One a built-in material, in the order of [`Material::ALL`].
    built_in: [MaterialFacts; Material::ALL.len()],
    /// What a person named. Few: they are looked through one after the other.
    own: Vec<(Arc<str>, MaterialFacts)>,
}

/// Two figures of a row that can't both be: the first has to be under the second.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OutOfOrder {
    /// The one that has to be lower.
    pub lower: Landmark,
    /// The one that has to be higher.
    pub upper: Landmark,
}

/// A temperature that a melt passes when it is heated.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Landmark {
    /// Glass transition.
    GlassTransition,
    /// First flow.
    FirstFlow,
    /// Lowest usual print temperature.
    PrintLow,
    /// Highest usual print temperature.
    PrintHigh,
}

impl Default for Materials {
    fn default() -> Self {
        Self { built_in: Material::ALL.map(Material::built_in), own: Vec::new() }
    }
}

impl Materials {
    /// The row of a material by the name that people wrote, in any case. No name, or one that nobody knows, is that of
    /// [`Material::Other`].
    #[must_use]
    pub fn of(&self, name: Option<&str>) -> &MaterialFacts {
        let name = name.unwrap_or_default().trim();
        let own = self.own.iter().find(|(own, _)| own.eq_ignore_ascii_case(name));
        own.map_or_else(|| self.family(Material::named(name)), |(_, facts)| facts)
    }

    /// The row of a built-in material, as it stands in this table.
    #[must_use]
    pub fn family(&self, kind: Material) -> &MaterialFacts {
        &self.built_in[kind.place()]
    }

    /// Sets a row: one that is there already is replaced, by any spelling of its name.
    ///
    /// # Errors
    /// If its temperatures are not in the order in which a melt passes them; then nothing is set.
    pub fn set(&mut self, name: &str, facts: MaterialFacts) -> Result<(), OutOfOrder> {
        facts.check()?;
        let name = name.trim();
        if let Some(kind) = Material::with_name(name) {
            self.built_in[kind.place()] = MaterialFacts { kind, ..facts };
            return Ok(());
        }
        match self.own.iter_mut().find(|(own, _)| own.eq_ignore_ascii_case(name)) {
            Some((_, row)) => *row = facts,
            None => self.own.push((Arc::from(name), facts)),
        }
        Ok(())
    }

    /// Every row and its name: the built-in ones in table order, then what a person named.
    pub fn rows(&self) -> impl Iterator<Item = (&str, &MaterialFacts)> {
        let built_in = Material::ALL.into_iter().zip(&self.built_in).map(|(kind, facts)| (kind.name(), facts));
        built_in.chain(self.own.iter().map(|(name, facts)| (&**name, facts)))
    }
}

impl MaterialFacts {
    /// Whether its temperatures stand in the order in which a melt passes them.
    ///
    /// # Errors
    /// The first two that don't.
    pub fn check(&self) -> Result<(), OutOfOrder> {
        let order = [Landmark::GlassTransition, Landmark::FirstFlow, Landmark::PrintLow, Landmark::PrintHigh];
        let wrong = order.windows(2).find_map(|pair| match pair {
            [lower, upper] if self.at(*lower).value >= self.at(*upper).value => {
                Some(OutOfOrder { lower: *lower, upper: *upper })
            }
            _ => None,
        });
        wrong.map_or(Ok(()), Err)
    }

    /// One of its temperatures.
    #[must_use]
    pub const fn at(&self, landmark: Landmark) -> Sourced<Celsius> {
        match landmark {
            Landmark::GlassTransition => self.glass_transition,
            Landmark::FirstFlow => self.first_flow,
            Landmark::PrintLow => self.print_low,
            Landmark::PrintHigh => self.print_high,
        }
    }
}
