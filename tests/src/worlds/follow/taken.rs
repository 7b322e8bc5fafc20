//! What the person took up from advice: in force from then on for its tool and material, whatever habit says.

use super::suggested::{Setting, Suggested};
use crate::worlds::person::{Material, Settings};
use std::collections::{HashMap, HashSet};

/// Settings that stay as advised, and parts to be replaced before the next print.
#[derive(Clone, Default)]
pub(crate) struct Taken {
    kept: HashMap<(usize, Option<Material>), Vec<Setting>>,
    parts: Vec<(usize, &'static str)>,
    is_swap: bool,
    unknown: Vec<String>,
}

impl Taken {
    /// Takes up an answer: of each tool, material and setting what stands first. Those that were taken.
    pub(super) fn take(&mut self, answer: Vec<Suggested>) -> Vec<Suggested> {
        let mut seen = HashSet::new();
        let mut taken = answer;
        taken.retain(|one| seen.insert((one.tool, one.material, one.setting.key().to_owned())));
        for Suggested { tool, material, setting, .. } in &taken {
            match setting {
                Setting::Part(part) => self.parts.push((*tool, part)),
                Setting::Swap => self.is_swap = true,
                Setting::ColdPull => {}
                Setting::Unknown(name) => self.unknown.push(name.clone()),
                value => {
                    let kept = self.kept.entry((*tool, *material)).or_default();
                    kept.retain(|before| before.key() != value.key());
                    kept.push(value.clone());
                }
            }
        }
        self.parts.sort_unstable();
        self.parts.dedup();
        taken
    }

    /// What is set on a tool on which habit alone would set this.
    pub(crate) fn settings(&self, tool: usize, own: Settings) -> Settings {
        let kept = |material| self.kept.get(&(tool, material)).into_iter().flatten();
        let mut set = own;
        let mut is_standby_own = true;
        for setting in kept(None).chain(kept(Some(own.material))) {
            match setting {
                Setting::Standby(c) => (set.standby_c, is_standby_own) = (*c, false),
                Setting::Retract(mm) => set.retract_mm = *mm,
                Setting::RetractSpeed(mm_s) => set.retract_mm_s = *mm_s,
                Setting::Prime(mm3) => set.prime_mm3 = *mm3,
                Setting::OozeShield(is_on) => set.ooze_shield = *is_on,
                Setting::Print(c) => set.print_c = *c,
                Setting::Dried(is_dry) => set.dried = *is_dry,
                Setting::Swap | Setting::ColdPull | Setting::Part(_) | Setting::Unknown(_) => {}
            }
        }
        // Nobody waits hotter than at work; by habit it is some degrees less.
        set.standby_c = set.standby_c.min(if is_standby_own { set.print_c - 5.0 } else { set.print_c });
        set
    }

    /// The parts to be replaced now: then they are.
    pub(crate) fn parts_now(&mut self) -> Vec<(usize, &'static str)> {
        std::mem::take(&mut self.parts)
    }

    /// Whether the spools change places now: then they have.
    pub(crate) fn swaps_now(&mut self) -> bool {
        std::mem::take(&mut self.is_swap)
    }

    /// What was advised and the person did not know how to do.
    pub(super) fn unknown(&self) -> &[String] {
        &self.unknown
    }
}
