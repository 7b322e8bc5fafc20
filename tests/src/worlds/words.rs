//! What the person says of a print: at once, late, corrected, mixed up, or nothing at all. Must not know why it failed.

use super::chance::Chance;
use dwell_analysis::units::Seconds;

/// How outcomes are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Telling {
    /// Nine in ten, whatever came of it.
    Plain,
    /// Nearly all at first, half of them at the end, many late; whatever came of it.
    Fading,
    /// Failures nearly always, clean prints two times in three.
    FailuresFirst,
}

/// Jams that somebody takes for under-extrusion.
const MIXED_UP: f64 = 0.12;
/// Of those, corrected later.
const MIX_CORRECTED: f64 = 0.5;

impl Telling {
    /// The probability that a print is spoken of, at this part of the history.
    fn share(self, part: f64, has_failed: bool) -> f64 {
        match (self, has_failed) {
            (Self::Plain, _) => 0.9,
            (Self::Fading, _) => 0.97 - 0.47 * part,
            (Self::FailuresFirst, true) => 0.95,
            (Self::FailuresFirst, false) => 0.68,
        }
    }

    /// The probability that a tool-run is noted as failed in a mode, if its print is spoken of at all: from its own
    /// probability to fail so and that of anything else going wrong with the print.
    pub(super) fn noted(self, mode: &str, own: f64, else_wrong: f64, part: f64) -> f64 {
        let (told, told_clean) = (self.share(part, true), self.share(part, false));
        let spoken = own * told + (1.0 - own) * (else_wrong * told + (1.0 - else_wrong) * told_clean);
        let right = if mode == "jam" { 1.0 - MIXED_UP * (1.0 - MIX_CORRECTED) } else { 1.0 };
        own * told * right / spoken
    }

    fn delay(self, chance: &mut Chance) -> f64 {
        let late = if self == Self::Fading { 0.25 } else { 0.1 };
        match chance.unit() {
            x if x < late => chance.between(1.0, 6.0) * 86_400.0,
            x if x < late + 0.2 => chance.between(1.0, 12.0) * 3_600.0,
            _ => chance.between(60.0, 1_800.0),
        }
    }
}

/// One outcome line.
#[derive(Clone, Copy, Debug)]
pub(super) struct Word {
    pub(super) tool: Option<usize>,
    pub(super) mode: &'static str,
    pub(super) severity: Option<u32>,
    /// Since the print's end.
    pub(super) after: Seconds,
}

fn word(tool: Option<usize>, mode: &'static str, after_s: f64, chance: &mut Chance) -> Word {
    let says_how_bad = mode != "clean" && chance.happens(0.7);
    let severity = says_how_bad.then(|| chance.one_of(&[1, 2, 2, 3]));
    Word { tool, mode, severity, after: Seconds::new(after_s) }
}

/// What these words come to, in the end, of a mode on a tool; none if nobody said anything.
pub(super) fn in_the_end(words: &[Word], mode: &str, tool: usize) -> Option<bool> {
    let mut words: Vec<&Word> = words.iter().collect();
    words.sort_by(|a, b| a.after.get().total_cmp(&b.after.get()));
    let speak = |before: Option<bool>, word: &&Word| match word.mode {
        "clean" if word.tool.is_none_or(|of| of == tool) => Some(false),
        said if said == mode && word.tool == Some(tool) => Some(true),
        _ => before.or(Some(false)),
    };
    words.iter().fold(None, speak)
}

/// All that is ever said of a print with these failures (tool, mode).
pub(super) fn said(failures: &[(usize, &'static str)], telling: Telling, part: f64, chance: &mut Chance) -> Vec<Word> {
    if !chance.happens(telling.share(part, !failures.is_empty())) {
        return Vec::new();
    }
    let after_s = telling.delay(chance);
    let later_s = after_s + chance.between(0.2, 4.0) * 86_400.0;
    if failures.is_empty() {
        let mut words = Vec::new();
        if chance.happens(0.015) {
            words.push(word(Some(chance.whole(0, 1)), "jam", after_s, chance));
            words.push(word(None, "clean", later_s, chance));
        } else {
            words.push(word(None, "clean", after_s, chance));
        }
        return words;
    }
    let (mut words, mut from_s) = (Vec::new(), after_s);
    if chance.happens(0.05) {
        words.push(word(None, "clean", after_s, chance));
        from_s = later_s;
    }
    for (tool, mode) in failures {
        if *mode == "jam" && chance.happens(MIXED_UP) {
            words.push(word(Some(*tool), "under_extrusion", from_s, chance));
            if chance.happens(MIX_CORRECTED) {
                words.push(word(Some(*tool), "clean", later_s + 60.0, chance));
                words.push(word(Some(*tool), "jam", later_s + 90.0, chance));
            }
        } else {
            words.push(word(Some(*tool), mode, from_s, chance));
        }
    }
    words
}
