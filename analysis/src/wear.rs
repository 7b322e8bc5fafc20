//! What heat wears off a liner or a nozzle: hours weighted by how hot they were, and heat cycles. Owns the weights and
//! what a liner stands; which hours count is the caller's: all of them, printing or waiting.

use crate::polymer::{Source, Sourced};
use crate::units::{Celsius, Seconds};

/// Temperature at which an hour is an hour of wear.
pub const WEAR_REFERENCE: Celsius = Celsius::new(220.0);
/// An hour weighs e times as much so many kelvin hotter: a proposal, no life law of liners was found.
const WEAR_FOLD: f64 = 20.0;

/// What a PTFE liner stands for good, as property texts have it; it melts at about 327 °C.
pub const LINER_CONTINUOUS: Sourced<Celsius> =
    Sourced::new(Celsius::new(260.0), Source::Read("property texts of PTFE, continuous service"));
/// The same, as a textbook has it: the cautious figure.
pub const LINER_CAUTIOUS: Sourced<Celsius> =
    Sourced::new(Celsius::new(250.0), Source::Read("Crawford, Plastics Engineering, table 1.8"));

/// Over this, people who use a PTFE liner daily see it wear fast (common practice, no source).
pub const LINER_PRACTICE: Celsius = Celsius::new(240.0);

/// Hours of wear that `lasted` at `at` comes to: `t exp((T - 220) / 20)`.
#[must_use]
pub fn wear_hours(lasted: Seconds, at: Celsius) -> f64 {
    lasted.as_minutes() / 60.0 * ((at - WEAR_REFERENCE).get() / WEAR_FOLD).exp()
}

/// What a part has been through since it was fitted.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wear {
    /// Hot hours, each weighted by its heat.
    pub weighted: f64,
    /// The same hours as they were, by how hot, in the order of [`Wear::EDGES`]; the last is hotter than all of them.
    pub hours: [f64; Wear::EDGES.len() + 1],
    /// Times that it was heated from cold.
    pub cycles: u32,
}

impl Wear {
    /// Highest temperature of each bin but the last, °C (a proposal).
    pub const EDGES: [f64; 5] = [200.0, 220.0, 240.0, 250.0, 260.0];

    /// Has been hot at `at` for `lasted`.
    pub fn heat(&mut self, lasted: Seconds, at: Celsius) {
        self.weighted += wear_hours(lasted, at);
        let bin = Self::EDGES.partition_point(|edge| *edge < at.get());
        if let Some(hours) = self.hours.get_mut(bin) {
            *hours += lasted.as_minutes() / 60.0;
        }
    }

    /// Has been heated from cold once more.
    pub fn cycle(&mut self) {
        self.cycles = self.cycles.saturating_add(1);
    }

    /// All hot hours.
    #[must_use]
    pub fn total_hours(&self) -> f64 {
        self.hours.iter().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_hour_at_the_reference_is_an_hour_of_wear_and_20_k_more_make_it_e() {
        let hour = Seconds::minutes(60.0);
        for (at, right) in [(200.0, (-1.0_f64).exp()), (220.0, 1.0), (240.0, 1.0_f64.exp()), (260.0, 2.0_f64.exp())] {
            let found = wear_hours(hour, Celsius::new(at));
            assert!((found - right).abs() < 1e-12, "{at} °C: {found}");
        }
    }

    #[test]
    fn each_hour_lies_in_one_bin_whose_upper_edge_is_its_own() {
        let temperatures = [25.0, 200.0, 200.1, 220.0, 240.0, 250.0, 255.0, 260.0, 260.1, 400.0];
        let mut wear = Wear::default();
        for at in temperatures {
            wear.heat(Seconds::minutes(60.0), Celsius::new(at));
        }
        for (found, right) in wear.hours.into_iter().zip([2.0, 2.0, 1.0, 1.0, 2.0, 2.0]) {
            assert!((found - right).abs() < 1e-12, "{wear:?}");
        }
        assert!((wear.total_hours() - 10.0).abs() < 1e-12);
        wear.cycle();
        wear.cycle();
        assert_eq!(wear.cycles, 2);
    }

    #[test]
    fn hours_cut_into_pieces_wear_the_same_and_hotter_ones_more() {
        let mut before = 0.0;
        for at in (100..350).map(f64::from) {
            let (mut whole, mut pieces) = (Wear::default(), Wear::default());
            whole.heat(Seconds::minutes(90.0), Celsius::new(at));
            for _ in 0..9 {
                pieces.heat(Seconds::minutes(10.0), Celsius::new(at));
            }
            assert!((whole.weighted / pieces.weighted - 1.0).abs() < 1e-12, "{at} °C");
            assert!(whole.weighted > before, "{at} °C");
            before = whole.weighted;
        }
    }
}
